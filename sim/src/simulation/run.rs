//! A batch on the simulated bench: winder, wire, encoder, operator and saw around the firmware
//! library on the desktop board, in virtual time.

use turntally_core::bench::{Bench, CoilRecord, ErrorBound, Fault, Phase, State};
use turntally_core::counter::Shaft;
use turntally_core::input::Key;
use turntally_core::job::{Lead, Target};
use turntally_core::time::Instant;
use turntally_firmware::app::App;
use turntally_firmware::display::Frame;
use turntally_firmware::store::guard::Open;
use turntally_firmware::store::{Layout, Store};

use crate::failure::Failure;
use crate::job::Job;
use crate::lookup::Spool;
use crate::simulation::board::{self, Line, Lines};
use crate::simulation::encoder::{Encoder, STEP_NS};
use crate::simulation::faults::{FaultKind, FaultSet};
use crate::simulation::flash::{Cells, VirtualFlash};
use crate::simulation::operator::{Operator, OperatorProfile, Shown};
use crate::simulation::panel_faults::PanelFaults;
use crate::simulation::screen::ScreenBus;
use crate::simulation::wires::{Wires, Wiring};

/// How a batch is run.
#[derive(Debug, Clone, Copy)]
pub struct Setup {
    /// The same seed gives the same run, bit for bit.
    pub seed: u64,
    /// Who winds.
    pub profile: OperatorProfile,
    /// What is wrong with the electrics.
    pub faults: FaultSet,
    /// What is on the way from the encoder to the counter.
    pub wiring: Wiring,
    /// How far the cue leads.
    pub lead: Lead,
}

/// One coil, as the counter had it and as it was.
#[derive(Debug, Clone)]
pub struct Coil {
    /// What the counter says.
    pub record: CoilRecord,
    /// Turns at which the hand first came to rest after "stop now".
    pub stopped_at_turns: f64,
    /// Encoder counts that really went by since zero.
    pub true_counts: i64,
    /// Those counts as turns of the mandrel.
    pub true_turns: f64,
    /// Rings that the simulated saw gave, its slit falling wherever it fell.
    pub rings_cut: u32,
    /// The coil that is to be sawn, if it was kept.
    pub released: Option<Released>,
}

/// A coil off the mandrel, sprung open, its lead-in snipped.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Released {
    /// How far it sprang: released over wound diameter.
    pub spring_ratio: f64,
    /// Turns that are left to be sawn.
    pub turns: f64,
    /// Pieces of equal length into which it has to be cut so that each fits the cradle.
    pub pieces: u32,
}

impl Released {
    /// Whole rings from a straight slit that first crosses the wire of each piece at `slit` turns, 0..=1: between
    /// two crossings lies a ring.
    #[must_use]
    pub fn rings(self, slit: f64) -> u32 {
        self.pieces * self.rings_of_a_piece(slit)
    }

    fn rings_of_a_piece(self, slit: f64) -> u32 {
        let turns = self.turns / f64::from(self.pieces);
        let mut rings = 0;
        let mut crossing = slit + 1.0;
        while crossing <= turns {
            rings += 1;
            crossing += 1.0;
        }
        rings
    }
}

/// A finished run.
#[derive(Debug, Clone)]
pub struct Outcome {
    /// Every coil that came off, kept or not.
    pub coils: Vec<Coil>,
    /// Rings that were asked for.
    pub rings_to_make: u32,
    /// Faults that the counter reported, in the order of their first appearance.
    pub faults: Vec<Fault>,
    /// The batch was wound to its end.
    pub finished: bool,
    /// Virtual time that passed.
    pub seconds: f64,
    /// Encoder edges that were simulated.
    pub edges: u64,
}

/// Somebody who looks on: all methods have nothing to do unless they are written.
pub trait Observer {
    /// Lines changed at this time (in nanoseconds).
    ///
    /// # Errors
    /// Whatever the observer cannot do with it; the run then ends.
    fn lines(&mut self, _at_ns: u64, _levels: u32) -> Result<(), Failure> {
        Ok(())
    }

    /// Every line is to be shown to [`Self::lines`]: it costs time.
    fn wants_lines(&self) -> bool {
        false
    }

