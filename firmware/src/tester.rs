//! The tester: a second board, joined to a counter by wires, that proves the counter from outside.
//!
//! [`script::run`] first checks the wires one by one and names what is wrong with them, then checks the claims of
//! README.md and firmware/README.md that wires can show. It knows the counter by its wires alone: it plays the encoder,
//! the knob and the keys, watches the lamps, the stop line and the sounder, and reads the count over the link. It sets
//! nothing at the counter, so the counter is left as it was, except for the coils thrown away in its log.
//!
//! A board implements [`board::Board`]; the script waits in [`Board::wait`](board::Board::wait), so that the same code
//! runs on a Pico and, in virtual time, on a desktop.

pub mod board;
mod claims;
mod outputs;
pub mod report;
pub mod script;
mod session;
pub mod watch;
pub mod wave;
mod wiring;
