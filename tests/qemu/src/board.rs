//! A board in memory: pins, a sounder, a screen and a flash, by embedded-hal's traits. It shares no code with the
//! desktop's board.

use core::cell::{Cell, RefCell};
use core::convert::Infallible;

use embedded_hal::digital::{self, InputPin, OutputPin};
use embedded_hal::i2c::{self, ErrorKind, I2c, NoAcknowledgeSource, Operation};
use embedded_storage::nor_flash::{self, NorFlash, NorFlashErrorKind, ReadNorFlash};
use turntally_firmware::display::{FRAME_BYTES, Frame};
use turntally_firmware::pwm::{Slice, Wave};
use turntally_firmware::screen_chip::Chip as Controller;
use turntally_firmware::store::Layout;
use turntally_firmware::store::guard::SECTOR;

/// A level that a pin drives or reads.
#[derive(Clone, Copy)]
pub struct Pin<'a>(&'a Cell<bool>);

impl digital::ErrorType for Pin<'_> {
    type Error = Infallible;
}

impl InputPin for Pin<'_> {
    fn is_high(&mut self) -> Result<bool, Infallible> {
        Ok(self.0.get())
    }

    fn is_low(&mut self) -> Result<bool, Infallible> {
        Ok(!self.0.get())
    }
}

impl OutputPin for Pin<'_> {
    fn set_low(&mut self) -> Result<(), Infallible> {
        self.0.set(false);
        Ok(())
    }

    fn set_high(&mut self) -> Result<(), Infallible> {
        self.0.set(true);
        Ok(())
    }
}

/// Every line of the board.
pub struct Lines {
    pub encoder: [Cell<bool>; 2],
    pub knob: [Cell<bool>; 2],
    /// Keys to ground: low is down.
    pub yes: Cell<bool>,
    pub no: Cell<bool>,
    /// Red, yellow, green.
    pub lamps: [Cell<bool>; 3],
    pub stop: Cell<bool>,
    pub wave: Cell<Wave>,
}

impl Lines {
    pub const fn new() -> Self {
        Self {
            encoder: [const { Cell::new(false) }; 2],
            knob: [const { Cell::new(false) }; 2],
            yes: Cell::new(true),
            no: Cell::new(true),
            lamps: [const { Cell::new(false) }; 3],
            stop: Cell::new(false),
            wave: Cell::new(Wave::SILENCE),
        }
    }
}

pub const fn pin(level: &Cell<bool>) -> Pin<'_> {
    Pin(level)
}

/// The sounder's slice.
pub struct Sounder<'a>(pub &'a Cell<Wave>);

impl Slice for Sounder<'_> {
    fn set(&mut self, wave: Wave) {
        self.0.set(wave);
    }
}

/// The other of a screen's two addresses: the desktop's screen is at the first.
const ADDRESS: u8 = 0x3d;
/// The status of an SSD1306 whose display is on, which it gives to whoever reads from it.
const STATUS: u8 = 0x00;
const COLUMNS: usize = FRAME_BYTES / 8;

/// What an SSD1306 has in its memory. It knows the setup that the library sends, as a whole, and data with their place
/// before them; the desktop's virtual screen and the emulated Pico's read each command.
pub struct Screen(RefCell<Chip>);

struct Chip {
    plugged: bool,
    on: bool,
    memory: [u8; FRAME_BYTES],
}

impl Screen {
    pub const fn new() -> Self {
        Self(RefCell::new(Chip { plugged: true, on: false, memory: [0x5a; FRAME_BYTES] }))
    }

    /// Takes it off its wires, or puts it back, as it comes out of power-on.
    pub fn plug(&self, plugged: bool) {
        let mut chip = self.0.borrow_mut();
        *chip = Chip { plugged, on: false, memory: [0x5a; FRAME_BYTES] };
    }

    pub fn picture(&self) -> Frame {
        let chip = self.0.borrow();
        if chip.plugged && chip.on { Frame::from_bytes(chip.memory) } else { Frame::new() }
    }
}

