//! `bands.csv`: the bands and their limits, mild to harsh.

use super::known::Known;
use super::rows::BandRow;
use super::{Site, TableError, TableFile, ranged, refuse_repeats};
use crate::source::{folded, words};

words! {
    /// What a band limits.
    pub enum Criterion {
        /// g95 / t at the band's site.
        GrooveRatio = "groove_ratio",
        /// The abrasiveness index.
        Index = "index",
        /// D99 of the blend by volume, µm.
        D99 = "d99_um",
        /// Powders that the trade keeps off the face, % of the powders by mass.
        NotOnFace = "not_on_face_pct",
    }
}

impl Criterion {
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
    /// Limit of each criterion, in the order of [`Criterion::ALL`]; nothing where the band has none.
    pub limits: [Option<Known>; 4],
}

impl BandLimits {
    /// The limit of a criterion; infinite where the band has none.
    pub fn limit(&self, criterion: Criterion) -> f64 {
        self.limits[criterion as usize].as_ref().map_or(f64::INFINITY, |known| known.value)
    }
}

/// Reads the bands. A row of one stands below its others.
pub(super) fn read(file: &TableFile, sites: &[Site<Known>]) -> Result<Vec<BandLimits>, TableError> {
    let mut bands: Vec<BandLimits> = Vec::new();
    let rows: Vec<(usize, BandRow)> = ranged(file)?;
    refuse_repeats(file, &rows, |r| format!("{} {}", r.band, r.criterion))?;
    for (line, row) in &rows {
        file.known(*line, "site", &row.site, sites.iter().map(|s| s.name.as_str()))?;
        file.known(*line, "criterion", &row.criterion, Criterion::ALL.map(Criterion::key))?;
        let Some(criterion) = Criterion::of(&row.criterion) else { continue };
        // Bands are asked for by their folded name.
        let name = folded(&row.band);
        if bands.last().is_none_or(|b| b.name != name) {
            bands.push(BandLimits { name, site: row.site.clone(), limits: [const { None }; 4] });
        }
        let Some(band) = bands.last_mut() else { continue };
        if band.site != row.site {
            return Err(file.error(*line, format!("band \"{}\" is judged at two sites; choose one", band.name)));
        }
        // Who allows 100 % allows everything.
        let everything = criterion == Criterion::NotOnFace && row.value >= 100.0;
        band.limits[criterion as usize] = (!everything).then(|| row.known());
    }
    let needed = [Criterion::GrooveRatio, Criterion::Index, Criterion::D99];
    if let Some(b) = bands.iter().find(|b| needed.iter().any(|c| b.limit(*c).is_infinite())) {
        return Err(file.error(1, format!("band \"{}\" needs all of groove_ratio, index and d99_um", b.name)));
    }
    // From mild to harsh, where two are judged alike.
    for pair in bands.windows(2) {
        let falls = |c: &&Criterion| pair[1].limit(**c) < pair[0].limit(**c);
        let alike = if pair[0].site == pair[1].site { &needed[..] } else { &needed[1..] };
        if let Some(criterion) = alike.iter().find(falls) {
            let at = rows.iter().find(|(_, r)| folded(&r.band) == pair[1].name && r.criterion == criterion.key());
            let (key, limit) = (criterion.key(), pair[1].limit(*criterion));
            let (milder, most) = (&pair[0].name, pair[0].limit(*criterion));
            let problem = format!(
                "{key} {limit} of \"{}\" is below the {most} of \"{milder}\", which is to be milder",
                pair[1].name
            );
            return Err(file.error(at.map_or(1, |(line, _)| *line), problem));
        }
    }
    if !rows.iter().any(|(_, r)| Criterion::of(&r.criterion) == Some(Criterion::NotOnFace)) {
        let message = "no band says not_on_face_pct, how much of the powders may be of materials that the trade keeps off the face; \
                       give it for each band of the face (2), or once as 100 for no limit";
        return Err(file.error(1, message));
    }
    Ok(bands)
}
