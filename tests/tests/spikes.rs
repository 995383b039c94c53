//! Spikes on the encoder's wires, with the input filter of firmware/README.md and without: counts in doubt and counts
//! wrong over ten turns, as the table in accuracy.md has them.

#![allow(clippy::unwrap_used, clippy::panic, reason = "a test may stop where it stands")]

use std::fs;
use std::path::Path;

use turntally_core::signal::SignalWatch;
use turntally_core::time::Instant;
use turntally_sim::simulation::encoder::{Encoder, STEP_NS};
use turntally_sim::simulation::faults::FaultSet;
use turntally_sim::simulation::wires::{InputFilter, Spikes, Thresholds, Wires, Wiring};

/// The board's: 250,000 samples a second, 16 in a word.
const SAMPLE_NS: u64 = 4_000;
const PULSES: u32 = 400;
const TURNS: f64 = 10.0;

/// Counts that the watch reported as possibly wrong, and counts that are wrong.
#[derive(Debug, Default, PartialEq, Eq)]
struct Found {
    doubted: u64,
    wrong: u64,
}

/// Turns the crank ten times at a speed in turns a second.
fn ten_turns(wiring: Wiring, turns_per_s: f64, seed: u64) -> Found {
    let mut rng = fastrand::Rng::with_seed(seed);
    let mut encoder = Encoder::new(FaultSet::default(), rng.fork());
    let mut wires = Wires::new(wiring, rng.fork());
    let mut watch = SignalWatch::new(PULSES, SAMPLE_NS as u32);
    let counts = TURNS * 4.0 * f64::from(PULSES);
    let steps = (TURNS / turns_per_s * 1e3) as u64;
    let (mut found, mut word) = (Found::default(), 0_u32);
    // A rest after the last edge lets every level settle.
    let samples_per_step = STEP_NS / SAMPLE_NS;
    for step in 0..steps + 16 {
        encoder.turn_to(Encoder::START + counts * step.min(steps) as f64 / steps as f64, step * STEP_NS);
        for sample in 1..=samples_per_step {
            let at_ns = step * STEP_NS + sample * SAMPLE_NS;
            word = word >> 2 | u32::from(wires.level_at(at_ns, &mut encoder)) << 30;
            if (step * samples_per_step + sample).is_multiple_of(16) {
                let reading = watch.push_16(word, Instant::from_micros(at_ns / 1_000));
                found.doubted += reading.error_bound();
            }
        }
    }
    found.wrong = watch.decoder().position().abs_diff(encoder.true_counts());
    found
}

/// The sums of ten times ten turns, each with other spikes. None may be wrong past its bound.
fn hundred_turns(wiring: Wiring) -> Found {
    let mut sum = Found::default();
    for seed in 0..10 {
        let found = ten_turns(wiring, 2.0, seed);
        assert!(found.wrong <= found.doubted, "{wiring:?}, seed {seed}: {found:?}");
        sum.doubted += found.doubted;
        sum.wrong += found.wrong;
    }
    sum
}

/// The rows of the table, cells as they stand there.
fn documented() -> Vec<Vec<String>> {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../sim/docs/accuracy.md");
    let text = fs::read_to_string(path).unwrap();
    let rows = text.lines().skip_while(|line| !line.starts_with("| spikes |")).skip(2);
    rows.take_while(|line| line.starts_with('|'))
        .map(|line| line.trim_matches('|').split('|').map(|cell| cell.trim().to_owned()).collect())
        .collect()
}

/// Every row of the table, wound anew: without a filter, and with it before each input that the data sheet allows.
#[test]
fn spikes_are_filtered_or_doubted_as_documented() {
    let rows = documented();
    assert!(rows.len() >= 4, "{rows:?}");
    let mut measured = Vec::new();
    for row in &rows {
        let spikes: Spikes = row[0].trim_matches('`').parse().unwrap();
        let bare = hundred_turns(Wiring { spikes: Some(spikes), filter: None });
        let filtered = Thresholds::RP2040.map(|thresholds| {
            let filter = InputFilter::new(330.0, 2.2, thresholds);
            hundred_turns(Wiring { spikes: Some(spikes), filter: Some(filter) })
        });
        let most = |figure: fn(&Found) -> u64| filtered.iter().map(figure).max().unwrap();
        let figures = [bare.doubted, bare.wrong, most(|found| found.doubted), most(|found| found.wrong)]
            .map(|figure| figure.to_string());
        println!("| {} | {} |", row[0], figures.join(" | "));
        measured.push([&row[..1], figures.as_slice()].concat());
    }
    assert_eq!(rows, measured);
}

/// Without spikes the filter delays edges and takes none, up to the 200,000 edges a second that the counter follows.
#[test]
fn filter_alone_takes_no_count() {
    for turns_per_s in [0.5, 2.0, 20.0] {
        for thresholds in Thresholds::RP2040 {
            let filter = Some(InputFilter::new(330.0, 2.2, thresholds));
            let found = ten_turns(Wiring { spikes: None, filter }, turns_per_s, 1);
            assert_eq!(found, Found::default(), "{turns_per_s} turns/s, {thresholds:?}");
        }
    }
}
