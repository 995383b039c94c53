//! A tester and a counter joined by wires, both on the desktop in virtual time, with faults soldered in on purpose.

use std::collections::VecDeque;
use std::fmt;
use std::rc::Rc;

use turntally_core::bench::Bench;
use turntally_core::settings::Settings;
use turntally_core::time::{Duration, Instant};
use turntally_firmware::app::App;
use turntally_firmware::link::Link;
use turntally_firmware::pwm::Wave;
use turntally_firmware::sampler::PinSampler;
use turntally_firmware::store::guard::Open;
use turntally_firmware::store::{Layout, Store};
use turntally_firmware::tester::board::{Board, COARSE, Grain, Input, Late};
use turntally_firmware::tester::watch::{Output, Watch};
use turntally_firmware::tester::wave::Step;

use crate::failure::Failure;
use crate::simulation::board::{self, DeskPanel, Line, Lines, Pin};
use crate::simulation::flash::{Cells, VirtualFlash};
use crate::simulation::screen::ScreenBus;

/// From one sample to the next, microseconds: as on the Pico.
const SAMPLE_US: u64 = 4;
/// From one poll of the counter to the next, microseconds.
const TICK_US: u64 = 1_000;
/// How long the counter has been on before the test, microseconds.
const ON_FOR_US: u64 = 1_000_000;

/// The wires that the tester drives.
const INPUTS: [Line; 6] = [Line::EncoderA, Line::EncoderB, Line::KnobA, Line::KnobB, Line::Yes, Line::No];

/// A fault in the wiring.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Solder {
    /// The wire ends nowhere.
    Open(Line),
    /// Each of these two goes where the other should.
    Swapped(Line, Line),
    /// The wire is joined to ground, or to 3.3 V where `high`.
    Stuck {
        /// Which.
        line: Line,
        /// To 3.3 V.
        high: bool,
    },
    /// A capacitor that is too large: a level must last so long to arrive at the counter, and comes as much later.
    Slow(Line, Duration),
    /// The serial line ends nowhere.
    NoSerial,
}

/// A level on its way through a filter.
#[derive(Debug, Clone, Copy)]
struct Filter {
    line: Line,
    us: u64,
    passed: bool,
    since: Option<u64>,
}

impl Filter {
    fn pass(&mut self, level: bool, now_us: u64) -> bool {
        if level == self.passed {
            self.since = None;
        } else if now_us - *self.since.get_or_insert(now_us) >= self.us {
            (self.passed, self.since) = (level, None);
        }
        self.passed
    }
}

/// The tester's board, with a new counter on its wires.
pub struct Joined {
    lines: Rc<Lines>,
    sampler: PinSampler<Pin, Pin>,
    panel: DeskPanel,
    app: App,
    store: Store<VirtualFlash, Open>,
    screen: ScreenBus,
    link: Link,
    received: VecDeque<u8>,
    solder: Option<Solder>,
    filter: Option<Filter>,
    now_us: u64,
    sampled_us: u64,
    /// What the tester drives, by the bits of [`Line`]; a released wire is high by the counter's pull-up.
    driven: u32,
    wave: (Wave, u64),
    watch: Watch,
    failure: Option<Failure>,
    report: Vec<String>,
}

impl fmt::Debug for Joined {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("Joined")
            .field("solder", &self.solder)
            .field("now_us", &self.now_us)
            .finish_non_exhaustive()
    }
}

impl Joined {
    /// With this fault, or none; the counter has been on for a second.
    #[must_use]
    pub fn new(solder: Option<Solder>) -> Self {
        let mut bench = Bench::new();
        let settings = Settings::default();
        bench.set_up(settings);
        let lines = Lines::new();
        let (sampler, panel) = board::pins(&lines);
        let mut app = App::new(bench, settings.build.pulses, SAMPLE_US as u32 * 1_000);
        let flash = VirtualFlash::new(Cells::blank(Layout::PICO.log_end as usize));
        let mut store = Store::new(flash, Open, Layout::PICO);
        app.load_from(&mut store);
        let filter = match solder {
            Some(Solder::Slow(line, span)) => {
                Some(Filter { line, us: span.as_micros(), passed: false, since: None })
            }
            _ => None,
        };
        let released = [Line::KnobA, Line::KnobB, Line::Yes, Line::No];
        let mut joined = Self {
            lines,
            sampler,
            panel,
            app,
            store,
            screen: ScreenBus::default(),
            link: Link::default(),
            received: VecDeque::new(),
            solder,
            filter,
            now_us: 0,
            sampled_us: 0,
            driven: released.into_iter().fold(0, |driven, line| driven | bit(line)),
            wave: (Wave::SILENCE, 0),
            watch: Watch::default(),
            failure: None,
            report: Vec::new(),
        };
        joined.drive();
        joined.run_to(ON_FOR_US, Grain::Coarse);
        joined
    }

    /// The lines of the report.
    ///
    /// # Errors
    /// Where the simulation itself failed.
    pub fn into_report(self) -> Result<Vec<String>, Failure> {
        match self.failure {
            Some(failure) => Err(failure),
            None => Ok(self.report),
        }
    }

    /// The wire at the other end of this one's place.
    fn joined_to(&self, line: Line) -> Line {
        match self.solder {
            Some(Solder::Swapped(one, other)) if line == one => other,
            Some(Solder::Swapped(one, other)) if line == other => one,
            _ => line,
        }
    }

