//! What is kept over a power cut, and how the bench goes on from it.
//!
//! Two things, since they change at different times: what has been made of a batch ([`Batch`], written
//! while no coil is on the mandrel) and the count in progress ([`CoilNote`], written while it turns).
//! Both carry a fingerprint, so that neither is ever taken for that of another job or another coil.

#[cfg(feature = "serde")]
use serde::{Deserialize, Serialize};

use super::{Bench, ErrorBound, Fault, Faults, State};
use crate::counter::{CountsPerTurn, Direction, TurnCounter};
use crate::job_list::Batch;
use crate::time::Duration;

/// A note is due each time the mandrel has turned by one part of so many since the last: twice as
/// often as the quarter turn that is promised, so that one may wait for a cue to pass.
pub const NOTE_PARTS: u32 = 8;

/// The count of the coil on the mandrel.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(Serialize, Deserialize))]
pub struct CoilNote {
    /// Which job of the list.
    pub job: u8,
    /// Which coil of which batch.
    coil: u32,
    /// Counts wound on since zero.
    pub counts: i64,
    /// How far they could be trusted when they were noted.
    pub error_bound: ErrorBound,
    illegal: u64,
    direction: Direction,
    faults: Faults,
}

/// How much may have been wound after the note that was found.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Since {
    /// A quarter of a turn: it is the last that was written.
    QuarterTurn,
    /// Half a turn: one more was begun and cannot be read.
    HalfTurn,
    /// Nobody knows.
    Unknown,
}

/// The note is of another coil: that one came off, or the job has been changed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct OtherCoil;

impl core::fmt::Display for OtherCoil {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        f.write_str("the note is of another coil")
    }
}

impl core::error::Error for OtherCoil {}

impl CoilNote {
    /// The same, for a count that will not be noted any more.
    #[must_use]
    pub const fn last(self) -> Self {
        Self { error_bound: ErrorBound::Unknown, ..self }
    }

    /// Whether this is to be written where `before` stands: a part of a turn in [`NOTE_PARTS`] has been
    /// wound, a fault has come, or the error bound has grown by what the promise of a quarter turn bears. Each
    /// bounce of a bad contact adds to it: they do not all want a note.
    #[must_use]
    pub fn is_due(&self, before: &Self, per_turn: CountsPerTurn) -> bool {
        let part = |parts| per_turn.counts_in_part(parts).unsigned_abs();
        let doubted = match (self.error_bound, before.error_bound) {
            (ErrorBound::Within(now), ErrorBound::Within(before)) => {
                now.saturating_sub(before) >= part(8 * NOTE_PARTS)
            }
            (now, before) => now != before,
        };
        doubted
            || (self.faults, self.direction) != (before.faults, before.direction)
            || self.counts.abs_diff(before.counts) >= part(NOTE_PARTS)
    }
}

impl Bench {
    /// Goes on with a batch; whether it is one of the job at this place in the list.
    pub fn resume_batch(&mut self, job: usize, batch: &Batch) -> bool {
        self.revise();
        self.jobs.resume(job, batch)
    }

    /// The count of the coil on the mandrel, to be noted.
    #[must_use]
    pub fn coil_note(&self) -> Option<CoilNote> {
        let (coil, counter) = (self.coil.as_ref()?, self.counter.as_ref()?);
        Some(CoilNote {
            job: u8::try_from(self.jobs.chosen()).ok()?,
            coil: self.jobs.coil_number(self.jobs.chosen())?,
            counts: counter.counts(),
            error_bound: coil.error_bound,
            illegal: coil.illegal,
            direction: counter.direction(),
            faults: coil.faults,
        })
    }

    /// Goes on with a coil, after its batch: with the error bound of what may have been wound since, and with
    /// [`Fault::PowerCut`] put to the user.
    ///
    /// # Errors
    /// [`OtherCoil`] where the next coil of that job is not the one of the note; nothing changes then.
    pub fn resume_coil(&mut self, note: &CoilNote, since: Since) -> Result<(), OtherCoil> {
        self.revise();
        let job = usize::from(note.job);
        if self.coil.is_some() || self.jobs.coil_number(job) != Some(note.coil) {
            return Err(OtherCoil);
        }
        let per_turn = self.jobs.iter().nth(job).ok_or(OtherCoil)?.rule.per_turn();
        let counter = TurnCounter::resumed(per_turn, note.direction, note.counts).map_err(|_| OtherCoil)?;
        self.jobs.choose(job);
        if let Some(entry) = self.jobs.entry_mut() {
            entry.set_direction(note.direction);
        }
        self.start_coil();
        self.counter = Some(counter);
        let (Some(coil), Some(counter)) = (&mut self.coil, &self.counter) else { return Err(OtherCoil) };
        coil.illegal = note.illegal;
        coil.faults = note.faults;
        coil.furthest = counter.counts().max(0);
        coil.error_bound = match (since, note.error_bound, coil.error_bound) {
            (Since::Unknown, ..) | (_, ErrorBound::Unknown, _) | (.., ErrorBound::Unknown) => {
                ErrorBound::Unknown
            }
            (_, noted, _) => noted,
        };
        coil.error_bound
            .add(per_turn.counts_in_part(if since == Since::HalfTurn { 2 } else { 4 }).unsigned_abs());
        coil.faults.insert(Fault::PowerCut);
        self.state = State::Fault { fault: Fault::PowerCut, in_coil: true };
        self.fault_at = self.now;
        Ok(())
    }

    /// Whether the cue will not change within `span` from now, whatever a hand does: then the processor
    /// may be halted for that long.
    #[must_use]
    pub fn is_clear_for(&self, span: Duration) -> bool {
        self.coil.as_ref().is_none_or(|coil| coil.cue.is_clear_for(self.now, self.counts(), span))
    }

    /// Notes that the longest coil of the chosen job can take, if it is wound on without winding back.
    #[must_use]
    pub fn notes_in_coil(&self) -> u32 {
        let Some(job) = self.jobs.job() else { return 0 };
        let step = job.rule.per_turn().counts_in_part(NOTE_PARTS).max(1);
        u32::try_from(job.rule.limit_counts() / step).unwrap_or(u32::MAX)
    }
}
