//! Rings measured on one mandrel, used on another: by every command, as a person runs them.
#![cfg(feature = "link")]
#![allow(clippy::unwrap_used, clippy::panic, reason = "a test that cannot go on should stop")]

mod run;

use run::{json, near, printed, refusal};
use serde_json::Value;
use tempfile::TempDir;

/// A folder with a log that is not there yet and a job on a mandrel of 9 mm.
struct Workshop(TempDir);

impl Workshop {
    fn new() -> Self {
        let folder = tempfile::tempdir().unwrap();
        let job = "[job]\nrings = 500\n[wire]\nmetal = \"C11000\"\nsize = \"1.2mm\"\n[mandrel]\ndiameter = \"9mm\"\n\
                   [winder]\npulses_per_rev = 400\n[cutter]\ncoil_max = \"70mm\"\n";
        std::fs::write(folder.path().join("job.toml"), job).unwrap();
        Self(folder)
    }

    fn path(&self, name: &str) -> String {
        self.0.path().join(name).to_str().unwrap().to_owned()
    }

    fn args(&self, args: &[&str]) -> Vec<String> {
        let log = ["--log".to_owned(), self.path("log.sqlite")];
        args.iter().map(|arg| (*arg).to_owned()).chain(log).collect()
    }

    fn printed(&self, args: &[&str]) -> String {
        let args = self.args(args);
        // Without the breaks of lines.
        let text = printed(&args.iter().map(String::as_str).collect::<Vec<_>>());
        text.split_whitespace().collect::<Vec<_>>().join(" ")
    }

    fn json(&self, args: &[&str]) -> Value {
        let args = self.args(&[args, &["--json"]].concat());
        json(&args.iter().map(String::as_str).collect::<Vec<_>>())
    }

    fn json_chart(&self, range: &[&str]) -> Value {
        let args = self.args(&[&["chart", "--metal", "copper", "--format", "json"], range].concat());
        json(&args.iter().map(String::as_str).collect::<Vec<_>>())
    }

    fn refusal(&self, args: &[&str]) -> String {
        let args = self.args(args);
        refusal(&args.iter().map(String::as_str).collect::<Vec<_>>())
    }

    fn add(&self, temper: &str, mandrel: &str, inside: &str) -> String {
        let wire = ["measured", "add", "--metal", "copper", "--wire", "1.2mm", "--sure", "--temper", temper];
        self.printed(&[&wire[..], &["--mandrel", mandrel, "--inside", inside]].concat())
    }

    fn size(&self, more: &[&str]) -> Value {
        self.json(&[&["size", "--metal", "copper", "--wire", "1.2mm", "--mandrel", "9mm"], more].concat())
    }
}

fn width(figures: &Value) -> f64 {
    figures["spring_ratio_high"].as_f64().unwrap() - figures["spring_ratio_low"].as_f64().unwrap()
}

