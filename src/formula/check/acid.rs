//! The acid exfoliant: how much, how free, at what pH, under whose limits.

use super::super::Function;
use super::super::acid::{Solution, buffer_pair, free_share};
use super::super::content::{AcidContent, NO_WATER, is_named, named_pct};
use super::{Check, Finding, OWN, Setting, Verdict, known, no_phases, number};
use crate::tables::{Acid, AcidLimit, AcidUse, Beyond, Status};

/// The acid of the formula; an error says what the checks lack, in words.
pub(super) fn content<'a>(s: &Setting<'a>) -> Result<Option<AcidContent<'a>>, String> {
    if !s.has_phases() {
        return Err(no_phases().why);
    }
    let tables = &s.tables.formula;
    let Some(content) = AcidContent::listed(s.formula, tables) else {
        // A little of one brings the pH where it is to be and exfoliates nothing.
        let much = named_pct(s.formula, tables) >= s.constants().aha_pct.value;
        let mut ingredients = s.formula.ingredients().map(|(_, i)| i);
        return match ingredients.find(|i| i.is(Function::Acid) || (much && is_named(i, tables))) {
            None => Ok(None),
            Some(i) => Err(format!("{} is an acid: add [acid] with key and final_ph", i.name)),
        };
    };
    let name = content.plan.acid.name.to_lowercase();
    if content.solution.acid_mol <= 0.0 {
        let mut why = format!("[acid] names {name}, but no ingredient is it; give one its INCI name");
        why.extend(content.unknown_acids().iter().map(|u| format!("; {u}")));
        return Err(why);
    }
    Ok(Some(content))
}

/// Whether the scrub is sold in a region.
fn is_sold(s: &Setting, region: &str) -> bool {
    let regions = &s.formula.usage.regions;
    regions.is_empty() || regions.iter().any(|r| r == region)
}

