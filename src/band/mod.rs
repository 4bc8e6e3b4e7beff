//! For which skin a scrub is suited, and why: the figures of a scrub held against the limits of every band, from mild to
//! harsh. Band limits are a convention; whoever prints a verdict prints that too.

mod change;
pub mod landmarks;
mod misuse;
mod scale;
mod sieving;
mod variation;

pub use change::{Change, Direction, Lever, levers};
pub use landmarks::{Like, Side};
pub use misuse::{Misused, Rubbing};
pub use scale::{BandScale, ScaleFigure, ScaleStep};
pub use sieving::Sieving;
pub(crate) use variation::Variation;
pub use variation::{Arrival, Quantity};

use crate::blend::{Blend, Scrub};
use crate::rub::{Population, RubModel, Rubbed, SiteRub};
use crate::size::SizeError;
use crate::source::folded;
use crate::tables::{BandLimits, Criterion, Tables};
use std::sync::OnceLock;

/// The name of what no band allows.
pub const BEYOND: &str = "beyond skin use";

/// Bands and rub model in force.
#[derive(Debug, Clone)]
pub struct Judge {
    model: RubModel,
    bands: Vec<BandLimits>,
    /// Scrubs of the trade with their index, once they were asked for.
    landmarks: OnceLock<Vec<(String, f64)>>,
}

/// What a scrub is judged by.
#[derive(Debug, Clone, PartialEq)]
pub struct Figures {
    /// Abrasiveness index.
    pub index: f64,
    /// D99 of the blend by volume, µm.
    pub d99_um: f64,
    /// g95 / t at each site, in the order of the sites table.
    pub groove_ratios: Vec<f64>,
    /// Powders that the trade keeps off the face, % of the powders by mass.
    pub not_on_face_pct: f64,
}

/// What one band looks at: the groove ratio at its site, and the rest.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct LookedAt {
    pub groove_ratio: f64,
    pub index: f64,
    pub d99_um: f64,
    pub not_on_face_pct: f64,
}

/// One figure against one limit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Held {
    /// What is limited.
    pub criterion: Criterion,
    /// The scrub's figure.
    pub value: f64,
    /// The band's limit.
    pub limit: f64,
}

impl Held {
    /// How far the value stays below the limit, % of the limit; negative beyond it.
    pub fn margin_pct(&self) -> f64 {
        100.0 * (1.0 - self.value / self.limit)
    }

    /// How far the value is beyond the limit, as a share of the limit; at most 0 when it is met.
    pub fn excess(&self) -> f64 {
        self.value / self.limit - 1.0
    }

    /// Whether the limit is met.
    pub fn met(&self) -> bool {
        self.value <= self.limit
    }
}

/// A scrub's band.
#[derive(Debug, Clone, PartialEq)]
pub struct Verdict {
    /// Rank of the band, 0 the mildest; the number of bands when none allows the scrub.
    pub rank: usize,
    /// Every figure against the limits of the band (of the harshest one when none allows the scrub).
    pub held: Vec<Held>,
}

impl Verdict {
    /// The figure with the least margin: what governs.
    pub fn governing(&self) -> &Held {
        // A band always has three criteria.
        self.held.iter().min_by(|a, b| a.margin_pct().total_cmp(&b.margin_pct())).unwrap_or(&self.held[0])
    }
}

/// A scrub rubbed and judged.
#[derive(Debug, Clone, PartialEq)]
pub struct Assessment {
    /// The rub at every site, and the index.
    pub rubbed: Rubbed,
    /// What the bands look at.
    pub figures: Figures,
    /// The band.
    pub verdict: Verdict,
    /// What the bands look at of the grains as they arrive, where some of it is graver of those that are left when what dissolves is
    /// gone: it carried load, and without it they do more.
    pub at_first: Option<Figures>,
}

impl Judge {
    /// From the tables in force.
    ///
    /// # Errors
    /// [`SizeError`] when the reference scrub's constants make no distribution.
    pub fn new(tables: &Tables) -> Result<Self, SizeError> {
        Ok(Self { model: RubModel::new(tables)?, bands: tables.bands.clone(), landmarks: OnceLock::new() })
    }

    /// The rub model.
    pub fn model(&self) -> &RubModel {
        &self.model
    }

    /// The bands, mild to harsh.
    pub fn bands(&self) -> &[BandLimits] {
        &self.bands
    }

