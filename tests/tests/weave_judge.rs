//! A judge of the weave solver that shares nothing with it but the first arrangement of the rings: Monte Carlo.
//!
//! Rings of given wire are moved, tilted and pulled at random, without any symmetry; a move that makes two wires overlap is
//! taken back. What the judge reaches by chance the solver must have reached too, and without overlap. The distance of
//! two circles is measured here by points all along one of them, and links are counted by the Gauss integral.
#![allow(clippy::unwrap_used, clippy::panic, reason = "a test that cannot go on should stop")]

use std::f64::consts::TAU;

use fastrand::Rng;
use turntally_core::units::Length;
use turntally_sim::weave::pattern::{Kind, Weave};
use turntally_sim::weave::solve::Repeat;
use turntally_sim::weave::{Roomiest, Size};

type Vector = [f64; 3];

fn dot(a: Vector, b: Vector) -> f64 {
    a[0] * b[0] + a[1] * b[1] + a[2] * b[2]
}

fn cross(a: Vector, b: Vector) -> Vector {
    [a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]]
}

fn sum(a: Vector, b: Vector, factor: f64) -> Vector {
    [a[0] + factor * b[0], a[1] + factor * b[1], a[2] + factor * b[2]]
}

fn unit(a: Vector) -> Vector {
    sum([0.0; 3], a, 1.0 / dot(a, a).sqrt())
}

/// A circle of radius 1.
#[derive(Clone, Copy)]
struct Circle {
    centre: Vector,
    normal: Vector,
}

impl Circle {
    fn basis(&self) -> [Vector; 2] {
        let axis = if self.normal[0].abs() < 0.6 { [1.0, 0.0, 0.0] } else { [0.0, 1.0, 0.0] };
        let first = unit(cross(self.normal, axis));
        [first, cross(self.normal, first)]
    }

    fn point(&self, basis: [Vector; 2], angle: f64) -> Vector {
        sum(sum(self.centre, basis[0], angle.cos()), basis[1], angle.sin())
    }

    /// From a point to this circle.
    fn from(&self, point: Vector) -> f64 {
        let out = sum(point, self.centre, -1.0);
        let height = dot(out, self.normal);
        let flat = sum(out, self.normal, -height);
        height.hypot(dot(flat, flat).sqrt() - 1.0)
    }

    /// The least distance: points all along this circle, and halving around the nearest few.
    fn distance(&self, other: &Self) -> f64 {
        const PARTS: usize = 48;
        let basis = self.basis();
        let at = |angle: f64| other.from(self.point(basis, angle));
        let parts: Vec<f64> = (0..PARTS).map(|part| at(TAU * part as f64 / PARTS as f64)).collect();
        let mut least = f64::INFINITY;
        for part in 0..PARTS {
            if parts[part] <= parts[(part + 1) % PARTS] && parts[part] <= parts[(part + PARTS - 1) % PARTS] {
                let (mut middle, mut step) = (TAU * part as f64 / PARTS as f64, TAU / PARTS as f64);
                let mut value = parts[part];
                for _ in 0..24 {
                    step /= 2.0;
                    for angle in [middle - step, middle + step] {
                        let there = at(angle);
                        if there < value {
                            (middle, value) = (angle, there);
                        }
                    }
                }
                least = least.min(value);
            }
        }
        least
    }
}

/// Rings of a chain or a sheet that repeats by moving alone, along x and, in a sheet, along y.
#[derive(Clone)]
struct Chain {
    rings: Vec<Circle>,
    period: f64,
    /// From one repeat along y to the next; nothing in a chain.
    across: f64,
}

impl Chain {
    /// As many repeats of the roomiest arrangement as bring it round to the same angle.
    fn new(roomiest: &Roomiest) -> (Self, f64) {
        let arrangement = roomiest.arrangement();
        let Repeat::Chain { turn, .. } = arrangement.repeat else { panic!("a sheet") };
        let repeats = if turn.abs() < 1e-9 { 2 } else { (TAU / turn).round() as usize };
        let mut rings = Vec::new();
        for repeat in 0..repeats {
            for twin in 0..arrangement.rings_per_repeat() / arrangement.rings.len() {
                let angle = turn * repeat as f64 + std::f64::consts::PI * twin as f64;
                let turned = |[x, y, z]: Vector| {
                    [x, y * angle.cos() - z * angle.sin(), y * angle.sin() + z * angle.cos()]
                };
                for ring in &arrangement.rings {
                    let centre = turned([ring.centre.x, ring.centre.y, ring.centre.z]);
                    let along = arrangement.period[0] * repeat as f64;
                    let normal = turned([ring.normal.x, ring.normal.y, ring.normal.z]);
                    rings.push(Circle { centre: sum(centre, [1.0, 0.0, 0.0], along), normal });
                }
            }
        }
        (Self { rings, period: arrangement.period[0] * repeats as f64, across: 0.0 }, repeats as f64)
    }

