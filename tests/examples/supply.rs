//! What the two programs are made of: where each package comes from, whether its licence may be used, and
//! which stand in one program in two versions. Run by `.ci/run`:
//! `cargo run -p turntally-tests --example supply`

#![allow(clippy::unwrap_used, reason = "a tool of the tests may stop where it stands")]

use std::collections::{BTreeMap, BTreeSet};
use std::process::ExitCode;

use cargo_metadata::{CargoOpt, DependencyKind, Metadata, MetadataCommand, Package, PackageId};
use spdx::{Expression, ParseMode};

/// Licences by their SPDX identifiers. They ask for no more than to be named, but for the last three: MPL-2.0,
/// which asks for the files that are under it, unchanged as they are, and two that are of letters.
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
    "Unicode-3.0",
    "Unlicense",
    "Zlib",
    "MPL-2.0",
    "OFL-1.1",
    "Ubuntu-font-1.0",
];
/// Names no licence, but has its terms in a file: MIT or Apache-2.0 for the crate, and each font's own, of which
/// those used here are OFL-1.1 and MIT.
const READ_BY_US: [&str; 1] = ["u8g2-fonts"];

/// A program, where it runs, and what stands in it twice since packages of others ask for it.
struct Program {
    package: &'static str,
    features: &'static str,
    target: &'static str,
    twice: &'static [&'static str],
}

const PROGRAMS: [Program; 3] = [
    Program {
        package: "turntally-sim",
        features: "link,window",
        target: "x86_64-unknown-linux-gnu",
        twice: &[
            "bitflags",
            "foldhash",
            "getrandom",
            "hashbrown",
            "linux-raw-sys",
            "miniz_oxide",
            "rustc-hash",
            "rustix",
            "syn",
            "thiserror",
            "thiserror-impl",
            "toml_datetime",
            "winnow",
        ],
    },
    Program {
        package: "turntally-sim",
        features: "window",
        target: "wasm32-unknown-unknown",
        twice: &["miniz_oxide", "rustc-hash", "syn", "winnow"],
    },
    Program {
        package: "turntally-firmware",
        features: "pico,defmt",
        target: "thumbv6m-none-eabi",
        twice: &[
            "embassy-hal-internal",
            "embedded-hal",
            "embedded-io",
            "embedded-io-async",
            "nb",
            "rand_core",
            "syn",
        ],
    },
];

fn main() -> ExitCode {
    let wrong: usize = PROGRAMS.iter().map(check).sum();
    if wrong == 0 { ExitCode::SUCCESS } else { ExitCode::FAILURE }
}

/// Looks at one; how much is wrong.
fn check(program: &Program) -> usize {
    let Program { package, features, target, twice } = program;
    let features = features.split(',').map(|feature| format!("{package}/{feature}")).collect();
    let metadata = MetadataCommand::new()
        .features(CargoOpt::NoDefaultFeatures)
        .features(CargoOpt::SomeFeatures(features))
        .other_options(["--locked".to_owned(), format!("--filter-platform={target}")])
        .exec()
        .unwrap();
    let linked: Vec<_> =
        linked(&metadata, package).into_iter().filter(|used| used.source.is_some()).collect();
    let mut wrong = Vec::new();
    for used in &linked {
        if !used.source.as_ref().is_some_and(cargo_metadata::Source::is_crates_io) {
            wrong.push(format!("{} {} is not from the registry", used.name, used.version));
        }
        if !is_allowed(used) {
            let licence = used.license.as_deref().unwrap_or("none that is named");
            wrong.push(format!("{} {} has the licence {licence}", used.name, used.version));
        }
    }
    let mut versions: BTreeMap<&str, BTreeSet<String>> = BTreeMap::new();
    for used in &linked {
        versions.entry(used.name.as_str()).or_default().insert(used.version.to_string());
    }
    versions.retain(|_, versions| versions.len() > 1);
    let known: BTreeSet<&str> = twice.iter().copied().collect();
    let found: BTreeSet<&str> = versions.keys().copied().collect();
    wrong.extend(found.difference(&known).map(|name| format!("{name} is there in {:?}", versions[name])));
    wrong.extend(
        known.difference(&found).map(|name| format!("{name} is there once only: good, strike it here")),
    );
    println!("{package} for {target}: {} packages, {} of them in two versions", linked.len(), found.len());
    for what in &wrong {
        eprintln!("supply: {package} for {target}: {what}");
    }
    wrong.len()
}

/// All that is linked into a program: its own dependencies, and theirs; not what only builds them.
fn linked<'a>(metadata: &'a Metadata, program: &str) -> Vec<&'a Package> {
    let nodes: BTreeMap<&PackageId, _> =
        metadata.resolve.as_ref().unwrap().nodes.iter().map(|node| (&node.id, node)).collect();
    let root = metadata.workspace_packages().into_iter().find(|package| package.name.as_str() == program);
    let mut open = vec![&root.unwrap().id];
    let mut seen = BTreeSet::new();
    while let Some(id) = open.pop() {
        if seen.insert(id) {
            let deps = nodes[id]
                .deps
                .iter()
                .filter(|dep| dep.dep_kinds.iter().any(|kind| kind.kind == DependencyKind::Normal));
            open.extend(deps.map(|dep| &dep.pkg));
        }
    }
    seen.into_iter().map(|id| &metadata[id]).collect()
}

fn is_allowed(package: &Package) -> bool {
    let Some(licence) = &package.license else { return READ_BY_US.contains(&package.name.as_str()) };
    let mode = ParseMode { allow_slash_as_or_operator: true, ..ParseMode::STRICT };
    Expression::parse_mode(licence, mode).is_ok_and(|terms| {
        terms.evaluate(|asked| asked.license.id().is_some_and(|id| ALLOWED.contains(&id.name)))
    })
}
