//! `turntally piece`: rings of chains and sheets against figures by hand, and what it refuses.
#![allow(clippy::unwrap_used, reason = "a test that cannot go on should stop")]

mod run;

use run::{json, near, printed, refused_with};

/// A single chain under tension: each ring is held by the inside of the next, so its pitch is the inside diameter.
#[test]
fn a_single_chain_takes_a_ring_for_each_inside_diameter() {
    let args =
        ["piece", "--weave", "single", "--wire", "1mm", "--inside", "5mm", "--length", "200mm", "--json"];
    let got = json(&args);
    near(&got["pitch_mm"], 5.0, 1e-6);
    near(&got["smallest_aspect_ratio"], 2.0, 1e-6);
    assert_eq!((&got["rings"], &got["links"]), (&40.into(), &40.into()));
    near(&got["length_mm"], 200.0, 1e-6);
    // A ring is 6 mm across the middle of its wire.
    near(&got["wire_total_mm"], 40.0 * 6.0 * std::f64::consts::PI, 1e-9);
    assert_eq!(got.get("rings_mass_g"), None);
    // A millimetre more is a ring more.
    let longer =
        ["piece", "--weave", "single", "--wire", "1mm", "--inside", "5mm", "--length", "201mm", "--json"];
    assert_eq!(json(&longer)["rings"], 41);
}

/// Copper of 8.89 g/cm3: a ring of 1 mm wire, 6 mm across its middle, is π²/4 · 6 mm³.
#[test]
fn the_mass_follows_from_the_metal() {
    let args = ["piece", "--weave", "double", "--wire", "1mm", "--inside", "5mm", "--rings", "100", "--json"];
    let got = json(&[&args[..], &["--metal", "copper"]].concat());
    let ring_g = std::f64::consts::PI.powi(2) / 4.0 * 6.0 * 8.89e-3;
    near(&got["ring_mass_mg"], ring_g * 1e3, 1e-9);
    near(&got["rings_mass_g"], ring_g * 100.0, 1e-9);
    assert_eq!(got["links"], 50);
    let own = json(&[&args[..], &["--metal", "my own alloy", "--density", "8.89"]].concat());
    assert_eq!(own["rings_mass_g"], got["rings_mass_g"]);
}

/// 40 rings of the sample are 52 mm long: 400 rings are 520 mm, whatever is computed.
#[test]
fn a_sample_counts_before_the_computed_pitch() {
    let base = ["piece", "--weave", "byzantine", "--wire", "1mm", "--inside", "4mm", "--json"];
    let computed = json(&[&base[..], &["--length", "520mm"]].concat());
    let got = json(&[&base[..], &["--length", "520mm", "--sample", "60,52mm"]].concat());
    // Six rings to a link: 60 rings are ten links of 5.2 mm.
    near(&got["pitch_mm"], 5.2, 1e-12);
    assert_eq!((&got["rings"], &got["links"]), (&600.into(), &100.into()));
    assert_eq!(got["pitch_stretched_mm"], computed["pitch_mm"]);
    assert_eq!((&got["pitch_from_sample"], &computed["pitch_from_sample"]), (&true.into(), &false.into()));
    let back = json(&[&base[..], &["--rings", "600", "--sample", "60,52mm"]].concat());
    near(&back["length_mm"], 520.0, 1e-12);
}

/// A flat Japanese sheet of squares: its flat rings are two inside diameters apart, with two upright rings each.
#[test]
fn a_sheet_takes_whole_columns_and_rows() {
    let args = [
        "piece",
        "--weave",
        "japanese-4-in-1",
        "--wire",
        "1mm",
        "--inside",
        "5mm",
        "--area",
        "200mm,101mm",
        "--json",
    ];
    let got = json(&args);
    near(&got["pitch_mm"], 10.0, 1e-5);
    near(&got["row_pitch_mm"], 10.0, 1e-5);
    assert_eq!((&got["rings_per_row"], &got["rows"], &got["rings"]), (&20.into(), &11.into(), &660.into()));
    near(&got["height_mm"], 110.0, 1e-5);
    // Laid flat it is as wide as stretched.
    near(&got["pitch_stretched_mm"], 10.0, 1e-5);
}

/// A European sheet is longer stretched along its rows than laid flat, and so from row to row.
#[test]
fn a_sheet_stretches_each_way() {
    for weave in ["european-4-in-1", "european-6-in-1"] {
        let got = json(&["piece", "--weave", weave, "--wire", "1mm", "--inside", "6mm", "--json"]);
        let number = |key: &str| got[key].as_f64().unwrap();
        assert!(number("pitch_stretched_mm") > number("pitch_mm"), "{weave}");
        assert!(number("row_pitch_stretched_mm") > number("row_pitch_mm"), "{weave}");
        assert_eq!(got.get("rings"), None, "{weave}");
    }
}

/// Without an inside diameter those that suit the weave are compared, from the smallest one on.
#[test]
fn inside_diameters_that_suit_are_compared() {
    let got = json(&["piece", "--weave", "single", "--wire", "1mm", "--length", "100mm", "--json"]);
    let choices = got["choices"].as_array().unwrap();
    let insides: Vec<f64> =
        choices.iter().map(|choice| choice["inside_diameter_mm"].as_f64().unwrap()).collect();
    assert_eq!(insides, [2.0, 2.5, 3.0, 3.5, 4.0, 4.5]);
    assert_eq!(choices[0]["rings"], 50);
    let listed = json(&["piece", "--weave", "triple", "--wire", "1mm", "--insides", "3mm,4mm,5mm", "--json"]);
    // 3 mm is too small: the smallest is above 3.6.
    assert_eq!(listed["choices"].as_array().unwrap().len(), 2);
    near(&listed["smallest_inside_mm"], listed["smallest_aspect_ratio"].as_f64().unwrap(), 1e-12);
}

