//! `turntally measured`: what was measured on rings and coils, kept, and what comes of it.

mod check;
mod wire;

use std::collections::BTreeSet;
use std::fmt::Write as _;
use std::io::stdin;
use std::path::Path;

use clap::{Args as ClapArgs, Subcommand};
use serde_json::{Value, json};
use turntally_core::bounds::Bounds;
use turntally_core::coil::WindingError;
use turntally_core::gauge::WireSize;
use turntally_core::measured::{CALLIPER, MeasureError, Measurement, Reading};
use turntally_core::metal::{Metal, Temper};
use turntally_core::spring::SpringRatio;
use turntally_core::units::{Length, Turns};

use self::check::{inside_of, mixed_up, plausible};
use crate::failure::Failure;
use crate::files::output;
use crate::job::{self, coating_of};
use crate::lookup::{Lookup, Measured, MeasuredCoil, WireKind, no_spool, together};
use crate::readings::{Readings, Unit, typed};
use crate::records::{LogFile, Records};
use crate::words;
use crate::words::number::{count_turns, given};

/// Record measurements of rings and coils: they replace the estimates of springback and gap.
///
/// plan, size, chart, wind and link send use them for wire of the same metal, temper and diameter. On the same
/// mandrel they apply as measured; for any other mandrel the springback is computed from the measured rings.
#[derive(Debug, ClapArgs)]
#[command(after_help = "\
Examples:
  turntally measured add --metal copper --wire 1.2mm --mandrel 4.5mm --inside 4.62mm,4.61mm
  turntally measured add --metal copper --wire 1.2mm --mandrel 4.5mm --outside 7.02mm
  turntally measured add --metal copper --wire 1.2mm --mandrel 4.5mm --inside - --unit mm
  turntally measured add --metal copper --wire 1.2mm --mandrel 4.5mm --coil-length 74.4mm --turns 60
  turntally measured add --metal copper --wire 1.2mm --mandrel 4.5mm --rings 57 --turns 60
  turntally measured add --spool \"copper 1\" --mandrel 4.5mm --inside 4.62mm
  turntally measured list
  turntally measured drop 3

The likely spring ratio is the mean of the measured rings; its bounds include every one of them
with the error of its reading, since the next coil may be like any of them. Where rings were only
counted, the bounds are the range that fits every count. On other mandrels the bounds include every
flow stress of the wire that fits the measured rings, however the wire hardens; rings on a second
mandrel narrow them. Measurements that contradict each other are reported, and the bounds then
include all of them.")]
pub struct Args {
    #[command(subcommand)]
    what: What,
    #[command(flatten)]
    file: LogFile,
}

#[derive(Debug, Subcommand)]
enum What {
    /// Add measurements of one coil, or of rings cut from it
    Add(Box<AddArgs>),
    /// List the measurements, with the spring ratio and gap that follow for each wire and mandrel
    List {
        /// Print one JSON object; every key carries its unit
        #[arg(long)]
        json: bool,
    },
    /// Drop measurements by their numbers
    Drop {
        /// Numbers of the measurements, as measured list shows them
        #[arg(value_name = "NUMBER", required = true)]
        numbers: Vec<i64>,
    },
}

