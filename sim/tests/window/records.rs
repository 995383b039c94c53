//! What the log's file says to the planner: spools, and what was measured.

use std::path::PathBuf;

use egui_kittest::kittest::{NodeT, Queryable};
use turntally_sim::job::DEMO;
use turntally_sim::window::View;

use super::planner::export;
use super::{SIZE, Window, click, says, type_into, window_with_log};

/// A folder with a log in it, as the command line fills it, and the demo job.
pub struct Bench {
    /// The folder: the log is `log.sqlite`.
    pub folder: tempfile::TempDir,
}

impl Bench {
    pub fn new() -> Self {
        let folder = tempfile::tempdir().unwrap();
        std::fs::write(folder.path().join("demo.toml"), DEMO).unwrap();
        Self { folder }
    }

    fn path(&self, name: &str) -> String {
        self.folder.path().join(name).to_str().unwrap().to_owned()
    }

    /// Runs `turntally` with this log.
    pub fn run(&self, args: &[&str]) -> String {
        let output = std::process::Command::new(env!("CARGO_BIN_EXE_turntally"))
            .env("XDG_DATA_HOME", env!("CARGO_TARGET_TMPDIR"))
            .args(args)
            .args(["--log", &self.path("log.sqlite")])
            .output()
            .unwrap();
        assert!(output.status.success(), "{args:?}: {}", String::from_utf8_lossy(&output.stderr));
        String::from_utf8(output.stdout).unwrap()
    }

    /// What it prints, on one line.
    fn line(&self, args: &[&str]) -> String {
        self.run(args).split_whitespace().collect::<Vec<_>>().join(" ")
    }

    fn measure(&self) {
        let wire = ["measured", "add", "--metal", "copper", "--wire", "1.2mm", "--mandrel", "4.5mm"];
        let rings = ["--inside", "4.62mm,4.61mm,4.63mm"];
        self.run(&[&wire[..], &rings, &["--coil-length", "73.5mm", "--turns", "60"]].concat());
    }

    /// The planner with this log, before a job without a gap of its own.
    fn window(&self) -> Window {
        let mut window = window_with_log(SIZE, PathBuf::from(self.path("log.sqlite")), |kept| {
            kept.view = View::Plan;
        });
        let job = DEMO.replace("gap = 0.0", "");
        std::fs::write(self.path("demo.toml"), &job).unwrap();
        window.state_mut().open(&job).unwrap();
        window.run_steps(3);
        window
    }

    fn plan(&self, more: &[&str]) -> String {
        self.run(&[&["plan", &self.path("demo.toml"), "--json"], more].concat())
    }
}

/// The words on the screen that hold these.
fn words(window: &Window, part: &str) -> String {
    let node = window.query_all_by_label_contains(part).next().unwrap_or_else(|| panic!("{part}"));
    let node = node.accesskit_node();
    node.label().or_else(|| node.value()).unwrap_or_default()
}

/// A spool is chosen from the list; the plan says what is left and how far it reaches, as `turntally plan` does.
#[test]
fn a_spool_is_chosen() {
    let bench = Bench::new();
    let wire = ["--metal", "copper", "--wire", "1.2mm"];
    bench.run(&[&["spool", "add", "copper 1"], &wire[..], &["--gross", "206g", "--tare", "112g"]].concat());
    bench.run(&["spool", "add", "thick", "--metal", "copper", "--wire", "2mm", "--holds", "1000g"]);
    let mut window = bench.window();
    assert!(!says(&window, "afterwards"));
    click(&mut window, "spools");
    assert!(says(&window, "copper, 1.2 mm: 9.35 m, 94.00 g (3.316 oz)"));
    window.snapshot("plan-spools");
    click(&mut window, "copper 1");
    let row = words(&window, "it falls short by");
    let printed = bench.line(&["plan", &bench.path("demo.toml"), "--spool", "copper 1"]);
    assert!(printed.contains(&row) && row.starts_with("\"copper 1\" has 9.35 m"), "{row}: {printed}");
    assert!(says(&window, "finishes 9 of 13 coils, 477 rings guaranteed"));
    window.snapshot("plan-spool");
    // Weighed meanwhile: seen when the planner comes up again.
    bench.run(&["spool", "weigh", "copper 1", "--holds", "20m"]);
    click(&mut window, "Bench");
    click(&mut window, "Plan");
    let row = words(&window, "afterwards");
    let printed = bench.line(&["plan", &bench.path("demo.toml"), "--spool", "copper 1"]);
    assert!(printed.contains(&row) && row.starts_with("\"copper 1\" has 20.00 m"), "{row}: {printed}");
    // What does not fit, or does not exist, is reported under the field.
    type_into(&mut window, "Spool", "thick");
    assert!(says(&window, "2 mm"));
    assert!(window.query_by_label("Wind this job").unwrap().accesskit_node().is_disabled());
    type_into(&mut window, "Spool", "tin");
    assert!(says(&window, "no such spool"));
    window.snapshot("plan-no-spool");
    type_into(&mut window, "Spool", "copper 1");
    let plan = export(&mut window, View::Plan, "Plan as JSON…", &bench.path("plan.json"));
    assert_eq!(plan, bench.plan(&["--spool", "copper 1"]));
}

