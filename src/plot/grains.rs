//! What was found on a picture: outlines, numbers and corner circles.

use super::pictures::Picture;
use super::svg::escaped;
use std::fmt::Write;

/// A grain as it is drawn, in pixels of its picture.
pub struct DrawnGrain<'a> {
    /// Its number.
    pub number: usize,
    /// Where the number stands.
    pub middle: [f64; 2],
    /// Its outline.
    pub outline: &'a [[f64; 2]],
    /// Middle and radius of each circle: of the corners, and last the largest within.
    pub circles: Vec<([f64; 2], f64)>,
    /// Whether its roundness is told.
    pub rounded: bool,
}

/// The outlines on a picture of so many pixels, so that a person sees what was measured.
pub fn grains_picture(file: &str, width: u32, height: u32, grains: &[DrawnGrain]) -> Picture {
    let mut body = String::new();
    let stroke = f64::from(width.max(height)) / 800.0;
    for grain in grains {
        let colour = if grain.rounded { "#1b5e8c" } else { "#8a8a8a" };
        let points: Vec<String> = grain.outline.iter().map(|[x, y]| format!("{x:.1},{y:.1}")).collect();
        let _ = writeln!(
            body,
            "<polygon points=\"{}\" fill=\"none\" stroke=\"{colour}\" stroke-width=\"{stroke:.2}\"/>",
            points.join(" ")
        );
        for ([x, y], r) in &grain.circles {
            let _ = writeln!(
                body,
                "<circle cx=\"{x:.1}\" cy=\"{y:.1}\" r=\"{r:.1}\" fill=\"none\" stroke=\"#b5471b\" stroke-width=\"{:.2}\"/>",
                0.7 * stroke
            );
        }
        let _ = writeln!(
            body,
            "<text x=\"{:.1}\" y=\"{:.1}\" font-size=\"{:.1}\" text-anchor=\"middle\" fill=\"#222\">{}</text>",
            grain.middle[0],
            grain.middle[1] + 4.0 * stroke,
            12.0 * stroke,
            grain.number
        );
    }
    let title = escaped(&format!("Grains found on {file}"));
    let svg = format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{width}\" height=\"{height}\" viewBox=\"0 0 {width} {height}\" role=\"img\" \
         aria-labelledby=\"title desc\" font-family=\"sans-serif\">\n<title id=\"title\">{title}</title>\n<desc id=\"desc\">{} grains: outlines, \
         numbers, circles of corners and the largest circle within; grey where the roundness is not told</desc>\n\
         <rect width=\"{width}\" height=\"{height}\" fill=\"#fff\"/>\n{body}</svg>\n",
        grains.len()
    );
    Picture { name: "grains.svg", svg }
}
