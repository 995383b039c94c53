//! The bench under every key, every fault and any sequence of events.
#![allow(clippy::unwrap_used, reason = "a test may stop where it stands")]

mod common;

use std::collections::{BTreeMap, BTreeSet, VecDeque};

use common::{Hand, TURN, job, rule};
use proptest::prelude::*;
use turntally_core::bench::log::RingCount;
use turntally_core::bench::snapshot::Since;
use turntally_core::bench::{
    Bench, Choice, CoilRecord, ErrorBound, Fault, Lamp, Phase, READ_FIRST, Sound, State,
};
use turntally_core::counter::Direction;
use turntally_core::input::{Event, Input, Key};
use turntally_core::job::{Job, Lead, Progress};
use turntally_core::job_list::MAX_JOBS;
use turntally_core::settings::{Build, Loudness};
use turntally_core::signal::{Channel, Reading};
use turntally_core::time::{Duration, Instant};
use turntally_core::units::{Length, Turns};

const QUIET: Reading = Reading { net: 0, illegal: 0, chatter: 0, dead: None, revived: false };
const CRADLE_UM: i64 = 70_000;

/// A coil of a batch of 160 rings, begun.
fn begun() -> Hand {
    let mut hand = Hand::new([job("garden chain", 160, CRADLE_UM)]);
    hand.begins();
    hand
}

fn aim(hand: &Hand) -> i64 {
    hand.bench.goal().unwrap().aim()
}

// ---- Every phase, and the ways between them ----

/// What a person at the bench can do.
#[derive(Debug, Clone, Copy)]
enum Act {
    Yes,
    No,
    KnobOn,
    KnobBack,
    CrankTo(i64),
    LoseSamples,
}

const KEYS: [Act; 4] = [Act::Yes, Act::No, Act::KnobOn, Act::KnobBack];

impl Act {
    fn on(self, hand: &Hand) -> Hand {
        let mut hand = hand.clone();
        match self {
            Self::Yes => hand.yes(),
            Self::No => hand.no(),
            Self::KnobOn => hand.knob(1),
            Self::KnobBack => hand.knob(-1),
            Self::LoseSamples => hand.tell(Input::SamplesLost),
            Self::CrankTo(past_aim) => {
                let goal = hand.bench.goal().map_or(0, |goal| goal.aim());
                hand.cranks_to((goal + past_aim).max(0), 240).waits(500)
            }
        };
        hand
    }
}

/// What tells one place from another when walking through the states. (Coils of no rings can be kept
/// without end: two are as good as more.)
fn place(hand: &Hand) -> (Phase, String, usize, u32) {
    let inside = match hand.bench.state() {
        State::Verdict { choice } => format!("{choice:?}"),
        State::Fault { in_coil, .. } => format!("{in_coil}"),
        State::Choose { pick } => format!("{pick:?}"),
        // What can be set is without end; which pages there are is not.
        State::SetUp(set_up) => {
            format!("{:?} {:?} {:?}", set_up.list(), set_up.entry(), core::mem::discriminant(set_up.shown()))
        }
        _ => String::new(),
    };
    (hand.bench.phase(), inside, hand.bench.jobs().chosen(), hand.bench.jobs().progress().kept.min(2))
}

/// Every place that `acts` lead to from `start`, in the order of distance.
fn walk(start: Hand, acts: &[Act]) -> Vec<Hand> {
    let mut seen = BTreeSet::from([place(&start)]);
    let mut queue = VecDeque::from([start]);
    let mut found = Vec::new();
    while let Some(hand) = queue.pop_front() {
        for act in acts {
            let next = act.on(&hand);
            if seen.insert(place(&next)) {
                queue.push_back(next);
            }
        }
        found.push(hand);
    }
    found
}

/// Two small jobs: one coil, and two coils of which the last is short.
fn everywhere() -> Vec<Hand> {
    let start = Hand::new([job("two coils", 60, CRADLE_UM), job("one coil", 5, CRADLE_UM)]);
    let cranks = [Act::CrankTo(-TURN), Act::CrankTo(0), Act::CrankTo(TURN), Act::LoseSamples];
    walk(start, &[&KEYS[..], &cranks[..]].concat())
}

/// Keys, knob and crank lead from a fresh bench to each of the fourteen phases.
#[test]
fn fresh_bench_reaches_every_phase() {
    let phases: BTreeSet<Phase> = everywhere().iter().map(|hand| hand.bench.phase()).collect();
    let all = BTreeSet::from([
        Phase::Choose,
        Phase::SetUp,
        Phase::CountRings,
        Phase::MeasureRing,
        Phase::Ready,
        Phase::Winding,
        Phase::Near,
        Phase::Stop,
        Phase::Over,
        Phase::Paused,
        Phase::Verdict,
        Phase::Next,
        Phase::Done,
        Phase::Fault,
    ]);
    assert_eq!(phases, all);
}

/// Wherever one is, keys and knob alone lead out of it and back to the choice of a job.
#[test]
fn keys_lead_back_to_the_choice_from_everywhere() {
    let places = everywhere();
    assert!(places.len() > 20, "{}", places.len());
    for hand in places {
        let from = place(&hand);
        let reached = walk(hand, &KEYS);
        assert!(reached.iter().any(|hand| hand.bench.phase() == Phase::Choose), "no way back from {from:?}");
    }
}

/// With no job there is nothing to wind, only something to set up.
#[test]
fn no_job_can_only_be_set_up() {
    for act in KEYS {
        let hand = act.on(&Hand::new([]));
        let set_up = matches!(act, Act::Yes);
        assert_eq!(hand.bench.phase(), if set_up { Phase::SetUp } else { Phase::Choose }, "{act:?}");
    }
}

/// The first key of each state does what the screen says of it.
#[test]
fn keys_do_what_they_say() {
    let at = |acts: &[Act]| acts.iter().fold(Hand::new([job("a", 60, CRADLE_UM)]), |hand, act| act.on(&hand));
    let (on, back) = (Act::Yes, Act::No);
    for (acts, yes, no) in [
        (vec![], Phase::Ready, Phase::Choose),
        (vec![on], Phase::Winding, Phase::Choose),
        (vec![on, on], Phase::Verdict, Phase::Paused),
        (vec![on, on, Act::CrankTo(0)], Phase::Verdict, Phase::Paused),
        (vec![on, on, Act::CrankTo(TURN)], Phase::Verdict, Phase::Paused),
        (vec![on, on, back], Phase::Winding, Phase::Verdict),
        (vec![on, on, Act::CrankTo(0), on], Phase::Next, Phase::Stop),
        (vec![on, on, Act::CrankTo(0), on, on], Phase::Ready, Phase::Choose),
        // Ready after a kept coil goes back between the coils.
        (vec![on, on, Act::CrankTo(0), on, on, on], Phase::Winding, Phase::Next),
        (vec![on, on, Act::LoseSamples], Phase::Winding, Phase::Ready),
    ] {
        let hand = at(&acts);
        assert_eq!(Act::Yes.on(&hand).bench.phase(), yes, "Yes after {acts:?}");
        assert_eq!(Act::No.on(&hand).bench.phase(), no, "No after {acts:?}");
    }
}

// ---- Coils, verdicts, batches ----

