//! The control charts of a register: which lots count, their limits, and which of them break a rule.

use super::control::{ControlChart, ControlRule, Signal};
use super::lot::LotVerdict;
use super::register::{Entry, Register};
use crate::source::{Fault, did_you_mean};
use serde::Serialize;
use std::collections::HashMap;
use std::hash::Hash;
use std::str::FromStr;

/// A figure of the register that can be charted.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ChartFigure {
    /// 10 % finer.
    D10,
    /// Median.
    D50,
    /// 90 % finer.
    D90,
    /// Above the top size.
    OverTop,
    /// Index of the scrub made with the lot.
    Index,
}

impl ChartFigure {
    const ALL: [Self; 5] = [Self::D10, Self::D50, Self::D90, Self::OverTop, Self::Index];

    fn word(self) -> &'static str {
        ["d10", "d50", "d90", "over-top", "index"][self as usize]
    }

    /// The key of JSON: the register's column.
    fn key(self) -> &'static str {
        ["d10_um", "d50_um", "d90_um", "over_top_pct", "index_with_lot"][self as usize]
    }

    fn label(self) -> &'static str {
        ["D10, µm", "D50, µm", "D90, µm", "above the top size, %", "abrasiveness index (model)"][self as usize]
    }

    /// `None` where no sieve told it.
    fn of(self, entry: &Entry) -> Option<f64> {
        match self {
            Self::D10 | Self::D50 | Self::D90 => entry.percentiles_um[self as usize],
            Self::OverTop => entry.over_top_pct,
            Self::Index => Some(entry.index_with_lot),
        }
    }
}

impl FromStr for ChartFigure {
    type Err = Fault;

    fn from_str(text: &str) -> Result<Self, Fault> {
        let found = Self::ALL.into_iter().find(|f| f.word().eq_ignore_ascii_case(text.trim()));
        let words = Self::ALL.map(Self::word);
        found.ok_or_else(|| {
            Fault::new(
                format!("there is no figure \"{text}\""),
                format!("{} ({})", did_you_mean(text, words), words.join(", ")),
            )
        })
    }
}

/// A chart of individuals and moving ranges.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct LotChart {
    /// The powder.
    pub powder: String,
    /// The scrub, of an index.
    pub scrub: Option<String>,
    /// The register's column.
    pub figure: &'static str,
    /// The figure in words.
    #[serde(skip)]
    pub label: &'static str,
    /// The lots, by date.
    pub lots: Vec<LotPoint>,
    /// Codes of lots of which the figure is not known: they have no place in the chart.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub not_known: Vec<String>,
    /// Centre and limits; absent for fewer than two lots that were not refused.
    pub limits: Option<LotLimits>,
    /// Lots that break a rule.
    pub signals: Vec<LotSignal>,
}

/// Centre and limits of a chart.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct LotLimits {
    /// Mean of the values of all lots that were not refused; these alone make the limits.
    pub centre: f64,
    /// Lower control limit; no figure of the register can be below 0.
    pub lower: f64,
    /// Upper control limit.
    pub upper: f64,
    /// Standard deviation by the mean moving range.
    pub sigma: f64,
    /// Mean moving range.
    pub range_mean: f64,
    /// Upper limit of the moving range.
    pub range_upper: f64,
    /// From too few lots to be relied on.
    pub provisional: bool,
}

/// A lot in a chart.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct LotPoint {
    /// Its code.
    pub lot: String,
    /// When it was judged.
    pub date: String,
    /// The verdict.
    pub verdict: LotVerdict,
    /// The figure.
    pub value: f64,
    /// Step from the last lot before it that was not refused.
    pub moving_range: Option<f64>,
}

/// A lot that breaks a rule.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct LotSignal {
    /// Position in the chart, from 1.
    pub number: usize,
    /// The lot.
    pub lot: String,
    /// The rule.
    pub rule: ControlRule,
}

