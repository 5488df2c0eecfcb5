//! The bench test: plan, sheets, grades, analysis, calibration.
