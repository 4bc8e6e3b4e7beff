//! What a dossier rests on, and what it leaves open.

use super::Fingerprint;
use crate::blend::Scrub;
use crate::report::document::{Align, Grid, Section};
use crate::report::{Caution, FormulaReport};
use crate::tables::{Origin, Property, Status, TableError, TableFile, Tables, origin_columns};

pub fn assumptions(tables: &Tables) -> Result<Section, TableError> {
    let mut section = Section::new("assumptions", "What is published and what is a convention");
    section.text(
        "Every number of the rub model with its range and how well it is known: published (within published figures), from memory (believed, not \
         checked against its source), estimate (by analogy), convention (chosen by this program).",
    );
    for (name, caption) in [("sites", "Sites"), ("constants", "Constants of the model")] {
        section.table(whole_table(tables.file(name)?, caption)?);
    }
    Ok(section)
}

/// A grading table as it stands.
fn whole_table(file: &TableFile, caption: &str) -> Result<Grid, TableError> {
    let (header, rows) = file.cells()?;
    let is_number = |i: usize| rows.iter().all(|(_, r)| r[i].parse::<f64>().is_ok());
    let align = |i: usize| if is_number(i) { Align::Right } else { Align::Left };
    let columns: Vec<(&str, Align)> = header.iter().enumerate().map(|(i, h)| (h.as_str(), align(i))).collect();
    let mut grid = Grid::new(caption, &columns);
    rows.into_iter().for_each(|(_, row)| grid.row(row));
    Ok(grid)
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
    for name in ["sites", "constants", "assessor-heads"] {
        let (header, rows) = tables.file(name)?.cells()?;
        for columns in origin_columns(&header) {
            let origins = rows.iter().filter_map(|(_, row)| Origin::of_row(&row[columns.status], &row[columns.source]));
            origins.for_each(|origin| add(&origin));
        }
    }
    cautions.iter().filter_map(|c| c.origin.as_ref()).for_each(&mut add);
    whole.checks.iter().flat_map(|check| &check.grounds).for_each(&mut add);
    let mut section = Section::new("sources", "Sources");
    section.text("Published sources; what is from memory, an estimate or a convention is named where it stands.");
    section.list(all);
    Ok(section)
}

pub fn open_points(tables: &Tables) -> Section {
    let mut section = Section::new("open-points", "Open points for a qualified assessor");
    section.text(
        "The heads of a cosmetic product safety report (Regulation (EC) No 1223/2009, Annex I), what this dossier gives to each, and what \
         somebody has to fill in. Elsewhere local rules ask for other papers.",
    );
    let columns = [("Head", Align::Left), ("", Align::Left), ("Found here", Align::Left), ("Still open", Align::Left)];
    let mut grid = Grid::new("Heads of the report", &columns);
    for row in &tables.assessor_heads {
        let number = format!("{}{}", row.part, row.number);
        grid.row(vec![number, row.head.clone(), row.found_here.clone(), row.still_open.clone()]);
    }
    section.table(grid);
    section
}

pub fn fingerprint(fingerprint: &Fingerprint) -> Section {
    let mut section = Section::new("fingerprint", "Fingerprint");
    section.text(format!(
        "Made by gritwise {} with: {}. The same files, tables and call give the same bytes; gritwise dossier --verify DIR makes it again \
         and says whether anything differs.",
        fingerprint.version,
        fingerprint.command()
    ));
    let mut grid = Grid::new("SHA-256", &[("File", Align::Left), ("Hash", Align::Left)]);
    fingerprint.files.iter().for_each(|f| grid.row(vec![f.file.clone(), f.sha256.clone()]));
    let own: Vec<&str> = fingerprint.tables.iter().filter(|t| !t.built_in).map(|t| t.table.as_str()).collect();
    let all = if own.is_empty() {
        "all tables, built in".to_owned()
    } else {
        format!("all tables; not built in: {}", own.join(", "))
    };
    grid.row(vec![all, fingerprint.of_tables()]);
    section.table(grid);
    section
}
