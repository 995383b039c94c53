//! What comes of a batch as it is set, or why nothing does.

use core::fmt;

use super::{Words, words};
use crate::coil::WindingError;
use crate::job::{Job, Progress};
use crate::plan::PlanError;
use crate::settings::{CannotMake, Long, Units};
use crate::units::Turns;

/// What a batch will be.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Outcome {
    /// Coils of the batch.
    pub coils: u32,
    /// Turns of the first.
    pub turns: Turns,
    /// Rings that the first makes certain.
    pub rings: u32,
}

/// Why nothing can be made, in two lines of at most 25 characters.
#[derive(Debug, Clone, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Reason(pub &'static str, pub Words);

/// What comes of it.
pub(super) fn outcome(job: Result<Job, CannotMake>) -> Result<Outcome, Reason> {
    let job = job.map_err(|cannot| reason(&cannot))?;
    let counts = job.next_counts(Progress::default());
    Ok(Outcome {
        coils: job.coils_left(Progress::default()),
        turns: job.rule.per_turn().turns(counts).unwrap_or_default(),
        rings: job.rule.guaranteed_rings(counts, 0),
    })
}

fn reason(cannot: &CannotMake) -> Reason {
    let no = |first, second: fmt::Arguments<'_>| Reason(first, words(second));
    match cannot {
        CannotMake::Temper(_) => no("Not listed in this temper:", format_args!("choose another.")),
        CannotMake::Spring(_) => no("The wire springs off:", format_args!("softer, or thinner mandrel")),
        CannotMake::Winding(WindingError::MandrelTooThin { min, .. }) => {
            no("Mandrel too thin for it:", format_args!("at least {}", Long(*min, Units::Millimetres)))
        }
        CannotMake::Winding(WindingError::KerfTooWide { below, .. }) => {
            no("Kerf wider than the ring:", format_args!("below {}", Long(*below, Units::Millimetres)))
        }
        CannotMake::Winding(_) => no("No ring is left of it:", format_args!("check wire and kerf.")),
        CannotMake::Cradle(PlanError::CradleTooShort { min, .. }) => {
            no("No ring fits the cradle:", format_args!("at least {}", Long(*min, Units::Millimetres)))
        }
        CannotMake::CoilTooLong { max } => {
            let tenths = max.nano() / (Turns::ONE / 10);
            no("Longer than the cradle:", format_args!("at most {}.{} turns", tenths / 10, tenths % 10))
        }
        CannotMake::NoRing => no("Too short for one ring:", format_args!("wind more turns.")),
        CannotMake::Encoder => no("Encoder and gear do not", format_args!("make a count.")),
    }
}
