//! Worn sectors, and cells that are stuck at a value: what the flash can still hold is saved, and what it cannot is reported
//! once.
//!
//! `TURNTALLY_CUTS=100000` tries 1,000 cells; without it fewer.

use turntally_firmware::store::guard::SECTOR;
use turntally_firmware::store::{Layout, Save};
use turntally_sim::simulation::flash::{Cells, VirtualFlash};
use turntally_tests::cuts::{Counter, Cut, Ledger, job, wanted_cuts};

/// With a sector to spare of each, and a segment of the log: 5 sectors of records, 12 of notes, 20 of the log.
const LAYOUT: Layout = Layout { records: 0, notes: 5 * SECTOR, end: 17 * SECTOR, log_end: 37 * SECTOR };

/// What says that something is not kept.
const NOT_SAVED: [&str; 3] = ["Flash is worn out", "Flash keeps no writing", "No room left in flash"];

fn blank() -> VirtualFlash {
    VirtualFlash::new(Cells::blank(LAYOUT.log_end as usize))
}

/// Counts the messages that something is not kept.
#[derive(Default)]
struct Reports {
    shown: Option<String>,
    reported: Vec<String>,
}

impl Reports {
    fn look(&mut self, counter: &Counter) {
        let notice = counter.app.view().notice.as_ref().map(|notice| notice.detail().to_owned());
        if notice != self.shown
            && let Some(detail) = &notice
            && NOT_SAVED.contains(&detail.as_str())
        {
            self.reported.push(detail.clone());
        }
        self.shown = notice;
    }
}

/// A counter on such a flash, its power cut several times: no coil is lost, and nothing is reported. Returns how many coils
/// are in its log.
fn nothing_is_lost(flash: &VirtualFlash, seed: u64, first_ms: u32, lives: u32) -> Result<u64, String> {
    let job = job();
    let mut rng = fastrand::Rng::with_seed(seed);
    let (_, mut counter) = Counter::on(flash.clone(), LAYOUT, &job, seed);
    let mut ledger = Ledger::default();
    for life in 0..lives {
        let mut reported = Reports::default();
        // Long enough for some coils to begin with.
        for _ in 0..if life == 0 { first_ms } else { 10_000 } {
            _ = counter.live();
            reported.look(&counter);
        }
        flash.cut_after(rng.u64(1..3_000), rng.u64(..));
        let cut = Cut::of(&mut counter);
        flash.power_on();
        let (kept, next) = Counter::on(flash.clone(), LAYOUT, &job, seed + u64::from(life));
        counter = next;
        if !reported.reported.is_empty() || kept.notice.is_some() {
            return Err(format!("life {life}: {:?} reported, {:?} found", reported.reported, kept.notice));
        }
        ledger.check(&cut, &mut counter).map_err(|what| format!("life {life}: {what}"))?;
    }
    Ok(ledger.logged)
}

/// Any one sector that is worn, from the first day or later.
#[test]
fn one_worn_sector_costs_nothing() {
    let mut logged = 0;
    let sectors = LAYOUT.log_end / SECTOR;
    for sector in 0..sectors {
        let flash = blank();
        flash.with_cells(|cells| cells.wear_out(sector as usize, 1 << (sector % 8)));
        match nothing_is_lost(&flash, sector.into(), 2_000_000, 6) {
            Ok(coils) => logged += coils,
            Err(what) => unreachable!("sector {sector}: {what}"),
        }
    }
    println!("{sectors} sectors worn, one each time: {logged} coils, none lost");
    assert!(logged > u64::from(sectors) * 5);
}

/// Any one cell that is stuck at 0 or 1.
#[test]
fn one_stuck_cell_costs_nothing() {
    let cells = if wanted_cuts() >= 100_000 { 1_000 } else { 60 };
    let mut rng = fastrand::Rng::with_seed(0x57_0c);
    let mut logged = 0;
    for seed in 0..cells {
        let flash = blank();
        // Most of them where something is written soon.
        let region = [LAYOUT.records, LAYOUT.notes, LAYOUT.end][rng.usize(..3)];
        let byte = if rng.u8(..4) == 0 { rng.u32(..LAYOUT.log_end) } else { region + rng.u32(..SECTOR / 2) };
        let (bits, at_1) = (1 << rng.u8(..8), rng.bool());
        flash.with_cells(|cells| cells.stick(byte as usize, bits, at_1));
        match nothing_is_lost(&flash, seed, 200_000, 4) {
            Ok(coils) => logged += coils,
            Err(what) => unreachable!("{bits:#04x} of byte {byte:#x} stuck, {at_1} at 1: {what}"),
        }
    }
    println!("{cells} cells stuck, one each time: {logged} coils, none lost");
    assert!(logged > cells * 4);
}

/// No cell of the records, the notes or the log takes anything any more: that is reported once, and the others go on.
#[test]
fn what_fails_is_reported_once_and_the_others_go_on() {
    let job = job();
    let regions = [(LAYOUT.records, LAYOUT.notes), (LAYOUT.notes, LAYOUT.end), (LAYOUT.end, LAYOUT.log_end)];
    for (failed, (from, to)) in regions.into_iter().enumerate() {
        let flash = blank();
        let (_, mut counter) = Counter::on(flash.clone(), LAYOUT, &job, 77);
        for _ in 0..40_000 {
            _ = counter.live();
        }
        // The first bytes of every place where something can begin, and every sector.
        flash.with_cells(|cells| {
            for byte in (from..to).step_by(16) {
                cells.stick(byte as usize, 0xff, true);
            }
            for sector in from / SECTOR..to / SECTOR {
                cells.wear_out(sector as usize, 0x20);
            }
        });
        let mut reported = Reports::default();
        let mut saved = [0; 3];
        let (coils, logged) = (counter.coils.len(), counter.logged);
        for _ in 0..200_000 {
            let save = counter.live();
            reported.look(&counter);
            match save {
                Some(Save::Batch(..)) => saved[0] += 1,
                Some(Save::Note(_)) => saved[1] += 1,
                Some(Save::Log(_)) => saved[2] += 1,
                _ => {}
            }
        }
        let (coils, logged) = (counter.coils.len() - coils, counter.logged - logged);
        println!(
            "{failed}: {:?} reported, {coils} coils, {logged} of them logged, {saved:?} saved",
            reported.reported
        );
        assert_eq!(reported.reported.len(), 1, "{failed}: {:?}", reported.reported);
        assert!(coils > 5, "{failed}: {coils} coils");
        assert!(saved[0] > 3 || failed == 0, "{failed}: {saved:?}");
        assert!(saved[1] > 50 || failed == 1, "{failed}: {saved:?}");
        assert!(failed == 2 || logged + 1 >= coils, "{failed}: {logged} of {coils}");
    }
}
