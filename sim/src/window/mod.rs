//! The bench as a window: plan a job, wind it on the simulated bench, look at what came of it.
//!
//! [`App`] needs only egui: the desktop's window, the browser's page and the tests each put it on
//! their own ground.

use std::time::Duration;

use eframe::egui::{
    CentralPanel, Color32, Context, Frame, Key as Press, Label, Margin, Modifiers, Panel, ScrollArea,
    ThemePreference, Ui, ViewportCommand, Visuals,
};
use serde::{Deserialize, Serialize};
use web_time::Instant;

use crate::failure::Failure;
use crate::job::{DEMO, Job};
use crate::words::number;
use batch::coils;
use cable::Cable;
use chart_view::Charted;
use files::{Files, Outgoing};
use look::{Palette, bold, card, main_button};
use pacer::Pacer;
use plan_view::{Action, Planner};
use shelf::Shelf;

mod batch;
mod bench_view;
#[cfg_attr(not(feature = "link"), path = "no_cable.rs")]
mod cable;
mod chart_view;
mod coil_mesh;
mod counter;
mod crank;
#[cfg(not(target_arch = "wasm32"))]
pub mod desktop;
#[cfg(feature = "link")]
mod fetched;
mod files;
#[cfg(feature = "link")]
mod follower;
mod form;
mod guide;
#[cfg(feature = "link")]
mod live_view;
mod log;
mod look;
mod mandrel;
mod pacer;
mod plan_view;
mod ring_sketch;
mod saw;
mod scope;
mod session;
mod shelf;
#[cfg_attr(target_arch = "wasm32", path = "browser_sound.rs")]
mod sound;
mod wanted;
#[cfg(target_arch = "wasm32")]
pub mod web;

pub use bench_view::{Bench, Pace};
pub use chart_view::Asked;
pub use form::Form;
pub use log::{Entry, Log};

/// Room for the sound's and the theme's buttons and the sizes, in the bar.
const SIZES_WIDTH: f32 = 290.0;

/// At rest, a lamp that blinks and a sound that beats need no more.
const AT_REST: Duration = Duration::from_millis(33);

/// Where the window's state stands in whatever keeps it.
const KEY: &str = "turntally";

/// The views.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
pub enum View {
    /// The bench itself.
    #[default]
    Bench,
    /// The job, and what it makes of the wire.
    Plan,
    /// One figure over wires and mandrels.
    Chart,
    /// What was wound.
    Log,
}

