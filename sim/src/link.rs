//! The computer's end of the link to a counter: what it is asked, offered, and what its log holds.

use std::path::PathBuf;
use std::time::{Duration, Instant};

use turntally_core::bench::{ErrorBound, Phase};
use turntally_core::job::Progress;
use turntally_core::link::computer::{Fetcher, Fetching};
use turntally_core::link::job::PlannedJob;
use turntally_core::link::{Answer, FETCH_MAX, Health, Made, Reply, Request, SentEntry, Status};

use crate::failure::Failure;
use crate::job::Job;
use crate::lookup::Spool;
use crate::records::Records;
use crate::records::batch::Batch;
use crate::words::count;
use crate::words::number::{metres, turns};

pub mod port;
#[cfg(unix)]
pub mod serve;
pub mod settings;

use port::{Counter, IDLE_REPLIES, REQUESTS_IN_VAIN};

/// How long the user at the counter is waited for.
const PATIENCE: Duration = Duration::from_secs(300);
/// More entries than any counter can hold: those of 128 bytes in 4 MiB, all the flash of a Pico 2.
const MOST_ENTRIES: u32 = 4 * 1_024 * 1_024 / 128;
/// They take some four minutes at 115,200 baud; a line that loses much may take several times as long.
const LONGEST_FETCH: Duration = Duration::from_secs(1_800);

/// What the counter is doing.
///
/// # Errors
/// As [`Counter::ask`].
pub fn status(counter: &mut Counter) -> Result<Status, Failure> {
    match counter.ask(&Request::Status)? {
        Reply::Status(status) => Ok(status),
        other => Err(port::unexpected(&other)),
    }
}

/// How the counter is.
///
/// # Errors
/// As [`Counter::ask`].
pub fn health(counter: &mut Counter) -> Result<Health, Failure> {
    match counter.ask(&Request::SelfTest)? {
        Reply::Health(health) => Ok(health),
        other => Err(port::unexpected(&other)),
    }
}

/// Whether it saves, and how its encoder is.
pub(crate) fn well_words(health: &Health) -> [String; 2] {
    let saving = if health.saving { "saving OK" } else { "NOT saving: its flash has failed" };
    let signal = match (health.dead, health.illegal) {
        (Some(channel), _) => format!("encoder channel {channel:?} is dead"),
        (None, 0) => "no encoder errors".to_owned(),
        (None, errors) => count(errors, "encoder error"),
    };
    let lost = if health.samples_lost { ", samples lost" } else { "" };
    [saving.to_owned(), signal + lost]
}

/// The job as it is sent, but for the number of its batch.
///
/// # Errors
/// One line where its figures are none that a counter takes.
pub fn planned(job: &Job) -> Result<PlannedJob, Failure> {
    let spring = job.winding.spring();
    let planned = PlannedJob {
        name: job.short_name(),
        rings: job.rings_to_make()?,
        wire: job.winding.wire(),
        mandrel: job.winding.mandrel(),
        gap: job.winding.gap(),
        kerf: job.winding.kerf(),
        spring: [spring.low(), spring.best(), spring.high()],
        tail: job.tail,
        coil_max: job.coil_max,
        shaft: job.shaft,
        gear: (job.gear.crank_teeth(), job.gear.mandrel_teeth()),
        pulses_per_rev: job.pulses_per_rev,
        spool: job.spool.as_ref().map(Spool::on_it),
        batch: 0,
        fingerprint: 0,
    };
    planned.signed().map_err(Failure::new)
}

/// What is put to the user at the counter, who takes it with Yes or does not.
#[derive(Debug)]
pub struct Offer {
    /// The offer itself at first, then the question what the user says to it.
    question: Request,
    ticket: u32,
    until: Instant,
    batch: Option<OfferedBatch>,
}

/// The batch of an offer.
#[derive(Debug)]
struct OfferedBatch {
    number: u32,
    /// What the counter has made of it, where it goes on.
    made: Option<Progress>,
    /// The file that it is noted in.
    records: PathBuf,
}

impl Offer {
    /// An offer under a number of its own.
    #[must_use]
    pub fn new(ticket: u32, offer: Request) -> Self {
        Self { question: offer, ticket, until: Instant::now() + PATIENCE, batch: None }
    }

