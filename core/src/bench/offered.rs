//! Jobs that come to the counter while it is on.

use super::{Bench, MAX_JOBS, Pick, Slot, State};
use crate::job::{Job, Progress};

impl Bench {
    /// Where this job would be put in the list: over the same batch, over a finished batch of the same job,
    /// behind the last, or where one is that is finished or not begun. The first `own` jobs stay. `None` where
    /// there is no such place.
    #[must_use]
    pub fn place_for(&self, job: &Job, own: usize) -> Option<usize> {
        let fingerprint = job.fingerprint();
        let same = self.slots.iter().position(|slot| slot.is(fingerprint, job.batch));
        let behind = (self.slots.len() < MAX_JOBS).then_some(self.slots.len());
        let others = || {
            let others = self.slots.iter().enumerate().skip(own);
            others.filter(|&(place, _)| Some(place) != self.own)
        };
        let mut finished = others().filter(|(_, slot)| slot.fingerprint == fingerprint && slot.is_finished());
        let spent = |slot: &Slot| slot.job.is_done(slot.progress) || slot.progress == Progress::default();
        let mut spare = others().filter(|(_, slot)| spent(slot));
        let place = |found: Option<(usize, &Slot)>| found.map(|(place, _)| place);
        same.or_else(|| place(finished.next())).or(behind).or_else(|| place(spare.next()))
    }

    /// Whether the encoder and the gear that are set here count as this job was planned for.
    #[must_use]
    pub fn counts_as(&self, job: &Job) -> bool {
        self.settings.build.per_turn() == Some(job.rule.per_turn())
    }

    /// Puts a job at a place of the list; whether that was possible: not while a coil is on the mandrel, nor
    /// past the end of the list. What has been made of the same batch there stays; another batch of the same job
    /// begins anew.
    pub fn put_job(&mut self, place: usize, job: Job) -> bool {
        if self.coil.is_some() {
            return false;
        }
        let fingerprint = job.fingerprint();
        match self.slots.get_mut(place) {
            // It may come with another spool.
            Some(before) if before.is(fingerprint, job.batch) => {
                before.spool = job.spool.or(before.spool);
                true
            }
            Some(before) => {
                *before = Slot { uncounted: before.uncounted, ..Slot::new(job, fingerprint) };
                true
            }
            None => place == self.slots.len() && self.slots.push(Slot::new(job, fingerprint)).is_ok(),
        }
    }

    /// What has been made of the batch of this number, and whether it has been finished; `None` where it is not
    /// in the list.
    #[must_use]
    pub fn made_of(&self, batch: u32) -> Option<(Progress, bool)> {
        let slot = self.slots.iter().find(|slot| batch != 0 && slot.job.batch == batch)?;
        Some((slot.progress, slot.is_finished()))
    }

    /// Chooses a job of the list, with no coil on the mandrel.
    pub fn choose(&mut self, place: usize) {
        if self.coil.is_none() && place < self.slots.len() {
            self.chosen = place;
            self.state = State::Choose { pick: Pick::Job };
        }
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test may stop where it stands")]
    use super::*;
    use crate::coil::{CoilModel, Winding};
    use crate::counter::{CountsPerTurn, Direction, Gear, Shaft};
    use crate::input::{Event, Input, Key};
    use crate::job::Target;
    use crate::plan::BatchPlan;
    use crate::spring::SpringRatio;
    use crate::time::{Duration, Instant};
    use crate::units::{Length, Turns};

    fn job(rings: u32) -> Job {
        let (wire, mandrel) = (Length::from_um(1_000), Length::from_um(4_000));
        let spring = SpringRatio::measured(1.01).unwrap();
        let winding = Winding::new(wire, mandrel, 0.0, Length::ZERO, spring).unwrap();
        let per_turn = CountsPerTurn::new(100, Shaft::Mandrel, Gear::DIRECT).unwrap();
        let rule =
            BatchPlan::new(CoilModel::new(&winding, Turns::ZERO), per_turn, Length::from_um(50_000)).unwrap();
        let lead = crate::job::Lead::Set(Duration::ZERO);
        let target = Target::Rings(rings);
        let (direction, spool) = (Direction::Forward, None);
        Job { batch: 0, name: "job".try_into().unwrap(), target, rule, direction, lead, spool }
    }

    fn batch(batch: u32) -> Job {
        Job { batch, ..job(30) }
    }

    fn rings(bench: &Bench) -> std::vec::Vec<u32> {
        let rings = |job: &Job| if let Target::Rings(rings) = job.target { rings } else { 0 };
        bench.jobs().map(rings).collect()
    }

    extern crate std;

    /// New jobs go behind the last; the same job keeps its place; in a full list one that is not begun
    /// makes room, and the counter's own never does.
    #[test]
    fn jobs_find_their_places() {
        let mut bench = Bench::new();
        bench.add_job(job(1)).unwrap();
        for wanted in 2..=8 {
            let place = bench.place_for(&job(wanted), 1).unwrap();
            assert!(bench.put_job(place, job(wanted)));
        }
        assert_eq!(rings(&bench), [1, 2, 3, 4, 5, 6, 7, 8]);
        assert_eq!(bench.place_for(&job(5), 1), Some(4));
        // The second is begun, and stays.
        bench.slots[1].progress.scrapped = 1;
        let place = bench.place_for(&job(9), 1).unwrap();
        assert!(bench.put_job(place, job(9)));
        assert_eq!(rings(&bench), [1, 2, 9, 4, 5, 6, 7, 8]);
        for slot in &mut bench.slots {
            slot.progress.scrapped = 1;
        }
        assert_eq!(bench.place_for(&job(10), 1), None);
        assert!(bench.put_job(4, job(5)) && bench.slots[4].progress.scrapped == 1, "the same job");
    }

    /// The same job under another number is another batch, with a place of its own: what was made of the first
    /// stays. Once that one is finished, the next takes its place and begins anew.
    #[test]
    fn batches_of_one_job_are_kept_apart() {
        let mut bench = Bench::new();
        assert!(bench.put_job(0, batch(7)));
        bench.slots[0].progress.kept = 1;
        assert_eq!(bench.place_for(&batch(7), 0), Some(0), "the same batch");
        assert!(bench.put_job(0, batch(7)));
        assert_eq!(bench.made_of(7), Some((bench.slots[0].progress, false)));
        assert_eq!(bench.place_for(&batch(8), 0), Some(1), "another batch");
        assert!(bench.put_job(1, batch(8)));
        assert_eq!(bench.slots[1].progress, Progress::default());
        assert_eq!((bench.slots[0].progress.kept, bench.made_of(9), bench.made_of(0)), (1, None, None));
        bench.slots[0].progress.rings = 30;
        assert_eq!(bench.made_of(7).map(|(_, finished)| finished), Some(true));
        assert_eq!(bench.place_for(&batch(9), 0), Some(0), "the first is finished");
        assert!(bench.put_job(0, batch(9)));
        assert_eq!(bench.made_of(9), Some((Progress::default(), false)));
    }

    /// With a coil on the mandrel nothing changes.
    #[test]
    fn coil_on_the_mandrel_keeps_its_job() {
        let mut bench = Bench::new();
        bench.add_job(job(30)).unwrap();
        for key in [Key::Yes, Key::Yes] {
            bench.handle(Event { at: Instant::ZERO, input: Input::Key(key) });
        }
        assert!(bench.goal().is_some());
        assert!(!bench.put_job(0, job(31)) && !bench.put_job(1, job(31)));
        bench.choose(0);
        assert!(bench.goal().is_some() && rings(&bench) == [30]);
    }
}
