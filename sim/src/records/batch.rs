//! Batches, in the file of the log: what the wire of each is and costs, fixed when it was offered.
//!
//! Every batch that is put to a counter gets a number of its own, which the counter writes down with each of its
//! coils. A row is written before its offer goes out and never changes afterwards, but for the time of the Yes: a
//! later price is that of a later batch. A batch that was not taken has no coils, and so no effect on any sum.

use std::collections::BTreeMap;
use std::hash::{BuildHasher, RandomState};

use rusqlite::{OptionalExtension, Transaction, params};
use turntally_core::bench::log::{CoilLog, Entry, LogEvent, MeasuredRing, RingCount};
use turntally_core::link::job::PlannedJob;
use turntally_core::units::{Density, Length, Mm};

use super::{Records, id_text, shown, shown_or_none, unix_now, wrong};
use crate::failure::Failure;
use crate::job::Job;
use crate::lookup::Price;

/// The table, from form 3 on; number 0 is what was set up at a counter.
pub(super) const TABLES: &str = "
CREATE TABLE batch (
    number INTEGER PRIMARY KEY,
    counter TEXT NOT NULL,
    fingerprint INTEGER NOT NULL,
    offered_unix_s INTEGER NOT NULL,
    taken_unix_s INTEGER,
    name TEXT NOT NULL,
    metal TEXT NOT NULL,
    wire_nm INTEGER NOT NULL,
    density_g_cm3 REAL NOT NULL,
    price_per_kg REAL,
    currency TEXT,
    spool TEXT
);
ALTER TABLE entry ADD COLUMN batch INTEGER NOT NULL DEFAULT 0;
";

/// What is fixed of a batch.
#[derive(Debug, Clone, PartialEq)]
pub struct Batch {
    /// The job's name, whole.
    pub name: String,
    /// The metal of its wire.
    pub metal: String,
    /// The wire's diameter.
    pub wire: Length,
    /// The wire's density.
    pub density: Density,
    /// Its price, if it was known.
    pub price: Option<Price>,
    /// The spool that its wire comes off.
    pub spool: Option<String>,
    /// The counter that it was offered to.
    pub counter: String,
}

impl Batch {
    /// As it is offered to this counter.
    #[must_use]
    pub fn of(job: &Job, counter: u64) -> Self {
        Self {
            name: job.name.clone(),
            metal: job.metal_name.clone(),
            wire: job.winding.wire(),
            density: job.density,
            price: job.price.clone(),
            spool: job.spool.as_ref().map(|spool| spool.name.clone()),
            counter: id_text(counter),
        }
    }
}

impl Records {
    /// Notes a batch that is about to be offered; its number.
    ///
    /// # Errors
    /// One line that names the file.
    pub fn add_batch(&mut self, planned: &PlannedJob, batch: &Batch) -> Result<u32, Failure> {
        let added = (|| {
            let all = self.file.transaction()?;
            let number = fresh_number(&all)?;
            insert(&all, number, planned.fingerprint, batch, (unix_now(), None))?;
            all.commit()?;
            Ok(number)
        })();
        added.map_err(|error| wrong(&self.path, &error))
    }

    /// The numbers of the last batches of this job that were offered with these very figures, the newest first.
    ///
    /// # Errors
    /// One line that names the file.
    pub fn batches_like(&self, planned: &PlannedJob, batch: &Batch) -> Result<Vec<u32>, Failure> {
        let (per_kg, currency) = columns(batch.price.as_ref());
        let read = || {
            let mut rows = self.file.prepare(
                "SELECT number FROM batch WHERE counter = ?1 AND fingerprint = ?2 AND name = ?3 AND metal = ?4
                 AND wire_nm = ?5 AND density_g_cm3 = ?6 AND price_per_kg IS ?7 AND currency IS ?8 AND spool IS ?9
                 ORDER BY offered_unix_s DESC LIMIT 8",
            )?;
            let wanted = params![
                batch.counter,
                planned.fingerprint,
                batch.name,
                batch.metal,
                batch.wire.nm(),
                batch.density.g_per_cm3(),
                per_kg,
                currency,
                batch.spool
            ];
            rows.query_map(wanted, |row| row.get(0))?.collect::<rusqlite::Result<Vec<u32>>>()
        };
        read().map_err(|error| self.failure(&error))
    }

