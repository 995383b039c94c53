//! The controllers of 128x64 screens, and the I2C transfers that they understand.
//!
//! No bus in here, so that a board may wait for its bus in whatever way it waits. A picture is the chip's
//! [`Chip::setup`], then [`Chip::page`] 0 to 7, each one write.
//!
//! **Which address.** Both chips answer at 3C or 3D, as the module wires their pin SA0. A board writes [`mark`] to
//! each of [`ADDRESSES`]; the first that acknowledges has the screen.
//!
//! **Which chip.** Both take pages placed one by one. They differ in where the visible columns begin, so it must be
//! known which one it is. The status byte does not tell: the only bit of it that is documented is "display on", and
//! modules that differ in the others are common. What is documented is reading the memory. The SH1106's data sheet:
//! after a read address, "the chip will output data immediately [...] according to the D/C bit, which was sent during
//! the last write access", the first byte after a column was set being a dummy. (It also has "no display data can be
//! read through the serial interface", which is about SPI: that is what it calls serial interface.) The SSD1306's,
//! 9.1 (from memory): "No data read is provided in serial mode operation". So a board writes a [`mark`], places on it
//! with [`LOOK`], reads [`ANSWER_BYTES`], and looks for the mark in what it got ([`has_mark`]).
//!
//! - No mark, or no answer to the read: an SSD1306.
//! - A mark: an SH1106, or an SSD1306 of a kind whose memory can be read all the same. Only the former has more than
//!   128 columns. On a chip without them, bytes for these columns have nowhere to go; if it drops the bit of the
//!   column's number that it does not have, they overwrite the mark. The board therefore writes [`erase_beyond`] and
//!   looks again: only an SH1106 still has its mark.
//!
//! The marks are on the visible part of one chip or the other for about a millisecond; the picture that follows
//! covers them.
//!
//! Commands and their values are those of the data sheets of both (from memory): for an SSD1306 those of its
//! application example for a module with a charge pump, for an SH1106 the values that it has after power-on, but for
//! orientation.

use turntally_core::screen::{HEIGHT, WIDTH};

use crate::display::Frame;

/// The addresses that a screen may have on the bus, in the order in which they are tried.
pub const ADDRESSES: [u8; 2] = [0x3c, 0x3d];
/// Pages of eight rows.
pub const PAGES: usize = (HEIGHT / 8) as usize;
/// Bytes that place a transfer at a page and a column, and announce data.
const PLACE_BYTES: usize = 7;
/// Bytes of a page with those that place it.
pub const PAGE_BYTES: usize = WIDTH as usize + PLACE_BYTES;
/// Bytes to read after [`LOOK`]: a dummy, then the mark.
pub const ANSWER_BYTES: usize = 3;

/// Announces that only commands follow.
const COMMANDS: u8 = 0x00;
/// Announces one command; after it comes another byte like this.
const ONE_COMMAND: u8 = 0x80;
/// Announces that only data follow.
const DATA: u8 = 0x40;
/// Announces one byte of data; with none after it, what is read next is data.
const ONE_DATA: u8 = 0xc0;

/// No chip gives these two, one after the other, as its status: that would be the same byte twice.
const MARK: [u8; 2] = [0x01, 0x02];
/// Where the mark is written, in page 0.
const MARKED: u8 = 2;
/// The same place, if the chip has 128 columns and drops the rest of a column's number.
const BEYOND: u8 = MARKED + 128;

/// Writes a mark into the screen's memory.
#[must_use]
pub const fn mark() -> [u8; PLACE_BYTES + 2] {
    two_bytes(MARKED, MARK)
}

/// Writes zeros where only an SH1106 has memory of its own. Only for a chip whose memory has been read.
#[must_use]
pub const fn erase_beyond() -> [u8; PLACE_BYTES + 2] {
    two_bytes(BEYOND, [0, 0])
}

/// Places at the mark; the next read begins there.
pub const LOOK: [u8; PLACE_BYTES] = place(0, MARKED, ONE_DATA);

/// Whether what was read after [`LOOK`] has the mark in it; with or without the dummy byte before it.
#[must_use]
pub fn has_mark(answer: [u8; ANSWER_BYTES]) -> bool {
    answer.windows(MARK.len()).any(|pair| pair == MARK)
}

const fn two_bytes(column: u8, bytes: [u8; 2]) -> [u8; PLACE_BYTES + 2] {
    let [a, b, c, d, e, f, g] = place(0, column, DATA);
    [a, b, c, d, e, f, g, bytes[0], bytes[1]]
}

/// Commands and data in one transfer: each command has a byte before it that announces one more.
const fn place(page: u8, column: u8, then: u8) -> [u8; PLACE_BYTES] {
    [ONE_COMMAND, 0xb0 | page, ONE_COMMAND, column & 0x0f, ONE_COMMAND, 0x10 | column >> 4, then]
}

