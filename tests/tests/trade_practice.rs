//! The planner over the whole ordinary range of the trade, against sums made here from first principles.
//!
//! The range (common practice, no source): wire of 0.5 to 2.5 mm; mandrels of 2.5 to 12 mm in steps of half a
//! millimetre; a saw's cradle that takes coils of about 76 mm (3 in); a slot of about 1.5 mm, in which blades of 0.3 to
//! 1.2 mm run; a bent lead-in of a few millimetres. Of the library only the figures of its metals are taken, as published
//! in its table. Lengths in millimetres, stresses in MPa, masses in grams.
#![allow(clippy::unwrap_used, reason = "a test that cannot go on should stop")]

use std::collections::BTreeMap;
use std::f64::consts::{FRAC_PI_2, PI, TAU};
use std::fmt::Write as _;

use serde_json::Value;
use turntally_core::counter::{Gear, Shaft};
use turntally_core::gauge::WireSize;
use turntally_core::job::Target;
use turntally_core::metal::{Metal, Temper};
use turntally_core::plan::BatchPlan;
use turntally_core::settings::{Make, Settings};
use turntally_core::units::Length;
use turntally_sim::job::Job;
use turntally_sim::plan::advice;
use turntally_sim::plan::figures::Plan;
use turntally_sim::plan::json::Report;
use turntally_sim::plan::sheet;

/// Wires, in tenths of a millimetre.
const WIRES: std::ops::RangeInclusive<i64> = 5..=25;
/// Mandrels, in half millimetres.
const MANDRELS: std::ops::RangeInclusive<i64> = 5..=24;
/// Blades, in tenths of a millimetre.
const BLADES: std::ops::RangeInclusive<i64> = 3..=12;
/// What a blade takes beyond its thickness, in micrometres: the set of its teeth and its wobble (our own, no source).
const SET_UM: i64 = 50;
/// The slot, in micrometres.
const SLOT_UM: i64 = 1_500;
/// Cradles, in micrometres: 76 mm and 3 in.
const CRADLES_UM: [i64; 2] = [76_000, 76_200];
/// Lead-ins, in millimetres.
const TAILS: [f64; 4] = [0.0, 2.0, 3.5, 5.0];
/// Encoders: pulses, shaft, teeth on crank and mandrel.
const ENCODERS: [(u32, Shaft, (u16, u16)); 4] = [
    (400, Shaft::Crank, (1, 1)),
    (24, Shaft::Mandrel, (1, 1)),
    (100, Shaft::Crank, (48, 16)),
    (600, Shaft::Crank, (20, 30)),
];
/// Rings asked for.
const RINGS: [u32; 5] = [1, 37, 500, 2_000, 10_000];
/// Spare rings, percent.
const SPARE: [u32; 3] = [0, 4, 10];
/// Counts by which an encoder may be ahead of the mandrel: one for where winding starts, one for uneven edges.
const SLACK: f64 = 2.0;
/// Rings that are as near to a whole number as this are not held to one side of it: the library rounds turns and the
/// share of them that is left to a thousand-millionth, down.
const NEAR: f64 = 1e-6;
/// The same of counts, of which a turn has up to 3,600.
const NEAR_COUNTS: f64 = 1e-3;

/// What the maker has.
struct Bench {
    metal: &'static Metal,
    temper: Temper,
    wire_um: i64,
    mandrel_um: i64,
    blade_um: i64,
    cradle_um: i64,
    /// Lead-in in turns, to a thousandth as it stands in the job.
    tail: f64,
    encoder: (u32, Shaft, (u16, u16)),
    wanted: Wanted,
}

#[derive(Clone, Copy)]
enum Wanted {
    Rings { rings: u32, spare_percent: u32 },
    Metres(u32),
}

