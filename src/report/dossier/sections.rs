//! The sections of a dossier.

use super::{Fingerprint, Subject};
use crate::band::{BEYOND, Judge};
use crate::blend::{Component, Scrub};
use crate::formula::Verdict;
use crate::report::confidence::OutcomePart;
use crate::report::document::{Align, Grid, Section};
use crate::report::formula::hundredths;
use crate::report::layout::{percent, significant};
use crate::report::{BlendReport, ConfidenceReport, FormulaReport};
use crate::tables::{BandRow, Criterion, Material, TableError, TableFile, Tables};

/// What the index is, in one paragraph each: how it is made, and what it cannot say.
const INDEX_DEFINITION: &str = "The index is 100 √(S / S of the reference scrub). S, the depth-weighted removal, sums over all grains \
     the section that a grain ploughs in wet horn, times the square of the groove's depth, times how well the grain keeps its edge. A \
     grain is pressed by what it stands above the gap between finger pad and skin (Hertz contact on both sides), and its tip is as sharp \
     as its roundness says. Both scrubs rub under the conditions of the face row of the sites table.";
const INDEX_LIMITS: &str = "Its limits: that harm grows with the square of the depth, and that softer grains round off, are conventions of \
     this program. No published series of skin removal by grain size and powder was found to test it against; ranks from teeth or metal need \
     not transfer to skin; surfactants, pressure and habit confound irritation. It ranks scrubs; it is not a clinical measure.";

/// The verdict in a sentence.
pub(super) fn verdict(subject: &Subject, blend: &BlendReport) -> String {
    let found = &blend.band.name;
    let index = significant(blend.index.value, 3);
    let stands = if found == BEYOND { format!("is {BEYOND}") } else { format!("falls into the band {found}") };
    let Some(required) = subject.required else {
        return format!("The scrub {stands}; its abrasiveness index is {index}, the reference scrub's being 100.");
    };
    let asked = subject.judge.band_name(required);
    let answer = if subject.assessment.verdict.rank <= required { "meets" } else { "does not meet" };
    format!(
        "Asked for: {asked}, or milder. The scrub {stands} (index {index}, reference scrub 100), so it {answer} what was asked for."
    )
}

/// How sure the verdict is and what the checks say, in two sentences.
pub(super) fn doubts(subject: &Subject, sure: &ConfidenceReport, whole: &FormulaReport) -> String {
    let rank = subject.required.unwrap_or(subject.assessment.verdict.rank);
    let within: f64 = sure.all.bands.iter().take(rank + 1).map(|b| b.probability).sum();
    let band = subject.judge.band_name(rank);
    let counted = [Verdict::Stop, Verdict::Caution, Verdict::NotJudged].map(|verdict| {
        let count = whole.checks.iter().filter(|c| c.verdict == verdict).count();
        format!("{count} {}", verdict.label())
    });
    format!(
        "With all that is uncertain about powders, skin and model drawn from its range, {:.0} % of the draws fall into {band} or milder. Of \
         the {} checks of the whole scrub: {}.",
        100.0 * within,
        whole.checks.len(),
        counted.join(", ")
    )
}

pub(super) fn product(subject: &Subject, blend: &BlendReport, fingerprint: &Fingerprint) -> Section {
    let mut section = Section::new("product", "Product and intended use");
    let mut facts = Grid::new("The product", &[("", Align::Left), ("", Align::Left)]);
    let mut fact = |what: &str, value: String| facts.row(vec![what.to_owned(), value]);
    fact("Name", blend.scrub.name.clone());
    if let Some(date) = &fingerprint.call.date {
        fact("Date", date.clone());
    }
    let intended = subject.required.map(|rank| format!("{}, or milder", subject.judge.band_name(rank)));
    fact("Intended for", intended.unwrap_or_else(|| "not stated".to_owned()));
    let (usage, fill) = (&subject.formula.usage, &subject.formula.fill);
    let rinsed = usage.rinse_off.map(|off| if off { "rinsed off" } else { "stays on the skin" }.to_owned());
    let often = usage.per_week.map(|n| format!("{n} times a week"));
    let by = usage.salon.then(|| "by trained people".to_owned());
    let said: Vec<String> = [rinsed, often, by].into_iter().flatten().collect();
    fact("Use", if said.is_empty() { "not stated".to_owned() } else { said.join(", ") });
    let sold = if usage.regions.is_empty() { "not stated".to_owned() } else { usage.regions.join(", ") };
    fact("Sold in", sold);
    if let Some(container) = fill.container {
        let opening = fill.orifice.map_or_else(String::new, |o| format!(", opening of {} mm", o.get()));
        fact("Container", format!("{} mL{opening}", container.get()));
    }
    fact("Band found", blend.band.name.clone());
    fact("Powders", format!("{} % of the scrub by mass", significant(blend.scrub.powder_load_pct, 3)));
    if let Some(cost) = blend.scrub.cost_per_kg {
        fact("Powders in a kilogram of scrub cost", significant(cost, 3));
    }
    section.table(facts);
    section
}

