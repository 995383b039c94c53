//! Wire sizes: the three gauge tables, how a size is written, and which sizes lie next to a measured
//! wire.
//!
//! A gauge number stands for its **tabulated** diameter, not for the formula behind the table: wire is
//! drawn to the table. All tables are whole ten-thousandths of an inch, so every diameter here is exact.

use core::fmt;
use core::str::FromStr;

use crate::units::{Length, QuantityError};

/// The table a gauge number belongs to. A number alone means two different wires.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum GaugeSystem {
    /// American wire gauge, also called Brown & Sharpe: ASTM B258, sizes 4/0 to 44.
    ///
    /// The table gives `0.005 in * 92^((36 - n) / 39)` to at most four figures and no finer than
    /// 0.0001 in down to No. 44 (ASTM B258-02 as quoted by an encyclopedia). Sizes 4/0 to 40 are
    /// printed in ASTM B3-95 Table 1; 41 to 44 follow from the same rule.
    Awg,
    /// British imperial standard wire gauge: BS 3737:1964, sizes 7/0 to 50.
    ///
    /// The legal table of 1884, no formula. Three sources agree (GNU units `brwiregauge`, the fluids
    /// library's "BSWG", simetric.co.uk) but for No. 28, which fluids prints as 0.0149 in against
    /// 0.0148 in elsewhere. It is not the US steel wire gauge.
    Swg,
    /// US steel wire gauge, also called Washburn & Moen: sizes 7/0 to 50, for steel wire in America.
    ///
    /// No formula. Two copies of one table agree (engineersedge.com, the University of North Carolina's
    /// dictionary of units), and wovenwire.com for 7/0 to 20.
    Steel,
}

/// AWG diameters in 0.0001 in, from 4/0 (n = -3).
const AWG: [u16; 48] = [
    4600, 4096, 3648, 3249, 2893, 2576, 2294, 2043, 1819, 1620, 1443, 1285, 1144, 1019, 907, 808, 720, 641,
    571, 508, 453, 403, 359, 320, 285, 253, 226, 201, 179, 159, 142, 126, 113, 100, 89, 80, 71, 63, 56, 50,
    45, 40, 35, 31, 28, 25, 22, 20,
];

/// SWG diameters in 0.0001 in, from 7/0 (n = -6).
const SWG: [u16; 57] = [
    5000, 4640, 4320, 4000, 3720, 3480, 3240, 3000, 2760, 2520, 2320, 2120, 1920, 1760, 1600, 1440, 1280,
    1160, 1040, 920, 800, 720, 640, 560, 480, 400, 360, 320, 280, 240, 220, 200, 180, 164, 148, 136, 124,
    116, 108, 100, 92, 84, 76, 68, 60, 52, 48, 44, 40, 36, 32, 28, 24, 20, 16, 12, 10,
];

/// W&M diameters in 0.0001 in, from 7/0 (n = -6).
const STEEL: [u16; 57] = [
    4900, 4615, 4305, 3938, 3625, 3310, 3065, 2830, 2625, 2437, 2253, 2070, 1920, 1770, 1620, 1483, 1350,
    1205, 1055, 915, 800, 720, 625, 540, 475, 410, 348, 317, 286, 258, 230, 204, 181, 173, 162, 150, 140,
    132, 128, 118, 104, 95, 90, 85, 80, 75, 70, 66, 62, 60, 58, 55, 52, 50, 48, 46, 44,
];

impl GaugeSystem {
    const fn table(self) -> &'static [u16] {
        match self {
            Self::Awg => &AWG,
            Self::Swg => &SWG,
            Self::Steel => &STEEL,
        }
    }

    /// The number of the table's first row.
    const fn first(self) -> i8 {
        match self {
            Self::Awg => -3,
            Self::Swg | Self::Steel => -6,
        }
    }

    /// The thickest size of the table: 4/0 AWG, 7/0 SWG, 7/0 W&M.
    #[must_use]
    pub const fn thickest(self) -> Gauge {
        Gauge { system: self, number: self.first() }
    }

    /// The thinnest size of the table: 44 AWG, 50 SWG, 50 W&M.
    #[must_use]
    pub const fn thinnest(self) -> Gauge {
        Gauge { system: self, number: self.first() + (self.table().len() - 1) as i8 }
    }

    /// Every size of the table, from the thickest to the thinnest.
    pub fn sizes(self) -> impl Iterator<Item = Gauge> {
        (self.first()..=self.thinnest().number).map(move |number| Gauge { system: self, number })
    }
}

