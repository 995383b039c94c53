//! What firmware/README.md and firmware/wiring.svg tell a builder is what the firmware does: pins, messages,
//! and the figures that are worked out there.

#![allow(clippy::unwrap_used, clippy::panic, reason = "a test may stop where it stands")]
#![allow(clippy::float_cmp, reason = "figures that are written out and whole, or read from one text")]

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::{Path, PathBuf};

use embedded_storage::nor_flash::NorFlashErrorKind;
use turntally_core::bench::Fault;
use turntally_core::screen::fault_words;
use turntally_core::signal::Channel;
use turntally_firmware::store::StoreError;
use turntally_firmware::store::guard::FlashError;

/// What stands at the 40 pins of a Pico, from the USB socket down the left side and up the right (the
/// board's data sheet, from memory).
const PINS: [&str; 40] = [
    "GP0", "GP1", "GND", "GP2", "GP3", "GP4", "GP5", "GND", "GP6", "GP7", "GP8", "GP9", "GND", "GP10",
    "GP11", "GP12", "GP13", "GND", "GP14", "GP15", "GP16", "GP17", "GND", "GP18", "GP19", "GP20", "GP21",
    "GND", "GP22", "RUN", "GP26", "GP27", "GND", "GP28", "ADC_VREF", "3V3", "3V3_EN", "GND", "VSYS", "VBUS",
];

/// The fields of `Pins` in pins.rs, with what the wires of each are called for a builder.
const FIELDS: [(&str, &[&str]); 10] = [
    ("encoder_a", &["encoder A"]),
    ("encoder_b", &["encoder B"]),
    ("screen", &["screen SDA", "screen SCL"]),
    ("knob", &["knob A", "knob B"]),
    ("yes", &["key Yes"]),
    ("no", &["key No"]),
    ("lamp", &["lamp red", "lamp yellow", "lamp green"]),
    ("stop", &["stop line"]),
    ("sounder", &["sounder"]),
    ("serial", &["UART TX", "UART RX"]),
];

/// The emulator's names for them; the screen and the serial line are buses there.
const EMULATED: [(&str, &str); 11] = [
    ("encoderA", "encoder A"),
    ("encoderB", "encoder B"),
    ("knobA", "knob A"),
    ("knobB", "knob B"),
    ("yes", "key Yes"),
    ("no", "key No"),
    ("red", "lamp red"),
    ("yellow", "lamp yellow"),
    ("green", "lamp green"),
    ("stop", "stop line"),
    ("sounder", "sounder"),
];

fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).parent().unwrap().to_owned()
}

fn read(path: &str) -> String {
    fs::read_to_string(root().join(path)).unwrap_or_else(|error| panic!("{path}: {error}"))
}

/// Numbers that follow `mark` in a text, in order.
fn numbers_after(text: &str, mark: &str) -> Vec<u8> {
    let number = |rest: &str| rest.chars().take_while(char::is_ascii_digit).collect::<String>().parse().ok();
    text.split(mark).skip(1).filter_map(number).collect()
}

/// GPIO by wire, as `Pins::new` of the board assigns them.
fn wires() -> BTreeMap<&'static str, u8> {
    let source = read("firmware/src/bin/pico/pins.rs");
    let body = source.split("pub fn new(").nth(1).unwrap();
    let mut wires = BTreeMap::new();
    for (field, names) in FIELDS {
        let line = body.lines().find(|line| line.trim().starts_with(&format!("{field}:"))).unwrap();
        let gpios = numbers_after(line, "PIN_");
        assert_eq!(gpios.len(), names.len(), "{field}: {line}");
        wires.extend(names.iter().copied().zip(gpios));
    }
    // A pin that is not among the fields above would go untold.
    assert_eq!(numbers_after(body, "PIN_").len(), wires.len());
    wires
}

