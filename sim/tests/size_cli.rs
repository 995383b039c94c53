//! `turntally size` against figures worked out elsewhere, and what it refuses.
#![allow(clippy::unwrap_used, reason = "a test that cannot go on should stop")]

mod run;

use run::{json, near, printed, refused_with};

const COPPER: &[&str] = &["size", "--wire", "16awg", "--metal", "copper"];

/// Sterling silver, 20 AWG by its table (0.0320 in), 3 mm mandrel, kerf 0.2 mm, no springback.
///
/// Figures: worked out independently of this program with Python's `math` (helix, mean diameter
/// 3.8128 mm, density 10.36 g/cm3).
#[test]
fn sterling_example_has_the_figures_of_the_independent_reckoning() {
    let got = json(&[
        "size",
        "--wire",
        "20awg",
        "--mandrel",
        "3mm",
        "--metal",
        "sterling-silver",
        "--density",
        "10.36",
        "--spring-ratio",
        "1.0",
        "--kerf",
        "0.2mm",
        "--json",
    ]);
    for (key, want) in [
        ("wire_diameter_mm", 0.8128),
        ("mandrel_diameter_mm", 3.0),
        ("density_g_cm3", 10.36),
        ("spring_ratio", 1.0),
        ("spring_ratio_low", 1.0),
        ("spring_ratio_high", 1.0),
        ("pitch_mm", 0.8128),
        ("wound_turn_wire_mm", 12.005_809_575),
        ("released_turn_wire_mm", 12.005_809_575),
        ("ring_wire_mm", 11.805_349_657),
        ("ring_inner_diameter_mm", 3.0),
        ("closed_inner_diameter_mm", 2.944_959_506),
        ("aspect_ratio", 3.623_227_738),
        ("ring_mass_mg", 63.459_388_3),
        ("rings_per_troy_ounce", 490.131_998_5),
        ("rings_per_ounce", 446.734_894_4),
        ("rings_per_100_g", 1_575.810_965),
        ("turns_per_inch", 31.25),
    ] {
        near(&got[key], want, 3e-9);
    }
}

/// Copper, 16 AWG by the formula (1.290845906 mm), 1/4 in mandrel, kerf 0.25 mm: the same reckoning.
///
/// The wire is read to the nanometre, so the mass is good to 2e-7.
#[test]
fn copper_example_has_the_figures_of_the_independent_reckoning() {
    let got = json(&[
        "size",
        "--wire",
        "1.290845906mm",
        "--mandrel",
        "0.25in",
        "--metal",
        "copper",
        "--spring-ratio",
        "1",
        "--kerf",
        "0.25mm",
        "--json",
    ]);
    for (key, want) in [
        ("mandrel_diameter_mm", 6.35),
        ("wound_turn_wire_mm", 24.039_108_142),
        ("ring_wire_mm", 23.788_746_930),
        ("closed_inner_diameter_mm", 6.281_347_422),
        ("aspect_ratio", 4.866_070_685),
        ("ring_mass_mg", 276.765_537_8),
        ("rings_per_troy_ounce", 112.382_043_8),
        ("rings_per_ounce", 102.431_550_4),
    ] {
        near(&got[key], want, 2e-7);
    }
}

/// Every figure lies within its own range, which the gauge's tolerance and the estimate open.
#[test]
fn estimated_figures_lie_in_their_ranges() {
    let got = json(&[COPPER, &["--mandrel", "5mm", "--kerf", "0.3mm", "--json"]].concat());
    let object = got.as_object().unwrap();
    let mut ranges = 0;
    for (key, low) in object {
        let Some(name) = key.strip_suffix("_low") else { continue };
        let number = |key: &str| object[key].as_f64().unwrap();
        let (low, best, high) = (low.as_f64().unwrap(), number(name), number(&format!("{name}_high")));
        assert!(low <= best && best <= high, "{name}: {low} {best} {high}");
        // Only the wire's own size moves the wound coil; everything has some spread.
        assert!(low < high, "{name}");
        ranges += 1;
    }
    assert_eq!(ranges, 14);
    assert_eq!(got["uns"], "C11000");
}

/// Soft copper opens: the ring is larger than its mandrel and its turn takes more wire.
#[test]
fn springback_opens_the_ring() {
    let got = json(&[COPPER, &["--mandrel", "5mm", "--json"]].concat());
    let number = |key: &str| got[key].as_f64().unwrap();
    assert!(number("spring_ratio_low") > 1.0);
    assert!(number("ring_inner_diameter_mm") > 5.0);
    assert!(number("released_turn_wire_mm") > number("wound_turn_wire_mm"));
}

