//! What is known of substances by their names: exfoliating actives, prohibited and restricted ones, grains that are dug or ground;
//! names of regions; and when a rule holds.

use super::rows::rows;
use super::{TableError, TableFile, refuse_repeats, without_lines};
use crate::source::{CalendarDate, Spelled, words};

words! {
    /// How a substance exfoliates.
    pub enum ActiveKind {
        /// An acid that the acids table does not hold.
        Acid = "acid",
        /// A retinoid.
        Retinoid = "retinoid",
        /// An oxidiser.
        Peroxide = "peroxide",
        /// An enzyme.
        Enzyme = "enzyme",
        /// What loosens horn.
        Keratolytic = "keratolytic",
        /// What bleaches.
        Bleach = "bleach",
    }
}

words! {
    /// What a list does to a substance.
    pub enum ListKind {
        /// No cosmetic product may hold it.
        Prohibited = "prohibited",
        /// It is allowed under conditions.
        Restricted = "restricted",
    }
}

words! {
    /// What natural grains are.
    pub enum GrainKind {
        /// Clay or mud.
        Clay = "clay",
        /// Stone.
        Mineral = "mineral",
        /// Mineral colour.
        Pigment = "pigment",
        /// A ground part of a plant.
        Plant = "plant",
        /// Sugar.
        Sugar = "sugar",
        /// Salt.
        Salt = "salt",
    }
}

/// Whether a rule holds for what is new on the market on a day. Without a day all hold that have not ended, those to come among
/// them.
pub fn holds_on(from: Option<CalendarDate>, until: Option<CalendarDate>, day: Option<CalendarDate>) -> bool {
    match day {
        Some(day) => from.is_none_or(|from| from <= day) && until.is_none_or(|until| day <= until),
        None => until.is_none(),
    }
}

rows! {
    /// `exfoliating-actives.csv`: a word by which a substance that exfoliates is known.
    pub struct ExfoliatingActive {
        /// Whole words of its name or INCI name.
        pub word: String,
        /// How it exfoliates.
        pub kind: ActiveKind,
        /// What it is.
        pub what: String,
        /// What to mind.
        pub says: String,
        /// From this much it counts, % w/w.
        pub from_pct: f64,
        /// Words with which it is another substance.
        #[serde(default)]
        pub unless: String,
    }

    /// `annexes.csv`: a substance that a list prohibits or restricts.
    pub struct AnnexEntry {
        /// Whole words of its name or INCI name.
        pub word: String,
        /// What the list does.
        pub list: ListKind,
        /// Where it holds.
        pub region: String,
        /// The instrument and its entry.
        pub reference: String,
        /// What it says.
        pub says: String,
        /// Most of it in a product that is rinsed off, % w/w; none is said when empty.
        pub max_rinse_pct: Option<f64>,
        /// The same, product left on.
        pub max_leave_pct: Option<f64>,
        /// The product's pH stays below this.
        pub max_ph: Option<f64>,
        /// Mass of what the limit counts in a gram of it, such as retinol in its ester; all of it when empty.
        #[serde(default)]
        pub counts_as: Option<f64>,
        /// Words with which it is another substance.
        #[serde(default)]
        pub unless: String,
        /// First day on which it holds.
        pub from: Option<CalendarDate>,
        /// Last day on which it holds.
        pub until: Option<CalendarDate>,
    }

    /// `natural-grains.csv`: a word by which grains that are dug or ground are known.
    pub struct NaturalGrain {
        /// Whole words of an INCI name.
        pub word: String,
        /// What they are.
        pub kind: GrainKind,
    }

    /// `regions.csv`: a region by whose law the tables go, and the names that people give it.
    pub struct Region {
        /// The word of the tables.
        pub region: String,
        /// Other names, and countries under its law, with semicolons between.
        pub names: String,
    }
}

/// Whether a name holds a word, and none of those with which it is another substance.
fn is_of(name: &Spelled, word: &str, unless: &str) -> bool {
    name.holds(word) && !unless.split(';').any(|other| name.holds(other))
}

impl ExfoliatingActive {
    /// Whether a name is of it.
    pub fn is(&self, name: &Spelled) -> bool {
        is_of(name, &self.word, &self.unless)
    }
}

impl AnnexEntry {
    /// Whether a name is of it.
    pub fn is(&self, name: &Spelled) -> bool {
        is_of(name, &self.word, &self.unless)
    }
}

