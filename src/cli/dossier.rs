//! `gritwise dossier`

use super::{Answer, output};
use crate::evidence::{self, Sampling};
use crate::formula;
use crate::plot::{blend_pictures, confidence_picture};
use crate::report::Dossier;
use crate::report::dossier::{Call, DossierPicture, Fingerprint, Subject, Verification};
use crate::scrubfile::{self, Inputs};
use crate::source::{CalendarDate, read_bytes, read_text};
use crate::tables::Tables;
use anyhow::{Context, Result, anyhow};
use clap::Args;
use std::path::{Path, PathBuf};

/// The folder of a dossier that holds copies of what it was made from.
const INPUTS: &str = "inputs";

/// Write down why a scrub suits its use, for the product file; or make a dossier again and see whether anything differs
///
/// A dossier is a folder: one HTML file that prints on A4, the same as Markdown and JSON, the pictures, and copies of the
/// files it was made from with their fingerprints. It is an input to the safety report of a product, never its conclusion.
#[derive(Debug, Args)]
#[command(group = clap::ArgGroup::new("way").required(true).args(["out", "verify"]))]
pub(super) struct DossierCommand {
    /// The scrub file; with --verify, to see also whether it is still the one the dossier was made from
    #[arg(value_name = "FILE.toml", required_unless_present = "verify")]
    file: Option<PathBuf>,

    /// Write the dossier into this folder
    #[arg(long, value_name = "DIR")]
    out: Option<PathBuf>,

    /// Make the dossier in this folder again from its own copies, and say whether anything differs: exit status 1 if so
    #[arg(long, value_name = "DIR", conflicts_with_all = ["require", "date", "draws", "seed", "force"])]
    verify: Option<PathBuf>,

    /// The band it is intended for, or milder: delicate-face, face, body, hands-and-feet. Exit status 1 if it is harsher
    #[arg(long, value_name = "BAND")]
    require: Option<String>,

    /// The date that the dossier is to carry; without it, it carries none
    #[arg(long, value_name = "YYYY-MM-DD")]
    date: Option<CalendarDate>,

    /// How many draws to make for how sure it is, 1000 to 100 000 000
    #[arg(long, value_name = "N", default_value_t = 4_096)]
    draws: u64,

    /// Seed of the draws
    #[arg(long, value_name = "S", default_value_t = 1)]
    seed: u64,

    /// Replace files that are there already
    #[arg(long)]
    force: bool,

    /// Print what was found as JSON
    #[arg(long)]
    json: bool,
}

impl DossierCommand {
    pub(super) fn run(&self, tables: &Tables) -> Result<Answer> {
        match (&self.verify, &self.out, &self.file) {
            (Some(folder), ..) => self.verify(folder, tables),
            (None, Some(folder), Some(file)) => self.write(file, folder, tables),
            _ => Err(anyhow!("name the scrub file and --out DIR, or --verify DIR")),
        }
    }

    fn write(&self, file: &Path, folder: &Path, tables: &Tables) -> Result<Answer> {
        let call = Call {
            date: self.date.map(|d| d.to_string()),
            require: self.require.clone(),
            draws: self.draws,
            seed: self.seed,
        };
        let inputs = Inputs::gather(file)?;
        let dossier = made(file, &inputs, call, tables)?;
        let mut files: Vec<(PathBuf, Vec<u8>)> =
            dossier.files()?.into_iter().map(|(name, text)| (folder.join(name), text.into_bytes())).collect();
        files.extend(inputs.files.into_iter().map(|(name, bytes)| (folder.join(INPUTS).join(name), bytes)));
        output::write_and_tell(&files, self.force)?;
        output::show(&dossier, || dossier.to_text(), self.json)?;
        Ok(if dossier.meets_required == Some(false) { Answer::No } else { Answer::Yes })
    }

    fn verify(&self, folder: &Path, tables: &Tables) -> Result<Answer> {
        let earlier = Fingerprint::of_dossier(&read_text(&folder.join("dossier.json"))?)
            .with_context(|| format!("{}: this is no dossier of gritwise", folder.join("dossier.json").display()))?;
        let mut found = Verification::default();
        if let Some(file) = &self.file {
            let now = Fingerprint::new(earlier.call.clone(), &Inputs::gather(file)?.files, tables);
            found.add(now.changed_files(&earlier).into_iter().map(|d| format!("in the scrub at hand, {d}")));
        }
        let copies = folder.join(INPUTS);
        let Some(scrub) = earlier.files.first().filter(|f| copies.join(&f.file).is_file()) else {
            found.add([format!("the copies in {INPUTS} are missing: it cannot be made again")]);
            return self.tell(&found);
        };
        let path = copies.join(&scrub.file);
        let inputs = Inputs::gather(&path)?;
        let again = made(&path, &inputs, earlier.call.clone(), tables)?;
        found.add(again.fingerprint.differences(&earlier));
        for (name, text) in again.files()? {
            let there = read_bytes(&folder.join(&name)).ok();
            found.compare(&name, there.as_deref(), text.as_bytes());
        }
        self.tell(&found)
    }

    fn tell(&self, found: &Verification) -> Result<Answer> {
        output::show(found, || found.to_text(), self.json)?;
        Ok(if found.is_same() { Answer::Yes } else { Answer::No })
    }
}

fn made(file: &Path, inputs: &Inputs, call: Call, tables: &Tables) -> Result<Dossier> {
    let judge = super::judge(tables)?;
    let required = call.require.as_deref().map(|name| super::required_rank(&judge, name)).transpose()?;
    let formula = scrubfile::read_formula(file, tables)?;
    let checked = formula::checks(&formula, tables, &judge);
    let assessment = judge.assess(formula.scrub());
    let scrub = formula.scrub();
    let sampling = Sampling::new(call.draws, call.seed).context("--draws")?;
    let confidence = evidence::confidence(scrub, &judge, tables, sampling, |_| {});
    let mut pictures = blend_pictures(scrub, &assessment, &judge)?;
    pictures.push(confidence_picture(scrub, &judge, &confidence)?);
    let subject = Subject {
        formula: &formula,
        checked: &checked,
        assessment: &assessment,
        judge: &judge,
        tables,
        confidence: &confidence,
        required,
    };
    let pictures = pictures.into_iter().map(|p| DossierPicture::new(p.name, p.svg)).collect();
    Ok(Dossier::new(&subject, pictures, Fingerprint::new(call, &inputs.files, tables))?)
}
