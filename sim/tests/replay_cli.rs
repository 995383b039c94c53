//! `turntally replay` as a person meets it: what it prints, and how it refuses.
#![allow(clippy::unwrap_used, clippy::panic, reason = "a test that cannot run must fail")]

mod run;

use std::io::Write as _;
use std::process::Output;

use run::{assert_refused, typed_into};

const HEADER: &str = "$version test $end\n$timescale 1 us $end\n$scope module bench $end\n\
    $var wire 1 ! enc_a $end\n$var wire 1 \" enc_b $end\n$upscope $end\n$enddefinitions $end\n";

/// Runs `turntally replay` with these arguments and this standard input.
fn replayed(args: &[&str], input: &[u8]) -> Output {
    typed_into(&[&["replay"], args].concat(), input)
}

/// Replays `input` from standard input with the usual wires.
fn replay(input: &[u8], more: &[&str]) -> Output {
    let usual = ["-", "--a", "enc_a", "--b", "enc_b", "--pulses-per-rev", "400"];
    replayed(&[&usual, more].concat(), input)
}

fn json(output: &Output) -> serde_json::Value {
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    assert!(output.stderr.is_empty());
    serde_json::from_slice(&output.stdout).unwrap()
}

/// `steps` counts forward (negative: in reverse), `us` microseconds apart, from level 00 at time 0, and
/// a millisecond of rest.
fn turning(steps: i64, us: u64) -> String {
    let mut text = format!("{HEADER}#0\n$dumpvars\n0!\n0\"\n$end\n");
    let level = |at: i64| [0b00_u8, 0b01, 0b11, 0b10][at.rem_euclid(4) as usize];
    let mut time = 0;
    for done in 0..steps.abs() {
        let (old, new) = (level(done * steps.signum()), level((done + 1) * steps.signum()));
        let (bit, code) = if (old ^ new) == 0b10 { (new >> 1, '!') } else { (new & 1, '"') };
        time += us;
        text += &format!("#{time}\n{bit}{code}\n");
    }
    text + &format!("#{}\n", time + 1_000)
}

