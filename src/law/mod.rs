//! Pure formulas, one per function: value in, value out, source and published check beside each.
