//! Files of the log that older versions made: carried over whole, with a copy beside them first.
#![cfg(feature = "link")]
#![allow(clippy::unwrap_used, reason = "a test may stop where it stands")]

use std::path::Path;

use rusqlite::Connection;

mod forms;
mod run;

use forms::made;
use run::{json, near, refusal};
use serde_json::Value;

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
    assert_eq!((&batches[1]["batch"], &batches[1]["cost"]), (&0.into(), &Value::Null));
    assert_eq!(form_of(&path), 4);
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
    assert_eq!(spool.as_deref(), (form >= 2).then_some("old"));
    measured_of_no_spool(&path, form);
    // Once is enough.
    assert_eq!(json(&["log", "--json", "--log", path.to_str().unwrap()]), report);
    assert_eq!(std::fs::read_dir(folder.path()).unwrap().count(), 3);
}

/// What was measured is bare wire of no spool, and a spool's temper is not known.
fn measured_of_no_spool(path: &Path, form: i64) {
    let log = path.to_str().unwrap();
    let measured = json(&["measured", "list", "--json", "--log", log]);
    let spools = json(&["spool", "list", "--json", "--log", log]);
    if form == 1 {
        assert_eq!(
            (&measured["measured"], &spools["spools"]),
            (&serde_json::json!([]), &serde_json::json!([]))
        );
        return;
    }
    let one = &measured["measured"][0];
    assert_eq!((&one["spool"], &one["wire_coating_mm"]), (&Value::Null, &Value::Null), "{measured}");
    near(&one["entries"][0]["ring_inner_diameter_mm"], 4.62, 1e-12);
    assert_eq!((&spools["spools"][0]["name"], &spools["spools"][0]["temper"]), (&"old".into(), &Value::Null));
}

#[test]
fn form_1_is_carried_over() {
    carried_over(1);
}

#[test]
fn form_2_is_carried_over() {
    carried_over(2);
}

#[test]
fn form_3_is_carried_over() {
    carried_over(3);
}

/// What cannot be upgraded stays as it was, with one line that gives the reason.
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
