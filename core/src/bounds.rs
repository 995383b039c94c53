//! A value with its bounds: what it is at least, probably and at most.

/// At least, probably, at most.
///
/// `low <= best <= high` wherever one is made of measurements, tables or estimates.
#[derive(Debug, Clone, Copy, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Bounds<T> {
    /// At least.
    pub low: T,
    /// Probably.
    pub best: T,
    /// At most.
    pub high: T,
}

impl<T: Copy> Bounds<T> {
    /// A value without a spread.
    #[must_use]
    pub const fn exact(value: T) -> Self {
        Self { low: value, best: value, high: value }
    }
}

impl Bounds<f64> {
    /// Each of the three numbers put through `f`; where `f` falls, the bounds change places.
    #[must_use]
    pub fn map(self, f: impl Fn(f64) -> f64) -> Self {
        let (a, b) = (f(self.low), f(self.high));
        Self { low: a.min(b), best: f(self.best), high: a.max(b) }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn bounds_change_places_where_a_function_falls() {
        let bounds = Bounds { low: 1.0, best: 2.0, high: 4.0 };
        assert_eq!(bounds.map(|x| x * 2.0), Bounds { low: 2.0, best: 4.0, high: 8.0 });
        assert_eq!(bounds.map(|x| 1.0 / x), Bounds { low: 0.25, best: 0.5, high: 1.0 });
        assert_eq!(Bounds::exact(3.0).map(|x| -x), Bounds::exact(-3.0));
    }
}