/// Twice the wire and twice the ring is the same weave, twice as long.
#[test]
fn figures_scale_with_the_ring() {
    let of = |wire: &str, inside: &str| {
        json(&["piece", "--weave", "half-persian-3-in-1", "--wire", wire, "--inside", inside, "--json"])
    };
    let (small, large) = (of("1mm", "4.5mm"), of("2mm", "9mm"));
    for key in ["pitch_mm", "pitch_relaxed_mm", "ring_wire_mm"] {
        near(&large[key], 2.0 * small[key].as_f64().unwrap(), 1e-9);
    }
}

/// The text names the piece's figures.
#[test]
fn the_text_has_the_figures() {
    let chain = printed(&[
        "piece", "--weave", "single", "--wire", "1mm", "--inside", "5mm", "--length", "200mm", "--metal",
        "copper",
    ]);
    for part in
        ["single, wire of 1 mm", "5.00 (smallest 2.00)", "pitch under tension", "40", "mass of the rings"]
    {
        assert!(chain.contains(part), "no '{part}' in {chain}");
    }
    let many = printed(&["piece", "--weave", "european-4-in-1", "--wire", "1mm"]);
    for part in ["pitch of rows", "3 mm", "5.5 mm", "Smallest aspect ratio 2.98"] {
        assert!(many.contains(part), "no '{part}' in {many}");
    }
}

/// Each wrong value is named with what is allowed.
#[test]
fn wrong_values_are_refused_in_one_line() {
    refused_with(
        &["piece", "--wire", "1mm"],
        &[
            (&[], &["--weave"]),
            (&["--weave", "box "], &["'box '", "no weave has this name", "byzantine"]),
            (&["--weave", "Box"], &["'Box'", "known are single, double"]),
            (&["--weave", "single", "--inside", "1.9mm"], &["--inside '1.9 mm'", "1.90", "at least 2.00"]),
            (&["--weave", "single", "--inside", "11mm"], &["--inside '11 mm'", "at most 10"]),
            (&["--weave", "jens-pind", "--inside", "4mm"], &["--inside '4 mm'", "at most 3.25"]),
            (&["--weave", "single", "--inside", "0mm"], &["--inside '0 mm'", "above zero"]),
            (&["--weave", "single", "--inside", "-5mm"], &["--inside", "-5mm"]),
            (&["--weave", "single", "--inside", "5"], &["--inside", "'5'"]),
            (
                &["--weave", "single", "--inside", "5mm", "--length", "0mm"],
                &["--length '0 mm'", "above zero"],
            ),
            (&["--weave", "single", "--inside", "5mm", "--length", "100km"], &["--length"]),
            (
                &["--weave", "single", "--inside", "5mm", "--area", "1mm,1mm"],
                &["--area", "is a chain", "--length"],
            ),
            (&["--weave", "european-4-in-1", "--length", "1m"], &["--length", "is a sheet", "--area"]),
            (&["--weave", "european-4-in-1", "--area", "20mm"], &["--area", "20mm", "a comma between them"]),
            (&["--weave", "european-4-in-1", "--area", "0mm,5mm"], &["--area", "'0mm'", "above zero"]),
            (&["--weave", "european-4-in-1", "--area", "20,5mm"], &["--area", "'20'"]),
            (
                &["--weave", "european-4-in-1", "--inside", "4mm", "--area", "900m,900m"],
                &["--area", "at most 10000000"],
            ),
            (
                &["--weave", "european-4-in-1", "--inside", "4mm", "--sample", "4,9mm"],
                &["--sample", "is a sheet"],
            ),
            (
                &["--weave", "single", "--inside", "5mm", "--sample", "52mm"],
                &["--sample", "a comma between them"],
            ),
            (
                &["--weave", "single", "--inside", "5mm", "--sample", "0,52mm"],
                &["--sample", "'0'", "only 1 to"],
            ),
            (&["--weave", "single", "--inside", "5mm", "--sample", "40,0mm"], &["--sample", "above zero"]),
            (&["--weave", "single", "--sample", "40,52mm"], &["--inside"]),
            (&["--weave", "single", "--inside", "5mm", "--rings", "0"], &["--rings", "0"]),
            (
                &["--weave", "single", "--inside", "5mm", "--rings", "4", "--length", "9mm"],
                &["--rings", "--length"],
            ),
            (&["--weave", "single", "--inside", "5mm", "--metal", "unobtainium"], &["--metal", "--density"]),
            (&["--weave", "single", "--inside", "5mm", "--density", "99"], &["--density", "25"]),
            (&["--weave", "single", "--insides", "1mm"], &["1 mm", "at least 2.00"]),
            (&["--weave", "single", "--step", "0mm"], &["--step '0 mm'", "above zero"]),
            (&["--weave", "single", "--inside", "5mm", "--insides", "5mm"], &["--insides"]),
        ],
    );
    refused_with(
        &["piece", "--weave", "single", "--inside", "5mm"],
        &[(&["--wire", "0mm"], &["--wire", "0"]), (&["--wire", "16ga"], &["--wire", "16awg"])],
    );
}
