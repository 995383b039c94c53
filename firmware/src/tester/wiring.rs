//! The first part of the test: each wire by itself, and what is wrong with one that fails.
//!
//! The pins are the same on both boards, but for the serial line, which is crossed.

use turntally_core::bench::{Fault, Phase};
use turntally_core::counter::Direction;
use turntally_core::settings::Loudness;
use turntally_core::signal::Channel;
use turntally_core::time::Duration;

use super::board::{Board, Grain, Input};
use super::outputs::{Scene, Scenes, name};
use super::session::{Broken, Session, even};
use super::watch::Output;
use super::wave::Pattern;

/// What an input is called, with its pin on both boards.
const fn input_name(input: Input) -> &'static str {
    match input {
        Input::KnobA => "knob A (pin 9)",
        Input::KnobB => "knob B (pin 10)",
        Input::Yes => "key Yes (pin 11)",
        Input::No => "key No (pin 12)",
    }
}

/// A pair of edges so close that a channel slower by more than two samples of the counter comes after the other.
const PAIR: Duration = Duration::from_micros(8);
const PAIR_REST: Duration = Duration::from_micros(500);

impl<B: Board> Session<'_, B> {
    /// Every wire is as it should be. A check is reported for each group of wires, and the first that fails ends this.
    pub(super) fn wiring(&mut self) -> Result<bool, Broken> {
        Ok(self.serial_line()
            && self.pulled_up()
            && self.starts()?
            && self.outputs_dark()
            && self.keys()?
            && self.scenes()?)
    }

    /// UART, both ways.
    fn serial_line(&mut self) -> bool {
        let name = "wires: serial line";
        self.busy(name);
        let allowed = "the counter answers";
        match self.identity() {
            Ok(identity) => self.check(
                name,
                true,
                format_args!("counter {:016x}, firmware {}", identity.id, identity.firmware),
                allowed,
            ),
            Err(_) => self.check(
                name,
                false,
                format_args!(
                    "no answer: a wire between pins 1 and 2 open or not crossed, no GND, or no supply"
                ),
                allowed,
            ),
        }
    }

    /// Keys and knob: the counter's pull-up lifts each wire that is released.
    fn pulled_up(&mut self) -> bool {
        let allowed = "high when released, by the counter's pull-up";
        self.busy("wires: keys and knob released");
        for input in Input::ALL {
            // Shorter than a press.
            self.board.close(input, true);
            self.wait(1);
            self.board.close(input, false);
            self.wait(1);
            if !self.board.is_high(input) {
                let name = input_name(input);
                return self.check(
                    "wires: keys and knob released",
                    false,
                    format_args!("{name} stays low: open, or joined to GND"),
                    allowed,
                );
            }
        }
        self.check("wires: keys and knob released", true, format_args!("all high"), allowed)
    }

    /// The counter is as it is after it was switched on, with settings under which the test means something.
    fn starts(&mut self) -> Result<bool, Broken> {
        let settings = self.settings()?;
        self.sign = match settings.build.direction {
            Direction::Forward => 1,
            Direction::Reverse => -1,
        };
        self.click = settings.build.knob.counts();
        let phase = self.phase()?;
        let allowed = "Choose, sound not off";
        let fits = phase == Phase::Choose && settings.build.loudness != Loudness::Off;
        Ok(self.check("the counter is ready for the test", fits, format_args!("{phase:?}"), allowed))
    }

    fn outputs_dark(&mut self) -> bool {
        let mut scenes = Scenes::default();
        let seen = self.watched(100, Grain::Coarse);
        scenes.take(Scene::Dark, seen);
        let (check, allowed) = ("wires: outputs at rest", "all low");
        match scenes.lit() {
            Some(output) => self.check(
                check,
                false,
                format_args!("{} stays high: joined to 3.3 V", name(output)),
                allowed,
            ),
            None => self.check(check, true, format_args!("all low"), allowed),
        }
    }

    /// Yes and No, between the first two pages.
    fn keys(&mut self) -> Result<bool, Broken> {
        let (check, allowed) = ("wires: keys", "Yes goes on, No goes back");
        self.busy(check);
        self.press(Input::Yes);
        if self.phase()? != Phase::Ready {
            self.press(Input::No);
            let swapped = self.phase()? == Phase::Ready;
            return Ok(if swapped {
                self.check(
                    check,
                    false,
                    format_args!("key Yes (pin 11) and key No (pin 12) swapped"),
                    allowed,
                )
            } else {
                self.check(
                    check,
                    false,
                    format_args!("key Yes (pin 11): no reaction: joined to 3.3 V, or no job to begin"),
                    allowed,
                )
            });
        }
        self.press(Input::No);
        if self.phase()? != Phase::Choose {
            return Ok(self.check(
                check,
                false,
                format_args!("key No (pin 12): no reaction: joined to 3.3 V"),
                allowed,
            ));
        }
        self.press(Input::Yes);
        self.expect(Phase::Ready)?;
        Ok(self.check(check, true, format_args!("both"), allowed))
    }

    /// A coil, from Ready to its end: encoder and knob, and every scene of the outputs.
    fn scenes(&mut self) -> Result<bool, Broken> {
        let mut scenes = Scenes::default();
        let ready = self.watched(800, Grain::Coarse);
        scenes.take(Scene::Ready, ready);
        self.begin_coil()?;
        if !self.encoder()? {
            return Ok(false);
        }
        let winding = self.watched(200, Grain::Coarse);
        scenes.take(Scene::Winding, winding);
        if !self.knob()? || !self.edges_are_quick()? {
            return Ok(false);
        }
        self.busy("wires: outputs");
        let left = self.counts_to_target()?;
        let turn = self.turn()?;
        self.wind(left + turn, even(100_000))?;
        self.board.watch().begin();
        // Still turning: at rest the notes end.
        self.edges(200, even(1_000))?;
        let over = Output::ALL.map(|output| self.board.watch().of(output));
        scenes.take(Scene::Over, over);
        self.wind(turn, Pattern::Skip { gap: Duration::from_micros(500) })?;
        let fault = self.watched(500, Grain::Coarse);
        scenes.take(Scene::Fault, fault);
        // Those that are dark have been seen before.
        self.throw_away()?;
        self.press(Input::No);
        self.expect(Phase::Choose)?;
        self.wait(20);
        let dark = self.watched(100, Grain::Coarse);
        scenes.take(Scene::Dark, dark);
        let mut all = true;
        for output in Output::ALL {
            if let Some(wrong) = scenes.wrong(output) {
                all = self.check(
                    "wires: outputs",
                    false,
                    format_args!("{} {wrong}", name(output)),
                    "each follows the counter's state",
                );
            }
        }
        if all {
            let allowed = "each follows the counter's state";
            self.check("wires: outputs", true, format_args!("three lamps, stop line, sounder"), allowed);
        }
        self.press(Input::Yes);
        self.expect(Phase::Ready)?;
        Ok(all)
    }

    /// A turn forward: which channel is missing, or whether they are swapped.
    fn encoder(&mut self) -> Result<bool, Broken> {
        let (check, allowed) = ("wires: encoder A and B", "one revolution forward, counted exactly");
        self.busy(check);
        let counts = self.turn()?;
        self.wind(counts, even(2_000))?;
        self.wait(20);
        let status = self.status()?;
        let faults = status.faults;
        let counted = status.counts;
        Ok(if faults.contains(Fault::Dead(Channel::A)) {
            self.check(
                check,
                false,
                format_args!("encoder A (pin 5): no edge arrives: open, or stuck"),
                allowed,
            )
        } else if faults.contains(Fault::Dead(Channel::B)) {
            self.check(
                check,
                false,
                format_args!("encoder B (pin 4): no edge arrives: open, or stuck"),
                allowed,
            )
        } else if counted == -counts {
            self.check(check, false, format_args!("encoder A (pin 5) and encoder B (pin 4) swapped"), allowed)
        } else if counted.abs() <= 1 && counted != counts {
            self.check(
                check,
                false,
                format_args!("encoder A (pin 5) and encoder B (pin 4): no edge arrives"),
                allowed,
            )
        } else {
            self.check(check, counted == counts, format_args!("{counted} of {counts} counts"), allowed)
        })
    }

    /// A click, and one back: louder or softer.
    fn knob(&mut self) -> Result<bool, Broken> {
        let (check, allowed) = ("wires: knob", "a click back is softer, a click forward louder");
        self.busy(check);
        let before = self.settings()?.build.loudness;
        // Loudest first: there is always something softer.
        self.turn_knob(-1);
        let softer = self.settings()?.build.loudness;
        self.turn_knob(1);
        let after = self.settings()?.build.loudness;
        let place = |loudness| Loudness::ALL.iter().position(|&of_all| of_all == loudness);
        Ok(if softer == before {
            self.check(
                check,
                false,
                format_args!("no reaction: knob A (pin 9) or knob B (pin 10) stuck"),
                allowed,
            )
        } else if place(softer) > place(before) {
            self.check(check, false, format_args!("knob A (pin 9) and knob B (pin 10) swapped"), allowed)
        } else {
            self.check(check, after == before, format_args!("{before:?}, {softer:?}, {after:?}"), allowed)
        })
    }

    /// Edges of each channel close behind the other's, and both at full speed.
    fn edges_are_quick(&mut self) -> Result<bool, Broken> {
        let (check, allowed) =
            ("wires: edges of A and B", "in order 8 µs apart, and counted at 200,000 edges/s");
        self.busy(check);
        // The channel that comes second shows whether the first is late.
        for (first, words) in [(Channel::A, "encoder A (pin 5)"), (Channel::B, "encoder B (pin 4)")] {
            let pairs = Pattern::Pairs { first, gap: PAIR, rest: PAIR_REST };
            if self.counted(400, pairs)? != 400 {
                return Ok(self.check(
                    check,
                    false,
                    format_args!("{words}: edges too slow: its filter is too large, or a joint is bad"),
                    allowed,
                ));
            }
        }
        let fast = self.counted(2_000, even(200_000))?;
        let words = "encoder A (pin 5) and encoder B (pin 4): edges too slow: their filters are too large";
        Ok(if fast == 2_000 {
            self.check(check, true, format_args!("both"), allowed)
        } else {
            self.check(check, false, format_args!("{words}"), allowed)
        })
    }

    /// What the counter counts of so many counts.
    pub(super) fn counted(&mut self, counts: i64, pattern: Pattern) -> Result<i64, Broken> {
        let before = self.status()?.counts;
        self.wind(counts, pattern)?;
        Ok(self.status()?.counts - before)
    }

    /// Counts in a revolution of the encoder.
    pub(super) fn turn(&mut self) -> Result<i64, Broken> {
        Ok(4 * i64::from(self.identity()?.pulses_per_rev))
    }

    /// About how many counts are left to the target. At least a turn must be on the mandrel.
    pub(super) fn counts_to_target(&mut self) -> Result<i64, Broken> {
        let status = self.status()?;
        let [counts, turns, target] =
            [status.counts, status.turns.nano(), status.target.nano()].map(i128::from);
        let aim = if turns > 0 { target * counts / turns } else { 0 };
        i64::try_from(aim - counts).map_err(|_| Broken::Unexpected)
    }
}
