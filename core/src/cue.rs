//! When to signal stop.
//!
//! A hand needs time: to hear the cue, to understand it, to bring the crank to rest. At one turn a
//! second and 0.4 s that is 0.4 turns. So "stop now" is signalled early, by the speed times a lead time
//! that the user sets or the counter learns, and the hand comes to rest on the target. Slow
//! cranking has little lead; a crank that barely moves has none.

use heapless::Deque;

use crate::time::{Duration, Instant};
use crate::units::floor_div;

/// The lead a counter starts from: hearing a tone takes 0.16 s (simple reaction of young adults to
/// sound, lecture notes and Kosinski's review, from memory), bringing the crank to rest about as long.
pub const DEFAULT_LEAD: Duration = Duration::from_millis(350);
/// The longest lead that is taken: longer is no reaction. Our own limit.
pub const MAX_LEAD: Duration = Duration::from_millis(2_000);

/// The crank rests when it has not moved for this long.
pub const REST: Duration = Duration::from_millis(400);

/// The most that a hand speeds a crank up by, in turns a second in a second. Our own limit.
const ACCELERATION: i64 = 10;

/// What the cue says.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Cue {
    /// Wind on.
    #[default]
    Quiet,
    /// The target comes: one beat in each such time, quickening.
    Near {
        /// From one beat to the next: 110 to 600 ms.
        beat: Duration,
    },
    /// Stop now; and, once the crank rests at the target, reached.
    Stop,
    /// Wound past the target by more than half a turn, or past what the cradle takes.
    Over,
}

/// Where a coil ends.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Goal {
    /// Counts at the target.
    pub target: i64,
    /// The last count that the saw's cradle takes.
    pub limit: i64,
    /// Counts in a turn (rounded up).
    pub turn: i64,
}

impl Goal {
    /// What to stop at: the target or the cradle's limit, whichever comes first.
    #[must_use]
    pub fn aim(&self) -> i64 {
        self.target.min(self.limit)
    }

    /// The last count that is not yet over.
    fn tolerated(&self) -> i64 {
        self.target.saturating_add(self.turn / 2).min(self.limit).max(self.aim())
    }
}

/// The stop cue for one coil.
#[derive(Debug, Clone)]
pub struct StopCue {
    goal: Goal,
    lead: Duration,
    meter: SpeedMeter,
    /// Stop was signalled here, and has not been withdrawn.
    given: Option<Given>,
    /// How long the hand took from the first stop to rest, once it rests.
    stop_time: Option<Duration>,
    timed: bool,
    /// The approach has been signalled.
    near: bool,
    /// What was said of these counts with the crank at rest: of the same counts it is said again.
    said_at_rest: Option<(i64, Cue)>,
}

/// The moment at which stop was signalled.
#[derive(Debug, Clone, Copy)]
struct Given {
    counts: i64,
    speed: i64,
}

impl StopCue {
    /// For one coil. `lead` is held to [`MAX_LEAD`]; zero switches it off.
    #[must_use]
    pub fn new(goal: Goal, lead: Duration) -> Self {
        Self {
            goal,
            lead: lead.min(MAX_LEAD),
            meter: SpeedMeter::new(),
            given: None,
            stop_time: None,
            timed: false,
            near: false,
            said_at_rest: None,
        }
    }

    /// Where the coil ends.
    #[must_use]
    pub const fn goal(&self) -> &Goal {
        &self.goal
    }

    /// The speed meter, for showing.
    #[must_use]
    pub const fn meter(&self) -> &SpeedMeter {
        &self.meter
    }

    /// How long it took from the first "stop now" until the crank rested, measured as the counts run
    /// on over the speed at the cue; once it has happened on this coil.
    #[must_use]
    pub const fn stop_time(&self) -> Option<Duration> {
        self.stop_time
    }

    /// Says what to do at `counts` at the time `now`. To be called with every movement and at least
    /// every 50 ms besides.
    pub fn update(&mut self, now: Instant, counts: i64) -> Cue {
        self.meter.update(now, counts);
        if let Some((_, cue)) = self.said_at_rest.filter(|&(before, _)| before == counts) {
            return cue;
        }
        let speed = self.meter.speed(now);
        let resting = self.meter.rests(now);
        let cue = self.at(counts, speed, resting);
        // The same counts and speed withdraw what was signalled once, and no more after that: this cue stands.
        self.said_at_rest = (resting && speed == 0).then_some((counts, cue));
        cue
    }

