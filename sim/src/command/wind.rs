//! `turntally wind`: a batch wound on the simulated bench, without a window.

use std::fmt::Display;
use std::io::{self, IsTerminal};
use std::path::{Path, PathBuf};
use std::str::FromStr;

use clap::Args as ClapArgs;
use serde::Serialize;
use turntally_core::bench::{Bench, Fault, Phase};
use turntally_core::cue::{DEFAULT_LEAD, MAX_LEAD};
use turntally_core::job::Lead;
use turntally_core::screen::{HEIGHT, WIDTH, fault_words};
use turntally_core::signal::Channel;
use turntally_core::time::{Duration, Instant};
#[cfg(all(feature = "link", unix))]
use turntally_firmware::app::App;
use turntally_firmware::display::Frame;
#[cfg(all(feature = "link", unix))]
use turntally_firmware::store::{Store, guard::Open};

use crate::capture::{Recorder, Tick, Wire};
use crate::failure::Failure;
use crate::files::kind::Kind;
use crate::files::output::{self, WholeFile};
use crate::job::Job;
#[cfg(all(feature = "link", unix))]
use crate::link::serve::Terminal;
use crate::lookup::{Learning, LookupArgs};
use crate::plan::spool::Running;
use crate::records;
use crate::simulation::board::{Line, Lines};
use crate::simulation::encoder::STEP_NS;
use crate::simulation::faults::{FaultKind, FaultSet};
#[cfg(all(feature = "link", unix))]
use crate::simulation::flash::VirtualFlash;
use crate::simulation::live::Live;
use crate::simulation::operator::OperatorProfile;
use crate::simulation::run::{self, Coil, Observer, Outcome, Released, Setup, doubt_counts};
use crate::simulation::wires::Wiring;
use crate::words::number::{fixed, turns, turns_past};

/// The run where none is chosen.
const DEFAULT_SEED: u64 = 1;

/// Wind a batch on the simulated bench: every encoder edge, every cue, every cut.
///
/// The counter that runs is the firmware's own code on virtual pins, in virtual time. The same seed
/// gives the same run, bit for bit.
#[derive(Debug, ClapArgs)]
#[command(after_help = "Example: turntally wind demo --operator hasty --faults bounce,noise --seed 7")]
pub struct Args {
    /// The job file; `demo` for the one inside the program
    job: PathBuf,
    #[command(flatten)]
    known: LookupArgs,
    /// The spool that the wire comes from, instead of the job file's wire.spool; the simulated bench subtracts
    /// nothing from it
    #[arg(long, value_name = "NAME")]
    spool: Option<String>,
    /// Seed of the run, a whole number: the same seed gives the same run; with --link it also identifies the
    /// counter to the computer [default: 1; with --link a new counter each time]
    #[arg(long, value_name = "NUMBER", value_parser = seed, allow_negative_numbers = true)]
    seed: Option<u64>,
    /// Who winds: careful, steady, brisk or hasty
    #[arg(long, default_value = "steady", value_name = "NAME")]
    operator: String,
    /// What is wrong with the electrics, separated by commas: bounce, long-bounce, noise,
    /// skipped-samples, late-reader, dead-a, dead-b, swapped, supply-dips, no-screen, loose-screen,
    /// stuck-keys
    #[arg(long, value_delimiter = ',', value_name = "FAULT")]
    faults: Vec<String>,
    /// Spikes on the encoder's wires: their width, how many a second, and on which wire: a, b, either or both
    #[arg(long, value_name = "WIDTH,RATE,WIRES")]
    spikes: Option<String>,
    /// A series resistor and a capacitor before each of the encoder's inputs
    #[arg(long, value_name = "RESISTOR,CAPACITOR")]
    input_filter: Option<String>,
    /// How long before the target "stop now" is signalled: a time such as 350ms, up to 2000ms; `learned` from coil
    /// to coil; or `off`
    #[arg(long, default_value = "learned", value_name = "TIME", allow_hyphen_values = true)]
    lead: String,
    /// Write every line of the board to a VCD file (IEEE 1364)
    #[arg(long, value_name = "TRACE.vcd")]
    record: Option<PathBuf>,
    /// Write the counter's screens to this folder as PNG, one for each change of state and each second
    #[arg(long, value_name = "DIR")]
    frames: Option<PathBuf>,
    /// Show the run in the terminal at this multiple of real time, 0.01 to 10000 [default: as fast as possible]
    #[arg(long, value_name = "TIMES", value_parser = pace, allow_negative_numbers = true)]
    pace: Option<f64>,
    /// Serve the counter's link on a pseudo-terminal, for `turntally link --port`, until it is interrupted;
    /// in real time where no --pace is given
    #[cfg(all(feature = "link", unix))]
    #[arg(long, conflicts_with = "json")]
    link: bool,
    /// Print one JSON object instead of text
    #[arg(long)]
    json: bool,
}

