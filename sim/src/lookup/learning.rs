//! What measured rings and coils say of a wire on a mandrel: on their own, and on any other mandrel of the wire.

use std::collections::BTreeSet;

use serde_json::{Map, Value};
use turntally_core::bounds::Bounds;
use turntally_core::learned_flow::{LearnedFlow, Misfit, RingFlow};
use turntally_core::measured::{Learned, Measurement, learn};
use turntally_core::metal::{Metal, Temper, flow_of};
use turntally_core::spring::{Flow, SpringRatio};
use turntally_core::units::Length;

use super::{Measured, MeasuredCoil, WireKind};
use crate::failure::Failure;
use crate::words::number::{fixed, given};
use crate::words::{count, series};

/// What was measured for a wire on a mandrel, beside what is supposed without it.
#[derive(Debug, Clone, PartialEq)]
pub struct Learning {
    /// What counts: without a spring ratio or a gap where those were given otherwise.
    pub learned: Learned,
    /// The estimate of the spring ratio, where there is one.
    pub estimate: Option<SpringRatio>,
    /// Where the spring ratio is from, if no ring was measured on this very mandrel.
    pub carried: Option<Carried>,
    /// The spools that the measured wire came off, by name; nothing among them stands for wire of no spool.
    pub spools: Vec<Option<String>>,
}

/// Rings on other mandrels of which a spring ratio was learned.
#[derive(Debug, Clone, PartialEq)]
pub struct Carried {
    /// Those mandrels, from the thinnest.
    pub mandrels: Vec<Length>,
    /// Why the rings and the metal's figures do not go together: the bounds take in both then.
    pub misfit: Option<Misfit>,
}

impl Learning {
    /// What is left to go by where a spring ratio or a gap is given otherwise; nothing if neither is left.
    #[must_use]
    pub fn beside(mut self, spring_given: bool, gap_given: bool) -> Option<Self> {
        if spring_given {
            self.learned.spring = None;
            self.carried = None;
        }
        if gap_given {
            self.learned.gap = None;
        }
        (self.learned.spring.is_some() || self.learned.gap.is_some()).then_some(self)
    }

    /// A ring of this very mandrel was measured, or rings of it were counted.
    #[must_use]
    pub const fn spring_measured(&self) -> bool {
        self.learned.spring.is_some() && self.carried.is_none()
    }

    /// What the spring ratio comes from: `measured on 3 rings`, `learned from 2 rings on 4.5 and 9 mm`.
    #[must_use]
    pub fn springs_from(&self) -> String {
        if let Some(carried) = &self.carried {
            let rings = count(u64::from(self.learned.insides), "ring");
            let spools = self.spools_words();
            return format!("learned from {rings}{spools} on {}", mandrels_words(&carried.mandrels));
        }
        let of = match (self.learned.insides, self.learned.counted) {
            (0, coils) => format!("{} whose rings were counted", count(u64::from(coils), "coil")),
            (rings, _) => count(u64::from(rings), "ring"),
        };
        format!("as measured on {of}{}", self.spools_words())
    }

    /// ` of spool "copper 1"`, ` of spools "a" and "b" and of no spool`; nothing where no spool is known.
    fn spools_words(&self) -> String {
        let names: Vec<String> = self.spools.iter().flatten().map(|name| format!("\"{name}\"")).collect();
        let rest = if names.len() < self.spools.len() { " and of no spool" } else { "" };
        match names.len() {
            0 => String::new(),
            1 => format!(" of spool {}{rest}", names[0]),
            _ => format!(" of spools {}{rest}", series(&names, "and")),
        }
    }

    /// Where the spring ratio was learned, as keys of JSON: nothing where it was not carried from other mandrels.
    #[must_use]
    pub fn learned_from(&self) -> Map<String, Value> {
        let mut map = Map::new();
        let Some(carried) = &self.carried else { return map };
        let mm: Vec<f64> = carried.mandrels.iter().map(|mandrel| mandrel.mm().get()).collect();
        map.insert("spring_ratio_learned_from_mandrels_mm".to_owned(), mm.into());
        map.insert("spring_ratio_learned_from_rings".to_owned(), self.learned.insides.into());
        map
    }

