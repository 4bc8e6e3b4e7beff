//! Which column of a table is what.

use crate::size::headings::{Heading, Says, folded_words, said};
use crate::size::standards::{MeshSeries, Standards};
use crate::source::{Located, Row, Sheet, Spelled};
use Says::{
    Aside, Count, Cumulative, Gram, Gross, Kilogram, Lower, Mass, Mesh, Micrometre, Milligram, Millimetre, Passing,
    Percent, Retained, Sieve, Size, Tare, Tyler, Upper, Volume,
};

/// Rows above the head of a table: its title, a date, who sieved.
const MOST_ABOVE: usize = 30;

/// A row of more cells than this is no head of a size table.
const MOST_COLUMNS: usize = 256;

/// Which sizes a column holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Bound {
    /// Openings of sieves.
    Sieve,
    /// Sizes of grains.
    Grain,
    /// Where classes start.
    Lower,
    /// Where they end.
    Upper,
}

/// In which unit.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum SizeUnit {
    /// Micrometres.
    Um,
    /// Millimetres.
    Mm,
    /// Numbers of a series.
    Mesh(MeshSeries),
}

impl SizeUnit {
    /// By the words of a heading or behind a number.
    pub fn of(says: &[Says]) -> Option<Self> {
        let has = |word| says.contains(&word);
        match () {
            () if has(Micrometre) => Some(Self::Um),
            () if has(Millimetre) => Some(Self::Mm),
            () if has(Tyler) => Some(Self::Mesh(MeshSeries::Tyler)),
            () if has(Mesh) => Some(Self::Mesh(MeshSeries::AstmE11)),
            () => None,
        }
    }

    /// For people.
    pub fn label(self) -> &'static str {
        match self {
            Self::Um => "µm",
            Self::Mm => "mm",
            Self::Mesh(MeshSeries::AstmE11) => "mesh",
            Self::Mesh(MeshSeries::Tyler) => "Tyler mesh",
        }
    }
}

/// What a column holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Holds {
    /// Sizes.
    Sizes(Bound, Option<SizeUnit>),
    /// Amounts.
    Amounts {
        /// Of what: retained, passing, volume, mass or count.
        of: Says,
        /// From one end of the table to here.
        cumulative: bool,
        /// Gram, milligram, kilogram or percent.
        unit: Option<Says>,
    },
    /// What a sieve weighs, alone or with what lies on it.
    Sieve {
        /// Alone.
        empty: bool,
        /// Gram, milligram or kilogram.
        unit: Option<Says>,
    },
}

/// The unit of an amount, by the words of a heading or behind a number.
pub(super) fn amount_unit(says: &[Says]) -> Option<Says> {
    [Percent, Milligram, Kilogram, Gram].into_iter().find(|unit| says.contains(unit))
}

impl Holds {
    /// By the words of a heading.
    fn of(name: &str, headings: &[Heading]) -> Option<Self> {
        let says = &said(headings, name)[..];
        let has = |word| says.contains(&word);
        // A unit says something by itself, but not behind a word that is not known.
        let alone = folded_words(name).split_whitespace().count() == 1;
        let unit = amount_unit(says);
        let is_mass = unit.is_some_and(|unit| unit != Percent);
        if has(Tare) || has(Gross) {
            return is_mass.then_some(Self::Sieve { empty: has(Tare), unit });
        }
        // Of grains counted, a share finer than a size is no share by volume.
        if has(Aside) || (has(Retained) && has(Passing)) || (has(Count) && (has(Passing) || has(Retained))) {
            return None;
        }
        let sizes = SizeUnit::of(says);
        let bound = match () {
            () if has(Lower) => Some(Bound::Lower),
            () if has(Upper) => Some(Bound::Upper),
            () if has(Sieve) || has(Mesh) || has(Tyler) => Some(Bound::Sieve),
            () if has(Size) || alone && sizes.is_some() => Some(Bound::Grain),
            () => None,
        };
        let of = [Retained, Passing, Volume, Count, Mass].into_iter().find(|of| has(*of));
        let of = of.or_else(|| (has(Cumulative) && unit.is_some()).then_some(Mass));
        let of = of.or_else(|| (alone && unit.is_some()).then_some(Mass));
        match (of, bound) {
            // "size of the share (µm)"
            (Some(Mass), Some(bound)) if unit.is_none() && sizes.is_some() => Some(Self::Sizes(bound, sizes)),
            // "mass of sieve + sample (g)" is weighed, but is not what stayed on it.
            (Some(Mass) | None, Some(Bound::Sieve)) if is_mass => Some(Self::Sieve { empty: false, unit }),
            (Some(of), _) => Some(Self::Amounts { of, cumulative: has(Cumulative), unit }),
            (None, Some(bound)) if unit.is_none() => Some(Self::Sizes(bound, sizes)),
            _ => None,
        }
    }
}

