//! The log of coils.
//!
//! The log lies in segments of a few sectors, used in turn, so that every sector wears alike. Which segment holds
//! entry `n` follows from its number: `n / ENTRIES`, going round. A segment begins with its head, twice, which is
//! written when all of its sectors are blank and says what is known of the log; the newest is the one with the
//! highest numbers.
//!
//! A segment is made blank before a coil begins that may need it. What it held is gone then: entries that
//! a computer has acknowledged go without a notice, others only once the user has been warned
//! ([`StoreError::LogFull`]).

use core::ops::Range;

use embedded_storage::nor_flash::NorFlash as BlockingFlash;
use heapless::Vec;
use serde::{Deserialize, Serialize};
use turntally_core::bench::log::{self, Change, ENTRY_LEN, EntryBytes, EventBytes};

use super::guard::{FlashError, Gate, SECTOR};
use super::items::{Cursor, PEEK, Walk, taken, torn, void, walk};
use super::records::Record;
use super::{CHANGES, FoundEntry, Store, StoreError};

/// Sectors of a segment.
const SEGMENT: u32 = 5;
/// Entries of a segment: as many as fit for certain, and some that are torn, or written twice.
pub const ENTRIES: u32 = 112;
/// Bytes that the longest entry takes.
const MOST: u32 = taken(1 + ENTRY_LEN);
const _: () = assert!(SEGMENT * (SECTOR / MOST) >= ENTRIES + 8);
/// No segment begins above this number: past it the log is full for good, after some thousand years.
const LAST: u32 = u32::MAX / 2;
/// Bytes of a segment in which its head is looked for.
const HEADS: u32 = SECTOR;
/// Bytes of a segment in which an item is looked for that says which it is: the start waits for this.
const BASE: u32 = 1_024;

/// What an item of the log is, in its first byte.
const HEAD: u8 = 1;
const ENTRY: u8 = 2;
/// The item before this one was read again after it was written.
const SEAL: u8 = 3;

/// What is known of the log.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
struct LogHead {
    /// The number of the first entry of the newest segment.
    base: u32,
    /// The first number that may still be there.
    oldest: u32,
    /// The first number that no computer is known to have.
    acknowledged: u32,
}

impl LogHead {
    const fn makes_sense(&self) -> bool {
        let Self { base, oldest, acknowledged } = *self;
        let end = base.saturating_add(ENTRIES);
        base <= LAST && base.is_multiple_of(ENTRIES) && oldest <= end && acknowledged <= end
    }
}

/// Where the log is.
#[derive(Debug, Clone, Copy)]
pub(super) struct Log {
    known: LogHead,
    /// Where the next item of the newest segment goes, if that segment is ready.
    cursor: Option<Cursor>,
    /// The number of the next entry.
    next: u32,
}

