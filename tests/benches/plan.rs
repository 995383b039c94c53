//! Planning a batch: from the job file's text to the last byte of each kind of output.
//!
//! Before anything is timed the plan is held against what was asked for. Run with
//! `cargo bench -p turntally-tests --bench plan`.
#![allow(clippy::panic, clippy::unwrap_used, reason = "a bench that would time a wrong answer must stop")]

use divan::Bencher;
use std::hint::black_box;
use turntally_sim::job::{DEMO, Job};
use turntally_sim::plan::{advice, figures::Plan, json::Report, sheet};

const RINGS: [u32; 3] = [640, 1_000_000, 10_000_000];

fn main() {
    for rings in RINGS {
        let plan = Plan::of(&Job::parse(&text(rings)).unwrap()).unwrap();
        assert!(f64::from(plan.rings_planned) >= f64::from(rings) * 1.04);
        assert_eq!(plan.groups.iter().map(|g| g.count * g.rings).sum::<u32>(), plan.rings_planned);
    }
    divan::main();
}

fn text(rings: u32) -> String {
    let text = DEMO.replace("rings = 640", &format!("rings = {rings}"));
    assert!(text.contains(&format!("rings = {rings}\n")));
    text
}

/// Reading the job, the plan, its warnings and suggestions.
#[divan::bench(args = RINGS)]
fn figures(bencher: Bencher, rings: u32) {
    let text = text(rings);
    bencher.bench(|| {
        let job = Job::parse(black_box(&text)).unwrap();
        let plan = Plan::of(&job).unwrap();
        let warnings = advice::warnings(&job, &plan);
        (advice::suggestions(&job, &plan), warnings)
    });
}

/// The same with every coil listed as JSON.
#[divan::bench(args = RINGS)]
fn json(bencher: Bencher, rings: u32) {
    let text = text(rings);
    bencher.bench(|| {
        let job = Job::parse(black_box(&text)).unwrap();
        let plan = Plan::of(&job).unwrap();
        let (warnings, suggestions) = (advice::warnings(&job, &plan), advice::suggestions(&job, &plan));
        serde_json::to_writer_pretty(std::io::sink(), &Report::new(&job, &plan, &warnings, &suggestions))
            .unwrap();
    });
}

/// The same as a page to print.
#[divan::bench(args = RINGS)]
fn page(bencher: Bencher, rings: u32) {
    let text = text(rings);
    bencher.bench(|| {
        let job = Job::parse(black_box(&text)).unwrap();
        let plan = Plan::of(&job).unwrap();
        sheet::render(&job, &plan, &advice::warnings(&job, &plan))
    });
}
