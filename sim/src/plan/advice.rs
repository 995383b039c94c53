//! What to look out for with a job, and what would waste less.
//!
//! The thresholds are common practice, no source, unless noted otherwise; each is a named constant.

use serde::Serialize;
use turntally_core::coil::{CoilModel, Winding};
use turntally_core::metal::Temper;
use turntally_core::plan::BatchPlan;
use turntally_core::spring::SpringRatio;
use turntally_core::units::{Length, Mm};

use super::figures::{Plan, split_by, wire_for};
use super::spool::Reach;
use crate::job::{Job, Wanted, rings_from};
use crate::lookup::Learning;
use crate::words::count;
use crate::words::mass::Scales;
use crate::words::number::{bare_mm, fine, fixed, given, length, sig, wire_length};

/// Something that would waste less, with what it saves.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Suggestion {
    /// In words.
    pub text: String,
    /// Wire saved for the same rings, in millimetres; 0 where rings are gained instead.
    pub wire_saved_mm: f64,
    /// Rings gained from the same wire; 0 where wire is saved instead.
    pub rings_gained: u32,
}

/// A saving below this share of the wire is not worth a sentence. Our own limit.
const WORTH_SAYING: f64 = 0.005;
/// The mandrel, in wire diameters, below which a temper may crack on its outside; in the order of
/// [`Temper::ALL`].
const CRACKS_BELOW: [f64; 4] = [1.5, 2.0, 3.0, 4.0];
/// The least room on each side of the blade.
const TIGHT: Length = Length::from_um(50);
/// A kerf of more than this many blade thicknesses is hardly one that was measured.
const WIDE_KERF: f64 = 2.0;
/// How far the aspect ratio of a ring may be from the likely one before the springback is called a wide guess. Weaves
/// are listed by aspect ratios half a unit apart: a ring that is nearer to its own than to the next still fits the weave
/// that it was planned for, and one that may be farther off needs a trial coil first.
const WIDE_ASPECT: f64 = 0.25;
/// Aspect ratios that rings are usually woven in.
const USUAL_RATIOS: std::ops::RangeInclusive<f64> = 2.5..=10.0;
/// A coil of more than this many mandrel diameters bends its mandrel.
const SLENDER: f64 = 30.0;
/// An encoder with fewer counts in a turn of the mandrel wastes wire by rounding up.
const COARSE_COUNTS: f64 = 16.0;

/// Whether the springback of a winding is so uncertain that its rings may fit another weave than they are planned for.
#[must_use]
pub fn springs_uncertainly(winding: &Winding) -> bool {
    winding.aspect_ratio_uncertainty() > WIDE_ASPECT
}

/// What to look out for, each a sentence or two.
#[must_use]
pub fn warnings(job: &Job, plan: &Plan) -> Vec<String> {
    let mut all = Vec::new();
    saw(job, &mut all);
    bending(job, plan, &mut all);
    ring(job, plan, &mut all);
    bench(job, plan, &mut all);
    all.extend(job.shortened_words().map(|words| format!("Name: {words}.")));
    all.extend(Reach::of(job, plan).and_then(|reach| reach.warning()));
    all
}

fn saw(job: &Job, all: &mut Vec<String>) {
    let kerf = job.winding.kerf();
    let cut = job.blade.unwrap_or(kerf);
    let (kerf_shown, cut_shown) = (given(kerf), given(cut));
    if let Some(slot) = job.slot {
        let name = if job.blade.is_some() { "blade" } else { "kerf" };
        let side = Length::from_nm((slot.nm() - cut.nm()) / 2);
        if cut >= slot {
            all.push(format!(
                "The {name} of {cut_shown} has no clearance in a slot of {}: it will bind or cut the cradle.",
                given(slot)
            ));
        } else if side < TIGHT {
            all.push(format!(
                "The {name} has only {} of clearance on each side in its slot; below {} it drags as soon as it wanders (common practice, no source).",
                fine(side),
                fine(TIGHT)
            ));
        } else if side > job.winding.wire() {
            all.push(format!(
                "The slot leaves {} on each side of the {name}, more than the wire is thick: the cut ends have nothing to lie on and bend into it (common practice, no source).",
                fine(side)
            ));
        }
    }
    match job.blade {
        Some(blade) if kerf < blade => all.push(format!(
            "The kerf of {kerf_shown} is narrower than the blade of {}, which cannot be: measure the cut, or rings come out smaller than planned.",
            given(blade)
        )),
        Some(blade) if kerf.nm() as f64 > WIDE_KERF * blade.nm() as f64 => all.push(format!(
            "The kerf of {kerf_shown} is more than {WIDE_KERF} times the blade of {}: measure it again, or look for a blade that wobbles.",
            given(blade)
        )),
        None if kerf == Length::ZERO => all.push(
            "No kerf is given: right for rings that are sheared, but a saw takes its share of every ring.".to_owned(),
        ),
        _ => {}
    }
}

