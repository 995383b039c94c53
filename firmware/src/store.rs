//! What is kept in flash over a power cut.
//!
//! | where | what | written |
//! | --- | --- | --- |
//! | [`Layout::records`] | settings, the batch of each job, where the next coil's notes go | with no coil on the mandrel |
//! | [`Layout::notes`] | the count in progress | while a coil turns, programs only |
//! | [`Layout::end`] | the log of coils | with no coil on the mandrel |
//!
//! All are maps of the library sequential-storage, which appends and checks each item. Nothing is left
//! to it that erases: see [`records`], [`notes`] and [`mod@log`], and [`guard`] for when the flash may be written.
//!
//! Everything has its format version with it. A newer firmware reads older versions; an older firmware leaves
//! a newer version alone and says so.

use core::fmt;
use core::ops::Range;
use core::task::Poll;

use embassy_futures::poll_once;
use embedded_storage::nor_flash::NorFlash as BlockingFlash;
use heapless::Vec;
use sequential_storage::cache::{Cache, Uncached};
use sequential_storage::map::{MapConfig, MapStorage};
use turntally_core::bench::log::{Change, EventBytes};
use turntally_core::bench::snapshot::{Batch, CoilNote, Since};
use turntally_core::bench::{Job, MAX_JOBS};
use turntally_core::link::job::{JobBytes, PlannedJob};
use turntally_core::settings::Settings;

pub mod guard;
pub mod log;
pub mod notes;
pub mod records;

use guard::{FlashError, Gate, Guard, SECTOR};
use log::Log;
use notes::Stretch;
use records::{Area, Newest, Record};

/// The format version that records are written in. Version 1 was never released.
const FORMAT_VERSION: u8 = 2;
/// The longest item, in bytes.
const RECORD_LEN: usize = 256;
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

impl From<sequential_storage::Error<FlashError>> for StoreError {
    fn from(error: sequential_storage::Error<FlashError>) -> Self {
        match error {
            sequential_storage::Error::Storage { value, .. } => Self::Flash(value),
            sequential_storage::Error::FullStorage | sequential_storage::Error::ItemTooBig => Self::Full,
            // Among them items longer than any that we write.
            _ => Self::Damaged,
        }
    }
}

/// What was found in flash at the start.
#[derive(Debug, Clone, Default)]
pub struct Kept {
    /// What was set at the counter.
    pub settings: Option<Settings>,
    /// The batches by their jobs.
    pub batches: [Option<Batch>; MAX_JOBS],
    /// The count of a coil, and how far it can be trusted.
    pub note: Option<(CoilNote, Since)>,
    /// What was written down last, and whose batch was not kept any more.
    pub changes: Vec<Change, CHANGES>,
    /// What could not be read.
    pub trouble: Option<StoreError>,
}

/// Something to be kept, as the counter hands it out.
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
    Fetched(u32),
}

type Map<'a, F, G> = MapStorage<u8, &'a mut Guard<F, G>, Cache<Uncached, Uncached, Uncached, u8>>;

/// The store.
#[derive(Debug)]
pub struct Store<F, G> {
    flash: Guard<F, G>,
    layout: Layout,
    buffer: [u8; RECORD_LEN],
    /// The records that are whole, once they have been looked for.
    area: Option<Area>,
    /// What is in it.
    newest: Newest,
    /// Where the notes of this coil, or the next, go.
    stretch: Option<Stretch>,
    /// Bytes that notes may still take.
    room: u32,
    /// Where the log is, once it has been looked for.
    log: Option<Log>,
}

