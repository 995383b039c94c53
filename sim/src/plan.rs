//! `turntally plan`: a job in, its coils out, with the wire, its mass and what it ends as.

use std::path::PathBuf;

use clap::Args as ClapArgs;

use crate::failure::Failure;
use crate::files::kind::Kind;
use crate::files::output;
use crate::job::Job;
use crate::lookup::LookupArgs;
use crate::records;

pub mod advice;
pub mod figures;
pub mod json;
pub mod money;
pub mod quote;
pub mod sheet;
pub mod spool;
pub(crate) mod text;

/// Plan a batch: number of coils, turns of each, wire and its mass, and the shares of rings, swarf and offcuts.
#[derive(Debug, ClapArgs)]
#[command(after_help = "\
Examples:
  turntally plan demo                            the job that ships inside the program
  turntally plan chain.toml --sheet chain.html   with a page to take to the bench
  turntally plan chain.toml --quote quote.html --heading me.txt    with a quote for a customer
  turntally plan chain.toml --json

Optional fields of a job file, with their defaults: job.name, job.spare_percent (0), wire.temper
(soft), wire.coating (0mm), wire.density_g_cm3 (the metal's), wire.spring_ratio (as measured, else
estimated), wire.price_per_kg (or _ozt, _lb, _m, _ft) with wire.currency and wire.price_date (the
spool's), wire.spool, winder.encoder_on (crank), winder.gear (1:1), cutter.kerf (0mm), cutter.blade,
cutter.slot, coil.gap (as measured, else 0), coil.tail_turns (0), and the table [money] for cost and
price: money.labour_per_hour, blade_per_ring, lubricant_per_ring, finishing_per_ring,
scrap_credit_percent, and either markup_percent or margin_percent. Give either job.rings or
job.wire.")]
pub struct Args {
    /// The job file, or `demo` for the one inside the program
    job: PathBuf,
    #[command(flatten)]
    known: LookupArgs,
    /// The spool that its wire comes off, instead of the job's own
    #[arg(long, value_name = "NAME")]
    spool: Option<String>,
    /// Print one JSON object; every key carries its unit
    #[arg(long)]
    json: bool,
    /// Write a page to print and take to the bench (HTML, for A4 and US Letter)
    #[arg(long, value_name = "FILE.html")]
    sheet: Option<PathBuf>,
    /// Write a quote to print for a customer (HTML); the job asks a price in its table [money]
    #[arg(long, value_name = "FILE.html")]
    quote: Option<PathBuf>,
    /// The heading of the quote: a text file with the maker's name in the first line, address and more below
    #[arg(long, value_name = "FILE.txt", requires = "quote")]
    heading: Option<PathBuf>,
}

/// Plans, writes the sheet if one is asked for, and prints.
///
/// # Errors
/// One line that says what is wrong; nothing is printed or written then.
pub fn run(args: &Args) -> Result<(), Failure> {
    let known = records::lookup(&args.known)?.with_spool(args.spool.as_deref());
    let job = Job::load(&args.job, &known)?;
    let plan = figures::Plan::of(&job)?;
    let warnings = advice::warnings(&job, &plan);
    let suggestions = advice::suggestions(&job, &plan);
    if args.sheet.is_some() && args.sheet == args.quote {
        return Err(Failure::new("--sheet and --quote: two pages, give each a file of its own"));
    }
    let heading = args.heading.as_deref().map(quote::Heading::load).transpose()?;
    let quoted = args.quote.as_ref().map(|_| quote::render(&job, &plan, heading.as_ref())).transpose()?;
    // The pages first: where one cannot be written, nothing is printed either.
    if let (Some(path), Some(page)) = (&args.quote, &quoted) {
        output::write_whole(path, Kind::Html, page)?;
    }
    if let Some(path) = &args.sheet {
        output::write_whole(path, Kind::Html, &sheet::render(&job, &plan, &warnings))?;
    }
    if args.json {
        return output::print_json(&json::Report::new(&job, &plan, &warnings, &suggestions));
    }
    output::print(&text::report(&job, &plan, &warnings, &suggestions))
}
