//! The simulated bench: the counter's board, its flash and screen, the winder with its encoder, faults, and an operator
//! who winds.

pub mod board;
pub mod encoder;
pub mod faults;
pub mod flash;
pub mod joined;
pub mod live;
pub mod operator;
pub mod panel_faults;
pub mod run;
pub mod screen;
pub mod wires;
