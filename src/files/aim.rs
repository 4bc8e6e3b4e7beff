//! An aim file: which shelf, which targets, which goal.

use super::powder::size_record;
use super::reader::unit;
use super::reader::{At, TomlDocument, TomlSection};
use super::{ScrubFileError, read_calibration, read_formula, read_scrub, read_shelf};
use crate::aim::{Aim, BandAim, Goal, IndexAim, MOST_POWDERS, PassingLimit, ScoreAim, TargetCurve};
use crate::band::Judge;
use crate::blend::Scrub;
use crate::formula::{Formula, misfits_of_powder};
use crate::powder::ShelfPowder;
use crate::source::{Beside, Source, did_you_mean};
use crate::tables::Tables;
use crate::units::{Grams, Micrometres};

const AIM_KEYS: [&str; 20] = [
    "name",
    "shelf",
    "index",
    "like",
    "score",
    "calibration",
    "band",
    "band_exactly",
    "sure",
    "load_pct",
    "d99_um",
    "max_powders",
    "without",
    "goal",
    "batch_g",
    "passing_pct",
    "curve",
    "from",
    "into",
    "avoid_wrong",
];

const GOALS: [&str; 4] = ["cheapest", "closest-curve", "fewest-powders", "least-change"];

/// Powders that are told of by name in one error.
const MOST_TOLD: usize = 5;

/// Largest index that can be asked for: far beyond any band.
const MOST_INDEX: f64 = 1e6;

/// An aim file, with the whole scrub that the powders go into.
#[derive(Debug, Clone)]
pub struct AimFile {
    /// The aim, without the powders of the shelf that would go wrong in that scrub where the file asks for it.
    pub aim: Aim,
    /// That scrub: the one named by `into`, else by `from`, else by `like`.
    pub into: Option<Formula>,
}

/// Reads the aim of an aim file alone.
///
/// # Errors
/// As [`read_aim_file`].
pub fn read_aim<'a>(source: impl Into<Source<'a>>, tables: &Tables, judge: &Judge) -> Result<Aim, ScrubFileError> {
    Ok(read_aim_file(source, tables, judge)?.aim)
}

/// Reads an aim file. The shelf and the scrubs it names are looked up beside it.
///
/// # Errors
/// [`ScrubFileError`] with file, line and column, what is wrong and what would be right.
pub fn read_aim_file<'a>(
    source: impl Into<Source<'a>>,
    tables: &Tables,
    judge: &Judge,
) -> Result<AimFile, ScrubFileError> {
    let opened = source.into().open()?;
    let beside = opened.beside;
    let document = TomlDocument::new(&opened.name, &opened.text);
    let root = document.parse()?;
    let root = TomlSection::new(document, "the aim file", 0, root.get_ref());
    root.only(&["aim"], |_| false)?;
    let head = root.section("aim")?;
    let head = root.require("[aim]", head, "[aim] with name, shelf, targets and goal")?;
    head.only(&AIM_KEYS, |_| false)?;
    let reader = AimReader { head, beside, tables, judge };
    let (mut aim, into) = (reader.read()?, reader.whole_scrub()?);
    if reader.head.flag("avoid_wrong")?.unwrap_or(false) {
        aim.shelf = reader.without_wrong(aim.shelf, into.as_ref())?;
    }
    Ok(AimFile { aim, into })
}

struct AimReader<'a, 'd, 't> {
    head: TomlSection<'d, 't>,
    beside: Beside<'a>,
    tables: &'a Tables,
    judge: &'a Judge,
}

