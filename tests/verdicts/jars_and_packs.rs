//! `total`, `soluble`, `suspension`, `solids`, `filling`, `frequency`: the scrub in its jar, through its opening, and in use.

use super::jar::{D50_UM, GSD, Jar, PUMICE, d99_um, jar, load_of_share, oil};
use super::{State, Turn, state, turn};
use crate::common::tables;
use gritwise::formula::CheckVerdict::{self, Caution, NotJudged, Pass, Stop};
use gritwise::formula::packing;
use gritwise::tables::{FormulaConstants, Known};

pub fn turns() -> Vec<Turn> {
    let all = [sum(), of_solution(), of_yield_stress(), of_time(), of_room(), of_opening(), of_container(), of_use()];
    all.into_iter().flatten().collect()
}

fn constants() -> &'static FormulaConstants<Known> {
    &tables().formula.constants
}

fn sum() -> Vec<Turn> {
    let off = constants().total_tolerance_pct.value;
    vec![turn("total", "short of 100 %", off, [Pass, Stop], |off| jar().rest(95.0 - off)).told(100.0)]
}

/// Share gone in the jar (convention): water takes what the handbook has for 100 g of it.
fn of_solution() -> Vec<Turn> {
    let limit = constants().dissolved_pct.value;
    let soluble = tables().materials.iter().filter(|m| m.refused_by.is_none());
    let soluble = soluble.filter_map(|m| Some((m.key.clone(), m.soluble_g_per_100ml.filter(|g| *g > 1.0)?)));
    let of = |(key, grams): (String, f64)| {
        let powder = format!("material = \"{key}\"");
        let made = move |water_pct| oil().load(2.0).powder(powder.clone()).with("Aqua", water_pct, "");
        // Water that takes 2 % of the scrub whole.
        let whole = 2.0 * 100.0 / grams;
        let some =
            turn("soluble", format!("{key} in a little water"), 0.01 * limit * whole, [Pass, Caution], made.clone());
        [some.told(limit), turn("soluble", format!("{key} in much water"), whole, [Caution, Stop], made).told(limit)]
    };
    let sugar = tables().material("sugar").and_then(|m| m.soluble_g_per_100ml).unwrap();
    let listed = turn("soluble", "sugar among the ingredients", 0.1 * sugar, [Pass, Caution], |pct| {
        oil().with("Aqua", 10.0, "").with("Sucrose", pct, "")
    });
    soluble.flat_map(of).chain([listed]).collect()
}

/// d |drho| g of the largest grains in water, Pa: what yield stresses are shares of.
fn pull() -> f64 {
    1e-6 * d99_um() * 1000.0 * (PUMICE - 1.0) * constants().gravity_m_s2.value
}

/// What holds grains in theory (Beris and others 1985: 0.143/3 of the pull) and in practice (Tabuteau 2007, Atapattu 1995, from
/// memory); by a rheometer, a bead that just stays, and a slump (Pashias and others 1996).
fn of_yield_stress() -> Vec<Turn> {
    let theory = constants().beris_number.value / 3.0;
    let practice = &constants().practical_yield;
    let base = |line: String| jar().base("density_g_cm3 = 1.0").base(line);
    let stated = move |pa: f64| base(format!("yield_stress_pa = {pa:?}"));
    let bead = move |mm: f64| base(format!("bead = {{ mm = {mm:?}, density_g_cm3 = 2.5 }}"));
    // Of a bead of 1 mm and 2.5 g/cm³.
    let bead_pull = 1e-3 * 1500.0 * constants().gravity_m_s2.value;
    // A cylinder of 5 mm slumps so far at a yield stress: s/H = 1 - 2t (1 - ln 2t).
    let slump_mm = |pa: f64| {
        let twice: f64 = 2.0 * pa / (1000.0 * constants().gravity_m_s2.value * 5e-3);
        5.0 * (1.0 - twice * (1.0 - twice.ln()))
    };
    let slump = move |mm: f64| base(format!("slump = {{ height_mm = 5.0, slump_mm = {mm:?} }}"));
    let (least, enough) = (theory * pull(), practice.value * pull());
    vec![
        turn("suspension", "theory", least, [Stop, Caution], stated).told(least),
        turn("suspension", "practice", enough, [Caution, Pass], stated).told(enough),
        turn("suspension", "a light bead", least / (practice.high * bead_pull), [Stop, Caution], bead),
        turn("suspension", "a bead", enough / (theory * bead_pull), [Caution, Pass], bead),
        // The slump may be off by 20 % either way.
        turn("suspension", "slump", slump_mm(1.2 * enough), [Pass, Caution], slump).within(1e-4),
        turn("suspension", "far slump", slump_mm(least / 1.2), [Caution, Stop], slump).within(1e-4),
    ]
}

