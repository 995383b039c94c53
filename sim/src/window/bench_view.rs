//! The bench: winder, counter, signal and saw.

use std::time::Duration;

use eframe::egui::{ComboBox, DragValue, Key as Press, RichText, Role, Ui, WidgetInfo, vec2};
use serde::{Deserialize, Serialize};
use turntally_core::bench::{Bench as Counter, Phase};
use turntally_core::input::Key;
use turntally_core::job::{Progress, Target};

use super::counter::{self, Screen};
use super::log::Log;
use super::look::{Palette, card};
use super::mandrel::Scene;
use super::saw::Cradle;
use super::scope::{self, SPANS};
use super::session::Session;
use super::{crank, mandrel};
use crate::failure::Failure;
use crate::job::Job;
use crate::simulation::faults::{FaultKind, FaultSet};
use crate::simulation::operator::{OperatorProfile, PROFILES};
use crate::words::number::turns;

/// How much of a frame the bench may take where it goes as fast as it can: a frame is 16 ms.
const MOST_TIME: Duration = Duration::from_millis(8);
/// The longest step of time from one frame to the next, in seconds.
const MOST_STEP: f64 = 0.1;
/// How wide the counter is, and how large the crank where there is room.
const COUNTER_WIDTH: f32 = 300.0;
const CRANK_SIZE: f32 = 168.0;
/// What stands above and below the picture where the window is high: in the one that opens, both columns end
/// together.
const BESIDE_PICTURE: f32 = 371.0;
/// A pulse of the sounder is seen for so long, in seconds.
const PULSE: f64 = 0.12;

/// How quickly the bench's time goes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
pub enum Pace {
    /// As on a real bench.
    #[default]
    Real,
    /// Five times as quick.
    Five,
    /// Twenty times as quick.
    Twenty,
    /// As quick as this machine goes.
    Fastest,
}

impl Pace {
    const ALL: [Self; 4] = [Self::Real, Self::Five, Self::Twenty, Self::Fastest];

    const fn name(self) -> &'static str {
        match self {
            Self::Real => "real time",
            Self::Five => "5 times",
            Self::Twenty => "20 times",
            Self::Fastest => "as fast as it goes",
        }
    }

    const fn times(self) -> f64 {
        match self {
            Self::Real => 1.0,
            Self::Five => 5.0,
            Self::Twenty => 20.0,
            Self::Fastest => 2_000.0,
        }
    }
}

/// What of the bench is remembered.
#[derive(Debug, Clone, Serialize, Deserialize)]
#[serde(default)]
pub struct SavedBench {
    /// The bench's time.
    pub pace: Pace,
    /// The operator who winds in the user's stead: the place in the list.
    pub operator: usize,
    /// Their speed, in crank turns a minute.
    pub cadence: f64,
    /// Where the slit goes, in turns round the coil.
    pub slit: f64,
    /// What the scope spans, in milliseconds.
    pub span_ms: u32,
}

impl Default for SavedBench {
    fn default() -> Self {
        let cadence = PROFILES[1].cadence() * 60.0;
        Self { pace: Pace::Real, operator: 1, cadence, slit: 0.125, span_ms: 20 }
    }
}

/// What is wanted of the window.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Action {
    /// The batch from its start.
    Again,
    /// A counter on the cable instead.
    #[cfg(feature = "link")]
    Connect,
}

/// The bench as it stands.
#[derive(Debug)]
pub struct Bench {
    session: Session,
    screen: Screen,
    faults: FaultSet,
    cradle: Cradle,
    seed: u64,
    /// What the bench has lived to, when the sounder was last heard, and when the last coil came off, by the
    /// window's clock.
    lived: f64,
    heard: f64,
    came_off: f64,
    /// The crank is to have the keyboard at first.
    wants_focus: bool,
}

