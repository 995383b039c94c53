//! `turntally plan` from the outside: its arithmetic against the same arithmetic done again here, the
//! wire accounted for, and every wrong job file refused in one line.
#![allow(clippy::unwrap_used, clippy::panic, reason = "a test that cannot go on should stop")]

use std::f64::consts::PI;
use std::fs;
use std::path::Path;
use std::process::{Command, Output};

use proptest::prelude::*;
use serde_json::Value;
use turntally_sim::job::Job;
use turntally_sim::plan::{advice, figures::Plan};

fn turntally(arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_turntally"))
        .env("XDG_DATA_HOME", env!("CARGO_TARGET_TMPDIR"))
        .args(arguments)
        .output()
        .unwrap()
}

fn plan_json(job: &str) -> Value {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("job.toml");
    fs::write(&path, job).unwrap();
    let output = turntally(&["plan", path.to_str().unwrap(), "--json"]);
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    assert!(output.stderr.is_empty());
    serde_json::from_slice(&output.stdout).unwrap()
}

fn number(of: &Value, key: &str) -> f64 {
    of[key].as_f64().unwrap_or_else(|| panic!("{key} is no number in {of}"))
}

/// A complete job whose lines the tests replace.
const JOB: &str = r#"
[job]
name = "trial"
rings = 500
spare_percent = 3

[wire]
metal = "sterling-silver"
temper = "soft"
size = "1.0mm"
density_g_cm3 = 10.4
spring_ratio = 1.02
price_per_kg = 900
currency = "EUR"

[mandrel]
diameter = "5mm"

[winder]
encoder_on = "crank"
gear = "1:1"
pulses_per_rev = 600

[cutter]
coil_max = "60mm"
kerf = "0.3mm"
blade = "0.25mm"
slot = "0.6mm"

[coil]
gap = 0.05
tail_turns = 0.75
"#;

fn with(line: &str, replacement: &str) -> String {
    assert!(JOB.contains(line), "{line}");
    JOB.replace(line, replacement)
}

fn close(got: f64, want: f64, relative: f64) {
    assert!((got / want - 1.0).abs() <= relative, "{got} is not {want}");
}

/// Every coil of a job with a measured spring ratio, against the helix worked out here by hand.
#[test]
fn coils_agree_with_helix_arithmetic() {
    let plan = plan_json(JOB);
    let (d, mandrel, k, gap, tail) = (1.0_f64, 5.0_f64, 1.02, 0.05, 0.75);
    let pitch = d * (1.0 + gap);
    let wound = (PI * (mandrel + d)).hypot(pitch);
    let released = (PI * (mandrel + d) * k).hypot(pitch);
    let counts_per_turn = 2400.0;
    let mut rings = 0;
    for coil in plan["coils"].as_array().unwrap() {
        let n = coil["rings"].as_u64().unwrap();
        // The fewest turns that leave n + 1 turns beside the lead-in once released, in whole counts; at
        // most three counts more, since promises allow for two that the encoder may be ahead.
        let needed = (n as f64 + 1.0 + tail) * released / wound;
        let turns = number(coil, "wound_turns");
        let extra = (turns - needed) * counts_per_turn;
        assert!((1.9..=3.1).contains(&extra), "{n} rings: {extra} counts more than needed");
        assert!(((turns * counts_per_turn).round() - number(coil, "target_counts")).abs() < 1e-6);
        close(number(coil, "wound_length_mm"), turns * pitch + d, 1e-9);
        close(number(coil, "released_length_mm"), turns * wound / released * pitch + d, 1e-9);
        close(number(coil, "wire_mm"), turns * wound, 1e-9);
        assert!(number(coil, "wound_length_mm") + pitch / 2.0 <= 60.0, "half a turn late must still fit");
        rings += n;
    }
    assert_eq!(rings, 515, "500 wanted and 3 % to spare");
    assert_eq!(plan["rings_wanted"], 500);
    assert_eq!(plan["rings_planned"], 515);
}

