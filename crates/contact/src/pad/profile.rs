//! How the stress of a wave fades with depth, level by level: it depends on the length of the wave
//! alone, so it is tabled once for a pad and looked up for every grid.

use super::foundation::{Filling, Pad};
use crate::law::layer;
use crate::law::punch::gauss_legendre;

/// How much wider than the elastic stress the collapse stress is taken: waves are multiplied by
/// this before they are looked up at depth.
///
/// Chosen in view of 40 finite-element cases (spheres R 3-15 mm, rods R 0.5-3 mm, discs R 5 and
/// 12 mm on 10-30 mm): at 1.0 spheres are up to a quarter too soft, at 2 rods deeper than two
/// radii are a quarter too stiff; 1.3-1.6 all stay within 15 %. In-sample: those cases show the
/// fit, not a prediction.
pub const COLLAPSE_SPREAD: f64 = 1.5;
/// [m] height of the uppermost level.
const FIRST_LEVEL: f64 = 0.5e-3;
/// Each level is this much higher than the one above it.
const LEVEL_GROWTH: f64 = 1.6;
/// Nodes per octave of 1 + q H, as a power of two.
const FINENESS: u32 = 9;
/// Octaves of 1 + q H that are tabled; beyond them nothing arrives below the uppermost level.
const OCTAVES: usize = 14;

/// Depth levels of a pad and what arrives there of a wave.
#[derive(Debug, Clone)]
pub(super) struct Profile {
    thickness: f64,
    /// [m] borders of the levels from the surface down; none in an elastic pad.
    edges: Vec<f64>,
    /// Per level, at the nodes.
    shares: Vec<Vec<f64>>,
}

impl Profile {
    pub fn new(pad: &Pad) -> Profile {
        let edges = match pad.filling {
            Filling::Foam(_) => level_edges(pad.thickness),
            Filling::Elastic { .. } => Vec::new(),
        };
        let table = |edge: &[f64]| {
            let height = edge[1] - edge[0];
            let nodes = gauss_legendre(4, height);
            (0..=OCTAVES << FINENESS)
                .map(|i| {
                    let q = (node_value(i) - 1.0) / pad.thickness * COLLAPSE_SPREAD;
                    let mean: f64 = (nodes.iter())
                        .map(|(z, w)| w * layer::stress_at_depth(q, edge[0] + z, pad.thickness))
                        .sum();
                    (mean / height).max(0.0).sqrt()
                })
                .collect()
        };
        Profile {
            thickness: pad.thickness,
            shares: edges.windows(2).map(table).collect(),
            edges,
        }
    }

    pub fn levels(&self) -> usize {
        self.shares.len()
    }

    /// [m] top and bottom of a level.
    pub fn reach(&self, level: usize) -> (f64, f64) {
        (self.edges[level], self.edges[level + 1])
    }

    /// Root of the share of the surface's stress that arrives on average in a level, with the
    /// spread taken in.
    ///
    /// * `q`: \[rad/m\]
    pub fn share(&self, level: usize, q: f64) -> f64 {
        let x = 1.0 + q * self.thickness;
        let table = &self.shares[level];
        let at = node_index(x).min(table.len() - 2);
        let (low, high) = (node_value(at), node_value(at + 1));
        let t = ((x - low) / (high - low)).min(1.0);
        table[at] + t * (table[at + 1] - table[at])
    }
}

/// Number of the node at or below `x`, x at least 1.
fn node_index(x: f64) -> usize {
    ((x.to_bits() - 1f64.to_bits()) >> (52 - FINENESS)) as usize
}

/// The `x` at which node `index` sits.
fn node_value(index: usize) -> f64 {
    f64::from_bits(1f64.to_bits() + ((index as u64) << (52 - FINENESS)))
}

fn level_edges(thickness: f64) -> Vec<f64> {
    let mut edges = vec![0.0];
    let (mut last, mut height) = (FIRST_LEVEL.min(thickness), FIRST_LEVEL);
    edges.push(last);
    while last < thickness * (1.0 - 1e-9) {
        height *= LEVEL_GROWTH;
        // A thin rest is better joined to the level above it.
        last = if last + 1.4 * height >= thickness {
            thickness
        } else {
            last + height
        };
        edges.push(last);
    }
    edges
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::law::foam::{Foam, OPEN_CELL};

    #[test]
    fn levels_fill_the_thickness() {
        for mm in [3.0, 10.0, 20.0, 50.0] {
            let edges = level_edges(mm * 1e-3);
            assert!((edges[edges.len() - 1] - mm * 1e-3).abs() < 1e-12);
            assert!(edges.windows(2).all(|e| e[1] > e[0]));
        }
        assert_eq!(level_edges(0.02).len(), 8, "seven levels in 20 mm");
    }

    /// sum_j h_j S_j^2 at spread 1 is the kernel of the layer; here spread 1.5 at q is spread 1
    /// at 1.5 q, so the levels are held to the exact kernel at that wave, tabled or not.
    #[test]
    fn levels_add_up_to_the_layer() {
        let pad = Pad {
            filling: Filling::Foam(Foam::new(OPEN_CELL, 3500.0)),
            thickness: 0.02,
        };
        let profile = Profile::new(&pad);
        for q in [0.0, 30.0, 77.7, 150.0, 600.0, 2500.0, 9000.0] {
            let exact = layer::compliance(q * COLLAPSE_SPREAD, 0.02, 1.0, 0.0);
            let sum: f64 = (0..profile.levels())
                .map(|j| {
                    let (top, bottom) = profile.reach(j);
                    (bottom - top) * profile.share(j, q).powi(2)
                })
                .sum();
            // Four points a level: 1.5e-3 where a wave dies within the uppermost.
            assert!((sum / exact - 1.0).abs() < 2e-3, "{q}: {sum} {exact}");
        }
    }
}
