//! Words and numbers put together for a small screen.
//!
//! [`format_plain!`](crate::format_plain!) is `format_args!` whose values know no width, no fill and no sign but a minus. What the
//! core library has for those takes 1.7 KB of a chip that shows none of them.

use core::fmt::{self, Write};

use heapless::String;

/// Something that can be written without further ado.
pub trait PlainDisplay {
    /// Writes it.
    ///
    /// # Errors
    /// Whatever the place that is written to gives.
    fn put(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result;
}

/// What [`format_plain!`](crate::format_plain!) makes of each of its values.
#[derive(Debug)]
pub struct Shown<'a, T: ?Sized>(pub &'a T);

impl<T: PlainDisplay + ?Sized> fmt::Display for Shown<'_, T> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.0.put(f)
    }
}

impl PlainDisplay for str {
    fn put(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self)
    }
}

impl<const N: usize> PlainDisplay for String<N> {
    fn put(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self)
    }
}

impl PlainDisplay for i64 {
    fn put(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if *self < 0 {
            f.write_str("-")?;
        }
        digits(self.unsigned_abs(), f)
    }
}

impl PlainDisplay for u32 {
    fn put(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        digits((*self).into(), f)
    }
}

impl PlainDisplay for usize {
    fn put(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        digits(*self as u64, f)
    }
}

impl<T: PlainDisplay + ?Sized> PlainDisplay for &T {
    fn put(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        (*self).put(f)
    }
}

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

fn digits(number: u64, f: &mut fmt::Formatter<'_>) -> fmt::Result {
    if number >= 10 {
        digits(number / 10, f)?;
    }
    f.write_char(char::from(b'0' + (number % 10) as u8))
}

/// As `format_args!`, for values that are [`PlainDisplay`].
#[macro_export]
macro_rules! format_plain {
    ($format:literal $(, $value:expr)* $(,)?) => {
        ::core::format_args!($format $(, $crate::format::Shown(&$value))*)
    };
}

#[cfg(test)]
mod tests {
    extern crate std;
    use std::string::ToString;

    use super::*;

    /// A long text is cut off at the end of the line, at a whole letter.
    #[test]
    fn what_does_not_fit_is_cut_off() {
        assert_eq!(cut::<25>(format_args!("{}{}", "ä".repeat(12), "end")), "ääääääääääääe");
        assert_eq!(cut::<4>(format_plain!("{} {}", 12_u32, "turns")), "12 t");
    }

    /// The ends of each kind of number are written as the core library writes them.
    #[test]
    fn numbers_are_written_as_elsewhere() {
        for number in [i64::MIN, -10, -1, 0, 9, 10, 1_000_000_007, i64::MAX] {
            assert_eq!(Shown(&number).to_string(), number.to_string());
        }
        assert_eq!(format_plain!("{} of {}", u32::MAX, "x").to_string(), "4294967295 of x");
    }
}
