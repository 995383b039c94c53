//! What is kept over a power cut, and where the cue leaves room for the flash.
#![allow(clippy::unwrap_used, reason = "a test may stop where it stands")]

mod common;

use common::{Hand, TURN, job};
use proptest::prelude::*;
use turntally_core::bench::snapshot::{CoilNote, OtherCoil, Since};
use turntally_core::bench::{Bench, ErrorBound, Fault, Phase, State};
use turntally_core::counter::{CountsPerTurn, Direction, Gear, Shaft};
use turntally_core::cue::{Cue, Goal, StopCue};
use turntally_core::job::{Job, Target};
use turntally_core::job_list::Batch;
use turntally_core::plan::BatchPlan;
use turntally_core::time::{Duration, Instant};
use turntally_core::units::Length;

const CRADLE_UM: i64 = 70_000;

fn garden() -> Job {
    job("garden chain", 160, CRADLE_UM)
}

fn with(jobs: impl IntoIterator<Item = Job>) -> Bench {
    Hand::new(jobs).bench
}

/// A coil wound to so many turns.
fn wound(turns: i64) -> Hand {
    let mut hand = Hand::new([garden()]);
    hand.begins();
    hand.cranks_to(turns * TURN, 90);
    hand
}

/// Through the bytes that stand in flash.
fn stored(note: &CoilNote) -> CoilNote {
    let mut bytes = [0; 64];
    postcard::from_bytes(postcard::to_slice(note, &mut bytes).unwrap()).unwrap()
}

/// Counts, batch, goal and lead are those of before; the error bound is a quarter of a turn more.
#[test]
fn coil_goes_on_where_it_was() {
    let mut hand = Hand::new([garden()]);
    hand.begins();
    hand.keeps_a_coil();
    hand.yes().yes().cranks_to(20 * TURN + 7, 90);
    let mut new = with([garden()]);
    assert!(new.resume_batch(0, &hand.bench.jobs().batch(0).unwrap()));
    new.resume_coil(&stored(&hand.bench.coil_note().unwrap()), Since::QuarterTurn).unwrap();
    assert!(matches!(new.state(), State::Fault { fault: Fault::PowerCut, in_coil: true }));
    assert_eq!((new.counts(), new.jobs().progress()), (hand.bench.counts(), hand.bench.jobs().progress()));
    assert_eq!((new.goal(), new.target_turns()), (hand.bench.goal(), hand.bench.target_turns()));
    assert_eq!(new.error_bound(), ErrorBound::Within(TURN.unsigned_abs() / 4));
    assert!(new.rings_now() <= hand.bench.rings_now());
    let mut going_on = Hand { bench: new.clone(), now: Instant::ZERO, records: Vec::new() };
    going_on.yes().keeps_a_coil();
    assert_eq!(going_on.bench.jobs().progress().kept, 2);
    let mut thrown_away = Hand { bench: new, now: Instant::ZERO, records: Vec::new() };
    thrown_away.no();
    assert_eq!((thrown_away.bench.phase(), thrown_away.bench.jobs().progress().scrapped), (Phase::Ready, 1));
}

/// A second cut adds its own error bound; a damaged note half a turn; one that nobody knows everything.
#[test]
fn doubts_of_cuts_add_up() {
    let first = wound(20).bench;
    let mut second = with([garden()]);
    second.resume_coil(&first.coil_note().unwrap(), Since::HalfTurn).unwrap();
    assert_eq!(second.error_bound(), ErrorBound::Within(TURN.unsigned_abs() / 2));
    let mut third = with([garden()]);
    third.resume_coil(&second.coil_note().unwrap(), Since::QuarterTurn).unwrap();
    assert_eq!(third.error_bound(), ErrorBound::Within(3 * TURN.unsigned_abs() / 4));
    let mut fourth = with([garden()]);
    fourth.resume_coil(&third.coil_note().unwrap(), Since::Unknown).unwrap();
    assert_eq!((fourth.error_bound(), fourth.rings_now()), (ErrorBound::Unknown, 0));
}

/// A coil that came off is not brought back, nor one of a job that was changed.
#[test]
fn other_coils_and_jobs_are_refused() {
    let mut hand = wound(30);
    let note = hand.bench.coil_note().unwrap();
    hand.keeps_a_coil();
    let mut new = with([garden()]);
    new.resume_batch(0, &hand.bench.jobs().batch(0).unwrap());
    assert_eq!(new.resume_coil(&note, Since::QuarterTurn), Err(OtherCoil));
    assert_eq!(new.phase(), Phase::Choose);
    let changed = [
        Job { target: Target::Rings(161), ..garden() },
        Job { name: "garden chains".try_into().unwrap(), ..garden() },
        // The same job, sent again as a new batch.
        Job { batch: 7, ..garden() },
    ];
    let batch: Batch = hand.bench.jobs().batch(0).unwrap();
    for changed in changed {
        let mut bench = with([changed]);
        assert!(!bench.resume_batch(0, &batch));
        assert_eq!(bench.jobs().progress().kept, 0);
        assert_eq!(bench.resume_coil(&note, Since::QuarterTurn), Err(OtherCoil));
    }
    assert_eq!(with([]).resume_coil(&note, Since::QuarterTurn), Err(OtherCoil), "no job at all");
}

