//! The result of `gritwise blend`.

use super::layout::{Grid, bullets, hung, inset, or_dash, part, row};
use super::on_skin::{graver_later, in_the_jar, over_the_rub};
use super::{Caution, ExpectedScore, OriginsPart, Percentiles, SievedPart, cautions, wording};
use crate::band::{Arrival, Assessment, Direction, Judge, Lever, Like, Sieving, levers};
use crate::blend::{Basis, Component, Scrub};
use crate::confidence::{SURE, Sampling, Sure, sure};
use crate::formula::{InJar, OnSkin, OverTheRub};
use crate::numerics::written::{three, two};
use crate::rub::{Partition, Work};
use crate::size::SieveSet;
use crate::tables::{Property, Tables};
use serde::Serialize;

/// A blended, rubbed and judged scrub. The field names are the keys of `--json`.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct BlendReport {
    /// What was blended.
    pub scrub: ScrubPart,
    /// What the verdict says first: the band and how sure, the index, what it is like.
    pub opening: Vec<String>,
    /// The abrasiveness index.
    pub index: IndexPart,
    /// The score that a panel would give, when a calibration was named.
    pub expected_score: Option<ExpectedScore>,
    /// Every powder.
    pub powders: Vec<PowderPart>,
    /// The combined sizes.
    pub blend: BlendPart,
    /// The grain sizes between which the index arises; absent when nothing rubs.
    pub work: Option<WorkPart>,
    /// The rub at every site.
    pub sites: Vec<SitePart>,
    /// The band.
    pub band: BandPart,
    /// Cautions.
    pub cautions: Vec<Caution>,
    /// What was assumed of the jar, and what it dissolves.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub in_the_jar: Vec<String>,
}

/// What was blended.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ScrubPart {
    /// Name.
    pub name: String,
    /// Powders, % w/w of the scrub.
    pub powder_load_pct: f64,
    /// What the powders in a kilogram of scrub cost; absent unless every powder has a price.
    pub cost_per_kg: Option<f64>,
}

impl ScrubPart {
    pub(super) fn new(scrub: &Scrub) -> Self {
        Self { name: scrub.name.clone(), powder_load_pct: scrub.load.get(), cost_per_kg: scrub.cost_per_kg() }
    }
}

/// The abrasiveness index.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct IndexPart {
    /// The index of the grains as they reach the skin, or of those that are left when what dissolves is gone, whichever is graver; the
    /// reference scrub has 100.
    pub value: f64,
    /// As they reach the skin, where what is left later is graver; absent otherwise.
    pub at_first: Option<f64>,
    /// Over the whole rub, as grains dissolve; absent when none do.
    pub over_the_rub: Option<OverTheRub>,
    /// Horn removed at the reference rub, µm per m of sliding.
    pub removal_um_per_m: f64,
    /// Sliding over one spot in one use, m (convention): what makes a removal per use of it.
    pub sliding_distance_m: f64,
    /// Who carries the reference rub.
    pub rub: Partition,
    /// 5 % of the draws are lower; absent where none were made.
    pub p5: Option<f64>,
    /// 5 % of the draws are higher.
    pub p95: Option<f64>,
    /// The nearest scrubs of the trade on either side.
    pub like: Vec<Like>,
    /// What the index is and is not.
    pub note: &'static str,
}

