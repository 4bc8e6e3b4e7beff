//! The smallest scrub there is: pumice in water, and what a case adds to it.

use crate::common::shelves::judge;
use crate::common::tables;
use gritwise::files::read_formula;
use gritwise::formula::{Check, Formula, checks};
use gritwise::source::Source;
use std::fmt::Write;
use std::path::Path;

/// Median and spread of its grains.
pub const D50_UM: f64 = 100.0;
pub const GSD: f64 = 1.4;
/// Density of pumice in the materials table, g/cm³.
pub const PUMICE: f64 = 2.35;

/// Its D99, µm: a log-normal distribution by its 99 % normal quantile (tables of the normal distribution).
pub fn d99_um() -> f64 {
    D50_UM * GSD.powf(2.326_347_874_040_841)
}

#[derive(Clone)]
pub struct Jar {
    load_pct: f64,
    powders: Vec<String>,
    base: String,
    acid: String,
    fill: String,
    usage: String,
    phase: String,
    ingredients: String,
    has_phases: bool,
}

/// Pumice in water.
pub fn jar() -> Jar {
    Jar {
        load_pct: 5.0,
        powders: vec!["material = \"pumice\"".to_owned()],
        base: String::new(),
        acid: String::new(),
        fill: String::new(),
        usage: String::new(),
        phase: String::new(),
        ingredients: "[[phase.ingredient]]\nname = \"Rest\"\ninci = \"Aqua\"\nfill = true\n".to_owned(),
        has_phases: true,
    }
}

/// The same in oil.
pub fn oil() -> Jar {
    let jar = jar();
    Jar { ingredients: jar.ingredients.replace("Aqua", "Helianthus Annuus Seed Oil"), ..jar }
}

fn lines(all: &str, more: impl AsRef<str>) -> String {
    format!("{all}{}\n", more.as_ref())
}

impl Jar {
    pub fn load(self, load_pct: f64) -> Self {
        Self { load_pct, ..self }
    }

    /// Another powder in place of pumice, by the lines of its `[[powder]]`.
    pub fn powder(self, powder: impl Into<String>) -> Self {
        Self { powders: vec![powder.into()], ..self }
    }

    /// A further line of the powder.
    pub fn of_powder(mut self, more: impl AsRef<str>) -> Self {
        self.powders[0] = format!("{}\n{}", self.powders[0], more.as_ref());
        self
    }

    /// Pumice of another roundness.
    pub fn round(self, roundness: f64) -> Self {
        self.of_powder(format!("roundness = {roundness:?}"))
    }

    /// As many parts of another powder beside it.
    pub fn and_powder(mut self, powder: impl Into<String>) -> Self {
        self.powders.push(powder.into());
        self
    }

    pub fn base(self, line: impl AsRef<str>) -> Self {
        Self { base: lines(&self.base, line), ..self }
    }

    pub fn acid(self, line: impl AsRef<str>) -> Self {
        Self { acid: lines(&self.acid, line), ..self }
    }

    pub fn fill(self, line: impl AsRef<str>) -> Self {
        Self { fill: lines(&self.fill, line), ..self }
    }

    pub fn usage(self, line: impl AsRef<str>) -> Self {
        Self { usage: lines(&self.usage, line), ..self }
    }

    pub fn at_celsius(self, celsius: f64) -> Self {
        Self { phase: format!("temperature_c = {celsius:?}\n"), ..self }
    }

    /// So much of an ingredient, with further lines of it.
    pub fn with(self, inci: &str, pct: f64, more: &str) -> Self {
        let one = format!("[[phase.ingredient]]\nname = \"{inci}\"\ninci = \"{inci}\"\npct = {pct:?}\n{more}");
        Self { ingredients: lines(&self.ingredients, one), ..self }
    }

    /// So much of what else took what is left.
    pub fn rest(self, pct: f64) -> Self {
        Self { ingredients: self.ingredients.replace("fill = true", &format!("pct = {pct:?}")), ..self }
    }

    pub fn without_phases(self) -> Self {
        Self { has_phases: false, ..self }
    }

    fn text(&self) -> String {
        let mut text = format!("[scrub]\nname = \"Weir\"\npowder_load_pct = {:?}\n", self.load_pct);
        for (name, section) in [("base", &self.base), ("acid", &self.acid), ("fill", &self.fill), ("use", &self.usage)]
        {
            if !section.is_empty() {
                writeln!(text, "[{name}]\n{section}").unwrap();
            }
        }
        let mut phase = "";
        if self.has_phases {
            phase = "phase = \"All\"\n";
            write!(text, "[[phase]]\nname = \"All\"\n{}{}", self.phase, self.ingredients).unwrap();
        }
        for (i, powder) in self.powders.iter().enumerate() {
            let size = if powder.contains("size =") {
                String::new()
            } else {
                format!("size = {{ d50_um = {D50_UM:?}, gsd = {GSD:?} }}\n")
            };
            writeln!(text, "[[powder]]\nname = \"Grains {i}\"\nparts = 1\n{powder}\n{size}{phase}").unwrap();
        }
        text
    }

    pub fn formula(&self) -> Formula {
        let text = self.text();
        let source = Source::text(&text, "scrub.toml", Path::new(env!("CARGO_MANIFEST_DIR")));
        read_formula(source, tables()).unwrap_or_else(|e| panic!("{e}\n{text}"))
    }

    pub fn checks(&self) -> Vec<Check> {
        checks(&self.formula(), tables(), judge()).checks
    }

    pub fn check(&self, key: &str) -> Check {
        self.checks().into_iter().find(|c| c.key == key).unwrap()
    }

    /// Share of the volume that pumice takes in a base of a density: masses over densities.
    pub fn solids_share(&self, base: f64) -> f64 {
        let (grains, rest) = (self.load_pct / PUMICE, (100.0 - self.load_pct) / base);
        grains / (grains + rest)
    }
}

/// The load at which pumice takes a share of the volume, %.
pub fn load_of_share(share: f64, base: f64) -> f64 {
    100.0 * share * PUMICE / (share * PUMICE + (1.0 - share) * base)
}
