//! The first minute and the finish: what is lit leads from the first look to the rings.

use eframe::egui::{Key, Modifiers, Vec2};
use egui_kittest::kittest::Queryable;
use turntally_core::bench::Phase;
use turntally_sim::window::{Pace, Theme, View};

use super::{SIZE, Window, begin_winding, click, phase, press, says, short_job, turns, until, window};

/// The bench's time so far, in seconds.
fn seconds(window: &Window) -> f64 {
    window.state().bench().unwrap().session().simulated_bench().now().as_micros() as f64 / 1e6
}

fn is_busy(window: &Window) -> bool {
    window.state().bench().unwrap().session().is_busy()
}

/// Somebody who presses only what is lit has wound, kept and sawn a coil of the demo job within a minute.
#[test]
fn what_is_lit_winds_a_coil() {
    let mut window = window([1280.0, 800.0], |_| {});
    let mut pictures = vec![(Phase::Choose, "first-1-choose"), (Phase::Ready, "first-2-catch")];
    pictures.extend([(Phase::Winding, "first-3-wind"), (Phase::Stop, "first-4-stop")]);
    pictures.extend([(Phase::Verdict, "first-5-keep"), (Phase::Next, "first-6-saw")]);
    let mut pressed = Vec::new();
    while window.state().kept().log.coils().last().is_none_or(|coil| coil.cut.is_none()) {
        assert!(seconds(&window) < 60.0, "{pressed:?}: {:?} at {} turns", phase(&window), turns(&window));
        if is_busy(&window) {
            window.step();
            continue;
        }
        let lit = window.state().wanted().expect("nothing is lit");
        pressed.push(lit);
        if pictures.first().is_some_and(|(wanted, _)| *wanted == phase(&window))
            && (phase(&window) != Phase::Winding || turns(&window) > 20.0)
        {
            // A coil springs open for a while.
            window.run_steps(if phase(&window) == Phase::Next { 50 } else { 1 });
            window.snapshot(pictures.remove(0).1);
        }
        match lit {
            // As somebody would: with zest, then by little strokes once it says slower.
            "Crank" if phase(&window) == Phase::Winding => {
                for _ in 0..4 {
                    window.key_press_modifiers(Modifiers::SHIFT, Key::ArrowUp);
                    window.step();
                }
            }
            "Crank" => window.key_press(Key::ArrowUp),
            name => window.get_by_label(name).click(),
        }
        window.run_steps(3);
    }
    let coil = window.state().kept().log.coils().last().unwrap().clone();
    assert!(coil.kept && coil.cut.unwrap() >= coil.promised, "{coil:?}");
    assert!(pictures.is_empty(), "{pictures:?} were never seen");
    window.run_steps(5);
    window.snapshot("first-7-sawn");
}

/// A crank that is turned before the wire is caught is not ignored in silence.
#[test]
fn cranked_too_early_it_says_what_comes_first() {
    let mut window = window(SIZE, |_| {});
    click(&mut window, "+1 turn");
    assert!(says(&window, "Press Yes first: no job is chosen yet"));
    press(&mut window, "Yes");
    assert!(!says(&window, "Press Yes first"));
    window.key_press(Key::ArrowUp);
    window.run_steps(3);
    assert!(says(&window, "Press Yes first: the wire is not caught yet"));
    window.snapshot("bench-early");
    window.run_steps(60);
    press(&mut window, "Yes");
    assert_eq!(phase(&window), Phase::Winding);
    assert!(!says(&window, "Press Yes first") && says(&window, "Turn the crank: 55.9 turns to go"));
}

/// Each coil begins at the crank's zero; the counter's target is the plan's from the first moment.
#[test]
fn figures_agree() {
    let mut window = window(SIZE, |_| {});
    click(&mut window, "+1 turn");
    window.run_steps(120);
    assert!(says(&window, "0.00 mm; target 55.83 turns"));
    begin_winding(&mut window);
    assert!(says(&window, "0.00 mm; target 55.83 turns"));
    assert!(says(&window, "Crank: 0.00 turns for this coil"));
    window.state_mut().kept_mut().view = View::Plan;
    window.run_steps(3);
    assert!(says(&window, "12 coils of 55.83 turns"));
}

/// As fast as it goes is for what moves: while the user reads, seconds are seconds.
#[test]
fn fast_time_waits_for_the_user() {
    let mut window = window(SIZE, |kept| kept.bench.pace = Pace::Fastest);
    window.run_steps(60);
    assert!(seconds(&window) < 1.5, "{} s", seconds(&window));
    click(&mut window, "Let another hand wind");
    until(&mut window, "a coil", |window| !window.state().kept().log.coils().is_empty());
    assert!(seconds(&window) > 20.0);
}

