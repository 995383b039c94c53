//! The solver: how thick the wire of a weave can be, and how far a weave of given wire can be stretched.
//!
//! It goes uphill by linear models: the distances of all neighbouring rings and their derivatives make a linear program
//! for the next step, in a box so small that no ring can pass through another. So the arrangement stays the one that it
//! started as, and the answer is the best that can be reached from there without taking a ring apart.

use crate::weave::quadratic::Program;
use crate::weave::ring::{Approach, Directions, Ring, Vector};

/// How a weave repeats.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Repeat {
    /// A chain along x: each repeat is turned against the one before by an angle in radians. A free angle is found by the
    /// solver, which starts from this one.
    Chain {
        /// The angle.
        turn: f64,
        /// The solver may change it.
        free: bool,
    },
    /// A sheet: rows along x, one after the other along y, each row moved by a part of the period along x.
    Sheet {
        /// The part of the period.
        shift: f64,
    },
}

/// An arrangement of rings that repeats, in units of the radius of a ring's centre line.
#[derive(Debug, Clone, PartialEq)]
pub struct Arrangement {
    /// The rings of a repeat, without those that symmetry makes of them.
    pub rings: Vec<Ring>,
    /// Each ring has a twin: turned by half a turn about the x axis.
    pub twins: bool,
    /// How the rings repeat.
    pub repeat: Repeat,
    /// The period along x, and of a sheet along y.
    pub period: [f64; 2],
    /// Between how many repeats rings can touch.
    pub reach: i32,
}

/// What is to become as large as it can.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Aim {
    /// The period along x.
    Longest,
    /// The period along y.
    Widest,
    /// The area of a repeat.
    Area,
}

/// One ring seen from another: which one, and where.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Image {
    ring: usize,
    twin: bool,
    steps: [i32; 2],
}

/// Two rings that may touch.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Pair {
    first: usize,
    second: Image,
}

/// How many numbers place a ring: three for its centre, two for its axis.
const PLACES: usize = 5;
/// The largest step, as a part of the least distance between two circles. Per unit of the step, two points of rings
/// approach each other by at most 2 (√3 + √2) for the rings and by one for each of up to six repeats between them: together
/// by less than the distance. A turn that is free adds to that, so the links are counted again at the end.
const STEP: f64 = 0.08;
/// What a unit of overlap costs at first, in units of the aim; ten times more wherever that is less than it gains.
const OVERLAP_COST: f64 = 30.0;
/// An overlap that counts as none.
const LEAST_OVERLAP: f64 = 1e-8;
/// The largest overlap cost.
const MOST_COST: f64 = 1e6;
/// By how much a step may be lengthened.
const LONGEST_STRIDE: f64 = 64.0;
/// At most so many steps.
const MAX_STEPS: usize = 1000;
/// A step that gains less ends the search.
const LEAST_GAIN: f64 = 5e-8;
/// A length of step below this ends the search.
const LEAST_LENGTH: f64 = 1e-10;
/// The length of the first step, and the largest one.
const LENGTHS: [f64; 2] = [0.1, 10.0];

/// The distances of an arrangement and their derivatives.
struct Model {
    /// The least distance of all.
    least: f64,
    distances: Vec<f64>,
    /// One row of derivatives for each distance.
    rows: Vec<f64>,
}

impl Arrangement {
    /// How many numbers describe it.
    fn size(&self) -> usize {
        PLACES * self.rings.len() + 2
    }

    /// Whether the solver leaves this number as it is: moves and turns of the whole, and what this kind of repeat does not
    /// have.
    fn is_fixed(&self, place: usize) -> bool {
        let last = PLACES * self.rings.len();
        match self.repeat {
            Repeat::Chain { free, .. } => place == 0 || place == 3 || (place == last + 1 && !free),
            Repeat::Sheet { .. } => place < 3,
        }
    }

    /// The directions in which a ring's axis is tilted.
    fn tilts(normal: Vector) -> [Vector; 2] {
        let about_x = Vector::new(1.0, 0.0, 0.0).cross(normal);
        if about_x.length() > 0.1 {
            let first = about_x.unit();
            [first, normal.cross(first)]
        } else {
            normal.across()
        }
    }

    /// The arrangement moved by a step, times a factor.
    fn moved(&self, step: &[f64], factor: f64) -> Self {
        let step: Vec<f64> = step.iter().map(|part| factor * part).collect();
        let mut moved = self.clone();
        for (ring, step) in moved.rings.iter_mut().zip(step.chunks_exact(PLACES)) {
            let [first, second] = Self::tilts(ring.normal);
            ring.centre = ring.centre + Vector::new(step[0], step[1], step[2]);
            ring.normal = (ring.normal + first * step[3] + second * step[4]).unit();
        }
        let last = PLACES * self.rings.len();
        moved.period[0] += step[last];
        match &mut moved.repeat {
            Repeat::Chain { turn, .. } => *turn += step[last + 1],
            Repeat::Sheet { .. } => moved.period[1] += step[last + 1],
        }
        moved
    }

