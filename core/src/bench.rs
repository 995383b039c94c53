//! The bench: the counter's state machine. Events in, outputs out, no clock of its own.
//!
//! Near, Stop and Over are Winding with what the cue says. Each arrow is tested to be there, and no other.
//!
//! | from | to | by |
//! | --- | --- | --- |
//! | Choose | Ready | Yes on a job |
//! | Choose | Done | Yes on a job that is finished |
//! | Choose | SetUp | Yes on *Set up* |
//! | Choose | CountRings | Yes on *Count rings* |
//! | SetUp | Choose | No on a list; or what was set is taken |
//! | CountRings | Choose | No, or Yes after the rejects |
//! | Ready | Winding | Yes: the count is zero |
//! | Ready | Choose | No before the first coil |
//! | Ready | Next | No before another coil |
//! | Winding | Paused | No |
//! | Winding | Verdict | Yes |
//! | Paused | Winding | Yes |
//! | Paused | Verdict | No |
//! | Verdict | Winding | No, or Yes on *Wind on* |
//! | Verdict | Ready | Yes on *Throw it away* |
//! | Verdict | Next | Yes on *Keep* |
//! | Verdict | Done | Yes on *Keep*, and all is made |
//! | Next | Ready | Yes |
//! | Next | Choose | No |
//! | Done | Choose | either key |
//! | Winding | Fault | the signal or the count is wrong |
//! | Paused | Fault | the same |
//! | Verdict | Fault | the same |
//! | Choose | Fault | a channel is dead; or a coil goes on after a power cut |
//! | Ready | Fault | a channel is dead |
//! | Next | Fault | a channel is dead |
//! | Done | Fault | a channel is dead |
//! | Fault | Winding | Yes: on, with the error bound |
//! | Fault | Ready | No: the coil is thrown away |
//! | Fault | Choose | either key, with no coil begun |
//!
//! Two keys and a knob: **Yes** goes on, **No** goes back, the knob chooses; while wire is caught or wound it makes the
//! sound louder or softer, down to off. Counting never stops:
//! pausing silences the cue and nothing else, so whatever is wound on or back is counted.
//!
//! The outputs are levels that follow from the state (sound, lamp, stop line), so none can be lost;
//! what must be kept is handed out once, as a [`CoilRecord`].

use heapless::Vec;
#[cfg(feature = "serde")]
use serde::{Deserialize, Serialize};

use crate::counter::{Direction, TurnCounter};
use crate::cue::{Cue, Goal, StopCue};
use crate::input::{Event, Input, Key};
use crate::job::{Job, Lead, Progress};
use crate::settings::{Loudness, Settings};
use crate::setup::{List, SetUp};
use crate::signal::Channel;
use crate::time::{Duration, Instant};
use crate::units::{Length, Turns};

mod fault;
pub mod log;
mod offered;
mod outputs;
mod own;
mod ring_count;
pub mod snapshot;

pub use fault::{ErrorBound, Fault, Faults};
pub use outputs::{Lamp, Outputs, Sound};
pub use ring_count::{RingCountEntry, UncountedCoils};

use log::RingCount;

/// Jobs that the counter can hold to choose from.
pub const MAX_JOBS: usize = 8;
/// A page that comes up by itself takes no key for so long: one that goes down then was meant for the page
/// before. Our own bound: nobody reads and answers in that time.
pub const READ_FIRST: Duration = Duration::from_millis(700);
/// For so long it is shown how loud the sounder is now. Our own choice.
const LOUDNESS_SHOWN: Duration = Duration::from_millis(1_500);
/// What to do with a coil.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Choice {
    /// Snip it off and saw it: its rings count.
    Keep,
    /// Throw it away: wind this one again.
    Scrap,
    /// It is not finished: wind on.
    WindOn,
}

impl Choice {
    const ALL: [Self; 3] = [Self::Keep, Self::Scrap, Self::WindOn];

