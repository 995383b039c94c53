//! Whole batches: random jobs, operators, gears and faults, wound edge by edge and sawn.
//!
//! The number of batches is 500 unless `TURNTALLY_BATCHES` gives another; `.ci/campaign` winds 10,000.

use turntally_core::cue::DEFAULT_LEAD;
use turntally_core::job::Lead;
use turntally_sim::job::{DEMO, Job};
use turntally_sim::simulation::faults::FaultKind;
use turntally_sim::simulation::operator::PROFILES;
use turntally_sim::simulation::run::{self, NoObserver, Setup};
use turntally_sim::simulation::wires::Wiring;
use turntally_tests::campaign;

fn batches() -> u64 {
    match std::env::var("TURNTALLY_BATCHES") {
        Ok(text) => text.parse().unwrap_or_else(|_| unreachable!("TURNTALLY_BATCHES is no number: {text}")),
        Err(_) => 500,
    }
}

fn kinds(survivable: bool) -> Vec<FaultKind> {
    FaultKind::ALL.into_iter().filter(|kind| kind.is_survivable() == survivable).collect()
}

/// With every fault that a decoder can survive, each coil's count is the true one to the last count,
/// and no coil promises a ring that the saw does not give.
#[test]
fn survivable_faults_cost_no_count_and_no_ring() {
    let tally = campaign(batches(), &kinds(true));
    println!("survivable faults: {tally}");
    assert_eq!((tally.miscounted, tally.broken_promises, tally.unfinished), (0, 0, 0), "{tally}");
    assert!(tally.cut >= tally.promised && tally.coils > tally.batches, "{tally}");
}

/// With the faults that it cannot, a count that is wrong has an error bound of at least as much as it is
/// wrong, and still no coil promises a ring that the saw does not give.
#[test]
fn other_faults_are_reported_and_cost_no_promise() {
    let all: Vec<FaultKind> = FaultKind::ALL.to_vec();
    let tally = campaign(batches() / 4, &all);
    println!("all faults: {tally}");
    assert_eq!((tally.silent, tally.beyond_doubt, tally.broken_promises), (0, 0, 0), "{tally}");
    // Begun thousands, since a short campaign has fewer than a thousand coils.
    let most = tally.coils.div_ceil(1_000);
    assert!(tally.ended_before_noticed <= most, "a coil in a thousand at most: {tally}");
    // The faults are there: some counts are wrong, and some batches are given up.
    assert!(tally.miscounted > 0 && tally.unfinished > 0, "{tally}");
}

/// Same seed, same run, bit for bit; another seed, another run.
#[test]
fn same_seed_same_run() {
    let job = Job::parse(DEMO).unwrap_or_else(|failure| unreachable!("{failure}"));
    let run = |seed| {
        let faults = [FaultKind::Bounce, FaultKind::Noise, FaultKind::SupplyDips].into_iter().collect();
        let setup = Setup {
            seed,
            profile: PROFILES[2],
            faults,
            wiring: Wiring::default(),
            lead: Lead::Learned(DEFAULT_LEAD),
        };
        format!("{:?}", run::wind(&job, setup, &mut NoObserver))
    };
    assert_eq!(run(11), run(11));
    assert_ne!(run(11), run(12));
}
