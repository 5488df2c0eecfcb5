//! One reading of an ordered grade with logistic noise.

/// Derivatives of ln P with respect to the scaled distances a = (x - tau_y)/r from the lower and
/// b = (x - tau_(y+1))/r from the upper limit of the grade; 0 where there is no such limit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Reach {
    /// d ln P / da.
    pub lower: f64,
    /// d ln P / db.
    pub upper: f64,
}

fn log1p_exp(a: f64) -> f64 {
    if a > 33.0 { a } else { a.exp().ln_1p() }
}

/// ln P of a grade and its derivatives, without cancellation.
///
/// ```text
/// ln P = -ln(1 + e^-a) - ln(1 + e^b) + ln(1 - e^(b - a))
/// ```
/// * `a`: scaled distance above the lower limit, `None` for the lowest grade
/// * `b`: scaled distance above the upper limit, `None` for the highest grade; `b < a`
#[must_use]
pub fn log_probability(a: Option<f64>, b: Option<f64>) -> (f64, Reach) {
    let above = |a: f64| 1.0 / (1.0 + a.exp());
    match (a, b) {
        (None, None) => (
            0.0,
            Reach {
                lower: 0.0,
                upper: 0.0,
            },
        ),
        (None, Some(b)) => {
            let upper = -1.0 / (1.0 + (-b).exp());
            (-log1p_exp(b), Reach { lower: 0.0, upper })
        }
        (Some(a), None) => {
            let lower = above(a);
            (-log1p_exp(-a), Reach { lower, upper: 0.0 })
        }
        (Some(a), Some(b)) => {
            let gap = (b - a).exp();
            let log = -log1p_exp(-a) - log1p_exp(b) + (-gap).ln_1p();
            let inside = gap / (1.0 - gap);
            let lower = above(a) + inside;
            let upper = -1.0 / (1.0 + (-b).exp()) - inside;
            (log, Reach { lower, upper })
        }
    }
}
