//! The screen on a bus that is waited for: sets it up, brings pictures there, and finds it again after
//! it was gone. For boards whose loop may block for a picture.

use embedded_hal::i2c::I2c;
use turntally_core::units::Micros;

use crate::display::Frame;
use crate::ssd1306::{ADDRESS, PAGES, SETUP, WINDOW, page};

/// Without news the picture is sent again this often, set-up included, so that a screen that lost its
/// power, or came late, shows it as well.
const AGAIN: Micros = Micros::from_millis(1_000);
/// From one attempt at a missing screen to the next.
const RETRY: Micros = Micros::from_millis(500);

/// An SSD1306 on an I2C bus.
#[derive(Debug)]
pub struct Oled<B> {
    bus: B,
    due: Micros,
    missing: bool,
}

impl<B: I2c> Oled<B> {
    /// Nothing is sent before the first [`Oled::update`].
    pub const fn new(bus: B) -> Self {
        Self { bus, due: Micros::ZERO, missing: false }
    }

    /// Sends the picture if it is `new` or due again; whether it was sent. A screen that did not
    /// answer is left alone for half a second, new pictures or not.
    ///
    /// # Errors
    /// That of the bus: nobody answered, or it is stuck. The next call that is due starts from the
    /// set-up; the caller has nothing to do.
    pub fn update(&mut self, now: Micros, frame: &Frame, new: bool) -> Result<bool, B::Error> {
        if now < self.due && (self.missing || !new) {
            return Ok(false);
        }
        let sent = self.send(frame);
        self.missing = sent.is_err();
        self.due = now.plus(if self.missing { RETRY } else { AGAIN });
        sent.map(|()| true)
    }

    fn send(&mut self, frame: &Frame) -> Result<(), B::Error> {
        self.bus.write(ADDRESS, SETUP)?;
        self.bus.write(ADDRESS, WINDOW)?;
        (0..PAGES).try_for_each(|number| self.bus.write(ADDRESS, &page(frame, number)))
    }
}
