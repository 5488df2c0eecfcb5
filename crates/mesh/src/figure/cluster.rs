//! Patches: clusters of samples of nearly equal area.
//!
//! Seeds are thinned by distance in the order of a hash of the sample's cell, so that they do not
//! depend on the triangles; each sample goes to the seed nearest along the surface, crossing a
//! crease costs one patch size more; two rounds of Lloyd even the sizes (Lloyd 1982, IEEE Trans.
//! Inf. Theory 28:129).

use super::grid::Grid;
use super::sample::Piece;
use base::Vec3;
use rayon::prelude::*;

/// Samples within this many cells are neighbours.
const REACH: f64 = 1.8;
/// Neighbours face the same way within 102 degrees: the two sides of a thin blade do not.
const SAME_SHEET: f64 = -0.2;
/// Steeper than 41 degrees is a crease.
const CREASE: f64 = 0.75;
/// Seeds keep this many patch sizes apart; found so that the mean area is near size squared.
const SPACING: f64 = 0.74;
/// Rounds of Lloyd.
const ROUNDS: usize = 2;
/// Patches below this share of size squared join a neighbour.
const SMALL: f64 = 0.24;

/// Which samples are next to which.
pub(super) struct Links {
    starts: Vec<u32>,
    ends: Vec<u32>,
    /// [m] distance along each link, negative across a crease.
    lengths: Vec<f32>,
}

impl Links {
    /// * `cell`: [m] side of the cutting grid
    pub fn new(pieces: &[Piece], cell: f64) -> Links {
        let radius = REACH * cell;
        let grid = Grid::new(pieces.iter().map(|p| p.point), radius);
        let numbers: Vec<usize> = (0..pieces.len()).collect();
        let found: Vec<(Vec<u32>, Vec<u32>, Vec<f32>)> = numbers
            .par_chunks(4096)
            .map(|some| {
                let mut counts = Vec::with_capacity(some.len());
                let (mut ends, mut lengths) = (Vec::new(), Vec::new());
                for &i in some {
                    let before = ends.len();
                    grid.near(&pieces[i].point, radius, |j| {
                        let near = (pieces[i].point - pieces[j].point).norm_squared();
                        if i == j || near > radius * radius {
                            return;
                        }
                        let agree = pieces[i].normal.dot(&pieces[j].normal);
                        if agree > SAME_SHEET {
                            ends.push(j as u32);
                            let length = near.sqrt().max(1e-12) as f32;
                            lengths.push(if agree < CREASE { -length } else { length });
                        }
                    });
                    counts.push((ends.len() - before) as u32);
                }
                (counts, ends, lengths)
            })
            .collect();
        let mut links = Links {
            starts: Vec::with_capacity(pieces.len() + 1),
            ends: Vec::with_capacity(found.iter().map(|f| f.1.len()).sum()),
            lengths: Vec::with_capacity(found.iter().map(|f| f.1.len()).sum()),
        };
        links.starts.push(0);
        let mut total = 0;
        for (counts, ends, lengths) in found {
            for count in counts {
                total += count;
                links.starts.push(total);
            }
            links.ends.extend(ends);
            links.lengths.extend(lengths);
        }
        links
    }

    fn range(&self, sample: usize) -> std::ops::Range<usize> {
        self.starts[sample] as usize..self.starts[sample + 1] as usize
    }

    /// Neighbours of a sample.
    pub fn of(&self, sample: usize) -> &[u32] {
        &self.ends[self.range(sample)]
    }

    /// Neighbours with the way there [m], longer by `crease` across a crease.
    fn ways(&self, sample: usize, crease: f64) -> impl Iterator<Item = (usize, f64)> {
        let range = self.range(sample);
        let lengths = &self.lengths[range.clone()];
        self.ends[range]
            .iter()
            .zip(lengths)
            .map(move |(j, length)| {
                let length = f64::from(*length);
                (
                    *j as usize,
                    if length < 0.0 {
                        crease - length
                    } else {
                        length
                    },
                )
            })
    }
}

/// Patch number of each sample, from 0 without gaps, in the order of first sample.
///
/// * `cell`: [m] side of the cutting grid; `size`: [m] square root of the wanted area
pub(super) fn cluster(pieces: &[Piece], links: &Links, cell: f64, size: f64) -> Vec<u32> {
    if pieces.is_empty() {
        return Vec::new();
    }
    let mut seeds = thin(pieces, cell, size);
    add_islands(pieces, links, &mut seeds);
    let mut owner = spread(links, pieces.len(), &seeds, size);
    for _ in 0..ROUNDS {
        seeds = centres(pieces, &owner, seeds.len());
        owner = spread(links, pieces.len(), &seeds, size);
    }
    merge_small(pieces, links, &mut owner, size);
    renumber(&mut owner);
    owner
}

/// Seeds that keep their distance, in hash order.
fn thin(pieces: &[Piece], cell: f64, size: f64) -> Vec<u32> {
    let mut order: Vec<u32> = (0..pieces.len() as u32)
        .filter(|i| pieces[*i as usize].area > 0.2 * cell * cell)
        .collect();
    order.sort_by_cached_key(|i| (super::scatter(pieces[*i as usize].key), *i));
    let radius = SPACING * size;
    let grid = Grid::new(pieces.iter().map(|p| p.point), radius / 2.0);
    let mut taken = vec![false; pieces.len()];
    let mut seeds = Vec::new();
    for i in order {
        let me = &pieces[i as usize];
        if taken[i as usize] {
            continue;
        }
        seeds.push(i);
        grid.near(&me.point, radius, |j| {
            let other = &pieces[j];
            if (other.point - me.point).norm_squared() <= radius * radius
                && other.normal.dot(&me.normal) > 0.2
            {
                taken[j] = true;
            }
        });
    }
    seeds
}

