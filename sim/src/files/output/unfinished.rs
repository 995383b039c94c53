//! Files that are not whole yet: none of them stays behind.

use std::io;
use std::path::{Path, PathBuf};
use std::sync::{Mutex, Once, PoisonError};
use std::time::Duration;

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

    // One that is ignored stays so: under nohup, or in the background of a shell, the program is meant to go on.
    let ignored = ignored_signals();
    let watched = [SIGHUP, SIGINT, SIGTERM].into_iter().filter(|signal| ignored >> (signal - 1) & 1 == 0);
    // Where that cannot be, the next run removes what is left.
    let Ok(mut signals) = Signals::new(watched) else { return };
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

/// Signals that were ignored when the program was started, a bit for each, the first in bit 0; none where the system
/// does not say (Linux does, proc_pid_status(5)).
#[cfg(unix)]
fn ignored_signals() -> u64 {
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let ignored = status.lines().find_map(|line| line.strip_prefix("SigIgn:"));
    ignored.and_then(|mask| u64::from_str_radix(mask.trim(), 16).ok()).unwrap_or(0)
}

/// Elsewhere the next run removes what is left.
#[cfg(not(unix))]
const fn watch() {}

/// A new unfinished file in this folder, readable as the user's new files are.
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

/// Whether the process that wrote this is gone as far as can be known.
fn is_gone(process: u32, entry: &std::fs::DirEntry) -> bool {
    /// A folder may be shared with another machine, whose processes do not show here: what is written to now is not
    /// left behind.
    const AT_WORK: Duration = Duration::from_secs(600);
    /// Where nothing says which processes there are.
    const DAY: Duration = Duration::from_secs(86_400);
    let written = entry.metadata().and_then(|found| found.modified()).ok();
    let idle = written.and_then(|at| at.elapsed().ok()).unwrap_or_default();
    if cfg!(target_os = "linux") {
        return idle > AT_WORK && !Path::new("/proc").join(process.to_string()).exists();
    }
    idle > DAY
}