    fn at(&mut self, counts: i64, speed: i64, resting: bool) -> Cue {
        self.time_the_hand(counts, resting);
        let aim = self.goal.aim();
        if counts > self.goal.tolerated() {
            self.given.get_or_insert(Given { counts, speed });
            return Cue::Over;
        }
        if counts >= aim {
            self.given.get_or_insert(Given { counts, speed });
            return Cue::Stop;
        }
        let lead_counts = lead_counts(speed, self.lead);
        if let Some(given) = self.given {
            // Once signalled it stands while the hand slows down; it is withdrawn when the crank rests
            // short of the target or winds back.
            if !resting && counts >= given.counts.saturating_sub(self.goal.turn / 4) {
                return Cue::Stop;
            }
            self.given = None;
        } else if counts.saturating_add(lead_counts) >= aim {
            self.given = Some(Given { counts, speed });
            return Cue::Stop;
        }
        let left = aim.saturating_sub(counts).saturating_sub(lead_counts);
        self.near = left <= self.near_border(speed);
        if !self.near {
            return Cue::Quiet;
        }
        Cue::Near { beat: beat(left, near_window(speed, self.goal.turn)) }
    }

    /// Whether "stop now" and "too far" can neither come nor go within `span` after `now`, whatever a hand
    /// does meanwhile: neither's border lies within what it can wind in that time. Nor does that of
    /// "the target comes", at a steady speed.
    #[must_use]
    pub fn is_clear_for(&self, now: Instant, counts: i64, span: Duration) -> bool {
        let turn = self.goal.turn;
        // The speed, and what the next count may make of it: one that slows down is held to be slower
        // still while no count comes.
        let moved = self.meter.over_window(now);
        let speed = self.meter.slowed(moved, now);
        let reach = lead_counts(moved.saturating_abs(), span) + turn / 64 + 2;
        // Behind a crank that turns, and about one that rests, lies only what it can start to wind.
        let least = turn / 128 + 2;
        let (ahead, behind) = match moved {
            1.. => (reach, least),
            0 => (least, least),
            _ => (least, reach),
        };
        // A hand that speeds up or slows down moves the border of "stop now" by the lead; twice, since
        // the speed is measured over a window that changes its length.
        let gained = 2 * ACCELERATION * turn * (span.as_micros() / 1_000).cast_signed();
        let sway = lead_counts(gained, self.lead);
        let stop = self.goal.aim() - counts;
        let near = stop - lead_counts(speed, self.lead) - self.near_border(speed);
        let over = self.goal.tolerated() + 1 - counts;
        // Once signalled, it stands until it is withdrawn, whatever the speed.
        let (first, last) = match self.given {
            // Not yet signalled, so its border lies ahead.
            None => (stop - lead_counts(speed.max(moved), self.lead) - sway, i64::MAX),
            Some(given) => {
                // One that was signalled past the target still stands there.
                let taken_back = stop.min(given.counts - turn / 4 - counts);
                (taken_back, taken_back)
            }
        };
        [(first, last), (near, near), (over, over)].iter().all(|&(from, to)| from > ahead || to < -behind)
    }

    /// How far before "stop now" the approach is signalled.
    fn near_border(&self, speed: i64) -> i64 {
        let window = near_window(speed, self.goal.turn);
        // Once near it stays so while the speed wavers, until it is well outside again.
        if self.near { window + window / 4 + self.goal.turn / 2 } else { window }
    }

    /// Forgets the speed and the cue that came of it. To be called where the count is set anew without
    /// the crank having moved.
    pub fn forget_motion(&mut self) {
        self.meter = SpeedMeter::new();
        self.given = None;
        self.near = false;
        self.said_at_rest = None;
    }

