//! The rub model against an independent implementation in NumPy and SciPy with more than 12 000 sizes per powder
//! (`tests/reference/model_reference.py`, written from the equations alone): index and removal within 0.1 %, groove
//! percentiles within 0.3 %, percentiles within 0.01 %.

use crate::common::{blend, numbers, powder, reference, rubbed, size_of};
use gritwise::blend::Basis;
use gritwise::rub::Partition;

fn close(what: &str, got: f64, want: f64, relative: f64, floor: f64) {
    let off = (got - want).abs();
    assert!(off <= relative * want.abs() + floor, "{what}: {got} is not {want} ({:.2e} off)", off / want.abs());
}

#[test]
fn every_case_agrees() {
    let cases = reference("model_cases.json");
    let cases = cases["cases"].as_array().unwrap();
    assert!(cases.len() >= 24);
    for case in cases {
        let name = case["name"].as_str().unwrap();
        let number = |v: &serde_json::Value, key: &str| v[key].as_f64().unwrap();
        let powders = case["powders"].as_array().unwrap().iter().map(|p| {
            let (density, hardness) = (number(p, "density_g_cm3"), number(p, "hardness_gpa"));
            let made =
                powder(p["name"].as_str().unwrap(), density, hardness, number(p, "roundness"), size_of(&p["size"]));
            (made, number(p, "parts"))
        });
        let blend = blend(powders.collect());
        let rubbed = rubbed(&blend, number(case, "load_pct"));
        let expect = &case["expect"];
        // Grains hardly wider than the gap give numbers that mean nothing; they are held to an absolute floor.
        close(&format!("{name}: index"), rubbed.index, number(expect, "index"), 1e-3, 1e-5);
        let removal = rubbed.reference().removal_um_per_m;
        close(&format!("{name}: removal"), removal, number(expect, "removal_um_per_m"), 1e-3, 1e-8);
        for (got, want) in rubbed.index_shares.iter().zip(numbers(&expect["index_share_pct"])) {
            close(&format!("{name}: share"), got * 100.0, want, 1e-3, 1e-3);
        }
        for (got, want) in rubbed.sites.iter().zip(expect["sites"].as_array().unwrap()) {
            let site = format!("{name}, {}", want["site"]);
            close(&format!("{site}: gap"), got.gap_um, number(want, "gap_um"), 1e-4, 0.0);
            close(&format!("{site}: carried"), got.carried * 100.0, number(want, "carried_pct"), 1e-3, 1e-6);
            close(&format!("{site}: g50"), got.groove_p50_um, number(want, "groove_p50_um"), 3e-3, 1e-6);
            close(&format!("{site}: g95"), got.groove_p95_um, number(want, "groove_p95_um"), 3e-3, 1e-6);
            let shared = got.partition == Partition::Shared;
            assert_eq!(shared, want["rub"] == "shared", "{site}");
        }
        for (basis, key) in [(Basis::Volume, "by_volume"), (Basis::Mass, "by_mass")] {
            for (percentile, want) in expect[key].as_object().unwrap() {
                let p: f64 = percentile.trim_start_matches('d').trim_end_matches("_um").parse().unwrap();
                let got = blend.quantile(basis, p / 100.0);
                close(&format!("{name}: {key} {percentile}"), got, want.as_f64().unwrap(), 1e-4, 0.0);
            }
        }
        for (p, q, key) in [(4, 3, "mean_4_3_um"), (3, 2, "mean_3_2_um")] {
            match (blend.moments().mean_um(p, q), expect[key].as_f64()) {
                (Some(got), Some(want)) => close(&format!("{name}: {key}"), got, want, 1e-4, 0.0),
                (got, want) => assert_eq!(got, want, "{name}: {key}"),
            }
        }
        close(&format!("{name}: density"), blend.density_g_cm3(), number(expect, "density_g_cm3"), 1e-12, 0.0);
    }
}
