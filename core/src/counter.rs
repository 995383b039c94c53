//! From encoder counts to turns of the mandrel, exactly.

use core::fmt;
use core::str::FromStr;

#[cfg(feature = "serde")]
use serde::{Deserialize, Serialize};

use crate::units::{Turns, ceil_div, floor_div};

/// The shaft that carries the encoder.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default)]
#[cfg_attr(feature = "serde", derive(Serialize, Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Shaft {
    /// The crank (or the knob) that the hand turns.
    #[default]
    Crank,
    /// The mandrel itself.
    Mandrel,
}

/// The winder's gear: mandrel turns per crank turn, as two tooth counts.
///
/// `48:16` is a 48-tooth wheel on the crank driving a 16-tooth wheel on the mandrel: three turns of
/// the mandrel to one of the crank. Each 1..=65,535.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Gear {
    crank_teeth: u16,
    mandrel_teeth: u16,
}

impl Gear {
    /// Mandrel and crank turn as one.
    pub const DIRECT: Self = Self { crank_teeth: 1, mandrel_teeth: 1 };

    /// Teeth on the crank's wheel and on the mandrel's; `None` where either is zero.
    #[must_use]
    pub const fn new(crank_teeth: u16, mandrel_teeth: u16) -> Option<Self> {
        if crank_teeth == 0 || mandrel_teeth == 0 {
            return None;
        }
        Some(Self { crank_teeth, mandrel_teeth })
    }

    /// Teeth on the crank's wheel.
    #[must_use]
    pub const fn crank_teeth(self) -> u16 {
        self.crank_teeth
    }

    /// Teeth on the mandrel's wheel.
    #[must_use]
    pub const fn mandrel_teeth(self) -> u16 {
        self.mandrel_teeth
    }

    /// Mandrel turns per crank turn.
    #[must_use]
    pub fn ratio(self) -> f64 {
        f64::from(self.crank_teeth) / f64::from(self.mandrel_teeth)
    }
}

impl Default for Gear {
    fn default() -> Self {
        Self::DIRECT
    }
}

impl fmt::Display for Gear {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}:{}", self.crank_teeth, self.mandrel_teeth)
    }
}

/// Why a text is no gear.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct GearError;

impl fmt::Display for GearError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("not a gear: write two tooth counts from 1 to 65535, such as 1:1 or 48:16")
    }
}

impl core::error::Error for GearError {}

impl FromStr for Gear {
    type Err = GearError;

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        let (crank, mandrel) = text.trim().split_once(':').ok_or(GearError)?;
        let teeth = |part: &str| part.trim().parse::<u16>().map_err(|_| GearError);
        Self::new(teeth(crank)?, teeth(mandrel)?).ok_or(GearError)
    }
}

/// Which way of the encoder winds wire on.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default)]
#[cfg_attr(feature = "serde", derive(Serialize, Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Direction {
    /// Forward counts wind on.
    #[default]
    Forward,
    /// Reverse counts wind on: the encoder is mounted the other way round, or A and B are swapped.
    Reverse,
}

impl Direction {
    /// The other one.
    #[must_use]
    pub const fn flipped(self) -> Self {
        match self {
            Self::Forward => Self::Reverse,
            Self::Reverse => Self::Forward,
        }
    }

    /// What turning the crank the winding way by hand says: the direction, once it has moved at
    /// least a quarter of a mandrel turn either way since the lesson began.
    #[must_use]
    pub fn taught_by(raw_counts: i64, per_turn: CountsPerTurn) -> Option<Self> {
        // Past the range of turns is far enough.
        let far = per_turn.turns(raw_counts).is_none_or(|turns| turns.nano().abs() >= Turns::ONE / 4);
        far.then_some(if raw_counts > 0 { Self::Forward } else { Self::Reverse })
    }
}

/// Encoder counts per turn of the mandrel, as an exact fraction in lowest terms.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct CountsPerTurn {
    num: u64,
    den: u64,
}

/// The most pulses a revolution of the encoder may have.
pub const MAX_PULSES_PER_REV: u32 = 100_000;