    fn turned(self, clicks: i8) -> Self {
        let at = Self::ALL.iter().position(|&choice| choice == self).unwrap_or(0) as i16;
        let to = (at + i16::from(clicks)).clamp(0, 2);
        Self::ALL[usize::try_from(to).unwrap_or(0)]
    }
}

/// What can be picked at the beginning.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Pick {
    /// The chosen job.
    #[default]
    Job,
    /// To count the rings of its coils that have been sawn.
    CountRings,
    /// To set up a batch.
    SetUpBatch,
    /// To set up the counter.
    SetUpCounter,
}

/// Where the counter is.
#[derive(Debug, Clone)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[allow(clippy::large_enum_variant, reason = "there is one, and nothing to put a part of it on")]
pub enum State {
    /// Picking a job, or what to set up.
    Choose {
        /// What is marked.
        pick: Pick,
    },
    /// Setting up.
    SetUp(SetUp),
    /// Coils have been sawn: their rings are entered.
    CountRings(RingCountEntry),
    /// The wire is to be caught and its slack taken up; then the count starts at zero.
    Ready,
    /// Winding: the cue says how.
    Winding {
        /// What it says now.
        cue: Cue,
    },
    /// Counting on, with the cue silent.
    Paused,
    /// The coil is wound: keep it, throw it away or wind on.
    Verdict {
        /// What is marked.
        choice: Choice,
    },
    /// A coil was kept and more are to come.
    Next,
    /// All rings of the batch are made.
    Done,
    /// Something is wrong with the count.
    Fault {
        /// What.
        fault: Fault,
        /// A coil was being wound when it came.
        in_coil: bool,
    },
}

/// The states by name, without what they carry: for the lamp, the sound, a log.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
#[cfg_attr(feature = "serde", derive(Serialize, Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Phase {
    /// Picking a job.
    Choose,
    /// Setting up.
    SetUp,
    /// Entering the rings of coils that were sawn.
    CountRings,
    /// Catching the wire.
    Ready,
    /// Winding, nothing to be said.
    Winding,
    /// The target comes.
    Near,
    /// Stop now, or stopped on the target.
    Stop,
    /// Too far.
    Over,
    /// Paused.
    Paused,
    /// Deciding on the coil.
    Verdict,
    /// Between two coils.
    Next,
    /// Batch done.
    Done,
    /// Count uncertain.
    Fault,
}

/// One coil that came off, kept or not.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct CoilRecord {
    /// Which job of the list.
    pub job: u8,
    /// Counts at the target it was wound for.
    pub target_counts: i64,
    /// Turns at the target.
    pub target_turns: Turns,
    /// Counts when it came off.
    pub counts: i64,
    /// Turns when it came off.
    pub turns: Turns,
    /// Rings that it promises; none if it was thrown away.
    pub rings: u32,
    /// It was kept.
    pub kept: bool,
    /// Wire that it took.
    pub wire: Length,
    /// How far its count can be trusted.
    pub error_bound: ErrorBound,
    /// Impossible steps seen on it.
    pub illegal: u64,
    /// What was wrong.
    pub faults: Faults,
    /// How long the hand took to stop, if it was measured.
    pub stop_time: Option<Duration>,
    /// From its zero until it came off; from the last start of the counter, where that was in between.
    pub crank_time: Duration,
}

/// The coil on the mandrel.
#[derive(Debug, Clone)]
struct Coil {
    cue: StopCue,
    began: Instant,
    error_bound: ErrorBound,
    illegal: u64,
    faults: Faults,
    /// The count from which the direction is judged: zero, or where it was turned round.
    judged_from: i64,
    /// The most counts that it has been wound on from there: from a turn on, backwards is winding back.
    furthest: i64,
    /// The missed steps have been put to the user.
    steps_told: bool,
}

/// A job with what has been made of it.
#[derive(Debug, Clone)]
struct Slot {
    job: Job,
    /// Of the job: it takes a while to work out.
    fingerprint: u32,
    progress: Progress,
    learned: Option<Duration>,
    direction: Direction,
    uncounted: UncountedCoils,
    /// All its rings were made once: what is wound of it since is more of the same.
    finished: bool,
    /// Wire that is left on its spool.
    spool: Option<Length>,
}

