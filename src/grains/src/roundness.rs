//! Wadell's roundness of an outline: the mean radius of its corners over the radius of the largest circle within.
//!
//! After Zheng and Hryciw (2015), Géotechnique 65, 494: the outline is smoothed as much as it is grained, a corner is where it bends more
//! than the inscribed circle, and a circle is fitted to each corner that lies within the outline. What is done here in a
//! way of its own: the outline lies halfway between ground and grain and is some twentieth of a pixel fine, so a corner is read off points
//! in equal steps along it, not off a chain of pixels. An arc grows from the sharpest bend as long as one circle fits it; its outer parts,
//! which may be flank, then count no more; and where the bend surely changes along what is left, as on an ellipse, the
//! radius is that of the sharpest bend.

use crate::outline::in_equal_steps;
use crate::shape::{Circle, PixelPoint, cross, depth, length, less};

/// How an outline is read, for what it is measured in.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Corners {
    pub circles: Vec<Circle>,
    pub roundness: f64,
}

/// Points of an outline along the radius of the largest circle within.
const STEPS_PER_RADIUS: f64 = 50.0;
/// Outlines by straight grey between pixels wave by about as much, pixels.
const LEAST_GRAIN: f64 = 0.03;
/// An arc takes points no further from its circle than this share of the inscribed circle's radius.
const OFF_CIRCLE: f64 = 0.005;
/// Share of an arc that its radius is measured on: the rest may be flank.
const INNER: f64 = 0.65;
/// Graininess alone bends the outline, where corners are looked for, by no more than this share of what the inscribed circle does.
const SEEN: f64 = 0.25;
/// A corner bends more than the inscribed circle by this factor; less is not told from the circle itself.
const BENDS_MORE: f64 = 1.03;
/// A corner turns the outline by this much at least, radians: a wave of its grain does not.
const LEAST_TURN: f64 = 0.3;
/// Points whose spread across is less than this share (squared) of that along lie in a line.
const STRAIGHT: f64 = 1e-8;
/// What is left between two arcs is a corner when it has so many points; fewer are flank.
const LEAST_BETWEEN: usize = 12;
/// The bend changes along an arc by what it does beyond so many standard deviations.
const SURE: f64 = 2.5;

/// Grain of an outline: standard deviation of its points across it, from what quadratics through seven points leave.
pub(crate) fn grain(points: &[PixelPoint]) -> f64 {
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
    smooth: Vec<PixelPoint>,
    first: Vec<PixelPoint>,
    second: Vec<PixelPoint>,
}

impl Bends {
    fn new(points: &[PixelPoint], half: usize) -> Self {
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
pub(crate) fn smoothed(points: &[PixelPoint], grain: f64) -> Vec<PixelPoint> {
    let half = if grain < 0.05 {
        2
    } else if grain < 0.15 {
        3
    } else {
        4
    };
    Bends::new(points, half).smooth
}

/// Corners of an outline (a point a pixel, smoothed), and the roundness they make.
pub(crate) fn corners(outline: &[PixelPoint], inscribed: Circle) -> Corners {
    let points = in_equal_steps(outline, (inscribed.radius / STEPS_PER_RADIUS).max(0.5));
    let n = points.len();
    let reading = RoundnessReading::new(&points, inscribed.radius);
    let mut taken = vec![false; n];
    let mut found: Vec<(Arc, Circle)> = Vec::new();
    for peak in reading.peaks() {
        if taken[peak] {
            continue;
        }
        let arc = reading.grown(peak, &taken);
        (arc.from..=arc.to).for_each(|i| taken[i % n] = true);
        if let Some(circle) = reading.corner(&arc) {
            found.push((arc, circle));
        }
    }
    // A corner whose bend wavers is found in pieces; the longest has it.
    found.sort_by_key(|(arc, _)| std::cmp::Reverse(arc.count()));
    let mut circles: Vec<Circle> = Vec::new();
    for (arc, circle) in found {
        let middle = points[(arc.from + arc.count() / 2) % n];
        let off = |c: &Circle| (length(less(middle, c.centre)) - c.radius).abs();
        if !circles.iter().any(|c| off(c) <= 2.0 * reading.within) {
            circles.push(inside(&points, circle, reading.within));
        }
    }
    let mean = circles.iter().map(|c| c.radius).sum::<f64>() / circles.len() as f64;
    let roundness = if circles.is_empty() { 1.0 } else { (mean / inscribed.radius).min(1.0) };
    Corners { circles, roundness }
}

/// Points from..=to of an outline, `from` below its number of points.
struct Arc {
    from: usize,
    to: usize,
    /// It ends where another arc has taken the points.
    hemmed: bool,
}

impl Arc {
    fn count(&self) -> usize {
        self.to - self.from + 1
    }

    /// Without its outer parts.
    fn inner(&self) -> Option<Self> {
        let count = self.count();
        let cut = (0.5 * (1.0 - INNER) * count as f64).round() as usize;
        let cut = cut.min(count.checked_sub(5)? / 2);
        Some(Self { from: self.from + cut, to: self.to - cut, hemmed: self.hemmed })
    }
}

struct RoundnessReading<'a> {
    points: &'a [PixelPoint],
    step: f64,
    grain: f64,
    /// An arc takes points no further from its circle.
    within: f64,
    /// Curvature of the inscribed circle.
    limit: f64,
}

impl<'a> RoundnessReading<'a> {
    fn new(points: &'a [PixelPoint], radius: f64) -> Self {
        let grain = grain(points).max(LEAST_GRAIN);
        let step = length(less(points[1], points[0])).max(1e-6);
        Self { points, step, grain, within: (OFF_CIRCLE * radius).max(3.0 * grain), limit: 1.0 / radius }
    }