impl fmt::Display for GaugeSystem {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Awg => "AWG",
            Self::Swg => "SWG",
            Self::Steel => "W&M",
        })
    }
}

/// A size of one of the gauge tables.
///
/// The number is counted on through the zeros: 1, 0, then 2/0 is -1, 3/0 is -2, 4/0 is -3.
///
/// # Invariants
/// The number is in the table, so a diameter always exists.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Gauge {
    system: GaugeSystem,
    number: i8,
}

impl Gauge {
    /// A size by its table and number, or `None` where the table has none such.
    #[must_use]
    pub const fn new(system: GaugeSystem, number: i8) -> Option<Self> {
        if number < system.first() || number > system.thinnest().number {
            return None;
        }
        Some(Self { system, number })
    }

    /// An American size, -3 (4/0) to 44, or `None`.
    ///
    /// # Examples
    /// ```
    /// use turntally_core::{gauge::Gauge, units::Length};
    /// // ASTM B559-12 Table 1: No. 20 is 0.0320 in, 0.813 mm.
    /// assert_eq!(Gauge::awg(20).map(Gauge::diameter), Some(Length::from_nm(812_800)));
    /// ```
    #[must_use]
    pub const fn awg(number: i8) -> Option<Self> {
        Self::new(GaugeSystem::Awg, number)
    }

    /// A British size, -6 (7/0) to 50, or `None`.
    #[must_use]
    pub const fn swg(number: i8) -> Option<Self> {
        Self::new(GaugeSystem::Swg, number)
    }

    /// Every gauge whose tabulated diameter is this one to the nanometre, in the order AWG, SWG, W&M: none for most
    /// diameters.
    ///
    /// # Examples
    /// ```
    /// use turntally_core::{gauge::Gauge, units::Length};
    /// // ASTM B258: No. 30 is 0.0100 in. BS 3737: No. 33 is 0.0100 in.
    /// let both = [Gauge::awg(30), Gauge::swg(33)].into_iter().flatten();
    /// assert!(Gauge::of_diameter(Length::from_inch_e4(100)).eq(both));
    /// assert_eq!(Gauge::of_diameter(Length::from_um(1_200)).next(), None);
    /// ```
    pub fn of_diameter(diameter: Length) -> impl Iterator<Item = Self> {
        [GaugeSystem::Awg, GaugeSystem::Swg, GaugeSystem::Steel]
            .into_iter()
            .flat_map(GaugeSystem::sizes)
            .filter(move |gauge| gauge.diameter() == diameter)
    }

    /// The table it belongs to.
    #[must_use]
    pub const fn system(self) -> GaugeSystem {
        self.system
    }

    /// Its number; zero for 0, -1 for 2/0 and so on.
    #[must_use]
    pub const fn number(self) -> i8 {
        self.number
    }

    /// Its tabulated diameter, exact. Source: see [`GaugeSystem`].
    #[must_use]
    pub fn diameter(self) -> Length {
        let row = usize::try_from(self.number - self.system.first()).unwrap_or_default();
        // In the table by the type's invariant.
        self.system.table().get(row).map_or(Length::ZERO, |e4| Length::from_inch_e4(i64::from(*e4)))
    }

    /// The next thinner size of the same table, or `None` at its end.
    #[must_use]
    pub const fn thinner(self) -> Option<Self> {
        Self::new(self.system, self.number + 1)
    }

    /// The next thicker size of the same table, or `None` at its end.
    #[must_use]
    pub const fn thicker(self) -> Option<Self> {
        Self::new(self.system, self.number - 1)
    }

    /// The sizes on either side of it in the same table.
    #[must_use]
    pub const fn neighbours(self) -> Neighbours<Self> {
        Neighbours { thinner: self.thinner(), thicker: self.thicker() }
    }

    /// How far wire sold as this size may be from its diameter; see [`Tolerance::of`].
    #[must_use]
    pub fn tolerance(self) -> Tolerance {
        Tolerance::of(self.diameter())
    }
}

