//! Size tables as people keep them in spreadsheets: headings in four languages, units, decimal marks, encodings, workbooks.

use crate::common::{assert_close, run_in, tables};
use gritwise::size::table::{TableKind, read, read_tabular};
use gritwise::size::{SizeError, SizeRecord};
use gritwise::source::Tabular;
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
        ("cumulative told by its numbers", "Sieve (µm),Retained (%)\n300,10\n150,70\n75,95\nPan,100\n"),
        ("thousands", "Sieve (µm);Retained (mg)\n300;10 000\n150;60 000,0\n75;25.000\nPan;5.000,0\n"),
        ("kilograms", "Sieve (µm),Retained (kg)\n300,0.01\n150,0.06\n75,0.025\nPan,0.005\n"),
    ] {
        same(&taken(text), &own, what);
    }
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
        ("negative", "Sieve (µm),Retained (g)\n300,-10\npan,90\n", vec![":2:", "negative"]),
        ("a head alone", "Sieve (µm),Retained (g)\n", vec!["no rows"]),
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

    /// A bomb: 64 MiB of zeros in a zip of 64 KiB.
    #[test]
    fn what_unpacks_without_end_is_refused() {
        use std::io::Write;
        let mut zip = zip::ZipWriter::new(std::io::Cursor::new(Vec::new()));
        zip.start_file("xl/workbook.xml", zip::write::SimpleFileOptions::default()).unwrap();
        for _ in 0..64 {
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
    assert!(table(&format!("Sieve (µm),Retained (g)\n{long}pan,1\n")).is_ok());
}
