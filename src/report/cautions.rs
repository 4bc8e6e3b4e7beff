//! Which caution texts a scrub calls for. The texts are data (`grading-tables/cautions.csv`).

use crate::band::{Assessment, BEYOND, Judge};
use crate::blend::{Component, Scrub};
use crate::tables::{Material, REFERENCE_SITE, Tables};

/// The cautions to print with a scrub, in the order of the table.
pub(super) fn cautions(scrub: &Scrub, assessment: &Assessment, judge: &Judge, tables: &Tables) -> Vec<String> {
    let band = judge.bands().get(assessment.verdict.rank);
    let for_face = band.is_some_and(|b| b.site == REFERENCE_SITE);
    let components = scrub.blend.components();
    let flag_triggers = |m: &Material, trigger: &str| m.flags.split_whitespace().any(|f| f == trigger);
    let mut texts = Vec::new();
    for caution in &tables.cautions {
        let trigger = caution.trigger.as_str();
        let named: Vec<&Component> = components
            .iter()
            .filter(|c| {
                let powder = &c.powder;
                match trigger {
                    "mohs-plant" => {
                        powder.mohs.is_some() && powder.material.as_ref().is_some_and(Material::is_soft_organic)
                    }
                    "above-usual" => is_above_usual(c, scrub.load.get(), for_face),
                    "defaults" => !powder.from_table.is_empty(),
                    "open-top" => powder.size.open_above > 0.0,
                    "range-only" => powder.size.classes.is_empty(),
                    "polymer-name" => names_a_polymer(&powder.name, tables),
                    _ => powder.material.as_ref().is_some_and(|m| flag_triggers(m, trigger)),
                }
            })
            .collect();
        let holds = match trigger {
            "always" => true,
            "face" => for_face,
            "not-face" => !for_face,
            "beyond" => judge.band_name(assessment.verdict.rank) == BEYOND,
            _ => !named.is_empty(),
        };
        if holds {
            texts.push(filled(&caution.text, &named));
        }
    }
    texts
}

fn is_above_usual(component: &Component, load_pct: f64, face: bool) -> bool {
    let usual = component.powder.material.as_ref().and_then(|m| m.usual_top_pct(face));
    usual.is_some_and(|top| load_pct * component.mass > top * (1.0 + 1e-9))
}

/// Whether a powder's name holds the name of a forbidden material: someone may have typed the properties by hand.
fn names_a_polymer(name: &str, tables: &Tables) -> bool {
    let words = |text: &str| -> Vec<String> {
        text.to_lowercase().split(|c: char| !c.is_alphanumeric()).map(str::to_owned).collect()
    };
    let name = words(name);
    let forbidden = tables.materials.iter().filter(|m| !m.refused_by.is_empty());
    forbidden.flat_map(|m| [&m.key, &m.inci]).any(|known| words(known).iter().all(|w| name.contains(w)))
}

fn filled(text: &str, named: &[&Component]) -> String {
    let names: Vec<&str> = named.iter().map(|c| c.powder.name.as_str()).collect();
    let values = |value: fn(&Material) -> Option<f64>| -> String {
        let all = named.iter().filter_map(|c| c.powder.material.as_ref().and_then(value));
        all.map(|v| v.to_string()).collect::<Vec<_>>().join(", ")
    };
    text.replace("{soluble}", &values(|m| m.soluble_g_per_100ml))
        .replace("{softens}", &values(|m| m.softens_c))
        .replace("{names}", &names.join(", "))
}
