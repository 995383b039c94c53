//! The pages on which the counter is set up: with a knob and two keys, and no computer.
//!
//! Two lists of entries, one for the batch and one for the counter. On a list the knob goes from entry to
//! entry, Yes opens one, No leaves without a change. In an entry the knob turns its value (turned fast,
//! in larger steps), Yes keeps it and goes on to the next entry, No puts the old one back. So whoever
//! presses Yes again and again is led through everything once. The last entry takes what was set; if
//! no ring can come of it, its page says why.

use core::fmt::{self, Write};

use heapless::{String, Vec};

use crate::counter::{Direction, Gear, Shaft};
use crate::gauge::{Gauge, GaugeSystem, WireSize};
use crate::input::{Key, KnobSpeed, KnobTurn};
use crate::metal::{Metal, Temper};
use crate::settings::{
    COILS, CRADLE, KERF, KnobClick, LEAD, Limits, Long, Loudness, MANDREL, Make, OnSpool, OwnBatch, PULSES,
    RINGS, SPOOL, SPOOL_UNIT, Settings, Size, TAIL, TEETH, TENTHS, Units, WIRE,
};
use crate::time::{Duration, Instant};
use crate::units::{Length, Turns};

mod entry;
mod outcome;

pub use entry::{Entry, List};
pub use outcome::{Outcome, Reason};

/// The words of an entry's value.
pub type Words = String<32>;

/// What is shown of the pages.
#[derive(Debug, Clone)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Shown {
    /// The list.
    List,
    /// One entry's value.
    Entry,
    /// What comes of it: coils and rings of each, or why nothing does.
    Outcome(Result<Outcome, Reason>),
}

/// What is to be done after a key.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Step {
    /// Nothing.
    Stay,
    /// To leave without a change.
    Leave,
    /// To take what was set.
    Take,
}

/// The pages.
#[derive(Debug, Clone)]
pub struct SetUp {
    list: List,
    /// Which entry of the list is marked, or open.
    at: usize,
    shown: Shown,
    draft: Settings,
    /// What the open entry had.
    before: Settings,
    /// Counts of the encoder since the entry for its direction was opened.
    counts: i64,
    /// When the open entry was opened.
    opened: Instant,
    speed: KnobSpeed,
    /// Rises with whatever may look different.
    changes: u32,
}

#[cfg(feature = "defmt")]
impl defmt::Format for SetUp {
    fn format(&self, f: defmt::Formatter<'_>) {
        defmt::write!(f, "SetUp({}, {})", self.list, self.entry());
    }
}

impl SetUp {
    pub(crate) const fn new(list: List, settings: Settings) -> Self {
        Self {
            list,
            at: 0,
            shown: Shown::List,
            draft: settings,
            before: settings,
            counts: 0,
            opened: Instant::ZERO,
            speed: KnobSpeed::new(),
            changes: 0,
        }
    }

    /// Which list.
    #[must_use]
    pub const fn list(&self) -> List {
        self.list
    }

