//! What measuring a coil shows: how far this wire opens on this mandrel, and how far apart its turns lie.
//!
//! The formulas are those of [`crate::coil`] read backwards, with d the wire's diameter and Dm the mandrel's:
//!
//! - the inside diameter of the released coil, or of a ring of it as cut and not yet closed:
//!   `k = (ID + d) / (Dm + d)`;
//! - the coil's length over N turns, edge to edge: `gap = (L - d) / (N d) - 1`, N being the turns on the
//!   mandrel, or those left once it is off, `N Lw / Lr`;
//! - the rings that N turns gave: a straight slit through T released turns, lead-in cut off, gives
//!   `floor(T) - 1` or `floor(T)` rings, T - 1 on average. So R rings mean `R <= T < R + 2`, and the wire
//!   keeps its length: `Lr = N Lw / (T + tail)`.
//!
//! A reading is good to some length either way, so each measurement gives an interval. [`learn`] puts several
//! together: the best value is the mean of the measured rings (or coils), its bounds take in every reading
//! with its error, since the next coil may be like any of them. Counted rings alone leave what all of them
//! allow; beside a measured ring they only check it. Where measurements have no value in common, that is
//! reported, and the bounds take in all of them.

use core::f64::consts::PI;
use core::fmt;

use crate::bounds::Bounds;
use crate::coil::{MAX_GAP, Winding, WindingError};
use crate::spring::{MAX_SPRING_RATIO, SpringRatio};
use crate::units::{Length, Turns};

/// To how much a calliper is read, either way. Its error limit at these lengths by DIN 862, from memory.
pub const CALLIPER: Length = Length::from_um(20);
/// The largest error of a reading that is still a measurement. Our own limit.
pub const MAX_WITHIN: Length = Length::from_um(1_000);
/// The most turns of a coil that was measured. Our own limit.
pub const MAX_TURNS: Turns = Turns::from_whole(100_000);

/// A length that was read off.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Reading {
    /// What was read, above zero.
    pub value: Length,
    /// How far the true length may be from it, either way: 0 to [`MAX_WITHIN`].
    pub within: Length,
}

/// What was measured on one coil.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Measurement {
    /// The inside diameter of the released coil, or of a ring of it as cut, not yet closed.
    Inside(Reading),
    /// The length of a coil, edge to edge.
    CoilLength {
        /// The length.
        length: Reading,
        /// Turns that were wound: above zero, up to [`MAX_TURNS`].
        turns: Turns,
        /// It was measured off the mandrel, where the coil has fewer turns than were wound.
        released: bool,
    },
    /// Whole rings that one straight slit gave, rejects included.
    Rings {
        /// How many.
        rings: u32,
        /// Turns that were wound: above zero, up to [`MAX_TURNS`].
        turns: Turns,
        /// Released turns of bent lead-in that were cut off first.
        tail: Turns,
    },
}

/// What a measurement says of a number: nothing, or its bounds.
type Found = Result<Option<Bounds<f64>>, MeasureError>;

/// Why something measured cannot be.
#[derive(Debug, Clone, Copy, PartialEq)]
#[non_exhaustive]
pub enum MeasureError {
    /// Wire and mandrel make no coil.
    Winding(WindingError),
    /// The turns are none, or more than [`MAX_TURNS`], or are all lead-in.
    Turns,
    /// The error of a reading is below zero or above [`MAX_WITHIN`].
    Within,
    /// No ring of this wire and mandrel has such an inside.
    Inside {
        /// The smallest: the mandrel's diameter.
        from: Length,
        /// The largest that is still a ring and no spring.
        to: Length,
    },
    /// No coil of this wire and so many turns is so long.
    CoilLength {
        /// Close-wound.
        from: Length,
        /// With the widest gap.
        to: Length,
    },
    /// No coil of so many turns gives so many rings.
    Rings {
        /// At least.
        from: u32,
        /// At most.
        to: u32,
    },
}

impl fmt::Display for MeasureError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Winding(error) => error.fmt(f),
            Self::Turns => write!(
                f,
                "wound turns, more than are lead-in and up to {}, are needed",
                MAX_TURNS.nano() / Turns::ONE
            ),
            Self::Within => write!(f, "a reading is good to 0 mm to {MAX_WITHIN} either way"),
            Self::Inside { from, to } => {
                write!(f, "a ring of this wire and mandrel is {from} to {to} inside, as cut and not closed")
            }
            Self::CoilLength { from, to } => {
                write!(f, "a coil of this wire and so many turns is {from} to {to} long, edge to edge")
            }
            Self::Rings { from, to } => write!(f, "so many turns give {from} to {to} rings"),
        }
    }
}

