//! What is kept in flash over a power cut.
//!
//! | where | what | written |
//! | --- | --- | --- |
//! | [`Layout::records`] | settings, the batch of each job, where the next coil's notes go | with no coil on the mandrel |
//! | [`Layout::notes`] | the count in progress | while a coil turns, programs only |
//!
//! The records are a map of the library sequential-storage, each kept twice under two keys, the newer
//! one with the higher number: one damaged copy leaves the other. The notes of a coil are a map of one
//! key in a stretch of sectors that was blank before the coil began ([`notes`]).
//!
//! A record starts with the number of its form. A newer firmware reads an older form; an older firmware
//! leaves a newer form alone and says so.

use core::fmt;

use embedded_storage::nor_flash::NorFlash as BlockingFlash;
use sequential_storage::cache::{Cache, Uncached};
use sequential_storage::map::{MapConfig, MapStorage};
use serde::Serialize;
use serde::de::DeserializeOwned;
use turntally_core::bench::MAX_JOBS;
use turntally_core::bench::snapshot::{Batch, CoilNote, Since};

pub mod guard;
pub mod notes;

use guard::{FlashError, Gate, Guard, SECTOR};
use notes::Stretch;

/// The form that records have now.
const FORM: u8 = 1;
/// The longest record, in bytes, as it stands in flash.
pub const RECORD_LEN: usize = 256;

/// Where in the flash things are, in bytes from its start.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Layout {
    /// First byte of the records.
    pub records: u32,
    /// First byte of the notes, and end of the records.
    pub notes: u32,
    /// End of the notes.
    pub end: u32,
}

impl Layout {
    /// On a flash of 2 MiB whose first 128 KiB hold the program: 8 sectors of records and 256 of notes.
    /// What is above is left for a log.
    pub const PICO: Self =
        Self { records: 128 * 1_024, notes: 128 * 1_024 + 8 * SECTOR, end: 128 * 1_024 + (8 + 256) * SECTOR };
}

/// What can be kept.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Record {
    /// The settings.
    Settings,
    /// The batch of the job at this place in the list.
    Batch(u8),
    /// Where the notes of the next coil go.
    Stretch,
}

impl Record {
    /// The keys of its two copies.
    const fn keys(self) -> [u8; 2] {
        let number = match self {
            Self::Settings => 0,
            Self::Stretch => 1,
            Self::Batch(job) => 2 + job % MAX_JOBS as u8,
        };
        [2 * number, 2 * number + 1]
    }
}

/// Why something was not kept or not found again.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum StoreError {
    /// The flash itself.
    Flash(FlashError),
    /// It holds what cannot be read.
    Damaged,
    /// It was written by a newer firmware.
    Newer,
    /// There is no room for it.
    Full,
}

impl fmt::Display for StoreError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Flash(error) => error.fmt(f),
            Self::Damaged => f.write_str("Flash cannot be read"),
            Self::Newer => f.write_str("By a newer firmware"),
            Self::Full => f.write_str("No room left in flash"),
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
            sequential_storage::Error::FullStorage
            | sequential_storage::Error::BufferTooSmall(_)
            | sequential_storage::Error::ItemTooBig => Self::Full,
            _ => Self::Damaged,
        }
    }
}

/// What was found in flash at the start.
#[derive(Debug, Clone, Default)]
pub struct Kept {
    /// The batches by their jobs.
    pub batches: [Option<Batch>; MAX_JOBS],
    /// The count of a coil, and how far it can be trusted.
    pub note: Option<(CoilNote, Since)>,
    /// What could not be read.
    pub trouble: Option<StoreError>,
}

/// Something to be kept, as the counter hands it out.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Save {
    /// What has been made of the job at this place.
    Batch(u8, Batch),
    /// Nothing: the records, which cannot be read, are to be made blank.
    Clear,
    /// Room for the notes of a coil: so many of them.
    Room(u32),
    /// The count in progress.
    Note(CoilNote),
}

type Map<'a, F, G> = MapStorage<u8, &'a mut Guard<F, G>, Cache<Uncached, Uncached, Uncached, u8>>;

/// The store.
#[derive(Debug)]
pub struct Store<F, G> {
    flash: Guard<F, G>,
    layout: Layout,
    buffer: [u8; RECORD_LEN],
    /// Where the notes of this coil, or the next, go.
    stretch: Option<Stretch>,
    /// Bytes that notes may still take.
    room: u32,
}

impl<F: BlockingFlash, G: Gate> Store<F, G> {
    /// On this flash. The layout's borders must be whole sectors.
    pub const fn new(flash: F, gate: G, layout: Layout) -> Self {
        let flash = Guard::new(flash, gate);
        Self { flash, layout, buffer: [0; RECORD_LEN], stretch: None, room: 0 }
    }