impl Bench {
    /// A job with this wire on this mandrel; the rest of the bench is drawn at random.
    fn of(
        metal: &'static Metal,
        temper: Temper,
        [wire, mandrel, blade]: [i64; 3],
        random: &mut fastrand::Rng,
    ) -> Self {
        let (wire_um, mandrel_um) = (wire * 100, mandrel * 500);
        // A lead-in of some millimetres is a part of a turn round the middle of the wire.
        let turn = PI * (wire_um + mandrel_um) as f64 / 1e3;
        let tail = (TAILS[random.usize(..TAILS.len())] / turn * 1e3).round() / 1e3;
        let wanted = if random.u32(..5) == 0 {
            Wanted::Metres(random.u32(5..100))
        } else {
            let (rings, spare) = (random.usize(..RINGS.len()), random.usize(..SPARE.len()));
            Wanted::Rings { rings: RINGS[rings], spare_percent: SPARE[spare] }
        };
        Self {
            metal,
            temper,
            wire_um,
            mandrel_um,
            blade_um: blade * 100,
            cradle_um: CRADLES_UM[random.usize(..2)],
            tail,
            encoder: ENCODERS[random.usize(..ENCODERS.len())],
            wanted,
        }
    }

    fn kerf_um(&self) -> i64 {
        self.blade_um + SET_UM
    }

    fn file(&self) -> String {
        let (pulses, shaft, gear) = self.encoder;
        let shaft = if shaft == Shaft::Crank { "crank" } else { "mandrel" };
        let amount = match self.wanted {
            Wanted::Rings { rings, spare_percent } => {
                format!("rings = {rings}\nspare_percent = {spare_percent}")
            }
            Wanted::Metres(metres) => format!("wire = \"{metres}m\""),
        };
        format!(
            "[job]\n{amount}\n[wire]\nmetal = \"{}\"\ntemper = \"{}\"\nsize = \"{}um\"\n[mandrel]\ndiameter = \"{}um\"\n\
             [winder]\nencoder_on = \"{shaft}\"\ngear = \"{}:{}\"\npulses_per_rev = {pulses}\n[cutter]\ncoil_max = \"{}um\"\n\
             kerf = \"{}um\"\nblade = \"{}um\"\nslot = \"{SLOT_UM}um\"\n[coil]\ntail_turns = {:.3}\n",
            self.metal.name(),
            self.temper,
            self.wire_um,
            self.mandrel_um,
            gear.0,
            gear.1,
            self.cradle_um,
            self.kerf_um(),
            self.blade_um,
            self.tail,
        )
    }

    /// The same at the counter, where a lead-in is set in quarter turns.
    fn settings(&self) -> Settings {
        let mut settings = Settings::default();
        let (batch, build) = (&mut settings.batch, &mut settings.build);
        (batch.metal, batch.temper) = (self.metal, self.temper);
        batch.wire = WireSize::Diameter(Length::from_um(self.wire_um));
        batch.mandrel = Length::from_um(self.mandrel_um);
        batch.kerf = Length::from_um(self.kerf_um());
        batch.cradle = Length::from_um(self.cradle_um);
        batch.tail_quarters = (self.tail * 4.0).ceil() as u8;
        batch.make = Make::Rings(500);
        let (pulses, shaft, gear) = self.encoder;
        (build.pulses, build.shaft, build.gear) = (pulses, shaft, Gear::new(gear.0, gear.1).unwrap());
        settings
    }
}

/// Flow stress by the table's figures: the yield strength at the least, the mean of yield and tensile strength most
/// likely (in spring temper the tensile strength), at the most the tensile strength, hardened by the bend. What counts is
/// stress over modulus, so the ends are taken at the modulus that is worst for each.
fn flow_over_modulus(bench: &Bench, strain: f64) -> [f64; 3] {
    let strength = bench.metal.strength_of(bench.temper, Length::from_um(bench.wire_um)).unwrap();
    let (yields, tensile, modulus) = (strength.yield_strength(), strength.tensile(), bench.metal.modulus());
    let likely = match bench.temper {
        Temper::Spring => tensile.value().mpa(),
        _ => (yields.value().mpa() + tensile.value().mpa()) / 2.0,
    };
    let least = yields.low().mpa() / modulus.high().mpa();
    let most = tensile.high().mpa() / modulus.low().mpa() * (1.0 + bench.metal.hardening() * strain);
    // The ends are bounds of the likely one.
    let likely = (likely / modulus.value().mpa()).max(least);
    [least, likely, most.max(likely)]
}

