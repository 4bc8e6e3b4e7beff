//! The result of `gritwise ladder`: one quantity along the way, or two as a map.

use super::blend::ScrubPart;
use super::layout::{Align, TextTable, WIDTH, significant, wrap};
use super::on_skin::{OverTheRubPart, not_followed};
use super::wording;
use crate::band::Judge;
use crate::blend::Scrub;
use crate::design::{Borne, Crossing, Ladder, Map, Point, Step, Varied};
use crate::formula::OnSkin;
use crate::tables::Tables;
use serde::ser::SerializeMap;
use serde::{Serialize, Serializer};
use std::iter::once;

/// A ladder. The field names are the keys of `--json`.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct LadderReport {
    /// The scrub as it stands, its grains as they reach the skin.
    pub scrub: ScrubPart,
    /// Its index over the whole rub, as grains dissolve; absent when none do.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub index_over_the_rub: Option<OverTheRubPart>,
    /// What is varied.
    pub vary: Vec<VaryPart>,
    /// The scrub at equal steps.
    pub points: Vec<PointPart>,
    /// Every change of the band, rising.
    pub crossings: Vec<CrossingPart>,
    /// Where the grains carry all of the rub; empty where they never do.
    pub grain_borne: Vec<BornePart>,
    /// What the index and the band limits are and are not.
    pub note: String,
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
    pub ratios: Ratios,
    /// Name of the band.
    pub band: String,
}

/// Groove ratios by site, in the order of the sites table.
#[derive(Debug, Clone, PartialEq)]
pub struct Ratios(pub Vec<(String, f64)>);

impl Serialize for Ratios {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let mut map = serializer.serialize_map(Some(self.0.len()))?;
        for (site, ratio) in &self.0 {
            map.serialize_entry(&format!("ratio_{site}"), ratio)?;
        }
        map.end()
    }
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

impl LadderReport {
    /// Reports a ladder of a scrub.
    pub fn new(on_skin: &OnSkin, judge: &Judge, ladder: &Ladder, tables: &Tables) -> Self {
        let scrub = on_skin.scrub_or_weighed();
        Self {
            scrub: ScrubPart::new(scrub),
            index_over_the_rub: OverTheRubPart::of(on_skin),
            vary: vec![vary_part(scrub, ladder.varied, ladder.now)],
            points: ladder.steps.iter().map(|s| point_part(judge, s)).collect(),
            crossings: ladder.crossings.iter().map(|c| crossing_part(judge, c)).collect(),
            grain_borne: ladder.borne.iter().map(|b| borne_part(judge, b)).collect(),
            note: note(on_skin, tables),
        }
    }

    /// For a terminal.
    pub fn to_text(&self) -> String {
        let vary = &self.vary[0];
        let mut out = heading(&self.scrub, &self.vary);
        out += "\nBands along the way\n";
        for line in self.stretches() {
            out += &wrap(&line, WIDTH, "  - ", "    ");
        }
        for line in self.borne() {
            out += &wrap(&line, WIDTH, "  - ", "    ");
        }
        out += &format!("\nStep by step\n{}", self.table(vary));
        out.push('\n');
        out += &wrap(&self.note, WIDTH, "", "");
        out
    }

    /// Each band with where it holds, and what ends it.
    fn stretches(&self) -> Vec<String> {
        let (low, high) = (self.vary[0].low, self.vary[0].high);
        let Some(first) = self.crossings.first() else {
            let band = self.points.first().map_or("", |p| p.band.as_str());
            return vec![format!("{band} all the way, {} to {}", exact(low), exact(high))];
        };
        let starts = once((low, &first.from)).chain(self.crossings.iter().map(|c| (c.value, &c.to)));
        let ends = self.crossings.iter().map(Some).chain(once(None));
        starts
            .zip(ends)
            .map(|((from, band), end)| match end {
                Some(c) => format!("{band} from {} to {}: there {}", exact(from), exact(c.value), c.because),
                None => format!("{band} from {} to {}", exact(from), exact(high)),
            })
            .collect()
    }

