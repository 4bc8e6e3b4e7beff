//! Sieve and grit tables against the standards they come from, and what a size stated by them resolves to.

use crate::common::{assert_close, tables, um};
use gritwise::size::spec::{SizeSpec, Tails};
use gritwise::size::standards::MeshSeries;
use gritwise::size::{Class, SizeDistribution};
use std::collections::BTreeMap;

/// The rows of a built-in table, each a map from column to cell.
fn rows(name: &str) -> Vec<BTreeMap<String, String>> {
    let (header, rows) = tables().file(name).unwrap().cells().unwrap();
    rows.into_iter().map(|(_, cells)| header.iter().cloned().zip(cells).collect()).collect()
}

fn number(row: &BTreeMap<String, String>, column: &str) -> f64 {
    row[column].parse().unwrap()
}

/// The distribution of a grade, with tails (undersize and oversize, %) for ranges.
fn resolved(grade: &str, tails: (f64, f64)) -> SizeDistribution {
    let tails = Tails { undersize_pct: tails.0, oversize_pct: tails.1, stated: [false; 2] };
    SizeSpec::parse(grade).unwrap().resolve(&tables().standards, tails).unwrap().distribution
}

/// Percentiles (percent finer, µm) that a grade must resolve to.
fn assert_percentiles(grade: &str, source: &str, tails: (f64, f64), wanted: &[(f64, f64)]) {
    let d = resolved(grade, tails);
    for &(percent, size) in wanted {
        assert_close(&format!("{source}: {grade}, D{percent}"), d.quantile(percent / 100.0), size, 1e-8);
    }
}

#[test]
fn astm_e11_openings() {
    // ASTM E11-17, table 1: US sieve number or inches, opening in µm, tolerance of the average opening in µm.
    const SPOT: [(&str, f64, f64); 20] = [
        ("5in", 125_000.0, 3660.0),
        ("2 1/2in", 63_000.0, 1870.0),
        ("1.06in", 26_500.0, 802.0),
        ("1/4in", 6300.0, 197.0),
        ("3 1/2", 5600.0, 176.0),
        ("4", 4750.0, 150.0),
        ("10", 2000.0, 65.0),
        ("18", 1000.0, 34.0),
        ("20", 850.0, 29.1),
        ("30", 600.0, 21.2),
        ("40", 425.0, 15.5),
        ("50", 300.0, 11.5),
        ("60", 250.0, 9.9),
        ("80", 180.0, 7.6),
        ("100", 150.0, 6.6),
        ("140", 106.0, 5.2),
        ("200", 75.0, 4.1),
        ("325", 45.0, 3.1),
        ("400", 38.0, 2.9),
        ("635", 20.0, 2.3),
    ];
    let standards = &tables().standards;
    assert_eq!(standards.astm.len(), 56, "ASTM E11-17: rows");
    assert_eq!(standards.astm.iter().map(|s| s.opening_um).sum::<f64>(), 987_644.0, "ASTM E11-17: sum of openings");
    let table = rows("sieves-astm-e11");
    for (mesh, opening, tolerance) in SPOT {
        let got = standards.opening_um(MeshSeries::AstmE11, mesh).unwrap();
        assert_eq!(got, opening, "ASTM E11-17: {mesh}");
        let row = table.iter().find(|r| r["mesh"] == mesh).unwrap();
        assert_eq!(number(row, "tolerance_um"), tolerance, "ASTM E11-17: tolerance of {mesh}");
        assert_eq!(row["status"], "published");
    }
    assert_eq!(standards.opening_um(MeshSeries::AstmE11, "No. 60").unwrap(), 250.0, "as the standard writes it");
    let message = standards.opening_um(MeshSeries::AstmE11, "65").unwrap_err().to_string();
    assert!(message.contains("60 (250 µm)") && message.contains("70 (212 µm)"), "65 is a Tyler mesh: {message}");
}

