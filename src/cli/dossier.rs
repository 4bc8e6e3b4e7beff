//! `gritwise dossier`

use super::{YesNo, output, sets};
use crate::files::{self, ReadInputs};
use crate::report::Dossier;
use crate::report::dossier::{Call, DEFAULT_DRAWS, Fingerprint, INPUTS, NINE_IN_TEN, TABLES, Verification};
use crate::source::{CalendarDate, read_bytes, read_text};
use crate::tables::{BUILT_IN, Tables};
use crate::tasks::dossier;
use anyhow::{Context, Result, anyhow, bail};
use clap::Args;
use std::path::{Path, PathBuf};

/// Draws beyond this tell nothing more in a dossier, and take minutes to verify.
const MOST_DRAWS: u64 = 1_000_000;

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
    #[arg(long, value_name = "DIR", conflicts_with_all = ["require", "sure", "date", "draws", "seed", "force"])]
    verify: Option<PathBuf>,

    /// The band it is intended for, or milder: delicate-face, face, body, hands-and-feet. Exit status 1 if it is harsher
    #[arg(long, value_name = "BAND")]
    require: Option<String>,

    /// Of 100 draws, how many have to fall into the band asked for or a milder one (90 unless another number is given)
    #[arg(long, value_name = "PCT", requires = "require", value_parser = clap::value_parser!(u32).range(1..=100))]
    sure: Option<u32>,

    /// The date that the dossier is to carry; without it, it carries none
    #[arg(long, value_name = "YYYY-MM-DD")]
    date: Option<CalendarDate>,

    /// How many draws to make for how sure it is, 1000 to 1 000 000
    #[arg(long, value_name = "N", default_value_t = DEFAULT_DRAWS, value_parser = clap::value_parser!(u64).range(1_000..=MOST_DRAWS))]
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
    /// `own_tables` says whether the tables in force were named with `--tables`.
    pub(super) fn run(&self, tables: &Tables, own_tables: bool) -> Result<YesNo> {
        match (&self.verify, &self.out, &self.file) {
            (Some(folder), ..) => self.verify(folder, tables, own_tables),
            (None, Some(folder), Some(file)) => self.write(file, folder, tables),
            _ => Err(anyhow!("name the scrub file and --out DIR, or --verify DIR")),
        }
    }

    fn write(&self, file: &Path, folder: &Path, tables: &Tables) -> Result<YesNo> {
        let judge = super::judge(tables)?;
        let rank = self.require.as_deref().map(|name| super::required_rank(&judge, name)).transpose()?;
        let call = Call {
            date: self.date.map(|d| d.to_string()),
            require: rank.map(|r| judge.band_name(r).replace(' ', "-")),
            sure: self.sure.unwrap_or(NINE_IN_TEN),
            draws: self.draws,
            seed: self.seed,
        };
        let inputs = ReadInputs::gather(file)?;
        let dossier = made(file, &inputs, call, tables)?;
        let mut files: Vec<(String, Vec<u8>)> =
            dossier.files()?.into_iter().map(|(name, text)| (name, text.into_bytes())).collect();
        files.extend(inputs.files.into_iter().map(|(name, bytes)| (format!("{INPUTS}/{name}"), bytes)));
        let own = tables.files().iter().filter(|t| t.origin != BUILT_IN);
        files.extend(own.map(|t| (format!("{TABLES}/{}.csv", t.name), t.text.clone().into_bytes())));
        for (name, _) in &files {
            refuse_links(folder, name)?;
        }
        let strays = strays(folder, files.iter().map(|f| f.0.as_str()))?;
        let files: Vec<_> = files.into_iter().map(|(name, bytes)| (folder.join(name), bytes)).collect();
        output::write_results(&files, [file], self.force)?;
        for stray in strays {
            output::remark(&format!(
                "{}: was there before and is no part of this dossier",
                folder.join(stray).display()
            ));
        }
        output::show(&dossier, || dossier.to_text(), self.json)?;
        Ok(if dossier.meets_required == Some(false) { YesNo::No } else { YesNo::Yes })
    }

    /// A dossier may come from a stranger: only plain files below its folder are read.
    fn verify(&self, folder: &Path, tables: &Tables, own_tables: bool) -> Result<YesNo> {
        let earlier = earlier(folder)?;
        let mut found = Verification::default();
        if let Some(file) = &self.file {
            let now = Fingerprint::new(earlier.call.clone(), &ReadInputs::gather(file)?.files, tables);
            found.add(now.changed_files(&earlier).into_iter().map(|d| format!("in the scrub at hand, {d}")));
        }
        let listed: Vec<&str> = earlier.files.iter().map(|f| f.file.as_str()).collect();
        let copies = folder.join(INPUTS);
        let missing = listed.iter().find(|name| !copies.join(name).is_file());
        let (Some(first), None) = (listed.first(), missing) else {
            let which = missing.map_or("copies", |name| name);
            found.add([format!("{INPUTS}/{which} is missing: it cannot be made again")]);
            return self.tell(&found);
        };
        for name in &listed {
            refuse_links(folder, &format!("{INPUTS}/{name}"))?;
        }
        let path = copies.join(first);
        let inputs = ReadInputs::gather(&path)?;
        // The scrub file's name fixes the folder that all names are relative to: the copies, and nothing beyond them.
        if inputs.files.iter().map(|f| f.0.as_str()).ne(listed.iter().copied()) {
            found.add(["the copies name other files than the dossier lists".to_owned()]);
            return self.tell(&found);
        }
        let copied =
            if earlier.has_own_tables() && !own_tables { Some(copied_tables(folder, &earlier)?) } else { None };
        let again = made(&path, &inputs, earlier.call.clone(), copied.as_ref().unwrap_or(tables))?;
        found.add(again.fingerprint.differences(&earlier));
        let mut parts: Vec<String> = listed.iter().map(|name| format!("{INPUTS}/{name}")).collect();
        parts.extend(earlier.own_tables().map(|name| format!("{TABLES}/{name}.csv")));
        for (name, text) in again.files()? {
            let path = folder.join(&name);
            let plain = path.symlink_metadata().is_ok_and(|meta| meta.is_file());
            let there = if plain { read_bytes(&path).ok() } else { None };
            found.compare(&name, there.as_deref(), text.as_bytes());
            parts.push(name);
        }
        let strays = strays(folder, parts.iter().map(String::as_str))?;
        found.add(strays.into_iter().map(|stray| format!("{stray} is no part of it")));
        self.tell(&found)
    }

    fn tell(&self, found: &Verification) -> Result<YesNo> {
        output::show(found, || found.to_text(), self.json)?;
        Ok(if found.is_same() { YesNo::Yes } else { YesNo::No })
    }
}

