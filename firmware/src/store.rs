//! What is kept in flash over a power cut.
//!
//! | where | what | written |
//! | --- | --- | --- |
//! | [`Layout::records`] | settings, jobs, the batch of each job | with no coil on the mandrel |
//! | [`Layout::notes`] | the count in progress | while a coil turns, programs only |
//! | [`Layout::end`] | the log of coils | with no coil on the mandrel |
//!
//! All consist of [`items`], each with its own check. See [`records`], [`notes`] and [`mod@log`] for where they go, and
//! [`guard`] for when the flash may be written. None of the three needs another one: where one fails, the others go on.
//!
//! Everything has its format version with it. A newer firmware reads older versions; an older firmware leaves
//! a newer version alone and says so.

use core::fmt;

use embedded_storage::nor_flash::NorFlash as BlockingFlash;
use heapless::Vec;
use turntally_core::bench::log::{Change, EntryBytes, EventBytes};
use turntally_core::bench::snapshot::{CoilNote, Since};
use turntally_core::job::Job;
use turntally_core::job_list::Batch;
use turntally_core::job_list::MAX_JOBS;
use turntally_core::link::job::{JobBytes, PlannedJob};
use turntally_core::settings::Settings;

pub mod guard;
pub mod items;
pub mod log;
pub mod notes;
pub mod records;

use guard::{FlashError, Gate, Guard, SECTOR};
use log::Log;
use notes::Notes;
use records::{Record, Records};

/// The format version that records are written in. Version 1 was never released; in version 2 a batch had no measured
/// ring.
const FORMAT_VERSION: u8 = 3;
/// Entries of the log that may be ahead of their batch: what came off, and what was counted, while the store
/// was making room.
pub const CHANGES: usize = 4;

/// Where in the flash things are, in bytes from its start.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Layout {
    /// First byte of the records.
    pub records: u32,
    /// First byte of the notes, and end of the records.
    pub notes: u32,
    /// End of the notes, and first byte of the log.
    pub end: u32,
    /// End of the log.
    pub log_end: u32,
}

impl Layout {
    /// On a flash of 2 MiB whose first 512 KiB hold the program: 32 sectors of records, 192 of notes, and
    /// 160 of the log.
    pub const PICO: Self = Self {
        records: 512 * 1_024,
        notes: 512 * 1_024 + 32 * SECTOR,
        end: 512 * 1_024 + (32 + 192) * SECTOR,
        log_end: 2_048 * 1_024,
    };
}

/// Why something was not kept or not found again.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum StoreError {
    /// The flash itself.
    Flash(FlashError),
    /// The records cannot be read.
    Damaged,
    /// A coil was begun, and none of its notes can be read.
    NoteDamaged,
    /// It was written by a newer firmware.
    Newer,
    /// There is no room for it.
    Full,
    /// There is no room for an entry of the log but where one stands that has not been fetched.
    LogFull,
}

impl fmt::Display for StoreError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Flash(error) => error.fmt(f),
            Self::Damaged => f.write_str("Flash cannot be read"),
            Self::NoteDamaged => f.write_str("Coil count cannot be read"),
            Self::Newer => f.write_str("By a newer firmware"),
            Self::Full => f.write_str("No room left in flash"),
            Self::LogFull => f.write_str("Oldest not fetched yet"),
        }
    }
}

impl core::error::Error for StoreError {}

impl From<FlashError> for StoreError {
    fn from(error: FlashError) -> Self {
        Self::Flash(error)
    }
}

/// What was found in the log from some number on: an entry and its number.
pub type FoundEntry = Result<Option<(u32, EntryBytes)>, StoreError>;

/// What was found in flash at the start.
#[derive(Debug, Clone, Default)]
pub struct SavedState {
    /// What was set at the counter.
    pub settings: Option<Settings>,
    /// The batches by their jobs.
    pub batches: [Option<Batch>; MAX_JOBS],
    /// The count of a coil, and how far it can be trusted.
    pub note: Option<(CoilNote, Since)>,
    /// What was written down last, and whose batch was not kept any more.
    pub changes: Vec<Change, CHANGES>,
    /// What could not be read.
    pub notice: Option<StoreError>,
}

