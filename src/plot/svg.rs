//! A drawing backend for `plotters` that writes SVG.
//!
//! The stock backend rounds to whole pixels, guesses text widths per byte and knows neither titles nor dashes. This one
//! draws on a canvas ten times as fine and divides on output, measures text by characters, gives the picture a title, a
//! description and a role, and lets the caller set a dash.

use crate::source::legible;
use plotters_backend::text_anchor::{HPos, VPos};
use plotters_backend::{
    BackendColor, BackendCoord, BackendStyle, BackendTextStyle, DrawingBackend, DrawingErrorKind, FontStyle,
    FontTransform,
};
use std::cell::RefCell;
use std::convert::Infallible;
use std::fmt::Write;
use std::rc::Rc;

/// Canvas units per pixel.
pub const FINE: i32 = 10;

/// Mean width of a character over the font size, for a plain sans-serif face.
const CHARACTER_WIDTH: f64 = 0.6;

/// The picture while it is drawn. Clones share it: the chart draws through one, the caller sets dashes through another.
#[derive(Clone)]
pub struct Canvas {
    ink: Rc<RefCell<Ink>>,
    width: i32,
    height: i32,
}

struct Ink {
    body: String,
    dash: &'static str,
}

type DrawResult = Result<(), DrawingErrorKind<Infallible>>;

impl Canvas {
    /// An empty sheet of so many pixels.
    pub fn new(width: i32, height: i32) -> Self {
        Self { ink: Rc::new(RefCell::new(Ink { body: String::new(), dash: "" })), width, height }
    }

    /// Lines drawn from now on get this `stroke-dasharray`; none when empty.
    pub fn dash(&self, pattern: &'static str) {
        self.ink.borrow_mut().dash = pattern;
    }

    /// The whole document.
    pub fn document(&self, title: &str, description: &str) -> String {
        let (width, height) = (self.width, self.height);
        let (title, description) = (escaped(title), escaped(description));
        format!(
            "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{width}\" height=\"{height}\" \
             viewBox=\"0 0 {width} {height}\" role=\"img\" aria-labelledby=\"title desc\" font-family=\"sans-serif\">\n\
             <title id=\"title\">{title}</title>\n<desc id=\"desc\">{description}</desc>\n{}</svg>\n",
            self.ink.borrow().body
        )
    }

    /// Fills the inside of closed outlines as one shape; an outline within another is a hole.
    pub fn fill(&self, outlines: &[Vec<BackendCoord>], color: (u8, u8, u8)) {
        let data: String = outlines.iter().map(|o| path(o.iter().copied()) + "Z").collect();
        if !data.is_empty() {
            let fill = paint("fill", BackendColor { alpha: 1.0, rgb: color });
            self.add(&format!("<path d=\"{data}\" {fill} fill-rule=\"evenodd\"/>"));
        }
    }

    fn add(&self, element: &str) {
        let mut ink = self.ink.borrow_mut();
        ink.body.push_str(element);
        ink.body.push('\n');
    }

    fn stroke<S: BackendStyle>(&self, style: &S) -> String {
        let dash = self.ink.borrow().dash;
        let dash = if dash.is_empty() { String::new() } else { format!(" stroke-dasharray=\"{dash}\"") };
        let width = pixels(style.stroke_width() as i32);
        format!("fill=\"none\" {} stroke-width=\"{width}\"{dash}", paint("stroke", style.color()))
    }
}

/// Width in canvas units of a text at a font size in canvas units.
pub fn text_width(text: &str, size: f64) -> i32 {
    (text.chars().count() as f64 * CHARACTER_WIDTH * size).round() as i32
}

fn pixels(canvas: i32) -> String {
    let (whole, tenth) = (canvas / FINE, (canvas % FINE).abs());
    let sign = if canvas < 0 && whole == 0 { "-" } else { "" };
    if tenth == 0 { format!("{sign}{whole}") } else { format!("{sign}{whole}.{tenth}") }
}

fn paint(what: &str, color: BackendColor) -> String {
    let (r, g, b) = color.rgb;
    let opacity = if color.alpha < 1.0 { format!(" {what}-opacity=\"{:.2}\"", color.alpha) } else { String::new() };
    format!("{what}=\"#{r:02x}{g:02x}{b:02x}\"{opacity}")
}

pub(super) fn escaped(text: &str) -> String {
    legible(text).replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;").replace('"', "&quot;")
}

fn path(points: impl IntoIterator<Item = BackendCoord>) -> String {
    let mut data = String::new();
    for (i, (x, y)) in points.into_iter().enumerate() {
        let _ = write!(data, "{}{} {}", if i == 0 { "M" } else { "L" }, pixels(x), pixels(y));
    }
    data
}

impl DrawingBackend for Canvas {
    type ErrorType = Infallible;

    fn get_size(&self) -> (u32, u32) {
        ((self.width * FINE) as u32, (self.height * FINE) as u32)
    }

    fn ensure_prepared(&mut self) -> DrawResult {
        Ok(())
    }

