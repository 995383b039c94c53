//! Characters that are hidden in a text, shown as their codes.

use std::borrow::Cow;

/// Characters that do something instead of being seen: they move a terminal's cursor or colour it (C0, C1), end a line
/// where none ends, or turn round the order in which others are shown (Unicode Standard Annex 9, the explicit
/// directional characters and marks).
pub const fn is_hidden(c: char) -> bool {
    matches!(
        c,
        '\0'..='\u{8}' | '\u{b}'..='\u{1f}' | '\u{7f}'..='\u{9f}' | '\u{61c}' | '\u{200e}' | '\u{200f}'
            | '\u{2028}'..='\u{202e}' | '\u{2066}'..='\u{2069}' | '\u{feff}'
    )
}

/// The text with what is hidden in it shown as its code, as in `\u{1b}`. Line breaks and tabs stay.
pub fn visible(text: &str) -> Cow<'_, str> {
    escaped(text, |c, out| out.extend(c.escape_unicode()))
}

/// A name with line breaks and tabs shown in the same way: it is to stay within its line and its column.
pub fn one_line(name: &str) -> String {
    visible(name).replace('\n', "\\n").replace('\t', "\\t")
}

/// The text with each hidden character as `escape` writes it.
pub fn escaped(text: &str, escape: impl Fn(char, &mut String)) -> Cow<'_, str> {
    if !text.contains(is_hidden) {
        return Cow::Borrowed(text);
    }
    let mut out = String::with_capacity(text.len() + 16);
    for c in text.chars() {
        if is_hidden(c) { escape(c, &mut out) } else { out.push(c) }
    }
    Cow::Owned(out)
}
