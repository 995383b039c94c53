//! What the fuzzer of the flash begins with: flashes as a counter of today leaves them. `TURNTALLY_BLESS=1` writes them
//! anew.
#![allow(clippy::unwrap_used, reason = "a test may stop where it stands")]

use std::path::Path;
use std::{env, fs};

use turntally_core::bench::{Bench, Phase};
use turntally_core::input::{Event, Input, Key};
use turntally_core::settings::{Make, Settings};
use turntally_core::signal::Reading;
use turntally_core::time::{Duration, Instant};
use turntally_firmware::app::App;
use turntally_firmware::store::guard::Open;
use turntally_firmware::store::items::{GRANULE, item};
use turntally_firmware::store::{Save, Store};
use turntally_sim::simulation::flash::{Cells, VirtualFlash};
use turntally_tests::pieces::{LAYOUT, lay};

struct Desk {
    bench: Bench,
    at: Instant,
    flash: VirtualFlash,
    store: Store<VirtualFlash, Open>,
}

impl Desk {
    fn new() -> Self {
        let flash = VirtualFlash::new(Cells::blank(LAYOUT.log_end as usize));
        let store = Store::new(flash.clone(), Open, LAYOUT);
        let mut settings = Settings::default();
        settings.batch.make = Make::Rings(600);
        let mut bench = Bench::new();
        bench.set_up(settings);
        let mut desk = Self { bench, at: Instant::ZERO, flash, store };
        desk.save(&Save::Settings(settings));
        desk
    }

    fn tell(&mut self, input: Input) {
        self.at = self.at + Duration::from_millis(500);
        _ = self.bench.handle(Event { at: self.at, input });
    }

    fn save(&mut self, what: &Save) {
        self.store.save(what).unwrap();
    }

    fn begin(&mut self) {
        self.tell(Input::Key(Key::Yes));
        self.tell(Input::Key(Key::Yes));
    }

    fn turn(&mut self, counts: i64) {
        self.tell(Input::Encoder(Reading { net: counts, ..Reading::default() }));
    }

    /// A coil that is kept, written down as a counter does.
    fn coil(&mut self) {
        self.begin();
        self.turn(self.bench.goal().unwrap().aim());
        self.tell(Input::Key(Key::Yes));
        self.tell(Input::Key(Key::Yes));
        self.save(&Save::LogRoom { leave: false });
        let sawn =
            turntally_core::bench::log::RingCount { job: 9, batch: 0, coils: 1, rings: 50, rejects: 1 };
        self.save(&Save::Log(turntally_core::bench::log::LogEvent::RingCount(sawn).to_bytes()));
        let batch = self.bench.jobs().batch(0).unwrap();
        self.save(&Save::Batch(0, batch));
    }

    /// The next one, begun.
    fn half_a_coil(&mut self) {
        self.save(&Save::Room(self.bench.notes_in_coil()));
        self.begin();
        for _ in 0..8 {
            self.turn(self.bench.goal().unwrap().turn);
            let note = self.bench.coil_note().unwrap();
            self.save(&Save::Note(note));
        }
    }

    fn bytes(&self) -> Vec<u8> {
        self.flash.cells().bytes().to_vec()
    }
}

/// The pieces of which [`lay`] makes this flash.
fn pieces(flash: &[u8]) -> Vec<u8> {
    let granule = GRANULE as usize;
    let mut pieces = Vec::new();
    let mut at = 0;
    while at < flash.len() {
        let [low, high] = u16::try_from(at / granule).unwrap().to_le_bytes();
        let length = flash[at + 4];
        let value = flash.get(at + 5..at + 5 + usize::from(length)).unwrap_or_default();
        let whole = item(value).filter(|item| flash[at..].starts_with(item));
        match whole {
            Some(item) => {
                pieces.extend_from_slice(&[low, high, length]);
                pieces.extend_from_slice(value);
                at += item.len().next_multiple_of(granule);
            }
            None => {
                let raw = &flash[at..at + granule];
                if raw.iter().any(|&byte| byte != 0xff) {
                    pieces.extend_from_slice(&[low, high, 187 + 32]);
                    pieces.extend_from_slice(raw);
                }
                at += granule;
            }
        }
    }
    pieces
}

#[test]
fn flashes_are_those_of_today() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("fuzz/corpus/flash");
    let mut desk = Desk::new();
    let set_up = desk.bytes();
    for _ in 0..3 {
        desk.coil();
    }
    let coils = desk.bytes();
    desk.half_a_coil();
    let begun = desk.bytes();
    let counts = desk.bench.counts();
    for (name, flash) in [("set-up", set_up), ("coils", coils), ("begun", begun)] {
        let seed = pieces(&flash);
        let mut laid = Cells::blank(LAYOUT.log_end as usize);
        lay(&seed, laid.bytes_mut());
        assert!(laid.bytes() == flash, "{name}: the pieces make that flash");
        // A counter takes it for what it is.
        let mut store = Store::new(VirtualFlash::new(laid), Open, LAYOUT);
        let kept = store.load(1);
        assert_eq!((kept.notice, kept.settings.is_some()), (None, true), "{name}");
        assert_eq!(kept.batches[0].is_some(), name != "set-up", "{name}");
        assert_eq!(store.log_entry(0).unwrap().is_some(), name != "set-up", "{name}");
        let mut app = App::new(Bench::new(), 400, 10_000);
        app.load_from(&mut store);
        assert_eq!(app.bench().goal().is_some(), name == "begun", "{name}");
        if name == "begun" {
            assert_eq!((app.bench().counts(), app.bench().phase()), (counts, Phase::Fault));
        }
        let path = folder.join(name);
        if env::var_os("TURNTALLY_BLESS").is_some() {
            fs::write(&path, &seed).unwrap();
        }
        assert!(fs::read(&path).is_ok_and(|kept| kept == seed), "{name}: TURNTALLY_BLESS=1 writes it anew");
    }
}
