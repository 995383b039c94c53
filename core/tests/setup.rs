//! Setting the counter up with a knob and two keys.
#![allow(clippy::unwrap_used, reason = "a test may stop where it stands")]

mod common;

use common::{Hand, job};
use proptest::prelude::*;
use turntally_core::bench::{Bench, Phase, State};
use turntally_core::coil::{CoilModel, Winding};
use turntally_core::counter::{CountsPerTurn, Direction, Gear, Shaft};
use turntally_core::gauge::{Gauge, WireSize};
use turntally_core::job::{Lead, Progress, Target};
use turntally_core::metal::{Metal, Temper};
use turntally_core::plan::BatchPlan;
use turntally_core::settings::{KnobClick, Loudness, Make, Settings, Units};
use turntally_core::setup::{Entry, SetUp, Shown};
use turntally_core::signal::{Channel, Reading};
use turntally_core::spring::SpringRatio;
use turntally_core::time::Duration;
use turntally_core::units::{Length, Turns};

const QUIET: Reading = Reading { net: 0, illegal: 0, chatter: 0, dead: None, revived: false };

/// A counter as it comes out of its box.
fn new() -> Hand {
    let mut hand = Hand::new([]);
    hand.bench.set_up(Settings::default());
    hand
}

fn written(settings: &Settings) -> Vec<u8> {
    postcard::to_slice(settings, &mut [0; 200]).unwrap().to_vec()
}

fn pages(hand: &Hand) -> &SetUp {
    match hand.bench.state() {
        State::SetUp(set_up) => set_up,
        state => unreachable!("not setting up: {state:?}"),
    }
}

fn value(hand: &Hand) -> String {
    pages(hand).value(pages(hand).entry()).to_string()
}

/// Turns the knob slowly until the open entry reads so.
fn turn_to(hand: &mut Hand, way: i8, wanted: &str) {
    for _ in 0..2_000 {
        if value(hand) == wanted {
            return;
        }
        hand.waits(200).knob(way);
    }
    unreachable!("{:?} never reads {wanted}, but {}", pages(hand).entry(), value(hand));
}

/// Goes to the entry on the list, opens it, turns it to that and keeps it.
fn set(hand: &mut Hand, entry: Entry, way: i8, wanted: &str) {
    for _ in 0..40 {
        if pages(hand).entry() == entry {
            break;
        }
        hand.waits(200).knob(1);
    }
    assert_eq!(pages(hand).entry(), entry);
    hand.yes();
    turn_to(hand, way, wanted);
    hand.yes();
}

fn take(hand: &mut Hand) {
    hand.waits(200).knob(100);
    assert_eq!(pages(hand).entry(), Entry::Take);
    hand.yes();
}

fn open(hand: &mut Hand, clicks: i8) {
    hand.knob(clicks).yes();
    assert_eq!(hand.bench.phase(), Phase::SetUp);
}

/// The batch that somebody wants who has never seen the counter, set with the knob and wound: the same job
/// as one that is worked out by hand from the same figures.
#[test]
fn batch_is_set_up_with_knob_and_keys() {
    let mut hand = new();
    open(&mut hand, 1);
    set(&mut hand, Entry::Metal, 1, "sterling-silver");
    set(&mut hand, Entry::Temper, 1, "half-hard");
    set(&mut hand, Entry::SizedBy, 1, "AWG");
    assert_eq!(pages(&hand).value(Entry::Wire), "17 AWG", "the nearest to 1.2 mm");
    set(&mut hand, Entry::Wire, 1, "20 AWG");
    set(&mut hand, Entry::Mandrel, -1, "3.5 mm");
    set(&mut hand, Entry::Rings, -1, "240");
    set(&mut hand, Entry::Kerf, -1, "0.3 mm");
    set(&mut hand, Entry::Cradle, 1, "76 mm");
    take(&mut hand);
    let Shown::Outcome(Ok(outcome)) = pages(&hand).shown().clone() else {
        unreachable!("{:?}", pages(&hand).shown())
    };
    hand.yes();
    let (wire, mandrel) = (Gauge::awg(20).unwrap().diameter(), Length::from_um(3_500));
    let flow = Metal::find("sterling-silver").unwrap().flow(Temper::HalfHard, wire).unwrap();
    let spring = SpringRatio::estimate(flow, wire, mandrel).unwrap();
    let winding = Winding::new(wire, mandrel, 0.0, Length::from_um(300), spring).unwrap();
    let per_turn = CountsPerTurn::new(400, Shaft::Crank, Gear::DIRECT).unwrap();
    let coil = CoilModel::new(&winding, Turns::from_nano(Turns::ONE / 2));
    let rule = BatchPlan::new(coil, per_turn, Length::from_um(76_000)).unwrap();
    let job = hand.bench.jobs().job().unwrap();
    assert_eq!((job.rule, job.target), (rule, Target::Rings(240)));
    assert_eq!(job.name, "20 AWG on 3.5 mm sterlin");
    assert_eq!((outcome.coils, outcome.rings), (rule.coils(240), rule.full_rings()));
    assert_eq!(hand.bench.phase(), Phase::Choose);
    hand.yes().yes();
    assert_eq!(hand.bench.goal().unwrap().target, rule.target_counts(rule.full_rings()));
}

