//! The rows of a table whose columns are known: numbers with their units, the pan, totals, the order.

use super::Understood;
use super::columns::{Bound, Chosen, Column, Holds, Layout, SizeUnit, amount_unit};
use crate::numerics::written::trimmed;
use crate::size::headings::{Says, said};
use crate::size::standards::{MeshSeries, Standards};
use crate::size::written_cells::{CellFigure, Marks};
use crate::source::{Located, NEVER_WORKED_OUT, Row};
use Says::{Count, Gram, Kilogram, Mass, Milligram, Passing, Percent, Retained, Volume};

/// How far a row of totals may be off the sum of the others, of that sum.
const TOTAL_OFF: f64 = 0.005;
/// How far shares may sum from 100, %, to be taken for shares of each row.
const SUM_OFF_PCT: f64 = 1.0;
/// Masses that rise over at least so many rows, by this factor at least in all and by no more than that into the pan, may be sums.
const LEAST_SUMMED: usize = 4;
const LEAST_GROWN: f64 = 1.5;
const MOST_ADDED: f64 = 1.25;

/// The first column of a row.
enum First {
    /// A sieve, a size or a class: its bounds in µm, a class's upper one behind.
    Size(String, Option<String>),
    /// What lies between two sieves: their openings in µm, the finer first.
    Between(String, String),
    /// The pan; with the opening that it lies below, where that is said.
    Pan(Option<String>),
    /// The sum of the rows, or what was lost.
    Total,
    /// See above.
    Loss,
    /// Nothing of the table.
    Beside,
}

/// A row of the table in the form that is read.
struct Taken<'s> {
    row: &'s Row,
    first: First,
    /// Digits.
    amount: String,
}

impl Taken<'_> {
    fn value(&self) -> f64 {
        self.amount.parse().unwrap_or(f64::NAN)
    }

    fn size_um(&self) -> Option<f64> {
        match &self.first {
            First::Size(um, _) | First::Between(um, _) => um.parse().ok(),
            _ => None,
        }
    }
}

/// A table being read.
pub(super) struct Reading<'l, 's> {
    layout: &'l Layout<'s>,
    chosen: Chosen,
    standards: &'l Standards,
    marks: Marks,
    said: Vec<String>,
}

impl<'l, 's> Reading<'l, 's> {
    pub fn new(layout: &'l Layout<'s>, chosen: Chosen, standards: &'l Standards) -> Self {
        let places: Vec<usize> = columns(&chosen).map(|c| c.place).collect();
        let cells = layout.rows.iter().flat_map(|row| places.iter().filter_map(|place| row.cells.get(*place)));
        let marks = Marks::of(cells.map(|c| c.1.as_str()), layout.sheet.is_of_decimal_commas());
        Self { layout, chosen, standards, marks, said: Vec::new() }
    }

    pub fn understood(mut self) -> Result<Understood, Located> {
        let (sizes, upper) = (self.size_unit(&self.chosen.sizes)?, self.chosen.upper.clone());
        let upper = upper.map(|upper| Ok::<_, Located>((self.size_unit(&upper)?, upper))).transpose()?;
        let unit = self.amount_unit()?;
        let rows = self.rows(sizes, upper.as_ref(), unit)?;
        let (of_table, others): (Vec<_>, Vec<_>) =
            rows.into_iter().partition(|taken| !matches!(taken.first, First::Total | First::Loss));
        let rows = self.in_order(of_table)?;
        let rows = self.on_sieves(rows)?;
        let form = self.form(&rows, unit)?;
        self.say(form, sizes, unit);
        let lost_g = self.leave_out(&rows, &others, form)?;
        if form.starts_with("retained") {
            self.agree(&rows, lost_g.unwrap_or(0.0))?;
        }
        Ok(Understood { lost_g, ..self.rebuilt(rows, form) })
    }

    fn fault(&self, row: &Row, place: usize, problem: impl Into<String>) -> Located {
        self.layout.sheet.error(row, place, problem.into())
    }