/// One powder.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct PowderPart {
    /// Name.
    pub name: String,
    /// Key of the material, when one was named.
    pub material: Option<String>,
    /// Parts by mass.
    pub parts: f64,
    /// Share of the blend's mass, %.
    pub mass_pct: f64,
    /// Share of the blend's volume, %.
    pub volume_pct: f64,
    /// Share of the index, %.
    pub index_share_pct: f64,
    /// What of it the jar dissolves, % of the scrub; absent where nothing is.
    pub dissolved_in_jar_pct: Option<f64>,
    /// Envelope density, g/cm³.
    pub density_g_cm3: f64,
    /// Hardness, GPa.
    pub hardness_gpa: f64,
    /// Wadell roundness.
    pub roundness: f64,
    /// 10 % finer, µm.
    pub d10_um: f64,
    /// Median, µm.
    pub d50_um: f64,
    /// 90 % finer, µm.
    pub d90_um: f64,
    /// What the sizes were made from.
    pub size_basis: String,
    /// What the maker's own sieves take off; absent where it is not sieved.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub sieved: Option<SievedPart>,
    /// What was assumed about the sizes, and about the material where none is named.
    pub assumptions: Vec<String>,
    /// Properties taken from the materials table.
    pub from_table: Vec<&'static str>,
    /// Status and source of each property.
    pub origins: OriginsPart,
}

/// The combined sizes.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct BlendPart {
    /// As a laser instrument would report it.
    pub by_volume: Percentiles,
    /// As a stack of sieves would weigh it.
    pub by_mass: Percentiles,
    /// `D[4,3]` by volume, µm.
    pub mean_4_3_um: Option<f64>,
    /// `D[3,2]`, µm.
    pub mean_3_2_um: Option<f64>,
    /// Density of the blend's solid, g/cm³.
    pub density_g_cm3: f64,
}

/// Which grains do the work.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct WorkPart {
    /// 10 % of the index comes from finer grains, µm.
    pub index_p10_um: f64,
    /// Half of it, µm.
    pub index_p50_um: f64,
    /// 90 % of it, µm.
    pub index_p90_um: f64,
}

/// The rub at one site.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SitePart {
    /// Site.
    pub site: String,
    /// Gap between finger pad and skin, µm.
    pub gap_um: f64,
    /// Share of the pressure on the grains, %.
    pub carried_pct: f64,
    /// Median groove depth by load, µm.
    pub groove_p50_um: f64,
    /// 95th percentile of groove depth by load, µm.
    pub groove_p95_um: f64,
    /// Groove ratio: that percentile over the horny layer.
    pub groove_ratio: f64,
    /// Who carries the rub.
    pub rub: Partition,
    /// Horn removed, µm per m of sliding.
    pub removal_um_per_m: f64,
    /// Horny layer, µm.
    pub stratum_corneum_um: f64,
}

/// The band and why.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct BandPart {
    /// Name.
    pub name: String,
    /// Share of the draws in this band or a milder one, whole %; absent where none were made.
    pub sure_pct: Option<f64>,
    /// Standard error of it, %.
    pub sure_error_pct: Option<f64>,
    /// The mildest band that nine in ten draws meet.
    pub nine_in_ten: Option<String>,
    /// Draws.
    pub draws: Option<u64>,
    /// The band hangs on an assumed top: more stayed on the coarsest sieve of a powder than counts as a top, or only a lower bound of its
    /// sizes is known. It is this band at least, and a harsher one if the grains go further than is assumed.
    pub at_least: bool,
    /// Powders of which one figure of the sizes is known: how wide they are was assumed.
    pub spread_assumed: Vec<String>,
    /// Criterion that governs: `groove_ratio`, `index`, `d99_um` or `not_on_face_pct`.
    pub governed_by: &'static str,
    /// Its value.
    pub value: f64,
    /// Its limit.
    pub limit: f64,
    /// How far below the limit, % of it; negative beyond.
    pub margin_pct: f64,
    /// Why, in sentences.
    pub reasons: Vec<String>,
    /// The nearest change that would move the band: to a milder one where there is one.
    pub nearest_change: Option<String>,
    /// The same in numbers, towards each side.
    pub changes: Vec<ChangePart>,
    /// The same in words, or that there is none.
    pub levers: Vec<String>,
}

impl BandPart {
    /// The band, with "at least" before it where it hangs on an assumed top.
    pub fn said(&self) -> String {
        wording::band_said(&self.name, self.at_least)
    }
}

