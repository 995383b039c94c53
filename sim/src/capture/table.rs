//! Tables with commas (CSV), read: a row for each moment, a column for each channel.
//!
//! # What is read
//! - A line of names, the first that of a column of times, with its unit: `time_s`, `Time [s]`, `microseconds`, `ns`.
//! - What sigrok-cli writes with `-O csv` or `-O csv:time=true`: names and sample rate in comments, units for names. Rows
//!   without a time are samples at that rate, one after the other; `dedup=true` makes no sense without times.
//!
//! Lines that begin with `;` are comments, empty lines are passed over, names may stand in double quotes. A level is 0
//! or 1, or unknown: `x`, `z` or nothing. Times may be negative; they are counted from the first row, and never go back.
//!
//! # Limits
//! A line has at most [`MAX_TOKEN`] bytes. Times reach to 584 years.

mod head;
mod time;

use std::io::Read;

use super::buffer::Buffer;
use super::error::{CaptureError, shown};
use super::wanted::Wanted;
use super::{MAX_TOKEN, MAX_WIRES, Recording, Sample};

use head::{Clock, Head};

/// Reads a table in constant memory. Samples are given where a chosen channel changes.
pub struct Table<R> {
    lines: Lines<R>,
    head: Head,
    /// The first row was read together with the head, which has no line of names.
    row: Option<Line>,
    /// Rows that have been read.
    count: u64,
    /// The first time and the last one so far, in femtoseconds.
    times: Option<(i128, i128)>,
    now_ns: u64,
    levels: Option<(u8, u8)>,
}

impl<R> std::fmt::Debug for Table<R> {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Table").field("head", &self.head).field("count", &self.count).finish_non_exhaustive()
    }
}

