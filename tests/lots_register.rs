//! The register of lots: what is kept, what is refused, what a crash leaves.

use crate::common::workshop::*;
use serde_json::Value;
use std::fs;

fn register<'a>(lot: &'a str, date: &'a str) -> Vec<&'a str> {
    vec![LOT_FILE, "--register", "lots.csv", "--lot", lot, "--date", date]
}
#[test]
fn the_register_keeps_what_was_decided() {
    let shop = Workshop::new();
    let before = shop.read("lots.csv");
    let (_, result) = shop.lot(&register("OS-2411", "2026-11-20"));
    let after = shop.read("lots.csv");
    let line = after.strip_prefix(&before).unwrap();
    let hash = result["tables"][0]["sha256"].as_str().unwrap();
    assert_eq!(
        line,
        format!(
            "2026-11-20,\"Olive stone, sieved\",OS-2411,Millrace rice polish,accept with new parts,{:.3},{:.3},{:.3},{:.3},{:.3},\
             delicate face,1,{hash}\n",
            number(&result["tables"][0]["d10_um"]),
            number(&result["tables"][0]["d50_um"]),
            number(&result["tables"][0]["d90_um"]),
            number(&result["over_top_pct"]),
            number(&result["index_with_lot"])
        )
    );
    let output = run(shop.path(), &["lots", "lots.csv", "--json", "--plot", "lots.svg"]);
    let charts: Value = serde_json::from_slice(&output.stdout).unwrap();
    let d50 = &charts["charts"][0];
    assert_eq!((d50["figure"].as_str(), d50["lots"].as_array().unwrap().len()), (Some("d50_um"), 11));
    assert_eq!(d50["signals"][0]["lot"], "OS-2411");
    assert_eq!(d50["signals"][0]["rule"], "beyond_limit");
    // The limits by hand from the register's own column.
    let values: Vec<f64> = d50["lots"].as_array().unwrap().iter().map(|l| number(&l["value"])).collect();
    let mean = values.iter().sum::<f64>() / values.len() as f64;
    let range = values.windows(2).map(|w| (w[1] - w[0]).abs()).sum::<f64>() / (values.len() - 1) as f64;
    assert!((number(&d50["limits"]["upper"]) - (mean + 2.66 * range)).abs() < 1e-3 * range);
    assert!((number(&d50["limits"]["range_upper"]) - 3.267 * range).abs() < 1e-9);
    assert_eq!(charts["charts"][1]["scrub"], "Millrace rice polish");
    let svg = shop.read("lots.svg");
    assert!(svg.contains(">11<") && svg.contains("upper limit") && !svg.contains("NaN"));
    // A register that is not there is made; a second verdict on a lot replaces the first in the chart, not in the file.
    fs::remove_file(shop.path().join("lots.csv")).unwrap();
    shop.lot(&register("OS-2411", "2026-11-20"));
    let again = ["olive-stone-sieved.csv", "--register", "lots.csv", "--lot", "OS-2411", "--date", "2026-11-21"];
    shop.lot(&again);
    assert_eq!(shop.read("lots.csv").lines().count(), 3);
    let text = String::from_utf8(run(shop.path(), &["lots", "lots.csv"]).stdout).unwrap();
    assert!(text.contains("a single lot") && text.contains("2026-11-21") && !text.contains("2026-11-20"), "{text}");
}

