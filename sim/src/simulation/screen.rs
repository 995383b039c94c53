//! A virtual screen: it shows what the bytes on its bus make it show, with the controller SSD1306 or SH1106 (data
//! sheets, from memory). Whatever the controller does not know is refused as an error on the bus, so that no test can
//! miss it; so is what it knows and the firmware has no use for.

use std::cell::RefCell;
use std::rc::Rc;

use embedded_hal::i2c::{ErrorKind, ErrorType, I2c, NoAcknowledgeSource, Operation};
use turntally_core::time::Instant;
use turntally_firmware::app::App;
use turntally_firmware::display::{FRAME_BYTES, Frame};
use turntally_firmware::oled::Oled;
use turntally_firmware::screen_chip::ADDRESSES;

use crate::failure::Failure;

/// Columns that can be seen.
const VISIBLE: usize = 128;
const PAGES: usize = FRAME_BYTES / VISIBLE;
/// Columns of the widest controller.
const WIDEST: usize = 132;

/// What hangs on the bus.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub enum Module {
    /// With an SSD1306: a read gives its status, again and again.
    #[default]
    Ssd1306,
    /// With one that does not acknowledge a read.
    WriteOnlySsd1306,
    /// With one whose memory can be read, as makers of modules describe some. Column numbers have seven bits there.
    ReadableSsd1306,
    /// With an SH1106.
    Sh1106,
}

impl Module {
    /// All of them.
    pub const ALL: [Self; 4] = [Self::Ssd1306, Self::WriteOnlySsd1306, Self::ReadableSsd1306, Self::Sh1106];

    /// Columns of its memory, and the first of those that can be seen.
    const fn columns(self) -> (usize, usize) {
        match self {
            Self::Ssd1306 | Self::WriteOnlySsd1306 | Self::ReadableSsd1306 => (VISIBLE, 0),
            Self::Sh1106 => (WIDEST, 2),
        }
    }
}

/// Why a transfer failed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum BusError {
    /// Nobody answers at this address.
    NoAnswer(u8),
    /// Bytes that the screen does not know, from this one on.
    Unknown(u8),
    /// A transfer ended in the middle of a command.
    Incomplete(u8),
    /// Nobody answers a read at this address.
    WriteOnly(u8),
}

impl embedded_hal::i2c::Error for BusError {
    fn kind(&self) -> ErrorKind {
        match self {
            Self::NoAnswer(_) | Self::WriteOnly(_) => ErrorKind::NoAcknowledge(NoAcknowledgeSource::Address),
            _ => ErrorKind::Other,
        }
    }
}

#[derive(Debug)]
struct Chip {
    module: Module,
    memory: [[u8; WIDEST]; PAGES],
    column: usize,
    page: usize,
    /// A command that waits for its value.
    begun: Option<u8>,
    /// The last byte written was announced as data, or data were announced and none came: data are read next.
    reads_data: bool,
    /// Nothing was read since the column was set: what comes next is no data yet.
    dummy: bool,
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
    fn power_up(module: Module) -> Self {
        Self {
            module,
            memory: core::array::from_fn(|page| {
                core::array::from_fn(|column| ((page * VISIBLE + column) * 197 + 91) as u8)
            }),
            column: 0,
            page: 0,
            begun: None,
            reads_data: false,
            dummy: true,
            on: false,
            pump: module == Module::Sh1106,
            inverse: false,
            all_lit: false,
            mirrored_columns: true,
            mirrored_rows: true,
            start_line: 0,
            offset: 0,
            changed: true,
        }
    }

    /// One write: bytes that announce one more byte or all the rest, each with what it announces.
    fn transfer(&mut self, mut bytes: &[u8]) -> Result<(), BusError> {
        while let Some((&control, rest)) = bytes.split_first() {
            let (what, after) = match control {
                0x80 | 0xc0 => rest.split_at(rest.len().min(1)),
                0x00 | 0x40 => (rest, [].as_slice()),
                other => return Err(BusError::Unknown(other)),
            };
            self.reads_data = control & 0x40 != 0;
            if !self.reads_data && what.is_empty() {
                return Err(BusError::Incomplete(control));
            }
            for &byte in what {
                if self.reads_data { self.data(byte)? } else { self.command(byte)? }
            }
            bytes = after;
        }
        self.begun.take().map_or(Ok(()), |command| Err(BusError::Incomplete(command)))
    }

