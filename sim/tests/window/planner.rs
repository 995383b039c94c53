//! Planning, the chart and files, in the window.

use eframe::egui::{Event, Key, Modifiers, MouseWheelSource, MouseWheelUnit, TouchPhase, Vec2};
use egui_kittest::kittest::Queryable;
use turntally_sim::job::Job;
use turntally_sim::window::View;

use super::{SIZE, Window, click, says, short_job, type_into, window};

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
    // The cell of the job is marked, and says under the pointer what it does not say by itself.
    click(&mut window, "Chart");
    window.get_by_label(&format!("{figure}, the job in the planner")).hover();
    window.run_steps(60);
    for words in ["inside, closed", "aspect ratio", "mass of a ring"] {
        assert!(says(&window, words), "{words}");
    }
    window.snapshot("chart-cell");
    // A click on a cell can be taken back.
    click(&mut window, "Plan");
    assert!(says(&window, "16awg on 5mm is in the form."));
    click(&mut window, "Undo");
    let job = Job::parse(&window.state().job_text()).unwrap();
    assert_eq!((job.size.to_string(), job.winding.mandrel().to_string()), ("1.2 mm".into(), "4.5 mm".into()));
    assert!(!says(&window, "is in the form."));
}

/// Whatever replaces a form that was edited, the form comes back.
#[test]
fn an_edited_form_is_not_lost() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("short.toml");
    std::fs::write(&path, short_job()).unwrap();
    let mut window = window(SIZE, |kept| kept.view = View::Plan);
    let name = |window: &Window| Job::parse(&window.state().job_text()).unwrap().name;
    type_into(&mut window, "Name", "edited");
    click(&mut window, "Demo job");
    assert_ne!(name(&window), "edited");
    click(&mut window, "Undo");
    assert_eq!(name(&window), "edited");
    click(&mut window, "Open a job…");
    window.event(Event::Text(path.to_str().unwrap().to_owned()));
    window.run_steps(2);
    click(&mut window, "Open it");
    assert_ne!(name(&window), "edited");
    click(&mut window, "Undo");
    assert_eq!(name(&window), "edited");
}

/// The price stays with the metal that it was entered for, and says so.
#[test]
fn a_price_of_another_metal_is_marked() {
    let mut window = window(SIZE, |kept| kept.view = View::Plan);
    let marked = |window: &Window| says(window, "This is the price of copper.");
    assert!(!marked(&window));
    type_into(&mut window, "Metal", "yellow-brass");
    assert!(marked(&window));
    window.snapshot("plan-price");
    click(&mut window, "It is right");
    assert!(!marked(&window));
    type_into(&mut window, "Metal", "copper");
    assert!(says(&window, "This is the price of yellow-brass."));
    click(&mut window, "Clear it");
    assert!(!says(&window, "This is the price of") && !window.state().job_text().contains("price_per_kg"));
}

/// Every metal of the list can be reached in a small window.
#[test]
fn the_list_of_metals_scrolls() {
    let mut window = window([900.0, 600.0], |kept| kept.view = View::Plan);
    click(&mut window, "list");
    window.run_steps(20);
    window.snapshot("plan-metals");
    window.get_by_label("yellow-brass").hover();
    for _ in 0..40 {
        let delta = Vec2::new(0.0, -10.0);
        let (unit, phase) = (MouseWheelUnit::Line, TouchPhase::Move);
        let source = MouseWheelSource::Unknown;
        window.event(Event::MouseWheel { unit, delta, phase, source, modifiers: Modifiers::NONE });
        window.run_steps(2);
    }
    window.run_steps(20);
    let rect = window.get_by_label("niobium").rect();
    assert!(rect.max.y <= 600.0, "{rect}");
    click(&mut window, "niobium");
    assert!(window.state().job_text().contains("metal = \"niobium\""));
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
