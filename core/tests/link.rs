//! Both ends of the link over a line that loses, doubles and damages bytes, or is pulled.

#![allow(clippy::unwrap_used, clippy::panic, reason = "a test may stop where it stands")]

use std::collections::BTreeMap;

use proptest::prelude::*;
use turntally_core::bench::log::{LogEvent, RingCount, entry_bytes};
use turntally_core::counter::Shaft;
use turntally_core::job::Job;
use turntally_core::link::computer::{Client, Fetcher, Fetching, NoAnswer, PATIENCE};
use turntally_core::link::counter::Server;
use turntally_core::link::frame::{Frame, Receiver, encode};
use turntally_core::link::job::PlannedJob;
use turntally_core::link::{Refusal, Reply, Request};
use turntally_core::time::{Duration, Instant};
use turntally_core::units::{Length, Turns};

/// A counter with a log in which some numbers are missing.
struct Counter {
    server: Server,
    log: BTreeMap<u32, Vec<u8>>,
}

impl Counter {
    fn new(entries: u32) -> Self {
        let entry = |number| {
            let event = LogEvent::RingCount(RingCount {
                job: number,
                batch: 1,
                coils: 1,
                rings: 40 + number % 7,
                rejects: number % 3,
            });
            entry_bytes(number, &event.to_bytes()).to_vec()
        };
        let log =
            (0..entries).filter(|number| number % 11 != 3).map(|number| (number, entry(number))).collect();
        Self { server: Server::default(), log }
    }

    fn push(&mut self, byte: u8, out: &mut Vec<u8>) {
        let Some(question) = self.server.push(byte) else { return };
        match question.request {
            Ok(Request::Fetch { from, count }) => self.server.fetch(question.tag, from, count),
            Ok(_) => out.extend_from_slice(&Server::answer(question.tag, &Reply::Done)),
            Err(refusal) => out.extend_from_slice(&Server::answer(question.tag, &Reply::Refused(refusal))),
        }
        while let Some(from) = self.server.wanted() {
            let found = self.log.range(from..).next().map(|(&number, bytes)| (number, bytes.as_slice()));
            out.extend_from_slice(&self.server.entry(Ok(found)));
        }
    }
}

/// What the computer has safe: it outlasts a pulled cable.
#[derive(Default)]
struct Safe {
    entries: Vec<(u32, Vec<u8>)>,
    next: u32,
}

/// Fetches over a line that does `harm` to each byte (it may become any number of bytes), until it is
/// pulled after `bytes` of them.
fn fetch(
    counter: &mut Counter,
    safe: &mut Safe,
    bytes: &mut usize,
    mut harm: impl FnMut(u8) -> Vec<u8>,
) -> Result<bool, NoAnswer> {
    let mut client = Client::default();
    let mut fetcher = Fetcher::from(safe.next);
    let mut now = Instant::ZERO;
    let mut to_counter: Vec<u8> = client.ask(&fetcher.request(), now).to_vec();
    loop {
        let mut to_computer = Vec::new();
        for byte in to_counter.drain(..) {
            let Some(left) = bytes.checked_sub(1) else { return Ok(false) };
            *bytes = left;
            for byte in harm(byte) {
                counter.push(byte, &mut to_computer);
            }
        }
        for byte in to_computer {
            let Some(left) = bytes.checked_sub(1) else { return Ok(false) };
            *bytes = left;
            for byte in harm(byte) {
                let Some(reply) = client.push(byte, now) else { continue };
                match fetcher.take(reply) {
                    Fetching::Entry(entry) => {
                        safe.entries.push((entry.number, entry.bytes.to_vec()));
                        safe.next = fetcher.next();
                    }
                    Fetching::Wait => {}
                    Fetching::Ask => to_counter = client.ask(&fetcher.request(), now).to_vec(),
                    Fetching::Finished => return Ok(true),
                    Fetching::Refused(refusal) => panic!("refused: {refusal}"),
                }
            }
        }
        if to_counter.is_empty() {
            now = now + PATIENCE;
            // A fetch that stands still is asked for anew, from where it is.
            _ = client.ask_again(now)?;
            to_counter = client.ask(&fetcher.request(), now).to_vec();
        }
    }
}