/// The cells of the table whose head begins with these.
fn table(text: &str, head: &[&str]) -> Vec<Vec<String>> {
    let cells = |line: &str| -> Vec<String> {
        line.trim().trim_matches('|').split('|').map(|cell| cell.trim().to_owned()).collect()
    };
    let is_head = |line: &&str| line.starts_with('|') && cells(line).iter().zip(head).all(|(a, b)| a == b);
    let rows: Vec<_> = text.lines().skip_while(|line| !is_head(line)).skip(2).collect();
    let rows: Vec<_> = rows.iter().take_while(|line| line.starts_with('|')).map(|line| cells(line)).collect();
    assert!(!rows.is_empty(), "there is no table of {head:?}");
    rows
}

/// A figure as it stands in a cell: thousands with commas, a unit behind.
fn figure(cell: &str) -> f64 {
    let digits: String =
        cell.replace(',', "").chars().take_while(|c| c.is_ascii_digit() || *c == '.').collect();
    digits.parse().unwrap_or_else(|_| panic!("no figure in {cell:?}"))
}

/// The README's wiring table names every wire of the board with its GPIO and its place on the Pico, and none
/// that is not there.
#[test]
fn readme_pins_are_those_of_the_firmware() {
    let mut documented = BTreeMap::new();
    for row in table(&read("firmware/README.md"), &["pin", "GPIO", "wire"]) {
        let (pin, gpio): (usize, u8) = (row[0].parse().unwrap(), row[1].parse().unwrap());
        assert_eq!(PINS[pin - 1], format!("GP{gpio}"), "pin {pin}");
        documented.insert(row[2].clone(), gpio);
    }
    let wires: BTreeMap<String, u8> =
        wires().into_iter().map(|(wire, gpio)| (wire.to_owned(), gpio)).collect();
    assert_eq!(documented, wires);
}

/// GPIO of the tester by wire, as `Pins::new` of its board assigns them.
fn tester_wires() -> BTreeMap<&'static str, u8> {
    const TESTER: [(&str, &[&str]); 9] = [
        ("encoder_a", &["encoder A"]),
        ("encoder_b", &["encoder B"]),
        ("knob", &["knob A", "knob B"]),
        ("yes", &["key Yes"]),
        ("no", &["key No"]),
        ("lamp", &["lamp red", "lamp yellow", "lamp green"]),
        ("stop", &["stop line"]),
        ("sounder", &["sounder"]),
        ("serial", &["UART TX", "UART RX"]),
    ];
    let source = read("firmware/src/bin/tester/pins.rs");
    let body = source.split("pub fn new(").nth(1).unwrap();
    let mut wires = BTreeMap::new();
    for (field, names) in TESTER.into_iter().chain([("report", ["report TX", "report RX"].as_slice())]) {
        let line = body.lines().find(|line| line.trim().starts_with(&format!("{field}:"))).unwrap();
        let gpios = numbers_after(line, "PIN_");
        assert_eq!(gpios.len(), names.len(), "{field}: {line}");
        wires.extend(names.iter().copied().zip(gpios));
    }
    assert_eq!(numbers_after(body, "PIN_").len(), wires.len());
    wires
}

/// The place of a GPIO on a Pico.
fn pin_of(gpio: u8) -> usize {
    1 + PINS.iter().position(|name| *name == format!("GP{gpio}")).unwrap()
}

