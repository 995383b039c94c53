//! Which of the tester's pins goes to which pin of the counter.
//!
//! Every wire joins two pins of the same number, but for the serial line, which is crossed.
//!
//! | pin | GPIO | wire | pin of the counter |
//! | --- | --- | --- | --- |
//! | 1 | 0 | UART TX | 2 |
//! | 2 | 1 | UART RX | 1 |
//! | 4 | 2 | encoder B | 4 |
//! | 5 | 3 | encoder A | 5 |
//! | 9, 10 | 6, 7 | knob A, B | 9, 10 |
//! | 11 | 8 | key Yes | 11 |
//! | 12 | 9 | key No | 12 |
//! | 14, 15, 16 | 10, 11, 12 | lamp red, yellow, green | 14, 15, 16 |
//! | 17 | 13 | stop line | 17 |
//! | 19 | 14 | sounder | 19 |
//! | 26, 27 | 20, 21 | report TX, RX | none: a USB-serial adapter |
//!
//! B and A must be neighbours, B the lower: a state machine plays them as one number. The outputs of the counter must be
//! neighbours in the order of [`Output`](turntally_firmware::tester::watch::Output): they are read as one.

use embassy_rp::peripherals as p;
use embassy_rp::{Peri, Peripherals};

/// GPIO of the first of the counter's outputs: lamp red.
pub const FIRST_OUTPUT: u32 = 10;

/// GPIO of encoder B; A is the next one.
pub const FIRST_ENCODER: u32 = 2;

/// The pins by their use.
#[allow(missing_debug_implementations, reason = "the chip's pins are not printable")]
pub struct Pins {
    /// Encoder channel A.
    pub encoder_a: Peri<'static, p::PIN_3>,
    /// Encoder channel B.
    pub encoder_b: Peri<'static, p::PIN_2>,
    /// The state machine that plays them.
    pub pio: Peri<'static, p::PIO0>,
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
    /// Sounder.
    pub sounder: Peri<'static, p::PIN_14>,
    /// Serial line to the counter: port, transmit, receive.
    pub serial: (Peri<'static, p::UART0>, Peri<'static, p::PIN_0>, Peri<'static, p::PIN_1>),
    /// Serial line to a computer, for the report: port, transmit, receive.
    pub report: (Peri<'static, p::UART1>, Peri<'static, p::PIN_20>, Peri<'static, p::PIN_21>),
}

impl Pins {
    /// Gives each of the chip's pins its use.
    pub fn new(p: Peripherals) -> Self {
        Self {
            encoder_a: p.PIN_3,
            encoder_b: p.PIN_2,
            pio: p.PIO0,
            knob: (p.PIN_6, p.PIN_7),
            yes: p.PIN_8,
            no: p.PIN_9,
            lamp: (p.PIN_10, p.PIN_11, p.PIN_12),
            stop: p.PIN_13,
            sounder: p.PIN_14,
            serial: (p.UART0, p.PIN_0, p.PIN_1),
            report: (p.UART1, p.PIN_20, p.PIN_21),
        }
    }
}
