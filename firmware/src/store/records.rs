//! Settings, batches and the like: few things, seldom written, each kept twice.
//!
//! Records are written one behind the other, sector by sector, round the whole region. A sector is erased only when
//! none of the newest records stands in it; one that does not become blank is passed over, and is tried again in
//! the next round. So that records that are seldom written do not keep sectors from being used, the oldest of them
//! are written anew whenever a sector is begun.
//!
//! An item is the format version, the record's number, a rank that rises each time, and the value. The highest rank
//! of each record is the newest; both copies have the same. A record of which only one copy is found at the start is
//! written anew before anything relies on it: the power went while it was written, and it may not be there the next
//! time (see [`super::items`]).
//!
//! The newest of each is held in RAM from the start on: nothing is looked for in flash later.

use core::ops::Range;

use embedded_storage::nor_flash::NorFlash as BlockingFlash;
use heapless::Vec;
use serde::Serialize;
use serde::de::DeserializeOwned;
use turntally_core::job_list::MAX_JOBS;

use super::guard::{FlashError, Gate, SECTOR};
use super::items::{self, Cursor, Walk, sector_of, taken, torn, void, walk};
use super::{FORMAT_VERSION, Store, StoreError};

/// Bytes before a record's value: format version, number of the record, rank.
const HEAD: usize = 6;
/// The longest record with those before it, in bytes.
const RECORD_LEN: usize = 160;
const _: () = assert!(RECORD_LEN <= items::VALUE_LEN);
/// What the longest takes in flash.
const MOST: u32 = taken(RECORD_LEN);
/// Records that are written anew when a sector is begun. Twice so many fit a sector for certain.
const RENEWED: usize = 8;
const _: () = assert!(2 * RENEWED as u32 * MOST <= SECTOR);

/// What can be kept.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Record {
    /// The settings.
    Settings,
    /// The batch of the job at this place in the list.
    Batch(u8),
    /// Up to where the log has been acknowledged.
    Acknowledged,
    /// The job at this place of the list, which came over the link.
    Job(u8),
    /// The first entry of the log that is not about to be overwritten.
    Oldest,
}

/// The first number of [`Record::Batch`], that of [`Record::Job`], and that of [`Record::Oldest`].
const BATCHES: u8 = 2;
const JOBS: u8 = BATCHES + MAX_JOBS as u8;
const OLDEST: u8 = JOBS + MAX_JOBS as u8;
const RECORDS: usize = OLDEST as usize + 1;

impl Record {
    const fn number(self) -> u8 {
        match self {
            Self::Settings => 0,
            Self::Acknowledged => 1,
            Self::Batch(job) => BATCHES + job % MAX_JOBS as u8,
            Self::Job(job) => JOBS + job % MAX_JOBS as u8,
            Self::Oldest => OLDEST,
        }
    }
}

/// The value of an item that holds a record, as a firmware of this format version writes it.
#[must_use]
pub fn value_of(version: u8, record: Record, rank: u32, value: &[u8]) -> Option<Vec<u8, RECORD_LEN>> {
    let mut bytes = Vec::new();
    bytes.extend_from_slice(&[version, record.number()]).ok()?;
    bytes.extend_from_slice(&rank.to_le_bytes()).ok()?;
    bytes.extend_from_slice(value).ok()?;
    Some(bytes)
}

/// Each record is there so many times.
const COPIES: usize = 2;

/// The newest of a record.
#[derive(Debug)]
struct Newest {
    /// With what stands before the value; empty where there is none.
    bytes: Vec<u8, RECORD_LEN>,
    /// The sectors of its copies, by their first byte.
    sectors: Vec<u32, COPIES>,
}

impl Newest {
    const NONE: Self = Self { bytes: Vec::new(), sectors: Vec::new() };

    fn rank(&self) -> Option<u32> {
        rank(&self.bytes)
    }

    fn see(&mut self, at: u32, bytes: &[u8]) {
        if self.rank() != rank(bytes) {
            self.bytes.clear();
            self.sectors.clear();
            _ = self.bytes.extend_from_slice(bytes);
        }
        // More copies than two are of no use, nor do they exist.
        _ = self.sectors.push(sector_of(at));
    }
}

/// The records, once they have been looked for.
#[derive(Debug)]
pub(super) struct Records {
    found: bool,
    newest: [Newest; RECORDS],
    /// The highest rank of all.
    rank: u32,
    /// Where the next goes; none where none of the sectors is known to be blank.
    cursor: Option<Cursor>,
    /// A sector has been begun: the oldest are to be written anew.
    begun: bool,
}

impl Records {
    pub(super) const UNKNOWN: Self =
        Self { found: false, newest: [const { Newest::NONE }; RECORDS], rank: 0, cursor: None, begun: false };

    fn of(&self, record: Record) -> &[u8] {
        self.newest.get(usize::from(record.number())).map_or(&[], |newest| &newest.bytes)
    }

    /// Whether a sector holds what is the newest of a record.
    fn lives_in(&self, sector: u32) -> bool {
        self.newest.iter().any(|newest| newest.sectors.contains(&sector))
    }

