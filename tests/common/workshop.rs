//! A workshop of a test: the polish, its olive stone and its lots, in a folder of its own.

use assert_cmd::Command;
use serde_json::Value;
use std::fs;
use std::path::Path;
use std::process::Output;
use tempfile::TempDir;

pub const POLISH: &str = "examples/millrace-rice-polish.toml";
const LOT: &str = "examples/olive-stone-lot.csv";
pub const LOT_FILE: &str = "olive-stone-lot.csv";

pub fn run(folder: &Path, args: &[&str]) -> Output {
    Command::cargo_bin("gritwise").unwrap().current_dir(folder).args(args).output().unwrap()
}

/// A folder with the polish, its olive stone table and the lots of a test.
pub struct Workshop(TempDir);

impl Workshop {
    pub fn new() -> Self {
        let folder = TempDir::new().unwrap();
        let root = Path::new(env!("CARGO_MANIFEST_DIR"));
        for name in [POLISH, LOT, "examples/olive-stone-sieved.csv", "examples/lots.csv"] {
            let name = root.join(name);
            fs::copy(&name, folder.path().join(name.file_name().unwrap())).unwrap();
        }
        fs::rename(folder.path().join("millrace-rice-polish.toml"), folder.path().join("scrub.toml")).unwrap();
        Self(folder)
    }

    pub fn path(&self) -> &Path {
        self.0.path()
    }

    pub fn write(&self, name: &str, text: &str) {
        fs::write(self.path().join(name), text).unwrap();
    }

    pub fn read(&self, name: &str) -> String {
        fs::read_to_string(self.path().join(name)).unwrap()
    }

    /// A sieve table of the example's openings.
    pub fn sieves(&self, name: &str, retained: [f64; 9]) {
        let openings = ["300", "250", "212", "180", "150", "125", "106", "90", "pan"];
        let rows: String = openings.iter().zip(retained).map(|(o, g)| format!("{o},{g}\n")).collect();
        self.write(name, &format!("opening_um,retained_g\n{rows}"));
    }

    pub fn lot(&self, args: &[&str]) -> (i32, Value) {
        let call = [&["lot"], args, &["--powder", "olive", "--in", "scrub.toml", "--json"]].concat();
        let output = run(self.path(), &call);
        let message = String::from_utf8_lossy(&output.stderr).into_owned();
        (output.status.code().unwrap(), serde_json::from_slice(&output.stdout).unwrap_or_else(|_| panic!("{message}")))
    }
}

pub fn number(value: &Value) -> f64 {
    value.as_f64().unwrap()
}

pub fn texts(value: &Value) -> String {
    value.as_array().unwrap().iter().map(|t| t.as_str().unwrap()).collect::<Vec<_>>().join("\n")
}
