//! What is on a serial port may be no counter, or a broken one: `turntally link` ends all the same, soon, with one line.
#![cfg(all(feature = "link", unix))]
#![allow(clippy::unwrap_used, clippy::panic, reason = "a test may stop where it stands")]

mod hostile;

use std::io::{BufRead, BufReader};
use std::path::Path;
use std::process::{Command, Output, Stdio};
use std::time::{Duration, Instant};

use hostile::{Device, chatterbox, endless, entry, identity, read, say};
use turntally_core::link::{Refusal, Reply, Request};
use turntally_sim::link::port::Counter;

const PROGRAM: &str = env!("CARGO_BIN_EXE_turntally");
/// A question is asked five times, 0.6 s apart; the rest is for a busy machine.
const PATIENCE: Duration = Duration::from_secs(10);

/// What the program makes of a device.
trait Ask {
    fn link(&self, args: &[&str]) -> (Output, Duration);
    /// The command ends within [`PATIENCE`], with status 2 and one line that has these words.
    fn is_refused(&self, args: &[&str], words: &str);
}

impl Ask for Device {
    fn link(&self, args: &[&str]) -> (Output, Duration) {
        let begun = Instant::now();
        let mut command = Command::new(PROGRAM);
        command.env("XDG_DATA_HOME", env!("CARGO_TARGET_TMPDIR"));
        let output = command.arg("link").args(args).args(["--port", &self.port]).output().unwrap();
        (output, begun.elapsed())
    }

    /// The command ends within [`PATIENCE`], with status 2 and one line that has these words.
    #[track_caller]
    fn is_refused(&self, args: &[&str], words: &str) {
        let (output, took) = self.link(args);
        let error = String::from_utf8(output.stderr).unwrap();
        assert_eq!(output.status.code(), Some(2), "{error}");
        assert!(error.lines().count() == 1 && error.contains(words), "{error}");
        assert!(took < PATIENCE, "{took:?}: {error}");
    }
}

/// Devices that talk without end, say nothing, or repeat what they hear.
#[test]
fn devices_that_are_no_counter_are_left() {
    chatterbox().is_refused(&["test"], "does not answer");
    let flood = Device::new(|line| {
        say(line, &[0xa5; 4_096]);
        true
    });
    flood.is_refused(&["test"], "does not answer");
    let zeros = Device::new(|line| {
        say(line, &[0; 512]);
        true
    });
    zeros.is_refused(&["test"], "does not answer");
    let silent = Device::new(|line| {
        read(line);
        true
    });
    silent.is_refused(&["test"], "does not answer");
    let deaf = Device::new(|_| {
        std::thread::sleep(Duration::from_millis(5));
        true
    });
    deaf.is_refused(&["test"], "does not answer");
    let echo = Device::new(|line| {
        let heard = read(line);
        say(line, &heard);
        true
    });
    let (output, took) = echo.link(&["test"]);
    assert_eq!(output.status.code(), Some(2));
    assert!(String::from_utf8(output.stderr).unwrap().lines().count() == 1 && took < PATIENCE, "{took:?}");
}

/// A device that fills a line which nobody reads can be dropped: waiting for it hung these tests now and then.
#[test]
fn device_on_a_full_line_goes() {
    let device = Device::new(|line| {
        say(line, &[0xa5; 4_096]);
        true
    });
    let unread = serialport::new(&device.port, 115_200).open_native().unwrap();
    std::thread::sleep(Duration::from_millis(300));
    drop(device);
    drop(unread);
}

