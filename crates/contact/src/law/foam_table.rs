//! Table behind the inverse of a foam's curve: found by the bits of the number, so that a look-up
//! costs a shift and not a search (the solver makes millions of them).

use super::foam::{Excess, Shape};

/// Nodes per octave of 1 + stress/unit, as a power of two.
const FINENESS: u32 = 9;

#[derive(Debug, Clone, Copy)]
struct Node {
    stress: f64,
    strain: f64,
    slope: f64,
    energy: f64,
}

/// Collapse strain over stress: piecewise linear, straight beyond its end.
#[derive(Debug, Clone)]
pub(super) struct Table {
    per_unit: f64,
    /// [Pa] up to which nothing collapses.
    first: f64,
    nodes: Vec<Node>,
}

impl Table {
    pub(super) fn new(shape: &Shape, scale: f64, last_strain: f64) -> Table {
        let unit = scale * shape.stress(0.4) / 4.0;
        let modulus = scale * shape.tangent(0.0);
        let end = scale * shape.stress(last_strain);
        let mut stresses: Vec<f64> = (0..)
            .map(|i| unit * (node_value(i) - 1.0))
            .take_while(|s| *s < end)
            .collect();
        stresses.push(end);
        let mut strain = 0.0;
        let mut excess: Vec<f64> = stresses
            .iter()
            .map(|s| {
                strain = invert(shape, s / scale, strain, last_strain);
                strain - s / modulus
            })
            .collect();
        // Far from a contact everything is a breath of stress: no collapse at all up to the first
        // node (a two-thousandth of the stress at 40 %) lets the solver pass by.
        if let Some(first) = excess.get_mut(1) {
            *first = 0.0;
        }
        let beyond = 1.0 / (scale * shape.tangent(last_strain)) - 1.0 / modulus;
        let mut nodes = Vec::with_capacity(stresses.len());
        let mut energy = 0.0;
        for i in 0..stresses.len() {
            let slope = match i + 1 < stresses.len() {
                true => (excess[i + 1] - excess[i]) / (stresses[i + 1] - stresses[i]),
                false => beyond,
            };
            nodes.push(Node {
                stress: stresses[i],
                strain: excess[i],
                slope,
                energy,
            });
            if i + 1 < stresses.len() {
                energy += 0.5 * (excess[i] + excess[i + 1]) * (stresses[i + 1] - stresses[i]);
            }
        }
        Table {
            per_unit: 1.0 / unit,
            first: nodes.get(1).map_or(0.0, |n| n.stress),
            nodes,
        }
    }

    #[inline]
    pub(super) fn at(&self, stress: f64) -> Excess {
        if stress <= self.first {
            return Excess::default();
        }
        let index = node_index(1.0 + stress * self.per_unit).min(self.nodes.len() - 1);
        let node = &self.nodes[index];
        let d = stress - node.stress;
        Excess {
            strain: node.strain + node.slope * d,
            slope: node.slope,
            energy: node.energy + d * (node.strain + 0.5 * node.slope * d),
        }
    }
}

/// Number of the node at or below `x`, x at least 1.
#[inline]
fn node_index(x: f64) -> usize {
    ((x.to_bits() - 1f64.to_bits()) >> (52 - FINENESS)) as usize
}

/// The `x` at which node `index` sits.
fn node_value(index: u64) -> f64 {
    f64::from_bits(1f64.to_bits() + (index << (52 - FINENESS)))
}

/// Strain at a stress of the unscaled curve: bisection kept by Newton, from a strain below it.
fn invert(shape: &Shape, stress: f64, start: f64, last: f64) -> f64 {
    let (mut low, mut high) = (start, last);
    let mut e = start;
    for _ in 0..200 {
        let f = shape.stress(e) - stress;
        if f > 0.0 {
            high = e
        } else {
            low = e
        }
        let step = f / shape.tangent(e);
        if step.abs() < 1e-14 {
            return e - step;
        }
        let next = e - step;
        e = if next > low && next < high {
            next
        } else {
            0.5 * (low + high)
        };
    }
    e
}
