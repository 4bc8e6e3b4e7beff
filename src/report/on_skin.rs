//! What the jar and the rub dissolve of a scrub's grains, in words and as keys of `--json`.

use super::layout::significant;
use crate::formula::{OnSkin, OverTheRub};
use serde::Serialize;

/// The index over the whole rub, as grains dissolve. The field names are the keys of `--json`.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct OverTheRubPart {
    /// With all constants of dissolution as stated.
    pub value: f64,
    /// 5 % of the draws of these constants are lower.
    pub low: f64,
    /// 5 % are higher.
    pub high: f64,
}

impl From<OverTheRub> for OverTheRubPart {
    fn from(OverTheRub { value, low, high }: OverTheRub) -> Self {
        Self { value, low, high }
    }
}

impl OverTheRubPart {
    /// Of a scrub, where any of its grains dissolve.
    pub(super) fn of(on_skin: &OnSkin) -> Option<Self> {
        on_skin.over_the_rub.map(Self::from)
    }

    /// "42.0 (15.2 to 120)".
    pub(super) fn figure(&self) -> String {
        let [value, low, high] = [self.value, self.low, self.high].map(|v| significant(v, 3));
        format!("{value} ({low} to {high})")
    }

    /// The same in a sentence without a stop.
    pub(super) fn sentence(&self) -> String {
        format!("Index over the whole rub, as grains dissolve: {}", self.figure())
    }
}

/// What was assumed of the jar, and what it takes; nothing where no powder dissolves.
pub(super) fn in_the_jar(on_skin: &OnSkin) -> Vec<String> {
    let weighed = &on_skin.weighed;
    if !on_skin.dissolves {
        return Vec::new();
    }
    let Some(water_pct) = weighed.water_pct else {
        return vec![
            "the file tells nothing of the water in the jar ([[phase]]): nothing is taken to have dissolved in it"
                .to_owned(),
        ];
    };
    let three = |v: f64| significant(v, 3);
    let arrived = on_skin.grains.as_ref().map(|grains| grains.blend.components());
    let powders = weighed.scrub.blend.components().iter().zip(&on_skin.jar).enumerate();
    let powders = powders.filter(|(_, (_, jar))| jar.dissolved_pct > 0.0);
    let said = powders.map(|(i, (c, jar))| {
        let rounder = arrived.and_then(|a| a.get(i)).map_or(String::new(), |a| {
            let [from, to] = [c.powder.roundness.get(), a.powder.roundness.get()].map(three);
            format!(" and rounder (roundness {from} to {to})")
        });
        let left = match jar.solid_pct > 0.0 {
            true => format!("{} % stays, its grains {} µm smaller{rounder}", three(jar.solid_pct), three(jar.loss_um)),
            false => "no grain of it is left".to_owned(),
        };
        format!(
            "{}: of {} % of the scrub {} % dissolves in the jar ({} % water), {left}",
            c.powder.name,
            three(jar.solid_pct + jar.dissolved_pct),
            three(jar.dissolved_pct),
            three(water_pct)
        )
    });
    said.collect()
}

/// What a command says that varies the grains as they reach the skin; `None` where the jar takes nothing.
pub(crate) fn not_followed(on_skin: &OnSkin) -> Option<String> {
    on_skin.jar_dissolves().then(|| {
        let gone: f64 = on_skin.jar.iter().map(|j| j.dissolved_pct).sum();
        format!(
            "the grains are those that reach the skin: {} % of the scrub has dissolved in the jar, which sizes, parts and load are \
             less by; what else the jar would dissolve as they change is not followed",
            significant(gone, 3)
        )
    })
}