impl core::error::Error for MeasureError {}

/// What the measurements of one wire on one mandrel come to.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Learned {
    /// How far a coil opens; nothing where only lengths of coils were measured.
    pub spring: Option<SpringRatio>,
    /// Pitch / wire diameter - 1, 0..=[`MAX_GAP`]; nothing where no length was measured.
    pub gap: Option<Bounds<f64>>,
    /// Rings, or released coils, whose inside was measured.
    pub insides: u32,
    /// Coils whose rings were counted.
    pub counted: u32,
    /// Coils whose length was measured.
    pub lengths: u32,
    /// Two measurements of the spring ratio that no coil could both have given: their places in the list.
    pub springs_apart: Option<(usize, usize)>,
    /// The same for the gap.
    pub gaps_apart: Option<(usize, usize)>,
}

/// Intervals, put together one by one.
#[derive(Debug, Clone, Copy)]
struct Gathered {
    count: u32,
    sum: f64,
    /// What takes in all of them.
    hull: (f64, f64),
    /// The highest low bound and the lowest high one, each with its place: what all of them allow, if that is
    /// anything.
    common: ((f64, usize), (f64, usize)),
}

impl Gathered {
    const NONE: Self = Self {
        count: 0,
        sum: 0.0,
        hull: (f64::INFINITY, f64::NEG_INFINITY),
        common: ((f64::NEG_INFINITY, 0), (f64::INFINITY, 0)),
    };

    fn add(&mut self, place: usize, span: Bounds<f64>) {
        self.count += 1;
        self.sum += span.best;
        self.hull = (self.hull.0.min(span.low), self.hull.1.max(span.high));
        if span.low > self.common.0.0 {
            self.common.0 = (span.low, place);
        }
        if span.high < self.common.1.0 {
            self.common.1 = (span.high, place);
        }
    }

    /// The two that have nothing in common.
    fn apart(&self) -> Option<(usize, usize)> {
        let ((low, a), (high, b)) = self.common;
        (low > high).then_some((a.min(b), a.max(b)))
    }

    fn within(&self, (low, high): (f64, f64)) -> Option<Bounds<f64>> {
        let mean = self.sum / f64::from(self.count);
        (self.count > 0).then(|| Bounds { low, best: mean.clamp(low, high), high })
    }
}

impl Measurement {
    /// Checks it for a wire on a mandrel, of which `estimate` is supposed.
    ///
    /// # Errors
    /// [`MeasureError`] for what such a coil cannot have given.
    pub fn check(&self, wire: Length, mandrel: Length, estimate: SpringRatio) -> Result<(), MeasureError> {
        learn(wire, mandrel, estimate, &[*self]).map(|_| ()).map_err(|(_, error)| error)
    }

    /// The spring ratio that it means, for a coil of this pitch; nothing for a coil's length.
    fn spring(&self, winding: &Winding) -> Found {
        let wound = winding.wound_diameter().get();
        match *self {
            Self::Inside(reading) => {
                let ratio = |nm: i64| (Length::from_nm(nm).mm().get() + winding.wire().mm().get()) / wound;
                let (value, off) = (reading.value.nm(), within(reading)?);
                let span = Bounds { low: ratio(value - off), best: ratio(value), high: ratio(value + off) };
                in_range(span, 1.0, MAX_SPRING_RATIO).map(Some).ok_or_else(|| MeasureError::Inside {
                    from: winding.mandrel(),
                    to: Length::from_mm(winding.ring(MAX_SPRING_RATIO).inner_diameter).unwrap_or_default(),
                })
            }
            Self::CoilLength { .. } => Ok(None),
            Self::Rings { rings, turns, tail } => {
                let wound_turns = turns_of(turns)?;
                if tail < Turns::ZERO || tail >= turns {
                    return Err(MeasureError::Turns);
                }
                let wire = wound_turns * winding.wound_turn_wire().get();
                let pitch = winding.pitch().get();
                // More released turns than fit the wire even on the mandrel come out as a ratio below 1.
                let ratio = |slit: f64| {
                    let turn = wire / (slit + tail.as_f64());
                    libm::sqrt((turn * turn - pitch * pitch).max(0.0)) / (PI * wound)
                };
                let rings = f64::from(rings);
                let span = Bounds { low: ratio(rings + 2.0), best: ratio(rings + 1.0), high: ratio(rings) };
                in_range(span, 1.0, MAX_SPRING_RATIO).map(Some).ok_or_else(|| {
                    let left = |k: f64| wound_turns * winding.turns_kept(k) - tail.as_f64();
                    MeasureError::Rings {
                        from: libm::floor(left(MAX_SPRING_RATIO) - 1.0).max(0.0) as u32,
                        to: libm::floor(left(1.0)).max(0.0) as u32,
                    }
                })
            }
        }
    }

