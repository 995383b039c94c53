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
//! | Choose | MeasureRing | Yes on *Measure a ring* |
//! | SetUp | Choose | No on a list; or what was set is taken |
//! | CountRings | Choose | No, or Yes after the rejects |
//! | MeasureRing | Choose | No, or Yes on the value; a second Yes where it is odd |
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
//! what must be stored is returned once, as a [`CoilRecord`].

#[cfg(feature = "serde")]
use serde::{Deserialize, Serialize};

use crate::counter::TurnCounter;
use crate::cue::{Cue, Goal, StopCue};
use crate::input::{Event, Input, Key};
use crate::job::Job;
use crate::job_list::{JobList, TooManyJobs};
use crate::settings::{Loudness, Settings};
use crate::setup::{List, SetUp};
use crate::signal::Channel;
use crate::time::{Duration, Instant};
use crate::units::{Length, Turns};

mod fault;
pub mod log;
mod measured_ring;
mod offered;
mod outputs;
mod own;
mod ring_count;
pub mod snapshot;

pub use fault::{ErrorBound, Fault, Faults};
pub use measured_ring::RingEntry;
pub use outputs::{Lamp, Outputs, Sound};
pub use ring_count::RingCountEntry;

use log::{MeasuredRing, RingCount};

/// A page that comes up by itself takes no key for so long: one that goes down then was meant for the page
/// before. Our own bound: no one reads and answers in that time.
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
    /// To enter the inside diameter of one of its rings.
    MeasureRing,
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
    /// A ring has been sawn: its inside diameter is entered.
    MeasureRing(RingEntry),
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
    /// Winding, far from the target.
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
    /// Entering the inside diameter of a ring that was sawn.
    MeasureRing,
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
    steps_reported: bool,
}

