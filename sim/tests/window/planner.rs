//! Planning, the chart and files, in the window.

use eframe::egui::{Event, Key, Modifiers};
use egui_kittest::kittest::Queryable;
use turntally_sim::job::Job;
use turntally_sim::window::View;

use super::{SIZE, Window, click, short_job, type_into, window};

#[test]
fn a_job_is_planned_and_wound() {
    let mut window = window(SIZE, |kept| kept.view = View::Plan);
    window.snapshot("plan");
    type_into(&mut window, "Wire size", "1.5");
    // The reason stands under the field, and nothing can be wound.
    assert!(window.query_all_by_label_contains("a bare number: write the unit").next().is_some());
    window.snapshot("plan-wrong");
    type_into(&mut window, "Wire size", "15awg");
    type_into(&mut window, "Name", "belt");
    assert!(window.query_all_by_label_contains("a bare number").next().is_none());
    click(&mut window, "Wind this job");
    assert_eq!(window.state().kept().view, View::Bench);
    let job = window.state().bench().unwrap().session().job().clone();
    assert_eq!((job.name.as_str(), job.size.to_string().as_str()), ("belt", "15 AWG"));
    assert_eq!(window.state().kept().log.coils().len(), 0);
}

#[test]
fn a_cell_of_the_chart_becomes_the_job() {
    let mut window = window(SIZE, |kept| kept.view = View::Chart);
    window.snapshot("chart");
    click(&mut window, "Curves");
    window.snapshot("chart-curves");
    click(&mut window, "Table");
    // 16 AWG copper on 5 mm: the figure that `turntally chart` prints.
    let args = [
        "turntally",
        "chart",
        "--metal",
        "copper",
        "--wires",
        "16awg",
        "--mandrels",
        "5mm",
        "--kerf",
        "0.4mm",
    ];
    let printed = std::process::Command::new(env!("CARGO_BIN_EXE_turntally"))
        .env("XDG_DATA_HOME", env!("CARGO_TARGET_TMPDIR"))
        .args(&args[1..])
        .output()
        .unwrap();
    let printed = String::from_utf8(printed.stdout).unwrap();
    let row = printed.lines().find(|line| line.trim_start().starts_with("5 mm")).expect("a row for 5 mm");
    let figure = row.split_whitespace().last().unwrap().to_owned();
    window.get_all_by_label(&figure).next().expect("the figure is in the table").click();
    window.run_steps(3);
    assert_eq!(window.state().kept().view, View::Plan);
    let job = Job::parse(&window.state().job_text()).unwrap();
    assert_eq!(job.size.to_string(), "16 AWG");
    assert_eq!(job.winding.mandrel().to_string(), "5 mm");
}

/// Writes what a button of a view exports to a file; what is in it.
pub fn export(window: &mut Window, view: View, button: &str, file: &str) -> String {
    window.state_mut().kept_mut().view = view;
    window.run_steps(3);
    click(window, button);
    window.key_press_modifiers(Modifiers::COMMAND, Key::A);
    window.run_steps(1);
    window.event(Event::Text(file.to_owned()));
    window.run_steps(2);
    click(window, "Write");
    assert!(window.query_by_label_contains("is written").is_some(), "{button}");
    std::fs::read_to_string(file).unwrap()
}

/// Everything that is exported is what the command line writes of the same job.
#[test]
fn exports_are_those_of_the_command_line() {
    let folder = tempfile::tempdir().unwrap();
    let path = |name: &str| folder.path().join(name).to_str().unwrap().to_owned();
    let mut window = window(SIZE, |kept| kept.view = View::Plan);
    let mut export = |view: View, button: &str, file: &str| export(&mut window, view, button, &path(file));
    let job = export(View::Plan, "Save the job…", "job.toml");
    let sheet = export(View::Plan, "Job sheet…", "sheet.html");
    let plan = export(View::Plan, "Plan as JSON…", "plan.json");
    let csv = export(View::Chart, "Chart as CSV…", "chart.csv");
    let svg = export(View::Chart, "Chart as SVG…", "chart.svg");
    let page = export(View::Chart, "Chart as a page…", "chart.html");
    let run = |args: &[&str]| {
        let output = std::process::Command::new(env!("CARGO_BIN_EXE_turntally"))
            .env("XDG_DATA_HOME", env!("CARGO_TARGET_TMPDIR"))
            .args(args)
            .output()
            .unwrap();
        assert!(output.status.success(), "{args:?}: {}", String::from_utf8_lossy(&output.stderr));
        String::from_utf8(output.stdout).unwrap()
    };
    let (saved, cli_sheet) = (path("job.toml"), path("cli.html"));
    assert_eq!(Job::parse(&job).unwrap().name, "garden chain, second half");
    assert_eq!(plan, run(&["plan", &saved, "--json"]));
    run(&["plan", &saved, "--sheet", &cli_sheet]);
    assert_eq!(sheet, std::fs::read_to_string(&cli_sheet).unwrap());
    for (format, text) in [("csv", csv), ("svg", svg), ("html", page)] {
        let chart = [
            "chart",
            "--metal",
            "copper",
            "--wires",
            "14awg..20awg",
            "--mandrels",
            "3mm..8mm",
            "--kerf",
            "0.4mm",
        ];
        assert_eq!(text, run(&[&chart[..], &["--format", format]].concat()), "{format}");
    }
}

/// A job file is opened by its path; a wrong one says why and changes nothing.
#[test]
fn job_files_are_opened() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("short.toml");
    std::fs::write(&path, short_job()).unwrap();
    let mut window = window(SIZE, |kept| kept.view = View::Plan);
    for (file, message) in [("no-such.toml", "cannot read the job file"), ("short.toml", "in the form")] {
        click(&mut window, "Open a job…");
        window.event(Event::Text(folder.path().join(file).to_str().unwrap().to_owned()));
        window.run_steps(2);
        click(&mut window, "Open it");
        assert!(window.query_by_label_contains(message).is_some(), "{file}");
        window.key_press(Key::Escape);
        window.run_steps(2);
    }
    assert_eq!(Job::parse(&window.state().job_text()).unwrap().coil_max.to_string(), "17 mm");
}
