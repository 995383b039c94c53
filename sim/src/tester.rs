//! The computer's end of the tester: it starts a test and reads the report (`turntally_firmware::tester::report`).

use std::io::{ErrorKind, Read, Write};
use std::time::{Duration, Instant};

use serde::Serialize;
use serialport::SerialPort;
use turntally_firmware::tester::report::VERSION;
use turntally_firmware::tester::script::{self, Length};

use crate::failure::Failure;
use crate::simulation::joined::Joined;

/// Of the tester's UART.
const BAUD: u32 = 115_200;
/// A read waits so long at most.
const WAIT: Duration = Duration::from_millis(100);
/// A tester begins its report within this time.
const FIRST: Duration = Duration::from_secs(3);
/// No check of the full test takes so long: a key is held for a minute.
const SILENCE: Duration = Duration::from_secs(180);
/// The longest line that is read: twice that of the tester.
const LONGEST_LINE: usize = 512;
/// More checks than any test has.
const MOST_CHECKS: usize = 10_000;

/// A report.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Report {
    /// The form of the tester's report.
    pub report_version: u16,
    /// `short` or `full`.
    pub test: String,
    /// The counter was simulated.
    pub simulated: bool,
    /// Each check, in the order in which they were made.
    pub checks: Vec<Check>,
    /// How many passed.
    pub passed: u32,
    /// How many failed.
    pub failed: u32,
}

/// A check.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Check {
    /// Its name.
    pub name: String,
    /// Whether it passed.
    pub result: Outcome,
    /// What was measured, with its unit.
    pub measured: String,
    /// What is allowed, with its unit.
    pub allowed: String,
}

/// What came of a check.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Outcome {
    /// It passed.
    Pass,
    /// It failed.
    Fail,
}

/// Where the lines of a report come from.
pub trait Lines {
    /// The next one, without its end; `None` where none comes within this time.
    ///
    /// # Errors
    /// One line where the other end is gone.
    fn next(&mut self, within: Duration) -> Result<Option<String>, Failure>;
    /// Sends a line.
    ///
    /// # Errors
    /// As above.
    fn send(&mut self, line: &str) -> Result<(), Failure>;
    /// What messages call it.
    fn name(&self) -> &str;
}

/// A tester on a serial port.
#[derive(Debug)]
pub struct Port {
    name: String,
    port: Box<dyn SerialPort>,
    bytes: Vec<u8>,
}

impl Port {
    /// Opens the port.
    ///
    /// # Errors
    /// One line that names it.
    pub fn open(name: &str) -> Result<Self, Failure> {
        let failure = |error: serialport::Error| Failure::value("--port", name, error);
        let port = serialport::new(name, BAUD).timeout(WAIT).open().map_err(failure)?;
        Ok(Self { name: name.to_owned(), port, bytes: Vec::new() })
    }

    fn failure(&self, error: &std::io::Error) -> Failure {
        Failure::new(format_args!("{}: the tester is gone: {error}", self.name))
    }
}

impl Lines for Port {
    fn next(&mut self, within: Duration) -> Result<Option<String>, Failure> {
        let begun = Instant::now();
        loop {
            if let Some(end) = self.bytes.iter().position(|&byte| byte == b'\n') {
                let line: Vec<u8> = self.bytes.drain(..=end).collect();
                return Ok(Some(String::from_utf8_lossy(&line).trim_end().to_owned()));
            }
            if self.bytes.len() > LONGEST_LINE {
                return Err(Failure::new(format_args!(
                    "{}: no tester is on this port: it sends no lines",
                    self.name
                )));
            }
            if begun.elapsed() >= within {
                return Ok(None);
            }
            let mut block = [0; 256];
            match self.port.read(&mut block) {
                Ok(0) => return Err(self.failure(&ErrorKind::UnexpectedEof.into())),
                Ok(count) => self.bytes.extend(block.iter().take(count)),
                Err(error) if matches!(error.kind(), ErrorKind::TimedOut | ErrorKind::Interrupted) => {}
                Err(error) => return Err(self.failure(&error)),
            }
        }
    }

