//! How a figure is made: from a file or from a mesh, step after step.

use super::cluster::{Links, cluster};
use super::curvature::{Bend, bends};
use super::frame::{Told, place};
use super::mesh::Mesh;
use super::patch::{Patch, PatchId, Shape};
use super::sample::{Piece, cut};
use super::shell::{Shells, agree};
use super::surface::{Sample, Surface};
use super::weld::{Triangles, Welded, weld};
use super::{Figure, Settings, hull, name, solid};
use crate::base::{Error, Note, Place, Result, Topic, Vec3};
use crate::format::read;
use std::path::Path;

/// [m] coarsest cutting grid for fine patches.
const CELL: f64 = 1.5e-4;
/// More samples than this are too slow to be useful; large figures get a coarser grid.
const MOST_SAMPLES: f64 = 1.5e6;

impl Figure {
    /// Loads a mesh file.
    ///
    /// # Errors
    /// See [`read::open`], [`place`] and [`solid::solid`]: each names the file, what is wrong,
    /// the allowed range where there is one, and what to do.
    pub fn load(path: &Path, settings: &Settings) -> Result<Figure> {
        let file = read::open(path)?;
        let name = path
            .file_stem()
            .map_or_else(String::new, |s| s.to_string_lossy().into_owned());
        let told = Told {
            unit: file.unit,
            up: file.up,
        };
        Maker {
            name,
            told,
            settings,
        }
        .make(&file, file.notes.clone())
        .map_err(|error| error.at(Place::file(path)))
    }

    /// Makes a figure of a mesh in memory.
    ///
    /// * `mesh`: in file units, millimetres assumed; corners need not be shared
    ///
    /// # Errors
    /// As [`Figure::load`].
    pub fn from_mesh(name: &str, mesh: &Mesh, settings: &Settings) -> Result<Figure> {
        let bad = |v: &Vec3| !v.iter().all(|x| x.abs() <= read::FARTHEST);
        if let Some(v) = mesh.vertices.iter().position(bad) {
            return Err(Error::input(format!(
                "corner {v} of {name} is not a finite number"
            )));
        }
        let name = name.to_string();
        Maker {
            name,
            told: Told::default(),
            settings,
        }
        .make(mesh, Vec::new())
    }
}

struct Maker<'a> {
    name: String,
    told: Told,
    settings: &'a Settings,
}

impl Maker<'_> {
    fn make(self, source: &impl Triangles, mut notes: Vec<Note>) -> Result<Figure> {
        let (mut mesh, welded) = weld(source)?;
        drop_unused(&mut mesh);
        notes.extend(weld_note(&welded));
        notes.extend(place(&mut mesh, self.told, self.settings)?);
        let (shells, turned) = agree(&mut mesh);
        if turned > 0 {
            notes.push(Note::new(
                Topic::Mended,
                format!("{turned} triangles faced inward beside outward ones and were turned"),
            ));
        }
        let shells = outside_out(&mut mesh, shells, &mut notes);
        let solid = solid::solid(&mesh, &shells)?;
        let patch = self.settings.patch;
        let (hull, (surface, patches, limits)) = rayon::join(
            || hull::hull(&mesh.vertices),
            || work_surface(&mesh, &shells, patch),
        );
        let hull = hull?;
        notes.extend(limits);
        Ok(Figure {
            hash: digest(&mesh, self.settings),
            name: self.name,
            reference: name::Reference::of(&mesh),
            solid,
            surface,
            patches,
            hull: hull.points,
            hull_faces: hull.faces,
            shells,
            mesh,
            notes,
        })
    }
}

fn weld_note(welded: &Welded) -> Option<Note> {
    (welded.collapsed > 0).then(|| {
        Note::new(
            Topic::Mended,
            format!(
                "{} of {} triangles had no extent and were dropped",
                welded.collapsed, welded.given
            ),
        )
    })
}

