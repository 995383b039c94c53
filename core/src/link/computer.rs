//! The computer's end: questions in, bytes out; bytes in, answers out.

use core::fmt;

use super::frame::{self, Frame, Receiver, Tag};
use super::{FETCH_MAX, Refusal, Reply, Request, SentEntry};
use crate::time::{Duration, Instant};

/// How long an answer is waited for before its question is asked again: a question waits for the counter's
/// flash at most 0.4 s, and a USB port adds milliseconds.
pub const PATIENCE: Duration = Duration::from_millis(600);
/// How often a question is asked before the counter is given up.
const TRIES: u8 = 5;

/// The counter does not answer.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct NoAnswer;

impl fmt::Display for NoAnswer {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("the counter does not answer")
    }
}

impl core::error::Error for NoAnswer {}

/// The computer's end: one question at a time.
#[derive(Debug, Default)]
pub struct Client {
    receiver: Receiver,
    tag: Tag,
    asked: Frame,
    since: Instant,
    tries: u8,
}

impl Client {
    /// Asks; the bytes to be sent. Answers to what was asked before are not listened to any more.
    pub fn ask(&mut self, request: &Request, now: Instant) -> &[u8] {
        self.tag = self.tag.wrapping_add(1);
        self.asked = frame::encode(self.tag, request);
        (self.since, self.tries) = (now, 1);
        &self.asked
    }

    /// Takes one byte; the answer that it ends. One that is not known here reads as
    /// [`Refusal::Unknown`].
    pub fn push(&mut self, byte: u8, now: Instant) -> Option<Reply> {
        let message = self.receiver.push(byte)?;
        if message.tag != self.tag {
            return None;
        }
        (self.since, self.tries) = (now, 1);
        Some(message.read().unwrap_or(Reply::Refused(Refusal::Unknown)))
    }

    /// To be called now and then while an answer is waited for: bytes to be sent again.
    ///
    /// # Errors
    /// [`NoAnswer`] where the question has been asked often enough.
    pub fn ask_again(&mut self, now: Instant) -> Result<Option<&[u8]>, NoAnswer> {
        if now.since(self.since) < PATIENCE {
            return Ok(None);
        }
        if self.tries >= TRIES {
            return Err(NoAnswer);
        }
        (self.since, self.tries) = (now, self.tries + 1);
        Ok(Some(&self.asked))
    }
}

/// Fetches the log: every entry once and in order, whatever gets lost on the way.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Fetcher {
    next: u32,
}

/// What comes of an answer to [`Fetcher::request`].
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Fetching {
    /// The next entry.
    Entry(SentEntry),
    /// More entries are on their way.
    Wait,
    /// [`Fetcher::request`] is to be asked anew.
    Ask,
    /// There are no more.
    Finished,
    /// The counter refuses.
    Refused(Refusal),
}

impl Fetcher {
    /// Fetches from this number on.
    #[must_use]
    pub const fn from(next: u32) -> Self {
        Self { next }
    }

    /// The first number that has not been looked for.
    #[must_use]
    pub const fn next(self) -> u32 {
        self.next
    }

    /// The question to ask.
    #[must_use]
    pub const fn request(self) -> Request {
        Request::Fetch { from: self.next, count: FETCH_MAX }
    }

    /// Takes an answer.
    pub fn take(&mut self, reply: Reply) -> Fetching {
        match reply {
            // One that does not follow the one before: something between them got lost.
            Reply::Entry(entry) if entry.from != self.next || entry.number < entry.from => Fetching::Wait,
            Reply::Entry(entry) => match entry.number.checked_add(1) {
                Some(next) => {
                    self.next = next;
                    Fetching::Entry(entry)
                }
                None => Fetching::Refused(Refusal::Unknown),
            },
            Reply::End { next, more: false } if next == self.next => Fetching::Finished,
            Reply::End { .. } => Fetching::Ask,
            Reply::Refused(refusal) => Fetching::Refused(refusal),
            _ => Fetching::Refused(Refusal::Unknown),
        }
    }
}
