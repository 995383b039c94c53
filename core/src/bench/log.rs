//! What is kept of every coil that came off, for the maker's records.
//!
//! The log is a row of entries whose numbers rise. What is learned later (the rings counted after sawing)
//! is an entry of its own: nothing that was written ever changes. As bytes an entry is its form, so that a
//! newer firmware reads older entries and an older one refuses newer ones, its number, and what happened.

use core::fmt;

use heapless::{String, Vec};
#[cfg(feature = "serde")]
use serde::{Deserialize, Serialize};

use super::{Bench, CoilRecord, ErrorBound, Faults};
use crate::job::NAME_LEN;
use crate::metal::{self, Temper};
use crate::time::Duration;
use crate::units::{Length, Turns};

/// The longest entry, in bytes.
pub const ENTRY_LEN: usize = 132;
/// The newest format version of entries: since then there are measured rings.
const FORMAT_VERSION: u8 = 3;
/// The format version of coils and ring counts, which has not changed: so an older program still reads them.
const COIL_FORM: u8 = 2;
#[cfg(feature = "link")]
/// The first version: its entries have no batch number.
const FIRST_FORM: u8 = 1;

/// Bytes before the event: the format version and the number.
const HEAD: usize = 5;

/// An entry as bytes.
pub type EntryBytes = Vec<u8, ENTRY_LEN>;
/// What happened as bytes.
pub type EventBytes = Vec<u8, { ENTRY_LEN - HEAD }>;

/// One entry of the log.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Entry {
    /// Higher than that of the entry before; on one counter never given twice.
    pub number: u32,
    /// What happened.
    pub event: LogEvent,
}

/// What is written down. Its order is its form: new ones come last.
#[derive(Debug, Clone, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(Serialize, Deserialize))]
pub enum LogEvent {
    /// A coil came off.
    Coil(CoilLog),
    /// Coils were sawn, and their rings counted.
    RingCount(RingCount),
    /// The inside diameter of a ring was measured.
    MeasuredRing(MeasuredRing),
}

/// A coil that came off, kept or not.
#[derive(Debug, Clone, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(Serialize, Deserialize))]
pub struct CoilLog {
    /// What it counts for its batch.
    pub counted: Counted,
    /// The job's name, as far as the counter holds it.
    pub name: String<NAME_LEN>,
    /// Turns at the target.
    pub target: Turns,
    /// Turns when it came off.
    pub turns: Turns,
    /// From its zero until it came off; from the last start of the counter, where that was in between.
    pub crank_time: Duration,
    /// How long the hand took to stop, if it was measured.
    pub stop_time: Option<Duration>,
    /// How far its count can be trusted.
    pub error_bound: ErrorBound,
    /// Impossible steps seen on it.
    pub illegal: u64,
    /// What was wrong.
    pub faults: Faults,
    /// When it came off, in seconds since 1970-01-01 UTC, if the counter's clock had been set.
    pub at: Option<u64>,
}

/// What a coil that came off counts for its batch.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(Serialize, Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Counted {
    /// The job's fingerprint ([`crate::job::Job::fingerprint`]).
    pub job: u32,
    /// The number of its batch ([`crate::job::Job::batch`]).
    pub batch: u32,
    /// Rings that it promises; none if it was thrown away.
    pub rings: u32,
    /// It was kept.
    pub kept: bool,
    /// Wire that it took.
    pub wire: Length,
}

/// Rings counted by the maker after sawing.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(Serialize, Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct RingCount {
    /// The job's fingerprint ([`crate::job::Job::fingerprint`]).
    pub job: u32,
    /// The number of its batch ([`crate::job::Job::batch`]).
    pub batch: u32,
    /// How many coils of that batch they came from: the last that were kept.
    pub coils: u32,
    /// Rings, the rejects not included.
    pub rings: u32,
    /// Rings that are no good.
    pub rejects: u32,
}

/// A ring that the maker measured after sawing, as cut and not closed.
#[derive(Debug, Clone, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(Serialize, Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct MeasuredRing {
    /// The job's fingerprint ([`crate::job::Job::fingerprint`]).
    pub job: u32,
    /// The number of its batch ([`crate::job::Job::batch`]).
    pub batch: u32,
    /// The inside diameter.
    pub inside: Length,
    /// The wire's diameter.
    pub diameter: Length,
    /// The mandrel's diameter.
    pub mandrel: Length,
    /// What wire it is, of a batch that was set up at the counter; of others the computer knows it.
    pub wire: Option<WireName>,
}

/// A metal in a temper, by name.
#[derive(Debug, Clone, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(Serialize, Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct WireName {
    /// The metal's listed name.
    pub metal: String<{ metal::NAME_LEN }>,
    /// Its temper.
    pub temper: Temper,
}

/// Why bytes are no entry.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum EntryError {
    /// They make no sense.
    Damaged,
    /// They were written by a newer firmware.
    Newer,
}

