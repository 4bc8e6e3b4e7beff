//! How a size is stated short of a table: parameters of a law, percentiles, a mesh or micron range, a grit; as keys and
//! numbers, or as one quoted grade such as `mesh -60+100`.

pub use super::figure::Tails;
use super::figure::{Figure, FigureAt, Finer};
use super::law::{Law, LawName};
use super::standards::{Grit, GritSizes, Making, MeshSeries, Standards};
use super::{SizeDistribution, SizeError, SizeForm, SizeRecord};
use crate::numerics::normal;
use crate::source::did_you_mean;
use crate::units::{LARGEST_UM, Micrometres, plain, three_digits};

/// A size stated without a table.
#[derive(Debug, Clone, PartialEq)]
pub enum SizeSpec {
    /// A law: `d50_um` and `gsd`, `rr_size_um` and `rr_exponent`, `ggs_size_um` and `ggs_exponent`.
    Law {
        /// Which.
        law: LawName,
        /// Median or size parameter, µm.
        size_um: f64,
        /// Geometric standard deviation or exponent.
        width: f64,
    },
    /// Two or more of `d1_um` … `d99_um`: percent finer and size in µm.
    Percentiles(Vec<(f64, f64)>),
    /// Through the first mesh, on the second.
    Mesh {
        /// As written, such as `-60+100`.
        text: String,
        /// Which mesh numbers.
        series: MeshSeries,
    },
    /// Between two sizes, µm.
    Range {
        /// Lower bound, µm.
        lower_um: f64,
        /// Upper bound, µm.
        upper_um: f64,
    },
    /// A FEPA F or P grit.
    Grit(String),
    /// One figure, all that is known.
    Figure(Figure),
}

/// No powder has a finer median, µm.
const SMALLEST_MEDIAN_UM: f64 = 1e-3;
const NARROWER: &str = "no powder is as wide as that: check sizes, percentiles and exponent";

/// The keys with which a law is stated.
pub const LAW_KEYS: [&str; 6] = ["d50_um", "gsd", "rr_size_um", "rr_exponent", "ggs_size_um", "ggs_exponent"];

/// The percent of a percentile key such as `d10_um`; the `_um` may be left out in a quoted grade. `d32` and `d43` are not among them: they
/// are how people write the means `D[3,2]` and `D[4,3]`.
pub fn percentile_of_key(key: &str) -> Option<f64> {
    let digits = key.strip_prefix('d')?;
    let digits = digits.strip_suffix("_um").unwrap_or(digits);
    let percent: u8 = digits.parse().ok()?;
    ((1..=99).contains(&percent) && ![32, 43].contains(&percent)).then_some(f64::from(percent))
}

impl SizeSpec {
    /// From number keys: exactly one law, or two or more percentiles.
    ///
    /// # Errors
    /// [`SizeError::Grade`] when keys are missing, unknown, or belong to two kinds.
    pub fn from_numbers(pairs: &[(String, f64)]) -> Result<Self, SizeError> {
        let get = |key: &str| pairs.iter().find(|p| p.0 == key || format!("{}_um", p.0) == key).map(|p| p.1);
        let both = |a: &str, b: &str| match (get(a), get(b)) {
            (Some(x), Some(y)) if pairs.len() == 2 => Ok(Some((x, y))),
            (Some(_), Some(_)) => {
                Err(SizeError::Grade(format!("{a} with {b} is a whole size by itself; give exactly one kind of size")))
            }
            (Some(_), None) if a != "d50_um" => Err(SizeError::Grade(format!("{a} needs {b} beside it"))),
            (None, Some(_)) => Err(SizeError::Grade(format!("{b} needs {a} beside it"))),
            _ => Ok(None),
        };
        for law in LawName::ALL {
            let [size, width] = law.keys();
            if let Some((size_um, width)) = both(size, width)? {
                return Ok(Self::Law { law, size_um, width });
            }
        }
        let percentiles = pairs.iter().map(|(key, value)| match percentile_of_key(key) {
            Some(p) => Ok((p, *value)),
            None => {
                let known = LAW_KEYS.into_iter().chain(["d5_um", "d10_um", "d90_um", "d95_um"]);
                Err(SizeError::Grade(format!("unknown size key \"{key}\"; {}", did_you_mean(key, known))))
            }
        });
        let mut percentiles: Vec<(f64, f64)> = percentiles.collect::<Result<_, _>>()?;
        percentiles.sort_by(|a, b| a.0.total_cmp(&b.0));
        if let Some(twice) = percentiles.windows(2).find(|w| w[0].0 == w[1].0) {
            return Err(SizeError::Percentiles(format!("d{} stands twice; give each percentile once", twice[0].0)));
        }
        if let [(percent, um)] = percentiles[..] {
            let at = FigureAt::Um(um);
            let text = format!("D{percent} {um} µm");
            return Ok(Self::Figure(Figure { text, at, finer: Finer::Percent(percent), give_um: None, made: None }));
        }
        Ok(Self::Percentiles(percentiles))
    }