    /// Where the repeat this many steps away is.
    fn offset(&self, [along, rows]: [i32; 2]) -> Vector {
        let (along, rows) = (f64::from(along), f64::from(rows));
        match self.repeat {
            Repeat::Chain { .. } => Vector::new(along * self.period[0], 0.0, 0.0),
            Repeat::Sheet { shift } => {
                Vector::new((along + shift * rows) * self.period[0], rows * self.period[1], 0.0)
            }
        }
    }

    /// The cosine and the sine of the angle by which an image is turned about x.
    fn turn(&self, image: Image) -> (f64, f64) {
        let half = if image.twin { std::f64::consts::PI } else { 0.0 };
        let angle = match self.repeat {
            Repeat::Chain { turn, .. } => turn * f64::from(image.steps[0]) + half,
            Repeat::Sheet { .. } => half,
        };
        let (sin, cos) = libm::sincos(angle);
        (cos, sin)
    }

    fn image(&self, image: Image) -> Ring {
        let ring = &self.rings[image.ring];
        let (cos, sin) = self.turn(image);
        Ring {
            centre: ring.centre.turned(cos, sin) + self.offset(image.steps),
            normal: ring.normal.turned(cos, sin),
        }
    }

    /// Every ring of the repeat and of those near it, the repeat's own first.
    #[must_use]
    pub fn neighbourhood(&self) -> Vec<Ring> {
        let mut all = Vec::new();
        for steps in self.all_steps() {
            for ring in 0..self.rings.len() {
                for twin in [false, true].into_iter().take(if self.twins { 2 } else { 1 }) {
                    all.push(self.image(Image { ring, twin, steps }));
                }
            }
        }
        all
    }

    /// The rings of one repeat.
    #[must_use]
    pub fn rings_per_repeat(&self) -> usize {
        self.rings.len() * if self.twins { 2 } else { 1 }
    }

    fn all_steps(&self) -> Vec<[i32; 2]> {
        let reach = self.reach;
        let rows = if matches!(self.repeat, Repeat::Sheet { .. }) { reach } else { 0 };
        let mut all: Vec<[i32; 2]> =
            (-rows..=rows).flat_map(|row| (-reach..=reach).map(move |along| [along, row])).collect();
        all.sort_by_key(|[along, row]| (along.abs() + row.abs(), *row, *along));
        all
    }

    /// Every pair of rings that may ever touch, each once.
    fn pairs(&self) -> Vec<Pair> {
        let mut pairs = Vec::new();
        for first in 0..self.rings.len() {
            for steps in self.all_steps() {
                for ring in 0..self.rings.len() {
                    // The pair seen from its other ring has the steps the other way round.
                    let later = (steps[1], steps[0], ring) > (0, 0, first);
                    if later {
                        pairs.push(Pair { first, second: Image { ring, twin: false, steps } });
                    }
                    // A twin's twin is the ring itself, and a turn by half a turn goes the other way round too.
                    let later = (steps[1], steps[0], ring) >= (0, 0, first);
                    if self.twins && later {
                        pairs.push(Pair { first, second: Image { ring, twin: true, steps } });
                    }
                }
            }
        }
        pairs
    }

    /// The linking number of each pair.
    fn links(&self, pairs: &[Pair]) -> Vec<i32> {
        pairs.iter().map(|pair| self.rings[pair.first].linking(&self.image(pair.second))).collect()
    }

    /// To how many rings each ring of the repeat is linked.
    #[must_use]
    pub fn links_per_ring(&self) -> Vec<usize> {
        let all = self.neighbourhood();
        let twin = if self.twins { 2 } else { 1 };
        (0..self.rings.len())
            .map(|ring| all.iter().filter(|other| all[ring * twin].linking(other) != 0).count())
            .collect()
    }

    /// The least distance between the centre lines of two rings.
    #[must_use]
    pub fn least_distance(&self) -> f64 {
        self.least_within(&self.pairs(), &Directions::default(), f64::INFINITY)
    }

    /// The least distance of these pairs, or `limit` where that is less.
    fn least_within(&self, pairs: &[Pair], directions: &Directions, limit: f64) -> f64 {
        let mut least = limit;
        for pair in pairs {
            let (first, second) = (&self.rings[pair.first], self.image(pair.second));
            if (second.centre - first.centre).length() < 2.0 + least {
                first.approaches(&second, directions, 0.0, |near| least = least.min(near.distance));
            }
        }
        least
    }

