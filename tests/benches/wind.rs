//! Winding a whole batch on the simulated bench: encoder edges per second of real time, for each
//! operator, and how many times faster than at a bench. Run with
//! `cargo bench -p turntally-tests --bench wind`.
#![allow(clippy::unwrap_used, reason = "a bench that cannot run must stop")]

use std::time::Instant;

use divan::Bencher;
use divan::counter::ItemsCount;
use turntally_core::cue::DEFAULT_LEAD;
use turntally_core::job::Lead;
use turntally_sim::job::{DEMO, Job};
use turntally_sim::simulation::faults::FaultSet;
use turntally_sim::simulation::operator::{OperatorProfile, PROFILES};
use turntally_sim::simulation::run::{self, NoObserver, Outcome, Setup};
use turntally_sim::simulation::wires::Wiring;

fn main() {
    // The same as `turntally wind demo`: every edge simulated, sampled, decoded; every screen drawn.
    for profile in PROFILES {
        let begun = Instant::now();
        let outcome = wind(profile);
        let took = begun.elapsed().as_secs_f64();
        assert!(outcome.finished && outcome.lost_counts() == 0);
        println!(
            "{:<8} {:6.0} s of winding in {took:.2} s: {:.0} times real time",
            profile.name,
            outcome.seconds,
            outcome.seconds / took,
        );
    }
    divan::main();
}

fn wind(profile: OperatorProfile) -> Outcome {
    let setup = Setup {
        seed: 1,
        profile,
        faults: FaultSet::default(),
        wiring: Wiring::default(),
        lead: Lead::Learned(DEFAULT_LEAD),
    };
    run::wind(&Job::parse(DEMO).unwrap(), setup, &mut NoObserver).unwrap()
}

#[divan::bench(args = PROFILES.map(|profile| profile.name), sample_count = 10, sample_size = 1)]
fn demo_edges(bencher: Bencher, name: &str) {
    let profile: OperatorProfile = name.parse().unwrap();
    bencher.counter(ItemsCount::new(wind(profile).edges)).bench(|| wind(profile));
}