fn whole(counter: &Counter, safe: &Safe) -> bool {
    counter.log.clone().into_iter().eq(safe.entries.iter().cloned())
}

/// The cable is pulled after every byte there is; after that it holds. Each entry comes once, in order.
#[test]
fn fetch_outlasts_a_cable_pulled_at_any_byte() {
    let entries = 150;
    let mut all = usize::MAX;
    let (mut counter, mut safe) = (Counter::new(entries), Safe::default());
    assert_eq!(fetch(&mut counter, &mut safe, &mut all, |byte| vec![byte]), Ok(true));
    assert!(whole(&counter, &safe));
    let bytes = usize::MAX - all;
    for pulled in 0..bytes {
        let mut safe = Safe::default();
        let mut left = pulled;
        assert_eq!(fetch(&mut counter, &mut safe, &mut left, |byte| vec![byte]), Ok(false), "{pulled}");
        assert_eq!(
            fetch(&mut counter, &mut safe, &mut { usize::MAX }, |byte| vec![byte]),
            Ok(true),
            "{pulled}"
        );
        assert!(whole(&counter, &safe), "pulled after {pulled} of {bytes}");
    }
    println!("a cable pulled after each of {bytes} bytes: {} entries, each once", counter.log.len());
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 60, ..ProptestConfig::default() })]
    /// Bytes get lost, come twice, change: what arrives is each entry once, in order, and nothing else.
    #[test]
    fn fetch_outlasts_a_bad_line(seed in any::<u64>(), one_in in 120_u32..2_000) {
        let mut state = seed | 1;
        let mut dice = move || {
            state ^= state << 13;
            state ^= state >> 7;
            state ^= state << 17;
            (state >> 16) as u32
        };
        let harm = move |byte: u8| match dice() % one_in {
            0 => vec![],
            1 => vec![byte, byte],
            2 => vec![byte ^ (1 << (dice() % 8))],
            3 => vec![0],
            _ => vec![byte],
        };
        let (mut counter, mut safe) = (Counter::new(200), Safe::default());
        // A line that bad may want more patience than a question has.
        let mut harm = harm;
        let finished = (0..50).any(|_| fetch(&mut counter, &mut safe, &mut { usize::MAX }, &mut harm) == Ok(true));
        prop_assert!(finished);
        prop_assert!(whole(&counter, &safe), "{} of {}", safe.entries.len(), counter.log.len());
    }

    /// Whatever bytes arrive, both ends take them and then still talk.
    #[test]
    fn any_bytes_are_taken(bytes in prop::collection::vec(any::<u8>(), 0..3_000)) {
        let (mut counter, mut client, mut out) = (Counter::new(3), Client::default(), Vec::new());
        for &byte in &bytes {
            counter.push(byte, &mut out);
            client.push(byte, Instant::ZERO);
        }
        out.clear();
        for &byte in client.ask(&Request::Status, Instant::ZERO) {
            counter.push(byte, &mut out);
        }
        let replies: Vec<_> = out.iter().filter_map(|&byte| client.push(byte, Instant::ZERO)).collect();
        prop_assert_eq!(replies, [Reply::Done]);
    }

    /// Whole frames of any content are answered, known or not.
    #[test]
    fn any_message_is_answered(body in prop::collection::vec(any::<u8>(), 0..200), tag in any::<u8>()) {
        let body: heapless::Vec<u8, 200> = body.iter().copied().collect();
        let frame = encode(tag, &Raw(&body));
        let (mut counter, mut out) = (Counter::new(3), Vec::new());
        frame.iter().for_each(|&byte| counter.push(byte, &mut out));
        let mut receiver = Receiver::default();
        let answers = out.iter().filter_map(|&byte| receiver.push(byte).map(|message| message.tag)).collect::<Vec<_>>();
        prop_assert!(!answers.is_empty() && answers.iter().all(|&answer| answer == tag));
    }

    /// A job of any figures is taken or refused, and one that was changed on the way is never taken for
    /// the one that was planned.
    #[test]
    fn any_job_is_judged(rings in any::<u32>(), lengths in any::<[i64; 4]>(), tail in any::<i64>(), reals in any::<[f64; 4]>(),
                         gear in any::<(u16, u16)>(), pulses in any::<u32>(), tame in any::<[bool; 6]>()) {
        let good = planned();
        let length = |at: usize, good: Length| if tame[0] { good } else { Length::from_nm(lengths[at]) };
        let job = PlannedJob {
            rings: if tame[1] { good.rings } else { rings },
            wire: length(0, good.wire),
            mandrel: length(1, good.mandrel),
            kerf: length(2, good.kerf),
            coil_max: length(3, good.coil_max),
            tail: if tame[2] { good.tail } else { Turns::from_nano(tail) },
            gap: if tame[3] { good.gap } else { reals[0] },
            spring: if tame[3] { good.spring } else { [reals[1], reals[2], reals[3]] },
            gear: if tame[4] { good.gear } else { gear },
            pulses_per_rev: if tame[5] { good.pulses_per_rev } else { pulses },
            ..good.clone()
        };
        if let Ok(made) = job.job() {
            prop_assert_eq!(made.fingerprint(), good.fingerprint);
        }
        if let Ok(signed) = job.signed() {
            prop_assert!(signed.job().is_ok());
        }
    }
}

