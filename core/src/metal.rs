//! Metals: density, stiffness and strength by temper, each figure with its range and its source.
//!
//! Strengths are of wire where a figure for wire was found, else of strip; two makers' "half-hard" may
//! differ by 20 %, which is why each figure is a range. Where a source reads "from memory" or "our
//! estimate", the figure was not looked up: measure a ring, or type your own density, before
//! ordering metal by it.

use core::fmt;
use core::num::NonZeroU16;
use core::str::FromStr;

use crate::bounds::Bounds;
use crate::spring::Flow;
use crate::units::{Density, Length, Stress};

mod sizes;
mod table;

/// A property of a metal: the usual value, the range it is met in, and where that is from.
///
/// # Invariants
/// `low <= value <= high` (tested for every row of the table).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Figure<Q> {
    bounds: Bounds<Q>,
    #[cfg(feature = "sources")]
    source: &'static str,
}

impl<Q: Copy> Figure<Q> {
    #[cfg_attr(not(feature = "sources"), expect(unused_variables, reason = "a chip has no room for it"))]
    const fn new([low, value, high]: [Q; 3], source: &'static str) -> Self {
        Self {
            bounds: Bounds { low, best: value, high },
            #[cfg(feature = "sources")]
            source,
        }
    }

    /// The usual value.
    #[must_use]
    pub const fn value(&self) -> Q {
        self.bounds.best
    }

    /// The lowest that was found published or is remembered.
    #[must_use]
    pub const fn low(&self) -> Q {
        self.bounds.low
    }

    /// The highest that was found published or is remembered.
    #[must_use]
    pub const fn high(&self) -> Q {
        self.bounds.high
    }

    /// Where the figure is from; `from memory` where it was not looked up, `no source` where it is an
    /// estimate.
    #[cfg(feature = "sources")]
    #[must_use]
    pub const fn source(&self) -> &'static str {
        self.source
    }
}

/// The longest name of a metal, in bytes.
pub const NAME_LEN: usize = 24;

/// How far a wire was hardened by drawing after it was last annealed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Temper {
    /// Annealed.
    #[default]
    Soft,
    /// Drawn a little after annealing (about H02).
    HalfHard,
    /// Drawn well down after annealing (about H04).
    Hard,
    /// Drawn as far as the metal bears (about H08).
    Spring,
}

impl Temper {
    /// Every temper, from the softest.
    pub const ALL: [Self; 4] = [Self::Soft, Self::HalfHard, Self::Hard, Self::Spring];

    pub(crate) const fn name(self) -> &'static str {
        match self {
            Self::Soft => "soft",
            Self::HalfHard => "half-hard",
            Self::Hard => "hard",
            Self::Spring => "spring",
        }
    }
}

/// `soft`, `half-hard`, `hard` or `spring`.
impl fmt::Display for Temper {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.name())
    }
}

/// A text that names no temper.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct UnknownTemper;

impl fmt::Display for UnknownTemper {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("unknown temper: soft, half-hard, hard or spring are allowed")
    }
}

impl core::error::Error for UnknownTemper {}

/// Reads `soft`, `half-hard`, `hard` or `spring`, in capitals or not.
impl FromStr for Temper {
    type Err = UnknownTemper;

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        let text = text.trim();
        Self::ALL.into_iter().find(|temper| temper.name().eq_ignore_ascii_case(text)).ok_or(UnknownTemper)
    }
}

/// The metal that a wire is mostly of, or is sold as.
#[cfg(feature = "sources")]
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
#[non_exhaustive]
pub enum Family {
    /// Copper and its alloys.
    Copper,
    /// Silver and its alloys; silver-filled wire, which is sold as such.
    Silver,
    /// Gold and its alloys; gold-filled wire, which is sold as such.
    Gold,
    /// Platinum and palladium.
    PlatinumGroup,
    /// Aluminium and its alloys.
    Aluminium,
    /// Steels.
    Steel,
    /// Titanium and niobium.
    Reactive,
}

#[cfg(feature = "sources")]
impl Family {
    /// Sold by the gram or the troy ounce. Common practice, no source.
    #[must_use]
    pub const fn is_precious(self) -> bool {
        matches!(self, Self::Silver | Self::Gold | Self::PlatinumGroup)
    }
}