    /// The entries of the list.
    #[must_use]
    pub const fn entries(&self) -> &'static [Entry] {
        entry::entries(self.list, self.draft.batch.make)
    }

    /// The place of the entry that is marked or open.
    #[must_use]
    pub const fn at(&self) -> usize {
        self.at
    }

    /// The entry that is marked or open.
    #[must_use]
    pub fn entry(&self) -> Entry {
        self.entries().get(self.at).copied().unwrap_or(Entry::Take)
    }

    /// What is shown.
    #[must_use]
    pub const fn shown(&self) -> &Shown {
        &self.shown
    }

    /// What has been set so far.
    #[must_use]
    pub const fn settings(&self) -> &Settings {
        &self.draft
    }

    /// Turns of the mandrel since the entry for the direction was opened.
    #[must_use]
    pub fn turns(&self) -> Turns {
        self.draft.build.per_turn().and_then(|per_turn| per_turn.turns(self.counts)).unwrap_or_default()
    }

    /// The direction that has been taught.
    #[must_use]
    pub fn taught(&self) -> Option<Direction> {
        Direction::taught_by(self.counts, self.draft.build.per_turn()?)
    }

    /// A number that is another one whenever the pages may look different.
    #[must_use]
    pub const fn changes(&self) -> u32 {
        self.changes
    }

    pub(crate) fn key(&mut self, key: Key, now: Instant) -> Step {
        self.changes = self.changes.wrapping_add(1);
        match (&self.shown, key) {
            (Shown::List, Key::No) => return Step::Leave,
            (Shown::List, Key::Yes) if self.entry() == Entry::Take => {
                // The counter is built as it is; what comes of a batch is worth a look.
                if self.list == List::Counter {
                    return Step::Take;
                }
                self.shown = Shown::Outcome(outcome::outcome(self.draft.job()));
            }
            (Shown::List, Key::Yes) => {
                (self.before, self.counts, self.shown) = (self.draft, 0, Shown::Entry);
                self.opened = now;
            }
            (Shown::Entry, Key::No) => (self.draft, self.shown) = (self.before, Shown::List),
            (Shown::Entry, Key::Yes) => {
                if let (Entry::Direction, Some(direction)) = (self.entry(), self.taught()) {
                    self.draft.build.direction = direction;
                }
                self.shown = Shown::List;
                self.at += 1;
            }
            (Shown::Outcome(Ok(_)), Key::Yes) => return Step::Take,
            (Shown::Outcome(_), _) => self.shown = Shown::List,
        }
        Step::Stay
    }

    pub(crate) fn knob(&mut self, clicks: i8, now: Instant) {
        self.changes = self.changes.wrapping_add(1);
        let leap = self.speed.click(now);
        let clicks = i64::from(clicks);
        match self.shown {
            Shown::List => self.at = moved(self.at, clicks, self.entries().len()),
            Shown::Entry => self.turn(clicks, leap),
            Shown::Outcome(_) => {}
        }
    }

    /// The knob has come to rest: on its own page a single click shows its kind.
    pub(crate) fn knob_rests(&mut self, turn: KnobTurn) {
        // Part of a turn that led here says nothing.
        if !matches!(self.shown, Shown::Entry) || self.entry() != Entry::Knob || turn.began < self.opened {
            return;
        }
        if let Some(click) = KnobClick::learned_from(turn.counts) {
            self.draft.build.knob = click;
            self.changes = self.changes.wrapping_add(1);
        }
    }

    /// The encoder has moved.
    pub(crate) const fn turned(&mut self, counts: i64) {
        self.changes = self.changes.wrapping_add(1);
        self.counts = self.counts.saturating_add(counts);
    }

    /// Turns the open entry's value by so many steps.
    fn turn(&mut self, clicks: i64, leap: i64) {
        let steps = clicks * leap;
        let entry = self.entry();
        let (batch, build) = (&mut self.draft.batch, &mut self.draft.build);
        // The step of a short length.
        let small = build.units.calliper_step().nm();
        match entry {
            Entry::Metal => turn_metal(batch, clicks),
            Entry::Temper => {
                let tempers: Vec<Temper, { Temper::ALL.len() }> = batch.metal.tempers().collect();
                batch.temper = along(&tempers, batch.temper, clicks);
            }
            Entry::SizedBy => {
                batch.wire = along(&SizedBy::ALL, SizedBy::of(batch.wire), clicks).nearest(batch.wire);
            }
            Entry::Wire => {
                batch.wire = match batch.wire {
                    WireSize::Gauge(gauge) => WireSize::Gauge(stepped(gauge, clicks)),
                    WireSize::Diameter(at) => WireSize::Diameter(by(at, steps * small, WIRE)),
                };
                // It comes off another spool.
                batch.spool = None;
            }
            Entry::Mandrel => batch.mandrel = by(batch.mandrel, steps * 5 * small, MANDREL),
            Entry::CountIn => batch.make = along(&MAKES, first_of_its_kind(batch.make), clicks),
            Entry::Rings | Entry::Turns | Entry::Length => {
                batch.make = turned_amount(batch.make, steps, steps * 50 * small);
            }
            Entry::Coils => batch.make = turned_coils(batch.make, steps),
            Entry::Kerf => batch.kerf = by(batch.kerf, steps * small, KERF),
            Entry::Cradle => batch.cradle = by(batch.cradle, steps * 50 * small, CRADLE),
            Entry::Tail => {
                batch.tail_quarters = TAIL.hold(i64::from(batch.tail_quarters) + clicks) as u8;
            }
            Entry::Spool => {
                batch.spool = turned_spool(batch.spool, steps * 10 * build.units.spool_step().nm());
            }
            Entry::Pulses => build.pulses = number(build.pulses, steps, PULSES),
            Entry::Shaft => build.shaft = along(&[Shaft::Crank, Shaft::Mandrel], build.shaft, clicks),
            Entry::CrankTeeth => {
                let teeth = number(build.gear.crank_teeth().into(), steps, TEETH) as u16;
                build.gear = Gear::new(teeth, build.gear.mandrel_teeth()).unwrap_or(build.gear);
            }
            Entry::MandrelTeeth => {
                let teeth = number(build.gear.mandrel_teeth().into(), steps, TEETH) as u16;
                build.gear = Gear::new(build.gear.crank_teeth(), teeth).unwrap_or(build.gear);
            }
            Entry::Lead => build.lead = lead(build.lead, 10 * steps),
            Entry::Loudness => build.loudness = along(&Loudness::ALL, build.loudness, clicks),
            Entry::Units => {
                build.units = along(&[Units::Millimetres, Units::Inches], build.units, clicks);
            }
            // Learned from the crank; learned once the knob rests; not set.
            Entry::Direction | Entry::Knob | Entry::Take => {}
        }
    }

    /// What an entry is set to.
    #[must_use]
    pub fn value(&self, entry: Entry) -> Words {
        let Settings { batch, build } = &self.draft;
        let units = build.units;
        match (entry, batch.make) {
            (Entry::Metal, _) => words(format_args!("{}", batch.metal.name())),
            (Entry::Temper, _) => words(format_args!("{}", batch.temper.name())),
            (Entry::SizedBy, _) => words(format_args!("{}", SizedBy::of(batch.wire).name())),
            (Entry::Wire, _) => words(format_args!("{}", Size(batch.wire, units))),
            (Entry::Mandrel, _) => words(format_args!("{}", Long(batch.mandrel, units))),
            (Entry::CountIn, Make::Rings(_)) => words(format_args!("rings")),
            (Entry::CountIn, Make::Turns { .. }) => words(format_args!("turns a coil")),
            (Entry::CountIn, Make::Length { .. }) => words(format_args!("coil length")),
            (Entry::Rings, Make::Rings(rings)) => words(format_args!("{rings}")),
            (Entry::Turns, Make::Turns { tenths, .. }) => {
                words(format_args!("{}.{} turns", tenths / 10, tenths % 10))
            }
            (Entry::Length, Make::Length { length, .. }) => words(format_args!("{}", Long(length, units))),
            (Entry::Coils, Make::Turns { coils, .. } | Make::Length { coils, .. }) => {
                words(format_args!("{coils}"))
            }
            (Entry::Kerf, _) => words(format_args!("{}", Long(batch.kerf, units))),
            (Entry::Cradle, _) => words(format_args!("{}", Long(batch.cradle, units))),
            (Entry::Tail, _) => {
                let quarters = u32::from(batch.tail_quarters);
                let hundredths = ["00", "25", "50", "75"][(quarters % 4) as usize];
                words(format_args!("{}.{} turns", quarters / 4, hundredths))
            }
            (Entry::Spool, _) => match batch.spool {
                None => words(format_args!("not known")),
                Some(left) => words(format_args!("{}", OnSpool(left, units))),
            },
            (Entry::Pulses, _) => words(format_args!("{} pulses", build.pulses)),
            (Entry::Shaft, _) => words(format_args!("{}", shaft_name(build.shaft))),
            (Entry::CrankTeeth, _) => words(format_args!("{}", u32::from(build.gear.crank_teeth()))),
            (Entry::MandrelTeeth, _) => words(format_args!("{}", u32::from(build.gear.mandrel_teeth()))),
            (Entry::Direction, _) => words(format_args!("{}", direction_name(build.direction))),
            (Entry::Lead, _) => match build.lead {
                None => words(format_args!("learned")),
                Some(lead) => words(format_args!("{} ms", lead.as_micros().cast_signed() / 1_000)),
            },
            (Entry::Loudness, _) => words(format_args!("{}", build.loudness.name())),
            (Entry::Units, _) => words(format_args!("{}", units_name(units))),
            (Entry::Knob, _) => words(format_args!("{} counts", u32::from(build.knob.counts()))),
            _ => Words::new(),
        }
    }
}

