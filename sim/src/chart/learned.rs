//! What a chart says of a wire whose rings were measured on other mandrels: a line for all of its cells.

use turntally_core::gauge::WireSize;

use super::{Cell, Made};
use crate::words;
use crate::words::number::fixed;

/// The line for a wire, of whose cells some have a spring ratio that was learned on other mandrels.
pub(super) fn line<'a>(wire: WireSize, cells: impl Iterator<Item = &'a Cell>) -> Option<String> {
    let is_carried = |made: &&Made| made.learning.as_ref().is_some_and(|learning| learning.carried.is_some());
    let made: Vec<&Made> = cells.flatten().filter(is_carried).collect();
    let learning = made.first()?.learning.as_ref()?;
    let low = made.iter().map(|made| made.spring.low).fold(f64::INFINITY, f64::min);
    let high = made.iter().map(|made| made.spring.high).fold(0.0, f64::max);
    let misfit =
        learning.misfit().map_or_else(String::new, |misfit| format!("; the estimate counts too: {misfit}"));
    Some(format!(
        "{} on {}: spring ratio {}, bounds {} to {}{misfit}",
        words::wire(wire),
        if made.len() == 1 { "another mandrel" } else { "other mandrels" },
        learning.springs_from(),
        fixed(low, 3),
        fixed(high, 3),
    ))
}
