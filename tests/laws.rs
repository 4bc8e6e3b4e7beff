//! Laws that hold whatever the scrub: of parts, of crossings, of what `aim` finds, of a dossier.

use crate::common::shelves::{Random, judge, random_shelf};
use crate::common::{of_material, run_in, tables};
use gritwise::band::Quantity;
use gritwise::blend::{Blend, Scrub};
use gritwise::design::{Ladder, Varied};
use gritwise::files;
use gritwise::powder::Powder;
use gritwise::size::law::Law;
use gritwise::source::Source;
use gritwise::tasks::{AimRequest, Means, aim};
use gritwise::units::{LoadPercent, Micrometres, Parts};
use proptest::prelude::*;
use std::fs;
use std::path::{Path, PathBuf};
use tempfile::TempDir;

fn any_powder() -> impl Strategy<Value = Powder> {
    let materials = ["rice-bran", "pumice", "bamboo", "olive-stone", "walnut-shell", "jojoba-wax"];
    (prop::sample::select(materials.to_vec()), 30.0..400.0_f64, 1.2..1.9_f64).prop_map(|(material, d50, gsd)| {
        of_material(material, Law::log_normal(Micrometres::new(d50).unwrap(), gsd).unwrap().into())
    })
}

fn scrub(powders: Vec<(Powder, f64)>, load: f64) -> Scrub {
    let blend = Blend::new(powders.into_iter().map(|(p, parts)| (p, Parts::new(parts).unwrap())).collect()).unwrap();
    Scrub { name: "law".into(), load: LoadPercent::new(load).unwrap(), load_range: None, blend }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 24, ..ProptestConfig::default() })]

    #[test]
    fn parts_times_a_number_are_the_same_blend(
        powders in prop::collection::vec((any_powder(), 0.5..20.0_f64), 1..4),
        times in 0.01..5.0_f64,
        load in 0.5..30.0_f64,
    ) {
        let scaled = powders.iter().map(|(p, parts)| (p.clone(), parts * times)).collect();
        let [one, other] = [powders, scaled].map(|p| judge().assess(&scrub(p, load)));
        prop_assert_eq!(one.verdict.rank, other.verdict.rank);
        prop_assert!((one.figures.index - other.figures.index).abs() <= 1e-9 * one.figures.index);
        prop_assert!((one.figures.d99_um - other.figures.d99_um).abs() <= 1e-9 * one.figures.d99_um);
    }

    #[test]
    fn a_millionth_either_side_of_a_crossing_lie_its_two_bands(
        powders in prop::collection::vec((any_powder(), 0.5..20.0_f64), 1..4),
    ) {
        let at = |load: f64| scrub(powders.clone(), load);
        let ladder = Ladder::new(judge(), &at(5.0), Varied { quantity: Quantity::Load, low: 0.5, high: 60.0 }, 9);
        for c in &ladder.crossings {
            let rank = |value: f64| judge().assess(&at(value)).verdict.rank;
            prop_assert_eq!((rank(c.value * (1.0 - 1e-6)), rank(c.value * (1.0 + 1e-6))), (c.from, c.to), "{:?}", c);
        }
    }
}

/// The blends that an aim writes keep, read back as any scrub file, to what was asked for.
#[test]
fn what_an_aim_writes_holds_in_blend() {
    let mut written = 0;
    for seed in 0..6 {
        let mut random = Random(seed);
        let folder = TempDir::new().unwrap();
        fs::write(folder.path().join("shelf.toml"), random_shelf(&mut random, 5)).unwrap();
        let (low, load) = (random.between(20.0, 120.0), random.between(3.0, 6.0));
        let text = format!(
            "[aim]\nname = \"law\"\nshelf = \"shelf.toml\"\ngoal = \"cheapest\"\nindex = [{low}, {}]\nload_pct = [{load}, {}]\n",
            1.4 * low,
            1.5 * load
        );
        let path = folder.path().join("aim.toml");
        fs::write(&path, text).unwrap();
        let asked = AimRequest { aim: Source::from(&path), top: 3, resolution_g: None, watch: None, pictures: false };
        let found = aim(&asked, Means { tables: tables(), judge: judge() }).unwrap();
        for file in found.scrub_files(|rank| format!("law-{rank}-")).unwrap() {
            let scrub = files::read_scrub(Source::text(&file.text, "found.toml", folder.path()), tables()).unwrap();
            let index = judge().assess(&scrub).figures.index;
            assert!((low * (1.0 - 1e-6)..=1.4 * low * (1.0 + 1e-6)).contains(&index), "{seed}: {index} {low}");
            assert!((load - 1e-6..=1.5 * load + 1e-6).contains(&scrub.load.get()), "{seed}");
            written += 1;
        }
    }
    assert!(written > 3, "{written} blends were found");
}

fn below(folder: &Path) -> Vec<PathBuf> {
    let all = fs::read_dir(folder).unwrap().map(|e| e.unwrap().path());
    let mut all: Vec<_> = all.flat_map(|path| if path.is_dir() { below(&path) } else { vec![path] }).collect();
    all.sort();
    all
}

#[test]
fn any_byte_of_a_dossier_that_changes_is_found() {
    let folder = TempDir::new().unwrap();
    let examples = Path::new(env!("CARGO_MANIFEST_DIR")).join("examples");
    for file in ["millrace-rice-polish.toml", "olive-stone-sieved.csv"] {
        fs::copy(examples.join(file), folder.path().join(file)).unwrap();
    }
    let call = ["dossier", "millrace-rice-polish.toml", "--out", "file", "--draws", "1000"];
    assert_eq!(run_in(folder.path(), &call).0, 0);
    let verify = || run_in(folder.path(), &["dossier", "--verify", "file"]).0;
    assert_eq!(verify(), 0);
    let mut random = Random(11);
    // Each file once: some byte of it becomes another.
    for path in below(&folder.path().join("file")) {
        let good = fs::read(&path).unwrap();
        let mut bad = good.clone();
        let at = (random.next() * bad.len() as f64) as usize;
        bad[at] ^= 1 << (random.next() * 7.0) as u8;
        fs::write(&path, bad).unwrap();
        assert_ne!(verify(), 0, "{}: byte {at}", path.display());
        fs::write(&path, good).unwrap();
    }
    assert_eq!(verify(), 0);
}