    fn time_the_hand(&mut self, counts: i64, resting: bool) {
        let Some(given) = self.given else { return };
        if self.timed || !resting {
            return;
        }
        self.timed = true;
        let ran_on = i128::from(counts) - i128::from(given.counts);
        if given.speed > 0 && ran_on >= 0 {
            // Speed is in thousandths of a count per second.
            let us = floor_div(ran_on * 1_000_000_000, given.speed);
            let us = us.and_then(|us| u64::try_from(us).ok());
            self.stop_time = us.map(|us| Duration::from_micros(us).min(MAX_LEAD));
        }
    }
}

/// Two turns, or two seconds of fast cranking.
fn near_window(speed: i64, turn: i64) -> i64 {
    (2 * turn).max(speed / 1_000 * 2).max(1)
}

/// Counts made in `lead` at a speed in thousandths of a count per second.
fn lead_counts(speed: i64, lead: Duration) -> i64 {
    // The lead is at most two seconds: its thousandths of a second keep the product small.
    speed.max(0).saturating_mul((lead.as_micros() / 1_000).cast_signed()) / 1_000_000
}

/// The cadence: 600 ms at the far end of the window down to 110 ms at the target, quickening most at
/// the end.
fn beat(left: i64, window: i64) -> Duration {
    let left = floor_div(i128::from(left.max(0)) * 1_000, window);
    let gone = 1_000 - left.map_or(1_000, |left| left.min(1_000)) as u64;
    Duration::from_micros(600_000 - 490_000 * gone * gone / 1_000_000)
}

/// Samples of the position, for speed.
const HISTORY: usize = 64;
/// From one to the next: the history spans about a second.
const SPACING: Duration = Duration::from_millis(16);
/// A speed is taken over at least this time, so that the pulse of a bounce is no speed.
const SHORTEST: Duration = Duration::from_millis(80);
/// And over at least this many counts, so that a coarse encoder does not jump.
const FEWEST: u64 = 6;

/// Measures speed over a window that is as short as the encoder allows.
#[derive(Debug, Clone)]
pub struct SpeedMeter {
    history: Deque<(Instant, i64), HISTORY>,
    last: Option<(Instant, i64)>,
    moved_at: Instant,
    /// Smoothed speed for showing, thousandths of a count per second.
    shown: i64,
}

impl SpeedMeter {
    const fn new() -> Self {
        Self { history: Deque::new(), last: None, moved_at: Instant::ZERO, shown: 0 }
    }

    fn update(&mut self, now: Instant, counts: i64) {
        match self.last {
            None => self.moved_at = now,
            Some((_, before)) if before != counts => self.moved_at = now,
            Some(_) => {}
        }
        self.last = Some((now, counts));
        if self.history.back().is_none_or(|&(at, _)| now.since(at) >= SPACING) {
            if self.history.is_full() {
                self.history.pop_front();
            }
            // There is room: the oldest has just been dropped.
            _ = self.history.push_back((now, counts));
            // Six parts in a hundred of the way.
            self.shown += self.speed(now).saturating_sub(self.shown).saturating_mul(3) / 50;
        }
    }

    /// Speed in thousandths of a count per second, winding on positive.
    #[must_use]
    pub fn speed(&self, now: Instant) -> i64 {
        self.slowed(self.over_window(now), now)
    }

    /// No count for a while means that the speed is below one count in that while.
    fn slowed(&self, speed: i64, now: Instant) -> i64 {
        let still = now.since(self.moved_at);
        if speed == 0 || still == Duration::ZERO {
            return speed;
        }
        let most = per_second(1, still);
        speed.clamp(-most, most)
    }

    /// [`Self::speed`] as the last counts alone have it.
    fn over_window(&self, now: Instant) -> i64 {
        let Some((_, counts)) = self.last else { return 0 };
        // The whole history has this count: there is no need to look through it each millisecond.
        if self.history.front().is_none_or(|&(at, _)| at > self.moved_at) {
            return 0;
        }
        self.through_history(now, counts)
    }

    fn through_history(&self, now: Instant, counts: i64) -> i64 {
        let mut moved = (0, SHORTEST);
        for &(at, then) in self.history.iter().rev() {
            let span = now.since(at);
            if span < SHORTEST {
                continue;
            }
            moved = (counts.saturating_sub(then), span);
            if counts.abs_diff(then) >= FEWEST {
                break;
            }
        }
        per_second(moved.0, moved.1)
    }

