//! Any answers, bytes and silences on the desktop's end of the link, in virtual time: each question ends with an answer
//! or an error in one line, and a fetch stores each entry once.
#![no_main]

use std::collections::BTreeSet;
use std::io::{self, ErrorKind, Read, Write};
use std::path::Path;
use std::sync::{Arc, LazyLock, Mutex, PoisonError};

use libfuzzer_sys::fuzz_target;
use turntally_core::bench::{ErrorBound, Faults, Phase};
use turntally_core::job::Progress;
use turntally_core::link::frame::{Receiver, encode};
use turntally_core::link::{
    Answer, Health, Identity, Made, Refusal, Reply, Request, SentEntry, Status, VERSION,
};
use turntally_core::time::Instant;
use turntally_core::units::{Length, Turns};
use turntally_sim::failure::Failure;
use turntally_sim::job::{DEMO, Job};
use turntally_sim::link::port::{Counter, Wire};
use turntally_sim::link::{self, Offer};
use turntally_sim::records::Records;

mod bare;
mod thrown;

/// A question is asked five times, 0.6 s apart; then a read may take 20 ms.
const LONGEST_WAIT: u64 = 5 * 600_000 + 20_000;
/// A schedule that repeats itself falls silent after so many steps: more than any fetch needs to find out that it is
/// led nowhere.
const STEPS: usize = 2_000;

static JOB: LazyLock<Job> = LazyLock::new(|| Job::parse(DEMO).expect("the job inside the program"));

/// What comes, and what the other end has heard.
#[derive(Default)]
struct Device {
    schedule: Vec<u8>,
    at: usize,
    steps: usize,
    now: u64,
    /// Bytes that are on their way.
    due: Vec<u8>,
    receiver: Receiver,
    tag: u8,
    from: u32,
    /// Replies that went out whole with the tag of the last question, and the entries among them.
    replies: u64,
    sent: BTreeSet<(u32, Vec<u8>)>,
}

impl Device {
    fn byte(&mut self) -> u8 {
        let byte = self.schedule.get(self.at).copied().unwrap_or(0);
        self.at += 1;
        byte
    }

    fn say(&mut self, tag: u8, reply: &Reply) {
        if let Reply::Entry(SentEntry { number, bytes, .. }) = reply {
            self.sent.insert((*number, bytes.to_vec()));
        }
        self.replies += 1;
        let frame = encode(tag, reply);
        self.due.extend_from_slice(&frame);
    }

    /// The next step of the schedule.
    fn step(&mut self) -> io::Result<()> {
        // The first byte says whether the schedule begins anew at its end.
        if self.at >= self.schedule.len() && self.schedule.first().is_some_and(|first| first % 2 == 1) {
            self.at = 1;
        }
        self.steps += 1;
        if self.at >= self.schedule.len() || self.steps > STEPS {
            self.now += 20_000;
            return Err(ErrorKind::TimedOut.into());
        }
        match self.byte() {
            0 => {
                let firmware = "0.1.0".try_into().expect("it is short");
                self.say(
                    self.tag,
                    &Reply::Identity(Identity { version: VERSION, firmware, id: 7, pulses_per_rev: 600 }),
                );
            }
            // An entry a little before or after the one that was asked for.
            1 => {
                let (from, number, first) = (self.byte(), self.byte(), self.byte());
                let number = self.from.wrapping_add_signed(i32::from(number as i8));
                let from = self.from.wrapping_add_signed(i32::from(from as i8));
                self.say(
                    self.tag,
                    &Reply::Entry(SentEntry { from, number, bytes: [first; 8].into_iter().collect() }),
                );
            }
            // The entry that was asked for, and the next of the same question.
            2 => {
                let (from, first) = (self.from, self.byte());
                self.say(
                    self.tag,
                    &Reply::Entry(SentEntry { from, number: from, bytes: [first; 8].into_iter().collect() }),
                );
                self.from = from.wrapping_add(1);
            }
            3 => {
                let (next, more) = (self.byte(), self.byte());
                let next = self.from.wrapping_add_signed(i32::from(next as i8));
                self.say(self.tag, &Reply::End { next, more: more % 2 == 1 });
            }
            4 => self.say(self.tag, &Reply::Done),
            5 => {
                let answer = match self.byte() % 4 {
                    0 => Answer::None,
                    1 => Answer::Waiting,
                    2 => Answer::Agreed,
                    _ => Answer::Declined,
                };
                self.say(self.tag, &Reply::Answer(answer));
            }
            6 => {
                let refusal = if self.byte() % 2 == 0 { Refusal::Unknown } else { Refusal::Busy };
                self.say(self.tag, &Reply::Refused(refusal));
            }
            7 => {
                let (saving, up_ms) = (self.byte() % 2 == 0, u64::from(self.byte()));
                let health =
                    Health { saving, dead: None, illegal: up_ms, samples_lost: saving, up_ms, clock: None };
                self.say(self.tag, &Reply::Health(health));
            }
            8 => {
                let finished = self.byte() % 2 == 0;
                self.say(self.tag, &Reply::Batch(Some(Made { progress: Progress::default(), finished })));
            }
            // An answer to some other question.
            9 => {
                let tag = self.byte();
                self.say(tag, &Reply::Done);
            }
            // Silence, up to 1.3 s.
            10 => {
                self.now += u64::from(self.byte()) * 5_000;
                return Err(ErrorKind::TimedOut.into());
            }
            11 => return Err(ErrorKind::BrokenPipe.into()),
            // A damaged frame.
            12 => {
                let (at, with) = (usize::from(self.byte()), self.byte());
                let length = self.due.len().max(1);
                if let Some(byte) = self.due.get_mut(at % length) {
                    *byte ^= with;
                }
            }
            13 => self.due.clear(),
            // Bytes as they are.
            14 => {
                let count = self.byte();
                for _ in 0..count {
                    let byte = self.byte();
                    self.due.push(byte);
                }
            }
            15 => {
                let status = Status {
                    phase: Phase::Winding,
                    job: "chain".try_into().expect("it is short"),
                    rings_wanted: 100,
                    progress: Progress::default(),
                    counts: i64::from(self.byte()),
                    turns: Turns::from_whole(3),
                    target: Turns::from_whole(60),
                    rings: 2,
                    error_bound: ErrorBound::Unknown,
                    faults: Faults::default(),
                    turns_per_minute: 20,
                    notice: false,
                    coils_left: 2,
                    wire_left: Some(Length::ZERO),
                    fingerprint: 7,
                };
                self.say(self.tag, &Reply::Status(status));
            }
            // A message whose CRC is right, of any bytes.
            _ => {
                let count = usize::from(self.byte());
                let bytes: Vec<u8> = (0..count).map(|_| self.byte()).collect();
                self.replies += 1;
                let frame = encode(self.tag, &bare::Bare(&bytes));
                self.due.extend_from_slice(&frame);
                // It may be an entry: nobody but the reader knows.
                let mut reader = Receiver::default();
                for &byte in &frame {
                    if let Some(Some(Reply::Entry(entry))) = reader.push(byte).map(|message| message.read()) {
                        self.sent.insert((entry.number, entry.bytes.to_vec()));
                    }
                }
            }
        }
        Ok(())
    }
}

