//! Things the user must be told although nothing failed: guesses, priors, limits of a model.

use serde::{Deserialize, Serialize};

/// What a note is about.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Topic {
    /// A value the program chose because the user gave none.
    Guess,
    /// A value without a published source was used.
    Prior,
    /// The user's value replaced one of the stock.
    Overruled,
    /// Input was mended: welded, flipped, dropped.
    Mended,
    /// A model was used near or beyond its limit.
    Limit,
    /// Something can hurt a person.
    Caution,
}

/// A typed remark, collected during a run and shown at its end and in the report.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub struct Note {
    /// What it is about.
    pub topic: Topic,
    /// One sentence in the user's words, with value and unit.
    pub text: String,
}

impl Note {
    /// A note on `topic`.
    pub fn new(topic: Topic, text: impl Into<String>) -> Note {
        Note {
            topic,
            text: text.into(),
        }
    }
}
