//! The screen's task: draws and sends whenever nothing else wants the processor.

use embassy_rp::gpio::{Level, OutputOpenDrain};
use embassy_rp::i2c::{Config, I2c, InterruptHandler};
use embassy_rp::peripherals::I2C0;
use embassy_rp::{Peri, bind_interrupts, pac};
use embassy_sync::blocking_mutex::raw::CriticalSectionRawMutex;
use embassy_sync::mutex::Mutex;
use embassy_sync::signal::Signal as News;
use embassy_time::{Duration, Instant, Timer, with_deadline, with_timeout};
use heapless::Vec;
use turntally_core::time;
use turntally_firmware::app::App;
use turntally_firmware::display::Frame;
use turntally_firmware::notice::{Picture, View};
use turntally_firmware::oled::{Found, Refresh};
use turntally_firmware::screen_chip::{self, ADDRESSES, ANSWER_BYTES, Chip};

use crate::pins::ScreenPins;
use crate::signal::Signal;

bind_interrupts!(struct Irqs {
    I2C0_IRQ => InterruptHandler<I2C0>;
});

/// What is to be shown next; a newer one takes the place of one not shown yet.
///
/// A view has kilobytes. Neither writing it nor drawing from it keeps interrupts off, as a [`Signal`] would: USB may wait
/// for no more than some 35 us (see `usb.rs`).
pub struct Next {
    view: Mutex<CriticalSectionRawMutex, Vec<View, 1>>,
    /// It is a new one.
    news: News<CriticalSectionRawMutex, ()>,
}

/// Passes it what is to be shown now; whether it could take that: not while it draws.
// Cold: it is not to stand among the code of each millisecond.
#[inline(never)]
pub fn show(next: &Next, view: &View) -> bool {
    let Ok(mut place) = next.view.try_lock() else { return false };
    place.clear();
    // There is room: it has just been cleared.
    _ = place.push(view.clone());
    next.news.signal(());
    true
}

/// The one that there is.
pub fn next() -> &'static Next {
    static NEXT: Next = Next { view: Mutex::new(Vec::new()), news: News::new() };
    &NEXT
}

/// The drawing that the panel has, and since when; or that it does not answer.
static ON_PANEL: Signal<CriticalSectionRawMutex, Option<(Picture, time::Instant)>> = Signal::new();

/// Gives the counter what the panel shows, if that has changed.
#[inline]
pub fn report(app: &mut App) {
    if ON_PANEL.signaled() {
        take_report(app);
    }
}

// Cold: it is not to stand among the code of each millisecond.
#[inline(never)]
fn take_report(app: &mut App) {
    match ON_PANEL.try_take() {
        Some(Some((picture, at))) => app.panel_has(picture, at),
        Some(None) => app.panel_lost(),
        None => {}
    }
}

/// A page takes 3 ms at 400 kHz: a bus that needs this long is stuck.
const STUCK: Duration = Duration::from_millis(30);

/// Why a picture did not arrive.
#[derive(Debug)]
enum Failure {
    /// Nobody answers, or another master interferes.
    NoAnswer,
    /// The bus does not move.
    Stuck,
}

/// Draws and sends for ever; a screen that is not there costs nothing but the try.
#[embassy_executor::task]
pub async fn run(mut pins: ScreenPins, next: &'static Next) -> ! {
    let mut frame = Frame::new();
    let mut refresh = Refresh::new();
    let mut drawn = None;
    loop {
        free_bus(pins.scl.reborrow(), pins.sda.reborrow()).await;
        let mut config = Config::default();
        config.frequency = 400_000;
        let mut bus =
            I2c::new_async(pins.bus.reborrow(), pins.scl.reborrow(), pins.sda.reborrow(), Irqs, config);
        loop {
            let sent = send(&mut bus, refresh.known(now()), &frame).await;
            let now = now();
            refresh.sent(now, sent.as_ref().ok().copied());
            ON_PANEL.signal(drawn.filter(|_| sent.is_ok()).map(|picture| (picture, now)));
            #[cfg(feature = "defmt")]
            match sent {
                Ok(_) => {}
                Err(Failure::NoAnswer) => defmt::warn!("screen: no answer"),
                Err(Failure::Stuck) => defmt::warn!("screen: the bus is stuck"),
            }
            let due = Instant::from_micros(refresh.due().as_micros());
            if refresh.is_missing() {
                Timer::at(due).await;
            }
            // A newer picture, or none for so long that the same one is sent again.
            if with_deadline(due, next.news.wait()).await.is_ok()
                && let Some(view) = next.view.lock().await.first()
            {
                draw(view, &mut frame);
                drawn = Some(view.picture);
            }
            if refresh.is_missing() {
                break;
            }
        }
    }
}

