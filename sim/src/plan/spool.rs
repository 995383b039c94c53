//! Whether a spool lasts for a batch, before it is wound and from coil to coil.

use turntally_core::plan::BatchPlan;
use turntally_core::units::{Length, Turns};

use super::figures::Plan;
use crate::job::Job;
use crate::lookup::Spool;
use crate::words::count;

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
        Some(Self { spool, needed, coils, rings, of_coils: plan.coil_count, late })
    }

    /// It finishes every coil.
    #[must_use]
    pub const fn lasts(&self) -> bool {
        self.coils >= self.of_coils
    }

    /// What is left on it afterwards; below zero: what it falls short by.
    #[must_use]
    pub const fn after(&self) -> Length {
        Length::from_nm(self.spool.left.nm() - self.needed.nm())
    }

    /// `"copper 1": 43.21 m, 436.9 g; 29.08 m, 294 g of it left afterwards`.
    #[must_use]
    pub fn words(&self) -> String {
        let on_it = format!("\"{}\" has {}", self.spool.name, self.spool.words(self.spool.left));
        if self.lasts() {
            return format!("{on_it}; {} afterwards", self.spool.words(self.after()));
        }
        let short = Length::from_nm(-self.after().nm());
        format!("{on_it}; it falls short by {}", self.spool.words(short))
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
        (self.late > self.spool.left).then(|| {
            format!("The spool \"{name}\" lasts only if no coil is stopped late: half a turn more of each is not on it.")
        })
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

    /// Said before a coil that it cannot finish.
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