    /// The flash inside.
    pub const fn flash(&mut self) -> &mut F {
        self.flash.flash()
    }

    /// Reads everything. Whatever cannot be read is left out, and said to be so.
    pub async fn load(&mut self) -> Kept {
        let mut kept = Kept::default();
        for (job, place) in (0_u8..).zip(&mut kept.batches) {
            match self.get(Record::Batch(job)).await {
                Ok(batch) => *place = batch,
                Err(error) => kept.trouble = Some(error),
            }
        }
        match self.load_note().await {
            Ok(note) => kept.note = note,
            Err(error) => kept.trouble = kept.trouble.or(Some(error)),
        }
        kept
    }

    /// Does what the counter wants kept.
    ///
    /// # Errors
    /// Whatever kept it from being kept; what was there before is still there.
    pub async fn save(&mut self, what: &Save) -> Result<(), StoreError> {
        match what {
            Save::Batch(job, batch) => self.put(Record::Batch(*job), batch).await,
            Save::Clear => self.clear_records(),
            Save::Room(notes) => self.make_room(*notes).await,
            Save::Note(note) => self.put_note(note).await,
        }
    }

    fn clear_records(&mut self) -> Result<(), StoreError> {
        for sector in (self.layout.records..self.layout.notes).step_by(SECTOR as usize) {
            self.flash.make_blank(sector)?;
        }
        Ok(())
    }

    /// Keeps a record.
    ///
    /// # Errors
    /// Whatever kept it from being kept; the one before is then still there.
    pub async fn put<T: Serialize>(&mut self, record: Record, value: &T) -> Result<(), StoreError> {
        let number = self.newest(record).await?.map_or(0, |(number, _)| number.wrapping_add(1));
        // Room for the key and for what the library puts around it.
        let mut bytes = [0; RECORD_LEN - 16];
        let (form, rest) = bytes.split_first_mut().ok_or(StoreError::Full)?;
        *form = FORM;
        let used = postcard::to_slice(&(number, value), rest).map_err(|_| StoreError::Full)?.len();
        let bytes = bytes.get(..=used).unwrap_or_default();
        for key in record.keys() {
            let range = self.layout.records..self.layout.notes;
            map(&mut self.flash, range)?.store_item(&mut self.buffer, &key, &bytes).await?;
        }
        Ok(())
    }

    /// Reads a record: the newer of its copies, or the one that is left.
    ///
    /// # Errors
    /// [`StoreError::Damaged`] where it cannot be read; [`StoreError::Newer`] where it was written by a
    /// newer firmware.
    pub async fn get<T: DeserializeOwned>(&mut self, record: Record) -> Result<Option<T>, StoreError> {
        let Some((_, key)) = self.newest(record).await? else { return Ok(None) };
        let Some(bytes) = self.fetch(key).await? else { return Ok(None) };
        let (_, value) = read::<(u32, T)>(bytes)?;
        Ok(Some(value))
    }

    /// The number and the key of the newer copy.
    async fn newest(&mut self, record: Record) -> Result<Option<(u32, u8)>, StoreError> {
        let mut newest: Option<(u32, u8)> = None;
        for key in record.keys() {
            let Some(bytes) = self.fetch(key).await? else { continue };
            let number = read::<u32>(bytes)?;
            // Numbers go round after four thousand million: the newer one is the one just ahead.
            if newest.is_none_or(|(other, _)| number.wrapping_sub(other) < u32::MAX / 2) {
                newest = Some((number, key));
            }
        }
        Ok(newest)
    }

    async fn fetch(&mut self, key: u8) -> Result<Option<&[u8]>, StoreError> {
        let range = self.layout.records..self.layout.notes;
        Ok(map(&mut self.flash, range)?.fetch_item(&mut self.buffer, &key).await?)
    }
}

/// Reads what stands behind the form; bytes behind that are left.
fn read<T: DeserializeOwned>(bytes: &[u8]) -> Result<T, StoreError> {
    match bytes.split_first() {
        Some((&FORM, rest)) => {
            postcard::take_from_bytes(rest).map(|(value, _)| value).map_err(|_| StoreError::Damaged)
        }
        Some((form, _)) if *form > FORM => Err(StoreError::Newer),
        _ => Err(StoreError::Damaged),
    }
}

fn map<F: BlockingFlash, G: Gate>(
    flash: &mut Guard<F, G>,
    range: core::ops::Range<u32>,
) -> Result<Map<'_, F, G>, StoreError> {
    let config = MapConfig::try_new(range).map_err(|_| StoreError::Full)?;
    Ok(MapStorage::new(flash, config, Cache::new_uncached()))
}
