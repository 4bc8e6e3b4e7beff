//! What is measured of a grain, from its outline.

use crate::outline::in_equal_steps;
use crate::roundness::{corners, grain as graininess, smoothed};
use crate::shape::{Circle, PixelPoint, area, circumscribed, ends, feret, hull, inscribed, perimeter};
use std::f64::consts::PI;

/// The least equivalent diameter, pixels, at which a grain's roundness is told.
pub const LEAST_PIXELS: f64 = 80.0;
/// The same on a mask, whose outlines are known to whole pixels only (`tests/drawn.rs` tells how far roundness is off from here on).
pub const LEAST_PIXELS_OF_MASK: f64 = 200.0;

/// The one of them that holds on a picture.
pub fn least_pixels(is_mask: bool) -> f64 {
    if is_mask { LEAST_PIXELS_OF_MASK } else { LEAST_PIXELS }
}

/// A grain, in pixels.
#[derive(Debug, Clone, PartialEq)]
pub struct Grain {
    /// Its outline, about a point a pixel.
    pub outline: Vec<PixelPoint>,
    /// Area within.
    pub area: f64,
    /// Length around.
    pub perimeter: f64,
    /// Area of the convex hull.
    pub hull_area: f64,
    /// Largest Feret diameter.
    pub feret_max: f64,
    /// Smallest Feret diameter.
    pub feret_min: f64,
    /// Extent along and across the picture.
    pub extent: [f64; 2],
    /// The smallest circle around it.
    pub circumscribed: Circle,
    /// The largest circle within it.
    pub inscribed: Circle,
    /// Circles in its corners; empty where its roundness is not told.
    pub corners: Vec<Circle>,
    /// Wadell's roundness; none where the grain has too few pixels, or was split from another.
    pub roundness: Option<f64>,
    /// It touched another and was split from it.
    pub split: bool,
    /// How many grains of its extent it stands for, as so many lie across the picture's edge (Miles and Lantuéjoul).
    pub weight: f64,
}

impl Grain {
    /// Diameter of the circle of equal area, pixels (ISO 9276-6).
    pub fn equivalent(&self) -> f64 {
        (4.0 * self.area / PI).sqrt()
    }

    /// Middle of the points of its outline.
    pub fn middle(&self) -> PixelPoint {
        let n = self.outline.len() as f64;
        [0, 1].map(|axis| self.outline.iter().map(|p| p[axis]).sum::<f64>() / n)
    }

    /// Smallest over largest Feret diameter (ISO 9276-6).
    pub fn aspect(&self) -> f64 {
        self.feret_min / self.feret_max
    }

    /// Root of 4π area over perimeter squared (ISO 9276-6); its square is the form factor.
    pub fn circularity(&self) -> f64 {
        ((4.0 * PI * self.area).sqrt() / self.perimeter).min(1.0)
    }

    /// Area over that of the convex hull (ISO 9276-6).
    pub fn solidity(&self) -> f64 {
        (self.area / self.hull_area).min(1.0)
    }

    /// Diameter of the circle of equal area over that of the smallest circle around (Wadell 1935, in projection).
    pub fn sphericity(&self) -> f64 {
        (self.equivalent() / (2.0 * self.circumscribed.radius)).min(1.0)
    }
}

/// Measures an outline (closed, the first point not repeated); none where it encloses nothing. Roundness is told of a grain that was not split
/// from another and is `least` pixels across.
pub fn measure(ring: &[PixelPoint], split: bool, least: f64) -> Option<Grain> {
    let area_within = area(ring).abs();
    let around = perimeter(ring);
    if !(area_within >= 4.0 && around.is_finite() && ring.len() >= 8) {
        return None;
    }
    let points = in_equal_steps(ring, 1.0);
    let grained = graininess(&points);
    let smooth = smoothed(&points, grained);
    let hull_points = hull(&smooth);
    let (feret_max, feret_min) = feret(&hull_points);
    let within = inscribed(&smooth, 0.02);
    let told = !split && (4.0 * area_within / PI).sqrt() >= least;
    let found = told.then(|| corners(&smooth, within));
    let extent = [0, 1].map(|axis| {
        let (least, most) = ends(&smooth, axis);
        most - least
    });
    Some(Grain {
        area: area_within,
        perimeter: perimeter(&smooth),
        hull_area: area(&hull_points).abs(),
        feret_max,
        feret_min,
        extent,
        circumscribed: circumscribed(&hull_points),
        inscribed: within,
        roundness: found.as_ref().map(|c| c.roundness),
        corners: found.map_or_else(Vec::new, |c| c.circles),
        split,
        weight: 1.0,
        outline: smooth,
    })
}
