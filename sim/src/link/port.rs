//! A counter behind a serial port.

use std::io::{ErrorKind, Read, Write};
use std::time::{Duration, Instant, SystemTime, UNIX_EPOCH};

use serialport::{SerialPort, SerialPortType};
use turntally_core::link::computer::{Client, Fetcher, Fetching};
use turntally_core::link::{FETCH_MAX, Identity, Reply, Request, SentEntry, VERSION};
use turntally_core::time;

use crate::failure::Failure;

/// Of the counter's UART; over USB it means nothing.
const BAUD: u32 = 115_200;
/// Replies in a row that may bring a fetch no further: lost entries cost some, and a counter that sends nothing else
/// is broken. Our own bound, several times what a full request takes.
pub(super) const IDLE_REPLIES: u32 = 4 * FETCH_MAX as u32;
/// Requests in a row that may bring a fetch no entry: a line that loses the first of each so often loses them all.
/// Our own bound.
pub(super) const REQUESTS_IN_VAIN: u32 = 16;
/// A read waits so long at most.
const WAIT: Duration = Duration::from_millis(20);

/// A counter that answers.
#[derive(Debug)]
pub struct Counter {
    port: Line,
    client: Client,
    identity: Identity,
}

/// What a counter is on the other end of, and the clock by which it is waited for. A read ends after a little while,
/// with an error of the kind `TimedOut` where nothing has come.
pub trait Wire: Read + Write + Send {
    /// Time since any fixed moment.
    fn now(&self) -> time::Instant;
}

/// A serial port of this computer, by its clock.
struct Serial {
    port: Box<dyn SerialPort>,
    begun: Instant,
}

impl Read for Serial {
    fn read(&mut self, block: &mut [u8]) -> std::io::Result<usize> {
        self.port.read(block)
    }
}

impl Write for Serial {
    fn write(&mut self, bytes: &[u8]) -> std::io::Result<usize> {
        self.port.write(bytes)
    }

    fn flush(&mut self) -> std::io::Result<()> {
        self.port.flush()
    }
}

impl Wire for Serial {
    fn now(&self) -> time::Instant {
        time::Instant::from_micros(u64::try_from(self.begun.elapsed().as_micros()).unwrap_or(u64::MAX))
    }
}

/// A wire, and what has come on it.
struct Line {
    name: String,
    wire: Box<dyn Wire>,
    /// Bytes that have come and were not looked at yet.
    bytes: Vec<u8>,
}

impl std::fmt::Debug for Line {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(&self.name)
    }
}

impl Line {
    fn open(name: &str) -> Result<Self, Failure> {
        let failure = |error: serialport::Error| Failure::value("--port", name, error);
        let port = serialport::new(name, BAUD).timeout(WAIT).open().map_err(failure)?;
        Ok(Self::on(name, Box::new(Serial { port, begun: Instant::now() })))
    }

    fn on(name: &str, wire: Box<dyn Wire>) -> Self {
        Self { name: name.to_owned(), wire, bytes: Vec::new() }
    }

    fn now(&self) -> time::Instant {
        self.wire.now()
    }

    /// Sends without waiting until the device has taken every byte: one that takes none would hold us for ever.
    fn send(&mut self, bytes: &[u8]) -> Result<(), Failure> {
        self.wire.write_all(bytes).map_err(|error| self.failure(&error))
    }

    /// Waits for bytes, a little.
    fn wait(&mut self) -> Result<(), Failure> {
        let mut block = [0; 512];
        match self.wire.read(&mut block) {
            // The other end of a pulled cable reads as nothing, for ever.
            Ok(0) => Err(self.failure(&ErrorKind::UnexpectedEof.into())),
            Ok(count) => {
                self.bytes.extend(block.iter().take(count).rev());
                Ok(())
            }
            Err(error) if matches!(error.kind(), ErrorKind::TimedOut | ErrorKind::Interrupted) => Ok(()),
            Err(error) => Err(self.failure(&error)),
        }
    }

    fn failure(&self, error: &std::io::Error) -> Failure {
        Failure::new(format_args!("{}: the counter is gone: {error}", self.name))
    }

    /// The next answer; the question is asked again as long as there is none.
    fn reply(&mut self, client: &mut Client) -> Result<Reply, Failure> {
        loop {
            while let Some(byte) = self.bytes.pop() {
                if let Some(reply) = client.push(byte, self.now()) {
                    return Ok(reply);
                }
            }
            // On every pass: a device that keeps talking may never say anything that is meant for us.
            let again = client
                .ask_again(self.now())
                .map_err(|error| Failure::new(format_args!("{}: {error}", self.name)))?;
            if let Some(frame) = again {
                let frame = frame.to_vec();
                self.send(&frame)?;
            }
            self.wait()?;
        }
    }

    fn ask(&mut self, client: &mut Client, request: &Request) -> Result<Reply, Failure> {
        let frame = client.ask(request, self.now()).to_vec();
        self.send(&frame)?;
        self.reply(client)
    }
}