/// How far a round wire opens that is bent past yielding and let go: released over wound diameter; none where it opens
/// to more than twice its size.
///
/// Bent to the radius R, a fibre at the height y is strained by y / R, and carries E y / R up to the flow stress S, S
/// beyond. The moment of that over the section, written with y = r sin t, is elastic up to sin t0 = S R / (E r):
/// M / E = 4 r^3 (r / R (t0 / 8 - sin(4 t0) / 32) + S / E cos(t0)^3 / 3). Letting go takes it off elastically:
/// 1 / released = 1 / R - M / (E I), with I = pi r^4 / 4.
fn opens(wire: f64, wound: f64, flow: f64) -> Option<f64> {
    let (r, bent) = (wire / 2.0, wound / 2.0);
    let sine = flow * bent / r;
    if sine >= 1.0 {
        return None;
    }
    let t = sine.asin();
    let elastic = r / bent * (t / 8.0 - (4.0 * t).sin() / 32.0);
    let moment = 4.0 * r.powi(3) * (elastic + flow * t.cos().powi(3) / 3.0);
    let curvature = 1.0 / bent - moment / (PI * r.powi(4) / 4.0);
    (curvature * bent * 2.0 >= 1.0).then(|| 1.0 / (curvature * bent))
}

/// The sums of one wire on one mandrel.
struct Sums {
    wire: f64,
    /// Wire in a turn on the mandrel.
    wound_turn: f64,
    /// Wire in a turn off it; at least, likely, at most.
    turn: [f64; 3],
    /// Wire that a cut takes, along the helix.
    cut: [f64; 3],
    /// Inside diameter of a closed ring.
    inside: [f64; 3],
    counts_per_turn: f64,
    tail: f64,
    cradle: f64,
}

impl Sums {
    /// None where the wire springs out.
    fn of(bench: &Bench, tail: f64) -> Option<Self> {
        let (wire, mandrel) = (bench.wire_um as f64 / 1e3, bench.mandrel_um as f64 / 1e3);
        let wound = mandrel + wire;
        // A close coil: the pitch is the wire. The helix unrolled is the hypotenuse of its circle and its pitch.
        let helix = |diameter: f64| ((PI * diameter).powi(2) + wire * wire).sqrt();
        let mut ratios = [0.0; 3];
        for (ratio, flow) in ratios.iter_mut().zip(flow_over_modulus(bench, wire / wound)) {
            *ratio = opens(wire, wound, flow)?;
        }
        let turn = ratios.map(|ratio| helix(ratio * wound));
        let kerf = bench.kerf_um() as f64 / 1e3;
        // The saw goes along the axis, and the wire crosses it at the helix angle.
        let cut = ratios.map(|ratio| kerf / (wire / (PI * ratio * wound)).atan().cos());
        let inside = [0, 1, 2].map(|at| (turn[at] - cut[at]) / PI - wire);
        let (pulses, shaft, teeth) = bench.encoder;
        // A crank with the bigger wheel turns once while the mandrel turns often.
        let shaft_turns = if shaft == Shaft::Crank { f64::from(teeth.1) / f64::from(teeth.0) } else { 1.0 };
        Some(Self {
            wire,
            wound_turn: helix(wound),
            turn,
            cut,
            inside,
            counts_per_turn: 4.0 * f64::from(pulses) * shaft_turns,
            tail,
            cradle: bench.cradle_um as f64 / 1e3,
        })
    }

    /// Turns left of `wound` ones, where the coil opens least (0), as is likely (1), most (2): the wire keeps its length.
    fn left(&self, wound: f64, bound: usize) -> f64 {
        wound * self.wound_turn / self.turn[bound] - self.tail
    }

