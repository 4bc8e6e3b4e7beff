//! The result of `gritwise size`.

use super::Percentiles;
use super::layout::{Align, TextTable, significant, wrap};
use crate::size::SizeRecord;
use crate::size::fit::{Method, fit_all};
use crate::size::law::LawName;
use crate::size::statistics::{curvature, geometric_sd, grains_per_gram, surface_m2_cm3, uniformity};
use crate::tables::Tables;
use crate::units::{GramsPerCm3, Micrometres};
use serde::Serialize;

/// A described powder. The field names are the keys of `--json`.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SizeReport {
    /// What was described.
    pub source: String,
    /// What the distribution was made from.
    pub basis: String,
    /// Percentiles by volume.
    pub percentiles: Percentiles,
    /// Percentiles that lie in a class with one assumed bound, by their keys.
    pub assumed_percentiles: Vec<String>,
    /// Span (D90 − D10) / D50.
    pub span: f64,
    /// Means.
    pub means: MeansPart,
    /// What the means are made from: `classes` of a table (moments within them, ISO 9276-2) or the `curve`.
    pub means_from: &'static str,
    /// The class above the coarsest sieve, where it holds enough that the sizes have no top.
    pub open_top: Option<OpenTopPart>,
    /// Means weighted by number hang on an assumed bound: the pan holds over 1 %.
    pub number_means_assumed: bool,
    /// 6 / `D[3,2]`, m²/cm³ of grains.
    pub specific_surface_m2_cm3: Option<f64>,
    /// The same per gram, when the density was given.
    pub specific_surface_m2_g: Option<f64>,
    /// Grains per gram, when the density was given.
    pub grains_per_gram: Option<f64>,
    /// Median by number, µm.
    pub number_median_um: Option<f64>,
    /// 10 % and 90 % by number, µm.
    pub number_p10_um: Option<f64>,
    /// See above.
    pub number_p90_um: Option<f64>,
    /// √(D84 / D16), to one standard deviation.
    pub geometric_sd: f64,
    /// D60 / D10.
    pub cu: f64,
    /// D30² / (D10 D60).
    pub cc: f64,
    /// Volume share above sizes that were asked for.
    pub above: Vec<AbovePart>,
    /// Classes of the table, or equal steps of ln x.
    pub classes: Vec<ClassPart>,
    /// Fitted laws.
    pub fits: Vec<FitPart>,
    /// What was assumed.
    pub assumptions: Vec<String>,
}

/// Means `D[p,q]`, µm; absent where one diverges.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct MeansPart {
    /// Mean by number.
    pub d_1_0_um: Option<f64>,
    /// Diameter of average surface.
    pub d_2_0_um: Option<f64>,
    /// Diameter of average volume.
    pub d_3_0_um: Option<f64>,
    /// Mean by length.
    pub d_2_1_um: Option<f64>,
    /// Mean by surface (Sauter).
    pub d_3_2_um: Option<f64>,
    /// Mean by volume.
    pub d_4_3_um: Option<f64>,
}

/// A class without a top.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct OpenTopPart {
    /// Volume share in it, %.
    pub volume_pct: f64,
    /// The coarsest opening, µm.
    pub from_um: f64,
    /// Where it is taken to end, µm.
    pub assumed_um: f64,
}

impl OpenTopPart {
    fn of(record: &SizeRecord, tables: &Tables) -> Option<Self> {
        let top = record.open_top_above(tables.draws.open_top_share())?;
        Some(Self { volume_pct: 100.0 * top.share, from_um: top.from_um, assumed_um: top.assumed_um })
    }

    fn sentence(&self) -> String {
        format!(
            "The sizes have no top: {} % stayed on the coarsest sieve, {} µm. What is said of coarse grains is \"at least\", \
             taken as if none were above {} µm. --max-um here, max_um in a scrub file, says where they end.",
            significant(self.volume_pct, 3),
            significant(self.from_um, 4),
            significant(self.assumed_um, 4)
        )
    }
}

/// Share above a size.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct AbovePart {
    /// Size, µm.
    pub size_um: f64,
    /// Volume share above it, %.
    pub volume_pct: f64,
}

/// A class.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ClassPart {
    /// Lower bound, µm.
    pub lower_um: f64,
    /// Upper bound, µm.
    pub upper_um: f64,
    /// Volume share, %.
    pub volume_pct: f64,
    /// Mean density in the class, per unit of ln x.
    pub density_per_ln: f64,
    /// One bound is assumed.
    pub open: bool,
}

