//! From turns to coil length, wire and rings.
//!
//! [`Winding`] is one wire on one mandrel: every length and diameter of the coil and its rings, as
//! real numbers. [`CoilModel`] is what the counter works with while the crank turns: the same coil in
//! integers, rounded so that what it promises is certain.
//!
//! With d the wire's diameter, Dm the mandrel's, p = d (1 + gap) the pitch and k the spring ratio:
//! centre-line diameters Dw = Dm + d and Dr = k Dw, wire per turn `sqrt((pi D)^2 + p^2)`, coil length
//! `N p + d` from the outside of the first turn to the outside of the last (helix geometry; the body
//! length of a close-wound spring in Mott's and Shigley's worked examples). The wire does not change
//! its length when the coil opens, so it has fewer turns afterwards: `Nr = N Lw / Lr`.

use core::f64::consts::PI;
use core::fmt;

use crate::bounds::Bounds;
use crate::spring::{MAX_SPRING_RATIO, SpringRatio};
use crate::units::{Density, Grams, Length, Mm, Turns, ceil_div, floor_div};

/// The thinnest mandrel, in wire diameters, on which a wire is bent to a ring at all. At one diameter
/// the outer fibre is stretched by a half. Common practice, no source.
pub const MIN_MANDREL_IN_WIRES: i64 = 1;
/// The widest gap: a pitch of six wire diameters is a spring, not a coil to be sawn. Our own limit.
pub const MAX_GAP: f64 = 5.0;

/// One wire, wound on one mandrel, sawn with one kerf.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Winding {
    wire: Length,
    mandrel: Length,
    gap: f64,
    kerf: Length,
    spring: SpringRatio,
}

/// Why a winding makes no ring.
#[derive(Debug, Clone, Copy, PartialEq)]
#[non_exhaustive]
pub enum WindingError {
    /// The wire has no thickness.
    NoWire,
    /// The mandrel is thinner than the wire can be bent round.
    MandrelTooThin {
        /// The mandrel's diameter.
        got: Length,
        /// The thinnest for this wire.
        min: Length,
    },
    /// The mandrel or the wire is past what any bench takes (1 m).
    TooLarge,
    /// The gap is below nothing, above [`MAX_GAP`] or no number.
    Gap {
        /// What was given.
        got: f64,
    },
    /// The saw would take as much as the ring is wide inside, or more.
    KerfTooWide {
        /// The kerf.
        got: Length,
        /// It must stay below this, the ring's inside diameter as cut.
        below: Length,
    },
}

impl fmt::Display for WindingError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NoWire => f.write_str("the wire must be thicker than nothing"),
            Self::MandrelTooThin { got, min } => {
                write!(f, "a mandrel of {got} is thinner than this wire can be bent round: at least {min}")
            }
            Self::TooLarge => f.write_str("wire and mandrel must be below 1 m"),
            Self::Gap { got } => {
                write!(f, "a gap of {got} is no gap: measured pitch / wire diameter - 1, from 0 to {MAX_GAP}")
            }
            Self::KerfTooWide { got, below } => {
                write!(f, "a kerf of {got} is wider than the ring: below its inside diameter of {below}")
            }
        }
    }
}

impl core::error::Error for WindingError {}

/// A ring at one spring ratio.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Ring {
    /// Centre-line diameter after release.
    pub centre_diameter: Mm,
    /// Wire in one released turn.
    pub turn_wire: Mm,
    /// Wire that one cut turns to swarf: the kerf along the helix.
    pub kerf_wire: Mm,
    /// Wire in the ring.
    pub wire: Mm,
    /// Inside diameter as cut, still open by the kerf.
    pub inner_diameter: Mm,
    /// Inside diameter once the ends are brought together.
    pub closed_inner_diameter: Mm,
    /// Closed inside diameter over wire diameter.
    pub aspect_ratio: f64,
}

