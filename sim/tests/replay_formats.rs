//! `turntally replay` on session files of sigrok and on CSV tables: what it counts, and how it refuses.
#![allow(clippy::unwrap_used, clippy::panic, reason = "a test that cannot run must fail")]

mod run;

use std::io::{Cursor, Write as _};
use std::process::Output;

use run::{assert_refused, typed_into};
use zip::write::SimpleFileOptions;
use zip::{CompressionMethod, ZipWriter};

/// Replays `input` from standard input with these wires.
fn replay_wires(input: &[u8], a: &str, b: &str) -> Output {
    typed_into(&["replay", "-", "--a", a, "--b", b, "--pulses-per-rev", "400", "--json"], input)
}

fn replay(input: &[u8]) -> Output {
    replay_wires(input, "D0", "D1")
}

fn json(what: &str, output: &Output) -> serde_json::Value {
    assert!(output.status.success(), "{what}: {}", String::from_utf8_lossy(&output.stderr));
    assert!(output.stderr.is_empty(), "{what}");
    serde_json::from_slice(&output.stdout).unwrap()
}

/// Metadata of two channels in samples of a byte.
const METADATA: &str = "[global]\nsigrok version=0.5.2\n\n[device 1]\ncapturefile=logic-1\ntotal probes=2\n\
    samplerate=1 MHz\ntotal analog=0\nprobe1=D0\nprobe2=D1\nunitsize=1\n";

/// A zip file of these parts, deflated.
fn zipped(parts: &[(&str, &[u8])], method: CompressionMethod) -> Vec<u8> {
    let mut writer = ZipWriter::new(Cursor::new(Vec::new()));
    for (name, bytes) in parts {
        writer.start_file(*name, SimpleFileOptions::default().compression_method(method)).unwrap();
        writer.write_all(bytes).unwrap();
    }
    writer.finish().unwrap().into_inner()
}

/// A session with this metadata and these parts of samples.
fn session(metadata: &str, parts: &[(&str, &[u8])]) -> Vec<u8> {
    let head: [(&str, &[u8]); 2] = [("version", b"2"), ("metadata", metadata.as_bytes())];
    zipped(&[&head, parts].concat(), CompressionMethod::Deflated)
}

/// The forward cycle in the bits of D0 (A) and D1 (B), each level for three samples.
const FORWARD: [u8; 15] = [0, 0, 0, 2, 2, 2, 3, 3, 3, 1, 1, 1, 0, 0, 0];

/// Samples in one part and in several, stored and deflated, of one byte and of more, are the same samples.
#[test]
fn parts_of_a_session_are_one_recording() {
    let (first, second) = FORWARD.split_at(7);
    let head: [(&str, &[u8]); 2] = [("metadata", METADATA.as_bytes()), ("version", b"2\n")];
    let wide: Vec<u8> = FORWARD.iter().flat_map(|unit| [0x5a, unit << 3, 0xff]).collect();
    let of_three = METADATA
        .replace("unitsize=1", "unitsize=3")
        .replace("total probes=2", "total probes=24")
        .replace("probe1=D0\nprobe2=D1", "probe12=D0\nprobe13=D1\nprobe1=D2");
    let cases = [
        ("one part", session(METADATA, &[("logic-1", &FORWARD)])),
        ("a numbered part", session(METADATA, &[("logic-1-1", &FORWARD)])),
        ("two parts", session(METADATA, &[("logic-1-2", second), ("logic-1-1", first)])),
        (
            "an empty part",
            session(METADATA, &[("logic-1-1", first), ("logic-1-2", b""), ("logic-1-3", second)]),
        ),
        ("stored", zipped(&[&head[..], &[("logic-1-1", &FORWARD)]].concat(), CompressionMethod::Stored)),
        ("three bytes", session(&of_three, &[("logic-1-1", &wide)])),
        ("lines of DOS", session(&METADATA.replace('\n', "\r\n"), &[("logic-1-1", &FORWARD)])),
    ];
    for (what, file) in cases {
        let found = json(what, &replay(&file));
        assert_eq!((&found["counts"], &found["forward_counts"]), (&4.into(), &4.into()), "{what}: {found}");
        // Fifteen samples at a microsecond, from the first to the last.
        assert!((found["duration_s"].as_f64().unwrap() - 14e-6).abs() < 1e-12, "{what}: {found}");
    }
}

