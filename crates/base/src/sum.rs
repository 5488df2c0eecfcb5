//! Sums whose value does not depend on the number of threads: collect first, then add in order.

/// Sum in the given order with Neumaier's compensation (Neumaier 1974, ZAMM 54:39).
pub fn sum(values: impl IntoIterator<Item = f64>) -> f64 {
    let (mut total, mut carry) = (0.0_f64, 0.0_f64);
    for value in values {
        let next = total + value;
        carry += if total.abs() >= value.abs() {
            (total - next) + value
        } else {
            (value - next) + total
        };
        total = next;
    }
    total + carry
}

#[cfg(test)]
mod tests {
    #[test]
    fn small_terms_survive_a_large_one() {
        assert_eq!(super::sum([1e16, 1.0, -1e16]), 1.0);
    }
}
