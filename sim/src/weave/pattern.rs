//! The weaves: how the rings of each lie, as circles without thickness, before the solver moves them.
//!
//! A start only has to link the right rings in the right way; its figures are our own, rough, and without the symmetries
//! at which a search could stand still. What each ring is linked to is common practice, no source.

use std::fmt;
use std::str::FromStr;

use crate::weave::ring::{Ring, Vector};
use crate::weave::solve::{Arrangement, Repeat};

/// A weave of rings of one size.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Weave {
    /// Each ring in the next.
    Single,
    /// Pairs of rings, each pair in the next.
    Double,
    /// Groups of three rings, each group in the next.
    Triple,
    /// Pairs folded back over the pair before, each held by the next: a square chain.
    Box,
    /// As a box, with a pair between each two knots: six rings from knot to knot.
    Byzantine,
    /// Each ring in the two before it; the chain turns about its axis by less than a quarter turn from ring to ring.
    SpiralFour,
    /// Each ring in the three before it.
    SpiralSix,
    /// Each ring in the two before it; the chain turns by about a third of a turn from ring to ring.
    JensPind,
    /// Two rows of rings that lean the same way, each ring in three of the other row.
    HalfPersianThree,
    /// Two rows of rings that lean the same way, each ring in four of the other row.
    HalfPersianFour,
    /// Rows of rings that lean one way and the other, each ring in two of each row beside it.
    EuropeanFour,
    /// Rows of rings that lean one way and the other, each ring in three of each row beside it.
    EuropeanSix,
    /// Flat rings in squares, each held to its four neighbours by upright rings.
    JapaneseFour,
    /// Flat rings in triangles, each held to its six neighbours by upright rings.
    JapaneseSix,
}

/// Chains and sheets.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// It has a length.
    Chain,
    /// It has a width and a height.
    Sheet,
}

impl Weave {
    /// Every weave, in the order in which they are shown.
    pub const ALL: [Self; 14] = [
        Self::Single,
        Self::Double,
        Self::Triple,
        Self::Box,
        Self::Byzantine,
        Self::SpiralFour,
        Self::SpiralSix,
        Self::JensPind,
        Self::HalfPersianThree,
        Self::HalfPersianFour,
        Self::EuropeanFour,
        Self::EuropeanSix,
        Self::JapaneseFour,
        Self::JapaneseSix,
    ];

