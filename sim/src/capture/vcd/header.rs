//! The header of a recording: its time scale and where the wanted wires are.
//!
//! A header may be as long as it likes: each variable is looked at once and forgotten, but for a
//! handful of names that an error message would list.

use std::collections::HashSet;
use std::io::Read;

use super::super::error::{CaptureError, NO_RECORDING, shown};
use super::super::wanted::{LISTED, Names, Wanted};
use super::super::{MAX_DEPTH, MAX_WIRES};
use super::Chosen;
use super::tokens::{Span, Tokens};

/// The longest name of a scope or a variable in bytes.
const MAX_NAME: usize = 512;
/// The most words of a section that are looked at: of a `$var` with its index in pieces.
const MAX_WORDS: usize = 12;
/// The most identifier codes that are remembered as declared.
const MAX_CODES: usize = 1 << 16;

/// An identifier code: 1 to 16 printable characters.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub(super) struct Code(u128);

impl Code {
    #[inline]
    pub(super) fn new(text: &[u8]) -> Option<Self> {
        if text.is_empty() || text.len() > 16 {
            return None;
        }
        let mut code = 0;
        for &byte in text {
            if !byte.is_ascii_graphic() {
                return None;
            }
            code = code << 8 | u128::from(byte);
        }
        Some(Self(code))
    }

    /// The characters of a code of one or two, with a space behind a single one.
    pub(super) fn short(self) -> Option<[u8; 2]> {
        match u16::try_from(self.0).ok()?.to_be_bytes() {
            [0, only] => Some([only, b' ']),
            both => Some(both),
        }
    }
}

/// The identifier codes that have been declared.
#[derive(Debug, Default)]
pub(super) struct Declared {
    codes: HashSet<Code>,
    /// There were more than are remembered: any code may be one of them.
    more: bool,
}

impl Declared {
    fn insert(&mut self, code: Code) {
        if self.codes.len() < MAX_CODES {
            self.codes.insert(code);
        } else if !self.codes.contains(&code) {
            self.more = true;
        }
    }

    #[inline]
    pub(super) fn contains(&self, code: Code) -> bool {
        self.more || self.codes.contains(&code)
    }

    /// Those that are remembered.
    pub(super) fn codes(&self) -> impl Iterator<Item = Code> {
        self.codes.iter().copied()
    }
}

/// What the header holds.
pub(super) struct Header {
    pub(super) chosen: Vec<Chosen>,
    pub(super) declared: Declared,
    pub(super) femtoseconds_per_tick: u64,
}

/// The index behind a variable's name.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Index {
    None,
    Bit(i32),
    Range(i32, i32),
}

impl Index {
    /// Splits `port[7:0]` into its name and its index; what is no index stays with the name.
    fn split(text: &str) -> (&str, Self) {
        let parts = text.strip_suffix(']').and_then(|text| text.rsplit_once('['));
        let Some((name, index)) = parts.filter(|(name, _)| !name.is_empty()) else {
            return (text, Self::None);
        };
        let index = match index.split_once(':') {
            Some((left, right)) => {
                left.parse().ok().and_then(|left| Some(Self::Range(left, right.parse().ok()?)))
            }
            None => index.parse().ok().map(Self::Bit),
        };
        index.map_or((text, Self::None), |index| (name, index))
    }
}

/// A declared variable while it is being looked at.
struct Variable {
    code: Code,
    /// No value of it is a level.
    number: bool,
    width: u32,
    index: Index,
    /// Scopes and name, without the index.
    path: String,
}

/// How a variable answers to a wanted name.
enum Fit {
    No,
    /// By the bit counted from the right.
    Bit(u32),
    /// By name, but it is no single wire.
    Wrong(String),
}