    /// Why rings on other mandrels and the metal's figures do not go together.
    #[must_use]
    pub fn misfit(&self) -> Option<Misfit> {
        self.carried.as_ref()?.misfit
    }

    /// `1.021, 1.018 to 1.025, as measured on 3 rings; the estimate was 1.013, 1.008 to 1.024`.
    #[must_use]
    pub fn spring_words(&self) -> Option<String> {
        let spring = self.learned.spring?;
        let beside = self.estimate.map_or_else(
            || "there is no estimate".to_owned(),
            |estimate| format!("the estimate was {}", range_words(estimate.bounds())),
        );
        let apart = if self.learned.springs_apart.is_some() { CONTRADICTION } else { "" };
        let misfit = self.misfit().map_or_else(String::new, |misfit| format!("; both count, since {misfit}"));
        Some(format!("{}, {}; {beside}{misfit}{apart}", range_words(spring.bounds()), self.springs_from()))
    }

    /// `0.0167, 0.0153 to 0.0181, as measured on 1 coil`.
    #[must_use]
    pub fn gap_words(&self) -> Option<String> {
        let gap = self.learned.gap?;
        let coils = count(u64::from(self.learned.lengths), "coil");
        let apart = if self.learned.gaps_apart.is_some() { CONTRADICTION } else { "" };
        Some(format!("{}, as measured on {coils}{}{apart}", range_words(gap), self.spools_words()))
    }
}

const CONTRADICTION: &str = "; the measurements contradict each other: turntally measured list shows them";

/// `1.0130, 1.0080 to 1.0240`: probably, at least and at most.
fn range_words(bounds: Bounds<f64>) -> String {
    format!("{}, {} to {}", fixed(bounds.best, 4), fixed(bounds.low, 4), fixed(bounds.high, 4))
}

/// Puts the measurements of one wire with one coating on one mandrel together.
///
/// # Errors
/// One line where another program has written what cannot be.
pub fn together(of_one: &[Measured], estimate: Option<SpringRatio>) -> Result<Learning, Failure> {
    let measurements: Vec<Measurement> = of_one.iter().map(|one| one.measurement).collect();
    let coil = of_one.first().map(|one| &one.coil);
    let (wire, mandrel) = coil.map_or_else(Default::default, |coil| (coil.over_coating(), coil.mandrel));
    let learned = learn(wire, mandrel, estimate.unwrap_or(SpringRatio::NONE), &measurements);
    let learned = learned.map_err(|(place, error)| {
        let number = of_one.get(place).map_or(0, |one| one.number);
        Failure::value("measurement", number, format_args!("{error}; turntally measured drop {number}"))
    })?;
    Ok(Learning { learned, estimate, carried: None, spools: spools_of(of_one) })
}

/// The spools that the measured wire came off, those with a name in the order of their names.
fn spools_of(measured: &[Measured]) -> Vec<Option<String>> {
    let spools: BTreeSet<Option<&String>> = measured.iter().map(|one| one.coil.spool.as_ref()).collect();
    spools.into_iter().map(|spool| spool.cloned()).collect()
}

/// What is supposed of a wire without measurements; a metal that is not listed lies anywhere among those that are.
fn flow_of_wire(wire: &WireKind) -> Option<Flow> {
    flow_of(Metal::find(&wire.metal), wire.temper, wire.size).ok()
}

/// What rings of a coil that open so far mean for its wire, and whether they may be of its metal and temper. The metal of
/// coated wire lies a coating further out than the mandrel.
#[must_use]
pub fn ring_flow(coil: &MeasuredCoil, spring: SpringRatio) -> RingFlow {
    let mandrel = coil.mandrel.with_coating(coil.coating);
    RingFlow::new(coil.wire.size, mandrel, spring, flow_of_wire(&coil.wire))
}