/// A file by its name needs no copy, and its name says nothing.
#[test]
fn name_of_a_file_says_nothing() {
    let table = "time_us,D0,D1\n0,0,0\n5,0,1\n9,1,1\n";
    for (contents, counts) in [(session(METADATA, &[("logic-1-1", &FORWARD)]), 4), (table.into(), 2)] {
        let mut file = tempfile::Builder::new().suffix(".vcd").tempfile().unwrap();
        file.write_all(&contents).unwrap();
        let path = file.path().to_str().unwrap();
        let args = ["replay", path, "--a", "D0", "--b", "D1", "--pulses-per-rev", "400", "--json"];
        assert_eq!(json("file", &typed_into(&args, b""))["counts"], counts);
    }
}

/// Sessions that are damaged, lie or lack something, each with what its one line must name.
#[test]
fn damaged_sessions_are_refused_with_their_part() {
    let with = |from: &str, to: &str| {
        assert!(METADATA.contains(from), "{from}");
        session(&METADATA.replace(from, to), &[("logic-1-1", &FORWARD)])
    };
    let whole = session(METADATA, &[("logic-1-1", &FORWARD)]);
    let long = "x".repeat(70_000);
    let of_version = |version: &[u8]| {
        let parts: [(&str, &[u8]); 3] =
            [("version", version), ("metadata", METADATA.as_bytes()), ("logic-1-1", &FORWARD)];
        zipped(&parts, CompressionMethod::Deflated)
    };
    let of_wide =
        |bytes: &[u8]| session(&METADATA.replace("unitsize=1", "unitsize=2"), &[("logic-1-1", bytes)]);
    let cases: Vec<(&str, Vec<u8>, &[&str])> = vec![
        ("no session", zipped(&[("readme", b"hello")], CompressionMethod::Stored), &["'version'", "session"]),
        ("magic alone", b"PK\x03\x04".to_vec(), &["session", "zip"]),
        ("another version", of_version(b"3"), &["version: '3'", "only 2"]),
        ("a long version", of_version(long.as_bytes()), &["version", "65536"]),
        (
            "no metadata",
            zipped(&[("version", b"2")], CompressionMethod::Stored),
            &["metadata", "no such part"],
        ),
        ("long metadata", session(&format!("{METADATA}x={long}\n"), &[]), &["metadata", "65536"]),
        ("metadata of no text", session("", &[]), &["metadata", "[device 1]"]),
        (
            "a line of no key",
            with("unitsize=1", "unitsize"),
            &["metadata, line 11", "'unitsize'", "KEY=VALUE"],
        ),
        ("two devices of one number", with("unitsize=1", "[device 1]"), &["line 11", "second [device 1]"]),
        ("no unit size", with("unitsize=1\n", ""), &["metadata", "no unitsize"]),
        ("unit size of nothing", with("unitsize=1", "unitsize=0"), &["line 11", "unitsize '0'", "1 to 8"]),
        ("unit size too great", with("unitsize=1", "unitsize=9"), &["line 11", "unitsize '9'", "1 to 8"]),
        ("unit size twice", with("unitsize=1", "unitsize=1\nunitsize=2"), &["line 12", "second unitsize"]),
        ("no sample rate", with("samplerate=1 MHz\n", ""), &["metadata", "no samplerate"]),
        ("sample rate of nothing", with("1 MHz", "0 Hz"), &["line 7", "samplerate '0 Hz'", "1 MHz"]),
        ("odd sample rate", with("1 MHz", "fast"), &["line 7", "samplerate 'fast'", "1 MHz"]),
        ("part of a hertz", with("1 MHz", "0.5 Hz"), &["line 7", "samplerate '0.5 Hz'"]),
        ("negative sample rate", with("1 MHz", "-1 MHz"), &["line 7", "samplerate '-1 MHz'"]),
        ("no parts' name", with("capturefile=logic-1\n", ""), &["metadata", "no capturefile"]),
        (
            "more channels than bits",
            with("total probes=2", "total probes=9"),
            &["line 6", "'9'", "at most 8"],
        ),
        ("channel past the last", with("probe2=D1", "probe3=D1"), &["line 10", "probe3", "probe2"]),
        ("channel of no number", with("probe2=D1", "probe0=D1"), &["line 10", "'probe0'"]),
        ("channel number twice", with("probe2=D1", "probe1=D1"), &["line 10", "second probe1"]),
        ("no such channel", with("probe2=D1", "probe2=clock"), &["--b 'D1'", "no such channel", "D0, clock"]),
        ("two of one name", with("probe2=D1", "probe2=D0"), &["--a 'D0'", "probe1 and probe2"]),
        ("analog channel", with("probe2=D1", "analog2=D1"), &["--b 'D1'", "analog"]),
        ("no parts", session(METADATA, &[]), &["logic-1-1", "no such part"]),
        ("no samples", session(METADATA, &[("logic-1-1", b"")]), &["logic-1-1", "no samples"]),
        (
            "a part missing",
            session(METADATA, &[("logic-1-1", &FORWARD), ("logic-1-3", &FORWARD)]),
            &["logic-1-2", "missing", "logic-1-3"],
        ),
        (
            "a part in two ways",
            session(METADATA, &[("logic-1-1", &FORWARD), ("logic-1", &FORWARD)]),
            &["logic-1:", "logic-1-1 too"],
        ),
        ("part of a sample", of_wide(&[0, 0, 1]), &["logic-1-1", "within a sample", "2 bytes"]),
        ("cut short", whole[..whole.len() - 30].to_vec(), &["session", "zip"]),
    ];
    for (what, input, parts) in cases {
        assert_refused(what, &replay(&input), parts);
    }
}

