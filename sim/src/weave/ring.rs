//! Rings as circles in space: how near two of them come, and whether they are linked.
//!
//! The unit of length in this module is the radius of a ring's centre line.

use std::ops::{Add, Mul, Neg, Sub};

/// A vector, or a point as the vector from the origin.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Vector {
    /// Along the chain, or along the rows of a sheet.
    pub x: f64,
    /// Across the chain, or from row to row of a sheet.
    pub y: f64,
    /// Across the chain, or out of the sheet.
    pub z: f64,
}

impl Vector {
    /// The point that everything is measured from.
    pub const ORIGIN: Self = Self::new(0.0, 0.0, 0.0);

    /// From its components.
    #[must_use]
    pub const fn new(x: f64, y: f64, z: f64) -> Self {
        Self { x, y, z }
    }

    /// The scalar product.
    #[must_use]
    pub fn dot(self, other: Self) -> f64 {
        self.x * other.x + self.y * other.y + self.z * other.z
    }

    /// The vector product.
    #[must_use]
    pub fn cross(self, other: Self) -> Self {
        Self::new(
            self.y * other.z - self.z * other.y,
            self.z * other.x - self.x * other.z,
            self.x * other.y - self.y * other.x,
        )
    }

    /// Its length.
    #[must_use]
    pub fn length(self) -> f64 {
        self.dot(self).sqrt()
    }

    /// The vector of length 1 in its direction.
    #[must_use]
    pub fn unit(self) -> Self {
        self * (1.0 / self.length())
    }

    /// Two vectors of length 1 at right angles to this one, of length 1, and to each other.
    #[must_use]
    pub fn across(self) -> [Self; 2] {
        let (x, y, z) = (self.x.abs(), self.y.abs(), self.z.abs());
        // Of the axes, the one farthest from this vector.
        let axis = if x <= y && x <= z {
            Self::new(1.0, 0.0, 0.0)
        } else if y <= z {
            Self::new(0.0, 1.0, 0.0)
        } else {
            Self::new(0.0, 0.0, 1.0)
        };
        let first = self.cross(axis).unit();
        [first, self.cross(first)]
    }

    /// Turned about the x axis by an angle with this cosine and sine.
    #[must_use]
    pub fn turned(self, cos: f64, sin: f64) -> Self {
        Self::new(self.x, self.y * cos - self.z * sin, self.y * sin + self.z * cos)
    }
}

impl Add for Vector {
    type Output = Self;

    fn add(self, other: Self) -> Self {
        Self::new(self.x + other.x, self.y + other.y, self.z + other.z)
    }
}

impl Sub for Vector {
    type Output = Self;

    fn sub(self, other: Self) -> Self {
        Self::new(self.x - other.x, self.y - other.y, self.z - other.z)
    }
}

impl Neg for Vector {
    type Output = Self;

    fn neg(self) -> Self {
        Self::new(-self.x, -self.y, -self.z)
    }
}

impl Mul<f64> for Vector {
    type Output = Self;

    fn mul(self, factor: f64) -> Self {
        Self::new(self.x * factor, self.y * factor, self.z * factor)
    }
}

/// The centre line of a ring: a circle of radius 1.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Ring {
    /// Its centre.
    pub centre: Vector,
    /// The direction of its axis, of length 1. It also says which way round the circle runs, which gives
    /// [`Ring::linking`] its sign.
    pub normal: Vector,
}

/// A point of one circle and the point of the other that is nearest to it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Approach {
    /// How far apart they are.
    pub distance: f64,
    /// From the first circle's centre to its point.
    pub first: Vector,
    /// From the second circle's centre to its point.
    pub second: Vector,
}

/// Into how many parts a circle is divided where the nearest points are looked for. The distance of two circles has at
/// most four minima along one of them (its derivative is a trigonometric polynomial of degree 4).
const PARTS: usize = 32;

/// The distance from a point of the first circle to the second circle, as a function of the angle along the first.
struct Profile {
    across: [Vector; 2],
    /// The height of the point above the second circle's plane: constant, cosine, sine.
    height: [f64; 3],
    /// The square of its distance from the second circle's centre: constant, cosine, sine.
    square: [f64; 3],
}

impl Profile {
    fn new(first: &Ring, second: &Ring) -> Self {
        let across = first.normal.across();
        let [u, v] = across;
        let apart = first.centre - second.centre;
        let n = second.normal;
        Self {
            across,
            height: [apart.dot(n), u.dot(n), v.dot(n)],
            square: [apart.dot(apart) + 1.0, 2.0 * apart.dot(u), 2.0 * apart.dot(v)],
        }
    }

    /// The square of the distance at the angle with this cosine and sine.
    fn at(&self, cos: f64, sin: f64) -> f64 {
        let height = self.height[0] + self.height[1] * cos + self.height[2] * sin;
        let square = self.square[0] + self.square[1] * cos + self.square[2] * sin;
        let radial = (square - height * height).max(0.0).sqrt();
        square - 2.0 * radial + 1.0
    }

