//! The command line: one subcommand, one module with its arguments and its `run`.

use std::process::ExitCode;

use clap::{CommandFactory, Parser, Subcommand};

#[cfg(not(feature = "window"))]
use crate::command::no_window as bench;
use crate::command::{gauge, piece, replay, shell, size, wind};
#[cfg(feature = "link")]
use crate::command::{link, log, measured, spool, tester};
#[cfg(not(feature = "link"))]
use crate::command::{no_records as measured, no_records as spool};
use crate::failure::Failure;
use crate::files::output;
#[cfg(feature = "window")]
use crate::window::desktop as bench;
use crate::{chart, plan};

/// A bench counter for ring makers: counts winder turns, says when to stop, plans and records.
#[derive(Debug, Parser)]
#[command(name = "turntally", version, propagate_version = true)]
pub struct Cli {
    #[command(subcommand)]
    command: Command,
}

#[derive(Debug, Subcommand)]
enum Command {
    Bench(bench::Args),
    Gauge(gauge::Args),
    Size(size::Args),
    Piece(piece::Args),
    Chart(chart::Args),
    Plan(plan::Args),
    Wind(wind::Args),
    Replay(replay::Args),
    #[cfg(feature = "link")]
    Link(link::Args),
    #[cfg(feature = "link")]
    Log(log::Args),
    #[cfg(feature = "link")]
    Tester(tester::Args),
    Measured(measured::Args),
    Spool(spool::Args),
    Completions(shell::CompletionsArgs),
    Man(shell::ManArgs),
}

/// Runs the program and says how it ended: 0; 1 where a test of a counter was made and failed; or 2 with one line on
/// standard error.
pub fn main() -> ExitCode {
    let cli = match Cli::try_parse() {
        Ok(cli) => cli,
        Err(error) => {
            // Help and version are answers; everything else is one line. A reader that left is no failure.
            if !error.use_stderr() {
                _ = error.print();
                return ExitCode::SUCCESS;
            }
            output::remark(&format!("turntally: {}", usage_line(&error)));
            return ExitCode::from(2);
        }
    };
    match run(cli) {
        Ok(status) => status,
        Err(failure) if failure.is_broken_pipe() => ExitCode::SUCCESS,
        Err(failure) => {
            output::remark(&format!("turntally: {failure}"));
            ExitCode::from(2)
        }
    }
}

/// The first line of a usage error, with what is allowed where clap knows it.
fn usage_line(error: &clap::Error) -> Failure {
    if error.kind() == clap::error::ErrorKind::DisplayHelpOnMissingArgumentOrSubcommand {
        return Failure::new(
            "a command is missing: turntally --help lists them, turntally wind demo shows one",
        );
    }
    let text = error.render().to_string();
    let mut lines = text.lines().map(str::trim).filter(|line| !line.is_empty());
    let first = lines.next().unwrap_or("wrong usage").trim_start_matches("error: ").to_owned();
    let more: Vec<&str> =
        lines.take_while(|line| !line.starts_with("Usage:") && !line.starts_with("For more")).collect();
    Failure::new(format_args!("{first} {}", more.join(" ")))
}

fn run(cli: Cli) -> Result<ExitCode, Failure> {
    match cli.command {
        #[cfg(feature = "link")]
        Command::Tester(args) => return tester::run(&args),
        Command::Bench(args) => bench::run(&args),
        Command::Replay(args) => replay::run(&args),
        Command::Wind(args) => wind::run(&args),
        #[cfg(feature = "link")]
        Command::Link(args) => link::run(&args),
        #[cfg(feature = "link")]
        Command::Log(args) => log::run(&args),
        Command::Measured(args) => measured::run(&args),
        Command::Spool(args) => spool::run(&args),
        Command::Plan(args) => plan::run(&args),
        Command::Gauge(args) => gauge::run(&args),
        Command::Size(args) => size::run(&args),
        Command::Piece(args) => piece::run(&args),
        Command::Chart(args) => chart::run(&args),
        Command::Completions(args) => shell::completions(Cli::command(), &args),
        Command::Man(args) => shell::man(Cli::command(), &args),
    }?;
    Ok(ExitCode::SUCCESS)
}