    /// There is something else to be seen on the screen: what it holds after it read its bus.
    ///
    /// # Errors
    /// As [`Self::lines`].
    fn screen(&mut self, _now: Instant, _phase: Phase, _frame: &Frame) -> Result<(), Failure> {
        Ok(())
    }

    /// A coil came off.
    ///
    /// # Errors
    /// As [`Self::lines`].
    fn coil(&mut self, _coil: &Coil) -> Result<(), Failure> {
        Ok(())
    }

    /// The board itself, each millisecond: for the other end of its link.
    ///
    /// # Errors
    /// As [`Self::lines`].
    fn board(&mut self, _app: &mut App, _store: &mut Store<VirtualFlash, Open>) -> Result<(), Failure> {
        Ok(())
    }

    /// The counter is still wanted when its batch is done.
    fn stays(&self) -> bool {
        false
    }

    /// A millisecond has passed.
    ///
    /// # Errors
    /// As [`Self::lines`].
    fn moment(&mut self, _now: Instant, _bench: &Bench) -> Result<(), Failure> {
        Ok(())
    }
}

/// Nobody looks on.
#[derive(Debug)]
pub struct NoObserver;

impl Observer for NoObserver {}

/// Virtual time after which a batch is given up: the operator is caught in a loop.
const LONGEST: f64 = 1e6;
/// How long the end of a batch is still looked at and listened to: the last notes take 0.7 s.
const LAST_LOOK_NS: u64 = 1_000 * STEP_NS;

/// Winds the whole batch.
///
/// # Errors
/// What is wrong with the job, and whatever the observer cannot do.
pub fn wind(job: &Job, setup: Setup, observer: &mut dyn Observer) -> Result<Outcome, Failure> {
    let rings_to_make = job.rings_to_make()?;
    let mut run = Run::new(job, setup, rings_to_make)?;
    while !run.is_over() || observer.stays() {
        run.step(observer)?;
    }
    Ok(Outcome {
        finished: run.simulated_bench.bench().phase() == Phase::Done,
        coils: run.coils,
        rings_to_make,
        faults: run.simulated_bench.faults,
        seconds: run.simulated_bench.now_ns as f64 / 1e9,
        edges: run.simulated_bench.edges,
    })
}

/// The samples taken in a millisecond for this job: eight to an edge at the quickest that a hand
/// makes (three crank turns a second), and at least 50.
fn samples_per_step(job: &Job) -> u64 {
    let encoder_turns = match job.shaft {
        Shaft::Crank => 3.0,
        Shaft::Mandrel => 3.0 * job.gear.ratio(),
    };
    let edges_per_ms = encoder_turns * 4.0 * f64::from(job.pulses_per_rev) / 1e3;
    // Edges may stand a third of their spacing apart. Faster than 1 MHz is past any board.
    [50, 100, 200, 250, 500]
        .into_iter()
        .find(|&samples| samples as f64 >= 8.0 * edges_per_ms)
        .unwrap_or(1_000)
}

/// What the person at the bench does in one millisecond.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Hand {
    /// Where the crank stands at the end of it, in turns since the start.
    pub crank_turns: f64,
    /// The hand lies still on the crank.
    pub is_still: bool,
    /// The key that is held down.
    pub key: Option<Key>,
    /// Where the knob stands, in quarters of a click. One quarter a millisecond is what it can follow.
    pub knob_quarters: i32,
}

/// The bench without the person: winder, wire, encoder and saw around the counter, stepped by
/// the operator or the user.
#[derive(Debug)]
pub struct SimulatedBench {
    job: Job,
    app: App,
    store: Store<VirtualFlash, Open>,
    panel: board::DeskPanel,
    screen: ScreenBus,
    panel_faults: PanelFaults,
    sampler: turntally_firmware::sampler::PinSampler<board::Pin, board::Pin>,
    lines: std::rc::Rc<Lines>,
    encoder: Encoder,
    wires: Wires,
    hand: Hand,
    bench_rng: fastrand::Rng,
    faults_on: FaultSet,
    samples: u64,
    now_ns: u64,
    edges: u64,
    last_edges: i64,
    phase: Phase,
    /// True counts and mandrel turns at the zero of the coil on the mandrel.
    zero: (i64, f64),
    stopped_at: Option<f64>,
    /// The share by which this lot of wire opens.
    lot: f64,
    faults: Vec<Fault>,
    shown_levels: u32,
    blocked_until_ns: u64,
}

