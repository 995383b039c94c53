//! `turntally tester run` as a person uses it: with a simulated counter, and over a pseudo-terminal with a tester at its
//! other end.
#![cfg(all(feature = "link", unix))]
#![allow(clippy::unwrap_used, clippy::panic, reason = "a test may stop where it stands")]

mod run;

use std::fs;
use std::io::{Read, Write};
use std::path::{Path, PathBuf};
use std::process::Output;
use std::time::Duration;

use run::{complaint, json, printed, refusal, turntally};
use serialport::{SerialPort, TTYPort};
use turntally_firmware::tester::script::{self, Length};
use turntally_sim::simulation::board::Line;
use turntally_sim::simulation::joined::{Joined, Solder};

/// The report of a short test of a counter with this fault.
fn report(solder: Option<Solder>) -> Vec<String> {
    let mut board = Joined::new(solder);
    script::run(&mut board, Length::Short);
    board.into_report().unwrap()
}

/// Runs the command on a pseudo-terminal whose other end answers `short` with these lines.
fn on_a_port(lines: &[String], options: &[&str]) -> Output {
    let (mut ours, theirs) = TTYPort::pair().unwrap();
    let name = theirs.name().unwrap();
    ours.set_timeout(Duration::from_secs(20)).unwrap();
    let answer = lines.iter().map(|line| format!("{line}\n")).collect::<String>();
    let other = std::thread::spawn(move || {
        let mut asked = Vec::new();
        let mut byte = [0];
        while !asked.ends_with(b"short\n") && ours.read_exact(&mut byte).is_ok() {
            asked.push(byte[0]);
        }
        _ = ours.write_all(answer.as_bytes());
        // The terminal lasts until all of it is read.
        ours
    });
    // The other end is open until the program is done: it would read as gone.
    let output = turntally(&[&["tester", "run", "--short", "--port", &name], options].concat());
    drop((other.join().unwrap(), theirs));
    output
}

fn folder(name: &str) -> PathBuf {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join(name);
    _ = fs::remove_dir_all(&folder);
    fs::create_dir_all(&folder).unwrap();
    folder
}

#[test]
fn a_simulated_counter_passes() {
    let text = printed(&["tester", "run", "--simulated", "--short"]);
    let (checks, end) = text.trim_end().rsplit_once('\n').unwrap();
    assert!(checks.lines().all(|line| line.starts_with("pass  ")), "{text}");
    let count = checks.lines().count();
    assert!(count >= 25, "{text}");
    assert_eq!(end, format!("short test on a simulated counter: {count} checks passed, 0 failed"));
    let report = json(&["tester", "run", "--simulated", "--short", "--json"]);
    assert_eq!(report["passed"], count);
    assert_eq!((&report["failed"], &report["simulated"]), (&0.into(), &true.into()));
    assert_eq!(report["checks"].as_array().unwrap().len(), count);
}

#[test]
fn a_tester_on_a_port_is_read_and_its_report_kept() {
    let folder = folder("tester");
    let (good, bad) = (folder.join("good.txt"), folder.join("bad.json"));
    let output = on_a_port(&report(None), &["--report", good.to_str().unwrap()]);
    assert_eq!(output.status.code(), Some(0), "{}", String::from_utf8_lossy(&output.stderr));
    assert_eq!(fs::read(&good).unwrap(), output.stdout);
    let open = report(Some(Solder::Open(Line::EncoderA)));
    let output = on_a_port(&open, &["--report", bad.to_str().unwrap()]);
    let text = String::from_utf8(output.stdout).unwrap();
    assert_eq!(output.status.code(), Some(1), "{text}");
    assert!(text.contains("FAIL  wires: encoder A and B"), "{text}");
    assert!(text.contains("encoder A (pin 5): no edge arrives") && text.contains("(allowed: "), "{text}");
    let kept: serde_json::Value = serde_json::from_str(&fs::read_to_string(&bad).unwrap()).unwrap();
    assert_eq!((&kept["failed"], &kept["test"]), (&1.into(), &"short".into()));
}

/// What is no whole report of this version gives one line, status 2, and no file.
#[test]
fn broken_reports_are_refused() {
    let folder = folder("tester-broken");
    let file = folder.join("report.txt");
    let whole = report(Some(Solder::NoSerial));
    let with = |change: &dyn Fn(&mut Vec<String>)| {
        let mut lines = whole.clone();
        change(&mut lines);
        lines
    };
    let cases: [(Vec<String>, &str); 5] = [
        (with(&|lines| lines.retain(|line| !line.starts_with("check"))), "lines of the report are missing"),
        (with(&|lines| lines[0] = "turntally-tester\t99\tshort".into()), "version 99: only 1 is allowed"),
        (with(&|lines| lines[1] = "nonsense".into()), "not a line of a tester's report: 'nonsense'"),
        (with(&|lines| *lines = vec!["x".repeat(2_000)]), "it sends no lines"),
        (Vec::new(), "no tester answers"),
    ];
    for (lines, words) in cases {
        let output = on_a_port(&lines, &["--report", file.to_str().unwrap()]);
        let complaint = complaint(&["tester"], output);
        assert!(complaint.contains(words), "{complaint}");
        assert!(!file.exists(), "{words}");
    }
}

#[test]
fn bad_options_are_refused() {
    assert!(refusal(&["tester", "run"]).contains("--port"));
    assert!(refusal(&["tester", "run", "--port", "x", "--simulated"]).contains("--simulated"));
    assert!(refusal(&["tester", "run", "--port", "/no-such-port"]).contains("no-such-port"));
    let ending = refusal(&["tester", "run", "--simulated", "--short", "--report", "/no-such-folder/x.txt"]);
    assert!(ending.contains("no-such-folder"), "{ending}");
    assert!(refusal(&["tester", "run", "--simulated", "--report", "report.csv"]).contains(".txt"));
}
