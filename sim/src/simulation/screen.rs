//! A virtual SSD1306: it shows what the bytes on its bus make it show (data sheet, from memory).
//! Whatever it does not know is refused as an error on the bus, so that no test can miss it.

use std::cell::RefCell;
use std::rc::Rc;

use embedded_hal::i2c::{ErrorKind, ErrorType, I2c, NoAcknowledgeSource, Operation};
use turntally_core::time::Instant;
use turntally_firmware::app::App;
use turntally_firmware::display::{FRAME_BYTES, Frame};
use turntally_firmware::oled::Oled;
use turntally_firmware::ssd1306::ADDRESS;

use crate::failure::Failure;

const COLUMNS: usize = 128;

/// Why a transfer failed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum BusError {
    /// Nobody answers at this address.
    NoAnswer(u8),
    /// Bytes that the screen does not know, from this one on.
    Unknown(u8),
    /// A transfer ended in the middle of a command.
    Incomplete(u8),
    /// The screen is only ever written to here.
    Read,
}

impl embedded_hal::i2c::Error for BusError {
    fn kind(&self) -> ErrorKind {
        match self {
            Self::NoAnswer(_) => ErrorKind::NoAcknowledge(NoAcknowledgeSource::Address),
            _ => ErrorKind::Other,
        }
    }
}

#[derive(Debug)]
struct Chip {
    memory: [u8; FRAME_BYTES],
    horizontal: bool,
    columns: (usize, usize),
    pages: (usize, usize),
    column: usize,
    page: usize,
    on: bool,
    pump: bool,
    inverse: bool,
    all_lit: bool,
    mirrored_columns: bool,
    mirrored_rows: bool,
    start_line: u32,
    offset: u32,
    /// Something in the memory is not what it was.
    changed: bool,
}

impl Chip {
    /// As it comes out of power-on: dark, its memory full of noise.
    fn power_up() -> Self {
        Self {
            memory: core::array::from_fn(|i| (i * 197 + 91) as u8),
            horizontal: false,
            columns: (0, COLUMNS - 1),
            pages: (0, 7),
            column: 0,
            page: 0,
            on: false,
            pump: false,
            inverse: false,
            all_lit: false,
            mirrored_columns: false,
            mirrored_rows: false,
            start_line: 0,
            offset: 0,
            changed: true,
        }
    }

    fn transfer(&mut self, bytes: &[u8]) -> Result<(), BusError> {
        match bytes.split_first() {
            Some((0x00, commands)) => self.commands(commands),
            Some((0x40, data)) if self.horizontal => {
                data.iter().for_each(|&byte| self.data(byte));
                Ok(())
            }
            Some((&other, _)) => Err(BusError::Unknown(other)),
            None => Ok(()),
        }
    }

    fn commands(&mut self, mut bytes: &[u8]) -> Result<(), BusError> {
        while let Some((&command, rest)) = bytes.split_first() {
            bytes = match (command, rest) {
                (0x20 | 0x81 | 0x8d | 0xa8 | 0xd3 | 0xd5 | 0xd9 | 0xda | 0xdb, [value, rest @ ..]) => {
                    self.set(command, *value)?;
                    rest
                }
                (0x21 | 0x22, [first, last, rest @ ..]) => {
                    self.window(command, usize::from(*first), usize::from(*last))?;
                    rest
                }
                (0x20..=0x22 | 0x81 | 0x8d | 0xa8 | 0xd3 | 0xd5 | 0xd9..=0xdb, _) => {
                    return Err(BusError::Incomplete(command));
                }
                _ => {
                    self.plain(command)?;
                    rest
                }
            };
        }
        Ok(())
    }

    fn set(&mut self, command: u8, value: u8) -> Result<(), BusError> {
        match (command, value) {
            (0x20, 0) => self.horizontal = true,
            (0x8d, 0x10 | 0x14) => self.pump = value == 0x14,
            (0xd3, 0..=63) => self.offset = u32::from(value),
            // 64 rows, wired alternately: the only module there is here.
            (0xa8, 0x3f) | (0xda, 0x12) => {}
            // Contrast and timing do not change the picture.
            (0x81 | 0xd5 | 0xd9 | 0xdb, _) => {}
            _ => return Err(BusError::Unknown(value)),
        }
        Ok(())
    }

