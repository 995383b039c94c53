//! The USB port: a serial port of class CDC-ACM, for which every computer has a driver, and the link on it.
//!
//! What a computer asks of the device is answered in interrupts, by [`turntally_firmware::usb_control`]; the
//! endpoints that carry the link are those of embassy-rp's driver. Its control endpoint, and embassy-usb's above it,
//! wait for the end of a request that the computer has given up, and answer the next one with what was ready for
//! that.
//!
//! A request comes in two steps. The controller's interrupt is above everything, and only takes back what was armed
//! for the request before: the controller would send it as the answer to this one, and nothing else prevents that
//! (`ABORT` does not work on early chips, erratum RP2040-E2). It masks itself, so that a computer cannot keep the
//! tick waiting. The answer is made in an interrupt below the tick. What is left: where the program keeps interrupts off,
//! at most 35 us, a computer that gives a request up, sends the next and fetches its answer within that gets the
//! old one.

use core::cell::RefCell;

use embassy_executor::SendSpawner;
use embassy_rp::interrupt;
use embassy_rp::interrupt::typelevel::{Handler, USBCTRL_IRQ};
use embassy_rp::interrupt::{InterruptExt, Priority};
use embassy_rp::pac::{RESETS, USB as CONTROLLER, USB_DPRAM};
use embassy_rp::peripherals::USB;
use embassy_rp::usb::{Bus, Driver, Endpoint, In, InterruptHandler, Out};
use embassy_rp::{Peri, bind_interrupts};
use embassy_sync::blocking_mutex::Mutex;
use embassy_sync::blocking_mutex::raw::CriticalSectionRawMutex;
use embassy_time::{Duration, Timer};
use embassy_usb_driver::{
    Bus as _, Driver as _, Endpoint as _, EndpointError, EndpointIn as _, EndpointOut as _, EndpointType,
};
use embedded_io_async::{ErrorType, Write};
use portable_atomic::{AtomicBool, Ordering};
use turntally_firmware::usb_control::{Change, Control, NOTIFY, Next, PACKET, RECEIVE, SEND};

#[cfg(feature = "pico")]
use crate::bus_reset;
use crate::link::{self, Talk};

bind_interrupts!(struct Irqs {
    USBCTRL_IRQ => TakeBack, InterruptHandler<USB>;
});

/// From one packet to the next that is looked at.
const BREATH: Duration = Duration::from_millis(1);
/// From one look at the controller to the next.
const LOOK: Duration = Duration::from_millis(5);
/// So many looks in which the bus does not move, though it neither sleeps nor is being reset, show a controller that
/// hangs. One that works reports either within 3 ms.
const HUNG: u32 = 3;
/// How long the device is gone from the bus, so that a computer sees it go.
const GONE: Duration = Duration::from_millis(100);
/// The most bytes of a packet to the computer. Erratum RP2040-E15 hangs the controller in packets of more than 50
/// bytes (as public code has it; the data sheet was not at hand).
const PIECE: usize = 48;
/// Where the control endpoint's packets lie in the controller's memory.
const CONTROL_BUFFER: usize = 0x100;

/// The control endpoint, as long as there is a port.
static PORT: Mutex<CriticalSectionRawMutex, RefCell<Option<Port>>> = Mutex::new(RefCell::new(None));
/// The control endpoint has sent a packet.
static SENT: AtomicBool = AtomicBool::new(false);
/// It has received one.
static RECEIVED: AtomicBool = AtomicBool::new(false);

/// The controller's interrupt: see above.
struct TakeBack;

impl Handler<USBCTRL_IRQ> for TakeBack {
    unsafe fn on_interrupt() {
        let why = CONTROLLER.ints().read();
        if why.buff_status() {
            // The driver's own handler, which comes next, clears them.
            let done = CONTROLLER.buff_status().read();
            SENT.store(SENT.load(Ordering::Relaxed) || done.ep_in(0), Ordering::Relaxed);
            RECEIVED.store(RECEIVED.load(Ordering::Relaxed) || done.ep_out(0), Ordering::Relaxed);
        }
        if why.setup_req() || why.bus_reset() {
            disarm();
            CONTROLLER.inte().modify(|enabled| {
                enabled.set_setup_req(false);
                enabled.set_bus_reset(false);
            });
        }
        interrupt::SWI_IRQ_4.pend();
    }
}