pub(super) fn powders(scrub: &Scrub, blend: &BlendReport) -> Section {
    let mut section = Section::new("powders", "The powders");
    let right = Align::Right;
    let mut grades = Grid::new(
        "Grades and shares",
        &[
            ("Powder", Align::Left),
            ("INCI", Align::Left),
            ("Sizes from", Align::Left),
            ("Lot", Align::Left),
            ("% of the scrub", right),
            ("D10 µm", right),
            ("D50 µm", right),
            ("D90 µm", right),
            ("D99 µm", right),
            ("Share of the index %", right),
        ],
    );
    let mut properties = Grid::new(
        "Grain properties",
        &[
            ("Powder", Align::Left),
            ("Property", Align::Left),
            ("Value", right),
            ("Range", right),
            ("Status", Align::Left),
            ("Source", Align::Left),
        ],
    );
    for (component, part) in scrub.blend.components().iter().zip(&blend.powders) {
        let powder = &component.powder;
        let d = &powder.size.distribution;
        grades.row(vec![
            part.name.clone(),
            powder.material.as_ref().map_or_else(|| "not stated".to_owned(), |m| m.inci.clone()),
            part.size_basis.clone(),
            powder.lot.clone().unwrap_or_else(|| "not stated".to_owned()),
            significant(component.mass * blend.scrub.powder_load_pct, 3),
            significant(part.d10_um, 3),
            significant(part.d50_um, 3),
            significant(part.d90_um, 3),
            significant(d.quantile(0.99), 3),
            percent(part.index_share_pct),
        ]);
        property_rows(component, &mut properties);
    }
    section.table(grades);
    section.table(properties);
    let assumed = blend.powders.iter().flat_map(|p| p.assumptions.iter().map(move |a| format!("{}: {a}", p.name)));
    section.list(assumed.collect());
    section
}

fn property_rows(component: &Component, grid: &mut Grid) {
    let powder = &component.powder;
    let range = |low: f64, high: f64| format!("{} to {}", significant(low, 3), significant(high, 3));
    let of = |m: &Material, property: &str| match property {
        "density" => range(m.density_g_cm3_low, m.density_g_cm3_high),
        "hardness" => range(m.hardness_gpa_low, m.hardness_gpa_high),
        _ => range(m.roundness_low, m.roundness_high),
    };
    let own = &powder.ranges;
    for (property, label, value, own) in [
        ("density", "density, g/cm³", powder.density.get(), own.density),
        ("hardness", "hardness, GPa", powder.hardness.get(), own.hardness),
        ("roundness", "roundness (Wadell)", powder.roundness.get(), own.roundness),
    ] {
        let table = powder.material.as_ref().filter(|_| powder.from_table.contains(&property));
        let (range, status, source) = match table {
            Some(m) => (of(m, property), m.status.clone(), format!("materials table, {}: {}", m.key, m.source)),
            None => (String::new(), "stated".to_owned(), "the scrub file".to_owned()),
        };
        let range = own
            .map_or(range, |own| format!("{} to {} (scrub file)", significant(own.low, 3), significant(own.high, 3)));
        grid.row(vec![powder.name.clone(), label.to_owned(), significant(value, 3), range, status, source]);
    }
}

