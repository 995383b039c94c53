//! What rings measured on some mandrels say of the same wire (metal, temper, diameter) on any other.
//!
//! A ring that opened by `k` gives the share `s` of its half thickness that stayed elastic
//! ([`elastic_share`]), and so the wire's flow stress as a share of its modulus: `sf / E = s d / (Dm + d)`, `s`
//! being `(sf / E) (Dm + d) / d`. Only this ratio counts in bending, so the modulus need not be known: the ratio is
//! what is carried to the other mandrel. A reading's error makes it an interval.
//!
//! The flow stress is not quite the same on the other mandrel, since a tighter bend hardens the wire more. It is
//! taken to go as `strain^n`, the strain being that of the outer fibre, `x = d / (Dm + d)`. How large `n` may
//! be depends on the temper ([`exponents`]). In logarithms each mandrel with its rings allows a strip between two
//! parallel lines, `ln low <= a + n ln x <= ln high`; every `(a, n)` within all strips is possible, and the
//! bounds on another mandrel take in what all of those give there. So rings on a second mandrel narrow the flow
//! stress and `n`. The metal's own bounds, [`Flow`], count besides: they are strips too. Coils of one wire
//! are not quite alike: a strip is 2 % wider either way than the reading's error makes it, and the bounds once more.
//!
//! Where nothing lies within all strips, something is wrong with a reading, or with the metal or temper that was
//! named ([`Misfit`]). Then the bounds take in whatever any of the rings, or the metal's figures, allow.

use core::fmt;

use crate::bounds::Bounds;
use crate::metal::Temper;
use crate::spring::{Flow, SpringError, SpringRatio, elastic_share};
use crate::units::Length;

/// Flow stress over modulus is nowhere below this: a soft metal's is a hundred times it. Our own limit, so that
/// it has a logarithm.
const LEAST: f64 = 1e-6;
/// By how much the flow stress of a coil may differ from the wire's own, either way, as the natural logarithm of their
/// ratio: pull and temper are not quite the same along a spool. Our own limit, no source. [`on_its_mandrel`] has its
/// exponential.
const COIL: f64 = 0.02;
/// How far strips may miss each other and still meet, for rounding.
const ROUNDING: f64 = 1e-9;

/// How the flow stress may go with the strain: the exponent's least, middle and highest value.
///
/// - Soft: annealed metals harden by `strain^n` with `n` from 0.1 to 0.5 (Wikipedia, "Strain hardening exponent"):
///   brass 70-30 0.49 (there too), copper 0.44 (Callister, as an earlier version of that page quotes it) or 0.54
///   (Kalpakjian, from memory).
/// - Half-hard: drawing has used up part of that. Brass 85-15, cold-rolled: 0.34 (Kalpakjian, from memory).
/// - Hard and spring: -0.2 to 0.2 takes in 659 of 660 predictions from one arbor to another in a table for music
///   wire, from memory (`tests/tests/learned_wires.rs`).
///
/// The limits are our own, a little wider than those figures. Below zero leaves room for wire that was pulled harder
/// on the thinner mandrel.
#[must_use]
pub const fn exponents(temper: Temper) -> Bounds<f64> {
    let high = match temper {
        Temper::Soft => 0.6,
        Temper::HalfHard => 0.4,
        Temper::Hard | Temper::Spring => 0.2,
    };
    let low = -0.2;
    Bounds { low, best: f64::midpoint(low, high), high }
}

/// What the rings measured on one mandrel mean for the wire's flow stress.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RingFlow {
    mandrel: Length,
    /// Logarithm of the strain of the outer fibre.
    strain: f64,
    /// Logarithms of the flow stress over the modulus, as the rings have it.
    measured: Bounds<f64>,
    /// The same within the metal's own bounds, or why there is nothing of it.
    fitting: Result<Bounds<f64>, Misfit>,
}

/// Why rings and a metal's figures do not go together.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Misfit {
    /// Rings opened more than the metal in this temper can.
    More {
        /// The mandrel that they were wound on.
        mandrel: Length,
        /// They would fit if the outside had been measured for the inside.
        outside: bool,
    },
    /// Rings opened less than the metal in this temper must.
    Less {
        /// The mandrel that they were wound on.
        mandrel: Length,
    },
    /// Rings on several mandrels have no flow stress in common, however the wire hardens.
    Apart,
}

