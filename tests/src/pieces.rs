//! A flash as a fuzzer writes it: pieces, each with its place, and a right CRC where it is an item. A CRC is not found by
//! trying.

use turntally_firmware::store::Layout;
use turntally_firmware::store::guard::SECTOR;
use turntally_firmware::store::items::{GRANULE, VALUE_LEN, item};

/// The flash that is fuzzed: 4 sectors of records, 4 of notes, one segment of log.
pub const LAYOUT: Layout = Layout { records: 0, notes: 4 * SECTOR, end: 8 * SECTOR, log_end: 18 * SECTOR };

/// Lays pieces into a blank flash. A piece is its granule in two bytes, its length in one, and its bytes: those of a
/// value, or beyond the longest value so many more as they are.
pub fn lay(mut pieces: &[u8], flash: &mut [u8]) {
    while let Some((&[low, high, length], rest)) = pieces.split_first_chunk() {
        let start = usize::from(u16::from_le_bytes([low, high])) * GRANULE as usize % flash.len();
        let length = usize::from(length);
        let (bytes, rest) =
            rest.split_at(rest.len().min(if length > VALUE_LEN { length - VALUE_LEN } else { length }));
        pieces = rest;
        let whole = if length > VALUE_LEN { None } else { item(bytes) };
        let bytes = whole.as_deref().unwrap_or(bytes);
        let room = flash.len() - start;
        let end = bytes.len().min(room);
        flash[start..start + end].copy_from_slice(&bytes[..end]);
    }
}