/// A stand with an operator before it.
struct Run {
    simulated_bench: SimulatedBench,
    operator: Operator,
    coils: Vec<Coil>,
    ends_at_ns: Option<u64>,
}

impl Run {
    fn new(job: &Job, setup: Setup, rings: u32) -> Result<Self, Failure> {
        let mut seeds = fastrand::Rng::with_seed(setup.seed);
        let mut fork = || fastrand::Rng::with_seed(seeds.u64(..));
        let (encoder_rng, operator_rng, bench_rng, mishaps_rng) = (fork(), fork(), fork(), fork());
        let rngs = (encoder_rng, bench_rng, mishaps_rng);
        let mut simulated_bench = SimulatedBench::with_rngs(job, setup.faults, setup.lead, rings, rngs)?;
        simulated_bench.wires = Wires::new(setup.wiring, fork());
        Ok(Self {
            simulated_bench,
            operator: Operator::new(setup.profile, operator_rng),
            coils: Vec::new(),
            ends_at_ns: None,
        })
    }

    fn is_over(&self) -> bool {
        self.ends_at_ns.is_some_and(|end| self.simulated_bench.now_ns >= end)
    }

    /// Once the batch is done or given up, it ends when its last screen has been shown.
    fn note_the_end(&mut self) {
        let ended = self.simulated_bench.bench().phase() == Phase::Done || self.operator.gave_up();
        if self.ends_at_ns.is_none() && (ended || self.simulated_bench.now_ns as f64 / 1e9 > LONGEST) {
            self.ends_at_ns = Some(self.simulated_bench.now_ns + LAST_LOOK_NS);
        }
    }

    /// One millisecond of bench and operator.
    fn step(&mut self, observer: &mut dyn Observer) -> Result<(), Failure> {
        let seconds = self.simulated_bench.now_ns as f64 / 1e9;
        self.operator.step(seconds, self.simulated_bench.shown());
        let hand = Hand {
            crank_turns: self.operator.angle(),
            is_still: self.operator.is_still(),
            key: self.operator.key(seconds),
            knob_quarters: 0,
        };
        if let Some(coil) = self.simulated_bench.step(hand, observer)? {
            observer.coil(&coil)?;
            self.coils.push(coil);
        }
        self.note_the_end();
        observer.moment(self.simulated_bench.now(), self.simulated_bench.bench())
    }
}

impl SimulatedBench {
    /// A bench for this job, of which `rings` are to be made. The same seed gives the same bench.
    ///
    /// # Errors
    /// What is wrong with the job for the counter.
    pub fn new(job: &Job, faults: FaultSet, lead: Lead, rings: u32, seed: u64) -> Result<Self, Failure> {
        let mut seeds = fastrand::Rng::with_seed(seed);
        let mut fork = || fastrand::Rng::with_seed(seeds.u64(..));
        let rngs = (fork(), fork(), fork());
        Self::with_rngs(job, faults, lead, rings, rngs)
    }

