//! Which way the count goes, and whether a hand can have made it go so.
//!
//! Where one channel still bounces when the other has its edge, the decoder may go once around the four
//! levels more or less than the crank did: four counts gained or lost, each step of it legal. Three signs tell
//! it from a hand:
//!
//! - **A retreat**: three counts back from the furthest, net of what came forward in between, in too short a time.
//!   Reported at once.
//! - **A stall**: one count or two back and on again. The bounce hid a whole pulse of its channel, so the next new
//!   count takes the time of five, where edges at their most uneven make it one and two thirds. Reported four counts
//!   later, which show how long a count takes.
//! - **A rush**: both channels bounce at once, and four counts come on top of what the crank makes. Four counts
//!   took less than a third of what the next four take. Reported after those.
//!
//! For the last two it takes the time of each count, which costs a small chip dear: the counts are looked into only
//! for a while after one that went back. A signal that never goes back costs nothing.

use crate::time::{Duration, Instant};

/// The fastest that a hand can be thought to reverse an encoder shaft, in revolutions per second
/// squared, over the two counts that follow the first one back. (By then the crank has a speed already: a
/// hand that turns round from standing still is taken for chatter from 27 rev/s² on, unless it has stood
/// for [`REST`].) Hand cranking peaks near 2 rev/s (`Kraemer et al. 2009`: 125 rpm at greatest power);
/// stopping and reversing that within a twenty-fifth of a second is 100 rev/s². Our own bound, no source.
const HAND_LIMIT_REV_PER_S2: f64 = 100.0;

/// After so long without a count the crank is at rest: which way it went before says nothing of the way it
/// goes next, and a hand that jerks it the other way is no chatter. Bounce is over long before. Only where its first count
/// goes on as it went, and nothing was being looked into, it has its direction at once.
const REST: Duration = Duration::from_millis(100);

/// A retreat of this many counts is no dither on one edge (that is one count) nor on two (two).
const RETREAT_COUNTS: i64 = 3;

/// So many counts from rest give the direction: one may be the dither of an edge.
const START_COUNTS: i64 = 2;

/// A stall or a rush, with the four counts after it, is one of the signal only where all of it took no more than
/// so many times what a retreat may take. A hand makes five counts from rest within that from 28 rev/s² on.
const PACE_SHARE: u32 = 3;

/// For so many counts onwards after one that went back their times are taken: a rush and the counts after it are
/// eight, and bounce that makes one has been seen to bounce shortly before.
const WATCHED_COUNTS: u8 = 16;

/// So many new counts prove that a retreat was none of a hand that turned round: bounce can give it one.
const PROOF_COUNTS: u8 = 2;

/// Four counts are a whole pulse, in which all that is uneven about an encoder comes out even.
const PULSE: usize = 4;

/// What is made of each step, one after the other.
#[derive(Debug, Clone)]
pub(super) struct Run {
    retreat_limit_us: u32,
    way: Way,
    /// The last word or sample that moved.
    moved: Instant,
}

/// The direction the count is going, and how far it got.
#[derive(Debug, Clone, Copy, Default)]
struct Way {
    /// +1 or -1 once it has started; 0 before.
    direction: i64,
    /// The direction while nothing is looked into: then steps onwards need no second look.
    steady: i64,
    /// The furthest position.
    furthest: i64,
    /// When the count first stepped back from there.
    back_us: Option<u32>,
    /// New counts that a reported retreat still lacks for its proof.
    unproven: u8,
    /// New counts that are still to be looked into.
    watched: u8,
    /// When the last new counts were made, the latest first, and for how many of them it is known.
    made_us: [u32; 2 * PULSE + 1],
    known: usize,
}

impl Run {
    pub(super) fn new(pulses_per_rev: u32) -> Self {
        let counts_per_rev = 4.0 * f64::from(pulses_per_rev.max(1));
        // From the first of three counts back to the third are two: s = a t^2 / 2.
        let seconds =
            libm::sqrt(2.0 * (RETREAT_COUNTS - 1) as f64 / (HAND_LIMIT_REV_PER_S2 * counts_per_rev));
        Self { retreat_limit_us: (seconds * 1e6) as u32, way: Way::default(), moved: Instant::ZERO }
    }

    /// Takes steps one way, `step` of them the sign, where nothing need be looked into: as nearly always. The
    /// last of them says all that the others would, and the time says nothing.
    #[inline]
    pub(super) fn goes_on(&mut self, step: i64, position: i64, now: Instant) -> bool {
        let on = step != 0 && step == self.way.steady;
        if on {
            self.way.furthest = position;
            self.moved = now;
        }
        on
    }

