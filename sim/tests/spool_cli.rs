//! Spools: what is on them, what coils take off, and the warning before one runs out.
#![cfg(feature = "link")]
#![allow(clippy::unwrap_used, clippy::panic, reason = "a test that cannot go on should stop")]

mod run;

use std::path::Path;

use run::{json, near, printed, refusal};
use serde_json::Value;
use turntally_core::bench::log::{CoilLog, Counted, LogEvent, entry_bytes};
use turntally_core::bench::{ErrorBound, Faults};
use turntally_core::link::SentEntry;
use turntally_core::time::Duration;
use turntally_core::units::{Length, Turns};
use turntally_sim::job::Job;
use turntally_sim::link::planned;
use turntally_sim::lookup::LookupArgs;
use turntally_sim::records;
use turntally_sim::records::Records;
use turntally_sim::records::batch::Batch;

/// A job whose spool has copper wire of 8.94 g/cm3, 1.2 mm.
const JOB: &str = "[job]\nname = \"chain\"\nrings = 500\n[wire]\nmetal = \"copper\"\nsize = \"1.2mm\"\nspring_ratio = 1.02\n\
                   density_g_cm3 = 8.94\nspool = \"copper 1\"\n[mandrel]\ndiameter = \"4.5mm\"\n\
                   [winder]\npulses_per_rev = 400\n[cutter]\ncoil_max = \"70mm\"\nkerf = \"0.4mm\"\n";

/// Grams in a millimetre of that wire: 8.94e-3 x pi/4 x 1.2^2.
const GRAMS_A_MM: f64 = 8.94e-3 * std::f64::consts::FRAC_PI_4 * 1.44;

struct Workshop {
    /// Gone with the test.
    _folder: tempfile::TempDir,
    log: String,
    job: String,
}

impl Workshop {
    /// With this much on the spool.
    fn with(amount: &[&str]) -> Self {
        let workshop = Self::empty();
        let add = ["spool", "add", "copper 1", "--metal", "C11000", "--wire", "1.2mm", "--density", "8.94"];
        printed(&[&add, amount, &["--log", &workshop.log]].concat());
        workshop
    }

    fn empty() -> Self {
        let folder = tempfile::tempdir().unwrap();
        let path = |name: &str| folder.path().join(name).to_str().unwrap().to_owned();
        let (log, job) = (path("log.sqlite"), path("job.toml"));
        std::fs::write(&job, JOB).unwrap();
        Self { _folder: folder, log, job }
    }

    fn run(&self, args: &[&str]) -> String {
        printed(&[args, &["--log", &self.log]].concat())
    }

    fn json(&self, args: &[&str]) -> Value {
        json(&[args, &["--json", "--log", &self.log]].concat())
    }

    fn refusal(&self, args: &[&str]) -> String {
        refusal(&[args, &["--log", &self.log]].concat())
    }

    fn left_mm(&self) -> f64 {
        self.json(&["spool", "list"])["spools"][0]["left_mm"].as_f64().unwrap()
    }

    /// The job sent to a counter, as `link send` notes it; the number of its batch.
    fn send(&self, records: &mut Records, counter: u64) -> u32 {
        let known = LookupArgs { log: Some(self.log.clone().into()), estimate: false };
        let job = Job::load(Path::new(&self.job), &records::lookup(&known).unwrap()).unwrap();
        let planned = planned(&job).unwrap();
        records.add_batch(&planned, &Batch::of(&job, counter)).unwrap()
    }
}

fn coil(number: u32, batch: u32, kept: bool, wire_mm: i64, at: Option<u64>) -> SentEntry {
    let event = LogEvent::Coil(CoilLog {
        counted: Counted {
            job: 5,
            batch,
            rings: if kept { 50 } else { 0 },
            kept,
            wire: Length::from_um(wire_mm * 1_000),
        },
        name: "chain".try_into().unwrap(),
        target: Turns::from_whole(52),
        turns: Turns::from_whole(52),
        crank_time: Duration::ZERO,
        stop_time: None,
        error_bound: ErrorBound::Within(0),
        illegal: 0,
        faults: Faults::default(),
        at,
    });
    SentEntry { from: number, number, bytes: entry_bytes(number, &event.to_bytes()) }
}

fn now() -> u64 {
    std::time::SystemTime::now().duration_since(std::time::UNIX_EPOCH).unwrap().as_secs()
}

