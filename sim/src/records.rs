//! The log of coils on the computer: one SQLite file, which other programs may read too.
//!
//! Each entry is kept as the counter sent it, under its counter and number. Two entries of one number are
//! two entries if they differ: a counter whose flash was made blank begins anew. What was measured on rings
//! and coils, and the spools, are in the same file.

use std::path::{Path, PathBuf};
use std::time::{Duration, SystemTime, UNIX_EPOCH};

use clap::Args;
use rusqlite::types::{FromSql, FromSqlResult, ValueRef};
use rusqlite::{Connection, OptionalExtension, Row, TransactionBehavior, params};
use turntally_core::bench::log::Entry;
use turntally_core::link::SentEntry;
use turntally_core::metal::Temper;
use turntally_core::units::Length;

use crate::failure::Failure;
use crate::files::input;
use crate::files::kind::Kind;
use crate::lookup::{Lookup, LookupArgs, Measured, Spool, WireRecords};
use crate::words::visible::one_line;

pub mod batch;
pub mod measured;
pub(crate) mod report;
mod rings;
pub mod spool;

/// The form of the file. Form 1 had the log alone, form 2 knew a job by its fingerprint and rewrote its price
/// whenever it was sent, form 3 knew no spool of a measurement, no temper of a spool and measured bare wire alone. All
/// are brought up to this one when they are opened, with a copy beside the file first.
const FORMAT_VERSION: i64 = 4;
/// Where another program writes to the file, it is waited for so long.
const BUSY: Duration = Duration::from_secs(5);

/// The table of form 1 that is still there.
const TABLES: &str = "
CREATE TABLE entry (
    counter TEXT NOT NULL,
    number INTEGER NOT NULL,
    bytes BLOB NOT NULL,
    PRIMARY KEY (counter, number, bytes)
) WITHOUT ROWID;
";

/// The file where none is named: in the user's own data folder, or here where there is none.
#[must_use]
pub fn default_path() -> PathBuf {
    let set = |name| std::env::var_os(name).filter(|value| !value.is_empty()).map(PathBuf::from);
    let folder = set("XDG_DATA_HOME")
        .or_else(|| set("LOCALAPPDATA"))
        .or_else(|| set("HOME").map(|home| home.join(".local/share")));
    folder.map_or_else(|| PathBuf::from("turntally.sqlite"), |folder| folder.join("turntally/log.sqlite"))
}

/// Opens the records that the options name, to look a job's wire up; without a file at the default place there is
/// nothing to find.
///
/// # Errors
/// One line where a file that was named is not there, or is no log.
pub fn lookup(args: &LookupArgs) -> Result<Lookup, Failure> {
    let default = default_path();
    let records = match &args.log {
        Some(path) => Some(Records::open_existing(path)?),
        None if default.exists() => Some(Records::open_existing(&default)?),
        None => None,
    };
    Ok(Lookup::in_records(records, args.estimate))
}

impl WireRecords for Records {
    fn measured(&self) -> Result<Vec<Measured>, Failure> {
        Self::measured(self)
    }

    fn spool(&self, name: &str) -> Result<Option<Spool>, Failure> {
        Self::spool(self, name)
    }
}

/// The option for what is kept beside the log, in its file.
#[derive(Debug, Args)]
pub struct LogFile {
    /// The log file (SQLite), which also holds measurements and spools
    #[arg(long, global = true, value_name = "FILE", default_value_os_t = default_path())]
    pub log: PathBuf,
}

/// The file of the log.
#[derive(Debug)]
pub struct Records {
    file: Connection,
    path: PathBuf,
    /// What became of the rings that came with the log.
    rings: Vec<String>,
}

/// An entry of the log.
#[derive(Debug, Clone, PartialEq)]
pub struct LoggedEntry {
    /// The counter it came from.
    pub counter: String,
    /// As the counter sent it.
    pub entry: Entry,
    /// The number of its batch; 0 where it was set up at the counter.
    pub batch: u32,
    /// The spool that its wire came off.
    pub spool: Option<String>,
    /// What was left on that spool after it, if the spool was still there.
    pub left: Option<Length>,
}

impl Records {
    /// Opens the file, or makes it.
    ///
    /// # Errors
    /// One line that names the file: it cannot be read, is no log, or is of a newer program.
    pub fn open(path: &Path) -> Result<Self, Failure> {
        if let Some(folder) = path.parent().filter(|folder| !folder.as_os_str().is_empty()) {
            std::fs::create_dir_all(folder)
                .map_err(|error| Failure::file("make the folder of", path, &error))?;
        }
        Self::with(path, Connection::open(path))
    }