    fn with_rngs(
        job: &Job,
        faults: FaultSet,
        lead: Lead,
        rings: u32,
        (encoder_rng, mut bench_rng, mishaps_rng): (fastrand::Rng, fastrand::Rng, fastrand::Rng),
    ) -> Result<Self, Failure> {
        let samples = samples_per_step(job);
        let mut bench = Bench::new();
        bench.add_job(counter_job(job, rings, lead)).map_err(Failure::new)?;
        // What is set up at the counter later is for this winder too.
        bench.built_for(job.pulses_per_rev, job.shaft, job.gear);
        let lines = Lines::new();
        let (sampler, panel) = board::pins(&lines);
        let period_ns = u32::try_from(STEP_NS / samples).unwrap_or(u32::MAX);
        let spring = job.winding.spring();
        let lot = spring.low() + (spring.high() - spring.low()) * bench_rng.f64();
        let mut app = App::new(bench, job.pulses_per_rev, period_ns);
        let flash = VirtualFlash::new(Cells::blank(Layout::PICO.log_end as usize));
        let mut store = Store::new(flash, Open, Layout::PICO);
        app.load_from(&mut store);
        Ok(Self {
            job: job.clone(),
            app,
            store,
            panel,
            screen: ScreenBus::default(),
            panel_faults: PanelFaults::new(faults, mishaps_rng),
            sampler,
            lines,
            encoder: Encoder::new(faults, encoder_rng),
            wires: Wires::new(Wiring::default(), fastrand::Rng::with_seed(0)),
            hand: Hand { is_still: true, ..Hand::default() },
            bench_rng,
            faults_on: faults,
            samples,
            now_ns: 0,
            edges: 0,
            last_edges: 0,
            phase: Phase::Choose,
            zero: (0, 0.0),
            stopped_at: None,
            lot,
            faults: Vec::new(),
            shown_levels: u32::MAX,
            blocked_until_ns: 0,
        })
    }

    /// Switches faults on and off while it runs.
    pub fn set_faults(&mut self, faults: FaultSet) {
        self.faults_on = faults;
        self.encoder.set_faults(faults, self.now_ns);
        self.panel_faults.set_faults(faults, self.screen.module());
    }

    /// Mandrel turns since the start.
    fn mandrel_turns(&self) -> f64 {
        self.hand.crank_turns * self.job.gear.ratio()
    }

    /// The counter's bench, to look at.
    #[must_use]
    pub const fn bench(&self) -> &Bench {
        self.app.bench()
    }

    /// What the counter's screen shows.
    #[must_use]
    pub fn frame(&self) -> Frame {
        self.screen.module().picture()
    }

    /// Every line of the board: lamps, sounder, channels.
    #[must_use]
    pub fn lines(&self) -> &Lines {
        &self.lines
    }

    /// Virtual time since the start.
    #[must_use]
    pub const fn now(&self) -> Instant {
        Instant::from_micros(self.now_ns / 1_000)
    }

    /// Turns of wire on the mandrel since the count began; none while no coil is being wound.
    #[must_use]
    pub fn turns_on_mandrel(&self) -> f64 {
        if self.bench().goal().is_some() { self.mandrel_turns() - self.zero.1 } else { 0.0 }
    }

    /// One millisecond of the whole bench. Returns the coil that came off.
    ///
    /// # Errors
    /// Whatever the observer cannot do.
    pub fn step(&mut self, hand: Hand, observer: &mut dyn Observer) -> Result<Option<Coil>, Failure> {
        self.hand = hand;
        self.panel_faults.step(self.now_ns, hand.key, &self.lines, self.screen.module());
        self.lines.set(Line::KnobA, matches!(hand.knob_quarters.rem_euclid(4), 2 | 3));
        self.lines.set(Line::KnobB, matches!(hand.knob_quarters.rem_euclid(4), 1 | 2));
        let shaft_turns = match self.job.shaft {
            Shaft::Crank => hand.crank_turns,
            Shaft::Mandrel => self.mandrel_turns(),
        };
        let counts = shaft_turns * 4.0 * f64::from(self.job.pulses_per_rev) + Encoder::START;
        self.encoder.turn_to(counts, self.now_ns);
        self.edges += self.encoder.true_counts().abs_diff(self.last_edges);
        self.last_edges = self.encoder.true_counts();
        self.sample(observer)?;
        self.now_ns += STEP_NS;
        let now = self.now();
        let record = self.app.poll(now, &mut self.panel);
        self.app.save_to(&mut self.store);
        observer.board(&mut self.app, &mut self.store)?;
        if observer.wants_lines() {
            self.show_lines(observer)?;
        }
        self.look_at(now, observer)?;
        Ok(record.map(|record| self.take_off(record)))
    }

