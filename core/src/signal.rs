//! Whether the encoder's signal can be believed.
//!
//! A quadrature decoder counts what it sees; some broken signals look perfectly legal to it. This
//! module watches for them: a channel that is dead, and counts that no hand can have made so.
//!
//! - **A dead channel.** One channel toggles and the other never moves, so the count only rocks
//!   between two values while the crank turns. After half a revolution's worth of toggles on one
//!   channel alone the other is called dead, by name.
//! - **Chatter.** Bounce or noise on one channel cancels as long as it settles before the other
//!   channel's edge. Where it outlasts that edge the decoder may gain or lose four counts with no illegal step to
//!   show for it. But the walk is seen, since no hand can go so: back by three counts, standing still for four
//!   amid a run, or making four more in no time. Each is reported with the error bound it leaves.
//!
//! What stays unseen: bounce that outlasts the other channel's edge before there have been two counts from rest,
//! and counts so slow that a hand may well have made them so. `00 01 00 10 00 01` is a crank that lost four counts
//! to a bounce of B, and one that went back two and on again, to the last sample: they differ in time alone.

mod doubt;
mod run;
mod vote;

#[cfg(feature = "serde")]
use serde::{Deserialize, Serialize};

use crate::quadrature::{Decoder, Steps};
use crate::time::Instant;

use doubt::Doubts;
use run::{Run, short};
use vote::Vote;

/// The counts that may be lost with each step that cannot be true.
pub const ERROR_PER_ILLEGAL: u64 = 2;
/// The counts that may be lost with each retreat, stall or rush that no hand can make: four, and as many again for
/// one that hid behind it. Our own bound, held by the campaigns of bounce and of random batches.
pub const ERROR_PER_CHATTER: u64 = 8;

/// Steps that cannot be true for each doubtful sample: it stands for up to four counts.
const ILLEGAL_PER_DOUBT: u32 = 2;

/// One of the two encoder channels.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
#[cfg_attr(feature = "serde", derive(Serialize, Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Channel {
    /// Channel A.
    A,
    /// Channel B.
    B,
}

/// What a word of samples showed, with the watch's judgement of it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Reading {
    /// Forward less reverse counts.
    pub net: i64,
    /// Steps in which both channels changed, and two for each sample in doubt amid edges about a sample apart.
    pub illegal: u32,
    /// Retreats, stalls and rushes that no hand can make.
    pub chatter: u32,
    /// A channel that has just been found dead.
    pub dead: Option<Channel>,
    /// A channel that had been called dead has moved again.
    pub revived: bool,
}

impl Reading {
    /// There is nothing to tell the bench.
    #[must_use]
    pub fn is_quiet(&self) -> bool {
        *self == Self::default()
    }

    /// By how many counts [`Self::net`] may be wrong.
    #[must_use]
    pub fn error_bound(&self) -> u64 {
        ERROR_PER_ILLEGAL * u64::from(self.illegal) + ERROR_PER_CHATTER * u64::from(self.chatter)
    }
}

/// Decodes packed samples and judges the signal they came from.
#[derive(Debug, Clone)]
pub struct SignalWatch {
    decoder: Decoder,
    vote: Vote,
    doubts: Doubts,
    /// Samples that were doubtful, since the start.
    doubtful: u64,
    /// Toggles of one channel since the other last moved.
    alone: Option<Alone>,
    alone_limit: u32,
    dead: Option<Channel>,
    run: Run,
    sample_period_ns: u32,
}

/// One channel toggling by itself.
#[derive(Debug, Clone, Copy)]
struct Alone {
    channel: Channel,
    /// How often, with those of a burst held to whether its level was another in the end.
    toggles: u32,
    /// When it toggled last.
    last_ns: u64,
    /// The burst that is going on.
    burst: Option<Burst>,
}

/// Toggles right behind each other after a long quiet.
#[derive(Debug, Clone, Copy)]
struct Burst {
    since_ns: u64,
    /// The level is not what it was before.
    moved: bool,
}

