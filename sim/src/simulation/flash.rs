//! A virtual NOR flash: writing clears bits, erasing sets a whole sector. It counts how often each sector
//! was erased, loses its power in the middle of a write or an erase, flips bits, and wears out: sectors that an erase
//! does not make blank, and cells that are stuck at a value. What a cut left half done may read differently at each
//! start (data sheets of such parts warn of it).

use std::cell::RefCell;
use std::collections::BTreeMap;
use std::rc::Rc;

use embedded_storage::nor_flash::{ErrorType, NorFlash, NorFlashError, NorFlashErrorKind, ReadNorFlash};
use turntally_firmware::store::guard::SECTOR;

/// Bytes that are programmed together.
const PAGE: usize = 256;

/// Why a virtual flash refuses.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum FlashFailure {
    /// Outside of it, or not whole sectors.
    Range,
    /// It has no power any more.
    NoPower,
}

impl NorFlashError for FlashFailure {
    fn kind(&self) -> NorFlashErrorKind {
        match self {
            Self::Range => NorFlashErrorKind::OutOfBounds,
            Self::NoPower => NorFlashErrorKind::Other,
        }
    }
}

/// One thing that was done to a flash.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Change {
    /// These bytes were programmed, within one page.
    Program {
        /// The first.
        offset: usize,
        /// What was to stand there.
        bytes: Vec<u8>,
    },
    /// The sector that begins here was erased.
    Erase {
        /// Its first byte.
        offset: usize,
    },
}

impl Change {
    /// Bytes that it touches, one after the other: the places where the power can go.
    #[must_use]
    pub fn len(&self) -> usize {
        match self {
            Self::Program { bytes, .. } => bytes.len(),
            Self::Erase { .. } => SECTOR as usize,
        }
    }

    /// It touches nothing.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.len() == 0
    }
}

/// The cells.
#[derive(Debug, Clone)]
pub struct Cells {
    bytes: Vec<u8>,
    erases: Vec<u32>,
    /// Bits of each byte of a worn sector that an erase does not set any more.
    worn: Vec<u8>,
    /// Bits that are 0 or 1 whatever is done, by their byte.
    stuck: Vec<Stuck>,
    /// Bits that a cut left between 0 and 1, by their byte: what they read is drawn at each start.
    between: BTreeMap<usize, u8>,
}

#[derive(Debug, Clone, Copy)]
struct Stuck {
    byte: usize,
    at_0: u8,
    at_1: u8,
}

/// How far a program or an erase was when the power went.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Torn {
    /// Bits that have changed, and bits that have not.
    Mixed,
    /// Hardly begun: a few of the bits that were to change may read as if they had.
    Begun,
    /// Almost done: a few of the bits that were to change may read as if they had not.
    AlmostDone,
}

impl Cells {
    /// Blank ones.
    ///
    /// # Panics
    /// Where `length` is not whole sectors.
    #[must_use]
    pub fn blank(length: usize) -> Self {
        assert!(length.is_multiple_of(SECTOR as usize), "{length} bytes are not whole sectors");
        let sectors = length / SECTOR as usize;
        Self {
            bytes: vec![0xff; length],
            erases: vec![0; sectors],
            worn: vec![0; sectors],
            stuck: Vec::new(),
            between: BTreeMap::new(),
        }
    }

    /// What stands in them.
    #[must_use]
    pub fn bytes(&self) -> &[u8] {
        &self.bytes
    }

    /// As if they had been written to before.
    pub fn bytes_mut(&mut self) -> &mut [u8] {
        &mut self.bytes
    }

    /// How often each sector was erased.
    #[must_use]
    pub fn erases(&self) -> &[u32] {
        &self.erases
    }

    /// From now on an erase of this sector leaves `stuck` bits of each byte at 0.
    pub fn wear_out(&mut self, sector: usize, stuck: u8) {
        self.worn[sector] = stuck;
    }

    /// From now on these bits of this byte read 1, or 0, whatever is done.
    pub fn stick(&mut self, byte: usize, bits: u8, at_1: bool) {
        let (at_0, at_1) = if at_1 { (0, bits) } else { (bits, 0) };
        self.stuck.push(Stuck { byte, at_0, at_1 });
        self.hold_stuck();
    }