impl CountsPerTurn {
    /// For an encoder of `pulses_per_rev` pulses (1..=[`MAX_PULSES_PER_REV`], four counts each) on
    /// `shaft`, with `gear` between crank and mandrel; `None` for pulses out of range.
    ///
    /// # Examples
    /// ```
    /// use turntally_core::counter::{CountsPerTurn, Gear, Shaft};
    /// // Three mandrel turns to one of the crank: 1600 counts a crank turn are 533 1/3 a mandrel turn.
    /// let gear = Gear::new(48, 16).unwrap();
    /// let per_turn = CountsPerTurn::new(400, Shaft::Crank, gear).unwrap();
    /// assert_eq!((per_turn.numerator(), per_turn.denominator()), (1600, 3));
    /// ```
    #[must_use]
    pub const fn new(pulses_per_rev: u32, shaft: Shaft, gear: Gear) -> Option<Self> {
        if pulses_per_rev == 0 || pulses_per_rev > MAX_PULSES_PER_REV {
            return None;
        }
        let counts = 4 * pulses_per_rev as u64;
        let (num, den) = match shaft {
            Shaft::Crank => (counts * gear.mandrel_teeth as u64, gear.crank_teeth as u64),
            Shaft::Mandrel => (counts, 1),
        };
        let common = gcd(num, den);
        Some(Self { num: num / common, den: den / common })
    }

    /// Counts in [`Self::denominator`] turns.
    #[must_use]
    pub const fn numerator(self) -> u64 {
        self.num
    }

    /// Turns that make [`Self::numerator`] counts.
    #[must_use]
    pub const fn denominator(self) -> u64 {
        self.den
    }

    /// Counts per turn as a real number.
    #[must_use]
    pub fn as_f64(self) -> f64 {
        self.num as f64 / self.den as f64
    }

    /// Whole counts in a fraction `1/parts` of a turn, rounded up, at least one.
    #[must_use]
    pub const fn counts_in_part(self, parts: u32) -> i64 {
        // Above zero, since the numerator is.
        self.num.div_ceil(self.den * if parts == 0 { 1 } else { parts as u64 }).cast_signed()
    }

    /// The turns that `counts` make, rounded down to a nano-turn; `None` past ±9.2e9 turns.
    #[must_use]
    pub fn turns(self, counts: i64) -> Option<Turns> {
        let nano = i128::from(counts) * i128::from(Turns::ONE) * i128::from(self.den);
        floor_div(nano, self.num.cast_signed()).map(Turns::from_nano)
    }

    /// The fewest counts that make at least `turns`.
    #[must_use]
    pub fn counts_for(self, turns: Turns) -> Option<i64> {
        let exact = i128::from(turns.nano()) * i128::from(self.num);
        // Both fit: they come of pulses and teeth.
        let one = Turns::ONE * self.den.cast_signed();
        ceil_div(exact, one)
    }
}

const fn gcd(mut a: u64, mut b: u64) -> u64 {
    while b != 0 {
        (a, b) = (b, a % b);
    }
    a
}

/// The count went past what can be held: a broken clock or counter, never a hand.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct CountOverflow;

impl fmt::Display for CountOverflow {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("the count is past ±9.2e9 turns")
    }
}

impl core::error::Error for CountOverflow {}

/// Counts encoder steps as turns of the mandrel.
///
/// Winding back subtracts. Nothing is rounded in the count itself: turns are worked out from whole
/// counts each time, so a million turns through any gear are as exact as one.
#[derive(Debug, Clone, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct TurnCounter {
    per_turn: CountsPerTurn,
    direction: Direction,
    counts: i64,
}

impl TurnCounter {
    /// A counter at zero.
    #[must_use]
    pub const fn new(per_turn: CountsPerTurn, direction: Direction) -> Self {
        Self { per_turn, direction, counts: 0 }
    }

    /// A counter that goes on from `counts` wound on before.
    ///
    /// # Errors
    /// [`CountOverflow`] where they are past ±9.2e9 turns.
    pub fn resumed(
        per_turn: CountsPerTurn,
        direction: Direction,
        counts: i64,
    ) -> Result<Self, CountOverflow> {
        per_turn.turns(counts).ok_or(CountOverflow)?;
        Ok(Self { per_turn, direction, counts })
    }

