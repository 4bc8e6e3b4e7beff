//! The result of `gritwise size`.

use super::layout::{Grid, bullets, inset, part, row};
use super::measured::MeasuredTablesPart;
use super::{Percentiles, percentile_key};
use crate::numerics::written::{four, three, trimmed};
use crate::size::fit::{Method, fit_all};
use crate::size::law::LawName;
use crate::size::statistics::{curvature, geometric_sd, grains_per_gram, surface_m2_cm3, uniformity};
use crate::size::{Class, Sieved, SizeRecord};
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
    /// What was taken for what in a table that is not in the form of this program.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub understood: Option<String>,
    /// Percentiles by volume.
    pub percentiles: Percentiles,
    /// How well they are measured; absent where there is no table.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub measurement: Option<MeasuredTablesPart>,
    /// Percentiles that lie in a class with one assumed bound, by their keys.
    pub assumed_percentiles: Vec<String>,
    /// Span (D90 − D10) / D50.
    pub span: f64,
    /// Means.
    pub means: MeansPart,
    /// What the means are made from: `classes` of a table (moments within them, ISO 9276-2) or the `curve`.
    pub means_from: &'static str,
    /// What the maker's own sieves take off; absent where it is not sieved.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub sieved: Option<SievedPart>,
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
    pub classes: Vec<SizeClassPart>,
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

/// What the maker's own sieves take off a powder.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct SievedPart {
    /// What is kept went through this opening, µm.
    pub through_um: Option<f64>,
    /// And stayed on this one, µm.
    pub over_um: Option<f64>,
    /// What stays on the first, % of the powder.
    pub too_coarse_pct: f64,
    /// What falls through the second, %.
    pub too_fine_pct: f64,
    /// What is kept, %.
    pub kept_pct: f64,
    /// D10, D50 and D90 before, µm.
    pub before_d10_um: f64,
    /// See above.
    pub before_d50_um: f64,
    /// See above.
    pub before_d90_um: f64,
}

impl SievedPart {
    pub(super) fn new(sieved: &Sieved) -> Self {
        let [before_d10_um, before_d50_um, before_d90_um] = [0.1, 0.5, 0.9].map(|p| sieved.of.distribution.quantile(p));
        let [too_coarse_pct, too_fine_pct, kept_pct] =
            [sieved.too_coarse, sieved.too_fine, sieved.kept()].map(|share| 100.0 * share);
        let (through_um, over_um) = (sieved.by.through_um, sieved.by.over_um);
        Self {
            through_um,
            over_um,
            too_coarse_pct,
            too_fine_pct,
            kept_pct,
            before_d10_um,
            before_d50_um,
            before_d90_um,
        }
    }

    /// What is lost on each side, what is kept, and the sizes before, each with its label.
    fn facts(&self) -> Vec<(&'static str, Option<String>)> {
        let lost = |opening: Option<f64>, pct: f64, word: &str| {
            opening.map(|um| format!("{} % {word} {} µm", three(pct), trimmed(um, 4)))
        };
        let before = [self.before_d10_um, self.before_d50_um, self.before_d90_um].map(four).join(", ");
        vec![
            ("too coarse, left over", lost(self.through_um, self.too_coarse_pct, "stays on")),
            ("too fine, left over", lost(self.over_um, self.too_fine_pct, "falls through")),
            ("kept", Some(format!("{} %", three(self.kept_pct)))),
            ("D10, D50, D90 before sieving", Some(format!("{before} µm"))),
        ]
    }
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
        let (pct, [from, assumed]) = (three(self.volume_pct), [self.from_um, self.assumed_um].map(four));
        format!(
            "The sizes have no top: {pct} % stayed on the coarsest sieve, {from} µm. What is said of coarse grains is \"at least\", \
             taken as if none were above {assumed} µm. --max-um here, max_um in a scrub file, says where they end."
        )
    }
}

/// Share above a size.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct AbovePart {
    /// Size, µm.
    pub size_um: f64,
    /// Volume share above it, %; null where the size lies in a class with but one bound.
    pub volume_pct: Option<f64>,
    /// The least that it may be, %.
    pub least_pct: f64,
    /// The most.
    pub most_pct: f64,
}

/// A class.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SizeClassPart {
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

