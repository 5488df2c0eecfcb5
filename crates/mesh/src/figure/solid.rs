//! Volume, centre of mass and second moments of the solid inside the mesh.
//!
//! Closed shells that do not overlap: exact, by the divergence theorem over tetrahedra from one
//! point (Tonon 2004, J. Math. Stat. 1:8, moments of a tetrahedron). Otherwise by columns; see
//! [`super::column`]. Flat holes get a flat lid first.

use super::column::{Columns, Crossed, Moments, attitude, columns};
use super::lid::lids;
use super::mesh::Mesh;
use super::shell::Shells;
use super::winding::Winding;
use base::sum::sum;
use base::{Error, Mat3, Result, Vec3};
use serde::{Deserialize, Serialize};

/// Columns along the largest extent.
const COLUMNS: usize = 256;

/// Share of the volume that may be covered twice or inside out before the divergence theorem is
/// no longer taken: its error is about that share.
const NO_OVERLAP: f64 = 1e-4;

/// Columns along the largest extent where the winding number is asked: more change nothing.
const OPEN_COLUMNS: usize = 64;

/// Two attitudes that differ by more than this ask for finer columns.
const AGREE: f64 = 0.003;

/// How the solid was found.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum SolidMethod {
    /// Divergence theorem: one closed shell, or several that do not overlap.
    Divergence,
    /// Signed crossings along columns in a generic attitude: closed shells that overlap.
    Columns,
    /// Flat lids on flat holes, then by the divergence theorem or by columns.
    Lids,
    /// Columns, asking the generalised winding number where crossings do not balance.
    ColumnsAndWinding,
}

/// The solid at unit density.
#[derive(Debug, Clone, PartialEq)]
pub struct Solid {
    /// [m3]
    pub volume: f64,
    /// [m] centre of mass in the figure's frame.
    pub centre: Vec3,
    /// [m5] inertia tensor about the centre for density 1 kg/m3.
    pub inertia: Mat3,
    /// How it was found.
    pub method: SolidMethod,
}

impl Solid {
    fn from_moments(moments: &Moments, method: SolidMethod) -> Solid {
        let (centre, inertia) = moments.centre_and_inertia();
        Solid {
            volume: moments.volume,
            centre,
            inertia,
            method,
        }
    }
}

/// The solid and what the columns saw on the way.
#[derive(Debug, Clone)]
pub struct Found {
    /// The solid.
    pub solid: Solid,
    /// [m3] covered by two shells or more.
    pub twice: f64,
    /// Do the shells neither overlap nor lie inside out nor gape?
    pub simple: bool,
}

/// Finds the solid of a mesh whose shells agree with themselves.
///
/// # Errors
/// Nothing is enclosed: a sheet, or shells that cancel each other.
pub fn solid(mesh: &Mesh, shells: &Shells) -> Result<Found> {
    let lidded = if shells.balanced { None } else { lids(mesh) };
    let closed = shells.balanced || lidded.as_ref().is_some_and(|l| l.closed);
    let body = lidded.as_ref().map_or(mesh, |l| &l.mesh);
    let seen = columns(body, COLUMNS, false);
    let alone = closed && simple(&seen);
    let solid = if closed {
        let moments = match alone {
            true => divergence(body),
            false => settle(|second, count| columns(body, count, second).solid, COLUMNS),
        };
        let method = match (shells.balanced, alone) {
            (false, _) => SolidMethod::Lids,
            (true, true) => SolidMethod::Divergence,
            (true, false) => SolidMethod::Columns,
        };
        Solid::from_moments(&moments, method)
    } else {
        let winding = Winding::new(body);
        let by_winding =
            |second, count| Crossed::new(body, count, attitude(second)).integrate_with(&winding);
        Solid::from_moments(
            &settle(by_winding, OPEN_COLUMNS),
            SolidMethod::ColumnsAndWinding,
        )
    };
    let extent = mesh.bounds().map_or(0.0, |(lo, hi)| (hi - lo).max());
    if solid.volume.is_nan() || solid.volume <= 1e-6 * extent.powi(3) {
        return Err(
            Error::input("the mesh encloses nothing: its volume is zero")
                .hint("a flat picture or a single sheet is no figure; export a closed body"),
        );
    }
    Ok(Found {
        solid,
        twice: seen.twice,
        simple: alone && shells.balanced,
    })
}

