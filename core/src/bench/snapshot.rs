//! What is kept over a power cut, and how the bench goes on from it.
//!
//! Two things, since they change at different times: what has been made of a batch ([`Batch`], written
//! while no coil is on the mandrel) and the count in progress ([`CoilNote`], written while it turns).
//! Both carry a fingerprint, so that neither is ever taken for that of another job or another coil.

use core::hash::{Hash, Hasher};

#[cfg(feature = "serde")]
use serde::{Deserialize, Serialize};

use super::{Bench, ErrorBound, Fault, Faults, State, UncountedCoils};
use crate::counter::{CountsPerTurn, Direction, TurnCounter};
use crate::job::{Job, Progress};
use crate::time::Duration;
use crate::units::Length;

/// A note is due each time the mandrel has turned by one part of so many since the last: twice as
/// often as the quarter turn that is promised, so that one may wait for a cue to pass.
pub const NOTE_PARTS: u32 = 8;

/// What has been made of one job.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(Serialize, Deserialize))]
pub struct Batch {
    job: u32,
    /// What has been made.
    pub progress: Progress,
    learned: Option<Duration>,
    direction: Direction,
    uncounted: UncountedCoils,
    spool: Option<Length>,
    number: u32,
    finished: bool,
}

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

impl Job {
    /// A number that another job does not have, but for one in four thousand million. What changes nothing
    /// that was made is left out: the lead, and how the counter is built.
    #[must_use]
    pub fn fingerprint(&self) -> u32 {
        fingerprint(&(self.name.as_bytes(), self.rule.coil(), self.target))
    }

    /// The same for the batch that is set up at the counter, whose name changes with the units it is shown
    /// in.
    pub(super) fn own_fingerprint(&self) -> u32 {
        fingerprint(&(self.rule.coil(), self.target))
    }
}

impl Bench {
    /// What has been made of the job at this place in the list.
    #[must_use]
    pub fn batch(&self, job: usize) -> Option<Batch> {
        let slot = self.slots.get(job)?;
        Some(Batch {
            job: slot.fingerprint,
            progress: slot.progress,
            learned: slot.learned,
            direction: slot.direction,
            uncounted: slot.uncounted,
            spool: slot.spool,
            number: slot.job.batch,
            finished: slot.finished,
        })
    }

    /// Goes on with a batch; whether it is one of this job.
    pub fn resume_batch(&mut self, job: usize, batch: &Batch) -> bool {
        let Some(slot) = self.slots.get_mut(job) else { return false };
        let same = slot.is(batch.job, batch.number);
        if same {
            slot.progress = batch.progress;
            slot.learned = batch.learned;
            slot.direction = batch.direction;
            slot.uncounted = batch.uncounted;
            slot.spool = batch.spool;
            slot.finished = batch.finished;
        }
        same
    }

    /// The count of the coil on the mandrel, to be noted.
    #[must_use]
    pub fn coil_note(&self) -> Option<CoilNote> {
        let (coil, counter) = (self.coil.as_ref()?, self.counter.as_ref()?);
        Some(CoilNote {
            job: u8::try_from(self.chosen).ok()?,
            coil: self.coil_number(self.chosen)?,
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
        let job = usize::from(note.job);
        if self.coil.is_some() || self.coil_number(job) != Some(note.coil) {
            return Err(OtherCoil);
        }
        let slot = self.slots.get_mut(job).ok_or(OtherCoil)?;
        let per_turn = slot.job.rule.per_turn();
        let counter = TurnCounter::resumed(per_turn, note.direction, note.counts).map_err(|_| OtherCoil)?;
        slot.direction = note.direction;
        self.chosen = job;
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
        let Some((_, job)) = self.job() else { return 0 };
        let step = job.rule.per_turn().counts_in_part(NOTE_PARTS).max(1);
        u32::try_from(job.rule.limit_counts() / step).unwrap_or(u32::MAX)
    }

    /// The number of the next coil of this job.
    fn coil_number(&self, job: usize) -> Option<u32> {
        let slot = self.slots.get(job)?;
        let Progress { kept, scrapped, rings } = slot.progress;
        // Counts of another encoder are other turns.
        Some(fingerprint(&(
            slot.fingerprint,
            slot.job.batch,
            slot.job.rule.per_turn(),
            kept,
            scrapped,
            rings,
        )))
    }
}

/// FNV-1a in 32 bits (Fowler, Noll and Vo's constants, from memory): small, and no secret depends on it.
fn fingerprint(of: &impl Hash) -> u32 {
    let mut hasher = Fnv(0x811c_9dc5);
    of.hash(&mut hasher);
    hasher.0
}

struct Fnv(u32);

impl Hasher for Fnv {
    fn write(&mut self, bytes: &[u8]) {
        for &byte in bytes {
            self.0 = (self.0 ^ u32::from(byte)).wrapping_mul(0x0100_0193);
        }
    }

    /// Lengths and the like: as long on every board as on those of 32 bits, so that one reads what another
    /// wrote.
    fn write_usize(&mut self, number: usize) {
        self.write_u32(number as u32);
    }

    fn finish(&self) -> u64 {
        u64::from(self.0)
    }
}
