//! What rings are made of, as the options of `size` and `chart` give it: metal, temper, density, springback,
//! kerf and gap.

use std::fmt;
use std::ops::RangeInclusive;
use std::str::FromStr;
use std::sync::Arc;

use turntally_core::coil::{MAX_GAP, Winding, WindingError};
use turntally_core::metal::{Metal, Temper, flow_of};
use turntally_core::spring::{MAX_SPRING_RATIO, SpringRatio};
use turntally_core::units::{Density, Length};

use crate::failure::Failure;
use crate::job::{DENSITIES, MAX_METAL, coating_of, unknown_metal};
use crate::lookup::{LearnedMetal, Learning, Lookup, Spool};

/// The options that `size` and `chart` share.
#[derive(Debug, Clone, clap::Args)]
pub struct MaterialArgs {
    /// Temper of the wire: soft, half-hard, hard or spring
    #[arg(long, default_value_t = Temper::Soft, hide_possible_values = true)]
    pub temper: Temper,
    /// Thickness of the wire's coating on one side, such as 0.02mm, up to 1mm: enamel of magnet wire
    #[arg(long, value_name = "LENGTH", default_value = "0mm", value_parser = coating_of, allow_hyphen_values = true)]
    pub coating: Length,
    /// Measured spring ratio: mean diameter of the released coil over that on the mandrel, 1 to 2 [default: as
    /// measured on rings, else estimated from the metal]
    #[arg(long, value_name = "K", value_parser = spring_ratio, allow_hyphen_values = true)]
    pub spring_ratio: Option<SpringRatio>,
    /// Kerf: the width of metal that the saw removes, with its unit; 0mm for pinched or sheared rings
    #[arg(long, value_name = "LENGTH", default_value = "0mm", allow_hyphen_values = true)]
    pub kerf: Length,
    /// Gap between turns, in wire diameters: measured pitch / wire diameter - 1, 0 to 5 [default: as measured
    /// on coils, else 0, a close-wound coil]
    #[arg(long, value_name = "GAP", value_parser = gap, allow_hyphen_values = true)]
    pub gap: Option<f64>,
    /// Density in g/cm3, 0.5 to 25 [default: the listed metal's; needed for a metal that is not listed]
    #[arg(long, value_name = "G_PER_CM3", value_parser = density, allow_hyphen_values = true)]
    pub density: Option<Density>,
}

fn within(text: &str, allowed: RangeInclusive<f64>, what: &str) -> Result<f64, String> {
    let (from, to) = (allowed.start(), allowed.end());
    text.trim()
        .parse()
        .ok()
        .filter(|value| allowed.contains(value))
        .ok_or_else(|| format!("{what}: only a number from {from} to {to} is allowed"))
}

fn spring_ratio(text: &str) -> Result<SpringRatio, String> {
    let ratio = within(text, 1.0..=MAX_SPRING_RATIO, "released over wound diameter")?;
    SpringRatio::measured(ratio).map_err(|error| error.to_string())
}

fn gap(text: &str) -> Result<f64, String> {
    within(text, 0.0..=MAX_GAP, "measured pitch / wire diameter - 1")
}

/// A density as it is written: a number of g/cm3.
pub(crate) fn density(text: &str) -> Result<Density, String> {
    within(text, DENSITIES, "g/cm3 without its unit").map(Density::new)
}

/// A metal in one temper, with its density and how it springs back.
#[derive(Debug, Clone)]
pub struct Material {
    name: String,
    metal: Option<&'static Metal>,
    temper: Temper,
    /// Least, usual, most.
    density: [Density; 3],
    coating: Length,
    measured: Option<SpringRatio>,
    /// What was measured of its wires.
    known: Arc<LearnedMetal>,
    /// What counts before it: a spring ratio, a gap.
    given: (bool, bool),
}

/// Why a wire on a mandrel makes no ring.
#[derive(Debug, Clone, PartialEq)]
pub enum Refusal {
    /// The metal has no figures for the temper.
    Temper(String),
    /// It springs open too far to be a ring.
    Springs(String),
    /// The mandrel, the gap or the kerf does not go with the wire.
    Winding(WindingError),
}

impl Refusal {
    /// The option that would have to change.
    #[must_use]
    pub const fn option(&self) -> &'static str {
        match self {
            Self::Temper(_) | Self::Springs(_) => "--temper",
            Self::Winding(WindingError::MandrelTooThin { .. } | WindingError::TooLarge) => "--mandrel",
            Self::Winding(WindingError::Gap { .. }) => "--gap",
            Self::Winding(WindingError::KerfTooWide { .. }) => "--kerf",
            Self::Winding(_) => "--wire",
        }
    }

    /// What kind of refusal it is, in a few words that hold for every wire and mandrel.
    #[must_use]
    pub const fn kind(&self) -> &'static str {
        match self {
            Self::Temper(_) => "no figures for this metal in this temper",
            Self::Springs(_) => "in this temper the wire may spring open past twice its size",
            Self::Winding(WindingError::MandrelTooThin { .. }) => "the mandrel is thinner than the wire",
            Self::Winding(WindingError::KerfTooWide { .. }) => "the kerf is wider than the ring",
            Self::Winding(_) => "no such winding",
        }
    }
}

impl fmt::Display for Refusal {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Temper(why) | Self::Springs(why) => f.write_str(why),
            Self::Winding(why) => why.fmt(f),
        }
    }
}

