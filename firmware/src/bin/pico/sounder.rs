//! The slice that the sounder hangs on.

use embassy_rp::Peri;
use embassy_rp::clocks::clk_sys_freq;
use embassy_rp::peripherals::{PIN_14, PWM_SLICE7};
use embassy_rp::pwm::{Config, Pwm};
use turntally_firmware::pwm::{COUNT_HZ, Slice, Wave};

/// Output A of slice 7.
#[allow(missing_debug_implementations, reason = "the chip's PWM is not printable")]
pub struct SounderSlice {
    pwm: Pwm<'static>,
    config: Config,
}

impl SounderSlice {
    /// Low at first.
    pub fn new(slice: Peri<'static, PWM_SLICE7>, pin: Peri<'static, PIN_14>) -> Self {
        let mut config = Config::default();
        // 125 at 125 MHz, 150 at 150; a divider holds up to 255.
        config.divider = u8::try_from(clk_sys_freq() / COUNT_HZ).unwrap_or(u8::MAX).into();
        (config.top, config.compare_a) = (Wave::SILENCE.top, Wave::SILENCE.compare);
        Self { pwm: Pwm::new_output_a(slice, pin, config.clone()), config }
    }
}

impl Slice for SounderSlice {
    fn set(&mut self, wave: Wave) {
        let before = self.config.top;
        (self.config.top, self.config.compare_a) = (wave.top, wave.compare);
        self.pwm.set_config(&self.config);
        // The slice takes a new period over only where the old one ends; so it ends now.
        self.pwm.set_counter(before);
    }
}
