//! One chart: a logarithmic size axis or a plain one, a plain vertical one, curves told apart by dash and colour, a legend
//! above.

use super::PlotError;
use super::ground::Ground;
use super::plane::{Across, Area, FAINT, INK, Plane, anchored, draw_dotted, font, px};
use super::svg::{Canvas, FINE, text_width};
use crate::numerics::written::without_zeros;
use plotters::prelude::*;
use plotters::style::text_anchor::{HPos, VPos};
use serde::Serialize;

/// How a curve is drawn.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Pen {
    pub color: RGBColor,
    pub width_px: f64,
    pub dash: &'static str,
}

const GRID: RGBColor = RGBColor(0xdd, 0xdd, 0xdd);
/// How much of a curve's colour its shaded area has.
const TINT: f64 = 0.12;
/// Colour of a corridor of limits.
pub(super) const CORRIDOR: RGBColor = RGBColor(0x00, 0x9e, 0x73);

/// The blend, or the one thing that a picture is about.
pub(super) const MAIN: Pen = Pen { color: INK, width_px: 2.6, dash: "" };

/// Pens of the powders: hues that stay apart for colour-blind eyes (Okabe and Ito 2008), each with a dash of its own.
pub(super) const POWDERS: [Pen; 7] = [
    Pen { color: RGBColor(0x00, 0x72, 0xb2), width_px: 1.8, dash: "7 3" },
    Pen { color: RGBColor(0xd5, 0x5e, 0x00), width_px: 1.8, dash: "2 3" },
    Pen { color: RGBColor(0x00, 0x9e, 0x73), width_px: 1.8, dash: "11 3 2 3" },
    Pen { color: RGBColor(0xcc, 0x79, 0xa7), width_px: 1.8, dash: "14 5" },
    Pen { color: RGBColor(0x8c, 0x6d, 0x00), width_px: 1.8, dash: "5 2 1 2 1 2" },
    Pen { color: RGBColor(0x3b, 0x8f, 0xc9), width_px: 1.8, dash: "3 6" },
    Pen { color: RGBColor(0x5b, 0x3a, 0x8e), width_px: 1.8, dash: "9 2 4 2" },
];

impl Pen {
    fn style(self) -> ShapeStyle {
        self.color.stroke_width((self.width_px * f64::from(FINE)).round() as u32)
    }
}

/// A curve. One without a name is a further piece of one that has, and is not in the legend.
#[derive(Debug, Clone)]
pub(super) struct Curve {
    pub name: String,
    pub pen: Pen,
    /// Size in µm and value.
    pub points: Vec<(f64, f64)>,
    /// Shade the area down to zero.
    pub shaded: bool,
}

impl Curve {
    pub fn new(name: impl Into<String>, pen: Pen, points: Vec<(f64, f64)>) -> Self {
        Self { name: name.into(), pen, points, shaded: false }
    }

    pub fn shaded(self, shaded: bool) -> Self {
        Self { shaded, ..self }
    }
}

/// A marked point, with a label (none when empty) and lines to both axes.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Mark {
    /// Size, µm.
    pub size_um: f64,
    /// Value; 0 for a whole line.
    pub value: f64,
    /// Label.
    pub label: String,
}

/// A named point: a ring with a sign in it. One without a name is not in the legend.
#[derive(Debug, Clone)]
pub(super) struct Ring {
    pub name: String,
    pub sign: String,
    pub color: RGBColor,
    pub at: (f64, f64),
    /// Where the sign stands when there is no room for it at the point, which then gets a small ring and a line to its sign.
    pub sign_at: Option<(f64, f64)>,
}

/// What a chart shows.
#[derive(Debug, Clone, Default)]
pub(super) struct Chart {
    pub title: String,
    pub x_label: String,
    pub y_label: String,
    pub x_range: (f64, f64),
    /// Equal factors, not equal steps, take equal lengths of the horizontal axis.
    pub x_log: bool,
    pub y_low: f64,
    pub y_top: f64,
    pub curves: Vec<Curve>,
    pub marks: Vec<Mark>,
    /// Measured points.
    pub dots: Vec<(f64, f64)>,
    /// Named points, told apart by their signs and colours.
    pub rings: Vec<Ring>,
    /// A shaded corridor: at each place on the axis a lowest and a highest value, with a bar across.
    pub corridor: Vec<(f64, f64, f64)>,
    /// A vertical line at a size, with a label.
    pub line_at: Option<(f64, String)>,
    pub y_percent: bool,
    /// What is shaded behind the curves.
    pub ground: Ground,
}