    /// Opens a file that is there.
    ///
    /// # Errors
    /// As [`Self::open`], and where there is none.
    pub fn open_existing(path: &Path) -> Result<Self, Failure> {
        if !path.exists() {
            let why = "no such file: turntally link fetch makes it, and so do measured add and spool add";
            return Err(Failure::value("--log", path.display(), why));
        }
        Self::with(path, Connection::open(path))
    }

    /// Opens a file to look into it; none where it is the usual one and nothing has ever been kept in it.
    ///
    /// # Errors
    /// As [`Self::open_existing`].
    pub fn open_if_begun(path: &Path) -> Result<Option<Self>, Failure> {
        if path == default_path() && !path.exists() {
            return Ok(None);
        }
        Self::open_existing(path).map(Some)
    }

    fn with(path: &Path, file: rusqlite::Result<Connection>) -> Result<Self, Failure> {
        let failure = |error: rusqlite::Error| wrong(path, &error);
        let mut file = file.map_err(failure)?;
        input::note_database(path, Kind::Records);
        file.busy_timeout(BUSY).map_err(failure)?;
        if form(&file).map_err(failure)? != FORMAT_VERSION {
            bring_up(path, &mut file)?;
        }
        Ok(Self { file, path: path.to_owned(), rings: Vec::new() })
    }

    /// Where the file is.
    #[must_use]
    pub fn path(&self) -> &Path {
        &self.path
    }

    fn failure(&self, error: &rusqlite::Error) -> Failure {
        wrong(&self.path, error)
    }

    /// The entry of the highest number that came from this counter.
    ///
    /// # Errors
    /// One line that names the file.
    pub fn newest(&self, counter: u64) -> Result<Option<(u32, Vec<u8>)>, Failure> {
        self.file
            .query_row(
                "SELECT number, bytes FROM entry WHERE counter = ?1 ORDER BY number DESC LIMIT 1",
                params![id_text(counter)],
                |row| Ok((row.get(0)?, row.get(1)?)),
            )
            .optional()
            .map_err(|error| self.failure(&error))
    }

    /// Adds entries, all or none; how many of them are new.
    ///
    /// # Errors
    /// One line that names the file.
    pub fn add(&mut self, counter: u64, entries: &[SentEntry]) -> Result<usize, Failure> {
        let id = id_text(counter);
        let added = (|| {
            let all = self.file.transaction()?;
            let (mut new, mut rings) = (0, Vec::new());
            for entry in entries {
                let row = params![id, entry.number, entry.bytes.as_slice()];
                let sql = "INSERT OR IGNORE INTO entry (counter, number, bytes) VALUES (?1, ?2, ?3)";
                if all.execute(sql, row)? > 0 {
                    new += 1;
                    batch::file_under(&all, &id, entry.number, &entry.bytes)?;
                    spool::draw(&all, &id, entry)?;
                    rings.extend(rings::store(&all, &entry.bytes, unix_now())?);
                }
            }
            all.commit()?;
            Ok((new, rings))
        })();
        added
            .map(|(new, rings)| {
                self.rings.extend(rings);
                new
            })
            .map_err(|error| wrong(&self.path, &error))
    }

    /// Every entry that can be read, in order; and how many cannot.
    ///
    /// # Errors
    /// One line that names the file.
    pub fn entries(&self) -> Result<(Vec<LoggedEntry>, usize), Failure> {
        let read = || {
            let sql = "SELECT counter, bytes, spool, left_nm, batch FROM entry ORDER BY counter, number";
            let mut rows = self.file.prepare(sql)?;
            let rows = rows.query_map([], |row| {
                let (bytes, left): (Vec<u8>, Option<i64>) = (row.get(1)?, row.get(3)?);
                let (counter, spool, batch) = (shown(row, 0)?, shown_or_none(row, 2)?, row.get(4)?);
                let entry = Entry::from_bytes(&bytes).ok();
                let left = left.map(Length::from_nm);
                Ok(entry.map(|entry| LoggedEntry { counter, entry, batch, spool, left }))
            })?;
            rows.collect::<rusqlite::Result<Vec<_>>>()
        };
        let rows = read().map_err(|error| self.failure(&error))?;
        let all = rows.len();
        let entries: Vec<_> = rows.into_iter().flatten().collect();
        let unread = all - entries.len();
        Ok((entries, unread))
    }
}

/// A text of a column as it may be shown: a file may have line breaks and worse in a name.
struct Shown(String);

