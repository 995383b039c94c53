//! The USB port: a serial port of class CDC-ACM, for which every computer has a driver, and the link on it.
//!
//! The driver of the chip's controller is embassy-rp's. What a computer asks any device before it talks to the
//! port is answered here, from tables: embassy-usb, which builds all kinds of devices, takes 13 KB of flash.
//! Numbers are those of "Universal Serial Bus Specification" 2.0, chapter 9, and of its "Class Definitions for
//! Communications Devices" 1.2 with the subclass for PSTN devices (from memory).

use embassy_executor::SendSpawner;
use embassy_futures::select::{Either, select};
use embassy_rp::interrupt;
use embassy_rp::interrupt::{InterruptExt, Priority};
use embassy_rp::pac::USB_DPRAM;
use embassy_rp::peripherals::USB;
use embassy_rp::usb::{Bus, ControlPipe, Driver, Endpoint, In, InterruptHandler, Out};
use embassy_rp::{Peri, bind_interrupts};
use embassy_time::{Duration, Timer};
use embassy_usb_driver::{
    Bus as _, ControlPipe as _, Driver as _, Endpoint as _, EndpointError, EndpointIn as _, EndpointOut as _,
    EndpointType, Event,
};
use embedded_io_async::{ErrorType, Write};

use crate::link::{self, Talk};

bind_interrupts!(struct Irqs {
    USBCTRL_IRQ => InterruptHandler<USB>;
});

/// The most bytes of a packet.
const PACKET: u8 = 64;
/// The address of the endpoint for notifications to the computer.
const TELL: u8 = 0x81;
/// Of the one that would notify it of a ringing telephone.
const NOTIFY: u8 = 0x82;
/// Of the one that hears it.
const HEAR: u8 = 0x01;

const DEVICE_DESCRIPTOR: [u8; 18] = [
    18, 1, 0x00, 0x02, // USB 2.0
    2, 2, 0, PACKET, // communications, abstract control model
    0x09, 0x12, 0x01, 0x00, 0x00, 0x01, // 1209:0001, which pid.codes gives to prototypes; release 1.0
    0, 0, 0, 1, // no names; one configuration
];

#[rustfmt::skip]
const CONFIGURATION_DESCRIPTOR: [u8; 62] = [
    9, 2, 62, 0, 2, 1, 0, 0x80, 100, // two interfaces; powered by the bus with at most 200 mA
    9, 4, 0, 0, 1, 2, 2, 0, 0, // interface 0: communications, abstract control model, no commands
    5, 0x24, 0, 0x10, 0x01, // by CDC 1.10
    4, 0x24, 2, 2, // has a line coding and line states
    5, 0x24, 6, 0, 1, // its data is on interface 1
    7, 5, NOTIFY, 3, 8, 0, 255,
    9, 4, 1, 0, 2, 10, 0, 0, 0, // interface 1: data
    7, 5, HEAR, 2, PACKET, 0, 0,
    7, 5, TELL, 2, PACKET, 0, 0,
];

/// 115,200 baud, 8N1. Here it means nothing, but a computer that has set it wants to read it again.
const LINE_CODING: [u8; 7] = [0x00, 0xc2, 0x01, 0x00, 0, 0, 8];

/// From one packet to the next that is looked at.
const BREATH: Duration = Duration::from_millis(1);

/// Switches the port on, and has it served below the tick: nothing that comes over the cable delays that. A
/// computer wants its requests of the device answered within 2 ms; drawing a picture takes longer, so they are
/// above that.
pub fn start(usb: Peri<'static, USB>, prompt: SendSpawner, slow: SendSpawner) {
    let mut driver = Driver::new(usb, Irqs);
    interrupt::USBCTRL_IRQ.set_priority(Priority::P2);
    let tell = driver.alloc_endpoint_in(EndpointType::Bulk, Some(TELL.into()), PACKET.into(), 0);
    let notify = driver.alloc_endpoint_in(EndpointType::Interrupt, Some(NOTIFY.into()), 8, 255);
    let hear = driver.alloc_endpoint_out(EndpointType::Bulk, Some(HEAR.into()), PACKET.into(), 0);
    // There is room for all of them, and each task has its own place.
    let (Ok(tell), Ok(_), Ok(hear)) = (tell, notify, hear) else { return };
    let (bus, control) = driver.start(PACKET.into());
    if let Ok(task) = be_a_device(bus, control) {
        prompt.spawn(task);
    }
    if let Ok(task) = talk(hear, Teller(tell)) {
        slow.spawn(task);
    }
}