/// Charts the figures of a register, of all powders or of those that a word names. Limits from fewer than `enough` lots are provisional.
///
/// # Errors
/// When the register, which goes by the name of its `file`, is empty or no powder has this name.
pub fn charts(
    file: &str,
    register: &Register,
    powder: Option<&str>,
    figures: &[ChartFigure],
    enough: f64,
) -> Result<Vec<LotChart>, Fault> {
    let mut powders = distinct(register.entries.iter().map(|(_, e)| e.powder.as_str()));
    if powders.is_empty() {
        return Err(match register.torn.last() {
            None => {
                let what = format!("{file}: the register holds no lot yet");
                Fault::new(what, "gritwise lot adds them with --register")
            }
            Some(line) => {
                let what =
                    format!("{file}:{line}: this line was cut short, by a crash it seems, and no other lot is there");
                Fault::new(what, "what it said is not known: judge that lot again")
            }
        });
    }
    if let Some(word) = powder {
        powders = named(word, &powders)?;
    }
    let mut charts = Vec::new();
    for powder in powders {
        let entries = register.entries.iter().map(|(_, e)| e).filter(|e| e.powder == powder);
        let entries = last_of_each(entries, |e| (&e.lot, e.scrub.as_str()));
        charts.extend(figures.iter().flat_map(|f| charts_of(powder, *f, &entries, enough)));
    }
    Ok(charts)
}

impl LotChart {
    /// Whether it charts the index of a scrub.
    pub fn is_of_index(&self) -> bool {
        self.scrub.is_some()
    }

    /// What the chart is about.
    pub fn title(&self) -> String {
        let scrub = self.scrub.as_ref().map(|scrub| format!(" in {scrub}"));
        format!("{}{}: {}", self.powder, scrub.unwrap_or_default(), self.label)
    }

    /// How many lots make the limits.
    pub fn counted(&self) -> usize {
        self.lots.iter().filter(|l| l.verdict != LotVerdict::Refuse).count()
    }
}

/// Each once, in the order in which they come.
fn distinct<'a>(names: impl Iterator<Item = &'a str>) -> Vec<&'a str> {
    let mut all: Vec<&str> = Vec::new();
    for name in names {
        if !all.contains(&name) {
            all.push(name);
        }
    }
    all
}

/// The powders that a word names: one of this name, else all that begin with it.
fn named<'a>(word: &str, powders: &[&'a str]) -> Result<Vec<&'a str>, Fault> {
    let wanted = word.trim().to_lowercase();
    let whole = powders.iter().filter(|p| p.to_lowercase() == wanted);
    let begins = powders.iter().filter(|p| !wanted.is_empty() && p.to_lowercase().starts_with(&wanted));
    let mut found: Vec<&str> = whole.copied().collect();
    if found.is_empty() {
        found = begins.copied().collect();
    }
    if found.is_empty() {
        let what = format!("the register has no powder \"{word}\"");
        return Err(Fault::new(what, did_you_mean(word, powders.iter().copied())));
    }
    Ok(found)
}

/// Of each lot (by its key) the entry of the latest date, of that date the last; by date, then in the order given.
fn last_of_each<'a, K: Eq + Hash>(
    entries: impl Iterator<Item = &'a Entry>,
    key: impl Fn(&'a Entry) -> K,
) -> Vec<&'a Entry> {
    let mut last: HashMap<K, (usize, &Entry)> = HashMap::new();
    for (order, entry) in entries.enumerate() {
        let kept = last.entry(key(entry)).or_insert((order, entry));
        if kept.1.date <= entry.date {
            *kept = (order, entry);
        }
    }
    let mut last: Vec<(usize, &Entry)> = last.into_values().collect();
    last.sort_by_key(|(order, e)| (e.date, *order));
    last.into_iter().map(|(_, e)| e).collect()
}

fn charts_of(powder: &str, figure: ChartFigure, entries: &[&Entry], enough: f64) -> Vec<LotChart> {
    if figure != ChartFigure::Index {
        // Judged in two scrubs, a lot still has one size.
        let lots = last_of_each(entries.iter().copied(), |e| &e.lot);
        return vec![chart(powder, None, figure, &lots, enough)];
    }
    let scrubs = distinct(entries.iter().map(|e| e.scrub.as_str()));
    let of = |scrub: &&str| {
        let lots: Vec<&Entry> = entries.iter().copied().filter(|e| e.scrub == **scrub).collect();
        chart(powder, Some(scrub), figure, &lots, enough)
    };
    scrubs.iter().map(of).collect()
}

