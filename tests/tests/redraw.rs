//! What the screen shows is what the counter holds: after any history of keys, knob, crank, offers and notices the
//! picture is a drawing of a view that stood within the last 61 ms, so that no Yes is for a page that was never drawn;
//! and a Yes is taken for an offer only where the panel, however slow or absent, has shown that offer for 0.7 s. A notice
//! or a fault stays until the panel has shown it for as long, or nobody need wait for the panel.
#![allow(clippy::unwrap_used, reason = "a test that cannot go on should stop")]

use std::collections::VecDeque;

use proptest::prelude::*;
use turntally_core::bench::{Bench, Phase, READ_FIRST};
use turntally_core::input::Key;
use turntally_core::settings::Settings;
use turntally_core::time::Instant;
use turntally_core::units::Length;
use turntally_firmware::app::App;
use turntally_firmware::display::Frame;
use turntally_firmware::link::Ask;
use turntally_firmware::notice::{Notice, Picture};
use turntally_firmware::offer::Offer;
use turntally_tests::cuts::Fingers;

/// Two drawings are 50 ms apart, two comparisons 10 ms (`firmware/src/redraw.rs`), and a poll is 1 ms.
const LATEST_MS: usize = 61;
/// A panel that shows no notice need not be waited for any longer (`firmware/src/redraw.rs`).
const UNSEEN_MS: u32 = 2_000;
const READ_FIRST_MS: usize = (READ_FIRST.as_micros() / 1_000) as usize;

#[derive(Debug, Clone)]
enum Act {
    Press(Key),
    Knob(i8),
    /// Quarter revolutions of the encoder's own, in counts.
    Crank(u16),
    /// Another batch, on this mandrel.
    Offer(Length),
    Notice(bool),
    /// Samples are lost: a fault, where a coil has begun.
    Lose,
    /// From now on the panel takes so many milliseconds for a picture; with none it does not answer.
    Panel(Option<u16>),
    /// Milliseconds.
    Wait(u16),
}

fn acts() -> impl Strategy<Value = Vec<Act>> {
    let act = prop_oneof![
        4 => Just(Act::Press(Key::Yes)),
        2 => Just(Act::Press(Key::No)),
        3 => (-3_i8..=3).prop_map(Act::Knob),
        2 => (1_u16..400).prop_map(Act::Crank),
        4 => (250_i64..1_200).prop_map(|um| Act::Offer(Length::from_um(um * 10))),
        1 => any::<bool>().prop_map(Act::Notice),
        2 => Just(Act::Lose),
        2 => prop::option::weighted(0.8, prop_oneof![0_u16..40, 200_u16..900]).prop_map(Act::Panel),
        4 => (0_u16..30).prop_map(Act::Wait),
        3 => (600_u16..900).prop_map(Act::Wait),
    ];
    prop::collection::vec(act, 1..40)
}

/// A panel that takes its time over a picture, or does not answer.
#[derive(Debug, Clone)]
struct Panel {
    takes_ms: Option<u16>,
    /// What is on its way, and when it will be whole.
    sending: Option<(u32, Picture, Frame)>,
    /// What it has shown of late, one for each millisecond.
    shown: VecDeque<Option<Frame>>,
    shows: Option<Frame>,
    sent: Option<Picture>,
}

impl Panel {
    const fn new() -> Self {
        Self { takes_ms: Some(25), sending: None, shown: VecDeque::new(), shows: None, sent: None }
    }

    fn tick(&mut self, app: &mut App, ms: u32) {
        let now = Instant::from_millis(ms);
        match self.takes_ms {
            None => {
                (self.sending, self.shows, self.sent) = (None, None, None);
                app.panel_lost();
            }
            Some(takes_ms) => {
                if let Some((done, picture, frame)) = self.sending.take() {
                    if done <= ms {
                        (self.shows, self.sent) = (Some(frame), Some(picture));
                        app.panel_has(picture, now);
                    } else {
                        self.sending = Some((done, picture, frame));
                    }
                }
                let newest = app.view().picture;
                if self.sending.is_none() && self.sent != Some(newest) {
                    self.sending = Some((ms + u32::from(takes_ms), newest, app.frame().clone()));
                }
            }
        }
        if self.shown.len() == READ_FIRST_MS {
            self.shown.pop_front();
        }
        self.shown.push_back(self.shows.clone());
    }

    fn has_stood(&self, frame: &Frame) -> bool {
        self.shown.len() == READ_FIRST_MS && self.shown.iter().all(|shown| shown.as_ref() == Some(frame))
    }
}

/// A counter, its clock, and what it would have drawn of late.
struct Counter {
    app: App,
    hand: Fingers,
    ms: u32,
    phase: u8,
    drawings: VecDeque<Frame>,
    panel: Panel,
    ticket: u32,
    taken: u32,
    /// The notice that stands, and since when.
    noticed: Option<(Notice, u32)>,
    /// Since when the page of a fault stands, with no message before it.
    faulty: Option<u32>,
}

