//! What measuring a roundness bought: what it held of the variance before, by the range of its material, and what it holds now.

use super::draws::Drawing;
use super::inputs::{Inputs, Measurand, Measures};
use super::measuring::before_measured;
use super::sampling::Sampling;
use super::variance::{Share, share_of};
use crate::band::Judge;
use crate::blend::Scrub;
use crate::powder::Range;
use crate::tables::Tables;

/// A roundness that was measured, by what a scrub file says of its source.
#[derive(Debug, Clone, PartialEq)]
pub struct Bought {
    /// Place in the blend of the powder, or of the first that share it.
    pub powder: usize,
    /// As its material has it.
    pub before: RoundnessHeld,
    /// As it was measured.
    pub after: RoundnessHeld,
}

/// A roundness, and what it holds of the variance.
#[derive(Debug, Clone, PartialEq)]
pub struct RoundnessHeld {
    /// The value.
    pub roundness: f64,
    /// Its range.
    pub range: Range,
    /// What it holds.
    pub share: Share,
}

/// Of every powder whose roundness was measured, what that bought. `now` is what each input holds as the scrub stands.
pub(super) fn bought(
    scrub: &Scrub,
    judge: &Judge,
    tables: &Tables,
    sampling: Sampling,
    now: &[Share],
    done: &(impl Fn(u64) -> bool + Sync + Send),
) -> Vec<Bought> {
    let inputs = Inputs::new(scrub, tables, judge.model().reference_position());
    let of = |(powder, sharing): (usize, Vec<usize>)| {
        let measures = Measures::Powder(powder, Measurand::Roundness);
        let unmeasured = before_measured(scrub, &sharing)?;
        let inputs = Inputs::new(&unmeasured.scrub, tables, judge.model().reference_position());
        let share = share_of(&Drawing::new(judge, &unmeasured.scrub, inputs), measures, sampling, done)?;
        let before = RoundnessHeld { roundness: unmeasured.roundness, range: unmeasured.range, share };
        let roundness = &scrub.blend.components()[powder].powder.roundness;
        let share = now.iter().find(|s| s.measures == Some(measures))?.clone();
        Some(Bought {
            powder,
            before,
            after: RoundnessHeld { roundness: roundness.get(), range: roundness.range?, share },
        })
    };
    roundnesses(&inputs).filter_map(of).collect()
}

/// The roundnesses that are drawn: the first powder of each, and all that share it.
fn roundnesses(inputs: &Inputs) -> impl Iterator<Item = (usize, Vec<usize>)> {
    inputs.list().iter().filter_map(|input| match input.measures {
        Some(Measures::Powder(powder, Measurand::Roundness)) => Some((powder, input.powders())),
        _ => None,
    })
}

/// How many roundnesses [`bought`] looks at.
pub(super) fn count(scrub: &Scrub, inputs: &Inputs) -> usize {
    roundnesses(inputs).filter(|(_, sharing)| before_measured(scrub, sharing).is_some()).count()
}
