//! Bad input of every kind: one clear message with file, line and what would be right, exit status 2, nothing written.

use assert_cmd::Command;
use std::cell::RefCell;
use std::fs;
use std::path::Path;
use tempfile::TempDir;

const GOOD: &str = r#"[scrub]
name = "Test scrub"
powder_load_pct = 5.0

[[powder]]
name = "Rice"
material = "rice-bran"
parts = 4
size = { d50_um = 60, gsd = 1.6 }
"#;

/// Runs `gritwise` in a folder, checks that it fails as bad input and writes nothing, and returns the message.
fn refused(folder: &Path, args: &[&str]) -> String {
    let before = listing(folder);
    let output = Command::cargo_bin("gritwise").unwrap().current_dir(folder).args(args).output().unwrap();
    let message = String::from_utf8(output.stderr).unwrap();
    assert_eq!(output.status.code(), Some(2), "{args:?} gave: {message}");
    assert!(output.stdout.is_empty(), "{args:?} printed a result");
    assert_eq!(listing(folder), before, "{args:?} wrote something");
    assert!(!message.contains("panicked"), "{message}");
    let parts: Vec<&str> = message.trim().split(": ").filter(|p| p.len() > 12).collect();
    assert!(parts.iter().enumerate().all(|(i, p)| !parts[..i].contains(p)), "said twice: {message}");
    SAID.with_borrow_mut(|said| said.push(format!("{}\n    {message}", args.join(" "))));
    message
}

thread_local! {
    /// What was said in the test of this thread.
    static SAID: RefCell<Vec<String>> = const { RefCell::new(Vec::new()) };
}

/// Holds all that was said so far, whole, against the snapshot of this name.
fn assert_said(name: &str) {
    insta::assert_snapshot!(name, SAID.take().join("\n"));
}

fn listing(folder: &Path) -> Vec<String> {
    let mut names: Vec<String> =
        fs::read_dir(folder).unwrap().map(|e| e.unwrap().file_name().to_string_lossy().into_owned()).collect();
    names.sort();
    names
}

