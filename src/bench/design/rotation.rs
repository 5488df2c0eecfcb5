//! Rotation of hand order, tray slot and box position, and blocks that hold fewer than all systems.

/// Rows of a Williams design: row r says which specimen stands in each position. One square for an
/// even number, two mirrored squares for an odd one; every specimen in every position and every
/// ordered pair of neighbours equally often.
///
/// Source: Williams 1949, Aust. J. Sci. Res. A2:149 (from memory).
#[must_use]
pub fn williams(n: usize) -> Vec<Vec<usize>> {
    let mut first = vec![0];
    let (mut low, mut high) = (1, n.saturating_sub(1));
    while first.len() < n {
        first.push(low);
        low += 1;
        if first.len() < n {
            first.push(high);
            high -= 1;
        }
    }
    let mut rows: Vec<Vec<usize>> = (0..n)
        .map(|shift| first.iter().map(|v| (v + shift) % n).collect())
        .collect();
    if n % 2 == 1 && n > 1 {
        let mirrored: Vec<Vec<usize>> = rows
            .iter()
            .map(|row| row.iter().rev().copied().collect())
            .collect();
        rows.extend(mirrored);
    }
    rows
}

/// How unequal the visits are: largest less smallest count of a specimen in a position, when the
/// first `passes` rows of the design are used, starting at `start` and going round.
#[must_use]
pub fn imbalance(n: usize, start: usize, passes: usize) -> usize {
    let rows = williams(n);
    let mut visits = vec![0_usize; n * n];
    for pass in 0..passes {
        for (position, specimen) in rows[(start + pass) % rows.len()].iter().enumerate() {
            visits[position * n + specimen] += 1;
        }
    }
    let most = visits.iter().max().copied().unwrap_or(0);
    most - visits.iter().min().copied().unwrap_or(0)
}

/// Balanced lattice of k x k systems (k prime) in blocks of k: each pair meets exactly once.
/// One replicate per k blocks, k + 1 replicates.
///
/// Source: Yates 1936, J. Agric. Sci. 26:424 (from memory).
#[must_use]
pub fn lattice(k: usize) -> Vec<Vec<usize>> {
    let mut blocks: Vec<Vec<usize>> = (0..k)
        .map(|i| (0..k).map(|j| i * k + j).collect())
        .collect();
    for slope in 0..k {
        for start in 0..k {
            blocks.push((0..k).map(|i| i * k + (start + slope * i) % k).collect());
        }
    }
    blocks
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn designs_are_balanced_and_match_the_published_squares() {
        let table = include_str!("../../../tests/reference/bench/williams.csv");
        let rows = table.lines().filter(|l| !l.starts_with('#')).skip(1);
        let mut seen = 0;
        for row in rows {
            let field: Vec<&str> = row.split(',').collect();
            let number = |i: usize| -> usize { field[i].parse().unwrap() };
            let n = number(0);
            let design = williams(n);
            let (mut visits, mut follows) = (vec![0; n * n], vec![0; n * n]);
            for row in &design {
                for (position, &specimen) in row.iter().enumerate() {
                    visits[position * n + specimen] += 1;
                    if position > 0 {
                        follows[row[position - 1] * n + specimen] += 1;
                    }
                }
            }
            assert_eq!(design.len(), number(1));
            assert!(visits.iter().all(|v| *v == number(2) && *v == number(3)));
            let off = (0..n * n).filter(|i| i / n != i % n);
            assert!(
                off.map(|i| follows[i])
                    .all(|f| f == number(4) && f == number(5))
            );
            let letters: Vec<String> = design[..n]
                .iter()
                .map(|r| r.iter().map(|v| char::from(b'A' + *v as u8)).collect())
                .collect();
            assert_eq!(letters.join("/"), field[6]);
            seen += 1;
        }
        assert_eq!(seen, 10);
        // In print (a package's williams(4) and two textbooks' first rows): 1243, 126354, 1273645.
        assert_eq!(williams(4)[0], [0, 1, 3, 2]);
        assert_eq!(williams(6)[0], [0, 1, 5, 2, 4, 3]);
        assert_eq!(williams(7)[0], [0, 1, 6, 2, 5, 3, 4]);
    }

    /// v = 9, k = 3: 12 blocks, 4 replicates, every pair once; efficiency v/(r k) = 0.75.
    #[test]
    fn the_lattice_is_balanced() {
        for k in [3, 5] {
            let blocks = lattice(k);
            assert_eq!(blocks.len(), k * (k + 1));
            let v = k * k;
            let mut together = vec![0; v * v];
            for block in &blocks {
                for &a in block {
                    for &b in block {
                        together[a * v + b] += 1;
                    }
                }
            }
            for (i, met) in together.iter().enumerate() {
                assert_eq!(*met, if i / v == i % v { k + 1 } else { 1 });
            }
        }
    }

    #[test]
    fn part_of_a_design_is_uneven_by_at_most_one_per_square() {
        assert_eq!(imbalance(8, 0, 8), 0);
        assert_eq!(imbalance(8, 3, 5), 1);
        assert_eq!(imbalance(7, 0, 14), 0);
    }
}
