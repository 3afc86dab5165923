//! Files written by other programs, files with every defect, and damaged files.
#![allow(
    clippy::unwrap_used,
    clippy::panic,
    clippy::print_stdout,
    reason = "a test ends with the first surprise"
)]

use std::path::{Path, PathBuf};

use acceptance::recovery::root;
use truerim::exchange::{ExchangeError, Imported, Map, Repairs, import};
use truerim::recording::Recording;

fn data(name: &str) -> PathBuf {
    root().join("tests/data/exchange").join(name)
}

/// A map with the tables that every one needs.
fn map(columns: &str) -> String {
    format!("{columns}\n[rig]\nmounting = \"clamped\"\n[unit]\nmodel = \"M\"\nserial = \"M-1\"\n")
}

fn bring_with(file: &Path, text: &str, repairs: Repairs) -> Result<(Recording, Imported), ExchangeError> {
    let folder = tempfile::tempdir().unwrap();
    let out = folder.path().join("recording.h5");
    let map = Map::from_toml("map.toml", text)?;
    let done = import(file, &map, repairs, &out);
    assert_eq!(
        out.exists(),
        done.is_ok(),
        "a refused import leaves nothing behind"
    );
    let done = done?;
    Ok((Recording::open(&out).unwrap(), done))
}

fn near(a: f64, b: f64, by: f64) -> bool {
    (a - b).abs() <= by
}

/// The closed forms of `tests/reference/exchange/make.py`.
fn check(recording: &Recording, name: &str) {
    let all = 0..recording.rows();
    assert_eq!(recording.rows(), 400, "{name}");
    let ticks = recording.ticks(all.clone()).unwrap();
    let values = |channel: &str| recording.values(channel, all.clone()).unwrap();
    let (command, torque, angle) = (values("setpoint"), values("torque"), values("rim_angle"));
    for i in 0..400_usize {
        let due = if i < 100 { 0.0 } else { 1.5 };
        let saw = 0.001 * ((i * 37) % 11) as f64;
        assert_eq!(ticks[i], 1000 * i as u64, "{name}");
        assert!(near(command[i], due, 1e-7), "{name} {i}: {}", command[i]);
        assert!(
            near(torque[i], 0.9 * due + saw, 1e-7),
            "{name} {i}: {}",
            torque[i]
        );
        assert!(
            near(angle[i], (0.25 * i as f64).to_radians(), 1e-6),
            "{name} {i}: {}",
            angle[i]
        );
    }
}

const TIME: &str = "[time]\ncolumn = \"t\"\nunit = \"s\"\n";

/// Columns of the files: torque in mN·m where it is stored as whole numbers.
fn columns(torque_unit: &str, angle: &str) -> String {
    format!(
        "{TIME}[columns.commanded]\ncolumn = \"command\"\nunit = \"N·m\"\n\
         [columns.measured]\ncolumn = \"torque\"\nunit = \"{torque_unit}\"\n\
         [columns.rim_angle]\ncolumn = \"{angle}\"\nunit = \"deg\"\n"
    )
}

#[test]
fn files_of_other_programs() {
    let quarter = columns("mN·m", "angle").replace("unit = \"deg\"", "unit = \"deg\"\nscale = 0.25");
    let units_in_file = columns("mN·m", "angle")
        .replace("unit = \"N·m\"\n", "")
        .replace("unit = \"deg\"\n", "");
    for (name, map_text) in [
        ("scipy5.mat", columns("mN·m", "both(:,1)")),
        ("scipy5-plain.mat", columns("mN·m", "both(:,1)")),
        ("level73.mat", columns("N·m", "angle")),
        ("plain.npz", columns("mN·m", "angle")),
        ("packed.npz", columns("mN·m", "angle")),
        ("xarray.nc", units_in_file),
        ("pyarrow.parquet", quarter),
    ] {
        let (recording, done) = bring_with(&data(name), &map(&map_text), Repairs::default())
            .unwrap_or_else(|error| panic!("{name}: {error}"));
        assert_eq!(done.rows_read, 400);
        check(&recording, name);
        if name == "xarray.nc" || name == "plain.npz" {
            // Whole numbers stay the counts that they are.
            let counts = recording.raw("torque", 0..400).unwrap();
            let due = if name == "plain.npz" { 1.0 } else { 0.5 };
            assert!(near(
                recording.channel("torque").unwrap().scale,
                due * 1e-3,
                1e-18
            ));
            let offset = if name == "plain.npz" { 0.0 } else { 10.0 };
            assert_eq!(counts[1], ((4.0 - offset) / due) as i32);
        }
    }
}