    /// A job, whose batch is noted in the log's file with its wire, price and spool. The same job goes on with its
    /// batch while the counter has it and has not finished it, unless `new_batch`.
    ///
    /// # Errors
    /// One line where it is planned for another encoder, no counter takes it, or it cannot be noted.
    pub fn job(
        counter: &mut Counter,
        job: &Job,
        records: &mut Records,
        new_batch: bool,
    ) -> Result<Self, Failure> {
        let planned = planned(job)?;
        let has = counter.identity().pulses_per_rev;
        if has != job.pulses_per_rev {
            let why = format_args!("the counter's encoder has {has}: only {has} is allowed");
            return Err(Failure::value("winder.pulses_per_rev", job.pulses_per_rev, why));
        }
        let batch = Batch::of(job, counter.identity().id);
        let before = if new_batch { Vec::new() } else { records.batches_like(&planned, &batch)? };
        let (number, made) = match unfinished(counter, &before)? {
            Some((number, made)) => (number, Some(made)),
            None => (records.add_batch(&planned, &batch)?, None),
        };
        records.note_wire(number, job)?;
        let planned = PlannedJob { batch: number, ..planned };
        let ticket = port::fresh_number();
        let offered = OfferedBatch { number, made, records: records.path().to_owned() };
        let offer = Self::new(ticket, Request::OfferJob { ticket, job: planned.to_bytes() });
        Ok(Self { batch: Some(offered), ..offer })
    }

    /// `batch 7, new`, or how much is made of it.
    #[must_use]
    pub fn batch_words(&self) -> String {
        match &self.batch {
            Some(OfferedBatch { number, made: Some(made), .. }) => {
                format!("batch {number}, going on at {} rings in {} coils", made.rings, made.kept)
            }
            Some(OfferedBatch { number, .. }) => format!("batch {number}, new"),
            None => String::new(),
        }
    }

    /// Puts it to the user, or asks what they say: to be asked again until it is taken. The counter forgets an
    /// offer that is not asked about for ten seconds.
    ///
    /// # Errors
    /// One line where they do not take it, do not answer, or the counter is gone.
    pub fn is_taken(&mut self, counter: &mut Counter) -> Result<bool, Failure> {
        let answer = counter.ask(&self.question)?;
        self.question = Request::Answer { ticket: self.ticket };
        if let Some(OfferedBatch { number, records, .. }) = &self.batch {
            match answer {
                Reply::Answer(Answer::Agreed) => Records::open(records)?.batch_taken(*number)?,
                Reply::Answer(Answer::Declined) | Reply::Refused(_) => {
                    Records::open(records)?.batch_refused(*number)?;
                }
                _ => {}
            }
        }
        match answer {
            Reply::Answer(Answer::Agreed) => Ok(true),
            Reply::Answer(Answer::Declined) => Err(Failure::new("the user at the counter did not take it")),
            Reply::Answer(Answer::None) => Err(Failure::new("the counter has forgotten the offer")),
            Reply::Answer(Answer::Waiting) if Instant::now() < self.until => Ok(false),
            Reply::Answer(Answer::Waiting) => {
                Err(Failure::new("nobody at the counter has answered for five minutes"))
            }
            other => Err(port::unexpected(&other)),
        }
    }
}

/// The first of these batches that the counter has in its list and has not finished, with what is made of it.
fn unfinished(counter: &mut Counter, batches: &[u32]) -> Result<Option<(u32, Progress)>, Failure> {
    for &number in batches {
        match counter.ask(&Request::Batch { number })? {
            Reply::Batch(Some(Made { progress, finished: false })) => return Ok(Some((number, progress))),
            Reply::Batch(_) => {}
            other => return Err(port::unexpected(&other)),
        }
    }
    Ok(None)
}

/// Fetches what is new; how many entries that were.
///
/// # Errors
/// One line for the port or the log; what was fetched until then is kept.
pub fn fetch(counter: &mut Counter, records: &mut Records) -> Result<usize, Failure> {
    let id = counter.identity().id;
    // The newest that is known is asked for again: if it is another one now, or none, the counter's log has
    // begun anew, and everything it has is new.
    let Some((number, known)) = records.newest(id)? else { return fetch_from(counter, records, 0) };
    let mut fetcher = Fetcher::from(number);
    let first = counter.fetch(&mut fetcher)?;
    let same = first.is_some_and(|entry| entry.number > number || entry.bytes.as_slice() == known);
    fetch_from(counter, records, if same { number } else { 0 })
}