fn words(arguments: fmt::Arguments<'_>) -> Words {
    let mut words = Words::new();
    // The longest value fits.
    _ = words.write_fmt(arguments);
    words
}

/// How a wire's size is given.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum SizedBy {
    Gauge(GaugeSystem),
    Measure,
}

impl SizedBy {
    const ALL: [Self; 4] = [
        Self::Measure,
        Self::Gauge(GaugeSystem::Awg),
        Self::Gauge(GaugeSystem::Swg),
        Self::Gauge(GaugeSystem::Steel),
    ];

    const fn of(wire: WireSize) -> Self {
        match wire {
            WireSize::Gauge(gauge) => Self::Gauge(gauge.system()),
            WireSize::Diameter(_) => Self::Measure,
        }
    }

    const fn name(self) -> &'static str {
        match self {
            Self::Gauge(GaugeSystem::Awg) => "AWG",
            Self::Gauge(GaugeSystem::Swg) => "SWG",
            Self::Gauge(GaugeSystem::Steel) => "W&M",
            Self::Measure => "measure",
        }
    }

    /// The size that comes nearest to this wire.
    fn nearest(self, wire: WireSize) -> WireSize {
        let diameter = wire.diameter();
        match self {
            Self::Measure => WireSize::Diameter(diameter),
            Self::Gauge(system) => system
                .sizes()
                .filter(|gauge| WIRE.hold(gauge.diameter().nm()) == gauge.diameter().nm())
                .min_by_key(|gauge| gauge.diameter().nm().abs_diff(diameter.nm()))
                .map_or(wire, WireSize::Gauge),
        }
    }
}

