//! The job file: `JOB.toml`, as the maker writes it, and what it means.
//!
//! Reading is strict: an unknown key, a wrong type, a missing or wrong unit, an impossible ring are
//! each one line that names the field, the value and what is allowed.

use std::fmt::Display;
use std::fs::File as DiskFile;
use std::io::Read;
use std::path::Path;
use std::str::FromStr;

use serde::Deserialize;
use turntally_core::coil::Winding;
use turntally_core::counter::{CountsPerTurn, Gear, MAX_PULSES_PER_REV, Shaft};
use turntally_core::gauge::WireSize;
use turntally_core::job::NAME_LEN;
use turntally_core::metal::{Metal, Temper, flow_of};
use turntally_core::plan::BatchPlan;
use turntally_core::spring::SpringRatio;
use turntally_core::units::{Density, Grams, Length, Turns};

use crate::failure::Failure;
use crate::files::input;
use crate::files::kind::Kind;
use crate::lookup::{Learning, Lookup, MeasuredCoil, Price, Spool, WireKind};
use crate::words::visible::is_hidden;
use money::{Money, MoneyTable, wire_price};

mod fields;
pub mod money;

/// The largest job file that is read: far past any that a person writes.
const MAX_JOB_BYTES: u64 = 1 << 20;
/// The most rings that a job may ask for.
pub const MAX_RINGS: u32 = 10_000_000;
/// The longest name of a job, in characters: what still fits the head of a sheet.
const MAX_NAME: usize = 120;
/// The longest name of a metal that is not listed, in characters.
pub(crate) const MAX_METAL: usize = 60;
/// The longest name of a currency, in characters.
const MAX_CURRENCY: usize = 12;
/// The densities that are taken, in g/cm3: from magnesium to osmium, with room on both sides.
pub const DENSITIES: std::ops::RangeInclusive<f64> = 0.5..=25.0;

