//! The settings of a counter as words: `wire = 1.2mm`, to be read and to be proposed.

use std::fmt::Display;
use std::str::FromStr;

use turntally_core::counter::{Direction, Shaft};
use turntally_core::gauge::WireSize;
use turntally_core::metal::Metal;
use turntally_core::settings::{
    COILS, CRADLE, KERF, KnobClick, LEAD, Limits, Loudness, MANDREL, Make, PULSES, RINGS, SPOOL, SPOOL_UNIT,
    Settings, TAIL, TEETH, TENTHS, Units, WIRE,
};
use turntally_core::time::Duration;
use turntally_core::units::Length;

use crate::failure::Failure;

/// The names, as `--help` lists them.
pub const NAMES: &str = "metal, temper, wire, mandrel, rings, turns, length, coils, kerf, cradle, tail, spool, \
                         pulses, encoder, gear, direction, reaction, sound, units, knob";

/// Nanometres in a millimetre.
const MM: i64 = 1_000_000;

/// Every setting on a line of its own, as it may be proposed.
#[must_use]
pub fn words(settings: &Settings) -> String {
    let Settings { batch, build } = settings;
    let mut lines = vec![
        ("metal", batch.metal.name().to_owned()),
        ("temper", batch.temper.to_string()),
        ("wire", short(batch.wire)),
        ("mandrel", short(batch.mandrel)),
    ];
    let coils = match batch.make {
        Make::Rings(rings) => {
            lines.push(("rings", rings.to_string()));
            None
        }
        Make::Turns { tenths, coils } => {
            lines.push(("turns", format!("{}.{}", tenths / 10, tenths % 10)));
            Some(coils)
        }
        Make::Length { length, coils } => {
            lines.push(("length", short(length)));
            Some(coils)
        }
    };
    lines.extend(coils.map(|coils| ("coils", coils.to_string())));
    lines.extend([
        ("kerf", short(batch.kerf)),
        ("cradle", short(batch.cradle)),
        ("tail", format!("{}", f64::from(batch.tail_quarters) / 4.0)),
        ("spool", batch.spool.map_or("unknown".to_owned(), |left| format!("{}m", left.mm().get() / 1e3))),
        ("pulses", build.pulses.to_string()),
        ("encoder", if build.shaft == Shaft::Crank { "crank" } else { "mandrel" }.to_owned()),
        ("gear", format!("{}:{}", build.gear.crank_teeth(), build.gear.mandrel_teeth())),
        ("direction", if build.direction == Direction::Forward { "forward" } else { "reverse" }.to_owned()),
        (
            "reaction",
            build.lead.map_or("learned".to_owned(), |lead| format!("{}ms", lead.as_micros() / 1_000)),
        ),
        ("sound", build.loudness.name().to_owned()),
        ("units", if build.units == Units::Millimetres { "mm" } else { "in" }.to_owned()),
        ("knob", build.knob.counts().to_string()),
    ]);
    lines.iter().map(|(name, value)| format!("{name}={value}\n")).collect()
}

/// As it is read again: without spaces.
fn short(value: impl Display) -> String {
    value.to_string().replace(' ', "")
}

