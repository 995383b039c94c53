//! When the screen gets a picture, and a driver for a board that may wait for its bus.

use embedded_hal::i2c::I2c;
use turntally_core::time::{Duration, Instant};

use crate::display::Frame;
use crate::ssd1306::{ADDRESS, PAGES, SETUP, WINDOW, page};

/// Without news the picture is sent again this often, set-up included, so that a screen that lost its
/// power, or came late, shows it as well.
const AGAIN: Duration = Duration::from_millis(1_000);
/// From one attempt at a missing screen to the next.
const RETRY: Duration = Duration::from_millis(500);

/// When the screen is to get a picture, whatever bus brings it there.
#[derive(Debug, Clone, Copy, Default)]
pub struct Refresh {
    due: Instant,
    missing: bool,
}

impl Refresh {
    /// At once.
    #[must_use]
    pub const fn new() -> Self {
        Self { due: Instant::ZERO, missing: false }
    }

    /// When the picture is to be sent whether or not it is a new one.
    #[must_use]
    pub const fn due(&self) -> Instant {
        self.due
    }

    /// The screen did not take the last picture: until [`Self::due`] new ones are not tried either.
    #[must_use]
    pub const fn is_missing(&self) -> bool {
        self.missing
    }

    /// To be called after each attempt, with whether the picture arrived.
    pub fn sent(&mut self, now: Instant, arrived: bool) {
        self.missing = !arrived;
        self.due = now + (if arrived { AGAIN } else { RETRY });
    }
}

/// An SSD1306 on an I2C bus that is waited for.
#[derive(Debug)]
pub struct Oled<B> {
    bus: B,
    refresh: Refresh,
}

impl<B: I2c> Oled<B> {
    /// Nothing is sent before the first [`Oled::update`].
    pub const fn new(bus: B) -> Self {
        Self { bus, refresh: Refresh::new() }
    }

    /// Sends the picture, set-up included, if it is `new` or due again; whether it was sent.
    ///
    /// # Errors
    /// That of the bus: no answer, or it is stuck. The caller has nothing to do: the screen is
    /// tried again when it is due.
    pub fn update(&mut self, now: Instant, frame: &Frame, new: bool) -> Result<bool, B::Error> {
        if now < self.refresh.due() && (self.refresh.is_missing() || !new) {
            return Ok(false);
        }
        let sent = self.send(frame);
        self.refresh.sent(now, sent.is_ok());
        sent.map(|()| true)
    }

    fn send(&mut self, frame: &Frame) -> Result<(), B::Error> {
        self.bus.write(ADDRESS, SETUP)?;
        self.bus.write(ADDRESS, WINDOW)?;
        (0..PAGES).try_for_each(|number| self.bus.write(ADDRESS, &page(frame, number)))
    }
}
