//! The window as a person uses it: by the names on its controls, with pictures of every view.
//!
//! `UPDATE_SNAPSHOTS=true cargo test -p turntally-sim --features window-test --test window` draws the
//! pictures anew: to be looked at before they are committed.
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    reason = "a test that cannot go on should stop"
)]

use std::path::PathBuf;

use eframe::egui::{Context, Event, Key, Modifiers, Pos2, RawInput, Ui, UiBuilder, pos2};
use egui_kittest::kittest::Queryable;
use egui_kittest::{Harness, SnapshotOptions};
use turntally_core::bench::{Choice, Fault, Phase, State};
use turntally_core::units::Turns;
use turntally_sim::job::{DEMO, Job};
use turntally_sim::window::{App, Pace, SavedState, Theme, View, ground};

#[path = "window/counter.rs"]
mod counter;
#[path = "window/guide.rs"]
mod guide;
#[path = "hostile/mod.rs"]
mod hostile;
#[path = "window/live.rs"]
mod live;
#[path = "window/planner.rs"]
mod planner;
#[path = "window/records.rs"]
mod records;

type Window = Harness<'static, App>;

const SIZE: [f32; 2] = [1120.0, 720.0];
const STEP: f32 = 1.0 / 60.0;

/// The window as it first comes up, in light, with the demo job; or as it was kept.
fn window(size: [f32; 2], dress: impl FnOnce(&mut SavedState)) -> Window {
    window_with_log(size, no_log(), dress)
}

/// No file: the user's own log stays out of it.
fn no_log() -> PathBuf {
    PathBuf::from(env!("CARGO_TARGET_TMPDIR")).join("no-log.sqlite")
}

/// The same with a log's file.
fn window_with_log(size: [f32; 2], log: PathBuf, dress: impl FnOnce(&mut SavedState)) -> Window {
    let mut kept = SavedState { theme: Theme::Light, ..SavedState::default() };
    dress(&mut kept);
    let options =
        SnapshotOptions::new().output_path("tests/window").threshold(1.5).max_failed_pixels(40_usize);
    let mut window = Harness::builder()
        .with_size(size)
        .with_options(options)
        .with_step_dt(STEP)
        .wgpu()
        .build_ui_state(in_whole, App::with_log(kept, 1, log));
    window.run_steps(4);
    window
}

/// Without the margin that the harness leaves round what it shows.
fn in_whole(ui: &mut Ui, app: &mut App) {
    let whole = ui.ctx().content_rect();
    ui.set_clip_rect(whole);
    ui.painter().rect_filled(whole, 0.0, ground(ui.visuals()));
    ui.scope_builder(UiBuilder::new().max_rect(whole), |ui| app.ui(ui));
}

fn phase(window: &Window) -> Phase {
    window.state().bench().expect("a job on the bench").session().simulated_bench().bench().phase()
}

fn turns(window: &Window) -> f64 {
    window.state().bench().expect("a job on the bench").session().simulated_bench().bench().turns().as_f64()
}

fn click(window: &mut Window, name: &str) {
    window.get_by_label(name).click();
    window.run_steps(3);
}

/// Presses a key of the counter and waits until it was seen.
fn press(window: &mut Window, name: &str) {
    click(window, name);
    window.run_steps(12);
}

fn until(window: &mut Window, what: &str, holds: impl Fn(&Window) -> bool) {
    for _ in 0..20_000 {
        if holds(window) {
            return;
        }
        window.step();
    }
    panic!("{what}: {:?} at {} turns", phase(window), turns(window));
}

/// A job with short coils: ten rings each, twenty in all.
fn short_job() -> String {
    DEMO.replace("rings = 640", "rings = 20")
        .replace("spare_percent = 4", "spare_percent = 0")
        .replace("coil_max = \"70mm\"", "coil_max = \"17mm\"")
}

fn begin_winding(window: &mut Window) {
    press(window, "Yes");
    assert_eq!(phase(window), Phase::Ready);
    press(window, "Yes");
    assert_eq!(phase(window), Phase::Winding);
}

