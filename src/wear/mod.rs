//! What the films lose: thickness, rubbing, burnish, chips. Knows no engines.