    /// The same model, with every limit of a band divided by what `room` says of its rank and criterion: what meets these limits has so
    /// much room under the stated ones.
    pub(crate) fn with_room(&self, room: impl Fn(usize, Criterion) -> f64) -> Self {
        let mut judge = self.clone();
        for (rank, band) in judge.bands.iter_mut().enumerate() {
            for criterion in Criterion::ALL {
                if let Some(limit) = &mut band.limits[criterion as usize] {
                    limit.value /= room(rank, criterion);
                }
            }
        }
        judge
    }

    /// Name of a rank.
    pub fn band_name(&self, rank: usize) -> &str {
        self.bands.get(rank).map_or(BEYOND, |b| b.name.as_str())
    }

    /// Rank of a band by name; hyphens may stand for spaces.
    pub fn rank_of(&self, name: &str) -> Option<usize> {
        let wanted = folded(name);
        let last = self.bands.len();
        self.bands.iter().position(|b| b.name == wanted).or((wanted == BEYOND).then_some(last))
    }

    /// Rubs and judges a scrub: as its grains arrive on the skin, or as they are when what dissolves of them is gone: of each
    /// figure the graver.
    pub fn assess(&self, scrub: &Scrub) -> Assessment {
        let population = Population::new(&scrub.blend, self.model.floor_um());
        let shares = scrub.blend.mass_shares();
        self.assess_grains(&scrub.blend, &population, &shares, scrub.load.fraction())
    }

    /// The same from grains laid out before. `mass_shares` are the powders' shares of the blend, `load` the blend's mass
    /// fraction of the scrub.
    pub(crate) fn assess_grains(
        &self,
        blend: &Blend,
        population: &Population,
        mass_shares: &[f64],
        load: f64,
    ) -> Assessment {
        let whole = self.assess_shares(blend, population, mass_shares, load);
        match blend.undissolved(mass_shares) {
            Some(left) => self.graver(whole, self.assess_shares(blend, population, &left, load)),
            None => whole,
        }
    }

    /// Of each figure the graver of two moments, and the rub of that with the higher index.
    fn graver(&self, first: Assessment, later: Assessment) -> Assessment {
        let both = || first.figures.groove_ratios.iter().zip(&later.figures.groove_ratios);
        let figures = Figures {
            index: first.figures.index.max(later.figures.index),
            d99_um: first.figures.d99_um.max(later.figures.d99_um),
            groove_ratios: both().map(|(first, later)| first.max(*later)).collect(),
            not_on_face_pct: first.figures.not_on_face_pct.max(later.figures.not_on_face_pct),
        };
        if figures == first.figures {
            return first;
        }
        let rubbed = if later.figures.index > first.figures.index { later.rubbed } else { first.rubbed };
        Assessment { verdict: self.verdict(&figures), rubbed, at_first: Some(first.figures), figures }
    }

    /// The same of what rubs at one moment, whose shares sum to less than 1 where some of the blend is gone.
    fn assess_shares(&self, blend: &Blend, population: &Population, there: &[f64], load: f64) -> Assessment {
        let rubbed = self.model.evaluate(population, there, load);
        let ratios = rubbed.sites.iter().enumerate().map(|(i, rub)| self.groove_ratio(i, rub));
        let figures = Figures {
            index: rubbed.index,
            d99_um: blend.mixed_quantile(0.99, &rubbed.volumes),
            groove_ratios: ratios.collect(),
            not_on_face_pct: blend.not_on_face_pct(there),
        };
        let verdict = self.verdict(&figures);
        Assessment { rubbed, figures, verdict, at_first: None }
    }

    fn groove_ratio(&self, site: usize, rub: &SiteRub) -> f64 {
        rub.groove_p95_um / self.model.sites()[site].stratum_corneum_um
    }

    /// The mildest band whose limits the figures meet.
    pub fn verdict(&self, figures: &Figures) -> Verdict {
        let rank = (0..self.bands.len()).find(|&r| self.held(r, figures).iter().all(Held::met));
        let rank = rank.unwrap_or(self.bands.len());
        Verdict { rank, held: self.held(rank.min(self.bands.len() - 1), figures) }
    }