impl Slot {
    /// Nothing has been made of it yet.
    fn new(job: Job, fingerprint: u32) -> Self {
        let (direction, spool) = (job.direction, job.spool);
        let (progress, uncounted) = (Progress::default(), UncountedCoils::default());
        Self { job, fingerprint, progress, learned: None, direction, uncounted, finished: false, spool }
    }

    /// It is this batch.
    const fn is(&self, fingerprint: u32, batch: u32) -> bool {
        self.fingerprint == fingerprint && self.job.batch == batch
    }

    /// All its rings are made, or were once.
    const fn is_finished(&self) -> bool {
        self.finished || self.job.is_done(self.progress)
    }

    /// A coil came off.
    fn count(&mut self, kept: bool, rings: u32, wire: Length) {
        self.progress.add(kept, rings);
        if kept {
            self.uncounted.add(self.fingerprint, self.job.batch, rings);
        }
        if let Some(left) = &mut self.spool {
            *left = (*left - wire).max(Length::ZERO);
        }
    }

    /// Wire that the next coil takes.
    fn next_wire(&self) -> Length {
        let turns = self.job.rule.per_turn().turns(self.job.next_counts(self.progress));
        self.job.rule.coil().wire_used(turns.unwrap_or_default())
    }
}

/// The counter: a pure function of its events.
#[derive(Debug, Clone)]
pub struct Bench {
    slots: Vec<Slot, MAX_JOBS>,
    chosen: usize,
    state: State,
    counter: Option<TurnCounter>,
    coil: Option<Coil>,
    now: Instant,
    /// A channel is dead as far as is known.
    dead: Option<Channel>,
    settings: Settings,
    /// Which job of the list is the one that was set up here.
    own: Option<usize>,
    /// Rings that were entered and have not been handed out.
    entry: Option<RingCount>,
    /// When the page of a fault came up.
    fault_at: Instant,
    /// When the knob last made the sound louder or softer.
    loudness_at: Option<Instant>,
}

/// There is no room for another job.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct TooManyJobs;

impl core::fmt::Display for TooManyJobs {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        write!(f, "the counter holds at most {MAX_JOBS} jobs")
    }
}

impl core::error::Error for TooManyJobs {}

impl Default for Bench {
    fn default() -> Self {
        Self::new()
    }
}

impl Bench {
    /// A counter with no job yet.
    #[must_use]
    pub fn new() -> Self {
        Self {
            slots: Vec::new(),
            chosen: 0,
            state: State::Choose { pick: Pick::SetUpBatch },
            counter: None,
            coil: None,
            now: Instant::ZERO,
            dead: None,
            settings: Settings::default(),
            own: None,
            entry: None,
            fault_at: Instant::ZERO,
            loudness_at: None,
        }
    }

    /// Adds a job to choose from.
    ///
    /// # Errors
    /// [`TooManyJobs`] where [`MAX_JOBS`] are held already.
    pub fn add_job(&mut self, job: Job) -> Result<(), TooManyJobs> {
        let fingerprint = job.fingerprint();
        self.slots.push(Slot::new(job, fingerprint)).map_err(|_| TooManyJobs)?;
        if matches!(self.state, State::Choose { .. }) {
            self.enter_choose();
        }
        Ok(())
    }

    /// Takes one event and hands out the record of a coil that came off with it.
    pub fn handle(&mut self, event: Event) -> Option<CoilRecord> {
        // A clock that steps back is no reason to stop counting: time then stands.
        self.now = self.now.max(event.at);
        let record = match event.input {
            Input::Tick => None,
            Input::Encoder(reading) => {
                self.encoder(reading);
                None
            }
            Input::SamplesLost => {
                self.distrust();
                self.raise(Fault::SamplesLost);
                None
            }
            Input::Key(key) => self.key(key),
            Input::Knob(clicks) => {
                self.knob(clicks);
                None
            }
        };
        self.refresh_cue();
        record
    }

