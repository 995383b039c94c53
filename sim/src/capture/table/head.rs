//! What stands before the rows of a table: which column has the times, which the wanted channels.

use std::io::Read;

use super::super::error::{CaptureError, NO_RECORDING, shown};
use super::super::rate::Rate;
use super::super::wanted::{Names, Wanted};
use super::time::{self, Named, Unit};
use super::{Line, Lines, fields, first_field, is_passed_over};

/// Where the time of a row comes from.
#[derive(Debug, Clone, Copy)]
pub(super) enum Clock {
    /// The first column.
    Column(Unit),
    /// The number of the row.
    Rate(Rate),
}

/// What the rows are like.
#[derive(Debug)]
pub(super) struct Head {
    pub(super) clock: Clock,
    columns: usize,
    pub(super) chosen: Vec<Chosen>,
}

/// A channel that was asked for and found.
#[derive(Debug)]
pub(super) struct Chosen {
    /// From 0.
    pub(super) column: usize,
    pub(super) name: String,
}

/// What the comments of sigrok say.
#[derive(Default)]
struct Comments {
    channels: Option<Vec<String>>,
    rate: Option<Rate>,
}

impl Comments {
    fn look_at(&mut self, text: &[u8], line: u64) -> Result<(), CaptureError> {
        let Ok(text) = std::str::from_utf8(text) else { return Ok(()) };
        let comment = text.trim_start_matches(';').trim();
        if let Some(list) = comment.strip_prefix("Channels (") {
            if let Some((_, names)) = list.split_once("):") {
                self.channels = Some(names.split(',').map(|name| name.trim().to_owned()).collect());
            }
        } else if let Some(rate) =
            comment.strip_prefix("Samplerate:").or_else(|| text.strip_prefix(NOTE_OF_RATE))
        {
            let rate = rate.trim();
            self.rate = Some(Rate::read(rate).ok_or_else(|| {
                let rate = shown(rate.as_bytes());
                CaptureError::line(line, format_args!("sample rate '{rate}': {}", Rate::ALLOWED))
            })?);
        }
        Ok(())
    }
}

/// How sigrok-cli notes a rate that it comes to know only after the comments.
const NOTE_OF_RATE: &str = "META samplerate:";

pub(super) fn is_sigrok_note(line: &[u8]) -> bool {
    line.starts_with(NOTE_OF_RATE.as_bytes())
}

