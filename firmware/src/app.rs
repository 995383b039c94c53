//! The loop: samples and keys in, the bench in the middle, screen, sound and light out.

use embedded_storage::nor_flash::NorFlash;
use turntally_core::bench::log::LogEvent;
use turntally_core::bench::{Bench, CoilRecord, Lamp, Outputs, Sound, State};
use turntally_core::counter::CountsPerTurn;
use turntally_core::format_plain;
use turntally_core::input::{Event, Input, Key};
use turntally_core::job::Job;
use turntally_core::job_list::MAX_JOBS;
use turntally_core::settings::{Build, Loudness, OnSpool, Units};
use turntally_core::signal::{Reading, SignalWatch};
use turntally_core::time::{Duration, Instant};
use turntally_core::units::{Length, Turns};

use crate::display::Frame;
use crate::notice::{Notice, View};
use crate::offer::{Offer, Offers};
use crate::panel::{Front, Rhythm};
use crate::sampler::PinUnread;
use crate::saving::Saving;
use crate::store::guard::{Gate, PROGRAM_SPAN};
use crate::store::{Save, SavedState, Store, StoreError};

/// The screen is drawn at most this often.
const REDRAW: Duration = Duration::from_millis(50);
/// And this often it is looked whether it would look different.
const LOOK: Duration = Duration::from_millis(10);

/// The counter, without its pins.
#[derive(Debug)]
pub struct App {
    /// Of its encoder, in a revolution.
    pub(crate) pulses_per_rev: u32,
    /// A number that no other counter has.
    pub(crate) id: u64,
    /// Jobs that the counter has of its own: the first of the list.
    pub(crate) own_jobs: usize,
    watch: SignalWatch,
    sample_period_ns: u32,
    /// What was last acted on.
    build: Build,
    view: View,
    rhythm: Rhythm,
    /// What the encoder said since the last poll.
    pending: Reading,
    lost: bool,
    /// Samples were lost since the start.
    pub(crate) lost_samples: bool,
    /// The user knows that the spool has too little for the next coil.
    short_told: bool,
    pub(crate) saving: Saving,
    pub(crate) offers: Offers,
    pub(crate) clock: Clock,
    frame: Frame,
    drawn: Option<(Instant, Look)>,
    looked: Instant,
}

/// The time of day, if somebody has said it.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct Clock {
    /// As of the last poll.
    pub(crate) now: Instant,
    /// Seconds since 1970-01-01 UTC, and when they were said.
    set: Option<(u64, Instant)>,
}

impl Clock {
    /// Sets it, in seconds since 1970-01-01 UTC.
    pub(crate) const fn set(&mut self, seconds: u64) {
        self.set = Some((seconds, self.now));
    }

    /// What it says.
    pub(crate) fn seconds(self) -> Option<u64> {
        self.set.map(|(seconds, at)| seconds.saturating_add(self.now.since(at).as_micros() / 1_000_000))
    }
}

/// What a drawing depends on: it is drawn again only when this changes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Look {
    phase: turntally_core::bench::Phase,
    message: (bool, bool),
    turns: Turns,
    rings: u32,
    error_bound: turntally_core::bench::ErrorBound,
    made: (u32, u32, u32),
    choice: u32,
}

impl App {
    /// For an encoder of `pulses_per_rev`, sampled every `sample_period_ns`.
    #[inline(never)] // As a part of its caller 96 bytes more.
    #[must_use]
    pub fn new(bench: Bench, pulses_per_rev: u32, sample_period_ns: u32) -> Self {
        let own_jobs = bench.jobs().len();
        Self {
            pulses_per_rev,
            id: 0,
            own_jobs,
            watch: SignalWatch::new(pulses_per_rev, sample_period_ns),
            sample_period_ns,
            build: bench.settings().build,
            view: View { bench, notice: None, offer: None },
            rhythm: Rhythm::default(),
            pending: Reading::default(),
            lost: false,
            lost_samples: false,
            short_told: false,
            saving: Saving::default(),
            offers: Offers::default(),
            clock: Clock::default(),
            frame: Frame::new(),
            drawn: None,
            looked: Instant::ZERO,
        }
    }

