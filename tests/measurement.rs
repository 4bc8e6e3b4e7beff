//! Measured tables at their limits: sums of percentages, and what a sieve test is asked. Limits are read from the acceptance table,
//! which names their sources; what a figure comes to is worked out here.

use crate::common::{assert_close, tables};
use gritwise::lots::measurement::{FoundOddity, Oddity, sieve_test, spread};
use gritwise::numerics::student::Sample;
use gritwise::size::table::{TableKind, read};
use gritwise::size::{SizeError, SizeRecord};
use gritwise::tables::AcceptanceLimits;
use std::f64::consts::PI;

fn table(text: &str) -> Result<SizeRecord, SizeError> {
    read(text, "lot.csv", None::<TableKind>, &tables().standards)
}

/// Percentages may sum to 100 within 1 (this program's convention: two decimals of eight sieves round to less): 1 passes, more does
/// not, either way, in every form of a table; grams may sum to anything.
#[test]
fn percentages_sum_to_a_hundred_within_one() {
    type Form = fn(f64) -> String;
    let forms: [(&str, Form); 5] = [
        ("retained_pct", |off| format!("opening_um,retained_pct\n250,10\n125,60\n63,{:?}\npan,5\n", 25.0 + off)),
        ("volume_pct", |off| format!("lower_um,upper_um,volume_pct\n20,40,30\n40,80,{:?}\n80,160,30\n", 40.0 + off)),
        ("cum_volume_pct", |off| format!("size_um,cum_volume_pct\n20,0\n40,50\n80,{:?}\n", 100.0 + off)),
        ("cum_passing_pct", |off| format!("opening_um,cum_passing_pct\n250,90\n125,30\npan,{:?}\n", off.abs())),
        ("cum_retained_pct", |off| format!("opening_um,cum_retained_pct\n250,10\n125,70\npan,{:?}\n", 100.0 + off)),
    ];
    for (column, form) in forms {
        for off in [0.0, 1.0, -1.0, 0.999, -0.999] {
            assert!(table(&form(off)).is_ok(), "{column}, {off}: {:?}", table(&form(off)));
        }
        for off in [1.001, -1.001, 1.5, -2.0] {
            let error = table(&form(off)).expect_err(column).to_string();
            let told = ["within 1 %", "between 0 and 100 %"].iter().any(|words| error.contains(words));
            assert!(error.contains("lot.csv:") && told, "{column}, {off}: {error}");
        }
    }
    // Above 100 % no sieve passes, nor below 0.
    assert!(table("opening_um,cum_passing_pct\n250,101\n125,30\npan,0\n").is_ok());
    assert!(table("opening_um,cum_passing_pct\n250,101.01\n125,30\npan,0\n").is_err());
    assert!(table("opening_um,retained_g\n250,1\n125,7\npan,0.1\n").is_ok());
}

/// What a sum off 100 is divided by is that sum: the shares of a table of 99 % are those of a table of 100 %.
#[test]
fn a_sum_off_a_hundred_is_made_whole() {
    let of = |by: f64| {
        let rows = [(250, 10.0), (125, 60.0), (63, 25.0)].map(|(um, pct)| format!("{um},{:?}\n", by * pct)).concat();
        table(&format!("opening_um,retained_pct\n{rows}pan,{:?}\n", by * 5.0)).unwrap().points
    };
    for ((_, short), (_, whole)) in of(0.99).iter().zip(of(1.0)) {
        assert_close("share below a sieve", *short, whole, 1e-9);
    }
}

fn limits() -> &'static AcceptanceLimits {
    &tables().acceptance
}

/// A sieve test of these grams on the sieves of a stack, coarse to fine, then the pan.
fn stack(openings: &[u32], grams: &[f64]) -> SizeRecord {
    let rows = openings.iter().zip(grams).map(|(um, g)| format!("{um},{g:?}\n")).collect::<String>();
    table(&format!("opening_um,retained_g\n{rows}pan,{:?}\n", grams[openings.len()])).unwrap()
}

