//! The health of a mesh in words a painter understands, and in numbers.

use super::mesh::Mesh;
use super::nest::Nest;
use super::shell::{Shell, Shells, double_area};
use super::surface::Sample;
use base::{Note, Topic};
use serde::Serialize;

/// One thing worth knowing about the mesh.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Finding {
    /// What is the case.
    pub what: String,
    /// What was done about it here.
    pub done: String,
    /// What the user may do; empty if nothing.
    pub advice: String,
}

/// Numbers and findings.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct Health {
    /// Triangles in the file.
    pub triangles: usize,
    /// Triangles dropped because they had no extent.
    pub dropped: usize,
    /// Triangles kept although their area is next to nothing.
    pub needles: usize,
    /// Pieces of surface joined by edges.
    pub shells: usize,
    /// Of these with holes or rims.
    pub open_shells: usize,
    /// Edges with one triangle.
    pub open_edges: usize,
    /// Edges with more than two.
    pub crowded_edges: usize,
    /// Shells with a half twist.
    pub twisted_shells: usize,
    /// Triangles that faced inward beside outward ones and were turned.
    pub turned_triangles: usize,
    /// Closed shells that were inside out and were turned.
    pub turned_shells: usize,
    /// Shells that are there twice.
    pub duplicated_shells: usize,
    /// Closed shells that are walls of cavities.
    pub cavities: usize,
    /// Closed shells inside others that face outward.
    pub inner_shells: usize,
    /// Share of the solid covered by two shells or more.
    pub overlap_share: f64,
    /// Share of the surface that lies inside other parts or sees no sky, and gets no dose.
    pub hidden_share: f64,
    /// Groups of shells that touch nothing of the others and hold 2 % of the surface or more.
    pub parts_apart: usize,
    /// Thin posts found in slices near the foot.
    pub thin_posts: usize,
    /// In words.
    pub findings: Vec<Finding>,
}

/// What was learned on the way from file to figure.
pub(super) struct Learned<'a> {
    pub mesh: &'a Mesh,
    pub shells: &'a Shells,
    pub nests: &'a [Nest],
    pub samples: &'a [Sample],
    pub volume: f64,
    pub twice: f64,
    pub given: usize,
    pub dropped: usize,
    pub turned_triangles: usize,
    pub turned_shells: usize,
}

impl Health {
    pub(super) fn of(learned: &Learned) -> Health {
        let Learned {
            mesh,
            shells,
            nests,
            samples,
            ..
        } = learned;
        let list = &shells.list;
        let count = |f: &dyn Fn(&Shell) -> bool| list.iter().filter(|s| f(s)).count();
        let nested = |n: Nest| nests.iter().filter(|x| **x == n).count();
        let extent = mesh.bounds().map_or(0.0, |(lo, hi)| (hi - lo).max());
        let area = |hidden: bool| {
            base::sum::sum(
                samples
                    .iter()
                    .filter(|s| !hidden || !s.exposed)
                    .map(|s| s.area),
            )
        };
        let mut health = Health {
            triangles: learned.given,
            dropped: learned.dropped,
            needles: mesh
                .corners()
                .filter(|t| double_area(t).norm() < 1e-12 * extent * extent)
                .count(),
            shells: list.len(),
            open_shells: count(&|s| !s.is_closed()),
            open_edges: list.iter().map(|s| s.open_edges).sum(),
            crowded_edges: list.iter().map(|s| s.crowded_edges).sum(),
            twisted_shells: count(&|s| !s.orientable),
            turned_triangles: learned.turned_triangles,
            turned_shells: learned.turned_shells,
            duplicated_shells: duplicates(list, extent),
            cavities: nested(Nest::Cavity),
            inner_shells: nested(Nest::Inner),
            overlap_share: (learned.twice / learned.volume).clamp(0.0, 1.0),
            hidden_share: area(true) / area(false).max(f64::MIN_POSITIVE),
            parts_apart: parts_apart(list),
            thin_posts: thin_posts(samples, mesh),
            findings: Vec::new(),
        };
        health.findings = health.in_words();
        health
    }

    /// The findings as notes for the end of a run.
    #[must_use]
    pub fn notes(&self) -> Vec<Note> {
        self.findings
            .iter()
            .map(|f| {
                let mut text = format!("{}: {}", f.what, f.done);
                if !f.advice.is_empty() {
                    text += "; ";
                    text += &f.advice;
                }
                Note::new(Topic::Mended, text)
            })
            .collect()
    }

