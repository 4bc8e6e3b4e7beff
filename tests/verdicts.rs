//! Every check of `formula`, every verdict that it can give, and the figure at which it turns, tried on both sides. Limits are read
//! from the tables where they stand, so that a change of a table breaks nothing here; what a figure comes to is worked out anew, from
//! the source named beside it. `common practice, no source` and `convention` say where there is none.

mod acids;
mod jar;
mod jars_and_packs;
mod preservatives;
mod safety;

use crate::common::{assert_close, tables};
use gritwise::formula::Check;
use gritwise::formula::CheckVerdict::{self, Caution, NotJudged, Pass, Stop};
use gritwise::formula::packing;
use jar::{Jar, jar};
use std::collections::BTreeSet;

/// A figure at which a check turns.
struct Turn {
    key: &'static str,
    what: String,
    limit: f64,
    /// How far below and above it is tried, as a share of it.
    step: f64,
    below: CheckVerdict,
    above: CheckVerdict,
    /// At the figure itself, where a file can state it.
    at: Option<CheckVerdict>,
    /// The limit that the check tells beside the graver verdict.
    told: Option<f64>,
    made: Box<dyn Fn(f64) -> Jar>,
}

impl Turn {
    fn at(self, verdict: CheckVerdict) -> Self {
        Self { at: Some(verdict), ..self }
    }

    fn within(self, step: f64) -> Self {
        Self { step, ..self }
    }

    /// The check tells this limit.
    fn told(self, limit: f64) -> Self {
        Self { told: Some(limit), ..self }
    }