    /// Takes what the sampler handed out: a word of 16 samples, of which the last was taken at `end`,
    /// nothing yet, or the news that samples are gone.
    #[inline]
    pub fn samples(&mut self, sampled: Result<Option<u32>, PinUnread>, end: Instant) {
        match sampled {
            Ok(None) => {}
            Ok(Some(word)) => {
                let reading = self.watch.push_16(word, end);
                if !reading.is_quiet() {
                    self.gather(reading);
                }
            }
            Err(PinUnread) => self.lost = true,
        }
    }

    /// Whether a word says that nothing moved, so that [`App::samples`] need not see it.
    #[inline]
    #[must_use]
    pub const fn is_still(&self, word: u32) -> bool {
        self.watch.decoder().is_still(word)
    }

    /// Words were overwritten before they could be read: the count is unknown from here on.
    pub const fn samples_lost(&mut self) {
        self.lost = true;
    }

    /// Tells the user what is wrong with the counter itself, until a key is pressed: the screen says
    /// it, the lamp is red, the sounder rattles. Counting goes on.
    pub fn report(&mut self, notice: Notice) {
        self.view.notice = Some(notice);
    }

    /// There is a store: until [`App::restore`] has what it holds, no coil begins.
    pub const fn expect_store(&mut self) {
        self.saving.expect();
    }

    /// Takes a job that came over the link before ([`Store::load_job`]). To be called before
    /// [`App::restore`], with one place after the other from the counter's own jobs on.
    pub fn restore_job(&mut self, place: usize, job: Job) {
        let bench = &mut self.view.bench;
        // The place that no computer filled is that of the batch that was set up here, which comes later.
        if place > bench.jobs().len() {
            bench.set_up(*bench.settings());
        }
        _ = bench.put_job(place, job);
    }

    /// Goes on from what the store holds.
    #[inline(never)] // As a part of its caller 80 bytes more.
    pub fn restore(&mut self, kept: &SavedState) {
        if let Some(notice) = self.saving.restore(kept, &mut self.view.bench) {
            self.report(notice);
        }
    }

    /// What is to be kept now, if the store is at rest. To be given to [`Store::save`], whenever the
    /// board likes, and its result to [`App::saved`]; until then nothing else is handed out.
    #[inline(never)] // As a part of its caller 412 bytes more.
    pub fn save_due(&mut self) -> Option<Save> {
        if self.view.notice.is_none()
            && let Some(notice) = self.saving.news()
        {
            self.report(notice);
        }
        self.saving.next(&self.view.bench, self.view.notice.is_none())
    }

    /// Takes the news of what [`App::save_due`] handed out last.
    #[inline(never)] // As a part of its caller 88 bytes more.
    pub fn saved(&mut self, save: &Save, result: Result<(), StoreError>) {
        if let Some(notice) = self.saving.done(save, result) {
            self.report(notice);
        }
    }

    /// Goes on from a store that is read at once: for a board that does not need [`App::expect_store`]
    /// and [`App::restore`] apart. Hands out what it found.
    pub fn load_from<F: NorFlash, G: Gate>(&mut self, store: &mut Store<F, G>) -> SavedState {
        self.expect_store();
        for place in (0..MAX_JOBS as u8).skip(self.own_jobs) {
            if let Some(job) = store.load_job(place) {
                self.restore_job(usize::from(place), job);
            }
        }
        let kept = store.load(self.bench().jobs().places());
        self.restore(&kept);
        kept
    }

    /// Keeps what is due in a store that is written at once, likewise. Hands out what it was, and what came
    /// of it.
    pub fn save_to<F: NorFlash, G: Gate>(
        &mut self,
        store: &mut Store<F, G>,
    ) -> Option<(Save, Result<(), StoreError>)> {
        let save = self.save_due()?;
        let result = store.save(&save);
        self.saved(&save, result);
        Some((save, result))
    }

    /// Whether the processor may stand still for an erase: no coil is on the mandrel.
    #[must_use]
    pub fn may_erase(&self) -> bool {
        self.view.bench.goal().is_none()
    }

