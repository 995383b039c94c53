//! The counter on a Raspberry Pi Pico; on a Pico 2 as well, which is built and has never been run.
//!
//! Samples come in by hardware alone ([`sampler`]). Every millisecond an interrupt of its own decodes
//! them and runs the counter ([`tick`]): keys, cue, lamp, sounder, stop line. Everything slow (drawing,
//! the screen's bus, the serial line) runs in between, below that interrupt, on copies of what it
//! needs, so nothing slow ever delays a cue. Below that again is the flash ([`keep`]).
#![no_std]
#![no_main]
#![allow(
    unsafe_code,
    reason = "it reaches for the chip's registers and its ROM; each place has its own reason"
)]

mod born;
#[cfg(feature = "pico")]
mod bus_reset;
mod chip;
mod crash;
mod keep;
mod link;
mod oled;
mod pins;
mod sampler;
mod serial;
mod signal;
mod sounder;
mod usb;
mod vitals;

#[cfg(feature = "defmt")]
use defmt_rtt as _;

use embassy_executor::{InterruptExecutor, Spawner};
use embassy_rp::gpio::{Input, Level, Output, Pull};
use embassy_rp::interrupt;
use embassy_rp::interrupt::{InterruptExt, Priority};
use embassy_rp::uart::{BufferedInterruptHandler, BufferedUart, Config as UartConfig};
use embassy_rp::watchdog::Watchdog;
use embassy_rp::{bind_interrupts, peripherals};
use embassy_time::{Duration, Instant, Timer};
use portable_atomic::{AtomicU32, Ordering};
use static_cell::StaticCell;
use turntally_core::bench::Bench;
use turntally_core::time;
use turntally_firmware::app::App;
use turntally_firmware::panel::{KeyPin, Knob, Panel};
use turntally_firmware::pwm::PwmSounder;
use turntally_firmware::ring::{Found, RingReader};

use crate::chip::BoardFlash;
use crate::pins::Pins;
use crate::sampler::{DmaRing, SAMPLE_PERIOD_NS, SamplerPins};
use crate::sounder::SounderSlice;

bind_interrupts!(struct Irqs {
    UART0_IRQ => BufferedInterruptHandler<peripherals::UART0>;
});

/// From one tick to the next.
const TICK: Duration = Duration::from_millis(1);
/// The watchdog's patience: well above the longest flash erase, well below a user's.
const PATIENCE: Duration = Duration::from_millis(2_000);
/// How long the slow part may not run before the tick lets the watchdog bite, in ticks.
const SLOW_PATIENCE: u32 = 4_000;

type Front = Panel<
    Input<'static>,
    Input<'static>,
    Input<'static>,
    Input<'static>,
    Output<'static>,
    Output<'static>,
    Output<'static>,
    Output<'static>,
    PwmSounder<SounderSlice>,
>;

/// Runs the tick above everything that is not an interrupt of the hardware.
static TICKER: InterruptExecutor = InterruptExecutor::new();
/// Runs what a computer may wait for only so long, between the two.
static PROMPT: InterruptExecutor = InterruptExecutor::new();
/// Runs what is slow, above what waits for the flash.
static SLOW: InterruptExecutor = InterruptExecutor::new();
static APP: StaticCell<App> = StaticCell::new();
/// Counts up as long as the slow part runs.
static HEARTBEAT: AtomicU32 = AtomicU32::new(0);

#[interrupt]
unsafe fn SWI_IRQ_1() {
    // SAFETY: this is the handler of the interrupt that the executor was started with.
    unsafe { TICKER.on_interrupt() }
}

#[interrupt]
unsafe fn SWI_IRQ_2() {
    // SAFETY: as above.
    unsafe { PROMPT.on_interrupt() }
}

#[interrupt]
unsafe fn SWI_IRQ_3() {
    // SAFETY: as above.
    unsafe { SLOW.on_interrupt() }
}

#[embassy_executor::main]
async fn main(_spawner: Spawner) {
    let pins = Pins::new(embassy_rp::init(embassy_rp::config::Config::default()));
    // First of all: what moves during the rest of the start is counted too.
    let ring = DmaRing::start(SamplerPins {
        pio: pins.pio,
        encoder_a: pins.encoder_a,
        encoder_b: pins.encoder_b,
        dma: pins.sampler_dma,
    });
    let (slice, sounder) = pins.sounder;
    let (red, yellow, green) = pins.lamp;
    let front = Panel {
        yes: KeyPin::new(Input::new(pins.yes, Pull::Up)),
        no: KeyPin::new(Input::new(pins.no, Pull::Up)),
        knob: Knob::new(Input::new(pins.knob.0, Pull::Up), Input::new(pins.knob.1, Pull::Up)),
        red: Output::new(red, Level::Low),
        yellow: Output::new(yellow, Level::Low),
        green: Output::new(green, Level::Low),
        stop: Output::new(pins.stop, Level::Low),
        sounder: PwmSounder::new(SounderSlice::new(slice, sounder)),
    };
    let mut watchdog = Watchdog::new(pins.watchdog);
    let notice = crash::take(&mut watchdog);
    watchdog.start(PATIENCE);

    let mut bench = Bench::new();
    let born = born::settings();
    bench.set_up(born);
    let app = APP.init_with(|| App::new(bench, born.build.pulses, SAMPLE_PERIOD_NS));
    app.expect_store();
    let mut flash = BoardFlash::new_blocking(pins.flash);
    let id = chip::id(&mut flash);
    app.identify(id);
    if let Some(notice) = notice {
        app.report(notice);
    }
    let jobs = app.bench().jobs().places();
    #[cfg(feature = "defmt")]
    defmt::info!("counting after {} us", Instant::now().as_micros());

    interrupt::SWI_IRQ_1.set_priority(Priority::P1);
    let next = oled::next();
    let above = TICKER.start(interrupt::SWI_IRQ_1);
    // Each task has its own place and is spawned once: there is no way for this to fail.
    if let Ok(task) = tick(app, ring, front, watchdog, next) {
        above.spawn(task);
    }
    interrupt::SWI_IRQ_2.set_priority(Priority::P2);
    let prompt = PROMPT.start(interrupt::SWI_IRQ_2);
    interrupt::SWI_IRQ_3.set_priority(Priority::P3);
    let slow = SLOW.start(interrupt::SWI_IRQ_3);
    if let Ok(task) = oled::run(pins.screen, next) {
        slow.spawn(task);
    }
    static OUT: StaticCell<[u8; 512]> = StaticCell::new();
    // A tenth of a second of bytes: an answer may have to wait for the flash.
    static IN: StaticCell<[u8; 1_024]> = StaticCell::new();
    let (port, transmit, receive) = pins.serial;
    let config = UartConfig::default();
    let uart =
        BufferedUart::new(port, transmit, receive, Irqs, OUT.init([0; 512]), IN.init([0; 1_024]), config);
    pins::pull_up_receive();
    if let Ok(task) = serial::run(uart) {
        slow.spawn(task);
    }
    if let Ok(task) = heartbeat() {
        slow.spawn(task);
    }
    usb::start(pins.usb, id, prompt, slow);
    keep::run(flash, jobs).await
}

