//! What is to be kept next, and what the user is told where that fails.
//!
//! The counter never waits for its flash: it hands out one thing at a time to be kept, goes on, and is
//! told later whether it was. Of the counts that come meanwhile only the newest is kept.

use heapless::Deque;
use turntally_core::bench::log::{EventBytes, LogEvent};
use turntally_core::bench::snapshot::{Batch, CoilNote};
use turntally_core::bench::{Bench, MAX_JOBS, Progress};
use turntally_core::link::job::JobBytes;
use turntally_core::settings::Settings;

use crate::store::guard::PROGRAM_SPAN;
use crate::store::{Kept, Save, StoreError};
use crate::trouble::Trouble;

/// How far it is with the store.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
enum Store {
    /// There is none, or it has failed: nothing is kept.
    #[default]
    None,
    /// Nobody has told yet what it holds, or it is at work.
    Busy,
    /// It waits for work.
    Idle,
}

/// What has been kept, so that what has not can be handed out.
#[derive(Debug, Clone, Default)]
pub(crate) struct Saving {
    store: Store,
    /// The records cannot be read and are to be made blank.
    spoilt: bool,
    /// They have been, since the start.
    cleared: bool,
    /// None where nothing was set yet.
    settings: Option<Settings>,
    batches: [Option<Batch>; MAX_JOBS],
    /// Notes of the next coil for which there is room.
    room: Option<u32>,
    /// The note of the coil on the mandrel that was handed out last.
    noted: Option<CoilNote>,
    /// The user knows that this coil is not kept.
    told: bool,
    log: Logging,
    /// A job that the list has since, by its place.
    job: Option<(u8, JobBytes)>,
}

/// What goes into the log.
#[derive(Debug, Clone, Default)]
struct Logging {
    /// A coil that came off, and what was entered since: it is written down before the next one begins.
    waiting: Deque<EventBytes, 4>,
    /// There is room for the next entry.
    room: bool,
    /// The entry that waits has been tried, and a fresh segment is to be tried for it.
    tried: bool,
    /// There is no room but where entries stand that were not fetched; the user has been told.
    full: bool,
    /// Entries below this number are safe on a computer, which the store is to know.
    fetched: Option<u32>,
}

impl Saving {
    /// There is a store, which will tell what it holds.
    pub(crate) const fn expect(&mut self) {
        self.store = Store::Busy;
    }

    /// Takes what the store holds, and brings the bench back to it.
    pub(crate) fn restore(&mut self, kept: &Kept, bench: &mut Bench) -> Option<Trouble> {
        self.store = Store::Idle;
        if let Some(settings) = kept.settings {
            // The counter may have been set up, and no batch ever.
            let had_batch = kept.batches.get(bench.jobs().len()).is_some_and(Option::is_some);
            if bench.has_own_batch() || had_batch {
                bench.set_up(settings);
            } else {
                bench.set_up_counter(settings);
            }
        }
        self.settings = Some(*bench.settings());
        for (job, (batch, saved)) in kept.batches.iter().zip(&mut self.batches).enumerate() {
            if let Some(batch) = batch {
                bench.resume_batch(job, batch);
            }
            *saved = bench.batch(job);
        }
        for change in &kept.changes {
            bench.catch_up(change);
        }
        if let Some((note, since)) = &kept.note {
            // A note of a coil that came off is no news.
            _ = bench.resume_coil(note, *since);
        }
        let error = kept.trouble?;
        match error {
            StoreError::Damaged => self.spoilt = true,
            StoreError::NoteDamaged => {}
            _ => {
                self.store = Store::None;
                self.job = None;
                self.log.waiting.clear();
            }
        }
        let advice = match error {
            StoreError::Newer => ["Nothing is saved until", "it is up to date again."],
            StoreError::NoteDamaged => ["Throw that coil away, or", "count it by eye."],
            _ => ["What was saved is lost.", "Counting goes on."],
        };
        Some(Trouble::new("Saved: lost", format_args!("{error}"), advice))
    }

    /// What keeps a coil from beginning: its job was planned for another encoder, or something is to be kept
    /// and has no room yet.
    pub(crate) fn keeps_from_beginning(&self, bench: &Bench) -> Option<Trouble> {
        if bench.job().is_some_and(|(_, job)| !bench.counts_as(job)) {
            let advice = ["Plan the job for the", "encoder that is set here."];
            return Some(Trouble::new("Other encoder", format_args!("Another job, or send anew"), advice));
        }
        let room = self.room.is_some_and(|notes| notes >= bench.notes_in_coil());
        let logged = self.log.room && self.log.waiting.is_empty();
        let may_begin = self.store == Store::None || self.store == Store::Idle && room && logged;
        (!may_begin).then(one_moment)
    }

    /// Whether what is to be kept is kept.
    pub(crate) fn is_well(&self) -> bool {
        self.store != Store::None
    }

    /// Takes a job that was put at this place of the list.
    pub(crate) fn job(&mut self, place: usize, job: JobBytes) {
        if let (true, Ok(place)) = (self.is_well(), u8::try_from(place)) {
            self.job = Some((place, job));
        }
    }

    /// Takes something for the log. With no store there is none.
    pub(crate) fn log(&mut self, event: &LogEvent) {
        if self.store != Store::None {
            // There is room: no coil begins before the one before it is written down.
            _ = self.log.waiting.push_back(event.to_bytes());
        }
    }

    /// Entries of the log below this number are safe on a computer.
    pub(crate) const fn fetched(&mut self, next: u32) {
        self.log.fetched = Some(next);
    }