/// Masses, scrap and cost, against the volume of a cylinder and the ounces' own definitions.
#[test]
fn masses_agree_with_the_volume_of_wire() {
    let plan = plan_json(JOB);
    let area = PI / 4.0;
    let wire = number(&plan, "wire_total_mm");
    let coils: f64 = plan["coils"].as_array().unwrap().iter().map(|coil| number(coil, "wire_mm")).sum();
    close(coils, wire, 1e-12);
    let mass = number(&plan, "wire_mass_g");
    close(mass, 10.4e-3 * area * wire, 1e-12);
    close(number(&plan, "wire_mass_troy_ounces"), mass / (480.0 * 0.064_798_91), 1e-12);
    close(number(&plan, "wire_mass_ounces"), mass / (437.5 * 0.064_798_91), 1e-12);
    close(number(&plan, "wire_mass_pennyweights"), mass / (24.0 * 0.064_798_91), 1e-12);
    close(number(&plan, "cost"), mass * 0.9, 1e-12);
    assert_eq!(plan["currency"], "EUR");

    let centre = PI * 6.0 * 1.02;
    let turn = centre.hypot(1.05);
    let ring = turn - 0.3 * turn / centre;
    close(number(&plan, "rings_mass_g"), 515.0 * 10.4e-3 * area * ring, 1e-12);
    let cuts = 515.0 + plan["coils"].as_array().unwrap().len() as f64;
    close(number(&plan, "swarf_mass_g"), cuts * 10.4e-3 * area * 0.3 * turn / centre, 1e-12);
    close(number(&plan, "scrap_share"), 1.0 - number(&plan, "rings_mass_g") / mass, 1e-9);
}

/// The keys that other programs rely on are there, under those names.
#[test]
fn fixed_keys_are_present() {
    let plan = plan_json(JOB);
    for key in [
        "rings_wanted",
        "rings_planned",
        "wire_total_mm",
        "wire_mass_g",
        "wire_mass_troy_ounces",
        "wire_mass_ounces",
        "rings_mass_g",
        "swarf_mass_g",
        "offcut_mass_g",
    ] {
        number(&plan, key);
    }
    for coil in plan["coils"].as_array().unwrap() {
        for key in ["rings", "wound_turns", "wound_length_mm", "released_length_mm", "wire_mm"] {
            number(coil, key);
        }
    }
}

/// Wire in, rings out: all of it is used as far as it goes, and one ring more would need more.
#[test]
fn wire_given_is_never_exceeded_and_well_used() {
    for wire in ["12m", "2.5ozt", "100g", "900mm"] {
        let plan = plan_json(&with("rings = 500", &format!("wire = \"{wire}\"")));
        let area = PI / 4.0;
        let given = match wire {
            "12m" => 12_000.0,
            "2.5ozt" => 2.5 * 480.0 * 0.064_798_91 / (10.4e-3 * area),
            "100g" => 100.0 / (10.4e-3 * area),
            _ => 900.0,
        };
        let used = number(&plan, "wire_total_mm");
        let rings = plan["rings_planned"].as_u64().unwrap();
        assert!(used <= given, "{wire}");
        let more = plan_json(&with("rings = 500\nspare_percent = 3", &format!("rings = {}", rings + 1)));
        assert!(number(&more, "wire_total_mm") > given, "{wire} would give more than {rings} rings");
        let wanted = plan["rings_wanted"].as_u64().unwrap();
        assert!(wanted as f64 * 1.03 <= rings as f64 + 1e-6, "3 % of {wanted} are to spare in {rings}");
    }
}

/// An unmeasured spring ratio promises by its high bound: no ring more than a measured one at it.
#[test]
fn estimate_promises_by_its_high_bound() {
    let estimated = plan_json(&with("spring_ratio = 1.02\n", ""));
    let high = number(&estimated, "spring_ratio_high");
    let measured = plan_json(&with("spring_ratio = 1.02", &format!("spring_ratio = {high}")));
    assert_eq!(estimated["coils"][0]["wound_turns"], measured["coils"][0]["wound_turns"]);
    assert!(number(&estimated, "rings_best") > number(&measured, "rings_best"));
    let likely = number(&estimated, "rings_likely");
    assert!(number(&estimated, "rings_planned") <= likely && likely <= number(&estimated, "rings_best"));
}

/// What a suggestion says it saves is what a plan made by it needs less.
#[test]
fn measuring_saves_what_is_suggested() {
    let job = with("spring_ratio = 1.02\n", "").replace("temper = \"soft\"", "temper = \"hard\"");
    let plan = plan_json(&job);
    let suggested = plan["suggestions"].as_array().unwrap();
    let measured = suggested.iter().find(|one| one["text"].as_str().unwrap().contains("Measure")).unwrap();
    let best = number(&plan, "spring_ratio");
    let after = plan_json(
        &with("spring_ratio = 1.02", &format!("spring_ratio = {best:.17}"))
            .replace("temper = \"soft\"", "temper = \"hard\""),
    );
    let saved = number(&plan, "wire_total_mm") - number(&after, "wire_total_mm");
    close(number(measured, "wire_saved_mm"), saved, 1e-9);
}

