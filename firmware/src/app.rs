//! The loop: samples and keys in, the bench in the middle, screen, sound and light out.

use embedded_storage::nor_flash::NorFlash;
use turntally_core::bench::log::LogEvent;
use turntally_core::bench::{Bench, CoilRecord, Lamp, Outputs, Sound, State};
use turntally_core::counter::CountsPerTurn;
use turntally_core::input::{Event, Input, Key};
use turntally_core::job::Job;
use turntally_core::job_list::MAX_JOBS;
use turntally_core::settings::{Build, Loudness, OnSpool, Units};
use turntally_core::signal::SignalWatch;
use turntally_core::time::Instant;
use turntally_core::units::Length;

use crate::display::Frame;
use crate::encoder_input::EncoderInput;
use crate::notice::{Notice, Picture, View};
use crate::offer::{Offer, Offers};
use crate::panel::{Front, Rhythm, Touch};
use crate::redraw::Redraw;
use crate::sampler::PinUnread;
use crate::saving::Saving;
use crate::store::guard::{Gate, PROGRAM_SPAN};
use crate::store::{Save, SavedState, Store, StoreError};

/// The counter, without its pins.
#[derive(Debug)]
pub struct App {
    /// A number that no other counter has.
    pub(crate) id: u64,
    /// Jobs that are built into the counter: the first of the list.
    pub(crate) fixed_jobs: usize,
    pub(crate) encoder: EncoderInput,
    /// The settings that the loop has acted on.
    build: Build,
    /// The bench's revision then.
    built: u32,
    view: View,
    rhythm: Rhythm,
    /// The user has been warned that the spool has too little for the next coil.
    warned_of_wire: bool,
    pub(crate) saving: Saving,
    pub(crate) offers: Offers,
    pub(crate) clock: Clock,
    redraw: Redraw,
    frame: Frame,
}

/// The time of day, once a computer has set it.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct Clock {
    /// As of the last poll.
    pub(crate) now: Instant,
    /// Seconds since 1970-01-01 UTC, and when they were set.
    set: Option<(u64, Instant)>,
}

impl Clock {
    /// Sets it, in seconds since 1970-01-01 UTC.
    pub(crate) const fn set(&mut self, seconds: u64) {
        self.set = Some((seconds, self.now));
    }

    /// Seconds since 1970-01-01 UTC.
    pub(crate) fn seconds(self) -> Option<u64> {
        self.set.map(|(seconds, at)| seconds.saturating_add(self.now.since(at).as_micros() / 1_000_000))
    }
}

impl App {
    /// For an encoder of `pulses_per_rev`, sampled every `sample_period_ns`.
    #[must_use]
    pub fn new(bench: Bench, pulses_per_rev: u32, sample_period_ns: u32) -> Self {
        Self {
            id: 0,
            fixed_jobs: bench.jobs().len(),
            encoder: EncoderInput::new(pulses_per_rev, sample_period_ns),
            build: bench.settings().build,
            built: bench.revision(),
            view: View { bench, notice: None, offer: None, picture: Picture::ZERO },
            rhythm: Rhythm::default(),
            warned_of_wire: false,
            saving: Saving::default(),
            offers: Offers::default(),
            clock: Clock::default(),
            redraw: Redraw::new(),
            frame: Frame::new(),
        }
    }

    /// Takes a word of 16 samples, of which the last was taken at `end`; nothing; or that a pin could not be read.
    #[inline]
    pub fn samples(&mut self, sampled: Result<Option<u32>, PinUnread>, end: Instant) {
        self.encoder.samples(sampled, end);
    }

    /// Whether a word says that nothing moved, so that [`App::samples`] need not see it.
    #[inline]
    #[must_use]
    pub const fn is_still(&self, word: u32) -> bool {
        self.encoder.watch().is_still(word)
    }

    /// Words were overwritten before they could be read: the count is unknown from here on.
    pub const fn samples_lost(&mut self) {
        self.encoder.samples_lost();
    }

