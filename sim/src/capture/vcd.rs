//! VCD files, read.
//!
//! Reading is our own, though writing is not. The crate `vcd` 0.7 reads fast enough, but it keeps a
//! whole vector value, comment or name in memory however long it is, descends into nested scopes by
//! recursion, and refuses a last line without a line break; a file from outside may be
//! hostile, cut short or merely odd, and must cost no more than one line of complaint.
//!
//! # What is read
//! - Scalar changes; vector changes, of which one bit can be chosen; real and string changes are
//!   passed over.
//! - `$dumpvars`, `$dumpall`, `$dumpon`, `$dumpoff`, `$comment`; all legal time scales; nested scopes;
//!   several variables on one identifier code.
//! - Levels other than 0 and 1 (`x`, `z` and the weak ones of nine-valued logic) are unknown.
//!
//! # Limits
//! A token (name, number, vector value) has at most [`MAX_TOKEN`](super::MAX_TOKEN) bytes, an identifier code 16,
//! scopes are nested at most [`MAX_DEPTH`](super::MAX_DEPTH) deep. Times reach to 584 years. Of more than 65,536
//! identifier codes the rest is not checked for being declared.

mod header;
mod plain;
mod tokens;

use std::io::Read;

use super::buffer::Buffer;
use super::error::CaptureError;
use super::wanted::Wanted;
use super::{MAX_WIRES, Recording, Sample};

use header::{Code, Header};
use plain::ShortCodes;
use tokens::{Span, Tokens};

/// Reads a VCD file in constant memory.
///
/// # Examples
/// ```
/// use turntally_sim::capture::{Capture, Recording as _, Wanted};
/// let text = "$timescale 1 us $end $scope module bench $end
///     $var wire 1 ! enc_a $end $upscope $end $enddefinitions $end
///     #0 0! #250 1! #1000\n";
/// let mut capture = Capture::open(text.as_bytes(), &[Wanted::new("--a", "enc_a")]).unwrap();
/// let first = capture.next_sample().unwrap().unwrap();
/// assert_eq!((first.time_ns, first.level(0)), (0, Some(false)));
/// let second = capture.next_sample().unwrap().unwrap();
/// assert_eq!((second.time_ns, second.level(0)), (250_000, Some(true)));
/// assert!(capture.next_sample().unwrap().is_none());
/// assert_eq!(capture.span_ns(), 1_000_000);
/// ```
#[derive(Debug)]
pub struct Capture<R> {
    tokens: Tokens<R>,
    chosen: Vec<Chosen>,
    declared: header::Declared,
    short: ShortCodes,
    scale: Scale,
    levels: Levels,
    /// The time stamp that changes now belong to, in ticks.
    now: Option<u64>,
    first_ns: u64,
    /// Line of a `$dumpvars` and the like whose `$end` has not come yet.
    dump: Option<u64>,
    finished: bool,
}

/// A wire that was asked for and found.
#[derive(Debug, Clone)]
struct Chosen {
    code: Code,
    /// Which bit of a vector value, from the right; 0 for a scalar.
    bit: u32,
    path: String,
}

