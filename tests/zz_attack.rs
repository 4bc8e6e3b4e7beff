//! Temporary.
mod common;
use common::tables;
use gritwise::band::Judge;
use gritwise::blend::{Blend, Scrub};
use gritwise::design::aim::*;
use gritwise::scrubfile;
use gritwise::units::{LoadPercent, Parts};
use std::fmt::Write;
use std::time::Instant;

struct Random(u64);
impl Random {
    fn next(&mut self) -> f64 {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 11) as f64 / (1_u64 << 53) as f64
    }
    fn between(&mut self, low: f64, high: f64) -> f64 { low + (high - low) * self.next() }
    fn pick<'a, T>(&mut self, of: &'a [T]) -> &'a T { &of[(self.next() * of.len() as f64) as usize] }
}
const MATERIALS: [&str; 8] =
    ["rice-bran", "olive-stone", "pumice", "bamboo", "corn-cob", "jojoba-wax", "walnut-shell", "silica-hydrated"];
fn shelf(r: &mut Random, n: usize) -> String {
    let mut text = String::new();
    for i in 0..n {
        let (material, price) = (r.pick(&MATERIALS), r.between(2.0, 30.0));
        let (d50, gsd) = (r.between(35.0, 260.0), r.between(1.25, 1.8));
        let (min, max) = (r.between(0.0, 0.4), r.between(3.0, 8.0));
        writeln!(text, "[[powder]]\nname = \"P{i}\"\nmaterial = \"{material}\"\nsize = {{ d50_um = {d50:.2}, gsd = {gsd:.3} }}\nprice_per_kg = {price:.3}\nmin_pct = {min:.3}\nmax_pct = {max:.3}").unwrap();
    }
    text
}
fn read(shelf: &str, aim: &str, judge: &Judge) -> Aim {
    let folder = tempfile::TempDir::new().unwrap();
    std::fs::write(folder.path().join("shelf.toml"), shelf).unwrap();
    let path = folder.path().join("aim.toml");
    std::fs::write(&path, format!("[aim]\nname = \"T\"\nshelf = \"shelf.toml\"\n{aim}\n")).unwrap();
    scrubfile::read_aim(&path, tables(), judge).unwrap()
}
fn scrub(aim: &Aim, pct: &[(usize, f64)]) -> Scrub {
    let powders = pct.iter().map(|(i, p)| (aim.shelf[*i].powder.clone(), Parts::new(*p).unwrap())).collect();
    Scrub { name: "g".into(), load: LoadPercent::new(pct.iter().map(|p| p.1).sum()).unwrap(), load_range: None, blend: Blend::new(powders).unwrap() }
}
fn ok(aim: &Aim, judge: &Judge, pct: &[(usize, f64)]) -> bool {
    let s = scrub(aim, pct);
    let a = judge.assess(&s);
    aim.targets().into_iter().all(|t| aim.off_by(t, pct, &s, &a, judge) == 0.0)
}
fn show(what: &str, aim: &Aim, answer: &Answer, t: Instant) {
    println!("{what}: {:.2} s, {:?}, stopped {:?}, doubtful {}, conflict {:?}", t.elapsed().as_secs_f64(),
        answer.blends.iter().map(|b| (b.objective, b.shares.len())).collect::<Vec<_>>(), answer.stopped_at, answer.doubtful,
        answer.conflict.as_ref().map(|c| (c.is_proven, &c.set, &c.misses)));
    let _ = aim;
}

