//! A counter on a link: what a computer can bring about, and above all what it cannot.

#![allow(clippy::unwrap_used, reason = "a test may stop where it stands")]

use turntally_core::bench::Phase;
use turntally_core::bench::log::LogEvent;
use turntally_core::counter::Shaft;
use turntally_core::input::Key;
use turntally_core::job::Target;
use turntally_core::link::computer::{Client, Fetcher, Fetching};
use turntally_core::link::job::PlannedJob;
use turntally_core::link::{Answer, Refusal, Reply, Request, SETTINGS_LEN, SettingsBytes};
use turntally_core::settings::{KnobClick, Loudness, Settings};
use turntally_core::time::Instant;
use turntally_core::units::{Length, Turns};
use turntally_firmware::app::App;
use turntally_firmware::link::Link;
use turntally_firmware::panel::{Front, Lights, Touch};
use turntally_firmware::store::guard::Open;
use turntally_firmware::store::{Save, Store};
use turntally_sim::simulation::flash::{Cells, VirtualFlash};
use turntally_tests::cuts::{self, Counter, SMALL, TURN};

/// A counter with its link, and a computer.
struct Pair {
    counter: Counter,
    link: Link,
    client: Client,
}

impl Pair {
    fn new(flash: &VirtualFlash) -> Self {
        let (_, counter) = Counter::on(flash.clone(), SMALL, &cuts::job(), 5);
        Self { counter, link: Link::default(), client: Client::default() }
    }

    fn send(&mut self, bytes: &[u8]) -> Vec<u8> {
        let mut out = Vec::new();
        for &byte in bytes {
            let send = |bytes: &[u8]| out.extend_from_slice(bytes);
            self.link.push_at_once(byte, &mut self.counter.app, &mut self.counter.store, send);
        }
        out
    }

    fn ask(&mut self, request: &Request) -> Vec<Reply> {
        let bytes = self.client.ask(request, Instant::ZERO).to_vec();
        let answer = self.send(&bytes);
        answer.into_iter().filter_map(|byte| self.client.push(byte, Instant::ZERO)).collect()
    }

    fn live(&mut self, ms: u32) {
        for _ in 0..ms {
            self.counter.live();
        }
    }
}

fn blank() -> VirtualFlash {
    VirtualFlash::new(Cells::blank(SMALL.log_end as usize))
}

fn planned(rings: u32) -> PlannedJob {
    let job = PlannedJob {
        name: "from the desk".try_into().unwrap(),
        rings,
        wire: Length::from_um(900),
        mandrel: Length::from_um(5_000),
        gap: 0.0,
        kerf: Length::from_um(300),
        spring: [1.01, 1.02, 1.03],
        tail: Turns::from_nano(Turns::ONE / 2),
        coil_max: Length::from_um(25_000),
        shaft: Shaft::Mandrel,
        gear: (1, 1),
        pulses_per_rev: (TURN / 4) as u32,
        spool: None,
        batch: 0,
        fingerprint: 0,
    };
    job.signed().unwrap()
}

/// A key and clicks of the knob for one poll, and nothing else.
#[derive(Default)]
struct Keys(Option<Key>, i8);

impl Front for Keys {
    fn read(&mut self, _: Instant) -> Touch {
        Touch { key: self.0.take(), clicks: std::mem::take(&mut self.1), turn: None }
    }

    fn show(&mut self, _: Lights, _: bool, _: Option<u16>) {}

    fn set_loudness(&mut self, _: Loudness) {}

    fn set_knob(&mut self, _: KnobClick) {}
}

/// A counter at rest with its store, under keys alone.
struct Desk {
    app: App,
    store: Store<VirtualFlash, Open>,
    link: Link,
    client: Client,
    ms: u32,
}

impl Desk {
    fn new(flash: &VirtualFlash) -> Self {
        let mut store = Store::new(flash.clone(), Open, SMALL);
        let mut app = App::new(cuts::bench(&cuts::job()), (TURN / 4) as u32, 62_500);
        app.load_from(&mut store);
        let mut desk = Self { app, store, link: Link::default(), client: Client::default(), ms: 0 };
        desk.live(1_000, None);
        desk
    }

    fn live(&mut self, ms: u32, key: Option<Key>) {
        self.under(Keys(key, 0), ms);
    }

    fn under(&mut self, mut keys: Keys, ms: u32) {
        for _ in 0..ms {
            self.ms += 1;
            let now = Instant::from_millis(self.ms);
            self.app.poll(now, &mut keys);
            // A panel that has each picture at once.
            if self.app.redraw(now) {
                self.app.panel_has(self.app.view().picture, now);
            }
            self.app.save_to(&mut self.store);
        }
    }