impl Log {
    fn has_room(&self) -> bool {
        let room = self.cursor.is_some_and(|cursor| cursor.room() >= 4 * MOST);
        room && self.next >= self.known.base && self.next - self.known.base < ENTRIES
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

    /// The first entry there is of the numbers `from..to`, which are of one segment.
    fn entry(&mut self, from: u32, to: u32) -> FoundEntry {
        let range = self.segment_of(from);
        let mut found: Option<(u32, EntryBytes)> = None;
        let before = core::cell::Cell::new(to);
        let wanted = |peek: &[u8; PEEK]| {
            let number = peek.get(1..).and_then(log::number_of);
            peek.first() == Some(&ENTRY)
                && number.is_some_and(|number| from <= number && number < before.get())
        };
        walk(&mut self.flash, range, wanted, |_, bytes| {
            let bytes = bytes.get(1..).unwrap_or_default();
            found = log::number_of(bytes).zip(EntryBytes::from_slice(bytes).ok());
            before.set(found.as_ref().map_or(to, |(number, _)| *number));
            if before.get() == from { Walk::Done } else { Walk::On }
        })?;
        Ok(found)
    }

    /// The first entry there is from this number on.
    ///
    /// # Errors
    /// Where the flash cannot be read.
    pub fn log_entry(&mut self, from: u32) -> FoundEntry {
        let log = self.find_log()?;
        let mut from = from.max(log.known.oldest);
        while from < log.next {
            let end = (from - from % ENTRIES).saturating_add(ENTRIES);
            if let Some(found) = self.entry(from, end.min(log.next))? {
                return Ok(Some(found));
            }
            from = end;
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
            if let Some(change) = self.entry(number, number + 1)?.and_then(|(_, bytes)| log::change(&bytes)) {
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
        let written = match (&mut log.cursor, with_kind(ENTRY, &bytes)) {
            (Some(cursor), Some(item)) => cursor.append(&mut self.flash, &item, MOST),
            _ => Err(StoreError::Full),
        };
        match written {
            Ok(_) => log.next += 1,
            Err(StoreError::Flash(FlashError::Driver(_))) => {}
            // What is left of the segment is too little, or its cells take nothing.
            Err(_) => log.cursor = None,
        }
        self.log = Some(log);
        written.map(|_| ())
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
            let used = log.next > log.known.base || log.cursor.is_some() || worn > 0;
            let base = log.known.base.saturating_add(if used { ENTRIES } else { 0 });
            if base > LAST {
                return Err(StoreError::Full);
            }
            let gone = (base + ENTRIES).saturating_sub(segments * ENTRIES);
            if gone > log.known.acknowledged.max(log.known.oldest) && !leave {
                return Err(StoreError::LogFull);
            }
            if gone > log.known.oldest {
                // A segment of which an erase left something is not read any more. Where that cannot be kept, some of
                // those entries may be read a little longer.
                log.known.oldest = gone;
                if let Err(error @ StoreError::Flash(FlashError::Driver(_))) = self.put(Record::Oldest, &gone)
                {
                    return Err(error);
                }
            }
            log.known.base = base;
            (log.next, log.cursor) = (log.next.max(base), None);
            match self.begin_segment(&log.known) {
                Ok(cursor) => log.cursor = Some(cursor),
                Err(StoreError::Flash(FlashError::NotErased | FlashError::NotWritten)) if worn < segments => {
                    worn += 1;
                }
                Err(error) => return Err(error),
            }
        }
        self.log = Some(log);
        Ok(())
    }

    fn begin_segment(&mut self, known: &LogHead) -> Result<Cursor, StoreError> {
        let range = self.segment_of(known.base);
        let heads = range.start..range.start + HEADS;
        // In the first round what is blank from here on was never written: to erase it would take its time for nothing.
        let first_round = known.base / ENTRIES < self.segments();
        let never = first_round && self.flash.last_used(range.start, self.layout.log_end)?.is_none();
        let mut cursor = if never {
            // A head may have been begun there that does not show.
            Cursor::after_start(heads.start, heads.end)
        } else {
            for sector in range.clone().step_by(SECTOR as usize) {
                self.flash.make_blank(sector)?;
            }
            Cursor::fresh(heads)
        };
        let head = head(known).ok_or(StoreError::Full)?;
        for _ in 0..2 {
            cursor.append(&mut self.flash, &head, MOST)?;
        }
        cursor.end = range.end;
        Ok(cursor)
    }

    /// Every entry below this number is safe elsewhere.
    pub(super) fn set_acknowledged(&mut self, next: u32) -> Result<(), StoreError> {
        let mut log = self.find_log()?;
        let acknowledged = next.min(log.next);
        if acknowledged <= log.known.acknowledged {
            return Ok(());
        }
        log.known.acknowledged = acknowledged;
        self.log = Some(log);
        self.put(Record::Acknowledged, &acknowledged)
    }

    /// Looks for the newest segment, and writes anew what may not be there at the next start.
    fn find_log(&mut self) -> Result<Log, StoreError> {
        if let Some(log) = self.log {
            return Ok(log);
        }
        self.leave_newer_alone()?;
        let mut base = None;
        for segment in 0..self.segments() {
            base = base.max(self.base_of(segment * ENTRIES)?);
        }
        let log = match base {
            Some(base) => self.segment_as_it_is(base)?,
            None => Log { known: LogHead::default(), cursor: None, next: 0 },
        };
        self.log = Some(log);
        Ok(log)
    }

    /// The number with which the segment begins that `number` is of, by the first item that can be read in it.
    fn base_of(&mut self, number: u32) -> Result<Option<u32>, StoreError> {
        let range = self.segment_of(number);
        let mut base = None;
        walk(
            &mut self.flash,
            range.start..range.start + BASE,
            |peek| matches!(peek.first(), Some(&(HEAD | ENTRY))),
            |_, bytes| {
                base = match bytes.split_first() {
                    Some((&HEAD, head)) => known_of(head).map(|known| known.base),
                    Some((_, entry)) => log::number_of(entry).map(|number| number - number % ENTRIES),
                    None => None,
                };
                Walk::Done
            },
        )?;
        Ok(base.filter(|&base| base <= LAST && self.segment_of(base) == range))
    }

    /// The log whose newest segment begins with this number.
    fn segment_as_it_is(&mut self, base: u32) -> Result<Log, StoreError> {
        let Range { start, end } = self.segment_of(base);
        // Nothing is remembered but what its head says.
        let oldest = base.saturating_sub(self.segments().saturating_sub(1) * ENTRIES);
        let mut known = LogHead { base, oldest, acknowledged: oldest };
        let mut last = Vec::<u8, { 1 + ENTRY_LEN }>::new();
        let (mut next, mut behind) = (base, start);
        walk(
            &mut self.flash,
            start..end,
            |_| true,
            |at, bytes| {
                match bytes.split_first() {
                    Some((&HEAD, head)) => {
                        known = known_of(head).filter(|known| known.base == base).unwrap_or(known);
                    }
                    Some((&ENTRY, entry)) => {
                        let number =
                            log::number_of(entry).filter(|number| number / ENTRIES == base / ENTRIES);
                        next = next.max(number.map_or(0, |number| number + 1));
                    }
                    _ => {}
                }
                last = Vec::from_slice(bytes).unwrap_or_default();
                behind = at + taken(bytes.len());
                Walk::On
            },
        )?;
        // That it cannot be read is no reason not to go on: at worst entries are thought not to be acknowledged.
        for (number, record) in
            [(&mut known.acknowledged, Record::Acknowledged), (&mut known.oldest, Record::Oldest)]
        {
            let recorded = self.get::<u32>(record).ok().flatten();
            *number = (*number).max(recorded.filter(|&number| number <= base + ENTRIES).unwrap_or(0));
        }
        next = next.max(known.acknowledged);
        let mut cursor = Cursor::after_start(behind, end);
        if let Some(used) = self.flash.last_used(behind.min(end), end)? {
            let torn = torn(behind, used, end, MOST);
            void(&mut self.flash, torn.clone())?;
            cursor = Cursor::after_start(torn.end, end);
        }
        // The last item may not be there at the next start: nor does anything behind it prove that it will, since a
        // start that did not see it may have begun to make it nought. Where it cannot be written anew, what was
        // found is still there.
        if last.first() != Some(&SEAL) && cursor.append(&mut self.flash, &last, MOST).is_ok() {
            _ = cursor.append(&mut self.flash, &[SEAL], MOST);
        }
        Ok(Log { known, cursor: Some(cursor), next })
    }
}

fn with_kind(kind: u8, bytes: &[u8]) -> Option<Vec<u8, { 1 + ENTRY_LEN }>> {
    let mut item = Vec::new();
    item.push(kind).ok()?;
    item.extend_from_slice(bytes).ok()?;
    Some(item)
}

fn head(known: &LogHead) -> Option<Vec<u8, { 1 + ENTRY_LEN }>> {
    let mut bytes = [0; 16];
    with_kind(HEAD, postcard::to_slice(known, &mut bytes).ok()?)
}

fn known_of(bytes: &[u8]) -> Option<LogHead> {
    postcard::from_bytes(bytes).ok().filter(LogHead::makes_sense)
}