#[derive(Debug, ClapArgs)]
struct AddArgs {
    /// The spool that the wire came off: its measurements count for its jobs before those of other wire
    #[arg(long, value_name = "NAME")]
    spool: Option<String>,
    /// The metal, such as copper or C11000, or any name of your own [default: the spool's]
    #[arg(long, value_name = "NAME", required_unless_present = "spool")]
    metal: Option<String>,
    /// Temper of the wire: soft, half-hard, hard or spring [default: the spool's, else soft]
    #[arg(long, hide_possible_values = true)]
    temper: Option<Temper>,
    /// The wire: a gauge or a diameter, such as 16awg or 1.2mm [default: the spool's]
    #[arg(long, value_name = "SIZE", required_unless_present = "spool", allow_hyphen_values = true)]
    wire: Option<WireSize>,
    /// Thickness of the wire's coating on one side, such as 0.02mm, up to 1mm; --wire is the metal's diameter, and
    /// rings are measured over the coating
    #[arg(long, value_name = "LENGTH", default_value = "0mm", value_parser = coating_of, allow_hyphen_values = true)]
    coating: Length,
    /// The mandrel's diameter, with its unit
    #[arg(long, value_name = "LENGTH", allow_hyphen_values = true)]
    mandrel: Length,
    /// Inside diameter, with its unit, of a ring as cut (not closed) or of the coil off the mandrel; separate several
    /// by commas; - reads them from standard input, one on a line, until an empty line
    #[arg(long, value_name = "LENGTHS", allow_hyphen_values = true,
          required_unless_present_any = ["outside", "coil_length", "rings"])]
    inside: Option<Readings>,
    /// Outside diameter of such a ring, given in the same way; twice the wire's tolerance is added to the error of
    /// the reading
    #[arg(long, value_name = "LENGTHS", allow_hyphen_values = true)]
    outside: Option<Readings>,
    /// Unit of the readings on standard input that have none
    #[arg(long, value_name = "UNIT")]
    unit: Option<Unit>,
    /// Accept a ring that does not fit the metal, temper and mandrel; without this it is refused
    #[arg(long)]
    sure: bool,
    /// Length of a coil over --turns, edge to edge, while it is still on the mandrel
    #[arg(long, value_name = "LENGTH", requires = "turns", allow_hyphen_values = true)]
    coil_length: Option<Length>,
    /// The --coil-length was measured after the coil came off the mandrel
    #[arg(long, requires = "coil_length")]
    released: bool,
    /// Number of whole rings, rejects included, cut by one straight slit from the coil of --turns
    #[arg(long, value_name = "N", requires = "turns", allow_hyphen_values = true)]
    rings: Option<u32>,
    /// Turns that were wound, as the counter showed them before the coil came off
    #[arg(long, value_name = "TURNS", value_parser = turns, allow_hyphen_values = true)]
    turns: Option<Turns>,
    /// Turns of bent lead-in that were cut off before the rings were counted [default: 0]
    #[arg(long, value_name = "TURNS", value_parser = turns, requires = "rings", allow_hyphen_values = true)]
    tail: Option<Turns>,
    /// Error of each length reading, either way, 0mm to 1mm
    #[arg(long, value_name = "LENGTH", default_value_t = CALLIPER, value_parser = within, allow_hyphen_values = true)]
    within: Length,
}

fn within(text: &str) -> Result<Length, String> {
    // The default is written with a blank before its unit.
    text.replace(' ', "").parse().map_err(|error: turntally_core::units::QuantityError| error.to_string())
}

fn turns(text: &str) -> Result<Turns, String> {
    let turns = text.trim().parse().ok().filter(|turns: &f64| (0.0..=100_000.0).contains(turns));
    let turns = turns.and_then(Turns::from_f64);
    turns.ok_or_else(|| "only a number of turns from 0 to 100000 is allowed".to_owned())
}

/// Runs the command.
///
/// # Errors
/// One line for what cannot have been measured, or a file that is no log; nothing is kept then.
pub fn run(args: &Args) -> Result<(), Failure> {
    match &args.what {
        What::Add(new) => add(new, args),
        What::List { json } => {
            let records = Records::open_if_begun(&args.file.log)?;
            list(&records.map_or_else(|| Ok(Vec::new()), |records| records.measured())?, *json)
        }
        What::Drop { numbers } => {
            Records::open_existing(&args.file.log)?.drop_measured(numbers)?;
            output::print("dropped\n")
        }
    }
}

