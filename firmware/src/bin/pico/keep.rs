//! Keeps things in the chip's flash. While it erases or programs, the whole chip but sampler and DMA
//! stands still: the tick says when it may. This is the lowest of all: it may wait for that as long as
//! it likes, and nothing waits for it.
use embassy_futures::select::{Either, select};
use embassy_rp::Peri;
use embassy_rp::flash::{Blocking, Flash};
use embassy_rp::peripherals::FLASH;
use embassy_sync::blocking_mutex::raw::CriticalSectionRawMutex;
use embassy_time::{Duration, Instant, Timer};
use portable_atomic::{AtomicBool, Ordering};
use turntally_core::bench::{Job, MAX_JOBS, log::EntryBytes};
use turntally_firmware::app::App;
use turntally_firmware::store::guard::Gate;
use turntally_firmware::store::{Kept, Layout, Save, Store, StoreError};

use crate::chip::FLASH_SIZE;
use crate::signal::Signal;

/// Between two erases: a key is seen after eight ticks, and the screen takes some 25 ms.
const BREATH: Duration = Duration::from_millis(40);

static FOUND: Signal<CriticalSectionRawMutex, Found> = Signal::new();
static WANTED: Signal<CriticalSectionRawMutex, Save> = Signal::new();
static DONE: Signal<CriticalSectionRawMutex, (Save, Result<(), StoreError>)> = Signal::new();
static ENTRY_WANTED: Signal<CriticalSectionRawMutex, u32> = Signal::new();
static ENTRY: Signal<CriticalSectionRawMutex, FoundEntry> = Signal::new();
static MAY_ERASE: AtomicBool = AtomicBool::new(true);
/// Somebody waits for a moment to program in.
static WAITING: AtomicBool = AtomicBool::new(false);
/// This is one.
static CLEAR: AtomicBool = AtomicBool::new(false);

type FlashStore = Store<Flash<'static, FLASH, Blocking, FLASH_SIZE>, TickSays>;

/// What an entry of the log was found to be.
pub type FoundEntry = Result<Option<(u32, EntryBytes)>, StoreError>;

/// What is found at the start, one after the other.
enum Found {
    /// The job at this place of the list.
    Job(usize, Job),
    /// All the rest.
    Rest(Kept),
}

/// What the tick has said last.
#[derive(Debug)]
struct TickSays;

impl Gate for TickSays {
    fn may_erase(&self) -> bool {
        MAY_ERASE.load(Ordering::Relaxed)
    }

    fn wait_until_clear(&self) {
        WAITING.store(true, Ordering::Relaxed);
        // Used up: the tick that follows a program says anew. Each interrupt, and so each tick, ends the
        // sleep.
        while !CLEAR.swap(false, Ordering::Relaxed) {
            cortex_m::asm::wfe();
        }
        WAITING.store(false, Ordering::Relaxed);
    }

    fn breathe(&self) {
        let end = Instant::now() + BREATH;
        while Instant::now() < end {
            cortex_m::asm::wfe();
        }
    }
}

/// To be called in every tick, before the poll: brings the news of the flash.
pub fn tell(app: &mut App) {
    match FOUND.try_take() {
        None => {}
        Some(Found::Job(place, job)) => app.restore_job(place, job),
        Some(Found::Rest(kept)) => app.restore(&kept),
    }
    if let Some((save, result)) = DONE.try_take() {
        app.saved(&save, result);
    }
}

/// To be called in every tick, after the poll: takes what is to be kept, and says what the flash may do.
pub fn take(app: &mut App) {
    MAY_ERASE.store(app.may_erase(), Ordering::Relaxed);
    CLEAR.store(WAITING.load(Ordering::Relaxed) && app.may_program(), Ordering::Relaxed);
    if let Some(save) = app.save_due() {
        WANTED.signal(save);
    }
}

/// The first entry of the log from this number on.
pub async fn entry(from: u32) -> FoundEntry {
    ENTRY.reset();
    ENTRY_WANTED.signal(from);
    ENTRY.wait().await
}

/// Reads what is there beside the counter's own `jobs`, then keeps and finds what is wanted, for ever.
pub async fn run(flash: Peri<'static, FLASH>, jobs: usize) -> ! {
    let flash = Flash::<_, Blocking, FLASH_SIZE>::new_blocking(flash);
    let mut store = Store::new(flash, TickSays, Layout::PICO);
    let jobs = load_jobs(&mut store, jobs).await;
    tell_found(Found::Rest(store.load(jobs))).await;
    loop {
        match select(WANTED.wait(), ENTRY_WANTED.wait()).await {
            Either::First(save) => {
                let result = store.save(&save);
                DONE.signal((save, result));
            }
            Either::Second(from) => ENTRY.signal(store.log_entry(from)),
        }
    }
}

/// Brings back the jobs that came over the link; how many jobs there are then.
async fn load_jobs(store: &mut FlashStore, own: usize) -> usize {
    let mut jobs = own;
    for place in (0..MAX_JOBS as u8).skip(own) {
        if let Some(job) = store.load_job(place) {
            tell_found(Found::Job(place.into(), job)).await;
            jobs = usize::from(place) + 1;
        }
    }
    jobs
}

/// Waits until the tick has taken it.
async fn tell_found(found: Found) {
    FOUND.signal(found);
    while FOUND.signaled() {
        Timer::after_millis(1).await;
    }
}
