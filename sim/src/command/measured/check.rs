//! Whether a ring can be what it is called: its reading is held against what is known of the metal.

use turntally_core::gauge::Tolerance;
use turntally_core::measured::{Measurement, Reading, learn};
use turntally_core::metal::Temper;
use turntally_core::spring::SpringRatio;
use turntally_core::units::Length;

use crate::lookup::{MeasuredCoil, WireKind, ring_flow};
use crate::words::number::{fine, fixed, given};

/// The inside of a ring whose outside was measured. Outside and wire enter the spring ratio as
/// `k = (OD - d) / (Dm + d)`: a wire thicker than its size by its tolerance t makes both terms wrong, so that the
/// inside is good to the reading's error and 2 t. Of coated wire, d is over the coating, and the tolerance the metal's.
///
/// # Errors
/// One line where the ring is smaller than its wire.
pub fn inside_of(outside: Length, coil: &MeasuredCoil, within: Length) -> Result<Reading, String> {
    let wire = coil.over_coating();
    let inside = outside - wire - wire;
    if inside <= Length::ZERO {
        return Err(format!("the outside of a ring is more than twice its wire, {}", wire + wire));
    }
    let tolerance = Tolerance::of(coil.wire.size).plus_minus;
    Ok(Reading { value: inside, within: within + tolerance + tolerance })
}

/// Whether the ring may be of this coil, of which `known` is the spring ratio as estimated.
///
/// # Errors
/// What it looks like instead.
pub fn plausible(coil: &MeasuredCoil, known: SpringRatio, reading: Reading) -> Result<(), String> {
    let Some(found) = spring_of(coil, reading).filter(|found| !fits(coil, *found)) else { return Ok(()) };
    let found = found.bounds();
    let looks_like = if let Some(mixed_up) = mixed_up(coil, reading) {
        mixed_up.to_owned()
    } else if let Some(temper) = other_temper(coil, reading) {
        format!("it would fit {temper} wire")
    } else if found.best < known.low() {
        "was the ring closed, or wound on a smaller mandrel?".to_owned()
    } else {
        "was it wound on a larger mandrel, or is it another wire?".to_owned()
    };
    Err(format!(
        "spring ratio {}, where {} {} wire of {} on {} has {} to {}: {looks_like}; --sure keeps it",
        fixed(found.best, 4),
        coil.wire.temper,
        coil.wire.metal,
        fine(coil.wire.size),
        given(coil.mandrel),
        fixed(known.low(), 4),
        fixed(known.high(), 4),
    ))
}

/// What to ask where the reading would fit if it were the other of inside and outside.
pub fn mixed_up(coil: &MeasuredCoil, reading: Reading) -> Option<&'static str> {
    let twice = coil.over_coating() + coil.over_coating();
    let fits = |value| spring_of(coil, Reading { value, ..reading }).is_some_and(|spring| fits(coil, spring));
    if fits(reading.value - twice) {
        Some("is this the outside? --outside takes it")
    } else if fits(reading.value + twice) {
        Some("is this the inside? --inside takes it")
    } else {
        None
    }
}

/// Rings that open so far may be of this metal and temper: judged as it is once they are kept.
fn fits(coil: &MeasuredCoil, spring: SpringRatio) -> bool {
    ring_flow(coil, spring).misfit().is_none()
}

/// The spring ratio that a ring's inside means; none where no ring has it.
fn spring_of(coil: &MeasuredCoil, reading: Reading) -> Option<SpringRatio> {
    let ring = [Measurement::Inside(reading)];
    learn(coil.over_coating(), coil.mandrel, SpringRatio::NONE, &ring).ok()?.spring
}

/// The temper of the same metal that the ring fits.
fn other_temper(coil: &MeasuredCoil, reading: Reading) -> Option<Temper> {
    let spring = spring_of(coil, reading)?;
    Temper::ALL.into_iter().filter(|temper| *temper != coil.wire.temper).find(|temper| {
        let wire = WireKind { temper: *temper, ..coil.wire.clone() };
        // A temper that the metal has no figures for fits anything.
        super::estimate(&MeasuredCoil { wire: wire.clone(), ..coil.clone() }).is_some()
            && fits(&MeasuredCoil { wire, ..coil.clone() }, spring)
    })
}