    fn command(&mut self, byte: u8) -> Result<(), BusError> {
        if let Some(command) = self.begun.take() {
            return self.set(command, byte);
        }
        match (byte, self.module == Module::Sh1106) {
            (0x81 | 0xa8 | 0xd3 | 0xd5 | 0xd9..=0xdb, _) | (0x20 | 0x8d, false) | (0xad, true) => {
                self.begun = Some(byte);
                Ok(())
            }
            _ => self.plain(byte),
        }
    }

    fn set(&mut self, command: u8, value: u8) -> Result<(), BusError> {
        match (command, value) {
            (0x8d, 0x10 | 0x14) => self.pump = value == 0x14,
            // The converter is not switched while the display is on.
            (0xad, 0x8a | 0x8b) if !self.on => self.pump = value == 0x8b,
            (0xd3, 0..=63) => self.offset = u32::from(value),
            // Page addressing; 64 rows, wired alternately: the only module there is here.
            (0x20, 0x02) | (0xa8, 0x3f) | (0xda, 0x12) => {}
            // Contrast and timing do not change the picture.
            (0x81 | 0xd5 | 0xd9 | 0xdb, _) => {}
            _ => return Err(BusError::Unknown(value)),
        }
        Ok(())
    }

    fn plain(&mut self, command: u8) -> Result<(), BusError> {
        let low = usize::from(command & 0x0f);
        match command {
            0x00..=0x0f => self.place(self.column & 0xf0 | low),
            0x10..=0x1f => self.place(self.column & 0x0f | low << 4),
            0x2e if self.module != Module::Sh1106 => {}
            0x30..=0x33 if self.module == Module::Sh1106 => {}
            0x40..=0x7f => self.start_line = u32::from(command & 0x3f),
            0xa0 | 0xa1 => self.mirrored_columns = command == 0xa0,
            0xa4 | 0xa5 => self.all_lit = command == 0xa5,
            0xa6 | 0xa7 => self.inverse = command == 0xa7,
            0xae | 0xaf => self.on = command == 0xaf,
            0xb0..=0xb7 => self.page = low,
            0xc0 | 0xc8 => self.mirrored_rows = command == 0xc0,
            0xe3 => {}
            _ => return Err(BusError::Unknown(command)),
        }
        Ok(())
    }

    fn place(&mut self, column: usize) {
        self.column = if self.module == Module::ReadableSsd1306 { column & 0x7f } else { column };
        self.dummy = true;
    }

    /// The byte of the memory that is written or read next. Behind the last column there is nothing.
    fn cell(&mut self) -> Result<&mut u8, BusError> {
        let (columns, _) = self.module.columns();
        let column = self.column;
        // The order of the columns applies to what is written after it was set.
        let place = if self.mirrored_columns { columns.wrapping_sub(1 + column) } else { column };
        let page = self.memory.get_mut(self.page).and_then(|page| page.get_mut(..columns));
        page.and_then(|page| page.get_mut(place)).ok_or(BusError::Unknown(column as u8))
    }

    fn data(&mut self, byte: u8) -> Result<(), BusError> {
        let cell = self.cell()?;
        let before = std::mem::replace(cell, byte);
        self.changed |= before != byte;
        self.column += 1;
        Ok(())
    }

    fn read(&mut self) -> Result<u8, BusError> {
        let status = if self.on { 0x03 } else { 0x43 };
        match self.module {
            Module::ReadableSsd1306 | Module::Sh1106 if self.reads_data => {
                if std::mem::take(&mut self.dummy) {
                    return Ok(0xff);
                }
                let byte = *self.cell()?;
                self.column += 1;
                Ok(byte)
            }
            _ => Ok(status),
        }
    }

