//! `gritwise grains`: the example against its truth (drawn by `tests/reference/olive_picture.py`), what is written, and bad input.

use assert_cmd::Command;
use image::{DynamicImage, GrayImage, ImageFormat, Luma};
use serde_json::Value;
use std::fs;
use std::io::Cursor;
use std::path::Path;
use std::process::Output;

const PHOTO: &str = "examples/olive-stone-grains.jpg";

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

fn run(folder: &Path, args: &[&str]) -> Output {
    Command::cargo_bin("gritwise").unwrap().current_dir(folder).arg("grains").args(args).output().unwrap()
}

fn json(folder: &Path, args: &[&str]) -> Value {
    let output = run(folder, &[args, &["--json"]].concat());
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    serde_json::from_slice(&output.stdout).unwrap()
}

#[test]
fn the_example_is_measured_as_it_was_drawn() {
    let told = json(root(), &[PHOTO, "--um-per-pixel", "5"]);
    let truth = fs::read_to_string(root().join("tests/reference/olive_picture.csv")).unwrap();
    let truth: Vec<Vec<&str>> = truth.lines().skip(1).map(|l| l.split(',').collect()).collect();
    let grains = told["grains"].as_array().unwrap();
    let whole = truth.iter().filter(|t| t[4] == "whole").count();
    assert!(grains.len() >= whole && grains.len() <= truth.len());
    assert_eq!(grains.len() as u64 + told["photos"][0]["cut"].as_u64().unwrap(), truth.len() as u64);
    let number = |text: &str| text.parse::<f64>().unwrap();
    let mut roundness = Vec::new();
    for grain in grains {
        let [x, y] = ["x_pixels", "y_pixels"].map(|k| grain[k].as_f64().unwrap());
        let own = truth.iter().min_by(|a, b| {
            let off = |t: &[&str]| (number(t[0]) - x).hypot(number(t[1]) - y);
            off(a).total_cmp(&off(b))
        });
        let own = own.unwrap();
        let area = grain["area_um2"].as_f64().unwrap() / 25.0;
        assert!((area / number(own[2]) - 1.0).abs() < 0.01, "{grain}");
        assert!((grain["roundness"].as_f64().unwrap() - number(own[3])).abs() < 0.03, "{own:?} {grain}");
        for key in ["feret_max_um", "feret_min_um", "aspect", "circularity", "solidity", "pixels"] {
            assert!(grain[key].as_f64().unwrap() > 0.0, "{key}");
        }
        roundness.push(number(own[3]));
    }
    roundness.sort_by(f64::total_cmp);
    let sample = &told["sample"];
    let median = 0.5 * (roundness[(grains.len() - 1) / 2] + roundness[grains.len() / 2]);
    assert!((sample["roundness"].as_f64().unwrap() - median).abs() < 0.01, "{median} {}", sample["roundness"]);
    assert!(sample["roundness_low"].as_f64() < sample["roundness"].as_f64());
    assert!(sample["roundness"].as_f64() < sample["roundness_high"].as_f64());
    assert_eq!(sample["grains_used"].as_u64().unwrap() as usize, grains.len());
    assert!(sample["grains_wanted"].as_u64().unwrap() >= 30);
    assert!(sample["size"]["percentiles"]["d50_um"].as_f64().unwrap() > 400.0);
}

