//! Scrubs that the trade sells, as it would describe them: what a scrub can be compared with.

use super::rows::LandmarkRow;
use super::{BandLimits, TableError, TableFile};
use crate::size::law::LawName;
use crate::size::spec::SizeSpec;
use crate::source::folded;

/// A scrub of the trade.
#[derive(Debug, Clone, PartialEq)]
pub struct Landmark {
    /// What it is.
    pub name: String,
    /// Powders, % w/w of the scrub.
    pub load_pct: f64,
    /// Bands that the trade would sign for it.
    pub bands: Vec<String>,
    /// Its powders.
    pub powders: Vec<LandmarkPowder>,
}

/// One of its powders.
#[derive(Debug, Clone, PartialEq)]
pub struct LandmarkPowder {
    /// Key of the material.
    pub material: String,
    /// Parts by mass.
    pub parts: f64,
    /// Its grade.
    pub sizes: SizeSpec,
}

/// Reads the table; powders of one scrub stand below each other. `materials` are the keys there are.
pub(super) fn read(file: &TableFile, materials: &[String], bands: &[BandLimits]) -> Result<Vec<Landmark>, TableError> {
    let mut landmarks: Vec<Landmark> = Vec::new();
    for (line, row) in file.rows::<LandmarkRow>()? {
        let err = |problem: String| file.error(line, problem);
        file.known(line, "material", &row.material, materials.iter().map(String::as_str))?;
        let signed: Vec<String> = row.bands.split('|').map(folded).collect();
        for band in &signed {
            file.known(line, "band", band, bands.iter().map(|b| b.name.as_str()))?;
        }
        if !(row.load_pct > 0.0 && row.load_pct <= 100.0 && row.parts > 0.0 && row.parts.is_finite()) {
            return Err(err("load_pct must lie in 0 to 100 and parts be positive".to_owned()));
        }
        let sizes = sizes(&row)
            .ok_or_else(|| err("give d50_um and gsd (above 1, at most 5), or low_um and high_um, rising".to_owned()))?;
        let powder = LandmarkPowder { material: row.material, parts: row.parts, sizes };
        match landmarks.last_mut().filter(|l| l.name == row.scrub) {
            Some(landmark) if landmark.load_pct == row.load_pct && landmark.bands == signed => {
                landmark.powders.push(powder);
            }
            Some(_) => return Err(err(format!("\"{}\" has another load or other bands above", row.scrub))),
            None => landmarks.push(Landmark {
                name: row.scrub,
                load_pct: row.load_pct,
                bands: signed,
                powders: vec![powder],
            }),
        }
    }
    Ok(landmarks)
}

fn sizes(row: &LandmarkRow) -> Option<SizeSpec> {
    match (row.d50_um, row.gsd, row.low_um, row.high_um) {
        (Some(d50_um), Some(gsd), None, None) if (0.1..=1e5).contains(&d50_um) && gsd > 1.0 && gsd <= 5.0 => {
            Some(SizeSpec::Law { law: LawName::LogNormal, size_um: d50_um, width: gsd })
        }
        (None, None, Some(low), Some(high)) if low >= 0.1 && high > low && high <= 1e5 => {
            Some(SizeSpec::Range { lower_um: low, upper_um: high })
        }
        _ => None,
    }
}