fn bending(job: &Job, plan: &Plan, all: &mut Vec<String>) {
    let winding = &job.winding;
    // It is the metal that cracks, a coating further out than the mandrel.
    let core = job.size.diameter();
    let wires = winding.mandrel().with_coating(job.coating).nm() as f64 / core.nm() as f64;
    let limit = CRACKS_BELOW[job.temper as usize];
    if wires < limit {
        all.push(format!(
            "{} wire is stretched {} % on the outside of a mandrel {} wire diameters thick; below {limit} it may crack (common practice, no source). Wind a trial coil and look at it through a glass, or anneal first.",
            capital(&job.temper.to_string()),
            sig(core.mm().get() / winding.wound_diameter().get() * 100.0, 2),
            sig(wires, 2),
        ));
    }
    if !job.spring_measured {
        let inner = plan.ring_inner;
        let learned = job.learning.as_ref().is_some_and(|learning| learning.carried.is_some());
        if let Some(misfit) = job.learning.as_ref().and_then(Learning::misfit) {
            all.push(format!(
                "Measured rings do not fit this wire, so that rings may be {} to {} mm inside: {misfit}",
                bare_mm(inner.low),
                bare_mm(inner.high),
            ));
        } else if job.metal.is_none() && !learned {
            all.push(format!(
                "{} is not a listed metal: its springback is only known to lie among those of the metals that are, rings {} to {} mm inside. Measure a ring of a trial coil and give wire.spring_ratio.",
                job.metal_name,
                bare_mm(inner.low),
                bare_mm(inner.high),
            ));
        } else if springs_uncertainly(winding) {
            let wire = winding.wire().mm().get();
            all.push(format!(
                "The springback of this wire is a wide guess: rings may be {} to {} mm inside, aspect ratio {} to {}. Measure a ring of a trial coil and give wire.spring_ratio.",
                bare_mm(inner.low),
                bare_mm(inner.high),
                fixed(inner.low / wire, 2),
                fixed(inner.high / wire, 2),
            ));
        }
    }
    if matches!(job.temper, Temper::Hard | Temper::Spring) {
        all.push(format!(
            "{} wire whips when an end gets loose: hold the end until the coil has unwound itself, and keep faces away.",
            if job.temper == Temper::Spring { "Spring-hard" } else { "Hard" }
        ));
    }
}

fn ring(job: &Job, plan: &Plan, all: &mut Vec<String>) {
    let wire = job.winding.wire().mm().get();
    let ratio = plan.ring_inner.best / wire;
    if ratio < *USUAL_RATIOS.start() {
        all.push(format!(
            "An aspect ratio of {} is very tight: few weaves fit, and the ring is hard to close without marks (common practice, no source).",
            sig(ratio, 2)
        ));
    } else if ratio > *USUAL_RATIOS.end() {
        all.push(format!(
            "An aspect ratio of {} makes a limp ring that is easily pulled open (common practice, no source).",
            sig(ratio, 2)
        ));
    }
}