    /// Whether it may stand still for a program: the cue will not change meanwhile.
    #[must_use]
    pub fn may_program(&self) -> bool {
        self.view.bench.is_clear_for(PROGRAM_SPAN)
    }

    /// Gives it a number that no other counter has, for the computer to know it by.
    pub const fn identify(&mut self, id: u64) {
        self.id = id;
    }

    /// Writes something down that was entered after a coil came off.
    pub fn log(&mut self, event: &LogEvent) {
        self.saving.log(event);
    }

    /// The user agrees: a job is put into the list and chosen, settings are taken.
    fn take(&mut self, offer: Offer) {
        let bench = &mut self.view.bench;
        let (planned, job) = match offer {
            Offer::Settings(settings) if settings.batch == bench.settings_now().batch => {
                return bench.set_up_counter(settings);
            }
            Offer::Settings(settings) => return bench.set_up(settings),
            Offer::Job { planned, job, .. } => (planned, job),
        };
        let place = bench.jobs().place_for(&job, self.own_jobs);
        match place.filter(|&place| bench.put_job(place, job)) {
            Some(place) => {
                bench.choose(place);
                self.saving.job(place, planned);
            }
            None => self.offers.could_not(),
        }
    }

    fn gather(&mut self, reading: Reading) {
        let sum = &mut self.pending;
        sum.net += reading.net;
        sum.illegal = sum.illegal.saturating_add(reading.illegal);
        sum.chatter = sum.chatter.saturating_add(reading.chatter);
        sum.revived |= reading.revived;
        sum.dead = reading.dead.or(sum.dead);
    }

    /// Acts on what was set up.
    fn rebuild<F: Front>(&mut self, front: &mut F) {
        let build = self.view.bench.settings().build;
        if build.pulses != self.build.pulses {
            self.watch = SignalWatch::new(build.pulses, self.sample_period_ns);
            self.pulses_per_rev = build.pulses;
        }
        if build.loudness != self.build.loudness {
            front.set_loudness(build.loudness);
        }
        self.build = build;
    }

    /// To be called every millisecond. Hands out the record of a coil that came off.
    #[inline(never)] // As a part of its caller 40 bytes more.
    pub fn poll<F: Front>(&mut self, now: Instant, front: &mut F) -> Option<CoilRecord> {
        self.rebuild(front);
        let View { bench, notice, offer } = &mut self.view;
        let tell = |bench: &mut Bench, input| bench.handle(Event { at: now, input });
        if core::mem::take(&mut self.lost) {
            self.lost_samples = true;
            tell(bench, Input::SamplesLost);
        }
        let pending = core::mem::take(&mut self.pending);
        if pending.is_quiet() {
            tell(bench, Input::Tick);
        } else {
            tell(bench, Input::Encoder(pending));
        }
        if let Some(shown) = self.offers.show(bench, notice.is_none(), now) {
            *offer = shown;
        }
        let mut agreed = None;
        let (mut key, clicks) = front.read();
        if key.is_some() && notice.take().is_some() {
            // This press was for the message and says nothing to the bench.
            key = None;
        }
        if offer.is_some()
            && let Some(pressed) = key.take()
            && let Some(answer) = self.offers.key(pressed, now)
        {
            (*offer, agreed) = (None, answer);
        }
        if clicks != 0 {
            tell(bench, Input::Knob(clicks));
        }
        if key == Some(Key::Yes)
            && matches!(bench.state(), State::Ready)
            && let Some(reason) = self.saving.keeps_from_beginning(bench)
        {
            *notice = Some(reason);
            key = None;
        }
        if key == Some(Key::Yes)
            && matches!(bench.state(), State::Ready)
            && let Some((left, takes)) = bench.jobs().wire_short()
            && !core::mem::replace(&mut self.short_told, true)
        {
            *notice = Some(short_of_wire(left, takes, bench.settings().build.units));
            key = None;
        }
        let record = key.and_then(|key| tell(bench, Input::Key(key)));
        if key.is_some()
            && let Some(sawn) = bench.take_ring_count()
        {
            self.saving.log(&LogEvent::RingCount(sawn));
        }
        // The next coil is told of anew.
        self.short_told &= record.is_none();
        self.clock.now = now;
        if let Some(coil) = record.and_then(|record| bench.coil_log(&record, self.clock.seconds())) {
            self.saving.log(&LogEvent::Coil(coil));
        }
        let mut outputs = bench.outputs();
        if notice.is_some() {
            outputs = Outputs { sound: Sound::Rattle, lamp: Lamp::RedQuick, ..outputs };
        }
        self.rhythm.set(outputs, now);
        let silent = bench.settings().build.loudness == Loudness::Off;
        let hertz = self.rhythm.hertz(now).filter(|_| !silent);
        front.show(self.rhythm.lights(now), outputs.may_turn, hertz);
        if let Some(offer) = agreed {
            self.take(offer);
        }
        record
    }

