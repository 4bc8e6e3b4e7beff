//! The outline of a part, finer than a pixel: where the grey, taken as straight between neighbouring pixels, is halfway between
//! ground and grain.

use crate::grain::LEAST_PIXELS_OF_MASK;
use crate::ground::{Flat, median};
use crate::parts::PicturePart;
use crate::photo::Grey;
use crate::shape::{PixelPoint, area, length, less, perimeter, sides};
use contour::ContourBuilder;
use image::Luma;
use imageproc::filter::gaussian_blur_f32;

/// Ground around a part that is looked at with it, pixels.
pub(crate) const AROUND: u32 = 4;
/// Standard deviation of the blur as a share of the part's smaller side: a small grain would shrink by more than it is measured to.
const BLUR: f32 = 0.015;
/// Its least and its most, pixels.
const BLURS: (f32, f32) = (0.5, 1.2);

/// The same of a mask, whose steps are to be smoothed away first.
const BLUR_OF_MASK: f32 = 3.0;

/// The outline around a part, y down, area positive; none where the part is too faint to have one.
pub(crate) fn outline(flat: &Flat, part: &PicturePart, others: &[&PicturePart]) -> Option<Vec<PixelPoint>> {
    let (width, height) = flat.values.dimensions();
    let (left, top) = (part.left.saturating_sub(AROUND), part.top.saturating_sub(AROUND));
    let (right, bottom) = ((part.right + AROUND).min(width), (part.bottom + AROUND).min(height));
    let inside: Vec<f64> = (part.top..part.bottom)
        .flat_map(|y| (part.left..part.right).map(move |x| (x, y)))
        .filter(|(x, y)| part.has(*x, *y))
        .map(|(x, y)| f64::from(flat.values.get_pixel(x, y)[0]))
        .collect();
    let half = 0.5 * median(inside);
    // Other grains count as ground here.
    let value = |x: u32, y: u32| {
        if others.iter().any(|o| o.has(x, y)) { 0.0 } else { flat.values.get_pixel(x, y)[0] }
    };
    // Grey a little blurred: an outline by straight grey between pixels would wave with them, and with the picture's noise.
    let side = part.width().min(part.height()) as f32;
    let blur = if flat.is_mask && side as f64 >= LEAST_PIXELS_OF_MASK / 2.0 {
        BLUR_OF_MASK
    } else {
        (BLUR * side).clamp(BLURS.0, BLURS.1)
    };
    let crop = Grey::from_fn(right - left, bottom - top, |x, y| Luma([value(left + x, top + y)]));
    let values: Vec<f64> = gaussian_blur_f32(&crop, blur).iter().map(|v| f64::from(*v)).collect();
    let builder = ContourBuilder::new((right - left) as usize, (bottom - top) as usize, true);
    let contours = builder.x_origin(f64::from(left)).y_origin(f64::from(top)).contours(&values, &[half]).ok()?;
    let rings = contours.first()?.geometry().iter().map(|p| p.exterior());
    let ring = rings.map(|r| r.0.iter().skip(1).map(|c| [c.x, c.y]).collect::<Vec<PixelPoint>>());
    let ring = ring.max_by(|a, b| area(a).abs().total_cmp(&area(b).abs()))?;
    (ring.len() >= 8).then_some(if area(&ring) < 0.0 { ring.into_iter().rev().collect() } else { ring })
}

/// The same outline by points in equal steps along it, about `step` pixels.
pub(crate) fn in_equal_steps(ring: &[PixelPoint], step: f64) -> Vec<PixelPoint> {
    let around = perimeter(ring);
    let count = ((around / step).round() as usize).max(16);
    let step = around / count as f64;
    let mut points = Vec::with_capacity(count);
    let (mut passed, mut next) = (0.0, 0.0);
    for (a, b) in sides(ring) {
        let side = length(less(b, a));
        while next < passed + side && points.len() < count {
            let t = (next - passed) / side;
            points.push([a[0] + t * (b[0] - a[0]), a[1] + t * (b[1] - a[1])]);
            next = step * points.len() as f64;
        }
        passed += side;
    }
    points
}