/// Runs the command.
///
/// # Errors
/// One line for whatever is wrong with its arguments, the job, or a file to be written.
pub fn run(args: &Args) -> Result<(), Failure> {
    let setup = setup(args)?;
    let known = records::lookup(&args.known)?.with_spool(args.spool.as_deref());
    let job = Job::load(&args.job, &known)?;
    let mut audience = Audience::new(args)?;
    audience.begin(&job)?;
    let outcome = run::wind(&job, setup, &mut audience)?;
    let spool = audience.spool.take();
    audience.finish(&outcome)?;
    if args.json {
        output::print_json(&Report::new(&job, &outcome, args, spool.as_ref()))
    } else {
        output::print(&summary(&outcome))
    }
}

fn setup(args: &Args) -> Result<Setup, Failure> {
    let profile: OperatorProfile =
        args.operator.parse().map_err(|error| Failure::value("--operator", &args.operator, error))?;
    let faults = args
        .faults
        .iter()
        .map(|name| name.parse::<FaultKind>().map_err(|error| Failure::value("--faults", name, error)))
        .collect::<Result<FaultSet, _>>()?;
    let wiring = Wiring {
        spikes: parsed("--spikes", args.spikes.as_deref())?,
        filter: parsed("--input-filter", args.input_filter.as_deref())?,
    };
    Ok(Setup { seed: args.seed.unwrap_or(DEFAULT_SEED), profile, faults, wiring, lead: lead(&args.lead)? })
}

/// The value of an option that was given.
fn parsed<T: FromStr<Err: Display>>(option: &str, text: Option<&str>) -> Result<Option<T>, Failure> {
    text.map(|text| text.parse().map_err(|error| Failure::value(option, text, error))).transpose()
}

fn seed(text: &str) -> Result<u64, String> {
    text.parse().map_err(|_| format!("only a whole number from 0 to {} is allowed", u64::MAX))
}

fn pace(text: &str) -> Result<f64, String> {
    let pace = text.parse().ok().filter(|pace| (0.01..=10_000.0).contains(pace));
    pace.ok_or_else(|| "only 0.01 to 10000 times real time is allowed".to_owned())
}

fn lead(text: &str) -> Result<Lead, Failure> {
    match text {
        "learned" => Ok(Lead::Learned(DEFAULT_LEAD)),
        "off" => Ok(Lead::Set(Duration::ZERO)),
        _ => {
            let most = MAX_LEAD.as_micros() / 1_000;
            let why = |error: String| {
                Failure::value("--lead", text, format_args!("{error}; up to {most} ms, or learned, or off"))
            };
            let lead: Duration =
                text.parse().map_err(|error: turntally_core::units::QuantityError| why(error.to_string()))?;
            if lead > MAX_LEAD {
                return Err(why("too long".to_owned()));
            }
            Ok(Lead::Set(lead))
        }
    }
}

/// Everybody who looks on: the capture, the pictures, the person at the terminal.
struct Audience {
    recording: Option<Recording>,
    frames: Option<Frames>,
    live: Option<Live>,
    spool: Option<Running>,
    #[cfg(all(feature = "link", unix))]
    link: Option<Terminal>,
    /// By which a computer on the link knows the counter: two runs are two counters, each with a log of its own.
    #[cfg(all(feature = "link", unix))]
    identity: u64,
    lines: bool,
}

impl Audience {
    fn new(args: &Args) -> Result<Self, Failure> {
        let terminal = io::stderr().is_terminal() && !args.json;
        let pace = args.pace;
        #[cfg(all(feature = "link", unix))]
        let pace = pace.or(args.link.then_some(1.0));
        let live = if terminal || pace.is_some() { Some(Live::new(pace, terminal)) } else { None };
        Ok(Self {
            #[cfg(all(feature = "link", unix))]
            link: if args.link { Some(serve_link()?) } else { None },
            #[cfg(all(feature = "link", unix))]
            identity: args.seed.unwrap_or_else(|| fastrand::u64(..)),
            recording: args.record.as_deref().map(Recording::new).transpose()?,
            frames: args.frames.as_deref().map(Frames::new).transpose()?,
            live,
            spool: None,
            lines: !args.json,
        })
    }

