//! A counter on the cable, in the window: connected, followed, sent a job, its log fetched, pulled out.

use std::path::Path;
use std::time::{Duration, Instant};

use egui_kittest::kittest::Queryable;
use turntally_core::input::Key as Press;
use turntally_sim::job::{DEMO, Job};
use turntally_sim::simulation::faults::FaultKind;
use turntally_sim::window::{SavedState, Theme, View};

use super::counter::{Counter, Do};
use super::hostile::{chatterbox, endless};
use super::records::Bench;
use super::{SIZE, Window, click, says, short_job, type_into, window_with_log};

/// A window whose log's file is in this folder.
fn window(folder: &Path, size: [f32; 2], dress: impl FnOnce(&mut SavedState)) -> Window {
    window_with_log(size, folder.join("log.sqlite"), dress)
}

/// Real time goes by until it holds: there is another thread behind.
fn until(window: &mut Window, what: &str, holds: impl Fn(&Window) -> bool) {
    let deadline = Instant::now() + Duration::from_secs(40);
    while !holds(window) {
        assert!(Instant::now() < deadline, "{what}: {}", window.state().in_words());
        window.step();
        std::thread::sleep(Duration::from_millis(5));
    }
    window.run_steps(3);
}

fn hears(window: &mut Window, words: &str) {
    until(window, words, |window| window.state().in_words().contains(words));
}

fn tells(window: &mut Window, words: &str) {
    until(window, words, |window| says(window, words));
}

/// The mandrel stands still.
fn rests(window: &mut Window) {
    until(window, "rest", |window| window.query_by_label("0 turns/min").is_some());
}

/// Connects as a person does: by the name of the port.
fn connect(window: &mut Window, counter: &Counter) {
    click(window, "Follow a real counter…");
    type_into(window, "Port", counter.port.to_str().unwrap());
    click(window, "Connect");
    hears(window, "On the cable");
    // How it is, is asked last.
    tells(window, "saving OK");
}

/// A coil is followed from the choice of its job until it is kept; nothing that acts on the simulated bench is
/// there meanwhile.
#[test]
fn a_coil_is_followed() {
    let (folder, counter) = (tempfile::tempdir().unwrap(), Counter::with(DEMO));
    let mut window = window(folder.path(), SIZE, |_| {});
    click(&mut window, "Follow a real counter…");
    window.snapshot("counter-connect");
    click(&mut window, "Back to the simulated bench");
    connect(&mut window, &counter);
    assert!(says(&window, "Counter: Choosing a job"));
    for name in ["Crank", "Yes", "No", "Knob left", "+1 turn", "Saw", "bounce", "Start the batch again"] {
        assert!(window.query_by_label(name).is_none(), "{name}");
    }
    counter.wind(30.0);
    hears(&mut window, "Counted 30.00 turns");
    rests(&mut window);
    assert!(says(&window, "Counter: Winding") && says(&window, "Coil on the mandrel: 30.00 turns, 37.20 mm"));
    window.snapshot("counter-winding");
    click(&mut window, "Dark");
    window.snapshot("counter-winding-dark");
    // The demo job's coil wants 55.83 turns.
    counter.crank(26.83);
    hears(&mut window, "Stop now");
    rests(&mut window);
    window.snapshot("counter-stop-dark");
    click(&mut window, "Light");
    counter.keep();
    hears(&mut window, "Coil kept");
    tells(&mut window, "53 of 666 rings guaranteed; 1 coil kept, 0 thrown away");
    assert!(says(&window, "Coil on the mandrel: 0.00 turns"));
    // It springs open for 0.7 s.
    std::thread::sleep(Duration::from_millis(800));
    window.step();
    window.snapshot("counter-kept");
    // The keyboard alone lets it go.
    for _ in 0..30 {
        window.key_press(eframe::egui::Key::Tab);
        window.run_steps(2);
        if window.get_by_label("Let it go").is_focused() {
            break;
        }
    }
    window.key_press(eframe::egui::Key::Enter);
    window.run_steps(3);
    assert!(window.query_by_label("Crank").is_some());
    // Its port is free again.
    connect(&mut window, &counter);
}

