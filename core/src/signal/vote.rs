//! A vote of three successive samples on each channel, so that a spike shorter than a sample period is not counted.
//!
//! A channel keeps each level for two edges of the encoder, so for two samples or more at any rate at which no edge
//! is missed. A level that only one sample shows, between two that show the other, is a spike, and the vote overrules
//! it. The voted samples come one sample later.

/// Takes words of samples and returns them voted.
#[derive(Debug, Clone)]
pub(super) struct Vote {
    /// The last two samples, the later one in the upper two bits, once there was one.
    tail: Option<u32>,
    /// The word that changes nothing, however often it comes.
    still: Option<u32>,
}

impl Vote {
    pub(super) const fn new() -> Self {
        Self { tail: None, still: None }
    }

    /// Whether taking this word would change nothing: no vote is open, and none of the last word was overruled.
    #[inline]
    pub(super) const fn is_still(&self, word: u32) -> bool {
        matches!(self.still, Some(still) if still == word)
    }

    /// Takes 16 samples. Returns the vote on the last sample before them and all but the last of them, and which bits it
    /// overruled.
    #[inline]
    pub(super) const fn push(&mut self, word: u32) -> (u32, u32) {
        let tail = match self.tail {
            Some(tail) => tail,
            None => (word & 0b11) * 0b0101,
        };
        self.tail = Some(word >> 28);
        let (one, two) = (word << 2 | tail >> 2, word << 4 | tail);
        let voted = word & one | two & word | two & one;
        // Each sample is the one before it: all of them are.
        self.still = if one == word { Some(word) } else { None };
        (voted, voted ^ one)
    }
}

#[cfg(test)]
mod tests {
    extern crate std;
    use super::*;
    use proptest::prelude::*;
    use std::vec::Vec;

    /// The same level 16 times is the level times this.
    const SAMPLES: u32 = 0x5555_5555;

    proptest! {
        /// Each voted sample is, on each channel, the level that two of three show: the sample, the one before it and the
        /// one behind it; and where that is not the sample's own level, it is overruled. Before the first sample
        /// there was its level.
        #[test]
        fn vote_is_the_level_of_two_of_three(words in prop::collection::vec(any::<u32>(), 1..4)) {
            let mut samples = std::vec![words[0] & 0b11; 2];
            samples.extend(words.iter().flat_map(|word| (0..16).map(move |index| word >> (2 * index) & 0b11)));
            let mut vote = Vote::new();
            for (word, samples) in words.iter().zip(samples.windows(18).step_by(16)) {
                let (voted, overruled) = vote.push(*word);
                for (index, three) in samples.windows(3).enumerate() {
                    let [before, at, behind] = [three[0], three[1], three[2]];
                    for channel in [0b01, 0b10] {
                        let shown = [before, at, behind].iter().filter(|&sample| sample & channel != 0).count();
                        let level = if shown >= 2 { channel } else { 0 };
                        prop_assert_eq!(voted >> (2 * index) & channel, level);
                        prop_assert_eq!(overruled >> (2 * index) & channel, level ^ at & channel);
                    }
                }
            }
        }
    }

    /// A level that has stood for a word and the sample before it is still, and no other word is.
    #[test]
    fn level_that_stands_is_still() {
        for level in 0..4 {
            let mut vote = Vote::new();
            assert!(!vote.is_still(SAMPLES * level));
            vote.push(SAMPLES * level);
            for word in [0, 1, 2, 3].map(|level| SAMPLES * level) {
                assert_eq!(vote.is_still(word), word == SAMPLES * level);
            }
            // An edge in the last sample, and a word of the new level behind it.
            vote.push((SAMPLES * level) ^ (1 << 30));
            assert!(!vote.is_still(SAMPLES * level) && !vote.is_still(SAMPLES * (level ^ 1)));
            vote.push(SAMPLES * (level ^ 1));
            assert!(vote.is_still(SAMPLES * (level ^ 1)));
        }
    }

    /// A word that is still changes nothing: its vote is the level that stood already. All words with at most one edge, in
    /// any order of three.
    #[test]
    fn still_word_changes_nothing() {
        let words: Vec<u32> = (0..16)
            .flat_map(|edge| {
                (0..16).map(move |levels| {
                    let later = (u64::MAX << (2 * edge)) as u32;
                    let [first, second] = [levels & 0b11, levels >> 2].map(|level| SAMPLES * level);
                    (first & !later) | (second & later)
                })
            })
            .collect();
        let mut stills = 0;
        for &first in &words {
            for &second in &words {
                let mut vote = Vote::new();
                vote.push(first);
                let (before, _) = vote.push(second);
                for &third in &words {
                    if vote.is_still(third) {
                        let mut after = vote.clone();
                        assert_eq!(
                            after.push(third),
                            ((before >> 30) * SAMPLES, 0),
                            "{first:x} {second:x} {third:x}"
                        );
                        stills += 1;
                    }
                }
            }
        }
        assert!(stills > 0);
    }
}
