//! Declared option: a film peels from the rim of bare spots, so a patch beside one wears faster.

use super::neighbours::Neighbours;

/// Shortens lives: once a neighbour has ended, what is left of a patch goes `factor` times faster.
/// Works through the patches in the order they end, as in a shortest-path search.
///
/// * `lives`: [units] of each patch without undermining; changed in place
/// * `factor`: at least 1
pub(super) fn peel(lives: &mut [f32], neighbours: &Neighbours, factor: f64) {
    if factor <= 1.0 {
        return;
    }
    let mut queue: std::collections::BTreeSet<(u32, usize)> = std::collections::BTreeSet::new();
    // bits of non-negative floats sort as the floats do
    let key = |life: f32| life.max(0.0).to_bits();
    for (p, life) in lives.iter().enumerate() {
        if life.is_finite() {
            queue.insert((key(*life), p));
        }
    }
    let mut hastened = vec![false; lives.len()];
    while let Some((_, p)) = queue.pop_first() {
        let now = f64::from(lives[p]);
        for &q in neighbours.of_patch(p) {
            let end = f64::from(lives[q]);
            if hastened[q] || !end.is_finite() || end <= now {
                continue;
            }
            hastened[q] = true;
            queue.remove(&(key(lives[q]), q));
            lives[q] = (now + (end - now) / factor) as f32;
            queue.insert((key(lives[q]), q));
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A row of four patches ending at 10, 20, 40, 80; factor 2. The second: 10 + 10/2 = 15; the
    /// third from 15 on: 15 + 25/2 = 27.5; the fourth: 27.5 + 52.5/2 = 53.75.
    #[test]
    fn peeling_runs_along_a_row() {
        let row = Neighbours::row(4);
        let mut lives = [10.0f32, 20.0, 40.0, 80.0];
        peel(&mut lives, &row, 2.0);
        assert_eq!(lives, [10.0, 15.0, 27.5, 53.75]);
        let mut lives = [10.0f32, f32::INFINITY, 40.0, 80.0];
        peel(&mut lives, &row, 2.0);
        assert_eq!(lives, [10.0, f32::INFINITY, 40.0, 60.0]);
    }
}