/// `4.5 and 9 mm`, or `12 mandrels of 2.5 mm to 12 mm` where they are many.
fn mandrels_words(mandrels: &[Length]) -> String {
    const MOST: usize = 4;
    let bare = |mandrel: &Length| given(*mandrel).trim_end_matches(" mm").to_owned();
    match mandrels {
        [first, .., last] if mandrels.len() > MOST => {
            format!("{} mandrels of {} to {}", mandrels.len(), bare(first), given(*last))
        }
        [others @ .., last] => {
            let names: Vec<String> = others.iter().map(bare).chain([given(*last)]).collect();
            series(&names, "and")
        }
        [] => String::new(),
    }
}

/// What was measured of one wire, on any mandrel.
#[derive(Debug, Clone)]
pub struct LearnedWire {
    pub(super) wire: WireKind,
    /// What is supposed of it.
    pub(super) flow: Option<Flow>,
    /// What was measured on each mandrel, from the thinnest, of each coating.
    coils: Vec<(MeasuredCoil, Learning)>,
    /// What the measured rings say of the wire, one a mandrel.
    pub(super) rings: Vec<RingFlow>,
    ring_count: u32,
    spools: Vec<Option<String>>,
}

impl LearnedWire {
    /// Puts everything together that was measured of one wire, in the order of mandrels.
    ///
    /// # Errors
    /// One line where another program has written what cannot be.
    pub fn new(of_wire: &[Measured]) -> Result<Self, Failure> {
        let wire = of_wire.first().map_or_else(WireKind::default, |one| one.coil.wire.clone());
        let flow = flow_of_wire(&wire);
        let spools = spools_of(of_wire);
        let mut new = Self { wire, flow, coils: Vec::new(), rings: Vec::new(), ring_count: 0, spools };
        for of_one in of_wire.chunk_by(|a, b| a.coil.on_same_mandrel(&b.coil)) {
            let coil = of_one[0].coil.clone();
            let learning = together(of_one, new.estimate(coil.mandrel.with_coating(coil.coating)))?;
            new.ring_count += learning.learned.insides;
            new.coils.push((coil, learning));
        }
        // Counted rings say too little of a wire to be carried to another mandrel.
        new.rings = new.rings_measured().map(|(coil, spring)| ring_flow(coil, spring)).collect();
        Ok(new)
    }

    /// The wire.
    #[must_use]
    pub const fn wire(&self) -> &WireKind {
        &self.wire
    }

    /// How many rings were measured.
    #[must_use]
    pub const fn ring_count(&self) -> u32 {
        self.ring_count
    }

    /// The mandrels with measured rings, from the thinnest.
    #[must_use]
    pub fn ring_mandrels(&self) -> Vec<Length> {
        let mut mandrels: Vec<Length> = self.rings_measured().map(|(coil, _)| coil.mandrel).collect();
        mandrels.dedup();
        mandrels
    }

    /// Why its rings and the metal's figures do not go together, if they do not.
    #[must_use]
    pub fn misfit(&self) -> Option<Misfit> {
        let misfit = self.flow().exponent().err()?;
        // Of coated wire, the rings are reckoned on a mandrel that is thicker by the coating: named is the real one.
        let real = |over: Length| {
            let coils = self.rings_measured().map(|(coil, _)| coil);
            let on = |coil: &&MeasuredCoil| coil.mandrel.with_coating(coil.coating) == over;
            coils.filter(on).map(|coil| coil.mandrel).next().unwrap_or(over)
        };
        Some(match misfit {
            Misfit::More { mandrel, outside } => Misfit::More { mandrel: real(mandrel), outside },
            Misfit::Less { mandrel } => Misfit::Less { mandrel: real(mandrel) },
            Misfit::Apart => Misfit::Apart,
        })
    }

    /// `3 rings on 4.5 and 9 mm`.
    #[must_use]
    pub fn rings_words(&self) -> String {
        format!("{} on {}", count(u64::from(self.ring_count), "ring"), mandrels_words(&self.ring_mandrels()))
    }