/// A change that moves the band.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ChangePart {
    /// Towards which side.
    pub direction: Direction,
    /// `parts`, `load_pct`, `d50_um`, or `through_um` for a sieve.
    pub what: &'static str,
    /// The powder changed, if it is one.
    pub powder: Option<String>,
    /// Where it stands; of a powder to be sieved, its D99.
    pub from: f64,
    /// Where the other band begins; the opening of the sieve.
    pub to: f64,
    /// What stays on the sieve, % of the powder.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub sieved_off_pct: Option<f64>,
    /// That band.
    pub band: String,
    /// In words.
    pub sentence: String,
}

/// The levers in words, or that there are none. `end` is the side on which there is no further band.
fn lever_lines(changes: &[ChangePart], end: Option<Direction>, none: impl Fn(Direction) -> String) -> Vec<String> {
    let no_band = || "there is no further band on that side".to_owned();
    let of_side = |(direction, word): (Direction, &str)| {
        let found = changes.iter().filter(|c| c.direction == direction).map(|c| c.sentence.clone());
        let mut said: Vec<String> = found.collect();
        if said.is_empty() {
            said.push(if Some(direction) == end { no_band() } else { none(direction) });
        }
        said.into_iter().map(|said| format!("{word}: {said}")).collect::<Vec<_>>()
    };
    [(Direction::Milder, "milder"), (Direction::Harsher, "harsher")].into_iter().flat_map(of_side).collect()
}

impl BlendReport {
    /// Reports a scrub as its grains reach the skin (as they are weighed in where none do), which `assessment` is of. Load, shares and
    /// sizes of the powders are those that are weighed in; sizes of the blend, rub and band are of the grains on the skin.
    /// Levers name sieves of the standard series.
    pub fn new(on_skin: &OnSkin, assessment: &Assessment, judge: &Judge, tables: &Tables) -> Self {
        Self::with_sieves(on_skin, assessment, judge, tables, &tables.standards.sieve_set())
    }

    /// The same with the sieves that are at hand.
    pub fn with_sieves(
        on_skin: &OnSkin,
        assessment: &Assessment,
        judge: &Judge,
        tables: &Tables,
        sieves: &SieveSet,
    ) -> Self {
        let rubbed = &assessment.rubbed;
        let (scrub, weighed) = (on_skin.scrub_or_weighed(), &on_skin.weighed.scrub);
        let components = weighed.blend.components().iter().zip(&rubbed.index_shares).zip(&on_skin.jar);
        let powders = components.map(|((c, share), jar)| powder_part(c, *share, jar));
        let blend = &scrub.blend;
        let moments = blend.moments();
        let work = work_part(assessment, judge);
        let half_below = work.as_ref().map_or(0.0, |w| w.index_p50_um);
        Self {
            scrub: ScrubPart::new(weighed),
            opening: Vec::new(),
            index: IndexPart {
                value: rubbed.index,
                at_first: assessment.at_first.as_ref().map(|figures| figures.index),
                over_the_rub: on_skin.over_the_rub,
                removal_um_per_m: rubbed.reference().removal_um_per_m,
                sliding_distance_m: judge.model().constants().sliding_distance_m,
                rub: rubbed.reference().partition,
                p5: None,
                p95: None,
                like: judge.like(rubbed.index, tables),
                note: wording::INDEX_NOTE,
            },
            expected_score: None,
            powders: powders.collect(),
            blend: BlendPart {
                by_volume: Percentiles::of(|p| blend.quantile(Basis::Volume, p)),
                by_mass: Percentiles::of(|p| blend.quantile(Basis::Mass, p)),
                mean_4_3_um: moments.mean_um(4, 3),
                mean_3_2_um: moments.mean_um(3, 2),
                density_g_cm3: blend.density_g_cm3(),
            },
            work,
            sites: site_parts(assessment, judge),
            band: band_part(on_skin, assessment, judge, tables, sieves),
            cautions: cautions::cautions(scrub, assessment, half_below, judge, tables),
            in_the_jar: in_the_jar(on_skin),
        }
        .opened()
    }