/// What was measured counts, beside the estimate, as for `turntally plan`; and can be left aside.
#[test]
fn what_was_measured_counts() {
    let bench = Bench::new();
    bench.measure();
    let mut window = bench.window();
    let row = words(&window, "as measured on 3 rings");
    let printed = bench.line(&["plan", &bench.path("demo.toml")]);
    assert!(printed.contains(&row) && row.contains("the estimate was"), "{row}: {printed}");
    assert!(says(&window, "as measured on 1 coil"));
    window.snapshot("plan-measured");
    let plan = export(&mut window, View::Plan, "Plan as JSON…", &bench.path("plan.json"));
    assert_eq!(plan, bench.plan(&[]));
    // The bench winds with it, and the chart takes it in that very cell.
    let job = window.state().bench().unwrap().session().job();
    assert!(job.spring_measured && job.learning.is_some());
    let chart =
        ["chart", "--metal", "copper", "--wires", "1.2mm", "--mandrels", "4mm..5mm", "--kerf", "0.4mm"];
    window.state_mut().kept_mut().chart.wires = "1.2mm".to_owned();
    window.state_mut().kept_mut().chart.mandrels = "4mm..5mm".to_owned();
    let csv = export(&mut window, View::Chart, "Chart as CSV…", &bench.path("chart.csv"));
    assert_eq!(csv, bench.run(&[&chart[..], &["--format", "csv"]].concat()));
    // Measured on 4.5 mm, and learned from that for 5 mm: a sum over the section, fibre by fibre, gives 1.02255027 with
    // the flow stress going as the strain to the power of 0.2, the middle of what is taken for soft wire.
    assert!(csv.contains("1.0210526") && csv.contains("1.0225502"), "{csv}");
    let estimated = bench.run(&[&chart[..], &["--format", "csv", "--estimate"]].concat());
    assert!(estimated.contains("1.0109512"), "{estimated}");
    click(&mut window, "Plan");
    click(&mut window, "Leave aside what was measured");
    assert!(says(&window, ", estimated") && !says(&window, "as measured on"));
    let plan = export(&mut window, View::Plan, "Plan as JSON…", &bench.path("plan.json"));
    assert_eq!(plan, bench.plan(&["--estimate"]));
    assert!(window.state().kept().estimate);
    click(&mut window, "Leave aside what was measured");
    assert!(says(&window, "as measured on 3 rings"));
}

/// A file that is no log is reported, and planning goes on without it.
#[test]
fn a_file_that_is_no_log_is_reported() {
    let bench = Bench::new();
    std::fs::write(bench.path("log.sqlite"), "this is no database\n".repeat(100)).unwrap();
    let mut window = bench.window();
    assert!(says(&window, "not a database") && says(&window, ", estimated"));
    click(&mut window, "Log");
    click(&mut window, "Counters");
    for _ in 0..400 {
        window.step();
        std::thread::sleep(std::time::Duration::from_millis(5));
        if says(&window, "not a database") {
            return;
        }
    }
    panic!("the log says nothing");
}