impl View {
    const ALL: [(Self, &'static str); 4] =
        [(Self::Bench, "Bench"), (Self::Plan, "Plan"), (Self::Chart, "Chart"), (Self::Log, "Log")];
}

/// Light or dark.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
pub enum Theme {
    /// As the system has it.
    #[default]
    System,
    /// Dark on light.
    Light,
    /// Light on dark.
    Dark,
}

/// What is remembered from one run to the next.
#[derive(Debug, Clone, Default, Serialize, Deserialize)]
#[serde(default)]
pub struct SavedState {
    /// The view that is open.
    pub view: View,
    /// Light or dark.
    pub theme: Theme,
    /// How large everything is, in percent; 0 where it was never chosen.
    pub zoom_percent: u32,
    /// The job on the bench, as a job file.
    pub job: Option<String>,
    /// The form of the planner.
    pub form: Option<Form>,
    /// Of the bench.
    pub bench: bench_view::SavedBench,
    /// Of the chart.
    pub chart: Asked,
    /// What was wound.
    pub log: Log,
    /// The port of the counter on the cable; empty for the first that one answers on.
    pub port: String,
    /// What was measured on rings and coils is left aside.
    pub estimate: bool,
    /// The log that is open: the counters', not the simulated bench's.
    pub counters_log: bool,
    /// The sounder is not to be heard.
    pub muted: bool,
}

/// What the whole window is cleared with before its content is shown: to paint it as well would be a quarter of
/// all the work where there is no graphics card.
#[must_use]
pub fn ground(visuals: &Visuals) -> Color32 {
    look::palette(visuals.dark_mode).ground
}

/// A batch that was not done when another one was put on the bench.
#[derive(Debug)]
struct Aside {
    bench: Bench,
    /// Its job, as a job file.
    job: Option<String>,
    /// Its number in the log.
    batch: u64,
}

/// So many batches are put aside at most; then the oldest goes.
pub const MOST_ASIDE: usize = 8;

/// The window's content.
#[derive(Debug)]
pub struct App {
    kept: SavedState,
    bench: Result<Bench, Failure>,
    /// The newest last.
    aside: Vec<Aside>,
    form: Form,
    planner: Planner,
    charted: Charted,
    files: Files,
    shelf: Shelf,
    #[cfg_attr(not(feature = "link"), allow(dead_code, reason = "there is none"))]
    cable: Cable,
    /// The view that was shown last.
    shown: Option<View>,
    /// The next bench's seed: no two batches of a run are alike.
    seed: u64,
    dressed: bool,
    pacer: Pacer,
    /// The user was asked whether a batch that is not done is to be lost.
    asked_to_close: bool,
}

impl App {
    /// The window as it was left; at first with the demo job on the bench.
    #[cfg(not(feature = "link"))]
    #[must_use]
    pub fn new(kept: SavedState, seed: u64) -> Self {
        Self::start(kept, seed, Shelf::none())
    }

    /// The window as it was left; at first with the demo job on the bench. `log` is the log's file, whether it is
    /// there or not yet.
    #[cfg(feature = "link")]
    #[must_use]
    pub fn with_log(kept: SavedState, seed: u64, log: std::path::PathBuf) -> Self {
        let shelf = Shelf::at(log, kept.estimate);
        Self::start(kept, seed, shelf)
    }

    fn start(kept: SavedState, seed: u64, shelf: Shelf) -> Self {
        let text = kept.job.clone().unwrap_or_else(|| DEMO.to_owned());
        let form = kept.form.clone().or_else(|| Form::of(&text).ok()).unwrap_or_default();
        let mut app = Self {
            kept,
            bench: Err(Failure::new("no job on the bench")),
            aside: Vec::new(),
            planner: Planner::new(&form, &shelf),
            form,
            charted: Charted::default(),
            files: Files::default(),
            shelf,
            cable: Cable::default(),
            shown: None,
            seed,
            dressed: false,
            pacer: Pacer::default(),
            asked_to_close: false,
        };
        if app.put_on_bench(&text).is_err() {
            // A job of a former version, or of a spool that is gone, must not lock anybody out.
            _ = app.put_on_bench(DEMO);
        }
        app
    }

    /// Frames as far apart as this while something moves; by itself the window wants the next one at once, and
    /// leaves the pace to whatever shows them.
    #[must_use]
    pub fn paced(mut self, period: Duration) -> Self {
        self.pacer = Pacer::new(period);
        self
    }

    /// Puts a job, as the text of its file, on the bench: a new batch begins. One that was not done is put aside,
    /// to be brought back.
    ///
    /// # Errors
    /// What is wrong with it; the bench then stays as it is.
    pub fn put_on_bench(&mut self, text: &str) -> Result<(), Failure> {
        self.seed = self.seed.wrapping_add(1);
        let bench = Bench::new(Job::read(text, self.shelf.known())?, self.seed)?;
        self.put_aside(bench, Some(text.to_owned()));
        self.kept.log.begin_batch();
        Ok(())
    }

    /// Puts another bench in the place of this one, which is kept if there is work on it.
    fn put_aside(&mut self, bench: Bench, job: Option<String>) {
        let job = std::mem::replace(&mut self.kept.job, job);
        if let Ok(bench) = std::mem::replace(&mut self.bench, Ok(bench))
            && bench.has_work()
        {
            self.aside.push(Aside { bench, job, batch: self.kept.log.batch() });
            if self.aside.len() > MOST_ASIDE {
                self.aside.remove(0);
            }
        }
    }

    /// A batch that is not done would be lost with the window.
    fn has_work(&self) -> bool {
        self.bench().is_some_and(Bench::has_work) || !self.aside.is_empty()
    }

    /// The window may be closed: nothing would be lost, or whoever closes it was asked before.
    pub fn may_close(&mut self) -> bool {
        !self.has_work() || std::mem::replace(&mut self.asked_to_close, true)
    }

    /// Asks whether what is not done is to be lost.
    fn ask_to_close(&mut self, ui: &mut Ui, palette: Palette) {
        if !self.asked_to_close {
            return;
        }
        card(ui, palette, |ui| {
            ui.horizontal_wrapped(|ui| {
                ui.label(
                    bold("! A batch is not done, and is lost when the window closes.").color(palette.copper),
                );
                if ui.add(main_button(palette, "Go on with it")).clicked() {
                    self.asked_to_close = false;
                }
                if ui.button("Close and lose it").clicked() {
                    ui.ctx().send_viewport_cmd(ViewportCommand::Close);
                }
            });
        });
    }

    /// Offers to bring back the batch that was put aside last.
    fn offer_aside(&mut self, ui: &mut Ui) {
        let Some(aside) = self.aside.last() else { return };
        let mut wanted = None;
        ui.horizontal_wrapped(|ui| {
            let bench = aside.bench.session();
            let made = coils(bench.simulated_bench().bench().jobs().progress().kept);
            ui.label(format!("“{}” was put aside with {made} kept.", bench.job().name));
            if ui.button("Bring it back").clicked() {
                wanted = Some(true);
            }
            if ui.button("Drop it").clicked() {
                wanted = Some(false);
            }
        });
        let Some(Aside { bench, job, batch }) = wanted.and_then(|_| self.aside.pop()) else { return };
        if wanted == Some(true) {
            // What is on the bench now may be work too.
            self.put_aside(bench, job);
            self.kept.log.go_on_with(batch);
        }
    }

    /// Puts a job, as the text of its file, on the bench and into the form.
    ///
    /// # Errors
    /// What is wrong with it.
    pub fn open(&mut self, text: &str) -> Result<(), Failure> {
        self.put_on_bench(text)?;
        self.form = Form::of(text)?;
        self.planner.take(&self.form, &self.shelf);
        Ok(())
    }

    /// The form as a job file.
    #[must_use]
    pub fn job_text(&self) -> String {
        self.form.to_text()
    }

    /// What is to be remembered.
    #[must_use]
    pub const fn kept(&self) -> &SavedState {
        &self.kept
    }

    /// The same, to be changed by a test.
    pub const fn kept_mut(&mut self) -> &mut SavedState {
        &mut self.kept
    }

    /// The note that is to be heard: the sounder's, while the bench is in view, its time is real and it is not muted.
    #[must_use]
    pub fn hertz(&self) -> Option<u16> {
        let bench = self.bench().filter(|_| self.is_bench_shown() && !self.kept.muted)?;
        bench.hertz(&self.kept.bench)
    }

    /// The bench is in view, and more frames are wanted than a blinking lamp needs.
    #[must_use]
    pub fn is_moving(&self) -> bool {
        self.is_bench_shown() && self.bench().is_some_and(Bench::is_moving)
    }

    /// The simulated bench is in view.
    fn is_bench_shown(&self) -> bool {
        self.kept.view == View::Bench && !self.is_following()
    }

    /// What the counter says and has counted, in one line.
    #[must_use]
    pub fn in_words(&self) -> String {
        if let Some(words) = self.followed_in_words() {
            return words;
        }
        self.bench().map_or_else(String::new, |bench| {
            let turns = bench.session().simulated_bench().bench().turns().as_f64();
            format!("{} Counted {} turns.", counter::in_words(bench.session()), number::turns(turns))
        })
    }

    /// The name of the control that is lit: the one that the bench's sentence is about.
    #[must_use]
    pub fn wanted(&self) -> Option<&'static str> {
        self.bench().filter(|_| self.is_bench_shown())?.guide().wanted.map(wanted::Wanted::name)
    }

    /// The bench.
    #[must_use]
    pub fn bench(&self) -> Option<&Bench> {
        self.bench.as_ref().ok()
    }

    /// The bench, to be led by a test or a benchmark.
    pub fn bench_mut(&mut self) -> Option<&mut Bench> {
        self.bench.as_mut().ok()
    }

    /// Shows the window's content, on a ground of [`ground`].
    pub fn ui(&mut self, ui: &mut Ui) {
        self.pacer.begin(Instant::now());
        self.dress(ui.ctx());
        if !look::has_fonts(ui.ctx()) {
            // Where nobody asked for them before, the first frame comes without the faces.
            ui.ctx().request_repaint();
            return;
        }
        self.hear();
        if self.shown.replace(self.kept.view) != Some(self.kept.view) {
            self.look();
        }
        let palette = look::palette(ui.visuals().dark_mode);
        let bar = Frame::new().fill(palette.card).inner_margin(Margin::symmetric(10, 6));
        Panel::top("views").frame(bar).show(ui, |ui| self.bar(ui));
        let mut wish = None;
        CentralPanel::default().frame(Frame::NONE).show(ui, |ui| {
            ScrollArea::vertical().auto_shrink([false, false]).show(ui, |ui| {
                // The margin scrolls along: what is cut off ends at the window's edge, and the bar stands free.
                Frame::new().inner_margin(Margin::same(8)).show(ui, |ui| {
                    self.ask_to_close(ui, palette);
                    match self.kept.view {
                        View::Bench => {
                            if !self.bench_on_cable(ui, palette) {
                                wish = self.simulated(ui, palette);
                            }
                        }
                        View::Plan => self.plan(ui, palette),
                        View::Chart => self.chart(ui, palette),
                        View::Log => self.logs(ui, palette),
                    }
                });
            });
        });
        match wish {
            Some(batch::Action::Again) => {
                let text = self.kept.job.clone().unwrap_or_else(|| DEMO.to_owned());
                // It was taken before.
                _ = self.put_on_bench(&text);
            }
            Some(batch::Action::Log) => {
                self.kept.view = View::Log;
                self.kept.counters_log = false;
            }
            Some(batch::Action::Sheet) => self.sheet(),
            #[cfg(feature = "link")]
            Some(batch::Action::Connect) => self.choose_counter(),
            None => {}
        }
        if self.kept.form.as_ref() != Some(&self.form) {
            self.kept.form = Some(self.form.clone());
        }
        // Asked last: what the user has just begun is not to wait for a blinking lamp.
        if self.is_moving() {
            ui.ctx().request_repaint_after(self.pacer.wait(Instant::now()));
        } else if self.is_bench_shown() {
            ui.ctx().request_repaint_after(AT_REST);
        }
    }

    /// Looks into the log's file anew, and works out what depends on it.
    fn look(&mut self) {
        self.shelf.look();
        self.planner.take(&self.form, &self.shelf);
        #[cfg(feature = "link")]
        self.cable.fetched.look();
    }

    /// Offers the sheet of the job on the bench as a file.
    fn sheet(&mut self) {
        let Some(sheet) = self.bench().and_then(Bench::sheet) else { return };
        self.files.save(Outgoing { name: "sheet.html".to_owned(), text: sheet });
    }

    fn simulated(&mut self, ui: &mut Ui, palette: Palette) -> Option<batch::Action> {
        self.offer_aside(ui);
        // A job file is opened in the planner only.
        _ = self.files.show(ui, palette);
        match &mut self.bench {
            Ok(bench) => bench.show(ui, palette, &mut self.kept.bench, &mut self.kept.log),
            Err(failure) => {
                ui.colored_label(palette.wrong, failure.to_string());
                None
            }
        }
    }

    fn logs(&mut self, ui: &mut Ui, palette: Palette) {
        #[cfg(feature = "link")]
        {
            ui.horizontal(|ui| {
                ui.selectable_value(&mut self.kept.counters_log, false, "Simulated bench");
                ui.selectable_value(&mut self.kept.counters_log, true, "Counters");
            });
            if self.kept.counters_log {
                return self.log_of_counters(ui, palette);
            }
        }
        self.kept.log.show(ui, palette);
    }

    fn plan(&mut self, ui: &mut Ui, palette: Palette) {
        let cable = self.cable_state();
        let wish = self.planner.show(ui, palette, &mut self.form, &mut self.files, &mut self.shelf, cable);
        self.kept.estimate = self.shelf.estimate;
        match wish {
            #[cfg(feature = "link")]
            Some(Action::Send) => self.send_job(),
            #[cfg(feature = "link")]
            Some(Action::Connect) => self.choose_counter(),
            Some(Action::Wind(text)) => match self.put_on_bench(&text) {
                Ok(()) => self.kept.view = View::Bench,
                Err(failure) => self.files.say(Err(failure)),
            },
            None => {}
        }
    }

    fn chart(&mut self, ui: &mut Ui, palette: Palette) {
        let Some(job) = self.planner.job() else {
            ui.colored_label(
                palette.wrong,
                "The job in the planner is not right yet: its metal is wanted here.",
            );
            return;
        };
        let chosen = self.charted.show(ui, palette, &mut self.kept.chart, job, &mut self.files, &self.shelf);
        if let Some(chosen) = chosen {
            let words = format!("{} on {} is in the form.", chosen.wire, chosen.mandrel);
            self.planner.remember(&self.form, words);
            self.form.set("wire.size", chosen.wire);
            self.form.set("mandrel.diameter", chosen.mandrel);
            self.planner.take(&self.form, &self.shelf);
            self.kept.view = View::Plan;
        }
    }

    /// Colours, type, theme and size: as the first frame would, for what is drawn before it.
    pub fn dress(&mut self, ctx: &Context) {
        if !std::mem::replace(&mut self.dressed, true) {
            look::apply(ctx);
            // Our own keys do it, in the steps of our buttons.
            ctx.options_mut(|options| options.zoom_with_keyboard = false);
            self.set_theme(ctx);
            if self.kept.zoom_percent == 0 {
                self.kept.zoom_percent = 100;
            }
        }
        let zoom = self.kept.zoom_percent.clamp(50, 300) as f32 / 100.0;
        if (ctx.zoom_factor() - zoom).abs() > 1e-3 {
            ctx.set_zoom_factor(zoom);
        }
    }

    fn set_theme(&self, ctx: &Context) {
        ctx.set_theme(match self.kept.theme {
            Theme::System => ThemePreference::System,
            Theme::Light => ThemePreference::Light,
            Theme::Dark => ThemePreference::Dark,
        });
    }

    /// The views, the job, and how it looks.
    fn bar(&mut self, ui: &mut Ui) {
        ui.horizontal(|ui| {
            for (view, name) in View::ALL {
                if ui.selectable_label(self.kept.view == view, name).clicked() {
                    self.kept.view = view;
                }
            }
            let room = ui.available_width() - SIZES_WIDTH;
            if let Some(job) = self.followed_job().filter(|_| room > 160.0) {
                ui.separator();
                ui.scope(|ui| {
                    ui.set_max_width(room - 40.0);
                    ui.add(Label::new(job).truncate());
                });
            } else if let Ok(bench) = &self.bench
                && room > 160.0
            {
                ui.separator();
                mandrel::swatch(ui, &bench.session().job().metal_name);
                ui.scope(|ui| {
                    ui.set_max_width(room - 40.0);
                    ui.add(Label::new(&bench.session().job().name).truncate());
                });
            }
            ui.separator();
            self.mute(ui);
            self.sizes(ui);
        });
    }

    /// Whether the sounder is heard.
    fn mute(&mut self, ui: &mut Ui) {
        let words = if self.kept.muted { "Sound off" } else { "Sound on" };
        let button = ui.selectable_label(self.kept.muted, words).on_hover_text("Ctrl+M");
        let by_key = ui.input_mut(|input| input.consume_key(Modifiers::COMMAND, Press::M));
        if button.clicked() || by_key {
            self.kept.muted = !self.kept.muted;
        }
    }

    fn sizes(&mut self, ui: &mut Ui) {
        let dark = ui.visuals().dark_mode;
        if ui.button(if dark { "Light" } else { "Dark" }).clicked() {
            self.kept.theme = if dark { Theme::Light } else { Theme::Dark };
            self.set_theme(ui.ctx());
        }
        // Sizes and keys that people know from their browser.
        const SIZES: [u32; 7] = [75, 100, 125, 150, 175, 200, 250];
        let at = SIZES.iter().position(|size| *size >= self.kept.zoom_percent).unwrap_or(1);
        let keyed = |key: Press| ui.input_mut(|input| input.consume_key(Modifiers::COMMAND, key));
        // On some keyboards the plus is the shifted equals sign.
        let (larger, smaller) = (keyed(Press::Plus) || keyed(Press::Equals), keyed(Press::Minus));
        if keyed(Press::Num0) {
            self.kept.zoom_percent = 100;
        }
        if counter::step(ui, "−", "Smaller").clicked() || smaller {
            self.kept.zoom_percent = SIZES[at.saturating_sub(1)];
        }
        ui.label(format!("{} %", self.kept.zoom_percent));
        if counter::step(ui, "+", "Larger").clicked() || larger {
            self.kept.zoom_percent = SIZES[(at + 1).min(SIZES.len() - 1)];
        }
    }
}
