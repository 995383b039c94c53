//! The commands that the README shows, run as they stand there.
#![allow(clippy::unwrap_used, clippy::panic, reason = "a test that cannot go on should stop")]

use std::fs;
use std::path::Path;
use std::process::{Command, Output};

fn readme() -> String {
    fs::read_to_string(concat!(env!("CARGO_MANIFEST_DIR"), "/../README.md")).unwrap()
}

/// Runs a line of the README in this folder, which also keeps what the program keeps.
fn run(folder: &Path, arguments: &[String]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_turntally"))
        .env("XDG_DATA_HOME", folder)
        .current_dir(folder)
        .args(arguments)
        .output()
        .unwrap()
}

fn good(folder: &Path, arguments: &[String]) -> String {
    let output = run(folder, arguments);
    assert!(output.status.success(), "{arguments:?}: {}", String::from_utf8_lossy(&output.stderr));
    String::from_utf8(output.stdout).unwrap()
}

/// The words of a command: "copper 1" in quotes is one.
fn words(command: &str) -> Vec<String> {
    command
        .split('"')
        .enumerate()
        .flat_map(|(at, part)| match at % 2 {
            0 => part.split_whitespace().map(str::to_owned).collect(),
            _ => vec![part.to_owned()],
        })
        .collect()
}

/// Each line under "Use" works with the job file under it. Those that need a counter find none, and the window is not
/// in this build: their words are understood.
#[test]
fn commands_under_use_work() {
    let readme = readme();
    let folder = tempfile::tempdir().unwrap();
    let job = readme.split("```toml\n").nth(1).unwrap().split("```").next().unwrap();
    fs::write(folder.path().join("JOB.toml"), job).unwrap();
    good(folder.path(), &words("spool add \"copper 1\" --metal copper --wire 1.2mm --holds 1kg"));
    good(folder.path(), &words("wind demo --record TRACE.vcd"));

    let section = readme.split("\n## Use\n").nth(1).unwrap();
    let lines: Vec<&str> =
        section.lines().skip_while(|line| line.is_empty()).take_while(|line| !line.is_empty()).collect();
    assert!(lines.len() >= 13, "{lines:?}");
    for line in lines {
        // What it is for stands behind the command, three spaces away or more.
        let command = line.trim().strip_prefix("turntally ").unwrap();
        let (name, rest) = command.split_once(' ').unwrap();
        let rest = rest.trim_start().split("   ").next().unwrap();
        let mut arguments = vec![name.to_owned()];
        arguments.extend(words(rest));
        match name {
            // Not without a display.
            "bench" => {}
            "link" => {
                arguments.extend(words("--port no-such-port"));
                let output = run(folder.path(), &arguments);
                let complaint = String::from_utf8(output.stderr).unwrap();
                assert_eq!(output.status.code(), Some(2), "{line}: {complaint}");
                assert!(complaint.contains("no-such-port"), "{line}: {complaint}");
            }
            _ => _ = good(folder.path(), &arguments),
        }
    }
}

/// What the README shows of a command's answer is the answer, in their order: what was measured counts for the
/// plan. `...` stands for lines left out.
#[test]
fn answers_are_as_shown() {
    let readme = readme().replace(" \\\n", " ");
    let folder = tempfile::tempdir().unwrap();
    let mut lines = readme.lines().peekable();
    let mut shown = 0;
    while let Some(line) = lines.next() {
        let Some(command) = line.strip_prefix("    $ turntally ") else { continue };
        shown += 1;
        let answer = good(folder.path(), &words(command));
        let mut rest = answer.lines().map(str::trim);
        while let Some(expected) =
            lines.next_if(|line| line.starts_with("    ") && !line.starts_with("    $ "))
        {
            let expected = expected.trim();
            assert!(expected == "..." || rest.any(|line| line == expected), "no '{expected}':\n{answer}");
        }
    }
    assert_eq!(shown, 3);
}
