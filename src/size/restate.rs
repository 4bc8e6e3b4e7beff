//! A known distribution said in another form, as near as that form can come to it: what a maker starts from who changes
//! how a size is stated.

use super::SizeDistribution;
use super::fit::{Method, fit_all};
use super::law::LawName;
use super::spec::SizeSpec;
use super::standards::{GritSizes, MeshSeries, Sieve, Standards};
use super::statistics::geometric_sd;
use crate::units::three_digits;

/// A form without a table.
#[derive(Debug, Clone, Copy, PartialEq, Eq, serde::Deserialize, serde::Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum SaidAs {
    /// `d50_um` and `gsd`.
    LogNormal,
    /// `d10_um`, `d50_um`, `d90_um`.
    Percentiles,
    /// `rr_size_um` and `rr_exponent`.
    RosinRammler,
    /// `ggs_size_um` and `ggs_exponent`.
    GatesGaudinSchuhmann,
    /// Through one mesh of the US sieves, on another.
    Mesh,
    /// Between two sizes.
    Range,
    /// A FEPA grit.
    Grit,
}

/// Points of the curve that a law is fitted to.
const FITTED: [f64; 9] = [0.05, 0.1, 0.16, 0.25, 0.5, 0.75, 0.84, 0.9, 0.95];

impl SizeSpec {
    /// The distribution in another form, with numbers of three digits. `None` where that form cannot say it at all.
    pub fn nearest(form: SaidAs, d: &SizeDistribution, standards: &Standards) -> Option<Self> {
        let size = |p: f64| three_digits(d.quantile(p));
        match form {
            SaidAs::LogNormal => {
                let (size_um, width) = (size(0.5), three_digits(geometric_sd(d)).max(1.01));
                Some(Self::Law { law: LawName::LogNormal, size_um, width })
            }
            SaidAs::Percentiles => {
                let points = [(10.0, size(0.1)), (50.0, size(0.5)), (90.0, size(0.9))];
                points.windows(2).all(|w| w[0].1 < w[1].1).then(|| Self::Percentiles(points.to_vec()))
            }
            SaidAs::RosinRammler => fitted(d, LawName::RosinRammler),
            SaidAs::GatesGaudinSchuhmann => fitted(d, LawName::GatesGaudinSchuhmann),
            SaidAs::Mesh => meshes(d, &standards.astm),
            SaidAs::Range => {
                let (lower_um, upper_um) = (size(0.05), size(0.95));
                (lower_um < upper_um).then_some(Self::Range { lower_um, upper_um })
            }
            SaidAs::Grit => {
                let far = |median: f64| (median / d.quantile(0.5)).ln().abs();
                let medians = standards.grits.iter().filter_map(|g| Some((g, far(median(&g.sizes)?))));
                medians.min_by(|a, b| a.1.total_cmp(&b.1)).map(|(g, _)| Self::Grit(g.name.clone()))
            }
        }
    }

    /// The keys and values with which a scrub file says it.
    pub fn written(&self) -> Vec<(String, Written)> {
        match self {
            Self::Law { law, size_um, width } => {
                let values = [*size_um, *width].map(Written::Number);
                law.keys().map(str::to_owned).into_iter().zip(values).collect()
            }
            Self::Percentiles(points) => {
                points.iter().map(|(p, um)| (format!("d{p}_um"), Written::Number(*um))).collect()
            }
            Self::Mesh { text, series } => {
                let tyler =
                    (*series == MeshSeries::Tyler).then(|| ("mesh_series".to_owned(), Written::Text("tyler".into())));
                [("mesh".to_owned(), Written::Text(text.clone()))].into_iter().chain(tyler).collect()
            }
            Self::Range { lower_um, upper_um } => vec![("range_um".to_owned(), Written::Pair([*lower_um, *upper_um]))],
            Self::Grit(name) => vec![("grit".to_owned(), Written::Text(name.clone()))],
            Self::Figure(figure) => vec![("grade".to_owned(), Written::Text(figure.text.clone()))],
        }
    }
}

/// A value of a size in a scrub file.
#[derive(Debug, Clone, PartialEq, serde::Serialize)]
#[serde(untagged)]
pub enum Written {
    /// A number.
    Number(f64),
    /// A text.
    Text(String),
    /// Two numbers.
    Pair([f64; 2]),
}

fn fitted(d: &SizeDistribution, law: LawName) -> Option<SizeSpec> {
    let points = FITTED.map(|p| (d.quantile(p), p));
    let fits = fit_all(&points).into_iter().filter(|f| f.law.name() == law && f.method == Method::NonLinear);
    let fit = fits.map(|f| f.law).next()?;
    Some(SizeSpec::Law { law, size_um: three_digits(fit.size_um()), width: three_digits(fit.exponent()?) })
}

/// The finest mesh that lets nearly all through and the coarsest that holds nearly all.
fn meshes(d: &SizeDistribution, sieves: &[Sieve]) -> Option<SizeSpec> {
    let nearest = |um: f64| {
        let far = |s: &Sieve| (s.opening_um / um).ln().abs();
        (0..sieves.len()).min_by(|a, b| far(&sieves[*a]).total_cmp(&far(&sieves[*b])))
    };
    // Sieves stand coarse to fine.
    let (through, on) = (nearest(d.quantile(0.95))?, nearest(d.quantile(0.05))?);
    let (through, on) = if through < on { (through, on) } else { (through.saturating_sub(1), on.max(1)) };
    let (through, on) = (sieves.get(through)?, sieves.get(on)?);
    (through.opening_um > on.opening_um)
        .then(|| SizeSpec::Mesh { text: format!("-{}+{}", through.mesh, on.mesh), series: MeshSeries::AstmE11 })
}

fn median(sizes: &GritSizes) -> Option<f64> {
    match sizes {
        GritSizes::Sieved { median_um, .. } | GritSizes::Median { median_um, .. } => Some(*median_um),
        GritSizes::Percentiles(points) => points.iter().find(|p| p.0 == 50.0).map(|p| p.1),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::size::law::Law;
    use crate::size::spec::Tails;
    use crate::tables::Tables;
    use crate::units::Micrometres;

    #[test]
    fn every_form_comes_near_the_median() {
        let tables = Tables::built_in().unwrap();
        let tails = Tails { undersize_pct: 5.0, oversize_pct: 5.0, stated: [false; 2] };
        let d: SizeDistribution = Law::log_normal(Micrometres::new(120.0).unwrap(), 1.5).unwrap().into();
        let forms = [
            (SaidAs::LogNormal, 0.01),
            (SaidAs::Percentiles, 0.01),
            (SaidAs::RosinRammler, 0.06),
            (SaidAs::GatesGaudinSchuhmann, 0.15),
            (SaidAs::Mesh, 0.1),
            (SaidAs::Range, 0.02),
            (SaidAs::Grit, 0.15),
        ];
        for (form, near) in forms {
            let spec = SizeSpec::nearest(form, &d, &tables.standards).unwrap();
            let median = spec.resolve(&tables.standards, tails).unwrap().distribution.quantile(0.5);
            assert!((median / 120.0 - 1.0).abs() < near, "{form:?}: {median}");
        }
    }
}
