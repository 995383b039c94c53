//! Lengths as a caliper gives them: written in an option, or typed by the caliper itself, one on a line.
//!
//! Many calipers with a data cable or a radio link type like a keyboard: the number shown, often without its unit, then
//! Enter. (Common practice, no source: there is no standard for it.)

use std::io::{BufRead, Read as _};
use std::str::FromStr;

use clap::ValueEnum;
use turntally_core::units::{Length, QuantityError};

use crate::failure::Failure;
use crate::range::{listed, one};

/// The most readings that are taken from standard input at once. Our own limit.
pub const MAX_READINGS: usize = 1_000;
/// The most bytes in the line of a reading. Our own limit.
const MAX_LINE: u64 = 80;

/// The unit of a number without one.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum Unit {
    /// Millimetres.
    Mm,
    /// Inches.
    In,
}

impl Unit {
    const fn text(self) -> &'static str {
        match self {
            Self::Mm => "mm",
            Self::In => "in",
        }
    }
}

/// The lengths of an option.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Readings {
    /// As written, separated by commas.
    Written(Vec<Length>),
    /// `-`: those that are typed into standard input.
    Typed,
}

impl FromStr for Readings {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        if text.trim() == "-" {
            return Ok(Self::Typed);
        }
        listed(text)?.into_iter().map(one).collect::<Result<_, _>>().map(Self::Written)
    }
}

/// Reads one length: with its unit, or in `unit` where it has none.
///
/// # Errors
/// [`QuantityError`] for what is no length, or has no unit where `unit` gives none.
pub fn length(text: &str, unit: Option<Unit>) -> Result<Length, QuantityError> {
    match (text.parse(), unit) {
        (Err(QuantityError::NoUnit { .. }), Some(unit)) => format!("{text}{}", unit.text()).parse(),
        (read, _) => read,
    }
}

/// Takes readings from `input`, one on a line, until an empty line or the end, and passes each to `each`.
///
/// # Errors
/// One line that names the option and the line: for what is no length, a line that is too long, more than
/// [`MAX_READINGS`], or no reading at all; and whatever `each` fails with.
pub fn typed(
    option: &str,
    mut input: impl BufRead,
    unit: Option<Unit>,
    mut each: impl FnMut(Length) -> Result<(), Failure>,
) -> Result<(), Failure> {
    for number in 1..=MAX_READINGS + 1 {
        let place = format!("{option}, line {number} of standard input");
        let mut line = String::new();
        let read = input.by_ref().take(MAX_LINE + 1).read_line(&mut line);
        read.map_err(|error| Failure::new(format_args!("{place}: cannot read it: {error}")))?;
        let text = line.trim();
        if text.is_empty() {
            let none = format_args!(
                "{option}: no reading on standard input: one on a line is needed, such as 4.62mm"
            );
            return if number > 1 { Ok(()) } else { Err(Failure::new(none)) };
        }
        if line.len() as u64 > MAX_LINE {
            return Err(Failure::value(&place, text, format_args!("at most {MAX_LINE} bytes are allowed")));
        }
        if number > MAX_READINGS {
            break;
        }
        each(length(text, unit).map_err(|error| Failure::value(&place, text, hint(error, unit)))?)?;
    }
    Err(Failure::new(format_args!("{option}: at most {MAX_READINGS} readings are allowed")))
}

fn hint(error: QuantityError, unit: Option<Unit>) -> String {
    match (error, unit) {
        (QuantityError::NoUnit { .. }, None) => {
            "a number without a unit: --unit mm or --unit in says what the caliper shows".to_owned()
        }
        (error, _) => error.to_string(),
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test may stop where it stands")]
    use super::*;

    fn read(text: &str, unit: Option<Unit>) -> Result<Vec<Length>, String> {
        let mut all = Vec::new();
        let done = typed("--inside", text.as_bytes(), unit, |length| {
            all.push(length);
            Ok(())
        });
        done.map(|()| all).map_err(|error| error.to_string())
    }

    /// With and without units, Windows' line ends, a sign, up to the empty line.
    #[test]
    fn typed_readings_are_taken_line_by_line() {
        let um = |um: &[i64]| Ok(um.iter().map(|&um| Length::from_um(um)).collect::<Vec<_>>());
        assert_eq!(read("4.62mm\n 4.61 mm \r\n+4.63mm", None), um(&[4_620, 4_610, 4_630]));
        assert_eq!(read("4.62\n0.1in\n", Some(Unit::Mm)), um(&[4_620, 2_540]));
        assert_eq!(read("0.1\r\n2mm\r\n\r\nthis is not read", Some(Unit::In)), um(&[2_540, 2_000]));
    }

    /// Each names the line and what is allowed.
    #[test]
    fn wrong_lines_are_refused_by_their_number() {
        let long = format!("4.62mm\n{}", "1".repeat(100_000));
        let many = "1mm\n".repeat(MAX_READINGS + 1);
        for (text, unit, part) in [
            ("", None, "--inside: no reading on standard input"),
            ("\n4.62mm", None, "no reading"),
            (
                "4.62",
                None,
                "line 1 of standard input '4.62': a number without a unit: --unit mm or --unit in",
            ),
            ("4.62mm\n4,61", Some(Unit::Mm), "line 2 of standard input '4,61': a decimal comma: write 1.2"),
            ("4.62mm\n-1", Some(Unit::Mm), "line 2 of standard input '-1': below zero"),
            ("Err\n", Some(Unit::Mm), "'Err': not a number"),
            (&long, None, "line 2 of standard input '1111"),
            (&many, None, "at most 1000 readings"),
        ] {
            let line = read(text, unit).unwrap_err();
            assert!(line.contains(part), "no '{part}' in: {line}");
        }
        assert_eq!(read(&"1mm\n".repeat(MAX_READINGS), None).unwrap().len(), MAX_READINGS);
        assert!(typed("SIZE", &b"\xff\xfe\n"[..], None, |_| Ok(())).is_err());
    }
}