/// Drags the crank's handle round until the counter says stop; says how often it went round.
fn crank_to_stop(window: &mut Window) -> f64 {
    let rect = window.get_by_label("Crank").rect();
    let (centre, arm) = (rect.center(), rect.width() * 0.4);
    let at = |turn: f64| -> Pos2 {
        let (sin, cos) = (turn * std::f64::consts::TAU).sin_cos();
        pos2(centre.x + arm * cos as f32, centre.y + arm * sin as f32)
    };
    let mut turned = 0.0;
    window.drag_at(at(0.0));
    window.step();
    let target = window.state().bench().unwrap().session().simulated_bench().bench().target_turns().as_f64();
    while phase(window) != Phase::Stop || turns(window) < target {
        // A hand goes slower once the beats come.
        turned += if phase(window) == Phase::Near { 0.004 } else { 0.02 };
        window.event(Event::PointerMoved(at(turned)));
        window.step();
        assert!(turned < 200.0, "no stop: {:?} at {}", phase(window), turns(window));
    }
    // The last movement and the release within one frame.
    turned += 0.03;
    window.event(Event::PointerMoved(at(turned)));
    window.drop_at(at(turned));
    window.run_steps(30);
    turned
}

#[test]
fn first_look_and_a_coil_wound_with_the_crank() {
    let mut window = window(SIZE, |_| {});
    assert_eq!(phase(&window), Phase::Choose);
    window.snapshot("bench-first");
    window.state_mut().open(&short_job()).unwrap();
    begin_winding(&mut window);
    let turned = crank_to_stop(&mut window);
    // The job's gear is 1:1, and the first edge may lie a count from where the crank stood.
    assert!((turns(&window) - turned).abs() <= 1.0 / 1600.0 + 1e-3, "{} of {turned}", turns(&window));
    assert_eq!(phase(&window), Phase::Stop);
    window.snapshot("bench-stop");
    press(&mut window, "Yes");
    assert_eq!(phase(&window), Phase::Verdict);
    press(&mut window, "Yes");
    assert_eq!(phase(&window), Phase::Next);
    window.run_steps(60);
    window.snapshot("bench-cradle");
    click(&mut window, "Saw");
    let coil = window.state().kept().log.coils().last().unwrap().clone();
    assert!(coil.kept && coil.promised > 0);
    assert!(coil.cut.unwrap() >= coil.promised, "{coil:?}");
    window.snapshot("bench-sawn");
}

/// However seldom it is drawn: at rest frames are further apart than egui supposes.
#[test]
fn the_bench_keeps_time_with_the_window() {
    let (ctx, mut app) = (Context::default(), App::with_log(SavedState::default(), 1, no_log()));
    // Else the first frame is spent on the faces.
    app.dress(&ctx);
    let frame = |app: &mut App, frame: u32| {
        let time = Some(f64::from(frame) * 0.033);
        let input = RawInput { time, ..RawInput::default() };
        ctx.run_ui(input, |ui| app.ui(ui)).textures_delta.clear();
        app.bench().unwrap().session().simulated_bench().now().as_micros()
    };
    let began = frame(&mut app, 1);
    let mut now = began;
    for number in 2..=101 {
        now = frame(&mut app, number);
    }
    assert!((now - began).abs_diff(3_300_000) <= 1_000, "{began} to {now} µs");
}

#[test]
fn half_way_through_a_coil() {
    let mut window = window(SIZE, |kept| kept.bench.pace = Pace::Twenty);
    click(&mut window, "Let another hand wind");
    until(&mut window, "half way", |window| turns(window) > 37.0);
    window.state_mut().kept_mut().bench.pace = Pace::Real;
    window.run_steps(8);
    window.snapshot("bench-winding");
}