/// What a metal withstands in one temper.
///
/// # Invariants
/// The yield figure is nowhere above the tensile one (tested for every row of the table).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Strength {
    yield_strength: Figure<Stress>,
    tensile: Figure<Stress>,
}

/// The strengths of one temper as they are listed, in MPa.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Row {
    yield_strength: Listed<1>,
    tensile: Listed<1>,
}

impl Row {
    const fn strength(&self) -> Strength {
        Strength {
            yield_strength: Figure::new(
                stresses(self.yield_strength.figures()),
                self.yield_strength.source(),
            ),
            tensile: Figure::new(stresses(self.tensile.figures()), self.tensile.source()),
        }
    }
}

/// A figure as it is listed: whole parts, `PER` to the unit, so that a chip has room for all of them. Divided, they
/// are the very numbers that stand in the table: the compiler looks.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Listed<const PER: u16> {
    /// None is zero: so a temper that is not listed takes no word of its own.
    parts: [NonZeroU16; 3],
    #[cfg(feature = "sources")]
    source: &'static str,
}

impl<const PER: u16> Listed<PER> {
    #[cfg_attr(not(feature = "sources"), expect(unused_variables, reason = "a chip has no room for it"))]
    #[allow(clippy::panic, reason = "the table is made while it is compiled")]
    const fn new(figures: [f64; 3], source: &'static str) -> Self {
        let mut parts = [NonZeroU16::MIN; 3];
        let mut at = 0;
        while at < 3 {
            if let Some(part) = NonZeroU16::new((figures[at] * PER as f64 + 0.5) as u16) {
                parts[at] = part;
            }
            let listed = parts[at].get() as f64 / PER as f64;
            assert!(listed.to_bits() == figures[at].to_bits(), "zero, or finer than it is listed");
            at += 1;
        }
        Self {
            parts,
            #[cfg(feature = "sources")]
            source,
        }
    }

    /// Low, usual, high.
    const fn figures(&self) -> [f64; 3] {
        let [low, value, high] = self.parts;
        let per = PER as f64;
        [low.get() as f64 / per, value.get() as f64 / per, high.get() as f64 / per]
    }

    #[cfg(feature = "sources")]
    const fn source(&self) -> &'static str {
        self.source
    }

    /// A chip has no room for it.
    #[cfg(not(feature = "sources"))]
    const fn source(&self) -> &'static str {
        ""
    }
}

const fn stresses([low, value, high]: [f64; 3]) -> [Stress; 3] {
    [Stress::new(low), Stress::new(value), Stress::new(high)]
}

impl Strength {
    /// Yield strength: the stress from which the wire stays bent (0.2 % offset, or 0.5 % extension
    /// where the source measured so).
    #[must_use]
    pub const fn yield_strength(&self) -> Figure<Stress> {
        self.yield_strength
    }

    /// Tensile strength: the most it carries, per original cross-section.
    #[must_use]
    pub const fn tensile(&self) -> Figure<Stress> {
        self.tensile
    }

    /// The same with this tensile strength, and the yield strength in the proportion in which it is listed.
    fn with_tensile(self, tensile: [Stress; 3]) -> Self {
        let scaled = |listed: Stress, of: Stress, to: Stress| Stress::new(listed.mpa() * to.mpa() / of.mpa());
        let (mut yields, mut listed) = (self.yield_strength, self.tensile);
        yields.bounds.low = scaled(yields.low(), listed.low(), tensile[0]);
        yields.bounds.best = scaled(yields.value(), listed.value(), tensile[1]);
        yields.bounds.high = scaled(yields.high(), listed.high(), tensile[2]);
        let [low, best, high] = tensile;
        listed.bounds = Bounds { low, best, high };
        Self { yield_strength: yields, tensile: listed }
    }
}

