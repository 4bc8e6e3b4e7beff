//! The result of `gritwise compare`.

use super::BlendReport;
use super::layout::{Grid, bullets, or_dash, par, part, row};
use super::on_skin::figure;
use crate::band::Judge;
use crate::blend::Scrub;
use crate::confidence::{BesideFirst, Sure};
use crate::design::{Difference, Quality, differences};
use crate::formula::WholeDifference;
use crate::numerics::written::{signed, three};
use serde::Serialize;

/// Scrubs side by side. The field names are the keys of `--json`.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct CompareReport {
    /// Every scrub, as `blend` reports it.
    pub scrubs: Vec<BlendReport>,
    /// What makes the others differ from the first, per scrub those that move the index most first.
    pub differences: Vec<DifferencePart>,
    /// What else tells the others from the first: ingredients, base, acid, container, use, checks, cost.
    pub whole: Vec<WholePart>,
    /// Of the draws that all scrubs have in common, the share in which each of the others has a lower index than the first, whole %.
    pub milder_than_first_pct: Vec<f64>,
    /// The share in which it has another index than the first, whole %, rounded up: 0 where no draw tells them apart.
    pub apart_from_first_pct: Vec<f64>,
}

/// One difference.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct DifferencePart {
    /// The scrub that is held against the first.
    pub scrub: String,
    /// What differs, in words.
    pub what: String,
    /// `load`, `share`, `size`, `grains`, or `known`: how well a number is known that both state alike.
    pub quality: &'static str,
    /// The powder, if it is about one.
    pub powder: Option<String>,
    /// What it does to the index, going from the first scrub to this one.
    pub effect_on_index: f64,
}

/// A difference beyond the grains.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct WholePart {
    /// The scrub that is held against the first.
    pub scrub: String,
    /// What differs.
    #[serde(flatten)]
    pub difference: WholeDifference,
}

impl CompareReport {
    /// Compares scrubs with the first of them; `reports` holds their reports in the same order.
    /// `drawn` is what common draws say of each of the others.
    /// `whole` says of each of the others what else differs.
    pub fn new(
        judge: &Judge,
        scrubs: &[Scrub],
        reports: Vec<BlendReport>,
        drawn: &[BesideFirst],
        whole: Vec<Vec<WholeDifference>>,
    ) -> Self {
        let others = reports.iter().skip(1).zip(whole);
        let of_one = |(r, all): (&BlendReport, Vec<WholeDifference>)| {
            let scrub = r.scrub.name.clone();
            all.into_iter().map(move |difference| WholePart { scrub: scrub.clone(), difference })
        };
        let whole = others.flat_map(of_one).collect();
        let all = |other| differences(judge, &scrubs[0], other).into_iter().map(|d| difference_part(other, d));
        Self {
            scrubs: reports,
            differences: scrubs.iter().skip(1).flat_map(all).collect(),
            milder_than_first_pct: drawn.iter().map(|d| Sure::pct(d.milder)).collect(),
            apart_from_first_pct: drawn.iter().map(|d| (100.0 * d.apart).ceil()).collect(),
            whole,
        }
    }

    /// For a terminal.
    pub fn to_text(&self) -> String {
        let drawn = self.milder_than_first_pct.iter().zip(&self.apart_from_first_pct);
        let others = self.scrubs.iter().skip(1).zip(drawn);
        let arrived = self.scrubs.iter().flat_map(|s| &s.powders).any(|p| p.dissolved_in_jar_pct.is_some());
        let jar = "Sizes of the blends, and loads and sizes that make a difference, are of the grains as they reach the skin.";
        let open = "\"At least\" stands where the top of a powder's sizes is open: how far up it reaches is assumed (max_um beside \
                    sieve, or an upper bound of the size, says where it ends).";
        let effects = "Effects are on the index, each the mean of putting the difference into the first scrub and of taking it out of \
             the other; they need not add up to the whole. The index is a model, relative to a reference scrub of 100; not a \
             clinical measure.";
        let at_least = self.scrubs.iter().any(|s| s.band.at_least);
        let notes = [(jar, arrived), (open, at_least), (effects, true)];
        [
            self.table(),
            others.map(|(other, (milder, apart))| self.against_first(other, *milder, *apart)).collect(),
            "\n".to_owned(),
            notes.into_iter().filter(|(_, holds)| *holds).map(|(note, _)| par(note)).collect(),
        ]
        .concat()
    }

