//! The Pico as the tester's board.

use core::fmt::{self, Write as _};

use embassy_rp::gpio::{Input, Level, OutputOpenDrain, Pull};
use embassy_rp::interrupt;
use embassy_rp::interrupt::InterruptExt;
use embassy_rp::pac;
use embassy_rp::uart::{Blocking, Config, Uart};
use heapless::String;
use turntally_core::time::{Duration, Instant};
use turntally_firmware::tester::board::{Board, COARSE, Grain, Input as Wire, Late};
use turntally_firmware::tester::watch::{Output, Watch};
use turntally_firmware::tester::wave::Step;

use crate::encoder::Player;
use crate::pins::{FIRST_ENCODER, FIRST_OUTPUT, Pins};

/// Of the longest line of a report.
const LINE: usize = 256;
/// Waits shorter than this are not slept through.
const NAP: Duration = Duration::from_micros(20);
/// An alarm closer than this may have passed before the processor sleeps.
const SOON: Duration = Duration::from_micros(3);
/// The last edge of a wave comes out at most so long after its time, and a thousandth of the whole wave: in an emulator
/// state machines lag behind the clock.
const LAG: Duration = Duration::from_millis(1);

/// The board.
pub struct Tester {
    player: Player,
    knob_a: OutputOpenDrain<'static>,
    knob_b: OutputOpenDrain<'static>,
    yes: OutputOpenDrain<'static>,
    no: OutputOpenDrain<'static>,
    /// Held for ever: dropping them would give the pins back.
    _outputs: [Input<'static>; 5],
    serial: Uart<'static, Blocking>,
    report: Uart<'static, Blocking>,
    watch: Watch,
}

/// Wakes the processor, and does nothing else.
#[interrupt]
fn TIMER_IRQ_1() {
    pac::TIMER.intr().write(|intr| intr.set_alarm(1, true));
}

impl Tester {
    /// Takes the pins: encoder low, keys and knob released.
    pub fn new(pins: Pins) -> Self {
        let released = Level::High;
        let (red, yellow, green) = pins.lamp;
        let (port, transmit, receive) = pins.serial;
        let serial = Uart::new_blocking(port, transmit, receive, Config::default());
        let (port, transmit, receive) = pins.report;
        let report = Uart::new_blocking(port, transmit, receive, Config::default());
        // What nothing is connected to would otherwise read as bytes.
        for receive in [1, 21] {
            pac::PADS_BANK0.gpio(receive).modify(|pad| pad.set_pue(true));
        }
        pac::TIMER.inte().modify(|inte| inte.set_alarm(1, true));
        // SAFETY: its handler needs nothing that could be missing.
        unsafe { interrupt::TIMER_IRQ_1.enable() };
        Self {
            player: Player::new(pins.pio, pins.encoder_a, pins.encoder_b),
            knob_a: OutputOpenDrain::new(pins.knob.0, released),
            knob_b: OutputOpenDrain::new(pins.knob.1, released),
            yes: OutputOpenDrain::new(pins.yes, released),
            no: OutputOpenDrain::new(pins.no, released),
            // One that ends nowhere reads as low.
            _outputs: [
                Input::new(red, Pull::Down),
                Input::new(yellow, Pull::Down),
                Input::new(green, Pull::Down),
                Input::new(pins.stop, Pull::Down),
                Input::new(pins.sounder, Pull::Down),
            ],
            serial,
            report,
            watch: Watch::default(),
        }
    }

    fn pin(&mut self, wire: Wire) -> &mut OutputOpenDrain<'static> {
        match wire {
            Wire::KnobA => &mut self.knob_a,
            Wire::KnobB => &mut self.knob_b,
            Wire::Yes => &mut self.yes,
            Wire::No => &mut self.no,
        }
    }

    /// Looks at the outputs. The time is taken after the levels: no delay is made shorter by it.
    fn look(&mut self) {
        const ALL: u32 = (1 << Output::ALL.len()) - 1;
        let levels = pac::SIO.gpio_in(0).read() >> FIRST_OUTPUT & ALL;
        let now = self.now();
        self.watch.take(levels as u8, now);
    }

    /// Sleeps until then, or not at all if it is soon.
    fn sleep_until(&self, until: Instant) {
        if until.since(self.now()) < NAP {
            return;
        }
        cortex_m::interrupt::free(|_| {
            // The low half of the clock; it fires when both are equal, so at once it must not have passed.
            pac::TIMER.alarm(1).write_value(until.as_micros() as u32);
            if until.since(self.now()) >= SOON {
                // It wakes for an interrupt that is held back, too.
                cortex_m::asm::wfi();
            }
        });
    }

