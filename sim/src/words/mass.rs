//! Masses in the units that a metal is weighed and sold in.

use turntally_core::bounds::Bounds;
use turntally_core::metal::Metal;
use turntally_core::units::Grams;

#[cfg(any(feature = "link", test))]
use super::number::fixed;
use super::number::sig;

/// From so many grams a base metal is weighed in kilograms, less what rounds up to it.
const KILOGRAM: f64 = 999.5;

/// Which units a metal is weighed in. Common practice, no source.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(crate) enum Scales {
    /// Grams and ounces avoirdupois; from a kilogram on, kilograms and pounds.
    #[default]
    Base,
    /// Grams and troy ounces.
    Precious,
}

/// One unit of mass: its sign, and its grams.
pub(crate) type Unit = (&'static str, f64);

impl Scales {
    /// Those of a metal; one that is not listed is taken as base.
    pub(crate) fn of(metal: Option<&Metal>) -> Self {
        match metal {
            Some(metal) if metal.family().is_precious() => Self::Precious,
            _ => Self::Base,
        }
    }

    /// The ounce that it is priced by.
    pub(crate) const fn ounce(self) -> Unit {
        match self {
            Self::Precious => ("ozt", Grams::TROY_OUNCE),
            Self::Base => ("oz", Grams::OUNCE),
        }
    }

    /// The units for about so many grams: the metric one, and the one beside it.
    pub(crate) fn units(self, grams: f64) -> [Unit; 2] {
        match self {
            Self::Precious => [("g", 1.0), ("ozt", Grams::TROY_OUNCE)],
            Self::Base if grams.abs() < KILOGRAM => [("g", 1.0), ("oz", Grams::OUNCE)],
            Self::Base => [("kg", 1e3), ("lb", Grams::POUND)],
        }
    }

    /// `127 g (4.47 oz)`, `12.4 kg (27.3 lb)` or `62.2 g (2.00 ozt)`, each to so many digits.
    pub(crate) fn mass(self, grams: f64, digits: i32) -> String {
        let [metric, other] =
            self.units(grams).map(|(unit, per)| format!("{} {unit}", sig(grams / per, digits)));
        format!("{metric} ({other})")
    }

    /// The metric unit alone: `1.8 g`.
    pub(crate) fn metric(self, grams: f64, digits: i32) -> String {
        let [(unit, per), _] = self.units(grams);
        format!("{} {unit}", sig(grams / per, digits))
    }

    /// The metric unit alone, to the tenth of a gram that scales show, or the gram past a kilogram: `126.7 g`.
    #[cfg(any(feature = "link", test))]
    pub(crate) fn weighed(self, grams: f64) -> String {
        match self.units(grams) {
            [("g", _), _] => format!("{} g", fixed(grams, 1)),
            [(unit, per), _] => format!("{} {unit}", fixed(grams / per, 3)),
        }
    }

    /// [`Self::mass`] with its bounds: `127 g (4.47 oz), 124 to 130 g as wire and alloy vary`.
    pub(crate) fn range(self, grams: Bounds<f64>) -> String {
        let [(unit, per), _] = self.units(grams.best);
        format!(
            "{}, {} to {} {unit} as wire and alloy vary",
            self.mass(grams.best, 3),
            sig(grams.low / per, 3),
            sig(grams.high / per, 3)
        )
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// By hand: 12.4 kg are 27.337 lb, 127 g are 4.4798 oz, 62.2 g are 1.99978 ozt (1 lb = 453.592 37 g).
    #[test]
    fn metals_are_weighed_in_their_own_units() {
        let of = |name: &str| Scales::of(Metal::find(name));
        assert_eq!(of("mild-steel").mass(12_400.0, 3), "12.4 kg (27.3 lb)");
        assert_eq!(of("copper").mass(127.0, 3), "127 g (4.48 oz)");
        assert_eq!(of("copper").mass(999.6, 3), "1.00 kg (2.20 lb)");
        assert_eq!(of("sterling-silver").mass(62.2, 3), "62.2 g (2.00 ozt)");
        assert_eq!(of("fine-gold").mass(12_400.0, 3), "12400 g (399 ozt)");
        assert_eq!(of("unlisted").mass(-127.0, 3), "-127 g (-4.48 oz)");
        assert_eq!(
            (of("copper").weighed(126.66), of("copper").weighed(1_234.56)),
            ("126.7 g".into(), "1.235 kg".into())
        );
        assert_eq!(of("copper").weighed(-0.01), "0.0 g");
    }
}
