//! Measurements of the wire on a spool, and which of them count for whom.
#![cfg(feature = "link")]
#![allow(clippy::unwrap_used, clippy::panic, reason = "a test that cannot go on should stop")]

mod run;

use run::{json, near, printed, refusal};
use serde_json::Value;
use tempfile::TempDir;

const SIZE: &[&str] = &["size", "--metal", "copper", "--wire", "1.2mm", "--mandrel", "4.5mm"];

/// A folder with a log in which there are two spools of soft copper wire of 1.2 mm, and a job of such wire.
struct Workshop(TempDir);

impl Workshop {
    fn new() -> Self {
        let workshop = Self(tempfile::tempdir().unwrap());
        let job = "[job]\nrings = 200\n[wire]\nmetal = \"C11000\"\nsize = \"1.2mm\"\n[mandrel]\ndiameter = \"4.5mm\"\n\
                   [winder]\npulses_per_rev = 400\n[cutter]\ncoil_max = \"70mm\"\n";
        std::fs::write(workshop.path("job.toml"), job).unwrap();
        for (name, temper) in [("one", &["--temper", "soft"][..]), ("two", &[])] {
            let add = ["spool", "add", name, "--metal", "copper", "--wire", "1.2mm", "--holds", "1kg"];
            workshop.run(&[&add[..], temper].concat());
        }
        workshop
    }

    fn path(&self, name: &str) -> String {
        self.0.path().join(name).to_str().unwrap().to_owned()
    }

    fn run(&self, args: &[&str]) -> String {
        let log = self.path("log.sqlite");
        let text = printed(&[args, &["--log", &log]].concat());
        text.split_whitespace().collect::<Vec<_>>().join(" ")
    }

    fn json(&self, args: &[&str]) -> Value {
        let log = self.path("log.sqlite");
        json(&[args, &["--json", "--log", &log]].concat())
    }

    fn refusal(&self, args: &[&str]) -> String {
        let log = self.path("log.sqlite");
        refusal(&[args, &["--log", &log]].concat())
    }

    /// Adds a ring of the spool, or of wire of no spool, and its spring ratio.
    fn ring(&self, spool: Option<&str>, mandrel_mm: f64, inside_mm: f64) -> f64 {
        let (mandrel, inside) = (format!("{mandrel_mm}mm"), format!("{inside_mm}mm"));
        let wire = match spool {
            Some(name) => vec!["--spool", name],
            None => vec!["--metal", "copper", "--wire", "1.2mm"],
        };
        let ring = ["--mandrel", &mandrel, "--inside", &inside];
        self.run(&[&["measured", "add"], &wire[..], &ring].concat());
        (inside_mm + 1.2) / (mandrel_mm + 1.2)
    }

    fn plan(&self, spool: &[&str]) -> Value {
        self.json(&[&["plan", &self.path("job.toml")], spool].concat())
    }
}

/// A job on a spool goes by the spool's own rings; a spool without any by those of no spool; a job without a spool by
/// all of that wire.
#[test]
fn a_spool_goes_by_its_own_measurements() {
    let workshop = Workshop::new();
    let none = workshop.ring(None, 4.5, 4.60);
    let one = workshop.ring(Some("one"), 4.5, 4.56);
    for (spool, want, words) in [
        (&["--spool", "one"][..], one, "as measured on 1 ring of spool \"one\";"),
        (&["--spool", "two"], none, "as measured on 1 ring;"),
        (&[], f64::midpoint(one, none), "as measured on 2 rings of spool \"one\" and of no spool;"),
    ] {
        near(&workshop.plan(spool)["spring_ratio"], want, 1e-9);
        near(&workshop.json(&[SIZE, spool].concat())["spring_ratio"], want, 1e-9);
        let chart = ["chart", "--metal", "copper", "--wires", "1.2mm", "--mandrels", "4.5mm"];
        let log = ["--log", &workshop.path("log.sqlite"), "--format", "json"];
        near(&json(&[&chart[..], spool, &log].concat())["cells"][0]["assumed_spring_ratio"], want, 1e-9);
        for args in
            [&["plan", &workshop.path("job.toml")][..], SIZE, &["wind", &workshop.path("job.toml")], &chart]
        {
            let text = workshop.run(&[args, spool].concat());
            assert!(text.contains(words), "{args:?} {spool:?}: {text}");
        }
    }
    // A job names its spool in its file too.
    let text = std::fs::read_to_string(workshop.path("job.toml")).unwrap();
    let text = text.replace("[mandrel]", "spool = \"one\"\n[mandrel]");
    std::fs::write(workshop.path("job.toml"), text).unwrap();
    near(&workshop.plan(&[])["spring_ratio"], one, 1e-9);
    near(&workshop.plan(&["--spool", "two"])["spring_ratio"], none, 1e-9);
    // The chart's other wires are on no spool, and go by all that was measured of them.
    let other =
        ["measured", "add", "--metal", "copper", "--wire", "1mm", "--mandrel", "4.5mm", "--inside", "4.6mm"];
    workshop.run(&other);
    let chart = ["chart", "--metal", "copper", "--wires", "1mm", "--mandrels", "4.5mm", "--spool", "one"];
    let log = ["--log", &workshop.path("log.sqlite"), "--format", "json"];
    near(&json(&[&chart[..], &log].concat())["cells"][0]["assumed_spring_ratio"], 5.6 / 5.5, 1e-9);
}