/// Written as it is spoken: `16 AWG`, `2/0 SWG`.
impl fmt::Display for Gauge {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let number = i64::from(self.number);
        let (number, of) = if number < 0 { (1 - number, "/0 ") } else { (number, " ") };
        write!(f, "{number}{of}{}", self.system)
    }
}

/// The sizes on either side of one; `None` past the end of the range.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Neighbours<T> {
    /// The next thinner size.
    pub thinner: Option<T>,
    /// The next thicker size.
    pub thicker: Option<T>,
}

/// How far a drawn wire may be from its nominal diameter.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Tolerance {
    /// Allowed either way.
    pub plus_minus: Length,
    /// Where that is from.
    pub source: &'static str,
}

impl Tolerance {
    /// The tolerance of a round wire of this nominal diameter: 1 %, to the nearest 0.0001 in, at least
    /// 0.0001 in.
    ///
    /// The gauge tables themselves give none (ASTM B258 lists nominal diameters only). ASTM B1-01,
    /// 5.4, gives this one for hard-drawn **copper** wire of 0.0403 in to 0.4600 in. For other metals
    /// and sizes it is taken over as common practice, no source. Below zero counts as zero.
    ///
    /// # Examples
    /// ```
    /// use turntally_core::{gauge::Tolerance, units::Length};
    /// // 1 % of 0.0508 in is 0.000508 in, to the nearest 0.0001 in: 0.0005 in.
    /// assert_eq!(Tolerance::of(Length::from_inch_e4(508)).plus_minus, Length::from_inch_e4(5));
    /// ```
    #[must_use]
    pub fn of(nominal: Length) -> Self {
        // A hundredth, counted in steps of 2,540 nm, halves up.
        let steps = (nominal.nm().max(0) / 1_270 + 100) / 200;
        let published = (Length::from_inch_e4(403)..=Length::from_inch_e4(4600)).contains(&nominal);
        Self {
            plus_minus: Length::from_inch_e4(steps.max(1)),
            source: if published {
                "ASTM B1-01, 5.4, for hard-drawn copper; for other metals common practice, no source"
            } else {
                "common practice, no source"
            },
        }
    }
}

/// A wire's size as it was written: a gauge number, or a diameter.
///
/// Read with [`str::parse`]: `16awg`, `4/0awg`, `0000awg`, `18swg`, `16wm` or `16w&m`, `1.2mm`, `0.051in` (any unit that
/// [`Length`] has), in capitals or not, with or without a space before the unit. A bare number is
/// refused, since it could be either gauge or millimetres, and so is `16ga`, which could be any of the tables.
///
/// A diameter written or given to [`WireSize::from_diameter`] is within
/// [`WireSize::MIN`]`..=`[`WireSize::MAX`].
///
/// # Examples
/// ```
/// use turntally_core::{gauge::WireSize, units::Length};
/// let size: WireSize = "18swg".parse()?;
/// // BS 3737: No. 18 is 0.048 in, 1.2192 mm exactly.
/// assert_eq!(size.diameter(), Length::from_nm(1_219_200));
/// assert!("18".parse::<WireSize>().is_err());
/// # Ok::<(), turntally_core::gauge::WireSizeError>(())
/// ```
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum WireSize {
    /// A size of a gauge table.
    Gauge(Gauge),
    /// A diameter, measured or from a metric or inch range.
    Diameter(Length),
}

impl WireSize {
    /// The thinnest wire taken: 0.02 mm, finer than any gauge of the tables. Nobody winds rings of
    /// it; the bound is there to catch a slipped decimal point.
    pub const MIN: Length = Length::from_um(20);
    /// The thickest wire taken: 15 mm, past the 12.7 mm of 7/0 SWG. A bound of the same kind.
    pub const MAX: Length = Length::from_um(15_000);

    /// From a diameter.
    ///
    /// # Errors
    /// [`WireSizeError::DiameterOutOfRange`] outside [`WireSize::MIN`]`..=`[`WireSize::MAX`].
    pub fn from_diameter(diameter: Length) -> Result<Self, WireSizeError> {
        if (Self::MIN..=Self::MAX).contains(&diameter) {
            Ok(Self::Diameter(diameter))
        } else {
            Err(WireSizeError::DiameterOutOfRange)
        }
    }

