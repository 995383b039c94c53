//! The simulated encoder: from the angle of a shaft to the levels of two lines, edge by edge.
//!
//! Its edges are unevenly spaced, as real ones are (duty and phase error), they jitter, and whatever
//! [`crate::simulation::faults`] switches on is put on top. It keeps the true count, against which the counter is
//! held.

use std::collections::VecDeque;

use crate::simulation::faults::{FaultKind, FaultSet};

/// One millisecond, in nanoseconds: the step of the simulated mechanics.
pub const STEP_NS: u64 = 1_000_000;

/// The forward cycle: A in bit 1, B in bit 0.
const CYCLE: [u8; 4] = [0b00, 0b01, 0b11, 0b10];
/// The supply does not dip.
const NO_DIP: (u64, u64) = (u64::MAX, u64::MAX);
/// The longest bounce of contacts in trouble: 2 ms.
const LONG_BOUNCE_NS: f64 = 2e6;

/// A change of one channel to come.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Change {
    at_ns: u64,
    /// 0b10 for A, 0b01 for B.
    channel: u8,
    high: bool,
}

/// The encoder.
#[derive(Debug)]
pub struct Encoder {
    /// Where each of the four edges of a cycle really is, in counts from where it should be.
    offsets: [f64; 4],
    /// Angle in counts since the start; it starts half way between two edges.
    at: f64,
    /// Edges passed: the true count.
    edges: i64,
    /// Where in the cycle it started.
    start: i64,
    changes: VecDeque<Change>,
    /// Level of the disc itself, without faults.
    disc: u8,
    /// Level on the lines.
    out: u8,
    faults: FaultSet,
    /// A channel that sticks, and its level.
    stuck: Option<(u8, u8)>,
    /// Both channels read low from and to these moments.
    dip_ns: (u64, u64),
    sticks_at_ns: u64,
    rng: fastrand::Rng,
}

impl Encoder {
    /// The angle at which it starts, in counts.
    pub const START: f64 = 0.5;

    /// An encoder with its own faults of make, standing anywhere.
    #[must_use]
    pub fn new(faults: FaultSet, mut rng: fastrand::Rng) -> Self {
        // Up to a third of a count: 30 degrees electrical, a usual limit in data sheets (from memory).
        let mut error = || (rng.f64() - 0.5) * 0.66;
        let offsets = [0.0, error(), error(), error()];
        let start = rng.i64(0..4);
        let sticks_at_ns = rng.u64(5_000_000_000..60_000_000_000);
        let level = CYCLE[start as usize];
        Self {
            offsets,
            at: Self::START,
            edges: 0,
            start,
            changes: VecDeque::new(),
            disc: level,
            out: level,
            faults,
            stuck: None,
            dip_ns: NO_DIP,
            sticks_at_ns,
            rng,
        }
    }

    /// Switches faults on and off at a moment. A channel that is to stick does so at once, and one that
    /// is mended moves again.
    pub fn set_faults(&mut self, faults: FaultSet, now_ns: u64) {
        for kind in [FaultKind::DeadA, FaultKind::DeadB] {
            if faults.has(kind) != self.faults.has(kind) {
                self.stuck = None;
                self.sticks_at_ns = now_ns;
            }
        }
        self.faults = faults;
    }

    /// Edges passed since the start, forward less reverse: what a perfect counter would say.
    #[must_use]
    pub const fn true_counts(&self) -> i64 {
        self.edges
    }

    /// Turns the shaft to `to` (in counts) evenly over the step that begins at `start_ns`.
    pub fn turn_to(&mut self, to: f64, start_ns: u64) {
        let moved = to - self.at;
        if moved != 0.0 {
            self.pass_edges(to, moved, start_ns);
            self.at = to;
        }
        // No edge in this step, and none before that still bounces: a pulse in its middle is clear of any.
        if self.changes.is_empty() && self.faults.has(FaultKind::Noise) && self.rng.f64() < 0.01 {
            self.pulse(start_ns + STEP_NS / 3, STEP_NS / 8);
        }
        if self.faults.has(FaultKind::SupplyDips) && self.rng.f64() < 0.000_5 {
            self.dip(start_ns, moved.abs());
        }
        self.stick(start_ns);
    }

    fn pass_edges(&mut self, to: f64, moved: f64, start_ns: u64) {
        let spacing_ns = STEP_NS as f64 / moved.abs();
        let (from, forward) = (self.at, moved > 0.0);
        loop {
            // The edge ahead: above the present count when going up, the present one when going down.
            let edge = if forward { self.edges + 1 } else { self.edges };
            let place = edge as f64 + self.offsets[(edge + self.start).rem_euclid(4) as usize];
            if if forward { place > to } else { place < to } {
                break;
            }
            let share = ((place - from) / moved).clamp(0.0, 1.0);
            // Jitter below a twentieth of the spacing keeps the order of the edges.
            let jitter = self.rng.f64() * (spacing_ns * 0.05).min(3_000.0);
            let at_ns = start_ns + (share * (STEP_NS - 1) as f64 + jitter) as u64;
            self.edges += if forward { 1 } else { -1 };
            let level = CYCLE[(self.edges + self.start).rem_euclid(4) as usize];
            self.edge(at_ns, level, spacing_ns);
        }
    }

