//! Whether a ring can be what it is called: its reading is held against what is known of the metal.

use turntally_core::bounds::Bounds;
use turntally_core::gauge::Tolerance;
use turntally_core::measured::{Measurement, Reading, learn};
use turntally_core::metal::Temper;
use turntally_core::spring::SpringRatio;
use turntally_core::units::Length;

use super::estimate;
use crate::lookup::WireKind;
use crate::words::number::{fine, fixed, given};

/// The inside of a ring whose outside was measured. Outside and wire enter the spring ratio as
/// `k = (OD - d) / (Dm + d)`: a wire thicker than its size by its tolerance t makes both terms wrong, so that the
/// inside is good to the reading's error and 2 t.
///
/// # Errors
/// One line where the ring is smaller than its wire.
pub fn inside_of(outside: Length, wire: Length, within: Length) -> Result<Reading, String> {
    let inside = outside - wire - wire;
    if inside <= Length::ZERO {
        return Err(format!("the outside of a ring is more than twice its wire, {}", wire + wire));
    }
    let tolerance = Tolerance::of(wire).plus_minus;
    Ok(Reading { value: inside, within: within + tolerance + tolerance })
}

/// Whether the ring may be of this wire, wound on this mandrel, of which `known` is the spring ratio.
///
/// # Errors
/// What it looks like instead.
pub fn plausible(
    wire: &WireKind,
    mandrel: Length,
    known: SpringRatio,
    reading: Reading,
) -> Result<(), String> {
    let Some(found) = spring_of(wire.size, mandrel, reading) else { return Ok(()) };
    if meet(found, known) {
        return Ok(());
    }
    let looks_like = if let Some(mixed_up) = mixed_up(wire, mandrel, known, reading) {
        mixed_up.to_owned()
    } else if let Some(temper) = other_temper(wire, mandrel, found) {
        format!("it would fit {temper} wire")
    } else if found.best < known.low() {
        "was the ring closed, or wound on a smaller mandrel?".to_owned()
    } else {
        "was it wound on a larger mandrel, or is it another wire?".to_owned()
    };
    Err(format!(
        "spring ratio {}, where {} {} wire of {} on {} has {} to {}: {looks_like}; --sure keeps it",
        fixed(found.best, 4),
        wire.temper,
        wire.metal,
        fine(wire.size),
        given(mandrel),
        fixed(known.low(), 4),
        fixed(known.high(), 4),
    ))
}

/// What to ask where the reading would fit if it were the other of inside and outside.
pub fn mixed_up(
    wire: &WireKind,
    mandrel: Length,
    known: SpringRatio,
    reading: Reading,
) -> Option<&'static str> {
    let twice = wire.size + wire.size;
    let fits = |value| {
        spring_of(wire.size, mandrel, Reading { value, ..reading }).is_some_and(|found| meet(found, known))
    };
    if fits(reading.value - twice) {
        Some("is this the outside? --outside takes it")
    } else if fits(reading.value + twice) {
        Some("is this the inside? --inside takes it")
    } else {
        None
    }
}

/// A spring ratio that the ring may have is one that is known of the wire.
fn meet(found: Bounds<f64>, known: SpringRatio) -> bool {
    found.low <= known.high() && found.high >= known.low()
}

/// The spring ratio that a ring's inside means; none where no ring has it.
fn spring_of(wire: Length, mandrel: Length, reading: Reading) -> Option<Bounds<f64>> {
    let learned = learn(wire, mandrel, SpringRatio::NONE, &[Measurement::Inside(reading)]).ok()?;
    learned.spring.map(SpringRatio::bounds)
}

/// The temper of the same metal that the ring fits.
fn other_temper(wire: &WireKind, mandrel: Length, found: Bounds<f64>) -> Option<Temper> {
    Temper::ALL.into_iter().filter(|temper| *temper != wire.temper).find(|temper| {
        let other = WireKind { temper: *temper, ..wire.clone() };
        estimate(&other, mandrel).is_some_and(|known| meet(found, known))
    })
}