/// After so long a quiet the crank rests or goes slowly ...
const QUIET_NS: u64 = 10_000_000;
/// ... and toggles that follow each other within this time ...
const PULSE_NS: u64 = 1_000_000;
/// ... for no longer than this are bounce or noise: at most one of them is an edge.
const BURST_NS: u64 = 5_000_000;

impl Alone {
    const fn new(channel: Channel, at_ns: u64) -> Self {
        Self { channel, toggles: 0, last_ns: at_ns, burst: None }
    }

    /// The channel toggled `count` times more, up to `at_ns`.
    fn toggled(&mut self, count: u32, at_ns: u64) {
        let quiet_ns = at_ns.saturating_sub(self.last_ns);
        self.last_ns = at_ns;
        if quiet_ns > QUIET_NS {
            self.burst = Some(Burst { since_ns: at_ns, moved: false });
        } else if self
            .burst
            .is_some_and(|burst| quiet_ns > PULSE_NS || at_ns.saturating_sub(burst.since_ns) > BURST_NS)
        {
            self.burst = None;
        }
        let Some(burst) = &mut self.burst else {
            self.toggles = self.toggles.saturating_add(count);
            return;
        };
        let before = u32::from(burst.moved);
        burst.moved ^= !count.is_multiple_of(2);
        self.toggles = self.toggles.saturating_sub(before).saturating_add(u32::from(burst.moved));
    }
}

impl SignalWatch {
    /// For an encoder of `pulses_per_rev` pulses, sampled every `sample_period_ns` nanoseconds.
    #[must_use]
    pub fn new(pulses_per_rev: u32, sample_period_ns: u32) -> Self {
        Self {
            decoder: Decoder::new(),
            vote: Vote::new(),
            doubts: Doubts::default(),
            doubtful: 0,
            alone: None,
            // Half a revolution: `pulses` periods make 2 x pulses toggles. At least 24, so that the
            // bounce of one edge of a coarse mechanical encoder is no dead channel.
            alone_limit: pulses_per_rev.max(24),
            dead: None,
            run: Run::new(pulses_per_rev),
            sample_period_ns,
        }
    }

    /// The decoder inside, for its totals.
    #[must_use]
    pub const fn decoder(&self) -> &Decoder {
        &self.decoder
    }

    /// Steps since the start that cannot be true: in which both channels changed, and two for each doubtful
    /// sample.
    #[must_use]
    pub const fn illegal(&self) -> u64 {
        self.decoder.illegal() + self.doubtful * ILLEGAL_PER_DOUBT as u64
    }

    /// Whether 16 packed samples all say that nothing moved: [`SignalWatch::push_16`] need not see them.
    #[inline]
    #[must_use]
    pub const fn is_still(&self, word: u32) -> bool {
        self.vote.is_still(word)
    }

    /// Takes 16 packed samples, the oldest in the lowest bits; `end` is the time of the last one. What only one
    /// sample shows is not counted, and the last sample counts with the next word.
    #[inline]
    pub fn push_16(&mut self, word: u32, end: Instant) -> Reading {
        let (word, overruled) = self.vote.push(word);
        let doubtful = self.doubts.push(word, overruled);
        let before = self.decoder.level();
        let position = self.decoder.position();
        let steps = self.decoder.push_16(word);
        let doubted = ILLEGAL_PER_DOUBT * doubtful;
        self.doubtful += u64::from(doubtful);
        if steps.is_still() {
            return Reading { illegal: doubted, ..Reading::default() };
        }
        let mut reading =
            Reading { net: steps.net(), illegal: steps.illegal + doubted, ..Reading::default() };
        self.watch_channels(steps, end, &mut reading);
        let one_way = steps.forward == 0 || steps.reverse == 0;
        if one_way && self.run.goes_on(reading.net.signum(), position + reading.net, end) {
            return reading;
        }
        self.run.begin(position, end);
        let mut walk = Decoder::new();
        if let Some(level) = before {
            walk.push(level);
        }
        for index in 0..16_u32 {
            let step = walk.push((word >> (2 * index)) as u8).net();
            if step != 0 {
                let ahead_us = self.sample_period_ns.saturating_mul(15 - index) / 1_000;
                let at_us = short(end).wrapping_sub(ahead_us);
                reading.chatter += self.run.follow(position + walk.position(), step, at_us);
            }
        }
        reading
    }

