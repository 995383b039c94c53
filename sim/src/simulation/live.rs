//! The bench in a terminal: the counter's own screen, its lamp and its sound, while it winds.

use std::io::{self, Write};
use std::time::{Duration, Instant};

use turntally_core::bench::{Bench, Lamp, Sound};
use turntally_core::screen::{HEIGHT, WIDTH};
use turntally_core::time;
use turntally_firmware::display::Frame;

use crate::failure::Failure;

/// The view is drawn at most this often.
const REDRAW: Duration = Duration::from_millis(50);
/// Clears what an older, longer line left behind.
const LINE_END: &str = "\x1b[K\n";

/// The live view on standard error; what is to stay goes to standard output as plain lines.
#[derive(Debug)]
pub struct Live {
    pace: Option<f64>,
    terminal: bool,
    started: Instant,
    drawn: Option<Instant>,
    /// Lines of the view that stand on the terminal now.
    standing: usize,
    picture: Option<Frame>,
}

impl Live {
    /// At `pace` times real time, or as fast as it goes; drawing only on a terminal.
    #[must_use]
    pub fn new(pace: Option<f64>, terminal: bool) -> Self {
        Self { pace, terminal, started: Instant::now(), drawn: None, standing: 0, picture: None }
    }

    /// Takes the screen as it looks from now on.
    pub fn screen(&mut self, frame: &Frame) {
        if self.terminal {
            self.picture = Some(frame.clone());
        }
    }

    /// Waits for real time to come up with the bench, and draws.
    ///
    /// # Errors
    /// Where the terminal cannot be written.
    pub fn moment(&mut self, now: time::Instant, bench: &Bench) -> Result<(), Failure> {
        if let Some(pace) = self.pace {
            let due = self.started + Duration::from_secs_f64(now.as_micros() as f64 / 1e6 / pace);
            std::thread::sleep(due.saturating_duration_since(Instant::now()));
        }
        // The clock is looked at once in a while only: it costs more than a simulated millisecond.
        let look = self.pace.is_some() || now.as_micros().is_multiple_of(256_000);
        if self.terminal && look && self.drawn.is_none_or(|at| at.elapsed() >= REDRAW) {
            self.drawn = Some(Instant::now());
            self.draw(now, bench)?;
        }
        Ok(())
    }

    /// Prints a line that stays.
    ///
    /// # Errors
    /// Where it cannot be written.
    pub fn line(&mut self, line: &str) -> Result<(), Failure> {
        self.wipe()?;
        crate::files::output::print(line)
    }

    /// Takes the view away.
    ///
    /// # Errors
    /// Where the terminal cannot be written.
    pub fn finish(mut self) -> Result<(), Failure> {
        self.wipe()
    }

    fn wipe(&mut self) -> Result<(), Failure> {
        if self.standing > 0 {
            let mut err = io::stderr().lock();
            // Up to the view's first line, and everything below away.
            write!(err, "\x1b[{}A\x1b[J", self.standing)?;
            err.flush()?;
            self.standing = 0;
        }
        Ok(())
    }

    fn draw(&mut self, now: time::Instant, bench: &Bench) -> Result<(), Failure> {
        let Some(picture) = &self.picture else { return Ok(()) };
        let mut view = String::new();
        // A terminal that is too low scrolls: the view could not be found again to be drawn over.
        if terminal_size::terminal_size().is_none_or(|(_, rows)| u32::from(rows.0) > HEIGHT / 4 + 1) {
            for row in 0..HEIGHT / 4 {
                for column in 0..WIDTH / 2 {
                    view.push(braille(picture, 2 * column, 4 * row));
                }
                view.push_str(LINE_END);
            }
        }
        let outputs = bench.outputs();
        view += &format!(
            "{:8.1} s   lamp {:<14} sound {}{LINE_END}",
            now.as_micros() as f64 / 1e6,
            lamp_words(outputs.lamp),
            sound_words(outputs.sound),
        );
        let lines = view.matches('\n').count();
        // Over the old view in one piece, so that it does not flicker; a line that is too long for the
        // terminal is cut off, not folded, so that it stays one line.
        let up = if self.standing > 0 { format!("\x1b[{}A", self.standing) } else { String::new() };
        let mut err = io::stderr().lock();
        err.write_all(format!("\x1b[?7l{up}{view}\x1b[J\x1b[?7h").as_bytes())?;
        err.flush()?;
        self.standing = lines;
        Ok(())
    }
}

/// Two by four pixels as one braille letter (Unicode block 2800: its own order of the dots).
fn braille(frame: &Frame, x: u32, y: u32) -> char {
    const DOTS: [(u32, u32); 8] = [(0, 0), (0, 1), (0, 2), (1, 0), (1, 1), (1, 2), (0, 3), (1, 3)];
    let mut code = 0x2800;
    for (bit, (dx, dy)) in DOTS.into_iter().enumerate() {
        code |= u32::from(frame.pixel(x + dx, y + dy)) << bit;
    }
    char::from_u32(code).unwrap_or(' ')
}

const fn lamp_words(lamp: Lamp) -> &'static str {
    match lamp {
        Lamp::Off => "dark",
        Lamp::GreenSteady => "green",
        Lamp::GreenSlow => "green, slow",
        Lamp::GreenYellowSlow => "green, yellow slow",
        Lamp::YellowQuick => "yellow, quick",
        Lamp::YellowSteady => "yellow",
        Lamp::RedQuick => "red, quick",
    }
}

fn sound_words(sound: Sound) -> String {
    match sound {
        Sound::Silent => "none".to_owned(),
        Sound::Beats { every } => format!("a beat each {} ms", every.as_micros() / 1_000),
        Sound::Tone => "a long tone: stop now".to_owned(),
        Sound::Warble => "two notes in turn: too far".to_owned(),
        Sound::Rattle => "a rattle: fault".to_owned(),
        Sound::Fanfare => "rising notes: done".to_owned(),
    }
}
