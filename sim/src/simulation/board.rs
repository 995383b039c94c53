//! The desktop as a board: virtual pins and a virtual clock, under the same firmware library that
//! runs on the chip.

use std::cell::Cell;
use std::convert::Infallible;
use std::rc::Rc;

use embedded_hal::digital::{ErrorType, InputPin, OutputPin};
use turntally_firmware::panel::{KeyPin, Knob, Panel};
use turntally_firmware::pwm::{COUNT_HZ, PwmSounder, Slice, Wave};
use turntally_firmware::sampler::PinSampler;

/// The lines of the virtual board.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Line {
    /// Encoder channel A.
    EncoderA,
    /// Encoder channel B.
    EncoderB,
    /// The key that goes on; low is down.
    Yes,
    /// The key that goes back; low is down.
    No,
    /// Knob channel A.
    KnobA,
    /// Knob channel B.
    KnobB,
    /// Red lamp.
    Red,
    /// Yellow lamp.
    Yellow,
    /// Green lamp.
    Green,
    /// Stop line, low at "stop now".
    Stop,
    /// The sounder sounds; its note is in [`Lines::wave`].
    Sounding,
}

impl Line {
    /// Every line, in the order of their bits.
    pub const ALL: [Self; 11] = [
        Self::EncoderA,
        Self::EncoderB,
        Self::Yes,
        Self::No,
        Self::KnobA,
        Self::KnobB,
        Self::Red,
        Self::Yellow,
        Self::Green,
        Self::Stop,
        Self::Sounding,
    ];

    /// Its name in a capture.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::EncoderA => "enc_a",
            Self::EncoderB => "enc_b",
            Self::Yes => "key_yes_n",
            Self::No => "key_no_n",
            Self::KnobA => "knob_a",
            Self::KnobB => "knob_b",
            Self::Red => "lamp_red",
            Self::Yellow => "lamp_yellow",
            Self::Green => "lamp_green",
            Self::Stop => "may_turn",
            Self::Sounding => "sounder",
        }
    }

    const fn bit(self) -> u32 {
        1 << self as u32
    }
}

/// The levels of all lines, shared by what drives and what reads them.
#[derive(Debug)]
pub struct Lines {
    levels: Cell<u32>,
    wave: Cell<Wave>,
}

impl Lines {
    /// Keys up, knob and lamps low.
    #[must_use]
    pub fn new() -> Rc<Self> {
        let levels = Cell::new(Line::Yes.bit() | Line::No.bit());
        Rc::new(Self { levels, wave: Cell::new(Wave::SILENCE) })
    }

    /// Every level, one bit a line in the order of [`Line::ALL`].
    #[must_use]
    pub fn levels(&self) -> u32 {
        self.levels.get()
    }

    /// Whether this line is high.
    #[must_use]
    pub fn is_high(&self, line: Line) -> bool {
        self.levels.get() & line.bit() != 0
    }

    /// The note that sounds, to the nearest hertz.
    #[must_use]
    pub fn hertz(&self) -> Option<u16> {
        let period = self.wave().period()?;
        u16::try_from((COUNT_HZ + period / 2) / period).ok()
    }

    /// What the sounder's slice runs.
    #[must_use]
    pub fn wave(&self) -> Wave {
        self.wave.get()
    }

    /// Drives a line.
    pub fn set(&self, line: Line, high: bool) {
        let levels = self.levels.get();
        self.levels.set(if high { levels | line.bit() } else { levels & !line.bit() });
    }

    /// Drives both encoder lines at once: A in bit 1, B in bit 0.
    #[inline]
    pub fn set_encoder(&self, level: u8) {
        let (a, b) = (u32::from(level >> 1 & 1), u32::from(level & 1));
        // A is bit 0 and B bit 1 of the lines.
        self.levels.set(self.levels.get() & !0b11 | a | b << 1);
    }
}

/// One pin of the virtual board.
#[derive(Debug, Clone)]
pub struct Pin {
    lines: Rc<Lines>,
    bit: u32,
}

impl Pin {
    fn new(lines: &Rc<Lines>, line: Line) -> Self {
        Self { lines: Rc::clone(lines), bit: line.bit() }
    }
}

impl ErrorType for Pin {
    type Error = Infallible;
}

impl InputPin for Pin {
    #[inline]
    fn is_high(&mut self) -> Result<bool, Infallible> {
        Ok(self.lines.levels.get() & self.bit != 0)
    }

    #[inline]
    fn is_low(&mut self) -> Result<bool, Infallible> {
        Ok(self.lines.levels.get() & self.bit == 0)
    }
}

impl OutputPin for Pin {
    fn set_low(&mut self) -> Result<(), Infallible> {
        self.lines.levels.set(self.lines.levels.get() & !self.bit);
        Ok(())
    }

    fn set_high(&mut self) -> Result<(), Infallible> {
        self.lines.levels.set(self.lines.levels.get() | self.bit);
        Ok(())
    }
}

/// The virtual PWM slice with the sounder on it.
#[derive(Debug, Clone)]
pub struct VirtualSlice {
    lines: Rc<Lines>,
}

impl Slice for VirtualSlice {
    fn set(&mut self, wave: Wave) {
        self.lines.wave.set(wave);
        self.lines.set(Line::Sounding, wave.period().is_some());
    }
}

/// The virtual board's panel.
pub type DeskPanel = Panel<Pin, Pin, Pin, Pin, Pin, Pin, Pin, Pin, PwmSounder<VirtualSlice>>;

/// Takes the pins apart: the encoder's sampler, and the keys, knob and crank.
#[must_use]
pub fn pins(lines: &Rc<Lines>) -> (PinSampler<Pin, Pin>, DeskPanel) {
    let pin = |line| Pin::new(lines, line);
    let panel = Panel {
        yes: KeyPin::new(pin(Line::Yes)),
        no: KeyPin::new(pin(Line::No)),
        knob: Knob::new(pin(Line::KnobA), pin(Line::KnobB)),
        red: pin(Line::Red),
        yellow: pin(Line::Yellow),
        green: pin(Line::Green),
        stop: pin(Line::Stop),
        sounder: PwmSounder::new(VirtualSlice { lines: Rc::clone(lines) }),
    };
    (PinSampler::new(pin(Line::EncoderA), pin(Line::EncoderB)), panel)
}
