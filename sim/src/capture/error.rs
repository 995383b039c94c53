//! Why a recording cannot be read, as one line for a person.

use std::fmt;
use std::io;

/// Why a recording cannot be read.
#[derive(Debug)]
#[non_exhaustive]
pub enum CaptureError {
    /// The source failed.
    Io(io::Error),
    /// What stands in this line (from 1) is no VCD or table, or lies about itself.
    Line {
        /// The line in which the offending word begins.
        line: u64,
        /// What is wrong, with the word and what is allowed.
        what: String,
    },
    /// A part of a session is no part of one, or lies about itself.
    Part {
        /// The part, such as `metadata, line 5` or `logic-1-2`.
        part: String,
        /// What is wrong, and what is allowed.
        what: String,
    },
    /// A wanted wire is not there, or not exactly once.
    Wire {
        /// The option that asked for it, such as `--a`.
        option: String,
        /// The name that was asked for.
        name: String,
        /// Why, with what there is instead.
        what: String,
    },
}

/// Why the first word of a file may not stand where it does.
pub(super) const NO_RECORDING: &str =
    "no recording begins like this: neither a VCD file, nor a CSV table, nor a sigrok session";

impl CaptureError {
    pub(super) fn line(line: u64, what: impl fmt::Display) -> Self {
        Self::Line { line, what: what.to_string() }
    }

    #[cfg(not(target_arch = "wasm32"))]
    pub(super) fn part(part: impl Into<String>, what: impl fmt::Display) -> Self {
        Self::Part { part: part.into(), what: what.to_string() }
    }

    /// The input ended where it may not: `place` completes "the file ends".
    pub(super) fn cut_short(line: u64, place: impl fmt::Display) -> Self {
        Self::line(line, format_args!("the file ends {place}: it was cut short"))
    }
}

impl fmt::Display for CaptureError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Io(error) => write!(f, "cannot be read: {error}"),
            Self::Line { line, what } => write!(f, "line {line}: {what}"),
            Self::Part { part, what } => write!(f, "{part}: {what}"),
            Self::Wire { option, name, what } => write!(f, "{option} '{name}': {what}"),
        }
    }
}

impl std::error::Error for CaptureError {
    fn source(&self) -> Option<&(dyn std::error::Error + 'static)> {
        match self {
            Self::Io(error) => Some(error),
            _ => None,
        }
    }
}

impl From<io::Error> for CaptureError {
    fn from(error: io::Error) -> Self {
        Self::Io(error)
    }
}

/// Text from a file as it may be shown: at most 40 characters, control characters made visible.
pub(super) fn shown(text: &[u8]) -> String {
    const MOST: usize = 40;
    // Four bytes make a character at most, so this much is enough to tell that there is more.
    let text = String::from_utf8_lossy(&text[..text.len().min(4 * (MOST + 1))]);
    let mut shown: String = text
        .chars()
        .take(MOST)
        .flat_map(|c| if c.is_control() { c.escape_default().collect::<Vec<_>>() } else { vec![c] })
        .collect();
    if text.chars().nth(MOST).is_some() {
        shown.push_str("...");
    }
    shown
}
