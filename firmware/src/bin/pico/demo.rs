//! The one job that the counter is born with: that of the desktop's demo file.

use turntally_core::bench::{Job, Lead};
use turntally_core::coil::{CoilRule, Winding};
use turntally_core::counter::{CountsPerTurn, Direction, Gear, Shaft};
use turntally_core::cue::DEFAULT_LEAD;
use turntally_core::metal::{Metal, Temper};
use turntally_core::plan::BatchRule;
use turntally_core::spring::SpringRatio;
use turntally_core::units::{Length, Micros, Turns};

/// Pulses of the encoder in a revolution of the crank.
pub const PULSES_PER_REV: u32 = 400;

/// 640 rings and 4 % to spare of 1.2 mm soft copper on 4.5 mm, sawn with a kerf of 0.4 mm in a cradle
/// of 70 mm, half a turn of tail. `None` where the figures contradict each other: then the counter
/// starts without a job, and says so.
pub fn job() -> Option<Job> {
    let (wire, mandrel) = (Length::from_um(1_200), Length::from_um(4_500));
    let flow = Metal::find("copper")?.flow(Temper::Soft).ok()?;
    let spring = SpringRatio::estimate(flow, wire, mandrel).ok()?;
    let winding = Winding::new(wire, mandrel, 0.0, Length::from_um(400), spring).ok()?;
    let coil = CoilRule::new(&winding, Turns::from_nano(Turns::ONE / 2));
    let per_turn = CountsPerTurn::new(PULSES_PER_REV, Shaft::Crank, Gear::DIRECT)?;
    Some(Job {
        name: "garden chain".try_into().ok()?,
        rings: (640_u32 * 104).div_ceil(100),
        rule: BatchRule::new(coil, per_turn, Length::from_um(70_000)).ok()?,
        direction: Direction::Forward,
        lead: Lead::Learned(Micros::from_millis(first_lead_ms())),
    })
}

/// Milliseconds of lead before there is anything to learn it from. A test that wants the cue at the very
/// edge of the target patches it to none.
#[unsafe(no_mangle)]
static TURNTALLY_FIRST_LEAD_MS: u32 = (DEFAULT_LEAD.get() / 1_000) as u32;

fn first_lead_ms() -> u32 {
    // SAFETY: a static of this program, read through a valid pointer.
    unsafe { (&raw const TURNTALLY_FIRST_LEAD_MS).read_volatile() }
}
