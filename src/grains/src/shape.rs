//! Plane geometry of an outline: area, length, hull, Feret diameters, the smallest circle around it and the largest within.

use std::cmp::Ordering;
use std::collections::BinaryHeap;

/// A place in a picture, pixels; x to the right, y down, (0, 0) the outer corner of the first pixel.
pub type PixelPoint = [f64; 2];

/// A circle, pixels.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Circle {
    /// Its middle.
    pub centre: PixelPoint,
    /// Its radius.
    pub radius: f64,
}

pub(crate) fn less(a: PixelPoint, b: PixelPoint) -> PixelPoint {
    [a[0] - b[0], a[1] - b[1]]
}

pub(crate) fn cross(a: PixelPoint, b: PixelPoint) -> f64 {
    a[0] * b[1] - a[1] * b[0]
}

pub(crate) fn length(a: PixelPoint) -> f64 {
    a[0].hypot(a[1])
}

/// Each point with the one after it, around.
pub(crate) fn sides(points: &[PixelPoint]) -> impl Iterator<Item = (PixelPoint, PixelPoint)> + '_ {
    points.iter().copied().zip(points.iter().copied().cycle().skip(1))
}

/// Twice signed, halved: positive where the outline turns from x to y.
pub fn area(points: &[PixelPoint]) -> f64 {
    0.5 * sides(points).map(|(a, b)| cross(a, b)).sum::<f64>()
}

/// Length all around.
pub fn perimeter(points: &[PixelPoint]) -> f64 {
    sides(points).map(|(a, b)| length(less(b, a))).sum()
}

/// The least and the largest of a coordinate.
pub(crate) fn ends(points: &[PixelPoint], axis: usize) -> (f64, f64) {
    let values = points.iter().map(|p| p[axis]);
    (values.clone().fold(f64::INFINITY, f64::min), values.fold(f64::NEG_INFINITY, f64::max))
}

/// The convex hull, by Andrew's monotone chain.
pub fn hull(points: &[PixelPoint]) -> Vec<PixelPoint> {
    let mut sorted = points.to_vec();
    sorted.sort_by(|a, b| a[0].total_cmp(&b[0]).then(a[1].total_cmp(&b[1])));
    let half = |points: &mut dyn Iterator<Item = PixelPoint>| {
        let mut chain: Vec<PixelPoint> = Vec::new();
        for p in points {
            while let [.., a, b] = chain[..]
                && cross(less(b, a), less(p, a)) <= 0.0
            {
                chain.pop();
            }
            chain.push(p);
        }
        chain.pop();
        chain
    };
    let lower = half(&mut sorted.iter().copied());
    [lower, half(&mut sorted.iter().rev().copied())].concat()
}

/// The largest and the smallest Feret diameter of a hull (ISO 9276-6): the largest distance of two points, and the smallest
/// distance of two parallels that hold it, one of which lies on a side.
pub fn feret(hull: &[PixelPoint]) -> (f64, f64) {
    let largest = hull.iter().flat_map(|a| hull.iter().map(move |b| length(less(*a, *b)))).fold(0.0, f64::max);
    let width = |(a, b): (PixelPoint, PixelPoint)| {
        let side = less(b, a);
        let reach = hull.iter().map(|p| cross(side, less(*p, a))).fold(0.0, f64::max);
        reach / length(side)
    };
    (largest, sides(hull).map(width).fold(f64::INFINITY, f64::min))
}

/// The smallest circle around all points (Welzl, with the points in the order given).
pub fn circumscribed(hull: &[PixelPoint]) -> Circle {
    let outside = |circle: &Circle, p: &PixelPoint| length(less(*p, circle.centre)) > circle.radius * (1.0 + 1e-9);
    let mut circle = Circle { centre: hull.first().copied().unwrap_or([0.0; 2]), radius: 0.0 };
    for (i, p) in hull.iter().enumerate() {
        if !outside(&circle, p) {
            continue;
        }
        circle = Circle { centre: *p, radius: 0.0 };
        for (j, q) in hull[..i].iter().enumerate() {
            if !outside(&circle, q) {
                continue;
            }
            circle = of_two(*p, *q);
            for r in &hull[..j] {
                if outside(&circle, r) {
                    circle = of_three(*p, *q, *r).unwrap_or(circle);
                }
            }
        }
    }
    circle
}

