//! Any bytes in the flash: a counter starts on them, and its store goes on saving or says why not.
#![no_main]

use libfuzzer_sys::fuzz_target;
use turntally_core::bench::Bench;
use turntally_core::bench::log::{LogEvent, RingCount};
use turntally_firmware::app::App;
use turntally_firmware::store::guard::Open;
use turntally_firmware::store::{Save, Store};
use turntally_sim::simulation::flash::{Cells, VirtualFlash};

#[path = "../../src/pieces.rs"]
mod pieces;
mod thrown;

use pieces::LAYOUT;

fuzz_target!(|bytes: &[u8]| {
    thrown::count(bytes);
    let mut cells = Cells::blank(LAYOUT.log_end as usize);
    pieces::lay(bytes, cells.bytes_mut());
    let mut store = Store::new(VirtualFlash::new(cells), Open, LAYOUT);
    let mut app = App::new(Bench::new(), 400, 10_000);
    app.load_from(&mut store);
    _ = store.log_entry(0);
    for save in [
        Save::LogRoom { leave: true },
        Save::Log(LogEvent::RingCount(RingCount { job: 9, batch: 0, coils: 1, rings: 2, rejects: 3 }).to_bytes()),
        Save::Acknowledged(1),
        Save::Room(10),
    ] {
        _ = store.save(&save);
    }
});