#[test]
fn iso_3310_1_openings_and_series() {
    let table = rows("sieves-iso-3310-1");
    assert_eq!(table.len(), 99, "ISO 3310-1:2016, table 1: rows");
    let sum: f64 = table.iter().map(|r| number(r, "opening_um")).sum();
    assert_eq!(sum, 1_520_558.0, "ISO 3310-1:2016, table 1: sum of openings");
    let iso = &tables().standards.iso;
    let series = |name: &str| iso.iter().find(|s| s.0 == name).unwrap().1.clone();
    let (r20_3, r20, r40_3, r10) = (series("R20/3"), series("R20"), series("R40/3"), series("fine supplementary"));
    // ISO 565: the principal sizes R20/3, whole.
    let principal = [
        125e3, 90e3, 63e3, 45e3, 31.5e3, 22.4e3, 16e3, 11.2e3, 8000.0, 5600.0, 4000.0, 2800.0, 2000.0, 1400.0, 1000.0,
        710.0, 500.0, 355.0, 250.0, 180.0, 125.0, 90.0, 63.0, 45.0,
    ];
    assert_eq!(r20_3, principal, "ISO 565: R20/3");
    assert_eq!([r20.len(), r40_3.len()], [72, 48], "ISO 565: R20 and R40/3 from 125 mm down");
    assert_eq!(r10, [36.0, 32.0, 25.0, 20.0], "ISO 565: the finest sizes");
    // Derived from what the names mean: R20/3 is every third size of R20 and every second of R40/3.
    assert_eq!(r20.iter().copied().step_by(3).collect::<Vec<_>>(), r20_3, "derived: every third of R20");
    assert_eq!(r40_3.iter().copied().step_by(2).collect::<Vec<_>>(), r20_3, "derived: every second of R40/3");
    // ISO 3310-1:2016, table 1: opening, tolerance of the average opening, both in µm, and membership.
    for (opening, tolerance, member) in [
        (125_000.0, 3300.0, "1110"),
        (106_000.0, 2800.0, "0010"),
        (1120.0, 30.0, "0100"),
        (250.0, 8.9, "1110"),
        (212.0, 7.8, "0010"),
        (200.0, 7.4, "0100"),
        (63.0, 3.4, "1110"),
        (38.0, 2.6, "0010"),
        (36.0, 2.6, "0101"),
        (20.0, 2.1, "0001"),
    ] {
        let row = table.iter().find(|r| number(r, "opening_um") == opening).unwrap();
        assert_eq!(number(row, "tolerance_um"), tolerance, "ISO 3310-1:2016: tolerance of {opening}");
        let flags = ["r20_3", "r20", "r40_3", "r10_fine"].map(|c| row[c].as_str()).concat();
        assert_eq!(flags, member, "ISO 3310-1:2016: series of {opening}");
    }
    // Derived from the two tables: the numbered US sieves down to 38 µm are the R40/3 openings of 5.6 mm and less.
    let numbered = tables().standards.astm.iter().filter(|s| !s.mesh.ends_with("in") && s.opening_um >= 38.0);
    let numbered: Vec<f64> = numbered.map(|s| s.opening_um).collect();
    assert_eq!(numbered, r40_3.into_iter().filter(|&o| o <= 5600.0).collect::<Vec<_>>(), "derived");
}

#[test]
fn tyler_meshes_beside_us_meshes() {
    // Tyler screen scale beside ASTM E11, as handbook tables set them: Tyler, US, µm, and whether the pair is from memory.
    const PAIRS: [(&str, &str, f64, bool); 33] = [
        ("3 1/2", "3 1/2", 5600.0, true),
        ("4", "4", 4750.0, true),
        ("5", "5", 4000.0, true),
        ("6", "6", 3350.0, true),
        ("7", "7", 2800.0, true),
        ("8", "8", 2360.0, true),
        ("9", "10", 2000.0, true),
        ("10", "12", 1700.0, true),
        ("12", "14", 1400.0, true),
        ("14", "16", 1180.0, true),
        ("16", "18", 1000.0, false),
        ("20", "20", 850.0, false),
        ("24", "25", 710.0, false),
        ("28", "30", 600.0, false),
        ("32", "35", 500.0, false),
        ("35", "40", 425.0, false),
        ("42", "45", 355.0, true),
        ("48", "50", 300.0, false),
        ("60", "60", 250.0, false),
        ("65", "70", 212.0, false),
        ("80", "80", 180.0, false),
        ("100", "100", 150.0, false),
        ("115", "120", 125.0, false),
        ("150", "140", 106.0, false),
        ("170", "170", 90.0, false),
        ("200", "200", 75.0, false),
        ("250", "230", 63.0, false),
        ("270", "270", 53.0, false),
        ("325", "325", 45.0, false),
        ("400", "400", 38.0, false),
        ("450", "450", 32.0, true),
        ("500", "500", 25.0, true),
        ("635", "635", 20.0, true),
    ];
    let standards = &tables().standards;
    let table = rows("sieves-tyler");
    assert_eq!(table.len(), PAIRS.len());
    for (row, (tyler, us, opening, from_memory)) in table.iter().zip(PAIRS) {
        assert_eq!((row["tyler_mesh"].as_str(), row["us_mesh"].as_str()), (tyler, us), "handbook tables");
        assert_eq!(row["status"], if from_memory { "from memory" } else { "published" }, "Tyler {tyler}");
        let openings = [(MeshSeries::Tyler, tyler), (MeshSeries::AstmE11, us)]
            .map(|(series, mesh)| standards.opening_um(series, mesh).unwrap());
        assert_eq!(openings, [opening; 2], "Tyler {tyler} is US {us}");
    }
}