/// Damaged and lying recordings, each with what its one line must name.
#[test]
fn damaged_recordings_are_refused_with_their_line() {
    let data = |text: &str| format!("{HEADER}{text}").into_bytes();
    let header = |text: &str| format!("$timescale 1 us $end\n{text}").into_bytes();
    let cases: Vec<(&str, Vec<u8>, &[&str])> = vec![
        ("empty", vec![], &["standard input", "empty"]),
        ("white space only", b" \n\n ".to_vec(), &["line 3", "empty"]),
        ("a text", b"dear all,\nhello\n".to_vec(), &["line 1", "'dear'", "VCD"]),
        ("binary", vec![0, 255, 254, 7, 0, 0, 1], &["line 1", "VCD"]),
        ("control characters", b"\x1b[31mred\n".to_vec(), &["line 1", "'\\u{1b}[31mred'"]),
        (
            "no definitions end",
            HEADER.replace("$enddefinitions $end\n", "").into_bytes(),
            &["$enddefinitions"],
        ),
        (
            "cut in a header section",
            b"$timescale 1 us $end\n$scope module".to_vec(),
            &["line 2", "cut short"],
        ),
        ("endless comment", b"$comment this goes on\nand on".to_vec(), &["line 1", "$comment", "cut short"]),
        (
            "no time scale",
            HEADER.replace("$timescale 1 us $end\n", "").into_bytes(),
            &["line 6", "$timescale"],
        ),
        ("two time scales", header("$timescale 1 ns $end\n"), &["line 2", "second time scale"]),
        (
            "odd time scale",
            HEADER.replace("1 us", "2 us").into_bytes(),
            &["line 2", "'2 us'", "1, 10 or 100"],
        ),
        ("odd time unit", HEADER.replace("1 us", "1 fortnight").into_bytes(), &["line 2", "fs"]),
        ("nothing in a variable", header("$var wire 1 $end\n"), &["line 2", "$var", "name"]),
        ("variable without width", header("$var wire 0 ! enc_a $end\n"), &["line 2", "width '0'"]),
        ("variable with a long code", header("$var wire 1 12345678901234567 a $end\n"), &["line 2", "16"]),
        (
            "variable without end",
            header("$var wire 1 ! a $var wire 1 ! a $var wire 1 ! a\n"),
            &["line 2", "$end"],
        ),
        ("upscope at the top", header("$upscope $end\n"), &["line 2", "no scope"]),
        ("scopes without bottom", header(&"$scope module a $end\n".repeat(100_000)), &["line 66", "64 deep"]),
        ("keyword of the data", header("$dumpvars\n"), &["line 2", "'$dumpvars'"]),
        ("time goes back", data("#100\n0!\n#99\n1!\n#200\n"), &["line 10", "'#99'", "backwards", "#100"]),
        ("time that is no number", data("#1x0\n0!\n"), &["line 8", "'#1x0'"]),
        ("negative time", data("#-5\n0!\n"), &["line 8", "'#-5'"]),
        ("time without number", data("#\n0!\n"), &["line 8", "'#'"]),
        ("time past 64 bits", data("#99999999999999999999\n"), &["line 8", "584 years"]),
        ("time past nanoseconds", data("#18446744073709552\n"), &["line 8", "584 years"]),
        ("undeclared code", data("#0\n0!\n1$$\n#5\n"), &["line 10", "'1$$'", "declared"]),
        ("value without code", data("#0\n0\n#5\n"), &["line 9", "'0'", "identifier code"]),
        ("vector of no digits", data("#0\nb !\n"), &["line 9", "'b'", "vector"]),
        ("vector of wrong digits", data("#0\nb0123 !\n"), &["line 9", "'b0123'", "vector"]),
        ("vector without code", data("#0\nb01\n"), &["line 9", "cut short"]),
        ("real that is no number", data("#0\nrpm !\n"), &["line 9", "'rpm'", "real"]),
        ("real for a wire", data("#0\nr1.5 !\n"), &["line 9", "'!'", "level"]),
        ("a word in the data", data("#0\n0!\noops\n#5\n"), &["line 10", "'oops'"]),
        ("unknown keyword", data("#0\n$dumpports\n"), &["line 9", "'$dumpports'"]),
        ("end of nothing", data("#0\n$end\n"), &["line 9", "'$end'"]),
        ("dump in a dump", data("#0\n$dumpvars\n0!\n$dumpall\n"), &["line 11", "$end"]),
        ("dump without end", data("#0\n$dumpvars\n0!\n"), &["line 9", "cut short"]),
        ("cut in a keyword", data("#0\n$dumpv"), &["line 9", "cut short"]),
        ("cut in a time stamp", data("#1000\n0!\n#12"), &["line 10", "cut short"]),
        ("cut in a change", data("#1000\n0"), &["line 9", "cut short"]),
    ];
    for (what, input, parts) in cases {
        assert_refused(what, &replay(&input, &[]), parts);
    }
}

/// Words without end are refused at a limit, not collected.
#[test]
fn endless_words_are_refused_by_a_limit() {
    let digits = "1".repeat(200_000);
    let cases = [
        ("vector", format!("{HEADER}#0\nb{digits} !\n"), "131072"),
        ("time", format!("{HEADER}#{digits}\n"), "131072"),
        ("code", format!("{HEADER}#0\n1{digits}\n"), "131072"),
        ("name", format!("$timescale 1 us $end\n$var wire 1 ! {} $end\n", "n".repeat(600)), "512"),
        ("comment word", format!("$comment {digits} $end\n"), "131072"),
    ];
    for (what, input, limit) in cases {
        assert_refused(what, &replay(input.as_bytes(), &[]), &[limit, "line "]);
    }
}