/// A column that was understood.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Column {
    /// Its place.
    pub place: usize,
    /// The words above it.
    pub name: String,
    /// What it holds.
    pub holds: Holds,
}

/// The columns that a table is read from.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Chosen {
    /// Openings or sizes; of classes, where they start.
    pub sizes: Column,
    /// Of classes, where they end.
    pub upper: Option<Column>,
    /// Amounts; of sieves weighed with what lies on them, what they weigh so.
    pub amounts: Column,
    /// What the same sieves weigh empty.
    pub tare: Option<Column>,
}

/// A sheet with its head found.
pub(super) struct Layout<'s> {
    /// The sheet.
    pub sheet: &'s Sheet,
    /// The row of the head.
    pub head: &'s Row,
    /// What stands below it.
    pub rows: Vec<&'s Row>,
    /// The names of all columns.
    pub names: Vec<String>,
    /// Those that were understood.
    columns: Vec<Column>,
}

impl<'s> Layout<'s> {
    /// The first row that has a column of sizes and one of amounts, with numbers below it if there is such a one: a title may hold
    /// the same words.
    pub fn find(sheet: &'s Sheet, standards: &Standards) -> Option<Self> {
        let rows: Vec<&Row> = std::iter::once(&sheet.head).chain(&sheet.rows).collect();
        let heads =
            rows.iter().take(MOST_ABOVE).enumerate().filter(|(_, row)| (2..=MOST_COLUMNS).contains(&row.cells.len()));
        let mut first = None;
        for found in heads.filter_map(|(i, head)| Self::with_head(sheet, &rows, i, head, standards)) {
            if found.has_numbers_below() {
                return Some(found);
            }
            first.get_or_insert(found);
        }
        first
    }

    fn has_numbers_below(&self) -> bool {
        let numbers = |row: &&Row| {
            self.columns
                .iter()
                .filter_map(|c| row.cells.get(c.place))
                .any(|c| c.1.contains(|c: char| c.is_ascii_digit()))
        };
        self.rows.first().is_some_and(numbers)
    }

    fn with_head(sheet: &'s Sheet, rows: &[&'s Row], i: usize, head: &'s Row, standards: &Standards) -> Option<Self> {
        let units = rows.get(i + 1).filter(|row| is_of_units(row, standards));
        let cell = |row: &Row, place: usize| row.cells.get(place).map_or("", |c| &c.1).to_owned();
        let name = |place| match units {
            Some(units) => format!("{} {}", cell(head, place), cell(units, place)).trim().to_owned(),
            None => cell(head, place),
        };
        let names: Vec<String> = (0..head.cells.len()).map(name).collect();
        let column = |(place, name): (usize, &String)| {
            let holds = Holds::of(name, &standards.headings)?;
            Some(Column { place, name: name.clone(), holds })
        };
        let columns: Vec<Column> = names.iter().enumerate().filter_map(column).collect();
        let sizes = columns.iter().any(|c| matches!(c.holds, Holds::Sizes(..)));
        let is_weighed =
            |alone: bool| columns.iter().any(|c| matches!(c.holds, Holds::Sieve { empty, .. } if empty == alone));
        let amounts =
            columns.iter().any(|c| matches!(c.holds, Holds::Amounts { .. })) || is_weighed(true) && is_weighed(false);
        let below = i + 1 + usize::from(units.is_some());
        (sizes && amounts).then(|| Self { sheet, head, rows: rows[below..].to_vec(), names, columns })
    }

    /// Columns of shares in percent that stayed on or passed the sieves.
    pub fn shares(&self) -> impl Iterator<Item = &Column> {
        let is_share =
            |c: &&Column| matches!(c.holds, Holds::Amounts { of: Retained | Passing, unit: Some(Percent), .. });
        self.columns.iter().filter(is_share)
    }

    /// An error at the head of a column.
    pub fn at_head(&self, place: usize, problem: String) -> Located {
        self.sheet.error(self.head, place, problem)
    }

    /// The columns to read.
    ///
    /// # Errors
    /// Where two would do as well, or none does.
    pub fn chosen(&self) -> Result<Chosen, Located> {
        let bound = |wanted: Bound| {
            let rank = |c: &&Column| match c.holds {
                Holds::Sizes(bound, unit) if bound == wanted => Some(match unit {
                    Some(SizeUnit::Um) => 0,
                    Some(SizeUnit::Mm) => 1,
                    Some(SizeUnit::Mesh(_)) => 2,
                    None => 3,
                }),
                _ => None,
            };
            self.best(rank, "sizes")
        };
        let (sizes, upper) = match (bound(Bound::Lower)?, bound(Bound::Upper)?) {
            (Some(lower), Some(upper)) => (Some(lower), Some(upper)),
            _ => (bound(Bound::Sieve)?.map_or_else(|| bound(Bound::Grain), |c| Ok(Some(c)))?, None),
        };
        let Some(sizes) = sizes else {
            let problem =
                "sizes have one bound only; a class needs both, in columns such as \"Lower (µm)\" and \"Upper (µm)\"";
            return Err(self.at_head(0, problem.to_owned()));
        };
        if let (Holds::Sizes(_, Some(SizeUnit::Mesh(_))), Some(series)) = (sizes.holds, other_series(&sizes.name)) {
            let problem = format!(
                "\"{}\": mesh numbers of {series} are not those of ASTM E11 or Tyler, and no table here has them; write the openings in µm",
                sizes.name
            );
            return Err(self.at_head(sizes.place, problem));
        }
        let classes = upper.is_some();
        if let Some(amounts) = self.best(|c| rank_of_amounts(c.holds, classes), "amounts")? {
            return Ok(Chosen { sizes, upper, amounts, tare: None });
        }
        let weighed = |alone: bool| {
            let rank = move |c: &&Column| matches!(c.holds, Holds::Sieve { empty, .. } if empty == alone).then_some(0);
            self.best(rank, if alone { "empty sieves" } else { "sieves with what lies on them" })
        };
        match (weighed(true)?, weighed(false)?) {
            (Some(tare), Some(full)) if !classes => self.difference(sizes, tare, full),
            _ => {
                let problem = format!("\"{}\" has no column of amounts beside it that goes with it", sizes.name);
                Err(self.at_head(sizes.place, problem))
            }
        }
    }

    /// What stayed on the sieves, as what they weigh with it less what they weigh empty.
    fn difference(&self, sizes: Column, tare: Column, full: Column) -> Result<Chosen, Located> {
        match (tare.holds, full.holds) {
            (Holds::Sieve { unit: empty, .. }, Holds::Sieve { unit, .. }) if empty == unit => {
                let holds = Holds::Amounts { of: Retained, cumulative: false, unit };
                Ok(Chosen { sizes, upper: None, amounts: Column { holds, ..full }, tare: Some(tare) })
            }
            _ => {
                let problem = format!("\"{}\" and \"{}\" are in two units; weigh both in grams", tare.name, full.name);
                Err(self.at_head(full.place, problem))
            }
        }
    }

    /// The column of the lowest rank.
    fn best(&self, rank: impl Fn(&&Column) -> Option<usize>, what: &str) -> Result<Option<Column>, Located> {
        let ranked: Vec<(usize, &Column)> = self.columns.iter().filter_map(|c| Some((rank(&c)?, c))).collect();
        let Some(least) = ranked.iter().map(|r| r.0).min() else { return Ok(None) };
        let mut best = ranked.iter().filter(|r| r.0 == least).map(|r| r.1);
        match (best.next(), best.next()) {
            (Some(first), Some(second)) => {
                let problem = format!(
                    "\"{}\" and \"{}\" may both hold the {what}; keep one of them (a repeat goes into a file of its own)",
                    first.name, second.name
                );
                Err(self.at_head(second.place, problem))
            }
            (first, _) => Ok(first.cloned()),
        }
    }
}

