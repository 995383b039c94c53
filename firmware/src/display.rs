//! The picture that goes to the screen.

use core::convert::Infallible;

use embedded_graphics::Pixel;
use embedded_graphics::pixelcolor::BinaryColor;
use embedded_graphics::prelude::{Dimensions, DrawTarget, OriginDimensions, Size};
use embedded_graphics::primitives::Rectangle;
use turntally_core::screen::{HEIGHT, WIDTH};

/// Bytes of a picture.
pub const FRAME_BYTES: usize = (WIDTH * HEIGHT / 8) as usize;

/// One picture of 128x64 pixels, in the order of the screen's memory: eight rows to a page, one byte
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

    /// From the screen's memory.
    #[must_use]
    pub const fn from_bytes(bytes: [u8; FRAME_BYTES]) -> Self {
        Self { bytes }
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

    /// Letters and bars come as small filled boxes: eight rows of a column are one byte.
    fn fill_solid(&mut self, area: &Rectangle, color: Self::Color) -> Result<(), Self::Error> {
        let area = area.intersection(&self.bounding_box());
        let (Ok(left), Ok(top)) = (usize::try_from(area.top_left.x), u32::try_from(area.top_left.y)) else {
            return Ok(());
        };
        let bottom = top + area.size.height;
        for page in top / 8..bottom.div_ceil(8) {
            let first = top.max(page * 8) - page * 8;
            let end = bottom.min(page * 8 + 8) - page * 8;
            // Bits `first` to `end - 1`.
            let mask = (0xff_u32 << first & 0xff >> (8 - end)) as u8;
            let start = page as usize * WIDTH as usize + left;
            for byte in self.bytes.iter_mut().skip(start).take(area.size.width as usize) {
                *byte = if color.is_on() { *byte | mask } else { *byte & !mask };
            }
        }
        Ok(())
    }

    fn clear(&mut self, color: Self::Color) -> Result<(), Self::Error> {
        self.bytes.fill(if color.is_on() { 0xff } else { 0 });
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use embedded_graphics::prelude::{Point, PointsIter};

    /// Boxes filled byte by byte are those filled pixel by pixel, at every offset, size and colour,
    /// hanging over every edge.
    #[test]
    fn boxes_are_their_pixels() {
        for x in [-3, 0, 5, 126, 130] {
            for y in -9..73 {
                for size in
                    [Size::new(0, 3), Size::new(1, 1), Size::new(4, 7), Size::new(200, 9), Size::new(2, 64)]
                {
                    for color in [BinaryColor::On, BinaryColor::Off] {
                        let area = Rectangle::new(Point::new(x, y), size);
                        let (mut filled, mut dotted) = (Frame::new(), Frame::new());
                        for frame in [&mut filled, &mut dotted] {
                            _ = frame.clear(color.invert());
                        }
                        _ = filled.fill_solid(&area, color);
                        _ = dotted.draw_iter(area.points().map(|point| Pixel(point, color)));
                        assert!(filled == dotted, "{area:?}");
                    }
                }
            }
        }
    }
}
