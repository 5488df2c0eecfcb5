//! How long work tells how far it is and learns that it should stop.

/// A watcher of long work. Implementations must be cheap: called a few times a second per part.
pub trait Watch: Sync {
    /// How far the work is and what it believes so far.
    ///
    /// * `fraction`: 0 to 1 of the expected work
    /// * `words`: the running estimate with its interval, for a person
    fn progress(&self, fraction: f64, words: &str);

    /// True once the user asked to stop: finish nothing more, return [`super::Error::interrupted`].
    fn stopped(&self) -> bool;

    /// True once the time the user allows is spent: end with what there is, and say so. Results
    /// then depend on the machine, which is why no budget is the default.
    fn enough(&self) -> bool {
        false
    }
}

/// Watches nothing and never stops: for tests and library use.
#[derive(Debug, Clone, Copy, Default)]
pub struct Unwatched;

impl Watch for Unwatched {
    fn progress(&self, _fraction: f64, _words: &str) {}
    fn stopped(&self) -> bool {
        false
    }
}
