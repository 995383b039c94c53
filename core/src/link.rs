//! The link between a counter and a computer: the messages, the frames they travel in, and both ends.
//!
//! The computer asks, the counter answers; the counter never speaks first. Each question has a tag that
//! its answer repeats, so that a late answer is never taken for another question's, and a question may be
//! asked again whenever its answer got lost.
//!
//! A message is postcard, with its tag before it and a CRC behind, in a COBS frame that ends in a zero
//! ([`frame`]). The order of the variants and of the fields is the form of the wire: new ones come last, and
//! what is behind the known fields is ignored. A question that is not understood is answered with
//! [`Refusal::Unknown`], and changes nothing.
//!
//! Nothing that is received moves a count or silences a cue: what would change how the counter counts
//! (a job, the settings) is put to the user, who agrees with Yes or does not, while no coil is on the
//! mandrel. Until then the computer asks again and again ([`Request::Answer`]).
//!
//! Nothing here does input or output, and no length that is received is believed: [`counter::Server`] and
//! [`computer::Client`] take bytes and return bytes.

use heapless::{String, Vec};
use serde::{Deserialize, Serialize};

use crate::bench::log::ENTRY_LEN;
use crate::bench::{ErrorBound, Faults, Phase};
use crate::job::{NAME_LEN, Progress};
use crate::settings::Settings;
use crate::signal::Channel;
use crate::units::{Length, Turns};

pub mod computer;
pub mod counter;
pub mod frame;
pub mod job;

use job::JobBytes;

/// The form of the link. Ends of different forms talk as long as both know the messages.
pub const VERSION: u16 = 2;
/// The longest settings, in bytes.
pub const SETTINGS_LEN: usize = 128;
/// The longest name of a firmware's version, in bytes.
pub const FIRMWARE_LEN: usize = 16;
/// The most entries that one question fetches.
pub const FETCH_MAX: u8 = 64;

/// What a computer asks.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub enum Request {
    /// Who are you?
    Identify {
        /// [`VERSION`] of the computer.
        version: u16,
    },
    /// The settings?
    ReadSettings,
    /// Take these settings, if the user agrees.
    WriteSettings {
        /// Chosen anew for each offer: the same offer may arrive twice.
        ticket: u32,
        /// The settings.
        settings: SettingsBytes,
    },
    /// Take this job, if the user agrees.
    OfferJob {
        /// As that of the settings.
        ticket: u32,
        /// The job, as [`job::PlannedJob::from_bytes`] reads it.
        job: JobBytes,
    },
    /// What does the user say to the offer of this ticket?
    Answer {
        /// Of the offer.
        ticket: u32,
    },
    /// What are you doing?
    Status,
    /// Entries of the log, in their order: answered with [`Reply::Entry`] up to `count` times, and then
    /// [`Reply::End`].
    Fetch {
        /// The first number that is wanted.
        from: u32,
        /// How many at most; no more than [`FETCH_MAX`] are sent.
        count: u8,
    },
    /// Every entry below this number is safe here: the counter may drop it when it needs the room.
    Acknowledge {
        /// The first number that is not.
        next: u32,
    },
    /// It is this late.
    SetClock {
        /// Seconds since 1970-01-01 UTC.
        seconds: u64,
    },
    /// Are you well?
    SelfTest,
    /// What has been made of the batch of this number?
    Batch {
        /// Its number ([`crate::job::Job::batch`]).
        number: u32,
    },
}

/// What a counter answers.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub enum Reply {
    /// To [`Request::Identify`].
    Identity(Identity),
    /// To [`Request::ReadSettings`].
    Settings(SettingsBytes),
    /// To an offer, and to [`Request::Answer`].
    Answer(Answer),
    /// To [`Request::Status`].
    Status(Status),
    /// An entry of the log.
    Entry(SentEntry),
    /// No more entries come for now.
    End {
        /// The first number that was not looked for.
        next: u32,
        /// There may be more from there on.
        more: bool,
    },
    /// Done.
    Done,
    /// To [`Request::SelfTest`].
    Health(Health),
    /// It cannot be done.
    Refused(Refusal),
    /// To [`Request::Batch`]; none where no such batch is in the counter's list.
    Batch(Option<Made>),
}

/// Who a counter is.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Identity {
    /// [`VERSION`] of the counter.
    pub version: u16,
    /// Its firmware's version.
    pub firmware: String<FIRMWARE_LEN>,
    /// A number that no other counter has.
    pub id: u64,
    /// Pulses of its encoder in a revolution: a job must be planned for them.
    pub pulses_per_rev: u32,
}

