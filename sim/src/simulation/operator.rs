//! The simulated person: cranks the winder, hears and sees the counter, presses its keys.
//!
//! They know only what a person at the bench knows: what sounds, what lights, what the screen says,
//! each after the time that a person needs. Their figures are our own invention, between published
//! bounds: careful bench winding 20 to 60 rpm (common practice, no source), cadences of 70 and 85 rpm
//! in laboratory cranking (Eur. J. Appl. Physiol. 2008) and up to 125 rpm at greatest power (Kraemer et
//! al. 2009); simple reaction to sound about 0.16 s, choice reaction 0.35 to 0.45 s (lecture notes).

use std::f64::consts::TAU;
use std::fmt;
use std::str::FromStr;

use turntally_core::bench::{Fault, Phase};
use turntally_core::input::Key;

/// Faults, with no sound coil in between, after which anybody looks for a screwdriver.
const MOST_SPOILT: u32 = 3;

/// How an operator winds.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct OperatorProfile {
    /// Their name on the command line.
    pub name: &'static str,
    /// Crank turns per second while there is no cue.
    cadence: f64,
    /// Share of the cadence kept once the beats come.
    near: f64,
    /// Mean time from a cue to the hand's answer, and its spread (standard deviation), in seconds.
    reaction: (f64, f64),
    /// Time in which they bring the crank to rest from their cadence, in seconds.
    braking: f64,
    /// How much the speed wavers, as a share.
    wavering: f64,
    /// Pauses a minute, for a look or a new grip.
    pauses: f64,
    /// They wind back what they wound too far.
    tidy: bool,
}

impl OperatorProfile {
    /// The same hand at another speed, in crank turns per second.
    #[must_use]
    pub const fn at(self, cadence: f64) -> Self {
        Self { cadence, ..self }
    }

    /// Crank turns per second while there is no cue.
    #[must_use]
    pub const fn cadence(&self) -> f64 {
        self.cadence
    }
}

/// From careful to hasty.
pub const PROFILES: [OperatorProfile; 4] = [
    OperatorProfile {
        name: "careful",
        cadence: 0.6,
        near: 0.5,
        reaction: (0.22, 0.03),
        braking: 0.15,
        wavering: 0.05,
        pauses: 1.5,
        tidy: true,
    },
    OperatorProfile {
        name: "steady",
        cadence: 0.95,
        near: 0.75,
        reaction: (0.25, 0.04),
        braking: 0.22,
        wavering: 0.08,
        pauses: 1.0,
        tidy: true,
    },
    OperatorProfile {
        name: "brisk",
        cadence: 1.4,
        near: 0.85,
        reaction: (0.28, 0.05),
        braking: 0.28,
        wavering: 0.10,
        pauses: 0.7,
        tidy: true,
    },
    OperatorProfile {
        name: "hasty",
        cadence: 1.9,
        near: 1.0,
        reaction: (0.33, 0.08),
        braking: 0.33,
        wavering: 0.14,
        pauses: 0.5,
        tidy: false,
    },
];

/// No such operator.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct UnknownOperator;

impl fmt::Display for UnknownOperator {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let names = PROFILES.map(|profile| profile.name);
        write!(f, "only {} are allowed", names.join(", "))
    }
}

impl std::error::Error for UnknownOperator {}

impl FromStr for OperatorProfile {
    type Err = UnknownOperator;

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        PROFILES.into_iter().find(|profile| profile.name == text.trim()).ok_or(UnknownOperator)
    }
}

/// What the counter shows a person.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Shown {
    /// What the screen, the lamp and the sounder say together.
    pub phase: Phase,
    /// The fault on the screen.
    pub fault: Option<Fault>,
    /// Turns still to go on the screen; below zero when past.
    pub to_go: f64,
    /// Turns of the target, as the screen gave it before winding.
    pub target: f64,
    /// Turns that the mandrel has made on this coil, as the growing coil shows to anybody.
    pub on_mandrel: f64,
    /// The line that is marked says "keep".
    pub keep_marked: bool,
    /// The coil is longer than the cradle takes.
    pub too_long: bool,
}

/// What the hand is doing.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Hand {
    /// Off the crank, or holding it still.
    Still,
    /// Cranking towards this speed, in crank turns per second; negative winds back.
    Crank(f64),
    /// Bringing it to rest.
    Brake,
}

/// A key press, made or to come: from when to when, in seconds.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Press {
    key: Key,
    from: f64,
    until: f64,
}