impl FromSql for Shown {
    fn column_result(value: ValueRef<'_>) -> FromSqlResult<Self> {
        value.as_str().map(|text| Self(one_line(text)))
    }
}

/// The temper that stands in this column.
fn temper_of(column: usize, text: &str) -> rusqlite::Result<Temper> {
    text.parse().map_err(|_| {
        rusqlite::Error::FromSqlConversionFailure(column, rusqlite::types::Type::Text, "no temper".into())
    })
}

/// The text of this column.
fn shown(row: &Row<'_>, column: usize) -> rusqlite::Result<String> {
    row.get(column).map(|Shown(text)| text)
}

/// The text of this column, if there is one.
fn shown_or_none(row: &Row<'_>, column: usize) -> rusqlite::Result<Option<String>> {
    row.get(column).map(|text: Option<Shown>| text.map(|Shown(text)| text))
}

fn form(file: &Connection) -> rusqlite::Result<i64> {
    file.query_row("PRAGMA user_version", [], |row| row.get(0))
}

/// Gives a new file its tables, and brings an older one up to this form: whole or not at all.
fn bring_up(path: &Path, file: &mut Connection) -> Result<(), Failure> {
    let failure = |error: rusqlite::Error| wrong(path, &error);
    // Another program may have done so meanwhile: what there is counts once no other program can write.
    let all = file.transaction_with_behavior(TransactionBehavior::Immediate).map_err(failure)?;
    let tables: i64 =
        all.query_row("SELECT count(*) FROM sqlite_schema", [], |row| row.get(0)).map_err(failure)?;
    let before = form(&all).map_err(failure)?;
    match before {
        FORMAT_VERSION => return Ok(()),
        0 if tables == 0 => {}
        0 => return Err(Failure::value("--log", path.display(), "a database, but no log of turntally")),
        1..FORMAT_VERSION => back_up(path, before)?,
        _ => {
            let why = "by a newer turntally: bring this one up to date";
            return Err(Failure::value("--log", path.display(), why));
        }
    }
    let made = (|| {
        if before == 0 {
            all.execute_batch(TABLES)?;
        }
        if before < 2 {
            all.execute_batch(measured::TABLES)?;
            all.execute_batch(spool::TABLES)?;
        }
        if before < 3 {
            all.execute_batch(batch::TABLES)?;
            if before > 0 {
                batch::carry_over(&all, before == 2)?;
            }
        }
        all.execute_batch(measured::FORM_4)?;
        all.execute_batch(spool::FORM_4)?;
        all.execute_batch(rings::FORM_4)?;
        all.pragma_update(None, "user_version", FORMAT_VERSION)?;
        all.commit()
    })();
    made.map_err(failure)
}

/// Copies a file of an older form to one beside it that is not there yet: `log.sqlite.v2-backup`, or
/// `log.sqlite.v2-backup-2` and so on. Nobody else can write to the file meanwhile.
fn back_up(path: &Path, form: i64) -> Result<(), Failure> {
    let mut place = path.as_os_str().to_owned();
    place.push(format!(".v{form}-backup"));
    let first = place.clone();
    for copy in 2.. {
        if std::fs::symlink_metadata(&place).is_err() {
            break;
        }
        place.clone_from(&first);
        place.push(format!("-{copy}"));
    }
    let place = PathBuf::from(place);
    let failure = |error: rusqlite::Error| {
        let why = format_args!("cannot copy the file of an older version to {}: {error}", place.display());
        Failure::value("--log", path.display(), why)
    };
    // By SQLite: to open the file beside it would undo the lock on it.
    let file = Connection::open(path).map_err(failure)?;
    file.busy_timeout(BUSY).map_err(failure)?;
    let name = place.to_str().ok_or_else(|| {
        Failure::value("--log", path.display(), "its name must be UTF-8 to be brought up to this version")
    })?;
    if let Err(error) = file.execute("VACUUM INTO ?1", params![name]) {
        // Half a copy is none.
        _ = std::fs::remove_file(&place);
        return Err(failure(error));
    }
    Ok(())
}

/// Seconds since 1970-01-01 UTC.
fn unix_now() -> i64 {
    let since = SystemTime::now().duration_since(UNIX_EPOCH).unwrap_or_default();
    i64::try_from(since.as_secs()).unwrap_or(i64::MAX)
}

fn id_text(counter: u64) -> String {
    format!("{counter:016x}")
}

fn wrong(path: &Path, error: &rusqlite::Error) -> Failure {
    Failure::value("--log", path.display(), error)
}
