//! The firmware library on a processor of its own, in an emulator: plays the scripts of `tests/emulator/scripts` and
//! prints what the desktop writes to `tests/emulator/traces` and `tests/emulator/pictures`, by semihosting. `.ci/qemu`
//! builds it for two processors and compares.

#![no_std]
#![no_main]
// The macros of the start-up code and of `singleton` allow themselves some.
#![deny(unsafe_code)]

mod board;
mod player;
#[path = "../../src/script.rs"]
#[allow(dead_code, reason = "the desktop uses more of it")]
mod script;

use core::fmt::Write as _;
use core::panic::PanicInfo;

use cortex_m_semihosting::debug::{self, EXIT_FAILURE, EXIT_SUCCESS};
use cortex_m_semihosting::hio;
use turntally_firmware::store::Layout;

use crate::board::FLASH_BYTES;
use crate::player::Player;

/// Each script with its name.
const SCRIPTS: &[(&str, &str)] = &include!(concat!(env!("OUT_DIR"), "/scripts.rs"));

#[cortex_m_rt::entry]
fn main() -> ! {
    let status = match play() {
        Ok(()) => EXIT_SUCCESS,
        Err(_) => EXIT_FAILURE,
    };
    loop {
        debug::exit(status);
    }
}

fn play() -> core::fmt::Result {
    let mut out = hio::hstdout().map_err(|()| core::fmt::Error)?;
    let Some(cells) = cortex_m::singleton!(: [u8; FLASH_BYTES] = [0; FLASH_BYTES]) else {
        return Err(core::fmt::Error);
    };
    for (name, script) in SCRIPTS {
        writeln!(out, "script {name}")?;
        cells.fill(0xff);
        let lines = board::Lines::new();
        let screen = board::Screen::new();
        let mut player = Player::start(&lines, &screen, cells, &mut out);
        for act in script::acts(script) {
            match act {
                Ok(act) => player.act(act)?,
                Err(line) => return writeln!(out, "no act: {line}").and(Err(core::fmt::Error)),
            }
        }
    }
    writeln!(out, "end")
}

#[panic_handler]
fn panic(info: &PanicInfo) -> ! {
    if let Ok(mut out) = hio::hstdout() {
        // There is nowhere else to report it.
        _ = writeln!(out, "{info}");
    }
    loop {
        debug::exit(EXIT_FAILURE);
    }
}

const _: () = assert!(FLASH_BYTES as u32 == Layout::PICO.log_end - Layout::PICO.records);