/// One metal of the built-in list.
///
/// # Examples
/// ```
/// use turntally_core::metal::{Metal, Temper};
/// let brass = Metal::find("c26000").ok_or("not listed")?;
/// assert_eq!(brass.name(), "cartridge-brass");
/// // Olin Brass data sheet for C26000: 8.53 g/cm3.
/// assert_eq!(brass.density().value().g_per_cm3(), 8.53);
/// // Niobium wire is not sold in a spring temper.
/// let niobium = Metal::find("niobium").ok_or("not listed")?;
/// assert!(niobium.strength(Temper::Spring).is_err());
/// # Ok::<(), &str>(())
/// ```
#[derive(Debug)]
pub struct Metal {
    name: &'static str,
    #[cfg(feature = "sources")]
    title: &'static str,
    #[cfg(feature = "sources")]
    family: Family,
    #[cfg(feature = "sources")]
    uns: Option<&'static str>,
    /// Other spellings of the name, for finding only.
    #[cfg(feature = "sources")]
    also: &'static [&'static str],
    /// In thousandths of a g/cm3.
    density: Listed<1_000>,
    /// In tenths of a GPa.
    modulus: Listed<10>,
    /// In tenths.
    hardening: u8,
    /// In the order of [`Temper::ALL`].
    strengths: [Option<Row>; 4],
    /// Tensile strength in spring temper by the wire's diameter, where its standard has a table.
    sizes: &'static [sizes::Size],
}

/// By name: each is listed once.
impl PartialEq for Metal {
    fn eq(&self, other: &Self) -> bool {
        self.name == other.name
    }
}

impl Eq for Metal {}

impl Metal {
    /// Every metal of the list: the copper alloys first, then silver, gold, light metals, steels.
    pub const ALL: &'static [Self] = table::ROWS;
    /// The first of the list: copper.
    pub const FIRST: &'static Self = &table::ROWS[0];