impl Bench {
    /// Puts a job on the bench.
    ///
    /// # Errors
    /// What is wrong with the job for the counter.
    pub fn new(job: Job, seed: u64) -> Result<Self, Failure> {
        Ok(Self {
            session: Session::new(job, FaultSet::default(), seed)?,
            screen: Screen::default(),
            faults: FaultSet::default(),
            cradle: Cradle::default(),
            seed,
            lived: f64::INFINITY,
            heard: f64::NEG_INFINITY,
            came_off: f64::NEG_INFINITY,
            wants_focus: true,
        })
    }

    /// The session.
    #[must_use]
    pub const fn session(&self) -> &Session {
        &self.session
    }

    /// The session, to be led by a test or a benchmark.
    pub const fn session_mut(&mut self) -> &mut Session {
        &mut self.session
    }

    /// Something would be lost with it: a batch that is begun and not done, or coils that wait for the saw.
    #[must_use]
    pub fn has_work(&self) -> bool {
        let bench = self.session.simulated_bench().bench();
        let begun = bench.goal().is_some() || bench.jobs().progress() != Progress::default();
        begun && bench.phase() != Phase::Done || self.cradle.has_work()
    }

    /// The note that is to be heard; none when the bench's time is not real.
    #[must_use]
    pub fn hertz(&self, kept: &SavedBench) -> Option<u16> {
        self.session.hertz().filter(|_| kept.pace == Pace::Real)
    }

    /// Somebody turns the crank or is at the keys, or a coil springs open.
    #[must_use]
    pub fn is_moving(&self) -> bool {
        self.session.is_busy() || self.session.is_helped() || self.lived - self.came_off < mandrel::OPENING
    }

    /// Lets the bench's time go on to the window's.
    fn live(&mut self, ui: &Ui, kept: &SavedBench, log: &mut Log) {
        let now = ui.input(|input| input.time);
        // Not egui's own step: that is a guess after a rest. A window that stood still lets its time go.
        let dt = (now - self.lived).clamp(0.0, MOST_STEP);
        self.lived = now;
        let at_most = if kept.pace == Pace::Fastest { MOST_TIME } else { Duration::MAX };
        // Nobody looks on who could fail.
        let coils = self.session.advance(dt * 1e3 * kept.pace.times(), at_most).unwrap_or_default();
        for coil in coils {
            let bench = self.session.simulated_bench().bench();
            let name = bench.jobs().iter().nth(coil.record.job.into()).map(|job| job.name.to_string());
            let name =
                name.filter(|_| coil.record.job != 0).unwrap_or_else(|| self.session.job().name.clone());
            let logged = log.add(&name, &coil);
            if coil.record.kept {
                self.cradle.put(coil, logged, kept.slit);
                self.came_off = now;
            }
        }
        if self.session.hertz().is_some() {
            self.heard = now;
        }
    }

    /// Shows the bench.
    pub fn show(
        &mut self,
        ui: &mut Ui,
        palette: Palette,
        kept: &mut SavedBench,
        log: &mut Log,
    ) -> Option<Action> {
        self.live(ui, kept, log);
        self.lay_out(ui, palette, kept, log)
    }

    fn lay_out(
        &mut self,
        ui: &mut Ui,
        palette: Palette,
        kept: &mut SavedBench,
        log: &mut Log,
    ) -> Option<Action> {
        let mut wish = None;
        if ui.available_width() < 760.0 {
            // In one column the crank and what it makes the counter say stand first, side by side.
            card(ui, palette, |ui| {
                ui.horizontal_top(|ui| {
                    let size = (ui.available_width() - COUNTER_WIDTH + 24.0).clamp(100.0, CRANK_SIZE);
                    self.crank(ui, palette, size);
                    ui.vertical(|ui| self.counter(ui, palette));
                });
            });
            self.picture(ui, palette, kept, log);
            card(ui, palette, |ui| wish = self.ways_to_wind(ui, palette, kept));
            self.signal(ui, palette, kept);
            return wish;
        }
        let right = COUNTER_WIDTH + 16.0;
        ui.horizontal_top(|ui| {
            let left = ui.available_width() - right - ui.spacing().item_spacing.x;
            ui.allocate_ui(vec2(left, 0.0), |ui| {
                ui.vertical(|ui| {
                    self.picture(ui, palette, kept, log);
                    card(ui, palette, |ui| {
                        ui.horizontal_top(|ui| {
                            self.crank(ui, palette, CRANK_SIZE);
                            ui.vertical(|ui| wish = self.ways_to_wind(ui, palette, kept));
                        });
                    });
                });
            });
            ui.vertical(|ui| {
                card(ui, palette, |ui| self.counter(ui, palette));
                self.signal(ui, palette, kept);
            });
        });
        wish
    }

