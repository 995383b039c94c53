//! Enamelled wire: its coating takes room in the coil and adds to the mass, and the metal alone springs.
#![allow(clippy::unwrap_used, reason = "a test may stop where it stands")]

mod run;

use std::f64::consts::PI;

use run::{json, near, printed, refusal, refused_with};
use serde_json::Value;

/// Copper of 1 mm, 8.9 g/cm3, on a mandrel of this many micrometres.
fn job(folder: &tempfile::TempDir, mandrel_um: u32, coating: &str) -> String {
    let path = folder.path().join(format!("{mandrel_um}{coating}.toml")).to_str().unwrap().to_owned();
    let coating = if coating.is_empty() { String::new() } else { format!("coating = \"{coating}\"\n") };
    std::fs::write(
        &path,
        format!(
            "[job]\nname = \"ring core\"\nrings = 300\n[wire]\nmetal = \"copper\"\nsize = \"1mm\"\ndensity_g_cm3 = 8.9\n\
             {coating}[mandrel]\ndiameter = \"{mandrel_um}um\"\n[winder]\npulses_per_rev = 400\n[cutter]\n\
             coil_max = \"60mm\"\nkerf = \"0.3mm\"\n"
        ),
    )
    .unwrap();
    path
}

fn number(of: &Value, key: &str) -> f64 {
    of[key].as_f64().unwrap()
}

/// Grams of so many millimetres of it with a coating of `c` mm: the copper's cylinder, and the enamel's tube by its mean
/// circumference; enamel of 1.4 g/cm3, from memory.
fn grams(mm: f64, c: f64) -> f64 {
    (8.9 * PI * 0.25 + 1.4 * PI * (1.0 + c) * c) * mm / 1e3
}

/// By hand, with D = 1.1 mm over the coating: pitch D, coil N D + D, mean diameter Dm + D, insides to the coating.
#[test]
fn a_coating_takes_room_and_adds_its_mass() {
    let folder = tempfile::tempdir().unwrap();
    let plan = json(&["plan", &job(&folder, 5_000, "0.05mm"), "--json"]);
    let coil = &plan["coils"][0];
    let turns = number(coil, "wound_turns");
    near(&coil["wound_length_mm"], (turns + 1.0) * 1.1, 1e-12);
    assert!(number(coil, "wound_length_mm") <= 60.0);
    near(&coil["wire_mm"], turns * (PI * 6.1).hypot(1.1), 1e-12);
    near(&plan["wire_mass_g"], grams(number(&plan, "wire_total_mm"), 0.05), 1e-12);
    let turn = (PI * number(&plan, "spring_ratio") * 6.1).hypot(1.1);
    let kerf = 0.3 * turn / (PI * number(&plan, "spring_ratio") * 6.1);
    near(&plan["closed_inner_diameter_mm"], (turn - kerf) / PI - 1.1, 1e-12);
    near(&plan["ring_mass_mg"], grams(turn - kerf, 0.05) * 1e3, 1e-12);
    assert_eq!((number(&plan, "wire_diameter_mm"), number(&plan, "wire_coating_mm")), (1.0, 0.05));
    // The parts of the wire are still the whole.
    let parts =
        ["rings_mass_g", "swarf_mass_g", "offcut_mass_g"].map(|key| number(&plan, key)).iter().sum::<f64>();
    near(&plan["wire_mass_g"], parts, 1e-6);
    assert!(number(&plan, "wire_mass_low_g") < number(&plan, "wire_mass_g"));

    // The copper lies as on a mandrel of 5.1 mm, and springs so.
    let bare = json(&["plan", &job(&folder, 5_100, ""), "--json"]);
    for key in ["spring_ratio", "spring_ratio_low", "spring_ratio_high"] {
        near(&plan[key], number(&bare, key), 1e-12);
    }
    // And fewer turns fit the cradle.
    assert!(coil["rings"].as_u64() < bare["coils"][0]["rings"].as_u64());
}