pub(super) fn sizes(blend: &BlendReport) -> Section {
    let mut section = Section::new("sizes", "The blend");
    let (by_volume, by_mass) = (&blend.blend.by_volume, &blend.blend.by_mass);
    let mut grid = Grid::new(
        "Sizes of the blend, µm",
        &[("Finer than it", Align::Left), ("by volume (laser)", Align::Right), ("by mass (sieves)", Align::Right)],
    );
    for ((name, volume), (_, mass)) in by_volume.listed().into_iter().zip(by_mass.listed()) {
        grid.row(vec![name.to_owned(), significant(volume, 3), significant(mass, 3)]);
    }
    grid.row(vec!["span".to_owned(), significant(by_volume.span, 3), significant(by_mass.span, 3)]);
    section.table(grid);
    let mean = |m: Option<f64>| m.map_or("-".to_owned(), |v| significant(v, 3));
    section.text(format!(
        "Means by volume: D[4,3] {} µm, D[3,2] {} µm (ISO 9276-2). Density of the blend's solid: {} g/cm³.",
        mean(blend.blend.mean_4_3_um),
        mean(blend.blend.mean_3_2_um),
        significant(blend.blend.density_g_cm3, 3)
    ));
    section
}

pub(super) fn index(blend: &BlendReport) -> Section {
    let mut section = Section::new("index", "The abrasiveness index");
    let index = &blend.index;
    section.text(format!(
        "Abrasiveness index {}: {}. At the reference rub the scrub takes off {} µm of horn per metre of sliding; one use is about {} m \
         (convention).",
        significant(index.value, 3),
        index.note,
        significant(index.removal_um_per_m, 3),
        significant(index.sliding_distance_m, 2)
    ));
    section.text(INDEX_DEFINITION);
    section.text(INDEX_LIMITS);
    if let Some(work) = &blend.work {
        section.text(format!(
            "Grains of {} to {} µm give the middle 80 % of the index, half of it below {} µm.",
            significant(work.index_p10_um, 3),
            significant(work.index_p90_um, 3),
            significant(work.index_p50_um, 3)
        ));
    }
    section
}

pub(super) fn sites(judge: &Judge, blend: &BlendReport) -> Section {
    let mut section = Section::new("sites", "The rub at each site");
    let right = Align::Right;
    let columns = [
        ("Site", Align::Left),
        ("Horny layer µm", right),
        ("Pressure kPa", right),
        ("Dose g/m²", right),
        ("Gap µm", right),
        ("Carried by grains %", right),
        ("Groove, 50 % of the load, µm", right),
        ("Groove, 95 %, µm", right),
        ("Groove ratio", right),
        ("Rub", Align::Left),
    ];
    let mut grid = Grid::new("Grooves under the rub of each site (model)", &columns);
    for (part, site) in blend.sites.iter().zip(judge.model().sites()) {
        grid.row(vec![
            part.site.clone(),
            significant(part.stratum_corneum_um, 3),
            significant(site.pressure_kpa, 3),
            significant(site.dose_g_m2, 3),
            significant(part.gap_um, 3),
            percent(part.carried_pct),
            significant(part.groove_p50_um, 3),
            significant(part.groove_p95_um, 3),
            significant(part.groove_ratio, 3),
            part.rub.label().to_owned(),
        ]);
    }
    section.table(grid);
    section.text(
        "The groove ratio is the groove depth under which 95 % of the load lies, over the thickness of the horny layer. A rub is shared \
         when film and skin carry part of the load, grain-borne when the grains carry all of it.",
    );
    section
}

