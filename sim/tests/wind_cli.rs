//! `turntally wind` as a person meets it: what it prints, what it writes, and how it refuses.
#![allow(clippy::unwrap_used, clippy::panic, reason = "a test that cannot run must fail")]

use std::collections::BTreeSet;
use std::io::{BufReader, Read};
use std::path::Path;
use std::process::{Command, Output, Stdio};

use serde_json::Value;
use tempfile::TempDir;
use turntally_sim::simulation::faults::FaultKind;
use turntally_sim::simulation::operator::PROFILES;

/// Five short coils, wound in a moment.
const SHORT: &str = "[job]\nrings = 60\n[wire]\nmetal = \"copper\"\nsize = \"1mm\"\n\
    [mandrel]\ndiameter = \"5mm\"\n[winder]\npulses_per_rev = 200\n\
    [cutter]\ncoil_max = \"16mm\"\nkerf = \"0.3mm\"\n";

/// A folder with the short job in it.
fn folder() -> TempDir {
    let folder = tempfile::tempdir().unwrap();
    std::fs::write(folder.path().join("short.toml"), SHORT).unwrap();
    folder
}

fn command(folder: &Path, args: &[&str]) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_turntally"));
    command.env("XDG_DATA_HOME", env!("CARGO_TARGET_TMPDIR"));
    command.arg("wind").args(args).current_dir(folder).stdin(Stdio::null());
    command
}

fn run(folder: &Path, args: &[&str]) -> Output {
    command(folder, args).output().unwrap()
}

/// What came of the short job with these arguments, as JSON; nothing may be on standard error.
fn json(args: &[&str]) -> Value {
    let folder = folder();
    let output = run(folder.path(), &[&["short.toml", "--json"], args].concat());
    assert!(output.status.success(), "{args:?}: {}", String::from_utf8_lossy(&output.stderr));
    assert!(output.stderr.is_empty(), "{args:?}: {}", String::from_utf8_lossy(&output.stderr));
    serde_json::from_slice(&output.stdout).unwrap()
}

fn names(folder: &Path) -> BTreeSet<String> {
    let entries = std::fs::read_dir(folder).unwrap();
    entries.map(|entry| entry.unwrap().file_name().into_string().unwrap()).collect()
}

/// The object has the fixed keys, and its sums and differences are those of its coils.
#[test]
fn json_has_the_fixed_keys_and_adds_up() {
    let found = json(&[]);
    let coils = found["coils"].as_array().unwrap();
    assert!(coils.len() >= 4, "{found}");
    for key in ["rings_promised", "rings_cut"] {
        let sum: u64 = coils.iter().map(|coil| coil[key].as_u64().unwrap()).sum();
        assert_eq!(found[key].as_u64(), Some(sum), "{key}");
    }
    for coil in coils {
        let turns = |key: &str| coil[key].as_f64().unwrap_or_else(|| panic!("{key}: {coil}"));
        let over = turns("stopped_at_turns") - turns("target_turns");
        assert!((turns("overshoot_turns") - over).abs() < 1e-9, "{coil}");
        // Without a fault, what was counted is what happened.
        assert!((turns("counted_turns") - turns("true_turns")).abs() < 1e-6, "{coil}");
        assert!(turns("target_turns") > 1.0 && turns("true_turns") > 1.0, "{coil}");
        assert!(coil["rings_cut"].as_u64() >= coil["rings_promised"].as_u64(), "{coil}");
    }
    assert_eq!(found["lost_counts"], 0);
    assert_eq!(found["faults"], Value::Array(vec![]));
    assert!(found["rings_promised"].as_u64().unwrap() >= 60, "{found}");
}

/// Same seed, same output to the last byte, as text and as JSON; another seed, another run.
#[test]
fn seed_chooses_the_run() {
    let folder = folder();
    for form in [&["short.toml"][..], &["short.toml", "--json"]] {
        let out = |seed| run(folder.path(), &[form, &["--faults", "bounce,noise", "--seed", seed]].concat());
        let (one, again, other) = (out("7"), out("7"), out("8"));
        assert!(one.status.success() && !one.stdout.is_empty());
        assert_eq!(one.stdout, again.stdout);
        assert_ne!(one.stdout, other.stdout);
    }
}

