//! What is to be kept next, and what the user is told where that fails.
//!
//! The counter never waits for its flash: it hands out one thing at a time to be kept, goes on, and is
//! told later whether it was. Of the counts that come meanwhile only the newest is kept.

use turntally_core::bench::snapshot::{Batch, CoilNote};
use turntally_core::bench::{Bench, MAX_JOBS, Progress};
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
            bench.set_up(settings);
        }
        self.settings = Some(*bench.settings());
        for (job, (batch, saved)) in kept.batches.iter().zip(&mut self.batches).enumerate() {
            if let Some(batch) = batch {
                bench.resume_batch(job, batch);
            }
            *saved = bench.batch(job);
        }
        if let Some((note, since)) = &kept.note {
            // A note of a coil that came off is no news.
            _ = bench.resume_coil(note, *since);
        }
        let error = kept.trouble?;
        match error {
            StoreError::Damaged => self.spoilt = true,
            StoreError::NoteDamaged => {}
            _ => self.store = Store::None,
        }
        let advice = match error {
            StoreError::Newer => ["Nothing is saved until", "it is up to date again."],
            StoreError::NoteDamaged => ["Throw that coil away, or", "count it by eye."],
            _ => ["What was saved is lost.", "Counting goes on."],
        };
        Some(Trouble::new("Saved: lost", format_args!("{error}"), advice))
    }

    /// Whether a coil may begin: there is room for its notes and nothing is being erased, or nothing is
    /// kept anyway.
    pub(crate) fn may_begin(&self, bench: &Bench) -> bool {
        let room = self.room.is_some_and(|notes| notes >= bench.notes_in_coil());
        self.store == Store::None || self.store == Store::Idle && room
    }

    /// What is to be kept now.
    pub(crate) fn next(&mut self, bench: &Bench) -> Option<Save> {
        if self.store != Store::Idle {
            return None;
        }
        let save = match bench.coil_note() {
            Some(note) => self.note_due(note, bench),
            None => self.due_between_coils(bench),
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

    fn due_between_coils(&mut self, bench: &Bench) -> Option<Save> {
        (self.noted, self.told) = (None, false);
        if self.spoilt {
            return Some(Save::Clear);
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
            None => room,
        }
    }

    /// Takes the news of what was handed out last.
    pub(crate) fn done(&mut self, save: &Save, result: Result<(), StoreError>) -> Option<Trouble> {
        self.store = Store::Idle;
        let error = match (save, result) {
            (_, Err(error)) => error,
            (Save::Clear, Ok(())) => {
                (self.spoilt, self.cleared) = (false, true);
                // Settings and batches are still there, and are written anew.
                self.settings = None;
                (self.batches, self.room) = ([None; MAX_JOBS], None);
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
        };
        match save {
            // The next note is tried all the same.
            Save::Note(_) if core::mem::replace(&mut self.told, true) => return None,
            Save::Note(_) => {}
            // Once: blank records that spoil at once are worn.
            Save::Settings(_) | Save::Batch(..) | Save::Room(_)
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

/// What the user is told who begins a coil too early.
pub(crate) fn one_moment() -> Trouble {
    let advice = ["Press Yes again soon,", "with the wire tight."];
    Trouble::new("One moment", format_args!("Making room to save."), advice)
}