/// Shows the tick that the slow part runs.
#[embassy_executor::task]
async fn heartbeat() -> ! {
    loop {
        HEARTBEAT.store(HEARTBEAT.load(Ordering::Relaxed).wrapping_add(1), Ordering::Relaxed);
        Timer::after_millis(100).await;
    }
}

/// The counter itself, every millisecond.
#[embassy_executor::task]
async fn tick(
    app: &'static mut App,
    ring: DmaRing,
    front: Front,
    watchdog: Watchdog,
    next: &'static oled::Next,
) -> ! {
    let (reader, slow) = (RingReader::new(), Patience::default());
    let mut tick = Tick {
        app,
        ring,
        front,
        watchdog,
        next,
        reader,
        slow,
        unshown: false,
        lost: 0,
        longest: 0,
        ticks: 0,
    };
    let mut due = Instant::now();
    loop {
        Timer::at(due).await;
        tick.run();
        // A tick that was missed is not made up for: keys are debounced by ticks.
        due = (due + TICK).max(Instant::now());
    }
}

/// What the tick works with.
struct Tick {
    app: &'static mut App,
    ring: DmaRing,
    front: Front,
    watchdog: Watchdog,
    next: &'static oled::Next,
    reader: RingReader,
    slow: Patience,
    /// The screen has still to take the newest view.
    unshown: bool,
    /// Words of samples that were lost.
    lost: u64,
    /// The longest tick, microseconds.
    longest: u64,
    ticks: u32,
}

impl Tick {
    // In RAM it never waits for the flash, however much has been through its cache since the tick before.
    // SAFETY: cortex-m-rt copies `.data` to RAM before anything runs; no other section has the name.
    #[unsafe(link_section = ".data.tick")]
    #[inline(never)]
    fn run(&mut self) {
        let Self { app, ring, reader, .. } = self;
        let begun = Instant::now();
        vitals::at(1);
        // The sampler's words carry their own time: how late they are read changes nothing.
        let clock = ring.clock();
        self.lost += drain(app, ring, reader);
        vitals::at(2);
        let now = clock.now(reader.read(), time::Instant::from_micros(begun.as_micros()));
        keep::tell(app);
        oled::report(app);
        _ = app.poll(now, &mut self.front);
        link::answer(app);
        keep::take(app);
        vitals::at(3);
        self.unshown |= app.redraw_due(now);
        if self.unshown {
            self.unshown = !oled::show(self.next, app.view());
        }
        if self.ticks.is_multiple_of(20) {
            vitals::publish(app, now, self.lost, reader.furthest_behind(), self.longest);
        }
        if self.slow.lasts() {
            self.watchdog.feed(PATIENCE);
        }
        self.ticks = self.ticks.wrapping_add(1);
        self.longest = self.longest.max(begun.elapsed().as_micros());
        vitals::at(0);
    }
}

/// Gives the counter all samples that have come; the words that were lost.
// SAFETY: in RAM, as above.
#[unsafe(link_section = ".data.drain")]
#[inline(never)]
fn drain(app: &mut App, ring: &mut DmaRing, reader: &mut RingReader) -> u64 {
    let (clock, mut lost) = (ring.clock(), 0);
    reader.drain(ring, |found| match found {
        Found::Word { word, .. } if app.is_still(word) => {}
        Found::Word { word, index } => decode(app, word, clock.end_of(index)),
        Found::Lost(words) => {
            lost += words.0;
            app.samples_lost();
        }
    });
    lost
}

/// Gives the counter a word in which something moved.
// SAFETY: in RAM, as above.
#[unsafe(link_section = ".data.decode")]
#[inline(never)]
fn decode(app: &mut App, word: u32, end: time::Instant) {
    app.samples(Ok(Some(word)), end);
}

/// Watches that the slow part runs.
#[derive(Debug, Default)]
struct Patience {
    seen: u32,
    ticks: u32,
}

impl Patience {
    /// To be called every tick: whether the slow part has run lately.
    fn lasts(&mut self) -> bool {
        let beat = HEARTBEAT.load(Ordering::Relaxed);
        self.ticks = if beat == self.seen { self.ticks.saturating_add(1) } else { 0 };
        self.seen = beat;
        self.ticks < SLOW_PATIENCE
    }
}
