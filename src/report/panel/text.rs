//! The report of a panel, for a terminal.

use super::super::layout::{Align, TextTable, WIDTH, significant, wrap};
use super::{EstimatePart, ExpectedScore, IntervalPart, LevelPart, PanelReport, SwapPart};
use crate::panel::CONFIDENCE;

/// More pairs than this are counted, not named.
const MOST_NAMED: usize = 6;

impl ExpectedScore {
    /// One sentence.
    pub(in crate::report) fn sentence(&self) -> String {
        if self.nothing_touches {
            return "Expected score of the panel: no score, as next to no grain touches".to_owned();
        }
        format!(
            "Expected score of the panel: {} of {} ({:.0} % between {} and {}); {}",
            significant(self.value, 2),
            self.scale_top,
            100.0 * self.confidence,
            significant(self.low, 2),
            significant(self.high, 2),
            self.note
        )
    }
}

impl PanelReport {
    /// For a terminal.
    pub fn to_text(&self) -> String {
        let mut out = format!(
            "{} of {} scrubs by {}, on a scale of {} to {}\n\n",
            counted(self.scores, "score", "scores"),
            self.scrubs.len(),
            counted(self.tasters.len(), "taster", "tasters"),
            self.scale[0],
            self.scale[1]
        );
        out += &wrap(&self.conclusion(), WIDTH, "", "");
        if let Some(why) = &self.why_ordinal {
            out += &wrap(&format!("Ordered categories instead of a power law: {why}."), WIDTH, "", "");
        }
        out += &format!("\nScrubs, by index\n{}", self.scrub_table());
        for (scrub, over) in self.scrubs.iter().filter_map(|s| Some((s, s.over_the_rub?))) {
            out += &wrap(&format!("{}: {}", scrub.name, over.sentence()), WIDTH, "  ", "    ");
        }
        let sure = self.how_sure();
        if !sure.is_empty() {
            out += "\nHow sure\n";
            sure.iter().for_each(|line| out += &wrap(line, WIDTH, "  - ", "    "));
        }
        out += &format!("\nTasters\n{}", self.taster_table());
        if self.days.iter().any(|d| d.level.is_some()) {
            out += &format!("\nDays\n{}", self.day_table());
        }
        if !self.estimates.is_empty() {
            out += "\nThe model, as the panel sees it\n";
            self.estimates.iter().for_each(|e| out += &wrap(&e.sentence(), WIDTH, "  - ", "    "));
        }
        out += "\nCautions\n";
        for caution in self.cautions.iter().map(String::as_str).chain([self.note]) {
            out += &wrap(caution, WIDTH, "  - ", "    ");
        }
        out
    }