/// The job inside the program, wound by each operator there is: the batch is done and nothing is lost.
#[test]
fn every_operator_winds_the_demo() {
    let folder = folder();
    let mut runs = BTreeSet::new();
    for profile in PROFILES {
        let output = run(folder.path(), &["demo", "--json", "--operator", profile.name]);
        assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
        let found: Value = serde_json::from_slice(&output.stdout).unwrap();
        assert_eq!(found["operator"], profile.name);
        assert_eq!(
            (&found["finished"], &found["lost_counts"]),
            (&true.into(), &0.into()),
            "{}",
            profile.name
        );
        assert!(found["rings_promised"].as_u64().unwrap() >= 640, "{}", profile.name);
        runs.insert(found["duration_s"].to_string());
    }
    // Each winds in their own time.
    assert_eq!(runs.len(), PROFILES.len());
}

/// Each fault alone: those that can be survived lose no count, all others are reported.
#[test]
fn every_fault_is_survived_or_reported() {
    let folder = folder();
    for kind in FaultKind::ALL {
        let output = run(folder.path(), &["demo", "--json", "--faults", kind.name()]);
        assert!(output.status.success(), "{kind}: {}", String::from_utf8_lossy(&output.stderr));
        let found: Value = serde_json::from_slice(&output.stdout).unwrap();
        if kind.is_survivable() {
            assert_eq!((&found["lost_counts"], &found["finished"]), (&0.into(), &true.into()), "{kind}");
        } else {
            assert!(!found["faults"].as_array().unwrap().is_empty(), "{kind}: {found}");
        }
        for coil in found["coils"].as_array().unwrap() {
            assert!(coil["rings_cut"].as_u64() >= coil["rings_promised"].as_u64(), "{kind}: {coil}");
        }
    }
}

/// Spikes that one sample shows are not counted; spikes on both wires at once that several show cost doubt. A filter
/// that is faster than the edges takes none, and one that is far slower takes some.
#[test]
fn spikes_and_filters_act_on_the_count() {
    let folder = folder();
    let wound = |more: &[&str]| {
        let output = run(folder.path(), &[&["short.toml", "--json"], more].concat());
        assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
        let found: Value = serde_json::from_slice(&output.stdout).unwrap();
        (found["illegal_transitions"].as_u64().unwrap(), found["lost_counts"].as_u64().unwrap())
    };
    assert_eq!(wound(&["--spikes", "200ns,1000,both"]), (0, 0));
    assert!(wound(&["--spikes", "90us,500,both"]).0 > 0);
    assert_eq!(wound(&["--input-filter", "330ohm,2.2nF"]), (0, 0));
    let (illegal, lost) = wound(&["--input-filter", "10kohm,100nF"]);
    assert!(illegal + lost > 0);
}

/// Into a pipe go plain lines, one a coil, with no control character, paced or not, and the sums.
#[test]
fn plain_output_has_no_escape_codes() {
    let folder = folder();
    for more in [&[][..], &["--pace", "10000"]] {
        let output = run(folder.path(), &[&["short.toml"], more].concat());
        assert!(output.status.success());
        assert!(output.stderr.is_empty(), "{}", String::from_utf8_lossy(&output.stderr));
        let text = String::from_utf8(output.stdout).unwrap();
        assert!(!text.contains("-0.00"), "{text}");
        assert!(!text.chars().any(|c| c.is_control() && c != '\n'), "{text:?}");
        let coils = json(&[])["coils"].as_array().unwrap().len();
        assert_eq!(text.matches("target ").count(), coils, "{text}");
        assert!(text.contains("60 rings wanted") && text.contains(" 0 counts lost"), "{text}");
    }
}