#[test]
fn scrub_files() {
    let size = "{ d50_um = 60, gsd = 1.6 }";
    let with_size = |new: &str| GOOD.replace(size, new);
    let cases: Vec<(&str, String, Vec<&str>)> = vec![
        ("unknown key", GOOD.replace("parts", "prats"), vec![":8:1:", "unknown key \"prats\"", "\"parts\""]),
        (
            "unknown key in [scrub]",
            GOOD.replace("powder_load_pct", "powder_load"),
            vec![":3:1:", "unknown key \"powder_load\"", "\"powder_load_pct\""],
        ),
        ("no load", GOOD.replace("powder_load_pct = 5.0\n", ""), vec![":1:1:", "powder_load_pct is missing"]),
        (
            "extra key in [scrub]",
            GOOD.replace("name = \"Test scrub\"", "name = \"T\"\nnmae = \"x\""),
            vec![":3:1:", "did you mean \"name\""],
        ),
        ("unknown table", format!("{GOOD}\n[scurb]\n"), vec!["unknown key \"scurb\"", "\"scrub\""]),
        ("unknown size key", with_size("{ d50_um = 60, gdd = 1.6 }"), vec![":9:23:", "unknown key \"gdd\"", "\"gsd\""]),
        (
            "two size kinds",
            with_size("{ d50_um = 60, gsd = 1.6, mesh = \"-60+100\" }"),
            vec![":9:8:", "stated 2 ways", "exactly one"],
        ),
        (
            "two laws",
            with_size("{ d50_um = 60, gsd = 1.6, rr_size_um = 80, rr_exponent = 2 }"),
            vec![":9:8:", "exactly one"],
        ),
        ("no size kind", with_size("{ }"), vec![":9:8:", "size says nothing", "grit = \"F220\""]),
        ("no size", GOOD.replace(&format!("size = {size}\n"), ""), vec![":5:1:", "size is missing"]),
        ("half a law", with_size("{ gsd = 1.6 }"), vec!["gsd needs d50_um"]),
        ("made of a law", with_size("{ d50_um = 60, gsd = 1.6, made = \"milled\" }"), vec![":9:41:", "leave it out"]),
        (
            "percentiles that fall",
            with_size("{ d10_um = 80, d50_um = 60, d90_um = 90 }"),
            vec![":9:8:", "must rise", "d50 = 60"],
        ),
        ("gsd of one", with_size("{ d50_um = 60, gsd = 1.0 }"), vec![":9:8:", "gsd must be above 1"]),
        ("range the wrong way", with_size("{ range_um = [150, 50] }"), vec![":9:21:", "must rise"]),
        ("range of one", with_size("{ range_um = [150] }"), vec![":9:21:", "two numbers"]),
        ("negative size", with_size("{ range_um = [-5, 50] }"), vec![":9:21:", "a size must be between"]),
        (
            "tails without a range",
            with_size("{ d50_um = 60, gsd = 1.6, oversize_pct = 3 }"),
            vec!["goes with a bound or a range"],
        ),
        ("negative parts", GOOD.replace("= 4", "= -4"), vec![":8:9:", "parts must be above 0", "-4"]),
        ("zero parts", GOOD.replace("= 4", "= 0"), vec![":8:9:", "parts must be above 0"]),
        ("parts not a number", GOOD.replace("= 4", "= nan"), vec![":8:9:", "NaN"]),
        ("parts over 100", GOOD.replace("= 4", "= 101"), vec![":8:9:", "at most 100"]),
        ("parts as text", GOOD.replace("= 4", "= \"four\""), vec![":8:9:", "parts must be a number, not a text"]),
        ("negative load", GOOD.replace("5.0", "-5.0"), vec![":3:19:", "powder load must be at least 0.000001"]),
        ("zero load", GOOD.replace("5.0", "0"), vec![":3:19:", "powder load must be at least 0.000001"]),
        ("a load of next to nothing", GOOD.replace("5.0", "1e-9"), vec![":3:19:", "at least 0.000001", "not 1e-9"]),
        ("load not a number", GOOD.replace("5.0", "nan"), vec![":3:19:", "NaN"]),
        ("infinite load", GOOD.replace("5.0", "inf"), vec![":3:19:", "inf"]),
        ("load over 100", GOOD.replace("5.0", "120"), vec![":3:19:", "at most 100 %"]),
        (
            "mesh that is not made",
            with_size("{ mesh = \"-61+100\" }"),
            vec![":9:17:", "no 61 mesh sieve", "60 (250 µm)"],
        ),
        ("mesh the wrong way", with_size("{ mesh = \"-100+60\" }"), vec![":9:17:", "wrong way round"]),
        ("one mesh that is none", with_size("{ mesh = \"-101\" }"), vec![":9:17:", "nearest: 100"]),
        ("unknown grit", with_size("{ grit = \"F221\" }"), vec![":9:17:", "unknown grit \"F221\"", "nearest: F220"]),
        ("unknown material", GOOD.replace("rice-bran", "rice-brann"), vec![":7:12:", "did you mean \"rice-bran\""]),
        ("plastic", GOOD.replace("rice-bran", "polyethylene"), vec![":7:12:", "refused", "2023/2055", "331(ddd)"]),
        (
            "plastic by another name",
            GOOD.replace(
                "\"Rice\"\nmaterial = \"rice-bran\"",
                "\"PE beads\"\ndensity_g_cm3 = 1\nhardness_gpa = 0.05\nroundness = 0.8",
            ),
            vec![":5:1:", "refused: PE beads", "2023/2055", "331(ddd)"],
        ),
        (
            "property missing",
            GOOD.replace("material = \"rice-bran\"\n", ""),
            vec![":5:1:", "density is missing", "density_g_cm3"],
        ),
        ("both hardnesses", GOOD.replace("parts = 4", "parts = 4\nmohs = 2\nhardness_gpa = 0.2"), vec!["keep one"]),
        ("Mohs of 12", GOOD.replace("parts = 4", "parts = 4\nmohs = 12"), vec![":9:8:", "between 1 and 10"]),
        ("roundness of 2", GOOD.replace("parts = 4", "parts = 4\nroundness = 2"), vec![":9:13:", "between 0.01 and 1"]),
        (
            "roundness of a needle's tip",
            GOOD.replace("parts = 4", "parts = 4\nroundness = 1e-9"),
            vec![":9:13:", "between 0.01 and 1", "not 1e-9"],
        ),
        ("gsd without end", with_size("{ d50_um = 60, gsd = 1e300 }"), vec![":9:8:", "at most 20", "not 1e300"]),
        (
            "kilometres",
            with_size("{ d50_um = 60000, gsd = 10 }"),
            vec![":9:8:", "D99 at 12700000 µm", "beyond a metre"],
        ),
        ("two percentiles far apart", with_size("{ d49_um = 1, d50_um = 100000 }"), vec![":9:8:", "beyond a metre"]),
        (
            "two percentiles next to each other",
            with_size("{ d10_um = 50, d50_um = 50.00000001 }"),
            vec![":9:8:", "d10 and d50", "a millionth apart"],
        ),
        (
            "exponent without end",
            with_size("{ rr_size_um = 100, rr_exponent = 0.05 }"),
            vec![":9:8:", "beyond a metre"],
        ),
        ("below an atom", with_size("{ ggs_size_um = 100, ggs_exponent = 0.05 }"), vec![":9:8:", "below a nanometre"]),
        (
            "tails of a wide range",
            with_size("{ range_um = [1, 150000], undersize_pct = 40, oversize_pct = 40 }"),
            vec![":9:21:", "gsd of 16421557172", "smaller tails"],
        ),
        ("max_um without a sieve table", with_size("{ grit = \"F220\", max_um = 90 }"), vec![":9:34:", "sieve only"]),
        (
            "unknown roundness",
            GOOD.replace("parts = 4", "parts = 4\nroundness_class = \"sub-rond\""),
            vec!["did you mean \"subrounded\""],
        ),
        (
            "same name twice",
            format!("{GOOD}\n[[powder]]\nname = \"Rice\"\nmaterial = \"bamboo\"\nparts = 1\nsize = \"F220\"\n"),
            vec!["two powders are named \"Rice\""],
        ),
        ("no powder", GOOD.split("[[powder]]").next().unwrap().to_owned(), vec!["at least one powder"]),
        ("one bracket", GOOD.replace("[[powder]]", "[powder]"), vec!["[[powder]]"]),
        ("not TOML", GOOD.replace("name = \"Rice\"", "name = \"Rice"), vec![":6:", "not valid TOML"]),
        ("key twice", GOOD.replace("parts = 4", "parts = 4\nparts = 5"), vec![":9:", "not valid TOML"]),
        ("control characters", GOOD.replace("\"Rice\"", "\"\\u001b[31mRice\""), vec!["control characters"]),
        ("missing size table", with_size("{ sieve = \"lot.csv\" }"), vec![":9:18:", "lot.csv", "no such file"]),
        ("folder for a size table", with_size("{ sieve = \".\" }"), vec![":9:18:", "this is a folder"]),
        ("empty", String::new(), vec![":1:1: the file is empty"]),
        ("only blanks", "  \n\n".into(), vec!["the file is empty"]),
    ];
    let folder = TempDir::new().unwrap();
    let file = folder.path().join("scrub.toml");
    for (what, text, wanted) in cases {
        fs::write(&file, &text).unwrap();
        let message = refused(folder.path(), &["blend", "scrub.toml", "--plot", "pictures"]);
        assert!(message.contains("scrub.toml"), "{what}: no file in: {message}");
        for part in wanted {
            assert!(message.contains(part), "{what}: no {part:?} in: {message}");
        }
    }
    assert_said("bad_scrub_files");
}

