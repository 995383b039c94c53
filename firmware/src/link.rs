//! The counter's end of the link to a computer.
//!
//! [`Link`] takes bytes and says what each question needs: nothing but an answer, the app, or the log in the
//! store. A board may do these where it likes: what works out frames and jobs takes milliseconds and
//! belongs nowhere near the tick; [`App::answer`] is quick and belongs there.

use embedded_storage::nor_flash::NorFlash;
use turntally_core::bench::Phase;
use turntally_core::job::Target;
use turntally_core::link::counter::{Question, Server};
use turntally_core::link::frame::{Frame, Tag};
use turntally_core::link::job::{JobBytes, PlannedJob};
use turntally_core::link::{
    Answer, Health, Identity, Made, Refusal, Reply, Request, SettingsBytes, Status, VERSION,
};

use crate::app::App;
use crate::offer::Offer;
use crate::store::guard::Gate;
use crate::store::{FoundEntry, Store};

/// What a question needs.
#[derive(Debug)]
pub enum Need {
    /// Nothing: this is to be sent.
    Send(Frame),
    /// The app: [`App::answer`], and its reply to [`Server::answer`] with this tag.
    App(Tag, Ask),
    /// Entries of the log: as long as [`Link::wanted`] says a number, the store's
    /// [`log_entry`](Store::log_entry) for it is to be given to [`Link::entry`].
    Log,
}

/// What the app is asked.
#[derive(Debug)]
pub enum Ask {
    /// Something that it knows or does at once.
    Plain(Request),
    /// To put an offer to the user.
    Offer(u32, Offer),
}

/// The link, without its wire.
#[derive(Debug, Default)]
pub struct Link {
    server: Server,
}

impl Link {
    /// Takes one byte; what the question that it ends needs.
    pub fn push(&mut self, byte: u8) -> Option<Need> {
        let Question { tag, request } = self.server.push(byte)?;
        let refuse = |refusal| Need::Send(Server::answer(tag, &Reply::Refused(refusal)));
        let put = |ticket, offer: Result<Offer, Refusal>| match offer {
            Ok(offer) => Need::App(tag, Ask::Offer(ticket, offer)),
            Err(refusal) => refuse(refusal),
        };
        Some(match request {
            Err(refusal) => refuse(refusal),
            Ok(Request::Fetch { from, count }) => {
                self.server.fetch(tag, from, count);
                Need::Log
            }
            Ok(Request::OfferJob { ticket, job }) => put(ticket, offer(job)),
            Ok(Request::WriteSettings { ticket, settings }) => {
                put(ticket, settings.read().map(Offer::Settings))
            }
            Ok(request) => Need::App(tag, Ask::Plain(request)),
        })
    }

    /// The number from which on an entry of the log is wanted.
    #[must_use]
    pub fn wanted(&self) -> Option<u32> {
        self.server.wanted()
    }

    /// Takes what the store has there; bytes to be sent.
    pub fn entry(&mut self, found: &FoundEntry) -> Frame {
        self.server.entry(match found {
            Ok(Some((number, bytes))) => Ok(Some((*number, bytes))),
            Ok(None) => Ok(None),
            Err(_) => Err(Refusal::Store),
        })
    }

    /// Takes one byte on a board whose app and store are within reach, and calls `send` with what is to be sent.
    pub fn push_at_once<F: NorFlash, G: Gate>(
        &mut self,
        byte: u8,
        app: &mut App,
        store: &mut Store<F, G>,
        mut send: impl FnMut(&[u8]),
    ) {
        match self.push(byte) {
            None => {}
            Some(Need::Send(frame)) => send(&frame),
            Some(Need::App(tag, ask)) => send(&Server::answer(tag, &app.answer(ask))),
            Some(Need::Log) => {
                while let Some(from) = self.wanted() {
                    send(&self.entry(&store.log_entry(from)));
                }
            }
        }
    }
}

fn offer(planned: JobBytes) -> Result<Offer, Refusal> {
    let job = PlannedJob::from_bytes(&planned)?;
    Ok(Offer::Job { planned, job: job.job()? })
}

impl App {
    /// Answers a computer. Nothing that it asks moves the count or silences a cue: an offer is shown to the
    /// user; all else only asks, or is about the log and the time of day.
    pub fn answer(&mut self, ask: Ask) -> Reply {
        match ask {
            Ask::Offer(ticket, offer) => {
                self.offered(ticket, offer).map_or_else(Reply::Refused, Reply::Answer)
            }
            Ask::Plain(Request::Identify { .. }) => Reply::Identity(Identity {
                version: VERSION,
                firmware: env!("CARGO_PKG_VERSION").try_into().unwrap_or_default(),
                id: self.id,
                pulses_per_rev: self.encoder.pulses_per_rev(),
            }),
            Ask::Plain(Request::Answer { ticket }) => {
                Reply::Answer(self.offers.answer(ticket, self.clock.now))
            }
            Ask::Plain(Request::ReadSettings) => {
                Reply::Settings(SettingsBytes::new(&self.bench().settings_now()))
            }
            Ask::Plain(Request::Status) => Reply::Status(self.status()),
            Ask::Plain(Request::Batch { number }) => {
                let made = self.bench().jobs().made_of(number);
                Reply::Batch(made.map(|(progress, finished)| Made { progress, finished }))
            }
            Ask::Plain(Request::SelfTest) => Reply::Health(self.health()),
            Ask::Plain(Request::Acknowledge { next }) => {
                self.saving.acknowledged(next);
                Reply::Done
            }
            Ask::Plain(Request::SetClock { seconds }) => {
                self.clock.set(seconds);
                Reply::Done
            }
            Ask::Plain(_) => Reply::Refused(Refusal::Unknown),
        }
    }

    fn offered(&mut self, ticket: u32, offer: Offer) -> Result<Answer, Refusal> {
        if let Offer::Job { job, .. } = &offer {
            if !self.bench().counts_as(job) {
                return Err(Refusal::OtherEncoder);
            }
            self.bench().jobs().place_for(job, self.fixed_jobs).ok_or(Refusal::Full)?;
        }
        self.offers.make(ticket, offer, self.clock.now)
    }

    fn status(&self) -> Status {
        let bench = self.bench();
        let job = bench.jobs().job();
        Status {
            // An older computer does not know it, and would understand nothing of the answer.
            phase: match bench.phase() {
                Phase::MeasureRing => Phase::CountRings,
                phase => phase,
            },
            job: job.map(|job| job.name.clone()).unwrap_or_default(),
            rings_wanted: job.map_or(0, |job| match job.target {
                Target::Rings(rings) => rings,
                Target::Coils { .. } => 0,
            }),
            progress: bench.jobs().progress(),
            counts: bench.counts(),
            turns: bench.turns(),
            target: bench.target_turns(),
            rings: bench.rings_now(),
            error_bound: bench.error_bound(),
            faults: bench.faults(),
            turns_per_minute: bench.turns_per_minute(),
            notice: self.view().notice.is_some(),
            coils_left: bench.jobs().coils_left(),
            wire_left: bench.jobs().wire_left(),
            fingerprint: bench.jobs().fingerprint(),
        }
    }

    fn health(&self) -> Health {
        Health {
            saving: self.saving.is_well(),
            dead: self.bench().dead_channel(),
            illegal: self.watch().illegal(),
            samples_lost: self.encoder.has_lost_samples(),
            up_ms: self.clock.now.as_micros() / 1_000,
            clock: self.clock.seconds(),
        }
    }
}