/// Bytes as they are.
struct Raw<'a>(&'a [u8]);

impl serde::Serialize for Raw<'_> {
    fn serialize<S: serde::Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        use serde::ser::SerializeTuple;
        let mut tuple = serializer.serialize_tuple(self.0.len())?;
        self.0.iter().try_for_each(|byte| tuple.serialize_element(byte))?;
        tuple.end()
    }
}

fn planned() -> PlannedJob {
    let job = PlannedJob {
        name: "test".try_into().unwrap(),
        rings: 120,
        wire: Length::from_um(1_000),
        mandrel: Length::from_um(4_000),
        gap: 0.0,
        kerf: Length::from_um(300),
        spring: [1.01, 1.02, 1.04],
        tail: Turns::from_nano(500_000_000),
        coil_max: Length::from_um(60_000),
        shaft: Shaft::Crank,
        gear: (1, 1),
        pulses_per_rev: 400,
        spool: None,
        batch: 0,
        fingerprint: 0,
    };
    job.signed().unwrap()
}

/// Over the link the job is the same, and a counter that works it out otherwise does not take it.
#[test]
fn job_comes_over_the_link() {
    let job = planned();
    let request = Request::OfferJob { ticket: 7, job: job.to_bytes() };
    let (mut server, mut client) = (Server::default(), Client::default());
    let questions: Vec<_> = client
        .ask(&request, Instant::ZERO)
        .to_vec()
        .into_iter()
        .filter_map(|byte| server.push(byte))
        .collect();
    let [question] = questions.as_slice() else { panic!("{questions:?}") };
    assert_eq!(question.request, Ok(request));
    assert_eq!(PlannedJob::from_bytes(&job.to_bytes()), Ok(job.clone()));
    assert_eq!(job.job().as_ref().map(Job::fingerprint), Ok(job.fingerprint));
    let other = PlannedJob { fingerprint: job.fingerprint + 1, ..job.clone() };
    assert_eq!(other.job().map(|job| job.target), Err(Refusal::OtherPlan));
    let none = PlannedJob { wire: Length::ZERO, ..job };
    assert_eq!(none.job().map(|job| job.target), Err(Refusal::InvalidJob));
}