    /// The crank has not moved for [`REST`].
    #[must_use]
    pub fn rests(&self, now: Instant) -> bool {
        now.since(self.moved_at) >= REST
    }

    /// Speed smoothed for showing, in whole counts per second. A figure to look at: nothing is
    /// decided by it.
    #[must_use]
    pub fn shown(&self) -> i32 {
        (self.shown.saturating_add(500)).div_euclid(1_000).clamp(i32::MIN.into(), i32::MAX.into()) as i32
    }
}

/// Thousandths of a count per second.
fn per_second(counts: i64, span: Duration) -> i64 {
    // Within 64 bits for every count that a hand makes: a division of 128 bits costs a small chip dear.
    counts.saturating_mul(1_000_000_000) / i64::try_from(span.as_micros().max(1)).unwrap_or(i64::MAX)
}

#[cfg(test)]
mod tests {
    extern crate std;
    use super::*;
    use proptest::prelude::*;
    use std::vec::Vec;

    /// A crank that turns, dithers, leaps and rests for any time: a cue that is given again without being worked out is
    /// the one that would have been worked out, and so is the speed of a crank whose whole history is one count.
    #[test]
    fn what_is_not_worked_out_again_is_the_same() {
        let mut random = 1_u64;
        let mut below = |limit: u64| {
            random = random.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            (random >> 33) % limit
        };
        let (mut cue, mut worked_out) = (StopCue::new(GOAL, DEFAULT_LEAD), StopCue::new(GOAL, DEFAULT_LEAD));
        let (mut us, mut counts, mut saved) = (0, GOAL.target - 3 * TURN, 0);
        let mut seen = std::collections::BTreeSet::new();
        for _ in 0..3_000 {
            let kind = below(6);
            let (mut pace, ticks) = match kind {
                0 => (below(8) as i64 - 3, below(500)),
                1 => (GOAL.target + below(3_000) as i64 - 1_500 - counts, 1),
                2 => (1 - 2 * below(2) as i64, 1),
                // To and fro.
                3 => (1 + below(2) as i64, 2 * below(100)),
                _ => (0, below(2_000)),
            };
            for _ in 0..ticks {
                // Now and then a tick is late, or two come at one time.
                us += [1_000, 1_000, 1_000, 0, 7_300][below(5) as usize];
                counts += pace;
                pace = if kind == 3 { -pace } else { pace };
                let now = Instant::from_micros(us);
                worked_out.said_at_rest = None;
                saved += u32::from(cue.said_at_rest.is_some_and(|(before, _)| before == counts));
                let said = cue.update(now, counts);
                assert_eq!(said, worked_out.update(now, counts), "at {us} us");
                seen.insert(std::format!("{said:?}").split(' ').next().map(std::borrow::ToOwned::to_owned));
                let meter = &cue.meter;
                assert_eq!(meter.over_window(now), meter.through_history(now, counts), "at {us} us");
            }
        }
        assert!(saved > 100_000 && seen.len() == 4, "{saved} were given again, of {seen:?}");
    }

    const TURN: i64 = 1_600;
    const GOAL: Goal = Goal { target: 20 * TURN, limit: 22 * TURN, turn: TURN };

    /// Cranks at `rpm` from zero until the cue says stop, and says at which count that was.
    fn count_at_stop(goal: Goal, rpm: i64, lead_ms: u32) -> i64 {
        let mut cue = StopCue::new(goal, Duration::from_millis(lead_ms));
        for ms in 0..600_000_u32 {
            let counts = i64::from(ms) * rpm * goal.turn / 60_000;
            if cue.update(Instant::from_millis(ms), counts) == Cue::Stop {
                return counts;
            }
        }
        unreachable!("no stop within ten minutes")
    }

    /// A stop cue with a lead of 400 ms, where a crank moves evenly by `step` counts each millisecond, from `from` counts
    /// before the target on: what it says from 200 ms on, and whether that is clear for 20 ms, with the counts that are
    /// left.
    fn cranked(from: i64, step: i64, until: i64) -> Vec<(i64, Cue, bool)> {
        let mut cue = StopCue::new(GOAL, Duration::from_millis(400));
        let mut said = Vec::new();
        for ms in 0..20_000_u32 {
            let left = from - step * i64::from(ms);
            let (now, counts) = (Instant::from_millis(ms), GOAL.target - left);
            let given = cue.update(now, counts);
            if ms >= 200 {
                said.push((left, given, cue.is_clear_for(now, counts, Duration::from_millis(20))));
            }
            if left == until {
                return said;
            }
        }
        unreachable!("{until} is never left")
    }

