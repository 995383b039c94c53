//! The desktop program of turntally, as a library so that tests can reach it.
#![forbid(unsafe_code)]

pub mod cli;
pub mod failure;
pub mod job;
pub mod output;
pub mod plan;
