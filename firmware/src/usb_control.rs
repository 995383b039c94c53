//! The control endpoint of the counter's USB port: what a computer asks of any device before it talks to the port.
//!
//! A state machine without hardware: a board passes in each request and each packet that went through, and does to its
//! controller what is returned. A computer may give up a request at any point and send the next one (some do so when
//! a port is closed): a request always begins anew here, whatever was begun before.
//!
//! Numbers are those of "Universal Serial Bus Specification" 2.0, chapter 9, and of its "Class Definitions for
//! Communications Devices" 1.2 with the subclass for PSTN devices (from memory).

/// The most bytes of a packet.
pub const PACKET: u8 = 64;
/// The address of the endpoint on which the counter sends.
pub const SEND: u8 = 0x81;
/// Of the one that would notify the computer of a ringing telephone.
pub const NOTIFY: u8 = 0x82;
/// Of the one on which it receives.
pub const RECEIVE: u8 = 0x01;

const DEVICE_DESCRIPTOR: [u8; 18] = [
    18, 1, 0x00, 0x02, // USB 2.0
    2, 2, 0, PACKET, // communications, abstract control model
    0x09, 0x12, 0x01, 0x00, 0x00, 0x01, // 1209:0001, which pid.codes gives to prototypes; release 1.0
    1, 2, 3, 1, // maker, product and serial number are strings 1 to 3; one configuration
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
    7, 5, RECEIVE, 2, PACKET, 0, 0,
    7, 5, SEND, 2, PACKET, 0, 0,
];

/// The strings are in English (United States).
const LANGUAGES: [u8; 4] = [4, 3, 0x09, 0x04];
const MAKER: &str = "Turntally";
const PRODUCT: &str = "Turntally turns counter";

/// 115,200 baud, 8N1. Here it means nothing, but a computer that has set it wants to read it again.
const LINE_CODING: [u8; 7] = [0x00, 0xc2, 0x01, 0x00, 0, 0, 8];

/// What the endpoint is to do. Each packet is a DATA1.
#[derive(Debug, PartialEq, Eq)]
pub enum Next<'a> {
    /// Wait for the next request.
    Wait,
    /// Send this packet, and take the empty one that ends the request.
    Send(&'a [u8]),
    /// Take a packet.
    Receive,
    /// Send an empty packet, which ends the request.
    Accept,
    /// Refuse the request.
    Refuse,
}

/// What changes for the rest of the port.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Change {
    /// It answers to this address from now on.
    Address(u8),
    /// All endpoints begin anew, or are switched off.
    Endpoints {
        /// They are on.
        on: bool,
    },
    /// This one begins anew.
    Endpoint(u8),
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Stage {
    /// Nothing more is to come of the request.
    Over,
    /// The line coding is to come.
    LineCoding,
    /// The address is taken once the computer knows that it was accepted.
    Address(u8),
}

/// What a computer has set, and where its request is.
#[derive(Debug)]
pub struct Control {
    serial: [u8; 16],
    configuration: u8,
    line_coding: [u8; 7],
    stage: Stage,
    /// The string that is being sent.
    string: [u8; STRING_BYTES],
}

/// The longest string: with its head it fits into a packet and does not fill it.
const MAX_STRING: usize = 30;
const STRING_BYTES: usize = 2 + 2 * MAX_STRING;

impl Control {
    /// Before a computer has found it. Its serial number is this one.
    #[must_use]
    pub fn new(id: u64) -> Self {
        let mut serial = [0; 16];
        for (place, shift) in serial.iter_mut().zip((0..64).step_by(4).rev()) {
            let digit = (id >> shift & 15) as u8;
            *place = if digit < 10 { b'0' + digit } else { b'A' + digit - 10 };
        }
        Self {
            serial,
            configuration: 0,
            line_coding: LINE_CODING,
            stage: Stage::Over,
            string: [0; STRING_BYTES],
        }
    }

    /// The bus was reset: no address and no configuration. The line coding stays, which means nothing.
    pub const fn reset(&mut self) {
        self.configuration = 0;
        self.stage = Stage::Over;
    }

    /// Whether the endpoints are on.
    #[must_use]
    pub const fn is_configured(&self) -> bool {
        self.configuration != 0
    }

    /// A request came, whatever was begun before.
    pub fn setup(&mut self, request: [u8; 8]) -> (Next<'_>, Option<Change>) {
        let [kind, request, value, value_high, index, _, length, length_high] = request;
        let length = usize::from(u16::from_le_bytes([length, length_high]));
        self.stage = Stage::Over;
        let answer: &[u8] = match (kind, request, value_high) {
            (0x80, 6, 1) => &DEVICE_DESCRIPTOR,
            (0x80, 6, 2) => &CONFIGURATION_DESCRIPTOR,
            (0x80, 6, 3) => match value {
                0 => &LANGUAGES,
                1 => self.string_of(MAKER.as_bytes()),
                2 => self.string_of(PRODUCT.as_bytes()),
                3 => {
                    let serial = self.serial;
                    self.string_of(&serial)
                }
                _ => return (Next::Refuse, None),
            },
            // The status: powered by the bus, nothing stalled.
            (0x80..=0x82, 0, _) => &[0, 0],
            (0x80, 8, _) => core::slice::from_ref(&self.configuration),
            // An interface has but one form.
            (0x81, 10, _) => &[0],
            (0xa1, 0x21, _) => &self.line_coding,
            (0x00, 5, _) => {
                self.stage = Stage::Address(value);
                return (Next::Accept, None);
            }
            (0x00, 9, _) if value <= 1 => {
                self.configuration = value;
                return (Next::Accept, Some(Change::Endpoints { on: value != 0 }));
            }
            // No longer stalled.
            (0x02, 1, _) if [SEND, NOTIFY, RECEIVE].contains(&index) => {
                return (Next::Accept, Some(Change::Endpoint(index)));
            }
            (0x21, 0x20, _) if length == self.line_coding.len() => {
                self.stage = Stage::LineCoding;
                return (Next::Receive, None);
            }
            // The setting of an interface; whether a program listens.
            (0x01, 11, _) | (0x21, 0x22, _) => return (Next::Accept, None),
            _ => return (Next::Refuse, None),
        };
        (Next::Send(answer.get(..length).unwrap_or(answer)), None)
    }

