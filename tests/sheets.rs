//! Size tables as people keep them in spreadsheets: headings in four languages, units, decimal marks, encodings, workbooks.

use crate::common::{assert_close, run_in, tables};
use gritwise::size::table::{TableKind, read, read_tabular};
use gritwise::size::{SizeError, SizeRecord};
use gritwise::source::Tabular;
use serde_json::Value;
use std::fs;
use std::path::Path;
use tempfile::TempDir;

/// The table that all wordings below say: 10 g on 300 µm, 60 g on 150 µm, 25 g on 75 µm, 5 g in the pan.
const OWN: &str = "opening_um,retained_g\n300,10\n150,60\n75,25\npan,5\n";

fn table(text: &str) -> Result<SizeRecord, SizeError> {
    read(text, "lot.csv", None, &tables().standards)
}

fn taken(text: &str) -> SizeRecord {
    table(text).unwrap_or_else(|e| panic!("{e}\nin:\n{text}"))
}

fn refused(text: &str) -> String {
    table(text).unwrap_err().to_string()
}

/// What a table says: its points, and its kind.
fn same(one: &SizeRecord, other: &SizeRecord, what: &str) {
    assert_eq!(one.points.len(), other.points.len(), "{what}");
    for (a, b) in one.points.iter().zip(&other.points) {
        assert!((a.0 / b.0 - 1.0).abs() < 1e-12 && (a.1 - b.1).abs() < 1e-12, "{what}: {a:?} is not {b:?}");
    }
    assert_eq!(one.measured.map(|m| m.kind), other.measured.map(|m| m.kind), "{what}");
}

#[test]
fn every_wording_of_a_sieve_table_says_the_same() {
    let own = taken(OWN);
    assert_eq!(own.understood, None);
    for (what, text) in [
        ("units in the head", "Sieve (µm),Retained (g)\n300,10\n150,60\n75,25\nPan,5\n"),
        ("Opening mm", "Opening mm;Weight g\n0.3;10\n0.15;60\n0.075;25\nbottom;5\n"),
        (
            "mesh numbers (ASTM E11: 50 mesh 300 µm, 100 mesh 150 µm, 200 mesh 75 µm)",
            "Mesh,Retained (g)\n50,10\n100,60\n200,25\nPan,5\n",
        ),
        ("German", "Siebweite (µm);Rückstand (g)\n300;10,0\n150;60,0\n75;25,0\nBoden;5,0\n"),
        ("German, percent", "Maschenweite [mm];Siebrückstand [%]\n0,3;10\n0,15;60\n0,075;25\nAuffangschale;5\n"),
        ("German, passing", "Sieb µm;Durchgang %\n300;90\n150;30\n75;5\nBoden;0\n"),
        ("German, sums", "Sieb µm;Rückstandssumme %\n300;10\n150;70\n75;95\nBoden;100\n"),
        ("French", "Ouverture du tamis (µm);Refus (g)\n300;10\n150;60\n75;25\nFond;5\n"),
        ("French, passing", "Tamis (µm);Passant cumulé (%)\n300;90\n150;30\n75;5\nfond;0\n"),
        ("Spanish", "Tamiz (µm);Peso retenido (g)\n300;10\n150;60\n75;25\nFondo;5\n"),
        ("Spanish, cumulative", "Abertura de malla (mm);% retenido acumulado\n0,3;10\n0,15;70\n0,075;95\nfondo;100\n"),
        ("units in the cells", "Sieve,Retained\n300 µm,10 %\n150 µm,60 %\n75 µm,25 %\npan,5 %\n"),
        ("meshes in the cells", "Sieve,Retained\n50 mesh,10 g\n#100,60 g\nNo. 200,25 g\npan,5 g\n"),
        ("own names, units in the cells", "opening_um,retained_g\n300 µm,10 g\n0.15 mm,60 g\n75,25\npan,5\n"),
        ("units in a row of their own", "Sieve;Retained\nµm;g\n300;10\n150;60\n75;25\npan;5\n"),
        ("pan first, fine to coarse", "Sieve (µm),Retained (g)\nPan,5\n75,25\n150,60\n300,10\n"),
        ("fine to coarse", "opening_um,retained_g\n75,25\n150,60\n300,10\npan,5\n"),
        ("pan first", "opening_um,retained_g\npan,5\n300,10\n150,60\n75,25\n"),
        ("a total", "Sieve (µm),Retained (g)\n300,10\n150,60\n75,25\nPan,5\nTotal,100\n"),
        ("a total in German", "Sieb (µm);Rückstand (g)\n300;10\n150;60\n75;25\nBoden;5\nSumme;100\n"),
        ("a total without a word", "Sieve (µm),Retained (g)\n300,10\n150,60\n75,25\nPan,5\n,100\n"),
        ("a loss", "Sieve (µm),Retained (g)\n300,10\n150,60\n75,25\nPan,5\nLoss,0.4\nTotal,100.4\n"),
        ("empty columns at the end", "opening_um,retained_g,,\n300,10,,\n150,60,,\n75,25,,\npan,5,,\n"),
        ("sep=;", "sep=;\r\nopening_um;retained_g\r\n300;10\r\n150;60\r\n75;25\r\npan;5\r\n"),
        (
            "a title above",
            "Sieve analysis of olive stone\nMarch\n\nSieve (µm);Retained (g);Retained (%)\n300;10;10\n150;60;60\n75;25;25\nPan;5;5\n\nOperator: M.\n",
        ),
        (
            "a title of the same words",
            "Sieve analysis;Mass 100 g\nSieve (µm);Retained (g)\n300;10\n150;60\n75;25\nPan;5\n",
        ),
        ("pan as what lies below", "Sieve (µm),Retained (%)\n>300,10\n>150,60\n>75,25\n<75,5\n"),
        (
            "sieves weighed full and empty",
            "Sieve (µm),Empty sieve (g),Sieve + sample (g)\n300,400,410\n150,390.5,450.5\n75,380,405\nPan,300,305\n",
        ),
        (
            "tare and gross, with a sum",
            "Sieb (µm);Tara (g);Brutto (g)\n300;400,0;410,0\n150;390,5;450,5\n75;380,0;405,0\nBoden;300;305\nSumme;;1570,5\n",
        ),
        ("cumulative told by its numbers", "Sieve (µm),Retained (%)\n300,10\n150,70\n75,95\nPan,100\n"),
        ("thousands", "Sieve (µm);Retained (mg)\n300;10 000\n150;60 000,0\n75;25.000\nPan;5.000,0\n"),
        ("kilograms", "Sieve (µm),Retained (kg)\n300,0.01\n150,0.06\n75,0.025\nPan,0.005\n"),
    ] {
        same(&taken(text), &own, what);
    }
}

