//! Any text as a job file: a job or one line that says what is wrong.
#![no_main]

use libfuzzer_sys::fuzz_target;
use turntally_sim::job::Job;

mod thrown;

fuzz_target!(|text: &str| {
    thrown::count(text.as_bytes());
    match Job::parse(text) {
        Ok(job) => _ = job.rings_to_make(),
        Err(failure) => assert_eq!(failure.to_string().lines().count(), 1),
    }
});
