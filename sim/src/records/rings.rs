//! Rings that were measured at a counter, on their way to what was measured.
//!
//! A batch that was set up at the counter comes with the names of its metal and temper. Of one that a computer sent, this
//! file knows them, with its coating and spool: they are noted when it is offered.

use rusqlite::{OptionalExtension, Transaction, params};
use turntally_core::bench::log::{Entry, LogEvent, MeasuredRing};
use turntally_core::measured::{CALLIPER, Measurement, Reading};
use turntally_core::metal::Metal;
use turntally_core::spring::SpringRatio;
use turntally_core::units::Length;

use super::{Records, measured, shown, shown_or_none, temper_of, wrong};
use crate::failure::Failure;
use crate::job::Job;
use crate::lookup::{MeasuredCoil, WireKind};

/// What form 4 has besides: the wire and the mandrel of each batch.
pub(super) const FORM_4: &str = "
CREATE TABLE batch_wire (
    number INTEGER PRIMARY KEY,
    metal TEXT NOT NULL,
    temper TEXT NOT NULL,
    wire_nm INTEGER NOT NULL,
    coating_nm INTEGER NOT NULL,
    mandrel_nm INTEGER NOT NULL
);
";

impl Records {
    /// Notes what wire a batch is of and its mandrel, for the rings that are measured of it.
    ///
    /// # Errors
    /// One line that names the file.
    pub fn note_wire(&mut self, number: u32, job: &Job) -> Result<(), Failure> {
        let metal = job.winding.wire() - job.coating - job.coating;
        let kind = WireKind::new(&job.metal_name, job.temper, metal);
        self.file
            .execute(
                "INSERT OR IGNORE INTO batch_wire (number, metal, temper, wire_nm, coating_nm, mandrel_nm)
                 VALUES (?1, ?2, ?3, ?4, ?5, ?6)",
                params![
                    number,
                    kind.metal,
                    kind.temper.to_string(),
                    kind.size.nm(),
                    job.coating.nm(),
                    job.winding.mandrel().nm()
                ],
            )
            .map_err(|error| wrong(&self.path, &error))?;
        Ok(())
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
    let Some(coil) = coil_of(all, &ring)? else {
        return Ok(Some(format!(
            "a ring of {inside} inside is not stored: its metal and temper are not known here; turntally measured add \
             takes it"
        )));
    };
    let measurement = Measurement::Inside(Reading { value: inside, within: CALLIPER });
    // What opens more than is estimated is for who uses it to judge; what can be no ring is nothing to store.
    if let Err(error) = measurement.check(coil.over_coating(), coil.mandrel, SpringRatio::NONE) {
        return Ok(Some(format!("a ring of {inside} inside is not stored: {error}")));
    }
    let MeasuredCoil { wire, coating, mandrel, spool } = &coil;
    let on_it = spool.as_ref().map_or_else(String::new, |name| format!(", of spool {name:?}"));
    let of = format!("{} {}, {} on {mandrel}{on_it}", wire.metal, wire.temper, wire.size);
    let like =
        "SELECT number FROM measured WHERE metal = ?1 AND temper = ?2 AND wire_nm = ?3 AND coating_nm = ?4
                AND mandrel_nm = ?5 AND spool IS ?6 AND kind = 'inside' AND length_nm = ?7 LIMIT 1";
    let row = params![
        wire.metal,
        wire.temper.to_string(),
        wire.size.nm(),
        coating.nm(),
        mandrel.nm(),
        spool,
        inside.nm()
    ];
    if let Some(number) = all.query_row(like, row, |row| row.get::<_, i64>(0)).optional()? {
        return Ok(Some(format!("a ring of {inside} inside is measurement {number} already: {of}")));
    }
    let number = measured::insert(all, now, &coil, &measurement)?;
    Ok(Some(format!("a ring of {inside} inside is stored as measurement {number}: {of}")))
}

/// The coil that a ring is of, where its wire is known.
fn coil_of(all: &Transaction<'_>, ring: &MeasuredRing) -> rusqlite::Result<Option<MeasuredCoil>> {
    if let Some(name) = &ring.wire {
        let metal = Metal::named(&name.metal);
        return Ok(metal.map(|metal| MeasuredCoil {
            wire: WireKind::new(metal.name(), name.temper, ring.diameter),
            mandrel: ring.mandrel,
            ..MeasuredCoil::default()
        }));
    }
    let sql = "SELECT w.metal, w.temper, w.wire_nm, w.coating_nm, w.mandrel_nm, b.spool
               FROM batch_wire w JOIN batch b USING (number) WHERE number = ?1";
    let found = all.query_row(sql, params![ring.batch], |row| {
        let length = |column: usize| row.get(column).map(Length::from_nm);
        let wire = WireKind {
            metal: shown(row, 0)?,
            temper: temper_of(1, &row.get::<_, String>(1)?)?,
            size: length(2)?,
        };
        Ok(MeasuredCoil { wire, coating: length(3)?, mandrel: length(4)?, spool: shown_or_none(row, 5)? })
    });
    found.optional()
}