    fn present(&mut self) -> DrawResult {
        Ok(())
    }

    fn draw_pixel(&mut self, (x, y): BackendCoord, color: BackendColor) -> DrawResult {
        self.add(&format!(
            "<rect x=\"{}\" y=\"{}\" width=\"0.1\" height=\"0.1\" {}/>",
            pixels(x),
            pixels(y),
            paint("fill", color)
        ));
        Ok(())
    }

    fn draw_line<S: BackendStyle>(&mut self, from: BackendCoord, to: BackendCoord, style: &S) -> DrawResult {
        self.draw_path([from, to], style)
    }

    fn draw_rect<S: BackendStyle>(&mut self, a: BackendCoord, b: BackendCoord, style: &S, fill: bool) -> DrawResult {
        if style.color().alpha == 0.0 {
            return Ok(());
        }
        let style = if fill { paint("fill", style.color()) } else { self.stroke(style) };
        let (x, y) = (a.0.min(b.0), a.1.min(b.1));
        let (width, height) = (pixels((a.0 - b.0).abs()), pixels((a.1 - b.1).abs()));
        let (x, y) = (pixels(x), pixels(y));
        self.add(&format!("<rect x=\"{x}\" y=\"{y}\" width=\"{width}\" height=\"{height}\" {style}/>"));
        Ok(())
    }

    fn draw_path<S: BackendStyle, I: IntoIterator<Item = BackendCoord>>(&mut self, points: I, style: &S) -> DrawResult {
        if style.color().alpha > 0.0 {
            self.add(&format!("<path d=\"{}\" {} stroke-linejoin=\"round\"/>", path(points), self.stroke(style)));
        }
        Ok(())
    }

    fn draw_circle<S: BackendStyle>(&mut self, center: BackendCoord, radius: u32, style: &S, fill: bool) -> DrawResult {
        let style = if fill { paint("fill", style.color()) } else { self.stroke(style) };
        let (x, y, r) = (pixels(center.0), pixels(center.1), pixels(radius as i32));
        self.add(&format!("<circle cx=\"{x}\" cy=\"{y}\" r=\"{r}\" {style}/>"));
        Ok(())
    }

    fn fill_polygon<S: BackendStyle, I: IntoIterator<Item = BackendCoord>>(
        &mut self,
        points: I,
        style: &S,
    ) -> DrawResult {
        if style.color().alpha > 0.0 {
            self.add(&format!("<path d=\"{}Z\" {}/>", path(points), paint("fill", style.color())));
        }
        Ok(())
    }

    /// Text with a white rim, so that a line behind it does not cut it.
    fn draw_text<T: BackendTextStyle>(&mut self, text: &str, style: &T, (x, y): BackendCoord) -> DrawResult {
        let size = style.size();
        let anchor = match style.anchor().h_pos {
            HPos::Left => "start",
            HPos::Center => "middle",
            HPos::Right => "end",
        };
        // Baselines: digits and capitals stand about 0.72 of the size high.
        let down = match style.anchor().v_pos {
            VPos::Top => 0.80 * size,
            VPos::Center => 0.36 * size,
            VPos::Bottom => -0.10 * size,
        }
        .round() as i32;
        let (at, turn) = match style.transform() {
            FontTransform::Rotate270 => ((x + down, y), -90),
            FontTransform::Rotate90 => ((x - down, y), 90),
            FontTransform::Rotate180 => ((x, y - down), 180),
            FontTransform::None => ((x, y + down), 0),
        };
        let (px, py) = (pixels(at.0), pixels(at.1));
        let turn = if turn == 0 { String::new() } else { format!(" transform=\"rotate({turn} {px} {py})\"") };
        let weight = if matches!(style.style(), FontStyle::Bold) { " font-weight=\"bold\"" } else { "" };
        let (size, fill, text) = (pixels(size.round() as i32), paint("fill", style.color()), escaped(text));
        self.add(&format!(
            "<text x=\"{px}\" y=\"{py}\" font-size=\"{size}\" text-anchor=\"{anchor}\"{weight} {fill} stroke=\"#ffffff\" \
             stroke-width=\"4\" stroke-linejoin=\"round\" paint-order=\"stroke\"{turn}>{text}</text>"
        ));
        Ok(())
    }

    fn estimate_text_size<T: BackendTextStyle>(
        &self,
        text: &str,
        style: &T,
    ) -> Result<(u32, u32), DrawingErrorKind<Infallible>> {
        Ok((text_width(text, style.size()) as u32, style.size().round() as u32))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn coordinates_keep_a_tenth_of_a_pixel() {
        for (canvas, text) in [(0, "0"), (15, "1.5"), (-5, "-0.5"), (-120, "-12"), (7, "0.7")] {
            assert_eq!(pixels(canvas), text);
        }
    }

    #[test]
    fn hostile_text_stays_text() {
        let document = Canvas::new(10, 10).document("<script>alert(\"x\")</script>", "a & b");
        assert!(!document.contains("<script>") && document.contains("a &amp; b"));
    }
}
