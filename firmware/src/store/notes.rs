//! The notes of the count in progress.
//!
//! Each coil has a region of its own, whole sectors that are blank before it begins, so that nothing need be erased
//! while it turns. Regions follow one another round all sectors of the notes: each wears alike. A region begins
//! with its head, twice, which is written when all of its sectors are blank: the newest region is the one whose head
//! has the highest number. The newest note is the last.
//!
//! The first bytes of a region (`HEADS`) hold heads and nothing else: so what a cut left behind them is of a note,
//! however many of the heads can be read. A head that a cut left half written may be read at one start and not at the
//! next, and cannot be distinguished from none: each start that finds no note writes the head once more, and relies on
//! that.
//!
//! A note that was torn or damaged is none, and the one before it is found. So that this is never taken for the
//! newest, what stands behind it is looked at ([`Since`]).

use core::ops::Range;

use embedded_storage::nor_flash::NorFlash as BlockingFlash;
use heapless::Vec;
use serde::{Deserialize, Serialize};
use turntally_core::bench::snapshot::{CoilNote, Since};

use super::guard::{FlashError, Gate, SECTOR};
use super::items::{Cursor, GRANULE, Walk, is_begun, mark_begun, sector_of, taken, walk};
use super::{Store, StoreError};

/// The format version of a note.
const FORMAT_VERSION: u8 = 1;
/// The longest note, with its kind and format version.
const NOTE_LEN: usize = 48;
/// What it takes in flash.
const MOST: u32 = taken(NOTE_LEN);
/// What a usual note takes in flash: with counts below a million and few doubts.
pub const NOTE_USUAL: u32 = GRANULE;
/// What fits a sector for certain, since a note is not split.
pub const SECTOR_ROOM: u32 = SECTOR - MOST;
/// The first bytes of a region: its heads.
const HEADS: u32 = 16 * GRANULE;

/// What an item of a region is, in its first byte.
const HEAD: u8 = 1;
/// A note; [`again`] has the kinds of one that a start wrote once more.
const NOTE: u8 = 2;

/// The kind of a note that a start writes once more, with what it found to have been wound since: so the next start
/// finds the same, whatever the bits behind the note then read. `sealed`: the item before it is the same and was read
/// again after it was written.
const fn again(since: Since, sealed: bool) -> u8 {
    let since = match since {
        Since::QuarterTurn => 0,
        Since::HalfTurn => 2,
        Since::Unknown => 4,
    };
    NOTE + since + sealed as u8
}

/// What a start found to have been wound since the note of this kind.
const fn found_since(kind: u8) -> Since {
    match kind {
        0..4 => Since::QuarterTurn,
        4..6 => Since::HalfTurn,
        6.. => Since::Unknown,
    }
}

/// Whether a note of this kind is there at every start.
const fn is_sealed(kind: u8) -> bool {
    !kind.is_multiple_of(2)
}

/// Where the notes of one coil go.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub(super) struct NotesRegion {
    /// Rises with each region.
    number: u32,
    /// First sector, counted from the start of the notes.
    first: u16,
    /// Sectors.
    sectors: u16,
    /// Regions have not come round to the first sector of the notes yet: what is blank behind was never written.
    first_round: bool,
}

/// What is known of the notes.
#[derive(Debug)]
pub(super) struct Notes {
    /// They have been looked for.
    found: bool,
    region: Option<NotesRegion>,
    /// Where the next note goes.
    cursor: Cursor,
    /// Nothing stands in the region but its head.
    unused: bool,
    /// The region has had its last note.
    full: bool,
}

impl Notes {
    pub(super) const UNKNOWN: Self =
        Self { found: false, region: None, cursor: Cursor::fresh(0..0), unused: false, full: false };
}

/// What stands in a region.
#[derive(Debug, Default)]
struct LastItem {
    /// The last item; empty where there is none.
    last: Vec<u8, NOTE_LEN>,
    /// The byte behind it.
    behind: u32,
}