    /// From sieve numbers: two (`-60+100`, `60/100`), or one that the powder went through (`-100`, `60`) or stayed on (`+200`), a figure
    /// alone.
    pub fn mesh(text: String, series: MeshSeries) -> Self {
        let written = text.trim();
        let number = written.trim_start_matches(['-', '+']).trim();
        let whole = ["1/2", "1/4"].iter().find_map(|f| number.strip_suffix(f)).unwrap_or(number);
        if whole.contains(['+', '-', '/']) {
            return Self::Mesh { text, series };
        }
        let finer = if written.starts_with('+') { Finer::HardlyAny } else { Finer::NearlyAll };
        let at = FigureAt::Mesh(number.to_owned(), series);
        Self::Figure(Figure { text: format!("mesh {written}"), at, finer, give_um: None, made: None })
    }

    /// Keys and numbers in lower case, each size with its unit or in µm, where one key is of a law: `d50=60 gsd=1.6`, `d50 0.06 mm, gsd: 1.6`.
    pub(super) fn parse_law(text: &str) -> Option<Result<Self, SizeError>> {
        let words: Vec<&str> = text.split([' ', ',', ';', ':', '=']).filter(|w| !w.is_empty()).collect();
        let names_law = LAW_KEYS.iter().any(|key| !key.ends_with("50_um") && words.contains(key));
        names_law.then(|| Self::from_words(&words))
    }

    fn from_words(words: &[&str]) -> Result<Self, SizeError> {
        let mut pairs: Vec<(String, f64)> = Vec::new();
        let mut words = words.iter().peekable();
        while let Some(&key) = words.next() {
            let value = words.next().and_then(|value| {
                let (number, is_mm) = match value.strip_suffix("mm") {
                    Some(number) => (number, true),
                    None => (value.strip_suffix("um").unwrap_or(value), false),
                };
                let number = number.parse::<f64>().ok().filter(|v| v.is_finite())?;
                let unit = words.next_if(|w| ["um", "mm"].contains(w));
                Some(if is_mm || unit == Some(&"mm") { 1000.0 * number } else { number })
            });
            match value {
                Some(value) => pairs.push((key.to_owned(), value)),
                None => return Err(SizeError::Grade(format!("\"{key}\" is without its number; write it like d50=45"))),
            }
        }
        Self::from_numbers(&pairs)
    }

    /// The same of a powder that was made so: goes with one figure only, which leaves open how wide it is.
    ///
    /// # Errors
    /// [`SizeError::Range`] where the size says that itself.
    pub fn made(self, made: Making) -> Result<Self, SizeError> {
        match self {
            Self::Figure(figure) => Ok(Self::Figure(Figure { made: Some(made), ..figure })),
            _ => Err(SizeError::Range(
                "made says how wide a powder is of which one figure is known; this size says that itself, so leave it out".into(),
            )),
        }
    }