fn found_on(record: &SizeRecord, charged_g: Option<f64>, sieve_mm: f64) -> Vec<FoundOddity> {
    sieve_test(record, charged_g, limits().loss_most_pct, sieve_mm, &tables().standards, limits())
}

const STACK: [u32; 5] = [300, 250, 212, 180, 150];

/// ASTM C136, 8.3: at most 7 kg/m² on a sieve, the top one like the others; the frame gives the area.
#[test]
fn every_sieve_of_a_stack_can_be_overloaded() {
    for sieve_mm in [200.0, 76.0] {
        let most = 1000.0 * limits().sieve_load_kg_m2 * PI / 4.0 * f64::powi(sieve_mm / 1000.0, 2);
        for (place, opening) in STACK.iter().enumerate() {
            for (held, over) in [(most * 0.999, false), (most * 1.001, true)] {
                let mut grams = [0.3 * most; 6];
                grams[place] = held;
                let found = found_on(&stack(&STACK, &grams), None, sieve_mm);
                let of: Vec<&Oddity> = found.iter().map(|f| &f.finding).collect();
                let loads: Vec<&&Oddity> = of.iter().filter(|f| matches!(f, Oddity::Overloaded { .. })).collect();
                assert_eq!(loads.len(), usize::from(over), "{opening} µm, {held} g: {of:?}");
                if let [Oddity::Overloaded { opening_um, held_g, most_g }] = loads[..] {
                    assert_eq!(*opening_um, f64::from(*opening));
                    assert_close("held", *held_g, held, 1e-9);
                    assert_close("most", *most_g, most, 1e-9);
                }
                assert!(found.iter().all(|f| !f.grave));
            }
        }
        // The pan bears what it gets.
        let mut grams = [0.3 * most; 6];
        grams[5] = 3.0 * most;
        assert!(found_on(&stack(&STACK, &grams), None, sieve_mm).is_empty());
    }
}

/// A sieve between two full ones that holds less per ln of size than a share of either (conventions).
#[test]
fn an_empty_sieve_stands_between_full_ones() {
    let ratio = limits().empty_ratio_pct / 100.0;
    // What the 212 and the 300 sieve's neighbours hold per ln of size: a sieve holds what lies up to the next coarser one.
    let width = |lower: u32, upper: u32| (f64::from(upper) / f64::from(lower)).ln();
    let grams = |middle: f64| [1.0, 30.0, middle, 20.0, 1.0, 1.0];
    let least = (30.0 / width(250, 300)).min(20.0 / width(180, 212)) * ratio * width(212, 250);
    for (by, empty) in [(0.999, true), (1.001, false)] {
        let found = found_on(&stack(&STACK, &grams(least * by)), None, 200.0);
        let of: Vec<&FoundOddity> = found.iter().filter(|f| matches!(f.finding, Oddity::EmptySieve { .. })).collect();
        assert_eq!(of.len(), usize::from(empty), "{by}: {found:?}");
        assert!(of.iter().all(|f| f.grave && f.finding == Oddity::EmptySieve { opening_um: 212.0 }), "{of:?}");
    }
    // A neighbour counts as full from its share of the whole on, which is 100 g here but for the middle one.
    for (by, empty) in [(0.99, false), (1.01, true)] {
        let neighbour = by * limits().full_pct;
        let grams = [40.0, 30.0, 0.0, neighbour, 0.0, 30.0 - neighbour];
        let found = found_on(&stack(&STACK, &grams), None, 200.0);
        assert_eq!(found.iter().any(|f| matches!(f.finding, Oddity::EmptySieve { .. })), empty, "{by}: {found:?}");
    }
}

/// A sieve of the series left out where a quarter of the powder or more lies (convention).
#[test]
fn a_sieve_left_out_matters_where_much_lies() {
    let openings = [300, 250, 212, 150, 125];
    for (by, told) in [(0.999, false), (1.001, true)] {
        let pct = by * limits().gap_pct;
        let rest = (100.0 - pct) / 5.0;
        let found = found_on(&stack(&openings, &[rest, rest, rest, pct, rest, rest]), None, 200.0);
        let of: Vec<&Oddity> = found.iter().map(|f| &f.finding).collect();
        match of[..] {
            [Oddity::LeftOut { missing_um, share_pct }] if told => {
                assert_eq!(missing_um, &[180.0], "ASTM E11");
                assert_close("share", *share_pct, pct, 1e-9);
            }
            [] if !told => {}
            _ => panic!("{by}: {of:?}"),
        }
    }
}

