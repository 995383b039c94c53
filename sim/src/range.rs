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

/// The items of a comma list.
///
/// # Errors
/// One line for more than [`MAX_SIZES`], and for a number without a unit before a comma and a digit: `1,2mm` is a decimal
/// comma or a list that lacks a unit.
pub fn listed(text: &str) -> Result<Vec<&str>, String> {
    // Short of any list that a person types, far past any that is worked out.
    let items: Vec<&str> = text.split(',').take(MAX_SIZES + 1).collect();
    if items.len() > MAX_SIZES {
        return Err(format!("at most {MAX_SIZES} sizes are allowed"));
    }
    let digits = |text: &str| !text.is_empty() && text.bytes().all(|c| c.is_ascii_digit());
    for pair in items.windows(2) {
        if let [whole, part] = pair
            && digits(whole.rsplit("..").next().unwrap_or(whole).trim())
            && part.starts_with(|c: char| c.is_ascii_digit())
        {
            return Err(format!(
                "'{whole},{part}': for a decimal number write 1.2, not 1,2; in a list each size has its unit"
            ));
        }
    }
    Ok(items)
}

/// One item of a list.
///
/// # Errors
/// One line that names the item and what is wrong with it.
pub fn one<T: FromStr<Err: std::fmt::Display>>(text: &str) -> Result<T, String> {
    let text = text.trim();
    text.parse().map_err(|error| format!("'{text}': {error}"))
}

impl<T: FromStr<Err: std::fmt::Display>> FromStr for Sizes<T> {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        let items = listed(text)?;
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
    /// Every length, in the order written, none twice. A range may go up or down.
    ///
    /// # Errors
    /// One line that names `option`: a step of nothing, or a range past [`MAX_SIZES`].
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
                Item::Range { from: WireSize::Gauge(from), to: WireSize::Gauge(to), .. }
                    if from.system() == to.system() =>
                {
                    let (first, last) = (from.number(), to.number());
                    let gauges = (first.min(last)..=first.max(last))
                        .filter_map(|number| Gauge::new(from.system(), number))
                        .map(WireSize::Gauge);
                    if first <= last {
                        all.extend(gauges);
                    } else {
                        all.extend(gauges.rev());
                    }
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
    // Neither is below zero, so the difference fits.
    let steps = (to.nm() - from.nm()).abs() / step.length.nm();
    let count = usize::try_from(steps).unwrap_or(usize::MAX).saturating_add(1);
    enough(option, count).map_err(|_| {
        Failure::value(
            option,
            text,
            format_args!("{count} sizes in steps of {}: at most {MAX_SIZES} are allowed", step.length),
        )
    })?;
    let step = if from <= to { step.length.nm() } else { -step.length.nm() };
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
        assert_eq!(lengths("4mm..3mm", "0.4mm").unwrap(), ["4 mm", "3.6 mm", "3.2 mm"]);
        assert_eq!(lengths("5mm..5mm", "1mm").unwrap(), ["5 mm"]);
        assert_eq!(lengths("1/8in..3/16in", "1/16in").unwrap(), ["3.175 mm", "4.7625 mm"]);
        assert_eq!(wires("2awg..2/0awg").unwrap(), ["2 AWG", "1 AWG", "0 AWG", "2/0 AWG"]);
        assert_eq!(wires("1/0awg..2awg").unwrap(), ["0 AWG", "1 AWG", "2 AWG"]);
        assert_eq!(wires("2/0awg..1awg").unwrap(), ["2/0 AWG", "0 AWG", "1 AWG"]);
        assert_eq!(wires("1mm..1.25mm,18swg").unwrap(), ["1 mm", "1.1 mm", "1.2 mm", "18 SWG"]);
    }

    /// Each wrong range says what is wrong with it.
    #[test]
    fn wrong_ranges_say_why() {
        for (got, part) in [
            (lengths("1,2mm", "1mm"), "'1,2mm': for a decimal number write 1.2, not 1,2"),
            (lengths("3mm..4,5mm", "1mm"), "'3mm..4,5mm': for a decimal"),
            (wires("1mm,1,2mm"), "'1,2mm': for a decimal"),
            (wires("16ga"), "write 16awg (American"),
            (lengths("1mm..2mm", "0mm"), "--step '0 mm': only a length above zero"),
            (lengths("1mm..9m", "1um"), "8999001 sizes in steps of 0.001 mm: at most 500"),
            (lengths("1mm..", "1mm"), "'': not a number"),
            (lengths("", "1mm"), "'': not a number"),
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
