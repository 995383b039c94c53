//! Where results go: standard output, or a file that appears whole or not at all.

use std::fs::File;
use std::io::{self, Write};
use std::path::{Path, PathBuf};

use serde::Serialize;

use crate::failure::Failure;

/// A file on its way: beside its place first, moved onto it when it is whole, gone otherwise.
#[derive(Debug)]
pub struct WholeFile {
    path: PathBuf,
    file: tempfile::NamedTempFile,
}

impl WholeFile {
    /// Begins a file that is to appear at `path`.
    ///
    /// # Errors
    /// One line that names the file.
    pub fn create(path: &Path) -> Result<Self, Failure> {
        let failure = |error: io::Error| Failure::file("write", path, &without_temporary_path(error));
        // Moving onto a device would put a file in its place.
        if path.metadata().is_ok_and(|found| !found.is_file()) {
            return Err(Failure::new(format_args!(
                "cannot write {}: only a new file or an existing regular file is allowed",
                path.display()
            )));
        }
        let folder = match path.parent() {
            Some(folder) if !folder.as_os_str().is_empty() => folder,
            _ => Path::new("."),
        };
        let file = tempfile::NamedTempFile::new_in(folder).map_err(failure)?;
        make_readable(&file).map_err(failure)?;
        Ok(Self { path: path.to_owned(), file })
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
        self.file.persist(&path).map_err(|error| Failure::file("write", &path, &error.error))?;
        Ok(())
    }
}

/// Writes a file whole or not at all.
///
/// # Errors
/// One line that names the file.
pub fn write_whole(path: &Path, content: &[u8]) -> Result<(), Failure> {
    let whole = WholeFile::create(path)?;
    whole.writer()?.write_all(content).map_err(|error| whole.failure(&error))?;
    whole.finish()
}

/// The error alone: the temporary file's name, which its library adds, says nothing to anybody.
fn without_temporary_path(error: io::Error) -> io::Error {
    match error.to_string().split_once(" at path ") {
        Some((what, _)) => io::Error::new(error.kind(), what),
        None => error,
    }
}

/// A temporary file is its owner's alone; what was asked for is readable as any new file.
#[cfg(unix)]
fn make_readable(file: &tempfile::NamedTempFile) -> io::Result<()> {
    use std::os::unix::fs::PermissionsExt;
    file.as_file().set_permissions(std::fs::Permissions::from_mode(0o644))
}

#[cfg(not(unix))]
#[expect(clippy::unnecessary_wraps, reason = "the other side of the cfg can fail")]
fn make_readable(_: &tempfile::NamedTempFile) -> io::Result<()> {
    Ok(())
}

/// Prints text on standard output.
///
/// # Errors
/// Where it cannot be written; a reader that left is told apart ([`Failure::is_broken_pipe`]).
pub fn print(text: &str) -> Result<(), Failure> {
    let mut out = io::stdout().lock();
    out.write_all(text.as_bytes())?;
    out.flush()?;
    Ok(())
}

/// Prints one JSON object on standard output, indented, with a line end.
///
/// # Errors
/// As [`print()`].
pub fn print_json<T: Serialize>(value: &T) -> Result<(), Failure> {
    // Straight to the reader: a plan of millions of coils is never held in memory as text.
    let mut out = io::BufWriter::with_capacity(1 << 16, io::stdout().lock());
    serde_json::to_writer_pretty(&mut out, value).map_err(io::Error::from)?;
    out.write_all(b"\n")?;
    out.flush()?;
    Ok(())
}