/// `size` and `chart` reckon the same ring.
#[test]
fn a_ring_of_coated_wire_is_the_same_by_every_command() {
    let folder = tempfile::tempdir().unwrap();
    let plan = json(&["plan", &job(&folder, 5_000, "0.05mm"), "--json"]);
    let wire = ["--metal", "copper", "--density", "8.9", "--kerf", "0.3mm", "--coating", "0.05mm"];
    let ring = json(
        &[&["size", "--json", "--wire", "1mm", "--mandrel", "5mm", "--rings", "10"], &wire[..]].concat(),
    );
    near(&ring["pitch_mm"], 1.1, 1e-12);
    for key in ["spring_ratio", "closed_inner_diameter_mm", "ring_mass_mg"] {
        near(&ring[key], number(&plan, key), 1e-12);
    }
    near(&ring["wire_mass_g"], grams(number(&ring, "wire_total_mm"), 0.05), 1e-12);
    let of = ["chart", "--format", "json", "--of", "mass", "--wires", "1mm", "--mandrels", "5mm"];
    let chart = json(&[&of, &wire[..]].concat());
    near(&chart["cells"][0]["ring_mass_mg"], number(&plan, "ring_mass_mg"), 1e-12);
    // A gauge's tolerance is that of its metal: the coating stays as it is.
    let gauge = json(&[&["size", "--json", "--wire", "18awg", "--mandrel", "5mm"], &wire[..]].concat());
    near(&gauge["pitch_mm_low"], 1.023_62 - 0.010_16 + 0.1, 1e-12);
}

/// IEC 60317-0-1, from memory: over enamel a conductor of 1.000 mm is 1.034 mm to 1.062 mm in grade 1, and 1.063 mm to
/// 1.094 mm in grade 2. A coating of the middle of each gives a coil of so many wires.
#[test]
fn coils_of_magnet_wire_are_as_long_as_the_standard_makes_them() {
    let folder = tempfile::tempdir().unwrap();
    for (coating, least, most) in [("0.024mm", 1.034, 1.062), ("0.039mm", 1.063, 1.094)] {
        let plan = json(&["plan", &job(&folder, 5_000, coating), "--json"]);
        let coil = &plan["coils"][0];
        let wires = number(coil, "wound_turns") + 1.0;
        let length = number(coil, "wound_length_mm");
        assert!((least * wires..=most * wires).contains(&length), "{coating}: {length} of {wires}");
    }
}

/// Without a coating everything is as it was, to the bit.
#[test]
fn no_coating_changes_nothing() {
    let folder = tempfile::tempdir().unwrap();
    let (none, zero) = (job(&folder, 5_000, ""), job(&folder, 5_000, "0mm"));
    for options in [&["--json"][..], &[]] {
        assert_eq!(
            printed(&[&["plan", &none], options].concat()),
            printed(&[&["plan", &zero], options].concat())
        );
    }
    let size = ["size", "--wire", "16awg", "--mandrel", "5mm", "--metal", "copper", "--json"];
    assert_eq!(printed(&size), printed(&[&size[..], &["--coating", "0mm"]].concat()));
}

/// It is named where the wire is.
#[test]
fn the_coating_is_shown() {
    let folder = tempfile::tempdir().unwrap();
    let file = job(&folder, 5_000, "0.05mm");
    let sheet = folder.path().join("sheet.html").to_str().unwrap().to_owned();
    printed(&["plan", &file, "--sheet", &sheet]);
    let wire = "1 mm (0.0394 in), coating 0.05 mm (1.1 mm over it)";
    // A line may be folded anywhere between two words.
    let plan = printed(&["plan", &file]);
    assert!(plan.split_whitespace().collect::<Vec<_>>().join(" ").contains(wire), "{plan}");
    assert!(std::fs::read_to_string(&sheet).unwrap().contains(wire));
    let size =
        printed(&["size", "--wire", "1mm", "--mandrel", "5mm", "--metal", "copper", "--coating", "0.05mm"]);
    assert!(size.contains(wire), "{size}");
}

#[test]
fn impossible_coatings_are_refused() {
    let folder = tempfile::tempdir().unwrap();
    for (coating, allowed) in
        [("2mm", "0 mm to 1 mm"), ("-1mm", "zero or more"), ("0.02", "unit"), ("thin", "number")]
    {
        let line = refusal(&["plan", &job(&folder, 5_000, coating)]);
        assert!(line.contains(&format!("wire.coating '{coating}'")) && line.contains(allowed), "{line}");
    }
    let size = ["size", "--wire", "1mm", "--mandrel", "5mm", "--metal", "copper"];
    refused_with(&size, &[(&["--coating", "2mm"], &["--coating", "'2mm'", "0 mm to 1 mm"])]);
}

/// What is left on a spool is of bare wire.
#[cfg(feature = "link")]
#[test]
fn no_spool_has_coated_wire() {
    let folder = tempfile::tempdir().unwrap();
    let log = folder.path().join("log.sqlite").to_str().unwrap().to_owned();
    printed(&["spool", "add", "bare", "--metal", "copper", "--wire", "1mm", "--holds", "1kg", "--log", &log]);
    let line = refusal(&["plan", &job(&folder, 5_000, "0.05mm"), "--spool", "bare", "--log", &log]);
    assert!(line.contains("--spool 'bare'") && line.contains("wire.coating"), "{line}");
}
