//! What the outputs of the counter did since a moment.

use turntally_core::time::Instant;

/// An output of the counter.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Output {
    /// Lamp red.
    Red,
    /// Lamp yellow.
    Yellow,
    /// Lamp green.
    Green,
    /// The stop line.
    Stop,
    /// The sounder.
    Sounder,
}

impl Output {
    /// Each of them, in the order of their bits.
    pub const ALL: [Self; 5] = [Self::Red, Self::Yellow, Self::Green, Self::Stop, Self::Sounder];

    /// Its bit in a set of levels.
    #[must_use]
    pub const fn bit(self) -> u8 {
        1 << self as u8
    }
}

/// What one output did.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Seen {
    /// It was high at some time.
    pub high: bool,
    /// It was low at some time.
    pub low: bool,
    /// How often it rose.
    pub rises: u32,
    /// When it first rose.
    pub first_rise: Option<Instant>,
    /// When it last rose.
    pub last_rise: Option<Instant>,
    /// When it first fell.
    pub first_fall: Option<Instant>,
}

/// Follows the levels of all outputs.
#[derive(Debug, Clone, Default)]
pub struct Watch {
    levels: u8,
    seen: [Seen; Output::ALL.len()],
}

impl Watch {
    /// Forgets what was seen: only the levels of this moment stay.
    pub fn begin(&mut self) {
        let levels = self.levels;
        for (seen, output) in self.seen.iter_mut().zip(Output::ALL) {
            let high = levels & output.bit() != 0;
            *seen = Seen { high, low: !high, ..Seen::default() };
        }
    }

    /// Takes the levels of all outputs at a moment, each at its [bit](Output::bit).
    pub fn take(&mut self, levels: u8, at: Instant) {
        let changed = levels ^ self.levels;
        if changed == 0 {
            return;
        }
        self.levels = levels;
        for (seen, output) in self.seen.iter_mut().zip(Output::ALL) {
            if changed & output.bit() == 0 {
                continue;
            }
            if levels & output.bit() != 0 {
                seen.high = true;
                seen.rises += 1;
                seen.first_rise.get_or_insert(at);
                seen.last_rise = Some(at);
            } else {
                seen.low = true;
                seen.first_fall.get_or_insert(at);
            }
        }
    }

    /// What an output did since [`Self::begin`].
    #[must_use]
    pub fn of(&self, output: Output) -> Seen {
        self.seen.get(output as usize).copied().unwrap_or_default()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Rises, falls and the levels between are noted, from the moment on and not before.
    #[test]
    fn changes_are_noted_from_the_beginning_on() {
        let mut watch = Watch::default();
        let at = Instant::from_millis;
        watch.take(Output::Red.bit(), at(1));
        watch.begin();
        let red = watch.of(Output::Red);
        assert_eq!((red.high, red.low, red.rises), (true, false, 0));
        watch.take(Output::Stop.bit(), at(2));
        watch.take(Output::Stop.bit() | Output::Red.bit(), at(3));
        watch.take(Output::Stop.bit(), at(4));
        watch.take(Output::Stop.bit() | Output::Red.bit(), at(5));
        let red = watch.of(Output::Red);
        assert_eq!((red.rises, red.first_rise, red.last_rise), (2, Some(at(3)), Some(at(5))));
        assert_eq!(red.first_fall, Some(at(2)));
        assert_eq!(watch.of(Output::Stop).first_rise, Some(at(2)));
        assert_eq!(watch.of(Output::Green), Seen { low: true, ..Seen::default() });
    }
}
