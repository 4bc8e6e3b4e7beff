//! Speed of the main job, held against its limits.
use divan::{Bencher, black_box};
use gritwise::blend::{Basis, Blend};
use gritwise::powder::{GrainProperties, Hardness, Powder};
use gritwise::rub::{Population, RubModel};
use gritwise::size::law::Law;
use gritwise::size::SizeRecord;
use gritwise::tables::Tables;
use gritwise::units::{Gigapascals, GramsPerCm3, Micrometres, Parts, Roundness};

fn main() {
    divan::main();
}

fn powder(name: &str, density: f64, hardness: f64, roundness: f64, d50: f64, gsd: f64) -> Powder {
    let given = GrainProperties {
        density: Some(GramsPerCm3::new(density).unwrap()),
        hardness: Some(Hardness::Indentation(Gigapascals::new(hardness).unwrap())),
        roundness: Some(Roundness::new(roundness).unwrap()),
    };
    let law = Law::log_normal(Micrometres::new(d50).unwrap(), gsd).unwrap();
    let record = SizeRecord::from_distribution(law.into(), "bench");
    Powder::new(name.into(), None, &given, record, &Tables::built_in().unwrap()).unwrap()
}

pub fn three() -> Blend {
    let parts = |p| Parts::new(p).unwrap();
    Blend::new(vec![
        (powder("a", 1.4, 0.12, 0.4, 60.0, 1.6), parts(4.0)),
        (powder("b", 1.35, 0.25, 0.3, 180.0, 1.4), parts(1.0)),
        (powder("c", 2.35, 5.0, 0.25, 45.0, 1.7), parts(1.0)),
    ])
    .unwrap()
}

#[divan::bench(args = [5.0, 60.0])]
fn index_and_three_sites(bencher: Bencher, load_pct: f64) {
    let model = RubModel::new(&Tables::built_in().unwrap()).unwrap();
    let blend = three();
    let shares: Vec<f64> = blend.components().iter().map(|c| c.mass).collect();
    bencher.bench(|| {
        let population = Population::new(black_box(&blend), model.floor_um());
        let rubbed = model.evaluate(&population, &shares, load_pct / 100.0);
        (rubbed, blend.quantile(Basis::Volume, 0.99))
    });
}
#[divan::bench]
fn p_new(b: Bencher) { let model = RubModel::new(&Tables::built_in().unwrap()).unwrap(); let blend = three(); b.bench(|| Population::new(black_box(&blend), model.floor_um())); }
#[divan::bench]
fn q99(b: Bencher) { let blend = three(); b.bench(|| black_box(&blend).quantile(Basis::Volume, 0.99)); }
#[divan::bench]
fn eval(b: Bencher) { let model = RubModel::new(&Tables::built_in().unwrap()).unwrap(); let blend = three(); let p=Population::new(&blend, model.floor_um());
    let shares: Vec<f64> = blend.components().iter().map(|c| c.mass).collect();
 b.bench(|| model.evaluate(black_box(&p), &shares, 0.05)); }
#[divan::bench]
fn load(b: Bencher) { let model = RubModel::new(&Tables::built_in().unwrap()).unwrap(); let blend = three(); let p=Population::new(&blend, model.floor_um());
 let c = gritwise::rub::Contact::between(0.2,0.2,0.48);
 b.bench(|| gritwise::rub::carried_mpa(black_box(&p), &[1.0,1.0,1.0], &c, 30.0)); }
