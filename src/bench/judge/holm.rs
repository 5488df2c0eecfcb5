//! Holm's correction over the declared family.

/// Step-down adjusted p values, in the order given.
///
/// Source: Holm 1979, Scand. J. Statist. 6:65.
#[must_use]
pub fn holm(p: &[f64]) -> Vec<f64> {
    let mut order: Vec<usize> = (0..p.len()).collect();
    order.sort_by(|&i, &j| p[i].total_cmp(&p[j]));
    let mut adjusted = vec![0.0; p.len()];
    let mut highest = 0.0_f64;
    for (step, &i) in order.iter().enumerate() {
        highest = highest.max((p.len() - step) as f64 * p[i]).min(1.0);
        adjusted[i] = highest;
    }
    adjusted
}
