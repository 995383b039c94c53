//! `turntally measured` and what uses it, as a person does: with a file of their own.
#![cfg(feature = "link")]
#![allow(clippy::unwrap_used, clippy::panic, reason = "a test that cannot go on should stop")]

mod run;

use std::path::Path;

use run::{complaint, json, near, printed, refusal, turntally, typed_into};
use serde_json::Value;
use tempfile::TempDir;

/// A folder with a job, and the name of a log that is not there yet.
struct Workshop(TempDir);

const JOB: &str = "[job]\nrings = 500\n[wire]\nmetal = \"C11000\"\nsize = \"1.2mm\"\n\
                   [mandrel]\ndiameter = \"4.5mm\"\n[winder]\npulses_per_rev = 400\n[cutter]\ncoil_max = \"70mm\"\n";
const WIRE: &[&str] = &["--metal", "copper", "--wire", "1.2mm", "--mandrel", "4.5mm"];

impl Workshop {
    fn new() -> Self {
        let folder = tempfile::tempdir().unwrap();
        std::fs::write(folder.path().join("job.toml"), JOB).unwrap();
        Self(folder)
    }

    fn path(&self, name: &str) -> String {
        self.0.path().join(name).to_str().unwrap().to_owned()
    }

    fn log(&self) -> [String; 2] {
        ["--log".to_owned(), self.path("log.sqlite")]
    }

    /// The arguments with this log.
    fn with<'a>(&self, args: &[&'a str], log: &'a [String; 2]) -> Vec<&'a str> {
        args.iter().copied().chain(log.iter().map(String::as_str)).collect()
    }

    fn add(&self, what: &[&str]) -> String {
        let log = self.log();
        printed(&self.with(&[&["measured", "add"], WIRE, what].concat(), &log))
    }

    fn json(&self, args: &[&str]) -> Value {
        let log = self.log();
        json(&self.with(&[args, &["--json"]].concat(), &log))
    }

    fn refusal(&self, args: &[&str]) -> String {
        let log = self.log();
        refusal(&self.with(args, &log))
    }
}

fn entries(path: &str) -> i64 {
    let file = rusqlite::Connection::open(path).unwrap();
    file.query_row("SELECT count(*) FROM measured", [], |row| row.get(0)).unwrap()
}

/// By hand: rings of 4.62 and 4.61 mm from 1.2 mm on 4.5 mm, k = 5.815 / 5.7; 74.4 mm over 60 turns,
/// gap = 73.2 / 72 - 1. The plan, the ring and the cell of the chart take them and say what they stand beside.
#[test]
fn what_was_measured_is_used_and_shown_beside_the_estimate() {
    let workshop = Workshop::new();
    let job = workshop.path("job.toml");
    workshop.add(&["--inside", "4.62mm,4.61mm", "--coil-length", "74.4mm", "--turns", "60"]);
    let (best, low, high) = (5.815 / 5.7, 5.79 / 5.7, 5.84 / 5.7);
    let gap = 73.2 / 72.0 - 1.0;
    let supposed = json(&["plan", &job, "--json"]);
    let plan = workshop.json(&["plan", &job]);
    for (key, want) in [("spring_ratio", best), ("spring_ratio_low", low), ("spring_ratio_high", high)] {
        near(&plan[key], want, 1e-9);
        let estimate = plan[key.replace("ratio", "ratio_estimate")].as_f64().unwrap();
        near(&supposed[key], estimate, 1e-12);
    }
    near(&plan["gap"], gap, 1e-6);
    assert_eq!((&plan["spring_ratio_measured"], &plan["gap_measured"]), (&true.into(), &true.into()));
    assert_eq!((&supposed["spring_ratio_measured"], &supposed["gap"]), (&false.into(), &0.0.into()));
    // The estimate can still be had.
    assert_eq!(workshop.json(&["plan", &job, "--estimate"]), supposed);
    let size = workshop.json(&[&["size"], WIRE].concat());
    near(&size["spring_ratio"], best, 1e-9);
    near(&size["spring_ratio_estimate"], supposed["spring_ratio"].as_f64().unwrap(), 1e-12);
    near(&size["ring_inner_diameter_mm"], 4.615, 1e-9);
    near(&size["pitch_mm"], 1.22, 1e-9);
    // Nothing was measured on another mandrel, temper or metal.
    for other in [["--mandrel", "5mm"], ["--temper", "hard"], ["--metal", "fine-silver"]] {
        let mut args: Vec<&str> = [&["size"], WIRE].concat();
        args.retain(|arg| *arg != other[0]);
        let at = WIRE.iter().position(|arg| *arg == other[0]);
        let args: Vec<&str> = match at {
            Some(at) => args.into_iter().filter(|arg| *arg != WIRE[at + 1]).chain(other).collect(),
            None => args.into_iter().chain(other).collect(),
        };
        assert_eq!(workshop.json(&args)["spring_ratio_measured"], Value::from(false), "{args:?}");
    }
    // What the options give themselves counts before it.
    let given = workshop.json(&[&["size"], WIRE, &["--spring-ratio", "1.03", "--gap", "0.1"]].concat());
    near(&given["spring_ratio"], 1.03, 1e-12);
    near(&given["pitch_mm"], 1.32, 1e-12);
    let chart =
        ["chart", "--metal", "copper", "--wires", "1.2mm,1.3mm", "--mandrels", "4.5mm", "--format", "json"];
    let log = workshop.log();
    let chart = json(&workshop.with(&chart, &log));
    near(&chart["cells"][0]["assumed_spring_ratio"], best, 1e-9);
    near(&chart["cells"][0]["gap"], gap, 1e-6);
    assert!(chart["cells"][1]["assumed_spring_ratio"].as_f64().unwrap() < 1.015);
    for args in [vec!["plan", &job], [&["size"], WIRE].concat(), vec!["wind", &job]] {
        let text = printed(&workshop.with(&args, &log)).replace("\n            ", " ").replace('\n', " ");
        let words =
            "1.0202, 1.0158 to 1.0246, as measured on 2 rings; the estimate was 1.0101, 1.0031 to 1.0243";
        assert!(text.contains(words), "{args:?}: {text}");
    }
}