/// Wrong values: status 2, one line that names what was wrong, nothing on standard output and nothing
/// left behind.
#[test]
fn wrong_values_are_refused_and_leave_nothing() {
    let cases: &[(&[&str], &[&str])] = &[
        (&[], &["<JOB>"]),
        (&["absent.toml"], &["absent.toml"]),
        (&["."], &["read"]),
        (&["short.toml", "--operator", "idle"], &["--operator", "'idle'", "careful, steady, brisk, hasty"]),
        (&["short.toml", "--operator", ""], &["--operator", "''"]),
        (&["short.toml", "--faults", "rust"], &["--faults", "'rust'", "bounce", "supply-dips"]),
        (&["short.toml", "--faults", "bounce,,noise"], &["--faults", "''"]),
        (&["short.toml", "--spikes", "200ns,1000"], &["--spikes", "'200ns,1000'", "either or both"]),
        (&["short.toml", "--input-filter", "330,2.2"], &["--input-filter", "'330,2.2'", "1pF to 1000nF"]),
        (&["short.toml", "--lead", "soon"], &["--lead", "'soon'", "2000 ms", "learned", "off"]),
        (&["short.toml", "--lead", "350"], &["--lead", "'350'", "400ms"]),
        (&["short.toml", "--lead", "3mm"], &["--lead", "'3mm'"]),
        (&["short.toml", "--lead", "2001ms"], &["--lead", "'2001ms'", "2000 ms"]),
        (&["short.toml", "--lead", "-1ms"], &["--lead", "'-1ms'"]),
        (&["short.toml", "--pace", "0"], &["--pace", "'0'", "0.01 to 10000"]),
        (&["short.toml", "--pace", "-1"], &["--pace", "'-1'", "0.01 to 10000"]),
        (&["short.toml", "--pace", "NaN"], &["--pace", "'NaN'", "0.01 to 10000"]),
        (&["short.toml", "--pace", "10001"], &["--pace", "'10001'", "0.01 to 10000"]),
        (&["short.toml", "--pace", "fast"], &["--pace", "'fast'", "0.01 to 10000"]),
        (&["short.toml", "--seed", "x"], &["--seed", "'x'", "whole number"]),
        (&["short.toml", "--seed", "-1"], &["--seed", "'-1'", "whole number"]),
        (&["short.toml", "--seed", "1.5"], &["--seed", "'1.5'", "whole number"]),
        (&["short.toml", "--seed", "18446744073709551616"], &["--seed", "whole number"]),
        (&["short.toml", "--record", "absent/trace.vcd"], &["write", "absent/trace.vcd"]),
        (&["short.toml", "--record", "."], &["write .", "regular file"]),
        (&["short.toml", "--frames", "short.toml"], &["folder", "short.toml"]),
        (&["short.toml", "--frames", "short.toml/frames"], &["folder", "short.toml/frames"]),
        (&["short.toml", "--record", "trace.vcd", "--frames", "short.toml"], &["folder", "short.toml"]),
        (&["short.toml", "--frames", "frames", "--operator", "idle"], &["--operator"]),
        (&["absent.toml", "--frames", "frames", "--record", "trace.vcd"], &["absent.toml"]),
    ];
    let folder = folder();
    for (args, parts) in cases {
        let output = run(folder.path(), args);
        let error = String::from_utf8(output.stderr).unwrap();
        assert_eq!(output.status.code(), Some(2), "{args:?}: {error}");
        assert!(output.stdout.is_empty(), "{args:?}: something on standard output");
        assert_eq!(error.matches('\n').count(), 1, "{args:?}: not one line: {error:?}");
        assert!(error.starts_with("turntally: ") && error.ends_with('\n'), "{args:?}: {error:?}");
        assert!(!error.contains("panicked") && error.len() < 600, "{args:?}: {error:?}");
        for part in *parts {
            assert!(error.contains(part), "{args:?}: no {part:?} in {error:?}");
        }
        assert_eq!(names(folder.path()), BTreeSet::from(["short.toml".to_owned()]), "{args:?}");
    }
    assert_eq!(std::fs::read_to_string(folder.path().join("short.toml")).unwrap(), SHORT);
}