    /// What makes another scrub differ from the first.
    fn against_first(&self, other: &BlendReport, milder: f64, apart: f64) -> String {
        let (first, name) = (&self.scrubs[0].scrub.name, &other.scrub.name);
        let [from, to] = [&self.scrubs[0], other].map(|s| s.index.value);
        let of_this = self.differences.iter().filter(|d| d.scrub == *name);
        let mut said: Vec<String> = of_this.map(|d| format!("{}: {}", signed(d.effect_on_index), d.what)).collect();
        said.extend(self.whole.iter().filter(|w| w.scrub == *name).map(|w| w.difference.what.clone()));
        if said.is_empty() {
            said.push("nothing differs".to_owned());
        }
        let milder = if apart == 0.0 {
            "no draw tells them apart".to_owned()
        } else {
            format!("milder than {first} in {milder:.0} of 100 draws that they have in common")
        };
        let title = format!("From {first} to {name}: index {} to {}", three(from), three(to));
        part(title, bullets([milder].iter().chain(&said)))
    }

    fn table(&self) -> String {
        let scrubs = self.scrubs.iter();
        let heads: Vec<&str> = [""].into_iter().chain(scrubs.map(|s| s.scrub.name.as_str())).collect();
        let mut table = Grid::new(&("l".to_owned() + &"r".repeat(self.scrubs.len())), &heads);
        let mut add = |label: &str, value: &dyn Fn(&BlendReport) -> String| {
            table.row(row(label).all(self.scrubs.iter().map(value)));
        };
        add("band", &|s| s.band.said());
        add("how sure: of 100 draws", &|s| s.band.sure_pct.map_or("-".to_owned(), |p| format!("{p:.0}")));
        add("nine in ten draws meet", &|s| s.band.nine_in_ten.clone().unwrap_or_else(|| "-".to_owned()));
        add("abrasiveness index", &|s| three(s.index.value));
        if self.scrubs.iter().any(|s| s.index.over_the_rub.is_some()) {
            add("over the whole rub", &|s| s.index.over_the_rub.map_or("-".to_owned(), figure));
        }
        add("removal, µm per m", &|s| three(s.index.removal_um_per_m));
        add("powders, % of the scrub", &|s| three(s.scrub.powder_load_pct));
        if self.scrubs.iter().any(|s| s.scrub.cost_per_kg.is_some()) {
            add("powders, cost per kg", &|s| or_dash(s.scrub.cost_per_kg, 3));
        }
        let sizes = self.scrubs[0].blend.by_volume.listed().enumerate();
        for (i, (name, _)) in sizes.filter(|(_, (name, _))| ["D10", "D50", "D90", "D99"].contains(name)) {
            add(&format!("{name} by volume, µm"), &|s| {
                s.blend.by_volume.listed().nth(i).map_or(String::new(), |(_, um)| three(um))
            });
        }
        add("span", &|s| three(s.blend.by_volume.span));
        for (i, site) in self.scrubs[0].sites.iter().enumerate() {
            add(&format!("groove ratio, {}", site.site), &|s| three(s.sites[i].groove_ratio));
        }
        add("rub at the face", &|s| s.index.rub.label().to_owned());
        table.render()
    }
}

fn difference_part(scrub: &Scrub, d: Difference) -> DifferencePart {
    let (what, quality, powder) = match d.quality {
        Quality::Load { from_pct, to_pct } => {
            (format!("powder load {} to {} %", three(from_pct), three(to_pct)), "load", None)
        }
        Quality::Share { powder, from_pct, to_pct } => {
            let what = match (from_pct == 0.0, to_pct == 0.0) {
                (true, _) => format!("{powder} comes in with {} % of the powders", three(to_pct)),
                (_, true) => format!("{powder}, {} % of the powders, is left out", three(from_pct)),
                _ => format!("{powder}: {} to {} % of the powders", three(from_pct), three(to_pct)),
            };
            (what, "share", Some(powder))
        }
        Quality::Size { powder, from_d50_um, to_d50_um } => {
            let what = format!("{powder}: sizes, D50 {} to {} µm", three(from_d50_um), three(to_d50_um));
            (what, "size", Some(powder))
        }
        Quality::Grains { powder } => (format!("{powder}: density, hardness or roundness"), "grains", Some(powder)),
        Quality::Known { powder, what, from, to } => {
            let of = powder.as_ref().map_or(String::new(), |powder| format!("{powder}: "));
            (format!("{of}how well it is known, {what}: {from} before, {to} then"), "known", powder)
        }
    };
    DifferencePart { scrub: scrub.name.clone(), what, quality, powder, effect_on_index: d.effect_on_index }
}
