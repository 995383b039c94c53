//! The notes of the count in progress.
//!
//! Each coil has a stretch of sectors of its own, blank before it begins, so that nothing need be erased
//! while it turns. Stretches follow one another round the whole region: every sector wears alike. In a
//! stretch the library keeps a map of one key, whose newest value is the newest note.
//!
//! A note that was torn or damaged is skipped by the library, and the one before it found. So that
//! this is never taken for the newest, what stands behind it is looked at ([`Since`]).

use core::ops::Range;

use embedded_storage::nor_flash::NorFlash as BlockingFlash;
use heapless::Vec;
use serde::{Deserialize, Serialize};
use turntally_core::bench::snapshot::{CoilNote, Since};

use super::guard::{FlashError, Gate, SECTOR};
use super::records::Record;
use super::{Store, StoreError, fetch_item, store_item};

/// The format version of a note.
const FORMAT_VERSION: u8 = 1;
/// The one key.
const KEY: u8 = 0;
/// The longest note with its key, and what the library puts before it.
const NOTE_LEN: usize = 48;
const HEADER: u32 = 8;
/// What a usual note takes in flash: with counts below a million and few doubts it is less.
pub const NOTE_USUAL: u32 = 32;
/// What fits a sector for certain: the library marks its first and last byte, and a note is not split.
pub const SECTOR_ROOM: u32 = SECTOR - 2 - HEADER - NOTE_LEN as u32;

/// Where the notes of one coil go.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Stretch {
    /// First sector, counted from the start of the notes.
    first: u16,
    /// Sectors. The library needs the last one blank, so notes do not reach it.
    sectors: u16,
}

impl Stretch {
    /// Bytes that notes may take.
    const fn room(self) -> u32 {
        (self.sectors as u32).saturating_sub(1) * SECTOR_ROOM
    }
}

impl<F: BlockingFlash, G: Gate> Store<F, G> {
    fn sectors_in_all(&self) -> u16 {
        u16::try_from((self.layout.end - self.layout.notes) / SECTOR).unwrap_or(u16::MAX)
    }

    const fn address(&self, sector: u16) -> u32 {
        self.layout.notes + sector as u32 * SECTOR
    }

    const fn bytes_of(&self, stretch: Stretch) -> Range<u32> {
        self.address(stretch.first)..self.address(stretch.first + stretch.sectors)
    }

    /// Makes room for a coil's notes: a stretch of blank sectors, behind the one before. Sectors that
    /// do not become blank are passed over.
    pub(super) fn make_room(&mut self, notes: u32) -> Result<(), StoreError> {
        // Half as much again, for a crank that goes back and forth; and the blank one at the end.
        let bytes = notes.saturating_add(notes / 2).saturating_add(8).saturating_mul(NOTE_USUAL);
        let all = self.sectors_in_all();
        let sectors = u16::try_from(bytes / SECTOR_ROOM + 2).unwrap_or(u16::MAX).min(all / 2);
        let mut first = match self.stretch {
            None => 0,
            Some(stretch) => {
                let Range { start, end } = self.bytes_of(stretch);
                match self.flash.last_used(start, end)? {
                    None if stretch.sectors >= sectors => return Ok(()),
                    None => stretch.first,
                    Some(last) => stretch.first + (last - start) as u16 / SECTOR as u16 + 1,
                }
            }
        };
        self.stretch = None;
        let mut blank = 0;
        // Twice round is enough to have met every sector that can be had.
        for _ in 0..2 * all {
            if first + sectors > all {
                (first, blank) = (0, 0);
            }
            match self.flash.make_blank(self.address(first + blank)) {
                Ok(()) => blank += 1,
                Err(FlashError::NotErased) => (first, blank) = (first + blank + 1, 0),
                Err(error) => return Err(error.into()),
            }
            if blank == sectors {
                let stretch = Stretch { first, sectors };
                self.put(Record::Stretch, &stretch)?;
                self.take(stretch, 0);
                return Ok(());
            }
        }
        Err(FlashError::NotErased.into())
    }

    const fn take(&mut self, stretch: Stretch, used: u32) {
        self.stretch = Some(stretch);
        self.room = stretch.room().saturating_sub(used);
    }

