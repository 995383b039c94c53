//! Items: how bytes stand in flash.
//!
//! An item begins at a multiple of [`GRANULE`] bytes and lies within one sector: a CRC-32 of the rest, the length of
//! its value in a byte, the value. Whoever looks for items tries every granule, so nothing that stands in front of
//! an item, be it torn, worn or rubbish, can hide it.
//!
//! A program that a power cut left half done leaves cells that may read differently at each start, and cells that
//! read blank and are not. So two rules hold wherever items are written:
//!
//! - An item is written only behind one that was read again after it was written. So only the last item may be one
//!   that reads whole at this start and not at the next: it is written anew before anything relies on it.
//! - The first item after a start leaves out the place where another may have been begun (`Cursor::after_start`).

use core::ops::Range;

use crc::{CRC_32_ISO_HDLC, Crc};
use embedded_storage::nor_flash::NorFlash as BlockingFlash;
use heapless::Vec;

use super::StoreError;
use super::guard::{FlashError, Gate, Guard, SECTOR};

/// Items begin at multiples of this.
pub const GRANULE: u32 = 32;
/// The CRC and the length.
const HEAD: usize = 5;
/// The longest value.
pub const VALUE_LEN: usize = 6 * GRANULE as usize - HEAD;
/// The first bytes of a value that a walk shows before it reads the whole.
pub const PEEK: usize = 8;

const CRC: Crc<u32> = Crc::<u32>::new(&CRC_32_ISO_HDLC);

/// The longest item.
pub type ItemBytes = Vec<u8, { HEAD + VALUE_LEN }>;

/// The bytes of an item of this value; `None` where it is empty or too long.
#[must_use]
pub fn item(value: &[u8]) -> Option<ItemBytes> {
    let length = u8::try_from(value.len()).ok().filter(|&length| length > 0)?;
    let mut bytes = ItemBytes::new();
    bytes.extend_from_slice(&[0, 0, 0, 0, length]).ok()?;
    bytes.extend_from_slice(value).ok()?;
    let sum = CRC.checksum(bytes.get(4..)?).to_le_bytes();
    bytes.get_mut(..4)?.copy_from_slice(&sum);
    Some(bytes)
}

/// Bytes of flash that an item takes whose value is so long.
#[must_use]
pub const fn taken(value: usize) -> u32 {
    ((HEAD + value) as u32).next_multiple_of(GRANULE)
}

/// First byte of the sector around this one.
pub(super) const fn sector_of(at: u32) -> u32 {
    at - at % SECTOR
}

/// Where an item that takes so much can begin from here on: not across the border of a sector.
const fn fit(at: u32, taken: u32) -> u32 {
    if at % SECTOR + taken > SECTOR { sector_of(at) + SECTOR } else { at }
}

/// Whether a walk goes on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Walk {
    On,
    Done,
}

/// Shows each whole item between two addresses by its address and value; of others than those whose first bytes
/// `wanted` wants no more is read.
pub(super) fn walk<F: BlockingFlash, G: Gate>(
    flash: &mut Guard<F, G>,
    range: Range<u32>,
    mut wanted: impl FnMut(&[u8; PEEK]) -> bool,
    mut see: impl FnMut(u32, &[u8]) -> Walk,
) -> Result<(), FlashError> {
    let mut bytes = [0; HEAD + VALUE_LEN];
    let mut sector = range.start;
    while sector < range.end {
        let next = (sector_of(sector) + SECTOR).min(range.end);
        let end = flash.last_used(sector, next)?.map_or(sector, |last| last + 1);
        let mut at = sector;
        while at < end {
            let here = at;
            at += GRANULE;
            let Some(head) = bytes.first_chunk_mut::<{ HEAD + PEEK }>() else { break };
            flash.look(here, head)?;
            let length = usize::from(head[HEAD - 1]);
            let fits = here % SECTOR + (HEAD + length) as u32 <= SECTOR
                && here + ((HEAD + length) as u32) <= range.end;
            let peeked = head.last_chunk().is_some_and(&mut wanted);
            let Some(whole) = bytes.get_mut(..HEAD + length).filter(|_| length > 0 && fits && peeked) else {
                continue;
            };
            flash.look(here, whole)?;
            if let Some((sum, rest)) = whole.split_first_chunk()
                && CRC.checksum(rest) == u32::from_le_bytes(*sum)
            {
                at = here + taken(length);
                if see(here, rest.get(1..).unwrap_or_default()) == Walk::Done {
                    return Ok(());
                }
            }
        }
        sector = next;
    }
    Ok(())
}

/// Where the next item goes in a run of blank sectors.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Cursor {
    /// From here on all is blank.
    pub(super) next: u32,
    pub(super) end: u32,
    /// The cells at `next` may only look blank.
    doubtful: bool,
    /// Bytes before those that are made nought, if they are to show as apart from what stands before them.
    gap: u32,
}

