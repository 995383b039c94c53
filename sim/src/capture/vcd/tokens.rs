//! Words between white space.

use std::fmt;
use std::io::Read;

use super::super::MAX_TOKEN;
use super::super::buffer::Buffer;
use super::super::error::{CaptureError, shown};

/// Where a word lies in the buffer, until the next one is asked for.
#[derive(Debug, Clone, Copy)]
pub(super) struct Span {
    start: usize,
    end: usize,
    /// The line it begins in, from 1.
    pub(super) line: u64,
}

/// Splits a source into words.
pub(super) struct Tokens<R> {
    buffer: Buffer<R>,
}

impl<R> fmt::Debug for Tokens<R> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("Tokens").field("line", &self.buffer.line()).finish_non_exhaustive()
    }
}

impl<R: Read> Tokens<R> {
    pub(super) const fn new(buffer: Buffer<R>) -> Self {
        Self { buffer }
    }

    /// The next word; `None` at the end of the source.
    #[inline]
    pub(super) fn next(&mut self) -> Result<Option<Span>, CaptureError> {
        loop {
            while let Some(&byte) = self.buffer.unused().first() {
                if !is_space(byte) {
                    return self.word();
                }
                self.buffer.consume(1, u64::from(byte == b'\n'));
            }
            if !self.buffer.refill()? {
                return Ok(None);
            }
        }
    }

    /// The word that begins with the unused bytes.
    #[inline]
    fn word(&mut self) -> Result<Option<Span>, CaptureError> {
        let mut length = 0;
        loop {
            let rest = &self.buffer.unused()[length..];
            match rest.iter().position(|&byte| is_space(byte)) {
                Some(more) => {
                    length += more;
                    break;
                }
                None => length += rest.len(),
            }
            if length > MAX_TOKEN || !self.buffer.refill()? {
                break;
            }
        }
        let (start, line) = (self.buffer.start(), self.buffer.line());
        let span = Span { start, end: start + length, line };
        if length > MAX_TOKEN {
            let what = format_args!("'{}': longer than {MAX_TOKEN} characters", shown(self.bytes(span)));
            return Err(CaptureError::line(line, what));
        }
        self.buffer.consume(length, 0);
        Ok(Some(span))
    }

    /// The text of a word; only of the last one that was given out.
    #[inline]
    pub(super) fn bytes(&self, span: Span) -> &[u8] {
        self.buffer.between(span.start, span.end)
    }

    /// The bytes behind the last word, as far as they have been read.
    #[inline]
    pub(super) fn unused(&self) -> &[u8] {
        self.buffer.unused()
    }

    /// Passes over the first `count` of those bytes, in which so many lines end.
    #[inline]
    pub(super) fn pass(&mut self, count: usize, lines: u64) {
        self.buffer.consume(count, lines);
    }

    /// The line that has been reached.
    pub(super) const fn line(&self) -> u64 {
        self.buffer.line()
    }

    /// The error for a word that may not stand where it does.
    #[cold]
    pub(super) fn garbage(&self, span: Span, why: impl fmt::Display) -> CaptureError {
        // With no white space behind it, it may be the first half of something sound.
        let last = self.buffer.is_exhausted() && span.end == self.buffer.start() + self.buffer.unused().len();
        let cut = if last { "; or the file was cut short here" } else { "" };
        CaptureError::line(span.line, format_args!("'{}': {why}{cut}", shown(self.bytes(span))))
    }

    /// Passes over everything up to the `$end` of a section that begins with `opening`.
    pub(super) fn skip_section(&mut self, opening: Span) -> Result<(), CaptureError> {
        let keyword = shown(self.bytes(opening));
        while let Some(token) = self.next()? {
            if self.bytes(token) == b"$end" {
                return Ok(());
            }
        }
        Err(CaptureError::cut_short(opening.line, format_args!("before the $end of this {keyword}")))
    }
}

#[inline]
pub(super) const fn is_space(byte: u8) -> bool {
    matches!(byte, b' ' | b'\t' | b'\n' | b'\r' | 0x0b | 0x0c)
}
