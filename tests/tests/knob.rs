//! A knob with two counts to a click, at a counter that learns it from a click of that very knob, by the board's pins.

use std::rc::Rc;

use turntally_core::bench::{Bench, State};
use turntally_core::settings::KnobClick;
use turntally_core::setup::{Entry, SetUp};
use turntally_core::time::Instant;
use turntally_firmware::app::App;
use turntally_firmware::store::guard::Open;
use turntally_firmware::store::{Layout, Store};
use turntally_sim::simulation::board::{self, DeskPanel, Line, Lines};
use turntally_sim::simulation::flash::{Cells, VirtualFlash};

/// A counter with what is wired to it.
struct Counter {
    app: App,
    store: Store<VirtualFlash, Open>,
    lines: Rc<Lines>,
    panel: DeskPanel,
    ms: u32,
    /// Where the knob stands, in counts.
    knob: i32,
}

impl Counter {
    /// A counter that starts on this flash, its knob at some detent.
    fn on(cells: Cells, knob: i32) -> Self {
        let lines = Lines::new();
        let (_, panel) = board::pins(&lines);
        let mut store = Store::new(VirtualFlash::new(cells), Open, Layout::PICO);
        let mut app = App::new(Bench::new(), 400, 4_000);
        app.load_from(&mut store);
        let mut counter = Self { app, store, lines, panel, ms: 0, knob };
        counter.turn(0);
        counter.wait(500);
        counter
    }

    fn wait(&mut self, ms: u32) {
        for _ in 0..ms {
            self.ms += 1;
            self.app.poll(Instant::from_millis(self.ms), &mut self.panel);
            self.app.save_to(&mut self.store);
        }
    }

    /// Turns the knob by so many counts, each of which bounces, and lets it rest.
    fn turn(&mut self, counts: i32) {
        for _ in 0..counts.abs() {
            for step in [1, -1, 1] {
                self.knob += step * counts.signum();
                self.show_knob();
                self.wait(2);
            }
        }
        self.show_knob();
        self.wait(300);
    }

    fn show_knob(&self) {
        self.lines.set(Line::KnobA, matches!(self.knob.rem_euclid(4), 2 | 3));
        self.lines.set(Line::KnobB, matches!(self.knob.rem_euclid(4), 1 | 2));
    }

    fn press(&mut self) {
        self.lines.set(Line::Yes, false);
        self.wait(60);
        self.lines.set(Line::Yes, true);
        self.wait(60);
    }

    fn pages(&self) -> &SetUp {
        match self.app.bench().state() {
            State::SetUp(set_up) => set_up,
            state => unreachable!("not setting up: {state:?}"),
        }
    }

    /// Goes to the counter's list: it is behind the one of the batch, where the first screen is.
    fn open_list(&mut self, click: i32) {
        for _ in 0..4 {
            self.turn(click);
        }
        self.press();
        assert_eq!(self.pages().entry(), Entry::Pulses);
    }
}

/// Before the counter knows of it every second click is lost, but the setting can be reached and chosen. From then on
/// every click is one step, either way, and after a power cut as well.
#[test]
fn every_click_of_a_knob_with_two_counts_is_a_step() {
    for detent in [0, 2] {
        let mut counter = Counter::on(Cells::blank(Layout::PICO.log_end as usize), detent);
        counter.open_list(2);
        let places = |counter: &mut Counter, clicks: i32| {
            (0..clicks.abs())
                .map(|_| {
                    counter.turn(2 * clicks.signum());
                    counter.pages().at()
                })
                .collect::<Vec<_>>()
        };
        let lame = places(&mut counter, 6);
        assert_eq!(lame.iter().max(), Some(&3), "{lame:?}");
        while counter.pages().entry() != Entry::Knob {
            counter.turn(2);
        }
        counter.press();
        counter.turn(2);
        assert_eq!(counter.pages().settings().build.knob, KnobClick::TwoCounts);
        counter.press();
        assert_eq!(counter.pages().entry(), Entry::Take);
        counter.press();
        assert_eq!(counter.app.bench().settings().build.knob, KnobClick::TwoCounts);

        let cells = counter.store.flash().cells();
        for mut counter in [counter, Counter::on(cells, detent)] {
            counter.open_list(2);
            assert_eq!(places(&mut counter, 5), [1, 2, 3, 4, 5]);
            assert_eq!(places(&mut counter, -5), [4, 3, 2, 1, 0]);
            // A count to and fro at a detent.
            for _ in 0..10 {
                counter.turn(1);
                counter.turn(-1);
                counter.turn(-1);
                counter.turn(1);
                assert_eq!(counter.pages().at(), 0);
            }
        }
    }
}

/// One click, slow or quick, either way, shows the knob's kind; what no single click can be changes nothing, and neither
/// does a turn that began before the page was opened.
#[test]
fn kind_is_learned_from_one_click() {
    let mut counter = Counter::on(Cells::blank(Layout::PICO.log_end as usize), 0);
    counter.open_list(4);
    while counter.pages().entry() != Entry::Knob {
        counter.turn(4);
    }
    counter.press();
    let learned = |counter: &Counter| counter.pages().settings().build.knob;
    let (two, four) = (KnobClick::TwoCounts, KnobClick::FourCounts);
    // Three are a click of either kind at a worn detent, eight several clicks.
    for (counts, expected) in [
        (2, two),
        (4, four),
        (-2, two),
        (3, two),
        (-4, four),
        (8, four),
        (3, four),
        (-1, two),
        (6, two),
        (5, four),
    ] {
        counter.turn(counts);
        assert_eq!(learned(&counter), expected, "{counts} counts");
    }
    // A click of two counts that lasts for a while at its middle.
    counter.knob += 1;
    counter.show_knob();
    counter.wait(200);
    counter.turn(1);
    assert_eq!(learned(&counter), two);
    // The list is an entry further. A click leads back, and Yes comes before the knob rests.
    counter.press();
    for _ in 0..4 {
        counter.knob -= 1;
        counter.show_knob();
        counter.wait(5);
    }
    counter.press();
    counter.wait(300);
    assert_eq!((counter.pages().entry(), learned(&counter)), (Entry::Knob, two));
}