    /// Two repeats along x of the roomiest arrangement of a sheet whose rows are not shifted.
    fn of_sheet(roomiest: &Roomiest) -> Self {
        let arrangement = roomiest.arrangement();
        assert_eq!(arrangement.repeat, Repeat::Sheet { shift: 0.0 });
        let [period, across] = arrangement.period;
        let repeat = |along: f64| {
            arrangement.rings.iter().map(move |ring| Circle {
                centre: [ring.centre.x + along, ring.centre.y, ring.centre.z],
                normal: [ring.normal.x, ring.normal.y, ring.normal.z],
            })
        };
        Self { rings: repeat(0.0).chain(repeat(period)).collect(), period: 2.0 * period, across }
    }

    fn image(&self, ring: usize, [along, row]: [i32; 2]) -> Circle {
        let circle = self.rings[ring];
        let offset = [f64::from(along) * self.period, f64::from(row) * self.across, 0.0];
        Circle { centre: sum(circle.centre, offset, 1.0), ..circle }
    }

    /// The repeats that may touch, the rings' own among them.
    fn repeats(&self) -> impl Iterator<Item = [i32; 2]> + use<> {
        let rows = i32::from(self.across > 0.0);
        (-rows..=rows).flat_map(|row| (-2..=2).map(move |along| [along, row]))
    }

    /// Whether every ring keeps this distance from one ring.
    fn is_free(&self, ring: usize, distance: f64) -> bool {
        let here = self.rings[ring];
        (0..self.rings.len()).all(|other| {
            self.repeats().filter(|repeat| other != ring || *repeat != [0, 0]).all(|repeat| {
                let there = self.image(other, repeat);
                let apart = sum(here.centre, there.centre, -1.0);
                dot(apart, apart).sqrt() > 2.0 + distance || here.distance(&there) >= distance
            })
        })
    }

    /// Pulls at random. Returns the period reached.
    fn pull(&mut self, distance: f64, rounds: usize, rng: &mut Rng) -> f64 {
        let mut size = 0.05;
        for _ in 0..rounds {
            let mut taken = 0;
            for _ in 0..self.rings.len() {
                let ring = rng.usize(..self.rings.len());
                let before = self.rings[ring];
                let mut random = || size * (2.0 * rng.f64() - 1.0);
                let moved = sum(before.centre, [random(), random(), random()], 1.0);
                let tilted = unit(sum(before.normal, [random(), random(), random()], 1.0));
                self.rings[ring] = Circle { centre: moved, normal: tilted };
                if self.is_free(ring, distance) { taken += 1 } else { self.rings[ring] = before }
            }
            // Longer, if nothing overlaps then.
            let before = self.clone();
            let longer = 1.0 + size * 0.3 * rng.f64();
            // A sheet may become narrower or wider meanwhile.
            let wider = 1.0 + size * (2.0 * rng.f64() - 1.0);
            self.period *= longer;
            self.across *= wider;
            for ring in &mut self.rings {
                ring.centre[0] *= longer;
                ring.centre[1] *= if self.across > 0.0 { wider } else { 1.0 };
            }
            if (0..self.rings.len()).all(|ring| self.is_free(ring, distance)) {
                size = (size * 1.05).min(0.05);
            } else {
                *self = before;
                size = if taken * 3 > self.rings.len() { size } else { (size * 0.97).max(1e-4) };
            }
        }
        self.period
    }
}