    #[inline(never)] // As a part of its caller 72 bytes more.
    fn key(&mut self, key: Key) -> Option<CoilRecord> {
        match (&self.state, key) {
            // It was meant for what was shown before.
            (State::Fault { .. }, _) if self.now.since(self.fault_at) < READ_FIRST => {}
            (State::Choose { pick: Pick::Job }, Key::Yes) => self.enter_ready(),
            (State::Choose { pick: Pick::CountRings }, Key::Yes) => self.enter_ring_count(),
            (State::Choose { pick: Pick::SetUpBatch }, Key::Yes) => self.enter_set_up(List::Batch),
            (State::Choose { pick: Pick::SetUpCounter }, Key::Yes) => self.enter_set_up(List::Counter),
            (State::Choose { .. }, Key::No) => {}
            (State::SetUp(_), _) => self.set_up_key(key),
            (State::CountRings(_), _) => self.ring_count_key(key),
            (State::Ready, Key::Yes) => self.start_coil(),
            (State::Ready, Key::No) if self.progress().kept > 0 => self.state = State::Next,
            (State::Ready, Key::No) => self.enter_choose(),
            (State::Winding { .. }, Key::Yes) | (State::Paused, Key::No) => self.enter_verdict(),
            (State::Winding { .. }, Key::No) => self.state = State::Paused,
            (State::Paused, Key::Yes) | (State::Verdict { .. }, Key::No) => self.wind_on(),
            (State::Verdict { choice }, Key::Yes) => match choice {
                Choice::Keep => return self.finish(true),
                Choice::Scrap => return self.finish(false),
                Choice::WindOn => self.wind_on(),
            },
            (State::Next, Key::Yes) => self.enter_ready(),
            (State::Next, Key::No) => self.enter_choose(),
            (State::Done, _) => {
                if let Some(slot) = self.slots.get_mut(self.chosen) {
                    (slot.progress, slot.finished) = (Progress::default(), true);
                }
                self.enter_choose();
            }
            (State::Fault { fault, in_coil: true }, Key::Yes) => {
                if *fault == Fault::Backwards {
                    self.turn_round();
                }
                self.wind_on();
            }
            (State::Fault { in_coil: true, .. }, Key::No) => return self.finish(false),
            (State::Fault { in_coil: false, .. }, _) => self.enter_choose(),
        }
        None
    }

    fn knob(&mut self, clicks: i8) {
        match &mut self.state {
            State::Choose { pick } => {
                let pick = *pick;
                let (at, of) = self.picked(pick);
                let to = at.saturating_add_signed(isize::from(clicks)).min(of - 1);
                if let Some((job, pick)) = self.pick_at(to) {
                    (self.chosen, self.state) = (job, State::Choose { pick });
                }
            }
            State::SetUp(set_up) => set_up.knob(clicks, self.now),
            State::CountRings(entry) => entry.turn(clicks),
            State::Verdict { choice } => *choice = choice.turned(clicks),
            State::Ready | State::Winding { .. } | State::Paused => {
                let loudness = &mut self.settings.build.loudness;
                *loudness = loudness.louder(clicks);
                self.loudness_at = Some(self.now);
            }
            _ => {}
        }
    }

    /// Which of the things to choose from this is, counted from zero, and how many there are.
    #[must_use]
    pub fn picked(&self, pick: Pick) -> (usize, usize) {
        let (mut at, mut of) = (0, 0);
        while let Some(other) = self.pick_at(of) {
            if other == (self.chosen, pick) {
                at = of;
            }
            of += 1;
        }
        (at, of)
    }

    /// What can be chosen there, and the job that is chosen then: each job, behind it its coils to be counted,
    /// and the set-up last.
    fn pick_at(&self, mut place: usize) -> Option<(usize, Pick)> {
        for (job, slot) in self.slots.iter().enumerate() {
            match (place, slot.uncounted.is_empty()) {
                (0, _) => return Some((job, Pick::Job)),
                (1, false) => return Some((job, Pick::CountRings)),
                (_, counted) => place -= if counted { 1 } else { 2 },
            }
        }
        let set_up = [Pick::SetUpBatch, Pick::SetUpCounter];
        set_up.get(place).map(|&pick| (self.chosen, pick))
    }

