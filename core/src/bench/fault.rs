//! What is wrong with the count, and how far it can be trusted then.

#[cfg(feature = "serde")]
use serde::{Deserialize, Serialize};

use super::{Bench, State};
use crate::cue::Cue;
use crate::signal::{Channel, Reading};

/// What is wrong with the count.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Fault {
    /// A channel of the encoder never moves: the count is unknown.
    Dead(Channel),
    /// Steps that cannot be true: each lowers the promise, and once they add up to more than an
    /// eighth of a turn of error bound they need a decision.
    MissedSteps,
    /// Bounce or noise makes the count go as no hand can: counts may be lost.
    Chatter,
    /// The count runs backwards from the start: A and B are swapped, or the encoder is the other way round.
    Backwards,
    /// Samples were overwritten before they were read: the count is unknown.
    SamplesLost,
    /// The count is past what can be held.
    OutOfRange,
    /// The counter started again in the middle of the coil: what was kept is known to within what may
    /// have been wound since, and holds only if the crank was not turned meanwhile.
    PowerCut,
}

impl Fault {
    /// All that there are, in the order of their bits in [`Faults`].
    pub const ALL: [Self; 8] = [
        Self::Dead(Channel::A),
        Self::Dead(Channel::B),
        Self::MissedSteps,
        Self::Chatter,
        Self::Backwards,
        Self::SamplesLost,
        Self::OutOfRange,
        Self::PowerCut,
    ];
}

/// A set of faults.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
#[cfg_attr(feature = "serde", derive(Serialize, Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Faults(u8);

impl Faults {
    /// Adds one.
    pub fn insert(&mut self, fault: Fault) {
        self.0 |= Self::bit(fault);
    }

    /// Whether it is there.
    #[must_use]
    pub fn contains(self, fault: Fault) -> bool {
        self.0 & Self::bit(fault) != 0
    }

    /// None at all.
    #[must_use]
    pub const fn is_empty(self) -> bool {
        self.0 == 0
    }

    /// Those that are there.
    pub fn iter(self) -> impl Iterator<Item = Fault> {
        Fault::ALL.into_iter().filter(move |&fault| self.contains(fault))
    }

    fn bit(fault: Fault) -> u8 {
        Fault::ALL.iter().position(|&other| other == fault).map_or(0, |index| 1 << index)
    }
}

/// How far the count can be trusted.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(Serialize, Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum ErrorBound {
    /// To within this many counts (0: to the last one).
    Within(u64),
    /// Not at all: nothing can be promised.
    Unknown,
}

impl ErrorBound {
    pub(super) const fn add(&mut self, counts: u64) {
        if let Self::Within(error_bound) = self {
            *error_bound = error_bound.saturating_add(counts);
        }
    }

    /// It is a known one, of more than this many counts.
    fn exceeds(self, counts: i64) -> bool {
        matches!(self, Self::Within(error_bound) if error_bound > counts.max(1).unsigned_abs())
    }
}

impl Bench {
    pub(super) fn encoder(&mut self, reading: Reading) {
        if reading.revived {
            self.dead = None;
        }
        if let Some(channel) = reading.dead {
            self.dead = Some(channel);
            self.distrust();
        }
        if let State::SetUp(set_up) = &mut self.state {
            set_up.turned(reading.net);
        }
        let overflow = self.counter.as_mut().is_some_and(|counter| counter.advance(reading.net).is_err());
        if let Some(coil) = &mut self.coil {
            coil.illegal = coil.illegal.saturating_add(u64::from(reading.illegal));
            coil.error_bound.add(reading.error_bound());
        }
        // The gravest first: it is shown, and those that came with it are noted.
        if overflow {
            self.distrust();
            self.raise(Fault::OutOfRange);
        }
        if let Some(channel) = reading.dead {
            self.raise(Fault::Dead(channel));
        }
        if reading.chatter > 0 {
            self.raise(Fault::Chatter);
        }
        self.judge_count(reading.illegal > 0);
    }

    /// Faults that show in the count itself.
    fn judge_count(&mut self, illegal: bool) {
        let (Some(counter), Some(coil)) = (&self.counter, &mut self.coil) else { return };
        let turn = counter.per_turn().counts_in_part(1);
        let counts = counter.counts();
        let gone = counts.saturating_sub(coil.judged_from);
        coil.furthest = coil.furthest.max(gone);
        if illegal {
            coil.faults.insert(Fault::MissedSteps);
        }
        // Slack is taken up by less than a quarter of a turn; a hand may have wound back by more, with the
        // channels swapped, and then it takes a whole turn to tell.
        let behind = if coil.furthest < (turn / 4).max(1) { turn / 2 } else { turn };
        let backwards = coil.furthest < turn && gone <= -behind.max(2);
        // Up to an eighth of a turn the error bound only lowers the promise; past that it wants a decision.
        let doubtful = illegal && coil.error_bound.exceeds(turn / 8);
        // The bounds of a step hold for a signal that is right most of the time; one that is a whole turn
        // uncertain is not.
        if coil.error_bound.exceeds(turn) {
            coil.error_bound = ErrorBound::Unknown;
        }
        // Wound on past where it was judged from, the coil itself has answered: a Yes would now turn a count
        // round that is right.
        if gone > 0 && matches!(self.state, State::Fault { fault: Fault::Backwards, .. }) {
            self.state = State::Winding { cue: Cue::Quiet };
        }
        // Only its own page can turn the count round: behind another fault it waits for that one's answer.
        let shown = matches!(self.state, State::Fault { .. });
        if backwards && !shown {
            self.raise(Fault::Backwards);
        } else if doubtful && !coil.steps_reported {
            coil.steps_reported = true;
            self.raise(Fault::MissedSteps);
        }
    }

    pub(super) fn distrust(&mut self) {
        if let Some(coil) = &mut self.coil {
            coil.error_bound = ErrorBound::Unknown;
        }
    }

    /// Shows a fault. While one is shown, others are only noted with the coil. With no coil begun
    /// there is no count to be uncertain; only a dead channel is worth telling then.
    pub(super) fn raise(&mut self, fault: Fault) {
        if self.coil.is_none() && !matches!(fault, Fault::Dead(_)) {
            return;
        }
        // What is being set stays: the page that asks for the encoder shows that it is dead.
        if matches!(self.state, State::SetUp(_) | State::CountRings(_) | State::MeasureRing(_)) {
            return;
        }
        if let Some(coil) = &mut self.coil {
            let known = coil.faults.contains(fault);
            coil.faults.insert(fault);
            // Chatter goes on and on: it interrupts once a coil, and every further one adds its error bound.
            if known && fault == Fault::Chatter {
                return;
            }
        }
        if !matches!(self.state, State::Fault { .. }) {
            self.state = State::Fault { fault, in_coil: self.coil.is_some() };
            self.fault_at = self.now;
        }
    }
}
