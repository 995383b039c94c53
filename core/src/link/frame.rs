//! Messages as frames: COBS, so that a zero ends a frame and stands nowhere in it, and a CRC, so that what
//! was damaged on the way is no message.

use crc::{CRC_32_ISO_HDLC, Crc};
use heapless::Vec;
use serde::{Deserialize, Serialize};

/// The longest message with its tag and its CRC, in bytes: below 254, so that COBS adds one byte.
pub const MESSAGE_LEN: usize = 240;
/// The longest frame, with the zero before it and the zero behind it.
pub const FRAME_LEN: usize = MESSAGE_LEN + 3;

/// That of Ethernet.
static CRC: Crc<u32> = Crc::<u32>::new(&CRC_32_ISO_HDLC);
const CRC_LEN: usize = 4;

/// What goes out in one piece.
pub type Frame = Vec<u8, FRAME_LEN>;
/// Repeated by the answer.
pub type Tag = u8;

/// A message as a frame; empty for one that is too long, which none of ours is.
#[must_use]
pub fn encode<T: Serialize>(tag: Tag, message: &T) -> Frame {
    let mut bytes = [0; MESSAGE_LEN];
    pack(tag, message, &mut bytes).and_then(|length| seal(bytes.get(..length)?)).unwrap_or_default()
}

/// Tag, message and CRC; how many bytes they are.
fn pack<T: Serialize>(tag: Tag, message: &T, bytes: &mut [u8; MESSAGE_LEN]) -> Option<usize> {
    let (first, rest) = bytes.split_first_mut()?;
    *first = tag;
    let room = rest.len() - CRC_LEN;
    let end = 1 + postcard::to_slice(message, rest.get_mut(..room)?).ok()?.len();
    let crc = CRC.checksum(bytes.get(..end)?);
    bytes.get_mut(end..end + CRC_LEN)?.copy_from_slice(&crc.to_le_bytes());
    Some(end + CRC_LEN)
}

/// The frame around them. It begins with a zero too: whatever noise stood on the line before is a frame of
/// its own then.
fn seal(message: &[u8]) -> Option<Frame> {
    let mut frame = Frame::new();
    frame.resize_default(FRAME_LEN).ok()?;
    let length = cobs::try_encode(message, frame.get_mut(1..FRAME_LEN - 1)?).ok()?;
    frame.truncate(length + 2);
    Some(frame)
}

/// Puts frames together from bytes as they come.
#[derive(Debug)]
pub struct Receiver {
    state: cobs::DecoderState,
    message: Vec<u8, MESSAGE_LEN>,
    /// The frame is too long or broken: the rest of it is passed over.
    spoilt: bool,
}

impl Default for Receiver {
    fn default() -> Self {
        Self { state: cobs::DecoderState::Idle, message: Vec::new(), spoilt: false }
    }
}

impl Receiver {
    /// Takes one byte; the message that it ends, if its CRC is right.
    pub fn push(&mut self, byte: u8) -> Option<Message<'_>> {
        // Whatever went before, a zero ends it, and the next byte begins a frame.
        let ended = byte == 0;
        if matches!(self.state, cobs::DecoderState::Idle) {
            self.message.clear();
            self.spoilt = false;
        }
        let whole = match self.state.feed(byte) {
            Ok(cobs::DecodeResult::DataContinue(data)) => {
                self.spoilt |= self.message.push(data).is_err();
                false
            }
            Ok(cobs::DecodeResult::DataComplete) => !self.spoilt,
            Ok(cobs::DecodeResult::NoData) | Err(_) => false,
        };
        if ended {
            self.state = cobs::DecoderState::Idle;
        }
        if whole { open(&self.message) } else { None }
    }
}

/// A message whose CRC is right.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Message<'a> {
    /// Its tag.
    pub tag: Tag,
    bytes: &'a [u8],
}

impl Message<'_> {
    /// What it says; `None` where it is not known here.
    #[must_use]
    pub fn read<T: for<'a> Deserialize<'a>>(&self) -> Option<T> {
        postcard::from_bytes(self.bytes).ok()
    }
}

fn open(message: &[u8]) -> Option<Message<'_>> {
    let (body, crc) = message.split_last_chunk::<CRC_LEN>()?;
    let (&tag, bytes) = body.split_first()?;
    (CRC.checksum(body) == u32::from_le_bytes(*crc)).then_some(Message { tag, bytes })
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn received(stream: &[u8]) -> std::vec::Vec<(Tag, Option<std::vec::Vec<u8>>)> {
        let mut receiver = Receiver::default();
        let mut found = std::vec::Vec::new();
        for &byte in stream {
            if let Some(message) = receiver.push(byte) {
                let body: Option<Vec<u8, 200>> = message.read();
                found.push((message.tag, body.map(|body| body.to_vec())));
            }
        }
        found
    }

    fn frame(tag: Tag, body: &[u8]) -> Frame {
        let body: Vec<u8, 200> = body.iter().copied().collect();
        encode(tag, &body)
    }

    extern crate std;

    /// The check value of the CRC as its catalogue has it, and a frame as it stands on the wire.
    #[test]
    fn frame_is_the_known_one() {
        assert_eq!(CRC.checksum(b"123456789"), 0xcbf4_3926);
        let bytes = encode(7, &0_u8);
        let crc = CRC.checksum(&[7, 0]).to_le_bytes();
        assert_eq!(bytes.as_slice(), [&[0, 2, 7, 5], &crc[..], &[0]].concat());
    }

    proptest! {
        /// Every message comes back whole, also after rubbish and after a frame that was cut off.
        #[test]
        fn messages_come_back(messages in prop::collection::vec((any::<u8>(), prop::collection::vec(any::<u8>(), 0..190)), 1..5),
                              noise in prop::collection::vec(1_u8.., 0..300), cut in 1_usize..40) {
            let mut stream = noise;
            let lost = frame(1, &[1; 60]);
            stream.extend_from_slice(&lost[..cut]);
            for (tag, body) in &messages {
                stream.extend_from_slice(&frame(*tag, body));
            }
            let expected: std::vec::Vec<_> = messages.into_iter().map(|(tag, body)| (tag, Some(body))).collect();
            prop_assert_eq!(received(&stream), expected);
        }

        /// Any bytes are taken, and what is no message is none; up to four flipped bits are always seen.
        #[test]
        fn damage_is_no_message(stream in prop::collection::vec(any::<u8>(), 0..2_000), body in prop::collection::vec(any::<u8>(), 0..190),
                                flips in prop::collection::vec((any::<prop::sample::Index>(), 0_u8..8), 1..5)) {
            received(&stream);
            let mut bytes = frame(9, &body).to_vec();
            let whole = bytes.clone();
            for (place, bit) in flips {
                let place = place.index(bytes.len());
                bytes[place] ^= 1 << bit;
            }
            for (tag, found) in received(&bytes) {
                // Flipped back, or a zero at an end that was not needed.
                prop_assert!((tag, found) == (9, Some(body.clone())), "{bytes:?} of {whole:?}");
            }
        }
    }

    /// Frames too long for any message are passed over whole, however long.
    #[test]
    fn endless_frame_is_passed_over() {
        let mut stream = std::vec![0xff; 100_000];
        stream.extend_from_slice(&frame(3, b"still here"));
        assert_eq!(received(&stream), [(3, Some(b"still here".to_vec()))]);
    }
}
