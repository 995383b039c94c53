//! Records and notes that are written behind what a cut left.

use turntally_core::bench::snapshot::{CoilNote, Since};
use turntally_core::input::{Event, Input, Key};
use turntally_core::time::Instant;
use turntally_firmware::store::guard::Open;
use turntally_firmware::store::records::Record;
use turntally_firmware::store::{Save, Store};
use turntally_sim::simulation::flash::{Cells, VirtualFlash};
use turntally_tests::cuts::{SMALL, bench, job, wanted_cuts};

type Value = (u64, u32, u64, u16);

fn value(rng: &mut fastrand::Rng) -> Value {
    // Of any length, so that windows over torn bytes fall anywhere.
    let shift = rng.u32(..64);
    (rng.u64(..) >> shift, rng.u32(..), rng.u64(..) >> rng.u32(..64), rng.u16(..))
}

fn on(cells: &Cells) -> (VirtualFlash, Store<VirtualFlash, Open>) {
    let flash = VirtualFlash::new(cells.clone());
    (flash.clone(), Store::new(flash, Open, SMALL))
}

/// A record that was reported saved is read again, whatever a cut before it left.
#[test]
fn records_behind_torn_bytes_are_found() {
    let mut rng = fastrand::Rng::with_seed(0x70_4e);
    let (flash, mut store) = on(&Cells::blank(SMALL.log_end as usize));
    let first = value(&mut rng);
    assert_eq!(store.put(Record::Batch(0), &first), Ok(()));
    let base = flash.cells();
    let cuts = 5 * wanted_cuts();
    for seed in 0..cuts {
        let (flash, mut store) = on(&base);
        flash.cut_after(rng.u64(1..70), seed);
        let torn = value(&mut rng);
        let done = store.put(Record::Batch(0), &torn).is_ok();
        flash.power_on();
        let (flash, mut store) = on(&flash.cells());
        let found = store.get::<Value>(Record::Batch(0));
        assert!(found == Ok(Some(torn)) || !done && found == Ok(Some(first)), "{seed}: {found:?}");
        let kept = value(&mut rng);
        assert_eq!(store.put(Record::Batch(0), &kept), Ok(()), "{seed}");
        assert_eq!(on(&flash.cells()).1.get(Record::Batch(0)), Ok(Some(kept)), "{seed}");
    }
    println!("{cuts} cuts: every record found");
}

fn note(counts: i64) -> CoilNote {
    let mut bench = bench(&job());
    for key in [Key::Yes; 2] {
        bench.handle(Event { at: Instant::ZERO, input: Input::Key(key) });
    }
    let Some(mut note) = bench.coil_note() else { unreachable!("a coil is on the mandrel") };
    note.counts = counts;
    note
}

/// A note that was reported saved is the newest that is found, or it is known that there was a newer one.
#[test]
fn notes_behind_torn_bytes_are_missed() {
    let mut rng = fastrand::Rng::with_seed(0x6e_07e5);
    let (flash, mut store) = on(&Cells::blank(SMALL.log_end as usize));
    assert_eq!(store.save(&Save::Room(20)), Ok(()));
    assert_eq!(store.save(&Save::Note(note(10))), Ok(()));
    let base = flash.cells();
    let cuts = 5 * wanted_cuts();
    let mut hidden = 0;
    for seed in 0..cuts {
        let (flash, mut store) = on(&base);
        store.load(1);
        flash.cut_after(rng.u64(1..40), seed);
        _ = store.save(&Save::Note(note(rng.i64(11..1 << 40) >> rng.u32(..32))));
        flash.power_on();
        let (flash, mut store) = on(&flash.cells());
        store.load(1);
        let kept = note(rng.i64(11..1 << 40));
        assert_eq!(store.save(&Save::Note(kept)), Ok(()), "{seed}");
        let found = on(&flash.cells()).1.load(1);
        match found.note {
            Some((newest, Since::QuarterTurn)) => assert_eq!(newest, kept, "{seed}"),
            Some(_) => hidden += 1,
            None => assert!(found.notice.is_some(), "{seed}: a note is gone, and nobody says so"),
        }
    }
    println!("{cuts} cuts: every note found or known to be missing; {hidden} were missing");
}