pub(super) fn band(subject: &Subject, blend: &BlendReport) -> Result<Section, TableError> {
    let Subject { assessment, judge, tables, .. } = *subject;
    let mut section = Section::new("band", "Why this band");
    section.list(blend.band.reasons.clone());
    let rows = tables.file("bands")?.rows::<BandRow>()?;
    let right = Align::Right;
    let columns = [
        ("Band", Align::Left),
        ("Judged at", Align::Left),
        ("Criterion", Align::Left),
        ("Value", right),
        ("Limit", right),
        ("Margin %", right),
        ("", Align::Left),
        ("The limit is", Align::Left),
    ];
    let mut notes: Vec<String> = Vec::new();
    let mut grid = Grid::new("The figures against the limits of every band, mild to harsh", &columns);
    for (rank, limits) in judge.bands().iter().enumerate() {
        for held in judge.held(rank, &assessment.figures) {
            let key = held.criterion.key();
            let row = rows.iter().find(|(_, r)| r.band.to_lowercase() == limits.name && r.criterion == key);
            let (status, source) = row.map_or(("", ""), |(_, r)| (&r.status, &r.source));
            let unit = if held.criterion == Criterion::D99 { " µm" } else { "" };
            grid.row(vec![
                limits.name.clone(),
                limits.site.clone(),
                held.criterion.label().to_owned(),
                significant(held.value, 3) + unit,
                format!("{}{unit}", held.limit),
                format!("{:.0}", held.margin_pct()),
                if held.met() { "met" } else { "not met" }.to_owned(),
                format!("{status} ({})", number_of(&mut notes, source)),
            ]);
        }
    }
    section.table(grid);
    let numbered = notes.iter().enumerate().map(|(i, note)| format!("({}) {note}", i + 1));
    section.text(format!("Where the limits come from: {}.", numbered.collect::<Vec<_>>().join("; ")));
    let moves: Vec<String> = blend.band.changes.iter().map(|c| c.sentence.clone()).collect();
    if moves.is_empty() {
        section.text("No change of one powder's parts or grade, or of the load, moves the band by itself.");
    } else {
        section.text("What would move the band:");
        section.list(moves);
    }
    Ok(section)
}

/// The number that a note goes by, from 1.
fn number_of(notes: &mut Vec<String>, note: &str) -> usize {
    let at = notes.iter().position(|n| n == note).unwrap_or_else(|| {
        notes.push(note.to_owned());
        notes.len() - 1
    });
    at + 1
}

/// Inputs that hold less of the variance than this are not listed.
const WORTH_A_LINE: f64 = 0.02;

pub(super) fn confidence(sure: &ConfidenceReport) -> Section {
    let mut section = Section::new("confidence", "How sure the verdict is");
    let right = Align::Right;
    let outcomes = [&sure.all, &sure.powders_alone, &sure.skin_and_model_alone];
    let heads = [("", Align::Left), ("All drawn", right), ("Powders alone", right), ("Skin and model alone", right)];
    let mut bands = Grid::new("Probability of each band", &heads);
    for (i, band) in sure.all.bands.iter().enumerate() {
        let cell = |o: &OutcomePart| format!("{} %", percent(100.0 * o.bands[i].probability));
        bands.row(std::iter::once(band.name.clone()).chain(outcomes.map(cell)).collect());
    }
    let mut figures = Grid::new("5, 50 and 95 % of the draws", &heads);
    let three = |values: [f64; 3]| values.map(|v| significant(v, 3)).join(" / ");
    let index = |o: &OutcomePart| three([o.index.p5, o.index.p50, o.index.p95]);
    figures.row(std::iter::once("abrasiveness index".to_owned()).chain(outcomes.map(index)).collect());
    for (i, site) in sure.all.sites.iter().enumerate() {
        let ratio = |o: &OutcomePart| three([o.sites[i].ratio_p5, o.sites[i].ratio_p50, o.sites[i].ratio_p95]);
        let label = format!("groove ratio, {}", site.site);
        figures.row(std::iter::once(label).chain(outcomes.map(ratio)).collect());
    }
    let columns = [("Input", Align::Left), ("With interactions %", right), ("Who can know it", Align::Left)];
    let mut variance = Grid::new("What holds the variance of the index (of its logarithm)", &columns);
    for share in sure.variance.iter().filter(|s| s.total >= WORTH_A_LINE) {
        let who = if share.measurable { "the maker, by measuring" } else { "nobody" };
        variance.row(vec![share.input.clone(), format!("{:.0}", 100.0 * share.total), who.to_owned()]);
    }
    section.table(bands);
    section.table(figures);
    section.table(variance);
    section.list(sure.advice.clone());
    sure.notes.iter().for_each(|note| section.text(note.clone()));
    section
}

