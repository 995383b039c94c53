//! The desktop's board with the inputs of the emulator's tests: plays the scripts of
//! `tests/emulator/scripts` and writes down everything that can be seen and heard.

use std::fmt::Write as _;
use std::rc::Rc;

use turntally_core::bench::{Bench, ErrorBound};
use turntally_core::cue::Goal;
use turntally_core::input::Key;
use turntally_core::settings::Settings;
use turntally_core::time::Instant;
use turntally_firmware::app::App;
use turntally_firmware::display::Frame;
use turntally_firmware::notice::Notice;
use turntally_firmware::sampler::PinSampler;
use turntally_firmware::store::guard::Open;
use turntally_firmware::store::{Layout, Store};
use turntally_sim::simulation::board::{self, DeskPanel, Line, Lines, Pin};
use turntally_sim::simulation::flash::{Cells, VirtualFlash};
use turntally_sim::simulation::screen::ScreenBus;

use crate::script::{Act, KEY_UP_MS, KNOB_STEP_MS, LOOK_MS, Way};

/// From one sample to the next, microseconds: as on the Pico.
const SAMPLE_US: u64 = 4;
/// The keys and lamps of a trace, and their names there.
const SEEN: [(Line, &str); 4] =
    [(Line::Red, "red"), (Line::Yellow, "yellow"), (Line::Green, "green"), (Line::Stop, "stop")];

/// A disc forward: A in bit 1, B in bit 0.
const CYCLE: [u8; 4] = [0b00, 0b01, 0b11, 0b10];

/// The crank on its way: edge `k`, from 1, comes `k / rate` seconds after the start.
#[derive(Debug, Clone, Copy)]
struct Turning {
    from: i64,
    counts: i64,
    rate: u32,
    since_us: u64,
}

impl Turning {
    fn at(self, us: u64) -> i64 {
        let made = u64::from(self.rate) * (us - self.since_us) / 1_000_000;
        self.from + (made as i64).min(self.counts.abs()) * self.counts.signum()
    }
}

/// What was to be seen and heard while a script was played.
#[derive(Debug, Default)]
pub struct Played {
    /// A line for each change of a lamp, the stop line or the note (its period in microseconds), and for
    /// each look, after its time in milliseconds since the counter's first tick.
    pub trace: String,
    /// The picture at each look, as a plain PBM file.
    pub pictures: Vec<(String, String)>,
}

/// The desktop's counter.
#[derive(Debug)]
pub struct Desk {
    lines: Rc<Lines>,
    sampler: PinSampler<Pin, Pin>,
    panel: DeskPanel,
    app: App,
    store: Store<VirtualFlash, Open>,
    screen: ScreenBus,
    us: u64,
    /// Counts that the crank has made, and quarter clicks that the knob has.
    made: i64,
    knob: i64,
    /// Channels A and B that still have their wire.
    wired: [bool; 2],
    turning: Option<Turning>,
    seen: [bool; SEEN.len()],
    tone: u32,
    played: Played,
}

impl Desk {
    /// As it comes out of its box, as the Pico does.
    #[must_use]
    pub fn start() -> Self {
        let mut bench = Bench::new();
        let settings = Settings::default();
        bench.set_up(settings);
        let lines = Lines::new();
        let (sampler, panel) = board::pins(&lines);
        let mut app = App::new(bench, settings.build.pulses, SAMPLE_US as u32 * 1_000);
        let flash = VirtualFlash::new(Cells::blank(Layout::PICO.log_end as usize));
        let mut store = Store::new(flash, Open, Layout::PICO);
        app.load_from(&mut store);
        let mut desk = Self {
            lines,
            sampler,
            panel,
            app,
            store,
            screen: ScreenBus::default(),
            us: 0,
            made: 0,
            // The knob's switches are open at rest.
            knob: 2,
            wired: [true; 2],
            turning: None,
            seen: [false; SEEN.len()],
            tone: 0,
            played: Played::default(),
        };
        desk.turn_knob(0);
        desk.tick();
        // Each input comes half-way between two ticks.
        desk.run_us(500);
        desk
    }

    /// Tells the user what is wrong with the counter itself.
    pub fn report(&mut self, notice: Notice) {
        self.app.report(notice);
    }

    /// The counter's bench, to look at.
    #[must_use]
    pub const fn bench(&self) -> &Bench {
        self.app.bench()
    }

