//! Whether a spool lasts for a batch, before it is wound and from coil to coil.

use turntally_core::bounds::Bounds;
use turntally_core::plan::BatchPlan;
use turntally_core::units::{Length, Mm, Turns};

use super::figures::Plan;
use crate::figures::{HUNDREDTHS, Printed};
use crate::job::Job;
use crate::lookup::Spool;
use crate::words::count;
use crate::words::number::metres;

/// How far a spool reaches.
#[derive(Debug, Clone, PartialEq)]
pub struct Reach {
    /// The spool.
    pub spool: Spool,
    /// Wire that the whole batch takes.
    pub needed: Length,
    /// Coils that it finishes, each stopped at its target.
    pub coils: u32,
    /// Rings that are certain from those.
    pub rings: u64,
    /// Coils in all.
    pub of_coils: u32,
    /// The same wire, should every coil be stopped half a turn late.
    late: Length,
    /// Mass of a length of this wire over the likely one, least and most: diameter and alloy vary.
    mass_share: [f64; 2],
}

impl Reach {
    /// How far the job's spool reaches, if it has one.
    #[must_use]
    pub fn of(job: &Job, plan: &Plan) -> Option<Self> {
        let spool = job.spool.clone()?;
        let (mut needed, mut coils, mut rings) = (0_i64, 0, 0);
        for group in &plan.groups {
            let each = job.rule.coil().wire_used(group.wound_turns).nm();
            // Of a spool that did not last for the coils before, less than nothing is left for these.
            let finished = ((spool.left.nm() - needed).max(0) / each.max(1)).min(i64::from(group.count));
            coils += finished as u32;
            rings += finished as u64 * u64::from(group.rings);
            needed = needed.saturating_add(each.saturating_mul(i64::from(group.count)));
        }
        let late = Length::from_mm(plan.wire_with_late_stops).unwrap_or_default();
        let needed = Length::from_nm(needed);
        let mass = plan.wire_mass_range;
        let mass_share = [mass.low / mass.best, mass.high / mass.best];
        Some(Self { spool, needed, coils, rings, of_coils: plan.coil_count, late, mass_share })
    }

    /// It finishes every coil.
    #[must_use]
    pub const fn lasts(&self) -> bool {
        self.coils >= self.of_coils
    }

    /// What is left on it afterwards; below zero: what it falls short by.
    #[must_use]
    pub fn after(&self) -> Length {
        self.spool.left - self.needed
    }

    /// The same in millimetres, with its bounds.
    ///
    /// Whether the spool was weighed or its wire measured is not known, so both are taken in: a mass on it is a
    /// longer or a shorter wire, as diameter and alloy vary, and what the batch takes is a length.
    #[must_use]
    pub fn after_mm(&self) -> Bounds<f64> {
        let [light, heavy] = self.mass_share;
        let (left, needed) = (self.spool.left.mm().get(), self.needed.mm().get());
        let best = left - needed;
        let weighed = [left / heavy - needed, left / light - needed];
        Bounds { low: best.min(weighed[0]).min(weighed[1]), best, high: best.max(weighed[0]).max(weighed[1]) }
    }

    /// The same in grams, with its bounds.
    #[must_use]
    pub fn after_g(&self) -> Bounds<f64> {
        let (left, needed) = (self.spool.left_mass().get(), self.spool.mass(self.needed).get());
        let best = self.spool.mass(self.after()).get();
        let all = self.mass_share.map(|share| [left - needed * share, best * share]);
        let bounds = all.iter().flatten();
        Bounds {
            low: bounds.clone().copied().fold(best, f64::min),
            best,
            high: bounds.copied().fold(best, f64::max),
        }
    }

    /// `"copper 1" has 43.21 m, 436.9 g (15.41 oz); 29.1 m, 294 g afterwards (27.8 to 30.5 m, 289 to 299 g as wire and alloy
    /// vary)`.
    #[must_use]
    pub fn words(&self) -> String {
        let turned = if self.lasts() { 1.0 } else { -1.0 };
        let metres = self.after_mm().map(|mm| turned * mm / 1e3);
        let after_g = self.after_g();
        let [(unit, per), _] = self.spool.scales().units(after_g.best);
        let mass = after_g.map(|g| turned * g / per);
        let mut words = format!("\"{}\" has {}; ", self.spool.name, self.spool.words(self.spool.left));
        let amount = format!("{} m, {} {unit}", metres.shown_to(HUNDREDTHS), mass.shown());
        words += &if self.lasts() {
            format!("{amount} afterwards")
        } else {
            format!("it falls short by {amount}")
        };
        if let (Some((least_m, most_m)), Some((least_g, most_g))) =
            (metres.bounds_shown_to(HUNDREDTHS), mass.bounds_shown())
        {
            words +=
                &format!(" ({least_m} to {most_m} m, {least_g} to {most_g} {unit} as wire and alloy vary)");
        }
        words
    }