    fn hold_stuck(&mut self) {
        for &Stuck { byte, at_0, at_1 } in &self.stuck {
            self.bytes[byte] = self.bytes[byte] & !at_0 | at_1;
        }
    }

    /// The power comes back: bits that a cut left between 0 and 1 read as `rng` has it, until the next time.
    pub fn start(&mut self, rng: &mut fastrand::Rng) {
        for (&byte, &bits) in &self.between {
            self.bytes[byte] = self.bytes[byte] & !bits | rng.u8(..) & bits;
        }
        self.hold_stuck();
    }

    /// Bits that a cut left between 0 and 1.
    #[must_use]
    pub fn between(&self) -> u32 {
        self.between.values().map(|bits| bits.count_ones()).sum()
    }

    fn settle(&mut self, byte: usize, bits: u8) {
        if let Some(between) = self.between.get_mut(&byte) {
            *between &= !bits;
            if *between == 0 {
                self.between.remove(&byte);
            }
        }
    }

    /// Does a change until the power goes after `done` of its bytes, and leaves bits of the byte then in progress
    /// between 0 and 1; so may be all those behind it, since a real chip does not promise an order. Those bits read
    /// differently at each [`start`](Self::start).
    pub fn tear_between(&mut self, change: &Change, done: usize, rng: &mut fastrand::Rng) {
        let behind = rng.bool();
        let torn = [Torn::Mixed, Torn::Begun, Torn::AlmostDone][rng.usize(..3)];
        let (offset, length) = match change {
            Change::Program { offset, bytes } => (*offset, bytes.len()),
            Change::Erase { offset } => (*offset, SECTOR as usize),
        };
        for at in 0..length {
            let byte = offset + at;
            let (aim, change) = match change {
                Change::Program { bytes, .. } => {
                    (self.bytes[byte] & bytes[at], self.bytes[byte] & !bytes[at])
                }
                Change::Erase { .. } => {
                    let aim = !self.worn[offset / SECTOR as usize];
                    (aim, aim & !self.bytes[byte])
                }
            };
            // Bits that were between 0 and 1 before may be driven too.
            let change = change | self.between.get(&byte).copied().unwrap_or(0);
            if at < done {
                self.settle(byte, change);
                self.bytes[byte] = aim;
                continue;
            }
            if at > done && !behind {
                continue;
            }
            let few = if rng.u8(..8) == 0 { 1 << rng.u8(..8) } else { 0 };
            let (driven, between) = match torn {
                Torn::Mixed => (rng.u8(..), rng.u8(..)),
                Torn::Begun => (0, few),
                Torn::AlmostDone => (0xff, few),
            };
            self.bytes[byte] = self.bytes[byte] & !(change & driven) | aim & change & driven;
            if change & between != 0 {
                *self.between.entry(byte).or_default() |= change & between;
            }
        }
        if let Change::Erase { offset } = change {
            self.erases[offset / SECTOR as usize] += 1;
        }
        self.start(rng);
    }

    /// Does a whole change.
    pub fn make(&mut self, change: &Change) {
        match change {
            Change::Program { offset, bytes } => {
                for (at, byte) in bytes.iter().enumerate() {
                    self.settle(offset + at, !byte);
                    self.bytes[offset + at] &= byte;
                }
            }
            Change::Erase { offset } => {
                let sector = offset / SECTOR as usize;
                self.bytes[*offset..][..SECTOR as usize].fill(!self.worn[sector]);
                self.erases[sector] += 1;
                self.between.retain(|byte, _| byte / SECTOR as usize != sector);
            }
        }
        self.hold_stuck();
    }