impl<R: Read> Table<R> {
    /// Reads the names and finds the channels that are wanted, at most [`MAX_WIRES`].
    ///
    /// # Errors
    /// [`CaptureError`] where the input cannot be read, is no such table, or does not have exactly one channel for each
    /// wanted name.
    pub fn open(input: R, wanted: &[Wanted<'_>]) -> Result<Self, CaptureError> {
        Self::read(Buffer::new(input), wanted)
    }

    /// The same, of a source from which something has been read ahead.
    pub(super) fn read(buffer: Buffer<R>, wanted: &[Wanted<'_>]) -> Result<Self, CaptureError> {
        let mut lines = Lines { buffer };
        let (head, row) = head::read(&mut lines, &wanted[..wanted.len().min(MAX_WIRES)])?;
        Ok(Self { lines, head, row, count: 0, times: None, now_ns: 0, levels: None })
    }
}

impl<R: Read> Recording for Table<R> {
    /// Where a chosen channel changes; the first sample is such a moment.
    fn next_sample(&mut self) -> Result<Option<Sample>, CaptureError> {
        loop {
            let line = match self.row.take() {
                Some(line) => line,
                None => match self.lines.next()? {
                    Some(line) => line,
                    None if self.count == 0 => {
                        return Err(CaptureError::line(
                            self.lines.line(),
                            "the file ends before its first row",
                        ));
                    }
                    None => return Ok(None),
                },
            };
            let text = self.lines.text(line);
            if is_passed_over(text) || head::is_sigrok_note(text) {
                continue;
            }
            let (time, high, known) = self.head.row(text).map_err(|what| {
                let cut = if self.lines.is_cut(line) { "; or the file was cut short here" } else { "" };
                CaptureError::line(line.number, what + cut)
            })?;
            let now_ns = match self.head.clock {
                Clock::Rate(rate) => rate.nanoseconds(self.count),
                Clock::Column(_) => {
                    let (first, last) = self.times.unwrap_or((time, time));
                    if time < last {
                        let field = shown(first_field(text));
                        return Err(CaptureError::line(
                            line.number,
                            format_args!("'{field}': time goes backwards"),
                        ));
                    }
                    self.times = Some((first, time));
                    u64::try_from((time - first) / FEMTO_PER_NANO).ok()
                }
            };
            let Some(now_ns) = now_ns else {
                return Err(CaptureError::line(line.number, "times reach to 584 years only"));
            };
            self.now_ns = now_ns;
            self.count += 1;
            if self.levels.replace((high, known)) != Some((high, known)) {
                return Ok(Some(Sample { time_ns: now_ns, high, known }));
            }
        }
    }

    fn path(&self, index: usize) -> Option<&str> {
        self.head.chosen.get(index).map(|chosen| chosen.name.as_str())
    }

    fn same_wire(&self, first: usize, second: usize) -> bool {
        let column = |index: usize| self.head.chosen.get(index).map(|chosen| chosen.column);
        column(first).is_some() && column(first) == column(second)
    }

    /// To the last row.
    fn span_ns(&self) -> u64 {
        self.now_ns
    }

    fn first_ns(&self) -> u64 {
        0
    }
}

/// Femtoseconds in a nanosecond.
const FEMTO_PER_NANO: i128 = 1_000_000;

/// Whether a file that begins so is such a table: a comment of sigrok's, or a first line of two names and more.
#[cfg(not(target_arch = "wasm32"))]
pub(super) fn begins_so(text: &[u8]) -> bool {
    let text = text.trim_ascii_start();
    let line = text.split(|byte| *byte == b'\n').next().unwrap_or_default();
    match text.first() {
        Some(b';') => true,
        Some(b'$') => false,
        _ => head::is_sigrok_note(line) || fields(line).filter(|field| !field.is_empty()).count() > 1,
    }
}

/// The fields of a line without white space around them and without quotes.
fn fields(line: &[u8]) -> impl Iterator<Item = &[u8]> {
    line.split(|byte| *byte == b',').map(|field| {
        let field = field.trim_ascii();
        field.strip_prefix(b"\"").and_then(|field| field.strip_suffix(b"\"")).unwrap_or(field).trim_ascii()
    })
}

fn first_field(line: &[u8]) -> &[u8] {
    fields(line).next().unwrap_or_default()
}

/// Comments and empty lines.
fn is_passed_over(line: &[u8]) -> bool {
    let line = line.trim_ascii_start();
    line.is_empty() || line.starts_with(b";")
}

/// Where a line lies in the buffer, until the next one is asked for.
#[derive(Debug, Clone, Copy)]
struct Line {
    start: usize,
    end: usize,
    /// From 1.
    number: u64,
}

/// Splits a source into lines.
struct Lines<R> {
    buffer: Buffer<R>,
}

impl<R: Read> Lines<R> {
    /// The next line; `None` at the end of the source.
    fn next(&mut self) -> Result<Option<Line>, CaptureError> {
        let mut length = 0;
        let ended = loop {
            let rest = &self.buffer.unused()[length..];
            if let Some(more) = rest.iter().position(|byte| *byte == b'\n') {
                length += more;
                break true;
            }
            length += rest.len();
            if length > MAX_TOKEN || !self.buffer.refill()? {
                break false;
            }
        };
        let (start, number) = (self.buffer.start(), self.buffer.line());
        if length > MAX_TOKEN {
            return Err(CaptureError::line(number, format_args!("longer than {MAX_TOKEN} characters")));
        }
        if length == 0 && !ended {
            return Ok(None);
        }
        self.buffer.consume(length + usize::from(ended), u64::from(ended));
        Ok(Some(Line { start, end: start + length, number }))
    }

    /// The text of a line, only of the last one that was given out, without white space around it.
    fn text(&self, line: Line) -> &[u8] {
        self.buffer.between(line.start, line.end).trim_ascii()
    }

    /// The line that has been reached.
    fn line(&self) -> u64 {
        self.buffer.line()
    }

    /// The file ends with this line, without a line break.
    fn is_cut(&self, line: Line) -> bool {
        self.buffer.is_exhausted() && line.end == self.buffer.start() && self.buffer.unused().is_empty()
    }
}
