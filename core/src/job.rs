//! A job, and what has to be wound for it.

use heapless::String;
#[cfg(feature = "serde")]
use serde::{Deserialize, Serialize};

use crate::counter::Direction;
use crate::cue::DEFAULT_LEAD;
use crate::plan::BatchPlan;
use crate::time::Duration;
use crate::units::{Length, Turns};

/// The longest name of a job that is shown, in bytes.
pub const NAME_LEN: usize = 24;

/// How far "stop now" leads the target.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Lead {
    /// Always by this time.
    Set(Duration),
    /// By this time at first, then by what this hand took on the coils before.
    Learned(Duration),
}

/// What a batch is to give.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Target {
    /// So many rings, those to spare included, in as many coils as they take.
    Rings(u32),
    /// So many coils, each wound to the same length.
    Coils {
        /// Turns of each; more than fit the cradle are held to that.
        turns: Turns,
        /// How many.
        coils: u32,
    },
}

/// A batch to be wound.
#[derive(Debug, Clone)]
pub struct Job {
    /// The number of the batch, given by the computer that sent it; 0 for one that was set up at the counter.
    pub batch: u32,
    /// Shown when choosing.
    pub name: String<NAME_LEN>,
    /// What it is to give.
    pub target: Target,
    /// How its coils are wound.
    pub rule: BatchPlan,
    /// Which way of the encoder winds on.
    pub direction: Direction,
    /// How far the cue leads.
    pub lead: Lead,
    /// Wire on the spool before its first coil, if that is known.
    pub spool: Option<Length>,
}

/// The batch in progress.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
#[cfg_attr(feature = "serde", derive(Serialize, Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Progress {
    /// Rings promised by the coils that were kept.
    pub rings: u32,
    /// Coils kept.
    pub kept: u32,
    /// Coils thrown away.
    pub scrapped: u32,
}

impl Progress {
    pub(crate) const fn add(&mut self, kept: bool, rings: u32) {
        if kept {
            self.kept = self.kept.saturating_add(1);
            self.rings = self.rings.saturating_add(rings);
        } else {
            self.scrapped = self.scrapped.saturating_add(1);
        }
    }
}

impl Job {
    /// A job of this name that gives `target` on coils wound by `rule`: a batch without a number, wound on forwards, with a
    /// lead that is learned from [`DEFAULT_LEAD`] on, off a spool of unknown length.
    #[must_use]
    pub const fn new(name: String<NAME_LEN>, target: Target, rule: BatchPlan) -> Self {
        let (direction, lead) = (Direction::Forward, Lead::Learned(DEFAULT_LEAD));
        Self { batch: 0, name, target, rule, direction, lead, spool: None }
    }

    /// Whether nothing is left to be made.
    #[must_use]
    pub const fn is_done(&self, progress: Progress) -> bool {
        match self.target {
            Target::Rings(rings) => progress.rings >= rings,
            Target::Coils { coils, .. } => progress.kept >= coils,
        }
    }

    /// Coils that are left to be wound.
    #[must_use]
    pub const fn coils_left(&self, progress: Progress) -> u32 {
        match self.target {
            Target::Rings(rings) => self.rule.coils(rings.saturating_sub(progress.rings)),
            Target::Coils { coils, .. } => coils.saturating_sub(progress.kept),
        }
    }

    /// Counts to which the next coil is wound.
    #[must_use]
    pub fn next_counts(&self, progress: Progress) -> i64 {
        match self.target {
            Target::Rings(rings) => {
                self.rule.target_counts(self.rule.next_rings(rings.saturating_sub(progress.rings)))
            }
            Target::Coils { turns, .. } => {
                let limit = self.rule.limit_counts();
                self.rule.per_turn().counts_for(turns).map_or(limit, |counts| counts.min(limit))
            }
        }
    }
}

/// A job for the tests of what holds jobs.
#[cfg(test)]
pub(crate) mod example {
    #![allow(clippy::unwrap_used, reason = "a test may stop where it stands")]
    use super::*;
    use crate::coil::Winding;
    use crate::counter::{CountsPerTurn, Gear, Shaft};
    use crate::spring::SpringRatio;

    /// So many rings of 1 mm wire on 4 mm.
    pub(crate) fn job(rings: u32) -> Job {
        let (wire, mandrel) = (Length::from_um(1_000), Length::from_um(4_000));
        let spring = SpringRatio::measured(1.01).unwrap();
        let winding = Winding::new(wire, mandrel, 0.0, Length::ZERO, spring).unwrap();
        let per_turn = CountsPerTurn::new(100, Shaft::Mandrel, Gear::DIRECT).unwrap();
        let rule = BatchPlan::of(&winding, Turns::ZERO, per_turn, Length::from_um(50_000)).unwrap();
        let job = Job::new("job".try_into().unwrap(), Target::Rings(rings), rule);
        Job { lead: Lead::Set(Duration::from_micros(0)), ..job }
    }
}
