//! Files of the log of each form, as its versions made them.
#![allow(clippy::unwrap_used, reason = "a test may stop where it stands")]

use std::path::{Path, PathBuf};

use rusqlite::{Connection, params};
use turntally_core::bench::log::{CoilLog, Counted, LogEvent, RingCount, entry_bytes};
use turntally_core::bench::{ErrorBound, Faults};
use turntally_core::time::Duration;
use turntally_core::units::{Length, Turns};
use turntally_sim::records::Records;

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
INSERT INTO measured VALUES (1, 1, 'copper', 'soft', 1200000, 4500000, 'inside', 4620000, 20000, NULL, NULL, NULL);
";

/// What form 3 made of that: a batch for each counter and job that was sent.
const FORM_3: &str = "
CREATE TABLE batch (number INTEGER PRIMARY KEY, counter TEXT NOT NULL, fingerprint INTEGER NOT NULL,
    offered_unix_s INTEGER NOT NULL, taken_unix_s INTEGER, name TEXT NOT NULL, metal TEXT NOT NULL,
    wire_nm INTEGER NOT NULL, density_g_cm3 REAL NOT NULL, price_per_kg REAL, currency TEXT, spool TEXT);
ALTER TABLE entry ADD COLUMN batch INTEGER NOT NULL DEFAULT 0;
INSERT INTO batch VALUES (11, 'a', 300, 0, NULL, 'chain, whole', 'copper', 1200000, 8.94, 18.0, 'EUR', 'old');
INSERT INTO batch VALUES (12, 'b', 300, 0, NULL, 'chain, whole', 'copper', 1200000, 8.94, 18.0, 'EUR', 'old');
UPDATE entry SET batch = 11 WHERE counter = 'a' AND number < 3;
UPDATE entry SET batch = 12 WHERE counter = 'b';
DROP TABLE job;
DROP TABLE job_spool;
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
        crank_time: Duration::from_millis(60_000),
        stop_time: None,
        error_bound: ErrorBound::Within(0),
        illegal: 0,
        faults: Faults::default(),
        at: Some(at),
    });
    first_form(number, &event, job)
}

/// A file of a form, of two counters that wound job 300, which was sent, and one of them job 7, which was set up there. One
/// of form 4 is what the program makes of form 3.
pub fn made(form: i64, folder: &Path) -> PathBuf {
    let path = folder.join("log.sqlite");
    let file = Connection::open(&path).unwrap();
    // Small pages, small files: they are fuzzed too.
    file.pragma_update(None, "page_size", 512).unwrap();
    file.execute_batch(FORM_1).unwrap();
    if form >= 2 {
        file.execute_batch(FORM_2).unwrap();
    }
    file.execute("INSERT INTO job VALUES (300, 'chain, whole', 'copper', 1.2, 8.94, 18.0, 'EUR')", [])
        .unwrap();
    let sawn = LogEvent::RingCount(RingCount { job: 300, batch: 0, coils: 2, rings: 98, rejects: 2 });
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
    if form >= 3 {
        file.execute_batch(FORM_3).unwrap();
    }
    file.pragma_update(None, "user_version", form.min(3)).unwrap();
    if form == 4 {
        drop(file);
        Records::open(&path).unwrap();
        std::fs::remove_file(folder.join("log.sqlite.v3-backup")).unwrap();
    }
    path
}