#[test]
fn missing_values_are_found_by_row() {
    let text = map(&columns("N·m", "angle").replace("unit = \"deg\"", "unit = \"deg\"\nscale = 0.25"));
    let error = bring_with(&data("holes.parquet"), &text, Repairs::default())
        .err()
        .unwrap();
    let words = error.to_string();
    assert!(words.contains("row 8, column \"torque\": NaN"), "{words}");
    assert!(words.contains("row 301"), "{words}");
    let (recording, _) = bring_with(&data("holes.parquet"), &text, Repairs::ALL).unwrap();
    assert_eq!(recording.rows(), 398);
    assert_eq!(recording.ticks(6..8).unwrap().to_vec(), [6_000, 8_000]);
}

/// A table of 200 rows at 1 kHz with whole-number torque, as lines.
fn lines() -> Vec<String> {
    let row = |i: usize| {
        let command = if i < 80 { 0.0 } else { 2.0 };
        let torque = 1000.0 * command + ((i * 7) % 5) as f64;
        format!("{:.3},{command:.1},{torque:.0}", i as f64 * 1e-3)
    };
    std::iter::once("t,command,torque".to_owned())
        .chain((0..200).map(row))
        .collect()
}

fn csv_map() -> String {
    map(&format!(
        "{TIME}[columns.commanded]\ncolumn = \"command\"\nunit = \"N·m\"\n\
         [columns.measured]\ncolumn = \"torque\"\nunit = \"mN·m\"\n"
    ))
}

fn bring_text(text: &[u8], map_text: &str, repairs: Repairs) -> Result<(Recording, Imported), ExchangeError> {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("data.csv");
    std::fs::write(&file, text).unwrap();
    bring_with(&file, map_text, repairs)
}

fn joined(lines: &[String]) -> Vec<u8> {
    (lines.join("\n") + "\n").into_bytes()
}

