//! Bytes per second of reading a recording (VCD) and counting its turns, all of `turntally replay` but
//! opening the file, beside the crate `vcd` with the bare decoder behind it. In one recording every change is a
//! count, in the other another wire changes after each. Run with `cargo bench -p turntally-tests --bench replay`.
#![allow(clippy::unwrap_used, reason = "a bench that cannot run must stop")]

use divan::Bencher;
use divan::counter::BytesCount;
use std::hint::black_box;
use turntally_core::counter::{CountsPerTurn, Gear, Shaft};
use turntally_core::quadrature::Decoder;
use turntally_sim::capture::{Capture, Recorder, Tick, Wanted, Wire};
use turntally_sim::command::replay::{Replay, replay};
use vcd::{Command, Parser, Value};

/// Steps in the recording: about twelve million bytes.
const STEPS: u64 = 1_000_000;

fn main() {
    let found = count(&recording(false));
    assert_eq!((found.counts, found.illegal_transitions), (STEPS as i64, 0));
    assert_eq!(found, count(&recording(true)));
    for busy in [false, true] {
        assert_eq!(count_by_the_crate_vcd(&recording(busy)), STEPS as i64);
    }
    divan::main();
}

/// Winding on at a pace that sways a little, 1 us to a tick; with `busy`, a lamp that changes after
/// every step, as a recording of a whole bench has wires that nobody asked for.
fn recording(busy: bool) -> Vec<u8> {
    let mut file = Vec::new();
    let wires = [("enc_a", false), ("enc_b", false), ("lamp_green", false)];
    let mut recorder = Recorder::new(&mut file, Tick::Microsecond, &wires).unwrap();
    let mut time_ns = 0;
    for step in 0..STEPS {
        time_ns += 300_000 + step * 7_919 % 41_000;
        recorder.change(time_ns, Wire(if step % 2 == 0 { 1 } else { 0 }), step % 4 < 2).unwrap();
        if busy {
            recorder.change(time_ns + 50_000, Wire(2), step % 2 == 0).unwrap();
        }
    }
    recorder.finish(time_ns + 1_000_000).unwrap();
    file
}

fn count(file: &[u8]) -> Replay {
    let wanted = [Wanted::new("--a", "enc_a"), Wanted::new("--b", "enc_b")];
    let per_turn = CountsPerTurn::new(400, Shaft::Crank, Gear::default()).unwrap();
    replay(&mut Capture::open(file, &wanted).unwrap(), 400, per_turn).unwrap()
}

/// The same wires by the crate `vcd`, each change pushed to the same decoder and no more: it knows no speed, no dead
/// channel, no unknown level.
fn count_by_the_crate_vcd(file: &[u8]) -> i64 {
    let mut parser = Parser::new(file);
    let header = parser.parse_header().unwrap();
    let [a, b] = ["enc_a", "enc_b"].map(|name| header.find_var(&["bench", name]).unwrap().code);
    let (mut pins, mut decoder) = (0, Decoder::new());
    for command in parser {
        match command.unwrap() {
            Command::ChangeScalar(code, value) if code == a || code == b => {
                let bit = if code == a { 0b10 } else { 0b01 };
                pins = if value == Value::V1 { pins | bit } else { pins & !bit };
            }
            Command::Timestamp(_) => {
                decoder.push(pins);
            }
            _ => {}
        }
    }
    decoder.push(pins);
    decoder.position()
}

#[divan::bench(args = [false, true], sample_count = 30)]
fn replay_with_other_wires(bencher: Bencher, busy: bool) {
    let file = recording(busy);
    bencher.counter(BytesCount::new(file.len())).bench_local(|| count(black_box(&file)));
}

#[divan::bench(args = [false, true], sample_count = 30)]
fn crate_vcd_with_other_wires(bencher: Bencher, busy: bool) {
    let file = recording(busy);
    bencher.counter(BytesCount::new(file.len())).bench_local(|| count_by_the_crate_vcd(black_box(&file)));
}
