//! The encoder as the tester plays it: steps of A and B, each with the time for which it stays.

use turntally_core::signal::Channel;
use turntally_core::time::Duration;

/// Levels of the encoder's wires, and how long they stay.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Step {
    /// A in bit 1, B in bit 0.
    pub levels: u8,
    /// How long: 5 µs at least.
    pub lasts: Duration,
}

/// How the edges come.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Pattern {
    /// Evenly.
    Even {
        /// From one to the next.
        gap: Duration,
    },
    /// Evenly, each with bounce: it goes back and forth twice more within 48 µs.
    Bounce {
        /// From one to the next: more than the bounce lasts.
        gap: Duration,
    },
    /// Evenly, but A and B change at once at every eighth edge.
    Skip {
        /// From one to the next.
        gap: Duration,
    },
    /// In pairs: after an edge of this channel the other channel's comes soon, and the next one late.
    Pairs {
        /// The channel whose edge comes first.
        first: Channel,
        /// Within a pair.
        gap: Duration,
        /// From pair to pair.
        rest: Duration,
    },
    /// On one channel alone, evenly: the other stays as it is.
    Alone {
        /// The channel.
        channel: Channel,
        /// From one to the next.
        gap: Duration,
    },
}

/// For so long each level of a bounce stays.
const BOUNCE: Duration = Duration::from_micros(12);
/// Levels of one bouncing edge.
const BOUNCES: u8 = 5;
/// An edge in so many is one of both channels.
const SKIP_EVERY: i64 = 8;

/// The disc forward: A in bit 1, B in bit 0.
const CYCLE: [u8; 4] = [0b00, 0b01, 0b11, 0b10];

/// The levels at a position of the crank.
#[must_use]
pub fn levels(position: i64) -> u8 {
    CYCLE.get(position.rem_euclid(4) as usize).copied().unwrap_or_default()
}

/// A crank that turns: each step moves it by a count.
#[derive(Debug, Clone, Copy)]
pub struct Wave {
    position: i64,
    left: i64,
    pattern: Pattern,
    /// Levels of this edge's bounce that are still to come.
    bounces: u8,
    /// The levels that are shown.
    shown: u8,
}

impl Wave {
    /// Of so many counts, backwards where negative, from a position on.
    #[must_use]
    pub fn new(position: i64, counts: i64, pattern: Pattern) -> Self {
        Self { position, left: counts, pattern, bounces: 0, shown: levels(position) }
    }

    /// Moves the crank on by so many counts, as far as there are any left.
    fn go(&mut self, counts: i64) {
        let counts = counts.min(self.left.abs()) * self.left.signum();
        self.position += counts;
        self.left -= counts;
    }
}

impl Iterator for Wave {
    type Item = Step;

    fn next(&mut self) -> Option<Step> {
        if self.bounces > 0 {
            self.bounces -= 1;
            let Pattern::Bounce { gap } = self.pattern else { return None };
            let back = self.bounces % 2 == 1;
            let settled = gap.as_micros().saturating_sub(u64::from(BOUNCES - 1) * BOUNCE.as_micros());
            let lasts = if self.bounces == 0 { Duration::from_micros(settled) } else { BOUNCE };
            let levels = if back { self.shown } else { levels(self.position) };
            if self.bounces == 0 {
                self.shown = levels;
            }
            return Some(Step { levels, lasts });
        }
        if self.left == 0 {
            return None;
        }
        let before = levels(self.position);
        let (counts, lasts) = match self.pattern {
            Pattern::Even { gap } => (1, gap),
            Pattern::Alone { gap, .. } => (1, gap),
            Pattern::Skip { gap } if self.left.abs() % SKIP_EVERY == 0 => (2, gap),
            Pattern::Skip { gap } => (1, gap),
            Pattern::Bounce { .. } => {
                self.shown = before;
                self.go(1);
                self.bounces = BOUNCES - 1;
                return Some(Step { levels: levels(self.position), lasts: BOUNCE });
            }
            Pattern::Pairs { first, gap, rest } => {
                let next = levels(self.position + self.left.signum());
                (1, if next ^ before == bit(first) { gap } else { rest })
            }
        };
        self.go(counts);
        self.shown = match self.pattern {
            Pattern::Alone { channel, .. } => self.shown ^ bit(channel),
            _ => levels(self.position),
        };
        Some(Step { levels: self.shown, lasts })
    }
}

const fn bit(channel: Channel) -> u8 {
    match channel {
        Channel::A => 0b10,
        Channel::B => 0b01,
    }
}

#[cfg(test)]
mod tests {
    extern crate std;
    use super::*;
    use std::vec::Vec;
    use turntally_core::quadrature::Decoder;

    const GAP: Duration = Duration::from_micros(100);

    /// What a decoder that sees every step counts, how many impossible steps it sees, and how long it all lasts.
    fn counted(counts: i64, pattern: Pattern) -> (i64, u64, u64) {
        let mut decoder = Decoder::new();
        decoder.push(levels(0));
        let steps: Vec<Step> = Wave::new(0, counts, pattern).collect();
        for step in &steps {
            decoder.push(step.levels);
        }
        let us = steps.iter().map(|step| step.lasts.as_micros()).sum();
        (decoder.position(), decoder.illegal(), us)
    }

    /// Every pattern but the broken ones is counted exactly, either way, in the time that its gaps make.
    #[test]
    fn good_waves_make_their_counts() {
        let pairs = |first| Pattern::Pairs { first, gap: GAP, rest: GAP };
        let patterns =
            [Pattern::Even { gap: GAP }, Pattern::Bounce { gap: GAP }, pairs(Channel::A), pairs(Channel::B)];
        for pattern in patterns {
            for counts in [1, 7, 1_600, -1, -1_603] {
                assert_eq!(counted(counts, pattern), (counts, 0, 100 * counts.unsigned_abs()), "{pattern:?}");
            }
        }
    }

    /// Bounce makes five edges of each.
    #[test]
    fn bounce_is_there() {
        assert_eq!(Wave::new(0, 10, Pattern::Bounce { gap: GAP }).count(), 50);
    }

    /// An edge in eight is one of both channels: an impossible step.
    #[test]
    fn skips_are_impossible_steps() {
        let (position, illegal, _) = counted(80, Pattern::Skip { gap: GAP });
        assert_eq!(illegal, 10);
        assert!(position < 80, "{position}");
    }

    /// The channels of a pair follow each other closely, in their order.
    #[test]
    fn pairs_begin_with_their_channel() {
        let rest = Duration::from_micros(900);
        for (first, mask) in [(Channel::A, 0b10), (Channel::B, 0b01)] {
            let mut before = levels(0);
            for step in Wave::new(0, 40, Pattern::Pairs { first, gap: GAP, rest }) {
                assert_eq!(step.lasts, if step.levels ^ before == mask { GAP } else { rest }, "{first:?}");
                before = step.levels;
            }
        }
    }

    /// One channel alone toggles, and the other stays.
    #[test]
    fn one_channel_alone_only_rocks() {
        for (channel, mask) in [(Channel::A, 0b10), (Channel::B, 0b01)] {
            let mut before = levels(0);
            for step in Wave::new(0, 800, Pattern::Alone { channel, gap: GAP }) {
                assert_eq!(step.levels ^ before, mask, "{channel:?}");
                before = step.levels;
            }
        }
    }
}