/// `the rings on 4.5 mm open more than this metal and temper allow`.
impl fmt::Display for Misfit {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::More { mandrel, outside: true } => write!(
                f,
                "the rings on {mandrel} open more than this metal and temper allow: was the outside measured for the inside?"
            ),
            Self::More { mandrel, outside: false } => {
                write!(f, "the rings on {mandrel} open more than this metal and temper allow: is the wire harder?")
            }
            Self::Less { mandrel } => {
                write!(f, "the rings on {mandrel} open less than this metal and temper allow: is the wire softer?")
            }
            Self::Apart => f.write_str(
                "no one wire gives the rings measured on these mandrels: measure again, or drop those of another wire",
            ),
        }
    }
}

impl RingFlow {
    /// What rings mean that open by `spring` on this mandrel, for a metal of which `flow` is supposed.
    #[must_use]
    pub fn new(wire: Length, mandrel: Length, spring: SpringRatio, flow: Option<Flow>) -> Self {
        let (d, wound) = diameters(wire, mandrel);
        let strain = d / wound;
        let measured = spring.bounds().map(|ratio| libm::log((elastic_share(ratio) * strain).max(LEAST)));
        let supposed = flow.map(|flow| logarithms(flow, d, wound));
        let fitting = supposed.map_or(Ok(widened(measured)), |supposed| {
            common(widened(measured), supposed).ok_or_else(|| {
                if measured.low <= supposed.high {
                    return Misfit::Less { mandrel };
                }
                let inside = spring.bounds().map(|ratio| (ratio - 2.0 * strain).max(1.0));
                let inside = inside.map(|ratio| libm::log((elastic_share(ratio) * strain).max(LEAST)));
                let outside =
                    spring.low() > 1.0 + 2.0 * strain && common(widened(inside), supposed).is_some();
                Misfit::More { mandrel, outside }
            })
        });
        Self { mandrel, strain: libm::log(strain), measured, fitting }
    }

    /// The mandrel.
    #[must_use]
    pub const fn mandrel(&self) -> Length {
        self.mandrel
    }

    /// Flow stress over modulus, as its rings have it.
    #[must_use]
    pub fn flow(&self) -> Bounds<f64> {
        self.measured.map(libm::exp)
    }

    /// Why its rings and the metal's figures do not go together; nothing where they do.
    #[must_use]
    pub const fn misfit(&self) -> Option<Misfit> {
        match self.fitting {
            Ok(_) => None,
            Err(misfit) => Some(misfit),
        }
    }

    fn fits(&self) -> Bounds<f64> {
        self.fitting.unwrap_or(self.measured)
    }
}

/// What is known of one wire from rings on any number of mandrels.
///
/// # Examples
/// ```
/// use turntally_core::learned_flow::{LearnedFlow, RingFlow};
/// use turntally_core::{metal::{Metal, Temper}, spring::SpringRatio, units::Length};
/// let copper = Metal::named("copper").ok_or("not listed")?;
/// let (wire, temper) = (Length::from_um(1_200), Temper::Soft);
/// let flow = copper.flow(temper, wire)?;
/// // A ring of 9.29 mm inside, as cut, from a mandrel of 9 mm: 10.49 / 10.2, read to 0.02 mm.
/// let (nine, seven) = (Length::from_um(9_000), Length::from_um(7_000));
/// let spring = SpringRatio::between(10.47 / 10.2, 10.49 / 10.2, 10.51 / 10.2)?;
/// let rings = [RingFlow::new(wire, nine, spring, Some(flow))];
/// let learned = LearnedFlow::new(&rings, temper, Some(flow)).spring(wire, seven)?;
/// let supposed = SpringRatio::estimate(flow, wire, seven)?;
/// // (On 5 mm, farther from the ring, they are 0.53 times as wide.)
/// assert!(learned.high() - learned.low() < 0.5 * (supposed.high() - supposed.low()));
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LearnedFlow<'a> {
    rings: &'a [RingFlow],
    flow: Option<Flow>,
    exponents: Bounds<f64>,
    exponent: Result<Bounds<f64>, Misfit>,
}

impl<'a> LearnedFlow<'a> {
    /// Puts together what rings on several mandrels mean, of which `flow` is supposed.
    #[must_use]
    pub fn new(rings: &'a [RingFlow], temper: Temper, flow: Option<Flow>) -> Self {
        let exponents = exponents(temper);
        let mut new = Self { rings, flow, exponents, exponent: Ok(exponents) };
        new.exponent = new.narrowed();
        new
    }

