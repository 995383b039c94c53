//! What the user sets at the counter: a batch of their own, and how the counter is built.
//!
//! Every value has its range: what is turned to with the knob, read back from
//! flash or sent by a computer goes through the same [`Settings`].

use core::fmt;

use heapless::String;
#[cfg(feature = "serde")]
use serde::{Deserialize, Serialize};

use crate::coil::{Winding, WindingError};
use crate::counter::{CountsPerTurn, Direction, Gear, MAX_PULSES_PER_REV, Shaft};
use crate::cue::MAX_LEAD;
use crate::format;
use crate::gauge::WireSize;
use crate::job::{Job, Lead, Target};
use crate::metal::{Metal, Temper, TemperError};
use crate::plan::{BatchPlan, PlanError};
use crate::spring::{SpringError, SpringRatio};
use crate::time::Duration;
use crate::units::{Length, Turns};

#[cfg(feature = "serde")]
mod stored;

#[cfg(feature = "serde")]
pub use stored::BadSettings;
#[cfg(feature = "serde")]
use stored::Stored;

/// What is allowed of a number, both ends included.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Limits {
    /// The least.
    pub min: i32,
    /// The most.
    pub max: i32,
}

impl Limits {
    const fn new(min: i32, max: i32) -> Self {
        Self { min, max }
    }

    /// The number, or the end that it is past.
    #[must_use]
    pub fn hold(self, number: i64) -> i64 {
        number.clamp(self.min.into(), self.max.into())
    }

    /// Whether the number is within both ends.
    #[must_use]
    pub const fn contains(self, number: i64) -> bool {
        number >= self.min as i64 && number <= self.max as i64
    }
}

/// Nanometres of wire: from the finest that is wound by hand to what a hand can bend.
pub const WIRE: Limits = Limits::new(100_000, 6_000_000);
/// Nanometres of mandrel. Common practice is 2.5 to 12 mm, no source; the range is wider.
pub const MANDREL: Limits = Limits::new(500_000, 50_000_000);
/// Nanometres of kerf. None for cutting with shears.
pub const KERF: Limits = Limits::new(0, 3_000_000);
/// Nanometres of the longest coil that the cradle takes. Common practice is 76 mm, no source.
pub const CRADLE: Limits = Limits::new(10_000_000, 500_000_000);
/// Quarter turns of bent lead-in.
pub const TAIL: Limits = Limits::new(0, 20);
/// Wire on the spool, in [`SPOOL_UNIT`].
pub const SPOOL: Limits = Limits::new(0, 100_000_000);
/// In which it is written down: a tenth of a millimetre, of which whole ones make a foot.
pub const SPOOL_UNIT: Length = Length::from_um(100);
/// Rings of a batch.
pub const RINGS: Limits = Limits::new(1, 100_000);
/// Coils of a batch.
pub const COILS: Limits = Limits::new(1, 1_000);
/// Tenths of a turn of one coil.
pub const TENTHS: Limits = Limits::new(10, 10_000);
/// Pulses of the encoder in one revolution.
pub const PULSES: Limits = Limits::new(1, MAX_PULSES_PER_REV as i32);
/// Teeth of a wheel.
pub const TEETH: Limits = Limits::new(1, 500);
/// Milliseconds of reaction time.
pub const LEAD: Limits = Limits::new(0, (MAX_LEAD.as_micros() / 1_000) as i32);

/// What a batch is to give.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Make {
    /// So many rings, in as many coils as they take.
    Rings(u32),
    /// Coils of so many tenths of a turn.
    Turns {
        /// Of each coil, in tenths.
        tenths: u32,
        /// How many coils.
        coils: u32,
    },
    /// Coils of such a length on the mandrel.
    Length {
        /// Of each coil.
        length: Length,
        /// How many coils.
        coils: u32,
    },
}

/// Which lengths the counter shows and steps in.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Units {
    /// Millimetres.
    #[default]
    Millimetres,
    /// Inches.
    Inches,
}