    /// Does a change until the power goes after `done` of its bytes. The byte then in progress is torn:
    /// some of its bits have changed and some not. So may be, as `rng` has it, all those behind it, since
    /// a real chip does not promise an order.
    pub fn tear(&mut self, change: &Change, done: usize, rng: &mut fastrand::Rng) {
        let behind = rng.bool();
        match change {
            Change::Program { offset, bytes } => {
                for (at, (cell, byte)) in self.bytes[*offset..].iter_mut().zip(bytes).enumerate() {
                    let missing = match at {
                        at if at < done => 0,
                        at if at == done || behind => rng.u8(..),
                        _ => 0xff,
                    };
                    *cell &= byte | missing;
                }
            }
            Change::Erase { offset } => {
                let sector = offset / SECTOR as usize;
                self.erases[sector] += 1;
                for (at, cell) in self.bytes[*offset..][..SECTOR as usize].iter_mut().enumerate() {
                    *cell |= match at {
                        at if at < done => !self.worn[sector],
                        at if at == done || behind => rng.u8(..) & !self.worn[sector],
                        _ => 0,
                    };
                }
            }
        }
        self.hold_stuck();
    }
}

#[derive(Debug)]
struct Chip {
    cells: Cells,
    journal: Option<Vec<Change>>,
    /// Bytes until the power goes.
    left: Option<u64>,
    /// The cut leaves bits between 0 and 1.
    between: bool,
    rng: fastrand::Rng,
}

/// A flash chip; clones are the same chip.
#[derive(Debug, Clone)]
pub struct VirtualFlash(Rc<RefCell<Chip>>);

impl VirtualFlash {
    /// With these cells.
    #[must_use]
    pub fn new(cells: Cells) -> Self {
        let rng = fastrand::Rng::with_seed(1);
        Self(Rc::new(RefCell::new(Chip { cells, journal: None, left: None, between: false, rng })))
    }

    /// A copy of the cells.
    #[must_use]
    pub fn cells(&self) -> Cells {
        self.0.borrow().cells.clone()
    }

    /// Looks at the cells, or changes them.
    pub fn with_cells<T>(&self, act: impl FnOnce(&mut Cells) -> T) -> T {
        act(&mut self.0.borrow_mut().cells)
    }

    /// Returns what was done since the last call, and records it from now on.
    #[must_use]
    pub fn journal(&self) -> Vec<Change> {
        self.0.borrow_mut().journal.replace(Vec::new()).unwrap_or_default()
    }

    /// The power goes after so many more bytes have been programmed or erased.
    pub fn cut_after(&self, bytes: u64, seed: u64) {
        let mut chip = self.0.borrow_mut();
        chip.left = Some(bytes);
        chip.rng = fastrand::Rng::with_seed(seed);
    }

    /// From now on cuts leave bits between 0 and 1 ([`Cells::tear_between`]), which each start reads anew.
    pub fn tear_between(&self) {
        self.0.borrow_mut().between = true;
    }

    /// Whether the power has gone.
    #[must_use]
    pub fn is_off(&self) -> bool {
        self.0.borrow().left == Some(0)
    }

    /// The power is back.
    pub fn power_on(&self) {
        let Chip { cells, left, rng, .. } = &mut *self.0.borrow_mut();
        *left = None;
        cells.start(rng);
    }
}

impl Chip {
    fn powered(&self) -> Result<(), FlashFailure> {
        if self.left == Some(0) { Err(FlashFailure::NoPower) } else { Ok(()) }
    }

    fn change(&mut self, change: Change) -> Result<(), FlashFailure> {
        self.powered()?;
        let length = change.len() as u64;
        match &mut self.left {
            Some(left) if *left <= length => {
                let done = usize::try_from(*left).unwrap_or(usize::MAX);
                *left = 0;
                if self.between {
                    self.cells.tear_between(&change, done, &mut self.rng);
                } else {
                    self.cells.tear(&change, done, &mut self.rng);
                }
                return Err(FlashFailure::NoPower);
            }
            Some(left) => *left -= length,
            None => {}
        }
        self.cells.make(&change);
        if let Some(journal) = &mut self.journal {
            journal.push(change);
        }
        Ok(())
    }

    fn range(&self, offset: u32, length: usize) -> Result<core::ops::Range<usize>, FlashFailure> {
        let start = offset as usize;
        let end = start.checked_add(length).filter(|&end| end <= self.cells.bytes.len());
        end.map(|end| start..end).ok_or(FlashFailure::Range)
    }
}

impl ErrorType for VirtualFlash {
    type Error = FlashFailure;
}

impl ReadNorFlash for VirtualFlash {
    const READ_SIZE: usize = 1;