/// Each defect: how it comes about, how it is reported, and how many rows are left after repair (`None`: no repair).
#[test]
fn every_defect_is_found_reported_and_repaired_or_refused() {
    type Change = fn(&mut Vec<String>);
    let cases: &[(&str, Change, &str, Option<usize>)] = &[
        (
            "empty cell",
            |l| l[10] = "0.009,,4".into(),
            "row 10 (line 11), column \"command\": empty",
            Some(199),
        ),
        (
            "nan",
            |l| l[10] = "0.009,0.0,NaN".into(),
            "row 10 (line 11), column \"torque\": \"NaN\"",
            Some(199),
        ),
        (
            "infinite",
            |l| l[10] = "0.009,0.0,inf".into(),
            "column \"torque\": \"inf\"",
            Some(199),
        ),
        (
            "text",
            |l| l[10] = "0.009,0.0,over".into(),
            "column \"torque\": \"over\"",
            Some(199),
        ),
        (
            "too few fields",
            |l| l[10] = "0.009,0.0".into(),
            "row 10 (line 11) has 2 fields, 3 are due",
            Some(199),
        ),
        (
            "too many fields",
            |l| l[10] = "0.009,0.0,1,1".into(),
            "has 4 fields",
            Some(199),
        ),
        (
            "decimal comma",
            |l| l[10] = "0.009;\"0,5\";1".replace(';', ","),
            "a decimal comma?",
            Some(199),
        ),
        (
            "duplicate",
            |l| l[10] = l[9].clone(),
            "duplicate: rows at the same time as the row before: row 10 (line 11): 0.008 s",
            Some(199),
        ),
        (
            "time back",
            |l| l[10] = "0.001,0.0,1".into(),
            "time-back: rows that go back in time: row 10 (line 11)",
            Some(199),
        ),
        (
            "reversed",
            |l| {
                l.iter_mut()
                    .skip(82)
                    .for_each(|r| *r = r.replace(",2.0,", ",2.0,-"))
            },
            "sign: measured torque goes against",
            Some(200),
        ),
        (
            "constant",
            |l| {
                l.iter_mut()
                    .skip(1)
                    .for_each(|r| *r = format!("{},7", r.rsplit_once(',').unwrap().0))
            },
            "constant: measured",
            None,
        ),
        (
            "a factor of a thousand",
            |l| l.iter_mut().skip(1).for_each(|r| *r += "000"),
            "unit: measured",
            None,
        ),
        (
            "many bad rows",
            |l| l.iter_mut().skip(1).step_by(5).for_each(|r| *r = "x".into()),
            "rows: 40 of 200 rows cannot be used",
            None,
        ),
        (
            "uneven",
            |l| {
                l.iter_mut()
                    .skip(1)
                    .step_by(7)
                    .for_each(|r| *r = r.replacen(',', "4,", 1))
            },
            "uneven: rows off the even grid",
            Some(200),
        ),
    ];
    for (name, change, words, repaired) in cases {
        let mut text = lines();
        change(&mut text);
        let error = bring_text(&joined(&text), &csv_map(), Repairs::default())
            .err()
            .unwrap_or_else(|| panic!("{name} is not noticed"));
        assert!(error.to_string().contains(words), "{name}: {error}");
        match (bring_text(&joined(&text), &csv_map(), Repairs::ALL), repaired) {
            (Ok((recording, done)), Some(rows)) => {
                // Rows stand on the grid; the last one of a resampled stretch may not be reached.
                assert!(
                    recording.rows().abs_diff(*rows) <= usize::from(*name == "uneven"),
                    "{name}"
                );
                assert!(done.notes.iter().any(|n| n.remedy.contains("Repaired")), "{name}");
                let header = recording.header();
                let said = header
                    .extra
                    .iter()
                    .find(|(n, _)| n == "imported_repairs")
                    .unwrap();
                assert_ne!(said.1, "none", "{name}");
                let at = recording.rows() - 2;
                assert!(
                    near(recording.values("torque", at..at + 1).unwrap()[0], 2.0, 0.01),
                    "{name}"
                );
            }
            (Err(error), None) => assert!(error.to_string().contains(words), "{name}: {error}"),
            (Ok(_), None) => panic!("{name} is repaired"),
            (Err(error), Some(_)) => panic!("{name} is not repaired: {error}"),
        }
    }
}

#[test]
fn a_gap_is_noted_and_nothing_is_filled_in() {
    let mut text = lines();
    text.drain(50..60);
    let (recording, done) = bring_text(&joined(&text), &csv_map(), Repairs::default()).unwrap();
    assert_eq!(recording.rows(), 190);
    let gap = done.notes.iter().find(|n| n.code == "gap").unwrap();
    assert!(
        gap.to_string()
            .contains("before row 50 (line 51): 10 samples are missing"),
        "{gap}"
    );
    assert_eq!(recording.ticks(48..50).unwrap().to_vec(), [48_000, 59_000]);
}

