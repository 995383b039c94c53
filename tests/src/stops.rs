//! Where the hand comes to rest: many coils of each operator, with the cue's lead and without it.

use std::sync::Mutex;
use std::sync::atomic::{AtomicU64, AtomicUsize, Ordering};

use turntally_core::job::Lead;
use turntally_sim::job::Job;
use turntally_sim::simulation::faults::FaultSet;
use turntally_sim::simulation::operator::OperatorProfile;
use turntally_sim::simulation::run::{self, NoObserver, Setup};
use turntally_sim::simulation::wires::Wiring;

/// Coils in a batch: the first ones are wound before the counter knows the hand.
const COILS_A_BATCH: u32 = 10;

/// How far from the target the hand first came to rest, over many coils.
#[derive(Debug, Clone)]
pub struct Stops {
    /// Turns past the target, negative short of it; sorted by size without the sign.
    errors: Vec<f64>,
}

impl Stops {
    fn new(mut errors: Vec<f64>) -> Self {
        errors.sort_by(|one, other| one.abs().total_cmp(&other.abs()));
        Self { errors }
    }

    /// Coils looked at.
    #[must_use]
    pub const fn coils(&self) -> usize {
        self.errors.len()
    }

    /// Share of the coils, 0 to 1, that ended at most `turns` from the target.
    #[must_use]
    pub fn share_within(&self, turns: f64) -> f64 {
        self.errors.partition_point(|error| error.abs() <= turns) as f64 / self.errors.len() as f64
    }

    /// Mean distance from the target, in turns, short and past alike.
    #[must_use]
    pub fn mean(&self) -> f64 {
        self.errors.iter().map(|error| error.abs()).sum::<f64>() / self.errors.len() as f64
    }

    /// The distance, in turns, that a share of the coils (0 to 1) keeps within.
    #[must_use]
    pub fn percentile(&self, share: f64) -> f64 {
        let rank = (share * self.errors.len() as f64).ceil() as usize;
        self.errors.get(rank.saturating_sub(1)).map_or(f64::NAN, |error| error.abs())
    }
}

/// A small batch of coils of 12 to 24 turns, the last of them what is left.
fn job(rng: &mut fastrand::Rng) -> Job {
    let turns = rng.u32(12..=24);
    let text = format!(
        "[job]\nrings = {}\n[wire]\nmetal = \"copper\"\nsize = \"1.2mm\"\nspring_ratio = 1.01\n\
         [mandrel]\ndiameter = \"6mm\"\n[winder]\npulses_per_rev = 100\n\
         [cutter]\ncoil_max = \"{:.2}mm\"\nkerf = \"0.3mm\"\n",
        (turns - 2) * COILS_A_BATCH,
        1.2 * f64::from(turns + 1),
    );
    match Job::parse(&text) {
        Ok(job) => job,
        Err(failure) => unreachable!("{failure}\n{text}"),
    }
}

/// The kept coils of one fresh batch: turns past the target at the first rest.
fn batch(seed: u64, profile: OperatorProfile, lead: Lead) -> Vec<f64> {
    let job = job(&mut fastrand::Rng::with_seed(seed));
    let setup = Setup { seed, profile, faults: FaultSet::default(), wiring: Wiring::default(), lead };
    let outcome = match run::wind(&job, setup, &mut NoObserver) {
        Ok(outcome) => outcome,
        Err(failure) => unreachable!("seed {seed}: {failure}"),
    };
    let kept = outcome.coils.iter().filter(|coil| coil.record.kept);
    kept.map(|coil| coil.stopped_at_turns - coil.record.target_turns.as_f64()).collect()
}

/// Winds at least `coils` coils in batches on every core, and looks at the first `coils` of them: the
/// same ones however many cores there are.
///
/// # Panics
/// Where the job is refused or a run fails: that is a fault of the test.
#[must_use]
pub fn stops(coils: usize, profile: OperatorProfile, lead: Lead) -> Stops {
    let (next, wound) = (AtomicU64::new(0), AtomicUsize::new(0));
    let batches = Mutex::new(Vec::new());
    let cores = std::thread::available_parallelism().map_or(1, usize::from);
    std::thread::scope(|scope| {
        for _ in 0..cores {
            scope.spawn(|| {
                while wound.load(Ordering::Relaxed) < coils {
                    let seed = next.fetch_add(1, Ordering::Relaxed);
                    let errors = batch(seed, profile, lead);
                    wound.fetch_add(errors.len(), Ordering::Relaxed);
                    batches.lock().unwrap_or_else(std::sync::PoisonError::into_inner).push((seed, errors));
                }
            });
        }
    });
    let mut batches = batches.into_inner().unwrap_or_else(std::sync::PoisonError::into_inner);
    batches.sort_by_key(|&(seed, _)| seed);
    Stops::new(batches.into_iter().flat_map(|(_, errors)| errors).take(coils).collect())
}