/// On other mandrels likewise, and the words name the spool.
#[test]
fn rings_of_a_spool_serve_its_other_mandrels() {
    let workshop = Workshop::new();
    workshop.ring(None, 9.0, 9.35);
    workshop.ring(Some("one"), 9.0, 9.2);
    workshop.ring(Some("one"), 11.0, 11.3);
    let [one, two] = ["one", "two"].map(|name| workshop.plan(&["--spool", name]));
    assert!(
        one["spring_ratio_high"].as_f64() < two["spring_ratio_low"].as_f64().map(|low| low + 0.01),
        "{one}\n{two}"
    );
    assert_eq!(one["spring_ratio_learned_from_rings"], 2);
    assert_eq!(two["spring_ratio_learned_from_mandrels_mm"], serde_json::json!([9.0]));
    assert_ne!(one["spring_ratio"], two["spring_ratio"]);
    let plan = workshop.run(&["plan", &workshop.path("job.toml"), "--spool", "one"]);
    assert!(plan.contains("learned from 2 rings of spool \"one\" on 9 and 11 mm"), "{plan}");
    let plan = workshop.run(&["plan", &workshop.path("job.toml"), "--spool", "two"]);
    assert!(plan.contains("learned from 1 ring on 9 mm"), "{plan}");
}

/// What was measured is listed under its spool, in words and in JSON.
#[test]
fn the_list_shows_the_spool() {
    let workshop = Workshop::new();
    workshop.ring(None, 4.5, 4.6);
    workshop.ring(Some("one"), 4.5, 4.56);
    let text = workshop.run(&["measured", "list"]);
    assert!(text.contains("copper, soft, 1.2 mm on a mandrel of 4.5 mm 1 ring of 4.6 mm inside"), "{text}");
    assert!(
        text.contains("copper, soft, 1.2 mm, spool \"one\" on a mandrel of 4.5 mm 2 ring of 4.56"),
        "{text}"
    );
    assert!(
        text.contains("copper, soft, 1.2 mm, spool \"one\" on any other mandrel: learned from 1 ring"),
        "{text}"
    );
    let list = workshop.json(&["measured", "list"]);
    for group in ["measured", "wires"] {
        let spools: Vec<&Value> = list[group].as_array().unwrap().iter().map(|one| &one["spool"]).collect();
        assert_eq!(spools, [&Value::Null, &"one".into()], "{list}");
    }
}

/// What contradicts the spool, or is of none, is one line, and nothing is stored.
#[test]
fn options_that_contradict_the_spool_are_refused() {
    let workshop = Workshop::new();
    let ring = ["measured", "add", "--mandrel", "4.5mm", "--inside", "4.6mm"];
    for (extra, part) in [
        (
            &["--spool", "one", "--metal", "brass"][..],
            "--spool 'one': there is soft copper of 1.2 mm on it, and not soft",
        ),
        (&["--spool", "one", "--wire", "1.1mm"], "and not soft copper of 1.1 mm"),
        (&["--spool", "one", "--temper", "hard"], "and not hard copper of 1.2 mm"),
        (&["--spool", "two", "--wire", "1.1mm"], "there is copper of 1.2 mm on it, and not copper of 1.1 mm"),
        (&["--spool", "one", "--coating", "0.02mm"], "taken as bare: leave out --coating or the spool"),
        (&["--spool", "three"], "--spool 'three': no such spool"),
        (&["--metal", "copper"], "--wire"),
    ] {
        let line = workshop.refusal(&[&ring[..], extra].concat());
        assert!(line.contains(part), "no '{part}' in: {line}");
    }
    assert_eq!(workshop.json(&["measured", "list"])["measured"], serde_json::json!([]));
    // A job of other wire too.
    for (args, part) in [
        (&["--temper", "hard"][..], "--spool 'one': there is soft copper"),
        (&["--coating", "0.02mm"], "leave out --coating"),
    ] {
        let line = workshop.refusal(&[SIZE, &["--spool", "one"], args].concat());
        assert!(line.contains(part), "no '{part}' in: {line}");
    }
    // What agrees may be given. A spool whose temper is not known takes any.
    workshop.run(
        &[&ring[..], &["--spool", "one", "--metal", "C11000", "--wire", "1.2mm", "--temper", "soft"]]
            .concat(),
    );
    let hard =
        ["measured", "add", "--mandrel", "4.5mm", "--inside", "4.7mm", "--spool", "two", "--temper", "hard"];
    workshop.run(&hard);
    assert_eq!(workshop.json(&["measured", "list"])["measured"][0]["temper"], "hard");
}

/// Without its spool what was measured still counts for jobs of such wire without a spool, for no other spool; a spool
/// that is added again under the name has it.
#[test]
fn measurements_outlive_their_spool() {
    let workshop = Workshop::new();
    let one = workshop.ring(Some("one"), 4.5, 4.56);
    workshop.run(&["spool", "drop", "one"]);
    near(&workshop.plan(&[])["spring_ratio"], one, 1e-9);
    assert_eq!(workshop.plan(&["--spool", "two"])["spring_ratio_measured"], false);
    assert_eq!(workshop.json(&["measured", "list"])["measured"][0]["spool"], "one");
    let again = ["spool", "add", "one", "--metal", "copper", "--wire", "1.2mm", "--holds", "1kg"];
    let text = workshop.run(&again);
    assert!(text.contains("1 measurement of an earlier spool of this name"), "{text}");
    near(&workshop.plan(&["--spool", "one"])["spring_ratio"], one, 1e-9);
}