    /// Adds decoder counts (forward positive).
    ///
    /// # Errors
    /// [`CountOverflow`] where the sum is past ±9.2e9 turns; the count then stays as it was.
    pub fn advance(&mut self, decoder_counts: i64) -> Result<(), CountOverflow> {
        let wound = match self.direction {
            Direction::Forward => Some(decoder_counts),
            Direction::Reverse => decoder_counts.checked_neg(),
        };
        let counts = wound.and_then(|wound| self.counts.checked_add(wound)).ok_or(CountOverflow)?;
        self.per_turn.turns(counts).ok_or(CountOverflow)?;
        self.counts = counts;
        Ok(())
    }

    /// Turns the direction round, and with it the turns counted so far: those that were counted as
    /// wound back were wound on.
    ///
    /// # Errors
    /// [`CountOverflow`] if the count has no negative; it then stays as it was.
    pub const fn flip_direction(&mut self) -> Result<(), CountOverflow> {
        match self.counts.checked_neg() {
            Some(counts) => {
                self.counts = counts;
                self.direction = self.direction.flipped();
                Ok(())
            }
            None => Err(CountOverflow),
        }
    }

    /// Counts wound on since zero.
    #[must_use]
    pub const fn counts(&self) -> i64 {
        self.counts
    }

    /// Turns wound on since zero, rounded down to a nano-turn.
    #[must_use]
    pub fn turns(&self) -> Turns {
        // `advance` let no count in whose turns do not fit.
        self.per_turn.turns(self.counts).unwrap_or_default()
    }

    /// Which way winds on.
    #[must_use]
    pub const fn direction(&self) -> Direction {
        self.direction
    }

