//! Which pin is what: the one place where pins have numbers.
//!
//! | pin | GPIO | what | on the other end |
//! | --- | --- | --- | --- |
//! | 1, 2 | 0, 1 | UART transmit, receive | a computer, 3.3 V levels; receive is pulled up |
//! | 4 | 2 | encoder B | pulled up; 3.3 V levels only |
//! | 5 | 3 | encoder A | pulled up; 3.3 V levels only |
//! | 6, 7 | 4, 5 | I2C data, clock | the screen, with its pull-ups |
//! | 9, 10 | 6, 7 | knob A, B | switches to ground |
//! | 11 | 8 | key Yes | switch to ground |
//! | 12 | 9 | key No | switch to ground |
//! | 14, 15, 16 | 10, 11, 12 | lamp red, yellow, green | a resistor and a LED to ground each |
//! | 17 | 13 | stop line, low: do not turn | with a pull-down: it floats while the chip starts |
//! | 19 | 14 | sounder | a piezo or a small transistor stage |
//!
//! GPIO15 and GPIO16 are to stay free: on early chips `bus_reset` borrows them at each reset of the USB bus.
//!
//! A and B must be neighbours, B the lower, because the sampler reads them as one number with A
//! above B. The other pins may be moved within what the chip's function table allows.

use embassy_rp::peripherals as p;
use embassy_rp::{Peri, Peripherals, pac};

/// Encoder channel B; A is the next pin.
pub type EncoderB = p::PIN_2;
/// Encoder channel A.
pub type EncoderA = p::PIN_3;
/// The screen's data line.
pub type ScreenData = p::PIN_4;
/// The screen's clock line.
pub type ScreenClock = p::PIN_5;
/// The sampler's two DMA channels, by number: raw registers are used, see `sampler`.
pub const SAMPLER_DMA: [usize; 2] = [10, 11];

/// The pins by their use.
#[allow(missing_debug_implementations, reason = "the chip's pins are not printable")]
pub struct Pins {
    /// Encoder channel A.
    pub encoder_a: Peri<'static, EncoderA>,
    /// Encoder channel B.
    pub encoder_b: Peri<'static, EncoderB>,
    /// The state machine that samples.
    pub pio: Peri<'static, p::PIO0>,
    /// The DMA channels of [`SAMPLER_DMA`], held so that nothing else can have them.
    pub sampler_dma: (Peri<'static, p::DMA_CH10>, Peri<'static, p::DMA_CH11>),
    /// The screen.
    pub screen: ScreenPins,
    /// Knob, A and B.
    pub knob: (Peri<'static, p::PIN_6>, Peri<'static, p::PIN_7>),
    /// Key Yes.
    pub yes: Peri<'static, p::PIN_8>,
    /// Key No.
    pub no: Peri<'static, p::PIN_9>,
    /// Lamp red, yellow, green.
    pub lamp: (Peri<'static, p::PIN_10>, Peri<'static, p::PIN_11>, Peri<'static, p::PIN_12>),
    /// Stop line.
    pub stop: Peri<'static, p::PIN_13>,
    /// Sounder and the PWM slice that its pin belongs to, on its output A.
    pub sounder: (Peri<'static, p::PWM_SLICE7>, Peri<'static, p::PIN_14>),
    /// Serial line to a computer: port, transmit, receive.
    pub serial: (Peri<'static, p::UART0>, Peri<'static, p::PIN_0>, Peri<'static, p::PIN_1>),
    /// The USB port.
    pub usb: Peri<'static, p::USB>,
    /// The flash, for what is kept in it.
    pub flash: Peri<'static, p::FLASH>,
    /// The watchdog.
    pub watchdog: Peri<'static, p::WATCHDOG>,
}

/// The screen's bus.
#[allow(missing_debug_implementations, reason = "the chip's pins are not printable")]
pub struct ScreenPins {
    /// Bus controller.
    pub bus: Peri<'static, p::I2C0>,
    /// Data.
    pub sda: Peri<'static, ScreenData>,
    /// Clock.
    pub scl: Peri<'static, ScreenClock>,
}

/// Pulls the serial line's receive pin up. The port's driver leaves it without a pull: with no adapter on it, it
/// would float, and what it picks up would be read as bytes. To be called once the driver has the pin.
pub fn pull_up_receive() {
    // Of what `Pins::new` gives the serial line.
    const RECEIVE: usize = 1;
    pac::PADS_BANK0.gpio(RECEIVE).modify(|pad| pad.set_pue(true));
}

impl Pins {
    /// Gives each of the chip's pins its use.
    pub fn new(p: Peripherals) -> Self {
        Self {
            encoder_a: p.PIN_3,
            encoder_b: p.PIN_2,
            pio: p.PIO0,
            sampler_dma: (p.DMA_CH10, p.DMA_CH11),
            screen: ScreenPins { bus: p.I2C0, sda: p.PIN_4, scl: p.PIN_5 },
            knob: (p.PIN_6, p.PIN_7),
            yes: p.PIN_8,
            no: p.PIN_9,
            lamp: (p.PIN_10, p.PIN_11, p.PIN_12),
            stop: p.PIN_13,
            sounder: (p.PWM_SLICE7, p.PIN_14),
            serial: (p.UART0, p.PIN_0, p.PIN_1),
            usb: p.USB,
            flash: p.FLASH,
            watchdog: p.WATCHDOG,
        }
    }
}