    /// Where the outline bends most, of places that bend more than the inscribed circle; sharpest first.
    fn peaks(&self) -> Vec<usize> {
        let n = self.points.len();
        let half = (3..n / 12).find(|half| self.unsure(2 * half + 1) <= SEEN * self.limit).unwrap_or(n / 12).max(2);
        let curvature = Bends::new(self.points, half).curvature();
        let is_peak = |at: usize| {
            (1..=half).all(|k| curvature[(at + k) % n] <= curvature[at] && curvature[(at + n - k) % n] <= curvature[at])
        };
        let mut found: Vec<usize> = (0..n).filter(|i| curvature[*i] > self.limit && is_peak(*i)).collect();
        found.sort_by(|a, b| curvature[*b].total_cmp(&curvature[*a]).then(a.cmp(b)));
        found
    }

    /// The circle of an arc, where it is a corner: it bends more than the inscribed circle, surely so, and turns the outline.
    fn corner(&self, arc: &Arc) -> Option<Circle> {
        let inner = arc.inner()?;
        let circle = self.sharpest(&inner)?;
        let turns = arc.count() as f64 * self.step / circle.radius >= LEAST_TURN;
        let is_rest = arc.hemmed && arc.count() < LEAST_BETWEEN;
        let more = 1.0 / circle.radius - self.limit;
        let sure = more > (BENDS_MORE - 1.0) * self.limit && more > 3.0 * self.unsure(inner.count());
        (turns && !is_rest && sure).then_some(circle)
    }

    /// Standard deviation of the curvature of so many points in a row: √720 n^−2.5 of theirs (a quadratic's second derivative).
    fn unsure(&self, count: usize) -> f64 {
        26.8 * self.grain / self.step.powi(2) / (count as f64).powf(2.5)
    }

    /// The longest arc around a peak that one circle fits.
    fn grown(&self, peak: usize, taken: &[bool]) -> Arc {
        let n = self.points.len();
        let (mut from, mut to) = (peak + n - 2, peak + n + 2);
        let fits = |from: usize, to: usize| {
            let ends_free = !taken[from % n] && !taken[to % n];
            ends_free
                && to - from < n
                && fitted(self.points, from, to).is_some_and(|circle| {
                    let off = |i: usize| (length(less(self.points[i % n], circle.centre)) - circle.radius).abs();
                    (from..=to).all(|i| off(i) <= self.within)
                })
        };
        let (mut back, mut forth) = (true, true);
        while back || forth {
            back = back && from > 0 && fits(from - 1, to);
            from -= usize::from(back);
            forth = forth && fits(from, to + 1);
            to += usize::from(forth);
        }
        let hemmed = taken[(from + n - 1) % n] || taken[(to + 1) % n];
        Arc { from: from % n, to: from % n + (to - from), hemmed }
    }

