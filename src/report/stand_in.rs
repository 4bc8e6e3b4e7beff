//! The result of `gritwise stand-in`.

use super::layout::{Grid, bullets, par, part, row};
use super::on_skin::{figure, over_the_rub};
use super::wording::open_top_note;
use crate::band::{Assessment, Judge};
use crate::blend::Scrub;
use crate::design::StandIn;
use crate::formula::{OnSkin, OverTheRub};
use crate::numerics::written::{off_by, three};
use crate::powder::Powder;
use crate::tables::Tables;
use serde::Serialize;

/// Stand-ins for a powder. The field names are the keys of `--json`.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct StandInReport {
    /// The scrub.
    pub scrub: String,
    /// The powder to be replaced.
    pub replaced: String,
    /// Its share now, % w/w of the scrub.
    pub pct_of_scrub: f64,
    /// The index now, of the grains as they reach the skin.
    pub index: f64,
    /// The index over the whole rub now, as grains dissolve; absent when none do.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub index_over_the_rub: Option<OverTheRub>,
    /// The band now.
    pub band: String,
    /// What the powders in a kilogram of scrub cost now, if every price is known.
    pub cost_per_kg: Option<f64>,
    /// What could stand in, the nearest first.
    pub stand_ins: Vec<StandInPart>,
    /// What the jar has taken of the grains that are held against each other.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub jar_note: Option<String>,
    /// What "at least" stands for, where a powder of the scrub has no known top.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub open_top_note: Option<String>,
}

/// One stand-in.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct StandInPart {
    /// Rank, from 1.
    pub rank: usize,
    /// The powder.
    pub name: String,
    /// Key of its material.
    pub material: Option<String>,
    /// Share that keeps index and curve nearest, % w/w of the scrub.
    pub pct_of_scrub: f64,
    /// Index with it.
    pub index: f64,
    /// Index over the whole rub with it, as grains dissolve, of the grains that reach the skin; absent when none do.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub over_the_rub: Option<OverTheRub>,
    /// Band with it.
    pub band: String,
    /// Largest gap between the undersize curves by volume, %.
    pub curve_off_pct: f64,
    /// What the powders in a kilogram of scrub cost with it.
    pub cost_per_kg: Option<f64>,
    /// What would go wrong with it in this scrub; such stand-ins come after those without.
    pub wrong_here: Vec<String>,
    /// What changes, in words.
    pub changes: Vec<String>,
}

/// What flags of the materials table tell of a powder that comes in or goes.
const TOLD: [(&str, &str); 9] = [
    ("tree-nut", "nut shell (name it on the label)"),
    ("seed-protein", "seed or stone protein (name it on the label)"),
    ("gluten", "cereal (name it on the label)"),
    ("silica-dust-low", "silica in the dust, little (mask)"),
    ("silica-dust", "silica in the dust (mask and extraction)"),
    ("silica-dust-high", "crystalline silica in the dust (mask and extraction; better another powder)"),
    ("dust", "fine mineral dust (mask)"),
    ("dissolves", "grains that dissolve in water"),
    ("not-on-face", "a material not used on the face"),
];

impl StandInReport {
    /// Reports stand-ins for the powder at `place`.
    pub fn new(
        judge: &Judge,
        on_skin: &OnSkin,
        now: &Assessment,
        place: usize,
        found: &[(StandIn, Vec<String>)],
        tables: &Tables,
    ) -> Self {
        let scrub = &on_skin.weighed.scrub;
        let component = &scrub.blend.components()[place];
        let parts = found.iter().enumerate().map(|(i, (s, wrong))| {
            let over_the_rub = on_skin.weighed.with(s.scrub.clone()).on_skin(tables, judge.model()).over_the_rub;
            StandInPart {
                over_the_rub,
                wrong_here: wrong.clone(),
                ..stand_in(judge, scrub, now, &component.powder, i + 1, s)
            }
        });
        Self {
            scrub: scrub.name.clone(),
            replaced: component.powder.name.clone(),
            pct_of_scrub: scrub.load.get() * component.mass,
            index: now.rubbed.index,
            index_over_the_rub: on_skin.over_the_rub,
            band: judge.band_name(now.verdict.rank).to_owned(),
            cost_per_kg: scrub.cost_per_kg(),
            stand_ins: parts.collect(),
            jar_note: on_skin.jar_dissolves().then(|| "of each candidate its water takes what it dissolves".to_owned()),
            open_top_note: open_top_note(scrub, tables),
        }
    }