/// What lies between two sieves stayed on the finer one; above the coarsest range nothing lay.
#[test]
fn ranges_of_sieves_are_understood() {
    let own = taken("opening_um,retained_g\n300,10\n150,60\n75,25\npan,5\n");
    for text in [
        "Sieve (µm),Retained (g)\n>300,10\n150-300,60\n75-150,25\n<75,5\n",
        "Sieve (µm),Retained (%)\n>300,10\n150–300 µm,60\n75 – 150 µm,25\n0-75,5\n",
        "Sieb;Rückstand (g)\n<75 µm;5\n75 bis 150 µm;25\n0,15-0,3 mm;60\n>300 µm;10\n",
        "Mesh,Retained (g)\n50,10\n50-100,60\n100-200,25\nPan,5\n",
    ] {
        let read = taken(text);
        same(&read, &own, text);
        assert!(read.understood.unwrap().contains("what lies between two sieves"), "{text}");
    }
    let own = taken("opening_um,retained_g\n500,0\n300,10\n150,60\n75,25\npan,5\n");
    same(&taken("Sieve (µm),Retained (g)\n300-500,10\n150-300,60\n75-150,25\n<75,5\n"), &own, "a top");
}

#[test]
fn laser_tables_and_counts_are_understood() {
    let own = taken("lower_um,upper_um,volume_pct\n10,20,40\n20,40,60\n");
    for text in [
        "From (µm);To (µm);Volume (%)\n10;20;40\n20;40;60\n",
        "von µm;bis µm;Volumenanteil %\n10;20;40,0\n20;40;60,0\n",
        "Lower (mm),Upper (mm),Vol. %\n0.01,0.02,40\n0.02,0.04,60\n",
        "desde (µm);hasta (µm);volumen (%)\n20;40;60\n10;20;40\n",
    ] {
        same(&taken(text), &own, text);
    }
    let own = taken("size_um,cum_volume_pct\n10,0\n20,40\n40,100\n");
    for text in [
        "Size (µm),Cumulative volume (%)\n10,0\n20,40\n40,100\n",
        "Korngröße (µm);Durchgang (%)\n40;100\n20;40\n10;0\n",
        "Taille (µm);Volume cumulé (%)\n10;0\n20;40\n40;100\n",
    ] {
        same(&taken(text), &own, text);
    }
    let own = taken("lower_um,upper_um,count\n10,20,400\n20,40,1600\n");
    same(&taken("Lower (µm);Upper (µm);Count\n10;20;400\n20;40;1 600\n"), &own, "counts");
    same(&taken("von (µm);bis (µm);Anzahl\n10;20;400\n20;40;1.600,0\n"), &own, "Anzahl");
}

/// Shares by number go into a table of counts; a share finer by number, by area or by intensity is none by volume.
#[test]
fn a_share_by_number_is_no_share_by_volume() {
    let classes = |head: &str| table(&format!("Lower (µm),Upper (µm),{head}\n30,60,60\n60,90,25\n90,130,15\n"));
    let counts = taken("lower_um,upper_um,count\n30,60,60\n60,90,25\n90,130,15\n");
    for head in ["Number fraction (%)", "Fraction (number %)", "Share by number (%)"] {
        same(&classes(head).unwrap_or_else(|e| panic!("{head}: {e}")), &counts, head);
    }
    for head in [
        "Number undersize (%)",
        "Undersize by number (%)",
        "Q0 passing (%)",
        "Anzahl Durchgang (%)",
        "Area undersize (%)",
        "Intensity undersize (%)",
    ] {
        assert!(table(&format!("Size (µm),{head}\n30,10\n60,60\n90,100\n")).is_err(), "{head}");
    }
}

#[test]
fn what_was_understood_is_said() {
    let said =
        taken("Sieb (mm);Rückstand (g);Rückstand (%)\nBoden;5,5;5,5\n0,075;24,5;24,5\n0,3;70;70\nSumme;100;100\n")
            .understood;
    assert_eq!(
        said.as_deref(),
        Some(
            "\"Sieb (mm)\" as openings in mm; \"Rückstand (g)\" as what stayed on each sieve, g; commas as decimal marks; turned \
             to run from coarse to fine; row 5 (\"Summe\") left out; not used: \"Rückstand (%)\""
        )
    );
    let weighed =
        taken("Sieve (µm),Empty sieve (g),Sieve + sample (g)\n300,400,410\n150,390,450\nPan,300,330\n").understood;
    assert!(weighed.unwrap().contains("\"Sieve + sample (g)\" less \"Empty sieve (g)\" as what stayed on each sieve"));
}

#[test]
fn encodings_of_spreadsheets_are_read() {
    let text = "Siebweite (µm);Rückstand (g)\r\n300;10,0\r\n150;60,0\r\n75;25,0\r\nBoden;5,0\r\n";
    let utf16 = |order: fn(u16) -> [u8; 2], mark: [u8; 2]| -> Vec<u8> {
        mark.into_iter().chain(text.encode_utf16().flat_map(order)).collect()
    };
    let latin = text.chars().map(|c| u8::try_from(u32::from(c)).unwrap()).collect::<Vec<u8>>();
    let utf8 = [b"\xef\xbb\xbf", text.as_bytes()].concat();
    for bytes in [latin, utf8, utf16(u16::to_le_bytes, [0xff, 0xfe]), utf16(u16::to_be_bytes, [0xfe, 0xff])] {
        let tabular = Tabular::of(&bytes, "lot.csv", None).unwrap();
        same(&read_tabular(&tabular, None, &tables().standards).unwrap(), &taken(OWN), "encoding");
    }
}

