//! A picture as grey values. What it would take is asked of its head before a single pixel is decoded.

use crate::square::MOST_SKEW_PCT;
use image::codecs::jpeg::JpegEncoder;
use image::error::{ImageError, LimitErrorKind};
use image::metadata::Orientation;
use image::{ExtendedColorType, ImageBuffer, ImageDecoder, ImageFormat, ImageReader, Limits, Luma};
use std::io::Cursor;
use tiff::decoder::Decoder;
use tiff::tags::Tag;

/// The most pixels that a picture may have, millions.
pub const MOST_MEGAPIXELS: f64 = 60.0;
/// The longest side, pixels.
const LONGEST_SIDE: u32 = 30_000;
/// What decoding may take beside the picture itself, bytes.
const MOST_BYTES: u64 = 512 << 20;

/// Grey values from 0 (black) to 1 (white), as the file has them (no gamma is undone).
pub type Grey = ImageBuffer<Luma<f32>, Vec<f32>>;

/// Why a picture cannot be used.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum PhotoError {
    /// Neither PNG, JPEG nor TIFF.
    #[error("this is no picture that can be read; PNG, JPEG and TIFF can")]
    NoPicture,
    /// The file breaks off or is damaged.
    #[error("the picture is damaged: {0}; save it again as PNG")]
    Damaged(String),
    /// Too many pixels.
    #[error(
        "the picture has {width} x {height} pixels; at most {MOST_MEGAPIXELS} megapixels are read: cut it, or scale it down"
    )]
    TooLarge {
        /// Width, pixels.
        width: u32,
        /// Height, pixels.
        height: u32,
    },
    /// Decoding it would take too much memory.
    #[error("decoding the picture would take more than 512 MB of memory; save it as a plain 8-bit PNG")]
    TooMuch,
    /// More than one picture in a file.
    #[error("the file holds {pages} pictures; save each as a file of its own")]
    Pages {
        /// How many.
        pages: usize,
    },
    /// Smaller than anything can be seen on.
    #[error("the picture has {width} x {height} pixels; at least 16 x 16 are wanted")]
    TooSmall {
        /// Width, pixels.
        width: u32,
        /// Height, pixels.
        height: u32,
    },
    /// Nothing stands out from the ground.
    #[error(
        "no grains are seen: nothing stands out from the ground; spread them on a ground much lighter or darker than they are, in focus"
    )]
    NoGrains,
    /// What stands out is dust.
    #[error(
        "all {parts} parts that stand out are smaller than {dust:.0} pixels across, which counts as dust; take the picture from nearer, or set the dust lower"
    )]
    OnlyDust {
        /// How many.
        parts: usize,
        /// Diameter of dust, pixels.
        dust: f64,
    },
    /// No grain lies whole in the picture.
    #[error("no grain lies whole in the picture: all {cut} are cut by its edge; take it from further away")]
    AllCut {
        /// How many.
        cut: usize,
    },
    /// The grains cover the picture, or hang together.
    #[error(
        "the grains are all one blob: {pct:.0} % of the picture hangs together; spread them so that ground shows between them"
    )]
    OneBlob {
        /// Share of the picture that the largest part covers, %.
        pct: f64,
    },
    /// No square of the wanted kind.
    #[error(
        "no calibration square is seen: a filled square on the ground, larger than any grain, whole within the picture"
    )]
    NoSquare,
    /// More than one part that may be the square.
    #[error(
        "{squares} parts of the picture are squares of about one size, and which of them is the calibration square is not known; lay down one at least half as wide again as \
         any square grain, or give the scale in another way"
    )]
    ManySquares {
        /// How many.
        squares: usize,
    },
    /// The square is seen at a slant.
    #[error(
        "the calibration square is skewed by {pct:.1} %, so no one scale holds for the picture; photograph straight from above ({MOST_SKEW_PCT} % at most)"
    )]
    Skewed {
        /// By how much its longest side or diagonal exceeds the shortest, %.
        pct: f64,
    },
}

impl From<ImageError> for PhotoError {
    fn from(error: ImageError) -> Self {
        match error {
            ImageError::Unsupported(_) => Self::NoPicture,
            ImageError::Limits(e) if matches!(e.kind(), LimitErrorKind::InsufficientMemory) => Self::TooMuch,
            other => Self::Damaged(other.to_string()),
        }
    }
}

/// Whether a JPEG reaches its end marker (ITU-T T.81, annex B): one that was cut short decodes to a picture that is grey from there on.
/// What a camera writes behind the end, and the small picture within its notes, do not count.
fn has_end(bytes: &[u8]) -> bool {
    let mut at = 2;
    // Segments up to the first scan, each with its length.
    while let Some([0xff, marker, high, low, ..]) = bytes.get(at..) {
        if *marker == 0xda {
            return bytes[at..].windows(2).any(|pair| pair == [0xff, 0xd9]);
        }
        at += if *marker == 0xff { 1 } else { 2 + usize::from(u16::from_be_bytes([*high, *low])) };
    }
    false
}