    /// The rings that it is put together from.
    #[must_use]
    pub const fn rings(&self) -> &'a [RingFlow] {
        self.rings
    }

    /// The exponent of the strain, as far as the rings narrow it; or why they do not go together.
    ///
    /// # Errors
    /// [`Misfit`], the first that is found.
    pub const fn exponent(&self) -> Result<Bounds<f64>, Misfit> {
        self.exponent
    }

    fn narrowed(&self) -> Result<Bounds<f64>, Misfit> {
        for ring in self.rings {
            ring.fitting?;
        }
        // How much is left between the highest low line and the lowest high one at an exponent: concave.
        let left = |n: f64| self.most(n, 0.0) - self.least(n, 0.0);
        let all = self.exponents;
        let (at, most) = peak(left, all.low, all.high);
        if most < -ROUNDING {
            return Err(Misfit::Apart);
        }
        let (low, high) = (edge(left, at, all.low), edge(left, at, all.high));
        Ok(Bounds { low, best: f64::midpoint(low, high), high })
    }

    /// The highest logarithm of the flow ratio at this strain that all rings allow with the exponent `n`.
    fn most(&self, n: f64, strain: f64) -> f64 {
        let of = |ring: &RingFlow| ring.fits().high + n * (strain - ring.strain);
        self.rings.iter().map(of).fold(f64::INFINITY, f64::min)
    }

    /// The lowest.
    fn least(&self, n: f64, strain: f64) -> f64 {
        let of = |ring: &RingFlow| ring.fits().low + n * (strain - ring.strain);
        self.rings.iter().map(of).fold(f64::NEG_INFINITY, f64::max)
    }

    /// The mean of the rings' best values at this strain; the narrower an interval is, the more it counts.
    fn mean(&self, n: f64, strain: f64) -> f64 {
        let (mut sum, mut weights) = (0.0, 0.0);
        for ring in self.rings {
            let span = ring.fits();
            let width = (span.high - span.low).max(ROUNDING);
            let weight = 1.0 / (width * width);
            sum += weight * (span.best + n * (strain - ring.strain));
            weights += weight;
        }
        sum / weights
    }

    /// How far a coil of this wire opens on a mandrel.
    ///
    /// # Errors
    /// [`SpringError::SpringsOut`] where it may open past what is still a ring; [`SpringError::NoStrength`] where
    /// no ring was measured, or wire or mandrel have no thickness.
    pub fn spring(&self, wire: Length, mandrel: Length) -> Result<SpringRatio, SpringError> {
        let (d, wound) = diameters(wire, mandrel);
        if self.rings.is_empty() || wire <= Length::ZERO || mandrel <= Length::ZERO {
            return Err(SpringError::NoStrength);
        }
        let strain = libm::log(d / wound);
        let supposed = self.flow.map(|flow| logarithms(flow, d, wound));
        let span = match self.exponent {
            Ok(n) => {
                let (_, high) = peak(|n| self.most(n, strain), n.low, n.high);
                let (_, low) = peak(|n| -self.least(n, strain), n.low, n.high);
                let span = widened(ordered(-low, self.mean(n.best, strain), high));
                supposed.and_then(|supposed| common(span, supposed)).unwrap_or(span)
            }
            Err(_) => self.anything(strain, supposed),
        };
        SpringRatio::of_flow(span.map(libm::exp), d / wound)
    }

    /// What any of the rings, or the metal's figures, allow.
    fn anything(&self, strain: f64, supposed: Option<Bounds<f64>>) -> Bounds<f64> {
        let none = (f64::INFINITY, f64::NEG_INFINITY);
        let (mut low, mut high) = supposed.map_or(none, |supposed| (supposed.low, supposed.high));
        let mut sum = 0.0;
        for ring in self.rings {
            let carried = |n: f64| n * (strain - ring.strain);
            let (a, b) = (carried(self.exponents.low), carried(self.exponents.high));
            low = low.min(ring.measured.low + a.min(b));
            high = high.max(ring.measured.high + a.max(b));
            sum += ring.measured.best + carried(self.exponents.best);
        }
        ordered(low - COIL, sum / self.rings.len() as f64, high + COIL)
    }
}