/// The mean of two attitudes, with twice the columns where they do not agree.
fn settle(moments: impl Fn(bool, usize) -> Moments, columns: usize) -> Moments {
    let mut pair = [moments(false, columns), moments(true, columns)];
    if (pair[0].volume - pair[1].volume).abs() > AGREE * pair[0].volume.abs() {
        pair = [moments(false, 2 * columns), moments(true, 2 * columns)];
    }
    Moments {
        volume: (pair[0].volume + pair[1].volume) / 2.0,
        first: (pair[0].first + pair[1].first) / 2.0,
        second: (pair[0].second + pair[1].second) / 2.0,
    }
}

fn simple(seen: &Columns) -> bool {
    seen.twice + seen.negative <= NO_OVERLAP * seen.solid.volume
}

/// Moments by the divergence theorem: exact for closed shells, overlaps count twice.
#[must_use]
pub fn divergence(mesh: &Mesh) -> Moments {
    let (low, high) = mesh.bounds().unwrap_or_default();
    let origin = (low + high) / 2.0;
    let mut terms: [Vec<f64>; 10] = Default::default();
    // Plain sums of a thousand terms, then a compensated sum: memory stays small.
    for some in mesh.triangles.chunks(1024) {
        let mut row = [0.0; 10];
        for t in some {
            let corners = t.map(|v| mesh.vertices[v as usize] - origin);
            row.iter_mut()
                .zip(tetrahedron(&corners))
                .for_each(|(all, x)| *all += x);
        }
        terms.iter_mut().zip(row).for_each(|(all, x)| all.push(x));
    }
    let [v, x, y, z, xx, yy, zz, xy, xz, yz] = terms.map(sum);
    Moments {
        volume: v,
        first: Vec3::new(x, y, z),
        second: Mat3::new(xx, xy, xz, xy, yy, yz, xz, yz, zz),
    }
    .turned_back(&base::Quat::identity(), &origin)
}