    fn ask(&mut self, request: &Request) -> Reply {
        let mut out = Vec::new();
        for byte in self.client.ask(request, Instant::ZERO).to_vec() {
            self.link
                .push_at_once(byte, &mut self.app, &mut self.store, |bytes| out.extend_from_slice(bytes));
        }
        let mut replies = out.into_iter().filter_map(|byte| self.client.push(byte, Instant::ZERO));
        replies.next().unwrap()
    }

    fn names(&self) -> Vec<&str> {
        self.app.bench().jobs().iter().map(|job| job.name.as_str()).collect()
    }
}

/// A job is put to the user, who may say no; once it is agreed to it is chosen, and outlasts the power.
#[test]
fn job_is_taken_only_if_the_user_agrees() {
    let flash = blank();
    let mut desk = Desk::new(&flash);
    let offer = |ticket| Request::OfferJob { ticket, job: planned(77).to_bytes() };
    assert_eq!(desk.ask(&offer(1)), Reply::Answer(Answer::Waiting));
    assert_eq!(desk.ask(&offer(2)), Reply::Refused(Refusal::Busy));
    // A key that was on its way when the offer came up says nothing.
    desk.live(200, Some(Key::Yes));
    assert_eq!(desk.ask(&Request::Answer { ticket: 1 }), Reply::Answer(Answer::Waiting));
    assert_eq!((desk.app.bench().phase(), desk.names().len()), (Phase::Choose, 1));
    desk.live(1_000, None);
    desk.live(10, Some(Key::No));
    assert_eq!(desk.ask(&Request::Answer { ticket: 1 }), Reply::Answer(Answer::Declined));
    assert_eq!((desk.app.bench().phase(), desk.names()), (Phase::Choose, vec!["cuts"]));
    // The same offer again was answered; a new one is put anew.
    assert_eq!(desk.ask(&offer(1)), Reply::Answer(Answer::Declined));
    assert_eq!(desk.ask(&offer(3)), Reply::Answer(Answer::Waiting));
    desk.live(1_000, None);
    desk.live(10, Some(Key::Yes));
    assert_eq!(desk.ask(&Request::Answer { ticket: 3 }), Reply::Answer(Answer::Agreed));
    assert_eq!(desk.ask(&Request::Answer { ticket: 4 }), Reply::Answer(Answer::None));
    assert_eq!(desk.names(), ["cuts", "from the desk"]);
    let jobs = desk.app.bench().jobs();
    let chosen = jobs.job().map(|job| (jobs.chosen(), job.target));
    assert_eq!(chosen, Some((1, Target::Rings(77))));
    desk.live(100, None);
    let again = Desk::new(&flash);
    assert_eq!(again.names(), ["cuts", "from the desk"], "after a power cut");
}

/// A batch keeps its number and what was made of it over a power cut: sent again it goes on. The same job under
/// another number is another batch, of which nothing is made. Each coil is written down with its number.
#[test]
fn batch_goes_on_after_a_power_cut() {
    let flash = blank();
    let offer = |ticket, batch| {
        let job = PlannedJob { batch, ..planned(77) }.to_bytes();
        Request::OfferJob { ticket, job }
    };
    let take = |desk: &mut Desk, ticket, batch| {
        assert_eq!(desk.ask(&offer(ticket, batch)), Reply::Answer(Answer::Waiting));
        desk.live(1_000, None);
        desk.live(10, Some(Key::Yes));
        assert_eq!(desk.ask(&Request::Answer { ticket }), Reply::Answer(Answer::Agreed));
        desk.live(1_000, None);
    };
    // A coil is begun, left at once, and thrown away.
    let throw_one_away = |desk: &mut Desk| {
        for key in [Key::Yes, Key::Yes, Key::No, Key::No] {
            desk.live(1_000, Some(key));
        }
        assert_eq!(desk.app.bench().phase(), Phase::Verdict);
        desk.under(Keys(None, -1), 10);
        desk.live(1_000, Some(Key::Yes));
        desk.live(1_000, Some(Key::No));
    };
    let made = |desk: &mut Desk, number| match desk.ask(&Request::Batch { number }) {
        Reply::Batch(made) => made.map(|made| (made.progress.scrapped, made.finished)),
        other => unreachable!("{other:?}"),
    };
    let mut desk = Desk::new(&flash);
    assert_eq!((made(&mut desk, 7), made(&mut desk, 0)), (None, None));
    take(&mut desk, 1, 7);
    throw_one_away(&mut desk);
    assert_eq!(made(&mut desk, 7), Some((1, false)));
    drop(desk);
    let mut desk = Desk::new(&flash);
    assert_eq!(made(&mut desk, 7), Some((1, false)));
    take(&mut desk, 1, 7);
    assert_eq!(desk.names(), ["cuts", "from the desk"], "the same batch has one place");
    throw_one_away(&mut desk);
    assert_eq!(made(&mut desk, 7), Some((2, false)));
    take(&mut desk, 2, 8);
    assert_eq!((made(&mut desk, 7), made(&mut desk, 8)), (Some((2, false)), Some((0, false))));
    throw_one_away(&mut desk);
    let mut desk = Desk::new(&flash);
    assert_eq!((made(&mut desk, 7), made(&mut desk, 8)), (Some((2, false)), Some((1, false))));
    let written: Vec<u32> = cuts::entries(&mut desk.store, 0)
        .into_iter()
        .filter_map(|(_, event)| match event {
            LogEvent::Coil(coil) => Some(coil.counted.batch),
            LogEvent::RingCount(_) | LogEvent::MeasuredRing(_) => None,
        })
        .collect();
    assert_eq!(written, [7, 7, 8]);
}