#[test]
fn a_coil_is_thrown_away() {
    let mut window = window(SIZE, |kept| kept.bench.pace = Pace::Five);
    window.state_mut().open(&short_job()).unwrap();
    begin_winding(&mut window);
    for _ in 0..6 {
        click(&mut window, "+1 turn");
    }
    until(&mut window, "six turns", |window| turns(window) > 5.99);
    press(&mut window, "No");
    press(&mut window, "No");
    assert_eq!(phase(&window), Phase::Verdict);
    // Before the target it proposes to wind on.
    click(&mut window, "Knob left");
    window.run_steps(5);
    let stand = window.state().bench().unwrap().session().simulated_bench();
    assert!(matches!(stand.bench().state(), State::Verdict { choice: Choice::Scrap }));
    window.snapshot("bench-verdict");
    press(&mut window, "Yes");
    assert_eq!(phase(&window), Phase::Ready);
    let coil = window.state().kept().log.coils().last().unwrap();
    assert!(!coil.kept && coil.cut.is_none());
    assert!((coil.counted_turns - 6.0).abs() < 2.0 / 1600.0, "{coil:?}");
}

/// The counter's words, which stand below it and are its screen's name too.
fn says(window: &Window, words: &str) -> bool {
    window.query_all_by_label_contains(words).next().is_some()
}

/// The knob by its buttons, and each click waited for.
fn turn_knob(window: &mut Window, name: &str, clicks: u32) {
    for _ in 0..clicks {
        click(window, name);
        window.run_steps(8);
    }
}

/// A batch is set up at the counter itself, with knob and keys, and wound.
#[test]
fn a_batch_is_set_up_at_the_counter() {
    let mut window = window(SIZE, |kept| kept.bench.pace = Pace::Five);
    turn_knob(&mut window, "Knob right", 1);
    assert!(says(&window, "Set up a batch: Yes"));
    press(&mut window, "Yes");
    assert_eq!(phase(&window), Phase::SetUp);
    // From metal to what is to be counted in, and from rings to turns of a coil.
    turn_knob(&mut window, "Knob right", 5);
    press(&mut window, "Yes");
    turn_knob(&mut window, "Knob right", 1);
    assert!(says(&window, "Count in, turns a coil: the knob turns it"));
    window.snapshot("bench-set-up");
    press(&mut window, "Yes");
    // 50.0 turns, half a turn a click; then a coil instead of one: two.
    press(&mut window, "Yes");
    turn_knob(&mut window, "Knob left", 4);
    press(&mut window, "Yes");
    press(&mut window, "Yes");
    turn_knob(&mut window, "Knob right", 1);
    press(&mut window, "Yes");
    turn_knob(&mut window, "Knob right", 20);
    press(&mut window, "Yes");
    assert!(says(&window, "2 coils; the first of 48.0 turns"));
    press(&mut window, "Yes");
    assert_eq!(phase(&window), Phase::Choose);
    begin_winding(&mut window);
    let counter = window.state().bench().unwrap().session().simulated_bench().bench();
    assert_eq!(counter.target_turns().nano(), 48 * Turns::ONE);
    assert!(says(
        &window,
        "The counter winds a batch that was set up at it: the wire and the mandrel here are those of the job in the planner, and nothing is to scale."
    ));
    click(&mut window, "Let another hand wind");
    until(&mut window, "the coil", |window| phase(window) == Phase::Next);
    let coil = window.state().kept().log.coils().last().unwrap();
    assert!(coil.kept && (coil.true_turns - 48.0).abs() < 1.0, "{coil:?}");
}