impl Variable {
    fn fit(&self, base: &str, bit: Index) -> Fit {
        let named = match self.path.strip_suffix(base) {
            Some("") => true,
            Some(scopes) => scopes.ends_with('.'),
            None => false,
        };
        if !named {
            return Fit::No;
        }
        if self.number {
            return Fit::Wrong("is a number or a text, not a wire".to_owned());
        }
        let last = self.width - 1;
        match (bit, self.index) {
            (Index::Bit(bit), Index::Bit(own)) if bit == own && last == 0 => Fit::Bit(0),
            (Index::Bit(bit), Index::Range(left, right)) => {
                let within = if left >= right { right..=left } else { left..=right };
                if within.contains(&bit) { Fit::Bit(bit.abs_diff(right)) } else { Fit::No }
            }
            (Index::Bit(bit), Index::None) if last > 0 => {
                u32::try_from(bit).ok().filter(|bit| *bit <= last).map_or(Fit::No, Fit::Bit)
            }
            (Index::None, _) if last == 0 => Fit::Bit(0),
            (Index::None, index) => {
                let (left, right) = if let Index::Range(left, right) = index {
                    (i64::from(left), i64::from(right))
                } else {
                    (i64::from(last), 0)
                };
                Fit::Wrong(format!(
                    "has {} bits: choose one of them, {base}[{left}] to {base}[{right}]",
                    self.width
                ))
            }
            _ => Fit::No,
        }
    }

    /// The name as it is to be written on the command line.
    fn full_name(&self) -> String {
        match self.index {
            Index::None => self.path.clone(),
            Index::Bit(bit) => format!("{}[{bit}]", self.path),
            Index::Range(left, right) => format!("{}[{left}:{right}]", self.path),
        }
    }
}

/// The search for one wanted wire.
struct Search<'a> {
    wanted: Wanted<'a>,
    base: &'a str,
    bit: Index,
    /// Different wires that answer to the name.
    found: Vec<Chosen>,
    /// The same, by their whole name: they win.
    exact: Vec<Chosen>,
    wrong: Option<String>,
}

impl<'a> Search<'a> {
    fn new(wanted: Wanted<'a>) -> Self {
        let (base, bit) = Index::split(wanted.name());
        Self { wanted, base, bit, found: Vec::new(), exact: Vec::new(), wrong: None }
    }

    fn look_at(&mut self, variable: &Variable) {
        match self.fit(variable) {
            Fit::No => {}
            Fit::Wrong(why) => self.wrong = Some(why),
            Fit::Bit(bit) => {
                let exact = variable.path == self.base;
                let list = if exact { &mut self.exact } else { &mut self.found };
                // The same wire under a second name is no second wire.
                let known = list.iter().any(|other| other.code == variable.code && other.bit == bit);
                if !known && list.len() < LISTED {
                    list.push(Chosen { code: variable.code, bit, path: variable.full_name() });
                }
            }
        }
    }

    fn fit(&self, variable: &Variable) -> Fit {
        if self.base.is_empty() { Fit::No } else { variable.fit(self.base, self.bit) }
    }

    fn finish(self, names: &Names) -> Result<Chosen, CaptureError> {
        let mut found = if self.exact.is_empty() { self.found } else { self.exact };
        let what = match (found.len(), self.wrong) {
            (0, Some(why)) => why,
            (0, None) => format!("no such wire in the recording; it has {}", names.list()),
            (1, _) => return Ok(found.remove(0)),
            _ => {
                let paths: Vec<String> = found.iter().map(|one| shown(one.path.as_bytes())).collect();
                format!("several wires have this name: write one of {}", paths.join(", "))
            }
        };
        Err(self.wanted.refused(what))
    }
}