/// A metal by any of its names is the same metal; one that is not listed goes by its density.
#[test]
fn metals_go_by_name_number_or_density() {
    let of =
        |metal: &[&str]| json(&[&["size", "--wire", "1mm", "--mandrel", "4mm", "--json"], metal].concat());
    let copper = of(&["--metal", "copper"]);
    assert_eq!(of(&["--metal", "C11000"]), copper);
    let own = of(&["--metal", "my own alloy", "--density", "8.89", "--spring-ratio", "1.02"]);
    let listed = of(&["--metal", "copper", "--spring-ratio", "1.02"]);
    assert_eq!(own["ring_mass_mg"], listed["ring_mass_mg"]);
    assert_eq!(own["metal"], "my own alloy");
    // Without a measured ratio an unlisted metal may be as springy as any, and says so.
    let loose = of(&["--metal", "my own alloy", "--density", "8.89"]);
    assert!(
        loose["spring_ratio_low"].as_f64().unwrap() < copper["spring_ratio_low"].as_f64().unwrap() + 1e-12
    );
    assert!(loose["spring_ratio_high"].as_f64().unwrap() > copper["spring_ratio_high"].as_f64().unwrap());
    assert!(loose["warnings"][0].as_str().unwrap().contains("measure a ring"));
}

/// So many rings take their turns' wire; that much wire gives so many rings back, by length and mass.
#[test]
fn totals_go_both_ways() {
    let base: &[&str] = &[
        "size",
        "--wire",
        "1mm",
        "--mandrel",
        "4mm",
        "--metal",
        "copper",
        "--spring-ratio",
        "1.01",
        "--kerf",
        "0.2mm",
        "--json",
    ];
    let rings = json(&[base, &["--rings", "640"]].concat());
    let number = |key: &str| rings[key].as_f64().unwrap();
    assert!((number("wire_total_mm") - 640.0 * number("released_turn_wire_mm")).abs() < 1e-6);
    assert!((number("rings_mass_g") - 0.64 * number("ring_mass_mg")).abs() < 1e-9);
    // 1 mm copper of 8.89 g/cm3 weighs 8.89 pi / 4 g to the metre.
    near(&rings["wire_mass_g"], 8.89e-3 * std::f64::consts::FRAC_PI_4 * number("wire_total_mm"), 1e-12);
    near(&rings["wire_mass_troy_ounces"], number("wire_mass_g") / 31.103_476_8, 1e-12);
    near(&rings["wire_mass_ounces"], number("wire_mass_g") / 28.349_523_125, 1e-12);
    near(&rings["wire_mass_pennyweights"], number("wire_mass_g") / 1.555_173_84, 1e-12);
    // A little more than the wire of 640 rings, then a little less.
    let mm = number("wire_total_mm");
    for (stock, want) in [(format!("{:.6}mm", mm + 0.001), 640), (format!("{:.6}mm", mm - 0.001), 639)] {
        let back = json(&[base, &["--wire-stock", &stock]].concat());
        assert_eq!(back["rings"].as_f64().unwrap() as i64, want, "{stock}");
    }
    let grams = format!("{:.9}g", number("wire_mass_g") + 1e-6);
    let back = json(&[base, &["--wire-stock", &grams]].concat());
    assert_eq!(back["rings"].as_f64().unwrap() as i64, 640);
}

