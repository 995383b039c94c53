//! Words put together for a small screen.

use core::fmt::{self, Write};

use heapless::String;

/// As much of the words as a string of that length holds; the rest is cut off.
#[must_use]
pub fn cut<const LENGTH: usize>(words: fmt::Arguments<'_>) -> String<LENGTH> {
    struct Cut<const LENGTH: usize>(String<LENGTH>);

    impl<const LENGTH: usize> Write for Cut<LENGTH> {
        fn write_str(&mut self, text: &str) -> fmt::Result {
            text.chars().try_for_each(|letter| self.0.push(letter).map_err(|_| fmt::Error))
        }
    }

    let mut cut = Cut(String::new());
    // Cutting off is no error, and nothing else can go wrong.
    _ = cut.write_fmt(words);
    cut.0
}

#[cfg(test)]
mod tests {
    extern crate std;
    use super::*;

    /// A long text is cut off at the end of the line, at a whole letter.
    #[test]
    fn what_does_not_fit_is_cut_off() {
        assert_eq!(cut::<25>(format_args!("{}{}", "ä".repeat(12), "end")), "ääääääääääääe");
        assert_eq!(cut::<4>(format_args!("{} {}", 12_u32, "turns")), "12 t");
    }
}