    fn picture(&mut self, ui: &mut Ui, palette: Palette, kept: &mut SavedBench, log: &mut Log) {
        let now = ui.input(|input| input.time);
        let opening = ((now - self.came_off) / mandrel::OPENING).clamp(0.0, 1.0) as f32;
        let height = if ui.available_width() < 500.0 {
            190.0
        } else {
            (ui.clip_rect().height() - BESIDE_PICTURE).clamp(250.0, 460.0)
        };
        card(ui, palette, |ui| {
            if self.session.winds_its_job() {
                mandrel::show(ui, palette, &Scene::of(&self.session), self.cradle.shown(), opening, height);
            } else {
                let (turns, target) = {
                    let simulated_bench = self.session.simulated_bench();
                    (simulated_bench.turns_on_mandrel().max(0.0), simulated_bench.bench().target_turns())
                };
                mandrel::show_unscaled(ui, palette, turns, target, height);
                let text = "The counter winds a batch that was set up at it: the wire and the mandrel here are those \
                            of the job in the planner, and nothing is to scale.";
                ui.label(RichText::new(text).color(palette.faint));
            }
            for (number, rings) in self.cradle.show(ui, palette, &mut kept.slit) {
                log.saw(number, rings);
            }
        });
    }

    fn counter(&mut self, ui: &mut Ui, palette: Palette) {
        let now = ui.input(|input| input.time);
        let pulse = (1.0 - (now - self.heard) / PULSE).clamp(0.0, 1.0) as f32;
        counter::show(ui, palette, &mut self.screen, &mut self.session, pulse);
        ui.scope(|ui| {
            // Room for two lines, so that nothing below moves with the text.
            ui.set_min_height(38.0);
            ui.label(RichText::new(counter::in_words(&self.session)).color(palette.ink));
        });
    }

    fn crank(&mut self, ui: &mut Ui, palette: Palette, size: f32) {
        let (response, turns) = crank::show(ui, palette, self.session.crank_turns(), size);
        if turns != 0.0 {
            self.session.crank(turns);
        }
        if std::mem::take(&mut self.wants_focus) {
            response.request_focus();
        }
        if crank::has_keyboard(ui, &response) {
            self.keys_at_the_crank(ui);
        }
        response.on_hover_text(
            "Drag the handle round, or turn the wheel, or press the arrow keys (with Shift: whole turns). \
             Enter is Yes, Backspace is No, [ and ] turn the knob.",
        );
    }

    /// Without the handle.
    fn ways_to_wind(&mut self, ui: &mut Ui, palette: Palette, kept: &mut SavedBench) -> Option<Action> {
        self.by_steps(ui);
        self.somebody_else(ui, kept);
        self.time(ui, palette, kept);
        let mut wish = None;
        ui.horizontal_wrapped(|ui| {
            if ui.button("Start the batch again").clicked() {
                wish = Some(Action::Again);
            }
            #[cfg(feature = "link")]
            if ui
                .button("Follow a real counter…")
                .on_hover_text("One on the cable, in the place of this bench")
                .clicked()
            {
                wish = Some(Action::Connect);
            }
        });
        wish
    }