/// The pictures decode to the screen at three times its size, are not blank, and show each phase of a
/// batch, in an order that their names give.
#[test]
fn frames_show_every_phase() {
    let folder = folder();
    let output = run(folder.path(), &["short.toml", "--json", "--frames", "new/frames"]);
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    let frames = folder.path().join("new/frames");
    let mut phases = Vec::new();
    for (index, name) in names(&frames).into_iter().enumerate() {
        let (number, phase) = name.strip_suffix(".png").unwrap().split_once('-').unwrap();
        assert_eq!(number.parse::<usize>().unwrap(), index + 1, "{name}");
        phases.push(phase.to_owned());
        let file = BufReader::new(std::fs::File::open(frames.join(&name)).unwrap());
        let mut reader = png::Decoder::new(file).read_info().unwrap();
        let mut pixels = vec![0; reader.output_buffer_size().unwrap()];
        let info = reader.next_frame(&mut pixels).unwrap();
        assert_eq!((info.width, info.height), (384, 192), "{name}");
        // The screen that says stop is dark on light: both levels are there on every screen.
        assert!(pixels.iter().any(|&byte| byte != 0) && pixels.iter().any(|&byte| byte != 255), "{name}");
    }
    assert_eq!((phases.first().unwrap().as_str(), phases.last().unwrap().as_str()), ("choose", "done"));
    let seen: BTreeSet<&str> = phases.iter().map(String::as_str).collect();
    for phase in ["choose", "ready", "winding", "near", "stop", "verdict", "next", "done"] {
        assert!(seen.contains(phase), "no {phase} in {seen:?}");
    }
}

/// The pictures are what the screen shows: a screen that is not there shows nothing, one on a loose plug goes
/// dark and comes back, and the batch is wound to its end all the same.
#[test]
fn frames_are_what_the_screen_shows() {
    let lit = |faults: &str| {
        let folder = folder();
        let args = ["demo", "--json", "--frames", "frames", "--faults", faults];
        let output = run(folder.path(), &args);
        assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
        let found: Value = serde_json::from_slice(&output.stdout).unwrap();
        assert_eq!((&found["finished"], &found["lost_counts"]), (&true.into(), &0.into()), "{faults}");
        let frames = folder.path().join("frames");
        let lit = |name: String| {
            let file = BufReader::new(std::fs::File::open(frames.join(name)).unwrap());
            let mut reader = png::Decoder::new(file).read_info().unwrap();
            let mut pixels = vec![0; reader.output_buffer_size().unwrap()];
            reader.next_frame(&mut pixels).unwrap();
            pixels.iter().any(|&byte| byte != 0)
        };
        names(&frames).into_iter().map(lit).collect::<Vec<bool>>()
    };
    assert!(lit("no-screen").iter().all(|&lit| !lit));
    let loose = lit("loose-screen");
    let count = |from, to| loose.windows(2).filter(|pair| **pair == [from, to]).count();
    assert!(count(true, false) > 5 && count(false, true) > 5, "{loose:?}");
}

/// Keys that stay down are no presses more and cost no count.
#[test]
fn stuck_keys_cost_time_only() {
    let (sound, stuck) = (json(&[]), json(&["--faults", "stuck-keys"]));
    for key in ["rings_promised", "finished", "lost_counts", "faults"] {
        assert_eq!(sound[key], stuck[key], "{key}");
    }
    assert_eq!(sound["coils"].as_array().unwrap().len(), stuck["coils"].as_array().unwrap().len());
    assert!(stuck["duration_s"].as_f64() > sound["duration_s"].as_f64(), "no key was stuck");
}

/// A reader that leaves early is no failure, and the recording that was asked for is whole all the same.
#[test]
fn closed_pipe_is_no_failure() {
    let folder = folder();
    let recorded = ["short.toml", "--record", "trace.vcd"];
    for args in [&["short.toml"][..], &["short.toml", "--json"], &["demo"], &recorded] {
        let mut child =
            command(folder.path(), args).stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().unwrap();
        drop(child.stdout.take());
        let mut error = String::new();
        child.stderr.take().unwrap().read_to_string(&mut error).unwrap();
        assert!(child.wait().unwrap().success() && error.is_empty(), "{args:?}: {error}");
    }
    let left = std::fs::read(folder.path().join("trace.vcd")).unwrap();
    assert!(run(folder.path(), &recorded).status.success());
    assert_eq!(left, std::fs::read(folder.path().join("trace.vcd")).unwrap());
}
