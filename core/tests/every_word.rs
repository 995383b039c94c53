//! Packed decoding against single samples over every word: five states of the decoder (no sample yet, or one of four)
//! times 2^32 words of 16 samples.
//!
//! The words of a few first bytes are tried; `TURNTALLY_FIRST_BYTES=256` tries them all (minutes, in release).

#![allow(clippy::unwrap_used, reason = "a test may stop where it stands")]

use std::num::NonZero;
use std::sync::atomic::{AtomicU32, AtomicU64, Ordering};
use std::thread;

use turntally_core::quadrature::{Decoder, Steps};

/// Samples in the first byte of a word.
const FIRST: u32 = 4;
const SAMPLES: u32 = 16;

/// What single samples say of the word so far.
#[derive(Clone)]
struct Singles {
    decoder: Decoder,
    steps: Steps,
    word: u32,
}

impl Singles {
    /// With sample `place` of the word too.
    fn push(&self, place: u32, sample: u8) -> Self {
        let mut next = self.clone();
        let steps = next.decoder.push(sample);
        next.steps.forward += steps.forward;
        next.steps.reverse += steps.reverse;
        next.steps.illegal += steps.illegal;
        next.steps.a_moved |= steps.a_moved;
        next.steps.b_moved |= steps.b_moved;
        next.word |= u32::from(sample) << (2 * place);
        next
    }

    /// Compares every word that begins like this one, and returns how many there are. Words with the same
    /// beginning share the work on it.
    fn compare(&self, place: u32, before: &Decoder) -> u64 {
        if place < SAMPLES {
            return (0..4).map(|sample| self.push(place, sample).compare(place + 1, before)).sum();
        }
        let mut packed = before.clone();
        let steps = packed.push_16(self.word);
        assert!(
            steps == self.steps && packed == self.decoder,
            "word {:#010x} after {before:?}: {steps:?} and {packed:?} instead of {:?} and {:?}",
            self.word,
            self.steps,
            self.decoder,
        );
        1
    }
}

/// A decoder before the word: without a sample, or at this level.
fn decoder_at(level: Option<u8>) -> Decoder {
    let mut decoder = Decoder::new();
    if let Some(level) = level {
        decoder.push(level);
    }
    decoder
}

fn compare_first_byte(byte: u8) -> u64 {
    [None, Some(0), Some(1), Some(2), Some(3)].into_iter().map(decoder_at).fold(0, |compared, before| {
        let start = Singles { decoder: before.clone(), steps: Steps::default(), word: 0 };
        let begun = (0..FIRST).fold(start, |singles, place| singles.push(place, byte >> (2 * place) & 0b11));
        compared + begun.compare(FIRST, &before)
    })
}

#[test]
fn packed_word_equals_single_samples_whatever_the_word() {
    let bytes: u32 = std::env::var("TURNTALLY_FIRST_BYTES").map_or(1, |bytes| bytes.parse().unwrap());
    assert!((1..=256).contains(&bytes), "TURNTALLY_FIRST_BYTES is {bytes}: 1 to 256");
    let (next, compared) = (AtomicU32::new(0), AtomicU64::new(0));
    thread::scope(|scope| {
        for _ in 0..thread::available_parallelism().map_or(1, NonZero::get) {
            scope.spawn(|| {
                loop {
                    let index = next.fetch_add(1, Ordering::Relaxed);
                    if index >= bytes {
                        return;
                    }
                    // An odd factor takes each byte once, and begins with a word of movement.
                    let byte = (0x1e_u32 + 0xa7 * index) as u8;
                    compared.fetch_add(compare_first_byte(byte), Ordering::Relaxed);
                }
            });
        }
    });
    let compared = compared.into_inner();
    assert_eq!(compared, (u64::from(bytes) * 5) << 24);
    println!("{compared} inputs, of 5 * 2^32: packed and single decoding agree");
}
