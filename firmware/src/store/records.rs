//! Settings, batches and the like: few things, seldom written, each kept twice.
//!
//! They lie in one of two areas. When it is full, the other is made blank, everything is copied there,
//! and last of all it is marked as complete, with a number higher by one: whenever the power goes, one
//! area is whole, and nothing ever depends on a sector that was left half erased. (The library can
//! reclaim sectors by itself, but takes one that reads as half written after a torn erase for its own.)
//!
//! An item is its format version, a number that rises each time, and the value. Of the two copies
//! the one with the higher number counts, so that a damaged one leaves the other.
//!
//! The newest of each is held in RAM from the start on: to look for one in flash walks through all that was
//! ever written to its area, which takes the Pico 6 ms, and the start of the counter would wait for it some
//! sixty times.

use core::ops::Range;

use embedded_storage::nor_flash::NorFlash as BlockingFlash;
use heapless::Vec;
use serde::Serialize;
use serde::de::DeserializeOwned;
use turntally_core::bench::MAX_JOBS;

use super::guard::{FlashError, Gate, SECTOR};
use super::{FORMAT_VERSION, RECORD_LEN, Store, StoreError, each_item, store_item};

/// Bytes before a record's value: its format version and its number.
const HEAD: usize = 5;
/// The longest record with its format version and number, in bytes.
const VALUE_LEN: usize = 160;
/// Bytes that the library and the key take beside it.
const AROUND: u32 = 9;
/// What fits a sector for certain: the library marks its first and last byte, and no record is split.
const SECTOR_ROOM: u32 = SECTOR - 2 - AROUND - VALUE_LEN as u32;

/// What can be kept.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Record {
    /// The settings.
    Settings,
    /// The batch of the job at this place in the list.
    Batch(u8),
    /// Where the notes of the next coil go.
    Stretch,
    /// The area holds everything; its number is that of the area.
    Complete,
    /// Where the log is.
    Log,
    /// The job at this place of the list, which came over the link.
    Job(u8),
}

/// The first number of [`Record::Batch`], and that of [`Record::Complete`].
const BATCHES: u8 = 2;
const COMPLETE: u8 = BATCHES + MAX_JOBS as u8;
/// The numbers of all records.
const NUMBERS: Range<u8> = 0..COMPLETE + 2 + MAX_JOBS as u8;
const RECORDS: usize = NUMBERS.end as usize;

impl Record {
    const fn number(self) -> u8 {
        match self {
            Self::Settings => 0,
            Self::Stretch => 1,
            Self::Batch(job) => BATCHES + job % MAX_JOBS as u8,
            Self::Complete => COMPLETE,
            Self::Log => COMPLETE + 1,
            Self::Job(job) => COMPLETE + 2 + job % MAX_JOBS as u8,
        }
    }
}

/// Each record is there so many times, under keys of its own.
const COPIES: u8 = 2;

/// The area that is whole.
#[derive(Debug, Clone, Copy)]
pub(super) struct Area {
    /// The first or the second.
    second: bool,
    /// Of [`Record::Complete`].
    number: u32,
    /// Bytes that records may still take.
    room: u32,
}

/// Format version, number and value of the newest of each record; empty where there is none.
#[derive(Debug)]
pub(super) struct Newest([Vec<u8, VALUE_LEN>; RECORDS]);

impl Newest {
    pub(super) const NONE: Self = Self([const { Vec::new() }; RECORDS]);

    fn of(&self, number: u8) -> &[u8] {
        self.0.get(usize::from(number)).map_or(&[], Vec::as_slice)
    }

    fn put(&mut self, number: u8, bytes: &[u8]) {
        if let Some(place) = self.0.get_mut(usize::from(number)) {
            // One that is longer than any of ours is by a newer firmware, which its format version says as well.
            let bytes = bytes.get(..VALUE_LEN).unwrap_or(bytes);
            place.clear();
            _ = place.extend_from_slice(bytes);
        }
    }
}