fn bench(job: &Job, plan: &Plan, all: &mut Vec<String>) {
    let longest = plan.groups.first().map(|group| group.wound_length).unwrap_or_default();
    let mandrel = job.winding.mandrel().mm().get();
    if longest.get() > SLENDER * mandrel {
        all.push(format!(
            "A coil of {} is {} times as long as its mandrel is thick: hold the mandrel at both ends, or it bends and whirls (common practice, no source).",
            length(longest),
            sig(longest.get() / mandrel, 2),
        ));
    }
    let counts = job.rule.per_turn().as_f64();
    if counts < COARSE_COUNTS {
        all.push(format!(
            "One encoder count is {} of a mandrel turn, and every target is rounded up to one: an encoder of more pulses saves wire.",
            sig(1.0 / counts, 2),
        ));
    }
    if let Some(given) = job.wire_given()
        && plan.wire_with_late_stops.get() > given.mm().get()
    {
        all.push(format!(
            "The plan uses the wire to its end. Every coil stopped half a turn late takes {} more in all, so the last coil may fall short.",
            wire_length(plan.wire_with_late_stops - plan.wire_total),
        ));
    }
}

/// What would waste less, and really does: every one is planned anew and compared.
#[must_use]
pub fn suggestions(job: &Job, plan: &Plan) -> Vec<Suggestion> {
    [measured(job, plan), aligned(job, plan), other_split(job, plan), without_last(job, plan)]
        .into_iter()
        .flatten()
        .collect()
}

/// Whether a saving is worth a sentence: a ring's wire at least, and a share of the whole.
fn worth(job: &Job, plan: &Plan, saved: f64) -> bool {
    saved >= job.winding.wound_turn_wire().get() && saved >= WORTH_SAYING * plan.wire_total.get()
}

/// Compares the batch with the same one under another rule.
fn compare(job: &Job, plan: &Plan, rule: &BatchPlan, winding: &Winding, full: u32) -> Option<(f64, u32)> {
    if let Some(given) = job.wire_given() {
        let gained = rings_from(rule, full, given).checked_sub(plan.rings_planned)?;
        let share = f64::from(gained) / f64::from(plan.rings_planned);
        return (gained > 0 && share >= WORTH_SAYING).then_some((0.0, gained));
    }
    let saved = plan.wire_total.get() - wire_for(rule, winding, full, plan.rings_planned).get();
    worth(job, plan, saved).then_some((saved, 0))
}

fn gain(job: &Job, plan: &Plan, (saved, rings): (f64, u32)) -> String {
    if rings > 0 {
        return format!("gives {} more from the same wire", count(u64::from(rings), "ring"));
    }
    format!(
        "saves {} of wire ({} %, {})",
        wire_length(Mm::new(saved)),
        sig(saved / plan.wire_total.get() * 100.0, 2),
        Scales::of(job.metal).metric(job.density.wire_mass(job.winding.wire(), Mm::new(saved)).get(), 2),
    )
}

/// A measured spring ratio, where the promise now takes the high bound.
fn measured(job: &Job, plan: &Plan) -> Option<Suggestion> {
    if job.spring_measured {
        return None;
    }
    let best = job.winding.spring().best();
    let spring = SpringRatio::measured(best).ok()?;
    let old = &job.winding;
    let winding = Winding::new(old.wire(), old.mandrel(), old.gap(), old.kerf(), spring).ok()?;
    let coil = CoilModel::new(&winding, job.tail);
    let rule = BatchPlan::new(coil, job.rule.per_turn(), job.coil_max).ok()?;
    let won = compare(job, plan, &rule, &winding, rule.full_rings())?;
    Some(Suggestion {
        text: format!(
            "Measure a ring and give wire.spring_ratio: if it springs as estimated, {} times, that {}.",
            fixed(best, 4),
            gain(job, plan, won)
        ),
        wire_saved_mm: won.0,
        rings_gained: won.1,
    })
}