    /// Certain rings of the longest coil that fits the cradle and may be stopped half a turn late, before rounding down.
    fn full(&self) -> f64 {
        let fits = (self.cradle - self.wire) / self.wire;
        // Whole numbers of counts, a fit that ends just at a count being one.
        let limit = (fits * self.counts_per_turn + 1e-7).floor();
        let reserve = (self.counts_per_turn / 2.0).ceil();
        self.left((limit - reserve - SLACK) / self.counts_per_turn, 2) - 1.0
    }

    /// Counts that make `rings` certain, before rounding up: one turn more than rings, wherever the slit falls.
    fn counts(&self, rings: u32) -> f64 {
        (f64::from(rings) + 1.0 + self.tail) * self.turn[2] / self.wound_turn * self.counts_per_turn + SLACK
    }

    /// Wire of `rings` in coils of at most `full`.
    fn wire_for(&self, rings: u32, full: u32) -> f64 {
        let each = |rings: u32| match rings {
            0 => 0.0,
            _ => self.counts(rings).ceil() / self.counts_per_turn * self.wound_turn,
        };
        f64::from(rings / full) * each(full) + each(rings % full)
    }

    fn aspect(&self, bound: usize) -> f64 {
        self.inside[bound] / self.wire
    }
}

/// `got` is `exact` rounded down; where that is as good as whole, one less will do.
fn is_floor(exact: f64, got: u32) -> bool {
    ((exact - NEAR).floor()..=(exact + NEAR).floor()).contains(&f64::from(got))
}

fn close(case: &str, what: &str, got: f64, expected: f64) {
    let within = 1e-8 * expected.abs().max(1e-3);
    assert!((got - expected).abs() <= within, "{what} {got}, not {expected}\n{case}");
}

/// The warnings, each by words that only it has.
const WARNINGS: [(&str, &str); 13] = [
    ("no clearance", "has no clearance"),
    ("drags", "it drags as soon as"),
    ("slot too wide", "nothing to lie on"),
    ("kerf below blade", "narrower than the blade"),
    ("kerf too wide", "times the blade"),
    ("may crack", "it may crack"),
    ("springback", "is a wide guess"),
    ("whips", "wire whips"),
    ("tight", "is very tight"),
    ("limp", "makes a limp ring"),
    ("slender", "hold the mandrel"),
    ("coarse", "One encoder count"),
    ("wire's end", "uses the wire to its end"),
];

/// Which of them are due. All thresholds: common practice, no source.
fn due(bench: &Bench, sums: &Sums, longest: f64, wire_with_late_stops: f64) -> [bool; 13] {
    let (blade, kerf) = (bench.blade_um, bench.kerf_um());
    let side_um = (SLOT_UM - blade) as f64 / 2.0;
    let in_wires = bench.mandrel_um as f64 / bench.wire_um as f64;
    let cracks_below = match bench.temper {
        Temper::Soft => 1.5,
        Temper::HalfHard => 2.0,
        Temper::Hard => 3.0,
        Temper::Spring => 4.0,
    };
    let given = match bench.wanted {
        Wanted::Rings { .. } => f64::INFINITY,
        Wanted::Metres(metres) => f64::from(metres) * 1e3,
    };
    let likely = sums.aspect(1);
    let off = (likely - sums.aspect(0)).max(sums.aspect(2) - likely);
    [
        blade >= SLOT_UM,
        blade < SLOT_UM && side_um < 50.0,
        side_um > bench.wire_um as f64,
        kerf < blade,
        kerf > 2 * blade,
        in_wires < cracks_below,
        // Weaves are listed by aspect ratios half a unit apart: a quarter off is nearer to the next.
        off > 0.25,
        matches!(bench.temper, Temper::Hard | Temper::Spring),
        likely < 2.5,
        likely > 10.0,
        longest > 30.0 * bench.mandrel_um as f64 / 1e3,
        sums.counts_per_turn < 16.0,
        wire_with_late_stops > given,
    ]
}