/// The fingerprint of a dossier that is there.
fn earlier(folder: &Path) -> Result<Fingerprint> {
    let path = folder.join("dossier.json");
    let no_dossier = || format!("{}: this is no dossier of gritwise", path.display());
    refuse_links(folder, "dossier.json")?;
    let earlier = Fingerprint::of_dossier(&read_text(&path)?).with_context(no_dossier)?;
    if let Some(name) = earlier.foreign_name() {
        bail!("{}: it lists {name:?}, which is no plain name below its own folder", no_dossier());
    }
    if earlier.call.draws > MOST_DRAWS {
        bail!("{}: it asks for {} draws; a dossier takes {MOST_DRAWS} at most", no_dossier(), earlier.call.draws);
    }
    Ok(earlier)
}

/// The tables in force when a dossier was made, from its own copies.
fn copied_tables(folder: &Path, earlier: &Fingerprint) -> Result<Tables> {
    for name in earlier.own_tables() {
        refuse_links(folder, &format!("{TABLES}/{name}.csv"))?;
    }
    Ok(Tables::with_folder(&folder.join(TABLES))?)
}

/// Errs if anything on the way from a folder to a file below it is a link or a special file.
fn refuse_links(folder: &Path, name: &str) -> Result<()> {
    let mut path = folder.to_path_buf();
    for part in Path::new(name).components() {
        path.push(part);
        if path.symlink_metadata().is_ok_and(|meta| !meta.is_file() && !meta.is_dir()) {
            bail!("{}: a link or a special file; a dossier holds plain files only", path.display());
        }
    }
    Ok(())
}

/// Files below a folder that are not among its parts, names with `/` between, in order.
fn strays<'n>(folder: &Path, parts: impl Iterator<Item = &'n str>) -> Result<Vec<String>> {
    let parts: Vec<&str> = parts.collect();
    let (mut strays, mut folders) = (Vec::new(), vec![String::new()]);
    while let Some(inside) = folders.pop() {
        let Ok(entries) = std::fs::read_dir(folder.join(&inside)) else { continue };
        for entry in entries {
            let entry = entry?;
            let name = format!("{inside}{}", entry.file_name().to_string_lossy());
            match entry.file_type()? {
                // What a crash left there is cleared by the next run that writes there.
                kind if inside.is_empty() && sets::is_waiting(&name, kind.is_dir()) => {}
                kind if kind.is_dir() => folders.push(format!("{name}/")),
                _ if !parts.contains(&name.as_str()) => strays.push(name),
                _ => {}
            }
        }
    }
    strays.sort();
    Ok(strays)
}

fn made(file: &Path, inputs: &ReadInputs, call: Call, tables: &Tables) -> Result<Dossier> {
    let formula = files::read_formula(file, tables)?;
    Ok(dossier(&formula, call, &inputs.files, &super::judge(tables)?, tables, || true)?)
}
