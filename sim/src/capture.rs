//! Recordings of wires: VCD files (value change dump, IEEE 1364-2005 clause 18) written and read, session files of
//! sigrok and tables with commas (CSV) read.
//!
//! [`Recorder`] writes a VCD file, by way of the crate `vcd`. [`Capture`] reads one, [`Session`] a session file and
//! [`Table`] a table, of any length, in constant memory; `open` recognises which it is. Each is a [`Recording`]: it
//! gives the levels of a few chosen wires sample by sample. All changes at one time make one sample.

#[cfg(not(target_arch = "wasm32"))]
mod any;
mod buffer;
mod error;
mod rate;
mod record;
#[cfg(not(target_arch = "wasm32"))]
mod session;
mod table;
mod vcd;
mod wanted;

#[cfg(not(target_arch = "wasm32"))]
pub use any::{Input, MAX_COPY, open};
pub use error::CaptureError;
pub use record::{Recorder, Tick, Wire};
#[cfg(not(target_arch = "wasm32"))]
pub use session::{MAX_METADATA, Session};
pub use table::Table;
pub use vcd::Capture;
pub use wanted::Wanted;

/// The longest token or line in bytes; the VCD standard asks for vectors of at least 65,536 bits.
pub const MAX_TOKEN: usize = 1 << 17;
/// The deepest nesting of scopes.
pub const MAX_DEPTH: usize = 64;
/// The most wires that can be read together.
pub const MAX_WIRES: usize = 8;

/// The levels of the chosen wires at one moment, after all changes of that moment.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Sample {
    /// Nanoseconds on the clock of the recording, rounded down; of a session or a table from its first sample.
    pub time_ns: u64,
    /// Bit n: the n-th wire is high.
    high: u8,
    /// Bit n: the level of the n-th wire is known.
    known: u8,
}

impl Sample {
    /// The level of the wire that was asked for as the `index`-th (from 0); `None` while unknown.
    #[must_use]
    pub const fn level(self, index: usize) -> Option<bool> {
        if index < MAX_WIRES && self.known >> index & 1 == 1 {
            Some(self.high >> index & 1 == 1)
        } else {
            None
        }
    }
}

/// The levels of a few chosen wires, from a file of whatever format.
pub trait Recording {
    /// The next moment at which a chosen wire was given a level; `None` at the end of the recording.
    ///
    /// # Errors
    /// [`CaptureError`] with its place where the input cannot be read, is not of its format, goes back in time, or
    /// ends in the middle of something.
    fn next_sample(&mut self) -> Result<Option<Sample>, CaptureError>;

    /// The full name of the wire that was asked for as the `index`-th (from 0).
    fn path(&self, index: usize) -> Option<&str>;

    /// The wires that were asked for as the `first`-th and the `second`-th are one and the same.
    fn same_wire(&self, first: usize, second: usize) -> bool;

    /// Nanoseconds from the first time in the recording to the last one so far.
    fn span_ns(&self) -> u64;

    /// The first time in the recording in nanoseconds.
    fn first_ns(&self) -> u64;
}
