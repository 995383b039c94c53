//! A flash that loses its power after any byte, flips bits, wears out: what the counter comes back with.
//!
//! `TURNTALLY_CUTS=100000` walks every cut point of a history that has at least so many; without it a
//! shorter history is walked.

use turntally_core::bench::log::{CoilLog, LogEvent, RingCount};
use turntally_core::bench::snapshot::{NOTE_PARTS, Since};
use turntally_core::bench::{Bench, ErrorBound, Phase};
use turntally_core::job::Progress;
use turntally_core::job_list::UncountedCoils;
use turntally_core::units::{Length, Turns};
use turntally_firmware::store::guard::{Open, SECTOR};
use turntally_firmware::store::items::{GRANULE, item};
use turntally_firmware::store::records::{Record, value_of};
use turntally_firmware::store::{Layout, Save, SavedState, Store, StoreError};
use turntally_sim::simulation::flash::{Cells, Change, VirtualFlash};
use turntally_tests::cuts::{Counter, SMALL, entries, is_coil, job, progress, reboot, wanted_cuts};

fn blank() -> VirtualFlash {
    VirtualFlash::new(Cells::blank(SMALL.log_end as usize))
}

/// The ring that is kept of the first job.
fn ring(bench: &Bench) -> Option<Length> {
    bench.jobs().batch(0)?.ring
}

/// What was true when the power went.
struct Truth {
    counts: i64,
    /// The counter itself had given up the count of this coil, or of the one that came off last.
    given_up: bool,
    in_coil: bool,
    noted: bool,
    progress: Vec<Progress>,
    acked: Vec<Progress>,
    /// The ring that has been entered, and the one that is known to be kept.
    rings: [Option<Length>; 2],
}

impl Truth {
    fn of(counter: &Counter) -> Self {
        let bench = counter.app.bench();
        Self {
            counts: counter.true_counts,
            given_up: counter.given_up,
            in_coil: bench.goal().is_some(),
            noted: counter.noted,
            progress: progress(bench),
            acked: counter.acked.clone(),
            rings: [ring(bench), counter.acked_ring],
        }
    }

    /// Checks what came back; `damaged`: a bit was flipped, so less may be known, but nothing false.
    fn check(
        &self,
        kept: &SavedState,
        app: &turntally_firmware::app::App,
        damaged: bool,
    ) -> Result<(), String> {
        let bench = app.bench();
        let reported = kept.notice.is_some();
        let say = |what: &str| {
            let reported = kept.notice;
            Err(format!(
                "{what}: {:?}, {} counts, {:?}, {reported:?}",
                bench.state(),
                bench.counts(),
                bench.jobs().progress()
            ))
        };
        if reported && app.view().notice.is_none() {
            return say("notice that nobody sees");
        }
        let of = |list: &[Progress], job| list.get(job).copied().unwrap_or_default();
        let fits = |(job, found)| [of(&self.progress, job), of(&self.acked, job)].contains(&found);
        if !reported && !progress(bench).into_iter().enumerate().all(fits) {
            return say("progress neither old nor new");
        }
        if !reported && !self.rings.contains(&ring(bench)) {
            return say("a ring neither old nor new");
        }
        if bench.goal().is_some() {
            let job = bench.jobs().chosen();
            if !self.in_coil && bench.jobs().progress() != of(&self.acked, job) {
                return say("a coil came back that was finished");
            }
            return match bench.error_bound() {
                ErrorBound::Within(error_bound) if bench.counts().abs_diff(self.counts) <= error_bound => {
                    Ok(())
                }
                ErrorBound::Unknown if damaged || self.given_up => Ok(()),
                _ => say("the count is beyond its doubt"),
            };
        }
        if self.in_coil && self.noted && !(damaged && reported) {
            return say("the coil in progress is lost");
        }
        if reported && !damaged && self.noted {
            return say("notice without a reason");
        }
        Ok(())
    }
}

