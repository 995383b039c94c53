//! The wires that are wanted from a recording, and those that it has.

use super::error::{CaptureError, shown};

/// The most names that an error message lists.
pub(super) const LISTED: usize = 6;

/// A wire that is wanted from a recording.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Wanted<'a> {
    option: &'a str,
    name: &'a str,
}

impl<'a> Wanted<'a> {
    /// `name` is plain (`enc_a`), scoped (`bench.enc_a`), or either with a bit of a vector
    /// (`port[3]`); `option` is who asks, for messages.
    #[must_use]
    pub const fn new(option: &'a str, name: &'a str) -> Self {
        Self { option, name }
    }

    pub(super) const fn name(self) -> &'a str {
        self.name
    }

    /// The error for a wire that is not there as it is wanted.
    pub(super) fn refused(self, what: String) -> CaptureError {
        let (option, name) = (self.option.to_owned(), shown(self.name.as_bytes()));
        CaptureError::Wire { option, name, what }
    }
}

/// The first few names of a recording, for a message.
#[derive(Default)]
pub(super) struct Names {
    first: Vec<String>,
    count: u64,
}

impl Names {
    pub(super) fn add(&mut self, name: impl FnOnce() -> String) {
        self.count += 1;
        if self.first.len() < LISTED {
            self.first.push(shown(name().as_bytes()));
        }
    }

    /// As one phrase; "none" where there are none.
    pub(super) fn list(&self) -> String {
        match self.count - self.first.len() as u64 {
            _ if self.count == 0 => "none".to_owned(),
            0 => self.first.join(", "),
            more => format!("{} and {more} more", self.first.join(", ")),
        }
    }
}