    /// Asserts that what is not clear is what lies in `spans` of counts left.
    fn unclear_in(said: &[(i64, Cue, bool)], spans: &[core::ops::RangeInclusive<i64>]) {
        for (left, given, clear) in said {
            assert_eq!(*clear, !spans.iter().any(|span| span.contains(left)), "{left} left, {given:?}");
        }
    }

    /// Stop leads the target by speed times the lead, at every speed.
    #[test]
    fn stop_leads_by_speed_times_lead() {
        for rpm in [5, 20, 60, 120, 300] {
            let early = GOAL.target - count_at_stop(GOAL, rpm, 400);
            let expected = rpm * TURN * 400 / 60_000;
            assert!((early - expected).abs() <= expected / 20 + 3, "{rpm} rpm: {early}, not {expected}");
        }
    }

    /// With a coarse encoder too the lead is never early by more than a count or two.
    #[test]
    fn coarse_encoder_leads_as_well() {
        let goal = Goal { target: 20 * 4, limit: 1_000, turn: 4 };
        for rpm in [10, 30, 60, 120] {
            let early = goal.target - count_at_stop(goal, rpm, 400);
            let expected = rpm * 4 * 400 / 60_000;
            assert!((expected - 1..=expected + 2).contains(&early), "{rpm} rpm: {early}, about {expected}");
        }
    }

    /// Fast, then nearly at rest just before the target: the old speed is forgotten, no early stop.
    #[test]
    fn slowing_down_does_not_trigger_early() {
        let mut cue = StopCue::new(GOAL, Duration::from_millis(500));
        // Two turns a second up to two turns before the target.
        let mut now = 0_u32;
        let mut counts = 0;
        while counts < GOAL.target - 2 * TURN {
            now += 5;
            counts += 2 * TURN / 200;
            assert_ne!(cue.update(Instant::from_millis(now), counts), Cue::Stop, "at {counts}");
        }
        // Then a twentieth of a turn a second.
        let mut stopped_at = None;
        while counts < GOAL.target {
            now += 25;
            counts += 2;
            if cue.update(Instant::from_millis(now), counts) == Cue::Stop {
                stopped_at = Some(counts);
                break;
            }
        }
        let early = GOAL.target - stopped_at.unwrap_or(GOAL.target);
        assert!(early <= TURN / 20, "{early} counts early");
    }

    /// The cradle's limit stops the coil where it comes before the target.
    #[test]
    fn cradle_limit_is_a_target_too() {
        let goal = Goal { target: 20 * TURN, limit: 10 * TURN, turn: TURN };
        assert_eq!(count_at_stop(goal, 60, 0), 10 * TURN);
        let mut cue = StopCue::new(goal, Duration::ZERO);
        assert_eq!(cue.update(Instant::ZERO, 10 * TURN + 1), Cue::Over);
    }

    /// Each quarter second the beats are quicker than before, from slow to fast.
    #[test]
    fn cadence_quickens() {
        let mut cue = StopCue::new(GOAL, Duration::from_millis(350));
        let mut beats = Vec::new();
        for ms in 0..60_000_u32 {
            match cue.update(Instant::from_millis(ms), i64::from(ms) * TURN / 1_000) {
                Cue::Near { beat } => beats.push(beat),
                Cue::Stop => break,
                _ => {}
            }
        }
        assert!(beats.windows(250).all(|span| span[249] < span[0]));
        assert!(beats[0] > Duration::from_millis(500) && beats[beats.len() - 1] < Duration::from_millis(200));
    }

