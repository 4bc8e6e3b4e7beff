//! Page one: what the product is, what was found of it, and where each head of the safety report is spoken of.

use super::{Fingerprint, Gap, Subject, product};
use crate::formula::CheckVerdict;
use crate::report::document::{Block, Grid, Section};
use crate::report::layout::row;
use crate::report::{BlendReport, FormulaReport};
use crate::tables::{AssessorHeadRow, Tables};

/// Digits of the scrub file's hash that tell one version from another at a glance; all of them stand under the fingerprint.
const HASH_DIGITS: usize = 12;

pub fn first(
    subject: &Subject,
    blend: &BlendReport,
    whole: &FormulaReport,
    gaps: &[Gap],
    fingerprint: &Fingerprint,
) -> Section {
    let stated = |said: Option<String>| said.unwrap_or_else(|| "not stated".to_owned());
    let named = |verdict| {
        let keys: Vec<&str> = whole.checks.iter().filter(|c| c.verdict == verdict).map(|c| c.key).collect();
        if keys.is_empty() { "none".to_owned() } else { format!("{}: {}", keys.len(), keys.join(", ")) }
    };
    let facts = [
        ("Product", blend.scrub.name.clone()),
        ("Version", version(fingerprint)),
        ("Date", stated(fingerprint.call.date.clone())),
        ("Intended for", stated(product::intended(subject))),
        ("Verdict", product::verdict(subject, blend, whole)),
        ("How sure", product::how_sure(blend)),
        ("Stopped by", named(CheckVerdict::Stop)),
        ("Cautions of checks", named(CheckVerdict::Caution)),
        ("Not judged", named(CheckVerdict::NotJudged)),
        ("Open points", product::open_points(whole)),
        ("Gaps", format!("{}: open points and estimates, with room to fill them in", gaps.len())),
    ];
    let facts = facts.map(|(what, said)| row(what).and(said));
    let heads = Grid::new("lll", &["Head", "What it asks for", "The rest is given by"])
        .captioned("Heads of the safety report (Regulation (EC) No 1223/2009, Annex I), and where they are spoken of")
        .rows(
            subject
                .tables
                .assessor_heads
                .iter()
                .map(|head| row(format!("{}{}", head.part, head.number)).and(&head.head).and(&head.given_by)),
        );
    Section::new("first", "In short")
        .table(Grid::new("ll", &["", ""]).captioned("What was found").rows(facts))
        .block(Block::Guide { grid: heads, sections: sections(subject.tables), nowhere: "not in here" })
}

/// "millrace.toml, SHA-256 beginning 0123456789ab; by gritwise 0.1.0"
fn version(fingerprint: &Fingerprint) -> String {
    let file = fingerprint.files.first().map(|f| {
        let hash: String = f.sha256.chars().take(HASH_DIGITS).collect();
        format!("{}, SHA-256 beginning {hash}; ", f.file)
    });
    format!("{}reckoned by gritwise {}", file.unwrap_or_default(), fingerprint.version)
}

fn sections(tables: &Tables) -> Vec<Vec<&'static str>> {
    tables.assessor_heads.iter().map(|head| sections_of(head).to_vec()).collect()
}

/// The sections that speak of a head; none where this dossier has nothing to say.
fn sections_of(head: &AssessorHeadRow) -> &'static [&'static str] {
    match (head.part.as_str(), head.number) {
        ("A", 1) => &["formula", "powders"],
        ("A", 2) => &["powders", "sizes", "checks"],
        ("A", 3) => &["checks", "gaps"],
        ("A", 4) => &["checks", "cautions", "gaps"],
        ("A", 5) => &["product", "misuse", "cautions"],
        ("A", 6) => &["sites", "horn"],
        ("A", 7) => &["formula"],
        ("A", 10) => &["index", "band", "confidence"],
        ("B", 2) => &["cautions"],
        ("B", 3) => &["index", "horn", "band", "confidence"],
        _ => &[],
    }
}
