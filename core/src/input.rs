//! What reaches the counter: keys, the knob, the encoder and the time.

use crate::signal::Reading;
use crate::time::Instant;

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
