//! A reason for starting again that survives the start.
//!
//! Whatever goes so wrong that the program cannot go on (a panic, a processor fault) is written to
//! a place in RAM that nothing clears, and the chip is reset: the counter is back within a fraction
//! of a second and says what happened.

use core::cell::UnsafeCell;
use core::fmt::Write;
use core::mem::MaybeUninit;
use core::panic::{Location, PanicInfo};

use cortex_m_rt::{ExceptionFrame, exception};
use embassy_rp::peripherals::WATCHDOG;
use embassy_rp::watchdog::{ResetReason, Watchdog};
use heapless::String;
use turntally_firmware::notice::{LINE, Notice};

/// Says that a reason is there: any number that RAM does not come up with by itself.
const MARK: u32 = 0x7e11_c4a5;

/// Says in a scratch register, which a reset by the watchdog leaves alone, that the watchdog was started by this
/// program. The boot ROM ends the copying of a UF2 file with the watchdog too, so that a new program finds the same
/// reset reason as one that hung.
const OURS: u32 = 0x70_4e_7a_11;
/// The scratch register for it: the boot ROM sets this one to 0 or to a mark of its own before it uses the
/// watchdog (its published source, from memory), so that a mark of an earlier program does not survive there.
const OURS_AT: usize = 4;

#[repr(C)]
#[derive(Clone, Copy)]
struct Reason {
    mark: u32,
    length: u32,
    text: [u8; LINE + 3],
    sum: u32,
}

impl Reason {
    fn sum(&self) -> u32 {
        let bytes = self.text.iter().fold(self.length, |sum, &byte| sum.rotate_left(5) ^ u32::from(byte));
        bytes ^ self.mark
    }
}

struct CrashRecord(UnsafeCell<MaybeUninit<Reason>>);

// SAFETY: written only by `leave`, which no one else can interrupt because it ends in a reset with
// interrupts off, and read only by `take` while nothing else runs yet.
unsafe impl Sync for CrashRecord {}

/// Not cleared at the start.
#[unsafe(link_section = ".uninit.TURNTALLY_CRASH")]
static RECORD: CrashRecord = CrashRecord(UnsafeCell::new(MaybeUninit::uninit()));

/// Why the chip started, if it was not for having been switched on or given a new program: to be called once, before
/// the watchdog is started.
pub fn take(watchdog: &mut Watchdog) -> Option<Notice> {
    let ours = watchdog.get_scratch(OURS_AT) == OURS;
    watchdog.set_scratch(OURS_AT, OURS);
    let advice = ["What was saved of a coil", "is there in a moment."];
    // SAFETY: nothing else runs yet. Whatever the RAM holds are valid integers; a reason counts only
    // if mark and sum agree, and is cleared with the same stroke.
    let reason = unsafe {
        let place = RECORD.0.get().cast::<Reason>();
        let reason = place.read_volatile();
        place.cast::<u32>().write_volatile(0);
        reason
    };
    let text = reason.text.get(..reason.length as usize).and_then(|text| core::str::from_utf8(text).ok());
    match text {
        Some(text) if reason.mark == MARK && reason.sum == reason.sum() => {
            Some(Notice::new("Restarted", format_args!("{text}"), advice))
        }
        _ => match watchdog.reset_reason() {
            Some(ResetReason::TimedOut) if ours => {
                Some(Notice::new("Restarted", format_args!("It hung."), advice))
            }
            _ => None,
        },
    }
}

/// Leaves a reason and resets the chip.
fn leave(what: core::fmt::Arguments<'_>) -> ! {
    cortex_m::interrupt::disable();
    let mut text = String::<LINE>::new();
    // What does not fit is cut off.
    _ = text.write_fmt(what);
    let mut reason = Reason { mark: MARK, length: text.len() as u32, text: [0; LINE + 3], sum: 0 };
    for (place, &byte) in reason.text.iter_mut().zip(text.as_bytes()) {
        *place = byte;
    }
    reason.sum = reason.sum();
    // SAFETY: interrupts are off and this does not return: nothing else touches it. The watchdog is
    // taken from the task that had it, which will not run again.
    unsafe {
        RECORD.0.get().cast::<Reason>().write_volatile(reason);
        Watchdog::new(WATCHDOG::steal()).trigger_reset();
    }
    loop {
        cortex_m::asm::nop();
    }
}

// What is never read is not linked: inlined, the words of all panics and what formats them stay away.
#[panic_handler]
#[expect(unused_attributes, reason = "the compiler says that it ignores it, and does not: 1 KB")]
#[inline(always)]
fn panic(info: &PanicInfo<'_>) -> ! {
    panicked(info.location())
}

#[inline(never)]
fn panicked(place: Option<&Location<'_>>) -> ! {
    match place {
        // The end of a path says most: "/bench.rs:123".
        Some(place) => {
            let file = place.file();
            let slash = file.bytes().rposition(|byte| byte == b'/');
            let start = slash.map_or(0, |slash| slash + 1);
            leave(format_args!("{}:{}", file.get(start..).unwrap_or(file), place.line()))
        }
        None => leave(format_args!("panic")),
    }
}

/// A processor fault: an address that is none, a broken instruction.
#[exception]
unsafe fn HardFault(frame: &ExceptionFrame) -> ! {
    leave(format_args!("fault at 0x{:08x}", frame.pc()))
}
