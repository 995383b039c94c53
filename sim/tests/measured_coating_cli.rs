//! Rings of coated wire: measured over the coating, while the metal alone springs. So rings of bare wire count for
//! coated wire of that metal, temper and diameter, and the other way round.
#![cfg(feature = "link")]
#![allow(clippy::unwrap_used, clippy::panic, reason = "a test that cannot go on should stop")]

mod run;

use run::{json, near, printed, refusal};
use serde_json::Value;
use tempfile::TempDir;

/// Copper of 1 mm.
const WIRE: &[&str] = &["--metal", "copper", "--wire", "1mm"];
const COATED: &[&str] = &["--coating", "0.05mm"];

struct Workshop(TempDir);

impl Workshop {
    fn new() -> Self {
        Self(tempfile::tempdir().unwrap())
    }

    fn args(&self, args: &[&str]) -> Vec<String> {
        let log = self.0.path().join("log.sqlite").to_str().unwrap().to_owned();
        args.iter().map(|arg| (*arg).to_owned()).chain(["--log".to_owned(), log]).collect()
    }

    fn add(&self, what: &[&str]) -> String {
        let args = self.args(&[&["measured", "add"], WIRE, what].concat());
        let text = printed(&args.iter().map(String::as_str).collect::<Vec<_>>());
        text.split_whitespace().collect::<Vec<_>>().join(" ")
    }

    fn refusal(&self, what: &[&str]) -> String {
        let args = self.args(&[&["measured", "add"], WIRE, what].concat());
        refusal(&args.iter().map(String::as_str).collect::<Vec<_>>())
    }

    fn json(&self, args: &[&str]) -> Value {
        let args = self.args(&[args, &["--json"]].concat());
        json(&args.iter().map(String::as_str).collect::<Vec<_>>())
    }

    fn size(&self, more: &[&str]) -> Value {
        self.json(&[&["size"], WIRE, more].concat())
    }
}

fn same_springback(a: &Value, b: &Value) {
    for key in ["spring_ratio", "spring_ratio_low", "spring_ratio_high"] {
        near(&a[key], b[key].as_f64().unwrap(), 1e-12);
    }
}

/// A ring of bare wire: coated wire springs on 7 mm as the bare wire on 7.1 mm, where its metal lies. The coil's length
/// says nothing of the coated wire's gap.
#[test]
fn rings_of_bare_wire_count_for_coated_wire() {
    let workshop = Workshop::new();
    workshop.add(&["--mandrel", "5mm", "--inside", "5.08mm", "--coil-length", "63mm", "--turns", "60"]);
    let coated = workshop.size(&[&["--mandrel", "7mm"], COATED].concat());
    let bare = workshop.size(&["--mandrel", "7.1mm"]);
    assert_eq!(coated["spring_ratio_learned_from_rings"], 1, "{coated}");
    same_springback(&coated, &bare);
    let supposed = workshop.size(&[&["--mandrel", "7mm", "--estimate"], COATED].concat());
    let width = |size: &Value| {
        size["spring_ratio_high"].as_f64().unwrap() - size["spring_ratio_low"].as_f64().unwrap()
    };
    assert!(width(&coated) < 0.8 * width(&supposed));
    near(&coated["spring_ratio_estimate"], supposed["spring_ratio"].as_f64().unwrap(), 1e-12);
    // A ring of bare wire on the same mandrel is not one of coated wire there: the coating moves the metal outwards.
    let there = workshop.size(&[&["--mandrel", "5mm"], COATED].concat());
    assert_eq!((&there["spring_ratio_measured"], &there["gap"]), (&false.into(), &0.0.into()));
    // The chart and a job agree.
    let chart = ["chart", "--metal", "copper", "--wires", "1mm", "--mandrels", "7mm", "--format", "json"];
    let args = workshop.args(&[&chart[..], COATED].concat());
    let chart = json(&args.iter().map(String::as_str).collect::<Vec<_>>());
    near(&chart["cells"][0]["assumed_spring_ratio"], coated["spring_ratio"].as_f64().unwrap(), 1e-12);
    let job = workshop.0.path().join("job.toml");
    let text = "[job]\nrings = 100\n[wire]\nmetal = \"copper\"\nsize = \"1mm\"\ncoating = \"0.05mm\"\n[mandrel]\n\
                diameter = \"7mm\"\n[winder]\npulses_per_rev = 400\n[cutter]\ncoil_max = \"60mm\"\n";
    std::fs::write(&job, text).unwrap();
    same_springback(&workshop.json(&["plan", job.to_str().unwrap()]), &coated);
}