    /// What is to be known before the first coil.
    fn begin(&mut self, job: &Job) -> Result<(), Failure> {
        let words = [
            job.learning
                .as_ref()
                .and_then(Learning::spring_words)
                .map(|words| format!("spring ratio {words}\n")),
            job.learning.as_ref().and_then(Learning::gap_words).map(|words| format!("gap {words}\n")),
        ];
        self.spool = Running::of(job, job.rings_to_make()?);
        let spool = self.spool.as_ref().map(|spool| format!("{}\n{}", spool.words(), spool_warning(spool)));
        let lines: String = words.into_iter().flatten().chain(spool).collect();
        self.say(&lines)
    }

    fn say(&mut self, lines: &str) -> Result<(), Failure> {
        if !self.lines || lines.is_empty() {
            return Ok(());
        }
        let printed = match &mut self.live {
            Some(live) => live.line(lines),
            None => output::print(lines),
        };
        match printed {
            // Nobody reads the lines any more, but the files are still wanted.
            Err(failure) if failure.is_broken_pipe() && self.writes_files() => {
                self.lines = false;
                Ok(())
            }
            printed => printed,
        }
    }

    const fn writes_files(&self) -> bool {
        self.recording.is_some() || self.frames.is_some()
    }

    fn finish(self, outcome: &Outcome) -> Result<(), Failure> {
        if let Some(recording) = self.recording {
            // Whole milliseconds, which seconds in binary are not: the last edge must not come after the end.
            recording.finish((outcome.seconds * 1e3).round() as u64 * STEP_NS)?;
        }
        if let Some(live) = self.live {
            live.finish()?;
        }
        Ok(())
    }
}

impl Observer for Audience {
    fn lines(&mut self, at_ns: u64, levels: u32) -> Result<(), Failure> {
        self.recording.as_mut().map_or(Ok(()), |recording| recording.lines(at_ns, levels))
    }

    fn wants_lines(&self) -> bool {
        self.recording.is_some()
    }

    fn screen(&mut self, now: Instant, phase: Phase, frame: &Frame) -> Result<(), Failure> {
        if let Some(live) = &mut self.live {
            live.screen(frame);
        }
        self.frames.as_mut().map_or(Ok(()), |frames| frames.screen(now, phase, frame))
    }

    fn coil(&mut self, coil: &Coil) -> Result<(), Failure> {
        let mut lines = coil_line(coil);
        if let Some(spool) = &mut self.spool {
            spool.coil(coil.record.turns, coil.record.rings);
            lines += &format!("  {}\n", spool.words());
            lines += &spool_warning(spool);
        }
        self.say(&lines)
    }

    #[cfg(all(feature = "link", unix))]
    fn board(&mut self, app: &mut App, store: &mut Store<VirtualFlash, Open>) -> Result<(), Failure> {
        let Some(link) = &mut self.link else { return Ok(()) };
        app.identify(self.identity);
        link.serve(app, store)
    }

    #[cfg(all(feature = "link", unix))]
    fn stays(&self) -> bool {
        self.link.is_some()
    }

    fn moment(&mut self, now: Instant, bench: &Bench) -> Result<(), Failure> {
        self.live.as_mut().map_or(Ok(()), |live| live.moment(now, bench))
    }
}

#[cfg(all(feature = "link", unix))]
fn serve_link() -> Result<Terminal, Failure> {
    let terminal = Terminal::new()?;
    output::print(&format!("link: {}\n", terminal.name()))?;
    Ok(terminal)
}

fn spool_warning(spool: &Running) -> String {
    spool.warning().map_or_else(String::new, |warning| format!("warning: {warning}\n"))
}

fn coil_line(coil: &Coil) -> String {
    let record = &coil.record;
    let fate = match coil.released {
        None => "thrown away".to_owned(),
        Some(Released { pieces: 1, .. }) => {
            format!("{} rings guaranteed, {} cut", record.rings, coil.rings_cut)
        }
        Some(Released { pieces, .. }) => format!(
            "too long for the cradle, sawn in {pieces} pieces: {} rings guaranteed, {} cut",
            record.rings, coil.rings_cut
        ),
    };
    let target = record.target_turns.as_f64();
    format!(
        "target {:>7}  stopped {:>7} ({})  counted {:>7} turns  {fate}\n",
        turns(target),
        turns(coil.stopped_at_turns),
        turns_past(coil.stopped_at_turns, target),
        turns(record.turns.as_f64()),
    )
}

