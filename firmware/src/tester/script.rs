//! The whole test.

use core::fmt;

use super::board::Board;
use super::report::{Totals, VERSION};
use super::session::{Broken, Session};

/// How long the test takes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Length {
    /// About half a minute: each check once.
    Short,
    /// About half an hour: the count over and over, the cue a hundred times.
    Full,
}

impl fmt::Display for Length {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Short => "short",
            Self::Full => "full",
        })
    }
}

/// How often and how long each thing is done.
#[derive(Debug, Clone, Copy)]
pub(super) struct Plan {
    /// How often the count is checked in every way.
    pub rounds: u32,
    /// How long the crank rests while the count must not move, in milliseconds.
    pub rest_ms: u32,
    /// Turns of each stretch that is wound by hand.
    pub turns: u32,
    /// Edges of each stretch at full speed.
    pub fast: u32,
    /// How often the crank goes forwards and backwards.
    pub reversals: u32,
    /// How often the cue is measured.
    pub cues: u32,
    /// How long a key is held.
    pub hold_ms: u32,
    /// Clicks of the knob, and as many back.
    pub clicks: u32,
}

impl Length {
    const fn plan(self) -> Plan {
        match self {
            Self::Short => Plan {
                rounds: 1,
                rest_ms: 1_000,
                turns: 1,
                fast: 40_000,
                reversals: 2,
                cues: 2,
                hold_ms: 1_000,
                clicks: 2,
            },
            // Each stretch within what a counter has room for on one coil: it stores the count every eighth of a turn.
            Self::Full => Plan {
                rounds: 30,
                rest_ms: 10_000,
                turns: 10,
                fast: 80_000,
                reversals: 10,
                cues: 100,
                hold_ms: 60_000,
                clicks: 50,
            },
        }
    }
}

/// Runs the test, and reports each check and the end.
pub fn run<B: Board>(board: &mut B, length: Length) -> Totals {
    board.report(format_args!("turntally-tester\t{VERSION}\t{length}"));
    let mut session = Session::new(board);
    // Until every wire is right, no claim can be checked.
    let result = match session.wiring() {
        Ok(true) => session.claims(length.plan()),
        Ok(false) => Ok(()),
        Err(broken) => Err(broken),
    };
    if let Err(broken) = result {
        stopped(&mut session, broken);
    }
    let totals = session.totals;
    board.report(format_args!("end\t{}\t{}", totals.passed, totals.failed));
    totals
}

/// A test that could not go on has failed.
fn stopped<B: Board>(session: &mut Session<'_, B>, broken: Broken) {
    session.check("the test runs to its end", false, format_args!("{broken}"), "every check is made");
}