    /// Tries it, and says which verdicts it reached.
    fn try_it(&self) -> [(&'static str, CheckVerdict); 2] {
        let Self { key, what, limit, step, below, above, .. } = self;
        let sides = [(limit * (1.0 - step), *below), (limit * (1.0 + step), *above)];
        for (figure, verdict) in sides {
            let check = (self.made)(figure).check(key);
            assert_eq!(check.verdict, as_dissolved(verdict, &check), "{what}, {figure} beside {limit}: {check:#?}");
            if let Some(told) = self.told.filter(|_| verdict == *below.max(above)) {
                let limit = check.limit.unwrap_or_else(|| panic!("{what}: no limit is told: {check:#?}"));
                assert_close(&format!("{what}: the limit told"), limit, told, 1e-9);
            }
        }
        if let Some(verdict) = self.at {
            let check = (self.made)(*limit).check(key);
            assert_eq!(check.verdict, as_dissolved(verdict, &check), "{what}, at {limit}: {check:#?}");
        }
        [(*key, *below), (*key, *above)]
    }
}

/// What passes is a caution where more of an acid is there, by its dose or by the law, than the water takes.
fn as_dissolved(verdict: CheckVerdict, check: &Check) -> CheckVerdict {
    let crystals = check.why.contains("crystallises and preserves nothing");
    if verdict == Pass && crystals { Caution } else { verdict }
}

/// A check that turns at a figure: what it says below and above.
fn turn(
    key: &'static str,
    what: impl Into<String>,
    limit: f64,
    [below, above]: [CheckVerdict; 2],
    made: impl Fn(f64) -> Jar + 'static,
) -> Turn {
    let (what, made) = (what.into(), Box::new(made));
    Turn { key, what, limit, step: 1e-3, below, above, at: None, told: None, made }
}

/// A scrub for which a check says something without a figure, and words of why.
struct State {
    key: &'static str,
    verdict: CheckVerdict,
    why: &'static str,
    jar: Jar,
}

fn state(key: &'static str, verdict: CheckVerdict, why: &'static str, jar: Jar) -> State {
    State { key, verdict, why, jar }
}

impl State {
    fn try_it(&self) -> (&'static str, CheckVerdict) {
        let check = self.jar.check(self.key);
        assert_eq!(check.verdict, self.verdict, "{}: {check:#?}", self.why);
        assert!(check.why.contains(self.why), "no {:?} in {check:#?}", self.why);
        (self.key, self.verdict)
    }
}

/// Every check with every verdict that it can give.
const CAN: [(&str, &[CheckVerdict]); 18] = [
    ("total", &[Pass, NotJudged, Stop]),
    ("acid-active", &[Pass, NotJudged, Caution, Stop]),
    ("acid-free", &[Pass, NotJudged, Caution, Stop]),
    ("ph-window", &[Pass, NotJudged, Caution, Stop]),
    ("preservative", &[Pass, NotJudged, Caution, Stop]),
    ("cool-down", &[Pass, NotJudged, Caution, Stop]),
    ("soluble", &[Pass, NotJudged, Caution, Stop]),
    ("suspension", &[Pass, NotJudged, Caution, Stop]),
    ("solids", &[Pass, NotJudged, Caution, Stop]),
    ("filling", &[Pass, NotJudged, Caution, Stop]),
    ("silica-dust", &[Pass, NotJudged, Caution]),
    ("allergens", &[Pass, NotJudged, Caution, Stop]),
    ("microbes", &[Pass, NotJudged, Caution, Stop]),
    ("microbeads", &[Pass, NotJudged, Caution, Stop]),
    ("double-exfoliation", &[Pass, NotJudged, Caution]),
    ("annexes", &[Pass, NotJudged, Caution, Stop]),
    ("traces", &[Pass, NotJudged]),
    ("frequency", &[Pass, NotJudged, Caution]),
];

#[test]
fn every_verdict_can_be_reached() {
    let turns = [acids::turns(), preservatives::turns(), jars_and_packs::turns(), safety::turns()];
    let states = [acids::states(), preservatives::states(), jars_and_packs::states(), safety::states()];
    let mut reached = BTreeSet::new();
    reached.extend(turns.iter().flatten().flat_map(Turn::try_it));
    reached.extend(states.iter().flatten().map(State::try_it));
    let all: BTreeSet<(&str, CheckVerdict)> =
        CAN.iter().flat_map(|(key, can)| can.iter().map(|v| (*key, *v))).collect();
    assert_eq!(reached, all);
    let keys: Vec<&str> = jar().checks().iter().map(|c| c.key).collect();
    assert_eq!(keys, CAN.map(|(key, _)| key), "a check that this table lacks");
}

/// A file of powders alone is judged by none of the checks that need the rest.
#[test]
fn powders_alone_are_not_judged() {
    let alone = jar().without_phases();
    for check in alone.checks() {
        let of_powders = ["soluble", "silica-dust"].contains(&check.key);
        assert_eq!(check.verdict > Pass, !of_powders || check.key == "silica-dust", "{check:#?}");
    }
}

/// Calcium carbonate takes two protons, sodium bicarbonate one: what is used up of 2 % of lactic acid, by molar masses (worked by hand).
#[test]
fn carbonates_take_their_protons() {
    for (inci, protons, mw) in [("Calcium Carbonate", 2.0, 100.09), ("Sodium Bicarbonate", 1.0, 84.007)] {
        let acid = jar().acid("key = \"lactic\"\nfinal_ph = 4").with("Lactic Acid", 2.0, "functions = [\"acid\"]");
        let check = acid.with(inci, 0.5, "").check("acid-free");
        assert_close(inci, check.value.unwrap(), 100.0 * protons * 0.5 / mw / (2.0 / 90.08), 1e-3);
    }
}

/// Intrinsic viscosity 2.5 of spheres (Einstein 1911) and 3.5 of angular grains (from memory), by volume and between them by roundness
/// as a straight line (convention); Krieger and Dougherty 1959 for how far the grains thicken the base.
#[test]
fn grains_thicken_by_their_roundness() {
    let constants = &tables().formula.constants;
    let (sphere, angular) = (constants.intrinsic_sphere.value, constants.intrinsic_angular.value);
    let (round, sharp) = (constants.roundness_sphere.value, constants.roundness_angular.value);
    let of = |jar: &Jar| packing::intrinsic_viscosity(&jar.formula().scrub().blend, constants);
    for (roundness, wanted) in [
        (round, sphere),
        (1.0, sphere),
        (sharp, angular),
        (0.5 * sharp, angular),
        (0.5 * (round + sharp), 0.5 * (sphere + angular)),
        (sharp + 0.25 * (round - sharp), angular + 0.25 * (sphere - angular)),
    ] {
        assert_close(&format!("roundness {roundness}"), of(&jar().round(roundness)), wanted, 1e-9);
    }
    // Equal masses of 2.35 and 0.93 g/cm³: the lighter takes 2.35/3.28 of the volume.
    let two = jar().round(sharp).and_powder("material = \"jojoba-wax\"\nroundness = 0.9");
    let light = 2.35 / (2.35 + 0.93);
    assert_close("two powders", of(&two), light * sphere + (1.0 - light) * angular, 1e-9);
    for roundness in [sharp, 0.5, round] {
        let jar = jar().round(roundness).base("density_g_cm3 = 1.0").load(40.0);
        let (share, densest) = (jar.solids_share(1.0), packing::of_blend(&jar.formula().scrub().blend, constants));
        let check = jar.check("solids");
        let told = check.why.split("thicken the base ").nth(1).and_then(|s| s.split(' ').next()).unwrap();
        let wanted = (1.0 - share / densest).powf(-of(&jar) * densest);
        assert_close("thicker, three digits", told.parse().unwrap(), wanted, 6e-3);
    }
}
