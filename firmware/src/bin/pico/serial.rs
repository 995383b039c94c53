//! The serial line: the link, and one line of state each tenth of a second while no question comes.

use embassy_futures::select::{Either, select};
use embassy_rp::uart::BufferedUart;
use embassy_time::{Duration, Instant, Ticker};
use embedded_io_async::Read as _;

use crate::link::{self, Talk};
use crate::vitals;

/// From one line of state to the next.
const LINE_EVERY: Duration = Duration::from_millis(100);
/// For so long after a question there are none.
const TALKING: Duration = Duration::from_millis(2_000);

/// Listens and answers, for ever.
#[embassy_executor::task]
pub async fn run(uart: BufferedUart) -> ! {
    let (mut out, mut input) = uart.split();
    let mut talk = Talk::at(&link::SERIAL);
    let mut every = Ticker::every(LINE_EVERY);
    let mut quiet_until = Instant::MIN;
    let mut bytes = [0; 32];
    loop {
        match select(input.read(&mut bytes), every.next()).await {
            Either::First(Ok(count)) => {
                if talk.hear(bytes.get(..count).unwrap_or_default(), &mut out).await {
                    quiet_until = Instant::now() + TALKING;
                }
            }
            // A byte that arrived broken: its frame is no message.
            Either::First(Err(_)) => {}
            Either::Second(()) if Instant::now() >= quiet_until => {
                link::send(&mut out, vitals::line().as_bytes()).await;
            }
            Either::Second(()) => {}
        }
    }
}