impl Chip {
    fn write(&mut self, bytes: &[u8]) -> Result<(), ErrorKind> {
        match *bytes {
            [
                0x80,
                page @ 0xb0..=0xb7,
                0x80,
                low @ 0x00..=0x0f,
                0x80,
                high @ 0x10..=0x17,
                0x40,
                ref data @ ..,
            ] => {
                let column = usize::from(high & 0x07) << 4 | usize::from(low);
                let from = usize::from(page & 0x07) * COLUMNS + column;
                if column + data.len() > COLUMNS {
                    return Err(ErrorKind::Other);
                }
                self.memory.get_mut(from..from + data.len()).ok_or(ErrorKind::Other)?.copy_from_slice(data);
            }
            // A place, and what is read next is data: not of this chip.
            [0x80, 0xb0..=0xb7, 0x80, 0x00..=0x0f, 0x80, 0x10..=0x17, 0xc0] => {}
            _ if bytes == Controller::Ssd1306.setup() => self.on = true,
            _ => return Err(ErrorKind::Other),
        }
        Ok(())
    }
}

impl i2c::ErrorType for &Screen {
    type Error = ErrorKind;
}

impl I2c for &Screen {
    fn transaction(&mut self, address: u8, operations: &mut [Operation<'_>]) -> Result<(), ErrorKind> {
        let mut chip = self.0.borrow_mut();
        if !chip.plugged || address != ADDRESS {
            return Err(ErrorKind::NoAcknowledge(NoAcknowledgeSource::Address));
        }
        operations.iter_mut().try_for_each(|operation| match operation {
            Operation::Write(bytes) => chip.write(bytes),
            Operation::Read(bytes) => {
                bytes.fill(STATUS);
                Ok(())
            }
        })
    }
}

/// Bytes of the flash that a store of [`Layout::PICO`] uses; those of the program are left out.
pub const FLASH_BYTES: usize = (Layout::PICO.log_end - Layout::PICO.records) as usize;

/// The flash: an erase sets bits, a program clears them.
pub struct Flash<'a>(pub &'a mut [u8; FLASH_BYTES]);

impl Flash<'_> {
    fn place(&mut self, offset: u32, length: usize) -> Result<&mut [u8], NorFlashErrorKind> {
        let start = offset.checked_sub(Layout::PICO.records).ok_or(NorFlashErrorKind::OutOfBounds)? as usize;
        self.0.get_mut(start..start + length).ok_or(NorFlashErrorKind::OutOfBounds)
    }
}

impl nor_flash::ErrorType for Flash<'_> {
    type Error = NorFlashErrorKind;
}

impl ReadNorFlash for Flash<'_> {
    const READ_SIZE: usize = 1;

    fn read(&mut self, offset: u32, bytes: &mut [u8]) -> Result<(), NorFlashErrorKind> {
        bytes.copy_from_slice(self.place(offset, bytes.len())?);
        Ok(())
    }

    fn capacity(&self) -> usize {
        Layout::PICO.log_end as usize
    }
}

impl NorFlash for Flash<'_> {
    const WRITE_SIZE: usize = 1;
    const ERASE_SIZE: usize = SECTOR as usize;

    fn erase(&mut self, from: u32, to: u32) -> Result<(), NorFlashErrorKind> {
        if !from.is_multiple_of(SECTOR) || !to.is_multiple_of(SECTOR) {
            return Err(NorFlashErrorKind::NotAligned);
        }
        self.place(from, to.saturating_sub(from) as usize)?.fill(0xff);
        Ok(())
    }

    fn write(&mut self, offset: u32, bytes: &[u8]) -> Result<(), NorFlashErrorKind> {
        let cells = self.place(offset, bytes.len())?;
        cells.iter_mut().zip(bytes).for_each(|(cell, byte)| *cell &= byte);
        Ok(())
    }
}
