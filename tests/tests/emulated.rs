//! One counter, two boards: the desktop's board plays the scripts of `tests/emulator/scripts`, and shows and
//! sounds what is kept in `tests/emulator/pictures` and `tests/emulator/traces`. The emulated Pico is held
//! to the same (`tests/emulator/parity.test.mjs`): pictures and counts are equal bit for bit.
//!
//! `TURNTALLY_BLESS=1` keeps what the desktop does now; the pictures are to be looked at before they are
//! committed, and the emulator has to agree.

#![allow(clippy::unwrap_used, reason = "a test may stop where it stands")]

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

use turntally_firmware::notice::Notice;
use turntally_tests::desk::{Desk, Played};
use turntally_tests::script::{self, Act};

fn folder(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("emulator").join(name)
}

/// The scripts, with their names.
fn scripts() -> Vec<(String, String)> {
    let files = std::fs::read_dir(folder("scripts")).unwrap().map(|entry| entry.unwrap().path());
    let read = |path: PathBuf| {
        (path.file_stem().unwrap().to_str().unwrap().to_owned(), std::fs::read_to_string(&path).unwrap())
    };
    files.map(read).collect()
}

fn script(name: &str) -> String {
    scripts().into_iter().find(|(script, _)| script == name).unwrap().1
}

fn acts(script: &str) -> Vec<Act<'_>> {
    script::acts(script).collect::<Result<_, _>>().unwrap()
}

/// What is to be kept of a script: files of the folders `traces` and `pictures`.
fn files(name: &str, played: &Played) -> Vec<(PathBuf, String)> {
    let trace = (folder("traces").join(name).with_extension("txt"), played.trace.clone());
    let pictures = played.pictures.iter().map(|(look, picture)| {
        (folder("pictures").join(name).join(look).with_extension("pbm"), picture.clone())
    });
    std::iter::once(trace).chain(pictures).collect()
}

/// Every script, and no file is left over from another.
#[test]
fn desktop_does_what_is_kept() {
    let mut kept = BTreeSet::new();
    for (name, script) in scripts() {
        for (path, now) in files(&name, &Desk::start().play(&acts(&script))) {
            if std::env::var("TURNTALLY_BLESS").as_deref() == Ok("1") {
                std::fs::create_dir_all(path.parent().unwrap()).unwrap();
                std::fs::write(&path, &now).unwrap();
            }
            let before = std::fs::read_to_string(&path).unwrap_or_default();
            assert!(before == now, "not what is kept in {}:\n{now}", path.display());
            kept.insert(path);
        }
        let pictures = std::fs::read_dir(folder("pictures").join(&name)).unwrap();
        for path in pictures.map(|entry| entry.unwrap().path()) {
            assert!(kept.contains(&path), "{} belongs to no look", path.display());
        }
    }
}

/// Pulling the screen off and plugging it in again, whenever that is, changes nothing that is heard, lit or
/// counted; half a second after it is back it shows what it would have shown.
#[test]
fn without_a_screen_everything_else_is_the_same() {
    for name in ["first-coil", "too-far"] {
        let script = script(name);
        let mut acts = acts(&script);
        acts.extend([Act::Wait { ms: 300 }, Act::Look { name: "end" }]);
        let with = Desk::start().play(&acts);
        for gone in 0..acts.len() - 3 {
            let mut without = acts.clone();
            without.insert(gone, Act::Screen { plugged: false });
            without.insert(gone + 2, Act::Screen { plugged: true });
            let played = Desk::start().play(&without);
            assert!(played.trace == with.trace, "{name}: gone at {gone}");
            assert!(played.pictures.last() == with.pictures.last(), "{name}: gone at {gone}");
        }
    }
}

/// A key that is stuck for a minute is one press; the other key and the knob still do their work.
#[test]
fn a_stuck_key_is_one_press() {
    let press = "wait 300\nhold yes 60000\nlook held\npress yes\nlook on\n";
    let played = Desk::start().play(&acts(press));
    let phases: Vec<&str> =
        played.trace.lines().filter_map(|line| line.split("phase=").nth(1)?.split(' ').next()).collect();
    assert_eq!(phases, ["Ready", "Winding"]);
}

/// What the Pico says after a fault and after a panic that the emulator brought about.
#[test]
fn desktop_shows_what_the_emulated_pico_says_of_its_restart() {
    let advice = ["What was saved of a coil", "is there in a moment."];
    for (name, reason) in [("restarted-fault", "fault at 0x30000000"), ("restarted-panic", "wild.rs:42")] {
        let mut desk = Desk::start();
        desk.report(Notice::new("Restarted", format_args!("{reason}"), advice));
        let played = desk.play(&[Act::Look { name }]);
        let kept = std::fs::read_to_string(folder("pictures").join(name).with_extension("pbm")).unwrap();
        assert!(played.pictures == [(name.to_owned(), kept)], "not what the Pico showed: {name}");
    }
}
