//! Plays the acts of a script on the board, in virtual time, and prints what is to be seen and heard, as
//! `tests/src/desk.rs` does on the desktop's board.

use core::fmt::{self, Write};

use turntally_core::bench::{Bench, ErrorBound};
use turntally_core::cue::Goal;
use turntally_core::input::Key;
use turntally_core::settings::Settings;
use turntally_core::time::Instant;
use turntally_firmware::app::App;
use turntally_firmware::oled::Oled;
use turntally_firmware::panel::{KeyPin, Knob, Panel};
use turntally_firmware::pwm::PwmSounder;
use turntally_firmware::sampler::PinSampler;
use turntally_firmware::store::guard::Open;
use turntally_firmware::store::{Layout, Store};

use crate::board::{FLASH_BYTES, Flash, Lines, Pin, Screen, Sounder, pin};
use crate::script::{Act, KEY_UP_MS, KNOB_STEP_MS, LOOK_MS, Way};

/// From one sample to the next, microseconds: as on the Pico.
const SAMPLE_US: u32 = 4;
const TICK_US: u32 = 1_000;
/// Samples from one tick to the next.
const TICK_SAMPLES: u32 = TICK_US / SAMPLE_US;
/// A disc forward: A and B.
const CYCLE: [[bool; 2]; 4] = [[false, false], [false, true], [true, true], [true, false]];

type BoardPanel<'a> =
    Panel<Pin<'a>, Pin<'a>, Pin<'a>, Pin<'a>, Pin<'a>, Pin<'a>, Pin<'a>, Pin<'a>, PwmSounder<Sounder<'a>>>;

/// The crank on its way: edge `k`, from 1, comes `k / rate` seconds after the start.
struct Turning {
    from: i64,
    counts: i64,
    rate: u64,
    since_us: u64,
}

pub struct Player<'a, W> {
    lines: &'a Lines,
    screen: &'a Screen,
    sampler: PinSampler<Pin<'a>, Pin<'a>>,
    panel: BoardPanel<'a>,
    oled: Oled<&'a Screen>,
    app: App,
    store: Store<Flash<'a>, Open>,
    us: u64,
    /// Samples until the next tick.
    to_tick: u32,
    made: i64,
    knob: i64,
    wired: [bool; 2],
    turning: Option<Turning>,
    /// Red, yellow, green and the stop line, as last printed; and the period of the note.
    seen: [bool; 4],
    tone: u32,
    out: &'a mut W,
}

impl<'a, W: Write> Player<'a, W> {
    /// As the counter comes out of its box.
    pub fn start(
        lines: &'a Lines,
        screen: &'a Screen,
        cells: &'a mut [u8; FLASH_BYTES],
        out: &'a mut W,
    ) -> Self {
        let mut bench = Bench::new();
        let settings = Settings::default();
        bench.set_up(settings);
        let [red, yellow, green] = &lines.lamps;
        let panel = Panel {
            yes: KeyPin::new(pin(&lines.yes)),
            no: KeyPin::new(pin(&lines.no)),
            knob: Knob::new(pin(&lines.knob[0]), pin(&lines.knob[1])),
            red: pin(red),
            yellow: pin(yellow),
            green: pin(green),
            stop: pin(&lines.stop),
            sounder: PwmSounder::new(Sounder(&lines.wave)),
        };
        let mut app = App::new(bench, settings.build.pulses, SAMPLE_US * 1_000);
        let mut store = Store::new(Flash(cells), Open, Layout::PICO);
        app.load_from(&mut store);
        Self {
            lines,
            screen,
            sampler: PinSampler::new(pin(&lines.encoder[0]), pin(&lines.encoder[1])),
            panel,
            oled: Oled::new(screen),
            app,
            store,
            us: 0,
            to_tick: TICK_SAMPLES,
            made: 0,
            knob: 0,
            wired: [true; 2],
            turning: None,
            seen: [false; 4],
            tone: 0,
            out,
        }
        .settled()
    }

    /// After the first tick, half-way to the second: each input comes half-way between two ticks.
    fn settled(mut self) -> Self {
        // The knob's switches are open at rest.
        self.turn_knob(2);
        // Nothing is lit or sounds after the first tick: there is nothing to print.
        _ = self.tick();
        _ = self.run_samples(TICK_SAMPLES / 2);
        self
    }

    pub fn act(&mut self, act: Act<'_>) -> fmt::Result {
        match act {
            Act::Wait { ms } => self.run(ms),
            Act::Hold { key, ms } => {
                let line = if key == Key::Yes { &self.lines.yes } else { &self.lines.no };
                line.set(false);
                self.run(ms)?;
                line.set(true);
                self.run(KEY_UP_MS)
            }
            Act::Crank { way, rate } => self.crank(way, rate.into()),
            Act::Knob { clicks } => {
                for _ in 0..4 * clicks.unsigned_abs() {
                    self.run(KNOB_STEP_MS)?;
                    self.turn_knob(clicks.signum());
                }
                self.run(1)
            }
            Act::Screen { plugged } => {
                self.screen.plug(plugged);
                Ok(())
            }
            Act::Wire { channel, sound } => {
                self.wired[channel as usize] = sound;
                Ok(())
            }
            Act::Look { name } => {
                self.run(LOOK_MS)?;
                self.look(name)
            }
        }
    }