    /// A metal by its name, another spelling of it (`aluminum`, `jewellery`) or its UNS number, in
    /// capitals or not, with blanks for hyphens or not.
    #[cfg(feature = "sources")]
    #[must_use]
    pub fn find(name: &str) -> Option<&'static Self> {
        let name = name.trim();
        Self::ALL.iter().find(|metal| {
            let mut names = [metal.name].into_iter().chain(metal.uns).chain(metal.also.iter().copied());
            names.any(|known| is_same_name(known, name))
        })
    }

    /// Metals that a word may stand for: those that have it in one of their names.
    #[cfg(feature = "sources")]
    pub fn like(word: &str) -> impl Iterator<Item = &'static Self> {
        let wanted = word.trim().as_bytes();
        let has = |name: &str| {
            let mut parts = name.as_bytes().windows(wanted.len().max(1));
            wanted.len() > 2 && parts.any(|part| part.eq_ignore_ascii_case(wanted))
        };
        Self::ALL.iter().filter(move |metal| has(metal.name) || metal.also.iter().any(|name| has(name)))
    }

    /// A metal by its very name.
    #[must_use]
    pub fn named(name: &str) -> Option<&'static Self> {
        Self::ALL.iter().find(|metal| metal.name == name)
    }

    /// Its name: lower case with hyphens.
    #[must_use]
    pub const fn name(&self) -> &'static str {
        self.name
    }

    /// Its name for people, with the composition where that helps.
    #[cfg(feature = "sources")]
    #[must_use]
    pub const fn title(&self) -> &'static str {
        self.title
    }

    /// The family it belongs to.
    #[cfg(feature = "sources")]
    #[must_use]
    pub const fn family(&self) -> Family {
        self.family
    }

    /// Its number in the Unified Numbering System, if it has one.
    #[cfg(feature = "sources")]
    #[must_use]
    pub const fn uns(&self) -> Option<&'static str> {
        self.uns
    }

    /// Its density at room temperature, the same in every temper.
    #[must_use]
    pub const fn density(&self) -> Figure<Density> {
        let [low, value, high] = self.density.figures();
        let figures = [Density::new(low), Density::new(value), Density::new(high)];
        Figure::new(figures, self.density.source())
    }

    /// Its modulus of elasticity in tension, the same in every temper.
    #[must_use]
    pub const fn modulus(&self) -> Figure<Stress> {
        let [low, value, high] = self.modulus.figures();
        Figure::new(stresses([low * 1e3, value * 1e3, high * 1e3]), self.modulus.source())
    }

    /// How strongly it hardens while it is wound: the high bound of the flow stress is the tensile
    /// strength times `1 + hardening * outer fibre strain`. No unit.
    ///
    /// 1.0 for ordinary metals, 1.5 for phosphor bronze, 2.5 for austenitic stainless steel, which
    /// turns partly to martensite as it is bent. Our engineering estimate, **no source**: meant as an
    /// honest bound, high enough that no ring is promised that springs away, not as a material
    /// constant.
    #[must_use]
    pub const fn hardening(&self) -> f64 {
        self.hardening as f64 / 10.0
    }

    /// Its strength in this temper, over wires of any diameter.
    ///
    /// # Errors
    /// [`TemperError`] where the metal is not sold so, or where no figures are known.
    pub fn strength(&self, temper: Temper) -> Result<Strength, TemperError> {
        let known = self.strengths.map(|strength| strength.is_some());
        let row = self.strengths[temper as usize].ok_or(TemperError { metal: self.name, temper, known })?;
        Ok(row.strength())
    }

    /// Its strength in this temper as a wire of this diameter: by the table of its standard, where that has
    /// one, else as over all diameters.
    ///
    /// # Errors
    /// [`TemperError`] as [`Self::strength`].
    pub fn strength_of(&self, temper: Temper, wire: Length) -> Result<Strength, TemperError> {
        let strength = self.strength(temper)?;
        match sizes::Size::of(self.sizes, wire) {
            Some(size) if temper == Temper::Spring => Ok(strength.with_tensile(size.tensile())),
            _ => Ok(strength),
        }
    }

    /// What bending needs to know of a wire of it in this temper: the lowest yield strength, the likely flow
    /// stress, the highest tensile strength.
    ///
    /// The likely flow stress follows what is known of each temper:
    /// - Spring: the usual tensile strength. Published springback of phosphor bronze and of music wire, solved for
    ///   the flow stress, gives the tensile strength within a few parts in 100.
    /// - Soft: the mean of yield and tensile strength, since a bend hardens annealed wire part of the way.
    /// - Half-hard and hard: the same mean, for want of published springback. Being drawn, such wire may well be
    ///   nearer its tensile strength; the bounds hold both.
    ///
    /// Bending depends on the ratio of strength to modulus only, so the modulus's own range widens the
    /// bounds: the low one is scaled to the highest modulus, the high one to the lowest.
    ///
    /// # Errors
    /// [`TemperError`] as [`Self::strength`].
    pub fn flow(&self, temper: Temper, wire: Length) -> Result<Flow, TemperError> {
        let strength = self.strength_of(temper, wire)?;
        let (yield_strength, tensile) = (strength.yield_strength(), strength.tensile());
        let modulus = self.modulus();
        let usual = modulus.value().mpa();
        let best = match temper {
            Temper::Spring => tensile.value().mpa(),
            _ => f64::midpoint(yield_strength.value().mpa(), tensile.value().mpa()),
        };
        Ok(Flow {
            modulus: modulus.value(),
            low: Stress::new(yield_strength.low().mpa() * usual / modulus.high().mpa()),
            best: Stress::new(best),
            high: Stress::new(tensile.high().mpa() * usual / modulus.low().mpa()),
            hardening: self.hardening(),
        })
    }

    /// The softest temper that it is listed in: soft for most, spring for music wire.
    #[must_use]
    pub fn softest(&self) -> Temper {
        self.tempers().next().unwrap_or_default()
    }

    /// The tempers it is listed in, from the softest. There is one at least.
    pub fn tempers(&self) -> impl Iterator<Item = Temper> + Clone + '_ {
        Temper::ALL.into_iter().filter(|temper| self.strengths[*temper as usize].is_some())
    }
}

/// In capitals or not, with blanks for hyphens or not.
#[cfg(feature = "sources")]
fn is_same_name(known: &str, given: &str) -> bool {
    let plain = |byte: u8| if byte == b' ' || byte == b'_' { b'-' } else { byte.to_ascii_lowercase() };
    known.bytes().map(plain).eq(given.bytes().map(plain))
}

/// What bending needs to know of a wire of a metal, listed or not.
///
/// # Errors
/// [`TemperError`] as [`Metal::strength`].
pub fn flow_of(metal: Option<&Metal>, temper: Temper, wire: Length) -> Result<Flow, TemperError> {
    metal.map_or_else(|| Ok(unlisted_flow(temper, wire)), |metal| metal.flow(temper, wire))
}