    /// Stop stands while the hand slows down, and is taken back once it rests short of the target.
    #[test]
    fn stop_stands_until_rest() {
        let mut cue = StopCue::new(GOAL, Duration::from_millis(400));
        let start = GOAL.target - 2 * TURN;
        let mut ms = 0_u32;
        while cue.update(Instant::from_millis(ms), start + i64::from(ms) * TURN / 1_000) != Cue::Stop {
            assert!(ms < 2_000);
            ms += 1;
        }
        let at = start + i64::from(ms) * TURN / 1_000 + 50;
        for later in 1..400 {
            assert_eq!(cue.update(Instant::from_millis(ms + later), at), Cue::Stop, "{later} ms later");
        }
        assert!(matches!(cue.update(Instant::from_millis(ms + 402), at), Cue::Near { .. }));
    }

    /// A hand that wavers by a fifth at the border of the window hears the beats begin once.
    #[test]
    fn wavering_at_the_border_begins_the_beats_once() {
        let mut cue = StopCue::new(GOAL, Duration::from_millis(350));
        let (mut counts, mut begun, mut near) = (0.0, 0, false);
        for ms in 0..12_000_u32 {
            // Two turns a second, give or take 20 %, each half second.
            counts += TURN as f64 * 2.0 * (1.0 + 0.2 * libm::sin(f64::from(ms) / 80.0)) / 1_000.0;
            let given = cue.update(Instant::from_millis(ms), counts as i64);
            let is_near = matches!(given, Cue::Near { .. });
            begun += u32::from(is_near && !near);
            near = is_near;
        }
        assert_eq!(begun, 1);
    }

    /// Over begins half a turn past the target and ends when that is wound back.
    #[test]
    fn over_ends_by_winding_back() {
        let mut cue = StopCue::new(GOAL, Duration::ZERO);
        assert_eq!(cue.update(Instant::ZERO, GOAL.target + TURN / 2), Cue::Stop);
        assert_eq!(cue.update(Instant::from_millis(50), GOAL.target + TURN / 2 + 1), Cue::Over);
        assert_eq!(cue.update(Instant::from_millis(900), GOAL.target), Cue::Stop);
    }

    /// The hand's stopping time is what it ran on at the speed it had.
    #[test]
    fn stopping_time_is_measured() {
        let mut cue = StopCue::new(GOAL, Duration::from_millis(350));
        let mut ms = 0_u32;
        let at = |ms: u32| GOAL.target - 4 * TURN + i64::from(ms) * TURN / 1_000;
        while cue.update(Instant::from_millis(ms), at(ms)) != Cue::Stop {
            assert!(at(ms) < GOAL.target);
            ms += 1;
        }
        // It runs on for 300 ms at full speed and stands.
        for later in 0..900_u32 {
            cue.update(Instant::from_millis(ms + later), at(ms + later.min(300)));
        }
        let measured = cue.stop_time().map_or(0, Duration::as_micros);
        assert!(measured.abs_diff(300_000) < 10_000, "{measured} us");
    }

    /// The speed that is shown settles within one count per second of the true speed, and nothing but the display
    /// reads it.
    #[test]
    fn shown_speed_settles_on_the_true_one() {
        let mut meter = SpeedMeter::new();
        for ms in 0..3_000_u32 {
            meter.update(Instant::from_millis(ms), i64::from(ms) * TURN / 1_000);
        }
        assert!((i64::from(meter.shown()) - TURN).abs() <= 1, "{}", meter.shown());
    }

    proptest! {
        /// Where the cue is clear for 20 ms, "stop now" and "too far" neither come nor go within them, however a hand speeds
        /// the crank up or slows it down by up to 10 turns a second in a second; at an even speed before.
        #[test]
        fn clear_cue_does_not_change(
            turn in prop_oneof![Just(96_i64), Just(1_600), Just(9_600)], lead_ms in 0_u32..=2_000,
            speed in -2.0..3.0_f64, left in -1.5..8.0_f64,
            gains in prop::collection::vec(-0.01..=0.01_f64, 20), steady in any::<bool>(),
        ) {
            let goal = Goal { target: 20 * turn, limit: 22 * turn, turn };
            let mut cue = StopCue::new(goal, Duration::from_millis(lead_ms));
            let at = |turns: f64| libm::floor((20.0 - left + turns) * turn as f64) as i64;
            let kind = |cue: Cue| (cue == Cue::Stop, cue == Cue::Over);
            let mut before = kind(Cue::Quiet);
            for ms in 0..=1_000_u32 {
                before = kind(cue.update(Instant::from_millis(ms), at(speed * (f64::from(ms) / 1_000.0 - 1.0))));
            }
            if !cue.is_clear_for(Instant::from_millis(1_000), at(0.0), Duration::from_millis(20)) {
                return Ok(());
            }
            let (mut speed, mut turns) = (speed, 0.0);
            for (ms, gain) in gains.into_iter().enumerate() {
                speed += if steady { gain.signum() * 0.01 } else { gain };
                turns += speed / 1_000.0;
                let after = kind(cue.update(Instant::from_millis(1_001 + ms as u32), at(turns)));
                prop_assert_eq!(after, before, "{} ms later, {} turns on", ms + 1, turns);
            }
        }
    }

