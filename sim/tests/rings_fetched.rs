//! Rings that were measured at a counter become measurements when the log is fetched.
#![cfg(feature = "link")]
#![allow(clippy::unwrap_used, reason = "a test may stop where it stands")]

use turntally_core::bench::log::{
    Entry, EntryError, LogEvent, MeasuredRing, RingCount, WireName, entry_bytes,
};
use turntally_core::link::SentEntry;
use turntally_core::metal::Temper;
use turntally_core::units::Length;
use turntally_sim::job::Job;
use turntally_sim::link::planned;
use turntally_sim::lookup::Lookup;
use turntally_sim::records::Records;
use turntally_sim::records::batch::Batch;

fn ring(batch: u32, inside_um: i64, metal: Option<&str>) -> LogEvent {
    let wire = metal.map(|metal| WireName { metal: metal.try_into().unwrap(), temper: Temper::Soft });
    LogEvent::MeasuredRing(MeasuredRing {
        job: 3,
        batch,
        inside: Length::from_um(inside_um),
        diameter: Length::from_um(1_200),
        mandrel: Length::from_um(4_500),
        wire,
    })
}

fn sent(number: u32, event: &LogEvent) -> SentEntry {
    let bytes = entry_bytes(number, &event.to_bytes());
    SentEntry { from: number, number, bytes: bytes.as_slice().try_into().unwrap() }
}

fn records(folder: &tempfile::TempDir) -> Records {
    Records::open(&folder.path().join("log.sqlite")).unwrap()
}

/// A ring of a batch that was set up at the counter is stored once, however often it comes, and not where the same was
/// measured here before; what was dropped here does not come back with the next fetch.
#[test]
fn rings_are_stored_once() {
    let folder = tempfile::tempdir().unwrap();
    let mut records = records(&folder);
    let first = sent(0, &ring(0, 4_620, Some("copper")));
    assert_eq!(records.add(7, std::slice::from_ref(&first)).unwrap(), 1);
    assert_eq!(
        records.take_ring_words(),
        ["a ring of 4.62 mm inside is stored as measurement 1: copper soft, 1.2 mm on 4.5 mm"]
    );
    let measured = records.measured().unwrap();
    assert_eq!((measured.len(), measured[0].coil.wire.metal.as_str()), (1, "copper"));
    assert_eq!(
        (measured[0].coil.mandrel, measured[0].coil.wire.size),
        (Length::from_um(4_500), Length::from_um(1_200))
    );
    assert_eq!(records.add(7, &[first.clone(), sent(1, &ring(0, 4_620, Some("copper")))]).unwrap(), 1);
    assert_eq!(
        records.take_ring_words(),
        ["a ring of 4.62 mm inside is measurement 1 already: copper soft, 1.2 mm on 4.5 mm"]
    );
    records.drop_measured(&[1]).unwrap();
    assert_eq!(records.add(7, &[first]).unwrap(), 0);
    assert_eq!((records.take_ring_words().len(), records.measured().unwrap().len()), (0, 0));
}

/// What is no ring, and a metal that nobody knows, are not stored, and a line says so; the entry itself is kept.
#[test]
fn odd_rings_are_not_stored() {
    let folder = tempfile::tempdir().unwrap();
    let mut records = records(&folder);
    let odd = [
        ring(0, 4_300, Some("copper")),
        ring(0, 4_620, Some("moon\u{1b}[2J")),
        ring(9, 4_620, None),
        ring(0, -1, Some("copper")),
    ];
    let entries: Vec<SentEntry> = (0..).zip(&odd).map(|(number, event)| sent(number, event)).collect();
    assert_eq!(records.add(7, &entries).unwrap(), 4);
    let words = records.take_ring_words();
    assert_eq!((words.len(), records.measured().unwrap().len()), (4, 0));
    assert!(
        words.iter().all(|words| words.contains("is not stored: ") && !words.contains('\u{1b}')),
        "{words:?}"
    );
    assert_eq!(records.entries().unwrap().0.len(), 4);
}

/// Of a batch that was sent from here the computer knows the wire and the mandrel.
#[test]
fn batch_knows_its_wire() {
    let folder = tempfile::tempdir().unwrap();
    let mut records = records(&folder);
    let job = Job::load("demo".as_ref(), &Lookup::nothing()).unwrap();
    let number = records.add_batch(&planned(&job).unwrap(), &Batch::of(&job, 7)).unwrap();
    records.note_wire(number, &job).unwrap();
    let inside = (job.winding.mandrel().nm() + 100_000) / 1_000;
    records.add(7, &[sent(0, &ring(number, inside, None))]).unwrap();
    let measured = records.measured().unwrap();
    assert_eq!(measured.len(), 1, "{:?}", records.take_ring_words());
    assert_eq!((measured[0].coil.mandrel, measured[0].coil.wire.temper), (job.winding.mandrel(), job.temper));
}

/// A program that does not know rings yet reads coils and counts of a counter that does, and takes its rings for those of
/// a newer firmware: the form of an entry is that in which its kind last changed.
#[test]
fn forms_of_entries() {
    let count = LogEvent::RingCount(RingCount { job: 3, batch: 7, coils: 2, rings: 4, rejects: 5 });
    for (event, form) in [(count, 2), (ring(7, 4_620, None), 3), (ring(0, 4_620, Some("copper")), 3)] {
        let bytes = entry_bytes(11, &event.to_bytes());
        assert_eq!(bytes[0], form);
        assert_eq!(Entry::from_bytes(&bytes), Ok(Entry { number: 11, event }));
        for cut in 5..bytes.len() {
            assert_eq!(Entry::from_bytes(&bytes[..cut]), Err(EntryError::Damaged), "{cut}");
        }
    }
}
