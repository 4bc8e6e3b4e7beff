//! Sites, bands and constants, assembled from their rows.

use super::rows::{BandRow, ConstantRow, SiteRow};
use super::{TableError, TableFile, ranged, refuse_repeats, without_lines};
use crate::source::did_you_mean;

/// A skin site: what the rub is solved with.
#[derive(Debug, Clone, PartialEq)]
pub struct Site {
    /// Name.
    pub name: String,
    /// Stratum corneum thickness, µm.
    pub stratum_corneum_um: f64,
    /// Skin modulus at contacts of grain size, MPa.
    pub skin_modulus_mpa: f64,
    /// Rub pressure, kPa.
    pub pressure_kpa: f64,
    /// Dose of scrub, g/m².
    pub dose_g_m2: f64,
    /// Least gap between finger pad and skin, µm.
    pub gap_um: f64,
}

/// What a band limits.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Criterion {
    /// g95 / t at the band's site.
    GrooveRatio,
    /// The abrasiveness index.
    Index,
    /// D99 of the blend by volume, µm.
    D99,
    /// Powders that the trade keeps off the face, % of the powders by mass.
    NotOnFace,
}

impl Criterion {
    /// All of them.
    pub const ALL: [Self; 4] = [Self::GrooveRatio, Self::Index, Self::D99, Self::NotOnFace];

    /// The key of tables and JSON.
    pub fn key(self) -> &'static str {
        match self {
            Self::GrooveRatio => "groove_ratio",
            Self::Index => "index",
            Self::D99 => "d99_um",
            Self::NotOnFace => "not_on_face_pct",
        }
    }

    /// For people.
    pub fn label(self) -> &'static str {
        match self {
            Self::GrooveRatio => "groove ratio",
            Self::Index => "abrasiveness index",
            Self::D99 => "D99",
            Self::NotOnFace => "share of powders not used on the face",
        }
    }
}

/// A band with its limits.
#[derive(Debug, Clone, PartialEq)]
pub struct BandLimits {
    /// Name.
    pub name: String,
    /// Site at which it is judged.
    pub site: String,
    /// Limit of each criterion, in the order of [`Criterion::ALL`]; infinite where the band has none.
    pub limits: [f64; 4],
}

impl BandLimits {
    /// The limit of a criterion.
    pub fn limit(&self, criterion: Criterion) -> f64 {
        self.limits[criterion as usize]
    }
}

/// The constants of the rub model.
#[derive(Debug, Clone, PartialEq)]
pub struct ModelConstants {
    /// Modulus of the finger pad, MPa.
    pub finger_modulus_mpa: f64,
    /// Poisson ratio of skin and finger pad.
    pub poisson_ratio: f64,
    /// Indentation hardness of wet stratum corneum, MPa.
    pub horn_hardness_mpa: f64,
    /// How many times harder than the horny layer a grain is that keeps half its edge.
    pub edge_ratio: f64,
    /// Share of a groove that leaves as debris.
    pub debris_share: f64,
    /// Sliding over one spot in one use, m.
    pub sliding_distance_m: f64,
    /// Reference scrub: load, % w/w.
    pub reference_load_pct: f64,
    /// Reference scrub: median, µm.
    pub reference_d50_um: f64,
    /// Reference scrub: geometric standard deviation.
    pub reference_gsd: f64,
    /// Reference scrub: density, g/cm³.
    pub reference_density_g_cm3: f64,
    /// Reference scrub: hardness, GPa.
    pub reference_hardness_gpa: f64,
    /// Reference scrub: roundness.
    pub reference_roundness: f64,
    /// Share outside each bound of a range when none is stated, %.
    pub range_tail_pct: f64,
}

/// All constants of the model.
const CONSTANTS: [&str; 13] = [
    "finger_modulus_mpa",
    "poisson_ratio",
    "horn_hardness_mpa",
    "edge_ratio",
    "debris_share",
    "sliding_distance_m",
    "reference_load_pct",
    "reference_d50_um",
    "reference_gsd",
    "reference_density_g_cm3",
    "reference_hardness_gpa",
    "reference_roundness",
    "range_tail_pct",
];

/// Constants of the model's first edition, and what to write instead.
const REPLACED: [(&str, &str); 1] = [(
    "half_hardness_gpa",
    "edge keeping is relative to the horny layer now; write edge_ratio, how many times harder than it a grain keeps half its edge \
     (5, between 1 and 20)",
)];

impl ModelConstants {
    /// Hardness of a grain that keeps half its edge on the horny layer, GPa.
    pub fn half_kept_gpa(&self) -> f64 {
        self.edge_ratio * self.horn_hardness_mpa * 1e-3
    }

    pub(super) fn read(file: &TableFile) -> Result<Self, TableError> {
        let get = named_values(file, &CONSTANTS, "the model")?;
        Ok(Self {
            finger_modulus_mpa: get("finger_modulus_mpa")?,
            poisson_ratio: get("poisson_ratio")?,
            horn_hardness_mpa: get("horn_hardness_mpa")?,
            edge_ratio: get("edge_ratio")?,
            debris_share: get("debris_share")?,
            sliding_distance_m: get("sliding_distance_m")?,
            reference_load_pct: get("reference_load_pct")?,
            reference_d50_um: get("reference_d50_um")?,
            reference_gsd: get("reference_gsd")?,
            reference_density_g_cm3: get("reference_density_g_cm3")?,
            reference_hardness_gpa: get("reference_hardness_gpa")?,
            reference_roundness: get("reference_roundness")?,
            range_tail_pct: get("range_tail_pct")?,
        })
    }
}

