//! How densely the grains of a blend can lie, and how thick they make the scrub.
//!
//! Linear packing model of A. B. Yu, R. P. Zou and N. Standish, Ind. Eng. Chem. Res. 35, 3730-3741 (1996), in the line of
//! their linear-mixture model (30, 1372-1385, 1991) and of Stovall, de Larrard and Buil (1986). With V the volume that a
//! unit of solid takes, the mixture needs that of its controlling size i,
//!
//! ```text
//! V = max over i of  V_i + Σ coarser j [V_j − (V_j − 1) g(r) − V_i] X_j + Σ finer j [V_j (1 − f(r)) − V_i] X_j
//! f(r) = (1 − r)^3.3 + 2.8 r (1 − r)^2.7        g(r) = (1 − r)^2 + 0.4 r (1 − r)^3.7
//! ```
//!
//! with r the smaller over the larger diameter and X shares of the solid's volume. Its limits are those of Furnas (1931):
//! for r → 0 fines fill the voids whole, for r = 1 nothing changes.

use crate::blend::{Basis, Blend, Component};
use crate::tables::{FormulaConstants, Known};

/// Grains of one size.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PackedClass {
    /// Diameter, in any unit.
    pub size: f64,
    /// Share of the solid's volume; they need not sum to 1.
    pub share: f64,
    /// Packing density of this size alone, 0..1.
    pub alone: f64,
}

/// Sizes into which a blend is cut: finer cuts change the density by less than 1e-3 (tested).
const CLASSES: usize = 60;

/// Densest random packing of a mixture, 0..1.
pub fn densest(classes: &[PackedClass]) -> f64 {
    let total: f64 = classes.iter().map(|c| c.share).sum();
    let volume_of = |i: &PackedClass| {
        let others = classes.iter().map(|j| {
            let v_j = 1.0 / j.alone;
            let needs = if j.size > i.size {
                v_j - (v_j - 1.0) * wall(i.size / j.size)
            } else if j.size < i.size {
                v_j * (1.0 - fill(j.size / i.size))
            } else {
                v_j
            };
            needs * j.share / total
        });
        others.sum::<f64>()
    };
    1.0 / classes.iter().map(volume_of).fold(1.0, f64::max)
}

/// What fines fill of the voids of a coarser size.
fn fill(r: f64) -> f64 {
    (1.0 - r).powf(3.3) + 2.8 * r * (1.0 - r).powf(2.7)
}

/// What coarse grains take the place of in a bed of fines.
fn wall(r: f64) -> f64 {
    (1.0 - r).powi(2) + 0.4 * r * (1.0 - r).powf(3.7)
}

/// How round grains are on the scale from angular (0) to sphere (1) that packing and flow go by.
pub fn sphericity(roundness: f64, constants: &FormulaConstants<Known>) -> f64 {
    let (low, high) = (constants.roundness_angular.value, constants.roundness_sphere.value);
    ((roundness - low) / (high - low)).clamp(0.0, 1.0)
}

fn between(angular: f64, sphere: f64, sphericity: f64) -> f64 {
    angular + (sphere - angular) * sphericity
}

/// Densest random packing of a blend, 0..1, from its sizes by volume and the roundness of its powders.
pub fn of_blend(blend: &Blend, constants: &FormulaConstants<Known>) -> f64 {
    densest(&cut(blend, constants, CLASSES))
}

/// The grains of a blend in so many classes of size, each powder's apart.
fn cut(blend: &Blend, constants: &FormulaConstants<Known>, classes: usize) -> Vec<PackedClass> {
    let end = |p: f64| blend.quantile(Basis::Volume, p).ln();
    let (low, high) = (end(1e-4), end(1.0 - 1e-4));
    let width = ((high - low) / classes as f64).max(1e-9);
    let mut cut = Vec::with_capacity(classes * blend.components().len());
    for k in 0..classes {
        let edge = low + width * k as f64;
        let size = (edge + 0.5 * width).exp();
        for c in blend.components() {
            let d = &c.powder.size.distribution;
            let share = c.volume * (d.undersize((edge + width).exp()) - d.undersize(edge.exp()));
            let sphericity = sphericity(c.powder.roundness.get(), constants);
            let alone = between(constants.packing_angular.value, constants.packing_sphere.value, sphericity);
            cut.push(PackedClass { size, share, alone });
        }
    }
    cut.retain(|c| c.share > 0.0);
    cut
}

/// Intrinsic viscosity of a blend, the mean of its powders by volume.
pub fn intrinsic_viscosity(blend: &Blend, constants: &FormulaConstants<Known>) -> f64 {
    let of = |c: &Component| {
        let sphericity = sphericity(c.powder.roundness.get(), constants);
        between(constants.intrinsic_angular.value, constants.intrinsic_sphere.value, sphericity)
    };
    blend.components().iter().map(|c| c.volume * of(c)).sum()
}

/// Viscosity of a suspension over that of its base (I. M. Krieger and T. J. Dougherty, Trans. Soc. Rheol. 3, 1959):
/// (1 − φ/φm)^(−\[η\] φm); infinite from φm on.
pub fn relative_viscosity(solids: f64, densest: f64, intrinsic: f64) -> f64 {
    if solids >= densest {
        return f64::INFINITY;
    }
    (1.0 - solids / densest).powf(-intrinsic * densest)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::powder::{GrainProperties, Powder};
    use crate::size::SizeRecord;
    use crate::size::law::Law;
    use crate::tables::Tables;
    use crate::units::{Micrometres, Parts};

    #[test]
    fn finer_cuts_change_little() {
        let tables = Tables::built_in().unwrap();
        let powder = |key: &str, d50: f64, gsd: f64| {
            let size = Law::log_normal(Micrometres::new(d50).unwrap(), gsd).unwrap();
            let record = SizeRecord::from_distribution(size.into(), "test");
            let material = tables.material(key).unwrap();
            let given = GrainProperties::default();
            (Powder::new(key.into(), Some(material), &given, record, &tables).unwrap(), Parts::new(1.0).unwrap())
        };
        for powders in [
            vec![powder("pumice", 100.0, 1.2)],
            vec![powder("pumice", 45.0, 2.2)],
            vec![powder("rice-bran", 60.0, 1.6), powder("jojoba-wax", 500.0, 1.2)],
        ] {
            let blend = Blend::new(powders).unwrap();
            let constants = &tables.formula.constants;
            let (coarse, fine) = (of_blend(&blend, constants), densest(&cut(&blend, constants, 8 * CLASSES)));
            assert!((coarse - fine).abs() < 1e-3, "{coarse} {fine}");
        }
        // Derived: the classes of a log-normal hold all of it, and ln of their sizes has its mean and standard deviation.
        let blend = Blend::new(vec![powder("pumice", 45.0, 2.2)]).unwrap();
        let classes = cut(&blend, &tables.formula.constants, CLASSES);
        let moment = |of: &dyn Fn(f64) -> f64| classes.iter().map(|c| c.share * of(c.size.ln())).sum::<f64>();
        let (all, mean) = (moment(&|_| 1.0), moment(&|x| x));
        let sd = moment(&|x| (x - mean).powi(2)).sqrt();
        for (own, wanted) in [(all, 1.0), (mean, 45.0_f64.ln()), (sd, 2.2_f64.ln())] {
            assert!((own - wanted).abs() < 5e-3, "{own} {wanted}");
        }
    }
}
