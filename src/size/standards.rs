//! Sieve series and grit series: the openings behind a mesh number and the sizes behind a grit. The numbers themselves are
//! data (`grading-tables/`); this is what they mean.

use super::headings::Heading;
use super::{SieveSet, SizeError};
use crate::source::{did_you_mean, words};

/// The finest test sieve that is made, µm (ISO 3310-3, electroformed).
pub(crate) const FINEST_SIEVE_UM: f64 = 5.0;

/// One sieve: its mesh designation (or its opening in words) and opening.
#[derive(Debug, Clone, PartialEq)]
pub struct Sieve {
    /// Mesh designation, such as `60` or `3 1/2`.
    pub mesh: String,
    /// Nominal opening, µm.
    pub opening_um: f64,
}

words! {
    /// Which mesh numbers are meant.
    #[derive(Default)]
    pub enum MeshSeries {
        /// ASTM E11, the US sieve numbers; what a bare mesh number means here.
        #[default]
        AstmE11 = "astm-e11",
        /// The Tyler series.
        Tyler = "tyler",
    }
}

impl MeshSeries {
    fn label(self) -> &'static str {
        match self {
            Self::AstmE11 => "ASTM E11",
            Self::Tyler => "the Tyler series",
        }
    }
}

/// What a grit designation says of sizes.
#[derive(Debug, Clone, PartialEq)]
pub enum GritSizes {
    /// A sieved grit: a log-normal is taken with its mean size as median and as much through the finest sieve of its
    /// test set as the standard allows.
    Sieved {
        /// Mean size, µm.
        median_um: f64,
        /// Finest sieve of the test set, µm.
        finest_sieve_um: f64,
        /// What may pass it, %.
        finest_pct: f64,
    },
    /// A sedimented grit: percent finer and size, rising.
    Percentiles(Vec<(f64, f64)>),
    /// A median with an assumed geometric standard deviation.
    Median {
        /// Median, µm.
        median_um: f64,
        /// Assumed geometric standard deviation.
        gsd: f64,
    },
}

/// One grit.
#[derive(Debug, Clone, PartialEq)]
pub struct Grit {
    /// Designation, such as `F220` or `P180`.
    pub name: String,
    /// What it says of sizes.
    pub sizes: GritSizes,
}

words! {
    /// How a powder was made, as far as that tells how wide it is.
    pub enum Making {
        /// Ground or crushed, at most one sieve.
        Milled = "milled",
        /// Through one sieve and on another.
        Sieved = "sieved",
        /// By air or water.
        Classified = "classified",
    }
}

impl std::fmt::Display for Making {
    fn fmt(&self, f: &mut std::fmt::Formatter) -> std::fmt::Result {
        f.write_str(self.key())
    }
}

/// How wide a powder that was made so usually is.
#[derive(Debug, Clone, PartialEq)]
pub struct UsualSpread {
    /// How it was made.
    pub made: Making,
    /// Geometric standard deviation.
    pub gsd: f64,
    /// Low end of it.
    pub low: f64,
    /// High end of it.
    pub high: f64,
    /// How well that is known, in a word of the tables.
    pub status: &'static str,
}

/// All sieve and grit series in force.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Standards {
    /// ASTM E11, coarse to fine.
    pub astm: Vec<Sieve>,
    /// Tyler, coarse to fine.
    pub tyler: Vec<Sieve>,
    /// The ISO 3310-1 series, each with its openings coarse to fine, widest step first.
    pub iso: Vec<(String, Vec<f64>)>,
    /// FEPA F and P grits.
    pub grits: Vec<Grit>,
    /// How wide powders are of which one figure is known.
    pub spreads: Vec<UsualSpread>,
    /// The words above the columns of size tables.
    pub headings: Vec<Heading>,
}

/// What is taken where no table says how wide a powder is.
const NO_SPREAD: UsualSpread = UsualSpread { made: Making::Milled, gsd: 2.0, low: 1.2, high: 4.0, status: "estimate" };

impl Standards {
    /// Opening in µm of a mesh designation.
    ///
    /// # Errors
    /// [`SizeError::Mesh`], naming the nearest mesh that exists.
    pub fn opening_um(&self, series: MeshSeries, mesh: &str) -> Result<f64, SizeError> {
        let sieves = match series {
            MeshSeries::AstmE11 => &self.astm,
            MeshSeries::Tyler => &self.tyler,
        };
        let lower = mesh.trim().to_lowercase();
        let wanted = ["#", "no."].iter().find_map(|p| lower.strip_prefix(p)).unwrap_or(&lower).trim();
        if let Some(sieve) = sieves.iter().find(|s| s.mesh.eq_ignore_ascii_case(wanted)) {
            return Ok(sieve.opening_um);
        }
        let hint = match wanted.parse::<f64>() {
            Ok(number) => nearest_meshes(sieves, number),
            Err(_) => "write a mesh number such as 60".to_owned(),
        };
        Err(SizeError::Mesh { mesh: wanted.to_owned(), series: series.label(), hint })
    }

