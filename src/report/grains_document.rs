//! Grains on photographs as a document, to be kept with the dossier of a scrub: the photographs with what was measured drawn on them.

use super::GrainsReport;
use super::document::{Block, Document, Grid, Section};
use super::grains::PhotoPart;
use super::layout::row;
use crate::numerics::written::four;

/// How it is done, a sentence for each step.
const METHOD: [&str; 5] = [
    "The ground's uneven light is taken away as a smooth surface, grains are told from it at Otsu's level, and outlines run halfway between \
     ground and grain, finer than a pixel (static image analysis, ISO 13322-1).",
    "Diameters, aspect ratio, circularity, solidity and sphericity are those of ISO 9276-6.",
    "Roundness is Wadell's, in projection: the mean radius of the corners over that of the largest circle within (computed after Zheng and \
     Hryciw 2015, Géotechnique 65, 494). Grains below 80 pixels across, and those that touched others, count for size only.",
    "The interval of the median holds the middle 90 % of the medians of 2000 resamples (percentile bootstrap, Efron 1979).",
    "Each grain stands for as many as are cut off by the edge of the picture at its width (Miles and Lantuéjoul, as in ISO 13322-1).",
];

impl GrainsReport {
    /// As a document. `pictures` are the SVG documents of the photographs, in order; none where they were not drawn.
    pub fn to_document(&self, pictures: &[&str]) -> Document {
        let counted = self.photos.is_empty();
        let title = match &self.photos[..] {
            [] => "Grains counted by eye".to_owned(),
            [one] => format!("Grains on the photograph {}", one.file),
            all => format!("Grains on {} photographs", all.len()),
        };
        let roundness = Section::new("roundness", "Roundness").list(self.roundness_facts()).table(self.class_grid());
        let mut sections = vec![roundness];
        if !counted {
            sections.insert(0, self.photographs());
            sections.push(Section::new("size", "Size").list(self.size_facts()));
            sections.push(self.pictured(pictures));
            let grid = self.grain_grid(self.grains.len()).captioned("Every grain, by its number on the pictures");
            sections.push(Section::new("grains", "Grains").table(grid));
            sections.push(Section::new("method", "How they were measured").list(METHOD.map(str::to_owned).to_vec()));
        }
        sections.push(Section::new("cautions", "Cautions").list(self.cautions.clone()));
        sections.retain(|section| !section.blocks.is_empty());
        let lead = format!(
            "Measured by gritwise {}. The same photographs, told by their SHA-256, and the same scale give the same figures; keep them with this paper.",
            env!("CARGO_PKG_VERSION")
        );
        Document { title, lead: if counted { Vec::new() } else { vec![lead] }, sections, numbered: false }
    }

    fn photographs(&self) -> Section {
        let heads = [
            "Photograph",
            "Pixels",
            "µm a pixel",
            "Scale from",
            "Ground",
            "Grains",
            "Split",
            "Cut by the edge",
            "Dust",
            "Faint",
        ];
        let line = |p: &PhotoPart| {
            let told = row(&p.file).and(format!("{} x {}", p.width, p.height)).and(four(p.um_per_pixel));
            let counts = [p.grains, p.split, p.cut, p.dust, p.faint].map(|n| n.to_string());
            told.and(&p.scale_from).and(p.ground).all(counts)
        };
        let grid = Grid::new("lrrllrrrrr", &heads).captioned("What was looked at, and what was left out");
        let hashes = Grid::new("ll", &["Photograph", "Hash"]).captioned("SHA-256");
        Section::new("photographs", "The photographs")
            .table(grid.rows(self.photos.iter().map(line)))
            .table(hashes.rows(self.photos.iter().map(|p| row(&p.file).and(&p.sha256))))
    }

    fn pictured(&self, pictures: &[&str]) -> Section {
        let drawn = self.photos.iter().zip(pictures).enumerate().map(|(i, (photo, svg))| Block::Picture {
            name: format!("grains-{}", i + 1),
            title: format!(
                "{}: outlines with their numbers, circles of corners and the largest within in orange; yellow dashes where the roundness is not told",
                photo.file
            ),
            svg: (*svg).to_owned(),
        });
        drawn.fold(Section::new("pictures", "What was measured"), Section::block)
    }
}
