//! The report of a panel, for a terminal.

use super::super::layout::{Grid, bullets, inset_hung, joined, or_dash, par, part, row};
use super::super::on_skin::over_the_rub;
use super::{EstimatePart, ExpectedScore, IntervalPart, LevelPart, Named, PanelReport, PanelScrub, SwapPart};
use crate::numerics::written::{counted, three, two};
use crate::panel::{CONFIDENCE, DayFinding, Days, PanellistFinding};

/// More pairs than this are counted, not named.
const MOST_NAMED: usize = 6;

impl ExpectedScore {
    /// One sentence.
    pub(in crate::report) fn sentence(&self) -> String {
        if self.nothing_touches {
            return "Expected score of the panel: no score, as next to no grain touches".to_owned();
        }
        let IntervalPart { value, low, high, confidence } = self.score;
        let [score, low, high] = [value, low, high].map(two);
        let (top, percent, note) = (self.scale_top, 100.0 * confidence, &self.note);
        format!("Expected score of the panel: {score} of {top} ({percent:.0} % between {low} and {high}); {note}")
    }
}

impl PanelReport {
    /// For a terminal.
    pub fn to_text(&self) -> String {
        let opening = format!(
            "{} of {} scrubs by {}, on a scale of {} to {}\n\n",
            counted(self.scores, "score"),
            self.scrubs.len(),
            counted(self.panellists.len(), "taster"),
            self.scale[0],
            self.scale[1]
        );
        let why = |why: &String| par(format!("Ordered categories instead of a power law: {why}."));
        let over = self
            .scrubs
            .iter()
            .filter_map(|s| Some(inset_hung(format!("{}: {}", s.tested.name, over_the_rub(s.over_the_rub?)))));
        let told = self.days.iter().any(|d| d.found.level.is_some());
        [
            opening + &par(self.conclusion()),
            self.why_ordinal.iter().map(why).collect(),
            part("Scrubs, by index", self.scrub_table() + &over.collect::<String>()),
            part("How sure", bullets(self.how_sure())),
            part("Tasters", self.panellist_table()),
            if told { part("Days", self.day_table()) } else { String::new() },
            part("The model, as the panel sees it", bullets(self.estimates.iter().map(EstimatePart::sentence))),
            part("Cautions", bullets(self.cautions.iter().map(String::as_str).chain([self.note]))),
        ]
        .concat()
    }

    fn conclusion(&self) -> String {
        let percent = 100.0 * CONFIDENCE;
        let df = self.degrees_of_freedom.unwrap_or(0.0);
        let held = |p: &IntervalPart| {
            format!("{percent:.0} % between {} and {}, {df} degrees of freedom", three(p.low), three(p.high))
        };
        let ranks = self.spearman.as_ref().map_or(String::new(), |s| format!("p {} by rank", chance(s.p)));
        let law = match (&self.exponent, &self.ordinal_slope) {
            (Some(e), _) => format!("score goes as index to the power of {} ({})", three(e.value), held(e)),
            (_, Some(s)) if s.held_by_prior => {
                format!("every step of the index shows, so that the scores set no upper limit to the slope ({ranks})")
            }
            (_, Some(s)) => {
                let odds = three((s.value * std::f64::consts::LN_2).exp());
                format!("with twice the index the odds of a higher score grow {odds}-fold ({ranks})")
            }
            _ => String::new(),
        };
        match self.status {
            "falling" => format!(
                "The scores fall with the index: {law}. No calibration follows. Was the scale written the other way round, high \
                 for smooth? Then turn the scores (low end plus top less the score) and read them again; if not, panel and index \
                 disagree."
            ),
            "calibrated" => format!("The scores rise with the index: {law}."),
            "unrelated" => format!(
                "It cannot be said that the scores rise with the index: {law}. No calibration follows; more scrubs that lie \
                 further apart would tell more than more tasters."
            ),
            _ => format!(
                "Nothing can be concluded yet ({}). No exponent, no p-value and no calibration are given; what follows only lists \
                 the scores.",
                self.too_few.join("; ")
            ),
        }
    }

    fn how_sure(&self) -> Vec<String> {
        let mut lines = Vec::new();
        let way = |exact: bool| if exact { "exact" } else { "approximate" };
        if let (Some(s), Some(k)) = (&self.spearman, &self.kendall) {
            let test = |value, p, exact| format!("{} (p {}, {})", three(value), chance(p), way(exact));
            let (spearman, kendall) = (test(s.rho, s.p, s.exact), test(k.tau, k.p, k.exact));
            lines.push(format!("index and panel score by rank: Spearman {spearman}, Kendall {kendall}"));
        }
        if self.status != "too-few" {
            lines.extend(self.order());
            lines.extend(self.day_line());
        }
        if let (Some(r2), Some(error)) = (self.r2, self.left_out_error) {
            let (r2, error) = (three(r2), two(error));
            lines.push(format!(
                "R² {r2} between scrubs; a scrub left out is foretold to {error} points (root mean square)"
            ));
        }
        if let Some(s) = &self.spread {
            let [scrubs, scores] = [s.scrub_sd_ln, s.score_sd_ln].map(|sd| 100.0 * (sd.exp() - 1.0));
            lines.push(if scrubs < 0.5 {
                format!("single scores scatter by {scores:.0} %; scrubs lie off the line by no more than that explains")
            } else {
                format!(
                    "scrubs scatter about the line by {scrubs:.0} %, single scores of a taster by {scores:.0} % more"
                )
            });
        }
        if let Some(a) = &self.agreement {
            let (count, w, p) = (a.panellists, three(a.of.w), chance(a.of.p));
            lines.push(format!(
                "agreement of the {count} tasters who scored every scrub: W {w} (0 none, 1 full; p {p})"
            ));
        }
        for s in self.scrubs.iter().filter(|s| s.found.outlying) {
            let (name, t) = (&s.tested.name, two(s.found.studentised.unwrap_or(0.0)));
            lines.push(format!("{name} lies off what the other scrubs say, beyond chance (studentised residual {t})"));
        }
        for o in &self.outliers {
            let [score, t] = [o.score, o.studentised].map(two);
            lines.push(format!(
                "the score {score} of {} for {} stands apart (studentised residual {t}); ask before you drop it",
                o.panellist, o.scrub
            ));
        }
        lines
    }