    /// The wire's diameter: the gauge table's, or the one given.
    #[must_use]
    pub fn diameter(self) -> Length {
        match self {
            Self::Gauge(gauge) => gauge.diameter(),
            Self::Diameter(diameter) => diameter,
        }
    }
}

impl From<Gauge> for WireSize {
    fn from(gauge: Gauge) -> Self {
        Self::Gauge(gauge)
    }
}

/// Written so that it can be read again: `16 AWG`, `1.2 mm`.
impl fmt::Display for WireSize {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Gauge(gauge) => gauge.fmt(f),
            Self::Diameter(diameter) => diameter.fmt(f),
        }
    }
}

/// Why a text or a length is no wire size. The text itself is known to the caller.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub enum WireSizeError {
    /// It does not start with a number.
    NotASize,
    /// A number with no unit behind it.
    NoUnit,
    /// A unit that a wire size does not have.
    UnknownUnit,
    /// `ga` may be any of the three tables.
    AmbiguousGauge,
    /// A comma where the decimal point belongs.
    DecimalComma,
    /// A number that this gauge table does not have.
    GaugeOutOfRange(GaugeSystem),
    /// A diameter outside [`WireSize::MIN`]`..=`[`WireSize::MAX`].
    DiameterOutOfRange,
}

const EXAMPLES: &str = "16awg, 18swg, 1.2mm or 0.051in";

impl fmt::Display for WireSizeError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NotASize => write!(f, "not a wire size: write it as in {EXAMPLES}"),
            Self::NoUnit => write!(f, "a bare number: write the unit, as in {EXAMPLES}"),
            Self::UnknownUnit => write!(f, "unknown unit: write it as in {EXAMPLES}"),
            Self::AmbiguousGauge => f.write_str(
                "a gauge could be any of three: write 16awg (American, 1.29 mm), 16swg (British, 1.63 mm) or 16wm (US steel wire, 1.59 mm)",
            ),
            Self::DecimalComma => QuantityError::DecimalComma.fmt(f),
            Self::GaugeOutOfRange(system) => {
                write!(f, "no such gauge: {} to {} are allowed", system.thickest(), system.thinnest())
            }
            Self::DiameterOutOfRange => {
                write!(f, "wire diameter out of range: {} to {} are allowed", WireSize::MIN, WireSize::MAX)
            }
        }
    }
}

impl core::error::Error for WireSizeError {}

impl FromStr for WireSize {
    type Err = WireSizeError;

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        // Longer than any size with 18 digits, so nothing sensible is cut off by the limit.
        let mut lower = heapless::String::<40>::try_from(text.trim()).map_err(|_| WireSizeError::NotASize)?;
        lower.make_ascii_lowercase();
        for (suffix, system) in [
            ("awg", GaugeSystem::Awg),
            ("swg", GaugeSystem::Swg),
            ("w&m", GaugeSystem::Steel),
            ("wm", GaugeSystem::Steel),
        ] {
            if let Some(number) = lower.strip_suffix(suffix) {
                return gauge_number(number.trim(), system)
                    .and_then(|number| {
                        Gauge::new(system, number).ok_or(WireSizeError::GaugeOutOfRange(system))
                    })
                    .map(Self::Gauge);
            }
        }
        for suffix in ["ga", "ga.", "gauge"] {
            if lower.strip_suffix(suffix).is_some_and(|number| {
                gauge_number(number.trim(), GaugeSystem::Awg) != Err(WireSizeError::NotASize)
            }) {
                return Err(WireSizeError::AmbiguousGauge);
            }
        }
        // `4/0` alone is a gauge of an unsaid table, not a length in an unknown unit.
        if !lower.is_empty() && lower.bytes().all(|c| c.is_ascii_digit() || c == b'/') {
            return Err(WireSizeError::NoUnit);
        }
        let diameter = lower.parse::<Length>().map_err(|why| match why {
            QuantityError::NotANumber { .. } | QuantityError::AmbiguousOunce => WireSizeError::NotASize,
            QuantityError::NoUnit { .. } => WireSizeError::NoUnit,
            QuantityError::UnknownUnit { .. } => WireSizeError::UnknownUnit,
            QuantityError::DecimalComma => WireSizeError::DecimalComma,
            QuantityError::Negative | QuantityError::TooLarge => WireSizeError::DiameterOutOfRange,
        })?;
        Self::from_diameter(diameter)
    }
}

