//! The plane that charts are drawn on, and what every drawing needs: areas, axes, fonts, thin lines.

use super::PlotError;
use super::svg::{Canvas, FINE};
use plotters::coord::Shift;
use plotters::coord::combinators::WithKeyPoints;
use plotters::coord::ranged1d::{DefaultFormatting, KeyPointHint};
use plotters::coord::types::RangedCoordf64;
use plotters::prelude::*;
use plotters::style::text_anchor::{HPos, Pos, VPos};
use std::convert::Infallible;
use std::ops::Range;

pub(super) const INK: RGBColor = RGBColor(0x22, 0x22, 0x22);
pub(super) const FAINT: RGBColor = RGBColor(0x66, 0x66, 0x66);

pub(super) type Area = DrawingArea<Canvas, Shift>;

pub(super) const fn px(pixels: i32) -> i32 {
    pixels * FINE
}

pub(super) fn font(size_px: f64) -> TextStyle<'static> {
    ("sans-serif", size_px * f64::from(FINE)).into_font().color(&INK)
}

pub(super) fn anchored(style: TextStyle<'static>, h: HPos, v: VPos) -> TextStyle<'static> {
    style.pos(Pos::new(h, v))
}

impl From<DrawingAreaErrorKind<Infallible>> for PlotError {
    fn from(e: DrawingAreaErrorKind<Infallible>) -> Self {
        Self::Chart(format!("{e:?}"))
    }
}

/// A horizontal axis of either kind.
pub(super) enum Across {
    Log(LogCoord<f64>),
    Plain(RangedCoordf64),
}

impl Ranged for Across {
    type FormatOption = DefaultFormatting;
    type ValueType = f64;

    fn map(&self, value: &f64, limit: (i32, i32)) -> i32 {
        match self {
            Self::Log(axis) => axis.map(value, limit),
            Self::Plain(axis) => axis.map(value, limit),
        }
    }

    fn key_points<Hint: KeyPointHint>(&self, hint: Hint) -> Vec<f64> {
        match self {
            Self::Log(axis) => axis.key_points(hint),
            Self::Plain(axis) => axis.key_points(hint),
        }
    }

    fn range(&self) -> Range<f64> {
        match self {
            Self::Log(axis) => axis.range(),
            Self::Plain(axis) => axis.range(),
        }
    }
}

pub(super) type Plane<'a> = ChartContext<'a, Canvas, Cartesian2d<WithKeyPoints<Across>, RangedCoordf64>>;

pub(super) fn draw_dotted(sheet: &Canvas, plane: &mut Plane, points: &[(f64, f64)]) -> Result<(), PlotError> {
    draw_guide(sheet, plane, points, "1 3")
}

/// A thin line that is no curve.
pub(super) fn draw_guide(
    sheet: &Canvas,
    plane: &mut Plane,
    points: &[(f64, f64)],
    dash: &'static str,
) -> Result<(), PlotError> {
    sheet.dash(dash);
    let style = FAINT.stroke_width((1.3 * f64::from(FINE)) as u32);
    plane.draw_series(LineSeries::new(points.to_vec(), style))?;
    sheet.dash("");
    Ok(())
}
