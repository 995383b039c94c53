//! Weaves, worked out from their geometry: how small an aspect ratio each can have, and how long its chain or how large
//! its sheet becomes.
//!
//! A ring is a rigid torus, closed, of round wire; rings touch without friction. Two rings overlap where their centre
//! circles come nearer to each other than the wire's diameter. Of a weave only what links what is laid down
//! (`weave/pattern.rs`); every length follows (`weave/solve.rs`). No figure here is random, and none is from a table.

pub mod pattern;
mod quadratic;
pub mod ring;
pub mod solve;

use std::fmt;

use turntally_core::units::{Length, Mm};

use crate::weave::pattern::{Kind, Weave};
use crate::weave::solve::{Aim, Arrangement, Solver, Unsolved};

/// A weave with its rings as far from each other as they can be: no thicker wire can be woven.
#[derive(Debug, Clone)]
pub struct Roomiest {
    weave: Weave,
    solver: Solver,
    arrangement: Arrangement,
    /// The least distance of two centre circles, over the radius of one.
    distance: f64,
}

impl Roomiest {
    /// Works it out.
    ///
    /// # Errors
    /// [`Unsolved`] if the search does not come to an end; a test shows that it does for each weave.
    pub fn new(weave: Weave) -> Result<Self, Unsolved> {
        let solver = Solver::default();
        let (arrangement, distance) = solver.thickest(&weave.start())?;
        Ok(Self { weave, solver, arrangement, distance })
    }

    /// Which weave it is.
    #[must_use]
    pub const fn weave(&self) -> Weave {
        self.weave
    }

    /// How its rings lie, in radii of a ring's centre line.
    #[must_use]
    pub const fn arrangement(&self) -> &Arrangement {
        &self.arrangement
    }

    /// The smallest aspect ratio, inside diameter over wire diameter, at which the weave exists.
    #[must_use]
    pub fn smallest_aspect_ratio(&self) -> f64 {
        // The wire is as thick as the distance, and a ring's inside diameter is 2 - distance.
        2.0 / self.distance - 1.0
    }

    /// The weave made of closed rings of this wire and inside diameter.
    ///
    /// # Errors
    /// [`Refusal`] where no such rings can be woven so, or where the search does not come to an end.
    pub fn woven(&self, wire: Length, inside: Length) -> Result<Woven, Refusal> {
        if wire <= Length::ZERO || inside <= Length::ZERO {
            return Err(Refusal::NoRing);
        }
        let (wire, inside) = (wire.mm().get(), inside.mm().get());
        let (ratio, smallest) = (inside / wire, self.smallest_aspect_ratio());
        // The search is good to a millionth.
        if ratio < smallest * (1.0 - 1e-6) {
            return Err(Refusal::TooTight { ratio, smallest });
        }
        let largest = self.weave.largest_aspect_ratio();
        if ratio > largest {
            return Err(Refusal::TooLoose { ratio, largest });
        }
        let radius = f64::midpoint(wire, inside);
        let distance = (wire / radius).min(self.distance);
        let rows = f64::from(self.weave.rows_per_repeat());
        let pitches = |at: &Arrangement| {
            let [along, across] = at.period;
            Pitches { along: Mm::new(along * radius), across: Mm::new(across * radius / rows) }
        };
        let best = |start: &Arrangement, aim| self.solver.best(start, distance, aim);
        let relaxed = pitches(&self.arrangement);
        let size = match self.weave.kind() {
            Kind::Chain => {
                let stretched = best(&self.arrangement, Aim::Longest)?;
                Size::Chain { relaxed: relaxed.along, stretched: pitches(&stretched).along }
            }
            Kind::Sheet => {
                let flat = best(&self.arrangement, Aim::Area)?;
                let from_either = |aim| best(&self.arrangement, aim).or_else(|_| best(&flat, aim));
                let along = pitches(&from_either(Aim::Longest)?).along;
                // Stretched from row to row this one has several arrangements that hold, and which of them a search
                // finds depends on where it starts.
                let across = if self.weave == Weave::JapaneseSix {
                    None
                } else {
                    Some(pitches(&from_either(Aim::Widest)?).across)
                };
                Size::Sheet { relaxed, flat: pitches(&flat), stretched: (along, across) }
            }
        };
        Ok(Woven { weave: self.weave, aspect_ratio: ratio, size })
    }
}