/// Samples whose bytes, length or way of packing are not what the table of contents says.
#[test]
fn damaged_parts_are_refused() {
    let noise: Vec<u8> = (0..200_000_u32).map(|n| (n.wrapping_mul(2_654_435_761) >> 24) as u8).collect();
    let stored: [(&str, &[u8]); 3] =
        [("version", b"2"), ("metadata", METADATA.as_bytes()), ("logic-1-1", &noise)];
    let stored = zipped(&stored, CompressionMethod::Stored);
    let deflated = session(METADATA, &[("logic-1-1", &noise)]);
    // The entry of the last part in the table of contents: PKWARE's APPNOTE.TXT, 4.3.12.
    let changed = |file: &[u8], at: usize, to: &[u8]| {
        let entry = file.windows(4).rposition(|four| four == b"PK\x01\x02").unwrap();
        let mut file = file.to_vec();
        file[entry + at..entry + at + to.len()].copy_from_slice(to);
        file
    };
    let mut flipped = stored.clone();
    let middle = flipped.len() / 2;
    flipped[middle] ^= 1;
    let mut torn = deflated.clone();
    // Behind the part's own head (APPNOTE.TXT, 4.3.7): a block of a kind that there is not (RFC 1951, 3.2.3).
    let head = torn.windows(4).rposition(|four| four == b"PK\x03\x04").unwrap();
    torn[head + 30 + "logic-1-1".len()] = 0xff;
    let cases: Vec<(&str, Vec<u8>, &[&str])> = vec![
        ("a bit flipped", flipped, &["logic-1-1", "checksum"]),
        ("packed data overwritten", torn, &["logic-1-1", "damaged"]),
        ("encrypted", changed(&stored, 8, &[1]), &["logic-1-1", "encrypted"]),
        ("another way", changed(&stored, 10, &[12]), &["logic-1-1", "deflate"]),
        ("wrong checksum", changed(&deflated, 16, &[1, 2, 3, 4]), &["logic-1-1", "checksum"]),
        ("packed data cut", changed(&deflated, 20, &[0, 1, 0, 0]), &["logic-1-1", "cut short"]),
        ("packed past the file", changed(&deflated, 20, &[0, 0, 0, 0x7f]), &["session", "overlap"]),
        ("more than it says", changed(&deflated, 24, &[0, 1, 0, 0]), &["logic-1-1", "256 bytes"]),
        ("less than it says", changed(&deflated, 24, &[0, 0, 0, 1]), &["logic-1-1", "16777216 bytes"]),
        ("no part where it says", changed(&deflated, 42, &[9, 0, 0, 0]), &["logic-1-1", "zip"]),
    ];
    for (what, input, parts) in cases {
        assert_refused(what, &replay(&input), parts);
    }
}

