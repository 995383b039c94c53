//! `turntally link` and `turntally log` as a person uses them: over a pseudo-terminal, with the simulated
//! bench on the other end.
#![cfg(all(feature = "link", unix))]
#![allow(clippy::unwrap_used, clippy::panic, reason = "a test may stop where it stands")]

use std::io::{BufRead, BufReader};
use std::path::Path;
use std::process::{Child, ChildStdout, Command, Output, Stdio};

const PROGRAM: &str = env!("CARGO_BIN_EXE_turntally");

/// The simulated bench with its link; it ends with the test.
struct Bench {
    child: Child,
    out: BufReader<ChildStdout>,
    port: String,
}

impl Bench {
    fn on(job: &str) -> Self {
        Self::with(job, &[])
    }

    fn with(job: &str, options: &[&str]) -> Self {
        let mut command = Command::new(PROGRAM);
        command.env("XDG_DATA_HOME", env!("CARGO_TARGET_TMPDIR"));
        command.args(["wind", job, "--link", "--pace", "10", "--operator", "brisk"]).args(options);
        let mut child = command.stdout(Stdio::piped()).stderr(Stdio::null()).spawn().unwrap();
        let mut out = BufReader::new(child.stdout.take().unwrap());
        let mut line = String::new();
        out.read_line(&mut line).unwrap();
        let port = line.trim().strip_prefix("link: ").unwrap().to_owned();
        Self { child, out, port }
    }

    /// Waits until so many coils came off.
    fn wait_for_coils(&mut self, coils: usize) {
        let mut line = String::new();
        for _ in 0..coils {
            line.clear();
            self.out.read_line(&mut line).unwrap();
            assert!(line.starts_with("target"), "{line}");
        }
    }

    fn link(&self, args: &[&str]) -> Output {
        run(&[&["link"], args, &["--port", &self.port]].concat())
    }
}

impl Drop for Bench {
    fn drop(&mut self) {
        _ = self.child.kill();
        _ = self.child.wait();
    }
}

fn run(args: &[&str]) -> Output {
    // Not the user's own records.
    let mut command = Command::new(PROGRAM);
    command.env("XDG_DATA_HOME", env!("CARGO_TARGET_TMPDIR")).args(args).output().unwrap()
}

#[track_caller]
fn good(output: &Output) -> String {
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    String::from_utf8(output.stdout.clone()).unwrap()
}

#[track_caller]
fn refused(output: &Output, words: &str) {
    let error = String::from_utf8(output.stderr.clone()).unwrap();
    assert_eq!(output.status.code(), Some(2), "{error}");
    assert!(error.lines().count() == 1 && error.contains(words), "{error}");
}

fn small_job(folder: &Path, pulses: u32) -> String {
    let path = folder.join("small.toml");
    let job = format!(
        "[job]\nname = \"earrings\"\nrings = 60\n[wire]\nmetal = \"copper\"\nsize = \"1.2mm\"\ndensity_g_cm3 = 8.94\nprice_per_kg = 18.0\n\
         currency = \"EUR\"\n[mandrel]\ndiameter = \"4.5mm\"\n[winder]\npulses_per_rev = {pulses}\n\
         [cutter]\ncoil_max = \"18mm\"\nkerf = \"0.4mm\"\n"
    );
    std::fs::write(&path, job).unwrap();
    path.to_str().unwrap().to_owned()
}

/// A counter is found, takes a job that its user agrees to, winds it, and its coils are fetched each once
/// and summed up.
#[test]
fn job_goes_out_and_coils_come_back() {
    let folder = tempfile::tempdir().unwrap();
    let job = small_job(folder.path(), 400);
    let log = folder.path().join("new/log.sqlite");
    let log = log.to_str().unwrap();
    let mut bench = Bench::on(&job);
    assert!(good(&bench.link(&["test"])).contains("encoder of 400 pulses"));
    bench.wait_for_coils(2);
    // A second job, of other rings, while the first is wound: taken between two coils.
    let other = small_job(folder.path(), 400);
    std::fs::write(&other, std::fs::read_to_string(&other).unwrap().replace("rings = 60", "rings = 30"))
        .unwrap();
    // Its wire comes off a spool.
    let wire = ["--metal", "copper", "--wire", "1.2mm", "--holds", "100m", "--log", log];
    good(&run(&[&["spool", "add", "first"][..], &wire].concat()));
    assert_eq!(good(&bench.link(&["send", &other, "--spool", "first", "--log", log])), "taken\n");
    bench.wait_for_coils(2);
    let first = good(&bench.link(&["fetch", "--log", log]));
    let new: u32 = first.split(' ').next().unwrap().parse().unwrap();
    assert!(new >= 3, "{first}");
    bench.wait_for_coils(1);
    // What is already there is not counted again.
    let second: u32 = good(&bench.link(&["fetch", "--log", log])).split(' ').next().unwrap().parse().unwrap();
    let report: serde_json::Value =
        serde_json::from_str(&good(&run(&["log", "--json", "--log", log]))).unwrap();
    let numbers: Vec<u64> =
        report["coils"].as_array().unwrap().iter().map(|coil| coil["number"].as_u64().unwrap()).collect();
    assert!(numbers.iter().copied().eq(0..u64::from(new + second)), "{numbers:?}");
    let coil = &report["coils"][0];
    assert_eq!((coil["job"].as_str(), coil["faults"].as_str()), (Some("earrings"), Some("")));
    assert!(coil["finished_unix_s"].as_u64().unwrap() > 1_700_000_000, "the clock was set");
    assert!(coil["rings_promised"].as_u64().unwrap() > 0 && coil["crank_s"].as_f64().unwrap() > 1.0);
    let sent = report["batches"].as_array().unwrap().iter().find(|batch| batch["currency"] == "EUR").unwrap();
    // 8.94 g/cm3 x pi/4 x (1.2 mm)^2 of it, at 18 a kilogram.
    let grams = sent["wire_mm"].as_f64().unwrap() * 8.94e-3 * std::f64::consts::FRAC_PI_4 * 1.44;
    assert!((sent["wire_g"].as_f64().unwrap() / grams - 1.0).abs() < 1e-9, "{sent}");
    let cost = sent["wire_g"].as_f64().unwrap() * 0.018;
    assert!((sent["cost"].as_f64().unwrap() - cost).abs() < 1e-9);
    // The coils of the job that was sent, each once, and no others.
    let drawn: f64 = report["coils"]
        .as_array()
        .unwrap()
        .iter()
        .filter(|coil| coil["batch"] == sent["batch"])
        .map(|coil| coil["wire_mm"].as_f64().unwrap())
        .sum();
    let left = report["spools"][0]["left_mm"].as_f64().unwrap();
    assert!(drawn > 100.0 && (100_000.0 - drawn - left).abs() < 1e-3, "{drawn} off, {left} left");
    let csv = folder.path().join("coils.csv");
    good(&run(&["log", "--log", log, "--csv", csv.to_str().unwrap()]));
    assert_eq!(std::fs::read_to_string(&csv).unwrap().lines().count(), numbers.len() + 1);
    assert!(good(&run(&["log", "--log", log, "--sum"])).contains("rings per hour of crank time"));
    assert!(good(&run(&["log", "--log", log])).contains("earrings"));
}

