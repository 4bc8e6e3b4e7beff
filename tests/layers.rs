//! The rooms of the house use only those below them (see DEVELOPERS.md): every `use crate::` line is read.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

/// Rooms, lowest first.
const ROOMS: [&str; 22] = [
    "units",
    "source",
    "numerics",
    "size",
    "tables",
    "powder",
    "blend",
    "rub",
    "band",
    "design",
    "confidence",
    "aim",
    "lots",
    "panel",
    "formula",
    "records",
    "files",
    "report",
    "plot",
    "tasks",
    "page",
    "cli",
];

/// Rooms that stand side by side though the list has to give them an order.
const APART: [(&str, &str); 2] = [("report", "files"), ("plot", "files")];

fn sources(folder: &Path, into: &mut Vec<PathBuf>) {
    for entry in std::fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        // The kernel and the grains are packages of their own, which cannot look up; the module stands above all rooms.
        let is_apart = ["src/kernel", "src/grains", "src/standalone"].iter().any(|package| path.ends_with(package));
        if path.is_dir() && !is_apart {
            sources(&path, into);
        } else if path.extension().is_some_and(|e| e == "rs") {
            into.push(path);
        }
    }
}

#[test]
fn no_arrow_runs_back() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let mut files = Vec::new();
    sources(&root, &mut files);
    assert!(files.len() > 30);
    let mut arrows = 0;
    for file in files {
        let inside = file.strip_prefix(&root).unwrap();
        let room = inside.iter().next().unwrap().to_string_lossy().trim_end_matches(".rs").to_owned();
        let Some(rank) = ROOMS.iter().position(|r| *r == room) else {
            assert!(["lib", "main"].contains(&room.as_str()), "{room} is no room of the plan");
            continue;
        };
        let text = std::fs::read_to_string(&file).unwrap();
        // Tests may look anywhere.
        let code = text.split("#[cfg(test)]").next().unwrap();
        for target in code.split("crate::").skip(1) {
            let used = target.split(|c: char| !c.is_alphanumeric() && c != '_').next().unwrap();
            let Some(used_rank) = ROOMS.iter().position(|r| *r == used) else { continue };
            assert!(used_rank <= rank, "{} uses {used}, which lies above {room}", inside.display());
            assert!(!APART.contains(&(room.as_str(), used)), "{} uses {used}", inside.display());
            arrows += 1;
        }
    }
    assert!(arrows > 80, "the scan found only {arrows} arrows");
}

/// Every type bears a name of its own, in the kernel and the grains too: what is `Weighed` in one room is not something else in another.
#[test]
fn no_type_name_stands_for_two_ideas() {
    let src = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let mut files = Vec::new();
    // Those of other packages are not in this one when it is published.
    for folder in [src.clone(), src.join("kernel/src"), src.join("grains/src")].iter().filter(|folder| folder.is_dir())
    {
        sources(folder, &mut files);
    }
    let mut seen: BTreeMap<String, PathBuf> = BTreeMap::new();
    for file in files {
        let text = std::fs::read_to_string(&file).unwrap();
        let code = text.split("#[cfg(test)]\nmod").next().unwrap();
        // What stands within a block and is seen by nobody else is part of that block; a macro's types are public.
        let is_seen = |line: &&str| !line.starts_with(' ') || line.trim_start().starts_with("pub");
        for line in code.lines().filter(is_seen) {
            let mut words = line.split_whitespace().skip_while(|w| !["struct", "enum", "trait", "type"].contains(w));
            let declares = line
                .trim_start()
                .split(['(', ' '])
                .next()
                .is_some_and(|w| ["pub", "struct", "enum", "trait", "type"].contains(&w));
            let Some(name) = words.nth(1).filter(|_| declares) else { continue };
            let name: String = name.chars().take_while(|c| c.is_alphanumeric()).collect();
            // A macro's `$name` is none yet.
            if name.is_empty() {
                continue;
            }
            if let Some(other) = seen.insert(name.clone(), file.clone()).filter(|other| *other != file) {
                panic!("{name} is in {} and in {}", other.display(), file.display());
            }
        }
    }
    assert!(seen.len() > 700, "{} types", seen.len());
}