    /// Puts an edge on the lines, with its bounce.
    fn edge(&mut self, at_ns: u64, level: u8, spacing_ns: f64) {
        let channel = self.disc ^ level;
        let high = level & channel != 0;
        self.disc = level;
        // A new edge ends the bounce of the one before on its own channel.
        self.changes.retain(|change| change.channel != channel || change.at_ns < at_ns);
        self.insert(Change { at_ns, channel, high });
        let longest = if self.faults.has(FaultKind::LongBounce) {
            LONG_BOUNCE_NS
        } else if self.faults.has(FaultKind::Bounce) {
            // Neighbouring edges are at least a third of the spacing apart: a sixth settles in time.
            (spacing_ns / 6.0).min(LONG_BOUNCE_NS)
        } else {
            return;
        };
        let pairs = self.rng.u64(0..4);
        let mut at_ns = at_ns;
        for toggle in 0..2 * pairs {
            at_ns += (longest / 8.0 * self.rng.f64()) as u64 + 1;
            self.insert(Change { at_ns, channel, high: high == (toggle % 2 == 1) });
        }
    }

    /// A pulse on one channel that leaves the level as it was.
    fn pulse(&mut self, at_ns: u64, longest_ns: u64) {
        let channel = 1 << self.rng.u8(0..2);
        let end_ns = at_ns + self.rng.u64(1..longest_ns.max(2));
        let high = self.disc & channel != 0;
        self.insert(Change { at_ns, channel, high: !high });
        self.insert(Change { at_ns: end_ns, channel, high });
    }

    /// Both channels low, for less than half of what an edge takes (at least 20 us, at most 300 us).
    fn dip(&mut self, start_ns: u64, moved: f64) {
        let spacing_ns = STEP_NS as f64 / moved.max(1e-3);
        let longest = (spacing_ns * 0.3).clamp(20_000.0, 300_000.0);
        let begin = start_ns + self.rng.u64(0..STEP_NS / 2);
        self.dip_ns = (begin, begin + (longest * (0.3 + 0.7 * self.rng.f64())) as u64);
    }

    fn insert(&mut self, change: Change) {
        let at = self.changes.partition_point(|other| other.at_ns <= change.at_ns);
        self.changes.insert(at, change);
    }

    fn stick(&mut self, now_ns: u64) {
        if self.stuck.is_none() && now_ns >= self.sticks_at_ns {
            let channel = match (self.faults.has(FaultKind::DeadA), self.faults.has(FaultKind::DeadB)) {
                (true, _) => 0b10,
                (_, true) => 0b01,
                _ => return,
            };
            self.stuck = Some((channel, self.out & channel));
        }
    }

    /// When the lines change next after a moment for which [`Self::level_at`] was asked.
    #[inline]
    #[must_use]
    pub fn next_change_after(&self, now_ns: u64) -> u64 {
        let disc = self.changes.front().map_or(u64::MAX, |change| change.at_ns);
        let dip = if self.dip_ns.0 > now_ns { self.dip_ns.0 } else { self.dip_ns.1 };
        disc.min(dip)
    }

    /// The level on the lines at a moment: A in bit 1, B in bit 0.
    #[inline]
    pub fn level_at(&mut self, now_ns: u64) -> u8 {
        while let Some(change) = self.changes.front() {
            if change.at_ns > now_ns {
                break;
            }
            self.out = if change.high { self.out | change.channel } else { self.out & !change.channel };
            self.changes.pop_front();
        }
        let mut level = self.out;
        if let Some((channel, stuck)) = self.stuck {
            level = level & !channel | stuck;
        }
        if now_ns >= self.dip_ns.1 {
            self.dip_ns = NO_DIP;
        } else if now_ns >= self.dip_ns.0 {
            level = 0;
        }
        if self.faults.has(FaultKind::Swapped) { level >> 1 | (level & 1) << 1 } else { level }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use turntally_core::quadrature::Decoder;

    /// Turns at a speed in counts per step, samples every 10 us, and decodes.
    fn counted(faults: FaultSet, seed: u64, per_step: f64, steps: u64) -> (Decoder, i64) {
        let mut encoder = Encoder::new(faults, fastrand::Rng::with_seed(seed));
        let mut decoder = Decoder::new();
        let mut at = encoder.at;
        for step in 0..steps {
            // Forward, and back over the last quarter.
            at += if step < steps * 3 / 4 { per_step } else { -per_step };
            encoder.turn_to(at, step * STEP_NS);
            for sample in 0..100 {
                decoder.push(encoder.level_at(step * STEP_NS + sample * 10_000));
            }
        }
        decoder.push(encoder.level_at(u64::MAX));
        (decoder, encoder.true_counts())
    }

    /// Without faults, and with each that can be survived, every count is seen, from slow to fast.
    #[test]
    fn survivable_faults_keep_the_count() {
        for kind in [None, Some(FaultKind::Bounce), Some(FaultKind::Noise)] {
            let faults = kind.into_iter().collect();
            for (seed, per_step) in [(1, 0.01), (2, 0.3), (3, 1.7), (4, 3.2)] {
                let (decoder, counts) = counted(faults, seed, per_step, 4_000);
                assert_eq!((decoder.position(), decoder.illegal()), (counts, 0), "{kind:?} at {per_step}");
                assert!(counts.unsigned_abs() > (per_step * 1_900.0) as u64);
            }
        }
    }

    /// Swapped channels count the same, backwards.
    #[test]
    fn swapped_channels_count_backwards() {
        let (decoder, counts) = counted([FaultKind::Swapped].into_iter().collect(), 5, 1.7, 4_000);
        assert_eq!(decoder.position(), -counts);
    }

    /// The same seed gives the same edges.
    #[test]
    fn same_seed_same_edges() {
        let faults = [FaultKind::Bounce, FaultKind::Noise].into_iter().collect();
        assert_eq!(counted(faults, 7, 1.1, 2_000), counted(faults, 7, 1.1, 2_000));
    }
}
