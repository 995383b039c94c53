//! A counter under test: what is done to it, and how its state is read.

use core::fmt;

use turntally_core::bench::{ErrorBound, Phase};
use turntally_core::link::computer::{Client, NoAnswer};
use turntally_core::link::{Health, Identity, Reply, Request, SettingsBytes, Status, VERSION};
use turntally_core::settings::Settings;
use turntally_core::time::{Duration, Instant};

use super::board::{Board, Grain, Input, Late};
use super::report::{Check, Totals};
use super::watch::{Output, Seen};
use super::wave::{Pattern, Wave};

/// Why the test cannot go on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Broken {
    /// The counter does not answer.
    Silent,
    /// The tester was late with an edge.
    Late,
    /// The answer belongs to no question of ours.
    Unexpected,
    /// The counter did not come to the phase that was wanted.
    Phase { wanted: Phase, found: Phase },
}

impl From<NoAnswer> for Broken {
    fn from(_: NoAnswer) -> Self {
        Self::Silent
    }
}

impl From<Late> for Broken {
    fn from(_: Late) -> Self {
        Self::Late
    }
}

impl fmt::Display for Broken {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Silent => f.write_str("the counter does not answer"),
            Self::Late => Late.fmt(f),
            Self::Unexpected => f.write_str("the counter answers otherwise than this version expects"),
            Self::Phase { wanted, found } => write!(f, "the counter is in state {found:?}, not {wanted:?}"),
        }
    }
}

/// How long a key is held, and how long it is left after that: its debouncing takes 8 ms.
const PRESS: Duration = Duration::from_millis(40);
/// From one quarter of a click of the knob to the next: the counter reads it every millisecond.
const KNOB_STEP: Duration = Duration::from_millis(3);
/// The knob's switches through a click, A in bit 1, from where both are open.
const KNOB_CYCLE: [u8; 4] = [0b11, 0b10, 0b00, 0b01];
/// From the last edge until the count is read: a tick of the counter is a millisecond.
const SETTLE: Duration = Duration::from_millis(5);
/// A crank at rest for so long may turn the other way as fast as it likes.
const REST: Duration = Duration::from_millis(500);
/// A page that came up by itself takes no key for 0.7 s.
const READ_FIRST: Duration = Duration::from_millis(800);
/// How often Yes is pressed until a coil begins: the counter may have to make room in its flash first.
const STARTS: u8 = 10;

pub(super) struct Session<'a, B> {
    pub board: &'a mut B,
    client: Client,
    /// Where the crank stands, in counts.
    crank: i64,
    knob: i64,
    /// Counts of the knob from one click to the next.
    pub click: u8,
    /// Counts of the counter for a count of the crank: 1, or -1.
    pub sign: i64,
    pub totals: Totals,
}

impl<'a, B: Board> Session<'a, B> {
    pub fn new(board: &'a mut B) -> Self {
        Self {
            board,
            client: Client::default(),
            crank: 0,
            knob: 0,
            click: 4,
            sign: 1,
            totals: Totals::default(),
        }
    }

    /// Reports a check.
    pub fn check(&mut self, name: &str, passed: bool, measured: fmt::Arguments<'_>, allowed: &str) -> bool {
        let count = if passed { &mut self.totals.passed } else { &mut self.totals.failed };
        *count += 1;
        self.board.report(format_args!("{}", Check { name, passed, measured, allowed }));
        passed
    }

    pub fn busy(&mut self, name: &str) {
        self.board.report(format_args!("busy\t{name}"));
    }

    pub fn wait(&mut self, ms: u32) {
        self.board.wait(Duration::from_millis(ms), Grain::Coarse);
    }

    fn ask(&mut self, request: &Request) -> Result<Reply, Broken> {
        let now = self.board.now();
        self.board.send(self.client.ask(request, now));
        loop {
            while let Some(byte) = self.board.receive() {
                if let Some(reply) = self.client.push(byte, self.board.now()) {
                    return Ok(reply);
                }
            }
            let now = self.board.now();
            if let Some(frame) = self.client.ask_again(now)? {
                self.board.send(frame);
            }
            self.board.wait(Duration::from_micros(500), Grain::Coarse);
        }
    }

    pub fn identity(&mut self) -> Result<Identity, Broken> {
        match self.ask(&Request::Identify { version: VERSION })? {
            Reply::Identity(identity) => Ok(identity),
            _ => Err(Broken::Unexpected),
        }
    }

    pub fn settings(&mut self) -> Result<Settings, Broken> {
        match self.ask(&Request::ReadSettings)? {
            Reply::Settings(bytes) => SettingsBytes::read(&bytes).map_err(|_| Broken::Unexpected),
            _ => Err(Broken::Unexpected),
        }
    }

    pub fn status(&mut self) -> Result<Status, Broken> {
        match self.ask(&Request::Status)? {
            Reply::Status(status) => Ok(status),
            _ => Err(Broken::Unexpected),
        }
    }