/// Settings are sent on request, changed by the user's Yes and by nothing else, and are still there after
/// a power cut.
#[test]
fn settings_are_put_to_the_user() {
    let flash = blank();
    let mut desk = Desk::new(&flash);
    let Reply::Settings(bytes) = desk.ask(&Request::ReadSettings) else { unreachable!("settings") };
    let before = bytes.read().unwrap();
    let mut wanted = before;
    (wanted.build.pulses, wanted.build.loudness) = (600, Loudness::Full);
    let write = |ticket, settings: &Settings| {
        let settings = SettingsBytes::new(settings);
        Request::WriteSettings { ticket, settings }
    };
    assert_eq!(desk.ask(&write(1, &wanted)), Reply::Answer(Answer::Waiting));
    desk.live(1_000, None);
    desk.live(10, Some(Key::No));
    assert_eq!(desk.ask(&Request::Answer { ticket: 1 }), Reply::Answer(Answer::Declined));
    assert_eq!(*desk.app.bench().settings(), before);
    assert_eq!(desk.ask(&write(2, &wanted)), Reply::Answer(Answer::Waiting));
    desk.live(1_000, None);
    desk.live(10, Some(Key::Yes));
    assert_eq!(desk.ask(&Request::Answer { ticket: 2 }), Reply::Answer(Answer::Agreed));
    assert_eq!(*desk.app.bench().settings(), wanted);
    desk.live(100, None);
    assert_eq!(*Desk::new(&flash).app.bench().settings(), wanted, "after a power cut");
    // Out of range or of another form: refused without a word to the user.
    let mut wrong = wanted;
    wrong.build.pulses = 0;
    assert_eq!(desk.ask(&write(3, &wrong)), Reply::Refused(Refusal::NoSettings));
    let settings = SettingsBytes { form: 9, ..SettingsBytes::new(&wanted) };
    let other = Request::WriteSettings { ticket: 4, settings };
    assert_eq!(desk.ask(&other), Reply::Refused(Refusal::NoSettings));
}

