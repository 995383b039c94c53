//! The desktop program of turntally, as a library so that tests can reach it.
#![forbid(unsafe_code)]
// What is printed goes through `output`, which makes what came from outside safe.
#![deny(clippy::print_stdout, clippy::print_stderr)]

pub mod board;
pub mod capture;
pub mod chart;
#[cfg(not(target_arch = "wasm32"))]
pub mod cli;
pub mod encoder;
pub mod failure;
pub mod faults;
pub mod figures;
pub mod flash;
pub mod gauge;
pub mod input;
pub mod job;
pub mod kind;
#[cfg(feature = "link")]
pub mod link;
pub mod live;
#[cfg(feature = "link")]
pub mod log;
pub mod lookup;
pub mod material;
#[cfg(feature = "link")]
pub mod measured;
#[cfg(not(feature = "link"))]
pub mod no_records;
#[cfg(not(feature = "link"))]
pub use no_records as records;
#[cfg(not(feature = "window"))]
pub mod no_window;
pub mod operator;
pub mod output;
pub mod panel_faults;
pub mod plan;
pub mod range;
#[cfg(feature = "link")]
pub mod records;
pub mod replay;
pub mod run;
pub mod screen;
#[cfg(not(target_arch = "wasm32"))]
pub mod shell;
pub mod size;
#[cfg(feature = "link")]
pub mod spool;
pub mod wind;
#[cfg(feature = "window")]
pub mod window;
pub mod words;