/// The marked choice follows from the count, the knob moves it and stops at the ends.
#[test]
fn verdict_marks_the_likely_choice() {
    use Choice::{Keep, Scrap, WindOn};
    let choice = |hand: &Hand| match hand.bench.state() {
        State::Verdict { choice } => *choice,
        other => unreachable!("{other:?}"),
    };
    let mut short = begun();
    short.cranks_to(10 * TURN, 240).yes();
    assert_eq!(choice(&short), WindOn);
    let mut full = begun();
    full.cranks_to(aim(&begun()), 240).yes();
    assert_eq!(choice(&full), Keep);
    let turned: Vec<Choice> = [1, 1, 1, -2, 127, -128].map(|clicks| choice(full.knob(clicks))).to_vec();
    assert_eq!(turned, [Scrap, WindOn, WindOn, Keep, WindOn, Keep]);
}

/// Wind on goes on with the same coil, to the count.
#[test]
fn wind_on_keeps_the_count() {
    let mut hand = begun();
    hand.cranks_to(10 * TURN, 240).yes().yes();
    assert_eq!((hand.bench.phase(), hand.bench.counts()), (Phase::Winding, 10 * TURN));
    hand.cranks(5 * TURN, 240).yes().no();
    assert_eq!((hand.bench.phase(), hand.bench.counts()), (Phase::Winding, 15 * TURN));
    assert!(hand.records.is_empty());
}

/// A coil thrown away promises nothing and is wound again for the same target.
#[test]
fn scrap_repeats_the_same_target() {
    let mut hand = begun();
    let target = aim(&hand);
    hand.cranks_to(target, 240).yes().knob(1).yes();
    assert_eq!(hand.bench.phase(), Phase::Ready);
    assert_eq!(hand.bench.jobs().progress(), Progress { rings: 0, kept: 0, scrapped: 1 });
    hand.yes();
    assert_eq!((aim(&hand), hand.bench.counts()), (target, 0));
    let record = hand.records[0];
    assert_eq!((record.kept, record.rings, record.counts, record.target_counts), (false, 0, target, target));
}

/// A batch is wound to its end: full coils, a shorter last one, and the rings add up.
#[test]
fn batch_ends_with_a_shorter_coil() {
    let mut hand = begun();
    let full = rule(CRADLE_UM).full_rings();
    let mut left = Vec::new();
    while hand.bench.phase() != Phase::Done {
        left.push(hand.bench.jobs().coils_left());
        hand.keeps_a_coil();
        if hand.bench.phase() == Phase::Next {
            hand.yes().yes();
        }
    }
    assert_eq!(left, [3, 2, 1]);
    let rings: Vec<u32> = hand.records.iter().map(|record| record.rings).collect();
    assert_eq!(rings, [full, full, 160 - 2 * full]);
    let targets: Vec<i64> = hand.records.iter().map(|record| record.target_counts).collect();
    assert!(targets[0] == targets[1] && targets[2] < targets[0], "{targets:?}");
    assert_eq!(hand.bench.jobs().progress(), Progress { rings: 160, kept: 3, scrapped: 0 });
    assert_eq!(hand.bench.outputs().sound, Sound::Fanfare);
    // Any key takes the finished batch off; the job can be wound anew.
    hand.no();
    assert_eq!((hand.bench.phase(), hand.bench.jobs().progress()), (Phase::Choose, Progress::default()));
    assert_eq!(hand.bench.jobs().coils_left(), 3);
}

/// A coil kept short of its target counts for what it gives; the batch makes up for it.
#[test]
fn short_coil_is_made_up_for() {
    let mut hand = begun();
    hand.cranks_to(30 * TURN, 240).yes().knob(-2).yes();
    let short = hand.records[0].rings;
    assert_eq!(short, rule(CRADLE_UM).guaranteed_rings(30 * TURN, 0));
    let mut rings = short;
    while hand.bench.phase() != Phase::Done {
        hand.yes().yes().keeps_a_coil();
        rings += hand.records[hand.records.len() - 1].rings;
    }
    assert_eq!(rings, 160);
}

/// Each job keeps its own rings; going from one to the other loses nothing.
#[test]
fn jobs_keep_separate_progress() {
    let mut hand = Hand::new([job("a", 160, CRADLE_UM), job("b", 90, 50_000)]);
    // The first has coils to be counted and a ring to be measured now, which stand behind it.
    hand.begins().keeps_a_coil().no().knob(3);
    assert_eq!(hand.bench.jobs().progress(), Progress::default());
    hand.begins().keeps_a_coil().no();
    let b = hand.bench.jobs().progress();
    hand.knob(-3);
    let a = hand.bench.jobs().progress();
    assert_eq!((a.rings, b.rings), (rule(CRADLE_UM).full_rings(), rule(50_000).full_rings()));
    assert_eq!(hand.records.iter().map(|record| record.job).collect::<Vec<_>>(), [0, 1]);
    // Back at it, the first job asks for the rest.
    hand.begins();
    assert_eq!(hand.bench.jobs().coils_left(), 2);
}

/// Rings and rejects are entered with the knob, once for all coils that were kept since.
#[test]
fn rings_are_counted_after_sawing() {
    let mut hand = Hand::new([job("a", 160, CRADLE_UM), job("b", 90, CRADLE_UM)]);
    assert!(hand.bench.jobs().uncounted().is_empty());
    hand.begins().keeps_a_coil().yes().yes().keeps_a_coil().no();
    let promised: u32 = hand.records.iter().map(|record| record.rings).sum();
    assert_eq!((hand.bench.jobs().uncounted().coils, hand.bench.jobs().uncounted().rings), (2, promised));
    // Behind the job, before the next one; No leaves everything as it was.
    hand.knob(1).yes().knob(-100).no();
    assert_eq!((hand.bench.phase(), hand.bench.jobs().uncounted().coils), (Phase::Choose, 2));
    // Rings, a look at the rejects and back, a correction, the rejects.
    hand.knob(1).yes().knob(-3).yes().no().knob(1).yes().knob(-5).knob(4);
    assert_eq!(hand.bench.take_ring_count(), None);
    hand.yes();
    let tally = hand.bench.take_ring_count().unwrap();
    assert_eq!((tally.coils, tally.rings, tally.rejects), (2, promised - 2, 4));
    assert_eq!(tally.job, hand.bench.jobs().job().unwrap().fingerprint());
    assert_eq!((hand.bench.take_ring_count(), hand.bench.jobs().uncounted().is_empty()), (None, true));
    assert_eq!(hand.bench.jobs().progress().rings, promised, "the batch goes on by what is sure");
    // Nothing is left to be counted: the next job comes behind the ring that may be measured.
    hand.knob(2);
    assert_eq!(hand.bench.jobs().chosen(), 1);
}

/// The spool gives its wire to every coil that comes off, with a warning before the coil that it cannot
/// finish.
#[test]
fn spool_runs_out() {
    let first = rule(CRADLE_UM).coil().wire_used(Hand::new([job("a", 160, CRADLE_UM)]).bench.target_turns());
    let spool = Length::from_nm(first.nm() * 5 / 2);
    let mut hand = Hand::new([Job { spool: Some(spool), ..job("a", 600, CRADLE_UM) }]);
    assert_eq!((hand.bench.jobs().wire_left(), hand.bench.jobs().wire_short()), (Some(spool), None));
    hand.begins().keeps_a_coil();
    let wound = rule(CRADLE_UM).coil().wire_used(hand.records[0].turns);
    assert_eq!(hand.bench.jobs().wire_left().unwrap().nm(), spool.nm() - wound.nm());
    // Wire that is thrown away is gone as well.
    hand.yes().yes().cranks(10 * TURN, 60).yes().knob(-2).knob(1).yes();
    let scrapped = rule(CRADLE_UM).coil().wire_used(hand.records[1].turns);
    assert!(!hand.records[1].kept && scrapped > Length::ZERO);
    assert_eq!(hand.bench.jobs().wire_left().unwrap().nm(), spool.nm() - wound.nm() - scrapped.nm());
    assert_eq!(hand.bench.jobs().wire_short(), None);
    hand.yes().keeps_a_coil();
    let (left, takes) = hand.bench.jobs().wire_short().unwrap();
    assert!(left < takes && takes == first, "{left} {takes}");
    // One that is wound all the same leaves nothing.
    hand.yes().yes().keeps_a_coil();
    assert_eq!(hand.bench.jobs().wire_left(), Some(Length::ZERO));
}