const MARGIN_LEFT: i32 = px(8);
const MARGIN_RIGHT: i32 = px(24);
const Y_LABELS: i32 = px(62);

impl Chart {
    /// Curves over a logarithmic axis, with nothing else; the vertical axis reaches from 0 to `headroom` times the highest.
    pub fn new(
        title: String,
        [x_label, y_label]: [&str; 2],
        x_range: (f64, f64),
        headroom: f64,
        curves: Vec<Curve>,
    ) -> Self {
        let values = curves.iter().flat_map(|c| &c.points).map(|p| p.1);
        let highest = values.filter(|v| v.is_finite()).fold(0.0, f64::max);
        Self {
            title,
            x_label: x_label.to_owned(),
            y_label: y_label.to_owned(),
            x_range,
            x_log: true,
            y_top: if highest > 0.0 { highest * headroom } else { 1.0 },
            curves,
            ..Self::default()
        }
    }

    /// Draws the chart on an area of a sheet.
    pub fn draw(&self, sheet: &Canvas, area: &Area) -> Result<(), PlotError> {
        area.fill(&WHITE)?;
        let bold = TextStyle { font: font(16.0).font.style(FontStyle::Bold), ..font(16.0) };
        area.draw_text(&self.title, &anchored(bold, HPos::Left, VPos::Top), (px(16), px(12)))?;
        let rows = self.draw_legend(sheet, area)?;
        let strip = self.ground.strip(self.plot_width(area), |x| self.place(x));
        let mut plane = self.plane(area, px(44 + 20 * rows) + strip.height())?;
        self.ground.fill(sheet, &plane);
        self.draw_axes(&mut plane)?;
        self.draw_curves(sheet, &mut plane)?;
        self.ground.draw_cuts(sheet, area, &mut plane, &strip, (self.y_low, self.y_top))?;
        let (left, top) = area.get_base_pixel();
        // The first ring lies on top: it is the one that counts most.
        for ring in self.rings.iter().rev() {
            let of_area = |at: &(f64, f64)| {
                let (x, y) = plane.backend_coord(at);
                (x - left, y - top)
            };
            match &ring.sign_at {
                None => draw_ring(area, ring, of_area(&ring.at))?,
                Some(sign) => draw_led_ring(area, ring, of_area(&ring.at), of_area(sign))?,
            }
        }
        // All lines before all labels, so that no line crosses a label.
        if let Some((size, _)) = &self.line_at {
            draw_dotted(sheet, &mut plane, &[(*size, self.y_low), (*size, self.y_top)])?;
        }
        for mark in &self.marks {
            let point = (mark.size_um, mark.value);
            draw_dotted(sheet, &mut plane, &[(self.x_range.0, mark.value), point, (mark.size_um, self.y_low)])?;
            plane.draw_series([Circle::new(point, px(4), INK.filled())])?;
        }
        if let Some((size, label)) = &self.line_at {
            let (x, y) = plane.backend_coord(&(*size, self.y_top));
            place_label(area, label, (x, y + px(12)), 0)?;
        }
        for mark in self.marks.iter().filter(|m| !m.label.is_empty()) {
            let (x, y) = plane.backend_coord(&(mark.size_um, mark.value));
            place_label(area, &mark.label, (x, y + px(14)), px(26))?;
        }
        let taken: Vec<(i32, i32)> = self.marks.iter().map(|m| plane.backend_coord(&(m.size_um, m.value))).collect();
        self.ground.draw_names(area, &plane, &taken)
    }

    /// Where on the horizontal axis a value lies, 0 to 1.
    fn place(&self, x: f64) -> f64 {
        let (lo, hi) = self.x_range;
        if self.x_log { (x / lo).ln() / (hi / lo).ln() } else { (x - lo) / (hi - lo) }
    }

    /// Width of the plotted part of an area.
    fn plot_width(&self, area: &Area) -> i32 {
        area.dim_in_pixel().0 as i32 - MARGIN_LEFT - Y_LABELS - MARGIN_RIGHT
    }

