//! The bench behind the window: a job on the stand, the hand on it, and its time.

use std::collections::VecDeque;
use std::time::Duration;

use turntally_core::counter::Shaft;
use turntally_core::cue::DEFAULT_LEAD;
use turntally_core::input::Key;
use turntally_core::job::Lead;
use web_time::Instant;

use crate::failure::Failure;
use crate::job::Job;
use crate::simulation::faults::FaultSet;
use crate::simulation::operator::{Operator, OperatorProfile};
use crate::simulation::run::{Coil, Hand, NoObserver, Observer, SimulatedBench};

/// The quickest that a hand cranks, in turns a millisecond: what the board's sampler is chosen for.
const QUICKEST: f64 = 3e-3;
/// Share of the last of it that the hand turns in a millisecond: it comes to rest within 100 ms.
const FOLLOWS: f64 = 0.015;
/// How much quicker or slower it gets in a millisecond, in turns a millisecond: 10 rev/s², a tenth of
/// what the counter takes for possible (`HAND_LIMIT_REV_PER_S2`).
const GETS_QUICKER: f64 = 1e-5;
/// What is nearer than this, in turns, is reached: a fraction of a count.
const REACHED: f64 = 1e-4;
/// A hand that has not moved for so many milliseconds lies still.
const STILL_AFTER: u32 = 100;
/// How long a key is held, and let go before the next press, in milliseconds: past any debouncing.
const PRESS_MS: u32 = 60;
/// How much of the two lines is remembered, in milliseconds and in changes.
pub const TRACE_MS: u64 = 600;
const TRACE_CHANGES: usize = 8_192;

/// What the lines A and B have done of late.
#[derive(Debug, Default)]
pub struct Trace {
    /// Times in nanoseconds and the level from then on: A in bit 0, B in bit 1.
    changes: VecDeque<(u64, u32)>,
}

impl Trace {
    /// Every change that is remembered, oldest first.
    pub fn changes(&self) -> impl DoubleEndedIterator<Item = (u64, u32)> + '_ {
        self.changes.iter().copied()
    }
}

impl Observer for Trace {
    fn wants_lines(&self) -> bool {
        true
    }

    fn lines(&mut self, at_ns: u64, levels: u32) -> Result<(), Failure> {
        let level = levels & 0b11;
        if self.changes.back().is_none_or(|(_, last)| *last != level) {
            if self.changes.len() == TRACE_CHANGES {
                self.changes.pop_front();
            }
            self.changes.push_back((at_ns, level));
        }
        Ok(())
    }
}

/// Somebody who winds in the user's stead.
#[derive(Debug)]
struct Helper {
    operator: Operator,
    /// Where the crank stood when they took it.
    from: f64,
}

/// A job on the stand.
#[derive(Debug)]
pub struct Session {
    job: Job,
    /// Of the job, as the counter has it.
    fingerprint: u32,
    simulated_bench: SimulatedBench,
    hand: Hand,
    /// Crank turns that the hand is yet to make.
    to_turn: f64,
    /// Its speed, in turns a millisecond.
    speed: f64,
    still_for: u32,
    helper: Option<Helper>,
    keys: VecDeque<Key>,
    /// Milliseconds into the press of the first of them.
    pressing: u32,
    knob_to: i32,
    trace: Trace,
    /// Milliseconds that are due and not yet lived through.
    due: f64,
    /// A note that began and ended since the last frame.
    brief: Option<u16>,
}

impl Session {
    /// Puts a job on the stand. The same seed gives the same bench.
    ///
    /// # Errors
    /// What is wrong with the job for the counter.
    pub fn new(job: Job, faults: FaultSet, seed: u64) -> Result<Self, Failure> {
        let rings = job.rings_to_make()?;
        let simulated_bench = SimulatedBench::new(&job, faults, Lead::Learned(DEFAULT_LEAD), rings, seed)?;
        Ok(Self {
            job,
            fingerprint: simulated_bench.bench().jobs().fingerprint(),
            simulated_bench,
            hand: Hand { is_still: true, ..Hand::default() },
            to_turn: 0.0,
            speed: 0.0,
            still_for: STILL_AFTER,
            helper: None,
            keys: VecDeque::new(),
            pressing: 0,
            knob_to: 0,
            trace: Trace::default(),
            due: 0.0,
            brief: None,
        })
    }

    /// The job.
    #[must_use]
    pub const fn job(&self) -> &Job {
        &self.job
    }

    /// The counter winds this job, and not one that was set up at it.
    #[must_use]
    pub fn winds_its_job(&self) -> bool {
        self.simulated_bench.bench().jobs().fingerprint() == self.fingerprint
    }

