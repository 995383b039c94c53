//! Spools, in the file of the log: what is left on each, as a running balance.
//!
//! A coil's wire is taken off its spool in the step that adds its entry to the log, and an entry is added once.
//! What was weighed stands for every coil that came off before.

use rusqlite::{OptionalExtension, Row, Transaction, params};
use turntally_core::bench::log::{Entry, LogEvent};
use turntally_core::link::SentEntry;
use turntally_core::units::{Density, Grams, Length};

use super::{Records, shown, shown_or_none, temper_of, unix_now};
use crate::failure::Failure;
use crate::lookup::{Price, Spool, no_spool};

/// The tables, from form 2 on.
pub(super) const TABLES: &str = "
CREATE TABLE spool (
    name TEXT PRIMARY KEY,
    metal TEXT NOT NULL,
    wire_nm INTEGER NOT NULL,
    density_g_cm3 REAL NOT NULL,
    tare_g REAL,
    price_per_kg REAL,
    currency TEXT,
    left_nm INTEGER NOT NULL,
    weighed_unix_s INTEGER NOT NULL
);
ALTER TABLE entry ADD COLUMN spool TEXT;
ALTER TABLE entry ADD COLUMN left_nm INTEGER;
";

/// What form 4 has besides. The temper of a spool from before is not known.
pub(super) const FORM_4: &str = "ALTER TABLE spool ADD COLUMN temper TEXT;";

const COLUMNS: &str = "name, metal, wire_nm, density_g_cm3, tare_g, price_per_kg, currency, left_nm, temper";

impl Records {
    /// Adds a spool.
    ///
    /// # Errors
    /// One line where there is one of that name, or that names the file.
    pub fn add_spool(&mut self, spool: &Spool) -> Result<(), Failure> {
        if self.spool(&spool.name)?.is_some() {
            let why = "there is a spool of that name: turntally spool weigh sets what is left on it";
            return Err(Failure::value("NAME", &spool.name, why));
        }
        let price = spool.price.as_ref();
        self.file
            .execute(
                "INSERT INTO spool (name, metal, wire_nm, density_g_cm3, tare_g, price_per_kg, currency, left_nm,
                 weighed_unix_s, temper) VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10)",
                params![
                    spool.name,
                    spool.metal,
                    spool.wire.nm(),
                    spool.density.g_per_cm3(),
                    spool.tare.map(Grams::get),
                    price.map(|price| price.per_kg),
                    price.map(|price| &price.currency),
                    spool.left.nm(),
                    unix_now(),
                    spool.temper.map(|temper| temper.to_string()),
                ],
            )
            .map_err(|error| self.failure(&error))?;
        Ok(())
    }

    /// The spool of that name.
    ///
    /// # Errors
    /// One line that names the file.
    pub fn spool(&self, name: &str) -> Result<Option<Spool>, Failure> {
        let sql = format!("SELECT {COLUMNS} FROM spool WHERE name = ?1");
        let found = self.file.query_row(&sql, params![name], spool).optional();
        found.map_err(|error| self.failure(&error))
    }

    /// Every spool, by name.
    ///
    /// # Errors
    /// One line that names the file.
    pub fn spools(&self) -> Result<Vec<Spool>, Failure> {
        let read = || {
            let mut rows = self.file.prepare(&format!("SELECT {COLUMNS} FROM spool ORDER BY name"))?;
            rows.query_map([], spool)?.collect::<rusqlite::Result<Vec<_>>>()
        };
        read().map_err(|error| self.failure(&error))
    }

    /// Sets what is left on a spool, as weighed now, and its tare where that was weighed too.
    ///
    /// # Errors
    /// One line that names the file.
    pub fn set_left(&mut self, name: &str, left: Length, tare: Option<Grams>) -> Result<(), Failure> {
        self.file
            .execute(
                "UPDATE spool SET left_nm = ?2, weighed_unix_s = ?3, tare_g = coalesce(?4, tare_g) WHERE name = ?1",
                params![name, left.nm(), unix_now(), tare.map(Grams::get)],
            )
            .map_err(|error| self.failure(&error))?;
        Ok(())
    }

    /// Drops a spool; its coils stay in the log, and what was measured of its wire stays under its name.
    ///
    /// # Errors
    /// One line where there is none of that name, or that names the file.
    pub fn drop_spool(&mut self, name: &str) -> Result<(), Failure> {
        let dropped = self.file.execute("DELETE FROM spool WHERE name = ?1", params![name]);
        match dropped.map_err(|error| self.failure(&error))? {
            0 => Err(no_spool("NAME", name)),
            _ => Ok(()),
        }
    }
}

/// Takes the wire of a coil that is new in the log off its spool, if its batch has one.
pub(super) fn draw(all: &Transaction<'_>, counter: &str, sent: &SentEntry) -> rusqlite::Result<()> {
    let Ok(Entry { event: LogEvent::Coil(coil), .. }) = Entry::from_bytes(&sent.bytes) else { return Ok(()) };
    let at = coil.at.and_then(|at| i64::try_from(at).ok());
    let spool: Option<String> = all
        .query_row(
            "SELECT spool FROM batch WHERE number = ?1 AND counter = ?2",
            params![coil.counted.batch, counter],
            |row| row.get(0),
        )
        .optional()?
        .flatten();
    let Some(spool) = spool else { return Ok(()) };
    // A coil from before it was weighed is no longer in what was weighed.
    all.execute(
        "UPDATE spool SET left_nm = left_nm - ?2 WHERE name = ?1 AND (?3 IS NULL OR ?3 >= weighed_unix_s)",
        params![spool, coil.counted.wire.nm(), at],
    )?;
    all.execute(
        "UPDATE entry SET spool = ?4, left_nm = (SELECT left_nm FROM spool WHERE name = ?4)
         WHERE counter = ?1 AND number = ?2 AND bytes = ?3",
        params![counter, sent.number, sent.bytes.as_slice(), spool],
    )?;
    Ok(())
}

fn spool(row: &Row<'_>) -> rusqlite::Result<Spool> {
    let (per_kg, currency): (Option<f64>, Option<String>) = (row.get(5)?, shown_or_none(row, 6)?);
    let temper: Option<String> = row.get(8)?;
    Ok(Spool {
        name: shown(row, 0)?,
        metal: shown(row, 1)?,
        temper: temper.map(|temper| temper_of(8, &temper)).transpose()?,
        wire: Length::from_nm(row.get(2)?),
        density: Density::new(row.get(3)?),
        tare: row.get::<_, Option<f64>>(4)?.map(Grams::new),
        price: per_kg.map(|per_kg| Price { per_kg, currency: currency.unwrap_or_default() }),
        left: Length::from_nm(row.get(7)?),
    })
}
