//! Files that are not whole yet: none of them stays behind.

use std::io;
use std::path::{Path, PathBuf};
use std::sync::{Mutex, Once, PoisonError};

/// What the names of unfinished files begin with; then comes the number of the process that writes it.
const BEGINNING: &str = ".turntally-";
/// And end with.
const END: &str = ".part";

/// Unfinished files of this process.
static NOW: Mutex<Vec<PathBuf>> = Mutex::new(Vec::new());
/// Folders that have been looked through.
static SWEPT: Mutex<Vec<PathBuf>> = Mutex::new(Vec::new());

/// An unfinished file, which an interrupted program removes.
#[derive(Debug)]
pub(super) struct Unfinished(PathBuf);

impl Unfinished {
    pub(super) fn new(path: &Path) -> Self {
        static WATCH: Once = Once::new();
        WATCH.call_once(watch);
        NOW.lock().unwrap_or_else(PoisonError::into_inner).push(path.to_owned());
        Self(path.to_owned())
    }
}

impl Drop for Unfinished {
    fn drop(&mut self) {
        NOW.lock().unwrap_or_else(PoisonError::into_inner).retain(|path| *path != self.0);
    }
}

/// Where the program is interrupted (INT, TERM, HUP), it removes what is unfinished first, and then ends as it would have
/// without us.
#[cfg(unix)]
fn watch() {
    use signal_hook::consts::{SIGHUP, SIGINT, SIGTERM};
    use signal_hook::iterator::Signals;
    use signal_hook::low_level::emulate_default_handler;

    // Where that cannot be, the next run removes what is left.
    let Ok(mut signals) = Signals::new([SIGHUP, SIGINT, SIGTERM]) else { return };
    let thread = std::thread::Builder::new().name("signals".to_owned());
    _ = thread.spawn(move || {
        for signal in signals.forever() {
            for path in NOW.lock().unwrap_or_else(PoisonError::into_inner).iter() {
                _ = std::fs::remove_file(path);
            }
            _ = emulate_default_handler(signal);
        }
    });
}

/// Elsewhere the next run removes what is left.
#[cfg(not(unix))]
const fn watch() {}

/// A new unfinished file in this folder, to be read by whoever may read new files.
pub(super) fn begin(folder: &Path) -> io::Result<tempfile::NamedTempFile> {
    let beginning = format!("{BEGINNING}{}-", std::process::id());
    let mut builder = tempfile::Builder::new();
    builder.prefix(&beginning).suffix(END);
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt;
        // Less what the user's mask takes away.
        builder.permissions(std::fs::Permissions::from_mode(0o666));
    }
    builder.tempfile_in(folder)
}

/// Removes what programs of ours that were killed have left in this folder.
pub(super) fn sweep(folder: &Path) {
    let mut swept = SWEPT.lock().unwrap_or_else(PoisonError::into_inner);
    if swept.iter().any(|other| other == folder) {
        return;
    }
    swept.push(folder.to_owned());
    let Ok(entries) = std::fs::read_dir(folder) else { return };
    for entry in entries.flatten() {
        let name = entry.file_name();
        let writer = name.to_str().and_then(|name| {
            name.strip_prefix(BEGINNING)?.strip_suffix(END)?.split('-').next()?.parse().ok()
        });
        if writer.is_some_and(|writer| is_gone(writer, &entry)) {
            _ = std::fs::remove_file(entry.path());
        }
    }
}

/// Whether the process that wrote this is gone for certain.
fn is_gone(process: u32, entry: &std::fs::DirEntry) -> bool {
    if cfg!(target_os = "linux") {
        return !Path::new("/proc").join(process.to_string()).exists();
    }
    // Elsewhere there is no asking without more; nothing is written for a day.
    const DAY: std::time::Duration = std::time::Duration::from_secs(86_400);
    let written = entry.metadata().and_then(|found| found.modified()).ok();
    written.and_then(|at| at.elapsed().ok()).is_some_and(|age| age > DAY)
}