#[test]
fn size_tables() {
    let sieve = "opening_um,retained_g\n250,10\n125,60\n63,25\npan,5\n";
    let cases: Vec<(&str, String, Vec<&str>)> = vec![
        (
            "out of order",
            sieve.replace("250,10\n125,60", "125,60\n250,10"),
            vec![":3:", "out of order", "coarse to fine"],
        ),
        ("repeated", sieve.replace("125,60", "250,60"), vec![":3:", "stands twice"]),
        ("nothing retained", "opening_um,retained_g\n250,0\n125,0\npan,0\n".into(), vec![":4:", "sums to 0"]),
        ("negative", sieve.replace("60", "-60"), vec![":3:", "negative"]),
        ("not a number", sieve.replace("60", "sixty"), vec![":3:", "\"sixty\" is not a number"]),
        ("NaN", sieve.replace("60", "NaN"), vec![":3:", "not a number"]),
        ("no pan", sieve.replace("pan,5\n", ""), vec![":4:", "last row must be the pan"]),
        ("pan in the middle", sieve.replace("63,25\npan,5", "pan,5\n63,25"), vec![":4:", "pan must be the last"]),
        (
            "97 % retained",
            "opening_um,retained_pct\n250,10\n125,60\n63,22\npan,5\n".into(),
            vec![":5:", "97", "100 % within 1 %"],
        ),
        ("passing rises", "opening_um,cum_passing_pct\n250,90\n125,95\n63,5\npan,0\n".into(), vec![":3:", "must fall"]),
        ("retained falls", "opening_um,cum_retained_pct\n250,40\n125,30\npan,100\n".into(), vec![":3:", "must rise"]),
        (
            "passing 101.5 %",
            "opening_um,cum_passing_pct\n250,101.5\n125,30\npan,0\n".into(),
            vec![":2:", "between 0 and 100"],
        ),
        ("pan still holds", "opening_um,cum_passing_pct\n250,90\n125,30\npan,12\n".into(), vec![":4:", "within 1 %"]),
        (
            "mesh that is not made",
            "mesh,retained_g\n60,10\n75,50\npan,5\n".into(),
            vec![":3:", "no 75 mesh", "nearest"],
        ),
        ("unknown column", sieve.replace("retained_g", "retaned_g"), vec![":1:", "unknown column", "retained_g"]),
        ("size of five metres", sieve.replace("250,", "5000000,"), vec![":2:", "opening_um", "1 000 000"]),
        ("millimetres", "opening_um,retained_g\n0.3,10\n0.15,60\npan,5\n".into(), vec![":2:", "micrometres"]),
        (
            "columns that do not go together",
            "opening_um,volume_pct\n250,10\n".into(),
            vec![":1:", "do not make a size table"],
        ),
        ("one cell short", sieve.replace("125,60", "125"), vec![":3:", "1 cells", "2 columns"]),
        ("header only", "opening_um,retained_g\n".into(), vec![":1:", "no rows"]),
        (
            "classes overlap",
            "lower_um,upper_um,volume_pct\n10,20,50\n15,30,50\n".into(),
            vec![":3:", "without overlap"],
        ),
        ("class upside down", "lower_um,upper_um,volume_pct\n20,10,100\n".into(), vec![":2:", "not below"]),
        ("laser sums to 90", "lower_um,upper_um,volume_pct\n10,20,50\n20,30,40\n".into(), vec![":3:", "90", "100 %"]),
        ("cumulative falls", "size_um,cum_volume_pct\n10,50\n20,40\n30,100\n".into(), vec![":3:", "must rise"]),
        (
            "powder above the largest size",
            "opening_um,retained_g\n900000,40\n600000,9\npan,60\n".into(),
            vec![":2:", "no place", "1 000 000"],
        ),
        (
            "powder below the smallest size",
            "lower_um,upper_um,volume_pct\n0,0.0015,50\n0.0015,10,50\n".into(),
            vec![":2:", "no place", "0.001"],
        ),
        (
            "sizes next to each other",
            "size_um,cum_volume_pct\n10,50\n10.000000000000002,100\n".into(),
            vec![":3:", "stands twice"],
        ),
        (
            "a class of next to no width",
            "lower_um,upper_um,count\n10,10.0000001,5\n".into(),
            vec![":2:", "not below", "a millionth"],
        ),
        (
            "openings next to each other",
            "opening_um,retained_g\n125.0000001,5\n125,5\npan,1\n".into(),
            vec![":3:", "stands twice"],
        ),
        ("size twice", "size_um,cum_volume_pct\n10,50\n10,60\n30,100\n".into(), vec![":3:", "stands twice"]),
        ("no grains counted", "lower_um,upper_um,count\n10,20,0\n20,30,0\n".into(), vec![":3:", "sums to 0"]),
        ("empty", String::new(), vec![":1:1: the file is empty"]),
    ];
    let folder = TempDir::new().unwrap();
    for (what, text, wanted) in cases {
        fs::write(folder.path().join("lot.csv"), &text).unwrap();
        let message = refused(folder.path(), &["size", "lot.csv", "--plot", "lot.svg"]);
        for part in wanted.iter().chain(&["lot.csv"]) {
            assert!(message.contains(part), "{what}: no {part:?} in: {message}");
        }
    }
    fs::write(folder.path().join("lot.csv"), "lower_um,upper_um,count\n10,20,5\n").unwrap();
    fs::write(folder.path().join("scrub.toml"), GOOD.replace("{ d50_um = 60, gsd = 1.6 }", "{ sieve = \"lot.csv\" }"))
        .unwrap();
    let message = refused(folder.path(), &["blend", "scrub.toml"]);
    assert!(message.contains("table of counts, but a sieve table was asked for"), "{message}");
    for (table, max, wanted) in [
        ("250,10\n125,60\npan,5", "250", [":9:38:", "above the coarsest opening, 250 µm"]),
        ("250,10\n125,60\npan,5", "3000", [":9:38:", "at most at 2500 µm"]),
        ("250,10\n125,60\npan,5", "-1", [":9:38:", "a size must be between"]),
        ("250,10\n125,60\npan,5", "\"wide\"", [":9:38:", "max_um must be a number"]),
        ("250,0\n125,60\npan,5", "300", [":9:38:", "closes nothing"]),
    ] {
        fs::write(folder.path().join("lot.csv"), format!("opening_um,retained_g\n{table}\n")).unwrap();
        let size = format!("{{ sieve = \"lot.csv\", max_um = {max} }}");
        fs::write(folder.path().join("scrub.toml"), GOOD.replace("{ d50_um = 60, gsd = 1.6 }", &size)).unwrap();
        let message = refused(folder.path(), &["blend", "scrub.toml"]);
        assert!(wanted.iter().all(|w| message.contains(w)), "max_um = {max}: {message}");
    }
    assert_said("bad_size_tables");
}

