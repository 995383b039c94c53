//! Counts the A/B samples of a text file, one sample of two digits a line (A then B), or of a short built-in one:
//!
//!     cargo run -p turntally-core --example decode_samples -- samples.txt

use std::error::Error;
use std::{env, fs};

use turntally_core::counter::{CountsPerTurn, Gear, Shaft};
use turntally_core::quadrature::Decoder;

/// Two pulses on, a skipped step, one count back.
const SAMPLES: &str = "00\n01\n11\n10\n00\n01\n11\n10\n00\n11\n01\n";

fn main() -> Result<(), Box<dyn Error>> {
    let text = env::args().nth(1).map_or_else(|| Ok(SAMPLES.to_owned()), fs::read_to_string)?;
    let mut decoder = Decoder::new();
    for (number, line) in text.lines().enumerate() {
        let sample = u8::from_str_radix(line, 2).ok().filter(|sample| *sample < 4);
        decoder
            .push(sample.ok_or_else(|| format!("line {}: only 00, 01, 10 and 11 are allowed", number + 1))?);
    }
    let per_turn = CountsPerTurn::new(400, Shaft::Mandrel, Gear::DIRECT).ok_or("1 to 100,000 pulses")?;
    let turns = per_turn.turns(decoder.position()).ok_or("more turns than can be shown")?;
    println!(
        "{} counts, {:.4} turns of an encoder of 400 pulses; {} impossible steps",
        decoder.position(),
        turns.as_f64(),
        decoder.illegal()
    );
    Ok(())
}