impl<F: BlockingFlash, G: Gate> Store<F, G> {
    fn sectors_in_all(&self) -> u16 {
        u16::try_from((self.layout.end - self.layout.notes) / SECTOR).unwrap_or(u16::MAX)
    }

    const fn address(&self, sector: u16) -> u32 {
        self.layout.notes + sector as u32 * SECTOR
    }

    const fn bytes_of(&self, region: NotesRegion) -> Range<u32> {
        self.address(region.first)..self.address(region.first + region.sectors)
    }

    /// Makes room for a coil's notes: a region of blank sectors, behind the one before. Sectors that
    /// do not become blank are passed over.
    pub(super) fn make_room(&mut self, notes: u32) -> Result<(), StoreError> {
        self.find_region()?;
        // Half as much again, for a crank that goes back and forth; and the head.
        let bytes = notes.saturating_add(notes / 2).saturating_add(8).saturating_mul(NOTE_USUAL);
        let all = self.sectors_in_all();
        let sectors = bytes.saturating_add(HEADS) / SECTOR_ROOM + 1;
        let sectors = u16::try_from(sectors).unwrap_or(u16::MAX).min(all / 2);
        // Sectors of the last region that its notes did not reach are blank for certain.
        let mut blank_until = 0;
        let (mut first, mut number, mut first_round) = (0, 0, true);
        if let Some(region) = self.notes.region {
            if self.notes.unused && region.sectors >= sectors && self.notes.cursor.room() >= bytes {
                return Ok(());
            }
            let reached =
                sector_of(self.notes.cursor.next.saturating_sub(1)).saturating_sub(self.layout.notes);
            first = (reached / SECTOR) as u16 + 1;
            blank_until = region.first + region.sectors;
            (number, first_round) = (region.number.wrapping_add(1), region.first_round);
        }
        // From here on the region is as it was made: to erase it would take its time for nothing.
        let never = self.flash.last_used(self.address(first.min(all)), self.layout.end)?;
        let mut never_from =
            never.map_or(0, |last| last - self.layout.notes) / SECTOR + u32::from(never.is_some());
        let mut blank = 0;
        let mut failed = StoreError::from(FlashError::NotErased);
        // Twice round is enough to have met every sector that can be had.
        for _ in 0..2 * all {
            if first + sectors > all {
                (first, blank, blank_until, first_round) = (0, 0, 0, false);
            }
            if !first_round {
                never_from = u32::MAX;
            }
            let sector = first + blank;
            let is_blank = sector < blank_until || u32::from(sector) >= never_from;
            match if is_blank { Ok(()) } else { self.flash.make_blank(self.address(sector)) } {
                Ok(()) => blank += 1,
                Err(FlashError::NotErased) => (first, blank) = (sector + 1, 0),
                Err(error) => return Err(error.into()),
            }
            if blank == sectors {
                let region = NotesRegion { number, first, sectors, first_round };
                match self.begin_region(region, u32::from(first) >= never_from) {
                    Err(error @ StoreError::Flash(FlashError::NotWritten)) => {
                        // Its first sector takes no head.
                        failed = error;
                        (first, blank, blank_until) = (first + 1, 0, 0);
                    }
                    result => return result,
                }
            }
        }
        Err(failed)
    }

    fn begin_region(&mut self, region: NotesRegion, never: bool) -> Result<(), StoreError> {
        let range = self.bytes_of(region);
        let heads = range.start..range.start + HEADS;
        // A head may have been begun there that does not show.
        let mut cursor =
            if never { Cursor::after_start(heads.start, heads.end) } else { Cursor::fresh(heads) };
        let head = with_kind(HEAD, &region).ok_or(StoreError::Full)?;
        for _ in 0..2 {
            cursor.append(&mut self.flash, &head, MOST)?;
        }
        let cursor = Cursor::fresh(range.start + HEADS..range.end);
        self.notes = Notes { found: true, region: Some(region), cursor, unused: true, full: false };
        Ok(())
    }