impl fmt::Display for EntryError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Damaged => "the entry cannot be read",
            Self::Newer => "the entry is by a newer firmware",
        })
    }
}

impl core::error::Error for EntryError {}

#[cfg(feature = "link")]
impl LogEvent {
    /// As bytes; every event fits.
    #[must_use]
    pub fn to_bytes(&self) -> EventBytes {
        let mut bytes = EventBytes::new();
        _ = bytes.resize_default(ENTRY_LEN - HEAD);
        let used = postcard::to_slice(self, &mut bytes).map_or(0, |used| used.len());
        bytes.truncate(used);
        bytes
    }
}

/// An entry of this number as bytes.
#[must_use]
pub fn entry_bytes(number: u32, event: &EventBytes) -> EntryBytes {
    // As long as they are together at most.
    let mut bytes = EntryBytes::new();
    let form = if matches!(event.first(), Some(0 | 1)) { COIL_FORM } else { FORMAT_VERSION };
    _ = bytes.push(form);
    _ = bytes.extend_from_slice(&number.to_le_bytes());
    _ = bytes.extend_from_slice(event);
    bytes
}

/// The number of an entry of any form.
#[must_use]
pub fn number_of(bytes: &[u8]) -> Option<u32> {
    bytes.get(1..HEAD)?.try_into().ok().map(u32::from_le_bytes)
}

/// What an entry changes of its batch.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Change {
    /// A coil came off.
    Coil(Counted),
    /// All coils kept so far of this batch have been sawn and counted.
    RingCount {
        /// The job's fingerprint.
        job: u32,
        /// The number of the batch.
        batch: u32,
    },
    /// A ring of this batch was measured.
    MeasuredRing {
        /// The job's fingerprint.
        job: u32,
        /// The number of the batch.
        batch: u32,
        /// The inside diameter.
        inside: Length,
    },
}

#[cfg(feature = "link")]
/// What an entry changes of its batch; `None` if it is of another form.
#[must_use]
pub fn change(bytes: &[u8]) -> Option<Change> {
    // The events in their order.
    match bytes.split_at_checked(HEAD)? {
        (&[COIL_FORM, ..], [0, coil @ ..]) => postcard::from_bytes(coil).ok().map(Change::Coil),
        (&[COIL_FORM, ..], [1, sawn @ ..]) => {
            postcard::from_bytes(sawn).ok().map(|(job, batch)| Change::RingCount { job, batch })
        }
        (&[FORMAT_VERSION, ..], [2, ring @ ..]) => {
            let change = |(job, batch, inside)| Change::MeasuredRing { job, batch, inside };
            postcard::from_bytes(ring).ok().map(change)
        }
        _ => None,
    }
}

#[cfg(feature = "link")]
/// An event of the first form as one of this form: the number of its batch, nought, goes in behind the job's
/// fingerprint, which every event begins with.
fn without_number(event: &[u8]) -> Option<EventBytes> {
    let job_ends = 2 + event.get(1..)?.iter().position(|byte| byte & 0x80 == 0)?;
    let (before, behind) = event.split_at_checked(job_ends)?;
    let mut bytes = EventBytes::new();
    bytes.extend_from_slice(before).ok()?;
    bytes.push(0).ok()?;
    bytes.extend_from_slice(behind).ok()?;
    Some(bytes)
}

#[cfg(feature = "link")]
impl Entry {
    /// From bytes.
    ///
    /// # Errors
    /// [`EntryError`] where they are not those of an entry.
    pub fn from_bytes(bytes: &[u8]) -> Result<Self, EntryError> {
        let number = number_of(bytes).ok_or(EntryError::Damaged)?;
        match bytes.split_at_checked(HEAD) {
            Some((&[COIL_FORM | FORMAT_VERSION, ..], event)) => {
                let event = postcard::from_bytes(event).map_err(|_| EntryError::Damaged)?;
                Ok(Self { number, event })
            }
            Some((&[FIRST_FORM, ..], event)) => {
                let event = without_number(event).ok_or(EntryError::Damaged)?;
                let event = postcard::from_bytes(&event).map_err(|_| EntryError::Damaged)?;
                Ok(Self { number, event })
            }
            Some((&[form, ..], _)) if form > FORMAT_VERSION => Err(EntryError::Newer),
            _ => Err(EntryError::Damaged),
        }
    }
}

impl Bench {
    /// What is to be written down of the coil of this record, which came off `at` (seconds since 1970).
    #[must_use]
    pub fn coil_log(&self, record: &CoilRecord, at: Option<u64>) -> Option<CoilLog> {
        let (job, fingerprint) = self.jobs.with_fingerprint(usize::from(record.job))?;
        let CoilRecord { rings, kept, wire, .. } = *record;
        Some(CoilLog {
            counted: Counted { job: fingerprint, batch: job.batch, rings, kept, wire },
            name: job.name.clone(),
            target: record.target_turns,
            turns: record.turns,
            crank_time: record.crank_time,
            stop_time: record.stop_time,
            error_bound: record.error_bound,
            illegal: record.illegal,
            faults: record.faults,
            at,
        })
    }

