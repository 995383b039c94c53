//! The link to a computer: what is the same on every port, and how a port's questions reach the tick.

use embassy_sync::blocking_mutex::raw::CriticalSectionRawMutex;
use embedded_io_async::Write;
use turntally_core::link::Reply;
use turntally_core::link::counter::Server;
use turntally_core::link::frame::Frame;
use turntally_firmware::app::App;
use turntally_firmware::link::{Ask, Link, Need};
use turntally_firmware::store::FoundEntry;

use crate::signal::Signal;

/// Where a port meets the tick and the flash. Each port has its own, so that no answer goes astray and no port
/// waits for the other.
pub struct Desk {
    asked: Signal<CriticalSectionRawMutex, Ask>,
    reply: Signal<CriticalSectionRawMutex, Reply>,
    /// The number from which on an entry of the log is wanted.
    pub wanted: Signal<CriticalSectionRawMutex, u32>,
    /// What was found there.
    pub entry: Signal<CriticalSectionRawMutex, FoundEntry>,
}

/// Of the serial line.
pub static SERIAL: Desk = Desk::new();
/// Of USB.
pub static USB: Desk = Desk::new();

/// To be called in every tick: answers what was asked.
#[inline]
pub fn answer(app: &mut App) {
    for desk in [&SERIAL, &USB] {
        if desk.asked.signaled() {
            desk.answer(app);
        }
    }
}

impl Desk {
    const fn new() -> Self {
        Self { asked: Signal::new(), reply: Signal::new(), wanted: Signal::new(), entry: Signal::new() }
    }

    // Cold: it is not to stand among the code of each millisecond.
    #[inline(never)]
    fn answer(&self, app: &mut App) {
        if let Some(ask) = self.asked.try_take() {
            self.reply.signal(app.answer(ask));
        }
    }
}

/// The link on a port.
pub struct Talk {
    desk: &'static Desk,
    link: Link,
}

impl Talk {
    /// Nothing was sent yet.
    pub fn at(desk: &'static Desk) -> Self {
        Self { desk, link: Link::default() }
    }

    /// Takes what was received and sends the answers; whether anything was asked.
    pub async fn hear(&mut self, bytes: &[u8], out: &mut impl Write) -> bool {
        let mut asked = false;
        for &byte in bytes {
            let mut need = self.link.push(byte);
            asked |= need.is_some();
            while let Some(frame) = self.frame(&mut need).await {
                send(out, &frame).await;
            }
        }
        asked
    }

    /// What is to be sent next.
    async fn frame(&mut self, need: &mut Option<Need>) -> Option<Frame> {
        match need.take() {
            Some(Need::Send(frame)) => Some(frame),
            Some(Need::App(tag, ask)) => {
                self.desk.asked.signal(ask);
                Some(Server::answer(tag, &self.desk.reply.wait().await))
            }
            Some(Need::Log) | None => {
                let from = self.link.wanted()?;
                self.desk.wanted.signal(from);
                Some(self.link.entry(&self.desk.entry.wait().await))
            }
        }
    }
}

/// A port that takes nothing has lost its other end: the bytes are dropped.
pub async fn send(out: &mut impl Write, bytes: &[u8]) {
    _ = out.write_all(bytes).await;
}