    /// How panel and index order the scrubs.
    fn order(&self) -> Vec<String> {
        if self.same_order {
            return vec!["the panel ranks the scrubs as the index does".to_owned()];
        }
        let swap = |s: &SwapPart| format!("{} felt harsher than {}", s.harsher_by_panel, s.harsher_by_index);
        let level = |l: &LevelPart| format!("{} felt level with {}", l.harsher_by_index, l.milder_by_index);
        if self.swapped.len() > MOST_NAMED {
            let (swapped, pairs) = (self.swapped.len(), self.scrubs.len() * (self.scrubs.len() - 1) / 2);
            return vec![format!("against the index, {swapped} of {pairs} pairs of scrubs felt the other way round")];
        }
        let swaps = joined(self.swapped.iter().map(swap), "; ");
        let levels = joined(self.level.iter().map(level), "; ");
        let swaps = (!swaps.is_empty()).then(|| format!("against the index, {swaps}"));
        let levels = (!levels.is_empty()).then(|| format!("{levels} (the difference is within the noise)"));
        swaps.into_iter().chain(levels).collect()
    }

    /// How much days differ, and what becomes of that.
    fn day_line(&self) -> Option<String> {
        let how = match self.days_taken_out {
            Some(Days::WithinPanellists) => "each taster's level on each day is taken out",
            Some(Days::BesidePanellists) => {
                "levels of tasters and of days are taken out side by side, as too few scrubs came back on a taster's day to take out \
                 each taster's days"
            }
            Some(_) => {
                return Some("every taster came on one day only, and its level goes with the taster's".to_owned());
            }
            None if self.days.is_empty() => {
                return Some(
                    "no days are noted: where scores come from several, one on which all was scored higher bends the fit unseen; add \
                     a column day"
                        .to_owned(),
                );
            }
            None => return None,
        };
        let levels: Vec<(f64, &str)> =
            self.days.iter().filter_map(|d| Some((d.found.level?, d.name.as_str()))).collect();
        let high = levels.iter().max_by(|a, b| a.0.total_cmp(&b.0))?;
        let low = levels.iter().min_by(|a, b| a.0.total_cmp(&b.0))?;
        let differ = match self.law {
            Some("power") => format!("{} times as high as on", three(high.0 / low.0)),
            // To the last bit the same is the same.
            _ => format!("{} points above those on", three(((high.0 - low.0) * 1e9).round() / 1e9)),
        };
        Some(format!("on {} the same scrubs scored {differ} {}: {how}", high.1, low.1))
    }

    /// What a level is counted in.
    fn level(&self) -> &'static str {
        if self.law == Some("power") { "level, factor" } else { "level, points" }
    }

    fn day_table(&self) -> String {
        let line = |d: &Named<DayFinding>| row(&d.name).and(d.found.scores.to_string()).and(or_dash(d.found.level, 3));
        Grid::new("lrr", &["", "scores", self.level()]).rows(self.days.iter().map(line)).render()
    }

    fn scrub_table(&self) -> String {
        let heads = ["", "index", "scores", "panel", "fit", "from the others", "residual"];
        let line = |PanelScrub { tested, found, .. }: &PanelScrub| {
            let scored = row(&tested.name).three([tested.index]).and(found.scores.to_string()).two([found.score]);
            scored.all([found.expected, found.foretold, found.studentised].map(|v| or_dash(v, 2)))
        };
        Grid::new("lrrrrrr", &heads).rows(self.scrubs.iter().map(line)).render()
    }

    fn panellist_table(&self) -> String {
        let line = |Named { name, found }: &Named<PanellistFinding>| {
            row(name).and(found.scores.to_string()).all([found.level, found.rho].map(|v| or_dash(v, 2)))
        };
        let heads = ["", "scores", self.level(), "rank with index"];
        Grid::new("lrrr", &heads).rows(self.panellists.iter().map(line)).render()
    }
}

impl EstimatePart {
    fn sentence(&self) -> String {
        let what = match &self.powder {
            Some(powder) => format!("roundness of {powder}"),
            None => "how much harder than skin a grain keeps half its edge (edge_ratio)".to_owned(),
        };
        let [value, low, high] = self.prior;
        let [value, low, high] = [value, low, high].map(three);
        let range = format!("in force {value}, range {low} to {high}");
        if !self.moved {
            return format!("{what}: the panel says nothing that the range did not ({range})");
        }
        let [value, p5, p95] = [self.value, self.p5, self.p95].map(three);
        format!(
            "{what}: {value} (90 % between {p5} and {p95}); {range}; {:.0} % of the range's width is left. Once taken up, with \
             --tables or in the scrub file, read the panel again",
            100.0 * self.narrowed
        )
    }
}

fn chance(p: f64) -> String {
    if p < 0.001 { "< 0.001".to_owned() } else { two(p) }
}
