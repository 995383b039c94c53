//! The log of coils in flash: cut after any byte, full, damaged, forgotten.
//!
//! `TURNTALLY_CUTS=100000` cuts after every byte; without it after some of them.

use turntally_core::bench::log::{LogEvent, RingCount};
use turntally_core::link::Request;
use turntally_firmware::app::App;
use turntally_firmware::link::Ask;
use turntally_firmware::store::guard::{Open, SECTOR};
use turntally_firmware::store::log::ENTRIES;
use turntally_firmware::store::{Layout, Save, Store, StoreError};
use turntally_sim::simulation::flash::{Cells, Change, VirtualFlash};
use turntally_tests::cuts::{Counter, SMALL, entries, job, wanted_cuts};

/// Three segments, so that one is always whole beside the one that is written and the one that is blank.
const LAYOUT: Layout = Layout { log_end: 29 * SECTOR, ..SMALL };

type Log = Store<VirtualFlash, Open>;

fn log_on(cells: &Cells) -> Log {
    Store::new(VirtualFlash::new(cells.clone()), Open, LAYOUT)
}

fn blank() -> (VirtualFlash, Log) {
    let flash = VirtualFlash::new(Cells::blank(LAYOUT.log_end as usize));
    (flash.clone(), Store::new(flash, Open, LAYOUT))
}

/// What entry number `number` says in these tests.
fn event(number: u32) -> LogEvent {
    LogEvent::RingCount(RingCount {
        job: number,
        batch: 1,
        coils: 1,
        rings: number.wrapping_mul(0x9e37_79b9),
        rejects: number % 5,
    })
}

/// Writes as the counter does: room first.
fn write(store: &mut Log, event: LogEvent, leave: bool) -> Result<(), StoreError> {
    store.save(&Save::LogRoom { leave })?;
    store.save(&Save::Log(event.to_bytes()))
}

/// What is read back: each is what was written under its number.
fn numbers(store: &mut Log, from: u32) -> Vec<u32> {
    let found = entries(store, from);
    assert!(found.iter().all(|(number, found)| *found == event(*number)), "{found:?}");
    found.into_iter().map(|(number, _)| number).collect()
}

/// The power goes after any byte while entries are written, fetched and overwritten: all that was reported
/// be kept is there, but for what a computer had; the one in progress is there whole or not at all; and
/// the log goes on from there.
#[test]
fn every_cut_of_the_log_is_survived() {
    let stride = if wanted_cuts() >= 100_000 { 1 } else { 23 };
    let (flash, mut store) = blank();
    let mut cells = flash.cells();
    let mut rng = fastrand::Rng::with_seed(4);
    let (mut cuts, mut fetched) = (0_u64, 0);
    for number in 0..5 * ENTRIES {
        _ = flash.journal();
        assert_eq!(write(&mut store, event(number), false), Ok(()), "{number}");
        if number % 40 == 39 {
            fetched = number - 20;
            assert_eq!(store.save(&Save::Acknowledged(fetched)), Ok(()));
        }
        for change in flash.journal() {
            let erase = matches!(change, Change::Erase { .. });
            for done in (rng.usize(..stride)..change.len()).step_by(if erase { 31 * stride } else { stride })
            {
                let mut torn = cells.clone();
                torn.tear(&change, done, &mut rng);
                let mut after = log_on(&torn);
                if number == 0 && after.log_next() == Err(StoreError::Damaged) {
                    // The very first write of all: there was nothing to lose, and blank is a beginning.
                    assert_eq!(after.save(&Save::Clear), Ok(()));
                }
                let from = number.saturating_sub(8).max(fetched);
                let found = numbers(&mut after, from);
                let (old, new) = (from..number, from..=number);
                assert!(
                    old.eq(found.iter().copied()) || new.eq(found.iter().copied()),
                    "{number}: {found:?}"
                );
                let next = found.last().map_or(number, |last| last + 1);
                assert_eq!(write(&mut after, event(next), false), Ok(()));
                assert_eq!(numbers(&mut after, from).last(), Some(&next), "{number}: {done} of {change:?}");
                cuts += 1;
            }
            cells.make(&change);
        }
    }
    println!("{cuts} cuts of the log, in {} entries", 5 * ENTRIES);
}

/// A full log gives up the oldest entries: those that were fetched at once, others only with leave.
#[test]
fn full_log_asks_before_it_forgets() {
    let (_, mut store) = blank();
    let mut number = 0;
    while write(&mut store, event(number), false) == Ok(()) {
        number += 1;
    }
    assert_eq!(number, 3 * ENTRIES, "three segments full");
    assert_eq!(store.save(&Save::LogRoom { leave: false }), Err(StoreError::LogFull));
    assert_eq!(numbers(&mut store, 0).len(), 3 * ENTRIES as usize, "nothing has gone");
    // One entry short of the oldest segment is not enough; the whole of it is.
    assert_eq!(store.save(&Save::Acknowledged(ENTRIES - 1)), Ok(()));
    assert_eq!(store.save(&Save::LogRoom { leave: false }), Err(StoreError::LogFull));
    assert_eq!(store.save(&Save::Acknowledged(ENTRIES)), Ok(()));
    assert_eq!(write(&mut store, event(number), false), Ok(()));
    assert_eq!(numbers(&mut store, 0), (ENTRIES..=number).collect::<Vec<_>>(), "the oldest have gone");
    // With leave the next oldest go, and no more than they.
    for number in number + 1..4 * ENTRIES {
        assert_eq!(write(&mut store, event(number), false), Ok(()));
    }
    assert_eq!(write(&mut store, event(4 * ENTRIES), true), Ok(()));
    assert_eq!(numbers(&mut store, 0), (2 * ENTRIES..=4 * ENTRIES).collect::<Vec<_>>());
}

