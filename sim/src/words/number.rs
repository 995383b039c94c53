//! Every number that people read is written here: in the digits of the tool that measures it at the bench, the same in
//! each place, and never as a negative zero. JSON and CSV have numbers in full and do not come here.
//!
//! - A calliper reads hundredths of a millimetre, or thousandths of an inch: coils, mandrels, rings, the saw.
//! - A micrometer reads thousandths of a millimetre, or ten-thousandths of an inch, as the gauge tables are printed:
//!   wire and its tolerance.
//! - A tape reads whole millimetres, and centimetres past a metre: wire off the spool.
//! - A counter shows hundredths of a turn.

use turntally_core::units::{Length, Mm, Turns};

/// The longest that a calliper takes, in millimetres: past it a tape is laid on. Common practice, no source.
const CALLIPER_MM: f64 = 300.0;

/// A number with so many decimals.
pub(crate) fn fixed(value: f64, decimals: usize) -> String {
    without_minus_zero(format!("{value:.decimals$}"))
}

/// The same with a plus where it is not below zero.
pub(crate) fn signed(value: f64, decimals: usize) -> String {
    let text = fixed(value, decimals);
    if text.starts_with('-') { text } else { format!("+{text}") }
}

/// A number with this many significant digits and no exponent; thousands are rounded too.
pub(crate) fn sig(value: f64, digits: i32) -> String {
    if value == 0.0 || !value.is_finite() {
        return without_minus_zero(format!("{value}"));
    }
    let decimals = |value: f64| digits - 1 - value.abs().log10().floor() as i32;
    let scale = 10_f64.powi(decimals(value));
    let rounded = (value * scale).round() / scale;
    // Rounded up past a power of ten, it has a digit more before the point.
    fixed(rounded, usize::try_from(decimals(rounded)).unwrap_or(0))
}

/// `0.00` for `-0.00`: what is nothing once it is rounded has no sign.
fn without_minus_zero(text: String) -> String {
    match text.strip_prefix('-') {
        Some(rest) if rest.bytes().all(|digit| matches!(digit, b'0' | b'.')) => rest.to_owned(),
        _ => text,
    }
}

/// The same number without the zeros that end its decimals: `4.5` for `4.50`.
fn trimmed(text: &str) -> &str {
    if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.') } else { text }
}

/// Turns in hundredths, rounded up, so that no coil is stopped short of its target by rounding; and a count that has reached
/// its target shows no less than it.
pub(crate) fn hundredths(turns: f64) -> i64 {
    let hundredth = Turns::ONE / 100;
    let nano = (turns * Turns::ONE as f64).round() as i64;
    nano.div_euclid(hundredth) + i64::from(nano.rem_euclid(hundredth) > 0)
}

/// Turns, wherever they are shown: two decimals, rounded up.
pub(crate) fn turns(turns: f64) -> String {
    fixed(hundredths(turns) as f64 / 100.0, 2)
}

/// How far one count of turns is past another, with its sign: the difference of the two as they are shown.
pub(crate) fn turns_past(turns: f64, target: f64) -> String {
    signed(hundredths(turns).saturating_sub(hundredths(target)) as f64 / 100.0, 2)
}

/// Turns that were set: `1 turn`, `0.5 turns`.
pub(crate) fn count_turns(count: f64) -> String {
    let text = turns(count);
    match trimmed(&text) {
        "1" => "1 turn".to_owned(),
        text => format!("{text} turns"),
    }
}

/// A length that was worked out, to the hundredth of a millimetre: `68.23 mm`.
pub(crate) fn mm(length: Mm) -> String {
    format!("{} mm", fixed(length.get(), 2))
}

/// Millimetres alone, to the hundredth.
pub(crate) fn bare_mm(mm: f64) -> String {
    fixed(mm, 2)
}

/// The length of a coil: as a calliper reads it, or as a tape does where it is too long for one.
pub(crate) fn length(length: Mm) -> String {
    if length.get().abs() < CALLIPER_MM { mm(length) } else { wire_length(length) }
}

/// A length of wire, as a tape reads it: `579 mm`, `12.58 m`.
pub(crate) fn wire_length(length: Mm) -> String {
    if length.get().abs() < 999.5 { format!("{} mm", fixed(length.get(), 0)) } else { metres(length) }
}

/// Metres of wire, to the centimetre: `12.58 m`.
pub(crate) fn metres(length: Mm) -> String {
    format!("{} m", fixed(length.get() / 1e3, 2))
}

/// A length that was set or measured, in no more digits than it has: `4.5 mm`, `4.76 mm`.
pub(crate) fn given(length: Length) -> String {
    format!("{} mm", trimmed(&fixed(length.mm().get(), 2)))
}

/// The same in both units: `4.5 mm (0.177 in)`.
pub(crate) fn both(length: Length) -> String {
    format!("{} ({})", given(length), inches(length))
}

/// Inches as a calliper reads them.
pub(crate) fn inches(length: Length) -> String {
    format!("{} in", fixed(length.inches(), 3))
}

/// A length as fine as a micrometer reads it: `1.024 mm`, `1.2 mm`.
pub(crate) fn fine(length: Length) -> String {
    format!("{} mm", trimmed(&fixed(length.mm().get(), 3)))
}