/// Answers, below the tick.
#[interrupt]
unsafe fn SWI_IRQ_4() {
    PORT.lock(|port| {
        if let Ok(mut port) = port.try_borrow_mut()
            && let Some(port) = port.as_mut()
        {
            port.serve();
        }
    });
}

/// Nothing is to go out on the control endpoint, and nothing is expected.
fn disarm() {
    USB_DPRAM.ep_in_buffer_control(0).write(|_| ());
    USB_DPRAM.ep_out_buffer_control(0).write(|_| ());
}

/// Does what keeps all interrupts waiting, with nothing going over the control endpoint meanwhile.
pub fn silently<R>(act: impl FnOnce() -> R) -> R {
    critical_section::with(|_| {
        let (input, output) = (USB_DPRAM.ep_in_buffer_control(0), USB_DPRAM.ep_out_buffer_control(0));
        #[cfg(feature = "pico")]
        bus_reset::give_back();
        let armed = (input.read(), output.read());
        for (side, ready) in [(input, armed.0), (output, armed.1)] {
            if ready.available(0) {
                side.modify(|it| it.set_available(0, false));
            }
        }
        let result = act();
        if !given_up() {
            // The controller may have been at one of them.
            let done = CONTROLLER.buff_status().read();
            for (side, ready, done) in [(input, armed.0, done.ep_in(0)), (output, armed.1, done.ep_out(0))] {
                if ready.available(0) && !done {
                    side.write_value(ready);
                }
            }
        }
        result
    })
}

/// Whether the computer has begun something new: it must not get the answer to what was before.
fn given_up() -> bool {
    let status = CONTROLLER.sie_status().read();
    status.setup_rec() || status.bus_reset()
}

/// The control endpoint, and the switches of the others.
struct Port {
    control: Control,
    bus: Bus<'static, USB>,
}

impl Port {
    /// Does what there is to be done; nothing interrupts it.
    fn serve(&mut self) {
        let sent = SENT.load(Ordering::Relaxed);
        let received = RECEIVED.load(Ordering::Relaxed);
        SENT.store(false, Ordering::Relaxed);
        RECEIVED.store(false, Ordering::Relaxed);
        if CONTROLLER.sie_status().read().bus_reset() {
            disarm();
            CONTROLLER.sie_status().write(|status| status.set_bus_reset(true));
            #[cfg(feature = "pico")]
            bus_reset::begun();
            CONTROLLER.addr_endp().write(|address| address.set_address(0));
            self.control.reset();
            self.change(Some(Change::Endpoints { on: false }));
        } else if sent {
            let change = self.control.sent();
            self.change(change);
        }
        // After a reset as well: both may have come while the flash was being erased.
        if CONTROLLER.sie_status().read().setup_rec() {
            self.setup();
        } else if received {
            let mut packet = [0; PACKET as usize];
            let length = usize::from(USB_DPRAM.ep_out_buffer_control(0).read().length(0));
            let packet = packet.get_mut(..length).unwrap_or_default();
            copy_from(CONTROL_BUFFER, packet);
            arm(&self.control.received(packet));
        }
        CONTROLLER.inte().modify(|enabled| {
            enabled.set_setup_req(true);
            enabled.set_bus_reset(true);
        });
    }

    /// Takes the request that stands in the controller's memory.
    fn setup(&mut self) {
        disarm();
        let mut request = [0; 8];
        // Another one may come while it is read: then that one counts.
        while CONTROLLER.sie_status().read().setup_rec() {
            CONTROLLER.sie_status().write(|status| status.set_setup_rec(true));
            copy_from(0, &mut request);
        }
        let (next, change) = self.control.setup(request);
        if change.is_none() {
            arm(&next);
        } else {
            // What a request changes is there before the computer knows that it was accepted.
            self.change(change);
            arm(&Next::Accept);
        }
    }

