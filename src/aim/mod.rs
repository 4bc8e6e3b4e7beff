//! From a target to a blend: the powders of a shelf, their shares solved as linear programs over every powder set, and every
//! blend verified with the full model. `statement` says what is asked, `solve` searches, `mend` rounds and explains, `answer` puts it together.
//!
//! # The search for a blend
//! In a shared rub every target is linear in the shares of the scrub. Grain-borne, every row is linear at a *given* gap, and
//! each coefficient moves one way with the gap. So `region` cuts the search into boxes: each way to meet the band target, each
//! site shared or grain-borne with its gap between two values (and, to explain a conflict, each target missed by between two
//! amounts, since a limit that gives way moves its row one way too). `frame` writes for a box the rows that whatever lies in the
//! box meets; as the box narrows they become exact. `node` keeps, within a region, which powders may still be used: clusters, of
//! each at most so many. `relax` makes a program of both. `gritwise_kernel::simplex` has `microlp` solve it and reads the bound
//! from dual prices, so that rounding can only make it looser. The crate gives a vertex but neither prices, nor a proof that
//! there is no point, nor a start from a basis: so it is given the columns of the parent's basis, prices come from the vertex
//! (or, where several bases meet, from the dual program), proofs from the dual program, and columns that they favour are taken
//! in until there are none. A simplex method of our own, which this replaced, was four to fourteen times faster on the hard
//! questions; the 10 s are kept without it. `clarabel`, which gives no vertex, took ten times as long again. The closest curve
//! is a point of least norm in a hull whose corners linear programs give (`gritwise_kernel::nearest`).
//!
//! `search` takes the part with the least bound first, in chunks of fixed size, so that the number of cores does not show. What
//! the relaxation takes and a blend may not is cut: a cluster that it mixes is parted between the two powders it takes most of,
//! along the line through both in the space of the rows that count; a powder below its least share is decided; else the blend is
//! held against the full model, and the box cut where the two differ. Cutting powder by powder instead was far slower: half of a
//! catalogue is told to be no use by one program. `fewest-powders` asks for one powder, then two, and so on. Further blends are
//! what is left when a set and all that holds it is taken out. So the optimum, and that there is none, are proven over all rubs
//! (shared 1e-9, grain-borne 1e-5 of the objective), unless the search is stopped; then the bound says what is left.
//!
//! A curve that is nearly met, and narrow limits that next to nothing meets, are where such parts overlap most: of 500 powders a curve
//! met within 0.03 points was not proven the nearest in 90 s, its bound staying at 0. There `screen` looks at the hull of every set
//! (20 million of three powders in a fifth of a second) and leaves a few for programs; the proof then takes two to five seconds. Where many
//! sets are left or take longer than the search did, the search goes on as it was.
//!
//! Where there is none, only targets whose rows are in the proofs can be part of the conflict (`conflict`); a deletion filter
//! makes the set irreducible, and least misses are found by the same search, by the full model's figures. `prices` reads from
//! the duals what the best blend pays for and solves again with that limit wider. `rounding` is the same program in whole steps.
//! What a band further asks of a blend becomes a row in `Builder::clause` of `frame` and in `clause_rows` of `rows` (there at
//! single gaps, for a blend that the full model finds just beyond a limit and that is solved again).
//!
//! How sure a band is cannot be a row: it is a share of draws. `likely` stands above the search and makes it again with narrower limits
//! (tightening, not scenario rows: those would be as many as draws, and grain-borne ones not linear). `tests/aim_likely.rs` holds it
//! against draws of other seeds and against a grid.
//!
//! `tests/aim.rs` holds 200 random problems against grids, ten against SciPy (`tests/reference/aim_reference.py`), and loads,
//! conflicts and limits that meet against brute force.

mod answer;
mod likely;
mod mend;
mod solve;
mod statement;

pub use answer::{AimError, AimSolution, Request};
pub use likely::{Likely, likely_blends};
pub use mend::conflict::{Conflict, Conflicting};
pub use mend::frontier::{FrontierPoint, frontier};
pub use mend::prices::{Price, Wider, prices};
pub use solve::program::SharedProgram;
pub use solve::search::{MOST_PARTS, Progress, Watch};
pub use statement::found::{Found, Rounding};
pub use statement::target::{
    Aim, BandAim, FREE_LOAD_PCT, Goal, IndexAim, MOST_POWDERS, PassingLimit, ScoreAim, Target, TargetCurve,
};

/// Aims over an invented shelf, for unit tests of the search.
#[cfg(test)]
mod invented {
    use super::Aim;
    use crate::band::Judge;
    use crate::blend::{Blend, Scrub};
    use crate::files;
    use crate::tables::Tables;
    use crate::units::{LoadPercent, Parts};
    use std::fs;
    use tempfile::TempDir;

    /// An aim at blends of olive stone of these medians (µm) and prices, `A` and on; the rest as an aim file has it.
    pub fn aim(powders: &[(f64, f64)], rest: &str) -> (Aim, Judge) {
        let tables = Tables::built_in().unwrap();
        let judge = Judge::new(&tables).unwrap();
        let folder = TempDir::new().unwrap();
        let powder = |((d50, price), name): (&(f64, f64), char)| {
            format!(
                "[[powder]]\nname = \"{name}\"\nmaterial = \"olive-stone\"\nsize = {{ d50_um = {d50}, gsd = 1.3 }}\nprice_per_kg = {price}\n"
            )
        };
        fs::write(folder.path().join("shelf.toml"), powders.iter().zip('A'..).map(powder).collect::<String>()).unwrap();
        let path = folder.path().join("aim.toml");
        fs::write(&path, format!("[aim]\nname = \"Test\"\nshelf = \"shelf.toml\"\n{rest}\n")).unwrap();
        (files::read_aim(&path, &tables, &judge).unwrap(), judge)
    }

    /// The scrub of so many % of each powder.
    pub fn scrub(aim: &Aim, pct: &[f64]) -> Scrub {
        let powders = aim.shelf.iter().zip(pct).map(|(s, p)| (s.powder.clone(), Parts::new(*p).unwrap()));
        let load = LoadPercent::new(pct.iter().sum()).unwrap();
        Scrub { name: "test".into(), load, load_range: None, blend: Blend::new(powders.collect()).unwrap() }
    }
}