    /// Its name.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Single => "single",
            Self::Double => "double",
            Self::Triple => "triple",
            Self::Box => "box",
            Self::Byzantine => "byzantine",
            Self::SpiralFour => "spiral-4-in-1",
            Self::SpiralSix => "spiral-6-in-1",
            Self::JensPind => "jens-pind",
            Self::HalfPersianThree => "half-persian-3-in-1",
            Self::HalfPersianFour => "half-persian-4-in-1",
            Self::EuropeanFour => "european-4-in-1",
            Self::EuropeanSix => "european-6-in-1",
            Self::JapaneseFour => "japanese-4-in-1",
            Self::JapaneseSix => "japanese-6-in-1",
        }
    }

    /// Chain or sheet.
    #[must_use]
    pub const fn kind(self) -> Kind {
        match self {
            Self::EuropeanFour | Self::EuropeanSix | Self::JapaneseFour | Self::JapaneseSix => Kind::Sheet,
            _ => Kind::Chain,
        }
    }

    /// The largest aspect ratio that it is worked out for. Beyond 10, rings lie about as they fall; a Jens Pind comes undone
    /// into a spiral under tension, from about 3.3 on, and the length that a search finds depends on its way there.
    #[must_use]
    pub const fn largest_aspect_ratio(self) -> f64 {
        match self {
            Self::JensPind => 3.25,
            _ => 10.0,
        }
    }

    /// What repeats: the ring, the pair, or what else its rings are counted by.
    #[must_use]
    pub const fn link(self) -> &'static str {
        match self {
            Self::Single | Self::SpiralFour | Self::SpiralSix | Self::JensPind => "ring",
            Self::Double => "pair",
            Self::Triple => "group of three",
            Self::Box => "knot of four",
            Self::Byzantine => "knot of six",
            Self::HalfPersianThree | Self::HalfPersianFour => "pair, a ring of each row",
            Self::EuropeanFour | Self::EuropeanSix => "ring of a row",
            Self::JapaneseFour => "flat ring and two upright rings",
            Self::JapaneseSix => "flat ring and three upright rings",
        }
    }

    /// To how many rings each ring of [`Self::start`] is linked.
    #[must_use]
    pub const fn links_per_ring(self) -> &'static [usize] {
        match self {
            Self::Single => &[2],
            Self::Double => &[4, 4],
            Self::Triple => &[6, 6, 6],
            Self::Box => &[4, 4],
            Self::Byzantine => &[4, 4, 4],
            Self::SpiralFour | Self::JensPind => &[4],
            Self::SpiralSix => &[6],
            Self::HalfPersianThree => &[3, 3],
            Self::HalfPersianFour | Self::EuropeanFour => &[4, 4],
            Self::EuropeanSix => &[6, 6],
            Self::JapaneseFour => &[4, 2, 2],
            Self::JapaneseSix => &[6, 2, 2, 2],
        }
    }

    /// The rings of a link.
    #[must_use]
    pub const fn rings_per_link(self) -> u32 {
        match self {
            Self::Single
            | Self::SpiralFour
            | Self::SpiralSix
            | Self::JensPind
            | Self::EuropeanFour
            | Self::EuropeanSix => 1,
            Self::Double | Self::HalfPersianThree | Self::HalfPersianFour => 2,
            Self::Triple | Self::JapaneseFour => 3,
            Self::Box | Self::JapaneseSix => 4,
            Self::Byzantine => 6,
        }
    }

    /// The rows of a repeat of a sheet.
    #[must_use]
    pub const fn rows_per_repeat(self) -> u32 {
        match self {
            Self::EuropeanFour | Self::EuropeanSix => 2,
            _ => 1,
        }
    }

    /// How its rings lie before the solver moves them.
    #[must_use]
    pub fn start(self) -> Arrangement {
        const QUARTER: f64 = std::f64::consts::FRAC_PI_2;
        let half_root_three = 0.75_f64.sqrt();
        match self {
            Self::Single => chain(1.4, QUARTER, 3, &[at(0.0, 0.0, 0.0, [0.0, 1.0, 0.0])]),
            Self::Double => chain(
                1.4,
                QUARTER,
                3,
                &[at(0.0, 0.12, 0.03, [0.1, 1.0, 0.06]), at(0.05, -0.12, -0.02, [0.04, 1.0, -0.09])],
            ),
            Self::Triple => chain(
                1.4,
                QUARTER,
                3,
                &[
                    at(0.0, 0.0, 0.0, [0.0, 1.0, 0.0]),
                    at(0.0, -0.15, 0.0, [0.0, 1.0, 0.0]),
                    at(0.0, 0.15, 0.0, [0.0, 1.0, 0.0]),
                ],
            ),
            // The two rings on one side of the axis; their twins are on the other side. The left end of the first lies
            // outside, and so does the right end of the second.
            Self::Box => twins(chain(
                1.5,
                0.0,
                5,
                &[at(0.14, 0.56, 0.0, [0.31, 1.0, 0.04]), at(0.09, 0.04, 0.63, [-0.62, 0.21, 1.0])],
            )),
            // Of the knot at the origin: a connecting ring from the left, a ring that flanks it, and a ring that flanks
            // the connecting rings on the right.
            Self::Byzantine => twins(chain(
                2.8,
                QUARTER,
                2,
                &[
                    at(-1.28, 0.09, 0.09, [0.03, 1.0, 0.22]),
                    at(-0.22, 0.43, 0.14, [0.24, 1.0, -0.08]),
                    at(0.26, 0.15, 0.36, [-0.12, -0.08, 1.0]),
                ],
            )),
            Self::SpiralFour => free_turn(chain(0.65, 1.0, 5, &[at(0.0, -0.14, 0.03, [0.1, 1.0, -0.05])])),
            Self::SpiralSix => free_turn(chain(0.42, 0.8, 6, &[at(0.0, -0.11, 0.08, [-0.06, 1.0, 0.26])])),
            Self::JensPind => free_turn(chain(0.8, 2.15, 5, &[at(0.0, 0.0, 0.1, [0.2, 1.0, 0.0])])),
            Self::HalfPersianThree => chain(
                0.9,
                0.0,
                5,
                &[at(0.0, 0.1, 0.0, [0.5, 0.43, 0.75]), at(0.22, -0.1, 0.0, [0.5, -0.43, 0.75])],
            ),
            Self::HalfPersianFour => chain(
                0.8,
                0.0,
                5,
                &[at(0.0, 0.1, 0.0, [0.5, 0.66, 0.56]), at(0.4, -0.1, 0.0, [0.5, -0.66, 0.56])],
            ),
            Self::EuropeanFour => sheet(
                [1.2, 2.4],
                0.0,
                3,
                &[at(0.0, 0.0, 0.0, [0.7, 0.0, 0.7]), at(0.6, 1.2, 0.0, [-0.7, 0.0, 0.7])],
            ),
            Self::EuropeanSix => sheet(
                [0.7, 2.4],
                0.0,
                4,
                &[at(0.0, 0.0, 0.0, [0.7, 0.0, 0.7]), at(0.0, 1.2, 0.0, [-0.7, 0.0, 0.7])],
            ),
            Self::JapaneseFour => sheet(
                [3.0, 3.0],
                0.0,
                2,
                &[
                    at(0.0, 0.0, 0.0, [0.0, 0.0, 1.0]),
                    at(1.5, 0.0, 0.0, [0.0, 1.0, 0.0]),
                    at(0.0, 1.5, 0.0, [1.0, 0.0, 0.0]),
                ],
            ),
            Self::JapaneseSix => sheet(
                [3.0, 3.0 * half_root_three],
                0.5,
                2,
                &[
                    at(0.0, 0.0, 0.0, [0.0, 0.0, 1.0]),
                    at(1.5, 0.0, 0.0, [0.0, 1.0, 0.0]),
                    at(0.75, 1.5 * half_root_three, 0.0, [-half_root_three, 0.5, 0.0]),
                    at(-0.75, 1.5 * half_root_three, 0.0, [half_root_three, 0.5, 0.0]),
                ],
            ),
        }
    }
}

