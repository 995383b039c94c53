//! What an SSD1306 screen of 128x64 pixels wants to hear, as transfers for a board's own I2C bus.
//!
//! No bus in here, so that a board may wait for its bus in whatever way it waits. A picture is
//! [`SETUP`], [`WINDOW`], then [`page`] 0 to 7, each one write to [`ADDRESS`]. Commands and their
//! values are those of the SSD1306 data sheet's application example for a module with a charge pump
//! (from memory).

use turntally_core::screen::{HEIGHT, WIDTH};

use crate::display::Frame;

/// The usual address on the bus.
pub const ADDRESS: u8 = 0x3c;
/// Pages of eight rows.
pub const PAGES: usize = (HEIGHT / 8) as usize;
/// Bytes of a page with the byte before it that says "data".
pub const PAGE_BYTES: usize = WIDTH as usize + 1;

/// Says "commands follow" before a transfer.
const COMMANDS: u8 = 0x00;
/// Says "data follow" before a transfer.
const DATA: u8 = 0x40;

/// Sets the screen up from power-on, and does no harm to one that is already running: the picture
/// stays, so it may be sent again and again to catch a screen that lost its power unseen.
pub const SETUP: &[u8] = &[
    COMMANDS, 0xd5, 0x80, // clock
    0xa8, 0x3f, // 64 rows
    0xd3, 0x00, // no vertical shift
    0x40, // first row is row 0
    0x8d, 0x14, // charge pump on
    0x20, 0x00, // bytes fill rows, then pages
    0xa1, 0xc8, // left is left and top is top on the usual module
    0xda, 0x12, // rows wired alternately
    0x81, 0x8f, // contrast
    0xd9, 0xf1, // pre-charge for the charge pump
    0xdb, 0x40, // deselect level
    0xa4, // show the memory
    0xa6, // lit is lit
    0x2e, // no scrolling
    0xaf, // on
];

/// Where the next bytes go: the whole screen from the top left.
pub const WINDOW: &[u8] = &[COMMANDS, 0x21, 0x00, 0x7f, 0x22, 0x00, 0x07];

/// One page of a picture as a transfer; pages past the last are dark.
#[must_use]
pub fn page(frame: &Frame, page: usize) -> [u8; PAGE_BYTES] {
    let mut transfer = [0; PAGE_BYTES];
    transfer[0] = DATA;
    if let Some(bytes) = frame.bytes().chunks_exact(WIDTH as usize).nth(page) {
        transfer[1..].copy_from_slice(bytes);
    }
    transfer
}

#[cfg(test)]
mod tests {
    use super::*;
    use embedded_graphics::Pixel;
    use embedded_graphics::pixelcolor::BinaryColor;
    use embedded_graphics::prelude::{DrawTarget, Point};

    /// Eight pages are the whole picture, each with its data byte before it.
    #[test]
    fn pages_are_the_picture() {
        let mut frame = Frame::new();
        let lit = [(0, 0), (127, 0), (64, 9), (3, 63), (127, 63)];
        for (x, y) in lit {
            frame
                .draw_iter([Pixel(Point::new(x, y), BinaryColor::On)])
                .unwrap_or_else(|never| match never {});
        }
        for number in 0..PAGES {
            let sent = page(&frame, number);
            assert_eq!(sent[0], 0x40);
            for x in 0..128_usize {
                for bit in 0..8_usize {
                    let expected = lit.contains(&(x as i32, (number * 8 + bit) as i32));
                    assert_eq!(sent[1 + x] >> bit & 1 == 1, expected, "{x},{}", number * 8 + bit);
                }
            }
        }
        assert_eq!(page(&frame, PAGES)[1..], [0; 128]);
    }
}