    /// Counts per turn of the mandrel.
    #[must_use]
    pub const fn per_turn(&self) -> CountsPerTurn {
        self.per_turn
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test may stop where it stands")]
    extern crate std;
    use super::*;
    use proptest::prelude::*;
    use std::string::ToString;

    fn any_per_turn() -> impl Strategy<Value = CountsPerTurn> {
        (1..=2400_u32, 1..200_u16, 1..200_u16, any::<bool>()).prop_map(|(pulses, a, b, on_crank)| {
            let shaft = if on_crank { Shaft::Crank } else { Shaft::Mandrel };
            CountsPerTurn::new(pulses, shaft, Gear::new(a, b).unwrap()).unwrap()
        })
    }

    proptest! {
        /// A million turns through any gear, added in any portions, come out to the nano-turn.
        #[test]
        fn million_turns_do_not_drift(per_turn in any_per_turn(), portion in 1_i64..50_000) {
            let mut counter = TurnCounter::new(per_turn, Direction::Forward);
            // Denominator x k turns make numerator x k counts exactly.
            let cycles = 1_000_000_u64.div_ceil(per_turn.denominator());
            let total = (per_turn.numerator() * cycles).cast_signed();
            let portion = portion * (total / 100_000).max(1);
            for _ in 0..total / portion {
                counter.advance(portion).unwrap();
            }
            counter.advance(total % portion).unwrap();
            prop_assert_eq!(counter.turns().nano(), (cycles * per_turn.denominator()).cast_signed() * Turns::ONE);
        }

        /// The fewest counts for some turns make at least those turns, and one fewer does not.
        #[test]
        fn counts_for_is_the_least(per_turn in any_per_turn(), nano in 0_i64..2_000_000_000_000) {
            let turns = Turns::from_nano(nano);
            let counts = per_turn.counts_for(turns).unwrap();
            prop_assert!(per_turn.turns(counts).unwrap() >= turns);
            prop_assert!(per_turn.turns(counts - 1).unwrap() < turns);
        }

        /// Winding on and back by the same counts is zero, in both directions.
        #[test]
        fn winding_back_subtracts(per_turn in any_per_turn(), steps in prop::collection::vec(-9999_i64..9999, 0..50)) {
            for direction in [Direction::Forward, Direction::Reverse] {
                let mut counter = TurnCounter::new(per_turn, direction);
                for &step in &steps {
                    counter.advance(step).unwrap();
                }
                for &step in &steps {
                    counter.advance(-step).unwrap();
                }
                prop_assert_eq!(counter.turns(), Turns::ZERO);
            }
        }
    }

    /// A count past the range is refused and the position stays true.
    #[test]
    fn overflow_is_refused_and_keeps_the_count() {
        let per_turn = CountsPerTurn::new(1, Shaft::Mandrel, Gear::DIRECT).unwrap();
        let mut counter = TurnCounter::new(per_turn, Direction::Reverse);
        counter.advance(-7).unwrap();
        assert_eq!(counter.advance(i64::MIN), Err(CountOverflow));
        assert_eq!(counter.advance(-i64::MAX), Err(CountOverflow));
        assert_eq!(counter.counts(), 7);
    }

    /// The first quarter turn teaches the direction; less teaches nothing.
    #[test]
    fn quarter_turn_teaches_the_direction() {
        let per_turn = CountsPerTurn::new(400, Shaft::Crank, Gear::DIRECT).unwrap();
        assert_eq!(Direction::taught_by(399, per_turn), None);
        assert_eq!(Direction::taught_by(400, per_turn), Some(Direction::Forward));
        assert_eq!(Direction::taught_by(-400, per_turn), Some(Direction::Reverse));
    }

    /// A direction that was wrong is turned round with the turns that were counted by it.
    #[test]
    fn flipped_direction_flips_the_count() {
        let per_turn = CountsPerTurn::new(400, Shaft::Crank, Gear::DIRECT).unwrap();
        let mut counter = TurnCounter::new(per_turn, Direction::Forward);
        counter.advance(-3_200).unwrap();
        assert_eq!(counter.flip_direction(), Ok(()));
        assert_eq!((counter.direction(), counter.counts()), (Direction::Reverse, 3_200));
        counter.advance(-1_600).unwrap();
        assert_eq!(counter.turns(), Turns::from_whole(3));
    }

    /// A part of a turn takes whole counts, rounded up; a part finer than the encoder takes one. By hand: of 533 1/3
    /// counts a turn, a quarter is 133 1/3.
    #[test]
    fn part_of_a_turn_is_rounded_up() {
        let per_turn = CountsPerTurn::new(400, Shaft::Crank, Gear::new(48, 16).unwrap()).unwrap();
        for (parts, counts) in [(0, 534), (1, 534), (4, 134), (534, 1), (u32::MAX, 1)] {
            assert_eq!(per_turn.counts_in_part(parts), counts, "1/{parts}");
        }
    }

    /// A gear is written as it is read; each error has its text.
    #[test]
    fn gear_and_errors_are_written() {
        let gear = Gear::new(48, 16).unwrap();
        assert_eq!((gear.crank_teeth(), gear.mandrel_teeth()), (48, 16));
        assert_eq!(gear.to_string(), "48:16");
        assert_eq!(gear.to_string().parse(), Ok(gear));
        assert!(GearError.to_string().contains("two tooth counts from 1 to 65535"));
        assert!(CountOverflow.to_string().contains("past ±9.2e9 turns"));
    }

    /// Counts per turn are a fraction in lowest terms; as a real number it is their quotient.
    #[test]
    fn counts_per_turn_are_a_fraction() {
        let per_turn = CountsPerTurn::new(400, Shaft::Crank, Gear::new(48, 16).unwrap()).unwrap();
        assert_eq!((per_turn.numerator(), per_turn.denominator()), (1600, 3));
        assert!((per_turn.as_f64() - 1600.0 / 3.0).abs() < 1e-9);
    }

    /// Gears that are none are refused.
    #[test]
    fn gear_text_is_checked() {
        assert_eq!("48:16".parse::<Gear>().map(Gear::ratio), Ok(3.0));
        for bad in ["", "3", "0:1", "1:0", "1:-1", "70000:1", "1:1:1", "a:b"] {
            assert_eq!(bad.parse::<Gear>(), Err(GearError), "{bad}");
        }
    }
}
