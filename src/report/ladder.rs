//! The result of `gritwise ladder`: one quantity along the way, or two as a map.

use super::blend::ScrubPart;
use super::layout::{Grid, bullets, hung, joined, par, part, row};
use super::on_skin::over_the_rub;
use super::wording;
use crate::band::Judge;
use crate::blend::Scrub;
use crate::design::{Border, Borne, Crossing, Ladder, LadderStep, Map, Point, Varied};
use crate::formula::{OnSkin, OverTheRub};
use crate::numerics::written::{Keyed, three, trimmed};
use crate::tables::Tables;
use serde::Serialize;
use std::iter::once;

/// A scrub walked. The field names are the keys of `--json`.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct WalkReport {
    /// The scrub as it stands, its grains as they reach the skin.
    pub scrub: ScrubPart,
    /// Its index over the whole rub, as grains dissolve; absent when none do.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub index_over_the_rub: Option<OverTheRub>,
    /// What is varied; of a map across, then upwards.
    pub vary: Vec<VaryPart>,
    /// What was found.
    #[serde(flatten)]
    pub found: Walk,
    /// What the index and the band limits are and are not.
    pub note: String,
}

/// What is found on the way.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(untagged)]
pub enum Walk {
    /// Along one quantity.
    Ladder(LadderPart),
    /// Over two.
    Map {
        /// The map.
        map: MapPart,
    },
}

/// A ladder.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct LadderPart {
    /// The sites, in the order of the groove ratios.
    #[serde(skip)]
    sites: Vec<String>,
    /// The scrub at equal steps.
    pub points: Vec<PointPart>,
    /// Every change of the band, rising.
    pub crossings: Vec<CrossingPart>,
    /// Where the grains carry all of the rub; empty where they never do.
    pub grain_borne: Vec<BornePart>,
}

/// What is varied.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct VaryPart {
    /// `parts`, `load_pct` or `d50_um`.
    pub what: &'static str,
    /// The powder, if it is about one.
    pub powder: Option<String>,
    /// In words.
    pub label: String,
    /// From.
    pub low: f64,
    /// To.
    pub high: f64,
    /// Where the scrub itself stands.
    pub now: f64,
}

/// The scrub at one value.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct PointPart {
    /// The value.
    pub value: f64,
    /// Abrasiveness index.
    pub index: f64,
    /// `ratio_` and the name of the site, for every site: the groove ratio there.
    #[serde(flatten)]
    pub ratios: Keyed,
    /// Name of the band.
    pub band: String,
}

/// A change of the band.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct CrossingPart {
    /// Where, solved.
    pub value: f64,
    /// The band just below.
    pub from: String,
    /// The band just above.
    pub to: String,
    /// The figure that passes its limit: `groove_ratio`, `index` or `d99_um`.
    pub criterion: &'static str,
    /// That limit.
    pub limit: f64,
    /// In words.
    pub because: String,
}

/// A part of the way that is grain-borne at a site.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct BornePart {
    /// Site.
    pub site: String,
    /// From, solved unless it is the low end.
    pub from: f64,
    /// To, solved unless it is the high end.
    pub to: f64,
}

impl WalkReport {
    /// Reports a ladder of a scrub.
    pub fn of_ladder(on_skin: &OnSkin, judge: &Judge, ladder: &Ladder, tables: &Tables) -> Self {
        let found = Walk::Ladder(LadderPart {
            sites: judge.model().sites().iter().map(|s| s.name.clone()).collect(),
            points: ladder.steps.iter().map(|s| point_part(judge, s)).collect(),
            crossings: ladder.crossings.iter().map(|c| crossing_part(judge, c)).collect(),
            grain_borne: ladder.borne.iter().map(|b| borne_part(judge, b)).collect(),
        });
        Self::new(on_skin, &[(ladder.varied, ladder.now)], found, tables)
    }

    /// Reports a map of a scrub.
    pub fn of_map(on_skin: &OnSkin, judge: &Judge, map: &Map, tables: &Tables) -> Self {
        let name = |rank: usize| judge.band_name(rank).to_owned();
        let border = |b: &Border| BorderPart { from: name(b.from), to: name(b.to), points: b.points.clone() };
        let [across, upwards] = map.varied;
        let map_part = MapPart {
            x: map.x.clone(),
            y: map.y.clone(),
            index: map.index.clone(),
            band: map.rank.iter().map(|row| row.iter().map(|r| name(*r)).collect()).collect(),
            bands: (0..=judge.bands().len()).map(name).collect(),
            borders: map.borders.iter().map(border).collect(),
            grain_borne: map.borne.iter().map(|&site| judge.model().sites()[site].name.clone()).collect(),
        };
        Self::new(on_skin, &[(across, map.now.0), (upwards, map.now.1)], Walk::Map { map: map_part }, tables)
    }