    /// The bench, to look at.
    #[must_use]
    pub const fn simulated_bench(&self) -> &SimulatedBench {
        &self.simulated_bench
    }

    /// What the lines A and B have done of late.
    #[must_use]
    pub const fn trace(&self) -> &Trace {
        &self.trace
    }

    /// The note of the sounder, in hertz: what sounds now; where nothing does, a note that began and ended within the
    /// time of the last frame, so that a slow frame does not swallow a beat.
    #[must_use]
    pub fn hertz(&self) -> Option<u16> {
        self.simulated_bench.lines().hertz().or(self.brief)
    }

    /// Where the crank stands, in turns since the start.
    #[must_use]
    pub const fn crank_turns(&self) -> f64 {
        self.hand.crank_turns
    }

    /// The hand has more to turn, or a key or the knob is not done yet.
    #[must_use]
    pub fn is_busy(&self) -> bool {
        self.to_turn != 0.0 || !self.keys.is_empty() || self.knob_to != self.hand.knob_quarters
    }

    /// The key that is held down.
    #[must_use]
    pub const fn key(&self) -> Option<Key> {
        self.hand.key
    }

    /// Where the knob stands, in clicks.
    #[must_use]
    pub const fn knob_clicks(&self) -> i32 {
        self.hand.knob_quarters.div_euclid(4)
    }

    /// Turns the crank by so many turns, as quickly as a hand can. Whoever was at it lets go.
    pub fn crank(&mut self, turns: f64) {
        self.helper = None;
        // A hand that is asked for more than it can do in a while does that much.
        self.to_turn = (self.to_turn + turns).clamp(-1_000.0, 1_000.0);
    }

    /// Presses a key for a moment, after those pressed before.
    pub fn press(&mut self, key: Key) {
        if self.keys.len() < 8 {
            self.keys.push_back(key);
        }
    }

    /// Turns the knob by clicks, clockwise positive.
    pub fn turn_knob(&mut self, clicks: i32) {
        self.knob_to = self.knob_to.saturating_add(clicks.clamp(-100, 100) * 4);
    }

    /// Lets an operator wind in the user's stead, or takes the crank back.
    pub fn let_wind(&mut self, profile: Option<OperatorProfile>, seed: u64) {
        (self.to_turn, self.speed) = (0.0, 0.0);
        self.helper = profile.map(|profile| Helper {
            operator: Operator::new(profile, fastrand::Rng::with_seed(seed)),
            from: self.hand.crank_turns,
        });
    }

    /// Somebody winds in the user's stead.
    #[must_use]
    pub const fn is_helped(&self) -> bool {
        self.helper.is_some()
    }

    /// Whoever winds in the user's stead has given up.
    #[must_use]
    pub fn gave_up(&self) -> bool {
        self.helper.as_ref().is_some_and(|helper| helper.operator.gave_up())
    }

    /// Switches faults on and off.
    pub fn set_faults(&mut self, faults: FaultSet) {
        self.simulated_bench.set_faults(faults);
    }

    /// Lives through `ms` milliseconds of the bench, or as many as fit into `at_most` of real time: the
    /// rest is let go. Returns the coils that came off.
    ///
    /// # Errors
    /// Never for now: no observer that could fail looks on.
    pub fn advance(&mut self, ms: f64, at_most: Duration) -> Result<Vec<Coil>, Failure> {
        let mut coils = Vec::new();
        self.due += ms.max(0.0);
        let began = Instant::now();
        let mut was_silent = self.simulated_bench.lines().hertz().is_none();
        self.brief = None;
        while self.due >= 1.0 {
            // Only the last of it can still be seen.
            let watched = self.due < TRACE_MS as f64 + 1.0;
            self.due -= 1.0;
            coils.extend(self.step(watched)?);
            let note = self.simulated_bench.lines().hertz();
            if was_silent {
                self.brief = note.or(self.brief);
            }
            was_silent = note.is_none();
            // The clock costs more than a simulated millisecond.
            if (self.due as u64).is_multiple_of(128) && began.elapsed() > at_most {
                self.due = 0.0;
            }
        }
        Ok(coils)
    }

    fn step(&mut self, watched: bool) -> Result<Option<Coil>, Failure> {
        self.press_keys();
        let knob = self.knob_to - self.hand.knob_quarters;
        self.hand.knob_quarters += knob.signum();
        match &mut self.helper {
            Some(helper) => {
                let seconds = self.simulated_bench.now().as_micros() as f64 / 1e6;
                helper.operator.step(seconds, self.simulated_bench.shown());
                self.hand.crank_turns = helper.from + helper.operator.angle();
                self.hand.is_still = helper.operator.is_still();
                self.hand.key = self.hand.key.or(helper.operator.key(seconds));
            }
            None => self.turn(),
        }
        if watched {
            self.simulated_bench.step(self.hand, &mut self.trace)
        } else {
            self.simulated_bench.step(self.hand, &mut NoObserver)
        }
    }