/// Every coil that came off stands in the log once, or is back on the mandrel; only one that came off
/// before its first note was kept may be neither. The rings of each that was kept wait to be counted, or have
/// been.
fn check_log(
    counter: &Counter,
    cells: &Cells,
    resumed: bool,
    uncounted: UncountedCoils,
) -> Result<usize, String> {
    let mut store = Store::new(VirtualFlash::new(cells.clone()), Open, SMALL);
    let entries = entries(&mut store, 0);
    let found: Vec<Turns> = entries
        .iter()
        .filter_map(|(_, event)| if let LogEvent::Coil(coil) = event { Some(coil.turns) } else { None })
        .collect();
    let made: Vec<Turns> = counter.coils.iter().map(|(turns, _)| *turns).collect();
    let mut waiting = (0, 0);
    for (_, event) in &entries {
        match event {
            LogEvent::Coil(CoilLog { counted, .. }) if counted.kept => {
                waiting = (waiting.0 + 1, waiting.1 + counted.rings);
            }
            LogEvent::Coil(_) | LogEvent::MeasuredRing(_) => {}
            LogEvent::RingCount(sawn) if sawn.coils == waiting.0 => waiting = (0, 0),
            LogEvent::RingCount(sawn) => return Err(format!("{sawn:?} with {waiting:?} waiting")),
        }
    }
    if waiting != (uncounted.coils, uncounted.rings) {
        return Err(format!("{uncounted:?} of {waiting:?}"));
    }
    let whole = made.starts_with(&found) && found.len() >= counter.logged;
    let missing = counter.coils.get(found.len()..).unwrap_or_default();
    match missing {
        [] if whole => Ok(found.len()),
        [(_, noted)] if whole && (resumed || !noted) => Ok(found.len()),
        _ => Err(format!("{} of {} coils in the log, missing {missing:?}", found.len(), made.len())),
    }
}

/// Every cut point of a random history: progress is the old or the new, a coil in progress is back
/// within its error bound, nothing finished comes back once it was saved.
#[test]
fn every_cut_is_survived() {
    let job = job();
    let wanted = wanted_cuts();
    let flash = blank();
    let (_, mut counter) = Counter::on(flash.clone(), SMALL, &job, 7);
    _ = flash.journal();
    let mut cells = flash.cells();
    let mut rng = fastrand::Rng::with_seed(1);
    let (mut cuts, mut erases, mut coils, mut log_cuts, mut sawn) = (0_u64, 0, 0, 0, 0);
    // Erases are long; so that the short history of every day has some too, only every so many of
    // their bytes is a cut there.
    let stride = if wanted >= 100_000 { 1 } else { 97 };
    while cuts < wanted || erases < 12 || sawn == 0 {
        let before = Truth::of(&counter);
        let saved = counter.live();
        let mut truth = Truth::of(&counter);
        if saved.is_some() {
            (truth.acked, truth.noted) = (before.acked, before.noted && truth.in_coil);
        }
        sawn += u64::from(matches!(&saved, Some(save @ Save::Log(_)) if !is_coil(save)));
        coils += u64::from(matches!(saved, Some(Save::Batch(..))));
        // Reading the whole log takes its time, and nothing of it changes while a coil turns.
        let logs = matches!(saved, Some(Save::Log(_) | Save::Batch(..) | Save::LogRoom { .. }));
        let before_this = counter.logged - usize::from(saved.as_ref().is_some_and(is_coil));
        for change in flash.journal() {
            let erase = matches!(change, Change::Erase { .. });
            erases += u64::from(erase);
            for done in (0..change.len()).step_by(if erase { stride } else { 1 }) {
                let mut torn = cells.clone();
                torn.tear(&change, done, &mut rng);
                let (kept, app) = reboot(torn.clone(), SMALL, &job);
                if let Err(what) = truth.check(&kept, &app, false) {
                    unreachable!("cut {cuts}, after {done} bytes of {change:?}, saving {saved:?}: {what}");
                }
                if logs && (!erase || done % (8 * stride) == 0) {
                    let resumed = app.bench().goal().is_some() && !truth.in_coil;
                    let logged = core::mem::replace(&mut counter.logged, before_this);
                    let checked = check_log(&counter, &torn, resumed, app.bench().jobs().uncounted());
                    counter.logged = logged;
                    if let Err(what) = checked {
                        unreachable!(
                            "cut {cuts}, after {done} bytes of {change:?}, saving {saved:?}: {what}"
                        );
                    }
                    log_cuts += 1;
                }
                cuts += 1;
            }
            cells.make(&change);
        }
        assert!(cells.bytes() == flash.cells().bytes(), "the walk and the flash are one");
    }
    println!(
        "{cuts} cuts survived, in {coils} batches saved and {erases} erases; after {log_cuts} of them the log \
         was read: {} coils and {sawn} counts of rings, none lost, none twice",
        counter.logged
    );
    assert!(counter.logged > 0 && sawn > 0);
}