/// Two runs of the simulated counter are two counters, whose coils are all new; the same seed is the same counter.
#[test]
fn each_simulated_counter_is_one_of_its_own() {
    let folder = tempfile::tempdir().unwrap();
    let job = small_job(folder.path(), 400);
    let log = folder.path().join("log.sqlite");
    let coils = |seed: &[&str]| {
        let mut bench = Bench::with(&job, seed);
        bench.wait_for_coils(1);
        let fetched = good(&bench.link(&["fetch", "--log", log.to_str().unwrap()]));
        fetched.split(' ').next().unwrap().parse::<u32>().unwrap()
    };
    assert!(coils(&[]) > 0);
    assert!(coils(&[]) > 0, "another counter, and nothing new of it");
    let name = |seed: &[&str]| {
        let counter = good(&Bench::with(&job, seed).link(&["test"]));
        counter.split(' ').nth(1).unwrap().to_owned()
    };
    assert_eq!(name(&["--seed", "5"]), name(&["--seed", "5"]));
    assert_ne!(name(&[]), name(&[]));
}

/// The settings are read, and changed once the user at the counter agrees; what is not allowed is refused with its reason.
#[test]
fn settings_are_read_and_proposed() {
    let folder = tempfile::tempdir().unwrap();
    let bench = Bench::on(&small_job(folder.path(), 400));
    let before = good(&bench.link(&["settings"]));
    assert!(before.contains("pulses=400\n") && before.contains("sound=medium\n"), "{before}");
    refused(&bench.link(&["settings", "pulses=0"]), "only 1 to 100000 is allowed");
    assert_eq!(good(&bench.link(&["settings"])), before);
    assert_eq!(good(&bench.link(&["settings", "sound=full", "cradle=60mm"])), "taken\n");
    let after = before.replace("sound=medium", "sound=full").replace("cradle=70mm", "cradle=60mm");
    assert_eq!(good(&bench.link(&["settings"])), after);
}

/// What cannot be gets one line, before anything is changed.
#[test]
fn wrong_wishes_are_one_line() {
    let folder = tempfile::tempdir().unwrap();
    let file = |name: &str| folder.path().join(name).to_str().unwrap().to_owned();
    refused(&run(&["link", "test", "--port", &file("none")]), "--port");
    refused(&run(&["link", "send", &file("none.toml")]), "none.toml");
    refused(&run(&["log", "--log", &file("none.sqlite")]), "turntally link fetch makes it");
    std::fs::write(file("text.sqlite"), "this is no database, whatever its name says\n".repeat(30)).unwrap();
    refused(&run(&["log", "--log", &file("text.sqlite")]), "not a database");
    let other = rusqlite::Connection::open(file("other.sqlite")).unwrap();
    other.execute_batch("CREATE TABLE cake (layers INTEGER)").unwrap();
    refused(&run(&["log", "--log", &file("other.sqlite")]), "no log of turntally");
    let newer = rusqlite::Connection::open(file("newer.sqlite")).unwrap();
    newer.pragma_update(None, "user_version", 99).unwrap();
    refused(&run(&["log", "--log", &file("newer.sqlite")]), "newer turntally");
    let bench = Bench::on("demo");
    let job = small_job(folder.path(), 600);
    refused(&bench.link(&["send", &job, "--log", &file("a.sqlite")]), "only 400 is allowed");
}

/// `link settings --help` names every setting that can be changed, and no other.
#[test]
fn help_names_every_setting() {
    let output = Command::new(PROGRAM).args(["link", "settings", "--help"]).output().unwrap();
    let help = String::from_utf8(output.stdout).unwrap();
    let listed = help.split_once("The names are ").unwrap().1.split_once('.').unwrap().0;
    let listed: Vec<&str> =
        listed.split([',', ' ', '\n']).filter(|word| !matches!(*word, "" | "and")).collect();
    let all: Vec<&str> = turntally_sim::link::settings::NAMES.split(", ").collect();
    assert_eq!(listed, all);
}