fn chart(powder: &str, scrub: Option<&str>, figure: ChartFigure, lots: &[&Entry], enough: f64) -> LotChart {
    let not_known = lots.iter().filter(|e| figure.of(e).is_none()).map(|e| e.lot.as_str().to_owned()).collect();
    let (values, lots): (Vec<f64>, Vec<&Entry>) = lots.iter().filter_map(|e| Some((figure.of(e)?, *e))).unzip();
    let counts = |(value, entry): (&f64, &&Entry)| (*value, entry.verdict != LotVerdict::Refuse);
    let points: Vec<(f64, bool)> = values.iter().zip(&lots).map(counts).collect();
    let counted = points.iter().filter(|p| p.1).count();
    let chart = ControlChart::new(&points);
    let point = |(i, entry): (usize, &&Entry)| LotPoint {
        lot: entry.lot.as_str().to_owned(),
        date: entry.date.to_string(),
        verdict: entry.verdict,
        value: values[i],
        moving_range: chart.as_ref().and_then(|c| c.ranges[i]),
    };
    let signal = |s: Signal| LotSignal { number: s.at + 1, lot: lots[s.at].lot.as_str().to_owned(), rule: s.rule };
    LotChart {
        not_known,
        powder: powder.to_owned(),
        scrub: scrub.map(str::to_owned),
        figure: figure.key(),
        label: figure.label(),
        lots: lots.iter().enumerate().map(point).collect(),
        limits: chart.as_ref().map(|c| LotLimits {
            centre: c.centre,
            lower: c.lower().max(0.0),
            upper: c.upper(),
            sigma: c.sigma,
            range_mean: c.range_centre,
            range_upper: c.range_upper(),
            provisional: (counted as f64) < enough,
        }),
        signals: chart.as_ref().map_or_else(Vec::new, |c| c.signals().into_iter().map(signal).collect()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::lots::register::LotCode;

    fn entry(lot: &str, verdict: LotVerdict) -> Entry {
        Entry {
            date: "2026-11-20".parse().unwrap(),
            powder: "Olive stone".into(),
            lot: LotCode::new(lot).unwrap(),
            scrub: "River polish".into(),
            verdict,
            percentiles_um: [118.0, 165.0, 216.0].map(Some),
            over_top_pct: Some(1.5),
            index_with_lot: 53.75,
            band_with_lot: "delicate face".into(),
            unsure: None,
            new_parts: None,
            sha256: Vec::new(),
        }
    }

    #[test]
    fn limits_are_provisional_until_enough_lots_make_them() {
        let lots = [
            entry("A", LotVerdict::Accept),
            entry("B", LotVerdict::AcceptWithNewParts),
            entry("C", LotVerdict::Refuse),
            entry("D", LotVerdict::Accept),
        ];
        let lots: Vec<&Entry> = lots.iter().collect();
        // Three of the four were not refused.
        for (enough, provisional) in [(2.0, false), (3.0, false), (4.0, true)] {
            let chart = chart("Olive stone", None, ChartFigure::D50, &lots, enough);
            assert_eq!((chart.counted(), chart.limits.unwrap().provisional), (3, provisional), "{enough}");
        }
    }

    #[test]
    fn a_chart_is_called_by_powder_scrub_and_figure() {
        let lot = entry("A", LotVerdict::Accept);
        let title =
            |figure| charts_of("Olive stone", figure, &[&lot], 20.0).iter().map(LotChart::title).collect::<Vec<_>>();
        assert_eq!(title(ChartFigure::D50), ["Olive stone: D50, µm"]);
        assert_eq!(title(ChartFigure::Index), ["Olive stone in River polish: abrasiveness index (model)"]);
    }
}
