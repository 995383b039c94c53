//! The inside of one ring that the maker measures after sawing, entered with the knob.
//!
//! Nobody has to: no page asks for it, and the batch goes on without.

use heapless::String;

use super::log::{MeasuredRing, WireName};
use super::{Bench, State};
use crate::input::{Key, KnobSpeed};
use crate::measured_ring::{Expected, Oddity};
use crate::settings::Units;
use crate::time::Instant;
use crate::units::Length;

/// What is being entered of a ring.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct RingEntry {
    /// The inside diameter: at first the one before, or the middle of what is expected.
    pub inside: Length,
    /// The least and the most that is expected.
    pub expected: (Length, Length),
    /// What is odd about it, which is asked now: a second Yes keeps it all the same.
    pub asked: Option<Oddity>,
    /// The least and the most that can be entered.
    limits: (Length, Length),
    step: Length,
    speed: KnobSpeed,
}

impl RingEntry {
    fn new(expected: &Expected, before: Option<Length>, units: Units) -> Self {
        let step = units.calliper_step();
        let inside = expected.inside();
        let limits = (expected.mandrel(), expected.widest());
        let entry = Self {
            inside: before.unwrap_or(inside.best),
            expected: (inside.low, inside.high),
            asked: None,
            limits,
            step,
            speed: KnobSpeed::new(),
        };
        // A whole number of steps, as a calliper shows it.
        let nm = entry.inside.nm() + step.nm() / 2;
        Self { inside: entry.held(nm - nm % step.nm()), ..entry }
    }

    fn held(&self, nm: i64) -> Length {
        Length::from_nm(nm.clamp(self.limits.0.nm(), self.limits.1.nm()))
    }

    pub(super) fn turn(&mut self, clicks: i8, now: Instant) {
        let steps = i64::from(clicks) * self.speed.click(now);
        self.inside = self.held(self.inside.nm() + steps * self.step.nm());
        self.asked = None;
    }
}

impl Bench {
    pub(super) fn enter_measured_ring(&mut self) {
        let Some(entry) = self.jobs.entry() else { return };
        let ring = RingEntry::new(&entry.expected(), entry.ring(), self.settings.build.units);
        self.state = State::MeasureRing(ring);
    }

    pub(super) fn measured_ring_key(&mut self, key: Key) {
        let State::MeasureRing(ring) = &mut self.state else { return };
        match (key, ring.asked) {
            (Key::No, Some(_)) => ring.asked = None,
            (Key::No, None) => self.enter_choose(),
            (Key::Yes, asked) => {
                let inside = ring.inside;
                let Some(entry) = self.jobs.entry() else { return };
                match entry.expected().measured(inside) {
                    // A coil of such rings would give no guaranteed ring: asked again at every Yes, never taken.
                    None => ring.asked = Some(Oddity::Wider),
                    Some((_, odd)) if asked.is_none() && odd.is_some() => ring.asked = odd,
                    Some(_) => {
                        self.keep_ring(inside);
                        self.enter_choose();
                    }
                }
            }
        }
    }

    fn keep_ring(&mut self, inside: Length) {
        let wire = self.jobs.is_own_chosen().then(|| {
            let batch = &self.settings.batch;
            // Every metal's name fits: tested with the settings.
            WireName { metal: String::try_from(batch.metal.name()).unwrap_or_default(), temper: batch.temper }
        });
        let Some(entry) = self.jobs.entry_mut() else { return };
        if !entry.measure(inside) {
            return;
        }
        let expected = entry.expected();
        self.ring = Some(MeasuredRing {
            job: entry.fingerprint(),
            batch: entry.job.batch,
            inside,
            diameter: expected.wire(),
            mandrel: expected.mandrel(),
            wire,
        });
    }

    /// The ring that has been measured since this was last asked for.
    pub fn take_measured_ring(&mut self) -> Option<MeasuredRing> {
        self.ring.take()
    }
}
