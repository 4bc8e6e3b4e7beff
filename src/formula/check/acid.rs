//! The acid exfoliant: how much, how free, at what pH, under whose limits.

mod without_acid;

use super::super::balance::{Balance, Sparing, buffer_pair, davies, free_share, pkas_in_salt};
use super::super::bases;
use super::super::content::{
    AcidContent, Reckoned, hides_acid, is_named, is_of_acid, is_salt_of_unknown_share, named_acids, named_pct,
    sounds_like,
};
use super::super::{Formula, Function, Line, Substance};
use super::market::is_sold;
use super::{Check, CheckVerdict, Finding, OWN, Setting, known, names_of, no_phases, number};
use crate::numerics::written::apart;
use crate::tables::{Acid, AcidLimit, AcidUse, Beyond, Neutraliser, Status, Tables};

/// The keys of [acid] to give: a pH where there is water.
fn keys_of_acid(formula: &Formula) -> &'static str {
    if formula.usage.kind.is_some_and(|kind| kind.is_free_of_water()) { "key" } else { "key and final_ph" }
}

/// The acid of the formula; an error says what the checks lack, in words.
pub(super) fn content<'a>(formula: &'a Formula, tables: &'a Tables) -> Result<Option<AcidContent<'a>>, String> {
    if formula.phases().is_empty() {
        return Err(no_phases().why);
    }
    let tables = &tables.formula;
    let (least_pct, give) = (tables.constants.aha_pct.value, keys_of_acid(formula));
    let Some(content) = AcidContent::listed(formula, tables) else {
        let hides = |i: &Substance| hides_acid(i, tables) && i.pct() >= least_pct;
        let mut grains = formula.lines().into_iter().flat_map(Line::substances).filter(|s| s.ingredient().is_none());
        if let Some(acid) = grains.find(|s| is_of_acid(s, tables)) {
            return Err(format!(
                "{} is an acid or its salt among the powders: list it as an ingredient of a phase, and add [acid] with {give}",
                acid.name()
            ));
        }
        // A little of one brings the pH where it is to be and exfoliates nothing.
        let much = named_pct(formula, tables) >= least_pct;
        let is_one = |i: &Substance| i.line.is(Function::Acid) || (much && is_named(i, tables)) || hides(i);
        if let Some(i) = formula.substances().find(is_one) {
            return Err(format!("{} is an acid: add [acid] with {give}", i.name()));
        }
        // How much acid it is nobody knows.
        let is_salt = |i: &Substance| is_salt_of_unknown_share(i, tables) && i.pct() >= least_pct;
        if let Some(i) = formula.substances().find(is_salt) {
            return Err(format!("{} is a salt of an acid of the table: add [acid] with {give}", i.name()));
        }
        let mut strange = formula.substances().filter(|i| i.pct() >= least_pct);
        return match strange.find_map(|i| Some((i.name().into_owned(), sounds_like(&i, tables)?))) {
            None => Ok(None),
            Some((name, acid)) => Err(format!(
                "{name} sounds like {}: give it the INCI name \"{}\", or another if it is none, and add [acid] with {give}",
                acid.name.to_lowercase(),
                acid.inci
            )),
        };
    };
    let name = content.plan.acid.name.to_lowercase();
    if content.acid_mol <= 0.0 {
        let mut why = format!("[acid] names {name}, but no ingredient is it; give one its INCI name");
        why.extend(content.unknown_acids().iter().map(|u| format!("; {u}")));
        return Err(why);
    }
    Ok(Some(content))
}

