//! What the jar and the rub dissolve of a scrub's grains, in words.

use crate::formula::{OnSkin, OverTheRub};
use crate::numerics::written::{ranged, three};

/// The index over the whole rub with its range: "42.0 (15.2 to 120)".
pub(super) fn figure(OverTheRub { value, low, high }: OverTheRub) -> String {
    ranged(value, low, high)
}

/// The same in a sentence without a stop.
pub(super) fn over_the_rub(over: OverTheRub) -> String {
    format!("Index over the whole rub, as grains dissolve: {}", figure(over))
}

/// Why the index is not that of the grains as they arrive, which is given; nothing where it is.
pub(super) fn graver_later(at_first: Option<f64>) -> Option<String> {
    at_first.map(|index| {
        format!(
            "Of each figure the graver counts: as the grains arrive on the skin (index {}), or of what is left when those that dissolve, which \
             carry load at first, are gone",
            three(index)
        )
    })
}

/// What was assumed of the jar, and what it takes; nothing where no powder dissolves.
pub(super) fn in_the_jar(on_skin: &OnSkin) -> Vec<String> {
    let weighed = &on_skin.weighed;
    if !on_skin.dissolves {
        return Vec::new();
    }
    let estimated = on_skin.estimated.iter().map(|powder| {
        format!(
            "{powder}: its material has no row in solutes.csv: how it dissolves in the rub is an estimate by the jar"
        )
    });
    let Some(water_pct) = weighed.water_pct else {
        let untold =
            "the file tells nothing of the water in the jar ([[phase]]): nothing is taken to have dissolved in it";
        return std::iter::once(untold.to_owned()).chain(estimated).collect();
    };
    let arrived = on_skin.grains.as_ref().map(|grains| grains.blend.components());
    let powders = weighed.scrub.blend.components().iter().zip(&on_skin.jar).enumerate();
    let powders = powders.filter(|(_, (_, jar))| jar.dissolved_pct > 0.0);
    let said = powders.map(|(i, (c, jar))| {
        let rounder = arrived.and_then(|a| a.get(i)).map_or(String::new(), |a| {
            let [from, to] = [c.powder.roundness.get(), a.powder.roundness.get()].map(three);
            format!(" and rounder (roundness {from} to {to})")
        });
        let [stays, loss] = [jar.solid_pct, jar.loss_um].map(three);
        let left = if jar.solid_pct > 0.0 {
            format!("{stays} % stays, its grains {loss} µm smaller{rounder}")
        } else {
            "no grain of it is left".to_owned()
        };
        let [all, gone, water] = [jar.solid_pct + jar.dissolved_pct, jar.dissolved_pct, water_pct].map(three);
        format!("{}: of {all} % of the scrub {gone} % dissolves in the jar ({water} % water), {left}", c.powder.name)
    });
    said.chain(estimated).collect()
}
