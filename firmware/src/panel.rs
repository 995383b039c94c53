//! Keys, knob, lamp, sounder and stop line.

use embedded_hal::digital::{InputPin, OutputPin, PinState};
use turntally_core::bench::{Lamp, Outputs, Sound};
use turntally_core::input::{Key, KnobTurn};
use turntally_core::quadrature::Decoder;
use turntally_core::settings::{KnobClick, Loudness};
use turntally_core::time::{Duration, Instant};

/// A thing that sounds: a PWM channel with a buzzer, say.
pub trait Sounder {
    /// Sounds this note from now on, or nothing.
    fn set(&mut self, hertz: Option<u16>);

    /// How loud notes are from now on; one that has no choice leaves it.
    fn set_loudness(&mut self, _loudness: Loudness) {}
}

impl<T: Sounder + ?Sized> Sounder for &mut T {
    fn set(&mut self, hertz: Option<u16>) {
        T::set(self, hertz);
    }

    fn set_loudness(&mut self, loudness: Loudness) {
        T::set_loudness(self, loudness);
    }
}

/// Polls, one each millisecond, for which a key must hold its level before it counts: longer than
/// the bounce of a usual tactile key (5 ms, data sheets, from memory).
const KEY_POLLS: u8 = 8;

/// A key to ground with a pull-up: low is down.
#[derive(Debug)]
pub struct KeyPin<P> {
    pin: P,
    down: bool,
    differs: u8,
}

impl<P: InputPin> KeyPin<P> {
    /// Takes the pin.
    pub const fn new(pin: P) -> Self {
        Self { pin, down: false, differs: 0 }
    }

    /// Reads the pin; true once for each press. A pin that cannot be read is a key that is up.
    pub fn pressed(&mut self) -> bool {
        let down = self.pin.is_low().unwrap_or(false);
        if down == self.down {
            self.differs = 0;
            return false;
        }
        self.differs += 1;
        if self.differs < KEY_POLLS {
            return false;
        }
        self.differs = 0;
        self.down = down;
        down
    }
}

/// A knob that has not moved for so long is at rest: longer than a pause between two clicks of one turn, shorter than a
/// user waits for an answer. Our own choice.
const KNOB_REST: Duration = Duration::from_millis(250);

/// A knob: a mechanical encoder with four counts to a click, or two.
#[derive(Debug)]
pub struct Knob<A, B> {
    a: A,
    b: B,
    decoder: Decoder,
    click: KnobClick,
    /// The detent that the last click led to, in counts.
    detent: i64,
    /// Where it rested last, and when it left.
    rested: i64,
    left: Option<Instant>,
    /// When it last moved.
    moved: Instant,
}

impl<A: InputPin, B: InputPin> Knob<A, B> {
    /// Takes its two pins.
    pub const fn new(a: A, b: B) -> Self {
        Self {
            a,
            b,
            decoder: Decoder::new(),
            click: KnobClick::FourCounts,
            detent: 0,
            rested: 0,
            left: None,
            moved: Instant::ZERO,
        }
    }

    /// Reads the pins and says how many clicks it has turned since the last time, and how far it turned in all once it
    /// has come to rest.
    pub fn read(&mut self, now: Instant) -> (i8, Option<KnobTurn>) {
        let (Ok(a), Ok(b)) = (self.a.is_high(), self.b.is_high()) else { return (0, None) };
        let before = self.decoder.position();
        self.decoder.push(u8::from(a) << 1 | u8::from(b));
        if self.decoder.position() != before {
            self.moved = now;
            self.left.get_or_insert(now);
        }
        (self.clicks(), self.turn(now))
    }

    fn turn(&mut self, now: Instant) -> Option<KnobTurn> {
        let began = self.left.filter(|_| now.since(self.moved) >= KNOB_REST)?;
        self.left = None;
        let from = core::mem::replace(&mut self.rested, self.decoder.position());
        let counts = u8::try_from(self.rested.abs_diff(from)).unwrap_or(u8::MAX);
        Some(KnobTurn { counts, began })
    }

    fn clicks(&mut self) -> i8 {
        let gone = self.decoder.position() - self.detent;
        let new = match self.click {
            // Rounded to the nearest click, so that a knob that rests a count off its detent is quiet.
            KnobClick::FourCounts => (gone + 2).div_euclid(4),
            // Only a whole click counts: half of one is as near to the next detent as to the last.
            KnobClick::TwoCounts => gone / 2,
        };
        let new = new.clamp(-127, 127);
        self.detent += new * i64::from(self.click.counts());
        new as i8
    }

