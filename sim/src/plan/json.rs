//! The plan as one JSON object. Every key carries its unit; a coil is listed for every one to wind.

use rust_decimal::Decimal;
use rust_decimal::prelude::ToPrimitive as _;
use serde::ser::{Error as _, Serialize, Serializer};
use serde_json::Map;
use serde_json::value::{RawValue, Value};
use turntally_core::spring::SpringRatio;
use turntally_core::units::Length;

use super::advice::Suggestion;
use super::figures::{CoilGroup, Plan};
use super::money::{Account, Amount};
use super::spool::Reach;
use crate::job::Job;
use crate::lookup::Learning;

/// What is printed; numbers in full, since programs round for themselves.
#[derive(Debug, serde::Serialize)]
pub struct Report<'a> {
    name: &'a str,
    metal: &'a str,
    temper: String,
    wire_diameter_mm: f64,
    /// The thickness on one side; bare wire has none.
    #[serde(skip_serializing_if = "Option::is_none")]
    wire_coating_mm: Option<f64>,
    mandrel_diameter_mm: f64,
    density_g_cm3: f64,
    spring_ratio: f64,
    spring_ratio_low: f64,
    spring_ratio_high: f64,
    spring_ratio_measured: bool,
    #[serde(flatten)]
    beside: Beside,
    rings_wanted: u32,
    rings_planned: u32,
    rings_likely: u64,
    rings_best: u64,
    coil_count: u32,
    coils: Coils<'a>,
    wire_total_mm: f64,
    wire_with_late_stops_mm: f64,
    wire_mass_g: f64,
    wire_mass_low_g: f64,
    wire_mass_high_g: f64,
    wire_mass_troy_ounces: f64,
    wire_mass_ounces: f64,
    wire_mass_pennyweights: f64,
    rings_mass_g: f64,
    swarf_mass_g: f64,
    offcut_mass_g: f64,
    scrap_share: f64,
    ring_mass_mg: f64,
    closed_inner_diameter_mm: f64,
    closed_inner_diameter_low_mm: f64,
    closed_inner_diameter_high_mm: f64,
    #[serde(skip_serializing_if = "Option::is_none")]
    cost: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    currency: Option<&'a str>,
    #[serde(skip_serializing_if = "Option::is_none")]
    money: Option<Map<String, Value>>,
    minutes_at_bench: f64,
    minutes_at_bench_low: f64,
    minutes_at_bench_high: f64,
    #[serde(flatten)]
    spool: Option<OnSpool>,
    warnings: &'a [String],
    suggestions: &'a [Suggestion],
}

/// The estimate that a measured spring ratio stands beside, and where the gap is from.
#[derive(Debug, Default, serde::Serialize)]
struct Beside {
    #[serde(skip_serializing_if = "Option::is_none")]
    spring_ratio_estimate: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    spring_ratio_estimate_low: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    spring_ratio_estimate_high: Option<f64>,
    #[serde(flatten)]
    learned_from: Map<String, Value>,
    gap: f64,
    gap_measured: bool,
}

impl Beside {
    fn of(job: &Job) -> Self {
        let learning = job.learning.as_ref().filter(|learning| learning.learned.spring.is_some());
        let estimate = learning.and_then(|learning| learning.estimate);
        Self {
            spring_ratio_estimate: estimate.map(SpringRatio::best),
            spring_ratio_estimate_low: estimate.map(SpringRatio::low),
            spring_ratio_estimate_high: estimate.map(SpringRatio::high),
            learned_from: learning.map(Learning::learned_from).unwrap_or_default(),
            gap: job.winding.gap(),
            gap_measured: job.learning.as_ref().is_some_and(|learning| learning.learned.gap.is_some()),
        }
    }
}

/// Whether the spool lasts.
#[derive(Debug, serde::Serialize)]
struct OnSpool {
    spool: String,
    spool_left_mm: f64,
    spool_left_g: f64,
    /// Coils that it finishes, and the rings that are certain from them.
    spool_coils: u32,
    spool_rings: u64,
    /// Below zero: what it falls short by.
    spool_after_mm: f64,
    spool_after_low_mm: f64,
    spool_after_high_mm: f64,
    spool_after_g: f64,
    spool_after_low_g: f64,
    spool_after_high_g: f64,
}

impl OnSpool {
    fn of(reach: &Reach) -> Self {
        let (spool, after_mm, after_g) = (&reach.spool, reach.after_mm(), reach.after_g());
        Self {
            spool: spool.name.clone(),
            spool_left_mm: spool.left.mm().get(),
            spool_left_g: spool.left_mass().get(),
            spool_coils: reach.coils,
            spool_rings: reach.rings,
            spool_after_mm: after_mm.best,
            spool_after_low_mm: after_mm.low,
            spool_after_high_mm: after_mm.high,
            spool_after_g: after_g.best,
            spool_after_low_g: after_g.low,
            spool_after_high_g: after_g.high,
        }
    }
}