    /// Makes a change that was written down, and whose batch was not kept any more when the power went;
    /// one of a job that is not in the list changes nothing. For a counter that starts.
    pub fn catch_up(&mut self, change: &Change) {
        self.revise();
        match *change {
            Change::Coil(Counted { job, batch, rings, kept, wire }) => {
                self.jobs.count_logged(job, batch, kept, rings, wire);
            }
            Change::RingCount { job, batch } => self.jobs.forget_uncounted(job, batch),
            Change::MeasuredRing { job, batch, inside } => self.jobs.measure_logged(job, batch, inside),
        }
    }
}

#[cfg(all(test, feature = "link"))]
mod tests {
    use super::*;
    use crate::bench::Fault;

    fn longest() -> LogEvent {
        let mut faults = Faults::default();
        faults.insert(Fault::PowerCut);
        LogEvent::Coil(CoilLog {
            counted: Counted {
                job: u32::MAX,
                batch: u32::MAX,
                rings: u32::MAX,
                kept: true,
                wire: Length::from_nm(i64::MIN),
            },
            name: "twenty-four letters long".try_into().unwrap_or_default(),
            target: Turns::from_nano(i64::MIN),
            turns: Turns::from_nano(i64::MIN),
            crank_time: Duration::from_micros(u64::MAX),
            stop_time: Some(Duration::from_micros(u64::MAX)),
            error_bound: ErrorBound::Within(u64::MAX),
            illegal: u64::MAX,
            faults,
            at: Some(u64::MAX),
        })
    }

    /// The longest values there are fit, and come back.
    #[test]
    fn longest_entry_fits() {
        let bytes = entry_bytes(u32::MAX, &longest().to_bytes());
        assert!(bytes.len() > 120, "{}", bytes.len());
        assert_eq!(Entry::from_bytes(&bytes), Ok(Entry { number: u32::MAX, event: longest() }));
        assert_eq!(number_of(&bytes), Some(u32::MAX));
        let LogEvent::Coil(coil) = longest() else { return };
        assert_eq!(change(&bytes), Some(Change::Coil(coil.counted)));
        let sawn =
            LogEvent::RingCount(RingCount { job: 3, batch: 7, coils: 2, rings: 4, rejects: 5 }).to_bytes();
        assert_eq!(change(&entry_bytes(1, &sawn)), Some(Change::RingCount { job: 3, batch: 7 }));
        assert_eq!(change(&entry_bytes(1, &sawn)[..HEAD]), None);
    }

    /// Entries of the first form, written out by hand, are read as those of no number.
    #[test]
    fn first_form_is_read_without_a_number() {
        // The form, the number 9, the event, the job 300, the rings, ...
        let sawn = [FIRST_FORM, 9, 0, 0, 0, 1, 0xac, 2, 4, 50, 3];
        let event = LogEvent::RingCount(RingCount { job: 300, batch: 0, coils: 4, rings: 50, rejects: 3 });
        assert_eq!(Entry::from_bytes(&sawn), Ok(Entry { number: 9, event }));
        let coil = [FIRST_FORM, 1, 0, 0, 0, 0, 5, 48, 1, 20, 1, b'a', 2, 4, 6, 0, 0, 0, 0, 0, 0];
        let Ok(Entry { event: LogEvent::Coil(coil), .. }) = Entry::from_bytes(&coil) else {
            unreachable!("a coil");
        };
        let counted = Counted { job: 5, batch: 0, rings: 48, kept: true, wire: Length::from_nm(10) };
        assert_eq!(
            (coil.counted, coil.name.as_str(), coil.crank_time),
            (counted, "a", Duration::from_micros(6))
        );
        for cut in 0..sawn.len() {
            assert_eq!(Entry::from_bytes(&sawn[..cut]), Err(EntryError::Damaged), "{cut}");
        }
    }

    /// A newer format is distinguished from damage, and an entry that is cut short is none.
    #[test]
    fn other_forms_and_cut_entries_are_refused() {
        let mut bytes = entry_bytes(7, &longest().to_bytes());
        for cut in 0..bytes.len() {
            assert_eq!(Entry::from_bytes(&bytes[..cut]), Err(EntryError::Damaged), "{cut}");
        }
        bytes[0] = FORMAT_VERSION + 1;
        assert_eq!(Entry::from_bytes(&bytes), Err(EntryError::Newer));
        bytes[0] = 0;
        assert_eq!(Entry::from_bytes(&bytes), Err(EntryError::Damaged));
    }
}