#[test]
fn what_may_be_two_things_is_asked_with_both_readings() {
    for (what, text, wanted) in [
        (
            "no unit",
            "Sieve,Retained (g)\n300,10\n150,60\npan,30\n",
            vec![":1:1:", "300 µm, 300 mm or 300 mesh", "\"Sieve (µm)\""],
        ),
        (
            "no unit of amounts",
            "Sieve (µm),Retained\n300,10\n150,60\npan,30\n",
            vec![":1:12:", "\"Retained (g)\" or \"Retained (%)\""],
        ),
        (
            "retained or passing",
            "Sieve (µm),Share (%)\n300,90\n150,30\npan,0\n",
            vec![":1:12:", "retained or what passed", "\"Retained (%)\"", "\"Passing (%)\""],
        ),
        ("percent alone", "Sieve (µm);%\n300;90\n150;30\npan;0\n", vec!["retained or what passed"]),
        (
            "thousands or decimals",
            "Sieve (µm),Retained (g)\n\"1,250\",10\n600,60\npan,30\n",
            vec![":2:1:", "1250 or 1.250", "write one of them"],
        ),
        (
            "thousands in German",
            "Sieb (µm);Rückstand (g)\n1.250;10\n600;60\nBoden;30\n",
            vec![":2:1:", "1250 or 1.250"],
        ),
        (
            "mesh numbers called openings",
            "Opening (µm),Retained (g)\n20,0\n40,20\n60,40\n80,20\n100,15\npan,5\n",
            vec![":7:", "each is a mesh number"],
        ),
        ("meshes of another series", "BSS Mesh,Retained (g)\n30,0\n60,40\nPan,5\n", vec!["BS 410", "in µm"]),
        ("the same", "DIN mesh,Retained (g)\n20,40\n40,40\nPan,5\n", vec!["DIN", "in µm"]),
        (
            "two runs",
            "Sieve (µm);Retained 1 (g);Retained 2 (g)\n300;90;80\npan;10;20\n",
            vec!["may both hold the amounts", "a file of its own"],
        ),
        ("share of one size", "Size (µm),Volume (%)\n10,40\n20,60\n", vec!["needs both bounds"]),
        (
            "a total that is off",
            "Sieve (µm),Retained (g)\n300,10\npan,30\nTotal,50\n",
            vec![":4:", "says 50", "sum to 40"],
        ),
        ("a number without a size", "Sieve (µm),Retained (g)\n300,10\n,20\npan,30\n", vec![":3:", "no size beside it"]),
        (
            "pan below another sieve",
            "Sieve (µm),Retained (g)\n300,10\n150,20\n<75,30\n",
            vec![":4:", "not the finest sieve"],
        ),
        ("grams in percent", "Sieve (µm),Retained (%)\n300,10 g\npan,90\n", vec![":2:", "another unit"]),
        (
            "decimal commas between commas",
            "Sieve (mm),Retained (g)\n0,3,10,5\n0,15,60,0\npan,30,0\n",
            vec![":2:5:", "4 cells", "semicolons"],
        ),
        (
            "full sieves",
            "Sieve (µm),Weight full (g)\n300,410\npan,390\n",
            vec![":1:", "no row names a column of sizes and one of amounts", "\"Retained (g)\""],
        ),
        (
            "lighter when full",
            "Sieve (µm),Weight empty (g),Weight full (g)\n300,410,400\npan,300,390\n",
            vec![":2:", "weighs less with what lies on it", "400 g", "410 g"],
        ),
        (
            "a gap between ranges",
            "Sieve (µm),Retained (g)\n250-500,10\n63-125,60\n<63,5\n",
            vec![":3:", "63 to 125 µm does not reach to the next coarser sieve, 250 µm"],
        ),
        ("ranges without a unit", "Sieve,Retained (g)\n63-125,10\n<63,90\n", vec![":1:", "has no unit: 125 may be"]),
        ("negative", "Sieve (µm),Retained (g)\n300,-10\npan,90\n", vec![":2:", "negative"]),
        ("a head alone", "Sieve (µm),Retained (g)\n", vec!["no rows"]),
        (
            "sums of masses",
            "Sieve (µm),Retained (g)\n300,10\n150,70\n75,95\npan,100\n",
            vec![":1:", "on it and above", "\"retained_g\""],
        ),
        (
            "sums of masses, not called retained",
            "Sieve (µm),Mass (g)\n250,2\n150,20\n90,60\n63,90\npan,100\n",
            vec![":1:12:", "rises", "lies on it and above"],
        ),
        (
            "masses that passed",
            "Sieve (µm),Weight (g)\n250,98\n150,80\n90,40\n63,10\npan,0\n",
            vec![":1:12:", "falls", "all that passed it", "\"retained_g\""],
        ),
        (
            "shares that the masses do not make",
            "Sieve (µm),Retained (g),Passing (%)\n250,2,98\n150,18,70\n90,40,40\n63,30,10\npan,10,0\n",
            vec![":3:8:", "says 70 %", "makes 80 %"],
        ),
        (
            "retained shares that the masses do not make",
            "Sieve (µm),Retained (g),Retained (%)\n250,2,2\n150,18,30\n90,40,40\n63,30,18\npan,10,10\n",
            vec![":3:8:", "says 30 %", "makes 18 %"],
        ),
        ("97 %", "Sieve (µm),Retained (%)\n300,10\n150,60\npan,27\n", vec!["sums to 97 %"]),
    ] {
        let message = refused(text);
        for part in wanted.into_iter().chain(["lot.csv"]) {
            assert!(message.contains(part), "{what}: no {part:?} in: {message}");
        }
    }
}

#[test]
fn all_wrong_cells_are_told_at_once_in_their_order() {
    for (text, lines) in [
        (
            "opening_um,retained_g\n300,ten\n150,60\n75,-2\nfine,5\npan,x\n",
            vec!["lot.csv:2:", "lot.csv:4:", "lot.csv:5:", "lot.csv:6:"],
        ),
        (
            "Sieve (µm);Retained (g)\n300;ten\nfine;60\n75;\npan;5\n",
            vec!["lot.csv:2:5:", "lot.csv:3:1:", "lot.csv:4:4:"],
        ),
        ("opening_um,retained_g\n300\n150,60,7\npan,5\n", vec!["lot.csv:2:", "lot.csv:3:"]),
    ] {
        let message = refused(text);
        let found: Vec<&str> = message.lines().collect();
        assert_eq!(found.len(), lines.len(), "{message}");
        assert!(found.iter().zip(lines).all(|(line, start)| line.starts_with(start)), "{message}");
    }
    let rows: String = (0..30).map(|i| format!("{},x\n", 3000 - 10 * i)).collect();
    let message = refused(&format!("opening_um,retained_g\n{rows}pan,5\n"));
    assert_eq!(message.lines().count(), 21, "{message}");
    assert!(message.ends_with("\nand 10 more"), "{message}");
}

