//! A pseudo-terminal for the emulator: says on standard error by which name a program opens it, and then is a cable
//! between that program and its own standard input and output. Bytes sent while nobody has it open are lost.

#![allow(clippy::unwrap_used, reason = "a tool of the tests may stop where it stands")]

use std::io::{self, ErrorKind, Read, Write};
use std::process;
use std::sync::atomic::{AtomicBool, Ordering};
use std::thread;
use std::time::Duration;

use serialport::{SerialPort, TTYPort};

/// Somebody has the other end open.
static OPEN: AtomicBool = AtomicBool::new(false);
/// The other end is looked at so often.
const LOOK_EVERY: Duration = Duration::from_millis(2);

fn main() {
    let (mut ours, theirs) = TTYPort::pair().unwrap();
    ours.set_timeout(LOOK_EVERY).unwrap();
    eprintln!("{}", theirs.name().unwrap());
    // Only one may have it.
    drop(theirs);
    let mut to = ours.try_clone_native().unwrap();
    to.set_timeout(Duration::from_secs(5)).unwrap();
    thread::spawn(move || {
        let mut block = [0; 512];
        loop {
            match io::stdin().read(&mut block).unwrap() {
                0 => process::exit(0),
                count if OPEN.load(Ordering::Relaxed) => _ = to.write_all(block.get(..count).unwrap()),
                _ => {}
            }
        }
    });
    let mut block = [0; 512];
    loop {
        match ours.read(&mut block) {
            Ok(count) => {
                OPEN.store(true, Ordering::Relaxed);
                let mut out = io::stdout().lock();
                out.write_all(block.get(..count).unwrap()).unwrap();
                out.flush().unwrap();
            }
            Err(error) if error.kind() == ErrorKind::TimedOut => OPEN.store(true, Ordering::Relaxed),
            Err(_) => {
                OPEN.store(false, Ordering::Relaxed);
                thread::sleep(LOOK_EVERY);
            }
        }
    }
}
