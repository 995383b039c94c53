//! When the screen gets a picture, and a driver for a board that may wait for its bus.

use embedded_hal::i2c::{self, ErrorKind, I2c};
use turntally_core::time::{Duration, Instant};

use crate::display::Frame;
use crate::screen_chip::{ADDRESSES, ANSWER_BYTES, Chip, LOOK, PAGES, erase_beyond, has_mark, mark};

/// Without news the picture is sent again this often, set-up included, so that a screen that lost its
/// power, or came late, shows it as well.
const AGAIN: Duration = Duration::from_millis(1_000);
/// From one attempt at a missing screen to the next.
const RETRY: Duration = Duration::from_millis(500);

/// The screen that answered.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Found {
    /// Its address on the bus.
    pub address: u8,
    /// Its controller.
    pub chip: Chip,
}

/// When the screen is to get a picture, whatever bus brings it there, and which screen that is.
#[derive(Debug, Clone, Copy, Default)]
pub struct Refresh {
    due: Instant,
    missing: bool,
    found: Option<Found>,
}

impl Refresh {
    /// At once, to a screen that is not known yet.
    #[must_use]
    pub const fn new() -> Self {
        Self { due: Instant::ZERO, missing: false, found: None }
    }

    /// When the picture is to be sent whether or not it is a new one.
    #[must_use]
    pub const fn due(&self) -> Instant {
        self.due
    }

    /// No screen took the last picture: until [`Self::due`] new ones are not tried either.
    #[must_use]
    pub const fn is_missing(&self) -> bool {
        self.missing
    }

    /// The screen for the next picture; `None`: it is to be asked for. That is so as long as there is none, and
    /// whenever the picture is sent without being a new one, so that a screen that was replaced by another while
    /// nothing was sent is noticed.
    #[must_use]
    pub fn known(&self, now: Instant) -> Option<Found> {
        self.found.filter(|_| now < self.due)
    }

    /// To be called after each attempt, with the screen that took the picture.
    pub fn sent(&mut self, now: Instant, to: Option<Found>) {
        self.missing = to.is_none();
        self.found = to;
        self.due = now + (if to.is_some() { AGAIN } else { RETRY });
    }
}

/// A screen on an I2C bus that is waited for.
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
    /// That of the bus: no answer, or it is stuck. The caller has nothing to do: a screen is
    /// looked for again when it is due.
    pub fn update(&mut self, now: Instant, frame: &Frame, new: bool) -> Result<bool, B::Error> {
        if now < self.refresh.due() && (self.refresh.is_missing() || !new) {
            return Ok(false);
        }
        let sent = self.send(now, frame);
        self.refresh.sent(now, sent.as_ref().ok().copied());
        sent.map(|_| true)
    }

    fn send(&mut self, now: Instant, frame: &Frame) -> Result<Found, B::Error> {
        let found = match self.refresh.known(now) {
            Some(found) => found,
            None => self.ask()?,
        };
        self.bus.write(found.address, found.chip.setup())?;
        for number in 0..PAGES {
            self.bus.write(found.address, &found.chip.page(frame, number))?;
        }
        Ok(found)
    }

    /// Asks at both addresses for a screen, and the one that answers for its chip.
    fn ask(&mut self) -> Result<Found, B::Error> {
        let [first, second] = ADDRESSES;
        let address = match self.bus.write(first, &mark()) {
            Ok(()) => first,
            Err(error) if is_silence(&error) => {
                self.bus.write(second, &mark())?;
                second
            }
            Err(error) => return Err(error),
        };
        let mut chip = Chip::Ssd1306;
        if self.has_mark(address)? {
            self.bus.write(address, &erase_beyond())?;
            if self.has_mark(address)? {
                chip = Chip::Sh1106;
            }
        }
        Ok(Found { address, chip })
    }

    fn has_mark(&mut self, address: u8) -> Result<bool, B::Error> {
        let mut answer = [0; ANSWER_BYTES];
        self.bus.write(address, &LOOK)?;
        match self.bus.read(address, &mut answer) {
            Ok(()) => Ok(has_mark(answer)),
            Err(error) if is_silence(&error) => Ok(false),
            Err(error) => Err(error),
        }
    }
}

/// Nobody acknowledged, as opposed to a bus that failed.
fn is_silence(error: &impl i2c::Error) -> bool {
    matches!(error.kind(), ErrorKind::NoAcknowledge(_))
}