    /// The hand follows what it is asked for, no more abruptly than a hand can.
    fn turn(&mut self) {
        // A geared encoder on the mandrel sees the hand that much larger.
        let geared = match self.job.shaft {
            Shaft::Crank => 1.0,
            Shaft::Mandrel => self.job.gear.ratio().max(1.0),
        };
        let most = GETS_QUICKER / geared;
        let left = self.to_turn.abs();
        // No quicker than it can stop again where it should.
        let wanted = (left * FOLLOWS).min((1.6 * most * left).sqrt()).min(QUICKEST / geared);
        let wanted = wanted.copysign(self.to_turn);
        self.speed += (wanted - self.speed).clamp(-most, most);
        let mut step = self.speed;
        if self.to_turn.abs() < REACHED && step.abs() < REACHED {
            step = self.to_turn;
            self.speed = 0.0;
        }
        self.to_turn -= step;
        self.hand.crank_turns += step;
        self.still_for = if step == 0.0 { self.still_for.saturating_add(1) } else { 0 };
        self.hand.is_still = self.still_for >= STILL_AFTER;
    }

    fn press_keys(&mut self) {
        self.hand.key = self.keys.front().copied().filter(|_| self.pressing < PRESS_MS);
        if !self.keys.is_empty() {
            self.pressing += 1;
            if self.pressing >= 2 * PRESS_MS {
                self.pressing = 0;
                self.keys.pop_front();
            }
        }
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test that cannot go on should stop")]
    use super::*;
    use crate::job::DEMO;
    use turntally_core::bench::Phase;

    /// However abruptly it is asked to turn round, the hand does so as a hand: the counter takes it for
    /// one, and every turn is counted; whatever the gear, and wherever the encoder sits.
    #[test]
    fn the_hand_turns_round_like_a_hand() {
        for (encoder_on, gear) in
            [("crank", "1:1"), ("mandrel", "48:16"), ("crank", "48:16"), ("mandrel", "8:1")]
        {
            let text = DEMO.replace("\"crank\"", &format!("\"{encoder_on}\"")).replace("1:1", gear);
            let mut session = Session::new(Job::parse(&text).unwrap(), FaultSet::default(), 1).unwrap();
            for _ in 0..2 {
                session.press(Key::Yes);
                session.advance(300.0, Duration::MAX).unwrap();
            }
            let mut asked = 0.0;
            for turns in [3.0, -1.0, 1.0, -2.0, 0.1, -0.1, 2.5] {
                asked += turns;
                session.crank(turns);
                session.advance(700.0, Duration::MAX).unwrap();
            }
            session.advance(30_000.0, Duration::MAX).unwrap();
            let bench = session.simulated_bench().bench();
            assert!(!matches!(bench.phase(), Phase::Fault), "{encoder_on} {gear}: {:?}", bench.state());
            let counted = bench.turns().as_f64() / session.job().gear.ratio();
            assert!((counted - asked).abs() < 2.0 / 1_600.0, "{encoder_on} {gear}: {counted} of {asked}");
            assert!(!session.is_busy());
        }
    }

    /// A beat of 40 ms that falls between two slow frames is heard all the same: the same bench once with a frame each
    /// millisecond and once with eight a second.
    #[test]
    fn slow_frames_swallow_no_beat() {
        const FRAME_MS: u32 = 120;
        let new = || Session::new(Job::parse(DEMO).unwrap(), FaultSet::default(), 1).unwrap();
        let (mut quick, mut slow) = (new(), new());
        let mut began = 0;
        for frame in 0..300 {
            for session in [&mut quick, &mut slow] {
                match frame {
                    0 | 10 => session.press(Key::Yes),
                    20 => session.crank(60.0),
                    _ => {}
                }
            }
            let mut begins = false;
            for _ in 0..FRAME_MS {
                let silent = quick.hertz().is_none();
                quick.advance(1.0, Duration::MAX).unwrap();
                begins |= silent && quick.hertz().is_some();
            }
            slow.advance(FRAME_MS.into(), Duration::MAX).unwrap();
            if begins {
                began += 1;
                assert!(slow.hertz().is_some(), "frame {frame}");
            }
        }
        assert!(began >= 5, "{began} frames in which a note began");
    }
}