    fn new(on_skin: &OnSkin, varied: &[(Varied, f64)], found: Walk, tables: &Tables) -> Self {
        let scrub = &on_skin.weighed.scrub;
        Self {
            scrub: ScrubPart::new(scrub),
            index_over_the_rub: on_skin.over_the_rub,
            vary: varied.iter().map(|(varied, now)| vary_part(scrub, *varied, *now)).collect(),
            found,
            note: note(on_skin, tables),
        }
    }

    /// For a terminal; a map in digits, thinned to what a screen holds, and its borders.
    pub fn to_text(&self) -> String {
        let now = |v: &VaryPart| format!("{} to {} (now {})", exact(v.low), exact(v.high), trimmed(v.now, 3));
        let walked = joined(self.vary.iter().map(|v| format!("{} from {}", v.label, now(v))), "; ");
        let found = match &self.found {
            Walk::Ladder(ladder) => ladder.text(&self.vary[0]),
            Walk::Map { map } => map.text(&self.vary),
        };
        format!("{}{found}\n{}", hung(format!("{}: {walked}", self.scrub.name)), par(&self.note))
    }
}

impl LadderPart {
    fn text(&self, vary: &VaryPart) -> String {
        let along = bullets(self.stretches(vary).into_iter().chain(self.borne(vary)));
        part("Bands along the way", along) + &part("Step by step", self.table(vary))
    }

    /// Each band with where it holds, and what ends it.
    fn stretches(&self, vary: &VaryPart) -> Vec<String> {
        let (low, high) = (vary.low, vary.high);
        let Some(first) = self.crossings.first() else {
            let band = self.points.first().map_or("", |p| p.band.as_str());
            return vec![format!("{band} all the way, {} to {}", exact(low), exact(high))];
        };
        let starts = once((low, &first.from)).chain(self.crossings.iter().map(|c| (c.value, &c.to)));
        let ends = self.crossings.iter().map(Some).chain(once(None));
        let stretch = |((from, band), end): ((f64, &String), Option<&CrossingPart>)| {
            let to = exact(end.map_or(high, |c| c.value));
            let there = end.map_or(String::new(), |c| format!(": there {}", c.because));
            format!("{band} from {} to {to}{there}", exact(from))
        };
        starts.zip(ends).map(stretch).collect()
    }

    fn borne(&self, vary: &VaryPart) -> Vec<String> {
        if self.grain_borne.is_empty() {
            return vec!["the rub is shared at every site all the way".to_owned()];
        }
        let borne = |BornePart { site, from, to }: &BornePart| {
            let whole = *from == vary.low && *to == vary.high;
            let way = if whole { "all the way".to_owned() } else { format!("from {} to {}", exact(*from), exact(*to)) };
            format!("grain-borne at the {site} {way}")
        };
        self.grain_borne.iter().map(borne).collect()
    }

    fn table(&self, vary: &VaryPart) -> String {
        let ratios = self.sites.iter().map(|site| format!("ratio {site}"));
        let heads = [vary.what, "index"].map(str::to_owned).into_iter().chain(ratios);
        let heads: Vec<String> = heads.chain(["band".to_owned()]).collect();
        let line = |p: &PointPart| {
            let ratios = p.ratios.0.iter().map(|(_, ratio)| *ratio);
            row(trimmed(p.value, 4)).three([p.index]).three(ratios).and(&p.band)
        };
        Grid::new(&("r".repeat(heads.len() - 1) + "l"), &heads).rows(self.points.iter().map(line)).render()
    }
}

/// The values over two quantities.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct MapPart {
    /// Values of the first quantity.
    pub x: Vec<f64>,
    /// Values of the second.
    pub y: Vec<f64>,
    /// Abrasiveness index: `index[row][column]`, a row for every y and a column for every x.
    pub index: Vec<Vec<f64>>,
    /// Names of all bands, mild to harsh.
    pub bands: Vec<String>,
    /// Name of the band, in the same order as the index.
    pub band: Vec<Vec<String>>,
    /// The lines between bands.
    pub borders: Vec<BorderPart>,
    /// Sites at which the rub is grain-borne somewhere on the map.
    pub grain_borne: Vec<String>,
}

/// A line between two bands.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct BorderPart {
    /// The milder band.
    pub from: String,
    /// The harsher band.
    pub to: String,
    /// Points `[x, y]`, each solved; straight between them.
    pub points: Vec<Point>,
}