/// Way of the grains, mm a day, at a viscosity: Stokes, slowed by the others to the power 4.65 (Richardson and Zaki 1954).
fn mm_a_day(viscosity: f64) -> f64 {
    let (d, excess) = (1e-6 * d99_um(), 1000.0 * (PUMICE - 1.0));
    let stokes = d * d * excess * constants().gravity_m_s2.value / (18.0 * viscosity);
    1000.0 * 86_400.0 * stokes * (1.0 - jar().solids_share(1.0)).powf(4.65)
}

/// Way that grains may go, and the time for it, where nothing holds them (conventions).
fn of_time() -> Vec<Turn> {
    let (way, days) = (constants().settled_mm.value, constants().shelf_days.value);
    let thick = |viscosity: f64| jar().base(format!("density_g_cm3 = 1.0\nviscosity_pa_s = {viscosity:?}"));
    let shelf = way / mm_a_day(1e5);
    vec![
        turn("suspension", "shelf_days", shelf, [Pass, Stop], move |days| {
            thick(1e5).fill(format!("shelf_days = {days:?}"))
        })
        .told(way),
        turn("suspension", "viscosity over the usual time", mm_a_day(1.0) * days / way, [Stop, Pass], thick).told(way),
    ]
}

/// Densest packing of the grains of pumice.
fn densest() -> f64 {
    packing::of_blend(&jar().formula().scrub().blend, constants())
}

/// Shares of the densest packing from which a scrub is stiff, flows no more, or is a bed (conventions).
fn of_room() -> Vec<Turn> {
    let (stiff, full) = (constants().stiff_share.value * densest(), constants().full_share.value * densest());
    let bed = constants().bed_share.value * constants().loose_share.value * densest();
    let made = |share: f64| jar().base("density_g_cm3 = 1.0").load(load_of_share(share, 1.0));
    vec![
        turn("solids", "stiff", stiff, [Pass, Caution], made).told(100.0 * stiff),
        turn("solids", "too dry to flow", full, [Caution, Stop], made).told(100.0 * full),
        turn("suspension", "a bed of grains", bed, [Stop, Caution], move |share| {
            made(share).base("viscosity_pa_s = 0.06")
        }),
    ]
}

/// Bridging of an opening: rare from 5 times D99 of spheres (Zuriguel 2005), 6 of angular grains (from memory), sure below 3
/// (estimate); jars from 20 % of solids (common practice, no source).
fn of_opening() -> Vec<Turn> {
    let c = constants();
    let (clogs, round, angular) = (c.clogging_ratio.value, c.orifice_ratio.value, c.orifice_ratio_angular.value);
    let packed =
        |jar: Jar, ratio: f64| jar.fill(format!("container_ml = 100\norifice_mm = {:?}", 1e-3 * ratio * d99_um()));
    let (between, half) = (0.5 * (round + angular), 0.5 * (c.roundness_sphere.value + c.roundness_angular.value));
    vec![
        turn("filling", "it clogs", clogs, [Stop, Caution], move |ratio| packed(jar(), ratio)).told(clogs),
        turn("filling", "angular grains", angular, [Caution, Pass], move |ratio| packed(jar(), ratio)).told(angular),
        turn("filling", "round grains", round, [Caution, Pass], move |ratio| packed(jar().round(0.9), ratio))
            .told(round),
        turn("filling", "what counts as round", half, [Caution, Pass], move |r| packed(jar().round(r), between)),
        turn("filling", "many solids", c.orifice_solids_pct.value, [Pass, Caution], move |pct| {
            packed(jar().load(pct), 2.0 * angular)
        })
        .at(Caution),
    ]
}

