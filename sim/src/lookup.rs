//! What the records say of a job's wire: how its coils open, as measured, and what is left on its spool.
//!
//! Reading makes no file: where there is none, nothing is known. A program that was built without the records
//! (feature `link`) knows nothing either, and says so only when it is asked for them.

use std::borrow::Cow;
use std::path::PathBuf;

use clap::Args as ClapArgs;
use turntally_core::measured::Measurement;
use turntally_core::metal::{Metal, Temper};
use turntally_core::units::{Density, Grams, Length};

use crate::failure::Failure;
use crate::words::mass::Scales;
use crate::words::number::metres;

mod learning;
mod next;

pub use learning::{Carried, LearnedMetal, LearnedWire, Learning, ring_flow, together};
pub use next::Next;

/// Which records a command looks into.
#[derive(Debug, Clone, Default, ClapArgs)]
pub struct LookupArgs {
    /// The log file (SQLite), which also holds measurements and spools [default: the one that link,
    /// measured and spool use]
    #[arg(long, value_name = "FILE")]
    pub log: Option<PathBuf>,
    /// Ignore the recorded measurements of rings and coils (turntally measured)
    #[arg(long)]
    pub estimate: bool,
}

/// A wire as records know it.
#[derive(Debug, Clone, Default, PartialEq, Eq, PartialOrd, Ord)]
pub struct WireKind {
    /// The listed name of its metal, or the one it was given, in lower case.
    pub metal: String,
    /// Its temper.
    pub temper: Temper,
    /// Its diameter.
    pub size: Length,
}

impl WireKind {
    /// A wire by the name of its metal, whichever of its names that is.
    #[must_use]
    pub fn new(metal: &str, temper: Temper, size: Length) -> Self {
        Self { metal: metal_key(metal), temper, size }
    }
}

/// The one name that a metal has in the records.
#[must_use]
pub fn metal_key(name: &str) -> String {
    Metal::find(name).map_or_else(|| name.trim().to_lowercase(), |metal| metal.name().to_owned())
}

/// A price of wire.
#[derive(Debug, Clone, PartialEq)]
pub struct Price {
    /// For a kilogram.
    pub per_kg: f64,
    /// In this currency, as the maker wrote it.
    pub currency: String,
}

/// A spool of wire.
#[derive(Debug, Clone, PartialEq)]
pub struct Spool {
    /// Its name.
    pub name: String,
    /// Its metal, as records name it.
    pub metal: String,
    /// Its temper, where that is known.
    pub temper: Option<Temper>,
    /// The wire's diameter.
    pub wire: Length,
    /// The wire's density.
    pub density: Density,
    /// The mass of the empty spool, if it is known.
    pub tare: Option<Grams>,
    /// What the wire costs.
    pub price: Option<Price>,
    /// Wire left on it. Below zero where coils took more than was thought to be there.
    pub left: Length,
}

impl Spool {
    /// Wire on it, as a counter is sent it: at least 0.
    #[must_use]
    pub fn on_it(&self) -> Length {
        self.left.max(Length::ZERO)
    }

    /// The mass of the wire left.
    #[must_use]
    pub fn left_mass(&self) -> Grams {
        self.mass(self.left)
    }

    /// The mass of so much of its wire.
    #[must_use]
    pub fn mass(&self, length: Length) -> Grams {
        self.density.wire_mass(self.wire, length.mm())
    }

    /// The units that its metal is weighed in.
    pub(crate) fn scales(&self) -> Scales {
        Scales::of(Metal::find(&self.metal))
    }

    /// `12.30 m, 123.7 g (4.363 oz)`: so much of its wire.
    #[must_use]
    pub fn words(&self, length: Length) -> String {
        format!("{}, {}", metres(length.mm()), self.scales().mass(self.mass(length).get(), 4))
    }
}

/// The coil that something was measured on, or the rings were cut from.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct MeasuredCoil {
    /// Its wire: of coated wire the metal.
    pub wire: WireKind,
    /// The thickness of its coating; nothing on bare wire.
    pub coating: Length,
    /// The mandrel's diameter.
    pub mandrel: Length,
    /// The spool that the wire came off, by its name, whether there still is one or not.
    pub spool: Option<String>,
}

impl MeasuredCoil {
    /// The diameter of its wire with the coating.
    #[must_use]
    pub const fn over_coating(&self) -> Length {
        self.wire.size.with_coating(self.coating)
    }

    /// Its wires on this mandrel are wound alike.
    fn on_same_mandrel(&self, other: &Self) -> bool {
        (self.mandrel, self.coating) == (other.mandrel, other.coating)
    }
}

/// A measurement as it is kept.
#[derive(Debug, Clone, PartialEq)]
pub struct Measured {
    /// Its number, by which it is dropped; never given twice.
    pub number: i64,
    /// When it was noted, in seconds since 1970-01-01 UTC.
    pub at_unix_s: i64,
    /// The coil.
    pub coil: MeasuredCoil,
    /// What was measured.
    pub measurement: Measurement,
}

/// The failure where there is no spool of that name.
#[must_use]
pub fn no_spool(field: &str, name: &str) -> Failure {
    Failure::value(
        field,
        name,
        "no such spool: turntally spool list shows them, turntally spool add makes one",
    )
}

/// Records of wire: of measured rings and coils, and of spools.
pub trait WireRecords: std::fmt::Debug {
    /// Every measurement, those of one wire together and in the order of their mandrels, those of one coating on one
    /// mandrel together.
    ///
    /// # Errors
    /// One line that names the file.
    fn measured(&self) -> Result<Vec<Measured>, Failure>;