impl MapPart {
    fn text(&self, vary: &[VaryPart]) -> String {
        let seen = |band: &String| self.band.iter().flatten().any(|b| b == band);
        let legend = self.bands.iter().enumerate().filter(|(_, band)| seen(band));
        let all = || self.index.iter().flatten().copied();
        let (least, most) = all().fold((f64::INFINITY, 0.0_f64), |(lo, hi), v| (lo.min(v), hi.max(v)));
        let borne = if self.grain_borne.is_empty() {
            "shared at every site and point".to_owned()
        } else {
            format!("grain-borne in parts of the map at: {}", self.grain_borne.join(", "))
        };
        let border = |b: &BorderPart| {
            let place = |p: Option<&Point>| p.map_or_else(String::new, |p| format!("{}, {}", exact(p.0), exact(p.1)));
            let ends = [b.points.first(), b.points.last()].map(place);
            row(&b.from).and(&b.to).and(b.points.len().to_string()).all(ends)
        };
        let borders = Grid::new("llrll", &["between", "and", "points", "from", "to"]);
        let borders = borders.rows(self.borders.iter().map(border)).render();
        [
            format!("\n{}\n", self.digits(vary)),
            legend.map(|(i, band)| format!("  {} {band}\n", i + 1)).collect(),
            format!("\nThe index runs from {} to {}.\nThe rub is {borne}.\n", three(least), three(most)),
            part("Borders (every point in --json)", if self.borders.is_empty() { "" } else { &borders }),
        ]
        .concat()
    }

    fn digits(&self, vary: &[VaryPart]) -> String {
        const MOST: usize = 41;
        let (across, upwards) = (self.x.len().div_ceil(MOST), self.y.len().div_ceil(MOST));
        let digit =
            |band: &String| self.bands.iter().position(|b| b == band).map_or_else(String::new, |i| (i + 1).to_string());
        let labels: Vec<String> = self.y.iter().map(|y| trimmed(*y, 4)).collect();
        let wide = labels.iter().map(|l| l.chars().count()).max().unwrap_or(0);
        let mut out = format!("  {}, upwards\n", vary[1].label);
        for (label, row) in labels.iter().zip(&self.band).step_by(upwards).collect::<Vec<_>>().into_iter().rev() {
            let cells: Vec<String> = row.iter().step_by(across).map(digit).collect();
            out += &format!("  {label:>wide$} | {}\n", cells.join(" "));
        }
        let ends = (trimmed(vary[0].low, 4), trimmed(vary[0].high, 4));
        out += &format!("  {:>wide$}   {} to {}: {}\n", "", ends.0, ends.1, vary[0].label);
        out
    }
}

/// A solved value, to more digits than a balance has.
fn exact(value: f64) -> String {
    trimmed(value, 6)
}

fn note(on_skin: &OnSkin, tables: &Tables) -> String {
    let open_top = wording::open_top_note(on_skin.scrub_or_weighed(), tables).map(|said| format!("{said}. "));
    let rub = on_skin.over_the_rub.map(|o| format!("{}, where the scrub stands. ", over_the_rub(o)));
    let jar = on_skin
        .jar_dissolves()
        .then_some("At each step the water in the jar dissolves what it takes; what is left is rubbed. ");
    format!(
        "{}{}{}Abrasiveness index: {}. Groove ratios are of the same model; {}.",
        rub.unwrap_or_default(),
        jar.unwrap_or_default(),
        open_top.unwrap_or_default(),
        wording::INDEX_NOTE,
        wording::BANDS_NOTE
    )
}

fn vary_part(scrub: &Scrub, varied: Varied, now: f64) -> VaryPart {
    let powder = varied.quantity.powder().map(|i| scrub.blend.components()[i].powder.name.clone());
    VaryPart {
        what: varied.quantity.key(),
        powder,
        label: varied.label(scrub),
        low: varied.low,
        high: varied.high,
        now,
    }
}

fn point_part(judge: &Judge, step: &LadderStep) -> PointPart {
    let sites = judge.model().sites().iter().map(|s| format!("ratio_{}", s.name));
    PointPart {
        value: step.value,
        index: step.index,
        ratios: Keyed(sites.zip(step.groove_ratios.iter().copied()).collect()),
        band: judge.band_name(step.rank).to_owned(),
    }
}

fn crossing_part(judge: &Judge, c: &Crossing) -> CrossingPart {
    let site = &judge.bands()[c.from.min(c.to)].site;
    CrossingPart {
        value: c.value,
        from: judge.band_name(c.from).to_owned(),
        to: judge.band_name(c.to).to_owned(),
        criterion: c.held.criterion.key(),
        limit: c.held.limit,
        because: wording::passes(&c.held, site),
    }
}

fn borne_part(judge: &Judge, b: &Borne) -> BornePart {
    BornePart { site: judge.model().sites()[b.site].name.clone(), from: b.from, to: b.to }
}
