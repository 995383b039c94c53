//! The wires of the outputs: which of them did what in which state of the counter, and what is wrong with one that did
//! something else.

use core::fmt;

use super::watch::{Output, Seen};

/// States of the counter in which the outputs are watched.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Scene {
    /// Choosing a job: all is dark.
    Dark,
    /// The wire is caught: green flashes.
    Ready,
    /// Wound, far from the target: green, and the stop line is high.
    Winding,
    /// Too far: yellow, and two notes.
    Over,
    /// A fault: red flashes, and the sounder rattles.
    Fault,
}

const SCENES: usize = 5;
/// Outputs by their bits.
const OUTPUTS: usize = Output::ALL.len();

/// An output that was high in each of these scenes, and in no other (what lamps and sounds mean: `firmware/README.md`).
const fn expected(output: Output) -> [bool; SCENES] {
    match output {
        Output::Red => [false, false, false, false, true],
        Output::Yellow => [false, false, false, true, false],
        Output::Green => [false, true, true, false, false],
        Output::Stop => [false, false, true, false, false],
        Output::Sounder => [false, false, false, true, true],
    }
}

/// What an output is called, with its pin on both boards.
pub(super) const fn name(output: Output) -> &'static str {
    match output {
        Output::Red => "lamp red (pin 14)",
        Output::Yellow => "lamp yellow (pin 15)",
        Output::Green => "lamp green (pin 16)",
        Output::Stop => "stop line (pin 17)",
        Output::Sounder => "sounder (pin 19)",
    }
}

/// What the outputs did.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Scenes {
    high: [[bool; SCENES]; OUTPUTS],
    low: [[bool; SCENES]; OUTPUTS],
    taken: [bool; SCENES],
}

/// What is wrong with a wire.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Wrong {
    /// It was never low.
    StaysHigh,
    /// It was never high.
    StaysLow,
    /// It did what this one should have done, and that one did what it should have done.
    SwappedWith(Output),
    /// It did something else.
    Strange,
}

impl Scenes {
    /// Takes what was seen in a scene.
    pub fn take(&mut self, scene: Scene, seen: [Seen; OUTPUTS]) {
        let at = scene as usize;
        let all = self.high.iter_mut().zip(&mut self.low).zip(seen);
        for ((high, low), seen) in all {
            (high[at], low[at]) = (seen.high, seen.low);
        }
        self.taken[at] = true;
    }

    /// An output that stays high where all is dark.
    pub fn lit(&self) -> Option<Output> {
        let stuck = |output: &Output| {
            self.high[*output as usize][Scene::Dark as usize]
                && !self.low[*output as usize][Scene::Dark as usize]
        };
        Output::ALL.into_iter().find(stuck)
    }

    /// What is wrong with an output, once every scene was seen.
    pub fn wrong(&self, output: Output) -> Option<Wrong> {
        let did = self.high[output as usize];
        if did == expected(output) {
            return None;
        }
        let other = Output::ALL.into_iter().find(|&other| {
            other != output && did == expected(other) && self.high[other as usize] == expected(output)
        });
        if let Some(other) = other {
            return Some(Wrong::SwappedWith(other));
        }
        let taken =
            |levels: [bool; SCENES]| levels.iter().zip(self.taken).any(|(&level, taken)| level && taken);
        Some(if !taken(self.low[output as usize]) {
            Wrong::StaysHigh
        } else if !taken(did) {
            Wrong::StaysLow
        } else {
            Wrong::Strange
        })
    }
}

impl fmt::Display for Wrong {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::StaysHigh => f.write_str("stays high: joined to 3.3 V"),
            Self::StaysLow => f.write_str("stays low: open, or joined to GND"),
            Self::SwappedWith(other) => write!(f, "swapped with {}", name(*other)),
            Self::Strange => {
                f.write_str("does not follow the counter's state: a bad joint, or joined to another wire")
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const ALL: [Scene; SCENES] = [Scene::Dark, Scene::Ready, Scene::Winding, Scene::Over, Scene::Fault];

    /// What is seen where each output does what `does` has for it.
    fn seen(does: impl Fn(Output) -> [bool; SCENES]) -> Scenes {
        let mut scenes = Scenes::default();
        for scene in ALL {
            scenes.take(
                scene,
                Output::ALL.map(|output| {
                    let high = does(output)[scene as usize];
                    Seen { high, low: !high, ..Seen::default() }
                }),
            );
        }
        scenes
    }

    fn all_wrong(scenes: &Scenes) -> [Option<Wrong>; OUTPUTS] {
        Output::ALL.map(|output| scenes.wrong(output))
    }

    /// No two outputs do the same in every scene, so that any two that are swapped are told apart.
    #[test]
    fn every_swap_is_named() {
        assert_eq!(all_wrong(&seen(expected)), [None; OUTPUTS]);
        for one in Output::ALL {
            for other in Output::ALL.into_iter().filter(|&other| other != one) {
                let swap = |output| match output {
                    output if output == one => expected(other),
                    output if output == other => expected(one),
                    output => expected(output),
                };
                let scenes = seen(swap);
                for output in Output::ALL {
                    let with = [(one, other), (other, one)].into_iter().find(|&(it, _)| it == output);
                    assert_eq!(scenes.wrong(output), with.map(|(_, with)| Wrong::SwappedWith(with)));
                }
            }
        }
    }

    /// One wire that is stuck is named alone.
    #[test]
    fn every_stuck_wire_is_named() {
        for stuck in Output::ALL {
            for (level, wrong) in [(true, Wrong::StaysHigh), (false, Wrong::StaysLow)] {
                let scenes = seen(|output| if output == stuck { [level; SCENES] } else { expected(output) });
                for output in Output::ALL {
                    assert_eq!(scenes.wrong(output), (output == stuck).then_some(wrong), "{stuck:?} {level}");
                }
                assert_eq!(scenes.lit(), level.then_some(stuck));
            }
        }
    }

    /// What fits no other wire is called strange.
    #[test]
    fn a_loose_wire_is_strange() {
        let loose = |output| {
            if output == Output::Green { [false, true, false, false, false] } else { expected(output) }
        };
        assert_eq!(seen(loose).wrong(Output::Green), Some(Wrong::Strange));
    }
}
