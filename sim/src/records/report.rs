//! What has been wound, from the log: every coil with its batch, sums of each batch, and what is left on each spool.

use std::collections::BTreeMap;

use serde::Serialize;
use turntally_core::bench::ErrorBound;
use turntally_core::bench::log::{CoilLog, Entry, LogEvent, RingCount};
use turntally_core::metal::Metal;
use turntally_core::screen::fault_words;
use turntally_core::units::{Length, Mm};

use super::batch::Batch;
use super::{LoggedEntry, Records};
use crate::failure::Failure;
use crate::lookup::{Price, Spool};
use crate::words::mass::Scales;

/// What a batch is known by: see [`Coil::key`].
pub(crate) type Key<'a> = (&'a str, u32, u32);

/// A coil as it is listed.
#[derive(Debug, Clone, Serialize)]
pub(crate) struct Coil {
    pub(crate) counter: String,
    pub(crate) number: u32,
    pub(crate) job: String,
    pub(crate) job_fingerprint: u32,
    /// The number of its batch; 0 where it was set up at the counter.
    pub(crate) batch: u32,
    /// Seconds since 1970-01-01 UTC.
    pub(crate) finished_unix_s: Option<u64>,
    pub(crate) kept: bool,
    pub(crate) target_turns: f64,
    pub(crate) turns: f64,
    pub(crate) rings_promised: u32,
    pub(crate) rings_counted: Option<u32>,
    pub(crate) rejects: Option<u32>,
    /// Of how many coils that is the count, this one and those kept before it.
    pub(crate) coils_counted: Option<u32>,
    /// The number of the coil with which the rings of this one were counted.
    pub(crate) counted_with: Option<u32>,
    pub(crate) crank_s: f64,
    pub(crate) stop_ms: Option<f64>,
    pub(crate) wire_mm: f64,
    pub(crate) doubt_counts: Option<u64>,
    pub(crate) illegal_steps: u64,
    pub(crate) faults: String,
    /// The spool that its wire came off, and what was left on it afterwards.
    pub(crate) spool: Option<String>,
    pub(crate) spool_left_mm: Option<f64>,
    pub(crate) spool_left_g: Option<f64>,
    /// The units that its spool is weighed in.
    #[serde(skip)]
    pub(crate) scales: Scales,
}

impl Coil {
    fn new(kept: &LoggedEntry, coil: &CoilLog, count: Option<Count<'_>>, batch: Option<&Batch>) -> Self {
        let (sawn, counted_with) = match count {
            Some(Count::Here(sawn)) => (Some(sawn), None),
            Some(Count::With(number)) => (None, Some(number)),
            None => (None, None),
        };
        // The counter's text is not ours: nothing in it may move a cursor.
        let name = batch.map_or(coil.name.as_str(), |batch| &batch.name);
        let job = name.chars().filter(|letter| !letter.is_control()).collect();
        Self {
            counter: kept.counter.clone(),
            number: kept.entry.number,
            job,
            job_fingerprint: coil.counted.job,
            batch: kept.batch,
            finished_unix_s: coil.at,
            kept: coil.counted.kept,
            target_turns: coil.target.as_f64(),
            turns: coil.turns.as_f64(),
            rings_promised: coil.counted.rings,
            rings_counted: sawn.map(|sawn| sawn.rings),
            rejects: sawn.map(|sawn| sawn.rejects),
            coils_counted: sawn.map(|sawn| sawn.coils),
            counted_with,
            crank_s: coil.crank_time.as_micros() as f64 / 1e6,
            stop_ms: coil.stop_time.map(|time| time.as_micros() as f64 / 1e3),
            wire_mm: coil.counted.wire.mm().get(),
            doubt_counts: match coil.error_bound {
                ErrorBound::Within(counts) => Some(counts),
                ErrorBound::Unknown => None,
            },
            illegal_steps: coil.illegal,
            faults: coil.faults.iter().map(|fault| fault_words(fault).0).collect::<Vec<_>>().join("; "),
            spool: kept.spool.clone(),
            spool_left_mm: kept.left.map(|left| left.mm().get()),
            spool_left_g: None,
            scales: Scales::default(),
        }
    }

    /// What no coil of another batch has: its counter, its batch's number, and its job, since all that were set up at
    /// the counter have number 0.
    pub(crate) fn key(&self) -> Key<'_> {
        (&self.counter, self.batch, self.job_fingerprint)
    }

    /// Its rings have been counted, by itself or with others.
    pub(crate) const fn is_counted(&self) -> bool {
        self.rings_counted.is_some() || self.counted_with.is_some()
    }
}