/// Reads the number before the name of its table: `16`, `4/0` or `0000`. One that is a number but no gauge
/// comes back as one that no table has.
fn gauge_number(text: &str, system: GaugeSystem) -> Result<i8, WireSizeError> {
    let out_of_range = WireSizeError::GaugeOutOfRange(system);
    let unsigned = text.strip_prefix('-').unwrap_or(text);
    if unsigned.is_empty() || !unsigned.bytes().all(|c| c.is_ascii_digit() || c == b'/' || c == b'.') {
        return Err(WireSizeError::NotASize);
    }
    let zeros = match text.strip_suffix("/0") {
        Some(zeros) => zeros.parse::<i8>().map_err(|_| out_of_range)?,
        None if text.bytes().all(|c| c == b'0') => i8::try_from(text.len()).map_err(|_| out_of_range)?,
        // A sign would name the sizes past 0 by our own count, which is never written.
        None => return text.parse::<u8>().ok().and_then(|n| i8::try_from(n).ok()).ok_or(out_of_range),
    };
    if zeros < 1 { Err(out_of_range) } else { Ok(1 - zeros) }
}

/// The size of one range that lies nearest to a measured wire.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Match {
    /// The nearest size. Of two equally near, the thicker: neither is more right, and the thicker one
    /// asks for more wire, which is the safe side.
    pub size: WireSize,
    /// Measured minus nominal.
    pub deviation: Length,
    /// The sizes of the same range on either side of `size`.
    pub neighbours: Neighbours<WireSize>,
}

impl Match {
    /// The deviation as a fraction of the nominal diameter: 0.01 is 1 % over.
    #[must_use]
    pub fn relative(&self) -> f64 {
        self.deviation.nm() as f64 / self.size.diameter().nm() as f64
    }
}

/// A measured wire's nearest size in each range.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Nearest {
    /// Among the American sizes, 4/0 to 44.
    pub awg: Match,
    /// Among the British sizes, 7/0 to 50.
    pub swg: Match,
    /// Among the US steel wire sizes, 7/0 to 50.
    pub steel: Match,
    /// Among the metric sizes: every 0.05 mm up to 3 mm, every 0.1 mm to 15 mm (common practice, no
    /// source).
    pub metric: Match,
    /// Among whole thousandths of an inch, 0.001 in to 0.590 in (common practice, no source).
    pub inch: Match,
}

/// A range of sizes in rising order of diameter.
#[derive(Clone, Copy)]
enum Range {
    Gauge(GaugeSystem),
    Metric,
    Inch,
}

impl Range {
    fn len(self) -> usize {
        match self {
            Self::Gauge(system) => system.table().len(),
            // 0.05 mm to 3 mm, then 3.1 mm to 15 mm.
            Self::Metric => 60 + 120,
            Self::Inch => 590,
        }
    }

    /// The size at `index`; `None` past the end.
    fn size(self, index: usize) -> Option<WireSize> {
        if index >= self.len() {
            return None;
        }
        // Below 590, by the check above.
        let step = index as i64 + 1;
        Some(match self {
            Self::Gauge(system) => {
                WireSize::Gauge(Gauge { system, number: system.thinnest().number - index as i8 })
            }
            Self::Metric if step <= 60 => WireSize::Diameter(Length::from_um(50 * step)),
            Self::Metric => WireSize::Diameter(Length::from_um(3_000 + 100 * (step - 60))),
            Self::Inch => WireSize::Diameter(Length::from_inch_e4(10 * step)),
        })
    }