#[test]
fn roundness_goes_into_a_scrub_file_and_sizes_into_a_table() {
    let folder = tempfile::tempdir().unwrap();
    let scrub = "# Our polish\n[scrub]\nname = \"Polish\" # the old one\npowder_load_pct = 5\n\n[[powder]]\nname = \"Olive\"\nmaterial = \
                 \"olive-stone\" # ours\nroundness_class = \"angular\"\nparts = 1\nsize = { d50_um = 500, gsd = 1.3 }\n";
    fs::write(folder.path().join("scrub.toml"), scrub).unwrap();
    let photo = root().join(PHOTO);
    let args = [
        photo.to_str().unwrap(),
        "--um-per-pixel",
        "5",
        "--into",
        "scrub.toml",
        "--powder",
        "olive",
        "--write",
        "c.csv",
        "--plot",
        "p.svg",
    ];
    let told = json(folder.path(), &args);
    let text = fs::read_to_string(folder.path().join("scrub.toml")).unwrap();
    assert!(text.starts_with("# Our polish\n[scrub]\nname = \"Polish\" # the old one\n"), "{text}");
    assert!(text.contains("material = \"olive-stone\" # ours") && !text.contains("roundness_class"), "{text}");
    let sha = told["photos"][0]["sha256"].as_str().unwrap();
    assert!(text.contains(&format!("photograph, {} grains, SHA-256 {sha}", told["sample"]["grains_used"])), "{text}");
    for args in [["blend", "scrub.toml", "--no-draws"], ["size", "c.csv", "--json"]] {
        let output = Command::cargo_bin("gritwise").unwrap().current_dir(folder.path()).args(args).output().unwrap();
        let message = String::from_utf8_lossy(&output.stderr).into_owned();
        assert!(output.status.success() || message.contains("--no-draws"), "{args:?}: {message}");
    }
    let svg = fs::read_to_string(folder.path().join("p.svg")).unwrap();
    assert_eq!(svg.matches("<polygon").count(), told["grains"].as_array().unwrap().len());
    // The same again is refused without --force, and changes nothing.
    assert_eq!(run(folder.path(), &args).status.code(), Some(2));
}

#[test]
fn classes_by_eye() {
    let told = json(root(), &["--tally", "very angular 3, angular 20, subangular 18"]);
    assert_eq!(told["sample"]["grains_used"], 41);
    assert_eq!(told["sample"]["classes"][1]["grains"], 20);
}

fn png(width: u32, height: u32, grey: impl Fn(u32, u32) -> u8) -> Vec<u8> {
    let picture = DynamicImage::ImageLuma8(GrayImage::from_fn(width, height, |x, y| Luma([grey(x, y)])));
    let mut bytes = Cursor::new(Vec::new());
    picture.write_to(&mut bytes, ImageFormat::Png).unwrap();
    bytes.into_inner()
}

/// A TIFF (TIFF 6.0) of pages 300 pixels wide with a disc on each, of these kinds (`NewSubfileType`).
fn tiff(kinds: &[u32]) -> Vec<u8> {
    const SIDE: u32 = 300;
    let pixels: Vec<u8> =
        (0..SIDE * SIDE).map(|i| if disc(i % SIDE, i / SIDE, 150.0, 150.0, 110.0) { 30 } else { 220 }).collect();
    let at = 8 + pixels.len() as u32;
    let mut bytes = [b"II*\0".as_slice(), &at.to_le_bytes(), &pixels].concat();
    for (i, kind) in kinds.iter().enumerate() {
        let tags = [
            (254, *kind),
            (256, SIDE),
            (257, SIDE),
            (258, 8),
            (259, 1),
            (262, 1),
            (273, 8),
            (278, SIDE),
            (279, SIDE * SIDE),
        ];
        bytes.extend((tags.len() as u16).to_le_bytes());
        for (tag, value) in tags {
            bytes.extend([u16::to_le_bytes(tag), u16::to_le_bytes(4)].concat());
            bytes.extend([u32::to_le_bytes(1), u32::to_le_bytes(value)].concat());
        }
        let next = bytes.len() as u32 + 4;
        bytes.extend(if i + 1 < kinds.len() { next } else { 0 }.to_le_bytes());
    }
    bytes
}

fn disc(x: u32, y: u32, cx: f64, cy: f64, r: f64) -> bool {
    (f64::from(x) - cx).hypot(f64::from(y) - cy) < r
}

#[test]
fn touching_grains_are_split_and_light_ones_on_dark_are_found() {
    let folder = tempfile::tempdir().unwrap();
    // With edges as soft as a lens makes them.
    let two = |x, y| {
        let within = |middle: f64| 45.0 - (f64::from(x) - middle).hypot(f64::from(y) - 100.0);
        let most = [100.0, 189.0, 320.0].map(within).into_iter().fold(f64::NEG_INFINITY, f64::max);
        (20.0 + 200.0 * (most + 0.5).clamp(0.0, 1.0)) as u8
    };
    fs::write(folder.path().join("two.png"), png(420, 200, two)).unwrap();
    let told = json(folder.path(), &["two.png", "--um-per-pixel", "2"]);
    assert_eq!(told["photos"][0]["ground"], "dark");
    assert_eq!(told["photos"][0]["split"], 2);
    let grains = told["grains"].as_array().unwrap();
    assert_eq!(grains.len(), 3);
    for grain in grains {
        let off = grain["equivalent_um"].as_f64().unwrap() / 180.0 - 1.0;
        assert!(off.abs() < 0.02, "{grain}");
        assert_eq!(grain["roundness"].is_null(), grain["split"] == true);
    }
}

