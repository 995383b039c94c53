//! `turntally replay`: counts the turns in a recording of an encoder's two channels.
//!
//! The recording goes through the same decoder and the same signal watch as the counter's samples, so
//! what a logic analyser saw on the bench can be compared with what the counter showed.

use std::fs::File;
use std::io;
use std::path::PathBuf;

use clap::ValueEnum;
use serde::Serialize;
use turntally_core::counter::{CountsPerTurn, Gear, MAX_PULSES_PER_REV, Shaft};
use turntally_core::signal::{Channel, ERROR_PER_CHATTER, ERROR_PER_ILLEGAL, SignalWatch};
use turntally_core::time::Instant;

use crate::capture::{self, CaptureError, Input, Recording, Sample, Wanted};
use crate::failure::Failure;
use crate::files::input;
use crate::files::kind::Kind;
use crate::files::output;
use crate::words::number::{fixed, turns};

/// Count the turns in a recording of an encoder's two channels.
///
/// A recording is a VCD file, a session file of sigrok (.sr), or a CSV table. A CSV table has names in its first
/// line and times in its first column, whose name gives their unit (`time_s`, `Time [ms]`, `us`); or it is one that
/// sigrok-cli writes with -O csv. The format is recognised from the contents of the file, not from its name.
#[derive(Debug, clap::Args)]
pub struct Args {
    /// The recording: VCD, sigrok session or CSV; - reads standard input
    #[arg(value_name = "TRACE")]
    trace: PathBuf,
    /// Name of the recorded signal that is encoder channel A; in a VCD file with or without its scopes
    /// (bench.enc_a, enc_a), and for one bit of a vector with the bit's number, such as `port[3]`
    #[arg(long, value_name = "NAME")]
    a: String,
    /// The wire that is channel B
    #[arg(long, value_name = "NAME")]
    b: String,
    /// Pulses per revolution of the encoder on one channel; each pulse is four counts
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u32).range(1..=i64::from(MAX_PULSES_PER_REV)))]
    pulses_per_rev: u32,
    /// Tooth counts of the crank's wheel and the mandrel's
    #[arg(long, value_name = "CRANK:MANDREL", default_value = "1:1")]
    gear: Gear,
    /// The shaft that carries the encoder
    #[arg(long, value_enum, default_value_t)]
    encoder_on: EncoderOn,
    /// Print one JSON object
    #[arg(long)]
    json: bool,
}

#[derive(Debug, Clone, Copy, Default, ValueEnum)]
enum EncoderOn {
    #[default]
    Crank,
    Mandrel,
}

/// What a recording holds.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[non_exhaustive]
pub struct Replay {
    /// Forward less reverse counts.
    pub counts: i64,
    /// Counts forward.
    pub forward_counts: u64,
    /// Counts in reverse.
    pub reverse_counts: u64,
    /// Steps in which both channels changed at once.
    pub illegal_transitions: u64,
    /// Turns of the mandrel that `counts` make; negative for more reverse than forward.
    pub turns: f64,
    /// Seconds from the first time stamp to the last.
    pub duration_s: f64,
    /// The greatest speed either way over 100 ms, in turns of the mandrel per second: between two
    /// steps at least that far apart. A recording shorter than 100 ms has its mean speed.
    pub peak_turns_per_s: f64,
    /// Times in which the level of a channel was unknown (`x` or `z`), but for the time before both
    /// were known first.
    pub unknown_gaps: u64,
    /// Runs of counts that no hand can make.
    pub chatter: u64,
    /// The channel that stood still for half a revolution while the other moved.
    pub dead_channel: Option<&'static str>,
    /// Changes of channel A.
    pub a_changes: u64,
    /// Changes of channel B.
    pub b_changes: u64,
}

