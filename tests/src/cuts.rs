//! A counter with a virtual flash, under a hand that the test knows to the last count.

use turntally_core::bench::log::{Entry, LogEvent};
use turntally_core::bench::{Bench, Choice, ErrorBound, Phase, Pick, State};
use turntally_core::coil::{CoilModel, Winding};
use turntally_core::counter::{CountsPerTurn, Direction, Gear, Shaft};
use turntally_core::input::Key;
use turntally_core::job::{Job, Lead, Progress, Target};
use turntally_core::plan::BatchPlan;
use turntally_core::settings::{KnobClick, Loudness};
use turntally_core::spring::SpringRatio;
use turntally_core::time::{Duration, Instant};
use turntally_core::units::{Length, Turns};
use turntally_firmware::app::App;
use turntally_firmware::panel::{Front, Lights, Touch};
use turntally_firmware::store::guard::{Gate, Open, SECTOR};
use turntally_firmware::store::{Layout, Save, SavedState, Store};
use turntally_sim::simulation::flash::{Cells, VirtualFlash};

/// A small flash, so that a history wraps round it soon: 4 sectors of records, 10 of notes, two segments of
/// log.
pub const SMALL: Layout = Layout { records: 0, notes: 4 * SECTOR, end: 14 * SECTOR, log_end: 24 * SECTOR };
/// Cuts that are wanted: `TURNTALLY_CUTS`, or a short history's.
#[must_use]
pub fn wanted_cuts() -> u64 {
    std::env::var("TURNTALLY_CUTS").ok().and_then(|text| text.parse().ok()).unwrap_or(6_000)
}

/// Pulses of the encoder in a turn.
const PULSES: u32 = 25;
/// Counts in a turn of the mandrel.
pub const TURN: i64 = 4 * PULSES as i64;
/// A word of 16 samples in a millisecond.
const PERIOD_NS: u32 = 62_500;

/// A job of several coils of some twenty turns.
///
/// # Panics
/// Never: the figures are given.
#[must_use]
pub fn job() -> Job {
    let made = || {
        let (wire, mandrel) = (Length::from_um(1_000), Length::from_um(4_000));
        let spring = SpringRatio::measured(1.01).ok()?;
        let winding = Winding::new(wire, mandrel, 0.0, Length::from_um(300), spring).ok()?;
        let per_turn = CountsPerTurn::new(PULSES, Shaft::Mandrel, Gear::DIRECT)?;
        let coil = CoilModel::new(&winding, Turns::from_nano(Turns::ONE / 2));
        Some(Job {
            batch: 0,
            name: "cuts".try_into().ok()?,
            target: Target::Rings(50),
            rule: BatchPlan::new(coil, per_turn, Length::from_um(25_000)).ok()?,
            direction: Direction::Forward,
            lead: Lead::Learned(Duration::from_millis(300)),
            spool: None,
        })
    };
    match made() {
        Some(job) => job,
        None => unreachable!("the figures are given"),
    }
}

/// A bench with that job.
#[must_use]
pub fn bench(job: &Job) -> Bench {
    let mut bench = Bench::new();
    bench.built_for(PULSES, Shaft::Mandrel, Gear::DIRECT);
    // There is room: it is the first.
    _ = bench.add_job(job.clone());
    bench
}

/// What has been made of each job, in the list's order.
#[must_use]
pub fn progress(bench: &Bench) -> Vec<Progress> {
    (0..bench.jobs().len()).filter_map(|job| Some(bench.jobs().batch(job)?.progress)).collect()
}

/// What a counter finds when it starts on this flash.
fn start(flash: VirtualFlash, layout: Layout, job: &Job) -> (SavedState, App, Store<VirtualFlash, Open>) {
    let mut store = Store::new(flash, Open, layout);
    let mut app = App::new(bench(job), PULSES, PERIOD_NS);
    (app.load_from(&mut store), app, store)
}

/// What a counter finds when it starts on these cells, and the counter that goes on with it.
#[must_use]
pub fn reboot(cells: Cells, layout: Layout, job: &Job) -> (SavedState, App) {
    let (kept, app, _) = start(VirtualFlash::new(cells), layout, job);
    (kept, app)
}

/// Every entry of the log from this number on, by its number.
///
/// # Panics
/// Where the log cannot be read, or an entry makes no sense: neither is ever so.
#[must_use]
pub fn entries<G: Gate>(store: &mut Store<VirtualFlash, G>, from: u32) -> Vec<(u32, LogEvent)> {
    let mut found = Vec::new();
    let mut next = from;
    while let Some((number, bytes)) = store.log_entry(next).unwrap_or_else(|error| unreachable!("{error}")) {
        match Entry::from_bytes(&bytes) {
            Ok(entry) if entry.number == number => found.push((number, entry.event)),
            other => unreachable!("{number}: {other:?}"),
        }
        next = number + 1;
    }
    found
}

/// Keys and knob for one poll.
#[derive(Debug, Default)]
pub struct Fingers {
    /// The key that goes down.
    pub key: Option<Key>,
    /// Clicks of the knob.
    pub clicks: i8,
}

