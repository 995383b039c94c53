//! `turntally chart`: the same figures in every form, well-formed files, whole or nothing.
#![allow(clippy::unwrap_used, reason = "a test that cannot go on should stop")]

mod run;

use std::collections::BTreeSet;
use std::fs;

use run::{json, near, printed, refused_with, turntally};
use serde_json::Value;

const BASE: &[&str] = &["chart", "--metal", "copper", "--wires", "14awg..18awg", "--mandrels", "3mm..5mm"];
const ODD: &str = "<b>&\"x\" 'y'";

fn with(extra: &[&str]) -> Vec<&'static str> {
    // Arguments live as long as the test.
    BASE.iter()
        .copied()
        .chain(extra.iter().map(|arg| &*Box::leak((*arg).to_owned().into_boxed_str())))
        .collect()
}

/// The rows of a CSV as its columns by name.
fn rows(text: &str) -> Vec<std::collections::HashMap<String, String>> {
    csv::Reader::from_reader(text.as_bytes()).deserialize().map(Result::unwrap).collect()
}

/// Sterling silver, 20 AWG on 3 mm, kerf 0.2 mm, no springback: 490.132 rings to the troy ounce, 446.735
/// to the ounce, worked out independently of this program with Python's `math`.
#[test]
fn cells_have_the_figures_of_the_independent_reckoning() {
    let base = [
        "chart",
        "--metal",
        "sterling-silver",
        "--density",
        "10.36",
        "--spring-ratio",
        "1",
        "--kerf",
        "0.2mm",
        "--wires",
        "20awg",
        "--mandrels",
        "3mm",
        "--format",
        "json",
    ];
    for (extra, key, want) in [
        (["--per", "troy-ounce"].as_slice(), "rings_per_troy_ounce", 490.131_998_5),
        (&["--per", "ounce"], "rings_per_ounce", 446.734_894_4),
        (&["--of", "mass"], "ring_mass_mg", 63.459_388_3),
        (&["--of", "inner"], "closed_inner_diameter_mm", 2.944_959_506),
        (&["--of", "ratio"], "aspect_ratio", 3.623_227_738),
        (&["--of", "per-inch"], "turns_per_inch", 31.25),
    ] {
        let got = json(&[base.as_slice(), extra].concat());
        assert_eq!(got["of"], key);
        near(&got["cells"][0][key], want, 3e-9);
    }
}

/// What the CSV holds reads back as the JSON has it, to the last bit, and as `size` says.
#[test]
fn csv_reads_back_to_the_last_bit() {
    let key = "rings_per_100_g";
    let table = rows(&printed(&with(&["--per", "100g", "--kerf", "0.3mm", "--format", "csv"])));
    let object = json(&with(&["--per", "100g", "--kerf", "0.3mm", "--format", "json"]));
    let cells = object["cells"].as_array().unwrap();
    assert_eq!((table.len(), cells.len()), (25, 25));
    for (row, cell) in table.iter().zip(cells) {
        assert_eq!(row["wire"], cell["wire"].as_str().unwrap());
        for name in [
            "wire_diameter_mm",
            "mandrel_diameter_mm",
            "assumed_spring_ratio",
            key,
            &format!("{key}_low"),
            &format!("{key}_high"),
        ] {
            assert_eq!(row[name].parse::<f64>().unwrap().to_bits(), cell[name].as_f64().unwrap().to_bits());
        }
    }
    for row in table.iter().step_by(7) {
        let (wire, mandrel) = (row["wire"].clone(), format!("{}mm", row["mandrel_diameter_mm"]));
        let size = json(&[
            "size",
            "--metal",
            "copper",
            "--kerf",
            "0.3mm",
            "--wire",
            &wire,
            "--mandrel",
            &mandrel,
            "--json",
        ]);
        assert_eq!(row[key].parse::<f64>().unwrap().to_bits(), size[key].as_f64().unwrap().to_bits());
    }
}

/// A cell that cannot be made is blank, with its reason, in every form.
#[test]
fn blank_cells_have_their_reason_in_every_form() {
    let base = ["chart", "--metal", "copper", "--wires", "10awg,18awg", "--mandrels", "2mm", "--format"];
    let of = |format: &'static str| printed(&[base.as_slice(), &[format]].concat());
    let table = rows(&of("csv"));
    assert_eq!(table[0]["rings_per_troy_ounce"], "");
    assert!(table[0]["blank_because"].contains("at least 2.58826 mm"));
    assert_eq!(table[1]["blank_because"], "");
    let object: Value = serde_json::from_str(&of("json")).unwrap();
    assert!(object["cells"][0]["rings_per_troy_ounce"].is_null());
    let reason = "the mandrel is thinner than the wire";
    assert!(of("text").contains(&format!("(a) {reason}")));
    for format in ["svg", "html"] {
        assert!(of(format).contains(&format!("Blank, a: {reason}.")), "{format}");
    }
}