fn fetch_from(counter: &mut Counter, records: &mut Records, from: u32) -> Result<usize, Failure> {
    let mut batch = Vec::with_capacity(usize::from(FETCH_MAX));
    let fetched = fetch_all(counter, records, from, &mut batch);
    // However it ended, what has come stays.
    let last = records.add(counter.identity().id, &batch)?;
    fetched.map(|new| new + last)
}

/// Fetches until the counter has no more; `batch` holds what is not added to the records yet.
fn fetch_all(
    counter: &mut Counter,
    records: &mut Records,
    from: u32,
    batch: &mut Vec<SentEntry>,
) -> Result<usize, Failure> {
    let id = counter.identity().id;
    let mut fetcher = Fetcher::from(from);
    let (mut new, mut entries, mut idle, mut in_vain) = (0, 0, 0, 0);
    let begun = Instant::now();
    counter.begin(&fetcher.request())?;
    loop {
        let step = fetcher.take(counter.next_reply()?);
        let finished = step == Fetching::Finished;
        match step {
            Fetching::Entry(entry) => {
                batch.push(entry);
                (entries, idle, in_vain) = (entries + 1, 0, 0);
            }
            Fetching::Wait => idle += 1,
            Fetching::Ask | Fetching::Finished => {
                in_vain += 1;
                new += records.add(id, batch)?;
                batch.clear();
                // Only what is safe on disk is acknowledged.
                match counter.ask(&Request::Acknowledge { next: fetcher.next() })? {
                    Reply::Done => {}
                    other => return Err(port::unexpected(&other)),
                }
                if finished {
                    return Ok(new);
                }
                counter.begin(&fetcher.request())?;
            }
            Fetching::Refused(refusal) => return Err(Failure::new(refusal)),
        }
        if batch.len() >= usize::from(FETCH_MAX) {
            new += records.add(id, batch)?;
            batch.clear();
        }
        if idle >= IDLE_REPLIES || in_vain >= REQUESTS_IN_VAIN {
            return Err(counter.goes_round());
        }
        if entries >= MOST_ENTRIES || begun.elapsed() > LONGEST_FETCH {
            let name = counter.name();
            return Err(Failure::new(format_args!(
                "{name}: the counter has sent {entries} entries in {} s and goes on: more than any counter holds",
                begun.elapsed().as_secs()
            )));
        }
    }
}

/// The name of the chosen job. The counter's text is not ours: nothing in it may move a cursor.
#[must_use]
pub fn job_name(status: &Status) -> String {
    status.job.chars().filter(|letter| !letter.is_control()).collect()
}

/// One line of what a counter is doing.
#[must_use]
pub fn status_words(status: &Status) -> String {
    let phase = match status.phase {
        Phase::Choose => "choosing",
        Phase::SetUp => "setting up",
        Phase::CountRings => "counting rings",
        Phase::MeasureRing => "measuring a ring",
        Phase::Ready => "ready",
        Phase::Winding => "winding",
        Phase::Near => "near",
        Phase::Stop => "STOP",
        Phase::Over => "too far",
        Phase::Paused => "paused",
        Phase::Verdict => "keep it?",
        Phase::Next => "next coil",
        Phase::Done => "done",
        Phase::Fault => "count uncertain",
    };
    let error_bound = match status.error_bound {
        ErrorBound::Within(0) => String::new(),
        ErrorBound::Within(counts) => format!(", within {counts} counts"),
        ErrorBound::Unknown => ", count unknown".to_owned(),
    };
    let wanted = match status.rings_wanted {
        0 => format!("{} coils, {} to go", status.progress.kept, status.coils_left),
        rings => format!("{} of {rings} rings in {} coils", status.progress.rings, status.progress.kept),
    };
    let left =
        status.wire_left.map_or_else(String::new, |left| format!("; {} of wire left", metres(left.mm())));
    let job = job_name(status);
    format!(
        "{job}: {phase}, {} of {} turns, {} rings{error_bound}; {wanted}{left}; {} turns/min{}",
        turns(status.turns.as_f64()),
        turns(status.target.as_f64()),
        status.rings,
        status.turns_per_minute,
        if status.notice { "; a message is on its screen" } else { "" },
    )
}
