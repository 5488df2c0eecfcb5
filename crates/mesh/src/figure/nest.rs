//! Which shell lies inside which, and which of them face the wrong way.

use super::mesh::Mesh;
use super::shell::{Shells, double_area};
use super::winding::{Winding, solid_angle};
use base::Vec3;

/// More shells than this are not looked at one by one.
const MOST_SHELLS: usize = 4000;
/// Places of a shell that are asked.
const PLACES: usize = 16;

/// How a closed shell lies among the others.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Nest {
    /// Open, twisted, or not looked at.
    Unknown,
    /// Outside the others, or crossing them.
    Free,
    /// Inside another one, facing inward: the wall of a cavity.
    Cavity,
    /// Inside another one, facing outward: no cavity, although one may be meant.
    Inner,
    /// Not inside another one, yet facing inward.
    InsideOut,
}

/// Judges each shell.
pub(super) fn nests(mesh: &Mesh, shells: &Shells) -> Vec<Nest> {
    let closed = |s: &super::Shell| s.is_closed() && s.orientable && s.triangles >= 4;
    if shells.list.len() > MOST_SHELLS {
        return vec![Nest::Unknown; shells.list.len()];
    }
    if let [only] = &shells.list[..] {
        return vec![match (closed(only), only.volume >= 0.0) {
            (false, _) => Nest::Unknown,
            (true, true) => Nest::Free,
            (true, false) => Nest::InsideOut,
        }];
    }
    let mut members: Vec<Vec<u32>> = vec![Vec::new(); shells.list.len()];
    for (t, s) in shells.of.iter().enumerate() {
        members[*s as usize].push(t as u32);
    }
    let winding = Winding::new(mesh);
    shells
        .list
        .iter()
        .zip(&members)
        .map(|(shell, members)| {
            if !closed(shell) {
                return Nest::Unknown;
            }
            let inside = members
                .iter()
                .step_by(members.len().div_ceil(PLACES))
                .map(|t| around(mesh, &winding, members, *t))
                .filter(|w| *w > 0.5)
                .count();
            let asked = members.len().div_ceil(members.len().div_ceil(PLACES));
            match (shell.volume >= 0.0, inside) {
                (true, n) if n == asked => Nest::Inner,
                (true, _) => Nest::Free,
                (false, n) if n == asked => Nest::Cavity,
                (false, _) => Nest::InsideOut,
            }
        })
        .collect()
}

/// Winding number of all other shells at the middle of a triangle.
fn around(mesh: &Mesh, winding: &Winding, own: &[u32], triangle: u32) -> f64 {
    let corners = |t: u32| mesh.triangles[t as usize].map(|v| mesh.vertices[v as usize]);
    let [a, b, c] = corners(triangle);
    let lift = double_area(&[a, b, c]);
    let size = (b - a).norm();
    let point: Vec3 =
        (a + b + c) / 3.0 + lift.try_normalize(0.0).unwrap_or_default() * (1e-4 * size);
    let own: f64 = own.iter().map(|t| solid_angle(&corners(*t), &point)).sum();
    winding.at(&point) - own / (4.0 * std::f64::consts::PI)
}

/// Turns the shells that are inside out. Returns how many.
pub(super) fn turn_inside_out(mesh: &mut Mesh, shells: &mut Shells, nests: &mut [Nest]) -> usize {
    let mut turned = 0;
    for (shell, nest) in shells.list.iter_mut().zip(nests.iter_mut()) {
        if *nest == Nest::InsideOut {
            shell.volume = -shell.volume;
            turned += 1;
        }
    }
    if turned > 0 {
        for (t, s) in mesh.triangles.iter_mut().zip(&shells.of) {
            if nests[*s as usize] == Nest::InsideOut {
                t.swap(1, 2);
            }
        }
        for nest in nests {
            if *nest == Nest::InsideOut {
                *nest = Nest::Free;
            }
        }
    }
    turned
}