/// The rows of a table of constants. One that `whose` does not know is refused.
pub(super) fn constant_rows(file: &TableFile, known: &[&str], whose: &str) -> Result<Vec<ConstantRow>, TableError> {
    let rows: Vec<(usize, ConstantRow)> = ranged(file)?;
    refuse_repeats(file, &rows, |r| r.constant.clone())?;
    if let Some((line, row)) = rows.iter().find(|(_, r)| !known.contains(&r.constant.as_str())) {
        if let Some((_, instead)) = REPLACED.iter().find(|(old, _)| row.constant == *old) {
            return Err(file.error(*line, format!("the constant \"{}\" is no more: {instead}", row.constant)));
        }
        let hint = did_you_mean(&row.constant, known.iter().copied());
        return Err(file.error(*line, format!("{whose} has no constant \"{}\"; {hint}", row.constant)));
    }
    Ok(without_lines(rows))
}

pub(super) fn missing_constant(file: &TableFile, name: &str) -> TableError {
    let stem = file.name;
    file.error(1, format!("the constant \"{name}\" is missing; gritwise tables {stem} --csv shows its row"))
}

/// The values of a table of constants by name. Every row must be one of `known`.
///
/// # Errors
/// As [`constant_rows`]; the function returned errs for a name that is missing.
pub(super) fn named_values<'f>(
    file: &'f TableFile,
    known: &[&str],
    whose: &str,
) -> Result<impl Fn(&str) -> Result<f64, TableError> + use<'f>, TableError> {
    let rows = constant_rows(file, known, whose)?;
    Ok(move |name: &str| {
        let row = rows.iter().find(|r| r.constant == name);
        row.map(|r| r.value).ok_or_else(|| missing_constant(file, name))
    })
}

/// The site at which the index is taken. Every sites table must hold it.
pub const REFERENCE_SITE: &str = "face";

pub(super) fn sites(file: &TableFile) -> Result<Vec<Site>, TableError> {
    let rows: Vec<(usize, SiteRow)> = ranged(file)?;
    refuse_repeats(file, &rows, |r| format!("{} {}", r.site, r.parameter))?;
    let rows = without_lines(rows);
    let mut names: Vec<&str> = Vec::new();
    for row in &rows {
        if !names.contains(&row.site.as_str()) {
            names.push(&row.site);
        }
    }
    if !names.contains(&REFERENCE_SITE) {
        return Err(file.error(1, format!("the site \"{REFERENCE_SITE}\" is missing; the index is taken there")));
    }
    names.into_iter().map(|name| site(file, &rows, name)).collect()
}

fn site(file: &TableFile, rows: &[SiteRow], name: &str) -> Result<Site, TableError> {
    let get = |parameter: &str| {
        let row = rows.iter().find(|r| r.site == name && r.parameter == parameter);
        row.map(|r| r.value).ok_or_else(|| file.error(1, format!("site \"{name}\" has no {parameter}")))
    };
    Ok(Site {
        name: name.to_owned(),
        stratum_corneum_um: get("stratum_corneum_um")?,
        skin_modulus_mpa: get("skin_modulus_mpa")?,
        pressure_kpa: get("pressure_kpa")?,
        dose_g_m2: get("dose_g_m2")?,
        gap_um: get("gap_um")?,
    })
}

pub(super) fn bands(file: &TableFile, sites: &[Site]) -> Result<Vec<BandLimits>, TableError> {
    let mut bands: Vec<BandLimits> = Vec::new();
    let rows: Vec<(usize, BandRow)> = ranged(file)?;
    refuse_repeats(file, &rows, |r| format!("{} {}", r.band, r.criterion))?;
    let says_not_on_face = rows.iter().any(|(_, r)| r.criterion == Criterion::NotOnFace.key());
    for (line, mut row) in rows {
        // Bands are asked for in lower case.
        row.band = row.band.to_lowercase();
        if !sites.iter().any(|s| s.name == row.site) {
            let hint = did_you_mean(&row.site, sites.iter().map(|s| s.name.as_str()));
            return Err(file.error(line, format!("there is no site \"{}\"; {hint}", row.site)));
        }
        let Some(i) = Criterion::ALL.iter().position(|c| c.key() == row.criterion) else {
            let hint = did_you_mean(&row.criterion, Criterion::ALL.map(Criterion::key));
            return Err(file.error(line, format!("there is no criterion \"{}\"; {hint}", row.criterion)));
        };
        if bands.last().is_none_or(|b| b.name != row.band) {
            bands.push(BandLimits {
                name: row.band.clone(),
                site: row.site.clone(),
                limits: [f64::NAN, f64::NAN, f64::NAN, f64::INFINITY],
            });
        }
        if let Some(band) = bands.last_mut() {
            if band.site != row.site {
                return Err(file.error(line, format!("band \"{}\" is judged at two sites; choose one", row.band)));
            }
            // Who allows 100 % allows everything.
            let everything = Criterion::ALL[i] == Criterion::NotOnFace && row.value >= 100.0;
            band.limits[i] = if everything { f64::INFINITY } else { row.value };
        }
    }
    if let Some(b) = bands.iter().find(|b| b.limits.iter().any(|l| l.is_nan())) {
        return Err(file.error(1, format!("band \"{}\" needs all of groove_ratio, index and d99_um", b.name)));
    }
    if !says_not_on_face {
        let message = "no band says not_on_face_pct, how much of the powders may be of materials that the trade keeps off the face; \
                       give it for each band of the face (2), or once as 100 for no limit";
        return Err(file.error(1, message.to_owned()));
    }
    Ok(bands)
}