    /// The distribution meant. `tails` are those of a range or a bound.
    ///
    /// # Errors
    /// Any [`SizeError`] but a table's; tails that were stated of what has none. What throws its median below a nanometre or its D99 beyond a metre is no powder.
    pub fn resolve(&self, standards: &Standards, tails: Tails) -> Result<SizeRecord, SizeError> {
        let record = self.record(standards, tails)?;
        let [median, d99] = [0.5, 0.99].map(|p| record.distribution.quantile(p));
        let said = |what: &str, size: f64, beyond: &str| {
            let at = if size.is_finite() { format!(" at {} µm,", plain(three_digits(size))) } else { String::new() };
            SizeError::Range(format!("{} puts {what}{at} {beyond}; {NARROWER}", record.basis))
        };
        if median.is_nan() || median < SMALLEST_MEDIAN_UM {
            return Err(said("the median", median, "below a nanometre"));
        }
        if d99.is_nan() || d99 > LARGEST_UM {
            return Err(said("D99", d99, "beyond a metre"));
        }
        Ok(record)
    }

    fn record(&self, standards: &Standards, tails: Tails) -> Result<SizeRecord, SizeError> {
        let has_tails = matches!(self, Self::Mesh { .. } | Self::Range { .. } | Self::Figure(_));
        if let Some(name) = tails.stated_names().next().filter(|_| !has_tails) {
            return Err(SizeError::Range(format!("{name} goes with a bound or a range in mesh or microns only")));
        }
        match self {
            Self::Law { law, size_um, width } => {
                let stated = Law::new(*law, Micrometres::new(*size_um)?, *width)?;
                let basis = match law {
                    LawName::LogNormal => format!("{}, D50 {size_um} µm, gsd {width}", law.label()),
                    _ => format!("{}, size {size_um} µm, exponent {width}", law.label()),
                };
                Ok(SizeRecord::from_distribution(stated.into(), basis))
            }
            Self::Percentiles(points) => percentile_record(points, "percentiles"),
            Self::Mesh { text, series } => {
                let (lower, upper) = mesh_bounds(text, *series, standards)?;
                let word = if *series == MeshSeries::Tyler { "Tyler mesh" } else { "mesh" };
                range_record(lower, upper, tails, format!("{word} {text} ({lower}-{upper} µm)"))
            }
            Self::Range { lower_um, upper_um } => {
                range_record(*lower_um, *upper_um, tails, format!("{lower_um}-{upper_um} µm"))
            }
            Self::Grit(name) => Ok(SizeRecord { form: SizeForm::Grit, ..standards.grit(name)?.record()? }),
            Self::Figure(figure) => figure.record(standards, tails),
        }
    }
}

fn percentile_record(points: &[(f64, f64)], word: &str) -> Result<SizeRecord, SizeError> {
    let typed: Result<Vec<_>, SizeError> = points.iter().map(|&(p, x)| Ok((p, Micrometres::new(x)?))).collect();
    let distribution = SizeDistribution::percentiles(&typed?)?;
    let listed: Vec<String> = points.iter().map(|(p, x)| format!("D{p} {x}")).collect();
    let mut record = SizeRecord::from_distribution(distribution, format!("{word}, {} µm", listed.join(", ")));
    record.points = points.iter().map(|&(p, x)| (x, p / 100.0)).collect();
    record.assumptions.push("beyond the outermost percentiles the curve goes on as a log-normal".into());
    Ok(record)
}

/// Bounds in µm, fine then coarse, of a mesh range: `-60+100` or `60/100`, through the first and on the second.
fn mesh_bounds(text: &str, series: MeshSeries, standards: &Standards) -> Result<(f64, f64), SizeError> {
    let written = text.trim();
    let parts = match written.strip_prefix('-') {
        Some(rest) => rest.split_once('+'),
        None => written.split_once('/').or_else(|| written.split_once('-')),
    };
    let Some((through, on)) = parts else {
        return Err(SizeError::Range(format!(
            "mesh \"{written}\" is neither one sieve (\"-100\") nor two (\"-60+100\": through 60, on 100)"
        )));
    };
    let upper = standards.opening_um(series, through)?;
    let lower = standards.opening_um(series, on)?;
    if lower >= upper {
        return Err(SizeError::Range(format!(
            "mesh \"{written}\" is the wrong way round: {through} mesh opens {upper} µm, {on} mesh {lower} µm; the first \
             must be the coarser sieve (the smaller number)"
        )));
    }
    Ok((lower, upper))
}

