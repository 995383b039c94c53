//! The samples of a session, part after part, unpacked as they are needed.

use std::fmt;
use std::io::{self, ErrorKind, Read, Seek, SeekFrom};

use flate2::{Crc, Decompress, FlushDecompress, Status};
use zip::result::ZipError;
use zip::{CompressionMethod, ZipArchive};

use super::super::error::{CaptureError, shown};
use super::super::wanted::Wanted;
use super::metadata::{self, MAX_METADATA, Metadata};

/// The most bytes of a zip file that are read for its table of contents: 65,535 parts have 4 MiB.
const MAX_CONTENTS: u64 = 8 << 20;
/// Bytes that are unpacked at a time.
const UNPACKED: usize = 1 << 16;
/// Bytes that are read at a time.
const PACKED: usize = 1 << 15;

/// Where a part lies in the file.
#[derive(Debug, Clone)]
struct Part {
    /// Its number; `None` for the only one.
    number: Option<u32>,
    start: u64,
    packed: u64,
    unpacked: u64,
    crc: u32,
    deflated: bool,
}

/// The parts of a session, one after the other.
pub(super) struct Parts<S> {
    input: S,
    name: String,
    parts: std::vec::IntoIter<Part>,
    now: Option<Open>,
    /// The number of the part that is read now or was read last.
    number: Option<u32>,
    inflate: Decompress,
    packed: Box<[u8]>,
    packed_start: usize,
    packed_end: usize,
    unpacked: Box<[u8]>,
    start: usize,
    end: usize,
}

/// A part that is being read.
struct Open {
    part: Part,
    /// Bytes that have not been read yet.
    left: u64,
    crc: Crc,
    /// Bytes that came out.
    out: u64,
    /// The packed data has come to its end.
    ended: bool,
}

impl<S> fmt::Debug for Parts<S> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("Parts")
            .field("name", &self.name)
            .field("number", &self.number)
            .finish_non_exhaustive()
    }
}

