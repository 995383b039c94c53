//! `turntally spool`: the spools of wire, and what is left on each.

use clap::{Args as ClapArgs, Subcommand};
use serde_json::{Value, json};
use turntally_core::gauge::WireSize;
use turntally_core::metal::{Metal, Temper};
use turntally_core::units::{Density, Grams, Length};

use crate::failure::Failure;
use crate::files::output;
use crate::job;
use crate::lookup::{Spool, metal_key, no_spool};
use crate::material::{self, Stock};
use crate::records::{LogFile, Records};
use crate::words;
use crate::words::table::table;

/// The longest name of a spool or a metal, in characters.
const MAX_NAME: usize = 60;
/// The most wire on a spool: a thousand kilometres.
const MAX_LENGTH: Length = Length::from_um(1_000_000_000_000);

/// Keep track of spools: how much wire is left on each, by length and by mass.
///
/// A job names its spool in its job file (wire.spool) or by --spool. When link fetch brings a coil of that job into
/// the log, the coil's wire is subtracted from the spool, once, whether the coil was kept or thrown away. The
/// simulated bench subtracts nothing.
#[derive(Debug, ClapArgs)]
#[command(after_help = "\
Examples:
  turntally spool add \"copper 1\" --metal copper --wire 1.2mm --holds 500g --price-per-kg 18
  turntally spool add \"silver\" --metal sterling-silver --wire 18awg --gross 412g --tare 105g
  turntally spool weigh \"silver\" --gross 361g
  turntally spool list
  turntally spool drop \"copper 1\"

Fetch the log before you weigh: a weighing already accounts for every coil that came off before it.
A coil without a date (the counter's clock was not set) is subtracted when it is fetched.")]
pub struct Args {
    #[command(subcommand)]
    what: What,
    #[command(flatten)]
    file: LogFile,
}

#[derive(Debug, Subcommand)]
enum What {
    /// Add a spool
    Add(Box<AddArgs>),
    /// Set how much wire is on a spool, as weighed or measured
    Weigh {
        /// The spool's name
        name: String,
        #[command(flatten)]
        amount: Amount,
    },
    /// List the spools and what is left on them
    List {
        /// Print one JSON object; every key carries its unit
        #[arg(long)]
        json: bool,
    },
    /// Drop a spool; its coils stay in the log
    Drop {
        /// The spool's name
        name: String,
    },
}

#[derive(Debug, ClapArgs)]
struct AddArgs {
    /// Its name, as jobs will call it
    name: String,
    /// The metal, such as copper or C11000; one that is not listed needs --density
    #[arg(long, value_name = "NAME")]
    metal: String,
    /// Temper of the wire: soft, half-hard, hard or spring [default: not known, any job may use it]
    #[arg(long, hide_possible_values = true)]
    temper: Option<Temper>,
    /// The wire: a gauge or a diameter, such as 16awg or 1.2mm
    #[arg(long, value_name = "SIZE", allow_hyphen_values = true)]
    wire: WireSize,
    #[command(flatten)]
    amount: Amount,
    /// Density in g/cm3, 0.5 to 25 [default: the metal's]
    #[arg(long, value_name = "G_PER_CM3", value_parser = material::density, allow_hyphen_values = true)]
    density: Option<Density>,
    /// What the wire costs by the kilogram, for jobs that give no price
    #[arg(long, value_name = "PRICE", allow_hyphen_values = true)]
    price_per_kg: Option<f64>,
    /// The currency of the price
    #[arg(long, value_name = "NAME", requires = "price_per_kg")]
    currency: Option<String>,
}

#[derive(Debug, ClapArgs)]
struct Amount {
    /// Wire on it, by mass or by length, such as 500g, 2.5ozt or 12m
    #[arg(
        long,
        value_name = "AMOUNT",
        required_unless_present = "gross",
        conflicts_with = "gross",
        allow_hyphen_values = true
    )]
    holds: Option<Stock>,
    /// Mass of the spool with its wire, such as 412g
    #[arg(long, value_name = "MASS", allow_hyphen_values = true)]
    gross: Option<Grams>,
    /// Mass of the empty spool [default: the tare given when the spool was added or last weighed]
    #[arg(long, value_name = "MASS", allow_hyphen_values = true)]
    tare: Option<Grams>,
}

impl Amount {
    /// The length of wire that it is, and the option that says so.
    fn length(&self, tare: Option<Grams>, density: Density, wire: Length) -> Result<Length, Failure> {
        let tare = self.tare.or(tare);
        let (option, given, length) = match (&self.holds, self.gross) {
            (Some(Stock::Length(length)), _) => ("--holds", length.to_string(), *length),
            (Some(Stock::Mass(mass)), _) => {
                ("--holds", format!("{} g", mass.get()), length_of(*mass, density, wire))
            }
            (None, gross) => {
                let gross = gross.unwrap_or_default();
                let Some(tare) = tare else {
                    let why = "the mass of the empty spool is not known: give --tare";
                    return Err(Failure::value("--gross", format_args!("{} g", gross.get()), why));
                };
                let net = gross - tare;
                if net.get() < 0.0 {
                    let why = format!("less than the empty spool, {} g", tare.get());
                    return Err(Failure::value("--gross", format_args!("{} g", gross.get()), why));
                }
                ("--gross", format!("{} g", gross.get()), length_of(net, density, wire))
            }
        };
        if (Length::ZERO..=MAX_LENGTH).contains(&length) {
            return Ok(length);
        }
        Err(Failure::value(option, given, "only up to 1000 km of wire is allowed"))
    }
}