/// Listens and answers, for ever.
#[embassy_executor::task]
async fn talk(mut hear: Endpoint<'static, USB, Out>, mut tell: Teller) {
    let mut talk = Talk::at(&link::USB);
    let mut packet = [0; PACKET as usize];
    hear.wait_enabled().await;
    loop {
        if let Ok(count) = hear.read(&mut packet).await {
            talk.hear(packet.get(..count).unwrap_or_default(), &mut tell).await;
        }
        // A packet holds few questions and comes in a twentieth of this: a computer that sends rubbish as fast as the
        // cable takes it leaves time for the flash.
        Timer::after(BREATH).await;
    }
}

/// Does what the computer asks of the device, for ever.
#[embassy_executor::task]
async fn be_a_device(mut bus: Bus<'static, USB>, mut control: ControlPipe<'static, USB>) {
    let mut device = Device { configuration: 0, line_coding: LINE_CODING };
    let mut agreed = false;
    loop {
        let reset = async { while bus.poll().await != Event::Reset {} };
        // A reset ends every transfer: a cable can be pulled in the middle of one.
        match select(reset, device.converse(&mut control, agreed)).await {
            Either::First(()) => {
                // An answer that was ready must not be sent as the next one.
                USB_DPRAM.ep_in_buffer_control(0).write(|_| ());
                device.configuration = 0;
                agreed = false;
            }
            Either::Second(anew) => {
                for &endpoint in anew.endpoints() {
                    bus.endpoint_set_enabled(endpoint.into(), device.configuration != 0);
                }
                agreed = true;
            }
        }
    }
}

/// What the computer has set.
struct Device {
    configuration: u8,
    line_coding: [u8; 7],
}

/// Endpoints that are to begin anew.
enum Anew {
    All,
    One(u8),
}

impl Anew {
    fn endpoints(&self) -> &[u8] {
        match self {
            Self::All => &[TELL, NOTIFY, HEAR],
            Self::One(endpoint) => core::slice::from_ref(endpoint),
        }
    }
}

impl Device {
    /// Answers what the computer asks until endpoints are to begin anew; to be called again with `agreed`
    /// once they have.
    async fn converse(&mut self, control: &mut ControlPipe<'static, USB>, agreed: bool) -> Anew {
        if agreed {
            control.accept().await;
        }
        loop {
            let [kind, request, value, value_high, index, _, length, length_high] = control.setup().await;
            let length = usize::from(u16::from_le_bytes([length, length_high]));
            let answer: Option<&[u8]> = match (kind, request, value_high) {
                (0x80, 6, 1) => Some(&DEVICE_DESCRIPTOR),
                (0x80, 6, 2) => Some(&CONFIGURATION_DESCRIPTOR),
                // The status: powered by the bus, nothing stalled.
                (0x80..=0x82, 0, _) => Some(&[0, 0]),
                (0x80, 8, _) => Some(core::slice::from_ref(&self.configuration)),
                // An interface has but one form.
                (0x81, 10, _) => Some(&[0]),
                (0xa1, 0x21, _) => Some(&self.line_coding),
                (0x00, 5, _) => {
                    control.accept_set_address(value).await;
                    continue;
                }
                (0x00, 9, _) if value <= 1 => {
                    self.configuration = value;
                    return Anew::All;
                }
                // No longer stalled.
                (0x02, 1, _) if [TELL, NOTIFY, HEAR].contains(&index) => return Anew::One(index),
                (0x21, 0x20, _) if length == self.line_coding.len() => {
                    match control.data_out(&mut self.line_coding, true, true).await {
                        Ok(_) => control.accept().await,
                        Err(_) => control.reject().await,
                    }
                    continue;
                }
                // The setting of an interface; whether a program listens.
                (0x01, 11, _) | (0x21, 0x22, _) => {
                    control.accept().await;
                    continue;
                }
                _ => None,
            };
            match answer {
                // Any of them is one packet.
                Some(answer) => _ = control.data_in(answer.get(..length).unwrap_or(answer), true, true).await,
                None => control.reject().await,
            }
        }
    }
}

/// Notifications to the computer.
struct Teller(Endpoint<'static, USB, In>);

impl ErrorType for Teller {
    type Error = EndpointError;
}

impl Write for Teller {
    async fn write(&mut self, bytes: &[u8]) -> Result<usize, EndpointError> {
        // Less than a whole packet: after one, the computer would wait for more.
        let piece = bytes.get(..usize::from(PACKET) - 1).unwrap_or(bytes);
        self.0.write(piece).await?;
        Ok(piece.len())
    }

    async fn flush(&mut self) -> Result<(), EndpointError> {
        Ok(())
    }
}
