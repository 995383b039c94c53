//! What the workspace's tests share: random jobs and the tally of a campaign of batches.
#![forbid(unsafe_code)]

pub mod cuts;
pub mod desk;
pub mod pieces;
pub mod script;
pub mod stops;

use std::fmt;

use turntally_core::bench::Fault;
use turntally_core::cue::DEFAULT_LEAD;
use turntally_core::job::Lead;
use turntally_core::signal::Channel;
use turntally_sim::job::Job;
use turntally_sim::simulation::faults::{FaultKind, FaultSet};
use turntally_sim::simulation::operator::PROFILES;
use turntally_sim::simulation::run::{self, Coil, NoObserver, Outcome, Setup};
use turntally_sim::simulation::wires::Wiring;

/// A random job file: any listed metal and temper, wire, mandrel, gear and encoder that fit together.
/// Small, so that thousands can be wound.
#[must_use]
pub fn random_job(rng: &mut fastrand::Rng) -> String {
    let metals = ["copper", "yellow-brass", "sterling-silver", "stainless-304", "aluminium-5356", "niobium"];
    let wire = [0.6, 0.8, 0.9, 1.0, 1.2, 1.6][rng.usize(..6)];
    let mandrel = wire * (2.0 + 5.0 * rng.f64());
    let spring =
        if rng.bool() { format!("spring_ratio = {:.4}\n", 1.0 + 0.08 * rng.f64()) } else { String::new() };
    // A coarse encoder counts badly only if it is far below one count to a tenth of a turn.
    let pulses = [20, 24, 100, 360, 400, 600, 1024][rng.usize(..7)];
    let gear = ["1:1", "1:1", "48:16", "20:30", "37:11", "16:48"][rng.usize(..6)];
    let shaft = ["crank", "mandrel"][rng.usize(..2)];
    format!(
        "[job]\nrings = {}\nspare_percent = {}\n\
         [wire]\nmetal = \"{}\"\nsize = \"{wire}mm\"\n{spring}\
         [mandrel]\ndiameter = \"{mandrel:.2}mm\"\n\
         [winder]\nencoder_on = \"{shaft}\"\ngear = \"{gear}\"\npulses_per_rev = {pulses}\n\
         [cutter]\ncoil_max = \"{}mm\"\nkerf = \"0.{}mm\"\n\
         [coil]\ngap = {:.3}\ntail_turns = {:.2}\n",
        rng.u32(4..40),
        rng.u32(0..8),
        metals[rng.usize(..metals.len())],
        rng.u32(18..40),
        rng.u32(1..4),
        0.05 * rng.f64(),
        rng.f64(),
    )
}

/// A batch that was wound.
#[derive(Debug)]
pub struct Batch {
    /// What was switched on.
    pub faults: FaultSet,
    /// Counts in half a revolution of its encoder.
    pub half_revolution: u64,
    /// What came of it.
    pub outcome: Outcome,
}

impl Batch {
    /// Whether this coil came off within the half revolution that a dead channel takes to be noticed, and it was
    /// noticed on the next one, if there was one: the limit in sim/docs/accuracy.md.
    fn ended_before_noticed(&self, coil: usize) -> bool {
        let dead = |coil: &Coil| {
            [Channel::A, Channel::B]
                .into_iter()
                .any(|channel| coil.record.faults.contains(Fault::Dead(channel)))
        };
        let off = |coil: &Coil| coil.record.counts.abs_diff(coil.true_counts);
        let mut coils = self.outcome.coils.iter().skip(coil);
        (self.faults.has(FaultKind::DeadA) || self.faults.has(FaultKind::DeadB))
            && coils.next().is_some_and(|coil| !dead(coil) && off(coil) <= self.half_revolution)
            && coils.next().is_none_or(dead)
    }
}

/// Winds one random batch with random faults out of `kinds`.
///
/// # Panics
/// Where the random job is refused or the run fails: that is a fault of the test.
#[must_use]
pub fn random_batch(seed: u64, kinds: &[FaultKind]) -> Batch {
    let mut rng = fastrand::Rng::with_seed(seed);
    let text = random_job(&mut rng);
    let job = match Job::parse(&text) {
        Ok(job) => job,
        Err(failure) => unreachable!("seed {seed}: {failure}\n{text}"),
    };
    let faults: FaultSet = kinds.iter().copied().filter(|_| rng.u8(..3) == 0).collect();
    let profile = PROFILES[rng.usize(..PROFILES.len())];
    let setup = Setup { seed, profile, faults, wiring: Wiring::default(), lead: Lead::Learned(DEFAULT_LEAD) };
    match run::wind(&job, setup, &mut NoObserver) {
        Ok(outcome) => Batch { faults, half_revolution: 2 * u64::from(job.pulses_per_rev), outcome },
        Err(failure) => unreachable!("seed {seed}: {failure}"),
    }
}