    /// Takes one sample, A in bit 1 and B in bit 0, seen at `at`: for signals that come as changes
    /// with their time, such as a recording, and not at a steady rate. There is no vote: a change may last for any time.
    #[inline]
    pub fn push(&mut self, sample: u8, at: Instant) -> Reading {
        let steps = self.decoder.push(sample);
        if steps.is_still() {
            return Reading::default();
        }
        let mut reading = Reading { net: steps.net(), illegal: steps.illegal, ..Reading::default() };
        self.watch_channels(steps, at, &mut reading);
        let position = self.decoder.position();
        if self.run.goes_on(reading.net, position, at) {
            return reading;
        }
        self.run.begin(position - reading.net, at);
        if reading.net != 0 {
            reading.chatter = self.run.follow(position, reading.net, short(at));
        }
        reading
    }

    /// Forgets where the pins stood, as [`Decoder::forget_level`] does; counts and findings stay.
    pub const fn forget_level(&mut self) {
        self.decoder.forget_level();
        self.vote = Vote::new();
    }

    fn watch_channels(&mut self, steps: Steps, at: Instant, reading: &mut Reading) {
        let moved = steps.forward + steps.reverse + steps.illegal;
        let channel = match (steps.a_moved, steps.b_moved) {
            (true, false) => Channel::A,
            (false, true) => Channel::B,
            _ => {
                self.alone = None;
                reading.revived = self.dead.take().is_some();
                return;
            }
        };
        let at_ns = nanos(at);
        let mut alone = match self.alone {
            Some(alone) if alone.channel == channel => alone,
            _ => Alone::new(channel, at_ns),
        };
        alone.toggled(moved, at_ns);
        self.alone = Some(alone);
        let toggles = alone.toggles;
        let silent = match channel {
            Channel::A => Channel::B,
            Channel::B => Channel::A,
        };
        match self.dead {
            // The channel that was called dead is the one that moved.
            Some(dead) if dead == channel => {
                self.dead = None;
                reading.revived = true;
            }
            None if toggles >= self.alone_limit => {
                self.dead = Some(silent);
                reading.dead = Some(silent);
            }
            _ => {}
        }
    }
}

/// Nanoseconds; wraps after 584 years.
const fn nanos(time: Instant) -> u64 {
    time.as_micros().wrapping_mul(1_000)
}

#[cfg(test)]
mod tests {
    use super::*;
    extern crate std;
    use std::vec::Vec;

    const CYCLE: [u8; 4] = [0b00, 0b01, 0b11, 0b10];

    /// Feeds samples 20 us apart and adds up what the watch says.
    fn watch(pulses: u32, samples: &[u8]) -> (SignalWatch, Vec<Reading>) {
        let mut watch = SignalWatch::new(pulses, 20_000);
        let mut readings = Vec::new();
        for (index, chunk) in samples.chunks_exact(16).enumerate() {
            let word = chunk.iter().rev().fold(0_u32, |word, &s| word << 2 | u32::from(s));
            readings.push(watch.push_16(word, Instant::from_micros((index as u64 + 1) * 320)));
        }
        (watch, readings)
    }

    /// `counts` steps forward, `hold` samples each.
    fn forward(counts: usize, hold: usize) -> Vec<u8> {
        (0..=counts).flat_map(|c| core::iter::repeat_n(CYCLE[c % 4], hold)).collect()
    }

    /// A crank that is jerked the other way, faster than a hand reverses one, is chatter on the way and none
    /// from rest; its counts are right in both.
    #[test]
    fn crank_at_rest_has_no_direction() {
        let one_ms = |index: usize| std::iter::repeat_n(CYCLE[index % 4], 50);
        for (rest_ms, chatter) in [(0, true), (50, true), (150, false), (5_000, false)] {
            let mut samples: Vec<u8> = (0..40).flat_map(one_ms).collect();
            samples.extend(std::iter::repeat_n(CYCLE[39 % 4], rest_ms * 50));
            samples.extend((0..39).rev().flat_map(one_ms));
            samples.resize(samples.len().next_multiple_of(16), CYCLE[0]);
            let (watch, readings) = watch(400, &samples);
            assert_eq!(watch.decoder().position(), 0);
            assert_eq!(readings.iter().any(|reading| reading.chatter > 0), chatter, "{rest_ms} ms");
        }
    }

