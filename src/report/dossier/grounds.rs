//! What a dossier rests on, and what it leaves open.

use super::Fingerprint;
use crate::blend::Scrub;
use crate::report::document::{Grid, Section};
use crate::report::layout::row;
use crate::report::{Caution, FormulaReport};
use crate::tables::{AssessorHeadRow, Origin, Property, Status, TableError, TableFile, Tables, origin_columns};

pub fn assumptions(tables: &Tables) -> Result<Section, TableError> {
    let named = [
        ("sites", "Sites"),
        ("constants", "Constants of the model"),
        ("misuse", "Misuse, and the treatment that was measured"),
    ];
    let [sites, constants, misuse] = named.map(|(name, caption)| whole_table(tables.file(name)?, caption));
    let section = Section::new("assumptions", "How well every number of the model is known").text(
        "Every number of the rub model with its range and how well it is known: published (within published figures), from memory (believed, not \
         checked against its source), estimate (by analogy), convention (chosen by this program).",
    );
    Ok(section.table(sites?).table(constants?).table(misuse?))
}

/// A grading table as it stands.
fn whole_table(file: &TableFile, caption: &str) -> Result<Grid, TableError> {
    let (header, rows) = file.cells()?;
    let is_number = |i: usize| rows.iter().all(|(_, r)| r[i].parse::<f64>().is_ok());
    let aligns: String = (0..header.len()).map(|i| if is_number(i) { 'r' } else { 'l' }).collect();
    Ok(Grid::new(&aligns, &header).captioned(caption).rows(rows.into_iter().map(|(_, row)| row)))
}

/// Every published source that the dossier rests on, once, as the rows of the tables have them.
pub fn sources(
    scrub: &Scrub,
    whole: &FormulaReport,
    cautions: &[Caution],
    tables: &Tables,
) -> Result<Section, TableError> {
    let mut all: Vec<String> = Vec::new();
    let mut add = |origin: &Origin| {
        if origin.status == Status::Published && !all.contains(&origin.source) {
            all.push(origin.source.clone());
        }
    };
    for powder in scrub.blend.components().iter().map(|c| &c.powder) {
        Property::ALL.into_iter().filter_map(|p| powder.in_table(p)).for_each(&mut add);
        powder.material.iter().filter_map(|m| m.soluble_origin.as_ref()).for_each(&mut add);
    }
    for name in ["sites", "constants", "misuse", "assessor-heads"] {
        let (header, rows) = tables.file(name)?.cells()?;
        for columns in origin_columns(&header) {
            let origins = rows.iter().filter_map(|(_, row)| Origin::of_row(&row[columns.status], &row[columns.source]));
            origins.for_each(|origin| add(&origin));
        }
    }
    cautions.iter().filter_map(|c| c.origin.as_ref()).for_each(&mut add);
    whole.checks.iter().flat_map(|check| &check.grounds).for_each(&mut add);
    Ok(Section::new("sources", "Sources")
        .text("Published sources; what is from memory, an estimate or a convention is named where it stands.")
        .list(all))
}

pub fn open_points(tables: &Tables) -> Section {
    let line = |head: &AssessorHeadRow| {
        row(format!("{}{}", head.part, head.number)).and(&head.head).and(&head.found_here).and(&head.still_open)
    };
    let grid = Grid::new("llll", &["Head", "", "Found here", "Still open"]).captioned("Heads of the report");
    Section::new("open-points", "What a safety report asks for beyond this dossier")
        .text(
            "The heads of a cosmetic product safety report (Regulation (EC) No 1223/2009, Annex I), what this dossier gives to each, and \
             what somebody has to fill in. Elsewhere local rules ask for other papers.",
        )
        .table(grid.rows(tables.assessor_heads.iter().map(line)))
}

pub fn fingerprint(fingerprint: &Fingerprint) -> Section {
    let own: Vec<&str> = fingerprint.own_tables().collect();
    let own = if own.is_empty() { ", built in".to_owned() } else { format!("; not built in: {}", own.join(", ")) };
    let files = fingerprint.files.iter().map(|f| row(&f.file).and(&f.sha256));
    let files = files.chain([row(format!("all tables{own}")).and(fingerprint.of_tables())]);
    Section::new("fingerprint", "Fingerprint")
        .text(format!(
            "Made by gritwise {} with: {}. The same files, tables and call give the same bytes; gritwise dossier --verify DIR makes it \
             again and says whether anything differs.",
            fingerprint.version,
            fingerprint.command()
        ))
        .table(Grid::new("ll", &["File", "Hash"]).captioned("SHA-256").rows(files))
}