    /// How wide a powder that was made so is taken to be.
    pub fn spread(&self, made: Making) -> &UsualSpread {
        self.spreads.iter().find(|s| s.made == made).unwrap_or(&NO_SPREAD)
    }

    /// The grit of this designation.
    ///
    /// # Errors
    /// [`SizeError::Grit`], naming the nearest that exists.
    pub fn grit(&self, name: &str) -> Result<&Grit, SizeError> {
        let wanted = name.trim().to_uppercase();
        self.grits
            .iter()
            .find(|g| g.name == wanted)
            .ok_or_else(|| SizeError::Grit { grit: name.trim().to_owned(), hint: nearest_grit(&self.grits, &wanted) })
    }

    /// The openings of the series that holds all of `openings_um`: the ISO series with the widest step, else ASTM E11.
    pub fn series_of(&self, openings_um: &[f64]) -> Option<Vec<f64>> {
        let astm: Vec<f64> = self.astm.iter().map(|s| s.opening_um).collect();
        let holds_all = |series: &[f64]| openings_um.iter().all(|o| series.iter().any(|s| same_opening(*s, *o)));
        let series = self.iso.iter().map(|(_, s)| s.as_slice()).chain([astm.as_slice()]).find(|s| holds_all(s));
        series.map(<[f64]>::to_vec)
    }

    /// The sieves of the ISO 3310-1 series with the widest step (R20/3), for who names none of their own.
    pub fn sieve_set(&self) -> SieveSet {
        let openings_um = self.iso.first().map(|(_, openings)| openings.clone()).unwrap_or_default();
        SieveSet { openings_um, owned: false }
    }

    /// The opening that follows the coarsest of `openings_um` in its series, else by the ratio of the two coarsest (or √2).
    pub fn next_coarser_um(&self, openings_um: &[f64]) -> f64 {
        let coarsest = openings_um.iter().copied().fold(0.0, f64::max);
        let coarser = |o: &f64| *o > coarsest && !same_opening(*o, coarsest);
        let next = self.series_of(openings_um).and_then(|s| s.into_iter().filter(coarser).reduce(f64::min));
        next.unwrap_or_else(|| {
            let below = openings_um.iter().copied().filter(|&o| o < coarsest).fold(0.0, f64::max);
            let ratio = if below > 0.0 { coarsest / below } else { std::f64::consts::SQRT_2 };
            coarsest * ratio.clamp(1.1, 2.0)
        })
    }
}

fn same_opening(a: f64, b: f64) -> bool {
    (a / b - 1.0).abs() < 0.005
}

fn nearest_meshes(sieves: &[Sieve], number: f64) -> String {
    let mut near: Vec<(&Sieve, f64)> =
        sieves.iter().filter_map(|s| s.mesh.parse::<f64>().ok().map(|m| (s, (m - number).abs()))).collect();
    near.sort_by(|a, b| a.1.total_cmp(&b.1));
    let shown: Vec<String> = near.iter().take(2).map(|(s, _)| format!("{} ({} µm)", s.mesh, s.opening_um)).collect();
    format!("nearest: {}", shown.join(" and "))
}

/// Grits of the same letter rank by number, so 170 is nearer to 180 than any spelling tells.
fn nearest_grit(grits: &[Grit], wanted: &str) -> String {
    let letter = wanted.chars().next().filter(|c| "FP".contains(*c));
    let number = wanted.trim_start_matches(['F', 'P']).parse::<f64>().ok();
    if let (Some(letter), Some(number)) = (letter, number) {
        let distance = |g: &&Grit| {
            g.name
                .strip_prefix(letter)
                .and_then(|n| n.parse::<f64>().ok())
                .map_or(f64::INFINITY, |n| (n - number).abs())
        };
        if let Some(g) = grits.iter().min_by(|a, b| distance(a).total_cmp(&distance(b))) {
            return format!("nearest: {}", g.name);
        }
    }
    did_you_mean(wanted, grits.iter().map(|g| g.name.as_str()))
}