    fn window(&mut self, command: u8, first: usize, last: usize) -> Result<(), BusError> {
        let end = if command == 0x21 { COLUMNS } else { FRAME_BYTES / COLUMNS };
        if first > last || last >= end {
            return Err(BusError::Unknown(command));
        }
        if command == 0x21 {
            (self.columns, self.column) = ((first, last), first);
        } else {
            (self.pages, self.page) = ((first, last), first);
        }
        Ok(())
    }

    fn plain(&mut self, command: u8) -> Result<(), BusError> {
        match command {
            0x2e | 0xe3 => {}
            0x40..=0x7f => self.start_line = u32::from(command & 0x3f),
            0xa0 | 0xa1 => self.mirrored_columns = command == 0xa0,
            0xa4 | 0xa5 => self.all_lit = command == 0xa5,
            0xa6 | 0xa7 => self.inverse = command == 0xa7,
            0xae | 0xaf => self.on = command == 0xaf,
            0xc0 | 0xc8 => self.mirrored_rows = command == 0xc0,
            _ => return Err(BusError::Unknown(command)),
        }
        Ok(())
    }

    fn data(&mut self, byte: u8) {
        // The order of the columns applies to what is written after it was set.
        let column = if self.mirrored_columns { COLUMNS - 1 - self.column } else { self.column };
        if let Some(place) = self.memory.get_mut(self.page * COLUMNS + column) {
            self.changed |= *place != byte;
            *place = byte;
        }
        self.column += 1;
        if self.column > self.columns.1 {
            self.column = self.columns.0;
            self.page = if self.page == self.pages.1 { self.pages.0 } else { self.page + 1 };
        }
    }

    fn picture(&self) -> Frame {
        let mut bytes = [0; FRAME_BYTES];
        if self.on && self.pump {
            for column in 0..COLUMNS {
                let seen = self.column_seen(column).to_le_bytes();
                bytes.iter_mut().skip(column).step_by(COLUMNS).zip(seen).for_each(|(to, from)| *to = from);
            }
        }
        Frame::from_bytes(bytes)
    }

    /// A column as it is seen, the topmost row in bit 0.
    fn column_seen(&self, column: usize) -> u64 {
        if self.all_lit {
            return u64::MAX;
        }
        let mut rows = [0; 8];
        rows.iter_mut()
            .zip(self.memory.iter().skip(column).step_by(COLUMNS))
            .for_each(|(to, from)| *to = *from);
        let rows = u64::from_le_bytes(rows).rotate_right(self.start_line + self.offset);
        let rows = if self.mirrored_rows { rows.reverse_bits() } else { rows };
        if self.inverse { !rows } else { rows }
    }
}

#[derive(Debug)]
struct Socket {
    chip: Chip,
    plugged: bool,
    fault: Option<BusError>,
}

/// The virtual screen, and the bus that leads to it: clones share it.
#[derive(Debug, Clone)]
pub struct VirtualScreen(Rc<RefCell<Socket>>);

impl Default for VirtualScreen {
    fn default() -> Self {
        Self(Rc::new(RefCell::new(Socket { chip: Chip::power_up(), plugged: true, fault: None })))
    }
}

impl VirtualScreen {
    /// Pulls the screen off its wires, or plugs it in again, fresh from power-on.
    pub fn plug(&self, plugged: bool) {
        let mut socket = self.0.borrow_mut();
        socket.plugged = plugged;
        socket.chip = Chip::power_up();
    }

    /// It hangs on its wires.
    #[must_use]
    pub fn is_plugged(&self) -> bool {
        self.0.borrow().plugged
    }

    /// What is to be seen: dark if it is unplugged, off or without its charge pump.
    #[must_use]
    pub fn picture(&self) -> Frame {
        let socket = self.0.borrow();
        if socket.plugged { socket.chip.picture() } else { Frame::new() }
    }

    /// Whether its memory has changed, or it was plugged in or out, since this was asked last.
    #[must_use]
    pub fn has_changed(&self) -> bool {
        std::mem::take(&mut self.0.borrow_mut().chip.changed)
    }

    /// The first command that the screen did not understand.
    #[must_use]
    pub fn fault(&self) -> Option<BusError> {
        self.0.borrow().fault
    }
}

impl ErrorType for VirtualScreen {
    type Error = BusError;
}