/// As many sizes thinner, as far as they are wound by hand.
fn stepped(gauge: Gauge, clicks: i64) -> Gauge {
    let mut at = gauge;
    for _ in 0..clicks.unsigned_abs() {
        let next = if clicks > 0 { at.thinner() } else { at.thicker() };
        match next {
            Some(next) if WIRE.hold(next.diameter().nm()) == next.diameter().nm() => at = next,
            _ => break,
        }
    }
    at
}

/// What [`Entry::CountIn`] offers.
const MAKES: [Make; 3] = [
    Make::Rings(500),
    Make::Turns { tenths: 500, coils: 1 },
    Make::Length { length: Length::from_um(50_000), coils: 1 },
];

fn first_of_its_kind(make: Make) -> Make {
    let kind = core::mem::discriminant(&make);
    MAKES.into_iter().find(|offered| core::mem::discriminant(offered) == kind).unwrap_or(make)
}

const fn shaft_name(shaft: Shaft) -> &'static str {
    match shaft {
        Shaft::Crank => "the crank",
        Shaft::Mandrel => "the mandrel",
    }
}

pub(crate) const fn direction_name(direction: Direction) -> &'static str {
    match direction {
        Direction::Forward => "forward",
        Direction::Reverse => "reverse",
    }
}

const fn units_name(units: Units) -> &'static str {
    match units {
        Units::Millimetres => "millimetres",
        Units::Inches => "inches",
    }
}

/// The reaction time so much later; before nothing comes "learned".
fn lead(lead: Option<Duration>, ms: i64) -> Option<Duration> {
    let now = lead.map_or(-10, |lead| i64::try_from(lead.as_micros() / 1_000).unwrap_or(LEAD.max.into()));
    let to = now + ms;
    (to >= 0).then(|| Duration::from_millis(u32::try_from(LEAD.hold(to)).unwrap_or(0)))
}

/// The one that many places on, held to the ends.
fn along<T: PartialEq + Copy>(all: &[T], now: T, clicks: i64) -> T {
    let at = all.iter().position(|&one| one == now).unwrap_or(0);
    all.get(moved(at, clicks, all.len())).copied().unwrap_or(now)
}

/// A place that many clicks on, of so many places.
fn moved(at: usize, clicks: i64, places: usize) -> usize {
    let last = places.saturating_sub(1) as i64;
    usize::try_from((at as i64 + clicks).clamp(0, last)).unwrap_or(0)
}

fn number(now: u32, steps: i64, limits: Limits) -> u32 {
    // Limits lie within it.
    u32::try_from(limits.hold(i64::from(now) + steps)).unwrap_or(now)
}

/// Takes the metal that is so many further in the list, in the temper of the one before where it comes in that.
fn turn_metal(batch: &mut OwnBatch, clicks: i64) {
    let at = Metal::ALL.iter().position(|metal| metal == batch.metal).unwrap_or(0);
    // A temper that was the only one of the last metal was not chosen.
    let chosen = batch.metal.tempers().count() > 1;
    batch.metal = Metal::ALL.get(moved(at, clicks, Metal::ALL.len())).unwrap_or(batch.metal);
    if !chosen || batch.metal.strength(batch.temper).is_err() {
        batch.temper = batch.metal.softest();
    }
    // It comes off another spool.
    batch.spool = None;
}

/// More rings, longer coils: by `steps`, or by `nm` where it is a length.
fn turned_amount(make: Make, steps: i64, nm: i64) -> Make {
    match make {
        Make::Rings(rings) => Make::Rings(number(rings, steps, RINGS)),
        Make::Turns { tenths, coils } => Make::Turns { tenths: number(tenths, 5 * steps, TENTHS), coils },
        Make::Length { length, coils } => Make::Length { length: by(length, nm, CRADLE), coils },
    }
}

/// More coils.
fn turned_coils(make: Make, steps: i64) -> Make {
    let more = |coils| number(coils, steps, COILS);
    match make {
        Make::Turns { tenths, coils } => Make::Turns { tenths, coils: more(coils) },
        Make::Length { length, coils } => Make::Length { length, coils: more(coils) },
        Make::Rings(_) => make,
    }
}

/// More wire on the spool, by `nm`; at nothing it is not known.
fn turned_spool(spool: Option<Length>, nm: i64) -> Option<Length> {
    let most = i64::from(SPOOL.max) * SPOOL_UNIT.nm();
    let left = spool.map_or(0, Length::nm) + nm;
    (left > 0).then(|| Length::from_nm(left.min(most)))
}

fn by(now: Length, nm: i64, limits: Limits) -> Length {
    Length::from_nm(limits.hold(now.nm() + nm))
}
