//! The numbers of a batch: its coils, its wire, and what becomes of the wire.

use turntally_core::bounds::Bounds;
use turntally_core::coil::Winding;
use turntally_core::gauge::Tolerance;
use turntally_core::plan::BatchPlan;
use turntally_core::units::{Density, Grams, Length, Mm, Turns};

use crate::failure::Failure;
use crate::job::{Job, Wanted, spare_rings};

/// Coils of a batch that are wound alike.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CoilGroup {
    /// How many of them.
    pub count: u32,
    /// Rings that are certain from each.
    pub rings: u32,
    /// Rings that each gives at most: the least springback, the slit where it falls best, none of the lead-in bent.
    pub rings_best: u32,
    /// Encoder counts at which to stop.
    pub target_counts: i64,
    /// Turns at which to stop.
    pub wound_turns: Turns,
    /// Length on the mandrel, edge to edge.
    pub wound_length: Mm,
    /// Turns left once the coil is released, at the likely springback; its lead-in is among them.
    pub released_turns: f64,
    /// Length off the mandrel, edge to edge, at the likely springback.
    pub released_length: Mm,
    /// Wire in one of them, its lead-in included.
    pub wire: Mm,
    /// What becomes of the wire of one of them.
    pub ends_as: EndsAs,
}

/// What wire ends as once the promised rings are sawn.
///
/// Each part is worked out on its own, none is what the others leave over.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct EndsAs {
    /// Rings: the wire in a ring times the rings that are certain.
    pub rings: Grams,
    /// Swarf: the wire in a kerf times the cuts, one more than rings.
    pub swarf: Grams,
    /// The two ends before the first cut and past the last. A ring beyond those that are certain is
    /// counted here until it is in hand.
    pub offcut: Grams,
}

/// A whole batch.
#[derive(Debug, Clone, PartialEq)]
pub struct Plan {
    /// Rings wanted, those to spare not included. Where the job starts from wire: the most that leave
    /// the share to spare.
    pub rings_wanted: u32,
    /// Rings that are certain from all the coils.
    pub rings_planned: u32,
    /// Rings at most: the least springback, every slit where it falls best, no lead-in bent.
    pub rings_best: u64,
    /// Rings on the average of where slits fall, at the likely springback.
    pub rings_likely: u64,
    /// The coils, in the order in which they are wound: the full ones, then the last.
    pub groups: Vec<CoilGroup>,
    /// Coils in all.
    pub coil_count: u32,
    /// Wire in all coils.
    pub wire_total: Mm,
    /// The same, should every coil be stopped half a turn late.
    pub wire_with_late_stops: Mm,
    /// Its mass, from the nominal diameter and the density that counts.
    pub wire_mass: Grams,
    /// Mass of the same length, from the thinnest and lightest to the thickest and heaviest wire that
    /// is still sold as this one.
    pub wire_mass_range: Bounds<f64>,
    /// What becomes of it.
    pub ends_as: EndsAs,
    /// Mass of one ring, at the likely springback.
    pub ring_mass: Grams,
    /// Inside diameter of a ring that is closed up, over the bounds of the springback.
    pub ring_inner: Bounds<f64>,
    /// Cost of the wire, where a price was given.
    pub cost: Option<f64>,
    /// Minutes at the bench.
    pub minutes: Bounds<f64>,
}