/// A finished job that was left without its last key (its encoder was pulled) is still finished.
#[test]
fn finished_job_is_not_wound_again() {
    let mut hand = Hand::new([job("a", 5, CRADLE_UM)]);
    hand.begins().keeps_a_coil();
    assert_eq!(hand.bench.phase(), Phase::Done);
    hand.reads(Reading { dead: Some(Channel::A), ..QUIET }).yes();
    assert_eq!(hand.bench.phase(), Phase::Choose);
    hand.yes();
    assert_eq!((hand.bench.phase(), hand.bench.jobs().progress().rings), (Phase::Done, 5));
    hand.yes();
    assert_eq!((hand.bench.phase(), hand.bench.jobs().progress().rings), (Phase::Choose, 0));
}

// ---- Counting ----

/// Pausing silences the cue and nothing else.
#[test]
fn paused_bench_keeps_counting() {
    let mut hand = begun();
    hand.cranks_to(10 * TURN, 240).no().cranks(3 * TURN, 240).cranks(-TURN, 240);
    assert_eq!((hand.bench.phase(), hand.bench.counts()), (Phase::Paused, 12 * TURN));
    hand.cranks_to(aim(&hand) + 2 * TURN, 240);
    assert_eq!(hand.bench.phase(), Phase::Paused);
    assert_eq!((hand.bench.outputs().sound, hand.bench.outputs().may_turn), (Sound::Silent, false));
    // Going on, the cue is right at once.
    assert_eq!(hand.yes().bench.phase(), Phase::Over);
}

/// Winding back subtracts, and takes back the cue and the rings.
#[test]
fn winding_back_subtracts() {
    let mut hand = begun();
    let target = aim(&hand);
    hand.cranks_to(target + TURN, 120).waits(500);
    assert_eq!(hand.bench.phase(), Phase::Over);
    let rings = hand.bench.rings_now();
    hand.cranks(-TURN, 120).waits(500);
    assert_eq!((hand.bench.phase(), hand.bench.counts()), (Phase::Stop, target));
    hand.cranks(-10 * TURN, 120).waits(500);
    assert_eq!((hand.bench.phase(), hand.bench.counts()), (Phase::Winding, target - 10 * TURN));
    assert!(hand.bench.rings_now() < rings);
}

/// The knob makes the sound softer, down to off, and louder again while wire is caught or wound; it is shown for a
/// moment, and as long as it is off.
#[test]
fn knob_turns_the_sound_off_at_once() {
    let mut hand = Hand::new([job("a", 160, CRADLE_UM)]);
    hand.yes().knob(-1);
    assert_eq!(hand.bench.loudness_shown(), Some(Loudness::Soft));
    assert_eq!(hand.waits(1_600).bench.loudness_shown(), None);
    hand.yes().cranks_to(5 * TURN, 120).knob(-3);
    assert_eq!((hand.bench.phase(), hand.bench.counts()), (Phase::Winding, 5 * TURN));
    assert_eq!(hand.bench.settings().build.loudness, Loudness::Off);
    assert_eq!(hand.waits(60_000).bench.loudness_shown(), Some(Loudness::Off));
    hand.no().knob(5);
    assert_eq!((hand.bench.phase(), hand.bench.loudness_shown()), (Phase::Paused, Some(Loudness::Full)));
}

/// A coil past the cradle's length is not marked to be kept, and kept all the same it promises what its two pieces
/// surely give; wound back it is as good as any.
#[test]
fn coil_too_long_for_the_cradle_is_not_called_good() {
    let mut hand = begun();
    let limit = rule(CRADLE_UM).limit_counts();
    hand.cranks_to(limit, 120).waits(500);
    let fits = hand.bench.rings_now();
    assert_eq!(hand.bench.pieces(), 1);
    hand.cranks_to(limit + 2 * TURN, 120).waits(500);
    assert_eq!((hand.bench.phase(), hand.bench.pieces()), (Phase::Over, 2));
    assert!(hand.bench.rings_now() <= fits, "{} of two pieces, {fits} of one", hand.bench.rings_now());
    hand.yes();
    assert!(matches!(hand.bench.state(), State::Verdict { choice: Choice::WindOn }));
    let mut cut = hand.clone();
    let rings = cut.bench.rings_now();
    cut.knob(-2).yes();
    assert_eq!(cut.records.last().map(|record| (record.kept, record.rings)), Some((true, rings)));
    hand.yes().cranks_to(limit, 120).waits(500).yes();
    assert!(matches!(hand.bench.state(), State::Verdict { choice: Choice::Keep }));
    assert_eq!(hand.bench.rings_now(), fits);
}

/// What is counted between coils belongs to no coil.
#[test]
fn cranking_between_coils_counts_for_none() {
    let mut hand = Hand::new([job("a", 160, CRADLE_UM)]);
    hand.cranks(5 * TURN, 240).yes().cranks(-3 * TURN, 240).yes();
    assert_eq!(hand.bench.counts(), 0);
}

/// The turns shown are the counts through the gear, whichever way the encoder is mounted.
#[test]
fn reverse_encoder_counts_the_same() {
    let mut hand = Hand::new([Job { direction: Direction::Reverse, ..job("a", 160, CRADLE_UM) }]);
    hand.begins().cranks(-7 * TURN, 240);
    assert_eq!(hand.bench.turns(), Turns::from_whole(7));
}

// ---- The cue through the bench ----

/// Each phase has its own sound, lamp and stop line while the crank turns; at rest nothing hurries.
#[test]
fn outputs_follow_the_phase() {
    let mut hand = begun();
    let target = aim(&hand);
    let outputs = |hand: &Hand| (hand.bench.phase(), hand.bench.outputs());
    let (phase, out) = outputs(hand.cranks_to(10 * TURN, 60));
    assert_eq!(
        (phase, out.sound, out.lamp, out.may_turn),
        (Phase::Winding, Sound::Silent, Lamp::GreenSteady, true)
    );
    let (phase, out) = outputs(hand.cranks_to(target - 2 * TURN, 60));
    assert!(matches!(out.sound, Sound::Beats { .. }), "{out:?}");
    assert_eq!((phase, out.lamp, out.may_turn), (Phase::Near, Lamp::GreenYellowSlow, true));
    let (phase, out) = outputs(hand.cranks_to(target - TURN / 8, 60));
    assert_eq!(
        (phase, out.sound, out.lamp, out.may_turn),
        (Phase::Stop, Sound::Tone, Lamp::YellowQuick, false)
    );
    let (phase, out) = outputs(hand.cranks_to(target + TURN, 60));
    assert_eq!(
        (phase, out.sound, out.lamp, out.may_turn),
        (Phase::Over, Sound::Warble, Lamp::YellowSteady, false)
    );
    let (phase, out) = outputs(hand.waits(500));
    assert_eq!((phase, out.sound, out.lamp), (Phase::Over, Sound::Silent, Lamp::YellowSteady));
    let out = outputs(hand.tell(Input::SamplesLost)).1;
    assert_eq!((out.sound, out.lamp, out.may_turn), (Sound::Rattle, Lamp::RedQuick, false));
}