/// Where the rings of a coil were counted.
#[derive(Debug, Clone, Copy)]
enum Count<'a> {
    /// With this coil, those before it together with it.
    Here(&'a RingCount),
    /// Together with the coil of this number.
    With(u32),
}

/// Which coil's rings were counted where: by counter and number. A count is of the last coils kept of its
/// batch.
fn counts(entries: &[LoggedEntry]) -> BTreeMap<(&str, u32), Count<'_>> {
    let mut counts = BTreeMap::new();
    let mut waiting: BTreeMap<Key<'_>, Vec<u32>> = BTreeMap::new();
    for LoggedEntry { counter, batch, entry: Entry { number, event }, .. } in entries {
        match event {
            LogEvent::Coil(CoilLog { counted, .. }) if counted.kept => {
                waiting.entry((counter, *batch, counted.job)).or_default().push(*number);
            }
            LogEvent::Coil(_) | LogEvent::MeasuredRing(_) => {}
            LogEvent::RingCount(sawn) => {
                let coils = waiting.remove(&(counter.as_str(), *batch, sawn.job)).unwrap_or_default();
                let Some((last, before)) = coils.split_last() else { continue };
                let others = usize::try_from(sawn.coils).unwrap_or(usize::MAX).saturating_sub(1);
                counts.insert((counter.as_str(), *last), Count::Here(sawn));
                for coil in before.iter().rev().take(others) {
                    counts.insert((counter.as_str(), *coil), Count::With(*last));
                }
            }
        }
    }
    counts
}

/// What was made of a batch.
#[derive(Debug, Clone, Default, Serialize)]
pub(crate) struct Sum {
    pub(crate) counter: String,
    pub(crate) job: String,
    pub(crate) job_fingerprint: u32,
    /// Its number; 0 where it was set up at the counter.
    pub(crate) batch: u32,
    /// When its first and its last coil came off, in seconds since 1970-01-01 UTC.
    pub(crate) first_unix_s: Option<u64>,
    pub(crate) last_unix_s: Option<u64>,
    pub(crate) coils_kept: u32,
    pub(crate) coils_scrapped: u32,
    pub(crate) rings_promised: u64,
    /// Of the coils whose rings were counted.
    pub(crate) rings_counted: u64,
    pub(crate) rejects: u64,
    pub(crate) coils_counted: u32,
    pub(crate) crank_s: f64,
    /// Those counted, and of the other coils those promised; the time between coils is not in it.
    pub(crate) rings_per_crank_hour: Option<f64>,
    pub(crate) wire_mm: f64,
    pub(crate) wire_g: Option<f64>,
    pub(crate) cost: Option<f64>,
    pub(crate) currency: Option<String>,
    /// The units that its metal is weighed in.
    #[serde(skip)]
    pub(crate) scales: Scales,
}

impl Sum {
    /// As [`Coil::key`].
    #[cfg(feature = "window")]
    pub(crate) fn key(&self) -> Key<'_> {
        (&self.counter, self.batch, self.job_fingerprint)
    }

    fn add(&mut self, coil: &Coil) {
        self.first_unix_s = self.first_unix_s.or(coil.finished_unix_s);
        self.last_unix_s = coil.finished_unix_s.or(self.last_unix_s);
        self.coils_kept += u32::from(coil.kept);
        self.coils_scrapped += u32::from(!coil.kept);
        self.rings_promised += u64::from(coil.rings_promised);
        self.rings_counted += u64::from(coil.rings_counted.unwrap_or(0));
        self.rejects += u64::from(coil.rejects.unwrap_or(0));
        self.coils_counted += u32::from(coil.is_counted());
        self.crank_s += coil.crank_s;
        self.wire_mm += coil.wire_mm;
    }

    fn finish(&mut self, rings: u64, batch: Option<&Batch>) {
        self.rings_per_crank_hour = (self.crank_s > 0.0).then(|| rings as f64 / self.crank_s * 3_600.0);
        let Some(batch) = batch else { return };
        let length = Length::from_mm(Mm::new(self.wire_mm)).unwrap_or_default();
        let grams = batch.density.wire_mass(batch.wire, length.mm()).get();
        self.wire_g = Some(grams);
        self.scales = Scales::of(Metal::find(&batch.metal));
        if let Some(Price { per_kg, currency }) = &batch.price {
            self.cost = Some(grams / 1e3 * per_kg);
            self.currency = Some(currency.clone());
        }
    }
}

