//! What the tester's script needs of a board.

use core::fmt;

use turntally_core::time::{Duration, Instant};

use super::watch::Watch;
use super::wave::Step;

/// An input of the counter, which the tester plays.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Input {
    /// Knob channel A.
    KnobA,
    /// Knob channel B.
    KnobB,
    /// Key Yes.
    Yes,
    /// Key No.
    No,
}

impl Input {
    /// Each of them.
    pub const ALL: [Self; 4] = [Self::KnobA, Self::KnobB, Self::Yes, Self::No];
}

/// How closely the outputs are watched meanwhile.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Grain {
    /// Every 97 µs: no multiple of it is a period of a note, so that no note is missed.
    Coarse,
    /// As closely as the board can: every 4 µs at least.
    Fine,
}

/// From one look at the outputs to the next, of the grain [`Grain::Coarse`].
pub const COARSE: Duration = Duration::from_micros(97);

/// The board was late with an edge of a wave: what the counter received is not what was meant.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Late;

impl fmt::Display for Late {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("the tester was late with an edge")
    }
}

impl core::error::Error for Late {}

/// A board with a counter on its wires. At first the encoder's wires are low and the others released.
pub trait Board {
    /// Time since the board's start.
    fn now(&self) -> Instant;
    /// Closes a switch to ground, or opens it: the counter's own pull-up then lifts the wire.
    fn close(&mut self, input: Input, closed: bool);
    /// Whether this wire is high.
    fn is_high(&mut self, input: Input) -> bool;
    /// Waits, and gives [`Self::watch`] the outputs meanwhile.
    fn wait(&mut self, span: Duration, grain: Grain);
    /// Plays a wave on the encoder's wires, and gives [`Self::watch`] the outputs meanwhile. Returns when the last step
    /// came out, at that moment.
    ///
    /// # Errors
    /// [`Late`].
    fn play(&mut self, wave: &mut dyn Iterator<Item = Step>) -> Result<Instant, Late>;
    /// What the outputs did.
    fn watch(&mut self) -> &mut Watch;
    /// Sends bytes to the counter.
    fn send(&mut self, bytes: &[u8]);
    /// A byte that has come from the counter.
    fn receive(&mut self) -> Option<u8>;
    /// Sends a line of the report.
    fn report(&mut self, line: fmt::Arguments<'_>);
}
