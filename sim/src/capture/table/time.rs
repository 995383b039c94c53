//! Times as they are written in a table.

/// A unit of time as the exponent of ten of its femtoseconds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Unit(i32);

/// A second.
pub(super) const SECOND: Unit = Unit(15);

/// What a column of times may be called, for messages.
pub(super) const ALLOWED: &str =
    "time with its unit (s, ms, us, ns or ps), such as time_s, Time [ms] or microseconds";

/// What a name says of a column.
pub(super) enum Named {
    /// Times in this unit.
    Times(Unit),
    /// Times, in no unit that is named.
    TimesOfNoUnit,
    /// Something else.
    Other,
}

/// Reads the name of a column.
pub(super) fn read_name(name: &str) -> Named {
    let name = name.to_lowercase();
    let words: Vec<&str> =
        name.split(|c: char| !c.is_alphanumeric()).filter(|word| !word.is_empty()).collect();
    let is_time = |word: &str| matches!(word, "time" | "t" | "timestamp");
    match words.as_slice() {
        [unit] if !is_time(unit) => unit_of(unit).map_or(Named::Other, Named::Times),
        [time, unit] if is_time(time) => unit_of(unit).map_or(Named::TimesOfNoUnit, Named::Times),
        [time, ..] if is_time(time) => Named::TimesOfNoUnit,
        _ => Named::Other,
    }
}

fn unit_of(word: &str) -> Option<Unit> {
    let exponent = match word {
        "s" | "sec" | "second" | "seconds" => 15,
        "ms" | "msec" | "millisecond" | "milliseconds" => 12,
        // The micro sign and the Greek letter.
        "us" | "\u{b5}s" | "\u{3bc}s" | "usec" | "microsecond" | "microseconds" => 9,
        "ns" | "nsec" | "nanosecond" | "nanoseconds" => 6,
        "ps" | "psec" | "picosecond" | "picoseconds" => 3,
        _ => return None,
    };
    Some(Unit(exponent))
}

/// The longest time in digits: more than 584 years in femtoseconds have.
const MAX_DIGITS: u32 = 30;

/// A time such as `-12.5` or `1e-6` in femtoseconds, rounded down; `None` for what is no number, or too great.
pub(super) fn read(text: &[u8], unit: Unit) -> Option<i128> {
    let (negative, text) = match text {
        [b'-', rest @ ..] => (true, rest),
        [b'+', rest @ ..] => (false, rest),
        _ => (false, text),
    };
    let (mut digits, mut value, mut exponent) = (0, 0_i128, unit.0);
    let (mut any, mut point) = (false, false);
    let mut rest = text;
    while let [first, more @ ..] = rest {
        match first {
            b'0'..=b'9' if digits < MAX_DIGITS => {
                any = true;
                value = value * 10 + i128::from(first - b'0');
                digits += u32::from(value > 0);
                exponent -= i32::from(point);
            }
            // Digits behind these are less than a femtosecond, or more than there is room for.
            b'0'..=b'9' if point => {}
            b'.' if !point => point = true,
            b'e' | b'E' if any => {
                let power: i32 =
                    std::str::from_utf8(more).ok()?.parse().ok().filter(|n: &i32| n.abs() < 100)?;
                exponent += power;
                break;
            }
            _ => return None,
        }
        rest = more;
    }
    let value = if negative { -value } else { value };
    let power = 10_i128.checked_pow(exponent.unsigned_abs());
    let femtoseconds = match (exponent >= 0, power) {
        _ if !any => return None,
        _ if value == 0 => 0,
        (true, Some(power)) => value.checked_mul(power)?,
        (true, None) => return None,
        (false, Some(power)) => value.div_euclid(power),
        (false, None) => {
            if negative {
                -1
            } else {
                0
            }
        }
    };
    // 10^30 femtoseconds are 31 million years: differences of two cannot overflow.
    (femtoseconds.abs() < 10_i128.pow(30)).then_some(femtoseconds)
}