    /// The distances below `limit`, of pairs that are not farther apart.
    fn model(&self, pairs: &[Pair], directions: &Directions, limit: f64, also: f64) -> Model {
        let size = self.size();
        let last = size - 2;
        let mut model = Model { least: f64::INFINITY, distances: Vec::new(), rows: Vec::new() };
        for pair in pairs {
            let (first, second) = (&self.rings[pair.first], self.image(pair.second));
            if (second.centre - first.centre).length() > 2.0 + limit {
                continue;
            }
            let (cos, sin) = self.turn(pair.second);
            let tilts = Self::tilts(first.normal);
            let theirs = &self.rings[pair.second.ring];
            let their_tilts = Self::tilts(theirs.normal);
            first.approaches(&second, directions, also, |near: Approach| {
                model.least = model.least.min(near.distance);
                if near.distance > limit {
                    return;
                }
                let point = second.centre + near.second;
                let away = (first.centre + near.first - point) * (1.0 / near.distance.max(1e-12));
                let start = model.rows.len();
                model.rows.resize(start + size, 0.0);
                model.distances.push(near.distance);
                let row = &mut model.rows[start..];
                // A point of a ring that tilts by t moves by -t (point . tilt) along the ring's axis.
                let mine = &mut row[PLACES * pair.first..][..PLACES];
                for (cell, part) in mine.iter_mut().zip([away.x, away.y, away.z]) {
                    *cell += part;
                }
                for (cell, tilt) in mine[3..].iter_mut().zip(tilts) {
                    *cell -= near.first.dot(tilt) * away.dot(first.normal);
                }
                // The other ring's numbers are those of the ring that it is an image of.
                let pulled = (-away).turned(cos, -sin);
                let out = near.second.turned(cos, -sin);
                let mine = &mut row[PLACES * pair.second.ring..][..PLACES];
                for (cell, part) in mine.iter_mut().zip([pulled.x, pulled.y, pulled.z]) {
                    *cell += part;
                }
                for (cell, tilt) in mine[3..].iter_mut().zip(their_tilts) {
                    *cell -= out.dot(tilt) * pulled.dot(theirs.normal);
                }
                let [along, rows] = pair.second.steps.map(f64::from);
                match self.repeat {
                    Repeat::Chain { .. } => {
                        row[last] -= away.x * along;
                        row[last + 1] -= away.dot(Vector::new(1.0, 0.0, 0.0).cross(point)) * along;
                    }
                    Repeat::Sheet { shift } => {
                        row[last] -= away.x * (along + shift * rows);
                        row[last + 1] -= away.y * rows;
                    }
                }
            });
        }
        model
    }

    /// What an aim is worth, and its derivatives by the two last numbers.
    fn worth(&self, aim: Aim) -> (f64, [f64; 2]) {
        let [x, y] = self.period;
        match aim {
            Aim::Longest => (x, [1.0, 0.0]),
            Aim::Widest => (y, [0.0, 1.0]),
            Aim::Area => (x * y, [y, x]),
        }
    }
}

/// Goes uphill from an arrangement.
#[derive(Debug, Clone, Default)]
pub struct Solver {
    directions: Directions,
}

impl Solver {
    /// The arrangement with the largest least distance that can be reached: the one that takes the thickest wire.
    ///
    /// # Errors
    /// [`Unsolved`] if the search does not come to an end.
    pub fn thickest(&self, start: &Arrangement) -> Result<(Arrangement, f64), Unsolved> {
        self.climb(start, None)
    }

    /// The arrangement that the aim is best served by, of wire as thick as `distance`. The start must allow such wire.
    ///
    /// # Errors
    /// [`Unsolved`] if the search does not come to an end.
    pub fn best(&self, start: &Arrangement, distance: f64, aim: Aim) -> Result<Arrangement, Unsolved> {
        self.climb(start, Some((distance, aim))).map(|(found, _)| found)
    }