/// What came of many batches.
#[derive(Debug, Clone, Default)]
pub struct Totals {
    /// Batches wound to their end or given up.
    pub batches: u64,
    /// Coils taken off.
    pub coils: u64,
    /// Encoder edges simulated.
    pub edges: u64,
    /// Rings promised by all kept coils, and rings cut from them.
    pub promised: u64,
    /// Rings cut.
    pub cut: u64,
    /// Coils whose count was not the true one to the last count.
    pub miscounted: u64,
    /// Coils that promised more rings than the saw gave.
    pub broken_promises: u64,
    /// Coils that were miscounted, with nothing reported.
    pub silent: u64,
    /// Coils miscounted by more than the reported error bound.
    pub beyond_doubt: u64,
    /// Coils that came off before a dead channel could be noticed, and are in neither of the two above.
    pub ended_before_noticed: u64,
    /// Batches that were not finished.
    pub unfinished: u64,
    /// The seeds behind the worst of these.
    pub suspects: Vec<u64>,
}

impl Totals {
    /// Adds a batch.
    pub fn add(&mut self, seed: u64, batch: &Batch) {
        let Batch { faults, outcome, .. } = batch;
        self.batches += 1;
        self.edges += outcome.edges;
        self.unfinished += u64::from(!outcome.finished);
        let mut suspect = false;
        for (place, coil) in outcome.coils.iter().enumerate() {
            self.coils += 1;
            self.promised += u64::from(coil.record.rings);
            self.cut += u64::from(coil.rings_cut);
            let off = coil.record.counts.abs_diff(coil.true_counts);
            let broken = coil.rings_cut < coil.record.rings;
            let mut silent = off > 0 && coil.record.faults.is_empty();
            let mut beyond =
                run::doubt_counts(coil.record.error_bound).is_some_and(|error_bound| off > error_bound);
            if (silent || beyond) && batch.ended_before_noticed(place) {
                self.ended_before_noticed += 1;
                (silent, beyond) = (false, false);
            }
            self.miscounted += u64::from(off > 0);
            self.broken_promises += u64::from(broken);
            self.silent += u64::from(silent);
            self.beyond_doubt += u64::from(beyond);
            suspect |= broken || silent || beyond;
        }
        suspect |= !outcome.finished && faults.is_survivable();
        if suspect && self.suspects.len() < 10 {
            self.suspects.push(seed);
        }
    }
}

impl fmt::Display for Totals {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(
            f,
            "{} batches, {} coils, {} edges: {} coils miscounted ({} with nothing reported, {} beyond the \
             reported error bound, {} besides that came off before a dead channel could be noticed), {} rings promised, {} cut, {} promises broken, {} batches given up, suspects {:?}",
            self.batches,
            self.coils,
            self.edges,
            self.miscounted,
            self.silent,
            self.beyond_doubt,
            self.ended_before_noticed,
            self.promised,
            self.cut,
            self.broken_promises,
            self.unfinished,
            self.suspects,
        )
    }
}

/// Winds `batches` random batches on every core.
///
/// # Panics
/// As [`random_batch`].
#[must_use]
pub fn campaign(batches: u64, kinds: &[FaultKind]) -> Totals {
    let next = std::sync::atomic::AtomicU64::new(0);
    let sum = std::sync::Mutex::new(Totals::default());
    let cores = std::thread::available_parallelism().map_or(1, usize::from);
    std::thread::scope(|scope| {
        for _ in 0..cores {
            scope.spawn(|| {
                loop {
                    let seed = next.fetch_add(1, std::sync::atomic::Ordering::Relaxed);
                    if seed >= batches {
                        return;
                    }
                    let batch = random_batch(seed, kinds);
                    let mut sum = match sum.lock() {
                        Ok(sum) => sum,
                        Err(poisoned) => poisoned.into_inner(),
                    };
                    sum.add(seed, &batch);
                }
            });
        }
    });
    match sum.into_inner() {
        Ok(tally) => tally,
        Err(poisoned) => poisoned.into_inner(),
    }
}