fn add(new: &AddArgs, args: &Args) -> Result<(), Failure> {
    let coil = new.coil(&args.file.log)?;
    let supposed = estimate(&coil);
    // What all the metals together allow is no ground to doubt a ring of one that is not listed.
    let in_doubt = !new.sure && Metal::find(&coil.wire.metal).is_some();
    let measurements = new.measurements(&coil)?;
    for (option, value, measurement) in &measurements {
        let ring = match measurement {
            Measurement::Inside(reading) => supposed.map(|known| (known, *reading)),
            _ => None,
        };
        let known = supposed.unwrap_or(SpringRatio::NONE);
        let checked = measurement.check(coil.over_coating(), coil.mandrel, known);
        checked.map_err(|error| match error {
            MeasureError::Winding(WindingError::NoWire) => Failure::value("--wire", coil.wire.size, error),
            MeasureError::Winding(_) => Failure::value("--mandrel", new.mandrel, error),
            MeasureError::Turns => Failure::new(format_args!("--turns: {error}")),
            MeasureError::Within => Failure::value("--within", new.within, error),
            error => {
                let question = ring.and_then(|(_, ring)| mixed_up(&coil, ring));
                match question {
                    Some(question) => Failure::value(option, value, format_args!("{error}: {question}")),
                    None => Failure::value(option, value, error),
                }
            }
        })?;
        if let Some((known, ring)) = ring.filter(|_| in_doubt) {
            plausible(&coil, known, ring).map_err(|why| Failure::value(option, value, why))?;
        }
    }
    let measurements: Vec<Measurement> = measurements.into_iter().map(|(_, _, one)| one).collect();
    let mut records = Records::open(&args.file.log)?;
    let numbers = records.add_measured(&coil, &measurements)?;
    let all = records.measured()?;
    let alike = |one: &Measured| one.coil.wire == coil.wire && one.coil.spool == coil.spool;
    let of_wire: Vec<Measured> = all.into_iter().filter(alike).collect();
    let all: Vec<Measured> = of_wire.iter().filter(|one| one.coil == coil).cloned().collect();
    let numbers: Vec<String> = numbers.iter().map(ToString::to_string).collect();
    output::print(&format!("saved as {}\n{}{}", numbers.join(", "), in_words(&all)?, wire::words(&of_wire)?))
}

impl AddArgs {
    /// The coil: its wire as the options say, or as the spool has it.
    ///
    /// # Errors
    /// One line for a spool that is not there, or that has other wire.
    fn coil(&self, log: &Path) -> Result<MeasuredCoil, Failure> {
        let temper = self.temper.unwrap_or(Temper::Soft);
        let wire = match (&self.spool, &self.metal, self.wire) {
            (Some(name), metal, size) => {
                let known =
                    Lookup::in_records(log.exists().then(|| Records::open_existing(log)).transpose()?, true);
                let Some((option, spool)) = known.with_spool(Some(name)).spool(None)? else {
                    return Err(no_spool("--spool", name));
                };
                let metal = metal.as_ref().unwrap_or(&spool.metal);
                let size = size.map_or(spool.wire, WireSize::diameter);
                let wire = WireKind::new(metal, self.temper.or(spool.temper).unwrap_or(temper), size);
                job::fits(option, &spool, &wire)?;
                job::bare("--coating", option, &spool, self.coating)?;
                wire
            }
            (None, Some(metal), Some(size)) => {
                job::label("--metal", metal.trim(), job::MAX_METAL)?;
                WireKind::new(metal, temper, size.diameter())
            }
            (None, _, _) => return Err(Failure::new("--metal and --wire, or --spool, are needed")),
        };
        Ok(MeasuredCoil { wire, coating: self.coating, mandrel: self.mandrel, spool: self.spool.clone() })
    }

    /// What was measured, each with its option and value.
    ///
    /// # Errors
    /// One line for what was typed and is no reading, or for an outside smaller than its wire.
    fn measurements(&self, coil: &MeasuredCoil) -> Result<Vec<(&'static str, String, Measurement)>, Failure> {
        if self.unit.is_some() && ![&self.inside, &self.outside].contains(&&Some(Readings::Typed)) {
            return Err(Failure::new(
                "--unit: it is for readings on standard input, --inside - or --outside -",
            ));
        }
        if (&self.inside, &self.outside) == (&Some(Readings::Typed), &Some(Readings::Typed)) {
            return Err(Failure::new(
                "--outside: only one option can read standard input, and --inside does",
            ));
        }
        let reading = |value| Reading { value, within: self.within };
        let mut all = Vec::new();
        for inside in self.lengths("--inside", self.inside.as_ref())? {
            all.push(("--inside", inside.to_string(), Measurement::Inside(reading(inside))));
        }
        for outside in self.lengths("--outside", self.outside.as_ref())? {
            let ring = inside_of(outside, coil, self.within);
            let ring = ring.map_err(|why| Failure::value("--outside", outside, why))?;
            all.push(("--outside", outside.to_string(), Measurement::Inside(ring)));
        }
        let turns = self.turns.unwrap_or_default();
        if let Some(length) = self.coil_length {
            let one = Measurement::CoilLength { length: reading(length), turns, released: self.released };
            all.push(("--coil-length", length.to_string(), one));
        }
        if let Some(rings) = self.rings {
            let one = Measurement::Rings { rings, turns, tail: self.tail.unwrap_or_default() };
            all.push(("--rings", rings.to_string(), one));
        }
        Ok(all)
    }