/// Reads up to the rows; gives the first row where it had to be read too.
pub(super) fn read<R: Read>(
    lines: &mut Lines<R>,
    wanted: &[Wanted<'_>],
) -> Result<(Head, Option<Line>), CaptureError> {
    let mut comments = Comments::default();
    let line = loop {
        let Some(line) = lines.next()? else {
            return Err(CaptureError::line(lines.line(), "the file ends before the names of its columns"));
        };
        let text = lines.text(line);
        if !is_passed_over(text) && !is_sigrok_note(text) {
            break line;
        }
        comments.look_at(text, line.number)?;
    };
    let text = lines.text(line);
    let refused = |what: String| CaptureError::line(line.number, what);
    let first = String::from_utf8_lossy(first_field(text)).into_owned();
    let columns = fields(text).count();
    let Some(channels) = comments.channels else {
        // No table of sigrok's: names, the first that of the times.
        let clock = match time::read_name(&first) {
            Named::Times(unit) => Clock::Column(unit),
            Named::TimesOfNoUnit => return Err(refused(no_unit(&first))),
            Named::Other => {
                let first = shown(first.as_bytes());
                let allowed = time::ALLOWED;
                return Err(refused(format!(
                    "'{first}': {NO_RECORDING}; the first column of a CSV table is {allowed}"
                )));
            }
        };
        let names = fields(text).map(String::from_utf8_lossy);
        let chosen = find(wanted, names.enumerate().skip(1))?;
        return Ok((Head { clock, columns, chosen }, None));
    };
    // Units or names, or the first row where it was asked to leave them away.
    let is_row = matches!(first.as_str(), "0" | "1") || time::read(first.as_bytes(), time::SECOND).is_some();
    let labels_are_channels = || fields(text).take(channels.len()).eq(channels.iter().map(String::as_bytes));
    let named = if is_row { Named::Other } else { time::read_name(&first) };
    let with_times = columns > channels.len() && !labels_are_channels() && first != "logic";
    let clock = match (with_times, named) {
        (true, Named::Times(unit)) => Clock::Column(unit),
        (true, Named::TimesOfNoUnit) => return Err(refused(no_unit(&first))),
        (true, Named::Other) if first == "samples" => {
            return Err(refused(
                "'samples': sigrok-cli did not know the sample rate yet; convert to a session (.sr) first, or \
                 leave out time=true"
                    .to_owned(),
            ));
        }
        (true, Named::Other) if is_row => {
            return Err(refused(format!("no name over the first column, which is {}", time::ALLOWED)));
        }
        // The last column may be that of triggers.
        (true, Named::Other) if columns > channels.len() + 1 => {
            return Err(refused(format!("{columns} columns for {} channels", channels.len())));
        }
        _ => match comments.rate {
            Some(rate) => Clock::Rate(rate),
            None => return Err(refused("no column of times, and no sample rate in a comment".to_owned())),
        },
    };
    let shift = usize::from(matches!(clock, Clock::Column(_)));
    if columns < channels.len() + shift {
        return Err(refused(format!("{columns} columns for {} channels", channels.len())));
    }
    let names = channels.iter().map(|name| name.as_str().into());
    let chosen = find(wanted, names.enumerate().map(|(index, name)| (index + shift, name)))?;
    Ok((Head { clock, columns, chosen }, is_row.then_some(line)))
}

fn no_unit(name: &str) -> String {
    format!("'{}': no unit of time; the first column is {}", shown(name.as_bytes()), time::ALLOWED)
}

/// Finds the column of each wanted name, once.
fn find<'n>(
    wanted: &[Wanted<'_>],
    columns: impl Iterator<Item = (usize, std::borrow::Cow<'n, str>)>,
) -> Result<Vec<Chosen>, CaptureError> {
    let mut names = Names::default();
    let mut found: Vec<Vec<usize>> = vec![Vec::new(); wanted.len()];
    for (column, name) in columns {
        for (wanted, found) in wanted.iter().zip(&mut found) {
            // Two are enough to see that it is not there once.
            if !name.is_empty() && wanted.name() == name && found.len() < 2 {
                found.push(column);
            }
        }
        names.add(|| name.into_owned());
    }
    wanted
        .iter()
        .zip(found)
        .map(|(wanted, found)| match found.as_slice() {
            [column] => Ok(Chosen { column: *column, name: wanted.name().to_owned() }),
            [] => Err(wanted.refused(format!("no such channel in the recording; it has {}", names.list()))),
            [first, second, ..] => {
                let (first, second) = (first + 1, second + 1);
                Err(wanted.refused(format!("several channels have this name: columns {first} and {second}")))
            }
        })
        .collect()
}

impl Head {
    /// The time of a row in femtoseconds (0 where the clock is a rate), and which of the chosen channels are high and
    /// known.
    pub(super) fn row(&self, text: &[u8]) -> Result<(i128, u8, u8), String> {
        let (mut time, mut high, mut known, mut columns) = (0, 0, 0, 0);
        for (column, field) in fields(text).enumerate() {
            columns = column + 1;
            if let (0, Clock::Column(unit)) = (column, self.clock) {
                time = time::read(field, unit).ok_or_else(|| format!("'{}': not a time", shown(field)))?;
            }
            for (index, _) in self.chosen.iter().enumerate().filter(|(_, chosen)| chosen.column == column) {
                let level = match field {
                    b"0" => 0b10,
                    b"1" => 0b11,
                    b"" | b"x" | b"X" | b"z" | b"Z" => 0b00,
                    _ => {
                        let field = shown(field);
                        return Err(format!(
                            "'{field}': not a level, which is 0, 1, or unknown: x, z or nothing"
                        ));
                    }
                };
                high |= (level & 1) << index;
                known |= (level >> 1) << index;
            }
        }
        if columns != self.columns {
            return Err(format!("{columns} columns, but {} are named", self.columns));
        }
        Ok((time, high, known))
    }
}