/// Entries are listed with what comes of them, contradictions are reported, and an entry that is dropped counts
/// no more.
#[test]
fn entries_are_listed_and_dropped_and_contradictions_are_reported() {
    let workshop = Workshop::new();
    workshop.add(&["--inside", "4.62mm"]);
    let text = workshop.add(&["--rings", "50", "--turns", "60"]);
    assert!(text.contains("1 and 2 have no spring ratio in common"), "{text}");
    let list = workshop.json(&["measured", "list"]);
    assert_eq!(list["measured"][0]["spring_ratio_contradiction"], serde_json::json!([1, 2]));
    assert_eq!(list["measured"][0]["entries"][1]["rings"], 50);
    let log = workshop.log();
    assert!(workshop.refusal(&["measured", "drop", "2", "9"]).contains("'9': no such measurement"));
    assert_eq!(entries(&log[1]), 2, "all or none");
    printed(&workshop.with(&["measured", "drop", "2"], &log));
    let list = workshop.json(&["measured", "list"]);
    assert_eq!(list["measured"][0]["spring_ratio_contradiction"], Value::Null);
    near(&list["measured"][0]["spring_ratio"]["best"], 5.82 / 5.7, 1e-9);
    // A number is never given twice.
    assert!(workshop.add(&["--inside", "4.63mm"]).starts_with("saved as 3\n"));
}

/// What cannot have been measured is one line, and nothing is written.
#[test]
fn impossible_measurements_are_one_line_and_leave_no_file() {
    let workshop = Workshop::new();
    let log = workshop.log();
    let table: &[(&[&str], &[&str])] = &[
        (&[], &["--inside"]),
        (&["--inside", "4.4mm"], &["--inside '4.4 mm'", "4.5 mm to 10.2 mm inside"]),
        (&["--inside", "4.62"], &["--inside", "unit"]),
        (&["--inside", "4.62mm,99mm"], &["--inside '99 mm'"]),
        (&["--coil-length", "73.1mm"], &["--turns"]),
        (&["--coil-length", "73.1mm", "--turns", "60"], &["--coil-length '73.1 mm'", "73.2 mm to"]),
        (&["--rings", "61", "--turns", "60"], &["--rings '61'", "29 to 60 rings"]),
        (&["--rings", "57", "--turns", "-1"], &["--turns", "from 0 to 100000"]),
        (&["--rings", "57", "--turns", "0"], &["--turns: wound turns"]),
        (
            &["--rings", "57", "--turns", "60", "--tail", "60"],
            &["--turns: wound turns, more than are lead-in"],
        ),
        (&["--inside", "4.62mm", "--within", "2mm"], &["--within '2 mm'", "0 mm to 1 mm"]),
        (&["--inside", "4.62mm", "--released"], &["--coil-length"]),
    ];
    for (extra, parts) in table {
        let line = workshop.refusal(&[&["measured", "add"], WIRE, extra].concat());
        for part in *parts {
            assert!(line.contains(part), "{extra:?}: no '{part}' in: {line}");
        }
    }
    assert!(!Path::new(&log[1]).exists());
    assert!(workshop.refusal(&["measured", "list"]).contains("no such file"));
    assert!(workshop.refusal(&["plan", "demo"]).contains("no such file"));
    let thin =
        ["measured", "add", "--metal", "copper", "--wire", "1.2mm", "--mandrel", "1mm", "--inside", "1.1mm"];
    assert!(workshop.refusal(&thin).contains("--mandrel '1 mm'"));
    assert!(!Path::new(&log[1]).exists());
}

