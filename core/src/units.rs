//! Quantities with their units in the type.
//!
//! Two kinds of length exist on purpose. [`Length`] is what was set or what the counter works
//! with: a whole number of nanometres, exact, the same on every processor. [`Mm`] is what a formula
//! gave: a real number of millimetres. Going from one to the other is always written out.
//!
//! Exact conversions, by definition: 1 in = 25.4 mm, 1 lb = 453.592 37 g, 1 gr = 64.798 91 mg,
//! 1 oz av = 437.5 gr, 1 oz troy = 480 gr, 1 dwt = 24 gr (NIST SP 811 app. B and Handbook 44 app. C,
//! from memory; the tests check them against other libraries).

use core::fmt;
use core::iter::Sum;
use core::ops::{Add, Sub};
use core::str::FromStr;

#[cfg(feature = "serde")]
use serde::{Deserialize, Serialize};

use crate::time::Duration;

/// Divides by something above zero, rounding down; `None` where that is past 64 bits. Quick where 64 bits do: a division of
/// 128 bits costs a small chip dear.
pub(crate) const fn floor_div(number: i128, by: i64) -> Option<i64> {
    if number as i64 as i128 == number {
        return Some((number as i64).div_euclid(by));
    }
    let quotient = number.div_euclid(by as i128);
    if quotient as i64 as i128 == quotient { Some(quotient as i64) } else { None }
}

/// The same, rounding up.
pub(crate) const fn ceil_div(number: i128, by: i64) -> Option<i64> {
    floor_div(number + by as i128 - 1, by)
}

/// A length that was set, measured or counted with: whole nanometres.
///
/// Range: any `i64`, so up to 9.2 million kilometres. Written with its unit (`5mm`, `0.2in`).
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default)]
#[cfg_attr(feature = "serde", derive(Serialize, Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Length(i64);

impl Length {
    /// No length at all.
    pub const ZERO: Self = Self(0);

    /// From whole nanometres.
    #[must_use]
    pub const fn from_nm(nm: i64) -> Self {
        Self(nm)
    }

    /// This diameter with a coating of this thickness around it.
    #[must_use]
    pub const fn with_coating(self, thickness: Self) -> Self {
        Self(self.0 + 2 * thickness.0)
    }

    /// From whole micrometres. Exact; `um` within ±9.2e15.
    #[must_use]
    pub const fn from_um(um: i64) -> Self {
        Self(um * 1_000)
    }

    /// From ten-thousandths of an inch (0.0001 in = 2,540 nm exactly): the step in which wire
    /// gauges are tabulated. `tenths` within ±3.6e15.
    #[must_use]
    pub const fn from_inch_e4(tenths: i64) -> Self {
        Self(tenths * 2_540)
    }

    /// From a computed length, rounded to the nearest nanometre; `None` where that is no number or
    /// does not fit.
    #[must_use]
    pub fn from_mm(mm: Mm) -> Option<Self> {
        let nm = libm::round(mm.0 * 1e6);
        // The largest f64 below 2^63; NaN fails the comparison too.
        (libm::fabs(nm) <= 9_223_372_036_854_774_784.0).then_some(Self(nm as i64))
    }

    /// Whole nanometres.
    #[must_use]
    pub const fn nm(self) -> i64 {
        self.0
    }

    /// As a real number of millimetres, for formulas.
    #[must_use]
    pub fn mm(self) -> Mm {
        Mm(self.0 as f64 / 1e6)
    }

    /// As a real number of inches.
    #[must_use]
    pub fn inches(self) -> f64 {
        self.0 as f64 / 25.4e6
    }
}

/// Written in millimetres with the digits it has: `1.29032 mm`.
impl fmt::Display for Length {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let whole = self.0.unsigned_abs() / 1_000_000;
        let mut part = self.0.unsigned_abs() % 1_000_000;
        if self.0 < 0 {
            f.write_str("-")?;
        }
        write!(f, "{whole}")?;
        if part > 0 {
            let mut digits = 6;
            while part.is_multiple_of(10) {
                part /= 10;
                digits -= 1;
            }
            write!(f, ".{part:0digits$}")?;
        }
        f.write_str(" mm")
    }
}

