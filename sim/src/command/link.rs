//! `turntally link`: a real counter on a serial port.

use std::io::{self, IsTerminal, Write};
use std::path::PathBuf;
use std::time::Duration;

use clap::{Args as ClapArgs, Subcommand};
use turntally_core::bench::Phase;
use turntally_core::link::{Health, Reply, Request, SettingsBytes};

use crate::failure::Failure;
use crate::files::output;
use crate::job::Job;
use crate::link::port::{self, Counter};
use crate::link::{Offer, fetch, health, settings as values, status, status_words, well_words};
use crate::lookup::{Learning, LookupArgs};
use crate::records::{self, Records};
use crate::words::visible::visible;

/// Between two questions about what the counter is doing.
const LOOK_EVERY: Duration = Duration::from_millis(100);

/// Talk to a counter on a serial port: send it a job, follow it, fetch its log.
///
/// Each command looks for the counter on every serial port (or uses --port) and sets its clock. It changes nothing
/// else: a job or a setting is taken only if the user at the counter presses Yes.
#[derive(Debug, ClapArgs)]
#[command(after_help = "\
Examples:
  turntally link send chain.toml
  turntally link send chain.toml --new-batch
  turntally link settings pulses=600 sound=full
  turntally link follow --port /dev/ttyACM0
  turntally link fetch --log workshop.sqlite

To try it without a counter: turntally wind demo --link --pace 1 serves a simulated one.")]
pub struct Args {
    #[command(subcommand)]
    what: What,
    /// The serial port, such as /dev/ttyACM0 or COM3 [default: the first that a counter answers on]
    #[arg(long, global = true, value_name = "PORT")]
    port: Option<String>,
}

#[derive(Debug, Subcommand)]
enum What {
    /// Print which counter answers, and its state: uptime, saving, encoder errors
    Test,
    /// Send a job; the user at the counter agrees with Yes
    ///
    /// Each job that is sent is a batch with a number. The batch's name, metal, density, price and spool are fixed
    /// when it is sent. The same job sent again continues its batch, unless the counter has finished that batch or
    /// one of these five has changed; then it is a new batch, which begins with no ring made.
    Send {
        /// The job file, or `demo` for the one inside the program
        job: PathBuf,
        /// The log file (SQLite), which records the batch with its wire and price
        #[arg(long, value_name = "FILE", default_value_os_t = records::default_path())]
        log: PathBuf,
        /// Ignore the recorded measurements of rings and coils (turntally measured)
        #[arg(long)]
        estimate: bool,
        /// The spool that its wire comes off, instead of the job's own
        #[arg(long, value_name = "NAME")]
        spool: Option<String>,
        /// Begin a new batch, even if the same job is not finished at the counter
        #[arg(long)]
        new_batch: bool,
    },
    /// Print the settings of the counter, or propose others; the user at the counter agrees with Yes
    Settings {
        /// Settings to change, such as pulses=600 or wire=1.2mm; without any they are printed
        ///
        /// The names are metal, temper, wire, mandrel, rings, turns, length, coils, kerf, cradle, tail, spool,
        /// pulses, encoder, gear, direction, reaction, sound, units and knob.
        #[arg(value_name = "NAME=VALUE")]
        changes: Vec<String>,
    },
    /// Show what the counter is doing, until the batch is done or the cable is pulled
    Follow,
    /// Fetch the log of coils into a file, each coil once
    Fetch {
        /// The log file (SQLite) that the coils are added to
        #[arg(long, value_name = "FILE", default_value_os_t = records::default_path())]
        log: PathBuf,
    },
}