    /// Draws the screen if it is due and would look different; whether it was drawn. The board calls
    /// it when nothing else is waiting: a cue never waits for the screen.
    pub fn redraw(&mut self, now: Instant) -> bool {
        if !self.redraw_due(now) {
            return false;
        }
        match self.view.draw(&mut self.frame) {
            Ok(()) => true,
            Err(never) => match never {},
        }
    }

    /// Whether the screen is due to be drawn and would look different; if so the caller draws
    /// [`App::view`]. For a board that polls where drawing would delay a cue, and draws elsewhere.
    pub fn redraw_due(&mut self, now: Instant) -> bool {
        if self.drawn.is_some_and(|(at, _)| now.since(at) < REDRAW || now.since(self.looked) < LOOK) {
            return false;
        }
        self.looked = now;
        let look = self.look();
        if self.drawn.is_some_and(|(_, before)| before == look) {
            return false;
        }
        self.drawn = Some((now, look));
        true
    }

    /// What is to be shown now; a copy of it can be drawn anywhere at any time.
    #[must_use]
    pub const fn view(&self) -> &View {
        &self.view
    }

    fn look(&self) -> Look {
        let bench = &self.view.bench;
        let progress = bench.jobs().progress();
        let choice = match bench.state() {
            State::Verdict { choice } => *choice as u32,
            State::Choose { pick } => *pick as u32,
            State::SetUp(set_up) => set_up.changes(),
            State::CountRings(entry) => entry.rejects * 2 + u32::from(entry.at_rejects),
            State::Ready | State::Winding { .. } | State::Paused => {
                bench.loudness_shown().map_or(0, |loudness| loudness as u32 + 1)
            }
            _ => 0,
        };
        let job = bench.jobs().chosen() as u32;
        Look {
            phase: bench.phase(),
            message: (self.view.notice.is_some(), self.view.offer.is_some()),
            turns: bench.turns(),
            rings: if let State::CountRings(entry) = bench.state() { entry.rings } else { bench.rings_now() },
            error_bound: bench.error_bound(),
            made: (job, progress.kept, progress.scrapped),
            choice,
        }
    }

    /// The picture as last drawn.
    #[must_use]
    pub const fn frame(&self) -> &Frame {
        &self.frame
    }

    /// The bench inside, to look at.
    #[must_use]
    pub const fn bench(&self) -> &Bench {
        &self.view.bench
    }

    /// The signal watch inside, for the totals of its decoder.
    #[must_use]
    pub const fn watch(&self) -> &SignalWatch {
        &self.watch
    }

    /// Counts per turn of the job that is chosen.
    #[must_use]
    pub fn per_turn(&self) -> Option<CountsPerTurn> {
        self.view.bench.jobs().job().map(|job| job.rule.per_turn())
    }
}

fn short_of_wire(left: Length, takes: Length, units: Units) -> Notice {
    // Rounded up, it is seen to be more.
    let takes = OnSpool(Length::from_nm(takes.nm().saturating_add(units.spool_step().nm() - 1)), units);
    let advice = ["A new spool, or press Yes", "again: a shorter coil."];
    Notice::new("Wire runs out", format_plain!("{} of {} left", OnSpool(left, units), takes), advice)
}