/// The counter itself is set up, the direction by turning the crank, and the job counts by it.
#[test]
fn counter_is_set_up_with_knob_and_crank() {
    let mut hand = new();
    open(&mut hand, 2);
    set(&mut hand, Entry::Pulses, 1, "600 pulses");
    set(&mut hand, Entry::CrankTeeth, 1, "48");
    set(&mut hand, Entry::MandrelTeeth, 1, "16");
    assert_eq!(pages(&hand).entry(), Entry::Direction);
    hand.yes();
    assert_eq!(pages(&hand).taught(), None);
    // A whole turn of the crank, against the way that the encoder calls forward.
    hand.reads(Reading { net: -2_400, ..QUIET });
    assert_eq!(
        (pages(&hand).taught(), pages(&hand).turns()),
        (Some(Direction::Reverse), Turns::from_whole(-3))
    );
    hand.yes();
    set(&mut hand, Entry::Lead, 1, "200 ms");
    set(&mut hand, Entry::Loudness, 1, "full");
    set(&mut hand, Entry::Units, 1, "inches");
    assert_eq!(pages(&hand).entry(), Entry::Knob);
    hand.yes().knob_click(2);
    assert_eq!(pages(&hand).value(Entry::Knob), "2 counts");
    hand.yes();
    take(&mut hand);
    let job = hand.bench.jobs().job().unwrap();
    let gear = Gear::new(48, 16).unwrap();
    assert_eq!(Some(job.rule.per_turn()), CountsPerTurn::new(600, Shaft::Crank, gear));
    assert_eq!((job.direction, job.lead), (Direction::Reverse, Lead::Set(Duration::from_millis(200))));
    let build = hand.bench.settings().build;
    assert_eq!((build.loudness, build.units), (Loudness::Full, Units::Inches));
    // Wound that way, the count rises.
    hand.yes().yes().reads(Reading { net: -800, ..QUIET });
    assert_eq!(hand.bench.turns(), Turns::from_whole(1));
}

/// Setting up the counter neither makes a batch nor chooses one: only the batch list does.
#[test]
fn setting_up_the_counter_chooses_no_job() {
    let mut hand = Hand::new([job("ordered", 30, 70_000)]);
    open(&mut hand, 2);
    take(&mut hand);
    assert_eq!((hand.bench.phase(), hand.bench.jobs().len()), (Phase::Choose, 1));
    assert_eq!(hand.bench.jobs().job().unwrap().name, "ordered");
    // With a batch that was set up here: it follows the counter, but is not chosen.
    open(&mut hand, 1);
    take(&mut hand);
    hand.yes();
    assert_eq!((hand.bench.jobs().len(), hand.bench.jobs().chosen()), (2, 1));
    hand.knob(-1);
    open(&mut hand, 3);
    set(&mut hand, Entry::Pulses, 1, "600 pulses");
    take(&mut hand);
    assert_eq!(hand.bench.jobs().job().unwrap().name, "ordered");
    let own = hand.bench.jobs().iter().nth(1).unwrap();
    assert_eq!(Some(own.rule.per_turn()), CountsPerTurn::new(600, Shaft::Crank, Gear::DIRECT));
    assert_eq!(hand.bench.phase(), Phase::Choose);
}