/// The person.
#[derive(Debug)]
pub struct Operator {
    profile: OperatorProfile,
    rng: fastrand::Rng,
    hand: Hand,
    /// Crank turns per second.
    speed: f64,
    /// Slow wandering of the speed, as a share.
    drift: f64,
    /// Crank angle in turns.
    angle: f64,
    /// What has been noticed, and what will be, when.
    seen: Phase,
    noticing: Option<(f64, Phase)>,
    shown: Phase,
    /// Nothing is decided before this time, in seconds.
    busy_until: f64,
    /// Winding back by this many turns yet.
    backing_up: f64,
    press: Option<Press>,
    /// Faults answered since the last coil that had none.
    spoilt: u32,
    /// A fault came while this coil was wound.
    fault_seen: bool,
    gave_up: bool,
}

impl Operator {
    /// Somebody of this profile, with their own chances.
    #[must_use]
    pub fn new(profile: OperatorProfile, rng: fastrand::Rng) -> Self {
        Self {
            profile,
            rng,
            hand: Hand::Still,
            speed: 0.0,
            drift: 0.0,
            angle: 0.0,
            seen: Phase::Choose,
            noticing: None,
            shown: Phase::Choose,
            busy_until: 1.0,
            backing_up: 0.0,
            press: None,
            spoilt: 0,
            fault_seen: false,
            gave_up: false,
        }
    }

    /// Crank angle in turns.
    #[must_use]
    pub const fn angle(&self) -> f64 {
        self.angle
    }

    /// The crank stands still.
    #[must_use]
    pub fn is_still(&self) -> bool {
        self.speed == 0.0
    }

    /// They have given the batch up: the counter cannot be trusted.
    #[must_use]
    pub const fn gave_up(&self) -> bool {
        self.gave_up
    }

    /// The key that is held down now.
    #[must_use]
    pub fn key(&self, now: f64) -> Option<Key> {
        self.press.filter(|press| (press.from..press.until).contains(&now)).map(|press| press.key)
    }

    /// Lives through one millisecond.
    pub fn step(&mut self, now: f64, shown: Shown) {
        if shown.phase != self.shown {
            self.shown = shown.phase;
            let (mean, spread) = self.profile.reaction;
            let after = (mean + spread * self.normal()).max(0.1);
            self.noticing = Some((now + after, shown.phase));
        }
        if let Some((at, phase)) = self.noticing
            && now >= at
        {
            self.noticing = None;
            self.seen = phase;
            self.notice();
        }
        self.turn();
        if now >= self.busy_until {
            self.decide(now, shown);
        }
    }

    /// What the hand does at once when something is noticed, in the midst of cranking.
    fn notice(&mut self) {
        match (self.seen, self.hand) {
            (
                Phase::Stop | Phase::Over | Phase::Fault | Phase::Verdict | Phase::Paused,
                Hand::Crank(speed),
            ) if speed > 0.0 => {
                self.hand = Hand::Brake;
            }
            (Phase::Near, Hand::Crank(speed)) if speed > 0.0 => {
                self.hand = Hand::Crank(speed.min(self.profile.cadence * self.profile.near));
            }
            _ => {}
        }
    }

    /// What is decided at rest, or between whiles.
    fn decide(&mut self, now: f64, shown: Shown) {
        let calm = self.seen == shown.phase;
        if !self.is_still() {
            if shown.on_mandrel > 2.0 * shown.target + 10.0 {
                self.hand = Hand::Brake;
            }
            self.maybe_pause(now, shown.on_mandrel);
            return;
        }
        if !calm || self.press.is_some_and(|press| now < press.until + 0.4) {
            return;
        }
        match shown.phase {
            Phase::Choose => self.press(now, Key::Yes, 0.8),
            // Nothing to be set up here, and the rings are counted by the saw.
            Phase::SetUp | Phase::CountRings | Phase::MeasureRing => self.press(now, Key::No, 0.8),
            // Catching the wire in the mandrel's hole and drawing it tight takes a while.
            Phase::Ready => {
                let handling = 2.0 + 2.0 * self.rng.f64();
                self.press(now, Key::Yes, handling);
            }
            // A coil twice as long as it should be, and the counter still wants more: it is broken.
            Phase::Winding | Phase::Near if shown.on_mandrel > 2.0 * shown.target + 10.0 => {
                self.gave_up = true;
            }
            Phase::Winding | Phase::Near => self.crank_on(shown.to_go),
            Phase::Over if self.profile.tidy || shown.too_long => self.hand = Hand::Crank(-0.25),
            Phase::Stop | Phase::Over => self.press(now, Key::Yes, 0.7),
            Phase::Paused => self.press(now, Key::Yes, 0.5),
            Phase::Verdict if shown.keep_marked => self.press(now, Key::Yes, 0.6),
            Phase::Verdict => self.press(now, Key::No, 0.6),
            // Snipping, sliding off, sawing: minutes on a real bench, and nothing happens at the counter.
            Phase::Next => {
                if !std::mem::take(&mut self.fault_seen) {
                    self.spoilt = 0;
                }
                let handling = 2.0 + 3.0 * self.rng.f64();
                self.press(now, Key::Yes, handling);
            }
            Phase::Done => {}
            Phase::Fault => self.answer_fault(now, shown.fault),
        }
    }

