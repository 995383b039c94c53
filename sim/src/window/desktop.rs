//! `turntally bench`: the window on a desktop.

use std::io::Write;
use std::path::PathBuf;
use std::time::{Duration, Instant};

use eframe::egui::{Key, Modifiers, Ui, ViewportBuilder, ViewportCommand, Visuals, vec2};

use super::shelf::Shelf;
use super::sound::Speaker;
use super::{App, KEY, ground};
use crate::failure::Failure;
use crate::job::{Job, text_of};
use crate::words::visible::visible;

/// From frame to frame while something moves, where no display sets the pace: a little less than a 60th of a
/// second, so that one that does is never missed.
const PERIOD: Duration = Duration::from_millis(16);

/// The bench in a window: plan a job, crank it on the simulated winder, saw it, look at the yield
#[derive(Debug, Clone, clap::Args)]
#[command(after_help = "\
Examples:
  turntally bench               as it was left; at first with the demo job
  turntally bench chain.toml    with this job on the bench")]
pub struct Args {
    /// The job file, or `demo` for the one inside the program [default: the job last on the bench]
    pub job: Option<PathBuf>,
    /// The file of the log, with the spools and what was measured, which a counter's log is fetched into
    #[cfg(feature = "link")]
    #[arg(long, value_name = "FILE", default_value_os_t = crate::records::default_path())]
    pub log: PathBuf,
    /// Print what the counter says, line by line, and how quickly the window was drawn
    #[arg(long)]
    pub watch: bool,
}

/// Opens the window and stays until it is closed.
///
/// # Errors
/// One line for a wrong job file, and where there is no display.
pub fn run(args: &Args) -> Result<(), Failure> {
    // A wrong job is reported before any window comes up.
    let job = match &args.job {
        None => None,
        Some(path) => {
            #[cfg(feature = "link")]
            let shelf = Shelf::at(args.log.clone(), false);
            #[cfg(not(feature = "link"))]
            let shelf = Shelf::none();
            let text = text_of(path)?;
            Job::named(path, &text, shelf.known())?;
            Some(text)
        }
    };
    let watch = args.watch.then(Watch::new);
    #[cfg(feature = "link")]
    let log = args.log.clone();
    let options = eframe::NativeOptions {
        viewport: ViewportBuilder::default()
            .with_title("turntally")
            .with_app_id("turntally")
            .with_inner_size(vec2(1_120.0, 720.0))
            .with_min_inner_size(vec2(450.0, 300.0)),
        // A fifth of the work where there is no graphics card; nothing here is a gradient that shows bands.
        dithering: false,
        ..eframe::NativeOptions::default()
    };
    eframe::run_native(
        "turntally",
        options,
        Box::new(move |creation| {
            let kept =
                creation.storage.and_then(|storage| eframe::get_value(storage, KEY)).unwrap_or_default();
            #[cfg(feature = "link")]
            let app = App::with_log(kept, fastrand::u64(..), log);
            #[cfg(not(feature = "link"))]
            let app = App::new(kept, fastrand::u64(..));
            let mut app = app.paced(PERIOD);
            if let Some(text) = job {
                app.open(&text)?;
            }
            app.dress(&creation.egui_ctx);
            Ok(Box::new(Window { app, speaker: Speaker::new(), watch }))
        }),
    )
    .map_err(|error| {
        Failure::new(format_args!(
            "no window can be opened here ({}): turntally plan, wind and chart do the same without one",
            reason(&error.to_string())
        ))
    })
}

/// Why, without the place in a library's source that stands before it.
fn reason(error: &str) -> &str {
    let line = error.lines().next().unwrap_or_default();
    match line.rsplit_once(".rs:").and_then(|(_, rest)| rest.split_once(": ")) {
        Some((_, why)) => why.trim_end_matches('.'),
        None => line,
    }
}

struct Window {
    app: App,
    speaker: Speaker,
    watch: Option<Watch>,
}

impl eframe::App for Window {
    fn ui(&mut self, ui: &mut Ui, frame: &mut eframe::Frame) {
        if let Some(watch) = &mut self.watch {
            watch.frame(frame.info().cpu_usage, self.app.is_moving());
        }
        self.app.ui(ui);
        self.speaker.sound(self.app.hertz());
        if ui.input_mut(|input| input.consume_key(Modifiers::COMMAND, Key::Q)) {
            ui.ctx().send_viewport_cmd(ViewportCommand::Close);
        }
        if ui.input(|input| input.viewport().close_requested()) && !self.app.may_close() {
            ui.ctx().send_viewport_cmd(ViewportCommand::CancelClose);
        }
        if let Some(watch) = &mut self.watch {
            watch.say(&self.app.in_words());
        }
    }

    fn clear_color(&self, visuals: &Visuals) -> [f32; 4] {
        ground(visuals).to_normalized_gamma_f32()
    }

    fn on_exit(&mut self, _graphics: Option<&eframe::glow::Context>) {
        if let Some(watch) = &self.watch {
            watch.sum_up();
        }
    }

    fn save(&mut self, storage: &mut dyn eframe::Storage) {
        eframe::set_value(storage, KEY, self.app.kept());
    }
}

/// What `--watch` prints.
struct Watch {
    began: Instant,
    last: Option<Instant>,
    announced_first: bool,
    announced: String,
    /// Of frames while something moved: how long after the one before they came, and what each cost.
    apart: Vec<Duration>,
    cost: Vec<Duration>,
}

impl Watch {
    /// So many frames are looked back on: ten minutes.
    const MOST: usize = 36_000;

    fn new() -> Self {
        let (apart, cost) = (Vec::new(), Vec::new());
        Self {
            began: Instant::now(),
            last: None,
            announced_first: false,
            announced: String::new(),
            apart,
            cost,
        }
    }

    /// Another frame begins; the one before took `cost` seconds to make and to paint, and in it
    /// something `moved`.
    fn frame(&mut self, cost: Option<f32>, moved: bool) {
        let now = Instant::now();
        let last = self.last.replace(now);
        // The second frame begins when the first is on the screen.
        if last.is_some() && !std::mem::replace(&mut self.announced_first, last.is_some()) {
            print(&format!("first frame after {:.3} s", now.duration_since(self.began).as_secs_f64()));
        }
        if let Some(last) = last.filter(|_| moved && self.apart.len() < Self::MOST) {
            self.apart.push(now.duration_since(last));
            self.cost.extend(cost.and_then(|cost| Duration::try_from_secs_f32(cost).ok()));
        }
    }

    fn say(&mut self, now: &str) {
        if now != self.announced {
            print(now);
            now.clone_into(&mut self.announced);
        }
    }

    fn sum_up(&self) {
        let seconds = self.apart.iter().sum::<Duration>().as_secs_f64();
        if seconds > 0.0 {
            let mut cost = self.cost.clone();
            cost.sort_unstable();
            let at = |share: f64| cost.get((cost.len() as f64 * share) as usize).copied().unwrap_or_default();
            let (frames, median, most) = (self.apart.len(), at(0.5), at(0.99));
            print(&format!(
                "while something moved: {:.0} frames a second ({frames} in {seconds:.1} s), \
                 {median:.2?} each in the median, {most:.2?} at 99 %",
                frames as f64 / seconds
            ));
        }
    }
}

/// A line on standard output; that it is closed does not end the window.
fn print(line: &str) {
    _ = writeln!(std::io::stdout().lock(), "{}", visible(line));
}