    /// The gap that it means, where the coil opens by `spring`; nothing for what says nothing of it.
    fn gap(&self, winding: &Winding, spring: SpringRatio) -> Found {
        let Self::CoilLength { length, turns, released } = *self else { return Ok(None) };
        let (wire, turns) = (winding.wire().mm().get(), turns_of(turns)?);
        let off = within(length)?;
        let gap = |nm: i64, k: f64| {
            let along = Length::from_nm(nm).mm().get() - wire;
            let mut pitch = along / turns;
            // How many turns are left hangs on the pitch, though hardly: two rounds are far below a nanometre.
            for _ in 0..if released { 3 } else { 0 } {
                let turn = |diameter: f64| libm::hypot(PI * diameter, pitch);
                let wound = winding.wound_diameter().get();
                pitch = along / (turns * turn(wound) / turn(k * wound));
            }
            pitch / wire - 1.0
        };
        let value = length.value.nm();
        let span = Bounds {
            low: gap(value - off, spring.low()),
            best: gap(value, spring.best()),
            high: gap(value + off, spring.high()),
        };
        in_range(span, 0.0, MAX_GAP).map(Some).ok_or_else(|| {
            let long = |gap: f64, k: f64| {
                let kept = if released { winding.turns_kept(k) } else { 1.0 };
                let mm = crate::units::Mm::new(turns * kept * wire * (1.0 + gap) + wire);
                Length::from_mm(mm).unwrap_or_default()
            };
            MeasureError::CoilLength { from: long(0.0, spring.high()), to: long(MAX_GAP, spring.low()) }
        })
    }
}

/// What of the interval lies within the bounds; nothing where none of it does.
fn in_range(span: Bounds<f64>, from: f64, to: f64) -> Option<Bounds<f64>> {
    // Written so that a NaN is refused too.
    (span.low <= to && span.high >= from).then(|| Bounds {
        low: span.low.max(from),
        best: span.best.clamp(from, to),
        high: span.high.min(to),
    })
}

fn within(reading: Reading) -> Result<i64, MeasureError> {
    let off = reading.within;
    if (Length::ZERO..=MAX_WITHIN).contains(&off) { Ok(off.nm()) } else { Err(MeasureError::Within) }
}

fn turns_of(turns: Turns) -> Result<f64, MeasureError> {
    if turns > Turns::ZERO && turns <= MAX_TURNS { Ok(turns.as_f64()) } else { Err(MeasureError::Turns) }
}

