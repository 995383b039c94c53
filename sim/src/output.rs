//! Where results go: standard output, or a file that appears whole or not at all.

use std::io::{self, Write};
use std::path::Path;

use serde::Serialize;

use crate::failure::Failure;

/// Writes a file whole or not at all: beside its place first, then moved onto it.
///
/// # Errors
/// One line that names the file.
pub fn write_whole(path: &Path, content: &[u8]) -> Result<(), Failure> {
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
    let mut file = tempfile::NamedTempFile::new_in(folder).map_err(failure)?;
    file.write_all(content).map_err(failure)?;
    make_readable(&file).map_err(failure)?;
    file.persist(path).map_err(|error| failure(error.error))?;
    Ok(())
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
