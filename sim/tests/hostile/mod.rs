//! Something on a serial port that is no counter, or a broken one.
#![allow(clippy::unwrap_used, reason = "a test may stop where it stands")]

use std::io::{ErrorKind, Read, Write};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

use serialport::{SerialPort, TTYPort};
use turntally_core::bench::{ErrorBound, Faults, Phase};
use turntally_core::job::Progress;
use turntally_core::link::frame::{Receiver, encode};
use turntally_core::link::{Health, Identity, Reply, Request, SentEntry, Status, VERSION};
use turntally_core::units::{Length, Turns};

/// Something on a pseudo-terminal that is no good; it goes with the test.
pub struct Device {
    /// The name of the other end.
    pub port: String,
    over: Arc<AtomicBool>,
}

impl Device {
    /// `act` is called again and again with our end of the line, which waits 5 ms for bytes, until it is over.
    pub fn new(mut act: impl FnMut(&mut TTYPort) -> bool + Send + 'static) -> Self {
        let (mut ours, theirs) = TTYPort::pair().unwrap();
        ours.set_timeout(Duration::from_millis(5)).unwrap();
        let port = theirs.name().unwrap();
        drop(theirs);
        let over = Arc::new(AtomicBool::new(false));
        let ended = Arc::clone(&over);
        std::thread::spawn(move || while !ended.load(Ordering::Relaxed) && act(&mut ours) {});
        Self { port, over }
    }

    /// A counter that answers each question with some replies.
    pub fn counter(mut answer: impl FnMut(Request) -> Vec<Reply> + Send + 'static) -> Self {
        let mut receiver = Receiver::default();
        Self::new(move |line| {
            let mut out = Vec::new();
            for byte in read(line) {
                let Some(message) = receiver.push(byte) else { continue };
                let Some(request) = message.read::<Request>() else { continue };
                for reply in answer(request) {
                    out.extend_from_slice(&encode(message.tag, &reply));
                }
            }
            say(line, &out);
            true
        })
    }
}

impl Drop for Device {
    fn drop(&mut self) {
        // Not waited for: it may be writing to a full line that nobody reads any more, which never ends.
        self.over.store(true, Ordering::Relaxed);
    }
}

/// What has come; nothing where nobody has the other end open.
pub fn read(line: &mut TTYPort) -> Vec<u8> {
    let mut block = [0; 512];
    match line.read(&mut block) {
        Ok(count) => block[..count].to_vec(),
        Err(error) => {
            if !matches!(error.kind(), ErrorKind::TimedOut | ErrorKind::Interrupted) {
                std::thread::sleep(Duration::from_millis(5));
            }
            Vec::new()
        }
    }
}

/// What nobody reads is lost.
pub fn say(line: &mut TTYPort, bytes: &[u8]) {
    _ = line.write_all(bytes);
}

pub fn identity() -> Reply {
    let firmware = "0.1.0".try_into().unwrap();
    Reply::Identity(Identity { version: VERSION, firmware, id: 7, pulses_per_rev: 400 })
}

pub fn chatterbox() -> Device {
    Device::new(|line| {
        say(line, b"temperature 21.5 C\r\n");
        std::thread::sleep(Duration::from_millis(10));
        true
    })
}

/// An entry that is none: its bytes are kept as they came.
pub fn entry(from: u32, number: u32) -> Reply {
    Reply::Entry(SentEntry { from, number, bytes: [0; 8].into_iter().collect() })
}

/// What a counter is doing whose job has a name that a terminal would act on.
fn status() -> Reply {
    Reply::Status(Status {
        phase: Phase::Choose,
        job: "=1+1\u{1b}[2J\u{202e}x".try_into().unwrap(),
        rings_wanted: u32::MAX,
        progress: Progress { rings: u32::MAX, kept: u32::MAX, scrapped: u32::MAX },
        counts: i64::MIN,
        turns: Turns::from_nano(i64::MIN),
        target: Turns::from_nano(i64::MAX),
        rings: u32::MAX,
        error_bound: ErrorBound::Within(u64::MAX),
        faults: Faults::default(),
        turns_per_minute: i32::MIN,
        notice: true,
        coils_left: u32::MAX,
        wire_left: Some(Length::from_nm(i64::MAX)),
        fingerprint: 0,
    })
}

/// A counter that has ever more entries, and of the rest the strangest figures.
pub fn endless() -> Device {
    Device::counter(|request| match request {
        Request::Identify { .. } => vec![identity()],
        Request::Status => vec![status()],
        Request::SelfTest => vec![Reply::Health(Health {
            saving: true,
            dead: None,
            illegal: u64::MAX,
            samples_lost: true,
            up_ms: u64::MAX,
            clock: Some(u64::MAX),
        })],
        Request::Fetch { from, count } => {
            let mut replies: Vec<Reply> =
                (0..u32::from(count)).map(|at| entry(from.wrapping_add(at), from.wrapping_add(at))).collect();
            replies.push(Reply::End { next: from.wrapping_add(count.into()), more: true });
            replies
        }
        _ => vec![Reply::Done],
    })
}
