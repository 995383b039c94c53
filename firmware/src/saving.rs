//! What is to be stored next, and what the user is shown where that fails.
//!
//! The counter never waits for its flash: it gives the store one item at a time, goes on, and takes the result
//! later. Of the counts that come meanwhile only the newest is stored.

use heapless::Deque;
use turntally_core::bench::Bench;
use turntally_core::bench::log::{EventBytes, LogEvent};
use turntally_core::bench::snapshot::CoilNote;
use turntally_core::job::Progress;
use turntally_core::job_list::Batch;
use turntally_core::job_list::MAX_JOBS;
use turntally_core::link::job::JobBytes;
use turntally_core::settings::Settings;

use crate::notice::Notice;
use crate::store::guard::{FlashError, PROGRAM_SPAN};
use crate::store::{Save, SavedState, StoreError};

/// How far it is with the store.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
enum Store {
    /// There is none, or it has failed: nothing is stored.
    #[default]
    None,
    /// What it holds is not known yet, or it is at work.
    Busy,
    /// It waits for work.
    Idle,
}

/// What is kept, in parts of which each may fail alone: the others go on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Part {
    /// Settings, jobs and batches.
    Records,
    /// The count of the coil on the mandrel.
    Notes,
    /// The log of coils.
    Log,
}

impl Part {
    const fn of(save: &Save) -> Self {
        match save {
            Save::Settings(_) | Save::Batch(..) | Save::Clear | Save::Job(..) | Save::Acknowledged(_) => {
                Self::Records
            }
            Save::Room(_) | Save::Note(_) => Self::Notes,
            Save::LogRoom { .. } | Save::Log(_) => Self::Log,
        }
    }

    /// What the user is shown where it is lost.
    const fn advice(self) -> [&'static str; 2] {
        match self {
            Self::Records => ["Without power the batch", "is lost, and what was set."],
            Self::Notes => ["Counting goes on. Without", "power the count is lost."],
            Self::Log => ["Counting goes on. Coils", "are not written down."],
        }
    }
}

/// Why a part is not kept any more.
#[derive(Debug, Clone, Copy)]
struct Failure {
    why: StoreError,
    reported: bool,
}

/// What has been stored, and so what is to be stored next.
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
    /// The last note of the coil on the mandrel that was given to the store.
    noted: Option<CoilNote>,
    /// The user knows that this coil is not kept.
    reported: bool,
    /// The user knows that the flash took no note of the last coil, and there has been no room for another since.
    worn_reported: bool,
    log: Logging,
    /// The parts that have failed, by their place in [`Part`].
    failed: [Option<Failure>; 3],
    /// A job that the list has since, by its place.
    job: Option<(u8, JobBytes)>,
    /// Nothing is to be stored as long as the bench has this revision, with messages answered or not, and nothing else
    /// comes in here: each millisecond this alone is compared.
    nothing_due: Option<(u32, bool)>,
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
    /// There is no room but where entries stand that were not acknowledged; the user has been warned.
    full: bool,
    /// Entries below this number are safe on a computer, which the store is to know.
    acknowledged: Option<u32>,
}

impl Saving {
    /// There is a store, which will tell what it holds.
    pub(crate) const fn expect(&mut self) {
        self.store = Store::Busy;
    }