/// Whoever presses Yes again and again is led through every entry once and ends with what was there.
#[test]
fn yes_alone_leads_through_everything() {
    for clicks in [1, 2] {
        let mut hand = new();
        let before = *hand.bench.settings();
        open(&mut hand, clicks);
        let entries = pages(&hand).entries();
        for &entry in entries {
            assert_eq!(pages(&hand).entry(), entry);
            hand.yes();
            if entry != Entry::Take {
                assert!(matches!(pages(&hand).shown(), Shown::Entry));
                hand.yes();
            }
        }
        if clicks == 1 {
            hand.yes();
        }
        assert_eq!((hand.bench.phase(), *hand.bench.settings()), (Phase::Choose, before));
    }
}

/// No puts an entry back, and leaving the list changes nothing.
#[test]
fn no_undoes_and_leaves() {
    let mut hand = new();
    let before = *hand.bench.settings();
    open(&mut hand, 1);
    hand.yes().knob(3);
    assert_ne!(pages(&hand).settings().batch, before.batch);
    hand.no();
    assert_eq!(pages(&hand).settings().batch, before.batch);
    set(&mut hand, Entry::Rings, 1, "670");
    hand.no();
    assert_eq!((hand.bench.phase(), *hand.bench.settings()), (Phase::Choose, before));
}

/// Settings stored before the knob's click was known, and before the spool was, are read with a knob of four counts; a
/// click of another number of counts is none.
#[test]
fn older_settings_have_a_knob_of_four_counts() {
    let mut settings = Settings::default();
    settings.build.knob = KnobClick::TwoCounts;
    settings.batch.spool = Some(Length::from_um(5_000_000));
    let (metal, numbers): (heapless::String<40>, heapless::Vec<i64, 24>) =
        postcard::from_bytes(&written(&settings)).unwrap();
    let read = |numbers: &[i64]| {
        let bytes = postcard::to_slice(&(&metal, numbers), &mut [0; 200]).unwrap().to_vec();
        postcard::from_bytes::<Settings>(&bytes)
    };
    assert_eq!(read(&numbers).unwrap(), settings);
    settings.build.knob = KnobClick::FourCounts;
    assert_eq!(read(&numbers[..19]).unwrap(), settings);
    settings.batch.spool = None;
    assert_eq!(read(&numbers[..18]).unwrap(), settings);
    for wrong in [-1, 2] {
        assert!(read(&[&numbers[..19], &[wrong]].concat()).is_err());
    }
}

/// What is on the spool is set by the metre or the foot; what is left of it is shown when the pages are opened
/// again, and stays unless it is changed.
#[test]
fn spool_is_set_and_what_is_left_of_it_shown() {
    let mut hand = new();
    open(&mut hand, 1);
    assert_eq!(pages(&hand).value(Entry::Spool), "not known");
    set(&mut hand, Entry::Spool, 1, "9.0 m");
    take(&mut hand);
    hand.yes();
    assert_eq!(hand.bench.jobs().wire_left(), Some(Length::from_um(9_000_000)));
    hand.yes().yes().keeps_a_coil();
    let left = hand.bench.jobs().wire_left().unwrap();
    // 57 turns of some 18 mm.
    assert!((7_900..8_050).contains(&(left.nm() / 1_000_000)), "{left}");
    hand.no();
    assert_eq!(hand.bench.settings_now().batch.spool.unwrap().nm(), left.nm() / 100_000 * 100_000);
    // The batch comes first in the list, behind it the rings of its coils, and one ring to be measured.
    open(&mut hand, 3);
    let shown = pages(&hand).value(Entry::Spool);
    set(&mut hand, Entry::Kerf, 1, "0.45 mm");
    take(&mut hand);
    hand.yes();
    assert!(
        hand.bench.jobs().wire_left().unwrap().nm().abs_diff(left.nm()) < 100_000,
        "kept, though the batch is another"
    );
    // A spool is of one wire: another one's is not known.
    open(&mut hand, 3);
    assert_eq!(pages(&hand).value(Entry::Spool), shown);
    set(&mut hand, Entry::Wire, 1, "1.3 mm");
    assert_eq!(pages(&hand).value(Entry::Spool), "not known");
    take(&mut hand);
    hand.yes();
    assert_eq!(hand.bench.jobs().wire_left(), None);
}