impl I2c for VirtualScreen {
    fn transaction(&mut self, address: u8, operations: &mut [Operation<'_>]) -> Result<(), BusError> {
        let mut socket = self.0.borrow_mut();
        if !socket.plugged || address != ADDRESS {
            return Err(BusError::NoAnswer(address));
        }
        for operation in operations {
            let done = match operation {
                Operation::Write(bytes) => socket.chip.transfer(bytes),
                Operation::Read(_) => Err(BusError::Read),
            };
            if let Err(error) = done {
                socket.fault.get_or_insert(error);
                return Err(error);
            }
        }
        Ok(())
    }
}

/// The virtual screen with the library's driver before it: what a board has of a screen.
#[derive(Debug)]
pub struct ScreenBus {
    module: VirtualScreen,
    driver: Oled<VirtualScreen>,
}

impl Default for ScreenBus {
    fn default() -> Self {
        let module = VirtualScreen::default();
        Self { driver: Oled::new(module.clone()), module }
    }
}

impl ScreenBus {
    /// What hangs on the bus.
    #[must_use]
    pub const fn module(&self) -> &VirtualScreen {
        &self.module
    }

    /// Draws and sends what is due; whether something else is to be seen than the last time.
    ///
    /// # Errors
    /// Where the screen was sent what it does not understand. One that does not answer is no error:
    /// the driver tries again.
    pub fn update(&mut self, now: Instant, app: &mut App) -> Result<bool, Failure> {
        let drawn = app.redraw(now);
        match self.driver.update(now, app.frame(), drawn) {
            Ok(true) => app.panel_has(app.view().picture, now),
            Ok(false) => {}
            Err(BusError::NoAnswer(_)) => app.panel_lost(),
            Err(fault) => {
                return Err(Failure::new(format!(
                    "the screen does not understand what it is sent: {fault:?}"
                )));
            }
        }
        Ok(self.module.has_changed())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use turntally_firmware::ssd1306::SETUP;

    /// Bytes outside what is known are errors, and remembered; so are half commands, windows off the
    /// screen, and data before the order of the bytes was set.
    #[test]
    fn nothing_unknown_goes_by() {
        let wrong: [(&[u8], BusError); 5] = [
            (&[0x00, 0xaf, 0xff], BusError::Unknown(0xff)),
            (&[0x80, 0xaf], BusError::Unknown(0x80)),
            (&[0x00, 0x21, 0x00], BusError::Incomplete(0x21)),
            (&[0x00, 0x22, 0x00, 0x08], BusError::Unknown(0x22)),
            (&[0x40, 0x01], BusError::Unknown(0x40)),
        ];
        for (bytes, error) in wrong {
            let mut screen = VirtualScreen::default();
            assert_eq!(screen.write(ADDRESS, bytes), Err(error));
            assert_eq!(screen.fault(), Some(error));
        }
        let mut screen = VirtualScreen::default();
        assert_eq!(screen.write(0x3d, SETUP), Err(BusError::NoAnswer(0x3d)));
        assert_eq!(screen.fault(), None);
    }

    /// A window fills by rows and wraps into its own corner; start line, inversion and "off" show.
    #[test]
    fn bytes_go_where_the_window_is() {
        let mut screen = VirtualScreen::default();
        let mut write = |bytes: &[u8]| assert_eq!(screen.write(ADDRESS, bytes), Ok(()));
        write(SETUP);
        write(&[0x00, 0x21, 0, 127, 0x22, 0, 7]);
        write(&[[0x40].as_slice(), &[0; FRAME_BYTES]].concat());
        write(&[0x00, 0x21, 10, 11, 0x22, 2, 3]);
        write(&[0x40, 1, 2, 4, 8, 16]);
        let lit = |screen: &VirtualScreen| {
            let picture = screen.picture();
            let all = (0..64).flat_map(|y| (0..128).map(move |x| (x, y)));
            all.filter(|&(x, y)| picture.pixel(x, y)).collect::<Vec<_>>()
        };
        assert_eq!(lit(&screen), [(11, 17), (10, 20), (10, 26), (11, 27)]);
        assert_eq!(screen.write(ADDRESS, &[0x00, 0x50]), Ok(()));
        assert_eq!(lit(&screen), [(11, 1), (10, 4), (10, 10), (11, 11)]);
        assert_eq!(screen.write(ADDRESS, &[0x00, 0xa7]), Ok(()));
        assert_eq!(lit(&screen).len(), 128 * 64 - 4);
        assert_eq!(screen.write(ADDRESS, &[0x00, 0xae]), Ok(()));
        assert_eq!(lit(&screen), []);
    }
}