/// Each wire between the tester and the counter leads from the tester's pin to the counter's, in the README and in the
/// comment of the source; the serial line is crossed, and the report goes to no pin of the counter.
#[test]
fn tester_pins_are_those_of_both_boards() {
    let counter = wires();
    let expected: BTreeMap<String, (String, String)> = tester_wires()
        .into_iter()
        .map(|(wire, gpio)| {
            let there = match wire {
                "UART TX" => counter.get("UART RX"),
                "UART RX" => counter.get("UART TX"),
                wire => counter.get(wire),
            };
            let there = there.map_or("none".to_owned(), |&gpio| pin_of(gpio).to_string());
            (wire.to_owned(), (pin_of(gpio).to_string(), there))
        })
        .collect();
    let documented: BTreeMap<_, _> = table(&read("firmware/README.md"), &["tester's pin", "counter's pin"])
        .into_iter()
        .map(|row| (row[2].clone(), (row[0].clone(), row[1].clone())))
        .collect();
    assert_eq!(documented, expected);
    let source = read("firmware/src/bin/tester/pins.rs").replace("//! ", "");
    let split = |cell: &str| cell.split(", ").map(str::to_owned).collect::<Vec<_>>();
    let mut commented = Vec::new();
    for row in table(&source, &["pin", "GPIO", "wire", "pin of the counter"]) {
        let (pins, gpios) = (split(&row[0]), split(&row[1]));
        for (at, (pin, gpio)) in pins.iter().zip(&gpios).enumerate() {
            assert_eq!(*pin, pin_of(gpio.parse().unwrap()).to_string(), "{row:?}");
            let there = row[3].split(':').next().unwrap();
            commented.push((pin.clone(), split(there).get(at).cloned().unwrap_or_else(|| there.to_owned())));
        }
    }
    commented.sort();
    let mut all: Vec<_> = expected.into_values().collect();
    all.sort();
    assert_eq!(commented, all);
}

/// A fault that the tester names has the pin at which it is.
#[test]
fn pins_in_the_tester_s_messages_are_those_of_the_counter() {
    let sources = read("firmware/src/tester/wiring.rs") + &read("firmware/src/tester/outputs.rs");
    let mut named = BTreeSet::new();
    for (wire, gpio) in wires() {
        for place in numbers_after(&sources, &format!("{wire} (pin ")) {
            assert_eq!(usize::from(place), pin_of(gpio), "{wire}");
            named.insert(wire);
        }
    }
    let without = ["screen SDA", "screen SCL", "UART TX", "UART RX"];
    let expected: BTreeSet<_> = wires().into_keys().filter(|wire| !without.contains(wire)).collect();
    assert_eq!(named, expected);
}

/// So does the table that stands in the source itself.
#[test]
fn pins_in_the_comments_are_those_of_the_code() {
    let source = read("firmware/src/bin/pico/pins.rs").replace("//! ", "");
    let split = |cell: &str| cell.split(", ").map(|n| n.parse().unwrap()).collect::<Vec<usize>>();
    let mut gpios = Vec::new();
    for row in table(&source, &["pin", "GPIO"]) {
        let (pins, numbers) = (split(&row[0]), split(&row[1]));
        assert_eq!(pins.len(), numbers.len(), "{row:?}");
        for (pin, gpio) in pins.iter().zip(&numbers) {
            assert_eq!(PINS[pin - 1], format!("GP{gpio}"), "{row:?}");
        }
        gpios.extend(numbers);
    }
    let mut used: Vec<usize> = wires().values().copied().map(usize::from).collect();
    used.sort_unstable();
    gpios.sort_unstable();
    assert_eq!(gpios, used);
}

/// The emulator drives and hears the same pins.
#[test]
fn emulated_pins_are_those_of_the_firmware() {
    let rig = read("tests/emulator/rig.mjs");
    let list = rig.split("export const PIN = {").nth(1).unwrap().split('}').next().unwrap();
    let documented: BTreeMap<&str, u8> = list
        .split(',')
        .map(|pair| {
            let (name, gpio) = pair.split_once(':').unwrap();
            (name.trim(), gpio.trim().parse().unwrap())
        })
        .collect();
    let wires = wires();
    let expected: BTreeMap<&str, u8> = EMULATED.iter().map(|(name, wire)| (*name, wires[wire])).collect();
    assert_eq!(documented, expected);
}