impl Winding {
    /// Puts `wire` on `mandrel`. `gap` is measured pitch / wire diameter - 1 (0 for a close coil),
    /// `kerf` what the saw takes (0 for pinched or sheared rings).
    ///
    /// # Errors
    /// [`WindingError`] for whatever makes no ring at any spring ratio within `spring`.
    pub fn new(
        wire: Length,
        mandrel: Length,
        gap: f64,
        kerf: Length,
        spring: SpringRatio,
    ) -> Result<Self, WindingError> {
        const METRE: Length = Length::from_um(1_000_000);
        if wire <= Length::ZERO {
            return Err(WindingError::NoWire);
        }
        if wire > METRE || mandrel > METRE {
            return Err(WindingError::TooLarge);
        }
        let min = Length::from_nm(wire.nm() * MIN_MANDREL_IN_WIRES);
        if mandrel < min {
            return Err(WindingError::MandrelTooThin { got: mandrel, min });
        }
        if !(0.0..=MAX_GAP).contains(&gap) {
            return Err(WindingError::Gap { got: gap });
        }
        let winding = Self { wire, mandrel, gap, kerf, spring };
        // A kerf below this leaves a ring that has an inside once it is closed: with the centre line C >= 2 d, the ring
        // keeps more than (pi - 1) C + d of wire, and no inside is left only at pi d.
        let tightest = winding.ring(spring.low());
        if kerf < Length::ZERO || kerf.mm() >= tightest.inner_diameter {
            let below = Length::from_mm(tightest.inner_diameter).unwrap_or_default();
            return Err(WindingError::KerfTooWide { got: kerf, below });
        }
        Ok(winding)
    }

    /// The wire's diameter.
    #[must_use]
    pub const fn wire(&self) -> Length {
        self.wire
    }

    /// The mandrel's diameter.
    #[must_use]
    pub const fn mandrel(&self) -> Length {
        self.mandrel
    }

    /// The saw's kerf.
    #[must_use]
    pub const fn kerf(&self) -> Length {
        self.kerf
    }

    /// Pitch / wire diameter - 1.
    #[must_use]
    pub const fn gap(&self) -> f64 {
        self.gap
    }

    /// How far the coil opens.
    #[must_use]
    pub const fn spring(&self) -> SpringRatio {
        self.spring
    }

    /// From one turn to the next along the coil.
    #[must_use]
    pub fn pitch(&self) -> Mm {
        Mm::new(self.wire.mm().get() * (1.0 + self.gap))
    }

    /// Turns in an inch of coil.
    #[must_use]
    pub fn turns_per_inch(&self) -> f64 {
        25.4 / self.pitch().get()
    }

    /// Centre-line diameter on the mandrel.
    #[must_use]
    pub fn wound_diameter(&self) -> Mm {
        Mm::new(self.mandrel.mm().get() + self.wire.mm().get())
    }

    /// Wire in one turn on the mandrel.
    #[must_use]
    pub fn wound_turn_wire(&self) -> Mm {
        self.turn_wire(self.wound_diameter().get())
    }

    /// The ring that comes off where the coil opens by `spring_ratio`.
    #[must_use]
    pub fn ring(&self, spring_ratio: f64) -> Ring {
        let d = self.wire.mm().get();
        let centre = spring_ratio * self.wound_diameter().get();
        let turn = self.turn_wire(centre).get();
        // cos(atan(p / (pi D))) is the flat turn over the true one.
        let cosine = PI * centre / turn;
        let kerf_wire = self.kerf.mm().get() / cosine;
        let wire = turn - kerf_wire;
        let closed = wire / PI - d;
        Ring {
            centre_diameter: Mm::new(centre),
            turn_wire: Mm::new(turn),
            kerf_wire: Mm::new(kerf_wire),
            wire: Mm::new(wire),
            inner_diameter: Mm::new(centre - d),
            closed_inner_diameter: Mm::new(closed),
            aspect_ratio: closed / d,
        }
    }

    /// The helix angle of the coil where it opens by `spring_ratio`, in radians.
    #[must_use]
    pub fn helix_angle(&self, spring_ratio: f64) -> f64 {
        libm::atan(self.pitch().get() / (PI * spring_ratio * self.wound_diameter().get()))
    }

    /// Mass of one ring at a spring ratio.
    #[must_use]
    pub fn ring_mass(&self, spring_ratio: f64, density: Density) -> Grams {
        density.wire_mass(self.wire, self.ring(spring_ratio).wire)
    }

