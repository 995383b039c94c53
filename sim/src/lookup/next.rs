//! Which mandrel to measure a ring on next.

use turntally_core::coil::Winding;
use turntally_core::learned_flow::{LearnedFlow, RingFlow};
use turntally_core::measured::CALLIPER;
use turntally_core::spring::SpringRatio;
use turntally_core::units::Length;

use super::LearnedWire;

/// The mandrels that are reckoned with, in steps of [`STEP`]. Common practice, no source.
const THINNEST: Length = Length::from_um(2_500);
const THICKEST: Length = Length::from_um(12_000);
const STEP: Length = Length::from_um(500);
/// A ring that narrows the bounds by less is not worth a coil. Our own limit.
const WORTH: f64 = 0.1;

/// The mandrel whose ring would narrow the bounds most.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Next {
    /// The mandrel.
    pub mandrel: Length,
    /// The share by which the bounds of the spring ratio would narrow, in the mean over the mandrels from
    /// [`Self::from`] to [`Self::to`].
    pub narrows: f64,
    /// The thinnest mandrel that is reckoned with.
    pub from: Length,
    /// The thickest.
    pub to: Length,
}

impl LearnedWire {
    /// The mandrel to measure a ring on next; nothing where that would hardly narrow the bounds, or where the
    /// rings that were measured do not go together.
    #[must_use]
    pub fn next(&self) -> Option<Next> {
        let flow = self.flow();
        flow.exponent().ok()?;
        let size = self.wire.size;
        let mandrels: Vec<Length> = mandrels()
            .filter(|on| Winding::new(size, *on, 0.0, Length::ZERO, SpringRatio::NONE).is_ok())
            .collect();
        let now = self.width(&flow, &mandrels);
        let mut rings = self.rings.clone();
        let mut best: Option<(Length, f64)> = None;
        for mandrel in &mandrels {
            if self.rings.iter().any(|ring| ring.mandrel() == *mandrel) {
                continue;
            }
            let Some(likely) = self.spring(&flow, *mandrel) else { continue };
            rings.push(RingFlow::new(size, *mandrel, as_read(likely.best(), size, *mandrel), self.flow));
            let width = self.width(&LearnedFlow::new(&rings, self.wire.temper, self.flow), &mandrels);
            rings.pop();
            // Of mandrels that do as well, the first is the thinnest: the least wire.
            if best.is_none_or(|(_, least)| width < least - 1e-9) {
                best = Some((*mandrel, width));
            }
        }
        let (mandrel, then) = best?;
        let narrows = 1.0 - then / now;
        let (from, to) = (*mandrels.first()?, *mandrels.last()?);
        (narrows >= WORTH).then_some(Next { mandrel, narrows, from, to })
    }

    /// How far it opens on a mandrel by what its rings say, or as estimated without any.
    fn spring(&self, flow: &LearnedFlow<'_>, mandrel: Length) -> Option<SpringRatio> {
        if flow.rings().is_empty() {
            return self.estimate(mandrel);
        }
        flow.spring(self.wire.size, mandrel).ok()
    }

    /// How far apart the bounds are, all mandrels together.
    fn width(&self, flow: &LearnedFlow<'_>, mandrels: &[Length]) -> f64 {
        // A mandrel on which it would spring out counts as wide open.
        let width = |on: &Length| self.spring(flow, *on).map_or(1.0, |spring| spring.high() - spring.low());
        mandrels.iter().map(width).sum()
    }
}

fn mandrels() -> impl Iterator<Item = Length> {
    let steps = (THICKEST.nm() - THINNEST.nm()) / STEP.nm();
    (0..=steps).map(|step| Length::from_nm(THINNEST.nm() + step * STEP.nm()))
}

/// A ratio as a caliper would read it.
fn as_read(ratio: f64, wire: Length, mandrel: Length) -> SpringRatio {
    let off = CALLIPER.mm().get() / (wire.mm().get() + mandrel.mm().get());
    let between = SpringRatio::between((ratio - off).max(1.0), ratio, ratio + off);
    between.or_else(|_| SpringRatio::measured(ratio)).unwrap_or(SpringRatio::NONE)
}
