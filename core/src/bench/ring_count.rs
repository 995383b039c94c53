//! Rings that the maker counts after sawing, entered with the knob.

use super::log::RingCount;
use super::{Bench, State};
use crate::input::Key;
use crate::job_list::UncountedCoils;

/// The most rings that can be entered.
const MOST: u32 = 99_999;

/// What is being entered of the coils that were sawn.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct RingCountEntry {
    /// Good rings: at first as many as were promised.
    pub rings: u32,
    /// Rings that are no good.
    pub rejects: u32,
    /// The rejects are asked for; else the good ones.
    pub at_rejects: bool,
}

impl RingCountEntry {
    pub(super) fn turn(&mut self, clicks: i8) {
        let value = if self.at_rejects { &mut self.rejects } else { &mut self.rings };
        *value = value.saturating_add_signed(clicks.into()).min(MOST);
    }
}

impl Bench {
    pub(super) fn enter_ring_count(&mut self) {
        let rings = self.jobs.uncounted().rings.min(MOST);
        self.state = State::CountRings(RingCountEntry { rings, rejects: 0, at_rejects: false });
    }

    pub(super) fn ring_count_key(&mut self, key: Key) {
        let State::CountRings(entry) = &mut self.state else { return };
        match (entry.at_rejects, key) {
            (false, Key::Yes) => entry.at_rejects = true,
            (true, Key::No) => entry.at_rejects = false,
            (false, Key::No) => self.enter_choose(),
            (true, Key::Yes) => {
                let RingCountEntry { rings, rejects, .. } = *entry;
                if let Some(job_entry) = self.jobs.entry_mut() {
                    let UncountedCoils { job, batch, coils, .. } = job_entry.take_uncounted();
                    self.entry = Some(RingCount { job, batch, coils, rings, rejects });
                }
                self.enter_choose();
            }
        }
    }

    /// What has been entered since it was last asked for.
    pub fn take_ring_count(&mut self) -> Option<RingCount> {
        self.entry.take()
    }
}
