//! Sizes written as ranges and lists: `14awg..22awg`, `3mm..10mm`, `0.8mm,1mm,1.2mm`.

use std::str::FromStr;

use turntally_core::gauge::{Gauge, WireSize};
use turntally_core::units::Length;

use crate::failure::Failure;

/// The most sizes that one list or range may have.
pub const MAX_SIZES: usize = 500;

/// A comma list whose items are sizes or ranges of sizes, as written and not yet stepped through.
#[derive(Debug, Clone, PartialEq)]
pub struct Sizes<T>(Vec<Item<T>>);

#[derive(Debug, Clone, PartialEq)]
enum Item<T> {
    One(T),
    Range { from: T, to: T, text: String },
}

impl<T: FromStr<Err: std::fmt::Display>> FromStr for Sizes<T> {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        // Short of any list that a person types, far past any that is worked out.
        let items: Vec<&str> = text.split(',').take(MAX_SIZES + 1).collect();
        if items.len() > MAX_SIZES {
            return Err(format!("at most {MAX_SIZES} sizes are allowed"));
        }
        let one =
            |text: &str| text.trim().parse::<T>().map_err(|error| format!("'{}': {error}", text.trim()));
        let item = |text: &str| match text.split_once("..") {
            None => one(text).map(Item::One),
            Some((from, to)) => {
                Ok(Item::Range { from: one(from)?, to: one(to)?, text: text.trim().to_owned() })
            }
        };
        items.into_iter().map(item).collect::<Result<_, _>>().map(Self)
    }
}

impl Sizes<Length> {
    /// Every length, in the order written, none twice.
    ///
    /// # Errors
    /// One line that names `option`: a range from larger to smaller, or past [`MAX_SIZES`].
    pub fn lengths(&self, option: &str, step: Step<'_>) -> Result<Vec<Length>, Failure> {
        let mut all = Vec::new();
        for item in &self.0 {
            match item {
                Item::One(length) => all.push(*length),
                Item::Range { from, to, text } => {
                    all.extend(stepped(option, text, *from, *to, step)?);
                }
            }
            enough(option, all.len())?;
        }
        Ok(once_each(all))
    }
}

impl Sizes<WireSize> {
    /// Every wire, in the order written, none twice. Gauges go by whole numbers.
    ///
    /// # Errors
    /// As [`Sizes::lengths`], and for a range whose ends are not of one kind.
    pub fn wires(&self, option: &str, step: Step<'_>) -> Result<Vec<WireSize>, Failure> {
        let mut all = Vec::new();
        for item in &self.0 {
            match item {
                Item::One(size) => all.push(*size),
                Item::Range { from: WireSize::Gauge(from), to: WireSize::Gauge(to), text }
                    if from.system() == to.system() =>
                {
                    if from.number() > to.number() {
                        let why = format!("from thinner to thicker: only {to}..{from} is allowed");
                        return Err(Failure::value(option, text, why));
                    }
                    all.extend(
                        (from.number()..=to.number())
                            .filter_map(|number| Gauge::new(from.system(), number))
                            .map(WireSize::Gauge),
                    );
                }
                Item::Range { from: WireSize::Diameter(from), to: WireSize::Diameter(to), text } => {
                    all.extend(stepped(option, text, *from, *to, step)?.map(WireSize::Diameter));
                }
                Item::Range { text, .. } => {
                    return Err(Failure::value(
                        option,
                        text,
                        "both ends must be of one kind: 14awg..22awg, 16swg..20swg or 0.8mm..2mm",
                    ));
                }
            }
            enough(option, all.len())?;
        }
        Ok(once_each(all))
    }
}

/// The step of a range of lengths, and the option that gave it.
#[derive(Debug, Clone, Copy)]
pub struct Step<'a> {
    /// The option's name.
    pub option: &'a str,
    /// From one length to the next.
    pub length: Length,
}