impl AimReader<'_, '_, '_> {
    fn read(&self) -> Result<Aim, ScrubFileError> {
        let name = self.head.need(TomlSection::text, "name", "name = \"Cheapest face polish\"")?.value;
        let shelf = self.shelf()?;
        let like = self.weighed("like")?;
        let passing = self.passing()?;
        let goal = self.goal(&passing, like.as_ref())?;
        Ok(Aim {
            name,
            index: self.index(like.as_ref())?,
            band: self.band()?,
            sure_pct: self.sure()?,
            load_pct: self.range("load_pct", 0.0, 100.0, "[2, 8]")?,
            d99_um: unit(&self.head, "d99_um", Micrometres::new)?.map(Micrometres::get),
            passing,
            max_powders: self.max_powders()?,
            without: self.without(&shelf)?,
            goal,
            batch_g: self.batch()?,
            least_pct: self.tables.aims.least_share_pct,
            least_steps: self.tables.aims.least_steps,
            shelf,
        })
    }

    fn shelf(&self) -> Result<Vec<ShelfPowder>, ScrubFileError> {
        let named = self.head.need(TomlSection::text, "shelf", "shelf = \"shelf.toml\"")?;
        read_shelf(Source::of(&self.beside.path(&named.value), self.beside.files), self.tables)
            .map_err(|e| self.at_name("shelf", named.offset, e))
    }

    /// The whole scrub that the powders go into.
    fn whole_scrub(&self) -> Result<Option<Formula>, ScrubFileError> {
        for key in ["into", "from", "like"] {
            if let Some(named) = self.head.text(key)? {
                let path = self.beside.path(&named.value);
                let formula = read_formula(Source::of(&path, self.beside.files), self.tables)
                    .map_err(|e| self.at_name(key, named.offset, e))?;
                return Ok(Some(formula));
            }
        }
        Ok(None)
    }

    /// A scrub named by a key as it is weighed in: so are the powders of the shelf taken, of whose jar nothing is known.
    fn weighed(&self, key: &'static str) -> Result<Option<Scrub>, ScrubFileError> {
        let Some(named) = self.head.text(key)? else { return Ok(None) };
        Ok(Some(self.scrub_file(key, &named)?.value))
    }

    fn scrub_file(&self, key: &str, named: &At<String>) -> Result<At<Scrub>, ScrubFileError> {
        let scrub = read_scrub(Source::of(&self.beside.path(&named.value), self.beside.files), self.tables);
        let value = scrub.map_err(|e| self.at_name(key, named.offset, e))?;
        Ok(At { value, offset: named.offset })
    }

    /// A file that is not there is told where it is named; what is wrong inside it, inside it.
    fn at_name(&self, key: &str, offset: usize, error: ScrubFileError) -> ScrubFileError {
        match error {
            ScrubFileError::Read(e) => self.head.error_at(offset, format!("{key}: {e}")),
            other => other,
        }
    }

    fn index(&self, like: Option<&Scrub>) -> Result<Option<IndexAim>, ScrubFileError> {
        let range = self.range("index", 0.0, MOST_INDEX, "[80, 120]")?;
        if let Some(aim) = self.score()? {
            if range.is_some() || like.is_some() {
                let problem =
                    "score stands beside index or like; keep one (score gives the index through the calibration)";
                return Err(self.head.error_of("score", problem));
            }
            return Ok(Some(aim));
        }
        match (range, like) {
            (Some(_), Some(_)) => {
                let problem = "index and like both stand here; keep one (like takes the index of a scrub)";
                Err(self.head.error_of("like", problem))
            }
            (Some([low, high]), None) => Ok(Some(IndexAim { low, high, like: None, score: None })),
            (None, Some(scrub)) => {
                let index = self.judge.assess(scrub).figures.index;
                let within = self.tables.aims.like_within_pct / 100.0;
                let (low, high) = (index * (1.0 - within), index * (1.0 + within));
                Ok(Some(IndexAim { low, high, like: Some(scrub.name.clone()), score: None }))
            }
            (None, None) => Ok(None),
        }
    }

    /// A panel's score, or a range of it, as the index that the calibration gives.
    fn score(&self) -> Result<Option<IndexAim>, ScrubFileError> {
        let (at, named) = (self.head.number_or_pair("score")?, self.head.text("calibration")?);
        let (at, named) = match (at, named) {
            (None, None) => return Ok(None),
            (Some(at), Some(named)) => (at, named),
            (Some(_), None) => {
                let problem =
                    "score needs the panel's calibration; add calibration = \"panel.toml\" (gritwise panel --write)";
                return Err(self.head.error_of("score", problem));
            }
            (None, Some(_)) => return Err(self.head.error_of("calibration", "calibration goes with score = 3")),
        };
        let [low, high] = at.value;
        if low > high {
            let problem = format!("score: the first number, {low}, is above the second, {high}; write score = [2, 4]");
            return Err(self.head.error_at(at.offset, problem));
        }
        let calibration = read_calibration(Source::of(&self.beside.path(&named.value), self.beside.files), self.tables);
        let calibration = calibration.map_err(|e| self.at_name("calibration", named.offset, e))?;
        let index =
            |score| calibration.index_at(score).map_err(|e| self.head.error_at(at.offset, format!("score: {e}")));
        let within = if low == high { self.tables.aims.like_within_pct / 100.0 } else { 0.0 };
        let (from, to) = (index(low)? * (1.0 - within), index(high)? * (1.0 + within));
        if to > MOST_INDEX {
            let problem =
                format!("score: the calibration takes {high} to an index above {MOST_INDEX}, beyond any scrub");
            return Err(self.head.error_at(at.offset, problem));
        }
        let middle = calibration.expected((from * to).sqrt());
        let (least, most) = calibration.index_range;
        let score = ScoreAim {
            low,
            high,
            top: calibration.scale.top,
            calibration: named.value,
            interval: (middle.low, middle.high),
            beyond: (from < least || to > most).then_some((least, most)),
        };
        Ok(Some(IndexAim { low: from, high: to, like: None, score: Some(score) }))
    }

    fn band(&self) -> Result<Option<BandAim>, ScrubFileError> {
        self.head.not_both("band", "band_exactly")?;
        let within = self.rank("band")?.map(BandAim::NoHarsher);
        Ok(within.or(self.rank("band_exactly")?.map(BandAim::Exactly)))
    }

    /// How many of 100 draws the band shall hold in.
    fn sure(&self) -> Result<Option<f64>, ScrubFileError> {
        let Some(sure) = self.head.number("sure")? else { return Ok(None) };
        if !(self.head.has("band") || self.head.has("band_exactly")) {
            let problem = "sure is how many of 100 draws fall into the band asked for; add band = \"face\"";
            return Err(self.head.error_at(sure.offset, problem));
        }
        let is_share = sure.value > 0.0 && sure.value < 100.0;
        if !is_share {
            let problem =
                format!("sure must lie above 0 and below 100 (draws of 100), not {}; write sure = 90", sure.value);
            return Err(self.head.error_at(sure.offset, problem));
        }
        Ok(Some(sure.value))
    }

    fn rank(&self, key: &'static str) -> Result<Option<usize>, ScrubFileError> {
        let Some(name) = self.head.text(key)? else { return Ok(None) };
        let bands = self.judge.bands();
        let rank = self.judge.rank_of(&name.value).filter(|r| *r < bands.len());
        rank.map(Some).ok_or_else(|| {
            let hint = did_you_mean(&name.value, bands.iter().map(|b| b.name.as_str()));
            self.head.error_at(name.offset, format!("{key}: there is no band \"{}\"; {hint}", name.value))
        })
    }

    /// Two numbers, the lower first.
    fn range(
        &self,
        key: &'static str,
        least: f64,
        most: f64,
        example: &str,
    ) -> Result<Option<[f64; 2]>, ScrubFileError> {
        let Some(pair) = self.head.pair(key)? else { return Ok(None) };
        let [low, high] = pair.value;
        let wrong = |problem: String| Err(self.head.error_at(pair.offset, problem));
        if low > high {
            return wrong(format!(
                "{key}: the first number, {low}, is above the second, {high}; write {key} = {example}"
            ));
        }
        if high <= 0.0 && least <= 0.0 {
            return wrong(format!("{key}: the second number must be above 0, not {high}; write {key} = {example}"));
        }
        if !(low >= least && high <= most) {
            return wrong(format!(
                "{key} must lie between {least} and {most}, not [{low}, {high}]; write {key} = {example}"
            ));
        }
        Ok(Some([low, high]))
    }

    fn passing(&self) -> Result<Vec<PassingLimit>, ScrubFileError> {
        let sections = self.head.sections("passing_pct")?;
        let mut limits: Vec<PassingLimit> = sections.iter().map(passing_limit).collect::<Result<_, _>>()?;
        limits.sort_by(|a, b| a.um.total_cmp(&b.um));
        if let Some(twice) = limits.windows(2).find(|w| w[0].um == w[1].um) {
            let problem = format!("passing_pct has {} µm twice; give each size once", twice[0].um);
            return Err(self.head.error_of("passing_pct", problem));
        }
        Ok(limits)
    }

    fn max_powders(&self) -> Result<Option<usize>, ScrubFileError> {
        let Some(count) = self.head.number("max_powders")? else { return Ok(None) };
        let whole = count.value.fract() == 0.0 && (1.0..=MOST_POWDERS as f64).contains(&count.value);
        if !whole {
            let problem = format!("max_powders must be a whole number from 1 to {MOST_POWDERS}, not {}", count.value);
            return Err(self.head.error_at(count.offset, problem));
        }
        Ok(Some(count.value as usize))
    }

    fn batch(&self) -> Result<f64, ScrubFileError> {
        let Some(batch) = unit(&self.head, "batch_g", Grams::new)? else { return Ok(self.tables.aims.batch_g) };
        if batch.get() <= 0.0 {
            return Err(self.head.error_of("batch_g", "batch_g must be above 0; write batch_g = 1000"));
        }
        Ok(batch.get())
    }

    /// The powders of the shelf that would not go wrong in a scrub.
    fn without_wrong(
        &self,
        shelf: Vec<ShelfPowder>,
        into: Option<&Formula>,
    ) -> Result<Vec<ShelfPowder>, ScrubFileError> {
        let error = |problem: String| self.head.error_of("avoid_wrong", problem);
        let none =
            "avoid_wrong leaves out what would go wrong in a scrub, and none is named; add into = \"scrub.toml\"";
        let into = into.ok_or_else(|| error(none.to_owned()))?;
        let mut said = Vec::new();
        let mut kept = Vec::new();
        for powder in shelf {
            match misfits_of_powder(into, &powder.powder, self.tables).as_slice() {
                [] => kept.push(powder),
                wrong => said.push(format!("{}: {}", powder.powder.name, wrong.join(", "))),
            }
        }
        if kept.is_empty() {
            let more = said.len().saturating_sub(MOST_TOLD);
            said.truncate(MOST_TOLD);
            let more = if more > 0 { format!("; and {more} more") } else { String::new() };
            let name = &into.scrub().name;
            return Err(error(format!(
                "every powder of the shelf would go wrong in {name} ({}{more}); take avoid_wrong out, or put others on the shelf",
                said.join("; ")
            )));
        }
        Ok(kept)
    }

    /// A word that names nothing anywhere is a slip, and a slip here would let an allergen in.
    fn without(&self, shelf: &[ShelfPowder]) -> Result<Vec<String>, ScrubFileError> {
        let words = self.head.texts("without")?;
        for word in &words {
            let on_shelf = shelf.iter().any(|s| s.answers_to(word));
            if !on_shelf && !self.tables.materials.iter().any(|m| m.answers_to(word)) {
                let materials = &self.tables.materials;
                let known = shelf.iter().flat_map(|s| s.tags.iter().chain([&s.powder.name]));
                let flags = materials.iter().flat_map(|m| &m.flags);
                let known = known.chain(flags).map(String::as_str);
                let known = known.chain(materials.iter().flat_map(|m| [m.key.as_str(), m.origin.key()]));
                let mut known: Vec<&str> = known.collect();
                known.sort_unstable();
                known.dedup();
                let hint = did_you_mean(word, known);
                let problem = format!("without: \"{word}\" is no tag, material or name; {hint}");
                return Err(self.head.error_of("without", problem));
            }
        }
        Ok(words)
    }

    fn goal(&self, passing: &[PassingLimit], like: Option<&Scrub>) -> Result<Goal, ScrubFileError> {
        let goal = self.head.need(TomlSection::text, "goal", "goal = \"cheapest\"")?;
        let (curve, from) = (self.curve()?, self.weighed("from")?);
        let unasked = |key: &'static str, wanted: &str| {
            Err(self.head.error_of(key, format!("{key} goes with goal = \"{wanted}\", not with \"{}\"", goal.value)))
        };
        if curve.is_some() && goal.value != "closest-curve" {
            return unasked("curve", "closest-curve");
        }
        if from.is_some() && goal.value != "least-change" {
            return unasked("from", "least-change");
        }
        match goal.value.as_str() {
            "cheapest" => Ok(Goal::Cheapest),
            "fewest-powders" => Ok(Goal::FewestPowders),
            "closest-curve" => {
                let middle = (!passing.is_empty()).then(|| TargetCurve::middle_of(passing));
                let curve = curve.or(middle).or_else(|| like.map(TargetCurve::of_scrub));
                let needs = "goal = \"closest-curve\" needs a curve: curve = \"old.toml\", curve = { d10_um = 40, d50_um = \
                             90 }, or passing_pct";
                curve.map(Goal::ClosestCurve).ok_or_else(|| self.head.error_at(goal.offset, needs))
            }
            "least-change" => {
                let needs = "goal = \"least-change\" needs the scrub to change: from = \"old.toml\" (or like)";
                let scrub = from.or_else(|| like.cloned());
                scrub.map(Goal::LeastChange).ok_or_else(|| self.head.error_at(goal.offset, needs))
            }
            other => {
                let problem = format!("unknown goal \"{other}\"; {}", did_you_mean(other, GOALS));
                Err(self.head.error_at(goal.offset, problem))
            }
        }
    }

    /// Another scrub's curve, or a size as a powder has it.
    fn curve(&self) -> Result<Option<TargetCurve>, ScrubFileError> {
        match self.head.section_or_text("curve")? {
            None => Ok(None),
            Some(Err(named)) => Ok(Some(TargetCurve::of_scrub(&self.scrub_file("curve", &named)?.value))),
            Some(Ok(size)) => {
                let record = size_record(&size, self.beside, self.tables)?;
                Ok(Some(TargetCurve::of_distribution(record.basis, &record.distribution)))
            }
        }
    }
}

fn passing_limit(section: &TomlSection) -> Result<PassingLimit, ScrubFileError> {
    section.only(&["um", "min", "max"], |_| false)?;
    let um = unit(section, "um", Micrometres::new)?;
    let um = section.require("um", um, "{ um = 150, min = 40, max = 70 }")?.get();
    let (min, max) = (section.number("min")?, section.number("max")?);
    if min.is_none() && max.is_none() {
        return Err(section.error("passing_pct needs min, max or both, % finer by mass"));
    }
    let (min, max) = (min.map_or(0.0, |m| m.value), max.map_or(100.0, |m| m.value));
    if min > max {
        return Err(section.error(format!("passing_pct at {um} µm: min = {min} is above max = {max}")));
    }
    let inside = min >= 0.0 && max <= 100.0 && min < 100.0 && max > 0.0;
    if !inside {
        return Err(section.error(format!("passing_pct at {um} µm must lie between 0 and 100 %, not {min} to {max}")));
    }
    Ok(PassingLimit { um, min, max })
}