    /// The user at the counter has taken a batch.
    ///
    /// # Errors
    /// One line that names the file.
    pub fn batch_taken(&mut self, number: u32) -> Result<(), Failure> {
        taken(&self.file, number, unix_now()).map_err(|error| self.failure(&error))
    }

    /// The user at the counter has not taken a batch: nothing is left of it, unless it was taken before.
    ///
    /// # Errors
    /// One line that names the file.
    pub fn batch_refused(&mut self, number: u32) -> Result<(), Failure> {
        let sql = "DELETE FROM batch WHERE number = ?1 AND taken_unix_s IS NULL";
        self.file.execute(sql, params![number]).map_err(|error| self.failure(&error))?;
        Ok(())
    }

    /// Every batch, by its number.
    ///
    /// # Errors
    /// One line that names the file.
    pub fn batches(&self) -> Result<BTreeMap<u32, Batch>, Failure> {
        let read = || {
            let mut rows = self.file.prepare(
                "SELECT number, name, metal, wire_nm, density_g_cm3, price_per_kg, currency, spool, counter FROM batch",
            )?;
            let rows = rows.query_map([], |row| {
                let (per_kg, currency): (Option<f64>, Option<String>) = (row.get(5)?, shown_or_none(row, 6)?);
                let batch = Batch {
                    name: shown(row, 1)?,
                    metal: shown(row, 2)?,
                    wire: Length::from_nm(row.get(3)?),
                    density: Density::new(row.get(4)?),
                    price: per_kg.map(|per_kg| Price { per_kg, currency: currency.unwrap_or_default() }),
                    spool: shown_or_none(row, 7)?,
                    counter: row.get(8)?,
                };
                Ok((row.get(0)?, batch))
            })?;
            rows.collect::<rusqlite::Result<_>>()
        };
        read().map_err(|error| self.failure(&error))
    }
}

/// A number that no batch of the file has, and hardly one of another file. It is random, since that needs no clock
/// that is right: of a thousand batches, sent by any number of computers, two have the same number once in 8,600
/// times, and even then only matter to each other on one and the same counter.
fn fresh_number(all: &Transaction<'_>) -> rusqlite::Result<u32> {
    loop {
        // Seeded by the operating system.
        let number = RandomState::new().hash_one(unix_now()) as u32;
        let mut same = all.prepare("SELECT 1 FROM batch WHERE number = ?1")?;
        if number != 0 && !same.exists(params![number])? {
            return Ok(number);
        }
    }
}

fn columns(price: Option<&Price>) -> (Option<f64>, Option<&str>) {
    (price.map(|price| price.per_kg), price.map(|price| price.currency.as_str()))
}

fn insert(
    all: &Transaction<'_>,
    number: u32,
    fingerprint: u32,
    batch: &Batch,
    (offered, taken): (i64, Option<i64>),
) -> rusqlite::Result<()> {
    let (per_kg, currency) = columns(batch.price.as_ref());
    all.execute(
        "INSERT INTO batch VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12)",
        params![
            number,
            batch.counter,
            fingerprint,
            offered,
            taken,
            batch.name,
            batch.metal,
            batch.wire.nm(),
            batch.density.g_per_cm3(),
            per_kg,
            currency,
            batch.spool
        ],
    )?;
    Ok(())
}

/// Notes when a batch was taken, where that is not known yet.
fn taken(file: &rusqlite::Connection, number: u32, at: i64) -> rusqlite::Result<()> {
    let sql = "UPDATE batch SET taken_unix_s = ?2 WHERE number = ?1 AND taken_unix_s IS NULL";
    file.execute(sql, params![number, at])?;
    Ok(())
}