/// The mandrel chosen for a wish is the one of the set whose ring comes nearest, springback and kerf
/// counted in.
#[test]
fn wish_picks_the_nearest_mandrel_of_the_set() {
    for (wish, key) in [("--want-inner", "closed_inner_diameter_mm"), ("--want-ratio", "aspect_ratio")] {
        let value = if wish == "--want-inner" { "5mm" } else { "4.2" };
        let set = [wish, value, "--mandrels", "2.5mm..12mm", "--step", "0.25mm", "--kerf", "0.5mm", "--json"];
        let got = json(&[COPPER, set.as_slice()].concat());
        let want: f64 = value.trim_end_matches("mm").parse().unwrap();
        // By hand: every mandrel of the set on its own.
        let mut off: Vec<(f64, f64)> = (0..=38)
            .map(|i| {
                let mm = 2.5 + 0.25 * f64::from(i);
                let mandrel = format!("{mm}mm");
                let one = json(&[COPPER, &["--mandrel", &mandrel, "--kerf", "0.5mm", "--json"]].concat());
                ((one[key].as_f64().unwrap() - want).abs(), mm)
            })
            .collect();
        off.sort_by(|a, b| a.partial_cmp(b).unwrap());
        near(&got["mandrel_diameter_mm"], off[0].1, 1e-12);
        let mut nearest: Vec<f64> = off[..5].iter().map(|(_, mm)| *mm).collect();
        nearest.sort_by(|a, b| a.partial_cmp(b).unwrap());
        let choices: Vec<f64> = got["choices"]
            .as_array()
            .unwrap()
            .iter()
            .map(|choice| choice["mandrel_diameter_mm"].as_f64().unwrap())
            .collect();
        assert_eq!(choices, nearest);
    }
}

/// The table for people shows the same figures, to the digits that their range leaves.
#[test]
fn table_ends_at_the_digit_in_doubt() {
    let exact = printed(&[
        "size",
        "--wire",
        "0.8128mm",
        "--mandrel",
        "3mm",
        "--metal",
        "x",
        "--density",
        "10.36",
        "--spring-ratio",
        "1",
        "--kerf",
        "0.2mm",
    ]);
    let line = |text: &str, label: &str| {
        let found = text.lines().find(|line| line.contains(label)).unwrap();
        found.split_whitespace().map(str::to_owned).collect::<Vec<_>>()
    };
    // 490.132: nothing is uncertain, so five digits.
    assert_eq!(line(&exact, "rings per troy ounce").last().unwrap(), "490.13");
    let nominal = printed(&["size", "--wire", "20awg", "--mandrel", "3mm", "--metal", "sterling-silver"]);
    let cells = line(&nominal, "rings per troy ounce");
    let [likely, from, to] = [4, 5, 6].map(|i| cells[i].parse::<f64>().unwrap());
    assert!(from < likely && likely < to, "{cells:?}");
    assert!(cells[4..].iter().all(|cell| !cell.contains('.')), "{cells:?}");
}