    /// Shows what is wrong with the counter itself until it has been read and a key is pressed: on the screen, with a
    /// red lamp and a rattling sounder. Counting goes on.
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
    pub fn restore(&mut self, kept: &SavedState) {
        if let Some(notice) = self.saving.restore(kept, &mut self.view.bench) {
            self.report(notice);
        }
    }

    /// What is to be stored now, if the store is at rest. To be given to [`Store::save`], whenever the
    /// board likes, and its result to [`App::saved`]; until then nothing else is returned.
    #[inline]
    pub fn save_due(&mut self) -> Option<Save> {
        let answered = self.view.notice.is_none();
        if self.saving.is_nothing_due(&self.view.bench, answered) { None } else { self.next_save() }
    }

    // Cold: it is not to stand among the code of each millisecond.
    #[inline(never)]
    fn next_save(&mut self) -> Option<Save> {
        if self.view.notice.is_none()
            && let Some(notice) = self.saving.news()
        {
            self.report(notice);
        }
        self.saving.next(&self.view.bench, self.view.notice.is_none())
    }

    /// Takes the result of what [`App::save_due`] returned last.
    pub fn saved(&mut self, save: &Save, result: Result<(), StoreError>) {
        if let Some(notice) = self.saving.done(save, result) {
            self.report(notice);
        }
    }

    /// Goes on from a store that is read at once: for a board that does not need [`App::expect_store`]
    /// and [`App::restore`] apart. Returns what it found.
    pub fn load_from<F: NorFlash, G: Gate>(&mut self, store: &mut Store<F, G>) -> SavedState {
        self.expect_store();
        for place in (0..MAX_JOBS as u8).skip(self.fixed_jobs) {
            if let Some(job) = store.load_job(place) {
                self.restore_job(usize::from(place), job);
            }
        }
        let kept = store.load(self.bench().jobs().places());
        self.restore(&kept);
        kept
    }