    /// Reads the pins at the sampler's rate for one millisecond.
    fn sample(&mut self, observer: &mut dyn Observer) -> Result<(), Failure> {
        if self.late_reader() {
            return Ok(());
        }
        let period_ns = STEP_NS / self.samples;
        let skipping = self.faults_on.has(FaultKind::SkippedSamples);
        let watching = observer.wants_lines();
        // Between two changes of the lines the pins are read all the same, but nothing has to move.
        let mut still_until_ns = 0;
        for sample in 1..=self.samples {
            let at_ns = self.now_ns + sample * period_ns;
            if at_ns >= still_until_ns {
                self.lines.set_encoder(self.wires.level_at(at_ns, &mut self.encoder));
                still_until_ns = self.wires.next_change_ns(&self.encoder);
                if watching {
                    self.show_lines_at(at_ns, observer)?;
                }
            }
            if skipping && self.bench_rng.u8(..) == 0 {
                continue;
            }
            let sampled = self.sampler.sample();
            // Only a whole word has something to say, and the time of its last sample.
            if !matches!(sampled, Ok(None)) {
                self.app.samples(sampled, Instant::from_micros(at_ns / 1_000));
            }
        }
        Ok(())
    }

    /// The sampler stands still now and then, and the board knows it.
    fn late_reader(&mut self) -> bool {
        if !self.faults_on.has(FaultKind::LateReader) {
            return false;
        }
        if self.now_ns < self.blocked_until_ns {
            // Levels go by unread.
            self.lines.set_encoder(self.wires.level_at(self.now_ns + STEP_NS, &mut self.encoder));
            return true;
        }
        if self.bench_rng.f64() < 1.0 / 60_000.0 {
            self.blocked_until_ns = self.now_ns + self.bench_rng.u64(5..50) * STEP_NS;
            self.app.samples_lost();
        }
        false
    }

    fn show_lines(&mut self, observer: &mut dyn Observer) -> Result<(), Failure> {
        self.show_lines_at(self.now_ns, observer)
    }

    fn show_lines_at(&mut self, at_ns: u64, observer: &mut dyn Observer) -> Result<(), Failure> {
        let levels = self.lines.levels();
        if levels != self.shown_levels {
            self.shown_levels = levels;
            observer.lines(at_ns, levels)?;
        }
        Ok(())
    }

    /// What the counter shows to the person before it.
    pub(crate) fn shown(&self) -> Shown {
        let bench = self.app.bench();
        let (fault, keep_marked) = match bench.state() {
            State::Fault { fault, .. } => (Some(*fault), false),
            State::Verdict { choice } => (None, *choice == turntally_core::bench::Choice::Keep),
            _ => (None, false),
        };
        let target = bench.target_turns().as_f64();
        Shown {
            phase: bench.phase(),
            fault,
            // How far it is to the target only the screen says.
            to_go: if self.screen.module().is_plugged() {
                target - bench.turns().as_f64()
            } else {
                f64::INFINITY
            },
            target,
            on_mandrel: self.turns_on_mandrel(),
            keep_marked,
            too_long: bench.pieces() > 1,
        }
    }

    /// Notes what the test wants to know: zeros, first rests, faults; and draws the screen.
    fn look_at(&mut self, now: Instant, observer: &mut dyn Observer) -> Result<(), Failure> {
        let phase = self.app.bench().phase();
        if phase != self.phase {
            if self.phase == Phase::Ready && phase != Phase::Choose && phase != Phase::Next {
                self.zero = (self.encoder.true_counts(), self.mandrel_turns());
                self.stopped_at = None;
            }
            if let State::Fault { fault, .. } = self.app.bench().state() {
                self.note(*fault);
            }
            self.phase = phase;
        }
        if self.stopped_at.is_none() && matches!(phase, Phase::Stop | Phase::Over) && self.hand.is_still {
            self.stopped_at = Some(self.mandrel_turns() - self.zero.1);
        }
        if self.screen.update(now, &mut self.app)? {
            observer.screen(now, phase, &self.screen.module().picture())?;
        }
        Ok(())
    }

    fn note(&mut self, fault: Fault) {
        if !self.faults.contains(&fault) {
            self.faults.push(fault);
        }
    }