    fn crank_on(&mut self, to_go: f64) {
        let speed = if self.backing_up > 0.0 {
            -0.2
        } else if to_go < 0.7 {
            0.25
        } else if to_go < 3.0 {
            self.profile.cadence * self.profile.near.min(0.7)
        } else {
            self.profile.cadence
        };
        self.hand = Hand::Crank(speed);
    }

    fn answer_fault(&mut self, now: f64, fault: Option<Fault>) {
        let key = match fault {
            // Only the sign was wrong.
            Some(Fault::Backwards) => return self.press(now, Key::Yes, 2.0),
            // The count is known to within a bound.
            Some(Fault::MissedSteps | Fault::Chatter | Fault::PowerCut) => Key::Yes,
            _ => Key::No,
        };
        self.fault_seen = true;
        self.spoilt += 1;
        if self.spoilt > MOST_SPOILT {
            self.gave_up = true;
        } else {
            self.press(now, key, 2.0);
        }
    }

    /// Now and then the hand stops for a look or a new grip, and at times winds back a little.
    fn maybe_pause(&mut self, now: f64, on_mandrel: f64) {
        let cranking = matches!(self.hand, Hand::Crank(speed) if speed > 0.0);
        if cranking && self.seen == Phase::Winding && self.rng.f64() < self.profile.pauses / 60_000.0 {
            self.hand = Hand::Brake;
            self.busy_until = now + 1.0 + 2.0 * self.rng.f64();
            if self.rng.f64() < 0.3 {
                let turns = 0.1 + 0.4 * self.rng.f64();
                // Wire that is not there cannot be wound back.
                self.backing_up = if on_mandrel > 1.0 { turns } else { 0.0 };
            }
        }
    }

    /// Presses a key after `thinking` seconds, for a moment.
    fn press(&mut self, now: f64, key: Key, thinking: f64) {
        let from = now + thinking;
        self.press = Some(Press { key, from, until: from + 0.08 + 0.06 * self.rng.f64() });
    }

    /// Moves the crank for one millisecond.
    fn turn(&mut self) {
        const DT: f64 = 1e-3;
        let wanted = match self.hand {
            Hand::Still => 0.0,
            Hand::Brake => {
                let slower = self.speed.abs() - self.profile.cadence / self.profile.braking * DT;
                self.speed = if slower <= 0.0 { 0.0 } else { slower.copysign(self.speed) };
                if self.speed == 0.0 {
                    self.hand = Hand::Still;
                }
                self.angle += self.speed * DT;
                return;
            }
            Hand::Crank(speed) => speed,
        };
        // An arm pushes better in one half of the turn than in the other.
        // The speed wanders by the same share, over about a third of a second.
        let nudge = self.profile.wavering * (6.0 * DT).sqrt() * self.normal();
        self.drift += nudge - self.drift * 3.0 * DT;
        let ripple = 1.0 + self.profile.wavering * (TAU * self.angle).sin() + self.drift;
        let target = wanted * ripple.max(0.2);
        let most = self.profile.cadence / 0.35 * DT;
        self.speed += (target - self.speed).clamp(-most, most);
        if wanted == 0.0 && self.speed.abs() < most {
            self.speed = 0.0;
        }
        self.angle += self.speed * DT;
        if wanted < 0.0 && self.backing_up > 0.0 {
            self.backing_up -= self.speed.abs() * DT;
            if self.backing_up <= 0.0 {
                self.hand = Hand::Brake;
            }
        } else if wanted < 0.0 && self.seen != Phase::Over {
            self.hand = Hand::Brake;
        }
    }

    /// A normally distributed number, mean 0 and deviation 1 (Box and Muller).
    fn normal(&mut self) -> f64 {
        let radius = (-2.0 * (1.0 - self.rng.f64()).ln()).sqrt();
        radius * (TAU * self.rng.f64()).cos()
    }
}
