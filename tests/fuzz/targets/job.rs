//! Any text as a job file: a job or one line that says what is wrong.
#![no_main]

use libfuzzer_sys::fuzz_target;
use turntally_sim::job::Job;
use turntally_sim::link;

mod thrown;

fuzz_target!(|text: &str| {
    thrown::count(text.as_bytes());
    match Job::parse(text) {
        Ok(job) => {
            assert!(job.rings_to_make().is_ok_and(|rings| rings > 0), "a job is checked whole");
            // What it would be sent as. Not every counter's range is a plan's.
            if let Err(failure) = link::planned(&job) {
                assert_eq!(failure.to_string().lines().count(), 1);
            }
        }
        Err(failure) => assert_eq!(failure.to_string().lines().count(), 1),
    }
});
