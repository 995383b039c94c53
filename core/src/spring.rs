//! How far a coil opens when it comes off the mandrel.
//!
//! Elastic, perfectly plastic bending of a **round** section, plane sections staying plane. A wire of
//! diameter `d` bent to the centre-line radius `rho` is elastic within the share
//! `s = 2 sf rho / (E d)` of its half thickness, `sf` being the flow stress and `E` the modulus. Its
//! bending moment is `m(s)` times the moment at first yield, and on release the diameter grows by
//! the spring ratio `k = 1 / (1 - s m(s))`.
//!
//! Integrated here over the circle, checked against numerical quadrature and against the shape factor
//! 16/(3 pi) = 1.698 of a round section. The rectangle's well-known `1 - 1.5 s + 0.5 s^3` (Gardiner
//! 1957, from memory) understates round wire by about 12 %.
//!
//! The flow stress is the uncertain part, since bending hardens the wire while it is wound. So an
//! estimate is three numbers: from the yield strength (low), from the tensile strength in spring temper and
//! from the mean of both in softer ones (best), and from the tensile strength raised by the hardening of the bend
//! (high). What is promised takes the high bound. A pull on the wire while it is wound makes it spring back
//! less: the low bound, from the yield strength, leaves room for it. A measured ring beats any estimate.

use core::f64::consts::PI;
use core::fmt;

use crate::bounds::Bounds;
use crate::units::{Length, Stress};

/// The largest spring ratio that is taken for a ring and not for a spring. A coil that doubles its
/// diameter has no defined length. Our own limit.
pub const MAX_SPRING_RATIO: f64 = 2.0;

/// The moment of a round section bent until the share `s` of its half thickness is still elastic,
/// over its moment at first yield: 1 at `s = 1`, 16/(3 pi) as `s` goes to 0.
///
/// `s` is held within 0..=1: past 1 nothing yields and the ratio has no meaning.
///
/// # Examples
/// ```
/// // Numerical quadrature of the section gives 1.689177210 at s = 0.1.
/// assert!((turntally_core::spring::moment_ratio(0.1) - 1.689_177_210).abs() < 1e-9);
/// ```
#[must_use]
pub fn moment_ratio(s: f64) -> f64 {
    let s = s.clamp(0.0, 1.0);
    // asin(s)/s goes to 1 as s goes to 0, where the quotient itself is 0/0.
    let arc = if s > 0.0 { libm::asin(s) / s } else { 1.0 };
    2.0 / (3.0 * PI) * (3.0 * arc + (5.0 - 2.0 * s * s) * libm::sqrt(1.0 - s * s))
}

/// How far a coil opens of which the share `s` of the half thickness stays elastic.
fn opened(s: f64) -> Result<f64, SpringError> {
    let opening = 1.0 - s * moment_ratio(s);
    // Written so that a NaN is refused too; past s = 1 this is below zero.
    if opening * MAX_SPRING_RATIO >= 1.0 { Ok(1.0 / opening) } else { Err(SpringError::SpringsOut) }
}

/// The share of the half thickness that stays elastic in a coil that opens by `ratio`: [`moment_ratio`]'s `s`. A
/// `ratio` below 1 gives 0.
///
/// By Newton's method: `s m(s)` rises with the slope `16 / (3 pi) (1 - s^2)^1.5`, which falls, so that steps from
/// below never go too far.
///
/// # Examples
/// ```
/// use turntally_core::spring::{elastic_share, moment_ratio};
/// // Forward by hand: s = 0.1 gives k = 1 / (1 - 0.1 * 1.689177) = 1.203248.
/// assert!((elastic_share(1.203_248) - 0.1).abs() < 1e-6);
/// ```
#[must_use]
pub fn elastic_share(ratio: f64) -> f64 {
    const SLOPE: f64 = 16.0 / (3.0 * PI);
    let wanted = 1.0 - 1.0 / ratio;
    let mut s = 0.0_f64;
    // Up to a ratio of 2 five steps are enough; past it no ratio is asked for.
    for _ in 0..6 {
        let rest = (1.0 - s * s).max(1e-6);
        let step = (wanted - s * moment_ratio(s)) / (SLOPE * rest * libm::sqrt(rest));
        s = (s + step).clamp(0.0, 1.0);
    }
    s
}