/// Room above the fill (convention), and what goes in at all, by volume and by mass.
fn of_container() -> Vec<Turn> {
    let room = 100.0 - constants().headspace_pct.value;
    // 5 g of pumice and 95 g of a base of 1 g/cm³ to 100 g.
    let density = 100.0 / (5.0 / PUMICE + 95.0);
    let packed = |key: &'static str, scale: f64| {
        move |ml: f64| {
            let line = format!("container_ml = 100\njar = true\n{key} = {:?}", scale * ml);
            jar().base("density_g_cm3 = 1.0").fill(line)
        }
    };
    let of = |key, scale| {
        [
            turn("filling", format!("{key}, headspace"), room, [Pass, Caution], packed(key, scale)),
            turn("filling", format!("{key}, to the brim"), 100.0, [Caution, Stop], packed(key, scale)),
        ]
    };
    [of("net_ml", 1.0), of("net_g", density)].into_iter().flatten().collect()
}

/// A scrub that is none for the face.
fn harsh() -> Jar {
    jar().load(10.0).powder("material = \"pumice\"\nsize = { d50_um = 300, gsd = 1.4 }")
}

fn mild() -> Jar {
    jar().powder("material = \"rice-bran\"\nsize = { d50_um = 60, gsd = 1.4 }")
}

/// How often it is used: common practice, no source.
fn of_use() -> Vec<Turn> {
    let c = constants();
    let (face, body, acid) = (c.per_week_face.value, c.per_week_body.value, c.per_week_acid.value);
    let sour =
        |pct: f64| harsh().acid("key = \"lactic\"\nfinal_ph = 4").with("Lactic Acid", pct, "functions = [\"acid\"]");
    let often = |jar: Jar, times: f64| jar.usage(format!("per_week = {times:?}"));
    let of = |what: &str, most: f64, jar: Jar| {
        turn("frequency", what, most, [Pass, Caution], move |times| often(jar.clone(), times)).at(Pass).told(most)
    };
    let between = 0.5 * (acid + body);
    vec![
        of("the face", face, mild()),
        of("the body", body, harsh()),
        of("the body with acid", acid, sour(2.0)),
        turn("frequency", "acid that counts", c.aha_pct.value, [Pass, Caution], move |pct| often(sour(pct), between)),
    ]
}

pub fn states() -> Vec<State> {
    let of_kind = |key, verdict: CheckVerdict, why, kind: &str| {
        state(key, verdict, why, oil().usage(format!("kind = \"{kind}\"")))
    };
    let opening = || jar().fill("container_ml = 100\njar = true");
    let gone = || jar().load(2.0).powder("material = \"sugar\"").base("density_g_cm3 = 1.0");
    let coarse = format!("material = \"pumice\"\nsize = {{ d50_um = {:?}, gsd = {GSD:?} }}", 15.0 * D50_UM);
    vec![
        state("total", Pass, "takes what is left, 95 %", jar()),
        state("total", NotJudged, "lists no ingredients", jar().without_phases()),
        state("soluble", Pass, "no powder dissolves", jar()),
        state("soluble", NotJudged, "is not known", jar().powder(super::safety::UNKNOWN)),
        state("soluble", NotJudged, "add [[phase]]", gone().without_phases()),
        state("suspension", NotJudged, "give density_g_cm3", jar()),
        state("suspension", NotJudged, "give yield_stress_pa", jar().base("density_g_cm3 = 1.0")),
        state("suspension", Pass, "no solid grains", gone()),
        of_kind("suspension", Pass, "nothing goes down", "dry"),
        of_kind("suspension", Pass, "a balm", "balm"),
        of_kind("solids", Pass, "need not flow", "dry"),
        state("suspension", NotJudged, "leave out what does not hold", jar().usage("kind = \"dry\"")),
        state("solids", Pass, "no solid grains", gone()),
        state("solids", NotJudged, "give density_g_cm3", jar()),
        state("solids", Caution, "listed as an ingredient", jar().base("density_g_cm3 = 1.0").with("Pumice", 2.0, "")),
        state("filling", Pass, "no opening that grains could clog", opening()),
        state("filling", NotJudged, "give orifice_mm", jar().fill("container_ml = 100")),
        state("filling", NotJudged, "give container_ml", jar().fill("jar = true")),
        state("filling", NotJudged, "so that net_g has a volume", opening().fill("net_g = 50")),
        state("frequency", NotJudged, "give per_week", jar()),
        state("frequency", Pass, "on the face", mild().usage("per_week = 1")),
        state("frequency", Pass, "on the body", harsh().usage("per_week = 1")),
        state("frequency", Caution, "harsher than every band", jar().load(20.0).powder(coarse).usage("per_week = 1")),
    ]
}