    /// What its rings say of it.
    #[must_use]
    pub fn flow(&self) -> LearnedFlow<'_> {
        LearnedFlow::new(&self.rings, self.wire.temper, self.flow)
    }

    /// Other tempers of its metal that all of its rings fit.
    #[must_use]
    pub fn fitting_tempers(&self) -> Vec<Temper> {
        let Some(metal) = Metal::find(&self.wire.metal) else { return Vec::new() };
        let fits = |temper: &Temper| {
            let wire = WireKind { temper: *temper, ..self.wire.clone() };
            let of = |(coil, spring): (&MeasuredCoil, SpringRatio)| {
                ring_flow(&MeasuredCoil { wire: wire.clone(), ..coil.clone() }, spring)
            };
            let rings: Vec<RingFlow> = self.rings_measured().map(of).collect();
            LearnedFlow::new(&rings, *temper, flow_of_wire(&wire)).exponent().is_ok()
        };
        metal.tempers().filter(|temper| *temper != self.wire.temper).filter(fits).collect()
    }

    /// Coils whose rings' insides were measured, one for each mandrel and coating, and how far those open.
    fn rings_measured(&self) -> impl Iterator<Item = (&MeasuredCoil, SpringRatio)> {
        let insides = self.coils.iter().filter(|(_, learning)| learning.learned.insides > 0);
        insides.filter_map(|(coil, learning)| Some((coil, learning.learned.spring?)))
    }

    pub(super) fn estimate(&self, mandrel: Length) -> Option<SpringRatio> {
        SpringRatio::estimate(self.flow?, self.wire.size, mandrel).ok()
    }

    /// What is known of it on a mandrel, with this coating: what was measured there, else what its rings on other mandrels
    /// or with another coating say, unless a spring ratio is given otherwise.
    ///
    /// # Errors
    /// Why it makes no ring there, as its rings have it.
    pub fn on(
        &self,
        mandrel: Length,
        coating: Length,
        spring_given: bool,
    ) -> Result<Option<Learning>, String> {
        let same = |coil: &MeasuredCoil| (coil.mandrel, coil.coating) == (mandrel, coating);
        let own = self.coils.iter().find(|(coil, _)| same(coil)).map(|(_, learning)| learning.clone());
        if spring_given
            || self.rings.is_empty()
            || own.as_ref().is_some_and(|own| own.learned.spring.is_some())
        {
            return Ok(own);
        }
        let flow = self.flow();
        let misfit = self.misfit();
        let reckoned = mandrel.with_coating(coating);
        let spring = flow.spring(self.wire.size, reckoned).map_err(|error| {
            let misfit = misfit.map_or_else(String::new, |misfit| format!(", and {misfit}"));
            format!(
                "as learned from {}, {error}{misfit}; turntally measured list shows them",
                self.rings_words()
            )
        })?;
        let learned = own.map(|own| own.learned).unwrap_or_default();
        Ok(Some(Learning {
            learned: Learned { spring: Some(spring), insides: self.ring_count, ..learned },
            estimate: self.estimate(reckoned),
            carried: Some(Carried { mandrels: self.ring_mandrels(), misfit }),
            spools: self.spools.clone(),
        }))
    }
}

/// What was measured of the wires of a metal in one temper.
#[derive(Debug, Clone, Default)]
pub struct LearnedMetal(Vec<LearnedWire>);

impl LearnedMetal {
    pub(super) const fn new(wires: Vec<LearnedWire>) -> Self {
        Self(wires)
    }

    /// What is known of one of its wires on a mandrel, with this coating.
    ///
    /// # Errors
    /// As [`LearnedWire::on`].
    pub fn on(
        &self,
        wire: Length,
        mandrel: Length,
        coating: Length,
        spring_given: bool,
    ) -> Result<Option<Learning>, String> {
        let known = self.0.iter().find(|known| known.wire.size == wire);
        known.map_or(Ok(None), |known| known.on(mandrel, coating, spring_given))
    }
}