/// What is left on a spool that coils came off.
#[derive(Debug, Serialize)]
pub(crate) struct Left {
    pub(crate) spool: String,
    pub(crate) left_mm: f64,
    pub(crate) left_g: f64,
    #[serde(skip)]
    pub(crate) words: String,
}

/// What is in the log.
#[derive(Debug, Default, Serialize)]
pub(crate) struct Report {
    pub(crate) batches: Vec<Sum>,
    pub(crate) spools: Vec<Left>,
    pub(crate) coils: Vec<Coil>,
    pub(crate) entries_unreadable: usize,
}

impl Left {
    fn of(spool: &Spool) -> Self {
        Self {
            spool: spool.name.clone(),
            left_mm: spool.left.mm().get(),
            left_g: spool.left_mass().get(),
            words: spool.words(spool.left),
        }
    }
}

/// Everything in the log, with its sums.
///
/// # Errors
/// One line that names the file.
pub(crate) fn report(records: &Records) -> Result<Report, Failure> {
    let (entries, entries_unreadable) = records.entries()?;
    let known = records.batches()?;
    let counts = counts(&entries);
    let mut coils: Vec<Coil> = entries
        .iter()
        .filter_map(|kept @ LoggedEntry { counter, entry, .. }| match &entry.event {
            LogEvent::Coil(coil) => {
                let count = counts.get(&(counter.as_str(), entry.number)).copied();
                Some(Coil::new(kept, coil, count, batch_of(&known, counter, kept.batch)))
            }
            LogEvent::RingCount(_) | LogEvent::MeasuredRing(_) => None,
        })
        .collect();
    // In the order of their first coils.
    let mut places: BTreeMap<Key<'_>, usize> = BTreeMap::new();
    let mut sums: Vec<(Sum, u64)> = Vec::new();
    for coil in &coils {
        let place = *places.entry(coil.key()).or_insert(sums.len());
        if place == sums.len() {
            let (counter, job) = (coil.counter.clone(), coil.job.clone());
            let Coil { job_fingerprint, batch, .. } = *coil;
            sums.push((Sum { counter, job, job_fingerprint, batch, ..Sum::default() }, 0));
        }
        let Some((sum, rings)) = sums.get_mut(place) else { continue };
        sum.add(coil);
        let promised = if coil.is_counted() { 0 } else { coil.rings_promised };
        *rings += u64::from(coil.rings_counted.unwrap_or(promised));
    }
    let batches = sums
        .into_iter()
        .map(|(mut sum, rings)| {
            sum.finish(rings, batch_of(&known, &sum.counter, sum.batch));
            sum
        })
        .collect();
    let spools: BTreeMap<String, Spool> =
        records.spools()?.into_iter().map(|spool| (spool.name.clone(), spool)).collect();
    for coil in &mut coils {
        let spool = coil.spool.as_ref().and_then(|name| spools.get(name));
        let left = coil.spool_left_mm.and_then(|mm| Length::from_mm(Mm::new(mm)));
        coil.spool_left_g = spool.zip(left).map(|(spool, left)| spool.mass(left).get());
        coil.scales = spool.map(Spool::scales).unwrap_or_default();
    }
    let used = |spool: &&Spool| coils.iter().any(|coil| coil.spool.as_ref() == Some(&spool.name));
    let spools = spools.values().filter(used).map(Left::of).collect();
    Ok(Report { batches, spools, coils, entries_unreadable })
}

/// What is known of a batch, if it was sent from here to that counter.
fn batch_of<'a>(known: &'a BTreeMap<u32, Batch>, counter: &str, number: u32) -> Option<&'a Batch> {
    known.get(&number).filter(|batch| batch.counter == counter)
}

/// `2026-11-27 08:05`, of seconds since 1970-01-01 UTC.
pub(crate) fn utc_words(unix_s: u64) -> String {
    // Days to a date by the rule of 400 years, counted from a 1st of March.
    let (days, minutes) = (unix_s / 86_400 + 719_468, unix_s % 86_400 / 60);
    let (era, day) = (days / 146_097, days % 146_097);
    let year = (day - day / 1_460 + day / 36_524 - day / 146_096) / 365;
    let day = day - (365 * year + year / 4 - year / 100);
    let month = (5 * day + 2) / 153;
    let date = day - (153 * month + 2) / 5 + 1;
    let (month, next) = if month < 10 { (month + 3, 0) } else { (month - 9, 1) };
    let year = era * 400 + year + next;
    format!("{year:04}-{month:02}-{date:02} {:02}:{:02}", minutes / 60, minutes % 60)
}