    /// What to look out for, if anything.
    #[must_use]
    pub fn warning(&self) -> Option<String> {
        let name = &self.spool.name;
        if !self.lasts() {
            return Some(format!(
                "The spool \"{name}\" finishes {} of {}, {} guaranteed: it cannot finish coil {}.",
                self.coils,
                count(u64::from(self.of_coils), "coil"),
                count(self.rings, "ring"),
                self.coils + 1,
            ));
        }
        let late = (self.late > self.spool.left).then(|| {
            format!("The spool \"{name}\" lasts only if no coil is stopped late: half a turn more of each is not on it.")
        });
        let short = -self.after_mm().low;
        let short = (short > 0.0).then(|| {
            format!(
                "The spool \"{name}\" may not last: if it was weighed, diameter and alloy may make its wire up to {} too short.",
                metres(Mm::new(short))
            )
        });
        let both: Vec<String> = late.into_iter().chain(short).collect();
        (!both.is_empty()).then(|| both.join(" "))
    }
}

/// What is left on a spool while its batch is wound.
#[derive(Debug, Clone)]
pub struct Running {
    spool: Spool,
    rule: BatchPlan,
    rings_to_go: u32,
    coils: u32,
}

impl Running {
    /// At the start of a job that has a spool.
    #[must_use]
    pub fn of(job: &Job, rings: u32) -> Option<Self> {
        Some(Self { spool: job.spool.clone()?, rule: job.rule, rings_to_go: rings, coils: 0 })
    }

    /// A coil of so many turns came off, with so many rings kept of it.
    pub fn coil(&mut self, turns: Turns, rings: u32) {
        let used = self.rule.coil().wire_used(turns);
        self.spool.left = Length::from_nm(self.spool.left.nm().saturating_sub(used.nm()));
        self.rings_to_go = self.rings_to_go.saturating_sub(rings);
        self.coils += 1;
    }

    /// The spool as it is now.
    #[must_use]
    pub const fn spool(&self) -> &Spool {
        &self.spool
    }

    /// What is left on it, in words.
    #[must_use]
    pub fn words(&self) -> String {
        let (name, left) = (&self.spool.name, self.spool.left);
        if left < Length::ZERO {
            let more = Length::from_nm(-left.nm());
            return format!("\"{name}\" gave out: {} more than was on it", self.spool.words(more));
        }
        format!("left on \"{name}\": {}", self.spool.words(left))
    }