    pub fn health(&mut self) -> Result<Health, Broken> {
        match self.ask(&Request::SelfTest)? {
            Reply::Health(health) => Ok(health),
            _ => Err(Broken::Unexpected),
        }
    }

    pub fn phase(&mut self) -> Result<Phase, Broken> {
        Ok(self.status()?.phase)
    }

    pub fn expect(&mut self, wanted: Phase) -> Result<(), Broken> {
        let found = self.phase()?;
        if found == wanted { Ok(()) } else { Err(Broken::Phase { wanted, found }) }
    }

    /// Presses a key, held for `held`.
    pub fn hold(&mut self, key: Input, held: Duration) {
        self.board.close(key, true);
        self.board.wait(held, Grain::Coarse);
        self.board.close(key, false);
        self.board.wait(PRESS, Grain::Coarse);
    }

    pub fn press(&mut self, key: Input) {
        self.hold(key, PRESS);
    }

    /// Turns the knob by so many clicks.
    pub fn turn_knob(&mut self, clicks: i64) {
        for _ in 0..u64::from(self.click) * clicks.unsigned_abs() {
            self.knob += clicks.signum();
            let open = KNOB_CYCLE.get(self.knob.rem_euclid(4) as usize).copied().unwrap_or_default();
            self.board.close(Input::KnobA, open & 0b10 == 0);
            self.board.close(Input::KnobB, open & 0b01 == 0);
            self.board.wait(KNOB_STEP, Grain::Coarse);
        }
    }

    /// From Ready to Winding.
    pub fn begin_coil(&mut self) -> Result<(), Broken> {
        for _ in 0..STARTS {
            self.press(Input::Yes);
            match self.phase()? {
                Phase::Winding => return Ok(()),
                // A message of the counter's own ("One moment"): the next Yes is its answer.
                Phase::Ready => self.board.wait(READ_FIRST, Grain::Coarse),
                found => return Err(Broken::Phase { wanted: Phase::Winding, found }),
            }
        }
        self.expect(Phase::Winding)
    }

    /// Answers a message of the counter's own, if there is one: it would take the next key.
    fn dismiss(&mut self) -> Result<(), Broken> {
        if self.status()?.notice {
            self.board.wait(READ_FIRST, Grain::Coarse);
            self.press(Input::No);
        }
        Ok(())
    }

    /// From Winding, wherever the coil ends, to Ready: the coil is thrown away.
    pub fn scrap(&mut self) -> Result<(), Broken> {
        self.dismiss()?;
        self.press(Input::Yes);
        self.expect(Phase::Verdict)?;
        // From whatever is marked to the first of the three, and on to the second.
        self.turn_knob(-3);
        self.turn_knob(1);
        self.press(Input::Yes);
        self.expect(Phase::Ready)
    }

    /// From a fault to Ready: the coil is thrown away.
    pub fn throw_away(&mut self) -> Result<(), Broken> {
        self.dismiss()?;
        self.expect(Phase::Fault)?;
        self.board.wait(READ_FIRST, Grain::Coarse);
        self.press(Input::No);
        self.expect(Phase::Ready)
    }

    /// Winds by so many counts of the counter, and leaves the crank at rest for a moment. Returns when the last edge
    /// came.
    pub fn wind(&mut self, counts: i64, pattern: Pattern) -> Result<Instant, Broken> {
        let at = self.edges(counts, pattern)?;
        self.board.wait(SETTLE, Grain::Coarse);
        Ok(at)
    }

    /// Winds, and watches nothing afterwards.
    pub fn edges(&mut self, counts: i64, pattern: Pattern) -> Result<Instant, Broken> {
        let counts = counts * self.sign;
        let at = self.board.play(&mut Wave::new(self.crank, counts, pattern))?;
        match pattern {
            // The wires are where this channel stands: an even number of toggles, back where they were.
            Pattern::Alone { .. } => {}
            _ => self.crank += counts,
        }
        Ok(at)
    }

    pub fn rest(&mut self) {
        self.board.wait(REST, Grain::Coarse);
    }

    /// What an output did in so many milliseconds from now on.
    pub fn watched(&mut self, ms: u32, grain: Grain) -> [Seen; 5] {
        self.board.watch().begin();
        self.board.wait(Duration::from_millis(ms), grain);
        Output::ALL.map(|output| self.board.watch().of(output))
    }
}

/// An error bound in words.
pub(super) struct BoundWords(pub ErrorBound);

impl fmt::Display for BoundWords {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.0 {
            ErrorBound::Within(counts) => write!(f, "{counts}"),
            ErrorBound::Unknown => f.write_str("unknown"),
        }
    }
}

/// A gap between edges for a rate of so many a second.
pub(super) const fn even(edges_per_second: u32) -> Pattern {
    Pattern::Even { gap: Duration::from_micros(1_000_000 / edges_per_second as u64) }
}
