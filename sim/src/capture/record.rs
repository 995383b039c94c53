//! Writing a recording.

use std::io::{self, BufWriter, Write};

use vcd::{IdCode, TimescaleUnit, Value, Writer};

/// What one unit of a recording's time is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Tick {
    /// One nanosecond: every time is kept exactly.
    Nanosecond,
    /// One microsecond: smaller files that viewers and decoders open faster. Times are rounded down,
    /// so changes within the same microsecond fall on one moment.
    Microsecond,
}

impl Tick {
    const fn nanoseconds(self) -> u64 {
        match self {
            Self::Nanosecond => 1,
            Self::Microsecond => 1_000,
        }
    }
}

/// A wire of a [`Recorder`]: its place in the list that it was made with, from 0.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Wire(pub usize);

/// Writes what happens on a few wires as a VCD file, in the scope `bench`.
///
/// # Examples
/// ```
/// use turntally_sim::capture::{Recorder, Tick, Wire};
/// let mut file = Vec::new();
/// let wires = [("enc_a", false), ("enc_b", false)];
/// let mut recorder = Recorder::new(&mut file, Tick::Microsecond, &wires)?;
/// recorder.change(250_000, Wire(1), true)?;
/// recorder.finish(1_000_000)?;
/// assert!(file.ends_with(b"#250\n1\"\n#1000\n"));
/// # Ok::<(), std::io::Error>(())
/// ```
pub struct Recorder<W: Write> {
    writer: Writer<BufWriter<W>>,
    tick: Tick,
    wires: Vec<(IdCode, bool)>,
    /// The time stamp written last, in ticks.
    now: u64,
}

impl<W: Write> std::fmt::Debug for Recorder<W> {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Recorder").field("tick", &self.tick).field("now", &self.now).finish_non_exhaustive()
    }
}

impl<W: Write> Recorder<W> {
    /// Writes the header and the level of each wire at time 0.
    ///
    /// # Errors
    /// What `out` says; [`io::ErrorKind::InvalidInput`] where a name is not one word of printable ASCII.
    pub fn new(out: W, tick: Tick, wires: &[(&str, bool)]) -> io::Result<Self> {
        let unprintable = |name: &str| name.is_empty() || !name.bytes().all(|byte| byte.is_ascii_graphic());
        if let Some((name, _)) = wires.iter().find(|(name, _)| unprintable(name)) {
            let what = format!("wire '{}': a name is one word of printable ASCII", name.escape_debug());
            return Err(io::Error::new(io::ErrorKind::InvalidInput, what));
        }
        let mut writer = Writer::new(BufWriter::with_capacity(1 << 16, out));
        let unit = match tick {
            Tick::Nanosecond => TimescaleUnit::NS,
            Tick::Microsecond => TimescaleUnit::US,
        };
        writer.version(concat!("turntally ", env!("CARGO_PKG_VERSION")))?;
        writer.timescale(1, unit)?;
        writer.add_module("bench")?;
        let mut known = Vec::with_capacity(wires.len());
        for &(name, level) in wires {
            known.push((writer.add_wire(1, name)?, level));
        }
        writer.upscope()?;
        writer.enddefinitions()?;
        writer.timestamp(0)?;
        writer.begin(vcd::SimulationCommand::Dumpvars)?;
        for &(code, level) in &known {
            writer.change_scalar(code, value(level))?;
        }
        writer.end()?;
        Ok(Self { writer, tick, wires: known, now: 0 })
    }

    /// A wire takes a level at a time in nanoseconds. The level it has already is not written again.
    ///
    /// # Errors
    /// What the output says; [`io::ErrorKind::InvalidInput`] for a wire that there is not, or a time
    /// before the last one: a recording that lies is worse than none.
    pub fn change(&mut self, time_ns: u64, wire: Wire, level: bool) -> io::Result<()> {
        let Some((code, known)) = self.wires.get_mut(wire.0) else {
            let what = format!("wire {} is not in the recording", wire.0);
            return Err(io::Error::new(io::ErrorKind::InvalidInput, what));
        };
        if *known == level {
            return Ok(());
        }
        *known = level;
        let code = *code;
        self.stamp(time_ns)?;
        self.writer.change_scalar(code, value(level))
    }

    /// Writes the time at which the recording ends, and all that is still held back.
    ///
    /// # Errors
    /// As [`change`](Self::change).
    pub fn finish(mut self, end_ns: u64) -> io::Result<()> {
        self.stamp(end_ns)?;
        self.writer.flush()
    }

    fn stamp(&mut self, time_ns: u64) -> io::Result<()> {
        let ticks = time_ns / self.tick.nanoseconds();
        if ticks < self.now {
            let what = format!("a recording cannot go back in time, to {time_ns} ns");
            return Err(io::Error::new(io::ErrorKind::InvalidInput, what));
        }
        if ticks > self.now {
            self.now = ticks;
            self.writer.timestamp(ticks)?;
        }
        Ok(())
    }
}

const fn value(level: bool) -> Value {
    if level { Value::V1 } else { Value::V0 }
}
