//! Where results go: standard output, or a file that appears whole or not at all.

use std::fs::File;
use std::io::{self, Write};
use std::path::{Path, PathBuf};

use serde::Serialize;

use crate::failure::Failure;
use crate::files::input;
use crate::files::kind::Kind;
use crate::words::visible::visible;

pub mod safe;
mod unfinished;

use unfinished::Unfinished;

/// A file on its way: beside its place first, moved onto it when it is whole, gone otherwise, also where the program
/// is interrupted.
#[derive(Debug)]
pub struct WholeFile {
    path: PathBuf,
    /// Where it goes: the path, links followed.
    place: PathBuf,
    file: tempfile::NamedTempFile,
    _unfinished: Unfinished,
}

impl WholeFile {
    /// Begins a file of this kind that is to appear at `path`. One that is there keeps its mode, and a link is
    /// written through.
    ///
    /// # Errors
    /// One line that names the file: it cannot be written, its name is that of another kind, or it is one that
    /// the program has read.
    pub fn create(path: &Path, kind: Kind) -> Result<Self, Failure> {
        let failure = |error: io::Error| Failure::file("write", path, &without_temporary_path(error));
        let refused = |why: &dyn std::fmt::Display| {
            Err(Failure::new(format_args!("cannot write {}: {why}", path.display())))
        };
        // A job may be changed and kept where it was; nothing else takes the place of what was read.
        if let Some(read) = input::read_as(path).filter(|&read| (read, kind) != (Kind::Job, Kind::Job)) {
            let what = match read {
                Kind::Job => "the job file",
                Kind::Records => "the file of the log",
                _ => "a file that is read",
            };
            return refused(&format_args!("this is {what}: only another file is allowed"));
        }
        if path.extension().is_some() && !kind.is_ending_of(path) {
            let endings: Vec<String> = kind.endings().iter().map(|ending| format!(".{ending}")).collect();
            return refused(&format_args!("only a name that ends in {} is allowed", endings.join(" or ")));
        }
        let found = path.metadata().ok();
        // Moving onto a device would put a file in its place.
        if found.as_ref().is_some_and(|found| !found.is_file()) {
            return refused(&"only a new file or an existing regular file is allowed");
        }
        if found.as_ref().is_some_and(|found| found.permissions().readonly()) {
            return refused(&"it may only be read");
        }
        let place = followed(path).map_err(failure)?;
        let folder = match place.parent() {
            Some(folder) if !folder.as_os_str().is_empty() => folder,
            _ => Path::new("."),
        };
        unfinished::sweep(folder);
        let file = unfinished::begin(folder).map_err(failure)?;
        if let Some(found) = found {
            file.as_file().set_permissions(found.permissions()).map_err(failure)?;
        }
        let unfinished = Unfinished::new(file.path());
        Ok(Self { path: path.to_owned(), place, file, _unfinished: unfinished })
    }

    /// Another handle on the file, to write through.
    ///
    /// # Errors
    /// One line that names the file.
    pub fn writer(&self) -> Result<File, Failure> {
        self.file.as_file().try_clone().map_err(|error| self.failure(&error))
    }

    /// What went wrong with this file.
    #[must_use]
    pub fn failure(&self, error: &io::Error) -> Failure {
        Failure::file("write", &self.path, error)
    }

    /// Puts the file in its place.
    ///
    /// # Errors
    /// One line that names the file.
    pub fn finish(self) -> Result<(), Failure> {
        let path = self.path;
        self.file.persist(&self.place).map_err(|error| Failure::file("write", &path, &error.error))?;
        Ok(())
    }
}

/// Writes a file whole or not at all, with whatever came from outside made [safe] for its kind.
///
/// # Errors
/// As [`WholeFile::create`].
pub fn write_whole(path: &Path, kind: Kind, text: &str) -> Result<(), Failure> {
    write_bytes(path, kind, safe::ready(kind, text)?.as_bytes())
}

/// Writes a file that is no text whole or not at all.
///
/// # Errors
/// As [`WholeFile::create`].
pub fn write_bytes(path: &Path, kind: Kind, content: &[u8]) -> Result<(), Failure> {
    let whole = WholeFile::create(path, kind)?;
    whole.writer()?.write_all(content).map_err(|error| whole.failure(&error))?;
    whole.finish()
}

/// The path with the links at its end followed, also to where nothing is yet.
fn followed(path: &Path) -> io::Result<PathBuf> {
    /// More are a circle (the bound of Linux, path_resolution(7)).
    const MOST_LINKS: u32 = 40;
    let mut place = path.to_owned();
    for _ in 0..MOST_LINKS {
        if !place.is_symlink() {
            return Ok(place);
        }
        let to = place.read_link()?;
        place = place.parent().unwrap_or(Path::new("")).join(to);
    }
    Err(io::Error::other("too many links, one to the other"))
}

/// The error alone: the temporary file's name, which its library adds, says nothing to anybody.
fn without_temporary_path(error: io::Error) -> io::Error {
    match error.to_string().split_once(" at path ") {
        Some((what, _)) => io::Error::new(error.kind(), what),
        None => error,
    }
}

/// Prints text on standard output: nothing in it can move the cursor.
///
/// # Errors
/// Where it cannot be written; a reader that left is distinguished ([`Failure::is_broken_pipe`]).
pub fn print(text: &str) -> Result<(), Failure> {
    print_as(Kind::Text, text)
}

/// Prints the text of a file of this kind on standard output.
///
/// # Errors
/// As [`print()`].
pub fn print_as(kind: Kind, text: &str) -> Result<(), Failure> {
    let mut out = io::stdout().lock();
    out.write_all(safe::ready(kind, text)?.as_bytes())?;
    out.flush()?;
    Ok(())
}

/// Says something beside the output, on standard error, on a line of its own.
pub fn remark(text: &str) {
    // Nobody may listen.
    _ = writeln!(io::stderr().lock(), "{}", visible(text));
}

/// Prints one JSON object on standard output, indented, with a line end.
///
/// # Errors
/// As [`print()`].
pub fn print_json<T: Serialize>(value: &T) -> Result<(), Failure> {
    // Straight to the reader: a plan of millions of coils is never held in memory as text.
    let mut out = io::BufWriter::with_capacity(1 << 16, safe::Json::new(io::stdout().lock()));
    serde_json::to_writer_pretty(&mut out, value).map_err(io::Error::from)?;
    out.write_all(b"\n")?;
    out.flush()?;
    Ok(())
}
