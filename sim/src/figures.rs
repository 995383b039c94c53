//! The figures of a ring, each with the range that it can really lie in.
//!
//! A gauge is a nominal size, a spring ratio an estimate, a density a figure with a spread: so a
//! figure is three numbers, the likely one and its bounds, and it is printed to the digits that those
//! bounds leave true.

use turntally_core::bounds::Bounds;
use turntally_core::coil::Winding;
use turntally_core::gauge::{Tolerance, WireSize};
use turntally_core::units::{Density, Grams, Length};

use crate::lookup::Learning;
use crate::material::{Material, Refusal};
use crate::words::number::fixed;

/// A quantity of a ring or its coil.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Figure {
    /// Released over wound centre-line diameter.
    SpringRatio,
    /// From one turn to the next along the coil, mm.
    Pitch,
    /// Wire in a turn on the mandrel, mm.
    WoundTurn,
    /// Wire in a turn off the mandrel, mm: what one ring takes, its share of the kerf included.
    ReleasedTurn,
    /// Wire in a ring, mm.
    RingWire,
    /// Inside diameter as cut, still open by the kerf, mm.
    RingInner,
    /// Inside diameter once closed, mm.
    ClosedInner,
    /// Closed inside diameter over wire diameter.
    AspectRatio,
    /// Mass of a ring, mg.
    RingMass,
    /// Rings that weigh a troy ounce.
    PerTroyOunce,
    /// Rings that weigh an avoirdupois ounce.
    PerOunce,
    /// Rings that weigh 100 g.
    PerHundredGrams,
    /// Turns in an inch of coil.
    TurnsPerInch,
}

/// How many figures there are.
const COUNT: usize = 13;

impl Figure {
    /// Every figure, in the order in which they are shown.
    pub const ALL: [Self; COUNT] = [
        Self::SpringRatio,
        Self::Pitch,
        Self::WoundTurn,
        Self::ReleasedTurn,
        Self::RingWire,
        Self::RingInner,
        Self::ClosedInner,
        Self::AspectRatio,
        Self::RingMass,
        Self::PerTroyOunce,
        Self::PerOunce,
        Self::PerHundredGrams,
        Self::TurnsPerInch,
    ];

    /// Its key in JSON.
    #[must_use]
    pub const fn key(self) -> &'static str {
        match self {
            Self::SpringRatio => "spring_ratio",
            Self::Pitch => "pitch_mm",
            Self::WoundTurn => "wound_turn_wire_mm",
            Self::ReleasedTurn => "released_turn_wire_mm",
            Self::RingWire => "ring_wire_mm",
            Self::RingInner => "ring_inner_diameter_mm",
            Self::ClosedInner => "closed_inner_diameter_mm",
            Self::AspectRatio => "aspect_ratio",
            Self::RingMass => "ring_mass_mg",
            Self::PerTroyOunce => "rings_per_troy_ounce",
            Self::PerOunce => "rings_per_ounce",
            Self::PerHundredGrams => "rings_per_100_g",
            Self::TurnsPerInch => "turns_per_inch",
        }
    }

    /// Its name for people.
    #[must_use]
    pub const fn label(self) -> &'static str {
        match self {
            Self::SpringRatio => "spring ratio",
            Self::Pitch => "pitch",
            Self::WoundTurn => "wire per turn, wound",
            Self::ReleasedTurn => "wire per turn, released",
            Self::RingWire => "wire in a ring",
            Self::RingInner => "inside diameter, as cut",
            Self::ClosedInner => "inside diameter, closed",
            Self::AspectRatio => "aspect ratio",
            Self::RingMass => "mass of a ring",
            Self::PerTroyOunce => "rings per troy ounce",
            Self::PerOunce => "rings per ounce avoirdupois",
            Self::PerHundredGrams => "rings per 100 g",
            Self::TurnsPerInch => "turns per inch",
        }
    }

    /// Its unit, empty for a number.
    #[must_use]
    pub const fn unit(self) -> &'static str {
        match self {
            Self::RingMass => "mg",
            Self::SpringRatio
            | Self::AspectRatio
            | Self::PerTroyOunce
            | Self::PerOunce
            | Self::PerHundredGrams
            | Self::TurnsPerInch => "",
            _ => "mm",
        }
    }

    /// The last place that is printed of it, as a power of ten: of a length what a calliper reads, of the rest what
    /// its bounds leave true.
    #[must_use]
    pub fn last_place(self) -> i32 {
        if self.unit() == "mm" { HUNDREDTHS } else { NO_LIMIT }
    }
}

/// The figures of one ring, at one diameter, spring ratio and density.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Figures([f64; COUNT]);

