//! The desktop program of turntally, as a library so that tests can reach it.
#![forbid(unsafe_code)]

pub mod chart;
pub mod cli;
pub mod failure;
pub mod figures;
pub mod gauge;
pub mod job;
pub mod material;
pub mod output;
pub mod range;
pub mod shell;
pub mod size;
