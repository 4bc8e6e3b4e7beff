//! What a crash cuts off, and what the system does not grant: sets of files are whole or not there, the next run clears what was left,
//! and where no thread can start the work is done all the same.

use crate::common::run_in;
use assert_cmd::cargo::CommandCargoExt;
use std::collections::BTreeMap;
use std::fs;
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::time::Duration;
use tempfile::TempDir;

const SCRUB: &str = "[scrub]\nname = \"a\"\npowder_load_pct = 5\n[[powder]]\nmaterial = \"rice-bran\"\nparts = 1\nsize = \
                     { d50_um = 60, gsd = 1.6 }\n";

fn workshop() -> TempDir {
    let folder = TempDir::new().unwrap();
    fs::write(folder.path().join("scrub.toml"), SCRUB).unwrap();
    folder
}

/// A weigh sheet of so much, in many files of a folder.
fn sheets(mass: &str) -> Vec<String> {
    let mut call: Vec<String> = ["batch", "scrub.toml", "--force", "--mass", mass].map(str::to_owned).into();
    for i in 0..8 {
        let part = if i % 2 == 0 { "" } else { "part/" };
        for form in ["html", "csv", "xlsx"] {
            call.extend(["--write".to_owned(), format!("out/{part}sheet-{i}.{form}")]);
        }
    }
    call
}

fn run(folder: &Path, call: &[String]) -> String {
    let (status, _, said) = run_in(folder, &call.iter().map(String::as_str).collect::<Vec<_>>());
    assert_eq!(status, 0, "{said}");
    said
}

/// Every file below a folder, with what it holds.
fn files(folder: &Path) -> BTreeMap<String, Vec<u8>> {
    let (mut found, mut folders) = (BTreeMap::new(), vec![folder.to_owned()]);
    while let Some(inside) = folders.pop() {
        for entry in fs::read_dir(inside).into_iter().flatten() {
            let path = entry.unwrap().path();
            let name = path.strip_prefix(folder).unwrap().display().to_string();
            if path.is_dir() { folders.push(path) } else { drop(found.insert(name, fs::read(path).unwrap())) }
        }
    }
    found
}

fn waiting(folder: &Path) -> usize {
    let names = fs::read_dir(folder).into_iter().flatten().map(|e| e.unwrap().file_name());
    names.filter(|name| name.to_string_lossy().starts_with(".gritwise-")).count()
}

fn started(folder: &Path, call: &[String]) -> Child {
    let mut command = Command::cargo_bin("gritwise").unwrap();
    command.current_dir(folder).args(call).stdout(Stdio::null()).stderr(Stdio::null()).spawn().unwrap()
}

/// Starts the program, and kills it so many microseconds after it has begun to write in the folder; whether it was still running.
fn killed_while_it_writes(folder: &Path, begun_in: &Path, call: &[String], after: Duration) -> bool {
    let mut child = started(folder, call);
    while waiting(begun_in) == 0 && child.try_wait().unwrap().is_none() {}
    let from = std::time::Instant::now();
    while from.elapsed() < after {}
    child.kill().unwrap();
    !child.wait().unwrap().success()
}