/// Pages are looked for up to this number.
const MOST_PAGES: usize = 1000;

/// Pictures in a TIFF, but for those that are made small of another (TIFF 6.0, `NewSubfileType`); what cannot be read ends them.
fn pages(bytes: &[u8]) -> usize {
    let Ok(mut file) = Decoder::new(Cursor::new(bytes)) else { return 0 };
    let mut pages = 0;
    for _ in 0..MOST_PAGES {
        let kind = file.find_tag_unsigned::<u32>(Tag::NewSubfileType).ok().flatten().unwrap_or(0);
        pages += usize::from(kind & 1 == 0);
        if !file.more_images() || file.next_image().is_err() {
            break;
        }
    }
    pages
}

/// Reads a PNG, JPEG or TIFF.
///
/// # Errors
/// [`PhotoError`] when it is none of these, damaged, too small, or too large to be decoded.
pub fn read(bytes: &[u8]) -> Result<Grey, PhotoError> {
    let format = image::guess_format(bytes).map_err(|_| PhotoError::NoPicture)?;
    if !matches!(format, ImageFormat::Png | ImageFormat::Jpeg | ImageFormat::Tiff) {
        return Err(PhotoError::NoPicture);
    }
    if format == ImageFormat::Jpeg && !has_end(bytes) {
        return Err(PhotoError::Damaged("the file breaks off before its end".to_owned()));
    }
    if let (ImageFormat::Tiff, pages @ 2..) = (format, pages(bytes)) {
        return Err(PhotoError::Pages { pages });
    }
    let mut limits = Limits::default();
    limits.max_alloc = Some(MOST_BYTES);
    let mut reader = ImageReader::with_format(Cursor::new(bytes), format);
    reader.limits(limits);
    let mut decoder = reader.into_decoder()?;
    let (width, height) = decoder.dimensions();
    let pixels = f64::from(width) * f64::from(height);
    if pixels > MOST_MEGAPIXELS * 1e6 || width.max(height) > LONGEST_SIDE {
        return Err(PhotoError::TooLarge { width, height });
    }
    if width.min(height) < 16 {
        return Err(PhotoError::TooSmall { width, height });
    }
    if decoder.total_bytes() > MOST_BYTES {
        return Err(PhotoError::TooMuch);
    }
    // A phone stores how it was held; who looks at the outlines sees the picture upright.
    let orientation = decoder.orientation().unwrap_or(Orientation::NoTransforms);
    let mut picture = image::DynamicImage::from_decoder(decoder)?;
    picture.apply_orientation(orientation);
    let grey = picture.to_luma32f();
    // Floating-point pictures may hold anything.
    match grey.iter().all(|v| v.is_finite()) {
        true => Ok(grey),
        false => Err(PhotoError::Damaged("values that are no numbers".to_owned())),
    }
}

/// Quality of a small picture, of 100: grains are told, and the file stays small.
const SMALL_QUALITY: u8 = 70;

/// A picture made small, to lie under outlines.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Small {
    /// It, a grey JPEG.
    pub jpeg: Vec<u8>,
    /// Pixels of the large picture that it covers, from the corner that they begin at: a few more than there are.
    pub covers: [u32; 2],
}

/// The picture as a grey JPEG whose longer side has at most so many pixels, each the mean of those that it stands for.
///
/// # Errors
/// [`PhotoError::Damaged`] where it cannot be written, which no picture that [`read`] gave should come to.
pub fn small(grey: &Grey, most: u32) -> Result<Small, PhotoError> {
    let step = grey.width().max(grey.height()).div_ceil(most.max(1)).max(1);
    let (width, height) = (grey.width().div_ceil(step), grey.height().div_ceil(step));
    let mut pixels = Vec::with_capacity(width as usize * height as usize);
    for y in 0..height {
        let rows = y * step..((y + 1) * step).min(grey.height());
        for x in 0..width {
            let columns = x * step..((x + 1) * step).min(grey.width());
            let count = (rows.len() * columns.len()) as f32;
            let sum: f32 = rows.clone().map(|y| columns.clone().map(|x| grey.get_pixel(x, y)[0]).sum::<f32>()).sum();
            pixels.push((255.0 * (sum / count).clamp(0.0, 1.0)).round() as u8);
        }
    }
    let mut bytes = Vec::new();
    JpegEncoder::new_with_quality(&mut bytes, SMALL_QUALITY).encode(&pixels, width, height, ExtendedColorType::L8)?;
    Ok(Small { jpeg: bytes, covers: [width * step, height * step] })
}