/// Wires that are not there, or not once, with what there is instead.
#[test]
fn wrong_wires_are_refused_with_what_there_is() {
    let header = "$timescale 1 us $end $scope module top $end $scope module left $end\n\
        $var wire 1 ! a $end $var wire 1 # only $end $upscope $end $scope module right $end\n\
        $var wire 1 \" a $end $var wire 8 % port [7:0] $end $var real 64 & speed $end $upscope $end $upscope $end\n\
        $var wire 1 ! alias $end $enddefinitions $end\n#0\n";
    let cases: [(&str, &str, &[&str]); 7] = [
        ("b", "only", &["--a 'b'", "top.left.a, top.left.only, top.right.a, top.right.port[7:0]"]),
        ("a", "only", &["--a 'a'", "several", "top.left.a, top.right.a"]),
        ("only", "port", &["--b 'port'", "8 bits", "port[7] to port[0]"]),
        ("only", "port[8]", &["--b 'port[8]'", "no such wire"]),
        ("only", "speed", &["--b 'speed'", "number"]),
        ("left.a", "alias", &["--b 'alias'", "same wire"]),
        ("only", "", &["--b ''", "no such wire"]),
    ];
    for (a, b, parts) in cases {
        let output = replayed(&["-", "--a", a, "--b", b, "--pulses-per-rev", "400"], header.as_bytes());
        assert_refused(&format!("--a {a} --b {b}"), &output, parts);
    }
}

/// Arguments out of range and files that are none.
#[test]
fn wrong_arguments_are_refused_by_name() {
    let usual = ["-", "--a", "enc_a", "--b", "enc_b"];
    let cases: [(&[&str], &[&str]); 7] = [
        (&[], &["--pulses-per-rev"]),
        (&["--pulses-per-rev", "0"], &["--pulses-per-rev", "'0'", "100000"]),
        (&["--pulses-per-rev", "100001"], &["--pulses-per-rev", "'100001'"]),
        (&["--pulses-per-rev", "many"], &["--pulses-per-rev", "'many'"]),
        (&["--pulses-per-rev", "400", "--gear", "3"], &["--gear", "'3'", "48:16"]),
        (&["--pulses-per-rev", "400", "--gear", "0:1"], &["--gear", "'0:1'"]),
        (&["--pulses-per-rev", "400", "--encoder-on", "bench"], &["--encoder-on", "'bench'", "mandrel"]),
    ];
    for (more, parts) in cases {
        assert_refused(&more.join(" "), &replayed(&[&usual, more].concat(), HEADER.as_bytes()), parts);
    }
    let folder = std::env::temp_dir();
    let absent = folder.join("turntally-no-such-recording.vcd");
    for file in [absent.to_str().unwrap(), folder.to_str().unwrap()] {
        let output = replayed(&[file, "--a", "a", "--b", "b", "--pulses-per-rev", "1"], b"");
        assert_refused(file, &output, &[file, "read"]);
    }
}

/// Cut anywhere, a recording either is refused in one line or counts no step that it does not hold.
#[test]
fn recording_cut_at_any_byte_never_counts_more() {
    let whole = turning(-9, 700);
    for cut in 0..whole.len() {
        let output = replay(&whole.as_bytes()[..cut], &["--json"]);
        if output.status.success() {
            let found = json(&output);
            // The first time stamp is no step.
            let changes = (whole[..cut].matches("\n#").count() as i64 - 1).max(0);
            let counts = found["counts"].as_i64().unwrap();
            assert!((-changes..=0).contains(&counts) && found["illegal_transitions"] == 0, "{cut}: {found}");
        } else {
            assert_refused(&format!("cut at {cut}"), &output, &["line "]);
        }
    }
}