/// A batch that is begun is put aside and can be brought back, until it is dropped.
#[test]
fn a_batch_begun_is_not_lost_on_a_click() {
    let kept = |window: &Window| {
        let log = window.state().kept().log.coils().len();
        (window.state().bench().unwrap().session().simulated_bench().bench().jobs().progress().kept, log)
    };
    let mut window = window(SIZE, |kept| kept.bench.pace = Pace::Twenty);
    window.state_mut().open(&short_job()).unwrap();
    click(&mut window, "Start the batch again");
    assert!(!says(&window, "Bring it back"), "nothing was begun");
    click(&mut window, "Let another hand wind");
    until(&mut window, "a coil", |window| phase(window) == Phase::Next);
    assert_eq!(kept(&window), (1, 1));
    click(&mut window, "Start the batch again");
    assert_eq!((phase(&window), kept(&window).0), (Phase::Choose, 0));
    // A click more loses nothing.
    click(&mut window, "Start the batch again");
    window.snapshot("bench-aside");
    click(&mut window, "Bring it back");
    assert_eq!((phase(&window), kept(&window)), (Phase::Next, (1, 1)));
    assert!(!says(&window, "Bring it back"));
    // Another job on the bench, with a coil on its mandrel: that is work too, and each has its turn.
    window.state_mut().open(&short_job().replace("garden chain", "other chain")).unwrap();
    window.run_steps(3);
    assert!(says(&window, "“garden chain, second half” was put aside with 1 coil kept."));
    begin_winding(&mut window);
    click(&mut window, "+1 turn");
    click(&mut window, "Bring it back");
    // Whoever wound it is still at it.
    assert_eq!(kept(&window), (1, 1));
    assert!(says(&window, "“other chain, second half” was put aside with 0 coils kept."));
    click(&mut window, "Bring it back");
    assert_eq!((phase(&window), kept(&window).0), (Phase::Winding, 0));
    assert!(says(&window, "“garden chain, second half” was put aside"));
    click(&mut window, "Drop it");
    assert!(!says(&window, "Bring it back"));
}

/// The sounder is muted by its button and by Ctrl+M, and that is remembered.
#[test]
fn the_sounder_is_muted() {
    let mut window = window(SIZE, |_| {});
    window.state_mut().open(&short_job()).unwrap();
    begin_winding(&mut window);
    for _ in 0..12 {
        click(&mut window, "+1 turn");
    }
    until(&mut window, "a sound", |window| window.state().hertz().is_some());
    click(&mut window, "Sound on");
    for _ in 0..200 {
        window.step();
        assert_eq!(window.state().hertz(), None);
    }
    assert!(window.state().kept().muted && says(&window, "Sound off"));
    window.key_press_modifiers(Modifiers::COMMAND, Key::M);
    window.run_steps(3);
    assert!(!window.state().kept().muted && says(&window, "Sound on"));
}

#[test]
fn the_keyboard_winds_and_decides() {
    let mut window = window(SIZE, |kept| kept.bench.faults_open = true);
    // The crank has the keyboard from the first moment.
    window.key_press(Key::Enter);
    window.run_steps(12);
    window.key_press(Key::Enter);
    window.run_steps(12);
    assert_eq!(phase(&window), Phase::Winding);
    for _ in 0..5 {
        window.key_press(Key::ArrowRight);
        window.step();
    }
    window.key_press_modifiers(Modifiers::SHIFT, Key::ArrowUp);
    window.key_press(Key::ArrowLeft);
    until(&mut window, "1.4 turns", |window| (turns(window) - 1.4).abs() < 2.0 / 1600.0);
    window.run_steps(30);
    assert!((turns(&window) - 1.4).abs() < 2.0 / 1600.0);
    window.key_press(Key::Backspace);
    window.run_steps(12);
    assert_eq!(phase(&window), Phase::Paused);
    // From the crank on, every control can be reached.
    let mut reached = Vec::new();
    for _ in 0..40 {
        window.key_press(Key::Tab);
        window.run_steps(2);
        if let Some(node) = window.query_all_by(|node| node.is_focused()).next() {
            use egui_kittest::kittest::NodeT;
            reached.push(node.accesskit_node().label().unwrap_or_default());
        }
    }
    for name in [
        "Yes",
        "No",
        "Knob left",
        "Knob right",
        "+10",
        "Plan",
        "channel A dead",
        "Crank",
        "Larger",
        "Start the batch again",
        "Follow a real counter…",
    ] {
        assert!(reached.iter().any(|label| label == name), "{name} is not among {reached:?}");
    }
}