    fn keys_at_the_crank(&mut self, ui: &Ui) {
        let pressed = |key: Press| ui.input(|input| input.key_pressed(key));
        if pressed(Press::Enter) {
            self.session.press(Key::Yes);
        }
        if pressed(Press::Backspace) {
            self.session.press(Key::No);
        }
        if pressed(Press::OpenBracket) {
            self.session.turn_knob(-1);
        }
        if pressed(Press::CloseBracket) {
            self.session.turn_knob(1);
        }
    }

    /// The crank, by clicks.
    fn by_steps(&mut self, ui: &mut Ui) {
        ui.horizontal_wrapped(|ui| {
            ui.label("Wind");
            for (text, turns) in
                [("−1 turn", -1.0), ("−0.1", -0.1), ("+0.1", 0.1), ("+1 turn", 1.0), ("+10", 10.0)]
            {
                if ui.button(text).clicked() {
                    self.session.crank(turns);
                }
            }
        });
    }

    fn somebody_else(&mut self, ui: &mut Ui, kept: &mut SavedBench) {
        ui.horizontal_wrapped(|ui| {
            let profile = PROFILES.get(kept.operator).copied().unwrap_or(PROFILES[1]);
            let mut chosen = self.session.is_helped();
            let response = ui.checkbox(&mut chosen, "Let a");
            response
                .widget_info(|| WidgetInfo::selected(Role::CheckBox, true, chosen, "Let another hand wind"));
            if response.changed() {
                self.let_wind(chosen.then_some(profile), kept);
            }
            let combo = ComboBox::from_id_salt("operator").selected_text(profile.name).width(84.0);
            let shown = combo.show_ui(ui, |ui| {
                for (place, other) in PROFILES.iter().enumerate() {
                    if ui.selectable_label(place == kept.operator, other.name).clicked() {
                        kept.operator = place;
                        kept.cadence = other.cadence() * 60.0;
                        if self.session.is_helped() {
                            self.let_wind(Some(*other), kept);
                        }
                    }
                }
            });
            let label = ui.label("hand wind at");
            shown.response.labelled_by(label.id).on_hover_text("Whose hand");
            let speed = DragValue::new(&mut kept.cadence).range(10.0..=150.0).speed(0.5).max_decimals(0);
            let speed = ui.add(speed.suffix(" turns/min")).labelled_by(label.id);
            if speed.changed() && self.session.is_helped() {
                self.let_wind(Some(profile), kept);
            }
        });
    }

    fn let_wind(&mut self, profile: Option<OperatorProfile>, kept: &SavedBench) {
        self.seed = self.seed.wrapping_add(1);
        self.session.let_wind(profile.map(|profile| profile.at(kept.cadence / 60.0)), self.seed);
    }

    fn time(&mut self, ui: &mut Ui, palette: Palette, kept: &mut SavedBench) {
        ui.horizontal_wrapped(|ui| {
            let label = ui.label("Time goes");
            let combo = ComboBox::from_id_salt("pace").selected_text(kept.pace.name());
            let shown = combo.show_ui(ui, |ui| {
                for pace in Pace::ALL {
                    ui.selectable_value(&mut kept.pace, pace, pace.name());
                }
            });
            shown.response.labelled_by(label.id);
            let seconds = self.session.simulated_bench().now().as_micros() / 1_000_000;
            let text =
                format!("{}:{:02}:{:02} at the bench", seconds / 3_600, seconds / 60 % 60, seconds % 60);
            ui.colored_label(palette.faint, text);
        });
        let bench = self.session.simulated_bench().bench();
        ui.label(batch_so_far(bench));
        ui.label(format!(
            "Crank: {} turns, {} turns/min",
            turns(self.session.crank_turns()),
            bench.turns_per_minute()
        ));
        if self.session.gave_up() {
            ui.colored_label(
                palette.wrong,
                "They gave up: the count cannot be trusted. Mend the fault first.",
            );
        } else if bench.phase() == Phase::Done && self.session.is_helped() {
            self.session.let_wind(None, 0);
        }
    }