    fn nearest(self, measured: Length) -> Match {
        let off = |size: WireSize| measured.nm() - size.diameter().nm();
        let mut index = 0;
        let mut best = match self {
            Self::Gauge(system) => WireSize::Gauge(system.thinnest()),
            Self::Metric => WireSize::Diameter(Length::from_um(50)),
            Self::Inch => WireSize::Diameter(Length::from_inch_e4(10)),
        };
        for next in 1..self.len() {
            match self.size(next) {
                // Rising, and equality goes on: the thicker of two equally near.
                Some(size) if off(size).abs() <= off(best).abs() => (index, best) = (next, size),
                _ => break,
            }
        }
        Match {
            size: best,
            deviation: Length::from_nm(off(best)),
            neighbours: Neighbours {
                thinner: index.checked_sub(1).and_then(|i| self.size(i)),
                thicker: self.size(index + 1),
            },
        }
    }
}

/// Which sizes a measured wire is nearest to.
///
/// # Errors
/// [`WireSizeError::DiameterOutOfRange`] outside [`WireSize::MIN`]`..=`[`WireSize::MAX`].
///
/// # Examples
/// ```
/// use turntally_core::{gauge::{nearest, Gauge, WireSize}, units::Length};
/// let near = nearest(Length::from_um(1_020))?;
/// // ASTM: No. 18 is 1.024 mm; BS 3737: No. 19 is 1.016 mm.
/// assert_eq!(Some(near.awg.size), Gauge::awg(18).map(WireSize::Gauge));
/// assert_eq!(Some(near.swg.size), Gauge::swg(19).map(WireSize::Gauge));
/// assert_eq!(near.swg.deviation, Length::from_um(4));
/// # Ok::<(), turntally_core::gauge::WireSizeError>(())
/// ```
pub fn nearest(measured: Length) -> Result<Nearest, WireSizeError> {
    WireSize::from_diameter(measured)?;
    Ok(Nearest {
        awg: Range::Gauge(GaugeSystem::Awg).nearest(measured),
        swg: Range::Gauge(GaugeSystem::Swg).nearest(measured),
        steel: Range::Gauge(GaugeSystem::Steel).nearest(measured),
        metric: Range::Metric.nearest(measured),
        inch: Range::Inch.nearest(measured),
    })
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "a test that cannot go on should stop")]
mod tests {
    extern crate std;
    use std::string::ToString;

    use super::*;
    use proptest::prelude::*;

    fn size(text: &str) -> Result<WireSize, WireSizeError> {
        text.parse()
    }

    /// Every way of writing the zeros means the same size.
    #[test]
    fn zeros_written_either_way_are_one_size() {
        for (text, gauge) in [
            ("0awg", Gauge::awg(0)),
            ("1/0 AWG", Gauge::awg(0)),
            ("00awg", Gauge::awg(-1)),
            ("2/0Awg", Gauge::awg(-1)),
            ("4/0awg", Gauge::awg(-3)),
            ("0000AWG", Gauge::awg(-3)),
            ("7/0swg", Gauge::swg(-6)),
            ("0000000 swg", Gauge::swg(-6)),
            ("16awg", Gauge::awg(16)),
            ("50 SWG", Gauge::swg(50)),
        ] {
            assert_eq!(size(text), Ok(WireSize::Gauge(gauge.unwrap())), "{text}");
        }
    }

    /// Diameters are taken in any length unit, in capitals too.
    #[test]
    fn diameters_are_exact_in_any_unit() {
        assert_eq!(size("1.2mm"), Ok(WireSize::Diameter(Length::from_um(1_200))));
        assert_eq!(size(" 1.2 MM "), Ok(WireSize::Diameter(Length::from_um(1_200))));
        assert_eq!(size("0.051IN"), Ok(WireSize::Diameter(Length::from_inch_e4(510))));
        assert_eq!(size("0.02mm"), Ok(WireSize::Diameter(WireSize::MIN)));
        assert_eq!(size("15mm"), Ok(WireSize::Diameter(WireSize::MAX)));
    }