/// The drawing has all 40 pins, each at its place and under its name, with the wire that the firmware has
/// there.
#[test]
fn drawn_pins_are_those_of_the_firmware() {
    let svg = read("firmware/wiring.svg");
    let mut at: BTreeMap<String, &str> =
        wires().into_iter().map(|(wire, gpio)| (format!("GP{gpio}"), wire)).collect();
    at.extend([("3V3", "3V3 out"), ("VSYS", "VSYS, 5 V")].map(|(pin, wire)| (pin.to_owned(), wire)));
    let attribute = |line: &str, name: &str| {
        figure(line.split(&format!(" {name}=\"")).nth(1).unwrap_or_else(|| panic!("no {name} in {line}")))
    };
    let mut places = Vec::new();
    for (number, name) in (1..).zip(PINS) {
        let line = svg.lines().find(|line| line.contains(&format!("id=\"pin-{number}\""))).unwrap();
        let words: Vec<&str> =
            line.split("</text>").filter_map(|part| part.rsplit_once('>')).map(|(_, word)| word).collect();
        let wire = if name == "GND" { "GND" } else { at.get(name).copied().unwrap_or("free") };
        assert_eq!(words[..3], [number.to_string().as_str(), name, wire], "pin {number}");
        places.push((attribute(line, "cx"), attribute(line, "cy")));
    }
    let (left, right) = places.split_at(20);
    for ((x, y), (other_x, other_y)) in left.iter().zip(right.iter().rev()) {
        assert!(x < other_x && y == other_y, "the two sides stand askew");
    }
    assert!(left.windows(2).all(|pair| pair[0].0 == pair[1].0 && pair[0].1 < pair[1].1));
}

/// The two supplies by name, with the pin of each. VBUS is none of them: it is dead while the counter is supplied
/// through VSYS, and what hangs on it with it.
const SUPPLIES: [(&str, &str); 2] = [("VSYS", "39"), ("3V3", "36")];

/// The parts of the drawing between its comments, by their titles.
fn drawn_parts(svg: &str) -> BTreeMap<&str, &str> {
    svg.split("<!-- ").skip(1).filter_map(|part| part.split_once(" -->")).collect()
}

/// What is written in an element of the drawing that stands on one line.
fn words(line: &str) -> &str {
    line.rsplit_once("</text>").and_then(|(text, _)| text.rsplit_once('>')).map_or("", |(_, words)| words)
}

/// Each supply is drawn from its own pin to its flag, and every part that is fed takes one of the two: sounder and
/// encoders of 5 V take VSYS, which has voltage whichever way the counter is powered. Nothing is drawn at VBUS.
#[test]
fn drawn_supplies_have_voltage_however_the_counter_is_powered() {
    let svg = read("firmware/wiring.svg");
    let parts = drawn_parts(&svg);
    let place = |pin: &str| {
        let pad = svg.lines().find(|line| line.contains(&format!("id=\"pin-{pin}\""))).unwrap();
        let cy = pad.split(" cy=\"").nth(1).unwrap();
        cy.split('"').next().unwrap().to_owned()
    };
    let supply = parts["Supply"];
    for (name, pin) in SUPPLIES {
        let (y, lines) = (place(pin), supply.lines().collect::<Vec<_>>());
        let wire = lines
            .iter()
            .position(|line| line.starts_with(&format!("<polyline points=\"141.3,{y} ")))
            .unwrap();
        let end = lines[wire].split(['"', ' ']).nth(3).unwrap();
        assert!(
            lines[wire + 1].contains(&format!("href=\"#supply\" transform=\"translate({end})")),
            "{name}"
        );
        assert_eq!(words(lines[wire + 2]), name);
    }
    assert!(!svg.contains(&format!("points=\"141.3,{} ", place("40"))), "something hangs on VBUS");
    let flags = |part: &str| -> Vec<String> {
        let flags = parts[part].lines().filter(|line| line.contains("class=\"flag\""));
        flags.map(|line| words(line).to_owned()).collect()
    };
    for (part, expected) in [
        ("Supply", vec!["VSYS", "3V3"]),
        ("Screen", vec!["3V3"]),
        ("Sounder", vec!["VSYS"]),
        ("Other encoders", vec!["3V3"]),
    ] {
        assert_eq!(flags(part), expected, "{part}");
    }
    // Wherever a supply is drawn there is a flag beside it, and no flag has another name.
    let drawn = svg.matches("href=\"#supply\"").count();
    let flagged: Vec<_> = svg.lines().filter(|line| line.contains("class=\"flag\"")).map(words).collect();
    assert_eq!(drawn, flagged.len());
    assert!(flagged.iter().all(|flag| SUPPLIES.iter().any(|(name, _)| name == flag)), "{flagged:?}");
    // Encoders of 5 V, each in its own box.
    for title in ["Encoder with 5 V push-pull", "Encoder, line driver RS-422"] {
        let text = parts["Other encoders"]
            .split(title)
            .nth(1)
            .unwrap()
            .split("<rect class=\"cable\"")
            .next()
            .unwrap();
        assert!(text.contains("+ of the encoder to VSYS<"), "{title}");
    }
}