    /// Writes a note. The last one that fits says that those after it are missing.
    pub(super) fn put_note(&mut self, note: &CoilNote) -> Result<(), StoreError> {
        self.find_region()?;
        if self.notes.region.is_none() || self.notes.full {
            return Err(StoreError::Full);
        }
        // Behind the last one there is room for a step over what may be torn, and a note written twice.
        let last = self.notes.cursor.room() < 6 * MOST;
        let note = if last { note.last() } else { *note };
        let bytes = in_flash(&note).ok_or(StoreError::Full)?;
        self.notes.unused = false;
        let written = self.notes.cursor.append(&mut self.flash, &bytes, MOST);
        self.notes.full = last;
        written?;
        if last { Err(StoreError::Full) } else { Ok(()) }
    }

    /// The newest note, and how much may have been wound since.
    pub(super) fn load_note(&mut self) -> Result<Option<(CoilNote, Since)>, StoreError> {
        self.find_region()?;
        let Some(region) = self.notes.region else { return Ok(None) };
        let Range { start, end } = self.bytes_of(region);
        let LastItem { last, behind } = self.standing(region)?;
        let Some(&kind) = last.first() else { return Ok(None) };
        let behind = behind.max(start + HEADS).min(end);
        let used = self.flash.last_used(behind, end)?;
        if kind == HEAD {
            let begun = self.first_begun(behind, used)?;
            return if begun.is_some() { Err(StoreError::NoteDamaged) } else { Ok(None) };
        }
        let note = read(&last)?;
        Ok(Some((note, self.since(kind, behind, used)?)))
    }

    /// How much may have been wound since the last note, which is of this kind. What stands behind it cannot be read.
    /// Each start may leave one torn note, and a step over what may be torn.
    fn since(&mut self, kind: u8, behind: u32, used: Option<u32>) -> Result<Since, StoreError> {
        let Some(last) = used else { return Ok(found_since(kind)) };
        let (mut run, mut runs) = (0, 0);
        let mut bytes = [0; GRANULE as usize];
        for at in (behind..last + 1).step_by(GRANULE as usize) {
            self.flash.look(at, &mut bytes)?;
            // Blank, or stepped over.
            if !is_begun(&bytes) {
                run = 0;
                continue;
            }
            runs += u32::from(run == 0);
            run += GRANULE;
            if run > MOST || runs > 3 {
                return Ok(Since::Unknown);
            }
        }
        Ok(if found_since(kind) == Since::Unknown { Since::Unknown } else { Since::HalfTurn })
    }

    /// Looks for the newest region, and writes anew what may not be there at the next start.
    fn find_region(&mut self) -> Result<(), StoreError> {
        if self.notes.found {
            return Ok(());
        }
        self.leave_newer_alone()?;
        let all = self.sectors_in_all();
        let mut newest: Option<NotesRegion> = None;
        for sector in 0..all {
            let start = self.address(sector);
            let mut found = None;
            walk(
                &mut self.flash,
                start..start + HEADS,
                |peek| peek.first() == Some(&HEAD),
                |_, bytes| {
                    found = bytes.get(1..).and_then(|bytes| postcard::from_bytes::<NotesRegion>(bytes).ok());
                    Walk::Done
                },
            )?;
            let found = found.filter(|region| {
                region.first == sector
                    && region.sectors > 0
                    && region.first.checked_add(region.sectors).is_some_and(|end| end <= all)
            });
            if let Some(region) = found
                && newest.is_none_or(|newest| region.number.wrapping_sub(newest.number) < u32::MAX / 2)
            {
                newest = Some(region);
            }
        }
        self.notes = Notes { found: true, region: newest, ..Notes::UNKNOWN };
        let Some(region) = newest else { return Ok(()) };
        let Range { start, end } = self.bytes_of(region);
        let LastItem { last: mut item, behind } = self.standing(region)?;
        let Some(&kind) = item.first() else { return Ok(()) };
        let behind = behind.max(start + HEADS).min(end);
        let used = self.flash.last_used(behind, end)?;
        let next = used.map_or(behind, |last| (last + 1).next_multiple_of(GRANULE));
        self.notes.cursor = Cursor::after_start(next, end).with_gap();
        let begun = if kind == HEAD { self.first_begun(behind, used)? } else { None };
        self.notes.unused = kind == HEAD && begun.is_none();
        if let Some(begun) = begun {
            // What is reported at this start is reported at the next.
            mark_begun(&mut self.flash, begun)?;
        }
        if self.notes.unused {
            // A note may have been begun there that does not show now, and would at a later start.
            self.notes.cursor.step_over(&mut self.flash, MOST)?;
            // Those that were found may not be there at the next start. With no room for it the region is left.
            self.notes.unused = self.head_once_more(start, &item)?;
        }
        self.notes.full = self.notes.cursor.room() < 6 * MOST;
        if kind != HEAD && (used.is_some() || !is_sealed(kind)) {
            let since = self.since(kind, behind, used)?;
            // Where that cannot be, what was found is still there.
            for sealed in [false, true] {
                if let Some(first) = item.first_mut() {
                    *first = again(since, sealed);
                }
                if self.notes.cursor.append(&mut self.flash, &item, MOST).is_err() {
                    break;
                }
            }
        }
        Ok(())
    }