#[test]
fn only_the_command_line_prints() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let mut files = Vec::new();
    sources(&root, &mut files);
    for file in files.iter().filter(|f| !f.starts_with(root.join("cli"))) {
        // What stands in comments is not printed.
        let text = code_of(file);
        for word in ["println!", "eprint", "print!(", "std::env", "stdout", "Instant::now", "SystemTime"] {
            assert!(!text.contains(word), "{} holds {word}", file.display());
        }
    }
}

/// The modules that a file of a room names by `super::other::` or `crate::room::other::`, of those that stand beside it.
fn named_beside(code: &str, lead: &str, others: &[String]) -> Vec<String> {
    let named = |other: &&String| {
        let name = format!("{lead}{other}");
        let ends = |at: usize| !code[at..].starts_with(|c: char| c.is_alphanumeric() || c == '_');
        code.match_indices(&name).any(|(at, found)| ends(at + found.len()))
    };
    others.iter().filter(named).cloned().collect()
}

/// What a file says in code: no comments, no tests.
fn code_of(file: &PathBuf) -> String {
    let text = std::fs::read_to_string(file).unwrap();
    let code = text.split("#[cfg(test)]").next().unwrap();
    code.lines().filter(|l| !l.trim_start().starts_with("//")).collect()
}

/// Within a room no file needs another that needs it, by whatever way round.
#[test]
fn no_circle_within_a_room() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let mut files = Vec::new();
    sources(&root, &mut files);
    let mut looked_at = 0;
    files.sort();
    let mut rooms: Vec<PathBuf> = files.iter().map(|f| f.parent().unwrap().to_owned()).filter(|f| *f != root).collect();
    rooms.sort();
    rooms.dedup();
    for room in rooms {
        let path = room.strip_prefix(&root).unwrap().to_string_lossy().replace('/', "::");
        // What stands in a room: files, and rooms within it.
        let is_inside = |f: &PathBuf| *f != room.join("mod.rs") && f.starts_with(&room);
        let first = |f: &PathBuf| f.strip_prefix(&room).unwrap().iter().next().unwrap().to_owned();
        let mut inside: Vec<_> = files.iter().filter(|f| is_inside(f)).map(first).collect();
        inside.dedup();
        let names: Vec<String> =
            inside.iter().map(|f| Path::new(f).file_stem().unwrap().to_string_lossy().into_owned()).collect();
        let needs: Vec<Vec<String>> = inside
            .iter()
            .map(|part| {
                let part = room.join(part);
                let code: String = files.iter().filter(|f| f.starts_with(&part)).map(code_of).collect();
                // Of a room within, `super` is the room itself.
                let beside = if part.is_dir() { Vec::new() } else { named_beside(&code, "super::", &names) };
                [beside, named_beside(&code, &format!("crate::{path}::"), &names)].concat()
            })
            .collect();
        // What is left when files that need nothing are taken away, again and again, goes in circles.
        let mut left: Vec<usize> = (0..names.len()).collect();
        loop {
            let stays = |i: &usize| needs[*i].iter().any(|n| n != &names[*i] && left.iter().any(|j| names[*j] == *n));
            let next: Vec<usize> = left.iter().copied().filter(stays).collect();
            if next.len() == left.len() {
                break;
            }
            left = next;
        }
        let circle: Vec<&String> = left.iter().map(|i| &names[*i]).collect();
        assert!(circle.is_empty(), "{path}: {circle:?} need each other");
        looked_at += needs.iter().map(Vec::len).sum::<usize>();
    }
    assert!(looked_at > 100, "the scan found only {looked_at} arrows");
}