    /// Assesses the grains of a scrub as they reach the skin, draws how sure the verdict is, and reports it.
    pub fn drawn(on_skin: &OnSkin, judge: &Judge, tables: &Tables) -> Self {
        let grains = on_skin.scrub_or_weighed();
        let sure = sure(grains, judge, tables, Sampling::VERDICT);
        Self::new(on_skin, &judge.assess(grains), judge, tables).with_sure(&sure, judge)
    }

    /// With what draws say of the band and the index.
    pub fn with_sure(mut self, sure: &Sure, judge: &Judge) -> Self {
        let rank = judge.rank_of(&self.band.name).unwrap_or(judge.bands().len());
        self.band.sure_pct = Some(Sure::pct(sure.share(rank)));
        self.band.sure_error_pct = sure.at_most.get(rank).map(|e| 100.0 * e.error);
        self.band.nine_in_ten = Some(judge.band_name(sure.rank_met_by(SURE)).to_owned());
        self.band.draws = Some(sure.draws);
        let [p5, p95] = sure.index;
        (self.index.p5, self.index.p95) = (Some(p5), Some(p95));
        self.opened()
    }

    /// Reports a scrub of which no grain dissolves.
    pub fn of_insoluble(scrub: &Scrub, assessment: &Assessment, judge: &Judge, tables: &Tables) -> Self {
        Self::new(&OnSkin::unchanged(scrub.clone()), assessment, judge, tables)
    }

    /// For a terminal.
    pub fn to_text(&self) -> String {
        let index = &self.index;
        let removal = format!(
            "Horn removed at the reference rub: {} µm per m of sliding, one use being about {} m ({} rub)",
            three(index.removal_um_per_m),
            two(index.sliding_distance_m),
            index.rub.label()
        );
        let cost = self.scrub.cost_per_kg.map(|c| format!("Powders in a kilogram of scrub cost {}\n", three(c)));
        let arrived = self.powders.iter().any(|p| p.dissolved_in_jar_pct.is_some());
        let at = if arrived { " as it reaches the skin" } else { "" };
        let work = self.work.as_ref().map(|w| inset(w.sentence()));
        [
            format!("{}: {} % powders\n\n", self.scrub.name, three(self.scrub.powder_load_pct)),
            self.opening.iter().map(hung).collect(),
            hung(removal),
            self.expected_score.iter().map(|score| hung(score.sentence())).collect(),
            cost.unwrap_or_default(),
            part("Why", bullets(&self.band.reasons)),
            part("What would move the band", bullets(&self.band.levers)),
            part("Powders", self.powder_table()),
            part(format!("Sizes of the blend{at}, µm"), self.size_table() + &work.unwrap_or_default()),
            part("The rub at each site", self.site_table()),
            part("Assumed", bullets(self.assumptions().chain(self.in_the_jar.iter().cloned()))),
            part("Cautions", bullets(&self.cautions)),
        ]
        .concat()
    }

    /// With its opening written from what it holds.
    fn opened(mut self) -> Self {
        self.opening = vec![wording::band_line(&self.band), wording::index_line(&self.index)];
        self.opening.extend(graver_later(self.index.at_first));
        self.opening.extend(self.index.over_the_rub.map(over_the_rub));
        self.opening.extend(wording::like_line(&self.index.like));
        self.opening.extend(wording::spread_line(&self.band.spread_assumed));
        self
    }

    fn powder_table(&self) -> String {
        let heads = ["", "parts", "mass %", "volume %", "index %", "D10", "D50", "D90 µm", "GPa", "g/cm³", "round"];
        let line = |p: &PowderPart| {
            let shares = row(&p.name).three([p.parts]).percent([p.mass_pct, p.volume_pct, p.index_share_pct]);
            let sized = shares.three([p.d10_um, p.d50_um, p.d90_um]);
            sized.two([p.hardness_gpa]).three([p.density_g_cm3]).two([p.roundness])
        };
        Grid::new("lrrrrrrrrrr", &heads).rows(self.powders.iter().map(line)).render()
    }