    fn enter_choose(&mut self) {
        let pick = if self.slots.is_empty() { Pick::SetUpBatch } else { Pick::Job };
        self.state = State::Choose { pick };
    }

    fn enter_ready(&mut self) {
        let Some(slot) = self.slots.get(self.chosen) else { return };
        // A finished batch can be left without its last key, by a fault: it is still finished, and
        // must not be asked for a coil of no rings.
        self.state = if slot.job.is_done(slot.progress) { State::Done } else { State::Ready };
    }

    /// Zero: the coil begins here.
    fn start_coil(&mut self) {
        let Some(slot) = self.slots.get(self.chosen) else { return };
        let rule = &slot.job.rule;
        let goal = Goal {
            target: slot.job.next_counts(slot.progress),
            limit: rule.limit_counts(),
            turn: rule.per_turn().counts_in_part(1),
        };
        let lead = match slot.job.lead {
            Lead::Set(lead) => lead,
            Lead::Learned(first) => slot.learned.unwrap_or(first),
        };
        self.counter = Some(TurnCounter::new(rule.per_turn(), slot.direction));
        let error_bound = if self.dead.is_some() { ErrorBound::Unknown } else { ErrorBound::Within(0) };
        self.coil = Some(Coil {
            cue: StopCue::new(goal, lead),
            began: self.now,
            error_bound,
            illegal: 0,
            faults: Faults::default(),
            judged_from: 0,
            furthest: 0,
            steps_told: false,
        });
        self.state = State::Winding { cue: Cue::Quiet };
        if let Some(channel) = self.dead {
            self.raise(Fault::Dead(channel));
        }
    }

    fn wind_on(&mut self) {
        self.state = State::Winding { cue: Cue::Quiet };
    }

    fn enter_verdict(&mut self) {
        let reached = self.coil.as_ref().is_some_and(|coil| self.counts() >= coil.cue.goal().aim());
        let fits = self.pieces() == 1;
        let choice = if reached && fits { Choice::Keep } else { Choice::WindOn };
        self.state = State::Verdict { choice };
    }

    /// The coil comes off.
    fn finish(&mut self, kept: bool) -> Option<CoilRecord> {
        let rings = if kept { self.rings_now() } else { 0 };
        let coil = self.coil.take()?;
        let counter = self.counter.take()?;
        let slot = self.slots.get_mut(self.chosen)?;
        if let (Lead::Learned(first), Some(measured)) = (slot.job.lead, coil.cue.stop_time()) {
            // The first coil is held against a guess and counts half; later ones a quarter, so that
            // one odd coil does not spoil the next.
            let (so_far, parts) = slot.learned.map_or((first, 2), |learned| (learned, 4));
            slot.learned = Some(Duration::from_micros(
                ((parts - 1) * so_far.as_micros() + measured.as_micros()) / parts,
            ));
        }
        let turns = counter.turns();
        let wire = slot.job.rule.coil().wire_used(turns);
        slot.count(kept, rings, wire);
        self.state = if !kept {
            State::Ready
        } else if slot.job.is_done(slot.progress) {
            State::Done
        } else {
            State::Next
        };
        let target = coil.cue.goal().target;
        Some(CoilRecord {
            job: u8::try_from(self.chosen).unwrap_or(u8::MAX),
            target_counts: target,
            target_turns: counter.per_turn().turns(target).unwrap_or_default(),
            counts: counter.counts(),
            turns,
            rings,
            kept,
            wire,
            error_bound: coil.error_bound,
            illegal: coil.illegal,
            faults: coil.faults,
            stop_time: coil.cue.stop_time(),
            crank_time: self.now.since(coil.began),
        })
    }