/// A black square of so many pixels a side, turned and sheared (x moves with y), beside a disc.
fn with_square(side: f64, turn: f64, shear: f64) -> Vec<u8> {
    let (sin, cos) = f64::sin_cos(turn);
    let share = |x: u32, y: u32, inside: &dyn Fn(f64, f64) -> bool| {
        let sub = |k: u32| (f64::from(k) + 0.5) / 6.0;
        f64::from((0..36).filter(|k| inside(f64::from(x) + sub(k % 6), f64::from(y) + sub(k / 6))).count() as u32)
            / 36.0
    };
    let square = move |x: f64, y: f64| {
        let (u, v) = (x - 360.3, y - 150.6);
        let (p, q) = (cos * u + sin * v, cos * v - sin * u);
        (p - shear * q).abs() <= side / 2.0 && q.abs() <= side / 2.0
    };
    let grain = |x: f64, y: f64| (x - 110.0).hypot(y - 150.0) < 60.0;
    png(520, 300, |x, y| (230.0 - 200.0 * share(x, y, &|x, y| square(x, y) || grain(x, y))) as u8)
}

#[test]
fn a_square_in_the_picture_gives_the_scale() {
    let folder = tempfile::tempdir().unwrap();
    for (side, turn) in [(120.0, 0.0), (120.0, 0.3), (150.4, 0.785), (71.7, 1.2)] {
        fs::write(folder.path().join("s.png"), with_square(side, turn, 0.0)).unwrap();
        let told = json(folder.path(), &["s.png", "--square-um", "1200"]);
        let um = told["photos"][0]["um_per_pixel"].as_f64().unwrap();
        assert!((um * side / 1200.0 - 1.0).abs() < 0.003, "{side} {turn}: {um}");
        // It is no grain, and the disc is measured by it.
        assert_eq!(told["grains"].as_array().unwrap().len(), 1);
        assert!((told["grains"][0]["equivalent_um"].as_f64().unwrap() / (120.0 * um) - 1.0).abs() < 0.01);
    }
    // Seen at a slant of 8 %, its diagonals differ by as much.
    fs::write(folder.path().join("slant.png"), with_square(120.0, 0.3, 0.08)).unwrap();
    let output = run(folder.path(), &["slant.png", "--square-um", "1200"]);
    let message = String::from_utf8_lossy(&output.stderr).into_owned();
    assert_eq!(output.status.code(), Some(2));
    assert!(message.contains("slant.png: the calibration square is skewed by 8"), "{message}");
    let output = run(root(), &[PHOTO, "--square-um", "1000"]);
    assert!(String::from_utf8_lossy(&output.stderr).contains("no calibration square"));
}

/// Grains that are squares themselves: which of them is the printed one nobody knows. All of one size, they have that size.
#[test]
fn square_grains_are_no_scale_and_sizes_are_those_of_the_grains() {
    let folder = tempfile::tempdir().unwrap();
    let inside = |x: u32, y: u32| {
        let (u, v) = (x % 160, y % 160);
        (30..130).contains(&u) && (30..130).contains(&v)
    };
    fs::write(folder.path().join("salt.png"), png(800, 640, |x, y| if inside(x, y) { 40 } else { 225 })).unwrap();
    let output = run(folder.path(), &["salt.png", "--square-um", "5000"]);
    let message = String::from_utf8_lossy(&output.stderr).into_owned();
    assert!(output.status.code() == Some(2) && message.contains("20 parts of the picture are squares"), "{message}");
    let told = json(folder.path(), &["salt.png", "--um-per-pixel", "2.7"]);
    let grain = told["grains"][0]["equivalent_um"].as_f64().unwrap();
    assert!((grain / (270.0 * (4.0 / std::f64::consts::PI).sqrt()) - 1.0).abs() < 0.01, "{grain}");
    for key in ["d10_um", "d50_um", "d90_um"] {
        let um = told["sample"]["size"]["percentiles"][key].as_f64().unwrap();
        assert!((um / grain - 1.0).abs() < 0.022, "{key}: {um} of grains of {grain}");
    }
}