    /// Half a turn with B stuck names B, and only once.
    #[test]
    fn stuck_channel_is_named_once() {
        for (mask, expected) in [(0b10_u8, Channel::B), (0b01, Channel::A)] {
            let samples: Vec<u8> = forward(1600, 8).iter().map(|s| s & mask).collect();
            let (_, readings) = watch(400, &samples);
            let dead: Vec<_> = readings.iter().filter_map(|r| r.dead).collect();
            assert_eq!(dead, [expected]);
        }
    }

    /// Pulses of noise on one channel while the crank rests are no dead channel, wherever in a word they
    /// fall and however long they go on; a channel that dies afterwards is still named.
    #[test]
    fn noise_at_rest_is_no_dead_channel() {
        let mut samples = forward(8, 40);
        for pulse in 0..400_usize {
            samples.extend(core::iter::repeat_n(0b00, 700 + pulse % 16));
            samples.extend(core::iter::repeat_n(0b10, 1 + pulse % 6));
        }
        samples.extend(core::iter::repeat_n(0b00, 700));
        let quiet = samples.len();
        samples.extend(forward(400, 50).iter().map(|s| s & 0b10));
        for pulses in [24, 400] {
            let (_, readings) = watch(pulses, &samples);
            let named = |readings: &[Reading]| readings.iter().filter_map(|r| r.dead).collect::<Vec<_>>();
            assert_eq!(named(&readings[..quiet / 16]), [], "{pulses} pulses");
            let after = named(&readings[quiet / 16..]);
            assert_eq!(after, if pulses == 24 { [Channel::B].as_slice() } else { &[] }, "{pulses} pulses");
        }
    }

    /// Single samples and packed words come to the same findings.
    #[test]
    fn single_samples_find_what_words_find() {
        let mut faulty = forward(100, 16);
        faulty.extend([0b01, 0b01, 0b00, 0b00, 0b10, 0b10, 0b11, 0b11]);
        faulty.extend((0..104).flat_map(|c| core::iter::repeat_n(CYCLE[(c + 2) % 4], 16)));
        faulty.extend(forward(1600, 4).iter().map(|s| s & 0b10));
        faulty.extend([0b00, 0b00, 0b11, 0b11, 0b00, 0b00, 0b10, 0b10]);
        faulty.truncate(faulty.len() / 16 * 16);
        let (packed, readings) = watch(400, &faulty);
        let mut single = SignalWatch::new(400, 20_000);
        let mut chatter = 0;
        let mut dead = Vec::new();
        for (index, &sample) in faulty.iter().enumerate() {
            let reading = single.push(sample, Instant::from_micros((index as u64 + 1) * 20));
            chatter += reading.chatter;
            dead.extend(reading.dead);
        }
        assert_eq!(single.decoder(), packed.decoder());
        assert_eq!(chatter, readings.iter().map(|r| r.chatter).sum::<u32>());
        assert_eq!(dead, readings.iter().filter_map(|r| r.dead).collect::<Vec<_>>());
        assert_eq!((chatter, dead.as_slice()), (1, [Channel::B].as_slice()));
    }

    /// A healthy signal at any steady speed raises nothing.
    #[test]
    fn clean_signal_raises_nothing() {
        for hold in [2, 3, 7, 16, 100] {
            let (watch, readings) = watch(400, &forward(2000, hold));
            assert!(readings.iter().all(|r| r.chatter == 0 && r.dead.is_none() && r.illegal == 0), "{hold}");
            assert!(watch.decoder().position() >= 1980);
        }
    }

