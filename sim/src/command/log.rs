//! `turntally log`: what has been wound, from the log that was fetched.

use std::path::PathBuf;

use clap::Args as ClapArgs;
use turntally_core::units::Mm;

use crate::failure::Failure;
use crate::files::kind::Kind;
use crate::files::output;
use crate::records::report::{Coil, Report, Sum, report, utc_words};
use crate::records::{self, Records};
use crate::words::number::{fixed, metres, turns};

/// List what has been wound, and sum it up by batch
#[derive(Debug, ClapArgs)]
#[command(after_help = "\
Examples:
  turntally log                       every coil
  turntally log --sum                 rings, rejects, rings per hour of crank time, wire and money of each batch
  turntally log --csv coils.csv       for a spreadsheet
  turntally log --json                everything, with its sums")]
pub struct Args {
    /// The log file (SQLite) that turntally link fetch writes
    #[arg(long, value_name = "FILE", default_value_os_t = records::default_path())]
    log: PathBuf,
    /// Sum up by batch instead of listing coils
    #[arg(long)]
    sum: bool,
    /// Write the coils to a CSV file
    #[arg(long, value_name = "FILE.csv")]
    csv: Option<PathBuf>,
    /// Print one JSON object; every key carries its unit
    #[arg(long)]
    json: bool,
}

/// How to begin.
const NO_COILS: &str = "no coils yet: turntally link fetch brings them from a counter; turntally wind demo --link \
                        serves a simulated one to try it with\n";

/// Runs the command.
///
/// # Errors
/// One line for a log that is none, or an output that cannot be written.
pub fn run(args: &Args) -> Result<(), Failure> {
    let report = match Records::open_if_begun(&args.log)? {
        Some(records) => report(&records)?,
        None => Report::default(),
    };
    if let Some(path) = &args.csv {
        output::write_whole(path, Kind::Csv, &csv(&report.coils)?)?;
    }
    match () {
        () if args.json => output::print_json(&report),
        () if report.coils.is_empty() && report.entries_unreadable == 0 && args.csv.is_none() => {
            output::print(NO_COILS)
        }
        () if args.sum => output::print(&sums(&report)),
        () if args.csv.is_some() => Ok(()),
        () => output::print(&list(&report)),
    }
}

fn csv(coils: &[Coil]) -> Result<String, Failure> {
    let mut table = csv::Writer::from_writer(Vec::new());
    for coil in coils {
        table.serialize(coil).map_err(Failure::new)?;
    }
    String::from_utf8(table.into_inner().map_err(Failure::new)?).map_err(Failure::new)
}

/// What stands below coils and sums.
fn foot(report: &Report) -> String {
    let mut text: String =
        report.spools.iter().map(|left| format!("left on \"{}\": {}\n", left.spool, left.words)).collect();
    if report.entries_unreadable > 0 {
        let unread = report.entries_unreadable;
        text += &format!("{unread} entries are by a newer firmware or damaged, and not among these\n");
    }
    text
}

/// Above the coils of each counter. The date is that of coming off, in UTC; minutes are those at the crank.
const HEADS: &str = "number  off, UTC               batch  job                       turns of target   rings  counted  rejects  \
     minutes  left on the spool";

/// `batch 7 on counter 00a1, 2026-11-27 08:05 to 2026-11-28 09:00 UTC`.
fn batch_words(sum: &Sum) -> String {
    let batch = match sum.batch {
        0 => "set up at the counter".to_owned(),
        batch => format!("batch {batch}"),
    };
    let when = match (sum.first_unix_s, sum.last_unix_s) {
        (Some(first), Some(last)) => format!(", {} to {} UTC", utc_words(first), utc_words(last)),
        _ => String::new(),
    };
    format!("{batch}, counter {}{when}", sum.counter)
}

fn list(report: &Report) -> String {
    let mut text = String::new();
    let mut counter = None;
    for coil in &report.coils {
        if counter != Some(&coil.counter) {
            counter = Some(&coil.counter);
            text += &format!("counter {}\n{HEADS}\n", coil.counter);
        }
        let number = |value: Option<u32>| value.map_or_else(|| "-".to_owned(), |value| value.to_string());
        let rings = if coil.kept { coil.rings_promised.to_string() } else { "thrown away".to_owned() };
        text += &format!(
            "{:>6}  {:<16}  {:>10}  {:<24} {:>6} {:>9}  {:>6} {:>8} {:>8} {:>8}{}{}\n",
            coil.number,
            coil.finished_unix_s.map_or_else(|| "-".to_owned(), utc_words),
            if coil.batch == 0 { "-".to_owned() } else { coil.batch.to_string() },
            coil.job,
            turns(coil.turns),
            turns(coil.target_turns),
            rings,
            coil.counted_with.map_or_else(|| number(coil.rings_counted), |with| format!("with {with}")),
            number(coil.rejects),
            fixed(coil.crank_s / 60.0, 1),
            left_words(coil),
            if coil.faults.is_empty() { String::new() } else { format!("  {}", coil.faults) },
        );
    }
    text + &foot(report)
}

/// `  12.3 m, 124 g`: what was left on its spool.
fn left_words(coil: &Coil) -> String {
    match (coil.spool_left_mm, coil.spool_left_g) {
        (Some(mm), Some(grams)) => format!("  {}, {}", metres(Mm::new(mm)), coil.scales.weighed(grams)),
        _ => String::new(),
    }
}

fn sums(report: &Report) -> String {
    let mut text = String::new();
    for sum in &report.batches {
        text += &format!(
            "{} ({}): {} coils kept, {} thrown away; {} rings guaranteed; {} counted from {} coils, {} rejects; {} min of crank time",
            sum.job,
            batch_words(sum),
            sum.coils_kept,
            sum.coils_scrapped,
            sum.rings_promised,
            sum.rings_counted,
            sum.coils_counted,
            sum.rejects,
            fixed(sum.crank_s / 60.0, 1)
        );
        if let Some(rate) = sum.rings_per_crank_hour {
            text += &format!(", {} rings per hour of crank time", fixed(rate, 0));
        }
        text += &format!("; {} of wire", metres(Mm::new(sum.wire_mm)));
        if let Some(grams) = sum.wire_g {
            text += &format!(", {}", sum.scales.weighed(grams));
        }
        if let (Some(cost), Some(currency)) = (sum.cost, &sum.currency) {
            text += &format!(", {} {currency}", fixed(cost, 2));
        }
        text.push('\n');
    }
    text + &foot(report)
}