    fn cell(row: &Row, place: usize) -> &str {
        row.cells.get(place).map_or("", |c| c.1.as_str())
    }

    /// What a cell says beside its number.
    fn words(&self, cell: &str) -> Vec<Says> {
        if cell.contains(char::is_alphabetic) { said(&self.standards.headings, cell) } else { Vec::new() }
    }

    /// The unit of a column of sizes whose cells do not name their own.
    fn size_unit(&self, column: &Column) -> Result<Option<SizeUnit>, Located> {
        let Holds::Sizes(_, unit) = column.holds else { return Ok(None) };
        let headings = &self.standards.headings;
        let bare = |row: &&&Row| {
            let cell = Self::cell(row, column.place);
            let figure = self.marks.read(between(cell).map_or(cell, |ends| ends.1), headings).ok();
            figure.filter(|f| f.unit.is_empty() && f.digits.parse::<f64>().is_ok_and(|v| v > 0.0))
        };
        let without = || self.layout.rows.iter().find_map(|row| bare(&row));
        match unit.map_or_else(without, |_| None) {
            Some(CellFigure { digits, .. }) => {
                let name = &column.name;
                Err(self.layout.at_head(
                    column.place,
                    format!(
                        "\"{name}\" has no unit: {digits} may be {digits} µm, {digits} mm or {digits} mesh; write \"{name} (µm)\", \
                         \"{name} (mm)\" or \"{name} (mesh)\""
                    ),
                ))
            }
            None => Ok(unit),
        }
    }

    /// The unit of the amounts, from the heading or else from the cells.
    fn amount_unit(&self) -> Result<Option<Says>, Located> {
        let Column { place, name, holds } = &self.chosen.amounts;
        let Holds::Amounts { of, unit, .. } = holds else { return Ok(None) };
        let of_cell =
            |row: &&Row| amount_unit(&self.marks.read(Self::cell(row, *place), &self.standards.headings).ok()?.unit);
        match unit.or_else(|| self.layout.rows.iter().find_map(of_cell)) {
            Some(unit) => Ok(Some(unit)),
            None if *of == Count => Ok(None),
            None => {
                let problem = format!("\"{name}\" has no unit; write \"{name} (g)\" or \"{name} (%)\"");
                Err(self.layout.at_head(*place, problem))
            }
        }
    }