impl NaturalGrain {
    /// Whether an INCI name is of these grains. Sugar and salt have to be named whole: sucrose stearate is no sugar; an oil, a wax or
    /// an extract of a plant is no grain.
    pub fn is(&self, inci: &Spelled) -> bool {
        match self.kind {
            GrainKind::Sugar | GrainKind::Salt => inci.is(&self.word),
            GrainKind::Plant | GrainKind::Clay => {
                inci.holds(&self.word) && !LIQUIDS.iter().any(|word| inci.holds(word))
            }
            _ => inci.holds(&self.word),
        }
    }

    /// Whether a name without an INCI name tells of these grains.
    pub fn is_called(&self, name: &Spelled) -> bool {
        match self.kind {
            GrainKind::Sugar | GrainKind::Salt => name.holds(&self.word),
            _ => self.is(name),
        }
    }
}

/// Whether a name holds a Colour Index number from 77000 on: inorganic colours (Colour Index, third edition).
pub fn is_mineral_colour(name: &Spelled) -> bool {
    let is_number =
        |digits: &str| digits.len() == 5 && digits.starts_with("77") && digits.bytes().all(|b| b.is_ascii_digit());
    name.meant().any(|(i, word)| match word.strip_prefix("ci") {
        Some("") => name.get(i + 1).is_some_and(is_number),
        Some(number) => is_number(number),
        None => false,
    })
}

/// What is made of a plant and is no grain.
const LIQUIDS: [&str; 8] = ["oil", "extract", "wax", "cera", "water", "butter", "lipids", "acid"];

/// The tables of this file.
#[derive(Debug, Clone)]
pub struct Substances {
    /// Substances that exfoliate.
    pub actives: Vec<ExfoliatingActive>,
    /// Substances of prohibited and restricted lists.
    pub annexes: Vec<AnnexEntry>,
    /// Grains that are dug or ground.
    pub grains: Vec<NaturalGrain>,
    /// Regions by name.
    pub regions: Vec<Region>,
}

impl Substances {
    /// Entries of the lists that are in force on a day in these regions; in all of them where none is named.
    pub fn in_force<'s>(
        &'s self,
        regions: &'s [String],
        day: Option<CalendarDate>,
    ) -> impl Iterator<Item = &'s AnnexEntry> {
        let there = |e: &AnnexEntry| regions.is_empty() || regions.contains(&e.region);
        self.annexes.iter().filter(move |e| holds_on(e.from, e.until, day) && there(e))
    }

    pub(super) fn read<'a>(find: &impl Fn(&'static str) -> &'a TableFile) -> Result<Self, TableError> {
        let (actives, annexes) = (find("exfoliating-actives"), find("annexes"));
        let rows: Vec<(usize, ExfoliatingActive)> = actives.rows()?;
        refuse_repeats(actives, &rows, |r| r.word.clone())?;
        if let Some((line, row)) = rows.iter().find(|(_, r)| !(0.0..=100.0).contains(&r.from_pct)) {
            return Err(actives.error(*line, format!("from_pct = {} must lie between 0 and 100", row.from_pct)));
        }
        let entries: Vec<(usize, AnnexEntry)> = annexes.rows()?;
        let limits = |e: &AnnexEntry| [e.max_rinse_pct, e.max_leave_pct].into_iter().flatten();
        if let Some((line, _)) = entries.iter().find(|(_, e)| limits(e).any(|most| !(0.0..=100.0).contains(&most))) {
            return Err(annexes.error(*line, "max_rinse_pct and max_leave_pct must lie between 0 and 100"));
        }
        let grains = find("natural-grains");
        let grain_rows: Vec<(usize, NaturalGrain)> = grains.rows()?;
        refuse_repeats(grains, &grain_rows, |r| r.word.clone())?;
        Ok(Self {
            actives: without_lines(rows),
            annexes: without_lines(entries),
            grains: without_lines(grain_rows),
            regions: without_lines(find("regions").rows()?),
        })
    }

    /// The word of the tables for a region or country; nothing for one that they do not know.
    pub fn region(&self, name: &str) -> Option<&str> {
        let is = |r: &&Region| {
            r.names.split(';').chain([r.region.as_str()]).any(|known| known.trim().eq_ignore_ascii_case(name.trim()))
        };
        self.regions.iter().find(is).map(|r| r.region.as_str())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_rule_holds_from_its_first_day_to_its_last() {
        let day = |text: &str| text.parse::<CalendarDate>().ok();
        let (from, until) = (day("2026-07-31"), day("2028-07-31"));
        for (on, holds) in [("2026-07-30", false), ("2026-07-31", true), ("2028-07-31", true), ("2028-08-01", false)] {
            assert_eq!(holds_on(from, until, day(on)), holds, "{on}");
        }
        assert!(holds_on(from, None, None) && !holds_on(from, until, None) && holds_on(None, None, day("1990-01-01")));
    }
}
