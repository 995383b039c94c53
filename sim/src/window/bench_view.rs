//! The bench: winder, counter, signal and saw.

use std::time::Duration;

use eframe::egui::{Button, ComboBox, DragValue, Key as Press, RichText, Role, Ui, WidgetInfo, vec2};
use serde::{Deserialize, Serialize};
use turntally_core::bench::Phase;
use turntally_core::input::Key;
use turntally_core::job::Progress;
use turntally_core::units::Turns;

use super::batch::{self, Action};
use super::counter::{self, Screen};
use super::guide::Guide;
use super::log::Log;
use super::look::{Palette, bold, card};
use super::mandrel::Scene;
use super::saw::Cradle;
use super::scope::{self, SPANS};
use super::session::Session;
use super::wanted::Wanted;
use super::{crank, mandrel};
use crate::failure::Failure;
use crate::job::Job;
use crate::plan::figures::Plan;
use crate::plan::{advice, sheet};
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
/// What stands above and below the picture in the left column.
const BESIDE_PICTURE: f32 = 354.0;
/// The closed drawer, its gap, and the margin of the card above it.
const DRAWER: f32 = 62.0;
/// A wire is drawn tight within so many seconds.
const TIGHTENS: f32 = 0.3;
/// A crank that was turned too early is spoken of for so many seconds.
const EARLY: f64 = 4.0;
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
    /// The drawer with the faults and the scope is open.
    pub faults_open: bool,
}

impl Default for SavedBench {
    fn default() -> Self {
        let cadence = PROFILES[1].cadence() * 60.0;
        Self { pace: Pace::Real, operator: 1, cadence, slit: 0.125, span_ms: 20, faults_open: false }
    }
}

/// The bench as it stands.
#[derive(Debug)]
pub struct Bench {
    session: Session,
    /// What its job was planned to be.
    plan: Option<Plan>,
    screen: Screen,
    faults: FaultSet,
    cradle: Cradle,
    seed: u64,
    /// What the bench has lived to, when the sounder was last heard, and when the last coil came off, by the
    /// window's clock.
    lived: f64,
    heard: f64,
    came_off: f64,
    /// When the crank was last turned and nothing counted it, by the same clock.
    early: f64,
    /// Where the crank stood when the coil on the mandrel was begun.
    coil_from: f64,
    /// The phase that was seen last.
    phase: Phase,
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
            plan: Plan::of(&job).ok(),
            session: Session::new(job, FaultSet::default(), seed)?,
            screen: Screen::default(),
            faults: FaultSet::default(),
            cradle: Cradle::default(),
            seed,
            lived: f64::INFINITY,
            heard: f64::NEG_INFINITY,
            came_off: f64::NEG_INFINITY,
            early: f64::NEG_INFINITY,
            coil_from: 0.0,
            phase: Phase::Choose,
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

    /// What the user does next.
    #[must_use]
    pub fn guide(&self) -> Guide {
        let too_early = self.lived - self.early < EARLY;
        Guide::of(&self.session, self.cradle.has_work(), too_early)
    }

    /// The sheet of the job, as a page.
    #[must_use]
    pub fn sheet(&self) -> Option<String> {
        let (job, plan) = (self.session.job(), self.plan.as_ref()?);
        Some(sheet::render(job, plan, &advice::warnings(job, plan)))
    }

    /// Turns of the crank since the coil on the mandrel was begun.
    #[must_use]
    pub fn crank_turns(&self) -> f64 {
        self.session.crank_turns() - self.coil_from
    }

