//! When the screen is drawn again, and since when the panel has had what was drawn.

use turntally_core::bench::{ErrorBound, Phase, READ_FIRST, State};
use turntally_core::time::{Duration, Instant};
use turntally_core::units::Turns;

use crate::notice::{Notice, Picture, View};

/// Two drawings are at least this far apart.
const REDRAW: Duration = Duration::from_millis(50);
/// Two comparisons with what is drawn are at least this far apart.
const LOOK: Duration = Duration::from_millis(10);
/// A message about the counter, or a fault, that no panel shows can be answered after this time: its sound must end.
const UNSEEN: Duration = Duration::from_millis(2_000);

/// What a drawing depends on: the screen is drawn again only when this changes.
#[derive(Debug, Clone, PartialEq, Eq)]
struct Look {
    phase: Phase,
    /// In whole: an offer that takes the place of another is another picture.
    message: Option<Notice>,
    /// When the fault came up that stands behind the message.
    fault: Option<Instant>,
    turns: Turns,
    rings: u32,
    error_bound: ErrorBound,
    made: (u32, u32, u32),
    choice: u32,
}

impl Look {
    fn of(view: &View) -> Self {
        let bench = &view.bench;
        let progress = bench.jobs().progress();
        let choice = match bench.state() {
            State::Verdict { choice } => *choice as u32,
            State::Choose { pick } => *pick as u32,
            State::SetUp(set_up) => set_up.changes(),
            State::CountRings(entry) => entry.rejects * 2 + u32::from(entry.at_rejects),
            // A micrometre is less than a step of the knob.
            State::MeasureRing(entry) => {
                (entry.inside.nm() / 1_000) as u32 * 4 + entry.asked.map_or(0, |odd| odd as u32 + 1)
            }
            State::Ready | State::Winding { .. } | State::Paused => {
                bench.loudness_shown().map_or(0, |loudness| loudness as u32 + 1)
            }
            _ => 0,
        };
        let job = bench.jobs().chosen() as u32;
        Self {
            phase: bench.phase(),
            message: view.message().cloned(),
            fault: view.bench.fault_since(),
            turns: bench.turns(),
            rings: if let State::CountRings(entry) = bench.state() { entry.rings } else { bench.rings_now() },
            error_bound: bench.error_bound(),
            made: (job, progress.kept, progress.scrapped),
            choice,
        }
    }

    /// Whether the same came up by itself here and there, or nothing did: a message, and behind none a fault.
    fn has_same_question(&self, message: Option<&Notice>, fault: Option<Instant>) -> bool {
        self.message.as_ref() == message && (message.is_some() || self.fault == fault)
    }
}

/// Remembers what is drawn, and since when; and since when the panel has had it.
#[derive(Debug)]
pub(crate) struct Redraw {
    drawn: Option<(Instant, Look)>,
    compared: Instant,
    newest: Picture,
    /// The first drawing with the message or the fault that is drawn now.
    first: Picture,
    /// When that drawing was asked for.
    first_at: Instant,
    /// When the panel first had a drawing with it.
    on_panel: Option<Instant>,
}

impl Redraw {
    pub(crate) const fn new() -> Self {
        Self {
            drawn: None,
            compared: Instant::ZERO,
            newest: Picture::ZERO,
            first: Picture::ZERO,
            first_at: Instant::ZERO,
            on_panel: None,
        }
    }

    /// Whether the view is to be drawn now: it differs from what is drawn, and that has stood for long enough. If so,
    /// the caller draws it.
    pub(crate) fn is_due(&mut self, view: &View, now: Instant) -> bool {
        if self
            .drawn
            .as_ref()
            .is_some_and(|&(at, _)| now.since(at) < REDRAW || now.since(self.compared) < LOOK)
        {
            return false;
        }
        self.compared = now;
        let look = Look::of(view);
        if self.drawn.as_ref().is_some_and(|(_, before)| *before == look) {
            return false;
        }
        self.newest = self.newest.next();
        let has_same_question =
            |(_, before): &(_, Look)| before.has_same_question(look.message.as_ref(), look.fault);
        if !self.drawn.as_ref().is_some_and(has_same_question) {
            (self.first, self.first_at, self.on_panel) = (self.newest, now, None);
        }
        self.drawn = Some((now, look));
        true
    }

    /// The drawing that [`Self::is_due`] asked for last.
    pub(crate) const fn newest(&self) -> Picture {
        self.newest
    }

    /// The panel has had this drawing, whole, since `at`.
    pub(crate) fn panel_has(&mut self, picture: Picture, at: Instant) {
        if picture >= self.first {
            self.on_panel.get_or_insert(at);
        }
    }

    /// The panel does not answer: nobody knows what it shows.
    pub(crate) const fn panel_lost(&mut self) {
        self.on_panel = None;
    }

    /// Whether the message of this view, or its fault, can have been read: the panel has had it for long enough, or has
    /// not shown it for so long that nobody need wait for it.
    pub(crate) fn is_read(&self, view: &View, now: Instant) -> bool {
        self.shown_since(view).is_some_and(|since| now.since(since) >= READ_FIRST)
            || self.has_question_of(view) && now.since(self.first_at) >= UNSEEN
    }

    /// Since when the panel has had the message of this view, or its fault; `None` where it has another, or none.
    pub(crate) fn shown_since(&self, view: &View) -> Option<Instant> {
        self.on_panel.filter(|_| self.has_question_of(view))
    }

    /// What is drawn has the message of this view, or its fault; where nothing was drawn yet there is no other.
    fn has_question_of(&self, view: &View) -> bool {
        let (message, fault) = (view.message(), view.bench.fault_since());
        self.drawn.as_ref().is_none_or(|(_, look)| look.has_same_question(message, fault))
    }
}