#[derive(Default)]
struct Covered {
    jobs: u32,
    refused: u32,
    rings: u64,
    coils: u64,
    metres: f64,
    slits: u64,
    whole_reports: u32,
    from_wire: u32,
    warned: [u32; 13],
    by_temper: BTreeMap<Temper, (u32, u32)>,
}

/// Holds the planner and the counter to the sums of one job.
fn hold(bench: &Bench, whole_report: bool, covered: &mut Covered) {
    let text = bench.file();
    let job = Job::parse(&text);
    let counter = bench.settings().job();
    let Some(sums) = Sums::of(bench, bench.tail) else {
        let failure = job.err().map(|failure| failure.to_string()).unwrap_or_default();
        assert!(failure.contains("may spring open to more than 2 times"), "{failure}\n{text}");
        assert!(counter.is_err(), "{text}");
        covered.refused += 1;
        return;
    };
    let job = job.unwrap_or_else(|failure| unreachable!("{failure}\n{text}"));
    let plan = Plan::of(&job).unwrap_or_else(|failure| unreachable!("{failure}\n{text}"));
    rule(&text, &sums, &job.rule);
    coils(&text, bench, &sums, &job, &plan, covered);
    wire(&text, bench, &sums, &plan, job.rule.full_rings());
    let longest = plan.groups.iter().map(|group| group.wound_length.get()).fold(0.0, f64::max);
    let late = plan.wire_with_late_stops.get();
    let warnings = advice::warnings(&job, &plan);
    for ((at, due), (_, words)) in due(bench, &sums, longest, late).into_iter().enumerate().zip(WARNINGS) {
        let given = warnings.iter().filter(|warning| warning.contains(words)).count();
        assert_eq!(given, usize::from(due), "{words}: {warnings:#?}\n{text}");
        covered.warned[at] += u32::from(due);
    }
    let known = |warning: &String| WARNINGS.iter().filter(|(_, words)| warning.contains(words)).count() == 1;
    assert!(warnings.iter().all(known), "{warnings:#?}\n{text}");
    if whole_report {
        report(&text, &job, &plan, &warnings);
        covered.whole_reports += 1;
    }
    // The counter has the same rule, with its lead-in in quarter turns.
    let counter = counter.unwrap_or_else(|error| unreachable!("{error}\n{text}"));
    assert_eq!(counter.target, Target::Rings(500));
    rule(&text, &Sums::of(bench, (bench.tail * 4.0).ceil() / 4.0).unwrap(), &counter.rule);
    covered.jobs += 1;
    covered.from_wire += u32::from(matches!(bench.wanted, Wanted::Metres(_)));
    let tempered = covered.by_temper.entry(bench.temper).or_default();
    tempered.0 += 1;
    tempered.1 += u32::from(warnings.iter().any(|warning| warning.contains("is a wide guess")));
}

/// Turns and rings of a coil, and the cradle.
fn rule(case: &str, sums: &Sums, rule: &BatchPlan) {
    let full = rule.full_rings();
    assert!(is_floor(sums.full(), full), "{full} rings, not {}\n{case}", sums.full());
    for rings in [1, full.div_ceil(2), full] {
        let (exact, counts) = (sums.counts(rings), rule.target_counts(rings) as f64);
        let rounded_up = (exact - NEAR_COUNTS).ceil()..=(exact + NEAR_COUNTS).ceil();
        assert!(rounded_up.contains(&counts), "{counts} counts, not {exact}\n{case}");
        // Half a turn late it still lies in the cradle.
        let late = counts / sums.counts_per_turn + 0.5;
        assert!(late * sums.wire + sums.wire <= sums.cradle + 1e-6, "{late} turns\n{case}");
    }
}

