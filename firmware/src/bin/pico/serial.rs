//! One line of state each tenth of a second on the serial line.

use embassy_rp::uart::BufferedUartTx;
use embassy_time::{Duration, Ticker};
use embedded_io_async::Write as _;

use crate::vitals;

/// From one line to the next.
const LINE_EVERY: Duration = Duration::from_millis(100);

/// Tells, for ever.
#[embassy_executor::task]
pub async fn run(mut out: BufferedUartTx) -> ! {
    let mut every = Ticker::every(LINE_EVERY);
    loop {
        every.next().await;
        // A port that takes nothing has lost its other end, and what was to be said.
        _ = out.write_all(vitals::line().as_bytes()).await;
    }
}
