//! The serial line: a computer's questions and their answers, and one line of state each tenth of a second
//! for whom nobody asks.

use embassy_futures::select::{Either, select};
use embassy_rp::uart::{BufferedUart, BufferedUartTx};
use embassy_sync::blocking_mutex::raw::CriticalSectionRawMutex;
use embassy_time::{Duration, Instant, Ticker};
use embedded_io_async::{Read as _, Write as _};
use turntally_core::link::Reply;
use turntally_core::link::counter::Server;
use turntally_firmware::app::App;
use turntally_firmware::link::{Ask, Link, Need};

use crate::signal::Signal;
use crate::{keep, vitals};

/// From one line of state to the next.
const LINE_EVERY: Duration = Duration::from_millis(100);
/// For so long after a question there are none.
const TALKING: Duration = Duration::from_millis(2_000);

static ASKED: Signal<CriticalSectionRawMutex, Ask> = Signal::new();
static REPLY: Signal<CriticalSectionRawMutex, Reply> = Signal::new();

/// To be called in every tick: answers what was asked.
pub fn answer(app: &mut App) {
    if let Some(ask) = ASKED.try_take() {
        REPLY.signal(app.answer(ask));
    }
}

/// Listens and answers, for ever.
#[embassy_executor::task]
pub async fn run(uart: BufferedUart) -> ! {
    let (mut out, mut input) = uart.split();
    let mut link = Link::default();
    let mut every = Ticker::every(LINE_EVERY);
    let mut quiet_until = Instant::MIN;
    let mut bytes = [0; 32];
    loop {
        match select(input.read(&mut bytes), every.next()).await {
            Either::First(Ok(count)) => {
                for &byte in bytes.get(..count).unwrap_or_default() {
                    if let Some(need) = link.push(byte) {
                        quiet_until = Instant::now() + TALKING;
                        serve(&mut link, need, &mut out).await;
                    }
                }
            }
            // A byte that arrived broken: its frame is no message.
            Either::First(Err(_)) => {}
            Either::Second(()) if Instant::now() >= quiet_until => {
                send(&mut out, vitals::line().as_bytes()).await
            }
            Either::Second(()) => {}
        }
    }
}

async fn serve(link: &mut Link, need: Need, out: &mut BufferedUartTx) {
    match need {
        Need::Send(frame) => send(out, &frame).await,
        Need::App(tag, ask) => {
            ASKED.signal(ask);
            let reply = REPLY.wait().await;
            send(out, &Server::answer(tag, &reply)).await;
        }
        Need::Log => {
            while let Some(from) = link.wanted() {
                let found = keep::entry(from).await;
                send(out, &link.entry(&found)).await;
            }
        }
    }
}

/// A port that takes nothing has lost its other end, and what was to be said.
async fn send(out: &mut BufferedUartTx, bytes: &[u8]) {
    _ = out.write_all(bytes).await;
}