    /// The level that a fault leaves at the end that reads a wire, if it changes it; `open` is that of an open end.
    fn forced(&self, line: Line, open: bool) -> Option<bool> {
        match self.solder {
            Some(Solder::Stuck { line: stuck, high }) if stuck == line => Some(high),
            Some(Solder::Open(cut)) if cut == line => Some(open),
            _ => None,
        }
    }

    /// Brings what the tester drives to the counter's pins.
    fn drive(&mut self) {
        for line in INPUTS {
            let driven = self.driven & bit(self.joined_to(line)) != 0;
            let mut level = self.forced(line, true).unwrap_or(driven);
            if let Some(filter) = self.filter.as_mut().filter(|filter| filter.line == line) {
                level = filter.pass(level, self.now_us);
            }
            self.lines.set(line, level);
        }
    }

    fn set(&mut self, line: Line, high: bool) {
        self.driven = if high { self.driven | bit(line) } else { self.driven & !bit(line) };
    }

    /// The counter's outputs as the tester reads them, pulled down where they end nowhere.
    fn outputs(&mut self) -> u8 {
        let wave = self.lines.wave();
        if wave != self.wave.0 {
            self.wave = (wave, self.now_us);
        }
        let mut levels = 0;
        for output in Output::ALL {
            let line = line_of(output);
            let high = match self.joined_to(line) {
                Line::Sounding => self.sounder_is_high(),
                line => self.lines.is_high(line),
            };
            if self.forced(line, false).unwrap_or(high) {
                levels |= output.bit();
            }
        }
        levels
    }

    fn sounder_is_high(&self) -> bool {
        let (wave, since) = self.wave;
        wave.period()
            .is_some_and(|period| (self.now_us - since) % u64::from(period) < u64::from(wave.compare))
    }

    /// Runs both until this time.
    fn run_to(&mut self, until_us: u64, grain: Grain) {
        let mut look_us = self.now_us;
        while self.sampled_us + SAMPLE_US <= until_us {
            self.sampled_us += SAMPLE_US;
            self.now_us = self.sampled_us;
            if self.filter.is_some() {
                self.drive();
            }
            let sampled = self.sampler.sample();
            if !matches!(sampled, Ok(None)) {
                self.app.samples(sampled, Instant::from_micros(self.now_us));
            }
            if self.now_us.is_multiple_of(TICK_US) {
                self.tick();
            }
            if grain == Grain::Fine || self.now_us >= look_us {
                look_us = self.now_us + COARSE.as_micros();
                let levels = self.outputs();
                self.watch.take(levels, Instant::from_micros(self.now_us));
            }
        }
        self.now_us = until_us;
    }

    fn tick(&mut self) {
        let now = Instant::from_micros(self.now_us);
        self.app.poll(now, &mut self.panel);
        self.app.save_to(&mut self.store);
        if let Err(failure) = self.screen.update(now, &mut self.app) {
            self.failure.get_or_insert(failure);
        }
    }
}

const fn bit(line: Line) -> u32 {
    1 << line as u32
}

const fn line_of(output: Output) -> Line {
    match output {
        Output::Red => Line::Red,
        Output::Yellow => Line::Yellow,
        Output::Green => Line::Green,
        Output::Stop => Line::Stop,
        Output::Sounder => Line::Sounding,
    }
}

const fn line_of_input(input: Input) -> Line {
    match input {
        Input::KnobA => Line::KnobA,
        Input::KnobB => Line::KnobB,
        Input::Yes => Line::Yes,
        Input::No => Line::No,
    }
}

impl Board for Joined {
    fn now(&self) -> Instant {
        Instant::from_micros(self.now_us)
    }

    fn close(&mut self, input: Input, closed: bool) {
        self.set(line_of_input(input), !closed);
        self.drive();
    }

    fn is_high(&mut self, input: Input) -> bool {
        let line = line_of_input(input);
        // An open end has no pull-up.
        self.forced(line, false).unwrap_or(self.driven & bit(line) != 0)
    }

    fn wait(&mut self, span: Duration, grain: Grain) {
        self.run_to(self.now_us + span.as_micros(), grain);
    }

    fn play(&mut self, wave: &mut dyn Iterator<Item = Step>) -> Result<Instant, Late> {
        let mut due = self.now_us;
        for step in wave {
            self.run_to(due, Grain::Fine);
            self.set(Line::EncoderA, step.levels & 0b10 != 0);
            self.set(Line::EncoderB, step.levels & 0b01 != 0);
            self.drive();
            due += step.lasts.as_micros();
        }
        Ok(self.now())
    }

    fn watch(&mut self) -> &mut Watch {
        &mut self.watch
    }

    fn send(&mut self, bytes: &[u8]) {
        if self.solder == Some(Solder::NoSerial) {
            return;
        }
        for &byte in bytes {
            let received = &mut self.received;
            self.link.push_at_once(byte, &mut self.app, &mut self.store, |bytes| received.extend(bytes));
        }
    }

    fn receive(&mut self) -> Option<u8> {
        self.received.pop_front()
    }

    fn report(&mut self, line: fmt::Arguments<'_>) {
        self.report.push(line.to_string());
    }
}