impl Plan {
    /// Plans a job.
    ///
    /// # Errors
    /// One line where the job's wire gives no ring, or more rings than are allowed.
    pub fn of(job: &Job) -> Result<Self, Failure> {
        let rings_planned = job.rings_to_make()?;
        let rings_wanted = match job.wanted {
            Wanted::Rings(rings) => rings,
            _ => wanted_with_spare(rings_planned, job.spare_percent),
        };
        let groups = split(&job.rule, rings_planned)
            .into_iter()
            .filter(|(count, _)| *count > 0)
            .map(|(count, rings)| CoilGroup::of(job, count, rings))
            .collect::<Vec<_>>();
        let winding = &job.winding;
        let coil_count = groups.iter().map(|group| group.count).sum();
        let total =
            |of: fn(&CoilGroup) -> f64| groups.iter().map(|g| f64::from(g.count) * of(g)).sum::<f64>();
        let wire_total = Mm::new(total(|g| g.wire.get()));
        let wire_mass = job.density.wire_mass(winding.wire(), wire_total);
        let late = 0.5 * f64::from(coil_count) * winding.wound_turn_wire().get();
        let tail = job.tail.as_f64();
        let spring = winding.spring();
        Ok(Self {
            rings_wanted,
            rings_planned,
            rings_best: groups.iter().map(|g| u64::from(g.count) * u64::from(g.rings_best)).sum(),
            rings_likely: likely(&groups, tail).max(u64::from(rings_planned)),
            coil_count,
            wire_total,
            wire_with_late_stops: wire_total + Mm::new(late),
            wire_mass,
            wire_mass_range: mass_range(job, wire_total, wire_mass),
            ends_as: EndsAs {
                rings: Grams::new(total(|g| g.ends_as.rings.get())),
                swarf: Grams::new(total(|g| g.ends_as.swarf.get())),
                offcut: Grams::new(total(|g| g.ends_as.offcut.get())),
            },
            ring_mass: winding.ring_mass(spring.best(), job.density),
            ring_inner: Bounds {
                low: winding.ring(spring.low()).closed_inner_diameter.get(),
                best: winding.ring(spring.best()).closed_inner_diameter.get(),
                high: winding.ring(spring.high()).closed_inner_diameter.get(),
            },
            cost: job.price.as_ref().map(|price| price.per_kg * wire_mass.get() / 1e3),
            minutes: minutes(&groups, job.gear.ratio()),
            groups,
        })
    }

    /// The share of the wire that does not end as a promised ring, 0..=1.
    #[must_use]
    pub fn scrap_share(&self) -> f64 {
        (self.ends_as.swarf.get() + self.ends_as.offcut.get()) / self.wire_mass.get()
    }

    /// Rings to make beyond those wanted.
    #[must_use]
    pub const fn rings_to_spare(&self) -> u32 {
        self.rings_planned.saturating_sub(self.rings_wanted)
    }
}

impl CoilGroup {
    fn of(job: &Job, count: u32, rings: u32) -> Self {
        let winding = &job.winding;
        let wound_turns = job.rule.target_turns(rings);
        let turns = wound_turns.as_f64();
        let ratio = winding.spring().best();
        let released_turns = turns * winding.turns_kept(ratio);
        let along = |turns: f64| Mm::new(turns * winding.pitch().get() + winding.wire().mm().get());
        Self {
            count,
            rings,
            rings_best: job.rule.coil().best_rings(wound_turns),
            target_counts: job.rule.target_counts(rings),
            wound_turns,
            wound_length: along(turns),
            released_turns,
            released_length: along(released_turns),
            wire: Mm::new(turns * winding.wound_turn_wire().get()),
            ends_as: EndsAs::of(winding, job.density, released_turns, job.tail.as_f64(), rings),
        }
    }
}

impl EndsAs {
    /// The account of one released coil of `turns` turns, the first `tail` of them lead-in, that is
    /// sawn into `rings`.
    ///
    /// The cuts lie one turn apart, with as much of the coil free past the last as between lead-in
    /// and first; where between them they lie changes no mass.
    fn of(winding: &Winding, density: Density, turns: f64, tail: f64, rings: u32) -> Self {
        let ring = winding.ring(winding.spring().best());
        let (turn, kerf) = (ring.turn_wire.get(), ring.kerf_wire.get());
        let rings = f64::from(rings);
        let first_cut = tail + (turns - tail - rings) / 2.0;
        let last_cut = first_cut + rings;
        let mass = |length: f64| density.wire_mass(winding.wire(), Mm::new(length));
        let before = first_cut * turn - kerf / 2.0;
        let after = (turns - last_cut) * turn - kerf / 2.0;
        Self {
            rings: mass(rings * ring.wire.get()),
            swarf: mass((rings + 1.0) * kerf),
            offcut: mass(before + after),
        }
    }
}