/// A job that was planned for another encoder is refused; and one that was taken is not begun once the encoder
/// is another, for it would be counted wrongly, until it is as it was.
#[test]
fn no_job_is_counted_by_an_encoder_that_it_was_not_planned_for() {
    let mut desk = Desk::new(&blank());
    let set = |desk: &mut Desk, ticket, pulses| {
        let Reply::Settings(bytes) = desk.ask(&Request::ReadSettings) else { unreachable!("settings") };
        let mut settings = bytes.read().unwrap();
        settings.build.pulses = pulses;
        let settings = SettingsBytes::new(&settings);
        assert_eq!(desk.ask(&Request::WriteSettings { ticket, settings }), Reply::Answer(Answer::Waiting));
        desk.live(1_000, None);
        desk.live(10, Some(Key::Yes));
    };
    let offer = |ticket| Request::OfferJob { ticket, job: planned(50).to_bytes() };
    assert_eq!(desk.ask(&offer(1)), Reply::Answer(Answer::Waiting));
    desk.live(1_000, None);
    desk.live(10, Some(Key::Yes));
    let mine = planned(50).pulses_per_rev;
    set(&mut desk, 2, 2 * mine);
    assert_eq!(desk.ask(&offer(3)), Reply::Refused(Refusal::OtherEncoder));
    let begin = |desk: &mut Desk| {
        let place = desk.names().iter().position(|&name| name == "from the desk");
        let chosen = desk.app.bench().jobs().chosen();
        let clicks = place.map(|place| place as i8 - chosen as i8);
        desk.under(Keys(None, clicks.unwrap()), 1_000);
        desk.live(10, Some(Key::Yes));
        assert_eq!(desk.app.bench().phase(), Phase::Ready);
        desk.live(1_000, Some(Key::Yes));
        desk.app.bench().phase()
    };
    assert_eq!(begin(&mut desk), Phase::Ready);
    let reported = desk.app.view().notice.as_ref().map(|notice| notice.detail().to_owned());
    assert_eq!(reported.as_deref(), Some("Another job, or send anew"));
    desk.live(10, Some(Key::No));
    desk.live(10, Some(Key::No));
    set(&mut desk, 4, mine);
    assert_eq!(begin(&mut desk), Phase::Winding);
}

/// An offer waits while a coil is on the mandrel or about to begin, and is withdrawn when nobody asks about
/// it any more.
#[test]
fn offer_waits_and_is_withdrawn() {
    let mut desk = Desk::new(&blank());
    desk.live(10, Some(Key::Yes));
    assert_eq!(desk.app.bench().phase(), Phase::Ready);
    let offer = Request::OfferJob { ticket: 1, job: planned(50).to_bytes() };
    assert_eq!(desk.ask(&offer), Reply::Answer(Answer::Waiting));
    desk.live(2_000, None);
    assert!(desk.app.view().offer.is_none());
    desk.live(10, Some(Key::Yes));
    assert_eq!(desk.app.bench().phase(), Phase::Winding, "Yes began the coil, and agreed to nothing");
    for _ in 0..10 {
        assert_eq!(desk.ask(&Request::Answer { ticket: 1 }), Reply::Answer(Answer::Waiting));
        desk.live(3_000, None);
        assert!(desk.app.view().offer.is_none());
    }
    // Paused, thrown away, back to choosing.
    desk.live(10, Some(Key::No));
    desk.live(10, Some(Key::No));
    assert_eq!(desk.app.bench().phase(), Phase::Verdict);
    desk.live(12_000, None);
    assert_eq!(desk.ask(&Request::Answer { ticket: 1 }), Reply::Answer(Answer::None));
}

/// What cannot be taken is refused with the reason.
#[test]
fn wrong_jobs_are_refused() {
    let mut desk = Desk::new(&blank());
    let mut offer = |job: PlannedJob| desk.ask(&Request::OfferJob { ticket: 9, job: job.to_bytes() });
    let other_encoder = PlannedJob { pulses_per_rev: 400, ..planned(50) }.signed().unwrap();
    assert_eq!(offer(other_encoder), Reply::Refused(Refusal::OtherEncoder));
    assert_eq!(offer(PlannedJob { rings: 51, ..planned(50) }), Reply::Refused(Refusal::OtherPlan));
    assert_eq!(offer(PlannedJob { rings: 0, ..planned(50) }), Reply::Refused(Refusal::InvalidJob));
    let settings = SettingsBytes { form: 1, bytes: [1; SETTINGS_LEN].into_iter().collect() };
    let write = Request::WriteSettings { ticket: 1, settings };
    assert_eq!(desk.ask(&write), Reply::Refused(Refusal::NoSettings));
}

/// The questions that only want to know are answered, and the clock is set.
#[test]
fn questions_are_answered() {
    let mut desk = Desk::new(&blank());
    desk.app.identify(0x1234);
    let Reply::Identity(who) = desk.ask(&Request::Identify { version: 1 }) else {
        unreachable!("an identity")
    };
    assert_eq!((who.id, who.pulses_per_rev), (0x1234, (TURN / 4) as u32));
    let Reply::Status(status) = desk.ask(&Request::Status) else { unreachable!("a status") };
    assert_eq!((status.phase, status.job.as_str(), status.rings_wanted), (Phase::Choose, "cuts", 50));
    assert_eq!(desk.ask(&Request::SetClock { seconds: 1_800_000_000 }), Reply::Done);
    desk.live(3_000, None);
    let Reply::Health(health) = desk.ask(&Request::SelfTest) else { unreachable!("a health") };
    assert_eq!((health.saving, health.clock, health.up_ms), (true, Some(1_800_000_003), 4_000));
}