    /// For a terminal.
    pub fn to_text(&self) -> String {
        let [pct, index] = [self.pct_of_scrub, self.index].map(three);
        let Self { replaced, scrub, band, .. } = self;
        let line = |s: &StandInPart| {
            let named = row(s.rank.to_string()).and(&s.name).three([s.pct_of_scrub, s.index]);
            named.and(&s.band).and(format!("{} %", off_by(s.curve_off_pct, 2)))
        };
        let change = |s: &StandInPart| {
            let wrong = s.wrong_here.iter().map(|w| format!("wrong here: {w}"));
            let all: Vec<String> = wrong.chain(s.changes.iter().cloned()).collect();
            let changes = if all.is_empty() { "nothing that the tables know of".to_owned() } else { all.join("; ") };
            let over = s.over_the_rub.map_or(String::new(), |o| format!("; index over the whole rub {}", figure(o)));
            format!("{}: {changes}{over}", s.name)
        };
        let heads = ["", "powder", "% of the scrub", "index", "band", "curve off by"];
        let over = self.index_over_the_rub.map(|o| format!("{}, now.", over_the_rub(o)));
        let jar = self.jar_note.as_ref().map(|note| format!("Of the jar: {note}."));
        let open = self.open_top_note.as_ref().map(|note| format!("{note}."));
        let note = "All other powders keep their share of the scrub; the share of the stand-in is solved so that index and curve \
                    stay as near as they can. The index is a model, not a clinical measure: try the new scrub before you sell it.";
        [
            format!("In place of {replaced}, {pct} % of {scrub} (index {index}, {band}):\n\n"),
            Grid::new("rlrrlr", &heads).rows(self.stand_ins.iter().map(line)).render(),
            part("What changes", bullets(self.stand_ins.iter().map(change))),
            "\n".to_owned(),
            [over, jar, open].into_iter().flatten().map(par).collect(),
            par(note),
        ]
        .concat()
    }
}

fn stand_in(
    judge: &Judge,
    before: &Scrub,
    now: &Assessment,
    replaced: &Powder,
    rank: usize,
    s: &StandIn,
) -> StandInPart {
    let powder = &s.scrub.blend.components()[s.place].powder;
    let mut changes = Vec::new();
    let band = judge.band_name(s.assessment.verdict.rank);
    if s.assessment.verdict.rank != now.verdict.rank {
        changes.push(format!("the band becomes {band}"));
    }
    for (flag, what) in TOLD {
        match (replaced.is_flagged(flag), powder.is_flagged(flag)) {
            (true, false) => changes.push(format!("no more {}", what.split(" (").next().unwrap_or(what))),
            (false, true) => changes.push(format!("comes in: {what}")),
            _ => {}
        }
    }
    if let (Some(from), Some(to)) = (before.cost_per_kg(), s.scrub.cost_per_kg()) {
        let word = if to < from { "less" } else { "more" };
        changes.push(format!("powders cost {} {word} per kg of scrub", three((to - from).abs())));
    }
    StandInPart {
        rank,
        name: powder.name.clone(),
        material: powder.material_key().map(str::to_owned),
        pct_of_scrub: s.pct_of_scrub,
        index: s.assessment.rubbed.index,
        over_the_rub: None,
        band: band.to_owned(),
        curve_off_pct: 100.0 * s.curve_off,
        cost_per_kg: s.scrub.cost_per_kg(),
        wrong_here: Vec::new(),
        changes,
    }
}
