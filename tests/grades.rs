//! Sizes as data sheets word them, one figure of a size, slips of units.

use crate::common::{assert_near, run_in, tables};
use gritwise::size::spec::{SizeSpec, Tails};
use gritwise::size::{SizeForm, SizeRecord};
use serde_json::Value;
use std::fs;
use std::path::Path;

fn read(grade: &str) -> Result<SizeRecord, String> {
    let spec = SizeSpec::parse(grade).map_err(|e| e.to_string())?;
    spec.resolve(&tables().standards, Tails::assumed(5.0)).map_err(|e| e.to_string())
}

/// Openings by ASTM E11 (`sieves-astm-e11.csv`): 60 mesh 250 µm, 100 mesh 150 µm, 325 mesh 45 µm; `-A+B` is the trade's "through A, on B".
#[test]
fn every_wording_of_a_sheet_says_the_same() {
    let same: [(&str, &[&str]); 7] = [
        (
            "mesh -60+100",
            &[
                "-60+100",
                "60/100",
                "-60/+100",
                "60/100 mesh",
                "through 60 on 100",
                "60x100 mesh",
                "60-100 mesh",
                "+100 -60 mesh",
                "passes 60 mesh retained on 100 mesh",
                "through #60 on #100",
                "−60 +100 mesh",
            ],
        ),
        (
            "-60 mesh",
            &[
                "60 mesh",
                "#60",
                "No. 60",
                "60#",
                "through 60 mesh",
                "<250 um",
                "max. 0.25 mm",
                "≤ 250 µm",
                "below 250 microns",
                "max particle size 250 µm",
                "250 µm max",
                "250 um maximum",
            ],
        ),
        (
            "D50 45 um",
            &[
                "d50=45um",
                "d50=0.045mm",
                "45 um",
                "d(0.5) = 45 µm",
                "Dv50: 45 µm",
                "x50 45",
                "median 45 micron",
                "D50 45",
                "D50 < 45 um",
                "D50 max 45 µm",
                "median ≤ 45 µm",
                "x50,3 45 um",
            ],
        ),
        (
            "D10 20 D50 45 D90 90",
            &["d10=20 d50=45 d90=90", "D90 90 um, D50 45 um, D10 20 um", "d10 0.02 d50 0.045 d90 0.09 mm"],
        ),
        (
            "d50=60 gsd=1.6",
            &[
                "d50=0.06 mm gsd=1.6",
                "D50 60 µm, gsd 1,6",
                "D50: 0.06mm; GSD: 1.6",
                "gsd = 1.6 d50 = 60 um",
                "d50_um=60 gsd=1.6",
            ],
        ),
        ("300-700 um", &["0.3-0.7 mm", "0,3 – 0,7 mm", "300 to 700 µm", "300 um - 0.7 mm"]),
        (
            "325 mesh 99 % passing",
            &["99 % through 325 mesh", "D99 45 um", "99% < 45 um", "99 % min passing 325 mesh", "1 % > 45 um"],
        ),
    ];
    for (wording, others) in same {
        let wanted = read(wording).unwrap().distribution;
        for other in others {
            let got = read(other).unwrap_or_else(|e| panic!("{other}: {e}")).distribution;
            for p in [0.05, 0.5, 0.95] {
                assert_near(&format!("{other} at {p}"), got.quantile(p), wanted.quantile(p), 1e-9, 0.0);
            }
        }
    }
}

/// A minus before a number is no dash: no grain has a size below nothing.
#[test]
fn negative_sizes_are_refused() {
    for grade in ["d10=-1 d50=20", "D10 -20 D50 -45 D90 -90", "D50 -45 um", "D50: -45 um", "d50=-45 gsd=1.6"] {
        let error = read(grade).unwrap_err();
        assert!(error.contains("above 0") || error.contains("must be between"), "{grade}: {error}");
    }
    for grade in ["-20 -50 um", "-60 -100 mesh"] {
        assert!(read(grade).unwrap_err().contains("does not say that it lies between"), "{grade}");
    }
    for grade in ["D50 - 45 um", "D50-45 um"] {
        assert_near(grade, read(grade).unwrap().distribution.quantile(0.5), 45.0, 1e-9, 0.0);
    }
}

