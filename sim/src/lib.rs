//! The desktop program of turntally, as a library so that tests can reach it.
#![forbid(unsafe_code)]

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
pub mod job;
pub mod live;
pub mod material;
#[cfg(not(feature = "window"))]
pub mod no_window;
pub mod operator;
pub mod output;
pub mod plan;
pub mod range;
pub mod replay;
pub mod run;
#[cfg(not(target_arch = "wasm32"))]
pub mod shell;
pub mod size;
pub mod wind;
#[cfg(feature = "window")]
pub mod window;