/// How early the cue comes on a coil, in counts before the target; the hand then runs on for `ms`.
fn winds_a_coil(hand: &mut Hand, rpm: i64, ms: i64) -> i64 {
    let target = aim(hand);
    hand.cranks_to(target - 8 * TURN, 4 * rpm).cranks_to(target - 6 * TURN, rpm);
    while hand.bench.phase() != Phase::Stop {
        hand.cranks(rpm * TURN / 60_000, rpm);
    }
    let early = target - hand.bench.counts();
    hand.cranks(ms * rpm * TURN / 60_000, rpm).waits(1_000).yes().knob(-2).yes();
    early
}

/// A learning counter's lead goes from its first value to what the hand takes, a step with each coil.
#[test]
fn learned_lead_moves_towards_the_hand() {
    for (hand_ms, nearer) in [(200, -1), (700, 1)] {
        let lead = Lead::Learned(Duration::from_millis(400));
        let mut hand = Hand::new([Job { lead, ..job("a", 700, CRADLE_UM) }]);
        hand.yes();
        let mut early = Vec::new();
        for _ in 0..12 {
            hand.yes();
            early.push(winds_a_coil(&mut hand, 75, hand_ms));
            let taken = hand.records[early.len() - 1].stop_time.map_or(0, Duration::as_micros);
            assert!(taken.abs_diff(hand_ms.unsigned_abs() * 1_000) < 15_000, "{taken} us for {hand_ms} ms");
            hand.yes();
        }
        let counts_per_ms = 75 * TURN / 60_000;
        assert!((early[0] - 400 * counts_per_ms).abs() < 20, "{early:?}");
        assert!(early.windows(2).all(|pair| (pair[1] - pair[0]) * nearer >= 0), "{early:?}");
        let last = early[early.len() - 1];
        assert!((last - hand_ms * counts_per_ms).abs() < 60, "{early:?}");
    }
}

/// A set lead stays as it was set.
#[test]
fn set_lead_stays() {
    let mut hand = Hand::new([job("a", 600, CRADLE_UM)]);
    hand.yes();
    let early: Vec<i64> = (0..3)
        .map(|_| {
            hand.yes();
            let early = winds_a_coil(&mut hand, 75, 100);
            hand.yes();
            early
        })
        .collect();
    assert!(early.iter().all(|early| early.abs_diff(early_of_350_ms()) < 20), "{early:?}");
}

fn early_of_350_ms() -> i64 {
    350 * 75 * TURN / 60_000
}

// ---- Faults ----

/// A new bench with the same jobs that goes on from what the old one would have kept.
fn after_cut(bench: &Bench, since: Since) -> Bench {
    let mut new = Bench::new();
    for (index, job) in bench.jobs().iter().enumerate() {
        new.add_job(job.clone()).unwrap();
        assert!(new.resume_batch(index, &bench.jobs().batch(index).unwrap()));
    }
    new.resume_coil(&bench.coil_note().unwrap(), since).unwrap();
    new
}

/// Every fault with what raises it, on a coil of some turns.
fn faults() -> BTreeMap<Fault, Hand> {
    let wound = |input: Input| {
        let mut hand = begun();
        hand.cranks_to(20 * TURN, 240).tell(input);
        hand
    };
    let reads = |reading: Reading| wound(Input::Encoder(reading));
    let mut backwards = begun();
    backwards.cranks(-TURN / 2, 60);
    let cut = Hand { bench: after_cut(&wound(Input::Tick).bench, Since::QuarterTurn), ..Hand::new([]) };
    BTreeMap::from([
        (Fault::PowerCut, cut),
        (Fault::Dead(Channel::A), reads(Reading { dead: Some(Channel::A), ..QUIET })),
        (Fault::Dead(Channel::B), reads(Reading { dead: Some(Channel::B), ..QUIET })),
        // An eighth of a turn is 200 counts; each impossible step leaves two uncertain.
        (Fault::MissedSteps, reads(Reading { illegal: 101, ..QUIET })),
        (Fault::Chatter, reads(Reading { chatter: 1, ..QUIET })),
        (Fault::Backwards, backwards),
        (Fault::SamplesLost, wound(Input::SamplesLost)),
        (Fault::OutOfRange, reads(Reading { net: i64::MAX, ..QUIET })),
    ])
}

/// Each fault is shown by its name, rattles, stops a powered winder; Yes goes on, No throws the coil
/// away, and either way the coil's record names it.
#[test]
fn faults_are_shown_decided_and_recorded() {
    let faults = faults();
    assert_eq!(faults.len(), 8);
    for (fault, hand) in faults {
        let shown =
            matches!(hand.bench.state(), State::Fault { fault: shown, in_coil: true } if *shown == fault);
        assert!(shown, "{fault:?}: {:?}", hand.bench.state());
        let outputs = hand.bench.outputs();
        assert_eq!((outputs.lamp, outputs.sound, outputs.may_turn), (Lamp::RedQuick, Sound::Rattle, false));
        let mut scrapped = hand.clone();
        scrapped.no();
        assert_eq!(scrapped.bench.phase(), Phase::Ready, "{fault:?}");
        let record = scrapped.records[0];
        assert_eq!((record.kept, record.rings, record.faults.iter().collect()), (false, 0, vec![fault]));
        let mut kept = hand.clone();
        kept.yes();
        assert_eq!(kept.bench.phase(), Phase::Winding, "{fault:?}");
        kept.yes().knob(-2).yes();
        let record = kept.records[0];
        assert_eq!((record.kept, record.faults.iter().collect()), (true, vec![fault]));
        assert_eq!(
            record.error_bound == ErrorBound::Unknown,
            record.rings == 0 && fault != Fault::Backwards,
            "{fault:?}"
        );
    }
}

/// The error bound that each fault leaves: none, a few counts, or the whole coil.
#[test]
fn faults_leave_their_doubt() {
    for (fault, hand) in faults() {
        let expected = match fault {
            Fault::Dead(_) | Fault::SamplesLost | Fault::OutOfRange => ErrorBound::Unknown,
            Fault::MissedSteps => ErrorBound::Within(202),
            Fault::Chatter => ErrorBound::Within(8),
            Fault::Backwards => ErrorBound::Within(0),
            // A quarter of a turn.
            Fault::PowerCut => ErrorBound::Within(400),
        };
        assert_eq!(hand.bench.error_bound(), expected, "{fault:?}");
    }
}

/// A dead channel makes the coil promise nothing to its end, even after it moves again.
#[test]
fn dead_channel_voids_the_promise_of_its_coil_only() {
    let mut hand = begun();
    hand.cranks_to(20 * TURN, 240).reads(Reading { dead: Some(Channel::B), ..QUIET }).yes();
    hand.reads(Reading { revived: true, ..QUIET });
    assert_eq!(hand.bench.dead_channel(), None);
    hand.keeps_a_coil();
    assert_eq!((hand.records[0].rings, hand.records[0].error_bound), (0, ErrorBound::Unknown));
    hand.yes().yes().keeps_a_coil();
    assert_eq!(hand.records[1].rings, rule(CRADLE_UM).full_rings());
}