impl Material {
    /// The metal `name` as the options say it is, with what is known of its wires, one of which may be on this spool.
    ///
    /// # Errors
    /// One line where it is neither listed nor has a density, or where the name cannot be printed.
    pub fn new(
        name: &str,
        args: &MaterialArgs,
        known: &Lookup,
        spool: Option<&Spool>,
    ) -> Result<Self, Failure> {
        let name = name.trim();
        // What XML cannot hold cannot stand in a chart either.
        let printable = |c: char| !c.is_control() && !matches!(c, '\u{fffe}' | '\u{ffff}');
        if name.is_empty() || name.chars().count() > MAX_METAL || !name.chars().all(printable) {
            return Err(Failure::value(
                "--metal",
                name.escape_debug(),
                format_args!("a name of 1 to {MAX_METAL} printable characters is allowed"),
            ));
        }
        let metal = Metal::find(name);
        let density = match (args.density, metal) {
            (Some(given), _) => [given; 3],
            (None, Some(metal)) => {
                let figure = metal.density();
                [figure.low(), figure.value(), figure.high()]
            }
            (None, None) => return Err(unknown_metal("--metal", name, "--density")),
        };
        Ok(Self {
            known: Arc::new(known.all_learned(name, args.temper, spool)?),
            given: (args.spring_ratio.is_some(), args.gap.is_some()),
            name: metal.map_or(name, |metal| metal.name()).to_owned(),
            metal,
            temper: args.temper,
            density,
            coating: args.coating,
            measured: args.spring_ratio,
        })
    }

    /// Its listed name, or the one that was given.
    #[must_use]
    pub fn name(&self) -> &str {
        &self.name
    }

    /// The built-in metal, if it is one.
    #[must_use]
    pub const fn metal(&self) -> Option<&'static Metal> {
        self.metal
    }

    /// Its temper.
    #[must_use]
    pub const fn temper(&self) -> Temper {
        self.temper
    }

    /// The thickness of its wires' coating; nothing on bare wire.
    #[must_use]
    pub const fn coating(&self) -> Length {
        self.coating
    }

    /// The densities of a winding's wire, as those of [`Self::density`]: the mean of metal and coating.
    #[must_use]
    pub fn density_in(&self, winding: &Winding) -> [Density; 3] {
        let core = winding.wire() - self.coating - self.coating;
        self.density.map(|density| density.enamelled(core, self.coating))
    }

    /// The density of the metal: the least and the most that were published around the usual one in the middle; all
    /// three the same where it was given.
    #[must_use]
    pub const fn density(&self) -> [Density; 3] {
        self.density
    }

    /// What measured rings and coils say of this wire and mandrel, as far as it counts.
    ///
    /// # Errors
    /// [`Refusal::Springs`] where they say that it makes no ring.
    pub fn learned(&self, wire: Length, mandrel: Length) -> Result<Option<Learning>, Refusal> {
        let known = self.known.on(wire, mandrel, self.coating, self.given.0).map_err(Refusal::Springs)?;
        Ok(known.and_then(|known| known.beside(self.given.0, self.given.1)))
    }

    /// The same with this spring ratio for every wire and mandrel.
    #[must_use]
    pub(crate) fn springing(&self, spring: SpringRatio) -> Self {
        Self { measured: Some(spring), ..self.clone() }
    }

    /// The spring ratio was given, not estimated.
    #[must_use]
    pub const fn spring_measured(&self) -> bool {
        self.measured.is_some()
    }

    /// How far a coil of it opens: the measured ratio, or the estimate for this wire and mandrel; a
    /// metal that is not listed is taken to lie anywhere among those that are.
    ///
    /// # Errors
    /// [`Refusal::Temper`], [`Refusal::Springs`].
    pub fn spring(&self, wire: Length, mandrel: Length) -> Result<SpringRatio, Refusal> {
        if let Some(measured) = self.measured {
            return Ok(measured);
        }
        let flow =
            flow_of(self.metal, self.temper, wire).map_err(|error| Refusal::Temper(error.to_string()))?;
        // The metal lies a coating further out than the mandrel, and springs as if it were wound on one so thick.
        let mandrel = mandrel.with_coating(self.coating);
        SpringRatio::estimate(flow, wire, mandrel).map_err(|error| Refusal::Springs(error.to_string()))
    }

    /// Puts a wire of it, whose metal is so thick, on a mandrel: the winding's wire has its coating.
    ///
    /// # Errors
    /// [`Refusal`] where that makes no ring.
    pub fn wind(&self, wire: Length, mandrel: Length, gap: f64, kerf: Length) -> Result<Winding, Refusal> {
        let spring = self.spring(wire, mandrel);
        // What is wrong with the shape is reported first: no temper mends it.
        let outside = wire.with_coating(self.coating);
        let shape = Winding::new(outside, mandrel, gap, kerf, spring.clone().unwrap_or(SpringRatio::NONE));
        match (spring, shape) {
            (Ok(_), shape) => shape.map_err(Refusal::Winding),
            (Err(_), Err(error @ (WindingError::MandrelTooThin { .. } | WindingError::TooLarge))) => {
                Err(Refusal::Winding(error))
            }
            (Err(refusal), _) => Err(refusal),
        }
    }
}

/// Reads `8.5ozt`, `100g` or `12m`: wire by mass or by length.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Stock {
    /// This much wire by mass.
    Mass(turntally_core::units::Grams),
    /// This much wire by length.
    Length(Length),
}

impl FromStr for Stock {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        if let Ok(length) = text.parse() {
            return Ok(Self::Length(length));
        }
        text.parse().map(Self::Mass).map_err(|error| format!("{error}; or a length such as 12m or 40ft"))
    }
}