#[test]
fn files_that_are_no_text() {
    let folder = TempDir::new().unwrap();
    let path = |name: &str| folder.path().join(name);
    fs::write(path("latin.toml"), b"[scrub]\nname = \"caf\xe9\"\n").unwrap();
    fs::write(path("latin.csv"), b"opening_um,retained_g\n250,\xff\n").unwrap();
    fs::create_dir(path("folder.toml")).unwrap();
    fs::File::create(path("huge.toml")).unwrap().set_len(100 << 20).unwrap();
    fs::File::create(path("huge.csv")).unwrap().set_len(100 << 20).unwrap();
    for (args, wanted) in [
        (["blend", "latin.toml"], "latin.toml:2:12: not UTF-8"),
        (["size", "latin.csv"], "latin.csv:2: retained_g = \"ÿ\" is not a number"),
        (["blend", "missing.toml"], "missing.toml: no such file"),
        (["size", "missing.csv"], "missing.csv: no such file"),
        (["blend", "folder.toml"], "folder.toml: this is a folder"),
        (["size", "folder.toml"], "folder.toml: this is a folder"),
        (["blend", "huge.toml"], "huge.toml: the file is larger than 8 MiB"),
        (["size", "huge.csv"], "huge.csv: the file is larger than 8 MiB"),
    ] {
        let message = refused(folder.path(), &args);
        assert!(message.contains(wanted), "{args:?}: {message}");
    }
    assert_said("bad_files_that_are_no_text");
}

