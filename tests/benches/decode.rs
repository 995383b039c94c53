//! Encoder samples per second: this project's decoder on single samples, packed words and blocks,
//! beside the crate `quadrature-decoder` and the usual sixteen-entry step table.
//!
//! Every decoder first proves on the very samples it is timed on that it counts the same; only then
//! is anything timed. Run with `cargo bench -p turntally-tests --bench decode`.
#![allow(clippy::panic, reason = "a bench that would time a wrong answer must stop")]

use divan::Bencher;
use divan::counter::ItemsCount;
use quadrature_decoder::{Change, IncrementalDecoder, QuadStep};
use std::hint::black_box;
use turntally_core::quadrature::Decoder;

/// Samples between two edges: a crank at its fastest, at an easy pace, and nearly at rest.
const SAMPLES_PER_EDGE: [usize; 3] = [2, 10, 1000];

/// Samples in a recording: about four million.
const SAMPLES: usize = 1 << 22;

fn main() {
    for per_edge in SAMPLES_PER_EDGE {
        let recording = Recording::new(per_edge);
        let table = table(&recording.samples);
        assert!(table.illegal > 0 && table.reverse > 0, "the recording holds every kind of step");
        assert_eq!(push(&recording.samples), table);
        assert_eq!(push_16(&recording.halves), table);
        assert_eq!(push_32(&recording.words), table);
        assert_eq!(push_block(&recording.words), table);
        assert_eq!(crate_quadrature_decoder(&recording.samples), table);
    }
    divan::main();
}

/// What a decoder found.
#[derive(Debug, PartialEq, Eq, Default)]
struct Found {
    forward: u64,
    reverse: u64,
    illegal: u64,
}

impl From<Decoder> for Found {
    fn from(decoder: Decoder) -> Self {
        Self { forward: decoder.forward(), reverse: decoder.reverse(), illegal: decoder.illegal() }
    }
}

/// One recording in the three forms that the decoders take.
struct Recording {
    samples: Vec<u8>,
    halves: Vec<u32>,
    words: Vec<u64>,
}

impl Recording {
    /// Winds on, now and then back, and now and then loses a sample in the jump from 00 to 11 (the
    /// jump from 01 to 10 is left out: after that one the crate `quadrature-decoder` 0.2 takes the
    /// pins to stand elsewhere than they do and counts a step where nothing moved).
    fn new(per_edge: usize) -> Self {
        const CYCLE: [u8; 4] = [0b11, 0b10, 0b00, 0b01];
        let mut random = 0x9e37_79b9_7f4a_7c15_u64;
        let (mut at, mut step) = (0_usize, 1);
        let mut samples = Vec::with_capacity(SAMPLES + per_edge);
        while samples.len() < SAMPLES {
            samples.extend(std::iter::repeat_n(CYCLE[at % 4], per_edge));
            random ^= random << 13;
            random ^= random >> 7;
            random ^= random << 17;
            match random % 400 {
                0..4 => step = 4 - step,
                4..12 if at.is_multiple_of(2) => at += 6 - step,
                _ => {}
            }
            at += step;
        }
        samples.truncate(SAMPLES);
        let pack = |chunk: &[u8]| chunk.iter().rev().fold(0_u64, |word, &s| word << 2 | u64::from(s));
        Self {
            halves: samples.chunks(16).map(|chunk| pack(chunk) as u32).collect(),
            words: samples.chunks(32).map(pack).collect(),
            samples,
        }
    }
}

fn push(samples: &[u8]) -> Found {
    let mut decoder = Decoder::new();
    for &sample in samples {
        decoder.push(sample);
    }
    decoder.into()
}

fn push_16(words: &[u32]) -> Found {
    let mut decoder = Decoder::new();
    for &word in words {
        decoder.push_16(word);
    }
    decoder.into()
}

fn push_32(words: &[u64]) -> Found {
    let mut decoder = Decoder::new();
    for &word in words {
        decoder.push_32(word);
    }
    decoder.into()
}

fn push_block(words: &[u64]) -> Found {
    let mut decoder = Decoder::new();
    decoder.push_block(words);
    decoder.into()
}

/// The straightforward decoder: the last and the new sample index a table of steps.
fn table(samples: &[u8]) -> Found {
    /// 1 forward, 2 reverse, 3 illegal.
    const STEPS: [u8; 16] = [0, 1, 2, 3, 2, 0, 3, 1, 1, 3, 0, 2, 3, 2, 1, 0];
    let mut found = [0_u64; 4];
    let mut last = samples.first().map_or(0, |first| first & 3);
    for sample in samples {
        let sample = sample & 3;
        found[usize::from(STEPS[usize::from(last << 2 | sample)])] += 1;
        last = sample;
    }
    Found { forward: found[1], reverse: found[2], illegal: found[3] }
}

/// The crate `quadrature-decoder`, four counts to a pulse. Its forward is our reverse; it begins at 11,
/// as the recordings do.
fn crate_quadrature_decoder(samples: &[u8]) -> Found {
    let mut decoder = IncrementalDecoder::<QuadStep>::default();
    let mut found = Found::default();
    for &sample in samples {
        match decoder.update(sample & 0b10 != 0, sample & 0b01 != 0) {
            Ok(None) => {}
            Ok(Some(Change::Negative)) => found.forward += 1,
            Ok(Some(Change::Positive)) => found.reverse += 1,
            Err(_) => found.illegal += 1,
        }
    }
    found
}

/// Declares a timed bench of one decoder over one form of the recording.
macro_rules! timed {
    ($($name:ident($form:ident);)*) => {
        #[divan::bench_group(name = "samples", sample_count = 50)]
        mod timed {
            $(
                #[divan::bench(args = super::SAMPLES_PER_EDGE)]
                fn $name(bencher: super::Bencher, per_edge: usize) {
                    let recording = super::Recording::new(per_edge);
                    bencher
                        .counter(super::ItemsCount::new(super::SAMPLES))
                        .bench_local(|| super::$name(super::black_box(&recording.$form)));
                }
            )*
        }
    };
}

timed! {
    crate_quadrature_decoder(samples);
    table(samples);
    push(samples);
    push_16(halves);
    push_32(words);
    push_block(words);
}
