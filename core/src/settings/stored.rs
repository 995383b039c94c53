//! Settings as they are written down: in flash, and on the link.

use core::fmt;

use heapless::{String, Vec};
use serde::{Deserialize, Serialize};

use super::{
    Build, COILS, CRADLE, KERF, KnobClick, LEAD, Limits, Loudness, MANDREL, Make, OwnBatch, PULSES, RINGS,
    SPOOL, SPOOL_UNIT, Settings, TAIL, TEETH, TENTHS, Units, WIRE,
};
use crate::counter::{Direction, Gear, Shaft};
use crate::gauge::{Gauge, GaugeSystem, WireSize};
use crate::metal::{self, Metal, Temper};
use crate::time::Duration;
use crate::units::Length;

/// How settings are written down: the metal's name, and numbers in an order that is their form: new ones come
/// last. All are checked when they are read.
#[derive(Serialize, Deserialize)]
pub(super) struct Stored {
    metal: String<{ metal::NAME_LEN }>,
    numbers: Vec<i64, NUMBERS>,
}

/// Numbers that are written down, and some that a newer firmware may add.
const NUMBERS: usize = 24;

const TEMPERS: [Temper; 4] = Temper::ALL;
const SHAFTS: [Shaft; 2] = [Shaft::Crank, Shaft::Mandrel];
const DIRECTIONS: [Direction; 2] = [Direction::Forward, Direction::Reverse];
const LOUDNESSES: [Loudness; 4] = [Loudness::Soft, Loudness::Medium, Loudness::Full, Loudness::Off];
const UNITS: [Units; 2] = [Units::Millimetres, Units::Inches];
/// Kinds of wire sizes.
const SIZES: Limits = Limits::new(0, 3);
/// Kinds of what is made.
const KINDS: Limits = Limits::new(0, 2);
/// What stands for a reaction time that is learned.
const LEARNED: i32 = -1;

impl From<Settings> for Stored {
    fn from(Settings { batch, build }: Settings) -> Self {
        let (sized_by, size) = match batch.wire {
            WireSize::Gauge(gauge) => {
                let system = match gauge.system() {
                    GaugeSystem::Awg => 0,
                    GaugeSystem::Swg => 1,
                    GaugeSystem::Steel => 3,
                };
                (system, gauge.number().into())
            }
            WireSize::Diameter(diameter) => (2, diameter.nm()),
        };
        let (made, each, coils) = match batch.make {
            Make::Rings(rings) => (0, rings.into(), 1),
            Make::Turns { tenths, coils } => (1, tenths.into(), coils),
            Make::Length { length, coils } => (2, length.nm(), coils),
        };
        let numbers = [
            batch.temper as i64,
            sized_by,
            size,
            batch.mandrel.nm(),
            made,
            each,
            coils.into(),
            batch.kerf.nm(),
            batch.cradle.nm(),
            batch.tail_quarters.into(),
            build.pulses.into(),
            build.shaft as i64,
            build.gear.crank_teeth().into(),
            build.gear.mandrel_teeth().into(),
            build.direction as i64,
            build.lead.map_or(LEARNED.into(), |lead| lead.as_micros().cast_signed() / 1_000),
            build.loudness as i64,
            build.units as i64,
            batch.spool.map_or(0, |left| left.nm() / SPOOL_UNIT.nm()),
            build.knob as i64,
        ];
        // Every name fits: tested. And so do the numbers.
        let metal = String::try_from(batch.metal.name()).unwrap_or_default();
        Self { metal, numbers: Vec::from_slice(&numbers).unwrap_or_default() }
    }
}

/// Takes one number after the other.
struct Numbers<'a>(&'a [i64]);