    /// The figures against the limits of one band; what is not used on the face only where there is any.
    pub fn held(&self, rank: usize, figures: &Figures) -> Vec<Held> {
        let limited = |h: &Held| h.criterion != Criterion::NotOnFace || (h.limit.is_finite() && h.value > 0.0);
        self.against(rank, &self.looked_at(rank, figures)).into_iter().filter(limited).collect()
    }

    /// What a band looks at of all figures.
    fn looked_at(&self, rank: usize, figures: &Figures) -> LookedAt {
        LookedAt {
            groove_ratio: figures.groove_ratios[self.site_of(rank)],
            index: figures.index,
            d99_um: figures.d99_um,
            not_on_face_pct: figures.not_on_face_pct,
        }
    }

    /// Position of the site at which a band is judged.
    pub(crate) fn site_of(&self, rank: usize) -> usize {
        let name = &self.bands[rank].site;
        self.model.sites().iter().position(|s| s.name == *name).unwrap_or(0)
    }

    fn against(&self, rank: usize, at: &LookedAt) -> [Held; 4] {
        let value = |criterion| match criterion {
            Criterion::GrooveRatio => at.groove_ratio,
            Criterion::Index => at.index,
            Criterion::D99 => at.d99_um,
            Criterion::NotOnFace => at.not_on_face_pct,
        };
        Criterion::ALL.map(|c| Held { criterion: c, value: value(c), limit: self.bands[rank].limit(c) })
    }

    /// Whether figures meet the limits of a band.
    pub(crate) fn meets(&self, rank: usize, at: &LookedAt) -> bool {
        self.against(rank, at).iter().all(Held::met)
    }

    /// How far the worst figure of these mass shares and this load is beyond the limits of a band, as a share of the limit;
    /// at most 0 when all are met. Only the rubs that the band looks at are solved.
    pub(crate) fn excess(
        &self,
        rank: usize,
        blend: &Blend,
        population: &Population,
        mass_shares: &[f64],
        load: f64,
    ) -> f64 {
        let beyond = |there: &[f64]| {
            let volumes = population.volumes(there, load);
            let sizes = (blend.mixed_quantile(0.99, &volumes), blend.not_on_face_pct(there));
            self.excess_at(rank, population, &volumes, sizes)
        };
        let later = blend.undissolved(mass_shares).map_or(f64::NEG_INFINITY, |left| beyond(&left));
        beyond(mass_shares).max(later)
    }

    fn excess_at(
        &self,
        rank: usize,
        population: &Population,
        volumes: &[f64],
        (d99_um, not_on_face_pct): (f64, f64),
    ) -> f64 {
        let (reference, site) = (self.model.reference_position(), self.site_of(rank));
        let reference_rub = self.model.rub_at(reference, population, volumes);
        let index = self.model.index(&reference_rub);
        let rub = if site == reference { reference_rub } else { self.model.rub_at(site, population, volumes) };
        let groove_ratio = self.groove_ratio(site, &rub);
        worst(&self.against(rank, &LookedAt { groove_ratio, index, d99_um, not_on_face_pct }))
    }

    /// As [`Judge::excess`], from figures that are there already.
    pub(crate) fn excess_of(&self, rank: usize, figures: &Figures) -> f64 {
        worst(&self.against(rank, &self.looked_at(rank, figures)))
    }
}