/// A number that was hardly used before.
#[must_use]
pub fn fresh_number() -> u32 {
    fastrand::u32(..)
}

/// The message where an answer belongs to no question of ours.
#[must_use]
pub fn unexpected(reply: &Reply) -> Failure {
    match reply {
        Reply::Refused(refusal) => Failure::new(refusal),
        _ => Failure::new("the counter's answer makes no sense: bring both programs to one version"),
    }
}

/// The serial ports of this computer. Those on USB first: the others do not answer, and each is waited for.
#[must_use]
pub fn names() -> Vec<String> {
    let mut names: Vec<String> = Vec::new();
    for port in serialport::available_ports().unwrap_or_default() {
        let at = if matches!(port.port_type, SerialPortType::UsbPort(_)) { 0 } else { names.len() };
        names.insert(at, port.port_name);
    }
    names
}

impl Counter {
    /// Opens this port, or the first that a counter answers on.
    ///
    /// # Errors
    /// One line that names the port, or those that were tried.
    pub fn find(port: Option<&str>) -> Result<Self, Failure> {
        if let Some(name) = port {
            return Self::open(name);
        }
        let names = names();
        if let Some(counter) = Self::first_of(&names) {
            return Ok(counter);
        }
        let tried = if names.is_empty() { "there is no serial port".to_owned() } else { names.join(", ") };
        Err(Failure::new(format_args!("no counter answers ({tried}): plug it in, or give --port")))
    }

    /// The first of these ports that a counter answers on.
    #[must_use]
    pub fn first_of(names: &[String]) -> Option<Self> {
        names.iter().find_map(|name| Self::open(name).ok())
    }

    fn open(name: &str) -> Result<Self, Failure> {
        Self::identified(Line::open(name)?)
    }

    /// The counter on a wire, which messages call by this name.
    ///
    /// # Errors
    /// One line where none answers.
    pub fn on(name: &str, wire: Box<dyn Wire>) -> Result<Self, Failure> {
        Self::identified(Line::on(name, wire))
    }

    fn identified(mut port: Line) -> Result<Self, Failure> {
        let mut client = Client::default();
        match port.ask(&mut client, &Request::Identify { version: VERSION })? {
            Reply::Identity(identity) => Ok(Self { port, client, identity }),
            other => Err(unexpected(&other)),
        }
    }

    /// The port's name.
    #[must_use]
    pub fn name(&self) -> &str {
        &self.port.name
    }

    /// Who it is.
    #[must_use]
    pub const fn identity(&self) -> &Identity {
        &self.identity
    }

    /// Asks, and waits for the answer.
    ///
    /// # Errors
    /// One line where the counter is gone or does not answer.
    pub fn ask(&mut self, request: &Request) -> Result<Reply, Failure> {
        self.port.ask(&mut self.client, request)
    }

    /// Asks something that has several answers, for [`Self::next_reply`].
    ///
    /// # Errors
    /// As [`Self::ask`].
    pub fn begin(&mut self, request: &Request) -> Result<(), Failure> {
        let frame = self.client.ask(request, self.port.now()).to_vec();
        self.port.send(&frame)
    }

    /// The next answer.
    ///
    /// # Errors
    /// As [`Self::ask`].
    pub fn next_reply(&mut self) -> Result<Reply, Failure> {
        self.port.reply(&mut self.client)
    }

    /// The first entry of the log that a fetcher asks for.
    ///
    /// # Errors
    /// As [`Self::ask`], and where the counter refuses.
    pub fn fetch(&mut self, fetcher: &mut Fetcher) -> Result<Option<SentEntry>, Failure> {
        self.begin(&Request::Fetch { from: fetcher.next(), count: 1 })?;
        for _ in 0..IDLE_REPLIES {
            match fetcher.take(self.next_reply()?) {
                Fetching::Entry(entry) => return Ok(Some(entry)),
                Fetching::Finished => return Ok(None),
                Fetching::Wait => {}
                Fetching::Ask => self.begin(&fetcher.request())?,
                Fetching::Refused(refusal) => return Err(Failure::new(refusal)),
            }
        }
        Err(self.goes_round())
    }

    /// Its answers to a fetch lead nowhere.
    pub(super) fn goes_round(&self) -> Failure {
        Failure::new(format_args!(
            "{}: the counter goes on answering but sends no further entry of its log: restart it",
            self.name()
        ))
    }

    /// Tells it how late it is.
    ///
    /// # Errors
    /// As [`Self::ask`].
    pub fn set_clock(&mut self) -> Result<(), Failure> {
        // A computer whose clock stands before 1970 has no time to tell.
        let Ok(since) = SystemTime::now().duration_since(UNIX_EPOCH) else { return Ok(()) };
        match self.ask(&Request::SetClock { seconds: since.as_secs() })? {
            Reply::Done => Ok(()),
            other => Err(unexpected(&other)),
        }
    }
}
