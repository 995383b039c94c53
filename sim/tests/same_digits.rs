//! One target, one text: plan, job sheet and wound coils show the same turns, and no number is a negative zero.
#![allow(clippy::unwrap_used, reason = "a test may stop where it stands")]

mod run;

use proptest::prelude::*;
use run::{json, printed};

fn job(metal: &str, wire_um: u32, mandrel_um: u32, rings: u32, pulses: u32) -> String {
    format!(
        "[job]\nrings = {rings}\n[wire]\nmetal = \"{metal}\"\nsize = \"{wire_um}um\"\n[mandrel]\n\
         diameter = \"{mandrel_um}um\"\n[winder]\npulses_per_rev = {pulses}\n[cutter]\ncoil_max = \"60mm\"\n\
         kerf = \"0.3mm\"\n"
    )
}

/// Words that are a minus and nothing but zeros.
fn minus_zeros(text: &str) -> Vec<&str> {
    let is_zero = |word: &&str| {
        let digits = word.trim_matches(|c: char| !c.is_ascii_digit() && c != '-' && c != '.');
        let rest = digits.strip_prefix('-').unwrap_or_default();
        rest.contains('0') && rest.bytes().all(|digit| matches!(digit, b'0' | b'.'))
    };
    text.split_whitespace().filter(is_zero).collect()
}

/// Numbers of turns behind these words.
fn behind<'a>(text: &'a str, words: &str) -> Vec<&'a str> {
    text.split(words)
        .skip(1)
        .filter_map(|rest| rest.split([' ', '<']).find(|word| !word.is_empty()))
        .collect()
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(12))]

    /// The target that the JSON gives in full is rounded up to hundredths in every place.
    #[test]
    fn a_target_reads_the_same_everywhere(
        metal in 0..3_usize, wire_um in 700_u32..1_500, ratio in 3.0..5.0_f64, rings in 1_u32..25, pulses in 24_u32..600,
    ) {
        let metal = ["copper", "sterling-silver", "mild-steel"][metal];
        let folder = tempfile::tempdir().unwrap();
        let path = |name: &str| folder.path().join(name).to_str().unwrap().to_owned();
        let (file, sheet) = (path("job.toml"), path("sheet.html"));
        std::fs::write(&file, job(metal, wire_um, (f64::from(wire_um) * ratio) as u32, rings, pulses)).unwrap();
        let full = json(&["plan", &file, "--json"]);
        let target = full["coils"][0]["wound_turns"].as_f64().unwrap();
        // A thousand-millionth of a turn is what the counter works with.
        let hundredths = ((target * 1e9).round() / 1e7 - 1e-7).ceil() as u64;
        let shown = format!("{}.{:02}", hundredths / 100, hundredths % 100);
        let shown = shown.as_str();

        printed(&["plan", &file, "--sheet", &sheet]);
        let plan = printed(&["plan", &file]);
        let table = plan.split("stop at turns").nth(1).unwrap().lines().nth(1).unwrap();
        prop_assert_eq!(table.split_whitespace().nth(2), Some(shown), "{}", plan);
        let page = std::fs::read_to_string(&sheet).unwrap();
        prop_assert!(behind(&page, "<td class=\"turns\">").contains(&shown), "{}", page);
        let wound = printed(&["wind", &file]);
        prop_assert_eq!(behind(&wound, "target ").first().copied(), Some(shown), "{}", wound);
        for text in [&plan, &page, &wound] {
            prop_assert_eq!(minus_zeros(text), Vec::<&str>::new());
        }
    }
}