/// The limits on any of the acids in the regions where the scrub is sold, for its use.
fn limits<'a>(s: &'a Setting, content: &'a AcidContent) -> impl Iterator<Item = &'a AcidLimit> {
    let wanted = if s.formula.usage.salon { AcidUse::Salon } else { AcidUse::Consumer };
    let about = |l: &AcidLimit| content.acids().iter().any(|(acid, _)| l.is_about(acid));
    let all = s.tables.formula.acid_limits.iter();
    all.filter(move |l| l.r#use == wanted && is_sold(s, &l.region) && l.holds_on(s.day()) && about(l))
}

/// "lactic acid and glycolic acid"
fn names(acids: &[&Acid]) -> String {
    acids.iter().map(|a| a.name.to_lowercase()).collect::<Vec<_>>().join(" and ")
}

/// Regions where no limit speaks of all the acids there are; a pinch that sets the pH needs none.
fn unlimited(s: &Setting, content: &AcidContent) -> Vec<Finding> {
    let mut acids: Vec<&Acid> = content.acids().into_iter().map(|(acid, _)| acid).collect();
    acids.truncate(if content.is_mixed() { acids.len() } else { 1 });
    let mut regions: Vec<&str> = Vec::new();
    for limit in s.tables.formula.acid_limits.iter().filter(|l| is_sold(s, &l.region)) {
        if !regions.contains(&limit.region.as_str()) {
            regions.push(&limit.region);
        }
    }
    let is_open = |region: &&str| {
        let mut there = limits(s, content).filter(|l| l.region == **region);
        !there.any(|l| acids.iter().all(|acid| l.is_about(acid)))
    };
    let open: Vec<&str> = regions.into_iter().filter(is_open).collect();
    if open.is_empty() {
        return Vec::new();
    }
    let together = if acids.len() > 1 { " together" } else { "" };
    let why = format!("{}: the tables hold no limit for {}{together}: look it up", open.join(", "), names(&acids));
    vec![Finding::missing(why)]
}

fn verdict_beyond(limit: &AcidLimit) -> Verdict {
    match limit.beyond {
        Beyond::Stop => Verdict::Stop,
        Beyond::Caution => Verdict::Caution,
    }
}

/// Findings on an acid, or why there is none.
fn judged(s: &Setting, of: impl FnOnce(&AcidContent) -> Vec<Finding>) -> Vec<Finding> {
    match content(s) {
        Err(lack) => vec![Finding::missing(lack)],
        Ok(None) => vec![Finding::pass("there is no acid exfoliant in the formula", OWN)],
        Ok(Some(content)) => of(&content),
    }
}

/// `acid-active`
pub(super) fn active(s: &Setting) -> Check {
    let findings = judged(s, |content| {
        let pct = content.as_acid_pct;
        let mut findings: Vec<Finding> = limits(s, content).map(|l| against(l, content)).collect();
        findings.extend(unlimited(s, content));
        findings.extend(content.unknown_acids().into_iter().map(Finding::missing));
        if s.is_dry() {
            findings.push(Finding::missing(NO_WATER));
        }
        // The gravest first, of these the tightest.
        let limit = |f: &Finding| f.limit.unwrap_or(f64::INFINITY);
        findings.sort_by(|a, b| b.verdict.cmp(&a.verdict).then(limit(a).total_cmp(&limit(b))));
        if let Some(gravest) = findings.first_mut() {
            let what = |(acid, pct): &(&Acid, f64)| format!("{} % {}", number(*pct), acid.name.to_lowercase());
            let all: Vec<String> = content.acids().iter().map(what).collect();
            gravest.why = format!("{}, salts counted as acid; {}", all.join(", "), gravest.why);
            if gravest.value.is_none() {
                gravest.value = Some(pct);
            }
        }
        findings
    });
    Check::from_findings("acid-active", "% w/w as acid", findings)
}

/// The sum of the acids that a limit is about against it.
fn against(l: &AcidLimit, content: &AcidContent) -> Finding {
    let mut acids = content.acids();
    acids.retain(|(acid, _)| l.is_about(acid));
    let pct: f64 = acids.iter().map(|(_, pct)| pct).sum();
    let over = pct > l.max_pct * (1.0 + 1e-9);
    let verdict = if over { verdict_beyond(l) } else { Verdict::Pass };
    let sum = if acids.len() > 1 { format!(", here {} % in all", number(pct)) } else { String::new() };
    let why = format!("{} ({}): {}{sum}", l.region, l.instrument, l.says);
    Finding::new(verdict, why, (l.status, &l.source)).of(pct, l.max_pct)
}

/// `acid-free`
pub(super) fn free(s: &Setting) -> Check {
    let findings = judged(s, |content| {
        let unreckoned = content.unreckoned().into_iter().map(Finding::missing);
        // With a carbonate in it no pH can be relied on.
        let findings: Vec<Finding> = carbonates(content).into_iter().chain(unreckoned).collect();
        match s.formula.ph() {
            _ if !findings.is_empty() => findings,
            None => vec![Finding::missing("the pH is not known; give final_ph in [acid]")],
            Some(ph) => free_findings(s, content, ph),
        }
    });
    Check::from_findings("acid-free", "% of the acid", findings)
}

fn free_findings(s: &Setting, content: &AcidContent, ph: f64) -> Vec<Finding> {
    let (acid, solution) = (&content.plan.acid, &content.solution);
    let salty = solution.in_salt(ph, s.constants());
    let (free, free_salty) = (free_share(&solution.pkas, ph), free_share(&salty.pkas, ph));
    let source = (acid.status, acid.source.as_str());
    let strength = solution.ionic_strength(ph);
    let far = if strength > s.constants().davies_limit_m.value { ", beyond where Davies' equation holds" } else { "" };
    let note = if acid.note.is_empty() { String::new() } else { format!(". {}: {}", acid.name, acid.note) };
    let why = format!(
        "at pH {ph} {} % of the acid is free by pKa {} at 25 °C, {} % with Davies' correction (ionic strength of the acid's \
         own salt {} mol/kg of water{far}): {} % of the scrub. {} Buffer capacity {} mmol/kg per pH. An estimate: weigh in \
         nine tenths of the base, measure at 25 °C with the powders in, finish by titration, measure again after a day{note}",
        number(100.0 * free),
        list(&solution.pkas),
        number(100.0 * free_salty),
        number(strength),
        number(content.as_acid_pct * free),
        neutralising(content, &salty, ph),
        number(1000.0 * solution.buffer_capacity(ph)),
    );
    let mut findings = vec![Finding::pass(why, source)];
    findings.extend(crystallises(s, content, free.max(free_salty)));
    findings.extend(unreachable(s, content, ph));
    for (other, _) in &content.others {
        let why = format!("{} brings acid too, which is not reckoned here", other.name);
        findings.push(Finding::caution(why, OWN));
    }
    let weak = &s.constants().weak_buffer_mmol;
    if 1000.0 * solution.buffer_capacity(ph) < weak.value {
        let why = "the buffer is weak: ash and extractives of the powders will move the pH";
        findings.push(Finding::caution(why, known(weak)));
    }
    // A finding with a figure of its own keeps it.
    findings.into_iter().map(|f| if f.value.is_some() { f } else { f.of(100.0 * free, None) }).collect()
}

/// More free acid than the water takes.
fn crystallises(s: &Setting, content: &AcidContent, free: f64) -> Option<Finding> {
    let acid = &content.plan.acid;
    let most = acid.soluble_g_per_100ml?;
    let held = 100.0 * content.as_acid_pct * free / s.formula.water_pct();
    (held > most).then(|| {
        let why = format!(
            "{} g of free acid stand against 100 g of water, which takes {most} g: it crystallises, unless glycol or alcohol \
             holds it",
            number(held)
        );
        Finding::caution(why, (acid.status, &acid.source)).of(held, most).unit("g in 100 g of water")
    })
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
    let buffer = if acid.salt.is_empty() {
        String::new()
    } else {
        format!(
            ", or no base but {} g of the acid and {} g of {} in its place",
            number(free * scale),
            number(salt * scale),
            acid.salt.to_lowercase()
        )
    };
    format!(
        "In 100 g it needs the base of {} to {} g of sodium hydroxide, that of its salts included{buffer}.",
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
        return Some(Finding::stop(why, (Status::Published, "charge balance with the acid's pKa")));
    }
    if content.neutralised_with.is_empty() && solution.base_mol == 0.0 {
        if ph <= bare + s.constants().ph_agreement.value {
            return None;
        }
        let why = format!("no ingredient brings it there: as listed the acid has pH {}", number(bare));
        return Some(Finding::caution(why, (Status::Published, "charge balance with the acid's pKa")));
    }
    let salty = solution.in_salt(ph, s.constants());
    let range = [solution.ph(), salty.ph()];
    let (low, high) = (range[0].min(range[1]), range[0].max(range[1]));
    let agreement = &s.constants().ph_agreement;
    let off = ph < low - agreement.value || ph > high + agreement.value;
    let with =
        if content.neutralised_with.is_empty() { "its salt".to_owned() } else { content.neutralised_with.join(", ") };
    let why = format!("as listed, with {with}, the pH comes to {} to {}", number(low), number(high));
    let verdict = if off { Verdict::Caution } else { Verdict::Pass };
    Some(Finding::new(verdict, why, known(agreement)))
}

/// Carbonates, grains or other, that neutralise the acid.
fn carbonates(content: &AcidContent) -> Option<Finding> {
    let (_, _, row) = content.carbonates.first()?;
    let used: f64 = content.carbonates.iter().map(|(_, mol, _)| mol).sum();
    let names: Vec<&str> = content.carbonates.iter().map(|(name, _, _)| *name).collect();
    let share = 100.0 * (used / content.solution.acid_mol).min(1.0);
    let why = format!(
        "{} neutralises the acid, fizzing, up to {} % of it: the pH leaves its window and the preservative fails",
        names.join(", "),
        number(share)
    );
    let finding = Finding::stop(why, (row.status, &row.source));
    Some(finding.of(share, None).unit("% of the acid used up"))
}

/// `ph-window`
pub(super) fn window(s: &Setting) -> Check {
    let findings = judged(s, |content| {
        let Some(ph) = s.formula.ph() else {
            return vec![Finding::missing("the pH is not known; give final_ph in [acid]")];
        };
        let mut findings: Vec<Finding> = content.unknown_acids().into_iter().map(Finding::missing).collect();
        if s.is_dry() {
            findings.push(Finding::missing(NO_WATER));
            return findings;
        }
        if let Some([low, high]) = content.plan.window {
            let source = (Status::Convention, "the window of the file; 4.5 to 5 is common practice, no source");
            let bound = if ph > high { high } else { low };
            let (verdict, word) =
                if (low..=high).contains(&ph) { (Verdict::Pass, "within") } else { (Verdict::Stop, "outside") };
            let why = format!("pH {ph} is {word} the window of {low} to {high}");
            findings.push(Finding::new(verdict, why, source).of(ph, bound));
        }
        let mut of_regions: Vec<Finding> = limits(s, content)
            .filter_map(|l| {
                let least = l.min_ph?;
                let verdict = if ph < least - 1e-9 { verdict_beyond(l) } else { Verdict::Pass };
                let note = if l.ph_note.is_empty() { String::new() } else { format!(" ({})", l.ph_note) };
                let why = format!("{} ({}): pH {least} or more{note}", l.region, l.instrument);
                Some(Finding::new(verdict, why, (l.status, &l.source)).of(ph, least))
            })
            .collect();
        // Of one verdict, the strictest region gives figure and limit.
        of_regions.sort_by(|a, b| b.limit.unwrap_or_default().total_cmp(&a.limit.unwrap_or_default()));
        findings.splice(0..0, of_regions);
        if findings.is_empty() {
            findings.push(Finding::missing("nothing limits the pH; give window in [acid]").of(ph, None));
        }
        findings
    });
    Check::from_findings("ph-window", "pH", findings)
}
