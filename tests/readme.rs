//! What README and guides show as output is what the program really prints, and what they name is there.

use assert_cmd::Command;
use std::fs;
use std::path::{Path, PathBuf};
use std::thread;

/// The documents, and how many outputs each of them shows.
const DOCUMENTS: [(&str, usize); 4] =
    [("README.md", 1), ("examples/README.md", 26), ("grading-tables/README.md", 3), ("tests/README.md", 0)];

/// What the README gives to type that is no call of the program itself: the main job on the shipped example, and the tests.
const FIRST_STEPS: [&str; 2] = ["$ cargo run --release -- blend examples/millrace-rice-polish.toml", "$ cargo test"];

/// Folders of the repository that the published package leaves out; what reads one does without where it is missing.
const NOT_PACKED: [&str; 6] = [".ci", ".github", "tests/axe-core", "fuzz", "packaging", "deny.toml"];

const README_LINES: usize = 220;
const README_COLUMNS: usize = 120;

/// A document parted into its code and all else.
struct Document {
    path: &'static str,
    /// What stands outside code blocks, line by line.
    prose: Vec<String>,
    /// Language and lines of every code block.
    code: Vec<(String, Vec<String>)>,
}

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

fn gritwise(arguments: &[String]) -> String {
    let output = Command::cargo_bin("gritwise").unwrap().current_dir(root()).args(arguments).output().unwrap();
    // A call that is refused says so on standard error and prints nothing.
    let said = if output.stdout.is_empty() { output.stderr } else { output.stdout };
    String::from_utf8(said).unwrap()
}

fn read(path: &'static str) -> Document {
    let text = fs::read_to_string(root().join(path)).unwrap();
    let mut document = Document { path, prose: Vec::new(), code: Vec::new() };
    let mut inside = false;
    for line in text.lines() {
        match line.strip_prefix("```") {
            Some(language) if !inside => document.code.push((language.to_owned(), Vec::new())),
            Some(rest) => assert!(rest.is_empty(), "{path}: a code block ends with {line}"),
            None if inside => document.code.last_mut().unwrap().1.push(line.to_owned()),
            None => document.prose.push(line.to_owned()),
        }
        inside ^= line.starts_with("```");
    }
    assert!(!inside, "{path}: the last code block has no end");
    document
}

/// The words of a call; double quotes hold one together.
fn words(call: &str) -> Vec<String> {
    let pieces = call.split('"').enumerate();
    pieces
        .flat_map(|(i, piece)| {
            let quoted = i % 2 == 1;
            if quoted { vec![piece.to_owned()] } else { piece.split_whitespace().map(str::to_owned).collect() }
        })
        .collect()
}

/// Runs every call that a document shows, and tells how many there were.
fn run_all(document: &Document) -> usize {
    let mut checked = 0;
    for (language, lines) in &document.code {
        if language != "console" {
            assert!(lines.iter().all(|l| !l.starts_with("$ ")), "{}: a call outside a console block", document.path);
            continue;
        }
        let (call, printed) = lines.split_first().unwrap();
        if document.path == "README.md" && FIRST_STEPS.contains(&call.as_str()) {
            assert!(printed.is_empty(), "{}: {call} shows an output that nothing checks", document.path);
            continue;
        }
        let arguments = call.strip_prefix("$ gritwise ").unwrap_or_else(|| panic!("{}: {call}", document.path));
        assert!(!arguments.contains(['>', '<', '|', ';', '&']), "{}: no shell here: {call}", document.path);
        let shown: String = printed.iter().map(|line| format!("{line}\n")).collect();
        assert_eq!(gritwise(&words(arguments)), shown, "{}: {call}", document.path);
        checked += 1;
    }
    checked
}

#[test]
fn outputs_are_real() {
    thread::scope(|scope| {
        for (path, outputs) in DOCUMENTS {
            scope.spawn(move || assert_eq!(run_all(&read(path)), outputs, "outputs in {path}"));
        }
    });
}

#[test]
fn the_readme_is_short_and_gives_the_first_steps() {
    let text = fs::read_to_string(root().join("README.md")).unwrap();
    assert!(text.lines().count() <= README_LINES, "{} lines", text.lines().count());
    let wide: Vec<&str> = text.lines().filter(|l| l.chars().count() > README_COLUMNS).collect();
    assert!(wide.is_empty(), "wider than {README_COLUMNS} columns: {wide:#?}");
    for step in FIRST_STEPS {
        assert_eq!(text.matches(&format!("```console\n{step}\n```\n")).count(), 1, "{step}");
    }
    assert!(text.contains(env!("CARGO_PKG_RUST_VERSION")), "the README names the toolchain that Cargo.toml asks for");
}

/// Commands by `gritwise --help`, but for `help` itself.
fn commands() -> Vec<String> {
    let help = gritwise(&["--help".to_owned()]);
    let list = help.split_once("Commands:\n").unwrap().1.split("\n\n").next().unwrap();
    let names = list.lines().filter_map(|l| l.strip_prefix("  ")).filter(|l| !l.starts_with(' '));
    names.map(|l| l.split(' ').next().unwrap().to_owned()).filter(|c| c != "help").collect()
}