/// The texts of an XML document: what it holds once read, entities resolved.
fn texts(xml: &str) -> Vec<String> {
    let options = roxmltree::ParsingOptions { allow_dtd: true, ..Default::default() };
    let document = roxmltree::Document::parse_with_options(xml, options).unwrap();
    assert!(!document.descendants().any(|node| node.has_tag_name("b") || node.has_tag_name("script")));
    let texts = document.descendants().filter(roxmltree::Node::is_text).filter_map(|node| node.text());
    texts.map(|text| text.trim().to_owned()).filter(|text| !text.is_empty()).collect()
}

/// Picture and page are well-formed, hold every figure of the terminal's table, and show a metal's
/// name as it was typed, whatever it holds.
#[test]
fn picture_and_page_are_well_formed_and_escaped() {
    let base: &[&str] = &[
        "chart",
        "--metal",
        ODD,
        "--density",
        "9.1",
        "--wires",
        "0.8mm..1.6mm",
        "--mandrels",
        "3mm..6mm",
        "--format",
    ];
    let of = |format: &'static str| printed(&[base, &[format]].concat());
    let terminal = of("text");
    let figures: BTreeSet<&str> = terminal
        .lines()
        .filter(|line| line.starts_with(' ') && line.contains(" mm ") && line.contains(" in "))
        .flat_map(|line| line.split_whitespace().skip(4))
        .collect();
    assert!(figures.len() > 30, "{terminal}");
    for format in ["svg", "html"] {
        let file = of(format);
        let texts = texts(&file);
        assert!(texts.contains(&format!("{ODD}, soft")), "{format}: {texts:?}");
        for figure in &figures {
            assert!(texts.iter().any(|text| text == figure), "{format}: {figure}");
        }
        for part in ["Rings per troy ounce (31.103 g)", "0.0315"] {
            assert!(texts.iter().any(|text| text == part), "{format}: {part}");
        }
        for part in ["Density 9.1", "Spring ratio estimated", "kerf 0 mm"] {
            assert!(texts.iter().any(|text| text.contains(part)), "{format}: {part}");
        }
        // It stands alone.
        assert!(!file.contains("http://") || format == "svg" && file.matches("http://").count() == 1);
        assert!(!file.contains("https://"));
    }
}

/// A name that no XML can hold is refused rather than written.
#[test]
fn control_characters_in_a_name_are_refused() {
    refused_with(
        &["chart", "--wires", "1mm", "--mandrels", "4mm", "--density", "9", "--format", "svg"],
        &[(&["--metal", "a\u{1b}[2J"], &["--metal", "printable"]), (&["--metal", "a\u{ffff}"], &["--metal"])],
    );
}

/// All metals: a sheet to each that has a ring, the rest named as left out.
#[test]
fn all_metals_make_a_sheet_each() {
    let base: &[&str] = &["chart", "--metal", "all", "--wires", "1mm,1.2mm", "--mandrels", "4mm,5mm"];
    let soft = printed(&[base, &["--format", "svg"]].concat());
    let options = roxmltree::Document::parse(&soft).unwrap();
    let height: u32 = options.root_element().attribute("height").unwrap().parse().unwrap();
    assert_eq!(height % 1131, 0);
    let csv = rows(&printed(&[base, &["--format", "csv"]].concat()));
    let metals = |blank| -> BTreeSet<&str> {
        let rows = csv.iter().filter(|row| row["blank_because"].is_empty() != blank);
        rows.map(|row| row["metal"].as_str()).collect()
    };
    assert_eq!(height as usize / 1131, metals(false).len());
    assert_eq!(metals(true), BTreeSet::from(["music-wire"]), "it is not sold soft");
    assert_eq!(csv.len(), (metals(false).len() + 1) * 4);
    let spring = printed(&[base, &["--temper", "spring"]].concat());
    let left_out = spring.lines().find(|line| line.starts_with("Left out")).unwrap();
    assert!(left_out.contains("fine-silver"), "{left_out}");
}

