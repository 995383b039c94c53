//! Any bytes on the link: neither end panics, and whole frames are answered.
#![no_main]

use libfuzzer_sys::fuzz_target;
use turntally_core::bench::Bench;
use turntally_core::bench::log::Entry;
use turntally_core::link::computer::{Client, Fetcher};
use turntally_core::link::job::PlannedJob;
use turntally_core::time::Instant;
use turntally_firmware::app::App;
use turntally_firmware::link::Link;
use turntally_firmware::store::guard::{Open, SECTOR};
use turntally_firmware::store::{Layout, Store};
use turntally_sim::simulation::flash::{Cells, VirtualFlash};

const LAYOUT: Layout = Layout { records: 0, notes: 4 * SECTOR, end: 8 * SECTOR, log_end: 18 * SECTOR };

mod bare;
mod thrown;

fuzz_target!(|bytes: &[u8]| {
    thrown::count(bytes);
    // As they are, as what the messages carry, and as messages whose CRC is right.
    _ = Entry::from_bytes(bytes);
    if let Ok(job) = PlannedJob::from_bytes(bytes) {
        _ = job.signed().map(|job| job.job());
    }
    let (mut client, mut fetcher) = (Client::default(), Fetcher::from(0));
    let mut app = App::new(Bench::new(), 400, 10_000);
    let mut store = Store::new(VirtualFlash::new(Cells::blank(LAYOUT.log_end as usize)), Open, LAYOUT);
    let mut link = Link::default();
    let framed = turntally_core::link::frame::encode(0, &bare::Bare(bytes));
    for &byte in bytes.iter().chain(&framed) {
        if let Some(reply) = client.push(byte, Instant::ZERO) {
            _ = fetcher.take(reply);
        }
        link.push_at_once(byte, &mut app, &mut store, |frame| assert!(!frame.is_empty()));
    }
    assert_eq!(app.bench().jobs().len(), 0, "nobody agreed to a job");
});
