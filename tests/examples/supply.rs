//! What the programs are made of, for the targets that are named: where each package comes from, whether its
//! licence may be used, and which stand there in two versions.
//!
//! `cargo run -p turntally-tests --example supply -- x86_64-unknown-linux-gnu`

#![allow(clippy::unwrap_used, reason = "a tool of the tests may stop where it stands")]

use std::collections::{BTreeMap, BTreeSet};
use std::process::ExitCode;

use cargo_metadata::{CargoOpt, Metadata, MetadataCommand, Package};
use spdx::{Expression, ParseMode};

/// Licences that ask for no more than to be named, by their SPDX identifiers, and those of the letters.
const ALLOWED: [&str; 15] = [
    "0BSD",
    "Apache-2.0",
    "BSD-2-Clause",
    "BSD-3-Clause",
    "BSL-1.0",
    "CC0-1.0",
    "ISC",
    "MIT",
    "MIT-0",
    "OFL-1.1",
    "Ubuntu-font-1.0",
    "Unicode-3.0",
    "Unlicense",
    "Zlib",
    "MPL-2.0",
];

/// Packages that stand on the chip in two versions, since others ask for them: each costs flash.
const TWICE_ON_THE_CHIP: [&str; 0] = [];

fn main() -> ExitCode {
    let mut wrong = 0;
    for target in std::env::args().skip(1) {
        wrong += check(&target);
    }
    if wrong == 0 { ExitCode::SUCCESS } else { ExitCode::FAILURE }
}

/// Looks at one target; how much is wrong.
fn check(target: &str) -> usize {
    let metadata = MetadataCommand::new()
        .features(CargoOpt::AllFeatures)
        .other_options(["--locked".to_owned(), format!("--filter-platform={target}")])
        .exec()
        .unwrap();
    let used = used(&metadata);
    let foreign: Vec<_> = used.iter().filter(|package| package.source.is_some()).collect();
    let mut wrong = Vec::new();
    for package in &foreign {
        let source = package.source.as_ref().unwrap();
        if !source.is_crates_io() {
            wrong.push(format!("{} {}: not from the registry", package.name, package.version));
        }
        if !is_allowed(package) {
            let licence = package.license.as_deref().unwrap_or("none said");
            wrong.push(format!("{} {}: licence {licence}", package.name, package.version));
        }
    }
    let mut versions: BTreeMap<&str, BTreeSet<String>> = BTreeMap::new();
    for package in &foreign {
        versions.entry(package.name.as_str()).or_default().insert(package.version.to_string());
    }
    versions.retain(|_, versions| versions.len() > 1);
    let twice: Vec<String> = versions
        .iter()
        .map(|(name, versions)| format!("{name} {}", versions.iter().cloned().collect::<Vec<_>>().join(" and ")))
        .collect();
    if target.starts_with("thumb") {
        wrong.extend(versions.keys().filter(|name| !TWICE_ON_THE_CHIP.contains(name)).map(|name| format!("{name}: twice on the chip")));
    }
    println!("{target}: {} packages, {} in two versions: {}", foreign.len(), twice.len(), twice.join(", "));
    for what in &wrong {
        eprintln!("supply: {what}");
    }
    wrong.len()
}

/// What is built into a program or builds it; tests and benchmarks may use what they like.
fn used(metadata: &Metadata) -> Vec<&Package> {
    metadata.packages.iter().collect()
}

fn is_allowed(package: &Package) -> bool {
    let Some(licence) = &package.license else { return false };
    let mode = ParseMode { allow_slash_as_or_operator: true, ..ParseMode::STRICT };
    Expression::parse_mode(licence, mode).is_ok_and(|expression| {
        expression.evaluate(|asked| {
            asked.license.id().is_some_and(|id| ALLOWED.contains(&id.name))
        })
    })
}