/// The slit started at the coil's end: every whole turn is a ring then, not all but one.
fn aligned(job: &Job, plan: &Plan) -> Option<Suggestion> {
    let per_coil = job.winding.wound_turn_wire().get() / job.winding.turns_kept(job.winding.spring().high());
    let saved = per_coil * f64::from(plan.coil_count);
    if !worth(job, plan, saved) {
        return None;
    }
    let how = "Turn each coil in the cradle so that the slit starts where its usable wire starts";
    let gained = plan.coil_count;
    let rings = u64::from(plan.rings_planned) + u64::from(gained);
    let text = if job.wire_given().is_some() {
        format!("{how}: every whole turn is then a ring, {} instead of {}.", rings, plan.rings_planned)
    } else {
        format!(
            "{how}: the same coils then give {rings} rings instead of {}, and one turn less on each {}.",
            plan.rings_planned,
            gain(job, plan, (saved, 0)),
        )
    };
    let (wire_saved_mm, rings_gained) = if job.wire_given().is_some() { (0.0, gained) } else { (saved, 0) };
    Some(Suggestion { text, wire_saved_mm, rings_gained })
}

/// Fewer rings on a full coil: only a coarse encoder, whose targets are rounded up far, wastes less so.
fn other_split(job: &Job, plan: &Plan) -> Option<Suggestion> {
    let full = job.rule.full_rings();
    // Few enough to stay quick; a coil of more rings than that loses next to nothing by rounding.
    let tried = if job.wire_given().is_some() { 256 } else { 2_048 };
    let best = (full.saturating_sub(tried).max(1)..full)
        // Where the same counts make another ring certain, no cradle stops short of it.
        .filter(|&fewer| job.rule.guaranteed_rings(job.rule.target_counts(fewer), 0) == fewer)
        .filter_map(|fewer| compare(job, plan, &job.rule, &job.winding, fewer).map(|won| (fewer, won)))
        .max_by(|a, b| (a.1.1, a.1.0).partial_cmp(&(b.1.1, b.1.0)).unwrap_or(std::cmp::Ordering::Equal))?;
    let (fewer, won) = best;
    let coil_max = cradle_for(job, fewer)?;
    let rings = plan.rings_planned + won.1;
    let coils: u32 = split_by(fewer, rings).iter().map(|(count, _)| count).sum();
    Some(Suggestion {
        text: format!(
            "Wind {} of at most {} each instead of {} (cutter.coil_max = \"{}\"): the encoder's counts fit them better, which {}.",
            count(u64::from(coils), "coil"),
            count(u64::from(fewer), "ring"),
            full,
            coil_max.to_string().replace(' ', ""),
            gain(job, plan, won),
        ),
        wire_saved_mm: won.0,
        rings_gained: won.1,
    })
}

/// The cradle length to write in the job so that full coils have just these rings; planned to be sure.
fn cradle_for(job: &Job, rings: u32) -> Option<Length> {
    let per_turn = job.rule.per_turn();
    let reserve = per_turn.counts_in_part(2);
    let turns = per_turn.turns(job.rule.target_counts(rings) + reserve)?;
    let least = job.rule.coil().length(turns).nm();
    [100_000, 10_000, 1_000, 1].into_iter().find_map(|step| {
        let length = Length::from_nm((least + step - 1) / step * step);
        let rule = BatchPlan::new(*job.rule.coil(), per_turn, length).ok()?;
        (rule.full_rings() == rings).then_some(length)
    })
}

/// The last coil left out, where the full ones hold all that is wanted and at least half of what was
/// to spare.
fn without_last(job: &Job, plan: &Plan) -> Option<Suggestion> {
    let (Wanted::Rings(wanted), [full, last]) = (job.wanted, plan.groups.as_slice()) else { return None };
    let rings = full.count * full.rings;
    let spare = rings.checked_sub(wanted)?;
    let saved = last.wire.get();
    let asked = plan.rings_to_spare();
    if spare < asked.div_ceil(2) || !worth(job, plan, saved) {
        return None;
    }
    Some(Suggestion {
        text: format!(
            "Leave the last coil out: the {} before it hold {rings} rings, still {spare} to spare ({} %) instead of {asked}, which {}.",
            full.count,
            sig(f64::from(spare) / f64::from(wanted) * 100.0, 2),
            gain(job, plan, (saved, 0)),
        ),
        wire_saved_mm: saved,
        rings_gained: 0,
    })
}

fn capital(text: &str) -> String {
    let mut chars = text.chars();
    chars.next().map(|first| first.to_uppercase().chain(chars).collect()).unwrap_or_default()
}