/// The boxes beside the drawing name pins too: those of encoder and sounder.
#[test]
fn pins_in_the_boxes_are_those_of_the_firmware() {
    let svg = read("firmware/wiring.svg");
    let wires = wires();
    let pin = |wire: &str| {
        let gpio = format!("GP{}", wires[wire]);
        1 + PINS.iter().position(|name| *name == gpio).unwrap()
    };
    let boxes: Vec<&str> =
        drawn_parts(&svg)["Other encoders"].split("<rect class=\"cable\"").skip(1).collect();
    assert_eq!(boxes.len(), 4);
    for text in boxes {
        let named: BTreeSet<usize> = numbers_after(text, "pin ").into_iter().map(usize::from).collect();
        let expected = if text.contains(">Sounder") {
            BTreeSet::from([pin("sounder")])
        } else {
            BTreeSet::from([pin("encoder A"), pin("encoder B")])
        };
        assert_eq!(named, expected);
    }
}

/// The README's table of supplies: the diodes' voltages subtracted, within what VSYS and the Pico take, and VBUS at
/// nothing where USB is unplugged. Whatever is fed with 5 V is on VSYS.
#[test]
fn supplies_are_worked_out_right() {
    let readme = read("firmware/README.md");
    let rows = table(&readme, &["powered by", "VBUS, pin 40: lowest"]);
    assert_eq!(rows.len(), 2);
    for row in &rows {
        let minus: Vec<f64> = row[2].split(" − ").map(figure).collect();
        let (lowest, highest) = (figure(&row[3]), figure(&row[4]));
        assert!((minus[0] - minus[1] - lowest).abs() <= 0.005, "{row:?}");
        assert!(row[0].contains(&format!("{} to {} V", minus[0], highest)), "{row:?}");
        // The data sheet of the Pico (from memory).
        assert!(lowest >= 1.8 && highest <= 5.5, "{row:?}");
        let vbus = if row[0].contains("USB unplugged") { 0.0 } else { minus[0] };
        assert!(figure(&row[1]) == vbus, "{row:?}");
    }
    let lowest = rows.iter().map(|row| figure(&row[3])).fold(f64::INFINITY, f64::min);
    let softer = 20.0 * (5.0 / lowest).log10();
    assert!(readme.contains(&format!("At {lowest:.2} V the piezo is {softer:.1} dB softer")), "{softer}");
    let supplied: BTreeMap<String, String> = table(&readme, &["pin", "what", "for"])
        .into_iter()
        .map(|row| (row[0].clone(), row.join(" ")))
        .collect();
    assert!(!supplied.contains_key("40"), "nothing hangs on VBUS");
    for (name, pin) in SUPPLIES {
        assert!(supplied[pin].contains(name.trim_end_matches("out")), "{supplied:?}");
    }
    assert!(["sounder", "encoder that wants 5 V"].iter().all(|part| supplied["39"].contains(part)));
    assert!(["screen", "3.3 V encoder"].iter().all(|part| supplied["36"].contains(part)));
}