/// How far coils of a wire open on a mandrel, of which it is supposed that they open by `supposed`, once a ring of one
/// opened by `measured`; and what is odd about that. This is [`LearnedFlow::spring`] for rings on that very mandrel: the
/// strain is the same, so the elastic shares stand for the flow stress, and no exponent and no logarithm is needed. For a
/// counter, on which those take 20 KB.
///
/// # Errors
/// [`SpringError::SpringsOut`] where it may open past what is still a ring.
pub fn on_its_mandrel(
    supposed: Bounds<f64>,
    measured: SpringRatio,
    wire: Length,
    mandrel: Length,
) -> Result<(SpringRatio, Option<Misfit>), SpringError> {
    // Room for how coils differ, twice, as where it is carried: the ring's own coil, and the next.
    const UP: f64 = 1.020_201_340_026_755_8;
    let (d, wound) = diameters(wire, mandrel);
    let shares = |ratios: Bounds<f64>| ratios.map(|ratio| elastic_share(ratio).max(LEAST));
    let wider = |span: Bounds<f64>| Bounds { low: span.low / UP, best: span.best, high: span.high * UP };
    let (allowed, read) = (shares(supposed), shares(measured.bounds()));
    let (span, misfit) = match common(wider(read), allowed) {
        Some(both) => (common(wider(both), allowed).unwrap_or(both), None),
        None => {
            let inside = measured.bounds().map(|ratio| (ratio - 2.0 * d / wound).max(1.0));
            let as_outside = measured.low() > 1.0 + 2.0 * d / wound;
            let misfit = match read.low > allowed.high {
                true => Misfit::More {
                    mandrel,
                    outside: as_outside && common(wider(shares(inside)), allowed).is_some(),
                },
                false => Misfit::Less { mandrel },
            };
            let either = ordered(read.low.min(allowed.low), read.best, read.high.max(allowed.high));
            (wider(either), Some(misfit))
        }
    };
    Ok((SpringRatio::of_flow(span, 1.0)?, misfit))
}

/// The wire's diameter and the wound centre line's, in millimetres.
fn diameters(wire: Length, mandrel: Length) -> (f64, f64) {
    let d = wire.mm().get();
    (d, mandrel.mm().get() + d)
}

/// The metal's own bounds: logarithms of flow stress over modulus. Its modulus's range is in them already
/// ([`crate::metal::Metal::flow`]).
fn logarithms(flow: Flow, d: f64, wound: f64) -> Bounds<f64> {
    let modulus = flow.modulus.mpa();
    flow.stress(d, wound).map(|stress| libm::log((stress / modulus).max(LEAST)))
}

/// An interval of logarithms with room for how coils differ.
fn widened(span: Bounds<f64>) -> Bounds<f64> {
    Bounds { low: span.low - COIL, best: span.best, high: span.high + COIL }
}

/// What two intervals have in common, with the best value of the first.
fn common(of: Bounds<f64>, with: Bounds<f64>) -> Option<Bounds<f64>> {
    let (low, high) = (of.low.max(with.low), of.high.min(with.high));
    (low <= high).then(|| ordered(low, of.best, high))
}

fn ordered(low: f64, best: f64, high: f64) -> Bounds<f64> {
    // Strips that only just meet may miss by rounding.
    let high = high.max(low);
    Bounds { low, best: best.max(low).min(high), high }
}

/// Where a concave function is highest between two values, and how high.
fn peak(of: impl Fn(f64) -> f64, low: f64, high: f64) -> (f64, f64) {
    let (mut low, mut high) = (low, high);
    // Each step leaves two thirds: 64 leave less than 10^-11 of the range.
    for _ in 0..64 {
        let third = (high - low) / 3.0;
        if of(low + third) < of(high - third) {
            low += third;
        } else {
            high -= third;
        }
    }
    let at = f64::midpoint(low, high);
    (at, of(at))
}

/// The value nearest to `to` where a concave function that is not below zero at `from` still is not.
fn edge(of: impl Fn(f64) -> f64, from: f64, to: f64) -> f64 {
    if of(to) >= 0.0 {
        return to;
    }
    let (mut inside, mut outside) = (from, to);
    for _ in 0..50 {
        let middle = f64::midpoint(inside, outside);
        if of(middle) >= 0.0 {
            inside = middle;
        } else {
            outside = middle;
        }
    }
    // Whatever lies between counts as inside: the bounds take it in.
    outside
}
