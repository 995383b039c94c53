//! What is wrong with the counter itself, and what the screen shows.

use core::fmt;

use embedded_graphics::pixelcolor::BinaryColor;
use embedded_graphics::prelude::DrawTarget;
use heapless::String;
use turntally_core::bench::Bench;
use turntally_core::{format, screen};

/// Characters in a line of a message: as many as the screen is wide.
pub const LINE: usize = 25;

/// A message about the counter itself: why it started again, what it could not read.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Notice {
    title: &'static str,
    detail: String<LINE>,
    advice: [&'static str; 2],
}

impl Notice {
    /// A title of at most 14 characters, what happened in at most [`LINE`] bytes (more is cut off),
    /// and two lines on what it means for the user.
    #[must_use]
    pub fn new(title: &'static str, detail: fmt::Arguments<'_>, advice: [&'static str; 2]) -> Self {
        Self { title, detail: format::cut(detail), advice }
    }

    /// What happened.
    #[must_use]
    pub fn detail(&self) -> &str {
        &self.detail
    }
}

/// Which drawing a picture is, counted from power-on. (At twenty a second the count lasts for years.)
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Default)]
pub struct Picture(u32);

impl Picture {
    /// Before the first.
    pub(crate) const ZERO: Self = Self(0);

    /// The one after it.
    pub(crate) const fn next(self) -> Self {
        Self(self.0.saturating_add(1))
    }
}

/// What there is to be shown.
#[derive(Debug, Clone)]
pub struct View {
    /// The bench.
    pub bench: Bench,
    /// What is wrong with the counter itself, until it has been read and a key is pressed.
    pub notice: Option<Notice>,
    /// What a computer offers, until a key is pressed.
    pub offer: Option<Notice>,
    /// The newest drawing of it, for [`App::panel_has`](crate::app::App::panel_has).
    pub picture: Picture,
}

impl View {
    /// What stands before the bench's page, if anything does.
    #[must_use]
    pub fn message(&self) -> Option<&Notice> {
        self.notice.as_ref().or(self.offer.as_ref())
    }

    /// Draws it on the whole screen.
    ///
    /// # Errors
    /// Whatever the screen itself gives.
    pub fn draw<D>(&self, target: &mut D) -> Result<(), D::Error>
    where
        D: DrawTarget<Color = BinaryColor>,
    {
        match self.message() {
            None => screen::draw(&self.bench, target),
            Some(Notice { title, detail, advice: [first, second] }) => {
                screen::notice(title, [detail, first, second], target)
            }
        }
    }
}