impl Counter {
    fn new() -> Self {
        let mut bench = Bench::new();
        bench.set_up(Settings::default());
        let app = App::new(bench, Settings::default().build.pulses, 5_000);
        Self {
            app,
            hand: Fingers::default(),
            ms: 0,
            phase: 0,
            drawings: VecDeque::new(),
            panel: Panel::new(),
            ticket: 0,
            taken: 0,
            noticed: None,
            faulty: None,
        }
    }

    fn fresh(&self) -> Frame {
        let mut frame = Frame::new();
        self.app.view().draw(&mut frame).unwrap();
        frame
    }

    /// A millisecond, with so many counts in it.
    fn tick(&mut self, counts: u16) {
        self.ms += 1;
        let now = Instant::from_millis(self.ms);
        // Sixteen samples to a word, two bits each: the newest in the low ones.
        let mut word = 0_u32;
        for sample in 0..16 {
            if sample < counts {
                self.phase = (self.phase + 1) % 4;
            }
            word = word << 2 | [0b00, 0b10, 0b11, 0b01][usize::from(self.phase)];
        }
        self.app.samples(Ok(Some(word)), now);
        let (offered, before, picture) = (self.app.view().offer.is_some(), self.mandrel(), self.fresh());
        _ = self.app.poll(now, &mut self.hand);
        if offered && self.mandrel() != before {
            self.taken += 1;
            assert!(self.panel.has_stood(&picture), "taken unread at {} ms", self.ms);
        }
        if let Some((_, since)) = &self.noticed
            && self.app.view().notice.is_none()
        {
            let waited = self.ms - since >= UNSEEN_MS;
            assert!(waited || self.panel.has_stood(&picture), "dismissed unread at {} ms", self.ms);
        }
        let shows_fault = |app: &App| app.bench().phase() == Phase::Fault && app.view().message().is_none();
        if let Some(since) = self.faulty
            && !shows_fault(&self.app)
            && counts == 0
            && self.app.view().message().is_none()
        {
            let waited = self.ms - since >= UNSEEN_MS;
            assert!(waited || self.panel.has_stood(&picture), "fault answered unread at {} ms", self.ms);
        }
        self.faulty = shows_fault(&self.app).then(|| self.faulty.unwrap_or(self.ms));
        let since =
            |(standing, since): (Notice, u32), notice: &Notice| (standing == *notice).then_some(since);
        self.noticed = self.app.view().notice.clone().map(|notice| {
            let since = self.noticed.take().and_then(|before| since(before, &notice)).unwrap_or(self.ms);
            (notice, since)
        });
        self.app.redraw(now);
        self.panel.tick(&mut self.app, self.ms);
        if self.drawings.len() == LATEST_MS {
            self.drawings.pop_front();
        }
        let fresh = self.fresh();
        self.drawings.push_back(fresh);
    }

    fn mandrel(&self) -> Length {
        self.app.bench().settings_now().batch.mandrel
    }

    fn is_fresh(&self) -> bool {
        self.drawings.contains(self.app.frame())
    }

    /// The name of the batch, which is shown, has its mandrel.
    fn offer(&mut self, mandrel: Length) {
        let mut settings = Settings::default();
        settings.batch.mandrel = mandrel;
        self.ticket += 1;
        _ = self.app.answer(Ask::Offer(self.ticket, Offer::Settings(settings)));
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(96))]

    #[test]
    fn the_picture_is_of_the_last_moments(acts in acts()) {
        let mut counter = Counter::new();
        counter.tick(0);
        for act in acts {
            let ms = match act {
                Act::Press(key) => {
                    counter.hand.key = Some(key);
                    1
                }
                Act::Knob(clicks) => {
                    counter.hand.clicks = clicks;
                    1
                }
                Act::Crank(counts) => {
                    for _ in 0..counts / 4 {
                        counter.tick(4);
                        prop_assert!(counter.is_fresh(), "at {} ms", counter.ms);
                    }
                    1
                }
                Act::Offer(mandrel) => {
                    counter.offer(mandrel);
                    1
                }
                Act::Notice(first) => {
                    let title = if first { "One moment" } else { "Flash fails" };
                    counter.app.report(Notice::new(title, format_args!("at {} ms", counter.ms), ["", ""]));
                    1
                }
                Act::Lose => {
                    counter.app.samples_lost();
                    1
                }
                Act::Panel(takes_ms) => {
                    counter.panel.takes_ms = takes_ms;
                    1
                }
                Act::Wait(ms) => ms,
            };
            for _ in 0..ms {
                counter.tick(0);
                prop_assert!(counter.is_fresh(), "at {} ms", counter.ms);
            }
        }
    }
}