/// Every coil: what is asked of it, and what the saw makes of it wherever the slit falls.
fn coils(case: &str, bench: &Bench, sums: &Sums, job: &Job, plan: &Plan, covered: &mut Covered) {
    let full = job.rule.full_rings();
    let (mut coils, mut rings, mut best, mut likely) = (0, 0, 0_u64, 0.0);
    for (at, group) in plan.groups.iter().enumerate() {
        assert!(
            group.rings == full || (group.rings < full && group.count == 1 && at + 1 == plan.groups.len()),
            "{case}"
        );
        assert_eq!(group.target_counts, job.rule.target_counts(group.rings), "{case}");
        let turns = group.target_counts as f64 / sums.counts_per_turn;
        close(case, "turns", group.wound_turns.as_f64(), turns);
        close(case, "length", group.wound_length.get(), turns * sums.wire + sums.wire);
        close(case, "wire of a coil", group.wire.get(), turns * sums.wound_turn);
        let released = turns * sums.wound_turn / sums.turn[1];
        close(case, "turns released", group.released_turns, released);
        close(case, "length released", group.released_length.get(), released * sums.wire + sums.wire);
        // At most: where none of the lead-in is bent.
        assert!(is_floor(sums.left(turns, 0) + sums.tail, group.rings_best), "{group:?}\n{case}");
        // A slit at any place of the turn, through a coil that opens by any of the bounds and was counted up to two
        // counts ahead: its rings are the wire between one cut and the next.
        for bound in 0..3 {
            let usable = sums.left(turns - SLACK / sums.counts_per_turn, bound);
            for place in [0.0, 0.2, 0.5, 0.8, 0.999_999] {
                let mut cut: u32 = 0;
                while place + f64::from(cut) + 1.0 <= usable + NEAR {
                    cut += 1;
                }
                assert!((group.rings..=group.rings_best).contains(&cut), "{cut} rings of {group:?}\n{case}");
                covered.slits += 1;
            }
        }
        coils += group.count;
        rings += group.count * group.rings;
        best += u64::from(group.count) * u64::from(group.rings_best);
        likely += f64::from(group.count) * (sums.left(turns, 1) - 1.0);
    }
    assert_eq!((coils, rings, best), (plan.coil_count, plan.rings_planned, plan.rings_best), "{case}");
    assert!((plan.rings_likely as f64 - likely).abs() <= 1.0, "{}, not {likely}\n{case}", plan.rings_likely);
    assert!((u64::from(rings)..=best).contains(&plan.rings_likely), "{case}");
    if let Wanted::Rings { rings: wanted, spare_percent } = bench.wanted {
        let spare = (wanted * spare_percent).div_ceil(100);
        assert_eq!(
            (plan.rings_wanted, rings, coils),
            (wanted, wanted + spare, (wanted + spare).div_ceil(full)),
            "{case}"
        );
    }
    covered.coils += u64::from(coils);
    covered.rings += u64::from(rings);
    covered.metres += plan.wire_total.get() / 1e3;
}

/// Wire, its mass, and what becomes of it.
fn wire(case: &str, bench: &Bench, sums: &Sums, plan: &Plan, full: u32) {
    let wound: f64 =
        plan.groups.iter().map(|group| f64::from(group.count) * group.target_counts as f64).sum::<f64>()
            / sums.counts_per_turn;
    let total = wound * sums.wound_turn;
    close(case, "wire", plan.wire_total.get(), total);
    let late = f64::from(plan.coil_count) / 2.0 * sums.wound_turn;
    close(case, "wire of late stops", plan.wire_with_late_stops.get(), total + late);
    // g/cm3 are mg/mm3.
    let per_mm = bench.metal.density().value().g_per_cm3() / 1e3 * PI * (sums.wire / 2.0).powi(2);
    close(case, "mass", plan.wire_mass.get(), total * per_mm);
    let (rings, coils) = (f64::from(plan.rings_planned), f64::from(plan.coil_count));
    let ends = plan.ends_as;
    close(case, "rings", ends.rings.get(), rings * (sums.turn[1] - sums.cut[1]) * per_mm);
    close(case, "swarf", ends.swarf.get(), (rings + coils) * sums.cut[1] * per_mm);
    let parts = [ends.rings.get(), ends.swarf.get(), ends.offcut.get()];
    close(case, "rings, swarf and offcuts", parts.iter().sum(), total * per_mm);
    assert!(parts.iter().all(|&part| part > 0.0), "{parts:?}\n{case}");
    for (what, got, expected) in [
        ("least inside", plan.ring_inner.low, sums.inside[0]),
        ("likely inside", plan.ring_inner.best, sums.inside[1]),
        ("most inside", plan.ring_inner.high, sums.inside[2]),
    ] {
        close(case, what, got, expected);
    }
    if let Wanted::Metres(metres) = bench.wanted {
        let given = f64::from(metres) * 1e3;
        // One ring more would take more wire than there is, to a nanometre a turn.
        assert!(total <= given, "{total} mm\n{case}");
        let more = sums.wire_for(plan.rings_planned + 1, full);
        assert!(more > given - 0.05, "{more} mm for one more\n{case}");
        assert_eq!(plan.rings_wanted, plan.rings_planned, "{case}");
    }
}

