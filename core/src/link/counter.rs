//! The counter's end: bytes in, questions out; answers in, frames out.

use heapless::Vec;

use super::frame::{self, Frame, Receiver, Tag};
use super::{FETCH_MAX, Refusal, Reply, Request, SentEntry};

/// What the computer asks, with the tag for its answer.
#[derive(Debug, Clone, PartialEq)]
pub struct Question {
    /// To be repeated by the answer.
    pub tag: Tag,
    /// The question, or what to answer where it is not known here.
    pub request: Result<Request, Refusal>,
}

/// Entries that are still to be sent.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Fetch {
    tag: Tag,
    from: u32,
    left: u8,
}

/// The counter's end.
#[derive(Debug, Default)]
pub struct Server {
    receiver: Receiver,
    fetch: Option<Fetch>,
}

impl Server {
    /// Takes one byte; the question that it ends. A new question is the end of a fetch: who asks it waits
    /// for no more entries.
    pub fn push(&mut self, byte: u8) -> Option<Question> {
        let message = self.receiver.push(byte)?;
        self.fetch = None;
        Some(Question { tag: message.tag, request: message.read().ok_or(Refusal::Unknown) })
    }

    /// The answer as bytes to be sent.
    #[must_use]
    pub fn answer(tag: Tag, reply: &Reply) -> Frame {
        frame::encode(tag, reply)
    }

    /// Begins to send entries from this number on.
    pub const fn fetch(&mut self, tag: Tag, from: u32, count: u8) {
        let left = if count < FETCH_MAX { count } else { FETCH_MAX };
        self.fetch = Some(Fetch { tag, from, left });
    }

    /// The number from which on the next entry is wanted, to be given to [`Self::entry`].
    #[must_use]
    pub fn wanted(&self) -> Option<u32> {
        self.fetch.map(|fetch| fetch.from)
    }

    /// Takes the first entry there is from the number on that was wanted, or the news that there is none;
    /// bytes to be sent.
    pub fn entry(&mut self, found: Result<Option<(u32, &[u8])>, Refusal>) -> Frame {
        let Some(fetch) = self.fetch else { return Frame::new() };
        let Fetch { tag, from, left } = fetch;
        self.fetch = None;
        let reply = match found {
            Err(refusal) => Reply::Refused(refusal),
            Ok(None) => Reply::End { next: from, more: false },
            Ok(Some(_)) if left == 0 => Reply::End { next: from, more: true },
            Ok(Some((number, bytes))) => {
                self.fetch = Some(Fetch { tag, from: number.saturating_add(1), left: left - 1 });
                // Entries are never longer than there is room for.
                let bytes = Vec::from_slice(bytes).unwrap_or_default();
                Reply::Entry(SentEntry { from, number, bytes })
            }
        };
        frame::encode(tag, &reply)
    }
}
