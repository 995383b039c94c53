//! Reading words out of a ring that hardware fills and never waits for.

use core::fmt;

/// A ring of words that something else writes all the time.
pub trait Ring {
    /// Words that the ring holds; older ones are overwritten.
    const CAPACITY: u64;

    /// Words written since the start. Never goes back.
    fn written(&mut self) -> u64;

    /// The word that was written as number `index`, counted from 0, if it has not been overwritten;
    /// otherwise whatever stands in its place. Asked only for words that have been written.
    fn word(&self, index: u64) -> u32;
}

/// What a reader finds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Found {
    /// The next word.
    Word {
        /// What it holds.
        word: u32,
        /// Its number, counted from 0.
        index: u64,
    },
    /// Words that were overwritten before they could be read, or may have been.
    Lost(LostWords),
}

/// How many words are gone.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct LostWords(pub u64);

impl fmt::Display for LostWords {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} words were overwritten before they could be read", self.0)
    }
}

/// Words that are copied before it is checked that they were still whole.
const BATCH: usize = 32;

/// Words nearest to being overwritten that are not trusted: the writer may be at work on them.
const MARGIN: u64 = 4;

/// Reads a [`Ring`] in order, and notices when it comes too late.
#[derive(Debug, Clone, Default)]
pub struct RingReader {
    read: u64,
    furthest_behind: u64,
}

impl RingReader {
    /// A reader that starts with word 0.
    #[must_use]
    pub const fn new() -> Self {
        Self { read: 0, furthest_behind: 0 }
    }

    /// Words that have been read or given up since the start.
    #[must_use]
    pub const fn read(&self) -> u64 {
        self.read
    }

    /// The most words that the reader has been behind the writer.
    #[must_use]
    pub const fn furthest_behind(&self) -> u64 {
        self.furthest_behind
    }

    /// Yields every word that was there when it was called, and most of those that came while it
    /// worked: at most two rings of them, so it always ends.
    #[inline]
    pub fn drain<R: Ring>(&mut self, ring: &mut R, mut take: impl FnMut(Found)) {
        let trusted = R::CAPACITY - MARGIN;
        let end = self.read + 2 * R::CAPACITY;
        let mut written = ring.written();
        while self.read < written && self.read < end {
            let behind = written - self.read;
            self.furthest_behind = self.furthest_behind.max(behind);
            if behind > trusted {
                self.skip_to(written, &mut take);
                return;
            }
            let mut batch = [0_u32; BATCH];
            let count = behind.min(BATCH as u64);
            for (place, index) in batch.iter_mut().zip(self.read..self.read + count) {
                *place = ring.word(index);
            }
            // Only now is it known whether the writer came round meanwhile.
            written = ring.written();
            if written - self.read > trusted {
                self.furthest_behind = self.furthest_behind.max(written - self.read);
                self.skip_to(written, &mut take);
                return;
            }
            for (&word, index) in batch.iter().zip(self.read..self.read + count) {
                take(Found::Word { word, index });
            }
            self.read += count;
        }
    }

    /// Gives up all that is unread: old words cannot be distinguished from new ones.
    fn skip_to(&mut self, written: u64, take: &mut impl FnMut(Found)) {
        take(Found::Lost(LostWords(written - self.read)));
        self.read = written;
    }
}

#[cfg(test)]
mod tests {
    extern crate std;
    use super::*;
    use std::vec::Vec;

    /// A ring whose writer goes on by `pace` words each time it is looked at; every word is its number.
    struct Fake {
        words: [u32; 64],
        written: u64,
        pace: u64,
    }

    impl Fake {
        fn new(pace: u64) -> Self {
            Self { words: [0; 64], written: 0, pace }
        }

        fn write(&mut self, count: u64) {
            for _ in 0..count {
                self.words[(self.written % 64) as usize] = self.written as u32;
                self.written += 1;
            }
        }
    }

    impl Ring for Fake {
        const CAPACITY: u64 = 64;

        fn written(&mut self) -> u64 {
            self.write(self.pace);
            self.written
        }

        fn word(&self, index: u64) -> u32 {
            self.words[(index % 64) as usize]
        }
    }

    /// Reads everything found into words and losses, checking that each word is the one it should be.
    fn drained(reader: &mut RingReader, ring: &mut Fake) -> (Vec<u64>, u64) {
        let (mut words, mut lost) = (Vec::new(), 0);
        reader.drain(ring, |found| match found {
            Found::Word { word, index } => {
                assert_eq!(u64::from(word), index, "a word that is not its own");
                words.push(index);
            }
            Found::Lost(LostWords(count)) => lost += count,
        });
        (words, lost)
    }

    /// Up to the ring's size less the margin every word comes out once, in order, over many rounds.
    #[test]
    fn every_word_comes_once_up_to_the_margin() {
        let (mut ring, mut reader) = (Fake::new(0), RingReader::new());
        let mut expected = 0;
        for step in (0..=60).chain([60, 1, 60, 33, 32, 31]) {
            ring.write(step);
            let (words, lost) = drained(&mut reader, &mut ring);
            assert_eq!(lost, 0, "after {step}");
            assert_eq!(words, (expected..expected + step).collect::<Vec<_>>());
            expected += step;
        }
        assert_eq!(reader.furthest_behind(), 60);
    }

    /// One more and the loss is reported to the word, and reading goes on after it.
    #[test]
    fn late_reader_learns_how_much_is_lost() {
        for late in [61, 64, 65, 1_000] {
            let (mut ring, mut reader) = (Fake::new(0), RingReader::new());
            ring.write(late);
            assert_eq!(drained(&mut reader, &mut ring), (Vec::new(), late));
            ring.write(5);
            assert_eq!(drained(&mut reader, &mut ring), ((late..late + 5).collect(), 0));
        }
    }

    /// A writer that overtakes while words are being copied is caught: no word passes for another.
    #[test]
    fn writer_overtaking_the_copy_is_caught() {
        for pace in 1..40 {
            let (mut ring, mut reader) = (Fake::new(pace), RingReader::new());
            let (mut read, mut lost) = (0, 0);
            for burst in [0, 50, 20, 59, 3, 40] {
                ring.write(burst);
                let (words, gone) = drained(&mut reader, &mut ring);
                read += words.len() as u64;
                lost += gone;
            }
            ring.pace = 0;
            let (words, gone) = drained(&mut reader, &mut ring);
            assert_eq!(read + lost + words.len() as u64 + gone, ring.written, "pace {pace}");
        }
    }

    /// A writer as fast as the reader does not hold it for ever.
    #[test]
    fn fast_writer_does_not_hold_the_reader() {
        let (mut ring, mut reader) = (Fake::new(32), RingReader::new());
        let (words, lost) = drained(&mut reader, &mut ring);
        assert!(words.len() as u64 + lost <= 2 * Fake::CAPACITY + BATCH as u64);
    }
}