/// A table of contents in zip64 may claim any number of parts: 20 bytes before its end record stands its locator.
#[test]
fn zip64_is_refused() {
    let mut file = session(METADATA, &[("logic-1-1", &FORWARD)]);
    let end = file.windows(4).rposition(|four| four == b"PK\x05\x06").unwrap();
    let locator = [&b"PK\x06\x07"[..], &[0; 16]].concat();
    file.splice(end..end, locator);
    assert_refused("zip64", &replay(&file), &["session", "zip64"]);
}

/// Hundreds of megabytes of samples, packed in one, are counted in the memory of a few.
#[cfg(target_os = "linux")]
#[test]
fn samples_that_unpack_to_much_need_no_memory() {
    let quiet = vec![0; 16 << 20];
    let mut parts: Vec<(String, &[u8])> =
        (1..=31).map(|number| (format!("logic-1-{number}"), &quiet[..])).collect();
    parts.push(("logic-1-32".to_owned(), &FORWARD));
    let parts: Vec<(&str, &[u8])> = parts.iter().map(|(name, bytes)| (name.as_str(), *bytes)).collect();
    let file = session(METADATA, &parts);
    assert!(file.len() < 1 << 20, "{}", file.len());
    // 64 MiB of address space for the program, its code and all.
    let mut path = tempfile::NamedTempFile::new().unwrap();
    path.write_all(&file).unwrap();
    let program = env!("CARGO_BIN_EXE_turntally");
    let output = std::process::Command::new("sh")
        .args(["-c", "ulimit -v 65536; exec \"$@\"", "sh", program, "replay"])
        .arg(path.path())
        .args(["--a", "D0", "--b", "D1", "--pulses-per-rev", "400", "--json"])
        .output()
        .unwrap();
    let found = json("much", &output);
    assert_eq!(found["counts"], 4);
    assert!((found["duration_s"].as_f64().unwrap() - f64::from(31 * (16 << 20) + 14) / 1e6).abs() < 1e-6);
}

/// What comes on standard input is copied for a session, up to a limit.
#[test]
fn endless_session_on_standard_input_is_refused_by_a_limit() {
    let mut file = vec![0; (256 << 20) + 1];
    file[..4].copy_from_slice(b"PK\x03\x04");
    assert_refused("endless", &replay(&file), &["session", "256 MiB"]);
    file.pop();
    assert_refused("at the limit", &replay(&file), &["session", "table of contents"]);
}

/// Four steps forward, in every way of writing a table that is read.
#[test]
fn tables_are_read_in_every_way_of_writing() {
    let rows = |unit: i64, from: i64| -> String {
        let levels = ["0,0", "0,1", "1,1", "1,0", "0,0"];
        levels.iter().zip(0..).map(|(level, row)| format!("{},{level}\n", from + row * unit)).collect()
    };
    let channels = "; CSV generated by libsigrok 0.5.2\n; Channels (2/13): D0, D1\n";
    let sigrok = format!("{channels}; Samplerate: 4 kHz\n");
    let bare = "0,0\n0,1\n1,1\n1,0\n0,0\n";
    let cases: Vec<(&str, String)> = vec![
        ("unit behind", format!("time_us,D0,D1\n{}", rows(250, 0))),
        ("unit in brackets", format!("Time [us],D0,D1\n{}", rows(250, 0))),
        ("unit in parentheses", format!("TIME (ns), D0, D1\n{}", rows(250_000, 0))),
        ("unit alone", format!("picoseconds,D0,D1\n{}", rows(250_000_000, 0))),
        ("micro sign", format!("t/\u{b5}s,D0,D1\n{}", rows(250, 7))),
        ("before the trigger", format!("time_us,D0,D1\n{}", rows(250, -500))),
        ("decimals", "s,D0,D1\n-0.00025,0,0\n0,0,1\n+2.5e-4,1,1\n.0005,1,0\n7.5E-4,0,0\n".to_owned()),
        (
            "others between",
            "ms,D0,volts,D1\n0,0,3.3,0\n.25,0,?,1\n.5,1,,1\n.75,1,a b,0\n1,0,-,0\n".to_owned(),
        ),
        ("quotes", format!("\"Time [us]\",\"D0\",\"D1\"\n{}", rows(250, 0))),
        ("lines of DOS", format!("time_us,D0,D1\n{}", rows(250, 0)).replace('\n', "\r\n")),
        ("byte order mark", format!("\u{feff}time_us,D0,D1\n{}", rows(250, 0))),
        ("no last line break", format!("time_us,D0,D1\n{}", rows(250, 0)).trim_end().to_owned()),
        ("commas behind", format!("time_us,D0,D1\n{}", rows(250, 0)).replace('\n', ",\n")),
        ("empty lines, comments", format!("; mine\n\ntime_us,D0,D1\n\n{};\n", rows(250, 0))),
        ("sigrok", format!("{sigrok}logic,logic\n{bare}")),
        ("sigrok with times", format!("{sigrok}microseconds,logic,logic\n{}", rows(250, 250))),
        ("sigrok with names", format!("{sigrok}D0,D1\n{bare}")),
        ("sigrok without names", format!("{sigrok}{bare}")),
        ("sigrok with triggers", format!("{sigrok}logic,logic,Trigger\n{}", bare.replace('\n', ",0\n"))),
        ("sigrok with a late rate", format!("{channels}META samplerate: 4000\nlogic,logic\n{bare}")),
    ];
    for (what, table) in cases {
        let found = json(what, &replay(table.as_bytes()));
        assert_eq!((&found["counts"], &found["forward_counts"]), (&4.into(), &4.into()), "{what}: {found}");
        assert!((found["duration_s"].as_f64().unwrap() - 1e-3).abs() < 1e-12, "{what}: {found}");
    }
}