/// Lets the brisk hand wind with a fault switched on; returns the counter's message about it.
fn with_fault(name: &str) -> (Vec<Fault>, Window) {
    let mut window = window(SIZE, |kept| kept.bench.pace = Pace::Twenty);
    click(&mut window, "What can go wrong");
    click(&mut window, "Let another hand wind");
    until(&mut window, "winding", |window| phase(window) == Phase::Winding && turns(window) > 2.0);
    click(&mut window, name);
    let mut faults = Vec::new();
    for _ in 0..6_000 {
        window.step();
        let stand = window.state().bench().unwrap().session().simulated_bench();
        if let State::Fault { fault, .. } = stand.bench().state() {
            faults.push(*fault);
            break;
        }
        if window.state().kept().log.coils().len() >= 2 {
            break;
        }
    }
    window.run_steps(3);
    (faults, window)
}

#[test]
fn faults_that_can_be_survived_leave_the_count_right() {
    for name in ["bounce", "noise", "skipped samples"] {
        let (faults, window) = with_fault(name);
        assert!(faults.is_empty(), "{name}: {faults:?}");
        for coil in window.state().kept().log.coils() {
            assert!((coil.counted_turns - coil.true_turns).abs() < 1e-9, "{name}: {coil:?}");
        }
    }
}

#[test]
fn faults_that_spoil_the_count_are_reported() {
    use turntally_core::signal::Channel;
    for (name, expected) in [
        ("channel A dead", vec![Fault::Dead(Channel::A), Fault::Chatter]),
        ("channel B dead", vec![Fault::Dead(Channel::B), Fault::Chatter]),
        ("late reader", vec![Fault::SamplesLost]),
        ("long bounce", vec![Fault::MissedSteps, Fault::Chatter]),
    ] {
        let (faults, mut window) = with_fault(name);
        assert!(faults.iter().any(|fault| expected.contains(fault)), "{name}: {faults:?}");
        assert_eq!(phase(&window), Phase::Fault, "{name}");
        if name == "channel A dead" {
            window.snapshot("bench-fault");
        }
    }
}

/// Single impossible steps lower the promise, and are noted with the coil.
#[test]
fn dips_of_the_supply_are_noted() {
    let (_, window) = with_fault("supply dips");
    let coils = window.state().kept().log.coils();
    assert!(coils.iter().any(|coil| coil.faults.contains("impossible steps")), "{coils:?}");
}

#[test]
fn swapped_lines_are_reported_at_the_start_of_a_coil() {
    let mut window = window(SIZE, |kept| kept.bench.pace = Pace::Five);
    click(&mut window, "What can go wrong");
    click(&mut window, "A and B swapped");
    begin_winding(&mut window);
    click(&mut window, "+10");
    until(&mut window, "backwards", |window| phase(window) == Phase::Fault);
    // Whoever reads it first.
    window.run_steps(20);
    press(&mut window, "Yes");
    assert_ne!(phase(&window), Phase::Fault);
}

#[test]
fn a_whole_batch_by_another_hand() {
    // As fast as it goes is another run each time; its picture would be, too.
    let mut window = window(SIZE, |kept| kept.bench.pace = Pace::Twenty);
    window.state_mut().open(&short_job()).unwrap();
    window.run_steps(2);
    click(&mut window, "Let another hand wind");
    until(&mut window, "the batch", |window| phase(window) == Phase::Done);
    window.run_steps(80);
    let waiting = window.state().kept().log.coils().iter().filter(|coil| coil.kept).count();
    assert!(waiting >= 2);
    window.get_by_label(&format!("Saw all {waiting}")).click();
    window.run_steps(3);
    let log = &window.state().kept().log;
    let batch = log.coils().last().unwrap().batch;
    let sums = log.sums(batch);
    assert!(sums.promised >= 20 && sums.sawn.1 >= 20, "{sums:?}");
    assert_eq!(sums.sawn.0, sums.promised);
    click(&mut window, "Log");
    window.snapshot("log");
    click(&mut window, "Dark");
    window.snapshot("log-dark");
    // What is forgotten does not come back: that wants two clicks.
    let coils = window.state().kept().log.coils().len();
    click(&mut window, "Forget the log…");
    click(&mut window, "Keep them");
    assert_eq!(window.state().kept().log.coils().len(), coils);
    click(&mut window, "Forget the log…");
    click(&mut window, &format!("Forget all {coils} coils"));
    assert!(window.state().kept().log.coils().is_empty());
}