/// A count that may be wrong is shown with its error bound and the reason.
#[test]
fn a_count_in_doubt_is_reported() {
    let (folder, counter) = (tempfile::tempdir().unwrap(), Counter::with(DEMO));
    let mut window = window(folder.path(), SIZE, |_| {});
    connect(&mut window, &counter);
    counter.wind(10.0);
    hears(&mut window, "Counted 10.00 turns");
    counter.does(vec![Do::Fault(FaultKind::DeadA), Do::Crank(3.0)]);
    tells(&mut window, "Counter: Count uncertain");
    tells(&mut window, "encoder channel A is dead");
    assert!(says(&window, "Channel A dead"));
    rests(&mut window);
    window.snapshot("counter-fault");
}

/// A job that is not in the planner is drawn without a scale, and the view says so: be it that of the same name, of
/// another wire.
#[test]
fn an_unknown_job_has_no_scale() {
    let other = DEMO.replace("1.2mm", "1.5mm");
    let (folder, counter) = (tempfile::tempdir().unwrap(), Counter::with(&other));
    let mut window = window(folder.path(), SIZE, |_| {});
    connect(&mut window, &counter);
    counter.wind(12.0);
    hears(&mut window, "Counted 12.00 turns");
    rests(&mut window);
    assert!(says(&window, "Coil on the mandrel: 12.00 turns, not to scale"));
    assert!(says(&window, "The planner holds another job than"));
    window.snapshot("counter-unscaled");
    // Its file opened in the planner, it is to scale.
    let file = folder.path().join("belt.toml");
    std::fs::write(&file, other).unwrap();
    click(&mut window, "Send it a job…");
    click(&mut window, "Open a job…");
    window.event(eframe::egui::Event::Text(file.to_str().unwrap().to_owned()));
    window.run_steps(2);
    click(&mut window, "Open it");
    click(&mut window, "Bench");
    assert!(says(&window, "Coil on the mandrel: 12.00 turns, 19.50 mm"));
}

/// A job goes out from the planner: put to the user, who declines, and then takes it; one for another encoder is
/// refused before that.
#[test]
fn a_job_is_sent_and_agreed_to() {
    let (bench, counter) = (Bench::new(), Counter::with(DEMO));
    bench.run(&["spool", "add", "copper 1", "--metal", "copper", "--wire", "1.2mm", "--holds", "20m"]);
    let folder = &bench.folder;
    let mut window = window(folder.path(), SIZE, |_| {});
    click(&mut window, "Plan");
    // Nobody to send it to yet.
    assert!(window.query_by_label("Send to the counter").is_none());
    click(&mut window, "Connect a counter…");
    type_into(&mut window, "Port", counter.port.to_str().unwrap());
    window.key_press(eframe::egui::Key::Enter);
    hears(&mut window, "On the cable");
    click(&mut window, "Plan");
    type_into(&mut window, "Name", "belt");
    click(&mut window, "Winder");
    window.run_steps(30);
    type_into(&mut window, "Encoder", "600");
    click(&mut window, "Send to the counter");
    tells(&mut window, "only 400 is allowed");
    type_into(&mut window, "Encoder", "400");
    type_into(&mut window, "Spool", "copper 1");
    click(&mut window, "Send to the counter");
    tells(&mut window, "“belt” is on the counter's screen: press Yes there.");
    window.snapshot("plan-sent");
    // It takes no key that went down within 0.7 s of its own time.
    std::thread::sleep(Duration::from_millis(300));
    counter.press(Press::No);
    tells(&mut window, "the user at the counter did not take it");
    click(&mut window, "Send to the counter");
    std::thread::sleep(Duration::from_millis(300));
    click(&mut window, "Bench");
    tells(&mut window, "“belt” is on its screen: press Yes there.");
    std::thread::sleep(Duration::from_millis(300));
    counter.press(Press::Yes);
    click(&mut window, "Plan");
    tells(&mut window, "The counter has taken “belt”.");
    click(&mut window, "Bench");
    tells(&mut window, "on the cable: belt");
    assert!(says(&window, "0 of 666 rings guaranteed"));
    // 8.89 g/cm3 x pi/4 x (1.2 mm)^2 x 20 m.
    assert!(says(&window, "On the spool: 20.00 m, 201.1 g"));
    // Noted with its wire, as turntally link send does.
    let noted = rusqlite::Connection::open(folder.path().join("log.sqlite")).unwrap();
    let row = "SELECT name, metal, wire_nm FROM batch WHERE number > 0 AND taken_unix_s > 0";
    let batch: (String, String, i64) =
        noted.query_row(row, [], |row| Ok((row.get(0)?, row.get(1)?, row.get(2)?))).unwrap();
    assert_eq!(batch, ("belt".to_owned(), "copper".to_owned(), 1_200_000));
}

