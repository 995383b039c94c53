//! Completions and manual pages, made from the program's own definitions.
#![allow(clippy::unwrap_used, reason = "a test that cannot go on should stop")]

mod run;

use std::process::Command;

use run::{printed, refused_with};

/// Every shell has completions, which know the commands and their options.
#[test]
fn completions_know_commands_and_options() {
    for shell in ["bash", "zsh", "fish", "elvish", "powershell"] {
        let script = printed(&["completions", shell]);
        for word in ["gauge", "size", "chart", "want-inner", "spring-ratio", "troy-ounce"] {
            assert!(script.contains(word), "{shell}: {word}");
        }
    }
    refused_with(&["completions"], &[(&["cobol"], &["'cobol'", "bash"])]);
}

/// Bash reads its completions without complaint.
#[test]
fn bash_reads_its_completions() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("turntally.bash");
    std::fs::write(&path, printed(&["completions", "bash"])).unwrap();
    let output = Command::new("bash").arg("-n").arg(&path).output().unwrap();
    assert!(output.status.success() && output.stderr.is_empty(), "{output:?}");
}

/// The program and each of its commands have a manual page.
#[test]
fn manual_pages_name_their_command() {
    let page = printed(&["man"]);
    assert!(page.contains(".TH turntally 1"), "{page}");
    for (command, option) in [("size", "want\\-ratio"), ("chart", "wire\\-step"), ("gauge", "json")] {
        let page = printed(&["man", command]);
        assert!(page.contains(&format!(".TH turntally-{command} 1")), "{page}");
        assert!(page.contains(option), "{page}");
        assert!(page.contains("Examples:"), "{page}");
    }
    let page = printed(&["man", "link", "send"]);
    assert!(page.contains("\\-\\-estimate") && page.contains("turntally\\-link\\-send"), "{page}");
    refused_with(
        &["man"],
        &[
            (&["nonsense"], &["'nonsense'", "size", "chart"]),
            (&["spool", "nonsense"], &["'nonsense'", "weigh"]),
            (&["size", "send"], &["'send'", "size has no commands of its own"]),
        ],
    );
}
