//! What went wrong, for a person: one line on standard error and exit status 2.

use std::borrow::Cow;
use std::fmt;
use std::io;
use std::path::Path;

use crate::words::visible::visible;

/// One line that says what was wrong, where, and what is allowed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Failure(String);

impl Failure {
    /// From a message; line breaks in it (a library's, say) are folded to keep it one line, what would move a
    /// terminal's cursor is shown as its code, and a word too long to be read is cut.
    pub fn new(message: impl fmt::Display) -> Self {
        let text = message.to_string();
        let lines: Vec<&str> = text.lines().map(str::trim).filter(|line| !line.is_empty()).collect();
        let line = lines.join(" ").replace('\t', " ");
        let words: Vec<Cow<'_, str>> = line.split(' ').map(short).collect();
        Self(visible(&words.join(" ")).into_owned())
    }

    /// A value that is not allowed: the field it stood in, the value (of a long one its beginning),
    /// and why not.
    pub fn value(field: &str, value: impl fmt::Display, why: impl fmt::Display) -> Self {
        let value = value.to_string();
        let value = cut(&value);
        Self::new(format_args!("{field} '{value}': {why}"))
    }

    /// A file that could not be read or written.
    #[must_use]
    pub fn file(doing: &str, path: &Path, error: &io::Error) -> Self {
        Self::new(format_args!("cannot {doing} {}: {error}", path.display()))
    }
}

/// The beginning of a text that is too long to be shown whole.
fn cut(text: &str) -> Cow<'_, str> {
    const SHOWN: usize = 80;
    match text.char_indices().nth(SHOWN) {
        Some((end, _)) => Cow::Owned(format!("{}…", text.get(..end).unwrap_or_default())),
        None => Cow::Borrowed(text),
    }
}

/// A word; of one that is longer than any but a path its beginning.
fn short(word: &str) -> Cow<'_, str> {
    const LONGEST: usize = 160;
    let path = word.contains(std::path::is_separator);
    if path || word.len() <= LONGEST { Cow::Borrowed(word) } else { cut(word) }
}

impl fmt::Display for Failure {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

impl std::error::Error for Failure {}

/// Standard output that has gone away is no failure of ours; see [`crate::command::cli::main`].
impl From<io::Error> for Failure {
    fn from(error: io::Error) -> Self {
        if error.kind() == io::ErrorKind::BrokenPipe {
            return Self(BROKEN_PIPE.to_owned());
        }
        Self::new(format_args!("cannot write the output: {error}"))
    }
}

/// The message that stands for a closed pipe: a reader such as `head` that had enough.
const BROKEN_PIPE: &str = "standard output was closed";

impl Failure {
    /// The reader of our output had enough and left.
    #[must_use]
    pub fn is_broken_pipe(&self) -> bool {
        self.0 == BROKEN_PIPE
    }
}
