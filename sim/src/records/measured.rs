//! What was measured, in the file of the log: one row a measurement.

use rusqlite::types::Type;
use rusqlite::{Row, Transaction, params};
use turntally_core::measured::{Measurement, Reading};
use turntally_core::units::{Length, Turns};

use super::{Records, shown, shown_or_none, temper_of, unix_now, wrong};
use crate::failure::Failure;
use crate::lookup::{Measured, MeasuredCoil, WireKind};

/// The tables, from form 2 on.
pub(super) const TABLES: &str = "
CREATE TABLE measured (
    number INTEGER PRIMARY KEY AUTOINCREMENT,
    at_unix_s INTEGER NOT NULL,
    metal TEXT NOT NULL,
    temper TEXT NOT NULL,
    wire_nm INTEGER NOT NULL,
    mandrel_nm INTEGER NOT NULL,
    kind TEXT NOT NULL,
    length_nm INTEGER,
    within_nm INTEGER,
    turns_nano INTEGER,
    rings INTEGER,
    tail_nano INTEGER
);
";

/// What form 4 has besides: the spool that the wire came off, and its coating.
pub(super) const FORM_4: &str = "
ALTER TABLE measured ADD COLUMN spool TEXT;
ALTER TABLE measured ADD COLUMN coating_nm INTEGER NOT NULL DEFAULT 0;
";

impl Records {
    /// Notes measurements of one coil, all or none; their numbers.
    ///
    /// # Errors
    /// One line that names the file.
    pub fn add_measured(
        &mut self,
        coil: &MeasuredCoil,
        measurements: &[Measurement],
    ) -> Result<Vec<i64>, Failure> {
        let at = unix_now();
        let added = (|| {
            let all = self.file.transaction()?;
            let mut numbers = Vec::with_capacity(measurements.len());
            for measurement in measurements {
                numbers.push(insert(&all, at, coil, measurement)?);
            }
            all.commit()?;
            Ok(numbers)
        })();
        added.map_err(|error| wrong(&self.path, &error))
    }

    /// Every measurement, in the order of wires, mandrels and coatings.
    ///
    /// # Errors
    /// One line that names the file.
    pub fn measured(&self) -> Result<Vec<Measured>, Failure> {
        let read = || {
            let mut rows = self.file.prepare(
                "SELECT number, at_unix_s, metal, temper, wire_nm, mandrel_nm, kind, length_nm, within_nm, turns_nano,
                 rings, tail_nano, spool, coating_nm FROM measured
                 ORDER BY metal, temper, wire_nm, mandrel_nm, coating_nm, number",
            )?;
            rows.query_map([], measured)?.collect::<rusqlite::Result<Vec<_>>>()
        };
        read().map_err(|error| self.failure(&error))
    }

    /// Drops measurements by their numbers, all or none.
    ///
    /// # Errors
    /// One line where there is none of such a number, or that names the file.
    pub fn drop_measured(&mut self, numbers: &[i64]) -> Result<(), Failure> {
        let failure = |error| wrong(&self.path, &error);
        let all = self.file.transaction().map_err(failure)?;
        for number in numbers {
            if all.execute("DELETE FROM measured WHERE number = ?1", params![number]).map_err(failure)? == 0 {
                let why = "no such measurement: turntally measured list shows their numbers";
                return Err(Failure::value("NUMBER", number, why));
            }
        }
        all.commit().map_err(failure)
    }
}

/// Notes one; its number.
pub(super) fn insert(
    all: &Transaction<'_>,
    at: i64,
    coil: &MeasuredCoil,
    measurement: &Measurement,
) -> rusqlite::Result<i64> {
    let (kind, reading, turns, rings, tail) = columns(measurement);
    all.execute(
        "INSERT INTO measured (at_unix_s, metal, temper, wire_nm, mandrel_nm, kind, length_nm, within_nm,
         turns_nano, rings, tail_nano, spool, coating_nm)
         VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12, ?13)",
        params![
            at,
            coil.wire.metal,
            coil.wire.temper.to_string(),
            coil.wire.size.nm(),
            coil.mandrel.nm(),
            kind,
            reading.map(|reading| reading.value.nm()),
            reading.map(|reading| reading.within.nm()),
            turns.map(Turns::nano),
            rings,
            tail.map(Turns::nano),
            coil.spool,
            coil.coating.nm(),
        ],
    )?;
    Ok(all.last_insert_rowid())
}

type Columns = (&'static str, Option<Reading>, Option<Turns>, Option<u32>, Option<Turns>);

fn columns(measurement: &Measurement) -> Columns {
    match *measurement {
        Measurement::Inside(reading) => ("inside", Some(reading), None, None, None),
        Measurement::CoilLength { length, turns, released } => {
            (if released { "released-length" } else { "length" }, Some(length), Some(turns), None, None)
        }
        Measurement::Rings { rings, turns, tail } => ("rings", None, Some(turns), Some(rings), Some(tail)),
    }
}

fn measured(row: &Row<'_>) -> rusqlite::Result<Measured> {
    let no = |column: usize, kind: Type, error: Box<dyn std::error::Error + Send + Sync>| {
        rusqlite::Error::FromSqlConversionFailure(column, kind, error)
    };
    let length = |column: usize| row.get(column).map(Length::from_nm);
    let turns = |column: usize| row.get(column).map(Turns::from_nano);
    let temper = temper_of(3, &row.get::<_, String>(3)?)?;
    let kind: String = row.get(6)?;
    let reading = || Ok::<_, rusqlite::Error>(Reading { value: length(7)?, within: length(8)? });
    let measurement = match kind.as_str() {
        "inside" => Measurement::Inside(reading()?),
        "length" | "released-length" => Measurement::CoilLength {
            length: reading()?,
            turns: turns(9)?,
            released: kind == "released-length",
        },
        "rings" => Measurement::Rings { rings: row.get(10)?, turns: turns(9)?, tail: turns(11)? },
        _ => return Err(no(6, Type::Text, "no measurement of this program".into())),
    };
    Ok(Measured {
        number: row.get(0)?,
        at_unix_s: row.get(1)?,
        coil: MeasuredCoil {
            wire: WireKind { metal: shown(row, 2)?, temper, size: length(4)? },
            coating: length(13)?,
            mandrel: length(5)?,
            spool: shown_or_none(row, 12)?,
        },
        measurement,
    })
}