/// Chance never pulls a chain longer than the solver does, and comes within 10 % of it.
#[test]
fn chance_pulls_no_chain_longer_than_the_solver() {
    for (weave, ratio) in [
        (Weave::Single, 4.0),
        (Weave::Double, 4.0),
        (Weave::Triple, 5.0),
        (Weave::Box, 5.0),
        (Weave::Byzantine, 4.0),
        (Weave::HalfPersianThree, 5.0),
        (Weave::HalfPersianFour, 6.0),
    ] {
        assert_eq!(weave.kind(), Kind::Chain);
        let roomiest = Roomiest::new(weave).unwrap();
        let radius = f64::midpoint(1.0, ratio);
        let woven = roomiest.woven(Length::from_um(1000), Length::from_um((ratio * 1e3) as i64)).unwrap();
        let Size::Chain { stretched, relaxed } = woven.size else { panic!("a sheet") };
        let (mut chain, repeats) = Chain::new(&roomiest);
        let start = chain.period / repeats * radius;
        assert!((start / relaxed.get() - 1.0).abs() < 1e-9, "{weave}");
        let reached = chain.pull(1.0 / radius, 1500, &mut Rng::with_seed(7)) / repeats * radius;
        println!(
            "{weave} {ratio}: relaxed {start:.4}, by chance {reached:.4}, solved {:.4}",
            stretched.get()
        );
        assert!(
            reached <= stretched.get() * (1.0 + 1e-3),
            "{weave}: {reached} by chance, {stretched:?} solved"
        );
        assert!(reached >= stretched.get() * 0.9, "{weave}: {reached} by chance, {stretched:?} solved");
    }
}

/// Nor a sheet along its rows, and it comes within 10 % of it.
#[test]
fn chance_pulls_no_sheet_longer_than_the_solver() {
    for (weave, ratio) in [(Weave::EuropeanFour, 4.0), (Weave::EuropeanSix, 6.0), (Weave::JapaneseFour, 4.0)]
    {
        let roomiest = Roomiest::new(weave).unwrap();
        let radius = f64::midpoint(1.0, ratio);
        let woven = roomiest.woven(Length::from_um(1000), Length::from_um((ratio * 1e3) as i64)).unwrap();
        let Size::Sheet { stretched: (along, _), .. } = woven.size else { panic!("a chain") };
        let reached =
            Chain::of_sheet(&roomiest).pull(1.0 / radius, 1500, &mut Rng::with_seed(7)) / 2.0 * radius;
        println!("{weave} {ratio}: by chance {reached:.4}, solved {:.4}", along.get());
        assert!(reached <= along.get() * (1.0 + 1e-3), "{weave}: {reached} by chance, {along:?} solved");
        assert!(reached >= along.get() * 0.9, "{weave}: {reached} by chance, {along:?} solved");
    }
}

/// The smallest aspect ratios: with wire thicker by 0.3 % than the solver allows, chance finds no place for the rings.
///
/// It starts from the solver's own arrangement, moves rings at random, and keeps each move that leaves the least distance
/// of the moved ring no smaller; with the wire that the solver allows, it starts free.
#[test]
fn chance_finds_no_room_for_thicker_wire() {
    for weave in Weave::ALL.into_iter().filter(|weave| weave.kind() == Kind::Chain) {
        let roomiest = Roomiest::new(weave).unwrap();
        let arrangement = roomiest.arrangement();
        let Repeat::Chain { turn, free } = arrangement.repeat else { panic!("a sheet") };
        // A spiral comes round after no whole number of rings.
        if free {
            assert!(turn > 0.0);
            continue;
        }
        let distance = 2.0 / (roomiest.smallest_aspect_ratio() + 1.0);
        let (mut chain, _) = Chain::new(&roomiest);
        let least = |chain: &Chain| {
            (0..chain.rings.len())
                .flat_map(|ring| {
                    let here = chain.rings[ring];
                    (0..chain.rings.len())
                        .flat_map(|other| chain.repeats().map(move |repeat| (other, repeat)))
                        .filter(move |(other, repeat)| *other != ring || *repeat != [0, 0])
                        .map(move |(other, repeat)| here.distance(&chain.image(other, repeat)))
                })
                .fold(f64::INFINITY, f64::min)
        };
        assert!((least(&chain) - distance).abs() < 1e-6, "{weave}: {} for {distance}", least(&chain));
        let mut rng = Rng::with_seed(3);
        let mut best = distance;
        for round in 0..60 {
            let before = chain.clone();
            let size = 0.03 / f64::from(1 + round / 10);
            let mut random = || size * (2.0 * rng.f64() - 1.0);
            for ring in &mut chain.rings {
                ring.centre = sum(ring.centre, [random(), random(), random()], 1.0);
                ring.normal = unit(sum(ring.normal, [random(), random(), random()], 1.0));
            }
            chain.period *= 1.0 + random();
            let now = least(&chain);
            if now > best { best = now } else { chain = before }
        }
        assert!(best <= distance * 1.003, "{weave}: {best} by chance, {distance} solved");
    }
}
