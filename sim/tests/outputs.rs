//! Where the program writes: never over what it reads, never a file of another kind, and nothing stays behind.
#![cfg(all(feature = "link", unix))]
#![allow(clippy::unwrap_used, clippy::panic, reason = "a test may stop where it stands")]

use std::fs;
use std::os::unix::fs::{MetadataExt, PermissionsExt, symlink};
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};
use std::time::{Duration, Instant};

use turntally_sim::job::DEMO;

const PROGRAM: &str = env!("CARGO_BIN_EXE_turntally");

/// A folder with a job, a log and a place for the user's own data.
struct Bench {
    folder: tempfile::TempDir,
}

impl Bench {
    fn new() -> Self {
        let bench = Self { folder: tempfile::tempdir().unwrap() };
        fs::write(bench.path("job.toml"), DEMO).unwrap();
        bench.good(&[
            "spool", "add", "one", "--metal", "copper", "--wire", "1.2mm", "--holds", "5m", "--log", "a",
        ]);
        bench
    }

    fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    fn command(&self, args: &[&str]) -> Command {
        let mut command = Command::new(PROGRAM);
        command.current_dir(self.folder.path()).env("XDG_DATA_HOME", self.path("data")).args(args);
        command
    }

    /// The same, with no signal ignored: a shell that runs the tests in the background has them ignore INT, and a
    /// program that is begun so ignores it too.
    fn unignored(&self, args: &[&str]) -> Command {
        if !cfg!(target_os = "linux") {
            return self.command(args);
        }
        let mut command = Command::new("env");
        command.current_dir(self.folder.path()).env("XDG_DATA_HOME", self.path("data"));
        command.args(["--default-signal=INT,TERM,HUP", PROGRAM]).args(args);
        command
    }

    fn run(&self, args: &[&str]) -> Output {
        self.command(args).output().unwrap()
    }

    #[track_caller]
    fn good(&self, args: &[&str]) -> String {
        let output = self.run(args);
        assert!(output.status.success(), "{args:?}: {}", String::from_utf8_lossy(&output.stderr));
        String::from_utf8(output.stdout).unwrap()
    }

    #[track_caller]
    fn refused(&self, args: &[&str], words: &str) {
        let output = self.run(args);
        let error = String::from_utf8(output.stderr).unwrap();
        assert_eq!(output.status.code(), Some(2), "{args:?}: {error}");
        assert!(error.lines().count() == 1 && error.contains(words), "{args:?}: {error}");
    }

    /// Names of what is in the folder, hidden ones too.
    fn names(&self) -> Vec<String> {
        let names = fs::read_dir(self.folder.path()).unwrap();
        let mut names: Vec<_> =
            names.map(|entry| entry.unwrap().file_name().into_string().unwrap()).collect();
        names.sort();
        names
    }
}

/// No command overwrites a file that it reads, by whatever name, and the file stays as it is.
#[test]
fn inputs_are_never_overwritten() {
    let bench = Bench::new();
    symlink(bench.path("a"), bench.path("soft")).unwrap();
    fs::hard_link(bench.path("a"), bench.path("hard")).unwrap();
    let (log, job) = (fs::read(bench.path("a")).unwrap(), fs::read(bench.path("job.toml")).unwrap());
    for to in ["a", "./a", "soft", "hard"] {
        bench.refused(&["log", "--log", "a", "--csv", to], "the file of the log");
        bench.refused(&["plan", "demo", "--log", "a", "--sheet", to], "the file of the log");
        bench.refused(&["wind", "demo", "--log", "a", "--record", to], "the file of the log");
        let chart =
            ["chart", "--metal", "copper", "--wires", "1mm", "--mandrels", "4mm", "--log", "a", "--out", to];
        bench.refused(&chart, "the file of the log");
    }
    bench.refused(&["wind", "job.toml", "--record", "job.toml"], "the job file");
    bench.refused(&["plan", "job.toml", "--sheet", "job.toml"], "the job file");
    assert_eq!((fs::read(bench.path("a")).unwrap(), fs::read(bench.path("job.toml")).unwrap()), (log, job));
    assert_eq!(bench.names(), ["a", "hard", "job.toml", "soft"]);
}

