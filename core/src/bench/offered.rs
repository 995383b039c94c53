//! Jobs that come to the counter while it is on.

use super::{Bench, Pick, State};
use crate::job::Job;

impl Bench {
    /// Whether the encoder and the gear that are set here count as this job was planned for.
    #[must_use]
    pub fn counts_as(&self, job: &Job) -> bool {
        self.settings.build.per_turn() == Some(job.rule.per_turn())
    }

    /// Puts a job at a place of the list; whether that was possible: not while a coil is on the mandrel, nor
    /// past the end of the list. What has been made of the same batch there stays; another batch of the same job
    /// begins anew.
    pub fn put_job(&mut self, place: usize, job: Job) -> bool {
        self.revise();
        self.coil.is_none() && self.jobs.put(place, job)
    }

    /// Chooses a job of the list, with no coil on the mandrel.
    pub fn choose(&mut self, place: usize) {
        self.revise();
        if self.coil.is_none() && self.jobs.choose(place) {
            self.state = State::Choose { pick: Pick::Job };
        }
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test may stop where it stands")]
    use super::*;
    use crate::input::{Event, Input, Key};
    use crate::job::Target;
    use crate::job::example::job;
    use crate::time::Instant;

    fn rings(bench: &Bench) -> std::vec::Vec<u32> {
        let rings = |job: &Job| if let Target::Rings(rings) = job.target { rings } else { 0 };
        bench.jobs().iter().map(rings).collect()
    }

    extern crate std;

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