#[test]
fn fepa_f_macro_sieve_sets_and_what_they_resolve_to() {
    // FEPA 42-1 / ISO 8486-1: the five sieves of the test set, µm. The mean sizes are from memory.
    const GRITS: [(&str, [f64; 5], f64); 26] = [
        ("F4", [8000.0, 5600.0, 4750.0, 4000.0, 3350.0], 4890.0),
        ("F5", [6700.0, 4750.0, 4000.0, 3350.0, 2800.0], 4125.0),
        ("F6", [5600.0, 4000.0, 3350.0, 2800.0, 2360.0], 3460.0),
        ("F7", [4750.0, 3350.0, 2800.0, 2360.0, 2000.0], 2900.0),
        ("F8", [4000.0, 2800.0, 2360.0, 2000.0, 1700.0], 2460.0),
        ("F10", [3350.0, 2360.0, 2000.0, 1700.0, 1400.0], 2085.0),
        ("F12", [2800.0, 2000.0, 1700.0, 1400.0, 1180.0], 1765.0),
        ("F14", [2360.0, 1700.0, 1400.0, 1180.0, 1000.0], 1470.0),
        ("F16", [2000.0, 1400.0, 1180.0, 1000.0, 850.0], 1230.0),
        ("F20", [1700.0, 1180.0, 1000.0, 850.0, 710.0], 1040.0),
        ("F22", [1400.0, 1000.0, 850.0, 710.0, 600.0], 885.0),
        ("F24", [1180.0, 850.0, 710.0, 600.0, 500.0], 745.0),
        ("F30", [1000.0, 710.0, 600.0, 500.0, 425.0], 625.0),
        ("F36", [850.0, 600.0, 500.0, 425.0, 355.0], 525.0),
        ("F40", [710.0, 500.0, 425.0, 355.0, 300.0], 438.0),
        ("F46", [600.0, 425.0, 355.0, 300.0, 250.0], 370.0),
        ("F54", [500.0, 355.0, 300.0, 250.0, 212.0], 310.0),
        ("F60", [425.0, 300.0, 250.0, 212.0, 180.0], 260.0),
        ("F70", [355.0, 250.0, 212.0, 180.0, 150.0], 218.0),
        ("F80", [300.0, 212.0, 180.0, 150.0, 125.0], 185.0),
        ("F90", [250.0, 180.0, 150.0, 125.0, 106.0], 154.0),
        ("F100", [212.0, 150.0, 125.0, 106.0, 75.0], 129.0),
        ("F120", [180.0, 125.0, 106.0, 90.0, 63.0], 109.0),
        ("F150", [150.0, 106.0, 75.0, 63.0, 45.0], 82.0),
        ("F180", [125.0, 90.0, 75.0, 63.0, 53.0], 69.0),
        ("F220", [106.0, 75.0, 63.0, 53.0, 45.0], 58.0),
    ];
    let table = rows("grits-fepa-f-macro");
    assert_eq!(table.len(), GRITS.len());
    for (row, (grit, sieves, mean)) in table.iter().zip(GRITS) {
        assert_eq!(row["grit"], grit);
        let set = [1, 2, 3, 4, 5].map(|i| number(row, &format!("sieve{i}_um")));
        assert_eq!(set, sieves, "FEPA 42-1 / ISO 8486-1: sieves of {grit}");
        // F40 is limited to 0 / 30 / 40 / 65 / 3 % on and through its sieves; the table takes 3 % for the whole series.
        assert_eq!(number(row, "finest_pct"), 3.0, "FEPA 42-1 / ISO 8486-1: {grit}");
        assert_percentiles(grit, "mean size, from memory", (5.0, 5.0), &[(3.0, sieves[4]), (50.0, mean)]);
    }
}

#[test]
fn fepa_f_micro_grits_resolve_to_their_sizes() {
    // FEPA 42-2 / ISO 8486-2 (sedimentation), all from memory: at least 94 % coarser than, median, at most 3 % coarser than.
    for (grit, ds94, ds50, ds3) in [
        ("F230", 34.0, 53.0, 82.0),
        ("F240", 28.0, 44.5, 70.0),
        ("F280", 22.0, 36.5, 59.0),
        ("F320", 16.5, 29.2, 49.0),
        ("F360", 12.0, 22.8, 40.0),
        ("F400", 8.0, 17.3, 32.0),
        ("F500", 5.0, 12.8, 25.0),
        ("F600", 3.0, 9.3, 19.0),
        ("F800", 2.0, 6.5, 14.0),
        ("F1000", 1.0, 4.5, 10.0),
        ("F1200", 1.0, 3.0, 7.0),
        ("F1500", 0.8, 2.0, 5.0),
        ("F2000", 0.5, 1.2, 3.5),
    ] {
        let wanted = [(6.0, ds94), (50.0, ds50), (97.0, ds3)];
        assert_percentiles(grit, "FEPA 42-2 / ISO 8486-2, from memory", (5.0, 5.0), &wanted);
    }
}