#[test]
fn bad_registers_are_named_and_left_alone() {
    let shop = Workshop::new();
    let good = shop.read("lots.csv");
    let refused = |args: &[&str]| {
        let before = shop.read("lots.csv");
        let output = run(shop.path(), args);
        assert_eq!(output.status.code(), Some(2), "{args:?}");
        assert_eq!(shop.read("lots.csv"), before);
        String::from_utf8(output.stderr).unwrap()
    };
    let lot = |lot: &str, date: &str| {
        let call = ["lot", LOT_FILE, "--powder", "olive", "--in", "scrub.toml", "--register", "lots.csv"];
        refused(&[&call[..], &["--lot", lot, "--date", date]].concat())
    };
    for (from, to, wanted) in [
        ("165.200", "165,200", "lots.csv:7: 14 cells"),
        ("165.200", "many", "lots.csv:7: d50_um = \"many\" is no number"),
        ("165.200", "5e307", "lots.csv:7: d50_um = \"5e307\" is no number from 0 to 1000000"),
        ("165.200", "NaN", "lots.csv:7: d50_um = \"NaN\" is no number"),
        ("2026-04-27", "27/04/2026", "lots.csv:7: \"27/04/2026\" is no date"),
        ("OS-2405", "=OS", "lots.csv:7: \"=OS\" begins with ="),
        ("118.800,165.200", "168.800,165.200", "lots.csv:7: d10_um, d50_um and d90_um must"),
        ("2026-04-27,\"Olive stone, sieved\"", "2026-04-27,", "lots.csv:7: powder is empty"),
        ("date,powder", "day,powder", "lots.csv:2: this is no register of lots"),
    ] {
        assert!(good.contains(from));
        shop.write("lots.csv", &good.replace(from, to));
        for message in [lot("OS-2411", "2026-11-20"), refused(&["lots", "lots.csv"])] {
            assert!(message.contains(wanted) && message.contains("nothing was changed"), "{message}");
        }
        // A # in front of the line lets all the others count.
        let line = wanted[9..].split(':').next().unwrap().parse::<usize>().unwrap();
        if line == 7 {
            let text = shop.read("lots.csv");
            let lines = text
                .lines()
                .enumerate()
                .map(|(i, l)| if i + 1 == line { format!("# {l}\n") } else { format!("{l}\n") });
            shop.write("lots.csv", &lines.collect::<String>());
            assert!(run(shop.path(), &["lots", "lots.csv"]).status.success(), "{to}");
        }
    }
    shop.write("lots.csv", &good);
    for (code, date, wanted) in [
        ("=HYPERLINK(1)", "2026-11-20", "a spreadsheet would take it for a formula"),
        ("-12", "2026-11-20", "begins with -"),
        ("OS-2411", "2026-02-30", "that month has 28 days"),
        ("OS-2411", "20.11.2026", "year-month-day"),
        ("", "2026-11-20", "1 to 64 characters"),
    ] {
        let message = lot(code, date);
        assert!(message.contains(wanted), "{message}");
    }
}

#[test]
fn a_locked_or_repeated_entry_changes_nothing() {
    let shop = Workshop::new();
    let good = shop.read("lots.csv");
    let call = ["lot", LOT_FILE, "--powder", "olive", "--in", "scrub.toml", "--register", "lots.csv"];
    let call = [&call[..], &["--lot", "OS-2411", "--date", "2026-11-20", "--plot", "new.svg"]].concat();
    let held = fs::File::open(shop.path().join("lots.csv")).unwrap();
    held.lock().unwrap();
    for args in [&call[..], &["lots", "lots.csv"]] {
        let output = run(shop.path(), args);
        let message = String::from_utf8(output.stderr).unwrap();
        // The verdict is told all the same.
        assert_eq!((output.status.code(), output.stdout.is_empty()), (Some(2), args[0] == "lots"), "{message}");
        assert!(message.contains("lots.csv: another program has the register locked"), "{message}");
    }
    assert_eq!(shop.read("lots.csv"), good);
    drop(held);
    fs::remove_file(shop.path().join("new.svg")).unwrap();
    assert!(run(shop.path(), &call).status.success());
    let once = shop.read("lots.csv");
    // A picture in the way is found before the register is touched; then the same table of the same lot is.
    assert_eq!(run(shop.path(), &call).status.code(), Some(2));
    let message = String::from_utf8(run(shop.path(), &[&call[..], &["--force"]].concat()).stderr).unwrap();
    assert!(message.contains("lots.csv:13: lot OS-2411 of Olive stone, sieved stands here already"), "{message}");
    assert_eq!(shop.read("lots.csv"), once);
}

#[test]
fn a_picture_never_replaces_what_it_is_made_from() {
    let shop = Workshop::new();
    // Whatever it is called: what a picture is written into ends in .svg.
    for (name, as_picture) in
        [("lots.csv", "lots.svg"), ("scrub.toml", "scrub.svg"), ("olive-stone-lot.csv", "lot.svg")]
    {
        fs::copy(shop.path().join(name), shop.path().join(as_picture)).unwrap();
    }
    for (args, kept) in [
        (vec!["lots", "lots.svg", "--plot", "./lots.svg", "--force"], "lots.svg"),
        (vec!["confidence", "scrub.svg", "--draws", "1000", "--plot", "scrub.svg", "--force"], "scrub.svg"),
        (vec!["lot", "lot.svg", "--powder", "olive", "--in", "scrub.toml", "--plot", "lot.svg", "--force"], "lot.svg"),
    ] {
        let before = shop.read(kept);
        let output = run(shop.path(), &args);
        let complaint = String::from_utf8_lossy(&output.stderr).into_owned();
        assert_eq!(output.status.code(), Some(2), "{args:?}");
        assert!(complaint.contains("made from"), "{complaint}");
        assert_eq!(shop.read(kept), before);
    }
}

