//! `gritwise ladder`

use super::{YesNo, output};
use crate::source::Source;
use crate::tasks::{Done, LadderRequest, Means, USUAL_POINTS, ladder};
use anyhow::Result;
use clap::Args;
use clap::builder::RangedU64ValueParser;
use std::path::{Path, PathBuf};

/// Vary one amount of a scrub and see where the band changes; vary two for a map
///
/// Takes the scrub file and changes one thing from low to high while all else stays as it is: the parts of one powder, its
/// grade (the same sizes, all finer or coarser, named by the median), or the powder load. Prints index, groove ratios and
/// band step by step, and the exact values at which the scrub moves from one band to another.
///
/// With --vary twice, prints a map of the bands over both. The map finds borders on a grid of 48 cells a side at least; an
/// island of another band smaller than a cell may be missed. The index is a model, and band limits are a convention.
#[derive(Debug, Args)]
#[command(mut_args(output::draws(
    "DIR|FILE.svg",
    "Draw the picture into this folder, or into this file if it ends in .svg"
)))]
#[command(after_help = "Examples:\n  gritwise ladder scrub.toml --vary bamboo.parts=0..3\n  \
                        gritwise ladder scrub.toml --vary load=1..15 --plot pictures\n  \
                        gritwise ladder scrub.toml --vary \"Olive stone, sieved.d50=100..300\"\n  \
                        gritwise ladder scrub.toml --vary olive.parts=0..3 --vary load=2..10 --plot map.svg")]
pub(super) struct LadderCommand {
    /// The scrub file
    #[arg(value_name = "FILE.toml")]
    file: PathBuf,

    /// What to vary and its range: NAME.parts (0 leaves the powder out), NAME.d50 (median in µm) or load (% of the scrub).
    /// NAME is a powder's name or its material, any case; a beginning is enough where it leaves no doubt. Give it twice
    /// for a map
    #[arg(long, value_name = "SPEC=LOW..HIGH", required = true)]
    vary: Vec<String>,

    /// Number of values to print, at equal steps and both ends included; of a map, on each side (100 at most)
    #[arg(long, value_name = "N", default_value_t = USUAL_POINTS, value_parser = RangedU64ValueParser::<usize>::new().range(2..=500))]
    points: usize,

    #[command(flatten)]
    drawn: output::PictureArgs,
}

impl LadderCommand {
    pub(super) fn run(&self, means: Means) -> Result<YesNo> {
        let (scrub, picture) = (Source::from(&self.file), self.drawn.plot.is_some());
        let request = LadderRequest { scrub, vary: &self.vary, points: self.points, picture };
        let Done { report, picture } = ladder(&request, means).map_err(super::of_task)?;
        if let (Some(target), Some(picture)) = (&self.drawn.plot, picture) {
            let files = [(self.picture_path(target, picture.name), picture.svg)];
            output::write_results(&files, [&self.file], self.drawn.force)?;
        }
        output::show(&report, || report.to_text(), self.drawn.json)?;
        Ok(YesNo::Yes)
    }

    fn picture_path(&self, target: &Path, name: &str) -> PathBuf {
        if target.extension().is_some_and(|e| e.eq_ignore_ascii_case("svg")) {
            return target.to_owned();
        }
        let stem = self.file.file_stem().map_or("scrub".into(), |s| s.to_string_lossy());
        target.join(format!("{stem}-{name}.svg"))
    }
}
