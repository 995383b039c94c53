//! Any bytes as a recording of a format that is to be recognised, which is a table or else VCD: samples in the order of
//! their times, or an error.
#![no_main]

use std::io::Cursor;

use libfuzzer_sys::fuzz_target;
use turntally_sim::capture::{self, Input, Wanted};

mod thrown;

fuzz_target!(|bytes: &[u8]| {
    thrown::count(bytes);
    let wanted = [Wanted::new("--a", "a"), Wanted::new("--b", "b")];
    let input = Input::Stream(Box::new(Cursor::new(bytes.to_vec())));
    let Ok(mut recording) = capture::open(input, &wanted) else { return };
    let mut last = 0;
    while let Ok(Some(sample)) = recording.next_sample() {
        assert!(sample.time_ns >= last);
        last = sample.time_ns;
    }
    assert!(last <= recording.first_ns().saturating_add(recording.span_ns()));
});
