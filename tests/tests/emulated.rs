//! The pictures that the emulated Pico showed (`tests/emulator/pictures`, compared there bit by bit on
//! every run) are those that the desktop's board shows for the same hands: one counter, two boards.

#![allow(clippy::unwrap_used, reason = "a test may stop where it stands")]

use std::path::Path;
use std::rc::Rc;

use turntally_core::bench::{Bench, Lead};
use turntally_core::cue::DEFAULT_LEAD;
use turntally_core::units::Micros;
use turntally_firmware::app::App;
use turntally_firmware::oled::Oled;
use turntally_firmware::sampler::PinSampler;
use turntally_sim::board::{self, DeskPanel, Line, Lines, Pin};
use turntally_sim::job::{DEMO, Job};
use turntally_sim::run::counter_job;
use turntally_sim::screen::VirtualScreen;

/// From one sample of the desktop's board to the next, microseconds: twice as many as there are counts
/// at the fastest cranking here.
const SAMPLE_US: u64 = 25;
/// Counts in a turn of the demo's winder.
const TURN: i64 = 1_600;

/// The desktop's counter with the hands of the emulator's tests.
struct Desk {
    lines: Rc<Lines>,
    sampler: PinSampler<Pin, Pin>,
    panel: DeskPanel,
    app: App,
    screen: VirtualScreen,
    oled: Oled<VirtualScreen>,
    us: u64,
    made: i64,
}

impl Desk {
    /// With the demo job, from its file, under the name that the Pico has room for.
    fn new() -> Self {
        let job = Job::parse(DEMO).unwrap();
        let mut demo = counter_job(&job, job.rings_to_make().unwrap(), Lead::Learned(DEFAULT_LEAD));
        demo.name = "garden chain".try_into().unwrap();
        let mut bench = Bench::new();
        bench.add_job(demo).unwrap();
        let lines = Lines::new();
        let (sampler, panel) = board::pins(&lines);
        let app = App::new(bench, job.pulses_per_rev, SAMPLE_US as u32 * 1_000);
        let screen = VirtualScreen::default();
        let oled = Oled::new(screen.clone());
        let mut desk = Self { lines, sampler, panel, app, screen, oled, us: 0, made: 0 };
        desk.run(300, |_, _| None);
        desk
    }

    /// Runs for so many milliseconds; `crank` says where the encoder stands after so many microseconds.
    fn run(&mut self, ms: u64, crank: impl Fn(i64, u64) -> Option<i64>) {
        let (start, from) = (self.us, self.made);
        while self.us < start + ms * 1_000 {
            self.us += SAMPLE_US;
            if let Some(made) = crank(from, self.us - start) {
                self.made = made;
            }
            self.lines.set_encoder([0b00, 0b01, 0b11, 0b10][self.made.rem_euclid(4) as usize]);
            let now = Micros::new(self.us);
            self.app.samples(self.sampler.sample(), now);
            if self.us.is_multiple_of(1_000) {
                self.app.poll(now, &mut self.panel);
                let drawn = self.app.redraw(now);
                // The test unplugs the screen, and looks at `fault` and the picture itself.
                _ = self.oled.update(now, self.app.frame(), drawn);
            }
        }
    }

    fn press_yes(&mut self) {
        self.lines.set(Line::Yes, false);
        self.run(60, |_, _| None);
        self.lines.set(Line::Yes, true);
        self.run(60, |_, _| None);
    }

    fn wind(&mut self, counts: i64, rate: i64) {
        let ms = (counts * 1_000).unsigned_abs().div_ceil(rate.unsigned_abs());
        self.run(ms, |from, us| Some(from + (rate * us.cast_signed() / 1_000_000).min(counts)));
        self.run(100, |_, _| None);
    }

    /// The picture as a plain PBM file, as the emulator's screen writes it.
    fn pbm(&self) -> String {
        assert_eq!(self.screen.fault(), None);
        let picture = self.screen.picture();
        let mut text = String::from("P1\n128 64\n");
        for y in 0..64 {
            for x in 0..128 {
                text.push(if picture.pixel(x, y) { '1' } else { '0' });
                if x % 64 == 63 {
                    text.push('\n');
                }
            }
        }
        text
    }

    #[track_caller]
    fn expect_picture(&mut self, name: &str) {
        self.run(200, |_, _| None);
        let path =
            Path::new(env!("CARGO_MANIFEST_DIR")).join("emulator/pictures").join(name).with_extension("pbm");
        let kept = std::fs::read_to_string(&path).unwrap();
        assert!(kept == self.pbm(), "the desktop does not show what the Pico showed: {name}\n{}", self.pbm());
    }
}

/// From choosing the job to the first coil kept: seven screens, pixel for pixel.
#[test]
fn desktop_shows_what_the_emulated_pico_showed() {
    let mut desk = Desk::new();
    desk.expect_picture("choose");
    desk.press_yes();
    desk.expect_picture("ready");
    desk.press_yes();
    desk.expect_picture("winding");
    let aim = desk.app.bench().goal().unwrap().aim();
    desk.wind(20 * TURN, 10 * TURN);
    desk.expect_picture("twenty-turns");
    desk.wind(aim - 20 * TURN, 10 * TURN);
    desk.expect_picture("stop");
    desk.press_yes();
    desk.expect_picture("verdict");
    desk.press_yes();
    desk.expect_picture("next");
}

/// Unplugged, the screen is dark and counting goes on; plugged in again, blank from power-on, it shows
/// the picture within the driver's half second.
#[test]
fn counting_goes_on_without_a_screen() {
    let mut desk = Desk::new();
    desk.press_yes();
    desk.press_yes();
    desk.screen.plug(false);
    desk.wind(20 * TURN, 10 * TURN);
    assert_eq!(desk.screen.picture(), turntally_firmware::display::Frame::new());
    desk.screen.plug(true);
    desk.run(510, |_, _| None);
    desk.expect_picture("twenty-turns");
}