    /// By hand, for 20 ms about a crank at rest. It can start to wind a 128th of a turn and two counts, 14, either way.
    /// At 10 turns a second in a second, twice, it gets to 640 counts a second, so that a lead of 400 ms moves "stop now" by
    /// 256. "The target comes" two turns before, 3,200 counts, and then stays; "too far" comes 801 counts past the target.
    #[test]
    fn resting_crank_is_clear_away_from_each_border() {
        let said: Vec<_> = (-1_000..5_000)
            .map(|left| {
                let mut cue = StopCue::new(GOAL, Duration::from_millis(400));
                let (now, counts) = (Instant::from_millis(500), GOAL.target - left);
                cue.update(Instant::ZERO, counts);
                let given = cue.update(now, counts);
                (left, given, cue.is_clear_for(now, counts, Duration::from_millis(20)))
            })
            .collect();
        unclear_in(&said, &[1..=270, 3_201..=3_214, -815..=-787]);
    }

    /// By hand: at 1,000 counts a second the crank makes 20 in 20 ms, and with a 64th of a turn and two counts it may
    /// make 47; it may come back by 14. "Stop now" comes 400 counts before the target, up to 256 earlier, and
    /// "the target comes" 3,200 before that.
    #[test]
    fn turning_crank_is_clear_away_from_each_border() {
        let said = cranked(6_000, 1, -1_000);
        unclear_in(&said, &[401..=703, 3_601..=3_647, -815..=-754]);
        for (left, given, _) in said {
            let is_expected = match left {
                3_601.. => given == Cue::Quiet,
                401.. => matches!(given, Cue::Near { .. }),
                -800.. => given == Cue::Stop,
                _ => given == Cue::Over,
            };
            assert!(is_expected, "{left} left: {given:?}");
        }
    }

    /// By hand: at 4,000 counts a second two seconds are 8,000 counts, more than two turns, and "stop now" comes 1,600
    /// before the target: the target comes from 9,600 counts on. 107 counts may be made in 20 ms.
    #[test]
    fn fast_crank_has_a_longer_approach() {
        let said = cranked(14_000, 4, 0);
        unclear_in(&said, &[1_601..=1_963, 9_601..=9_707]);
        assert!(said.iter().all(|&(left, given, _)| (given == Cue::Quiet) == (left > 9_600)));
    }

    /// By hand: winding back from a count before the target at 1,000 counts a second, "stop now" has no lead, and may get
    /// one of 256; the crank goes on by 14 at the most, and 47 back. The approach ends one and a quarter times two turns and
    /// half a turn before the target: 4,800.
    #[test]
    fn crank_that_winds_back_is_clear_away_from_each_border() {
        let said = cranked(1, -1, 5_200);
        unclear_in(&said, &[0..=270, 4_753..=4_800]);
        assert!(said.iter().all(|&(left, given, _)| (given == Cue::Quiet) == (left > 4_800)));
    }