impl Cursor {
    /// Of sectors that have been erased since the start.
    pub(super) const fn fresh(range: Range<u32>) -> Self {
        Self { next: range.start, end: range.end, doubtful: false, gap: 0 }
    }

    /// Behind what was found at the start: an item may have been begun there, and nothing of it shows.
    pub(super) const fn after_start(next: u32, end: u32) -> Self {
        Self { next, end, doubtful: true, gap: 0 }
    }

    /// With a gap before what is stepped over.
    pub(super) const fn with_gap(self) -> Self {
        Self { gap: GRANULE, ..self }
    }

    /// Bytes that are left.
    pub(super) const fn room(&self) -> u32 {
        self.end.saturating_sub(self.next)
    }

    /// The bytes behind `at` in which an item of at most so many bytes may have been begun.
    const fn begun(at: u32, end: u32, most: u32) -> u32 {
        let behind = fit(at, most) + most;
        if behind < end { behind } else { end }
    }

    /// Steps over what may only look blank, where items take at most so much. It is made nought, so that the next
    /// start steps over what may have been begun behind it.
    pub(super) fn step_over<F: BlockingFlash, G: Gate>(
        &mut self,
        flash: &mut Guard<F, G>,
        most: u32,
    ) -> Result<(), FlashError> {
        if self.doubtful {
            let from = self.next + self.gap;
            let behind = Self::begun(from, self.end, most);
            void(flash, from.min(behind)..behind)?;
            (self.next, self.doubtful) = (behind, false);
        }
        Ok(())
    }

    /// Writes an item behind the last; where a cell does not take it, behind that. Says where it stands.
    ///
    /// # Errors
    /// [`StoreError::Full`] where there is no room; [`FlashError::NotWritten`] where too many places do not take it.
    pub(super) fn append<F: BlockingFlash, G: Gate>(
        &mut self,
        flash: &mut Guard<F, G>,
        value: &[u8],
        most: u32,
    ) -> Result<u32, StoreError> {
        self.step_over(flash, most)?;
        let bytes = item(value).ok_or(StoreError::Full)?;
        let taken = taken(value.len());
        for _ in 0..TRIES {
            let at = fit(self.next, taken);
            if at + taken > self.end {
                return Err(StoreError::Full);
            }
            self.next = at + taken;
            match flash.program(at, &bytes) {
                Ok(()) => return Ok(at),
                Err(FlashError::NotWritten) => {}
                Err(error) => return Err(error.into()),
            }
        }
        Err(FlashError::NotWritten.into())
    }
}

/// How often an item is written anew behind cells that do not take it.
const TRIES: u32 = 8;

/// Bytes of a granule that [`void`] leaves alone: so what a cut leaves of it can be distinguished from an item, which begins
/// with them.
const LEFT: usize = 8;

/// Makes nothing of what stands there, whatever its cells will read: noughts can always be written.
pub(super) fn void<F: BlockingFlash, G: Gate>(
    flash: &mut Guard<F, G>,
    range: Range<u32>,
) -> Result<(), FlashError> {
    const NOUGHT: [u8; GRANULE as usize - LEFT] = [0; GRANULE as usize - LEFT];
    for at in range.step_by(GRANULE as usize) {
        // Also where noughts are read: a cut may have left them half done.
        match flash.program(at + LEFT as u32, &NOUGHT) {
            // A cell that does not become nought makes it no item either.
            Ok(()) | Err(FlashError::NotWritten) => {}
            Err(error) => return Err(error),
        }
    }
    Ok(())
}

/// Makes a granule in which something was begun show as such at every start.
pub(super) fn mark_begun<F: BlockingFlash, G: Gate>(
    flash: &mut Guard<F, G>,
    at: u32,
) -> Result<(), FlashError> {
    match flash.program(at, &[0; LEFT]) {
        Ok(()) | Err(FlashError::NotWritten) => Ok(()),
        Err(error) => Err(error),
    }
}

/// Whether an item was begun at this granule, and is not just stepped over.
pub(super) fn is_begun(granule: &[u8; GRANULE as usize]) -> bool {
    let (head, rest) = granule.split_at(LEFT);
    head.iter().any(|&byte| byte != 0xff) && rest.iter().any(|&byte| byte != 0)
}

/// Bytes behind `at` that [`void`] is to make nothing of: whatever of an item of at most so many bytes may have
/// been begun there, and all that is not blank.
pub(super) fn torn(at: u32, last: u32, end: u32, most: u32) -> Range<u32> {
    let behind = Cursor::begun(at, end, most);
    at..behind.max((last + 1).next_multiple_of(GRANULE)).min(end)
}