    /// The spool of that name.
    ///
    /// # Errors
    /// One line that names the file.
    fn spool(&self, name: &str) -> Result<Option<Spool>, Failure>;
}

/// What is looked up for a job.
#[derive(Debug)]
pub struct Lookup {
    source: Source,
    /// What was measured is left aside.
    estimate: bool,
    /// The spool that an option names.
    spool: Option<String>,
}

#[derive(Debug)]
enum Source {
    /// A job is taken as it is written, and its spool is not asked for.
    Nothing,
    /// There is no file of records yet.
    NoFile,
    Records(Box<dyn WireRecords>),
    /// This program cannot read records, and says so where they are asked for.
    Missing(&'static str),
}

impl Lookup {
    const fn of(source: Source, estimate: bool) -> Self {
        Self { source, estimate, spool: None }
    }

    /// Nothing at all.
    #[must_use]
    pub const fn nothing() -> Self {
        Self::of(Source::Nothing, true)
    }

    /// In these records, or in a file that is not there yet; with `estimate` what was measured is left aside.
    #[must_use]
    pub fn in_records(records: Option<impl WireRecords + 'static>, estimate: bool) -> Self {
        Self::of(records.map_or(Source::NoFile, |records| Source::Records(Box::new(records))), estimate)
    }

    /// In a program that was built without records; `why` says so where they are asked for.
    #[must_use]
    pub const fn without_records(why: &'static str) -> Self {
        Self::of(Source::Missing(why), true)
    }

    /// With the spool that an option names instead of the job's.
    #[must_use]
    pub fn with_spool(mut self, spool: Option<&str>) -> Self {
        self.spool = spool.map(str::to_owned);
        self
    }

    /// The spool that counts, with the field that named it: an option's before the job's own.
    ///
    /// # Errors
    /// One line where there is no such spool, or this program has no records.
    pub fn spool(&self, of_job: Option<&str>) -> Result<Option<(&'static str, Spool)>, Failure> {
        let (field, name) = match (&self.spool, of_job) {
            (Some(name), _) => ("--spool", name.as_str()),
            (None, Some(name)) => ("wire.spool", name),
            (None, None) => return Ok(None),
        };
        let found = match &self.source {
            Source::Nothing => return Ok(None),
            Source::NoFile => None,
            Source::Records(records) => records.spool(name)?,
            Source::Missing(why) => return Err(Failure::value(field, name, why)),
        };
        found.map(|spool| Some((field, spool))).ok_or_else(|| no_spool(field, name))
    }

    /// What measured rings and coils say of the wire on this spool, or of all such wire, wound on this mandrel with this
    /// coating; where its spring ratio is given otherwise, only what was measured on this very mandrel.
    ///
    /// # Errors
    /// One line that names the file, or says what was measured that cannot be.
    pub fn learned(&self, coil: &MeasuredCoil, spring_given: bool) -> Result<Option<Learning>, Failure> {
        let mut all = self.wires(|_| coil.spool.as_deref(), |one| *one == coil.wire)?;
        let Some(known) = all.pop() else { return Ok(None) };
        known
            .on(coil.mandrel, coil.coating, spring_given)
            .map_err(|why| Failure::value("mandrel.diameter", coil.mandrel, why))
    }

    /// What measured rings and coils say of every wire of a metal: of the wire on this spool, what counts for that, of
    /// all others, what was measured of any such wire.
    ///
    /// # Errors
    /// As [`Self::learned`].
    pub fn all_learned(
        &self,
        metal: &str,
        temper: Temper,
        spool: Option<&Spool>,
    ) -> Result<LearnedMetal, Failure> {
        let metal = metal_key(metal);
        let of_metal = |wire: &WireKind| wire.metal == metal && wire.temper == temper;
        let on_spool = |wire: &WireKind| spool.filter(|on| on.metal == wire.metal && on.wire == wire.size);
        let name = |wire: &WireKind| on_spool(wire).map(|spool| spool.name.as_str());
        self.wires(name, of_metal).map(LearnedMetal::new)
    }

    /// The wires that are wanted, each by what counts for the spool that it is on.
    fn wires<'a>(
        &self,
        spool: impl Fn(&WireKind) -> Option<&'a str>,
        wanted: impl Fn(&WireKind) -> bool,
    ) -> Result<Vec<LearnedWire>, Failure> {
        let Source::Records(records) = &self.source else { return Ok(Vec::new()) };
        if self.estimate {
            return Ok(Vec::new());
        }
        let all = records.measured()?;
        all.chunk_by(|a, b| a.coil.wire == b.coil.wire)
            .filter(|one| wanted(&one[0].coil.wire))
            .map(|of_wire| of_spool(of_wire, spool(&of_wire[0].coil.wire)))
            .filter(|one| !one.is_empty())
            .map(|one| LearnedWire::new(&one))
            .collect()
    }
}

/// What counts of one wire's measurements for the wire on a spool: those of that spool; if there are none, those that are
/// of no spool. For wire of which no spool is named, all of them.
fn of_spool<'a>(of_wire: &'a [Measured], spool: Option<&str>) -> Cow<'a, [Measured]> {
    let Some(spool) = spool else { return Cow::Borrowed(of_wire) };
    let own = of_wire.iter().any(|one| one.coil.spool.as_deref() == Some(spool));
    let from = own.then_some(spool);
    Cow::Owned(of_wire.iter().filter(|one| one.coil.spool.as_deref() == from).cloned().collect())
}
