//! The jobs that the counter holds, and what has been made of each.

use heapless::Vec;
#[cfg(feature = "serde")]
use serde::{Deserialize, Serialize};

use crate::bounds::Bounds;
use crate::counter::Direction;
use crate::fingerprint::fingerprint;
use crate::job::{Job, Lead, Progress};
use crate::measured_ring::Expected;
use crate::plan::BatchPlan;
use crate::settings::{Build, SPOOL_UNIT};
use crate::time::Duration;
use crate::units::{Length, Turns};

/// Jobs that the counter can hold to choose from.
pub const MAX_JOBS: usize = 8;

/// There is no room for another job.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct TooManyJobs;

impl core::fmt::Display for TooManyJobs {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        write!(f, "the counter holds at most {MAX_JOBS} jobs")
    }
}

impl core::error::Error for TooManyJobs {}

/// Coils of one job that were kept, and whose rings have not been counted yet.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
#[cfg_attr(feature = "serde", derive(Serialize, Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct UncountedCoils {
    /// The job's fingerprint: another one may have taken its place in the list since.
    pub(crate) job: u32,
    /// The number of its batch.
    pub(crate) batch: u32,
    /// How many.
    pub coils: u32,
    /// Rings that they guarantee together.
    pub rings: u32,
}

impl UncountedCoils {
    /// There are none.
    #[must_use]
    pub const fn is_empty(self) -> bool {
        self.coils == 0
    }

    /// Adds a coil; coils of another batch are dropped.
    fn add(&mut self, job: u32, batch: u32, rings: u32) {
        if (self.job, self.batch) != (job, batch) {
            *self = Self { job, batch, ..Self::default() };
        }
        self.coils = self.coils.saturating_add(1);
        self.rings = self.rings.saturating_add(rings);
    }
}

/// What there is of a job's coils that were kept.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Sawn {
    /// Coils whose rings are to be counted.
    pub(crate) to_count: bool,
    /// Any, of which a ring can be measured.
    pub(crate) any: bool,
}

/// What has been made of one job, as it is stored. It has the job's fingerprint, so that it is never taken for that
/// of another job.
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
    /// The inside diameter of a ring that was measured. Not a field of the stored form of before, so it is stored beside
    /// the others.
    #[cfg_attr(feature = "serde", serde(skip))]
    pub ring: Option<Length>,
}

/// A job with what has been made of it.
#[derive(Debug, Clone)]
pub(crate) struct Entry {
    /// Its rule is that of the next coil: a ring that was measured has its say in it.
    pub(crate) job: Job,
    /// The rule that it came with.
    planned: BatchPlan,
    /// The inside diameter of the ring.
    ring: Option<Length>,
    /// Of the job: it takes a while to compute.
    fingerprint: u32,
    progress: Progress,
    /// How long the hand took to stop on the coils before.
    learned: Option<Duration>,
    direction: Direction,
    uncounted: UncountedCoils,
    /// All its rings were made once: coils wound since are extra.
    finished: bool,
    /// Wire that is left on its spool.
    spool: Option<Length>,
}

impl Entry {
    /// Nothing has been made of it yet.
    fn new(job: Job, fingerprint: u32) -> Self {
        let (direction, spool) = (job.direction, job.spool);
        let (progress, uncounted) = (Progress::default(), UncountedCoils::default());
        Self {
            planned: job.rule,
            ring: None,
            job,
            fingerprint,
            progress,
            learned: None,
            direction,
            uncounted,
            finished: false,
            spool,
        }
    }

    /// Its fingerprint, that of the rule which it came with: what is measured makes no other job of it.
    pub(crate) const fn fingerprint(&self) -> u32 {
        self.fingerprint
    }

    /// What its rings are supposed to be before one of them is measured.
    pub(crate) fn expected(&self) -> Expected {
        Expected::new(&self.planned)
    }

    /// The inside diameter of its ring that was measured.
    pub(crate) const fn ring(&self) -> Option<Length> {
        self.ring
    }

    /// Winds the next coils by a ring of this inside diameter; whether a ring of it can be so.
    pub(crate) fn measure(&mut self, inside: Length) -> bool {
        let measured = self.expected().measured(inside);
        if let Some((rule, _)) = measured {
            (self.job.rule, self.ring) = (rule, Some(inside));
        }
        measured.is_some()
    }

    /// It is this batch.
    const fn is(&self, fingerprint: u32, batch: u32) -> bool {
        self.fingerprint == fingerprint && self.job.batch == batch
    }

