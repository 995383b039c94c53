//! Bytes from any source, in a buffer of fixed size.

use std::io::{ErrorKind, Read};

use super::MAX_TOKEN;
use super::error::CaptureError;

/// Bytes in the buffer at most: room for the longest word or line and as much again.
const SIZE: usize = 2 * MAX_TOKEN;

/// What has been read and not used yet, with the line in which it begins.
pub(super) struct Buffer<R> {
    input: R,
    bytes: Box<[u8]>,
    /// What has not been used yet lies at `start..end`.
    start: usize,
    end: usize,
    line: u64,
    exhausted: bool,
}

impl<R> Buffer<R> {
    /// The line in which the unused bytes begin, from 1.
    #[inline]
    pub(super) const fn line(&self) -> u64 {
        self.line
    }

    /// The source has ended: nothing comes behind the unused bytes.
    #[inline]
    pub(super) const fn is_exhausted(&self) -> bool {
        self.exhausted
    }

    /// The unused bytes that are in the buffer.
    #[inline]
    pub(super) fn unused(&self) -> &[u8] {
        &self.bytes[self.start..self.end]
    }

    /// Where the unused bytes begin; good for [`between`](Self::between) until the next refill.
    #[inline]
    pub(super) const fn start(&self) -> usize {
        self.start
    }

    /// Bytes of the buffer by their places.
    #[inline]
    pub(super) fn between(&self, start: usize, end: usize) -> &[u8] {
        &self.bytes[start..end]
    }

    /// Uses the first `count` bytes, in which so many lines end.
    #[inline]
    pub(super) fn consume(&mut self, count: usize, lines: u64) {
        self.start = self.end.min(self.start + count);
        self.line += lines;
    }
}

#[cfg(not(target_arch = "wasm32"))]
impl<R> Buffer<R> {
    /// The source, and what has been read of it and not used.
    pub(super) fn into_parts(self) -> (R, std::io::Cursor<Vec<u8>>) {
        let unused = self.unused().to_vec();
        (self.input, std::io::Cursor::new(unused))
    }
}

impl<R: Read> Buffer<R> {
    pub(super) fn new(input: R) -> Self {
        Self { input, bytes: vec![0; SIZE].into_boxed_slice(), start: 0, end: 0, line: 1, exhausted: false }
    }

    /// Reads on behind what is there; `false` at the end of the source, or where the buffer is full.
    #[cold]
    pub(super) fn refill(&mut self) -> Result<bool, CaptureError> {
        self.bytes.copy_within(self.start..self.end, 0);
        self.end -= self.start;
        self.start = 0;
        while !self.exhausted && self.end < self.bytes.len() {
            match self.input.read(&mut self.bytes[self.end..]) {
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
}
