//! Wadell's roundness of an outline: the mean radius of its corners over the radius of the largest circle within.
//!
//! After Zheng and Hryciw (2015), Géotechnique 65, 494: the outline is smoothed as much as it is grained, a corner is where it bends more
//! than the inscribed circle, and a circle is fitted to each corner that lies within the outline. What is done here in a
//! way of its own: corners are read off the outline halfway between ground and grain, which is some twentieth of a pixel fine, so
//! a corner takes points by how they fit a circle, not from a chain of pixels. An arc grows from the sharpest bend as long as one
//! circle fits it (to the grain of the outline); its outer parts, which may belong to the flanks, then count no more. Where
//! the bend changes along a corner, as it does on an ellipse, what is measured is the radius at the sharpest bend.

use crate::shape::{Circle, Point, cross, depth, length, less};

/// How an outline is read, for what it is measured in.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Corners {
    pub circles: Vec<Circle>,
    pub roundness: f64,
}

/// An arc takes points as long as none lies further from its circle than so many times the grain of the outline.
const WITHIN: f64 = 2.5;
/// And no less than this, pixels: outlines by straight grey between pixels wave by about as much.
const LEAST_OFF: f64 = 0.05;
/// Share of an arc that its radius is measured on.
const CORE: f64 = 0.8;

/// Grain of an outline: standard deviation of its points across it, from what quadratics through seven points leave.
pub(crate) fn grain(points: &[Point]) -> f64 {
    let bends = Bends::new(points, 3);
    let n = points.len();
    let off = |i: usize| {
        let [mx, my] = bends.smooth[i];
        let d = bends.first[i];
        cross(d, less(points[i], [mx, my])) / length(d).max(1e-9)
    };
    let mean_square = (0..n).map(|i| off(i).powi(2)).sum::<f64>() / n as f64;
    // Of seven points a quadratic takes 1/3 of the variance in the middle.
    (1.5 * mean_square).sqrt()
}

/// Local quadratics around each point.
struct Bends {
    smooth: Vec<Point>,
    first: Vec<Point>,
    second: Vec<Point>,
}

impl Bends {
    fn new(points: &[Point], half: usize) -> Self {
        let n = points.len();
        let half = half.min((n - 1) / 2).max(1);
        let m = half as f64;
        let s2 = m * (m + 1.0) * (2.0 * m + 1.0) / 3.0;
        let s4 = s2 * (3.0 * m * m + 3.0 * m - 1.0) / 5.0;
        let s0 = 2.0 * m + 1.0;
        let det = s0 * s4 - s2 * s2;
        let mut bends =
            Self { smooth: Vec::with_capacity(n), first: Vec::with_capacity(n), second: Vec::with_capacity(n) };
        for i in 0..n {
            let mut sums = [[0.0; 2]; 3];
            for k in 0..=2 * half {
                let t = k as f64 - m;
                let p = points[(i + n + k - half) % n];
                for axis in 0..2 {
                    sums[0][axis] += p[axis];
                    sums[1][axis] += t * p[axis];
                    sums[2][axis] += t * t * p[axis];
                }
            }
            let [a, b, c] = sums;
            let of = |axis: usize| {
                ((s4 * a[axis] - s2 * c[axis]) / det, b[axis] / s2, 2.0 * (s0 * c[axis] - s2 * a[axis]) / det)
            };
            let ((x, dx, ddx), (y, dy, ddy)) = (of(0), of(1));
            bends.smooth.push([x, y]);
            bends.first.push([dx, dy]);
            bends.second.push([ddx, ddy]);
        }
        bends
    }

    fn curvature(&self) -> Vec<f64> {
        let at = |i: usize| cross(self.first[i], self.second[i]) / length(self.first[i]).powi(3).max(1e-12);
        (0..self.first.len()).map(at).collect()
    }
}

/// The outline smoothed as much as it is grained.
pub(crate) fn smoothed(points: &[Point], grain: f64) -> Vec<Point> {
    let half = if grain < 0.05 {
        2
    } else if grain < 0.15 {
        3
    } else {
        4
    };
    Bends::new(points, half).smooth
}

/// Corners of an outline in equal steps, and the roundness they make.
pub(crate) fn corners(points: &[Point], grain: f64, inscribed: Circle) -> Corners {
    let n = points.len();
    let step = length(less(points[1], points[0])).max(1e-6);
    // So wide that graininess alone bends the outline by no more than a part of what the inscribed circle does.
    let wide = (27.0 * grain * inscribed.radius / (step * step) / 0.2).max(1.0).powf(0.4);
    let half = ((0.5 * wide).round() as usize).clamp(2, (n / 12).max(2));
    let curvature = Bends::new(points, half).curvature();
    let limit = 1.0 / inscribed.radius;
    let mut order: Vec<usize> = (0..n).filter(|i| curvature[*i] > limit && is_peak(&curvature, *i, half)).collect();
    order.sort_by(|a, b| curvature[*b].total_cmp(&curvature[*a]));
    let within = (WITHIN * grain).max(LEAST_OFF);
    let mut taken = vec![false; n];
    let mut circles = Vec::new();
    for peak in order {
        if taken[peak] {
            continue;
        }
        let arc = grown(points, &curvature, peak, within, &taken);
        (arc.from..=arc.to).for_each(|i| taken[i % n] = true);
        if let Some(circle) = arc.circle(points).filter(|c| c.radius < inscribed.radius) {
            circles.push(inside(points, circle, within));
        }
    }
    let mean = circles.iter().map(|c| c.radius).sum::<f64>() / circles.len() as f64;
    let roundness = if circles.is_empty() { 1.0 } else { (mean / inscribed.radius).min(1.0) };
    Corners { circles, roundness }
}