impl<F: BlockingFlash, G: Gate> Store<F, G> {
    /// On this flash. The layout's borders must be whole sectors.
    pub const fn new(flash: F, gate: G, layout: Layout) -> Self {
        let flash = Guard::new(flash, gate);
        Self {
            flash,
            layout,
            buffer: [0; RECORD_LEN],
            area: None,
            newest: Newest::NONE,
            stretch: None,
            room: 0,
            log: None,
        }
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
    /// [`Bench::places`](turntally_core::bench::Bench::places)). Whatever cannot be read is left out, and
    /// said to be so.
    #[inline(never)] // As a part of its caller 368 bytes more.
    pub fn load(&mut self, jobs: usize) -> Kept {
        let mut kept = Kept::default();
        let mut counted = 0;
        match self.get(Record::Settings) {
            Ok(settings) => kept.settings = settings,
            Err(error) => kept.trouble = Some(error),
        }
        for (job, place) in (0_u8..).zip(kept.batches.iter_mut().take(jobs)) {
            match self.get_batch(job) {
                Ok(Some((batch, next))) => {
                    *place = Some(batch);
                    counted = next.max(counted);
                }
                Ok(None) => {}
                Err(error) => kept.trouble = Some(error),
            }
        }
        match self.changes_from(counted) {
            Ok(changes) => kept.changes = changes,
            Err(error) => kept.trouble = kept.trouble.or(Some(error)),
        }
        match self.load_note() {
            Ok(note) => kept.note = note,
            Err(error) => kept.trouble = kept.trouble.or(Some(error)),
        }
        kept
    }

    /// Does what the counter wants kept.
    ///
    /// # Errors
    /// Whatever kept it from being kept; what was there before is still there.
    #[inline(never)] // As a part of its caller 320 bytes more.
    pub fn save(&mut self, what: &Save) -> Result<(), StoreError> {
        match what {
            Save::Batch(job, batch) => {
                let next = self.log_next()?;
                self.put(Record::Batch(*job), &(batch, next))
            }
            Save::Settings(settings) => self.put(Record::Settings, settings),
            Save::Clear => self.clear_records(),
            Save::Room(notes) => self.make_room(*notes),
            Save::Note(note) => self.put_note(note),
            Save::LogRoom { leave } => self.make_log_room(*leave),
            Save::Job(place, job) => self.put_raw(Record::Job(*place), job),
            Save::Log(event) => self.put_entry(event),
            Save::Fetched(next) => self.set_fetched(*next),
        }
    }

    /// A batch, with the number of the first entry of the log that it does not count.
    fn get_batch(&mut self, job: u8) -> Result<Option<(Batch, u32)>, StoreError> {
        self.get(Record::Batch(job))
    }
}

/// Keeps an item in the map that lies in `range`.
fn store_item<F: BlockingFlash, G: Gate>(
    flash: &mut Guard<F, G>,
    range: Range<u32>,
    buffer: &mut [u8],
    key: u8,
    bytes: &[u8],
) -> Result<(), StoreError> {
    Ok(at_once(map(flash, range)?.store_item(buffer, &key, &bytes))??)
}

/// The newest item of that key in the map that lies in `range`.
fn fetch_item<'a, F: BlockingFlash, G: Gate>(
    flash: &mut Guard<F, G>,
    range: Range<u32>,
    buffer: &'a mut [u8],
    key: u8,
) -> Result<Option<&'a [u8]>, StoreError> {
    Ok(at_once(map(flash, range)?.fetch_item(buffer, &key))??)
}

/// Shows every item of the map that lies in `range`, older ones of a key before newer ones.
fn each_item<F: BlockingFlash, G: Gate>(
    flash: &mut Guard<F, G>,
    range: Range<u32>,
    buffer: &mut [u8],
    mut see: impl FnMut(u8, &[u8]),
) -> Result<(), StoreError> {
    let mut map = map(flash, range)?;
    let mut items = at_once(map.fetch_all_items(buffer))??;
    while let Some((key, bytes)) = at_once(items.next(buffer))?? {
        see(key, bytes);
    }
    Ok(())
}

fn map<F: BlockingFlash, G: Gate>(
    flash: &mut Guard<F, G>,
    range: Range<u32>,
) -> Result<Map<'_, F, G>, StoreError> {
    let config = MapConfig::try_new(range).map_err(|_| StoreError::Full)?;
    Ok(MapStorage::new(flash, config, Cache::new_uncached()))
}

/// What comes of a future that never has to wait, since the guard never makes it: without what it takes
/// to go on later, the library is half as large.
fn at_once<T>(future: impl Future<Output = T>) -> Result<T, StoreError> {
    match poll_once(future) {
        Poll::Ready(result) => Ok(result),
        Poll::Pending => Err(StoreError::Damaged),
    }
}
