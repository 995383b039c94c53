//! Numbers and tables for people: the digits that are true, aligned in columns.

use turntally_core::counter::Shaft;
use turntally_core::units::Grams;

use super::advice::Suggestion;
use super::figures::{COUNTING, CRANKING, HANDLING, Plan, SAWING};
use super::money::Account;
use super::spool::Reach;
use crate::job::money::{decimal, places, rounded};
use crate::job::{Job, Wanted};
use crate::lookup::Learning;
use crate::words::mass::{Scales, Unit};
use crate::words::number::{bare_mm, both, fixed, length, sig, span, turns, wire_length};
use crate::words::table::{folded, numbers, table};
use crate::words::{self, wire_both};

/// `Copper, electrolytic tough pitch`, or the name of a metal that is not listed.
pub(crate) fn metal(job: &Job) -> &str {
    job.metal.map_or(&job.metal_name, |metal| metal.title())
}

/// `, coating 0.02 mm (1.24 mm over it)`; nothing for bare wire. A counter that is set up by hand takes the diameter
/// over the coating.
pub(crate) fn coating(job: &Job) -> String {
    words::coating(job.coating, job.winding.wire())
}

/// How far it springs, in words.
pub(crate) fn spring(job: &Job) -> String {
    let spring = job.winding.spring();
    if let Some(words) = job.learning.as_ref().and_then(Learning::spring_words) {
        return words;
    }
    if job.spring_measured {
        return format!("ratio {}, measured", fixed(spring.best(), 4));
    }
    format!("ratio {} to {}, estimated", fixed(spring.low(), 3), fixed(spring.high(), 3))
}

/// The metric unit of the batch's masses, and its grams.
pub(crate) fn unit(job: &Job, plan: &Plan) -> Unit {
    let [metric, _] = Scales::of(job.metal).units(plan.wire_mass.get());
    metric
}