impl Figures {
    /// Of a ring whose coil opens by `spring_ratio`.
    #[must_use]
    pub fn at(winding: &Winding, spring_ratio: f64, density: Density) -> Self {
        let ring = winding.ring(spring_ratio);
        let mass = density.wire_mass(winding.wire(), ring.wire).get();
        // In the order of `Figure::ALL`, which a test holds it to.
        Self([
            spring_ratio,
            winding.pitch().get(),
            winding.wound_turn_wire().get(),
            ring.turn_wire.get(),
            ring.wire.get(),
            ring.inner_diameter.get(),
            ring.closed_inner_diameter.get(),
            ring.aspect_ratio,
            mass * 1e3,
            Grams::TROY_OUNCE / mass,
            Grams::OUNCE / mass,
            100.0 / mass,
            winding.turns_per_inch(),
        ])
    }

    /// The same ring of a metal `times` as dense.
    fn denser(mut self, times: f64) -> Self {
        self.0[Figure::RingMass as usize] *= times;
        for figure in [Figure::PerTroyOunce, Figure::PerOunce, Figure::PerHundredGrams] {
            self.0[figure as usize] /= times;
        }
        self
    }

    /// One of them.
    #[must_use]
    pub const fn get(&self, figure: Figure) -> f64 {
        self.0[figure as usize]
    }
}

/// The last place of a number that is printed no finer than its tool reads, as a power of ten: millimetres of a calliper
/// and metres of a tape.
pub(crate) const HUNDREDTHS: i32 = -2;
/// Likewise the inches of a calliper.
pub(crate) const THOUSANDTHS: i32 = -3;
/// For a number that is printed as far as its bounds leave it true.
pub(crate) const NO_LIMIT: i32 = i32::MIN;

/// The power of ten of the last digit worth printing: the one that the range leaves uncertain by 2
/// to 20 either way, and never more than five digits in all.
fn last_place(bounds: Bounds<f64>) -> i32 {
    let power = |x: f64| if x > 0.0 && x.is_finite() { x.log10().floor() as i32 } else { i32::MIN / 2 };
    power((bounds.high - bounds.low) / 4.0).max(power(bounds.best.abs()) - 4).max(-6)
}

/// Bounds in print: no digit that they leave open.
pub trait Printed: Sized {
    /// The likely number, to the digits that are true.
    #[must_use]
    fn shown(self) -> String;

    /// The same with no digit below ten to the `place`.
    #[must_use]
    fn shown_to(self, place: i32) -> String;

    /// `from to`, rounded outwards to the same digits; nothing where there is no spread.
    #[must_use]
    fn bounds_shown(self) -> Option<(String, String)>;

    /// The same with no digit below ten to the `place`.
    #[must_use]
    fn bounds_shown_to(self, place: i32) -> Option<(String, String)>;

    /// [`Self::shown_to`] of a part: its rounding never makes it more than its whole is printed as.
    #[must_use]
    fn shown_within(self, whole: Self, place: i32) -> String;

    /// [`Self::bounds_shown_to`] of a part: its rounding never makes it more than its whole is printed as.
    #[must_use]
    fn bounds_shown_within(self, whole: Self, place: i32) -> Option<(String, String)>;
}

impl Printed for Bounds<f64> {
    fn shown(self) -> String {
        self.shown_to(NO_LIMIT)
    }

    fn shown_to(self, place: i32) -> String {
        rounded(self.best, last_place(self).max(place), f64::round)
    }

    fn bounds_shown(self) -> Option<(String, String)> {
        self.bounds_shown_to(NO_LIMIT)
    }

    fn bounds_shown_to(self, place: i32) -> Option<(String, String)> {
        // A spread of nothing but rounding is none.
        if self.high - self.low <= self.best.abs() * 1e-12 {
            return None;
        }
        let place = last_place(self).max(place);
        Some((rounded(self.low, place, f64::floor), rounded(self.high, place, f64::ceil)))
    }

    fn shown_within(self, whole: Self, place: i32) -> String {
        no_more(self.shown_to(place), whole.shown_to(place))
    }

    fn bounds_shown_within(self, whole: Self, place: i32) -> Option<(String, String)> {
        let most = whole.bounds_shown_to(place).map_or_else(|| whole.shown_to(place), |(_, most)| most);
        self.bounds_shown_to(place).map(|(low, high)| (no_more(low, most.clone()), no_more(high, most)))
    }
}

/// The smaller of two numbers as they are printed.
fn no_more(part: String, whole: String) -> String {
    let number = |text: &String| text.parse::<f64>().unwrap_or(f64::NAN);
    if number(&part) > number(&whole) { whole } else { part }
}