/// How many coils of how many rings: the full ones, then the last; a count may be zero.
#[must_use]
pub fn split(rule: &BatchPlan, rings: u32) -> [(u32, u32); 2] {
    split_by(rule.full_rings(), rings)
}

/// The same with at most `full` rings a coil.
#[must_use]
pub fn split_by(full: u32, rings: u32) -> [(u32, u32); 2] {
    let full = full.max(1);
    let last = rings % full;
    [(rings / full, full), (u32::from(last > 0), last)]
}

/// The wire that `rings` take in coils of at most `full` rings.
#[must_use]
pub fn wire_for(rule: &BatchPlan, winding: &Winding, full: u32, rings: u32) -> Mm {
    let turns: f64 = split_by(full, rings)
        .iter()
        .filter(|(count, _)| *count > 0)
        .map(|(count, rings)| f64::from(*count) * rule.target_turns(*rings).as_f64())
        .sum();
    Mm::new(turns * winding.wound_turn_wire().get())
}

/// The most rings that leave `percent` of themselves to spare out of `planned`.
fn wanted_with_spare(planned: u32, percent: f64) -> u32 {
    let (mut low, mut high) = (0, planned);
    while low < high {
        let middle = low + (high - low).div_ceil(2);
        if middle.saturating_add(spare_rings(middle, percent)) <= planned {
            low = middle;
        } else {
            high = middle - 1;
        }
    }
    low
}

/// A straight slit through T turns gives T - 1 rings on the average of where it falls.
fn likely(groups: &[CoilGroup], tail: f64) -> u64 {
    groups
        .iter()
        .map(|group| f64::from(group.count) * (group.released_turns - tail - 1.0).max(0.0))
        .sum::<f64>() as u64
}

fn mass_range(job: &Job, wire: Mm, likely: Grams) -> Bounds<f64> {
    let diameter = job.size.diameter();
    let tolerance = Tolerance::of(diameter).plus_minus.nm();
    // A density that was typed in is taken as weighed; a listed one has its range.
    let listed = job.metal.map(|metal| metal.density()).filter(|figure| figure.value() == job.metal_density);
    let given = job.metal_density;
    let (light, heavy) = listed.map_or((given, given), |figure| (figure.low(), figure.high()));
    let mass = |density: Density, nm: i64| {
        let core = Length::from_nm(nm.max(0));
        density.enamelled(core, job.coating).wire_mass(core.with_coating(job.coating), wire).get()
    };
    Bounds {
        low: mass(light, diameter.nm() - tolerance),
        best: likely.get(),
        high: mass(heavy, diameter.nm() + tolerance),
    }
}

/// Turns of the crank in a minute, slow to brisk. Common practice, no source; likewise the times below.
pub const CRANKING: (f64, f64) = (20.0, 60.0);
/// Minutes to fix a wire's end, slide the coil off and clamp it in the saw.
pub const HANDLING: (f64, f64) = (2.0, 4.0);
/// Seconds at the saw for a ring.
pub const SAWING: (f64, f64) = (1.0, 2.0);
/// Seconds to count a ring and look at it.
pub const COUNTING: (f64, f64) = (0.5, 1.5);

/// Minutes at the bench; the likely one lies in the middle of the two.
fn minutes(groups: &[CoilGroup], gear: f64) -> Bounds<f64> {
    let at = |cranking: f64, handling: f64, ring: f64| -> f64 {
        groups
            .iter()
            .map(|group| {
                let winding = group.wound_turns.as_f64() / gear / cranking;
                f64::from(group.count) * (winding + handling + f64::from(group.rings) * ring / 60.0)
            })
            .sum()
    };
    let low = at(CRANKING.1, HANDLING.0, SAWING.0 + COUNTING.0);
    let high = at(CRANKING.0, HANDLING.1, SAWING.1 + COUNTING.1);
    Bounds { low, best: f64::midpoint(low, high), high }
}
