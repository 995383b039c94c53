//! Runs the program as a person would and looks at its output.
#![allow(dead_code, reason = "each test file uses its own part")]
#![allow(clippy::unwrap_used, reason = "a test that cannot go on should stop")]

use std::io::Write as _;
use std::process::{Command, Output, Stdio};

/// Runs `turntally` with these arguments.
pub fn turntally(args: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_turntally"))
        .env("XDG_DATA_HOME", env!("CARGO_TARGET_TMPDIR"))
        .args(args)
        .output()
        .unwrap()
}

/// Runs `turntally` with these arguments and this text on standard input.
pub fn typed_into(args: &[&str], text: impl AsRef<[u8]>) -> Output {
    let mut child = Command::new(env!("CARGO_BIN_EXE_turntally"))
        .env("XDG_DATA_HOME", env!("CARGO_TARGET_TMPDIR"))
        .args(args)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    // It may have refused the arguments and not read on.
    _ = child.stdin.take().unwrap().write_all(text.as_ref());
    child.wait_with_output().unwrap()
}

/// What it printed, where it did as asked and complained of nothing.
pub fn printed(args: &[&str]) -> String {
    let output = turntally(args);
    let complaint = String::from_utf8(output.stderr).unwrap();
    assert_eq!((output.status.code(), complaint.as_str()), (Some(0), ""), "{args:?}");
    String::from_utf8(output.stdout).unwrap()
}

/// The one JSON object that it printed.
pub fn json(args: &[&str]) -> serde_json::Value {
    serde_json::from_str(&printed(args)).unwrap()
}

/// The one line that it refused these arguments with: status 2, nothing on standard output.
pub fn refusal(args: &[&str]) -> String {
    let output = turntally(args);
    assert_eq!(String::from_utf8_lossy(&output.stdout), "", "{args:?}");
    complaint(args, output)
}

/// The one line that it stopped with: status 2.
pub fn complaint(args: &[&str], output: Output) -> String {
    let complaint = String::from_utf8(output.stderr).unwrap();
    assert_eq!(output.status.code(), Some(2), "{args:?}: {complaint}");
    assert_eq!(complaint.lines().count(), 1, "{args:?}: {complaint}");
    assert!(complaint.starts_with("turntally: "), "{args:?}: {complaint}");
    complaint
}

/// Demands exit status 2, nothing on standard output, and one line on standard error with all of `parts` in it.
pub fn assert_refused(what: &str, output: &Output, parts: &[&str]) {
    let error = String::from_utf8(output.stderr.clone()).unwrap();
    assert_eq!(output.status.code(), Some(2), "{what}: {error}");
    assert!(output.stdout.is_empty(), "{what}: something on standard output");
    assert_eq!(error.matches('\n').count(), 1, "{what}: not one line: {error:?}");
    assert!(error.starts_with("turntally: ") && error.ends_with('\n'), "{what}: {error:?}");
    assert!(!error.contains("panicked") && error.len() < 600, "{what}: {error:?}");
    for part in parts {
        assert!(error.contains(part), "{what}: no {part:?} in {error:?}");
    }
}

/// Every refusal names each of its parts: the option, the value, what is allowed.
pub fn refused_with(base: &[&str], table: &[(&[&str], &[&str])]) {
    for (extra, parts) in table {
        let args: Vec<&str> = base.iter().chain(*extra).copied().collect();
        let line = refusal(&args);
        for part in *parts {
            assert!(line.contains(part), "{args:?}: no '{part}' in: {line}");
        }
    }
}

/// Equal but for `tolerance` of their size.
pub fn near(got: &serde_json::Value, want: f64, tolerance: f64) {
    let got = got.as_f64().unwrap();
    assert!((got / want - 1.0).abs() <= tolerance, "{got} for {want}");
}