    /// Where the coil on the mandrel, or the next one, is to end; nothing once the batch is done. Before a coil is
    /// begun the counter has its turns, but not yet in counts of the encoder: the plan has them.
    fn target(&self) -> Turns {
        let bench = self.session.simulated_bench().bench();
        let turns = bench.target_turns();
        if bench.phase() == Phase::Done {
            return Turns::ZERO;
        }
        if bench.goal().is_some() || !self.session.winds_its_job() {
            return turns;
        }
        let near = |planned: &Turns| planned.nano().abs_diff(turns.nano()) < Turns::ONE.unsigned_abs() / 50;
        let planned = self.plan.iter().flat_map(|plan| &plan.groups).map(|group| group.wound_turns);
        planned.into_iter().find(near).unwrap_or(turns)
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
        let bench = self.session.simulated_bench().bench();
        if bench.phase() == Phase::Done && self.session.is_helped() {
            self.session.let_wind(None, 0);
        }
        let at_most = if kept.pace == Pace::Fastest { MOST_TIME } else { Duration::MAX };
        // Where nothing moves there is nothing to get over with: hours would go by while the user reads.
        let moves = self.session.is_busy() || self.session.is_helped() && !self.session.gave_up();
        let times = if kept.pace == Pace::Fastest && !moves { 1.0 } else { kept.pace.times() };
        // Nobody looks on who could fail.
        let coils = self.session.advance(dt * 1e3 * times, at_most).unwrap_or_default();
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
        let phase = self.session.simulated_bench().bench().phase();
        if phase != self.phase {
            if matches!(self.phase, Phase::Choose | Phase::Ready) || phase == Phase::Ready {
                self.coil_from = self.session.crank_turns();
            }
            self.phase = phase;
            self.early = f64::NEG_INFINITY;
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
        let guide = self.guide();
        let sums = log.sums(log.batch());
        let finished = batch::is_finished(&self.session, self.cradle.has_work(), sums);
        if ui.available_width() < 760.0 {
            guide.show(ui, palette);
            if finished {
                wish = batch::finish(ui, palette, &self.session, self.plan.as_ref(), sums);
            }
            // In one column the crank and what it makes the counter say stand first, side by side.
            card(ui, palette, |ui| {
                ui.horizontal_top(|ui| {
                    let size = (ui.available_width() - COUNTER_WIDTH + 24.0).clamp(100.0, CRANK_SIZE);
                    self.crank(ui, palette, size, guide.wanted);
                    ui.vertical(|ui| self.counter(ui, palette, guide.wanted));
                });
            });
            self.picture(ui, palette, kept, log, (guide.wanted, 0.0));
            card(ui, palette, |ui| wish = wish.or(self.ways_to_wind(ui, palette, kept)));
            card(ui, palette, |ui| batch::show(ui, palette, &self.session, 0.0));
            self.drawer(ui, palette, kept);
            return wish;
        }
        card(ui, palette, |ui| guide.show(ui, palette));
        let mut taken = 0.0;
        if finished {
            let before = ui.cursor().top();
            wish = batch::finish(ui, palette, &self.session, self.plan.as_ref(), sums);
            taken = ui.cursor().top() - before;
        }
        // Larger windows give the counter more dots to a pixel.
        let counter = if ui.available_width() > 1_500.0 { 430.0 } else { COUNTER_WIDTH };
        let right = counter + 20.0;
        ui.horizontal_top(|ui| {
            let left = ui.available_width() - right - ui.spacing().item_spacing.x;
            ui.allocate_ui(vec2(left, 0.0), |ui| {
                ui.vertical(|ui| {
                    self.picture(ui, palette, kept, log, (guide.wanted, taken));
                    card(ui, palette, |ui| {
                        ui.horizontal_top(|ui| {
                            self.crank(ui, palette, CRANK_SIZE, guide.wanted);
                            ui.add_space(8.0);
                            ui.vertical(|ui| wish = wish.or(self.ways_to_wind(ui, palette, kept)));
                        });
                    });
                });
            });
            // Both columns end together.
            let end = ui.min_rect().bottom();
            ui.vertical(|ui| {
                card(ui, palette, |ui| self.counter(ui, palette, guide.wanted));
                let end = if kept.faults_open { 0.0 } else { end - DRAWER };
                card(ui, palette, |ui| batch::show(ui, palette, &self.session, end));
                self.drawer(ui, palette, kept);
            });
        });
        wish
    }

    fn picture(
        &mut self,
        ui: &mut Ui,
        palette: Palette,
        kept: &mut SavedBench,
        log: &mut Log,
        (wanted, taken): (Option<Wanted>, f32),
    ) {
        let now = ui.input(|input| input.time);
        let opening = ((now - self.came_off) / mandrel::OPENING).clamp(0.0, 1.0) as f32;
        let height = if ui.available_width() < 500.0 {
            190.0
        } else {
            (ui.clip_rect().height() - BESIDE_PICTURE - taken).clamp(200.0, 900.0)
        };
        let target = self.target();
        let tight = self.tight(ui);
        card(ui, palette, |ui| {
            if self.session.winds_its_job() {
                let scene = Scene::of(&self.session, target, tight);
                let tray = (self.cradle.shown(), self.cradle.pile());
                mandrel::show(ui, palette, &scene, tray, opening, height);
            } else {
                let turns = self.session.simulated_bench().turns_on_mandrel().max(0.0);
                mandrel::show_unscaled(ui, palette, turns, target, height);
                let text = "The counter winds a batch that was set up at it: the wire and the mandrel here are those \
                            of the job in the planner, and nothing is to scale.";
                ui.label(RichText::new(text).color(palette.faint));
            }
            let lit = wanted == Some(Wanted::Saw);
            for (number, rings) in self.cradle.show(ui, palette, &mut kept.slit, lit) {
                log.saw(number, rings);
            }
        });
    }

    /// How far the wire is drawn tight: it hangs slack until it is caught.
    fn tight(&self, ui: &Ui) -> Option<f32> {
        let simulated_bench = self.session.simulated_bench();
        let phase = simulated_bench.bench().phase();
        let caught = simulated_bench.turns_on_mandrel() > 0.0
            || matches!(phase, Phase::Winding | Phase::Near | Phase::Stop | Phase::Over | Phase::Paused);
        let id = ui.scope_id().with("tight");
        let tight = ui.ctx().animate_bool_with_time(id, caught, if caught { TIGHTENS } else { 0.0 });
        (caught || phase == Phase::Ready).then_some(tight)
    }

    fn counter(&mut self, ui: &mut Ui, palette: Palette, wanted: Option<Wanted>) {
        let now = ui.input(|input| input.time);
        let pulse = (1.0 - (now - self.heard) / PULSE).clamp(0.0, 1.0) as f32;
        counter::show(ui, palette, &mut self.screen, &mut self.session, pulse, wanted);
    }

    fn crank(&mut self, ui: &mut Ui, palette: Palette, size: f32, wanted: Option<Wanted>) {
        let lit = wanted == Some(Wanted::Crank);
        let (response, turns) = crank::show(ui, palette, self.session.crank_turns(), size, lit);
        if turns != 0.0 {
            self.wind(turns);
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

    /// Turns the crank; where nothing counts it, that is remembered.
    fn wind(&mut self, turns: f64) {
        self.session.crank(turns);
        if matches!(self.phase, Phase::Choose | Phase::Ready | Phase::Next) {
            self.early = self.lived;
        }
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
                    self.wind(turns);
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
        ui.label(format!(
            "Crank: {} turns for this coil, {} turns/min",
            turns(self.crank_turns()),
            bench.turns_per_minute()
        ));
        if self.session.gave_up() {
            ui.colored_label(
                palette.wrong,
                "They gave up: the count cannot be trusted. Mend the fault first.",
            );
        }
    }

    /// What can go wrong, and what the encoder's lines do: of no use in the first minute, so closed at first.
    fn drawer(&mut self, ui: &mut Ui, palette: Palette, kept: &mut SavedBench) {
        let mut open = kept.faults_open;
        card(ui, palette, |ui| {
            let sign = if open { "–" } else { "+" };
            let text = format!("{sign} What can go wrong");
            let button = ui.add(Button::new(bold(&text)).frame(false));
            button.widget_info(|| WidgetInfo::selected(Role::Button, true, open, "What can go wrong"));
            let on = FaultKind::ALL.into_iter().filter(|kind| self.faults.has(*kind)).count();
            if button.clicked() {
                open = !open;
            }
            if open {
                self.signal(ui, palette, kept);
            } else if on > 0 {
                ui.colored_label(palette.copper, format!("{on} switched on"));
            }
        });
        kept.faults_open = open;
    }

    fn signal(&mut self, ui: &mut Ui, palette: Palette, kept: &mut SavedBench) {
        let before = self.faults;
        ui.columns(2, |columns| {
            for (index, kind) in FaultKind::ALL.into_iter().enumerate() {
                let ui = &mut columns[index % 2];
                ui.spacing_mut().interact_size.y = 20.0;
                ui.spacing_mut().item_spacing.y = 3.0;
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
        ui.horizontal(|ui| {
            let label = ui.label("The encoder's lines, the last");
            let combo =
                ComboBox::from_id_salt("span").selected_text(format!("{} ms", kept.span_ms)).width(72.0);
            let shown = combo.show_ui(ui, |ui| {
                for span in SPANS {
                    ui.selectable_value(&mut kept.span_ms, span, format!("{span} ms"));
                }
            });
            shown.response.labelled_by(label.id);
        });
        scope::show(ui, palette, &self.session, kept.span_ms);
    }
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