#[derive(Clone)]
struct Shared(Arc<Mutex<Device>>);

impl Shared {
    fn with<T>(&self, what: impl FnOnce(&mut Device) -> T) -> T {
        what(&mut self.0.lock().unwrap_or_else(PoisonError::into_inner))
    }
}

impl Read for Shared {
    fn read(&mut self, block: &mut [u8]) -> io::Result<usize> {
        self.with(|device| {
            device.step()?;
            if device.due.is_empty() {
                device.now += 20_000;
                return Err(ErrorKind::TimedOut.into());
            }
            let count = block.len().min(device.due.len());
            block[..count].copy_from_slice(&device.due[..count]);
            device.due.drain(..count);
            // 115,200 baud.
            device.now += 87 * count as u64;
            Ok(count)
        })
    }
}

impl Write for Shared {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        self.with(|device| {
            for &byte in bytes {
                let Some(message) = device.receiver.push(byte) else { continue };
                let (tag, request) = (message.tag, message.read::<Request>());
                device.tag = tag;
                if let Some(Request::Fetch { from, .. }) = request {
                    device.from = from;
                }
            }
        });
        Ok(bytes.len())
    }

    fn flush(&mut self) -> io::Result<()> {
        Ok(())
    }
}

impl Wire for Shared {
    fn now(&self) -> Instant {
        Instant::from_micros(self.with(|device| device.now))
    }
}

/// What was asked ended, with one line where it failed, and no later than the answers that came allow.
fn ended<T>(line: &Shared, begun: (u64, u64), answer: Result<T, Failure>) -> Option<T> {
    let (now, replies) = line.with(|device| (device.now, device.replies));
    // A silence of the schedule is at most 1.3 s longer than a real read waits.
    let longest = (replies - begun.1 + 2) * (LONGEST_WAIT + 1_275_000);
    assert!(now - begun.0 <= longest, "{} ms for {} replies", (now - begun.0) / 1_000, replies - begun.1);
    answer.map_err(|failure| assert_eq!(failure.to_string().lines().count(), 1, "{failure}")).ok()
}

fuzz_target!(|schedule: &[u8]| {
    thrown::count(schedule);
    let line =
        Shared(Arc::new(Mutex::new(Device { schedule: schedule.to_vec(), at: 1, ..Device::default() })));
    let begun = || line.with(|device| (device.now, device.replies));
    let since = begun();
    let Some(mut counter) = ended(&line, since, Counter::on("wire", Box::new(line.clone()))) else { return };
    let mut records = Records::open(Path::new(":memory:")).expect("an empty file");
    let stored =
        |records: &Records| records.entries().map(|(entries, unread)| entries.len() + unread).expect("ours");
    let mut all = 0;
    for _ in 0..2 {
        let since = begun();
        let fetched = ended(&line, since, link::fetch(&mut counter, &mut records));
        let (before, now) = (all, stored(&records));
        all = now;
        let sent = line.with(|device| device.sent.clone());
        if let Some(new) = fetched {
            assert_eq!(now, before + new, "what is new is stored");
        }
        assert!(now <= sent.len(), "{now} entries stored of {} sent", sent.len());
        if before == 0 {
            let numbers: BTreeSet<u32> = sent.iter().map(|(number, _)| *number).collect();
            assert!(now <= numbers.len(), "an entry is stored twice");
        }
    }
    let since = begun();
    _ = ended(&line, since, link::status(&mut counter));
    let since = begun();
    _ = ended(&line, since, link::health(&mut counter));
    let since = begun();
    if let Some(Reply::Settings(settings)) = ended(&line, since, counter.ask(&Request::ReadSettings)) {
        _ = settings.read();
    }
    let since = begun();
    let offer = Offer::job(&mut counter, &JOB, &mut records, false);
    let Some(mut offer) = ended(&line, since, offer) else { return };
    for _ in 0..8 {
        let since = begun();
        if ended(&line, since, offer.is_taken(&mut counter)) != Some(false) {
            break;
        }
    }
});
