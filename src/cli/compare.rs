//! `gritwise compare`

use super::{Answer, output};
use crate::blend::Scrub;
use crate::confidence::{Sampling, milder_than_first};
use crate::formula::OnSkin;
use crate::plot::compare_picture;
use crate::report::{BlendReport, CompareReport};
use crate::tables::Tables;
use anyhow::Result;
use clap::Args;
use std::path::PathBuf;

/// Put two to six scrubs side by side, and see what makes the difference
///
/// Every other scrub is held against the first: which powder, which size, which load does what to the index.
#[derive(Debug, Args)]
pub(super) struct Compare {
    /// The scrub files, the one to compare with first
    #[arg(value_name = "FILE.toml", num_args = 2..=6, required = true)]
    files: Vec<PathBuf>,

    /// Draw the size curves and where the index comes from, all scrubs in one picture, into this SVG file
    #[arg(long, value_name = "FILE.svg")]
    plot: Option<PathBuf>,

    /// Replace the picture if it is there already
    #[arg(long, requires = "plot")]
    force: bool,

    /// Print the result as JSON
    #[arg(long)]
    json: bool,
}

impl Compare {
    pub(super) fn run(&self, tables: &Tables) -> Result<Answer> {
        let judge = super::judge(tables)?;
        let mut all: Vec<OnSkin> = Vec::new();
        for file in &self.files {
            let mut one = super::on_skin(file, tables, &judge)?;
            let name = one.name().to_owned();
            if all.iter().any(|s| s.name() == name) {
                let stem = file.file_stem().map_or_else(String::new, |s| s.to_string_lossy().into_owned());
                one.rename(&format!("{name} ({stem})"));
            }
            all.push(one);
        }
        let scrubs: Vec<Scrub> = all.iter().map(|s| s.scrub_or_weighed().clone()).collect();
        let assessments: Vec<_> = scrubs.iter().map(|s| judge.assess(s)).collect();
        let reports = all.iter().map(|s| BlendReport::drawn(s, &judge, tables));
        let milder = milder_than_first(&scrubs, &judge, tables, Sampling::VERDICT);
        let report = CompareReport::new(&judge, &scrubs, reports.collect(), &milder);
        if let Some(path) = &self.plot {
            let picture = compare_picture(&scrubs, &assessments, &judge)?;
            let files = [(path.clone(), picture.svg)];
            output::write_results(&files, &self.files, self.force)?;
        }
        output::show(&report, || report.to_text(), self.json)?;
        Ok(Answer::Yes)
    }
}