    fn change(&mut self, change: Option<Change>) {
        let on = self.control.is_configured();
        match change {
            None => {}
            Some(Change::Address(address)) => CONTROLLER.addr_endp().write(|it| it.set_address(address)),
            Some(Change::Endpoint(endpoint)) => self.bus.endpoint_set_enabled(endpoint.into(), on),
            Some(Change::Endpoints { on }) => {
                for endpoint in [SEND, NOTIFY, RECEIVE] {
                    self.bus.endpoint_set_enabled(endpoint.into(), on);
                }
            }
        }
    }
}

/// Lets the controller do what is next on the control endpoint.
fn arm(next: &Next<'_>) {
    let (input, output) = (USB_DPRAM.ep_in_buffer_control(0), USB_DPRAM.ep_out_buffer_control(0));
    let send = |bytes: &[u8]| {
        copy_to(CONTROL_BUFFER, bytes);
        // The controller wants "available" set some time after all the rest (data sheet, from memory).
        for available in [false, true] {
            if given_up() {
                return;
            }
            input.write(|it| {
                it.set_length(0, bytes.len() as u16);
                it.set_pid(0, true);
                it.set_full(0, true);
                it.set_available(0, available);
            });
            cortex_m::asm::delay(12);
        }
    };
    let receive = |length| {
        for available in [false, true] {
            if given_up() {
                return;
            }
            output.write(|it| {
                it.set_length(0, length);
                it.set_pid(0, true);
                it.set_available(0, available);
            });
            cortex_m::asm::delay(12);
        }
    };
    match next {
        Next::Wait => {}
        Next::Send(bytes) => {
            // The empty packet that ends it may come before all was taken.
            receive(0);
            send(bytes);
        }
        Next::Receive => receive(PACKET.into()),
        Next::Accept => send(&[]),
        Next::Refuse => {
            CONTROLLER.ep_stall_arm().write(|arm| {
                arm.set_ep0_in(true);
                arm.set_ep0_out(true);
            });
            output.write(|it| it.set_stall(true));
            input.write(|it| it.set_stall(true));
        }
    }
}

/// Copies from the controller's memory.
fn copy_from(offset: usize, bytes: &mut [u8]) {
    // SAFETY: both places that it is called with lie, with a packet's length, within the controller's 4 KB, and no
    // reference to them exists.
    let memory = unsafe { USB_DPRAM.as_ptr().cast::<u8>().add(offset) };
    for (at, byte) in bytes.iter_mut().enumerate() {
        // SAFETY: as above.
        *byte = unsafe { memory.add(at).read_volatile() };
    }
}

/// Copies to the controller's memory.
fn copy_to(offset: usize, bytes: &[u8]) {
    // SAFETY: as above.
    let memory = unsafe { USB_DPRAM.as_ptr().cast::<u8>().add(offset) };
    for (at, &byte) in bytes.iter().enumerate() {
        // SAFETY: as above.
        unsafe { memory.add(at).write_volatile(byte) };
    }
}

/// Switches the port on, and has it served below the tick: nothing that comes over the cable delays that.
pub fn start(usb: Peri<'static, USB>, id: u64, prompt: SendSpawner, slow: SendSpawner) {
    interrupt::USBCTRL_IRQ.set_priority(Priority::P0);
    interrupt::SWI_IRQ_4.set_priority(Priority::P2);
    // SAFETY: its handler is there, and finds nothing to do as long as there is no port.
    unsafe { interrupt::SWI_IRQ_4.enable() };
    let Some((send, receive)) = switch_on(usb, Control::new(id)) else { return };
    #[cfg(feature = "pico")]
    if bus_reset::is_needed()
        && let Ok(task) = bus_reset::help()
    {
        prompt.spawn(task);
    }
    if let Ok(task) = watch(id) {
        prompt.spawn(task);
    }
    if let Ok(task) = talk(receive, Sender(send)) {
        slow.spawn(task);
    }
}

