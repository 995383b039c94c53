//! `turntally gauge` against the published tables, and what it refuses.
#![allow(clippy::unwrap_used, reason = "a test that cannot go on should stop")]

mod run;

use run::{complaint, json, near, printed, refused_with, typed_into};

/// 1.02 mm lies between 18 AWG (1.024 mm, ASTM B559-12 Table 1) and 19 SWG (1.016 mm, BS 3737), and
/// within the tolerance of both.
#[test]
fn reading_between_two_gauges_could_be_either() {
    let got = json(&["gauge", "1.02mm", "--json"]);
    assert_eq!(got["awg"]["size"], "18 AWG");
    near(&got["awg"]["diameter_mm"], 1.023_62, 1e-12);
    near(&got["awg"]["deviation_mm"], -0.003_62, 1e-9);
    near(&got["awg"]["deviation_percent"], -0.353_646, 1e-5);
    assert_eq!(got["awg"]["thinner"]["size"], "19 AWG");
    assert_eq!(got["awg"]["thicker"]["size"], "17 AWG");
    assert_eq!(got["swg"]["size"], "19 SWG");
    near(&got["swg"]["deviation_mm"], 0.004, 1e-9);
    assert_eq!(got["wm"]["size"], "19 W&M");
    near(&got["wm"]["deviation_mm"], -0.021_4, 1e-9);
    assert_eq!(got["metric"]["size"], "1 mm");
    assert_eq!(got["metric"]["within_tolerance"], false);
    assert_eq!(got["inch"]["size"], "0.040 in");
    assert_eq!(got["could_be"], serde_json::json!(["18 AWG", "19 SWG", "0.040 in"]));
    let text = printed(&["gauge", "1.02mm"]);
    assert!(text.contains("Could be 18 AWG, 19 SWG or 0.040 in"), "{text}");
    assert!(text.contains("measure at three places"), "{text}");
}

/// The same wire by its inches, its millimetres or its number gives the same sizes.
#[test]
fn one_wire_in_three_spellings_is_one_wire() {
    let sizes = |text: &str| {
        let got = json(&["gauge", text, "--json"]);
        ["awg", "swg", "metric", "inch"].map(|system| got[system].clone())
    };
    assert_eq!(sizes("0.0508in"), sizes("1.29032mm"));
    assert_eq!(sizes("16awg"), sizes("1.29032mm"));
}

/// Between two sizes, out of the tolerance of both, no gauge is named; off the end there is no
/// neighbour.
#[test]
fn reading_that_fits_no_size_says_so() {
    let got = json(&["gauge", "0.875mm", "--json"]);
    assert_eq!(got["could_be"], serde_json::json!([]));
    assert!(got["advice"].as_str().unwrap().contains("No size of these tables"));
    let thickest = json(&["gauge", "4/0awg", "--json"]);
    assert!(thickest["awg"]["thicker"].is_null());
}

/// Wrong input gets one line.
#[test]
fn wrong_sizes_are_refused_in_one_line() {
    refused_with(
        &["gauge"],
        &[
            (&[], &["<SIZE>"]),
            (&["1.02"], &["<SIZE>", "'1.02'", "bare number", "1.2mm"]),
            (&["18"], &["'18'", "16awg, 18swg"]),
            (&["-1mm"], &["'-1mm'", "0.02 mm to 15 mm"]),
            (&["20mm"], &["'20mm'", "0.02 mm to 15 mm"]),
            (&["51swg"], &["'51swg'", "7/0 SWG to 50 SWG"]),
            (&["thin"], &["'thin'", "not a wire size"]),
            (&["1mm", "2mm"], &["'2mm'"]),
        ],
    );
}

/// A caliper that types: each reading is answered at once, and several by their mean. (1.02 + 1.03 + 1.02) / 3 is
/// 1.023 mm by hand.
#[test]
fn typed_readings_are_answered_one_by_one_and_by_their_mean() {
    let out = typed_into(&["gauge", "-", "--unit", "mm"], "1.02\r\n1.03\n1.02mm\n\n9.99\n");
    assert_eq!(out.status.code(), Some(0));
    let text = String::from_utf8(out.stdout).unwrap();
    let lines: Vec<&str> = text.lines().take(3).collect();
    assert_eq!(lines[0], "1.02 mm (0.0402 in): 18 AWG, 19 SWG or 0.040 in");
    assert!(lines[1].starts_with("1.03 mm (0.0406 in): "), "{text}");
    assert!(text.contains("Mean of 3 readings: 1.023 mm (0.0403 in)"), "{text}");
    assert!(!text.contains("9.99"), "{text}");
    let out = typed_into(&["gauge", "-", "--json"], "1.02mm\n0.04in");
    let lines = String::from_utf8(out.stdout).unwrap();
    let sizes: Vec<serde_json::Value> =
        lines.lines().map(|line| serde_json::from_str(line).unwrap()).collect();
    assert_eq!(sizes.len(), 2);
    assert_eq!((&sizes[0]["awg"]["size"], &sizes[1]["inch"]["size"]), (&"18 AWG".into(), &"0.040 in".into()));
}

/// A reading that is none ends it with one line that names the line; a unit without readings is refused.
#[test]
fn typed_readings_that_are_none_are_refused() {
    for (args, text, part) in [
        (
            &["gauge", "-"][..],
            "1.02",
            "SIZE, line 1 of standard input '1.02': a number without a unit: --unit mm",
        ),
        (&["gauge", "-"], "", "SIZE: no reading on standard input"),
        (&["gauge", "-", "--unit", "mm"], "1.02\n20\n", "SIZE '20 mm': wire diameter out of range"),
        (&["gauge", "1mm", "--unit", "mm"], "", "--unit: it is for readings on standard input"),
        (&["gauge", "-", "--unit", "cm"], "1", "[possible values: mm, in]"),
    ] {
        let line = complaint(args, typed_into(args, text));
        assert!(line.contains(part), "no '{part}' in: {line}");
    }
}
