//! The files that the program has read: no output ever takes the place of one.

use std::io;
use std::path::{Path, PathBuf};
use std::sync::{Mutex, PoisonError};

use crate::files::kind::Kind;

/// Whoever opens a file writes it down here, so that no command can forget one of its own.
static READ: Mutex<Vec<Read>> = Mutex::new(Vec::new());

/// A file that was read.
struct Read {
    path: PathBuf,
    file: Identity,
    kind: Kind,
}

/// Device and inode. (Asked of the path: to open a database once more and close it would drop the locks that this
/// process has on it, POSIX fcntl.)
#[cfg(unix)]
type Identity = (u64, u64);
/// Its full path, links followed.
#[cfg(not(unix))]
type Identity = PathBuf;

#[cfg(unix)]
fn identity(path: &Path) -> io::Result<Identity> {
    use std::os::unix::fs::MetadataExt;
    path.metadata().map(|found| (found.dev(), found.ino()))
}

#[cfg(not(unix))]
fn identity(path: &Path) -> io::Result<Identity> {
    path.canonicalize()
}

/// Notes that this file is read as such a kind.
pub fn note(path: &Path, kind: Kind) {
    // What is not there is not read.
    let Ok(file) = identity(path) else { return };
    let mut read = READ.lock().unwrap_or_else(PoisonError::into_inner);
    if !read.iter().any(|other| other.file == file && other.path == path) {
        read.push(Read { path: path.to_owned(), file, kind });
    }
}

/// Notes that this SQLite database is read, with the files that it may have beside it.
pub fn note_database(path: &Path, kind: Kind) {
    note(path, kind);
    for beside in ["-journal", "-wal", "-shm"] {
        let mut name = path.as_os_str().to_owned();
        name.push(beside);
        note(Path::new(&name), kind);
    }
}

/// As what the file at this path was read, whatever it is called and through links.
#[must_use]
pub fn read_as(path: &Path) -> Option<Kind> {
    let file = identity(path).ok()?;
    let read = READ.lock().unwrap_or_else(PoisonError::into_inner);
    // One that is gone from where it was read may have left its inode to any other.
    let still_there = |read: &&Read| read.file == file && identity(&read.path).is_ok_and(|now| now == file);
    read.iter().find(still_there).map(|read| read.kind)
}