/// Puts the measurements of one wire on one mandrel together. `estimate` is what is supposed of its spring
/// ratio as long as nothing measured says it: the length of a released coil needs one.
///
/// # Examples
/// ```
/// use turntally_core::{measured::*, spring::SpringRatio, units::Length};
/// // By hand: 1.2 mm on 4.5 mm, a ring of 4.62 mm inside: 5.82 / 5.7 = 1.0211.
/// let ring = Measurement::Inside(Reading { value: Length::from_um(4_620), within: CALLIPER });
/// let (wire, mandrel) = (Length::from_um(1_200), Length::from_um(4_500));
/// let spring = learn(wire, mandrel, SpringRatio::NONE, &[ring]).ok().and_then(|learned| learned.spring);
/// assert!(spring.is_some_and(|spring| (spring.best() - 1.0211).abs() < 5e-5));
/// ```
///
/// # Errors
/// [`MeasureError`], with the place of the first measurement that cannot be.
pub fn learn(
    wire: Length,
    mandrel: Length,
    estimate: SpringRatio,
    measurements: &[Measurement],
) -> Result<Learned, (usize, MeasureError)> {
    let winding = |gap: f64| {
        Winding::new(wire, mandrel, gap, Length::ZERO, SpringRatio::NONE)
            .map_err(|error| (0, MeasureError::Winding(error)))
    };
    let close = winding(0.0)?;
    let gather = |of: &dyn Fn(&Measurement) -> Found| {
        let mut all = Gathered::NONE;
        for (place, measurement) in measurements.iter().enumerate() {
            if let Some(span) = of(measurement).map_err(|error| (place, error))? {
                all.add(place, span);
            }
        }
        Ok(all)
    };
    // A coil's pitch changes what its rings say by next to nothing: what was measured on the mandrel is enough.
    let on_mandrel = |m: &Measurement| !matches!(m, Measurement::CoilLength { released: true, .. });
    let pitch = gather(&|m| if on_mandrel(m) { m.gap(&close, estimate) } else { Ok(None) })?;
    let coil = winding(pitch.within(pitch.hull).map_or(0.0, |gap| gap.best))?;
    let is_inside = |measurement: &Measurement| matches!(measurement, Measurement::Inside(_));
    let all = gather(&|measurement| measurement.spring(&coil))?;
    let insides = gather(&|m| if is_inside(m) { m.spring(&coil) } else { Ok(None) })?;
    let ((least, _), (most, _)) = all.common;
    let spring = match (insides.count, all.apart()) {
        (0, None) => all.within((least, most)),
        (0, Some(_)) => all.within(all.hull),
        (_, Some(_)) => insides.within(all.hull),
        (_, None) => insides.within(insides.hull),
    };
    let spring = spring.and_then(|span| SpringRatio::between(span.low, span.best, span.high).ok());
    let gaps = gather(&|measurement| measurement.gap(&close, spring.unwrap_or(estimate)))?;
    Ok(Learned {
        spring,
        gap: gaps.within(gaps.hull),
        insides: insides.count,
        counted: all.count - insides.count,
        lengths: gaps.count,
        springs_apart: all.apart(),
        gaps_apart: gaps.apart(),
    })
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test may stop where it stands")]
    extern crate std;
    use super::*;
    use crate::coil::{best_rings, guaranteed_rings};
    use proptest::prelude::*;
    use std::string::ToString;
    use std::vec::Vec;

    const WIRE: Length = Length::from_um(1_200);
    const MANDREL: Length = Length::from_um(4_500);

    const fn reading(um: i64, within: i64) -> Reading {
        Reading { value: Length::from_um(um), within: Length::from_um(within) }
    }

    fn learned(measurements: &[Measurement]) -> Learned {
        learn(WIRE, MANDREL, SpringRatio::NONE, measurements).unwrap()
    }

    fn close(got: f64, want: f64) {
        assert!((got - want).abs() < 1e-6, "{got} is not {want}");
    }

    /// By hand: 1.2 mm on 4.5 mm, so Dw = 5.7 mm and a turn of it takes sqrt(17.907078^2 + 1.2^2) =
    /// 17.947241 mm of wire.
    #[test]
    fn worked_examples_come_out() {
        let spring = learned(&[Measurement::Inside(reading(4_620, 20))]).spring.unwrap();
        close(spring.low(), 5.80 / 5.7);
        close(spring.best(), 5.82 / 5.7);
        close(spring.high(), 5.84 / 5.7);
        let turns = Turns::from_whole(60);
        let length = Measurement::CoilLength { length: reading(74_400, 100), turns, released: false };
        let gap = learned(&[length]).gap.unwrap();
        close(gap.best, 73.2 / 72.0 - 1.0);
        close(gap.high - gap.best, 0.1 / 72.0);
        close(gap.best - gap.low, 0.1 / 72.0);
        // 57 rings and half a turn of lead-in: 57.5 to 59.5 turns were there, of 18.727556 to 18.098058 mm.
        let tail = Turns::from_nano(Turns::ONE / 2);
        let spring = learned(&[Measurement::Rings { rings: 57, turns, tail }]).spring.unwrap();
        close(spring.high(), 1.043_669_4);
        close(spring.low(), 1.008_441_0);
        close(spring.best(), 1.025_754_7);
    }

    /// Rings that were measured make the figure; those that were counted narrow it only where there is
    /// nothing else, and contradictions are reported by their places.
    #[test]
    fn several_measurements_are_put_together() {
        let ring = |um| Measurement::Inside(reading(um, 20));
        let rings = |rings| Measurement::Rings { rings, turns: Turns::from_whole(60), tail: Turns::ZERO };
        let both = learned(&[ring(4_600), ring(4_630)]);
        let spring = both.spring.unwrap();
        close(spring.best(), 5.815 / 5.7);
        close(spring.low(), 5.78 / 5.7);
        close(spring.high(), 5.85 / 5.7);
        assert_eq!((both.insides, both.springs_apart), (2, None));
        // Counted alone: what both allow.
        let counted = learned(&[rings(57), rings(58)]);
        let one = |n| learned(&[rings(n)]).spring.unwrap();
        let spring = counted.spring.unwrap();
        close(spring.high(), one(58).high());
        close(spring.low(), one(57).low());
        assert_eq!((counted.counted, counted.springs_apart), (2, None));
        // Beside a measured ring they change nothing, unless they deny it.
        let beside = learned(&[ring(4_620), rings(57)]);
        assert_eq!(beside.spring, learned(&[ring(4_620)]).spring);
        assert_eq!((beside.insides, beside.counted), (1, 1));
        let denied = learned(&[rings(50), ring(4_620)]);
        assert_eq!(denied.springs_apart, Some((0, 1)));
        close(denied.spring.unwrap().high(), one(50).high());
        assert_eq!(learned(&[ring(4_600), ring(4_630), ring(4_700)]).springs_apart, Some((0, 2)));
    }

    /// Readings whose intervals touch have a value in common; of several that deny another, the first is named.
    #[test]
    fn contradiction_names_the_first_places() {
        let apart = |ums: &[i64]| {
            let rings: Vec<_> = ums.iter().map(|&um| Measurement::Inside(reading(um, 20))).collect();
            learned(&rings).springs_apart
        };
        assert_eq!(apart(&[4_600, 4_640]), None);
        assert_eq!(apart(&[4_600, 4_641]), Some((0, 1)));
        assert_eq!(apart(&[4_700, 4_700, 4_600]), Some((0, 2)));
        assert_eq!(apart(&[4_600, 4_600, 4_700]), Some((0, 2)));
        assert_eq!(apart(&[4_650, 4_700, 4_600, 4_700, 4_600]), Some((1, 2)));
    }

    /// Each error has its text, with what is allowed.
    #[test]
    fn errors_are_written() {
        let um = Length::from_um;
        for (error, text) in [
            (MeasureError::Winding(WindingError::NoWire), "thicker than nothing"),
            (MeasureError::Turns, "more than are lead-in and up to 100000"),
            (MeasureError::Within, "0 mm to 1 mm either way"),
            (MeasureError::Inside { from: um(4_500), to: um(10_200) }, "is 4.5 mm to 10.2 mm inside"),
            (MeasureError::CoilLength { from: um(73_200), to: um(433_200) }, "is 73.2 mm to 433.2 mm long"),
            (MeasureError::Rings { from: 29, to: 60 }, "29 to 60 rings"),
        ] {
            assert!(error.to_string().contains(text), "{error}");
        }
    }

    /// What no coil can have given is refused with what it could.
    #[test]
    fn impossible_measurements_are_refused() {
        let refused =
            |measurement: Measurement| measurement.check(WIRE, MANDREL, SpringRatio::NONE).unwrap_err();
        let (from, to) = (MANDREL, Length::from_um(10_200));
        assert_eq!(refused(Measurement::Inside(reading(4_470, 20))), MeasureError::Inside { from, to });
        assert_eq!(refused(Measurement::Inside(reading(10_300, 20))), MeasureError::Inside { from, to });
        assert_eq!(refused(Measurement::Inside(reading(4_600, 1_001))), MeasureError::Within);
        let turns = Turns::from_whole(60);
        let length = |um, turns| Measurement::CoilLength { length: reading(um, 20), turns, released: false };
        let (from, to) = (Length::from_um(73_200), Length::from_um(433_200));
        assert_eq!(refused(length(73_100, turns)), MeasureError::CoilLength { from, to });
        assert_eq!(refused(length(73_100, Turns::ZERO)), MeasureError::Turns);
        let rings = |rings, tail| Measurement::Rings { rings, turns, tail };
        assert_eq!(refused(rings(61, Turns::ZERO)), MeasureError::Rings { from: 29, to: 60 });
        assert_eq!(refused(rings(10, Turns::ZERO)), MeasureError::Rings { from: 29, to: 60 });
        assert_eq!(refused(rings(10, turns)), MeasureError::Turns);
        // By hand: at a ratio of 2 the 60 turns keep 17.947241 / 35.834254 of themselves, 30.05; the lead-in is cut off.
        let tail = Turns::from_nano(2_250_000_000);
        assert_eq!(refused(rings(10, tail)), MeasureError::Rings { from: 26, to: 57 });
        // Off the mandrel, at a ratio of 1.02, they are 17.947241 / 18.304597 = 0.980477 of themselves.
        let length = Measurement::CoilLength { length: reading(60_000, 20), turns, released: true };
        let refused = length.check(WIRE, MANDREL, SpringRatio::measured(1.02).unwrap());
        let Err(MeasureError::CoilLength { from, to }) = refused else { unreachable!("{refused:?}") };
        close(from.mm().get(), 71.794363);
        close(to.mm().get(), 424.766179);
        // A hair below the mandrel is a reading's error.
        assert!(Measurement::Inside(reading(4_490, 20)).check(WIRE, MANDREL, SpringRatio::NONE).is_ok());
        assert_eq!(
            learn(Length::ZERO, MANDREL, SpringRatio::NONE, &[]),
            Err((0, MeasureError::Winding(WindingError::NoWire)))
        );
    }

    proptest! {
        /// Measuring the ring, the coil and the rings that the model makes gives back its ratio and gap.
        #[test]
        fn the_model_is_read_backwards(
            wire in 300_i64..2_500, ratio in 1.5..12.0_f64, k in 1.0..1.3_f64, gap in 0.0..0.4_f64,
            wound in 5.0..200.0_f64, tail in 0.0..1.5_f64, slit in 0.0..1.0_f64,
        ) {
            let wire = Length::from_um(wire);
            let mandrel = Length::from_nm((wire.nm() as f64 * ratio) as i64);
            let spring = SpringRatio::measured(k).unwrap();
            let coil = Winding::new(wire, mandrel, gap, Length::ZERO, spring).unwrap();
            let exactly = |mm| Reading { value: Length::from_mm(mm).unwrap(), within: Length::from_nm(1) };
            let (turns, tail) = (Turns::from_f64(wound).unwrap(), Turns::from_f64(tail).unwrap());
            let inside = Measurement::Inside(exactly(coil.ring(k).inner_diameter));
            let along = |turns: f64| exactly(crate::units::Mm::new(turns * coil.pitch().get() + wire.mm().get()));
            let released_turns = turns.as_f64() * coil.turns_kept(k);
            let length = |length, released| Measurement::CoilLength { length, turns, released };
            let both = [inside, length(along(turns.as_f64()), false), length(along(released_turns), true)];
            // A ring of the smallest mandrel is a nanometre in half a millimetre.
            let nm = 3e-6 / coil.wound_diameter().get();
            for measurements in [&both[..2], &[both[0], both[2]], &both] {
                let learned = learn(wire, mandrel, SpringRatio::NONE, measurements).unwrap();
                prop_assert!((learned.spring.unwrap().best() - k).abs() < nm, "{:?}", learned);
                prop_assert!((learned.gap.unwrap().best - gap).abs() < 1e-5, "{:?}", learned);
            }
            // The slit falls anywhere: as many rings as there are whole turns behind it.
            let left = Turns::from_f64(released_turns).unwrap().checked_sub(tail).unwrap();
            let rings = (left.as_f64() - slit).floor() as u32;
            prop_assert!((guaranteed_rings(left)..=best_rings(left)).contains(&rings));
            let counted = Measurement::Rings { rings, turns, tail };
            let learned = learn(wire, mandrel, spring, &[both[1], counted]).unwrap();
            let spring = learned.spring.unwrap();
            prop_assert!(spring.low() - 1e-6 <= k && k <= spring.high() + 1e-6, "{} {:?}", k, spring);
        }
    }
}