fn of_two(a: PixelPoint, b: PixelPoint) -> Circle {
    Circle { centre: [0.5 * (a[0] + b[0]), 0.5 * (a[1] + b[1])], radius: 0.5 * length(less(a, b)) }
}

fn of_three(a: PixelPoint, b: PixelPoint, c: PixelPoint) -> Option<Circle> {
    let (u, v) = (less(b, a), less(c, a));
    let twice = 2.0 * cross(u, v);
    let square = |p: PixelPoint| p[0] * p[0] + p[1] * p[1];
    let from_a = [(v[1] * square(u) - u[1] * square(v)) / twice, (u[0] * square(v) - v[0] * square(u)) / twice];
    let radius = length(from_a);
    radius.is_finite().then(|| Circle { centre: [a[0] + from_a[0], a[1] + from_a[1]], radius })
}

/// How deep a place lies within an outline: its distance to it, negative outside.
pub fn depth(points: &[PixelPoint], p: PixelPoint) -> f64 {
    let mut inside = false;
    let mut nearest = f64::INFINITY;
    for (a, b) in sides(points) {
        if (a[1] > p[1]) != (b[1] > p[1]) && p[0] < (b[0] - a[0]) * (p[1] - a[1]) / (b[1] - a[1]) + a[0] {
            inside = !inside;
        }
        let (side, to) = (less(b, a), less(p, a));
        let square = side[0] * side[0] + side[1] * side[1];
        let along = if square > 0.0 { ((to[0] * side[0] + to[1] * side[1]) / square).clamp(0.0, 1.0) } else { 0.0 };
        let off = [to[0] - along * side[0], to[1] - along * side[1]];
        nearest = nearest.min(off[0] * off[0] + off[1] * off[1]);
    }
    if inside { nearest.sqrt() } else { -nearest.sqrt() }
}

/// A square of the search, by the deepest that it can hold.
struct SearchSquare {
    most: f64,
    middle: PixelPoint,
    half: f64,
}

impl PartialEq for SearchSquare {
    fn eq(&self, other: &Self) -> bool {
        self.cmp(other) == Ordering::Equal
    }
}
impl Eq for SearchSquare {}
impl PartialOrd for SearchSquare {
    fn partial_cmp(&self, other: &Self) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}
impl Ord for SearchSquare {
    fn cmp(&self, other: &Self) -> Ordering {
        self.most.total_cmp(&other.most)
    }
}

/// The largest circle within an outline, to `tolerance`: squares are quartered as long as they can hold a deeper place.
pub fn inscribed(points: &[PixelPoint], tolerance: f64) -> Circle {
    let ((left, right), (top, bottom)) = (ends(points, 0), ends(points, 1));
    let half = 0.5 * (right - left).min(bottom - top);
    let mut best = Circle { centre: [0.5 * (left + right), 0.5 * (top + bottom)], radius: 0.0 };
    let mut cells = BinaryHeap::new();
    let mut look = |middle: PixelPoint, half: f64, cells: &mut BinaryHeap<SearchSquare>| {
        let depth = depth(points, middle);
        if depth > best.radius {
            best = Circle { centre: middle, radius: depth };
        }
        let most = depth + half * std::f64::consts::SQRT_2;
        if most > best.radius + tolerance {
            cells.push(SearchSquare { most, middle, half });
        }
        best.radius
    };
    if half.is_nan() || half <= tolerance {
        return best;
    }
    let steps = |from: f64, to: f64| {
        (0..((to - from) / (2.0 * half)).ceil().min(1e4) as usize).map(move |i| from + half * (2 * i + 1) as f64)
    };
    let mut radius = 0.0;
    for y in steps(top, bottom) {
        for x in steps(left, right) {
            radius = look([x, y], half, &mut cells);
        }
    }
    while let Some(cell) = cells.pop() {
        if cell.most <= radius + tolerance {
            break;
        }
        let half = 0.5 * cell.half;
        for [x, y] in [[-half, -half], [half, -half], [-half, half], [half, half]] {
            radius = look([cell.middle[0] + x, cell.middle[1] + y], half, &mut cells);
        }
    }
    best
}