    /// Released turns to one wound turn, where the coil opens by `spring_ratio`: `Lw / Lr`.
    #[must_use]
    pub fn turns_kept(&self, spring_ratio: f64) -> f64 {
        self.wound_turn_wire().get() / self.ring(spring_ratio).turn_wire.get()
    }

    /// Stretch of the outer fibre while wound: `d / (Dm + d)`.
    #[must_use]
    pub fn outer_strain(&self) -> f64 {
        self.wire.mm().get() / self.wound_diameter().get()
    }

    /// How far the aspect ratio of a closed ring may be from the likely one, over the bounds of the springback; 0 where
    /// that was measured. No unit.
    #[must_use]
    pub fn aspect_ratio_uncertainty(&self) -> f64 {
        let spring = self.spring.bounds();
        let [low, best, high] =
            [spring.low, spring.best, spring.high].map(|ratio| self.ring(ratio).aspect_ratio);
        (best - low).max(high - best)
    }

    fn turn_wire(&self, centre_diameter: f64) -> Mm {
        Mm::new(libm::hypot(PI * centre_diameter, self.pitch().get()))
    }
}

/// Rings from a straight slit through `turns` released turns, wherever it falls: `floor(T) - 1`.
#[must_use]
pub const fn guaranteed_rings(turns: Turns) -> u32 {
    best_rings(turns).saturating_sub(1)
}

/// Rings from a straight slit through `turns` released turns, where it falls best: `floor(T)`.
#[must_use]
pub const fn best_rings(turns: Turns) -> u32 {
    let whole = turns.nano() / Turns::ONE;
    if whole < 0 {
        0
    } else if whole > u32::MAX as i64 {
        u32::MAX
    } else {
        whole as u32
    }
}

/// A coil in integers, as the counter works with it: the same answer on every processor, every
/// rounding on the side that cannot cost a promised ring.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct CoilModel {
    wire: Length,
    pitch: Length,
    /// Released turns to a thousand million wound ones: at the high spring bound, rounded down.
    kept_least: i64,
    /// The same at the low bound, rounded up.
    kept_most: i64,
    /// Released turns of bent lead-in that are cut off.
    tail: Turns,
    /// Wire in a thousand million wound turns is this many nanometres times 1e9: one turn's wire,
    /// rounded up.
    turn_wire: Length,
}

/// The most rings that one coil can be asked for: far past any mandrel.
pub const MAX_RINGS_PER_COIL: u32 = 1_000_000;

impl CoilModel {
    /// The wire's diameter.
    #[must_use]
    pub const fn wire(&self) -> Length {
        self.wire
    }

    /// The mandrel's diameter: of a close coil to the nanometre, since the wire of a turn was rounded up by less than one,
    /// and so the diameter by less than half; of an open one to three, since its pitch was rounded up too.
    #[must_use]
    pub fn mandrel(&self) -> Length {
        let (turn, pitch) = (self.turn_wire.nm() as f64, self.pitch.nm() as f64);
        let wound = libm::sqrt((turn * turn - pitch * pitch).max(0.0)) / PI;
        // Room for the rounding of the square root, far below what rounding up left.
        Length::from_nm((wound + 1e-3) as i64 - self.wire.nm())
    }

    /// How far the coil is supposed to open: the bounds that its rings are promised by, and their middle.
    #[must_use]
    pub fn spring(&self) -> Bounds<f64> {
        let (circle, pitch) = (self.wound_circle(), self.pitch_bounds());
        let ratio = |kept: i64, pitch: f64| {
            let released = libm::hypot(circle, pitch) * 1e9 / kept.max(1) as f64;
            let round = libm::sqrt((released * released - pitch * pitch).max(0.0));
            (round / circle).clamp(1.0, MAX_SPRING_RATIO)
        };
        let (low, high) = (ratio(self.kept_most, pitch.low), ratio(self.kept_least, pitch.high));
        Bounds { low, best: f64::midpoint(low, high), high: high.max(low) }
    }

