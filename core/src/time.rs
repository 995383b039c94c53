//! Time in whole microseconds: [`Instant`] for a point on the board's clock, [`Duration`] for a length of time.
//!
//! The core has no clock of its own: every event brings the instant at which it happened. Sums and differences
//! saturate, since neither a clock that was set back nor a damaged record may stop the count with a panic.
//! (That, and one 64-bit word without division, is why these are not the types of `core::time` or `fugit`.)

use core::ops::Add;

#[cfg(feature = "serde")]
use serde::{Deserialize, Serialize};

/// A point in time: microseconds since the clock started. Range: 584,000 years.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Instant(u64);

/// A length of time in microseconds. Range: 584,000 years.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default)]
#[cfg_attr(feature = "serde", derive(Serialize, Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Duration(u64);

impl Instant {
    /// When the clock started.
    pub const ZERO: Self = Self(0);

    /// So many microseconds after the clock started.
    #[must_use]
    pub const fn from_micros(us: u64) -> Self {
        Self(us)
    }

    /// So many milliseconds after the clock started.
    #[must_use]
    pub const fn from_millis(ms: u32) -> Self {
        Self(ms as u64 * 1_000)
    }

    /// Microseconds since the clock started.
    #[must_use]
    pub const fn as_micros(self) -> u64 {
        self.0
    }

    /// The time since `earlier`; zero if that lies ahead (a clock that was set back).
    #[must_use]
    pub const fn since(self, earlier: Self) -> Duration {
        Duration(self.0.saturating_sub(earlier.0))
    }
}

impl Add<Duration> for Instant {
    type Output = Self;

    /// This much later; stays at the end of the range rather than wrapping.
    fn add(self, later: Duration) -> Self {
        Self(self.0.saturating_add(later.0))
    }
}

impl Duration {
    /// No time at all.
    pub const ZERO: Self = Self(0);

    /// So many microseconds.
    #[must_use]
    pub const fn from_micros(us: u64) -> Self {
        Self(us)
    }

    /// So many milliseconds.
    #[must_use]
    pub const fn from_millis(ms: u32) -> Self {
        Self(ms as u64 * 1_000)
    }

    /// In microseconds.
    #[must_use]
    pub const fn as_micros(self) -> u64 {
        self.0
    }
}

impl Add for Duration {
    type Output = Self;

    /// The sum; stays at the end of the range rather than wrapping.
    fn add(self, other: Self) -> Self {
        Self(self.0.saturating_add(other.0))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Neither a clock that was set back nor the end of the range panics or wraps.
    #[test]
    fn time_saturates() {
        let (early, late) = (Instant::from_millis(1), Instant::from_micros(u64::MAX));
        assert_eq!(early.since(late), Duration::ZERO);
        assert_eq!(late + Duration::from_millis(1), late);
        assert_eq!(late.since(Instant::ZERO) + Duration::from_micros(1), Duration::from_micros(u64::MAX));
        assert_eq!((early + Duration::from_micros(5)).since(early).as_micros(), 5);
    }
}
