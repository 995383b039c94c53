//! The stand in a test's own hand: crank, keys and knob, without the scripted operator.
#![allow(clippy::unwrap_used, clippy::panic, reason = "a test that cannot go on should stop")]

use turntally_core::bench::Phase;
use turntally_core::cue::DEFAULT_LEAD;
use turntally_core::input::Key;
use turntally_core::job::Lead;
use turntally_sim::job::{DEMO, Job};
use turntally_sim::simulation::faults::FaultSet;
use turntally_sim::simulation::run::{Coil, Hand, NoObserver, SimulatedBench};

/// A hand at a stand.
struct Person {
    simulated_bench: SimulatedBench,
    hand: Hand,
    coils: Vec<Coil>,
}

impl Person {
    fn wait(&mut self, ms: u32) {
        for _ in 0..ms {
            self.coils.extend(self.simulated_bench.step(self.hand, &mut NoObserver).unwrap());
        }
    }

    fn press(&mut self, key: Key) {
        self.hand.key = Some(key);
        self.wait(60);
        self.hand.key = None;
        self.wait(60);
    }

    /// Turns the knob by clicks, a quarter each millisecond.
    fn turn_knob(&mut self, clicks: i32) {
        for _ in 0..4 * clicks.abs() {
            self.hand.knob_quarters += clicks.signum();
            self.wait(1);
        }
        self.wait(20);
    }

    /// Cranks at one turn a second to the target; then lays the hand still.
    fn wind_to_target(&mut self) {
        self.hand.is_still = false;
        for _ in 0..300_000 {
            let bench = self.simulated_bench.bench();
            if bench.phase() == Phase::Stop && bench.turns() >= bench.target_turns() {
                break;
            }
            self.hand.crank_turns += 1e-3;
            self.wait(1);
        }
        self.hand.is_still = true;
        self.wait(500);
    }

    fn phase(&self) -> Phase {
        self.simulated_bench.bench().phase()
    }
}

/// One coil is thrown away by the knob, the next one kept: the counter counts what the crank did.
#[test]
fn a_coil_thrown_away_and_a_coil_kept() {
    let job = Job::parse(DEMO).unwrap();
    let rings = job.rings_to_make().unwrap();
    let lead = Lead::Learned(DEFAULT_LEAD);
    let simulated_bench = SimulatedBench::new(&job, FaultSet::default(), lead, rings, 1).unwrap();
    let hand = Hand { is_still: true, ..Hand::default() };
    let mut person = Person { simulated_bench, hand, coils: Vec::new() };

    person.wait(100);
    person.press(Key::Yes);
    assert_eq!(person.phase(), Phase::Ready);
    person.press(Key::Yes);
    let before = person.hand.crank_turns;
    person.wind_to_target();
    let turned = (person.hand.crank_turns - before) * job.gear.ratio();
    assert!(turned > 1.0);
    assert!((person.simulated_bench.turns_on_mandrel() - turned).abs() < 1e-9);
    // The first edge may lie up to a count from where the crank stood.
    let per_turn = 4.0 * f64::from(job.pulses_per_rev) / job.gear.ratio();
    assert!((person.simulated_bench.bench().turns().as_f64() - turned).abs() <= 1.0 / per_turn + 1e-9);
    person.press(Key::Yes);
    assert_eq!(person.phase(), Phase::Verdict);
    person.turn_knob(1);
    person.press(Key::Yes);
    assert_eq!(person.phase(), Phase::Ready);
    assert!(!person.coils.first().unwrap().record.kept, "{:?}", person.coils);
    assert_eq!(person.coils.first().unwrap().rings_cut, 0);

    person.press(Key::Yes);
    person.wind_to_target();
    person.press(Key::Yes);
    person.press(Key::Yes);
    let [_, kept] = person.coils.as_slice() else { panic!("{:?}", person.coils) };
    assert!(kept.record.kept);
    assert_eq!(kept.record.counts, kept.true_counts);
    assert!(kept.rings_cut >= kept.record.rings && kept.record.rings > 0);
}

/// A coil wound past the cradle's length and kept all the same is sawn in pieces that fit, and gives at least what the
/// counter promised for them.
#[test]
fn a_coil_too_long_for_the_cradle_is_sawn_in_pieces() {
    for (over, pieces) in [(0.3, 1), (12.0, 2), (25.0, 2)] {
        let job = Job::parse(DEMO).unwrap();
        let rings = job.rings_to_make().unwrap();
        let simulated_bench =
            SimulatedBench::new(&job, FaultSet::default(), Lead::Learned(DEFAULT_LEAD), rings, 1).unwrap();
        let hand = Hand { is_still: true, ..Hand::default() };
        let mut person = Person { simulated_bench, hand, coils: Vec::new() };
        person.wait(100);
        person.press(Key::Yes);
        person.press(Key::Yes);
        person.wind_to_target();
        for _ in 0..(over * 1e3) as u32 {
            person.hand.crank_turns += 1e-3;
            person.wait(1);
        }
        person.press(Key::Yes);
        person.turn_knob(-2);
        person.press(Key::Yes);
        let [coil] = person.coils.as_slice() else { panic!("{over}: {:?}", person.coils) };
        assert_eq!(coil.released.unwrap().pieces, pieces, "{over}");
        assert!(coil.rings_cut >= coil.record.rings && coil.record.rings > 0, "{over}: {coil:?}");
    }
}

/// With the sound turned off by the knob a whole coil is wound in silence, to the same target.
#[test]
fn sound_that_is_off_stays_off() {
    for (clicks, heard) in [(0, true), (-5, false)] {
        let job = Job::parse(DEMO).unwrap();
        let rings = job.rings_to_make().unwrap();
        let simulated_bench =
            SimulatedBench::new(&job, FaultSet::default(), Lead::Learned(DEFAULT_LEAD), rings, 1).unwrap();
        let hand = Hand { is_still: true, ..Hand::default() };
        let mut person = Person { simulated_bench, hand, coils: Vec::new() };
        person.wait(100);
        person.press(Key::Yes);
        person.turn_knob(clicks);
        person.press(Key::Yes);
        let mut notes = 0;
        for _ in 0..60_000 {
            person.hand.crank_turns += 1e-3;
            person.wait(1);
            notes += u32::from(person.simulated_bench.lines().hertz().is_some());
        }
        assert_eq!(person.phase(), Phase::Over);
        assert_eq!(notes > 0, heard, "{notes}");
    }
}
