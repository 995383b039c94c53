//! Quadrature decoding: encoder samples in, counts out.
//!
//! Two channels A and B in Gray code give four counts to a pulse. A sample is two bits, A in bit 1
//! and B in bit 0; forward is `00 01 11 10 00` (the step table of the usual quadrature decoders, as
//! printed with the Nordic nRF QDEC peripheral; the workspace tests hold it row by row). A step in
//! which both bits change says that a sample was missed: the direction is unknown, so it is counted
//! as illegal and never guessed.
//!
//! [`Decoder`] takes one sample at a time, 16 or 32 of them packed in a word, or a whole block of
//! words, to the last count the same. Packed words are decoded on bit planes: one exclusive-or finds
//! every change in the word, and the direction of all of them is read off in a handful of
//! operations, with no table and no loop over samples.

/// Even bits of a packed word: where channel B sits, and where per-sample flags are gathered.
const EVEN_64: u64 = 0x5555_5555_5555_5555;
const EVEN_32: u32 = 0x5555_5555;

/// What a sample or a packed word held.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Steps {
    /// Counts forward.
    pub forward: u32,
    /// Counts in reverse.
    pub reverse: u32,
    /// Steps in which both channels changed: at least one sample was missed.
    pub illegal: u32,
    /// Channel A changed at least once.
    pub a_moved: bool,
    /// Channel B changed at least once.
    pub b_moved: bool,
}

impl Steps {
    /// Forward less reverse.
    #[must_use]
    pub const fn net(self) -> i64 {
        self.forward as i64 - self.reverse as i64
    }

    /// Nothing changed at all.
    #[must_use]
    pub const fn is_still(self) -> bool {
        !self.a_moved && !self.b_moved
    }
}

/// Decodes A/B samples to counts.
///
/// The first sample only shows where the pins stand: nothing is counted for it, whatever it is.
///
/// Totals are `u64`: at 200,000 counts a second they last 2.9 million years, so they do not wrap.
///
/// # Examples
/// ```
/// use turntally_core::quadrature::Decoder;
/// let mut decoder = Decoder::new();
/// for sample in [0b00, 0b01, 0b11, 0b10, 0b00] {
///     decoder.push(sample);
/// }
/// assert_eq!(decoder.position(), 4); // one pulse, four counts
/// ```
#[derive(Debug, Clone, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Decoder {
    /// The last sample, once there was one.
    last: Option<u8>,
    forward: u64,
    reverse: u64,
    illegal: u64,
}

impl Decoder {
    /// A decoder that has seen no sample yet.
    #[must_use]
    pub const fn new() -> Self {
        Self { last: None, forward: 0, reverse: 0, illegal: 0 }
    }

    /// Takes one sample: A in bit 1, B in bit 0; other bits are ignored.
    #[inline]
    pub fn push(&mut self, sample: u8) -> Steps {
        let sample = sample & 0b11;
        let last = self.last.replace(sample).unwrap_or(sample);
        let changed = last ^ sample;
        let (a_moved, b_moved) = (changed & 0b10 != 0, changed & 0b01 != 0);
        let mut steps = Steps { a_moved, b_moved, ..Steps::default() };
        match (a_moved, b_moved) {
            (false, false) => {}
            (true, true) => steps.illegal = 1,
            // With A and B different after the step, a change of B was forward and one of A reverse.
            _ if ((sample >> 1) ^ sample) & 1 == u8::from(b_moved) => steps.forward = 1,
            _ => steps.reverse = 1,
        }
        self.add(steps);
        steps
    }

    /// Takes 16 samples packed in a word, the oldest in the lowest two bits (as a shift register
    /// that shifts right packs them).
    #[inline]
    pub fn push_16(&mut self, word: u32) -> Steps {
        let last = self.last.map_or(word & 0b11, u32::from);
        self.last = Some((word >> 30) as u8);
        let changed = word ^ ((word << 2) | last);
        if changed == 0 {
            return Steps::default();
        }
        // Flags at even bits, one a sample. `change_a` may carry garbage at odd bits; masks drop it.
        let change_a = changed >> 1;
        let legal = (changed ^ change_a) & EVEN_32;
        let forward = legal & (word ^ (word >> 1) ^ change_a);
        let illegal = changed & change_a & EVEN_32;
        let steps = Steps {
            forward: forward.count_ones(),
            reverse: (legal ^ forward).count_ones(),
            illegal: illegal.count_ones(),
            a_moved: change_a & EVEN_32 != 0,
            b_moved: changed & EVEN_32 != 0,
        };
        self.add(steps);
        steps
    }

