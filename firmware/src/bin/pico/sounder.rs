//! The sounder on a PWM slice.

use embassy_rp::Peri;
use embassy_rp::clocks::clk_sys_freq;
use embassy_rp::peripherals::{PIN_15, PWM_SLICE7};
use embassy_rp::pwm::{Config, Pwm};
use turntally_core::settings::Loudness;
use turntally_firmware::panel::Sounder;

/// What the slice counts with: fine enough that 2,000 Hz is exact.
const COUNT_HZ: u32 = 1_000_000;

/// A piezo or a small loudspeaker stage, driven by a square wave.
#[allow(missing_debug_implementations, reason = "the chip's PWM is not printable")]
pub struct PwmSounder {
    pwm: Pwm<'static>,
    config: Config,
    hertz: Option<u16>,
    /// The share of a period that the wave is high, as one part in so many.
    part: u32,
}

impl PwmSounder {
    /// Silent at first.
    pub fn new(slice: Peri<'static, PWM_SLICE7>, pin: Peri<'static, PIN_15>) -> Self {
        let mut config = Config::default();
        // 125 at 125 MHz, 150 at 150; a divider holds up to 255.
        config.divider = u8::try_from(clk_sys_freq() / COUNT_HZ).unwrap_or(u8::MAX).into();
        config.compare_b = 0;
        Self {
            pwm: Pwm::new_output_b(slice, pin, config.clone()),
            config,
            hertz: None,
            part: part(Loudness::default()),
        }
    }
}

/// A square wave is loudest with equal halves; a narrow one is soft.
const fn part(loudness: Loudness) -> u32 {
    match loudness {
        Loudness::Soft => 32,
        Loudness::Medium => 8,
        Loudness::Full => 2,
    }
}

impl Sounder for PwmSounder {
    fn set(&mut self, hertz: Option<u16>) {
        // Only when it changes: setting it again would start a new period each millisecond.
        if hertz == self.hertz {
            return;
        }
        self.hertz = hertz;
        let before = self.config.top;
        (self.config.top, self.config.compare_b) = match hertz {
            Some(hertz) => {
                let period = COUNT_HZ / u32::from(hertz.max(16));
                ((period - 1) as u16, (period / self.part) as u16)
            }
            None => (before, 0),
        };
        self.pwm.set_config(&self.config);
        // The slice takes a new period over only where the old one ends; so it ends now.
        self.pwm.set_counter(before);
    }

    fn set_loudness(&mut self, loudness: Loudness) {
        self.part = part(loudness);
        // The note that sounds is set again.
        let hertz = self.hertz.take();
        self.set(hertz);
    }
}