    /// Writes a note. The last one that fits says that those after it are missing.
    pub(super) fn put_note(&mut self, note: &CoilNote) -> Result<(), StoreError> {
        let stretch = self.stretch.ok_or(StoreError::Full)?;
        let most = NOTE_LEN as u32 + HEADER;
        let last = self.room < 2 * most;
        if self.room < most {
            return Err(StoreError::Full);
        }
        let note = if last { note.last() } else { *note };
        let bytes = in_flash(&note).ok_or(StoreError::Full)?;
        let value = bytes.get(1..).unwrap_or_default();
        let range = self.bytes_of(stretch);
        let written = store_item(&mut self.flash, range, &mut self.buffer, KEY, value);
        // What could not be written has used its place up all the same.
        self.room = if last { 0 } else { self.room - bytes.len() as u32 - HEADER };
        written?;
        if last { Err(StoreError::Full) } else { Ok(()) }
    }

    /// The newest note, and how much may have been wound since.
    pub(super) fn load_note(&mut self) -> Result<Option<(CoilNote, Since)>, StoreError> {
        let Some(stretch) = self.get::<Stretch>(Record::Stretch)? else { return Ok(None) };
        let all = self.sectors_in_all();
        if stretch.first.checked_add(stretch.sectors).is_none_or(|end| end > all) {
            return Err(StoreError::Damaged);
        }
        let range = self.bytes_of(stretch);
        let Some(last) = self.flash.last_used(range.start, range.end)? else {
            self.take(stretch, 0);
            return Ok(None);
        };
        self.take(stretch, last - range.start);
        let found = match fetch_item(&mut self.flash, range.clone(), &mut self.buffer, KEY) {
            Ok(Some(bytes)) => read(bytes),
            Err(error @ StoreError::Flash(FlashError::Driver(_))) => Err(error),
            _ => Err(StoreError::NoteDamaged),
        };
        let note = found?;
        let since = match self.bytes_behind(&note, range.start, last)? {
            Some(0) => Since::QuarterTurn,
            Some(bytes) if bytes <= HEADER + NOTE_LEN as u32 => Since::HalfTurn,
            _ => Since::Unknown,
        };
        Ok(Some((note, since)))
    }

    /// Bytes that were written behind this note; `None` where they are more than one note.
    fn bytes_behind(&mut self, note: &CoilNote, start: u32, last: u32) -> Result<Option<u32>, StoreError> {
        let Some(note) = in_flash(note) else { return Ok(None) };
        let mut behind = 0;
        let mut sector = last - (last - start) % SECTOR;
        loop {
            // Without the marks of the library.
            if let Some(last) = self.flash.last_used(sector + 1, sector + SECTOR - 1)? {
                let mut block = [0; 2 * (HEADER as usize + NOTE_LEN)];
                let length = (last - sector).min(block.len() as u32);
                let block = block.get_mut(..length as usize).unwrap_or_default();
                self.flash.look(last + 1 - length, block)?;
                if let Some(place) = block.windows(note.len()).rposition(|bytes| bytes == note.as_slice()) {
                    return Ok(Some(behind + length - (place + note.len()) as u32));
                }
                behind += last - sector;
            }
            if sector == start || behind > HEADER + NOTE_LEN as u32 {
                return Ok(None);
            }
            sector -= SECTOR;
        }
    }
}

/// A note as it stands in flash: its key, itself, and its format version last, which is never a blank byte.
fn in_flash(note: &CoilNote) -> Option<Vec<u8, NOTE_LEN>> {
    let mut bytes = Vec::new();
    bytes.resize_default(NOTE_LEN).ok()?;
    let (key, rest) = bytes.split_first_mut()?;
    *key = KEY;
    let used = postcard::to_slice(note, rest).ok()?.len();
    *rest.get_mut(used)? = FORMAT_VERSION;
    bytes.truncate(used + 2);
    Some(bytes)
}

fn read(bytes: &[u8]) -> Result<CoilNote, StoreError> {
    match bytes.split_last() {
        Some((&FORMAT_VERSION, note)) => postcard::from_bytes(note).map_err(|_| StoreError::NoteDamaged),
        Some((version, _)) if *version > FORMAT_VERSION => Err(StoreError::Newer),
        _ => Err(StoreError::NoteDamaged),
    }
}
