//! Any bytes as the file of the log: whatever reads it ends with a result or one line, and only a file of an older form
//! that is brought up whole is changed.
#![no_main]

use std::path::{Path, PathBuf};
use std::sync::LazyLock;

use clap::Parser as _;
use libfuzzer_sys::fuzz_target;
use turntally_sim::failure::Failure;
use turntally_sim::records::Records;
use turntally_sim::command::{log, measured, spool};

#[path = "../../../sim/tests/forms/mod.rs"]
mod forms;
mod thrown;

/// Files of each form, with something of everything in them.
static WHOLE: LazyLock<[Vec<u8>; 4]> = LazyLock::new(|| {
    [1, 2, 3, 4].map(|form| {
        let folder = folder("whole");
        let path = forms::made(form, &folder);
        std::fs::read(path).expect("the file that was made")
    })
});

/// An empty folder.
fn folder(name: &str) -> PathBuf {
    let folder = std::env::temp_dir().join(format!("fuzz-records-{}-{name}", std::process::id()));
    _ = std::fs::remove_dir_all(&folder);
    std::fs::create_dir_all(&folder).expect("a folder for what is tried");
    folder
}

#[derive(clap::Parser)]
enum Command {
    Log(log::Args),
    Spool(spool::Args),
    Measured(measured::Args),
}

fn run(words: &[&str], path: &Path) -> Result<(), Failure> {
    let path = path.to_str().expect("a name of our own");
    let command = ["turntally"].iter().chain(words).copied().chain(["--log", path]);
    match Command::try_parse_from(command).expect("a command of ours") {
        Command::Log(args) => log::run(&args),
        Command::Spool(args) => spool::run(&args),
        Command::Measured(args) => measured::run(&args),
    }
}

fn one_line<T>(result: Result<T, Failure>) -> Option<T> {
    result.map_err(|failure| assert_eq!(failure.to_string().lines().count(), 1, "{failure}")).ok()
}

/// The first byte says what the rest is: the file itself, or changes to a whole file of a form, each an offset and what
/// stands there then. An offset alone at the end is where the file is cut off.
fn file_of(bytes: &[u8]) -> Vec<u8> {
    let Some((&what, rest)) = bytes.split_first() else { return Vec::new() };
    let Some(whole) = usize::from(what % 5).checked_sub(1).and_then(|form| WHOLE.get(form)) else {
        return rest.to_vec();
    };
    let mut file = whole.clone();
    let mut changes = rest.chunks_exact(3);
    for change in &mut changes {
        let at = usize::from(u16::from_le_bytes([change[0], change[1]])) % file.len();
        file[at] = change[2];
    }
    if let [low, high] = *changes.remainder() {
        file.truncate(usize::from(u16::from_le_bytes([low, high])) % whole.len());
    }
    file
}

fuzz_target!(|bytes: &[u8]| {
    thrown::count(bytes);
    let file = file_of(bytes);
    let path = folder("tried").join("log.sqlite");
    std::fs::write(&path, &file).expect("room for the file");
    let now = || std::fs::read(&path).expect("the file is still there");
    let Some(records) = one_line(Records::open_existing(&path)) else {
        assert!(now() == file, "what cannot be opened stays as it is");
        return;
    };
    let opened = now();
    _ = one_line(records.entries());
    _ = one_line(records.batches());
    _ = one_line(records.measured());
    _ = one_line(records.spools());
    _ = one_line(records.newest(0));
    drop(records);
    for words in
        [&["log"][..], &["log", "--sum"], &["log", "--json"], &["spool", "list"], &["measured", "list"]]
    {
        _ = one_line(run(words, &path));
    }
    assert!(now() == opened, "reading changes nothing");
});