fn draw(view: &View, frame: &mut Frame) {
    match view.draw(frame) {
        Ok(()) => {}
        Err(never) => match never {},
    }
}

fn now() -> time::Instant {
    time::Instant::from_micros(Instant::now().as_micros())
}

type Bus<'a> = I2c<'a, I2C0, embassy_rp::i2c::Async>;

/// Sends the picture to the known screen, or to the one that is found; the screen that has it.
async fn send(bus: &mut Bus<'_>, known: Option<Found>, frame: &Frame) -> Result<Found, Failure> {
    let found = match known {
        Some(found) => found,
        None => ask(bus).await?,
    };
    write(bus, found.address, found.chip.setup()).await?;
    for number in 0..screen_chip::PAGES {
        write(bus, found.address, &found.chip.page(frame, number)).await?;
    }
    Ok(found)
}

/// Asks at both addresses for a screen, and the one that answers for its chip.
async fn ask(bus: &mut Bus<'_>) -> Result<Found, Failure> {
    let [first, second] = ADDRESSES;
    let mut address = first;
    match write(bus, first, &screen_chip::mark()).await {
        Err(Failure::NoAnswer) => {
            settle().await;
            address = second;
            write(bus, second, &screen_chip::mark()).await?;
        }
        other => other?,
    }
    let mut chip = Chip::Ssd1306;
    if has_mark(bus, address).await? {
        write(bus, address, &screen_chip::erase_beyond()).await?;
        if has_mark(bus, address).await? {
            chip = Chip::Sh1106;
        }
    }
    Ok(Found { address, chip })
}

async fn has_mark(bus: &mut Bus<'_>, address: u8) -> Result<bool, Failure> {
    write(bus, address, &screen_chip::LOOK).await?;
    let mut answer = [0; ANSWER_BYTES];
    match with_timeout(STUCK, bus.read_async(address, &mut answer)).await {
        Ok(Ok(())) => Ok(screen_chip::has_mark(answer)),
        // It does not answer a read at all.
        Ok(Err(_)) => {
            settle().await;
            Ok(false)
        }
        Err(_) => Err(Failure::Stuck),
    }
}

/// To be called after a transfer that nobody acknowledged, before the next one. The driver returns before the stop
/// that ends such a transfer, and its flag would make the next transfer seem over before it is.
async fn settle() {
    Timer::after_micros(100).await;
    _ = pac::I2C0.ic_clr_stop_det().read();
}

async fn write(bus: &mut Bus<'_>, address: u8, bytes: &[u8]) -> Result<(), Failure> {
    let writing = bus.write_async(address, bytes.iter().copied());
    with_timeout(STUCK, writing).await.map_err(|_| Failure::Stuck)?.map_err(|_| Failure::NoAnswer)
}

/// Nine clocks and a stop: a screen that was cut off in the middle of a byte lets go of the data line
/// (the I2C specification's bus clear, from memory).
async fn free_bus(scl: Peri<'_, crate::pins::ScreenClock>, sda: Peri<'_, crate::pins::ScreenData>) {
    let mut scl = OutputOpenDrain::new(scl, Level::High);
    let mut sda = OutputOpenDrain::new(sda, Level::High);
    let half = Duration::from_micros(5);
    for _ in 0..9 {
        scl.set_low();
        Timer::after(half).await;
        scl.set_high();
        Timer::after(half).await;
    }
    sda.set_low();
    Timer::after(half).await;
    sda.set_high();
    Timer::after(half).await;
}