fn length_of(mass: Grams, density: Density, wire: Length) -> Length {
    Length::from_mm(density.wire_length(wire, mass)).unwrap_or(Length::from_nm(i64::MAX))
}

/// Runs the command.
///
/// # Errors
/// One line for what is wrong with the spool, or a file that is no log; nothing is changed then.
pub fn run(args: &Args) -> Result<(), Failure> {
    match &args.what {
        What::Add(new) => {
            let spool = new.spool()?;
            let mut records = Records::open(&args.file.log)?;
            records.add_spool(&spool)?;
            let earlier =
                records.measured()?.iter().filter(|one| one.coil.spool.as_ref() == Some(&spool.name)).count();
            let mut text = list_text(&[spool]);
            if earlier > 0 {
                text += &format!(
                    "{} of an earlier spool of this name: turntally measured list shows what was measured; drop it if \
                     this is other wire\n",
                    words::count(earlier as u64, "measurement")
                );
            }
            output::print(&text)
        }
        What::Weigh { name, amount } => {
            let mut records = Records::open_existing(&args.file.log)?;
            let Some(spool) = records.spool(name)? else {
                return Err(no_spool("NAME", name));
            };
            let left = amount.length(spool.tare, spool.density, spool.wire)?;
            records.set_left(name, left, amount.tare)?;
            output::print(&format!(
                "{name}: {}; until now it was taken for {}\n",
                spool.words(left),
                spool.words(spool.left)
            ))
        }
        What::List { json } => {
            let records = Records::open_if_begun(&args.file.log)?;
            let spools = records.map_or_else(|| Ok(Vec::new()), |records| records.spools())?;
            if *json {
                output::print_json(&json!({ "spools": spools.iter().map(json_of).collect::<Vec<_>>() }))
            } else {
                output::print(&list_text(&spools))
            }
        }
        What::Drop { name } => {
            Records::open_existing(&args.file.log)?.drop_spool(name)?;
            output::print("dropped\n")
        }
    }
}

impl AddArgs {
    fn spool(&self) -> Result<Spool, Failure> {
        let name = job::label("NAME", self.name.trim(), MAX_NAME)?;
        if name.is_empty() {
            return Err(Failure::value("NAME", name, "a spool needs a name"));
        }
        job::label("--metal", self.metal.trim(), MAX_NAME)?;
        let density = match (self.density, Metal::find(&self.metal)) {
            (Some(given), _) => given,
            (None, Some(metal)) => metal.density().value(),
            (None, None) => return Err(job::unknown_metal("--metal", &self.metal, "--density")),
        };
        let wire = self.wire.diameter();
        if wire <= Length::ZERO {
            return Err(Failure::value("--wire", wire, "only above 0 mm is allowed"));
        }
        Ok(Spool {
            name,
            metal: metal_key(&self.metal),
            temper: self.temper,
            wire,
            density,
            tare: self.amount.tare,
            price: job::price(
                ["--price-per-kg", "--currency"],
                "per kilogram",
                self.price_per_kg,
                self.currency.clone(),
            )?,
            left: self.amount.length(None, density, wire)?,
        })
    }
}

fn list_text(spools: &[Spool]) -> String {
    if spools.is_empty() {
        return "no spools yet: turntally spool add \"copper 1\" --metal copper --wire 1.2mm --holds 500g adds one\n"
            .to_owned();
    }
    let head = ["spool", "metal", "wire", "left", ""].map(str::to_owned);
    let rows = spools.iter().map(|spool| {
        let words = spool.words(spool.left);
        let (length, mass) = words.split_once(", ").unwrap_or((&words, ""));
        let metal = match spool.temper {
            Some(temper) => format!("{}, {temper}", spool.metal),
            None => spool.metal.clone(),
        };
        [&spool.name, &metal, &words::wire(WireSize::Diameter(spool.wire)), length, mass].map(str::to_owned)
    });
    table(std::iter::once(head).chain(rows))
}

fn json_of(spool: &Spool) -> Value {
    let mass = spool.left_mass();
    json!({
        "name": spool.name,
        "metal": spool.metal,
        "temper": spool.temper.map(|temper| temper.to_string()),
        "wire_diameter_mm": spool.wire.mm().get(),
        "density_g_cm3": spool.density.g_per_cm3(),
        "left_mm": spool.left.mm().get(),
        "left_g": mass.get(),
        "left_troy_ounces": mass.troy_ounces(),
        "tare_g": spool.tare.map(Grams::get),
        "price_per_kg": spool.price.as_ref().map(|price| price.per_kg),
        "currency": spool.price.as_ref().map(|price| &price.currency),
    })
}
