//! Words and numbers for people: the digits that are true, each with its unit.

use turntally_core::gauge::WireSize;
use turntally_core::units::Length;

pub mod table;
pub mod visible;

/// A positive number with this many significant digits and no exponent; thousands are rounded too.
pub(crate) fn sig(value: f64, digits: i32) -> String {
    if value == 0.0 || !value.is_finite() {
        return format!("{value}");
    }
    let decimals = digits - 1 - value.abs().log10().floor() as i32;
    let scale = 10_f64.powi(decimals);
    let rounded = (value * scale).round() / scale;
    format!("{rounded:.*}", usize::try_from(decimals).unwrap_or(0))
}

/// A length to three digits, in the unit that suits its size.
pub(crate) fn length(mm: f64) -> String {
    if mm < 999.5 { format!("{} mm", sig(mm, 3)) } else { format!("{} m", sig(mm / 1e3, 3)) }
}

/// `1 ring`, `2 rings`.
pub(crate) fn count(n: u64, of: &str) -> String {
    if n == 1 { format!("1 {of}") } else { format!("{n} {of}s") }
}

/// `1 turn`, `0.5 turns`.
pub(crate) fn count_turns(turns: f64) -> String {
    if (turns - 1.0).abs() < 1e-9 { "1 turn".to_owned() } else { format!("{turns} turns") }
}

/// A span of minutes, as coarse as it is known.
pub(crate) fn span(minutes: f64) -> String {
    match minutes {
        ..10.0 => format!("{:.0} min", minutes.ceil()),
        ..60.0 => format!("{:.0} min", (minutes / 5.0).round() * 5.0),
        _ => format!("{} h", sig(minutes / 60.0, 2)),
    }
}

/// Turns as set on a counter: three decimals, rounded up, so that nobody stops short by rounding.
pub(crate) fn turns(turns: f64) -> String {
    format!("{:.3}", (turns * 1e3 - 1e-6).ceil() / 1e3)
}

/// A diameter in both units: `1.2 mm (0.0472 in)`.
pub(crate) fn both(length: Length) -> String {
    format!("{length} ({:.4} in)", length.inches())
}

/// `a, b or c`, with `or` as the last word between them; empty for nothing.
#[must_use]
pub fn series(items: &[String], last_word: &str) -> String {
    match items.split_last() {
        Some((last, others)) if !others.is_empty() => format!("{} {last_word} {last}", others.join(", ")),
        _ => items.concat(),
    }
}

/// The wire's size as written, with its diameter in both units.
pub(crate) fn wire_size(size: WireSize) -> String {
    match size {
        WireSize::Gauge(gauge) => format!("{gauge}, {}", both(gauge.diameter())),
        WireSize::Diameter(diameter) => both(diameter),
    }
}