    fn size_table(&self) -> String {
        let names = self.blend.by_volume.listed().map(|(name, _)| name);
        let heads: Vec<&str> = [""].into_iter().chain(names).chain(["span"]).collect();
        let line = |label, p: &Percentiles| row(label).three(p.listed().map(|(_, um)| um).chain([p.span]));
        let both = [line("by volume (laser)", &self.blend.by_volume), line("by mass (sieves)", &self.blend.by_mass)];
        let [by_volume, by_surface] = [self.blend.mean_4_3_um, self.blend.mean_3_2_um].map(|m| or_dash(m, 3));
        let density = three(self.blend.density_g_cm3);
        let table = Grid::new(&("l".to_owned() + &"r".repeat(heads.len() - 1)), &heads).rows(both).render();
        format!("{table}  D[4,3] {by_volume}, D[3,2] {by_surface}; density of the solid {density} g/cm³\n")
    }

    fn site_table(&self) -> String {
        let heads = ["", "gap µm", "carried %", "groove 50 % µm", "95 % µm", "groove ratio", "rub"];
        let line = |s: &SitePart| {
            let grooves = [s.groove_p50_um, s.groove_p95_um, s.groove_ratio];
            row(&s.site).three([s.gap_um]).percent([s.carried_pct]).three(grooves).and(s.rub.label())
        };
        Grid::new("lrrrrrl", &heads).rows(self.sites.iter().map(line)).render()
    }

    /// What was assumed of each powder.
    pub(super) fn assumptions(&self) -> impl Iterator<Item = String> {
        self.powders.iter().flat_map(|p| p.assumptions.iter().map(move |a| format!("{}: {a}", p.name)))
    }
}

impl WorkPart {
    /// Which grains give the most of the index.
    pub(super) fn sentence(&self) -> String {
        let [low, high, half] = [self.index_p10_um, self.index_p90_um, self.index_p50_um].map(three);
        format!("Grains of {low} to {high} µm give the middle 80 % of the index, half of it below {half} µm.")
    }
}

fn powder_part(c: &Component, index_share: f64, jar: &InJar) -> PowderPart {
    let p = &c.powder;
    let d = &p.size.distribution;
    PowderPart {
        name: p.name.clone(),
        material: p.material_key().map(str::to_owned),
        parts: c.parts.get(),
        mass_pct: 100.0 * c.mass,
        volume_pct: 100.0 * c.volume,
        index_share_pct: 100.0 * index_share,
        dissolved_in_jar_pct: Some(jar.dissolved_pct).filter(|pct| *pct > 0.0),
        density_g_cm3: p.density.get(),
        hardness_gpa: p.hardness.get(),
        roundness: p.roundness.get(),
        d10_um: d.quantile(0.1),
        d50_um: d.quantile(0.5),
        d90_um: d.quantile(0.9),
        size_basis: p.size.basis.clone(),
        sieved: p.size.sieved.as_ref().map(SievedPart::new),
        assumptions: p.size.assumptions.iter().cloned().chain(p.about_material()).collect(),
        from_table: p.from_table().into_iter().map(Property::key).collect(),
        origins: OriginsPart::new(p),
    }
}

fn work_part(assessment: &Assessment, judge: &Judge) -> Option<WorkPart> {
    let work = Work::new(judge.model(), &assessment.rubbed)?;
    let [index_p10_um, index_p50_um, index_p90_um] = [0.1, 0.5, 0.9].map(|p| work.index_quantile_um(p));
    Some(WorkPart { index_p10_um, index_p50_um, index_p90_um })
}

fn site_parts(assessment: &Assessment, judge: &Judge) -> Vec<SitePart> {
    let sites = judge.model().sites().iter().zip(&assessment.rubbed.sites).zip(&assessment.figures.groove_ratios);
    sites
        .map(|((site, rub), ratio)| SitePart {
            site: site.name.clone(),
            gap_um: rub.gap_um,
            carried_pct: 100.0 * rub.carried,
            groove_p50_um: rub.groove_p50_um,
            groove_p95_um: rub.groove_p95_um,
            groove_ratio: *ratio,
            rub: rub.partition,
            removal_um_per_m: rub.removal_um_per_m,
            stratum_corneum_um: site.stratum_corneum_um,
        })
        .collect()
}

