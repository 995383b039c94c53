//! Text from outside (names in a job file, the log's file, a counter's answers) on its way to a terminal, a page or a table.
//!
//! Nothing is cleaned where it comes in: what leaves the program goes through here, by kind of destination, so that no
//! command can forget it. In HTML and SVG what would be markup is escaped where the page is put together.

use std::borrow::Cow;
use std::io::{self, Write};

use crate::failure::Failure;
use crate::files::kind::Kind;
use crate::words::visible::{escaped, visible};

/// A JSON text with the same as JSON writes it; outside of strings there is none.
fn visible_json(text: &str) -> Cow<'_, str> {
    escaped(text, |c, out| out.push_str(&format!("\\u{:04x}", u32::from(c))))
}

/// The text of a file of this kind as it may leave.
///
/// # Errors
/// Where a table is none.
pub fn ready(kind: Kind, text: &str) -> Result<Cow<'_, str>, Failure> {
    match kind {
        Kind::Json => Ok(visible_json(text)),
        Kind::Csv => match visible(text) {
            Cow::Borrowed(text) => without_formulas(text),
            Cow::Owned(text) => without_formulas(&text).map(|text| Cow::Owned(text.into_owned())),
        },
        _ => Ok(visible(text)),
    }
}

/// A CSV table in which no cell is taken for a formula: one that begins like one, and is no number, gets an apostrophe
/// before it, as OWASP advises (CSV Injection).
fn without_formulas(table: &str) -> Result<Cow<'_, str>, Failure> {
    let starts =
        |cell: &str| cell.starts_with(['=', '+', '-', '@', '\t', '\r', '\n', '＝', '＋', '－', '＠']);
    let number = |cell: &str| {
        cell.bytes().all(|byte| matches!(byte, b'0'..=b'9' | b'.' | b'e' | b'E' | b'+' | b'-'))
            && cell.parse::<f64>().is_ok()
    };
    let is_formula = |cell: &str| starts(cell) && !number(cell);
    let rows = csv::ReaderBuilder::new().has_headers(false).flexible(true).from_reader(table.as_bytes());
    let rows: Vec<csv::StringRecord> = rows.into_records().collect::<Result<_, _>>().map_err(Failure::new)?;
    if !rows.iter().flatten().any(is_formula) {
        return Ok(Cow::Borrowed(table));
    }
    let mut safe = csv::WriterBuilder::new().has_headers(false).flexible(true).from_writer(Vec::new());
    for row in &rows {
        let cells =
            row.iter().map(|cell| if is_formula(cell) { format!("'{cell}") } else { cell.to_owned() });
        safe.write_record(cells).map_err(Failure::new)?;
    }
    let safe = safe.into_inner().map_err(Failure::new)?;
    String::from_utf8(safe).map(Cow::Owned).map_err(Failure::new)
}

/// Takes a JSON text piece by piece, and passes on what is ready.
#[derive(Debug)]
pub struct Json<W> {
    to: W,
    /// The beginning of a character whose end has not come yet.
    begun: Vec<u8>,
}

impl<W: Write> Json<W> {
    /// Passes on to this.
    pub const fn new(to: W) -> Self {
        Self { to, begun: Vec::new() }
    }
}

impl<W: Write> Write for Json<W> {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        self.begun.extend_from_slice(bytes);
        let whole = match std::str::from_utf8(&self.begun) {
            Ok(text) => text.len(),
            Err(error) => error.valid_up_to(),
        };
        if let Ok(text) = std::str::from_utf8(self.begun.get(..whole).unwrap_or_default()) {
            self.to.write_all(visible_json(text).as_bytes())?;
        }
        self.begun.drain(..whole);
        Ok(bytes.len())
    }

    fn flush(&mut self) -> io::Result<()> {
        self.to.flush()
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test may stop where it stands")]
    use super::*;
    use crate::words::visible::is_hidden;
    use proptest::prelude::*;

    proptest! {
        /// Whatever the text, nothing hidden is left of it, and what was not hidden is as it was.
        #[test]
        fn nothing_hidden_leaves(text in any::<String>()) {
            for kind in [Kind::Text, Kind::Html, Kind::Svg, Kind::Job] {
                let ready = ready(kind, &text).unwrap();
                prop_assert!(!ready.contains(is_hidden));
                prop_assert_eq!(ready == text, !text.contains(is_hidden));
            }
        }

        /// A JSON text means the same afterwards, however it is cut into pieces.
        #[test]
        fn json_means_the_same(text in any::<String>(), cut in 1_usize..7) {
            let json = serde_json::to_string(&text).unwrap();
            let mut out = Vec::new();
            let mut writer = Json::new(&mut out);
            for piece in json.as_bytes().chunks(cut) {
                writer.write_all(piece).unwrap();
            }
            let out = String::from_utf8(out).unwrap();
            prop_assert!(!out.contains(is_hidden));
            prop_assert_eq!(serde_json::from_str::<String>(&out).unwrap(), text);
        }

        /// No cell of a table begins like a formula unless it is a number, and taking the apostrophe away gives back what
        /// was there.
        #[test]
        fn no_cell_is_a_formula(cells in prop::collection::vec("[=+@\t\r＝-]?[ -~]{0,9}", 1..6)) {
            let mut table = csv::Writer::from_writer(Vec::new());
            table.write_record(&cells).unwrap();
            let table = String::from_utf8(table.into_inner().unwrap()).unwrap();
            let safe = without_formulas(&table).unwrap();
            let mut rows = csv::ReaderBuilder::new().has_headers(false).from_reader(safe.as_bytes());
            let row = rows.records().next().unwrap().unwrap();
            prop_assert_eq!(row.len(), cells.len());
            for (safe, cell) in row.iter().zip(&cells) {
                if safe == cell {
                    let harmless = !safe.starts_with(['=', '+', '-', '@', '\t', '\r', '＝']);
                    prop_assert!(harmless || safe.parse::<f64>().is_ok(), "{safe:?}");
                } else {
                    prop_assert_eq!(safe, format!("'{cell}"));
                }
            }
        }
    }

    /// Numbers stay numbers.
    #[test]
    fn numbers_are_left() {
        let table = "a,-1.5,+3,-2e-3,=1+1,-inf,@x\n";
        assert_eq!(without_formulas(table).unwrap(), "a,-1.5,+3,-2e-3,'=1+1,'-inf,'@x\n");
        assert_eq!(without_formulas("a,-1.5\n").unwrap(), "a,-1.5\n");
    }
}