/// Changes one setting, as `NAME=VALUE` says.
///
/// # Errors
/// One line: no such setting, or what is allowed of its value.
pub fn change(settings: &mut Settings, wish: &str) -> Result<(), Failure> {
    let Some((name, value)) = wish.split_once('=') else {
        return Err(Failure::value("setting", wish, "write NAME=VALUE, such as pulses=600"));
    };
    let (name, value) = (name.trim(), value.trim());
    let wish = NewSetting { name, value };
    let (batch, build) = (&mut settings.batch, &mut settings.build);
    let coils = match batch.make {
        Make::Rings(_) => 1,
        Make::Turns { coils, .. } | Make::Length { coils, .. } => coils,
    };
    match name {
        "metal" => {
            batch.metal = Metal::find(value).ok_or_else(|| wish.refused("no such metal is listed"))?;
        }
        "temper" => batch.temper = wish.parsed()?,
        "wire" => {
            let wire: WireSize = wish.parsed()?;
            wish.length_within(wire.diameter(), WIRE)?;
            batch.wire = wire;
        }
        "mandrel" => batch.mandrel = wish.length(MANDREL)?,
        "rings" => batch.make = Make::Rings(wish.whole(RINGS)?),
        "turns" => {
            let tenths = wish.parts(TENTHS, 10)?;
            batch.make = Make::Turns { tenths, coils };
        }
        "length" => batch.make = Make::Length { length: wish.length(CRADLE)?, coils },
        "coils" => match &mut batch.make {
            Make::Turns { coils, .. } | Make::Length { coils, .. } => *coils = wish.whole(COILS)?,
            Make::Rings(_) => return Err(wish.refused("the batch is counted in rings: give turns or length")),
        },
        "kerf" => batch.kerf = wish.length(KERF)?,
        "cradle" => batch.cradle = wish.length(CRADLE)?,
        "tail" => batch.tail_quarters = wish.parts(TAIL, 4)? as u8,
        "spool" if value == "unknown" => batch.spool = None,
        "spool" => {
            let left: Length = wish.parsed()?;
            wish.within(left.nm() / SPOOL_UNIT.nm(), SPOOL, 10_000, "m")?;
            batch.spool = (left > Length::ZERO).then_some(left);
        }
        "pulses" => build.pulses = wish.whole(PULSES)?,
        "encoder" => build.shaft = wish.one_of(&[("crank", Shaft::Crank), ("mandrel", Shaft::Mandrel)])?,
        "gear" => {
            let gear: turntally_core::counter::Gear = wish.parsed()?;
            for teeth in [gear.crank_teeth(), gear.mandrel_teeth()] {
                wish.within(teeth.into(), TEETH, 1, "teeth")?;
            }
            build.gear = gear;
        }
        "direction" => {
            let ways = [("forward", Direction::Forward), ("reverse", Direction::Reverse)];
            build.direction = wish.one_of(&ways)?;
        }
        "reaction" if value == "learned" => build.lead = None,
        "reaction" => {
            let lead: Duration = wish.parsed()?;
            let ms = lead.as_micros() / 1_000;
            wish.within(ms.try_into().unwrap_or(i64::MAX), LEAD, 1, "ms")?;
            build.lead = Some(Duration::from_millis(ms as u32));
        }
        "sound" => {
            build.loudness = wish.one_of(&Loudness::ALL.map(|loudness| (loudness.name(), loudness)))?;
        }
        "units" => build.units = wish.one_of(&[("mm", Units::Millimetres), ("in", Units::Inches)])?,
        "knob" => build.knob = wish.one_of(&[("4", KnobClick::FourCounts), ("2", KnobClick::TwoCounts)])?,
        _ => return Err(Failure::value("setting", name, format_args!("only these are: {NAMES}"))),
    }
    batch.metal.strength(batch.temper).map(|_| ()).map_err(|error| Failure::value(name, value, error))
}

/// A setting's name and the value that is wished.
struct NewSetting<'a> {
    name: &'a str,
    value: &'a str,
}