/// A workbook as this program's own writer of weigh sheets makes it.
#[cfg(feature = "xlsx")]
mod workbooks {
    use super::*;
    use rust_xlsxwriter::{ExcelDateTime, Format, Formula, Workbook, Worksheet};

    fn sieved(sheet: &mut Worksheet, name: &str) {
        sheet.set_name(name).unwrap();
        sheet.merge_range(0, 0, 0, 2, "Sieve analysis, lot 7", &Format::new()).unwrap();
        for (column, heading) in ["Sieve (µm)", "Retained (g)", "Retained (%)"].into_iter().enumerate() {
            sheet.write(2, column as u16, heading).unwrap();
        }
        let percent = Format::new().set_num_format("0.0 %");
        for (row, (sieve, grams)) in [("300", 10.0), ("150", 60.0), ("75", 25.0), ("Pan", 5.0)].into_iter().enumerate()
        {
            let row = row as u32 + 3;
            match sieve.parse::<f64>() {
                Ok(um) => sheet.write(row, 0, um).unwrap(),
                Err(_) => sheet.write(row, 0, sieve).unwrap(),
            };
            sheet.write(row, 1, grams).unwrap();
            sheet.write_with_format(row, 2, grams / 100.0, &percent).unwrap();
        }
        sheet.write(7, 0, "Total").unwrap();
        sheet.write(7, 1, Formula::new("=SUM(B4:B7)").set_result("100")).unwrap();
    }

    fn bytes(build: impl FnOnce(&mut Workbook)) -> Vec<u8> {
        let mut book = Workbook::new();
        build(&mut book);
        book.save_to_buffer().unwrap()
    }

    fn record(bytes: &[u8], sheet: Option<&str>) -> Result<SizeRecord, String> {
        let tabular = Tabular::of(bytes, "lot.xlsx", sheet).map_err(|e| e.to_string())?;
        read_tabular(&tabular, None, &tables().standards).map_err(|e| e.to_string())
    }

    #[test]
    fn the_one_sheet_with_a_size_table_is_taken() {
        let one = bytes(|book| {
            book.add_worksheet().write(0, 0, "Notes of the day").unwrap();
            sieved(book.add_worksheet(), "Sizes");
            book.add_worksheet();
        });
        let found = record(&one, None).unwrap();
        same(&found, &taken(OWN), "workbook");
        let said = found.understood.unwrap();
        assert!(said.starts_with("sheet \"Sizes\"; \"Sieve (µm)\" as openings in µm; "), "{said}");
        assert!(said.contains("row 8 (\"Total\") left out"), "{said}");
        assert_eq!(found.basis, "sieve table lot.xlsx, 3 points");
    }

    #[test]
    fn of_several_sheets_one_is_asked_for() {
        let two = bytes(|book| {
            sieved(book.add_worksheet(), "Lot 7");
            sieved(book.add_worksheet(), "Lot 8");
        });
        let asked = record(&two, None).unwrap_err();
        assert!(asked.contains("\"Lot 7\", \"Lot 8\" all hold size tables; write \"lot.xlsx#Lot 7\""), "{asked}");
        same(&record(&two, Some("Lot 8")).unwrap(), &taken(OWN), "named sheet");
        let wrong = record(&two, Some("Lot 9")).unwrap_err();
        assert!(wrong.contains("no sheet \"Lot 9\"") && wrong.contains("did you mean"), "{wrong}");
    }

    #[test]
    fn shares_shown_in_percent_are_read_as_shown() {
        let percent = Format::new().set_num_format("0.0%");
        let book = bytes(|book| {
            let sheet = book.add_worksheet();
            sheet.write(0, 0, "Sieve (mm)").unwrap();
            sheet.write(0, 1, "Passing").unwrap();
            for (row, (mm, passing)) in [(0.3, 0.9), (0.15, 0.3), (0.075, 0.05)].into_iter().enumerate() {
                sheet.write(row as u32 + 1, 0, mm).unwrap();
                sheet.write_with_format(row as u32 + 1, 1, passing, &percent).unwrap();
            }
        });
        same(&record(&book, None).unwrap(), &taken(OWN), "percent");
    }

    #[test]
    fn wrong_cells_go_by_the_names_of_the_spreadsheet() {
        let book = bytes(|book| {
            let sheet = book.add_worksheet();
            sieved(sheet, "Sizes");
            sheet.write(4, 1, "sixty").unwrap();
            let day = ExcelDateTime::from_ymd(2026, 5, 25).unwrap();
            sheet.write_with_format(5, 1, &day, &Format::new().set_num_format("yyyy-mm-dd")).unwrap();
            sheet.write(6, 1, Formula::new("=1/0").set_result("#DIV/0!")).unwrap();
        });
        let message = record(&book, None).unwrap_err();
        let lines: Vec<&str> = message.lines().collect();
        assert_eq!(lines.len(), 3, "{message}");
        assert!(lines[0].starts_with("lot.xlsx#Sizes!B5: \"Retained (g)\": \"sixty\" is not a number"), "{message}");
        assert!(
            lines[1].starts_with("lot.xlsx#Sizes!B6:") && lines[1].contains("made a date of what was typed"),
            "{message}"
        );
        assert!(lines[2].starts_with("lot.xlsx#Sizes!B7:") && lines[2].contains("#DIV/0!"), "{message}");
    }