    /// The coil comes off: it springs open and, if it was kept, is sawn.
    fn take_off(&mut self, record: CoilRecord) -> Coil {
        record.faults.iter().for_each(|fault| self.note(fault));
        let true_counts = self.encoder.true_counts() - self.zero.0;
        let per_turn = self.job.rule.per_turn();
        let wound = self.mandrel_turns() - self.zero.1;
        let counted = record.turns.as_f64();
        let released = record.kept.then(|| self.release(wound));
        Coil {
            stopped_at_turns: self.stopped_at.unwrap_or(counted),
            true_counts,
            true_turns: per_turn.turns(true_counts).unwrap_or_default().as_f64(),
            rings_cut: released.map_or(0, |coil| {
                (0..coil.pieces).map(|_| coil.rings_of_a_piece(self.bench_rng.f64())).sum()
            }),
            released,
            record,
        }
    }

    /// Releases `wound` turns of this lot of wire and snips the lead-in.
    fn release(&mut self, wound: f64) -> Released {
        let spring = self.job.winding.spring();
        // Coils of one lot differ by a little, within what is known of the metal.
        let own = (self.bench_rng.f64() - 0.5) * 0.2 * (spring.high() - spring.low());
        let spring_ratio = (self.lot + own).clamp(spring.low(), spring.high());
        // The lead-in that was planned for is the longest; often less is bent.
        let tail = self.job.tail.as_f64() * (0.6 + 0.4 * self.bench_rng.f64());
        let released = wound * self.job.winding.turns_kept(spring_ratio);
        // Whole, with its lead-in, it is laid into the cradle.
        let along = self.job.coil_max.mm().get() - self.job.winding.wire().mm().get();
        let pieces = (released * self.job.winding.pitch().get() / along).ceil().max(1.0) as u32;
        Released { spring_ratio, turns: released - tail, pieces }
    }
}

/// The job as the counter holds it.
#[must_use]
pub fn counter_job(job: &Job, rings: u32, lead: Lead) -> turntally_core::job::Job {
    let spool = job.spool.as_ref().map(Spool::on_it);
    let made = turntally_core::job::Job::new(job.short_name(), Target::Rings(rings), job.rule);
    turntally_core::job::Job { lead, spool, ..made }
}

impl Outcome {
    /// Rings that the kept coils promise.
    #[must_use]
    pub fn rings_promised(&self) -> u64 {
        self.coils.iter().map(|coil| u64::from(coil.record.rings)).sum()
    }

    /// Rings that the saw gave.
    #[must_use]
    pub fn rings_cut(&self) -> u64 {
        self.coils.iter().map(|coil| u64::from(coil.rings_cut)).sum()
    }

    /// Counts by which the counter was wrong, over all coils.
    #[must_use]
    pub fn lost_counts(&self) -> u64 {
        self.coils.iter().map(|coil| coil.record.counts.abs_diff(coil.true_counts)).sum()
    }

    /// Impossible steps that the decoder saw within coils.
    #[must_use]
    pub fn illegal(&self) -> u64 {
        self.coils.iter().map(|coil| coil.record.illegal).sum()
    }
}

/// Counts that may be wrong, where that is known.
#[must_use]
pub const fn doubt_counts(error_bound: ErrorBound) -> Option<u64> {
    match error_bound {
        ErrorBound::Within(counts) => Some(counts),
        ErrorBound::Unknown => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::job::DEMO;
    use turntally_core::cue::DEFAULT_LEAD;

    /// Over a whole batch the screen shows, every millisecond, the picture that the counter drew.
    #[test]
    fn the_screen_shows_what_was_drawn() -> Result<(), Failure> {
        let job = Job::parse(DEMO)?;
        let setup = Setup {
            seed: 1,
            profile: crate::simulation::operator::PROFILES[0],
            faults: FaultSet::default(),
            wiring: Wiring::default(),
            lead: Lead::Learned(DEFAULT_LEAD),
        };
        let mut run = Run::new(&job, setup, job.rings_to_make()?)?;
        while !run.is_over() {
            run.step(&mut NoObserver)?;
            assert!(
                run.simulated_bench.screen.module().picture() == *run.simulated_bench.app.frame(),
                "at {} ns",
                run.simulated_bench.now_ns
            );
        }
        assert_eq!(run.simulated_bench.app.bench().phase(), Phase::Done);
        Ok(())
    }
}