/// Every fault of the bench; the match makes the compiler ask for a new one here.
fn faults() -> Vec<Fault> {
    for fault in Fault::ALL {
        match fault {
            Fault::Dead(Channel::A | Channel::B)
            | Fault::MissedSteps
            | Fault::Chatter
            | Fault::Backwards
            | Fault::SamplesLost
            | Fault::OutOfRange
            | Fault::PowerCut => {}
        }
    }
    Fault::ALL.to_vec()
}

/// Every reason why something was not kept, likewise.
fn store_errors() -> Vec<StoreError> {
    let mut all = vec![
        StoreError::Damaged,
        StoreError::NoteDamaged,
        StoreError::Newer,
        StoreError::Full,
        StoreError::LogFull,
    ];
    all.extend(
        [
            FlashError::Driver(NorFlashErrorKind::Other),
            FlashError::NotWritten,
            FlashError::NotErased,
            FlashError::Turning,
        ]
        .map(StoreError::Flash),
    );
    for error in &all {
        match error {
            StoreError::Damaged
            | StoreError::NoteDamaged
            | StoreError::Newer
            | StoreError::Full
            | StoreError::LogFull => {}
            StoreError::Flash(
                FlashError::Driver(_) | FlashError::NotWritten | FlashError::NotErased | FlashError::Turning,
            ) => {}
        }
    }
    all
}

/// The Rust files of the firmware.
fn sources(folder: &Path, found: &mut Vec<String>) {
    for entry in fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            sources(&path, found);
        } else if path.extension().is_some_and(|end| end == "rs") {
            let text = fs::read_to_string(&path).unwrap();
            // Tests make up their own.
            found.push(text.split("#[cfg(test)]").next().unwrap().to_owned());
        }
    }
}

/// Titles of the messages about the counter itself, and their details where those are plain words.
fn troubles() -> Vec<(String, Option<String>)> {
    let mut texts = Vec::new();
    sources(&root().join("firmware/src"), &mut texts);
    let quoted = |text: &str| text.split('"').nth(1).unwrap().to_owned();
    let mut found = Vec::new();
    for call in texts.iter().flat_map(|text| text.split("Notice::new(").skip(1)) {
        let call = call.split(");").next().unwrap();
        assert!(call.trim_start().starts_with('"'), "this title cannot be found by its words: {call}");
        let detail = call.split_once("format_args!(").or_else(|| call.split_once("plain!("));
        let detail = quoted(detail.unwrap().1);
        found.push((quoted(call), (!detail.contains('{')).then_some(detail)));
    }
    assert!(found.len() >= 4, "only {found:?}");
    found
}

/// The README says of every message that the screen can show what to do about it, and of none that it
/// cannot show.
#[test]
fn every_message_has_its_advice() {
    let rows = table(&read("firmware/README.md"), &["it says", "means", "do"]);
    let documented: Vec<&str> = rows.iter().map(|row| row[0].as_str()).collect();
    let troubles = troubles();
    let mut titles: Vec<String> = faults().into_iter().map(|fault| fault_words(fault).0.to_owned()).collect();
    titles.extend(troubles.iter().map(|(title, _)| title.clone()));
    let mut details: Vec<String> = store_errors().iter().map(ToString::to_string).collect();
    details.extend(troubles.iter().filter_map(|(_, detail)| detail.clone()));
    for title in &titles {
        assert!(
            documented.iter().any(|cell| cell.starts_with(&format!("**{title}**"))),
            "nothing about {title}"
        );
    }
    for detail in &details {
        assert!(
            documented.iter().any(|cell| cell.contains(&format!("\"{detail}\""))),
            "nothing about {detail}"
        );
    }
    for row in &rows {
        let title = row[0].split("**").nth(1).unwrap();
        assert!(titles.iter().any(|known| known == title), "{title} is never shown");
        assert!(row.len() == 3 && row[1..].iter().all(|cell| !cell.is_empty()), "{row:?}");
    }
}