fn stepped(
    option: &str,
    text: &str,
    from: Length,
    to: Length,
    step: Step<'_>,
) -> Result<impl Iterator<Item = Length> + use<>, Failure> {
    if step.length <= Length::ZERO {
        return Err(Failure::value(step.option, step.length, "only a length above zero is allowed"));
    }
    if from > to {
        return Err(Failure::value(option, text, "from larger to smaller: write the smaller length first"));
    }
    // Neither is below zero, so the difference fits.
    let steps = (to.nm() - from.nm()) / step.length.nm();
    let count = usize::try_from(steps).unwrap_or(usize::MAX).saturating_add(1);
    enough(option, count).map_err(|_| {
        Failure::value(
            option,
            text,
            format_args!("{count} sizes in steps of {}: at most {MAX_SIZES} are allowed", step.length),
        )
    })?;
    let step = step.length.nm();
    Ok((0..=steps).map(move |i| Length::from_nm(from.nm() + i * step)))
}

fn enough(option: &str, count: usize) -> Result<(), Failure> {
    if count <= MAX_SIZES {
        return Ok(());
    }
    Err(Failure::new(format_args!("{option}: {count} sizes: at most {MAX_SIZES} are allowed")))
}

fn once_each<T: PartialEq>(all: Vec<T>) -> Vec<T> {
    let mut once = Vec::with_capacity(all.len());
    for size in all {
        if !once.contains(&size) {
            once.push(size);
        }
    }
    once
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "a test that cannot go on should stop")]
mod tests {
    use super::*;

    fn lengths(text: &str, step: &str) -> Result<Vec<String>, String> {
        let step = Step { option: "--step", length: step.parse().unwrap() };
        let sizes: Sizes<Length> = text.parse()?;
        let lengths = sizes.lengths("--mandrels", step).map_err(|failure| failure.to_string())?;
        Ok(lengths.iter().map(Length::to_string).collect())
    }

    fn wires(text: &str) -> Result<Vec<String>, String> {
        let step = Step { option: "--wire-step", length: Length::from_um(100) };
        let sizes: Sizes<WireSize> = text.parse()?;
        let wires = sizes.wires("--wires", step).map_err(|failure| failure.to_string())?;
        Ok(wires.iter().map(WireSize::to_string).collect())
    }

    /// Steps are exact, the end is taken in where a step falls on it, and nothing comes twice.
    #[test]
    fn ranges_step_exactly_to_their_end() {
        assert_eq!(lengths("3mm..4mm", "0.5mm").unwrap(), ["3 mm", "3.5 mm", "4 mm"]);
        assert_eq!(lengths("0.1in..0.3in", "0.1in").unwrap(), ["2.54 mm", "5.08 mm", "7.62 mm"]);
        assert_eq!(lengths("3mm..4.4mm,4mm, 9mm", "1mm").unwrap(), ["3 mm", "4 mm", "9 mm"]);
        assert_eq!(wires("1/0awg..2awg").unwrap(), ["0 AWG", "1 AWG", "2 AWG"]);
        assert_eq!(wires("2/0awg..1awg").unwrap(), ["2/0 AWG", "0 AWG", "1 AWG"]);
        assert_eq!(wires("1mm..1.25mm,18swg").unwrap(), ["1 mm", "1.1 mm", "1.2 mm", "18 SWG"]);
    }

    /// Each wrong range says what is wrong with it.
    #[test]
    fn wrong_ranges_say_why() {
        for (got, part) in [
            (lengths("5mm..3mm", "1mm"), "--mandrels '5mm..3mm': from larger to smaller"),
            (lengths("1mm..2mm", "0mm"), "--step '0 mm': only a length above zero"),
            (lengths("1mm..9m", "1um"), "8999001 sizes in steps of 0.001 mm: at most 500"),
            (lengths("1mm..", "1mm"), "'': not a number"),
            (lengths("", "1mm"), "'': not a number"),
            (wires("22awg..14awg"), "only 14 AWG..22 AWG is allowed"),
            (wires("14awg..22swg"), "both ends must be of one kind"),
            (wires("14awg..1mm"), "both ends must be of one kind"),
            (wires("14awg,16"), "'16': a bare number"),
        ] {
            let why = got.unwrap_err();
            assert!(why.contains(part), "{why}");
        }
        assert!(lengths(&"1mm,".repeat(1000), "1mm").is_err());
    }
}