impl NewSetting<'_> {
    fn refused(&self, why: impl Display) -> Failure {
        Failure::value(self.name, self.value, why)
    }

    fn parsed<T: FromStr<Err: Display>>(&self) -> Result<T, Failure> {
        self.value.parse().map_err(|error| self.refused(error))
    }

    fn within(&self, number: i64, limits: Limits, per: i64, unit: &str) -> Result<(), Failure> {
        if limits.hold(number) == number {
            return Ok(());
        }
        let shown = |number: i32| f64::from(number) / per as f64;
        let (min, max) = (shown(limits.min), shown(limits.max));
        Err(self.refused(format_args!(
            "only {min} to {max}{}{unit} is allowed",
            if unit.is_empty() { "" } else { " " }
        )))
    }

    fn whole(&self, limits: Limits) -> Result<u32, Failure> {
        let number: i64 = self.value.parse().map_err(|_| self.refused("write a whole number"))?;
        self.within(number, limits, 1, "")?;
        Ok(number as u32)
    }

    /// A number of which there are `per` parts to one.
    fn parts(&self, limits: Limits, per: u32) -> Result<u32, Failure> {
        let number: f64 = self.value.parse().map_err(|_| self.refused("write a number of turns"))?;
        let parts = number * f64::from(per);
        if parts.fract() != 0.0 {
            return Err(self.refused(format_args!("only whole 1/{per} of a turn are allowed")));
        }
        // Past its ends where it is past those of the limits.
        self.within(parts as i64, limits, per.into(), "turns")?;
        Ok(parts as u32)
    }

    fn length(&self, limits: Limits) -> Result<Length, Failure> {
        let length: Length = self.parsed()?;
        self.length_within(length, limits)?;
        Ok(length)
    }

    fn length_within(&self, length: Length, limits: Limits) -> Result<(), Failure> {
        self.within(length.nm(), limits, MM, "mm")
    }

    fn one_of<T: Copy>(&self, ways: &[(&str, T)]) -> Result<T, Failure> {
        let found = ways.iter().find(|(name, _)| *name == self.value).map(|(_, way)| *way);
        found.ok_or_else(|| {
            let names: Vec<_> = ways.iter().map(|(name, _)| *name).collect();
            self.refused(format_args!("only {} is allowed", names.join(", ")))
        })
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test may stop where it stands")]
    use super::*;

    /// What is shown can be proposed, and is the same then.
    #[test]
    fn words_are_read_again() {
        let mut settings = Settings::default();
        let wishes = [
            "metal=c26000",
            "temper=hard",
            "wire=18swg",
            "mandrel=0.25in",
            "turns=12.5",
            "coils=7",
            "kerf=0.35mm",
            "cradle=60mm",
            "tail=0.75",
            "spool=31.25m",
            "pulses=600",
            "encoder=mandrel",
            "gear=48:16",
            "direction=reverse",
            "reaction=250ms",
            "sound=full",
            "units=in",
            "knob=2",
        ];
        for wish in wishes {
            change(&mut settings, wish).unwrap();
        }
        let mut again = Settings::default();
        for line in words(&settings).lines() {
            change(&mut again, line).unwrap();
        }
        assert_eq!(again, settings);
        assert_eq!(settings.batch.make, Make::Turns { tenths: 125, coils: 7 });
        assert_eq!(settings.batch.metal.name(), "cartridge-brass");
    }

    /// What is not allowed is reported with its name, its value and what is allowed.
    #[test]
    fn refusals_say_what_is_allowed() {
        let cases = [
            ("pulses=0", "only 1 to 100000 is allowed"),
            ("pulses=x", "whole number"),
            ("mandrel=5", "unit"),
            ("mandrel=60mm", "only 0.5 to 50 mm is allowed"),
            ("wire=0.05mm", "only 0.1 to 6 mm"),
            ("tail=0.3", "1/4"),
            ("tail=NaN", "1/4"),
            ("turns=1e99", "only 1 to 1000 turns"),
            ("spool=11000m", "only 0 to 10000 m"),
            ("spool=much", "unit"),
            ("sound=loud", "off, soft, medium, full"),
            ("coils=3", "counted in rings"),
            ("reaction=9s", "only 0 to 2000 ms"),
            ("knob=3", "only 4, 2 is allowed"),
            ("colour=red", "metal, temper"),
            ("pulses", "NAME=VALUE"),
        ];
        for (wish, words) in cases {
            let error = change(&mut Settings::default(), wish).unwrap_err().to_string();
            assert!(error.contains(words), "{wish}: {error}");
        }
    }
}