/// The power goes again and again, also while the counter starts, and the hand goes on each time.
#[test]
fn cuts_upon_cuts_are_survived() {
    let job = job();
    let flash = blank();
    let mut rng = fastrand::Rng::with_seed(3);
    let (_, mut counter) = Counter::on(flash.clone(), SMALL, &job, 3);
    let (mut resumed, mut kept_coils) = (0, 0);
    let rounds = wanted_cuts() / 10;
    for round in 0..rounds {
        // Room for a coil and for the log is some ten erases: now and then there is time for that.
        let most = if rng.u8(..4) == 0 { 100_000 } else { 4_000 };
        flash.cut_after(rng.u64(1..most), rng.u64(..));
        let mut before = Truth::of(&counter);
        while !flash.is_off() {
            before = Truth::of(&counter);
            counter.live();
        }
        let mut truth = Truth::of(&counter);
        (truth.acked, truth.noted) = (before.acked, before.noted && truth.in_coil);
        flash.power_on();
        if rng.bool() {
            // It goes again while the counter starts, if it writes then.
            flash.cut_after(rng.u64(1..200), rng.u64(..));
            drop(Counter::on(flash.clone(), SMALL, &job, round));
            flash.power_on();
        }
        let (found, next) = Counter::on(flash.clone(), SMALL, &job, round);
        if let Err(what) = truth.check(&found, &next.app, false) {
            unreachable!("round {round}: {what}");
        }
        resumed += u64::from(next.app.bench().phase() == Phase::Fault);
        kept_coils += u64::from(next.app.bench().jobs().progress().kept);
        counter = next;
    }
    println!("{rounds} cuts in a row: {resumed} coils gone on with, {kept_coils} kept coils seen");
    // One in fifteen is usual: with fewer than half of that this would prove little.
    assert!(resumed > rounds / 30 && kept_coils > 0);
}

/// Settings are the old or the new ones, never a mix, at every cut of their being saved many times.
#[test]
fn settings_are_old_or_new() {
    let flash = blank();
    let mut store = Store::new(flash.clone(), Open, SMALL);
    let settings = |number: u8| (number, [[number; 30]; 2], u32::from(number) * 0x0101_0101);
    let mut cells = flash.cells();
    let mut rng = fastrand::Rng::with_seed(5);
    let mut cuts = 0_u64;
    let mut old = None;
    for number in 0..=u8::MAX {
        _ = flash.journal();
        assert_eq!(store.put(Record::Settings, &settings(number)), Ok(()));
        let new = Some(settings(number));
        for change in flash.journal() {
            let stride = if matches!(change, Change::Erase { .. }) { 61 } else { 3 };
            for done in (0..change.len()).step_by(stride) {
                let mut torn = cells.clone();
                torn.tear(&change, done, &mut rng);
                let mut after = Store::new(VirtualFlash::new(torn), Open, SMALL);
                let found = after.get(Record::Settings);
                if old.is_none() && found == Err(StoreError::Damaged) {
                    // The very first write: there was nothing to lose, and blank is a beginning.
                    assert_eq!(after.save(&Save::Clear), Ok(()));
                } else {
                    assert!(
                        found == Ok(old) || found == Ok(new),
                        "{number}, {done} of {change:?}: {found:?}"
                    );
                }
                assert_eq!(after.put(Record::Settings, &settings(number)), Ok(()));
                assert_eq!(after.get(Record::Settings), Ok(new));
                cuts += 1;
            }
            cells.make(&change);
        }
        old = new;
    }
    println!("{cuts} cuts while settings were saved, {:?} erases a sector", &flash.cells().erases()[..4]);
    assert!(flash.cells().erases()[..3].iter().any(|&erases| erases >= 2), "the records went round");
}