/// What bending needs to know of a metal in one temper.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Flow {
    /// Modulus of elasticity.
    pub modulus: Stress,
    /// The least that the wire can flow at: its lowest yield strength.
    pub low: Stress,
    /// The likely flow stress; see [`crate::metal::Metal::flow`].
    pub best: Stress,
    /// The most before the bend itself hardens it: its highest tensile strength.
    pub high: Stress,
    /// How strongly winding hardens it: the high bound of the flow stress is
    /// `high (1 + hardening strain)`, the strain being that of the outer fibre, `d / (Dm + d)`.
    pub hardening: f64,
}

impl Flow {
    /// Flow stress in MPa of a wire of diameter `d` that is bent round a centre line of diameter `wound`.
    pub(crate) fn stress(&self, d: f64, wound: f64) -> Bounds<f64> {
        let low = self.low.mpa();
        let best = self.best.mpa().max(low);
        let high = self.high.mpa().max(best) * (1.0 + self.hardening.max(0.0) * d / wound);
        Bounds { low, best, high }
    }
}

/// The share by which a coil's centre-line diameter grows on release: at least, probably, at most.
#[derive(Debug, Clone, Copy, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct SpringRatio(Bounds<f64>);

/// Why there is no spring ratio.
#[derive(Debug, Clone, Copy, PartialEq)]
#[non_exhaustive]
pub enum SpringError {
    /// The wire stays elastic, or nearly: it springs open past [`MAX_SPRING_RATIO`] and makes no ring.
    SpringsOut,
    /// A measured ratio outside 1..=[`MAX_SPRING_RATIO`].
    NotARatio {
        /// What was given.
        got: f64,
    },
    /// A strength or a length that is zero, negative or no number.
    NoStrength,
}

impl fmt::Display for SpringError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::SpringsOut => write!(
                f,
                "this wire may spring open to more than {MAX_SPRING_RATIO} times the mandrel's size: use a softer temper, a thicker wire or a thinner mandrel"
            ),
            Self::NotARatio { got } => {
                write!(
                    f,
                    "{got} is no spring ratio: released over wound diameter, from 1 to {MAX_SPRING_RATIO}"
                )
            }
            Self::NoStrength => f.write_str("strength and modulus must be above zero"),
        }
    }
}

impl core::error::Error for SpringError {}

impl SpringRatio {
    /// No springback at all: dead-soft wire, or a coil that is not released.
    pub const NONE: Self = Self(Bounds::exact(1.0));

    /// A ratio that was measured on a ring of this wire and mandrel: it has no spread.
    ///
    /// # Errors
    /// [`SpringError::NotARatio`] outside 1..=[`MAX_SPRING_RATIO`].
    pub fn measured(ratio: f64) -> Result<Self, SpringError> {
        if !(1.0..=MAX_SPRING_RATIO).contains(&ratio) {
            return Err(SpringError::NotARatio { got: ratio });
        }
        Ok(Self(Bounds::exact(ratio)))
    }

    /// Bounds that were computed elsewhere.
    ///
    /// # Errors
    /// [`SpringError::NotARatio`] for one outside 1..=[`MAX_SPRING_RATIO`], or not in their order.
    pub fn between(low: f64, best: f64, high: f64) -> Result<Self, SpringError> {
        let mut least = 1.0;
        for got in [low, best, high] {
            // Written so that a NaN is refused too.
            if !(least..=MAX_SPRING_RATIO).contains(&got) {
                return Err(SpringError::NotARatio { got });
            }
            least = got;
        }
        Ok(Self(Bounds { low, best, high }))
    }