/// Corners of dropped triangles would still stretch the bounding box.
fn drop_unused(mesh: &mut Mesh) {
    let mut new = vec![u32::MAX; mesh.vertices.len()];
    mesh.triangles
        .iter()
        .flatten()
        .for_each(|v| new[*v as usize] = 0);
    if new.iter().all(|n| *n == 0) {
        return;
    }
    let mut kept = Vec::with_capacity(mesh.vertices.len());
    for (v, n) in new.iter_mut().enumerate().filter(|(_, n)| **n == 0) {
        *n = kept.len() as u32;
        kept.push(mesh.vertices[v]);
    }
    mesh.vertices = kept;
    for t in &mut mesh.triangles {
        *t = t.map(|v| new[v as usize]);
    }
}

/// A file that is inside out as a whole is turned as a whole.
fn outside_out(mesh: &mut Mesh, shells: Shells, notes: &mut Vec<Note>) -> Shells {
    let volume: f64 = shells.list.iter().map(|s| s.volume).sum();
    if volume >= 0.0 || !shells.balanced {
        return shells;
    }
    mesh.triangles.iter_mut().for_each(|t| t.swap(1, 2));
    notes.push(Note::new(
        Topic::Mended,
        "the file was inside out, as mirrored exports are; all triangles were turned",
    ));
    agree(mesh).0
}

fn work_surface(mesh: &Mesh, shells: &Shells, patch: f64) -> (Surface, Vec<Patch>, Vec<Note>) {
    let mut notes = Vec::new();
    let area: f64 = shells.list.iter().map(|s| s.area).sum();
    let coarsest = (1.7 * area / MOST_SAMPLES).sqrt();
    let cell = CELL.min(patch / 3.0).max(coarsest);
    let patch = patch.max(3.0 * cell);
    if cell == coarsest {
        notes.push(Note::new(
            Topic::Limit,
            format!(
                "the surface is so large that patches of {:.2} mm are used",
                patch * 1e3
            ),
        ));
    }
    let pieces = cut(mesh, cell);
    let links = Links::new(&pieces, cell);
    let owner = cluster(&pieces, &links, cell, patch);
    let bends = bends(&pieces, &links, cell);
    let patches = patches(&pieces, &owner, &bends);
    let samples = pieces
        .iter()
        .zip(&owner)
        .map(|(p, o)| Sample {
            point: p.point,
            normal: p.normal,
            area: p.area,
            patch: PatchId(*o),
            exposed: true,
        })
        .collect();
    (Surface::new(samples), patches, notes)
}

fn patches(pieces: &[Piece], owner: &[u32], bends: &[Bend]) -> Vec<Patch> {
    let count = owner.iter().max().map_or(0, |m| *m as usize + 1);
    let mut members: Vec<Vec<usize>> = vec![Vec::new(); count];
    owner
        .iter()
        .enumerate()
        .for_each(|(i, o)| members[*o as usize].push(i));
    members.iter().map(|m| patch(m, pieces, bends)).collect()
}

fn patch(members: &[usize], pieces: &[Piece], bends: &[Bend]) -> Patch {
    let area: f64 = members.iter().map(|i| pieces[*i].area).sum();
    let weighted = |f: &dyn Fn(&Piece) -> Vec3| {
        members
            .iter()
            .map(|i| f(&pieces[*i]) * pieces[*i].area)
            .sum::<Vec3>()
            / area
    };
    let normal = weighted(&|p| p.normal);
    // The sharpest tenth of the patch decides: that is where the film is thin.
    let share = |value: &dyn Fn(&Bend) -> f64, part: f64| {
        let mut all: Vec<(f64, f64)> = members
            .iter()
            .map(|i| (value(&bends[*i]), pieces[*i].area))
            .collect();
        all.sort_by(|a, b| b.0.total_cmp(&a.0));
        let mut left = part * area;
        for (v, a) in &all {
            left -= a;
            if left <= 0.0 {
                return *v;
            }
        }
        all.last().map_or(0.0, |v| v.0)
    };
    let sharp = share(&|b| b.sharp, 0.1);
    let both = share(&|b| b.blunt, 0.1);
    // Creases of a coarse mesh are few and strong: only their mean tells how hollow it is.
    let hollow = -members
        .iter()
        .map(|i| bends[*i].blunt * pieces[*i].area)
        .sum::<f64>()
        / area;
    Patch {
        centroid: weighted(&|p| p.point),
        normal: normal
            .try_normalize(1e-12)
            .unwrap_or(pieces[members[0]].normal),
        area,
        radius: if sharp > super::patch::FLAT {
            1.0 / sharp
        } else {
            f64::INFINITY
        },
        shape: Shape::of(sharp, both, hollow),
        exposed: true,
    }
}