/// Counts, one count, and the highest speed by four counts to a pulse and 200,000 edges a second.
#[test]
fn pulses_and_speeds_are_worked_out_right() {
    for row in table(&read("firmware/README.md"), &["pulses", "counts in a turn"]) {
        let [pulses, counts, count, turns, rev_min] = [0, 1, 2, 3, 4].map(|cell| figure(&row[cell]));
        assert!(counts == 4.0 * pulses, "{row:?}");
        assert!((count - 1_000.0 / counts).abs() <= 0.0005, "{row:?}");
        assert!((turns - 200_000.0 / counts).abs() <= 0.05, "{row:?}");
        assert!((rev_min - 60.0 * 200_000.0 / counts).abs() <= 0.5, "{row:?}");
    }
}

/// One input of the README's tables: pull-up, resistor and capacitor, kilohms and nanofarads, and the levels at the
/// pin. With 30 pF at the pin and 3 m of cable at the pull-up, 100 pF each.
struct InputCircuit {
    pull_up: f64,
    series: f64,
    capacitor: f64,
    low: f64,
    high: f64,
}

impl InputCircuit {
    /// Microseconds.
    fn time_constant_down(&self) -> f64 {
        self.series * (self.capacitor + 0.03)
    }

    fn time_constant_up(&self) -> f64 {
        self.time_constant_down() + self.pull_up * (0.3 + self.capacitor + 0.03)
    }

    fn rise_to(&self, volts: f64, time_constant: f64) -> f64 {
        time_constant * ((self.high - self.low) / (self.high - volts)).ln()
    }

    fn fall_to(&self, volts: f64) -> f64 {
        self.time_constant_down() * ((self.high - self.low) / (volts - self.low)).ln()
    }

    /// Edges a second at which every level lasts one sample of 4 us, whichever edges are late. The thresholds of an
    /// RP2040 are within 1.0 to 2.0 V up and 0.8 to 1.8 V down.
    fn edges(&self) -> f64 {
        let up = self.rise_to(2.0, self.time_constant_up()) - self.fall_to(1.8);
        let down = self.fall_to(0.8) - self.rise_to(1.0, self.time_constant_up());
        (1e6 / (4.0 + up.max(down))).min(200_000.0)
    }
}

/// The pull-up table by its own formula.
#[test]
fn pull_ups_are_worked_out_right() {
    let to_high = (3.3_f64 / (3.3 - 2.0)).ln();
    let delay = |kilohms: f64, metres: f64| kilohms * (100.0 * metres + 30.0) * 1e-3 * to_high;
    for row in table(&read("firmware/README.md"), &["pull-up", "sinks"]) {
        let kilohms = figure(row[0].trim_start_matches(|c: char| !c.is_ascii_digit()));
        assert!((figure(&row[1]) - 3.3 / kilohms).abs() <= 0.005, "{row:?}");
        assert!((figure(&row[2]) - delay(kilohms, 1.0)).abs() <= 0.005, "{row:?}");
        assert!((figure(&row[3]) - delay(kilohms, 3.0)).abs() <= 0.005, "{row:?}");
        for (cell, capacitor) in row[4..].iter().zip([0.0, 1.0, 2.2]) {
            let circuit = InputCircuit { pull_up: kilohms, series: 0.33, capacitor, low: 0.0, high: 3.3 };
            assert!((0.0..100.0).contains(&(circuit.edges() - figure(cell))), "{row:?}: {}", circuit.edges());
        }
        assert_eq!(row.len(), 7);
    }
}