    /// Bounce that settles before the other channel's edge cancels and is no chatter.
    #[test]
    fn settled_bounce_is_no_chatter() {
        let mut samples = Vec::new();
        for c in 0..400_usize {
            let (old, new) = (CYCLE[c % 4], CYCLE[(c + 1) % 4]);
            samples.extend([new, old, new, old, old, new, new, new, new, new, new, new]);
        }
        let (watch, readings) = watch(400, &samples);
        assert_eq!(readings.iter().map(|r| r.chatter).sum::<u32>(), 0);
        assert_eq!(watch.decoder().position(), 399);
    }

    /// Bounce that straddles the other channel's edge loses four counts with every step legal: it is
    /// reported, at the start, the middle and the end of a word alike.
    #[test]
    fn straddling_bounce_is_reported() {
        for shift in 0..16 {
            let mut samples = forward(100, 16);
            samples.extend(core::iter::repeat_n(CYCLE[100 % 4], shift));
            // From 00: B rises (01), bounces back (00), A rises (10), B rises for good (11).
            samples.extend([0b01, 0b01, 0b00, 0b00, 0b10, 0b10, 0b11, 0b11]);
            samples.extend((0..100).flat_map(|c| core::iter::repeat_n(CYCLE[(c + 2) % 4], 16)));
            let (watch, readings) = watch(400, &samples);
            assert_eq!(readings.iter().map(|r| r.illegal).sum::<u32>(), 0);
            assert_eq!(readings.iter().map(|r| r.chatter).sum::<u32>(), 1, "shift {shift}");
            // 100 counts, then 2, then 99 less what the last partial word holds; four were lost.
            assert!(watch.decoder().position() <= 100 + 2 + 99 - 4);
        }
    }

    /// Turning round by hand, with half of the acceleration that is thought possible, is no chatter, on
    /// coarse and fine encoders.
    #[test]
    fn hand_reversal_is_no_chatter() {
        for pulses in [24, 400, 2_400] {
            let (mut samples, counts_per_rev) = (Vec::new(), 4.0 * f64::from(pulses));
            // One revolution a second, and 50 rev/s2 against it until it runs back as fast.
            for sample in 0..4_000_u32 {
                let t = f64::from(sample) * 20e-6;
                // It turns round a twentieth of a count past an edge: the count there lasts for some samples.
                let count = libm::floor(counts_per_rev * (t - 25.0 * t * t) + 0.05) as i64;
                samples.push(CYCLE[count.rem_euclid(4) as usize]);
            }
            let (watch, readings) = watch(pulses, &samples);
            assert_eq!(readings.iter().map(|r| r.chatter).sum::<u32>(), 0, "{pulses} pulses");
            assert!(watch.decoder().reverse() > 0);
        }
    }

    /// A word of samples, the oldest first.
    fn word(samples: &[u8]) -> u32 {
        samples.iter().rev().fold(0, |word, &sample| word << 2 | u32::from(sample))
    }

    /// Anything that a word shows is worth telling; its error bound is two counts for each illegal step and eight for each
    /// retreat, stall or rush.
    #[test]
    fn reading_is_quiet_only_when_it_shows_nothing() {
        let none = Reading::default();
        assert!(none.is_quiet());
        for reading in [
            Reading { net: -1, ..none },
            Reading { illegal: 1, ..none },
            Reading { chatter: 1, ..none },
            Reading { dead: Some(Channel::A), ..none },
            Reading { revived: true, ..none },
        ] {
            assert!(!reading.is_quiet(), "{reading:?}");
        }
        for (illegal, chatter, bound) in [(0, 0, 0), (3, 0, 6), (0, 5, 40), (3, 5, 46)] {
            assert_eq!(Reading { illegal, chatter, ..none }.error_bound(), bound);
        }
    }