/// A bit that flips anywhere is harmless or reported; a false count or progress is never shown as true.
#[test]
fn flipped_bits_are_reported_or_harmless() {
    let job = job();
    let flash = blank();
    let (_, mut counter) = Counter::on(flash.clone(), SMALL, &job, 11);
    let mut rng = fastrand::Rng::with_seed(2);
    let (mut flips, mut reported) = (0_u64, 0);
    let moments = 25;
    for _ in 0..moments {
        for _ in 0..rng.u32(500..4_000) {
            counter.live();
        }
        let truth = Truth::of(&counter);
        let cells = flash.cells();
        // The bits that say something, and some of the blank ones.
        let used: Vec<usize> = (0..cells.bytes().len()).filter(|&at| cells.bytes()[at] != 0xff).collect();
        for _ in 0..wanted_cuts() / moments {
            let newest = truth.in_coil && rng.bool();
            let at = match rng.u8(..10) {
                0 => rng.usize(..cells.bytes().len()),
                _ if newest => used[used.len() - 1 - rng.usize(..40)],
                _ => used[rng.usize(..used.len())],
            };
            let mut flipped = cells.clone();
            flipped.bytes_mut()[at] ^= 1 << rng.u8(..8);
            let (kept, app) = reboot(flipped, SMALL, &job);
            if let Err(what) = truth.check(&kept, &app, true) {
                unreachable!("a bit of byte {at:#x}: {what}");
            }
            flips += 1;
            let doubted = kept.note.is_some_and(|(_, since)| since != Since::QuarterTurn);
            reported += u64::from(kept.notice.is_some() || doubted);
        }
    }
    println!("{flips} bits flipped: {reported} reported or in doubt, the others mended or of no consequence");
    assert!(reported > flips / 100);
}

/// Whatever stands in flash when the counter first starts: it counts, and saves again after having reported it.
#[test]
fn any_rubbish_is_got_over() {
    let job = job();
    let mut rng = fastrand::Rng::with_seed(9);
    for round in 0..wanted_cuts() / 100 {
        let mut cells = Cells::blank(SMALL.log_end as usize);
        match round % 4 {
            0 => cells.bytes_mut().fill(rng.u8(..)),
            1 => cells.bytes_mut().iter_mut().for_each(|byte| *byte = rng.u8(..)),
            2 => cells.bytes_mut()[..SMALL.notes as usize].iter_mut().for_each(|byte| *byte = rng.u8(..)),
            _ => {
                for _ in 0..100 {
                    let at = rng.usize(..cells.bytes().len());
                    cells.bytes_mut()[at] = rng.u8(..);
                }
            }
        }
        let blank = cells.bytes()[..SMALL.notes as usize].iter().all(|&byte| byte == 0xff);
        let flash = VirtualFlash::new(cells);
        let (found, mut counter) = Counter::on(flash.clone(), SMALL, &job, round);
        assert!(found.notice.is_some() || blank, "round {round}: nothing is reported");
        let mut notes = 0;
        for _ in 0..20_000 {
            notes += u32::from(matches!(counter.live(), Some(Save::Note(_))));
        }
        let (view, notice) = (counter.app.bench().state(), &counter.app.view().notice);
        assert!(notes > 20, "round {round}: {notes} notes, {view:?}, {notice:?}, {:?}", found.notice);
        let (kept, app) = reboot(flash.cells(), SMALL, &job);
        // Cranking to and fro for long uses up its room: that was reported, and the count is not known.
        if let Err(what) = Truth::of(&counter).check(&kept, &app, true) {
            unreachable!("round {round}: {what}");
        }
    }
}

