//! `gritwise grains`

use super::waiting::StatusLine;
use super::{YesNo, output};
use crate::size::table;
use crate::source::{Disk, Source, Tabular, read_picture};
use crate::tables::Tables;
use crate::tasks::{GrainsRequest, GrainsTold, Photo, Scale, grains};
use anyhow::{Context, Result, anyhow, ensure};
use clap::Args;
use std::path::{Path, PathBuf};

/// Measure roundness, shape and size of grains on photographs
///
/// Spread 30 to 500 grains so that they do not touch, on a ground much lighter or darker than they are, and photograph them from above
/// (PNG, JPEG, TIFF). Roundness wants grains of at least 80 pixels across; smaller ones count for size only.
#[derive(Debug, Args)]
#[command(after_help = "Examples:\n  gritwise grains olive.jpg --um-per-pixel 2.5 --plot olive.svg\n  \
                        gritwise grains a.jpg b.jpg --scale-bar \"500 px = 1 mm\" --write counts.csv\n  \
                        gritwise grains olive.png --um-per-pixel 2.5 --into scrub.toml --powder olive --report olive-grains.html\n  \
                        gritwise grains --tally \"very angular 3, angular 20, subangular 18\"")]
pub(super) struct GrainsCommand {
    /// Photographs of one powder
    #[arg(value_name = "PHOTO", required_unless_present = "tally", conflicts_with = "tally")]
    photos: Vec<PathBuf>,

    /// Size of a pixel, µm
    #[arg(long, value_name = "UM", conflicts_with_all = ["scale_bar", "square_um"])]
    um_per_pixel: Option<f64>,

    /// A scale bar, such as "500 px = 1 mm"
    #[arg(long, value_name = "TEXT", conflicts_with = "square_um")]
    scale_bar: Option<String>,

    /// A filled square of this side lies in each picture, µm (a printed one of 5 mm: 5000); it is no grain
    #[arg(long, value_name = "UM")]
    square_um: Option<f64>,

    /// What is smaller is dust, µm (else what is smaller than 8 pixels)
    #[arg(long, value_name = "UM")]
    dust_um: Option<f64>,

    /// The ground, where the picture leaves doubt
    #[arg(long, value_name = "light|dark", value_parser = ["light", "dark"])]
    ground: Option<String>,

    /// A sieve or laser table of the same powder, to hold the sizes against
    #[arg(long, value_name = "TABLE.csv")]
    sieved: Option<PathBuf>,

    /// Counts by eye against the Powers classes, instead of photographs: "angular 20, subangular 18"
    #[arg(long, value_name = "COUNTS")]
    tally: Option<String>,

    /// Write a table of counts that `size` and a scrub file read
    #[arg(long, value_name = "COUNTS.csv", conflicts_with = "tally")]
    write: Option<PathBuf>,

    /// Write the roundness into this scrub file, which is changed in place; needs --powder
    #[arg(long, value_name = "SCRUB.toml", requires = "powder")]
    into: Option<PathBuf>,

    /// The powder of that file: its name or a beginning of it
    #[arg(long, value_name = "POWDER", requires = "into")]
    powder: Option<String>,

    /// Draw outlines, numbers and corner circles into this SVG file (of several photographs: FILE-1.svg, FILE-2.svg ...)
    #[arg(long, value_name = "FILE.svg", conflicts_with = "tally", value_parser = output::svg_file())]
    plot: Option<PathBuf>,

    /// Write a report to keep with the dossier, by its ending: .html to print, .md (with its pictures in pictures/), .txt; may be given more
    /// than once
    #[arg(long, value_name = "FILE")]
    report: Vec<PathBuf>,

    /// Replace files that are there already
    #[arg(long)]
    force: bool,

    /// Print the result as JSON
    #[arg(long)]
    json: bool,
}

impl GrainsCommand {
    pub(super) fn run(&self, tables: &Tables) -> Result<YesNo> {
        let photos: Vec<Photo> = self.photos.iter().map(|path| read(path)).collect::<Result<_>>()?;
        let sieved = self.sieved.as_ref().map(|path| {
            Ok::<_, anyhow::Error>(table::read_tabular(&Tabular::read(path, &Disk)?, None, &tables.standards)?)
        });
        let sieved = sieved.transpose()?;
        let line = StatusLine::new(Some(photos.len() as u64), "{bar:30} photograph {pos} of {len}  {elapsed}");
        let watch = |place: usize| {
            line.show();
            line.bar.set_position(place as u64);
        };
        let request = GrainsRequest {
            photos: &photos,
            scale: self.scale()?,
            tally: self.tally.as_deref(),
            dust_um: self.dust_um.map(|v| positive("dust-um", v)).transpose()?,
            dark_ground: self.ground.as_ref().map(|g| g == "dark"),
            sieved: sieved.as_ref(),
            into: self.into.as_ref().map(Source::from).zip(self.powder.as_deref()),
            pictures: self.plot.is_some() || !self.report.is_empty(),
            watch: &watch,
        };
        let told = grains(&request, tables).map_err(super::of_task)?;
        line.bar.finish_and_clear();
        self.keep(&told)?;
        output::show(&told.report, || told.report.to_text(), self.json)?;
        Ok(YesNo::Yes)
    }

    fn scale(&self) -> Result<Option<Scale>> {
        if let Some(text) = &self.scale_bar {
            return Scale::bar(text).map(Some).map_err(|e| anyhow!("--scale-bar: {e}"));
        }
        if let Some(side) = self.square_um {
            return Ok(Some(Scale::Square(positive("square-um", side)?)));
        }
        Ok(self.um_per_pixel.map(|um| positive("um-per-pixel", um)).transpose()?.map(Scale::UmPerPixel))
    }

    /// Writes what is asked for; never over a photograph.
    fn keep(&self, told: &GrainsTold) -> Result<()> {
        let counts = self.write.clone().zip(told.counts.clone());
        let plots = self.plot.iter().flat_map(|_| told.pictures.iter().enumerate());
        let plots = plots.map(|(i, p)| (self.plot_of(i, told.pictures.len()), p.svg.clone()));
        let mut files: Vec<(PathBuf, String)> = counts.into_iter().chain(plots).collect();
        let drawn: Vec<&str> = told.pictures.iter().map(|p| p.svg.as_str()).collect();
        for path in &self.report {
            files.extend(output::paper(&told.report.to_document(&drawn), "--report", path)?);
        }
        let inputs = self.photos.iter().chain(&self.sieved).chain(&self.into);
        output::write_results(&files, inputs, self.force)?;
        if let (Some(path), Some(text)) = (&self.into, &told.scrub) {
            // The file is named to be changed; it is whole before and after.
            output::write_and_tell(&[(path.clone(), text)], true)?;
        }
        Ok(())
    }

    fn plot_of(&self, place: usize, count: usize) -> PathBuf {
        let path = self.plot.clone().unwrap_or_default();
        let stem = path.file_stem().map(|s| s.to_string_lossy().into_owned()).unwrap_or_default();
        let ending = path.extension().map_or_else(String::new, |e| format!(".{}", e.to_string_lossy()));
        if count < 2 { path } else { path.with_file_name(format!("{stem}-{}{ending}", place + 1)) }
    }
}

fn read(path: &Path) -> Result<Photo> {
    let bytes = read_picture(path)?;
    let name = path.file_name().with_context(|| format!("{}: no file", path.display()))?;
    Ok(Photo { name: name.to_string_lossy().into_owned(), bytes })
}

fn positive(option: &str, value: f64) -> Result<f64> {
    ensure!(value.is_finite() && value > 0.0, "--{option}: {value} is no size; it must be above 0");
    Ok(value)
}
