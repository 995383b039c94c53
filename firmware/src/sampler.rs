//! From two pins to words of samples.

use embedded_hal::digital::InputPin;

/// Samples A and B by reading two pins, and packs 16 samples to a word, the oldest in the lowest bits.
///
/// For boards without hardware that samples by itself. To be called at a fixed rate; every level of
/// the encoder must last at least one call, so the rate must be above the edges per second, and well
/// above where contacts bounce.
#[derive(Debug)]
pub struct PinSampler<A, B> {
    a: A,
    b: B,
    word: u32,
    filled: u32,
}

/// A pin could not be read: the samples of this word are gone.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct PinUnread;

impl core::fmt::Display for PinUnread {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        f.write_str("an encoder pin could not be read")
    }
}

impl core::error::Error for PinUnread {}

impl<A: InputPin, B: InputPin> PinSampler<A, B> {
    /// Takes the two encoder pins.
    pub const fn new(a: A, b: B) -> Self {
        Self { a, b, word: 0, filled: 0 }
    }

    /// Reads both pins once; every 16th call returns a word.
    ///
    /// # Errors
    /// [`PinUnread`] where a pin could not be read; the samples collected so far are dropped.
    #[inline]
    pub fn sample(&mut self) -> Result<Option<u32>, PinUnread> {
        let (Ok(a), Ok(b)) = (self.a.is_high(), self.b.is_high()) else {
            self.filled = 0;
            return Err(PinUnread);
        };
        // New samples come in at the top and move down: the first of sixteen ends at the bottom.
        self.word = self.word >> 2 | u32::from(a) << 31 | u32::from(b) << 30;
        self.filled += 1;
        if self.filled < 16 {
            return Ok(None);
        }
        self.filled = 0;
        Ok(Some(self.word))
    }
}