/// A name that says another kind of file is refused; one that says nothing is taken.
#[test]
fn names_of_another_kind_are_refused() {
    let bench = Bench::new();
    bench.refused(&["plan", "demo", "--sheet", "sheet.pdf"], "ends in .html or .htm");
    bench.refused(&["wind", "demo", "--record", "trace.csv"], "ends in .vcd");
    bench.refused(&["log", "--log", "a", "--csv", "coils.xlsx"], "ends in .csv");
    let chart =
        ["chart", "--metal", "copper", "--wires", "1mm", "--mandrels", "4mm", "--format", "svg", "--out"];
    bench.refused(&[&chart[..], &["chart.html"]].concat(), "ends in .svg");
    assert_eq!(bench.names(), ["a", "job.toml"]);
    bench.good(&[&chart[..], &["chart"]].concat());
    bench.good(&["plan", "demo", "--sheet", "SHEET.HTM"]);
}

/// A file that is there keeps its mode, a new one gets what the user's mask leaves, a link is written through, and what
/// may only be read is left alone.
#[test]
fn modes_and_links_are_kept() {
    let bench = Bench::new();
    let mode = |name: &str| bench.path(name).metadata().unwrap().mode() & 0o777;
    fs::write(bench.path("old.html"), "old").unwrap();
    fs::set_permissions(bench.path("old.html"), fs::Permissions::from_mode(0o640)).unwrap();
    bench.good(&["plan", "demo", "--sheet", "old.html"]);
    assert_eq!(mode("old.html"), 0o640);
    let masked = |mask: &str| {
        let script = format!("umask {mask}; exec {PROGRAM} plan demo --sheet new-{mask}.html >/dev/null");
        let mut shell = Command::new("sh");
        shell.current_dir(bench.folder.path()).env("XDG_DATA_HOME", bench.path("data")).args(["-c", &script]);
        assert!(shell.status().unwrap().success());
        mode(&format!("new-{mask}.html"))
    };
    assert_eq!((masked("022"), masked("077"), masked("002")), (0o644, 0o600, 0o664));
    fs::create_dir(bench.path("elsewhere")).unwrap();
    symlink("elsewhere/real.html", bench.path("link.html")).unwrap();
    for _ in 0..2 {
        bench.good(&["plan", "demo", "--sheet", "link.html"]);
        assert!(bench.path("link.html").is_symlink());
        assert!(
            fs::read_to_string(bench.path("elsewhere/real.html")).unwrap().starts_with("<!DOCTYPE html>")
        );
    }
    symlink("round.html", bench.path("round.html")).unwrap();
    bench.refused(&["plan", "demo", "--sheet", "round.html"], "round.html");
    fs::set_permissions(bench.path("old.html"), fs::Permissions::from_mode(0o440)).unwrap();
    bench.refused(&["plan", "demo", "--sheet", "old.html"], "only be read");
}