    fn climb(&self, start: &Arrangement, wanted: Option<(f64, Aim)>) -> Result<(Arrangement, f64), Unsolved> {
        let pairs = start.pairs();
        let links = start.links(&pairs);
        let size = start.size();
        let mut here = start.clone();
        let [mut length, longest] = LENGTHS;
        let overlap = |least: f64| wanted.map_or(0.0, |(distance, _)| (distance - least).max(0.0));
        let merit = |at: &Arrangement, least: f64, cost: f64| match wanted {
            None => least,
            Some((_, aim)) => at.worth(aim).0 - cost * overlap(least),
        };
        let (mut cost, mut stride) = (OVERLAP_COST, 1.0);
        let mut least = here.least_within(&pairs, &self.directions, 2.0);
        for _ in 0..MAX_STEPS {
            let width = (STEP * least).min(20.0 * length);
            // Pairs that are farther apart cannot touch in this step; points that are nearer than `also` may.
            let base = wanted.map_or(least, |(distance, _)| distance.min(least));
            let (limit, also) = (base + 10.0 * width, base + 3.0 * width);
            let model = here.model(&pairs, &self.directions, limit, also);
            let Some(step) = best_step(&here, &model, wanted, cost, width, length) else {
                return Err(Unsolved);
            };
            let merit_here = merit(&here, model.least, cost);
            // The last number is the distance gained, or the overlap that stays.
            let predicted = match wanted {
                None => step[size],
                Some((_, aim)) => {
                    let (worth, [x, y]) = here.worth(aim);
                    worth + x * step[size - 2] + y * step[size - 1] - cost * step[size] - merit_here
                }
            };
            if predicted < LEAST_GAIN || length < LEAST_LENGTH {
                if overlap(model.least) > LEAST_OVERLAP && cost < MOST_COST {
                    (cost, length) = (10.0 * cost, LENGTHS[0]);
                    continue;
                }
                let sound = overlap(model.least) <= LEAST_OVERLAP && here.links(&pairs) == links;
                return if sound { Ok((here, least)) } else { Err(Unsolved) };
            }
            let least_of = |at: &Arrangement| at.least_within(&pairs, &self.directions, limit);
            let there = here.moved(&step[..size], 1.0);
            let least_there = least_of(&there);
            let merit_there = merit(&there, least_there, cost);
            let gained = merit_there - merit_here;
            if gained > 0.0 {
                // Where the way is long and straight, a step goes on as far as it still gains.
                let farther = 2.0 * stride;
                let part = step[..size].iter().fold(0.0, |most: f64, part| most.max(part.abs()));
                let far = here.moved(&step[..size], farther);
                let least_far = if farther * part <= width { least_of(&far) } else { 0.0 };
                if least_far > 0.0 && merit(&far, least_far, cost) > merit_there {
                    (here, least, stride) = (far, least_far, farther.min(LONGEST_STRIDE));
                } else {
                    (here, least, stride) = (there, least_there, (0.5 * stride).max(1.0));
                }
            }
            if gained > 0.7 * predicted {
                length = (2.0 * length).min(longest);
            } else if gained < 0.3 * predicted {
                length *= 0.4;
            }
        }
        Err(Unsolved)
    }
}

/// The best step by the linear model, and behind it the distance gained or the overlap that stays.
///
/// None of its components is larger than `width`; `length` is how far it may go before its cost outweighs its gain.
fn best_step(
    here: &Arrangement,
    model: &Model,
    wanted: Option<(f64, Aim)>,
    cost: f64,
    width: f64,
    length: f64,
) -> Option<Vec<f64>> {
    let size = here.size();
    let free: Vec<usize> = (0..size).filter(|place| !here.is_fixed(*place)).collect();
    let mut program = Program {
        gain: vec![0.0; free.len()],
        length,
        rows: Vec::with_capacity((free.len() + 1) * model.distances.len()),
        limits: Vec::with_capacity(model.distances.len()),
    };
    let target = match wanted {
        None => {
            program.gain.push(1.0);
            // Without a pair below the limit there is nothing to gain by the model.
            if model.least.is_finite() { model.least } else { 0.0 }
        }
        Some((distance, aim)) => {
            let (_, worth) = here.worth(aim);
            for (gain, place) in program.gain.iter_mut().zip(&free) {
                if *place + 2 >= size {
                    *gain = worth[place + 2 - size];
                }
            }
            program.gain.push(-cost);
            distance
        }
    };
    let slack = if wanted.is_none() { 1.0 } else { -1.0 };
    for (distance, row) in model.distances.iter().zip(model.rows.chunks_exact(size)) {
        program.rows.extend(free.iter().map(|place| -row[*place]));
        program.rows.push(slack);
        program.limits.push(distance - target);
    }
    // The overlap that stays is not below zero.
    if wanted.is_some() {
        program.rows.extend(free.iter().map(|_| 0.0));
        program.rows.push(-1.0);
        program.limits.push(0.0);
    }
    let mut found = program.solve()?;
    let longest = found.iter().take(free.len()).fold(0.0, |longest: f64, part| longest.max(part.abs()));
    if longest > width {
        let part_of_step = width / longest;
        for part in &mut found {
            *part *= part_of_step;
        }
        // A part of the step removes only a part of the overlap.
        if let (Some((distance, _)), Some(stays)) = (wanted, found.last_mut()) {
            *stays += (1.0 - part_of_step) * (distance - model.least).max(0.0);
        }
    }
    let mut step = vec![0.0; size + 1];
    for (place, value) in free.iter().zip(&found) {
        step[*place] = *value;
    }
    step[size] = found.last().copied().unwrap_or_default();
    Some(step)
}

/// The search did not come to an end.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Unsolved;
