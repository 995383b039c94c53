//! Samples that the vote may have overruled wrongly.
//!
//! Where edges are about a sample apart, a spike can leave only one sample of a real pulse. The vote then takes the
//! pulse, up to four counts, and every step is legal. So an overruled sample is doubtful amid edges that are so near.

/// Samples before and behind that are looked at for edges. A pulse that a spike can take is two samples long, and so
/// the next one is near even where channels are high for a third of the time.
const REACH: u32 = 8;
/// Channel A's bits of the changes on one side.
const A_CHANGES: u64 = 0xaaaa;
/// Channel B's.
const B_CHANGES: u64 = 0x5555;

/// Watches words of voted samples.
#[derive(Debug, Clone, Default)]
pub(super) struct Doubts {
    /// The last two words.
    before: u32,
    last: u32,
    /// Samples of the last word that were overruled: one bit each, at the place of channel B.
    overruled: u32,
}

impl Doubts {
    /// Takes the next word, and which of its bits were overruled. Returns how many samples of the word before are
    /// doubtful: what comes behind them decides.
    #[inline]
    pub(super) fn push(&mut self, word: u32, overruled: u32) -> u32 {
        let doubtful = if self.overruled == 0 { 0 } else { self.doubtful(word) };
        (self.before, self.last) = (self.last, word);
        self.overruled = (overruled | overruled >> 1) & 0x5555_5555;
        doubtful
    }

    /// Overruled samples of the last word that have edges of both channels on both sides; `next` is the word behind it.
    #[cold]
    fn doubtful(&self, next: u32) -> u32 {
        let mut doubtful = 0;
        for index in 0..16 {
            if self.overruled >> (2 * index) & 1 == 0 {
                continue;
            }
            let (early, late, at) =
                if index < REACH { (self.before, self.last, 16 + index) } else { (self.last, next, index) };
            let samples = (u64::from(late) << 32 | u64::from(early)) >> (2 * (at - REACH));
            let changes = samples ^ samples >> 2;
            let both = |changes: u64| changes & A_CHANGES != 0 && changes & B_CHANGES != 0;
            doubtful += u32::from(both(changes) && both(changes >> (2 * REACH)));
        }
        doubtful
    }
}

#[cfg(test)]
mod tests {
    extern crate std;
    use super::*;
    use proptest::prelude::*;
    use std::vec::Vec;

    proptest! {
        /// An overruled sample is doubtful where both channels have an edge among the eight steps before it and among the
        /// eight behind it, and each is reported with the word after its own.
        #[test]
        fn doubtful_amid_edges_of_both_channels(
            words in prop::collection::vec((any::<u32>(), any::<u32>(), any::<u32>(), any::<u32>()), 3..8),
            edges in 0_u8..3,
        ) {
            // Few edges, more, or any; an edge of B or of A at every set bit. Some overruled bits.
            let words: Vec<(u32, u32)> = words
                .into_iter()
                .scan(0_u32, |level, (a, b, c, overruled)| {
                    let toggles = match edges {
                        0 => a & b & c,
                        1 => a & b,
                        _ => a,
                    };
                    let mut word = 0;
                    for index in 0..16 {
                        *level ^= toggles >> (2 * index) & 0b11;
                        word |= *level << (2 * index);
                    }
                    Some((word, overruled & c))
                })
                .collect();
            let sample = |index: usize| words[index / 16].0 >> (index % 16 * 2) & 0b11;
            let both = |mut steps: core::ops::Range<usize>| {
                let changes = steps.try_fold(0, |changes, step| Some(changes | sample(step) ^ sample(step + 1)));
                changes == Some(0b11)
            };
            let mut doubts = Doubts::default();
            for (place, &(word, overruled)) in words.iter().enumerate() {
                let reported = doubts.push(word, overruled);
                // The first word has none before it that is known.
                if place < 2 {
                    continue;
                }
                let doubtful = (16 * (place - 1)..16 * place).filter(|&at| {
                    let (word, bit) = (words[at / 16].1, at % 16 * 2);
                    word >> bit & 0b11 != 0 && both(at - 8..at) && both(at..at + 8)
                });
                prop_assert_eq!(reported as usize, doubtful.count());
            }
        }
    }
}