    fn picture(&self) -> Frame {
        let mut bytes = [0; FRAME_BYTES];
        if self.on && self.pump {
            for column in 0..VISIBLE {
                let seen = self.column_seen(column).to_le_bytes();
                bytes.iter_mut().skip(column).step_by(VISIBLE).zip(seen).for_each(|(to, from)| *to = from);
            }
        }
        Frame::from_bytes(bytes)
    }

    /// A column as it is seen, the topmost row in bit 0.
    fn column_seen(&self, column: usize) -> u64 {
        if self.all_lit {
            return u64::MAX;
        }
        let (_, first) = self.module.columns();
        let rows = self.memory.map(|page| page.get(first + column).copied().unwrap_or_default());
        let rows = u64::from_le_bytes(rows).rotate_right(self.start_line + self.offset);
        let rows = if self.mirrored_rows { rows.reverse_bits() } else { rows };
        if self.inverse { !rows } else { rows }
    }
}

#[derive(Debug)]
struct Socket {
    chip: Chip,
    address: u8,
    plugged: bool,
    fault: Option<BusError>,
}

/// The virtual screen, and the bus that leads to it: clones share it.
#[derive(Debug, Clone)]
pub struct VirtualScreen(Rc<RefCell<Socket>>);

impl Default for VirtualScreen {
    fn default() -> Self {
        let [address, _] = ADDRESSES;
        let chip = Chip::power_up(Module::default());
        Self(Rc::new(RefCell::new(Socket { chip, address, plugged: true, fault: None })))
    }
}

impl VirtualScreen {
    /// Pulls the screen off its wires, or plugs it in again, fresh from power-on.
    pub fn plug(&self, plugged: bool) {
        let mut socket = self.0.borrow_mut();
        socket.plugged = plugged;
        socket.chip = Chip::power_up(socket.chip.module);
    }

