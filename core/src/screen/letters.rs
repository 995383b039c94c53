//! A few letters of a type that is otherwise not used: the rest of it need not be in the chip's flash.
//!
//! The form is that of the u8g2 library's fonts (its wiki, "internal u8g2 font format"): a header of 23
//! bytes, of which the last six say where in the glyphs `A`, `a` and those beyond one byte begin; then the
//! glyphs, each its code, its size with these two, and its bits; a size of nothing ends them.

use u8g2_fonts::{Font, fonts::u8g2_font_logisoso32_tr};

const HEADER: usize = 23;
const UPPER_AT: usize = 17;
const LOWER_AT: usize = 19;
const BEYOND_AT: usize = 21;

/// The letters of the word STOP, 32 pixels tall.
#[expect(clippy::upper_case_acronyms, reason = "it is the word")]
pub(super) struct STOP;

impl Font for STOP {
    const DATA: &'static [u8] = &{
        const WORD: &[u8] = b"STOP";
        const WHOLE: &[u8] = u8g2_font_logisoso32_tr::DATA;
        some::<{ size_of_some(WHOLE, WORD) }>(WHOLE, WORD)
    };
}

const fn is_one_of(code: u8, letters: &[u8]) -> bool {
    let mut at = 0;
    while at < letters.len() {
        if letters[at] == code {
            return true;
        }
        at += 1;
    }
    false
}

/// The glyph that begins at this byte; none where the glyphs end.
const fn glyph(font: &[u8], at: usize) -> &[u8] {
    font.split_at(at).1.split_at(font[at + 1] as usize).0
}

/// Bytes that these letters of it take, with the header and the end.
const fn size_of_some(font: &[u8], letters: &[u8]) -> usize {
    let (mut at, mut size) = (HEADER, HEADER + 4);
    while !glyph(font, at).is_empty() {
        let glyph = glyph(font, at);
        if is_one_of(glyph[0], letters) {
            size += glyph.len();
        }
        at += glyph.len();
    }
    size
}

/// These letters of it, all of which are capitals.
const fn some<const N: usize>(font: &[u8], letters: &[u8]) -> [u8; N] {
    let mut kept = [0; N];
    let mut to = put(&mut kept, 0, font.split_at(HEADER).0);
    let mut at = HEADER;
    while !glyph(font, at).is_empty() {
        let glyph = glyph(font, at);
        if is_one_of(glyph[0], letters) {
            to = put(&mut kept, to, glyph);
        }
        at += glyph.len();
    }
    // Two bytes of nothing end the glyphs, and two more those beyond one byte, of which there are none.
    let end = (to - HEADER) as u16;
    kept[0] = letters.len() as u8;
    put(&mut kept, UPPER_AT, &0_u16.to_be_bytes());
    put(&mut kept, LOWER_AT, &end.to_be_bytes());
    put(&mut kept, BEYOND_AT, &(end + 2).to_be_bytes());
    kept
}

/// Writes the bytes there; where the next ones go.
const fn put(font: &mut [u8], at: usize, bytes: &[u8]) -> usize {
    font.split_at_mut(at).1.split_at_mut(bytes.len()).0.copy_from_slice(bytes);
    at + bytes.len()
}
