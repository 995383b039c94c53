//! Keeps things in the chip's flash. While it erases or programs, the whole chip but sampler and DMA
//! stands still: the tick says when it may. This is the lowest of all: it may wait for that as long as
//! it likes, and nothing waits for it.
use embassy_futures::select::{Either3, select3};
use embassy_sync::blocking_mutex::raw::CriticalSectionRawMutex;
use embassy_time::{Duration, Instant, Timer};
use embedded_storage::nor_flash::{ErrorType, NorFlash, ReadNorFlash};
use portable_atomic::{AtomicBool, Ordering};
use turntally_core::job::Job;
use turntally_core::job_list::MAX_JOBS;
use turntally_firmware::app::App;
use turntally_firmware::store::guard::Gate;
use turntally_firmware::store::{Layout, Save, SavedState, Store, StoreError};

use crate::chip::BoardFlash;
use crate::link::{SERIAL, USB};
use crate::signal::Signal;
use crate::usb;

/// Between two erases: a key is seen after eight ticks, and the screen takes some 25 ms.
const BREATH: Duration = Duration::from_millis(40);

static FOUND: Signal<CriticalSectionRawMutex, Found> = Signal::new();
static WANTED: Signal<CriticalSectionRawMutex, Save> = Signal::new();
static DONE: Signal<CriticalSectionRawMutex, (Save, Result<(), StoreError>)> = Signal::new();
static MAY_ERASE: AtomicBool = AtomicBool::new(true);
/// Somebody waits for a moment to program in.
static WAITING: AtomicBool = AtomicBool::new(false);
/// This is one.
static CLEAR: AtomicBool = AtomicBool::new(false);

type FlashStore = Store<SilentFlash, TickSays>;

/// The board's flash. While it erases or programs no interrupt is served: an answer that is ready on the USB port
/// must not go out meanwhile, since the computer may have given up its request.
struct SilentFlash(BoardFlash);

impl ErrorType for SilentFlash {
    type Error = <BoardFlash as ErrorType>::Error;
}

impl ReadNorFlash for SilentFlash {
    const READ_SIZE: usize = <BoardFlash as ReadNorFlash>::READ_SIZE;

    fn read(&mut self, offset: u32, bytes: &mut [u8]) -> Result<(), Self::Error> {
        ReadNorFlash::read(&mut self.0, offset, bytes)
    }

    fn capacity(&self) -> usize {
        ReadNorFlash::capacity(&self.0)
    }
}

impl NorFlash for SilentFlash {
    const WRITE_SIZE: usize = <BoardFlash as NorFlash>::WRITE_SIZE;
    const ERASE_SIZE: usize = <BoardFlash as NorFlash>::ERASE_SIZE;

    fn erase(&mut self, from: u32, to: u32) -> Result<(), Self::Error> {
        usb::silently(|| NorFlash::erase(&mut self.0, from, to))
    }

    fn write(&mut self, offset: u32, bytes: &[u8]) -> Result<(), Self::Error> {
        usb::silently(|| NorFlash::write(&mut self.0, offset, bytes))
    }
}

/// What is found at the start, one after the other.
#[expect(clippy::large_enum_variant, reason = "there is one of it, and no heap")]
enum Found {
    /// The job at this place of the list.
    Job(usize, Job),
    /// All the rest.
    Rest(SavedState),
}

/// What the tick allowed last.
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
#[inline]
pub fn tell(app: &mut App) {
    if FOUND.signaled() || DONE.signaled() {
        bring(app);
    }
}

// Cold: it is not to stand among the code of each millisecond.
#[inline(never)]
fn bring(app: &mut App) {
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
        want(save);
    }
}

// Cold: it is not to stand among the code of each millisecond.
#[inline(never)]
fn want(save: Save) {
    WANTED.signal(save);
}

/// Reads what is there beside the counter's own `jobs`, then keeps what is to be kept and finds what is
/// wanted at the desks, for ever.
pub async fn run(flash: BoardFlash, jobs: usize) -> ! {
    let mut store = Store::new(SilentFlash(flash), TickSays, Layout::PICO);
    let jobs = load_jobs(&mut store, jobs).await;
    tell_found(Found::Rest(store.load(jobs))).await;
    loop {
        let (desk, from) = match select3(WANTED.wait(), SERIAL.wanted.wait(), USB.wanted.wait()).await {
            Either3::First(save) => {
                let result = store.save(&save);
                DONE.signal((save, result));
                continue;
            }
            Either3::Second(from) => (&SERIAL, from),
            Either3::Third(from) => (&USB, from),
        };
        desk.entry.signal(store.log_entry(from));
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
