//! Files of the log that older versions made: carried over whole, with a copy beside them first.
#![cfg(feature = "link")]
#![allow(clippy::unwrap_used, reason = "a test may stop where it stands")]

use std::path::{Path, PathBuf};

use rusqlite::{Connection, params};
use turntally_core::bench::log::{CoilLog, Counted, LogEvent, Sawn, entry_bytes};
use turntally_core::bench::{Doubt, Faults};
use turntally_core::units::{Length, Micros, Turns};

mod run;

use run::{json, near, refusal};

/// The tables of form 1, and what form 2 had besides, as they were.
const FORM_1: &str = "
CREATE TABLE entry (counter TEXT NOT NULL, number INTEGER NOT NULL, bytes BLOB NOT NULL,
    PRIMARY KEY (counter, number, bytes)) WITHOUT ROWID;
CREATE TABLE job (fingerprint INTEGER PRIMARY KEY, name TEXT NOT NULL, metal TEXT NOT NULL, wire_mm REAL NOT NULL,
    density_g_cm3 REAL NOT NULL, price_per_kg REAL, currency TEXT);
";
const FORM_2: &str = "
CREATE TABLE measured (number INTEGER PRIMARY KEY AUTOINCREMENT, at_unix_s INTEGER NOT NULL, metal TEXT NOT NULL,
    temper TEXT NOT NULL, wire_nm INTEGER NOT NULL, mandrel_nm INTEGER NOT NULL, kind TEXT NOT NULL,
    length_nm INTEGER, within_nm INTEGER, turns_nano INTEGER, rings INTEGER, tail_nano INTEGER);
CREATE TABLE spool (name TEXT PRIMARY KEY, metal TEXT NOT NULL, wire_nm INTEGER NOT NULL,
    density_g_cm3 REAL NOT NULL, tare_g REAL, price_per_kg REAL, currency TEXT, left_nm INTEGER NOT NULL,
    weighed_unix_s INTEGER NOT NULL);
CREATE TABLE job_spool (fingerprint INTEGER NOT NULL, since_unix_s INTEGER NOT NULL, spool TEXT);
ALTER TABLE entry ADD COLUMN spool TEXT;
ALTER TABLE entry ADD COLUMN left_nm INTEGER;
INSERT INTO spool VALUES ('old', 'copper', 1200000, 8.94, NULL, NULL, NULL, 9000000000, 1);
INSERT INTO job_spool VALUES (300, 1, 'old');
";

/// The bytes of an entry as it was in its first form: without a number of its batch.
fn first_form(number: u32, event: &LogEvent, job: u32) -> Vec<u8> {
    let mut bytes = entry_bytes(number, &event.to_bytes()).to_vec();
    // Behind form, number, event and the job's fingerprint, which takes two bytes from 128 on.
    let at = 1 + 4 + 1 + if job < 128 { 1 } else { 2 };
    assert_eq!(bytes.remove(at), 0);
    bytes[0] = 1;
    bytes
}

fn coil(number: u32, job: u32, at: u64) -> Vec<u8> {
    let wire = Length::from_um(1_000_000);
    let event = LogEvent::Coil(CoilLog {
        counted: Counted { job, batch: 0, rings: 50, kept: true, wire },
        name: "chain".try_into().unwrap(),
        target: Turns::from_whole(52),
        turns: Turns::from_whole(52),
        crank_time: Micros::from_millis(60_000),
        stop_time: None,
        doubt: Doubt::Within(0),
        illegal: 0,
        faults: Faults::default(),
        at: Some(at),
    });
    first_form(number, &event, job)
}

