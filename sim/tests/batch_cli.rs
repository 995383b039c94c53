//! Batches as a person sends and sums them up: over a pseudo-terminal, with a counter whose keys the test presses.
#![cfg(all(feature = "link", unix))]
#![allow(clippy::unwrap_used, reason = "a test may stop where it stands")]

use std::io::{BufRead, BufReader, Read};
use std::process::{Command, Stdio};
use std::time::Duration;

use serde_json::Value;
use turntally_core::input::Key;

#[allow(dead_code, reason = "the window's tests use the rest")]
#[path = "window/counter.rs"]
mod counter;
mod run;

use counter::Counter;
use run::{json, near, printed};

fn job(name: &str, price: &str) -> String {
    format!(
        "[job]\nname = \"{name}\"\nrings = 60\n[wire]\nmetal = \"copper\"\nsize = \"1.2mm\"\ndensity_g_cm3 = 8.94\n\
         price_per_kg = {price}\ncurrency = \"EUR\"\n[mandrel]\ndiameter = \"4.5mm\"\n[winder]\npulses_per_rev = 400\n\
         [cutter]\ncoil_max = \"18mm\"\nkerf = \"0.4mm\"\n"
    )
}

/// A counter, a job file and a log.
struct Desk {
    counter: Counter,
    folder: tempfile::TempDir,
}

impl Desk {
    fn new() -> Self {
        let counter = Counter::with(&job("there before", "1.0"));
        Self { counter, folder: tempfile::tempdir().unwrap() }
    }

    fn path(&self, name: &str) -> String {
        self.folder.path().join(name).to_str().unwrap().to_owned()
    }

    fn port(&self) -> &str {
        self.counter.port.to_str().unwrap()
    }

    /// Sends a job, and presses a key once it is on the counter's screen; what the program says meanwhile, and
    /// its exit status.
    fn send(&self, job: &str, options: &[&str], key: Key) -> (String, Option<i32>) {
        let (file, log) = (self.path("job.toml"), self.path("log.sqlite"));
        std::fs::write(&file, job).unwrap();
        let args = [&["link", "send", &file, "--log", &log, "--port", self.port()], options].concat();
        let mut child = Command::new(env!("CARGO_BIN_EXE_turntally"))
            .env("XDG_DATA_HOME", env!("CARGO_TARGET_TMPDIR"))
            .args(args)
            .stdout(Stdio::null())
            .stderr(Stdio::piped())
            .spawn()
            .unwrap();
        let mut stderr = BufReader::new(child.stderr.take().unwrap());
        let mut words = String::new();
        while !words.contains("press Yes there") {
            assert!(stderr.read_line(&mut words).unwrap() > 0, "{words}");
        }
        // It takes no key at once.
        std::thread::sleep(Duration::from_millis(500));
        self.counter.press(key);
        stderr.read_to_string(&mut words).unwrap();
        (words, child.wait().unwrap().code())
    }

    /// Winds a coil of the job that was sent last, keeps it and fetches it.
    fn winds_a_coil(&self) {
        let plan = json(&["plan", &self.path("job.toml"), "--json"]);
        self.counter.wind(plan["coils"][0]["wound_turns"].as_f64().unwrap() + 0.02);
        self.counter.keep();
        self.counter.done();
        self.fetch();
    }

    fn fetch(&self) {
        printed(&["link", "fetch", "--log", &self.path("log.sqlite"), "--port", self.port()]);
    }

    /// The batches of the log, in the order of their first coils.
    fn batches(&self) -> Vec<Value> {
        let report = json(&["log", "--json", "--log", &self.path("log.sqlite")]);
        report["batches"].as_array().unwrap().clone()
    }
}

/// What a batch costs is fixed when it is sent: a later price changes nothing of it, whether the user takes that or
/// not, and holds for the batch that is wound at it.
#[test]
fn later_price_changes_no_batch_before() {
    let desk = Desk::new();
    let (words, status) = desk.send(&job("chain", "18.0"), &[], Key::Yes);
    assert!(words.contains(", new)") && status == Some(0), "{words}");
    desk.winds_a_coil();
    let first = desk.batches();
    near(&first[0]["cost"], first[0]["wire_g"].as_f64().unwrap() * 0.018, 1e-9);
    let (words, status) = desk.send(&job("chain", "36.0"), &[], Key::No);
    assert!(words.contains("did not take it") && status == Some(2), "{words}");
    assert_eq!(desk.batches(), first, "nobody pressed Yes");
    let (words, _) = desk.send(&job("chain", "36.0"), &[], Key::Yes);
    assert!(words.contains(", new)"), "{words}");
    desk.winds_a_coil();
    let both = desk.batches();
    assert_eq!((both.len(), &both[0]), (2, &first[0]));
    assert_eq!(both[1]["coils_kept"], 1);
    near(&both[1]["cost"], both[1]["wire_g"].as_f64().unwrap() * 0.036, 1e-9);
    assert_eq!(both[0]["job_fingerprint"], both[1]["job_fingerprint"]);
    let sums = printed(&["log", "--sum", "--log", &desk.path("log.sqlite")]);
    assert!(sums.lines().count() == 2 && sums.contains("rings per hour of crank time"), "{sums}");
    let list = printed(&["log", "--log", &desk.path("log.sqlite")]);
    let heads: Vec<&str> = list.lines().take(2).collect();
    assert!(heads[0] == "counter 0000000000005eed" && heads[1].contains("off, UTC"), "{list}");
    for (line, batch) in list.lines().skip(2).zip(&both) {
        assert!(line.contains(&batch["batch"].to_string()), "{list}");
    }
}

/// The same job sent again goes on with its batch; forced, or once the batch is finished, it is a new one.
#[test]
fn same_job_goes_on_with_its_batch() {
    let desk = Desk::new();
    let job = job("chain", "18.0");
    desk.send(&job, &[], Key::Yes);
    desk.winds_a_coil();
    let (words, _) = desk.send(&job, &[], Key::No);
    assert!(words.contains("going on at") && words.contains("in 1 coils"), "{words}");
    let (words, _) = desk.send(&job, &[], Key::Yes);
    assert!(words.contains("going on at"), "{words}");
    desk.winds_a_coil();
    let batches = desk.batches();
    assert_eq!((batches.len(), &batches[0]["coils_kept"]), (1, &2.into()));
    let (words, _) = desk.send(&job, &["--new-batch"], Key::Yes);
    assert!(words.contains(", new)"), "{words}");
    desk.winds_a_coil();
    let batches = desk.batches();
    assert_eq!((batches.len(), &batches[1]["coils_kept"]), (2, &1.into()));
}

/// Two orders whose names begin alike stay two, with a notice that the counter shortens them.
#[test]
fn names_that_begin_alike_stay_apart() {
    let desk = Desk::new();
    let names = ["Bracelet for the wedding of Ana", "Bracelet for the wedding of Bea"];
    for name in names {
        let (words, status) = desk.send(&job(name, "18.0"), &[], Key::Yes);
        assert_eq!(status, Some(0), "{words}");
        assert!(words.contains("the counter shows the name as \"Bracelet for the wedd...\""), "{words}");
        desk.winds_a_coil();
    }
    let batches = desk.batches();
    let found: Vec<_> = batches.iter().map(|batch| batch["job"].as_str().unwrap()).collect();
    assert_eq!(found, names);
    let list = printed(&["log", "--log", &desk.path("log.sqlite")]);
    assert!(names.iter().all(|name| list.contains(name)), "{list}");
    let plan = printed(&["plan", &desk.path("job.toml")]);
    assert!(plan.replace("\n    ", " ").contains("the counter shows the name as"), "{plan}");
}
