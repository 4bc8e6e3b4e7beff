//! The result of `gritwise compare`.

use super::BlendReport;
use super::layout::{Align, TextTable, signed, significant, wrap};
use crate::band::Judge;
use crate::blend::Scrub;
use crate::confidence::Sure;
use crate::design::{Difference, Quality, differences};
use serde::Serialize;

/// Scrubs side by side. The field names are the keys of `--json`.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct CompareReport {
    /// Every scrub, as `blend` reports it.
    pub scrubs: Vec<BlendReport>,
    /// What makes the others differ from the first, per scrub those that move the index most first.
    pub differences: Vec<DifferencePart>,
    /// Of the draws that all scrubs have in common, the share in which each of the others has a lower index than the first, whole %.
    pub milder_than_first_pct: Vec<f64>,
}

/// One difference.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct DifferencePart {
    /// The scrub that is held against the first.
    pub scrub: String,
    /// What differs, in words.
    pub what: String,
    /// `load`, `share`, `size` or `grains`.
    pub quality: &'static str,
    /// The powder, if it is about one.
    pub powder: Option<String>,
    /// What it does to the index, going from the first scrub to this one.
    pub effect_on_index: f64,
}

impl CompareReport {
    /// Compares scrubs with the first of them; `reports` holds their reports in the same order.
    /// `milder` is the share of common draws (0..1) in which each of the others has a lower index than the first.
    pub fn new(judge: &Judge, scrubs: &[Scrub], reports: Vec<BlendReport>, milder: &[f64]) -> Self {
        let mut parts = Vec::new();
        if let Some((first, others)) = scrubs.split_first() {
            for other in others {
                parts.extend(differences(judge, first, other).into_iter().map(|d| difference_part(other, d)));
            }
        }
        let milder_than_first_pct = milder.iter().map(|share| Sure::pct(*share)).collect();
        Self { scrubs: reports, differences: parts, milder_than_first_pct }
    }

    /// For a terminal.
    pub fn to_text(&self) -> String {
        let mut out = self.table();
        for (report, milder) in self.scrubs.iter().skip(1).zip(&self.milder_than_first_pct) {
            let (first, name) = (&self.scrubs[0], &report.scrub.name);
            let (from, to) = (first.index.value, report.index.value);
            out += &format!(
                "\nFrom {} to {name}: index {} to {}\n",
                first.scrub.name,
                significant(from, 3),
                significant(to, 3)
            );
            let same = from == to && self.differences.iter().all(|d| d.scrub != *name);
            let milder = match same {
                true => "no draw tells them apart".to_owned(),
                false => {
                    format!("milder than {} in {milder:.0} of 100 draws that they have in common", first.scrub.name)
                }
            };
            out += &wrap(&milder, 100, "  - ", "    ");
            let of_this = self.differences.iter().filter(|d| d.scrub == *name);
            for d in of_this.clone() {
                out += &wrap(&format!("{}: {}", signed(d.effect_on_index), d.what), 100, "  - ", "    ");
            }
            if of_this.count() == 0 {
                out += "  - nothing differs\n";
            }
        }
        out += "\n";
        if self.scrubs.iter().flat_map(|s| &s.powders).any(|p| p.dissolved_in_jar_pct.is_some()) {
            let note = "Sizes of the blends, and loads and sizes that make a difference, are of the grains as they reach the skin.";
            out += &wrap(note, 100, "", "");
        }
        if self.scrubs.iter().any(|s| s.band.at_least) {
            let note = "\"At least\" stands where the top of a powder's sizes is open: how far up it reaches is assumed (max_um beside \
                        sieve says where it ends).";
            out += &wrap(note, 100, "", "");
        }
        out += &wrap(
            "Effects are on the index, each the mean of putting the difference into the first scrub and of taking it out of \
             the other; they need not add up to the whole. The index is a model, relative to a reference scrub of 100; not a \
             clinical measure.",
            100,
            "",
            "",
        );
        out
    }

    fn table(&self) -> String {
        let columns: Vec<(&str, Align)> = [("", Align::Left)]
            .into_iter()
            .chain(self.scrubs.iter().map(|s| (s.scrub.name.as_str(), Align::Right)))
            .collect();
        let mut table = TextTable::new(&columns);
        let mut row = |label: &str, value: &dyn Fn(&BlendReport) -> String| {
            table.row([label.to_owned()].into_iter().chain(self.scrubs.iter().map(value)).collect());
        };
        row("band", &|s| s.band.said());
        row("how sure: of 100 draws", &|s| s.band.sure_pct.map_or("-".to_owned(), |p| format!("{p:.0}")));
        row("nine in ten draws meet", &|s| s.band.nine_in_ten.clone().unwrap_or_else(|| "-".to_owned()));
        row("abrasiveness index", &|s| significant(s.index.value, 3));
        if self.scrubs.iter().any(|s| s.index.over_the_rub.is_some()) {
            row("over the whole rub", &|s| s.index.over_the_rub.map_or("-".to_owned(), |o| o.figure()));
        }
        row("removal, µm per m", &|s| significant(s.index.removal_um_per_m, 3));
        row("powders, % of the scrub", &|s| significant(s.scrub.powder_load_pct, 3));
        if self.scrubs.iter().any(|s| s.scrub.cost_per_kg.is_some()) {
            row("powders, cost per kg", &|s| s.scrub.cost_per_kg.map_or("-".to_owned(), |c| significant(c, 3)));
        }
        for (i, name) in ["D10", "D50", "D90", "D99"].into_iter().enumerate() {
            row(&format!("{name} by volume, µm"), &|s| {
                let p = &s.blend.by_volume;
                significant([p.d10_um, p.d50_um, p.d90_um, p.d99_um][i], 3)
            });
        }
        row("span", &|s| significant(s.blend.by_volume.span, 3));
        for (i, site) in self.scrubs[0].sites.iter().enumerate() {
            row(&format!("groove ratio, {}", site.site), &|s| significant(s.sites[i].groove_ratio, 3));
        }
        row("rub at the face", &|s| s.index.rub.label().to_owned());
        table.render()
    }
}

fn difference_part(scrub: &Scrub, d: Difference) -> DifferencePart {
    let three = |v: f64| significant(v, 3);
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
    };
    DifferencePart { scrub: scrub.name.clone(), what, quality, powder, effect_on_index: d.effect_on_index }
}
