//! What lies behind the curves of a chart: shaded regions with their names in them, and vertical cuts with a label above
//! the plot.

use super::PlotError;
use super::plane::{Area, Plane, anchored, draw_guide, font, px};
use super::svg::{Canvas, text_width};
use plotters::prelude::*;
use plotters::style::text_anchor::{HPos, Pos, VPos};

/// A shaded region: closed outlines, one within another being a hole. Later fills cover earlier ones.
#[derive(Debug, Clone)]
pub(super) struct FilledArea {
    pub outlines: Vec<Vec<(f64, f64)>>,
    pub color: RGBColor,
}

/// A rectangle of the plot in which a name may stand: left and right, bottom and top.
pub(super) type Spot = ((f64, f64), (f64, f64));

/// The name of a region and where it may stand, the best place first. It is left out where it fits nowhere.
#[derive(Debug, Clone)]
pub(super) struct Name {
    pub label: String,
    pub spots: Vec<Spot>,
}

/// A vertical line from bottom to top.
#[derive(Debug, Clone)]
pub(super) struct CutLine {
    pub x: f64,
    /// Written above the plot; nothing when empty.
    pub label: String,
    pub dash: &'static str,
}

/// All of it.
#[derive(Debug, Clone, Default)]
pub(super) struct Ground {
    pub fills: Vec<FilledArea>,
    pub names: Vec<Name>,
    pub cuts: Vec<CutLine>,
}

const LABEL: f64 = 12.0;
const ROW: i32 = px(17);
/// Room kept around a name.
const ROOM: i32 = px(4);

/// The labels of the cuts in rows above the plot.
pub(super) struct Strip {
    /// Middle of each label, from the left of the plot, and its row from below.
    places: Vec<(i32, i32)>,
    rows: i32,
}

impl Strip {
    /// Height of all rows.
    pub fn height(&self) -> i32 {
        self.rows * ROW
    }
}

type Box = [i32; 4];

fn apart(a: &Box, b: &Box) -> bool {
    a[2] <= b[0] || b[2] <= a[0] || a[3] <= b[1] || b[3] <= a[1]
}

fn width_of(label: &str) -> i32 {
    text_width(label, LABEL * f64::from(px(1)))
}

impl Ground {
    /// Puts the labels of the cuts in as few rows as keep them clear of each other. `width` is the plot's; `place` says where in it a
    /// value lies, 0 to 1.
    pub fn strip(&self, width: i32, place: impl Fn(f64) -> f64) -> Strip {
        let mut rows: Vec<Vec<(i32, i32)>> = Vec::new();
        let mut places = Vec::new();
        for cut in &self.cuts {
            let half = width_of(&cut.label) / 2 + ROOM;
            let middle = (place(cut.x) * f64::from(width)).round() as i32;
            // Labels at the ends may stick out by what the margins hold.
            let middle = middle.clamp((half - px(40)).min(width / 2), (width + px(16) - half).max(width / 2));
            let free = |row: &Vec<(i32, i32)>| row.iter().all(|r| r.1 <= middle - half || middle + half <= r.0);
            let row = rows.iter().position(free).unwrap_or(rows.len());
            if row == rows.len() {
                rows.push(Vec::new());
            }
            if !cut.label.is_empty() {
                rows[row].push((middle - half, middle + half));
            }
            places.push((middle, row as i32));
        }
        rows.retain(|row| !row.is_empty());
        Strip { places, rows: rows.len() as i32 }
    }

    /// Shades the regions.
    pub fn fill(&self, sheet: &Canvas, plane: &Plane) {
        for fill in &self.fills {
            let outlines: Vec<Vec<(i32, i32)>> =
                fill.outlines.iter().map(|o| o.iter().map(|p| plane.backend_coord(p)).collect()).collect();
            sheet.fill(&outlines, (fill.color.0, fill.color.1, fill.color.2));
        }
    }

    /// Draws the cuts and writes their labels above the plot.
    pub fn draw_cuts(
        &self,
        sheet: &Canvas,
        area: &Area,
        plane: &mut Plane,
        strip: &Strip,
        (low, top): (f64, f64),
    ) -> Result<(), PlotError> {
        let style = anchored(font(LABEL), HPos::Center, VPos::Center);
        let (left, above) = area.get_base_pixel();
        let start = plane.plotting_area().get_pixel_range().0.start;
        for (cut, (middle, row)) in self.cuts.iter().zip(&strip.places) {
            draw_guide(sheet, plane, &[(cut.x, low), (cut.x, top)], cut.dash)?;
            let (_, y) = plane.backend_coord(&(cut.x, top));
            let at = (start - left + middle, y - above - ROW / 2 - row * ROW);
            if !cut.label.is_empty() {
                area.draw_text(&cut.label, &style, at)?;
            }
        }
        Ok(())
    }

    /// Writes every name into the first of its places where it fits and keeps clear of the others and of `taken` points
    /// (of the whole sheet); upright where it is too long to lie.
    pub fn draw_names(&self, area: &Area, plane: &Plane, taken: &[(i32, i32)]) -> Result<(), PlotError> {
        let mut placed: Vec<Box> = taken.iter().map(|&(x, y)| [x - px(5), y - px(5), x + px(5), y + px(5)]).collect();
        let (left, above) = area.get_base_pixel();
        for name in &self.names {
            let long = width_of(&name.label) / 2 + ROOM;
            let fitting = name.spots.iter().find_map(|((x0, x1), (y0, y1))| {
                let (a, b) = (plane.backend_coord(&(*x0, *y1)), plane.backend_coord(&(*x1, *y0)));
                let middle = ((a.0 + b.0) / 2, (a.1 + b.1) / 2);
                let lies = fits(middle, (long, px(7)), (a, b), &placed).map(|taken| (middle, false, taken));
                lies.or_else(|| fits(middle, (px(8), long), (a, b), &placed).map(|taken| (middle, true, taken)))
            });
            let Some(((x, y), upright, taken)) = fitting else { continue };
            placed.push(taken);
            let plain = font(LABEL);
            let turned = plain.clone().transform(FontTransform::Rotate270);
            let style = if upright { turned } else { plain }.pos(Pos::new(HPos::Center, VPos::Center));
            area.draw_text(&name.label, &style, (x - left, y - above))?;
        }
        Ok(())
    }
}

/// The box around a middle, if it lies within the spot and clear of all that is placed.
fn fits(
    (x, y): (i32, i32),
    (across, down): (i32, i32),
    (a, b): ((i32, i32), (i32, i32)),
    placed: &[Box],
) -> Option<Box> {
    let room = [x - across, y - down, x + across, y + down];
    let inside = room[0] >= a.0 && room[1] >= a.1 && room[2] <= b.0 && room[3] <= b.1;
    (inside && placed.iter().all(|p| apart(&room, p))).then_some(room)
}