#[test]
fn scale() {
    let judge = Judge::new(tables()).unwrap();
    let n: usize = std::env::var("N").map_or(60, |v| v.parse().unwrap());
    let k: usize = std::env::var("K").map_or(4, |v| v.parse().unwrap());
    let kinds = std::env::var("KIND").unwrap_or("cheapest,fewest-powders,closest-curve,narrow,none".into());
    let s = shelf(&mut Random(17), n);
    let base = "index = [100, 140]\nband = \"face\"\nload_pct = [3, 7]\nd99_um = 600\n";
    let pass = "passing_pct = [{ um = 63, min = 10, max = 45 }, { um = 150, min = 40, max = 75 }, { um = 300, min = 80 }]\n";
    let narrow = "passing_pct = [{ um = 63, min = 20, max = 20.5 }, { um = 90, min = 35, max = 35.5 }, { um = 125, min = 47, max = 47.4 }, { um = 180, min = 70, max = 70.4 }, { um = 250, min = 93, max = 93.3 }]\n";
    for kind in kinds.split(',') {
        let text = match kind {
            "narrow" => format!("{base}{narrow}max_powders = {k}\ngoal = \"cheapest\""),
            "narrow-few" => format!("{base}{narrow}max_powders = {k}\ngoal = \"fewest-powders\""),
            "none" => format!("index = [171, 172]\nband = \"face\"\nload_pct = [3, 7]\nd99_um = 320\n{pass}max_powders = {k}\ngoal = \"fewest-powders\""),
            "closest-curve" => format!("{base}{pass}max_powders = {k}\ngoal = \"closest-curve\"\ncurve = {{ d10_um = 40, d50_um = 100, d90_um = 190 }}"),
            goal => format!("{base}{pass}max_powders = {k}\ngoal = \"{goal}\""),
        };
        let aim = read(&s, &text, &judge);
        let t = Instant::now();
        let seconds: f64 = std::env::var("S").map_or(60.0, |v| v.parse().unwrap());
        let last = std::cell::Cell::new((0u64, 0usize, 0.0f64));
        let watch = |p: &Progress| { last.set((p.done, p.open, p.bound)); t.elapsed().as_secs_f64() < seconds };
        let answer = aim.answer(&judge, &Request { top: 3, resolution_g: None, watch: Some(&watch) }).unwrap();
        show(&format!("{n}/{k} {kind} {:?}", last.get()), &aim, &answer, t);
    }
}

#[test]
fn limits() {
    let judge = Judge::new(tables()).unwrap();
    let mut r = Random(5);
    for i in 0..6 {
        let s = shelf(&mut r, 8);
        let (rank, milder) = (judge.rank_of("body").unwrap(), judge.rank_of("face").unwrap());
        let _ = rank;
        let d99 = judge.bands()[milder].limit(gritwise::tables::Criterion::D99);
        let top = judge.bands()[milder].limit(gritwise::tables::Criterion::Index);
        for d99 in [d99, d99 * 0.9999] {
            let text = format!("index = [{}, {}]\nband_exactly = \"body\"\nload_pct = [2, 9]\nd99_um = {d99}\nmax_powders = 3\ngoal = \"cheapest\"", top * 0.8, top * 1.5);
            let aim = read(&s, &text, &judge);
            let t = Instant::now();
            let a = aim.solve(&judge, 3, None).unwrap();
            show(&format!("limit {i} {d99}"), &aim, &a, t);
        }
    }
}

/// One-powder problems with heavy loads, every load tried.
#[test]
fn borne() {
    let judge = Judge::new(tables()).unwrap();
    let mut r = Random(77);
    let (mut missed, mut dear, mut some) = (0, 0, 0);
    for i in 0..60 {
        let material = r.pick(&["salt", "sugar", "pumice", "olive-stone"]).to_string();
        let d50 = r.between(60.0, 700.0);
        let gsd = r.between(1.2, 1.7);
        let s = format!("[[powder]]\nname = \"A\"\nmaterial = \"{material}\"\nsize = {{ d50_um = {d50:.1}, gsd = {gsd:.2} }}\nprice_per_kg = 2\n");
        let draft = read(&s, "goal = \"cheapest\"", &judge);
        let load = r.between(5.0, 60.0);
        let a = judge.assess(&scrub(&draft, &[(0, load)]));
        let (lo, hi) = (a.figures.index * r.between(0.9, 0.99), a.figures.index * r.between(1.01, 1.1));
        let band = judge.band_name(a.verdict.rank);
        let from = load * r.between(0.3, 0.9);
        let band = if a.verdict.rank < judge.bands().len() { format!("band = \"{band}\"\n") } else { String::new() };
        let text = format!("index = [{lo}, {hi}]\n{band}load_pct = [{from}, 70]\nd99_um = {}\ngoal = \"cheapest\"", a.figures.d99_um * 1.01);
        let aim = read(&s, &text, &judge);
        let t = Instant::now();
        let answer = aim.solve(&judge, 1, None).unwrap();
        let took = t.elapsed().as_secs_f64();
        let steps = 4000;
        let best = (0..=steps).map(|j| from + (70.0 - from) * j as f64 / steps as f64).find(|l| ok(&aim, &judge, &[(0, *l)])).unwrap_or(load).min(load);
        some += 1;
        match answer.blends.first() {
            None => { missed += 1; println!("MISSED {i} {material} {d50} {gsd} load {best} {answer:?}"); }
            Some(f) => {
                let got = f.shares[0].1;
                if got > best * (1.0 + 2e-5) { dear += 1; println!("DEAR {i}: {got} vs {best}"); }
                if took > 1.0 { println!("slow {i}: {took:.2}"); }
            }
        }
    }
    println!("{some}: missed {missed}, dear {dear}");
}