/// Something to be saved, as the counter returns it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Save {
    /// What was set at the counter.
    Settings(Settings),
    /// What has been made of the job at this place.
    Batch(u8, Batch),
    /// Nothing: the records, which cannot be read, are to be made blank.
    Clear,
    /// Room for the notes of a coil: so many of them.
    Room(u32),
    /// The count in progress.
    Note(CoilNote),
    /// Nothing: room in the log for an entry.
    LogRoom {
        /// The user knows that entries may go that have not been fetched.
        leave: bool,
    },
    /// The job at this place of the list, which came over the link.
    Job(u8, JobBytes),
    /// An entry of the log.
    Log(EventBytes),
    /// Every entry of the log below this number is safe elsewhere.
    Acknowledged(u32),
}

/// The store.
#[derive(Debug)]
pub struct Store<F, G> {
    flash: Guard<F, G>,
    layout: Layout,
    /// The newest of each, and where the next goes.
    records: Records,
    /// Where the notes of this coil, or the next, go.
    notes: Notes,
    /// Where the log is, once it has been looked for.
    log: Option<Log>,
}

impl<F: BlockingFlash, G: Gate> Store<F, G> {
    /// On this flash. The layout's borders must be whole sectors.
    pub const fn new(flash: F, gate: G, layout: Layout) -> Self {
        let flash = Guard::new(flash, gate);
        Self { flash, layout, records: Records::UNKNOWN, notes: Notes::UNKNOWN, log: None }
    }

    /// The flash inside.
    pub const fn flash(&mut self) -> &mut F {
        self.flash.flash()
    }

    /// The job at this place of the list that came over the link, if there is one that can be read.
    pub fn load_job(&mut self, place: u8) -> Option<Job> {
        let job = self.get_with(Record::Job(place), |_, bytes| PlannedJob::from_bytes(bytes).ok());
        job.ok()??.rebuilt().ok()
    }

    /// Reads everything but the jobs, with the batches of `jobs` jobs (see
    /// [`JobList::places`](turntally_core::job_list::JobList::places)). Whatever cannot be read is left out, and
    /// marked as lost.
    pub fn load(&mut self, jobs: usize) -> SavedState {
        let mut kept = SavedState::default();
        let mut counted = 0;
        match self.get(Record::Settings) {
            Ok(settings) => kept.settings = settings,
            Err(error) => kept.notice = Some(error),
        }
        for (job, place) in (0_u8..).zip(kept.batches.iter_mut().take(jobs)) {
            match self.get_batch(job) {
                Ok(Some((batch, next))) => {
                    *place = Some(batch);
                    counted = next.max(counted);
                }
                Ok(None) => {}
                Err(error) => kept.notice = Some(error),
            }
        }
        match self.changes_from(counted) {
            Ok(changes) => kept.changes = changes,
            Err(error) => kept.notice = kept.notice.or(Some(error)),
        }
        match self.load_note() {
            Ok(note) => kept.note = note,
            Err(error) => kept.notice = kept.notice.or(Some(error)),
        }
        kept
    }

    /// Does what the counter wants kept.
    ///
    /// # Errors
    /// Whatever kept it from being kept; what was there before is still there.
    pub fn save(&mut self, what: &Save) -> Result<(), StoreError> {
        match what {
            Save::Batch(job, batch) => {
                let next = self.log_next()?;
                self.put(Record::Batch(*job), &(batch, next, batch.ring))
            }
            Save::Settings(settings) => self.put(Record::Settings, settings),
            Save::Clear => self.clear_records(),
            Save::Room(notes) => self.make_room(*notes),
            Save::Note(note) => self.put_note(note),
            Save::LogRoom { leave } => self.make_log_room(*leave),
            Save::Job(place, job) => self.put_raw(Record::Job(*place), job),
            Save::Log(event) => self.put_entry(event),
            Save::Acknowledged(next) => self.set_acknowledged(*next),
        }
    }

    /// A flash that a newer firmware has written to is not written to.
    fn leave_newer_alone(&mut self) -> Result<(), StoreError> {
        match self.find_records() {
            Err(StoreError::Newer) => Err(StoreError::Newer),
            _ => Ok(()),
        }
    }

    /// A batch, with the number of the first entry of the log that it does not count.
    fn get_batch(&mut self, job: u8) -> Result<Option<(Batch, u32)>, StoreError> {
        self.get_with(Record::Batch(job), |version, bytes| {
            let ((mut batch, next), ring) = postcard::take_from_bytes::<(Batch, u32)>(bytes).ok()?;
            if version >= 3 {
                batch.ring = postcard::from_bytes(ring).ok()?;
            }
            Some((batch, next))
        })
    }
}
