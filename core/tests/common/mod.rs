//! A hand at the bench: cranks, presses keys and lets time go by.
#![allow(clippy::unwrap_used, reason = "a test may stop where it stands")]
#![allow(dead_code, reason = "each test file uses its own part of it")]

use turntally_core::bench::{Bench, CoilRecord, Phase, READ_FIRST};
use turntally_core::coil::{CoilModel, Winding};
use turntally_core::counter::{CountsPerTurn, Direction, Gear, Shaft};
use turntally_core::input::{Event, Input, Key, KnobTurn};
use turntally_core::job::{Job, Lead, Target};
use turntally_core::plan::BatchPlan;
use turntally_core::signal::Reading;
use turntally_core::spring::SpringRatio;
use turntally_core::time::{Duration, Instant};
use turntally_core::units::{Length, Turns};

/// Counts in a turn of [`rule`]'s encoder.
pub const TURN: i64 = 1_600;

/// 1.2 mm wire on 4.5 mm, opening by 1.5 %, half a turn of tail, a 400-pulse encoder on the mandrel.
pub fn rule(cradle_um: i64) -> BatchPlan {
    let winding = Winding::new(
        Length::from_um(1_200),
        Length::from_um(4_500),
        0.0,
        Length::from_um(400),
        SpringRatio::measured(1.015).unwrap(),
    )
    .unwrap();
    let coil = CoilModel::new(&winding, Turns::from_nano(Turns::ONE / 2));
    let per_turn = CountsPerTurn::new(400, Shaft::Mandrel, Gear::DIRECT).unwrap();
    BatchPlan::new(coil, per_turn, Length::from_um(cradle_um)).unwrap()
}

/// A job on a cradle of that many micrometres.
pub fn job(name: &str, rings: u32, cradle_um: i64) -> Job {
    Job {
        batch: 0,
        name: name.try_into().unwrap(),
        target: Target::Rings(rings),
        rule: rule(cradle_um),
        direction: Direction::Forward,
        lead: Lead::Set(Duration::from_millis(350)),
        spool: None,
    }
}

/// The hand, with the bench before it and the records of the coils that came off.
#[derive(Debug, Clone)]
pub struct Hand {
    pub bench: Bench,
    pub now: Instant,
    pub records: Vec<CoilRecord>,
}

impl Hand {
    /// At a bench with these jobs.
    pub fn new(jobs: impl IntoIterator<Item = Job>) -> Self {
        let mut bench = Bench::new();
        for job in jobs {
            bench.add_job(job).unwrap();
        }
        Self { bench, now: Instant::ZERO, records: Vec::new() }
    }

    /// Something happens now.
    pub fn tell(&mut self, input: Input) -> &mut Self {
        self.records.extend(self.bench.handle(Event { at: self.now, input }));
        self
    }

    /// Presses Yes.
    pub fn yes(&mut self) -> &mut Self {
        self.reads_first().tell(Input::Key(Key::Yes))
    }

    /// Presses No.
    pub fn no(&mut self) -> &mut Self {
        self.reads_first().tell(Input::Key(Key::No))
    }

    /// A page that came up by itself.
    fn reads_first(&mut self) -> &mut Self {
        let came_up = self.bench.phase() == Phase::Fault;
        self.waits(if came_up { (READ_FIRST.as_micros() / 1_000) as u32 } else { 0 })
    }

    /// Turns the knob.
    pub fn knob(&mut self, clicks: i8) -> &mut Self {
        self.tell(Input::Knob(clicks))
    }

    /// Turns the knob by one click, which has so many counts.
    pub fn knob_click(&mut self, counts: u8) -> &mut Self {
        let began = self.now;
        self.waits(300);
        self.tell(Input::KnobRest(KnobTurn { counts, began }))
    }

    /// The encoder says this.
    pub fn reads(&mut self, reading: Reading) -> &mut Self {
        self.tell(Input::Encoder(reading))
    }

    /// Lets time go by with the crank at rest.
    pub fn waits(&mut self, ms: u32) -> &mut Self {
        for _ in 0..ms / 10 {
            self.now = self.now + Duration::from_millis(10);
            self.tell(Input::Tick);
        }
        self
    }

    /// Cranks at a steady speed by so many encoder counts, back where they are negative.
    pub fn cranks(&mut self, counts: i64, rpm: i64) -> &mut Self {
        let mut made = 0;
        for ms in 1.. {
            let want = (ms * rpm * TURN / 60_000).min(counts.abs());
            let net = (want - made) * counts.signum();
            made = want;
            self.now = self.now + Duration::from_millis(1);
            self.reads(Reading { net, ..Reading::default() });
            if made == counts.abs() {
                return self;
            }
        }
        unreachable!()
    }

    /// Cranks until the coil on the mandrel has so many counts.
    pub fn cranks_to(&mut self, counts: i64, rpm: i64) -> &mut Self {
        self.cranks(counts - self.bench.counts(), rpm)
    }

    /// From choosing a job to a coil begun.
    pub fn begins(&mut self) -> &mut Self {
        self.yes().yes()
    }

    /// Winds the coil that is begun to its target, at leisure, and keeps it.
    pub fn keeps_a_coil(&mut self) -> &mut Self {
        let aim = self.bench.goal().unwrap().aim();
        self.cranks_to(aim, 60).waits(500).yes().yes()
    }
}