/// The job and the batch of an entry, and when it was written, if that is known.
fn key(event: &LogEvent) -> (u32, u32, Option<i64>) {
    match event {
        LogEvent::Coil(CoilLog { counted, at, .. }) => {
            (counted.job, counted.batch, at.and_then(|at| i64::try_from(at).ok()))
        }
        LogEvent::RingCount(RingCount { job, batch, .. })
        | LogEvent::MeasuredRing(MeasuredRing { job, batch, .. }) => (*job, *batch, None),
    }
}

/// Notes of which batch an entry is that is new in the log. A batch with an entry was taken, whether or not the
/// computer heard the Yes.
pub(super) fn file_under(
    all: &Transaction<'_>,
    counter: &str,
    number: u32,
    bytes: &[u8],
) -> rusqlite::Result<()> {
    let Ok(entry) = Entry::from_bytes(bytes) else { return Ok(()) };
    let (_, batch, at) = key(&entry.event);
    if batch == 0 {
        return Ok(());
    }
    all.execute(
        "UPDATE entry SET batch = ?4 WHERE counter = ?1 AND number = ?2 AND bytes = ?3",
        params![counter, number, bytes, batch],
    )?;
    taken(all, batch, at.unwrap_or_else(unix_now))
}

/// Carries a file of form 1 or 2 over, where a job was known by its fingerprint alone: on each counter that has
/// made something of it, it becomes one batch with the figures that it had last. `spools`: the file knows which
/// spool a job came off last.
pub(super) fn carry_over(all: &Transaction<'_>, spools: bool) -> rusqlite::Result<()> {
    let rows: Vec<(String, u32, Vec<u8>)> = {
        let mut rows = all.prepare("SELECT counter, number, bytes FROM entry ORDER BY counter, number")?;
        let rows = rows.query_map([], |row| Ok((row.get(0)?, row.get(1)?, row.get(2)?)))?;
        rows.collect::<rusqlite::Result<_>>()?
    };
    let mut carried: BTreeMap<(String, u32), Option<u32>> = BTreeMap::new();
    for (counter, number, bytes) in rows {
        let Ok(entry) = Entry::from_bytes(&bytes) else { continue };
        let (job, _, at) = key(&entry.event);
        let batch = match carried.get(&(counter.clone(), job)) {
            Some(&batch) => batch,
            None => {
                let batch = match known_job(all, job, &counter, spools)? {
                    Some(batch) => {
                        let (number, at) = (fresh_number(all)?, at.unwrap_or_else(unix_now));
                        insert(all, number, job, &batch, (at, Some(at)))?;
                        Some(number)
                    }
                    None => None,
                };
                carried.insert((counter.clone(), job), batch);
                batch
            }
        };
        if let Some(batch) = batch {
            all.execute(
                "UPDATE entry SET batch = ?4 WHERE counter = ?1 AND number = ?2 AND bytes = ?3",
                params![counter, number, bytes, batch],
            )?;
        }
    }
    all.execute_batch("DROP TABLE job; DROP TABLE IF EXISTS job_spool;")
}

/// What forms 1 and 2 knew of a job.
fn known_job(
    all: &Transaction<'_>,
    fingerprint: u32,
    counter: &str,
    spools: bool,
) -> rusqlite::Result<Option<Batch>> {
    let spool = if spools {
        let sql = "SELECT spool FROM job_spool WHERE fingerprint = ?1 ORDER BY since_unix_s DESC, rowid DESC LIMIT 1";
        all.query_row(sql, params![fingerprint], |row| row.get(0)).optional()?.flatten()
    } else {
        None
    };
    let sql =
        "SELECT name, metal, wire_mm, density_g_cm3, price_per_kg, currency FROM job WHERE fingerprint = ?1";
    let job = all.query_row(sql, params![fingerprint], |row| {
        let (per_kg, currency): (Option<f64>, Option<String>) = (row.get(4)?, row.get(5)?);
        Ok(Batch {
            name: row.get(0)?,
            metal: row.get(1)?,
            wire: Length::from_mm(Mm::new(row.get(2)?)).unwrap_or_default(),
            density: Density::new(row.get(3)?),
            price: per_kg.map(|per_kg| Price { per_kg, currency: currency.unwrap_or_default() }),
            spool,
            counter: counter.to_owned(),
        })
    });
    job.optional()
}
