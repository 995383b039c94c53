//! How long the planner's charts take: 25 wires, 20 mandrels, every metal, in each form.
//!
//! Each chart first proves that it has all its cells. Run with
//! `cargo bench -p turntally-tests --bench planner`.
#![allow(clippy::unwrap_used, reason = "a bench that cannot go on must stop")]

use clap::Parser;
use divan::Bencher;
use divan::counter::ItemsCount;
use turntally_core::metal::Metal;
use turntally_sim::chart;

const CELLS: usize = 25 * 20;

#[derive(Parser)]
struct Line {
    #[command(flatten)]
    args: chart::Args,
}

fn args(format: &str) -> chart::Args {
    let line = [
        "chart",
        "--metal",
        "all",
        "--wires",
        "8awg..32awg",
        "--mandrels",
        "2.5mm..12mm",
        "--kerf",
        "0.3mm",
        "--format",
        format,
    ];
    Line::parse_from(line).args
}

fn main() {
    let rows = chart::render(&args("csv")).unwrap().lines().count() - 1;
    assert_eq!(rows, CELLS * Metal::ALL.len());
    divan::main();
}

/// The whole chart, worked out and written.
#[divan::bench(args = ["text", "csv", "html", "svg", "json"])]
fn every_metal(bencher: Bencher, format: &str) {
    let args = args(format);
    bencher.counter(ItemsCount::new(CELLS * Metal::ALL.len())).bench(|| chart::render(&args).unwrap());
}
