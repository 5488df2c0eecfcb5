//! Patches: clusters of samples of nearly equal area.
//!
//! Seeds are thinned by distance in the order of a hash of the sample's cell, so that they do not
//! depend on the triangles; each sample goes to the seed nearest along the surface, crossing a
//! crease costs one patch size more; two rounds of Lloyd even the sizes (Lloyd 1982, IEEE Trans.
//! Inf. Theory 28:129). Dijkstra 1959 with all seeds at once.

use super::grid::Grid;
use super::sample::Piece;
use crate::base::Vec3;
use rayon::prelude::*;
use std::cmp::Ordering;
use std::collections::BinaryHeap;

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
}

impl Links {
    /// * `cell`: [m] side of the cutting grid
    pub fn new(pieces: &[Piece], cell: f64) -> Links {
        let radius = REACH * cell;
        let grid = Grid::new(pieces.iter().map(|p| p.point), radius);
        let numbers: Vec<usize> = (0..pieces.len()).collect();
        let found: Vec<(Vec<u32>, Vec<u32>)> = numbers
            .par_chunks(4096)
            .map(|some| {
                let (mut counts, mut ends) = (Vec::with_capacity(some.len()), Vec::new());
                for &i in some {
                    let before = ends.len();
                    grid.near(&pieces[i].point, radius, |j| {
                        let near = (pieces[i].point - pieces[j].point).norm_squared();
                        if i != j
                            && near <= radius * radius
                            && pieces[i].normal.dot(&pieces[j].normal) > SAME_SHEET
                        {
                            ends.push(j as u32);
                        }
                    });
                    counts.push((ends.len() - before) as u32);
                }
                (counts, ends)
            })
            .collect();
        let mut links = Links {
            starts: Vec::with_capacity(pieces.len() + 1),
            ends: Vec::with_capacity(found.iter().map(|f| f.1.len()).sum()),
        };
        links.starts.push(0);
        let mut total = 0;
        for (counts, ends) in found {
            for count in counts {
                total += count;
                links.starts.push(total);
            }
            links.ends.extend(ends);
        }
        links
    }

    /// Neighbours of a sample.
    pub fn of(&self, sample: usize) -> &[u32] {
        &self.ends[self.starts[sample] as usize..self.starts[sample + 1] as usize]
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
    let mut owner = spread(pieces, links, &seeds, size);
    for _ in 0..ROUNDS {
        seeds = centres(pieces, &owner, seeds.len());
        owner = spread(pieces, links, &seeds, size);
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

#[derive(PartialEq)]
struct Front {
    distance: f64,
    owner: u32,
    sample: u32,
}

impl Eq for Front {}

impl Ord for Front {
    fn cmp(&self, other: &Front) -> Ordering {
        other
            .distance
            .total_cmp(&self.distance)
            .then(other.owner.cmp(&self.owner))
            .then(other.sample.cmp(&self.sample))
    }
}

impl PartialOrd for Front {
    fn partial_cmp(&self, other: &Front) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}

/// Number of the nearest seed along the surface, for each sample.
fn spread(pieces: &[Piece], links: &Links, seeds: &[u32], size: f64) -> Vec<u32> {
    let mut owner = vec![u32::MAX; pieces.len()];
    let mut best = vec![f64::INFINITY; pieces.len()];
    let mut heap = BinaryHeap::with_capacity(pieces.len());
    for (number, &sample) in seeds.iter().enumerate() {
        best[sample as usize] = 0.0;
        heap.push(Front {
            distance: 0.0,
            owner: number as u32,
            sample,
        });
    }
    while let Some(front) = heap.pop() {
        let i = front.sample as usize;
        if owner[i] != u32::MAX {
            continue;
        }
        owner[i] = front.owner;
        for &j in links.of(i) {
            let (me, other) = (&pieces[i], &pieces[j as usize]);
            let crease = if me.normal.dot(&other.normal) < CREASE {
                size
            } else {
                0.0
            };
            let distance = front.distance + (me.point - other.point).norm() + crease;
            if owner[j as usize] == u32::MAX && distance < best[j as usize] {
                best[j as usize] = distance;
                heap.push(Front {
                    distance,
                    owner: front.owner,
                    sample: j,
                });
            }
        }
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