fn summary(outcome: &Outcome) -> String {
    let kept = outcome.coils.iter().filter(|coil| coil.record.kept).count();
    let scrapped = outcome.coils.len() - kept;
    let mut text = format!(
        "{} rings wanted, {} guaranteed, {} cut from {kept} coils",
        outcome.rings_to_make,
        outcome.rings_promised(),
        outcome.rings_cut(),
    );
    if scrapped > 0 {
        text += &format!(" ({scrapped} thrown away)");
    }
    text += &format!(
        "\n{} encoder edges in {} s of winding; {} counts lost\n",
        outcome.edges,
        fixed(outcome.seconds, 0),
        outcome.lost_counts(),
    );
    if outcome.illegal() > 0 {
        text += &format!("{} impossible steps seen; the guarantee allows for them\n", outcome.illegal());
    }
    for &fault in &outcome.faults {
        let (title, [first, second]) = fault_words(fault);
        text += &format!("fault: {title}. {first} {second}\n");
    }
    if !outcome.finished {
        text += "The batch was given up: the counter reported a count that cannot be trusted.\n";
    }
    text
}

#[derive(Serialize)]
struct Report<'a> {
    job: &'a str,
    seed: u64,
    operator: &'a str,
    rings_to_make: u32,
    rings_promised: u64,
    rings_cut: u64,
    finished: bool,
    coils: Vec<CoilReport>,
    lost_counts: u64,
    illegal_transitions: u64,
    faults: Vec<&'static str>,
    edges: u64,
    duration_s: f64,
    #[serde(skip_serializing_if = "Option::is_none")]
    spool: Option<&'a str>,
    /// Wire that would be left on it.
    #[serde(skip_serializing_if = "Option::is_none")]
    spool_left_mm: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    spool_left_g: Option<f64>,
}

#[derive(Serialize)]
struct CoilReport {
    target_turns: f64,
    stopped_at_turns: f64,
    overshoot_turns: f64,
    counted_turns: f64,
    true_turns: f64,
    counted_counts: i64,
    true_counts: i64,
    kept: bool,
    rings_promised: u32,
    rings_cut: u32,
    /// Into which the coil was cut to fit the cradle; none if it was thrown away.
    pieces: u32,
    doubt_counts: Option<u64>,
    illegal_transitions: u64,
    faults: Vec<&'static str>,
    stop_time_s: Option<f64>,
}

impl<'a> Report<'a> {
    fn new(job: &'a Job, outcome: &Outcome, args: &'a Args, spool: Option<&'a Running>) -> Self {
        let spool = spool.map(Running::spool);
        Self {
            job: &job.name,
            seed: args.seed.unwrap_or(DEFAULT_SEED),
            operator: &args.operator,
            rings_to_make: outcome.rings_to_make,
            rings_promised: outcome.rings_promised(),
            rings_cut: outcome.rings_cut(),
            finished: outcome.finished,
            coils: outcome.coils.iter().map(CoilReport::new).collect(),
            lost_counts: outcome.lost_counts(),
            illegal_transitions: outcome.illegal(),
            faults: outcome.faults.iter().map(|&fault| fault_key(fault)).collect(),
            edges: outcome.edges,
            duration_s: outcome.seconds,
            spool: spool.map(|spool| spool.name.as_str()),
            spool_left_mm: spool.map(|spool| spool.left.mm().get()),
            spool_left_g: spool.map(|spool| spool.left_mass().get()),
        }
    }
}

impl CoilReport {
    fn new(coil: &Coil) -> Self {
        let record = &coil.record;
        Self {
            target_turns: record.target_turns.as_f64(),
            stopped_at_turns: coil.stopped_at_turns,
            overshoot_turns: coil.stopped_at_turns - record.target_turns.as_f64(),
            counted_turns: record.turns.as_f64(),
            true_turns: coil.true_turns,
            counted_counts: record.counts,
            true_counts: coil.true_counts,
            kept: record.kept,
            rings_promised: record.rings,
            rings_cut: coil.rings_cut,
            pieces: coil.released.map_or(0, |released| released.pieces),
            doubt_counts: doubt_counts(record.error_bound),
            illegal_transitions: record.illegal,
            faults: record.faults.iter().map(fault_key).collect(),
            stop_time_s: record.stop_time.map(|time| time.as_micros() as f64 / 1e6),
        }
    }
}

