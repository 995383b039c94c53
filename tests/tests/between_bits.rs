//! Bits that a cut left between 0 and 1, and that read differently from one start to the next: what one start
//! found, the next finds too.
//!
//! `TURNTALLY_CUTS=100000` cuts so often; without it fewer times.

use turntally_core::bench::log::LogEvent;
use turntally_core::bench::{ErrorBound, Phase};
use turntally_core::job::Progress;
use turntally_core::job_list::UncountedCoils;
use turntally_firmware::store::{SavedState, StoreError};
use turntally_sim::simulation::flash::{Cells, VirtualFlash};
use turntally_tests::cuts::{Counter, Cut, Ledger, SMALL, entries, job, progress, wanted_cuts};

/// What a counter shows after it has started, but for its log. The count of a coil may be another note's: that it is
/// within its error bound is checked elsewhere (`power_cuts.rs`).
#[derive(Debug, Clone, PartialEq)]
struct Shown {
    phase: Phase,
    in_coil: bool,
    given_up: bool,
    progress: Vec<Progress>,
    uncounted: UncountedCoils,
    settings: bool,
}

fn shown(kept: &SavedState, counter: &mut Counter) -> (Shown, Vec<(u32, LogEvent)>) {
    let bench = counter.app.bench();
    let shown = Shown {
        phase: bench.phase(),
        in_coil: bench.goal().is_some(),
        given_up: bench.error_bound() == ErrorBound::Unknown,
        progress: progress(bench),
        uncounted: bench.jobs().uncounted(),
        settings: kept.settings.is_some(),
    };
    (shown, entries(&mut counter.store, 0))
}

/// The power goes again and again, also while the counter starts, and each cut leaves bits between 0 and 1. Before the
/// hand goes on the counter is started several times: each time it shows the same, and has the same log. Every coil
/// that came off stands in the log once, or is back on the mandrel.
#[test]
fn every_start_finds_the_same() {
    let job = job();
    let flash = VirtualFlash::new(Cells::blank(SMALL.log_end as usize));
    flash.tear_between();
    let mut rng = fastrand::Rng::with_seed(0xb175);
    let (_, mut counter) = Counter::on(flash.clone(), SMALL, &job, 1);
    let mut ledger = Ledger::default();
    let (mut between, mut damaged) = (0_u64, false);
    let rounds = wanted_cuts();
    for round in 0..rounds {
        // Room for a coil and for the log is some ten erases: now and then there is time for that.
        let most = if rng.u8(..8) == 0 { 100_000 } else { 1_500 };
        flash.cut_after(rng.u64(1..most), rng.u64(..));
        let cut = Cut::of(&mut counter);
        for _ in 0..rng.u8(..3) {
            flash.power_on();
            flash.cut_after(rng.u64(1..300), rng.u64(..));
            drop(Counter::on(flash.clone(), SMALL, &job, round));
        }
        flash.power_on();
        between += u64::from(flash.with_cells(|cells| cells.between()) > 0);
        let (kept, mut next) = Counter::on(flash.clone(), SMALL, &job, round);
        let notice = kept.notice;
        // That is reported until there is room for the next coil's notes.
        damaged = (damaged || cut.may_be_reported()) && notice == Some(StoreError::NoteDamaged);
        let allowed = notice.is_none() || damaged;
        assert!(allowed, "round {round}: {notice:?}, {cut:?}");
        let (first, log) = shown(&kept, &mut next);
        if let Err(what) = ledger.check(&cut, &mut next) {
            unreachable!("round {round}: {what}");
        }
        for again in 1..4 {
            flash.power_on();
            let (kept, counter) = Counter::on(flash.clone(), SMALL, &job, round);
            next = counter;
            assert_eq!(kept.notice, notice, "round {round}, start {again}");
            let (second, second_log) = shown(&kept, &mut next);
            assert_eq!(second, first, "round {round}, start {again}");
            let gone = log.iter().filter(|entry| !second_log.contains(entry)).count();
            let come = second_log.iter().filter(|entry| !log.contains(entry)).count();
            assert_eq!((gone, come), (0, 0), "round {round}, start {again}: entries that have gone, or come");
        }
        counter = next;
    }
    let Ledger { logged, resumed, unknown, .. } = ledger;
    println!(
        "{rounds} cuts, after {between} of them bits between 0 and 1: {logged} coils in the log, none lost, none \
         twice; {resumed} coils gone on with; {unknown} came off before anything of them was kept"
    );
    assert!(between > rounds / 10 && resumed > rounds / 40 && logged > rounds / 40);
}