/// With an encoder so coarse that targets are rounded up far, another split is found that saves what
/// it says once its cradle length is written into the job.
#[test]
fn other_split_saves_what_is_suggested() {
    let coarse =
        with("pulses_per_rev = 600", "pulses_per_rev = 1").replace("gear = \"1:1\"", "gear = \"56:9\"");
    let found = (20..70).find_map(|coil_max| {
        let job = coarse.replace("coil_max = \"60mm\"", &format!("coil_max = \"{coil_max}mm\""));
        let plan = plan_json(&job);
        let suggested = plan["suggestions"].as_array().unwrap().clone();
        let split = suggested.into_iter().find(|one| one["text"].as_str().unwrap().starts_with("Wind "))?;
        Some((coil_max, plan, split))
    });
    let (coil_max, plan, split) = found.unwrap();
    let text = split["text"].as_str().unwrap();
    let shorter = text.split_once("cutter.coil_max = \"").unwrap().1.split_once('"').unwrap().0;
    let after = plan_json(&coarse.replace("coil_max = \"60mm\"", &format!("coil_max = \"{shorter}\"")));
    let saved = number(&plan, "wire_total_mm") - number(&after, "wire_total_mm");
    assert!(saved > 0.0, "{coil_max} mm: {text}");
    close(number(&split, "wire_saved_mm"), saved, 1e-9);
}

/// Nothing is suggested where nothing would save.
#[test]
fn nothing_is_suggested_where_nothing_saves() {
    // One long measured coil: a turn is far below the share that is worth a sentence.
    let job = with("coil_max = \"60mm\"", "coil_max = \"900mm\"")
        .replace("diameter = \"5mm\"", "diameter = \"40mm\"");
    assert_eq!(plan_json(&job)["suggestions"], Value::Array(Vec::new()));
}

/// Each warning appears for the job that deserves it and not for the one beside it.
#[test]
fn warnings_appear_where_they_are_due() {
    let hard = "temper = \"soft\"";
    let cases: &[(&str, &str, &str)] = &[
        ("blade = \"0.25mm\"", "blade = \"0.6mm\"", "no clearance"),
        ("slot = \"0.6mm\"", "slot = \"0.3mm\"", "only 0.025 mm of clearance"),
        ("slot = \"0.6mm\"", "slot = \"3mm\"", "nothing to lie on"),
        ("kerf = \"0.3mm\"", "kerf = \"0.2mm\"", "narrower than the blade"),
        ("kerf = \"0.3mm\"", "kerf = \"0.6mm\"", "more than 2 times the blade"),
        ("diameter = \"5mm\"", "diameter = \"1.4mm\"", "may crack"),
        (hard, "temper = \"spring\"", "whips"),
        (hard, "temper = \"hard\"", "whips"),
        (
            "metal = \"sterling-silver\"\ntemper = \"soft\"\nsize = \"1.0mm\"\ndensity_g_cm3 = 10.4\nspring_ratio = 1.02",
            "metal = \"unheard-of\"\nsize = \"1.0mm\"\ndensity_g_cm3 = 10.4",
            "not a listed metal",
        ),
        (
            "metal = \"sterling-silver\"\ntemper = \"soft\"\nsize = \"1.0mm\"\ndensity_g_cm3 = 10.4\nspring_ratio = 1.02",
            "metal = \"stainless-304\"\ntemper = \"hard\"\nsize = \"1.0mm\"",
            "wide guess",
        ),
        ("diameter = \"5mm\"", "diameter = \"2mm\"", "very tight"),
        ("diameter = \"5mm\"", "diameter = \"14mm\"", "limp"),
        ("coil_max = \"60mm\"", "coil_max = \"400mm\"", "hold the mandrel"),
        ("pulses_per_rev = 600", "pulses_per_rev = 2", "One encoder count"),
        ("rings = 500", "wire = \"3m\"", "to its end"),
        ("kerf = \"0.3mm\"\nblade = \"0.25mm\"\nslot = \"0.6mm\"", "", "No kerf"),
    ];
    let plain = plan_json(JOB)["warnings"].to_string();
    assert_eq!(plain, "[]", "an ordinary job has nothing to be warned of");
    for (line, replacement, words) in cases {
        let warnings = plan_json(&with(line, replacement))["warnings"].to_string();
        assert!(warnings.contains(words), "{replacement}: {warnings}");
    }
    // An estimate within which the ring still fits its weave is no guess: its bounds stand in the plan.
    let estimated = plan_json(&with("spring_ratio = 1.02\n", ""));
    let inside = |key: &str| number(&estimated, &format!("closed_inner_diameter_{key}mm"));
    assert!(inside("low_") < inside("") && inside("") < inside("high_"), "{estimated}");
    assert_eq!(estimated["warnings"].to_string(), "[]");
}