    fn borne(&self) -> Vec<String> {
        if self.grain_borne.is_empty() {
            return vec!["the rub is shared at every site all the way".to_owned()];
        }
        let vary = &self.vary[0];
        let whole = |b: &BornePart| b.from == vary.low && b.to == vary.high;
        let said = self.grain_borne.iter().map(|b| match whole(b) {
            true => format!("grain-borne at the {} all the way", b.site),
            false => format!("grain-borne at the {} from {} to {}", b.site, exact(b.from), exact(b.to)),
        });
        said.collect()
    }

    fn table(&self, vary: &VaryPart) -> String {
        let sites = self.points.first().map_or(&[][..], |p| &p.ratios.0);
        let ratios: Vec<String> = sites.iter().map(|(site, _)| format!("ratio {site}")).collect();
        let columns: Vec<(&str, Align)> = [(vary.what, Align::Right), ("index", Align::Right)]
            .into_iter()
            .chain(ratios.iter().map(|r| (r.as_str(), Align::Right)))
            .chain([("band", Align::Left)])
            .collect();
        let mut table = TextTable::new(&columns);
        for p in &self.points {
            let numbers = [trimmed(p.value, 4), significant(p.index, 3)].into_iter();
            let ratios = p.ratios.0.iter().map(|(_, ratio)| significant(*ratio, 3));
            table.row(numbers.chain(ratios).chain([p.band.clone()]).collect());
        }
        table.render()
    }
}

/// A map. The field names are the keys of `--json`.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct MapReport {
    /// The scrub as it stands, its grains as they reach the skin.
    pub scrub: ScrubPart,
    /// Its index over the whole rub, as grains dissolve; absent when none do.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub index_over_the_rub: Option<OverTheRubPart>,
    /// What is varied: across, then upwards.
    pub vary: Vec<VaryPart>,
    /// The map.
    pub map: MapPart,
    /// What the index and the band limits are and are not.
    pub note: String,
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

impl MapReport {
    /// Reports a map of a scrub.
    pub fn new(on_skin: &OnSkin, judge: &Judge, map: &Map, tables: &Tables) -> Self {
        let scrub = on_skin.scrub_or_weighed();
        let name = |rank: usize| judge.band_name(rank).to_owned();
        let border =
            |b: &crate::design::Border| BorderPart { from: name(b.from), to: name(b.to), points: b.points.clone() };
        let now = [map.now.0, map.now.1];
        Self {
            scrub: ScrubPart::new(scrub),
            index_over_the_rub: OverTheRubPart::of(on_skin),
            vary: map.varied.iter().zip(now).map(|(v, now)| vary_part(scrub, *v, now)).collect(),
            map: MapPart {
                x: map.x.clone(),
                y: map.y.clone(),
                index: map.index.clone(),
                band: map.rank.iter().map(|row| row.iter().map(|r| name(*r)).collect()).collect(),
                bands: (0..=judge.bands().len()).map(name).collect(),
                borders: map.borders.iter().map(border).collect(),
                grain_borne: map.borne.iter().map(|&site| judge.model().sites()[site].name.clone()).collect(),
            },
            note: note(on_skin, tables),
        }
    }

    /// For a terminal: the map in digits, thinned to what a screen holds, and its borders.
    pub fn to_text(&self) -> String {
        let map = &self.map;
        let mut out = heading(&self.scrub, &self.vary);
        out += &format!("\n{}\n", self.digits());
        let seen = |band: &String| map.band.iter().flatten().any(|b| b == band);
        for (i, band) in map.bands.iter().enumerate().filter(|(_, band)| seen(band)) {
            out += &format!("  {} {band}\n", i + 1);
        }
        let all = || map.index.iter().flatten().copied();
        let (least, most) = all().fold((f64::INFINITY, 0.0_f64), |(lo, hi), v| (lo.min(v), hi.max(v)));
        out += &format!("\nThe index runs from {} to {}.\n", significant(least, 3), significant(most, 3));
        out += &match map.grain_borne.is_empty() {
            true => "The rub is shared at every site and point.\n".to_owned(),
            false => format!("The rub is grain-borne in parts of the map at: {}.\n", map.grain_borne.join(", ")),
        };
        if !map.borders.is_empty() {
            out += &format!("\nBorders (every point in --json)\n{}", self.border_table());
        }
        out.push('\n');
        out += &wrap(&self.note, WIDTH, "", "");
        out
    }