/// While a ring is measured each click of the knob is seen, and so is the question that an odd one raises.
#[test]
fn a_measured_ring_is_drawn() {
    let mut counter = Counter::new();
    let press = |counter: &mut Counter, key: Option<Key>, clicks: i8| {
        (counter.hand.key, counter.hand.clicks) = (key, clicks);
        for _ in 0..=LATEST_MS {
            counter.tick(0);
        }
        assert_eq!(*counter.app.frame(), counter.fresh(), "{:?}", counter.app.bench().state());
    };
    press(&mut counter, Some(Key::Yes), 0);
    press(&mut counter, Some(Key::Yes), 0);
    let aim = counter.app.bench().goal().unwrap().aim();
    while counter.app.bench().counts() < aim {
        counter.tick(4);
    }
    press(&mut counter, Some(Key::Yes), 0);
    press(&mut counter, Some(Key::Yes), 0);
    press(&mut counter, Some(Key::No), 0);
    press(&mut counter, None, 2);
    press(&mut counter, Some(Key::Yes), 0);
    assert_eq!(counter.app.bench().phase(), Phase::MeasureRing);
    let mut pictures = vec![counter.app.frame().clone()];
    for (key, clicks) in [(None, 1), (None, 1), (None, 100), (Some(Key::Yes), 0), (Some(Key::No), 0)] {
        press(&mut counter, key, clicks);
        pictures.push(counter.app.frame().clone());
    }
    let last = pictures.pop().unwrap();
    assert_eq!(pictures[3], last, "No leads back to the value");
    for (at, picture) in pictures.iter().enumerate() {
        assert!(!pictures[..at].contains(picture), "picture {at}");
    }
}

/// An offer is declined and another comes in the next millisecond, wherever that falls between two comparisons: once a
/// Yes would be taken for the other one, the screen shows it.
#[test]
fn the_next_offer_is_drawn() {
    for late in 0..20 {
        let mut counter = Counter::new();
        counter.tick(0);
        for um in [5_000, 6_000] {
            counter.offer(Length::from_um(um));
            counter.tick(0);
            assert!(counter.app.view().offer.is_some(), "{um} um");
            for _ in 0..READ_FIRST_MS + late {
                counter.tick(0);
            }
            assert_eq!(*counter.app.frame(), counter.fresh(), "{um} um, {late} ms late");
            counter.hand.key = Some(Key::No);
            counter.tick(0);
        }
    }
}

/// An offer on a panel that takes a second over its picture: Yes counts 0.7 s after it is whole. Without a panel only No
/// counts.
#[test]
fn yes_waits_for_the_panel() {
    let mut counter = Counter::new();
    counter.panel.takes_ms = Some(1_000);
    counter.tick(0);
    counter.offer(Length::from_um(5_000));
    let mut taken = 0;
    while counter.taken == 0 {
        counter.hand.key = Some(Key::Yes);
        counter.tick(0);
        taken = counter.ms;
        assert!(taken < 4_000, "never taken");
    }
    // The first page is on its way for a second when the offer comes; then the offer's is, for another.
    assert!((2_700..=2_710).contains(&taken), "{taken} ms");

    counter.panel.takes_ms = None;
    counter.offer(Length::from_um(6_000));
    for key in [Key::Yes, Key::No] {
        for _ in 0..2_000 {
            counter.hand.key = Some(key);
            counter.tick(0);
            assert!(counter.app.view().offer.is_some() || key == Key::No, "taken at {} ms", counter.ms);
        }
    }
    assert_eq!((counter.app.view().offer.is_none(), counter.taken), (true, 1));
}

/// A key that goes down as a notice comes up leaves it. The first that dismisses it comes 0.7 s after the panel has it,
/// or, where the panel does not answer, 2 s after it came up.
#[test]
fn notice_waits_for_the_panel() {
    for (takes_ms, expected) in [(Some(25), 700..=790), (Some(900), 1_600..=1_665), (None, 2_000..=2_065)] {
        let mut counter = Counter::new();
        for _ in 0..100 {
            counter.tick(0);
        }
        counter.panel.takes_ms = takes_ms;
        counter.app.report(Notice::new("Flash fails", format_args!("at once"), ["", ""]));
        let since = counter.ms;
        while counter.app.view().notice.is_some() {
            counter.hand.key = Some(Key::Yes);
            counter.tick(0);
            assert!(counter.ms < since + 4_000, "never dismissed");
        }
        let stood = counter.ms - since;
        assert!(expected.contains(&stood), "{takes_ms:?}: {stood} ms");
    }
}

/// A key that goes down as a fault comes up does not answer it, nor does one before the panel has shown it for 0.7 s, or,
/// where the panel does not answer, for 2 s.
#[test]
fn fault_waits_for_the_panel() {
    for (takes_ms, expected) in [(Some(25), 700..=790), (Some(900), 1_600..=1_665), (None, 2_000..=2_065)] {
        let mut counter = Counter::new();
        for key in [Key::Yes, Key::Yes] {
            counter.hand.key = Some(key);
            counter.tick(0);
        }
        assert!(counter.app.bench().goal().is_some(), "{:?}", counter.app.bench().state());
        for _ in 0..100 {
            counter.tick(0);
        }
        counter.panel.takes_ms = takes_ms;
        counter.app.samples_lost();
        counter.tick(0);
        let since = counter.ms;
        while counter.app.bench().phase() == Phase::Fault {
            counter.hand.key = Some(Key::Yes);
            counter.tick(0);
            assert!(counter.ms < since + 4_000, "never answered");
        }
        let stood = counter.ms - since;
        assert!(expected.contains(&stood), "{takes_ms:?}: {stood} ms");
    }
}
