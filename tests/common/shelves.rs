//! Invented shelves and aims, and blends of them held against the full model.

use super::tables;
use gritwise::aim::{Aim, Found};
use gritwise::band::Judge;
use gritwise::blend::{Blend, Scrub};
use gritwise::files;
use gritwise::units::{LoadPercent, Parts};
use std::fmt::Write;
use std::fs;
use std::path::Path;
use std::sync::LazyLock;

pub fn judge() -> &'static Judge {
    static JUDGE: LazyLock<Judge> = LazyLock::new(|| Judge::new(tables()).unwrap());
    &JUDGE
}

/// Numbers from a fixed seed.
pub struct Random(pub u64);

impl Random {
    pub fn next(&mut self) -> f64 {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 11) as f64 / (1_u64 << 53) as f64
    }

    pub fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.next()
    }

    pub fn pick<'a, T>(&mut self, of: &'a [T]) -> &'a T {
        &of[(self.next() * of.len() as f64) as usize]
    }
}

pub const MATERIALS: [&str; 8] =
    ["rice-bran", "olive-stone", "pumice", "bamboo", "corn-cob", "jojoba-wax", "walnut-shell", "silica-hydrated"];

/// A shelf of invented powders.
pub fn random_shelf(random: &mut Random, count: usize) -> String {
    let mut text = String::new();
    for i in 0..count {
        let (material, price) = (random.pick(&MATERIALS), random.between(2.0, 30.0));
        let (d50, gsd) = (random.between(35.0, 260.0), random.between(1.25, 1.8));
        let (min, max) = (random.between(0.0, 0.4), random.between(3.0, 8.0));
        writeln!(
            text,
            "[[powder]]\nname = \"P{i}\"\nmaterial = \"{material}\"\nsize = {{ d50_um = {d50:.2}, gsd = {gsd:.3} }}\n\
             price_per_kg = {price:.3}\nmin_pct = {min:.3}\nmax_pct = {max:.3}"
        )
        .unwrap();
    }
    text
}

pub fn read_aim(folder: &Path, shelf: &str, aim: &str) -> Aim {
    fs::write(folder.join("shelf.toml"), shelf).unwrap();
    let path = folder.join("aim.toml");
    fs::write(&path, format!("[aim]\nname = \"Test\"\nshelf = \"shelf.toml\"\n{aim}\n")).unwrap();
    files::read_aim(&path, tables(), judge()).unwrap()
}

/// The scrub of so many % of each shelf powder; those of 0 are not in it.
pub fn scrub_of(aim: &Aim, pct: &[f64]) -> Scrub {
    let used = aim.shelf.iter().zip(pct).filter(|(_, p)| **p > 0.0);
    let powders = used.map(|(s, p)| (s.powder.clone(), Parts::new(*p).unwrap())).collect();
    let load = LoadPercent::new(pct.iter().sum()).unwrap();
    Scrub { name: "grid".into(), load, load_range: None, blend: Blend::new(powders).unwrap() }
}

pub fn meets_all(aim: &Aim, pct: &[f64]) -> bool {
    let scrub = scrub_of(aim, pct);
    let assessment = judge().assess(&scrub);
    let shares: Vec<(usize, f64)> = pct.iter().copied().enumerate().filter(|(_, p)| *p > 0.0).collect();
    aim.targets().into_iter().all(|t| aim.off_by(t, &shares, &scrub, &assessment, judge()) == 0.0)
}

pub fn spread(found: &Found, count: usize) -> Vec<f64> {
    let mut pct = vec![0.0; count];
    for &(place, p) in &found.shares {
        pct[place] = p;
    }
    pct
}