/// Fetches everything there is, as the desktop does.
fn fetch(pair: &mut Pair, from: u32) -> Vec<u32> {
    let mut fetcher = Fetcher::from(from);
    let mut found = Vec::new();
    loop {
        for reply in pair.ask(&fetcher.request()) {
            match fetcher.take(reply) {
                Fetching::Entry(entry) => found.push(entry.number),
                Fetching::Wait | Fetching::Ask => {}
                Fetching::Finished => return found,
                Fetching::Refused(refusal) => unreachable!("{refusal}"),
            }
        }
    }
}

/// Coils wound while a computer fetches, also in the middle of a coil, come each once.
#[test]
fn log_is_fetched_while_coils_are_wound() {
    let mut pair = Pair::new(&blank());
    let mut found = Vec::new();
    while found.len() < 30 {
        pair.live(7_001);
        let from = found.last().map_or(0, |last| last + 1);
        found.extend(fetch(&mut pair, from));
        pair.ask(&Request::Acknowledge { next: found.last().map_or(0, |last| last + 1) });
    }
    assert!(found.iter().copied().eq(0..found.len() as u32), "{found:?}");
    assert!(pair.counter.entries >= found.len());
}

/// A million frames and torn streams of a hostile computer against a counter that winds, beside one that is
/// left alone: the same inputs bring about the same counts, states and outputs to the end.
///
/// `TURNTALLY_FRAMES=1000000` throws them all.
#[test]
fn hostile_computer_changes_nothing() {
    let frames: u64 =
        std::env::var("TURNTALLY_FRAMES").ok().and_then(|text| text.parse().ok()).unwrap_or(40_000);
    let (mut pair, (_, mut alone)) = (Pair::new(&blank()), Counter::on(blank(), SMALL, &cuts::job(), 5));
    let mut rng = fastrand::Rng::with_seed(17);
    let (mut thrown, mut bytes, mut answers) = (0_u64, 0_u64, 0_u64);
    while thrown < frames {
        for _ in 0..3 {
            let stream = hostile(&mut rng, &mut pair.client);
            (thrown, bytes) = (thrown + 1, bytes + stream.len() as u64);
            answers += u64::from(!pair.send(&stream).is_empty());
        }
        let (saved, saved_alone) = (pair.counter.live(), alone.live());
        assert!(pair.counter.app.view().offer.is_none(), "nothing that was made up is ever put to the user");
        let (bench, other) = (pair.counter.app.bench(), alone.app.bench());
        assert_eq!((bench.counts(), bench.phase()), (other.counts(), other.phase()), "after {thrown} frames");
        assert_eq!(bench.outputs(), other.outputs());
        // But for the time of day, which a computer may set.
        let kind = |save: &Option<Save>| save.as_ref().map(std::mem::discriminant);
        assert_eq!(kind(&saved), kind(&saved_alone));
    }
    println!(
        "{thrown} frames, {bytes} bytes, {answers} answered: counts, states and outputs as without them"
    );
    assert!(answers > thrown / 4);
}

/// A frame, or what looks like one: right ones of every kind that asks nothing of the user, right ones with
/// wrong words, cut ones, noise.
fn hostile(rng: &mut fastrand::Rng, client: &mut Client) -> Vec<u8> {
    let request = match rng.u8(..9) {
        0 => Request::Identify { version: rng.u16(..) },
        1 => Request::Status,
        2 => Request::Answer { ticket: rng.u32(..) },
        3 => Request::Fetch { from: rng.u32(..40), count: rng.u8(..) },
        4 => Request::OfferJob {
            ticket: rng.u32(..),
            job: PlannedJob { fingerprint: rng.u32(..), ..planned(50) }.to_bytes(),
        },
        5 => Request::ReadSettings,
        6 => Request::SetClock { seconds: rng.u64(..) },
        7 => Request::Batch { number: rng.u32(..9) },
        _ => Request::SelfTest,
    };
    let mut stream = client.ask(&request, Instant::ZERO).to_vec();
    match rng.u8(..8) {
        0 => stream.truncate(rng.usize(..stream.len())),
        1 => stream.iter_mut().for_each(|byte| *byte = rng.u8(..)),
        2 => {
            let at = rng.usize(..stream.len());
            stream[at] ^= 1 << rng.u8(..8);
        }
        3 => {
            for _ in 0..rng.usize(..600) {
                stream.push(rng.u8(1..));
            }
        }
        _ => {}
    }
    stream
}
