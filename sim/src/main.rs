//! The program `turntally`: see `turntally --help`.

use std::process::ExitCode;

fn main() -> ExitCode {
    turntally_sim::cli::main()
}