/// A counter that goes while it is followed. (It has a process of its own: our children would hold its terminal open.)
#[test]
fn counter_that_goes_is_reported() {
    let mut counter = Command::new(PROGRAM);
    counter.env("XDG_DATA_HOME", env!("CARGO_TARGET_TMPDIR")).args(["wind", "demo", "--link", "--pace", "1"]);
    let mut counter = counter.stdout(Stdio::piped()).spawn().unwrap();
    let mut out = BufReader::new(counter.stdout.take().unwrap());
    let mut line = String::new();
    out.read_line(&mut line).unwrap();
    let mut follow = Command::new(PROGRAM);
    follow.args(["link", "follow", "--port", line.trim().strip_prefix("link: ").unwrap()]);
    let mut follow = follow.stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().unwrap();
    let mut followed = BufReader::new(follow.stdout.take().unwrap());
    line.clear();
    followed.read_line(&mut line).unwrap();
    counter.kill().unwrap();
    counter.wait().unwrap();
    let begun = Instant::now();
    let output = follow.wait_with_output().unwrap();
    let error = String::from_utf8(output.stderr).unwrap();
    assert_eq!(output.status.code(), Some(2), "{error}");
    assert!(error.lines().count() == 1 && error.contains("gone"), "{error}");
    assert!(begun.elapsed() < PATIENCE);
}

/// An answer that is late, but within what a question is asked for, is taken.
#[test]
fn late_answers_are_taken() {
    let mut late_by = Duration::from_millis(900);
    let late = Device::counter(move |request| {
        std::thread::sleep(std::mem::take(&mut late_by));
        vec![if matches!(request, Request::Identify { .. }) { identity() } else { Reply::Done }]
    });
    // What it says to the self test is no health, and it was understood so far.
    late.is_refused(&["test"], "makes no sense");
}

/// The search for a counter goes on to the next port.
#[test]
fn search_goes_past_a_chatterbox() {
    let (chatterbox, counter) = (chatterbox(), Device::counter(|_| vec![identity()]));
    let begun = Instant::now();
    let found = Counter::first_of(&[chatterbox.port.clone(), counter.port.clone()]).unwrap();
    assert_eq!(found.name(), counter.port);
    assert!(begun.elapsed() < PATIENCE, "{:?}", begun.elapsed());
}

/// A counter whose answers lead nowhere, or never end: a fetch ends, and what came is kept.
#[test]
fn logs_without_end_are_bounded() {
    let folder = tempfile::tempdir().unwrap();
    let log = folder.path().join("log.sqlite");
    let fetch = ["fetch", "--log", log.to_str().unwrap()];
    let round = Device::counter(|request| match request {
        Request::Identify { .. } => vec![identity()],
        Request::Fetch { from, .. } => vec![Reply::End { next: from, more: true }],
        _ => vec![Reply::Done],
    });
    round.is_refused(&fetch, "no further entry");
    // Always the same entry, which was asked for once.
    let same = Device::counter(|request| match request {
        Request::Identify { .. } => vec![identity()],
        Request::Fetch { from, .. } => vec![entry(from, 5), Reply::End { next: 6, more: true }],
        _ => vec![Reply::Done],
    });
    same.is_refused(&fetch, "no further entry");
    // Three entries, and then a refusal, or nothing: those three are kept.
    for (name, end) in [("refused", Some(Reply::Refused(Refusal::Unknown))), ("silent", None)] {
        let mut silent = false;
        let few = Device::counter(move |request| match request {
            Request::Identify { .. } => vec![identity()],
            Request::Fetch { .. } if std::mem::replace(&mut silent, true) => vec![],
            Request::Fetch { .. } => (0..3).map(|at| entry(at, at)).chain(end.clone()).collect(),
            _ => vec![Reply::Done],
        });
        let log = folder.path().join(format!("{name}.sqlite"));
        few.is_refused(&["fetch", "--log", log.to_str().unwrap()], "");
        assert_eq!(kept(&log), 3, "{name}");
    }
    // One that has ever more.
    let endless = endless();
    let (output, _) = endless.link(&fetch);
    let error = String::from_utf8(output.stderr).unwrap();
    assert_eq!(output.status.code(), Some(2), "{error}");
    assert!(error.lines().count() == 1 && error.contains("more than any counter holds"), "{error}");
    assert!(kept(&log) > 32_000, "{}", kept(&log));
}

/// Entries in this file.
fn kept(log: &Path) -> u32 {
    let file = rusqlite::Connection::open(log).unwrap();
    file.query_row("SELECT count(*) FROM entry", [], |row| row.get(0)).unwrap()
}