/// What a batch came to stands at its end, with what can follow.
#[test]
fn a_batch_ends_with_what_it_came_to() {
    let mut window = finished([1280.0, 800.0], Theme::Light, "finish");
    click(&mut window, "Job sheet");
    assert!(says(&window, "Write to"));
    click(&mut window, "Leave it");
    click(&mut window, "See the log");
    assert_eq!(window.state().kept().view, View::Log);
    click(&mut window, "Bench");
    click(&mut window, "Wind another");
    assert_eq!(phase(&window), Phase::Choose);
}

#[test]
fn a_batch_ends_in_a_small_window() {
    finished([900.0, 600.0], Theme::Light, "finish-small");
}

#[test]
fn a_batch_ends_in_the_dark() {
    finished([1280.0, 800.0], Theme::Dark, "finish-dark");
}

/// A batch of two coils, wound and sawn, and the picture of its end.
fn finished(size: [f32; 2], theme: Theme, name: &str) -> Window {
    let mut window = window(size, |kept| {
        kept.bench.pace = Pace::Twenty;
        kept.theme = theme;
    });
    window.state_mut().open(&short_job()).unwrap();
    window.run_steps(2);
    click(&mut window, "Let another hand wind");
    until(&mut window, "the batch", |window| phase(window) == Phase::Done);
    window.run_steps(80);
    assert_eq!(window.state().wanted(), Some("Saw"));
    assert!(!says(&window, "rings counted."));
    while window.state().wanted() == Some("Saw") {
        click(&mut window, "Saw");
    }
    let log = &window.state().kept().log;
    let sums = log.sums(log.batch());
    assert!(sums.sawn.0 >= 20 && sums.sawn.1 >= sums.sawn.0, "{sums:?}");
    assert!(says(&window, &format!("{} rings counted.", sums.sawn.1)));
    assert!(says(&window, &format!("{} were guaranteed.", sums.sawn.0)));
    // Nothing is to be wound any more.
    assert!(!says(&window, "; target "));
    window.run_steps(3);
    window.snapshot(name);
    window
}

/// A batch that is not done is not lost by closing the window without being asked.
#[test]
fn closing_asks_before_a_batch_is_lost() {
    let mut window = window(SIZE, |kept| kept.bench.pace = Pace::Twenty);
    assert!(window.state_mut().may_close());
    click(&mut window, "Let another hand wind");
    until(&mut window, "winding", |window| turns(window) > 2.0);
    assert!(!window.state_mut().may_close());
    window.run_steps(3);
    assert!(says(&window, "A batch is not done, and is lost when the window closes."));
    click(&mut window, "Go on with it");
    assert!(!says(&window, "is lost when the window closes"));
    assert!(!window.state_mut().may_close());
    // Whoever was asked and closes it all the same knows why.
    assert!(window.state_mut().may_close());
}

/// The knob is dragged too: to the right for clockwise.
#[test]
fn the_knob_is_dragged() {
    let mut window = window(SIZE, |_| {});
    let at = window.get_by_label("Knob").rect().center();
    window.drag_at(at);
    window.step();
    window.hover_at(at + Vec2::new(8.0, 0.0));
    window.run_steps(2);
    window.drop_at(at + Vec2::new(8.0, 0.0));
    window.run_steps(10);
    assert!(says(&window, "Set up a batch: Yes begins."));
}

/// Sizes by the keys that a browser has.
#[test]
fn sizes_change_by_keys() {
    let mut window = window(SIZE, |_| {});
    for (key, percent) in [(Key::Plus, 125), (Key::Equals, 150), (Key::Minus, 125), (Key::Num0, 100)] {
        window.key_press_modifiers(Modifiers::COMMAND, key);
        window.run_steps(3);
        assert_eq!(window.state().kept().zoom_percent, percent, "{key:?}");
        assert!((window.ctx.zoom_factor() - percent as f32 / 100.0).abs() < 1e-3, "{key:?}");
    }
}

/// The bench in large windows uses the room it has.
#[test]
fn in_a_large_window() {
    large(Theme::Light, "bench-large");
}

#[test]
fn in_a_large_dark_window() {
    large(Theme::Dark, "bench-large-dark");
}

fn large(theme: Theme, name: &str) {
    let mut window = window([1920.0, 1080.0], |kept| {
        kept.theme = theme;
        kept.bench.pace = Pace::Twenty;
    });
    click(&mut window, "Let another hand wind");
    until(&mut window, "half way", |window| turns(window) > 37.0);
    window.state_mut().kept_mut().bench.pace = Pace::Real;
    window.run_steps(8);
    // Both columns end together, and near the end of the window.
    let (left, right) =
        (window.get_by_label("Crank").rect(), window.get_by_label("What can go wrong").rect());
    assert!((left.max.y - right.max.y).abs() < 30.0 && left.max.y > 1_000.0, "{left} {right}");
    window.snapshot(name);
}