/// A phone that is held on its side stores its picture lying, with a mark of how to turn it (EXIF, tag 0x0112): both are one picture.
#[test]
fn a_picture_is_looked_at_as_it_was_held() {
    let folder = tempfile::tempdir().unwrap();
    let jpeg = fs::read(root().join(PHOTO)).unwrap();
    let orientation = [0x01, 0x12, 0, 3, 0, 0, 0, 1, 0, 6, 0, 0];
    let tiff = [b"MM\0*\0\0\0\x08\0\x01".as_slice(), &orientation, &[0; 4]].concat();
    let exif = [b"Exif\0\0".as_slice(), &tiff].concat();
    let length = (exif.len() as u16 + 2).to_be_bytes();
    let turned = [&jpeg[..2], &[0xff, 0xe1], &length, &exif, &jpeg[2..]].concat();
    fs::write(folder.path().join("turned.jpg"), turned).unwrap();
    let (plain, turned) =
        (json(root(), &[PHOTO, "--um-per-pixel", "5"]), json(folder.path(), &["turned.jpg", "--um-per-pixel", "5"]));
    let sides = |told: &Value| [&told["photos"][0]["width"], &told["photos"][0]["height"]].map(|v| v.as_u64().unwrap());
    let [width, height] = sides(&plain);
    assert_eq!(sides(&turned), [height, width]);
    assert_eq!(plain["grains"].as_array().unwrap().len(), turned["grains"].as_array().unwrap().len());
    let off = plain["sample"]["roundness"].as_f64().unwrap() - turned["sample"]["roundness"].as_f64().unwrap();
    assert!(off.abs() < 0.01, "{off}");
}

#[test]
fn a_report_holds_the_photograph_with_its_outlines() {
    let folder = tempfile::tempdir().unwrap();
    let photo = root().join(PHOTO);
    let call = [photo.to_str().unwrap(), "--um-per-pixel", "5", "--report", "grains.html", "--report", "grains.md"];
    let told = json(folder.path(), &call);
    let (html, markdown) = (
        fs::read_to_string(folder.path().join("grains.html")).unwrap(),
        fs::read_to_string(folder.path().join("grains.md")).unwrap(),
    );
    let hash = told["photos"][0]["sha256"].as_str().unwrap();
    for words in [hash, "as said", "90 % between", "Powers class", "Zheng and", "cut by the edge", "ISO 13322-1"] {
        assert!(html.to_lowercase().contains(&words.to_lowercase()), "{words}");
        assert!(markdown.to_lowercase().contains(&words.to_lowercase()), "{words}");
    }
    let grains = told["grains"].as_array().unwrap().len();
    assert_eq!(html.matches("<polygon").count(), grains);
    // The photograph itself, small, may be shown; nothing else is fetched.
    assert!(html.contains("img-src data:") && html.contains("href=\"data:image/jpeg;base64,/9j/"));
    assert!(markdown.contains("](pictures/grains-1.svg)"));
    let svg = fs::read_to_string(folder.path().join("pictures/grains-1.svg")).unwrap();
    assert_eq!(svg.matches("<polygon").count(), grains);
    let output = run(folder.path(), &[&call[..3], &["--report", "grains.pdf"]].concat());
    let message = String::from_utf8_lossy(&output.stderr).into_owned();
    assert!(output.status.code() == Some(2) && message.contains("--report grains.pdf: a paper ends in"), "{message}");
}

const MEASURED: &str = "roundness = 0.21\nroundness_low = 0.19\nroundness_high = 0.23\nroundness_source = \"photograph, 84 grains, SHA-256 0123abcd\"\n";