/// `value` rounded by `round` to a multiple of ten to the `place`, written out.
fn rounded(value: f64, place: i32, round: fn(f64) -> f64) -> String {
    let step = 10_f64.powi(place.abs());
    let digits = usize::try_from(-place).unwrap_or(0);
    // A whole power of ten is exact, its reciprocal is not: so divide or multiply as fits.
    let scaled = if place >= 0 { value / step } else { value * step };
    // 4.1 is 409.99999999999994 hundredths: a whole number to all intents.
    let whole = scaled.round();
    let scaled = if (scaled - whole).abs() < 1e-9 * whole.abs() { whole } else { round(scaled) };
    let value = if place >= 0 { scaled * step } else { scaled / step };
    fixed(value, digits)
}

/// Everything about one wire on one mandrel.
#[derive(Debug, Clone)]
pub struct Ring {
    winding: Winding,
    learning: Option<Learning>,
    low: Figures,
    best: Figures,
    high: Figures,
}

/// Saw and winding, as the options give them.
#[derive(Debug, Clone, Copy)]
pub struct Cut {
    /// What the saw takes.
    pub kerf: Length,
    /// Pitch / wire diameter - 1, where it is given.
    pub gap: Option<f64>,
}

impl Ring {
    /// Works out a ring: likely figures at the nominal wire and the best spring ratio, bounds over the
    /// gauge's tolerance, the spring bounds and the density's spread.
    ///
    /// # Errors
    /// [`Refusal`] where that makes no ring.
    pub fn new(material: &Material, wire: WireSize, mandrel: Length, cut: Cut) -> Result<Self, Refusal> {
        let nominal = wire.diameter();
        // What was measured on this wire holds for the wire that lies on the bench, whatever its gauge may differ
        // by.
        let learning = material.learned(nominal, mandrel)?;
        let learned = learning.as_ref().map(|learning| learning.learned).unwrap_or_default();
        let springing = learned.spring.map(|spring| material.springing(spring));
        let material = springing.as_ref().unwrap_or(material);
        let gap = cut.gap.or(learned.gap.map(|gap| gap.best)).unwrap_or(0.0);
        let winding = material.wind(nominal, mandrel, gap, cut.kerf)?;
        let best = Figures::at(&winding, winding.spring().best(), material.density_in(&winding)[1]);
        let (mut low, mut high) = (best, best);
        each_corner(material, &winding, wire, |corner| {
            for i in 0..COUNT {
                low.0[i] = low.0[i].min(corner.figures.0[i]);
                high.0[i] = high.0[i].max(corner.figures.0[i]);
            }
        });
        Ok(Self { winding, learning, low, best, high })
    }

    /// The likely ring: nominal wire, best spring ratio, usual density.
    #[must_use]
    pub fn likely(&self, material: &Material) -> Corner {
        let density = material.density_in(&self.winding)[1];
        Corner { wire: self.winding.wire(), density, figures: self.best }
    }

    /// Every corner of its bounds. What belongs together, such as wire and the rings of it, is worked out in one
    /// corner at a time: bounds of the one times bounds of the other would make more rings than there is wire.
    #[must_use]
    pub fn corners(&self, material: &Material, wire: WireSize) -> Vec<Corner> {
        let learned = self.learning.as_ref().and_then(|learning| learning.learned.spring);
        let springing = learned.map(|spring| material.springing(spring));
        let mut corners = Vec::new();
        each_corner(springing.as_ref().unwrap_or(material), &self.winding, wire, |at| corners.push(at));
        corners
    }

    /// The winding it is cut from, at the nominal wire.
    #[must_use]
    pub const fn winding(&self) -> &Winding {
        &self.winding
    }

    /// What was measured for it, as far as it counts.
    #[must_use]
    pub const fn learning(&self) -> Option<&Learning> {
        self.learning.as_ref()
    }

    /// One of its figures with bounds. The spring ratio's are those at the nominal wire.
    #[must_use]
    pub fn get(&self, figure: Figure) -> Bounds<f64> {
        if figure == Figure::SpringRatio {
            return self.winding.spring().bounds();
        }
        Bounds { low: self.low.get(figure), best: self.best.get(figure), high: self.high.get(figure) }
    }
}

/// A ring with everything that is uncertain of it at one end of its range.
#[derive(Debug, Clone, Copy)]
pub struct Corner {
    /// The wire's diameter.
    pub wire: Length,
    /// Its density.
    pub density: Density,
    figures: Figures,
}

impl Corner {
    /// One of the ring's figures there.
    #[must_use]
    pub const fn get(&self, figure: Figure) -> f64 {
        self.figures.get(figure)
    }
}

