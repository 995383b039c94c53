//! Words and numbers for people: the digits that are true, each with its unit.

use turntally_core::gauge::{Gauge, WireSize};
use turntally_core::units::Length;

pub(crate) mod mass;
pub(crate) mod number;
pub mod table;
pub mod visible;

use number::{fine, fine_inches, tabulated};

/// `1 ring`, `2 rings`.
pub(crate) fn count(n: u64, of: &str) -> String {
    if n == 1 { format!("1 {of}") } else { format!("{n} {of}s") }
}

/// `a, b or c`, with `or` as the last word between them; empty for nothing.
#[must_use]
pub fn series(items: &[String], last_word: &str) -> String {
    match items.split_last() {
        Some((last, others)) if !others.is_empty() => format!("{} {last_word} {last}", others.join(", ")),
        _ => items.concat(),
    }
}

/// The gauges that a wire is: the one that was asked for, or all whose very diameter was given; none for most
/// diameters.
pub(crate) fn gauges(size: WireSize) -> Option<String> {
    let names: Vec<String> = match size {
        WireSize::Gauge(gauge) => vec![gauge.to_string()],
        WireSize::Diameter(diameter) => Gauge::of_diameter(diameter).map(|gauge| gauge.to_string()).collect(),
    };
    (!names.is_empty()).then(|| series(&names, "or"))
}

/// `18 AWG`, or `1.2 mm` for a wire of no gauge: where there is no room for more.
pub(crate) fn wire_short(size: WireSize) -> String {
    gauges(size).unwrap_or_else(|| fine(size.diameter()))
}

/// `18 AWG (1.024 mm)`, or `1.2 mm` for a wire of no gauge.
pub(crate) fn wire(size: WireSize) -> String {
    let diameter = size.diameter();
    gauges(size).map_or_else(|| fine(diameter), |gauges| format!("{gauges} ({})", tabulated(diameter)))
}

/// The same in both units: `18 AWG (1.024 mm, 0.0403 in)`, or `1.2 mm (0.0472 in)`.
pub(crate) fn wire_both(size: WireSize) -> String {
    let diameter = size.diameter();
    match gauges(size) {
        Some(gauges) => format!("{gauges} ({}, {})", tabulated(diameter), fine_inches(diameter)),
        None => format!("{} ({})", fine(diameter), fine_inches(diameter)),
    }
}

/// `, coating 0.02 mm (1.24 mm over it)`; nothing for bare wire. `over` is the diameter with its coating.
pub(crate) fn coating(coating: Length, over: Length) -> String {
    match coating {
        Length::ZERO => String::new(),
        coating => format!(", coating {} ({} over it)", fine(coating), fine(over)),
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test may stop where it stands")]
    use super::*;

    /// ASTM B258: No. 18 AWG is 0.0403 in, 1.02362 mm, and no gauge of the other tables. BS 3737 and the US steel wire
    /// gauge both have 0.0800 in as No. 14; AWG has none of it. 0.0100 in is No. 30 AWG and No. 33 SWG.
    #[test]
    fn wires_are_named_by_their_gauge() {
        for (text, named) in [
            ("18awg", "18 AWG (1.024 mm)"),
            ("0.0403in", "18 AWG (1.024 mm)"),
            ("1.02362mm", "18 AWG (1.024 mm)"),
            ("1.0236mm", "1.024 mm"),
            ("14swg", "14 SWG (2.032 mm)"),
            ("0.08in", "14 SWG or 14 W&M (2.032 mm)"),
            ("0.254mm", "30 AWG or 33 SWG (0.254 mm)"),
            ("16awg", "16 AWG (1.290 mm)"),
            ("1.2mm", "1.2 mm"),
        ] {
            assert_eq!(wire(text.parse().unwrap()), named, "{text}");
        }
        assert_eq!(wire_both("18awg".parse().unwrap()), "18 AWG (1.024 mm, 0.0403 in)");
        assert_eq!(wire_both("1.2mm".parse().unwrap()), "1.2 mm (0.0472 in)");
    }
}