    /// Estimates it for a wire on a mandrel.
    ///
    /// # Errors
    /// [`SpringError::SpringsOut`] where even the high bound is past [`MAX_SPRING_RATIO`];
    /// [`SpringError::NoStrength`] for figures that are not above zero.
    pub fn estimate(flow: Flow, wire: Length, mandrel: Length) -> Result<Self, SpringError> {
        let d = wire.mm().get();
        let wound = mandrel.mm().get() + d;
        let modulus = flow.modulus.mpa();
        let Bounds { low, best, high } = flow.stress(d, wound);
        // Written so that a NaN is refused too.
        if !(d > 0.0 && wound > d && modulus > 0.0 && low > 0.0 && high.is_finite()) {
            return Err(SpringError::NoStrength);
        }
        let ratio = |flow: f64| opened(flow * wound / (modulus * d));
        Ok(Self(Bounds { low: ratio(low)?, best: ratio(best)?, high: ratio(high)? }))
    }

    /// How far a wire opens of which a flow stress, as a share of the modulus, is known; `strain` is that of the outer
    /// fibre, `d / (Dm + d)`.
    ///
    /// # Errors
    /// [`SpringError::SpringsOut`] as [`Self::estimate`]; [`SpringError::NoStrength`] for bounds below zero or not
    /// in their order.
    pub fn of_flow(flow: Bounds<f64>, strain: f64) -> Result<Self, SpringError> {
        // Written so that a NaN is refused too.
        if !(strain > 0.0 && 0.0 <= flow.low && flow.low <= flow.best && flow.best <= flow.high) {
            return Err(SpringError::NoStrength);
        }
        let ratio = |flow: f64| opened(flow / strain);
        Ok(Self(Bounds { low: ratio(flow.low)?, best: ratio(flow.best)?, high: ratio(flow.high)? }))
    }

    /// All three: at least, probably, at most.
    #[must_use]
    pub const fn bounds(self) -> Bounds<f64> {
        self.0
    }

    /// The coil opens at least this much.
    #[must_use]
    pub const fn low(self) -> f64 {
        self.0.low
    }

    /// It probably opens this much.
    #[must_use]
    pub const fn best(self) -> f64 {
        self.0.best
    }

