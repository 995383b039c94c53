//! The pages for setting up.

use embedded_graphics::pixelcolor::BinaryColor;
use embedded_graphics::prelude::DrawTarget;

use super::{BOLD, PLAIN, Page, TITLE, counted, fault_words, hundredths, text, to_go};
use crate::bench::{Bench, Fault};
use crate::setup::{Entry, List, Outcome, Reason, SetUp, Shown, direction_name};

/// Rows of a list that are seen at once, and their tops.
const ROWS: [i32; 3] = [12, 25, 38];

pub(super) fn set_up<D: DrawTarget<Color = BinaryColor>>(
    bench: &Bench,
    set_up: &SetUp,
    page: &mut Page<'_, D>,
) -> Result<(), D::Error> {
    match set_up.shown() {
        Shown::List => list(set_up, page),
        Shown::Entry if set_up.entry() == Entry::Direction => direction(bench, set_up, page),
        Shown::Entry => entry(set_up, page),
        Shown::Outcome(Ok(outcome)) => makes(*outcome, page),
        Shown::Outcome(Err(reason)) => cannot(reason, page),
    }
}

fn place(set_up: &SetUp) -> super::Text {
    text(format_args!("{}/{}", set_up.at() + 1, set_up.entries().len()))
}

fn list<D: DrawTarget<Color = BinaryColor>>(set_up: &SetUp, page: &mut Page<'_, D>) -> Result<(), D::Error> {
    let title = match set_up.list() {
        List::Batch => "Set up a batch",
        List::Counter => "Set up counter",
    };
    page.headline(BOLD, title, &place(set_up))?;
    let entries = set_up.entries();
    // The marked one in the middle, but at the ends.
    let first = set_up.at().saturating_sub(1).min(entries.len().saturating_sub(ROWS.len()));
    for ((at, &entry), top) in entries.iter().enumerate().skip(first).zip(ROWS) {
        page.setting(entry.name(), &set_up.value(entry), top, at == set_up.at())?;
    }
    page.keys(Some("leave"), if set_up.entry() == Entry::Take { "use it" } else { "change" })
}

fn entry<D: DrawTarget<Color = BinaryColor>>(set_up: &SetUp, page: &mut Page<'_, D>) -> Result<(), D::Error> {
    let entry = set_up.entry();
    page.headline(BOLD, entry.name(), "turn the knob")?;
    page.rule()?;
    page.left(TITLE, &set_up.value(entry), 30)?;
    page.left(PLAIN, entry.hint(), 44)?;
    page.keys(Some("undo"), "set")
}

/// The direction is taught by the crank.
fn direction<D: DrawTarget<Color = BinaryColor>>(
    bench: &Bench,
    set_up: &SetUp,
    page: &mut Page<'_, D>,
) -> Result<(), D::Error> {
    page.headline(BOLD, Entry::Direction.name(), "turn the crank")?;
    page.rule()?;
    let so_far = text(format_args!("{}: {} turns", Entry::Direction.hint(), hundredths(set_up.turns())));
    let (title, line) = match (bench.dead_channel(), set_up.taught()) {
        (Some(channel), _) => {
            let (title, [_, line]) = fault_words(Fault::Dead(channel));
            (title, text(format_args!("Check {line}")))
        }
        (None, None) => ("One turn on", so_far),
        (None, Some(direction)) => (direction_name(direction), so_far),
    };
    page.left(TITLE, title, 30)?;
    page.left(PLAIN, &line, 44)?;
    page.keys(Some("undo"), if set_up.taught().is_some() { "set" } else { "as it was" })
}

fn makes<D: DrawTarget<Color = BinaryColor>>(
    outcome: Outcome,
    page: &mut Page<'_, D>,
) -> Result<(), D::Error> {
    page.headline(BOLD, "This makes", "")?;
    page.rule()?;
    page.left(TITLE, &counted(outcome.coils, "coil"), 25)?;
    let (turns, rings) = (to_go(outcome.turns.nano()), counted(outcome.rings, "ring"));
    page.left(PLAIN, &text(format_args!("The first: {turns} turns,")), 38)?;
    page.left(PLAIN, &text(format_args!("{rings} guaranteed.")), 48)?;
    page.keys(Some("back"), "use it")
}

fn cannot<D: DrawTarget<Color = BinaryColor>>(
    reason: &Reason,
    page: &mut Page<'_, D>,
) -> Result<(), D::Error> {
    page.headline(BOLD, "This cannot be made", "")?;
    page.rule()?;
    page.left(PLAIN, reason.0, 28)?;
    page.left(PLAIN, &reason.1, 40)?;
    page.keys(None, "back")
}
