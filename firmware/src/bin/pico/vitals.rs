//! What a developer or a test wants to know about the running counter.

use core::cell::Cell;
use core::fmt::{self, Display, Write as _};

use embassy_sync::blocking_mutex::Mutex;
use embassy_sync::blocking_mutex::raw::CriticalSectionRawMutex;
use heapless::String;
use portable_atomic::{AtomicU8, Ordering};
use turntally_core::bench::{ErrorBound, Phase};
use turntally_core::cue::Goal;
use turntally_core::time::Instant;
use turntally_firmware::app::App;

/// What the tick is at, for a probe or an emulator that measures processor time: 0 nothing,
/// 1 decoding samples, 2 the bench with its keys and outputs, 3 copying for the screen.
#[unsafe(no_mangle)]
pub static TURNTALLY_PART: AtomicU8 = AtomicU8::new(0);

/// Says what the tick is at from now on.
pub fn at(part: u8) {
    TURNTALLY_PART.store(part, Ordering::Relaxed);
}

/// The state in one line.
#[derive(Debug, Clone, Copy)]
pub struct Vitals {
    /// Milliseconds since the start.
    ms: u64,
    phase: Phase,
    counts: i64,
    /// Where the coil ends, 0 without one.
    aim: i64,
    rings: u32,
    /// Rings of the batch.
    made: u32,
    error_bound: ErrorBound,
    position: i64,
    illegal: u64,
    /// Words that were lost.
    lost: u64,
    /// The most words that the reader was behind.
    behind: u64,
    /// The longest tick, microseconds.
    tick_us: u64,
    notice: bool,
}

impl Vitals {
    /// Before anything ran.
    const NONE: Self = Self {
        ms: 0,
        phase: Phase::Choose,
        counts: 0,
        aim: 0,
        rings: 0,
        made: 0,
        error_bound: ErrorBound::Within(0),
        position: 0,
        illegal: 0,
        lost: 0,
        behind: 0,
        tick_us: 0,
        notice: false,
    };

    /// Of this app; what the board knows is to be filled in.
    fn of(app: &App) -> Self {
        let bench = app.bench();
        Self {
            phase: bench.phase(),
            counts: bench.counts(),
            aim: bench.goal().map_or(0, Goal::aim),
            rings: bench.rings_now(),
            made: bench.jobs().progress().rings,
            error_bound: bench.error_bound(),
            position: app.watch().decoder().position(),
            illegal: app.watch().illegal(),
            notice: app.view().notice.is_some(),
            ..Self::NONE
        }
    }
}

impl Display for Vitals {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Self {
            ms,
            phase,
            counts,
            aim,
            rings,
            made,
            error_bound,
            position,
            illegal,
            lost,
            behind,
            tick_us,
            ..
        } = self;
        write!(
            f,
            "ms={ms} phase={phase:?} counts={counts} aim={aim} rings={rings} made={made} error_bound="
        )?;
        match error_bound {
            ErrorBound::Within(error_bound) => write!(f, "{error_bound}")?,
            ErrorBound::Unknown => f.write_str("unknown")?,
        }
        write!(f, " position={position} illegal={illegal} lost={lost} behind={behind}")?;
        write!(f, " tick_us={tick_us} notice={}", u32::from(self.notice))
    }
}

static LATEST: Mutex<CriticalSectionRawMutex, Cell<Vitals>> = Mutex::new(Cell::new(Vitals::NONE));

/// Puts down the latest: of this app, and what the board knows beside it.
// Cold: it is not to stand among the code of each millisecond.
#[inline(never)]
pub fn publish(app: &App, now: Instant, lost: u64, behind: u64, tick_us: u64) {
    let ms = now.as_micros() / 1_000;
    let vitals = Vitals { ms, lost, behind, tick_us, ..Vitals::of(app) };
    LATEST.lock(|latest| latest.set(vitals));
}

/// The latest.
fn latest() -> Vitals {
    LATEST.lock(Cell::get)
}

/// The latest as a line.
pub fn line() -> String<256> {
    let mut line = String::new();
    // It fits: the longest line is under 200 bytes.
    _ = writeln!(line, "{}", latest());
    line
}