/// Wrong input gets one line that names the option, the value and what is allowed.
#[test]
fn wrong_values_are_refused_in_one_line() {
    refused_with(
        COPPER,
        &[
            (&[], &["--mandrel"]),
            (&["--mandrel", "5"], &["--mandrel", "'5'", "bare number", "5mm"]),
            (&["--mandrel", "-5mm"], &["--mandrel", "'-5mm'", "below zero"]),
            (&["--mandrel", "0mm"], &["--mandrel", "'0 mm'", "at least 1.29032 mm"]),
            (&["--mandrel", "1mm"], &["--mandrel", "'1 mm'", "at least 1.29032 mm"]),
            (&["--mandrel", "2m"], &["--mandrel", "'2000 mm'"]),
            (&["--mandrel", "5oz"], &["--mandrel", "'5oz'", "unknown unit"]),
            (&["--mandrel", "99999999999999999999mm"], &["--mandrel", "too large"]),
            (&["--mandrel", "5mm", "--kerf", "9mm"], &["--kerf", "'9 mm'", "below its inside diameter"]),
            (&["--mandrel", "5mm", "--kerf", "0.3"], &["--kerf", "'0.3'", "bare number"]),
            (&["--mandrel", "5mm", "--gap", "-1"], &["--gap", "'-1'", "from 0 to 5"]),
            (&["--mandrel", "5mm", "--gap", "NaN"], &["--gap", "'NaN'", "from 0 to 5"]),
            (&["--mandrel", "5mm", "--density", "0"], &["--density", "'0'", "from 0.5 to 25"]),
            (&["--mandrel", "5mm", "--density", "8,9"], &["--density", "'8,9'", "from 0.5 to 25"]),
            (&["--mandrel", "5mm", "--density", "inf"], &["--density", "'inf'", "from 0.5 to 25"]),
            (&["--mandrel", "5mm", "--spring-ratio", "0.9"], &["--spring-ratio", "'0.9'", "from 1 to 2"]),
            (
                &["--mandrel", "5mm", "--temper", "mild"],
                &["--temper", "'mild'", "soft, half-hard, hard or spring"],
            ),
            (&["--mandrel", "5mm", "--rings", "0"], &["--rings", "'0'", "1..=10000000"]),
            (
                &["--mandrel", "5mm", "--wire-stock", "2oz"],
                &["--wire-stock", "'2oz'", "ozt for troy", "ozav"],
            ),
            (&["--mandrel", "5mm", "--wire-stock", "2"], &["--wire-stock", "'2'", "bare number", "12m"]),
            (&["--mandrel", "5mm", "--wire-stock", "1mm"], &["--wire-stock", "not one ring"]),
            (&["--mandrel", "5mm", "--wire-stock", "900000kg"], &["--wire-stock", "more than 10000000"]),
            (&["--mandrel", "5mm", "--want-inner", "5mm"], &["--mandrel", "--want-inner"]),
            (&["--mandrel", "5mm", "--mandrels", "3mm..5mm"], &["--mandrels"]),
            (&["--want-inner", "5mm"], &["--mandrels"]),
            (
                &["--want-inner", "5mm", "--mandrels", "5,5mm..3mm"],
                &["--mandrels", "'5,5mm..3mm'", "write 1.2, not 1,2"],
            ),
            (
                &["--want-inner", "5mm", "--mandrels", "3mm..5mm", "--step", "0mm"],
                &["--step", "'0 mm'", "above zero"],
            ),
            (
                &["--want-inner", "5mm", "--mandrels", "3mm..500mm", "--step", "1um"],
                &["--mandrels", "497001 sizes", "at most 500"],
            ),
            (&["--want-inner", "5mm", "--mandrels", "0.5mm,1mm"], &["--mandrels", "none of them", "0.5 mm"]),
            (&["--want-ratio", "0", "--mandrels", "3mm..5mm"], &["--want-ratio", "'0'", "above 0"]),
            (&["--nonsense"], &["--nonsense"]),
        ],
    );
    refused_with(
        &["size", "--mandrel", "5mm"],
        &[
            (&["--wire", "16", "--metal", "copper"], &["--wire", "'16'", "16awg"]),
            (&["--wire", "99awg", "--metal", "copper"], &["--wire", "4/0 AWG to 44 AWG"]),
            (
                &["--wire", "1mm", "--metal", "unobtainium"],
                &["--metal", "'unobtainium'", "--density", "copper"],
            ),
            (
                &["--wire", "1mm", "--metal", "", "--density", "9"],
                &["--metal", "1 to 60 printable characters"],
            ),
            (&["--wire", "1mm", "--metal", "a\nb\u{1}", "--density", "9"], &["--metal", "a\\nb\\u{1}"]),
            (
                &["--wire", "1mm", "--metal", "niobium", "--temper", "spring"],
                &["--temper", "'spring'", "soft, hard"],
            ),
            (
                &["--wire", "0.1mm", "--metal", "stainless-304", "--temper", "spring"],
                &["--temper", "'spring'", "softer temper"],
            ),
        ],
    );
}

/// Help gives an example of every command and says which unit an option takes.
#[test]
fn help_of_every_command_has_an_example() {
    for command in ["size", "gauge", "chart", "completions", "man"] {
        let help = printed(&[command, "--help"]);
        assert!(help.contains(&format!("  turntally {command} ")), "{help}");
    }
}

/// Of a troy ounce of wire no more than a troy ounce of rings is made, whatever its density and diameter are: those
/// are the same on both sides.
#[test]
fn rings_of_a_stock_are_no_heavier_than_the_stock() {
    for metal in ["gold-14k-yellow", "gold-filled-14-20", "silver-germanium-935", "copper"] {
        let base = ["size", "--wire", "20awg", "--mandrel", "3mm", "--metal", metal, "--wire-stock", "1ozt"];
        let got = json(&[&base[..], &["--json"]].concat());
        let most = |key: &str| got[format!("{key}_high")].as_f64().or(got[key].as_f64()).unwrap();
        near(&got["wire_mass_g"], 31.103_476_8, 1e-12);
        assert!(most("rings_mass_g") <= 31.103_476_8 + 1e-9, "{metal}: {}", most("rings_mass_g"));
        let text = printed(&base);
        let row = text.lines().find(|line| line.trim_start().starts_with("mass of rings")).unwrap();
        let numbers: Vec<f64> = row.split_whitespace().filter_map(|word| word.parse().ok()).collect();
        assert!(numbers.len() == 3 && numbers.iter().all(|mass| *mass <= 31.103_5), "{row}");
    }
}
