//! The desktop program of turntally, as a library so that tests can reach it.
#![forbid(unsafe_code)]
// What is printed goes through `files::output`, which makes what came from outside safe.
#![deny(clippy::print_stdout, clippy::print_stderr)]

pub mod capture;
pub mod chart;
pub mod command;
pub mod failure;
pub mod figures;
pub mod files;
pub mod job;
#[cfg(feature = "link")]
pub mod link;
pub mod lookup;
pub mod material;
pub mod plan;
pub mod range;
pub mod readings;
#[cfg(feature = "link")]
pub mod records;
pub mod simulation;
#[cfg(feature = "link")]
pub mod tester;
pub mod weave;
#[cfg(feature = "window")]
pub mod window;
pub mod words;

#[cfg(not(feature = "link"))]
pub use command::no_records as records;