/// A spool that holds too little for the next coil is reported before it begins, for a batch that was set here too.
#[test]
fn too_short_a_spool_is_known_before_the_coil() {
    let mut settings = Settings::default();
    settings.batch.spool = Some(Length::from_um(500_000));
    let mut hand = Hand::new([]);
    hand.bench.set_up(settings);
    let (left, takes) = hand.bench.jobs().wire_short().unwrap();
    assert!(left == Length::from_um(500_000) && takes > left);
    settings.batch.spool = Some(Length::from_um(5_000_000));
    hand.bench.set_up(settings);
    assert_eq!(hand.bench.jobs().wire_short(), None);
}

/// Coils of so many turns, or of a length, are wound until there are enough of them.
#[test]
fn batches_by_turns_and_by_length_end_after_their_coils() {
    for make in
        [Make::Turns { tenths: 255, coils: 3 }, Make::Length { length: Length::from_um(31_800), coils: 3 }]
    {
        let mut settings = Settings::default();
        settings.batch.make = make;
        let mut hand = Hand::new([]);
        hand.bench.set_up(settings);
        for coil in 1..=3 {
            hand.yes().yes();
            let goal = hand.bench.goal().unwrap().target;
            // 25.5 turns; and 31.8 mm are 25.5 turns of 1.2 mm and the one wire that a coil is longer by.
            assert_eq!(goal, 40_800, "{make:?}");
            hand.keeps_a_coil();
            assert_eq!(hand.bench.jobs().progress().kept, coil);
        }
        assert_eq!(hand.bench.phase(), Phase::Done, "{make:?}");
    }
}

/// What cannot be made says why, on a page that leads back, and nothing is taken.
#[test]
fn impossible_batches_say_why() {
    let cannot = |change: fn(&mut Settings)| {
        let mut settings = Settings::default();
        change(&mut settings);
        let mut hand = Hand::new([]);
        hand.bench.set_up(settings);
        assert_eq!(hand.bench.jobs().len(), 0, "no job comes of it");
        open(&mut hand, 0);
        take(&mut hand);
        let Shown::Outcome(Err(reason)) = pages(&hand).shown().clone() else {
            unreachable!("{:?}", pages(&hand).shown())
        };
        assert!(matches!(hand.yes().bench.state(), State::SetUp(_)));
        assert!(reason.0.len() <= 26 && reason.1.len() <= 28, "{reason:?}");
        format!("{} {}", reason.0, reason.1)
    };
    let shown = [
        cannot(|settings| settings.batch.mandrel = Length::from_um(500)),
        cannot(|settings| {
            settings.batch.mandrel = Length::from_um(2_000);
            settings.batch.kerf = Length::from_um(3_000);
        }),
        cannot(|settings| {
            settings.batch.wire = WireSize::Diameter(Length::from_um(6_000));
            settings.batch.mandrel = Length::from_um(12_000);
            settings.batch.cradle = Length::from_um(10_000);
        }),
        cannot(|settings| settings.batch.make = Make::Turns { tenths: 10_000, coils: 1 }),
        cannot(|settings| settings.batch.make = Make::Turns { tenths: 10, coils: 1 }),
        cannot(|settings| {
            settings.batch.wire = WireSize::Diameter(Length::from_um(100));
            settings.batch.temper = Temper::Spring;
            settings.batch.mandrel = Length::from_um(50_000);
        }),
    ];
    println!("{shown:#?}");
    assert!(shown[0].contains("at least 1.2 mm"), "{}", shown[0]);
    assert!(shown[3].contains("at most 57.3 turns"), "{}", shown[3]);
}

/// Steel wire is sold by a gauge of its own: it is set like the others and written down and read back.
#[test]
fn wire_is_set_by_the_steel_wire_gauge() {
    let mut hand = new();
    open(&mut hand, 1);
    set(&mut hand, Entry::Metal, 1, "mild-steel");
    set(&mut hand, Entry::SizedBy, 1, "W&M");
    assert_eq!(pages(&hand).value(Entry::Wire), "18 W&M", "0.0475 in is the nearest to 1.2 mm");
    set(&mut hand, Entry::Wire, -1, "16 W&M");
    take(&mut hand);
    let Shown::Outcome(Ok(_)) = pages(&hand).shown().clone() else {
        unreachable!("{:?}", pages(&hand).shown())
    };
    hand.yes();
    assert!(hand.bench.jobs().job().unwrap().name.starts_with("16 W&M"));
}