/// A channel that is already dead is reported before a coil and as soon as one is begun.
#[test]
fn dead_channel_is_reported_at_every_start() {
    let mut hand = Hand::new([job("a", 160, CRADLE_UM)]);
    hand.reads(Reading { dead: Some(Channel::A), ..QUIET });
    assert!(matches!(hand.bench.state(), State::Fault { fault: Fault::Dead(Channel::A), in_coil: false }));
    for _ in 0..2 {
        hand.yes();
        assert_eq!(hand.bench.phase(), Phase::Choose);
        hand.begins();
        assert!(matches!(hand.bench.state(), State::Fault { fault: Fault::Dead(Channel::A), in_coil: true }));
        assert_eq!((hand.bench.error_bound(), hand.bench.rings_now()), (ErrorBound::Unknown, 0));
        // Thrown away, and back to the choice.
        hand.no().no();
        assert_eq!(hand.bench.phase(), Phase::Choose);
        hand.reads(Reading { dead: Some(Channel::A), ..QUIET });
    }
}

/// Faults of a count that has not begun are no faults.
#[test]
fn faults_before_a_coil_are_not_shown() {
    let mut hand = Hand::new([job("a", 160, CRADLE_UM)]);
    hand.yes().tell(Input::SamplesLost).reads(Reading { illegal: 500, chatter: 9, net: -9 * TURN, ..QUIET });
    assert_eq!(hand.bench.phase(), Phase::Ready);
    hand.yes();
    assert_eq!((hand.bench.phase(), hand.bench.error_bound()), (Phase::Winding, ErrorBound::Within(0)));
}

/// A few impossible steps only lower the promise; from an eighth of a turn on they want a decision,
/// once.
#[test]
fn few_missed_steps_lower_the_promise_silently() {
    let mut hand = begun();
    let target = aim(&hand);
    hand.cranks_to(target, 240);
    let full = hand.bench.rings_now();
    hand.reads(Reading { illegal: 100, ..QUIET });
    assert_eq!((hand.bench.phase(), hand.bench.error_bound()), (Phase::Stop, ErrorBound::Within(200)));
    assert_eq!(hand.bench.rings_now(), full - 1);
    hand.reads(Reading { illegal: 1, ..QUIET });
    assert_eq!(hand.bench.phase(), Phase::Fault);
    hand.yes().reads(Reading { illegal: 100, ..QUIET });
    assert_eq!((hand.bench.phase(), hand.bench.error_bound()), (Phase::Stop, ErrorBound::Within(402)));
    hand.yes().yes();
    assert_eq!((hand.records[0].illegal, hand.records[0].rings), (201, full - 1));
}

/// Chatter interrupts once a coil, and every further one adds its error bound.
#[test]
fn chatter_interrupts_once() {
    let mut hand = begun();
    hand.cranks_to(20 * TURN, 240).reads(Reading { chatter: 2, ..QUIET }).yes();
    hand.reads(Reading { chatter: 3, ..QUIET });
    assert_eq!((hand.bench.phase(), hand.bench.error_bound()), (Phase::Winding, ErrorBound::Within(40)));
}

/// A signal that is more than a turn uncertain is not believed at all.
#[test]
fn a_turn_of_doubt_is_no_count() {
    let mut hand = begun();
    hand.cranks_to(20 * TURN, 240).reads(Reading { illegal: u32::try_from(TURN / 2).unwrap(), ..QUIET });
    assert_eq!(hand.bench.error_bound(), ErrorBound::Within(u64::try_from(TURN).unwrap()));
    hand.reads(Reading { illegal: 1, ..QUIET });
    assert_eq!((hand.bench.error_bound(), hand.bench.rings_now()), (ErrorBound::Unknown, 0));
}

/// While one fault is shown, others are noted with the coil.
#[test]
fn faults_under_a_fault_are_noted() {
    let mut hand = begun();
    hand.cranks_to(20 * TURN, 240).reads(Reading { chatter: 1, ..QUIET }).tell(Input::SamplesLost).no();
    assert_eq!(hand.records[0].faults.iter().collect::<Vec<_>>(), [Fault::Chatter, Fault::SamplesLost]);
}

/// Faults that come in one reading are all noted, though only the gravest is shown.
#[test]
fn faults_of_one_reading_are_all_noted() {
    let mut hand = begun();
    hand.cranks_to(20 * TURN, 240).reads(Reading { dead: Some(Channel::B), chatter: 1, ..QUIET });
    assert!(matches!(hand.bench.state(), State::Fault { fault: Fault::Dead(Channel::B), .. }));
    hand.no();
    assert_eq!(hand.records[0].faults.iter().collect::<Vec<_>>(), [Fault::Dead(Channel::B), Fault::Chatter]);
}

/// Half a turn backwards from the start is reported; Yes turns round and the turns made count, and so do
/// those of the coils to come.
#[test]
fn backwards_turns_round_and_keeps_the_count() {
    let mut hand = begun();
    hand.cranks(-TURN / 2 + 1, 60);
    assert_eq!(hand.bench.phase(), Phase::Winding);
    hand.cranks(-1, 60);
    assert_eq!(hand.bench.phase(), Phase::Fault);
    // It goes on turning while the hand reads the screen.
    hand.cranks(-TURN, 60).yes();
    assert_eq!((hand.bench.phase(), hand.bench.counts()), (Phase::Winding, 3 * TURN / 2));
    hand.cranks(-TURN, 60);
    assert_eq!(hand.bench.counts(), 5 * TURN / 2);
    let target = aim(&hand);
    hand.cranks(hand.bench.counts() - target, 240).waits(500).yes().yes();
    assert_eq!(hand.records[0].rings, rule(CRADLE_UM).full_rings());
    hand.yes().yes().cranks(-3 * TURN, 60);
    assert_eq!((hand.bench.phase(), hand.bench.counts()), (Phase::Winding, 3 * TURN));
}

/// Turning round is no movement of the crank: it gives no cue, and no stop is measured.
#[test]
fn turning_round_is_no_speed() {
    let lead = Lead::Learned(Duration::from_millis(350));
    let mut hand = Hand::new([Job { lead, ..job("a", 20, CRADLE_UM) }]);
    hand.begins().cranks(-6 * TURN, 120).yes();
    assert_eq!((hand.bench.phase(), hand.bench.counts()), (Phase::Winding, 6 * TURN));
    let target = aim(&hand);
    hand.cranks(8 * TURN - target, 75);
    let mut now = hand.bench.counts();
    while hand.bench.phase() != Phase::Stop {
        assert!(now < target, "no stop cue by {now} of {target}");
        hand.cranks(-2, 75);
        now = hand.bench.counts();
    }
    assert!((target - now).abs_diff(early_of_350_ms()) < 20, "{} early", target - now);
    hand.cranks(-400, 75).waits(1_000).yes().knob(-2).yes();
    let taken = hand.records[0].stop_time.map_or(0, Duration::as_micros);
    assert!(taken.abs_diff(200_000) < 15_000, "{taken} us");
}

/// A coil that runs backwards behind another fault is reported as soon as that fault is answered.
#[test]
fn backwards_behind_a_fault_is_reported_after_it() {
    let mut hand = begun();
    hand.reads(Reading { chatter: 1, ..QUIET }).cranks(-TURN, 60).yes().cranks(-1, 60);
    assert!(matches!(hand.bench.state(), State::Fault { fault: Fault::Backwards, in_coil: true }));
    hand.yes();
    assert_eq!(hand.bench.counts(), TURN + 1);
}