    fn in_words(&self) -> Vec<Finding> {
        let percent = |x: f64| format!("{:.1} %", 100.0 * x);
        let rows: [(bool, String, &str, &str); 13] = [
            (
                self.dropped > 0,
                format!(
                    "{} of {} triangles have no extent",
                    self.dropped, self.triangles
                ),
                "they were dropped",
                "",
            ),
            (
                self.turned_triangles > 0,
                format!(
                    "{} triangles faced inward beside outward ones",
                    self.turned_triangles
                ),
                "they were turned",
                "recompute the normals before printing",
            ),
            (
                self.turned_shells > 0,
                format!(
                    "{} closed shells were inside out, as mirrored parts are",
                    self.turned_shells
                ),
                "they were turned",
                "",
            ),
            (
                self.open_shells > 0,
                format!(
                    "{} of {} shells are open ({} open edges), so there is no clear inside",
                    self.open_shells, self.shells, self.open_edges
                ),
                "holes were closed nearly flat for the weight; a touch on the back of a thin sheet is booked on its front",
                "weigh the real figure and give mass_g",
            ),
            (
                self.crowded_edges > 0,
                format!("{} edges join more than two triangles", self.crowded_edges),
                "the shape is used as it is",
                "",
            ),
            (
                self.twisted_shells > 0,
                format!(
                    "{} shells have a half twist and no outside",
                    self.twisted_shells
                ),
                "they are used as they are",
                "repair the mesh: their side is a coin flip",
            ),
            (
                self.duplicated_shells > 0,
                format!("{} shells are there twice", self.duplicated_shells),
                "they weigh once; their surface may take a dose twice as thinly",
                "delete the copies",
            ),
            (
                self.overlap_share > 1e-4,
                format!(
                    "parts overlap in {} of the body",
                    percent(self.overlap_share)
                ),
                "the overlap weighs once and walls inside get no dose",
                "",
            ),
            (
                self.inner_shells > 0,
                format!(
                    "{} inner shells face outward inside a solid",
                    self.inner_shells
                ),
                "they were treated as solid",
                "was the print hollowed? then give mass_g",
            ),
            (
                self.cavities > 0,
                format!("the body holds {} cavities", self.cavities),
                "they weigh nothing",
                "",
            ),
            (
                self.hidden_share > 1e-3,
                format!(
                    "{} of the surface cannot be reached from outside",
                    percent(self.hidden_share)
                ),
                "it gets no dose",
                "",
            ),
            (
                self.parts_apart > 1,
                format!(
                    "{} parts lie apart without touching, like a kit before assembly",
                    self.parts_apart
                ),
                "they are treated as one rigid body",
                "assemble the figure first: as it is neither its tumbling nor its height is right",
            ),
            (
                self.thin_posts >= POSTS,
                format!(
                    "about {} thin posts stand near the foot, probably print supports",
                    self.thin_posts
                ),
                "they were left in, and would take the knocks instead of the figure",
                "use the file without supports",
            ),
        ];
        rows.into_iter()
            .filter(|r| r.0)
            .map(|(_, what, done, advice)| Finding {
                what,
                done: done.into(),
                advice: advice.into(),
            })
            .collect()
    }
}

/// Shells that lie where another one of the same size lies.
fn duplicates(list: &[Shell], extent: f64) -> usize {
    let mut order: Vec<&Shell> = list.iter().collect();
    order.sort_by(|a, b| {
        a.triangles
            .cmp(&b.triangles)
            .then(a.area.total_cmp(&b.area))
    });
    let near = |a: &Shell, b: &Shell| {
        let off = (a.low - b.low).norm() + (a.high - b.high).norm();
        a.triangles == b.triangles && (a.area / b.area - 1.0).abs() < 1e-3 && off < 2e-3 * extent
    };
    order.windows(2).filter(|w| near(w[0], w[1])).count()
}

/// Groups of shells whose boxes do not touch, of 2 % of the area or more each.
fn parts_apart(list: &[Shell]) -> usize {
    const GAP: f64 = 1e-4;
    if list.len() > 3000 {
        return 1;
    }
    let mut group: Vec<usize> = (0..list.len()).collect();
    fn root(group: &mut [usize], mut x: usize) -> usize {
        while group[x] != x {
            group[x] = group[group[x]];
            x = group[x];
        }
        x
    }
    for i in 0..list.len() {
        for j in 0..i {
            let (a, b) = (&list[i], &list[j]);
            if (0..3).all(|k| a.low[k] <= b.high[k] + GAP && b.low[k] <= a.high[k] + GAP) {
                let (x, y) = (root(&mut group, i), root(&mut group, j));
                group[x.max(y)] = x.min(y);
            }
        }
    }
    let total: f64 = list.iter().map(|s| s.area).sum();
    let mut areas = vec![0.0; list.len()];
    for (i, shell) in list.iter().enumerate() {
        areas[root(&mut group, i)] += shell.area;
    }
    areas.iter().filter(|a| **a > 0.02 * total).count()
}

/// So many thin posts are supports and not legs.
const POSTS: usize = 12;

/// Thin separate posts in slices through the lower fifth, the second largest number of four
/// slices.
fn thin_posts(samples: &[Sample], mesh: &Mesh) -> usize {
    let height = mesh.bounds().map_or(0.0, |(_, high)| high.z);
    let mut counts: Vec<usize> = [0.06, 0.10, 0.14, 0.18]
        .iter()
        .map(|share| posts_at(samples, share * height))
        .collect();
    counts.sort_unstable();
    counts[2]
}

fn posts_at(samples: &[Sample], z: f64) -> usize {
    const SIDE: f64 = 4e-4;
    const THIN: i64 = 6;
    let mut cells: Vec<(i64, i64)> = samples
        .iter()
        .filter(|s| (s.point.z - z).abs() < 2.5e-4)
        .map(|s| {
            (
                (s.point.x / SIDE).floor() as i64,
                (s.point.y / SIDE).floor() as i64,
            )
        })
        .collect();
    cells.sort_unstable();
    cells.dedup();
    let mut seen = vec![false; cells.len()];
    let mut posts = 0;
    for start in 0..cells.len() {
        if std::mem::replace(&mut seen[start], true) {
            continue;
        }
        let mut stack = vec![start];
        let (mut lo, mut hi) = (cells[start], cells[start]);
        while let Some(i) = stack.pop() {
            let (x, y) = cells[i];
            lo = (lo.0.min(x), lo.1.min(y));
            hi = (hi.0.max(x), hi.1.max(y));
            for step in 0..9 {
                let next = (x + step / 3 - 1, y + step % 3 - 1);
                if let Ok(j) = cells.binary_search(&next)
                    && !std::mem::replace(&mut seen[j], true)
                {
                    stack.push(j);
                }
            }
        }
        posts += usize::from(hi.0 - lo.0 < THIN && hi.1 - lo.1 < THIN);
    }
    posts
}