/// What is printed does not contradict itself: parts make wholes, bounds are in their order, each warning is on the sheet.
fn report(case: &str, job: &Job, plan: &Plan, warnings: &[String]) {
    let suggestions = advice::suggestions(job, plan);
    for suggestion in &suggestions {
        let saved = suggestion.wire_saved_mm;
        assert!((0.0..plan.wire_total.get()).contains(&saved), "{suggestion:?}\n{case}");
        assert!((saved > 0.0) != (suggestion.rings_gained > 0), "{suggestion:?}\n{case}");
    }
    let report = serde_json::to_value(Report::new(job, plan, warnings, &suggestions)).unwrap();
    let number = |of: &Value, key: &str| of[key].as_f64().unwrap_or_else(|| unreachable!("{key}\n{case}"));
    let listed = report["coils"].as_array().unwrap();
    let over = |key: &str| listed.iter().map(|coil| number(coil, key)).sum::<f64>();
    close(case, "coils listed", listed.len() as f64, number(&report, "coil_count"));
    close(case, "rings of all coils", over("rings"), number(&report, "rings_planned"));
    close(case, "rings at best", over("rings_best"), number(&report, "rings_best"));
    close(case, "wire of all coils", over("wire_mm"), number(&report, "wire_total_mm"));
    let parts: f64 =
        ["rings_mass_g", "swarf_mass_g", "offcut_mass_g"].map(|key| number(&report, key)).iter().sum();
    close(case, "parts", parts, number(&report, "wire_mass_g"));
    let ring = number(&report, "ring_mass_mg") / 1e3 * number(&report, "rings_planned");
    close(case, "mass of rings", ring, number(&report, "rings_mass_g"));
    for (low, best, high) in [
        ("spring_ratio_low", "spring_ratio", "spring_ratio_high"),
        ("wire_mass_low_g", "wire_mass_g", "wire_mass_high_g"),
        ("closed_inner_diameter_low_mm", "closed_inner_diameter_mm", "closed_inner_diameter_high_mm"),
        ("minutes_at_bench_low", "minutes_at_bench", "minutes_at_bench_high"),
        ("rings_planned", "rings_likely", "rings_best"),
    ] {
        let [low, best, high] = [low, best, high].map(|key| number(&report, key));
        assert!(0.0 < low && low <= best && best <= high, "{low} {best} {high}\n{case}");
    }
    let page = sheet::render(job, plan, warnings);
    assert_eq!(
        page.matches("<li>").count() - sheet::render(job, plan, &[]).matches("<li>").count(),
        warnings.len()
    );
}