    /// The record that was written longest ago, among those that are not all in this sector.
    fn oldest_outside(&self, sector: u32) -> Option<usize> {
        let outside = |newest: &Newest| newest.sectors.iter().any(|&of| of != sector);
        let age = |newest: &Newest| newest.rank().map_or(0, |rank| self.rank.wrapping_sub(rank));
        let all = self.newest.iter().enumerate().filter(|(_, newest)| outside(newest));
        all.max_by_key(|(_, newest)| age(newest)).map(|(place, _)| place)
    }
}

impl<F: BlockingFlash, G: Gate> Store<F, G> {
    /// Keeps a record.
    ///
    /// # Errors
    /// Whatever kept it from being kept; the one before is then still there.
    pub fn put<T: Serialize>(&mut self, record: Record, value: &T) -> Result<(), StoreError> {
        let mut bytes = [0; RECORD_LEN - HEAD];
        let value = postcard::to_slice(value, &mut bytes).map_err(|_| StoreError::Full)?;
        self.put_raw(record, value)
    }

    /// Keeps a record whose value is bytes already.
    pub(super) fn put_raw(&mut self, record: Record, value: &[u8]) -> Result<(), StoreError> {
        self.find_records()?;
        self.write(record.number().into(), |rank| value_of(FORMAT_VERSION, record, rank, value))?;
        // What one of them leaves is seen by the next: one that fails keeps its older copies.
        for _ in 0..COPIES * RENEWED {
            if !core::mem::take(&mut self.records.begun) {
                break;
            }
            self.renew_oldest();
        }
        Ok(())
    }

    /// Reads a record: the newest of its copies.
    ///
    /// # Errors
    /// [`StoreError::Damaged`] where it cannot be read; [`StoreError::Newer`] where it was written by a
    /// newer firmware.
    pub fn get<T: DeserializeOwned>(&mut self, record: Record) -> Result<Option<T>, StoreError> {
        self.get_with(record, |_, bytes| postcard::from_bytes(bytes).ok())
    }

    /// Reads a record with `read`, which gets the format version that it was written in and its bytes: so that
    /// records of an older version can be read.
    ///
    /// # Errors
    /// As [`Self::get`]; [`StoreError::Damaged`] where `read` makes nothing of it.
    pub fn get_with<T>(
        &mut self,
        record: Record,
        read: impl FnOnce(u8, &[u8]) -> Option<T>,
    ) -> Result<Option<T>, StoreError> {
        self.find_records()?;
        match self.records.of(record).split_at_checked(HEAD) {
            Some((&[version, ..], value)) => read(version, value).map(Some).ok_or(StoreError::Damaged),
            _ => Ok(None),
        }
    }

    /// Makes the records blank. Sectors that do not become blank are passed over as long as there is another.
    pub(super) fn clear_records(&mut self) -> Result<(), StoreError> {
        self.records = Records { found: true, ..Records::UNKNOWN };
        let mut result = Err(StoreError::Full);
        for sector in self.record_sectors() {
            match self.flash.make_blank(sector) {
                Ok(()) => result = Ok(()),
                Err(error) => result = result.or(Err(error.into())),
            }
        }
        result
    }

    fn record_sectors(&self) -> impl Iterator<Item = u32> + use<F, G> {
        (self.layout.records..self.layout.notes).step_by(SECTOR as usize)
    }

    /// Looks for the newest of each record.
    ///
    /// # Errors
    /// [`StoreError::Damaged`] where there is something, and none is a record; [`StoreError::Newer`] where a
    /// newer firmware wrote one.
    pub(super) fn find_records(&mut self) -> Result<(), StoreError> {
        if self.records.found {
            return Ok(());
        }
        let range = self.layout.records..self.layout.notes;
        let mut records = Records::UNKNOWN;
        let mut last: Option<Range<u32>> = None;
        let mut newer = false;
        walk(
            &mut self.flash,
            range.clone(),
            |_| true,
            |at, bytes| {
                let (Some(rank), Some(&[version, number])) = (rank(bytes), bytes.first_chunk()) else {
                    return Walk::On;
                };
                newer |= version > FORMAT_VERSION;
                if last.is_none() || is_newer(rank, records.rank) {
                    records.rank = rank;
                    last = Some(at..at + taken(bytes.len()));
                }
                if let Some(newest) = records.newest.get_mut(usize::from(number))
                    && bytes.len() <= RECORD_LEN
                    && newest.rank().is_none_or(|before| is_newer(rank, before))
                {
                    newest.see(at, bytes);
                }
                Walk::On
            },
        )?;
        if newer {
            return Err(StoreError::Newer);
        }
        match last {
            Some(last) => {
                let end = sector_of(last.start) + SECTOR;
                let behind = self.flash.last_used(last.end.min(end), end)?;
                records.cursor = Some(match behind {
                    Some(behind) => {
                        let torn = torn(last.end, behind, end, MOST);
                        void(&mut self.flash, torn.clone())?;
                        Cursor::after_start(torn.end, end)
                    }
                    None => Cursor::after_start(last.end, end),
                });
            }
            None => {
                // The first that was ever written may be torn: then nothing is lost.
                let begun = self.flash.last_used(range.start, range.end)?;
                if begun.is_some_and(|last| last >= range.start + MOST) {
                    return Err(StoreError::Damaged);
                }
                if begun.is_none() {
                    // It is as it was made; what may have been begun there does not show.
                    let end = range.end.min(range.start + SECTOR);
                    records.cursor = (range.start < end).then(|| Cursor::after_start(range.start, end));
                } else {
                    void(&mut self.flash, range.start..range.start + MOST)?;
                }
            }
        }
        records.found = true;
        self.records = records;
        self.renew_lone();
        Ok(())
    }