#[test]
fn a_lot_is_registered_only_once_its_verdict_is_told() {
    let shop = Workshop::new();
    for folder in ["folder", "folder.svg"] {
        fs::create_dir(shop.path().join(folder)).unwrap();
    }
    let call = ["lot", LOT_FILE, "--powder", "olive", "--in", "scrub.toml", "--lot", "A1", "--date", "2026-11-20"];
    let output = run(shop.path(), &[&call[..], &["--register", "new.csv", "--plot", "folder.svg", "--force"]].concat());
    assert_eq!(output.status.code(), Some(2));
    assert!(!shop.path().join("new.csv").exists());
    for (register, wanted) in [("nowhere/new.csv", "the register cannot be written"), ("folder", "a plain file")] {
        let output = run(shop.path(), &[&call[..], &["--register", register]].concat());
        let message = String::from_utf8(output.stderr).unwrap();
        assert_eq!(output.status.code(), Some(2));
        assert!(message.contains(wanted), "{message}");
        assert!(String::from_utf8(output.stdout).unwrap().contains("accept with new parts"));
    }
}

#[test]
fn many_calls_wait_for_the_register() {
    let shop = Workshop::new();
    std::thread::scope(|scope| {
        for i in 0..8 {
            let folder = shop.path();
            scope.spawn(move || {
                let (lot, date) = (format!("P{i}"), ["--date", "2026-11-20", "--register", "lots.csv"]);
                let call = ["lot", LOT_FILE, "--powder", "olive", "--in", "scrub.toml", "--lot", &lot];
                assert!(run(folder, &[&call[..], &date].concat()).status.success());
            });
        }
    });
    assert_eq!(shop.read("lots.csv").lines().filter(|l| l.starts_with("2026-11-20")).count(), 8);
}

#[test]
fn refused_lots_are_shown_but_make_no_limits() {
    let shop = Workshop::new();
    let charts = |shop: &Workshop| -> Value {
        let output = run(shop.path(), &["lots", "lots.csv", "--json", "--plot", "lots.svg", "--force"]);
        serde_json::from_slice(&output.stdout).unwrap()
    };
    let before = charts(&shop);
    let good = shop.read("lots.csv");
    let last = good.lines().last().unwrap().replace("OS-2410", "OS-2499").replace("2026-09-28", "2026-05-01");
    let cells: Vec<&str> = last.splitn(13, ',').collect();
    let verdict = cells.iter().position(|c| c.starts_with("accept")).unwrap();
    let mut bad: Vec<String> = cells.iter().map(|c| (*c).to_owned()).collect();
    bad[verdict] = "refuse".into();
    for (i, value) in ["300.000", "400.000", "500.000"].into_iter().enumerate() {
        bad[verdict + 1 + i] = value.into();
    }
    shop.write("lots.csv", &format!("{good}{}\n", bad.join(",")));
    let after = charts(&shop);
    for i in 0..2 {
        assert_eq!(before["charts"][i]["limits"], after["charts"][i]["limits"]);
    }
    let signals = after["charts"][0]["signals"].as_array().unwrap();
    assert!(!signals.is_empty() && signals.iter().all(|s| s["lot"] == "OS-2499"), "{signals:?}");
    assert!(shop.read("lots.svg").contains("refused: not in centre and limits"));
    assert!(after["note"].as_str().unwrap().contains("not a clinical measure"));
    assert!(after["note"].as_str().unwrap().contains("qualified safety assessor"));
    let (_, lot) = shop.lot(&[LOT_FILE]);
    assert!(["not a clinical measure", "safety assessor"].iter().all(|w| lot["note"].as_str().unwrap().contains(w)));
    // Of a lot that was judged twice the later date counts, whatever the order of the lines.
    let earlier = good.lines().last().unwrap().replace("2026-09-28", "2026-01-01");
    shop.write("lots.csv", &format!("{good}{earlier}\n"));
    assert_eq!(charts(&shop)["charts"], before["charts"]);
}