/// A log-normal through one point has its median at x exp(-z ln gsd): 1.644854 is the 95 % point of the normal distribution (tables of it).
#[test]
fn one_figure_takes_a_spread_by_how_it_was_made() {
    for (grade, at_um, z, made) in [
        ("-100 mesh", 150.0, 1.644_854, "milled"),
        ("<150 um sieved", 150.0, 1.644_854, "sieved"),
        ("D95 200 classified", 200.0, 1.644_854, "classified"),
        (">200 um", 200.0, -1.644_854, "milled"),
        ("45±5 µm", 45.0, 0.0, "milled"),
    ] {
        let record = read(grade).unwrap();
        let SizeForm::OneFigure(known) = record.form else { panic!("{grade}: {:?}", record.form) };
        let row = tables().standards.spreads.iter().find(|s| s.made.key() == made).unwrap();
        assert_eq!(known.gsd, [row.low, row.gsd, row.high], "{grade}");
        assert_near(grade, record.distribution.quantile(0.5), at_um * (-z * row.gsd.ln()).exp(), 1e-6, 0.0);
        assert_eq!(known.give_um, if grade.contains('±') { 5.0 } else { 0.0 });
        assert!(record.assumptions.iter().any(|a| a.contains("one figure says nothing of how wide")), "{grade}");
    }
}

/// Of a bound or a range, which share a percentile behind it means cannot be told: it is never dropped.
#[test]
fn a_percentile_behind_its_figure_is_not_dropped() {
    use gritwise::size::spec::SizeSpec;
    for text in [
        "<220 um D50",
        "220 um D50 max",
        "180-260 um D50",
        "300-700 um (D10-D90)",
        "60/100 mesh D50",
        "45-75 um median",
    ] {
        let error = SizeSpec::parse(text).unwrap_err().to_string();
        assert!(error.contains("write it before"), "{text}: {error}");
    }
    for text in ["45 um (D90)", "D50 45 um", "D50 < 220 um", "d10=300 d90=700"] {
        assert!(SizeSpec::parse(text).is_ok(), "{text}");
    }
}

/// A share that is at least or at most so much is a bound: its coarsest end is taken, and asked for where it has none.
#[test]
fn a_bound_on_a_share_is_no_share() {
    for text in [
        "min 10 % on 60 mesh",
        "more than 10 % retained on 60 mesh",
        "at least 10 % above 250 um",
        "retained on 60 mesh: 10 % min",
        "10 % on 60 mesh min.",
        ">=10 % over 250 um",
        "max 90 % through 60 mesh",
        "60 mesh 90 % passing max",
    ] {
        let error = read(text).unwrap_err();
        assert!(error.contains("how coarse the powder is at most"), "{text}: {error}");
    }
    let d95 = |text: &str| read(text).unwrap().distribution.quantile(0.95);
    for text in [
        "max 5 % on 60 mesh",
        "5 % on 60 mesh max",
        "<5 % on 60 mesh",
        "less than 5 % above 250 um",
        "not more than 5 % over 250 microns",
        "at least 95 % through 60 mesh",
        "95 % min passing 60 mesh",
        "min 95% < 250 um.",
        ">=95 % below 250 mikron",
        "no more than 250 um",
        "60meshes",
    ] {
        assert_near(text, d95(text), 250.0, 1e-6, 0.0);
    }
}

/// The share outside one bound is stated, the other still assumed; beside a grade that has no such share it is refused.
#[test]
fn a_stated_tail_is_of_its_own_side_alone() {
    let read = |grade: &str, under, over| {
        let tails = Tails::stated_or(under, over, 5.0);
        SizeSpec::parse(grade).unwrap().resolve(&tables().standards, tails).map_err(|e| e.to_string())
    };
    let said = read("100-200 um", Some(3.0), None).unwrap().assumptions.concat();
    assert!(
        said.contains("3 % finer than 100 µm is taken, as stated, and 5 % coarser than 200 µm is assumed"),
        "{said}"
    );
    assert_eq!(
        read("100-200 um", Some(3.0), None).unwrap().form,
        SizeForm::Range { undersize_pct: 3.0, oversize_pct: 5.0, stated: [true, false] }
    );
    for (grade, under, over) in [
        ("<45 um", Some(3.0), None),
        (">45 um", None, Some(3.0)),
        ("D50 45 um", None, Some(3.0)),
        ("99 % < 45 um", Some(3.0), None),
        ("F220", None, Some(3.0)),
        ("d50=60 gsd=1.6", Some(3.0), None),
    ] {
        let error = read(grade, under, over).unwrap_err();
        assert!(error.starts_with(if under.is_some() { "undersize_pct" } else { "oversize_pct" }), "{grade}: {error}");
    }
    assert_near("<45 um", read("<45 um", None, Some(3.0)).unwrap().distribution.undersize(45.0), 0.97, 1e-9, 0.0);
}

