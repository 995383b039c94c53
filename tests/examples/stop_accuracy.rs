//! How near the target the hand comes to rest, for every operator, with the cue's lead and without it.
//!
//! `cargo run --release -p turntally-tests --example stop_accuracy [COILS]`; 10,000 coils a line unless
//! the argument says otherwise. What is measured is the first rest after "stop now", before anything is
//! wound back, over the coils that were kept.

use std::process::ExitCode;

use turntally_core::cue::DEFAULT_LEAD;
use turntally_core::job::Lead;
use turntally_core::time::Duration;
use turntally_sim::simulation::operator::PROFILES;
use turntally_tests::stops::stops;

fn main() -> ExitCode {
    let coils = match std::env::args().nth(1).map(|text| text.parse::<usize>()) {
        None => 10_000,
        Some(Ok(coils)) if (1..=10_000_000).contains(&coils) => coils,
        Some(_) => {
            eprintln!("stop_accuracy: the number of coils is 1 to 10000000");
            return ExitCode::from(2);
        }
    };
    println!("{coils} coils a line: where the hand first came to rest, against the target\n");
    println!(
        "| operator | lead | within half a turn | within a tenth | mean error, turns | 99 % within, turns |"
    );
    println!("| --- | --- | ---: | ---: | ---: | ---: |");
    for profile in PROFILES {
        for (name, lead) in [("off", Lead::Set(Duration::ZERO)), ("learned", Lead::Learned(DEFAULT_LEAD))] {
            let found = stops(coils, profile, lead);
            println!(
                "| {} | {name} | {:.2} % | {:.2} % | {:.3} | {:.2} |",
                profile.name,
                100.0 * found.share_within(0.5),
                100.0 * found.share_within(0.1),
                found.mean(),
                found.percentile(0.99),
            );
        }
    }
    ExitCode::SUCCESS
}