impl Units {
    /// The last digit of a length as it is shown, in nanometres, and how many stand behind the point: hundredths of a
    /// millimetre, ten-thousandths of an inch.
    const fn digits(self) -> (i64, u32) {
        match self {
            Self::Millimetres => (10_000, 2),
            Self::Inches => (2_540, 4),
        }
    }

    /// As they are written behind a number.
    #[must_use]
    pub const fn symbol(self) -> &'static str {
        match self {
            Self::Millimetres => "mm",
            Self::Inches => "in",
        }
    }

    /// The step in which a calliper is read: 0.01 mm or 0.0005 in.
    #[must_use]
    pub const fn calliper_step(self) -> Length {
        Length::from_nm(match self {
            Self::Millimetres => 10_000,
            Self::Inches => 12_700,
        })
    }

    /// The step in which wire on a spool is shown: a tenth of a metre or of a foot.
    #[must_use]
    pub const fn spool_step(self) -> Length {
        Length::from_nm(match self {
            Self::Millimetres => 100_000_000,
            Self::Inches => 30_480_000,
        })
    }
}

/// How loud the sounder is. The order is that in which it is stored.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Loudness {
    /// For a quiet room.
    Soft,
    /// For a bench.
    #[default]
    Medium,
    /// For a workshop: all that the sounder gives.
    Full,
    /// Silent: the lamps and the screen are the cue.
    Off,
}

impl Loudness {
    /// From silent to full.
    pub const ALL: [Self; 4] = [Self::Off, Self::Soft, Self::Medium, Self::Full];

    /// Its name on the screen and on the command line.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Off => "off",
            Self::Soft => "soft",
            Self::Medium => "medium",
            Self::Full => "full",
        }
    }

    /// So many steps louder, as far as it goes.
    #[must_use]
    pub fn louder(self, steps: i8) -> Self {
        let at = Self::ALL.iter().position(|&level| level == self).unwrap_or(0);
        let to = at.saturating_add_signed(steps.into()).min(Self::ALL.len() - 1);
        Self::ALL.get(to).copied().unwrap_or(self)
    }
}

/// How many counts of the knob's encoder lie between two of its detents.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum KnobClick {
    /// A whole cycle of its channels.
    #[default]
    FourCounts,
    /// Half a cycle.
    TwoCounts,
}

impl KnobClick {
    /// Both, in the order in which they are stored and chosen from.
    pub const ALL: [Self; 2] = [Self::FourCounts, Self::TwoCounts];

    /// The counts.
    #[must_use]
    pub const fn counts(self) -> u8 {
        match self {
            Self::FourCounts => 4,
            Self::TwoCounts => 2,
        }
    }

    /// The kind of a knob that a single click turned by so many counts. A contact that changes just at the detents may
    /// add or take away one: with four counts a click then has 3 to 5, with two 1 to 3. Three tell nothing.
    #[must_use]
    pub const fn learned_from(counts: u8) -> Option<Self> {
        match counts {
            1 | 2 => Some(Self::TwoCounts),
            4 | 5 => Some(Self::FourCounts),
            _ => None,
        }
    }
}

/// A batch of the user's own.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct OwnBatch {
    /// The metal.
    pub metal: &'static Metal,
    /// Its temper: one that the metal is listed in.
    pub temper: Temper,
    /// The wire: [`WIRE`].
    pub wire: WireSize,
    /// The mandrel's diameter: [`MANDREL`].
    pub mandrel: Length,
    /// What it is to give: [`RINGS`], [`TENTHS`], [`CRADLE`], [`COILS`].
    pub make: Make,
    /// What the saw takes away: [`KERF`].
    pub kerf: Length,
    /// The longest coil that the cradle takes: [`CRADLE`].
    pub cradle: Length,
    /// The lead-in that is cut off, in quarter turns: [`TAIL`].
    pub tail_quarters: u8,
    /// Wire on the spool when it was set, if that is known: [`SPOOL`].
    pub spool: Option<Length>,
}

