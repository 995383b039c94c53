//! The sounder as a square wave from a PWM slice: what to count to for a note, on any board.

use turntally_core::settings::Loudness;

use crate::panel::Sounder;

/// What a slice is to count with: fine enough that 2,000 Hz is exact.
pub const COUNT_HZ: u32 = 1_000_000;

/// What a slice counts to, and how far into it the pin is high.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Wave {
    /// The last count of a period.
    pub top: u16,
    /// The first count at which the pin is low.
    pub compare: u16,
}

impl Wave {
    /// The pin stays low.
    pub const SILENCE: Self = Self { top: 999, compare: 0 };

    /// A rectangular wave; nothing below 16 Hz fits a slice. It is loudest with equal halves; a narrow one
    /// is soft.
    #[must_use]
    pub fn note(hertz: u16, loudness: Loudness) -> Self {
        let period = COUNT_HZ / u32::from(hertz.max(16));
        let part = match loudness {
            Loudness::Off => return Self::SILENCE,
            Loudness::Soft => 32,
            Loudness::Medium => 8,
            Loudness::Full => 2,
        };
        Self { top: (period - 1) as u16, compare: (period / part) as u16 }
    }

    /// Counts from one rise of the pin to the next, so microseconds; none while it stays low.
    #[must_use]
    pub fn period(self) -> Option<u32> {
        (self.compare > 0).then_some(u32::from(self.top) + 1)
    }
}

/// A PWM slice that counts at [`COUNT_HZ`].
pub trait Slice {
    /// Runs this wave from now on. The period that runs ends at once: a note begins with its rise.
    fn set(&mut self, wave: Wave);
}

/// A piezo or a small loudspeaker stage on a slice. Silent at first.
#[derive(Debug)]
pub struct PwmSounder<S> {
    slice: S,
    hertz: Option<u16>,
    loudness: Loudness,
}

impl<S: Slice> PwmSounder<S> {
    /// Takes a slice that stays low.
    pub fn new(slice: S) -> Self {
        Self { slice, hertz: None, loudness: Loudness::default() }
    }
}

impl<S: Slice> Sounder for PwmSounder<S> {
    fn set(&mut self, hertz: Option<u16>) {
        // Only when it changes: setting it again would start a new period each millisecond.
        if hertz != self.hertz {
            self.hertz = hertz;
            self.slice.set(hertz.map_or(Wave::SILENCE, |hertz| Wave::note(hertz, self.loudness)));
        }
    }

    fn set_loudness(&mut self, loudness: Loudness) {
        self.loudness = loudness;
        // The note that sounds is begun again.
        let hertz = self.hertz.take();
        self.set(hertz);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Every note that can be asked for is made within 0.25 %, up to the highest in use.
    #[test]
    fn notes_are_in_tune() {
        for loudness in [Loudness::Soft, Loudness::Medium, Loudness::Full] {
            let note = |hertz| Wave::note(hertz, loudness);
            for hertz in 16..=2_500_u16 {
                let period = note(hertz).period().map(f64::from);
                let made = period.map_or(0.0, |period| f64::from(COUNT_HZ) / period);
                assert!((made / f64::from(hertz) - 1.0).abs() < 2.5e-3, "{hertz} Hz: {made}");
            }
            assert_eq!(note(0), note(16));
            assert_eq!((Wave::SILENCE.period(), note(2_000).period()), (None, Some(500)));
        }
    }

    /// A note that goes on is not begun again.
    #[test]
    fn a_note_that_goes_on_is_left_alone() {
        struct Count(u32);
        impl Slice for Count {
            fn set(&mut self, _: Wave) {
                self.0 += 1;
            }
        }
        let mut sounder = PwmSounder::new(Count(0));
        for hertz in [None, Some(800), Some(800), Some(1_300), Some(1_300), None, None] {
            sounder.set(hertz);
        }
        assert_eq!(sounder.slice.0, 3);
    }

    /// Louder is wider, and a note that sounds changes at once.
    #[test]
    fn loudness_is_the_width_of_the_wave() {
        struct Keep(Wave);
        impl Slice for Keep {
            fn set(&mut self, wave: Wave) {
                self.0 = wave;
            }
        }
        let mut sounder = PwmSounder::new(Keep(Wave::SILENCE));
        sounder.set(Some(2_000));
        let mut widths = [0; 3];
        for (loudness, width) in
            [Loudness::Soft, Loudness::Medium, Loudness::Full].into_iter().zip(&mut widths)
        {
            sounder.set_loudness(loudness);
            *width = sounder.slice.0.compare;
        }
        assert_eq!(widths, [15, 62, 250]);
        sounder.set(None);
        sounder.set_loudness(Loudness::Soft);
        assert_eq!(sounder.slice.0, Wave::SILENCE);
    }
}
