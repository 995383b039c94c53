//! The desktop program of turntally, as a library so that tests can reach it.
#![forbid(unsafe_code)]

pub mod board;
pub mod capture;
pub mod chart;
pub mod cli;
pub mod encoder;
pub mod failure;
pub mod faults;
pub mod figures;
pub mod flash;
pub mod gauge;
pub mod job;
#[cfg(feature = "link")]
pub mod link;
pub mod live;
#[cfg(feature = "link")]
pub mod log;
pub mod material;
pub mod mishaps;
pub mod operator;
pub mod output;
pub mod plan;
pub mod range;
#[cfg(feature = "link")]
pub mod records;
pub mod replay;
pub mod run;
pub mod screen;
pub mod shell;
pub mod size;
pub mod wind;
