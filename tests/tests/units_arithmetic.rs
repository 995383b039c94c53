//! GNU units as independent arithmetic: it knows its own ounces, its own pi and its own square root,
//! and is given nothing but what a maker would say.
#![allow(clippy::unwrap_used, clippy::panic, reason = "a test that cannot go on should stop")]

use std::io::{ErrorKind, Write};
use std::process::{Command, Stdio};
use std::thread;

use turntally_core::coil::Winding;
use turntally_core::gauge::GaugeSystem;
use turntally_core::spring::SpringRatio;
use turntally_core::units::{Density, Grams, Length, Mm};
use turntally_sim::figures::{Figure, Figures};

/// Asks GNU units for each quantity in its unit, all in one run.
fn ask(questions: &[(String, &str)]) -> Vec<f64> {
    let child = Command::new("units")
        .args(["--quiet", "--terse", "--output-format", "%.17g"])
        .env("LC_ALL", "C")
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn();
    let mut child = match child {
        Ok(child) => child,
        Err(error) if error.kind() == ErrorKind::NotFound => {
            panic!("this check needs the program units: install the Debian package units")
        }
        Err(error) => panic!("cannot run units: {error}"),
    };
    let mut stdin = child.stdin.take().unwrap();
    let lines: String = questions.iter().map(|(have, want)| format!("{have}\n{want}\n")).collect();
    // Written from beside: the answers must be read while the questions go in.
    let writer = thread::spawn(move || stdin.write_all(lines.as_bytes()));
    let output = child.wait_with_output().unwrap();
    writer.join().unwrap().unwrap();
    let text = String::from_utf8(output.stdout).unwrap();
    let answers: Vec<f64> = text
        .lines()
        .filter(|line| !line.trim().is_empty())
        .map(|line| line.trim().parse().unwrap_or_else(|_| panic!("units says: {line}")))
        .collect();
    assert_eq!(answers.len(), questions.len(), "{text}");
    answers
}

/// Each computed value agrees with its answer to 1e-9.
fn agree(cases: &[(String, &str, f64)]) {
    let questions: Vec<(String, &str)> = cases.iter().map(|(have, want, _)| (have.clone(), *want)).collect();
    for ((have, want, computed), answer) in cases.iter().zip(ask(&questions)) {
        assert!((computed / answer - 1.0).abs() <= 1e-9, "{have} in {want}: {computed} for {answer}");
    }
}