/// By hand: 1 mm with 0.05 mm on each side is 1.1 mm over it. A ring of 5.08 mm inside the coating, or 7.28 mm outside
/// it, from a mandrel of 5 mm: k = 6.18 / 6.1. 60 turns of 1.1 mm on 73.7 mm: gap 72.6 / 66 - 1.
#[test]
fn rings_of_coated_wire_are_measured_over_the_coating() {
    let workshop = Workshop::new();
    let ring = ["--mandrel", "5mm", "--inside", "5.08mm", "--coil-length", "73.7mm", "--turns", "60"];
    let text = workshop.add(&[&ring[..], COATED].concat());
    let head = "copper, soft, 1 mm, coating 0.05 mm (1.1 mm over it) on a mandrel of 5 mm";
    assert!(text.contains(head), "{text}");
    let there = workshop.size(&[&["--mandrel", "5mm"], COATED].concat());
    near(&there["spring_ratio"], 6.18 / 6.1, 1e-9);
    near(&there["ring_inner_diameter_mm"], 5.08, 1e-9);
    near(&there["gap"], 0.1, 1e-9);
    assert_eq!(there["spring_ratio_measured"], true);
    // Bare wire that lies where this metal lay, on 5.1 mm, would give 6.18 - 1 mm inside: it says the same of the wire.
    let bare = Workshop::new();
    bare.add(&["--mandrel", "5.1mm", "--inside", "5.18mm"]);
    for on in [&["--mandrel", "9mm"][..], &["--mandrel", "9mm", "--coating", "0.02mm"]] {
        let (of_coated, of_bare) = (workshop.size(on), bare.size(on));
        same_springback(&of_coated, &of_bare);
        assert_eq!(of_coated["spring_ratio_learned_from_mandrels_mm"], serde_json::json!([5.0]));
    }
    let list = workshop.json(&["measured", "list"]);
    near(&list["measured"][0]["wire_coating_mm"], 0.05, 1e-12);
    assert_eq!(bare.json(&["measured", "list"])["measured"][0]["wire_coating_mm"], Value::Null);
    // The outside means the same inside.
    let outside = Workshop::new();
    outside.add(&[&["--mandrel", "5mm", "--outside", "7.28mm"], COATED].concat());
    near(
        &outside.json(&["measured", "list"])["measured"][0]["entries"][0]["ring_inner_diameter_mm"],
        5.08,
        1e-9,
    );
}

/// What cannot be is refused as of bare wire, and a misfit names the mandrel that was wound on.
#[test]
fn readings_of_coated_wire_are_checked() {
    let workshop = Workshop::new();
    for (what, part) in [
        (&["--inside", "7.28mm"][..], "is this the outside? --outside takes it"),
        (&["--inside", "5.6mm"], "--inside '5.6 mm': spring ratio 1.0984"),
        (&["--outside", "2.2mm"], "the outside of a ring is more than twice its wire, 2.2 mm"),
    ] {
        let line = workshop.refusal(&[&["--mandrel", "5mm"], COATED, what].concat());
        assert!(line.contains(part), "no '{part}' in: {line}");
    }
    let thick = workshop.refusal(&["--mandrel", "5mm", "--inside", "5.08mm", "--coating", "2mm"]);
    assert!(thick.contains("--coating") && thick.contains("0 mm to 1 mm"), "{thick}");
    let text = workshop.add(&[&["--mandrel", "5mm", "--inside", "5.6mm", "--sure"], COATED].concat());
    assert!(text.contains("the rings on 5 mm open more than this metal and temper allow"), "{text}");
}