/// Volume, first and second moments of the tetrahedron between a triangle and the origin.
fn tetrahedron([a, b, c]: &[Vec3; 3]) -> [f64; 10] {
    let six = a.dot(&b.cross(c));
    let s = a + b + c;
    let f = s * (six / 24.0);
    let m = (s * s.transpose() + a * a.transpose() + b * b.transpose() + c * c.transpose())
        * (six / 120.0);
    [
        six / 6.0,
        f.x,
        f.y,
        f.z,
        m.m11,
        m.m22,
        m.m33,
        m.m12,
        m.m13,
        m.m23,
    ]
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::figure::shell::agree;
    use crate::figure::{shapes, weld::weld};
    use std::f64::consts::PI;

    fn of(parts: &[Mesh]) -> Solid {
        let mut mesh = weld(&shapes::together(parts)).unwrap().0;
        let (shells, _) = agree(&mut mesh);
        solid(&mesh, &shells).unwrap().solid
    }

    /// Box a x b x c: m/12 (b2 + c2); any table of moments of inertia.
    #[test]
    fn a_box_off_the_origin_has_the_handbook_inertia() {
        let low = Vec3::new(0.7, -2.0, 5.0);
        let size = Vec3::new(1.0, 2.0, 3.0);
        let found = of(&[shapes::block(low, low + size)]);
        assert_eq!(found.method, SolidMethod::Divergence);
        assert!((found.volume - 6.0).abs() < 1e-12);
        assert!((found.centre - low - size / 2.0).norm() < 1e-12);
        let wanted = Mat3::from_diagonal(&Vec3::new(13.0, 10.0, 5.0)) * 0.5;
        assert!((found.inertia - wanted).norm() < 1e-11);
    }

    /// Two unit spheres a distance 1 apart: union = two spheres less the lens
    /// pi (4 + d)(2 - d)^2 / 12 (any table of solids), scaled to the faceted sphere.
    #[test]
    fn overlapping_spheres_count_their_lens_once() {
        let ball = shapes::icosphere(5, 1.0);
        let one = of(std::slice::from_ref(&ball)).volume;
        let d = 1.0;
        let pair = of(&[ball.clone(), shapes::moved(&ball, |p| p + Vec3::x() * d)]);
        let whole = 4.0 / 3.0 * PI;
        let wanted = (2.0 * whole - PI * (4.0 + d) * (2.0 - d) * (2.0 - d) / 12.0) * one / whole;
        assert_eq!(pair.method, SolidMethod::Columns);
        assert!(
            (pair.volume / wanted - 1.0).abs() < 2e-4,
            "{}",
            pair.volume / wanted
        );
        assert!((pair.centre - Vec3::x() * 0.5).norm() < 1e-4);
    }

    #[test]
    fn a_duplicated_shell_counts_once() {
        let ball = shapes::icosphere(4, 1.0);
        let one = of(std::slice::from_ref(&ball));
        let twice = of(&[ball.clone(), shapes::moved(&ball, |p| p + Vec3::z() * 1e-5)]);
        assert!((twice.volume / one.volume - 1.0).abs() < 2e-4);
    }

    /// Columns against the divergence theorem on a body where both are right.
    #[test]
    fn columns_agree_with_divergence_on_volume_centre_and_inertia() {
        let profile = [
            (0.0, 0.0),
            (1.25, 0.0),
            (1.25, 0.3),
            (0.3, 0.4),
            (0.5, 2.0),
            (0.0, 3.0),
        ];
        let body = weld(&shapes::turned(&profile, 48)).unwrap().0;
        let exact = divergence(&body);
        for second in [false, true] {
            let seen = columns(&body, COLUMNS, second).solid;
            assert!((seen.volume / exact.volume - 1.0).abs() < 3e-4);
            let ((c, i), (wc, wi)) = (seen.centre_and_inertia(), exact.centre_and_inertia());
            assert!((c - wc).norm() < 5e-4, "{c} {wc}");
            assert!((i - wi).norm() / wi.norm() < 1e-3);
        }
    }

    fn sphere_cut_at(height: f64) -> (Mesh, f64) {
        let mut ball = shapes::icosphere(6, 1.0);
        let whole = divergence(&ball).volume;
        let kept: Vec<[u32; 3]> = ball
            .triangles
            .iter()
            .filter(|t| t.iter().map(|v| ball.vertices[*v as usize].z).sum::<f64>() / 3.0 < height)
            .copied()
            .collect();
        ball.triangles = kept;
        (ball, whole)
    }

    /// An open sphere is taken as if a flat lid closed it: sphere less the cap
    /// pi h^2 (3 - h) / 3 (any table of solids).
    #[test]
    fn an_open_sphere_is_the_sphere_less_its_cap() {
        for (cut, allowed) in [(0.95, 2e-3), (0.8, 3e-3), (0.5, 5e-3)] {
            let (ball, whole) = sphere_cut_at(cut);
            let found = of(&[ball]);
            let h = 1.0 - cut;
            let wanted = whole - PI * h * h * (3.0 - h) / 3.0;
            assert_eq!(found.method, SolidMethod::ColumnsAndWinding);
            assert!(
                (found.volume / wanted - 1.0).abs() < allowed,
                "{cut}: {}",
                found.volume / wanted - 1.0
            );
        }
    }

    /// Hollow sphere: 4/3 pi (R3 - r3), 8/15 pi (R5 - r5); the inner shell faces inward.
    #[test]
    fn a_hollow_sphere_weighs_its_wall() {
        let outer = shapes::icosphere(4, 1.0);
        let inner = shapes::inside_out(&shapes::icosphere(4, 0.8));
        let one = of(std::slice::from_ref(&outer));
        let hollow = of(&[outer, inner]);
        assert_eq!(hollow.method, SolidMethod::Divergence);
        assert!((hollow.volume / one.volume - (1.0 - 0.8_f64.powi(3))).abs() < 1e-12);
        assert!(
            (hollow.inertia[(0, 0)] / one.inertia[(0, 0)] - (1.0 - 0.8_f64.powi(5))).abs() < 1e-12
        );
    }

    /// A void whose shell faces outward cannot be told from a solid inside a solid.
    #[test]
    fn an_inner_shell_facing_outward_adds_nothing() {
        let outer = shapes::icosphere(4, 1.0);
        let one = of(std::slice::from_ref(&outer));
        let found = of(&[outer, shapes::icosphere(4, 0.8)]);
        assert!((found.volume / one.volume - 1.0).abs() < 3e-4);
    }

    #[test]
    fn a_sheet_encloses_nothing() {
        let mut mesh = weld(&shapes::block(Vec3::zeros(), Vec3::repeat(1.0)))
            .unwrap()
            .0;
        mesh.triangles.truncate(2);
        let (shells, _) = agree(&mut mesh);
        assert!(
            solid(&mesh, &shells)
                .unwrap_err()
                .what()
                .contains("encloses nothing")
        );
    }
}