    /// Puts another module in its place, at this address, fresh from power-on.
    pub fn replace(&self, module: Module, address: u8) {
        let mut socket = self.0.borrow_mut();
        socket.address = address;
        socket.chip = Chip::power_up(module);
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
        if !socket.plugged || address != socket.address {
            return Err(BusError::NoAnswer(address));
        }
        for operation in operations {
            let done = match operation {
                Operation::Write(bytes) => socket.chip.transfer(bytes),
                Operation::Read(_) if socket.chip.module == Module::WriteOnlySsd1306 => {
                    return Err(BusError::WriteOnly(address));
                }
                Operation::Read(bytes) => {
                    bytes.iter_mut().try_for_each(|byte| socket.chip.read().map(|read| *byte = read))
                }
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
    use turntally_core::time::Duration;
    use turntally_firmware::screen_chip::Chip as Controller;

    const ADDRESS: u8 = 0x3c;

    fn screen(module: Module, address: u8) -> VirtualScreen {
        let screen = VirtualScreen::default();
        screen.replace(module, address);
        screen
    }

    /// Bytes outside what is known are errors, and remembered; so are half commands, columns that the chip does not
    /// have, commands of the other chip, and a converter that is switched while the display is on.
    #[test]
    fn nothing_unknown_goes_by() {
        use Module::{ReadableSsd1306, Sh1106, Ssd1306};
        let wrong: [(Module, &[u8], BusError); 17] = [
            (Ssd1306, &[0x00, 0xaf, 0xff], BusError::Unknown(0xff)),
            (Ssd1306, &[0xa0, 0xaf], BusError::Unknown(0xa0)),
            (Ssd1306, &[0x80, 0xaf, 0x81], BusError::Unknown(0x81)),
            (Ssd1306, &[0x00, 0x81], BusError::Incomplete(0x81)),
            (Ssd1306, &[0x80], BusError::Incomplete(0x80)),
            (Ssd1306, &[0x00, 0x20, 0x00], BusError::Unknown(0x00)),
            (Ssd1306, &[0x00, 0x21, 0x00, 0x7f], BusError::Unknown(0x21)),
            (Ssd1306, &[0x80, 0xb8], BusError::Unknown(0xb8)),
            (Ssd1306, &[0x80, 0x02, 0x80, 0x18, 0x40, 0x00], BusError::Unknown(130)),
            (Ssd1306, &[0x80, 0x0f, 0x80, 0x17, 0x40, 0x00, 0x00], BusError::Unknown(128)),
            (Ssd1306, &[0x00, 0x32], BusError::Unknown(0x32)),
            (Ssd1306, &[0x00, 0xad, 0x8b], BusError::Unknown(0xad)),
            (ReadableSsd1306, &[0x80, 0x0f, 0x80, 0x17, 0x40, 0x00, 0x00], BusError::Unknown(128)),
            (Sh1106, &[0x80, 0x04, 0x80, 0x18, 0x40, 0x00], BusError::Unknown(132)),
            (Sh1106, &[0x00, 0x20, 0x02], BusError::Unknown(0x20)),
            (Sh1106, &[0x00, 0x8d, 0x14], BusError::Unknown(0x8d)),
            (Sh1106, &[0x00, 0xaf, 0xad, 0x8b], BusError::Unknown(0x8b)),
        ];
        for (module, bytes, error) in wrong {
            let mut screen = screen(module, ADDRESS);
            assert_eq!(screen.write(ADDRESS, bytes), Err(error), "{module:?} {bytes:02x?}");
            assert_eq!(screen.fault(), Some(error));
        }
        for (module, chip) in [(Ssd1306, Controller::Sh1106), (Sh1106, Controller::Ssd1306)] {
            assert!(screen(module, ADDRESS).write(ADDRESS, chip.setup()).is_err(), "{module:?}");
        }
        let mut screen = VirtualScreen::default();
        assert_eq!(screen.write(0x3d, Controller::Ssd1306.setup()), Err(BusError::NoAnswer(0x3d)));
        assert_eq!(screen.fault(), None);
    }

    fn lit(screen: &VirtualScreen) -> Vec<(u32, u32)> {
        let picture = screen.picture();
        let all = (0..64).flat_map(|y| (0..128).map(move |x| (x, y)));
        all.filter(|&(x, y)| picture.pixel(x, y)).collect()
    }

    /// Bytes go where they are placed, in columns that can be seen from the first or the third on; start line,
    /// inversion and "off" show.
    #[test]
    fn bytes_go_where_they_are_placed() {
        for (module, chip, at) in
            [(Module::Ssd1306, Controller::Ssd1306, 10), (Module::Sh1106, Controller::Sh1106, 8)]
        {
            let mut screen = screen(module, ADDRESS);
            let mut write = |bytes: &[u8]| assert_eq!(screen.write(ADDRESS, bytes), Ok(()));
            write(chip.setup());
            for page in 0..8 {
                write(&chip.page(&Frame::new(), page));
            }
            write(&[0x80, 0xb2, 0x80, 0x0a, 0x80, 0x10, 0x40, 1, 2]);
            write(&[0x00, 0xb3, 0x0a, 0x10]);
            write(&[0xc0, 4, 0x40, 8]);
            assert_eq!(lit(&screen), [(at, 16), (at + 1, 17), (at, 26), (at + 1, 27)]);
            assert_eq!(screen.write(ADDRESS, &[0x00, 0x50]), Ok(()));
            assert_eq!(lit(&screen), [(at, 0), (at + 1, 1), (at, 10), (at + 1, 11)]);
            assert_eq!(screen.write(ADDRESS, &[0x00, 0xa7]), Ok(()));
            assert_eq!(lit(&screen).len(), 128 * 64 - 4);
            assert_eq!(screen.write(ADDRESS, &[0x00, 0xae]), Ok(()));
            assert_eq!(lit(&screen), []);
        }
    }

    /// What a read gives: the status, unless data were announced last and the memory can be read; then a dummy and
    /// the bytes from the column on.
    #[test]
    fn reads_are_those_of_the_chip() {
        let read = |module, write: &[u8]| {
            let (mut screen, mut answer) = (screen(module, ADDRESS), [0; 3]);
            assert_eq!(screen.write(ADDRESS, &[0x80, 0x10, 0x80, 0x00, 0x40, 7, 9]), Ok(()));
            assert_eq!(screen.write(ADDRESS, write), Ok(()));
            screen.read(ADDRESS, &mut answer).map(|()| answer)
        };
        let (data, status): (&[u8], &[u8]) = (&[0x80, 0x00, 0xc0], &[0x80, 0x00]);
        for module in [Module::Ssd1306, Module::ReadableSsd1306, Module::Sh1106] {
            assert_eq!(read(module, status), Ok([0x43; 3]), "{module:?}");
        }
        assert_eq!(read(Module::Ssd1306, data), Ok([0x43; 3]));
        assert_eq!(read(Module::ReadableSsd1306, data), Ok([0xff, 7, 9]));
        assert_eq!(read(Module::Sh1106, data), Ok([0xff, 7, 9]));
        assert_eq!(read(Module::WriteOnlySsd1306, data), Err(BusError::WriteOnly(ADDRESS)));
    }

    /// A picture that no other column than its own can stand for.
    fn picture() -> Frame {
        Frame::from_bytes(core::array::from_fn(|place| (place / VISIBLE * 31 + place % VISIBLE) as u8 | 0x80))
    }

    /// Every module at both addresses: there from the start, late, in the place of every other one while nothing was
    /// sent and while something was.
    #[test]
    fn every_module_is_found_wherever_and_whenever_it_comes() {
        let frame = picture();
        let all = || Module::ALL.into_iter().flat_map(|module| ADDRESSES.map(|address| (module, address)));
        let ms = |ms| Instant::ZERO + Duration::from_millis(ms);
        for (first, at_first) in all() {
            for (second, at_second) in all() {
                let screen = screen(first, at_first);
                let mut driver = Oled::new(screen.clone());
                let names = format!("{first:?} at {at_first:x}, then {second:?} at {at_second:x}");
                screen.plug(false);
                assert!(driver.update(ms(0), &frame, true).is_err());
                screen.plug(true);
                assert_eq!(
                    driver.update(ms(499), &frame, true),
                    Ok(false),
                    "it was tried too early: {names}"
                );
                assert_eq!(driver.update(ms(500), &frame, false), Ok(true), "{names}");
                assert_eq!(screen.picture(), frame, "late: {names}");
                // Nothing is sent for a second, and what hangs there then is another module.
                screen.replace(second, at_second);
                let mut now = 1_500;
                while driver.update(ms(now), &frame, false) != Ok(true) {
                    now += 100;
                    assert!(now < 2_500, "replaced unseen: {names}");
                }
                assert_eq!(screen.picture(), frame, "replaced unseen: {names}");
                // And back, seen to go.
                screen.plug(false);
                assert!(driver.update(ms(now + 10), &frame, true).is_err());
                screen.replace(first, at_first);
                screen.plug(true);
                assert_eq!(driver.update(ms(now + 510), &frame, false), Ok(true), "{names}");
                assert_eq!(screen.picture(), frame, "replaced: {names}");
                assert_eq!(screen.fault(), None, "{names}");
            }
        }
    }

    /// A screen that runs is told nothing but its set-up and the picture as long as there is news.
    #[test]
    fn a_known_screen_is_not_asked_again_for_each_picture() {
        let (frame, screen) = (picture(), screen(Module::Ssd1306, ADDRESS));
        let mut driver = Oled::new(screen.clone());
        let at = |ms| Instant::ZERO + Duration::from_millis(ms);
        assert_eq!(driver.update(at(0), &frame, true), Ok(true));
        // One that would be found to be an SH1106, if it were asked, is sent what an SSD1306 knows.
        screen.replace(Module::Sh1106, ADDRESS);
        assert_eq!(driver.update(at(60), &frame, true), Err(BusError::Unknown(0x8d)));
    }
}