fn at(x: f64, y: f64, z: f64, [a, b, c]: [f64; 3]) -> Ring {
    Ring { centre: Vector::new(x, y, z), normal: Vector::new(a, b, c).unit() }
}

fn chain(period: f64, turn: f64, reach: i32, rings: &[Ring]) -> Arrangement {
    let repeat = Repeat::Chain { turn, free: false };
    Arrangement { rings: rings.to_vec(), twins: false, repeat, period: [period, 0.0], reach }
}

fn twins(arrangement: Arrangement) -> Arrangement {
    Arrangement { twins: true, ..arrangement }
}

fn free_turn(mut arrangement: Arrangement) -> Arrangement {
    if let Repeat::Chain { free, .. } = &mut arrangement.repeat {
        *free = true;
    }
    arrangement
}

fn sheet(period: [f64; 2], shift: f64, reach: i32, rings: &[Ring]) -> Arrangement {
    Arrangement { rings: rings.to_vec(), twins: false, repeat: Repeat::Sheet { shift }, period, reach }
}

impl fmt::Display for Weave {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.name())
    }
}

impl FromStr for Weave {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        Self::ALL.into_iter().find(|weave| weave.name() == text).ok_or_else(|| {
            let names: Vec<&str> = Self::ALL.iter().map(|weave| weave.name()).collect();
            format!("no weave has this name; known are {}", names.join(", "))
        })
    }
}
