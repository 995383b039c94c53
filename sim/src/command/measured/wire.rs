//! What the measured rings of a wire say of its other mandrels, and which mandrel to measure next.

use std::fmt::Write as _;

use serde_json::{Value, json};

use crate::failure::Failure;
use crate::lookup::{LearnedWire, Measured, Next};
use crate::words::number::{fixed, given};
use crate::words::series;

/// Everything that was measured of one wire, in words.
pub(super) fn words(of_wire: &[Measured]) -> Result<String, Failure> {
    let known = LearnedWire::new(of_wire)?;
    let spool = of_wire.first().and_then(|one| one.coil.spool.as_ref());
    let wire = super::wire_words(known.wire(), spool);
    let from = match known.ring_count() {
        0 => "estimated, since the inside of no ring was measured".to_owned(),
        _ => format!("learned from {}", known.rings_words()),
    };
    let mut text = format!("{wire} on any other mandrel: {from}\n");
    if let Some(misfit) = known.misfit() {
        _ = writeln!(text, "  {misfit}");
        let tempers: Vec<String> = known.fitting_tempers().iter().map(ToString::to_string).collect();
        if !tempers.is_empty() {
            _ = writeln!(text, "  they would fit {} wire", series(&tempers, "or"));
        }
        text.push_str("  until then the bounds take in both the rings and the estimate\n");
        return Ok(text);
    }
    match known.next() {
        Some(Next { mandrel, narrows, from, to }) => {
            _ = writeln!(
                text,
                "  measure next: a ring on {}, which narrows the bounds on mandrels of {} to {} by about {} %",
                given(mandrel),
                given(from),
                given(to),
                fixed(narrows * 100.0, 0)
            );
        }
        None => text.push_str("  a ring on one more mandrel would hardly narrow the bounds\n"),
    }
    Ok(text)
}

/// The same as JSON.
pub(super) fn json_of(of_wire: &[Measured]) -> Result<Value, Failure> {
    let known = LearnedWire::new(of_wire)?;
    let wire = known.wire();
    let exponent = known.flow().exponent();
    let next = known.next();
    let mandrels: Vec<f64> = known.ring_mandrels().iter().map(|mandrel| mandrel.mm().get()).collect();
    Ok(json!({
        "metal": wire.metal,
        "temper": wire.temper.to_string(),
        "wire_diameter_mm": wire.size.mm().get(),
        "spool": of_wire.first().and_then(|one| one.coil.spool.as_ref()),
        "rings": known.ring_count(),
        "ring_mandrels_mm": mandrels,
        "hardening_exponent_low": exponent.ok().map(|exponent| exponent.low),
        "hardening_exponent_high": exponent.ok().map(|exponent| exponent.high),
        "misfit": known.misfit().map(|misfit| misfit.to_string()),
        "fitting_tempers": exponent.is_err().then(|| {
            known.fitting_tempers().iter().map(ToString::to_string).collect::<Vec<_>>()
        }),
        "next_mandrel_mm": next.map(|next| next.mandrel.mm().get()),
        "next_narrows_percent": next.map(|next| next.narrows * 100.0),
    }))
}