    /// Takes 32 samples packed in a word, the oldest in the lowest two bits.
    #[inline]
    pub fn push_32(&mut self, word: u64) -> Steps {
        let last = self.last.map_or(word & 0b11, u64::from);
        self.last = Some((word >> 62) as u8);
        let changed = word ^ ((word << 2) | last);
        if changed == 0 {
            return Steps::default();
        }
        let change_a = changed >> 1;
        let legal = (changed ^ change_a) & EVEN_64;
        let forward = legal & (word ^ (word >> 1) ^ change_a);
        let illegal = changed & change_a & EVEN_64;
        let forward_count = forward.count_ones();
        let steps = Steps {
            forward: forward_count,
            reverse: legal.count_ones() - forward_count,
            illegal: if illegal == 0 { 0 } else { illegal.count_ones() },
            a_moved: change_a & EVEN_64 != 0,
            b_moved: changed & EVEN_64 != 0,
        };
        self.add(steps);
        steps
    }

    /// Takes a block of words of 32 samples each, the oldest in the lowest two bits of the first word:
    /// the same as [`push_32`](Self::push_32) on every word, for a recording that lies in memory.
    ///
    /// The flags of several words are added up side by side in two-bit, then four-bit, then byte-wide
    /// fields and summed once for 60 words: counting the ones of each word is the dearest part where
    /// the processor has no instruction for it (plain x86-64 and Cortex-M0+ have none).
    pub fn push_block(&mut self, words: &[u64]) {
        let (sixes, rest) = words.as_chunks::<6>();
        if let (Some(&[first, ..]), Some(&[.., end])) = (sixes.first(), sixes.last()) {
            let mut last = self.last.map_or(first & 0b11, u64::from);
            self.last = Some((end >> 62) as u8);
            // A byte-wide field takes at most 24 from six words, so 240 from ten times six.
            for block in sixes.chunks(10) {
                let mut bytes = Flags::default();
                for &[a, b, c, d, e, f] in block {
                    // A two-bit field takes three words, a four-bit field two such pairs twice: 12.
                    let three = Flags::of(a, last) + Flags::of(b, a >> 62) + Flags::of(c, b >> 62);
                    let more = Flags::of(d, c >> 62) + Flags::of(e, d >> 62) + Flags::of(f, e >> 62);
                    let nibbles =
                        three.widen(2, 0x3333_3333_3333_3333) + more.widen(2, 0x3333_3333_3333_3333);
                    bytes = bytes + nibbles.widen(4, 0x0f0f_0f0f_0f0f_0f0f);
                    last = f >> 62;
                }
                let [legal, forward, illegal] = bytes.sums();
                self.forward += forward;
                self.reverse += legal - forward;
                self.illegal += illegal;
            }
        }
        for &word in rest {
            self.push_32(word);
        }
    }

    /// Forgets where the pins stood: the next sample counts nothing. For a time in which the levels
    /// were unknown (a capture's `x` or `z`, a sampler that was switched off).
    pub const fn forget_level(&mut self) {
        self.last = None;
    }

    /// The last sample, once there was one.
    #[must_use]
    pub const fn level(&self) -> Option<u8> {
        self.last
    }

    /// Forward counts less reverse counts since the first sample.
    #[must_use]
    pub const fn position(&self) -> i64 {
        self.forward.wrapping_sub(self.reverse).cast_signed()
    }

    /// Forward counts in all.
    #[must_use]
    pub const fn forward(&self) -> u64 {
        self.forward
    }

    /// Reverse counts in all.
    #[must_use]
    pub const fn reverse(&self) -> u64 {
        self.reverse
    }

    /// Illegal steps in all. Each leaves the position wrong by at most two counts, plus a multiple
    /// of four where more than three edges went by unseen.
    #[must_use]
    pub const fn illegal(&self) -> u64 {
        self.illegal
    }

    #[inline]
    fn add(&mut self, steps: Steps) {
        self.forward += u64::from(steps.forward);
        self.reverse += u64::from(steps.reverse);
        self.illegal += u64::from(steps.illegal);
    }
}

/// Flags of the steps in a word, or sums of them in fields side by side, for [`Decoder::push_block`].
#[derive(Clone, Copy, Default)]
struct Flags {
    legal: u64,
    forward: u64,
    illegal: u64,
}

impl Flags {
    /// One flag for each sample, at its even bit; `last` is the sample before the word.
    #[inline]
    const fn of(word: u64, last: u64) -> Self {
        let changed = word ^ ((word << 2) | last);
        let change_a = changed >> 1;
        let legal = (changed ^ change_a) & EVEN_64;
        Self {
            legal,
            forward: legal & (word ^ (word >> 1) ^ change_a),
            illegal: changed & change_a & EVEN_64,
        }
    }

