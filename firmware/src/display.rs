//! The picture that goes to the screen.

use core::convert::Infallible;

use embedded_graphics::Pixel;
use embedded_graphics::pixelcolor::BinaryColor;
use embedded_graphics::prelude::{DrawTarget, OriginDimensions, Size};
use turntally_core::screen::{HEIGHT, WIDTH};

/// Bytes of a picture.
pub const FRAME_BYTES: usize = (WIDTH * HEIGHT / 8) as usize;

/// One picture of 128x64 pixels, in the order of the SSD1306's memory: eight rows to a page, one byte
/// for eight pixels of a column, the topmost in bit 0.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Frame {
    bytes: [u8; FRAME_BYTES],
}

impl Default for Frame {
    fn default() -> Self {
        Self::new()
    }
}

impl Frame {
    /// All dark.
    #[must_use]
    pub const fn new() -> Self {
        Self { bytes: [0; FRAME_BYTES] }
    }

    /// The bytes as the screen's memory takes them.
    #[must_use]
    pub const fn bytes(&self) -> &[u8; FRAME_BYTES] {
        &self.bytes
    }

    /// Whether a pixel is lit; none is outside the picture.
    #[must_use]
    pub fn pixel(&self, x: u32, y: u32) -> bool {
        place(x, y).and_then(|(byte, bit)| self.bytes.get(byte).map(|b| b >> bit & 1 == 1)).unwrap_or(false)
    }
}

fn place(x: u32, y: u32) -> Option<(usize, u32)> {
    (x < WIDTH && y < HEIGHT).then_some(((y / 8 * WIDTH + x) as usize, y % 8))
}

impl OriginDimensions for Frame {
    fn size(&self) -> Size {
        Size::new(WIDTH, HEIGHT)
    }
}

impl DrawTarget for Frame {
    type Color = BinaryColor;
    type Error = Infallible;

    fn draw_iter<I>(&mut self, pixels: I) -> Result<(), Self::Error>
    where
        I: IntoIterator<Item = Pixel<Self::Color>>,
    {
        for Pixel(point, color) in pixels {
            let (Ok(x), Ok(y)) = (u32::try_from(point.x), u32::try_from(point.y)) else { continue };
            let Some((byte, bit)) = place(x, y) else { continue };
            if let Some(byte) = self.bytes.get_mut(byte) {
                *byte = *byte & !(1 << bit) | u8::from(color.is_on()) << bit;
            }
        }
        Ok(())
    }

    fn clear(&mut self, color: Self::Color) -> Result<(), Self::Error> {
        self.bytes.fill(if color.is_on() { 0xff } else { 0 });
        Ok(())
    }
}