/// The table of the input filter by the formulas above it, the resistors and capacitors as its first column has them.
#[test]
fn input_filters_are_worked_out_right() {
    let readme = read("firmware/README.md");
    let rows = table(&readme, &["input", "cut-off"]);
    assert_eq!(rows.len(), 4);
    for row in rows {
        let (kind, parts) = row[0].split_once(": ").unwrap();
        let (series, capacitor) = parts.split_once(", ").unwrap();
        let pull_up = kind.strip_prefix("open collector, ").map_or(0.0, figure);
        // At the pin behind the divider: see below.
        let (low, high) = if kind == "5 V divider" { (0.30, 5.0 * 1.8 / 2.8) } else { (0.0, 3.3) };
        let circuit =
            InputCircuit { pull_up, series: figure(series) / 1e3, capacitor: figure(capacitor), low, high };
        let (up, down) = (circuit.time_constant_up(), circuit.time_constant_down());
        let slope = ((high - 2.0) / up).min((0.8 - low) / down);
        let spike = circuit.rise_to(0.8, down).min(circuit.fall_to(2.0));
        let expected = [
            (1e3 / (core::f64::consts::TAU * down), 0.5),
            (circuit.rise_to(2.0, up), 0.005),
            (circuit.fall_to(0.8), 0.005),
            (slope, 0.005),
            (spike * 1e3, 0.5),
        ];
        for (cell, (figure_expected, within)) in row[1..6].iter().zip(expected) {
            assert!((figure(cell) - figure_expected).abs() <= within, "{row:?}: {figure_expected}");
        }
        assert!((0.0..100.0).contains(&(circuit.edges() - figure(&row[6]))), "{row:?}: {}", circuit.edges());
    }
    let circuit =
        InputCircuit { pull_up: 0.0, series: 1.8 / 2.8, capacitor: 1.0, low: 0.30, high: 5.25 * 1.8 / 2.8 };
    let words =
        format!("At 5.25 V the divider passes {},{}00 edges", 198, circuit.edges() as u32 % 1_000 / 100);
    assert!(circuit.edges() as u32 / 1_000 == 198 && readme.contains(&words), "{words}");
    // Turns a second of the encoders that the open collector limits.
    let open = InputCircuit { pull_up: 1.5, series: 0.33, capacitor: 1.0, low: 0.0, high: 3.3 };
    let turns = |pulses: f64| (open.edges() / (4.0 * pulses)) as u32;
    let words =
        format!("2,400 pulses to {} turns a second, one of\n400 pulses to {}", turns(2_400.0), turns(400.0));
    assert!(readme.contains(&words), "{words}");
}

/// The divider of 1.0 and 1.8 kΩ: levels within what the pin takes and knows (RP2040 data sheet: 2.0 V is high,
/// 0.8 V low, the pull-up 50 kΩ at least; 3.6 V is the most that the pin takes).
#[test]
fn divider_is_worked_out_right() {
    let (above, below, pull_up) = (1.0, 1.8, 50.0);
    let share = below / (above + below);
    let low = |scale: f64| {
        (0.4 / (above * scale) + 3.3 / pull_up) / ((1.0 / above + 1.0 / below) / scale + 1.0 / pull_up)
    };
    let expected = [
        5.0 * share,
        5.25 * share,
        2.0 / share,
        low(1.0),
        5.0 / (above + below),
        2.2 * above * share * 1_030.0,
    ];
    let readme = read("firmware/README.md");
    let documented: Vec<f64> =
        table(&readme, &["", "arithmetic", "figure"]).iter().map(|row| figure(&row[2])).collect();
    assert_eq!(documented.len(), expected.len());
    for (documented, expected) in documented.iter().zip(expected) {
        assert!(
            (documented - expected).abs() <= if *documented > 10.0 { 0.5 } else { 0.005 },
            "{documented} is {expected:.4}"
        );
    }
    assert!(expected[1] < 3.6 && expected[3] < 0.8);
    assert!(readme.contains(&format!("from {:.2} to {:.2} V", low(1.0), low(10.0))));
}

/// The UF2 file is made in the gate with the version that the README names.
#[test]
fn uf2_tool_is_that_of_the_gate() {
    let script = read(".ci/uf2");
    let version = script.split("version=").nth(1).unwrap().lines().next().unwrap();
    let command = format!("cargo install elf2uf2-rs --version {version} --locked --no-default-features");
    assert!(read("firmware/README.md").contains(&command), "{command}");
}
