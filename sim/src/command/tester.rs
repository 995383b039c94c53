//! `turntally tester`: a test of a counter by a second board on its wires.

use std::fmt::Write as _;
use std::io::{self, IsTerminal, Write as _};
use std::path::{Path, PathBuf};
use std::process::ExitCode;

use clap::{Args as ClapArgs, Subcommand};

use crate::failure::Failure;
use crate::files::kind::Kind;
use crate::files::output::{self, WholeFile, safe};
use crate::tester::{self, Outcome, Port, Report};

/// Test a counter with a second Pico on its wires (the tester).
#[derive(Debug, ClapArgs)]
pub struct Args {
    #[command(subcommand)]
    what: What,
}

#[derive(Debug, Subcommand)]
enum What {
    /// Run the test and print pass or fail for each check
    ///
    /// The tester first checks each wire and names what is wrong with it, then the count, the stop cue, the keys, the
    /// knob, the lamps and the sounder. The full test takes about half an hour. The exit status is 0 if every check
    /// passed, 1 if one failed, and 2 if the test could not be run.
    #[command(after_help = "\
Examples:
  turntally tester run --port /dev/ttyUSB0 --short
  turntally tester run --port COM4 --report counter-3.txt
  turntally tester run --simulated --short --json")]
    Run(Run),
}

#[derive(Debug, ClapArgs)]
struct Run {
    /// The serial port of the tester's report, such as /dev/ttyUSB0 or COM4
    #[arg(long, value_name = "PORT", required_unless_present = "simulated", conflicts_with = "simulated")]
    port: Option<String>,
    /// Test a simulated counter: no boards are needed, and nothing is proved about any board
    #[arg(long)]
    simulated: bool,
    /// Make each check once, in about half a minute
    #[arg(long)]
    short: bool,
    /// Write the report to a file as well: text, or JSON if its name ends in .json
    #[arg(long, value_name = "FILE")]
    report: Option<PathBuf>,
    /// Print one JSON object
    #[arg(long)]
    json: bool,
}

/// Runs the command; 1 where a check failed.
///
/// # Errors
/// One line where there is no tester on the port, where its report is not whole, or where the report cannot be written.
pub fn run(args: &Args) -> Result<ExitCode, Failure> {
    let What::Run(run) = &args.what;
    // After half an hour it would be late to find that the file cannot be written.
    let file = run.report.as_deref().map(begin).transpose()?;
    let terminal = io::stderr().is_terminal();
    let progress = |name: &str| {
        if terminal {
            output::remark(name);
        }
    };
    let report = match &run.port {
        Some(name) => tester::read(Port::open(name)?, run.short, progress)?,
        None => tester::simulated(run.short)?,
    };
    if let Some((file, kind)) = file {
        let text = match kind {
            Kind::Json => json(&report)?,
            _ => text(&report),
        };
        let text = safe::ready(kind, &text)?;
        file.writer()?.write_all(text.as_bytes()).map_err(|error| file.failure(&error))?;
        file.finish()?;
    }
    if run.json {
        output::print_json(&report)?;
    } else {
        output::print(&text(&report))?;
    }
    Ok(if report.failed == 0 { ExitCode::SUCCESS } else { ExitCode::FAILURE })
}

fn begin(path: &Path) -> Result<(WholeFile, Kind), Failure> {
    let kind = match Kind::of(path) {
        Kind::Json => Kind::Json,
        _ => Kind::Text,
    };
    Ok((WholeFile::create(path, kind)?, kind))
}

fn json(report: &Report) -> Result<String, Failure> {
    let text = serde_json::to_string_pretty(report).map_err(io::Error::from)?;
    Ok(text + "\n")
}

/// A line for each check, and a sum.
fn text(report: &Report) -> String {
    let width = report.checks.iter().map(|check| check.name.chars().count()).max().unwrap_or(0);
    let mut text = String::new();
    for check in &report.checks {
        let (result, allowed) = match check.result {
            Outcome::Pass => ("pass", String::new()),
            Outcome::Fail => ("FAIL", format!(" (allowed: {})", check.allowed)),
        };
        // A string takes all there is.
        _ = writeln!(text, "{result}  {:<width$}  {}{allowed}", check.name, check.measured);
    }
    let on = if report.simulated { " on a simulated counter" } else { "" };
    _ = writeln!(text, "{} test{on}: {} checks passed, {} failed", report.test, report.passed, report.failed);
    text
}