/// From one link to the next, and of a sheet from one row to the next.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Pitches {
    /// Along the chain or the row.
    pub along: Mm,
    /// From row to row; zero in a chain.
    pub across: Mm,
}

/// How long or how large a weave is.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Size {
    /// A chain, from one link to the next.
    Chain {
        /// With its rings as far from each other as they can be.
        relaxed: Mm,
        /// Under tension.
        stretched: Mm,
    },
    /// A sheet.
    Sheet {
        /// With its rings as far from each other as they can be.
        relaxed: Pitches,
        /// Laid flat, so that it covers the largest area.
        flat: Pitches,
        /// Stretched along the rows, and stretched from row to row where that could be worked out: each the pitch that
        /// way.
        stretched: (Mm, Option<Mm>),
    },
}

/// A weave of rings of one size.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Woven {
    /// Which weave.
    pub weave: Weave,
    /// Inside diameter over wire diameter.
    pub aspect_ratio: f64,
    /// How long or how large it is.
    pub size: Size,
}

impl Woven {
    /// The pitches that a piece is planned by: of a chain under tension, of a sheet laid flat.
    #[must_use]
    pub const fn pitches(&self) -> Pitches {
        match self.size {
            Size::Chain { stretched, .. } => Pitches { along: stretched, across: Mm::new(0.0) },
            Size::Sheet { flat, .. } => flat,
        }
    }
}

/// Why rings cannot be woven so.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Refusal {
    /// The wire or the ring has no size.
    NoRing,
    /// The aspect ratio is too small.
    TooTight {
        /// The rings' aspect ratio.
        ratio: f64,
        /// The smallest one.
        smallest: f64,
    },
    /// The aspect ratio is above [`Weave::largest_aspect_ratio`].
    TooLoose {
        /// The rings' aspect ratio.
        ratio: f64,
        /// The largest one.
        largest: f64,
    },
    /// The search did not come to an end.
    Unsolved,
}

impl From<Unsolved> for Refusal {
    fn from(_: Unsolved) -> Self {
        Self::Unsolved
    }
}

impl fmt::Display for Refusal {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NoRing => f.write_str("only a length above zero is allowed"),
            Self::TooTight { ratio, smallest } => write!(
                f,
                "an aspect ratio of {ratio:.2} is too small for this weave, which needs at least {smallest:.2}"
            ),
            Self::TooLoose { ratio, largest } => {
                write!(f, "an aspect ratio of {ratio:.2}: for this weave at most {largest} is allowed")
            }
            Self::Unsolved => f.write_str("the geometry of this weave could not be solved for these rings"),
        }
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "a test that cannot go on should stop")]
mod tests {
    use super::*;
    use crate::weave::ring::{Ring, Vector};

    fn ring(centre: [f64; 3], normal: [f64; 3]) -> Ring {
        let vector = |[x, y, z]: [f64; 3]| Vector::new(x, y, z);
        Ring { centre: vector(centre), normal: vector(normal).unit() }
    }

    fn ratio(weave: Weave) -> f64 {
        Roomiest::new(weave).unwrap().smallest_aspect_ratio()
    }