/// A grid of 200 rings: their wire, their mass, their number to each weight, the coil's turns.
#[test]
#[ignore = "outside judge: units"]
fn two_hundred_rings_agree() {
    let wires = ["0.0253 in", "0.8128 mm", "1.0000 mm", "0.0508 in", "2.0000 mm"];
    let mandrels = ["3.0000 mm", "0.1875 in", "6.5000 mm", "0.3125 in", "11.0000 mm"];
    let rest = [
        (2.64, "0 mm", 0.0, 1.0),
        (8.53, "0.25 mm", 0.0, 1.0125),
        (8.89, "0.4 mm", 0.05, 1.03),
        (10.36, "0.008 in", 0.0, 1.021),
        (10.5, "0.3 mm", 0.5, 1.0),
        (13.07, "0.2 mm", 0.1, 1.07),
        (19.32, "0.16 mm", 0.0, 1.005),
        (8.0, "0.5 mm", 0.02, 1.31),
    ];
    let (mut cases, mut rings) = (Vec::new(), 0);
    for wire in wires {
        for mandrel in mandrels {
            for (density, kerf, gap, spring) in rest {
                rings += 1;
                let length = |text: &str| text.parse::<Length>().unwrap();
                let winding = Winding::new(
                    length(wire),
                    length(mandrel),
                    gap,
                    length(kerf),
                    SpringRatio::measured(spring).unwrap(),
                )
                .unwrap();
                let got = Figures::at(&winding, spring, Density::new(density));
                let pitch = format!("(1 + {gap}) * {wire}");
                let turn = |diameter: &str| format!("sqrt((pi * {diameter})^2 + ({pitch})^2)");
                let wound = format!("({mandrel} + {wire})");
                let released = format!("({spring} * {wound})");
                // The kerf is cut across the helix: longer along the wire by turn over flat turn.
                let ring = format!("({turn} - {kerf} * {turn} / (pi * {released}))", turn = turn(&released));
                let mass = format!("(pi / 4 * ({wire})^2 * {ring} * {density} g/cm^3)");
                let mut case = |have: String, want, figure| cases.push((have, want, got.get(figure)));
                case(turn(&wound), "mm", Figure::WoundTurn);
                case(turn(&released), "mm", Figure::ReleasedTurn);
                case(ring.clone(), "mm", Figure::RingWire);
                case(format!("{released} - ({wire})"), "mm", Figure::RingInner);
                case(format!("{ring} / pi - ({wire})"), "mm", Figure::ClosedInner);
                case(format!("({ring} / pi - ({wire})) / ({wire})"), "1", Figure::AspectRatio);
                case(mass.clone(), "mg", Figure::RingMass);
                case(format!("troyounce / {mass}"), "1", Figure::PerTroyOunce);
                case(format!("ounce / {mass}"), "1", Figure::PerOunce);
                case(format!("100 g / {mass}"), "1", Figure::PerHundredGrams);
                case(format!("inch / ({pitch})"), "1", Figure::TurnsPerInch);
            }
        }
    }
    assert_eq!(rings, 200);
    agree(&cases);
}

/// Amounts as makers write them, each way.
#[test]
#[ignore = "outside judge: units"]
fn conversions_agree() {
    let mut cases = Vec::new();
    for number in ["0.125", "1", "2.5", "40", "1234.567"] {
        for (ours, theirs) in [
            ("g", "g"),
            ("mg", "mg"),
            ("kg", "kg"),
            ("ozt", "troyounce"),
            ("ozav", "ounce"),
            ("dwt", "pennyweight"),
            ("gr", "grain"),
            ("lb", "lb"),
        ] {
            let mass: Grams = format!("{number}{ours}").parse().unwrap();
            let have = format!("{number} {theirs}");
            cases.push((have.clone(), "g", mass.get()));
            cases.push((have.clone(), "troyounce", mass.troy_ounces()));
            cases.push((have.clone(), "ounce", mass.ounces()));
            cases.push((have, "pennyweight", mass.pennyweights()));
        }
        for unit in ["mm", "cm", "m", "um", "in", "ft"] {
            let length: Length = format!("{number}{unit}").parse().unwrap();
            let have = format!("{number} {unit}");
            cases.push((have.clone(), "mm", length.mm().get()));
            cases.push((have, "inch", length.inches()));
        }
    }
    let density = Density::new(10.36);
    let wire: Length = "0.0320in".parse().unwrap();
    for metres in [0.5, 12.0, 300.0] {
        let mass = density.wire_mass(wire, Mm::new(metres * 1e3));
        cases.push((format!("pi / 4 * (0.0320 inch)^2 * {metres} m * 10.36 g/cm^3"), "g", mass.get()));
        let back = density.wire_length(wire, Grams::new(metres * Grams::TROY_OUNCE));
        cases.push((
            format!("{metres} troyounce / (10.36 (g/cm^3) * pi / 4 * (0.0320 inch)^2)"),
            "m",
            back.get() / 1e3,
        ));
    }
    agree(&cases);
}

/// Every British size is the one that GNU units lists.
#[test]
#[ignore = "outside judge: units"]
fn british_gauge_agrees() {
    let cases: Vec<_> = GaugeSystem::Swg
        .sizes()
        .map(|gauge| (format!("brwiregauge({})", gauge.number()), "mm", gauge.diameter().mm().get()))
        .collect();
    assert_eq!(cases.len(), 57);
    agree(&cases);
}
