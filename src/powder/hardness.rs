//! Mohs numbers to indentation hardness. No measured property rises evenly with the Mohs number (Broz, Cook and Whitney
//! 2006), so this is a table with straight lines of ln H between its minerals, and a fallback: a measured hardness is
//! better, and for plants and waxes a Mohs number says next to nothing.

use crate::tables::MohsRow;
use crate::units::Mohs;

/// Hardness in GPa at a Mohs number, by the scale in force; beyond its ends, that of the nearest mineral.
pub fn from_mohs(scale: &[MohsRow], mohs: Mohs) -> f64 {
    let m = mohs.get();
    let last = scale.len() - 1;
    let i = scale.partition_point(|row| row.mohs <= m).clamp(1, last) - 1;
    let (low, high) = (&scale[i], &scale[i + 1]);
    let t = ((m - low.mohs) / (high.mohs - low.mohs)).clamp(0.0, 1.0);
    (low.hardness_gpa.ln() * (1.0 - t) + high.hardness_gpa.ln() * t).exp()
}