/// Which amounts are taken first: what was weighed before what was worked out from it, what says clearly what it is before what does
/// not.
fn rank_of_amounts(holds: Holds, classes: bool) -> Option<usize> {
    let Holds::Amounts { of, cumulative, unit } = holds else { return None };
    let percent = unit == Some(Percent);
    let orders: &[(Says, bool)] = if classes {
        &[(Volume, false), (Count, false), (Mass, false), (Retained, false)]
    } else {
        &[
            (Retained, false),
            (Passing, true),
            (Retained, true),
            (Volume, true),
            (Mass, false),
            (Mass, true),
            (Volume, false),
        ]
    };
    // What passed is cumulative by itself.
    let cumulative = cumulative || of == Passing;
    let place = orders.iter().position(|order| *order == (of, cumulative))?;
    // What stayed on the sieves is taken as weighed where it stands in grams and in percent.
    Some(2 * place + usize::from(percent && of == Retained))
}

/// Names of mesh series that no table here has, with what they are called in a heading.
const OTHER_SERIES: [(&str, &str); 6] =
    [("bss", "BS 410"), ("bs", "BS 410"), ("din", "DIN"), ("imm", "IMM"), ("gost", "GOST"), ("jis", "JIS")];

/// The series that a heading names, where it is none of the tables.
fn other_series(heading: &str) -> Option<&'static str> {
    let words = Spelled::new(heading);
    OTHER_SERIES.iter().find(|(word, _)| words.holds(word)).map(|(_, name)| *name)
}

/// A row that holds nothing but the units of the columns.
fn is_of_units(row: &Row, standards: &Standards) -> bool {
    let units = [Micrometre, Millimetre, Mesh, Gram, Milligram, Kilogram, Percent];
    let mut cells = row.cells.iter().filter(|c| !c.1.is_empty()).peekable();
    cells.peek().is_some()
        && cells.all(|c| {
            let says = said(&standards.headings, &c.1);
            !c.1.contains(|c: char| c.is_ascii_digit()) && says.len() == 1 && units.contains(&says[0])
        })
}