/// Every wire of the range on every mandrel, in every temper of every listed metal.
#[test]
fn ordinary_jobs_agree_with_first_principles() {
    let mut covered = Covered::default();
    let mut random = fastrand::Rng::with_seed(76);
    for metal in Metal::ALL {
        for temper in metal.tempers() {
            for (wire, mandrel) in WIRES.flat_map(|wire| MANDRELS.map(move |mandrel| (wire, mandrel))) {
                let sizes = [wire, mandrel, random.i64(BLADES)];
                let bench = Bench::of(metal, temper, sizes, &mut random);
                let whole_report = random.u32(..40) == 0;
                hold(&bench, whole_report, &mut covered);
            }
        }
    }
    println!("{}", covered.words());
    assert!(covered.jobs > 10_000 && covered.whole_reports > 500 && covered.from_wire > 1_000);
    // Some wire springs out, but not what is usually wound.
    assert!((1..covered.jobs / 1_000).contains(&covered.refused), "{}", covered.refused);
    for ((name, _), warned) in WARNINGS.into_iter().zip(covered.warned) {
        // A warning that stands on most jobs warns of nothing. (That wire whips goes by its temper alone.)
        assert!(warned <= covered.jobs / 2 || name == "whips", "{name}: {warned} of {}", covered.jobs);
    }
}

/// Every blade with every wire and mandrel: of sterling silver, soft.
#[test]
fn every_blade_agrees_with_first_principles() {
    let mut covered = Covered::default();
    let metal = Metal::find("sterling-silver").unwrap();
    let mut random = fastrand::Rng::with_seed(15);
    for blade in BLADES {
        for (wire, mandrel) in WIRES.flat_map(|wire| MANDRELS.map(move |mandrel| (wire, mandrel))) {
            let bench = Bench::of(metal, Temper::Soft, [wire, mandrel, blade], &mut random);
            hold(&bench, false, &mut covered);
        }
    }
    println!("{}", covered.words());
    assert_eq!(covered.jobs, 10 * 21 * 20);
    // A thin blade leaves thin wire without support in its slot; every blade of the range has room.
    assert!(
        covered.warned[2] > 0
            && covered.warned[0] + covered.warned[1] + covered.warned[3] + covered.warned[4] == 0
    );
}

impl Covered {
    fn words(&self) -> String {
        let mut words = format!(
            "{} jobs ({} from wire) and {} that spring out: {} rings of {} coils, {:.0} km of wire, {} slits, {} whole reports; warned of:",
            self.jobs,
            self.from_wire,
            self.refused,
            self.rings,
            self.coils,
            self.metres / 1e3,
            self.slits,
            self.whole_reports,
        );
        let share = |part: u32, of: u32| 100.0 * f64::from(part) / f64::from(of.max(1));
        for ((name, _), warned) in WARNINGS.into_iter().zip(self.warned) {
            _ = write!(words, " {name} {:.1} %,", share(warned, self.jobs));
        }
        for (temper, (jobs, warned)) in &self.by_temper {
            _ = write!(words, " springback of {temper} {:.1} %,", share(*warned, *jobs));
        }
        words.pop();
        words
    }
}

/// The closed form of [`opens`] against the same section summed fibre by fibre.
#[test]
fn closed_form_is_the_sum_of_fibres() {
    const FIBRES: u32 = 20_000;
    for (wire, wound, flow) in [(0.5, 12.5, 0.004), (1.0, 5.0, 0.001), (2.5, 5.0, 0.01), (1.6, 9.6, 0.008)] {
        let (r, bent) = (wire / 2.0, wound / 2.0);
        let mut moment = 0.0;
        for n in 0..FIBRES {
            let t = (f64::from(n) + 0.5) / f64::from(FIBRES) * FRAC_PI_2;
            let (y, width) = (r * t.sin(), 2.0 * r * t.cos());
            // Both halves of the section.
            moment += 2.0 * (y / bent).min(flow) * y * width * r * t.cos() * FRAC_PI_2 / f64::from(FIBRES);
        }
        let second_moment = TAU * r.powi(4) / 8.0;
        let expected = 1.0 / (1.0 - moment * bent / second_moment);
        let got = opens(wire, wound, flow).unwrap();
        assert!((got - expected).abs() < 1e-7, "{got}, not {expected}");
    }
}