/// A hand that winds back before it winds on is taken for a wrong direction; when it then winds on, the
/// question is put again, and the count is the true one after all.
#[test]
fn wrongly_turned_round_is_asked_again() {
    let mut hand = begun();
    hand.cranks(-TURN / 2, 60);
    assert!(matches!(hand.bench.state(), State::Fault { fault: Fault::Backwards, in_coil: true }));
    hand.yes();
    assert_eq!((hand.bench.phase(), hand.bench.counts()), (Phase::Winding, TURN / 2));
    hand.cranks(TURN / 2, 60);
    assert!(matches!(hand.bench.state(), State::Fault { fault: Fault::Backwards, in_coil: true }));
    hand.yes().cranks(3 * TURN, 60);
    assert_eq!((hand.bench.phase(), hand.bench.counts()), (Phase::Winding, 3 * TURN));
}

/// A hand that winds back, is asked, and winds on past its beginning has answered: the page goes, and a Yes that
/// comes late ends the winding, but turns nothing round.
#[test]
fn winding_on_answers_what_winding_back_had_asked() {
    let mut hand = begun();
    hand.cranks(-TURN / 2, 60);
    assert!(matches!(hand.bench.state(), State::Fault { fault: Fault::Backwards, in_coil: true }));
    hand.cranks(TURN / 2, 60);
    assert!(matches!(hand.bench.state(), State::Fault { fault: Fault::Backwards, in_coil: true }));
    hand.cranks(TURN / 4, 60);
    assert_eq!((hand.bench.phase(), hand.bench.counts()), (Phase::Winding, TURN / 4));
    hand.yes();
    assert_eq!((hand.bench.phase(), hand.bench.counts()), (Phase::Verdict, TURN / 4));
}

/// With the channels swapped, slack taken up the wrong way looks like winding on: a whole turn below zero
/// tells.
#[test]
fn backwards_after_a_little_forward_is_reported_a_turn_below_zero() {
    let mut hand = begun();
    hand.cranks(TURN / 3, 60).cranks(-TURN / 3 - TURN + 1, 60);
    assert_eq!((hand.bench.phase(), hand.bench.counts()), (Phase::Winding, 1 - TURN));
    hand.cranks(-1, 60);
    assert!(matches!(hand.bench.state(), State::Fault { fault: Fault::Backwards, in_coil: true }));
}

/// Winding back a coil that was wound on before is no fault, however far.
#[test]
fn unwinding_is_not_backwards() {
    let mut hand = begun();
    hand.cranks(TURN, 60).cranks(-5 * TURN, 120);
    assert_eq!((hand.bench.phase(), hand.bench.counts()), (Phase::Winding, -4 * TURN));
}

// ---- Any sequence of events ----

/// One thing that happens, some of it relative to where the bench is.
#[derive(Debug, Clone)]
enum Happening {
    Tick,
    Read(Reading),
    /// Cranks to this share of the aim, in hundredths, in one reading.
    CrankTo(i64),
    Lost,
    Key(Key),
    Knob(i8),
    /// The clock goes on by so many microseconds, or back.
    Clock(i64),
}

fn happening() -> impl Strategy<Value = Happening> {
    let channel = prop_oneof![8 => Just(None), 1 => Just(Some(Channel::A)), 1 => Just(Some(Channel::B))];
    let net = prop_oneof![6 => -3_i64..8, 3 => -2_000_i64..4_000, 1 => prop_oneof![
        Just(i64::MAX), Just(i64::MIN), Just(i64::MAX / 2), Just(-i64::MAX / 3), Just(100_000_000_000_000)
    ]];
    let rarely = || prop_oneof![8 => Just(0_u32), 2 => 1_u32..150, 1 => Just(u32::MAX)];
    let reading = (net, rarely(), rarely(), channel, prop::bool::weighted(0.1))
        .prop_map(|(net, illegal, chatter, dead, revived)| Reading { net, illegal, chatter, dead, revived });
    prop_oneof![
        2 => Just(Happening::Tick),
        4 => (-50_i64..50).prop_map(|net| Happening::Read(Reading { net, ..QUIET })),
        2 => reading.prop_map(Happening::Read),
        6 => (90_i64..105).prop_map(Happening::CrankTo),
        1 => (-50_i64..150).prop_map(Happening::CrankTo),
        1 => Just(Happening::Lost),
        12 => Just(Happening::Key(Key::Yes)),
        3 => Just(Happening::Key(Key::No)),
        5 => prop_oneof![-2_i8..=2, any::<i8>()].prop_map(Happening::Knob),
        8 => prop_oneof![
            100 => 0_i64..2_000_000,
            20 => -5_000_000_i64..0,
            1 => Just(i64::MAX),
            1 => Just(i64::MIN)
        ]
        .prop_map(Happening::Clock),
    ]
}

/// What an honest bookkeeper would have written down from the same events.
#[derive(Debug, Default)]
struct Book {
    rings: BTreeMap<u8, u32>,
    kept: BTreeMap<u8, u32>,
    counts: i128,
    direction: BTreeMap<u8, i128>,
    error_bound: Option<ErrorBound>,
    now: Instant,
    /// When a fault's page came up.
    reported: Instant,
    finished: usize,
    /// From which state to which it went.
    taken: BTreeSet<(String, String)>,
}

fn holds_coil(state: &State) -> bool {
    matches!(
        state,
        State::Winding { .. } | State::Paused | State::Verdict { .. } | State::Fault { in_coil: true, .. }
    )
}

/// A phase's name in the table of the bench; what the cue says is one of them.
fn row_of(phase: Phase) -> String {
    let cued = matches!(phase, Phase::Near | Phase::Stop | Phase::Over);
    format!("{:?}", if cued { Phase::Winding } else { phase })
}

fn dead() -> Input {
    Input::Encoder(Reading { dead: Some(Channel::A), ..QUIET })
}

/// The arrows of the table above the bench.
fn arrows() -> BTreeSet<(String, String)> {
    let rows = include_str!("../src/bench.rs").lines().filter_map(|line| line.strip_prefix("//! | "));
    let cells =
        rows.filter_map(|row| <[&str; 3]>::try_from(row.splitn(3, " | ").collect::<Vec<_>>()).ok()).skip(1);
    cells
        .flat_map(|[from, to, _]| [(from.to_owned(), to.to_owned())])
        .filter(|(from, _)| !from.starts_with('-'))
        .collect()
}

/// Runs the events and holds every law after each; the bench at the end, its records, and what is known of its way.
fn run(jobs: &[Job], happenings: &[Happening]) -> (Bench, Vec<CoilRecord>, Book) {
    let mut hand = Hand::new(jobs.iter().cloned());
    let mut book = Book::default();
    for happening in happenings {
        let input = match happening {
            Happening::Tick => Input::Tick,
            Happening::Read(reading) => Input::Encoder(*reading),
            Happening::CrankTo(share) => {
                let aim = hand.bench.goal().map_or(0, |goal| goal.aim());
                let to = i128::from(aim) * i128::from(*share) / 100;
                let way = book.direction.get(&chosen(&hand.bench)).copied().unwrap_or(1);
                let net = i64::try_from((to - i128::from(hand.bench.counts())) * way).unwrap_or(0);
                Input::Encoder(Reading { net, ..QUIET })
            }
            Happening::Lost => Input::SamplesLost,
            Happening::Key(key) => Input::Key(*key),
            Happening::Knob(clicks) => Input::Knob(*clicks),
            Happening::Clock(us) => {
                hand.now = Instant::from_micros(hand.now.as_micros().saturating_add_signed(*us));
                continue;
            }
        };
        let before = hand.bench.clone();
        let record = hand.bench.handle(Event { at: hand.now, input });
        revision_follows(&before, &hand.bench);
        assert!(input != Input::Tick || before.revision() == hand.bench.revision(), "time alone");
        hand.records.extend(record);
        unsawn_follows(&before, &hand.bench.take_ring_count(), record, &hand.bench);
        book.now = book.now.max(hand.now);
        book.write(&before, input, &hand.bench, record);
    }
    assert!(book.taken.is_subset(&arrows()), "{:?}", book.taken.difference(&arrows()));
    (hand.bench, hand.records, book)
}