/// Reads the table of contents and the metadata.
pub(super) fn open<S: Read + Seek>(
    input: S,
    wanted: &[Wanted<'_>],
) -> Result<(Parts<S>, Metadata), CaptureError> {
    let mut input = Sparing { input, left: u64::MAX };
    let length = input.seek(SeekFrom::End(0))?;
    if has_zip64(&mut input, length)? {
        return Err(zip_error("a zip file in the format zip64, over 4 GiB or 65,535 parts, is not read"));
    }
    input.left = MAX_CONTENTS;
    let mut archive = ZipArchive::new(&mut input).map_err(|error| zip_error(of_zip(&error)))?;
    if archive.index_for_name("version").is_none() {
        return Err(zip_error("a zip file without a part 'version' is no session of sigrok"));
    }
    let version = small(&mut archive, "version")?;
    if version.trim_ascii() != b"2" {
        return Err(CaptureError::part("version", format_args!("'{}': only 2 is read", shown(&version))));
    }
    let metadata = metadata::read(&small(&mut archive, "metadata")?, wanted)?;
    let parts = find(&mut archive, &metadata.capture_file)?;
    drop(archive);
    // A file holds each of its bytes once: one that claims more would be read for ever.
    if parts.iter().map(|part| u128::from(part.packed)).sum::<u128>() > u128::from(length) {
        return Err(zip_error("its parts overlap"));
    }
    let parts = Parts {
        input: input.input,
        name: metadata.capture_file.clone(),
        number: None,
        parts: parts.into_iter(),
        now: None,
        inflate: Decompress::new(false),
        packed: vec![0; PACKED].into_boxed_slice(),
        packed_start: 0,
        packed_end: 0,
        unpacked: vec![0; UNPACKED].into_boxed_slice(),
        start: 0,
        end: 0,
    };
    Ok((parts, metadata))
}

fn zip_error(what: impl fmt::Display) -> CaptureError {
    CaptureError::part("session", what)
}

/// What the crate says of a zip file, in our words where there are some.
fn of_zip(error: &ZipError) -> String {
    match error {
        ZipError::Io(error) => format!("cannot be read: {error}"),
        ZipError::FileNotFound => "there is no such part".to_owned(),
        ZipError::InvalidArchive(what) => format!("no sound zip file, or cut short: {what}"),
        other => other.to_string(),
    }
}

/// Whether the zip file ends in the format zip64: the locator of its table of contents stands right before the end
/// record (PKWARE's APPNOTE.TXT, 4.3.15). Looked for wherever [`ZipArchive`] could come to look.
fn has_zip64<S: Read + Seek>(input: &mut S, length: u64) -> Result<bool, CaptureError> {
    const LOCATOR: &[u8] = b"PK\x06\x07";
    const END: &[u8] = b"PK\x05\x06";
    const APART: usize = 20;
    let mut buffer = vec![0; 1 << 16];
    let mut filled = 0;
    input.seek(SeekFrom::Start(length.saturating_sub(MAX_CONTENTS + (1 << 20))))?;
    loop {
        let count = read(input, &mut buffer[filled..])?;
        if count == 0 {
            return Ok(false);
        }
        filled += count;
        let both = APART + END.len();
        let here = |bytes: &[u8]| bytes.starts_with(LOCATOR) && bytes[APART..].starts_with(END);
        if buffer[..filled].windows(both).any(here) {
            return Ok(true);
        }
        let rest = filled.min(both - 1);
        buffer.copy_within(filled - rest..filled, 0);
        filled = rest;
    }
}

/// A part that is read whole.
fn small<S: Read + Seek>(archive: &mut ZipArchive<S>, name: &str) -> Result<Vec<u8>, CaptureError> {
    let part = archive.by_name(name).map_err(|error| CaptureError::part(name, of_zip(&error)))?;
    let mut bytes = Vec::new();
    part.take(MAX_METADATA as u64 + 1)
        .read_to_end(&mut bytes)
        .map_err(|error| CaptureError::part(name, format_args!("cannot be read: {error}")))?;
    if bytes.len() > MAX_METADATA {
        return Err(CaptureError::part(name, format_args!("longer than {MAX_METADATA} bytes")));
    }
    Ok(bytes)
}

fn part_name(name: &str, number: Option<u32>) -> String {
    let name = shown(name.as_bytes());
    number.map_or_else(|| name.clone(), |number| format!("{name}-{number}"))
}

/// Finds the parts in their order: the only one, or those with the numbers from 1.
fn find<S: Read + Seek>(archive: &mut ZipArchive<S>, name: &str) -> Result<Vec<Part>, CaptureError> {
    let only = archive.index_for_name(name);
    let mut numbered: Vec<(u32, usize)> = Vec::new();
    for index in 0..archive.len() {
        let number = archive
            .name_for_index(index)
            .and_then(|found| found.strip_prefix(name)?.strip_prefix('-'))
            // 01 and +1 are no numbers of parts.
            .filter(|number| !number.starts_with(['0', '+']))
            .and_then(|number| number.parse().ok());
        numbered.extend(number.map(|number| (number, index)));
    }
    numbered.sort_unstable();
    let wanted: Vec<(Option<u32>, usize)> = match (only, numbered.as_slice()) {
        (Some(index), []) => vec![(None, index)],
        (Some(_), [(first, _), ..]) => {
            let (only, part) = (part_name(name, None), part_name(name, Some(*first)));
            return Err(CaptureError::part(
                only,
                format_args!("there is {part} too: which has the samples?"),
            ));
        }
        (None, []) => return Err(CaptureError::part(part_name(name, Some(1)), "there is no such part")),
        (None, _) => {
            for (expected, (number, _)) in (1..).zip(&numbered) {
                if *number != expected {
                    let (missing, next) = (part_name(name, Some(expected)), part_name(name, Some(*number)));
                    return Err(CaptureError::part(missing, format_args!("missing, though there is {next}")));
                }
            }
            numbered.into_iter().map(|(number, index)| (Some(number), index)).collect()
        }
    };
    wanted
        .into_iter()
        .map(|(number, index)| {
            let failed = |what: &str| CaptureError::part(part_name(name, number), what);
            let part = archive.by_index_raw(index).map_err(|error| failed(&of_zip(&error)))?;
            if part.encrypted() {
                return Err(failed("encrypted"));
            }
            let deflated = match part.compression() {
                CompressionMethod::Stored => false,
                CompressionMethod::Deflated => true,
                _ => return Err(failed("packed in another way than by deflate")),
            };
            let Some(start) = part.data_start() else { return Err(failed("has no place in the file")) };
            let (packed, unpacked) = (part.compressed_size(), part.size());
            Ok(Part { number, start, packed, unpacked, crc: part.crc32(), deflated })
        })
        .collect()
}

impl<S: Read + Seek> Parts<S> {
    /// The bytes that have been unpacked and not used.
    #[inline]
    pub(super) fn unused(&self) -> &[u8] {
        &self.unpacked[self.start..self.end]
    }

    /// Uses so many of these.
    #[inline]
    pub(super) fn consume(&mut self, count: usize) {
        self.start = self.end.min(self.start + count);
    }

    /// An error in the part that has been reached.
    pub(super) fn error(&self, what: impl fmt::Display) -> CaptureError {
        CaptureError::part(part_name(&self.name, self.number), what)
    }

    /// Unpacks more behind what is not used, which is less than a sample of `unit` bytes; `false` at the end.
    pub(super) fn refill(&mut self, unit: usize) -> Result<bool, CaptureError> {
        self.unpacked.copy_within(self.start..self.end, 0);
        self.end -= self.start;
        self.start = 0;
        loop {
            let Some(mut open) = self.now.take() else {
                let Some(part) = self.parts.next() else { return Ok(false) };
                self.number = part.number;
                self.input.seek(SeekFrom::Start(part.start)).map_err(|error| self.failed(&error))?;
                self.inflate.reset(false);
                (self.packed_start, self.packed_end) = (0, 0);
                self.now = Some(Open { left: part.packed, part, crc: Crc::new(), out: 0, ended: false });
                continue;
            };
            let before = self.end;
            if open.part.deflated {
                self.inflate_some(&mut open)?;
            } else {
                let room = self.unpacked.len() - self.end;
                let most = room.min(usize::try_from(open.left).unwrap_or(room));
                let count = read(&mut self.input, &mut self.unpacked[self.end..self.end + most])
                    .map_err(|error| self.failed(&error))?;
                if count == 0 && open.left > 0 {
                    return Err(self.error("the file ends in this part: it was cut short"));
                }
                self.end += count;
                open.left -= count as u64;
                open.ended = open.left == 0;
            }
            let came = &self.unpacked[before..self.end];
            open.crc.update(came);
            open.out += came.len() as u64;
            if open.out > open.part.unpacked || open.ended && open.out < open.part.unpacked {
                let size = open.part.unpacked;
                return Err(self.error(format_args!("not the {size} bytes that the zip file says")));
            }
            if open.ended {
                if open.crc.sum() != open.part.crc {
                    return Err(self.error("damaged: its checksum is wrong"));
                }
                if !self.end.is_multiple_of(unit) {
                    return Err(self.error(format_args!("ends within a sample, which has {unit} bytes")));
                }
            } else {
                self.now = Some(open);
            }
            if self.end > before {
                return Ok(true);
            }
        }
    }

    /// Unpacks what is there, or reads on.
    fn inflate_some(&mut self, open: &mut Open) -> Result<(), CaptureError> {
        if self.packed_start == self.packed_end && open.left > 0 {
            let most = self.packed.len().min(usize::try_from(open.left).unwrap_or(usize::MAX));
            let count =
                read(&mut self.input, &mut self.packed[..most]).map_err(|error| self.failed(&error))?;
            (self.packed_start, self.packed_end) = (0, count);
            open.left -= count as u64;
        }
        let (packed, room) =
            (&self.packed[self.packed_start..self.packed_end], &mut self.unpacked[self.end..]);
        let (taken, given) = (self.inflate.total_in(), self.inflate.total_out());
        let status = self.inflate.decompress(packed, room, FlushDecompress::None);
        let (taken, given) = (self.inflate.total_in() - taken, self.inflate.total_out() - given);
        self.packed_start += taken as usize;
        self.end += given as usize;
        match status {
            Ok(Status::StreamEnd) => open.ended = true,
            Ok(_) if taken + given > 0 => {}
            Ok(_) => return Err(self.error("its packed data is cut short")),
            Err(_) => return Err(self.error("damaged: its data cannot be unpacked")),
        }
        Ok(())
    }

    fn failed(&self, error: &io::Error) -> CaptureError {
        self.error(format_args!("cannot be read: {error}"))
    }
}

/// Reads once, whatever interrupts it.
fn read(input: &mut impl Read, buffer: &mut [u8]) -> io::Result<usize> {
    loop {
        match input.read(buffer) {
            Err(error) if error.kind() == ErrorKind::Interrupted => {}
            other => return other,
        }
    }
}

/// A source of which only so many bytes are read.
struct Sparing<S> {
    input: S,
    left: u64,
}

impl<S: Read> Read for Sparing<S> {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        if self.left == 0 {
            let most = MAX_CONTENTS >> 20;
            let what = format!("no table of contents in the {most} MiB that are read for it");
            return Err(io::Error::other(what));
        }
        let most = buffer.len().min(usize::try_from(self.left).unwrap_or(usize::MAX));
        let count = self.input.read(&mut buffer[..most])?;
        self.left -= count as u64;
        Ok(count)
    }
}

impl<S: Seek> Seek for Sparing<S> {
    fn seek(&mut self, to: SeekFrom) -> io::Result<u64> {
        self.input.seek(to)
    }
}
