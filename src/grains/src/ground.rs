//! The ground of a picture: its uneven light as a smooth surface, taken away; which side of it the grains are on; how much it is grained.

use crate::photo::{Grey, PhotoError};
use gritwise_kernel::square::solved;
use image::{GrayImage, ImageBuffer};
use imageproc::contrast::otsu_level;

/// Whether the ground is lighter or darker than the grains.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PictureGround {
    /// Grains darker than the ground.
    Light,
    /// Grains lighter than the ground.
    Dark,
}

/// A picture from which the ground is taken: 0 on the ground, above it on the grains.
#[derive(Debug, Clone)]
pub struct Flat {
    /// How far each pixel stands out.
    pub values: Grey,
    /// From here on a pixel counts as grain.
    pub level: f32,
    /// Standard deviation on the ground.
    pub noise: f32,
    /// What the ground was.
    pub ground: PictureGround,
    /// Whether the picture has no grey between ground and grains, as a mask.
    pub is_mask: bool,
}

/// Pixels of neither ground nor grain for each step from one to the other, of which a picture with soft edges has more: a lens gives one at
/// least, a mask none, one that went through a JPEG few.
const SOFT: f64 = 0.2;

/// Whether grains stand out by whole pixels: hardly one is of the grey that lies between.
fn is_mask(grey: &Grey) -> bool {
    let (low, high) = grey.iter().fold((f32::INFINITY, f32::NEG_INFINITY), |(l, h), v| (l.min(*v), h.max(*v)));
    let (middle, reach) = (0.5 * (low + high), 0.3 * (high - low));
    let (mut steps, mut between) = (0, 0);
    for row in grey.as_raw().chunks_exact(grey.width() as usize) {
        let (left, right) = (&row[..row.len() - 1], &row[1..]);
        steps += left.iter().zip(right).filter(|(a, b)| (**a > middle) != (**b > middle)).count();
        between += row.iter().filter(|v| (**v - middle).abs() < reach).count();
    }
    (between as f64) < SOFT * steps as f64
}

/// The ground is fitted on so many places along the longer side.
const PLACES: u32 = 160;
/// Terms of the surface: all x^i y^j of degree 3 or less.
const TERMS: usize = 10;
/// Grains stand out from the ground by so many standard deviations of it.
const STANDS_OUT: f32 = 6.0;

/// Places that do not tell the terms of a surface apart have no larger pivot.
const LEAST_PIVOT: f64 = 1e-9;
/// Light may be uneven by this share and be followed.
const UNEVEN: f64 = 0.25;

fn terms(x: f64, y: f64) -> [f64; TERMS] {
    [1.0, x, y, x * x, x * y, y * y, x * x * x, x * x * y, x * y * y, y * y * y]
}

/// A smooth surface over the picture, from -1 to 1 along the longer side.
struct Surface {
    factors: [f64; TERMS],
    scale: f64,
}

impl Surface {
    fn at(&self, x: u32, y: u32) -> f64 {
        self.along(y)(x)
    }

    /// A row of it: what depends on y alone is worked out once.
    fn along(&self, y: u32) -> impl Fn(u32) -> f64 {
        let (f, v, scale) = (&self.factors, f64::from(y) * self.scale - 1.0, self.scale);
        let [a, b, c, d] =
            [f[0] + v * (f[2] + v * (f[5] + v * f[9])), f[1] + v * (f[4] + v * f[8]), f[3] + v * f[7], f[6]];
        move |x| {
            let u = f64::from(x) * scale - 1.0;
            a + u * (b + u * (c + u * d))
        }
    }
}

/// Takes the ground away. `wanted` says what the ground is; else the side on which more stands out is the grains'.
///
/// # Errors
/// [`PhotoError::NoGrains`] when nothing stands out.
pub fn flatten(grey: &Grey, wanted: Option<PictureGround>) -> Result<Flat, PhotoError> {
    let (surface, noise) = fitted(grey);
    // Light is uneven by a factor, unless the ground is too dark to divide by.
    let darkest = corners_and_middle(grey).into_iter().map(|(x, y)| surface.at(x, y)).fold(f64::INFINITY, f64::min);
    let divides = darkest > 0.15;
    let mut rows: Vec<f32> = Vec::with_capacity(grey.as_raw().len());
    for (y, row) in grey.as_raw().chunks_exact(grey.width() as usize).enumerate() {
        let ground = surface.along(y as u32);
        rows.extend(row.iter().enumerate().map(|(x, v)| {
            let ground = ground(x as u32) as f32;
            if divides { v / ground - 1.0 } else { v - ground }
        }));
    }
    let mut values: Grey = ImageBuffer::from_raw(grey.width(), grey.height(), rows).ok_or(PhotoError::NoGrains)?;
    let noise = if divides { noise / surface.factors[0].abs().max(0.15) } else { noise } as f32;
    let far = STANDS_OUT * noise.max(1.0 / 512.0);
    let ground = wanted.unwrap_or_else(|| {
        // What is darker than the ground, against what is lighter.
        let beyond = |v: &f32| (v.abs() - far).max(0.0).copysign(-v);
        let darker: f64 = values.iter().map(|v| f64::from(beyond(v))).sum();
        if darker >= 0.0 { PictureGround::Light } else { PictureGround::Dark }
    });
    if ground == PictureGround::Light {
        values.iter_mut().for_each(|v| *v = -*v);
    }
    let level = level(&values);
    let (sum, count) =
        values.iter().filter(|v| **v > level).fold((0.0_f64, 0.0_f64), |(s, n), v| (s + f64::from(*v), n + 1.0));
    if count < 16.0 || ((sum / count) as f32) < far.max(0.04) {
        return Err(PhotoError::NoGrains);
    }
    Ok(Flat { values, level, noise, ground, is_mask: is_mask(grey) })
}