#[test]
fn fepa_p_grits_resolve_to_their_sizes() {
    // ISO 6344 / FEPA 43-1: medians published.
    for (grit, ds50) in [
        ("P12", 1815.0),
        ("P16", 1324.0),
        ("P20", 1000.0),
        ("P24", 764.0),
        ("P30", 642.0),
        ("P36", 538.0),
        ("P40", 425.0),
        ("P50", 336.0),
        ("P60", 269.0),
        ("P80", 201.0),
        ("P100", 162.0),
        ("P120", 125.0),
        ("P150", 100.0),
        ("P180", 82.0),
        ("P220", 68.0),
    ] {
        // The spread of these is this program's estimate, gsd 1.2: no published figure.
        let d84 = ds50 * 1.2_f64.powf(0.994_457_883_21);
        assert_percentiles(grit, "ISO 6344", (5.0, 5.0), &[(50.0, ds50), (84.0, d84)]);
    }
    // ISO 6344: medians published; 95 % coarser than and 3 % coarser than from memory.
    for (grit, ds95, ds50, ds3) in [
        ("P240", 44.5, 58.5, 81.7),
        ("P280", 39.2, 52.2, 74.0),
        ("P320", 34.2, 46.2, 66.8),
        ("P360", 29.6, 40.5, 60.3),
        ("P400", 25.2, 35.0, 53.9),
        ("P500", 21.5, 30.2, 48.3),
        ("P600", 18.0, 25.8, 43.0),
        ("P800", 15.1, 21.8, 38.1),
        ("P1000", 12.4, 18.3, 33.7),
        ("P1200", 10.2, 15.3, 29.7),
        ("P1500", 8.3, 12.6, 25.8),
        ("P2000", 6.7, 10.3, 22.4),
        ("P2500", 5.4, 8.4, 19.3),
    ] {
        let wanted = [(5.0, ds95), (50.0, ds50), (97.0, ds3)];
        assert_percentiles(grit, "ISO 6344; tails from memory", (5.0, 5.0), &wanted);
    }
}

#[test]
fn a_range_puts_its_tails_on_its_bounds() {
    // Bounds: ASTM E11-17 and the Tyler scale; that 5 % lie beyond each is this program's convention. The median of equal
    // tails is the geometric mean of the bounds, and of 10 and 2 % it lies 1.2815516 / (1.2815516 + 2.0537489) of the way
    // up in ln x (probits of a normal table; derived).
    let lopsided = 150.0 * (250.0_f64 / 150.0).powf(1.281_551_565_54 / (1.281_551_565_54 + 2.053_748_910_63));
    for (grade, tails, wanted) in [
        ("mesh -60+100", (5.0, 5.0), [(5.0, 150.0), (50.0, 37_500.0_f64.sqrt()), (95.0, 250.0)]),
        ("-60+100", (5.0, 5.0), [(5.0, 150.0), (50.0, 37_500.0_f64.sqrt()), (95.0, 250.0)]),
        ("mesh 60/100", (10.0, 2.0), [(10.0, 150.0), (50.0, lopsided), (98.0, 250.0)]),
        ("tyler -48+65", (5.0, 5.0), [(5.0, 212.0), (50.0, 63_600.0_f64.sqrt()), (95.0, 300.0)]),
        ("50-200 um", (5.0, 5.0), [(5.0, 50.0), (50.0, 100.0), (95.0, 200.0)]),
    ] {
        assert_percentiles(grade, "ASTM E11-17 and Tyler bounds", tails, &wanted);
    }
    assert_eq!(tables().constants.range_tail_pct.value, 5.0, "convention");
}

#[test]
fn density_of_a_class_on_three_axes() {
    // Derived: 0.2 of the volume between 100 and 200 µm.
    let class = Class { lower_um: 100.0, upper_um: 200.0, share: 0.2, open: false };
    assert_close("per unit of ln x (derived)", class.density_ln(), 0.288_539, 2e-6);
    assert_close("per decade (derived)", class.density_ln() * std::f64::consts::LN_10, 0.664_386, 2e-6);
    // Five doublings of a fifth each: the density by ln x is that of the class everywhere, and by µm on the average over it.
    let knots: Vec<_> = (0..=5).map(|i| (um(50.0 * 2.0_f64.powi(i)), f64::from(i) / 5.0)).collect();
    let d = SizeDistribution::measured(&knots).unwrap();
    for x in [60.0_f64, 100.0, 150.0, 1000.0] {
        assert_close("the curve's density (derived)", d.density_ln(x.ln()), class.density_ln(), 1e-12);
    }
    let by_um = (d.undersize(200.0) - d.undersize(100.0)) / 100.0;
    assert_close("per µm (derived)", by_um, 0.002, 1e-12);
}