/// Sums and differences of whole numbers of a unit. What is past the ends of `i64` stays at them.
macro_rules! whole_sums {
    ($name:ident) => {
        impl Add for $name {
            type Output = Self;

            fn add(self, other: Self) -> Self {
                Self(self.0.saturating_add(other.0))
            }
        }

        impl Sub for $name {
            type Output = Self;

            fn sub(self, other: Self) -> Self {
                Self(self.0.saturating_sub(other.0))
            }
        }

        impl Sum for $name {
            fn sum<I: Iterator<Item = Self>>(all: I) -> Self {
                all.fold(Self(0), Add::add)
            }
        }
    };
}

whole_sums!(Length);
whole_sums!(Turns);

/// Declares a newtype over `f64` whose value is a real number in one fixed unit.
macro_rules! real_quantity {
    ($(#[$doc:meta])* $name:ident, $unit:literal, $get:ident) => {
        $(#[$doc])*
        #[derive(Debug, Clone, Copy, PartialEq, PartialOrd, Default)]
        #[cfg_attr(feature = "defmt", derive(defmt::Format))]
        pub struct $name(f64);

        impl $name {
            #[doc = concat!("From a number of ", $unit, ".")]
            #[must_use]
            pub const fn new(value: f64) -> Self {
                Self(value)
            }

            #[doc = concat!("The number of ", $unit, ".")]
            #[must_use]
            pub const fn $get(self) -> f64 {
                self.0
            }
        }

        impl Add for $name {
            type Output = Self;

            fn add(self, other: Self) -> Self {
                Self(self.0 + other.0)
            }
        }

        impl Sub for $name {
            type Output = Self;

            fn sub(self, other: Self) -> Self {
                Self(self.0 - other.0)
            }
        }

        impl Sum for $name {
            fn sum<I: Iterator<Item = Self>>(all: I) -> Self {
                all.fold(Self(0.0), Add::add)
            }
        }
    };
}

real_quantity!(
    /// A computed length in millimetres.
    Mm, "millimetres", get
);
real_quantity!(
    /// A mass in grams.
    Grams, "grams", get
);
real_quantity!(
    /// A density in grams per cubic centimetre.
    Density, "grams per cubic centimetre", g_per_cm3
);
real_quantity!(
    /// A stress or a modulus of elasticity in megapascals (newtons per square millimetre).
    Stress, "megapascals", mpa
);

impl Mm {
    /// As a real number of inches.
    #[must_use]
    pub fn inches(self) -> f64 {
        self.0 / 25.4
    }
}

impl Grams {
    /// One grain, exactly.
    pub const GRAIN: f64 = 0.064_798_91;
    /// One ounce troy (480 grains), exactly.
    pub const TROY_OUNCE: f64 = 31.103_476_8;
    /// One ounce avoirdupois (437.5 grains), exactly.
    pub const OUNCE: f64 = 28.349_523_125;
    /// One pennyweight (24 grains), exactly.
    pub const PENNYWEIGHT: f64 = 1.555_173_84;
    /// One pound avoirdupois (7,000 grains), exactly.
    pub const POUND: f64 = 453.592_37;

    /// In troy ounces.
    #[must_use]
    pub fn troy_ounces(self) -> f64 {
        self.0 / Self::TROY_OUNCE
    }

    /// In avoirdupois ounces.
    #[must_use]
    pub fn ounces(self) -> f64 {
        self.0 / Self::OUNCE
    }

    /// In pennyweights.
    #[must_use]
    pub fn pennyweights(self) -> f64 {
        self.0 / Self::PENNYWEIGHT
    }
}

impl Density {
    /// Mass of a round wire of this diameter and length.
    #[must_use]
    pub fn wire_mass(self, diameter: Length, length: Mm) -> Grams {
        let d = diameter.mm().0;
        // g/cm3 is mg/mm3.
        Grams(self.0 * core::f64::consts::FRAC_PI_4 * d * d * length.0 / 1e3)
    }

    /// The mean density of a wire of this metal with a coating of enamel: [`Self::coated`] with [`Self::ENAMEL`].
    #[must_use]
    pub fn enamelled(self, core: Length, coating: Length) -> Self {
        self.coated(core, coating, Self::ENAMEL)
    }

    /// Of the enamel on magnet wire. Common practice, from memory: polyesters and polyimides have 1.3 to 1.45 g/cm3.
    pub const ENAMEL: Self = Self(1.4);

    /// The mean density of a coated wire over its whole cross-section: a core of this density and diameter, and round
    /// it a coating of this thickness and density. By the areas of the two: `(a d^2 + b (D^2 - d^2)) / D^2`, with
    /// D = d + 2 c. Without a coating it is the core's own, to the bit.
    ///
    /// # Examples
    /// ```
    /// use turntally_core::units::{Density, Length};
    /// // A coating that doubles the diameter is three quarters of the section.
    /// let mean = Density::new(8.0).coated(Length::from_um(1_000), Length::from_um(500), Density::new(4.0));
    /// assert_eq!(mean, Density::new(5.0));
    /// ```
    #[must_use]
    pub fn coated(self, core: Length, coating: Length, of: Self) -> Self {
        if coating <= Length::ZERO {
            return self;
        }
        let (d, whole) = (core.mm().0, core.with_coating(coating).mm().0);
        let share = d * d / (whole * whole);
        Self(self.0 * share + of.0 * (1.0 - share))
    }

    /// Length of a round wire of this diameter that weighs `mass`.
    #[must_use]
    pub fn wire_length(self, diameter: Length, mass: Grams) -> Mm {
        let d = diameter.mm().0;
        Mm(mass.0 * 1e3 / (self.0 * core::f64::consts::FRAC_PI_4 * d * d))
    }
}

/// Turns of the mandrel in thousand-millionths of a turn: an exact integer, so that nothing drifts.
///
/// Range: ±9.2e9 turns.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default)]
#[cfg_attr(feature = "serde", derive(Serialize, Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Turns(i64);

impl Turns {
    /// No turn at all.
    pub const ZERO: Self = Self(0);
    /// Nano-turns in one turn.
    pub const ONE: i64 = 1_000_000_000;

    /// From thousand-millionths of a turn.
    #[must_use]
    pub const fn from_nano(nano: i64) -> Self {
        Self(nano)
    }

    /// From whole turns.
    #[must_use]
    pub const fn from_whole(turns: i32) -> Self {
        Self(turns as i64 * Self::ONE)
    }

    /// From a real number of turns, rounded to the nearest nano-turn; `None` where that is no
    /// number or does not fit.
    #[must_use]
    pub fn from_f64(turns: f64) -> Option<Self> {
        let nano = libm::round(turns * 1e9);
        (libm::fabs(nano) <= 9_223_372_036_854_774_784.0).then_some(Self(nano as i64))
    }

    /// Thousand-millionths of a turn.
    #[must_use]
    pub const fn nano(self) -> i64 {
        self.0
    }

    /// As a real number, for formulas and for showing.
    #[must_use]
    pub fn as_f64(self) -> f64 {
        self.0 as f64 / 1e9
    }

    /// The sum, or `None` where it does not fit.
    #[must_use]
    pub const fn checked_add(self, other: Self) -> Option<Self> {
        match self.0.checked_add(other.0) {
            Some(nano) => Some(Self(nano)),
            None => None,
        }
    }

    /// The difference, or `None` where it does not fit.
    #[must_use]
    pub const fn checked_sub(self, other: Self) -> Option<Self> {
        match self.0.checked_sub(other.0) {
            Some(nano) => Some(Self(nano)),
            None => None,
        }
    }
}

/// Why a text is not a quantity. The text itself is known to the caller, who says where it stood.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[non_exhaustive]
pub enum QuantityError {
    /// It does not start with a decimal number.
    NotANumber {
        /// How such a quantity is written.
        examples: &'static str,
    },
    /// A number with no unit behind it.
    NoUnit {
        /// How such a quantity is written.
        examples: &'static str,
    },
    /// A unit that this quantity does not have.
    UnknownUnit {
        /// How such a quantity is written.
        examples: &'static str,
    },
    /// `oz` may be troy or avoirdupois.
    AmbiguousOunce,
    /// A comma where the decimal point belongs.
    DecimalComma,
    /// Below zero.
    Negative,
    /// Larger than can be held.
    TooLarge,
}

impl fmt::Display for QuantityError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NotANumber { examples } => write!(f, "not a number with a unit, such as {examples}"),
            Self::NoUnit { examples } => write!(f, "a bare number: write the unit, as in {examples}"),
            Self::UnknownUnit { examples } => write!(f, "unknown unit: write it as in {examples}"),
            Self::AmbiguousOunce => f.write_str(
                "an oz could be either ounce: write ozt for troy (31.103 g) or ozav for avoirdupois (28.350 g)",
            ),
            Self::DecimalComma => f.write_str("a decimal comma: write 1.2, not 1,2"),
            Self::Negative => f.write_str("below zero: only zero or more is allowed"),
            Self::TooLarge => f.write_str("too large"),
        }
    }
}