/// Openings as they part the grains of each powder on the skin: what the jar dissolves of a layer, a sieve need not hold back.
fn openings_on_skin(on_skin: &OnSkin, sieves: &SieveSet) -> Vec<Vec<f64>> {
    let less = |loss_um: f64| sieves.openings_um.iter().map(|um| um - loss_um).filter(|um| *um > 0.0).collect();
    on_skin.jar.iter().map(|jar| less(jar.loss_um)).collect()
}

/// A sieve for the grains on the skin as one for what is weighed in.
fn sieve_of_weighed(sieving: &Sieving, on_skin: &OnSkin) -> Sieving {
    let loss_um = on_skin.jar[sieving.powder].loss_um;
    Sieving { through_um: sieving.through_um + loss_um, d99_um: sieving.d99_um + loss_um, ..sieving.clone() }
}

fn change_part(lever: &Lever, scrub: &Scrub, judge: &Judge, sentence: String) -> ChangePart {
    let name = |place: usize| scrub.blend.components()[place].powder.name.clone();
    let (what, powder, from, to, off) = match lever {
        Lever::Change(c) => (c.quantity.key(), c.quantity.powder(), c.from, c.to, None),
        Lever::Sieving(s) => ("through_um", Some(s.powder), s.d99_um, s.through_um, Some(100.0 * s.off)),
    };
    ChangePart {
        direction: lever.direction(),
        what,
        powder: powder.map(name),
        from,
        to,
        sieved_off_pct: off,
        band: judge.band_name(lever.rank()).to_owned(),
        sentence,
    }
}

fn band_part(on_skin: &OnSkin, assessment: &Assessment, judge: &Judge, tables: &Tables, sieves: &SieveSet) -> BandPart {
    let (scrub, governing) = (on_skin.scrub_or_weighed(), assessment.verdict.governing());
    let (weighed, arrives) = (&on_skin.weighed.scrub, on_skin.weighed.arrival(tables));
    let on_its_way = on_skin.jar_dissolves().then_some((weighed, &arrives as Arrival));
    let found = levers(judge, scrub, assessment, &openings_on_skin(on_skin, sieves), on_its_way);
    let change = |lever: Lever| {
        let (lever, followed) = match lever {
            Lever::Sieving(s) if on_skin.jar_dissolves() => {
                (Lever::Sieving(sieve_of_weighed(&s, on_skin)), " (the jar taken to dissolve as much of it)")
            }
            lever => (lever, ""),
        };
        change_part(&lever, weighed, judge, wording::lever(&lever, weighed, judge, sieves.owned) + followed)
    };
    let changes: Vec<ChangePart> = found.into_iter().map(change).collect();
    let end = match assessment.verdict.rank {
        0 => Some(Direction::Milder),
        rank if rank == judge.bands().len() => Some(Direction::Harsher),
        _ => None,
    };
    let levers = lever_lines(&changes, end, |direction| wording::no_lever(direction, weighed, assessment, judge));
    BandPart {
        name: judge.band_name(assessment.verdict.rank).to_owned(),
        sure_pct: None,
        sure_error_pct: None,
        nine_in_ten: None,
        draws: None,
        at_least: wording::is_at_least(scrub, assessment.verdict.rank, judge, tables),
        spread_assumed: wording::spread_assumed(scrub),
        governed_by: governing.criterion.key(),
        value: governing.value,
        limit: governing.limit,
        margin_pct: governing.margin_pct(),
        reasons: wording::reasons(scrub, assessment, judge),
        nearest_change: changes.first().map(|c| c.sentence.clone()),
        changes,
        levers,
    }
}
