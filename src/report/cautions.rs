//! Which caution texts a scrub calls for. The texts are data (`grading-tables/cautions.csv`).

use super::layout::joined;
use super::origins::estimates;
use crate::band::{Assessment, BEYOND, Judge};
use crate::blend::{Blend, Component, Scrub};
use crate::formula::{Checked, Formula, handles_acid_or_lye, holds_acid};
use crate::numerics::written::{three, two};
use crate::powder::Powder;
use crate::tables::{AcidKind, CautionRow, Known, Material, Origin, REFERENCE_SITE, Tables};
use crate::units::Gigapascals;
use serde::Serialize;

/// Share in the pan from which it is said that the fine end is assumed.
const MUCH_IN_THE_PAN: f64 = 0.05;

/// A caution as it is printed. In JSON it is its text.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
#[serde(transparent)]
pub struct Caution {
    /// What it says.
    pub text: String,
    /// Status and source of the row that it was made from.
    #[serde(skip)]
    pub origin: Option<Origin>,
}

impl AsRef<str> for Caution {
    fn as_ref(&self) -> &str {
        &self.text
    }
}

impl Caution {
    fn new(row: &CautionRow, text: String) -> Self {
        Self { text, origin: Some(row.origin()) }
    }
}

/// The cautions to print with a scrub, in the order of the table. `half_of_index_below_um` is the size below which half of
/// the index arises, 0 when nothing rubs.
pub(super) fn cautions(
    scrub: &Scrub,
    assessment: &Assessment,
    half_of_index_below_um: f64,
    judge: &Judge,
    tables: &Tables,
) -> Vec<Caution> {
    let band = judge.bands().get(assessment.verdict.rank);
    let for_face = band.is_some_and(|b| b.site == REFERENCE_SITE);
    // A table of the user's own may be older than the caution that names the estimates.
    let tells_estimates = tables.cautions.iter().any(|c| c.trigger == "estimates");
    let mut texts = Vec::new();
    for caution in &tables.cautions {
        let trigger = caution.trigger.as_str();
        let concerns = |c: &&Component| {
            let powder = &c.powder;
            let estimated = !powder.estimates().is_empty();
            match trigger {
                "mohs-plant" => {
                    powder.mohs.is_some() && powder.material.as_ref().is_some_and(Material::is_misjudged_by_mohs)
                }
                "above-usual" => is_above_usual(c, scrub.load.get(), for_face),
                "estimates" => estimated,
                "defaults" => !(powder.from_table().is_empty() || tells_estimates && estimated),
                "open-top" => powder.size.open_above > 0.0,
                "range-only" => powder.size.classes.is_empty(),
                "open-bottom" => powder.size.open_below > MUCH_IN_THE_PAN,
                "microbead-name" => powder.name.to_lowercase().contains("microbead"),
                _ => powder.is_flagged(trigger),
            }
        };
        let named: Vec<&Component> = scrub.blend.components().iter().filter(concerns).collect();
        let holds = match trigger {
            "always" => true,
            "face" => for_face,
            "not-face" => !for_face,
            "far-tail" => assessment.figures.d99_um < half_of_index_below_um,
            "beyond" => judge.band_name(assessment.verdict.rank) == BEYOND,
            _ => !named.is_empty(),
        };
        if holds {
            let mut text = filled(&caution.text, &named);
            if text.contains(INDENTATION) {
                text = text.replace(INDENTATION, &by_indentation(scrub, &named, assessment, judge));
            }
            texts.push(Caution::new(caution, text));
        }
    }
    texts
}

/// Where a caution says what the indentation hardness of the materials table would do.
const INDENTATION: &str = "{indentation}";

/// For each powder, what the table holds by indentation, and the index of the scrub with it.
fn by_indentation(scrub: &Scrub, named: &[&Component], assessment: &Assessment, judge: &Judge) -> String {
    let sentence = |c: &&Component| {
        let (material, mohs) = (c.powder.material.as_ref()?, c.powder.mohs?);
        let other =
            judge.assess(&with_hardness(scrub, &c.powder, Gigapascals::new(material.hardness_gpa.value).ok()?)?);
        let rank = Some(other.verdict.rank).filter(|rank| *rank != assessment.verdict.rank);
        let band = rank.map_or(String::new(), |rank| format!(" and the band {}", judge.band_name(rank)));
        let (taken, Known { value, low, high, .. }) = (two(c.powder.hardness.get()), &material.hardness_gpa);
        let [with, now] = [other.rubbed.index, assessment.rubbed.index].map(three);
        Some(format!(
            "{}: Mohs {mohs} was taken as {taken} GPa; the materials table has {value} GPa ({low} to {high}) by indentation, with \
             which the index would be {with} instead of {now}{band}.",
            c.powder.name
        ))
    };
    joined(named.iter().filter_map(sentence), " ")
}

/// The scrub with another hardness of one of its powders.
fn with_hardness(scrub: &Scrub, powder: &Powder, hardness: Gigapascals) -> Option<Scrub> {
    let changed = |c: &Component| {
        let mut changed = c.powder.clone();
        if std::ptr::eq(&c.powder, powder) {
            changed.hardness.value = hardness;
        }
        (changed, c.parts)
    };
    let blend = Blend::new(scrub.blend.components().iter().map(changed).collect()).ok()?;
    Some(Scrub { blend, ..scrub.clone() })
}

