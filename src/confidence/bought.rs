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
    /// Place of the powder in the blend.
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
    let of = |powder: usize| {
        let measures = Measures::Powder(powder, Measurand::Roundness);
        let unmeasured = before_measured(scrub, powder)?;
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
    (0..scrub.blend.components().len()).filter_map(of).collect()
}

/// How many roundnesses [`bought`] looks at.
pub(super) fn count(scrub: &Scrub) -> usize {
    (0..scrub.blend.components().len()).filter(|i| before_measured(scrub, *i).is_some()).count()
}