    /// Plays a script to its end.
    #[must_use]
    pub fn play(mut self, script: &[Act<'_>]) -> Played {
        script.iter().for_each(|act| self.act(*act));
        self.played
    }

    fn act(&mut self, act: Act<'_>) {
        match act {
            Act::Wait { ms } => self.run(ms),
            Act::Hold { key, ms } => {
                let line = if key == Key::Yes { Line::Yes } else { Line::No };
                self.lines.set(line, false);
                self.run(ms);
                self.lines.set(line, true);
                self.run(KEY_UP_MS);
            }
            Act::Crank { way, rate } => self.crank(way, rate),
            Act::Knob { clicks } => {
                for _ in 0..4 * clicks.unsigned_abs() {
                    self.run(KNOB_STEP_MS);
                    self.turn_knob(clicks.signum());
                }
                self.run(1);
            }
            Act::Screen { plugged } => self.screen.module().plug(plugged),
            Act::Wire { channel, sound } => self.wired[channel as usize] = sound,
            Act::Look { name } => {
                self.run(LOOK_MS);
                self.look(name);
            }
        }
    }

    fn crank(&mut self, way: Way, rate: u32) {
        let bench = self.app.bench();
        let counts = match way {
            Way::By(counts) => counts,
            Way::ToAim(more) => bench.goal().map_or(0, Goal::aim) + more - bench.counts(),
        };
        self.turning = Some(Turning { from: self.made, counts, rate, since_us: self.us });
        self.run((counts.unsigned_abs() * 1_000).div_ceil(u64::from(rate)) + 1);
        self.turning = None;
    }

    fn turn_knob(&mut self, quarters: i64) {
        self.knob += quarters;
        let level = CYCLE[self.knob.rem_euclid(4) as usize];
        self.lines.set(Line::KnobA, level & 2 != 0);
        self.lines.set(Line::KnobB, level & 1 != 0);
    }

    /// Runs for so many milliseconds.
    fn run(&mut self, ms: u64) {
        self.run_us(ms * 1_000);
    }

    fn run_us(&mut self, us: u64) {
        let end = self.us + us;
        while self.us < end {
            self.us += SAMPLE_US;
            if let Some(turning) = self.turning {
                self.made = turning.at(self.us);
            }
            self.drive_encoder();
            self.app.samples(self.sampler.sample(), Instant::from_micros(self.us));
            if self.us.is_multiple_of(1_000) {
                self.tick();
            }
        }
    }

    /// A channel without its wire stays as it is.
    fn drive_encoder(&mut self) {
        let level = CYCLE[self.made.rem_euclid(4) as usize];
        let sides = [(Line::EncoderA, 2), (Line::EncoderB, 1)];
        for ((line, bit), wired) in sides.into_iter().zip(self.wired) {
            if wired {
                self.lines.set(line, level & bit != 0);
            }
        }
    }

    fn tick(&mut self) {
        let now = Instant::from_micros(self.us);
        self.app.poll(now, &mut self.panel);
        self.app.save_to(&mut self.store);
        self.watch();
        if let Err(failure) = self.screen.update(now, &mut self.app) {
            unreachable!("{failure}");
        }
    }

    /// Writes down what has changed since the last tick.
    fn watch(&mut self) {
        let ms = self.us / 1_000;
        for ((line, name), seen) in SEEN.into_iter().zip(&mut self.seen) {
            let high = self.lines.is_high(line);
            if *seen != high {
                *seen = high;
                self.played.write(ms, format_args!("{name} {}", u8::from(high)));
            }
        }
        let tone = self.lines.wave().period().unwrap_or(0);
        if self.tone != tone {
            self.tone = tone;
            self.played.write(ms, format_args!("tone {tone}"));
        }
    }

    /// Writes down the picture and the state, by the names that the Pico's serial line has for them.
    fn look(&mut self, name: &str) {
        let bench = self.app.bench();
        let decoder = self.app.watch().decoder();
        let error_bound = match bench.error_bound() {
            ErrorBound::Within(counts) => counts.to_string(),
            ErrorBound::Unknown => "unknown".to_owned(),
        };
        self.played.write(
            self.us / 1_000,
            format_args!(
                "look {name} phase={:?} counts={} aim={} rings={} made={} error_bound={error_bound} position={} illegal={} \
                 notice={}",
                bench.phase(),
                bench.counts(),
                bench.goal().map_or(0, Goal::aim),
                bench.rings_now(),
                bench.jobs().progress().rings,
                decoder.position(),
                self.app.watch().illegal(),
                u8::from(self.app.view().notice.is_some()),
            ),
        );
        self.played.pictures.push((name.to_owned(), pbm(&self.screen.module().picture())));
    }
}

impl Played {
    fn write(&mut self, ms: u64, what: std::fmt::Arguments<'_>) {
        // A string takes all there is.
        _ = writeln!(self.trace, "{ms:>7} {what}");
    }
}

/// A picture as a plain PBM file, as the emulator's screen writes it.
fn pbm(picture: &Frame) -> String {
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
