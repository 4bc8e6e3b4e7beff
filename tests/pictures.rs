//! The pictures: those in `plots/` are what the examples give today, labels keep clear of each other, and nothing that a
//! user types becomes markup.

use crate::common::{assert_clear, text_boxes};
use assert_cmd::Command;
use std::fs;
use std::path::Path;
use tempfile::TempDir;

fn draw(args: &[&str], into: &Path) -> Vec<(String, String)> {
    let root = env!("CARGO_MANIFEST_DIR");
    Command::cargo_bin("gritwise").unwrap().current_dir(root).args(args).assert().success();
    let mut pictures: Vec<(String, String)> = fs::read_dir(into)
        .unwrap()
        .map(|e| e.unwrap().path())
        .map(|p| (p.file_name().unwrap().to_string_lossy().into_owned(), fs::read_to_string(&p).unwrap()))
        .collect();
    pictures.sort();
    pictures
}

#[test]
fn plots_are_drawn_from_the_examples() {
    let folder = TempDir::new().unwrap();
    let into = folder.path().to_str().unwrap();
    let polish = "examples/millrace-rice-polish.toml";
    draw(&["ladder", polish, "--vary", "olive.parts=0..6", "--plot", into], folder.path());
    let drawn = draw(&["blend", polish, "--plot", into], folder.path());
    assert_eq!(drawn.len(), 4);
    for (name, svg) in &drawn {
        let kept = fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("plots").join(name)).unwrap();
        assert!(kept == *svg, "plots/{name} is old; draw it again (see DEVELOPERS.md)");
    }
    // Beside the drawn ones lies the screenshot of the page.
    let kept = fs::read_dir(Path::new(env!("CARGO_MANIFEST_DIR")).join("plots")).unwrap();
    let svg = kept.filter(|e| e.as_ref().unwrap().path().extension().is_some_and(|e| e == "svg")).count();
    assert_eq!(svg, drawn.len(), "plots/ holds a picture that nothing draws");
    // A picture that is there is replaced only with --force.
    let again = ["blend", polish, "--plot", into];
    let mut command = Command::cargo_bin("gritwise").unwrap();
    command.current_dir(env!("CARGO_MANIFEST_DIR")).args(again).assert().code(2);
    assert_eq!(draw(&["blend", again[1], "--plot", into, "--force"], folder.path()), drawn);
}

#[test]
fn labels_keep_clear_of_each_other_and_of_the_edge() {
    for example in ["millrace-rice-polish", "millrace-body-scrub", "osier-bamboo-polish", "weir-foot-scrub"] {
        let folder = TempDir::new().unwrap();
        let file = format!("examples/{example}.toml");
        for (name, svg) in draw(&["blend", &file, "--plot", folder.path().to_str().unwrap()], folder.path()) {
            assert_clear(&name, &svg, 480.0);
        }
    }
}

#[test]
fn labels_of_ladders_and_maps_keep_clear_too() {
    for (example, powder) in [
        ("millrace-rice-polish", "olive"),
        ("millrace-body-scrub", "rice"),
        ("osier-bamboo-polish", "bamboo"),
        ("weir-foot-scrub", "walnut"),
    ] {
        let file = format!("examples/{example}.toml");
        let sizes = format!("{powder}.d50=20..900");
        for vary in [vec![sizes.as_str()], vec!["load=1..90"], vec!["load=3.9..5.1"], vec!["load=1..60", &sizes]] {
            let folder = TempDir::new().unwrap();
            let mut call = vec!["ladder", &file, "--plot", folder.path().to_str().unwrap()];
            call.extend(vary.iter().flat_map(|v| ["--vary", v]));
            let height = if vary.len() == 1 { 880.0 } else { 480.0 };
            for (name, svg) in draw(&call, folder.path()) {
                assert_clear(&format!("{name} {vary:?}"), &svg, height);
            }
        }
    }
}

#[test]
fn labels_of_lots_and_their_charts_keep_clear_too() {
    let folder = TempDir::new().unwrap();
    let path = |name: &str| folder.path().join(name).to_str().unwrap().to_owned();
    let polish = "examples/millrace-rice-polish.toml";
    draw(
        &["lot", "examples/olive-stone-lot.csv", "--powder", "olive", "--in", polish, "--plot", &path("lot.svg")],
        folder.path(),
    );
    for figure in ["d50", "index", "over-top"] {
        let file = path(&format!("{figure}.svg"));
        draw(&["lots", "examples/lots.csv", "--figure", figure, "--plot", &file], folder.path());
    }
    for (name, svg) in draw(&["lots", "examples/lots.csv"], folder.path()) {
        assert_clear(&name, &svg, 880.0);
    }
}

#[test]
fn a_hostile_name_stays_text_and_many_powders_stay_legible() {
    let folder = TempDir::new().unwrap();
    let mut file = String::from(
        "[scrub]\nname = \"<script>alert('x')</script> & a name that is far too long for any title at all\"\npowder_load_pct = 9\n",
    );
    for i in 0..20 {
        let d50 = 40 + 20 * i;
        file += &format!(
            "[[powder]]\nname = \"<b>{i}</b>\"\nmaterial = \"bamboo\"\nparts = {}\nsize = {{ d50_um = {d50}, gsd = 1.3 }}\n",
            i + 1
        );
    }
    let path = folder.path().join("hostile.toml");
    fs::write(&path, file).unwrap();
    let into = folder.path().join("out");
    let pictures = draw(&["blend", path.to_str().unwrap(), "--plot", into.to_str().unwrap()], &into);
    for (name, svg) in pictures {
        assert!(!svg.contains("<script>") && !svg.contains("<b>"), "{name}");
        assert!(text_boxes(&svg).iter().all(|(_, b)| b[2] <= 800.0), "{name}");
    }
}

#[test]
fn a_scrub_that_never_touches_is_drawn_too() {
    let folder = TempDir::new().unwrap();
    let path = folder.path().join("flour.toml");
    let text = "[scrub]\nname = \"Flour\"\npowder_load_pct = 5\n[[powder]]\nmaterial = \"talc\"\nparts = 1\nsize = { range_um = [1, 4] }\n";
    fs::write(&path, text).unwrap();
    let into = folder.path().join("out");
    let pictures = draw(&["blend", path.to_str().unwrap(), "--plot", into.to_str().unwrap()], &into);
    assert!(pictures.iter().any(|(_, svg)| svg.contains("nothing rubs")));
    assert!(pictures.iter().all(|(_, svg)| !svg.contains("NaN")));
}