/// What is stored does not change without another revision.
fn revision_follows(before: &Bench, after: &Bench) {
    let stored = |bench: &Bench| {
        let batches: Vec<_> = (0..MAX_JOBS).map(|job| bench.jobs().batch(job)).collect();
        let rules: Vec<_> = bench.jobs().iter().map(|job| format!("{job:?}")).collect();
        (bench.settings_now(), batches, rules, bench.jobs().chosen(), bench.coil_note())
    };
    assert!(before.revision() != after.revision() || stored(before) == stored(after));
}

/// Whatever comes from outside the events has another revision too.
#[test]
fn whatever_is_given_to_the_bench_is_another_revision() {
    use turntally_core::bench::log::{Change, Counted};
    use turntally_core::counter::{Gear, Shaft};
    use turntally_core::settings::Settings;
    let mut hand = begun();
    hand.cranks_to(3 * TURN, 60);
    let note = hand.bench.coil_note().unwrap();
    let batch = hand.bench.jobs().batch(0).unwrap();
    let fingerprint = hand.bench.jobs().fingerprint();
    let counted = Counted { job: fingerprint, batch: 0, rings: 3, kept: true, wire: Length::from_um(1_000) };
    let other =
        Settings { build: Build { pulses: 1_000, ..Settings::default().build }, ..Settings::default() };
    type Step<'a> = (&'static str, Box<dyn Fn(&mut Bench) + 'a>);
    let steps: [Step; 9] = [
        ("add_job", Box::new(|bench| bench.add_job(job("second", 70, CRADLE_UM)).unwrap())),
        ("put_job", Box::new(|bench| assert!(bench.put_job(1, job("third", 80, CRADLE_UM))))),
        ("choose", Box::new(|bench| bench.choose(1))),
        ("catch_up", Box::new(|bench| bench.catch_up(&Change::Coil(counted)))),
        ("resume_batch", Box::new(|bench| assert!(bench.resume_batch(0, &batch)))),
        ("built_for", Box::new(|bench| bench.built_for(123, Shaft::Crank, Gear::DIRECT))),
        ("set_up_counter", Box::new(move |bench| bench.set_up_counter(other))),
        ("set_up", Box::new(|bench| bench.set_up(Settings::default()))),
        ("resume_coil", Box::new(|bench| bench.resume_coil(&note, Since::QuarterTurn).unwrap())),
    ];
    let mut bench = Hand::new([job("garden chain", 160, CRADLE_UM)]).bench;
    for (name, step) in steps {
        let before = bench.clone();
        step(&mut bench);
        assert_ne!(before.revision(), bench.revision(), "{name}");
        revision_follows(&before, &bench);
    }
}

/// Every kept coil waits until its rings are counted, and is counted once.
fn unsawn_follows(before: &Bench, tally: &Option<RingCount>, record: Option<CoilRecord>, after: &Bench) {
    let (was, is) = (before.jobs().uncounted(), after.jobs().uncounted());
    if let Some(tally) = tally {
        assert_eq!((before.phase(), tally.coils), (Phase::CountRings, was.coils));
        assert!(was.coils > 0 && is.is_empty());
    } else if let Some(record) = record.filter(|record| record.kept) {
        let more = (was.coils + 1, was.rings.saturating_add(record.rings));
        // The first of a batch that was set up since gives those of the one before up.
        assert!((is.coils, is.rings) == more || (is.coils, is.rings) == (1, record.rings), "{was:?} {is:?}");
    } else if chosen(before) == chosen(after) {
        assert_eq!(was, is);
    }
}

fn chosen(bench: &Bench) -> u8 {
    u8::try_from(bench.jobs().chosen()).unwrap()
}

impl Book {
    /// A batch that was set up begins anew, or goes on as it was.
    fn set_up(&mut self, after: &Bench) {
        let job = chosen(after);
        if after.jobs().progress() == Progress::default() {
            self.rings.remove(&job);
            self.kept.remove(&job);
        }
        self.direction.insert(job, if after.jobs().direction() == Direction::Forward { 1 } else { -1 });
    }

    fn write(&mut self, before: &Bench, input: Input, after: &Bench, record: Option<CoilRecord>) {
        let job = chosen(before);
        let rule = &before.jobs().job().unwrap().rule;
        if let (Phase::SetUp, Phase::Choose) = (before.phase(), after.phase()) {
            self.set_up(after);
        }
        let (from, to) = (row_of(before.phase()), row_of(after.phase()));
        if from != to {
            self.taken.insert((from, to));
        }
        assert_eq!(after.goal().is_some(), holds_coil(after.state()), "{:?}", after.state());
        self.finished += usize::from(before.phase() != Phase::Done && after.phase() == Phase::Done);
        if before.phase() == Phase::Done && matches!(input, Input::Key(_)) {
            self.rings.insert(job, 0);
            self.kept.insert(job, 0);
        }
        let deaf = before.phase() == Phase::Fault && self.now.since(self.reported) < READ_FIRST;
        if deaf && matches!(input, Input::Key(_)) {
            assert!(
                after.phase() == Phase::Fault && record.is_none(),
                "a fault was answered before it was read"
            );
        }
        if (before.phase(), after.phase()) != (Phase::Fault, Phase::Fault) {
            self.reported = self.now;
        }
        // The count, kept by hand.
        let way = self.direction.entry(job).or_insert(1);
        if !holds_coil(before.state()) {
            self.counts = 0;
            self.error_bound = None;
        } else if let Input::Encoder(reading) = input {
            let sum = self.counts + i128::from(reading.net) * *way;
            let fits = i64::try_from(sum).ok().and_then(|sum| rule.per_turn().turns(sum)).is_some();
            // Negating the lowest number of all is what no counter can do.
            if fits && (*way == 1 || reading.net != i64::MIN) {
                self.counts = sum;
            }
        }
        if let (State::Fault { fault: Fault::Backwards, in_coil: true }, Input::Key(Key::Yes), false) =
            (before.state(), input, deaf)
        {
            // The lowest number of all has no negative: no counter can turn that round.
            if self.counts != i128::from(i64::MIN) {
                *way = -*way;
                self.counts = -self.counts;
            }
        }
        if let Some(record) = record {
            assert_eq!((record.job, i128::from(record.counts)), (job, self.counts));
            assert_eq!(Some(record.turns), rule.per_turn().turns(record.counts));
            assert!(record.rings <= rule.guaranteed_rings(record.counts, 0), "{record:?}");
            match record.error_bound {
                ErrorBound::Within(error_bound) if record.kept => {
                    assert_eq!(record.rings, rule.guaranteed_rings(record.counts, error_bound));
                }
                _ => assert_eq!(record.rings, 0, "{record:?}"),
            }
            if record.kept {
                let rings = self.rings.entry(job).or_default();
                *rings = rings.saturating_add(record.rings);
                *self.kept.entry(job).or_default() += 1;
            }
            assert!(!holds_coil(after.state()));
        } else if holds_coil(after.state()) {
            assert_eq!(i128::from(after.counts()), self.counts);
            // ErrorBound only grows while a coil lasts.
            let grown = match (self.error_bound, after.error_bound()) {
                (Some(ErrorBound::Unknown), error_bound) => error_bound == ErrorBound::Unknown,
                (Some(ErrorBound::Within(old)), ErrorBound::Within(new)) => new >= old,
                _ => true,
            };
            assert!(grown, "{:?} then {:?}", self.error_bound, after.error_bound());
            self.error_bound = Some(after.error_bound());
        }
        // What is promised is what the kept coils promise, and nothing else moves it.
        let now = chosen(after);
        let (rings, kept) = (self.rings.get(&now).copied(), self.kept.get(&now).copied());
        assert_eq!(
            (after.jobs().progress().rings, after.jobs().progress().kept),
            (rings.unwrap_or(0), kept.unwrap_or(0))
        );
        assert_eq!(after.outputs().may_turn, matches!(after.phase(), Phase::Winding | Phase::Near));
        if after.error_bound() == ErrorBound::Unknown {
            assert_eq!(after.rings_now(), 0);
        }
    }
}