    /// Writes records anew of which one copy is missing.
    fn renew_lone(&mut self) {
        for place in 0..RECORDS {
            let lone = |newest: &Newest| newest.rank().is_some() && newest.sectors.len() < COPIES;
            if self.records.newest.get(place).is_some_and(lone) {
                // Where that cannot be, the one copy is still there.
                _ = self.rewrite(place);
            }
        }
    }

    /// Writes those anew that were written longest ago, so that their sectors can be used.
    fn renew_oldest(&mut self) {
        for _ in 0..RENEWED {
            let Some(cursor) = self.records.cursor else { return };
            let Some(place) = self.records.oldest_outside(sector_of(cursor.next.saturating_sub(1))) else {
                return;
            };
            if self.rewrite(place).is_err() {
                return;
            }
        }
    }

    fn rewrite(&mut self, place: usize) -> Result<(), StoreError> {
        let bytes = self.records.newest.get(place).map(|newest| newest.bytes.clone()).unwrap_or_default();
        self.write(place, |rank| {
            let mut bytes = bytes;
            bytes.get_mut(2..HEAD)?.copy_from_slice(&rank.to_le_bytes());
            Some(bytes)
        })
    }

    /// Writes both copies.
    fn write(
        &mut self,
        place: usize,
        value: impl FnOnce(u32) -> Option<Vec<u8, RECORD_LEN>>,
    ) -> Result<(), StoreError> {
        let rank = self.records.rank.wrapping_add(1);
        let bytes = value(rank).ok_or(StoreError::Full)?;
        // Used up, whether it is written or not.
        self.records.rank = rank;
        let mut written = Newest { bytes, sectors: Vec::new() };
        for _ in 0..COPIES {
            match self.append(&written.bytes) {
                Ok(at) => _ = written.sectors.push(sector_of(at)),
                Err(error) if written.sectors.is_empty() => return Err(error),
                // One copy is there, and will be found: it is the newest.
                Err(_) => break,
            }
        }
        if let Some(newest) = self.records.newest.get_mut(place) {
            *newest = written;
        }
        Ok(())
    }

    fn append(&mut self, bytes: &[u8]) -> Result<u32, StoreError> {
        let mut last = StoreError::Full;
        for _ in 0..=self.record_sectors().count() {
            if let Some(cursor) = &mut self.records.cursor {
                match cursor.append(&mut self.flash, bytes, MOST) {
                    Ok(at) => return Ok(at),
                    Err(StoreError::Full) => {}
                    Err(error @ StoreError::Flash(FlashError::NotWritten)) => last = error,
                    Err(error) => return Err(error),
                }
            }
            self.begin_sector().map_err(|error| if error == StoreError::Full { last } else { error })?;
        }
        Err(last)
    }

    /// Goes on to the next sector that becomes blank and holds nothing that is needed.
    fn begin_sector(&mut self) -> Result<(), StoreError> {
        let first = self.layout.records;
        let all = self.layout.notes.saturating_sub(first) / SECTOR;
        let now = self.records.cursor.map(|cursor| (sector_of(cursor.end - 1) - first) / SECTOR);
        let mut result = Err(StoreError::Full);
        // The one that is full may hold the first copy of what is being written.
        for step in 1..all + u32::from(now.is_none()) {
            let sector = first + now.map_or(step - 1, |now| (now + step) % all) * SECTOR;
            if self.records.lives_in(sector) {
                continue;
            }
            match self.flash.make_blank(sector) {
                Ok(()) => {
                    self.records.cursor = Some(Cursor::fresh(sector..sector + SECTOR));
                    self.records.begun = true;
                    return Ok(());
                }
                Err(error @ FlashError::NotErased) => result = Err(error.into()),
                Err(error) => return Err(error.into()),
            }
        }
        result
    }
}

/// The rank of a record of whatever format version: it stands at the same place in all.
fn rank(bytes: &[u8]) -> Option<u32> {
    bytes.get(2..)?.first_chunk().copied().map(u32::from_le_bytes)
}

/// Whether a rank is as high as another one, or higher: they go round after four thousand million, and the
/// higher one is the one just ahead.
const fn is_newer(rank: u32, other: u32) -> bool {
    rank.wrapping_sub(other) < u32::MAX / 2
}
