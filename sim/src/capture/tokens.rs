//! Words between white space, from any source, in a buffer of fixed size.

use std::fmt;
use std::io::{ErrorKind, Read};

use super::MAX_TOKEN;
use super::error::{CaptureError, shown};

/// Bytes read at a time at most; room for the longest word and as much again.
const BUFFER: usize = 2 * MAX_TOKEN;

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
    input: R,
    buffer: Box<[u8]>,
    /// What has not been given out yet lies at `start..end`.
    start: usize,
    end: usize,
    line: u64,
    exhausted: bool,
}

impl<R> fmt::Debug for Tokens<R> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("Tokens").field("line", &self.line).finish_non_exhaustive()
    }
}

impl<R: Read> Tokens<R> {
    pub(super) fn new(input: R) -> Self {
        let buffer = vec![0; BUFFER].into_boxed_slice();
        Self { input, buffer, start: 0, end: 0, line: 1, exhausted: false }
    }

    /// The next word; `None` at the end of the source.
    #[inline]
    pub(super) fn next(&mut self) -> Result<Option<Span>, CaptureError> {
        loop {
            while let Some(&byte) = self.buffer[self.start..self.end].first() {
                if !is_space(byte) {
                    return self.word();
                }
                self.line += u64::from(byte == b'\n');
                self.start += 1;
            }
            if !self.refill()? {
                return Ok(None);
            }
        }
    }

    /// The word that begins at `start`.
    #[inline]
    fn word(&mut self) -> Result<Option<Span>, CaptureError> {
        let mut length = 0;
        loop {
            let rest = &self.buffer[self.start + length..self.end];
            match rest.iter().position(|&byte| is_space(byte)) {
                Some(more) => {
                    length += more;
                    break;
                }
                None => length += rest.len(),
            }
            if length > MAX_TOKEN || !self.refill()? {
                break;
            }
        }
        let span = Span { start: self.start, end: self.start + length, line: self.line };
        if length > MAX_TOKEN {
            let what = format_args!("'{}': longer than {MAX_TOKEN} characters", shown(self.bytes(span)));
            return Err(CaptureError::line(self.line, what));
        }
        self.start = span.end;
        Ok(Some(span))
    }

    /// Reads on behind what is there; `false` at the end of the source.
    #[cold]
    fn refill(&mut self) -> Result<bool, CaptureError> {
        self.buffer.copy_within(self.start..self.end, 0);
        self.end -= self.start;
        self.start = 0;
        while !self.exhausted {
            match self.input.read(&mut self.buffer[self.end..]) {
                Ok(0) => self.exhausted = true,
                Ok(count) => {
                    self.end += count;
                    return Ok(true);
                }
                Err(error) if error.kind() == ErrorKind::Interrupted => {}
                Err(error) => return Err(error.into()),
            }
        }
        Ok(false)
    }

    /// The text of a word; only of the last one that was given out.
    #[inline]
    pub(super) fn bytes(&self, span: Span) -> &[u8] {
        &self.buffer[span.start..span.end]
    }

    /// The line that has been reached.
    pub(super) const fn line(&self) -> u64 {
        self.line
    }

    /// The error for a word that may not stand where it does.
    #[cold]
    pub(super) fn garbage(&self, span: Span, why: impl fmt::Display) -> CaptureError {
        // With no white space behind it, it may be the first half of something sound.
        let cut =
            if self.exhausted && span.end == self.end { "; or the file was cut short here" } else { "" };
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
const fn is_space(byte: u8) -> bool {
    matches!(byte, b' ' | b'\t' | b'\n' | b'\r' | 0x0b | 0x0c)
}