/// Visits the ends of the gauge's tolerance, of the spring bounds and of the density's spread, each with each.
fn each_corner(material: &Material, winding: &Winding, wire: WireSize, mut visit: impl FnMut(Corner)) {
    let mut take_in = |winding: &Winding| {
        let [light, density, dense] = material.density_in(winding);
        for ratio in [winding.spring().low(), winding.spring().high()] {
            let figures = Figures::at(winding, ratio, density);
            for at in [light, dense] {
                let figures = figures.denser(at.g_per_cm3() / density.g_per_cm3());
                visit(Corner { wire: winding.wire(), density: at, figures });
            }
        }
    };
    let off = tolerance(wire).map_or(0, |tolerance| tolerance.plus_minus.nm());
    if off == 0 {
        return take_in(winding);
    }
    let nominal = wire.diameter().nm();
    for diameter in [nominal - off, nominal + off].map(Length::from_nm) {
        // At the edge of what can be wound one side may fall out; the nominal stays.
        match material.wind(diameter, winding.mandrel(), winding.gap(), winding.kerf()) {
            Ok(winding) => take_in(&winding),
            Err(_) => take_in(winding),
        }
    }
}

/// What a wire may differ from its nominal size: a gauge is nominal, a diameter is taken as measured.
#[must_use]
pub fn tolerance(wire: WireSize) -> Option<Tolerance> {
    match wire {
        WireSize::Gauge(gauge) => Some(gauge.tolerance()),
        WireSize::Diameter(_) => None,
    }
}

#[cfg(test)]
mod tests {
    use turntally_core::spring::SpringRatio;

    use super::*;

    fn shown(low: f64, best: f64, high: f64) -> (String, Option<(String, String)>) {
        let ranged = Bounds { low, best, high };
        (ranged.shown(), ranged.bounds_shown())
    }

    /// The last digit printed is the one uncertain; the bounds are rounded away from the figure.
    #[test]
    fn digits_end_where_doubt_begins() {
        let some = |a: &str, b: &str| Some((a.to_owned(), b.to_owned()));
        assert_eq!(shown(480.2, 490.13, 501.1), ("490".to_owned(), some("480", "502")));
        assert_eq!(shown(1_204.0, 1_234.0, 1_266.0), ("1230".to_owned(), some("1200", "1270")));
        assert_eq!(shown(4.1, 4.217, 4.3), ("4.22".to_owned(), some("4.10", "4.30")));
        assert_eq!(shown(0.95, 1.0, 1.06), ("1.00".to_owned(), some("0.95", "1.06")));
    }

    /// Every figure is kept in the place that its name stands for.
    #[test]
    fn figures_are_kept_in_their_own_places() {
        for (i, figure) in Figure::ALL.into_iter().enumerate() {
            assert_eq!(figure as usize, i, "{figure:?}");
        }
        // 1 mm wire of 4/pi g/cm3 on a mandrel of 3 mm: every figure differs from every other.
        let mm = Length::from_um;
        let spring = SpringRatio::measured(1.25).unwrap_or(SpringRatio::NONE);
        let Ok(winding) = Winding::new(mm(1_000), mm(3_000), 0.0, mm(500), spring) else {
            unreachable!("a sound winding")
        };
        let density = Density::new(4.0 / std::f64::consts::PI);
        let figures = Figures::at(&winding, 1.25, density);
        let ring = winding.ring(1.25);
        for (figure, want) in [
            (Figure::SpringRatio, 1.25),
            (Figure::Pitch, 1.0),
            (Figure::WoundTurn, winding.wound_turn_wire().get()),
            (Figure::ReleasedTurn, ring.turn_wire.get()),
            (Figure::RingWire, ring.wire.get()),
            (Figure::RingInner, 4.0),
            (Figure::ClosedInner, ring.closed_inner_diameter.get()),
            (Figure::AspectRatio, ring.aspect_ratio),
            // A milligram to the millimetre of wire.
            (Figure::RingMass, ring.wire.get()),
            (Figure::PerTroyOunce, 31_103.476_8 / ring.wire.get()),
            (Figure::PerOunce, 28_349.523_125 / ring.wire.get()),
            (Figure::PerHundredGrams, 1e5 / ring.wire.get()),
            (Figure::TurnsPerInch, 25.4),
        ] {
            assert!((figures.get(figure) / want - 1.0).abs() < 1e-12, "{figure:?}");
            let twice = figures.denser(2.0).get(figure);
            let by_hand = Figures::at(&winding, 1.25, Density::new(density.g_per_cm3() * 2.0)).get(figure);
            assert!((twice / by_hand - 1.0).abs() < 1e-12, "{figure:?}");
        }
    }

    /// Where nothing is uncertain five digits are printed and no range.
    #[test]
    fn exact_figures_have_five_digits_and_no_range() {
        assert_eq!(shown(490.131_998_5, 490.131_998_5, 490.131_998_5), ("490.13".to_owned(), None));
        assert_eq!(shown(0.0, 0.0, 0.0), ("0.000000".to_owned(), None));
        assert_eq!(shown(1_234_567.0, 1_234_567.0, 1_234_567.0), ("1234600".to_owned(), None));
    }
}