/// What people read names the coils, the totals and the parts of the wire, and fits a terminal.
#[test]
fn report_for_people_holds_the_figures() {
    let output = turntally(&["plan", "demo"]);
    let text = String::from_utf8(output.stdout).unwrap();
    let demo = Job::parse(turntally_sim::job::DEMO).unwrap();
    let plan = Plan::of(&demo).unwrap();
    for group in &plan.groups {
        let row = text.lines().find(|line| {
            let mut words = line.split_whitespace();
            words.next() == Some(&group.count.to_string()) && words.next() == Some(&group.rings.to_string())
        });
        let shown: f64 = row.unwrap().split_whitespace().nth(2).unwrap().parse().unwrap();
        let exact = group.wound_turns.as_f64();
        assert!((exact..exact + 0.01).contains(&shown), "{shown} is not {exact} rounded up");
    }
    for part in ["rings", "swarf", "offcuts"] {
        assert!(text.lines().any(|line| line.starts_with(part)), "{part} in {text}");
    }
    for suggestion in advice::suggestions(&demo, &plan) {
        assert!(text.contains(suggestion.text.split(' ').next().unwrap()));
    }
    assert!(text.lines().all(|line| line.chars().count() <= 100), "{text}");
}

/// Masses shown to people add up as they stand there.
#[test]
fn shown_masses_add_up_as_printed() {
    for rings in [7, 640, 12_345, 999_999] {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("job.toml");
        fs::write(&path, with("rings = 500", &format!("rings = {rings}"))).unwrap();
        let output = turntally(&["plan", path.to_str().unwrap()]);
        let text = String::from_utf8(output.stdout).unwrap();
        let table = text.split_once("becomes").unwrap().1;
        let cell = |name: &str, column: usize| -> f64 {
            let row = table.lines().find(|line| line.starts_with(name)).unwrap();
            row.split_whitespace().nth(column).unwrap().parse().unwrap()
        };
        for column in [1, 2] {
            let sum: f64 = ["rings", "swarf", "offcuts"].map(|name| cell(name, column)).iter().sum();
            assert!((sum - cell("wire", column)).abs() < 1e-6, "{text}");
        }
    }
}

prop_compose! {
    /// Jobs of every kind of wire, mandrel, saw, winder and start.
    fn any_job()(
        wire in 400_i64..2_500, ratio in 1.6..9.0_f64, kerf in 0_i64..390, gap in 0.0..0.4_f64, tail in 0.0..3.0_f64,
        metal in prop::sample::select(vec!["copper", "fine-silver", "stainless-304", "titanium-grade-1", "bronze-c51000"]),
        measured in prop::option::of(1.0..1.3_f64), cradle in 40_i64..250, pulses in 1_u32..3_000,
        gear in (1_u16..60, 1_u16..60), amount in prop_oneof![
            (1_u32..200_000).prop_map(|rings| format!("rings = {rings}")),
            (1_u32..4_000).prop_map(|m| format!("wire = \"{m}m\"")),
            (5.0..5_000.0_f64).prop_map(|g| format!("wire = \"{g:.3}g\"")),
        ], spare in 0.0..100.0_f64,
    ) -> String {
        let spring = measured.map_or(String::new(), |ratio| format!("spring_ratio = {ratio}"));
        format!(
            "[job]\n{amount}\nspare_percent = {spare}\n[wire]\nmetal = \"{metal}\"\nsize = \"{wire}um\"\n{spring}\n\
             [mandrel]\ndiameter = \"{}um\"\n[winder]\ngear = \"{}:{}\"\npulses_per_rev = {pulses}\n\
             [cutter]\ncoil_max = \"{cradle}mm\"\nkerf = \"{kerf}um\"\n[coil]\ngap = {gap}\ntail_turns = {tail}\n",
            (wire as f64 * ratio) as i64, gear.0, gear.1,
        )
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(1_000))]

    /// No wire is lost or made: rings, swarf and offcuts add up to the wire to the microgram, none is
    /// negative, and the coils hold what is planned.
    #[test]
    fn wire_is_accounted_for_to_the_microgram(text in any_job()) {
        // A cradle that is too short for this wire is no case of this law.
        let job = Job::parse(&text);
        prop_assume!(job.is_ok());
        let job = job.unwrap();
        let plan = Plan::of(&job);
        prop_assume!(plan.is_ok());
        let plan = plan.unwrap();
        let parts = [plan.ends_as.rings.get(), plan.ends_as.swarf.get(), plan.ends_as.offcut.get()];
        let lost = plan.wire_mass.get() - parts.iter().sum::<f64>();
        prop_assert!(lost.abs() < 1e-6, "{lost} g of {} g", plan.wire_mass.get());
        prop_assert!(parts.iter().all(|&part| part >= 0.0), "{parts:?}");
        let rings: u64 = plan.groups.iter().map(|g| u64::from(g.count) * u64::from(g.rings)).sum();
        prop_assert_eq!(rings, u64::from(plan.rings_planned));
        let spare = f64::from(plan.rings_wanted) * job.spare_percent / 100.0;
        prop_assert!(f64::from(plan.rings_planned) + 1e-5 >= f64::from(plan.rings_wanted) + spare);
        prop_assert!(plan.rings_best >= rings);
        for group in &plan.groups {
            prop_assert!(job.rule.guaranteed_rings(group.target_counts, 0) >= group.rings);
            prop_assert!(group.wound_length.get() <= job.coil_max.mm().get() + 1e-6);
        }
        for suggestion in advice::suggestions(&job, &plan) {
            prop_assert!(suggestion.wire_saved_mm > 0.0 || suggestion.rings_gained > 0);
            prop_assert!(suggestion.wire_saved_mm < plan.wire_total.get());
        }
        let warnings = advice::warnings(&job, &plan);
        prop_assert!(warnings.iter().all(|warning| warning.ends_with('.')));
        // The estimate is called a guess exactly where the ring's aspect ratio may be more than a quarter off.
        let (wire, inside) = (job.winding.wire().mm().get(), plan.ring_inner);
        let off = (inside.high - inside.best).max(inside.best - inside.low) / wire;
        let guess = warnings.iter().any(|warning| warning.contains("wide guess"));
        prop_assert!((off - 0.25).abs() < 1e-9 || guess == (off > 0.25), "{off}: {warnings:?}");
    }
}