    /// The computer has taken the packet that was sent last for this request.
    pub const fn sent(&mut self) -> Option<Change> {
        match self.stage {
            Stage::Address(address) => {
                self.stage = Stage::Over;
                Some(Change::Address(address))
            }
            Stage::Over | Stage::LineCoding => None,
        }
    }

    /// A packet came for this request.
    pub fn received(&mut self, packet: &[u8]) -> Next<'_> {
        if self.stage != Stage::LineCoding {
            // The empty packet that ends a request.
            return Next::Wait;
        }
        self.stage = Stage::Over;
        match packet.try_into() {
            Ok(line_coding) => {
                self.line_coding = line_coding;
                Next::Accept
            }
            Err(_) => Next::Refuse,
        }
    }

    /// These letters as a string descriptor.
    fn string_of(&mut self, text: &[u8]) -> &[u8] {
        let text = text.get(..MAX_STRING).unwrap_or(text);
        let length = 2 + 2 * text.len();
        self.string = [0; STRING_BYTES];
        (self.string[0], self.string[1]) = (length as u8, 3);
        for (place, &letter) in self.string.iter_mut().skip(2).step_by(2).zip(text) {
            *place = letter;
        }
        self.string.get(..length).unwrap_or_default()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const ADDRESS: [u8; 8] = [0x00, 5, 7, 0, 0, 0, 0, 0];
    const SET_LINE_CODING: [u8; 8] = [0x21, 0x20, 0, 0, 0, 0, 7, 0];
    const GET_LINE_CODING: [u8; 8] = [0xa1, 0x21, 0, 0, 0, 0, 7, 0];

    fn descriptor(kind: u8, index: u8, length: u8) -> [u8; 8] {
        [0x80, 6, index, kind, 0x09, 0x04, length, 0]
    }

    /// Whatever was begun and given up, a request is answered as on a fresh device.
    #[test]
    fn a_request_that_was_given_up_leaves_nothing_behind() {
        let requests = [
            ADDRESS,
            SET_LINE_CODING,
            GET_LINE_CODING,
            descriptor(1, 0, 18),
            descriptor(2, 0, 9),
            descriptor(3, 3, 255),
            [0x00, 9, 1, 0, 0, 0, 0, 0],
            [0x40, 99, 0, 0, 0, 0, 0, 0],
        ];
        for begun in requests {
            for next in requests {
                let (mut control, mut fresh) = (Control::new(7), Control::new(7));
                _ = control.setup(begun);
                assert_eq!(control.setup(next), fresh.setup(next), "{begun:?}, {next:?}");
                assert_eq!(control.sent(), fresh.sent(), "{begun:?}, {next:?}");
            }
        }
    }

    /// An address that was never acknowledged is none.
    #[test]
    fn an_address_is_taken_once_it_was_acknowledged() {
        let mut control = Control::new(0);
        assert_eq!(control.setup(ADDRESS), (Next::Accept, None));
        _ = control.setup(descriptor(1, 0, 18));
        assert_eq!(control.sent(), None);
        _ = control.setup(ADDRESS);
        assert_eq!(control.sent(), Some(Change::Address(7)));
        assert_eq!(control.sent(), None);
    }

    /// Only a whole line coding is taken, and only where one was announced.
    #[test]
    fn a_line_coding_is_taken_whole() {
        let mut control = Control::new(0);
        assert_eq!(control.received(&[1; 7]), Next::Wait);
        _ = control.setup(SET_LINE_CODING);
        assert_eq!(control.received(&[1; 6]), Next::Refuse);
        _ = control.setup(SET_LINE_CODING);
        assert_eq!(control.received(&[1; 7]), Next::Accept);
        assert_eq!(control.setup(GET_LINE_CODING).0, Next::Send(&[1; 7]));
    }

    /// Maker, product and number, each as long as its head says and shorter than a packet.
    #[test]
    fn strings_are_whole() {
        let mut control = Control::new(0xe661_4000_1234_5678);
        for (index, text) in [(1, MAKER), (2, PRODUCT), (3, "E661400012345678")] {
            let (Next::Send(bytes), None) = control.setup(descriptor(3, index, 255)) else {
                unreachable!("no string {index}")
            };
            assert!(bytes.len() < usize::from(PACKET) && usize::from(bytes[0]) == bytes.len());
            let units = bytes[2..].chunks(2).map(|unit| u16::from_le_bytes([unit[0], unit[1]]));
            assert!(units.eq(text.encode_utf16()), "{bytes:?}");
        }
        assert_eq!(control.setup(descriptor(3, 4, 255)).0, Next::Refuse);
    }
}