/// A seed for every island that has none: its largest sample.
fn add_islands(pieces: &[Piece], links: &Links, seeds: &mut Vec<u32>) {
    let mut seen = vec![false; pieces.len()];
    seeds.iter().for_each(|s| seen[*s as usize] = true);
    flood(links, &mut seen, seeds.clone());
    for i in 0..pieces.len() as u32 {
        if std::mem::replace(&mut seen[i as usize], true) {
            continue;
        }
        let members = flood(links, &mut seen, vec![i]);
        let area = |i: &u32| pieces[*i as usize].area;
        let largest = members
            .iter()
            .max_by(|a, b| area(a).total_cmp(&area(b)).then(b.cmp(a)));
        seeds.extend(largest);
    }
}

/// Everything linked to `members`, marked as seen.
fn flood(links: &Links, seen: &mut [bool], mut members: Vec<u32>) -> Vec<u32> {
    let mut next = 0;
    while let Some(&i) = members.get(next) {
        next += 1;
        for &j in links.of(i as usize) {
            if !std::mem::replace(&mut seen[j as usize], true) {
                members.push(j);
            }
        }
    }
    members
}

/// Number of the nearest seed along the surface, for each sample.
///
/// Shortest ways by label correction in buckets of equal width (delta stepping; Meyer & Sanders
/// 2003, J. Algorithms 49:114): the same ways as Dijkstra's, without his heap.
fn spread(links: &Links, count: usize, seeds: &[u32], size: f64) -> Vec<u32> {
    let width = size / 16.0;
    let mut owner = vec![u32::MAX; count];
    let mut best = vec![f64::INFINITY; count];
    let mut done = vec![f64::INFINITY; count];
    let mut buckets: Vec<Vec<u32>> = vec![seeds.to_vec()];
    for (number, &sample) in seeds.iter().enumerate() {
        best[sample as usize] = 0.0;
        owner[sample as usize] = number as u32;
    }
    let mut now = 0;
    while now < buckets.len() {
        while let Some(i) = buckets[now].pop() {
            let i = i as usize;
            if done[i] <= best[i] {
                continue;
            }
            done[i] = best[i];
            for (j, way) in links.ways(i, size) {
                let distance = best[i] + way;
                if distance < best[j] {
                    best[j] = distance;
                    owner[j] = owner[i];
                    let bucket = (distance / width) as usize;
                    if bucket >= buckets.len() {
                        buckets.resize(bucket + 1, Vec::new());
                    }
                    buckets[bucket].push(j as u32);
                }
            }
        }
        now += 1;
    }
    owner
}

/// The sample nearest to the middle of each patch.
fn centres(pieces: &[Piece], owner: &[u32], count: usize) -> Vec<u32> {
    let mut sums = vec![(Vec3::zeros(), 0.0); count];
    for (p, o) in pieces.iter().zip(owner) {
        let sum = &mut sums[*o as usize];
        sum.0 += p.point * p.area;
        sum.1 += p.area;
    }
    let mut best = vec![(f64::INFINITY, 0); count];
    for (i, (p, o)) in pieces.iter().zip(owner).enumerate() {
        let (moment, area) = sums[*o as usize];
        let distance = (p.point - moment / area).norm_squared();
        if distance < best[*o as usize].0 {
            best[*o as usize] = (distance, i as u32);
        }
    }
    best.into_iter().map(|b| b.1).collect()
}

/// Joins each patch that is too small to the one it shares most links with.
fn merge_small(pieces: &[Piece], links: &Links, owner: &mut [u32], size: f64) {
    let count = owner.iter().max().map_or(0, |m| *m as usize + 1);
    let mut area = vec![0.0; count];
    let mut members: Vec<Vec<u32>> = vec![Vec::new(); count];
    for (i, (p, o)) in pieces.iter().zip(owner.iter()).enumerate() {
        area[*o as usize] += p.area;
        members[*o as usize].push(i as u32);
    }
    let least = SMALL * size * size;
    let mut small: Vec<usize> = (0..count).filter(|c| area[*c] < least).collect();
    small.sort_by(|a, b| area[*a].total_cmp(&area[*b]).then(a.cmp(b)));
    for patch in small {
        if area[patch] >= least {
            continue;
        }
        let mut next: Vec<u32> = members[patch]
            .iter()
            .flat_map(|i| links.of(*i as usize))
            .map(|j| owner[*j as usize])
            .filter(|o| *o as usize != patch)
            .collect();
        next.sort_unstable();
        let most = next
            .chunk_by(|a, b| a == b)
            .max_by(|a, b| a.len().cmp(&b.len()).then(b[0].cmp(&a[0])))
            .map(|run| run[0] as usize);
        if let Some(home) = most {
            let moving = std::mem::take(&mut members[patch]);
            moving.iter().for_each(|i| owner[*i as usize] = home as u32);
            members[home].extend(moving);
            area[home] += std::mem::take(&mut area[patch]);
        }
    }
}

fn renumber(owner: &mut [u32]) {
    let count = owner.iter().max().map_or(0, |m| *m as usize + 1);
    let mut new = vec![u32::MAX; count];
    let mut next = 0;
    for o in owner {
        let slot = &mut new[*o as usize];
        if *slot == u32::MAX {
            *slot = next;
            next += 1;
        }
        *o = *slot;
    }
}