/// A program that is interrupted leaves nothing of what it was writing, and the next one removes what a killed one left.
#[test]
fn nothing_unfinished_stays_behind() {
    let bench = Bench::new();
    let begin = || {
        let mut wind = bench.unignored(&["wind", "demo", "--record", "trace.vcd", "--pace", "1"]);
        let wind = wind.stdout(Stdio::null()).stderr(Stdio::null()).spawn().unwrap();
        let begun = Instant::now();
        while bench.names().len() < 3 {
            assert!(begun.elapsed() < Duration::from_secs(20), "{:?}", bench.names());
            std::thread::sleep(Duration::from_millis(10));
        }
        // It is watched for signals as soon as the file is there.
        std::thread::sleep(Duration::from_millis(200));
        wind
    };
    for signal in ["INT", "TERM", "HUP"] {
        let mut wind = begin();
        // The shell's own: a bare system has no program of that name.
        let kill = format!("kill -s {signal} {}", wind.id());
        assert!(Command::new("sh").args(["-c", &kill]).status().unwrap().success());
        assert!(!wind.wait().unwrap().success());
        assert_eq!(bench.names(), ["a", "job.toml"], "{signal}");
    }
    let mut wind = begin();
    wind.kill().unwrap();
    wind.wait().unwrap();
    assert_eq!(bench.names().len(), 3);
    // It is some time ago.
    let left = bench.names().into_iter().find(|name| name.starts_with('.')).unwrap();
    let hour_ago = std::time::SystemTime::now() - Duration::from_secs(3_600);
    fs::File::options().write(true).open(bench.path(&left)).unwrap().set_modified(hour_ago).unwrap();
    let mut other = begin_other(bench.folder.path());
    bench.good(&["plan", "demo", "--sheet", "sheet.html"]);
    // That of a program that is still writing stays.
    assert_eq!(bench.names().len(), 4, "{:?}", bench.names());
    other.kill().unwrap();
    other.wait().unwrap();
}

/// A program that is run so that it outlives its terminal does so, and its recording with it.
#[test]
fn ignored_signals_stay_ignored() {
    let bench = Bench::new();
    let script = format!("trap '' HUP; exec {PROGRAM} wind demo --record trace.vcd --pace 200");
    let mut shell = Command::new("sh");
    shell.current_dir(bench.folder.path()).env("XDG_DATA_HOME", bench.path("data")).args(["-c", &script]);
    let mut wind = shell.stdout(Stdio::null()).stderr(Stdio::null()).spawn().unwrap();
    let begun = Instant::now();
    while bench.names().len() < 3 {
        assert!(begun.elapsed() < Duration::from_secs(20), "{:?}", bench.names());
        std::thread::sleep(Duration::from_millis(10));
    }
    std::thread::sleep(Duration::from_millis(200));
    let kill = format!("kill -s HUP {}", wind.id());
    assert!(Command::new("sh").args(["-c", &kill]).status().unwrap().success());
    assert!(wind.wait().unwrap().success());
    assert_eq!(bench.names(), ["a", "job.toml", "trace.vcd"]);
}

/// Another program that is writing a recording in this folder.
fn begin_other(folder: &Path) -> std::process::Child {
    let before = fs::read_dir(folder).unwrap().count();
    let mut wind = Command::new(PROGRAM);
    wind.current_dir(folder).env("XDG_DATA_HOME", folder.join("data"));
    wind.args(["wind", "demo", "--record", "other.vcd", "--pace", "1"])
        .stdout(Stdio::null())
        .stderr(Stdio::null());
    let wind = wind.spawn().unwrap();
    let begun = Instant::now();
    // It removes what the killed one left, and begins its own.
    while !fs::read_dir(folder)
        .unwrap()
        .any(|entry| entry.unwrap().file_name().to_string_lossy().contains(&format!("-{}-", wind.id())))
    {
        assert!(begun.elapsed() < Duration::from_secs(20), "{before} files");
        std::thread::sleep(Duration::from_millis(10));
    }
    wind
}

/// Where nothing has been kept yet, that is no error: the lists say how to begin.
#[test]
fn empty_lists_say_how_to_begin() {
    let bench = Bench::new();
    for (args, words) in [
        (&["log"][..], "turntally link fetch"),
        (&["log", "--sum"], "turntally link fetch"),
        (&["spool", "list"], "turntally spool add"),
        (&["measured", "list"], "turntally measured add"),
    ] {
        assert!(bench.good(args).contains(words), "{args:?}");
        let in_a_file = [args, &["--log", "a"]].concat();
        if args[0] != "spool" {
            assert!(bench.good(&in_a_file).contains(words), "{args:?}");
        }
        if !args.contains(&"--sum") {
            serde_json::from_str::<serde_json::Value>(&bench.good(&[args, &["--json"]].concat())).unwrap();
        }
        // Not the usual file: somebody has mistyped its name.
        bench.refused(&[args, &["--log", "none"]].concat(), "no such file");
    }
    assert!(!bench.path("data").exists(), "to look makes no file");
}