/// Kills the program so many times while it writes; how many times it was in time.
fn kill(times: u64) -> u64 {
    let shop = workshop();
    let (folder, out) = (shop.path(), shop.path().join("out"));
    let calls = ["500g", "600g"].map(sheets);
    let wanted = calls.each_ref().map(|call| {
        run(folder, call);
        files(&out)
    });
    assert_eq!(wanted[0].len(), 24);
    assert_ne!(wanted[0], wanted[1]);
    // Some other result that goes into the same folder.
    let next = ["size", "F220", "--plot", "out/other.svg", "--force"].map(str::to_owned);
    let (mut in_time, mut seed) = (0, 7_u64);
    for time in 0..times {
        seed = seed.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        let after = Duration::from_micros((seed >> 33) % 9_000);
        let call = &calls[usize::try_from(time).unwrap() % 2];
        if time % 3 == 0 {
            // Into a folder that is not there: it comes as a whole, or not at all.
            fs::remove_dir_all(&out).unwrap();
            in_time += u64::from(killed_while_it_writes(folder, folder, call, after));
            let there = files(&out);
            assert!(there.is_empty() || wanted.contains(&there), "a folder is torn after {after:?}");
        } else {
            in_time += u64::from(killed_while_it_writes(folder, &out, call, after));
        }
        run(folder, &next);
        fs::remove_file(out.join("other.svg")).unwrap();
        let there = files(&out);
        assert!(there.is_empty() || wanted.contains(&there), "torn after {after:?}: {:?}", there.keys());
        assert_eq!((waiting(folder), waiting(&out)), (0, 0), "strays after {after:?}");
        run(folder, call);
        assert!(wanted.contains(&files(&out)));
    }
    in_time
}

#[test]
fn a_kill_at_any_moment_tears_no_set_and_leaves_no_strays() {
    assert!(kill(21) > 0);
}

/// `cargo test --test suite hardship:: -- --ignored --nocapture`
#[test]
#[ignore = "five hundred starts take minutes"]
fn five_hundred_kills_tear_no_set_and_leave_no_strays() {
    println!("{} of 500 kills came while a set was being written; files torn 0, strays left 0", kill(500));
}

/// A signal that asks the program to end waits until the set is in its place, and ends the program then.
#[test]
#[cfg(unix)]
fn a_signal_while_a_set_is_written_leaves_it_whole_and_no_strays() {
    use std::os::unix::process::ExitStatusExt;
    let shop = workshop();
    let (folder, out) = (shop.path(), shop.path().join("out"));
    let call = sheets("500g");
    run(folder, &call);
    let wanted = files(&out);
    let mut ended = 0;
    // On a busy machine a set is often whole before the signal comes.
    for (i, (name, number)) in [("-TERM", 15), ("-INT", 2)].repeat(20).into_iter().enumerate() {
        if i >= 8 && ended > 0 {
            break;
        }
        fs::remove_dir_all(&out).unwrap();
        let mut child = started(folder, &call);
        while waiting(folder) == 0 && child.try_wait().unwrap().is_none() {}
        assert!(Command::new("kill").args([name, &child.id().to_string()]).status().unwrap().success());
        let signal = child.wait().unwrap().signal();
        assert!(signal.is_none_or(|signal| signal == number), "{signal:?}");
        ended += u32::from(signal.is_some());
        assert_eq!((files(&out), waiting(folder)), (wanted.clone(), 0), "{name}");
    }
    assert!(ended > 0, "no signal came in time");
}

