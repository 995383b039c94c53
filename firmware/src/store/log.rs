//! The log of coils.
//!
//! The log lies in segments of a few sectors, used in turn, so that every sector wears alike. Entry
//! `n` has its place by its number: segment `n / ENTRIES` (going round), key `n % ENTRIES` of the map that
//! the library keeps there. So nothing but the place of the newest segment has to be remembered, an entry
//! is found at once, and one that is written again takes its own place.
//!
//! A segment is made blank before a coil begins that may need it. What it held is gone then: entries that
//! a computer has fetched go without a word, others only once the user has been told
//! ([`StoreError::LogFull`]).

use core::ops::Range;

use embedded_storage::nor_flash::NorFlash as BlockingFlash;
use heapless::Vec;
use serde::{Deserialize, Serialize};
use turntally_core::bench::log::{self, Change, ENTRY_LEN, EntryBytes, EventBytes};

use super::guard::{FlashError, Gate, SECTOR};
use super::records::Record;
use super::{CHANGES, Store, StoreError, fetch_item, store_item};

/// Sectors of a segment. The library needs the last one blank.
const SEGMENT: u32 = 5;
/// Entries of a segment: as many as fit for certain.
pub const ENTRIES: u32 = 112;
/// Bytes of the longest entry with its key and what the library puts before it.
const LONGEST: u32 = ENTRY_LEN as u32 + 9;
const _: () = assert!((SEGMENT - 1) * ((SECTOR - 2 - LONGEST) / LONGEST) >= ENTRIES);
const _: () = assert!(ENTRIES <= u8::MAX as u32);
/// No segment begins above this number: past it the log is full for good, after some thousand years.
const LAST: u32 = u32::MAX / 2;

/// What is remembered of the log.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
struct Known {
    /// The number of the first entry of the newest segment.
    base: u32,
    /// The first number that may still be there.
    oldest: u32,
    /// The first number that no computer is known to have.
    fetched: u32,
}

impl Known {
    const fn makes_sense(&self) -> bool {
        let Self { base, oldest, fetched } = *self;
        base <= LAST && base.is_multiple_of(ENTRIES) && oldest <= base && fetched <= base + ENTRIES
    }
}

/// Where the log is.
#[derive(Debug, Clone, Copy)]
pub(super) struct Log {
    known: Known,
    /// The newest segment is ready.
    open: bool,
    /// The number of the next entry.
    next: u32,
}

impl Log {
    const fn has_room(&self) -> bool {
        self.open && self.next >= self.known.base && self.next - self.known.base < ENTRIES
    }
}

impl<F: BlockingFlash, G: Gate> Store<F, G> {
    /// Segments there are; fewer than two make no log.
    const fn segments(&self) -> u32 {
        self.layout.log_end.saturating_sub(self.layout.end) / (SEGMENT * SECTOR)
    }

    fn segment_of(&self, number: u32) -> Range<u32> {
        let segment = number / ENTRIES % self.segments().max(1);
        let start = self.layout.end + segment * SEGMENT * SECTOR;
        start..start + SEGMENT * SECTOR
    }

    /// The entry of this number, if it is there and whole.
    fn entry(&mut self, number: u32) -> Result<Option<EntryBytes>, StoreError> {
        let range = self.segment_of(number);
        let bytes = match fetch_item(&mut self.flash, range, &mut self.buffer, (number % ENTRIES) as u8) {
            Ok(bytes) => bytes,
            Err(error @ StoreError::Flash(FlashError::Driver(_))) => return Err(error),
            Err(_) => None,
        };
        // One of an earlier round is none.
        let bytes = bytes.filter(|bytes| log::number_of(bytes) == Some(number));
        Ok(bytes.and_then(|bytes| EntryBytes::from_slice(bytes).ok()))
    }

    /// The first entry there is from this number on.
    ///
    /// # Errors
    /// Where the flash, or what is remembered of the log, cannot be read.
    pub fn log_entry(&mut self, from: u32) -> Result<Option<(u32, EntryBytes)>, StoreError> {
        let log = self.find_log()?;
        for number in from.max(log.known.oldest)..log.next {
            if let Some(bytes) = self.entry(number)? {
                return Ok(Some((number, bytes)));
            }
        }
        Ok(None)
    }

    /// The number of the next entry.
    ///
    /// # Errors
    /// As [`Self::log_entry`].
    pub fn log_next(&mut self) -> Result<u32, StoreError> {
        Ok(self.find_log()?.next)
    }

    /// What the newest entries from `counted` on change: the power went before their batch was kept. No number
    /// below `counted` is given again.
    pub(super) fn changes_from(&mut self, counted: u32) -> Result<Vec<Change, CHANGES>, StoreError> {
        let mut log = self.find_log()?;
        if log.next < counted {
            log.next = counted.min(log.known.base + ENTRIES);
            self.log = Some(log);
        }
        let mut changes = Vec::new();
        for number in counted.max(log.next.saturating_sub(CHANGES as u32))..log.next {
            if let Some(change) = self.entry(number)?.and_then(|bytes| log::change(&bytes)) {
                _ = changes.push(change);
            }
        }
        Ok(changes)
    }