/// Two- and three-powder heavy problems against random search.
#[test]
fn borne_blends() {
    let judge = Judge::new(tables()).unwrap();
    let mut r = Random(78);
    let (mut missed, mut dear, mut none) = (0, 0, 0);
    let count: usize = std::env::var("COUNT").map_or(25, |v| v.parse().unwrap());
    for i in 0..count {
        let n = 2 + i % 2;
        let mut s = String::new();
        for j in 0..n {
            let material = r.pick(&["salt", "sugar", "pumice", "olive-stone"]).to_string();
            writeln!(s, "[[powder]]\nname = \"A{j}\"\nmaterial = \"{material}\"\nsize = {{ d50_um = {:.1}, gsd = {:.2} }}\nprice_per_kg = {:.2}", r.between(60.0, 600.0), r.between(1.2, 1.7), r.between(1.0, 6.0)).unwrap();
        }
        let draft = read(&s, "goal = \"cheapest\"", &judge);
        let start: Vec<(usize, f64)> = (0..n).map(|j| (j, r.between(2.0, 50.0 / n as f64))).collect();
        let a = judge.assess(&scrub(&draft, &start));
        let load: f64 = start.iter().map(|x| x.1).sum();
        let (lo, hi) = (a.figures.index * r.between(0.9, 0.99), a.figures.index * r.between(1.01, 1.1));
        let key = *r.pick(&["band", "band_exactly"]);
        let band = if a.verdict.rank < judge.bands().len() && r.next() < 0.8 { format!("{key} = \"{}\"\n", judge.band_name(a.verdict.rank)) } else { String::new() };
        let text = format!("index = [{lo}, {hi}]\n{band}load_pct = [{}, {}]\nd99_um = {}\ngoal = \"cheapest\"", load * r.between(0.2, 0.9), load * r.between(1.05, 1.6), a.figures.d99_um * r.between(1.01, 1.2));
        let aim = read(&s, &text, &judge);
        let t = Instant::now();
        let answer = aim.solve(&judge, 1, None).unwrap();
        let took = t.elapsed().as_secs_f64();
        let cost = |p: &[(usize, f64)]| p.iter().map(|(j, x)| x / 100.0 * aim.shelf[*j].powder.price_per_kg.unwrap()).sum::<f64>();
        let mut best = (cost(&start), start.clone());
        if !ok(&aim, &judge, &start) { println!("start {i} not ok"); best.0 = f64::INFINITY; }
        let [l, u] = aim.load_pct.unwrap();
        for _ in 0..3000 {
            let p: Vec<(usize, f64)> = if r.next() < 0.5 {
                best.1.iter().map(|(j, x)| (*j, x * r.between(0.7, 1.2))).collect()
            } else { (0..n).filter_map(|j| (r.next() < 0.7).then(|| (j, r.between(0.01, u)))).collect() };
            let load: f64 = p.iter().map(|x| x.1).sum();
            if p.is_empty() || load < l || load > u || cost(&p) >= best.0 { continue; }
            if ok(&aim, &judge, &p) { best = (cost(&p), p); }
        }
        match answer.blends.first() {
            None => { if best.0.is_finite() { missed += 1; println!("MISSED {i}: {} {text} {s} {:?}", best.0, answer.conflict.map(|c| c.set)); } else { none += 1; } }
            Some(f) => {
                let got = f.objective.unwrap();
                if got > best.0 * (1.0 + 3e-5) { dear += 1; println!("DEAR {i}: {got} vs {best:?}"); }
            }
        }
        if took > 2.0 { println!("slow {i}: {took:.2} {:?} {}", answer.stopped_at, answer.doubtful); }
    }
    println!("missed {missed}, dear {dear}, none {none}");
}

