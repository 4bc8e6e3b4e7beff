//! What was found on a picture: outlines, numbers and corner circles.

use super::pictures::Picture;
use super::svg::escaped;
use crate::report::document::JPEG_DATA;
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

/// The photograph that outlines are drawn on.
pub struct Under<'a> {
    /// Its file.
    pub file: &'a str,
    /// Its pixels, across and down.
    pub size: [u32; 2],
    /// It, made small, as a JPEG.
    pub jpeg: &'a [u8],
    /// Pixels of the photograph that the small one stands for, across and down.
    pub covers: [u32; 2],
}

/// The outlines on the photograph, so that a person sees what was measured.
pub fn grains_picture(under: &Under, grains: &[DrawnGrain]) -> Picture {
    let [width, height] = under.size;
    let mut body = String::new();
    let stroke = f64::from(width.max(height)) / 800.0;
    for grain in grains {
        // Told by more than hue, on light and on dark grains.
        let (colour, dash) = if grain.rounded { ("#1684ff", 0.0) } else { ("#ffd21f", 4.0 * stroke) };
        let points: Vec<String> = grain.outline.iter().map(|[x, y]| format!("{x:.1},{y:.1}")).collect();
        let _ = writeln!(
            body,
            "<polygon points=\"{}\" fill=\"none\" stroke=\"{colour}\" stroke-width=\"{:.2}\" stroke-dasharray=\"{dash:.1}\"/>",
            points.join(" "),
            1.5 * stroke
        );
        for ([x, y], r) in &grain.circles {
            let _ = writeln!(
                body,
                "<circle cx=\"{x:.1}\" cy=\"{y:.1}\" r=\"{r:.1}\" fill=\"none\" stroke=\"#ff6a2b\" stroke-width=\"{:.2}\"/>",
                0.7 * stroke
            );
        }
        let _ = writeln!(
            body,
            "<text x=\"{:.1}\" y=\"{:.1}\" font-size=\"{:.1}\" text-anchor=\"middle\" fill=\"#111\" stroke=\"#fff\" stroke-width=\"{:.2}\" \
             paint-order=\"stroke\">{}</text>",
            grain.middle[0],
            grain.middle[1] + 4.0 * stroke,
            12.0 * stroke,
            3.0 * stroke,
            grain.number
        );
    }
    let title = escaped(&format!("Grains found on {}", under.file));
    let [across, down] = under.covers;
    let jpeg = base64(under.jpeg);
    let svg = format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{width}\" height=\"{height}\" viewBox=\"0 0 {width} {height}\" role=\"img\" \
         aria-labelledby=\"title desc\" font-family=\"sans-serif\">\n<title id=\"title\">{title}</title>\n<desc id=\"desc\">{} grains: outlines, \
         numbers, circles of corners and the largest circle within; yellow dashes where the roundness is not told</desc>\n\
         <image width=\"{across}\" height=\"{down}\" preserveAspectRatio=\"none\" href=\"{JPEG_DATA}{jpeg}\"/>\n{body}</svg>\n",
        grains.len()
    );
    Picture { name: "grains.svg", svg }
}

/// Bytes as text (RFC 4648, section 4).
fn base64(bytes: &[u8]) -> String {
    const SIGNS: &[u8; 64] = b"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    let mut text = String::with_capacity(bytes.len().div_ceil(3) * 4);
    for three in bytes.chunks(3) {
        let of = |i: usize| u32::from(three.get(i).copied().unwrap_or(0));
        let bits = of(0) << 16 | of(1) << 8 | of(2);
        for place in 0..4 {
            let sign = char::from(SIGNS[(bits >> (18 - 6 * place) & 63) as usize]);
            text.push(if place <= three.len() { sign } else { '=' });
        }
    }
    text
}

#[cfg(test)]
mod tests {
    use super::base64;

    #[test]
    fn base64_of_the_rfc() {
        // RFC 4648, section 10.
        for (plain, text) in
            [("", ""), ("f", "Zg=="), ("fo", "Zm8="), ("foo", "Zm9v"), ("foob", "Zm9vYg=="), ("foobar", "Zm9vYmFy")]
        {
            assert_eq!(base64(plain.as_bytes()), text);
        }
    }
}
