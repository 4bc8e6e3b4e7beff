//! The lever of a sieve: what a scrub becomes when one of its powders goes through a sieve first, with as much weighed in of what is
//! kept. Sieves come in openings, so that nothing is solved: the coarsest one counts that reaches the next milder band.

use super::{Assessment, Judge};
use crate::blend::Scrub;
use crate::rub::Partition;
use crate::size::{Sieves, worth_sieving};

/// A powder sieved, so that the scrub is milder.
#[derive(Debug, Clone, PartialEq)]
pub struct Sieving {
    /// Place of the powder in the blend.
    pub powder: usize,
    /// The opening that it goes through, µm.
    pub through_um: f64,
    /// Its D99 before, µm.
    pub d99_um: f64,
    /// Share of the powder that stays on the sieve, 0..1.
    pub off: f64,
    /// Rank of the band then.
    pub rank: usize,
}

/// The coarsest of these openings, µm and falling, through which the powder `place` brings the scrub into the band of rank `next` or a milder one.
pub(super) fn sieving(
    judge: &Judge,
    (scrub, now): (&Scrub, &Assessment),
    place: usize,
    openings_um: &[f64],
    next: usize,
) -> Option<Sieving> {
    let size = &scrub.blend.components()[place].powder.size;
    let d = &size.distribution;
    let mut falling = worth_sieving(openings_um, d);
    let milder = |(um, off): (f64, f64)| {
        let sieved = size.sieved(Sieves { through_um: Some(um), over_um: None }).ok()?;
        let judged = judge.assess(&Scrub { blend: scrub.blend.with_powder_size(place, sieved), ..scrub.clone() });
        (judged.verdict.rank <= next).then_some((um, off, judged))
    };
    // Where the finest one does not do, coarser ones do even less: most scrubs have no such lever, and every edit of the page asks for it.
    let finest = milder(falling.pop()?)?;
    let (through_um, off, judged) = falling.into_iter().find_map(milder).unwrap_or(finest);
    let there = Sieving { powder: place, through_um, d99_um: d.quantile(0.99), off, rank: judged.verdict.rank };
    [&judged, now].iter().all(|a| is_shared(judge, a, next)).then_some(there)
}

/// Whether film and skin share the rubs that a band hangs on.
fn is_shared(judge: &Judge, judged: &Assessment, rank: usize) -> bool {
    let (reference, site) = (judge.model().reference_position(), judge.site_of(rank));
    [reference, site].iter().all(|s| judged.rubbed.sites[*s].partition == Partition::Shared)
}