#[test]
fn what_a_crash_left_is_ended_by_the_next_run() {
    let shop = workshop();
    let (folder, out) = (shop.path(), shop.path().join("out"));
    let next = |more: &[&str]| run_in(folder, &[&["size", "F220", "--plot", "out/other.svg"], more].concat());
    let left = |name: &str, files: &[(&str, &str)]| {
        for (file, text) in files {
            let path = out.join(name).join(file);
            fs::create_dir_all(path.parent().unwrap()).unwrap();
            fs::write(path, text).unwrap();
        }
    };
    // Not marked whole: it goes.
    left(".gritwise-a", &[("held", ""), ("set/a.txt", "a")]);
    // Marked whole: it is put in its place; what replaces nothing stays away from what is there.
    left(".gritwise-b", &[("held", ""), ("set/b.txt", "b"), ("set/deep/er/c.txt", "c"), ("whole", "")]);
    fs::write(out.join("d.txt"), "mine").unwrap();
    left(".gritwise-d", &[("held", ""), ("set/d.txt", "not mine"), ("whole", "")]);
    let (status, _, said) = next(&[]);
    assert!(
        status == 0 && said.contains("out: files that an earlier run had not put in their place are there now"),
        "{said}"
    );
    let found = files(&out);
    let names: Vec<&str> = found.keys().map(String::as_str).collect();
    assert_eq!(names, ["b.txt", "d.txt", "deep/er/c.txt", "other.svg"]);
    assert_eq!(found["d.txt"], b"mine");
    // What replaces: a file that was changed since stays.
    left(".gritwise-e", &[("held", ""), ("set/d.txt", "new"), ("set/b.txt", "new"), ("whole-replaces", "")]);
    std::thread::sleep(Duration::from_millis(20));
    fs::write(out.join("b.txt"), "changed since").unwrap();
    assert_eq!(next(&["--force"]).0, 0);
    let found = files(&out);
    assert_eq!((found["d.txt"].as_slice(), found["b.txt"].as_slice()), (&b"new"[..], &b"changed since"[..]));
    // What a living program holds is left alone.
    left(".gritwise-f", &[("held", ""), ("set/f.txt", "f")]);
    let held = fs::File::open(out.join(".gritwise-f/held")).unwrap();
    held.lock().unwrap();
    assert_eq!(next(&["--force"]).0, 0);
    assert_eq!(waiting(&out), 1);
    drop(held);
    assert_eq!(next(&["--force"]).0, 0);
    assert_eq!(waiting(&out), 0);
}

#[test]
fn a_file_in_the_way_of_a_folder_is_named() {
    let shop = workshop();
    for (plot, wanted) in [
        ("scrub.toml/a.svg", "scrub.toml: the folder cannot be made: a file is there"),
        ("scrub.toml/b/a.svg", "scrub.toml: the folder cannot be made: a file is there"),
    ] {
        let (status, _, said) = run_in(shop.path(), &["size", "F220", "--plot", plot]);
        assert!(status == 2 && said.contains(wanted), "{said}");
    }
    for plot in ["new/../a.svg", "deep/er/a.svg", "./b.svg"] {
        let (status, _, said) = run_in(shop.path(), &["size", "F220", "--plot", plot]);
        assert!(status == 0 && shop.path().join(plot).is_file(), "{said}");
    }
    assert_eq!(waiting(shop.path()), 0);
}

/// A thread whose stack is larger than any memory is refused by the system as one too many is.
#[cfg(target_os = "linux")]
#[test]
fn where_no_thread_can_start_the_work_is_done_all_the_same() {
    let shop = workshop();
    let shelf = "[[powder]]\nmaterial = \"rice-bran\"\nprice_per_kg = 9\nsize = { d50_um = 60, gsd = 1.6 }\n[[powder]]\n\
                 material = \"pumice\"\nprice_per_kg = 3\nsize = { d50_um = 90, gsd = 1.5 }\n";
    let aim = "[aim]\nname = \"a\"\nshelf = \"shelf.toml\"\ngoal = \"cheapest\"\nload_pct = [3, 8]\nband = \"face\"\n";
    fs::write(shop.path().join("shelf.toml"), shelf).unwrap();
    fs::write(shop.path().join("aim.toml"), aim).unwrap();
    let said = |args: &[&str], stack: Option<&str>| {
        let mut command = assert_cmd::Command::cargo_bin("gritwise").unwrap();
        if let Some(stack) = stack {
            command.env("RUST_MIN_STACK", stack);
        }
        let output = command.current_dir(shop.path()).args(args).output().unwrap();
        (output.status.code(), output.stdout, String::from_utf8(output.stderr).unwrap())
    };
    for args in [&["blend", "scrub.toml"][..], &["aim", "aim.toml"]] {
        let alone = said(args, Some("70368744177664"));
        assert_eq!(alone, said(args, None), "{args:?}");
        assert!(alone.0 < Some(2), "{}", alone.2);
    }
    #[cfg(feature = "page")]
    {
        let (status, _, told) = said(&["page", ".", "--no-open"], Some("70368744177664"));
        assert!(status == Some(2) && told.contains("the page needs some threads"), "{told}");
    }
}
