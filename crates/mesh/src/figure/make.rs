//! How a figure is made: from a file or from a mesh, step after step.

use super::cluster::{Links, cluster};
use super::curvature::{Bend, bends};
use super::exposed::{free_of_overlap, sees_sky};
use super::frame::{Told, place};
use super::health::{Health, Learned};
use super::mesh::Mesh;
use super::nest::{nests, turn_inside_out};
use super::patch::{Patch, PatchId, Shape};
use super::sample::{Piece, cut};
use super::shell::{Shells, agree};
use super::surface::{Sample, Surface};
use super::weld::{Triangles, weld};
use super::{Figure, Settings, hull, name, solid};
use crate::format::read;
use base::{Error, Note, Place, Result, Topic, Vec3};
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
        notes.extend(place(&mut mesh, self.told, self.settings)?);
        let (shells, turned_triangles) = agree(&mut mesh);
        refuse_heaps(&mesh, &shells)?;
        let mut shells = outside_out(&mut mesh, shells, &mut notes);
        let mut nests = nests(&mesh, &shells);
        let turned_shells = turn_inside_out(&mut mesh, &mut shells, &mut nests);
        let found = solid::solid(&mesh, &shells)?;
        let patch = self.settings.patch;
        let (hull, (surface, patches, limits)) = rayon::join(
            || hull::hull(&mesh.vertices),
            || work_surface(&mesh, &shells, patch, found.simple),
        );
        let hull = hull?;
        notes.extend(limits);
        let health = Health::of(&Learned {
            mesh: &mesh,
            shells: &shells,
            nests: &nests,
            samples: &surface.samples,
            volume: found.solid.volume,
            twice: found.twice,
            given: welded.given,
            dropped: welded.collapsed,
            turned_triangles,
            turned_shells,
        });
        notes.extend(health.notes());
        Ok(Figure {
            hash: digest(&mesh, self.settings),
            name: self.name,
            reference: name::Reference::of(&mesh),
            solid: found.solid,
            surface,
            patches,
            hull: hull.points,
            hull_faces: hull.faces,
            shells,
            health,
            mesh,
            notes,
        })
    }
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

/// Triangles that do not join are no surface, and no figure is folded a hundred times over itself:
/// nothing could be said about inside and outside, and a lot of time would be spent on it.
fn refuse_heaps(mesh: &Mesh, shells: &Shells) -> Result<()> {
    const MANY: usize = 5000;
    const MOSTLY: f64 = 0.9;
    const FOLDED: f64 = 50.0;
    let list = &shells.list;
    let all: f64 = list.iter().map(|s| s.area).sum();
    let loose = list.iter().filter(|s| s.triangles <= 2);
    if list.len() > MANY && loose.map(|s| s.area).sum::<f64>() > MOSTLY * all {
        return Err(Error::input(format!(
            "the triangles do not join: {} loose pieces",
            list.len()
        ))
        .hint("merge the corners that lie in one place (\"merge by distance\") and export again")
        .hint("or the file is damaged: fetch it again"));
    }
    let (low, high) = mesh.bounds().unwrap_or_default();
    let size = high - low;
    let around = 2.0 * (size.x * size.y + size.y * size.z + size.z * size.x);
    if all > FOLDED * around {
        return Err(Error::input(format!(
            "the surface is {:.0} times as large as the box around it, which no figure's is",
            all / around
        ))
        .hint("the file is damaged or holds a cloud of triangles: export or fetch it again"));
    }
    Ok(())
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

fn work_surface(
    mesh: &Mesh,
    shells: &Shells,
    patch: f64,
    simple: bool,
) -> (Surface, Vec<Patch>, Vec<Note>) {
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
    let free = if simple {
        vec![true; pieces.len()]
    } else {
        free_of_overlap(mesh, &pieces, cell)
    };
    let (mut patches, places) = patches(&pieces, &owner, &bends, &free);
    for (patch, sky) in patches.iter_mut().zip(sees_sky(&pieces, &places, cell)) {
        patch.exposed &= sky;
    }
    let samples = pieces
        .iter()
        .zip(&owner)
        .zip(&free)
        .map(|((p, o), free)| Sample {
            point: p.point,
            normal: p.normal,
            area: p.area,
            patch: PatchId(*o),
            exposed: *free && patches[*o as usize].exposed,
        })
        .collect();
    (Surface::new(samples), patches, notes)
}

/// Patches, and the middle sample and normal of each. A patch is exposed if any
/// of it is free.
fn patches(
    pieces: &[Piece],
    owner: &[u32],
    bends: &[Bend],
    free: &[bool],
) -> (Vec<Patch>, Vec<(Vec3, Vec3)>) {
    let count = owner.iter().max().map_or(0, |m| *m as usize + 1);
    let mut members: Vec<Vec<usize>> = vec![Vec::new(); count];
    owner
        .iter()
        .enumerate()
        .for_each(|(i, o)| members[*o as usize].push(i));
    members
        .iter()
        .map(|members| {
            let mut patch = patch(members, pieces, bends);
            let area = members
                .iter()
                .filter(|i| free[**i])
                .map(|i| pieces[*i].area);
            patch.exposed = area.sum::<f64>() > 0.0;
            let middle = members
                .iter()
                .filter(|i| free[**i] || !patch.exposed)
                .min_by(|a, b| {
                    let way = |i: &usize| (pieces[*i].point - patch.centroid).norm_squared();
                    way(a).total_cmp(&way(b))
                })
                .map_or((patch.centroid, patch.normal), |i| {
                    (pieces[*i].point, pieces[*i].normal)
                });
            (patch, middle)
        })
        .unzip()
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
    hasher.update(b"figure 2");
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