#[test]
fn what_can_be_read_in_two_ways_is_asked_and_nothing_panics() {
    for (grade, said) in [
        ("1,000 um", "1000 or 1.000"),
        ("45", "45 um or 45 mesh"),
        ("1.200 um", "1200 or 1.2"),
        ("+100", "100 um or 100 mesh"),
        ("-100", "100 um or 100 mesh"),
        ("D10 > 100 um", "no finer"),
        ("D50 min 100 um", "no finer"),
        ("no smaller than 500 um", "says nothing here"),
        ("5 % 40 mesh", "finer or coarser"),
        ("325 mesh <1 %", "finer or coarser"),
        ("no finer than 100 mesh", "says nothing here"),
        ("mesh size 500 um", "500 mesh, or an opening of 500 um"),
        ("50-100 mesh um", "has two units"),
        ("x50,0 45 um", "two sizes"),
        ("300-700", "300 um or 300 mesh"),
        ("100 mesh 200 um", "has two units"),
        ("60 mesh - 100 um", "both as meshes or both in um"),
        ("-61 mesh", "nearest: 60"),
        ("100 % < 45 um", "no share of a powder"),
        ("D50 45 D50 60", "stands twice"),
        ("45±50 um", "leaves nothing"),
        ("fine, for the body", "neither a file nor a grade"),
    ] {
        let error = read(grade).expect_err(grade);
        assert!(error.contains(said), "{grade}: {error}");
    }
    for odd in [
        "",
        "-",
        "+",
        "±",
        "%",
        "d",
        "x",
        "#",
        "5 %",
        "µ",
        "éé",
        "D50",
        "1/2",
        "3 1/2",
        "..",
        "1.2.3 um",
        "\u{0}",
        "9e999 um",
        "-60+",
        "+100",
        "d(",
        "60/",
        "<",
        "< um",
        "999999999999999999999 mesh",
        "45 ± um",
        "± 45 um",
        "🦀 45 um",
        "4-5-6 um",
    ] {
        let _ = read(odd);
    }
}

const ONE_FIGURE: &str = "[scrub]\nname = \"Weir\"\npowder_load_pct = 5.0\n[[powder]]\nname = \"Rice\"\nmaterial = \"rice-bran\"\n\
                          parts = 1\nsize = SIZE\n";

fn blended(size: &str, args: &[&str]) -> (i32, String, String) {
    let folder = tempfile::tempdir().unwrap();
    fs::write(folder.path().join("s.toml"), ONE_FIGURE.replace("SIZE", size)).unwrap();
    run_in(folder.path(), args)
}