/// Whatever is wrong with a job file is one line that names the field, the value and what is allowed;
/// nothing is printed and no sheet is left.
#[test]
fn wrong_job_files_are_refused_in_one_line() {
    let cases: &[(&str, &str, &[&str])] = &[
        // Keys, tables and types.
        ("[coil]", "[coil]\nlength = 3", &["coil.length", "gap or tail_turns"]),
        ("[coil]", "[coils]", &["coils", "coil"]),
        ("name = \"trial\"", "name = 7", &["job.name '7'", "text in quotes"]),
        ("rings = 500", "rings = \"500\"", &["job.rings", "\"500\"", "whole number from 1 to 10000000"]),
        ("rings = 500", "rings = 500.5", &["job.rings '500.5'", "whole number"]),
        ("spare_percent = 3", "spare_percent = \"3\"", &["job.spare_percent", "0 to 100"]),
        ("metal = \"sterling-silver\"", "metal = 925", &["wire.metal '925'", "in quotes"]),
        ("temper = \"soft\"", "temper = true", &["wire.temper 'true'", "half-hard"]),
        ("size = \"1.0mm\"", "size = 1.0", &["wire.size '1.0'", "16awg"]),
        ("density_g_cm3 = 10.4", "density_g_cm3 = \"10.4\"", &["wire.density_g_cm3", "0.5 to 25"]),
        ("spring_ratio = 1.02", "spring_ratio = \"2 %\"", &["wire.spring_ratio", "2 %", "1 to 2"]),
        ("price_per_kg = 900", "price_per_kg = \"900\"", &["wire.price_per_kg", "0 to 1000000000"]),
        ("currency = \"EUR\"", "currency = 3", &["wire.currency '3'", "EUR"]),
        ("diameter = \"5mm\"", "diameter = 5", &["mandrel.diameter '5'", "4.5mm"]),
        ("encoder_on = \"crank\"", "encoder_on = 1", &["winder.encoder_on '1'", "mandrel"]),
        ("gear = \"1:1\"", "gear = 1.0", &["winder.gear '1.0'", "48:16"]),
        ("pulses_per_rev = 600", "pulses_per_rev = \"600\"", &["winder.pulses_per_rev", "1 to 100000"]),
        ("coil_max = \"60mm\"", "coil_max = 60", &["cutter.coil_max '60'", "70mm"]),
        ("kerf = \"0.3mm\"", "kerf = 0.3", &["cutter.kerf '0.3'", "0.4mm"]),
        ("blade = \"0.25mm\"", "blade = [1]", &["cutter.blade '[1]'", "0.35mm"]),
        ("slot = \"0.6mm\"", "slot = 1979-05-27", &["cutter.slot '1979-05-27'", "1.2mm"]),
        ("gap = 0.05", "gap = \"5 %\"", &["coil.gap", "0 to 5"]),
        ("tail_turns = 0.75", "tail_turns = \"1\"", &["coil.tail_turns", "0 to 100"]),
        // Missing.
        ("metal = \"sterling-silver\"", "", &["wire.metal is missing", "copper"]),
        ("size = \"1.0mm\"", "", &["wire.size is missing", "16awg"]),
        ("diameter = \"5mm\"", "", &["mandrel.diameter is missing"]),
        ("pulses_per_rev = 600", "", &["winder.pulses_per_rev is missing"]),
        ("coil_max = \"60mm\"", "", &["cutter.coil_max is missing"]),
        ("[mandrel]\ndiameter = \"5mm\"", "", &["mandrel is missing", "[mandrel]"]),
        ("rings = 500", "", &["job.rings or job.wire is missing"]),
        ("rings = 500", "rings = 500\nwire = \"2m\"", &["job.rings and job.wire", "only one"]),
        // No TOML.
        ("[job]", "[job", &["line 2 '[job'", "]"]),
        ("rings = 500", "rings = ", &["line 4 'rings ='"]),
        ("rings = 500", "rings = 500\nrings = 500", &["line 5", "duplicate"]),
        // Values.
        ("rings = 500", "rings = 0", &["job.rings '0'", "1 to 10000000"]),
        ("rings = 500", "rings = -5", &["job.rings '-5'", "1 to 10000000"]),
        ("rings = 500", "rings = 10000001", &["job.rings '10000001'", "1 to 10000000"]),
        ("rings = 500", "rings = 99999999999999999999", &["job.rings '99999999999999999999'", "10000000"]),
        ("rings = 500", "wire = \"2.5oz\"", &["job.wire '2.5oz'", "ozt", "ozav"]),
        ("rings = 500", "wire = \"12\"", &["job.wire '12'", "12m"]),
        ("rings = 500", "wire = \"12 volts\"", &["job.wire '12 volts'", "unknown unit"]),
        ("rings = 500", "wire = \"-1m\"", &["job.wire '-1m'", "zero or more"]),
        ("rings = 500", "wire = \"5mm\"", &["job.wire '5 mm'", "at least"]),
        ("rings = 500", "wire = \"0.01g\"", &["job.wire '0.01 g'", "at least"]),
        ("rings = 500", "wire = \"900000000m\"", &["job.wire '900000000000 mm'", "10000000"]),
        ("rings = 500", "wire = \"\"", &["job.wire ''", "100g"]),
        ("spare_percent = 3", "spare_percent = 101", &["job.spare_percent '101'", "0 to 100"]),
        ("spare_percent = 3", "spare_percent = nan", &["job.spare_percent 'NaN'", "0 to 100"]),
        ("spare_percent = 3", "spare_percent = inf", &["job.spare_percent 'inf'", "0 to 100"]),
        ("name = \"trial\"", "name = \"a\\u001b[31m\"", &["job.name 'a\\u{1b}[31m'", "control characters"]),
        ("metal = \"sterling-silver\"", "metal = \"a\\nb\"", &["wire.metal 'a", "control characters"]),
        ("density_g_cm3 = 10.4", "density_g_cm3 = 0", &["wire.density_g_cm3 '0'", "0.5 to 25"]),
        ("density_g_cm3 = 10.4", "density_g_cm3 = nan", &["wire.density_g_cm3 'NaN'", "0.5 to 25"]),
        ("density_g_cm3 = 10.4", "density_g_cm3 = -inf", &["wire.density_g_cm3 '-inf'", "0.5 to 25"]),
        (
            "metal = \"sterling-silver\"\ntemper = \"soft\"\nsize = \"1.0mm\"\ndensity_g_cm3 = 10.4",
            "metal = \"kryptonite\"\nsize = \"1.0mm\"",
            &["wire.metal 'kryptonite'", "wire.density_g_cm3", "copper"],
        ),
        ("temper = \"soft\"", "temper = \"springy\"", &["wire.temper 'springy'", "half-hard"]),
        (
            "metal = \"sterling-silver\"\ntemper = \"soft\"\nsize = \"1.0mm\"\ndensity_g_cm3 = 10.4\nspring_ratio = 1.02",
            "metal = \"niobium\"\ntemper = \"spring\"\nsize = \"1.0mm\"",
            &["wire.temper 'spring'", "soft, hard are allowed"],
        ),
        ("size = \"1.0mm\"", "size = \"1.0\"", &["wire.size '1.0'", "bare number"]),
        ("size = \"1.0mm\"", "size = \"16\"", &["wire.size '16'", "bare number"]),
        ("size = \"1.0mm\"", "size = \"99awg\"", &["wire.size '99awg'", "44 AWG"]),
        ("size = \"1.0mm\"", "size = \"1.0 g\"", &["wire.size '1.0 g'", "unknown unit"]),
        ("size = \"1.0mm\"", "size = \"0mm\"", &["wire.size '0mm'", "0.02 mm"]),
        ("size = \"1.0mm\"", "size = \"thin\"", &["wire.size 'thin'", "16awg"]),
        ("spring_ratio = 1.02", "spring_ratio = 0.98", &["wire.spring_ratio", "0.98", "1 to 2"]),
        ("spring_ratio = 1.02", "spring_ratio = nan", &["wire.spring_ratio", "NaN", "1 to 2"]),
        ("spring_ratio = 1.02", "spring_ratio = inf", &["wire.spring_ratio", "inf", "1 to 2"]),
        ("price_per_kg = 900", "price_per_kg = -1", &["wire.price_per_kg '-1'", "0 to 1000000000"]),
        ("price_per_kg = 900", "price_per_kg = nan", &["wire.price_per_kg 'NaN'", "0 to 1000000000"]),
        ("price_per_kg = 900\n", "", &["wire.currency 'EUR'", "wire.price_per_kg"]),
        (
            "currency = \"EUR\"",
            "currency = \"pieces of eight\"",
            &["wire.currency 'pieces of eight'", "at most 12"],
        ),
        ("diameter = \"5mm\"", "diameter = \"5\"", &["mandrel.diameter '5'", "5mm"]),
        ("diameter = \"5mm\"", "diameter = \"5 stone\"", &["mandrel.diameter '5 stone'", "5mm"]),
        ("diameter = \"5mm\"", "diameter = \"0.5mm\"", &["mandrel.diameter", "0.5 mm", "at least 1 mm"]),
        ("diameter = \"5mm\"", "diameter = \"0mm\"", &["mandrel.diameter", "0 mm", "at least 1 mm"]),
        ("diameter = \"5mm\"", "diameter = \"-5mm\"", &["mandrel.diameter '-5mm'", "zero or more"]),
        ("diameter = \"5mm\"", "diameter = \"2m\"", &["mandrel.diameter '2000 mm'", "below 1 m"]),
        (
            "encoder_on = \"crank\"",
            "encoder_on = \"spool\"",
            &["winder.encoder_on 'spool'", "crank or mandrel"],
        ),
        ("gear = \"1:1\"", "gear = \"0:1\"", &["winder.gear '0:1'", "1 to 65535"]),
        ("gear = \"1:1\"", "gear = \"3\"", &["winder.gear '3'", "48:16"]),
        ("pulses_per_rev = 600", "pulses_per_rev = 0", &["winder.pulses_per_rev '0'", "1 to 100000"]),
        ("pulses_per_rev = 600", "pulses_per_rev = -600", &["winder.pulses_per_rev '-600'", "1 to 100000"]),
        (
            "pulses_per_rev = 600",
            "pulses_per_rev = 4294967897",
            &["winder.pulses_per_rev '4294967897'", "100000"],
        ),
        ("coil_max = \"60mm\"", "coil_max = \"2mm\"", &["cutter.coil_max '2mm'", "at least"]),
        ("coil_max = \"60mm\"", "coil_max = \"60\"", &["cutter.coil_max '60'", "bare number"]),
        ("kerf = \"0.3mm\"", "kerf = \"6mm\"", &["cutter.kerf", "6 mm", "below"]),
        ("kerf = \"0.3mm\"", "kerf = \"0.3\"", &["cutter.kerf '0.3'", "bare number"]),
        ("kerf = \"0.3mm\"", "kerf = \"0.3g\"", &["cutter.kerf '0.3g'", "unknown unit"]),
        ("blade = \"0.25mm\"", "blade = \"0mm\"", &["cutter.blade '0mm'", "above 0 mm"]),
        ("blade = \"0.25mm\"", "blade = \"thin\"", &["cutter.blade 'thin'", "5mm"]),
        ("slot = \"0.6mm\"", "slot = \"0mm\"", &["cutter.slot '0mm'", "above 0 mm"]),
        ("slot = \"0.6mm\"", "slot = \"1\"", &["cutter.slot '1'", "bare number"]),
        ("gap = 0.05", "gap = -0.1", &["coil.gap", "-0.1", "0 to 5"]),
        ("gap = 0.05", "gap = nan", &["coil.gap", "NaN", "0 to 5"]),
        ("gap = 0.05", "gap = inf", &["coil.gap", "inf", "0 to 5"]),
        ("tail_turns = 0.75", "tail_turns = -1", &["coil.tail_turns '-1'", "0 to 100"]),
        ("tail_turns = 0.75", "tail_turns = nan", &["coil.tail_turns 'NaN'", "0 to 100"]),
    ];
    for (line, replacement, words) in cases {
        refused(with(line, replacement).as_bytes(), words);
    }
    let long = format!("name = \"{}\"", "x".repeat(500));
    refused(with("name = \"trial\"", &long).as_bytes(), &["job.name 'xxx", "500 characters", "at most 120"]);
    refused(
        with("metal = \"sterling-silver\"", &long.replace("name", "metal")).as_bytes(),
        &["wire.metal", "at most 60"],
    );
    refused(b"", &["job is missing", "[job]"]);
    refused(b"\xff\xfe[job]", &["UTF-8"]);
    refused("# and on it goes\n".repeat(100_000).as_bytes(), &["too large", "1048576 bytes"]);
}

