//! What the lamp, the sounder and the stop line say of a state.

use super::{Bench, State};
use crate::cue::Cue;
use crate::time::Duration;

/// What is to be heard.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Sound {
    /// Nothing.
    #[default]
    Silent,
    /// A short beat in each such time.
    Beats {
        /// From one to the next.
        every: Duration,
    },
    /// One long tone: stop now.
    Tone,
    /// Two notes in turn: too far.
    Warble,
    /// A low rattle: the count is uncertain.
    Rattle,
    /// A rising run of notes: the batch is done.
    Fanfare,
}

/// What the lamps show. Colours and rates by IEC 60073, as published summaries give them: green normal, yellow
/// attention, red danger; slow flashing at 0.4 to 0.8 Hz, quick (the standard's normal rate) at 1.4 to 2.8 Hz. And
/// never by colour alone: green is lit as long as there is to be wound, and each state has its own rhythm.
/// Nothing flashes faster than 3 Hz, which may harm photosensitive people (WCAG 2.2, 2.3.1).
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Lamp {
    /// Dark.
    #[default]
    Off,
    /// Green, steady: counting.
    GreenSteady,
    /// Green, slow: waiting for the hand.
    GreenSlow,
    /// Green, steady, and yellow, slow: still counting, and the target comes.
    GreenYellowSlow,
    /// Yellow, quick: stop, the target is reached.
    YellowQuick,
    /// Yellow, steady: too far.
    YellowSteady,
    /// Red, quick: the count is uncertain.
    RedQuick,
}

/// The outputs that follow from the state.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Outputs {
    /// For the sounder.
    pub sound: Sound,
    /// For the lamp.
    pub lamp: Lamp,
    /// The stop line: a powered winder may turn only while this is true. No safety function.
    pub may_turn: bool,
}

impl Bench {
    /// What is to be heard and seen now.
    #[must_use]
    pub fn outputs(&self) -> Outputs {
        let resting = self.coil.as_ref().is_some_and(|coil| coil.cue.meter().rests(self.now));
        let (sound, lamp) = match &self.state {
            State::Choose { .. } | State::SetUp(_) | State::CountRings(_) | State::MeasureRing(_) => {
                (Sound::Silent, Lamp::Off)
            }
            State::Ready | State::Verdict { .. } | State::Next | State::Paused => {
                (Sound::Silent, Lamp::GreenSlow)
            }
            State::Winding { cue: Cue::Quiet } => (Sound::Silent, Lamp::GreenSteady),
            State::Winding { cue: Cue::Near { beat } } => {
                // A crank at rest needs no hurrying.
                let sound = if resting { Sound::Silent } else { Sound::Beats { every: *beat } };
                (sound, Lamp::GreenYellowSlow)
            }
            State::Winding { cue: Cue::Stop } => {
                (if resting { Sound::Silent } else { Sound::Tone }, Lamp::YellowQuick)
            }
            State::Winding { cue: Cue::Over } => {
                (if resting { Sound::Silent } else { Sound::Warble }, Lamp::YellowSteady)
            }
            State::Done => (Sound::Fanfare, Lamp::GreenSlow),
            State::Fault { .. } => (Sound::Rattle, Lamp::RedQuick),
        };
        let may_turn = match &self.state {
            State::Winding { cue } => matches!(cue, Cue::Quiet | Cue::Near { .. }),
            _ => false,
        };
        Outputs { sound, lamp, may_turn }
    }
}