/// The text of a hostile log: what a terminal, a table, a spreadsheet and a page would act on.
const HOSTILE: &str = "=1+1\nspool forged\u{1b}]0;owned\u{7}\u{9b}2J\u{202e}<script>alert(1)</script>";

/// A records file with hostile names, as somebody else may have written it.
fn hostile(bench: &Bench) {
    let file = rusqlite::Connection::open(bench.path("a")).unwrap();
    assert_eq!(file.execute("UPDATE spool SET name = ?1, metal = ?1, currency = ?1", [HOSTILE]).unwrap(), 1);
}

/// Nothing that a records file holds moves a terminal's cursor, turns text round or becomes a formula.
#[test]
fn hostile_names_are_only_shown() {
    let bench = Bench::new();
    hostile(&bench);
    let harmless = |text: &str| {
        let acts = |c: char| c.is_control() && c != '\n' || ('\u{202a}'..='\u{202e}').contains(&c);
        assert!(!text.contains(acts), "{text:?}");
        assert!(text.contains("1b") && text.contains("owned"), "{text:?}");
    };
    harmless(&bench.good(&["spool", "list", "--log", "a"]));
    let json = bench.good(&["spool", "list", "--log", "a", "--json"]);
    harmless(&json);
    let name = serde_json::from_str::<serde_json::Value>(&json).unwrap()["spools"][0]["name"].clone();
    assert!(name.as_str().unwrap().starts_with("=1+1\\nspool forged\\u{1b}"), "{name}");
    // A line of heads and one for the spool: nothing forges another.
    assert_eq!(bench.good(&["spool", "list", "--log", "a"]).lines().count(), 2);
    let refused = bench.run(&["plan", "demo", "--log", "a", "--spool", HOSTILE]);
    harmless(&String::from_utf8(refused.stderr).unwrap());
    for name in [HOSTILE, "turned \u{202e}round", "two\nlines"] {
        let job = DEMO.replace("garden chain, second half", &name.replace('\n', "\\n"));
        fs::write(bench.path("odd.toml"), job).unwrap();
        let refused = bench.run(&["plan", "odd.toml"]);
        let error = String::from_utf8(refused.stderr).unwrap();
        assert_eq!((refused.status.code(), error.lines().count()), (Some(2), 1), "{error}");
        assert!(!error.contains(['\u{1b}', '\u{202e}']), "{error:?}");
    }
    // A formula as a metal's name, in a chart for a spreadsheet.
    let args =
        ["chart", "--metal", "=HYPERLINK()", "--density", "8", "--spring-ratio", "1.01", "--wires", "1mm"];
    let chart = bench.good(&[&args[..], &["--mandrels", "4mm", "--format", "csv"]].concat());
    assert!(chart.lines().nth(1).unwrap().starts_with("'="), "{chart}");
}

/// A value of hundreds of digits is not echoed whole, wherever it stands.
#[test]
fn long_values_are_cut() {
    let bench = Bench::new();
    let long = "7".repeat(400);
    let length = format!("{long}mm");
    fs::write(bench.path("long.toml"), DEMO.replace("rings = 640", &format!("rings = {long}"))).unwrap();
    for args in [
        &["plan", "long.toml"][..],
        &["wind", "demo", "--seed", &long],
        &["gauge", &length],
        &["size", "--wire", &length, "--mandrel", "4mm", "--metal", "copper"],
        &["size", "--wire", "1mm", "--mandrel", "4mm", "--metal", &long],
        &["chart", "--metal", "copper", "--wires", &length, "--mandrels", "4mm"],
        &["measured", "drop", &long],
        &["log", "--log", &long],
        &[&long],
    ] {
        let refused = bench.run(args);
        let error = String::from_utf8(refused.stderr).unwrap();
        assert_eq!((refused.status.code(), error.lines().count()), (Some(2), 1), "{args:?}: {error}");
        assert!(error.chars().count() < 400, "{args:?}: {} characters: {error}", error.chars().count());
    }
}
