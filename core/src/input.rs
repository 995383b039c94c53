//! What reaches the counter: keys, the knob, the encoder and the time.

use crate::signal::Reading;
use crate::time::{Duration, Instant};

/// A key under a finger.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Key {
    /// Go on; what is shown is right.
    Yes,
    /// Go back; not this.
    No,
}

/// What happened.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Input {
    /// Time went by. At least every 50 ms, so that the cue notices a crank at rest.
    Tick,
    /// The encoder moved, or its signal showed a fault.
    Encoder(Reading),
    /// Samples were lost before they could be read: the count is unknown.
    SamplesLost,
    /// A key went down.
    Key(Key),
    /// The knob turned by this many clicks, clockwise positive.
    Knob(i8),
    /// The knob has come to rest.
    KnobRest(KnobTurn),
}

/// How far the knob turned from one rest to the next, whatever its clicks are.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct KnobTurn {
    /// Counts of its encoder between the two rests, either way: 255 at most.
    pub counts: u8,
    /// When it left the first.
    pub began: Instant,
}

/// What happened, and when.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Event {
    /// The board's clock.
    pub at: Instant,
    /// What happened.
    pub input: Input,
}

/// Clicks of the knob that come sooner than this one after the other are a knob that is turned fast.
const FAST: Duration = Duration::from_millis(60);
/// And take steps so many times as large.
const LEAP: i64 = 10;

/// How fast the knob is turned.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub(crate) struct KnobSpeed {
    clicked: Option<Instant>,
}

impl KnobSpeed {
    /// At rest.
    pub(crate) const fn new() -> Self {
        Self { clicked: None }
    }

    /// Takes a click; how many steps of a value each click is worth: one, or ten where the knob is turned fast.
    pub(crate) fn click(&mut self, now: Instant) -> i64 {
        let fast = self.clicked.replace(now).is_some_and(|before| now.since(before) < FAST);
        if fast { LEAP } else { 1 }
    }
}