    /// To be called before the steps of a word or sample are followed one by one; `position` is the one before them.
    pub(super) fn begin(&mut self, position: i64, now: Instant) {
        if now.since(self.moved) >= REST {
            // A crank that has stood has no direction.
            self.way = Way { furthest: position, ..Way::default() };
        } else if self.way.steady != 0 {
            self.way.known = 0;
            self.way.note(short(self.moved));
        }
        self.moved = now;
    }

    /// Follows one step to a position and returns 1 where no hand can have made the count go so.
    pub(super) fn follow(&mut self, position: i64, step: i64, at_us: u32) -> u32 {
        let way = &mut self.way;
        if way.direction == 0 {
            let gone = position - way.furthest;
            if gone.abs() >= START_COUNTS {
                *way = Way::towards(gone.signum(), position);
            }
            return 0;
        }
        let ahead = (position - way.furthest) * way.direction;
        if step == way.direction {
            if ahead <= 0 {
                return 0;
            }
            way.furthest = position;
            return way.got_on(at_us, self.retreat_limit_us);
        }
        way.steady = 0;
        way.watched = WATCHED_COUNTS;
        let back_us = *way.back_us.get_or_insert(at_us);
        if ahead > -RETREAT_COUNTS {
            return 0;
        }
        if way.unproven == 0 && at_us.wrapping_sub(back_us) < self.retreat_limit_us {
            // The crank itself goes on as it went.
            *way = Way { steady: 0, unproven: PROOF_COUNTS, ..Way::towards(way.direction, position) };
            return 1;
        }
        *way = Way::towards(-way.direction, position);
        0
    }
}

impl Way {
    fn towards(direction: i64, position: i64) -> Self {
        Self { direction, steady: direction, furthest: position, ..Self::default() }
    }

    /// A new count was made.
    fn note(&mut self, at_us: u32) {
        self.made_us.copy_within(..2 * PULSE, 1);
        self.made_us[0] = at_us;
        self.known = self.made_us.len().min(self.known + 1);
        self.back_us = None;
    }

    /// A new count was made, and its time is worth a look. Returns 1 where those before it stalled or rushed.
    fn got_on(&mut self, at_us: u32, retreat_limit_us: u32) -> u32 {
        let limit_us = PACE_SHARE * retreat_limit_us;
        if self.watched == 0 {
            self.known = 0;
        }
        self.note(at_us);
        self.watched = self.watched.saturating_sub(1);
        self.unproven = self.unproven.saturating_sub(1);
        if self.watched == 0 && self.unproven == 0 {
            self.steady = self.direction;
        }
        let [.., last] = self.made_us;
        let [four, five] = [self.made_us[PULSE], self.made_us[PULSE + 1]];
        let pulse = at_us.wrapping_sub(four);
        // Five counts to the four of a pulse, less what the speed changes and a word's length says wrong.
        let stalled = self.known > PULSE + 1
            && at_us.wrapping_sub(five) < limit_us
            && four.wrapping_sub(five).saturating_mul(8) > pulse.saturating_mul(7);
        // A hand that brakes evenly to a stop makes the last four 2.4 times as long as those before.
        let rushed = self.known > 2 * PULSE
            && at_us.wrapping_sub(last) < limit_us
            && pulse > four.wrapping_sub(last).saturating_mul(3);
        if stalled || rushed {
            self.known = 1;
        }
        u32::from(stalled || rushed)
    }
}

/// Microseconds that wrap after 71 minutes: what is looked into is over long before.
pub(super) const fn short(time: Instant) -> u32 {
    time.as_micros() as u32
}

#[cfg(test)]
mod tests {
    extern crate std;
    use super::*;
    use std::vec::Vec;

    /// Counts of 1 ms forward, far from the start of the clock, then these steps at these times in microseconds after the
    /// last of those. Returns how often each was no hand's.
    ///
    /// At 100 pulses a revolution `sqrt(2 * 2 / (100 * 400))` s are 10 ms: three counts back in less are no hand's.
    fn after_a_run(steps: &[(i64, u32)]) -> Vec<u32> {
        let mut run = Run::new(100);
        let mut position = 0;
        let mut follow = |step, at_us| {
            position += step;
            run.follow(position, step, at_us)
        };
        for count in 0..20 {
            assert_eq!(follow(1, 1_000_000 + 1_000 * count), 0);
        }
        steps.iter().map(|&(step, us)| follow(step, 1_019_000 + us)).collect()
    }

    /// One count back and on again to the furthest, then new counts at these times after the last one before.
    fn new_counts_after_a_step_back(new_us: &[u32]) -> Vec<u32> {
        let steps: Vec<_> = [(-1, 1), (1, 2)].into_iter().chain(new_us.iter().map(|&us| (1, us))).collect();
        after_a_run(&steps).split_off(2)
    }