pub(super) fn formula(whole: &FormulaReport) -> Section {
    let mut section = Section::new("formula", "The whole scrub");
    if whole.phases.is_empty() {
        section.text("The scrub file lists the powders only; what else is in the scrub is an open point.");
        return section;
    }
    let columns = [
        ("Ingredient", Align::Left),
        ("INCI", Align::Left),
        ("Phase", Align::Left),
        ("% w/w", Align::Right),
        ("Active %", Align::Right),
        ("Function", Align::Left),
        ("Lot", Align::Left),
    ];
    let mut grid = Grid::new("Ingredients, phase by phase", &columns);
    for line in &whole.ingredients {
        let function = if line.powder { "exfoliant".to_owned() } else { line.functions.join(", ") };
        grid.row(vec![
            line.name.clone(),
            line.inci.clone().unwrap_or_else(|| "not stated".to_owned()),
            line.phase.clone().unwrap_or_default(),
            hundredths(line.pct),
            hundredths(line.active_pct),
            function,
            line.lot.clone().unwrap_or_default(),
        ]);
    }
    section.table(grid);
    section.text(format!("Sum: {} % w/w.", significant(whole.total_pct, 5)));
    section
}

pub(super) fn checks(whole: &FormulaReport) -> Section {
    let mut section = Section::new("checks", "Checks of the whole scrub");
    section.text("Arithmetic on the figures of the scrub file. What is not judged lacks data, and has not passed.");
    let columns = [
        ("Check", Align::Left),
        ("", Align::Left),
        ("Value, limit", Align::Left),
        ("Why", Align::Left),
        ("Status and source", Align::Left),
    ];
    let mut grid = Grid::new("Checks", &columns);
    for check in &whole.checks {
        let figure = match (check.value, check.limit) {
            (Some(v), Some(l)) => format!("{}, {} {}", significant(v, 3), significant(l, 3), check.unit),
            (Some(v), None) => format!("{} {}", significant(v, 3), check.unit),
            _ => String::new(),
        };
        grid.row(vec![
            check.key.to_owned(),
            check.verdict.label().to_owned(),
            figure,
            check.why.clone(),
            format!("{}: {}", check.status, check.source),
        ]);
    }
    section.table(grid);
    section
}

/// Those of the powders, then those of the rest that are not there yet.
pub(super) fn cautions(blend: &BlendReport, whole: &FormulaReport) -> Section {
    let mut section = Section::new("cautions", "Cautions and directions for use");
    let mut all = blend.cautions.clone();
    all.extend(whole.cautions.iter().filter(|c| !blend.cautions.contains(c)).cloned());
    section.list(all);
    section
}

pub(super) fn assumptions(tables: &Tables) -> Result<Section, TableError> {
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

pub(super) fn sources(scrub: &Scrub, whole: &FormulaReport, tables: &Tables) -> Result<Section, TableError> {
    let mut all: Vec<String> = Vec::new();
    let mut add = |source: &str| {
        if !all.iter().any(|s| s == source) {
            all.push(source.to_owned());
        }
    };
    let is_source = |status: &str| status == "published";
    let materials = scrub.blend.components().iter().filter_map(|c| c.powder.material.as_ref());
    materials.filter(|m| is_source(&m.status)).for_each(|m| add(&m.source));
    for name in ["sites", "constants", "cautions", "assessor-heads"] {
        let (header, rows) = tables.file(name)?.cells()?;
        let column = |name: &str| header.iter().position(|h| h == name).unwrap_or(0);
        let (status, source) = (column("status"), column("source"));
        rows.iter().filter(|(_, row)| is_source(&row[status])).for_each(|(_, row)| add(&row[source]));
    }
    whole.checks.iter().filter(|c| is_source(&c.status)).for_each(|c| add(&c.source));
    let mut section = Section::new("sources", "Sources");
    section.text("Published sources; what is from memory, an estimate or a convention is named where it stands.");
    section.list(all);
    Ok(section)
}

pub(super) fn open_points(tables: &Tables) -> Section {
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

pub(super) fn fingerprint(fingerprint: &Fingerprint) -> Section {
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
