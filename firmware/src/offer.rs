//! What a computer offers the user at the counter, and what the user says to it.
//!
//! An offer is shown with no coil on the mandrel, where nothing is about to begin. Keys that go down just
//! after it came up ([`READ_FIRST`]) were meant for what stood there before, and say nothing. Yes counts only once the
//! offer has stood on the panel itself for as long: what was drawn and not sent, nobody has read. An offer that nobody
//! asks about any more is withdrawn: its cable has been pulled.

use turntally_core::bench::{Bench, Phase, READ_FIRST};
use turntally_core::input::Key;
use turntally_core::job::{Job, Target};
use turntally_core::link::job::JobBytes;
use turntally_core::link::{Answer, Refusal};
use turntally_core::settings::Settings;
use turntally_core::time::{Duration, Instant};

use crate::notice::Notice;

/// After this time without a question an offer is withdrawn.
const FORGET: Duration = Duration::from_millis(10_000);

/// What is offered.
#[derive(Debug, Clone)]
#[allow(clippy::large_enum_variant, reason = "there is one of it, and no heap")]
pub enum Offer {
    /// A job.
    Job {
        /// As it came, to be kept.
        planned: JobBytes,
        /// What the bench takes.
        job: Job,
    },
    /// Settings.
    Settings(Settings),
}

#[derive(Debug, Clone)]
struct Waiting {
    ticket: u32,
    offer: Offer,
    heard: Instant,
    shown: Option<Instant>,
}

/// The offer that waits, and the last one's answer.
#[derive(Debug, Clone, Default)]
pub(crate) struct Offers {
    waiting: Option<Waiting>,
    answered: Option<(u32, Answer)>,
}

impl Offers {
    /// Takes an offer; one that waits or was answered already is the same again.
    pub(crate) fn make(&mut self, ticket: u32, offer: Offer, now: Instant) -> Result<Answer, Refusal> {
        match self.answer(ticket, now) {
            Answer::None if self.waiting.is_some() => Err(Refusal::Busy),
            Answer::None => {
                self.waiting = Some(Waiting { ticket, offer, heard: now, shown: None });
                Ok(Answer::Waiting)
            }
            known => Ok(known),
        }
    }

    /// What the user says to this one.
    pub(crate) fn answer(&mut self, ticket: u32, now: Instant) -> Answer {
        match (&mut self.waiting, self.answered) {
            (Some(waiting), _) if waiting.ticket == ticket => {
                waiting.heard = now;
                Answer::Waiting
            }
            (_, Some((answered, answer))) if answered == ticket => answer,
            _ => Answer::None,
        }
    }

    /// To be called every tick: what is to be shown, where that changes. `free`: no message about the
    /// counter itself is on the screen.
    pub(crate) fn show(&mut self, bench: &Bench, free: bool, now: Instant) -> Option<Option<Notice>> {
        let waiting = self.waiting.as_mut()?;
        if now.since(waiting.heard) > FORGET {
            self.waiting = None;
            return Some(None);
        }
        let calm = free && matches!(bench.phase(), Phase::Choose | Phase::Next | Phase::Done);
        match (calm, waiting.shown) {
            (true, None) => {
                waiting.shown = Some(now);
                Some(Some(notice(&waiting.offer, &bench.settings_now())))
            }
            (false, Some(_)) => {
                waiting.shown = None;
                Some(None)
            }
            _ => None,
        }
    }

    /// Takes a key that went down while an offer is shown, which the panel has had since `on_panel`; the offer that is
    /// agreed to. `None` where the key says nothing yet.
    // Cold: it is not to stand among the code of each millisecond.
    #[inline(never)]
    pub(crate) fn key(&mut self, key: Key, now: Instant, on_panel: Option<Instant>) -> Option<Option<Offer>> {
        let shown = self.waiting.as_ref()?.shown?;
        let agreed = key == Key::Yes;
        let read = |since: Instant| now.since(since) >= READ_FIRST;
        // Without a panel an offer can still be declined.
        if !read(shown) || agreed && !on_panel.is_some_and(read) {
            return None;
        }
        let waiting = self.waiting.take()?;
        self.answered = Some((waiting.ticket, if agreed { Answer::Agreed } else { Answer::Declined }));
        Some(agreed.then_some(waiting.offer))
    }

    /// The offer that was agreed to could not be taken.
    pub(crate) fn could_not(&mut self) {
        if let Some((_, answer)) = &mut self.answered {
            *answer = Answer::Declined;
        }
    }
}

// Cold: it is not to stand among the code of each millisecond.
#[inline(never)]
fn notice(offer: &Offer, now: &Settings) -> Notice {
    let advice = ["From the computer.", "Yes: take it. No: leave."];
    match offer {
        Offer::Job { job, .. } => {
            let (Target::Rings(many) | Target::Coils { coils: many, .. }) = job.target;
            Notice::new("New job?", format_args!("{} {}", many, job.name), advice)
        }
        Offer::Settings(Settings { batch, build }) if *batch == now.batch => {
            Notice::new("New settings?", format_args!("The counter: {} pulses", build.pulses), advice)
        }
        Offer::Settings(Settings { batch, build }) => {
            Notice::new("New settings?", format_args!("{}", batch.name(build.units)), advice)
        }
    }
}