/// Jobs of ordinary and of absurd counts per turn.
fn some_jobs() -> Vec<Job> {
    use turntally_core::counter::{CountsPerTurn, Gear, Shaft};
    use turntally_core::plan::BatchPlan;
    use turntally_core::units::Length;
    let geared = |pulses, teeth: (u16, u16), cradle_um| {
        let gear = Gear::new(teeth.0, teeth.1).unwrap();
        let per_turn = CountsPerTurn::new(pulses, Shaft::Crank, gear).unwrap();
        let rule = BatchPlan::new(*rule(CRADLE_UM).coil(), per_turn, Length::from_um(cradle_um)).unwrap();
        let lead = Lead::Learned(Duration::from_millis(350));
        Job { rule, lead, direction: Direction::Forward, ..job("geared", 70, CRADLE_UM) }
    };
    vec![
        job("a", 60, CRADLE_UM),
        geared(20, (48, 16), CRADLE_UM),
        geared(100_000, (1, 65_535), CRADLE_UM),
        // Sixteen thousand turns to a count: a cradle of a hundred metres.
        geared(1, (65_535, 1), 100_000_000),
    ]
}

/// Readings that no encoder gives, on an encoder of absurdly many counts, overflow nothing: the cue goes
/// on from whatever count is left.
#[test]
fn enormous_leaps_overflow_nothing() {
    let absurd = some_jobs().swap_remove(2);
    let turn = absurd.rule.per_turn().counts_in_part(1);
    let (most, least) = (i64::MAX - turn, i64::MIN + 1);
    for leaps in [[most, least, least], [least, most, most], [most, -1, least]] {
        for rest_ms in [0, 20, 100, 500] {
            let mut hand = Hand::new([absurd.clone()]);
            // A first turn on, so that what follows is winding back and not a wrong direction.
            hand.begins().reads(Reading { net: turn, ..QUIET });
            let mut counts = turn;
            for net in leaps {
                hand.waits(rest_ms).reads(Reading { net, ..QUIET });
                counts += net;
                assert_eq!(hand.bench.counts(), counts);
            }
            let past = counts > aim(&hand);
            assert_eq!(hand.waits(rest_ms).bench.phase() == Phase::Over, past, "{leaps:?}");
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 1_500, ..ProptestConfig::default() })]

    /// No sequence of events breaks a law of the bench or makes it panic, and the same events give
    /// the same bench and the same records.
    #[test]
    fn any_events_keep_the_laws(happenings in prop::collection::vec(happening(), 0..150)) {
        let jobs = some_jobs();
        let (bench, records, _) = run(&jobs, &happenings);
        let (again, same, _) = run(&jobs, &happenings);
        prop_assert_eq!(records, same);
        prop_assert_eq!(format!("{bench:?}"), format!("{again:?}"));
    }
}

/// The random events are no idle ones: between them they wind coils, finish batches and raise every
/// fault, so that the laws above are tried where it matters.
#[test]
fn random_events_go_everywhere() {
    use proptest::strategy::ValueTree;
    use proptest::test_runner::{Config, RngAlgorithm, TestRng, TestRunner};
    let rng = TestRng::deterministic_rng(RngAlgorithm::ChaCha);
    let mut runner = TestRunner::new_with_rng(Config::default(), rng);
    let events = prop::collection::vec(happening(), 150);
    let (mut kept, mut finished, mut seen, mut taken) = (0, 0, BTreeSet::new(), BTreeSet::new());
    for _ in 0..400 {
        let happenings = events.new_tree(&mut runner).unwrap().current();
        let (_, records, book) = run(&some_jobs(), &happenings);
        kept += records.iter().filter(|record| record.rings > 0).count();
        seen.extend(records.iter().flat_map(|record| record.faults.iter()));
        finished += book.finished;
        taken.extend(book.taken);
    }
    println!("{kept} coils kept, {finished} batches finished");
    assert!(kept > 100 && finished > 0, "{kept} coils kept, {finished} batches finished");
    assert_eq!(seen.len(), 7, "{seen:?}");
    // Chance does not come to these two: nothing is left of a batch from the start, and then a channel dies.
    let mut nothing = some_jobs().swap_remove(0);
    nothing.target = turntally_core::job::Target::Rings(0);
    let mut hand = Hand::new([nothing]);
    for (act, arrow) in [(Input::Key(Key::Yes), ("Choose", "Done")), (dead(), ("Done", "Fault"))] {
        let before = row_of(hand.bench.phase());
        hand.tell(act);
        assert_eq!((&*before, &*row_of(hand.bench.phase())), arrow);
        taken.insert((arrow.0.to_owned(), arrow.1.to_owned()));
    }
    assert_eq!(taken, arrows(), "the arrows that were taken, and those of the table above the bench");
}

/// A single reading that makes the count uncertain by whole turns is a fault as well: the error bound goes from certain
/// to unknown at once.
#[test]
fn one_reading_with_turns_of_missed_steps_is_a_fault() {
    let mut hand = begun();
    hand.cranks_to(5 * TURN, 120).reads(Reading { illegal: 2 * TURN as u32, ..QUIET });
    assert_eq!(hand.bench.error_bound(), ErrorBound::Unknown);
    assert!(matches!(hand.bench.state(), State::Fault { fault: Fault::MissedSteps, in_coil: true }));
}

/// A key that goes down just as a fault's page comes up was meant for the page before: it says nothing, and the
/// next one does.
#[test]
fn key_that_meets_a_fault_coming_up_says_nothing() {
    for key in [Key::Yes, Key::No] {
        let mut hand = begun();
        hand.cranks_to(5 * TURN, 120).tell(Input::SamplesLost);
        for _ in 0..7 {
            hand.tell(Input::Key(key));
            assert!(matches!(hand.bench.state(), State::Fault { fault: Fault::SamplesLost, in_coil: true }));
            assert!(hand.records.is_empty());
            hand.waits(100);
        }
        hand.tell(Input::Key(key));
        assert_ne!(hand.bench.phase(), Phase::Fault);
    }
}