#[test]
fn a_line_cut_short_is_kept_and_said() {
    let shop = Workshop::new();
    let good = shop.read("lots.csv");
    shop.write("lots.csv", &good[..good.len() - 30]);
    let text = String::from_utf8(run(shop.path(), &["lots", "lots.csv"]).stdout).unwrap();
    assert!(text.contains("lots.csv:12 was cut short"), "{text}");
    let call =
        [&["lot"], &register("OS-2411", "2026-11-20")[..], &["--powder", "olive", "--in", "scrub.toml"]].concat();
    let output = run(shop.path(), &call);
    let message = String::from_utf8(output.stderr).unwrap();
    assert!(output.status.success() && message.contains("lots.csv:12: this line was cut short"), "{message}");
    assert!(shop.read("lots.csv").starts_with(&(good[..good.len() - 30].to_owned() + ",torn\n2026-11-20")));
}

#[test]
fn a_register_of_a_torn_line_alone_says_so() {
    let shop = Workshop::new();
    let good = shop.read("lots.csv");
    let lines: Vec<&str> = good.lines().collect();
    let row = lines.iter().find(|l| l.contains("OS-2405")).unwrap();
    let header = lines.iter().find(|l| l.starts_with("date,")).unwrap();
    for end in ["", ",torn\n"] {
        shop.write("lots.csv", &format!("{header}\n{}{end}", &row[..row.len() - 10]));
        let output = run(shop.path(), &["lots", "lots.csv"]);
        let said = String::from_utf8(output.stderr).unwrap();
        assert!(output.status.code() == Some(2) && said.contains("lots.csv:2: this line was cut short"), "{said}");
        assert!(said.contains("judge that lot again"), "{said}");
    }
    shop.write("lots.csv", "# begun anew\n\n");
    let said = String::from_utf8(run(shop.path(), &["lots", "lots.csv"]).stderr).unwrap();
    assert!(said.contains("holds no lot yet"), "{said}");
    shop.lot(&register("OS-2411", "2026-11-20"));
    shop.lot(&["olive-stone-sieved.csv", "--register", "lots.csv", "--lot", "os-2411", "--date", "2026-11-21"]);
    let text = String::from_utf8(run(shop.path(), &["lots", "lots.csv"]).stdout).unwrap();
    assert!(text.contains("a single lot") && text.contains("os-2411") && !text.contains("OS-2411"), "{text}");
}

#[test]
fn a_new_verdict_on_the_same_table_is_a_new_line() {
    let shop = Workshop::new();
    let call = |date: &str| {
        let call =
            ["lot", "olive-stone-sieved.csv", "--powder", "olive", "--in", "scrub.toml", "--register", "new.csv"];
        let output = run(shop.path(), &[&call[..], &["--lot", "OS-1", "--date", date]].concat());
        (output.status.code(), String::from_utf8(output.stderr).unwrap())
    };
    assert_eq!(call("2026-11-20").0, Some(0));
    let (status, said) = call("2026-11-21");
    assert!(status == Some(2) && said.contains("with the same table and verdict; nothing was added"), "{said}");
    // A tighter grade refuses the same table; a looser one takes it again.
    let loose = shop.read("scrub.toml");
    shop.write("scrub.toml", &loose.replace("top_um = 250", "top_um = 150"));
    assert_eq!(call("2026-11-22").0, Some(1));
    shop.write("scrub.toml", &loose);
    assert_eq!(call("2026-11-23").0, Some(0));
    let verdicts: Vec<String> = shop
        .read("new.csv")
        .lines()
        .skip(1)
        .map(|l| l.rsplit_once("polish,").unwrap().1.split(',').next().unwrap().to_owned())
        .collect();
    assert_eq!(verdicts, ["accept", "refuse", "accept"]);
    // A register that is made now has columns for what earlier versions did not keep.
    assert!(
        shop.read("new.csv").starts_with("date,powder,lot,")
            && shop.read("new.csv").contains(",unsure,new_parts,tables,")
    );
}

#[test]
fn the_table_of_another_lot_and_a_sample_that_cannot_be_are_told() {
    let shop = Workshop::new();
    shop.lot(&register("OS-2411", "2026-11-20"));
    let call =
        [&["lot"], &register("OS-2412", "2026-11-21")[..], &["--powder", "olive", "--in", "scrub.toml"]].concat();
    let output = run(shop.path(), &call);
    let said = String::from_utf8(output.stderr).unwrap();
    assert!(
        output.status.success()
            && said.contains("lot OS-2411 of Olive stone, sieved was judged by the very same table"),
        "{said}"
    );
    let (_, lot) = shop.lot(&[LOT_FILE, "--sample-g", "0.01"]);
    let said = texts(&lot["warnings"]);
    assert!(said.contains("--sample-g says 0.0100 g, but") && said.contains("one of the two is wrong"), "{said}");
}
