//! `gritwise stand-in`

use super::{Answer, output};
use crate::blend::Scrub;
use crate::design::{Candidate, place_of, stand_ins};
use crate::files;
use crate::powder::{GrainProperties, Powder};
use crate::report::StandInReport;
use crate::tables::Tables;
use anyhow::{Context, Result, bail};
use clap::Args;
use std::path::PathBuf;

/// Find what could stand in for a powder that is out of stock or unwanted
///
/// Candidates come from a shelf file, or, without one, from the materials table, ground to the sizes of the powder they
/// replace. The share of each is solved so that index and size curve stay as near as they can.
#[derive(Debug, Args)]
pub(super) struct StandInCommand {
    /// The scrub file
    #[arg(value_name = "FILE.toml")]
    file: PathBuf,

    /// Name of the powder to replace
    #[arg(long = "for", value_name = "POWDER")]
    powder: String,

    /// A shelf file to choose from
    #[arg(long, value_name = "SHELF.toml")]
    shelf: Option<PathBuf>,

    /// Leave out what answers to this word: a name, a material, a tag, or a word such as plant, mineral, tree-nut (may be
    /// repeated)
    #[arg(long, value_name = "WORD")]
    without: Vec<String>,

    /// How many to show
    #[arg(long, value_name = "N", default_value_t = 5, value_parser = clap::value_parser!(u16).range(1..=100))]
    top: u16,

    /// Print the result as JSON
    #[arg(long)]
    json: bool,
}

impl StandInCommand {
    pub(super) fn run(&self, tables: &Tables) -> Result<Answer> {
        let judge = super::judge(tables)?;
        let on_skin = super::on_skin(&self.file, tables, &judge)?;
        let scrub = on_skin.scrub()?;
        let place = place_of(scrub, &self.powder).context("--for")?;
        let candidates = self.candidates(scrub, place, tables)?;
        if candidates.is_empty() {
            bail!("nothing is left to choose from; name a fuller --shelf, or fewer words --without");
        }
        let mut found = stand_ins(&judge, scrub, place, candidates);
        found.truncate(usize::from(self.top));
        let report = StandInReport::new(&judge, &on_skin, &judge.assess(scrub), place, &found, tables);
        output::show(&report, || report.to_text(), self.json)?;
        Ok(Answer::Yes)
    }

    fn candidates(&self, scrub: &Scrub, place: usize, tables: &Tables) -> Result<Vec<Candidate>> {
        let used: Vec<&str> = scrub.blend.components().iter().map(|c| c.powder.name.as_str()).collect();
        match &self.shelf {
            Some(path) => {
                let shelf = files::read_shelf(path, tables)?;
                let fits = shelf.into_iter().filter(|s| !used.contains(&s.powder.name.as_str()));
                let fits = fits.filter(|s| !self.without.iter().any(|w| s.answers_to(w)));
                Ok(fits.map(|s| Candidate { powder: s.powder, max_pct: s.max_pct }).collect())
            }
            None => {
                let replaced = &scrub.blend.components()[place].powder;
                let mut candidates = Vec::new();
                let of_scrub = |key: &str| {
                    scrub.blend.components().iter().any(|c| c.powder.material.as_ref().is_some_and(|m| m.key == key))
                };
                let allowed = tables.materials.iter().filter(|m| m.refused_by.is_empty() && !of_scrub(&m.key));
                for material in allowed.filter(|m| !self.without.iter().any(|w| m.answers_to(w))) {
                    let size = replaced.size.clone();
                    let given = GrainProperties::default();
                    let powder = Powder::new(material.name.clone(), Some(material), &given, size, tables)?;
                    candidates.push(Candidate { powder, max_pct: 100.0 });
                }
                Ok(candidates)
            }
        }
    }
}