fn worst(held: &[Held]) -> f64 {
    held.iter().map(Held::excess).fold(f64::NEG_INFINITY, f64::max)
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    /// Figures with these groove ratios at face, body and foot.
    fn figures(judge: &Judge, grooves: [f64; 3], index: f64, d99_um: f64, not_on_face_pct: f64) -> Figures {
        let sites = judge.model().sites().iter();
        let ratio = |name: &str| ["face", "body", "foot"].iter().position(|s| *s == name).map_or(0.0, |i| grooves[i]);
        Figures { index, d99_um, groove_ratios: sites.map(|s| ratio(&s.name)).collect(), not_on_face_pct }
    }

    #[test]
    fn a_limit_is_met_by_what_equals_it_and_by_nothing_beyond() {
        // By hand from bands.csv: groove ratio at the band's own site, index, D99 and what is kept off the face may be 0.3, 90, 350 and
        // 2 for a delicate face; 0.6, 300, 700 and 2 for a face; 1, 1300 and 1500 for a body; 0.5, 2000 and 2500 for hands and feet.
        use Criterion::{D99, GrooveRatio, Index, NotOnFace};
        let judge = Judge::new(&Tables::built_in().unwrap()).unwrap();
        let cases = [
            ([0.3, 0.9, 0.4], 80.0, 300.0, 0.0, 0, GrooveRatio),
            ([0.3001, 0.9, 0.4], 80.0, 300.0, 0.0, 1, GrooveRatio),
            ([0.2, 0.9, 0.4], 90.0, 300.0, 0.0, 0, Index),
            ([0.2, 0.9, 0.4], 90.01, 300.0, 0.0, 1, D99),
            ([0.2, 0.9, 0.4], 80.0, 350.0, 0.0, 0, D99),
            ([0.2, 0.9, 0.4], 200.0, 350.1, 0.0, 1, Index),
            ([0.2, 0.9, 0.4], 80.0, 300.0, 2.0, 0, NotOnFace),
            ([0.2, 0.9, 0.4], 80.0, 300.0, 2.01, 2, GrooveRatio),
            ([0.6, 1.0, 0.5], 300.0, 700.0, 2.0, 1, GrooveRatio),
            ([0.61, 1.0, 0.5], 1300.0, 1500.0, 90.0, 2, GrooveRatio),
            ([0.61, 1.01, 0.4], 1300.0, 2500.0, 90.0, 3, D99),
            ([0.61, 1.01, 0.501], 1300.0, 1500.0, 90.0, 4, GrooveRatio),
            ([0.61, 1.01, 0.5], 2000.1, 2500.0, 90.0, 4, Index),
        ];
        for (grooves, index, d99_um, off, rank, governing) in cases {
            let figures = figures(&judge, grooves, index, d99_um, off);
            let verdict = judge.verdict(&figures);
            assert_eq!((verdict.rank, verdict.governing().criterion), (rank, governing), "{figures:?}");
            // What the search asks says the same as the verdict.
            for band in 0..4 {
                let meets = judge.meets(band, &judge.looked_at(band, &figures));
                assert_eq!(judge.excess_of(band, &figures) <= 0.0, meets, "{figures:?}");
                assert!(if band < rank { !meets } else { band > rank || meets }, "{figures:?}");
            }
        }
        // 0.2 is a third of 0.6, 90 three tenths of 300, 840 a fifth more than 700: the worst is 0.2 beyond.
        assert_relative_eq!(judge.excess_of(1, &figures(&judge, [0.2; 3], 90.0, 840.0, 0.0)), 0.2, epsilon = 1e-12);
        let held = Held { criterion: D99, value: 525.0, limit: 700.0 };
        assert_eq!((held.margin_pct(), held.excess()), (25.0, -0.25));
    }

    #[test]
    fn room_under_limits_is_a_divisor_of_its_band_and_criterion() {
        let judge = Judge::new(&Tables::built_in().unwrap()).unwrap();
        let room = |rank: usize, c: Criterion| if (rank, c) == (1, Criterion::Index) { 1.25 } else { 1.0 };
        let roomy = judge.with_room(room);
        // By hand: 300 / 1.25.
        assert_eq!(roomy.bands()[1].limit(Criterion::Index), 240.0);
        for (rank, criterion) in (0..4).flat_map(|rank| Criterion::ALL.map(|c| (rank, c))) {
            let [own, stated] = [&roomy, &judge].map(|j| j.bands()[rank].limit(criterion));
            assert_eq!(own == stated, (rank, criterion) != (1, Criterion::Index));
        }
    }

    #[test]
    fn what_is_kept_off_the_face_is_held_only_where_there_is_some_and_a_limit() {
        let judge = Judge::new(&Tables::built_in().unwrap()).unwrap();
        let held = |rank: usize, index: f64, off_pct: f64| {
            let held = judge.held(rank, &figures(&judge, [0.2; 3], index, 300.0, off_pct));
            held.iter().map(|h| h.criterion).collect::<Vec<_>>()
        };
        let three = [Criterion::GrooveRatio, Criterion::Index, Criterion::D99];
        assert_eq!(held(0, 80.0, 0.0), three);
        assert_eq!(held(0, 80.0, 2.0), Criterion::ALL);
        // bands.csv has no such limit for hands and feet; an index of 0 is held like any other.
        assert_eq!((held(3, 80.0, 90.0), held(0, 0.0, 0.0)), (three.to_vec(), three.to_vec()));
    }
}