    #[test]
    fn empty_and_foreign_workbooks_say_so() {
        let empty = bytes(|book| _ = book.add_worksheet());
        assert!(record(&empty, None).unwrap_err().contains("holds no cells"));
        let prose = bytes(|book| _ = book.add_worksheet().write(0, 0, "hello").unwrap());
        assert!(record(&prose, None).unwrap_err().contains("lot.xlsx#Sheet1, row 1: "));
        let two = bytes(|book| {
            book.add_worksheet().write(0, 0, "a").unwrap();
            book.add_worksheet().write(0, 0, "b").unwrap();
        });
        assert!(
            record(&two, None).unwrap_err().contains("none of the sheets \"Sheet1\", \"Sheet2\" holds a size table")
        );
    }

    #[test]
    fn a_cell_at_the_far_corner_costs_nothing() {
        let far = bytes(|book| {
            let sheet = book.add_worksheet();
            sieved(sheet, "Sizes");
            sheet.write(1_048_575, 0, "the end").unwrap();
        });
        same(&record(&far, None).unwrap(), &taken(OWN), "far row");
        let wide = bytes(|book| _ = book.add_worksheet().write(0, 16_383, "the end").unwrap());
        assert!(record(&wide, None).unwrap_err().contains("256 columns"));
    }

    /// Every damage of a workbook is an error, never a panic: bytes cut, turned and overwritten.
    #[test]
    fn broken_workbooks_are_refused() {
        let whole = bytes(|book| sieved(book.add_worksheet(), "Sizes"));
        let mut state = 1_u64;
        let mut random = || {
            state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            (state >> 33) as usize
        };
        for cut in (0..whole.len()).step_by(97) {
            assert!(record(&whole[..cut], None).is_err(), "cut at {cut}");
        }
        for _ in 0..300 {
            let mut broken = whole.clone();
            for _ in 0..1 + random() % 4 {
                let at = random() % broken.len();
                broken[at] = random() as u8;
            }
            let _ = record(&broken, None);
        }
    }

    /// A workbook with parts of its first sheet's text taken out.
    fn without(book: &[u8], text: &str) -> Vec<u8> {
        use std::io::{Cursor, Read, Write};
        let mut from = zip::ZipArchive::new(Cursor::new(book)).unwrap();
        let mut to = zip::ZipWriter::new(Cursor::new(Vec::new()));
        for i in 0..from.len() {
            let mut part = from.by_index(i).unwrap();
            let mut content = String::new();
            part.read_to_string(&mut content).unwrap();
            to.start_file(part.name().unwrap(), zip::write::SimpleFileOptions::default()).unwrap();
            to.write_all(content.replace(text, "").as_bytes()).unwrap();
        }
        to.finish().unwrap().into_inner()
    }

    /// As programs write formulas that no spreadsheet has worked out (openpyxl does): no value. One that gives an empty text is empty.
    #[test]
    fn a_formula_that_was_never_worked_out_is_no_empty_cell() {
        let with = |result: &str| {
            let book = bytes(|book| {
                let sheet = book.add_worksheet();
                for (row, (opening, grams)) in [(300.0, 2.0), (212.0, 0.0), (150.0, 30.0)].into_iter().enumerate() {
                    sheet.write(1 + row as u32, 0, opening).unwrap().write(1 + row as u32, 1, grams).unwrap();
                }
                sheet.write(0, 0, "opening_um").unwrap().write(0, 1, "retained_g").unwrap();
                sheet.write(4, 0, "pan").unwrap().write(4, 1, 4.0).unwrap();
                sheet.write(2, 1, Formula::new("=3+5").set_result(result)).unwrap();
            });
            record(&without(&book, "<v>8.125</v>"), None)
        };
        let said = with("8.125").unwrap_err();
        assert!(
            said.contains("\"=3+5 (a formula that was never worked out: open the workbook and save it)\""),
            "{said}"
        );
        assert!(with("8").is_ok());
        assert!(with("").is_ok());
    }

    /// A bomb: 40 MiB of blanks in a few KiB.
    #[test]
    fn what_unpacks_without_end_is_refused() {
        use std::io::Write;
        let mut zip = zip::ZipWriter::new(std::io::Cursor::new(Vec::new()));
        zip.start_file("xl/workbook.xml", zip::write::SimpleFileOptions::default()).unwrap();
        for _ in 0..40 {
            zip.write_all(&vec![b' '; 1 << 20]).unwrap();
        }
        let bomb = zip.finish().unwrap().into_inner();
        assert!(bomb.len() < 1 << 20);
        assert!(record(&bomb, None).unwrap_err().contains("unpacks to more than 32 MiB"));
    }

    #[test]
    fn workbooks_are_taken_wherever_tables_are() {
        let folder = TempDir::new().unwrap();
        let book = bytes(|book| {
            sieved(book.add_worksheet(), "Lot 7");
            sieved(book.add_worksheet(), "Lot 8");
        });
        fs::write(folder.path().join("lot.xlsx"), book).unwrap();
        let scrub = "[scrub]\nname = \"T\"\npowder_load_pct = 5\n\n[[powder]]\nname = \"Olive\"\nmaterial = \"olive-stone\"\n\
                     parts = 1\nsize = { sieve = \"lot.xlsx#Lot 7\" }\n";
        fs::write(folder.path().join("scrub.toml"), scrub).unwrap();
        for args in [
            vec!["size", "lot.xlsx#Lot 7"],
            vec!["blend", "scrub.toml"],
            vec!["lot", "lot.xlsx#Lot 8", "--powder", "olive", "--in", "scrub.toml"],
        ] {
            let (status, out, error) = run_in(folder.path(), &args);
            assert!(status < 2 && (out.contains("lot.xlsx") || out.contains("Olive")), "{args:?}: {out}{error}");
        }
    }

    /// A file of another program's writer: openpyxl 3.1.5, by tests/reference/sieves_xlsx.py.
    #[test]
    fn a_workbook_of_another_writer_is_read() {
        let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/reference/sieves.xlsx");
        let found = record(&fs::read(path).unwrap(), None).unwrap();
        same(&found, &taken(OWN), "openpyxl");
        assert_close("weighed", found.measured.and_then(|m| m.weighed_g).unwrap(), 100.0, 1e-12);
    }
}

#[test]
fn kinds_are_kept_apart() {
    let sieve =
        read("Sieve (µm),Retained (g)\n300,10\npan,90\n", "lot.csv", Some(TableKind::Laser), &tables().standards);
    assert!(sieve.unwrap_err().to_string().contains("this is a sieve table, but a laser table was asked for"));
}