/// Coils take their wire off the spool of their job once, kept or thrown away; other jobs' coils and what
/// came off before it was weighed take none.
#[test]
fn coils_take_their_wire_off_once() {
    let workshop = Workshop::with(&["--holds", "20m"]);
    let mut records = Records::open(Path::new(&workshop.log)).unwrap();
    let before = coil(0, 1, true, 5_000, None);
    assert_eq!(records.add(1, &[before]).unwrap(), 1);
    let job = workshop.send(&mut records, 1);
    let coils = [coil(1, job, true, 1_000, Some(now())), coil(2, job, false, 400, None)];
    assert_eq!(records.add(1, &coils).unwrap(), 2);
    assert_eq!(records.add(1, &coils).unwrap(), 0, "the same again are no new ones");
    assert!((workshop.left_mm() - 18_600.0).abs() < 1e-9, "{}", workshop.left_mm());
    // Of another counter it is another coil; of another batch it is no wire of this spool.
    let second = workshop.send(&mut records, 2);
    records
        .add(2, &[coil(1, second, true, 1_000, Some(now())), coil(3, second ^ 1, true, 1_000, Some(now()))])
        .unwrap();
    assert!((workshop.left_mm() - 17_600.0).abs() < 1e-9);
    let log = workshop.json(&["log"]);
    let of_first: Vec<Option<f64>> =
        log["coils"].as_array().unwrap()[..3].iter().map(|coil| coil["spool_left_mm"].as_f64()).collect();
    assert_eq!(of_first, [None, Some(19_000.0), Some(18_600.0)]);
    near(&log["coils"][2]["spool_left_g"], 18_600.0 * GRAMS_A_MM, 1e-9);
    near(&log["spools"][0]["left_g"], 17_600.0 * GRAMS_A_MM, 1e-9);
    assert!(
        workshop.run(&["log"]).contains("left on \"copper 1\": 17.60 m, 178.0 g"),
        "{}",
        workshop.run(&["log"])
    );
    // Weighed: 100 g with a spool of 30 g. A coil from an hour ago, fetched late, is no longer in that.
    workshop.run(&["spool", "weigh", "copper 1", "--gross", "130g", "--tare", "30g"]);
    records.add(1, &[coil(4, job, true, 1_000, Some(now() - 3_600))]).unwrap();
    let left = 100.0 / GRAMS_A_MM;
    assert!((workshop.left_mm() - left).abs() < 1e-5, "{} for {left}", workshop.left_mm());
    // The job goes on without a spool: its coils take none.
    std::fs::write(&workshop.job, JOB.replace("spool = \"copper 1\"\n", "")).unwrap();
    let without = workshop.send(&mut records, 1);
    assert_ne!(without, job);
    records.add(1, &[coil(5, without, true, 1_000, Some(now()))]).unwrap();
    assert!((workshop.left_mm() - left).abs() < 1e-5);
    // A tare that is known need not be given again.
    workshop.run(&["spool", "weigh", "copper 1", "--gross", "80g"]);
    assert!((workshop.left_mm() - left / 2.0).abs() < 1e-5);
}

/// By hand: a turn takes sqrt((pi 5.7)^2 + 1.2^2) = 17.947241 mm, and so many turns for 500 rings as the plan
/// says. A spool that holds three coils and a half finishes three, with a warning before the fourth.
#[test]
fn plan_says_how_far_the_spool_reaches() {
    let workshop = Workshop::with(&["--holds", "100m"]);
    let plan = workshop.json(&["plan", &workshop.job]);
    let coils = plan["coils"].as_array().unwrap();
    let each = coils[0]["wound_turns"].as_f64().unwrap() * 17.947_240_65;
    near(&coils[0]["wire_mm"], each, 1e-8);
    assert_eq!(plan["spool_coils"], plan["coil_count"]);
    let total = plan["wire_total_mm"].as_f64().unwrap();
    near(&plan["spool_after_mm"], 100_000.0 - total, 1e-6);
    near(&plan["spool_left_g"], 100_000.0 * GRAMS_A_MM, 1e-9);
    let holds = format!("{}mm", each * 3.5);
    workshop.run(&["spool", "weigh", "copper 1", "--holds", &holds]);
    let plan = workshop.json(&["plan", &workshop.job]);
    assert_eq!(
        (&plan["spool_coils"], plan["spool_rings"].as_u64()),
        (&3.into(), Some(3 * plan["coils"][0]["rings"].as_u64().unwrap()))
    );
    near(&plan["spool_after_mm"], each * 3.5 - total, 1e-6);
    let text = workshop.run(&["plan", &workshop.job]).replace("\n    ", " ");
    assert!(text.contains("finishes 3 of") && text.contains("it cannot finish coil 4."), "{text}");
    // On the very last millimetre it lasts only if every stop is in time.
    workshop.run(&["spool", "weigh", "copper 1", "--holds", &format!("{}mm", total + 5.0)]);
    let plan = workshop.json(&["plan", &workshop.job]);
    assert_eq!(plan["spool_coils"], plan["coil_count"]);
    assert!(plan["warnings"].to_string().contains("lasts only if no coil is stopped late"), "{plan}");
    // And, if it was weighed, only if its wire is as thick and as dense as it is taken for.
    assert!(plan["warnings"].to_string().contains("may not last"), "{plan}");
    let after = |key: &str| plan[key].as_f64().unwrap();
    assert!(after("spool_after_low_mm") < -50.0 && after("spool_after_high_mm") > 50.0, "{plan}");
    assert!(after("spool_after_low_g") < -0.5 && after("spool_after_high_g") > 0.5, "{plan}");
}