impl<R: Read> Capture<R> {
    /// Reads the header and finds the wires that are wanted, at most [`MAX_WIRES`].
    ///
    /// # Errors
    /// [`CaptureError`] where the input cannot be read, is no VCD file, ends early, or does not have
    /// exactly one wire for each wanted name.
    pub fn open(input: R, wanted: &[Wanted<'_>]) -> Result<Self, CaptureError> {
        Self::read(Buffer::new(input), wanted)
    }

    /// The same, of a source from which something has been read ahead.
    pub(super) fn read(buffer: Buffer<R>, wanted: &[Wanted<'_>]) -> Result<Self, CaptureError> {
        let mut tokens = Tokens::new(buffer);
        let Header { chosen, declared, femtoseconds_per_tick } = header::read(&mut tokens, wanted)?;
        Ok(Self {
            short: ShortCodes::new(&declared, &chosen),
            tokens,
            chosen,
            declared,
            scale: Scale::new(femtoseconds_per_tick),
            levels: Levels::default(),
            now: None,
            first_ns: 0,
            dump: None,
            finished: false,
        })
    }

    /// The time that has been reached; a stamp that is no time in nanoseconds is never taken.
    fn now_ns(&self) -> u64 {
        self.now.map_or(0, |ticks| self.scale.nanoseconds(ticks).unwrap_or(u64::MAX))
    }

    /// The sample of the moment that is over, if a chosen wire was given a level in it.
    fn take_sample(&mut self) -> Option<Sample> {
        let time_ns = self.now_ns();
        self.levels.take().map(|(high, known)| Sample { time_ns, high, known })
    }

    /// Takes a time stamp, and gives the sample of the moment that is over with it.
    fn advance(&mut self, token: Span) -> Result<Option<Sample>, CaptureError> {
        let digits = &self.tokens.bytes(token)[1..];
        if digits.is_empty() || !digits.iter().all(u8::is_ascii_digit) {
            return Err(self.tokens.garbage(token, "a time stamp is # and a whole number"));
        }
        let ticks = digits.iter().try_fold(0_u64, |ticks, digit| {
            ticks.checked_mul(10).and_then(|ticks| ticks.checked_add(u64::from(digit - b'0')))
        });
        let Some((ticks, ns)) = ticks.and_then(|ticks| Some((ticks, self.scale.nanoseconds(ticks)?))) else {
            return Err(self.tokens.garbage(token, "times reach to 584 years only"));
        };
        match self.now {
            Some(now) if ticks < now => {
                return Err(self.tokens.garbage(token, format_args!("time goes backwards, from #{now}")));
            }
            // The same time once more: still the same moment.
            Some(now) if ticks == now => return Ok(None),
            Some(_) => {}
            None => self.first_ns = ns,
        }
        let sample = self.take_sample();
        self.now = Some(ticks);
        Ok(sample)
    }

    /// Gives every chosen wire on this code the level of its bit; `token` is where the code stood.
    #[inline]
    fn change(&mut self, token: Span, code: Code, of: impl Fn(u32) -> u8) -> Result<(), CaptureError> {
        let mut ours = false;
        for (index, chosen) in self.chosen.iter().enumerate() {
            if chosen.code == code {
                ours = true;
                self.levels.set(index, of(chosen.bit));
            }
        }
        if ours || self.declared.contains(code) {
            return Ok(());
        }
        Err(self.tokens.garbage(token, "no variable was declared with this identifier code"))
    }

    /// Everything but time stamps and scalar changes.
    fn uncommon(&mut self, token: Span) -> Result<(), CaptureError> {
        match self.tokens.bytes(token) {
            [b'b' | b'B', value @ ..] => {
                if value.is_empty() || value.iter().any(|&bit| level(bit) == NO_LEVEL) {
                    return Err(self.tokens.garbage(token, "not a vector value such as b0101"));
                }
                // Taken out before the code is read: reading on may overwrite the value.
                let mut bits = [(0_u32, UNKNOWN); MAX_WIRES];
                for (slot, chosen) in bits.iter_mut().zip(&self.chosen) {
                    *slot = (chosen.bit, bit_of(value, chosen.bit));
                }
                let (span, code) = self.code_after(token)?;
                self.change(span, code, |bit| {
                    bits.iter().find(|(wanted, _)| *wanted == bit).map_or(UNKNOWN, |(_, level)| *level)
                })
            }
            [b'r' | b'R', value @ ..] => {
                if !std::str::from_utf8(value).is_ok_and(|text| text.parse::<f64>().is_ok()) {
                    return Err(self.tokens.garbage(token, "not a real value such as r1.5"));
                }
                self.other_value(token)
            }
            // A widespread extension: the value of a string variable.
            [b's' | b'S', ..] => self.other_value(token),
            b"$dumpvars" | b"$dumpall" | b"$dumpon" | b"$dumpoff" => {
                if self.dump.is_some() {
                    return Err(self.tokens.garbage(token, "the dump before it has no $end"));
                }
                self.dump = Some(token.line);
                Ok(())
            }
            b"$end" if self.dump.take().is_some() => Ok(()),
            b"$end" => Err(self.tokens.garbage(token, "there is nothing to end")),
            b"$comment" => self.tokens.skip_section(token),
            [b'$', ..] => Err(self.tokens.garbage(token, "no keyword of this part of a VCD file")),
            _ => Err(self.tokens.garbage(token, "neither a time stamp nor a value change")),
        }
    }

    /// Passes over a real or string value, which no chosen wire may have.
    fn other_value(&mut self, token: Span) -> Result<(), CaptureError> {
        let (span, code) = self.code_after(token)?;
        if self.chosen.iter().any(|chosen| chosen.code == code) {
            return Err(self.tokens.garbage(span, "a value that is no level, for a wire that was asked for"));
        }
        self.change(span, code, |_| UNKNOWN)
    }

    /// The identifier code that must follow a vector, real or string value.
    fn code_after(&mut self, token: Span) -> Result<(Span, Code), CaptureError> {
        let Some(span) = self.tokens.next()? else {
            return Err(CaptureError::cut_short(token.line, "after a value that has no identifier code"));
        };
        match Code::new(self.tokens.bytes(span)) {
            Some(code) => Ok((span, code)),
            None => Err(self.bad_code(span)),
        }
    }

    #[cold]
    fn bad_code(&self, token: Span) -> CaptureError {
        self.tokens
            .garbage(token, "an identifier code is 1 to 16 printable characters, right after a scalar value")
    }
}

impl<R: Read> Recording for Capture<R> {
    fn path(&self, index: usize) -> Option<&str> {
        self.chosen.get(index).map(|chosen| chosen.path.as_str())
    }

    fn same_wire(&self, first: usize, second: usize) -> bool {
        let place = |index: usize| self.chosen.get(index).map(|chosen| (chosen.code, chosen.bit));
        place(first).is_some() && place(first) == place(second)
    }

    fn span_ns(&self) -> u64 {
        self.now_ns().saturating_sub(self.first_ns)
    }

    fn first_ns(&self) -> u64 {
        self.first_ns
    }

    #[inline]
    fn next_sample(&mut self) -> Result<Option<Sample>, CaptureError> {
        while !self.finished {
            if let Some(sample) = self.plain_lines() {
                return Ok(Some(sample));
            }
            let Some(token) = self.tokens.next()? else {
                self.finished = true;
                if let Some(line) = self.dump {
                    return Err(CaptureError::cut_short(line, "before the $end of this dump"));
                }
                return Ok(self.take_sample());
            };
            match self.tokens.bytes(token) {
                [b'#', ..] => {
                    if let Some(sample) = self.advance(token)? {
                        return Ok(Some(sample));
                    }
                }
                [value, code @ ..] if level(*value) != NO_LEVEL => {
                    let (value, code) = ([*value], Code::new(code));
                    let Some(code) = code else { return Err(self.bad_code(token)) };
                    self.change(token, code, |bit| bit_of(&value, bit))?;
                }
                _ => self.uncommon(token)?,
            }
        }
        Ok(None)
    }
}

/// The levels of the chosen wires, bit n that of the n-th.
#[derive(Debug, Clone, Copy, Default)]
struct Levels {
    high: u8,
    known: u8,
    /// One of them was given since the last sample.
    changed: bool,
}

impl Levels {
    fn set(&mut self, index: usize, level: u8) {
        self.high = self.high & !(1 << index) | u8::from(level == HIGH) << index;
        self.known = self.known & !(1 << index) | u8::from(level != UNKNOWN) << index;
        self.changed = true;
    }

    /// Which are high and which are known, if one was given since this was asked last.
    #[inline]
    fn take(&mut self) -> Option<(u8, u8)> {
        std::mem::take(&mut self.changed).then_some((self.high, self.known))
    }
}

/// How many nanoseconds a tick has: a whole number, or a whole part of one.
#[derive(Debug, Clone, Copy)]
enum Scale {
    Times(u64),
    Over(u64),
}

/// Femtoseconds in a nanosecond.
const FEMTO_PER_NANO: u64 = 1_000_000;

impl Scale {
    fn new(femtoseconds_per_tick: u64) -> Self {
        match femtoseconds_per_tick {
            whole if whole >= FEMTO_PER_NANO => Self::Times(whole / FEMTO_PER_NANO),
            part => Self::Over(FEMTO_PER_NANO / part.max(1)),
        }
    }

    /// Rounded down; `None` past 64 bits, which are 584 years.
    #[inline]
    const fn nanoseconds(self, ticks: u64) -> Option<u64> {
        match self {
            Self::Times(factor) => ticks.checked_mul(factor),
            Self::Over(divisor) => ticks.checked_div(divisor),
        }
    }
}

const LOW: u8 = 0;
const HIGH: u8 = 1;
const UNKNOWN: u8 = 2;
const NO_LEVEL: u8 = 3;

/// The level that a character of a value stands for: the four of the standard, and the weak ones of
/// the nine-valued logic of IEEE 1164 (a pulled-up wire at rest is `H`).
const fn level(character: u8) -> u8 {
    match character {
        b'0' | b'L' | b'l' => LOW,
        b'1' | b'H' | b'h' => HIGH,
        b'x' | b'X' | b'z' | b'Z' | b'u' | b'U' | b'w' | b'W' | b'-' => UNKNOWN,
        _ => NO_LEVEL,
    }
}

/// The level of one bit of a value, counted from the right. A value shorter than its variable is
/// extended to the left: 0 and 1 with 0, unknown with unknown (IEEE 1364-2005, 18.2.1).
#[inline]
fn bit_of(value: &[u8], bit: u32) -> u8 {
    let place = usize::try_from(bit).ok().and_then(|bit| value.len().checked_sub(bit + 1));
    match (place.and_then(|place| value.get(place)), value.first()) {
        (Some(&character), _) => level(character),
        (None, Some(&leftmost)) if level(leftmost) == UNKNOWN => UNKNOWN,
        (None, _) => LOW,
    }
}