/// The log-normal whose stated tails fall on the two bounds.
fn range_record(lower_um: f64, upper_um: f64, tails: Tails, basis: String) -> Result<SizeRecord, SizeError> {
    let (lower, upper) = (Micrometres::new(lower_um)?, Micrometres::new(upper_um)?);
    if lower_um >= upper_um {
        return Err(SizeError::Range(format!("the range {lower_um} to {upper_um} µm must rise")));
    }
    for (name, pct) in [("undersize_pct", tails.undersize_pct), ("oversize_pct", tails.oversize_pct)] {
        if !(0.1..=40.0).contains(&pct) {
            return Err(SizeError::Range(format!("{name} must be between 0.1 and 40 %, not {pct}")));
        }
    }
    let (z_lower, z_upper) =
        (normal::quantile(tails.undersize_pct / 100.0), normal::quantile(1.0 - tails.oversize_pct / 100.0));
    let sigma = (upper.get() / lower.get()).ln() / (z_upper - z_lower);
    let median = (lower.get().ln() - z_lower * sigma).exp();
    let gsd = sigma.exp();
    let law = Law::log_normal(Micrometres::new(median)?, gsd).map_err(|_| {
        let gsd = plain(format!("{gsd:.6}").parse().unwrap_or(gsd));
        SizeError::Range(format!(
            "with {} % below {lower_um} µm and {} % above {upper_um} µm the log-normal would have a gsd of {gsd}; a powder's \
             lies above 1 and at most at 20: check the bounds, or state smaller tails",
            tails.undersize_pct, tails.oversize_pct
        ))
    })?;
    let mut record = SizeRecord::from_distribution(law.into(), basis);
    let Tails { undersize_pct, oversize_pct, stated } = tails;
    record.form = SizeForm::Range { undersize_pct, oversize_pct, stated };
    let [finer, coarser] = stated.map(Tails::taken);
    let finer = if finer == coarser { String::new() } else { format!(" is {finer},") };
    record.assumptions.push(format!(
        "a range says only where the grains lie: a log-normal with {undersize_pct} % finer than {lower_um} µm{finer} and {oversize_pct} % \
         coarser than {upper_um} µm is {coarser}",
    ));
    Ok(record)
}

impl Grit {
    /// The distribution that the grit is taken to have.
    ///
    /// # Errors
    /// [`SizeError`] when its sizes make no distribution, which a table's loading refuses.
    pub fn record(&self) -> Result<SizeRecord, SizeError> {
        let basis = format!("grit {}", self.name);
        let (law, assumption) = match &self.sizes {
            GritSizes::Percentiles(points) => return percentile_record(points, &basis),
            GritSizes::Sieved { median_um, finest_sieve_um, finest_pct } => {
                let sigma = (median_um / finest_sieve_um).ln() / -normal::quantile(finest_pct / 100.0);
                let assumption = format!(
                    "a log-normal is assumed through the grit's mean size {median_um} µm with the {finest_pct} % that may \
                     pass its finest sieve, {finest_sieve_um} µm: the widest the grade allows on that side (convention)"
                );
                (Law::log_normal(Micrometres::new(*median_um)?, sigma.exp())?, assumption)
            }
            GritSizes::Median { median_um, gsd } => {
                let assumption = format!(
                    "only the grit's mean size {median_um} µm is known: a log-normal of gsd {gsd} is assumed (estimate)"
                );
                (Law::log_normal(Micrometres::new(*median_um)?, *gsd)?, assumption)
            }
        };
        let mut record = SizeRecord::from_distribution(law.into(), basis);
        record.assumptions.push(assumption);
        Ok(record)
    }
}
