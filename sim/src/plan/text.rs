//! Numbers and tables for people: the digits that are true, aligned in columns.

use std::fmt::Write as _;

use turntally_core::counter::Shaft;
use turntally_core::units::Grams;

use super::advice::Suggestion;
use super::figures::{COUNTING, CRANKING, HANDLING, Plan, SAWING};
use super::spool::Reach;
use crate::job::{Job, Wanted};
use crate::lookup::Learning;
use crate::words::mass::{Scales, Unit};
use crate::words::number::{bare_mm, both, fixed, length, sig, span, turns, wire_length};
use crate::words::table::folded;
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

/// The cost with its currency; `None` without a price.
pub(crate) fn cost(job: &Job, plan: &Plan) -> Option<String> {
    let currency = &job.price.as_ref()?.currency;
    Some(format!("{} {currency}", fixed(plan.cost?, 2)).trim_end().to_owned())
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
    let mut out = String::new();
    let winding = &job.winding;
    _ = writeln!(out, "{}\n", job.name);
    let mut row = |name: &str, text: &str| out += &folded(100, &format!("{name:<12}"), "            ", text);
    row(
        "wire",
        &format!(
            "{}, {}, {}{}, {} g/cm3",
            metal(job),
            job.temper,
            wire_both(job.size),
            coating(job),
            job.metal_density.g_per_cm3()
        ),
    );
    row("mandrel", &both(winding.mandrel()));
    let shaft = match job.shaft {
        Shaft::Crank => "crank",
        Shaft::Mandrel => "mandrel",
    };
    row("encoder", &format!("{} pulses a turn, on the {shaft}, gear {}", job.pulses_per_rev, job.gear));
    row("springback", &spring(job));
    if let Some(gap) = job.learning.as_ref().and_then(Learning::gap_words) {
        row("gap", &gap);
    }
    row(
        "ring",
        &format!(
            "{} mm inside when closed, aspect ratio {}, {}",
            inner(plan),
            sig(plan.ring_inner.best / winding.wire().mm().get(), 3),
            ring_mass(plan.ring_mass),
        ),
    );
    row("rings", &rings(job, plan));
    table(&mut out, plan);
    let mut row = |name: &str, text: &str| out += &folded(100, &format!("{name:<12}"), "            ", text);
    row(
        "wire",
        &format!(
            "{}, lead-ins included; {} if every coil is stopped half a turn late",
            wire_length(plan.wire_total),
            wire_length(plan.wire_with_late_stops)
        ),
    );
    row("mass", &mass(job, plan));
    if let Some(cost) = cost(job, plan) {
        row("cost", &cost);
    }
    if let Some(reach) = Reach::of(job, plan) {
        row("spool", &reach.words());
    }
    let time = plan.minutes;
    row("time", &format!("{} to {} at the bench ({})", span(time.low), span(time.high), time_basis()));
    let (unit, grams) = unit(job, plan);
    _ = writeln!(out, "\n{:<12}{unit:>10}{:>8}", "becomes", "%");
    for (name, mass, percent) in &shares(plan, grams) {
        _ = writeln!(out, "{name:<12}{mass:>10}{percent:>8}");
    }
    if let more @ 1.. = plan.rings_best - u64::from(plan.rings_planned) {
        _ = writeln!(out, "Offcuts hold the rings past those guaranteed: up to {more} more.");
    }
    for (title, list) in [
        ("Check first", warnings.iter().map(String::as_str).collect::<Vec<_>>()),
        ("To save wire", suggestions.iter().map(|s| s.text.as_str()).collect()),
    ] {
        if !list.is_empty() {
            _ = writeln!(out, "\n{title}");
            for text in list {
                out += &folded(100, "  - ", "    ", text);
            }
        }
    }
    out
}

/// Inside diameter of a closed ring, or its range where rings may differ by what can be seen.
pub(crate) fn inner(plan: &Plan) -> String {
    let range = plan.ring_inner;
    let (low, high) = (bare_mm(range.low), bare_mm(range.high));
    if low == high { low } else { format!("{low} to {high}") }
}

fn table(out: &mut String, plan: &Plan) {
    let head = ["coils", "rings each", "stop at turns", "on mandrel", "released", "wire each"];
    _ = writeln!(out);
    for name in head {
        _ = write!(out, "{name:>14}");
    }
    _ = writeln!(out);
    for group in &plan.groups {
        let cells = [
            group.count.to_string(),
            group.rings.to_string(),
            turns(group.wound_turns.as_f64()),
            length(group.wound_length),
            length(group.released_length),
            wire_length(group.wire),
        ];
        for cell in cells {
            _ = write!(out, "{cell:>14}");
        }
        _ = writeln!(out);
    }
    if plan.groups.len() > 1 {
        _ = writeln!(
            out,
            "{:>14}{:>14}{:>14}{:>14}{:>14}{:>14}",
            plan.coil_count,
            plan.rings_planned,
            "in all",
            "",
            "",
            wire_length(plan.wire_total)
        );
    }
    _ = writeln!(out);
}
