//! What a dossier rests on, and what it leaves open.

use super::Fingerprint;
use crate::blend::Scrub;
use crate::report::FormulaReport;
use crate::report::document::{Align, Grid, Section};
use crate::tables::{CautionRow, TableError, TableFile, Tables};

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

pub fn sources(
    scrub: &Scrub,
    whole: &FormulaReport,
    cautions: &[String],
    tables: &Tables,
) -> Result<Section, TableError> {
    let mut all: Vec<String> = Vec::new();
    let mut add = |source: &str| {
        if !all.iter().any(|s| s == source) {
            all.push(source.to_owned());
        }
    };
    let is_source = |status: &str| status == "published";
    let materials = scrub.blend.components().iter().filter_map(|c| c.powder.material.as_ref());
    materials.filter(|m| is_source(&m.status)).for_each(|m| add(&m.source));
    for name in ["sites", "constants", "assessor-heads"] {
        let (header, rows) = tables.file(name)?.cells()?;
        let column = |name: &str| header.iter().position(|h| h == name).unwrap_or(0);
        let (status, source) = (column("status"), column("source"));
        rows.iter().filter(|(_, row)| is_source(&row[status])).for_each(|(_, row)| add(&row[source]));
    }
    let printed = |c: &&CautionRow| cautions.iter().any(|text| is_filled_from(text, &c.text));
    tables.cautions.iter().filter(|c| is_source(&c.status)).filter(printed).for_each(|c| add(&c.source));
    for check in &whole.checks {
        // Sources of several statuses each end in their own.
        let of_one = is_source(&check.status);
        let published = check.source.split("; ").filter_map(|s| s.strip_suffix(" (published)").or(of_one.then_some(s)));
        published.for_each(&mut add);
    }
    let mut section = Section::new("sources", "Sources");
    section.text("Published sources; what is from memory, an estimate or a convention is named where it stands.");
    section.list(all);
    Ok(section)
}

/// Whether a printed text came from a template with words in braces.
fn is_filled_from(text: &str, template: &str) -> bool {
    template.split(['{', '}']).step_by(2).all(|literal| text.contains(literal))
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
