//! A job on its way to a counter: the figures it is planned from, not what follows from them. The counter
//! works that out itself, by the same arithmetic, and takes the job only if it comes to the same.

use heapless::{String, Vec};
use serde::{Deserialize, Serialize};

use super::Refusal;
use crate::coil::Winding;
use crate::counter::{CountsPerTurn, Gear, Shaft};
use crate::job::{Job, NAME_LEN, Target};
use crate::plan::BatchPlan;
use crate::spring::SpringRatio;
use crate::units::{Length, Turns};

/// The most rings that a job may ask for.
pub const MAX_RINGS: u32 = 20_000_000;
/// The most turns of bent lead-in.
const MAX_TAIL: Turns = Turns::from_whole(100);
/// The longest cradle.
const MAX_COIL: Length = Length::from_um(10_000_000);

/// The longest job, in bytes.
pub const JOB_LEN: usize = 152;
/// A planned job as bytes: as it travels, and as a counter keeps it.
pub type JobBytes = Vec<u8, JOB_LEN>;

/// A planned job.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct PlannedJob {
    /// Shown when choosing.
    pub name: String<NAME_LEN>,
    /// Rings to be made, those to spare included: 1..=[`MAX_RINGS`].
    pub rings: u32,
    /// The wire's diameter.
    pub wire: Length,
    /// The mandrel's diameter.
    pub mandrel: Length,
    /// Measured pitch / wire diameter - 1.
    pub gap: f64,
    /// What the saw takes.
    pub kerf: Length,
    /// How far the coil opens: at least, probably, at most.
    pub spring: [f64; 3],
    /// Turns of bent lead-in, cut off: up to 100.
    pub tail: Turns,
    /// The longest coil that the cradle takes: up to 10 m.
    pub coil_max: Length,
    /// The shaft that carries the encoder.
    pub shaft: Shaft,
    /// The winder's gear: teeth on the crank's wheel and on the mandrel's.
    pub gear: (u16, u16),
    /// Pulses of the encoder in a revolution.
    pub pulses_per_rev: u32,
    /// Wire on the spool, if that is known.
    pub spool: Option<Length>,
    /// The number of the batch; see [`Job::batch`].
    pub batch: u32,
    /// [`Job::fingerprint`] of the job that the planning end makes of all this.
    pub fingerprint: u32,
}

impl PlannedJob {
    /// As bytes; every job fits.
    #[must_use]
    pub fn to_bytes(&self) -> JobBytes {
        let mut bytes = JobBytes::new();
        _ = bytes.resize_default(JOB_LEN);
        let used = postcard::to_slice(self, &mut bytes).map_or(0, |used| used.len());
        bytes.truncate(used);
        bytes
    }

    /// From bytes.
    ///
    /// # Errors
    /// [`Refusal::InvalidJob`] where they are none.
    pub fn from_bytes(bytes: &[u8]) -> Result<Self, Refusal> {
        postcard::from_bytes(bytes).map_err(|_| Refusal::InvalidJob)
    }

    /// With the fingerprint of the job that it makes here.
    ///
    /// # Errors
    /// As [`Self::rebuilt`].
    pub fn signed(self) -> Result<Self, Refusal> {
        Ok(Self { fingerprint: self.rebuilt()?.fingerprint(), ..self })
    }

    /// The job for the bench.
    ///
    /// # Errors
    /// [`Refusal::InvalidJob`] where the figures make none, [`Refusal::OtherPlan`] where they make another one
    /// here than where they were planned.
    pub fn job(&self) -> Result<Job, Refusal> {
        let job = self.rebuilt()?;
        if job.fingerprint() == self.fingerprint { Ok(job) } else { Err(Refusal::OtherPlan) }
    }

    /// The job as this firmware works it out, whatever the end came to that planned it: for one that was
    /// taken before.
    ///
    /// # Errors
    /// [`Refusal::InvalidJob`] where the figures make none.
    pub fn rebuilt(&self) -> Result<Job, Refusal> {
        let fits = (1..=MAX_RINGS).contains(&self.rings)
            && (Turns::ZERO..=MAX_TAIL).contains(&self.tail)
            && (Length::ZERO..=MAX_COIL).contains(&self.coil_max)
            && !self.name.chars().any(char::is_control);
        let rule = self.rule().filter(|_| fits).ok_or(Refusal::InvalidJob)?;
        let job = Job::new(self.name.clone(), Target::Rings(self.rings), rule);
        Ok(Job { batch: self.batch, spool: self.spool, ..job })
    }

    fn rule(&self) -> Option<BatchPlan> {
        let [low, best, high] = self.spring;
        let spring = SpringRatio::between(low, best, high).ok()?;
        let winding = Winding::new(self.wire, self.mandrel, self.gap, self.kerf, spring).ok()?;
        let per_turn =
            CountsPerTurn::new(self.pulses_per_rev, self.shaft, Gear::new(self.gear.0, self.gear.1)?)?;
        BatchPlan::of(&winding, self.tail, per_turn, self.coil_max).ok()
    }
}