    /// Keeps what is due in a store that is written at once, likewise. Returns what it was, and what came
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
        let place = bench.jobs().place_for(&job, self.fixed_jobs);
        match place.filter(|&place| bench.put_job(place, job)) {
            Some(place) => {
                bench.choose(place);
                self.saving.job(place, planned);
            }
            None => self.offers.could_not(),
        }
    }

    /// Acts on what was set up.
    // Cold: it is not to stand among the code of each millisecond.
    #[inline(never)]
    fn rebuild<F: Front>(&mut self, front: &mut F) {
        self.built = self.view.bench.revision();
        let build = self.view.bench.settings().build;
        if build.pulses != self.build.pulses {
            self.encoder.replace_encoder(build.pulses);
        }
        if build.loudness != self.build.loudness {
            front.set_loudness(build.loudness);
        }
        if build.knob != self.build.knob {
            front.set_knob(build.knob);
        }
        self.build = build;
    }

    /// To be called every millisecond. Returns the record of a coil that came off.
    pub fn poll<F: Front>(&mut self, now: Instant, front: &mut F) -> Option<CoilRecord> {
        self.clock.now = now;
        if self.built != self.view.bench.revision() {
            self.rebuild(front);
        }
        self.count();
        let View { bench, notice, offer, .. } = &mut self.view;
        if let Some(shown) = self.offers.show(bench, notice.is_none(), now) {
            *offer = shown;
        }
        let Touch { key, clicks, turn } = front.read(now);
        let (key, agreed) = self.answer_key(key);
        if clicks != 0 {
            self.handle(Input::Knob(clicks));
        }
        if let Some(turn) = turn {
            self.handle(Input::KnobRest(turn));
        }
        let key = key.filter(|&key| !self.is_held_back(key));
        let record = key.and_then(|key| self.press(key));
        self.sound_and_light(front);
        if let Some(offer) = agreed {
            self.take(offer);
        }
        record
    }

    fn handle(&mut self, input: Input) -> Option<CoilRecord> {
        self.view.bench.handle(Event { at: self.clock.now, input })
    }

    /// Gives the bench what has come from the encoder, and the time.
    fn count(&mut self) {
        if self.encoder.take_lost() {
            self.handle(Input::SamplesLost);
        }
        let reading = self.encoder.take_reading();
        self.handle(if reading.is_quiet() { Input::Tick } else { Input::Encoder(reading) });
    }

    /// Takes a key as the answer to what stands before the bench's page. Returns the key where nothing does, and an
    /// offer that the user agrees to.
    fn answer_key(&mut self, key: Option<Key>) -> (Option<Key>, Option<Offer>) {
        let Some(pressed) = key else { return (None, None) };
        let now = self.clock.now;
        if self.view.notice.is_some() {
            // What came up as the key went down has not been read.
            if self.redraw.is_read(&self.view, now) {
                self.view.notice = None;
            }
            return (None, None);
        }
        if self.view.offer.is_none() {
            let unread = self.view.bench.fault_since().is_some() && !self.redraw.is_read(&self.view, now);
            return (key.filter(|_| !unread), None);
        }
        let answer = self.offers.key(pressed, now, self.redraw.shown_since(&self.view));
        if answer.is_some() {
            self.view.offer = None;
        }
        (None, answer.flatten())
    }

    /// Whether a coil must not begin with this key, which is shown then: it could not be saved, or the wire runs out,
    /// of which the user is warned once.
    fn is_held_back(&mut self, key: Key) -> bool {
        let View { bench, notice, .. } = &mut self.view;
        if key != Key::Yes || !matches!(bench.state(), State::Ready) {
            return false;
        }
        let reason = self.saving.keeps_from_beginning(bench).or_else(|| {
            let (left, needed) = bench.jobs().wire_short()?;
            let warned = core::mem::replace(&mut self.warned_of_wire, true);
            (!warned).then(|| short_of_wire(left, needed, bench.settings().build.units))
        });
        let held_back = reason.is_some();
        if held_back {
            *notice = reason;
        }
        held_back
    }

    /// Gives the bench a key, and the log what came of it.
    fn press(&mut self, key: Key) -> Option<CoilRecord> {
        let record = self.handle(Input::Key(key));
        let bench = &mut self.view.bench;
        if let Some(count) = bench.take_ring_count() {
            self.saving.log(&LogEvent::RingCount(count));
        }
        if let Some(ring) = bench.take_measured_ring() {
            self.saving.log(&LogEvent::MeasuredRing(ring));
        }
        if let Some(record) = &record {
            // The next coil wants a warning of its own.
            self.warned_of_wire = false;
            if let Some(coil) = bench.coil_log(record, self.clock.seconds()) {
                self.saving.log(&LogEvent::Coil(coil));
            }
        }
        record
    }

    /// Sets sounder, lamps and stop line by the state; a notice has a sound and a lamp of its own.
    fn sound_and_light<F: Front>(&mut self, front: &mut F) {
        let View { bench, notice, .. } = &self.view;
        let now = self.clock.now;
        let mut outputs = bench.outputs();
        if notice.is_some() {
            outputs = Outputs { sound: Sound::Rattle, lamp: Lamp::RedQuick, ..outputs };
        }
        self.rhythm.set(outputs, now);
        let silent = bench.settings().build.loudness == Loudness::Off;
        let hertz = self.rhythm.hertz(now).filter(|_| !silent);
        front.show(self.rhythm.lights(now), outputs.may_turn, hertz);
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
        let due = self.redraw.is_due(&self.view, now);
        self.view.picture = self.redraw.newest();
        due
    }

    /// The panel has shown this drawing ([`View::picture`]), whole, since `at`. To be called by the board once the last
    /// byte of it was acknowledged: before, no Yes is taken for an offer that it shows.
    pub fn panel_has(&mut self, picture: Picture, at: Instant) {
        self.redraw.panel_has(picture, at);
    }

    /// The panel did not acknowledge a drawing. Until it has one again, no Yes is taken for an offer.
    pub const fn panel_lost(&mut self) {
        self.redraw.panel_lost();
    }

    /// What is to be shown now; a copy of it can be drawn anywhere at any time.
    #[must_use]
    pub const fn view(&self) -> &View {
        &self.view
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
        self.encoder.watch()
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
    Notice::new("Wire runs out", format_args!("{} of {} left", OnSpool(left, units), takes), advice)
}