/// A stack of every second sieve of ASTM E11 leaves none out; one sieve more missing from it does.
#[test]
fn every_second_sieve_is_a_stack_too() {
    let told = |openings: &[u32]| {
        let found = found_on(&stack(openings, &[5.0, 10.0, 35.0, 40.0, 10.0]), None, 200.0);
        found.into_iter().map(|f| f.finding).collect::<Vec<_>>()
    };
    assert_eq!(told(&[425, 300, 212, 150]), []);
    match &told(&[425, 300, 212, 106])[..] {
        [Oddity::LeftOut { missing_um, .. }] => assert_eq!(missing_um, &[180.0, 150.0, 125.0]),
        other => panic!("{other:?}"),
    }
}

/// Losses: worth a look beyond one limit (convention), worthless beyond another (USP <786>, from memory); a gain as well.
#[test]
fn losses_count_either_way() {
    let lot = stack(&STACK, &[20.0; 6]);
    let charged = |loss_pct: f64| Some(120.0 / (1.0 - loss_pct / 100.0));
    let (some, most) = (limits().loss_pct, limits().loss_most_pct);
    for sign in [1.0, -1.0] {
        for (loss, told) in [
            (0.999 * some, None),
            (1.001 * some, Some((some, false))),
            (0.999 * most, Some((some, false))),
            (1.001 * most, Some((most, true))),
        ] {
            let found = found_on(&lot, charged(sign * loss), 200.0);
            let of = found.iter().find_map(|f| match f.finding {
                Oddity::Loss { pct, limit_pct } => Some((pct, limit_pct, f.grave)),
                _ => None,
            });
            assert_eq!(of.map(|(_, limit, grave)| (limit, grave)), told, "{sign} {loss}");
            of.into_iter().for_each(|(pct, ..)| assert_close("loss", pct, sign * loss, 1e-9));
        }
    }
}

/// ISO 13320 and USP <429>: how far repeats may differ, at the median and at the tails, twice as far below 10 µm.
#[test]
fn repeats_may_differ_so_far() {
    let limits = limits();
    // Two values about a mean have a standard deviation of √2 times their distance from it.
    let of_cv = |mean: f64, cv_pct: f64| {
        let off = mean * cv_pct / 100.0 / 2.0_f64.sqrt();
        Sample::of(&[mean - off, mean + off])
    };
    for (median, times) in [(limits.fine_um * 1.001, 1.0), (limits.fine_um * 0.999, limits.fine_factor)] {
        for (place, some, most) in [
            (0, limits.cv_tail_pct, limits.cv_most_tail_pct),
            (1, limits.cv_d50_pct, limits.cv_most_d50_pct),
            (2, limits.cv_tail_pct, limits.cv_most_tail_pct),
        ] {
            let (some, most) = (times * some, times * most);
            for (cv, told) in
                [(0.999 * some, None), (1.001 * some, Some((some, false))), (1.001 * most, Some((most, true)))]
            {
                let mut figures = [("D10", of_cv(5.0, 0.0)), ("D50", of_cv(median, 0.0)), ("D90", of_cv(20.0, 0.0))];
                figures[place].1 = of_cv(figures[place].1.mean, cv);
                let found = spread(&figures, limits);
                let of = found.iter().map(|f| match &f.finding {
                    Oddity::Spread { figure, limit_pct, .. } => (*figure, *limit_pct, f.grave),
                    other => panic!("{other:?}"),
                });
                let wanted: Vec<_> = told.iter().map(|(limit, grave)| (figures[place].0, *limit, *grave)).collect();
                assert_eq!(of.collect::<Vec<_>>(), wanted, "{median} µm, {place}, {cv} %");
            }
        }
    }
}