fn corners_and_middle(grey: &Grey) -> [(u32, u32); 5] {
    let (w, h) = (grey.width() - 1, grey.height() - 1);
    [(0, 0), (w, 0), (0, h), (w, h), (w / 2, h / 2)]
}

/// Otsu's level over 256 steps from the ground to what stands out most.
fn level(values: &Grey) -> f32 {
    let most = values.iter().copied().fold(0.0_f32, f32::max).max(1e-6);
    let step = |v: &f32| (255.0 * (v / most).clamp(0.0, 1.0)).round() as u8;
    let steps: Vec<u8> = values.iter().map(step).collect();
    let level = GrayImage::from_raw(values.width(), values.height(), steps).map_or(128, |steps| otsu_level(&steps));
    (f32::from(level) + 0.5) / 255.0 * most
}

/// The surface through the ground, by least squares on places, of which those far off are left out again and again; and the
/// standard deviation of what stays about it.
fn fitted(grey: &Grey) -> (Surface, f64) {
    let step = grey.width().max(grey.height()).div_ceil(PLACES).max(1);
    let scale = 2.0 / f64::from(grey.width().max(grey.height()));
    let places: Vec<(u32, u32, f64)> = (step / 2..grey.height())
        .step_by(step as usize)
        .flat_map(|y| (step / 2..grey.width()).step_by(step as usize).map(move |x| (x, y)))
        .map(|(x, y)| (x, y, f64::from(grey.get_pixel(x, y)[0])))
        .collect();
    // Most of the picture's frame is ground, even where one grain fills its middle.
    let rim = 2 * step;
    let on_frame =
        |p: &&(u32, u32, f64)| p.0 < rim || p.1 < rim || p.0 + rim >= grey.width() || p.1 + rim >= grey.height();
    let middle = median(places.iter().filter(on_frame).map(|p| p.2).collect());
    let mut surface = Surface { factors: [0.0; TERMS], scale };
    surface.factors[0] = middle;
    let (mut spread, mut reach) = (0.0, (UNEVEN * middle).max(0.1));
    for degree_terms in [1, 1, 3, 3, 6, 6, TERMS, TERMS, TERMS] {
        let off: Vec<f64> = places.iter().map(|(x, y, v)| v - surface.at(*x, *y)).collect();
        // Of what lies within reach the nearest third is ground, as far as can be said; a third of a normal law lies within 0.43 of
        // its spread.
        spread = nearest_third(off.iter().map(|d| d.abs()).filter(|d| *d <= reach).collect()) / 0.43;
        // Never wider than before: grains that came in would widen it further.
        reach = (3.0 * spread).min(0.8 * reach).max(2.0 / 255.0);
        let kept = places.iter().zip(&off).filter(|(_, d)| d.abs() <= reach).map(|(p, _)| p);
        if let Some(factors) = least_squares(kept, scale, degree_terms) {
            surface.factors = factors;
        }
    }
    (surface, spread.max(0.25 / 255.0))
}

fn least_squares<'a>(
    places: impl Iterator<Item = &'a (u32, u32, f64)>,
    scale: f64,
    used: usize,
) -> Option<[f64; TERMS]> {
    let mut rows = vec![vec![0.0; used + 1]; used];
    for (x, y, v) in places {
        let t = terms(f64::from(*x) * scale - 1.0, f64::from(*y) * scale - 1.0);
        for (row, factor) in rows.iter_mut().zip(t) {
            row.iter_mut().zip(&t[..used]).for_each(|(cell, other)| *cell += factor * other);
            row[used] += factor * v;
        }
    }
    let mut factors = [0.0; TERMS];
    factors[..used].copy_from_slice(&solved(rows, LEAST_PIVOT)?);
    Some(factors)
}

/// The middle value; 0 of none.
pub(crate) fn median(values: Vec<f64>) -> f64 {
    let place = values.len() / 2;
    in_order(values, place)
}

fn nearest_third(values: Vec<f64>) -> f64 {
    let place = values.len() / 3;
    in_order(values, place)
}

fn in_order(mut values: Vec<f64>, place: usize) -> f64 {
    if values.is_empty() {
        return 0.0;
    }
    *values.select_nth_unstable_by(place, f64::total_cmp).1
}