/// Looking makes no file where the user has none.
#[test]
fn reading_makes_no_file() {
    let home = tempfile::tempdir().unwrap();
    for args in
        [&["plan", "demo"][..], &["chart", "--metal", "copper", "--wires", "16awg", "--mandrels", "5mm"]]
    {
        let mut command = std::process::Command::new(env!("CARGO_BIN_EXE_turntally"));
        assert!(command.args(args).env("XDG_DATA_HOME", home.path()).output().unwrap().status.success());
    }
    assert_eq!(std::fs::read_dir(home.path()).unwrap().count(), 0);
}

/// A log of the form before has its coils and takes what was measured.
#[test]
fn older_log_is_brought_up() {
    let workshop = Workshop::new();
    let log = workshop.log();
    let older = rusqlite::Connection::open(&log[1]).unwrap();
    older
        .execute_batch(
            "CREATE TABLE entry (counter TEXT NOT NULL, number INTEGER NOT NULL, bytes BLOB NOT NULL,
             PRIMARY KEY (counter, number, bytes)) WITHOUT ROWID;
             CREATE TABLE job (fingerprint INTEGER PRIMARY KEY, name TEXT NOT NULL, metal TEXT NOT NULL,
             wire_mm REAL NOT NULL, density_g_cm3 REAL NOT NULL, price_per_kg REAL, currency TEXT);
             INSERT INTO entry VALUES ('0000000000000001', 7, x'ff');
             PRAGMA user_version = 1;",
        )
        .unwrap();
    drop(older);
    workshop.add(&["--inside", "4.62mm"]);
    assert_eq!(workshop.json(&["log"])["entries_unreadable"], 1);
    assert_eq!(entries(&log[1]), 1);
}

/// An impossible entry that another program has written is reported with its number, not used.
#[test]
fn impossible_entry_in_the_file_is_reported() {
    let workshop = Workshop::new();
    workshop.add(&["--inside", "4.62mm"]);
    let log = workshop.log();
    rusqlite::Connection::open(&log[1]).unwrap().execute("UPDATE measured SET length_nm = 1", []).unwrap();
    assert!(workshop.refusal(&["plan", &workshop.path("job.toml")]).contains("measurement '1'"));
    printed(&workshop.with(&["measured", "drop", "1"], &log));
    let output = turntally(&workshop.with(&["plan", "demo"], &log));
    assert!(output.status.success());
}

/// A ring of 4.62 mm inside from 1.2 mm wire is 7.02 mm outside, by hand. Its inside is good to the reading's error and
/// twice the wire's tolerance.
#[test]
fn an_outside_is_kept_as_the_inside_that_it_means() {
    let workshop = Workshop::new();
    workshop.add(&["--outside", "7.02mm"]);
    let listed = workshop.json(&["measured", "list"]);
    let entry = &listed["measured"][0]["entries"][0];
    near(&entry["ring_inner_diameter_mm"], 4.62, 1e-12);
    let gauge = json(&["gauge", "1.2mm", "--json"]);
    let tolerance = gauge["metric"]["tolerance_mm"].as_f64().unwrap();
    near(&entry["within_mm"], 0.02 + 2.0 * tolerance, 1e-9);
}

