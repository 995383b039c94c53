//! Settings, batches and the like: few things, seldom written, each kept twice.
//!
//! They lie in one of two areas. When it is full, the other is made blank, everything is copied there,
//! and last of all it is marked as complete, with a number higher by one: whenever the power goes, one
//! area is whole, and nothing ever depends on a sector that was left half erased. (The library can
//! reclaim sectors by itself, but takes one that reads as half written after a torn erase for its own.)
//!
//! An item is a byte that says its form, a number that rises each time, and the value. Of the two copies
//! the one with the higher number counts, so that a damaged one leaves the other.

use core::ops::Range;

use embedded_storage::nor_flash::NorFlash as BlockingFlash;
use serde::Serialize;
use serde::de::DeserializeOwned;
use turntally_core::bench::MAX_JOBS;

use super::guard::{FlashError, Gate, SECTOR};
use super::{FORM, RECORD_LEN, Store, StoreError, fetch_item, store_item};

/// Bytes before a record's value: its form and its number.
const HEAD: usize = 5;
/// The longest record with its form and number, in bytes.
const VALUE_LEN: usize = 240;
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
}

/// The keys of all that is copied from area to area: those of [`Record::Settings`], [`Record::Stretch`]
/// and each [`Record::Batch`].
const NUMBERS: Range<u8> = 0..2 + MAX_JOBS as u8;

impl Record {
    const fn number(self) -> u8 {
        match self {
            Self::Settings => 0,
            Self::Stretch => 1,
            Self::Batch(job) => NUMBERS.start + 2 + job % MAX_JOBS as u8,
            Self::Complete => NUMBERS.end,
        }
    }
}

/// The keys of the two copies.
const fn keys(number: u8) -> [u8; 2] {
    [2 * number, 2 * number + 1]
}

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

    /// The same for the bytes of a value, with room for the form and the number before them.
    fn put_bytes(&mut self, record: Record, bytes: &mut [u8]) -> Result<(), StoreError> {
        let needed = 2 * (bytes.len() as u32 + AROUND);
        let mut area = match self.find_area()? {
            Some(area) if area.room >= needed => area,
            old => self.move_on(old)?,
        };
        let number =
            self.newest(area.second, record.number())?.map_or(0, |(number, _)| number.wrapping_add(1));
        head(bytes, number);
        // What could not be written has used its place up all the same.
        area.room = area.room.saturating_sub(needed);
        self.area = Some(area);
        self.write(area.second, record.number(), bytes)
    }

    /// Reads a record: the newer of its copies, or the one that is left.
    ///
    /// # Errors
    /// [`StoreError::Damaged`] where it cannot be read; [`StoreError::Newer`] where it was written by a
    /// newer firmware.
    pub fn get<T: DeserializeOwned>(&mut self, record: Record) -> Result<Option<T>, StoreError> {
        let Some(Area { second, .. }) = self.find_area()? else { return Ok(None) };
        let Some((_, key)) = self.newest(second, record.number())? else { return Ok(None) };
        let Some(bytes) = self.fetch(second, key)? else { return Ok(None) };
        postcard::from_bytes(bytes.get(HEAD..).unwrap_or_default()).map(Some).map_err(|_| StoreError::Damaged)
    }

    /// Makes the records blank.
    pub(super) fn clear_records(&mut self) -> Result<(), StoreError> {
        // They have gone with the others, and are to be written anew.
        (self.area, self.stretch) = (None, None);
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
            let number = match self.newest(second, Record::Complete.number()) {
                Ok(Some((number, _))) => number,
                Err(error @ (StoreError::Newer | StoreError::Flash(FlashError::Driver(_)))) => {
                    return Err(error);
                }
                _ => continue,
            };
            if found.is_none_or(|other| number.wrapping_sub(other.number) < u32::MAX / 2) {
                found = Some(self.area_as_it_is(second, number)?);
            }
        }
        let all = self.layout.records..self.layout.notes;
        if found.is_none() && self.flash.last_used(all.start, all.end)?.is_some() {
            return Err(StoreError::Damaged);
        }
        self.area = found;
        Ok(found)
    }

    /// Copies everything to the other area, which is then the whole one.
    fn move_on(&mut self, old: Option<Area>) -> Result<Area, StoreError> {
        let second = old.is_some_and(|old| !old.second);
        self.make_area_blank(second)?;
        if let Some(old) = old {
            for number in NUMBERS {
                let Some((_, key)) = self.newest(old.second, number)? else { continue };
                let mut bytes = [0; VALUE_LEN];
                let Some(found) = self.fetch(old.second, key)? else { continue };
                let bytes = bytes.get_mut(..found.len()).ok_or(StoreError::Damaged)?;
                bytes.copy_from_slice(found);
                self.write(second, number, bytes)?;
            }
        }
        let number = old.map_or(0, |old| old.number.wrapping_add(1));
        let mut bytes = [0; HEAD];
        head(&mut bytes, number);
        self.write(second, Record::Complete.number(), &bytes)?;
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

    /// The number and the key of the newer copy.
    fn newest(&mut self, second: bool, number: u8) -> Result<Option<(u32, u8)>, StoreError> {
        let mut newest: Option<(u32, u8)> = None;
        for key in keys(number) {
            let Some(bytes) = self.fetch(second, key)? else { continue };
            let number = number_of(bytes)?;
            // Numbers go round after four thousand million: the newer one is the one just ahead.
            if newest.is_none_or(|(other, _)| number.wrapping_sub(other) < u32::MAX / 2) {
                newest = Some((number, key));
            }
        }
        Ok(newest)
    }

    fn fetch(&mut self, second: bool, key: u8) -> Result<Option<&[u8]>, StoreError> {
        let range = self.area_range(second);
        fetch_item(&mut self.flash, range, &mut self.buffer, key)
    }

    /// Writes both copies.
    fn write(&mut self, second: bool, number: u8, bytes: &[u8]) -> Result<(), StoreError> {
        for key in keys(number) {
            let range = self.area_range(second);
            store_item(&mut self.flash, range, &mut self.buffer, key, bytes)?;
        }
        Ok(())
    }
}

/// Writes the form and the number into their place.
fn head(bytes: &mut [u8], number: u32) {
    if let Some((form, rest)) = bytes.split_first_mut()
        && let Some(place) = rest.first_chunk_mut()
    {
        (*form, *place) = (FORM, number.to_le_bytes());
    }
}

/// The number of a record, once its form is known to be ours.
fn number_of(bytes: &[u8]) -> Result<u32, StoreError> {
    match bytes.split_first() {
        Some((&FORM, rest)) => rest.first_chunk().copied().map(u32::from_le_bytes).ok_or(StoreError::Damaged),
        Some((form, _)) if *form > FORM => Err(StoreError::Newer),
        _ => Err(StoreError::Damaged),
    }
}

const _: () = assert!(VALUE_LEN < RECORD_LEN);