/// The same table in other clothes.
#[test]
fn layouts_of_text() {
    let plain = bring_text(&joined(&lines()), &csv_map(), Repairs::default())
        .unwrap()
        .0;
    let all = 0..200;
    let due = plain.values("torque", all.clone()).unwrap();
    let with = |extra: &str| format!("[file]\n{extra}\n{}", csv_map());
    let crlf = [b"\xef\xbb\xbf".as_slice(), lines().join("\r\n").as_bytes()].concat();
    let german: Vec<String> = lines()
        .iter()
        .map(|l| l.replace(',', ";").replace('.', ","))
        .collect();
    let tabs: Vec<String> = lines().iter().map(|l| l.replace(',', "\t")).collect();
    let mut notes = lines();
    notes.insert(0, "measured on a Monday, 3 parts".into());
    notes.insert(1, "t [s], and more".into());
    notes.insert(20, "# a remark".into());
    let mut units = lines();
    units.insert(1, "[s],[N·m],[mN·m]".into());
    let bare: Vec<String> = lines().split_off(1);
    let numbered = csv_map()
        .replace("\"t\"", "\"1\"")
        .replace("\"command\"", "\"2\"")
        .replace("\"torque\"", "\"3\"");
    let no_units = with("units_row = true")
        .replace("unit = \"s\"\n", "")
        .replace("unit = \"mN·m\"\n", "");
    let latin: Vec<u8> = joined(&lines())
        .iter()
        .flat_map(|b| if *b == b't' { vec![0xe4] } else { vec![*b] })
        .collect();
    let latin_map = with("encoding = \"latin-1\"")
        .replace("\"t\"", "\"ä\"")
        .replace("\"torque\"", "\"äorque\"");
    for (name, text, map_text) in [
        ("BOM, CR LF, no last line end", crlf, csv_map()),
        (
            "semicolons and decimal commas",
            joined(&german),
            with("decimal = \",\""),
        ),
        ("tabs", joined(&tabs), csv_map()),
        (
            "lines before the header, remarks",
            joined(&notes),
            with("header_line = 3"),
        ),
        ("a row of units", joined(&units), no_units),
        (
            "no header",
            joined(&bare),
            format!("[file]\nheader = false\n{numbered}"),
        ),
        ("Latin-1", latin, latin_map),
    ] {
        let (recording, _) = bring_text(&text, &map_text, Repairs::default())
            .unwrap_or_else(|error| panic!("{name}: {error}"));
        assert_eq!(recording.values("torque", all.clone()).unwrap(), due, "{name}");
        assert_eq!(
            recording.ticks(all.clone()).unwrap(),
            plain.ticks(all.clone()).unwrap(),
            "{name}"
        );
    }
    // Written with three decimals of a millisecond and no time at all: the rate says it.
    let timeless: Vec<String> = lines()
        .iter()
        .map(|l| l.split_once(',').unwrap().1.to_owned())
        .collect();
    let rate = csv_map().replace("column = \"t\"\nunit = \"s\"", "rate = \"1 kHz\"");
    let (recording, _) = bring_text(&joined(&timeless), &rate, Repairs::default()).unwrap();
    assert_eq!(recording.ticks(all.clone()).unwrap(), plain.ticks(all).unwrap());
}

#[test]
fn files_that_cannot_be_meant_are_refused_with_what_to_do() {
    let text = |error: ExchangeError| error.to_string();
    let utf16 = [b"\xff\xfe".as_slice(), b"t\0,\0"].concat();
    for (bytes, words) in [
        (&b""[..], "is empty"),
        (&utf16[..], "UTF-16"),
        (&b"\x00\x01\x02\x03"[..], "no kind that is read here"),
        (&b"t;command\n1;2\n"[..], "no column \"torque\""),
        (&b"t,comand,torque\n1,2,3\n"[..], "did you mean \"comand\"?"),
        (&b"t,command,torque\n"[..], "0 of 0 rows"),
        (&b"t,command,torque\n0,\"1,2\n3,4\n"[..], "0 of 1 rows"),
        (&b"CDF\x01...."[..], "nccopy"),
        (&b"ARROW1.."[..], "Parquet"),
        (&b"PAR1...."[..], "cut short"),
    ] {
        let error = bring_text(bytes, &csv_map(), Repairs::ALL).err().unwrap();
        let found = text(error);
        assert!(found.contains(words), "{words}: {found}");
    }
    // A quotation that never ends does not fill the memory.
    let mut endless = b"t,command,torque\n0,\"1".to_vec();
    endless.resize(3 << 20, b'7');
    let error = text(bring_text(&endless, &csv_map(), Repairs::ALL).err().unwrap());
    assert!(error.contains("line 2 is longer"), "{error}");
}