#[test]
fn what_a_photograph_bought_is_told_and_its_source_kept() {
    let folder = tempfile::tempdir().unwrap();
    let scrub = |roundness: &str| {
        format!(
            "[scrub]\nname = \"Polish\"\npowder_load_pct = 5\n\n[[powder]]\nname = \"Olive\"\nmaterial = \"olive-stone\"\n{roundness}parts = 1\n\
             size = {{ d50_um = 200, gsd = 1.3 }}\n"
        )
    };
    let file = |name: &str, roundness: &str| fs::write(folder.path().join(name), scrub(roundness)).unwrap();
    file("table.toml", "");
    file("photo.toml", MEASURED);
    let gritwise = |args: &[&str]| {
        let output = Command::cargo_bin("gritwise").unwrap().current_dir(folder.path()).args(args).output().unwrap();
        assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
        String::from_utf8(output.stdout).unwrap()
    };
    let of = |file: &str| -> Value {
        serde_json::from_str(&gritwise(&["confidence", file, "--draws", "1000", "--json"])).unwrap()
    };
    let (before, after) = (of("table.toml"), of("photo.toml"));
    assert!(before.get("bought").is_none());
    let bought = &after["bought"][0];
    assert_eq!((&bought["powder"], &bought["before"]["input"]), (&"Olive".into(), &"Olive: roundness".into()));
    assert!(bought["source"].as_str().unwrap().starts_with("photograph, 84 grains"));
    // Before: what the same scrub without the photograph says of its roundness; after: what it says with it.
    let held = |report: &Value, key: &str| {
        let shares = report["variance"].as_array().unwrap();
        shares.iter().find(|s| s["input"] == "Olive: roundness").unwrap()[key].clone()
    };
    for key in ["total", "band_total", "first_order", "band_first_order"] {
        assert_eq!(bought["before"][key], held(&before, key), "{key}");
        assert_eq!(bought["after"][key], held(&after, key), "{key}");
    }
    let totals = ["before", "after"].map(|side| bought[side]["total"].as_f64().unwrap());
    assert!(totals[1] < 0.3 * totals[0], "{totals:?}");
    let line = "what measuring the roundness of Olive has bought";
    assert!(gritwise(&["confidence", "photo.toml", "--draws", "1000"]).contains(line));
    // The source is told wherever the number is.
    let blend: Value = serde_json::from_str(&gritwise(&["blend", "photo.toml", "--json"])).unwrap();
    let origin = &blend["powders"][0]["origins"]["roundness"];
    assert_eq!((&origin["status"], &origin["source"]), (&"given".into(), &bought["source"]));
    gritwise(&["dossier", "photo.toml", "--out", "dossier", "--draws", "1000"]);
    let dossier = fs::read_to_string(folder.path().join("dossier/dossier.md")).unwrap();
    for words in ["How roundness was found", "photograph, 84 grains, SHA-256 0123abcd", line] {
        assert!(dossier.contains(words), "{words}");
    }
}

