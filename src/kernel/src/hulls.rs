//! Which small sets of points have a hull that comes near the origin: all sets are looked at, a few operations each.
//!
//! A set is built up point by point. Of what is built the point of its flat nearest to the origin is known (`r`, of square `rho`), and of
//! every further point l how it lies to it: `u = r·(v_l − v_first)` and `q`, the square of what of `v_l − v_first` stands upright on the
//! flat. With l the flat comes to `rho − u²/q`, on the far side of the set's flat where u is not negative: then no nearer than
//! without l. That is a lower bound, and nearly always enough; the few that pass it are measured by every face.

use crate::square::solved;
use std::sync::atomic::{AtomicUsize, Ordering};

/// Points of a space, known by their products with each other.
#[derive(Debug, Clone)]
pub struct Hulls {
    count: usize,
    products: Vec<f64>,
    /// Squares are known no closer than this.
    rounding: f64,
}

/// A set of points and how near its hull comes to the origin.
#[derive(Debug, Clone, PartialEq)]
pub struct Hull {
    /// Places of the points, rising.
    pub set: Vec<u16>,
    /// Distance from the origin.
    pub distance: f64,
}

/// What is built up so far.
struct BuiltUp {
    set: Vec<u16>,
    rho: f64,
    u: Vec<f64>,
    q: Vec<f64>,
    /// Along each direction of the flat, what every point has of it, seen from the first.
    along: Vec<Vec<f64>>,
}

impl Hulls {
    /// At most 65 535 points, all of one dimension.
    pub fn new(points: &[Vec<f64>]) -> Self {
        let dot = |a: &[f64], b: &[f64]| a.iter().zip(b).map(|(a, b)| a * b).sum::<f64>();
        let products: Vec<f64> = points.iter().flat_map(|a| points.iter().map(move |b| dot(a, b))).collect();
        let largest = products.iter().fold(0.0_f64, |s, p| s.max(p.abs()));
        Self { count: points.len(), products, rounding: 1e-12 * largest }
    }

    /// Number of points.
    pub fn count(&self) -> usize {
        self.count
    }

    /// Number of sets of at most `most` points; infinite beyond what can be counted.
    pub fn sets(&self, most: usize) -> f64 {
        let of_size =
            |size: usize| (0..size).map(|i| (self.count as f64 - i as f64) / (i as f64 + 1.0)).product::<f64>();
        (1..=most.min(self.count)).map(of_size).sum()
    }

    /// Sets of at most `most` points, `first` the first of them, whose hulls come nearer than `reach`. Stops, and tells no more of
    /// them, where `tally` of all calls together comes beyond `enough`.
    pub fn near(&self, first: usize, most: usize, reach: f64, enough: usize, tally: &AtomicUsize) -> Vec<Hull> {
        let row = self.row(first);
        let own = row[first];
        let u = row.iter().map(|p| p - own).collect();
        let q = (0..self.count).map(|l| self.row(l)[l] - 2.0 * row[l] + own).collect();
        let flat = BuiltUp { set: vec![first as u16], rho: own, u, q, along: Vec::new() };
        let limit = reach * reach + self.rounding;
        let mut search = HullSearch { hulls: self, most, limit, enough, tally, found: Vec::new() };
        search.grow(&flat);
        search.found
    }

    fn row(&self, point: usize) -> &[f64] {
        &self.products[point * self.count..(point + 1) * self.count]
    }

    /// The flat through one point more.
    fn with(&self, flat: &BuiltUp, point: usize) -> BuiltUp {
        let first = usize::from(flat.set[0]);
        let (row, base) = (self.row(point), self.row(first));
        let set = flat.set.iter().copied().chain([point as u16]).collect();
        let (u, q) = (flat.u[point], flat.q[point]);
        if q <= self.rounding {
            // It lies in the flat: as far as this bound goes, nothing changes.
            return BuiltUp { set, rho: flat.rho, u: flat.u.clone(), q: flat.q.clone(), along: flat.along.clone() };
        }
        let length = q.sqrt();
        let mut along: Vec<f64> = row.iter().zip(base).map(|(a, b)| a - b - row[first] + base[first]).collect();
        for before in &flat.along {
            let own = before[point];
            along.iter_mut().zip(before).for_each(|(a, b)| *a -= own * b);
        }
        along.iter_mut().for_each(|a| *a /= length);
        let step = u / length;
        BuiltUp {
            set,
            rho: flat.rho - step * step,
            u: flat.u.iter().zip(&along).map(|(u, a)| u - step * a).collect(),
            q: flat.q.iter().zip(&along).map(|(q, a)| q - a * a).collect(),
            along: flat.along.iter().cloned().chain([along]).collect(),
        }
    }

    /// The square of the distance of a hull: of the nearest points of its faces, that of a face that holds it.
    fn square_of(&self, set: &[u16]) -> f64 {
        let faces = 1_u32..1 << set.len();
        faces.filter_map(|face| self.nearest_of_face(set, face)).fold(f64::INFINITY, f64::min)
    }

    fn nearest_of_face(&self, set: &[u16], face: u32) -> Option<f64> {
        let members: Vec<usize> = (0..set.len()).filter(|i| face >> i & 1 == 1).map(|i| usize::from(set[i])).collect();
        let product = |a: usize, b: usize| self.products[a * self.count + b];
        if let [only] = members[..] {
            return Some(product(only, only));
        }
        let first = members[0];
        let from_first =
            |a: usize, b: usize| product(a, b) - product(a, first) - product(first, b) + product(first, first);
        let row = |a: &usize| {
            let right = product(first, first) - product(*a, first);
            members[1..].iter().map(|b| from_first(*a, *b)).chain([right]).collect()
        };
        let weights = solved(members[1..].iter().map(row).collect(), self.rounding)?;
        let is_within = weights.iter().all(|w| *w >= 0.0) && weights.iter().sum::<f64>() <= 1.0;
        let fallen = members[1..].iter().zip(&weights).map(|(a, w)| w * (product(first, first) - product(*a, first)));
        is_within.then(|| product(first, first) - fallen.sum::<f64>())
    }
}