/// What bending has to reckon with for a metal that is not listed: anything from the least to the most
/// springy of those that are listed in this temper, as a wire of this diameter.
///
/// The strengths are scaled to a common modulus, since bending depends only on their ratio.
fn unlisted_flow(temper: Temper, wire: Length) -> Flow {
    const MODULUS: f64 = 100_000.0;
    let (mut low, mut high, mut hardening) = (f64::INFINITY, 0.0_f64, 0.0_f64);
    for metal in Metal::ALL {
        let Ok(flow) = metal.flow(temper, wire) else { continue };
        let scale = MODULUS / flow.modulus.mpa();
        low = low.min(flow.low.mpa() * scale);
        high = high.max(flow.high.mpa() * scale);
        hardening = hardening.max(flow.hardening);
    }
    Flow {
        modulus: Stress::new(MODULUS),
        low: Stress::new(low),
        // Strengths of metals spread by ratios rather than by differences.
        best: Stress::new(libm::sqrt(low * high)),
        high: Stress::new(high),
        hardening,
    }
}

/// A metal is not listed in the temper asked for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct TemperError {
    metal: &'static str,
    temper: Temper,
    /// In the order of [`Temper::ALL`].
    known: [bool; 4],
}

/// `niobium has no figures for spring: soft, hard are allowed`.
impl fmt::Display for TemperError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} has no figures for {}: ", self.metal, self.temper)?;
        let known = Temper::ALL.into_iter().zip(self.known).filter(|(_, known)| *known);
        for (i, (temper, _)) in known.enumerate() {
            if i > 0 {
                f.write_str(", ")?;
            }
            write!(f, "{temper}")?;
        }
        f.write_str(if self.known.iter().filter(|known| **known).count() == 1 {
            " is allowed"
        } else {
            " are allowed"
        })
    }
}

impl core::error::Error for TemperError {}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "a test that cannot go on should stop")]
mod tests {
    extern crate std;
    #[cfg(feature = "sources")]
    use std::collections::BTreeSet;
    use std::string::ToString;
    use std::vec::Vec;

    use super::*;

    fn ordered(low: f64, value: f64, high: f64) -> bool {
        0.0 < low && low <= value && value <= high
    }

    fn stress(figure: &Figure<Stress>) -> [f64; 3] {
        [figure.low().mpa(), figure.value().mpa(), figure.high().mpa()]
    }

    fn listed(metal: &Metal) -> Vec<Strength> {
        metal.strengths.iter().flatten().map(Row::strength).collect()
    }

    /// Every figure lies within its own range.
    #[test]
    fn figures_lie_in_their_ranges() {
        for metal in Metal::ALL {
            let density = metal.density();
            assert!(
                ordered(density.low().g_per_cm3(), density.value().g_per_cm3(), density.high().g_per_cm3()),
                "{}",
                metal.name
            );
            let strengths = listed(metal).into_iter().flat_map(|s| [s.yield_strength(), s.tensile()]);
            for figure in strengths.chain([metal.modulus()]) {
                let [low, value, high] = stress(&figure);
                assert!(ordered(low, value, high), "{} {figure:?}", metal.name);
            }
            assert!(metal.hardening() >= 1.0, "{}", metal.name);
        }
    }

    /// What is sold as silver, gold, platinum or palladium is precious; nickel silver has none of it.
    #[cfg(feature = "sources")]
    #[test]
    fn precious_metals_are_those_sold_so() {
        let precious = |metal: &Metal| {
            let sold_as = |word: &str| metal.name.split('-').any(|part| part == word);
            ["silver", "gold", "platinum", "palladium"].into_iter().any(sold_as)
                && metal.name != "nickel-silver"
        };
        assert!(Metal::ALL.iter().any(&precious) && !Metal::ALL.iter().all(precious));
        for metal in Metal::ALL {
            assert_eq!(metal.family().is_precious(), precious(metal), "{}", metal.name);
        }
    }

    /// Every figure says where it is from.
    #[cfg(feature = "sources")]
    #[test]
    fn figures_have_sources() {
        for metal in Metal::ALL {
            let strengths = listed(metal).into_iter().flat_map(|s| [s.yield_strength(), s.tensile()]);
            for figure in strengths.chain([metal.modulus()]) {
                assert!(!figure.source.is_empty(), "{}", metal.name);
            }
            assert!(!metal.density.source.is_empty(), "{}", metal.name);
        }
    }