#[test]
fn calls() {
    let folder = TempDir::new().unwrap();
    fs::write(folder.path().join("scrub.toml"), GOOD).unwrap();
    fs::write(folder.path().join("taken"), "mine").unwrap();
    let cases: [(&[&str], &str); 48] = [
        (&["size", "mesh -61+100"], "nearest: 60 (250 µm)"),
        (&["size", "F221"], "nearest: F220"),
        (&["size", "F220", "--max-um", "90"], "sieve table only"),
        (&["size", "P185"], "nearest: P180"),
        (&["size", "50-fifty um"], "\"fifty\" says nothing here"),
        (&["size", "d10=20 d50=10"], "must rise"),
        (&["size", "rice, fine"], "neither a file nor a grade"),
        (&["size", "50-150 um", "--undersize-pct", "80"], "between 0.1 and 40"),
        (&["blend", "scrub.toml", "--require", "fase"], "did you mean \"face\""),
        (&["blend", "scrub.toml", "--plot", "taken"], "taken"),
        (&["size", "F220", "--oversize-pct", "3"], "a bound or a range in mesh or microns only"),
        (&["compare", "scrub.toml"], "2 values required"),
        (&["compare", "scrub.toml", "missing.toml"], "missing.toml: no such file"),
        (&["stand-in", "scrub.toml", "--for", "Rise"], "did you mean \"Rice\""),
        (
            &["stand-in", "scrub.toml", "--for", "Rice", "--shelf", "scrub.toml"],
            "unknown key \"scrub\" in the shelf file",
        ),
        (&["ladder", "scrub.toml"], "--vary"),
        (&["ladder", "scrub.toml", "--vary", "load"], "write NAME.parts=LOW..HIGH"),
        (&["ladder", "scrub.toml", "--vary", "load=5"], "write NAME.parts=LOW..HIGH"),
        (&["ladder", "scrub.toml", "--vary", "lode=1..5"], "did you mean \"load\""),
        (&["ladder", "scrub.toml", "--vary", "rice=1..5"], "did you mean \"Rice.parts\" or \"Rice.d50\""),
        (&["ladder", "scrub.toml", "--vary", "rise.parts=1..5"], "did you mean \"Rice\""),
        (&["ladder", "scrub.toml", "--vary", "rce-bran.d50=1..5"], "did you mean \"Rice\""),
        (&["ladder", "scrub.toml", "--vary", ".d50=1..5"], "name the powder that is meant: Rice"),
        (&["ladder", "scrub.toml", "--vary", "rice.d5=1..5"], "did you mean \"d50\""),
        (&["ladder", "scrub.toml", "--vary", "load=one..5"], "\"one\" is not a number"),
        (&["ladder", "scrub.toml", "--vary", "load=1..inf"], "\"inf\" is not a number"),
        (&["ladder", "scrub.toml", "--vary", "load=NaN..5"], "\"NaN\" is not a number"),
        (&["ladder", "scrub.toml", "--vary", "load=5..5"], "5 is not below 5"),
        (&["ladder", "scrub.toml", "--vary", "load=9..5", "--plot", "new"], "the range must rise"),
        (&["ladder", "scrub.toml", "--vary", "load=5..5.000000000000001"], "too narrow"),
        (&["ladder", "scrub.toml", "--vary", "load=1e-300..5"], "1e-300 is less than any balance weighs"),
        (&["ladder", "scrub.toml", "--vary", "load=0..5"], "at least 0.000001 and at most 100 %"),
        (&["ladder", "scrub.toml", "--vary", "load=1..101"], "at most 100 %"),
        (&["ladder", "scrub.toml", "--vary", "rice.parts=-1..5"], "from 0 (left out) to 100, not -1"),
        (&["ladder", "scrub.toml", "--vary", "rice.parts=1..500"], "from 0 (left out) to 100, not 500"),
        (&["ladder", "scrub.toml", "--vary", "rice.parts=0..5"], "no powder would be left"),
        (&["ladder", "scrub.toml", "--vary", "rice.d50=0..5"], "between 0.001 and"),
        (&["ladder", "scrub.toml", "--vary", "load=1..5", "--vary", "load=2..9"], "the same quantity"),
        (&["ladder", "scrub.toml", "--vary", "load=1..5", "--points", "1"], "2..=500"),
        (&["ladder", "scrub.toml", "--vary", "load=1..5", "--points", "501"], "2..=500"),
        (&["ladder", "scrub.toml", "--vary", "load=1..5", "--plot", "taken"], "taken"),
        (&["ladder", "scrub.toml", "--vary", "load=1..5", "--force"], "--plot"),
        (&["ladder", "missing.toml", "--vary", "load=1..5"], "missing.toml: no such file"),
        (
            &["ladder", "scrub.toml", "--vary", "load=1..5", "--vary", "rice.d50=40..90", "--points", "101"],
            "2 to 100 steps a side",
        ),
        (
            &["ladder", "scrub.toml", "--vary", "load=1..5", "--vary", "rice.d50=4..9", "--vary", "rice.parts=1..2"],
            "give one or two",
        ),
        (&["tables", "material"], "did you mean \"materials\""),
        (&["tables", "materials", "--row", "unobtainium"], "has no row \"unobtainium\""),
        (&["blend", "scrub.toml", "--tables", "nowhere"], "nowhere"),
    ];
    for (args, wanted) in cases {
        let message = refused(folder.path(), args);
        assert!(message.contains(wanted), "{args:?}: {message}");
    }
    assert_eq!(fs::read_to_string(folder.path().join("taken")).unwrap(), "mine");
    assert_said("bad_calls");
}