    /// Each refused text says its own reason.
    #[test]
    fn refusals_name_their_reason() {
        for text in ["16", "1.2", "4/0", "0000"] {
            assert_eq!(size(text), Err(WireSizeError::NoUnit), "{text}");
        }
        for text in ["", "awg", "thin", "xawg", "-awg", "mm", "1.2.3mm"] {
            assert_eq!(size(text), Err(WireSizeError::NotASize), "{text}");
        }
        assert_eq!(size(&"1".repeat(60)), Err(WireSizeError::NotASize));
        for text in
            ["45awg", "5/0awg", "00000awg", "0/0awg", "-1awg", "-2/0awg", "300awg", "16.5awg", "1/2awg"]
        {
            assert_eq!(size(text), Err(WireSizeError::GaugeOutOfRange(GaugeSystem::Awg)), "{text}");
        }
        for text in ["51swg", "8/0swg", "/0swg"] {
            assert_eq!(size(text), Err(WireSizeError::GaugeOutOfRange(GaugeSystem::Swg)), "{text}");
        }
        for text in ["0mm", "0.019999mm", "15.000001mm", "-1mm", "1m", "99999999999999999999mm"] {
            assert_eq!(size(text), Err(WireSizeError::DiameterOutOfRange), "{text}");
        }
        for text in ["1.2kg", "16awgs", "1.2mg", "16g", "4/0in"] {
            assert_eq!(size(text), Err(WireSizeError::UnknownUnit), "{text}");
        }
        for text in ["16ga", "16 GA", "16ga.", "16 gauge", "4/0ga"] {
            assert_eq!(size(text), Err(WireSizeError::AmbiguousGauge), "{text}");
        }
        for text in ["1,2mm", "1,2", "0,051 in"] {
            assert_eq!(size(text), Err(WireSizeError::DecimalComma), "{text}");
        }
        assert_eq!(size("1/16in"), Ok(WireSize::Diameter(Length::from_nm(1_587_500))));
    }

    /// A refusal is one line that names what is allowed.
    #[test]
    fn refusals_say_what_is_allowed() {
        assert_eq!(
            WireSizeError::NoUnit.to_string(),
            "a bare number: write the unit, as in 16awg, 18swg, 1.2mm or 0.051in"
        );
        assert_eq!(
            WireSizeError::GaugeOutOfRange(GaugeSystem::Swg).to_string(),
            "no such gauge: 7/0 SWG to 50 SWG are allowed"
        );
        assert_eq!(
            WireSizeError::DiameterOutOfRange.to_string(),
            "wire diameter out of range: 0.02 mm to 15 mm are allowed"
        );
        let line = WireSizeError::AmbiguousGauge.to_string();
        for system in [GaugeSystem::Awg, GaugeSystem::Swg, GaugeSystem::Steel] {
            let diameter = Gauge::new(system, 16).unwrap().diameter();
            assert!(line.contains(&std::format!("{:.2} mm", diameter.mm().get())), "{line}");
        }
    }

    /// Going thinner from the thickest visits every size once, each thinner than the one before.
    #[test]
    fn walking_thinner_visits_the_whole_table() {
        for (system, count) in [(GaugeSystem::Awg, 48), (GaugeSystem::Swg, 57)] {
            let mut here = system.thickest();
            assert_eq!(here.thicker(), None);
            let mut visited = 1;
            while let Some(next) = here.neighbours().thinner {
                assert!(next.diameter() < here.diameter(), "{next}");
                assert_eq!(next.neighbours().thicker, Some(here));
                here = next;
                visited += 1;
            }
            assert_eq!((here, visited), (system.thinnest(), count));
            assert_eq!(system.sizes().count(), count);
        }
    }

    /// A wire halfway between two sizes counts as the thicker; a nanometre less and it is the thinner.
    #[test]
    fn halfway_between_two_sizes_is_the_thicker() {
        let near = nearest(Length::from_um(1_025)).unwrap();
        assert_eq!(near.metric.size, WireSize::Diameter(Length::from_um(1_050)));
        assert_eq!(near.metric.deviation, Length::from_um(-25));
        assert!((near.metric.relative() + 25.0 / 1050.0).abs() < 1e-15);
        let near = nearest(Length::from_nm(1_024_999)).unwrap();
        assert_eq!(near.metric.size, WireSize::Diameter(Length::from_um(1_000)));
        assert_eq!(near.metric.neighbours.thinner, Some(WireSize::Diameter(Length::from_um(950))));
        assert_eq!(near.metric.neighbours.thicker, Some(WireSize::Diameter(Length::from_um(1_050))));
    }

