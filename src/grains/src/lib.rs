//! Grains found in a picture and measured, in pixels: outlines finer than a pixel, areas, Feret diameters and shape (ISO 13322-1,
//! ISO 9276-6), and Wadell's roundness (Zheng and Hryciw 2015). It knows nothing of scrubs or scales.
//!
//! [`photo::read`] decodes, [`find`] does the rest: the ground is taken away ([`ground`]), parts are told apart, and each is measured.

#![cfg_attr(not(test), warn(clippy::unwrap_used, clippy::expect_used, clippy::panic, clippy::todo))]

mod grain;
pub mod ground;
mod outline;
mod parts;
pub mod photo;
mod roundness;
pub mod shape;
mod square;

pub use grain::{Grain, LEAST_PIXELS, LEAST_PIXELS_OF_MASK, least_pixels, measure};
use ground::{Flat, PictureGround, flatten};
use parts::{PicturePart, apart, parts};
use photo::{Grey, PhotoError};
use shape::PixelPoint;
use square::{quadrilateral, side};

/// What is asked of a picture.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Wish {
    /// What is smaller than a circle of this diameter is dust, pixels.
    pub dust: f64,
    /// What the ground is; else the picture says.
    pub ground: Option<PictureGround>,
    /// A filled square of known side lies in the picture, and is no grain.
    pub square: bool,
}

/// What is found in a picture.
#[derive(Debug, Clone, PartialEq)]
pub struct FoundGrains {
    /// The grains, from the top down.
    pub grains: Vec<Grain>,
    /// Cut by the picture's edge, and left out.
    pub cut: usize,
    /// Smaller than dust.
    pub dust: usize,
    /// Grains that touched others and were split from them.
    pub split: usize,
    /// Parts without a clear outline.
    pub faint: usize,
    /// Whether the ground is light or dark.
    pub ground: PictureGround,
    /// Side of the calibration square, pixels.
    pub square: Option<f64>,
    /// Whether the picture is a mask, without grey at the edges of grains.
    pub is_mask: bool,
}

/// More of a picture than this in one part is no grain.
const ONE_BLOB: f64 = 0.65;

/// Finds and measures the grains of a picture.
///
/// # Errors
/// [`PhotoError`] when nothing stands out, or all hangs together.
pub fn find(grey: &Grey, wish: &Wish) -> Result<FoundGrains, PhotoError> {
    let (width, height) = grey.dimensions();
    let flat = flatten(grey, wish.ground)?;
    let least = (0.25 * std::f64::consts::PI * wish.dust * wish.dust).ceil().max(4.0) as usize;
    let (found, dust) = parts(&flat, least);
    let pixels = f64::from(width) * f64::from(height);
    let largest = found.iter().map(|p| p.count).max().ok_or(PhotoError::OnlyDust { parts: dust, dust: wish.dust })?;
    if largest as f64 > ONE_BLOB * pixels {
        return Err(PhotoError::OneBlob { pct: 100.0 * largest as f64 / pixels });
    }
    let (on_edge, whole): (Vec<PicturePart>, Vec<PicturePart>) =
        found.into_iter().partition(|p| p.is_cut(width, height));
    let mut told = FoundGrains {
        grains: Vec::new(),
        cut: on_edge.len(),
        dust,
        split: 0,
        faint: 0,
        ground: flat.ground,
        square: None,
        is_mask: flat.is_mask,
    };
    for part in whole {
        told.take(&flat, part);
    }
    if wish.square {
        told.take_square()?;
    }
    if told.grains.is_empty() {
        return Err(if told.cut > 0 { PhotoError::AllCut { cut: told.cut } } else { PhotoError::NoGrains });
    }
    // Miles and Lantuéjoul: of grains of a width, the picture shows whole only those in a smaller field.
    for grain in &mut told.grains {
        let field = |side: u32, extent: f64| f64::from(side) / (f64::from(side) - extent).max(1.0);
        grain.weight = field(width, grain.extent[0]) * field(height, grain.extent[1]);
    }
    Ok(told)
}

/// Squares whose areas differ by less than so many times may each be the printed one (convention).
const ALIKE: f64 = 2.0;

impl FoundGrains {
    fn take(&mut self, flat: &Flat, part: PicturePart) {
        let grains = apart(part);
        let touched = grains.len() > 1;
        for (i, one) in grains.iter().enumerate() {
            let beside = |(j, other): &(usize, &PicturePart)| *j != i && one.is_near(other, outline::AROUND);
            let others: Vec<&PicturePart> = grains.iter().enumerate().filter(beside).map(|(_, p)| p).collect();
            match outline::outline(flat, one, &others)
                .and_then(|ring| measure(&ring, touched, least_pixels(self.is_mask)))
            {
                Some(grain) => {
                    self.split += usize::from(touched);
                    self.grains.push(grain);
                }
                None => self.faint += 1,
            }
        }
    }

    /// Takes the calibration square out: the largest part with four straight sides.
    fn take_square(&mut self) -> Result<(), PhotoError> {
        let four_sided = self.grains.iter().enumerate().filter_map(|(i, g)| Some((i, g.area, quadrilateral(g)?)));
        let all: Vec<(usize, f64, [PixelPoint; 4])> = four_sided.collect();
        let largest = all.iter().max_by(|a, b| a.1.total_cmp(&b.1));
        let (place, area, corners) = *largest.ok_or(PhotoError::NoSquare)?;
        // Salt is square too.
        let alike = all.iter().filter(|(_, other, _)| ALIKE * other > area).count();
        if alike > 1 {
            return Err(PhotoError::ManySquares { squares: alike });
        }
        self.square = Some(side(&corners)?);
        self.grains.remove(place);
        Ok(())
    }
}
