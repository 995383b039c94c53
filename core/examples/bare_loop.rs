//! A counter on a bare loop, with no operating system and no heap: what a board's main function does, with its pins,
//! clock and screen left out. A crank is turned here instead:
//!
//!     cargo run -p turntally-core --example bare_loop

use std::error::Error;

use turntally_core::bench::{Bench, Phase};
use turntally_core::coil::{CoilModel, Winding};
use turntally_core::counter::{CountsPerTurn, Direction, Gear, Shaft};
use turntally_core::cue::DEFAULT_LEAD;
use turntally_core::input::{Event, Input, Key};
use turntally_core::job::{Job, Lead, Target};
use turntally_core::plan::BatchPlan;
use turntally_core::signal::SignalWatch;
use turntally_core::spring::SpringRatio;
use turntally_core::time::Instant;
use turntally_core::units::{Length, Turns};

const PULSES: u32 = 400;
/// A sample each 125 microseconds: 16 of them, a word, each 2 ms.
const SAMPLE_NS: u32 = 125_000;
/// The levels of A and B, one count after the other.
const LEVELS: [u32; 4] = [0b00, 0b01, 0b11, 0b10];

fn main() -> Result<(), Box<dyn Error>> {
    let spring = SpringRatio::measured(1.01)?;
    let winding = Winding::new(Length::from_um(1_200), Length::from_um(4_500), 0.0, Length::ZERO, spring)?;
    let model = CoilModel::new(&winding, Turns::from_nano(Turns::ONE / 2));
    let per_turn = CountsPerTurn::new(PULSES, Shaft::Mandrel, Gear::DIRECT).ok_or("1 to 100,000 pulses")?;
    let mut bench = Bench::new();
    bench.built_for(PULSES, Shaft::Mandrel, Gear::DIRECT);
    bench.add_job(Job {
        batch: 0,
        name: "twenty".try_into().map_err(|_| "the name is too long")?,
        target: Target::Rings(20),
        rule: BatchPlan::new(model, per_turn, Length::from_um(70_000))?,
        direction: Direction::Forward,
        lead: Lead::Learned(DEFAULT_LEAD),
        spool: None,
    })?;
    let mut signal = SignalWatch::new(PULSES, SAMPLE_NS);

    let mut shown = bench.phase();
    // What a hand does: choose the job, zero with the wire caught, keep the coil.
    let mut keys =
        [(100, Key::Yes), (1_000, Key::Yes), (30_000, Key::Yes), (31_000, Key::Yes)].into_iter().peekable();
    // It stops the crank 0.4 s after "stop", as long as the cue leads at first.
    let (mut count, mut stopped) = (0_usize, u32::MAX);
    for ms in (0_u32..).step_by(2) {
        let at = Instant::from_millis(ms);
        // The board's sampler fills this word: two bits a sample, the earliest in the lowest. Here the crank turns by
        // four counts in each, from two seconds on, until the cue says stop.
        let mut word = 0;
        for sample in 0..16 {
            if (2_000..stopped).contains(&ms) && sample % 4 == 3 {
                count += 1;
            }
            word |= LEVELS[count % 4] << (2 * sample);
        }
        let reading = signal.push_16(word, at);
        let mut inputs = vec![Input::Encoder(reading), Input::Tick];
        inputs.extend(keys.next_if(|(due, _)| *due <= ms).map(|(_, key)| Input::Key(key)));
        for input in inputs {
            if let Some(record) = bench.handle(Event { at, input }) {
                println!(
                    "{ms:5} ms: coil taken off at {:.3} turns, {} rings guaranteed",
                    record.turns.as_f64(),
                    record.rings
                );
            }
        }
        if bench.phase() != shown {
            shown = bench.phase();
            if shown == Phase::Stop {
                stopped = stopped.min(ms + 400);
            }
            println!(
                "{ms:5} ms: {shown:?} at {:.3} of {:.3} turns",
                bench.turns().as_f64(),
                bench.target_turns().as_f64()
            );
        }
        if shown == Phase::Done {
            return Ok(());
        }
        if ms > 60_000 {
            return Err("the batch was not finished within a minute".into());
        }
    }
    Ok(())
}
