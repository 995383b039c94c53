//! The end of a USB bus reset on early chips: the way round erratum RP2040-E5.
//!
//! After a reset the controller wants to see the bus idle (line state J) for 0.8 ms before it takes part. A hub that
//! passes on packets for other devices never leaves the bus idle so long: the controller stays in reset, and the
//! computer finds no device. The workaround is the one of the erratum, as the vendor's SDK has it
//! (`rp2040_usb_device_enumeration.c`): once the reset is over, the controller is connected for 1 ms to the digital
//! pads in place of the USB pins, and is shown J there. Its D+ is then GPIO15, whose input is overridden with high and
//! whose output is off; D- is GPIO16, which is low to it since that pin is not given to the controller. The pull-up
//! that shows the device to the computer stays on meanwhile. Both pins are free (`pins`), and GPIO15 gets its settings
//! back.

use core::cell::RefCell;

use embassy_rp::pac::io::regs::GpioCtrl;
use embassy_rp::pac::io::vals::{Inover, Oeover};
use embassy_rp::pac::pads::regs::GpioCtrl as Pad;
use embassy_rp::pac::{IO_BANK0, PADS_BANK0, SYSINFO, USB as CONTROLLER};
use embassy_sync::blocking_mutex::Mutex;
use embassy_sync::blocking_mutex::raw::CriticalSectionRawMutex;
use embassy_sync::signal::Signal;
use embassy_time::Timer;

/// The pin that the controller takes for D+ when it is connected to the digital pads.
const D_PLUS: usize = 15;
/// The function of that pin which connects it to the USB controller.
const TO_USB: u8 = 8;
/// The chip's revision that has the erratum: B0 and B1 have this number, B2 has the next.
const WITH_ERRATUM: u8 = 1;
/// Both lines low: a reset.
const SE0: u8 = 0;
/// So often J is shown at most. Once is enough unless the flash comes between.
const TRIES: usize = 3;

/// A bus reset has been noticed.
static BEGUN: Signal<CriticalSectionRawMutex, ()> = Signal::new();
/// The settings that the pin had, while J is shown.
static BORROWED: Mutex<CriticalSectionRawMutex, RefCell<Option<(GpioCtrl, Pad)>>> =
    Mutex::new(RefCell::new(None));

/// Whether this chip has the erratum.
pub fn is_needed() -> bool {
    SYSINFO.chip_id().read().revision() == WITH_ERRATUM
}

/// To be called at each bus reset.
pub fn begun() {
    BEGUN.signal(());
}

/// Lets the controller out of each bus reset, for ever.
#[embassy_executor::task]
pub async fn help() -> ! {
    loop {
        BEGUN.wait().await;
        let status = CONTROLLER.sie_status().read();
        if status.line_state() != SE0 && status.connected() {
            // Noticed late: the reset is over, the controller came out of it by itself, and the computer may be
            // sending requests.
            continue;
        }
        for _ in 0..TRIES {
            while CONTROLLER.sie_status().read().line_state() == SE0 {
                Timer::after_millis(1).await;
            }
            show_idle();
            Timer::after_millis(1).await;
            give_back();
            if CONTROLLER.sie_status().read().connected() {
                break;
            }
        }
    }
}

/// Shows the controller an idle bus in place of the real one.
fn show_idle() {
    BORROWED.lock(|borrowed| {
        let (pin, pad) = (IO_BANK0.gpio(D_PLUS).ctrl(), PADS_BANK0.gpio(D_PLUS));
        if let Ok(mut borrowed) = borrowed.try_borrow_mut() {
            *borrowed = Some((pin.read(), pad.read()));
        }
        // Nothing is driven: the level outside stays, whatever it is.
        pad.modify(|it| {
            it.set_pue(true);
            it.set_pde(true);
        });
        pin.modify(|it| it.set_oeover(Oeover::DISABLE));
        pin.modify(|it| it.set_funcsel(TO_USB));
        pin.modify(|it| it.set_inover(Inover::HIGH));
        // The computer must not see the device go.
        CONTROLLER.usbphy_direct().write(|it| it.set_dp_pullup_en(true));
        CONTROLLER.usbphy_direct_override().write(|it| it.set_dp_pullup_en_override_en(true));
        CONTROLLER.usb_muxing().write(|it| {
            it.set_to_digital_pad(true);
            it.set_softcon(true);
        });
    });
}

/// Connects the controller to the bus again, if it was not. It does not listen to the bus until then: to be called before
/// anything that keeps the processor for long.
pub fn give_back() {
    BORROWED.lock(|borrowed| {
        let Some((control, pad)) = borrowed.try_borrow_mut().ok().and_then(|mut it| it.take()) else {
            return;
        };
        CONTROLLER.usb_muxing().write(|it| {
            it.set_to_phy(true);
            it.set_softcon(true);
        });
        CONTROLLER.usbphy_direct_override().write(|_| ());
        IO_BANK0.gpio(D_PLUS).ctrl().write_value(control);
        PADS_BANK0.gpio(D_PLUS).write_value(pad);
    });
}