    /// The same coil, of which is known how far it opens.
    #[must_use]
    pub fn opening_by(&self, spring: SpringRatio) -> Self {
        let (circle, pitch) = (self.wound_circle(), self.pitch_bounds());
        let kept =
            |ratio: f64, pitch: f64| libm::hypot(circle, pitch) / libm::hypot(ratio * circle, pitch) * 1e9;
        let kept_least = kept(spring.high(), pitch.low) as i64;
        Self { kept_least, kept_most: libm::ceil(kept(spring.low(), pitch.high)) as i64, ..*self }
    }

    /// One turn of the wound coil's centre line, seen along the mandrel, in nanometres.
    fn wound_circle(&self) -> f64 {
        PI * (self.mandrel().nm() + self.wire.nm()) as f64
    }

    /// The pitch in nanometres, which was rounded up unless it is the wire.
    fn pitch_bounds(&self) -> Bounds<f64> {
        let pitch = self.pitch.nm() as f64;
        Bounds { low: if self.pitch > self.wire { pitch - 1.0 } else { pitch }, best: pitch, high: pitch }
    }

    /// Whether both are of the same wire on the same mandrel, supposed to open alike; their lead-in may differ.
    #[must_use]
    pub fn winds_as(&self, other: &Self) -> bool {
        Self { tail: other.tail, ..*self } == *other
    }

    /// The rule for a winding whose first `tail` turns are bent lead-in (0 or more).
    #[must_use]
    pub fn new(winding: &Winding, tail: Turns) -> Self {
        let spring = winding.spring();
        let up = |mm: Mm| Length::from_nm(libm::ceil(mm.get() * 1e6) as i64);
        Self {
            wire: winding.wire(),
            // A close coil's pitch is its wire, to the nanometre: through a real number it could come back
            // one longer, and fifty turns would add fifty.
            pitch: if winding.gap() > 0.0 { up(winding.pitch()) } else { winding.wire() },
            // Above zero, where to cut off is to round down.
            kept_least: (winding.turns_kept(spring.high()) * 1e9) as i64,
            kept_most: libm::ceil(winding.turns_kept(spring.low()) * 1e9) as i64,
            tail: if tail < Turns::ZERO { Turns::ZERO } else { tail },
            turn_wire: up(winding.wound_turn_wire()),
        }
    }

    /// Turns that are surely left once the coil is released and its lead-in cut off; never below zero.
    #[must_use]
    pub const fn usable_turns(&self, wound: Turns) -> Turns {
        self.usable(wound, self.kept_least)
    }

    /// Rings that `wound` turns give wherever the slit falls and however far the coil opens.
    /// More turns never mean fewer rings.
    #[must_use]
    pub const fn guaranteed_rings(&self, wound: Turns) -> u32 {
        guaranteed_rings(self.usable(wound, self.kept_least))
    }

    /// Rings that `wound` turns can give at most: also where less of the wire is bent than the lead-in that is cut off.
    #[must_use]
    pub const fn best_rings(&self, wound: Turns) -> u32 {
        best_rings(released(wound, self.kept_most))
    }

    /// The fewest turns that make `rings` certain (no turns for no rings). `rings` is held to
    /// [`MAX_RINGS_PER_COIL`].
    #[must_use]
    pub fn turns_for(&self, rings: u32) -> Turns {
        if rings == 0 {
            return Turns::ZERO;
        }
        let rings = i128::from(rings.min(MAX_RINGS_PER_COIL));
        let one = i128::from(Turns::ONE);
        let released = (rings + 1) * one + i128::from(self.tail.nano());
        let kept = self.kept_least.max(1);
        // Rounded up, so that rounding down in `usable` still reaches the whole turn.
        Turns::from_nano(ceil_div(released * one, kept).unwrap_or(i64::MAX))
    }

    /// The coil's length on the mandrel, edge to edge, rounded up to a nanometre.
    #[must_use]
    pub const fn length(&self, wound: Turns) -> Length {
        let along = wound.nano() as i128 * self.pitch.nm() as i128;
        // A turn count is below 9.3e9 and a pitch below 6 m: past i64 only for coils beyond any bench.
        match ceil_div(along, Turns::ONE) {
            Some(along) => Length::from_nm(along.saturating_add(self.wire.nm())),
            None => Length::from_nm(i64::MAX),
        }
    }

