//! The shipped examples as files to be put into a folder: an invented riverside workshop.

use serde::Serialize;

/// A file of the workshop.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct Example {
    /// Its name.
    pub name: &'static str,
    /// What it holds.
    pub text: &'static str,
}

macro_rules! examples {
    ($($name:literal),* $(,)?) => {
        [$(Example { name: $name, text: include_str!(concat!("../../examples/", $name)) }),*]
    };
}

/// The photograph among them: name and bytes.
pub const EXAMPLE_PHOTOGRAPH: (&str, &[u8]) =
    ("olive-stone-grains.jpg", include_bytes!("../../examples/olive-stone-grains.jpg"));

/// All but the guide and the photograph.
pub const EXAMPLES: [Example; 20] = examples![
    "aim-cheapest-face.toml",
    "aim-sure-face.toml",
    "aim-too-much.toml",
    "bamboo-counts.csv",
    "batches.csv",
    "ferry-walnut-scrub.toml",
    "lots.csv",
    "millrace-acid-polish.toml",
    "millrace-body-scrub.toml",
    "millrace-rice-polish.toml",
    "olive-stone-lot.csv",
    "olive-stone-sieved.csv",
    "osier-bamboo-polish.toml",
    "panel-scores.csv",
    "pumice-laser.csv",
    "refused-bead-wash.toml",
    "shelf.toml",
    "sluice-oat-cream.toml",
    "weir-foot-scrub.toml",
    "weir-salt-scrub.toml",
];

#[cfg(test)]
mod tests {
    use super::EXAMPLES;
    use std::path::Path;

    #[test]
    fn none_is_left_out() {
        let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("examples");
        let names = folder.read_dir().unwrap().map(|entry| entry.unwrap().file_name().into_string().unwrap());
        let mut names: Vec<String> = names.filter(|n| n.ends_with(".toml") || n.ends_with(".csv")).collect();
        names.sort();
        assert_eq!(EXAMPLES.iter().map(|e| e.name).collect::<Vec<_>>(), names);
    }
}