impl SizeClassPart {
    fn new(class: Class) -> Self {
        let (volume_pct, density_per_ln) = (100.0 * class.share, class.density_ln());
        Self { lower_um: class.lower_um, upper_um: class.upper_um, volume_pct, density_per_ln, open: class.open }
    }
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
        Self {
            source: source.to_owned(),
            basis: record.basis.clone(),
            understood: record.understood.clone(),
            measurement: None,
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
            sieved: record.sieved.as_ref().map(SievedPart::new),
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
            above: above.iter().map(|x| above_part(record, x.get())).collect(),
            classes: record.classes_or_steps().into_iter().map(SizeClassPart::new).collect(),
            fits: fits(record),
            assumptions: record.assumptions.clone(),
        }
    }

    /// For a terminal.
    pub fn to_text(&self) -> String {
        let is_assumed = |name: &str| self.assumed_percentiles.contains(&percentile_key(name));
        let names: Vec<&str> = self.percentiles.listed().map(|(name, _)| name).collect();
        let marked = |(name, value)| four(value) + if is_assumed(name) { "*" } else { "" };
        let sizes: Vec<String> = self.percentiles.listed().map(marked).collect();
        let note = if self.assumed_percentiles.is_empty() { "" } else { "  * in a class with one assumed bound\n" };
        let no_law = if self.fits.is_empty() && self.means_from == "classes" {
            "\nNo law can be fitted: that takes two points between 0 and 100 %, and a width that a powder can have.\n"
        } else {
            ""
        };
        [
            format!("{}\n  from: {}\n", self.source, self.basis),
            self.understood.iter().map(|said| format!("  read as: {said}\n")).collect(),
            part(
                "Percentiles by volume, µm",
                Grid::new(&"r".repeat(names.len()), &names).rows([sizes]).render() + note,
            ),
            self.open_top.iter().map(|top| inset(top.sentence())).collect(),
            self.measurement.iter().map(MeasuredTablesPart::to_text).collect(),
            format!("\n{}", self.facts()),
            part("Fitted laws (beside the data, not in its place)", self.fit_table()),
            no_law.to_owned(),
            part("Classes by volume", self.class_table()),
            part("Assumed", bullets(&self.assumptions)),
        ]
        .concat()
    }

    fn facts(&self) -> String {
        let um = |v: Option<f64>| v.map_or("not finite".to_owned(), |v| format!("{} µm", four(v)));
        let mark = if self.number_means_assumed { " (hangs on where the pan's grains are taken to start)" } else { "" };
        let surface = self.specific_surface_m2_cm3.map(|s| format!("{} m²/cm³", three(s)));
        let sieved = self.sieved.iter().flat_map(SievedPart::facts);
        let rows = [
            ("span (D90-D10)/D50", Some(three(self.span))),
            ("geometric standard deviation", Some(three(self.geometric_sd))),
            ("Cu = D60/D10, Cc = D30²/(D10 D60)", Some(format!("{}, {}", three(self.cu), three(self.cc)))),
            ("mean by volume D[4,3]", Some(um(self.means.d_4_3_um))),
            ("mean by surface D[3,2]", Some(um(self.means.d_3_2_um))),
            ("mean by number D[1,0]", Some(um(self.means.d_1_0_um) + mark)),
            ("median by number", Some(um(self.number_median_um) + mark)),
            ("surface of the grains as spheres", surface),
            ("the same per gram", self.specific_surface_m2_g.map(|s| format!("{} m²/g", three(s)))),
            ("grains per gram, as spheres", self.grains_per_gram.map(|n| three(n) + mark)),
        ];
        let rows: Vec<(&str, String)> = sieved.chain(rows).filter_map(|(name, value)| Some((name, value?))).collect();
        let width = rows.iter().map(|r| r.0.chars().count()).max().unwrap_or(0);
        let mut out: String = rows.iter().map(|(name, value)| format!("  {name:<width$}  {value}\n")).collect();
        if self.means_from == "classes" {
            out += "  means: moments within the table's classes (ISO 9276-2)\n";
        }
        let share = |a: &AbovePart| {
            let open = || format!("not known: {} to {}", three(a.least_pct), three(a.most_pct));
            a.volume_pct.map_or_else(open, three)
        };
        let above = |a: &AbovePart| format!("  above {} µm: {} % of the volume\n", four(a.size_um), share(a));
        out + &self.above.iter().map(above).collect::<String>()
    }

    fn fit_table(&self) -> String {
        if self.fits.is_empty() {
            return String::new();
        }
        let heads = ["law", "by", "size µm", "exponent or gsd", "R²", "rms error %"];
        let line = |f: &FitPart| {
            let of_law = [f.size_um.or(f.median_um), f.exponent.or(f.gsd)].map(|v| v.unwrap_or(f64::NAN));
            row(f.law.label()).and(f.method.label()).four(of_law).and(format!("{:.4}", f.r2)).three([f.rmse_pct])
        };
        Grid::new("llrrrr", &heads).rows(self.fits.iter().map(line)).render()
    }

    fn class_table(&self) -> String {
        let line = |c: &SizeClassPart| {
            let open = if c.open { "open: one bound assumed" } else { "" };
            let share = format!("{:.2}", c.volume_pct);
            row(four(c.lower_um)).four([c.upper_um]).and(share).three([c.density_per_ln]).and(open)
        };
        let heads = ["from µm", "to µm", "volume %", "per ln x", ""];
        Grid::new("rrrrl", &heads).rows(self.classes.iter().map(line)).render()
    }
}

fn assumed_percentiles(percentiles: &Percentiles, record: &SizeRecord) -> Vec<String> {
    let open = |size: f64| record.classes.iter().any(|c| c.open && c.lower_um < size && size < c.upper_um);
    percentiles.listed().filter(|(_, size)| open(*size)).map(|(name, _)| percentile_key(name)).collect()
}

fn above_part(record: &SizeRecord, size_um: f64) -> AbovePart {
    let (least, most) = record.coarser_than(size_um);
    let volume_pct = (least == most).then_some(100.0 * least);
    AbovePart { size_um, volume_pct, least_pct: 100.0 * least, most_pct: 100.0 * most }
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