    fn turn_round(&mut self) {
        let turned = self.counter.as_mut().is_some_and(|counter| counter.flip_direction().is_ok());
        if let (true, Some(slot)) = (turned, self.slots.get_mut(self.chosen)) {
            slot.direction = slot.direction.flipped();
        }
        if let (true, Some(coil)) = (turned, &mut self.coil) {
            // The count leaps, the crank does not: the leap would be taken for a speed, and stop said for it.
            coil.cue.forget_motion();
            // It may have been a hand that wound back before it wound on: then the count runs backwards
            // again, and the question is put again.
            coil.judged_from = self.counter.as_ref().map_or(0, TurnCounter::counts);
            coil.furthest = 0;
        }
    }

    fn refresh_cue(&mut self) {
        let counts = self.counts();
        if let Some(coil) = &mut self.coil {
            // The speed is measured in every state, so that the cue is right the moment it is wanted.
            let said = coil.cue.update(self.now, counts);
            if let State::Winding { cue } = &mut self.state {
                *cue = said;
            }
        }
    }

    /// Where the counter is.
    #[must_use]
    pub const fn state(&self) -> &State {
        &self.state
    }

    /// Where the counter is, by name.
    #[must_use]
    pub const fn phase(&self) -> Phase {
        match self.state {
            State::Choose { .. } => Phase::Choose,
            State::SetUp(_) => Phase::SetUp,
            State::CountRings(_) => Phase::CountRings,
            State::Ready => Phase::Ready,
            State::Winding { cue: Cue::Quiet } => Phase::Winding,
            State::Winding { cue: Cue::Near { .. } } => Phase::Near,
            State::Winding { cue: Cue::Stop } => Phase::Stop,
            State::Winding { cue: Cue::Over } => Phase::Over,
            State::Paused => Phase::Paused,
            State::Verdict { .. } => Phase::Verdict,
            State::Next => Phase::Next,
            State::Done => Phase::Done,
            State::Fault { .. } => Phase::Fault,
        }
    }

    /// The jobs to choose from.
    pub fn jobs(&self) -> impl ExactSizeIterator<Item = &Job> {
        self.slots.iter().map(|slot| &slot.job)
    }

    /// The job that is chosen, with its place in the list.
    #[must_use]
    pub fn job(&self) -> Option<(usize, &Job)> {
        self.slots.get(self.chosen).map(|slot| (self.chosen, &slot.job))
    }

    /// What has been made of the chosen job.
    #[must_use]
    pub fn progress(&self) -> Progress {
        self.slots.get(self.chosen).map(|slot| slot.progress).unwrap_or_default()
    }

    /// Which way of the encoder winds on, as far as is known for the chosen job.
    #[must_use]
    pub fn direction(&self) -> Direction {
        self.slots.get(self.chosen).map(|slot| slot.direction).unwrap_or_default()
    }

    /// Coils still to be wound for the chosen job, the one on the mandrel included.
    #[must_use]
    pub fn coils_left(&self) -> u32 {
        self.slots.get(self.chosen).map_or(0, |slot| slot.job.coils_left(slot.progress))
    }

    /// The chosen job's fingerprint, as it is written down with its coils; nought where there is none.
    #[must_use]
    pub fn fingerprint(&self) -> u32 {
        self.slots.get(self.chosen).map_or(0, |slot| slot.fingerprint)
    }

    /// Coils of the chosen job that were kept and whose rings have not been counted yet.
    #[must_use]
    pub fn uncounted(&self) -> UncountedCoils {
        self.slots.get(self.chosen).map(|slot| slot.uncounted).unwrap_or_default()
    }

    /// Wire left on the spool of the chosen job, if that is known: the coil on the mandrel is still on it.
    #[must_use]
    pub fn wire_left(&self) -> Option<Length> {
        self.slots.get(self.chosen)?.spool
    }