/// Turning past a metal that is sold in one temper only leaves no temper behind that nobody chose; one that was
/// chosen stays where the next metal has it.
#[test]
fn passing_a_metal_of_one_temper_chooses_none() {
    let mut hand = new();
    open(&mut hand, 1);
    set(&mut hand, Entry::Metal, 1, "music-wire");
    assert_eq!(pages(&hand).value(Entry::Temper), "spring");
    hand.waits(200).knob(-100);
    set(&mut hand, Entry::Metal, -1, "stainless-316l");
    assert_eq!(pages(&hand).value(Entry::Temper), "soft");
    set(&mut hand, Entry::Temper, 1, "hard");
    hand.waits(200).knob(-100);
    set(&mut hand, Entry::Metal, -1, "stainless-304");
    assert_eq!(pages(&hand).value(Entry::Temper), "hard");
}

/// Settings are written down and read back as they were; a value out of its range is refused whole.
#[test]
fn stored_settings_come_back_or_are_refused() {
    let mut settings = Settings::default();
    for metal in Metal::ALL {
        settings.batch.metal = metal;
        settings.batch.temper = metal.softest();
        for wire in [
            WireSize::Gauge(Gauge::swg(18).unwrap()),
            "16 W&M".parse().unwrap(),
            WireSize::Diameter(Length::from_um(900)),
        ] {
            settings.batch.wire = wire;
            let bytes = written(&settings);
            assert!(bytes.len() < 100, "{}", bytes.len());
            assert_eq!(postcard::from_bytes::<Settings>(&bytes), Ok(settings));
        }
    }
    settings.build.pulses = 0;
    assert!(postcard::from_bytes::<Settings>(&written(&settings)).is_err());
    // Cut short, they are none.
    let bytes = written(&Settings::default());
    for cut in 0..bytes.len() {
        assert!(postcard::from_bytes::<Settings>(&bytes[..cut]).is_err(), "{cut}");
    }
}

/// What has been made of a batch survives another encoder, other units and another sound, and ends where
/// the batch becomes another one.
#[test]
fn batch_in_progress_survives_a_new_encoder() {
    let mut hand = new();
    hand.yes().yes();
    hand.keeps_a_coil();
    let made = hand.bench.jobs().progress();
    assert!(made.rings > 0);
    let mut settings = *hand.bench.settings();
    settings.build.pulses = 1_000;
    settings.build.units = Units::Inches;
    let kept = hand.bench.jobs().batch(0).unwrap();
    hand.no();
    hand.bench.set_up(settings);
    assert_eq!(hand.bench.jobs().progress(), made);
    // And over a power cut.
    let mut again = Bench::new();
    again.set_up(settings);
    assert!(again.resume_batch(0, &kept));
    assert_eq!(again.jobs().progress(), made);
    settings.batch.mandrel = Length::from_um(5_000);
    hand.bench.set_up(settings);
    assert_eq!(hand.bench.jobs().progress(), Progress::default());
}

/// Whoever sets up while a channel dies keeps what they have set, and sees the fault where it matters.
#[test]
fn dead_channel_does_not_throw_out_of_the_pages() {
    let mut hand = new();
    open(&mut hand, 2);
    hand.reads(Reading { dead: Some(Channel::B), ..QUIET });
    assert_eq!((hand.bench.phase(), hand.bench.dead_channel()), (Phase::SetUp, Some(Channel::B)));
}

proptest! {
    /// Whatever is turned and pressed, settings stay within their ranges: they can be written down and
    /// read back.
    #[test]
    fn knob_stays_within_the_ranges(list in 1_i8..=2, acts in prop::collection::vec((0_u8..8, any::<i8>(), 0_u32..200), 0..120)) {
        let mut hand = new();
        open(&mut hand, list);
        for (act, clicks, ms) in acts {
            hand.waits(ms);
            match act {
                0 => hand.yes(),
                1 => hand.no(),
                2 | 3 => hand.knob(clicks.signum()),
                _ => hand.knob(clicks),
            };
            let State::SetUp(set_up) = hand.bench.state() else { break };
            let bytes = written(set_up.settings());
            prop_assert_eq!(postcard::from_bytes::<Settings>(&bytes), Ok(*set_up.settings()));
        }
    }
}