    /// Circles whose distance is known by hand: on one axis, in one plane, and one through the other's centre.
    #[test]
    fn distances_of_circles_are_those_by_hand() {
        let here = ring([0.0, 0.0, 0.0], [0.0, 0.0, 1.0]);
        for (centre, normal, distance, linking) in [
            ([0.0, 0.0, 0.3], [0.0, 0.0, 1.0], 0.3, 0),
            ([2.5, 0.0, 0.0], [0.0, 0.0, 1.0], 0.5, 0),
            ([1.0, 0.0, 0.0], [0.0, 1.0, 0.0], 1.0, 1),
            ([1.4, 0.0, 0.0], [0.0, 1.0, 0.0], 0.6, 1),
            ([2.5, 0.0, 0.0], [0.0, 1.0, 0.0], 0.5, 0),
        ] {
            let there = ring(centre, normal);
            assert!(
                (here.distance(&there) - distance).abs() < 1e-12,
                "{centre:?}: {}",
                here.distance(&there)
            );
            assert!((there.distance(&here) - distance).abs() < 1e-12, "{centre:?}");
            assert_eq!(here.linking(&there).abs(), linking, "{centre:?}");
            assert_eq!(here.linking(&there), there.linking(&here), "{centre:?}");
        }
    }

    /// The linking number is that of the Gauss integral, of rings that lie at random.
    #[test]
    fn linking_numbers_are_those_of_the_gauss_integral() {
        let mut random = fastrand::Rng::with_seed(1);
        let mut linked = 0;
        for _ in 0..300 {
            let mut number = || random.f64() * 2.0 - 1.0;
            let first = ring([number(), number(), number()], [number(), number(), number()]);
            let second = ring([number(), number(), number()], [number(), number(), number()]);
            if first.distance(&second) < 0.15 {
                continue;
            }
            let integral = gauss(&first, &second);
            assert!(
                (integral - f64::from(first.linking(&second))).abs() < 0.02,
                "{first:?} {second:?} {integral}"
            );
            linked += first.linking(&second).abs();
        }
        assert!(linked > 30, "{linked}");
    }

    /// The Gauss integral over both circles, by the trapezoidal rule.
    fn gauss(first: &Ring, second: &Ring) -> f64 {
        const PARTS: usize = 160;
        let points = |ring: &Ring| -> Vec<(Vector, Vector)> {
            let [u, v] = ring.normal.across();
            (0..PARTS)
                .map(|part| {
                    let (sin, cos) = (std::f64::consts::TAU * part as f64 / PARTS as f64).sin_cos();
                    (ring.centre + u * cos + v * sin, v * cos - u * sin)
                })
                .collect()
        };
        let (first, second) = (points(first), points(second));
        let step = std::f64::consts::TAU / PARTS as f64;
        let mut sum = 0.0;
        for (p, dp) in &first {
            for (q, dq) in &second {
                let apart = *p - *q;
                sum += apart.dot(dp.cross(*dq)) / apart.length().powi(3);
            }
        }
        sum * step * step / (4.0 * std::f64::consts::PI)
    }

    /// Each start links each ring to as many rings as the weave's name says, none of them touching.
    #[test]
    fn every_start_links_its_rings() {
        for weave in Weave::ALL {
            let start = weave.start();
            assert_eq!(start.links_per_ring(), weave.links_per_ring(), "{weave}");
            assert!(start.least_distance() > 0.05, "{weave}");
            let found = Roomiest::new(weave).unwrap();
            assert_eq!(found.arrangement().links_per_ring(), weave.links_per_ring(), "{weave}");
            assert!((found.arrangement().least_distance() - found.distance).abs() < 1e-9, "{weave}");
        }
    }

    /// Smallest aspect ratios by hand: 2, 4 and 6 round wires fit into a ring of 2, 1 + √2 and 3 wire diameters.
    #[test]
    fn smallest_aspect_ratios_are_those_of_wires_packed_into_a_ring() {
        for (weave, packed) in
            [(Weave::Single, 2.0), (Weave::JapaneseFour, 1.0 + 2_f64.sqrt()), (Weave::JapaneseSix, 3.0)]
        {
            assert!((ratio(weave) - packed).abs() < 1e-6, "{weave}: {}", ratio(weave));
        }
        // So many wires go through each ring of these, not at right angles to it.
        for (weave, packed) in [
            (Weave::Double, 1.0 + 2_f64.sqrt()),
            (Weave::Triple, 3.0),
            (Weave::JensPind, 1.0 + 2_f64.sqrt()),
            (Weave::SpiralSix, 3.0),
            (Weave::EuropeanFour, 1.0 + 2_f64.sqrt()),
            (Weave::EuropeanSix, 3.0),
        ] {
            assert!(ratio(weave) > packed, "{weave}: {}", ratio(weave));
        }
    }

