//! The tester's script against a simulated counter: a good one passes every check, and each fault that is soldered in is
//! named.
#![allow(clippy::unwrap_used, clippy::panic, reason = "a test may stop where it stands")]

use turntally_core::time::Duration;
use turntally_firmware::tester::script::{self, Length};
use turntally_sim::simulation::board::Line;
use turntally_sim::simulation::joined::{Joined, Solder};

/// The report's checks as (name, passed, measured), and its last line.
fn report(solder: Option<Solder>, length: Length) -> (Vec<(String, bool, String)>, String) {
    let mut board = Joined::new(solder);
    script::run(&mut board, length);
    let lines = board.into_report().unwrap();
    let checks = lines.iter().filter_map(|line| match line.split('\t').collect::<Vec<_>>().as_slice() {
        ["check", name, result, measured, _] => {
            Some((name.to_string(), *result == "pass", measured.to_string()))
        }
        _ => None,
    });
    (checks.collect(), lines.last().unwrap().clone())
}

/// A good counter passes every check, of the short test and of the full one.
#[test]
fn a_good_counter_passes() {
    for (length, least) in [(Length::Short, 25), (Length::Full, 250)] {
        let (checks, end) = report(None, length);
        let failed: Vec<_> = checks.iter().filter(|(_, passed, _)| !passed).collect();
        assert!(failed.is_empty(), "{length}: {failed:?}");
        assert_eq!(end, format!("end\t{}\t0", checks.len()));
        assert!(checks.len() >= least, "{length}: {} checks", checks.len());
    }
}

/// The first check that fails with this fault names it.
#[track_caller]
fn named(solder: Solder, words: &str) {
    let (checks, end) = report(Some(solder), Length::Short);
    let failed: Vec<_> =
        checks.iter().filter(|(_, passed, _)| !passed).map(|(_, _, measured)| measured).collect();
    assert!(failed.first().is_some_and(|measured| measured.contains(words)), "{solder:?}: {checks:#?}");
    assert!(end.starts_with("end\t") && !end.ends_with("\t0"), "{end}");
}

#[test]
fn open_wires_are_named() {
    for (line, words) in [
        (Line::EncoderA, "encoder A (pin 5): no edge arrives"),
        (Line::EncoderB, "encoder B (pin 4): no edge arrives"),
        (Line::KnobA, "knob A (pin 9) stays low: open"),
        (Line::KnobB, "knob B (pin 10) stays low: open"),
        (Line::Yes, "key Yes (pin 11) stays low: open"),
        (Line::No, "key No (pin 12) stays low: open"),
        (Line::Red, "lamp red (pin 14) stays low: open"),
        (Line::Yellow, "lamp yellow (pin 15) stays low: open"),
        (Line::Green, "lamp green (pin 16) stays low: open"),
        (Line::Stop, "stop line (pin 17) stays low: open"),
        (Line::Sounding, "sounder (pin 19) stays low: open"),
    ] {
        named(Solder::Open(line), words);
    }
    named(Solder::NoSerial, "no answer");
}

#[test]
fn swapped_wires_are_named() {
    for (one, other, words) in [
        (Line::EncoderA, Line::EncoderB, "encoder A (pin 5) and encoder B (pin 4) swapped"),
        (Line::KnobA, Line::KnobB, "knob A (pin 9) and knob B (pin 10) swapped"),
        (Line::Yes, Line::No, "key Yes (pin 11) and key No (pin 12) swapped"),
        (Line::Red, Line::Yellow, "lamp red (pin 14) swapped with lamp yellow (pin 15)"),
        (Line::Green, Line::Stop, "lamp green (pin 16) swapped with stop line (pin 17)"),
        (Line::Stop, Line::Sounding, "stop line (pin 17) swapped with sounder (pin 19)"),
    ] {
        named(Solder::Swapped(one, other), words);
    }
}

#[test]
fn stuck_wires_are_named() {
    for (line, high, words) in [
        (Line::EncoderA, false, "encoder A (pin 5): no edge arrives"),
        (Line::EncoderB, true, "encoder B (pin 4): no edge arrives"),
        (Line::KnobA, false, "knob A (pin 9) stays low"),
        (Line::KnobB, true, "knob A (pin 9) or knob B (pin 10) stuck"),
        (Line::Yes, false, "key Yes (pin 11) stays low"),
        (Line::Yes, true, "key Yes (pin 11): no reaction"),
        (Line::No, true, "key No (pin 12): no reaction"),
        (Line::Red, true, "lamp red (pin 14) stays high"),
        (Line::Yellow, false, "lamp yellow (pin 15) stays low"),
        (Line::Stop, true, "stop line (pin 17) stays high"),
        (Line::Sounding, true, "sounder (pin 19) stays high"),
    ] {
        named(Solder::Stuck { line, high }, words);
    }
}

#[test]
fn slow_edges_are_named() {
    let slow = Duration::from_micros(30);
    named(Solder::Slow(Line::EncoderA, slow), "encoder A (pin 5): edges too slow");
    named(Solder::Slow(Line::EncoderB, slow), "encoder B (pin 4): edges too slow");
}