/// What does not fit the metal is not kept, and what it looks like is named; --sure keeps it. A metal that is not
/// listed has nothing that it could be held against.
#[test]
fn a_reading_that_does_not_fit_is_kept_only_where_it_is_sure() {
    let workshop = Workshop::new();
    let add = |what: &[&str]| workshop.refusal(&[&["measured", "add"], WIRE, what].concat());
    for (what, part) in [
        (
            &["--inside", "7.02mm"][..],
            "--inside '7.02 mm': spring ratio 1.4421, where soft copper wire of 1.2 mm on 4.5 mm has",
        ),
        (&["--inside", "7.02mm"], "is this the outside? --outside takes it; --sure keeps it"),
        (&["--inside", "4.62mm,7.02mm"], "is this the outside?"),
        (&["--inside", "4.68mm"], "it would fit half-hard wire"),
        (&["--inside", "6mm"], "larger mandrel"),
        (&["--outside", "4.62mm"], "--outside '4.62 mm': a ring of this wire and mandrel is 4.5 mm to"),
        (&["--outside", "4.62mm"], "not closed: is this the inside? --inside takes it"),
        (
            &["--outside", "2.4mm"],
            "--outside '2.4 mm': the outside of a ring is more than twice its wire, 2.4 mm",
        ),
    ] {
        let line = add(what);
        assert!(line.contains(part), "no '{part}' in: {line}");
    }
    assert!(!Path::new(&workshop.path("log.sqlite")).exists());
    workshop.add(&["--inside", "7.02mm", "--sure"]);
    assert_eq!(entries(&workshop.path("log.sqlite")), 1);
    let log = workshop.log();
    let other = [
        "measured",
        "add",
        "--metal",
        "my own",
        "--wire",
        "1.2mm",
        "--mandrel",
        "4.5mm",
        "--inside",
        "7.02mm",
    ];
    printed(&workshop.with(&other, &log));
    assert_eq!(entries(&workshop.path("log.sqlite")), 2);
}

/// What is refused without --sure is what the list then calls a misfit, and nothing else: coils of one wire differ by 2 %.
/// The estimate's highest ring on 12 mm is 12.6886 mm inside, by `size`; one that is 0.005 mm wider may still be of it.
#[test]
fn a_reading_is_judged_as_it_is_once_it_is_kept() {
    let wire =
        ["measured", "add", "--metal", "copper", "--wire", "1.2mm", "--mandrel", "12mm", "--within", "0mm"];
    let (mut kept, mut refused) = (0, 0);
    for step in 0..8 {
        let inside = format!("{}mm", 12.680 + f64::from(step) * 0.005);
        let workshop = Workshop::new();
        let log = workshop.log();
        let ring = ["--inside", inside.as_str()];
        let output = turntally(&workshop.with(&[&wire[..], &ring].concat(), &log));
        let sure = printed(&workshop.with(&[&wire[..], &ring, &["--sure"]].concat(), &log));
        let misfit = sure.contains("more than this metal and temper allow");
        assert_eq!(output.status.code() == Some(2), misfit, "{inside}: {sure}");
        if misfit { refused += 1 } else { kept += 1 }
    }
    assert!(kept > 0 && refused > 0, "{kept} {refused}");
}

/// Readings that a caliper types: all of them are kept, or none.
#[test]
fn typed_readings_are_kept_all_or_none() {
    let workshop = Workshop::new();
    let log = workshop.log();
    let typed = |what: &[&str], text: &str| {
        let args = [&["measured", "add"], WIRE, what].concat();
        typed_into(&workshop.with(&args, &log), text)
    };
    for (what, text, part) in [
        (
            &["--inside", "-"][..],
            "4.62\n",
            "--inside, line 1 of standard input '4.62': a number without a unit",
        ),
        (
            &["--inside", "-", "--unit", "mm"],
            "4.62\n4.61\n4,63\n",
            "line 3 of standard input '4,63': a decimal comma",
        ),
        (&["--inside", "-", "--unit", "mm"], "4.62\n7.02\n", "--inside '7.02 mm': spring ratio"),
        (&["--inside", "-", "--outside", "-"], "4.62\n", "only one option can read standard input"),
        (&["--inside", "4.62mm", "--unit", "mm"], "", "--unit: it is for readings on standard input"),
    ] {
        let line = complaint(what, typed(what, text));
        assert!(line.contains(part), "no '{part}' in: {line}");
        assert!(!Path::new(&workshop.path("log.sqlite")).exists(), "{line}");
    }
    let out = typed(&["--inside", "-", "--unit", "in"], "0.1819\r\n4.61mm\r\n\r\n7.02mm\r\n");
    assert_eq!(out.status.code(), Some(0), "{}", String::from_utf8_lossy(&out.stderr));
    assert_eq!(entries(&workshop.path("log.sqlite")), 2);
}