    /// The circle of an arc, or, where its bend surely changes along it, that of its sharpest bend: a polynomial of degree four
    /// through how far the points lie off the circle says by how much it bends more in its middle.
    fn sharpest(&self, arc: &Arc) -> Option<Circle> {
        let circle = fitted(self.points, arc.from, arc.to)?;
        let count = arc.count();
        if count < 9 {
            return Some(circle);
        }
        let half = 0.5 * (count - 1) as f64;
        let mut sums = [[0.0; 4]; 3];
        for k in 0..count {
            let u = (k as f64 - half) / half;
            let off = length(less(self.points[(arc.from + k) % self.points.len()], circle.centre)) - circle.radius;
            let basis = [1.0, u * u, u.powi(4)];
            for (row, own) in sums.iter_mut().zip(basis) {
                (0..3).for_each(|i| row[i] += own * basis[i]);
                row[3] += own * off;
            }
        }
        let (offs, spread) = middle_of(&sums)?;
        let reach = half * self.step;
        // To first order a curve r + d(s) about a circle bends by 1/r − d/r² − d''.
        let more = -offs[0] / circle.radius.powi(2) - 2.0 * offs[1] / (reach * reach);
        let unsure = 2.0 * self.grain * spread / (reach * reach);
        // What may be graininess is not taken for bend (James and Stein's shrinkage, its positive part).
        let sure = more * (1.0 - (SURE * unsure / more).powi(2)).max(0.0);
        let radius = 1.0 / (1.0 / circle.radius + sure);
        if more <= 0.0 || !(radius > 0.0 && radius < circle.radius) {
            return Some(circle);
        }
        // It touches where the arc has its middle.
        let middle = self.points[(arc.from + count / 2) % self.points.len()];
        let [dx, dy] = less(circle.centre, middle);
        let away = length([dx, dy]).max(1e-9);
        Some(Circle { centre: [middle[0] + dx / away * radius, middle[1] + dy / away * radius], radius })
    }
}

/// Factors of 1, u², u⁴ from their normal equations (the right side last), and the root of what the variance of the second is
/// multiplied by.
fn middle_of(sums: &[[f64; 4]; 3]) -> Option<([f64; 3], f64)> {
    let minor = |a: usize, b: usize, c: usize, d: usize| sums[a][c] * sums[b][d] - sums[a][d] * sums[b][c];
    let det = sums[0][0] * minor(1, 2, 1, 2) - sums[0][1] * minor(1, 2, 0, 2) + sums[0][2] * minor(1, 2, 0, 1);
    if det.abs() < 1e-12 {
        return None;
    }
    let inverse = [
        [minor(1, 2, 1, 2), -minor(0, 2, 1, 2), minor(0, 1, 1, 2)],
        [-minor(1, 2, 0, 2), minor(0, 2, 0, 2), -minor(0, 1, 0, 2)],
        [minor(1, 2, 0, 1), -minor(0, 2, 0, 1), minor(0, 1, 0, 1)],
    ];
    let factor = |row: [f64; 3]| row.iter().zip(sums).map(|(i, s)| i * s[3]).sum::<f64>() / det;
    Some((inverse.map(factor), (inverse[1][1] / det).abs().sqrt()))
}

/// Taubin's circle through points from..=to (around), by Newton's steps on the characteristic polynomial.
fn fitted(points: &[PixelPoint], from: usize, to: usize) -> Option<Circle> {
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
    // Points in a line have no circle.
    if cov <= STRAIGHT * z * z {
        return None;
    }
    let det = root * root - root * z + cov;
    let (dx, dy) = ((xz * (yy - root) - yz * xy) / det / 2.0, (yz * (xx - root) - xz * xy) / det / 2.0);
    let radius = (dx * dx + dy * dy + z).sqrt();
    radius.is_finite().then_some(Circle { centre: [cx + dx, cy + dy], radius })
}

/// A corner's circle drawn in until it lies within the outline, its outermost place kept.
fn inside(points: &[PixelPoint], circle: Circle, within: f64) -> Circle {
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