/// Rings on one mandrel, then on two, narrow the bounds on a third, within the estimate; every command says where
/// the ratio is from.
#[test]
fn rings_on_other_mandrels_are_used_and_named() {
    let workshop = Workshop::new();
    let job = workshop.path("job.toml");
    workshop.add("soft", "4.5mm", "4.56mm,4.55mm");
    let supposed = workshop.size(&["--estimate"]);
    let one = workshop.size(&[]);
    workshop.add("soft", "12mm", "12.3mm");
    let two = workshop.size(&[]);
    assert!(width(&two) < width(&one) && width(&one) < width(&supposed), "{one} {two}");
    assert!(width(&two) < 0.5 * width(&supposed));
    for figures in [&one, &two] {
        for (key, inside) in [("low", 1.0), ("high", -1.0)] {
            let key = format!("spring_ratio_{key}");
            let by = (figures[&key].as_f64().unwrap() - supposed[&key].as_f64().unwrap()) * inside;
            assert!(by > -1e-9, "{key} beyond the estimate by {by}");
        }
        near(&figures["spring_ratio_estimate"], supposed["spring_ratio"].as_f64().unwrap(), 1e-12);
        // Nothing was measured on this mandrel itself.
        assert_eq!(figures["spring_ratio_measured"], Value::from(false));
    }
    assert_eq!(two["spring_ratio_learned_from_mandrels_mm"], serde_json::json!([4.5, 12.0]));
    assert_eq!(two["spring_ratio_learned_from_rings"], 3);
    assert_eq!(supposed["spring_ratio_learned_from_rings"], Value::Null);
    let plan = workshop.json(&["plan", &job]);
    for key in ["spring_ratio", "spring_ratio_low", "spring_ratio_high"] {
        near(&plan[key], two[key].as_f64().unwrap(), 1e-12);
    }
    assert_eq!(plan["spring_ratio_learned_from_mandrels_mm"], two["spring_ratio_learned_from_mandrels_mm"]);
    let range = ["--wires", "1.2mm,1.3mm", "--mandrels", "4.5mm,9mm"];
    let chart = workshop.json_chart(&range);
    near(&chart["cells"][2]["assumed_spring_ratio"], two["spring_ratio"].as_f64().unwrap(), 1e-12);
    assert_eq!(chart["cells"][2]["spring_ratio_measured"], Value::from(false));
    assert_eq!(chart["cells"][0]["spring_ratio_measured"], Value::from(true));
    assert_eq!(chart["cells"][3]["spring_ratio_learned_from_rings"], Value::Null);
    let words = "learned from 3 rings on 4.5 and 12 mm";
    let size = ["size", "--metal", "copper", "--wire", "1.2mm", "--mandrel", "9mm"];
    let chart = [&["chart", "--metal", "copper"][..], &range].concat();
    for args in [&["plan", &job][..], &size, &["wind", &job], &chart] {
        let text = workshop.printed(args);
        assert!(text.contains(words), "{args:?}: {text}");
    }
    // What is given counts before it, and --estimate leaves it aside.
    near(&workshop.size(&["--spring-ratio", "1.03"])["spring_ratio"], 1.03, 1e-12);
    assert!(!workshop.printed(&[&size[..], &["--estimate"]].concat()).contains("learned"));
    // Wire of another diameter or temper knows nothing of it.
    for other in [["--wire", "1.3mm"], ["--temper", "hard"]] {
        let wire: &[&str] = if other[0] == "--wire" { &[] } else { &["--wire", "1.2mm"] };
        let args = [&["size", "--metal", "copper", "--mandrel", "9mm"], wire, &other].concat();
        assert_eq!(workshop.json(&args)["spring_ratio_learned_from_rings"], Value::Null, "{other:?}");
    }
}

/// A cell of a chart is the answer of `size` for its wire and mandrel, and that of `plan` for such a job: with the exponent
/// that one ring leaves open, that rings on two mandrels narrow, and with rings that do not fit.
#[test]
fn cells_of_a_chart_agree_with_size_and_plan() {
    let workshop = Workshop::new();
    let job = std::fs::read_to_string(workshop.path("job.toml")).unwrap();
    for (mandrel, inside) in [("4.5mm", "4.56mm"), ("12mm", "12.3mm"), ("6mm", "6.9mm")] {
        workshop.add("soft", mandrel, inside);
        let mandrels = ["3mm", "4.5mm", "7mm", "9mm", "12mm"];
        let list = mandrels.join(",");
        let chart = workshop.json_chart(&["--wires", "1.2mm", "--mandrels", &list, "--of", "inner"]);
        for (mandrel, cell) in mandrels.iter().zip(chart["cells"].as_array().unwrap()) {
            let size = workshop.json(&["size", "--metal", "copper", "--wire", "1.2mm", "--mandrel", mandrel]);
            for end in ["", "_low", "_high"] {
                let of_size = size[format!("spring_ratio{end}")].as_f64().unwrap();
                near(&cell[format!("assumed_spring_ratio{end}")], of_size, 1e-12);
                let key = format!("closed_inner_diameter_mm{end}");
                near(&cell[&key], size[&key].as_f64().unwrap(), 1e-12);
            }
            let path = workshop.path("other.toml");
            std::fs::write(&path, job.replace("9mm", mandrel)).unwrap();
            let plan = workshop.json(&["plan", &path]);
            for end in ["", "_low", "_high"] {
                let key = format!("spring_ratio{end}");
                near(&plan[&key], size[&key].as_f64().unwrap(), 1e-12);
            }
            for key in [
                "spring_ratio_measured",
                "spring_ratio_learned_from_mandrels_mm",
                "spring_ratio_learned_from_rings",
                "gap",
            ] {
                assert_eq!((&cell[key], &plan[key]), (&size[key], &size[key]), "{key} on {mandrel}");
            }
        }
    }
}