    /// All its rings are made now.
    pub(crate) const fn is_done(&self) -> bool {
        self.job.is_done(self.progress)
    }

    /// All its rings are made, or were once.
    const fn is_finished(&self) -> bool {
        self.finished || self.is_done()
    }

    /// What has been made of it.
    pub(crate) const fn progress(&self) -> Progress {
        self.progress
    }

    /// Which way of the encoder winds on.
    pub(crate) const fn direction(&self) -> Direction {
        self.direction
    }

    /// Sets which way of the encoder winds on.
    pub(crate) const fn set_direction(&mut self, direction: Direction) {
        self.direction = direction;
    }

    /// Counts to which the next coil is wound.
    pub(crate) fn next_counts(&self) -> i64 {
        self.job.next_counts(self.progress)
    }

    /// How far the stop cue leads on the next coil.
    pub(crate) fn lead(&self) -> Duration {
        match self.job.lead {
            Lead::Set(lead) => lead,
            Lead::Learned(first) => self.learned.unwrap_or(first),
        }
    }

    /// Learns how long the hand took to stop. The first coil is compared with a guess and counts half; later ones
    /// a quarter, so that one odd coil does not spoil the next.
    pub(crate) fn learn(&mut self, measured: Duration) {
        if let Lead::Learned(first) = self.job.lead {
            let (so_far, parts) = self.learned.map_or((first, 2), |learned| (learned, 4));
            let sum = (parts - 1) * so_far.as_micros() + measured.as_micros();
            self.learned = Some(Duration::from_micros(sum / parts));
        }
    }

    /// Counts a coil that came off.
    pub(crate) fn count(&mut self, kept: bool, rings: u32, wire: Length) {
        self.progress.add(kept, rings);
        if kept {
            self.uncounted.add(self.fingerprint, self.job.batch, rings);
        }
        if let Some(left) = &mut self.spool {
            *left = (*left - wire).max(Length::ZERO);
        }
    }

    /// Returns the coils whose rings are entered now.
    pub(crate) fn take_uncounted(&mut self) -> UncountedCoils {
        core::mem::take(&mut self.uncounted)
    }

    /// The finished batch is put away: it can be wound again from the start.
    pub(crate) fn close(&mut self) {
        (self.progress, self.finished) = (Progress::default(), true);
    }

    /// Wire that the next coil takes.
    fn next_wire(&self) -> Length {
        self.job.rule.coil().wire_used(self.next_turns())
    }

    /// Turns to which the next coil is wound.
    fn next_turns(&self) -> Turns {
        self.job.rule.per_turn().turns(self.next_counts()).unwrap_or_default()
    }
}

/// The jobs to choose from, at most [`MAX_JOBS`], of which one is chosen. Questions about a job are about the chosen
/// one; where none is held the answer is the default or `None`.
#[derive(Debug, Clone, Default)]
pub struct JobList {
    entries: Vec<Entry, MAX_JOBS>,
    chosen: usize,
    /// The place of the batch that was set up at the counter.
    own: Option<usize>,
}

impl JobList {
    pub(crate) const fn new() -> Self {
        Self { entries: Vec::new(), chosen: 0, own: None }
    }

    /// The jobs, in the order in which they are shown.
    pub fn iter(&self) -> impl ExactSizeIterator<Item = &Job> {
        self.entries.iter().map(|entry| &entry.job)
    }

    /// How many there are.
    #[must_use]
    pub fn len(&self) -> usize {
        self.entries.len()
    }

