//! Setting up, and the batch that comes of it.

use super::{Bench, State};
use crate::counter::{Gear, Shaft};
use crate::input::Key;
use crate::settings::Settings;
use crate::setup::{List, SetUp, Step};

impl Bench {
    pub(super) fn enter_set_up(&mut self, list: List) {
        self.state = State::SetUp(SetUp::new(list, self.settings_now()));
    }

    pub(super) fn set_up_key(&mut self, key: Key) {
        let State::SetUp(set_up) = &mut self.state else { return };
        match set_up.key(key, self.now) {
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

    fn take_settings(&mut self, settings: Settings, choose_batch: bool) {
        self.revise();
        if self.coil.is_some() {
            return;
        }
        let before = core::mem::replace(&mut self.settings, settings);
        if (choose_batch || self.jobs.has_own_batch())
            && let Ok(job) = settings.job()
        {
            self.jobs.set_own(job, before.build, settings.build);
            if choose_batch {
                self.jobs.choose_own();
            }
        }
        self.enter_choose();
    }

    /// Tells the encoder and the gear that the counter is built for, before anything was set at it.
    pub const fn built_for(&mut self, pulses: u32, shaft: Shaft, gear: Gear) {
        self.revise();
        self.settings.build.pulses = pulses;
        self.settings.build.shaft = shaft;
        self.settings.build.gear = gear;
    }

    /// What is set at the counter, with the wire that is left by now on the spool of the batch that was set up at
    /// it, as it is stored.
    #[must_use]
    pub fn settings_now(&self) -> Settings {
        let mut settings = self.settings;
        settings.batch.spool = self.jobs.own_spool().unwrap_or(settings.batch.spool);
        settings
    }

    /// What is set at the counter.
    #[must_use]
    pub const fn settings(&self) -> &Settings {
        &self.settings
    }
}
