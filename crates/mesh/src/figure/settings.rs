//! What the user decides about a figure.

use crate::format::read::Axis;
use base::{Error, Result};

/// How a mesh becomes a figure.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Settings {
    /// [m] height of the finished figure, 0.005 to 0.5; overrules `scale`.
    pub height: Option<f64>,
    /// Factor on the file's unit, above 0: 25.4 for a file in inches that is taken for millimetres.
    pub scale: Option<f64>,
    /// The file's up axis; guessed if not given.
    pub up: Option<Axis>,
    /// [m] square root of the wanted patch area, 0.0001 to 0.01.
    pub patch: f64,
}

impl Default for Settings {
    fn default() -> Settings {
        Settings {
            height: None,
            scale: None,
            up: None,
            patch: 0.0005,
        }
    }
}

impl Settings {
    /// Checks the ranges.
    ///
    /// # Errors
    /// A value out of its range.
    pub fn validate(&self) -> Result<()> {
        if let Some(height) = self.height
            && !(0.005..=0.5).contains(&height)
        {
            return Err(Error::input(format!(
                "height_mm = {} is out of range; allowed are 5 to 500",
                height * 1e3
            ))
            .hint("height_mm is the height of the painted figure in millimetres, base included"));
        }
        if let Some(scale) = self.scale
            && !(scale > 0.0 && scale.is_finite())
        {
            return Err(Error::input(format!(
                "scale = {scale} is out of range; allowed is above 0"
            ))
            .hint("25.4 for a file in inches, 1000 for one in metres"));
        }
        if !(1e-4..=1e-2).contains(&self.patch) {
            return Err(Error::input(format!(
                "patch_mm = {} is out of range; allowed are 0.1 to 10",
                self.patch * 1e3
            ))
            .hint("0.5 suits figures of 28 to 40 mm"));
        }
        Ok(())
    }
}
