//! Session files of sigrok (`.sr`), read: a zip file with `version`, `metadata` and the samples in parts.
//!
//! Source: the page "File format:Sigrok/v2" of sigrok's wiki, and what sigrok-cli 0.7.2 writes.
//!
//! # What is read
//! - Version 2, the first device, its logic channels; analog parts are passed over.
//! - Parts that are stored or deflated, unpacked as they are needed, in constant memory.
//!
//! # Limits
//! A sample has at most 8 bytes, 64 channels. `metadata` has at most [`MAX_METADATA`] bytes. A zip file in the format
//! zip64, over 4 GiB or 65,535 parts, is refused: one that lies about its parts could ask for any amount of memory.

mod metadata;
mod parts;

use std::io::{Read, Seek};

use super::error::CaptureError;
use super::wanted::Wanted;
use super::{MAX_WIRES, Recording, Sample};

use metadata::Metadata;
use parts::Parts;

pub use metadata::MAX_METADATA;

/// Reads a session file in constant memory. Samples are given where a chosen channel changes.
#[derive(Debug)]
pub struct Session<S> {
    parts: Parts<S>,
    metadata: Metadata,
    /// The bits of the chosen channels.
    mask: u64,
    /// The level of each channel now, in the bits of the sample; `None` before the first sample.
    now: Option<u64>,
    /// Samples that have been read.
    count: u64,
}

impl<S: Read + Seek> Session<S> {
    /// Reads the table of contents and the metadata, and finds the channels that are wanted, at most [`MAX_WIRES`].
    ///
    /// # Errors
    /// [`CaptureError`] where the input cannot be read, is no session, or does not have exactly one channel for each
    /// wanted name.
    pub fn open(input: S, wanted: &[Wanted<'_>]) -> Result<Self, CaptureError> {
        let wanted = &wanted[..wanted.len().min(MAX_WIRES)];
        let (parts, metadata) = parts::open(input, wanted)?;
        let mask = metadata.chosen.iter().fold(0, |mask, chosen| mask | 1_u64 << chosen.bit);
        Ok(Self { parts, metadata, mask, now: None, count: 0 })
    }
}

impl<S: Read + Seek> Recording for Session<S> {
    /// Where a chosen channel changes; the first sample is such a moment.
    fn next_sample(&mut self) -> Result<Option<Sample>, CaptureError> {
        let size = self.metadata.unit_size;
        loop {
            let bytes = self.parts.unused();
            let (same, changed) = match self.now {
                Some(now) => run(bytes, size, self.mask, now),
                None => (0, bytes.get(..size).map(unit)),
            };
            let Some(unit) = changed else {
                self.count += same as u64;
                self.parts.consume(same * size);
                if self.parts.refill(size)? {
                    continue;
                }
                if self.count == 0 {
                    return Err(self.parts.error("there are no samples"));
                }
                return Ok(None);
            };
            let number = self.count + same as u64;
            let Some(time_ns) = self.metadata.rate.nanoseconds(number) else {
                return Err(self.parts.error("times reach to 584 years only"));
            };
            self.count = number + 1;
            self.parts.consume((same + 1) * size);
            self.now = Some(unit);
            let (mut high, mut known) = (0, 0);
            for (index, chosen) in self.metadata.chosen.iter().enumerate() {
                known |= 1 << index;
                high |= u8::from(unit >> chosen.bit & 1 == 1) << index;
            }
            return Ok(Some(Sample { time_ns, high, known }));
        }
    }

    fn path(&self, index: usize) -> Option<&str> {
        self.metadata.chosen.get(index).map(|chosen| chosen.name.as_str())
    }

    fn same_wire(&self, first: usize, second: usize) -> bool {
        let bit = |index: usize| self.metadata.chosen.get(index).map(|chosen| chosen.bit);
        bit(first).is_some() && bit(first) == bit(second)
    }

    /// To the beginning of the last sample.
    fn span_ns(&self) -> u64 {
        self.metadata.rate.nanoseconds(self.count.saturating_sub(1)).unwrap_or(u64::MAX)
    }

    fn first_ns(&self) -> u64 {
        0
    }
}

/// How many whole samples at the beginning are as `now` under the mask, and the first that is not.
fn run(bytes: &[u8], size: usize, mask: u64, now: u64) -> (usize, Option<u64>) {
    let wanted = now & mask;
    let place = match (size, u8::try_from(mask), u8::try_from(wanted)) {
        (1, Ok(mask), Ok(wanted)) => bytes.iter().position(|byte| byte & mask != wanted),
        _ => bytes.chunks_exact(size).position(|bytes| unit(bytes) & mask != wanted),
    };
    match place {
        Some(place) => (place, bytes.get(place * size..(place + 1) * size).map(unit)),
        None => (bytes.len() / size, None),
    }
}

/// The bytes of a sample as one number, the first byte lowest.
fn unit(bytes: &[u8]) -> u64 {
    bytes.iter().rev().fold(0, |unit, byte| unit << 8 | u64::from(*byte))
}
