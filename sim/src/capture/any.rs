//! A recording of whatever format, which its first bytes tell.

use std::fs::File;
use std::io::{self, Read, Seek, SeekFrom};

use super::Recording;
use super::buffer::Buffer;
use super::error::CaptureError;
use super::session::Session;
use super::table::{self, Table};
use super::vcd::Capture;
use super::wanted::Wanted;

/// The most bytes of a session that does not come from a file.
pub const MAX_COPY: u64 = 256 << 20;

/// Where a recording comes from.
pub enum Input {
    /// A file that can be read from any place.
    File(File),
    /// Anything else.
    Stream(Box<dyn Read>),
}

impl std::fmt::Debug for Input {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(match self {
            Self::File(_) => "File",
            Self::Stream(_) => "Stream",
        })
    }
}

impl From<File> for Input {
    fn from(file: File) -> Self {
        // A pipe with a name is a stream.
        if file.metadata().is_ok_and(|found| found.is_file()) {
            Self::File(file)
        } else {
            Self::Stream(Box::new(file))
        }
    }
}

impl Read for Input {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        match self {
            Self::File(file) => file.read(buffer),
            Self::Stream(stream) => stream.read(buffer),
        }
    }
}

/// Reads the beginning, recognises the format and finds the wires that are wanted: a zip file is a session of sigrok, a
/// text whose first line has two names with a comma between them or is a comment with `;` a table, all else VCD.
///
/// # Errors
/// [`CaptureError`] where the input cannot be read, is not of its format, or does not have exactly one wire for each
/// wanted name; a session that comes as a stream has at most [`MAX_COPY`] bytes.
pub fn open(input: Input, wanted: &[Wanted<'_>]) -> Result<Box<dyn Recording>, CaptureError> {
    let mut buffer = Buffer::new(input);
    while buffer.unused().len() < 4 && buffer.refill()? {}
    if buffer.unused().starts_with(b"PK\x03\x04") {
        return Ok(Box::new(Session::open(seekable(buffer)?, wanted)?));
    }
    const BYTE_ORDER_MARK: &[u8] = b"\xef\xbb\xbf";
    if buffer.unused().starts_with(BYTE_ORDER_MARK) {
        buffer.consume(BYTE_ORDER_MARK.len(), 0);
    }
    // The first line; of a longer one the beginning says it.
    const LOOKED_AT: usize = 1 << 12;
    let whole_line = |begun: &[u8]| begun.len() >= LOOKED_AT || begun.trim_ascii_start().contains(&b'\n');
    while !whole_line(buffer.unused()) && buffer.refill()? {}
    Ok(if table::begins_so(buffer.unused()) {
        Box::new(Table::read(buffer, wanted)?)
    } else {
        Box::new(Capture::read(buffer, wanted)?)
    })
}

/// The whole source as a file; a stream is copied to one that has no name and goes with the program.
fn seekable(buffer: Buffer<Input>) -> Result<File, CaptureError> {
    let (input, begun) = buffer.into_parts();
    let mut file = match input {
        Input::File(file) => file,
        Input::Stream(stream) => {
            let mut file = tempfile::tempfile()?;
            let mut whole = begun.chain(stream).take(MAX_COPY + 1);
            if io::copy(&mut whole, &mut file)? > MAX_COPY {
                let most = MAX_COPY >> 20;
                let what = format_args!("over {most} MiB: one so long is read from a file only");
                return Err(CaptureError::part("session", what));
            }
            file
        }
    };
    file.seek(SeekFrom::Start(0))?;
    Ok(file)
}