/// How the counter is built, and its ways.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Build {
    /// Pulses of the encoder in one revolution: [`PULSES`].
    pub pulses: u32,
    /// Where the encoder sits.
    pub shaft: Shaft,
    /// Between crank and mandrel.
    pub gear: Gear,
    /// Which way of the encoder winds on.
    pub direction: Direction,
    /// Reaction time of the hand: [`LEAD`]; none where it is learned.
    pub lead: Option<Duration>,
    /// How loud.
    pub loudness: Loudness,
    /// Which lengths.
    pub units: Units,
    /// What a click of the knob is.
    pub knob: KnobClick,
}

impl Build {
    /// What encoder and gear make of a turn; none where they make no count.
    #[must_use]
    pub fn per_turn(&self) -> Option<CountsPerTurn> {
        CountsPerTurn::new(self.pulses, self.shaft, self.gear)
    }
}

/// Everything that is set at the counter.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(Serialize, Deserialize))]
#[cfg_attr(feature = "serde", serde(try_from = "Stored", into = "Stored"))]
pub struct Settings {
    /// The batch.
    pub batch: OwnBatch,
    /// The counter.
    pub build: Build,
}

/// Why a batch cannot be made as it is set.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum CannotMake {
    /// The metal is not listed in this temper.
    Temper(TemperError),
    /// The wire springs off.
    Spring(SpringError),
    /// No ring comes of it.
    Winding(WindingError),
    /// No coil fits the cradle.
    Cradle(PlanError),
    /// The coil that is wanted is longer than the cradle.
    CoilTooLong {
        /// The longest that fits, in turns.
        max: Turns,
    },
    /// The coil that is wanted gives not one ring for certain.
    NoRing,
    /// The encoder's pulses and the gear make no count.
    Encoder,
}

impl fmt::Display for CannotMake {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Temper(error) => error.fmt(f),
            Self::Spring(error) => error.fmt(f),
            Self::Winding(error) => error.fmt(f),
            Self::Cradle(error) => error.fmt(f),
            Self::CoilTooLong { max } => {
                write!(f, "a coil of so many turns is longer than the cradle: at most {:.2}", max.as_f64())
            }
            Self::NoRing => f.write_str("a coil of so few turns gives no guaranteed ring"),
            Self::Encoder => f.write_str("an encoder of so many pulses and this gear make no count"),
        }
    }
}

impl core::error::Error for CannotMake {}

impl Default for Settings {
    /// 666 rings of 1.2 mm soft copper on a mandrel of 4.5 mm, for an encoder of 400 pulses on the crank of
    /// a winder without a gear.
    fn default() -> Self {
        Self {
            batch: OwnBatch {
                metal: Metal::FIRST,
                temper: Temper::Soft,
                wire: WireSize::Diameter(Length::from_um(1_200)),
                mandrel: Length::from_um(4_500),
                // 640 and 4 % to spare.
                make: Make::Rings(666),
                kerf: Length::from_um(400),
                cradle: Length::from_um(70_000),
                tail_quarters: 2,
                spool: None,
            },
            build: Build {
                pulses: 400,
                shaft: Shaft::Crank,
                gear: Gear::DIRECT,
                direction: Direction::Forward,
                lead: None,
                loudness: Loudness::Medium,
                units: Units::Millimetres,
                knob: KnobClick::FourCounts,
            },
        }
    }
}

impl Settings {
    /// The job that the batch is, on this counter.
    ///
    /// # Errors
    /// [`CannotMake`] where no ring comes of it.
    pub fn job(&self) -> Result<Job, CannotMake> {
        let Self { batch, build } = self;
        let wire = batch.wire.diameter();
        let flow = batch.metal.flow(batch.temper, wire).map_err(CannotMake::Temper)?;
        let spring = SpringRatio::estimate(flow, wire, batch.mandrel).map_err(CannotMake::Spring)?;
        let winding =
            Winding::new(wire, batch.mandrel, 0.0, batch.kerf, spring).map_err(CannotMake::Winding)?;
        let tail = Turns::from_nano(i64::from(batch.tail_quarters) * Turns::ONE / 4);
        let per_turn = build.per_turn().ok_or(CannotMake::Encoder)?;
        let rule = BatchPlan::of(&winding, tail, per_turn, batch.cradle).map_err(CannotMake::Cradle)?;
        let job = Job::new(batch.name(build.units), batch.target(&rule)?, rule);
        Ok(Job {
            direction: build.direction,
            lead: build.lead.map_or(job.lead, Lead::Set),
            spool: batch.spool,
            ..job
        })
    }
}

