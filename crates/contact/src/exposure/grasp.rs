//! Where fingers go: opposed, level, at a random azimuth and a height within a hold's zone.

use crate::pad::Pose;
use base::random::Stream;
use base::{Quat, Vec3};
use mesh::figure::Figure;
use rand::RngExt;
use rand_distr::{Distribution, StandardNormal};
use std::f64::consts::{PI, TAU};

/// [m] half the height of the slice whose middle the fingers aim at.
const SLICE: f64 = 5e-3;
/// [m] how well they aim.
const AIM: f64 = 1.5e-3;
/// Share of the height taken as base on a figure without a flat one.
const NO_BASE: f64 = 0.12;

/// Style of holding.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Zone {
    /// By the rim of the base.
    Base,
    /// Around the middle.
    Body,
    /// By the upper third.
    Top,
}

impl Zone {
    /// In the order of the shares.
    pub(super) const ALL: [Zone; 3] = [Zone::Base, Zone::Body, Zone::Top];

    /// [m] lowest and highest aim.
    fn heights(self, figure: &Figure) -> (f64, f64) {
        let high = figure.height();
        let base = match figure.reference.base {
            b if b > 0.0 => b.min(0.3 * high),
            _ => NO_BASE * high,
        };
        let body = high - base;
        match self {
            Zone::Base => (0.3 * base, 0.7 * base),
            Zone::Body => (base + 0.25 * body, base + 0.65 * body),
            Zone::Top => (base + 0.65 * body, base + 0.95 * body),
        }
    }
}

/// One finger's place, or a grasp as that of its thumb.
#[derive(Debug, Clone, Copy)]
pub(super) struct Grasp {
    /// Turns the figure under the finger.
    pub pose: Pose,
    /// [m] point the finger's axis goes through, figure's frame.
    pub middle: Vec3,
    azimuth: f64,
}

impl Grasp {
    fn at(azimuth: f64, middle: Vec3) -> Grasp {
        Grasp {
            pose: Pose::facing(&Vec3::new(azimuth.cos(), azimuth.sin(), 0.0)),
            middle,
            azimuth,
        }
    }

    /// The thumb, then the fingers against it.
    pub(super) fn fingers(&self, count: u32, spread: f64) -> Vec<Grasp> {
        let against = |turn: f64| Grasp::at(self.azimuth + PI + turn, self.middle);
        match count {
            0..=2 => vec![*self, against(0.0)],
            _ => vec![*self, against(spread), against(-spread)],
        }
    }
}

/// A random grasp; `None` where the slice is empty.
///
/// * `part`: number and count of the strata a grasp is drawn from: azimuth and height are each
///   drawn from one part of their range, so that the grasps of a set are spread out
/// * `turn`: by how many parts the heights are turned against the azimuths
pub(super) fn sample(
    figure: &Figure,
    zone: Zone,
    (number, count): (usize, usize),
    turn: usize,
    random: &mut Stream,
) -> Option<Grasp> {
    let (low, high) = zone.heights(figure);
    let part = |number: usize, u: f64| (number as f64 + u) / count as f64;
    let height = low + (high - low) * part((number + turn) % count, random.random::<f64>());
    let azimuth = TAU * part(number, random.random::<f64>());
    let aside: f64 = StandardNormal.sample(random);
    let slice = figure.surface.samples.iter();
    let slice = slice.filter(|s| s.exposed && (s.point.z - height).abs() < SLICE);
    let (mut sum, mut area) = (Vec3::zeros(), 0.0);
    for sample in slice {
        sum += sample.point * sample.area;
        area += sample.area;
    }
    if area <= 0.0 {
        return None;
    }
    let across = Quat::from_axis_angle(&Vec3::z_axis(), azimuth) * Vec3::y();
    let mut middle = sum / area + across * (aside * AIM);
    middle.z = height;
    Some(Grasp::at(azimuth, middle))
}
