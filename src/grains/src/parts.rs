//! What hangs together in a picture, and where two grains touch.

use crate::ground::Flat;
use crate::shape::{area, hull};
use image::{GrayImage, ImageBuffer, Luma};
use imageproc::distance_transform::euclidean_squared_distance_transform;
use imageproc::region_labelling::{Connectivity, connected_components};

/// Pixels that hang together, by their rectangle in the picture: the first column and row, and those after the last.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct PicturePart {
    pub left: u32,
    pub top: u32,
    pub right: u32,
    pub bottom: u32,
    /// Pixels.
    pub count: usize,
    /// Which of the rectangle's pixels are the part's, row by row.
    pub own: Vec<bool>,
}

impl PicturePart {
    pub(crate) fn width(&self) -> usize {
        (self.right - self.left) as usize
    }

    pub(crate) fn height(&self) -> usize {
        (self.bottom - self.top) as usize
    }

    /// Counts a pixel in.
    fn widen(&mut self, x: u32, y: u32) {
        (self.left, self.top) = (self.left.min(x), self.top.min(y));
        (self.right, self.bottom) = (self.right.max(x + 1), self.bottom.max(y + 1));
        self.count += 1;
    }

    /// Whether what lies around it reaches into what lies around another.
    pub(crate) fn is_near(&self, other: &Self, around: u32) -> bool {
        let apart = |end: u32, start: u32| end.saturating_add(around) < start;
        !(apart(self.right, other.left)
            || apart(other.right, self.left)
            || apart(self.bottom, other.top)
            || apart(other.bottom, self.top))
    }

    pub(crate) fn has(&self, x: u32, y: u32) -> bool {
        let inside = (self.left..self.right).contains(&x) && (self.top..self.bottom).contains(&y);
        inside && self.own[(y - self.top) as usize * self.width() + (x - self.left) as usize]
    }

    /// Whether it reaches the edge of a picture.
    pub(crate) fn is_cut(&self, width: u32, height: u32) -> bool {
        self.left == 0 || self.top == 0 || self.right == width || self.bottom == height
    }
}

/// All parts of at least `least` pixels, and how many were smaller.
pub(crate) fn parts(flat: &Flat, least: usize) -> (Vec<PicturePart>, usize) {
    let (width, height) = flat.values.dimensions();
    let mask: Vec<u8> = flat.values.iter().map(|v| u8::from(*v > flat.level)).collect();
    let Some(mask) = GrayImage::from_raw(width, height, mask) else { return (Vec::new(), 0) };
    let labels = connected_components(&mask, Connectivity::Four, Luma([0]));
    let most = labels.iter().copied().max().unwrap_or(0) as usize;
    let mut found =
        vec![PicturePart { left: width, top: height, right: 0, bottom: 0, count: 0, own: Vec::new() }; most];
    for (x, y, Luma([label])) in labels.enumerate_pixels().filter(|(_, _, l)| l[0] > 0) {
        let part = &mut found[*label as usize - 1];
        part.widen(x, y);
    }
    let is_dust = |part: &PicturePart| part.count < least;
    let dust = found.iter().filter(|p| is_dust(p)).count();
    let named = found.into_iter().enumerate().filter(|(_, p)| !is_dust(p));
    let filled = named.map(|(i, mut part)| {
        let rows = part.top..part.bottom;
        let at = |y| (part.left..part.right).map(move |x| (x, y));
        part.own = rows.flat_map(at).map(|(x, y)| labels.get_pixel(x, y)[0] as usize == i + 1).collect();
        without_holes(&mut part);
        part
    });
    (filled.collect(), dust)
}

/// What ground does not reach from outside is the grain's: a glint on it is no hole.
fn without_holes(part: &mut PicturePart) {
    let (width, height) = (part.width() + 2, part.height() + 2);
    let mut ground = vec![true; width * height];
    for (i, own) in part.own.iter().enumerate() {
        let (x, y) = (i % (width - 2), i / (width - 2));
        ground[(y + 1) * width + x + 1] = !own;
    }
    let mut waiting = vec![0];
    ground[0] = false;
    let mut outside = vec![false; width * height];
    while let Some(at) = waiting.pop() {
        outside[at] = true;
        let (x, y) = (at % width, at / width);
        let beside = [
            (x > 0, at.wrapping_sub(1)),
            (x + 1 < width, at + 1),
            (y > 0, at.wrapping_sub(width)),
            (y + 1 < height, at + width),
        ];
        for next in beside.into_iter().filter(|(there, _)| *there).map(|(_, next)| next) {
            if std::mem::take(&mut ground[next]) {
                waiting.push(next);
            }
        }
    }
    for (i, own) in part.own.iter_mut().enumerate() {
        let (x, y) = (i % (width - 2), i / (width - 2));
        *own = !outside[(y + 1) * width + x + 1];
    }
    part.count = part.own.iter().filter(|own| **own).count();
}

