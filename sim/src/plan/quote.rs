//! A quote to print for a customer: the maker's heading, the rings, their price. It shows no cost.

use std::fmt::Write as _;
use std::fs::File;
use std::io::Read as _;
use std::path::Path;

use html_escape::encode_text as esc;

use super::figures::Plan;
use super::money::{Account, Amount};
use super::text;
use crate::failure::Failure;
use crate::files::input;
use crate::files::kind::Kind;
use crate::job::{Job, label};
use crate::words::mass::Scales;
use crate::words::{self, number};

const STYLE: &str = include_str!("quote.css");
/// The most bytes that are read of a heading: far past any that fits a page.
const MAX_BYTES: u64 = 4_096;
/// The most lines of a heading, the name among them, and the most characters of each.
const MAX_LINES: (usize, usize) = (8, 60);

/// The maker's name, and the lines below it: address, telephone, tax number.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Heading {
    name: String,
    lines: Vec<String>,
}

impl Heading {
    /// Reads a file of text: the name in the first line that is not empty.
    ///
    /// # Errors
    /// One line where it cannot be read, is empty or does not fit.
    pub fn load(path: &Path) -> Result<Self, Failure> {
        let read = |error| Failure::file("read the heading", path, &error);
        let file = File::open(path).map_err(read)?;
        input::note(path, Kind::Text);
        let mut text = String::new();
        file.take(MAX_BYTES + 1).read_to_string(&mut text).map_err(read)?;
        let place = path.display().to_string();
        let mut lines = Vec::new();
        for line in text.lines().map(str::trim).filter(|line| !line.is_empty()) {
            lines.push(label(&place, line, MAX_LINES.1)?);
        }
        if text.len() as u64 > MAX_BYTES || lines.len() > MAX_LINES.0 {
            return Err(Failure::new(format_args!("{place}: at most {} lines are allowed", MAX_LINES.0)));
        }
        if lines.is_empty() {
            return Err(Failure::new(format_args!("{place}: empty: write the name in the first line")));
        }
        let name = lines.remove(0);
        Ok(Self { name, lines })
    }
}

/// The page as HTML. Nothing is fetched from anywhere; every text of the user's is escaped.
///
/// # Errors
/// One line where the job asks no price.
pub fn render(job: &Job, plan: &Plan, heading: Option<&Heading>) -> Result<String, Failure> {
    let account = Account::of(job, plan);
    let Some((account, price)) = account.as_ref().and_then(|account| Some((account, account.price?))) else {
        return Err(Failure::new(
            "--quote: the job asks no price: give money.markup_percent or money.margin_percent",
        ));
    };
    let mut out = String::with_capacity(8 * 1024);
    _ = write!(
        out,
        "<!DOCTYPE html>\n<html lang=\"en\"><head><meta charset=\"utf-8\">\
         <meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; style-src 'unsafe-inline'\">\
         <meta name=\"viewport\" content=\"width=device-width\">\n\
         <title>Quote: {name}</title>\n<style>\n{STYLE}</style></head>\n<body>\n<header>",
        name = esc(&job.name),
    );
    match heading {
        Some(heading) => {
            _ = write!(out, "<div class=\"maker\"><strong>{}</strong>", esc(&heading.name));
            for line in &heading.lines {
                _ = write!(out, "<br>{}", esc(line));
            }
            out.push_str("</div>");
        }
        // Room for a stamp.
        None => out.push_str("<div class=\"maker stamp\"></div>"),
    }
    out.push_str(
        "<div class=\"fill\">Date <span></span><br>Number <span></span><br>Valid until <span></span></div></header>\n\
         <h1>Quote</h1>\n<p class=\"fill\">For <span class=\"wide\"></span></p>\n",
    );
    rings(&mut out, job, plan, account, price);
    out.push_str(
        "<p class=\"fill\">Delivery <span class=\"wide\"></span></p>\n\
         <p class=\"fill\">Payment <span class=\"wide\"></span></p>\n\
         <p class=\"fill sign\">Signed <span class=\"wide\"></span></p>\n</body></html>\n",
    );
    Ok(out)
}

fn rings(out: &mut String, job: &Job, plan: &Plan, account: &Account, price: Amount) {
    let mass = Scales::of(job.metal).mass(f64::from(account.rings) * plan.ring_mass.get(), 3);
    let unit = esc(&account.currency);
    _ = write!(
        out,
        "<div class=\"what\"><strong>{name}</strong><br>{metal}, {temper}, wire {wire}<br>\
         {inner} mm inside when closed, aspect ratio {ratio}, in all about {mass}</div>\n\
         <table><tr><th>rings</th><th>each</th><th>100 rings</th><th>in all</th></tr>\
         <tr><td>{number}</td><td>{each}</td><td>{hundred}</td><td>{whole}</td></tr>\
         <tr class=\"sum\"><td colspan=\"3\">Total {unit}</td><td>{whole}</td></tr></table>\n",
        name = esc(&job.name),
        metal = esc(text::metal(job)),
        temper = job.temper,
        wire = words::wire_both(job.size) + &text::coating(job),
        inner = text::inner(plan),
        ratio = number::sig(plan.ring_inner.best / job.winding.wire().mm().get(), 3),
        number = account.rings,
        each = price.ring,
        hundred = price.hundred,
        whole = price.whole,
    );
}
