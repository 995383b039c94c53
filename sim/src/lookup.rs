//! What the records say of a job's wire: how its coils open, as measured, and what is left on its spool.
//!
//! Reading makes no file: where there is none, nothing is known. A program that was built without the records
//! (feature `link`) knows nothing either, and says so only when it is asked for them.

use std::path::PathBuf;

use clap::Args as ClapArgs;
use turntally_core::bounds::Bounds;
use turntally_core::measured::{Learned, Measurement, learn};
use turntally_core::metal::{Metal, Temper};
use turntally_core::spring::SpringRatio;
use turntally_core::units::{Density, Grams, Length};

use crate::failure::Failure;
use crate::words::{count, sig};

/// Which records a command looks into.
#[derive(Debug, Clone, Default, ClapArgs)]
pub struct LookupArgs {
    /// The file of the log, with what was measured and the spools [default: the one that link, measured
    /// and spool take]
    #[arg(long, value_name = "FILE")]
    pub log: Option<PathBuf>,
    /// Leave aside what was measured on rings and coils (turntally measured)
    #[arg(long)]
    pub estimate: bool,
}

/// A wire as records know it.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
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
    /// Wire on it, as a counter is told: no less than nothing.
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

    /// `12.3 m, 124 g`: so much of its wire.
    #[must_use]
    pub fn words(&self, length: Length) -> String {
        let signed = |value: f64, digits| {
            let text = sig(value.abs(), digits);
            if value < 0.0 { format!("-{text}") } else { text }
        };
        format!("{} m, {} g", signed(length.mm().get() / 1e3, 4), signed(self.mass(length).get(), 4))
    }
}

/// What was measured for a wire on a mandrel, beside what is supposed without it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Learning {
    /// What counts: without a spring ratio or a gap where those were given otherwise.
    pub learned: Learned,
    /// The estimate of the spring ratio, where there is one.
    pub estimate: Option<SpringRatio>,
}

impl Learning {
    /// What is left to go by where a spring ratio or a gap is given otherwise; nothing if neither is left.
    #[must_use]
    pub fn beside(mut self, spring_given: bool, gap_given: bool) -> Option<Self> {
        if spring_given {
            self.learned.spring = None;
        }
        if gap_given {
            self.learned.gap = None;
        }
        (self.learned.spring.is_some() || self.learned.gap.is_some()).then_some(self)
    }

    /// What the spring ratio comes from: `3 rings`, `2 counted coils`.
    fn springs_from(&self) -> String {
        match (self.learned.insides, self.learned.counted) {
            (0, coils) => format!("{} whose rings were counted", count(u64::from(coils), "coil")),
            (rings, _) => count(u64::from(rings), "ring"),
        }
    }

    /// `1.021, 1.018 to 1.025, as measured on 3 rings; the estimate was 1.013, 1.008 to 1.024`.
    #[must_use]
    pub fn spring_words(&self) -> Option<String> {
        let spring = self.learned.spring?;
        let beside = self.estimate.map_or_else(
            || "there is no estimate".to_owned(),
            |estimate| format!("the estimate was {}", range_words(estimate.bounds())),
        );
        let apart = if self.learned.springs_apart.is_some() { CONTRADICTION } else { "" };
        Some(format!(
            "{}, as measured on {}; {beside}{apart}",
            range_words(spring.bounds()),
            self.springs_from()
        ))
    }

    /// `0.0167, 0.0153 to 0.0181, as measured on 1 coil`.
    #[must_use]
    pub fn gap_words(&self) -> Option<String> {
        let gap = self.learned.gap?;
        let coils = count(u64::from(self.learned.lengths), "coil");
        let apart = if self.learned.gaps_apart.is_some() { CONTRADICTION } else { "" };
        Some(format!("{}, as measured on {coils}{apart}", range_words(gap)))
    }
}

const CONTRADICTION: &str = "; the measurements contradict each other: turntally measured list shows them";

/// `1.0130, 1.0080 to 1.0240`: probably, at least and at most.
fn range_words(bounds: Bounds<f64>) -> String {
    format!("{:.4}, {:.4} to {:.4}", bounds.best, bounds.low, bounds.high)
}

/// A measurement as it is kept.
#[derive(Debug, Clone, PartialEq)]
pub struct Measured {
    /// Its number, by which it is dropped; never given twice.
    pub number: i64,
    /// When it was noted, in seconds since 1970-01-01 UTC.
    pub at_unix_s: i64,
    /// The wire.
    pub wire: WireKind,
    /// The mandrel's diameter.
    pub mandrel: Length,
    /// What was measured.
    pub measurement: Measurement,
}

/// Puts the measurements of one wire on one mandrel together.
///
/// # Errors
/// One line where another program has written what cannot be.
pub fn together(of_one: &[Measured], estimate: Option<SpringRatio>) -> Result<Learning, Failure> {
    let measurements: Vec<Measurement> = of_one.iter().map(|one| one.measurement).collect();
    let (wire, mandrel) = of_one.first().map_or_else(Default::default, |one| (one.wire.size, one.mandrel));
    let learned = learn(wire, mandrel, estimate.unwrap_or(SpringRatio::NONE), &measurements);
    let learned = learned.map_err(|(place, error)| {
        let number = of_one.get(place).map_or(0, |one| one.number);
        Failure::value("measurement", number, format_args!("{error}; turntally measured drop {number}"))
    })?;
    Ok(Learning { learned, estimate })
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
    /// Every measurement, those of one wire on one mandrel together.
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

    /// What was measured for a wire on a mandrel, where `estimate` is supposed of its spring ratio.
    ///
    /// # Errors
    /// One line that names the file.
    pub fn learned(
        &self,
        wire: &WireKind,
        mandrel: Length,
        estimate: Option<SpringRatio>,
    ) -> Result<Option<Learning>, Failure> {
        let all = self.all_learned(&wire.metal, wire.temper, |_, _| estimate)?;
        Ok(all.into_iter().find(|(size, on, _)| (*size, *on) == (wire.size, mandrel)).map(|(_, _, l)| l))
    }

    /// What was measured for wires of a metal: wire, mandrel, and what is known of the two.
    ///
    /// # Errors
    /// One line that names the file.
    pub fn all_learned(
        &self,
        metal: &str,
        temper: Temper,
        estimate: impl Fn(Length, Length) -> Option<SpringRatio>,
    ) -> Result<Vec<(Length, Length, Learning)>, Failure> {
        let Source::Records(records) = &self.source else { return Ok(Vec::new()) };
        if self.estimate {
            return Ok(Vec::new());
        }
        let metal = metal_key(metal);
        let all = records.measured()?;
        let all = all.chunk_by(|a, b| (&a.wire, a.mandrel) == (&b.wire, b.mandrel));
        let of_it = all.filter(|one| one[0].wire.metal == metal && one[0].wire.temper == temper);
        of_it
            .map(|one| {
                let (wire, mandrel) = (one[0].wire.size, one[0].mandrel);
                Ok((wire, mandrel, together(one, estimate(wire, mandrel))?))
            })
            .collect()
    }
}