impl OwnBatch {
    fn target(&self, rule: &BatchPlan) -> Result<Target, CannotMake> {
        let (turns, coils) = match self.make {
            Make::Rings(rings) => return Ok(Target::Rings(rings)),
            Make::Turns { tenths, coils } => (Turns::from_nano(i64::from(tenths) * (Turns::ONE / 10)), coils),
            Make::Length { length, coils } => (rule.coil().turns_within(length), coils),
        };
        let counts = rule.per_turn().counts_for(turns).unwrap_or(i64::MAX);
        if counts > rule.limit_counts() {
            let max = rule.per_turn().turns(rule.limit_counts()).unwrap_or_default();
            return Err(CannotMake::CoilTooLong { max });
        }
        if rule.guaranteed_rings(counts, 0) == 0 {
            return Err(CannotMake::NoRing);
        }
        Ok(Target::Coils { turns, coils })
    }

    /// What it is called: `1.2 mm on 4.5 mm copper`, as much of it as a name holds.
    #[must_use]
    pub fn name(&self, units: Units) -> String<{ crate::job::NAME_LEN }> {
        let (wire, mandrel) = (Size(self.wire, units), Long(self.mandrel, units));
        format::cut(format_args!("{} on {} {}", wire, mandrel, self.metal.name()))
    }
}

/// A length as it is shown: in millimetres to the hundredth, in inches to the ten-thousandth.
pub(crate) struct Long(pub Length, pub Units);

impl fmt::Display for Long {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let (unit, mut digits) = self.1.digits();
        let parts = (self.0.nm().max(0) + unit / 2) / unit;
        let scale = 10_i64.pow(digits);
        let (whole, mut part) = (parts / scale, parts % scale);
        write!(f, "{whole}")?;
        if part > 0 {
            while part % 10 == 0 {
                part /= 10;
                digits -= 1;
            }
            f.write_str(".")?;
            while digits > 0 {
                digits -= 1;
                write!(f, "{}", part / 10_i64.pow(digits) % 10)?;
            }
        }
        f.write_str(" ")?;
        f.write_str(self.1.symbol())
    }
}

/// A length as a calliper shows it, without its unit: to the hundredth of a millimetre or the ten-thousandth of an inch,
/// noughts at the end included.
#[derive(Debug)]
pub struct Calliper(pub Length, pub Units);

impl fmt::Display for Calliper {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let (unit, digits) = self.1.digits();
        let mut scale = 10_i64.pow(digits);
        let parts = (self.0.nm().max(0) + unit / 2) / unit;
        write!(f, "{}", parts / scale)?;
        f.write_str(".")?;
        while scale > 1 {
            scale /= 10;
            write!(f, "{}", parts / scale % 10)?;
        }
        Ok(())
    }
}

/// Wire on a spool as it is shown: in metres or feet to the tenth, rounded down.
#[derive(Debug)]
pub struct OnSpool(pub Length, pub Units);

impl fmt::Display for OnSpool {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let name = match self.1 {
            Units::Millimetres => "m",
            Units::Inches => "ft",
        };
        let tenths = self.0.nm().max(0) / self.1.spool_step().nm();
        f.write_fmt(format_args!("{}.{} {}", tenths / 10, tenths % 10, name))
    }
}

/// A wire's size as it is shown: by its gauge, or as a length.
pub(crate) struct Size(pub WireSize, pub Units);

impl fmt::Display for Size {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.0 {
            WireSize::Gauge(gauge) => gauge.fmt(f),
            WireSize::Diameter(diameter) => Long(diameter, self.1).fmt(f),
        }
    }
}