impl Numbers<'_> {
    fn within(&mut self, limits: Limits) -> Result<i64, BadSettings> {
        let (&number, rest) = self.0.split_first().ok_or(BadSettings)?;
        self.0 = rest;
        if limits.contains(number) { Ok(number) } else { Err(BadSettings) }
    }

    /// One of these, by its place.
    fn one_of<T: Copy, const N: usize>(&mut self, all: [T; N]) -> Result<T, BadSettings> {
        let place = self.within(Limits::new(0, N as i32 - 1))?;
        all.get(place as usize).copied().ok_or(BadSettings)
    }

    fn length(&mut self, limits: Limits) -> Result<Length, BadSettings> {
        self.within(limits).map(Length::from_nm)
    }

    fn wire(&mut self) -> Result<WireSize, BadSettings> {
        let system = match self.within(SIZES)? {
            0 => GaugeSystem::Awg,
            1 => GaugeSystem::Swg,
            3 => GaugeSystem::Steel,
            _ => return self.length(WIRE).map(WireSize::Diameter),
        };
        let number = self.within(Limits::new(i8::MIN.into(), i8::MAX.into()))?;
        let gauge = Gauge::new(system, number as i8).ok_or(BadSettings)?;
        if WIRE.contains(gauge.diameter().nm()) { Ok(WireSize::Gauge(gauge)) } else { Err(BadSettings) }
    }

    fn make(&mut self) -> Result<Make, BadSettings> {
        let kind = self.within(KINDS)?;
        let limits = match kind {
            0 => RINGS,
            1 => TENTHS,
            _ => CRADLE,
        };
        let each = self.within(limits)?;
        let coils = self.within(COILS)? as u32;
        Ok(match kind {
            0 => Make::Rings(each as u32),
            1 => Make::Turns { tenths: each as u32, coils },
            _ => Make::Length { length: Length::from_nm(each), coils },
        })
    }

    /// It is not there where it was not known of yet.
    fn spool(&mut self) -> Result<Option<Length>, BadSettings> {
        let units = if self.0.is_empty() { 0 } else { self.within(SPOOL)? };
        Ok((units > 0).then(|| Length::from_nm(units * SPOOL_UNIT.nm())))
    }

    /// Four counts where it was not known of yet.
    fn knob(&mut self) -> Result<KnobClick, BadSettings> {
        if self.0.is_empty() { Ok(KnobClick::default()) } else { self.one_of(KnobClick::ALL) }
    }

    fn lead(&mut self) -> Result<Option<Duration>, BadSettings> {
        let lead = self.within(Limits::new(LEARNED, LEAD.max))?;
        Ok(u32::try_from(lead).ok().map(Duration::from_millis))
    }
}

/// Settings that hold a value out of its range, or a metal that is not listed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct BadSettings;

impl fmt::Display for BadSettings {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("settings out of range")
    }
}

impl core::error::Error for BadSettings {}

impl TryFrom<Stored> for Settings {
    type Error = BadSettings;

    fn try_from(stored: Stored) -> Result<Self, BadSettings> {
        let metal = Metal::named(&stored.metal).ok_or(BadSettings)?;
        let mut numbers = Numbers(&stored.numbers);
        let temper = numbers.one_of(TEMPERS)?;
        metal.strength(temper).map_err(|_| BadSettings)?;
        let mut settings = Self {
            batch: OwnBatch {
                metal,
                temper,
                wire: numbers.wire()?,
                mandrel: numbers.length(MANDREL)?,
                make: numbers.make()?,
                kerf: numbers.length(KERF)?,
                cradle: numbers.length(CRADLE)?,
                tail_quarters: numbers.within(TAIL)? as u8,
                spool: None,
            },
            build: Build {
                pulses: numbers.within(PULSES)? as u32,
                shaft: numbers.one_of(SHAFTS)?,
                gear: Gear::new(numbers.within(TEETH)? as u16, numbers.within(TEETH)? as u16)
                    .ok_or(BadSettings)?,
                direction: numbers.one_of(DIRECTIONS)?,
                lead: numbers.lead()?,
                loudness: numbers.one_of(LOUDNESSES)?,
                units: numbers.one_of(UNITS)?,
                knob: KnobClick::default(),
            },
        };
        settings.batch.spool = numbers.spool()?;
        settings.build.knob = numbers.knob()?;
        Ok(settings)
    }
}