/// A neck narrower than this share of the narrower of what it joins is where two grains touch.
const NECK: f64 = 0.55;
/// What is nearly as large as its hull cannot be two grains.
const NEARLY_CONVEX: f64 = 0.93;

/// The grains that touch in a part: itself alone, or each of them.
pub(crate) fn apart(part: PicturePart) -> Vec<PicturePart> {
    if solidity(&part) > NEARLY_CONVEX {
        return vec![part];
    }
    let (width, height) = (part.width(), part.height());
    // A frame of ground, from which depth is measured too.
    let framed: GrayImage = ImageBuffer::from_fn(width as u32 + 2, height as u32 + 2, |x, y| {
        let own = x > 0 && y > 0 && part.has(part.left + x - 1, part.top + y - 1);
        Luma([if own { 0 } else { 255 }])
    });
    let depths: Vec<f64> = euclidean_squared_distance_transform(&framed).iter().map(|d| d.sqrt()).collect();
    let basins = Basins::of(&depths, width + 2);
    if basins.count < 2 { vec![part] } else { basins.parts(&part) }
}

fn solidity(part: &PicturePart) -> f64 {
    let width = part.width();
    // The ends of each row are enough for the hull.
    let corners: Vec<[f64; 2]> = part
        .own
        .chunks(width)
        .enumerate()
        .filter_map(|(y, row)| {
            Some((y as f64, row.iter().position(|o| *o)? as f64, row.iter().rposition(|o| *o)? as f64))
        })
        .flat_map(|(y, first, last)| [[first, y], [last + 1.0, y], [first, y + 1.0], [last + 1.0, y + 1.0]])
        .collect();
    part.count as f64 / area(&hull(&corners)).abs().max(1.0)
}

/// Pixels by the deepest place that they drain to, where basins over a narrow neck stay apart.
struct Basins {
    of: Vec<usize>,
    count: usize,
}

impl Basins {
    fn of(depths: &[f64], width: usize) -> Self {
        let mut order: Vec<usize> = (0..depths.len()).filter(|i| depths[*i] > 0.0).collect();
        order.sort_by(|a, b| depths[*b].total_cmp(&depths[*a]).then(a.cmp(b)));
        let mut parent: Vec<usize> = vec![usize::MAX; depths.len()];
        // Basins that met over a neck stay apart, whatever comes after.
        for at in order {
            let beside = [
                at - 1,
                at + 1,
                at - width,
                at + width,
                at - width - 1,
                at - width + 1,
                at + width - 1,
                at + width + 1,
            ];
            let mut roots: Vec<usize> = beside.into_iter().filter(|n| parent[*n] != usize::MAX).collect();
            roots.iter_mut().for_each(|n| *n = root(&mut parent, *n));
            // The deepest place of a basin is its root.
            roots.sort_by(|a, b| depths[*b].total_cmp(&depths[*a]).then(a.cmp(b)));
            roots.dedup();
            let Some(deepest) = roots.first().copied() else {
                parent[at] = at;
                continue;
            };
            parent[at] = deepest;
            for other in &roots[1..] {
                if depths[at] > NECK * depths[*other] || depths[*other] < 3.0 {
                    parent[*other] = deepest;
                }
            }
        }
        let mut number = vec![usize::MAX; depths.len()];
        let mut of = vec![usize::MAX; depths.len()];
        let mut count = 0;
        for at in (0..depths.len()).filter(|i| depths[*i] > 0.0) {
            let top = root(&mut parent, at);
            if number[top] == usize::MAX {
                number[top] = count;
                count += 1;
            }
            of[at] = number[top];
        }
        Self { of, count }
    }

    /// Each basin of a part as a part, in a rectangle of its own.
    fn parts(&self, whole: &PicturePart) -> Vec<PicturePart> {
        let width = whole.width();
        let basin_of = |i: usize| self.of[(i / width + 1) * (width + 2) + i % width + 1];
        let none = PicturePart { left: u32::MAX, top: u32::MAX, right: 0, bottom: 0, count: 0, own: Vec::new() };
        let mut parts = vec![none; self.count];
        for i in (0..whole.own.len()).filter(|i| whole.own[*i]) {
            let (x, y) = (whole.left + (i % width) as u32, whole.top + (i / width) as u32);
            if let Some(part) = parts.get_mut(basin_of(i)) {
                part.widen(x, y);
            }
        }
        for (basin, part) in parts.iter_mut().enumerate() {
            let rows = (part.top - whole.top) as usize..(part.bottom - whole.top) as usize;
            let columns = (part.left - whole.left) as usize..(part.right - whole.left) as usize;
            let places = rows.flat_map(|y| columns.clone().map(move |x| y * width + x));
            part.own = places.map(|i| basin_of(i) == basin).collect();
        }
        parts
    }
}

fn root(parent: &mut [usize], mut at: usize) -> usize {
    while parent[at] != at {
        parent[at] = parent[parent[at]];
        at = parent[at];
    }
    at
}