fn digest(mesh: &Mesh, settings: &Settings) -> [u8; 32] {
    let mut hasher = blake3::Hasher::new();
    hasher.update(b"figure 1");
    hasher.update(&settings.patch.to_le_bytes());
    let mut block = Vec::with_capacity(1 << 16);
    for v in &mesh.vertices {
        v.iter().for_each(|x| block.extend(x.to_le_bytes()));
        if block.len() > (1 << 16) - 64 {
            hasher.update(&block);
            block.clear();
        }
    }
    for t in &mesh.triangles {
        t.iter().for_each(|x| block.extend(x.to_le_bytes()));
        if block.len() > (1 << 16) - 64 {
            hasher.update(&block);
            block.clear();
        }
    }
    hasher.update(&block);
    *hasher.finalize().as_bytes()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::figure::shapes;

    /// A stout body on a 25 mm disc with a thin spike, in millimetres.
    pub(crate) fn porter() -> Mesh {
        let body = [
            (0.0, 0.0),
            (12.5, 0.0),
            (12.5, 2.4),
            (11.9, 3.0),
            (5.0, 3.2),
            (6.0, 12.0),
            (4.0, 20.0),
            (5.0, 27.0),
            (2.0, 29.0),
            (3.4, 33.0),
            (2.5, 36.0),
            (0.4, 37.0),
            (0.0, 40.0),
        ];
        shapes::turned(&body, 36)
    }

    fn figure(mesh: &Mesh) -> Figure {
        Figure::from_mesh("porter", mesh, &Settings::default()).unwrap()
    }

    #[test]
    fn patches_cover_the_surface_and_are_of_one_size() {
        let figure = figure(&porter());
        let area: f64 = figure
            .mesh
            .corners()
            .map(|t| super::super::shell::double_area(&t).norm() / 2.0)
            .sum();
        let patched: f64 = figure.patch_areas().iter().sum();
        assert!(
            (patched / area - 1.0).abs() < 1e-9,
            "{}",
            patched / area - 1.0
        );
        let mean = area / figure.patches.len() as f64;
        assert!((0.2e-6..0.32e-6).contains(&mean), "{mean:e}");
        let spread = figure
            .patches
            .iter()
            .map(|p| (p.area / mean - 1.0).powi(2))
            .sum::<f64>();
        let cv = (spread / figure.patches.len() as f64).sqrt();
        assert!(cv < 0.35, "{cv}");
    }

    #[test]
    fn a_sphere_has_its_radius_and_a_box_its_edges_and_corners() {
        let ball = figure(&shapes::icosphere(5, 10.0));
        let mut radii: Vec<f64> = ball.patches.iter().map(|p| p.radius).collect();
        radii.sort_by(f64::total_cmp);
        let median = radii[radii.len() / 2];
        assert!((0.008..0.0105).contains(&median), "{median}");
        assert!(ball.patches.iter().all(|p| p.shape == Shape::Face));

        let cube = figure(&shapes::block(Vec3::zeros(), Vec3::repeat(10.0)));
        let shape_at = |x: f64, y: f64, z: f64| {
            let i = cube
                .surface
                .nearest(&(Vec3::new(x, y, z) * 1e-3), &Vec3::zeros())
                .unwrap();
            cube.patches[cube.surface.samples[i].patch.index()].shape
        };
        assert_eq!(shape_at(5.0, 5.0, 10.0), Shape::Tip);
        assert_eq!(shape_at(5.0, 0.0, 10.0), Shape::Edge);
        assert_eq!(shape_at(0.0, 0.0, 10.0), Shape::Face);
        let mut sharp: Vec<f64> = cube
            .patches
            .iter()
            .filter(|p| p.shape == Shape::Edge)
            .map(|p| p.radius)
            .collect();
        sharp.sort_by(f64::total_cmp);
        let median = sharp[sharp.len() / 2];
        assert!(
            sharp.len() > 200 && median < 3e-4,
            "{} {median}",
            sharp.len()
        );
    }

    #[test]
    fn a_knife_blade_is_sharp_and_the_inside_of_a_bowl_hollow() {
        // A wedge of 11 degrees: its two sides are no neighbours.
        let blade = Mesh {
            vertices: [
                [0.0, -1.0, 0.0],
                [20.0, -1.0, 0.0],
                [0.0, 1.0, 0.0],
                [20.0, 1.0, 0.0],
                [0.0, 0.0, 10.0],
                [20.0, 0.0, 10.0],
            ]
            .map(Vec3::from)
            .to_vec(),
            triangles: vec![
                [0, 2, 1],
                [1, 2, 3],
                [0, 1, 4],
                [1, 5, 4],
                [2, 4, 3],
                [3, 4, 5],
                [0, 4, 2],
                [1, 3, 5],
            ],
        };
        let blade = Figure::from_mesh(
            "blade",
            &blade,
            &Settings {
                up: Some(crate::figure::Axis::Z),
                ..Settings::default()
            },
        )
        .unwrap();
        let i = blade
            .surface
            .nearest(&Vec3::new(0.0, 0.0, 0.010), &Vec3::zeros())
            .unwrap();
        let patch = &blade.patches[blade.surface.samples[i].patch.index()];
        assert!(
            patch.shape == Shape::Edge && patch.radius < 2e-4,
            "{patch:?}"
        );

        let bowl = [
            (0.0, 0.0),
            (8.0, 0.0),
            (8.0, 10.0),
            (1.2, 10.0),
            (1.1, 9.5),
            (0.85, 9.1),
            (0.45, 8.85),
            (0.0, 8.8),
        ];
        let bowl = figure(&shapes::turned(&bowl, 48));
        let i = bowl
            .surface
            .nearest(&Vec3::new(0.0, 0.0, 0.0088), &Vec3::zeros())
            .unwrap();
        assert_eq!(
            bowl.patches[bowl.surface.samples[i].patch.index()].shape,
            Shape::Hollow
        );
    }

    #[test]
    fn a_contact_is_booked_whole_wherever_it_is() {
        let figure = figure(&porter());
        let mut random = crate::base::random::stream(3, &["contacts"], 0);
        for _ in 0..500 {
            use rand::RngExt;
            let mut x = || random.random::<f64>() * 0.06 - 0.03;
            let (point, normal) = (
                Vec3::new(x(), x(), x() + 0.02),
                Vec3::new(x(), x(), x()).normalize(),
            );
            let shares = figure.surface.spread(&point, &normal, 5e-4);
            let total: f64 = shares.iter().map(|s| s.1).sum();
            assert!((total - 1.0).abs() < 1e-12 && !shares.is_empty());
            assert!(shares.windows(2).all(|w| w[0].0 < w[1].0));
        }
    }

    #[test]
    fn a_contact_on_a_thin_plate_stays_on_its_side() {
        let plate = shapes::block(Vec3::zeros(), Vec3::new(20.0, 0.3, 20.0));
        let settings = Settings {
            up: Some(crate::figure::Axis::Z),
            ..Settings::default()
        };
        let plate = Figure::from_mesh("plate", &plate, &settings).unwrap();
        let shares = plate
            .surface
            .spread(&Vec3::new(0.0, -0.00015, 0.01), &-Vec3::y(), 5e-4);
        assert!(
            shares
                .iter()
                .all(|(p, _)| plate.patches[p.index()].normal.y < -0.9)
        );
    }

    #[test]
    fn an_inside_out_file_is_turned_and_said_so() {
        let right = figure(&porter());
        let wrong = figure(&shapes::inside_out(&porter()));
        assert!(wrong.notes.iter().any(|n| n.text.contains("inside out")));
        assert!((wrong.solid.volume / right.solid.volume - 1.0).abs() < 1e-12);
        assert!((wrong.patches[0].normal - right.patches[0].normal).norm() < 1e-9);
    }

    #[test]
    fn the_same_mesh_twice_is_the_same_figure_to_the_bit() {
        let (a, b) = (figure(&porter()), figure(&porter()));
        assert_eq!(a.hash, b.hash);
        assert_eq!(a.patches, b.patches);
        assert_eq!(a.surface.samples, b.surface.samples);
    }
}