/// The job that ships inside the program.
pub const DEMO: &str = include_str!("demo.toml");

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct File {
    job: JobTable,
    wire: WireTable,
    mandrel: MandrelTable,
    winder: WinderTable,
    cutter: CutterTable,
    #[serde(default)]
    coil: CoilTable,
    money: Option<MoneyTable>,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct JobTable {
    name: Option<String>,
    rings: Option<i64>,
    wire: Option<String>,
    spare_percent: Option<f64>,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct WireTable {
    metal: String,
    temper: Option<String>,
    size: String,
    coating: Option<String>,
    density_g_cm3: Option<f64>,
    spring_ratio: Option<f64>,
    price_per_kg: Option<f64>,
    price_per_ozt: Option<f64>,
    price_per_lb: Option<f64>,
    price_per_m: Option<f64>,
    price_per_ft: Option<f64>,
    price_date: Option<String>,
    currency: Option<String>,
    spool: Option<String>,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct MandrelTable {
    diameter: String,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct WinderTable {
    encoder_on: Option<String>,
    gear: Option<String>,
    pulses_per_rev: i64,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct CutterTable {
    coil_max: String,
    kerf: Option<String>,
    blade: Option<String>,
    slot: Option<String>,
}

#[derive(Debug, Default, Deserialize)]
#[serde(deny_unknown_fields)]
struct CoilTable {
    gap: Option<f64>,
    tail_turns: Option<f64>,
}

/// What a job starts from.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Wanted {
    /// This many rings, those to spare not included.
    Rings(u32),
    /// As many as this much wire gives.
    WireMass(Grams),
    /// As many as this length of wire gives.
    WireLength(Length),
}

/// What a name ends in that was too long: the counter's type has no ellipsis of one character.
const SHORTENED: &str = "...";

/// A job, checked.
#[derive(Debug, Clone)]
pub struct Job {
    /// Its name; `unnamed` where none was given.
    pub name: String,
    /// What it starts from.
    pub wanted: Wanted,
    /// Rings to spare, in percent of those wanted.
    pub spare_percent: f64,
    /// The metal as it was named, and the built-in one that it is, if any.
    pub metal_name: String,
    /// The built-in metal of that name.
    pub metal: Option<&'static Metal>,
    /// Its temper.
    pub temper: Temper,
    /// The wire's size as it was written.
    pub size: WireSize,
    /// The thickness of its coating; nothing on bare wire. The wire of [`Self::winding`] is as thick as both.
    pub coating: Length,
    /// The density of its metal that counts.
    pub metal_density: Density,
    /// The same of the wire: the mean of metal and coating over its whole section.
    pub density: Density,
    /// The spring ratio was measured on this very mandrel, or given.
    pub spring_measured: bool,
    /// What was measured for this wire and mandrel, as far as it counts.
    pub learning: Option<Learning>,
    /// The spool that its wire comes off.
    pub spool: Option<Spool>,
    /// What the wire costs.
    pub price: Option<Price>,
    /// The day of that price, as the job names it.
    pub price_date: Option<String>,
    /// What the batch costs beside its wire, and what is asked for it.
    pub money: Option<Money>,
    /// Wire on mandrel, with kerf, gap and springback.
    pub winding: Winding,
    /// Where the encoder sits.
    pub shaft: Shaft,
    /// The winder's gear.
    pub gear: Gear,
    /// Pulses in a revolution of the encoder.
    pub pulses_per_rev: u32,
    /// The longest coil that the saw's cradle takes.
    pub coil_max: Length,
    /// The blade's nominal thickness.
    pub blade: Option<Length>,
    /// The slot that guides the blade.
    pub slot: Option<Length>,
    /// Turns of bent lead-in, cut off.
    pub tail: Turns,
    /// How its coils are wound.
    pub rule: BatchPlan,
}

impl Job {
    /// Reads a job file, with what is known of its wire; the name `demo` stands for the one inside the
    /// program, unless there is a file of that name.
    ///
    /// # Errors
    /// One line for whatever is wrong with it.
    pub fn load(path: &Path, known: &Lookup) -> Result<Self, Failure> {
        of_file(path, Self::read(&text_of(path)?, known))
    }

    /// Reads the text of the job file at `path`, which the refusal names.
    ///
    /// # Errors
    /// As [`Self::load`].
    pub fn named(path: &Path, text: &str, known: &Lookup) -> Result<Self, Failure> {
        of_file(path, Self::read(text, known))
    }

    /// Reads a job file's text, with nothing known of its wire but what it says.
    ///
    /// # Errors
    /// One line that names the field, the value and what is allowed.
    pub fn parse(text: &str) -> Result<Self, Failure> {
        Self::read(text, &Lookup::nothing())
    }

    /// Reads a job file's text, with what is known of its wire.
    ///
    /// # Errors
    /// As [`Self::parse`], and where its spool is not known.
    pub fn read(text: &str, known: &Lookup) -> Result<Self, Failure> {
        let reader = toml::Deserializer::parse(text).map_err(|error| fields::no_toml(&error, text))?;
        let file: File = serde_path_to_error::deserialize(reader)
            .map_err(|error| fields::wrong_field(error.path(), error.inner(), text))?;
        Self::check(file, known)
    }

    fn check(file: File, known: &Lookup) -> Result<Self, Failure> {
        let wanted = wanted(&file.job)?;
        let name = file.job.name.as_deref().map(str::trim).filter(|name| !name.is_empty());
        let name = label("job.name", name.unwrap_or("unnamed"), MAX_NAME)?;
        let spare_percent =
            number("job.spare_percent", file.job.spare_percent.unwrap_or(0.0), 0.0..=100.0, "percent")?;
        let wire = Wire::check(&file.wire)?;
        let mandrel: Length = text("mandrel.diameter", &file.mandrel.diameter)?;
        let kerf: Length = text("cutter.kerf", file.cutter.kerf.as_deref().unwrap_or("0mm"))?;
        let spool = spool(file.wire.spool.as_deref(), &wire, known)?;
        let springback = Springback::check(&file, &wire, mandrel, spool.as_ref(), known)?;
        let density = wire.metal_density.enamelled(wire.size.diameter(), wire.coating);
        let (price, price_date) = wire_price(&file.wire, wire.over_coating(), density)?;
        let price = price.or_else(|| spool.as_ref()?.price.clone());
        let money = Money::check(file.money.as_ref(), price.is_some())?;
        let winding = Winding::new(wire.over_coating(), mandrel, springback.gap, kerf, springback.ratio)
            .map_err(|error| Failure::new(format_args!("{}: {error}", winding_field(&error, mandrel))))?;
        let winder = Winder::check(&file.winder)?;
        let coil_max: Length = text("cutter.coil_max", &file.cutter.coil_max)?;
        let optional = |field, value: Option<&String>| value.map(|value| thickness(field, value)).transpose();
        let blade = optional("cutter.blade", file.cutter.blade.as_ref())?;
        let slot = optional("cutter.slot", file.cutter.slot.as_ref())?;
        let tail_turns =
            number("coil.tail_turns", file.coil.tail_turns.unwrap_or(0.0), 0.0..=100.0, "turns")?;
        let tail = Turns::from_f64(tail_turns).unwrap_or_default();
        let rule = BatchPlan::of(&winding, tail, winder.per_turn, coil_max)
            .map_err(|error| Failure::value("cutter.coil_max", &file.cutter.coil_max, error))?;
        let job = Self {
            name,
            wanted,
            spare_percent,
            density,
            metal_name: wire.metal_name,
            metal: wire.metal,
            temper: wire.temper,
            size: wire.size,
            coating: wire.coating,
            metal_density: wire.metal_density,
            spring_measured: springback.measured,
            learning: springback.learning,
            price,
            price_date,
            money,
            spool,
            winding,
            shaft: winder.shaft,
            gear: winder.gear,
            pulses_per_rev: winder.pulses_per_rev,
            coil_max,
            blade,
            slot,
            tail,
            rule,
        };
        job.rings_to_make()?;
        Ok(job)
    }

    /// Rings to be made: those wanted and those to spare, or what the wire gives for certain.
    ///
    /// # Errors
    /// One line where the wire does not give a single guaranteed ring, or more than [`MAX_RINGS`].
    pub fn rings_to_make(&self) -> Result<u32, Failure> {
        let rings = match self.wanted {
            Wanted::Rings(rings) => {
                // Up to a hundred percent more of at most ten million fits.
                return Ok(rings.saturating_add(spare_rings(rings, self.spare_percent)));
            }
            Wanted::WireLength(length) => rings_from(&self.rule, self.rule.full_rings(), length),
            Wanted::WireMass(_) => {
                rings_from(&self.rule, self.rule.full_rings(), self.wire_given().unwrap_or_default())
            }
        };
        let given = || match self.wanted {
            Wanted::WireMass(mass) => format!("{} g", mass.get()),
            _ => self.wire_given().unwrap_or_default().to_string(),
        };
        match rings {
            0 => Err(Failure::value("job.wire", given(), {
                let one = self.rule.coil().wire_used(self.rule.target_turns(1)).mm();
                let mass = self.density.wire_mass(self.winding.wire(), one).get();
                format_args!(
                    "not enough for one guaranteed ring: at least {:.0}mm or {:.3}g",
                    (one.get() + 0.5).ceil(),
                    mass * 1.001 + 0.001
                )
                .to_string()
            })),
            1..=MAX_RINGS => Ok(rings),
            _ => Err(Failure::value(
                "job.wire",
                given(),
                format_args!("enough for more than the {MAX_RINGS} rings that are allowed"),
            )),
        }
    }

    /// The wire that the job starts from, where it starts from wire.
    #[must_use]
    pub fn wire_given(&self) -> Option<Length> {
        match self.wanted {
            Wanted::Rings(_) => None,
            Wanted::WireLength(length) => Some(length),
            Wanted::WireMass(mass) => {
                let length = self.density.wire_length(self.winding.wire(), mass);
                Some(Length::from_mm(length).unwrap_or(Length::from_nm(i64::MAX)))
            }
        }
    }

    /// The name as a counter shows it: one that is too long for it ends in three points.
    #[must_use]
    pub fn short_name(&self) -> heapless::String<NAME_LEN> {
        if let Ok(name) = heapless::String::try_from(self.name.as_str()) {
            return name;
        }
        let room = NAME_LEN - SHORTENED.len();
        let ends = self.name.char_indices().map(|(at, letter)| at + letter.len_utf8());
        let end = ends.take_while(|&end| end <= room).last().unwrap_or(0);
        let kept = self.name.get(..end).unwrap_or_default().trim_end();
        turntally_core::format::cut(format_args!("{kept}{SHORTENED}"))
    }

    /// What to know of a name that is too long for a counter, in a line.
    #[must_use]
    pub fn shortened_words(&self) -> Option<String> {
        let short = self.short_name();
        (short.as_str() != self.name).then(|| {
            format!("the counter shows the name as \"{short}\": it has room for {NAME_LEN} bytes of it")
        })
    }
}

/// What `[wire]` says of the wire itself.
struct Wire {
    metal: Option<&'static Metal>,
    metal_name: String,
    temper: Temper,
    size: WireSize,
    coating: Length,
    metal_density: Density,
}

impl Wire {
    fn check(table: &WireTable) -> Result<Self, Failure> {
        let temper = text("wire.temper", table.temper.as_deref().unwrap_or("soft"))?;
        let size = text("wire.size", &table.size)?;
        let metal = Metal::find(&table.metal);
        let metal_name = label("wire.metal", table.metal.trim(), MAX_METAL)?;
        let coating = table.coating.as_deref().unwrap_or("0mm");
        let coating = coating_of(coating).map_err(|why| Failure::value("wire.coating", coating, why))?;
        let metal_density = density(metal, &table.metal, table.density_g_cm3)?;
        Ok(Self { metal, metal_name, temper, size, coating, metal_density })
    }

    /// What its springback is looked up by.
    fn kind(&self) -> WireKind {
        WireKind::new(&self.metal_name, self.temper, self.size.diameter())
    }

    /// Its diameter with its coating.
    fn over_coating(&self) -> Length {
        self.size.diameter().with_coating(self.coating)
    }
}

/// How far the coil opens, and how far apart its turns lie: given, measured or estimated.
struct Springback {
    ratio: SpringRatio,
    gap: f64,
    measured: bool,
    learning: Option<Learning>,
}

impl Springback {
    fn check(
        file: &File,
        wire: &Wire,
        mandrel: Length,
        spool: Option<&Spool>,
        known: &Lookup,
    ) -> Result<Self, Failure> {
        let (given_ratio, given_gap) = (file.wire.spring_ratio, file.coil.gap);
        let coil = MeasuredCoil {
            wire: wire.kind(),
            coating: wire.coating,
            mandrel,
            spool: spool.map(|spool| spool.name.clone()),
        };
        let learning = known
            .learned(&coil, given_ratio.is_some())?
            .and_then(|all| all.beside(given_ratio.is_some(), given_gap.is_some()));
        let learned = learning.as_ref().map(|learning| learning.learned).unwrap_or_default();
        let ratio = match (given_ratio, learned.spring) {
            (Some(ratio), _) => SpringRatio::measured(ratio)
                .map_err(|error| Failure::new(format_args!("wire.spring_ratio: {error}")))?,
            (None, Some(learned)) => learned,
            // The metal lies a coating further out than the mandrel, and springs as if wound on one so thick.
            (None, None) => {
                let mandrel = mandrel.with_coating(wire.coating);
                estimate(wire.metal, wire.temper, wire.size.diameter(), mandrel)
                    .map_err(|error| Failure::value("wire.temper", wire.temper, error))?
            }
        };
        Ok(Self {
            ratio,
            gap: given_gap.or(learned.gap.map(|gap| gap.best)).unwrap_or(0.0),
            measured: given_ratio.is_some() || learning.as_ref().is_some_and(Learning::spring_measured),
            learning,
        })
    }
}

/// What `[winder]` says.
struct Winder {
    shaft: Shaft,
    gear: Gear,
    pulses_per_rev: u32,
    per_turn: CountsPerTurn,
}

impl Winder {
    fn check(table: &WinderTable) -> Result<Self, Failure> {
        let shaft = match table.encoder_on.as_deref() {
            None | Some("crank") => Shaft::Crank,
            Some("mandrel") => Shaft::Mandrel,
            Some(other) => {
                return Err(Failure::value("winder.encoder_on", other, "only crank or mandrel is allowed"));
            }
        };
        let gear = text("winder.gear", table.gear.as_deref().unwrap_or("1:1"))?;
        let pulses = u32::try_from(table.pulses_per_rev).ok();
        let per_turn = pulses.and_then(|pulses| CountsPerTurn::new(pulses, shaft, gear));
        let (Some(pulses_per_rev), Some(per_turn)) = (pulses, per_turn) else {
            return Err(Failure::value(
                "winder.pulses_per_rev",
                table.pulses_per_rev,
                format_args!("only 1 to {MAX_PULSES_PER_REV} is allowed"),
            ));
        };
        Ok(Self { shaft, gear, pulses_per_rev, per_turn })
    }
}

/// The spool that the wire comes off, which must have this wire on it, without a coating.
fn spool(name: Option<&str>, wire: &Wire, known: &Lookup) -> Result<Option<Spool>, Failure> {
    let Some((field, spool)) = known.spool(name)? else { return Ok(None) };
    fits(field, &spool, &wire.kind())?;
    bare("wire.coating", field, &spool, wire.coating)?;
    Ok(Some(spool))
}

/// The wire on a spool has no coating.
pub(crate) fn bare(option: &str, field: &str, spool: &Spool, coating: Length) -> Result<(), Failure> {
    if coating == Length::ZERO {
        return Ok(());
    }
    let why = format_args!("the wire on a spool is taken as bare: leave out {option} or the spool");
    Err(Failure::value(field, &spool.name, why))
}

/// The name stands for the job inside the program.
fn is_demo(path: &Path) -> bool {
    path.as_os_str() == "demo" && !path.exists()
}

/// The text of a job file, or of the one inside the program.
///
/// # Errors
/// One line where it cannot be read, or is too large.
pub fn text_of(path: &Path) -> Result<String, Failure> {
    if is_demo(path) {
        return Ok(DEMO.to_owned());
    }
    let read = |error| Failure::file("read the job file", path, &error);
    // Bounded while reading: a pipe or a device does not say its length beforehand.
    let file = DiskFile::open(path).map_err(read)?;
    input::note(path, Kind::Job);
    let mut text = String::new();
    file.take(MAX_JOB_BYTES + 1).read_to_string(&mut text).map_err(read)?;
    if text.len() as u64 > MAX_JOB_BYTES {
        return Err(Failure::new(format_args!(
            "{}: too large for a job file: at most {MAX_JOB_BYTES} bytes are allowed",
            path.display()
        )));
    }
    Ok(text)
}

/// Rings to spare, rounded up: `percent` (0..=100) of `rings`.
#[must_use]
pub fn spare_rings(rings: u32, percent: f64) -> u32 {
    // A millionth of a ring is rounding of the percentage, not a ring.
    (f64::from(rings) * percent / 100.0 - 1e-6).ceil().max(0.0) as u32
}

/// The most rings whose coils, each of at most `full` rings, use no more than `wire`.
#[must_use]
pub fn rings_from(rule: &BatchPlan, full: u32, wire: Length) -> u32 {
    let full = full.clamp(1, rule.full_rings());
    let used = |rings: u32| rule.coil().wire_used(rule.target_turns(rings)).nm();
    let of_full = used(full).max(1);
    let coils = wire.nm() / of_full;
    let left = wire.nm() - coils * of_full;
    // The last coil: the most rings that the rest still gives.
    let (mut low, mut high) = (0, full);
    while low < high {
        let middle = low + (high - low).div_ceil(2);
        if used(middle) <= left { low = middle } else { high = middle - 1 }
    }
    let rings = i128::from(coils) * i128::from(full) + i128::from(low);
    u32::try_from(rings).unwrap_or(u32::MAX)
}

/// A text of the maker's own: of bounded length, and with nothing in it that moves a cursor.
pub(crate) fn label(field: &str, value: &str, longest: usize) -> Result<String, Failure> {
    if value.contains(|c: char| c.is_control() || is_hidden(c)) {
        let why = "line breaks, control characters and those that turn text round are not allowed";
        return Err(Failure::value(field, value, why));
    }
    if value.chars().count() > longest {
        return Err(Failure::value(
            field,
            value,
            format_args!("{} characters: at most {longest} are allowed", value.chars().count()),
        ));
    }
    Ok(value.to_owned())
}

/// A length above nothing.
fn thickness(field: &str, value: &str) -> Result<Length, Failure> {
    match text(field, value)? {
        Length::ZERO => Err(Failure::value(field, value, "only above 0 mm is allowed")),
        length => Ok(length),
    }
}

/// Parses a value that is written as text, naming its field in the refusal.
fn text<T>(field: &str, value: &str) -> Result<T, Failure>
where
    T: FromStr<Err: Display>,
{
    value.parse().map_err(|error: T::Err| Failure::value(field, value, error))
}

fn number(
    field: &str,
    value: f64,
    allowed: std::ops::RangeInclusive<f64>,
    unit: &str,
) -> Result<f64, Failure> {
    if allowed.contains(&value) {
        return Ok(value);
    }
    let (from, to) = (allowed.start(), allowed.end());
    Err(Failure::value(field, value, format_args!("only {from} to {to} {unit} is allowed")))
}

fn wanted(job: &JobTable) -> Result<Wanted, Failure> {
    match (job.rings, &job.wire) {
        (Some(_), Some(_)) => Err(Failure::new("job.rings and job.wire: only one of them is allowed")),
        (None, None) => {
            Err(Failure::new("job.rings or job.wire is missing: say how many rings, or how much wire"))
        }
        (Some(rings), None) => match u32::try_from(rings) {
            Ok(rings @ 1..=MAX_RINGS) => Ok(Wanted::Rings(rings)),
            _ => Err(Failure::value("job.rings", rings, format_args!("only 1 to {MAX_RINGS} is allowed"))),
        },
        (None, Some(wire)) => {
            if let Ok(length) = wire.parse::<Length>() {
                return Ok(Wanted::WireLength(length));
            }
            match wire.parse::<Grams>() {
                Ok(mass) => Ok(Wanted::WireMass(mass)),
                Err(error) => {
                    Err(Failure::value("job.wire", wire, format_args!("{error}; or a length such as 12m")))
                }
            }
        }
    }
}

fn density(metal: Option<&Metal>, name: &str, given: Option<f64>) -> Result<Density, Failure> {
    match (given, metal) {
        (Some(given), _) => number("wire.density_g_cm3", given, DENSITIES, "g/cm3").map(Density::new),
        (None, Some(metal)) => Ok(metal.density().value()),
        (None, None) => Err(unknown_metal("wire.metal", name, "wire.density_g_cm3")),
    }
}

/// The refusal of a metal that is not listed and has no density of its own.
#[must_use]
pub fn unknown_metal(field: &str, name: &str, density_field: &str) -> Failure {
    let names = |metals: &[&Metal]| metals.iter().map(|metal| metal.name()).collect::<Vec<_>>().join(", ");
    let like: Vec<&Metal> = Metal::like(name).collect();
    let all: Vec<&Metal> = Metal::ALL.iter().collect();
    let why = match &like[..] {
        [] => format!("not a listed metal: give {density_field}, or name one of {}", names(&all)),
        like => format!("not a listed metal: did you mean {}? Else give {density_field}", names(like)),
    };
    Failure::value(field, name, why)
}

/// Says which file it was that something was wrong with.
fn of_file(path: &Path, job: Result<Job, Failure>) -> Result<Job, Failure> {
    job.map_err(|failure| {
        if is_demo(path) {
            return Failure::new(format_args!("demo job: {failure}"));
        }
        Failure::new(format_args!("{}: {failure}", path.display()))
    })
}

/// The thickest coating that is taken: far past any enamel. Our own limit.
const MAX_COATING: Length = Length::from_um(1_000);

/// The thickness of a coating as it is written.
///
/// # Errors
/// What is wrong with it, in words.
pub fn coating_of(text: &str) -> Result<Length, String> {
    let coating: Length =
        text.parse().map_err(|error: turntally_core::units::QuantityError| error.to_string())?;
    if coating > MAX_COATING {
        return Err(format!("0 mm to {MAX_COATING} is allowed, the thickness on one side"));
    }
    Ok(coating)
}

/// A job's wire must be the one that is on its spool, in its temper where that is known.
pub(crate) fn fits(field: &str, spool: &Spool, wire: &WireKind) -> Result<(), Failure> {
    let known = spool.temper.is_some();
    if spool.metal == wire.metal && spool.wire == wire.size && (!known || spool.temper == Some(wire.temper)) {
        return Ok(());
    }
    let temper = |temper: Option<Temper>| temper.map_or_else(String::new, |temper| format!("{temper} "));
    let why = format_args!(
        "there is {}{} of {} on it, and not {}{} of {}",
        temper(spool.temper),
        spool.metal,
        spool.wire,
        temper(known.then_some(wire.temper)),
        wire.metal,
        wire.size
    );
    Err(Failure::value(field, &spool.name, why))
}

/// The estimated spring ratio of a wire on a mandrel; a metal that is not listed is taken to lie
/// anywhere among those that are.
///
/// # Errors
/// What is wrong with the temper, in words.
pub fn estimate(
    metal: Option<&Metal>,
    temper: Temper,
    wire: Length,
    mandrel: Length,
) -> Result<SpringRatio, String> {
    let flow = flow_of(metal, temper, wire).map_err(|error| error.to_string())?;
    SpringRatio::estimate(flow, wire, mandrel).map_err(|error| error.to_string())
}

/// A price as it was given in two fields of these names: for so much wire.
///
/// # Errors
/// One line for a price past all bounds, a currency of too many letters, or one without a price.
pub fn price(
    fields: [&str; 2],
    unit: &str,
    per_kg: Option<f64>,
    currency: Option<String>,
) -> Result<Option<Price>, Failure> {
    match (per_kg, currency) {
        (None, None) => Ok(None),
        (None, Some(currency)) => {
            let why = format_args!("a currency alone is no price: give {} too", fields[0]);
            Err(Failure::value(fields[1], currency, why))
        }
        (Some(per_kg), currency) => {
            let per_kg = number(fields[0], per_kg, 0.0..=1e9, unit)?;
            let currency = label(fields[1], currency.unwrap_or_default().trim(), MAX_CURRENCY)?;
            Ok(Some(Price { per_kg, currency }))
        }
    }
}

/// The field of a job file that a winding was refused for, with the value where the refusal itself
/// does not name it.
fn winding_field(error: &turntally_core::coil::WindingError, mandrel: Length) -> String {
    use turntally_core::coil::WindingError as E;
    let field = match error {
        E::TooLarge => return format!("mandrel.diameter '{mandrel}'"),
        E::MandrelTooThin { .. } => "mandrel.diameter",
        E::Gap { .. } => "coil.gap",
        E::KerfTooWide { .. } => "cutter.kerf",
        _ => "wire.size",
    };
    field.to_owned()
}