    fn signal(&mut self, ui: &mut Ui, palette: Palette, kept: &mut SavedBench) {
        card(ui, palette, |ui| {
            ui.horizontal(|ui| {
                let label = ui.label(RichText::new("Signal, the last").strong());
                let combo = ComboBox::from_id_salt("span").selected_text(format!("{} ms", kept.span_ms));
                let shown = combo.show_ui(ui, |ui| {
                    for span in SPANS {
                        ui.selectable_value(&mut kept.span_ms, span, format!("{span} ms"));
                    }
                });
                shown.response.labelled_by(label.id);
            });
            scope::show(ui, palette, &self.session, kept.span_ms);
            ui.add_space(2.0);
            ui.label(RichText::new("Switch on a fault").strong());
            let before = self.faults;
            ui.spacing_mut().interact_size.y = 18.0;
            ui.spacing_mut().item_spacing.y = 3.0;
            ui.columns(2, |columns| {
                for (index, kind) in FaultKind::ALL.into_iter().enumerate() {
                    let ui = &mut columns[index % 2];
                    let mut on = self.faults.has(kind);
                    let (name, help) = about(kind);
                    let response = ui.checkbox(&mut on, name).on_hover_text(help);
                    if response.changed() {
                        self.faults = if on { self.faults.with(kind) } else { self.faults.without(kind) };
                    }
                }
            });
            if self.faults != before {
                self.session.set_faults(self.faults);
            }
        });
    }
}

/// What has been made of the batch.
fn batch_so_far(bench: &Counter) -> String {
    let progress = bench.jobs().progress();
    let (rings, kept, scrapped) = (progress.rings, progress.kept, progress.scrapped);
    match bench.jobs().job().map(|job| job.target) {
        Some(Target::Rings(wanted)) => {
            let kept = coils(kept);
            format!("Batch: {rings} of {wanted} rings guaranteed, {kept} kept, {scrapped} thrown away")
        }
        Some(Target::Coils { coils: wanted, .. }) => {
            let wanted = coils(wanted);
            format!("Batch: {kept} of {wanted} kept, {rings} rings guaranteed, {scrapped} thrown away")
        }
        None => "Batch: none yet".to_owned(),
    }
}

/// `1 coil`, `2 coils`.
pub fn coils(count: u32) -> String {
    if count == 1 { "1 coil".to_owned() } else { format!("{count} coils") }
}

/// A fault's name on the screen, and what it does, shown where the pointer rests on it.
const fn about(kind: FaultKind) -> (&'static str, &'static str) {
    match kind {
        FaultKind::Bounce => ("bounce", "Contacts bounce, and settle before the other channel's edge"),
        FaultKind::LongBounce => ("long bounce", "Contacts bounce for up to 2 ms"),
        FaultKind::Noise => ("noise", "Short pulses on one channel, away from its edges"),
        FaultKind::SkippedSamples => ("skipped samples", "Single samples are not taken"),
        FaultKind::LateReader => {
            ("late reader", "The sampler stands still for some milliseconds, and the board knows it")
        }
        FaultKind::DeadA => ("channel A dead", "Channel A sticks"),
        FaultKind::DeadB => ("channel B dead", "Channel B sticks"),
        FaultKind::Swapped => ("A and B swapped", "A is wired where B belongs, B where A does"),
        FaultKind::SupplyDips => ("supply dips", "Both channels read low for less than an edge takes"),
        FaultKind::NoScreen => ("no screen", "The screen is unplugged: lamp and sound still say it all"),
        FaultKind::LooseScreen => ("loose screen", "The screen's plug is loose: it goes blank for seconds"),
        FaultKind::StuckKeys => ("keys stick", "Now and then a key stays down for seconds"),
    }
}
