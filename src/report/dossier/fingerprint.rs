//! What a dossier was made from, so that anybody can make it again and see whether it is the same.

use crate::confidence::SURE;
use crate::source::sha256_hex;
use crate::tables::{BUILT_IN, Tables};
use serde::{Deserialize, Serialize};
use std::path::{Component, Path};

/// Folder of a dossier that holds copies of what it was made from.
pub const INPUTS: &str = "inputs";

/// Folder of a dossier that holds copies of the user's own tables.
pub const TABLES: &str = "tables";

/// An argument as a shell takes it.
fn quoted(argument: &str) -> String {
    let plain = |c: char| c.is_ascii_alphanumeric() || "-_./".contains(c);
    if argument.chars().all(plain) { argument.to_owned() } else { format!("'{}'", argument.replace('\'', "'\\''")) }
}

/// Everything that decides the bytes of a dossier.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Fingerprint {
    /// Version of the program.
    pub version: String,
    /// The call.
    pub call: Call,
    /// Files read, the scrub file first. Names are relative to a folder that holds them all.
    pub files: Vec<HashedFile>,
    /// Tables in force.
    pub tables: Vec<HashedTable>,
}

/// Of 100 draws, how many have to meet a band unless another number is asked for.
pub const NINE_IN_TEN: u32 = (100.0 * SURE) as u32;

fn nine_in_ten() -> u32 {
    NINE_IN_TEN
}

/// What the dossier was asked for with.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Call {
    /// Date that the dossier carries, year first.
    pub date: Option<String>,
    /// Band that the scrub has to meet.
    pub require: Option<String>,
    /// Of 100 draws, how many have to meet it.
    #[serde(default = "nine_in_ten")]
    pub sure: u32,
    /// Draws for how sure it is.
    pub draws: u64,
    /// Seed of the draws.
    pub seed: u64,
}

/// A file and its hash.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct HashedFile {
    /// Its name.
    pub file: String,
    /// SHA-256 in hexadecimal (FIPS 180-4).
    pub sha256: String,
}

/// A table and its hash.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct HashedTable {
    /// Its name.
    pub table: String,
    /// Whether it came with the program.
    pub built_in: bool,
    /// SHA-256 in hexadecimal.
    pub sha256: String,
}

impl Fingerprint {
    /// Of files already read (name and bytes), the scrub file first, and the tables in force.
    pub fn new(call: Call, files: &[(String, Vec<u8>)], tables: &Tables) -> Self {
        let hashed = |(file, bytes): &(String, Vec<u8>)| HashedFile { file: file.clone(), sha256: sha256_hex(bytes) };
        let tables = tables.files().iter().map(|t| HashedTable {
            table: t.name.to_owned(),
            built_in: t.origin == BUILT_IN,
            sha256: sha256_hex(t.text.as_bytes()),
        });
        Self {
            version: env!("CARGO_PKG_VERSION").to_owned(),
            call,
            files: files.iter().map(hashed).collect(),
            tables: tables.collect(),
        }
    }

    /// The call as one types it in the dossier's own folder.
    pub fn command(&self) -> String {
        let file = self.files.first().map_or("", |f| f.file.as_str());
        let option = |name: &str, value: &Option<String>| value.as_ref().map(|v| format!(" --{name} {}", quoted(v)));
        let tables = self.has_own_tables().then(|| format!(" --tables {TABLES}"));
        let options = [option("require", &self.call.require), option("date", &self.call.date), tables];
        let options: String = options.into_iter().flatten().collect();
        let Call { draws, seed, .. } = self.call;
        format!(
            "gritwise dossier {}{options} --draws {draws} --seed {seed} --out DIR",
            quoted(&format!("{INPUTS}/{file}"))
        )
    }

    /// Whether tables of the user's own were in force.
    pub fn has_own_tables(&self) -> bool {
        self.own_tables().next().is_some()
    }

    /// Names of the tables that were the user's own.
    pub fn own_tables(&self) -> impl Iterator<Item = &str> {
        self.tables.iter().filter(|t| !t.built_in).map(|t| t.table.as_str())
    }

    /// The first file name that is not a plain name below the dossier's folder.
    pub fn foreign_name(&self) -> Option<&str> {
        let is_plain = |name: &str| {
            let path = Path::new(name);
            path.components().next().is_some() && path.components().all(|c| matches!(c, Component::Normal(_)))
        };
        self.files.iter().map(|f| f.file.as_str()).find(|name| !is_plain(name))
    }

    /// One hash over all tables: of their hashes, joined in order.
    pub fn of_tables(&self) -> String {
        sha256_hex(self.tables.iter().map(|t| t.sha256.as_str()).collect::<String>().as_bytes())
    }

    /// The fingerprint that a dossier's JSON holds.
    ///
    /// # Errors
    /// What is wrong with the JSON.
    pub fn of_dossier(json: &str) -> Result<Self, serde_json::Error> {
        #[derive(Deserialize)]
        struct DossierHead {
            fingerprint: Fingerprint,
        }
        Ok(serde_json::from_str::<DossierHead>(json)?.fingerprint)
    }

    /// Why this one differs from an earlier one, in sentences; none when it does not.
    pub fn differences(&self, earlier: &Self) -> Vec<String> {
        let mut all = self.changed_files(earlier);
        if self.version != earlier.version {
            all.push(format!("it was made with version {}; this is {}", earlier.version, self.version));
        }
        for table in &self.tables {
            let same = earlier.tables.iter().any(|t| t.table == table.table && t.sha256 == table.sha256);
            if !same {
                all.push(format!("the table {} is another one", table.table));
            }
        }
        all
    }

    /// Files that are not those of an earlier one, in sentences.
    pub fn changed_files(&self, earlier: &Self) -> Vec<String> {
        let mut all = Vec::new();
        for file in &earlier.files {
            let now = self.files.iter().find(|f| f.file == file.file);
            match now {
                Some(now) if now.sha256 == file.sha256 => {}
                Some(_) => all.push(format!("{} has changed", file.file)),
                None => all.push(format!("{} is no longer named", file.file)),
            }
        }
        let is_new = |f: &&HashedFile| !earlier.files.iter().any(|e| e.file == f.file);
        all.extend(self.files.iter().filter(is_new).map(|f| format!("{} is new", f.file)));
        all
    }
}