#[test]
fn bad_pictures_are_refused_with_what_would_be_right() {
    let folder = tempfile::tempdir().unwrap();
    let good = png(300, 300, |x, y| if disc(x, y, 150.0, 150.0, 110.0) { 30 } else { 220 });
    // A head that promises 100 megapixels, and one a billion; nothing of them is decoded.
    let vast = |side: u32| {
        let mut bytes = good.clone();
        bytes[16..20].copy_from_slice(&side.to_be_bytes());
        bytes[20..24].copy_from_slice(&side.to_be_bytes());
        let mut crc = 0xffff_ffff_u32;
        for byte in &bytes[12..29] {
            crc ^= u32::from(*byte);
            (0..8).for_each(|_| crc = if crc & 1 == 1 { crc >> 1 ^ 0xedb8_8320 } else { crc >> 1 });
        }
        bytes[29..33].copy_from_slice(&(!crc).to_be_bytes());
        bytes
    };
    let photo = fs::read(root().join(PHOTO)).unwrap();
    let cases: [(&str, Vec<u8>, &str); 12] = [
        ("pages.tif", tiff(&[0, 0]), "holds 2 pictures"),
        ("cut.jpg", photo[..photo.len() * 95 / 100].to_vec(), "breaks off"),
        ("text.png", b"not a picture at all".to_vec(), "no picture"),
        ("empty.png", Vec::new(), "empty"),
        ("gif.png", b"GIF89a\x01\x00\x01\x00\x00\x00\x00;".to_vec(), "no picture"),
        ("half.png", good[..good.len() / 2].to_vec(), "damaged"),
        ("flat.png", png(200, 200, |_, _| 128), "no grains"),
        (
            "noise.png",
            png(200, 200, |x, y| 120 + (x.wrapping_mul(7919) ^ y.wrapping_mul(104_729)) as u8 % 12),
            "no grains",
        ),
        ("blob.png", png(200, 200, |x, y| if x > 4 && y > 4 && x < 196 && y < 196 { 30 } else { 220 }), "one blob"),
        ("small.png", png(8, 8, |_, _| 0), "16 x 16"),
        ("vast.png", vast(10_000), "megapixels"),
        ("bomb.png", vast(60_000), "megapixels"),
    ];
    for (name, bytes, wrong) in cases {
        fs::write(folder.path().join(name), bytes).unwrap();
        let output = run(folder.path(), &[name, "--um-per-pixel", "2"]);
        let message = String::from_utf8_lossy(&output.stderr).into_owned();
        assert_eq!(output.status.code(), Some(2), "{name}: {message}");
        assert!(message.contains(wrong) && message.contains(name), "{name}: {message}");
    }
    // A small picture beside the large one is no page.
    fs::write(folder.path().join("one.tif"), tiff(&[0, 1])).unwrap();
    let one = json(folder.path(), &["one.tif", "--um-per-pixel", "2"]);
    // Of one grain, nobody knows how far the roundness is off; the classes of Powers reach from 0.12 to 1.
    assert_eq!((&one["sample"]["roundness_low"], &one["sample"]["roundness_high"]), (&0.12.into(), &1.0.into()));
    // The disc is drawn without grey at its edge.
    assert!(one["photos"][0]["mask"] == true && one["cautions"].to_string().contains("may be anything"), "{one}");
    fs::write(folder.path().join("good.png"), &good).unwrap();
    fs::write(folder.path().join("again.png"), &good).unwrap();
    let calls: [(&[&str], &str); 11] = [
        (&["good.png", "again.png", "--um-per-pixel", "2"], "the same bytes as good.png"),
        (&["good.png", "--scale-bar", "500 px = 1,000 µm"], "1,000 may be 1000 or 1.000"),
        (&["good.png", "--scale-bar", "500 px = 1.000 um"], "1.000 may be 1000 or 1.000"),
        (&["good.png"], "no scale"),
        (&["good.png", "--um-per-pixel", "0"], "above 0"),
        (&["good.png", "--um-per-pixel", "1e9"], "scale"),
        (&["good.png", "--scale-bar", "500"], "500 px = 1 mm"),
        (&["good.png", "--um-per-pixel", "2", "--into", "none.toml", "--powder", "x"], "none.toml"),
        (&["--tally", "roundish 4"], "roundish"),
        (&["nothing.png", "--um-per-pixel", "2"], "nothing.png"),
        (&["good.png", "--um-per-pixel", "2", "--dust-um", "5000"], "dust"),
    ];
    for (args, wrong) in calls {
        let output = run(folder.path(), args);
        let message = String::from_utf8_lossy(&output.stderr).into_owned();
        assert_eq!(output.status.code(), Some(2), "{args:?}: {message}");
        assert!(message.contains(wrong), "{args:?}: {message}");
    }
}

/// Against scikit-image and OpenCV on the same picture, by `grains_reference.py`.
#[test]
fn sizes_and_shape_are_those_of_other_libraries() {
    let told = json(root(), &[PHOTO, "--um-per-pixel", "1"]);
    let text = fs::read_to_string(root().join("tests/reference/grains_reference.json")).unwrap();
    let reference: Value = serde_json::from_str(&text).unwrap();
    let of = |key: &str, i: usize| reference[key][i].as_f64().unwrap();
    let grains = told["grains"].as_array().unwrap();
    assert_eq!(grains.len(), reference["x"].as_array().unwrap().len());
    for grain in grains {
        let is = |key: &str| grain[key].as_f64().unwrap();
        let off = |i: usize| (of("x", i) - is("x_pixels")).hypot(of("y", i) - is("y_pixels"));
        let own = (0..grains.len()).min_by(|a, b| off(*a).total_cmp(&off(*b))).unwrap();
        for (key, theirs, share) in [
            ("area_um2", "area", 0.005),
            ("perimeter_um", "perimeter", 0.005),
            ("feret_max_um", "feret_max", 0.005),
            ("feret_min_um", "feret_min", 0.005),
            ("solidity", "solidity", 0.003),
        ] {
            let (is, theirs) = (is(key), of(theirs, own));
            assert!((is / theirs - 1.0).abs() < share, "{key}: {is} for {theirs} ({grain})");
        }
    }
}