    /// The first and second derivatives of [`Self::at`].
    fn derivatives(&self, cos: f64, sin: f64) -> (f64, f64) {
        let three = |c: &[f64; 3]| {
            let wave = c[1] * cos + c[2] * sin;
            (c[0] + wave, c[2] * cos - c[1] * sin, -wave)
        };
        let (h, h1, h2) = three(&self.height);
        let (g, g1, g2) = three(&self.square);
        let (s, s1, s2) = (g - h * h, g1 - 2.0 * h * h1, g2 - 2.0 * (h1 * h1 + h * h2));
        // On the second circle's axis the distance has a maximum with a kink: no minimum is looked for there.
        let radial = s.max(1e-18).sqrt();
        (g1 - s1 / radial, g2 - s2 / radial + s1 * s1 / (2.0 * radial * radial * radial))
    }

    /// The angle of the minimum between two angles, of which the derivative changes its sign: Newton's steps, and halving
    /// where a step would leave the interval.
    fn minimum(&self, mut low: f64, mut high: f64) -> f64 {
        let mut angle = f64::midpoint(low, high);
        for _ in 0..40 {
            let (sin, cos) = libm::sincos(angle);
            let (slope, curvature) = self.derivatives(cos, sin);
            if slope > 0.0 {
                high = angle;
            } else {
                low = angle;
            }
            let step = if curvature > 0.0 { slope / curvature } else { f64::INFINITY };
            let next = angle - step;
            let next = if next > low && next < high { next } else { f64::midpoint(low, high) };
            if (next - angle).abs() < 1e-12 {
                return next;
            }
            angle = next;
        }
        angle
    }

    fn approach(&self, first: &Ring, second: &Ring, cos: f64, sin: f64) -> Approach {
        let [u, v] = self.across;
        let out = u * cos + v * sin;
        let from = first.centre + out - second.centre;
        let flat = from - second.normal * from.dot(second.normal);
        let reach = flat.length();
        let nearest = if reach > 1e-9 { flat * (1.0 / reach) } else { second.normal.across()[0] };
        Approach { distance: (from - nearest).length(), first: out, second: nearest }
    }
}

/// The angles of a circle's parts as cosines and sines.
#[derive(Debug, Clone)]
pub struct Directions([(f64, f64); PARTS]);

impl Default for Directions {
    fn default() -> Self {
        Self(std::array::from_fn(|part| {
            let (sin, cos) = libm::sincos(angle_of(part));
            (cos, sin)
        }))
    }
}

fn angle_of(part: usize) -> f64 {
    std::f64::consts::TAU * part as f64 / PARTS as f64
}

impl Ring {
    /// Calls `visit` with the nearest points of this circle and `other`, one for each minimum of the distance along this
    /// circle, and with every other part of it that is nearer than `also`: where the circles run side by side, one point
    /// says too little.
    pub fn approaches(
        &self,
        other: &Self,
        directions: &Directions,
        also: f64,
        mut visit: impl FnMut(Approach),
    ) {
        let profile = Profile::new(self, other);
        let slopes: [f64; PARTS] =
            std::array::from_fn(|part| profile.derivatives(directions.0[part].0, directions.0[part].1).0);
        let limit = also * also;
        for part in 0..PARTS {
            let (cos, sin) = directions.0[part];
            // A minimum lies where the slope turns from down to up.
            if slopes[part] <= 0.0 && slopes[(part + 1) % PARTS] > 0.0 {
                let (sin, cos) = libm::sincos(profile.minimum(angle_of(part), angle_of(part + 1)));
                visit(profile.approach(self, other, cos, sin));
            }
            if part % 2 == 0 && profile.at(cos, sin) < limit {
                visit(profile.approach(self, other, cos, sin));
            }
        }
    }

    /// The least distance between this circle and another one.
    #[must_use]
    pub fn distance(&self, other: &Self) -> f64 {
        let mut least = f64::INFINITY;
        self.approaches(other, &Directions::default(), f64::INFINITY, |near| {
            least = least.min(near.distance);
        });
        least
    }

    /// The linking number of two circles that do not meet: +1 or -1 where they are linked, otherwise 0. It is counted by
    /// the passages of this circle through the other one's disc, each with its direction.
    #[must_use]
    pub fn linking(&self, other: &Self) -> i32 {
        let profile = Profile::new(self, other);
        let [constant, cosine, sine] = profile.height;
        let swing = cosine.hypot(sine);
        if constant.abs() >= swing {
            return 0;
        }
        // Height = constant + swing cos(angle - peak): zero on both sides of the peak.
        let (c, s) = (cosine / swing, sine / swing);
        let cut = -constant / swing;
        let side = (1.0 - cut * cut).sqrt();
        let mut linking = 0;
        for (side, way) in [(side, -1), (-side, 1)] {
            let (cos, sin) = (c * cut - s * side, s * cut + c * side);
            let square = profile.square[0] + profile.square[1] * cos + profile.square[2] * sin;
            if square < 1.0 {
                linking += way;
            }
        }
        linking
    }
}
