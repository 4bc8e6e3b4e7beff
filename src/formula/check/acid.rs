//! The acid exfoliant: how much, how free, at what pH, under whose limits.

use super::super::acid::{Solution, buffer_pair, free_share};
use super::super::content::{AcidContent, is_named, mol};
use super::super::{Function, Ingredient};
use super::{Check, Finding, OWN, Setting, Verdict, known, no_phases, number};
use crate::tables::{Acid, AcidLimit};

/// The acid of the formula; an error says what the checks lack.
pub(super) fn content<'a>(s: &Setting<'a>) -> Result<Option<AcidContent<'a>>, Finding> {
    if !s.has_phases() {
        return Err(no_phases());
    }
    let Some(plan) = &s.formula.acid else {
        // A little of one brings the pH where it is to be and exfoliates nothing.
        let much = |i: &Ingredient| i.active_pct() >= s.constants().aha_pct.value;
        let acids = &s.tables.formula.acids;
        let is_acid = |i: &Ingredient| i.is(Function::Acid) || (much(i) && acids.iter().any(|a| is_named(i, a)));
        return match s.formula.ingredients().find(|(_, i)| is_acid(i)) {
            None => Ok(None),
            Some((_, i)) => Err(Finding::missing(format!("{} is an acid: add [acid] with key and final_ph", i.name))),
        };
    };
    let name = plan.acid.name.to_lowercase();
    let Some(content) = AcidContent::new(s.formula, &s.tables.formula) else {
        let why = format!("[acid] names {name}, but no ingredient is it; give one functions = [\"acid\"]");
        return Err(Finding::missing(why));
    };
    match content.others.iter().find(|i| i.is(Function::Acid)) {
        Some(other) => {
            let why = format!(
                "{} stands beside {name}: two acids are not reckoned together; hold their sum against the limits yourself",
                other.name
            );
            Err(Finding::missing(why))
        }
        None => Ok(Some(content)),
    }
}

