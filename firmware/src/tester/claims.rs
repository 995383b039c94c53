//! The second part of the test: one check for each claim that wires can show. README.md, "What it guarantees", and
//! firmware/README.md have the claims.

use turntally_core::bench::{ErrorBound, Fault, Phase};
use turntally_core::settings::Loudness;
use turntally_core::signal::Channel;
use turntally_core::time::{Duration, Instant};

use super::board::{Board, Grain, Input};
use super::script::Plan;
use super::session::{BoundWords, Broken, Session, even};
use super::watch::{Output, Seen};
use super::wave::Pattern;

/// From the edge that reaches the target to each output (README.md).
const CUE: Duration = Duration::from_millis(2);
/// Edges come singly from so many counts before the place where the target is expected.
const FEEL: i64 = 3;
/// And up to so many after it.
const FEEL_FOR: i64 = 8;

/// Times that the cue is given on a coil: a counter has room for the notes of so much cranking back and forth.
const CUES_OF_A_COIL: u32 = 10;

/// What followed the edge that reached the target, in microseconds, over several times.
#[derive(Debug, Clone, Copy, Default)]
struct Cue {
    stop: u64,
    lamp: u64,
    sounder: u64,
}

impl<B: Board> Session<'_, B> {
    /// Every claim; from Ready, and back to Choose.
    pub(super) fn claims(&mut self, plan: Plan) -> Result<(), Broken> {
        for round in 1..=plan.rounds {
            self.new_coil()?;
            self.count(round, plan)?;
            self.scrap()?;
        }
        self.cue(plan)?;
        self.broken_signals()?;
        self.keys_and_knob(plan)?;
        self.well()
    }

    /// From Ready to a coil that has begun forwards: one that begins backwards is reported, and rightly.
    fn new_coil(&mut self) -> Result<(), Broken> {
        self.begin_coil()?;
        self.wind(400, even(2_000))?;
        Ok(())
    }

    /// The count, exact to the last one whatever a sound encoder does.
    fn count(&mut self, round: u32, plan: Plan) -> Result<(), Broken> {
        let turn = self.turn()?;
        let rest = Duration::from_millis(plan.rest_ms);
        self.busy("count");
        let before = self.status()?.counts;
        self.board.wait(rest, Grain::Coarse);
        let moved = self.status()?.counts - before;
        let seconds = plan.rest_ms / 1_000;
        self.check("count: at rest", moved == 0, format_args!("{moved} counts in {seconds} s"), "0 counts");
        let turns = i64::from(plan.turns);
        let at = |turns_per_second: u32| even(turns_per_second * turn.unsigned_abs() as u32);
        let bounce = Pattern::Bounce { gap: Duration::from_micros(1_000_000 / (2 * turn.unsigned_abs())) };
        self.exact("count: by hand, 2 turns/s", turns * turn, at(2))?;
        self.exact("count: by hand, 5 turns/s, backwards", -turns * turn, at(5))?;
        self.exact("count: with bounce", turns * turn, bounce)?;
        self.reversals(round, plan)?;
        self.exact("count: at 200,000 edges/s", i64::from(plan.fast), even(200_000))?;
        self.exact("count: at 200,000 edges/s, backwards", -i64::from(plan.fast), even(200_000))?;
        // What was wound on above is wound back.
        self.exact("count: at 20,000 edges/s, backwards", -turns * turn, even(20_000))
    }

    fn exact(&mut self, name: &str, counts: i64, pattern: Pattern) -> Result<(), Broken> {
        self.busy(name);
        let counted = self.counted(counts, pattern)?;
        let status = self.status()?;
        self.rest();
        let sound = status.faults.is_empty() && status.error_bound == ErrorBound::Within(0);
        self.check(
            name,
            counted == counts && sound,
            format_args!("{counted} of {counts} counts, error bound {}", BoundWords(status.error_bound)),
            "every count, error bound 0",
        );
        Ok(())
    }

    /// Forwards and backwards by stretches that do not repeat.
    fn reversals(&mut self, round: u32, plan: Plan) -> Result<(), Broken> {
        let name = "count: with reversals";
        self.busy(name);
        let before = self.status()?.counts;
        let mut net = 0;
        for stretch in 0..plan.reversals {
            // A stretch forward, and one back that is shorter by a number that is no multiple of a pulse.
            let forward = 301 + i64::from((round * 7 + stretch * 53) % 211);
            let back = forward - 1 - i64::from((round + stretch) % 7);
            for counts in [forward, -back] {
                self.edges(counts, even(3_200))?;
                self.rest();
            }
            net += forward - back;
        }
        let status = self.status()?;
        let counted = status.counts - before;
        self.check(
            name,
            counted == net && status.faults.is_empty(),
            format_args!("{counted} of {net} counts after {} reversals", 2 * plan.reversals),
            "every count",
        );
        Ok(())
    }

    /// From the edge that reaches the target to stop line, lamp and sounder. At rest before that edge, the crank gives
    /// the counter no speed by which it could signal earlier.
    fn cue(&mut self, plan: Plan) -> Result<(), Broken> {
        let name = "stop: from the edge to the stop line";
        let mut worst = Cue::default();
        let (mut given, mut note) = (0, None);
        for time in 0..plan.cues {
            self.busy(name);
            if time % CUES_OF_A_COIL == 0 {
                if time > 0 {
                    self.scrap()?;
                }
                self.new_coil()?;
                let left = self.counts_to_target()?;
                self.wind(left - FEEL, even(20_000))?;
            }
            let Some(cue) = self.feel_for_the_target(&mut note)? else { break };
            given += 1;
            worst.stop = worst.stop.max(cue.stop);
            worst.lamp = worst.lamp.max(cue.lamp);
            worst.sounder = worst.sounder.max(cue.sounder);
            self.rest();
            // So far back that the cue is withdrawn, and to within an edge again.
            let half = self.turn()? / 2;
            self.edges(-half, even(3_200))?;
            self.rest();
            self.edges(half - 1, even(3_200))?;
        }
        let all = given == plan.cues;
        let cues = [
            ("stop: from the edge to the stop line", worst.stop),
            ("stop: from the edge to the green lamp", worst.lamp),
            ("stop: from the edge to the sounder", worst.sounder),
        ];
        for (name, us) in cues {
            self.check(
                name,
                all && us <= CUE.as_micros(),
                format_args!("{us} µs at most, {given} of {} times", plan.cues),
                "2000 µs, at that edge and no other",
            );
        }
        let period = note.unwrap_or(0);
        // 2,000 Hz, to 1 %: the tester reads the time of an edge to within some microseconds.
        self.check(
            "stop: the note",
            (495..=505).contains(&period),
            format_args!("period {period} µs"),
            "500 µs (2,000 Hz), 1 %",
        );
        Ok(())
    }

    /// One edge after the other, the crank at rest before each, until the stop line falls.
    fn feel_for_the_target(&mut self, note: &mut Option<u64>) -> Result<Option<Cue>, Broken> {
        for _ in 0..FEEL + FEEL_FOR {
            self.rest();
            self.board.watch().begin();
            let edge = self.edges(1, even(1_000))?;
            self.board.wait(Duration::from_millis(4), Grain::Fine);
            let seen = Output::ALL.map(|output| self.board.watch().of(output));
            let [_, _, green, stop, sounder] = seen;
            if stop.low {
                // Whatever did not follow is later than is allowed.
                let since = |at: Option<Instant>| match at {
                    Some(at) if at >= edge => at.since(edge).as_micros(),
                    _ => u64::MAX,
                };
                let cue = Cue {
                    stop: since(stop.first_fall),
                    // Yellow may be lit already: near the target it flashes.
                    lamp: since(green.first_fall),
                    sounder: since(sounder.first_rise),
                };
                let [.., sounder] = self.watched(50, Grain::Fine);
                *note = period_us(sounder).or(*note);
                return Ok(Some(cue));
            }
        }
        Ok(None)
    }

    /// What is not counted exactly is reported.
    fn broken_signals(&mut self) -> Result<(), Broken> {
        let gap = Duration::from_micros(500);
        self.rest();
        let before = self.status()?;
        // Twice what is borne before it needs a decision, an eighth of a turn of error bound.
        let counts = self.turn()?;
        self.wind(counts, Pattern::Skip { gap })?;
        let status = self.status()?;
        let off = (status.counts - before.counts).abs_diff(counts);
        let bounded = match status.error_bound {
            ErrorBound::Within(counts) => off <= counts,
            ErrorBound::Unknown => true,
        };
        let reported = status.faults.contains(Fault::MissedSteps) && status.phase == Phase::Fault;
        self.check(
            "reported: skipped steps",
            reported && bounded,
            format_args!("{off} counts off, error bound {}", BoundWords(status.error_bound)),
            "reported, error bound not below the error",
        );
        let [red, .., sounder] = self.watched(2_000, Grain::Coarse);
        // 2.5 times a second.
        let flashes = red.rises;
        self.check(
            "reported: red lamp and rattle",
            (4..=6).contains(&flashes) && sounder.rises > 0,
            format_args!("{flashes} flashes in 2 s"),
            "4 to 6 flashes, and a rattle",
        );
        for (channel, alone, name) in [
            (Channel::A, Channel::B, "reported: channel A dead"),
            (Channel::B, Channel::A, "reported: channel B dead"),
        ] {
            self.throw_away()?;
            self.begin_coil()?;
            // The other channel alone, to and fro: as many edges as half a revolution has, and some more.
            let toggles = self.turn()? * 3 / 4;
            self.wind(toggles - toggles % 2, Pattern::Alone { channel: alone, gap })?;
            let status = self.status()?;
            let reported = status.faults.contains(Fault::Dead(channel)) && status.phase == Phase::Fault;
            let bound = status.error_bound;
            self.check(
                name,
                reported && bound == ErrorBound::Unknown,
                format_args!("error bound {}", BoundWords(bound)),
                "reported, error bound unknown",
            );
            // A turn with both: the channel lives again.
            let turn = self.turn()?;
            self.wind(turn, even(2_000))?;
        }
        self.throw_away()
    }

    /// A key that bounces, or that is held, is one press; each click of the knob is one step.
    fn keys_and_knob(&mut self, plan: Plan) -> Result<(), Broken> {
        let name = "keys: held for long, one press";
        self.busy(name);
        self.hold(Input::No, Duration::from_millis(plan.hold_ms));
        let held = self.phase()?;
        self.check(name, held == Phase::Choose, format_args!("{held:?}"), "Ready to Choose, no further");
        for _ in 0..6 {
            for closed in [true, false] {
                self.board.close(Input::Yes, closed);
                self.wait(1);
            }
        }
        self.press(Input::Yes);
        let bounced = self.phase()?;
        let name = "keys: bouncing, one press";
        self.check(name, bounced == Phase::Ready, format_args!("{bounced:?}"), "Choose to Ready, no further");
        let before = self.settings()?.build.loudness;
        let mut steps = 0;
        for _ in 0..plan.clicks {
            self.turn_knob(-1);
            self.turn_knob(1);
            steps += u32::from(self.settings()?.build.loudness == before);
        }
        self.check(
            "knob: a click back and a click forward",
            steps == plan.clicks && before != Loudness::Off,
            format_args!("{steps} of {} times where it was", plan.clicks),
            "every time",
        );
        self.press(Input::No);
        self.expect(Phase::Choose)
    }

    /// What the counter says of itself at the end.
    fn well(&mut self) -> Result<(), Broken> {
        let health = self.health()?;
        let words = if health.samples_lost { "samples lost" } else { "no sample lost" };
        self.check(
            "counter: no sample lost",
            !health.samples_lost,
            format_args!("{words}"),
            "no sample lost",
        );
        let words = if health.saving { "saving" } else { "not saving" };
        self.check("counter: saves to its flash", health.saving, format_args!("{words}"), "saving");
        Ok(())
    }
}

/// The period of a note, in microseconds.
fn period_us(sounder: Seen) -> Option<u64> {
    let (first, last) = (sounder.first_rise?, sounder.last_rise?);
    let periods = u64::from(sounder.rises.checked_sub(1)?);
    last.since(first).as_micros().checked_div(periods)
}
