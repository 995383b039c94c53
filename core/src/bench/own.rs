//! Setting up, and the batch that comes of it.

use super::{Bench, MAX_JOBS, Slot, State};
use crate::counter::{Gear, Shaft};
use crate::input::Key;
use crate::job::Job;
use crate::settings::{Build, SPOOL_UNIT, Settings};
use crate::setup::{List, SetUp, Step};
use crate::units::Length;

impl Bench {
    pub(super) fn enter_set_up(&mut self, list: List) {
        self.state = State::SetUp(SetUp::new(list, self.settings_now()));
    }

    pub(super) fn set_up_key(&mut self, key: Key) {
        let State::SetUp(set_up) = &mut self.state else { return };
        match set_up.key(key) {
            Step::Stay => {}
            Step::Leave => self.enter_choose(),
            Step::Take => {
                let settings = *set_up.settings();
                match set_up.list() {
                    List::Batch => self.set_up(settings),
                    List::Counter => self.set_up_counter(settings),
                }
            }
        }
    }

    /// Takes new settings and chooses their batch: it becomes a job of the list where there was none yet. What
    /// has been made of it stays, as long as it is of the same rings. Settings that make no job change
    /// nothing of the list.
    ///
    /// To be called with no coil on the mandrel; with one it does nothing.
    pub fn set_up(&mut self, settings: Settings) {
        self.take_settings(settings, true);
    }

    /// Takes new settings of the counter itself: a batch that was set up here is worked out anew from them, but
    /// none comes into the list, and the chosen job stays chosen.
    ///
    /// To be called with no coil on the mandrel; with one it does nothing.
    pub fn set_up_counter(&mut self, settings: Settings) {
        self.take_settings(settings, false);
    }

    /// A batch that was set up here is in the list.
    #[must_use]
    pub const fn has_own_batch(&self) -> bool {
        self.own.is_some()
    }

    fn take_settings(&mut self, settings: Settings, choose_batch: bool) {
        if self.coil.is_some() {
            return;
        }
        let before = core::mem::replace(&mut self.settings, settings);
        if (choose_batch || self.own.is_some())
            && let Ok(job) = settings.job()
        {
            self.replace_own(job, before.build);
            if choose_batch {
                self.chosen = self.own.unwrap_or(self.chosen);
            }
        }
        self.enter_choose();
    }

    /// Tells the encoder and the gear that the counter is built for, before anything was set at it.
    pub const fn built_for(&mut self, pulses: u32, shaft: Shaft, gear: Gear) {
        self.settings.build.pulses = pulses;
        self.settings.build.shaft = shaft;
        self.settings.build.gear = gear;
    }

    fn replace_own(&mut self, job: Job, before: Build) {
        let fingerprint = job.own_fingerprint();
        let mut slot = Slot::new(job, fingerprint);
        let own = self.own.unwrap_or(self.slots.len());
        let now = self.settings.build;
        if let Some(old) = self.slots.get_mut(own) {
            if old.fingerprint == fingerprint {
                (slot.progress, slot.finished) = (old.progress, old.finished);
            }
            slot.uncounted = old.uncounted;
            // A direction that was found while winding holds until another is taught; and the hand stays
            // the same, whatever it winds.
            if now.direction == before.direction {
                slot.direction = old.direction;
            }
            if now.lead == before.lead {
                slot.learned = old.learned;
            }
            *old = slot;
        } else if self.slots.push(slot).is_err() {
            return;
        }
        self.own = Some(own);
    }

    /// Jobs that the list comes to hold once a batch is set up here: the batch takes a place of its own.
    #[must_use]
    pub fn places(&self) -> usize {
        (self.slots.len() + usize::from(self.own.is_none())).min(MAX_JOBS)
    }

    /// The same, with what is left by now on the spool of their batch, as it would be written
    /// down.
    #[must_use]
    pub fn settings_now(&self) -> Settings {
        let mut settings = self.settings;
        if let Some(own) = self.own.and_then(|own| self.slots.get(own)) {
            let unit = SPOOL_UNIT.nm();
            settings.batch.spool = own.spool.map(|left| Length::from_nm(left.nm() / unit * unit));
        }
        settings
    }

    /// What is set at the counter.
    #[must_use]
    pub const fn settings(&self) -> &Settings {
        &self.settings
    }
}
