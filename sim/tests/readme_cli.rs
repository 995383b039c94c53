//! The commands that the Markdown files show, run as they stand there.
#![allow(clippy::unwrap_used, clippy::panic, reason = "a test that cannot go on should stop")]

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

const ROOT: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/..");

/// The README and the pages in sim/docs.
fn pages() -> Vec<(PathBuf, String)> {
    let mut paths = vec![Path::new(ROOT).join("README.md")];
    let docs = fs::read_dir(Path::new(ROOT).join("sim/docs")).unwrap();
    paths.extend(
        docs.map(|entry| entry.unwrap().path()).filter(|path| path.extension().is_some_and(|e| e == "md")),
    );
    paths.sort();
    paths.into_iter().map(|path| (path.clone(), fs::read_to_string(path).unwrap())).collect()
}

fn page(name: &str) -> String {
    fs::read_to_string(Path::new(ROOT).join(name)).unwrap()
}

/// A folder with what the commands name: the job file as its page shows it, its spool, a recording.
fn workshop() -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    let page = page("sim/docs/job-file.md");
    let job = page.split("```toml\n").nth(1).unwrap().split("```").next().unwrap();
    fs::write(folder.path().join("JOB.toml"), job).unwrap();
    good(folder.path(), &words("spool add \"copper 1\" --metal copper --wire 1.2mm --holds 1kg"));
    good(folder.path(), &words("wind demo --record TRACE.vcd"));
    folder
}

/// Runs a command as it is shown. One that needs a counter finds none, and the window is not in this build: their
/// words are understood.
fn as_shown(folder: &Path, command: &str) {
    let mut arguments = words(command);
    match arguments[0].as_str() {
        // Not without a display.
        "bench" => {}
        "link" | "tester" if !command.contains("--simulated") => {
            if let Some(port) = arguments.iter().position(|argument| argument == "--port") {
                arguments.drain(port..port + 2);
            }
            arguments.extend(words("--port no-such-port"));
            let output = run(folder, &arguments);
            let complaint = String::from_utf8(output.stderr).unwrap();
            assert_eq!(output.status.code(), Some(2), "{command}: {complaint}");
            assert!(complaint.contains("no-such-port"), "{command}: {complaint}");
        }
        _ => _ = good(folder, &arguments),
    }
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

/// Each line under "Use" works.
#[test]
fn commands_under_use_work() {
    let readme = page("README.md");
    let folder = workshop();
    let section = readme.split("\n## Use\n").nth(1).unwrap();
    let lines: Vec<&str> =
        section.lines().skip_while(|line| line.is_empty()).take_while(|line| !line.is_empty()).collect();
    assert!(lines.len() >= 13, "{lines:?}");
    for line in lines {
        // What it is for stands behind the command, three spaces away or more.
        let command = line.trim().strip_prefix("turntally ").unwrap();
        let (name, rest) = command.split_once(' ').unwrap();
        let rest = rest.trim_start().split("   ").next().unwrap();
        // An argument that may be left out.
        as_shown(folder.path(), &format!("{name} {}", rest.replace(['[', ']'], "")));
    }
}

/// Each command in a line of text or a table works, on every page. Capitals other than the files of the workshop stand
/// for what the reader puts there.
#[test]
fn commands_in_the_text_work() {
    let folder = workshop();
    let mut ran = 0;
    for (path, text) in pages() {
        for code in text.split('`').skip(1).step_by(2) {
            let Some(command) = code.strip_prefix("turntally ") else { continue };
            // A name alone, a form to be filled in, or a server that runs until it is stopped.
            let form = ["COMMAND", "SHELL", "…"].iter().any(|form| command.contains(form));
            if !command.contains(' ') || form || command.starts_with("wind demo --link") {
                continue;
            }
            println!("{}: {command}", path.display());
            as_shown(folder.path(), command);
            ran += 1;
        }
    }
    assert!(ran >= 12, "{ran} commands");
}

/// What a page shows of a command's answer is the answer, in their order: what was measured counts for the plan.
/// `...` stands for lines left out.
#[test]
fn answers_are_as_shown() {
    let mut shown = 0;
    for (path, text) in pages() {
        let text = text.replace(" \\\n", " ");
        let folder = tempfile::tempdir().unwrap();
        let mut lines = text.lines().peekable();
        while let Some(line) = lines.next() {
            let Some(command) = line.strip_prefix("    $ turntally ") else { continue };
            shown += 1;
            let answer = good(folder.path(), &words(command));
            let mut rest = answer.lines().map(str::trim);
            while let Some(expected) =
                lines.next_if(|line| line.starts_with("    ") && !line.starts_with("    $ "))
            {
                let expected = expected.trim();
                assert!(
                    expected == "..." || rest.any(|line| line == expected),
                    "{}: no '{expected}':\n{answer}",
                    path.display()
                );
            }
        }
    }
    assert_eq!(shown, 7);
}
