//! Pressure of one pose as a picture's data: no drawing here.

use super::imprint::Press;
use serde::{Deserialize, Serialize};

/// Pressure seen along the pad's normal, cut to the part that is touched.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct Picture {
    /// Cells from left to right.
    pub columns: usize,
    /// Cells from the second axis' low end to its high end.
    pub rows: usize,
    /// [m] side of a cell.
    pub spacing: f64,
    /// [m] pad coordinates of the outer corner of the first cell.
    pub corner: [f64; 2],
    /// [Pa] mean over 0.5 mm, row by row; 0 where nothing is touched.
    pub pressure: Vec<f32>,
    /// [m] depth of the figure below its highest point, row by row; infinite beside it.
    pub depth: Vec<f32>,
    /// Outward direction of the pad in the figure's frame: where the picture is seen from.
    pub outward: [f64; 3],
    /// Direction of the figure's frame that points right in the picture.
    pub right: [f64; 3],
    /// [N] normal force.
    pub force: f64,
    /// [m] indentation below the highest point.
    pub indentation: f64,
}

/// Cells kept around the touched part.
const MARGIN: usize = 8;

impl Picture {
    /// The picture of a press.
    #[must_use]
    pub fn of(press: &Press) -> Picture {
        let grid = &press.relief.grid;
        let touched = |c: &usize| press.settled.pressed.pressure[*c] > 0.0;
        let mut low = [grid.columns, grid.rows];
        let mut high = [0, 0];
        for c in (0..grid.cells()).filter(touched) {
            let at = [c % grid.columns, c / grid.columns];
            for a in 0..2 {
                low[a] = low[a].min(at[a].saturating_sub(MARGIN));
                high[a] = high[a].max(at[a] + 1 + MARGIN);
            }
        }
        let high = [high[0].min(grid.columns), high[1].min(grid.rows)];
        let cells: Vec<usize> = (low[1]..high[1])
            .flat_map(|j| (low[0]..high[0]).map(move |i| j * grid.columns + i))
            .collect();
        let back = press.pose.turn.inverse();
        let axis = |v: base::Vec3| (back * v).into();
        Picture {
            columns: high[0].saturating_sub(low[0]),
            rows: high[1].saturating_sub(low[1]),
            spacing: grid.spacing,
            corner: [0, 1].map(|a| grid.corner[a] + low[a] as f64 * grid.spacing),
            pressure: cells
                .iter()
                .map(|&c| press.mean_pressure[c] as f32)
                .collect(),
            depth: cells
                .iter()
                .map(|&c| press.relief.depth[c] as f32)
                .collect(),
            outward: axis(base::Vec3::z()),
            right: axis(base::Vec3::x()),
            force: press.force(),
            indentation: press.settled.indentation,
        }
    }
}