/// Runs the command.
///
/// # Errors
/// One line for whatever is wrong with the port, the counter, the job or the log.
pub fn run(args: &Args) -> Result<(), Failure> {
    // What can be wrong without a counter is reported without one.
    let job = match &args.what {
        What::Send { job, log, estimate, spool, .. } => {
            let known = LookupArgs { log: log.exists().then(|| log.clone()), estimate: *estimate };
            Some(Job::load(job, &records::lookup(&known)?.with_spool(spool.as_deref()))?)
        }
        _ => None,
    };
    let mut counter = Counter::find(args.port.as_deref())?;
    counter.set_clock()?;
    match (&args.what, job) {
        (What::Send { log, new_batch, .. }, Some(job)) => {
            send(&mut counter, &job, &mut Records::open(log)?, *new_batch)
        }
        (What::Fetch { log }, _) => {
            let mut records = Records::open(log)?;
            let fetched = fetch(&mut counter, &mut records)?;
            let rings: String = records.take_ring_words().iter().map(|ring| format!("{ring}\n")).collect();
            output::print(&format!("{fetched} new entries in {}\n{rings}", log.display()))
        }
        (What::Settings { changes }, _) => settings(&mut counter, changes),
        (What::Follow, _) => follow(&mut counter),
        _ => test(&mut counter),
    }
}

fn test(counter: &mut Counter) -> Result<(), Failure> {
    let who = counter.identity();
    let text = format!(
        "counter {:016x} on {}, firmware {}, encoder of {} pulses\n",
        who.id,
        counter.name(),
        who.firmware,
        who.pulses_per_rev
    );
    output::print(&(text + &health_words(&health(counter)?)))
}

/// What a counter says of itself, in a line.
fn health_words(health: &Health) -> String {
    let [saving, signal] = well_words(health);
    let up = match health.up_ms / 1_000 {
        seconds @ ..120 => format!("{seconds} s"),
        seconds => format!("{} min", seconds / 60),
    };
    format!("up {up}, {saving}, {signal}\n")
}

fn send(counter: &mut Counter, job: &Job, records: &mut Records, new_batch: bool) -> Result<(), Failure> {
    let offer = Offer::job(counter, job, records, new_batch)?;
    if let Some(words) = job.shortened_words() {
        output::remark(&format!("note: {words}"));
    }
    if let Some(words) = job.learning.as_ref().and_then(Learning::spring_words) {
        output::remark(&format!("spring ratio {words}"));
    }
    let batch = offer.batch_words();
    wait(counter, offer, &format!("\"{}\" ({batch}) is", job.short_name()))
}

/// Prints the settings, or proposes others.
fn settings(counter: &mut Counter, changes: &[String]) -> Result<(), Failure> {
    let mut settings = match counter.ask(&Request::ReadSettings)? {
        Reply::Settings(bytes) => bytes.read().map_err(Failure::new)?,
        other => return Err(port::unexpected(&other)),
    };
    if changes.is_empty() {
        return output::print(&values::words(&settings));
    }
    for wish in changes {
        values::change(&mut settings, wish)?;
    }
    let ticket = port::fresh_number();
    let settings = SettingsBytes::new(&settings);
    let offer = Offer::new(ticket, Request::WriteSettings { ticket, settings });
    wait(counter, offer, "the settings are")
}

/// Puts an offer to the user at the counter, and waits for what they say.
fn wait(counter: &mut Counter, mut offer: Offer, what: &str) -> Result<(), Failure> {
    let mut taken = offer.is_taken(counter)?;
    output::remark(&format!("{what} on the counter's screen: press Yes there to take it"));
    while !taken {
        std::thread::sleep(LOOK_EVERY);
        taken = offer.is_taken(counter)?;
    }
    output::print("taken\n")
}

fn follow(counter: &mut Counter) -> Result<(), Failure> {
    let terminal = io::stdout().is_terminal();
    let mut before: Option<(Phase, u32, u32)> = None;
    loop {
        let status = status(counter)?;
        let now = (status.phase, status.progress.kept, status.progress.scrapped);
        if terminal {
            let mut out = io::stdout().lock();
            write!(out, "\r\x1b[K{}", visible(&status_words(&status)))?;
            out.flush()?;
        } else if before != Some(now) {
            output::print(&format!("{}\n", status_words(&status)))?;
        }
        if status.phase == Phase::Done {
            return if terminal { output::print("\n") } else { Ok(()) };
        }
        before = Some(now);
        std::thread::sleep(LOOK_EVERY);
    }
}