    /// What a click is from now on. The knob rests at a detent.
    pub const fn set_click(&mut self, click: KnobClick) {
        self.click = click;
        self.detent = self.decoder.position();
    }
}

/// Everything under the hand and before the eye, the screen apart.
#[derive(Debug)]
pub struct Panel<Y, N, Ka, Kb, R, A, G, L, S> {
    /// The key that goes on.
    pub yes: KeyPin<Y>,
    /// The key that goes back.
    pub no: KeyPin<N>,
    /// The knob.
    pub knob: Knob<Ka, Kb>,
    /// Red lamp.
    pub red: R,
    /// Yellow lamp.
    pub yellow: A,
    /// Green lamp.
    pub green: G,
    /// The stop line, low at "stop now".
    pub stop: L,
    /// The sounder.
    pub sounder: S,
}

/// What was done with keys and knob since they were last read.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Touch {
    /// The key that went down.
    pub key: Option<Key>,
    /// Clicks of the knob, clockwise positive.
    pub clicks: i8,
    /// How far the knob turned, if it has come to rest.
    pub turn: Option<KnobTurn>,
}

/// What a panel is, whatever its pins.
pub trait Front {
    /// Reads keys and knob, now.
    fn read(&mut self, now: Instant) -> Touch;
    /// Shows lamp (red, yellow, green), stop line and sound.
    fn show(&mut self, lights: Lights, may_turn: bool, hertz: Option<u16>);
    /// How loud sounds are from now on.
    fn set_loudness(&mut self, loudness: Loudness);
    /// What a click of the knob is from now on.
    fn set_knob(&mut self, click: KnobClick);
}

/// The three lamps.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Lights {
    /// Red is lit.
    pub red: bool,
    /// Yellow is lit.
    pub yellow: bool,
    /// Green is lit.
    pub green: bool,
}

impl<Y, N, Ka, Kb, R, A, G, L, S> Front for Panel<Y, N, Ka, Kb, R, A, G, L, S>
where
    Y: InputPin,
    N: InputPin,
    Ka: InputPin,
    Kb: InputPin,
    R: OutputPin,
    A: OutputPin,
    G: OutputPin,
    L: OutputPin,
    S: Sounder,
{
    fn read(&mut self, now: Instant) -> Touch {
        // Both are read every time, or the one behind would lose its debouncing.
        let (yes, no) = (self.yes.pressed(), self.no.pressed());
        let key = match (yes, no) {
            (true, _) => Some(Key::Yes),
            (false, true) => Some(Key::No),
            (false, false) => None,
        };
        let (clicks, turn) = self.knob.read(now);
        Touch { key, clicks, turn }
    }

    fn show(&mut self, lights: Lights, may_turn: bool, hertz: Option<u16>) {
        // A lamp that fails must not keep the sounder from sounding, nor the count from counting.
        _ = self.red.set_state(PinState::from(lights.red));
        _ = self.yellow.set_state(PinState::from(lights.yellow));
        _ = self.green.set_state(PinState::from(lights.green));
        _ = self.stop.set_state(PinState::from(may_turn));
        self.sounder.set(hertz);
    }

    fn set_loudness(&mut self, loudness: Loudness) {
        self.sounder.set_loudness(loudness);
    }

    fn set_knob(&mut self, click: KnobClick) {
        self.knob.set_click(click);
    }
}

/// Turns the bench's outputs into what lamp and sounder do at each moment.
///
/// Notes lie between 500 and 2,500 Hz, where ISO 7731 (from memory) wants the energy of a signal that
/// must be heard. How lamps flash: [`Lamp`].
#[derive(Debug, Clone, Default)]
pub struct Rhythm {
    outputs: Outputs,
    sound_since: Instant,
    lamp_since: Instant,
    beat_at: Option<Instant>,
}

/// How long one beat sounds.
const BEAT: Duration = Duration::from_millis(40);

impl Rhythm {
    /// Takes what is to be shown from now on.
    pub fn set(&mut self, outputs: Outputs, now: Instant) {
        let same_kind =
            core::mem::discriminant(&outputs.sound) == core::mem::discriminant(&self.outputs.sound);
        if !same_kind {
            self.sound_since = now;
            self.beat_at = None;
        }
        if outputs.lamp != self.outputs.lamp {
            self.lamp_since = now;
        }
        self.outputs = outputs;
    }