    /// All rows that hold something, or all cells that are wrong.
    fn rows(
        &self,
        sizes: Option<SizeUnit>,
        upper: Option<&(Option<SizeUnit>, Column)>,
        unit: Option<Says>,
    ) -> Result<Vec<Taken<'s>>, Located> {
        let (mut taken, mut faults) = (Vec::new(), Vec::new());
        for row in &self.layout.rows {
            if let Some(beyond) = self.beyond(row) {
                faults.push(beyond);
                continue;
            }
            let first = self.first(row, sizes, upper);
            let amount = match &first {
                Ok(First::Beside) => continue,
                Ok(First::Total | First::Loss) if self.says_no_amount(row) => continue,
                _ => self.amount(row, unit),
            };
            match (first, amount) {
                (Ok(first), Ok(amount)) => taken.push(Taken { row, first, amount }),
                (first, amount) => faults.extend(first.err().into_iter().chain(amount.err())),
            }
        }
        match Located::all(faults) {
            Some(all) => Err(all),
            None if taken.is_empty() => Err(self
                .layout
                .at_head(self.chosen.sizes.place, "no rows stand below the head of the table".to_owned())),
            None => Ok(taken),
        }
    }

    /// Whether a row holds nothing that an amount could be read from: of a sum of sieves the empty ones are seldom summed, and a program
    /// that writes a sum as a formula works out none.
    fn says_no_amount(&self, row: &Row) -> bool {
        let read = [Some(&self.chosen.amounts), self.chosen.tare.as_ref()];
        let says_none = |cell: &str| cell.is_empty() || cell.ends_with(NEVER_WORKED_OUT);
        read.into_iter().flatten().any(|column| says_none(Self::cell(row, column.place)))
    }

    /// More cells than columns, as decimal commas make them in a text whose columns are kept apart by commas.
    fn beyond(&self, row: &Row) -> Option<Located> {
        let columns = self.layout.names.len();
        let place = row.cells.iter().rposition(|c| !c.1.is_empty()).filter(|last| *last >= columns)?;
        // In a workbook something may stand beside the table.
        let problem = format!(
            "{} cells, but the head names {columns} columns; if a comma is the decimal mark, keep columns apart by semicolons",
            place + 1
        );
        self.layout.sheet.name().is_none().then(|| self.fault(row, columns, problem))
    }

    fn first(
        &self,
        row: &Row,
        unit: Option<SizeUnit>,
        upper: Option<&(Option<SizeUnit>, Column)>,
    ) -> Result<First, Located> {
        let place = self.chosen.sizes.place;
        let cell = Self::cell(row, place);
        let amount = Self::cell(row, self.chosen.amounts.place);
        let words = self.words(cell);
        let digits = cell.contains(|c: char| c.is_ascii_digit());
        match () {
            () if upper.is_none() && words.contains(&Says::Pan) => return Ok(First::Pan(None)),
            () if !digits && words.contains(&Says::Loss) => return Ok(First::Loss),
            () if !digits && words.contains(&Says::Total) => return Ok(First::Total),
            // A remark below the table, or a sum without a word beside it.
            () if !digits && amount.is_empty() => return Ok(First::Beside),
            () if cell.is_empty() && upper.is_none() => return Ok(First::Total),
            () => {}
        }
        let below = upper.is_none().then(|| cell.strip_prefix(['<', '≤', '-', '−'])).flatten();
        if let Some(below) = below {
            return self.size(row, place, below, unit).map(|um| First::Pan(Some(um)));
        }
        if let Some((one, other)) = between(cell).filter(|_| upper.is_none() && self.is_of_each_sieve()) {
            return self.between(row, one, other, unit);
        }
        let size = match cell {
            // The finest class may start at nothing.
            "" => "0".to_owned(),
            _ => self.size(row, place, cell.trim_start_matches(['>', '≥', '+']), unit)?,
        };
        let Some((unit, column)) = upper else {
            let pan = size.parse::<f64>() == Ok(0.0);
            return Ok(if pan { First::Pan(None) } else { First::Size(size, None) });
        };
        Ok(First::Size(size, Some(self.size(row, column.place, Self::cell(row, column.place), *unit)?)))
    }

    /// Whether the amounts are of what stayed on each sieve, so that it may be told by the two that it lies between.
    fn is_of_each_sieve(&self) -> bool {
        matches!(self.chosen.amounts.holds, Holds::Amounts { of: Retained | Mass, cumulative: false, .. })
    }

    /// What lies between two sieves; what is finer than one lies in the pan.
    fn between(&self, row: &Row, one: &str, other: &str, unit: Option<SizeUnit>) -> Result<First, Located> {
        let place = self.chosen.sizes.place;
        // "63 – 125 µm": the unit is that of both.
        let unit = SizeUnit::of(&self.words(other.trim_start_matches(|c: char| !c.is_alphabetic()))).or(unit);
        let [one, other] = [one, other].map(|end| self.size(row, place, end, unit));
        let (one, other) = (one?, other?);
        let number = |um: &String| um.parse::<f64>().unwrap_or(f64::NAN);
        // The mesh numbers of a range may run either way.
        let (lower, upper) = if number(&one) <= number(&other) { (one, other) } else { (other, one) };
        Ok(if number(&lower) == 0.0 { First::Pan(Some(upper)) } else { First::Between(lower, upper) })
    }

    /// The rows with what lies between two sieves put on the finer of them; above the coarsest range nothing lay.
    fn on_sieves(&mut self, rows: Vec<Taken<'s>>) -> Result<Vec<Taken<'s>>, Located> {
        let mut on_sieves: Vec<Taken<'s>> = Vec::with_capacity(rows.len() + 1);
        let mut ranges = false;
        for taken in rows {
            let Taken { row, first, amount } = taken;
            let First::Between(lower, upper) = first else {
                on_sieves.push(Taken { row, first, amount });
                continue;
            };
            ranges = true;
            match on_sieves.last().map(Taken::size_um) {
                None => on_sieves.push(Taken { row, first: First::Size(upper, None), amount: "0".to_owned() }),
                Some(coarser) if coarser == upper.parse().ok() => {}
                Some(coarser) => {
                    let coarser = coarser.map_or_else(String::new, |um| format!(", {um} µm"));
                    let problem = format!(
                        "{lower} to {upper} µm does not reach to the next coarser sieve{coarser}; a class is missing"
                    );
                    return Err(self.fault(row, self.chosen.sizes.place, problem));
                }
            }
            on_sieves.push(Taken { row, first: First::Size(lower, None), amount });
        }
        if ranges {
            self.said.push("what lies between two sieves as what stayed on the finer one".to_owned());
        }
        Ok(on_sieves)
    }

    /// A size in µm.
    fn size(&self, row: &Row, place: usize, cell: &str, unit: Option<SizeUnit>) -> Result<String, Located> {
        let headings = &self.standards.headings;
        let wrong = |problem: String| self.fault(row, place, format!("\"{}\": {problem}", self.layout.names[place]));
        let lower = cell.trim().to_lowercase();
        let numbered = ["#", "no.", "no", "nr.", "nr"].iter().find_map(|mark| lower.strip_prefix(mark));
        let own = SizeUnit::of(&self.words(cell.trim_start_matches(|c: char| !c.is_alphabetic())));
        let unit = own
            .or(numbered
                .map(|_| SizeUnit::Mesh(MeshSeries::AstmE11))
                .filter(|_| !matches!(unit, Some(SizeUnit::Mesh(_)))))
            .or(unit);
        if let Some(SizeUnit::Mesh(series)) = unit {
            let number = numbered.unwrap_or(&lower).replace("mesh", "").replace("tyler", "");
            let opening = self.standards.opening_um(series, number.trim()).map_err(|e| wrong(e.to_string()))?;
            return Ok(opening.to_string());
        }
        let figure = self.marks.read(cell, headings).map_err(wrong)?;
        match figure.unit.as_slice() {
            [] | [Says::Micrometre | Says::Millimetre] => {}
            _ => return Err(wrong(format!("\"{cell}\" has a unit that is none of a size; write it like 300 µm"))),
        }
        Ok(if unit == Some(SizeUnit::Mm) { moved(&figure.digits, 3) } else { figure.digits })
    }

    /// An amount: grams, percent, or a number of grains.
    fn amount(&self, row: &Row, unit: Option<Says>) -> Result<String, Located> {
        let place = self.chosen.amounts.place;
        let weighed = self.weighed(row, place, unit)?;
        let Some(tare) = &self.chosen.tare else { return Ok(weighed) };
        let number = |digits: &str| digits.parse::<f64>().unwrap_or(f64::NAN);
        let empty = self.weighed(row, tare.place, unit)?;
        let net = number(&weighed) - number(&empty);
        if net < 0.0 {
            let problem = format!(
                "the sieve weighs less with what lies on it (\"{}\", {weighed} g) than empty (\"{}\", {empty} g)",
                self.chosen.amounts.name, tare.name
            );
            return Err(self.fault(row, place, problem));
        }
        // Balances read to less than this; a difference has no more digits than what it is of.
        Ok(trimmed(net, 9))
    }

    /// What a cell of amounts says.
    fn weighed(&self, row: &Row, place: usize, unit: Option<Says>) -> Result<String, Located> {
        let wrong = |problem: String| self.fault(row, place, format!("\"{}\": {problem}", self.layout.names[place]));
        let cell = Self::cell(row, place);
        let figure = self.marks.read(cell, &self.standards.headings).map_err(wrong)?;
        let own = amount_unit(&figure.unit).or(unit);
        if figure.digits.starts_with('-') {
            return Err(wrong(format!("\"{cell}\" is negative; it must be 0 or more")));
        }
        if (own == Some(Percent)) != (unit == Some(Percent)) || (unit.is_none() && !figure.unit.is_empty()) {
            return Err(wrong(format!("\"{cell}\" is in another unit than the others")));
        }
        Ok(match own {
            Some(Kilogram) => moved(&figure.digits, 3),
            Some(Milligram) => moved(&figure.digits, -3),
            _ => figure.digits,
        })
    }

    /// The rows of the table with the pan last and from coarse to fine, or from fine to coarse where they are classes or sizes; rows
    /// that run neither way are left for the reader to refuse.
    fn in_order(&mut self, mut rows: Vec<Taken<'s>>) -> Result<Vec<Taken<'s>>, Located> {
        let pan_last = matches!(rows.last(), Some(Taken { first: First::Pan(_), .. })) && rows.len() > 1;
        if matches!(rows.first(), Some(Taken { first: First::Pan(_), .. })) && rows.len() > 1 {
            rows.rotate_left(1);
        }
        let sizes: Vec<f64> = rows.iter().filter_map(Taken::size_um).collect();
        let coarse_first = self.is_sieved();
        let wrong_way = |w: &[f64]| if coarse_first { w[0] < w[1] } else { w[0] > w[1] };
        if sizes.len() > 1 && sizes.windows(2).all(wrong_way) {
            let is_mesh = |um: &f64| self.standards.opening_um(MeshSeries::AstmE11, &um.to_string()).is_ok();
            let as_meshes = coarse_first && pan_last && sizes.iter().all(is_mesh);
            if let Some(pan) = rows.last().filter(|_| as_meshes) {
                let problem = "the pan, below all sieves, stands under the largest of these numbers, and each is a mesh number: write \"mesh\" \
                               above them where they are that, or turn the rows about where they are openings";
                return Err(self.fault(pan.row, self.chosen.sizes.place, problem.to_owned()));
            }
            rows[..sizes.len()].reverse();
            self.said.push(
                if coarse_first { "turned to run from coarse to fine" } else { "turned to run from fine to coarse" }
                    .to_owned(),
            );
        }
        if let Some(Taken { row, first: First::Pan(Some(below)), .. }) = rows.last() {
            let finest = rows.iter().rev().find_map(Taken::size_um);
            if finest.is_none_or(|finest| below.parse() != Ok(finest)) {
                let problem =
                    format!("the pan is said to lie below {below} µm, which is not the finest sieve of the table");
                return Err(self.fault(row, self.chosen.sizes.place, problem));
            }
        }
        Ok(rows)
    }

    /// Whether the rows are sieves.
    fn is_sieved(&self) -> bool {
        let Holds::Amounts { of, .. } = self.chosen.amounts.holds else { return false };
        let grains = matches!(self.chosen.sizes.holds, Holds::Sizes(Bound::Grain, _));
        match self.chosen.upper {
            Some(_) => false,
            None => of == Retained || !grains && of != Volume || of == Mass,
        }
    }

    /// The column that the amounts are read as.
    fn form(&self, rows: &[Taken], unit: Option<Says>) -> Result<&'static str, Located> {
        let Column { place, name, holds } = &self.chosen.amounts;
        let Holds::Amounts { of, cumulative, .. } = *holds else { return Ok("retained_g") };
        let ask = |problem: String| Err(self.layout.at_head(*place, format!("\"{name}\" {problem}")));
        let percent = unit == Some(Percent);
        if self.chosen.upper.is_some() {
            return match (of, percent, cumulative) {
                (Count, ..) => Ok("count"),
                (Volume | Mass | Retained, true, false) => Ok("volume_pct"),
                _ => ask("beside classes must be a share of each class; write \"Volume (%)\" or \"Count\"".to_owned()),
            };
        }
        let (sum, last) = (rows.iter().map(Taken::value).sum::<f64>(), rows.last().map_or(0.0, Taken::value));
        let of_rows = (sum - 100.0).abs() <= SUM_OFF_PCT;
        let runs = |rising: bool| {
            rows.windows(2).all(|w| if rising { w[0].value() <= w[1].value() } else { w[0].value() >= w[1].value() })
        };
        let to_hundred = runs(true) && (last - 100.0).abs() <= SUM_OFF_PCT;
        match (of, percent, cumulative) {
            (Retained | Mass, false, false) => match running(rows, of) {
                Some([runs, holds, off]) if name != "retained_g" => ask(format!(
                    "{runs} from the coarsest sieve to the pan: each may be what that sieve retained, or all that {holds}; write \
                     \"retained_g\" above the column in the first case, in the second take the row {off} off each"
                )),
                _ => Ok("retained_g"),
            },
            (Retained, true, true) => Ok("cum_retained_pct"),
            (Retained, true, false) if of_rows => Ok("retained_pct"),
            (Retained, true, false) if to_hundred => Ok("cum_retained_pct"),
            (Retained, true, false) => ask(format!(
                "sums to {} %: shares of each sieve sum to 100 %, and cumulative ones rise to 100 % from the coarsest sieve; mend the \
                 numbers, or write \"Cumulative retained (%)\"",
                trimmed(sum, 5)
            )),
            (Passing, true, _) if self.is_sieved() => Ok("cum_passing_pct"),
            (Passing, true, _) => Ok("cum_volume_pct"),
            (Volume, true, true) => Ok("cum_volume_pct"),
            (Volume, true, false) if to_hundred && !of_rows => Ok("cum_volume_pct"),
            (Volume, true, false) => {
                ask("is a share of each class, and a class needs both bounds; write \"Lower (µm)\" and \"Upper (µm)\""
                    .to_owned())
            }
            (Mass, true, false) if of_rows && !runs(false) => Ok("retained_pct"),
            (Mass, true, _) => ask(format!(
                "may be what each sieve retained or what passed it; write \"Retained (%)\", \"Cumulative retained (%)\" or \"Passing (%)\"{}",
                if cumulative { "" } else { " above it" }
            )),
            _ => ask("is not read; write \"Retained (g)\", \"Retained (%)\" or \"Passing (%)\"".to_owned()),
        }
    }

    /// What was taken for what.
    fn say(&mut self, form: &str, sizes: Option<SizeUnit>, unit: Option<Says>) {
        let said = std::mem::take(&mut self.said);
        self.said.extend(self.layout.sheet.name().map(|sheet| format!("sheet \"{sheet}\"")));
        let (what, unit_of) = (if self.is_sieved() { "openings" } else { "sizes" }, sizes.map(SizeUnit::label));
        let unit_of = unit_of.unwrap_or("the units of their cells");
        let of = self.chosen.upper.as_ref().map_or_else(
            || format!("\"{}\" as {what}", self.chosen.sizes.name),
            |upper| format!("\"{}\" to \"{}\" as classes", self.chosen.sizes.name, upper.name),
        );
        self.said.push(format!("{of} in {unit_of}"));
        let amounts = match form {
            "retained_g" => "what stayed on each sieve",
            "retained_pct" => "the share that stayed on each sieve",
            "cum_retained_pct" => "the share that stayed on a sieve and those above it",
            "cum_passing_pct" => "the share that passed",
            "cum_volume_pct" => "the share by volume that is finer",
            "volume_pct" => "the share by volume of each class",
            _ => "the number of grains of each class",
        };
        let unit = match unit {
            Some(Gram) => ", g",
            Some(Milligram) => ", mg",
            Some(Kilogram) => ", kg",
            Some(_) => ", %",
            None => "",
        };
        let less = self.chosen.tare.as_ref().map_or_else(String::new, |tare| format!(" less \"{}\"", tare.name));
        self.said.push(format!("\"{}\"{less} as {amounts}{unit}", self.chosen.amounts.name));
        if self.marks.decimal_commas() {
            self.said.push("commas as decimal marks".to_owned());
        }
        self.said.extend(said);
    }

    /// Rows that are none of the table, the sum held against them. What was lost, g.
    fn leave_out(&mut self, rows: &[Taken], others: &[Taken], form: &str) -> Result<Option<f64>, Located> {
        let sum: f64 = rows.iter().map(Taken::value).sum();
        let losses = || others.iter().filter(|o| matches!(o.first, First::Loss));
        let lost: f64 = losses().map(Taken::value).sum();
        let lost_g = losses().next().filter(|_| form == "retained_g").map(|_| lost);
        let summed = !form.starts_with("cum");
        let place = self.chosen.amounts.place;
        for other in others {
            let name = Self::cell(other.row, self.chosen.sizes.place);
            let is_total = matches!(other.first, First::Total);
            let near = |sum: f64| (other.value() - sum).abs() <= TOTAL_OFF * sum;
            if is_total && (summed || name.is_empty()) && !near(sum) && !near(sum + lost) {
                let total = trimmed(other.value(), 6);
                let problem = if name.is_empty() {
                    format!(
                        "{total} has no size beside it, and is not the sum of the other rows, {}; write its sieve, or leave it out",
                        trimmed(sum, 6)
                    )
                } else {
                    format!(
                        "\"{name}\" says {total}, but the rows sum to {}; one is missing or mistyped",
                        trimmed(sum, 6)
                    )
                };
                return Err(self.fault(other.row, place, problem));
            }
            let name = if name.is_empty() { "the sum".to_owned() } else { format!("\"{name}\"") };
            let taken = if is_total || lost_g.is_none() { "left out" } else { "as lost of what was charged" };
            self.said.push(format!("row {} ({name}) {taken}", other.row.line));
        }
        let used: Vec<usize> = columns(&self.chosen).map(|c| c.place).collect();
        let idle =
            self.layout.names.iter().enumerate().filter(|(place, name)| !used.contains(place) && !name.is_empty());
        let idle: Vec<String> = idle.map(|(_, name)| format!("\"{name}\"")).collect();
        if !idle.is_empty() {
            self.said.push(format!("not used: {}", idle.join(", ")));
        }
        Ok(lost_g)
    }

    /// Refuses shares beside the column that is read which it does not make, of all that was weighed or of that and what was lost.
    fn agree(&self, rows: &[Taken], lost: f64) -> Result<(), Located> {
        // What lies between two sieves stands on one that is not of its row.
        if rows.windows(2).any(|w| std::ptr::eq(w[0].row, w[1].row)) {
            return Ok(());
        }
        let weighed: f64 = rows.iter().map(Taken::value).sum();
        for column in self.layout.shares().filter(|c| c.place != self.chosen.amounts.place) {
            let off = [weighed, weighed + lost].map(|whole| self.disagreement(rows, column, whole));
            if let [Some((row, written, made)), Some(_)] = off {
                let (name, amounts) = (&column.name, &self.chosen.amounts.name);
                let problem = format!(
                    "\"{name}\" says {written} %, where \"{amounts}\" makes {} %; mend the one that is wrong, or leave \"{name}\" out",
                    trimmed(made, 4)
                );
                return Err(self.fault(row, column.place, problem));
            }
        }
        Ok(())
    }

    /// The first row whose share in a column is not what the amounts make of the whole: it, what it says, and what they make, %.
    fn disagreement(&self, rows: &[Taken<'s>], column: &Column, whole: f64) -> Option<(&'s Row, String, f64)> {
        let written = |row: &Row| self.marks.read(Self::cell(row, column.place), &self.standards.headings).ok();
        let mut above = 0.0;
        let made = rows.iter().map(|taken| {
            let own = 100.0 * taken.value() / whole;
            above += own;
            (taken.row, own, above)
        });
        let made: Vec<(&Row, f64, f64)> = made.collect();
        let off = |share: &dyn Fn(f64, f64) -> f64| {
            made.iter().find_map(|(row, own, above)| {
                let (figure, share) = (written(row)?, share(*own, *above));
                let value: f64 = figure.digits.parse().ok()?;
                ((value - share).abs() > SUM_OFF_PCT).then_some((*row, figure.digits, share))
            })
        };
        let Holds::Amounts { of, cumulative, .. } = column.holds else { return None };
        match (of, cumulative) {
            (Passing, _) => off(&|_, above| 100.0 - above),
            (_, true) => off(&|_, above| above),
            // "Retained (%)" may be of each sieve, or of all above it too.
            _ => off(&|own, _| own).and_then(|own| off(&|_, above| above).map(|_| own)),
        }
    }

    /// The table in the form that is read, each cell with the place that it came from.
    fn rebuilt(self, rows: Vec<Taken>, form: &str) -> Understood {
        let at = |row: &Row, place: usize| row.cells.get(place).map_or(1, |c| c.0);
        let (sizes, amounts) = (self.chosen.sizes.place, self.chosen.amounts.place);
        let upper = self.chosen.upper.as_ref().map(|c| c.place);
        let names = match (upper, form) {
            (Some(_), _) => vec!["lower_um", "upper_um", form],
            (None, "cum_volume_pct") => vec!["size_um", form],
            (None, _) => vec!["opening_um", form],
        };
        let places: Vec<usize> = [Some(sizes), upper, Some(amounts)].into_iter().flatten().collect();
        let with = |row: &Row, cells: Vec<String>| Row {
            line: row.line,
            cells: places.iter().map(|place| at(row, *place)).zip(cells).collect(),
        };
        let head = with(self.layout.head, names.into_iter().map(str::to_owned).collect());
        let row = |taken: Taken| {
            let cells = match taken.first {
                First::Size(size, upper) => [Some(size), upper],
                _ => [Some("pan".to_owned()), None],
            };
            with(taken.row, cells.into_iter().flatten().chain([taken.amount]).collect())
        };
        let rows = rows.into_iter().map(row).collect();
        let read = [Some(&self.chosen.sizes), self.chosen.upper.as_ref(), Some(&self.chosen.amounts)];
        let names = read.into_iter().flatten().map(|c| format!("\"{}\"", c.name)).collect();
        Understood { sheet: self.layout.sheet.rebuilt(head, rows), names, said: self.said.join("; "), lost_g: None }
    }
}

/// What masses may be besides what each sieve retained: how they run, what each would be, and which row is to be taken off it.
fn running(rows: &[Taken], of: Says) -> Option<[&'static str; 3]> {
    let mut masses: Vec<f64> = rows.iter().map(Taken::value).collect();
    if is_sum(&masses) {
        return Some(["rises", "lies on it and above", "above"]);
    }
    // What passed is summed from the pan up.
    masses.reverse();
    (of == Mass && is_sum(&masses)).then_some(["falls", "passed it", "below"])
}

/// Whether masses may be summed from the coarsest sieve down: they rise from row to row, and little is added by the pan. A stack that is too
/// coarse for its powder rises too, but most of it lies in the pan.
fn is_sum(masses: &[f64]) -> bool {
    let rises = masses.windows(2).all(|w| w[0] <= w[1]);
    let [coarsest, .., finest, pan] = masses else { return false };
    masses.len() >= LEAST_SUMMED && rises && *pan >= LEAST_GROWN * coarsest && *pan <= MOST_ADDED * finest
}

/// The two ends of a cell such as "63-125", "63 – 125 µm" or "63 to 125".
fn between(cell: &str) -> Option<(&str, &str)> {
    let (one, other) =
        ["–", "—", "…", "..", " to ", " bis ", " à ", " a ", "-", "−"].iter().find_map(|mark| cell.split_once(mark))?;
    let is_size = |end: &str| end.trim().starts_with(|c: char| c.is_ascii_digit());
    (is_size(one) && is_size(other)).then_some((one.trim(), other.trim()))
}

fn columns(chosen: &Chosen) -> impl Iterator<Item = &Column> {
    let columns = [Some(&chosen.sizes), chosen.upper.as_ref(), chosen.tare.as_ref(), Some(&chosen.amounts)];
    columns.into_iter().flatten()
}

/// Digits times a power of ten.
fn moved(digits: &str, by: i32) -> String {
    format!("{digits}e{by}").parse::<f64>().map_or_else(|_| digits.to_owned(), |moved| moved.to_string())
}