    fn lengths(&self, option: &str, readings: Option<&Readings>) -> Result<Vec<Length>, Failure> {
        let mut all = Vec::new();
        match readings {
            None => {}
            Some(Readings::Written(lengths)) => all.clone_from(lengths),
            Some(Readings::Typed) => typed(option, stdin().lock(), self.unit, |length| {
                all.push(length);
                Ok(())
            })?,
        }
        Ok(all)
    }
}

/// What is supposed of the spring ratio without measurements.
fn estimate(coil: &MeasuredCoil) -> Option<SpringRatio> {
    let (wire, mandrel) = (&coil.wire, coil.mandrel.with_coating(coil.coating));
    job::estimate(Metal::find(&wire.metal), wire.temper, wire.size, mandrel).ok()
}

/// `copper, soft, 1.2 mm, spool "copper 1"`.
fn wire_words(wire: &WireKind, spool: Option<&String>) -> String {
    let spool = spool.map_or_else(String::new, |name| format!(", spool \"{name}\""));
    format!("{}, {}, {}{spool}", wire.metal, wire.temper, words::wire(WireSize::Diameter(wire.size)))
}

/// What was measured, in words: `ring, 4.62 mm inside (within 0.02 mm)`.
fn measurement_words(measurement: &Measurement) -> String {
    match measurement {
        Measurement::Inside(reading) => {
            format!("ring of {} inside, within {}", given(reading.value), given(reading.within))
        }
        Measurement::CoilLength { length, turns, released } => format!(
            "coil of {} wound, {} long {} the mandrel, within {}",
            count_turns(turns.as_f64()),
            given(length.value),
            if *released { "off" } else { "on" },
            given(length.within)
        ),
        Measurement::Rings { rings, turns, tail } => {
            let tail = match tail.as_f64() {
                0.0 => String::new(),
                tail => format!(" less a lead-in of {}", count_turns(tail)),
            };
            format!("{rings} rings from {} wound{tail}", count_turns(turns.as_f64()))
        }
    }
}

/// The measurements of one wire on one mandrel and what comes of them.
fn in_words(of_one: &[Measured]) -> Result<String, Failure> {
    let Some(Measured { coil, .. }) = of_one.first() else { return Ok(String::new()) };
    let wire = wire_words(&coil.wire, coil.spool.as_ref());
    let coating = words::coating(coil.coating, coil.over_coating());
    let mut text = format!("{wire}{coating} on a mandrel of {}\n", given(coil.mandrel));
    for one in of_one {
        _ = writeln!(text, "{:>5}  {}", one.number, measurement_words(&one.measurement));
    }
    let learning = together(of_one, estimate(coil))?;
    if let Some(spring) = learning.spring_words() {
        _ = writeln!(text, "  spring ratio {spring}");
    }
    if let Some(gap) = learning.gap_words() {
        _ = writeln!(text, "  gap {gap}");
    }
    let learned = learning.learned;
    for (of, apart) in [("spring ratio", learned.springs_apart), ("gap", learned.gaps_apart)] {
        if let Some((Some(a), Some(b))) = apart.map(|(a, b)| (of_one.get(a), of_one.get(b))) {
            _ = writeln!(
                text,
                "  {} and {} have no {of} in common: measure again, or drop the one that is wrong",
                a.number, b.number
            );
        }
    }
    Ok(text)
}