/// The counter: a pure function of its events.
#[derive(Debug, Clone)]
pub struct Bench {
    jobs: JobList,
    state: State,
    counter: Option<TurnCounter>,
    coil: Option<Coil>,
    now: Instant,
    /// A channel is dead as far as is known.
    dead: Option<Channel>,
    settings: Settings,
    /// Rings that were entered and have not been fetched.
    entry: Option<RingCount>,
    /// A ring that was measured and has not been fetched.
    ring: Option<MeasuredRing>,
    /// When the page of a fault came up.
    fault_at: Instant,
    /// When the knob last made the sound louder or softer.
    loudness_at: Option<Instant>,
    /// See [`Bench::revision`].
    revision: u32,
}

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
            jobs: JobList::new(),
            state: State::Choose { pick: Pick::SetUpBatch },
            counter: None,
            coil: None,
            now: Instant::ZERO,
            dead: None,
            settings: Settings::default(),
            entry: None,
            ring: None,
            fault_at: Instant::ZERO,
            loudness_at: None,
            revision: 0,
        }
    }

    /// A number that is another one whenever something may have changed that time alone does not change: settings, jobs,
    /// batches, the count. Where it is the same, none of these needs to be compared.
    #[must_use]
    pub const fn revision(&self) -> u32 {
        self.revision
    }

    const fn revise(&mut self) {
        self.revision = self.revision.wrapping_add(1);
    }

    /// Adds a job to choose from.
    ///
    /// # Errors
    /// [`TooManyJobs`] where [`MAX_JOBS`](crate::job_list::MAX_JOBS) are held already.
    pub fn add_job(&mut self, job: Job) -> Result<(), TooManyJobs> {
        self.revise();
        self.jobs.add(job)?;
        if matches!(self.state, State::Choose { .. }) {
            self.enter_choose();
        }
        Ok(())
    }

    /// Takes one event and returns the record of a coil that came off with it.
    pub fn handle(&mut self, event: Event) -> Option<CoilRecord> {
        // A clock that steps back is no reason to stop counting: time then stands.
        self.now = self.now.max(event.at);
        if event.input != Input::Tick {
            self.revise();
        }
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
            Input::KnobRest(turn) => {
                if let State::SetUp(set_up) = &mut self.state {
                    set_up.knob_rests(turn);
                }
                None
            }
        };
        self.refresh_cue();
        record
    }

    // Cold: it is not to stand among the code of each millisecond.
    #[inline(never)]
    fn key(&mut self, key: Key) -> Option<CoilRecord> {
        match (&self.state, key) {
            // It was meant for what was shown before.
            (State::Fault { .. }, _) if self.now.since(self.fault_at) < READ_FIRST => {}
            (State::Choose { pick: Pick::Job }, Key::Yes) => self.enter_ready(),
            (State::Choose { pick: Pick::CountRings }, Key::Yes) => self.enter_ring_count(),
            (State::Choose { pick: Pick::MeasureRing }, Key::Yes) => self.enter_measured_ring(),
            (State::Choose { pick: Pick::SetUpBatch }, Key::Yes) => self.enter_set_up(List::Batch),
            (State::Choose { pick: Pick::SetUpCounter }, Key::Yes) => self.enter_set_up(List::Counter),
            (State::Choose { .. }, Key::No) => {}
            (State::SetUp(_), _) => self.set_up_key(key),
            (State::CountRings(_), _) => self.ring_count_key(key),
            (State::MeasureRing(_), _) => self.measured_ring_key(key),
            (State::Ready, Key::Yes) => self.start_coil(),
            (State::Ready, Key::No) if self.jobs.progress().kept > 0 => self.state = State::Next,
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
                if let Some(entry) = self.jobs.entry_mut() {
                    entry.close();
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
                    self.jobs.choose(job);
                    self.state = State::Choose { pick };
                }
            }
            State::SetUp(set_up) => set_up.knob(clicks, self.now),
            State::CountRings(entry) => entry.turn(clicks),
            State::MeasureRing(entry) => entry.turn(clicks, self.now),
            State::Verdict { choice } => *choice = choice.turned(clicks),
            State::Ready | State::Winding { .. } | State::Paused => {
                let loudness = &mut self.settings.build.loudness;
                *loudness = loudness.louder(clicks);
                self.loudness_at = Some(self.now);
            }
            _ => {}
        }
    }

    /// When the fault came up that is shown now, if one is. No key answers it within [`READ_FIRST`]; whoever knows
    /// when its page could first be seen waits from then on.
    #[must_use]
    pub fn fault_since(&self) -> Option<Instant> {
        matches!(self.state, State::Fault { .. }).then_some(self.fault_at)
    }

    /// Which of the things to choose from this is, counted from zero, and how many there are.
    #[must_use]
    pub fn picked(&self, pick: Pick) -> (usize, usize) {
        let (mut at, mut of) = (0, 0);
        while let Some(other) = self.pick_at(of) {
            if other == (self.jobs.chosen(), pick) {
                at = of;
            }
            of += 1;
        }
        (at, of)
    }

    /// What can be chosen there, and the job that is chosen then: each job, behind it its coils to be counted and
    /// a ring of them to be measured, and the set-up last.
    fn pick_at(&self, mut place: usize) -> Option<(usize, Pick)> {
        for (job, sawn) in self.jobs.sawn().enumerate() {
            let picks = [(Pick::Job, true), (Pick::CountRings, sawn.to_count), (Pick::MeasureRing, sawn.any)];
            for (pick, _) in picks.into_iter().filter(|&(_, offered)| offered) {
                if place == 0 {
                    return Some((job, pick));
                }
                place -= 1;
            }
        }
        let set_up = [Pick::SetUpBatch, Pick::SetUpCounter];
        set_up.get(place).map(|&pick| (self.jobs.chosen(), pick))
    }

    fn enter_choose(&mut self) {
        let pick = if self.jobs.is_empty() { Pick::SetUpBatch } else { Pick::Job };
        self.state = State::Choose { pick };
    }

    fn enter_ready(&mut self) {
        let Some(entry) = self.jobs.entry() else { return };
        // A finished batch can be left without its last key, by a fault: it is still finished, and
        // must not be asked for a coil of no rings.
        self.state = if entry.is_done() { State::Done } else { State::Ready };
    }

    /// Zero: the coil begins here.
    fn start_coil(&mut self) {
        let Some(entry) = self.jobs.entry() else { return };
        let rule = &entry.job.rule;
        let goal = Goal {
            target: entry.next_counts(),
            limit: rule.limit_counts(),
            turn: rule.per_turn().counts_in_part(1),
        };
        let lead = entry.lead();
        self.counter = Some(TurnCounter::new(rule.per_turn(), entry.direction()));
        let error_bound = if self.dead.is_some() { ErrorBound::Unknown } else { ErrorBound::Within(0) };
        self.coil = Some(Coil {
            cue: StopCue::new(goal, lead),
            began: self.now,
            error_bound,
            illegal: 0,
            faults: Faults::default(),
            judged_from: 0,
            furthest: 0,
            steps_reported: false,
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
        let job = u8::try_from(self.jobs.chosen()).unwrap_or(u8::MAX);
        let entry = self.jobs.entry_mut()?;
        if let Some(measured) = coil.cue.stop_time() {
            entry.learn(measured);
        }
        let turns = counter.turns();
        let wire = entry.job.rule.coil().wire_used(turns);
        entry.count(kept, rings, wire);
        self.state = if !kept {
            State::Ready
        } else if entry.is_done() {
            State::Done
        } else {
            State::Next
        };
        let target = coil.cue.goal().target;
        Some(CoilRecord {
            job,
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
        if let (true, Some(entry)) = (turned, self.jobs.entry_mut()) {
            entry.set_direction(entry.direction().flipped());
        }
        if let (true, Some(coil)) = (turned, &mut self.coil) {
            // The count leaps, the crank does not: the leap would be taken for a speed, and stop signalled for it.
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
            let updated = coil.cue.update(self.now, counts);
            if let State::Winding { cue } = &mut self.state {
                *cue = updated;
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
            State::MeasureRing(_) => Phase::MeasureRing,
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

    /// The jobs to choose from, and what has been made of each.
    #[must_use]
    pub const fn jobs(&self) -> &JobList {
        &self.jobs
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
            _ => self.jobs.next_turns(),
        }
    }

    /// Pieces into which the coil on the mandrel has to be cut so that each fits the cradle; one where it fits
    /// whole, and where there is none. Where its length is not known, the count alone is taken.
    #[must_use]
    pub fn pieces(&self) -> u32 {
        match (&self.coil, self.jobs.job()) {
            (Some(coil), Some(job)) => {
                let error_bound =
                    if let ErrorBound::Within(error_bound) = coil.error_bound { error_bound } else { 0 };
                job.rule.pieces(self.counts(), error_bound)
            }
            _ => 1,
        }
    }

    /// Rings that the coil on the mandrel already makes certain: of a coil too long for the cradle, what its
    /// [pieces](Self::pieces) surely give.
    #[must_use]
    pub fn rings_now(&self) -> u32 {
        match (&self.coil, self.jobs.job()) {
            (Some(Coil { error_bound: ErrorBound::Within(error_bound), .. }), Some(job)) => {
                job.rule.guaranteed_rings(self.counts(), *error_bound)
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