impl<'a> Report<'a> {
    /// Puts a plan in that form.
    #[must_use]
    pub fn new(job: &'a Job, plan: &'a Plan, warnings: &'a [String], suggestions: &'a [Suggestion]) -> Self {
        let spring = job.winding.spring();
        Self {
            name: &job.name,
            metal: &job.metal_name,
            temper: job.temper.to_string(),
            wire_diameter_mm: job.size.diameter().mm().get(),
            wire_coating_mm: (job.coating > Length::ZERO).then(|| job.coating.mm().get()),
            mandrel_diameter_mm: job.winding.mandrel().mm().get(),
            density_g_cm3: job.metal_density.g_per_cm3(),
            spring_ratio: spring.best(),
            spring_ratio_low: spring.low(),
            spring_ratio_high: spring.high(),
            spring_ratio_measured: job.spring_measured,
            beside: Beside::of(job),
            rings_wanted: plan.rings_wanted,
            rings_planned: plan.rings_planned,
            rings_likely: plan.rings_likely,
            rings_best: plan.rings_best,
            coil_count: plan.coil_count,
            coils: Coils(&plan.groups),
            wire_total_mm: plan.wire_total.get(),
            wire_with_late_stops_mm: plan.wire_with_late_stops.get(),
            wire_mass_g: plan.wire_mass.get(),
            wire_mass_low_g: plan.wire_mass_range.low,
            wire_mass_high_g: plan.wire_mass_range.high,
            wire_mass_troy_ounces: plan.wire_mass.troy_ounces(),
            wire_mass_ounces: plan.wire_mass.ounces(),
            wire_mass_pennyweights: plan.wire_mass.pennyweights(),
            rings_mass_g: plan.ends_as.rings.get(),
            swarf_mass_g: plan.ends_as.swarf.get(),
            offcut_mass_g: plan.ends_as.offcut.get(),
            scrap_share: plan.scrap_share(),
            ring_mass_mg: plan.ring_mass.get() * 1e3,
            closed_inner_diameter_mm: plan.ring_inner.best,
            closed_inner_diameter_low_mm: plan.ring_inner.low,
            closed_inner_diameter_high_mm: plan.ring_inner.high,
            cost: plan.cost,
            currency: job.price.as_ref().map(|price| price.currency.as_str()),
            money: Account::of(job, plan).as_ref().map(money),
            minutes_at_bench: plan.minutes.best,
            minutes_at_bench_low: plan.minutes.low,
            minutes_at_bench_high: plan.minutes.high,
            spool: Reach::of(job, plan).as_ref().map(OnSpool::of),
            warnings,
            suggestions,
        }
    }
}

/// The account, in the currency of the wire's price.
fn money(account: &Account) -> Map<String, Value> {
    let number = |amount: Decimal| Value::from(amount.to_f64());
    let mut object: Map<String, Value> =
        account.lines.iter().map(|&(name, amount)| (name.to_owned(), number(amount))).collect();
    let ounce = if account.ounce == "ozt" { "troy_ounce" } else { "ounce" };
    for (name, amount) in [("cost", Some(account.cost)), ("price", account.price)] {
        let Some(Amount { whole, ring, hundred, ounce: an_ounce }) = amount else { continue };
        object.insert(name.to_owned(), number(whole));
        object.insert(format!("{name}_per_ring"), number(ring));
        object.insert(format!("{name}_per_100_rings"), number(hundred));
        object.insert(format!("{name}_per_{ounce}"), number(an_ounce));
    }
    object
}

/// Coils one by one, though they are kept by groups.
#[derive(Debug)]
struct Coils<'a>(&'a [CoilGroup]);

#[derive(serde::Serialize)]
struct Coil {
    rings: u32,
    rings_best: u32,
    target_counts: i64,
    wound_turns: f64,
    wound_length_mm: f64,
    released_length_mm: f64,
    wire_mm: f64,
}

impl From<&CoilGroup> for Coil {
    fn from(group: &CoilGroup) -> Self {
        Self {
            rings: group.rings,
            rings_best: group.rings_best,
            target_counts: group.target_counts,
            wound_turns: group.wound_turns.as_f64(),
            wound_length_mm: group.wound_length.get(),
            released_length_mm: group.released_length.get(),
            wire_mm: group.wire.get(),
        }
    }
}

/// Like coils are put into words once, a line each: a million rings are twenty thousand of them.
impl Serialize for Coils<'_> {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let written: Vec<(Box<RawValue>, u32)> = self
            .0
            .iter()
            .map(|group| Ok((serde_json::value::to_raw_value(&Coil::from(group))?, group.count)))
            .collect::<Result<_, serde_json::Error>>()
            .map_err(S::Error::custom)?;
        serializer.collect_seq(written.iter().flat_map(|(coil, count)| (0..*count).map(move |_| coil)))
    }
}