    /// The most turns whose coil on the mandrel is no longer than `max`; none where not even the
    /// wire fits.
    #[must_use]
    pub const fn turns_within(&self, max: Length) -> Turns {
        let along = max.nm() as i128 - self.wire.nm() as i128;
        if along <= 0 {
            return Turns::ZERO;
        }
        match floor_div(along * Turns::ONE as i128, self.pitch.nm()) {
            Some(nano) => Turns::from_nano(nano),
            None => Turns::from_nano(i64::MAX),
        }
    }

    /// Wire wound on by `wound` turns, rounded up to a nanometre a turn.
    #[must_use]
    pub const fn wire_used(&self, wound: Turns) -> Length {
        match floor_div(wound.nano() as i128 * self.turn_wire.nm() as i128, Turns::ONE) {
            Some(nm) => Length::from_nm(nm),
            None => Length::from_nm(i64::MAX),
        }
    }

    const fn usable(&self, wound: Turns, kept: i64) -> Turns {
        let usable = released(wound, kept).nano().saturating_sub(self.tail.nano());
        Turns::from_nano(if usable < 0 { 0 } else { usable })
    }
}

/// Turns once the coil is off the mandrel, where `kept` of a thousand million are left.
const fn released(wound: Turns, kept: i64) -> Turns {
    if wound.nano() <= 0 {
        return Turns::ZERO;
    }
    // What is kept is below one turn in one, so it fits.
    match floor_div(wound.nano() as i128 * kept as i128, Turns::ONE) {
        Some(released) => Turns::from_nano(released),
        None => Turns::from_nano(i64::MAX),
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test may stop where it stands")]
    extern crate std;
    use super::*;
    use proptest::prelude::*;
    use std::string::ToString;

    fn any_winding() -> impl Strategy<Value = Winding> {
        (300_i64..2_500, 1.5..12.0_f64, 0.0..0.3_f64, 0_i64..500, 1.0..1.15_f64).prop_map(
            |(wire_um, ratio, gap, kerf_um, spring)| {
                Winding::new(
                    Length::from_um(wire_um),
                    Length::from_um((wire_um as f64 * ratio) as i64 + 800),
                    gap,
                    Length::from_um(kerf_um),
                    SpringRatio::measured(spring).unwrap(),
                )
                .unwrap()
            },
        )
    }

    proptest! {
        /// More turns never mean fewer rings, nor a shorter coil.
        #[test]
        fn more_turns_never_mean_fewer_rings(winding in any_winding(), a in 0_i64..300_000_000_000, more in 0_i64..5_000_000_000) {
            let rule = CoilModel::new(&winding, Turns::from_nano(500_000_000));
            let (fewer, turns) = (Turns::from_nano(a), Turns::from_nano(a + more));
            prop_assert!(rule.guaranteed_rings(turns) >= rule.guaranteed_rings(fewer));
            prop_assert!(rule.best_rings(turns) >= rule.best_rings(fewer));
            prop_assert!(rule.guaranteed_rings(turns) <= rule.best_rings(turns));
            prop_assert!(rule.length(turns) >= rule.length(fewer));
        }

        /// The turns for some rings make them certain, and a hundred-thousandth of a turn less does not.
        #[test]
        fn turns_for_rings_is_the_least(winding in any_winding(), rings in 1_u32..2_000, tail in 0_i64..3_000_000_000) {
            let rule = CoilModel::new(&winding, Turns::from_nano(tail));
            let turns = rule.turns_for(rings);
            prop_assert_eq!(rule.guaranteed_rings(turns), rings);
            prop_assert!(rule.guaranteed_rings(Turns::from_nano(turns.nano() - 10_000)) < rings);
        }

        /// The coil that just fits does fit, and a thousandth of a turn more does not.
        #[test]
        fn turns_within_just_fit(winding in any_winding(), max_um in 10_000_i64..200_000) {
            let rule = CoilModel::new(&winding, Turns::ZERO);
            let max = Length::from_um(max_um);
            let turns = rule.turns_within(max);
            prop_assert!(rule.length(turns) <= max);
            prop_assert!(rule.length(Turns::from_nano(turns.nano() + 1_000_000)) > max);
            // Not even the wire fits.
            for max in [Length::from_nm(-max.nm()), Length::ZERO, Length::from_nm(rule.wire().nm() - 1)] {
                prop_assert_eq!(rule.turns_within(max), Turns::ZERO);
            }
        }

        /// A rule names the coil it was made for: its mandrel, close-wound to the nanometre and open to three; its pitch;
        /// and how far it opens. One that opens by another ratio is the rule that is made for that.
        #[test]
        fn rule_names_its_coil(
            wire in 300_000_i64..2_500_000, ratio in 1.5..12.0_f64, gap in 0.0..0.5_f64, open in any::<bool>(),
            opening in prop::array::uniform3(1.0..1.3_f64), tail in 0_i64..3_000_000_000,
        ) {
            let mandrel = (wire as f64 * ratio) as i64;
            let gap = if open { gap } else { 0.0 };
            let wound = |spring| {
                Winding::new(Length::from_nm(wire), Length::from_nm(mandrel), gap, Length::ZERO, spring).unwrap()
            };
            let [a, b, c] = opening;
            let low = a.min(b).min(c);
            let high = a.max(b).max(c);
            let spring = SpringRatio::between(low, (low + high) / 2.0, high).unwrap();
            let winding = wound(spring);
            let rule = CoilModel::new(&winding, Turns::from_nano(tail));
            let off = rule.mandrel().nm().abs_diff(mandrel);
            let most = if gap > 0.0 { 3 } else { 0 };
            prop_assert!(off <= most, "{off} nm");
            let (pitch, bounds) = (winding.pitch().get() * 1e6, rule.pitch_bounds());
            prop_assert!(bounds.low - 1e-6 <= pitch && pitch <= bounds.high + 1e-6, "{pitch} in {bounds:?}");
            let wide = if gap > 0.0 { 1.1 } else { 0.1 };
            prop_assert!(bounds.high - bounds.low < wide);
            let named = rule.spring();
            for (named, true_one) in [(named.low, low), (named.best, f64::midpoint(low, high)), (named.high, high)] {
                prop_assert!((named - true_one).abs() < 1e-6, "{named}, not {true_one}");
            }
            let opened = CoilModel::new(&wound(SpringRatio::NONE), Turns::from_nano(tail)).opening_by(spring);
            for (kept, made) in [(opened.kept_least, rule.kept_least), (opened.kept_most, rule.kept_most)] {
                prop_assert!(kept.abs_diff(made) <= 10, "{kept}, not {made}");
            }
            // The lead-in is no matter of the wire; the mandrel and the opening are.
            let winds_as = |other: &Winding| rule.winds_as(&CoilModel::new(other, Turns::ZERO));
            prop_assert!(winds_as(&winding));
            prop_assert!(!winds_as(&wound(SpringRatio::measured(1.5).unwrap())));
        }

        /// The wire keeps its length when the coil opens: turns times wire per turn is the same.
        #[test]
        fn wire_is_conserved_on_release(winding in any_winding(), turns in 1.0..200.0_f64) {
            let k = winding.spring().best();
            let released = turns * winding.turns_kept(k) * winding.ring(k).turn_wire.get();
            let wound = turns * winding.wound_turn_wire().get();
            prop_assert!((released / wound - 1.0).abs() < 1e-14);
        }

        /// A ring that is not refused has an inside once it is closed, however wide its kerf, gap and springback.
        #[test]
        fn closed_rings_have_an_inside(
            wire in 1_000_i64..6_000_000, more in 0.0..20.0_f64, gap in 0.0..=MAX_GAP, of_kerf in 0.0..=1.0_f64,
            spring in 1.0..=2.0_f64,
        ) {
            let mandrel = wire + (wire as f64 * more) as i64;
            let spring = SpringRatio::measured(spring).unwrap();
            let new = |kerf| Winding::new(Length::from_nm(wire), Length::from_nm(mandrel), gap, Length::from_nm(kerf), spring);
            // The widest kerf that is not refused, and any below it.
            let open = new(0).unwrap().ring(spring.low()).inner_diameter.get();
            let widest = (open * 1e6) as i64 - 1;
            for kerf in [widest, (widest as f64 * of_kerf) as i64] {
                let ring = new(kerf).unwrap().ring(spring.low());
                prop_assert!(ring.closed_inner_diameter.get() > 0.0, "{ring:?}");
            }
            let refused = matches!(new(widest + 2), Err(WindingError::KerfTooWide { .. }));
            prop_assert!(refused, "{} of {open} mm", widest + 2);
        }

        /// Closing a ring by the kerf brings its inside below what was cut, by the kerf over pi about.
        #[test]
        fn closing_takes_the_kerf_over_pi(winding in any_winding()) {
            let ring = winding.ring(1.0);
            let by = ring.inner_diameter.get() - ring.closed_inner_diameter.get();
            let kerf = winding.kerf().mm().get() / PI;
            // The helix adds the excess of a turn over its circle, which closing takes up again.
            let excess = ring.turn_wire.get() / PI - ring.centre_diameter.get();
            prop_assert!((by + excess - kerf).abs() < kerf * 0.2 + 1e-9, "{} {}", by + excess, kerf);
        }
    }

    /// Whoever bends less than the lead-in that was planned, down to nothing, still gets no more rings than "at most"; and
    /// somebody gets that many. By hand: 1.2 mm on 4.5 mm does not open here; 20.25 turns less half a turn are 19.75, of
    /// which 18 are certain, and 20 are cut where all of it is round.
    #[test]
    fn at_most_bounds_a_lead_in_of_any_length() {
        let um = Length::from_um;
        let winding = Winding::new(um(1_200), um(4_500), 0.0, um(300), SpringRatio::NONE).unwrap();
        let rule = CoilModel::new(&winding, Turns::from_nano(500_000_000));
        let wound = Turns::from_nano(20_250_000_000);
        assert_eq!((rule.guaranteed_rings(wound), rule.best_rings(wound)), (18, 20));
        for bent in [0, 100_000_000, 250_000_000, 500_000_000] {
            let cut = best_rings(Turns::from_nano(wound.nano() - bent));
            assert!((19..=rule.best_rings(wound)).contains(&cut), "{cut} with {bent}");
        }
    }

    /// The rule of the slit: one ring fewer than whole turns is certain, the whole turns are the best.
    #[test]
    fn slit_gives_whole_turns_less_one() {
        for (turns, certain, best) in
            [(0.0, 0, 0), (0.9, 0, 0), (1.0, 0, 1), (5.5, 4, 5), (49.9, 48, 49), (50.0, 49, 50)]
        {
            let turns = Turns::from_f64(turns).unwrap();
            assert_eq!((guaranteed_rings(turns), best_rings(turns)), (certain, best));
        }
    }

    /// Impossible rings say which way they are impossible.
    #[test]
    fn impossible_rings_are_refused() {
        let um = Length::from_um;
        let new =
            |wire, mandrel, gap, kerf| Winding::new(um(wire), um(mandrel), gap, um(kerf), SpringRatio::NONE);
        assert_eq!(new(0, 5_000, 0.0, 0), Err(WindingError::NoWire));
        assert_eq!(
            new(2_000, 1_000, 0.0, 0),
            Err(WindingError::MandrelTooThin { got: um(1_000), min: um(2_000) })
        );
        assert_eq!(new(1_000, 5_000, -0.1, 0), Err(WindingError::Gap { got: -0.1 }));
        assert!(matches!(new(1_000, 5_000, f64::NAN, 0), Err(WindingError::Gap { .. })));
        assert_eq!(
            new(1_000, 5_000, 0.0, 5_000),
            Err(WindingError::KerfTooWide { got: um(5_000), below: um(5_000) })
        );
        assert_eq!(new(1_000, 2_000_000, 0.0, 0), Err(WindingError::TooLarge));
    }

    /// By hand: 2 mm wound on 8 mm at a pitch of 3 mm, sawn with 0.5 mm. A turn of it takes `sqrt((10 pi)^2 + 3^2)` of
    /// wire, and `sqrt((11 pi)^2 + 3^2)` where it opens by a tenth, at a helix angle of `atan(3 / 11 pi)`.
    #[test]
    fn worked_ring_comes_out() {
        let um = Length::from_um;
        let wound = |low, best, high| {
            let spring = SpringRatio::between(low, best, high).unwrap();
            Winding::new(um(2_000), um(8_000), 0.5, um(500), spring).unwrap()
        };
        let winding = wound(1.0, 1.1, 1.3);
        let ring = winding.ring(1.1);
        // Closed inside over wire at 1, 1.1, 1.2 and 1.3: further on one side of the likely one than on the other.
        let [at_10, at_11, at_12, at_13] = [3.942_806, 4.440_809, 4.939_139, 5.437_721];
        for (got, want) in [
            (winding.gap(), 0.5),
            (winding.pitch().get(), 3.0),
            (winding.turns_per_inch(), 8.466_667),
            (winding.wound_diameter().get(), 10.0),
            (winding.wound_turn_wire().get(), 31.558_841),
            (ring.centre_diameter.get(), 11.0),
            (ring.turn_wire.get(), 34.687_492),
            (ring.kerf_wire.get(), 0.501_881),
            (ring.wire.get(), 34.185_612),
            (ring.inner_diameter.get(), 9.0),
            (ring.closed_inner_diameter.get(), 8.881_618),
            (ring.aspect_ratio, at_11),
            (winding.helix_angle(1.1), 0.086_595),
            // pi cubic millimetres to a millimetre of it, of 8 mg each.
            (winding.ring_mass(1.1, Density::new(8.0)).get(), 0.859_178),
            (winding.turns_kept(1.1), 0.909_805),
            (winding.outer_strain(), 0.2),
            (winding.aspect_ratio_uncertainty(), at_13 - at_11),
            (wound(1.0, 1.2, 1.3).aspect_ratio_uncertainty(), at_12 - at_10),
        ] {
            assert!((got - want).abs() < 2e-6, "{got}, not {want}");
        }
        // Ten turns take ten times as much wire, each rounded up to a nanometre.
        let used = CoilModel::new(&winding, Turns::ZERO).wire_used(Turns::from_whole(10));
        assert_eq!(used, Length::from_nm(315_588_410));
    }

    /// The mandrel comes back to the nanometre also where a turn's wire was a whole number of nanometres all but a
    /// thousandth, and rounding it up left next to nothing: every micrometre from 1 to 11 mm.
    #[test]
    fn every_mandrel_comes_back() {
        for mandrel in (1_000..11_000).map(Length::from_um) {
            let winding =
                Winding::new(Length::from_um(1_000), mandrel, 0.0, Length::ZERO, SpringRatio::NONE).unwrap();
            assert_eq!(CoilModel::new(&winding, Turns::ZERO).mandrel(), mandrel);
        }
    }

    /// No turns, or fewer than the lead-in, give no ring; more turns than rings can be counted give the most that can.
    #[test]
    fn rings_stay_in_their_range() {
        for (turns, best) in [(-1_500_000_000, 0), (-1, 0), (i64::MAX, u32::MAX)] {
            assert_eq!(best_rings(Turns::from_nano(turns)), best, "{turns}");
        }
        let um = Length::from_um;
        let winding = Winding::new(um(1_200), um(4_500), 0.0, um(300), SpringRatio::NONE).unwrap();
        let rule = CoilModel::new(&winding, Turns::from_whole(2));
        assert_eq!(rule.usable_turns(Turns::from_whole(1)), Turns::ZERO);
    }

    /// Each error has its text, with what is allowed.
    #[test]
    fn errors_are_written() {
        let um = Length::from_um;
        for (error, text) in [
            (WindingError::NoWire, "thicker than nothing"),
            (WindingError::MandrelTooThin { got: um(1_000), min: um(2_000) }, "a mandrel of 1 mm is thinner"),
            (WindingError::TooLarge, "below 1 m"),
            (WindingError::Gap { got: -0.1 }, "a gap of -0.1 is no gap"),
            (WindingError::KerfTooWide { got: um(5_000), below: um(4_000) }, "its inside diameter of 4 mm"),
        ] {
            assert!(error.to_string().contains(text), "{error}");
        }
    }
}