    /// Waits for the last edge of a wave, due at `due`, and stops. All is pushed, so that the levels before the last ones
    /// are others: the pins themselves show when the edge has come.
    fn last_edge(&mut self, start: Instant, due: Instant, levels: u8) -> Result<Instant, Late> {
        let latest = due + LAG + Duration::from_micros(due.since(start).as_micros() / 1_000);
        // The look before the edge was seen: no delay after the edge is made shorter by this.
        let mut before = self.now();
        loop {
            self.look();
            if self.player.is_empty() && encoder_levels() == levels {
                self.player.stop();
                return Ok(before);
            }
            before = self.now();
            if before > latest {
                self.player.stop();
                return Err(Late);
            }
            if due.since(before) > COARSE {
                self.sleep_until(before + COARSE);
            }
        }
    }

    /// A byte that has come from a computer.
    pub fn command(&mut self) -> Option<u8> {
        received(pac::UART1)
    }

    /// Sends text to a computer.
    pub fn print(&mut self, text: &str) {
        // A UART without flow control takes every byte.
        _ = self.report.blocking_write(text.as_bytes());
    }
}

/// The levels of the encoder's pins: A in bit 1, B in bit 0.
fn encoder_levels() -> u8 {
    (pac::SIO.gpio_in(0).read() >> FIRST_ENCODER & 0b11) as u8
}

/// A byte of a port, if one has come. One that arrived broken is passed on: its frame is no message.
fn received(port: pac::uart::Uart) -> Option<u8> {
    (!port.uartfr().read().rxfe()).then(|| port.uartdr().read().data())
}

impl Board for Tester {
    fn now(&self) -> Instant {
        Instant::from_micros(embassy_time::Instant::now().as_micros())
    }

    fn close(&mut self, wire: Wire, closed: bool) {
        let level = if closed { Level::Low } else { Level::High };
        self.pin(wire).set_level(level);
    }

    fn is_high(&mut self, wire: Wire) -> bool {
        self.pin(wire).is_high()
    }

    fn wait(&mut self, span: Duration, grain: Grain) {
        let end = self.now() + span;
        loop {
            self.look();
            let now = self.now();
            if now >= end {
                return;
            }
            if grain == Grain::Coarse {
                self.sleep_until(end.min(now + COARSE));
            }
        }
    }

    fn play(&mut self, wave: &mut dyn Iterator<Item = Step>) -> Result<Instant, Late> {
        let mut wave = wave.peekable();
        // What fits before the start is there from the start.
        let (mut pushed, mut last) = (Duration::ZERO, Duration::ZERO);
        let mut levels = 0;
        let mut push = |player: &mut Player, pushed: &mut Duration, last: &mut Duration| {
            while let Some(&step) = wave.peek() {
                if !player.push(step) {
                    return true;
                }
                wave.next();
                *last = *pushed;
                *pushed = *pushed + step.lasts;
                levels = step.levels;
            }
            false
        };
        let mut more = push(&mut self.player, &mut pushed, &mut last);
        let start = self.now();
        self.player.start();
        while more {
            self.look();
            if self.player.is_empty() && self.now() >= start + pushed {
                self.player.stop();
                return Err(Late);
            }
            more = push(&mut self.player, &mut pushed, &mut last);
            if more && last_is_far(start + last, self.now()) {
                self.sleep_until(self.now() + COARSE);
            }
        }
        self.last_edge(start, start + last, levels)
    }

    fn watch(&mut self) -> &mut Watch {
        &mut self.watch
    }

    fn send(&mut self, bytes: &[u8]) {
        // As above.
        _ = self.serial.blocking_write(bytes);
    }

    fn receive(&mut self) -> Option<u8> {
        received(pac::UART0)
    }

    fn report(&mut self, line: fmt::Arguments<'_>) {
        let mut text: String<LINE> = String::new();
        // The longest line is shorter.
        _ = writeln!(text, "{line}");
        self.print(&text);
    }
}

/// The last edge that was pushed is so far ahead that a nap costs none.
fn last_is_far(last: Instant, now: Instant) -> bool {
    last.since(now) > COARSE + COARSE
}