/// off_by and nearest against random search.
#[test]
fn conflicts() {
    let judge = Judge::new(tables()).unwrap();
    let mut r = Random(91);
    let (mut beaten, mut off_beaten, mut some) = (0, 0, 0);
    let count: usize = std::env::var("COUNT").map_or(25, |v| v.parse().unwrap());
    for i in 0..count {
        let s = shelf(&mut r, 3);
        let text = format!("index = [{}, 320]\nband = \"{}\"\nload_pct = [2, {}]\nd99_um = {}\nmax_powders = 3\npassing_pct = [{{ um = 100, min = {}, max = {} }}]\ngoal = \"cheapest\"",
            r.between(120.0, 310.0), r.pick(&["delicate-face", "face"]), r.between(2.5, 8.0), r.between(150.0, 500.0), r.between(5.0, 40.0), r.between(45.0, 80.0));
        let aim = read(&s, &text, &judge);
        let t = Instant::now();
        let answer = aim.solve(&judge, 1, None).unwrap();
        let took = t.elapsed().as_secs_f64();
        let Some(c) = &answer.conflict else { continue };
        some += 1;
        if took > 3.0 { println!("slow {i}: {took:.2} proven {}", c.is_proven); }
        let sum = |p: &[(usize, f64)]| {
            let s = scrub(&aim, p);
            let a = judge.assess(&s);
            let mut sum = 0.0;
            let offs: Vec<(Target, f64)> = aim.targets().into_iter().map(|t| (t, aim.off_by(t, p, &s, &a, &judge))).collect();
            for (t, off) in &offs {
                let by = match t {
                    Target::Index => { let ix = aim.index.as_ref().unwrap(); if a.figures.index > ix.high { ix.high } else { ix.low } }
                    Target::Load => { let l = aim.load_pct.unwrap(); if s.load.get() > l[1] { l[1] } else { l[0] } }
                    Target::D99 => aim.d99_um.unwrap(),
                    Target::Band => 100.0,
                    Target::Passing(k) => { let l = &aim.passing[*k]; if 100.0 * s.blend.undersize(gritwise::blend::Basis::Mass, l.um) > l.max { l.max } else { l.min } }
                    _ => if *off > 0.0 { return (f64::INFINITY, offs) } else { 1.0 },
                };
                sum += off / by;
            }
            (sum, offs)
        };
        let Some(nearest) = &c.nearest else { println!("no nearest {i}"); continue };
        let ours = sum(&nearest.shares).0;
        let mut best = (ours, nearest.shares.clone());
        let mut least: Vec<f64> = c.set.iter().map(|x| x.off_by.unwrap_or(f64::NAN)).collect();
        let said = least.clone();
        let set: Vec<Target> = c.set.iter().map(|x| x.target).collect();
        for round in 0..4000 {
            let p: Vec<(usize, f64)> = if round % 2 == 1 { best.1.iter().map(|(j, x)| (*j, x * r.between(0.8, 1.25))).collect() }
                else { (0..3).filter_map(|j| (r.next() < 0.7).then(|| (j, r.between(aim.shelf[j].min_pct, aim.shelf[j].max_pct)))).collect() };
            if p.is_empty() { continue; }
            let (v, offs) = sum(&p);
            if v < best.0 { best = (v, p.clone()); }
            if v.is_finite() {
                for (k, t) in set.iter().enumerate() {
                    let others = offs.iter().filter(|(o, _)| o != t && set.contains(o)).all(|(_, off)| *off == 0.0);
                    let own = offs.iter().find(|(o, _)| o == t).unwrap().1;
                    if others && own < least[k] { least[k] = own; }
                }
            }
        }
        if best.0 < ours * (1.0 - 3e-3) { beaten += 1; println!("BEATEN {i}: {ours} by {} ({} proven)", best.0, c.is_proven); }
        for (k, (a, b)) in said.iter().zip(&least).enumerate() {
            if b < &(a * (1.0 - 1e-3)) { off_beaten += 1; println!("OFF {i} {:?}: {a} by {b}", set[k]); }
        }
    }
    println!("{some} conflicts, nearest beaten {beaten}, off_by beaten {off_beaten}");
}