    /// There is none.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.entries.is_empty()
    }

    /// The place of the chosen job, from 0.
    #[must_use]
    pub const fn chosen(&self) -> usize {
        self.chosen
    }

    /// The chosen job.
    #[must_use]
    pub fn job(&self) -> Option<&Job> {
        self.entry().map(|entry| &entry.job)
    }

    /// What has been made of it.
    #[must_use]
    pub fn progress(&self) -> Progress {
        self.entry().map(Entry::progress).unwrap_or_default()
    }

    /// Which way of the encoder winds on, as far as is known.
    #[must_use]
    pub fn direction(&self) -> Direction {
        self.entry().map(Entry::direction).unwrap_or_default()
    }

    /// Coils still to be wound, the one on the mandrel included.
    #[must_use]
    pub fn coils_left(&self) -> u32 {
        self.entry().map_or(0, |entry| entry.job.coils_left(entry.progress))
    }

    /// Its fingerprint, as it is written to the log with its coils; 0 where there is no job.
    #[must_use]
    pub fn fingerprint(&self) -> u32 {
        self.entry().map_or(0, |entry| entry.fingerprint)
    }

    /// Its coils that were kept and whose rings have not been counted yet.
    #[must_use]
    pub fn uncounted(&self) -> UncountedCoils {
        self.entry().map(|entry| entry.uncounted).unwrap_or_default()
    }

    /// Turns to which its next coil is wound.
    #[must_use]
    pub fn next_turns(&self) -> Turns {
        self.entry().map(Entry::next_turns).unwrap_or_default()
    }

    /// Wire left on its spool, if that is known: the coil on the mandrel is still on it.
    #[must_use]
    pub fn wire_left(&self) -> Option<Length> {
        self.entry()?.spool
    }

    /// Where the spool has too little for its next coil: the wire left and the wire needed.
    #[must_use]
    pub fn wire_short(&self) -> Option<(Length, Length)> {
        let entry = self.entry()?;
        let (left, needed) = (entry.spool?, entry.next_wire());
        (left < needed).then_some((left, needed))
    }

    /// A batch that was set up at the counter is in the list.
    #[must_use]
    pub const fn has_own_batch(&self) -> bool {
        self.own.is_some()
    }

    /// How many jobs the list holds once a batch is set up at the counter, which takes a place of its own.
    #[must_use]
    pub fn places(&self) -> usize {
        (self.entries.len() + usize::from(self.own.is_none())).min(MAX_JOBS)
    }

    /// Where this job would be put: over the same batch, over a finished batch of the same job, after the last, or
    /// over one that is finished or not begun. The first `fixed` jobs stay. `None` where there is no such place.
    #[must_use]
    pub fn place_for(&self, job: &Job, fixed: usize) -> Option<usize> {
        let fingerprint = job.fingerprint();
        let same = self.entries.iter().position(|entry| entry.is(fingerprint, job.batch));
        let after = (self.entries.len() < MAX_JOBS).then_some(self.entries.len());
        let others = || {
            let others = self.entries.iter().enumerate().skip(fixed);
            others.filter(|&(place, _)| Some(place) != self.own)
        };
        let mut finished =
            others().filter(|(_, entry)| entry.fingerprint == fingerprint && entry.is_finished());
        let free = |entry: &Entry| entry.is_done() || entry.progress == Progress::default();
        let mut spare = others().filter(|(_, entry)| free(entry));
        let place = |found: Option<(usize, &Entry)>| found.map(|(place, _)| place);
        same.or_else(|| place(finished.next())).or(after).or_else(|| place(spare.next()))
    }

    /// What has been made of the batch of this number, and whether it has been finished; `None` where it is not
    /// in the list.
    #[must_use]
    pub fn made_of(&self, batch: u32) -> Option<(Progress, bool)> {
        let entry = self.entries.iter().find(|entry| batch != 0 && entry.job.batch == batch)?;
        Some((entry.progress, entry.is_finished()))
    }

    /// What has been made of the job at this place, to be stored.
    #[must_use]
    pub fn batch(&self, place: usize) -> Option<Batch> {
        let entry = self.entries.get(place)?;
        Some(Batch {
            job: entry.fingerprint,
            progress: entry.progress,
            learned: entry.learned,
            direction: entry.direction,
            uncounted: entry.uncounted,
            spool: entry.spool,
            number: entry.job.batch,
            finished: entry.finished,
            ring: entry.ring,
        })
    }

    /// Goes on with a stored batch; whether it is one of the job at this place.
    pub(crate) fn resume(&mut self, place: usize, batch: &Batch) -> bool {
        let Some(entry) = self.entries.get_mut(place) else { return false };
        let same = entry.is(batch.job, batch.number);
        if same {
            entry.progress = batch.progress;
            entry.learned = batch.learned;
            entry.direction = batch.direction;
            entry.uncounted = batch.uncounted;
            entry.spool = batch.spool;
            entry.finished = batch.finished;
            if let Some(inside) = batch.ring {
                entry.measure(inside);
            }
        }
        same
    }

    /// The number of the next coil of the job at this place: that of another coil differs.
    pub(crate) fn coil_number(&self, place: usize) -> Option<u32> {
        let entry = self.entries.get(place)?;
        let Progress { kept, scrapped, rings } = entry.progress;
        // Counts of another encoder are other turns.
        let per_turn = entry.job.rule.per_turn();
        Some(fingerprint(&(entry.fingerprint, entry.job.batch, per_turn, kept, scrapped, rings)))
    }

    /// The chosen job with what has been made of it.
    pub(crate) fn entry(&self) -> Option<&Entry> {
        self.entries.get(self.chosen)
    }

    /// The same, to be changed.
    pub(crate) fn entry_mut(&mut self) -> Option<&mut Entry> {
        self.entries.get_mut(self.chosen)
    }

    /// The job at a place, with its fingerprint.
    pub(crate) fn with_fingerprint(&self, place: usize) -> Option<(&Job, u32)> {
        self.entries.get(place).map(|entry| (&entry.job, entry.fingerprint))
    }

    /// Counts a coil of this batch that the log has and the stored batch has not.
    pub(crate) fn count_logged(&mut self, job: u32, batch: u32, kept: bool, rings: u32, wire: Length) {
        for entry in self.entries.iter_mut().filter(|entry| entry.is(job, batch)) {
            entry.count(kept, rings, wire);
        }
    }

    /// Forgets the coils of this batch that were to be counted: the log has their rings.
    pub(crate) fn forget_uncounted(&mut self, job: u32, batch: u32) {
        let same = |entry: &&mut Entry| (entry.uncounted.job, entry.uncounted.batch) == (job, batch);
        for entry in self.entries.iter_mut().filter(same) {
            entry.uncounted = UncountedCoils::default();
        }
    }

    /// Takes the ring of this batch that the log has and the stored batch has not.
    pub(crate) fn measure_logged(&mut self, job: u32, batch: u32, inside: Length) {
        for entry in self.entries.iter_mut().filter(|entry| entry.is(job, batch)) {
            entry.measure(inside);
        }
    }

    /// What is there of each job to be counted or measured.
    pub(crate) fn sawn(&self) -> impl Iterator<Item = Sawn> {
        self.entries.iter().map(|entry| Sawn {
            to_count: !entry.uncounted.is_empty(),
            any: entry.progress.kept > 0 || entry.finished,
        })
    }

    /// The inside diameters that rings of the chosen job may have, and that of the one which was measured.
    #[must_use]
    pub fn ring(&self) -> Option<(Bounds<Length>, Option<Length>)> {
        self.entry().map(|entry| (entry.expected().inside(), entry.ring))
    }

    /// The chosen job is the batch that was set up at the counter.
    pub(crate) fn is_own_chosen(&self) -> bool {
        self.own == Some(self.chosen)
    }

    /// Adds a job at the end.
    pub(crate) fn add(&mut self, job: Job) -> Result<(), TooManyJobs> {
        let fingerprint = job.fingerprint();
        self.entries.push(Entry::new(job, fingerprint)).map_err(|_| TooManyJobs)
    }

    /// Puts a job at a place; whether that was possible: not past the end. What has been made of the same batch
    /// there stays; another batch of the same job begins anew.
    pub(crate) fn put(&mut self, place: usize, job: Job) -> bool {
        let fingerprint = job.fingerprint();
        match self.entries.get_mut(place) {
            // It may come with another spool.
            Some(before) if before.is(fingerprint, job.batch) => {
                before.spool = job.spool.or(before.spool);
                true
            }
            Some(before) => {
                *before = Entry { uncounted: before.uncounted, ..Entry::new(job, fingerprint) };
                true
            }
            None => place == self.entries.len() && self.entries.push(Entry::new(job, fingerprint)).is_ok(),
        }
    }

    /// Chooses the job at a place; whether there is one.
    pub(crate) fn choose(&mut self, place: usize) -> bool {
        let found = place < self.entries.len();
        if found {
            self.chosen = place;
        }
        found
    }

    /// Chooses the batch that was set up at the counter, if there is one.
    pub(crate) fn choose_own(&mut self) {
        self.chosen = self.own.unwrap_or(self.chosen);
    }

    /// Takes the batch that was set up at the counter, in place of the one before. What has been made stays as long
    /// as the rings are the same; `before` and `now` are how the counter was and is built.
    pub(crate) fn set_own(&mut self, job: Job, before: Build, now: Build) {
        let fingerprint = job.own_fingerprint();
        let mut entry = Entry::new(job, fingerprint);
        let own = self.own.unwrap_or(self.entries.len());
        if let Some(old) = self.entries.get_mut(own) {
            if old.fingerprint == fingerprint {
                (entry.progress, entry.finished) = (old.progress, old.finished);
            }
            entry.uncounted = old.uncounted;
            // A ring holds for whatever else is made of this wire on this mandrel.
            if let Some(inside) = old.ring.filter(|_| old.planned.coil().winds_as(entry.planned.coil())) {
                entry.measure(inside);
            }
            // A direction that was found while winding holds until another is set; and the hand stays the same,
            // whatever it winds.
            if now.direction == before.direction {
                entry.direction = old.direction;
            }
            if now.lead == before.lead {
                entry.learned = old.learned;
            }
            *old = entry;
        } else if self.entries.push(entry).is_err() {
            return;
        }
        self.own = Some(own);
    }

    /// Wire left on the spool of the batch that was set up at the counter, in whole [`SPOOL_UNIT`]s; `None` where
    /// there is no such batch.
    pub(crate) fn own_spool(&self) -> Option<Option<Length>> {
        let own = self.entries.get(self.own?)?;
        let unit = SPOOL_UNIT.nm();
        Some(own.spool.map(|left| Length::from_nm(left.nm() / unit * unit)))
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test may stop where it stands")]
    use super::*;
    use crate::job::Target;
    use crate::job::example::job;

    fn batch(batch: u32) -> Job {
        Job { batch, ..job(30) }
    }

    fn rings(jobs: &JobList) -> std::vec::Vec<u32> {
        let rings = |job: &Job| if let Target::Rings(rings) = job.target { rings } else { 0 };
        jobs.iter().map(rings).collect()
    }

    extern crate std;

    /// New jobs are put after the last; the same job keeps its place; in a full list one that is not begun
    /// makes room, and the counter's own never does.
    #[test]
    fn jobs_find_their_places() {
        let mut jobs = JobList::new();
        jobs.add(job(1)).unwrap();
        for wanted in 2..=8 {
            let place = jobs.place_for(&job(wanted), 1).unwrap();
            assert!(jobs.put(place, job(wanted)));
        }
        assert_eq!(rings(&jobs), [1, 2, 3, 4, 5, 6, 7, 8]);
        assert_eq!(jobs.add(job(9)), Err(TooManyJobs));
        assert_eq!(jobs.place_for(&job(5), 1), Some(4));
        // The second is begun, and stays.
        jobs.entries[1].progress.scrapped = 1;
        let place = jobs.place_for(&job(9), 1).unwrap();
        assert!(jobs.put(place, job(9)));
        assert_eq!(rings(&jobs), [1, 2, 9, 4, 5, 6, 7, 8]);
        for entry in &mut jobs.entries {
            entry.progress.scrapped = 1;
        }
        assert_eq!(jobs.place_for(&job(10), 1), None);
        assert!(!jobs.put(8, job(10)), "past the end");
        assert!(jobs.put(4, job(5)) && jobs.entries[4].progress.scrapped == 1, "the same job");
    }

    /// The same job under another number is another batch, with a place of its own: what was made of the first
    /// stays. Once that one is finished, the next takes its place and begins anew.
    #[test]
    fn batches_of_one_job_are_kept_apart() {
        let mut jobs = JobList::new();
        assert!(jobs.put(0, batch(7)));
        jobs.entries[0].progress.kept = 1;
        assert_eq!(jobs.place_for(&batch(7), 0), Some(0), "the same batch");
        assert!(jobs.put(0, batch(7)));
        assert_eq!(jobs.made_of(7), Some((jobs.entries[0].progress, false)));
        assert_eq!(jobs.place_for(&batch(8), 0), Some(1), "another batch");
        assert!(jobs.put(1, batch(8)));
        assert_eq!(jobs.entries[1].progress, Progress::default());
        assert_eq!((jobs.entries[0].progress.kept, jobs.made_of(9), jobs.made_of(0)), (1, None, None));
        jobs.entries[0].progress.rings = 30;
        assert_eq!(jobs.made_of(7).map(|(_, finished)| finished), Some(true));
        assert_eq!(jobs.place_for(&batch(9), 0), Some(0), "the first is finished");
        assert!(jobs.put(0, batch(9)));
        assert_eq!(jobs.made_of(9), Some((Progress::default(), false)));
    }

    /// Questions about a list without jobs have answers.
    #[test]
    fn an_empty_list_answers() {
        let jobs = JobList::new();
        assert!(jobs.is_empty() && jobs.job().is_none() && jobs.wire_short().is_none());
        assert_eq!((jobs.coils_left(), jobs.fingerprint(), jobs.next_turns()), (0, 0, Turns::ZERO));
        assert_eq!((jobs.places(), jobs.has_own_batch(), jobs.batch(0)), (1, false, None));
    }
}