/// Two turns forward at a steady pace: every figure of the object.
#[test]
fn steady_turning_gives_every_figure() {
    // 3200 counts 250 us apart: 4000 counts a second, 2.5 turns a second at 1600 counts a turn.
    let found = json(&replay(turning(3200, 250).as_bytes(), &["--json"]));
    assert_eq!(found["counts"], 3200);
    assert_eq!((&found["forward_counts"], &found["reverse_counts"]), (&3200.into(), &0.into()));
    assert_eq!(found["illegal_transitions"], 0);
    assert!((found["turns"].as_f64().unwrap() - 2.0).abs() < 1e-9);
    assert!((found["duration_s"].as_f64().unwrap() - 0.801).abs() < 1e-9);
    assert!((found["peak_turns_per_s"].as_f64().unwrap() - 2.5).abs() < 1e-9, "{found}");
    assert_eq!((&found["unknown_gaps"], &found["chatter"]), (&0.into(), &0.into()));
    assert_eq!(found["dead_channel"], serde_json::Value::Null);
    let keys: Vec<&String> = found.as_object().unwrap().keys().collect();
    for key in ["counts", "forward_counts", "reverse_counts", "illegal_transitions", "turns", "duration_s"] {
        assert!(keys.iter().any(|k| *k == key), "{key}");
    }
}

/// The gear turns counts of the crank into turns of the mandrel, and not those of the mandrel itself.
#[test]
fn gear_counts_only_on_the_crank() {
    let text = turning(1600, 200);
    for (more, turns) in [
        (["--gear", "48:16", "--encoder-on", "crank"], 3.0),
        (["--gear", "48:16", "--encoder-on", "mandrel"], 1.0),
    ] {
        let found = json(&replay(text.as_bytes(), &[&more[..], &["--json"]].concat()));
        assert!((found["turns"].as_f64().unwrap() - turns).abs() < 1e-9, "{more:?}: {found}");
    }
}

/// Faults of the signal are described with the channel's name.
#[test]
fn faults_are_described_in_plain_words() {
    let dead: String =
        turning(1600, 300).lines().filter(|line| *line != "1\"").map(|line| format!("{line}\n")).collect();
    let illegal = format!("{HEADER}#0 0! 0\" #1000 1! 1\" #2000 0! #3000\n");
    let gap = format!("{HEADER}#0 0! 0\" #1000 1\" #2000 x! #4000 1! #5000 0\" #6000\n");
    let nothing = format!("{HEADER}#0 0! 0\" #1000\n");
    for (text, words) in [
        (dead.as_str(), "B never moved"),
        (&illegal, "1 illegal step, up to 2 counts uncertain"),
        (&gap, "1 gap in which a level was unknown"),
        (&nothing, "Nothing moved"),
        (&turning(40, 500), "A clean signal"),
    ] {
        let output = replay(text.as_bytes(), &[]);
        let text = String::from_utf8(output.stdout).unwrap();
        assert!(output.status.success() && text.contains(words), "no {words:?} in {text}");
    }
    assert_eq!(json(&replay(dead.as_bytes(), &["--json"]))["dead_channel"], "B");
    // The gap hides a step: it is not guessed, and the steps on both sides count.
    let found = json(&replay(gap.as_bytes(), &["--json"]));
    assert_eq!((&found["counts"], &found["unknown_gaps"]), (&2.into(), &1.into()), "{found}");
}

/// A file by its name and the same bytes on standard input come to the same.
#[test]
fn file_and_standard_input_agree() {
    let text = turning(-500, 300);
    let mut file = tempfile::NamedTempFile::new().unwrap();
    file.write_all(text.as_bytes()).unwrap();
    let path = file.path().to_str().unwrap();
    let args = ["--a", "bench.enc_a", "--b", "enc_b", "--pulses-per-rev", "100", "--json"];
    let by_name = replayed(&[&[path], &args[..]].concat(), b"");
    let by_pipe = replayed(&[&["-"], &args[..]].concat(), text.as_bytes());
    assert_eq!(json(&by_name)["counts"], -500);
    assert_eq!(by_name.stdout, by_pipe.stdout);
}
