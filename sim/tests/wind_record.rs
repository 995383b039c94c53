//! What `turntally wind --record` writes, held against the truth, `replay` and another's decoder.
#![allow(clippy::unwrap_used, clippy::panic, reason = "a test that cannot run must fail")]

use std::io::ErrorKind;
use std::path::Path;
use std::process::Command;

use serde_json::Value;
use turntally_core::quadrature::Decoder;
use turntally_sim::capture::{Capture, Recording as _, Wanted};

/// Two short coils with a geared mandrel and the encoder on the crank.
const JOB: &str = "[job]\nrings = 24\n[wire]\nmetal = \"copper\"\nsize = \"1mm\"\n\
    [mandrel]\ndiameter = \"5mm\"\n[winder]\ngear = \"48:32\"\npulses_per_rev = 100\n\
    [cutter]\ncoil_max = \"20mm\"\nkerf = \"0.3mm\"\n";

/// Runs the program and reads the JSON that it prints.
fn json(args: &[&str]) -> Value {
    let output = Command::new(env!("CARGO_BIN_EXE_turntally"))
        .env("XDG_DATA_HOME", env!("CARGO_TARGET_TMPDIR"))
        .args(args)
        .arg("--json")
        .output()
        .unwrap();
    assert!(output.status.success(), "{args:?}: {}", String::from_utf8_lossy(&output.stderr));
    serde_json::from_slice(&output.stdout).unwrap()
}

/// Winds the job with these arguments and records it; returns what the run prints.
fn recorded(folder: &Path, more: &[&str]) -> (String, Value) {
    let (job, trace) = (folder.join("job.toml"), folder.join("trace.vcd"));
    std::fs::write(&job, JOB).unwrap();
    let trace = trace.to_str().unwrap().to_owned();
    let wind = json(&[&["wind", job.to_str().unwrap(), "--record", &trace], more].concat());
    (trace, wind)
}

fn replayed(trace: &str) -> Value {
    let wires = ["--a", "enc_a", "--b", "bench.enc_b", "--pulses-per-rev", "100", "--gear", "48:32"];
    json(&[&["replay", trace], &wires[..]].concat())
}

/// Encoder counts that really went by, over all coils: between coils the crank stands still.
fn true_counts(wind: &Value) -> i64 {
    wind["coils"].as_array().unwrap().iter().map(|coil| coil["true_counts"].as_i64().unwrap()).sum()
}

/// A clean recording holds every edge and no impossible step, wherever in its cycle the encoder starts,
/// whoever winds, and lasts as long as the run.
#[test]
fn clean_recording_replays_to_every_edge() {
    let folder = tempfile::tempdir().unwrap();
    for (seed, operator) in
        [("1", "careful"), ("2", "hasty"), ("3", "steady"), ("4", "brisk"), ("5", "hasty")]
    {
        let (trace, wind) = recorded(folder.path(), &["--seed", seed, "--operator", operator]);
        let replay = replayed(&trace);
        let sum = replay["forward_counts"].as_u64().unwrap() + replay["reverse_counts"].as_u64().unwrap();
        assert_eq!(Some(sum), wind["edges"].as_u64(), "seed {seed}");
        assert_eq!(replay["counts"], true_counts(&wind), "seed {seed}");
        assert_eq!(replay["illegal_transitions"], 0, "seed {seed}");
        let turns: f64 =
            wind["coils"].as_array().unwrap().iter().map(|coil| coil["true_turns"].as_f64().unwrap()).sum();
        assert!((replay["turns"].as_f64().unwrap() - turns).abs() < 1e-6, "seed {seed}");
        let (lasted, took) = (replay["duration_s"].as_f64().unwrap(), wind["duration_s"].as_f64().unwrap());
        assert!((lasted - took).abs() < 1e-6, "seed {seed}: {lasted} s of {took}");
    }
}

/// With contacts that bounce and noise on the lines the recording has more steps than edges, and they
/// cancel to the last count.
#[test]
fn bouncing_recording_replays_to_the_true_count() {
    let folder = tempfile::tempdir().unwrap();
    for seed in ["1", "2", "3", "4"] {
        for faults in ["bounce", "bounce,noise"] {
            let (trace, wind) = recorded(folder.path(), &["--seed", seed, "--faults", faults]);
            let replay = replayed(&trace);
            let sum = replay["forward_counts"].as_u64().unwrap() + replay["reverse_counts"].as_u64().unwrap();
            assert_eq!(replay["counts"], true_counts(&wind), "seed {seed}, {faults}");
            assert_eq!(replay["illegal_transitions"], 0, "seed {seed}, {faults}");
            assert!(Some(sum) > wind["edges"].as_u64(), "seed {seed}, {faults}: no bounce is recorded");
        }
    }
}

/// Recording changes nothing of the run.
#[test]
fn recording_does_not_change_the_run() {
    let folder = tempfile::tempdir().unwrap();
    let (_, with) = recorded(folder.path(), &["--seed", "9", "--faults", "bounce"]);
    let job = folder.path().join("job.toml");
    let without = json(&["wind", job.to_str().unwrap(), "--seed", "9", "--faults", "bounce"]);
    assert_eq!(with, without);
}

/// Debian's sigrok-cli reads the recording of a batch, and its decoder `graycode` goes through the same
/// counts as ours, one after the other, to the true one.
#[test]
#[ignore = "outside judge: sigrok-cli"]
fn sigrok_counts_a_recorded_batch_alike() {
    let folder = tempfile::tempdir().unwrap();
    let (trace, wind) =
        recorded(folder.path(), &["--seed", "6", "--faults", "bounce", "--operator", "brisk"]);
    let wanted = [Wanted::new("--a", "enc_a"), Wanted::new("--b", "enc_b")];
    let mut capture = Capture::open(std::fs::File::open(&trace).unwrap(), &wanted).unwrap();
    let mut decoder = Decoder::new();
    let mut ours = vec![0];
    while let Some(sample) = capture.next_sample().unwrap() {
        let (a, b) = (sample.level(0).unwrap(), sample.level(1).unwrap());
        if decoder.push(u8::from(a) << 1 | u8::from(b)).net() != 0 {
            ours.push(decoder.position());
        }
    }
    assert_eq!(decoder.position(), true_counts(&wind));
    let theirs = sigrok_counts(&trace);
    // It prints a count when it is left: all but the last one.
    assert_eq!(theirs.len(), ours.len() - 1);
    assert_eq!(theirs, ours[..ours.len() - 1]);
}

/// The counts that sigrok-cli's Gray code decoder goes through.
fn sigrok_counts(trace: &str) -> Vec<i64> {
    let output = Command::new("sigrok-cli")
        // The pins are recorded where they were sampled, every 20 us; its lowest line is the one that
        // changes first on the way forward, B.
        .args(["-I", "vcd:downsample=20", "-P", "graycode:d0=enc_b:d1=enc_a", "-A", "graycode=count", "-i"])
        .arg(trace)
        .output()
        .unwrap_or_else(|error| match error.kind() {
            ErrorKind::NotFound => panic!("sigrok-cli is missing: install the Debian package sigrok-cli"),
            _ => panic!("sigrok-cli does not run: {error}"),
        });
    // Its exit status says nothing: version 0.7.2 crashes while it tidies up, after all is printed.
    let text = String::from_utf8(output.stdout).unwrap();
    text.lines().map(|line| line.strip_prefix("graycode-1: ").unwrap().parse().unwrap()).collect()
}