#[test]
fn every_command_has_its_row_and_its_guide() {
    let readme = read("README.md");
    let rows: Vec<Vec<&str>> =
        readme.prose.iter().filter(|l| l.starts_with("| ")).map(|l| l.split('|').map(str::trim).collect()).collect();
    let known = commands();
    assert!(known.len() >= 18, "{known:?}");
    for command in &known {
        let calls =
            |row: &&Vec<&str>| words(row[2].trim_matches('`')).get(..2) == Some(&["gritwise".into(), command.clone()]);
        let row = rows.iter().find(calls).unwrap_or_else(|| panic!("no row of the README's table is about {command}"));
        assert!(row[3].contains("]("), "no guide for {command}: {row:?}");
    }
    for row in rows.iter().filter(|r| r[2].starts_with("`gritwise ")) {
        let command = &words(row[2].trim_matches('`'))[1];
        assert!(known.contains(command), "there is no command {command}: {row:?}");
    }
}

/// Names in a folder of the repository, but for its guide.
fn names_in(folder: &str) -> Vec<String> {
    let entries = fs::read_dir(root().join(folder)).unwrap();
    let name = |e: std::io::Result<fs::DirEntry>| e.unwrap().file_name().into_string().unwrap();
    entries.map(name).filter(|name| name != "README.md").collect()
}

#[test]
fn every_example_table_and_test_file_is_named_in_its_guide() {
    for folder in ["examples", "grading-tables", "tests"] {
        let guide = fs::read_to_string(root().join(folder).join("README.md")).unwrap();
        let missing: Vec<String> =
            names_in(folder).into_iter().filter(|name| !guide.contains(&format!("]({name})"))).collect();
        assert!(missing.is_empty(), "{folder}/README.md does not link to {missing:?}");
    }
}

#[test]
fn every_column_of_a_table_is_told() {
    let guide = fs::read_to_string(root().join("grading-tables/README.md")).unwrap();
    for name in names_in("grading-tables") {
        let table = fs::read_to_string(root().join("grading-tables").join(&name)).unwrap();
        let heading = format!("\n### {}\n", name.trim_end_matches(".csv"));
        let section = guide.split_once(&heading).unwrap_or_else(|| panic!("no section for {name}")).1;
        let section = section.split("\n### ").next().unwrap();
        let header = table.lines().find(|l| !l.starts_with('#')).unwrap();
        let untold: Vec<&str> = header.split(',').filter(|c| !section.contains(&format!("`{c}`"))).collect();
        assert!(untold.is_empty(), "{name}: grading-tables/README.md says nothing of {untold:?}");
    }
}

#[test]
fn what_is_not_packed_is_told_and_no_test_is_built_from_it() {
    let manifest = fs::read_to_string(root().join("Cargo.toml")).unwrap();
    let list = manifest.split_once("exclude = [").unwrap().1.split(']').next().unwrap();
    let left_out: Vec<&str> = list.split('"').skip(1).step_by(2).map(|e| e.trim_end_matches('/')).collect();
    assert_eq!(left_out, NOT_PACKED);
    let mut folders = vec![root().join("tests"), root().join("src"), root().join("benches")];
    let mut seen = 0;
    while let Some(folder) = folders.pop() {
        for path in fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path()) {
            if path.is_dir() {
                folders.push(path);
            } else if path.extension().is_some_and(|e| e == "rs") {
                let text = fs::read_to_string(&path).unwrap();
                for included in text.split("include_str!(\"").skip(1).chain(text.split("include_bytes!(\"").skip(1)) {
                    let file = path.parent().unwrap().join(included.split('"').next().unwrap()).canonicalize().unwrap();
                    let outside = NOT_PACKED.iter().find(|name| file.starts_with(root().join(name)));
                    assert_eq!(outside, None, "{}", path.display());
                    seen += 1;
                }
            }
        }
    }
    assert!(seen > 5, "{seen} files are built in");
}

/// What follows every `](` up to its `)`.
fn links(document: &Document) -> Vec<String> {
    let prose = document.prose.join("\n");
    prose.split("](").skip(1).map(|rest| rest.split(')').next().unwrap().to_owned()).collect()
}

/// The anchor of a heading, as code hosts make it.
fn anchor(heading: &str) -> String {
    let kept = heading.trim_start_matches('#').trim().to_lowercase();
    kept.chars().filter(|c| c.is_alphanumeric() || " -_".contains(*c)).collect::<String>().replace(' ', "-")
}

#[test]
fn every_link_leads_somewhere() {
    let documents = DOCUMENTS.map(|(path, _)| read(path));
    let anchors = |path: &Path| -> Vec<String> {
        let text = fs::read_to_string(path).unwrap();
        text.lines().filter(|l| l.starts_with('#')).map(anchor).collect()
    };
    for document in &documents {
        let here = root().join(document.path);
        let found = links(document);
        assert!(!found.is_empty(), "{}: no links", document.path);
        for link in found.iter().filter(|l| !l.starts_with("https://")) {
            let (file, place) = link.split_once('#').map_or((link.as_str(), None), |(f, p)| (f, Some(p)));
            let target: PathBuf = if file.is_empty() { here.clone() } else { here.parent().unwrap().join(file) };
            let is_packed = !NOT_PACKED.iter().any(|name| target.starts_with(root().join(name)));
            assert!(target.exists() || !is_packed, "{}: {link} leads nowhere", document.path);
            if let Some(place) = place {
                assert!(anchors(&target).iter().any(|a| a == place), "{}: no heading for {link}", document.path);
            }
        }
    }
}