/// Files that hold more than anybody means, or what no label, picture or table can.
#[test]
fn bounds() {
    let folder = TempDir::new().unwrap();
    let said = |text: &str| {
        fs::write(folder.path().join("scrub.toml"), text).unwrap();
        let message = refused(folder.path(), &["blend", "scrub.toml", "--quick"]);
        assert!(message.len() < 6_000, "{message}");
        message
    };
    let named = |name: &str| said(&GOOD.replace("Rice", name));
    for (message, wanted) in [
        (named("\\uFFFE"), "scrub.toml:6:8: name holds U+FFFE, which is no character; leave it out"),
        (named("a\u{ffff}"), "scrub.toml:6:8: name holds U+FFFF"),
        (named("a\\u0007"), "scrub.toml:6:8: name holds control characters; keep to plain text"),
        (named(&"é".repeat(201)), "scrub.toml:6:8: name has 201 characters; a name has 200 at most"),
        (said(&GOOD.replace("Test scrub", "a\u{ffff}")), "scrub.toml:2:8: name holds U+FFFF"),
        (said(&GOOD.replace("material", "lot = \"\u{fffe}\"\nmaterial")), "scrub.toml:7:7: lot holds U+FFFE"),
        (
            said(&GOOD.replace("d50_um = 60, gsd = 1.6", "d50_um = 900, gsd = 6")),
            "is the spread too wide?; if it is meant",
        ),
        (
            said(
                &GOOD
                    .replace("size = { d50_um = 60, gsd = 1.6", "size_is_meant = true\nsize = { d50_um = 5e5, gsd = 6"),
            ),
            "puts D99 at 32300000 µm, beyond a metre",
        ),
    ] {
        assert!(message.contains(wanted), "{message}");
    }
    fs::write(folder.path().join("scrub.toml"), format!("{GOOD}[use]\nregions = [\"EU\\u0001\"]\n")).unwrap();
    let message = refused(folder.path(), &["formula", "scrub.toml"]);
    assert!(message.contains("scrub.toml:11:12: regions: a text holds control characters"), "{message}");
    // Nested beyond what a reader may go down into, in each way that TOML nests.
    let deep = 200_000;
    for nested in [
        format!("x = {}{}\n", "[".repeat(deep), "]".repeat(deep)),
        format!("x = {}1{}\n", "{a=".repeat(deep), "}".repeat(deep)),
        format!("[{}a]\n", "a.".repeat(deep)),
        format!("{}a = 1\n", "a.".repeat(deep)),
    ] {
        let message = said(&format!("{GOOD}{nested}"));
        assert!(message.contains("lie more than 80 deep in each other"), "{message}");
    }
    // Of many faults some are told, and the rest is counted.
    let many: String = (0..20_000).map(|i| format!("x{i} = 1\n")).collect();
    assert!(said(&format!("{GOOD}{many}")).contains("unknown key \"x0\""));
    assert!(said(&format!("{GOOD}{}", many.replace("= 1", "== 1"))).contains("not valid TOML"));

    let table = |rows: usize| {
        let rows: String = (1..=rows).map(|i| format!("{i},{}\n", 100.0 * i as f64 / rows as f64)).collect();
        fs::write(folder.path().join("laser.csv"), format!("size_um,cum_volume_pct\n{rows}")).unwrap();
    };
    table(2_001);
    let message = refused(folder.path(), &["size", "laser.csv"]);
    assert!(message.contains("laser.csv:2002: 2001 rows; a size table has at most 2000 classes"), "{message}");
    table(2_000);
    let output =
        Command::cargo_bin("gritwise").unwrap().current_dir(folder.path()).args(["size", "laser.csv"]).output();
    assert!(output.unwrap().status.success());
}