/// The measurements of one wire and one spool, those of coils that are alike together.
fn coils(of_wire: &[Measured]) -> impl Iterator<Item = &[Measured]> {
    of_wire.chunk_by(|a, b| a.coil == b.coil)
}

/// The measurements of each wire, those of each spool on their own, first those of no spool.
fn wires(all: &[Measured]) -> Vec<Vec<Measured>> {
    let mut wires = Vec::new();
    for of_wire in all.chunk_by(|a, b| a.coil.wire == b.coil.wire) {
        let spools: BTreeSet<Option<&String>> = of_wire.iter().map(|one| one.coil.spool.as_ref()).collect();
        wires.extend(spools.into_iter().map(|spool| {
            of_wire.iter().filter(|one| one.coil.spool.as_ref() == spool).cloned().collect::<Vec<_>>()
        }));
    }
    wires
}

fn list(all: &[Measured], json: bool) -> Result<(), Failure> {
    let of_wires = wires(all);
    if json {
        let groups =
            of_wires.iter().flat_map(|one| coils(one)).map(json_of).collect::<Result<Vec<_>, _>>()?;
        let wires = of_wires.iter().map(|one| wire::json_of(one)).collect::<Result<Vec<_>, _>>()?;
        return output::print_json(&json!({ "measured": groups, "wires": wires }));
    }
    if all.is_empty() {
        return output::print(
            "nothing measured yet: turntally measured add --metal copper --wire 1.2mm --mandrel 4.5mm --inside 4.62mm \
             keeps a measured ring\n",
        );
    }
    let mut texts = Vec::new();
    for of_wire in &of_wires {
        for of_one in coils(of_wire) {
            texts.push(in_words(of_one)?);
        }
        texts.push(wire::words(of_wire)?);
    }
    output::print(&texts.join("\n"))
}

fn json_of(of_one: &[Measured]) -> Result<Value, Failure> {
    let Some(Measured { coil, .. }) = of_one.first() else { return Ok(Value::Null) };
    let learning = together(of_one, estimate(coil))?;
    let entries = of_one.iter().map(|one| {
        let mut entry = json!({ "number": one.number, "noted_unix_s": one.at_unix_s });
        let reading = |entry: &mut Value, key: &str, reading: &Reading| {
            entry[key] = json!(reading.value.mm().get());
            entry["within_mm"] = json!(reading.within.mm().get());
        };
        match &one.measurement {
            Measurement::Inside(inside) => reading(&mut entry, "ring_inner_diameter_mm", inside),
            Measurement::CoilLength { length, turns, released } => {
                let key = if *released { "released_length_mm" } else { "wound_length_mm" };
                reading(&mut entry, key, length);
                entry["wound_turns"] = json!(turns.as_f64());
            }
            Measurement::Rings { rings, turns, tail } => {
                entry["rings"] = json!(rings);
                entry["wound_turns"] = json!(turns.as_f64());
                entry["tail_turns"] = json!(tail.as_f64());
            }
        }
        entry
    });
    let bounds = |bounds: Bounds<f64>| json!({ "best": bounds.best, "low": bounds.low, "high": bounds.high });
    let learned = learning.learned;
    let numbers = |apart: Option<(usize, usize)>| {
        apart.and_then(|(a, b)| Some([of_one.get(a)?.number, of_one.get(b)?.number]))
    };
    Ok(json!({
        "metal": coil.wire.metal,
        "temper": coil.wire.temper.to_string(),
        "wire_diameter_mm": coil.wire.size.mm().get(),
        "wire_coating_mm": (coil.coating > Length::ZERO).then(|| coil.coating.mm().get()),
        "spool": coil.spool,
        "mandrel_diameter_mm": coil.mandrel.mm().get(),
        "spring_ratio": learned.spring.map(|spring| bounds(spring.bounds())),
        "spring_ratio_estimate": learning.estimate.map(|spring| bounds(spring.bounds())),
        "gap": learned.gap.map(bounds),
        "spring_ratio_contradiction": numbers(learned.springs_apart),
        "gap_contradiction": numbers(learned.gaps_apart),
        "entries": entries.collect::<Vec<_>>(),
    }))
}
