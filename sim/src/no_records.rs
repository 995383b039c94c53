//! `turntally measured` and `turntally spool` in a program that was built without its records.

use crate::failure::Failure;

/// What is missing.
pub const MISSING: &str = "this program was built without its records (cargo build --features link has them)";

/// Kept in the records (this program was built without them)
#[derive(Debug, Clone, clap::Args)]
pub struct Args {
    /// Whatever a program with records takes
    #[arg(trailing_var_arg = true, allow_hyphen_values = true, hide = true)]
    pub rest: Vec<String>,
}

/// Says what is missing.
///
/// # Errors
/// Always.
pub fn run(_: &Args) -> Result<(), Failure> {
    Err(Failure::new(MISSING))
}