    /// Writes the head of the region that begins there once more; whether it had the room.
    fn head_once_more(&mut self, start: u32, head: &[u8]) -> Result<bool, StoreError> {
        let end = start + HEADS;
        let used = self.flash.last_used(start, end)?;
        let next = used.map_or(start, |last| (last + 1).next_multiple_of(GRANULE));
        let mut cursor = Cursor::after_start(next, end);
        match cursor.append(&mut self.flash, head, MOST) {
            Ok(_) => Ok(true),
            Err(StoreError::Full | StoreError::Flash(FlashError::NotWritten)) => Ok(false),
            Err(error) => Err(error),
        }
    }

    /// The first granule behind an item in which something was begun that is not just made nought.
    fn first_begun(&mut self, behind: u32, used: Option<u32>) -> Result<Option<u32>, StoreError> {
        let mut bytes = [0; GRANULE as usize];
        for at in (behind..used.map_or(behind, |last| last + 1)).step_by(GRANULE as usize) {
            self.flash.look(at, &mut bytes)?;
            if is_begun(&bytes) {
                return Ok(Some(at));
            }
        }
        Ok(None)
    }

    /// What stands in a region, by its last sector that has an item.
    fn standing(&mut self, region: NotesRegion) -> Result<LastItem, StoreError> {
        let Range { start, end } = self.bytes_of(region);
        let mut standing = LastItem::default();
        let mut sector = self.flash.last_used(start, end)?.map_or(start, sector_of);
        loop {
            walk(
                &mut self.flash,
                sector..sector + SECTOR,
                |_| true,
                |at, bytes| {
                    standing.last = Vec::from_slice(bytes).unwrap_or_default();
                    standing.behind = at + taken(bytes.len());
                    Walk::On
                },
            )?;
            if !standing.last.is_empty() || sector <= start {
                return Ok(standing);
            }
            sector -= SECTOR;
        }
    }
}

fn with_kind(kind: u8, value: &impl Serialize) -> Option<Vec<u8, NOTE_LEN>> {
    let mut bytes = Vec::new();
    bytes.resize_default(NOTE_LEN).ok()?;
    let (first, rest) = bytes.split_first_mut()?;
    *first = kind;
    let used = postcard::to_slice(value, rest).ok()?.len();
    bytes.truncate(used + 1);
    Some(bytes)
}

/// A note as it stands in flash: its kind, itself, its format version.
fn in_flash(note: &CoilNote) -> Option<Vec<u8, NOTE_LEN>> {
    let mut bytes = with_kind(NOTE, note)?;
    bytes.push(FORMAT_VERSION).ok()?;
    Some(bytes)
}

fn read(bytes: &[u8]) -> Result<CoilNote, StoreError> {
    match bytes.split_last() {
        Some((&FORMAT_VERSION, [_, note @ ..])) => {
            postcard::from_bytes(note).map_err(|_| StoreError::NoteDamaged)
        }
        Some((version, _)) if *version > FORMAT_VERSION => Err(StoreError::Newer),
        _ => Err(StoreError::NoteDamaged),
    }
}