/// A bit that flips in an entry costs that entry, and is never another entry; the log goes on.
#[test]
fn flipped_bits_cost_one_entry() {
    let (flash, mut store) = blank();
    let written = 2 * ENTRIES + 30;
    for number in 0..written {
        assert_eq!(write(&mut store, event(number), false), Ok(()));
    }
    let cells = flash.cells();
    let log = LAYOUT.end as usize..LAYOUT.log_end as usize;
    let used: Vec<usize> = log.filter(|&at| cells.bytes()[at] != 0xff).collect();
    let mut rng = fastrand::Rng::with_seed(8);
    let flips = wanted_cuts() / 20;
    let mut most = 0;
    for _ in 0..flips {
        let mut flipped = cells.clone();
        flipped.bytes_mut()[used[rng.usize(..used.len())]] ^= 1 << rng.u8(..8);
        let mut store = log_on(&flipped);
        let lost = written as usize - numbers(&mut store, 0).len();
        most = most.max(lost);
        let next = store.log_next();
        assert!(next == Ok(written) || lost == 1 && next == Ok(written - 1), "{next:?}");
        assert_eq!(store.save(&Save::LogRoom { leave: false }), Ok(()));
    }
    println!("{flips} bits flipped in the log: at most {most} entry lost each time, none false");
    assert!(most <= 1, "{most}");
}

/// Records made blank: the log is found again, no entry is lost, no number given twice.
#[test]
fn log_is_found_without_the_records() {
    for written in [1, 5, ENTRIES, ENTRIES + 1, 2 * ENTRIES + 50] {
        let (flash, mut store) = blank();
        for number in 0..written {
            assert_eq!(write(&mut store, event(number), false), Ok(()));
        }
        let mut cells = flash.cells();
        cells.bytes_mut()[..LAYOUT.notes as usize].fill(0xff);
        let mut store = log_on(&cells);
        assert_eq!(numbers(&mut store, 0), (0..written).collect::<Vec<_>>());
        assert_eq!(write(&mut store, event(written), false), Ok(()));
        assert_eq!(numbers(&mut store, 0), (0..=written).collect::<Vec<_>>());
    }
}

/// Sectors of the log that wear out are passed over; when none are left it is reported.
#[test]
fn worn_segments_are_passed_over() {
    let (flash, mut store) = blank();
    // Not as it was made, so that it has to be erased.
    flash.with_cells(|cells| cells.bytes_mut()[LAYOUT.end as usize + 5 * SECTOR as usize] = 0);
    flash.with_cells(|cells| cells.wear_out(14 + 5, 0x01));
    let mut number = 0;
    for _ in 0..2 * ENTRIES {
        assert_eq!(store.save(&Save::LogRoom { leave: true }), Ok(()));
        number = store.log_next().unwrap_or_default();
        assert_eq!(store.save(&Save::Log(event(number).to_bytes())), Ok(()));
    }
    assert!(number >= 3 * ENTRIES - 1, "the worn segment's numbers are passed over: {number}");
    flash.with_cells(|cells| (14..29).for_each(|sector| cells.wear_out(sector, 0x01)));
    let mut result = Ok(());
    for _ in 0..2 * ENTRIES {
        result = write(&mut store, event(0), true);
    }
    assert!(matches!(result, Err(StoreError::Flash(_))), "{result:?}");
}

/// A counter whose log is full says so before the next coil, waits for a key, and goes on; one whose log
/// is fetched says nothing.
#[test]
fn counter_says_that_its_log_is_full() {
    let job = job();
    for fetched in [false, true] {
        let flash = VirtualFlash::new(Cells::blank(SMALL.log_end as usize));
        let (_, mut counter) = Counter::on(flash, SMALL, &job, 31);
        let mut reported = 0;
        let mut shown = false;
        while counter.entries < 3 * ENTRIES as usize {
            let saved = counter.live();
            let full = |app: &App| {
                app.view().notice.as_ref().is_some_and(|notice| notice.detail() == "Oldest not fetched yet")
            };
            reported += u32::from(!shown && full(&counter.app));
            shown = full(&counter.app);
            if shown {
                assert!(
                    !matches!(saved, Some(Save::LogRoom { leave: true })),
                    "overwritten before it was read"
                );
            }
            if fetched && matches!(saved, Some(Save::Log(_))) {
                let next = counter.entries as u32;
                counter.app.answer(Ask::Plain(Request::Acknowledge { next }));
            }
        }
        println!("{} entries in a log of {}: reported {reported} times", counter.entries, 2 * ENTRIES);
        assert_eq!(reported, if fetched { 0 } else { 1 });
    }
}
