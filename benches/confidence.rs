//! Speed of the draws, held against their limits, on a two-core x86-64 server (AVX2 at 2.4 GHz):
//!
//! | bench | limit | measured |
//! |---|--:|--:|
//! | 100 000 draws of three powders, index, three sites, D99 and band, limits moved along, on two cores | 0.15 s | 0.128 to 0.149 s |
//! | the same on one core | - | 0.25 to 0.265 s |
//! | 100 000 draws of three powders, index alone, on one core | - | 0.126 to 0.14 s |
//! | the same draws with all figures in NumPy (`confidence_numpy.py`, 48 sizes a powder like here), one core | - | 5.1 to 7.0 s |
//!
//! The spread is of medians of seven, the machine's, whose speed changed by a tenth between runs (index alone took 0.118 s when the NumPy figures were taken).
//! NumPy 2.4.6 in double precision, its best in pieces of 250 draws, the caches' size, where it is 41 times slower than the crate on two
//! cores and 20 times than on one; in pieces of 500 to 100 000 draws 48 to 56 and 24 to 28 times (at least 25 times is the aim, 60 the
//! goal). NumPy uses one core whatever there is. Both make index, three groove ratios, D99 and band, figures within 0.2 % of each other.
//!
//! 10 million draws of a two-powder example, the whole command: 16 s, at most 16 MB of memory (limit 200 MB).

use divan::{Bencher, black_box};
use gritwise::band::Judge;
use gritwise::blend::Scrub;
use gritwise::confidence::{BLOCK, Drawing, Inputs, Rubber, Sampling, Vary, confidence};
use gritwise::files;
use gritwise::numerics::parallel::in_order;
use gritwise::numerics::quasi::Sequence;
use gritwise::source::Source;
use gritwise::tables::Tables;
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

const DRAWS: usize = 100_000;
/// Pieces of work, as many as scrambles.
const PIECES: usize = 16;

fn with_scrub<T>(f: impl FnOnce(&Tables, &Judge, &Scrub) -> T) -> T {
    let tables = Tables::built_in().unwrap();
    let judge = Judge::new(&tables).unwrap();
    let scrub = files::read_scrub(Source::text(THREE_POWDERS, "bench.toml", Path::new(".")), &tables).unwrap();
    f(&tables, &judge, &scrub)
}

/// Draws in blocks, and calls `one` for each with a rubber and its points.
fn draw_all(bencher: Bencher, pieces: usize, one: impl Fn(&mut Rubber, &[f64]) -> f64 + Sync + Send) {
    with_scrub(|tables, judge, scrub| {
        let drawing = Drawing::new(judge, scrub, Inputs::new(scrub, tables, 0));
        let dimensions = drawing.inputs.dimensions();
        bencher.bench_local(|| {
            in_order(pieces, |piece| {
                let mut points = vec![0.0; BLOCK * dimensions];
                let mut rubber = drawing.rubber(Vary::All);
                let mut sum = 0.0;
                for start in (0..DRAWS / pieces).step_by(BLOCK) {
                    for (i, point) in (start..).zip(points.chunks_exact_mut(dimensions)) {
                        Sequence::new(1, piece + PIECES * (i >> 16)).point(i & 0xffff, point);
                    }
                    sum += one(&mut rubber, &points);
                }
                sum
            })
        });
    });
}

#[divan::bench(args = [1, PIECES], sample_count = 7)]
fn draw_rub_and_judge_100k(bencher: Bencher, pieces: usize) {
    draw_all(bencher, pieces, |rubber, points| rubber.figures(points).iter().map(|f| f.index).sum());
}

#[divan::bench(args = [1], sample_count = 7)]
fn draw_and_index_100k(bencher: Bencher, pieces: usize) {
    draw_all(bencher, pieces, |rubber, points| {
        let mut indices = [0.0; BLOCK];
        rubber.indices(points, &mut indices);
        indices.iter().sum()
    });
}

#[divan::bench(sample_count = 5)]
fn whole_confidence_default(bencher: Bencher) {
    with_scrub(|tables, judge, scrub| {
        let sampling = Sampling::new(32_768, 1).unwrap();
        bencher.bench_local(|| confidence(black_box(scrub), judge, tables, sampling, |_| true));
    });
}