/// Whatever a file holds, there is an answer.
#[test]
fn no_table_makes_it_panic() {
    for text in [
        "Sieve (µm),Retained (g)\0\n",
        "sep=;",
        "sep=;\n",
        ";;;\n",
        "\n,\n",
        "Sieve (µm),Retained (g)\npan,5\n",
        "Sieve (µm),Retained (g)\n<75,5\n",
        "Sieve (µm),Retained (g)\nTotal,5\n",
        "µm,g\nµm,g\nµm,g\n",
        "mesh,g\n3 1/2,5\npan,5\n",
        "Sieve (µm),Retained (g)\n300,1e308\n150,1e308\npan,1\n",
        "from,to,count\n",
        "from (µm),to (µm),count\n1,2,3\n",
        "from (µm),Retained (g)\n1,3\n",
    ] {
        let _ = table(text);
    }
    // One line of a million cells, and a million rows, are gone through once.
    let wide = format!("{}\n1,2\n", vec!["Sieve"; 200_000].join(","));
    assert!(table(&wide).is_err());
    let long: String = (0..200_000).map(|i| format!("{},1\n", 900_000 - i)).collect();
    let refused = table(&format!("Sieve (µm),Retained (g)\n{long}pan,1\n")).unwrap_err();
    assert!(refused.to_string().contains("2000"), "{refused}");
}

/// Runs `size --json`.
fn json(folder: &Path, args: &[&str]) -> Value {
    let (status, out, error) = run_in(folder, &[&["size"], args, &["--json"]].concat());
    assert_eq!(status, 0, "{error}");
    serde_json::from_str(&out).unwrap()
}

fn number(value: &Value, path: &str) -> f64 {
    value.pointer(path).and_then(Value::as_f64).unwrap_or_else(|| panic!("no {path} in {value}"))
}

/// Three sievings of one powder.
fn three(folder: &Path) -> [&'static str; 3] {
    let names = ["a.csv", "b.csv", "c.csv"];
    for (name, grams) in names.iter().zip([[20, 50, 25, 5], [22, 50, 24, 4], [18, 51, 25, 6]]) {
        let rows = ["300", "212", "150", "pan"].iter().zip(grams).map(|(sieve, g)| format!("{sieve},{g}\n"));
        fs::write(folder.join(name), format!("opening_um,retained_g\n425,0\n{}", rows.collect::<String>())).unwrap();
    }
    names
}

/// NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.5.2 (confidence limits of a mean) and 1.3.6.7.2 (t of 0.975 with 2 degrees of
/// freedom: 4.303); ISO 5725-6: the repeatability limit is 2.8 standard deviations (value from memory).
#[test]
fn repeats_give_the_interval_of_students_t() {
    let folder = TempDir::new().unwrap();
    let names = three(folder.path());
    let single = names.map(|name| number(&json(folder.path(), &[name]), "/percentiles/d50_um"));
    let told = json(folder.path(), &names);
    let mean = single.iter().sum::<f64>() / 3.0;
    let sd = (single.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / 2.0).sqrt();
    let half = 4.303 * sd / 3_f64.sqrt();
    assert_close("mean", number(&told, "/measurement/figures/1/mean_um"), mean, 1e-12);
    assert_close("high", number(&told, "/measurement/figures/1/high_um") - mean, half, 2e-4);
    assert_close("low", mean - number(&told, "/measurement/figures/1/low_um"), half, 2e-4);
    assert_close("CV", number(&told, "/measurement/figures/1/cv_pct"), 100.0 * sd / mean, 1e-9);
    assert_close("limit", number(&told, "/measurement/figures/1/repeatability_limit_um"), 2.8 * sd, 1e-9);
    assert_eq!(told["measurement"]["interval_from"], "repeats");
    assert_eq!(told["basis"], "mean of 3 tables");
    // The mean of three curves through the same sieves holds their mean shares: 20 g of 100 above 300 µm.
    let classes = told["classes"].as_array().unwrap();
    let above: f64 =
        classes.iter().filter(|c| c["lower_um"].as_f64() >= Some(300.0)).map(|c| number(c, "/volume_pct")).sum();
    assert_close("above 300 µm", above, 20.0, 1e-9);
}

/// A single table strays as its method does (draws.csv, ISO 13320 for laser tables: 3 % at D50): 1.96 of that either way on the ln axis.
#[test]
fn a_single_table_has_the_interval_of_its_method() {
    let folder = TempDir::new().unwrap();
    fs::write(folder.path().join("laser.csv"), "size_um,cum_volume_pct\n50,0\n100,30\n150,70\n200,100\n").unwrap();
    let told = json(folder.path(), &["laser.csv"]);
    let d50 = number(&told, "/percentiles/d50_um");
    assert_close("CV", number(&told, "/measurement/figures/1/method_cv_pct"), 3.0, 1e-9);
    assert_close(
        "high",
        number(&told, "/measurement/figures/1/high_um"),
        d50 * (1.959_964 * 1.03_f64.ln()).exp(),
        1e-6,
    );
    assert_eq!(told["measurement"]["interval_from"], "method");
    assert!(json(folder.path(), &["F220"]).get("measurement").is_none(), "a grade was not measured");
}

/// Worked by hand: 100 g weighed of 102 charged. Were the 2 g dust, what 51 g of 102 is finer than is what 49 of the 100 are.
#[test]
fn a_loss_is_told_with_what_it_may_do() {
    let folder = TempDir::new().unwrap();
    let [name, ..] = three(folder.path());
    let told = json(folder.path(), &[name, "--charged-g", "102"]);
    assert_close("loss", number(&told, "/measurement/losses/0/loss_pct"), 100.0 * 2.0 / 102.0, 1e-9);
    let curve = read(&fs::read_to_string(folder.path().join(name)).unwrap(), name, None, &tables().standards)
        .unwrap()
        .distribution;
    assert_close("if fine", number(&told, "/measurement/losses/0/if_fine_um/1"), curve.quantile(0.49), 1e-9);
    assert_close("if coarse", number(&told, "/measurement/losses/0/if_coarse_um/1"), curve.quantile(0.51), 1e-9);
    // Common practice of sieving (acceptance.csv): a loss of 5 % is one to sieve again for.
    let (_, text, _) = run_in(folder.path(), &["size", name, "--charged-g", "110"]);
    assert!(text.contains("9.1 % was lost on the sieves") && text.contains("measure again"), "{text}");
}