/// The diameter of a gauge, with all the decimals that a micrometer has: `1.290 mm`.
pub(crate) fn tabulated(length: Length) -> String {
    format!("{} mm", fixed(length.mm().get(), 3))
}

/// Inches as a micrometer reads them, and as the gauge tables are printed.
pub(crate) fn fine_inches(length: Length) -> String {
    format!("{} in", fixed(length.inches(), 4))
}

/// A gap, in wire diameters, to four decimals at most: one that was measured has more digits than it knows.
pub(crate) fn gap(gap: f64) -> String {
    trimmed(&fixed(gap, 4)).to_owned()
}

/// A length of time: minutes, as coarse as they are known.
pub(crate) fn span(minutes: f64) -> String {
    match minutes {
        ..10.0 => format!("{} min", fixed(minutes.ceil(), 0)),
        ..60.0 => format!("{} min", fixed((minutes / 5.0).round() * 5.0, 0)),
        _ => format!("{} h", sig(minutes / 60.0, 2)),
    }
}

/// A share of a hundred, to the tenth.
#[cfg(any(feature = "window", test))]
pub(crate) fn percent(share: f64) -> String {
    format!("{} %", fixed(share * 100.0, 1))
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    /// Minus, then nothing but zeros.
    fn has_minus_zero(text: &str) -> bool {
        text.split(|c: char| !matches!(c, '-' | '.' | '0'..='9')).any(|word| {
            word.strip_prefix('-').is_some_and(|rest| {
                rest.contains('0') && rest.bytes().all(|digit| matches!(digit, b'0' | b'.'))
            })
        })
    }

    proptest! {
        /// Nothing that rounds to zero keeps a minus.
        #[test]
        fn no_zero_is_negative(value in -0.02..0.02_f64, scale in -9..3_i32, decimals in 0_usize..6, digits in 1_i32..6) {
            for value in [value, value * 10_f64.powi(scale), -0.0] {
                let length = Length::from_mm(Mm::new(value)).unwrap_or_default();
                for text in [
                    fixed(value, decimals), signed(value, decimals), sig(value, digits), turns(value),
                    turns_past(value, 0.0), turns_past(0.0, value), count_turns(value), mm(Mm::new(value)),
                    bare_mm(value), super::length(Mm::new(value)), wire_length(Mm::new(value)), metres(Mm::new(value)), given(length),
                    both(length), inches(length), fine(length), tabulated(length), fine_inches(length), span(value),
                    percent(value), gap(value),
                ] {
                    prop_assert!(!has_minus_zero(&text), "{value} as {text}");
                }
            }
        }

        /// A target is shown no lower than it is and less than a hundredth above; more turns never show less.
        #[test]
        fn targets_are_rounded_up(nano in 0_i64..1_000_000_000_000, more in 0_i64..100_000_000) {
            let exact = |nano: i64| Turns::from_nano(nano).as_f64();
            let shown = |nano: i64| -> i64 { turns(exact(nano)).replace('.', "").parse().unwrap_or(-1) };
            let parts = shown(nano);
            prop_assert!(parts * 10_000_000 >= nano && (parts - 1) * 10_000_000 < nano, "{nano} as {parts}");
            prop_assert!(shown(nano + more) >= parts);
        }
    }

    /// Rounding by hand, at the ends of each tool's range.
    #[test]
    fn lengths_have_the_digits_of_their_tool() {
        for (millimetres, shown) in [
            (68.2345, "68.23 mm"),
            (299.994, "299.99 mm"),
            (300.4, "300 mm"),
            (999.4, "999 mm"),
            (999.6, "1.00 m"),
            (12_577.0, "12.58 m"),
            (-0.001, "0.00 mm"),
        ] {
            assert_eq!(length(Mm::new(millimetres)), shown);
        }
        let quarter = Length::from_nm(6_350_000);
        assert_eq!(both(quarter), "6.35 mm (0.250 in)");
        // 3/16 in is 4.7625 mm, and No. 18 AWG 0.0403 in.
        assert_eq!(both(Length::from_nm(4_762_500)), "4.76 mm (0.188 in)");
        assert_eq!(
            (fine(Length::from_inch_e4(508)), tabulated(Length::from_inch_e4(508))),
            ("1.29 mm".into(), "1.290 mm".into())
        );
        assert_eq!(fine_inches(Length::from_inch_e4(508)), "0.0508 in");
        // Past a power of ten no digit is gained.
        assert_eq!(
            (sig(0.9996, 3), sig(9.994, 3), sig(999.6, 3)),
            ("1.00".into(), "9.99".into(), "1000".into())
        );
        assert_eq!(given(Length::from_um(70_000)), "70 mm");
    }

    /// The difference is that of the numbers beside it.
    #[test]
    fn turns_are_written_one_way() {
        assert_eq!(
            (turns(56.823), turns(56.82), turns(56.820_000_001)),
            ("56.83".into(), "56.82".into(), "56.83".into())
        );
        assert_eq!(turns_past(56.861, 56.823), "+0.04");
        assert_eq!((turns_past(56.823, 56.823), turns_past(56.5, 56.823)), ("+0.00".into(), "-0.33".into()));
        assert_eq!(
            (count_turns(1.0), count_turns(0.5), count_turns(60.0)),
            ("1 turn".into(), "0.5 turns".into(), "60 turns".into())
        );
    }
}
