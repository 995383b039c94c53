//! What a ring maker's bench counter knows, with no hardware, no allocation, no clock and no I/O.
//!
//! The way of the data: encoder samples go through [`quadrature`] to counts, through [`counter`] to
//! turns of the mandrel, through [`coil`] to coil length and rings, through [`cue`] to the stop
//! signal; [`input`] is what reaches it, [`job`] what is to be made and [`job_list`] the jobs that it holds; [`mod@bench`] is the state machine
//! that holds them together and [`screen`] draws its states. [`bounds`] are those of a value; [`gauge`] and
//! [`metal`] are the tables, [`spring`] says how far a coil opens, [`plan`] splits a batch into coils;
//! [`measured`] is what a ring that was measured says of the coil, and [`learned_flow`] what it says of the
//! same wire on other mandrels; [`settings`] are what the user sets at the counter, and [`setup`] the pages
//! for it; [`link`] is what a counter and a computer say to each other, and [`mod@format`] puts the counter's
//! words together.
//!
//! # Conventions
//! - Lengths that are set or counted with are whole nanometres ([`units::Length`]); lengths that a
//!   formula gave are real millimetres ([`units::Mm`]).
//! - Positions and counts are signed: winding on is positive, winding back negative.
//! - Whatever is promised to the user is rounded to the safe side: down for rings, up for wire.
//! - Everything is deterministic: the same events give the same answer on every processor, bit for
//!   bit. Roots and trigonometry come from `libm`, never from the platform.
#![no_std]
#![forbid(unsafe_code)]

pub mod bench;
pub mod bounds;
pub mod coil;
pub mod counter;
pub mod cue;
mod fingerprint;
pub mod format;
pub mod gauge;
pub mod input;
pub mod job;
pub mod job_list;
pub mod learned_flow;
#[cfg(feature = "link")]
pub mod link;
pub mod measured;
pub mod measured_ring;
pub mod metal;
pub mod plan;
pub mod quadrature;
#[cfg(feature = "screen")]
pub mod screen;
pub mod settings;
pub mod setup;
pub mod signal;
pub mod spring;
pub mod time;
pub mod units;

/// The example in README.md is run as a test.
#[cfg(doctest)]
#[doc = include_str!("../README.md")]
struct Readme;