/// The controller of a screen.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Chip {
    /// 128 columns, all visible.
    Ssd1306,
    /// 132 columns; on a screen of 128, the third is the first that can be seen.
    Sh1106,
}

impl Chip {
    /// Sets the screen up from power-on, and does no harm to one that is already running: the picture
    /// stays, so it may be sent again and again to catch a screen that lost its power unseen.
    #[must_use]
    pub const fn setup(self) -> &'static [u8] {
        match self {
            Self::Ssd1306 => &[
                COMMANDS, 0xd5, 0x80, // clock
                0xa8, 0x3f, // 64 rows
                0xd3, 0x00, // no vertical shift
                0x40, // first row is row 0
                0x8d, 0x14, // charge pump on
                0x20, 0x02, // bytes fill one page, which is set for each
                0xa1, 0xc8, // left is left and top is top on the usual module
                0xda, 0x12, // rows wired alternately
                0x81, 0x8f, // contrast
                0xd9, 0xf1, // pre-charge for the charge pump
                0xdb, 0x40, // deselect level
                0xa4, // show the memory
                0xa6, // lit is lit
                0x2e, // no scrolling
                0xaf, // on
            ],
            // Its converter (AD 8B) is on from power-on, and must not be switched while the display is on.
            Self::Sh1106 => &[
                COMMANDS, 0xd5, 0x50, // clock
                0xa8, 0x3f, // 64 rows
                0xd3, 0x00, // no vertical shift
                0x40, // first row is row 0
                0x32, // 8 V
                0xa1, 0xc8, // left is left and top is top on the usual module
                0xda, 0x12, // rows wired alternately
                0x81, 0x80, // contrast
                0xd9, 0x22, // pre-charge
                0xdb, 0x35, // deselect level
                0xa4, // show the memory
                0xa6, // lit is lit
                0xaf, // on
            ],
        }
    }

    /// One page of a picture as a transfer, which says where it goes; pages past the last are dark.
    #[must_use]
    pub fn page(self, frame: &Frame, page: usize) -> [u8; PAGE_BYTES] {
        let column = match self {
            Self::Ssd1306 => 0,
            Self::Sh1106 => 2,
        };
        let mut transfer = [0; PAGE_BYTES];
        let (head, data) = transfer.split_at_mut(PLACE_BYTES);
        head.copy_from_slice(&place(page as u8 & 7, column, DATA));
        if let Some(bytes) = frame.bytes().chunks_exact(WIDTH as usize).nth(page) {
            data.copy_from_slice(bytes);
        }
        transfer
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use embedded_graphics::Pixel;
    use embedded_graphics::pixelcolor::BinaryColor;
    use embedded_graphics::prelude::{DrawTarget, Point};

    /// Eight pages are the whole picture, each with its place before it: page and first column, by the command
    /// tables of both data sheets.
    #[test]
    fn pages_are_the_picture() {
        let mut frame = Frame::new();
        let lit = [(0, 0), (127, 0), (64, 9), (3, 63), (127, 63)];
        for (x, y) in lit {
            frame
                .draw_iter([Pixel(Point::new(x, y), BinaryColor::On)])
                .unwrap_or_else(|never| match never {});
        }
        for (chip, column) in [(Chip::Ssd1306, 0x00), (Chip::Sh1106, 0x02)] {
            for number in 0..PAGES {
                let sent = chip.page(&frame, number);
                assert_eq!(sent[..7], [0x80, 0xb0 + number as u8, 0x80, column, 0x80, 0x10, 0x40]);
                for x in 0..128_usize {
                    for bit in 0..8_usize {
                        let expected = lit.contains(&(x as i32, (number * 8 + bit) as i32));
                        assert_eq!(sent[7 + x] >> bit & 1 == 1, expected, "{x},{}", number * 8 + bit);
                    }
                }
            }
            assert_eq!(chip.page(&frame, PAGES)[7..], [0; 128]);
        }
    }

    /// The mark is found behind a dummy byte or without one, and in nothing that repeats one byte.
    #[test]
    fn only_the_mark_is_the_mark() {
        assert_eq!(mark(), [0x80, 0xb0, 0x80, 0x02, 0x80, 0x10, 0x40, 1, 2]);
        assert_eq!(erase_beyond(), [0x80, 0xb0, 0x80, 0x02, 0x80, 0x18, 0x40, 0, 0]);
        assert_eq!(LOOK, [0x80, 0xb0, 0x80, 0x02, 0x80, 0x10, 0xc0]);
        for dummy in 0..=u8::MAX {
            assert!(has_mark([dummy, 1, 2]) && has_mark([1, 2, dummy]));
            assert!(!has_mark([dummy; 3]));
            assert!(!has_mark([dummy, 0, 0]));
        }
    }
}