/// Levels that are none hide what happens meanwhile; a step in which both change is illegal.
#[test]
fn unknown_levels_of_a_table_are_a_gap() {
    for unknown in ["x", "X", "z", "Z", ""] {
        let table = format!("us,D0,D1\n0,0,0\n10,0,1\n20,{unknown},1\n30,1,1\n40,0,0\n50,0,1\n");
        let found = json(unknown, &replay(table.as_bytes()));
        assert_eq!((&found["counts"], &found["unknown_gaps"]), (&2.into(), &1.into()), "{found}");
        assert_eq!(found["illegal_transitions"], 1, "{found}");
    }
}

/// Damaged and lying tables, each with what its one line must name.
#[test]
fn damaged_tables_are_refused_with_their_line() {
    let rows = |rows: &str| format!("time_us,D0,D1\n{rows}").into_bytes();
    let sigrok = |rest: &str| format!("; Channels (2/2): D0, D1\n{rest}").into_bytes();
    let rated = |rate: &str| {
        format!("; Channels (2/2): D0, D1\n; Samplerate: {rate}\nlogic,logic\n0,0\n").into_bytes()
    };
    let long = "1".repeat(140_000);
    let cases: Vec<(&str, Vec<u8>, &[&str])> = vec![
        ("a letter", b"dear all,\nhello, world\n".to_vec(), &["line 1", "'dear'", "VCD", "CSV", "sigrok"]),
        (
            "another letter",
            b"dear Sir, dear Madam\n".to_vec(),
            &["line 1", "'dear Sir'", "VCD", "CSV", "sigrok"],
        ),
        ("no names", b"0,0,0\n1,0,1\n".to_vec(), &["line 1", "'0'", "time_s"]),
        ("time of no unit", b"Time,D0,D1\n0,0,0\n".to_vec(), &["line 1", "'Time'", "no unit", "time_s"]),
        ("time of an odd unit", b"time [h],D0,D1\n0,0,0\n".to_vec(), &["line 1", "'time [h]'", "no unit"]),
        ("no rows", rows(""), &["line 2", "first row"]),
        ("no such column", b"us,D0,clock\n0,0,0\n".to_vec(), &["--b 'D1'", "no such channel", "D0, clock"]),
        ("column twice", b"us,D0,D1,D0\n0,0,0,0\n".to_vec(), &["--a 'D0'", "columns 2 and 4"]),
        ("a field too few", rows("0,0,0\n1,0\n2,0,0\n"), &["line 3: 2 columns, but 3"]),
        ("a field too many", rows("0,0,0\n1,0,0,0\n"), &["line 3: 4 columns, but 3"]),
        ("cut in a row", rows("0,0,0\n1,0"), &["line 3", "cut short"]),
        ("time of no digits", rows("0,0,0\nsoon,0,1\n"), &["line 3", "'soon'", "not a time"]),
        ("empty time", rows(",0,0\n"), &["line 2", "''", "not a time"]),
        ("time that is none", rows("nan,0,0\n"), &["line 2", "'nan'"]),
        ("endless time", rows("1e99,0,0\n"), &["line 2", "'1e99'"]),
        ("time without power", rows("1e,0,0\n"), &["line 2", "'1e'"]),
        ("two points", rows("1.2.3,0,0\n"), &["line 2", "'1.2.3'"]),
        ("time goes back", rows("5,0,0\n4.9,0,1\n"), &["line 3", "'4.9'", "backwards"]),
        ("time too far", rows("0,0,0\n18446744073709552,0,1\n"), &["line 3", "584 years"]),
        ("level of two", rows("0,0,0\n1,2,0\n"), &["line 3", "'2'", "0, 1"]),
        ("level in volts", rows("0,0.0,3.3\n"), &["line 2", "'0.0'", "0, 1"]),
        ("NUL", rows("0,0,0\n1,\0,0\n"), &["line 3", "'\\u{0}'"]),
        ("bytes of no text", [rows("0,0,0\n1,"), vec![255, b',', b'0']].concat(), &["line 3", "not a level"]),
        ("comma in quotes", b"us,\"D0,x\",D1\n0,0,0\n".to_vec(), &["--a 'D0'", "no such channel"]),
        ("long names", format!("us,D0,D1,{long}\n").into_bytes(), &["line 1", "131072"]),
        ("long row", rows(&format!("0,0,0\n1,0,{long}\n")), &["line 3", "131072"]),
        ("long comment", format!(";{long}\n").into_bytes(), &["line 1", "131072"]),
        ("comments alone", sigrok(""), &["line 2", "columns"]),
        ("no rate", sigrok("logic,logic\n0,0\n"), &["line 2", "no sample rate"]),
        ("rate of nothing", rated("0 Hz"), &["line 2", "'0 Hz'", "1 MHz"]),
        ("odd rate", rated("fast"), &["line 2", "'fast'", "1 MHz"]),
        ("rate too high", rated("2 THz"), &["line 2", "'2 THz'", "1 THz"]),
        (
            "samples for times",
            sigrok("samples,logic,logic\n0,0,0\n"),
            &["line 2", "'samples'", "sample rate"],
        ),
        ("names without a unit", sigrok("Time,D0,D1\n0,0,0\n"), &["line 2", "'Time'", "no unit"]),
        ("times without a name", sigrok("5,0,0\n"), &["line 2", "no name", "time_s"]),
        (
            "fewer columns than channels",
            sigrok("; Samplerate: 1 Hz\nlogic\n0\n"),
            &["line 3", "1 columns for 2"],
        ),
        ("more columns", sigrok("a,b,c,d\n0,0,0,0\n"), &["line 2", "4 columns for 2"]),
    ];
    for (what, input, parts) in cases {
        assert_refused(what, &replay(&input), parts);
    }
    let output = replay_wires(&rows("0,0,0\n"), "D0", "D0");
    assert_refused("one column", &output, &["--b 'D0'", "same wire"]);
    let output = replay_wires(&rows("0,0,0\n"), "", "D1");
    assert_refused("no name", &output, &["--a ''", "no such channel"]);
}

/// Cut anywhere, a table and a session are refused in one line or count no step that they do not hold.
#[test]
fn table_and_session_cut_at_any_byte_never_count_more() {
    let table = "; Channels (2/2): D0, D1\n; Samplerate: 1 MHz\nlogic,logic\n0,0\n0,1\n1,1\n1,0\n0,0\n";
    for whole in [table.as_bytes().to_vec(), session(METADATA, &[("logic-1-1", &FORWARD)])] {
        for cut in 0..whole.len() {
            let output = replay(&whole[..cut]);
            if output.status.success() {
                let counts = json("cut", &output)["counts"].as_i64().unwrap();
                assert!((0..=4).contains(&counts), "{cut}: {counts}");
            } else {
                assert_refused(&format!("cut at {cut}"), &output, &["standard input: "]);
            }
        }
    }
}