/// Counts the rings of what was sawn at the counter, where that stands behind the job: so many more good ones than
/// promised, and so many no good.
fn count_rings(more: i32, rejects: i32) -> Vec<Do> {
    let yes = || Do::Press(Press::Yes);
    vec![Do::Knob(1), yes(), Do::Knob(more), yes(), Do::Knob(rejects), yes()]
}

/// Coils are wound and counted at the counter; their log is fetched, each once, and shown.
#[test]
fn the_log_is_fetched() {
    let job = short_job();
    let (folder, counter) = (tempfile::tempdir().unwrap(), Counter::with(&job));
    let target = Job::parse(&job).unwrap();
    let turns = target.rule.target_turns(target.rule.full_rings()).as_f64() + 0.02;
    let mut window = window(folder.path(), SIZE, |_| {});
    click(&mut window, "Log");
    click(&mut window, "Counters");
    tells(&mut window, "Nothing fetched yet");
    click(&mut window, "Connect a counter…");
    type_into(&mut window, "Port", counter.port.to_str().unwrap());
    click(&mut window, "Connect");
    hears(&mut window, "On the cable");
    let (yes, no) = (|| Do::Press(Press::Yes), || Do::Press(Press::No));
    let coil = || [Do::Crank(turns), yes(), yes()];
    let mut first = vec![yes(), yes()];
    first.extend(coil());
    // Its rings are counted; the next coil is thrown away after three turns, and the one after that is kept.
    first.push(no());
    first.extend(count_rings(-1, 1));
    first.extend([yes(), yes(), Do::Crank(3.0), no(), no(), Do::Knob(-1), yes()]);
    counter.does(first);
    tells(&mut window, "1 coil kept, 1 thrown away");
    click(&mut window, "Fetch its log");
    tells(&mut window, "3 new entries in the log.");
    let mut second = vec![yes()];
    second.extend(coil());
    counter.does(second);
    hears(&mut window, "The batch is done");
    let mut third = vec![yes()];
    third.extend(count_rings(1, 0));
    counter.does(third);
    counter.done();
    click(&mut window, "Fetch its log");
    tells(&mut window, "2 new entries in the log.");
    click(&mut window, "Fetch its log");
    tells(&mut window, "Nothing new in its log.");
    click(&mut window, "Log");
    tells(&mut window, "thrown away");
    // 9 and 11 rings of the 20 that were promised.
    for words in ["3.00", "100.0 %", "20"] {
        assert!(says(&window, words), "{words}");
    }
    window.snapshot("log-counters");
}