    /// Wire that the next coil of the chosen job takes, where the spool has less: what is left, and what it
    /// takes.
    #[must_use]
    pub fn wire_short(&self) -> Option<(Length, Length)> {
        let slot = self.slots.get(self.chosen)?;
        let (left, takes) = (slot.spool?, slot.next_wire());
        (left < takes).then_some((left, takes))
    }

    /// Counts on the mandrel; none where no coil is begun.
    #[must_use]
    pub fn counts(&self) -> i64 {
        self.counter.as_ref().map_or(0, TurnCounter::counts)
    }

    /// Turns on the mandrel; none where no coil is begun.
    #[must_use]
    pub fn turns(&self) -> Turns {
        self.counter.as_ref().map_or(Turns::ZERO, TurnCounter::turns)
    }

    /// Where the coil on the mandrel, or the next one, is to end.
    #[must_use]
    pub fn target_turns(&self) -> Turns {
        match (&self.coil, &self.counter) {
            (Some(coil), Some(counter)) => {
                counter.per_turn().turns(coil.cue.goal().aim()).unwrap_or_default()
            }
            _ => self.slots.get(self.chosen).map_or(Turns::ZERO, |slot| {
                let counts = slot.job.next_counts(slot.progress);
                slot.job.rule.per_turn().turns(counts).unwrap_or_default()
            }),
        }
    }

    /// Pieces into which the coil on the mandrel has to be cut so that each fits the cradle; one where it fits
    /// whole, and where there is none. Where nobody knows how long it is, the count alone is taken.
    #[must_use]
    pub fn pieces(&self) -> u32 {
        match (&self.coil, self.slots.get(self.chosen)) {
            (Some(coil), Some(slot)) => {
                let error_bound =
                    if let ErrorBound::Within(error_bound) = coil.error_bound { error_bound } else { 0 };
                slot.job.rule.pieces(self.counts(), error_bound)
            }
            _ => 1,
        }
    }

    /// Rings that the coil on the mandrel already makes certain: of a coil too long for the cradle, what its
    /// [pieces](Self::pieces) surely give.
    #[must_use]
    pub fn rings_now(&self) -> u32 {
        match (&self.coil, self.slots.get(self.chosen)) {
            (Some(Coil { error_bound: ErrorBound::Within(error_bound), .. }), Some(slot)) => {
                slot.job.rule.guaranteed_rings(self.counts(), *error_bound)
            }
            _ => 0,
        }
    }

    /// How far the count of the coil on the mandrel can be trusted.
    #[must_use]
    pub fn error_bound(&self) -> ErrorBound {
        self.coil.as_ref().map_or(ErrorBound::Within(0), |coil| coil.error_bound)
    }

    /// What is wrong with the count of the coil on the mandrel.
    #[must_use]
    pub fn faults(&self) -> Faults {
        self.coil.as_ref().map_or(Faults::default(), |coil| coil.faults)
    }

    /// The stop cue's goal for the coil on the mandrel.
    #[must_use]
    pub fn goal(&self) -> Option<&Goal> {
        self.coil.as_ref().map(|coil| coil.cue.goal())
    }

    /// Speed of the mandrel for showing, in turns per minute.
    #[must_use]
    pub fn turns_per_minute(&self) -> i32 {
        match (&self.coil, &self.counter) {
            (Some(coil), Some(counter)) => {
                let counts = i64::from(coil.cue.meter().shown()) * 60;
                i32::try_from(counts / counter.per_turn().counts_in_part(1)).unwrap_or(0)
            }
            _ => 0,
        }
    }

    /// How loud the sounder is, where that is to be shown: for a moment after the knob has changed it, and as long
    /// as it is off.
    #[must_use]
    pub fn loudness_shown(&self) -> Option<Loudness> {
        let loudness = self.settings.build.loudness;
        let fresh = self.loudness_at.is_some_and(|at| self.now.since(at) < LOUDNESS_SHOWN);
        (fresh || loudness == Loudness::Off).then_some(loudness)
    }

    /// A channel that is dead as far as is known.
    #[must_use]
    pub const fn dead_channel(&self) -> Option<Channel> {
        self.dead
    }
}