/// A file appears whole; a refusal leaves the old one as it was, and nothing beside it.
#[test]
fn files_appear_whole_or_not_at_all() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("chart.svg");
    let file = path.to_str().unwrap();
    assert_eq!(printed(&with(&["--format", "svg", "--out", file])), "");
    let whole = fs::read_to_string(&path).unwrap();
    assert_eq!(whole, printed(&with(&["--format", "svg"])));
    refused_with(&with(&["--out", file]), &[(&["--kerf", "2m"], &["--kerf"])]);
    assert_eq!(fs::read_to_string(&path).unwrap(), whole);
    assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 1);
    refused_with(&with(&["--out"]), &[(&["/no/such/folder/chart.txt"], &["/no/such/folder/chart.txt"])]);
}

/// A range written downwards is the same chart as its sizes written one by one, and inches may be fractions.
#[test]
fn falling_ranges_and_fractions_are_their_sizes() {
    let chart = |wires: &str, mandrels: &str| {
        let args =
            ["chart", "--metal", "copper", "--wires", wires, "--mandrels", mandrels, "--step", "0.5mm"];
        printed(&[&args[..], &["--format", "csv"]].concat())
    };
    assert_eq!(chart("18awg..16awg", "4mm..3mm"), chart("18awg,17awg,16awg", "4mm,3.5mm,3mm"));
    assert_eq!(chart("16awg..18awg", "1/8in"), chart("16awg,17awg,18awg", "3.175mm"));
    assert_ne!(chart("16awg", "4mm..3mm"), chart("16awg", "3mm..4mm"));
}

/// Wrong input gets one line.
#[test]
fn wrong_charts_are_refused_in_one_line() {
    refused_with(
        BASE,
        &[
            (&["--per", "oz"], &["--per", "'oz'", "troy-ounce, ounce, 100g"]),
            (&["--of", "mass", "--per", "ounce"], &["--per", "--of rings"]),
            (&["--format", "png"], &["--format", "'png'", "svg"]),
            (&["--temper", "mild"], &["--temper", "'mild'"]),
            (&["--density", "8.9", "--metal", "niobium"], &["--density", "one metal"]),
            (&["--spring-ratio", "1.1", "--metal", "niobium"], &["--spring-ratio", "one metal"]),
            (&["--step", "0mm"], &["--step", "'0 mm'", "above zero"]),
            (&["--step", "-1mm"], &["--step", "'-1mm'", "below zero"]),
            (&["--kerf", "100mm"], &["--kerf", "not one cell"]),
        ],
    );
    refused_with(
        &["chart", "--metal", "copper"],
        &[
            (&["--wires", "14awg..22awg"], &["--mandrels"]),
            (&["--wires", "1,2mm", "--mandrels", "3mm"], &["--wires", "'1,2mm'", "write 1.2, not 1,2"]),
            (&["--wires", "16ga", "--mandrels", "3mm"], &["--wires", "16awg", "16swg", "16wm"]),
            (&["--wires", "1mm", "--mandrels", "9mm..3mm", "--step", "1nm"], &["--mandrels", "at most 500"]),
            (&["--wires", "14awg..1mm", "--mandrels", "3mm"], &["--wires", "of one kind"]),
            (&["--wires", "1mm", "--mandrels", "3mm..9mm", "--step", "1nm"], &["--mandrels", "at most 500"]),
            (
                &["--wires", "1mm..2mm", "--wire-step", "0mm", "--mandrels", "3mm"],
                &["--wire-step", "above zero"],
            ),
            (
                &["--wires", "1mm..1.4mm", "--wire-step", "1um", "--mandrels", "3mm..7mm", "--step", "10um"],
                &["cells", "at most 100000"],
            ),
            (
                &["--wires", "1mm..2mm", "--wire-step", "0.01mm", "--mandrels", "3mm", "--format", "svg"],
                &["--wires", "101 sizes", "at most 30"],
            ),
            (&["--wires", "", "--mandrels", "3mm"], &["--wires"]),
        ],
    );
}

/// A reader that has had enough is no failure.
#[test]
fn closed_pipe_is_no_failure() {
    let mut child = std::process::Command::new(env!("CARGO_BIN_EXE_turntally"))
        .env("XDG_DATA_HOME", env!("CARGO_TARGET_TMPDIR"))
        .args([
            "chart",
            "--metal",
            "all",
            "--wires",
            "14awg..30awg",
            "--mandrels",
            "3mm..20mm",
            "--format",
            "json",
        ])
        .stdout(std::process::Stdio::piped())
        .stderr(std::process::Stdio::piped())
        .spawn()
        .unwrap();
    drop(child.stdout.take());
    let output = child.wait_with_output().unwrap();
    assert_eq!((output.status.code(), output.stderr), (Some(0), Vec::new()));
    assert_eq!(turntally(&["chart", "--help"]).status.code(), Some(0));
}
