//! Rings that the maker counts after sawing, entered with the knob.

#[cfg(feature = "serde")]
use serde::{Deserialize, Serialize};

use super::log::RingCount;
use super::{Bench, State};
use crate::input::Key;

/// The most rings that can be entered.
const MOST: u32 = 99_999;

/// Coils of one job that were kept, and whose rings have not been counted yet.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
#[cfg_attr(feature = "serde", derive(Serialize, Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct UncountedCoils {
    /// The job's fingerprint: another one may have taken its place in the list since.
    pub(super) job: u32,
    /// The number of its batch.
    pub(super) batch: u32,
    /// How many.
    pub coils: u32,
    /// Rings that they promise together.
    pub rings: u32,
}

impl UncountedCoils {
    /// There are none.
    #[must_use]
    pub const fn is_empty(self) -> bool {
        self.coils == 0
    }

    /// One more; those of another batch are given up.
    pub(super) fn add(&mut self, job: u32, batch: u32, rings: u32) {
        if (self.job, self.batch) != (job, batch) {
            *self = Self { job, batch, ..Self::default() };
        }
        self.coils = self.coils.saturating_add(1);
        self.rings = self.rings.saturating_add(rings);
    }
}

/// What is being entered of them.
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
        let rings = self.uncounted().rings.min(MOST);
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
                if let Some(slot) = self.slots.get_mut(self.chosen) {
                    let UncountedCoils { job, batch, coils, .. } = core::mem::take(&mut slot.uncounted);
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