    fn crank(&mut self, way: Way, rate: u64) -> fmt::Result {
        let bench = self.app.bench();
        let counts = match way {
            Way::By(counts) => counts,
            Way::ToAim(more) => bench.goal().map_or(0, Goal::aim) + more - bench.counts(),
        };
        self.turning = Some(Turning { from: self.made, counts, rate, since_us: self.us });
        self.run((counts.unsigned_abs() * 1_000).div_ceil(rate) + 1)?;
        self.turning = None;
        Ok(())
    }

    fn turn_knob(&mut self, quarters: i64) {
        self.knob += quarters;
        let levels = CYCLE[self.knob.rem_euclid(4) as usize];
        self.lines.knob.iter().zip(levels).for_each(|(line, level)| line.set(level));
    }

    fn run(&mut self, ms: u64) -> fmt::Result {
        (0..ms).try_for_each(|_| self.run_samples(TICK_SAMPLES))
    }

    fn run_samples(&mut self, samples: u32) -> fmt::Result {
        for _ in 0..samples {
            self.us += u64::from(SAMPLE_US);
            self.drive_encoder();
            self.app.samples(self.sampler.sample(), Instant::from_micros(self.us));
            self.to_tick -= 1;
            if self.to_tick == 0 {
                self.to_tick = TICK_SAMPLES;
                self.tick()?;
            }
        }
        Ok(())
    }

    fn drive_encoder(&mut self) {
        let Some(turning) = &self.turning else { return };
        let made = turning.rate * (self.us - turning.since_us) / 1_000_000;
        self.made = turning.from + (made as i64).min(turning.counts.abs()) * turning.counts.signum();
        let levels = CYCLE[self.made.rem_euclid(4) as usize];
        for ((line, level), wired) in self.lines.encoder.iter().zip(levels).zip(self.wired) {
            if wired {
                line.set(level);
            }
        }
    }

    fn tick(&mut self) -> fmt::Result {
        let now = Instant::from_micros(self.us);
        self.app.poll(now, &mut self.panel);
        self.app.save_to(&mut self.store);
        self.watch()?;
        let drawn = self.app.redraw(now);
        match self.oled.update(now, self.app.frame(), drawn) {
            Ok(true) => self.app.panel_has(self.app.view().picture, now),
            Ok(false) => {}
            Err(embedded_hal::i2c::ErrorKind::NoAcknowledge(_)) => self.app.panel_lost(),
            Err(_) => return Err(fmt::Error),
        }
        Ok(())
    }

    /// Prints what has changed since the last tick.
    fn watch(&mut self) -> fmt::Result {
        let ms = self.us / u64::from(TICK_US);
        let [red, yellow, green] = &self.lines.lamps;
        let now = [("red", red), ("yellow", yellow), ("green", green), ("stop", &self.lines.stop)];
        for ((name, level), seen) in now.into_iter().zip(&mut self.seen) {
            if *seen != level.get() {
                *seen = level.get();
                writeln!(self.out, "{ms:>7} {name} {}", u8::from(*seen))?;
            }
        }
        let tone = self.lines.wave.get().period().unwrap_or(0);
        if self.tone != tone {
            self.tone = tone;
            writeln!(self.out, "{ms:>7} tone {tone}")?;
        }
        Ok(())
    }

    /// Prints the state and the picture.
    fn look(&mut self, name: &str) -> fmt::Result {
        let bench = self.app.bench();
        let watch = self.app.watch();
        write!(
            self.out,
            "{:>7} look {name} phase={:?} counts={} aim={} rings={} made={} ",
            self.us / u64::from(TICK_US),
            bench.phase(),
            bench.counts(),
            bench.goal().map_or(0, Goal::aim),
            bench.rings_now(),
            bench.jobs().progress().rings,
        )?;
        match bench.error_bound() {
            ErrorBound::Within(counts) => write!(self.out, "error_bound={counts}")?,
            ErrorBound::Unknown => write!(self.out, "error_bound=unknown")?,
        }
        writeln!(
            self.out,
            " position={} illegal={} notice={}",
            watch.decoder().position(),
            watch.illegal(),
            u8::from(self.app.view().notice.is_some()),
        )?;
        let picture = self.screen.picture();
        writeln!(self.out, "picture {name}\nP1\n128 64")?;
        for half_row in 0..128 {
            let (x, y) = (half_row % 2 * 64, half_row / 2);
            let mut row = [b'0'; 64];
            for (pixel, column) in row.iter_mut().zip(x..) {
                *pixel += u8::from(picture.pixel(column, y));
            }
            writeln!(self.out, "{}", core::str::from_utf8(&row).map_err(|_| fmt::Error)?)?;
        }
        Ok(())
    }
}