/// Settings as bytes.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct SettingsBytes {
    /// Their form.
    pub form: u8,
    /// The settings.
    pub bytes: Vec<u8, SETTINGS_LEN>,
}

/// The form that settings have now.
const SETTINGS_FORM: u8 = 1;

impl SettingsBytes {
    /// Of these settings; all fit.
    #[must_use]
    pub fn new(settings: &Settings) -> Self {
        let mut bytes = Vec::new();
        _ = bytes.resize_default(SETTINGS_LEN);
        let used = postcard::to_slice(settings, &mut bytes).map_or(0, |used| used.len());
        bytes.truncate(used);
        Self { form: SETTINGS_FORM, bytes }
    }

    /// The settings.
    ///
    /// # Errors
    /// [`Refusal::NoSettings`] where they are of another form, or out of range.
    pub fn read(&self) -> Result<Settings, Refusal> {
        if self.form != SETTINGS_FORM {
            return Err(Refusal::NoSettings);
        }
        postcard::from_bytes(&self.bytes).map_err(|_| Refusal::NoSettings)
    }
}

/// What the user says to an offer.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum Answer {
    /// Nothing yet: it is on the screen, or a coil is on the mandrel.
    Waiting,
    /// Yes.
    Agreed,
    /// No.
    Declined,
    /// There is no offer of that ticket.
    None,
}

/// What a counter is doing.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Status {
    /// Where it is.
    pub phase: Phase,
    /// The name of the chosen job; empty where there is none.
    pub job: String<NAME_LEN>,
    /// Rings of the chosen job, those to spare included; none where it is counted in coils.
    pub rings_wanted: u32,
    /// What has been made of it.
    pub progress: Progress,
    /// Counts on the mandrel.
    pub counts: i64,
    /// Turns on the mandrel.
    pub turns: Turns,
    /// Where the coil on the mandrel, or the next one, is to end.
    pub target: Turns,
    /// Rings that the coil on the mandrel already makes certain.
    pub rings: u32,
    /// How far its count can be trusted.
    pub error_bound: ErrorBound,
    /// What is wrong with the count.
    pub faults: Faults,
    /// Speed of the mandrel.
    pub turns_per_minute: i32,
    /// There is a message about the counter itself on its screen.
    pub notice: bool,
    /// Coils still to be wound for the chosen job.
    pub coils_left: u32,
    /// Wire left on the spool, if that is known.
    pub wire_left: Option<Length>,
    /// The chosen job's fingerprint, as the log has it; nought where there is none.
    pub fingerprint: u32,
}

/// How a counter is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Health {
    /// What is to be kept is kept.
    pub saving: bool,
    /// A channel of the encoder that does not move.
    pub dead: Option<Channel>,
    /// Impossible steps seen since the start.
    pub illegal: u64,
    /// Samples were lost since the start.
    pub samples_lost: bool,
    /// Milliseconds since the start.
    pub up_ms: u64,
    /// What its clock says, in seconds since 1970-01-01 UTC, if it has been set.
    pub clock: Option<u64>,
}

/// What has been made of a batch.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Made {
    /// What has been made.
    pub progress: Progress,
    /// All its rings are made, or were once.
    pub finished: bool,
}

/// An entry of the log on its way.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct SentEntry {
    /// The first number that was looked for: there is no entry from here on before this one.
    pub from: u32,
    /// Its number.
    pub number: u32,
    /// The entry, as [`crate::bench::log::Entry::from_bytes`] reads it.
    pub bytes: Vec<u8, ENTRY_LEN>,
}

/// Why something cannot be done.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum Refusal {
    /// The question is not known here.
    Unknown,
    /// The job makes no coil: its figures contradict each other or are out of range.
    InvalidJob,
    /// This end works the job out otherwise than the one that planned it.
    OtherPlan,
    /// The job is planned for another encoder.
    OtherEncoder,
    /// There is no room for another job.
    Full,
    /// Another offer is still waiting for the user.
    Busy,
    /// The store cannot be read.
    Store,
    /// The settings are out of range, or of a form that is not known here.
    NoSettings,
}

impl core::fmt::Display for Refusal {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        f.write_str(match self {
            Self::Unknown => "the counter's firmware does not know that question",
            Self::InvalidJob => "the counter takes no such job: its figures are out of range",
            Self::OtherPlan => "the counter works this job out otherwise: bring both programs to one version",
            Self::OtherEncoder => "the job is planned for another encoder than the counter has",
            Self::Full => "the counter holds no more jobs",
            Self::Busy => "another offer still waits for the counter's user",
            Self::Store => "the counter cannot read its saved state",
            Self::NoSettings => "the settings are out of range, or by another version of the program",
        })
    }
}

impl core::error::Error for Refusal {}