    /// A single chain under tension has a pitch of the inside diameter, whatever the wire; flat Japanese sheets twice.
    #[test]
    fn pitches_by_hand() {
        let (wire, inside) = (Length::from_um(1000), Length::from_um(5000));
        let woven = |weave| Roomiest::new(weave).unwrap().woven(wire, inside).unwrap();
        assert!((woven(Weave::Single).pitches().along.get() - 5.0).abs() < 1e-6);
        let flat = woven(Weave::JapaneseFour).pitches();
        assert!(
            (flat.along.get() - 10.0).abs() < 1e-5 && (flat.across.get() - 10.0).abs() < 1e-5,
            "{flat:?}"
        );
        let flat = woven(Weave::JapaneseSix).pitches();
        assert!((flat.along.get() - 10.0).abs() < 1e-5, "{flat:?}");
        assert!((flat.across.get() - 75_f64.sqrt()).abs() < 1e-5, "{flat:?}");
    }

    /// At every aspect ratio that is allowed each weave is solved without overlap, with its links, and grows with it.
    #[test]
    fn every_weave_is_solved_at_every_aspect_ratio() {
        for weave in Weave::ALL {
            let roomiest = Roomiest::new(weave).unwrap();
            let smallest = roomiest.smallest_aspect_ratio();
            let wire = Length::from_um(1000);
            let mut insides: Vec<Length> = (20..=100).map(|tenth| Length::from_um(100 * tenth)).collect();
            insides.retain(|at| (smallest..=weave.largest_aspect_ratio()).contains(&at.mm().get()));
            insides.insert(0, Length::from_nm((smallest * 1e6).ceil() as i64));
            for inside in insides {
                let woven = roomiest.woven(wire, inside);
                assert!(woven.is_ok(), "{weave} {inside}: {woven:?}");
                match woven.unwrap().size {
                    Size::Chain { relaxed, stretched } => {
                        assert!(stretched.get() > relaxed.get() * (1.0 - 1e-4), "{weave} {inside}");
                        // A link adds at most the inside diameter, however a knot comes undone.
                        let links = match weave {
                            Weave::Box => 2.0,
                            Weave::Byzantine => 3.0,
                            _ => 1.0,
                        };
                        let most = links * inside.mm().get() * (1.0 + 1e-6);
                        assert!(stretched.get() <= most, "{weave} {inside}: {stretched:?}");
                    }
                    Size::Sheet { flat, stretched: (along, across), .. } => {
                        assert!(along.get() > flat.along.get() * (1.0 - 1e-4), "{weave} {inside}");
                        let across = across.map_or(f64::INFINITY, Mm::get);
                        assert!(across > flat.across.get() * (1.0 - 1e-4), "{weave} {inside}");
                    }
                }
            }
        }
    }

    /// What cannot be woven is refused with the figure that it lacks.
    #[test]
    fn what_cannot_be_woven_is_refused() {
        let single = Roomiest::new(Weave::Single).unwrap();
        let wire = Length::from_um(1000);
        let tight = single.woven(wire, Length::from_um(1990)).unwrap_err();
        assert!(tight.to_string().contains("at least 2.00"), "{tight}");
        assert!(single.woven(wire, Length::from_um(2000)).is_ok());
        let loose = single.woven(wire, Length::from_um(10_001)).unwrap_err();
        assert!(loose.to_string().contains("at most 10"), "{loose}");
        assert_eq!(single.woven(Length::ZERO, wire), Err(Refusal::NoRing));
        assert_eq!(single.woven(wire, Length::ZERO), Err(Refusal::NoRing));
    }
}
