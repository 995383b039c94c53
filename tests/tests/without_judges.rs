//! Tells whoever runs the tests which outside judges were left out: programs of other people that some tests hold ours
//! against. A bare toolchain has none of them, so those tests are marked `#[ignore = "outside judge: PROGRAM"]`, and
//! `.ci/run` installs the programs and runs them.
//!
//! It fails where a test is ignored for any other reason, or for a judge that is not in the list.
#![allow(clippy::unwrap_used, clippy::panic, reason = "a test may stop where it stands")]

use std::fs;
use std::path::Path;
use std::process::ExitCode;

/// The judges as the marks name them, and their Debian packages.
const JUDGES: [(&str, &str); 3] = [
    ("sigrok-cli", "sigrok-cli"),
    ("units", "units"),
    ("chromium and poppler-utils", "chromium poppler-utils"),
];

/// What a mark begins with. (In two parts, or it would be found here.)
const MARK: &str = concat!("#[ign", "ore");

fn main() -> ExitCode {
    let mut left_out = [0; JUDGES.len()];
    let mut wrong = Vec::new();
    for folder in ["core", "firmware", "sim", "tests"] {
        let root = Path::new(env!("CARGO_MANIFEST_DIR")).parent().unwrap().join(folder);
        for_each_source(&root, &mut |path, text| {
            for line in text.lines().filter(|line| line.trim_start().starts_with(MARK)) {
                let judge = line.split("outside judge: ").nth(1).and_then(|rest| rest.strip_suffix("\"]"));
                match JUDGES.iter().position(|(name, _)| Some(*name) == judge) {
                    Some(at) => left_out[at] += 1,
                    None => wrong.push(format!("{}: {}", path.display(), line.trim())),
                }
            }
        });
    }
    if !wrong.is_empty() {
        eprintln!("ignored, but not for an outside judge that is listed:\n{}", wrong.join("\n"));
        return ExitCode::FAILURE;
    }
    // They run now.
    if std::env::args().any(|argument| argument == "--ignored" || argument == "--include-ignored") {
        return ExitCode::SUCCESS;
    }
    let tests: Vec<String> =
        JUDGES.iter().zip(left_out).map(|((name, _), tests)| format!("{name} ({tests})")).collect();
    let packages: Vec<&str> = JUDGES.iter().map(|(_, packages)| *packages).collect();
    println!(
        "left out: tests against outside judges, {}. To run them: apt-get install {} && \
         cargo test --workspace -- --ignored",
        tests.join(", "),
        packages.join(" ")
    );
    ExitCode::SUCCESS
}

/// Shows every Rust source in this folder and those in it, the build's own left out.
fn for_each_source(folder: &Path, see: &mut impl FnMut(&Path, &str)) {
    let mut entries: Vec<_> = fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path()).collect();
    entries.sort();
    for path in entries {
        if path.is_dir() && !path.ends_with("target") && !path.ends_with("node_modules") {
            for_each_source(&path, see);
        } else if path.extension().is_some_and(|extension| extension == "rs") {
            see(&path, &fs::read_to_string(&path).unwrap());
        }
    }
}