impl core::error::Error for QuantityError {}

/// How a length is written, for messages.
pub(crate) const LENGTH_EXAMPLES: &str = "5mm or 0.2in";
const MASS_EXAMPLES: &str = "100g, 2.5ozt, 2.5ozav, 40dwt, 1kg or 1lb";

/// A number kept exactly, `numerator / denominator`, and the unit text behind it.
struct Number<'a> {
    /// Up to 18 digits of a decimal number, of a fraction up to 16.
    numerator: i128,
    /// Above zero.
    denominator: i128,
    unit: &'a str,
}

/// The most digits of each number in a fraction: `15` and `16` in `1-15/16in` have two.
const FRACTION_DIGITS: usize = 4;

/// Takes a whole number of a fraction off the front of a text.
fn leading_whole(text: &str) -> Option<(i128, &str)> {
    let (digits, rest) = text.split_at(text.find(|c: char| !c.is_ascii_digit()).unwrap_or(text.len()));
    let whole = (1..=FRACTION_DIGITS).contains(&digits.len()).then_some(digits)?;
    Some((whole.parse().ok()?, rest))
}

impl<'a> Number<'a> {
    /// Splits `1.25 mm` into its exact number and its unit. At most 18 digits; no exponent.
    fn decimal(text: &'a str, examples: &'static str) -> Result<Self, QuantityError> {
        let text = text.trim();
        let (negative, digits) = match text.strip_prefix('-') {
            Some(rest) => (true, rest),
            None => (false, text.strip_prefix('+').unwrap_or(text)),
        };
        let end = digits.find(|c: char| !c.is_ascii_digit() && c != '.').unwrap_or(digits.len());
        let (number, unit) = digits.split_at(end);
        if unit.strip_prefix(',').is_some_and(|rest| rest.starts_with(|c: char| c.is_ascii_digit())) {
            return Err(QuantityError::DecimalComma);
        }
        let (whole, part) = number.split_once('.').unwrap_or((number, ""));
        if (whole.is_empty() && part.is_empty()) || part.contains('.') {
            return Err(QuantityError::NotANumber { examples });
        }
        let mut mantissa: i128 = 0;
        for c in whole.bytes().chain(part.bytes()) {
            mantissa = mantissa * 10 + i128::from(c - b'0');
            if mantissa > 999_999_999_999_999_999 {
                return Err(QuantityError::TooLarge);
            }
        }
        // Zeros behind the point are bounded here; a mantissa that stays small would not stop them.
        let decimals = u32::try_from(part.len()).map_err(|_| QuantityError::TooLarge)?;
        if decimals > 18 {
            return Err(QuantityError::TooLarge);
        }
        if negative && mantissa != 0 {
            return Err(QuantityError::Negative);
        }
        Ok(Self { numerator: mantissa, denominator: 10_i128.pow(decimals), unit: unit.trim() })
    }