/// Sets the controller up and shows the device on the bus.
fn switch_on(
    usb: Peri<'static, USB>,
    control: Control,
) -> Option<(Endpoint<'static, USB, In>, Endpoint<'static, USB, Out>)> {
    let mut driver = Driver::new(usb, Irqs);
    let send = driver.alloc_endpoint_in(EndpointType::Bulk, Some(SEND.into()), PACKET.into(), 0);
    let notify = driver.alloc_endpoint_in(EndpointType::Interrupt, Some(NOTIFY.into()), 8, 255);
    let receive = driver.alloc_endpoint_out(EndpointType::Bulk, Some(RECEIVE.into()), PACKET.into(), 0);
    // There is room for all of them.
    let (Ok(send), Ok(_), Ok(receive)) = (send, notify, receive) else { return None };
    PORT.lock(|port| {
        let (bus, _) = driver.start(PACKET.into());
        // Suspending and going on need nothing done.
        CONTROLLER.inte().modify(|enabled| {
            enabled.set_dev_suspend(false);
            enabled.set_dev_resume_from_host(false);
        });
        if let Ok(mut port) = port.try_borrow_mut() {
            *port = Some(Port { control, bus });
        }
    });
    Some((send, receive))
}

/// Watches that the controller works, for ever. Bus errors can hang the one of the RP2040 (erratum RP2040-E15) until
/// it is reset: it is then initialised anew, and the computer finds a device that was plugged in.
#[embassy_executor::task]
async fn watch(id: u64) -> ! {
    let (mut frame, mut still, mut woke) = (0, 0, false);
    loop {
        Timer::after(LOOK).await;
        let now = CONTROLLER.sof_rd().read().count();
        let sleeps = CONTROLLER.sie_status().read().suspended();
        if now != frame {
            (frame, still) = (now, 0);
            // It may have fallen asleep since the last look: what moved in the next one as well is awake.
            if sleeps && woke {
                CONTROLLER.sie_status().write(|status| status.set_suspended(true));
            }
            woke = sleeps;
            continue;
        }
        woke = false;
        // Before it has an address there is nothing to be seen: a charger has no frames.
        still = if sleeps || CONTROLLER.addr_endp().read().address() == 0 { 0 } else { still + 1 };
        if still < HUNG {
            continue;
        }
        still = 0;
        PORT.lock(|port| {
            if let Ok(mut port) = port.try_borrow_mut() {
                *port = None;
            }
            RESETS.reset().modify(|reset| reset.set_usbctrl(true));
            RESETS.reset().modify(|reset| reset.set_usbctrl(false));
        });
        Timer::after(GONE).await;
        // SAFETY: whoever had it is gone with the port. The endpoints that the link goes on with are the same ones:
        // they lie at the same places again.
        let usb = unsafe { USB::steal() };
        _ = switch_on(usb, Control::new(id));
    }
}

/// Listens and answers, for ever.
#[embassy_executor::task]
async fn talk(mut receive: Endpoint<'static, USB, Out>, mut sender: Sender) {
    let mut talk = Talk::at(&link::USB);
    let mut packet = [0; PACKET as usize];
    receive.wait_enabled().await;
    loop {
        if let Ok(count) = receive.read(&mut packet).await {
            talk.hear(packet.get(..count).unwrap_or_default(), &mut sender).await;
        }
        // A packet holds few questions and comes in a twentieth of this: a computer that sends rubbish as fast as the
        // cable takes it leaves time for the flash.
        Timer::after(BREATH).await;
    }
}

/// What goes to the computer.
struct Sender(Endpoint<'static, USB, In>);

impl ErrorType for Sender {
    type Error = EndpointError;
}

impl Write for Sender {
    async fn write(&mut self, bytes: &[u8]) -> Result<usize, EndpointError> {
        // Less than a whole packet: after one, the computer would wait for more.
        let piece = bytes.get(..PIECE).unwrap_or(bytes);
        self.0.write(piece).await?;
        Ok(piece.len())
    }

    async fn flush(&mut self) -> Result<(), EndpointError> {
        Ok(())
    }
}