/// The cautions to print with a formula, in the order of the table.
pub(super) fn of_formula(formula: &Formula, checked: &Checked, tables: &Tables) -> Vec<Caution> {
    let holds_acid = |kinds: &[AcidKind]| holds_acid(formula, &tables.formula, kinds);
    let is_on_skin_long = formula.usage.rinse_off == Some(false);
    let frequency = formula.usage.per_week.is_none();
    let holds = |trigger: &str| match trigger {
        "always" | "formula" => true,
        "formula-aha" => holds_acid(&[AcidKind::Aha, AcidKind::Pha]),
        "formula-bha" => holds_acid(&[AcidKind::Bha]),
        "formula-acid-maker" => handles_acid_or_lye(formula),
        "formula-leave-on" => is_on_skin_long,
        "formula-use" => formula.usage.rinse_off.is_none() || frequency,
        "formula-dissolves" => checked.on_skin.dissolves,
        _ => false,
    };
    tables.cautions.iter().filter(|c| holds(&c.trigger)).map(|c| Caution::new(c, c.text.clone())).collect()
}

/// Flags of a powder that concern whoever weighs it.
const MAKER_FLAGS: [&str; 7] =
    ["silica-dust-low", "silica-dust", "silica-dust-high", "dust", "heat", "microbes", "acid-reacts"];

/// A caution with the names of the powders that have its trigger for a flag; `None` where none has.
fn flagged(caution: &CautionRow, scrub: &Scrub) -> Option<String> {
    let flagged = scrub.blend.components().iter().filter(|c| c.powder.is_flagged(&caution.trigger));
    let named: Vec<&Component> = flagged.collect();
    (!named.is_empty()).then(|| filled(&caution.text, &named))
}

/// The cautions to print with a weigh sheet, in the order of the table.
pub(super) fn of_batch(formula: &Formula, tables: &Tables) -> Vec<String> {
    let text = |caution: &CautionRow| match caution.trigger.as_str() {
        "batch" => Some(caution.text.clone()),
        "formula-acid-maker" => handles_acid_or_lye(formula).then(|| caution.text.clone()),
        flag if MAKER_FLAGS.contains(&flag) => flagged(caution, formula.scrub()),
        _ => None,
    };
    tables.cautions.iter().filter_map(text).collect()
}

/// Flags of a powder that concern whoever weighs it in or reads the label: dust, silica, allergens.
const BLEND_FLAGS: [&str; 7] =
    ["silica-dust-low", "silica-dust", "silica-dust-high", "dust", "tree-nut", "seed-protein", "gluten"];

/// What to mind of the powders of a blend that was found, in the order of the table.
pub(super) fn of_weighing_and_label(scrub: &Scrub, tables: &Tables) -> Vec<String> {
    let told = tables.cautions.iter().filter(|c| BLEND_FLAGS.contains(&c.trigger.as_str()));
    told.filter_map(|caution| flagged(caution, scrub)).collect()
}

/// What is said of powders that dissolve, where nothing is known of the water they will lie in.
pub(super) fn of_dissolving_as_weighed<'a>(scrubs: impl IntoIterator<Item = &'a Scrub>) -> Option<String> {
    let names: Vec<&str> = dissolving(scrubs).into_iter().map(|c| c.powder.name.as_str()).collect();
    (!names.is_empty()).then(|| {
        format!(
            "dissolves in water: {}. Shares, index and band are of the powders as weighed, as if none of it dissolved in the jar; so is \
             a scrub that like, from or curve names. Write the blend (--write), add its [[phase]] tables, and judge it again: gritwise \
             blend takes off what the water dissolves",
            names.join(", ")
        )
    })
}

/// The flag of what dissolves in water.
const DISSOLVES: &str = "dissolves";

/// The powders of scrubs that dissolve in water, each once by name.
fn dissolving<'a>(scrubs: impl IntoIterator<Item = &'a Scrub>) -> Vec<&'a Component> {
    let mut named: Vec<&Component> = Vec::new();
    for component in scrubs.into_iter().flat_map(|s| s.blend.components()).filter(|c| c.powder.is_flagged(DISSOLVES)) {
        if !named.iter().any(|n| n.powder.name == component.powder.name) {
            named.push(component);
        }
    }
    named
}

/// The caution for powders that dissolve in water, of the scrubs that hold any: which figures are of which grains.
pub(super) fn of_dissolving<'a>(scrubs: impl IntoIterator<Item = &'a Scrub>, tables: &Tables) -> Vec<String> {
    let named = dissolving(scrubs);
    let texts = tables.cautions.iter().filter(|c| c.trigger == DISSOLVES && !named.is_empty());
    texts.map(|c| filled(&c.text, &named)).collect()
}

fn is_above_usual(component: &Component, load_pct: f64, face: bool) -> bool {
    let usual = component.powder.material.as_ref().and_then(|m| m.usual_top_pct(face));
    usual.is_some_and(|top| load_pct * component.mass > top * (1.0 + 1e-9))
}

fn filled(text: &str, named: &[&Component]) -> String {
    let names: Vec<&str> = named.iter().map(|c| c.powder.name.as_str()).collect();
    let values = |value: fn(&Material) -> Option<f64>| -> String {
        let all = named.iter().filter_map(|c| c.powder.material.as_ref().and_then(value));
        all.map(|v| v.to_string()).collect::<Vec<_>>().join(", ")
    };
    let mut reasons: Vec<&str> = Vec::new();
    for reason in named.iter().filter_map(|c| c.powder.material.as_ref()?.not_on_face()) {
        if !reasons.contains(&reason) {
            reasons.push(reason);
        }
    }
    text.replace("{soluble}", &values(|m| m.soluble_g_per_100ml))
        .replace("{softens}", &values(|m| m.softens_c))
        .replace("{not_on_face}", &reasons.join("; "))
        .replace("{estimates}", &estimates(named))
        .replace("{names}", &names.join(", "))
}