fn type_into(window: &mut Window, name: &str, text: &str) {
    window.get_by_label(name).click();
    window.run_steps(2);
    window.key_press_modifiers(Modifiers::COMMAND, Key::A);
    window.run_steps(1);
    window.get_by_label(name).type_text(text);
    window.run_steps(3);
}

/// What is kept comes back; what is damaged does not lock anybody out.
#[test]
fn state_is_remembered() {
    let mut before = window(SIZE, |kept| {
        kept.view = View::Plan;
        kept.theme = Theme::Dark;
    });
    type_into(&mut before, "Name", "remembered");
    let text = serde_json::to_string(before.state().kept()).unwrap();
    let after = window(SIZE, |kept| *kept = serde_json::from_str(&text).unwrap());
    assert_eq!(after.state().kept().view, View::Plan);
    assert_eq!(Job::parse(&after.state().job_text()).unwrap().name, "remembered");
    let damaged = window(SIZE, |kept| kept.job = Some("no job".to_owned()));
    assert_eq!(damaged.state().bench().unwrap().session().job().name, "garden chain, second half");
}

#[test]
fn in_dark() {
    let mut window = window(SIZE, |kept| kept.theme = Theme::Dark);
    window.snapshot("bench-dark");
    for (view, name) in [(View::Plan, "plan-dark"), (View::Chart, "chart-dark")] {
        window.state_mut().kept_mut().view = view;
        window.run_steps(3);
        window.snapshot(name);
    }
    click(&mut window, "Curves");
    window.snapshot("chart-curves-dark");
}

#[test]
fn in_a_small_window() {
    let mut window = window([900.0, 600.0], |_| {});
    window.snapshot("bench-small");
    window.state_mut().kept_mut().view = View::Plan;
    window.run_steps(3);
    window.snapshot("plan-small");
}

#[test]
fn at_200_percent() {
    let mut window = window([900.0, 600.0], |kept| kept.zoom_percent = 200);
    window.run_steps(5);
    window.snapshot("bench-200-percent");
    // What is wound with, and what it makes the counter say, are in sight together.
    for name in ["Crank", "Yes", "No"] {
        let rect = window.get_by_label(name).rect();
        assert!(rect.max.y <= 300.0 && rect.max.x <= 450.0, "{name} is at {rect}");
    }
    window.state_mut().kept_mut().view = View::Plan;
    window.run_steps(3);
    window.snapshot("plan-200-percent");
}

/// The browser's test clicks by place: each lies on the control of its name.
#[test]
fn places_lie_on_their_controls() {
    let places: serde_json::Value =
        serde_json::from_str(&std::fs::read_to_string("tests/window/places.json").unwrap()).unwrap();
    let number = |value: &serde_json::Value| value.as_f64().unwrap() as f32;
    let window = window([number(&places["size"][0]), number(&places["size"][1])], |_| {});
    let mut off = Vec::new();
    for (name, at) in places["at"].as_object().unwrap() {
        let rect = window.get_by_label(name).rect();
        let at = pos2(number(&at[0]), number(&at[1]));
        if !rect.shrink(8.0).contains(at) {
            off.push(format!("{name:?} is at {:?}", rect.center()));
        }
    }
    assert!(off.is_empty(), "{off:#?}");
}