    /// Adds neighbouring fields of `bits` each into fields twice as wide; `mask` keeps the lower ones.
    #[inline]
    const fn widen(self, bits: u32, mask: u64) -> Self {
        Self {
            legal: (self.legal & mask) + (self.legal >> bits & mask),
            forward: (self.forward & mask) + (self.forward >> bits & mask),
            illegal: (self.illegal & mask) + (self.illegal >> bits & mask),
        }
    }

    /// The sums of all byte-wide fields: legal, forward, illegal.
    #[inline]
    fn sums(self) -> [u64; 3] {
        let wide = self.widen(8, 0x00ff_00ff_00ff_00ff);
        // Four fields of at most 480 each: the product gathers their sum in the top one.
        [wide.legal, wide.forward, wide.illegal].map(|sum| sum.wrapping_mul(0x0001_0001_0001_0001) >> 48)
    }
}

impl core::ops::Add for Flags {
    type Output = Self;

    #[inline]
    fn add(self, other: Self) -> Self {
        Self {
            legal: self.legal + other.legal,
            forward: self.forward + other.forward,
            illegal: self.illegal + other.illegal,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// The forward cycle as state index to sample.
    const CYCLE: [u8; 4] = [0b00, 0b01, 0b11, 0b10];

    fn single(samples: &[u8]) -> Decoder {
        let mut decoder = Decoder::new();
        for &sample in samples {
            decoder.push(sample);
        }
        decoder
    }

    /// Samples in a word, the oldest in the lowest bits.
    fn packed(samples: &[u8]) -> u64 {
        samples.iter().rev().fold(0, |word, &sample| word << 2 | u64::from(sample))
    }

    /// What two spans of samples say, one behind the other.
    fn together(first: Steps, then: Steps) -> Steps {
        Steps {
            forward: first.forward + then.forward,
            reverse: first.reverse + then.reverse,
            illegal: first.illegal + then.illegal,
            a_moved: first.a_moved || then.a_moved,
            b_moved: first.b_moved || then.b_moved,
        }
    }

    fn packed_16(samples: &[u8]) -> Decoder {
        let mut decoder = Decoder::new();
        for chunk in samples.chunks_exact(16) {
            decoder.push_16(packed(chunk) as u32);
        }
        decoder
    }

    fn packed_32(samples: &[u8]) -> Decoder {
        let mut decoder = Decoder::new();
        for chunk in samples.chunks_exact(32) {
            decoder.push_32(packed(chunk));
        }
        decoder
    }

    fn block(samples: &[u8], cut: usize) -> Decoder {
        let words: heapless::Vec<u64, 512> = samples.chunks_exact(32).map(packed).collect();
        let (first, second) = words.split_at(cut.min(words.len()));
        let mut decoder = Decoder::new();
        decoder.push_block(first);
        decoder.push_block(second);
        decoder
    }

    proptest! {
        /// A block, wherever it is cut in two and whatever is left over, equals single samples.
        #[test]
        fn block_equals_single(
            samples in prop::collection::vec(0_u8..4, 0..9000),
            repeat in 1_usize..9,
            cut in 0_usize..300,
        ) {
            let samples: heapless::Vec<u8, 9000> =
                samples.iter().flat_map(|&s| core::iter::repeat_n(s, repeat)).take(9000).collect();
            let whole = &samples[..samples.len() / 32 * 32];
            prop_assert_eq!(block(whole, cut), single(whole));
        }

        /// Any samples at all: packed and single decoding agree to the last count.
        #[test]
        fn packed_equals_single(samples in prop::collection::vec(0_u8..4, 0..20), repeat in 1_usize..9) {
            let samples: heapless::Vec<u8, 4096> =
                samples.iter().flat_map(|&s| core::iter::repeat_n(s, repeat)).collect();
            let whole = &samples[..samples.len() / 32 * 32];
            prop_assert_eq!(packed_16(whole), single(whole));
            prop_assert_eq!(packed_32(whole), single(whole));
        }

        /// A word says of its samples what they say one by one: the counts each way, the illegal steps, which channel
        /// moved, and the level at the end. Channels that never move are among them.
        #[test]
        fn word_says_what_its_samples_say(
            samples in prop::collection::vec(0_u8..4, 96), repeat in 1_usize..40, mask in 0_u8..4,
        ) {
            let samples: heapless::Vec<u8, 96> =
                samples.iter().flat_map(|&s| core::iter::repeat_n(s & mask, repeat)).take(96).collect();
            let (mut single, mut words_16, mut words_32) = (Decoder::new(), Decoder::new(), Decoder::new());
            for chunk in samples.chunks_exact(32) {
                let [first, last] = [&chunk[..16], &chunk[16..]].map(|half| {
                    let steps = half.iter().fold(Steps::default(), |sum, &sample| together(sum, single.push(sample)));
                    prop_assert_eq!(words_16.push_16(packed(half) as u32), steps);
                    prop_assert_eq!(words_16.level(), single.level());
                    Ok(steps)
                });
                prop_assert_eq!(words_32.push_32(packed(chunk)), together(first?, last?));
                prop_assert_eq!(words_32.level(), chunk.last().copied());
            }
        }

        /// Forward and back over any path ends where it began, and a path of single steps is counted exactly.
        #[test]
        fn forwards_and_back_is_zero(start in 0_usize..4, path in prop::collection::vec(-1_i64..=1, 0..300)) {
            let mut at = start as i64;
            let mut decoder = Decoder::new();
            decoder.push(CYCLE[start]);
            for step in &path {
                at += step;
                decoder.push(CYCLE[at.rem_euclid(4) as usize]);
                prop_assert_eq!(decoder.position(), at - start as i64);
            }
            for step in path.iter().rev() {
                at -= step;
                decoder.push(CYCLE[at.rem_euclid(4) as usize]);
            }
            prop_assert_eq!((decoder.position(), decoder.illegal()), (0, 0));
        }

        /// Bounce on one channel, however long, leaves nothing behind once it settles.
        #[test]
        fn bounce_on_one_channel_cancels(start in 0_u8..4, channel in 0_u8..2, bounces in 0_usize..200) {
            let mut decoder = Decoder::new();
            decoder.push(start);
            for _ in 0..bounces {
                decoder.push(start ^ (1 << channel));
                decoder.push(start);
            }
            prop_assert_eq!((decoder.position(), decoder.illegal()), (0, 0));
        }
    }

    /// From every starting level the very first step is counted and the first sample is not.
    #[test]
    fn first_step_counts_from_every_level() {
        for start in 0..4 {
            let mut decoder = Decoder::new();
            decoder.push(CYCLE[start]);
            assert_eq!(decoder.position(), 0);
            decoder.push(CYCLE[(start + 1) % 4]);
            assert_eq!(decoder.position(), 1);
        }
    }

    /// The net count is forward less reverse; steps are still only where neither channel moved, which an illegal step
    /// is not.
    #[test]
    fn steps_are_summed_up() {
        let steps = Steps { forward: 7, reverse: 10, ..Steps::default() };
        assert_eq!(steps.net(), -3);
        for (a_moved, b_moved) in [(false, false), (true, false), (false, true), (true, true)] {
            assert_eq!(Steps { a_moved, b_moved, ..steps }.is_still(), (a_moved, b_moved) == (false, false));
        }
    }

    /// After a time without levels the next one counts nothing, wherever it is; what was counted stays.
    #[test]
    fn forgotten_level_counts_nothing() {
        for level in 0..4 {
            let mut decoder = single(&[0b00, 0b01, 0b11]);
            decoder.forget_level();
            assert_eq!(decoder.level(), None);
            assert_eq!(decoder.push(level), Steps::default());
            assert_eq!((decoder.position(), decoder.illegal(), decoder.level()), (2, 0, Some(level)));
        }
    }

    /// The first packed word may already move: its steps count, its first level does not.
    #[test]
    fn first_word_counts_its_own_steps() {
        // Level 11 eight times, then 10 eight times: one step forward.
        let mut decoder = Decoder::new();
        let word = 0xaaaa_ffff;
        assert_eq!(decoder.push_16(word).net(), 1);
    }

    /// The fullest fields: every sample of a long block a forward, a reverse or an illegal step.
    #[test]
    fn block_of_nothing_but_steps_does_not_overflow_its_fields() {
        // Oldest first: 00 01 11 10; 00 10 11 01; 00 11 00 11, sixteen or eight times in a word.
        for (byte, expected) in
            [(0b10_11_01_00_u8, (3839, 0, 0)), (0b01_11_10_00, (0, 3839, 0)), (0b11_00_11_00, (0, 0, 3839))]
        {
            let mut decoder = Decoder::new();
            decoder.push_block(&[u64::from_le_bytes([byte; 8]); 120]);
            assert_eq!((decoder.forward(), decoder.reverse(), decoder.illegal()), expected);
        }
    }

    /// A jump over the diagonal is illegal in all four places and moves nothing.
    #[test]
    fn diagonal_is_illegal_and_never_guessed() {
        for level in 0..4 {
            let mut decoder = Decoder::new();
            decoder.push(level);
            decoder.push(level ^ 0b11);
            assert_eq!((decoder.position(), decoder.illegal()), (0, 1));
        }
    }
}
