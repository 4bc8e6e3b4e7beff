//! Files that results are written into: never one that the answer rests on, never a link, a device or a protected file; the answer stays
//! what it is when nobody reads it.

use crate::common::run_in;
use assert_cmd::cargo::CommandCargoExt;
use std::fs;
use std::path::Path;
use std::process::{Command, Stdio};
use tempfile::TempDir;

const LOT: &str = "opening_um,retained_g\n250,0\n125,60\n63,25\npan,15\n";
const SCRUB: &str = "[scrub]\nname = \"T\"\npowder_load_pct = 5\n[[powder]]\nmaterial = \"olive-stone\"\nparts = 1\n\
                     size = { sieve = \"lot.csv\" }\n";
const COARSE: &str = "[scrub]\nname = \"T\"\npowder_load_pct = 9\n[[powder]]\nmaterial = \"pumice\"\nparts = 1\n\
                      size = { d50_um = 600, gsd = 1.4 }\n";
const AIM: &str =
    "[aim]\nname = \"A\"\nband = \"face\"\ngoal = \"cheapest\"\nshelf = \"shelf.toml\"\npowder_load_pct = 4\n";

fn workshop() -> TempDir {
    let folder = TempDir::new().unwrap();
    let write = |name: &str, text: &str| fs::write(folder.path().join(name), text).unwrap();
    write("lot.csv", LOT);
    write("scrub.toml", SCRUB);
    write("coarse.toml", COARSE);
    folder
}

/// Status of a call, and what it complained of.
fn called(folder: &Path, args: &[&str]) -> (i32, String) {
    let (status, _, complaint) = run_in(folder, args);
    (status, complaint)
}

#[test]
fn a_result_never_replaces_what_it_rests_on_however_it_is_named() {
    let folder = workshop();
    let folder = folder.path();
    fs::create_dir(folder.join("deep")).unwrap();
    for (args, eaten) in [
        (&["blend", "scrub.toml", "--plot", "lot.csv", "--force"][..], ""),
        (&["batch", "scrub.toml", "--mass", "500g", "--write", "lot.csv", "--force"], "lot.csv"),
        (&["batch", "scrub.toml", "--mass", "500g", "--write", "deep/../lot.csv", "--force"], "lot.csv"),
        // A picture has an ending of its own.
        (&["size", "lot.csv", "--plot", "lot.csv", "--force"], ""),
        (&["lot", "lot.csv", "--powder", "olive", "--in", "scrub.toml", "--plot", "scrub.toml", "--force"], ""),
        (&["compare", "scrub.toml", "coarse.toml", "--plot", "coarse.toml", "--force"], ""),
        (&["confidence", "scrub.toml", "--draws", "1000", "--plot", "lot.csv", "--force"], ""),
    ] {
        let (status, said) = called(folder, args);
        assert_eq!(fs::read_to_string(folder.join("lot.csv")).unwrap(), LOT, "{args:?}: {said}");
        assert_eq!(fs::read_to_string(folder.join("scrub.toml")).unwrap(), SCRUB, "{args:?}: {said}");
        assert_eq!(fs::read_to_string(folder.join("coarse.toml")).unwrap(), COARSE, "{args:?}: {said}");
        assert_eq!(status, 2, "{args:?}: {said}");
        if !eaten.is_empty() {
            assert!(said.contains("would replace a file that it is made from"), "{args:?}: {said}");
        }
    }
}

#[test]
fn tables_of_ones_own_and_the_shelf_of_an_aim_are_rested_on_too() {
    let folder = workshop();
    let folder = folder.path();
    let bands = fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("grading-tables/bands.csv")).unwrap();
    fs::create_dir(folder.join("own")).unwrap();
    fs::write(folder.join("own/bands.csv"), &bands).unwrap();
    fs::write(folder.join("aim.toml"), AIM).unwrap();
    let shelf = "[[powder]]\nmaterial = \"rice-bran\"\nprice_per_kg = 9\nsize = { d50_um = 60, gsd = 1.6 }\n";
    fs::write(folder.join("shelf.toml"), shelf).unwrap();
    let over_tables =
        ["--tables", "own", "batch", "coarse.toml", "--mass", "500g", "--write", "own/bands.csv", "--force"];
    let (status, said) = called(folder, &over_tables);
    assert!(status == 2 && said.contains("would replace"), "{said}");
    assert_eq!(fs::read_to_string(folder.join("own/bands.csv")).unwrap(), bands);
    // A folder of blends found in which the shelf lies: its name is not that of a blend, so nothing is lost either way.
    let (_, said) = called(folder, &["aim", "aim.toml", "--write", ".", "--force"]);
    assert_eq!(fs::read_to_string(folder.join("shelf.toml")).unwrap(), shelf, "{said}");
}

#[test]
fn a_closed_pipe_does_not_change_the_answer() {
    let folder = workshop();
    for (file, wanted) in [("coarse.toml", 1), ("scrub.toml", 0)] {
        let mut child = Command::cargo_bin("gritwise")
            .unwrap()
            .current_dir(folder.path())
            .args(["blend", file, "--quick", "--require", "body"])
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .unwrap();
        drop(child.stdout.take());
        assert_eq!(child.wait().unwrap().code(), Some(wanted), "{file}");
    }
}

#[cfg(unix)]
#[test]
fn links_devices_and_protected_files_stay_and_modes_are_kept() {
    use std::os::unix::fs::{PermissionsExt, symlink};
    let folder = workshop();
    let folder = folder.path();
    let plot = |name: &str| called(folder, &["size", "F220", "--plot", name, "--force"]);
    fs::write(folder.join("mine.txt"), "mine").unwrap();
    symlink("mine.txt", folder.join("link.svg")).unwrap();
    let (status, said) = plot("link.svg");
    assert!(status == 2 && said.contains("a link or a device"), "{said}");
    assert_eq!(fs::read_to_string(folder.join("mine.txt")).unwrap(), "mine");

    fs::write(folder.join("kept.svg"), "old").unwrap();
    fs::set_permissions(folder.join("kept.svg"), fs::Permissions::from_mode(0o440)).unwrap();
    let (status, said) = plot("kept.svg");
    assert!(status == 2 && said.contains("write-protected"), "{said}");
    assert_eq!(fs::read_to_string(folder.join("kept.svg")).unwrap(), "old");

    fs::set_permissions(folder.join("kept.svg"), fs::Permissions::from_mode(0o600)).unwrap();
    let (status, said) = plot("kept.svg");
    assert_eq!(status, 0, "{said}");
    assert!(fs::read_to_string(folder.join("kept.svg")).unwrap().starts_with("<svg"));
    assert_eq!(fs::metadata(folder.join("kept.svg")).unwrap().permissions().mode() & 0o777, 0o600);
}