    /// Splits `3/16in`, `1-1/4in` or `1 1/4 in`; `None` for what is no such fraction.
    fn fraction(text: &'a str) -> Option<Self> {
        let (first, rest) = leading_whole(text.trim())?;
        let (whole, (top, rest)) = match rest.strip_prefix('/') {
            Some(_) => (0, (first, rest)),
            None => (first, leading_whole(rest.strip_prefix(['-', ' '])?.trim_start())?),
        };
        let (bottom, unit) = leading_whole(rest.strip_prefix('/')?)?;
        let numerator = whole * bottom + top;
        (bottom > 0).then_some(Self { numerator, denominator: bottom, unit: unit.trim() })
    }

    /// The number times `num`, rounded to the nearest integer (halves away from zero).
    fn scaled(&self, num: i128) -> Result<i64, QuantityError> {
        let den = self.denominator;
        let scaled = self.numerator.checked_mul(num).ok_or(QuantityError::TooLarge)?;
        i64::try_from((scaled + den / 2) / den).map_err(|_| QuantityError::TooLarge)
    }

    /// The number as the nearest `f64`.
    fn to_f64(&self) -> f64 {
        self.numerator as f64 / self.denominator as f64
    }
}

/// Reads `5mm`, `0.5cm`, `12m`, `400um`, `0.2in`, `3ft`, and fractions: `3/16in`, `1-1/4in`, `1 1/4in`.
/// A space before the unit is allowed; a bare number is not, nor a decimal comma.
///
/// # Examples
/// ```
/// use turntally_core::units::Length;
/// // 0.0508 in is 1.29032 mm exactly.
/// assert_eq!("0.0508in".parse(), Ok(Length::from_nm(1_290_320)));
/// assert_eq!("1-1/4in".parse(), Ok(Length::from_um(31_750)));
/// assert!("5".parse::<Length>().is_err());
/// ```
impl FromStr for Length {
    type Err = QuantityError;

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        let number = match Number::fraction(text) {
            Some(fraction) => fraction,
            None => Number::decimal(text, LENGTH_EXAMPLES)?,
        };
        let nm_per_unit = match number.unit {
            "nm" => 1,
            "um" | "µm" | "μm" => 1_000,
            "mm" => 1_000_000,
            "cm" => 10_000_000,
            "m" => 1_000_000_000,
            "in" | "\"" | "inch" => 25_400_000,
            "ft" => 304_800_000,
            "" => return Err(QuantityError::NoUnit { examples: LENGTH_EXAMPLES }),
            _ => return Err(QuantityError::UnknownUnit { examples: LENGTH_EXAMPLES }),
        };
        number.scaled(nm_per_unit).map(Self)
    }
}