/// Shares beside masses may be of each sieve or of all above it, of what was weighed or of what was charged.
#[test]
fn shares_beside_masses_that_agree_are_let_be() {
    for shares in [
        "Retained (%)\n250,2,2.1\n150,18,19.1\n90,40,42.6\nLoss,6,\npan,34,36.2\n",
        "Retained (%)\n250,2,2\n150,18,18\n90,40,40\nLoss,6,6\npan,34,34\n",
        "Retained (%)\n250,2,2\n150,18,20\n90,40,60\nLoss,6,\npan,34,94\n",
        "Cumulative retained (%)\n250,2,2.1\n150,18,21.3\n90,40,63.8\nLoss,6,\npan,34,100\n",
        "Passing (%)\n250,2,97.9\n150,18,78.7\n90,40,36.2\nLoss,6,\npan,34,0\n",
    ] {
        let record = taken(&format!("Sieve (µm),Retained (g),{shares}"));
        let measured = record.measured.unwrap();
        assert_eq!((measured.weighed_g, measured.lost_g), (Some(94.0), Some(6.0)), "{shares}");
    }
}

/// What a row of the table says was lost is held to the same limit as what `--charged-g` tells, by `size` and by `lot`.
#[test]
fn a_row_of_losses_counts_as_what_was_charged() {
    let folder = TempDir::new().unwrap();
    let rows = "Sieve (µm),Retained (g)\n250,2\n150,18\n90,40\n63,30\npan,4\n";
    fs::write(folder.path().join("said.csv"), format!("{rows}Loss,6\nTotal,100\n")).unwrap();
    fs::write(folder.path().join("bare.csv"), rows).unwrap();
    let size = "size = { grade = \"60-260 um\" }";
    fs::write(folder.path().join("scrub.toml"), SCRUB.replace("size = { d50_um = 60, gsd = 1.6 }", size)).unwrap();
    for (command, file, args) in [("size", "said.csv", &[][..]), ("size", "bare.csv", &["--charged-g", "100"])] {
        let (_, text, _) = run_in(folder.path(), &[&[command, file], args].concat());
        assert!(text.contains("6.0 % was lost on the sieves"), "{file}: {text}");
    }
    let lot = |file: &str, args: &[&str]| {
        let call = [&["lot", file, "--in", "scrub.toml", "--powder", "Rice", "--json"], args].concat();
        let (status, out, error) = run_in(folder.path(), &call);
        let told: Value = serde_json::from_str(&out).unwrap_or_else(|_| panic!("{error}"));
        (status, told["measurement"]["warnings"].to_string(), out)
    };
    let (said, bare) = (lot("said.csv", &[]), lot("bare.csv", &["--charged-g", "100"]));
    assert_eq!((said.0, &said.1), (bare.0, &bare.1), "{}", said.2);
    assert!(said.2.contains("6.0 % was lost"), "{}", said.2);
}

/// 20 % lie in the pan, finer than 63 µm: where D10 is, and how it repeats, hangs on where the pan is taken to start.
#[test]
fn a_percentile_in_the_pan_is_not_measured() {
    let folder = TempDir::new().unwrap();
    for (name, grams) in [("a.csv", [2, 18, 40, 20, 20]), ("b.csv", [3, 17, 40, 22, 18])] {
        let rows = ["250", "150", "90", "63", "pan"].iter().zip(grams).map(|(sieve, g)| format!("{sieve},{g}\n"));
        fs::write(folder.path().join(name), format!("opening_um,retained_g\n{}", rows.collect::<String>())).unwrap();
    }
    let told = json(folder.path(), &["a.csv", "b.csv", "--above", "40", "--above", "150", "--above", "260"]);
    let figure = |i: usize| &told["measurement"]["figures"][i];
    assert_eq!(
        (&figure(0)["measured"], &figure(0)["low_um"], &figure(0)["cv_pct"]),
        (&false.into(), &Value::Null, &Value::Null)
    );
    assert!(figure(1)["measured"] == true && figure(1)["cv_pct"].is_number());
    assert_eq!(told["measurement"]["tables"][1]["not_measured"], serde_json::json!(["D10"]));
    // And how much is coarser than a size there: all but what lies in the pan at least; a mean of 2.5 % lies above 250 µm.
    let above = |i: usize, key: &str| told["above"][i][key].as_f64();
    assert_eq!([above(0, "volume_pct"), above(2, "volume_pct")], [None; 2]);
    for (i, key, pct) in [
        (0, "least_pct", 81.0),
        (0, "most_pct", 100.0),
        (1, "volume_pct", 20.0),
        (2, "least_pct", 0.0),
        (2, "most_pct", 2.5),
    ] {
        assert_close(key, above(i, key).unwrap(), pct, 1e-9);
    }
    let (_, text, _) = run_in(folder.path(), &["size", "a.csv", "b.csv"]);
    assert!(text.contains("not measured"), "{text}");
    // A spread of what is not measured is none; of what is it is told.
    let far = "opening_um,retained_g\n250,3\n150,45\n90,5\n63,2\npan,45\n";
    fs::write(folder.path().join("far.csv"), far).unwrap();
    let warnings = json(folder.path(), &["a.csv", "far.csv"])["measurement"]["warnings"].to_string();
    assert!(warnings.contains("D50") && !warnings.contains("D10"), "{warnings}");
    let (_, text, _) = run_in(folder.path(), &["size", "a.csv", "--over", "40"]);
    let words: Vec<&str> = text.split_whitespace().collect();
    assert!(words.join(" ").contains("the table tells 0 to 20.0 %"), "{text}");
}