/// The limits on this acid in the regions where the scrub is sold, for its use.
fn limits<'a>(s: &Setting<'a>, acid: &'a Acid) -> impl Iterator<Item = &'a AcidLimit> {
    let (usage, tables) = (&s.formula.usage, s.tables);
    let wanted = if usage.salon { "salon" } else { "consumer" };
    let sold = |region: &str| usage.regions.is_empty() || usage.regions.iter().any(|r| r == region);
    tables.formula.acid_limits.iter().filter(move |l| l.r#use == wanted && sold(&l.region) && l.is_about(acid))
}

fn verdict_beyond(limit: &AcidLimit) -> Verdict {
    if limit.beyond == "stop" { Verdict::Stop } else { Verdict::Caution }
}

/// Findings on an acid, or why there is none.
fn judged(s: &Setting, of: impl FnOnce(&AcidContent) -> Vec<Finding>) -> Vec<Finding> {
    match content(s) {
        Err(missing) => vec![missing],
        Ok(None) => vec![Finding::pass("there is no acid exfoliant in the formula", OWN)],
        Ok(Some(content)) => of(&content),
    }
}

/// `acid-active`
pub(super) fn active(s: &Setting) -> Check {
    let findings = judged(s, |content| {
        let acid = &content.plan.acid;
        let pct = content.as_acid_pct;
        let what = format!("{} % {}, its salts counted as acid", number(pct), acid.name.to_lowercase());
        let mut findings: Vec<Finding> = limits(s, acid)
            .map(|l| {
                let over = pct > l.max_pct * (1.0 + 1e-9);
                let verdict = if over { verdict_beyond(l) } else { Verdict::Pass };
                let why = format!("{} ({}): {}", l.region, l.instrument, l.says);
                Finding::new(verdict, why, (&l.status, &l.source)).of(pct, l.max_pct)
            })
            .collect();
        // The gravest first, of these the tightest.
        let limit = |f: &Finding| f.limit.unwrap_or(f64::INFINITY);
        findings.sort_by(|a, b| b.verdict.cmp(&a.verdict).then(limit(a).total_cmp(&limit(b))));
        match findings.first_mut() {
            Some(gravest) => gravest.why = format!("{what}; {}", gravest.why),
            None => {
                let why = format!("{what}; the tables hold no limit for it where the scrub is sold: look it up");
                findings.push(Finding::missing(why).of(pct, None));
            }
        }
        findings
    });
    Check::from_findings("acid-active", "% w/w as acid", findings)
}

/// `acid-free`
pub(super) fn free(s: &Setting) -> Check {
    let findings = judged(s, |content| {
        let Some(ph) = s.formula.ph() else {
            return vec![Finding::missing("the pH is not known; give final_ph in [acid]")];
        };
        free_findings(s, content, ph)
    });
    Check::from_findings("acid-free", "% of the acid", findings)
}

fn free_findings(s: &Setting, content: &AcidContent, ph: f64) -> Vec<Finding> {
    let (acid, solution) = (&content.plan.acid, &content.solution);
    let salty = solution.in_salt(ph, s.constants());
    let (free, free_salty) = (free_share(&solution.pkas, ph), free_share(&salty.pkas, ph));
    let source = (acid.status.as_str(), acid.source.as_str());
    let strength = solution.ionic_strength(ph);
    let far = if strength > s.constants().davies_limit_m.value { ", beyond where Davies' equation holds" } else { "" };
    let why = format!(
        "at pH {ph} {} % of the acid is free by pKa {} at 25 °C, {} % with Davies' correction (ionic strength of the acid's \
         own salt {} mol/kg of water{far}): {} % of the scrub. {} Buffer capacity {} mmol/kg per pH. An estimate: weigh in \
         nine tenths of the base, measure at 25 °C with the powders in, finish by titration, measure again after a day",
        number(100.0 * free),
        list(&solution.pkas),
        number(100.0 * free_salty),
        number(strength),
        number(content.as_acid_pct * free),
        neutralising(content, &salty, ph),
        number(1000.0 * solution.buffer_capacity(ph)),
    );
    let mut findings = vec![Finding::pass(why, source).of(100.0 * free, None)];
    findings.extend(grains_that_react(s, content).map(|f| f.of(100.0 * free, None)));
    findings.extend(unreachable(s, content, ph).map(|f| f.of(100.0 * free, None)));
    for other in &content.others {
        let why = format!("{} brings acid too, which is not reckoned here", other.name);
        findings.push(Finding::caution(why, OWN).of(100.0 * free, None));
    }
    let weak = &s.constants().weak_buffer_mmol;
    if 1000.0 * solution.buffer_capacity(ph) < weak.value {
        let why = "the buffer is weak: ash and extractives of the powders will move the pH";
        findings.push(Finding::caution(why, known(weak)).of(100.0 * free, None));
    }
    findings
}

fn list(pkas: &[f64]) -> String {
    pkas.iter().map(|p| p.to_string()).collect::<Vec<_>>().join("/")
}

/// What brings the acid to the pH: a strong base, or its own salt in place of part of it.
fn neutralising(content: &AcidContent, salty: &Solution, ph: f64) -> String {
    let (acid, solution) = (&content.plan.acid, &content.solution);
    // What the acid and its salts need before any other base.
    let grams = |solution: &Solution| 4.0 * (solution.base_mol + solution.base_for(ph)).max(0.0);
    let (plain, corrected) = (grams(solution), grams(salty));
    let (free, salt) = buffer_pair(acid, ph);
    let scale = solution.acid_mol / 10.0;
    let buffer = match acid.salt.is_empty() {
        true => String::new(),
        false => format!(
            ", or no base but {} g of the acid and {} g of {} in its place",
            number(free * scale),
            number(salt * scale),
            acid.salt.to_lowercase()
        ),
    };
    format!(
        "In 100 g it needs the base of {} to {} g of sodium hydroxide, sodium of its salts included{buffer}.",
        number(plain.min(corrected)),
        number(plain.max(corrected))
    )
}

/// A pH that the formula as it stands does not have.
fn unreachable(s: &Setting, content: &AcidContent, ph: f64) -> Option<Finding> {
    let solution = &content.solution;
    let bare = Solution { base_mol: 0.0, ..solution.clone() }.ph();
    if ph < bare - s.constants().ph_agreement.value {
        let why = format!("this much acid alone has pH {}: it cannot be as low as pH {ph}", number(bare));
        return Some(Finding::stop(why, ("published", "charge balance with the acid's pKa")));
    }
    if content.neutralised_with.is_empty() && solution.base_mol == 0.0 {
        if ph <= bare + s.constants().ph_agreement.value {
            return None;
        }
        let why = format!("no ingredient brings it there: as listed the acid has pH {}", number(bare));
        return Some(Finding::caution(why, ("published", "charge balance with the acid's pKa")));
    }
    let salty = solution.in_salt(ph, s.constants());
    let range = [solution.ph(), salty.ph()];
    let (low, high) = (range[0].min(range[1]), range[0].max(range[1]));
    let agreement = &s.constants().ph_agreement;
    let off = ph < low - agreement.value || ph > high + agreement.value;
    let with = match content.neutralised_with.is_empty() {
        true => "its salt".to_owned(),
        false => content.neutralised_with.join(", "),
    };
    let why = format!("as listed, with {with}, the pH comes to {} to {}", number(low), number(high));
    let verdict = if off { Verdict::Caution } else { Verdict::Pass };
    Some(Finding::new(verdict, why, known(agreement)))
}

/// Grains that neutralise the acid.
fn grains_that_react(s: &Setting, content: &AcidContent) -> Option<Finding> {
    let mut used = 0.0;
    let mut names = Vec::new();
    let mut source = OWN;
    for (c, pct) in s.formula.powders() {
        let Some(material) = &c.powder.material else { continue };
        let grains = s.tables.formula.neutralisers.iter();
        let Some(n) = grains.filter(|n| n.kind == "grains").find(|n| n.inci.eq_ignore_ascii_case(&material.inci))
        else {
            continue;
        };
        used += n.equivalents * mol(pct, n.mw);
        names.push(c.powder.name.as_str());
        source = (n.status.as_str(), n.source.as_str());
    }
    if names.is_empty() {
        return None;
    }
    let share = 100.0 * (used / content.solution.acid_mol).min(1.0);
    let why = format!(
        "{} neutralises the acid, fizzing, up to {} % of it: the pH leaves its window and the preservative fails",
        names.join(", "),
        number(share)
    );
    Some(Finding::stop(why, source))
}

/// `ph-window`
pub(super) fn window(s: &Setting) -> Check {
    let findings = judged(s, |content| {
        let Some(ph) = content.plan.final_ph.map(|p| p.get()) else {
            return vec![Finding::missing("the pH is not known; give final_ph in [acid]")];
        };
        let mut findings = Vec::new();
        if let Some([low, high]) = content.plan.window {
            let source = ("convention", "the window of the file; 4.5 to 5 is common practice, no source");
            let bound = if ph > high { high } else { low };
            let (verdict, word) = match (low..=high).contains(&ph) {
                true => (Verdict::Pass, "within"),
                false => (Verdict::Stop, "outside"),
            };
            let why = format!("pH {ph} is {word} the window of {low} to {high}");
            findings.push(Finding::new(verdict, why, source).of(ph, bound));
        }
        findings.extend(limits(s, &content.plan.acid).filter_map(|l| {
            let least = l.min_ph?;
            let verdict = if ph < least - 1e-9 { verdict_beyond(l) } else { Verdict::Pass };
            let why = format!("{} ({}): pH {least} or more", l.region, l.instrument);
            Some(Finding::new(verdict, why, (&l.status, &l.source)).of(ph, least))
        }));
        if findings.is_empty() {
            findings.push(Finding::missing("nothing limits the pH; give window in [acid]").of(ph, None));
        }
        findings
    });
    Check::from_findings("ph-window", "pH", findings)
}