fn is_peak(curvature: &[f64], at: usize, half: usize) -> bool {
    let n = curvature.len();
    (1..=half.min(n / 2))
        .all(|k| curvature[(at + k) % n] <= curvature[at] && curvature[(at + n - k) % n] <= curvature[at])
}

/// Points from..=to of an outline, `from` below its number of points.
struct Arc {
    from: usize,
    to: usize,
}

impl Arc {
    /// The circle of its inner part.
    fn circle(&self, points: &[Point]) -> Option<Circle> {
        let count = self.to - self.from + 1;
        let cut = ((0.5 * (1.0 - CORE) * count as f64).floor() as usize).min((count - 3) / 2);
        let cut = if count < 7 { 0 } else { cut };
        fitted(points, self.from + cut, self.to - cut)
    }
}

/// The longest arc around a peak that one circle fits.
fn grown(points: &[Point], curvature: &[f64], peak: usize, within: f64, taken: &[bool]) -> Arc {
    let n = points.len();
    let (mut from, mut to) = (peak + n - 2, peak + n + 2);
    let fits = |from: usize, to: usize| {
        let circle = fitted(points, from, to)?;
        let off = |i: usize| (length(less(points[i % n], circle.centre)) - circle.radius).abs();
        (from..=to).all(|i| off(i) <= within).then_some(())
    };
    let free = |i: usize| curvature[i % n] > 0.0 && !taken[i % n];
    let (mut back, mut forth) = (true, true);
    while (back || forth) && to - from + 1 < n {
        if back {
            back = free(from - 1) && fits(from - 1, to).is_some();
            from -= usize::from(back);
        }
        if forth && to - from + 1 < n {
            forth = free(to + 1) && fits(from, to + 1).is_some();
            to += usize::from(forth);
        }
    }
    Arc { from: from % n, to: from % n + (to - from) }
}

/// Taubin's circle through points from..=to (around), by Newton's steps on the characteristic polynomial.
fn fitted(points: &[Point], from: usize, to: usize) -> Option<Circle> {
    let n = points.len();
    let count = (to - from + 1) as f64;
    let of = |axis: usize| (from..=to).map(|i| points[i % n][axis]).sum::<f64>() / count;
    let (cx, cy) = (of(0), of(1));
    let [mut xx, mut yy, mut xy, mut xz, mut yz, mut zz] = [0.0; 6];
    for i in from..=to {
        let (x, y) = (points[i % n][0] - cx, points[i % n][1] - cy);
        let z = x * x + y * y;
        xx += x * x / count;
        yy += y * y / count;
        xy += x * y / count;
        xz += x * z / count;
        yz += y * z / count;
        zz += z * z / count;
    }
    let z = xx + yy;
    let cov = xx * yy - xy * xy;
    let var = zz - z * z;
    let (a3, a2) = (4.0 * z, -3.0 * z * z - zz);
    let a1 = var * z + 4.0 * cov * z - xz * xz - yz * yz;
    let a0 = xz * (xz * yy - yz * xy) + yz * (yz * xx - xz * xy) - var * cov;
    let mut root = 0.0;
    for _ in 0..20 {
        let value = a0 + root * (a1 + root * (a2 + root * a3));
        let slope = a1 + root * (2.0 * a2 + root * 3.0 * a3);
        let next = root - value / slope;
        if !next.is_finite() || (next - root).abs() <= 1e-12 * next.abs().max(1e-12) {
            break;
        }
        root = next;
    }
    let det = root * root - root * z + cov;
    let (dx, dy) = ((xz * (yy - root) - yz * xy) / det / 2.0, (yz * (xx - root) - xz * xy) / det / 2.0);
    let radius = (dx * dx + dy * dy + z).sqrt();
    radius.is_finite().then_some(Circle { centre: [cx + dx, cy + dy], radius })
}

/// A corner's circle drawn in until it lies within the outline, its outermost place kept.
fn inside(points: &[Point], circle: Circle, within: f64) -> Circle {
    let n = points.len();
    let nearest = (0..n).min_by(|a, b| {
        let off = |i: usize| (length(less(points[i], circle.centre)) - circle.radius).abs();
        off(*a).total_cmp(&off(*b))
    });
    let Some(touch) = nearest.map(|i| points[i]) else { return circle };
    let [dx, dy] = less(circle.centre, touch);
    let away = length([dx, dy]).max(1e-9);
    let of_radius =
        |radius: f64| Circle { centre: [touch[0] + dx / away * radius, touch[1] + dy / away * radius], radius };
    let lies_within = |c: &Circle| depth(points, c.centre) >= c.radius - 2.0 * within;
    if lies_within(&circle) {
        return circle;
    }
    let (mut low, mut high) = (0.0, circle.radius);
    for _ in 0..20 {
        let middle = 0.5 * (low + high);
        if lies_within(&of_radius(middle)) { low = middle } else { high = middle }
    }
    of_radius(low)
}