/// A fitted law.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct FitPart {
    /// Law.
    pub law: LawName,
    /// How it was fitted.
    pub method: Method,
    /// Size parameter of Rosin-Rammler or Gates-Gaudin-Schuhmann, µm.
    pub size_um: Option<f64>,
    /// Their exponent.
    pub exponent: Option<f64>,
    /// Median of the log-normal, µm.
    pub median_um: Option<f64>,
    /// Its geometric standard deviation.
    pub gsd: Option<f64>,
    /// 1 − SSE / SST on Q3.
    pub r2: f64,
    /// Root mean square residual on Q3, %.
    pub rmse_pct: f64,
}

impl SizeReport {
    /// Describes a powder. `density` adds the figures per gram, `above` the shares above sizes.
    pub fn new(
        source: &str,
        record: &SizeRecord,
        density: Option<GramsPerCm3>,
        above: &[Micrometres],
        tables: &Tables,
    ) -> Self {
        let d = &record.distribution;
        let percentiles = Percentiles::of(|p| d.quantile(p));
        let moments = record.moments();
        let surface = surface_m2_cm3(&moments);
        let [number_p10_um, number_median_um, number_p90_um] = d.number_quantiles([0.1, 0.5, 0.9]);
        let classes = record.classes_or_steps().into_iter().map(|c| ClassPart {
            lower_um: c.lower_um,
            upper_um: c.upper_um,
            volume_pct: 100.0 * c.share,
            density_per_ln: c.density_ln(),
            open: c.open,
        });
        Self {
            source: source.to_owned(),
            basis: record.basis.clone(),
            assumed_percentiles: assumed_percentiles(&percentiles, record),
            span: percentiles.span,
            percentiles,
            means: MeansPart {
                d_1_0_um: moments.mean_um(1, 0),
                d_2_0_um: moments.mean_um(2, 0),
                d_3_0_um: moments.mean_um(3, 0),
                d_2_1_um: moments.mean_um(2, 1),
                d_3_2_um: moments.mean_um(3, 2),
                d_4_3_um: moments.mean_um(4, 3),
            },
            means_from: if record.classes.is_empty() { "curve" } else { "classes" },
            open_top: OpenTopPart::of(record, tables),
            number_means_assumed: record.open_below > 0.01,
            specific_surface_m2_cm3: surface,
            specific_surface_m2_g: surface.zip(density).map(|(s, rho)| s / rho.get()),
            grains_per_gram: density.and_then(|rho| grains_per_gram(&moments, rho.get())),
            number_median_um,
            number_p10_um,
            number_p90_um,
            geometric_sd: geometric_sd(d),
            cu: uniformity(d),
            cc: curvature(d),
            above: above.iter().map(|x| above_part(d.undersize(x.get()), x.get())).collect(),
            classes: classes.collect(),
            fits: fits(record),
            assumptions: record.assumptions.clone(),
        }
    }

    /// For a terminal.
    pub fn to_text(&self) -> String {
        let mut out = format!("{}\n  from: {}\n\n", self.source, self.basis);
        let mut table = TextTable::new(&self.percentiles.listed().map(|(name, _)| (name, Align::Right)));
        let marked = |(name, value): (&str, f64)| {
            let assumed = self.assumed_percentiles.iter().any(|a| a == &percentile_key(name));
            significant(value, 4) + if assumed { "*" } else { "" }
        };
        table.row(self.percentiles.listed().map(marked).to_vec());
        out += &format!("Percentiles by volume, µm\n{}", table.render());
        if !self.assumed_percentiles.is_empty() {
            out += "  * in a class with one assumed bound\n";
        }
        if let Some(top) = &self.open_top {
            out += &wrap(&top.sentence(), 100, "  ", "  ");
        }
        out.push('\n');
        out += &self.facts();
        if !self.fits.is_empty() {
            out += &format!("\nFitted laws (beside the data, not in its place)\n{}", self.fit_table());
        } else if self.means_from == "classes" {
            out += "\nNo law can be fitted: that takes two points between 0 and 100 %, and a width that a powder can have.\n";
        }
        out += &format!("\nClasses by volume\n{}", self.class_table());
        if !self.assumptions.is_empty() {
            out += "\nAssumed\n";
            for line in &self.assumptions {
                out += &wrap(line, 100, "  - ", "    ");
            }
        }
        out
    }