#[test]
fn a_wrong_map_is_told_with_lines() {
    let wrong = "[time]\ncolumn = \"t\"\nunit = \"N\"\n[columns.commanded]\ncolumn = \"c\"\nunit = \"N\"\nscael = 2\n\
                 [columns.measured]\ncolumn = \"m\"\nunit = \"N\"\nlever_arm = \"0.2 m\"\n\
                 [rig]\nmounting = \"hung\"\n[unit]\nmodel = \"M\"\n\
                 [[segment]]\nkind = \"step\"\nfrom = \"2 s\"\nto = \"1 s\"\n\
                 [[segment]]\nkind = \"multisine\"\nfrom = \"3 s\"\nto = \"5.5 s\"\nperiod = \"1 s\"\nlines = [3, 0]\n\
                 [[segment]]\nkind = \"multisine\"\nfrom = \"6 s\"\nto = \"8 s\"\nlines = [3, 5]\n\
                 [[segment]]\nkind = \"pseudo-random\"\nfrom = \"9 s\"\nto = \"10 s\"\nperiod = \"1 s\"\nlines = [3]\n";
    let findings = Map::from_toml("map.toml", wrong).unwrap_err().to_string();
    for words in [
        "map.toml:3: time.unit = \"N\": not the unit of a time",
        "map.toml:6: columns.commanded.unit",
        "add `lever_arm",
        "map.toml:7: columns.commanded.scael",
        "did you mean `scale`?",
        "rig.mounting = \"hung\": not one of the words known here (allowed: \"clamped\", \"free\", \"back-driven\")",
        "unit.serial: missing",
        "segment[1].to = \"1 s\": not after from (allowed: after 2 s)",
        "segment[2].to = \"5.5 s\": 2.5 periods after from (allowed: a whole number of periods, 1 to 20000)",
        "segment[2].lines[2] = 0",
        "segment[3].period: missing",
        "with another kind, period or lines",
        "segment[4].lines",
    ] {
        assert!(findings.contains(words), "{words} is not in\n{findings}");
    }
    assert!(!findings.contains("columns.measured"), "{findings}");
}

/// The data and the maps of `docs/importing.md`.
#[test]
fn the_worked_example_runs() {
    let page = std::fs::read_to_string(root().join("docs/importing.md")).unwrap();
    let block = |kind: &str, nth: usize| {
        let found = page.split(&format!("```{kind}\n")).nth(nth).unwrap();
        found.split("```").next().unwrap().to_owned()
    };
    let (recording, done) =
        bring_text(block("csv", 1).as_bytes(), &block("toml", 1), Repairs::default()).unwrap();
    assert_eq!((done.rows, done.steps_found), (3, 0));
    assert_eq!(recording.ticks(0..3).unwrap().to_vec(), [0, 500, 1_000]);
    assert!(near(recording.values("torque", 2..3).unwrap()[0], 1.204, 1e-12));
    let declared = format!("{}{}", block("toml", 1), block("toml", 2));
    Map::from_toml("map.toml", &declared).unwrap();
}

/// Peak memory of this process so far, bytes.
fn peak_bytes() -> u64 {
    acceptance::recording_figures::process::peak_kb() * 1024
}

/// Truncated and flipped files are errors or data, never a panic, and never cost much memory. HDF5's own library reads
/// its files: those are only cut here.
#[test]
fn damage_never_panics_nor_takes_much_memory() {
    let folder = tempfile::tempdir().unwrap();
    let mut state = 0x9e37_79b9_7f4a_7c15_u64;
    let mut random = move || {
        state ^= state << 13;
        state ^= state >> 7;
        state ^= state << 17;
        state
    };
    let before = peak_bytes();
    let (mut refused, mut read) = (0, 0);
    for (name, flips) in [
        ("scipy5.mat", true),
        ("scipy5-plain.mat", true),
        ("plain.npz", true),
        ("packed.npz", true),
        ("pyarrow.parquet", true),
        ("holes.parquet", true),
        ("level73.mat", false),
        ("xarray.nc", false),
    ] {
        let whole = std::fs::read(data(name)).unwrap();
        let angle = if name.starts_with("scipy") {
            "both(:,1)"
        } else {
            "angle"
        };
        let map = Map::from_toml("map.toml", &map(&columns("mN·m", angle))).unwrap();
        let mut attempt = |bytes: &[u8]| {
            let file = folder.path().join(name);
            let out = folder.path().join("out.h5");
            std::fs::write(&file, bytes).unwrap();
            match import(&file, &map, Repairs::ALL, &out) {
                Ok(_) => {
                    read += 1;
                    std::fs::remove_file(&out).unwrap();
                }
                Err(_) => refused += 1,
            }
        };
        for part in 0..16 {
            attempt(&whole[..whole.len() * part / 16]);
        }
        for _ in 0..if flips { 60 } else { 0 } {
            let mut bytes = whole.clone();
            for _ in 0..1 + random() % 3 {
                // Half of the flips hit the ends, where most formats keep what they declare.
                let long = bytes.len() as u64;
                let at = match random() % 4 {
                    0 => random() % 300.min(long),
                    1 => long - 1 - random() % 700.min(long),
                    _ => random() % long,
                };
                bytes[at as usize] ^= 1 << (random() % 8);
            }
            attempt(&bytes);
        }
    }
    let grown = peak_bytes() - before;
    println!("{refused} refused, {read} read, {} MiB", grown >> 20);
    assert!(refused > 200, "{refused}");
    assert!(grown < 400 << 20, "{} MiB", grown >> 20);
}

