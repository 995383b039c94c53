//! Lines of a VCD file as recorders write nearly all of them, one time stamp or one change of a single wire each,
//! read where they lie in the buffer. Whatever is not quite so is left to the words one by one, with all errors.

use std::io::Read;

use super::header::{Code, Declared};
use super::tokens::is_space;
use super::{Capture, Chosen, Sample};

/// The longest of these lines and more: the rest of a buffer that is shorter is left to the words.
const ROOM: usize = 24;

/// A code in the table has been declared.
const DECLARED: u16 = 1 << 8;

/// What the identifier codes of one and two characters stand for. (94 and 94 times 94 wires have no longer ones.)
pub(super) struct ShortCodes {
    /// By the two characters, or one and a space: [`DECLARED`], and bit n for the n-th chosen wire; 0 is left to the words.
    table: Box<[u16; 1 << 16]>,
}

impl std::fmt::Debug for ShortCodes {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("ShortCodes").finish_non_exhaustive()
    }
}

impl ShortCodes {
    pub(super) fn new(declared: &Declared, chosen: &[Chosen]) -> Self {
        let mut table = Box::new([0; 1 << 16]);
        for code in declared.codes() {
            if let Some(entry) = entry(&mut table, code) {
                *entry = DECLARED;
            }
        }
        for (index, chosen) in chosen.iter().enumerate() {
            if let Some(entry) = entry(&mut table, chosen.code).filter(|entry| **entry != 0) {
                *entry |= 1 << index;
            }
        }
        // Another bit than the lowest is not what a single level says.
        for chosen in chosen.iter().filter(|chosen| chosen.bit != 0) {
            if let Some(entry) = entry(&mut table, chosen.code) {
                *entry = 0;
            }
        }
        Self { table }
    }
}

fn entry(table: &mut [u16; 1 << 16], code: Code) -> Option<&mut u16> {
    code.short().map(|characters| &mut table[usize::from(u16::from_le_bytes(characters))])
}

impl<R: Read> Capture<R> {
    /// Reads lines up to the next sample; `None` before the first line that is left to the words.
    #[inline]
    pub(super) fn plain_lines(&mut self) -> Option<Sample> {
        let mut now = self.now?;
        let mut levels = self.levels;
        let bytes = self.tokens.unused();
        let (mut at, mut lines) = (0, 0);
        let mut over = None;
        while let Some(line) = bytes.get(at..).and_then(|rest| rest.first_chunk::<ROOM>()) {
            let first = line[0];
            if first == b'#' {
                let Some((ticks, digits)) = whole_number(line) else { break };
                let end = line[1 + digits];
                if !is_space(end) || ticks < now || self.scale.nanoseconds(ticks).is_none() {
                    break;
                }
                at += digits + 2;
                lines += u64::from(end == b'\n');
                if ticks > now {
                    let before = std::mem::replace(&mut now, ticks);
                    if let Some((high, known)) = levels.take() {
                        over = Some((before, high, known));
                        break;
                    }
                }
            } else if first & !1 == b'0' {
                let single = is_space(line[2]);
                let (code, end) =
                    if single { ([line[1], b' '], line[2]) } else { ([line[1], line[2]], line[3]) };
                let entry = self.short.table[usize::from(u16::from_le_bytes(code))];
                if entry == 0 || !is_space(end) {
                    break;
                }
                let [ours, _] = entry.to_le_bytes();
                levels.high = levels.high & !ours | ours & 0_u8.wrapping_sub(first & 1);
                levels.known |= ours;
                levels.changed |= ours != 0;
                at += if single { 3 } else { 4 };
                lines += u64::from(end == b'\n');
            } else if is_space(first) {
                at += 1;
                lines += u64::from(first == b'\n');
            } else {
                break;
            }
        }
        self.tokens.pass(at, lines);
        self.now = Some(now);
        self.levels = levels;
        let (before, high, known) = over?;
        Some(Sample { time_ns: self.scale.nanoseconds(before)?, high, known })
    }
}

/// The number of 1 to 15 digits behind the first character, and how many digits; `None` for none and for more.
#[inline]
fn whole_number(line: &[u8; ROOM]) -> Option<(u64, usize)> {
    let (first, first_digits) = eight(line, 1);
    if first_digits < 8 {
        return (first_digits > 0).then_some((first, first_digits));
    }
    const TENS: [u64; 8] = [1, 10, 100, 1_000, 10_000, 100_000, 1_000_000, 10_000_000];
    let (second, second_digits) = eight(line, 9);
    TENS.get(second_digits).map(|tens| (first * tens + second, 8 + second_digits))
}

/// The number in the digits at the beginning of the eight characters from `at`, and how many these are.
#[inline]
fn eight(line: &[u8; ROOM], at: usize) -> (u64, usize) {
    const EACH: u64 = 0x0101_0101_0101_0101;
    let Some(text) = line.get(at..).and_then(|rest| rest.first_chunk::<8>()) else { return (0, 0) };
    // All eight at once, the first in the lowest byte: each digit comes to its value, anything else to more than 9.
    let values = u64::from_le_bytes(*text) ^ (EACH * u64::from(b'0'));
    let others = (values | ((values & (EACH * 0x7f)) + EACH * (0x7f - 9))) & (EACH * 0x80);
    let digits = (others.trailing_zeros() / 8) as usize;
    if digits == 0 {
        return (0, 0);
    }
    // Those behind the digits are pushed out, and as many zeros stand before them: pairs, fours and the eight.
    let values = values << (8 * (8 - digits));
    let pairs = (values * 10 + (values >> 8)) & 0x00ff_00ff_00ff_00ff;
    let fours = (pairs * 100 + (pairs >> 16)) & 0x0000_ffff_0000_ffff;
    ((fours * 10_000 + (fours >> 32)) & 0xffff_ffff, digits)
}