    /// Three counts back are reported where the third comes less than 10 ms behind the first; two never are.
    #[test]
    fn retreat_is_three_counts_in_too_short_a_time() {
        assert_eq!(after_a_run(&[(-1, 1_000), (-1, 6_000), (-1, 10_999)]), [0, 0, 1]);
        assert_eq!(after_a_run(&[(-1, 1_000), (-1, 6_000), (-1, 11_000), (-1, 11_001)]), [0, 0, 0, 0]);
        assert_eq!(after_a_run(&[(-1, 1), (-1, 2), (1, 3), (-1, 4), (1, 5), (1, 6), (1, 7)]), [0; 7]);
        // Net of what comes forward in between.
        assert_eq!(after_a_run(&[(-1, 1), (-1, 2), (1, 3), (-1, 4), (-1, 5)]), [0, 0, 0, 0, 1]);
    }

    /// Behind a step back, a count that takes more than seven eighths of the next four is a stall; one of just so much is
    /// not. So it is where all five take less than 30 ms, three times what a retreat may take.
    #[test]
    fn stall_is_a_count_as_long_as_a_pulse() {
        let counts = |first: u32, each: u32| [0, 1, 2, 3, 4].map(|count| first + count * each);
        assert_eq!(new_counts_after_a_step_back(&counts(3_500, 1_000)), [0, 0, 0, 0, 0]);
        assert_eq!(new_counts_after_a_step_back(&counts(3_501, 1_000)), [0, 0, 0, 0, 1]);
        assert_eq!(new_counts_after_a_step_back(&counts(17_999, 3_000)), [0, 0, 0, 0, 1]);
        assert_eq!(new_counts_after_a_step_back(&counts(18_000, 3_000)), [0, 0, 0, 0, 0]);
    }

    /// Behind a step back, four counts in less than a third of the next four's time are a rush, reported once; in a third
    /// they are none. So it is where all eight take less than 30 ms.
    #[test]
    fn rush_is_a_pulse_in_a_third_of_the_next() {
        // The fourth and the eighth new count, the others evenly between; a ninth, and those behind it.
        let counts = |four: u32, eight: u32| {
            let early = [1, 2, 3, 4].map(|count| four * count / 4);
            let late = [1, 2, 3, 4, 5, 6].map(|count| four + (eight - four) * count / 4);
            [early.as_slice(), late.as_slice()].concat()
        };
        let reported = [0, 0, 0, 0, 0, 0, 0, 1, 0, 0];
        assert_eq!(new_counts_after_a_step_back(&counts(1_000, 4_000)), [0; 10]);
        assert_eq!(new_counts_after_a_step_back(&counts(1_000, 4_001)), reported);
        assert_eq!(new_counts_after_a_step_back(&counts(40, 4_040)), reported);
        assert_eq!(new_counts_after_a_step_back(&counts(4_000, 29_999)), reported);
        assert_eq!(new_counts_after_a_step_back(&counts(4_000, 30_000)), [0; 10]);
    }

    /// Times that are not known yet say nothing: right behind the start of the clock neither the fourth new count behind a
    /// step back is the end of a stall, nor the seventh the end of a rush.
    #[test]
    fn unknown_times_say_nothing() {
        for new_us in [[500, 1_000, 1_500, 2_000].as_slice(), &[100, 200, 300, 400, 900, 1_400, 1_900, 2_400]]
        {
            let mut run = Run::new(100);
            let mut position = 0;
            let mut follow = |step, at_us| {
                position += step;
                run.follow(position, step, at_us)
            };
            let start_us = if new_us.len() == 4 { 20_000 } else { 0 };
            for (step, us) in [(1, 0), (1, 0), (1, 0), (-1, 1), (1, 2)] {
                assert_eq!(follow(step, start_us + us), 0);
            }
            for us in &new_us[..new_us.len() - 1] {
                assert_eq!(follow(1, start_us + us), 0, "{us} us");
            }
        }
    }

    /// Sixteen new counts are looked into behind a step back, and two behind a retreat; then steps onwards need no look.
    #[test]
    fn looks_into_counts_only_for_a_while() {
        for (back, looked_into) in [(1, 16), (3, 2)] {
            let mut run = Run::new(100);
            let (mut position, mut us) = (0, 1_000_000);
            let mut go = |run: &mut Run, step| {
                (position, us) = (position + step, us + 1_000);
                let now = Instant::from_micros(u64::from(us));
                if run.goes_on(step, position, now) {
                    return true;
                }
                run.begin(position - step, now);
                run.follow(position, step, us);
                false
            };
            for count in 0..5 {
                assert_eq!(go(&mut run, 1), count >= 2, "{count}");
            }
            for _ in 0..back {
                assert!(!go(&mut run, -1));
            }
            // A retreat that was reported is where the crank goes on from; else the furthest is reached again first.
            let again = if back == 3 { 0 } else { back };
            for count in 0..again + looked_into {
                assert!(!go(&mut run, 1), "{back} back, {count}");
            }
            assert!(go(&mut run, 1), "{back} back");
        }
    }
}
