//! `turntally bench` where no window can come up: one line that says what does without.
#![allow(clippy::unwrap_used, reason = "a test that cannot go on should stop")]

use std::process::{Command, Output};

/// Runs `turntally bench` with nothing to draw on.
fn bench(args: &[&str]) -> Output {
    let mut command = Command::new(env!("CARGO_BIN_EXE_turntally"));
    for display in ["DISPLAY", "WAYLAND_DISPLAY", "WAYLAND_SOCKET"] {
        command.env_remove(display);
    }
    command.arg("bench").args(args).output().unwrap()
}

fn the_line(output: &Output) -> String {
    assert_eq!(output.status.code(), Some(2));
    assert!(output.stdout.is_empty());
    let text = String::from_utf8(output.stderr.clone()).unwrap();
    assert_eq!(text.lines().count(), 1, "{text}");
    text
}

#[test]
fn without_a_window_the_headless_commands_are_named() {
    let line = the_line(&bench(&[]));
    assert!(line.starts_with("turntally: ") && line.contains("turntally plan, wind and chart"), "{line}");
}

/// A wrong job is reported whether or not a window could come up.
#[cfg(feature = "window")]
#[test]
fn a_wrong_job_is_reported_first() {
    let line = the_line(&bench(&["no-such.toml"]));
    assert!(line.contains("no-such.toml"), "{line}");
}
