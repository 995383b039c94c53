//! Every relative link in a Markdown file leads to a file, and one with #anchor to a heading of it.
#![allow(clippy::unwrap_used, clippy::panic, reason = "a test that cannot go on should stop")]

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("..")
}

/// The Markdown files that git tracks.
fn tracked() -> Vec<PathBuf> {
    let git = Command::new("git").current_dir(root()).args(["ls-files", "-z", "*.md"]).output().unwrap();
    assert!(git.status.success(), "{}", String::from_utf8_lossy(&git.stderr));
    String::from_utf8(git.stdout).unwrap().split_terminator('\0').map(PathBuf::from).collect()
}

/// The lines that are neither in a fence nor indented code.
fn prose(text: &str) -> impl Iterator<Item = &str> {
    let mut fenced = false;
    text.lines().filter(move |line| {
        let fence = line.trim_start().starts_with("```");
        fenced ^= fence;
        !fenced && !fence && !line.starts_with("    ")
    })
}

/// The targets of all links and pictures in a text.
fn links(text: &str) -> Vec<String> {
    prose(text)
        .flat_map(|line| line.split("](").skip(1))
        .map(|rest| rest.split(')').next().unwrap().to_owned())
        .collect()
}

/// The anchors of a text's headings, as GitHub makes them: small letters, hyphens for spaces, no punctuation; the
/// second of the same name has -1 behind it.
fn anchors(text: &str) -> Vec<String> {
    let mut seen = BTreeMap::<String, u32>::new();
    prose(text)
        .filter(|line| line.starts_with('#'))
        .map(|line| {
            let title = line.trim_start_matches('#').trim().to_lowercase();
            let anchor: String = title
                .chars()
                .filter(|c| c.is_alphanumeric() || matches!(c, ' ' | '-' | '_'))
                .map(|c| if c == ' ' { '-' } else { c })
                .collect();
            let before = seen.entry(anchor.clone()).or_default();
            *before += 1;
            if *before == 1 { anchor } else { format!("{anchor}-{}", *before - 1) }
        })
        .collect()
}

/// What is wrong with a link in the file at `from`, if anything is.
fn broken(from: &Path, link: &str) -> Option<String> {
    if link.contains("://") || link.starts_with("mailto:") {
        return None;
    }
    let (file, anchor) = link.split_once('#').map_or((link, None), |(file, anchor)| (file, Some(anchor)));
    let target = if file.is_empty() { from.to_owned() } else { from.parent().unwrap().join(file) };
    if !target.exists() {
        return Some(format!("{link}: no such file"));
    }
    let anchor = anchor?;
    let text = fs::read_to_string(target).unwrap();
    (!anchors(&text).iter().any(|known| known == anchor)).then(|| format!("{link}: no such heading"))
}

#[test]
fn every_relative_link_leads_somewhere() {
    let files = tracked();
    assert!(files.iter().any(|file| file == Path::new("README.md")), "{files:?}");
    let (mut count, mut wrong) = (0, Vec::new());
    for file in files {
        let path = root().join(&file);
        let text = fs::read_to_string(&path).unwrap();
        for link in links(&text) {
            count += 1;
            wrong.extend(broken(&path, &link).map(|why| format!("{}: {why}", file.display())));
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
    assert!(count >= 30, "{count} links");
}

/// The test above finds what is wrong.
#[test]
fn a_broken_link_is_found() {
    let from = root().join("README.md");
    assert!(broken(&from, "DEVELOPERS.md").is_none());
    assert!(broken(&from, "DEVELOPERS.md#how-to-test").is_none());
    assert!(broken(&from, "no-such-file.md").is_some());
    assert!(broken(&from, "DEVELOPERS.md#no-such-heading").is_some());
    assert_eq!(anchors("# A `b`, c!\n## A b c\n"), ["a-b-c", "a-b-c-1"]);
    assert_eq!(links("[a](b.md) ![c](d.png)\n    [e](f)\n```\n[g](h)\n```\n"), ["b.md", "d.png"]);
}