/// A walk over all sets.
struct HullSearch<'a> {
    hulls: &'a Hulls,
    most: usize,
    /// Square of the distance within which a hull is near.
    limit: f64,
    enough: usize,
    tally: &'a AtomicUsize,
    found: Vec<Hull>,
}

impl HullSearch<'_> {
    fn has_enough(&self) -> bool {
        self.tally.load(Ordering::Relaxed) > self.enough
    }

    /// A set and all that hold it and later points.
    fn grow(&mut self, flat: &BuiltUp) {
        if flat.rho <= self.limit {
            self.measure(flat.set.clone());
        }
        let from = flat.set.last().map_or(0, |l| usize::from(*l) + 1);
        if flat.set.len() + 1 == self.most {
            return self.last_points(flat, from);
        }
        if flat.set.len() < self.most {
            for point in from..self.hulls.count {
                if self.has_enough() {
                    return;
                }
                self.grow(&self.hulls.with(flat, point));
            }
        }
    }

    /// Every set of a flat and one further point, eight points at a time.
    fn last_points(&mut self, flat: &BuiltUp, from: usize) {
        let beyond = flat.rho - self.limit;
        let passes = |u: f64, q: f64| u.min(0.0) * u.min(0.0) >= beyond * q;
        let chunks = flat.u[from..].chunks(8).zip(flat.q[from..].chunks(8));
        for (chunk, (us, qs)) in chunks.enumerate() {
            if !us.iter().zip(qs).fold(false, |any, (u, q)| any | passes(*u, *q)) {
                continue;
            }
            for (i, _) in us.iter().zip(qs).enumerate().filter(|(_, (u, q))| passes(**u, **q)) {
                let last = (from + 8 * chunk + i) as u16;
                self.measure(flat.set.iter().copied().chain([last]).collect());
            }
            if self.has_enough() {
                return;
            }
        }
    }

    /// Takes a set in if its hull comes near.
    fn measure(&mut self, set: Vec<u16>) {
        let square = self.hulls.square_of(&set);
        if square <= self.limit {
            let distance = (square - self.hulls.rounding).max(0.0).sqrt();
            self.found.push(Hull { set, distance });
            self.tally.fetch_add(1, Ordering::Relaxed);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn points(count: usize, dimension: usize) -> Vec<Vec<f64>> {
        let mut state = 7_u64;
        let mut next = || {
            state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            (state >> 11) as f64 / (1_u64 << 53) as f64 - 0.35
        };
        (0..count).map(|_| (0..dimension).map(|_| next()).collect()).collect()
    }

    /// Distance of a hull by a fine grid of weights: an upper bound, close for three points.
    fn by_grid(points: &[&Vec<f64>]) -> f64 {
        let steps = 200;
        let mut least = f64::INFINITY;
        for i in 0..=steps {
            for j in 0..=steps - i {
                let weights = [i as f64, j as f64, (steps - i - j) as f64].map(|w| w / steps as f64);
                if weights[points.len()..].iter().any(|w| *w > 0.0) {
                    continue;
                }
                let at = |k: usize| points.iter().zip(weights).map(|(p, w)| w * p[k]).sum::<f64>();
                least = least.min((0..points[0].len()).map(|k| at(k) * at(k)).sum::<f64>().sqrt());
            }
        }
        least
    }

    #[test]
    fn hulls_within_reach_are_those_that_a_grid_of_weights_finds() {
        for dimension in [2, 4, 6] {
            let points = points(12, dimension);
            let hulls = Hulls::new(&points);
            assert_eq!(hulls.sets(3), 12.0 + 66.0 + 220.0);
            let reach = 0.25;
            let found: Vec<Hull> =
                (0..12).flat_map(|first| hulls.near(first, 3, reach, usize::MAX, &AtomicUsize::new(0))).collect();
            let mut sets = Vec::new();
            for a in 0..12_u16 {
                sets.push(vec![a]);
                for b in a + 1..12 {
                    sets.push(vec![a, b]);
                    sets.extend((b + 1..12).map(|c| vec![a, b, c]));
                }
            }
            for set in sets {
                let members: Vec<&Vec<f64>> = set.iter().map(|m| &points[usize::from(*m)]).collect();
                let grid = by_grid(&members);
                match found.iter().find(|h| h.set == set) {
                    Some(hull) => {
                        assert!(hull.distance <= grid + 1e-6 && grid - hull.distance < 0.01, "{set:?} {grid} {hull:?}")
                    }
                    None => assert!(grid > reach - 0.01 && grid >= reach, "{set:?} {grid}"),
                }
            }
        }
    }

    #[test]
    fn a_point_twice_and_points_on_a_line_do_no_harm() {
        let points = vec![vec![1.0, 1.0], vec![1.0, 1.0], vec![-1.0, -1.0], vec![2.0, 2.0]];
        let found: Vec<Hull> =
            (0..4).flat_map(|first| Hulls::new(&points).near(first, 4, 0.1, 99, &AtomicUsize::new(0))).collect();
        let sets: Vec<&[u16]> = found.iter().map(|h| h.set.as_slice()).collect();
        for set in [&[0, 2][..], &[0, 1, 2], &[0, 1, 2, 3], &[1, 2], &[2, 3]] {
            assert!(sets.contains(&set), "{set:?} {sets:?}");
        }
        assert!(found.iter().all(|h| h.set.contains(&2) && h.distance < 1e-3));
    }
}