#[test]
fn calls_of_size_that_do_not_go_together() {
    let folder = TempDir::new().unwrap();
    let [a, b, c] = three(folder.path());
    fs::copy(folder.path().join(a), folder.path().join("copy.csv")).unwrap();
    for (args, wanted) in [
        (vec![a, a], "named twice"),
        (vec![a, "copy.csv"], "the same bytes as a.csv"),
        (vec![a, b, c, "--charged-g", "100"], "masses 1, tables 3"),
        (vec!["F220", "--charged-g", "100"], "--charged-g goes with sieve tables only"),
        (vec![a, "--charged-g", "0"], "above 0"),
        (vec![a, "--undersize-pct", "5"], "go with a bound or a range"),
        (vec![a, "none.csv"], "none.csv: no such file"),
        (vec!["none.xlsx#A"], "none.xlsx: no such file"),
    ] {
        let (status, _, error) = run_in(folder.path(), &[&["size"], args.as_slice()].concat());
        assert!(status == 2 && error.contains(wanted), "{args:?}: {error}");
    }
}

const SCRUB: &str = "[scrub]\nname = \"Test scrub\"\npowder_load_pct = 5.0\n\n[[powder]]\nname = \"Rice\"\nmaterial = \"rice-bran\"\n\
                     parts = 4\nsize = { d50_um = 60, gsd = 1.6 }\n";

/// What `blend` says of a scrub file, line by line.
fn scrub_refused(text: &str) -> Vec<String> {
    let folder = TempDir::new().unwrap();
    fs::write(folder.path().join("scrub.toml"), text).unwrap();
    let (status, out, error) = run_in(folder.path(), &["blend", "scrub.toml"]);
    assert_eq!((status, out.as_str()), (2, ""), "{error}");
    error.lines().map(|line| line.trim_start_matches("gritwise: ").to_owned()).collect()
}

#[test]
fn all_faults_of_a_scrub_file_are_told_at_once() {
    let text = SCRUB
        .replace("powder_load_pct = 5.0", "powder_load_pct = 500")
        .replace("rice-bran", "rice-brann")
        .replace("parts = 4", "prats = 4\nroundness = 3")
        .replace("gsd", "gdd")
        + "\n[[powder]]\nname = \"Olive\"\nmaterial = \"olive-stone\"\nparts = -4\nsize = { sieve = \"none.csv\" }\n[scurb]\n";
    let lines = scrub_refused(&text);
    let starts = [3, 7, 8, 9, 10, 15, 16, 17].map(|line| format!("scrub.toml:{line}:"));
    assert_eq!(lines.len(), starts.len(), "{lines:#?}");
    assert!(lines.iter().zip(starts).all(|(line, start)| line.starts_with(&start)), "{lines:#?}");
    // One fault is told as ever, and nothing that follows from it.
    for (one, wanted) in [
        (SCRUB.replace("parts", "prats"), "scrub.toml:8:1: unknown key \"prats\" in powder; did you mean \"parts\"?"),
        (
            SCRUB.replace("powder_load_pct", "powder_load"),
            "scrub.toml:3:1: unknown key \"powder_load\" in scrub; did you mean \"powder_load_pct\"?",
        ),
        (
            SCRUB.replace("[scrub]", "[scurb]"),
            "scrub.toml:1:2: unknown key \"scurb\" in the scrub file; did you mean \"scrub\"?",
        ),
        (
            SCRUB.replace("= 4", "= -4"),
            "scrub.toml:8:9: parts must be above 0 and at most 100 (150 and 50 is the same blend as 3 and 1), not -4",
        ),
    ] {
        assert_eq!(scrub_refused(&one), [wanted]);
    }
}

#[test]
fn slips_of_the_first_day_are_told_what_to_write() {
    for (text, wanted) in [
        (
            SCRUB.replace("= 5.0", "= 5,0"),
            "scrub.toml:3:20: not valid TOML: 5,0 has a decimal comma; write powder_load_pct = 5.0",
        ),
        (SCRUB.replace("= 5.0", "= 5 %"), "write powder_load_pct = 5"),
        (SCRUB.replace("\"Rice\"", "Rice"), "write name = \"Rice\""),
        (SCRUB.replace("\"Rice\"", "“Rice”"), "curled quotation marks; write straight ones: name = \"Rice\""),
        (SCRUB.replace("name = \"Rice\"", "name: \"Rice\""), "write name = \"Rice\""),
        (
            SCRUB.replace("{ d50_um = 60, gsd = 1.6 }", "{ sieve = \"C:\\Users\\lot.csv\" }"),
            "sieve = 'C:\\Users\\lot.csv'",
        ),
        (
            SCRUB.replace("{ d50_um = 60, gsd = 1.6 }", "{ sieve = \"C:\\new\\table.csv\" }"),
            "written with /, or in single quotes",
        ),
        (SCRUB.replace("parts = 4", "parts = 4\nparts = 5"), "parts stands twice"),
        (SCRUB.replace("[[powder]]", "[[powder]"), "write [[powder]]"),
        (SCRUB.replace("1.6", "1,6"), "write 1.6"),
    ] {
        let lines = scrub_refused(&text);
        assert!(lines.len() == 1 && lines[0].contains(wanted), "{wanted}: {lines:#?}");
    }
    let many = SCRUB
        .replace("= 5.0", "= 5,0")
        .replace("\"Rice\"", "Rice")
        .replace("= 4", "= 4 %")
        .replace("name = \"Test scrub\"", "name: Test scrub");
    assert_eq!(scrub_refused(&many).len(), 4);
}

#[test]
fn what_was_weighed_with_its_sieve_is_not_what_stayed_on_it() {
    for heading in ["Mass of sieve + sample (g)", "Weight with sieve (g)", "Sieve and sample, g"] {
        let message = refused(&format!("Opening (µm),\"{heading}\"\n300,410\n150,460\n75,425\npan,305\n"));
        assert!(message.contains("lot.csv:1"), "{heading}: {message}");
    }
    same(&taken("Sieb (µm);Masse auf Sieb (g)\n300;10\n150;60\n75;25\nBoden;5\n"), &taken(OWN), "auf Sieb");
}

#[test]
fn shares_of_one_in_a_column_of_per_cent_are_asked_about() {
    for text in [
        "opening_um,cum_passing_pct\n300,0.9\n150,0.3\n75,0.05\npan,0\n",
        "Sieve (µm),Cumulative passing (%)\n300,0.97\n150,0.73\n75,0.13\npan,0\n",
    ] {
        let message = refused(text);
        assert!(message.contains("lot.csv:2") && message.contains("add a coarser sieve"), "{message}");
    }
}