    fn send(&mut self, line: &str) -> Result<(), Failure> {
        self.port.write_all(format!("{line}\n").as_bytes()).map_err(|error| self.failure(&error))
    }

    fn name(&self) -> &str {
        &self.name
    }
}

/// Starts a test and reads its report to the end; `progress` gets the name of each check as it begins.
///
/// # Errors
/// One line where no tester answers, or where the report is of another version, not whole or not a report.
pub fn read(mut lines: impl Lines, short: bool, mut progress: impl FnMut(&str)) -> Result<Report, Failure> {
    let name = lines.name().to_owned();
    let test = length(short).to_string();
    lines.send(&test)?;
    let begun = Instant::now();
    // What was on the line before the report begins is none of it.
    loop {
        let Some(left) = FIRST.checked_sub(begun.elapsed()) else { return Err(no_tester(&name)) };
        let Some(line) = lines.next(left)? else { return Err(no_tester(&name)) };
        match line.split('\t').collect::<Vec<_>>().as_slice() {
            ["turntally-tester", version, begins] if *begins == test => match version.parse() {
                Ok(VERSION) => break,
                _ => {
                    return Err(Failure::new(format_args!(
                        "{name}: the tester's report has version {version}: only {VERSION} is allowed"
                    )));
                }
            },
            _ => {}
        }
    }
    let mut checks = Vec::new();
    loop {
        let Some(line) = lines.next(SILENCE)? else {
            return Err(Failure::new(format_args!(
                "{name}: the tester has stopped in the middle of its test"
            )));
        };
        let strange = || Failure::new(format_args!("{name}: not a line of a tester's report: '{line}'"));
        match line.split('\t').collect::<Vec<_>>().as_slice() {
            ["busy", check] => progress(check),
            ["check", check, result, measured, allowed] if checks.len() < MOST_CHECKS => {
                let result = match *result {
                    "pass" => Outcome::Pass,
                    "fail" => Outcome::Fail,
                    _ => return Err(strange()),
                };
                let [check, measured, allowed] = [check, measured, allowed].map(|&text| text.to_owned());
                checks.push(Check { name: check, result, measured, allowed });
            }
            ["end", passed, failed] => {
                let counted = |result| checks.iter().filter(|check: &&Check| check.result == result).count();
                let totals = [counted(Outcome::Pass), counted(Outcome::Fail)];
                if [passed, failed].map(|total| total.parse().ok()) != totals.map(Some) || checks.is_empty() {
                    return Err(Failure::new(format_args!(
                        "{name}: lines of the report are missing: run the test again"
                    )));
                }
                let [passed, failed] = totals.map(|total| u32::try_from(total).unwrap_or(u32::MAX));
                return Ok(Report {
                    report_version: VERSION,
                    test,
                    simulated: false,
                    checks,
                    passed,
                    failed,
                });
            }
            _ => return Err(strange()),
        }
    }
}

fn no_tester(name: &str) -> Failure {
    Failure::new(format_args!(
        "{name}: no tester answers: this must be the serial port of the tester's report"
    ))
}

const fn length(short: bool) -> Length {
    if short { Length::Short } else { Length::Full }
}

/// A test that has been made.
struct Made {
    lines: std::vec::IntoIter<String>,
}

impl Lines for Made {
    fn next(&mut self, _within: Duration) -> Result<Option<String>, Failure> {
        Ok(self.lines.next())
    }

    fn send(&mut self, _line: &str) -> Result<(), Failure> {
        Ok(())
    }

    fn name(&self) -> &'static str {
        "simulated tester"
    }
}

/// Tests a simulated counter, in virtual time.
///
/// # Errors
/// Where the simulation failed.
pub fn simulated(short: bool) -> Result<Report, Failure> {
    let mut board = Joined::new(None);
    script::run(&mut board, length(short));
    let report = read(Made { lines: board.into_report()?.into_iter() }, short, |_| ())?;
    Ok(Report { simulated: true, ..report })
}