impl Front for Fingers {
    fn read(&mut self, _: Instant) -> Touch {
        Touch { key: self.key.take(), clicks: core::mem::take(&mut self.clicks), turn: None }
    }

    fn show(&mut self, _: Lights, _: bool, _: Option<u16>) {}

    fn set_loudness(&mut self, _loudness: Loudness) {}

    fn set_knob(&mut self, _click: KnobClick) {}
}

/// A coil is written down.
#[must_use]
pub fn is_coil(save: &Save) -> bool {
    // The first of the events.
    matches!(save, Save::Log(event) if event.first() == Some(&0))
}

/// A counter, its flash, and a hand with a mind of its own.
#[derive(Debug)]
pub struct Counter {
    /// The counter.
    pub app: App,
    /// Its store.
    pub store: Store<VirtualFlash, Open>,
    /// Its flash.
    pub flash: VirtualFlash,
    /// Counts that the crank has really made since the coil's zero.
    pub true_counts: i64,
    /// The progress of each job as it was last reported saved.
    pub acked: Vec<Progress>,
    /// The ring of the first job as it was last reported saved.
    pub acked_ring: Option<Length>,
    /// A note of the coil on the mandrel was reported saved.
    pub noted: bool,
    /// The counter had itself given up the count of the coil on the mandrel, or of the one that came off
    /// last.
    pub given_up: bool,
    /// Coils that came off, by their turns, and whether a note of each was reported saved.
    pub coils: Vec<(Turns, bool)>,
    /// Coils that were reported as logged.
    pub logged: usize,
    /// All entries of the log that were.
    pub entries: usize,
    rng: fastrand::Rng,
    fingers: Fingers,
    ms: u32,
    step: i64,
    to_go: i64,
}

impl Counter {
    /// Switches a counter on, its crank at this step of the encoder.
    #[must_use]
    pub fn on(flash: VirtualFlash, layout: Layout, job: &Job, seed: u64) -> (SavedState, Self) {
        let (kept, app, store) = start(flash.clone(), layout, job);
        let acked_ring = app.bench().jobs().batch(0).and_then(|batch| batch.ring);
        let (acked, noted) = (progress(app.bench()), app.bench().goal().is_some());
        let true_counts = app.bench().counts();
        let given_up = app.bench().error_bound() == ErrorBound::Unknown;
        let rng = fastrand::Rng::with_seed(seed);
        let counter = Self {
            app,
            store,
            flash,
            true_counts,
            acked,
            acked_ring,
            noted,
            given_up,
            coils: Vec::new(),
            logged: 0,
            entries: 0,
            rng,
            fingers: Fingers::default(),
            ms: 0,
            step: 0,
            to_go: 0,
        };
        (kept, counter)
    }

    /// One millisecond, in which the hand does what comes to its mind. Says what was saved in it.
    pub fn live(&mut self) -> Option<Save> {
        self.ms += 1;
        if self.to_go == 0 && self.ms.is_multiple_of(20) {
            self.decide();
        }
        let before = self.app.bench().phase();
        self.crank();
        let now = Instant::from_millis(self.ms);
        let record = self.app.poll(now, &mut self.fingers);
        // A panel that has each drawing at once: no key waits for it longer than it must.
        if self.app.redraw_due(now) {
            self.app.panel_has(self.app.view().picture, now);
        }
        if before == Phase::Ready && self.app.bench().goal().is_some() {
            (self.true_counts, self.noted) = (0, false);
        }
        if let Some(record) = record {
            self.coils.push((record.turns, self.noted));
            (self.to_go, self.noted) = (0, false);
        }
        self.given_up = match record {
            Some(record) => record.error_bound == ErrorBound::Unknown,
            None if self.app.bench().goal().is_some() => {
                self.app.bench().error_bound() == ErrorBound::Unknown
            }
            None => self.given_up,
        };
        let (save, result) = self.app.save_to(&mut self.store)?;
        match (&save, result) {
            (Save::Batch(job, batch), Ok(())) => {
                let job = usize::from(*job);
                self.acked.resize(self.acked.len().max(job + 1), Progress::default());
                self.acked[job] = batch.progress;
                if job == 0 {
                    self.acked_ring = batch.ring;
                }
            }
            (Save::Note(_), Ok(())) => self.noted = true,
            (Save::Log(_), Ok(())) => {
                self.entries += 1;
                self.logged += usize::from(is_coil(&save));
            }
            _ => {}
        }
        Some(save)
    }

    /// Two and a half turns a second: a count in four milliseconds.
    fn crank(&mut self) {
        let mut word = 0;
        for sample in 0..16 {
            if sample == 0 && self.to_go != 0 && self.ms.is_multiple_of(4) {
                let way = self.to_go.signum();
                self.step += way;
                self.to_go -= way;
                self.true_counts += way;
            }
            let level: u32 = [0b00, 0b01, 0b11, 0b10][(self.step & 3) as usize];
            word |= level << (2 * sample);
        }
        self.app.samples(Ok(Some(word)), Instant::from_millis(self.ms));
    }

