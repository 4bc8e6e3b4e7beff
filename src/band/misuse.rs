//! A scrub under a rub that its maker did not mean: pressed harder, on dry skin, on a site of a milder band. The balance, the grooves
//! and the removal are those of `rub`, with other numbers of skin and hand.

use super::{Assessment, Judge};
use crate::blend::Scrub;
use crate::rub::{Partition, Population, SiteRub, rub};
use crate::tables::{Site, Tables};
use serde::Serialize;

/// How somebody rubs.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Rubbing {
    /// With the numbers of the sites table.
    AsStated,
    /// Pressed harder.
    PressedHarder,
    /// Pressed harder, so that the film is thin: the least gap at the low end of its range.
    PressedThin,
    /// On dry, hard horn.
    DrySkin,
    /// On dry horn, with little water in the film: the least gap at the low end of its range.
    DrySkinThin,
    /// As stated, on the site of the reference rub, where the scrub is judged at another.
    OnReferenceSite,
}

/// One way to rub, and what comes of it.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Misused {
    /// How it is rubbed.
    pub rubbing: Rubbing,
    /// Where.
    pub site: String,
    /// Rub pressure, kPa.
    pub pressure_kpa: f64,
    /// Least gap between finger pad and skin, µm.
    pub least_gap_um: f64,
    /// Hardness of the horn, MPa.
    pub horn_hardness_mpa: f64,
    /// Who carries the rub.
    pub rub: Partition,
    /// Groove depth under which 95 % of the load lies, µm.
    pub groove_p95_um: f64,
    /// The same over the thickness of the horny layer.
    pub groove_ratio: f64,
    /// Horn removed by one use, µm.
    pub removal_um_per_use: f64,
}

impl Judge {
    /// A scrub rubbed as stated and otherwise, at the site where its band is judged (beyond all bands: the last one), of the grains that
    /// the band was judged by. `tables` are those that the judge was made from.
    pub fn misused(&self, scrub: &Scrub, assessment: &Assessment, tables: &Tables) -> Vec<Misused> {
        let floor = tables.sites.iter().map(|s| s.gap_um.low).fold(f64::INFINITY, f64::min);
        let population = Population::new(&scrub.blend, floor);
        let (volumes, rank) = (&assessment.rubbed.volumes, assessment.verdict.rank);
        let (judged, reference) = (self.site_of(rank.min(self.bands.len() - 1)), self.model.reference_position());
        let mut ways = vec![
            (Rubbing::AsStated, judged),
            (Rubbing::PressedHarder, judged),
            (Rubbing::PressedThin, judged),
            (Rubbing::DrySkin, judged),
            (Rubbing::DrySkinThin, judged),
        ];
        if judged != reference {
            ways.push((Rubbing::OnReferenceSite, reference));
        }
        ways.into_iter().map(|(way, at)| self.rubbed_so(way, at, &population, volumes, tables)).collect()
    }

    fn rubbed_so(&self, way: Rubbing, at: usize, grains: &Population, volumes: &[f64], tables: &Tables) -> Misused {
        use Rubbing::{DrySkin, DrySkinThin, PressedHarder, PressedThin};
        let mut site: Site = self.model.sites()[at].clone();
        let mut constants = self.model.constants().clone();
        if matches!(way, PressedHarder | PressedThin) {
            site.pressure_kpa *= tables.misuse.pressure_times.value;
        }
        if matches!(way, DrySkin | DrySkinThin) {
            constants.horn_hardness_mpa *= tables.misuse.dry_horn_times.value;
        }
        if matches!(way, PressedThin | DrySkinThin) {
            site.gap_um = tables.sites[at].gap_um.low;
        }
        let SiteRub { partition, groove_p95_um, removal_um_per_m, .. } = rub(grains, volumes, &site, &constants);
        Misused {
            rubbing: way,
            pressure_kpa: site.pressure_kpa,
            least_gap_um: site.gap_um,
            horn_hardness_mpa: constants.horn_hardness_mpa,
            rub: partition,
            groove_p95_um,
            groove_ratio: groove_p95_um / site.stratum_corneum_um,
            removal_um_per_use: removal_um_per_m * constants.sliding_distance_m,
            site: site.name,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::band::landmarks;
    use approx::assert_relative_eq;

    #[test]
    fn who_presses_twice_as_hard_or_rubs_dry_skin_is_told_with_those_numbers() {
        let tables = Tables::built_in().unwrap();
        let judge = Judge::new(&tables).unwrap();
        let scrub = landmarks::scrub(&tables.landmarks[0], &tables).unwrap();
        let ways = judge.misused(&scrub, &judge.assess(&scrub), &tables);
        let stated = &ways[0];
        let thin_um = tables.sites.iter().find(|site| site.name == stated.site).unwrap().gap_um.low;
        // misuse.csv: twice the pressure, ten times the hardness; a thin film is the low end of the least gap.
        for (way, pressed, hardened, is_thin) in [
            (Rubbing::AsStated, 1.0, 1.0, false),
            (Rubbing::PressedHarder, 2.0, 1.0, false),
            (Rubbing::PressedThin, 2.0, 1.0, true),
            (Rubbing::DrySkin, 1.0, 10.0, false),
            (Rubbing::DrySkinThin, 1.0, 10.0, true),
        ] {
            let at = ways.iter().find(|rubbed| rubbed.rubbing == way).unwrap();
            assert_relative_eq!(at.pressure_kpa, pressed * stated.pressure_kpa, max_relative = 1e-12);
            assert_relative_eq!(at.horn_hardness_mpa, hardened * stated.horn_hardness_mpa, max_relative = 1e-12);
            assert_eq!(at.least_gap_um, if is_thin { thin_um } else { stated.least_gap_um }, "{way:?}");
        }
    }
}