/// What has been made stays made on a longer cradle, by an encoder the other way round or by another one;
/// only the count of a coil is no count of another encoder.
#[test]
fn batch_goes_on_however_the_counter_is_built() {
    let mut hand = wound(30);
    hand.keeps_a_coil().yes().begins();
    let (note, batch) = (hand.bench.coil_note().unwrap(), hand.bench.jobs().batch(0).unwrap());
    let rule = *garden().rule.coil();
    let finer = CountsPerTurn::new(500, Shaft::Mandrel, Gear::DIRECT).unwrap();
    for (built, same_counts) in [
        (Job { direction: Direction::Reverse, ..garden() }, true),
        (job("garden chain", 160, CRADLE_UM + 1_000), true),
        (Job { rule: BatchPlan::new(rule, finer, Length::from_um(CRADLE_UM)).unwrap(), ..garden() }, false),
    ] {
        let mut bench = with([built]);
        assert!(bench.resume_batch(0, &batch));
        assert_eq!(bench.jobs().progress(), hand.bench.jobs().progress());
        assert_eq!(bench.resume_coil(&note, Since::QuarterTurn).is_ok(), same_counts);
    }
}

/// A lead that was learned and a direction that was taught by a mistake are kept.
#[test]
fn learned_things_are_kept() {
    let mut hand = Hand::new([garden()]);
    hand.begins();
    hand.cranks(-TURN, 60).yes();
    hand.cranks(-3 * TURN, 60);
    assert!(hand.bench.counts() > 3 * TURN, "turned round");
    let mut new = with([garden()]);
    new.resume_batch(0, &hand.bench.jobs().batch(0).unwrap());
    new.resume_coil(&hand.bench.coil_note().unwrap(), Since::QuarterTurn).unwrap();
    let mut after = Hand { bench: new, now: Instant::ZERO, records: Vec::new() };
    let before = after.bench.counts();
    after.yes().cranks(-TURN, 60);
    assert_eq!(after.bench.counts(), before + TURN, "the direction was kept");
}

/// What a cue says, without the cadence.
fn kind(cue: Cue) -> u8 {
    match cue {
        Cue::Quiet => 0,
        Cue::Near { .. } => 1,
        Cue::Stop => 2,
        Cue::Over => 3,
    }
}

proptest! {
    /// Where it is documented as clear, "stop now" and "too far" do not come, nor go, within the span,
    /// however a hand cranks: up to five turns a second, gaining up to ten turns a second in a second.
    #[test]
    fn clear_means_clear(
        accelerations in prop::collection::vec(-10.0_f64..10.0, 60),
        start in -3.0_f64..0.0,
        lead_ms in 0_u32..2_000,
    ) {
        let goal = Goal { target: 20 * TURN, limit: 22 * TURN, turn: TURN };
        let mut cue = StopCue::new(goal, Duration::from_millis(lead_ms));
        let (mut turns, mut speed) = (17.0 + start, 0.0_f64);
        let mut clear_until = 0;
        let mut before = None;
        for ms in 0_u32..6_000 {
            speed = (speed + accelerations[ms as usize / 100] / 1e3).clamp(-1.0, 5.0);
            turns += speed / 1e3;
            let (now, counts) = (Instant::from_millis(ms), (turns * TURN as f64) as i64);
            let cue_now = kind(cue.update(now, counts));
            let resting = cue.meter().rests(now);
            if let Some(before) = before {
                // Taking "stop" back as the crank comes to rest is no cue that a hand waits for.
                let comes = cue_now != before && cue_now >= 2 && !resting;
                prop_assert!(!comes || ms >= clear_until, "{before} to {cue_now} at {ms} ms, {turns} turns, {speed}/s");
            }
            before = Some(cue_now);
            if cue.is_clear_for(now, counts, Duration::from_millis(8)) {
                clear_until = ms + 8;
            }
        }
    }
}

/// It is clear nearly all the time: the notes are not held up for longer than a tenth of a turn.
#[test]
fn clear_comes_back_soon() {
    for rpm in [20, 60, 120, 180] {
        let goal = Goal { target: 20 * TURN, limit: 22 * TURN, turn: TURN };
        let mut cue = StopCue::new(goal, Duration::from_millis(350));
        let (mut longest, mut since) = (0, 0);
        for ms in 0_u32.. {
            let counts = i64::from(ms) * rpm * TURN / 60_000;
            if counts > 22 * TURN {
                break;
            }
            cue.update(Instant::from_millis(ms), counts);
            if cue.is_clear_for(Instant::from_millis(ms), counts, Duration::from_millis(8)) {
                since = counts;
            }
            longest = longest.max(counts - since);
        }
        println!("at {rpm}/min notes wait for at most {longest} of {TURN} counts");
        assert!(longest <= TURN / 10, "{rpm} rpm: {longest}");
    }
}