    /// The metric step changes at 3 mm.
    #[test]
    fn metric_steps_widen_above_three_millimetres() {
        let near = nearest(Length::from_um(3_000)).unwrap().metric;
        assert_eq!(near.size, WireSize::Diameter(Length::from_um(3_000)));
        assert_eq!(near.neighbours.thinner, Some(WireSize::Diameter(Length::from_um(2_950))));
        assert_eq!(near.neighbours.thicker, Some(WireSize::Diameter(Length::from_um(3_100))));
    }

    /// At the ends of the allowed range the nearest sizes are the ends of the tables.
    #[test]
    fn extreme_wires_match_the_ends_of_the_tables() {
        let thin = nearest(WireSize::MIN).unwrap();
        assert_eq!(thin.awg.size, WireSize::Gauge(GaugeSystem::Awg.thinnest()));
        assert_eq!(thin.metric.size, WireSize::Diameter(Length::from_um(50)));
        assert_eq!(thin.inch.neighbours.thinner, None);
        let thick = nearest(WireSize::MAX).unwrap();
        assert_eq!(thick.swg.size, WireSize::Gauge(GaugeSystem::Swg.thickest()));
        assert_eq!(thick.metric.size, WireSize::Diameter(WireSize::MAX));
        assert_eq!(thick.metric.neighbours.thicker, None);
        assert_eq!(thick.inch.size, WireSize::Diameter(Length::from_inch_e4(5_900)));
        assert_eq!(nearest(Length::ZERO), Err(WireSizeError::DiameterOutOfRange));
    }

    /// Copper wire of 0.0403 in and up has the published tolerance, finer wire the assumed one.
    #[test]
    fn tolerance_says_where_it_is_published() {
        let at = |e4| Tolerance::of(Length::from_inch_e4(e4));
        assert_eq!(at(403).plus_minus, Length::from_inch_e4(4));
        assert!(at(403).source.starts_with("ASTM B1-01"));
        assert!(at(4600).source.starts_with("ASTM B1-01"));
        assert_eq!(at(4600).plus_minus, Length::from_inch_e4(46));
        assert_eq!(at(450).plus_minus, Length::from_inch_e4(5));
        assert_eq!(at(449).plus_minus, Length::from_inch_e4(4));
        assert_eq!(at(359).source, "common practice, no source");
        assert_eq!(at(20).plus_minus, Length::from_inch_e4(1));
    }

    proptest! {
        /// No text whatever makes the parser panic, and what it takes is within the allowed range.
        #[test]
        fn any_text_is_a_size_in_range_or_refused(text in "\\PC{0,12}(awg|SWG|mm|in|)") {
            if let Ok(size) = size(&text) {
                prop_assert!((WireSize::MIN..=WireSize::MAX).contains(&size.diameter()));
            }
        }

        /// A size reads back from what it prints.
        #[test]
        fn printed_sizes_read_back(nm in 20_000_i64..=15_000_000, number in -6_i8..=50, american: bool) {
            let diameter = WireSize::Diameter(Length::from_nm(nm));
            prop_assert_eq!(size(&diameter.to_string()), Ok(diameter));
            let system = if american { GaugeSystem::Awg } else { GaugeSystem::Swg };
            if let Some(gauge) = Gauge::new(system, number) {
                prop_assert_eq!(size(&gauge.to_string()), Ok(WireSize::Gauge(gauge)));
            }
        }

        /// The nearest size is no farther than its neighbours, which lie on its two sides.
        #[test]
        fn nearest_is_no_farther_than_its_neighbours(nm in 20_000_i64..=15_000_000) {
            let measured = Length::from_nm(nm);
            let near = nearest(measured).unwrap();
            for m in [near.awg, near.swg, near.metric, near.inch] {
                prop_assert_eq!(m.deviation.nm(), nm - m.size.diameter().nm());
                let off = |s: WireSize| (nm - s.diameter().nm()).abs();
                if let Some(thinner) = m.neighbours.thinner {
                    prop_assert!(thinner.diameter() < m.size.diameter());
                    prop_assert!(off(m.size) <= off(thinner));
                }
                if let Some(thicker) = m.neighbours.thicker {
                    prop_assert!(thicker.diameter() > m.size.diameter());
                    prop_assert!(off(m.size) < off(thicker));
                }
            }
        }
    }
}