/// Reads up to and with `$enddefinitions` and finds the wanted wires.
pub(super) fn read<R: Read>(tokens: &mut Tokens<R>, wanted: &[Wanted<'_>]) -> Result<Header, CaptureError> {
    let mut searches: Vec<Search<'_>> = wanted.iter().take(MAX_WIRES).copied().map(Search::new).collect();
    let mut names = Names::default();
    let mut declared = Declared::default();
    let mut scopes: Vec<String> = Vec::new();
    let mut timescale = None;
    let mut begun = false;
    loop {
        let Some(token) = tokens.next()? else {
            let place = if begun { "before $enddefinitions" } else { "before it begins: it is empty" };
            return Err(CaptureError::line(tokens.line(), format_args!("the file ends {place}")));
        };
        match tokens.bytes(token) {
            b"$comment" | b"$date" | b"$version" | b"$attrbegin" => tokens.skip_section(token)?,
            b"$timescale" => {
                if timescale.is_some() {
                    return Err(tokens.garbage(token, "a second time scale"));
                }
                timescale = Some(read_timescale(&section(tokens, token)?, token.line)?);
            }
            b"$scope" => {
                let words = section(tokens, token)?;
                let [_, name] = words.as_slice() else {
                    return Err(CaptureError::line(token.line, "a $scope has a type and a name"));
                };
                if scopes.len() == MAX_DEPTH {
                    let what = format_args!("scopes are nested more than {MAX_DEPTH} deep");
                    return Err(CaptureError::line(token.line, what));
                }
                scopes.push(name.clone());
            }
            b"$upscope" => {
                if scopes.pop().is_none() {
                    return Err(tokens.garbage(token, "there is no scope to leave"));
                }
                section(tokens, token)?;
            }
            b"$var" => {
                let variable = read_variable(&section(tokens, token)?, token.line, &scopes)?;
                declared.insert(variable.code);
                names.add(|| variable.full_name());
                for search in &mut searches {
                    search.look_at(&variable);
                }
            }
            b"$enddefinitions" => {
                section(tokens, token)?;
                break;
            }
            _ => {
                let why = if begun { "no keyword of a VCD header" } else { NO_RECORDING };
                return Err(tokens.garbage(token, why));
            }
        }
        begun = true;
    }
    let Some(femtoseconds_per_tick) = timescale else {
        return Err(CaptureError::line(tokens.line(), "no $timescale before $enddefinitions"));
    };
    let chosen = searches.into_iter().map(|search| search.finish(&names)).collect::<Result<_, _>>()?;
    Ok(Header { chosen, declared, femtoseconds_per_tick })
}

/// The words of a section up to its `$end`.
fn section<R: Read>(tokens: &mut Tokens<R>, opening: Span) -> Result<Vec<String>, CaptureError> {
    let keyword = shown(tokens.bytes(opening));
    let mut words = Vec::new();
    while let Some(token) = tokens.next()? {
        let word = tokens.bytes(token);
        if word == b"$end" {
            return Ok(words);
        }
        if word.len() > MAX_NAME {
            return Err(tokens.garbage(token, format_args!("longer than {MAX_NAME} characters")));
        }
        if words.len() == MAX_WORDS {
            return Err(CaptureError::line(opening.line, format_args!("this {keyword} has no $end")));
        }
        words.push(String::from_utf8_lossy(word).into_owned());
    }
    Err(CaptureError::cut_short(opening.line, format_args!("before the $end of this {keyword}")))
}

/// The time scale in femtoseconds: 1, 10 or 100 of s, ms, us, ns, ps or fs.
fn read_timescale(words: &[String], line: u64) -> Result<u64, CaptureError> {
    let text = words.concat();
    let (number, unit) = text.split_at(text.find(|c: char| !c.is_ascii_digit()).unwrap_or(text.len()));
    let number = match number {
        "1" => Some(1),
        "10" => Some(10),
        "100" => Some(100),
        _ => None,
    };
    let unit = match unit {
        "s" => Some(1_000_000_000_000_000),
        "ms" => Some(1_000_000_000_000),
        "us" => Some(1_000_000_000),
        "ns" => Some(1_000_000),
        "ps" => Some(1_000),
        "fs" => Some(1_u64),
        _ => None,
    };
    number.zip(unit).map(|(number, unit)| number * unit).ok_or_else(|| {
        let text = shown(words.join(" ").as_bytes());
        let allowed = "1, 10 or 100 of s, ms, us, ns, ps or fs";
        CaptureError::line(line, format_args!("$timescale '{text}': not a time scale, which is {allowed}"))
    })
}

fn read_variable(words: &[String], line: u64, scopes: &[String]) -> Result<Variable, CaptureError> {
    let [kind, width, code, name, index @ ..] = words else {
        let what = "a $var has a type, a width, an identifier code and a name";
        return Err(CaptureError::line(line, what));
    };
    let Some(width) = width.parse().ok().filter(|width| *width > 0) else {
        let what = format!("$var width '{}': not a whole number from 1", shown(width.as_bytes()));
        return Err(CaptureError::line(line, what));
    };
    let Some(code) = Code::new(code.as_bytes()) else {
        let what = format!("$var code '{}': not 1 to 16 printable characters", shown(code.as_bytes()));
        return Err(CaptureError::line(line, what));
    };
    // The index may stand apart, in one piece or several, or be part of the name; a name with strange
    // characters is escaped by a backslash that is not part of it.
    let written = format!("{}{}", name.strip_prefix('\\').unwrap_or(name), index.concat());
    let (name, index) = Index::split(&written);
    let path = scopes.iter().map(String::as_str).chain([name]).collect::<Vec<_>>().join(".");
    let number = matches!(kind.as_str(), "real" | "realtime" | "string" | "real_parameter");
    Ok(Variable { code, number, width, index, path })
}