/// Masses, in a unit of so many grams, rounded so that the rounded parts still add up to the rounded whole: the
/// parts, the whole.
pub(crate) fn shares(plan: &Plan, unit: f64) -> [(&'static str, String, String); 4] {
    let parts = [
        ("rings", plan.ends_as.rings.get() / unit),
        ("swarf", plan.ends_as.swarf.get() / unit),
        ("offcuts", plan.ends_as.offcut.get() / unit),
    ];
    let whole = plan.wire_mass.get() / unit;
    let decimals = usize::try_from(3 - whole.log10().floor() as i32).unwrap_or(0).min(6);
    let (mut sum, mut grams, mut percent) = (0.0, 0.0, 0.0);
    let mut rows =
        [("", String::new(), String::new()), Default::default(), Default::default(), Default::default()];
    let round = |value: f64, decimals: usize| {
        let scale = 10_f64.powi(decimals as i32);
        (value * scale).round() / scale
    };
    for (row, (name, mass)) in rows.iter_mut().zip(parts) {
        sum += mass;
        let (to_grams, to_percent) = (round(sum, decimals), round(sum / whole * 100.0, 1));
        *row = (name, fixed(to_grams - grams, decimals), fixed(to_percent - percent, 1));
        (grams, percent) = (to_grams, to_percent);
    }
    rows[3] = ("wire", fixed(round(whole, decimals), decimals), "100.0".to_owned());
    rows
}

/// The wire's mass in the units of its metal, with its range.
pub(crate) fn mass(job: &Job, plan: &Plan) -> String {
    Scales::of(job.metal).range(plan.wire_mass_range)
}

/// What the wire costs, with the currency; `None` without a price.
pub(crate) fn cost(job: &Job, plan: &Plan) -> Option<String> {
    let currency = &job.price.as_ref()?.currency;
    let cost = rounded(decimal(plan.cost?), places(currency));
    Some(format!("{cost} {currency}").trim_end().to_owned())
}

/// The mass of one ring.
pub(crate) fn ring_mass(mass: Grams) -> String {
    format!("{} g", sig(mass.get(), 3))
}

/// Rings certain, likely and at best.
pub(crate) fn rings(job: &Job, plan: &Plan) -> String {
    let wanted = match job.wanted {
        Wanted::Rings(_) => "wanted",
        _ => "to use",
    };
    let spare = match plan.rings_to_spare() {
        0 => String::new(),
        spare => format!(" and {spare} to spare"),
    };
    format!(
        "{} {wanted}{spare}; {} guaranteed, expect {}, at most {}",
        plan.rings_wanted, plan.rings_planned, plan.rings_likely, plan.rings_best
    )
}

/// What the time is reckoned from.
pub(crate) fn time_basis() -> String {
    format!(
        "cranking {} to {} turns a minute, {} to {} min to fix and take off a coil, {} to {} s a ring to saw, {} to {} s to count it: common practice, no source",
        CRANKING.0, CRANKING.1, HANDLING.0, HANDLING.1, SAWING.0, SAWING.1, COUNTING.0, COUNTING.1
    )
}

/// The whole plan for a terminal.
pub(crate) fn report(job: &Job, plan: &Plan, warnings: &[String], suggestions: &[Suggestion]) -> String {
    let rows = |rows: Vec<(&str, String)>| -> String {
        rows.iter().map(|(name, text)| folded(100, &format!("{name:<12}"), "            ", text)).collect()
    };
    let mut out = format!("{}\n\n", job.name);
    out += &rows(setting(job, plan));
    out += &format!("\n{}\n", coils(plan));
    out += &rows(needs(job, plan));
    out += &format!("\n{}", becomes(job, plan));
    out += &money(job, plan).unwrap_or_default();
    let warnings: Vec<&str> = warnings.iter().map(String::as_str).collect();
    out += &list("Check first", &warnings);
    let suggestions: Vec<&str> = suggestions.iter().map(|suggestion| suggestion.text.as_str()).collect();
    out + &list("To save wire", &suggestions)
}

/// What the batch is wound from and on, and what comes of it.
fn setting(job: &Job, plan: &Plan) -> Vec<(&'static str, String)> {
    let winding = &job.winding;
    let shaft = match job.shaft {
        Shaft::Crank => "crank",
        Shaft::Mandrel => "mandrel",
    };
    let (size, density) = (wire_both(job.size) + &coating(job), job.metal_density.g_per_cm3());
    let mut rows = vec![
        ("wire", format!("{}, {}, {size}, {density} g/cm3", metal(job), job.temper)),
        ("mandrel", both(winding.mandrel())),
        ("encoder", format!("{} pulses a turn, on the {shaft}, gear {}", job.pulses_per_rev, job.gear)),
        ("springback", spring(job)),
    ];
    rows.extend(job.learning.as_ref().and_then(Learning::gap_words).map(|gap| ("gap", gap)));
    let aspect_ratio = sig(plan.ring_inner.best / winding.wire().mm().get(), 3);
    let ring = format!(
        "{} mm inside when closed, aspect ratio {aspect_ratio}, {}",
        inner(plan),
        ring_mass(plan.ring_mass)
    );
    rows.extend([("ring", ring), ("rings", rings(job, plan))]);
    rows
}

/// What the batch takes: wire, money and time.
fn needs(job: &Job, plan: &Plan) -> Vec<(&'static str, String)> {
    let late = wire_length(plan.wire_with_late_stops);
    let wire = wire_length(plan.wire_total);
    let time = plan.minutes;
    let time = format!("{} to {} at the bench ({})", span(time.low), span(time.high), time_basis());
    let mut rows = vec![
        ("wire", format!("{wire}, lead-ins included; {late} if every coil is stopped half a turn late")),
        ("mass", mass(job, plan)),
    ];
    rows.extend(cost(job, plan).map(|cost| ("cost", cost)));
    rows.extend(Reach::of(job, plan).map(|reach| ("spool", reach.words())));
    rows.push(("time", time));
    rows
}

/// What becomes of the wire.
fn becomes(job: &Job, plan: &Plan) -> String {
    let (unit, grams) = unit(job, plan);
    let head = ["becomes", unit, "%"].map(str::to_owned);
    let shares = shares(plan, grams).map(|(name, mass, percent)| [name.to_owned(), mass, percent]);
    let mut text = table([head].into_iter().chain(shares));
    if let more @ 1.. = plan.rings_best - u64::from(plan.rings_planned) {
        text += &format!("Offcuts hold the rings past those guaranteed: up to {more} more.\n");
    }
    text
}

/// What the batch costs and what is asked for it, where the job says so.
fn money(job: &Job, plan: &Plan) -> Option<String> {
    let account = Account::of(job, plan)?;
    Some(format!("\n{}", table(account.rows())) + &folded(100, "", "", &account.basis(job, plan)))
}

/// A list under its title; nothing where it is empty.
fn list(title: &str, items: &[&str]) -> String {
    if items.is_empty() {
        return String::new();
    }
    let items = items.iter().map(|text| folded(100, "  - ", "    ", text));
    format!("\n{title}\n") + &items.collect::<String>()
}

/// Inside diameter of a closed ring, or its range where rings may differ by what can be seen.
pub(crate) fn inner(plan: &Plan) -> String {
    let range = plan.ring_inner;
    let (low, high) = (bare_mm(range.low), bare_mm(range.high));
    if low == high { low } else { format!("{low} to {high}") }
}

/// The coils of the plan, a row for each length, and their sums where there is more than one.
fn coils(plan: &Plan) -> String {
    let head = ["coils", "rings each", "stop at turns", "on mandrel", "released", "wire each"];
    let groups = plan.groups.iter().map(|group| {
        [
            group.count.to_string(),
            group.rings.to_string(),
            turns(group.wound_turns.as_f64()),
            length(group.wound_length),
            length(group.released_length),
            wire_length(group.wire),
        ]
    });
    let sums = (plan.groups.len() > 1).then(|| {
        let [coils, rings] =
            [u64::from(plan.coil_count), u64::from(plan.rings_planned)].map(|n| n.to_string());
        [coils, rings, "in all".to_owned(), String::new(), String::new(), wire_length(plan.wire_total)]
    });
    numbers([head.map(str::to_owned)].into_iter().chain(groups).chain(sums))
}