    fn digits(&self) -> String {
        const MOST: usize = 41;
        let map = &self.map;
        let (across, upwards) = (map.x.len().div_ceil(MOST), map.y.len().div_ceil(MOST));
        let digit =
            |band: &String| map.bands.iter().position(|b| b == band).map_or_else(String::new, |i| (i + 1).to_string());
        let labels: Vec<String> = map.y.iter().map(|y| trimmed(*y, 4)).collect();
        let wide = labels.iter().map(|l| l.chars().count()).max().unwrap_or(0);
        let mut out = format!("  {}, upwards\n", self.vary[1].label);
        for (label, row) in labels.iter().zip(&map.band).step_by(upwards).collect::<Vec<_>>().into_iter().rev() {
            let cells: Vec<String> = row.iter().step_by(across).map(digit).collect();
            out += &format!("  {label:>wide$} | {}\n", cells.join(" "));
        }
        let ends = (trimmed(self.vary[0].low, 4), trimmed(self.vary[0].high, 4));
        out += &format!("  {:>wide$}   {} to {}: {}\n", "", ends.0, ends.1, self.vary[0].label);
        out
    }

    fn border_table(&self) -> String {
        let columns = ["between", "and", "points", "from", "to"];
        let right = |c: &str| if c == "points" { Align::Right } else { Align::Left };
        let mut table = TextTable::new(&columns.map(|c| (c, right(c))));
        let place = |p: Option<&Point>| p.map_or_else(String::new, |p| format!("{}, {}", exact(p.0), exact(p.1)));
        for b in &self.map.borders {
            let ends = [place(b.points.first()), place(b.points.last())];
            table.row([b.from.clone(), b.to.clone(), b.points.len().to_string()].into_iter().chain(ends).collect());
        }
        table.render()
    }
}

/// A solved value, to more digits than a balance has.
fn exact(value: f64) -> String {
    trimmed(value, 6)
}

/// So many significant digits, without needless zeros.
fn trimmed(value: f64, digits: i32) -> String {
    let text = significant(value, digits);
    if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.').to_owned() } else { text }
}

fn heading(scrub: &ScrubPart, vary: &[VaryPart]) -> String {
    let walked = vary
        .iter()
        .map(|v| format!("{} from {} to {} (now {})", v.label, exact(v.low), exact(v.high), trimmed(v.now, 3)));
    wrap(&format!("{}: {}", scrub.name, walked.collect::<Vec<_>>().join("; ")), WIDTH, "", "  ")
}

fn note(on_skin: &OnSkin, tables: &Tables) -> String {
    let open_top = wording::open_top_note(on_skin.scrub_or_weighed(), tables).map(|said| format!("{said}. "));
    let over_the_rub = OverTheRubPart::of(on_skin).map(|o| format!("{}, where the scrub stands. ", o.sentence()));
    let jar = not_followed(on_skin).map(|said| format!("Of the jar: {said}. "));
    format!(
        "{}{}{}Abrasiveness index: {}. Groove ratios are of the same model; {}.",
        over_the_rub.unwrap_or_default(),
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

fn point_part(judge: &Judge, step: &Step) -> PointPart {
    let sites = judge.model().sites().iter().map(|s| s.name.clone());
    PointPart {
        value: step.value,
        index: step.index,
        ratios: Ratios(sites.zip(step.groove_ratios.iter().copied()).collect()),
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
