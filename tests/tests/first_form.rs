//! The flash of a counter whose firmware knew no log, no link and no spool, as that very firmware wrote it
//! (commit 54d6ff4, on the desktop board, under the random hand of [`turntally_tests::cuts`]): today's goes on
//! where it stopped.
#![allow(clippy::unwrap_used, reason = "a test may stop where it stands")]

use turntally_core::bench::{Doubt, Phase, Progress};
use turntally_core::counter::{Gear, Shaft};
use turntally_core::gauge::{Gauge, GaugeSystem, WireSize};
use turntally_core::metal::{Metal, Temper};
use turntally_core::settings::{Loudness, Make, Settings, Units};
use turntally_core::units::{Length, Micros};
use turntally_firmware::store::Save;
use turntally_sim::flash::{Cells, VirtualFlash};
use turntally_tests::cuts::{Counter, SMALL, entries, job, progress, reboot};

/// Lines of an address and 32 bytes; what is not there is blank.
const FLASH: &str = include_str!("../data/flash_first_form.txt");
/// What it had made of the batch that was set up, and the counts of the coil on its mandrel.
const MADE: Progress = Progress { rings: 0, kept: 1, scrapped: 2 };
const COUNTS: i64 = 301;

/// With this in each byte that it did not know.
fn cells(unknown: u8) -> Cells {
    let mut cells = Cells::blank(SMALL.log_end as usize);
    cells.bytes_mut()[SMALL.end as usize..].fill(unknown);
    for line in FLASH.lines() {
        let (at, bytes) = line.split_once(':').unwrap();
        let at = usize::from_str_radix(at, 16).unwrap();
        for (byte, digits) in cells.bytes_mut()[at..].iter_mut().zip(bytes.as_bytes().chunks(2)) {
            *byte = u8::from_str_radix(std::str::from_utf8(digits).unwrap(), 16).unwrap();
        }
    }
    cells
}

/// What had been set at it.
fn set() -> Settings {
    let mut set = Settings::default();
    set.batch.metal = Metal::find("sterling-silver").unwrap();
    set.batch.temper = Temper::HalfHard;
    set.batch.wire = WireSize::Gauge(Gauge::new(GaugeSystem::Swg, 19).unwrap());
    set.batch.mandrel = Length::from_um(6_350);
    set.batch.make = Make::Length { length: Length::from_um(52_000), coils: 7 };
    set.batch.kerf = Length::from_um(250);
    set.batch.cradle = Length::from_um(76_200);
    set.batch.tail_quarters = 3;
    set.build.pulses = 25;
    set.build.shaft = Shaft::Mandrel;
    set.build.gear = Gear::DIRECT;
    set.build.lead = Some(Micros::from_millis(210));
    set.build.loudness = Loudness::Full;
    set.build.units = Units::Inches;
    set
}

#[test]
fn a_flash_of_the_first_form_is_gone_on_with() {
    let (kept, app) = reboot(cells(0xff), SMALL, &job());
    assert_eq!(kept.trouble, None);
    assert_eq!(kept.settings, Some(set()));
    let bench = app.bench();
    assert_eq!(bench.phase(), Phase::Fault, "the power cut is told");
    assert_eq!(bench.progress(), MADE);
    let Doubt::Within(doubt) = bench.doubt() else { unreachable!("{:?}", bench.doubt()) };
    assert!(bench.counts().abs_diff(COUNTS) <= doubt, "{}, within {doubt}", bench.counts());
    assert!(bench.unsawn().is_empty() && bench.wire_left().is_none(), "nothing is known of either");
}

/// Records of both forms stand side by side until the last of the old is written anew, and after; whatever lies
/// where the log is to be.
#[test]
fn records_of_both_forms_live_together() {
    [0xff, 0x00, 0x5a].into_iter().for_each(live_together);
}

fn live_together(unknown: u8) {
    let job = job();
    let flash = VirtualFlash::new(cells(unknown));
    let (_, mut counter) = Counter::on(flash.clone(), SMALL, &job, 5);
    let mut batches = 0;
    for _ in 0..400_000 {
        if matches!(counter.live(), Some(Save::Batch(..))) {
            batches += 1;
            let (kept, _) = reboot(flash.cells(), SMALL, &job);
            assert_eq!((kept.trouble, kept.settings), (None, Some(set())), "after {batches} batches");
        }
    }
    let told = counter.app.view().trouble.clone();
    assert!(batches > 20, "{batches} batches, {told:?}");
    let (_, app) = reboot(flash.cells(), SMALL, &job);
    for (job, progress) in progress(app.bench()).into_iter().enumerate() {
        assert_eq!(progress, counter.acked.get(job).copied().unwrap_or_default(), "{job}");
    }
    assert!(!entries(&mut counter.store, 0).is_empty());
}