/// The least wire that a refusal names is taken, and is no more than a ring's wire too much.
#[test]
fn wire_named_as_enough_is_enough() {
    let line = refused(with("rings = 500", "wire = \"5mm\"").as_bytes(), &["at least"]);
    let (length, mass) = line.trim_end().split_once("at least ").unwrap().1.split_once(" or ").unwrap();
    for enough in [length, mass] {
        let plan = plan_json(&with("rings = 500\nspare_percent = 3", &format!("wire = \"{enough}\"")));
        assert_eq!(plan["rings_planned"], 1, "{enough}");
    }
}

/// Plans a job that must be refused, in every form of output.
fn refused(job: &[u8], words: &[&str]) -> String {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("job.toml");
    fs::write(&path, job).unwrap();
    let sheet = folder.path().join("sheet.html");
    let name = path.to_str().unwrap();
    let plain = one_line(&["plan", name], words);
    for arguments in [&["plan", name, "--json"][..], &["plan", name, "--sheet", sheet.to_str().unwrap()]] {
        assert_eq!(one_line(arguments, words), plain);
    }
    assert!(plain.contains(name), "the file is not named: {plain}");
    let left: Vec<_> = fs::read_dir(folder.path()).unwrap().map(|entry| entry.unwrap().file_name()).collect();
    assert_eq!(left, ["job.toml"], "no file is left behind");
    plain
}