/// A pulled cable is one line; the view goes back, and the counter can be connected again.
#[test]
fn the_cable_is_pulled() {
    let (folder, counter) = (tempfile::tempdir().unwrap(), Counter::with(DEMO));
    let mut window = window(folder.path(), SIZE, |_| {});
    connect(&mut window, &counter);
    counter.wind(5.0);
    hears(&mut window, "Counted 5.00 turns");
    click(&mut window, "Send it a job…");
    click(&mut window, "Send to the counter");
    tells(&mut window, "on the counter's screen");
    drop(counter);
    // Where the job was sent from, and in the place of the counter.
    tells(&mut window, "the counter is gone");
    assert!(!says(&window, "on the counter's screen"));
    click(&mut window, "Bench");
    // The offer failed first; that nothing answers at all is news of its own.
    tells(&mut window, "the counter is gone");
    assert!(window.query_by_label("Crank").is_some());
    assert!(!says(&window, "Counter: Winding"));
    // Another one, on another port.
    let counter = Counter::with(DEMO);
    window.state_mut().kept_mut().port = counter.port.to_str().unwrap().to_owned();
    click(&mut window, "Connect again");
    hears(&mut window, "On the cable");
}

/// A port that does not exist is reported where its name was entered.
#[test]
fn a_wrong_port_is_reported() {
    let folder = tempfile::tempdir().unwrap();
    let mut window = window(folder.path(), SIZE, |_| {});
    click(&mut window, "Follow a real counter…");
    type_into(&mut window, "Port", folder.path().join("none").to_str().unwrap());
    click(&mut window, "Connect");
    tells(&mut window, "No such file");
    assert!(window.query_by_label_contains("--").is_none());
    assert!(window.query_by_label("Connect").is_some());
    click(&mut window, "ports");
    until(&mut window, "the ports", |window| !says(window, "one moment"));
    click(&mut window, "the first with a counter");
    assert_eq!(window.state().kept().port, "");
    click(&mut window, "Back to the simulated bench");
    assert!(window.query_by_label("Crank").is_some());
}

/// Something that keeps talking on the port and is no counter does not hold the window: it says so, and the simulated
/// bench is there again.
#[test]
fn a_port_that_keeps_talking_is_left() {
    let talking = chatterbox();
    let folder = tempfile::tempdir().unwrap();
    let mut window = window(folder.path(), SIZE, |_| {});
    click(&mut window, "Follow a real counter…");
    type_into(&mut window, "Port", &talking.port);
    let begun = Instant::now();
    click(&mut window, "Connect");
    tells(&mut window, "does not answer");
    assert!(begun.elapsed() < Duration::from_secs(20), "{:?}", begun.elapsed());
    click(&mut window, "Back to the simulated bench");
    assert!(window.query_by_label("Crank").is_some());
}

/// A log without end is abandoned with a message; what came is stored, and the window goes on.
#[test]
fn a_log_without_end_is_left() {
    let (folder, endless) = (tempfile::tempdir().unwrap(), endless());
    let mut window = window(folder.path(), SIZE, |_| {});
    click(&mut window, "Log");
    click(&mut window, "Counters");
    click(&mut window, "Connect a counter…");
    type_into(&mut window, "Port", &endless.port);
    click(&mut window, "Connect");
    tells(&mut window, "Fetch its log");
    // The strangest figures are shown for what they are, and nothing in them acts.
    click(&mut window, "Bench");
    window.run_steps(3);
    assert!(!window.state().in_words().contains(char::is_control), "{:?}", window.state().in_words());
    click(&mut window, "Fetch its log");
    tells(&mut window, "more than any counter holds");
    click(&mut window, "Plan");
    assert!(window.query_by_label("Job sheet…").is_some());
}

/// Small, and twice as large.
#[test]
fn in_a_small_window_and_at_200_percent() {
    let (folder, counter) = (tempfile::tempdir().unwrap(), Counter::with(DEMO));
    let mut window = window(folder.path(), [900.0, 600.0], |kept| {
        kept.theme = Theme::Light;
        kept.view = View::Bench;
    });
    connect(&mut window, &counter);
    counter.wind(54.0);
    hears(&mut window, "Counted 54.00 turns");
    rests(&mut window);
    window.snapshot("counter-small");
    window.state_mut().kept_mut().zoom_percent = 200;
    window.run_steps(4);
    window.snapshot("counter-200-percent");
}
