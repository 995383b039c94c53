//! `turntally bench`: the window on a desktop.

use std::path::PathBuf;

use eframe::egui::{Ui, ViewportBuilder, vec2};

use super::{App, KEY};
use crate::failure::Failure;
use crate::job::{Job, text_of};

/// The bench in a window: plan a job, crank it on the simulated winder, saw it, look at the yield
#[derive(Debug, Clone, clap::Args)]
#[command(after_help = "\
Examples:
  turntally bench               as it was left; at first with the demo job
  turntally bench chain.toml    with this job on the bench")]
pub struct Args {
    /// The job file, or `demo` for the one inside the program [default: the job last on the bench]
    pub job: Option<PathBuf>,
}

/// Opens the window and stays until it is closed.
///
/// # Errors
/// One line for a wrong job file, and where there is no display.
pub fn run(args: &Args) -> Result<(), Failure> {
    // A wrong job is told before any window comes up.
    let job = match &args.job {
        None => None,
        Some(path) => {
            let text = text_of(path)?;
            Job::named(path, &text)?;
            Some(text)
        }
    };
    let options = eframe::NativeOptions {
        viewport: ViewportBuilder::default()
            .with_title("turntally")
            .with_app_id("turntally")
            .with_inner_size(vec2(1_120.0, 720.0))
            .with_min_inner_size(vec2(450.0, 300.0)),
        ..eframe::NativeOptions::default()
    };
    eframe::run_native(
        "turntally",
        options,
        Box::new(move |creation| {
            let kept =
                creation.storage.and_then(|storage| eframe::get_value(storage, KEY)).unwrap_or_default();
            let mut app = App::new(kept, fastrand::u64(..));
            if let Some(text) = job {
                app.open(&text)?;
            }
            Ok(Box::new(Window { app }))
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
}

impl eframe::App for Window {
    fn ui(&mut self, ui: &mut Ui, _frame: &mut eframe::Frame) {
        self.app.ui(ui);
    }

    fn save(&mut self, storage: &mut dyn eframe::Storage) {
        eframe::set_value(storage, KEY, self.app.kept());
    }
}