    /// What is to be kept now. `answered`: no message waits for the user to read it.
    #[inline(never)] // As a part of its caller 148 bytes more.
    pub(crate) fn next(&mut self, bench: &Bench, answered: bool) -> Option<Save> {
        if self.store != Store::Idle {
            return None;
        }
        let save = match bench.coil_note() {
            Some(note) => self.note_due(note, bench),
            None => self.due_between_coils(bench, answered),
        }?;
        self.store = Store::Busy;
        Some(save)
    }

    fn note_due(&mut self, note: CoilNote, bench: &Bench) -> Option<Save> {
        // The coil has begun, and uses its room up.
        self.room = None;
        let due = match (&self.noted, bench.job()) {
            (Some(before), Some((_, job))) => note.is_due(before, job.rule.per_turn()),
            _ => true,
        };
        if !due || !bench.is_clear_for(PROGRAM_SPAN) {
            return None;
        }
        self.noted = Some(note);
        Some(Save::Note(note))
    }

    #[inline(never)] // As a part of its caller 304 bytes more.
    fn due_between_coils(&mut self, bench: &Bench, answered: bool) -> Option<Save> {
        (self.noted, self.told) = (None, false);
        if self.spoilt {
            return Some(Save::Clear);
        }
        let waiting = self.log.due(answered);
        // A coil is written down before its batch counts it: whenever the power goes, it is there once.
        if !self.log.waiting.is_empty() {
            return waiting;
        }
        // A job is there before what is made of it.
        if let Some((place, job)) = &self.job {
            return Some(Save::Job(*place, job.clone()));
        }
        if self.settings != Some(*bench.settings()) {
            return Some(Save::Settings(*bench.settings()));
        }
        let unsaved = (0_u8..).zip(&self.batches).find_map(|(job, saved)| {
            let batch = bench.batch(usize::from(job))?;
            (Some(batch) != *saved).then_some((job, batch))
        });
        let notes = bench.notes_in_coil();
        let room = self.room.is_none_or(|room| room < notes).then_some(Save::Room(notes));
        match unsaved {
            // A batch that begins anew begins with a coil that the one before had too: its notes must
            // have gone by then.
            Some((_, batch)) if batch.progress == Progress::default() && room.is_some() => room,
            Some((job, batch)) => Some(Save::Batch(job, batch)),
            None => room.or(waiting),
        }
    }

    /// Takes the news of what was handed out last.
    pub(crate) fn done(&mut self, save: &Save, result: Result<(), StoreError>) -> Option<Trouble> {
        self.store = Store::Idle;
        let error = match (save, result) {
            (Save::Clear, Ok(())) => {
                (self.spoilt, self.cleared) = (false, true);
                // Settings and batches are still there, and are written anew.
                self.settings = None;
                (self.batches, self.room, self.log.room) = ([None; MAX_JOBS], None, false);
                return None;
            }
            (Save::Settings(settings), Ok(())) => {
                self.settings = Some(*settings);
                return None;
            }
            (Save::Batch(job, batch), Ok(())) => {
                if let Some(saved) = self.batches.get_mut(usize::from(*job)) {
                    *saved = Some(*batch);
                }
                return None;
            }
            (Save::Room(notes), Ok(())) => {
                self.room = Some(*notes);
                return None;
            }
            (Save::Note(_), Ok(())) => return None,
            (Save::Job(..), Ok(())) => {
                self.job = None;
                return None;
            }
            (Save::LogRoom { .. } | Save::Log(_) | Save::Fetched(_), Ok(())) => {
                self.log.done(save);
                return None;
            }
            (Save::LogRoom { .. }, Err(StoreError::LogFull)) => {
                self.log.full = true;
                return Some(log_full());
            }
            (Save::Log(_), Err(_)) if !core::mem::replace(&mut self.log.tried, true) => {
                self.log.room = false;
                return None;
            }
            (_, Err(error)) => error,
        };
        match save {
            // The next note is tried all the same.
            Save::Note(_) if core::mem::replace(&mut self.told, true) => return None,
            Save::Note(_) => {}
            // Once: blank records that spoil at once are worn.
            Save::Settings(_)
            | Save::Batch(..)
            | Save::Room(_)
            | Save::LogRoom { .. }
            | Save::Log(_)
            | Save::Fetched(_)
            | Save::Job(..)
                if matches!(error, StoreError::Damaged | StoreError::Full) && !self.cleared =>
            {
                self.spoilt = true;
            }
            _ => self.store = Store::None,
        }
        let advice = ["Counting goes on. Without", "power the count is lost."];
        Some(Trouble::new("Not saved", format_args!("{error}"), advice))
    }
}

impl Logging {
    fn due(&self, answered: bool) -> Option<Save> {
        match (self.room, self.waiting.front(), self.fetched) {
            (true, Some(event), _) => Some(Save::Log(event.clone())),
            (false, ..) if !self.full => Some(Save::LogRoom { leave: false }),
            (.., Some(next)) => Some(Save::Fetched(next)),
            (false, ..) if answered => Some(Save::LogRoom { leave: true }),
            _ => None,
        }
    }

    fn done(&mut self, save: &Save) {
        match save {
            Save::LogRoom { .. } => (self.room, self.full) = (true, false),
            Save::Log(_) => {
                self.waiting.pop_front();
                (self.room, self.tried) = (false, false);
            }
            // That may have made room: it is looked for anew.
            Save::Fetched(_) => (self.fetched, self.full) = (None, false),
            _ => {}
        }
    }
}

fn log_full() -> Trouble {
    let advice = ["Any key: the oldest go.", "Fetch first to keep them."];
    Trouble::new("Log is full", format_args!("{}", StoreError::LogFull), advice)
}

/// What the user is told who begins a coil too early.
fn one_moment() -> Trouble {
    let advice = ["Press Yes again soon,", "with the wire tight."];
    Trouble::new("One moment", format_args!("Making room to save."), advice)
}