    /// Takes what the store holds, and brings the bench back to it.
    pub(crate) fn restore(&mut self, kept: &SavedState, bench: &mut Bench) -> Option<Notice> {
        self.store = Store::Idle;
        self.nothing_due = None;
        if let Some(settings) = kept.settings {
            // The counter may have been set up, and no batch ever.
            let had_batch = kept.batches.get(bench.jobs().len()).is_some_and(Option::is_some);
            if bench.jobs().has_own_batch() || had_batch {
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
            *saved = bench.jobs().batch(job);
        }
        for change in &kept.changes {
            bench.catch_up(change);
        }
        if let Some((note, since)) = &kept.note {
            // A note of a coil that came off is no news.
            _ = bench.resume_coil(note, *since);
        }
        let error = kept.notice?;
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
        Some(Notice::new("Saved: lost", format_args!("{error}"), advice))
    }

    /// What keeps a coil from beginning: its job was planned for another encoder, or something is to be kept
    /// and has no room yet.
    pub(crate) fn keeps_from_beginning(&self, bench: &Bench) -> Option<Notice> {
        if bench.jobs().job().is_some_and(|job| !bench.counts_as(job)) {
            let advice = ["Plan the job for the", "encoder that is set here."];
            return Some(Notice::new("Other encoder", format_args!("Another job, or send anew"), advice));
        }
        let room =
            self.has_failed(Part::Notes) || self.room.is_some_and(|notes| notes >= bench.notes_in_coil());
        let logged = self.has_failed(Part::Log) || self.log.room && self.log.waiting.is_empty();
        let may_begin = self.store == Store::None || self.store == Store::Idle && room && logged;
        (!may_begin).then(one_moment)
    }

    /// Whether what is to be kept is kept.
    pub(crate) fn is_well(&self) -> bool {
        self.store != Store::None && self.failed.iter().all(Option::is_none)
    }

    fn has_failed(&self, part: Part) -> bool {
        self.failed.get(part as usize).is_some_and(Option::is_some)
    }

    /// A part that is not kept any more, and of which the user does not know yet.
    pub(crate) fn news(&mut self) -> Option<Notice> {
        for part in [Part::Records, Part::Notes, Part::Log] {
            if let Some(Some(failure)) = self.failed.get_mut(part as usize)
                && !core::mem::replace(&mut failure.reported, true)
            {
                return Some(not_saved(failure.why, part));
            }
        }
        None
    }

    /// Takes a job that was put at this place of the list.
    pub(crate) fn job(&mut self, place: usize, job: JobBytes) {
        let kept = self.store != Store::None && !self.has_failed(Part::Records);
        if let (true, Ok(place)) = (kept, u8::try_from(place)) {
            self.job = Some((place, job));
            self.nothing_due = None;
        }
    }

    /// Takes something for the log. With no store there is none.
    pub(crate) fn log(&mut self, event: &LogEvent) {
        if self.store != Store::None && !self.has_failed(Part::Log) {
            // There is room: no coil begins before the one before it is written down.
            _ = self.log.waiting.push_back(event.to_bytes());
            self.nothing_due = None;
        }
    }

    /// Entries of the log below this number are safe on a computer.
    pub(crate) const fn acknowledged(&mut self, next: u32) {
        self.log.acknowledged = Some(next);
        self.nothing_due = None;
    }

    /// Whether it is known already that nothing is to be kept now. `answered`: no message waits for the user to read it.
    #[inline]
    pub(crate) fn is_nothing_due(&self, bench: &Bench, answered: bool) -> bool {
        self.nothing_due == Some((bench.revision(), answered))
    }

    /// What is to be kept now.
    // Cold: it is not to stand among the code of each millisecond.
    #[inline(never)]
    pub(crate) fn next(&mut self, bench: &Bench, answered: bool) -> Option<Save> {
        if self.store == Store::Busy {
            return None;
        }
        self.nothing_due = Some((bench.revision(), answered));
        if self.store == Store::None {
            return None;
        }
        let save = match bench.coil_note() {
            Some(note) => self.note_due(note, bench),
            None => self.due_between_coils(bench, answered),
        }?;
        self.nothing_due = None;
        self.store = Store::Busy;
        Some(save)
    }

    fn note_due(&mut self, note: CoilNote, bench: &Bench) -> Option<Save> {
        if self.has_failed(Part::Notes) {
            return None;
        }
        // The coil has begun, and uses its room up.
        self.room = None;
        let due = match (&self.noted, bench.jobs().job()) {
            (Some(before), Some(job)) => note.is_due(before, job.rule.per_turn()),
            _ => true,
        };
        if !due {
            return None;
        }
        if !bench.is_clear_for(PROGRAM_SPAN) {
            // Time alone may change that.
            self.nothing_due = None;
            return None;
        }
        self.noted = Some(note);
        Some(Save::Note(note))
    }

    fn due_between_coils(&mut self, bench: &Bench, answered: bool) -> Option<Save> {
        (self.noted, self.reported) = (None, false);
        if self.spoilt {
            return Some(Save::Clear);
        }
        let notes = bench.notes_in_coil();
        let room_due = !self.has_failed(Part::Notes) && self.room.is_none_or(|room| room < notes);
        let room = room_due.then_some(Save::Room(notes));
        let log = if self.has_failed(Part::Log) { None } else { self.log.due(answered) };
        let log = log.or(self.log.acknowledged.map(Save::Acknowledged));
        // A coil is written down before its batch counts it: whenever the power goes, it is there once.
        if !self.log.waiting.is_empty() {
            return log;
        }
        if self.has_failed(Part::Records) {
            return room.or(log);
        }
        // A job is there before what is made of it.
        if let Some((place, job)) = &self.job {
            return Some(Save::Job(*place, job.clone()));
        }
        if self.settings != Some(*bench.settings()) {
            return Some(Save::Settings(*bench.settings()));
        }
        let unsaved = (0_u8..).zip(&self.batches).find_map(|(job, saved)| {
            let batch = bench.jobs().batch(usize::from(job))?;
            (Some(batch) != *saved).then_some((job, batch))
        });
        match unsaved {
            // A batch that begins anew begins with a coil that the one before had too: its notes must
            // have gone by then.
            Some((_, batch)) if batch.progress == Progress::default() && room.is_some() => room,
            Some((job, batch)) => Some(Save::Batch(job, batch)),
            None => room.or(log),
        }
    }

    /// Takes the result of the last item that was given to the store.
    pub(crate) fn done(&mut self, save: &Save, result: Result<(), StoreError>) -> Option<Notice> {
        self.store = Store::Idle;
        self.nothing_due = None;
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
                (self.room, self.worn_reported) = (Some(*notes), false);
                return None;
            }
            (Save::Note(_), Ok(())) => return None,
            (Save::Job(..), Ok(())) => {
                self.job = None;
                return None;
            }
            (Save::LogRoom { .. } | Save::Log(_) | Save::Acknowledged(_), Ok(())) => {
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
        let part = Part::of(save);
        if matches!(save, Save::Acknowledged(_)) {
            // The store knows it until the power goes.
            self.log.done(save);
        }
        match save {
            // The next note is tried all the same.
            Save::Note(_) if core::mem::replace(&mut self.reported, true) => None,
            Save::Note(_) => {
                self.worn_reported = matches!(error, StoreError::Flash(_));
                Some(not_saved(error, part))
            }
            _ if matches!(error, StoreError::Flash(FlashError::Driver(_)) | StoreError::Newer) => {
                self.store = Store::None;
                Some(not_saved(error, Part::Notes))
            }
            // Once: blank records that spoil at once are worn.
            Save::Settings(_) | Save::Batch(..) | Save::Job(..) | Save::Acknowledged(_)
                if matches!(error, StoreError::Damaged | StoreError::Full) && !self.cleared =>
            {
                self.spoilt = true;
                Some(not_saved(error, part))
            }
            _ if self.has_failed(part) => None,
            _ => {
                self.fail(part, error);
                None
            }
        }
    }

    /// This part is not tried any more.
    fn fail(&mut self, part: Part, why: StoreError) {
        if let Some(failed) = self.failed.get_mut(part as usize) {
            *failed = Some(Failure { why, reported: part == Part::Notes && self.worn_reported });
        }
        match part {
            Part::Records => (self.spoilt, self.job) = (false, None),
            Part::Notes => self.room = None,
            Part::Log => self.log.waiting.clear(),
        }
    }
}

fn not_saved(why: StoreError, part: Part) -> Notice {
    Notice::new("Not saved", format_args!("{why}"), part.advice())
}

impl Logging {
    fn due(&self, answered: bool) -> Option<Save> {
        match (self.room, self.waiting.front()) {
            (true, Some(event)) => Some(Save::Log(event.clone())),
            (false, _) if !self.full => Some(Save::LogRoom { leave: false }),
            // What has been acknowledged makes room without asking.
            (false, _) if answered && self.acknowledged.is_none() => Some(Save::LogRoom { leave: true }),
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
            Save::Acknowledged(_) => (self.acknowledged, self.full) = (None, false),
            _ => {}
        }
    }
}

fn log_full() -> Notice {
    let advice = ["Any key: the oldest go.", "Fetch first to keep them."];
    Notice::new("Log is full", format_args!("{}", StoreError::LogFull), advice)
}

/// What the user is shown who begins a coil too early.
fn one_moment() -> Notice {
    let advice = ["Press Yes again soon,", "with the wire tight."];
    Notice::new("One moment", format_args!("Making room to save."), advice)
}
