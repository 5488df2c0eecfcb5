//! What figures of one shape have in common.

use super::super::Shape;
use super::super::meet::Piece;
use super::super::spin::principal;
use super::super::support::Support;
use base::{Error, Mat3, Result, Vec3};

/// What figures of one shape have in common.
pub(super) struct Kind {
    pub mass: f64,
    pub inertia: Vec3,
    /// From the principal axes to the figure's frame.
    pub to_figure: Mat3,
    pub centre: Vec3,
    pub support: Support,
    pub pieces: Vec<Piece>,
    pub tips: Vec<f64>,
    pub round: f64,
    pub reach: f64,
    /// Corners are the hull's own, so their numbers mean something outside.
    pub is_hull: bool,
}

impl Kind {
    pub(super) fn new(shape: &Shape) -> Result<Kind> {
        let (inertia, to_figure) = principal(&shape.body.inertia);
        let turn = to_figure.transpose();
        let home = |points: &[Vec3]| -> Vec<Vec3> {
            points
                .iter()
                .map(|p| turn * (p - shape.body.centre))
                .collect()
        };
        let pieces: Vec<Vec<Vec3>> = match shape.pieces.is_empty() {
            true => vec![home(&shape.hull)],
            false => shape.pieces.iter().map(|p| home(p)).collect(),
        };
        let corners: Vec<Vec3> = pieces.concat();
        if corners.len() > usize::from(u16::MAX) {
            return Err(Error::input(format!(
                "{} corners in all pieces are more than this engine holds (65535)",
                corners.len()
            )));
        }
        let pieces = pieces.into_iter().map(|p| Piece::new(p, shape.round));
        Ok(Kind {
            mass: shape.body.mass,
            inertia,
            to_figure,
            centre: shape.body.centre,
            support: Support::new(corners),
            pieces: pieces.collect::<Result<_>>()?,
            tips: shape.tips.clone(),
            round: shape.round,
            reach: shape.reach(),
            is_hull: shape.pieces.is_empty(),
        })
    }
}