/// Rings on the same mandrel count as they always did, whatever others say.
#[test]
fn rings_on_the_same_mandrel_come_first() {
    let workshop = Workshop::new();
    workshop.add("soft", "9mm", "9.2mm");
    let alone = workshop.size(&[]);
    near(&alone["spring_ratio"], 10.4 / 10.2, 1e-9);
    workshop.add("soft", "12mm", "12.3mm");
    let beside = workshop.size(&[]);
    for key in ["spring_ratio", "spring_ratio_low", "spring_ratio_high", "spring_ratio_measured"] {
        assert_eq!(alone[key], beside[key], "{key}");
    }
}

/// The list says which mandrel to measure next, until one more would hardly help: after a ring on a thin mandrel a
/// thick one, whose springback is large beside a caliper's error.
#[test]
fn list_says_which_mandrel_to_measure_next() {
    let workshop = Workshop::new();
    let text = workshop.add("soft", "3mm", "3.05mm");
    assert!(
        text.contains("on any other mandrel: learned from 1 ring on 3 mm measure next: a ring on"),
        "{text}"
    );
    let wire = |workshop: &Workshop| workshop.json(&["measured", "list"])["wires"][0].clone();
    let first = wire(&workshop);
    assert!(first["next_mandrel_mm"].as_f64().unwrap() >= 8.0, "{first}");
    assert!(first["next_narrows_percent"].as_f64().unwrap() > 30.0, "{first}");
    // What is measured there does narrow them.
    let before = width(&workshop.size(&[]));
    workshop.add("soft", "12mm", "12.3mm");
    assert!(width(&workshop.size(&[])) < 0.8 * before);
    let after = wire(&workshop);
    assert_eq!(after["ring_mandrels_mm"], serde_json::json!([3.0, 12.0]));
    assert!(after["next_narrows_percent"].as_f64().unwrap_or(0.0) < 50.0, "{after}");
    assert_eq!(after["misfit"], Value::Null);
}

/// Rings that this metal and temper cannot give: the list says so, with the tempers that fit; the bounds take in both,
/// and the plan warns.
#[test]
fn rings_that_do_not_fit_say_why() {
    let workshop = Workshop::new();
    // Hard copper, noted as soft.
    let text = workshop.add("soft", "12mm", "12.9mm");
    assert!(text.contains("the rings on 12 mm open more than this metal and temper allow"), "{text}");
    assert!(text.contains("hard"), "{text}");
    let wire = workshop.json(&["measured", "list"])["wires"][0].clone();
    assert!(wire["fitting_tempers"].as_array().unwrap().contains(&"hard".into()), "{wire}");
    assert_eq!(wire["next_mandrel_mm"], Value::Null);
    let (learned, supposed) = (workshop.size(&[]), workshop.size(&["--estimate"]));
    assert!(learned["spring_ratio_high"].as_f64() > supposed["spring_ratio_high"].as_f64());
    near(&learned["spring_ratio_low"], supposed["spring_ratio_low"].as_f64().unwrap(), 1e-3);
    let plan = workshop.printed(&["plan", &workshop.path("job.toml")]);
    assert!(plan.contains("Measured rings do not fit this wire"), "{plan}");
    // An outside that was taken for an inside is known by its size.
    let workshop = Workshop::new();
    let text = workshop.add("soft", "12mm", "14.7mm");
    assert!(text.contains("was the outside measured for the inside?"), "{text}");
}

/// Rings that open so far that another mandrel would make no ring: one line that says what was measured. A ratio
/// that is given still counts.
#[test]
fn rings_that_spring_out_elsewhere_are_refused_there() {
    let workshop = Workshop::new();
    workshop.add("soft", "3mm", "5.9mm");
    let size = ["size", "--metal", "copper", "--wire", "1.2mm", "--mandrel", "12mm"];
    let line = workshop.refusal(&size);
    assert!(line.contains("as learned from 1 ring on 3 mm") && line.contains("measured list"), "{line}");
    near(&workshop.json(&[&size[..], &["--spring-ratio", "1.03"]].concat())["spring_ratio"], 1.03, 1e-12);
}