    fn facts(&self) -> String {
        let um = |v: Option<f64>| v.map_or("not finite".to_owned(), |v| format!("{} µm", significant(v, 4)));
        let mark = if self.number_means_assumed { " (hangs on where the pan's grains are taken to start)" } else { "" };
        let mut rows = vec![
            ("span (D90-D10)/D50", significant(self.span, 3)),
            ("geometric standard deviation", significant(self.geometric_sd, 3)),
            ("Cu = D60/D10, Cc = D30²/(D10 D60)", format!("{}, {}", significant(self.cu, 3), significant(self.cc, 3))),
            ("mean by volume D[4,3]", um(self.means.d_4_3_um)),
            ("mean by surface D[3,2]", um(self.means.d_3_2_um)),
            ("mean by number D[1,0]", um(self.means.d_1_0_um) + mark),
            ("median by number", um(self.number_median_um) + mark),
        ];
        if let Some(s) = self.specific_surface_m2_cm3 {
            rows.push(("surface of the grains as spheres", format!("{} m²/cm³", significant(s, 3))));
        }
        if let Some(s) = self.specific_surface_m2_g {
            rows.push(("the same per gram", format!("{} m²/g", significant(s, 3))));
        }
        if let Some(n) = self.grains_per_gram {
            rows.push(("grains per gram, as spheres", significant(n, 3) + mark));
        }
        let width = rows.iter().map(|r| r.0.chars().count()).max().unwrap_or(0);
        let mut out: String = rows.iter().map(|(name, value)| format!("  {name:<width$}  {value}\n")).collect();
        if self.means_from == "classes" {
            out += "  means: moments within the table's classes (ISO 9276-2)\n";
        }
        for a in &self.above {
            out += &format!(
                "  above {} µm: {} % of the volume\n",
                significant(a.size_um, 4),
                significant(a.volume_pct, 3)
            );
        }
        out
    }

    fn fit_table(&self) -> String {
        let mut table = TextTable::new(&[
            ("law", Align::Left),
            ("by", Align::Left),
            ("size µm", Align::Right),
            ("exponent or gsd", Align::Right),
            ("R²", Align::Right),
            ("rms error %", Align::Right),
        ]);
        for f in &self.fits {
            table.row(vec![
                f.law.label().to_owned(),
                f.method.label().to_owned(),
                significant(f.size_um.or(f.median_um).unwrap_or(f64::NAN), 4),
                significant(f.exponent.or(f.gsd).unwrap_or(f64::NAN), 4),
                format!("{:.4}", f.r2),
                significant(f.rmse_pct, 3),
            ]);
        }
        table.render()
    }

    fn class_table(&self) -> String {
        let mut table = TextTable::new(&[
            ("from µm", Align::Right),
            ("to µm", Align::Right),
            ("volume %", Align::Right),
            ("per ln x", Align::Right),
            ("", Align::Left),
        ]);
        for c in &self.classes {
            table.row(vec![
                significant(c.lower_um, 4),
                significant(c.upper_um, 4),
                format!("{:.2}", c.volume_pct),
                significant(c.density_per_ln, 3),
                if c.open { "open: one bound assumed".to_owned() } else { String::new() },
            ]);
        }
        table.render()
    }
}

fn assumed_percentiles(percentiles: &Percentiles, record: &SizeRecord) -> Vec<String> {
    let open = |size: f64| record.classes.iter().any(|c| c.open && c.lower_um < size && size < c.upper_um);
    percentiles.listed().into_iter().filter(|(_, size)| open(*size)).map(|(name, _)| percentile_key(name)).collect()
}

/// The key of a percentile: `D10` is `d10_um`.
fn percentile_key(name: &str) -> String {
    format!("{}_um", name.to_lowercase())
}

fn above_part(undersize: f64, size_um: f64) -> AbovePart {
    AbovePart { size_um, volume_pct: 100.0 * (1.0 - undersize) }
}

fn fits(record: &SizeRecord) -> Vec<FitPart> {
    fit_all(&record.points)
        .into_iter()
        .map(|f| {
            let log_normal = f.law.name() == LawName::LogNormal;
            FitPart {
                law: f.law.name(),
                method: f.method,
                size_um: (!log_normal).then_some(f.law.size_um()),
                exponent: f.law.exponent(),
                median_um: log_normal.then_some(f.law.size_um()),
                gsd: f.law.gsd(),
                r2: f.r2,
                rmse_pct: f.rmse_pct,
            }
        })
        .collect()
}
