//! A printed square of known side that lies among the grains, from which the scale is read.

use crate::Grain;
use crate::photo::PhotoError;
use crate::shape::{PixelPoint, area, cross, length, less};

/// Longest side or diagonal over the shortest that a square may show, %: a picture taken at a slant has no one scale (convention).
pub(crate) const MOST_SKEW_PCT: f64 = 3.0;
/// What lies at either end of a side is corner, as a share of the side.
const CORNER: f64 = 0.12;
/// Points of a straight side stray from it by no more than this share of it (root mean square), or this many pixels.
const STRAIGHT: f64 = 0.006;
const STRAIGHT_PIXELS: f64 = 0.35;
/// Corners are so sharp that no more of the area is missing, and no rounder where that is told.
const MISSING: f64 = 0.006;
const SHARP: f64 = 0.1;

/// A quadrilateral that is skewed by more is none of a square, however it was seen, %.
const SQUARE_AT_ALL_PCT: f64 = 15.0;

/// The corners of a grain that has four straight sides and may be a square seen at a slant, where the lines through its sides meet.
pub(crate) fn quadrilateral(grain: &Grain) -> Option<[PixelPoint; 4]> {
    let points = &grain.outline;
    let n = points.len();
    let near = corner_places(points)?;
    let lines: Vec<SquareSide> = (0..4)
        .map(|i| SquareSide::through(points, near[i], near[(i + 1) % 4] + if i == 3 { n } else { 0 }))
        .collect::<Option<_>>()?;
    let meet = |i: usize| lines[(i + 3) % 4].meets(&lines[i]);
    let corners = [meet(0)?, meet(1)?, meet(2)?, meet(3)?];
    let whole = area(&corners).abs();
    let is_sharp = (whole / grain.area - 1.0).abs() <= MISSING && grain.roundness.is_none_or(|r| r <= SHARP);
    (is_sharp && skew_pct(&corners) <= SQUARE_AT_ALL_PCT).then_some(corners)
}

/// The side of a square, as the mean of its four; pixels.
pub(crate) fn side(corners: &[PixelPoint; 4]) -> Result<f64, PhotoError> {
    let pct = skew_pct(corners);
    if pct > MOST_SKEW_PCT { Err(PhotoError::Skewed { pct }) } else { Ok(sides_of(corners).iter().sum::<f64>() / 4.0) }
}

fn sides_of(corners: &[PixelPoint; 4]) -> [f64; 4] {
    std::array::from_fn(|i| length(less(corners[(i + 1) % 4], corners[i])))
}

/// By how much the longest side exceeds the shortest, or one diagonal the other, %.
fn skew_pct(corners: &[PixelPoint; 4]) -> f64 {
    let diagonals = [0, 1].map(|i| length(less(corners[i + 2], corners[i])));
    let uneven = |lengths: &[f64]| {
        let (least, most) = lengths.iter().fold((f64::INFINITY, 0.0_f64), |(l, m), v| (l.min(*v), m.max(*v)));
        100.0 * (most / least - 1.0)
    };
    uneven(&sides_of(corners)).max(uneven(&diagonals))
}

/// Places of four corners along an outline, in its order: the two ends of its longest extent, and what is furthest from the line between
/// them on either side.
fn corner_places(points: &[PixelPoint]) -> Option<[usize; 4]> {
    let furthest = |from: PixelPoint| {
        (0..points.len()).max_by(|a, b| length(less(points[*a], from)).total_cmp(&length(less(points[*b], from))))
    };
    // From any point the furthest is a corner of a convex quadrilateral, and from there so is the next.
    let first = furthest(points[0])?;
    let across = furthest(points[first])?;
    let line = less(points[across], points[first]);
    let off = |i: &usize| cross(line, less(points[*i], points[first]));
    let left = (0..points.len()).max_by(|a, b| off(a).total_cmp(&off(b)))?;
    let right = (0..points.len()).min_by(|a, b| off(a).total_cmp(&off(b)))?;
    let mut places = [first, left, across, right];
    places.sort_unstable();
    places.windows(2).all(|w| w[0] < w[1]).then_some(places)
}

/// A straight line: a point of it and its direction.
struct SquareSide {
    at: PixelPoint,
    along: PixelPoint,
}

impl SquareSide {
    /// By total least squares through the middle of points from..to (around); none where they are not straight.
    fn through(points: &[PixelPoint], from: usize, to: usize) -> Option<Self> {
        let n = points.len();
        let cut = (CORNER * (to - from) as f64).ceil() as usize;
        let (from, to) = (from + cut, to.checked_sub(cut)?);
        if to < from + 5 {
            return None;
        }
        let count = (to - from) as f64;
        let side: Vec<PixelPoint> = (from..to).map(|i| points[i % n]).collect();
        let at = [0, 1].map(|axis| side.iter().map(|p| p[axis]).sum::<f64>() / count);
        let [mut xx, mut xy, mut yy] = [0.0; 3];
        for p in &side {
            let [dx, dy] = less(*p, at);
            (xx, xy, yy) = (xx + dx * dx / count, xy + dx * dy / count, yy + dy * dy / count);
        }
        let angle = 0.5 * (2.0 * xy).atan2(xx - yy);
        let across = 0.5 * (xx + yy - ((xx - yy).powi(2) + 4.0 * xy * xy).sqrt());
        let reach = length(less(side[side.len() - 1], side[0]));
        let straight = across.max(0.0).sqrt() <= (STRAIGHT * reach).max(STRAIGHT_PIXELS);
        straight.then_some(Self { at, along: [angle.cos(), angle.sin()] })
    }

    fn meets(&self, other: &Self) -> Option<PixelPoint> {
        let turn = cross(self.along, other.along);
        let t = cross(less(other.at, self.at), other.along) / turn;
        t.is_finite().then(|| [self.at[0] + t * self.along[0], self.at[1] + t * self.along[1]])
    }
}
