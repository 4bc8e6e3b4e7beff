//! `gritwise made`

use super::record::lot_of;
use super::{YesNo, output};
use crate::lots::register::LotCode;
use crate::records::batches::{BatchOutcome, Used, append_outcome};
use crate::report::BatchPart;
use crate::source::{CalendarDate, same_word};
use crate::tables::Tables;
use anyhow::{Result, anyhow, bail, ensure};
use clap::Args;
use std::path::PathBuf;

/// Note what came of a batch: pH, viscosity, yield, fill weights, samples kept, deviations
///
/// Adds a line to the register of batches. A batch may be told of more than once: of pH, viscosity, yield, units and samples the last
/// word counts, fill weights and notes all of them. Fill weights are held against the average system of the EU for prepackages. Exit
/// status 1 if they break one of its three rules, or too few are weighed to tell; the line is added all the same.
#[derive(Debug, Args)]
#[command(
    after_help = "Examples:\n  gritwise made batches.csv --batch B-2611 --ph 4.8 --viscosity-pa-s 30 --yield-g 1680\n  \
                        gritwise made batches.csv --batch B-2611 --fill-g \"140.1 140.4 139.8\" --retained \"2 jars\" \
                        --note \"stirred ten minutes longer\""
)]
#[command(group = clap::ArgGroup::new("what").required(true).multiple(true)
    .args(["ph", "viscosity_pa_s", "yield_g", "fill_g", "units", "retained", "note", "weighed", "lot_of"]))]
pub(super) struct MadeCommand {
    /// The register of batches
    #[arg(value_name = "BATCHES.csv")]
    register: PathBuf,

    /// Code of the batch
    #[arg(long, value_name = "CODE", allow_hyphen_values = true, value_parser = LotCode::new)]
    batch: LotCode,

    /// When: year-month-day
    #[arg(long, value_name = "DATE")]
    date: Option<CalendarDate>,

    /// pH measured at 25 °C
    #[arg(long, value_name = "PH", allow_hyphen_values = true, value_parser = ph)]
    ph: Option<f64>,

    /// Viscosity measured, Pa s
    #[arg(long, value_name = "PA_S", allow_hyphen_values = true, value_parser = positive)]
    viscosity_pa_s: Option<f64>,

    /// What was had of it, g
    #[arg(long, value_name = "G", allow_hyphen_values = true, value_parser = positive)]
    yield_g: Option<f64>,

    /// Content of each unit weighed, g, with spaces between
    #[arg(long, value_name = "\"G G G\"", allow_hyphen_values = true, value_parser = fills)]
    fill_g: Option<FillWeights>,

    /// Units filled; 0, with a --note, of a batch that was thrown away
    #[arg(long, value_name = "N")]
    units: Option<u32>,

    /// What was kept back
    #[arg(long, value_name = "TEXT", allow_hyphen_values = true)]
    retained: Option<String>,

    /// Deviations, and anything else
    #[arg(long, value_name = "TEXT", allow_hyphen_values = true)]
    note: Option<String>,

    /// Grams of an ingredient where they are other than on the sheet, 0 for what was left out (may be given again)
    #[arg(long, value_name = "NAME=G", value_parser = weighed)]
    weighed: Vec<Used>,

    /// The lot that went in of an ingredient or powder, where it is another than the register says (may be given again)
    #[arg(long, value_name = "NAME=CODE", value_parser = lot_of)]
    lot_of: Vec<(String, LotCode)>,

    /// Print the result as JSON
    #[arg(long)]
    json: bool,
}

/// Fill weights, g.
#[derive(Debug, Clone)]
struct FillWeights(Vec<f64>);

impl MadeCommand {
    pub(super) fn run(&self, tables: &Tables) -> Result<YesNo> {
        let lots = self.lot_of.iter().map(|(name, _)| name);
        for (option, names) in [
            ("--lot-of", lots.collect::<Vec<_>>()),
            ("--weighed", self.weighed.iter().map(|used| &used.name).collect()),
        ] {
            let twice =
                names.iter().enumerate().find(|(i, name)| names[..*i].iter().any(|other| same_word(other, name)));
            if let Some((_, name)) = twice {
                bail!("{option}: \"{name}\" stands there twice; give one for each name");
            }
        }
        let outcome = BatchOutcome {
            date: self.date,
            ph: self.ph,
            viscosity_pa_s: self.viscosity_pa_s,
            yield_g: self.yield_g,
            fill_g: self.fill_g.as_ref().map_or_else(Vec::new, |f| f.0.clone()),
            units: self.units,
            retained: self.retained.clone(),
            note: self.note.clone(),
            corrected: self.weighed.clone(),
        };
        let (record, added) = append_outcome(&self.register, &self.batch, &outcome, &self.lot_of)?;
        output::tell_added(&self.register, &added);
        let batch = BatchPart::new(&record, &tables.papers);
        output::show(&batch, || batch.to_text(), self.json)?;
        let undecided = self.fill_g.is_some() && batch.is_undecided();
        Ok(if undecided || batch.is_short_filled() { YesNo::No } else { YesNo::Yes })
    }
}

fn number(text: &str) -> Result<f64> {
    let number = text.trim().replace(',', ".").parse::<f64>().ok().filter(|n| n.is_finite());
    number.ok_or_else(|| anyhow!("\"{text}\" is no number"))
}

fn positive(text: &str) -> Result<f64> {
    let number = number(text)?;
    ensure!(number > 0.0 && number <= 1e9, "it must be above 0, not {number}");
    Ok(number)
}

fn ph(text: &str) -> Result<f64> {
    let number = number(text)?;
    ensure!((0.0..=14.0).contains(&number), "a pH lies between 0 and 14, not at {number}");
    Ok(number)
}

fn fills(text: &str) -> Result<FillWeights> {
    let words = text.split(|c: char| c.is_whitespace() || c == ';').filter(|w| !w.is_empty());
    let all: Vec<f64> = words.map(fill).collect::<Result<_>>()?;
    if all.is_empty() {
        bail!("give the grams of each unit with spaces between, like \"140.1 140.4 139.8\"");
    }
    Ok(FillWeights(all))
}

/// The content of one unit, g. Where a comma stands between three digits it may be the decimal mark or between two contents.
fn fill(word: &str) -> Result<f64> {
    if let Some((before, after)) = word.split_once(',') {
        let is_either = after.len() == 3 && before.len() >= 2 && after.bytes().all(|b| b.is_ascii_digit());
        let other = word.replace(',', " ");
        ensure!(!is_either, "\"{word}\" is one content or two: write {}, or \"{other}\"", word.replace(',', "."));
    }
    positive(word)
}

/// `Glycerin=50.2`
fn weighed(text: &str) -> Result<Used> {
    let (name, grams) = text.rsplit_once('=').ok_or_else(|| anyhow!("write it like \"Glycerin=50.2\""))?;
    let grams = number(grams)?;
    ensure!((0.0..=1e9).contains(&grams), "it must be 0 or above, not {grams}");
    Ok(Used { name: name.trim().to_owned(), lot: None, grams })
}