/// Counts a recording: the wires are those that `recording` was opened with, A first.
///
/// # Errors
/// What the recording cannot be read for.
pub fn replay(
    recording: &mut (impl Recording + ?Sized),
    pulses_per_rev: u32,
    per_turn: CountsPerTurn,
) -> Result<Replay, CaptureError> {
    let mut watch = SignalWatch::new(pulses_per_rev, 0);
    let mut peak = PeakSpeed::new();
    let mut changes = [0_u64; 2];
    let mut last = None;
    let (mut gaps, mut chatter, mut dead) = (0, 0, None);
    while let Some(sample) = recording.next_sample()? {
        let Some(pins) = pins(sample) else {
            if last.take().is_some() {
                gaps += 1;
                watch.forget_level();
            }
            continue;
        };
        let changed = last.replace(pins).unwrap_or(pins) ^ pins;
        changes[0] += u64::from(changed >> 1);
        changes[1] += u64::from(changed & 1);
        let reading = watch.push(pins, Instant::from_micros(sample.time_ns / 1_000));
        chatter += u64::from(reading.chatter);
        dead = dead.or(reading.dead);
        if reading.net != 0 {
            peak.moved(sample.time_ns, watch.decoder().position());
        }
    }
    let decoder = watch.decoder();
    let (start_ns, span_ns) = (recording.first_ns(), recording.span_ns());
    let counts = decoder.position();
    Ok(Replay {
        counts,
        forward_counts: decoder.forward(),
        reverse_counts: decoder.reverse(),
        illegal_transitions: decoder.illegal(),
        turns: per_turn.turns(counts).map_or(counts as f64 / per_turn.as_f64(), |turns| turns.as_f64()),
        duration_s: span_ns as f64 / 1e9,
        peak_turns_per_s: peak.counts_per_s(start_ns, start_ns.saturating_add(span_ns)) / per_turn.as_f64(),
        unknown_gaps: gaps,
        chatter,
        dead_channel: dead.map(|channel| match channel {
            Channel::A => "A",
            Channel::B => "B",
        }),
        a_changes: changes[0],
        b_changes: changes[1],
    })
}

/// A in bit 1 and B in bit 0, if both are known.
fn pins(sample: Sample) -> Option<u8> {
    Some(u8::from(sample.level(0)?) << 1 | u8::from(sample.level(1)?))
}

/// The greatest speed over a window of 100 ms, either way, in constant memory.
///
/// A window ends at every whole millisecond after the first step. Its speed is taken from its last
/// step back to the last step before it began: the counts between the two over the time between
/// them, but over no less than 100 ms. So a steady speed comes out exactly even from a coarse
/// encoder, where the counts in a fixed window would be one too many or too few, and a single bounce
/// is no speed at all. A recording shorter than the window has its mean speed.
#[derive(Debug, Clone)]
struct PeakSpeed {
    /// The last step by the end of each of the last 100 milliseconds, by milliseconds modulo 100.
    steps: [Step; WINDOW_MS as usize],
    first_ns: Option<u64>,
    /// Milliseconds since the first step that are over.
    ms: u64,
    last: Step,
    best: f64,
}

/// The length of the window.
const WINDOW_MS: u64 = 100;
const NS_PER_MS: u64 = 1_000_000;

/// A position and the time it was reached.
#[derive(Debug, Clone, Copy, Default)]
struct Step {
    at_ns: u64,
    position: i64,
}

impl PeakSpeed {
    fn new() -> Self {
        let steps = [Step::default(); WINDOW_MS as usize];
        Self { steps, first_ns: None, ms: 0, last: Step::default(), best: 0.0 }
    }

    /// The position changed to `position` at this time; times never go back.
    #[inline]
    fn moved(&mut self, at_ns: u64, position: i64) {
        let step = Step { at_ns, position };
        if let Some(first_ns) = self.first_ns {
            self.look_until(at_ns.saturating_sub(first_ns) / NS_PER_MS);
        } else {
            self.first_ns = Some(at_ns);
            self.steps = [step; WINDOW_MS as usize];
        }
        self.last = step;
    }

    /// The greatest speed in counts per second of a recording from `start_ns` to `end_ns`.
    fn counts_per_s(mut self, start_ns: u64, end_ns: u64) -> f64 {
        let Some(first_ns) = self.first_ns else { return 0.0 };
        let span_ns = end_ns.saturating_sub(start_ns);
        if span_ns < WINDOW_MS * NS_PER_MS {
            let counts = self.last.position.unsigned_abs() as f64;
            return if span_ns == 0 { 0.0 } else { counts * 1e9 / span_ns as f64 };
        }
        self.look_until(end_ns.saturating_sub(first_ns) / NS_PER_MS + 1);
        self.best
    }

    /// Looks at the windows that end with each millisecond before `ms`; no step came in them since
    /// the last one.
    #[inline]
    fn look_until(&mut self, ms: u64) {
        // Once the whole window stands still, standing longer changes nothing.
        let seen = ms.min(self.ms + WINDOW_MS);
        while self.ms < seen {
            let slot = &mut self.steps[(self.ms % WINDOW_MS) as usize];
            let ns = self.last.at_ns.saturating_sub(slot.at_ns).max(WINDOW_MS * NS_PER_MS);
            let counts = self.last.position.abs_diff(slot.position);
            self.best = self.best.max(counts as f64 * 1e9 / ns as f64);
            *slot = self.last;
            self.ms += 1;
        }
        self.ms = self.ms.max(ms);
    }
}

