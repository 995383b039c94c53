//! Any bytes as a capture: samples in the order of their times, or an error.
#![no_main]

use libfuzzer_sys::fuzz_target;
use turntally_sim::capture::{Capture, Recording as _, Wanted};

mod thrown;

fuzz_target!(|bytes: &[u8]| {
    thrown::count(bytes);
    let wanted = [Wanted::new("--a", "a"), Wanted::new("--b", "b")];
    let Ok(mut capture) = Capture::open(bytes, &wanted) else { return };
    let mut last = 0;
    while let Ok(Some(sample)) = capture.next_sample() {
        assert!(sample.time_ns >= last);
        last = sample.time_ns;
    }
});
