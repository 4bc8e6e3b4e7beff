//! Speed of the main job, held against its limits. Medians on one core of a shared two-core x86-64 server:
//!
//! | bench | limit | measured |
//! |---|--:|--:|
//! | index and three sites, three log-normal powders, 5 % load | 20 µs | 18 µs |
//! | the same, 60 % load: grain-borne at face and body, the gap solved there | - | 25 µs |
//! | read, fit and describe a laser table of 100 classes | 1 ms | 0.63 ms |
//! | judge and report an example, nearest changes solved | - | 2.1 ms |
//! | its three pictures | - | 1.7 ms |
//! | ladder of 101 points with every crossing solved | - | 13 ms |
//! | map of two quantities, 41 by 41 | - | 160 ms |
//!
//! Whole commands (release build, `hyperfine -N`, one core, other work on the machine): `blend` of an example with its 4096 draws 17 ms
//! (limit 20 ms), `--quick` 8 to 10 ms (limit 10 ms); the rows above and what follows are of the first edition: with pictures 6 to 10 ms (limit 30 ms). `dossier` of an example with four pictures 89 ms (limit 150 ms), `formula` and `batch` 5 ms. Stripped binary 9.2 MB
//! (limit 12 MB).

use divan::{Bencher, black_box};
use gritwise::band::Judge;
use gritwise::design::{Ladder, Map, Varied};
use gritwise::files;
use gritwise::formula::OnSkin;
use gritwise::plot::blend_pictures;
use gritwise::report::{BlendReport, SizeReport};
use gritwise::rub::{Population, RubModel};
use gritwise::size::table;
use gritwise::source::Source;
use gritwise::tables::Tables;
use std::fmt::Write;
use std::path::Path;

fn main() {
    divan::main();
}

const THREE_POWDERS: &str = r#"
[scrub]
name = "Three powders"
powder_load_pct = 5.0
[[powder]]
material = "rice-bran"
parts = 4
size = { d50_um = 60, gsd = 1.6 }
[[powder]]
material = "olive-stone"
parts = 1
size = { d50_um = 180, gsd = 1.4 }
[[powder]]
material = "pumice"
parts = 1
size = { d50_um = 45, gsd = 1.7 }
"#;

#[divan::bench(args = [5.0, 60.0])]
fn index_and_three_sites(bencher: Bencher, load_pct: f64) {
    let tables = Tables::built_in().unwrap();
    let model = RubModel::new(&tables).unwrap();
    let scrub = files::read_scrub(Source::text(THREE_POWDERS, "bench.toml", Path::new(".")), &tables).unwrap();
    let shares = scrub.blend.mass_shares();
    bencher.bench(|| {
        let population = Population::new(black_box(&scrub.blend), model.floor_um());
        model.evaluate(&population, &shares, load_pct / 100.0)
    });
}

#[divan::bench]
fn read_fit_and_describe_100_classes(bencher: Bencher) {
    let tables = Tables::built_in().unwrap();
    let mut text = String::from("lower_um,upper_um,volume_pct\n");
    let share = |i: i32| (-0.5 * (f64::from(i - 55) / 14.0).powi(2)).exp();
    let total: f64 = (0..100).map(share).sum();
    for i in 0..100 {
        let edge = |i: i32| 5.0 * 1.06_f64.powi(i);
        writeln!(text, "{:.4},{:.4},{:.6}", edge(i), edge(i + 1), 100.0 * share(i) / total).unwrap();
    }
    bencher.bench(|| {
        let record = table::read(black_box(&text), "bench.csv", None, &tables.standards).unwrap();
        SizeReport::new("bench.csv", &record, None, &[], &tables)
    });
}

#[divan::bench]
fn judge_and_report(bencher: Bencher) {
    let tables = Tables::built_in().unwrap();
    let judge = Judge::new(&tables).unwrap();
    let scrub = files::read_scrub(Source::text(THREE_POWDERS, "bench.toml", Path::new(".")), &tables).unwrap();
    bencher.bench(|| BlendReport::of_insoluble(black_box(&scrub), &judge.assess(&scrub), &judge, &tables));
}

#[divan::bench]
fn judge_draw_and_report(bencher: Bencher) {
    let tables = Tables::built_in().unwrap();
    let judge = Judge::new(&tables).unwrap();
    let scrub = OnSkin::unchanged(
        files::read_scrub(Source::text(THREE_POWDERS, "bench.toml", Path::new(".")), &tables).unwrap(),
    );
    bencher.bench(|| BlendReport::drawn(black_box(&scrub), &judge, &tables));
}

#[divan::bench]
fn three_pictures(bencher: Bencher) {
    let tables = Tables::built_in().unwrap();
    let judge = Judge::new(&tables).unwrap();
    let scrub = files::read_scrub(Source::text(THREE_POWDERS, "bench.toml", Path::new(".")), &tables).unwrap();
    let assessment = judge.assess(&scrub);
    bencher.bench(|| blend_pictures(black_box(&scrub), &assessment, &judge).unwrap());
}

#[divan::bench(sample_count = 10)]
fn ladder(bencher: Bencher) {
    let tables = Tables::built_in().unwrap();
    let judge = Judge::new(&tables).unwrap();
    let scrub = files::read_scrub(Source::text(THREE_POWDERS, "bench.toml", Path::new(".")), &tables).unwrap();
    let varied = Varied::read(&["olive.parts=0..6".to_owned()], &scrub).unwrap().remove(0);
    bencher.bench(|| Ladder::new(&judge, black_box(&scrub), varied, 101));
}

#[divan::bench(sample_count = 10)]
fn map(bencher: Bencher) {
    let tables = Tables::built_in().unwrap();
    let judge = Judge::new(&tables).unwrap();
    let scrub = files::read_scrub(Source::text(THREE_POWDERS, "bench.toml", Path::new(".")), &tables).unwrap();
    let varied = Varied::read(&["olive.parts=0..6".to_owned(), "load=2..8".to_owned()], &scrub).unwrap();
    let varied = [varied[0], varied[1]];
    bencher.bench(|| Map::new(&judge, black_box(&scrub), varied, 41));
}
