//! The porter as files from the wild come: overlapping shells, hollow, open, inside out, doubled.
//! Each with the volume of the solid it means, found without any mesh.

use super::field::{Field, Group};
use super::shapes::egg;
use super::{Mesh, porter, porter_field, triangulate};

/// Half axes [mm] of the cavity of the hollow versions: an ellipsoid within the belly.
const CAVITY: [f64; 3] = [3.4, 3.1, 3.6];

/// [mm] step of the count behind [`Version::volume_mm3`].
const COUNT_MM: f64 = 0.25;

/// One way a figure file can be.
#[derive(Debug, Clone)]
pub struct Version {
    /// Short name, fit for a file.
    pub name: &'static str,
    /// What is wrong with it, in words.
    pub what: &'static str,
    /// The triangles, in millimetres.
    pub mesh: Mesh,
    /// [mm3] volume of the solid that a sensible reader sees, good to 0.3 %: counted on the field,
    /// closed form for the cavity.
    pub volume_mm3: f64,
}

/// All versions.
///
/// * `triangles`: of the whole porter; the others follow
#[must_use]
pub fn versions(triangles: usize) -> Vec<Version> {
    versions_of(&porter(triangles))
}

fn versions_of(whole: &Mesh) -> Vec<Version> {
    let volume = porter_field().volume_mm3(COUNT_MM);
    let cavity = cavity_mesh();
    let hollow = volume - 4.0 / 3.0 * std::f64::consts::PI * CAVITY.iter().product::<f64>();
    let (shells, union) = shells_apart();
    let version = |name, what, mesh, volume_mm3| Version {
        name,
        what,
        mesh,
        volume_mm3,
    };
    let merged = |other: &Mesh| joined(&[whole, other]);
    vec![
        version("whole", "one closed shell", whole.clone(), volume),
        version(
            "shells",
            "every part a closed shell of its own, overlapping",
            shells,
            union,
        ),
        version(
            "hollow",
            "closed cavity, its wall facing inward",
            merged(&turned(&cavity)),
            hollow,
        ),
        version(
            "filled",
            "closed cavity whose wall faces the wrong way: means a solid",
            merged(&cavity),
            volume,
        ),
        version(
            "open",
            "underside of the base missing",
            opened(whole),
            volume,
        ),
        version(
            "inside-out",
            "every triangle wound the wrong way",
            turned(whole),
            volume,
        ),
        version("double", "the same shell twice", merged(whole), volume),
    ]
}

fn cavity_mesh() -> Mesh {
    let piece = egg([0.0, -0.3, 15.0], CAVITY);
    triangulate(&Field::new(vec![Group::new("cavity", 0.0, piece)]), 0.3)
}

/// Every group meshed apart, and the volume of their union.
fn shells_apart() -> (Mesh, f64) {
    let volume = porter_field().unblended().volume_mm3(COUNT_MM);
    let parts: Vec<Mesh> = porter_field()
        .apart()
        .iter()
        .map(|part| triangulate(part, 0.25))
        .collect();
    (joined(&parts.iter().collect::<Vec<_>>()), volume)
}

fn joined(parts: &[&Mesh]) -> Mesh {
    let mut all = Mesh::default();
    for part in parts {
        let shift = all.vertices.len() as u32;
        all.vertices.extend(&part.vertices);
        all.triangles
            .extend(part.triangles.iter().map(|t| t.map(|v| v + shift)));
    }
    all
}

fn turned(mesh: &Mesh) -> Mesh {
    Mesh {
        vertices: mesh.vertices.clone(),
        triangles: mesh.triangles.iter().map(|&[a, b, c]| [a, c, b]).collect(),
    }
}

fn opened(mesh: &Mesh) -> Mesh {
    let low = |v: &u32| mesh.vertices[*v as usize].z < 2e-3;
    Mesh {
        vertices: mesh.vertices.clone(),
        triangles: mesh
            .triangles
            .iter()
            .filter(|t| !t.iter().all(low))
            .copied()
            .collect(),
    }
}

#[cfg(test)]
mod tests {
    use super::super::health;
    use super::*;

    #[test]
    fn each_version_has_its_fault_and_its_volume() {
        let all = versions_of(crate::figure::sculpt::tests::light());
        let find = |name: &str| all.iter().find(|v| v.name == name).unwrap();
        let near = |a: f64, b: f64| (a / b - 1.0).abs() < 5e-3;
        let whole = health(&find("whole").mesh);
        assert!(whole.watertight && whole.shells == 1);
        assert!(near(whole.volume, find("whole").volume_mm3), "{whole:?}");
        let shells = health(&find("shells").mesh);
        assert!(shells.watertight && shells.shells == 16, "{shells:?}");
        assert!(shells.volume > 1.1 * find("shells").volume_mm3);
        let hollow = health(&find("hollow").mesh);
        assert!(hollow.shells == 2 && near(hollow.volume, find("hollow").volume_mm3));
        let filled = health(&find("filled").mesh);
        assert!(filled.volume > 1.04 * find("filled").volume_mm3);
        let open = health(&find("open").mesh);
        assert!(!open.watertight && open.shells == 1);
        assert!(near(-health(&find("inside-out").mesh).volume, whole.volume));
        assert!(near(
            health(&find("double").mesh).volume,
            2.0 * whole.volume
        ));
    }

    #[test]
    fn the_cavity_lies_well_inside() {
        let field = porter_field();
        for v in cavity_mesh().vertices.iter().step_by(7) {
            assert!(field.at([v.x, v.y, v.z]) < -0.5, "{v}");
        }
    }
}