    fn decide(&mut self) {
        let bench = self.app.bench();
        if self.app.view().notice.is_some() {
            self.fingers.key = Some(Key::Yes);
            return;
        }
        let aim = bench.goal().map_or(0, |goal| goal.aim());
        match bench.state() {
            // Now and then the rings of what was kept are counted.
            State::Next if self.rng.u8(..3) == 0 => self.fingers.key = Some(Key::No),
            State::Choose { pick: Pick::Job } if !bench.jobs().uncounted().is_empty() && self.rng.bool() => {
                self.fingers.clicks = if self.rng.bool() { 1 } else { 2 };
            }
            State::MeasureRing(_) if self.rng.u8(..3) > 0 => self.fingers.clicks = self.rng.i8(-9..10),
            State::CountRings(_) if self.rng.bool() => self.fingers.clicks = self.rng.i8(-3..4),
            State::Winding { .. } if bench.counts() < aim => {
                let back = self.rng.u8(..8) == 0 && bench.counts() > TURN;
                self.to_go = if back { -self.rng.i64(1..TURN) } else { self.rng.i64(1..3 * TURN) };
                if self.rng.u8(..40) == 0 {
                    self.fingers.key = Some(Key::Yes);
                }
            }
            State::Verdict { choice: Choice::Keep } if self.rng.u8(..5) == 0 => self.fingers.clicks = 1,
            State::Verdict { choice: Choice::WindOn } if self.rng.bool() => self.fingers.clicks = -1,
            State::Fault { .. } if self.rng.u8(..6) == 0 => self.fingers.key = Some(Key::No),
            _ => self.fingers.key = Some(Key::Yes),
        }
    }
}

/// What a counter had made when its power went.
#[derive(Debug, Clone)]
pub struct Cut {
    /// Coils that came off since it was switched on, by their turns, and whether a note of each was kept.
    coils: Vec<(Turns, bool)>,
    /// Coils that were reported as logged.
    logged: usize,
    /// A coil was on the mandrel.
    in_coil: bool,
    /// A note of it was reported saved.
    noted: bool,
}

impl Cut {
    /// The first note of a coil may have been torn, which is reported.
    #[must_use]
    pub const fn may_be_reported(&self) -> bool {
        self.in_coil && !self.noted
    }

    /// Lets a counter live until its power goes.
    ///
    /// # Panics
    /// Where it does not, since nothing is written any more.
    pub fn of(counter: &mut Counter) -> Self {
        let (mut noted, mut logged) = (counter.noted, counter.logged);
        let begun = counter.ms;
        while !counter.flash.is_off() {
            assert!(counter.ms - begun < 2_000_000, "nothing is written any more");
            (noted, logged) = (counter.noted, counter.logged);
            _ = counter.live();
        }
        let in_coil = counter.app.bench().goal().is_some();
        Self { coils: counter.coils.clone(), logged, in_coil, noted: noted && in_coil && counter.noted }
    }
}

/// The log as it is known to be, from one start to the next.
#[derive(Debug, Default)]
pub struct Ledger {
    log: Vec<(u32, LogEvent)>,
    /// Coils that were found in it.
    pub logged: u64,
    /// Coils that were gone on with.
    pub resumed: u64,
    /// Coils that came off before anything of them was kept.
    pub unknown: u64,
}

impl Ledger {
    /// Holds what a counter finds after a cut against what was true: every coil that came off stands in the log once
    /// or is back on the mandrel, and so is the one that was there.
    ///
    /// # Errors
    /// What is not so.
    pub fn check(&mut self, cut: &Cut, counter: &mut Counter) -> Result<(), String> {
        let found = entries(&mut counter.store, 0);
        let on_mandrel = counter.app.bench().goal().is_some();
        let oldest = found.first().map_or(0, |(number, _)| *number);
        let before: Vec<_> = self.log.iter().filter(|(number, _)| *number >= oldest).collect();
        if before.len() > found.len() || before.iter().zip(&found).any(|(before, now)| *before != now) {
            return Err("entries have gone".to_owned());
        }
        let known = self.log.last().map_or(0, |(number, _)| number + 1);
        let turns = |(number, event): &(u32, LogEvent)| match event {
            LogEvent::Coil(coil) if *number >= known => Some(coil.turns),
            _ => None,
        };
        let new: Vec<Turns> = found.iter().filter_map(turns).collect();
        let made: Vec<Turns> = cut.coils.iter().map(|(turns, _)| *turns).collect();
        if !made.starts_with(&new) || new.len() < cut.logged {
            return Err(format!("{new:?} in the log of {made:?}, {} reported as logged", cut.logged));
        }
        match cut.coils.get(new.len()..).unwrap_or_default() {
            [] if cut.noted && !on_mandrel => return Err("the coil on the mandrel has vanished".to_owned()),
            [] => {}
            [_] if on_mandrel && !cut.in_coil => {}
            [(_, false)] => self.unknown += 1,
            missing => return Err(format!("{missing:?} have vanished")),
        }
        self.logged += new.len() as u64;
        self.resumed += u64::from(on_mandrel);
        self.log = found;
        Ok(())
    }
}