/// Reads `100g`, `1.5kg`, `500mg`, `2.5ozt` (troy), `2.5ozav` (avoirdupois), `40dwt`, `60gr`, `1lb`.
/// `oz` alone is refused, since it could be either ounce.
impl FromStr for Grams {
    type Err = QuantityError;

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        let decimal = Number::decimal(text, MASS_EXAMPLES)?;
        let grams_per_unit = match decimal.unit {
            "mg" => 1e-3,
            "g" => 1.0,
            "kg" => 1e3,
            "ozt" => Self::TROY_OUNCE,
            "ozav" => Self::OUNCE,
            "dwt" => Self::PENNYWEIGHT,
            "gr" => Self::GRAIN,
            "lb" => Self::POUND,
            "oz" => return Err(QuantityError::AmbiguousOunce),
            "" => return Err(QuantityError::NoUnit { examples: MASS_EXAMPLES }),
            _ => return Err(QuantityError::UnknownUnit { examples: MASS_EXAMPLES }),
        };
        Ok(Self(decimal.to_f64() * grams_per_unit))
    }
}

/// Reads `0.4s`, `400ms` or `250us`; a bare number is refused.
impl FromStr for Duration {
    type Err = QuantityError;

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        const EXAMPLES: &str = "0.4s or 400ms";
        let decimal = Number::decimal(text, EXAMPLES)?;
        let us_per_unit = match decimal.unit {
            "us" | "µs" => 1,
            "ms" => 1_000,
            "s" => 1_000_000,
            "min" => 60_000_000,
            "h" => 3_600_000_000,
            "" => return Err(QuantityError::NoUnit { examples: EXAMPLES }),
            _ => return Err(QuantityError::UnknownUnit { examples: EXAMPLES }),
        };
        decimal.scaled(us_per_unit).map(|us| Self::from_micros(us.unsigned_abs()))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        /// As by the remainder, and nothing where 64 bits do not hold it.
        #[test]
        fn quotients_are_rounded(a in any::<i64>(), c in any::<i64>(), b in 1..i64::MAX) {
            for a in [i128::from(a) * i128::from(c), i128::from(a) * i128::from(b), i128::from(a)] {
                let wide = i128::from(b);
                prop_assert_eq!(floor_div(a, b), i64::try_from(a.div_euclid(wide)).ok());
                prop_assert_eq!(ceil_div(a, b), i64::try_from(-(-a).div_euclid(wide)).ok());
            }
        }
    }

    proptest! {
        /// A coated wire weighs what its core and the ring of coating round it weigh, each by its own area.
        #[test]
        fn coated_wire_weighs_its_two_parts(
            wire_um in 20_i64..5_000, coating_um in 1_i64..200, mm in 1.0..1e6_f64, metal in 1.0..22.0_f64, coat in 0.5..3.0_f64,
        ) {
            let (wire, coating) = (Length::from_um(wire_um), Length::from_um(coating_um));
            let density = Density::new(metal).coated(wire, coating, Density::new(coat));
            let mass = density.wire_mass(wire + coating + coating, Mm::new(mm)).get();
            // Areas by radii: r^2 and (r + c)^2 - r^2 = c (2 r + c), in square millimetres.
            let (r, c) = (wire_um as f64 / 2e3, coating_um as f64 / 1e3);
            let parts = core::f64::consts::PI * (r * r * metal + c * (2.0 * r + c) * coat) * mm / 1e3;
            prop_assert!((mass / parts - 1.0).abs() < 1e-12, "{mass} of {parts}");
            prop_assert_eq!(Density::new(metal).coated(wire, Length::ZERO, Density::new(coat)), Density::new(metal));
        }
    }

    /// Decimal inches are kept exactly: no binary fraction on the way.
    #[test]
    fn inch_text_is_exact() {
        assert_eq!("0.0508in".parse(), Ok(Length::from_nm(1_290_320)));
        assert_eq!(" 0.0001 in ".parse(), Ok(Length::from_inch_e4(1)));
        assert_eq!("4/0in".parse::<Length>(), Err(QuantityError::UnknownUnit { examples: LENGTH_EXAMPLES }));
    }

    /// Each refused text says its own reason.
    #[test]
    fn refusals_name_their_reason() {
        assert_eq!("5".parse::<Length>(), Err(QuantityError::NoUnit { examples: LENGTH_EXAMPLES }));
        assert_eq!("-5mm".parse::<Length>(), Err(QuantityError::Negative));
        assert_eq!("".parse::<Length>(), Err(QuantityError::NotANumber { examples: LENGTH_EXAMPLES }));
        assert_eq!("1.2.3mm".parse::<Length>(), Err(QuantityError::NotANumber { examples: LENGTH_EXAMPLES }));
        assert_eq!("1e3mm".parse::<Length>(), Err(QuantityError::UnknownUnit { examples: LENGTH_EXAMPLES }));
        assert_eq!("99999999999999999m".parse::<Length>(), Err(QuantityError::TooLarge));
        assert_eq!("2oz".parse::<Grams>(), Err(QuantityError::AmbiguousOunce));
        for text in ["1,2mm", "1,2", "0,051in", "+1,2 mm"] {
            assert_eq!(text.parse::<Length>(), Err(QuantityError::DecimalComma), "{text}");
        }
        assert_eq!("2,5ozt".parse::<Grams>(), Err(QuantityError::DecimalComma));
    }

    /// By hand, in sixty-fourths of 25.4 mm: 3/16 in is 4.7625 mm, 1/64 in is 0.396875 mm.
    #[test]
    fn fractions_are_exact() {
        for (text, nm) in [
            ("3/16in", 4_762_500),
            ("1/64 in", 396_875),
            ("1-1/4in", 31_750_000),
            ("1 1/4in", 31_750_000),
            (" 1  1/4 \"", 31_750_000),
            ("5/16\"", 7_937_500),
            ("0/4in", 0),
            ("1/3in", 8_466_667),
            ("1/2mm", 500_000),
        ] {
            assert_eq!(text.parse(), Ok(Length::from_nm(nm)), "{text}");
        }
        assert_eq!("3/16".parse::<Length>(), Err(QuantityError::NoUnit { examples: LENGTH_EXAMPLES }));
        for text in ["4/0in", "1/in", "1//2in", "1.5/2in", "1-1in", "1/2/3in", "12345/2in", "1--1/4in"] {
            assert_eq!(
                text.parse::<Length>(),
                Err(QuantityError::UnknownUnit { examples: LENGTH_EXAMPLES }),
                "{text}"
            );
        }
        assert_eq!("-1/4in".parse::<Length>(), Err(QuantityError::Negative));
    }

    /// Lengths print the digits they have and no others.
    #[test]
    fn lengths_print_their_own_digits() {
        extern crate std;
        use std::string::ToString;
        assert_eq!(Length::from_nm(1_290_320).to_string(), "1.29032 mm");
        assert_eq!(Length::from_um(5_000).to_string(), "5 mm");
        assert_eq!(Length::from_nm(-50_000).to_string(), "-0.05 mm");
    }

    /// A length and a mass of the same wire are each other's inverse.
    #[test]
    fn wire_mass_and_length_are_inverse() {
        let density = Density::new(8.89);
        let wire = Length::from_um(1_200);
        let mass = density.wire_mass(wire, Mm::new(12_345.0));
        let back = density.wire_length(wire, mass).get();
        assert!((back - 12_345.0).abs() < 1e-8, "{back}");
    }
}