    /// "Stop now" at the target stands until a quarter turn is wound back, 400 counts; one that was first signalled further
    /// past the target than that, until the target. At 1,000 counts a second, 47 are wound back within 20 ms.
    #[test]
    fn stop_is_withdrawn_by_winding_back() {
        for (past, withdrawn, unclear) in [(0, 401, 353..=400), (600, 1, -47..=14)] {
            let mut cue = StopCue::new(GOAL, Duration::ZERO);
            let mut said = Vec::new();
            for ms in 0..1_000_u32 {
                let left = i64::from(ms) - past;
                let (now, counts) = (Instant::from_millis(ms), GOAL.target - left);
                let given = cue.update(now, counts);
                assert_eq!(given == Cue::Stop, left < withdrawn, "{left} left: {given:?}");
                if ms >= 200 {
                    said.push((left, given, cue.is_clear_for(now, counts, Duration::from_millis(20))));
                }
            }
            unclear_in(&said, &[unclear]);
        }
    }

    /// Where the count is set anew nothing is left of the motion before: no speed, no stop, no approach.
    #[test]
    fn motion_is_forgotten() {
        let mut cue = StopCue::new(GOAL, Duration::from_millis(400));
        let now = |ms: u32| Instant::from_millis(ms);
        for ms in 0..1_000 {
            cue.update(now(ms), GOAL.target - 1_300 + i64::from(ms));
        }
        assert_eq!(
            (cue.update(now(1_000), GOAL.target - 300), cue.meter().speed(now(1_000))),
            (Cue::Stop, 1_000_000)
        );
        cue.forget_motion();
        assert_eq!(cue.meter().speed(now(1_001)), 0);
        // Far enough for an approach that is new, not for one that goes on.
        assert_eq!(cue.update(now(1_001), GOAL.target - 4_000), Cue::Quiet);
    }

    /// A stopping time is taken once, when the crank first rests, and not where it did not move: a coil that was set to its
    /// target, or one that was wound back.
    #[test]
    fn stopping_time_needs_a_stop() {
        let now = |ms: u32| Instant::from_millis(ms);
        let mut still = StopCue::new(GOAL, Duration::ZERO);
        for ms in [0, 500, 1_000] {
            assert_eq!(still.update(now(ms), GOAL.target), Cue::Stop);
            assert_eq!(still.stop_time(), None);
        }
        // 1,000 counts a second to the target, then `ran_on` more at that speed.
        for (ran_on, stop_time) in [(200, Some(Duration::from_millis(200))), (-100, None)] {
            let mut cue = StopCue::new(GOAL, Duration::ZERO);
            for ms in 0..=1_000 {
                cue.update(now(ms), GOAL.target - 1_000 + i64::from(ms));
            }
            cue.update(now(1_200), GOAL.target + ran_on);
            assert_eq!(cue.stop_time(), None, "before it rests");
            cue.update(now(1_700), GOAL.target + ran_on);
            assert_eq!(cue.stop_time(), stop_time);
            // It is not taken again.
            cue.update(now(1_800), GOAL.target + ran_on + 300);
            cue.update(now(2_300), GOAL.target + ran_on + 300);
            assert_eq!(cue.stop_time(), stop_time);
        }
    }

    /// Speed is that of the last 80 ms at the least. While no count comes it is below one count in that while.
    #[test]
    fn speed_is_taken_over_80_ms() {
        let now = |ms: u32| Instant::from_millis(ms);
        for (ms, speed) in [(79, 0), (80, 100_000)] {
            let mut meter = SpeedMeter::new();
            meter.update(now(0), 0);
            meter.update(now(ms), 8);
            assert_eq!(meter.speed(now(ms)), speed, "{ms} ms");
        }
        let mut meter = SpeedMeter::new();
        for ms in 0..=200 {
            meter.update(now(ms), i64::from(ms));
        }
        for (still_ms, most) in [(0, 1_000_000), (20, 50_000), (100, 10_000)] {
            assert_eq!(meter.speed(now(200 + still_ms)), most, "{still_ms} ms");
        }
    }

    /// A count past any hand's gives a speed, and no overflow.
    #[test]
    fn speed_of_any_count_is_a_number() {
        let ms = Duration::from_millis(100);
        for (counts, speed) in
            [(7, 70_000), (-7, -70_000), (i64::MAX, i64::MAX / 100_000), (i64::MIN, i64::MIN / 100_000)]
        {
            assert_eq!(per_second(counts, ms), speed);
        }
        assert_eq!(per_second(5, Duration::ZERO), 5_000_000_000);
        assert_eq!(per_second(0, Duration::from_micros(u64::MAX)), 0);
    }
}