impl<F: BlockingFlash, G: Gate> Store<F, G> {
    /// Keeps a record.
    ///
    /// # Errors
    /// Whatever kept it from being kept; the one before is then still there.
    pub fn put<T: Serialize>(&mut self, record: Record, value: &T) -> Result<(), StoreError> {
        let mut bytes = [0; VALUE_LEN];
        let used = postcard::to_slice(value, bytes.get_mut(HEAD..).unwrap_or_default())
            .map_err(|_| StoreError::Full)?
            .len();
        self.put_bytes(record, bytes.get_mut(..HEAD + used).unwrap_or_default())
    }

    /// Keeps a record whose value is bytes already.
    pub(super) fn put_raw(&mut self, record: Record, value: &[u8]) -> Result<(), StoreError> {
        let mut bytes = [0; VALUE_LEN];
        let bytes = bytes.get_mut(..HEAD + value.len()).ok_or(StoreError::Full)?;
        bytes.get_mut(HEAD..).unwrap_or_default().copy_from_slice(value);
        self.put_bytes(record, bytes)
    }

    /// The same for the bytes of a value, with room for the format version and the number before them.
    fn put_bytes(&mut self, record: Record, bytes: &mut [u8]) -> Result<(), StoreError> {
        let needed = 2 * (bytes.len() as u32 + AROUND);
        let mut area = match self.find_area()? {
            Some(area) if area.room >= needed => area,
            old => self.move_on(old)?,
        };
        let before = number_of(self.newest.of(record.number()))?;
        head(bytes, before.map_or(0, |before| before.wrapping_add(1)));
        // What could not be written has used its place up all the same.
        area.room = area.room.saturating_sub(needed);
        self.area = Some(area);
        let written = self.write(area.second, record.number(), bytes);
        match written {
            Ok(()) => self.newest.put(record.number(), bytes),
            // One of the two copies may be there: it is looked for anew.
            Err(_) => self.area = None,
        }
        written
    }

