//! `turntally gauge`: what gauge is this wire?

use std::io::stdin;
use std::str::FromStr;

use serde_json::{Map, Value, json};
use turntally_core::gauge::{Match, Nearest, Tolerance, WireSize, WireSizeError, nearest};
use turntally_core::units::Length;

use crate::failure::Failure;
use crate::files::output;
use crate::readings::{Unit, typed};
use crate::words::number::{fine, fine_inches, fixed, signed, tabulated};
use crate::words::table::{table, wrapped};
use crate::words::{count, series, wire, wire_both};

/// Find the gauge of a wire: the nearest size in each system, and every size that it could be
#[derive(Debug, Clone, clap::Args)]
#[command(after_help = "\
Examples:
  turntally gauge 1.02mm
  turntally gauge 0.040in
  turntally gauge 18awg          (what else is about as thick as 18 AWG)
  turntally gauge - --unit mm    (a caliper that types: a line for each reading, then their mean)

Give the diameter with its unit, from 0.02mm to 15mm. AWG is the ASTM B258 table, SWG the BS 3737
table, W&M (16wm) the US steel wire gauge (Washburn & Moen). Metric sizes are in steps of 0.05 mm up
to 3 mm and 0.1 mm above; inch sizes are in steps of 0.001 in.")]
pub struct Args {
    /// The wire as measured, such as 1.02mm or 0.040in, or a gauge such as 18awg; - reads diameters from standard
    /// input, one on a line, until an empty line
    #[arg(value_name = "SIZE", allow_hyphen_values = true)]
    size: Wire,
    /// Unit of the readings on standard input that have none
    #[arg(long, value_name = "UNIT")]
    unit: Option<Unit>,
    /// Print one JSON object instead of a table; with -, one on a line for each reading
    #[arg(long)]
    json: bool,
}

/// Which wire is asked for.
#[derive(Debug, Clone, Copy)]
enum Wire {
    Size(WireSize),
    /// Those whose diameters are typed into standard input.
    Typed,
}

impl FromStr for Wire {
    type Err = WireSizeError;

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        if text.trim() == "-" { Ok(Self::Typed) } else { text.parse().map(Self::Size) }
    }
}

/// Looks the wire up and prints it.
///
/// # Errors
/// One line where it is out of range, or a reading is no diameter.
pub fn run(args: &Args) -> Result<(), Failure> {
    let size = match args.size {
        Wire::Typed => return readings(args),
        Wire::Size(_) if args.unit.is_some() => {
            return Err(Failure::new("--unit: it is for readings on standard input, turntally gauge -"));
        }
        Wire::Size(size) => size,
    };
    let near = found("SIZE", size)?;
    if args.json { output::print_json(&json_of(size, &near)) } else { output::print(&text_of(size, &near)) }
}

fn found(field: &str, size: WireSize) -> Result<Nearest, Failure> {
    nearest(size.diameter()).map_err(|error| Failure::value(field, size, error))
}

/// Answers each reading as it is typed; several are one wire, measured again, whose mean is answered last.
fn readings(args: &Args) -> Result<(), Failure> {
    let mut all = Vec::new();
    typed("SIZE", stdin().lock(), args.unit, |diameter| {
        let size = WireSize::Diameter(diameter);
        let near = found("SIZE", size)?;
        all.push(diameter);
        if args.json {
            return output::print(&format!("{}\n", json_of(size, &near)));
        }
        let sizes = match names(diameter, &near).as_slice() {
            [] => "no size of the tables".to_owned(),
            names => series(names, "or"),
        };
        output::print(&format!("{} ({}): {sizes}\n", fine(diameter), fine_inches(diameter)))
    })?;
    if all.len() < 2 || args.json {
        return Ok(());
    }
    let sum: i64 = all.iter().map(|diameter| diameter.nm()).sum();
    let mean = WireSize::Diameter(Length::from_nm(sum / i64::try_from(all.len()).unwrap_or(i64::MAX)));
    let near = found("SIZE", mean)?;
    output::print(&format!("\nMean of {}: {}", count(all.len() as u64, "reading"), text_of(mean, &near)))
}

/// The names of what it could be, one each.
fn names(measured: Length, near: &Nearest) -> Vec<String> {
    let mut names: Vec<String> =
        could_be(measured, near).into_iter().map(|(system, size)| written(system, size)).collect();
    names.dedup();
    names
}

