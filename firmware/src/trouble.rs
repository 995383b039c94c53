//! What is wrong with the counter itself, and what the screen shows.

use core::fmt::{self, Write};

use embedded_graphics::pixelcolor::BinaryColor;
use embedded_graphics::prelude::DrawTarget;
use heapless::String;
use turntally_core::bench::Bench;
use turntally_core::screen;

/// Characters in a line of a message: as many as the screen is wide.
pub const LINE: usize = 25;

/// A message about the counter itself: why it started again, what it could not read.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Trouble {
    title: &'static str,
    detail: String<LINE>,
    advice: [&'static str; 2],
}

impl Trouble {
    /// A title of at most 14 characters, what happened in at most [`LINE`] bytes (more is cut off),
    /// and two lines on what it means for the user.
    #[must_use]
    pub fn new(title: &'static str, detail: fmt::Arguments<'_>, advice: [&'static str; 2]) -> Self {
        let mut cut = Cut(String::new());
        // Cutting off is no error, and nothing else can go wrong.
        _ = cut.write_fmt(detail);
        Self { title, detail: cut.0, advice }
    }

    /// What happened.
    #[must_use]
    pub fn detail(&self) -> &str {
        &self.detail
    }
}

/// Takes what fits and drops the rest.
struct Cut(String<LINE>);

impl Write for Cut {
    fn write_str(&mut self, text: &str) -> fmt::Result {
        for letter in text.chars() {
            self.0.push(letter).map_err(|_| fmt::Error)?;
        }
        Ok(())
    }
}

/// What there is to be shown.
#[derive(Debug, Clone)]
pub struct View {
    /// The bench.
    pub bench: Bench,
    /// What is wrong with the counter itself, until a key is pressed.
    pub trouble: Option<Trouble>,
    /// What a computer offers, until a key is pressed.
    pub offer: Option<Trouble>,
}

impl View {
    /// Draws it on the whole screen.
    ///
    /// # Errors
    /// Whatever the screen itself gives.
    pub fn draw<D>(&self, target: &mut D) -> Result<(), D::Error>
    where
        D: DrawTarget<Color = BinaryColor>,
    {
        match self.trouble.as_ref().or(self.offer.as_ref()) {
            None => screen::draw(&self.bench, target),
            Some(Trouble { title, detail, advice: [first, second] }) => {
                screen::notice(title, [detail, first, second], target)
            }
        }
    }
}

#[cfg(test)]
mod tests {
    extern crate std;
    use super::*;

    /// A long reason is cut off at the end of the line, at a whole character.
    #[test]
    fn long_detail_is_cut_at_the_line() {
        let trouble = Trouble::new("Restarted", format_args!("{}{}", "ä".repeat(12), "end"), ["", ""]);
        assert_eq!(trouble.detail(), "ääääääääääääe");
    }
}
