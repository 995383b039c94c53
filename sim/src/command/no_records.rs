//! `turntally measured` and `turntally spool` in a program that was built without its records.

use crate::failure::Failure;
use crate::lookup::{Lookup, LookupArgs};

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

/// Looks nothing up: this program cannot read records.
///
/// # Errors
/// One line where a file is named.
pub fn lookup(args: &LookupArgs) -> Result<Lookup, Failure> {
    match &args.log {
        Some(path) => Err(Failure::value("--log", path.display(), MISSING)),
        None => Ok(Lookup::without_records(MISSING)),
    }
}