    /// No metal yields above its tensile strength, nor grows weaker as it is drawn harder.
    #[test]
    fn harder_tempers_are_never_weaker() {
        for metal in Metal::ALL {
            let listed = listed(metal);
            for s in &listed {
                for (y, t) in stress(&s.yield_strength()).into_iter().zip(stress(&s.tensile())) {
                    assert!(y <= t, "{} {s:?}", metal.name);
                }
            }
            for pair in listed.windows(2) {
                for of in [Strength::yield_strength, Strength::tensile] {
                    for (softer, harder) in stress(&of(&pair[0])).into_iter().zip(stress(&of(&pair[1]))) {
                        assert!(softer <= harder, "{} {pair:?}", metal.name);
                    }
                }
            }
        }
    }

    /// Thinner wire is never weaker, each row lies within what is listed over all diameters, and what is listed
    /// by diameter is in the order of it.
    #[test]
    fn strength_falls_with_the_diameter() {
        for metal in Metal::ALL.iter().filter(|metal| !metal.sizes.is_empty()) {
            let mut before: Option<Strength> = None;
            for um in (50..6_000).step_by(10) {
                let of = metal.strength_of(Temper::Spring, Length::from_um(um)).unwrap();
                let (tensile, yields) = (stress(&of.tensile()), stress(&of.yield_strength()));
                assert!(
                    ordered(tensile[0], tensile[1], tensile[2]) && ordered(yields[0], yields[1], yields[2])
                );
                for (y, t) in yields.into_iter().zip(tensile) {
                    assert!(y <= t, "{} at {um} um", metal.name);
                }
                if let Some(thinner) = before {
                    for (now, then) in tensile.into_iter().zip(stress(&thinner.tensile())) {
                        assert!(now <= then, "{} at {um} um", metal.name);
                    }
                }
                before = Some(of);
            }
            // Other tempers do not depend on it.
            let hard = metal.strength(Temper::Hard).ok();
            assert_eq!(metal.strength_of(Temper::Hard, Length::from_um(100)).ok(), hard, "{}", metal.name);
        }
    }

    /// Every metal is listed in some temper, and all but music wire soft.
    #[test]
    fn every_metal_has_a_softest_temper() {
        for metal in Metal::ALL {
            assert!(metal.strength(metal.softest()).is_ok(), "{}", metal.name);
            let soft = metal.softest() == Temper::Soft;
            assert_eq!(soft, metal.name != "music-wire", "{}", metal.name);
        }
    }

    /// A name, a spelling or a number finds one metal only, in capitals too.
    #[cfg(feature = "sources")]
    #[test]
    fn each_name_finds_its_own_metal() {
        let mut seen = BTreeSet::new();
        for metal in Metal::ALL {
            for name in [metal.name].into_iter().chain(metal.uns).chain(metal.also.iter().copied()) {
                assert!(seen.insert(name.to_lowercase()), "{name} twice");
                assert_eq!(Metal::find(&name.to_uppercase()).unwrap().name, metal.name);
                assert_eq!(Metal::find(&name.replace('-', " ")).unwrap().name, metal.name);
            }
            assert_eq!(Metal::named(metal.name), Some(metal));
        }
        let silvers = ["fine-silver", "sterling-silver", "silver-germanium-935", "silver-germanium-940"];
        assert!(silvers.into_iter().all(|name| Metal::like(" Silver").any(|metal| metal.name == name)));
        assert!(Metal::like("Silver").all(|metal| metal.name.contains("silver")));
        assert_eq!((Metal::like("").next(), Metal::like("xyz").next()), (None, None));
        assert_eq!(Metal::find("brass"), None);
        assert_eq!(Metal::find(""), None);
    }

    /// A temper that is not listed is refused with those that are.
    #[test]
    fn unlisted_temper_names_the_listed_ones() {
        let niobium = Metal::named("niobium").unwrap();
        assert_eq!(
            niobium.strength(Temper::Spring).unwrap_err().to_string(),
            "niobium has no figures for spring: soft, hard are allowed"
        );
        assert_eq!(niobium.tempers().collect::<Vec<_>>(), [Temper::Soft, Temper::Hard]);
    }

    /// Tempers read back from what they print.
    #[test]
    fn tempers_read_back() {
        for temper in Temper::ALL {
            assert_eq!(temper.to_string().to_uppercase().parse(), Ok(temper));
        }
        assert_eq!("dead soft".parse::<Temper>(), Err(UnknownTemper));
    }
}