/// A system of sizes and what was found in it.
fn systems(near: &Nearest) -> [(&'static str, &Match); 5] {
    [
        ("awg", &near.awg),
        ("swg", &near.swg),
        ("wm", &near.steel),
        ("metric", &near.metric),
        ("inch", &near.inch),
    ]
}

/// A size as its system writes it.
fn written(system: &str, size: WireSize) -> String {
    match size {
        WireSize::Diameter(diameter) if system == "inch" => format!("{} in", fixed(diameter.inches(), 3)),
        size => size.to_string(),
    }
}

/// The sizes that a wire of this diameter may have been sold as, the nearest first.
fn could_be(measured: Length, near: &Nearest) -> Vec<(&'static str, WireSize)> {
    let mut sizes: Vec<(&str, WireSize)> = systems(near)
        .into_iter()
        .map(|(system, found)| (system, found.size))
        .filter(|(_, size)| within(measured, *size))
        .collect();
    sizes.sort_by_key(|(_, size)| off(measured, *size));
    sizes
}

/// How far the wire is from a size, either way, in nanometres.
fn off(measured: Length, size: WireSize) -> i64 {
    (measured.nm() - size.diameter().nm()).abs()
}

fn within(measured: Length, size: WireSize) -> bool {
    off(measured, size) <= Tolerance::of(size.diameter()).plus_minus.nm()
}

/// The question that one reading cannot answer, and how to answer it.
fn advice(given: WireSize, near: &Nearest) -> String {
    let measured = given.diameter();
    let tolerance = Tolerance::of(measured).plus_minus;
    let tolerance = format!("{}, {},", fine(tolerance), fine_inches(tolerance));
    let how = "measure at three places along the wire, twice at right angles in each, and take the mean";
    match names(measured, near).as_slice() {
        [] => format!(
            "No size of these tables is within its tolerance (about {tolerance} either way): {how}; if it stays, go by the diameter, not by a gauge."
        ),
        [only] => format!(
            "Within tolerance (about {tolerance} either way) it could only be {only}. To check a reading, {how}."
        ),
        several => format!(
            "Could be {}: each may differ by about {tolerance} either way, so this reading fits each of them. Before you order by it, {how}.",
            series(several, "or")
        ),
    }
}

fn text_of(given: WireSize, near: &Nearest) -> String {
    let mut text = wire_both(given) + "\n\n";
    let mut rows = vec![["", "nearest", "nominal", "off by", "", "thinner", "thicker"].map(str::to_owned)];
    for (system, found) in systems(near) {
        let neighbour = |size: Option<WireSize>| {
            size.map_or_else(
                || "none".to_owned(),
                |size| match size {
                    WireSize::Gauge(gauge) => wire(gauge.into()),
                    size @ WireSize::Diameter(_) => written(system, size),
                },
            )
        };
        let heading = match system {
            "awg" => "AWG",
            "swg" => "SWG",
            "wm" => "W&M",
            other => other,
        };
        rows.push([
            heading.to_owned(),
            written(system, found.size),
            tabulated(found.size.diameter()),
            format!("{} mm", signed(found.deviation.mm().get(), 3)),
            format!("{} %", signed(found.relative() * 100.0, 2)),
            neighbour(found.neighbours.thinner),
            neighbour(found.neighbours.thicker),
        ]);
    }
    text += &table(rows);
    text += "\n";
    text += &wrapped(&advice(given, near));
    text
}

fn json_of(given: WireSize, near: &Nearest) -> Value {
    let measured = given.diameter();
    let mut object = Map::new();
    object.insert("size".to_owned(), json!(given.to_string()));
    object.insert("diameter_mm".to_owned(), json!(measured.mm().get()));
    object.insert("diameter_in".to_owned(), json!(measured.inches()));
    let size_of = |system: &str, size: WireSize| {
        json!({
            "size": written(system, size),
            "diameter_mm": size.diameter().mm().get(),
            "diameter_in": size.diameter().inches(),
        })
    };
    for (system, found) in systems(near) {
        let tolerance = Tolerance::of(found.size.diameter());
        let mut entry = Map::new();
        entry.insert("size".to_owned(), json!(written(system, found.size)));
        entry.insert("diameter_mm".to_owned(), json!(found.size.diameter().mm().get()));
        entry.insert("diameter_in".to_owned(), json!(found.size.diameter().inches()));
        entry.insert("deviation_mm".to_owned(), json!(found.deviation.mm().get()));
        entry.insert("deviation_percent".to_owned(), json!(found.relative() * 100.0));
        entry.insert("tolerance_mm".to_owned(), json!(tolerance.plus_minus.mm().get()));
        entry.insert("tolerance_source".to_owned(), json!(tolerance.source));
        entry.insert("within_tolerance".to_owned(), json!(within(measured, found.size)));
        let thinner = found.neighbours.thinner.map(|size| size_of(system, size));
        let thicker = found.neighbours.thicker.map(|size| size_of(system, size));
        entry.insert("thinner".to_owned(), json!(thinner));
        entry.insert("thicker".to_owned(), json!(thicker));
        object.insert(system.to_owned(), Value::Object(entry));
    }
    let sizes: Vec<String> =
        could_be(measured, near).into_iter().map(|(system, size)| written(system, size)).collect();
    object.insert("could_be".to_owned(), json!(sizes));
    object.insert("advice".to_owned(), json!(advice(given, near)));
    Value::Object(object)
}
