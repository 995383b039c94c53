//! Any bytes as a session file: samples in the order of their times, or an error. What begins as a zip file is taken as
//! it is; all else is put into one, up to the first NUL as its metadata, and up to each further one as a part.
#![no_main]

use std::io::{Cursor, Write as _};

use libfuzzer_sys::fuzz_target;
use turntally_sim::capture::{Recording as _, Session, Wanted};
use zip::write::SimpleFileOptions;
use zip::{CompressionMethod, ZipWriter};

mod thrown;

fuzz_target!(|bytes: &[u8]| {
    thrown::count(bytes);
    if bytes.starts_with(b"PK") {
        walk(bytes);
    } else {
        walk(&packed(bytes));
    }
});

fn packed(bytes: &[u8]) -> Vec<u8> {
    let mut writer = ZipWriter::new(Cursor::new(Vec::new()));
    let mut put = |name: &str, bytes: &[u8], method| {
        writer.start_file(name, SimpleFileOptions::default().compression_method(method)).unwrap();
        writer.write_all(bytes).unwrap();
    };
    put("version", b"2", CompressionMethod::Stored);
    for (number, part) in bytes.split(|byte| *byte == 0).enumerate() {
        let method = if number % 2 == 0 { CompressionMethod::Stored } else { CompressionMethod::Deflated };
        let name = if number == 0 { "metadata".to_owned() } else { format!("logic-1-{number}") };
        put(&name, part, method);
    }
    writer.finish().unwrap().into_inner()
}

fn walk(file: &[u8]) {
    let wanted = [Wanted::new("--a", "a"), Wanted::new("--b", "b")];
    let Ok(mut session) = Session::open(Cursor::new(file), &wanted) else { return };
    let mut last = 0;
    while let Ok(Some(sample)) = session.next_sample() {
        assert!(sample.time_ns >= last);
        assert!(sample.level(0).is_some() && sample.level(1).is_some());
        last = sample.time_ns;
    }
}