    fn plane<'a>(&self, area: &'a Area, margin_top: i32) -> Result<Plane<'a>, PlotError> {
        let range = self.x_range.0..self.x_range.1;
        let across = if self.x_log {
            Across::Log(range.log_scale().into()).with_key_points(size_ticks(self.x_range))
        } else {
            Across::Plain(range.into()).with_key_points(even_ticks(self.x_range.0, self.x_range.1))
        };
        ChartBuilder::on(area)
            .margin_top(margin_top)
            .margin_right(MARGIN_RIGHT)
            .margin_bottom(px(8))
            .margin_left(MARGIN_LEFT)
            .x_label_area_size(px(44))
            .y_label_area_size(Y_LABELS)
            .build_cartesian_2d(across, self.y_low..self.y_top)
            .map_err(PlotError::from)
    }

    fn draw_axes(&self, plane: &mut Plane) -> Result<(), PlotError> {
        let (x_span, y_span) = (self.x_range.1 - self.x_range.0, self.y_top - self.y_low);
        plane
            .configure_mesh()
            .x_desc(self.x_label.as_str())
            .y_desc(self.y_label.as_str())
            .axis_desc_style(font(13.0))
            .label_style(font(12.0))
            .axis_style(FAINT.stroke_width(FINE as u32))
            .bold_line_style(GRID.stroke_width(FINE as u32))
            .light_line_style(TRANSPARENT)
            .set_all_tick_mark_size(px(4))
            .y_labels(6)
            .x_label_formatter(&|v| plain(*v, x_span))
            .y_label_formatter(&|v| if self.y_percent { format!("{:.0} %", v * 100.0) } else { plain(*v, y_span) })
            .draw()
            .map_err(PlotError::from)
    }

    fn draw_curves(&self, sheet: &Canvas, plane: &mut Plane) -> Result<(), PlotError> {
        let points = |curve: &Curve| curve.points.iter().map(|&(x, y)| (x, y.min(self.y_top))).collect::<Vec<_>>();
        self.draw_corridor(plane)?;
        for curve in self.curves.iter().filter(|c| c.shaded) {
            let tint = curve.pen.color.mix(TINT);
            plane.draw_series(AreaSeries::new(points(curve), 0.0, tint))?;
        }
        // The first curve is what the picture is about: it lies on top.
        for curve in self.curves.iter().rev() {
            sheet.dash(curve.pen.dash);
            plane.draw_series(LineSeries::new(points(curve), curve.pen.style()))?;
        }
        sheet.dash("");
        let dot = |&point: &(f64, f64)| Circle::new(point, px(3), INK.filled());
        plane.draw_series(self.dots.iter().map(dot))?;
        Ok(())
    }

    fn draw_corridor(&self, plane: &mut Plane) -> Result<(), PlotError> {
        let back = self.corridor.iter().rev().map(|&(x, low, _)| (x, low));
        let outline: Vec<(f64, f64)> = self.corridor.iter().map(|&(x, _, high)| (x, high)).chain(back).collect();
        if self.corridor.len() > 1 {
            let area = Polygon::new(outline, CORRIDOR.mix(2.0 * TINT));
            plane.draw_series([area])?;
        }
        let style = CORRIDOR.stroke_width(px(3) as u32);
        let bar = |&(x, low, high): &(f64, f64, f64)| PathElement::new(vec![(x, low), (x, high)], style);
        plane.draw_series(self.corridor.iter().map(bar))?;
        Ok(())
    }

    /// Samples and names in rows under the title; returns the number of rows.
    fn draw_legend(&self, sheet: &Canvas, area: &Area) -> Result<i32, PlotError> {
        let width = area.dim_in_pixel().0 as i32;
        let (mut x, mut row) = (px(16), 0);
        // Where the next sample stands, in a new row where its name would pass the edge.
        let mut next = |sample: i32, name: &str| {
            let needed = sample + text_width(name, f64::from(px(13))) + px(22);
            if x > px(16) && x + needed > width - px(16) {
                (x, row) = (px(16), row + 1);
            }
            let at = (x, px(48 + 20 * row));
            x += needed;
            at
        };
        let write =
            |name: &str, at: (i32, i32)| area.draw_text(name, &anchored(font(13.0), HPos::Left, VPos::Center), at);
        let sample = px(34);
        for curve in self.curves.iter().filter(|c| !c.name.is_empty()) {
            let (x, y) = next(sample + px(8), &curve.name);
            if curve.shaded {
                let tint = curve.pen.color.mix(TINT).filled();
                area.draw(&Rectangle::new([(x, y - px(6)), (x + sample, y + px(6))], tint))?;
            }
            sheet.dash(curve.pen.dash);
            area.draw(&PathElement::new(vec![(x, y), (x + sample, y)], curve.pen.style()))?;
            sheet.dash("");
            write(&curve.name, (x + sample + px(8), y))?;
        }
        for ring in self.rings.iter().filter(|r| !r.name.is_empty()) {
            let (x, y) = next(px(22), &ring.name);
            draw_ring(area, ring, (x + px(8), y))?;
            write(&ring.name, (x + px(22), y))?;
        }
        Ok(row + 1)
    }
}

