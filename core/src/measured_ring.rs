//! One ring that is measured at the bench, and what it says of the next coil of its batch.
//!
//! The ring is of the very wire and mandrel that are wound, so that how the wire hardens does not count
//! ([`crate::learned_flow`]): what it opened by, with the calliper's error and the room for how coils of one wire
//! differ, narrows the bounds that were supposed. A ring outside of them widens the bounds instead, so that the promise
//! holds whichever of the two is wrong.

use crate::bounds::Bounds;
use crate::learned_flow::{Misfit, on_its_mandrel};
use crate::measured::CALLIPER;
use crate::plan::BatchPlan;
use crate::spring::{MAX_SPRING_RATIO, SpringRatio};
use crate::units::{Length, Mm};

/// What a batch is supposed to give, to hold a ring of it against.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Expected {
    rule: BatchPlan,
    mandrel: Length,
    spring: Bounds<f64>,
}

/// What is odd about a ring.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Oddity {
    /// It is wider than it can be, and would fit if its outside had been measured.
    Outside,
    /// It is wider than the metal and temper allow.
    Wider,
    /// It is narrower than the metal and temper allow.
    Narrower,
}

impl Expected {
    /// Of coils that are wound by this rule, before any ring was measured.
    #[must_use]
    pub fn new(rule: &BatchPlan) -> Self {
        let coil = rule.coil();
        Self { rule: *rule, mandrel: coil.mandrel(), spring: coil.spring() }
    }

    /// The mandrel.
    #[must_use]
    pub const fn mandrel(&self) -> Length {
        self.mandrel
    }

    /// The wire's diameter.
    #[must_use]
    pub const fn wire(&self) -> Length {
        self.rule.coil().wire()
    }

    /// The inside diameters that a ring as cut, not closed, may have: at least, in the middle, at most.
    #[must_use]
    pub fn inside(&self) -> Bounds<Length> {
        let Bounds { low, best, high } = self.spring;
        Bounds { low: self.inside_at(low), best: self.inside_at(best), high: self.inside_at(high) }
    }

    /// The widest inside that is a ring's and no spring's.
    #[must_use]
    pub fn widest(&self) -> Length {
        self.inside_at(MAX_SPRING_RATIO)
    }

    fn inside_at(&self, ratio: f64) -> Length {
        let (d, wound) = self.diameters();
        Length::from_mm(Mm::new(ratio * wound - d)).unwrap_or_default()
    }

    /// The wire's diameter and the wound centre line's, in millimetres.
    fn diameters(&self) -> (f64, f64) {
        let d = self.wire().mm().get();
        (d, self.mandrel.mm().get() + d)
    }

    /// What coils are wound by once a ring of this inside diameter was measured, and what is odd about the ring. `None`
    /// where no ring can be so, or a coil would not give one guaranteed ring any more.
    #[must_use]
    pub fn measured(&self, inside: Length) -> Option<(BatchPlan, Option<Oddity>)> {
        if inside < self.mandrel || inside > self.widest() {
            return None;
        }
        let (d, wound) = self.diameters();
        let ratio =
            |off: Length| ((inside.mm().get() + off.mm().get() + d) / wound).clamp(1.0, MAX_SPRING_RATIO);
        let off = CALLIPER.nm();
        let [low, best, high] = [-off, 0, off].map(|off| ratio(Length::from_nm(off)));
        let spring = SpringRatio::between(low, best, high).ok()?;
        let (spring, misfit) = on_its_mandrel(self.spring, spring, self.wire(), self.mandrel).ok()?;
        let odd = misfit.map(|misfit| match misfit {
            Misfit::More { outside: true, .. } => Oddity::Outside,
            Misfit::More { .. } => Oddity::Wider,
            Misfit::Less { .. } | Misfit::Apart => Oddity::Narrower,
        });
        Some((self.rule.opening_by(spring)?, odd))
    }
}