    fn conclusion(&self) -> String {
        let (three, percent) = (|v: f64| significant(v, 3), 100.0 * CONFIDENCE);
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
        let three = |v: f64| significant(v, 3);
        let way = |exact: bool| if exact { "exact" } else { "approximate" };
        if let (Some(s), Some(k)) = (&self.spearman, &self.kendall) {
            lines.push(format!(
                "index and panel score by rank: Spearman {} (p {}, {}), Kendall {} (p {}, {})",
                three(s.rho),
                chance(s.p),
                way(s.exact),
                three(k.tau),
                chance(k.p),
                way(k.exact)
            ));
        }
        if self.status != "too-few" {
            lines.extend(self.order());
            lines.extend(self.day_line());
        }
        if let (Some(r2), Some(error)) = (self.r2, self.left_out_error) {
            lines.push(format!(
                "R² {} between scrubs; a scrub left out is foretold to {} points (root mean square)",
                three(r2),
                significant(error, 2)
            ));
        }
        if let Some(s) = &self.spread {
            let percent = |sd: f64| 100.0 * (sd.exp() - 1.0);
            lines.push(match percent(s.scrub_sd_ln) {
                scrubs if scrubs < 0.5 => format!(
                    "single scores scatter by {:.0} %; scrubs lie off the line by no more than that explains",
                    percent(s.score_sd_ln)
                ),
                scrubs => format!(
                    "scrubs scatter about the line by {scrubs:.0} %, single scores of a taster by {:.0} % more",
                    percent(s.score_sd_ln)
                ),
            });
        }
        if let Some(a) = &self.agreement {
            lines.push(format!(
                "agreement of the {} tasters who scored every scrub: W {} (0 none, 1 full; p {})",
                a.tasters,
                three(a.w),
                chance(a.p)
            ));
        }
        for s in self.scrubs.iter().filter(|s| s.outlying) {
            let t = significant(s.studentised.unwrap_or(0.0), 2);
            lines.push(format!(
                "{} lies off what the other scrubs say, beyond chance (studentised residual {t})",
                s.name
            ));
        }
        for o in &self.outliers {
            lines.push(format!(
                "the score {} of {} for {} stands apart (studentised residual {}); ask before you drop it",
                significant(o.score, 2),
                o.taster,
                o.scrub,
                significant(o.studentised, 2)
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
            let pairs = self.scrubs.len() * (self.scrubs.len() - 1) / 2;
            return vec![format!(
                "against the index, {} of {pairs} pairs of scrubs felt the other way round",
                self.swapped.len()
            )];
        }
        let swaps: Vec<String> = self.swapped.iter().map(swap).collect();
        let levels: Vec<String> = self.level.iter().map(level).collect();
        let swaps = (!swaps.is_empty()).then(|| format!("against the index, {}", swaps.join("; ")));
        let levels =
            (!levels.is_empty()).then(|| format!("{} (the difference is within the noise)", levels.join("; ")));
        swaps.into_iter().chain(levels).collect()
    }

    /// How much days differ, and what becomes of that.
    fn day_line(&self) -> Option<String> {
        let how = match self.days_taken_out {
            Some("within-tasters") => "each taster's level on each day is taken out",
            Some("beside-tasters") => {
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
            self.days.iter().filter_map(|d| d.level.map(|level| (level, d.name.as_str()))).collect();
        let high = levels.iter().max_by(|a, b| a.0.total_cmp(&b.0))?;
        let low = levels.iter().min_by(|a, b| a.0.total_cmp(&b.0))?;
        let differ = match self.law {
            Some("power") => format!("{} times as high as on", significant(high.0 / low.0, 3)),
            _ => format!("{} points above those on", significant(high.0 - low.0, 3)),
        };
        Some(format!("on {} the same scrubs scored {differ} {}: {how}", high.1, low.1))
    }

    fn day_table(&self) -> String {
        let level = if self.law == Some("power") { "level, factor" } else { "level, points" };
        let mut table = TextTable::new(&[("", Align::Left), ("scores", Align::Right), (level, Align::Right)]);
        for d in &self.days {
            let level = d.level.map_or("-".to_owned(), |v| significant(v, 3));
            table.row(vec![d.name.clone(), d.scores.to_string(), level]);
        }
        table.render()
    }

    fn scrub_table(&self) -> String {
        let mut table = TextTable::new(&[
            ("", Align::Left),
            ("index", Align::Right),
            ("scores", Align::Right),
            ("panel", Align::Right),
            ("fit", Align::Right),
            ("from the others", Align::Right),
            ("residual", Align::Right),
        ]);
        let two = |v: Option<f64>| v.map_or("-".to_owned(), |v| significant(v, 2));
        for s in &self.scrubs {
            table.row(vec![
                s.name.clone(),
                significant(s.index, 3),
                s.scores.to_string(),
                significant(s.score, 2),
                two(s.expected),
                two(s.foretold),
                two(s.studentised),
            ]);
        }
        table.render()
    }

    fn taster_table(&self) -> String {
        let level = if self.law == Some("power") { "level, factor" } else { "level, points" };
        let mut table = TextTable::new(&[
            ("", Align::Left),
            ("scores", Align::Right),
            (level, Align::Right),
            ("rank with index", Align::Right),
        ]);
        for t in &self.tasters {
            let two = |v: Option<f64>| v.map_or("-".to_owned(), |v| significant(v, 2));
            table.row(vec![t.name.clone(), t.scores.to_string(), two(t.level), two(t.rho)]);
        }
        table.render()
    }
}

impl EstimatePart {
    fn sentence(&self) -> String {
        let three = |v: f64| significant(v, 3);
        let what = match &self.powder {
            Some(powder) => format!("roundness of {powder}"),
            None => "how much harder than skin a grain keeps half its edge (edge_ratio)".to_owned(),
        };
        let [value, low, high] = self.prior;
        let range = format!("in force {}, range {} to {}", three(value), three(low), three(high));
        if !self.moved {
            return format!("{what}: the panel says nothing that the range did not ({range})");
        }
        format!(
            "{what}: {} (90 % between {} and {}); {range}; {:.0} % of the range's width is left. Once taken up, with --tables \
             or in the scrub file, read the panel again",
            three(self.value),
            three(self.p5),
            three(self.p95),
            100.0 * self.narrowed
        )
    }
}

fn chance(p: f64) -> String {
    if p < 0.001 { "< 0.001".to_owned() } else { significant(p, 2) }
}

fn counted(n: usize, one: &str, many: &str) -> String {
    format!("{n} {}", if n == 1 { one } else { many })
}
