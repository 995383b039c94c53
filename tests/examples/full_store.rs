//! Writes what the flash of a counter holds at its fullest, for the emulator: a job from a computer at every
//! place, as many records as their sectors hold, and a coil whose notes have used up their room. Beside the image at the path that is
//! given goes a `.json` with what a counter must make of it.

#![allow(clippy::unwrap_used, reason = "a tool of the tests may stop where it stands")]

use std::path::PathBuf;
use std::{env, fs};

use turntally_core::bench::Bench;
use turntally_core::bench::snapshot::NOTE_PARTS;
use turntally_core::counter::Shaft;
use turntally_core::input::{Event, Input, Key};
use turntally_core::job_list::MAX_JOBS;
use turntally_core::link::job::PlannedJob;
use turntally_core::settings::{Make, Settings};
use turntally_core::signal::Reading;
use turntally_core::time::{Duration, Instant};
use turntally_core::units::{Length, Turns};
use turntally_firmware::store::guard::{Open, SECTOR};
use turntally_firmware::store::{Layout, Save, Store};
use turntally_sim::simulation::flash::{Cells, VirtualFlash};

/// A bench with a clock.
struct Desk {
    bench: Bench,
    at: Instant,
}

impl Desk {
    fn tell(&mut self, input: Input) {
        self.at = self.at + Duration::from_millis(500);
        _ = self.bench.handle(Event { at: self.at, input });
    }

    fn turn(&mut self, counts: i64) {
        self.tell(Input::Encoder(Reading { net: counts, ..Reading::default() }));
    }

    fn begin(&mut self) {
        self.tell(Input::Key(Key::Yes));
        self.tell(Input::Key(Key::Yes));
    }
}

/// A job that a computer sent, one for each place.
fn sent(place: u8) -> PlannedJob {
    let job = PlannedJob {
        name: format!("{place}00 rings of bronze").as_str().try_into().unwrap(),
        rings: u32::from(place) * 100,
        wire: Length::from_um(1_200),
        mandrel: Length::from_um(5_000 + 500 * i64::from(place)),
        gap: 0.02,
        kerf: Length::from_um(400),
        spring: [1.01, 1.02, 1.04],
        tail: Turns::from_whole(1),
        coil_max: Length::from_um(76_000),
        shaft: Shaft::Mandrel,
        gear: (1, 1),
        pulses_per_rev: 400,
        spool: None,
        batch: 0,
        fingerprint: 0,
    };
    job.signed().unwrap()
}

fn main() {
    let path = PathBuf::from(env::args_os().nth(1).unwrap());
    let mut desk = Desk { bench: Bench::new(), at: Instant::ZERO };
    let mut settings = Settings::default();
    // Set at the counter: what it is born with need not be kept.
    settings.batch.make = Make::Rings(600);
    desk.bench.set_up(settings);
    let flash = VirtualFlash::new(Cells::blank(Layout::PICO.log_end as usize));
    let mut store = Store::new(flash.clone(), Open, Layout::PICO);

    for place in 1..MAX_JOBS as u8 {
        let planned = sent(place);
        assert!(desk.bench.put_job(place.into(), planned.rebuilt().unwrap()));
        store.save(&Save::Job(place, planned.to_bytes())).unwrap();
        store.save(&Save::Batch(place, desk.bench.jobs().batch(place.into()).unwrap())).unwrap();
    }

    // One coil kept, and the next one begun.
    desk.begin();
    desk.turn(desk.bench.goal().unwrap().aim());
    desk.tell(Input::Key(Key::Yes));
    desk.tell(Input::Key(Key::Yes));
    let made = desk.bench.jobs().progress().rings;
    store.save(&Save::Settings(settings)).unwrap();
    store.save(&Save::Batch(0, desk.bench.jobs().batch(0).unwrap())).unwrap();
    store.save(&Save::Room(desk.bench.notes_in_coil())).unwrap();
    desk.begin();

    // To and fro, a note each time, while there is room for the next.
    let step = desk.bench.goal().unwrap().turn / i64::from(NOTE_PARTS);
    let mut notes = 0;
    let mut kept = (flash.cells(), 0);
    loop {
        desk.turn(if notes % 64 < 48 { step } else { -step });
        if store.save(&Save::Note(desk.bench.coil_note().unwrap())).is_err() {
            break;
        }
        notes += 1;
        kept = (flash.cells(), desk.bench.counts());
    }
    let (cells, counts) = kept;

    // Records until all of their sectors are full: the one for which a sector would be used again is left out.
    let flash = VirtualFlash::new(cells);
    let mut store = Store::new(flash.clone(), Open, Layout::PICO);
    let erases = |flash: &VirtualFlash| flash.with_cells(|cells| cells.erases().iter().sum::<u32>());
    let erased = erases(&flash);
    let (mut records, mut cells) = (0, flash.cells());
    loop {
        store.save(&Save::Settings(settings)).unwrap();
        store.save(&Save::Batch(0, desk.bench.jobs().batch(0).unwrap())).unwrap();
        if erases(&flash) - erased >= (Layout::PICO.notes - Layout::PICO.records) / SECTOR {
            break;
        }
        records += 1;
        cells = flash.cells();
    }

    fs::write(&path, cells.bytes()).unwrap();
    let reported =
        format!("{{ \"counts\": {counts}, \"made\": {made}, \"notes\": {notes}, \"records\": {records} }}\n");
    fs::write(path.with_extension("json"), &reported).unwrap();
    print!("{reported}");
}