/// Sectors that wear out are passed over while there are others; when there are none, it is reported, and
/// counting goes on.
#[test]
fn worn_sectors_are_passed_over_then_reported() {
    let job = job();
    for worn in 0..=10 {
        let flash = blank();
        let (_, mut counter) = Counter::on(flash.clone(), SMALL, &job, 21);
        flash.with_cells(|cells| {
            for sector in 0..worn {
                cells.wear_out(4 + (sector * 7) % 10, 0x10);
            }
        });
        let mut reported = false;
        for _ in 0..400_000 {
            counter.live();
            reported |= counter
                .app
                .view()
                .notice
                .as_ref()
                .is_some_and(|notice| notice.detail() == "Flash is worn out");
        }
        assert!(counter.coils.len() > 10, "{worn} worn: {} coils", counter.coils.len());
        println!("{worn} of 10 worn: {}", if reported { "reported" } else { "passed over" });
        if worn == 0 {
            assert!(!reported);
        }
        if worn == 10 {
            assert!(reported);
        }
    }
}

/// These cells with the batch of the first job behind the last record, as a firmware of another version has it.
fn with_batch(mut cells: Cells, version: u8, value: &[u8]) -> Cells {
    let records = &cells.bytes()[..SMALL.notes as usize];
    let last = records.iter().rposition(|&byte| byte != 0xff).unwrap_or(0);
    let at = (last + 1).next_multiple_of(GRANULE as usize);
    let Some(item) = value_of(version, Record::Batch(0), 1_000, value).and_then(|value| item(&value)) else {
        unreachable!("it is short")
    };
    cells.bytes_mut()[at..][..item.len()].copy_from_slice(&item);
    cells
}

/// A record whose format has changed since it was written is read by its format version: a made-up older one, whose
/// batch had its two numbers the other way round.
#[test]
fn older_records_are_read_by_their_version() {
    let read = |version: u8, bytes: &[u8]| match version {
        1 => pair(bytes).map(|(second, first)| (first, second)),
        3 => pair(bytes),
        _ => None,
    };
    let flash = blank();
    let mut store = Store::new(flash.clone(), Open, SMALL);
    assert_eq!(store.put(Record::Settings, &(1_u8, 2_u8)), Ok(()));
    let flash = VirtualFlash::new(with_batch(flash.cells(), 1, &[20, 10]));
    let mut store = Store::new(flash.clone(), Open, SMALL);
    assert_eq!(store.get_with(Record::Batch(0), read), Ok(Some((10, 20))));
    assert_eq!(store.get_with(Record::Settings, read), Ok(Some((1, 2))));
    // Written anew it has today's version.
    assert_eq!(store.put(Record::Batch(0), &(11_u8, 21_u8)), Ok(()));
    let mut store = Store::new(VirtualFlash::new(flash.cells()), Open, SMALL);
    assert_eq!(store.get_with(Record::Batch(0), read), Ok(Some((11, 21))));
    // One that its reader cannot read is damaged, and reported so.
    assert_eq!(store.get_with(Record::Batch(0), |_, _| None::<()>), Err(StoreError::Damaged));
}

/// A batch that was kept before there were rings comes back whole, and one with a ring comes back with it.
#[test]
fn batches_of_before_rings_are_read() {
    let job = job();
    let flash = blank();
    let (_, mut counter) = Counter::on(flash.clone(), SMALL, &job, 2);
    let batch = loop {
        if let Some(Save::Batch(0, batch)) = counter.live()
            && batch.progress.kept > 0
        {
            break batch;
        }
    };
    // The log's entries that it was saved with: one for each coil that came off.
    let logged = batch.progress.kept + batch.progress.scrapped;
    let mut bytes = [0; 150];
    for (version, ring) in [(2, None), (3, Some(Length::from_um(4_060)))] {
        let value = match version {
            2 => postcard::to_slice(&(batch, logged), &mut bytes),
            _ => postcard::to_slice(&(batch, logged, ring), &mut bytes),
        };
        let cells = with_batch(flash.cells(), version, value.unwrap_or_default());
        let (kept, app) = reboot(cells, SMALL, &job);
        assert_eq!(kept.notice, None);
        assert_eq!(
            app.bench().jobs().batch(0).map(|kept| (kept.progress, kept.ring)),
            Some((batch.progress, ring))
        );
    }
}

