//! The tester on a Raspberry Pi Pico: proves a counter on its wires, and reports over a serial line.
//!
//! It waits for a line from a computer, `short` or `full`, and then runs
//! [`script::run`](turntally_firmware::tester::script::run). No interrupt but the one that ends a nap is ever on, so
//! that nothing comes between an edge and its time.
#![no_std]
#![no_main]
#![allow(unsafe_code, reason = "it reaches for the chip's registers; each place has its own reason")]

mod board;
mod encoder;
mod pins;

use embassy_rp::config::Config;
use heapless::String;
use turntally_core::time::Duration;
use turntally_firmware::tester::board::{Board as _, Grain};
use turntally_firmware::tester::script::{self, Length};

use crate::board::Tester;
use crate::pins::Pins;

/// Between two looks at what has come from the computer: 32 bytes take 2.8 ms.
const LISTEN: Duration = Duration::from_millis(1);

#[cortex_m_rt::entry]
fn main() -> ! {
    let mut board = Tester::new(Pins::new(embassy_rp::init(Config::default())));
    let mut line: String<16> = String::new();
    loop {
        board.wait(LISTEN, Grain::Coarse);
        while let Some(byte) = board.command() {
            if byte != b'\n' {
                // A line that is too long is none of ours.
                if line.push(char::from(byte)).is_err() {
                    line.clear();
                }
                continue;
            }
            match line.trim() {
                "short" => _ = script::run(&mut board, Length::Short),
                "full" => _ = script::run(&mut board, Length::Full),
                _ => board.print("unknown\n"),
            }
            line.clear();
        }
    }
}

/// Starts again: a computer notices that the report has no end.
#[panic_handler]
fn panic(_: &core::panic::PanicInfo<'_>) -> ! {
    cortex_m::peripheral::SCB::sys_reset()
}