/// A fault's name in JSON.
#[must_use]
pub const fn fault_key(fault: Fault) -> &'static str {
    match fault {
        Fault::Dead(Channel::A) => "dead-a",
        Fault::Dead(Channel::B) => "dead-b",
        Fault::MissedSteps => "missed-steps",
        Fault::Chatter => "chatter",
        Fault::Backwards => "backwards",
        Fault::SamplesLost => "samples-lost",
        Fault::OutOfRange => "out-of-range",
        Fault::PowerCut => "power-cut",
    }
}

/// Every line of the board, going to a VCD file.
struct Recording {
    whole: WholeFile,
    recorder: Option<Recorder<std::fs::File>>,
    levels: u32,
}

impl Recording {
    fn new(path: &Path) -> Result<Self, Failure> {
        Ok(Self { whole: WholeFile::create(path, Kind::Vcd)?, recorder: None, levels: Lines::new().levels() })
    }

    /// Begins with these levels: an encoder may stand anywhere, and its first sample is no step.
    fn begin(&self, levels: u32) -> Result<Recorder<std::fs::File>, Failure> {
        let wires: Vec<(&str, bool)> =
            Line::ALL.iter().map(|&line| (line.name(), levels >> line as u32 & 1 == 1)).collect();
        Recorder::new(self.whole.writer()?, Tick::Microsecond, &wires)
            .map_err(|error| self.whole.failure(&error))
    }

    fn lines(&mut self, at_ns: u64, levels: u32) -> Result<(), Failure> {
        let Some(recorder) = &mut self.recorder else {
            self.recorder = Some(self.begin(levels)?);
            self.levels = levels;
            return Ok(());
        };
        let mut changed = self.levels ^ levels;
        while changed != 0 {
            let line = changed.trailing_zeros();
            changed &= changed - 1;
            recorder
                .change(at_ns, Wire(line as usize), levels >> line & 1 == 1)
                .map_err(|error| self.whole.failure(&error))?;
        }
        self.levels = levels;
        Ok(())
    }

    fn finish(mut self, end_ns: u64) -> Result<(), Failure> {
        let recorder = match self.recorder.take() {
            Some(recorder) => recorder,
            None => self.begin(self.levels)?,
        };
        recorder.finish(end_ns).map_err(|error| self.whole.failure(&error))?;
        self.whole.finish()
    }
}

/// The counter's screens as PNG files.
struct Frames {
    folder: PathBuf,
    number: u32,
    last: Option<(Instant, Phase)>,
}

impl Frames {
    fn new(folder: &Path) -> Result<Self, Failure> {
        std::fs::create_dir_all(folder).map_err(|error| Failure::file("make the folder", folder, &error))?;
        Ok(Self { folder: folder.to_owned(), number: 0, last: None })
    }

    fn screen(&mut self, now: Instant, phase: Phase, frame: &Frame) -> Result<(), Failure> {
        const SECOND: Duration = Duration::from_millis(1_000);
        if self.last.is_some_and(|(at, before)| before == phase && now.since(at) < SECOND) {
            return Ok(());
        }
        self.last = Some((now, phase));
        self.number += 1;
        let name = format!("{:05}-{}.png", self.number, format!("{phase:?}").to_lowercase());
        output::write_bytes(&self.folder.join(name), Kind::Png, &png(frame, 3)?)
    }
}

/// A picture of the screen, each pixel a square of `scale`, light on dark.
///
/// # Errors
/// Where the picture cannot be encoded.
pub fn png(frame: &Frame, scale: u32) -> Result<Vec<u8>, Failure> {
    let mut bytes = Vec::new();
    let mut encoder = png::Encoder::new(&mut bytes, WIDTH * scale, HEIGHT * scale);
    encoder.set_color(png::ColorType::Grayscale);
    encoder.set_depth(png::BitDepth::One);
    let mut writer = encoder.write_header().map_err(Failure::new)?;
    let row_bytes = (WIDTH * scale).div_ceil(8) as usize;
    let mut data = Vec::with_capacity(row_bytes * (HEIGHT * scale) as usize);
    for y in 0..HEIGHT * scale {
        let mut row = vec![0_u8; row_bytes];
        for x in 0..WIDTH * scale {
            if frame.pixel(x / scale, y / scale) {
                row[(x / 8) as usize] |= 0x80 >> (x % 8);
            }
        }
        data.extend_from_slice(&row);
    }
    writer.write_image_data(&data).map_err(Failure::new)?;
    writer.finish().map_err(Failure::new)?;
    Ok(bytes)
}
