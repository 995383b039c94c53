//! The simulated counter on a pseudo-terminal, for users without one on a cable.

use std::io::{ErrorKind, Read, Write};
use std::time::Duration;

use serialport::{SerialPort, TTYPort};
use turntally_firmware::app::App;
use turntally_firmware::link::Link;
use turntally_firmware::store::Store;
use turntally_firmware::store::guard::Open;

use crate::failure::Failure;
use crate::simulation::flash::VirtualFlash;

/// A pseudo-terminal with a counter on it.
pub struct Terminal {
    ours: TTYPort,
    name: String,
    link: Link,
}

impl std::fmt::Debug for Terminal {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "Terminal({:?})", self.name())
    }
}

impl Terminal {
    /// A new one.
    ///
    /// # Errors
    /// One line where the system has none left.
    pub fn new() -> Result<Self, Failure> {
        let failure = |error| Failure::new(format_args!("cannot make a pseudo-terminal: {error}"));
        // The other end is let go at once: only one may have it.
        let (mut ours, theirs) = TTYPort::pair().map_err(failure)?;
        ours.set_timeout(Duration::ZERO).map_err(failure)?;
        Ok(Self { ours, name: theirs.name().unwrap_or_default(), link: Link::default() })
    }

    /// Its name, for `--port`.
    #[must_use]
    pub fn name(&self) -> &str {
        &self.name
    }

    /// Answers what has come.
    ///
    /// # Errors
    /// One line where the terminal fails.
    pub fn serve(&mut self, app: &mut App, store: &mut Store<VirtualFlash, Open>) -> Result<(), Failure> {
        let failure = |error: std::io::Error| Failure::new(format_args!("pseudo-terminal: {error}"));
        // An end that no program has open reads as an error.
        if self.ours.bytes_to_read().unwrap_or(0) == 0 {
            return Ok(());
        }
        let mut block = [0; 256];
        let count = match self.ours.read(&mut block) {
            Ok(count) => count,
            Err(error) if matches!(error.kind(), ErrorKind::TimedOut | ErrorKind::Interrupted) => 0,
            Err(error) => return Err(failure(error)),
        };
        let mut out = Vec::new();
        for &byte in block.iter().take(count) {
            self.link.push_at_once(byte, app, store, |bytes| out.extend_from_slice(bytes));
        }
        // A computer that does not read loses the answer, and asks again.
        self.ours.set_timeout(Duration::from_secs(1)).map_err(|error| failure(error.into()))?;
        let sent = self.ours.write_all(&out);
        self.ours.set_timeout(Duration::ZERO).map_err(|error| failure(error.into()))?;
        match sent {
            Err(error) if error.kind() != ErrorKind::TimedOut => Err(failure(error)),
            _ => Ok(()),
        }
    }
}
