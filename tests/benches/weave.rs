//! How long a weave takes to solve, from a cold start: its smallest aspect ratio, and the piece of one ring size.
//!
//! Each is first proved to be solved. Run with `cargo bench -p turntally-tests --bench weave`.
#![allow(clippy::unwrap_used, reason = "a bench that cannot go on must stop")]

use divan::Bencher;
use turntally_core::units::Length;
use turntally_sim::weave::pattern::Weave;
use turntally_sim::weave::{Roomiest, Woven};

fn main() {
    for weave in Weave::ALL {
        assert_eq!(solved(weave).weave, weave);
    }
    divan::main();
}

/// A weave whose rings have room: an eighth above its smallest aspect ratio.
fn solved(weave: Weave) -> Woven {
    let roomiest = Roomiest::new(weave).unwrap();
    let inside = Length::from_nm((roomiest.smallest_aspect_ratio() * 1.125e6) as i64);
    roomiest.woven(Length::from_um(1000), inside).unwrap()
}

#[divan::bench(args = Weave::ALL)]
fn cold(bencher: Bencher, weave: Weave) {
    bencher.bench(|| solved(weave));
}