/// The longest answers and questions fit their frames.
#[test]
fn longest_messages_fit() {
    use turntally_core::link::{SETTINGS_LEN, SettingsBytes};
    let settings =
        SettingsBytes { form: 1, bytes: heapless::Vec::from_slice(&[0xff; SETTINGS_LEN]).unwrap() };
    let most = Length::from_nm(i64::MIN);
    let job = PlannedJob {
        name: "twenty-four letters long".try_into().unwrap(),
        rings: u32::MAX,
        wire: most,
        mandrel: most,
        kerf: most,
        coil_max: most,
        tail: Turns::from_nano(i64::MIN),
        gear: (u16::MAX, u16::MAX),
        pulses_per_rev: u32::MAX,
        spool: Some(most),
        batch: u32::MAX,
        fingerprint: u32::MAX,
        ..planned()
    };
    let frames: [Frame; 2] = [
        encode(0, &Request::WriteSettings { ticket: u32::MAX, settings }),
        encode(0, &Request::OfferJob { ticket: u32::MAX, job: job.to_bytes() }),
    ];
    assert!(frames.iter().all(|frame| frame.len() > 130), "{frames:?}");
    let bytes = heapless::Vec::from_slice(&[0xff; turntally_core::bench::log::ENTRY_LEN]).unwrap();
    let entry = turntally_core::link::SentEntry { from: u32::MAX, number: u32::MAX, bytes };
    assert!(!encode(0, &Reply::Entry(entry)).is_empty());
}

/// A thousand coils over a line of 115,200 baud: ten bits a byte, each question answered after a tick of the
/// counter. Asserted below 1.3 times the time that their bytes alone need.
#[test]
fn thousand_entries_take_little_longer_than_their_bytes() {
    use turntally_core::bench::log::{CoilLog, Counted};
    use turntally_core::bench::{ErrorBound, Faults};
    let entry = |number: u32| {
        let coil = CoilLog {
            counted: Counted {
                job: 0x9e37_79b9,
                batch: 0,
                rings: 48,
                kept: true,
                wire: Length::from_um(912_345),
            },
            name: "garden chain".try_into().unwrap(),
            target: Turns::from_nano(51_003_750_000),
            turns: Turns::from_nano(51_020_625_000 + i64::from(number)),
            crank_time: Duration::from_micros(61_234_567),
            stop_time: Some(Duration::from_micros(284_000)),
            error_bound: ErrorBound::Within(0),
            illegal: 0,
            faults: Faults::default(),
            at: Some(1_800_000_000 + 90 * u64::from(number)),
        };
        (number, entry_bytes(number, &LogEvent::Coil(coil).to_bytes()).to_vec())
    };
    let mut counter = Counter { server: Server::default(), log: (0..1_000).map(entry).collect() };
    let alone: usize = counter.log.values().map(Vec::len).sum();
    let (mut client, mut fetcher, mut out) = (Client::default(), Fetcher::from(0), Vec::new());
    let (mut bytes, mut questions, mut entries) = (0, 0, 0);
    'asking: loop {
        let question = client.ask(&fetcher.request(), Instant::ZERO).to_vec();
        (bytes, questions) = (bytes + question.len(), questions + 1);
        question.into_iter().for_each(|byte| counter.push(byte, &mut out));
        bytes += out.len();
        for byte in std::mem::take(&mut out) {
            match client.push(byte, Instant::ZERO).map(|reply| fetcher.take(reply)) {
                Some(Fetching::Entry(_)) => entries += 1,
                Some(Fetching::Finished) => break 'asking,
                _ => {}
            }
        }
    }
    let (byte_ms, tick_ms) = (1_000.0 / 11_520.0, 1.0);
    let took = bytes as f64 * byte_ms + f64::from(questions) * tick_ms;
    let ratio = took / (alone as f64 * byte_ms);
    println!(
        "{entries} entries, {alone} bytes: {:.2} s at 115,200 baud, {ratio:.3} times their bytes alone",
        took / 1e3
    );
    assert!(entries == 1_000 && ratio < 1.3, "{ratio}");
}