    /// Toggles behind more than 10 ms of quiet are one burst, which counts for an edge where the level is another in the
    /// end: as long as they come within 1 ms of each other and of 5 ms in all. Those after it count one by one.
    #[test]
    fn burst_counts_for_one_edge_at_most() {
        const MS: u64 = 1_000_000;
        // The quiet before the first toggle, then the toggles in it, by the time since the first one and their number.
        let counted = |quiet_ns: u64, toggles: &[(u64, u32)]| {
            let mut alone = Alone::new(Channel::A, 7 * MS);
            for &(ns, count) in toggles {
                alone.toggled(count, 7 * MS + quiet_ns + ns);
            }
            alone.toggles
        };
        assert_eq!(counted(10 * MS, &[(0, 1), (MS / 2, 1), (MS, 1)]), 3, "no quiet before");
        assert_eq!(counted(10 * MS + 1, &[(0, 1)]), 1);
        assert_eq!(counted(10 * MS + 1, &[(0, 1), (MS / 2, 1)]), 0);
        assert_eq!(counted(10 * MS + 1, &[(0, 1), (MS / 2, 1), (MS, 3)]), 1);
        assert_eq!(counted(10 * MS + 1, &[(0, 1), (MS / 2, 1), (MS, 2), (MS, 1)]), 1);
        assert_eq!(counted(10 * MS + 1, &[(0, 1), (MS, 1)]), 0, "within 1 ms");
        assert_eq!(counted(10 * MS + 1, &[(0, 1), (MS + 1, 1)]), 2, "not within 1 ms");
        let toggles_until = |last_ns: u64| {
            [(0, 1), (MS, 1), (2 * MS, 1), (3 * MS, 1), (4 * MS, 1), (9 * MS / 2, 1), (last_ns, 2)]
        };
        assert_eq!(counted(10 * MS + 1, &toggles_until(5 * MS)), 0, "within 5 ms");
        assert_eq!(counted(10 * MS + 1, &toggles_until(5 * MS + 1)), 2, "not within 5 ms");
    }

    /// A spike amid edges three samples apart is overruled, and doubted: two steps that cannot be true, four counts. A
    /// jump across the diagonal is one more, also in the same word.
    #[test]
    fn doubted_samples_are_added_up() {
        for jump in [false, true] {
            let mut samples = forward(12, 3);
            samples[29] ^= 0b01;
            samples.resize(42, CYCLE[0]);
            samples.resize(64, if jump { 0b11 } else { 0b00 });
            let (watch, readings) = watch(400, &samples);
            let illegal = if jump { 3 } else { 2 };
            assert_eq!(watch.illegal(), illegal);
            assert_eq!(readings.iter().map(|reading| u64::from(reading.illegal)).sum::<u64>(), illegal);
            assert_eq!(readings.iter().map(Reading::error_bound).sum::<u64>(), 2 * illegal);
        }
    }

    /// A retreat within one word is reported, also where the word goes on in all.
    #[test]
    fn retreat_within_a_word_is_reported() {
        let mut samples = forward(31, 2);
        let level = 31;
        for at in [level + 1, level + 2, level + 3, level + 2, level + 1, level, level + 1, level + 2] {
            samples.extend([CYCLE[at % 4]; 2]);
        }
        samples.extend([CYCLE[(level + 2) % 4]; 16]);
        // The vote comes a sample later: a word holds the jerk whole.
        samples.drain(..1);
        samples.push(CYCLE[(level + 2) % 4]);
        let (watch, readings) = watch(400, &samples);
        assert_eq!(watch.decoder().position(), 33);
        assert_eq!(readings.iter().map(|reading| reading.chatter).sum::<u32>(), 1);
    }

    /// How far steps of a word are apart is taken from their places in it: three counts back of 100 pulses within 10 ms are
    /// no hand's, and over 10 ms and more they are one.
    #[test]
    fn steps_of_a_word_have_their_own_time() {
        for (apart, chatter) in [(4, 1), (5, 0), (6, 0)] {
            let mut watch = SignalWatch::new(100, 1_000_000);
            let mut samples: Vec<u8> = (0..32).map(|sample| CYCLE[sample / 2 % 4]).collect();
            let (rest, turn) = (CYCLE[15 % 4], [CYCLE[14 % 4], CYCLE[13 % 4], CYCLE[12 % 4]]);
            samples.extend([rest; 2]);
            samples.extend(turn.iter().flat_map(|&level| core::iter::repeat_n(level, apart)));
            samples.resize(64, turn[2]);
            let readings = samples.chunks_exact(16).enumerate().map(|(index, samples)| {
                watch.push_16(word(samples), Instant::from_millis(16 * (index as u32 + 1)))
            });
            assert_eq!(readings.map(|reading| reading.chatter).sum::<u32>(), chatter, "{apart} ms apart");
        }
    }