    /// The note at this moment.
    pub fn hertz(&mut self, now: Instant) -> Option<u16> {
        // Worked out only where it matters: a division of 64 bits takes long.
        let ms = || now.since(self.sound_since).as_micros() / 1_000;
        match self.outputs.sound {
            Sound::Silent => None,
            Sound::Tone => Some(2_000),
            Sound::Warble => Some(if (ms() / 150).is_multiple_of(2) { 1_300 } else { 800 }),
            // Three seconds of rattle, then a reminder every two seconds.
            Sound::Rattle => {
                let ms = ms();
                ((ms < 3_000 || ms % 2_000 < 300) && (ms / 50).is_multiple_of(2)).then_some(600)
            }
            Sound::Fanfare => match ms() {
                0..150 => Some(1_000),
                150..300 => Some(1_260),
                300..700 => Some(1_500),
                _ => None,
            },
            Sound::Beats { every } => {
                // The cadence changes as it goes: each beat is timed from the one before.
                if self.beat_at.is_none_or(|at| now.since(at) >= every) {
                    self.beat_at = Some(now);
                }
                self.beat_at.is_some_and(|at| now.since(at) < BEAT).then_some(1_500)
            }
        }
    }

    /// The lamps at this moment.
    #[must_use]
    pub fn lights(&self, now: Instant) -> Lights {
        let ms = || now.since(self.lamp_since).as_micros() / 1_000;
        // 0.71 and 2.5 times a second, lit at first.
        let (slow, quick) = (|| ms() % 1_400 < 700, || ms() % 400 < 200);
        let (red, yellow, green) = match self.outputs.lamp {
            Lamp::Off => (false, false, false),
            Lamp::GreenSteady => (false, false, true),
            Lamp::GreenSlow => (false, false, slow()),
            Lamp::GreenYellowSlow => (false, slow(), true),
            Lamp::YellowQuick => (false, quick(), false),
            Lamp::YellowSteady => (false, true, false),
            Lamp::RedQuick => (quick(), false, false),
        };
        Lights { red, yellow, green }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    extern crate std;
    use core::convert::Infallible;
    use embedded_hal::digital::ErrorType;

    struct Level(bool);

    impl ErrorType for Level {
        type Error = Infallible;
    }

    impl InputPin for Level {
        fn is_high(&mut self) -> Result<bool, Infallible> {
            Ok(self.0)
        }
        fn is_low(&mut self) -> Result<bool, Infallible> {
            Ok(!self.0)
        }
    }

    /// A bouncing key is one press; a key held for a minute is one press.
    #[test]
    fn held_and_bouncing_key_is_one_press() {
        let mut key = KeyPin::new(Level(true));
        let mut presses = 0;
        for ms in 0..60_000_u32 {
            key.pin.0 = ms < 20 && ms % 3 != 0;
            presses += u32::from(key.pressed());
        }
        assert_eq!(presses, 1);
    }

    /// A click of the knob is four counts, either way, from whatever level it rests at.
    #[test]
    fn knob_clicks_both_ways() {
        for start in 0..4_usize {
            let mut knob = Knob::new(Level(false), Level(false));
            let mut turned = 0;
            let mut at = |step: usize| {
                let level = [0b00, 0b01, 0b11, 0b10][step % 4];
                knob.a.0 = level & 2 != 0;
                knob.b.0 = level & 1 != 0;
                knob.read(Instant::ZERO).0
            };
            for step in (start..=start + 12).chain((start..start + 12).rev()) {
                turned += i32::from(at(step).abs());
            }
            assert_eq!(turned, 6, "from level {start}");
        }
    }

    /// A knob with two counts to a click, from whatever level it rests at: every click is one step once the counter knows
    /// of it, and bounce of a channel at a detent or between two is none.
    #[test]
    fn knob_of_two_counts_steps_with_every_click() {
        let level = |position: i64| [0b00, 0b01, 0b11, 0b10][position.rem_euclid(4) as usize];
        for start in 0..4 {
            let mut knob = Knob::new(Level(false), Level(false));
            let at = |position: i64, knob: &mut Knob<Level, Level>| {
                knob.a.0 = level(position) & 2 != 0;
                knob.b.0 = level(position) & 1 != 0;
                i32::from(knob.read(Instant::ZERO).0)
            };
            at(start, &mut knob);
            knob.set_click(KnobClick::TwoCounts);
            let mut rests = start;
            for way in [1, 1, 1, -1, -1, 1, -1, -1, -1] {
                // Each edge of the click bounces, the second one into the detent.
                let path = [1, 0, 1, 0, 1, 2, 1, 2, 1, 2];
                let steps: i32 = path.iter().map(|&counts| at(rests + way * counts, &mut knob)).sum();
                assert_eq!(i64::from(steps), way, "from {rests}");
                rests += 2 * way;
                let bounce = [-1, 0, 1, 0, 1, 0, -1, 0];
                assert!(
                    bounce.iter().all(|&counts| at(rests + counts, &mut knob) == 0),
                    "at rest at {rests}"
                );
            }
        }
    }

    /// The same knob, taken for one with four counts: every second click is lost. So is none where a knob with four is
    /// taken for one with two, but each is two steps.
    #[test]
    fn knob_of_the_other_kind_can_still_choose() {
        for (click, counts, steps) in [(KnobClick::FourCounts, 2, 5), (KnobClick::TwoCounts, 4, 20)] {
            let mut knob = Knob::new(Level(false), Level(false));
            knob.set_click(click);
            let mut found = 0;
            for position in 0..=10 * counts {
                let level = [0b00, 0b01, 0b11, 0b10][position % 4];
                knob.a.0 = level & 2 != 0;
                knob.b.0 = level & 1 != 0;
                found += i32::from(knob.read(Instant::ZERO).0);
            }
            assert_eq!(found, steps, "{click:?}");
        }
    }

    /// Beats keep their cadence while it changes, and every beat sounds.
    #[test]
    fn beats_quicken_without_stutter() {
        let mut rhythm = Rhythm::default();
        let mut starts = 0;
        let mut sounding = false;
        for ms in 0..3_000_u32 {
            let every = Duration::from_millis(600 - ms / 6);
            let outputs =
                Outputs { sound: Sound::Beats { every }, lamp: Lamp::GreenYellowSlow, may_turn: true };
            let now = Instant::from_millis(ms);
            rhythm.set(outputs, now);
            let sounds = rhythm.hertz(now).is_some();
            starts += u32::from(sounds && !sounding);
            sounding = sounds;
        }
        // A beat at 0, then each where t - t' = 600 - t/6, so t = (t' + 600) 6/7: the last below 3 s
        // is the twelfth, at 2,939 ms.
        assert_eq!(starts, 12);
    }

    /// Every lamp, in every state and at every cadence of the beats, is steady or flashes at one of the rates of
    /// IEC 60073, and never above 3 Hz.
    #[test]
    fn lamps_flash_at_the_rates_of_the_standard() {
        use std::vec::Vec;
        let lamps = [
            Lamp::Off,
            Lamp::GreenSteady,
            Lamp::GreenSlow,
            Lamp::GreenYellowSlow,
            Lamp::YellowQuick,
            Lamp::YellowSteady,
            Lamp::RedQuick,
        ];
        let mut looks = Vec::new();
        for lamp in lamps {
            let mut look = Vec::new();
            for every_ms in [100, 130, 333, 600, 1_500] {
                let sound = Sound::Beats { every: Duration::from_millis(every_ms) };
                let mut rhythm = Rhythm::default();
                let mut lit = [Vec::new(), Vec::new(), Vec::new()];
                let mut before = Lights::default();
                for ms in 0..60_000 {
                    let now = Instant::from_millis(ms);
                    rhythm.set(Outputs { sound, lamp, may_turn: true }, now);
                    rhythm.hertz(now);
                    let lights = rhythm.lights(now);
                    let of = |lights: Lights| [lights.red, lights.yellow, lights.green];
                    for (starts, (is, was)) in lit.iter_mut().zip(of(lights).into_iter().zip(of(before))) {
                        if is && !was {
                            starts.push(ms);
                        }
                    }
                    before = lights;
                    look.push(lights);
                }
                for starts in lit {
                    for pair in starts.windows(2) {
                        let hertz = 1_000.0 / f64::from(pair[1] - pair[0]);
                        let standard = (0.4..=0.8).contains(&hertz) || (1.4..=2.8).contains(&hertz);
                        assert!(standard, "{lamp:?} at {hertz} Hz");
                    }
                }
            }
            assert!(!looks.contains(&look), "{lamp:?} looks like another");
            looks.push(look);
        }
    }
}