#[test]
fn a_spread_that_is_assumed_is_said_drawn_and_named_to_be_measured() {
    let blend = |size: &str| {
        let (_, out, _) = blended(size, &["blend", "s.toml", "--json"]);
        serde_json::from_str::<Value>(&out).unwrap()
    };
    let [figure, law] = [blend("\"<150 um\""), blend("{ d50_um = 47.97, gsd = 2.0 }")];
    assert_eq!(figure["band"]["spread_assumed"], serde_json::json!(["Rice"]));
    assert_eq!(law["band"]["spread_assumed"], serde_json::json!([]));
    assert_near(
        "index",
        figure["index"]["value"].as_f64().unwrap(),
        law["index"]["value"].as_f64().unwrap(),
        1e-3,
        0.0,
    );
    let width = |v: &Value| (v["index"]["p95"].as_f64().unwrap() / v["index"]["p5"].as_f64().unwrap()).ln();
    assert!(width(&figure) > 1.1 * width(&law), "{} {}", width(&figure), width(&law));
    let (_, text, _) = blended("{ mesh = \"-100\", made = \"sieved\" }", &["blend", "s.toml"]);
    assert!(text.contains("Spread assumed: one figure is all that is known of the sizes of Rice"), "{text}");
    let (status, _, error) = blended("{ d50_um = 60, gsd = 1.6, made = \"milled\" }", &["blend", "--quick", "s.toml"]);
    assert!(status == 2 && error.contains("made says how wide"), "{error}");
    let (status, _, error) = blended("{ d50_um = 60, made = \"miled\" }", &["blend", "--quick", "s.toml"]);
    assert!(status == 2 && error.contains("did you mean \"milled\""), "{error}");
}

#[test]
fn slips_of_units_are_asked_about_and_taken_when_meant() {
    let slips = [
        ("size = { d50_um = 60, gsd = 1.6 }", "size = \"0.3-0.7 um\"", "size_is_meant", "µm, not mm?"),
        ("powder_load_pct = 5.0", "powder_load_pct = 0.05", "load_is_meant", "if a fraction is meant, write 5"),
        ("parts = 1", "parts = 1\ndensity_g_cm3 = 0.5", "density_is_meant", "a bulk density counts the air"),
        ("parts = 1", "parts = 1\nhardness_gpa = 25", "hardness_is_meant", "25 MPa is 0.025"),
    ];
    let folder = tempfile::tempdir().unwrap();
    let usual = ONE_FIGURE.replace("SIZE", "{ d50_um = 60, gsd = 1.6 }");
    let run = |text: &str| {
        fs::write(folder.path().join("s.toml"), text).unwrap();
        run_in(folder.path(), &["blend", "--quick", "s.toml"])
    };
    for (from, to, meant, said) in slips {
        let (status, _, error) = run(&usual.replace(from, to));
        assert!(
            status == 2 && error.contains(said) && error.contains("s.toml:") && error.contains(meant),
            "{to}: {error}"
        );
        let (status, _, error) = run(&usual.replace(from, &format!("{to}\n{meant} = true")));
        assert_eq!(status, 0, "{to}: {error}");
    }
    let shipped = Path::new(env!("CARGO_MANIFEST_DIR"));
    assert_eq!(run_in(shipped, &["blend", "--quick", "examples/millrace-rice-polish.toml"]).0, 0);
}

#[test]
fn a_mean_is_no_percentile_and_a_tolerance_in_per_cent_is_of_its_size() {
    // ISO 9276-2: D[4,3] and D[3,2] are moments; nothing follows from one for a share of the powder.
    for mean in ["D[4,3] 60 um", "D4,3 = 60 µm", "d(3,2)=45 um", "d32=45 um", "D43 60 µm", "D[1,0] 20 um"] {
        let (status, _, error) = run_in(Path::new("."), &["size", mean]);
        assert!(status == 2 && error.contains("gives a mean"), "{mean}: {error}");
    }
    let (status, _, error) = blended("{ d43_um = 60 }", &["blend", "--quick", "s.toml"]);
    assert!(status == 2 && error.contains("unknown key \"d43_um\""), "{error}");
    let size = |grade: &str| {
        let (status, out, error) = run_in(Path::new("."), &["size", grade, "--json"]);
        assert_eq!(status, 0, "{grade}: {error}");
        serde_json::from_str::<Value>(&out).unwrap()["percentiles"].clone()
    };
    assert_eq!(size("50 um ±10 %"), size("50±5 µm"));
    for grade in ["100 mesh ±5 %", "50-150 um ±10 %"] {
        let (status, _, error) = run_in(Path::new("."), &["size", grade]);
        assert!(status == 2 && error.contains("tolerance"), "{grade}: {error}");
    }
}

#[test]
fn gravel_is_asked_about() {
    let (status, _, error) = blended("\"d50: 45 mm\"", &["blend", "--quick", "s.toml"]);
    assert!(status == 2 && error.contains("45.0 mm, which is gravel: 45.0 µm, not mm?"), "{error}");
}