    /// Two counts from rest give the direction, sample by sample: three back from there at once are no hand's.
    #[test]
    fn two_samples_from_rest_give_the_direction() {
        let mut watch = SignalWatch::new(400, 20_000);
        let mut push = |count: usize, ms| watch.push(CYCLE[count % 4], Instant::from_millis(ms)).chatter;
        push(4, 0);
        let chatter = [(5, 500), (6, 501), (5, 502), (4, 502), (3, 502)].map(|(count, ms)| push(count, ms));
        assert_eq!(chatter, [0, 0, 0, 0, 1]);
    }

    /// A crank that has rested and goes on as it went has its direction at the first count: three back from there at once are
    /// no hand's, sample by sample and in words.
    #[test]
    fn crank_that_goes_on_keeps_its_direction() {
        let mut single = SignalWatch::new(400, 20_000);
        let mut push =
            |count: usize, ms: u32| single.push(CYCLE[count % 4], Instant::from_millis(ms)).chatter;
        for count in 0..=20 {
            push(count, count as u32);
        }
        assert_eq!([21, 20, 19, 18].map(|count| push(count, 500)), [0, 0, 0, 1]);

        let mut samples = forward(20, 16);
        samples.resize(16 * 1_000, CYCLE[0]);
        samples.extend([21, 20, 19, 18, 18].iter().flat_map(|count| [CYCLE[count % 4]; 16]));
        let (_, readings) = watch(400, &samples);
        assert_eq!(readings.iter().map(|reading| reading.chatter).sum::<u32>(), 1);
    }

    /// A step across the diagonal is no count: a retreat with one in between is still a retreat.
    #[test]
    fn illegal_step_is_no_way_to_go() {
        let mut watch = SignalWatch::new(400, 20_000);
        for count in 0..20_usize {
            watch.push(CYCLE[count % 4], Instant::from_millis(count as u32));
        }
        // Two back, across, one back.
        let levels = [CYCLE[18 % 4], CYCLE[17 % 4], CYCLE[17 % 4] ^ 0b11, CYCLE[18 % 4]];
        let chatter = levels.map(|level| watch.push(level, Instant::from_millis(20)).chatter);
        assert_eq!(chatter, [0, 0, 0, 1]);
    }

    /// A word of a level that stands need not be seen, and no other.
    #[test]
    fn word_of_the_same_level_is_still() {
        let mut watch = SignalWatch::new(400, 20_000);
        let standing = word(&[0b01; 16]);
        assert!(!watch.is_still(standing));
        watch.push_16(standing, Instant::from_micros(320));
        assert!(watch.is_still(standing) && !watch.is_still(word(&[0b11; 16])));
        // Where the level was forgotten, the next one is none that stands; nothing is counted for it.
        watch.forget_level();
        assert!(!watch.is_still(standing) && watch.decoder().level().is_none());
        assert!(watch.push_16(word(&[0b11; 16]), Instant::from_micros(640)).is_quiet());
    }

    /// A channel that was called dead and moves again is no more dead, whether by itself or with the other one.
    #[test]
    fn dead_channel_that_moves_is_revived() {
        for together in [false, true] {
            let mut watch = SignalWatch::new(24, 20_000);
            let mut push = |sample: u8, ms: u32| watch.push(sample, Instant::from_millis(ms));
            let dead: Vec<_> = (0..30)
                .filter_map(|ms: u32| push(if ms.is_multiple_of(2) { 0b00 } else { 0b10 }, ms).dead)
                .collect();
            assert_eq!(dead, [Channel::B]);
            let revived = push(if together { 0b01 } else { 0b11 }, 30);
            assert!(revived.revived && revived.dead.is_none());
            // Once; and it can die again.
            assert!(!push(if together { 0b00 } else { 0b10 }, 31).revived);
            let dead: Vec<_> = (32..62)
                .filter_map(|ms: u32| push(if ms.is_multiple_of(2) { 0b00 } else { 0b10 }, ms).dead)
                .collect();
            assert_eq!(dead, [Channel::B]);
        }
    }
}