/// A ring with a sign in it, so that rings are told apart without colour.
fn draw_ring(area: &Area, ring: &Ring, at: (i32, i32)) -> Result<(), PlotError> {
    area.draw(&Circle::new(at, px(8), WHITE.filled()))?;
    area.draw(&Circle::new(at, px(8), ring.color.stroke_width(px(2) as u32)))?;
    if ring.sign.is_empty() {
        return Ok(());
    }
    area.draw_text(&ring.sign, &anchored(font(11.0), HPos::Center, VPos::Center), at).map_err(PlotError::from)
}

/// A small ring, with a line to its sign beside it.
fn draw_led_ring(area: &Area, ring: &Ring, at: (i32, i32), sign: (i32, i32)) -> Result<(), PlotError> {
    let line = PathElement::new(vec![at, sign], ring.color.stroke_width(px(1) as u32));
    area.draw(&line)?;
    area.draw(&Circle::new(at, px(4), WHITE.filled()))?;
    area.draw(&Circle::new(at, px(4), ring.color.stroke_width(px(2) as u32)))?;
    area.draw(&Circle::new(sign, px(7), WHITE.filled()))?;
    area.draw_text(&ring.sign, &anchored(font(11.0), HPos::Center, VPos::Center), sign).map_err(PlotError::from)
}

/// A label to the right of a point of the whole sheet, or to its left, and `lift` higher, where it would leave the picture:
/// below and to the right of a rising curve there is room, and above it to the left.
fn place_label(area: &Area, label: &str, (x, y): (i32, i32), lift: i32) -> Result<(), PlotError> {
    let ((left, top), (width, _)) = (area.get_base_pixel(), area.dim_in_pixel());
    let (x, y) = (x - left, y - top);
    let fits = x + px(8) + text_width(label, f64::from(px(13))) < width as i32 - px(20);
    let (at, side) = if fits { ((x + px(8), y), HPos::Left) } else { ((x - px(8), y - lift), HPos::Right) };
    area.draw_text(label, &anchored(font(13.0), side, VPos::Center), at).map_err(PlotError::from)
}

/// 1, 2 and 5 of every decade within the range; all digits where that gives fewer than three; even steps where that does.
pub(super) fn size_ticks((lo, hi): (f64, f64)) -> Vec<f64> {
    let within = |digits: &[f64]| -> Vec<f64> {
        let decades = (lo.log10().floor() as i32)..=(hi.log10().ceil() as i32);
        let all = decades.flat_map(|d| digits.iter().map(move |m| m * 10f64.powi(d)));
        all.filter(|t| (lo..=hi).contains(t)).collect()
    };
    let choices = [within(&[1.0, 2.0, 5.0]), within(&[1.0, 1.5, 2.0, 3.0, 4.0, 5.0, 6.0, 7.0, 8.0, 9.0])];
    choices.into_iter().find(|ticks| ticks.len() >= 3).unwrap_or_else(|| even_ticks(lo, hi))
}

/// Ticks at an even step of 1, 2 or 5 that gives four to ten of them.
pub(super) fn even_ticks(lo: f64, hi: f64) -> Vec<f64> {
    let rough = (hi - lo) / 4.0;
    let decade = 10f64.powf(rough.log10().floor());
    let step = [5.0, 2.0, 1.0].into_iter().map(|m| m * decade).find(|s| *s <= rough).unwrap_or(decade);
    let first = (lo / step).ceil() as i64;
    (first..first + 12).map(|i| i as f64 * step).take_while(|t| *t <= hi).collect()
}

/// A number without needless zeros, of three decimals or as many as an axis of this span needs.
pub(super) fn plain(value: f64, span: f64) -> String {
    let decimals = (2.0 - span.log10().floor()).max(3.0) as usize;
    without_zeros(format!("{value:.decimals$}"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ticks_are_there_even_within_one_decade() {
        assert_eq!(size_ticks((10.0, 1000.0)), [10.0, 20.0, 50.0, 100.0, 200.0, 500.0, 1000.0]);
        assert!(size_ticks((120.0, 480.0)).len() >= 3);
        assert_eq!(size_ticks((57.8, 62.3)), [58.0, 59.0, 60.0, 61.0, 62.0]);
    }
}