    /// Printed before a coil that it cannot finish.
    #[must_use]
    pub fn warning(&self) -> Option<String> {
        let rings = self.rule.next_rings(self.rings_to_go);
        let takes = self.rule.coil().wire_used(self.rule.target_turns(rings));
        (rings > 0 && takes > self.spool.left).then(|| {
            let left = match self.spool.on_it() {
                Length::ZERO => "nothing".to_owned(),
                left => self.spool.words(left),
            };
            let (name, takes) = (&self.spool.name, self.spool.words(takes));
            format!("\"{name}\" cannot finish coil {}: it takes {takes}, and {left} is left", self.coils + 1)
        })
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test may stop where it stands")]
    use proptest::prelude::*;
    use turntally_core::metal::Metal;
    use turntally_core::units::Density;

    use super::*;

    /// A job with a spool of this much of its wire, by its likely mass.
    fn job(metal: &str, wire_um: u32, mandrel_um: u32, rings: u32) -> Job {
        let text = format!(
            "[job]\nrings = {rings}\n[wire]\nmetal = \"{metal}\"\nsize = \"{wire_um}um\"\n[mandrel]\n\
             diameter = \"{mandrel_um}um\"\n[winder]\npulses_per_rev = 400\n[cutter]\ncoil_max = \"70mm\"\n"
        );
        Job::parse(&text).unwrap()
    }

    fn with_spool(mut job: Job, left: Length) -> Job {
        job.spool = Some(Spool {
            name: "one".to_owned(),
            metal: job.metal_name.clone(),
            temper: None,
            wire: job.winding.wire(),
            density: job.density,
            tare: None,
            price: None,
            left,
        });
        job
    }

    proptest! {
        /// Whatever the wire really is, and whether its spool was weighed or measured, what is left on it lies within
        /// the bounds; and where that may be less than nothing, the plan says so.
        #[test]
        fn remainder_lies_within_its_bounds(
            metal in 0..5_usize, wire_um in 800_u32..1_600, ratio in 3.0..5.0_f64, rings in 20_u32..900,
            spare in -0.05..0.6_f64, at in 0.0..1.0_f64, thick in -1.0..1.0_f64,
        ) {
            let name = ["copper", "gold-14k-yellow", "silver-germanium-940", "gold-filled-14-20", "sterling-silver"][metal];
            let job = job(name, wire_um, (f64::from(wire_um) * ratio) as u32, rings);
            let plan = Plan::of(&job).unwrap();
            let left = Length::from_mm(Mm::new(plan.wire_total.get() * (1.0 + spare))).unwrap();
            let job = with_spool(job, left);
            let reach = Reach::of(&job, &plan).unwrap();
            let density = Metal::find(name).unwrap().density();
            let (low, high) = (density.low().g_per_cm3(), density.high().g_per_cm3());
            let density = Density::new(low + at * (high - low));
            let off = turntally_core::gauge::Tolerance::of(job.winding.wire()).plus_minus.nm() as f64;
            let wire = Length::from_nm(job.winding.wire().nm() + (thick * off) as i64);
            // Weighed: its mass is right, and its length what that mass of the real wire has.
            let spool = job.spool.as_ref().unwrap();
            let weighed = density.wire_length(wire, spool.left_mass()).get();
            for length in [weighed, left.mm().get()] {
                let rest = length - reach.needed.mm().get();
                let within = |value: f64, range: Bounds<f64>| {
                    let room = 1e-9 * value.abs() + 1e-6;
                    range.low - room <= value && value <= range.high + room
                };
                prop_assert!(within(rest, reach.after_mm()), "{rest} mm in {:?}", reach.after_mm());
                let grams = if rest < 0.0 { -density.wire_mass(wire, Mm::new(-rest)).get() } else { density.wire_mass(wire, Mm::new(rest)).get() };
                prop_assert!(within(grams, reach.after_g()), "{grams} g in {:?}", reach.after_g());
                prop_assert!(rest >= 0.0 || reach.warning().is_some(), "{rest} mm, and no warning");
            }
        }

        /// What the wire of a batch ends as is its wire, no more and no less, and its rings are part of it.
        #[test]
        fn parts_make_the_whole(wire_um in 800_u32..1_600, ratio in 3.0..5.0_f64, rings in 1_u32..900) {
            let job = job("gold-14k-yellow", wire_um, (f64::from(wire_um) * ratio) as u32, rings);
            let plan = Plan::of(&job).unwrap();
            let ends = plan.ends_as;
            let (rings, whole) = (ends.rings.get(), plan.wire_mass.get());
            let all = rings + ends.swarf.get() + ends.offcut.get();
            prop_assert!((all / whole - 1.0).abs() < 1e-6 && rings <= whole, "{ends:?} of {whole}");
            prop_assert!(plan.wire_mass_range.low <= whole && whole <= plan.wire_mass_range.high);
        }
    }

    /// A spool with hardly more on it than the batch takes: it warns that the wire may not last.
    #[test]
    fn spool_that_may_not_last_is_warned_of() {
        let job = job("sterling-silver", 1_000, 4_000, 300);
        let plan = Plan::of(&job).unwrap();
        let left = Length::from_mm(Mm::new(plan.wire_total.get() * 1.002)).unwrap();
        let job = with_spool(job, left);
        let reach = Reach::of(&job, &plan).unwrap();
        assert!(reach.lasts());
        assert!(reach.after_g().low < 0.0 && reach.after_g().high > 0.0, "{:?}", reach.after_g());
        assert!(reach.words().contains("afterwards (-"), "{}", reach.words());
        assert!(reach.warning().unwrap().contains("may not last"));
    }
}