/// On the simulated bench what is left is printed after each coil, and a coil that cannot be finished before it;
/// nothing comes off the spool itself.
#[test]
fn bench_warns_before_the_coil_that_cannot_be_finished() {
    let workshop = Workshop::with(&["--holds", "2.5m"]);
    let text = workshop.run(&["wind", &workshop.job]);
    let lines: Vec<&str> = text.lines().collect();
    assert!(lines[0].starts_with("left on \"copper 1\": 2.50 m"), "{text}");
    let coils: Vec<usize> = (0..lines.len()).filter(|&i| lines[i].starts_with("target")).collect();
    let warned = lines.iter().position(|line| line.starts_with("warning")).unwrap();
    // Two coils of about a metre, then half a metre is left.
    assert!(coils[1] < warned && warned < coils[2], "{text}");
    assert!(lines[warned].contains("cannot finish coil 3"), "{text}");
    assert!((workshop.left_mm() - 2_500.0).abs() < 1e-9);
    let report = workshop.json(&["wind", &workshop.job]);
    let turns: f64 =
        report["coils"].as_array().unwrap().iter().map(|coil| coil["counted_turns"].as_f64().unwrap()).sum();
    near(&report["spool_left_mm"], 2_500.0 - turns * 17.947_240_65, 1e-6);
}

/// The price of a spool counts where the job has none; an option takes another spool.
#[test]
fn price_and_choice_of_a_spool() {
    let workshop = Workshop::with(&["--holds", "1kg", "--price-per-kg", "18", "--currency", "EUR"]);
    let plan = workshop.json(&["plan", &workshop.job]);
    near(&plan["cost"], plan["wire_mass_g"].as_f64().unwrap() * 0.018, 1e-9);
    let other =
        ["spool", "add", "old", "--metal", "copper", "--wire", "1.2mm", "--gross", "150g", "--tare", "50g"];
    workshop.run(&other);
    assert_eq!(workshop.json(&["plan", &workshop.job, "--spool", "old"])["spool"], "old");
    assert_eq!(workshop.json(&["spool", "list"])["spools"].as_array().unwrap().len(), 2);
    workshop.run(&["spool", "drop", "old"]);
    assert!(
        workshop.refusal(&["plan", &workshop.job, "--spool", "old"]).contains("--spool 'old': no such spool")
    );
}

/// What is wrong is one line, and changes nothing.
#[test]
fn wrong_spools_are_one_line() {
    let workshop = Workshop::empty();
    let add = ["spool", "add", "s", "--metal", "copper", "--wire", "1.2mm"];
    let table: &[(&[&str], &[&str])] = &[
        (&[], &["--holds"]),
        (&["--holds", "100"], &["--holds", "unit"]),
        (&["--holds", "2000km"], &["--holds"]),
        (&["--gross", "100g"], &["--gross '100 g'", "give --tare"]),
        (&["--gross", "100g", "--tare", "120g"], &["less than the empty spool, 120 g"]),
        (&["--holds", "1kg", "--gross", "1kg"], &["cannot be used with"]),
        (&["--holds", "1kg", "--price-per-kg", "-1"], &["--price-per-kg '-1'", "0 to 1000000000"]),
        (&["--holds", "1kg", "--currency", "EUR"], &["--price-per-kg"]),
    ];
    for (extra, parts) in table {
        let line = workshop.refusal(&[&add, *extra].concat());
        for part in *parts {
            assert!(line.contains(part), "{extra:?}: no '{part}' in: {line}");
        }
    }
    let metal = ["spool", "add", "s", "--metal", "mystery", "--wire", "1.2mm", "--holds", "1kg"];
    assert!(workshop.refusal(&metal).contains("give --density"));
    assert!(!Path::new(&workshop.log).exists());
    assert!(refusal(&["plan", &workshop.job]).contains("wire.spool 'copper 1': no such spool"));
    workshop.run(&[&add[..], &["--holds", "1kg"]].concat());
    assert!(
        workshop.refusal(&[&add[..], &["--holds", "1kg"]].concat()).contains("there is a spool of that name")
    );
    assert!(workshop.refusal(&["spool", "weigh", "t", "--holds", "1kg"]).contains("no such spool"));
    assert!(workshop.refusal(&["spool", "drop", "t"]).contains("no such spool"));
    // A spool of another wire is not this job's.
    let thin = ["spool", "add", "thin", "--metal", "copper", "--wire", "1mm", "--holds", "1kg"];
    workshop.run(&thin);
    let line = workshop.refusal(&["plan", &workshop.job, "--spool", "thin"]);
    assert!(line.contains("--spool 'thin': there is copper of 1 mm on it, and not copper of 1.2 mm"));
}