/// The limits on any of these acids in the regions where the scrub is sold, for its use.
fn limits<'a>(s: &'a Setting, acids: &[(&Acid, f64)]) -> Vec<&'a AcidLimit> {
    let wanted = if s.formula.usage.salon { AcidUse::Salon } else { AcidUse::Consumer };
    let about = |l: &AcidLimit| acids.iter().any(|(acid, _)| l.is_about(acid));
    let all = s.tables.formula.acid_limits.iter();
    all.filter(|l| l.r#use == wanted && is_sold(s, &l.region) && l.holds_on(s.day()) && about(l)).collect()
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
        let mut there = limits(s, &content.acids()).into_iter().filter(|l| l.region == **region);
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

fn verdict_beyond(limit: &AcidLimit) -> CheckVerdict {
    match limit.beyond {
        Beyond::Stop => CheckVerdict::Stop,
        Beyond::Caution => CheckVerdict::Caution,
    }
}

/// Findings on an acid, or why there is none; where no [acid] plans one, `unplanned` looks at those that are listed all the same.
fn judged(
    s: &Setting,
    of: impl FnOnce(&AcidContent) -> Vec<Finding>,
    unplanned: impl FnOnce(&[(&Acid, f64)]) -> Vec<Finding>,
) -> Vec<Finding> {
    if let Ok(Some(content)) = &s.acid {
        return of(content);
    }
    let listed = named_acids(s.formula, &s.tables.formula);
    let found = match &s.acid {
        Err(lack) => Finding::missing(lack),
        Ok(_) => Finding::pass(no_exfoliant(s, &listed), OWN),
    };
    // Advice is about exfoliants, not about a pinch.
    let is_told = |f: &Finding| s.acid.is_err() || f.verdict == CheckVerdict::Stop;
    unplanned(&listed).into_iter().filter(is_told).chain([found]).collect()
}

/// That there is no acid exfoliant: none at all, or a pinch.
fn no_exfoliant(s: &Setting, listed: &[(&Acid, f64)]) -> String {
    if listed.is_empty() {
        return "there is no acid exfoliant in the formula".to_owned();
    }
    let (least, acids) = (s.constants().aha_pct.value, listed.iter().map(|(acid, _)| *acid).collect::<Vec<_>>());
    format!("{}: less than {least} %, taken to set the pH and not to exfoliate", names(&acids))
}

/// A limit of law on the pH of an acid.
fn against_ph(l: &AcidLimit, ph: f64) -> Option<Finding> {
    let least = l.min_ph?;
    let verdict = if ph < least - 1e-9 { verdict_beyond(l) } else { CheckVerdict::Pass };
    let note = if l.ph_note.is_empty() { String::new() } else { format!(" ({})", l.ph_note) };
    let why = format!("{} ({}): pH {least} or more{note}", l.region, l.instrument);
    Some(Finding::new(verdict, why, (l.status, &l.source)).of(ph, least))
}

/// What is beyond a limit is so without a plan too.
fn beyond(finding: &Finding) -> bool {
    finding.verdict > CheckVerdict::NotJudged
}

/// `acid-active`
pub(super) fn active(s: &Setting) -> Check {
    let planned = |content: &AcidContent| {
        let pct = content.as_acid_pct;
        let acids = content.acids();
        let mut findings: Vec<Finding> = limits(s, &acids).into_iter().map(|l| against(l, &acids)).collect();
        findings.extend(unlimited(s, content));
        findings.extend(content.unknown_acids().into_iter().map(Finding::missing));
        if s.is_dry() {
            findings.push(s.no_ph());
        }
        // The gravest first, of these the tightest.
        let limit = |f: &Finding| f.limit.unwrap_or(f64::INFINITY);
        findings.sort_by(|a, b| b.verdict.cmp(&a.verdict).then(limit(a).total_cmp(&limit(b))));
        if let Some(gravest) = findings.first_mut() {
            let bound = gravest.limit.unwrap_or(f64::INFINITY);
            let what = |(acid, pct): &(&Acid, f64)| format!("{} % {}", apart(*pct, bound, 3), acid.name.to_lowercase());
            let all: Vec<String> = acids.iter().map(what).collect();
            gravest.why = format!("{}, salts counted as acid; {}", all.join(", "), gravest.why);
            if gravest.value.is_none() {
                gravest.value = Some(pct);
            }
        }
        findings
    };
    let unplanned =
        |acids: &[(&Acid, f64)]| limits(s, acids).into_iter().map(|l| against(l, acids)).filter(beyond).collect();
    Check::from_findings("acid-active", "% w/w as acid", judged(s, planned, unplanned))
}

/// The sum of the acids that a limit is about against it.
fn against(l: &AcidLimit, acids: &[(&Acid, f64)]) -> Finding {
    let acids: Vec<&(&Acid, f64)> = acids.iter().filter(|(acid, _)| l.is_about(acid)).collect();
    let pct: f64 = acids.iter().map(|(_, pct)| pct).sum();
    let over = pct > l.max_pct * (1.0 + 1e-9);
    let verdict = if over { verdict_beyond(l) } else { CheckVerdict::Pass };
    let sum = if acids.len() > 1 { format!(", here {} % in all", apart(pct, l.max_pct, 3)) } else { String::new() };
    let why = format!("{} ({}): {}{sum}", l.region, l.instrument, l.says);
    Finding::new(verdict, why, (l.status, &l.source)).of(pct, l.max_pct)
}

/// `acid-free`
pub(super) fn free(s: &Setting) -> Check {
    let planned = |content: &AcidContent| {
        if s.is_dry() {
            return fizz(s, &content.carbonates()).into_iter().chain([s.no_ph()]).collect();
        }
        let unreckoned = content.unreckoned().into_iter().map(Finding::missing);
        // With a carbonate in it no pH can be relied on.
        let findings: Vec<Finding> = carbonates(content).into_iter().chain(unreckoned).collect();
        match s.formula.ph() {
            _ if !findings.is_empty() => findings,
            None => vec![Finding::missing("the pH is not known; give final_ph in [acid]")],
            Some(ph) => free_findings(s, content, ph),
        }
    };
    let mut findings = judged(s, planned, |_| Vec::new());
    match (&s.acid, &s.unplanned) {
        (Ok(None), _) => findings.extend(without_acid::findings(s)),
        // An acid that no [acid] tells of, as a rule.
        (Err(_), Some(listed)) if s.has_phases() && s.is_dry() => findings.extend(fizz(s, &listed.carbonates())),
        _ => {}
    }
    Check::from_findings("acid-free", "% of the acid", findings)
}

fn free_findings(s: &Setting, content: &AcidContent, ph: f64) -> Vec<Finding> {
    let (acid, balance) = (&content.plan.acid, &content.balance);
    let strength = balance.strength_at(ph, s.constants());
    let single = davies(strength, s.constants());
    let free_of = |acid: &Acid| {
        let pkas = acid.pkas();
        (free_share(&pkas, ph), free_share(&pkas_in_salt(&pkas, 0, single), ph))
    };
    let (free, free_salty) = free_of(acid);
    let source = (acid.status, acid.source.as_str());
    let far = if strength > s.constants().davies_limit_m.value { ", beyond where Davies' equation holds" } else { "" };
    let acids = content.acids();
    let noted = acids.iter().filter(|(acid, _)| !acid.note.is_empty());
    let note: String = noted.map(|(acid, _)| format!(". {}: {}", acid.name, acid.note)).collect();
    let others = acids.into_iter().skip(1).map(|(acid, pct)| {
        let (ideal, salty) = free_of(acid);
        let dissolved = content.dissolved_share(acid, ph);
        let [low, high] = [ideal.min(salty), ideal.max(salty)].map(|share| number(pct * dissolved * share));
        format!("; of {} {low} to {high} % of the scrub is free", acid.name.to_lowercase())
    });
    // Of an acid that the water does not take whole, what is free in solution is what the water takes.
    let dissolved = content.dissolved_share(acid, ph);
    let taken = content.as_acid_pct * free * dissolved;
    let rest = if dissolved < 1.0 { " in solution; what lies undissolved is acid too" } else { "" };
    let in_solution = |share: f64| if dissolved < 1.0 { taken } else { content.as_acid_pct * share };
    let why = format!(
        "at pH {ph} {} % of the acid is free by pKa {} at 25 °C, {} % with Davies' correction (ionic strength of all \
         ions {} mol/kg of water{far}): {} to {} % of the scrub{rest}{}. {} Buffer capacity {} mmol/kg per pH. An estimate: weigh in \
         nine tenths of the base, measure at 25 °C with the powders in, finish by titration, measure again after a day{note}",
        number(100.0 * free),
        list(&acid.pkas()),
        number(100.0 * free_salty),
        number(strength),
        number(in_solution(free.min(free_salty))),
        number(in_solution(free.max(free_salty))),
        others.collect::<String>(),
        neutralising(s, content, ph),
        number(1000.0 * balance.buffer_capacity(ph)),
    );
    let mut findings = vec![Finding::pass(why, source)];
    let rest = "the pH is reckoned with what dissolves, the rest crystallises";
    findings.extend(undissolved(s, &content.balance, ph, rest));
    findings.extend(reckoned(s, content, ph));
    if !content.uncounted.is_empty() {
        let why = format!(
            "{} takes or gives protons too, by how much is not known: go by the pH you measure",
            content.uncounted.join(", ")
        );
        findings.push(Finding::caution(why, OWN));
    }
    let weak = &s.constants().weak_buffer_mmol;
    if 1000.0 * balance.buffer_capacity(ph) < weak.value {
        let why = "the buffer is weak: ash and extractives of the powders will move the pH";
        findings.push(Finding::caution(why, known(weak)));
    }
    // A finding with a figure of its own keeps it.
    findings.into_iter().map(|f| if f.value.is_some() { f } else { f.of(100.0 * free, None) }).collect()
}

/// Grams in 100 g of a mol of sodium hydroxide in a kilogram.
const LYE_G_PER_100G: f64 = 4.0;

/// What carries an acid that water hardly takes; words of INCI names, common practice, no source.
const CARRIERS: [&str; 10] = [
    "alcohol",
    "alcohol denat",
    "propanediol",
    "propylene glycol",
    "dipropylene glycol",
    "butylene glycol",
    "pentylene glycol",
    "ethoxydiglycol",
    "isopropyl alcohol",
    "hexylene glycol",
];

/// Acids of which the water does not take all that is there: the rest is a solid, which neither gives protons nor exfoliates nor
/// preserves; `rest` says what becomes of it.
pub(super) fn undissolved(s: &Setting, balance: &Balance, ph: f64, rest: &str) -> Vec<Finding> {
    let carriers = names_of(&s.substances, |n| CARRIERS.iter().any(|word| n.is.is_inci(word)));
    let told = |(sparing, share): (&Sparing, f64)| {
        let Sparing { name, most, origin } = sparing;
        let what = format!(
            "{} % of {name} does not dissolve at pH {ph}: water takes {} mmol/kg undissociated at 25 °C; {rest}",
            number(100.0 * share),
            number(1000.0 * most)
        );
        let finding = Finding::caution(what, (origin.status, &origin.source));
        let finding = finding.of(100.0 * share, 0.0).unit("% undissolved");
        let open = (!carriers.is_empty()).then(|| {
            Finding::missing(format!(
                "whether {carriers} holds {name} in solution is not known, nor the pH then: look at it cold, and measure"
            ))
        });
        std::iter::once(finding).chain(open)
    };
    balance.undissolved(ph).into_iter().flat_map(told).collect()
}

fn list(pkas: &[f64]) -> String {
    pkas.iter().map(|p| p.to_string()).collect::<Vec<_>>().join("/")
}

/// What brings the scrub to the pH: a strong base, or the acid's own salt in place of part of it where water takes it all.
fn neutralising(s: &Setting, content: &AcidContent, ph: f64) -> String {
    let (acid, balance) = (&content.plan.acid, &content.balance);
    // Beyond the salts that are listed; lye that is listed is part of it.
    let listed: f64 = bases::listed(s.formula, ph, &s.tables.formula).iter().map(|base| base.mol).sum();
    let missing = [balance.base_for(ph), balance.base_in_salt(ph, s.constants())];
    let [plain, corrected] = missing.map(|base| LYE_G_PER_100G * (base + listed).max(0.0));
    if corrected.max(plain) <= 0.0 {
        return "It needs no strong base.".to_owned();
    }
    let (free, salt) = buffer_pair(acid, ph);
    let scale = content.acid_mol / 10.0;
    let dissolves = content.dissolved_share(acid, ph) >= 1.0;
    let is_alone = balance.protolytes.len() == 1 && !acid.salt.is_empty() && dissolves;
    let buffer = if is_alone {
        format!(
            ", or no base but {} g of the acid and {} g of {} in its place",
            number(free * scale),
            number(salt * scale),
            acid.salt.to_lowercase()
        )
    } else {
        String::new()
    };
    format!(
        "In 100 g it needs {} to {} g of sodium hydroxide, or as much of another base{buffer}.",
        number(plain.min(corrected)),
        number(plain.max(corrected))
    )
}

/// The balance's own constants, as a source.
const CHARGES: (Status, &str) =
    (Status::Published, "charge balance over all that takes or gives protons, with pKa at 25 °C; Davies 1962");

/// The pH that the formula as it stands comes to, against the one stated.
fn reckoned(s: &Setting, content: &AcidContent, ph: f64) -> Vec<Finding> {
    let balance = &content.balance;
    let agreement = &s.constants().ph_agreement;
    let acids = balance.protolytes.iter().filter(|p| p.top == 0).cloned().collect();
    let bare = Balance { protolytes: acids, ions: Vec::new(), water_kg: balance.water_kg }.ideal_ph();
    let (Some(bare), Some(reckoned)) = (bare, content.reckoned(s.formula, &s.tables.formula)) else {
        return vec![Finding::missing(
            "the charges of what is listed balance at no pH: look for a slip in the amounts",
        )];
    };
    if ph < bare - agreement.value {
        let why = format!("this much acid alone has pH {}: it cannot be as low as pH {ph}", number(bare));
        return vec![Finding::stop(why, CHARGES)];
    }
    let Reckoned { ideal, in_salt, by_phase, .. } = reckoned;
    let (comes, off) = comes_to(s, [ideal, in_salt], ph);
    let are_acids_alone = balance.ions.is_empty() && balance.protolytes.iter().all(|p| p.top == 0);
    let why = match (content.neutralised_with.is_empty(), are_acids_alone) {
        (true, true) if off > 0.0 => format!("no ingredient brings it there: as listed {comes}"),
        (true, true) => format!("as listed {comes}"),
        (true, false) => format!("as listed, with its salts, {comes}"),
        (false, _) => format!("as listed, with {}, {comes}", content.neutralised_with.join(", ")),
    };
    let base_too_much = -balance.base_in_salt(ph, s.constants());
    if off > 0.0 && base_too_much > 0.0 && base_too_much <= content.weak.most_mol {
        let why = format!(
            "{why}, less what {} takes up, of which no table says how much: go by the pH you measure at 25 °C when all is in",
            content.weak.names.join(", ")
        );
        return vec![Finding::missing(why)];
    }
    let verdict = match off {
        off if off > s.constants().ph_far.value => CheckVerdict::Stop,
        off if off > 0.0 => CheckVerdict::Caution,
        _ => CheckVerdict::Pass,
    };
    let far = if verdict == CheckVerdict::Stop {
        format!(", far from pH {ph}: look for a slip in the amounts")
    } else {
        String::new()
    };
    let steps: Vec<String> = by_phase.iter().map(|p| format!("{} after {}", number(p.ph), p.phase)).collect();
    let on_the_way = if steps.len() > 1 { format!(" (on the way {})", steps.join(", ")) } else { String::new() };
    vec![Finding::new(
        verdict,
        format!("{why}{far}{on_the_way}; measure again at 25 °C when all is in"),
        known(agreement),
    )]
}

/// What is reckoned in words, and how much further it is from a pH than the reckoning may be off.
fn comes_to(s: &Setting, reckoned: [f64; 2], ph: f64) -> (String, f64) {
    let (low, high) = (reckoned[0].min(reckoned[1]), reckoned[0].max(reckoned[1]));
    let off = (low - ph).max(ph - high) - s.constants().ph_agreement.value;
    (format!("the pH comes to {} to {}", number(low), number(high)), off)
}

/// Carbonates, grains or other, that neutralise the acid.
fn carbonates(content: &AcidContent) -> Option<Finding> {
    let (_, _, row) = content.carbonates.first()?;
    let used: f64 = content.carbonates.iter().map(|(_, mol, _)| mol).sum();
    let names: Vec<&str> = content.carbonates.iter().map(|(name, _, _)| name.as_str()).collect();
    let share = 100.0 * (used / content.acid_mol).min(1.0);
    let why = format!(
        "{} neutralises the acid, fizzing, up to {} % of it: the pH leaves its window and the preservative fails",
        names.join(", "),
        number(share)
    );
    let finding = Finding::stop(why, (row.status, &row.source));
    Some(finding.of(share, None).unit("% of the acid used up"))
}

/// Without water acid and carbonate wait for each other.
fn fizz(s: &Setting, carbonates: &[(&str, &Neutraliser)]) -> Option<Finding> {
    let (_, row) = carbonates.first()?;
    let names: Vec<&str> = carbonates.iter().map(|(name, _)| *name).collect();
    let why = format!(
        "{} and the acid fizz as soon as they are wet: keep it dry and tightly closed, weigh in dry air; on the skin most of the acid is used \
         up",
        names.join(", ")
    );
    let finding = if s.free_of_water().is_some() { Finding::caution } else { Finding::stop };
    Some(finding(why, (row.status, &row.source)))
}

/// The pH that the scrub comes to as it is listed, where that lies outside the window of file and law by more than it may be off: what is
/// stated is not shown then.
fn elsewhere(s: &Setting, content: &AcidContent, [low, high]: [f64; 2]) -> Option<Finding> {
    // Without a base that is listed it is titrated; the weigh sheet says with how much.
    let is_titrated = content.neutralised_with.is_empty();
    if is_titrated
        || !content.unreckoned().is_empty()
        || !content.carbonates.is_empty()
        || !content.weak.names.is_empty()
    {
        return None;
    }
    let (ideal, in_salt) = (content.balance.ideal_ph()?, content.balance.ph_in_salt(s.constants())?.ph);
    let may = s.constants().ph_agreement.value;
    let (least, most) = (ideal.min(in_salt), ideal.max(in_salt));
    (most < low - may || least > high + may).then(|| {
        let window = match (low.is_finite(), high.is_finite()) {
            (true, true) => format!("outside {} to {}", number(low), number(high)),
            (true, false) => format!("below {}", number(low)),
            _ => format!("above {}", number(high)),
        };
        Finding::missing(format!(
            "as listed the pH comes to {} to {}, {window}: it holds only if the one measured when all is in does",
            number(least),
            number(most)
        ))
    })
}

/// `ph-window`
pub(super) fn window(s: &Setting) -> Check {
    let planned = |content: &AcidContent| {
        if s.is_dry() {
            return vec![s.no_ph()];
        }
        let Some(ph) = s.formula.ph() else {
            return vec![Finding::missing("the pH is not known; give final_ph in [acid]")];
        };
        let mut findings: Vec<Finding> = content.unknown_acids().into_iter().map(Finding::missing).collect();
        if let Some([low, high]) = content.plan.window {
            let source = (Status::Convention, "the window of the file; 4.5 to 5 is common practice, no source");
            let bound = if ph > high { high } else { low };
            let (verdict, word) = if (low..=high).contains(&ph) {
                (CheckVerdict::Pass, "within")
            } else {
                (CheckVerdict::Stop, "outside")
            };
            let why = format!("pH {ph} is {word} the window of {low} to {high}");
            findings.push(Finding::new(verdict, why, source).of(ph, bound));
        }
        let limits = limits(s, &content.acids());
        let mut of_regions: Vec<Finding> = limits.iter().filter_map(|l| against_ph(l, ph)).collect();
        // What is advice is told by itself.
        let binding = limits.iter().filter(|l| l.beyond == Beyond::Stop);
        let least = binding.filter_map(|l| l.min_ph).fold(f64::NEG_INFINITY, f64::max);
        let [low, high] = content.plan.window.unwrap_or([f64::NEG_INFINITY, f64::INFINITY]);
        findings.extend(elsewhere(s, content, [low.max(least), high]));
        // Of one verdict, the strictest region gives figure and limit.
        of_regions.sort_by(|a, b| b.limit.unwrap_or_default().total_cmp(&a.limit.unwrap_or_default()));
        findings.splice(0..0, of_regions);
        if findings.is_empty() {
            findings.push(Finding::missing("nothing limits the pH; give window in [acid]").of(ph, None));
        }
        findings
    };
    let ph = s.formula.ph().filter(|_| !s.is_dry());
    let unplanned = |acids: &[(&Acid, f64)]| {
        limits(s, acids).into_iter().filter_map(|l| against_ph(l, ph?)).filter(beyond).collect()
    };
    Check::from_findings("ph-window", "pH", judged(s, planned, unplanned))
}