/// Runs `turntally replay`.
///
/// # Errors
/// One line where the recording cannot be read or lies, a wire is not there, or the output fails.
pub fn run(args: &Args) -> Result<(), Failure> {
    let stdin = args.trace.as_os_str() == "-";
    let name = if stdin { "standard input".to_owned() } else { args.trace.display().to_string() };
    let input = if stdin {
        Input::Stream(Box::new(io::stdin().lock()))
    } else {
        let file = File::open(&args.trace).map_err(|error| Failure::file("read", &args.trace, &error))?;
        input::note(&args.trace, Kind::Vcd);
        Input::from(file)
    };
    let shaft = match args.encoder_on {
        EncoderOn::Crank => Shaft::Crank,
        EncoderOn::Mandrel => Shaft::Mandrel,
    };
    let per_turn = CountsPerTurn::new(args.pulses_per_rev, shaft, args.gear).ok_or_else(|| {
        let why = format_args!("only 1 to {MAX_PULSES_PER_REV} is allowed");
        Failure::value("--pulses-per-rev", args.pulses_per_rev, why)
    })?;
    let failed = |error: CaptureError| Failure::new(format_args!("{name}: {error}"));
    let wanted = [Wanted::new("--a", &args.a), Wanted::new("--b", &args.b)];
    let mut recording = capture::open(input, &wanted).map_err(failed)?;
    if recording.same_wire(0, 1) {
        return Err(Failure::value("--b", &args.b, "this is the same wire as --a; two are needed"));
    }
    let found = replay(&mut *recording, args.pulses_per_rev, per_turn).map_err(failed)?;
    if args.json {
        return output::print_json(&found);
    }
    let wires = format!("A {}, B {}", recording.path(0).unwrap_or("?"), recording.path(1).unwrap_or("?"));
    output::print(&(summary(&name, &wires, &found) + "\n"))
}

/// The summary for people, without a line break at the end.
fn summary(name: &str, wires: &str, found: &Replay) -> String {
    let dead = found.dead_channel.map_or("none".to_owned(), |channel| format!("channel {channel}"));
    let rows = [
        ("recording", format!("{name}, {} s", fixed(found.duration_s, 3))),
        ("wires", wires.to_owned()),
        (
            "counts",
            format!("{} ({} forward, {} reverse)", found.counts, found.forward_counts, found.reverse_counts),
        ),
        ("turns", turns(found.turns)),
        ("peak speed", format!("{} turns/s over {WINDOW_MS} ms", fixed(found.peak_turns_per_s, 2))),
        ("illegal steps", found.illegal_transitions.to_string()),
        ("chatter", found.chatter.to_string()),
        ("unknown gaps", found.unknown_gaps.to_string()),
        ("dead channel", dead),
    ];
    let mut text = String::new();
    for (label, value) in rows {
        text.push_str(&format!("{label:<16}{value}\n"));
    }
    text.push('\n');
    text.push_str(&verdicts(found).join("\n"));
    text
}

/// What the findings mean, in plain words; at least one line.
fn verdicts(found: &Replay) -> Vec<String> {
    let mut lines = Vec::new();
    let still = |channel: &str, other: &str, changes: u64| {
        format!("{channel} never moved while {other} changed {changes} times: check its wire.")
    };
    match (found.a_changes, found.b_changes) {
        (0, 0) => lines.push("Nothing moved: is this the encoder, and was it turned?".to_owned()),
        (0, changes) if changes > 1 => lines.push(still("A", "B", changes)),
        (changes, 0) if changes > 1 => lines.push(still("B", "A", changes)),
        _ => {}
    }
    if let (Some(channel), 1.., 1..) = (found.dead_channel, found.a_changes, found.b_changes) {
        lines.push(format!(
            "{channel} stood still for half a revolution while the other channel moved: a loose wire? \
             Counts are missing."
        ));
    }
    if found.illegal_transitions > 0 {
        lines.push(format!(
            "{}, up to {} counts uncertain: sample faster, or look for noise.",
            plural(found.illegal_transitions, "illegal step"),
            found.illegal_transitions.saturating_mul(ERROR_PER_ILLEGAL)
        ));
    }
    if found.chatter > 0 {
        lines.push(format!(
            "{} of counts that no hand can make, up to {} counts uncertain: contact bounce or noise.",
            plural(found.chatter, "run"),
            found.chatter.saturating_mul(ERROR_PER_CHATTER)
        ));
    }
    if found.unknown_gaps > 0 {
        lines.push(format!(
            "{} in which a level was unknown: steps made then are not counted.",
            plural(found.unknown_gaps, "gap")
        ));
    }
    if lines.is_empty() {
        lines.push("A clean signal: every step was counted.".to_owned());
    }
    lines
}

fn plural(count: u64, what: &str) -> String {
    format!("{count} {what}{}", if count == 1 { "" } else { "s" })
}