    fn read(&mut self, offset: u32, bytes: &mut [u8]) -> Result<(), FlashFailure> {
        let chip = self.0.borrow();
        chip.powered()?;
        let range = chip.range(offset, bytes.len())?;
        bytes.copy_from_slice(&chip.cells.bytes[range]);
        Ok(())
    }

    fn capacity(&self) -> usize {
        self.0.borrow().cells.bytes.len()
    }
}

impl NorFlash for VirtualFlash {
    const WRITE_SIZE: usize = 1;
    const ERASE_SIZE: usize = SECTOR as usize;

    fn erase(&mut self, from: u32, to: u32) -> Result<(), FlashFailure> {
        let mut chip = self.0.borrow_mut();
        let range = chip.range(from, to.saturating_sub(from) as usize)?;
        if !from.is_multiple_of(SECTOR) || !to.is_multiple_of(SECTOR) {
            return Err(FlashFailure::Range);
        }
        range.step_by(SECTOR as usize).try_for_each(|offset| chip.change(Change::Erase { offset }))
    }

    fn write(&mut self, offset: u32, bytes: &[u8]) -> Result<(), FlashFailure> {
        let mut chip = self.0.borrow_mut();
        let mut at = chip.range(offset, bytes.len())?.start;
        let mut rest = bytes;
        while !rest.is_empty() {
            let (now, later) = rest.split_at(rest.len().min(PAGE - at % PAGE));
            chip.change(Change::Program { offset: at, bytes: now.to_vec() })?;
            at += now.len();
            rest = later;
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn flash() -> VirtualFlash {
        VirtualFlash::new(Cells::blank(4 * SECTOR as usize))
    }

    /// Writing clears bits and cannot set them; only an erase of the whole sector does.
    #[test]
    fn bits_go_down_until_the_sector_is_erased() {
        let mut flash = flash();
        let mut byte = [0];
        assert_eq!(flash.write(SECTOR + 7, &[0xf0]), Ok(()));
        assert_eq!(flash.write(SECTOR + 7, &[0x3f]), Ok(()));
        assert_eq!(flash.read(SECTOR + 7, &mut byte), Ok(()));
        assert_eq!(byte, [0x30]);
        assert_eq!(flash.erase(SECTOR, 2 * SECTOR), Ok(()));
        assert_eq!(flash.read(SECTOR + 7, &mut byte), Ok(()));
        assert_eq!((byte, flash.cells().erases()), ([0xff], &[0, 1, 0, 0][..]));
    }

    /// After the cut nothing works until the power is back, and no byte behind it is what it was to be
    /// unless by chance.
    #[test]
    fn power_goes_after_the_byte() {
        for cut in 0..8 {
            let mut flash = flash();
            flash.cut_after(cut, cut);
            assert_eq!(flash.write(250, &[0; 8]), Err(FlashFailure::NoPower));
            assert!(flash.is_off());
            assert_eq!(flash.read(0, &mut [0]), Err(FlashFailure::NoPower));
            flash.power_on();
            let cells = flash.cells();
            assert!(cells.bytes()[250..][..cut as usize].iter().all(|&byte| byte == 0), "cut after {cut}");
            assert_eq!(cells.bytes()[258], 0xff);
        }
    }

    /// A worn sector does not come back.
    #[test]
    fn worn_sector_keeps_zeros() {
        let mut flash = flash();
        flash.with_cells(|cells| cells.wear_out(2, 0x04));
        assert_eq!(flash.erase(2 * SECTOR, 3 * SECTOR), Ok(()));
        let mut byte = [0];
        assert_eq!(flash.read(2 * SECTOR, &mut byte), Ok(()));
        assert_eq!(byte, [0xfb]);
    }

    /// Outside of the chip, and erases of less than a sector, are refused.
    #[test]
    fn wrong_places_are_refused() {
        let mut flash = flash();
        assert_eq!(flash.write(4 * SECTOR - 1, &[0, 0]), Err(FlashFailure::Range));
        assert_eq!(flash.erase(0, 100), Err(FlashFailure::Range));
        assert_eq!(flash.erase(0, 5 * SECTOR), Err(FlashFailure::Range));
    }
}