    /// Reads a record: the newer of its copies, or the one that is left.
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
        self.find_area()?;
        let bytes = self.newest.of(record.number());
        let (Some(_), Some(&version)) = (number_of(bytes)?, bytes.first()) else { return Ok(None) };
        read(version, bytes.get(HEAD..).unwrap_or_default()).map(Some).ok_or(StoreError::Damaged)
    }

    /// Makes the records blank.
    pub(super) fn clear_records(&mut self) -> Result<(), StoreError> {
        // They have gone with the others, and are to be written anew.
        (self.area, self.stretch, self.log) = (None, None, None);
        [false, true].into_iter().try_for_each(|second| self.make_area_blank(second))
    }

    /// The area that is whole; none where nothing has been written yet.
    ///
    /// # Errors
    /// [`StoreError::Damaged`] where something has been, and neither area is whole.
    pub(super) fn find_area(&mut self) -> Result<Option<Area>, StoreError> {
        if self.area.is_some() {
            return Ok(self.area);
        }
        let mut found: Option<Area> = None;
        for second in [false, true] {
            let number = match self.read_area(second, COMPLETE..COMPLETE + 1) {
                Ok(()) => number_of(self.newest.of(COMPLETE)),
                Err(error) => Err(error),
            };
            let number = match number {
                Ok(Some(number)) => number,
                Err(error @ (StoreError::Newer | StoreError::Flash(FlashError::Driver(_)))) => {
                    return Err(error);
                }
                _ => continue,
            };
            if found.is_none_or(|other| is_newer(number, other.number)) {
                found = Some(self.area_as_it_is(second, number)?);
            }
        }
        let all = self.layout.records..self.layout.notes;
        if found.is_none() && self.flash.last_used(all.start, all.end)?.is_some() {
            return Err(StoreError::Damaged);
        }
        match found {
            Some(area) => self.read_area(area.second, NUMBERS)?,
            None => self.newest = Newest::NONE,
        }
        self.area = found;
        Ok(found)
    }

    /// Copies everything to the other area, which is then the whole one.
    fn move_on(&mut self, old: Option<Area>) -> Result<Area, StoreError> {
        let second = old.is_some_and(|old| !old.second);
        self.make_area_blank(second)?;
        // The mark that the area is whole comes last, and is its own.
        for number in NUMBERS.filter(|&number| number != COMPLETE) {
            let bytes = Vec::<u8, VALUE_LEN>::from_slice(self.newest.of(number)).unwrap_or_default();
            // What we cannot read whole we do not copy.
            if number_of(&bytes)?.is_some() {
                self.write(second, number, &bytes)?;
            }
        }
        let number = old.map_or(0, |old| old.number.wrapping_add(1));
        let mut bytes = [0; HEAD];
        head(&mut bytes, number);
        self.write(second, COMPLETE, &bytes)?;
        self.area_as_it_is(second, number)
    }

    /// The area with the room that is left in it: the library needs its last sector blank.
    fn area_as_it_is(&mut self, second: bool, number: u32) -> Result<Area, StoreError> {
        let Range { start, end } = self.area_range(second);
        let used = self.flash.last_used(start, end)?.map_or(0, |last| last - start);
        let room = ((end - start) / SECTOR).saturating_sub(1) * SECTOR_ROOM;
        Ok(Area { second, number, room: room.saturating_sub(used) })
    }

    const fn area_range(&self, second: bool) -> Range<u32> {
        let sectors = (self.layout.notes - self.layout.records) / SECTOR / 2;
        let start = self.layout.records + if second { sectors * SECTOR } else { 0 };
        start..start + sectors * SECTOR
    }

    fn make_area_blank(&mut self, second: bool) -> Result<(), StoreError> {
        let range = self.area_range(second);
        for sector in range.step_by(SECTOR as usize) {
            self.flash.make_blank(sector)?;
        }
        Ok(())
    }

    /// Takes the newest of these records that an area holds, and nothing else.
    fn read_area(&mut self, second: bool, numbers: Range<u8>) -> Result<(), StoreError> {
        self.newest = Newest::NONE;
        let range = self.area_range(second);
        let newest = &mut self.newest;
        each_item(&mut self.flash, range, &mut self.buffer, |key, bytes| {
            let number = key / COPIES;
            let before = newest.of(number);
            if numbers.contains(&number) && (before.is_empty() || is_newer(rank(bytes), rank(before))) {
                newest.put(number, bytes);
            }
        })
    }

    /// Writes both copies.
    fn write(&mut self, second: bool, number: u8, bytes: &[u8]) -> Result<(), StoreError> {
        for copy in 0..COPIES {
            let range = self.area_range(second);
            store_item(&mut self.flash, range, &mut self.buffer, COPIES * number + copy, bytes)?;
        }
        Ok(())
    }
}

/// Writes the format version and the number into their place.
fn head(bytes: &mut [u8], number: u32) {
    if let Some((version, rest)) = bytes.split_first_mut()
        && let Some(place) = rest.first_chunk_mut()
    {
        (*version, *place) = (FORMAT_VERSION, number.to_le_bytes());
    }
}

/// The number of a record, if there is one, once its format version is known to be one of ours.
fn number_of(bytes: &[u8]) -> Result<Option<u32>, StoreError> {
    match bytes.first() {
        None => Ok(None),
        Some(&version) if version > FORMAT_VERSION => Err(StoreError::Newer),
        Some(1..) if bytes.len() >= HEAD => Ok(Some(rank(bytes))),
        _ => Err(StoreError::Damaged),
    }
}

/// The number of a record of whatever format version: it stands at the same place in all.
fn rank(bytes: &[u8]) -> u32 {
    bytes.get(1..).and_then(<[u8]>::first_chunk).copied().map_or(0, u32::from_le_bytes)
}

/// Whether a copy is as new as another one, or newer: numbers go round after four thousand million, and the
/// newer one is the one just ahead.
const fn is_newer(number: u32, other: u32) -> bool {
    number.wrapping_sub(other) < u32::MAX / 2
}

const _: () = assert!(VALUE_LEN < RECORD_LEN);
