//! Recordings of wires: VCD files (value change dump, IEEE 1364-2005 clause 18), written and read.
//!
//! [`Recorder`] writes one, by way of the crate `vcd`. [`Capture`] reads one from any source, of any
//! length, in constant memory, and gives the levels of a few chosen wires sample by sample: all
//! changes at one time stamp make one sample.
//!
//! Reading is our own, though writing is not. The crate `vcd` 0.7 reads fast enough, but it keeps a
//! whole vector value, comment or name in memory however long it is, descends into nested scopes by
//! recursion, and refuses a last line without a line break; a file that somebody sends in may be
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
//! A token (name, number, vector value) has at most [`MAX_TOKEN`] bytes, an identifier code 16, scopes
//! are nested at most [`MAX_DEPTH`] deep. Times reach to 584 years. Of more than 65,536 identifier
//! codes the rest is not checked for being declared.

mod error;
mod header;
mod record;
mod tokens;

use std::io::Read;

pub use error::CaptureError;
pub use header::Wanted;
pub use record::{Recorder, Tick, Wire};

use header::{Code, Declared, Header};
use tokens::{Span, Tokens};

/// The longest token in bytes; the standard asks for vectors of at least 65,536 bits.
pub const MAX_TOKEN: usize = 1 << 17;
/// The deepest nesting of scopes.
pub const MAX_DEPTH: usize = 64;
/// The most wires that can be read together.
pub const MAX_WIRES: usize = 8;

/// The levels of the chosen wires at one moment, after all changes of that moment.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Sample {
    /// Nanoseconds on the clock of the recording, rounded down.
    pub time_ns: u64,
    /// Bit n: the n-th wire is high.
    high: u8,
    /// Bit n: the level of the n-th wire is known.
    known: u8,
}

impl Sample {
    /// The level of the wire that was asked for as the `index`-th (from 0); `None` while unknown.
    #[must_use]
    pub const fn level(self, index: usize) -> Option<bool> {
        if index < MAX_WIRES && self.known >> index & 1 == 1 {
            Some(self.high >> index & 1 == 1)
        } else {
            None
        }
    }
}

/// Reads a recording in constant memory.
///
/// # Examples
/// ```
/// use turntally_sim::capture::{Capture, Wanted};
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
    declared: Declared,
    femtoseconds_per_tick: u64,
    high: u8,
    known: u8,
    /// A chosen wire was given a level since the last sample.
    changed: bool,
    /// The time stamp that changes now belong to, in ticks and in nanoseconds.
    now: Option<(u64, u64)>,
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
        let mut tokens = Tokens::new(input);
        let Header { chosen, declared, femtoseconds_per_tick } = header::read(&mut tokens, wanted)?;
        Ok(Self {
            tokens,
            chosen,
            declared,
            femtoseconds_per_tick,
            high: 0,
            known: 0,
            changed: false,
            now: None,
            first_ns: 0,
            dump: None,
            finished: false,
        })
    }

    /// The full name of the wire that was asked for as the `index`-th.
    #[must_use]
    pub fn path(&self, index: usize) -> Option<&str> {
        self.chosen.get(index).map(|chosen| chosen.path.as_str())
    }

    /// The wires that were asked for as the `first`-th and the `second`-th are one and the same.
    #[must_use]
    pub fn same_wire(&self, first: usize, second: usize) -> bool {
        let place = |index: usize| self.chosen.get(index).map(|chosen| (chosen.code, chosen.bit));
        place(first).is_some() && place(first) == place(second)
    }

    /// Nanoseconds from the first time stamp to the last one so far.
    #[must_use]
    pub fn span_ns(&self) -> u64 {
        self.now.map_or(0, |(_, ns)| ns - self.first_ns)
    }

    /// The time of the first time stamp in nanoseconds.
    #[must_use]
    pub const fn first_ns(&self) -> u64 {
        self.first_ns
    }

    /// The next moment at which a chosen wire was given a level; `None` at the end of the recording.
    ///
    /// # Errors
    /// [`CaptureError`] with its line where the input cannot be read, is no VCD, goes back in time, or
    /// ends in the middle of something.
    #[inline]
    pub fn next_sample(&mut self) -> Result<Option<Sample>, CaptureError> {
        while !self.finished {
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

    /// The sample of the moment that is over, if a chosen wire was given a level in it.
    fn take_sample(&mut self) -> Option<Sample> {
        let time_ns = self.now.map_or(0, |(_, ns)| ns);
        std::mem::take(&mut self.changed).then_some(Sample { time_ns, high: self.high, known: self.known })
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
        let ns_of = |ticks: u64| match self.femtoseconds_per_tick {
            whole if whole >= FEMTO_PER_NANO => ticks.checked_mul(whole / FEMTO_PER_NANO),
            part => Some(ticks / (FEMTO_PER_NANO / part)),
        };
        let Some((ticks, ns)) = ticks.and_then(|ticks| Some((ticks, ns_of(ticks)?))) else {
            return Err(self.tokens.garbage(token, "times reach to 584 years only"));
        };
        match self.now {
            Some((now, _)) if ticks < now => {
                return Err(self.tokens.garbage(token, format_args!("time goes backwards, from #{now}")));
            }
            // The same time once more: still the same moment.
            Some((now, _)) if ticks == now => return Ok(None),
            Some(_) => {}
            None => self.first_ns = ns,
        }
        let sample = self.take_sample();
        self.now = Some((ticks, ns));
        Ok(sample)
    }

    /// Gives every chosen wire on this code the level of its bit; `token` is where the code stood.
    #[inline]
    fn change(&mut self, token: Span, code: Code, of: impl Fn(u32) -> u8) -> Result<(), CaptureError> {
        let mut ours = false;
        for (index, chosen) in self.chosen.iter().enumerate() {
            if chosen.code == code {
                ours = true;
                let level = of(chosen.bit);
                self.high = self.high & !(1 << index) | u8::from(level == HIGH) << index;
                self.known = self.known & !(1 << index) | u8::from(level != UNKNOWN) << index;
            }
        }
        self.changed |= ours;
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

/// Femtoseconds in a nanosecond.
const FEMTO_PER_NANO: u64 = 1_000_000;

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