/// A table of one's own is read in the units of the built-in one, and says which those are.
#[test]
fn tables_of_ones_own_keep_their_units() {
    let folder = tempfile::TempDir::new().unwrap();
    let read = |name: &str, change: &dyn Fn(String) -> String| {
        let built_in = std::fs::read_to_string(format!("grading-tables/{name}.csv")).unwrap();
        let path = folder.path().join(format!("{name}.csv"));
        std::fs::write(&path, change(built_in)).unwrap();
        let error = gritwise::tables::Tables::with_folder(folder.path()).err().map(|e| e.to_string());
        std::fs::remove_file(path).unwrap();
        error
    };
    assert_eq!(read("bands", &|t| t), None);
    let millimetres = |t: String| t.replacen("d99_um,350,262.5,437.5,um", "d99_um,0.35,0.2625,0.4375,mm", 1);
    let error = read("bands", &millimetres).unwrap();
    assert!(
        error.contains("bands.csv:4") && error.contains("unit \"mm\"") && error.contains("write it in um"),
        "{error}"
    );
    let error = read("constants", &|t| t.replacen(",MPa,", ",GPa,", 1)).unwrap();
    assert!(error.contains("write it in MPa"), "{error}");
    let error = read("sieves-astm-e11", &|t| t.replacen("\n60,", "\n70,", 1)).unwrap();
    assert!(error.contains("\"70\" stands twice"), "{error}");
    let error = read("bands", &|t| t.replacen("d99_um,350,", "d99_um,,", 1)).unwrap();
    assert!(error.contains("a number is missing"), "{error}");
}