/// A slide pushed to and fro at 2 m/s² with 5 kg and 3 N of friction: by hand, 13 N on the way out while it speeds up, 7 N while
/// it slows down, and the reverse on the way back.
#[test]
fn any_axis_is_told_from_a_table_by_the_program() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("slide.csv");
    let mut text = String::from("t,x,force\n");
    let (period_s, a) = (2.0, 2.0);
    for k in 0..10_000 {
        // Between the instants at which force jumps: half a sample between force and position would be told as friction.
        let t = (f64::from(k) + 0.5) / 500.0;
        // Four quarters of half a second: out faster, out slower, back faster, back slower.
        let phase = t % period_s;
        let (half, way) = if phase < 1.0 {
            (phase, 1.0)
        } else {
            (phase - 1.0, -1.0)
        };
        let (moved, accelerates) = if half < 0.5 {
            (0.5 * a * half * half, 1.0)
        } else {
            (0.5 - 0.5 * a * (1.0 - half).powi(2), -1.0)
        };
        let x = if way > 0.0 { moved } else { 0.5 - moved };
        text += &format!("{t},{x},{}\n", way * (3.0 + 10.0 * accelerates));
    }
    std::fs::write(&file, text).unwrap();
    let program = acceptance::program::under_test().unwrap();
    let with = |position: &str, more: &[&str]| {
        std::process::Command::new(&program)
            .args([
                "axis",
                "--time",
                "t",
                "--position",
                position,
                "--effort",
                "force=N",
                "--json",
            ])
            .args(more)
            .arg(&file)
            .output()
            .unwrap()
    };
    let axis = |position: &str| with(position, &[]);
    let done = axis("x=m");
    assert!(done.status.success(), "{}", String::from_utf8_lossy(&done.stderr));
    let fit: serde_json::Value = serde_json::from_slice(&done.stdout).unwrap();
    let value = |i: usize| fit["results"][i]["result"]["value"].as_f64().unwrap();
    assert_eq!(fit["axis"], "linear");
    assert!(near(value(0), 5.0, 0.05) && near(value(2), 3.0, 0.06), "{fit}");
    let wrong = axis("x=N");
    assert_eq!(wrong.status.code(), Some(1));
    assert!(String::from_utf8_lossy(&wrong.stderr).contains("no angle and no length"));
    for (more, expected) in [
        ("--zero-uncertainty=-1", "--zero-uncertainty -1: 0 or above"),
        ("--delimiter=·", "--delimiter ·: one character of ASCII"),
        ("--gain-uncertainty=60", "--gain-uncertainty 60: from 0 to 50 %"),
        ("--corner=0", "--corner 0: above 0"),
    ] {
        let wrong = with("x=m", &[more]);
        let said = String::from_utf8_lossy(&wrong.stderr).into_owned();
        assert!(
            wrong.status.code() == Some(2) && said.contains(expected),
            "{more}: {said}"
        );
    }
}