/// Runs what must fail and gives its one line.
fn one_line(arguments: &[&str], words: &[&str]) -> String {
    let output = turntally(arguments);
    let line = String::from_utf8(output.stderr).unwrap();
    assert_eq!(output.status.code(), Some(2), "{arguments:?}: {line}");
    assert!(output.stdout.is_empty(), "{arguments:?} printed something");
    assert!(line.ends_with('\n') && line.lines().count() == 1, "{line:?} is not one line");
    assert!(!line.trim_end().chars().any(char::is_control), "{line:?}");
    for word in words {
        assert!(line.contains(word), "{word:?} is not in {line:?}");
    }
    line
}

/// A job file that is not there, or is a folder, is refused by its name.
#[test]
fn unreadable_job_files_are_named() {
    let folder = tempfile::tempdir().unwrap();
    let name = folder.path().to_str().unwrap();
    one_line(&["plan", name], &[name, "directory"]);
    let missing = format!("{name}/missing.toml");
    one_line(&["plan", &missing], &[&missing, "No such file"]);
    one_line(&["plan", "/dev/zero"], &["/dev/zero", "too large"]);
    one_line(&["plan"], &["<JOB>"]);
    one_line(&["plan", "demo", "--sheets"], &["--sheets"]);
}

/// Where the sheet cannot be written nothing is printed, and nothing is left or lost.
#[test]
fn unwritable_sheets_are_refused_whole() {
    let folder = tempfile::tempdir().unwrap();
    let name = folder.path().to_str().unwrap();
    let job = folder.path().join("job.toml");
    fs::write(&job, JOB).unwrap();
    let job = job.to_str().unwrap();
    let nowhere = format!("{name}/missing/sheet.html");
    one_line(&["plan", job, "--sheet", &nowhere], &[&nowhere, "No such file"]);
    // /sys takes no files from anybody, whoever runs this.
    one_line(&["plan", job, "--sheet", "/sys/sheet.html"], &["/sys/sheet.html"]);
    one_line(&["plan", job, "--sheet", "/dev/null"], &["/dev/null", "regular file"]);
    one_line(&["plan", job, "--sheet", name], &[name, "regular file"]);
    let below = format!("{job}/sheet.html");
    one_line(&["plan", job, "--sheet", &below], &[&below, "Not a directory"]);
    one_line(&["plan", job, "--sheet", job], &[job, "job file"]);
    assert_eq!(fs::read_to_string(job).unwrap(), JOB, "the job file is as it was");
    assert_eq!(fs::read_dir(Path::new(name)).unwrap().count(), 1, "no file is left behind");
}

/// A sheet replaces the one before it and leaves nothing else.
#[test]
fn sheet_replaces_the_one_before() {
    let folder = tempfile::tempdir().unwrap();
    let sheet = folder.path().join("sheet.html");
    fs::write(&sheet, "old").unwrap();
    let output = turntally(&["plan", "demo", "--json", "--sheet", sheet.to_str().unwrap()]);
    assert!(output.status.success());
    serde_json::from_slice::<Value>(&output.stdout).unwrap();
    assert!(fs::read_to_string(&sheet).unwrap().starts_with("<!DOCTYPE html>"));
    assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 1);
}
