//! The flash behind a guard that keeps the processor free when it is needed.
//!
//! While a NOR flash erases (45 ms, at worst 400 ms) or programs (0.7 ms, at worst 3 ms: data sheets of
//! such parts, from memory), a chip that runs its program from it stands still. So nothing is erased
//! while a coil is on the mandrel, and nothing is programmed while the cue may change.

use core::fmt;

use embedded_storage::nor_flash::{NorFlash as BlockingFlash, NorFlashError, NorFlashErrorKind};
use turntally_core::time::Duration;

/// Bytes that are erased together.
pub const SECTOR: u32 = 4_096;
/// Bytes that are programmed together.
const PAGE: u32 = 256;
/// How long the cue must stay as it is for a page to be programmed: the longest program, a tick that
/// comes before it and the ones that were held up by it.
pub const PROGRAM_SPAN: Duration = Duration::from_millis(8);

/// Says when the processor may stand still.
pub trait Gate {
    /// No coil is on the mandrel: it may stand still for as long as an erase takes.
    fn may_erase(&self) -> bool;
    /// Waits until it may stand still for [`PROGRAM_SPAN`], and uses this permission up.
    fn wait_until_clear(&self);
    /// Lets others run between two erases: long enough for a key to be seen.
    fn breathe(&self);
}

/// A gate that is always open: for a board whose processor does not stand still.
#[derive(Debug, Clone, Copy, Default)]
pub struct Open;

impl Gate for Open {
    fn may_erase(&self) -> bool {
        true
    }

    fn wait_until_clear(&self) {}

    fn breathe(&self) {}
}

/// What went wrong with the flash.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum FlashError {
    /// The driver refused or failed.
    Driver(NorFlashErrorKind),
    /// What was written does not stand there: the cells are worn, or were not blank.
    NotWritten,
    /// A sector was erased and is not blank: it is worn.
    NotErased,
    /// An erase was wanted while a coil is on the mandrel.
    Turning,
}

impl fmt::Display for FlashError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Driver(_) => "Flash does not answer",
            Self::NotWritten => "Flash keeps no writing",
            Self::NotErased => "Flash is worn out",
            Self::Turning => "No room while winding",
        })
    }
}

impl core::error::Error for FlashError {}

/// A flash that is guarded by a gate, and read again after each change.
#[derive(Debug)]
pub struct Guard<F, G> {
    flash: F,
    gate: G,
}

impl<F: BlockingFlash, G: Gate> Guard<F, G> {
    /// Guards this flash. Its sectors must have [`SECTOR`] bytes, and it must program single bytes.
    pub const fn new(flash: F, gate: G) -> Self {
        Self { flash, gate }
    }

    /// The flash inside.
    pub const fn flash(&mut self) -> &mut F {
        &mut self.flash
    }

    /// Reads.
    ///
    /// # Errors
    /// Where the flash cannot be read.
    pub fn look(&mut self, offset: u32, bytes: &mut [u8]) -> Result<(), FlashError> {
        self.flash.read(offset, bytes).map_err(driver)
    }

    /// The last byte of `from..to` that is not blank.
    ///
    /// # Errors
    /// Where the flash cannot be read.
    pub fn last_used(&mut self, from: u32, to: u32) -> Result<Option<u32>, FlashError> {
        let mut block = [0; 64];
        let mut end = to;
        while end > from {
            let length = (end - from).min(64);
            end -= length;
            let bytes = block.get_mut(..length as usize).unwrap_or_default();
            self.look(end, bytes)?;
            if let Some(place) = bytes.iter().rposition(|&byte| byte != 0xff) {
                return Ok(Some(end + place as u32));
            }
        }
        Ok(None)
    }

    /// Erases one sector. It is erased though it reads blank: an erase that a power cut left half done may leave cells
    /// that read differently at the next start.
    ///
    /// # Errors
    /// [`FlashError::Turning`] while a coil is on the mandrel; [`FlashError::NotErased`] where it is
    /// worn.
    pub fn make_blank(&mut self, sector: u32) -> Result<(), FlashError> {
        let end = sector.saturating_add(SECTOR);
        if !self.gate.may_erase() {
            return Err(FlashError::Turning);
        }
        self.flash.erase(sector, end).map_err(driver)?;
        self.gate.breathe();
        if self.last_used(sector, end)?.is_some() {
            return Err(FlashError::NotErased);
        }
        Ok(())
    }
}

fn driver<E: NorFlashError>(error: E) -> FlashError {
    FlashError::Driver(error.kind())
}

impl<F: BlockingFlash, G: Gate> Guard<F, G> {
    /// Programs bytes, a page at a time, and reads them again.
    ///
    /// # Errors
    /// [`FlashError::NotWritten`] where they do not stand there then.
    pub fn program(&mut self, offset: u32, bytes: &[u8]) -> Result<(), FlashError> {
        let (mut at, mut rest) = (offset, bytes);
        while !rest.is_empty() {
            // One page at a time, each with a permission of its own.
            let (now, later) = rest.split_at(rest.len().min((PAGE - at % PAGE) as usize));
            self.gate.wait_until_clear();
            self.flash.write(at, now).map_err(driver)?;
            self.verify(at, now)?;
            at += now.len() as u32;
            rest = later;
        }
        Ok(())
    }

    fn verify(&mut self, offset: u32, bytes: &[u8]) -> Result<(), FlashError> {
        let mut block = [0; 64];
        for (at, expected) in (offset..).step_by(64).zip(bytes.chunks(64)) {
            let found = block.get_mut(..expected.len()).unwrap_or_default();
            self.look(at, found)?;
            if found != expected {
                return Err(FlashError::NotWritten);
            }
        }
        Ok(())
    }
}
