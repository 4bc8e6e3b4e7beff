//! Days of a panel: a day on which all was scored higher must not move what is found.

use crate::common::run_in;
use crate::panel::{INDICES, Noise, json, number, panel, workshop};
use gritwise::panel::{Days, Fitted, Panel, Score, ScoreScale, Standing, analyse};
use std::fs;

/// Days on which a panellist (first) scores a scrub (second).
type DayOf = fn(usize, usize) -> Vec<usize>;

/// Day of each scrub for each panellist, in three designs: harsh scrubs on the second day, with one control on both; the other way round;
/// a Latin square of one scrub a day.
fn designs() -> [(&'static str, DayOf, Days); 3] {
    [
        ("harsh later", |_, s| if s == 2 { vec![0, 1] } else { vec![usize::from(s > 2)] }, Days::WithinPanellists),
        ("harsh first", |_, s| if s == 2 { vec![0, 1] } else { vec![usize::from(s < 2)] }, Days::WithinPanellists),
        ("Latin square", |t, s| vec![(t + s) % 6], Days::BesidePanellists),
    ]
}

/// A panel of six panellists whose scores on the second day are 1.5 times as high; `score` of panellist and scrub is what it would be else.
fn on_days(day_of: DayOf, mut score: impl FnMut(usize, usize) -> f64) -> Panel {
    let mut made = panel(6, |_, _| 1.0);
    made.scores.clear();
    for (panellist, scrub) in (0..6).flat_map(|t| (0..6).map(move |s| (t, s))) {
        for day in day_of(panellist, scrub) {
            let score = score(panellist, scrub) * if day == 1 { 1.5 } else { 1.0 };
            made.scores.push(Score { scrub, panellist, day, score });
        }
    }
    let days = made.scores.iter().map(|s| s.day).max().unwrap() + 1;
    made.days = (0..days).map(|d| format!("day {d}")).collect();
    made
}

fn power_law(panel: &Panel) -> (f64, (f64, f64)) {
    match analyse(panel, "test").fitted {
        Some(Fitted::Power(p)) => (p.trend.slope, p.interval),
        other => panic!("{other:?}"),
    }
}

#[test]
fn a_day_scored_higher_does_not_move_the_exponent() {
    for (name, day_of, taken_out) in designs() {
        let exact = on_days(day_of, |t, s| (0.3 + 0.1 * t as f64) * INDICES[s].powf(0.55));
        let found = analyse(&exact, "test");
        assert_eq!((found.taken_out, &found.standing), (taken_out, &Standing::Calibrated), "{name}");
        assert!((power_law(&exact).0 - 0.55).abs() < 1e-9, "{name}");
        assert_eq!(found.spearman.unwrap().value, 1.0, "{name}");
        assert!(found.swapped.is_empty() && found.outliers.is_empty() && found.left_out_error.unwrap() < 1e-6);
        assert!(found.panellists.iter().all(|t| (t.rho.unwrap() - 1.0).abs() < 1e-9), "{name}: {:?}", found.panellists);
        let level = |d: usize| found.days[d].level.unwrap();
        assert!((level(1) / level(0) - 1.5).abs() < 1e-9, "{name}: {:?}", found.days);
        let panellist = |t: usize| found.panellists[t].level.unwrap();
        assert!((panellist(5) / panellist(0) - 0.8 / 0.3).abs() < 1e-9, "{name}: {:?}", found.panellists);
        // The same scores without their days.
        let mut unseen = exact.clone();
        unseen.days.clear();
        let off = power_law(&unseen).0 - 0.55;
        let expected = [0.1, -0.1, 0.0][designs().iter().position(|d| d.0 == name).unwrap()];
        assert!(if expected == 0.0 { off.abs() < 1e-9 } else { off * expected > 0.005 }, "{name}: {off}");
    }
    // No scrub on two days: days and scrubs are one.
    let apart = on_days(|_, s| vec![usize::from(s > 2)], |t, s| (0.3 + 0.1 * t as f64) * INDICES[s].powf(0.55));
    let Standing::TooFew(why) = analyse(&apart, "test").standing else { panic!("concluded") };
    assert!(why[0].contains("give one scrub at least on every day"), "{why:?}");
    // Every panellist on one day: what days are is in the panellists.
    let alone = on_days(|t, _| vec![t % 2], |t, s| (1.0 + 0.01 * ((3 * t + s) % 4) as f64) * INDICES[s].powf(0.55));
    let mut unseen = alone.clone();
    unseen.days.clear();
    assert_eq!(analyse(&alone, "test").taken_out, Days::WithPanellists);
    assert_eq!(power_law(&alone), power_law(&unseen));
}

/// With days taken out the 95 % interval holds the true exponent in 95 % of simulated panels; with days unseen the exponent is off on
/// the mean, and the interval too often with it.
#[test]
fn with_days_the_interval_covers_as_it_says() {
    const PANELS: usize = 120;
    let mut noise = Noise(411);
    for (name, day_of, _) in designs() {
        let (mut held, mut mean, mut unseen_mean) = (0, 0.0, 0.0);
        for _ in 0..PANELS {
            let levels: Vec<f64> = (0..6).map(|_| 0.3 * noise.next()).collect();
            let deviations: Vec<f64> = (0..6).map(|_| 0.1 * noise.next()).collect();
            let mut made =
                on_days(day_of, |t, s| INDICES[s].powf(0.55) * (levels[t] + deviations[s] + 0.1 * noise.next()).exp());
            let (slope, (low, high)) = power_law(&made);
            held += usize::from(low <= 0.55 && 0.55 <= high);
            mean += slope / PANELS as f64;
            made.days.clear();
            unseen_mean += power_law(&made).0 / PANELS as f64;
        }
        let share = held as f64 / PANELS as f64;
        // Three binomial standard deviations of 120 panels; 0.957 to 0.967 were found with 300.
        assert!((0.89..=1.0).contains(&share), "{name}: held in {share}");
        assert!((mean - 0.55).abs() < 0.02, "{name}: {mean}");
        let off = unseen_mean - 0.55;
        assert!(if name == "Latin square" { off.abs() < 0.02 } else { off.abs() > 0.05 }, "{name}: {unseen_mean}");
    }
}

/// Ordered categories see through days too: the slope is that of the same panel scored on one day, where the panel with its days unseen
/// has it steeper.
#[test]
fn ordered_categories_are_freed_from_days() {
    let mut noise = Noise(7);
    let latent: Vec<f64> = (0..36).map(|i| 1.5 * INDICES[i % 6].ln() + 0.7 * noise.next()).collect();
    let made = |shift: f64, days: bool| {
        let mut made = on_days(designs()[0].1, |_, _| 1.0);
        for s in &mut made.scores {
            let later = if s.day == 1 { shift } else { 0.0 };
            s.score = (latent[6 * s.panellist + s.scrub] + later).floor().clamp(0.0, 14.0) - 1.0;
        }
        made.scale = ScoreScale::new(-1.0, 20.0).unwrap();
        if !days {
            made.days.clear();
        }
        match analyse(&made, "test").fitted {
            Some(Fitted::Ordinal { model, .. }) => model.slope,
            other => panic!("{other:?}"),
        }
    };
    let (plain, seen, unseen) = (made(0.0, true), made(3.0, true), made(3.0, false));
    assert!((seen / plain - 1.0).abs() < 0.05 && (unseen / plain - 1.0).abs() > 0.1, "{plain} {seen} {unseen}");
}

#[test]
fn days_come_from_their_column_or_from_the_dates() {
    let folder = workshop();
    let dir = folder.path();
    let files =
        ["sluice-oat-cream", "millrace-rice-polish", "osier-bamboo-polish", "millrace-body-scrub", "weir-foot-scrub"];
    let table = |column: &str, names: [&str; 2], factor: f64| {
        let mut text = format!("scrub,taster,score,{column}\n");
        for (t, (s, file)) in (0..4).flat_map(|t| files.iter().enumerate().map(move |f| (t, f))) {
            for day in if s == 2 { vec![0, 1] } else { vec![usize::from(s > 2)] } {
                let score = [0.8, 1.6, 2.0, 3.1, 5.2][s] * (1.0 + 0.03 * ((2 * t + s) % 3) as f64);
                let score = score * if day == 1 { factor } else { 1.0 };
                text += &format!("{file}.toml,T{t},{score:.4},{}\n", names[day]);
            }
        }
        text
    };
    let exponent = |text: String| {
        fs::write(dir.join("d.csv"), text).unwrap();
        let (_, report) = json(dir, &["panel", "d.csv", "--json"]);
        (number(&report, &["exponent", "value"]), report)
    };
    let (plain, _) = exponent(table("day", ["Mon", "Tue"], 1.0));
    for (column, names) in [("day", ["Mon", "Tue"]), ("date", ["2026-05-04", "2026-05-05"])] {
        let (value, report) = exponent(table(column, names, 1.5));
        assert!((value - plain).abs() < 1e-3, "{column}: {value}, {plain}");
        assert_eq!(report["days_taken_out"], "within-tasters");
        let level = |i: usize| number(&report["days"][i], &["level"]);
        assert_eq!(report["days"][1]["name"], names[1]);
        assert!((level(1) / level(0) - 1.5).abs() < 1e-3);
        let text = run_in(dir, &["panel", "d.csv"]).1.split_whitespace().collect::<Vec<_>>().join(" ");
        let wanted = format!(
            "on {} the same scrubs scored 1.50 times as high as on {}: each taster's level",
            names[1], names[0]
        );
        assert!(text.contains(&wanted), "{text}");
    }
    // Without days nobody scores a scrub twice; the control is left to the first.
    let once = table("note", ["Mon", "Tue"], 1.5);
    let control = |l: &&str| !(l.starts_with(files[2]) && l.ends_with("Tue"));
    let (unseen, report) = exponent(once.lines().filter(control).map(|l| format!("{l}\n")).collect());
    assert!(unseen > plain + 0.05 && report["days_taken_out"].is_null());
    assert!(run_in(dir, &["panel", "d.csv"]).1.contains("no days are noted"));

    let good = table("day", ["Mon", "Tue"], 1.0);
    let many: String = (0..51).map(|i| format!("weir-foot-scrub.toml,T0,1,d{i}\n")).collect();
    for (text, wanted) in [
        (good.replacen(",Mon", ",", 1), "d.csv:2:33: the day is empty"),
        (good.replacen(",Mon", ",mon", 1), "day \"Mon\" is \"mon\" in line 2"),
        (format!("scrub,taster,score,day\n{many}"), "d.csv:52:27: more than 50 days"),
        (good.replacen(",day", ",days", 1), "did you mean \"day\""),
        (format!("{good}weir-foot-scrub.toml,T0,1,Tue\n"), "twice on Tue"),
    ] {
        fs::write(dir.join("d.csv"), text).unwrap();
        let (code, _, message) = run_in(dir, &["panel", "d.csv"]);
        assert_eq!(code, 2);
        assert!(message.contains(wanted), "{message}");
    }
}