/// Two counters that wound job 300, which was sent, and one of them job 7, which was set up there.
fn made(form: i64, folder: &Path) -> PathBuf {
    let path = folder.join("log.sqlite");
    let file = Connection::open(&path).unwrap();
    file.execute_batch(FORM_1).unwrap();
    if form == 2 {
        file.execute_batch(FORM_2).unwrap();
    }
    file.execute("INSERT INTO job VALUES (300, 'chain, whole', 'copper', 1.2, 8.94, 18.0, 'EUR')", [])
        .unwrap();
    let sawn = LogEvent::Sawn(Sawn { job: 300, batch: 0, coils: 2, rings: 98, rejects: 2 });
    let entries = [
        ("a", 0, coil(0, 300, 1_700_000_000)),
        ("a", 1, coil(1, 300, 1_700_000_100)),
        ("a", 2, first_form(2, &sawn, 300)),
        ("a", 3, coil(3, 7, 1_700_000_200)),
        ("b", 0, coil(0, 300, 1_700_000_300)),
    ];
    for (counter, number, bytes) in entries {
        file.execute(
            "INSERT INTO entry (counter, number, bytes) VALUES (?1, ?2, ?3)",
            params![counter, number, bytes],
        )
        .unwrap();
    }
    file.pragma_update(None, "user_version", form).unwrap();
    path
}

fn form_of(path: &Path) -> i64 {
    Connection::open(path).unwrap().query_row("PRAGMA user_version", [], |row| row.get(0)).unwrap()
}

#[track_caller]
fn carried_over(form: i64) {
    let folder = tempfile::tempdir().unwrap();
    let path = made(form, folder.path());
    // A copy of an earlier time is left alone.
    let taken = folder.path().join(format!("log.sqlite.v{form}-backup"));
    std::fs::write(&taken, "mine").unwrap();
    let report = json(&["log", "--json", "--log", path.to_str().unwrap()]);
    let batches = report["batches"].as_array().unwrap();
    assert_eq!(batches.len(), 3, "{report}");
    // 8.94 g/cm3 x pi/4 x (1.2 mm)^2 of a metre, at 18 a kilogram.
    let grams = 8.94 * std::f64::consts::FRAC_PI_4 * 1.44;
    for (batch, counter, coils) in [(&batches[0], "a", 2.0), (&batches[2], "b", 1.0)] {
        assert_eq!((&batch["counter"], &batch["job"]), (&counter.into(), &"chain, whole".into()));
        near(&batch["cost"], coils * grams * 0.018, 1e-9);
        assert!(batch["batch"].as_u64().unwrap() > 0);
    }
    assert_ne!(batches[0]["batch"], batches[2]["batch"]);
    assert_eq!((&batches[0]["rings_counted"], &batches[0]["rejects"]), (&98.into(), &2.into()));
    assert_eq!((&batches[1]["batch"], &batches[1]["cost"]), (&0.into(), &serde_json::Value::Null));
    assert_eq!(form_of(&path), 3);
    assert_eq!(std::fs::read_to_string(&taken).unwrap(), "mine");
    let copy = folder.path().join(format!("log.sqlite.v{form}-backup-2"));
    assert_eq!(form_of(&copy), form);
    let entries = |path: &Path| -> i64 {
        Connection::open(path).unwrap().query_row("SELECT count(*) FROM entry", [], |row| row.get(0)).unwrap()
    };
    assert_eq!((entries(&path), entries(&copy)), (5, 5));
    let spool: Option<String> = Connection::open(&path)
        .unwrap()
        .query_row("SELECT spool FROM batch WHERE counter = 'a'", [], |row| row.get(0))
        .unwrap();
    assert_eq!(spool.as_deref(), (form == 2).then_some("old"));
    // Once is enough.
    assert_eq!(json(&["log", "--json", "--log", path.to_str().unwrap()]), report);
    assert_eq!(std::fs::read_dir(folder.path()).unwrap().count(), 3);
}

#[test]
fn form_1_is_carried_over() {
    carried_over(1);
}

#[test]
fn form_2_is_carried_over() {
    carried_over(2);
}

/// What cannot be carried over stays as it was, and is told in one line.
#[test]
fn failed_step_changes_nothing() {
    let folder = tempfile::tempdir().unwrap();
    let path = made(2, folder.path());
    // Whoever made this table, it stands in the way.
    Connection::open(&path).unwrap().execute_batch("CREATE TABLE batch (cake TEXT)").unwrap();
    let before = std::fs::read(&path).unwrap();
    assert!(refusal(&["log", "--log", path.to_str().unwrap()]).contains("batch"));
    assert_eq!(std::fs::read(&path).unwrap(), before);
}
