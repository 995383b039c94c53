//! Rings that were measured at a counter, on their way to what was measured.
//!
//! A batch that was set up at the counter comes with the names of its metal and temper. Of one that a computer sent, this
//! file knows them: they are noted when it is offered, in a table of its own that is made when it is first needed, so
//! that the file's form stays what it is and an older program leaves the table alone.

use rusqlite::{OptionalExtension, Transaction, params};
use turntally_core::bench::log::{Entry, LogEvent, MeasuredRing};
use turntally_core::measured::{CALLIPER, Measurement, Reading};
use turntally_core::metal::{Metal, Temper};
use turntally_core::spring::SpringRatio;
use turntally_core::units::Length;

use super::{Records, wrong};
use crate::failure::Failure;
use crate::job::Job;
use crate::lookup::WireKind;

const TABLE: &str = "
CREATE TABLE IF NOT EXISTS batch_wire (
    number INTEGER PRIMARY KEY,
    metal TEXT NOT NULL,
    temper TEXT NOT NULL,
    wire_nm INTEGER NOT NULL,
    mandrel_nm INTEGER NOT NULL
);
";

impl Records {
    /// Notes what wire a batch is of and its mandrel, for the rings that are measured of it. A coated wire is left out:
    /// measurements are of bare wire.
    ///
    /// # Errors
    /// One line that names the file.
    pub fn note_wire(&mut self, number: u32, job: &Job) -> Result<(), Failure> {
        let kind = WireKind::new(&job.metal_name, job.temper, job.winding.wire());
        if job.coating > Length::ZERO {
            return Ok(());
        }
        let noted = (|| {
            let all = self.file.transaction()?;
            all.execute_batch(TABLE)?;
            all.execute(
                "INSERT OR IGNORE INTO batch_wire (number, metal, temper, wire_nm, mandrel_nm) VALUES (?1, ?2, ?3, ?4, ?5)",
                params![number, kind.metal, kind.temper.to_string(), kind.size.nm(), job.winding.mandrel().nm()],
            )?;
            all.commit()
        })();
        noted.map_err(|error| wrong(&self.path, &error))
    }

    /// What has become of the rings that came with the log since this was last asked: a line each.
    pub fn take_ring_words(&mut self) -> Vec<String> {
        std::mem::take(&mut self.rings)
    }
}

/// Stores the ring of an entry that is new in the log as a measurement, if there is none like it. What became of it, in
/// words; nothing where the entry has no ring.
pub(super) fn store(all: &Transaction<'_>, bytes: &[u8], now: i64) -> rusqlite::Result<Option<String>> {
    let Ok(Entry { event: LogEvent::MeasuredRing(ring), .. }) = Entry::from_bytes(bytes) else {
        return Ok(None);
    };
    let inside = ring.inside;
    let Some((wire, mandrel)) = wire_of(all, &ring)? else {
        return Ok(Some(format!(
            "a ring of {inside} inside is not stored: its metal and temper are not known here; turntally measured add \
             takes it"
        )));
    };
    let reading = Reading { value: inside, within: CALLIPER };
    // What opens more than is estimated is for who uses it to judge; what can be no ring is nothing to store.
    if let Err(error) = Measurement::Inside(reading).check(wire.size, mandrel, SpringRatio::NONE) {
        return Ok(Some(format!("a ring of {inside} inside is not stored: {error}")));
    }
    let of = format!("{} {}, {} on {mandrel}", wire.metal, wire.temper, wire.size);
    let row = params![wire.metal, wire.temper.to_string(), wire.size.nm(), mandrel.nm(), inside.nm()];
    let like =
        "SELECT number FROM measured WHERE metal = ?1 AND temper = ?2 AND wire_nm = ?3 AND mandrel_nm = ?4
                AND kind = 'inside' AND length_nm = ?5 LIMIT 1";
    if let Some(number) = all.query_row(like, row, |row| row.get::<_, i64>(0)).optional()? {
        return Ok(Some(format!("a ring of {inside} inside is measurement {number} already: {of}")));
    }
    all.execute(
        "INSERT INTO measured (at_unix_s, metal, temper, wire_nm, mandrel_nm, kind, length_nm, within_nm)
         VALUES (?1, ?2, ?3, ?4, ?5, 'inside', ?6, ?7)",
        params![
            now,
            wire.metal,
            wire.temper.to_string(),
            wire.size.nm(),
            mandrel.nm(),
            inside.nm(),
            CALLIPER.nm()
        ],
    )?;
    Ok(Some(format!("a ring of {inside} inside is stored as measurement {}: {of}", all.last_insert_rowid())))
}

/// The wire and the mandrel of a ring.
fn wire_of(all: &Transaction<'_>, ring: &MeasuredRing) -> rusqlite::Result<Option<(WireKind, Length)>> {
    if let Some(name) = &ring.wire {
        let wire =
            Metal::named(&name.metal).map(|metal| WireKind::new(metal.name(), name.temper, ring.diameter));
        return Ok(wire.map(|wire| (wire, ring.mandrel)));
    }
    let there = "SELECT count(*) FROM sqlite_schema WHERE name = 'batch_wire'";
    if ring.batch == 0 || all.query_row(there, [], |row| row.get::<_, i64>(0))? == 0 {
        return Ok(None);
    }
    let sql = "SELECT metal, temper, wire_nm, mandrel_nm FROM batch_wire WHERE number = ?1";
    let found = all.query_row(sql, params![ring.batch], |row| {
        let (metal, temper): (String, String) = (row.get(0)?, row.get(1)?);
        let (size, mandrel) = (Length::from_nm(row.get(2)?), Length::from_nm(row.get(3)?));
        Ok(temper.parse::<Temper>().ok().map(|temper| (WireKind { metal, temper, size }, mandrel)))
    });
    found.optional().map(Option::flatten)
}