    /// Writes an entry; there must be room.
    pub(super) fn put_entry(&mut self, event: &EventBytes) -> Result<(), StoreError> {
        if self.segments() < 2 {
            return Ok(());
        }
        let mut log = self.find_log()?;
        if !log.has_room() {
            return Err(StoreError::Full);
        }
        let bytes = log::entry_bytes(log.next, event);
        let range = self.segment_of(log.next);
        let key = (log.next % ENTRIES) as u8;
        // What a torn write left may look like the beginning of an item that hides what is written next, once
        // in some ten thousand cuts: behind that one an entry is found again.
        for _ in 0..3 {
            match store_item(&mut self.flash, range.clone(), &mut self.buffer, key, &bytes) {
                // What torn and failed writes left of the segment is too little.
                Err(StoreError::Full) => break,
                written => written?,
            }
            if self.entry(log.next)?.is_some_and(|found| found == bytes) {
                log.next += 1;
                self.log = Some(log);
                return Ok(());
            }
        }
        self.log = Some(Log { open: false, ..log });
        Err(StoreError::Full)
    }

    /// Makes room for an entry, which may cost the oldest ones: those that have not been fetched only
    /// with the user's `leave`. Segments that do not become blank are passed over.
    pub(super) fn make_log_room(&mut self, leave: bool) -> Result<(), StoreError> {
        let segments = self.segments();
        if segments < 2 {
            return Ok(());
        }
        let mut log = self.find_log()?;
        if log.has_room() {
            return Ok(());
        }
        let mut worn = 0;
        while !log.has_room() {
            // A log that has nothing yet begins at its own base.
            let used = log.next > log.known.base || worn > 0;
            let base = log.known.base.saturating_add(if used { ENTRIES } else { 0 });
            if base > LAST {
                return Err(StoreError::Full);
            }
            let gone = (base + ENTRIES).saturating_sub(segments * ENTRIES);
            if gone > log.known.fetched.max(log.known.oldest) && !leave {
                return Err(StoreError::LogFull);
            }
            let mut sectors = self.segment_of(base).step_by(SECTOR as usize);
            let blank = sectors.try_for_each(|sector| self.flash.make_blank(sector));
            log.known = Known { base, oldest: log.known.oldest.max(gone), ..log.known };
            (log.next, log.open) = (log.next.max(base), blank.is_ok());
            match blank {
                Ok(()) => {}
                Err(FlashError::NotErased) if worn < segments => worn += 1,
                Err(error) => return Err(error.into()),
            }
        }
        self.put(Record::Log, &log.known)?;
        self.log = Some(log);
        Ok(())
    }

    /// Every entry below this number is safe elsewhere.
    pub(super) fn set_fetched(&mut self, next: u32) -> Result<(), StoreError> {
        let mut log = self.find_log()?;
        let fetched = next.min(log.next);
        if fetched <= log.known.fetched {
            return Ok(());
        }
        log.known.fetched = fetched;
        self.put(Record::Log, &log.known)?;
        self.log = Some(log);
        Ok(())
    }

    fn find_log(&mut self) -> Result<Log, StoreError> {
        if let Some(log) = self.log {
            return Ok(log);
        }
        let known = match self.get::<Known>(Record::Log)? {
            Some(known) if known.makes_sense() => Some(known),
            _ => self.recover_log()?,
        };
        let log = match known {
            Some(known) => Log { known, open: true, next: self.end_of(known.base)?.max(known.fetched) },
            None => Log { known: Known::default(), open: false, next: 0 },
        };
        self.log = Some(log);
        Ok(log)
    }

    /// The number behind the last entry of the segment that begins with this one.
    fn end_of(&mut self, base: u32) -> Result<u32, StoreError> {
        let (mut low, mut high) = (base, base.saturating_add(ENTRIES));
        while low < high {
            let middle = low + (high - low) / 2;
            // A damaged one or two are not the end.
            let mut there = false;
            for number in middle..high.min(middle + 3) {
                there = there || self.entry(number)?.is_some();
            }
            if there { low = middle + 1 } else { high = middle }
        }
        Ok(low)
    }

    /// Nothing is remembered: finds the newest segment by the entries at the beginning of each.
    fn recover_log(&mut self) -> Result<Option<Known>, StoreError> {
        let mut newest: Option<u32> = None;
        for segment in 0..self.segments() {
            let range = self.segment_of(segment * ENTRIES);
            let mut first = [0; 4];
            self.flash.look(range.start, &mut first)?;
            // Where nothing was ever written nothing is looked for: the start of the counter waits for this.
            let keys = if first == [0xff; 4] { 0 } else { 3 };
            for key in 0..keys {
                let found = fetch_item(&mut self.flash, range.clone(), &mut self.buffer, key).ok().flatten();
                let number = found.and_then(log::number_of);
                let number = number.filter(|&number| number <= LAST && self.segment_of(number) == range);
                newest = newest.max(number.map(|number| number - number % ENTRIES));
            }
        }
        let before = self.segments().saturating_sub(1) * ENTRIES;
        Ok(newest.map(|base| {
            let oldest = base.saturating_sub(before);
            Known { base, oldest, fetched: oldest }
        }))
    }
}