fn pair(bytes: &[u8]) -> Option<(u8, u8)> {
    if let [first, second] = bytes { Some((*first, *second)) } else { None }
}

/// A record of a newer firmware is left alone, and reported.
#[test]
fn newer_records_are_left_alone() {
    let job = job();
    let flash = blank();
    let (_, mut counter) = Counter::on(flash.clone(), SMALL, &job, 2);
    while !matches!(counter.live(), Some(Save::Batch(..))) {}
    let cells = with_batch(flash.cells(), 4, &[2, 3]);
    let (kept, _) = reboot(cells.clone(), SMALL, &job);
    assert_eq!(kept.notice, Some(StoreError::Newer));
    let flash = VirtualFlash::new(cells.clone());
    let (_, mut counter) = Counter::on(flash.clone(), SMALL, &job, 2);
    for _ in 0..30_000 {
        assert_eq!(counter.live(), None);
    }
    assert!(flash.cells().bytes() == cells.bytes(), "nothing was written");
}

/// Ten years of 200 coils a day, each of 250 turns (76 mm of 0.3 mm wire), a note each eighth of a turn, each
/// coil written down and counted after sawing, the log fetched once a day:
/// no sector is erased more often than such parts are rated for (100,000 cycles, data sheets, from
/// memory).
#[test]
fn ten_years_stay_within_the_rated_cycles() {
    const COILS: u64 = 10 * 365 * 200;
    const RATED: u64 = 100_000;
    let job = job();
    let layout = Layout::PICO;
    let flash = VirtualFlash::new(Cells::blank(layout.log_end as usize));
    let mut store = Store::new(flash.clone(), Open, layout);
    let mut bench = turntally_tests::cuts::bench(&job);
    for key in [turntally_core::input::Key::Yes; 2] {
        bench.handle(turntally_core::input::Event {
            at: turntally_core::time::Instant::ZERO,
            input: turntally_core::input::Input::Key(key),
        });
    }
    // The longest notes that such a coil has: counts of an encoder of 2,400 pulses.
    let Some(mut note) = bench.coil_note() else { unreachable!("a coil is on the mandrel") };
    note.counts = 250 * 9_600;
    let Some(batch) = bench.jobs().batch(0) else { unreachable!("there is a job") };
    let notes = 250 * NOTE_PARTS;
    let simulated = 600;
    let sawn = LogEvent::RingCount(RingCount {
        job: u32::MAX,
        batch: u32::MAX,
        coils: u32::MAX,
        rings: 250,
        rejects: 9,
    })
    .to_bytes();
    for coil in 0..simulated {
        for _ in 0..2 {
            assert_eq!(store.save(&Save::LogRoom { leave: false }), Ok(()));
            assert_eq!(store.save(&Save::Log(sawn.clone())), Ok(()));
        }
        if coil % 200 == 0 {
            assert_eq!(store.save(&Save::Acknowledged(2 * coil as u32)), Ok(()));
        }
        assert_eq!(store.save(&Save::Room(notes)), Ok(()));
        for _ in 0..notes {
            assert_eq!(store.save(&Save::Note(note)), Ok(()));
        }
        assert_eq!(store.save(&Save::Batch(0, batch)), Ok(()));
    }
    let cells = flash.cells();
    let sectors = |from: u32, to: u32| &cells.erases()[(from / SECTOR) as usize..(to / SECTOR) as usize];
    for (what, sectors) in [
        ("records", sectors(layout.records, layout.notes)),
        ("notes", sectors(layout.notes, layout.end)),
        ("log", sectors(layout.end, layout.log_end)),
    ] {
        let most = sectors.iter().max().copied().unwrap_or(0);
        // One more than was seen, since the simulation is short beside ten years.
        let years = (u64::from(most) + 1) * COILS / simulated;
        let sum: u32 = sectors.iter().sum();
        println!(
            "{what}: {simulated} coils erased {} sectors {sum} times, the busiest {most} times: at most {years} \
             cycles in ten years, of {RATED} rated",
            sectors.len(),
        );
        assert!(years < RATED, "{what}: {years}");
    }
}
