//! `turntally bench` in a program that was built without its window.

use std::path::PathBuf;

use crate::failure::Failure;

/// The bench in a window (this program was built without it)
#[derive(Debug, Clone, clap::Args)]
pub struct Args {
    /// The job file
    pub job: Option<PathBuf>,
}

/// Says how to get the window, and what does without.
///
/// # Errors
/// Always.
pub fn run(_: &Args) -> Result<(), Failure> {
    Err(Failure::new(
        "bench: this program was built without its window (cargo run --release --features window -- bench): \
         turntally plan, wind and chart do the same without one",
    ))
}