    /// It opens at most this much.
    #[must_use]
    pub const fn high(self) -> f64 {
        self.0.high
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test may stop where it stands")]
    extern crate std;
    use super::*;
    use proptest::prelude::*;
    use std::string::ToString;

    proptest! {
        /// The bounds are ordered and a larger mandrel never springs less.
        #[test]
        fn bounds_are_ordered(
            yield_strength in 20.0..400.0_f64, above in 0.0..300.0_f64, hardening in 0.0..3.0_f64,
            wire in 500_i64..2_000, mandrel in 2_000_i64..12_000,
        ) {
            let flow = Flow {
                modulus: Stress::new(110_000.0),
                low: Stress::new(yield_strength),
                best: Stress::new(yield_strength + above / 2.0),
                high: Stress::new(yield_strength + above),
                hardening,
            };
            let at = |um| SpringRatio::estimate(flow, Length::from_um(wire), Length::from_um(um)).unwrap();
            let (ratio, wider) = (at(mandrel), at(mandrel + 500));
            prop_assert!(1.0 < ratio.low() && ratio.low() <= ratio.best() && ratio.best() <= ratio.high());
            prop_assert!(wider.low() > ratio.low());
        }
    }

    /// A wire that stays elastic is refused, not given some number.
    #[test]
    fn elastic_wire_is_refused() {
        let flow = Flow {
            modulus: Stress::new(70_000.0),
            low: Stress::new(1_500.0),
            best: Stress::new(1_700.0),
            high: Stress::new(2_000.0),
            hardening: 1.0,
        };
        let ratio = SpringRatio::estimate(flow, Length::from_um(300), Length::from_um(12_000));
        assert_eq!(ratio, Err(SpringError::SpringsOut));
    }

    /// Figures that are none are refused.
    #[test]
    fn missing_figures_are_refused() {
        let flow = Flow {
            modulus: Stress::new(f64::NAN),
            low: Stress::new(100.0),
            best: Stress::new(150.0),
            high: Stress::new(200.0),
            hardening: 1.0,
        };
        let ratio = SpringRatio::estimate(flow, Length::from_um(1_000), Length::from_um(5_000));
        assert_eq!(ratio, Err(SpringError::NoStrength));
        assert_eq!(SpringRatio::measured(0.99), Err(SpringError::NotARatio { got: 0.99 }));
        assert!(SpringRatio::measured(f64::NAN).is_err());
    }

    /// Elastic shares from none to all, the one at which a coil opens to twice its size (0.2982) among them.
    const SHARES: [f64; 9] = [0.0, 1e-9, 1e-3, 0.05, 0.1, 0.2, 0.298, 0.6, 1.0];

    /// `s` times the moment of a round section bent until the share `s` of its half thickness is still elastic, over that
    /// at first yield, summed over the section in 100,000 strips: of width `2 cos(t)` at the height `sin(t)`.
    fn moment_by_strips(s: f64) -> f64 {
        let strips = 100_000;
        let moments = (0..strips).map(|strip| {
            let (y, cosine) = libm::sincos(PI / 2.0 * (f64::from(strip) + 0.5) / f64::from(strips));
            (y.min(s) * y * cosine * cosine, y * y * cosine * cosine)
        });
        let (bent, at_yield) = moments.fold((0.0, 0.0), |sums, each| (sums.0 + each.0, sums.1 + each.1));
        bent / at_yield
    }

    /// The closed formula is the sum over the section; it ends at the shape factor 16/(3 pi) of a round section (Roark's
    /// Formulas for Stress and Strain, from memory) where all of it yields, and at 1 where none does.
    #[test]
    fn moment_is_that_of_the_section() {
        for s in SHARES {
            let (got, want) = (s * moment_ratio(s), moment_by_strips(s));
            assert!((got - want).abs() < 1e-9, "{s}: {got}, not {want}");
        }
        for (s, ratio) in [(-1.0, 16.0 / (3.0 * PI)), (0.0, 16.0 / (3.0 * PI)), (1.0, 1.0), (7.0, 1.0)] {
            assert!((moment_ratio(s) - ratio).abs() < 1e-15, "{s}");
        }
    }

    /// On release the moment is taken back elastically: what opens is `1 / (1 - s m(s))`, and read backwards it gives the
    /// share, to the last digits, up to the largest ratio that is asked for.
    #[test]
    fn opening_is_read_backwards() {
        for s in SHARES.into_iter().filter(|&s| s < 0.3) {
            let ratio = SpringRatio::of_flow(Bounds::exact(s * 0.2), 0.2).unwrap();
            assert!((ratio.best() - 1.0 / (1.0 - moment_by_strips(s))).abs() < 1e-8, "{s}");
            let share = elastic_share(ratio.best());
            assert!((share - s).abs() < 1e-15, "{share}, not {s}");
        }
        assert!(elastic_share(0.9).abs() < 1e-15);
    }

    /// A wire may open up to [`MAX_SPRING_RATIO`] and no further, one that stays elastic included.
    #[test]
    fn widest_opening_is_taken() {
        let share = elastic_share(MAX_SPRING_RATIO);
        let opening = |share| SpringRatio::of_flow(Bounds { low: 0.0, best: 0.01, high: share }, 1.0);
        let ratio = opening(share * (1.0 - 1e-12)).unwrap();
        assert!((ratio.high() - MAX_SPRING_RATIO).abs() < 1e-9);
        assert!((ratio.low() - 1.0).abs() < 1e-15 && 1.0 < ratio.best() && ratio.best() < 1.02);
        for share in [share * (1.0 + 1e-12), 0.5, 1.0, 1e9] {
            assert_eq!(opening(share), Err(SpringError::SpringsOut), "{share}");
        }
    }

    /// By hand: 1 mm bent round 4 mm, a centre line of 5 mm. The outer fibre is stretched by a fifth, so hardening by 1.5
    /// raises 500 MPa to 650, and 100 MPa of 100,000 are elastic over `100 * 5 / 100,000` of the half thickness.
    #[test]
    fn worked_estimate_comes_out() {
        let flow = Flow {
            modulus: Stress::new(100_000.0),
            low: Stress::new(100.0),
            best: Stress::new(300.0),
            high: Stress::new(500.0),
            hardening: 1.5,
        };
        for (d, wound) in [(1.0, 5.0), (2.0, 10.0)] {
            assert!((flow.stress(d, wound).high - 650.0).abs() < 1e-9);
        }
        let (wire, mandrel) = (Length::from_um(1_000), Length::from_um(4_000));
        let ratio = SpringRatio::estimate(flow, wire, mandrel).unwrap();
        for (got, share) in [(ratio.low(), 0.005), (ratio.best(), 0.015), (ratio.high(), 0.0325)] {
            assert!((got - 1.0 / (1.0 - moment_by_strips(share))).abs() < 1e-8, "{share}: {got}");
        }
        // Each figure that has to be above zero, at zero.
        let none = Stress::new(0.0);
        for (flow, wire, mandrel) in [
            (Flow { modulus: none, ..flow }, wire, mandrel),
            (Flow { low: none, ..flow }, wire, mandrel),
            (Flow { high: Stress::new(f64::INFINITY), ..flow }, wire, mandrel),
            (flow, Length::ZERO, mandrel),
            (flow, wire, Length::ZERO),
        ] {
            assert_eq!(SpringRatio::estimate(flow, wire, mandrel), Err(SpringError::NoStrength));
        }
    }

    /// Bounds are taken in their order only: of a ratio from 1 to 2, of a flow stress from zero on.
    #[test]
    fn bounds_out_of_order_are_refused() {
        let between = SpringRatio::between(1.0, 1.5, MAX_SPRING_RATIO).unwrap();
        assert_eq!(between.bounds(), Bounds { low: 1.0, best: 1.5, high: 2.0 });
        for (low, best, high, got) in
            [(0.9, 1.5, 2.0, 0.9), (1.5, 1.4, 2.0, 1.4), (1.0, 1.5, 1.4, 1.4), (1.0, 1.5, 2.1, 2.1)]
        {
            assert_eq!(SpringRatio::between(low, best, high), Err(SpringError::NotARatio { got }));
        }
        let of_flow = |low, best, high, strain| SpringRatio::of_flow(Bounds { low, best, high }, strain);
        assert!(of_flow(0.0, 0.0, 0.0, 0.2).is_ok_and(|ratio| ratio == SpringRatio::NONE));
        for (low, best, high, strain) in [
            (-0.001, 0.01, 0.02, 0.2),
            (0.02, 0.01, 0.02, 0.2),
            (0.01, 0.02, 0.01, 0.2),
            (0.01, 0.01, f64::NAN, 0.2),
            (0.01, 0.01, 0.02, 0.0),
            (0.01, 0.01, 0.02, -0.2),
            (0.01, 0.01, 0.02, f64::NAN),
        ] {
            let refused = of_flow(low, best, high, strain);
            assert_eq!(refused, Err(SpringError::NoStrength), "{low} {best} {high} {strain}");
        }
    }

    /// Each error has its text, with what is allowed.
    #[test]
    fn errors_are_written() {
        for (error, text) in [
            (SpringError::SpringsOut, "more than 2 times the mandrel's size"),
            (
                SpringError::NotARatio { got: 0.5 },
                "0.5 is no spring ratio: released over wound diameter, from 1 to 2",
            ),
            (SpringError::NoStrength, "must be above zero"),
        ] {
            assert!(error.to_string().contains(text), "{error}");
        }
    }
}
