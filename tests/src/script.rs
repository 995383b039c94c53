//! The scripts of `tests/emulator/scripts`, which the desktop's board ([`crate::desk`]), the emulated Pico
//! (`tests/emulator/script.mjs`) and two emulated processors (`tests/qemu`, which includes this file) play. One act a
//! line; `#` begins a comment.

use turntally_core::input::Key;

/// How long `press` holds a key, and how long any key is up afterwards, milliseconds.
pub const PRESS_MS: u64 = 60;
/// See [`PRESS_MS`].
pub const KEY_UP_MS: u64 = 60;
/// A quarter of a click of the knob, milliseconds.
pub const KNOB_STEP_MS: u64 = 5;
/// How long everything is left alone before a look, milliseconds: the screen and the serial line are up to
/// date by then.
pub const LOOK_MS: u64 = 300;

/// How far to crank.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Way {
    /// By so many counts.
    By(i64),
    /// To so many counts past the aim of the coil on the mandrel.
    ToAim(i64),
}

/// A channel of the encoder.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Channel {
    /// Channel A.
    A,
    /// Channel B.
    B,
}

/// What the user does, or what happens to the hardware.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Act<'a> {
    /// `wait MS`.
    Wait {
        /// Milliseconds.
        ms: u64,
    },
    /// `hold yes|no MS`; `press yes|no` holds it for a moment.
    Hold {
        /// Which.
        key: Key,
        /// Milliseconds that it is down.
        ms: u64,
    },
    /// `crank by COUNTS at RATE`, `crank to aim+COUNTS at RATE`; the latter after 200 ms of rest, so that the
    /// Pico has reported its position.
    Crank {
        /// How far.
        way: Way,
        /// Counts a second.
        rate: u32,
    },
    /// `knob CLICKS`.
    Knob {
        /// Clicks, negative to the left.
        clicks: i64,
    },
    /// `screen on|off`.
    Screen {
        /// It is on its wires.
        plugged: bool,
    },
    /// `wire a|b on|off`: a channel of the encoder.
    Wire {
        /// Which.
        channel: Channel,
        /// Its wire is whole.
        sound: bool,
    },
    /// `look NAME`: the picture and the state at rest are written down.
    Look {
        /// In the names of files.
        name: &'a str,
    },
}

/// Reads a script, act by act.
///
/// # Errors
/// A line that is no act.
pub fn acts(text: &str) -> impl Iterator<Item = Result<Act<'_>, &str>> {
    let lines = text.lines().map(|line| line.split('#').next().unwrap_or_default().trim());
    lines.filter(|line| !line.is_empty()).map(|line| act(line).ok_or(line))
}

/// No act has more words than these; a word that is missing is empty.
const WORDS: usize = 5;

fn act(line: &str) -> Option<Act<'_>> {
    let mut rest = line.split_whitespace();
    let words: [&str; WORDS] = core::array::from_fn(|_| rest.next().unwrap_or_default());
    if rest.next().is_some() {
        return None;
    }
    Some(match words {
        ["wait", ms, "", ..] => Act::Wait { ms: ms.parse().ok()? },
        ["press", name, "", ..] => Act::Hold { key: key(name)?, ms: PRESS_MS },
        ["hold", name, ms, "", ..] => Act::Hold { key: key(name)?, ms: ms.parse().ok()? },
        ["crank", "by", counts, "at", rate] => {
            Act::Crank { way: Way::By(counts.parse().ok()?), rate: rate.parse().ok()? }
        }
        ["crank", "to", goal, "at", rate] => {
            let more = goal.strip_prefix("aim")?;
            let more = if more.is_empty() { 0 } else { more.parse().ok()? };
            Act::Crank { way: Way::ToAim(more), rate: rate.parse().ok()? }
        }
        ["knob", clicks, "", ..] => Act::Knob { clicks: clicks.parse().ok()? },
        ["screen", state, "", ..] => Act::Screen { plugged: on(state)? },
        ["wire", "a", state, "", ..] => Act::Wire { channel: Channel::A, sound: on(state)? },
        ["wire", "b", state, "", ..] => Act::Wire { channel: Channel::B, sound: on(state)? },
        ["look", name, "", ..] if !name.is_empty() => Act::Look { name },
        _ => return None,
    })
}

fn key(name: &str) -> Option<Key> {
    match name {
        "yes" => Some(Key::Yes),
        "no" => Some(Key::No),
        _ => None,
    }
}

fn on(word: &str) -> Option<bool> {
    match word {
        "on" => Some(true),
        "off" => Some(false),
        _ => None,
    }
}
