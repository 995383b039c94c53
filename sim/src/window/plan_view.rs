//! Planning: the job as a form, and what it makes of the wire.

use eframe::egui::{
    Align2, Button, FontId, Grid, Label, Mesh, Rect, RichText, Role, Sense, Shape, Ui, WidgetInfo, pos2, vec2,
};

use super::coil_mesh::{self, CoilShape};
use super::files::{Files, Outgoing};
use super::form::{Checked, Form, in_labels};
use super::look::{Palette, bold, bold_font, card, main_button, shade, wire_colour};
use super::ring_sketch;
use super::shelf::Shelf;
use crate::failure::Failure;
use crate::job::{DEMO, Job};
use crate::lookup::Learning;
use crate::plan::figures::Plan;
use crate::plan::spool::Reach;
use crate::plan::{advice, json, sheet, text};
use crate::words::{self, number};

/// The most coils of a batch that are drawn.
const MOST_COILS: u32 = 18;

/// What the planner wants done.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Action {
    /// This job onto the bench.
    Wind(String),
    /// The job in the form to the counter on the cable.
    #[cfg(feature = "link")]
    Send,
    /// A counter on the cable.
    #[cfg(feature = "link")]
    Connect,
}

/// The counter on the cable, as far as the planner needs it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Cable {
    /// There is no cable here.
    #[cfg(not(feature = "link"))]
    Absent,
    /// No counter is followed.
    #[cfg(feature = "link")]
    Loose,
    /// One is, and takes a job.
    #[cfg(feature = "link")]
    Ready,
    /// A job waits for its user.
    #[cfg(feature = "link")]
    Waiting,
}

/// The planner.
#[derive(Debug)]
pub struct Planner {
    checked: Checked,
    /// The form as it was last right.
    sound: Form,
    plan: Option<Result<Plan, Failure>>,
    /// The form before something else than typing changed it, and what that was.
    before: Option<(Form, String)>,
}

impl Planner {
    /// The planner before a form.
    #[must_use]
    pub fn new(form: &Form, shelf: &Shelf) -> Self {
        let sound = Form::of(DEMO).unwrap_or_default();
        let checked = form.check(&sound, shelf.known());
        let mut planner = Self { checked, sound, plan: None, before: None };
        planner.take(form, shelf);
        planner
    }

    /// Looks at the form anew.
    pub fn take(&mut self, form: &Form, shelf: &Shelf) {
        self.checked = form.check(&self.sound, shelf.known());
        self.plan = match &self.checked.job {
            Ok(job) => {
                self.sound = form.clone();
                Some(Plan::of(job))
            }
            // What was planned before no longer holds.
            Err(_) => None,
        };
    }

    /// Something else than typing is about to change the form: it can be put back.
    pub fn remember(&mut self, form: &Form, words: String) {
        self.before = Some((form.clone(), words));
    }

    /// What changed the form, and a way back.
    fn undo(&mut self, ui: &mut Ui, palette: Palette, form: &mut Form, changed: &mut bool) {
        let Some((_, words)) = &self.before else { return };
        let undone = ui
            .horizontal_wrapped(|ui| {
                ui.colored_label(palette.accent, words);
                ui.button("Undo").on_hover_text("The form as it was before").clicked()
            })
            .inner;
        if let Some((before, _)) = self.before.take_if(|_| undone) {
            *form = before;
            *changed = true;
        }
    }

    /// The job in the form, if it is right.
    #[must_use]
    pub fn job(&self) -> Option<&Job> {
        self.checked.job.as_ref().ok()
    }

    /// Shows form and plan.
    pub fn show(
        &mut self,
        ui: &mut Ui,
        palette: Palette,
        form: &mut Form,
        files: &mut Files,
        shelf: &mut Shelf,
        cable: Cable,
    ) -> Option<Action> {
        let mut wish = None;
        let mut changed = false;
        let wide = ui.available_width() >= 700.0;
        let buttons =
            |ui: &mut Ui, planner: &mut Self, form: &mut Form, files: &mut Files, changed: &mut bool| {
                card(ui, palette, |ui| planner.buttons(ui, palette, form, files, changed, cable))
            };
        if wide {
            ui.horizontal_top(|ui| {
                ui.allocate_ui(vec2(352.0, 0.0), |ui| {
                    ui.vertical(|ui| {
                        changed |= card(ui, palette, |ui| form.show(ui, palette, &self.checked, shelf));
                    });
                });
                ui.vertical(|ui| {
                    wish = buttons(ui, self, form, files, &mut changed);
                    changed |= self.result(ui, palette, shelf);
                });
            });
        } else {
            wish = buttons(ui, self, form, files, &mut changed);
            changed |= card(ui, palette, |ui| form.show(ui, palette, &self.checked, shelf));
            changed |= self.result(ui, palette, shelf);
        }
        if changed {
            self.take(form, shelf);
        }
        wish
    }

    fn buttons(
        &mut self,
        ui: &mut Ui,
        palette: Palette,
        form: &mut Form,
        files: &mut Files,
        changed: &mut bool,
        cable: Cable,
    ) -> Option<Action> {
        let (mut wish, mut before) = (None, None);
        ui.horizontal_wrapped(|ui| {
            let planned = match (&self.checked.job, &self.plan) {
                (Ok(job), Some(Ok(plan))) => Some((job, plan)),
                _ => None,
            };
            let button = |ui: &mut Ui, name: &str, help: &str| {
                let response = ui.add_enabled(planned.is_some(), Button::new(name)).on_hover_text(help);
                planned.filter(|_| response.clicked())
            };
            let main = ui
                .add_enabled(planned.is_some(), main_button(palette, "Job sheet…"))
                .on_hover_text("A page to print and take to the bench");
            if let Some((job, plan)) = planned.filter(|_| main.clicked()) {
                let text = sheet::render(job, plan, &advice::warnings(job, plan));
                files.save(Outgoing { name: "sheet.html".to_owned(), text });
            }
            if button(ui, "Wind this job", "Put it on the bench").is_some() {
                wish = Some(Action::Wind(form.to_text()));
            }
            match cable {
                #[cfg(not(feature = "link"))]
                Cable::Absent => {}
                #[cfg(feature = "link")]
                Cable::Loose => {
                    let response = ui.button("Connect a counter…");
                    if response.on_hover_text("One on the cable, that this job can be sent to").clicked() {
                        wish = Some(Action::Connect);
                    }
                }
                #[cfg(feature = "link")]
                Cable::Ready | Cable::Waiting => {
                    let ready = planned.is_some() && cable == Cable::Ready;
                    let response = ui.add_enabled(ready, Button::new("Send to the counter"));
                    if response.on_hover_text("Its user takes it with Yes, or does not").clicked() {
                        wish = Some(Action::Send);
                    }
                }
            }
            if ui.button("Open a job…").clicked() {
                files.open();
            }
            if button(ui, "Save the job…", "The form as a job file").is_some() {
                files.save(Outgoing { name: "job.toml".to_owned(), text: form.to_text() });
            }
            if let Some((job, plan)) = button(ui, "Plan as JSON…", "As turntally plan --json prints it") {
                files.save(Outgoing { name: "plan.json".to_owned(), text: as_json(job, plan) });
            }
            if ui.button("Demo job").on_hover_text("Fill the form with the job that ships inside").clicked()
                && let Ok(demo) = Form::of(DEMO)
            {
                before = Some((form.clone(), "The demo job is in the form.".to_owned()));
                *form = demo;
                *changed = true;
            }
        });
        if let Some(text) = files.show(ui, palette) {
            match Form::of(&text) {
                Ok(opened) => {
                    before = Some((form.clone(), "The job is in the form.".to_owned()));
                    *form = opened;
                    *changed = true;
                }
                Err(failure) => files.say(Err(failure)),
            }
        }
        self.before = before.or(self.before.take());
        self.undo(ui, palette, form, changed);
        wish
    }

    /// Shows the plan; true when what was measured is to be looked at otherwise.
    fn result(&self, ui: &mut Ui, palette: Palette, shelf: &mut Shelf) -> bool {
        if let Some(notice) = shelf.notice() {
            card(ui, palette, |ui| {
                ui.add(Label::new(RichText::new(in_labels(&notice.to_string())).color(palette.wrong)).wrap());
            });
        }
        let mut changed = false;
        match (&self.checked.job, &self.plan) {
            (Ok(job), Some(Ok(plan))) => changed = result(ui, palette, job, plan, shelf),
            (_, Some(Err(failure))) | (Err(failure), _) => {
                card(ui, palette, |ui| {
                    ui.add(
                        Label::new(RichText::new(in_labels(&failure.to_string())).color(palette.wrong))
                            .wrap(),
                    );
                });
            }
            (Ok(_), None) => {}
        }
        changed
    }
}

fn as_json(job: &Job, plan: &Plan) -> String {
    let (warnings, suggestions) = (advice::warnings(job, plan), advice::suggestions(job, plan));
    let report = json::Report::new(job, plan, &warnings, &suggestions);
    // Numbers and texts only: there is nothing that JSON cannot hold.
    serde_json::to_string_pretty(&report).unwrap_or_default() + "\n"
}

fn result(ui: &mut Ui, palette: Palette, job: &Job, plan: &Plan, shelf: &mut Shelf) -> bool {
    let changed = card(ui, palette, |ui| {
        ui.horizontal_top(|ui| {
            ring_sketch::show(
                ui,
                palette,
                &job.metal_name,
                plan.ring_inner.best,
                job.winding.wire().mm().get(),
            );
            ui.add_space(8.0);
            ui.vertical(|ui| {
                let coils = words::count(u64::from(plan.coil_count), "coil");
                let answer = format!("{} rings from {coils}", plan.rings_planned);
                ui.add(Label::new(RichText::new(answer).font(bold_font(28.0)).color(palette.ink)).wrap());
                ui.add(Label::new(text::rings(job, plan)).wrap());
                ui.add_space(4.0);
                figures(ui, palette, job, plan);
            });
        });
        // What can spoil the batch stands before what it is made of.
        for line in advice::warnings(job, plan) {
            let line = format!("! {}", in_labels(&line));
            ui.add(Label::new(bold(line).color(palette.copper)).wrap());
        }
        ui.add_space(4.0);
        Grid::new("plan").num_columns(2).spacing([14.0, 4.0]).show(ui, |ui| {
            for (name, value) in rows(job, plan) {
                ui.colored_label(palette.faint, name);
                ui.add(Label::new(value).wrap());
                ui.end_row();
            }
        });
        leave_aside(ui, job, shelf)
    });
    card(ui, palette, |ui| {
        ui.label(bold("Coils, as they come off"));
        coils(ui, palette, job, plan);
        ui.add_space(4.0);
        ui.label(bold("What becomes of the wire"));
        ends_as(ui, palette, job, plan);
    });
    let suggestions = advice::suggestions(job, plan);
    if !suggestions.is_empty() {
        card(ui, palette, |ui| {
            ui.label(bold("To save wire"));
            for suggestion in &suggestions {
                ui.add(Label::new(format!("• {}", in_labels(&suggestion.text))).wrap());
            }
        });
    }
    changed
}

/// The four figures that a batch is judged by.
fn figures(ui: &mut Ui, palette: Palette, job: &Job, plan: &Plan) {
    let (low, high) = (number::span(plan.minutes.low), number::span(plan.minutes.high));
    let (unit, grams) = text::unit(job, plan);
    let [.., (_, mass, _)] = text::shares(plan, grams);
    let figures = [
        ("wire", Some(number::wire_length(plan.wire_total))),
        ("mass", Some(format!("{mass} {unit}"))),
        ("cost", text::cost(job, plan)),
        ("at the bench", Some(format!("{low} to {high}"))),
    ];
    ui.horizontal_wrapped(|ui| {
        ui.spacing_mut().item_spacing.x = 18.0;
        for (name, value) in figures {
            let Some(value) = value else { continue };
            ui.vertical(|ui| {
                ui.spacing_mut().item_spacing.y = 0.0;
                ui.label(RichText::new(name).small().color(palette.faint));
                ui.label(RichText::new(value).font(bold_font(18.0)).color(palette.ink));
            });
        }
    });
}

/// What was measured can be left aside, where there is something; true when that was changed.
fn leave_aside(ui: &mut Ui, job: &Job, shelf: &mut Shelf) -> bool {
    if job.learning.is_none() && !shelf.estimate {
        return false;
    }
    let changed = ui
        .checkbox(&mut shelf.estimate, "Leave aside what was measured")
        .on_hover_text("Plan with the estimate of springback, and without a gap")
        .changed();
    if changed {
        shelf.look();
    }
    changed
}

fn rows(job: &Job, plan: &Plan) -> Vec<(&'static str, String)> {
    let inner = format!("{} mm inside when closed, {}", text::inner(plan), text::ring_mass(plan.ring_mass));
    let mut rows = vec![
        ("wire", format!("{}, {}{}", text::metal(job), words::wire_both(job.size), text::coating(job))),
        ("mandrel", number::both(job.winding.mandrel())),
        ("springback", text::spring(job)),
    ];
    rows.extend(job.learning.as_ref().and_then(Learning::gap_words).map(|gap| ("gap", gap)));
    rows.extend([("ring", inner), ("mass", text::mass(job, plan))]);
    rows.extend(Reach::of(job, plan).map(|reach| ("spool", reach.words())));
    for group in &plan.groups {
        let (count, turns) =
            (words::count(u64::from(group.count), "coil"), number::turns(group.wound_turns.as_f64()));
        let released = number::length(group.released_length);
        rows.push((
            "wind",
            format!("{count} of {turns} turns: {} rings each, {released} released", group.rings),
        ));
    }
    rows
}

/// The coils in a row of boxes, each as long as it is against the longest.
fn coils(ui: &mut Ui, palette: Palette, job: &Job, plan: &Plan) {
    let each = vec2(132.0, 44.0);
    let longest = plan.groups.iter().map(|group| group.released_length.get()).fold(1e-9, f64::max);
    let winding = &job.winding;
    let opened = winding.wound_diameter().get() * winding.spring().best();
    let up = 30.0 / (opened + winding.wire().mm().get());
    let fits = (120.0 / longest).min(up) as f32;
    // So small, turns that are not whole pixels apart make stripes.
    let pixels = (fits * winding.pitch().get() as f32 * ui.pixels_per_point()).floor();
    let whole = pixels / ui.pixels_per_point() / winding.pitch().get() as f32;
    let mm = if pixels >= 1.0 { whole } else { fits };
    ui.horizontal_wrapped(|ui| {
        let mut drawn = 0;
        for (place, group) in plan.groups.iter().enumerate() {
            // One of each kind at least: the short one at the end is what one looks for.
            let others = (plan.groups.len() - place - 1) as u32;
            for _ in 0..group.count.min(MOST_COILS.saturating_sub(drawn + others)) {
                drawn += 1;
                let (rect, response) = ui.allocate_exact_size(each, Sense::hover());
                let name = format!("coil of {} rings", group.rings);
                response.widget_info(|| WidgetInfo::labeled(Role::Image, true, &name));
                let wire = winding.wire().mm().get() as f32 * mm;
                let mut mesh = Mesh::default();
                let start = pos2(rect.left() + 2.0 + wire / 2.0, rect.center().y - 5.0);
                let coil = CoilShape {
                    start,
                    radius: opened as f32 * mm / 2.0,
                    wire,
                    pitch: winding.pitch().get() as f32 * mm,
                    turns: group.released_turns,
                    colour: wire_colour(&job.metal_name),
                };
                coil_mesh::add(&mut mesh, coil);
                ui.painter().add(Shape::mesh(mesh));
                let foot = pos2(rect.left() + 2.0, rect.bottom() - 4.0);
                let text = format!("{} rings", group.rings);
                ui.painter().text(foot, Align2::LEFT_CENTER, text, FontId::proportional(10.5), palette.faint);
            }
        }
        if plan.coil_count > drawn {
            ui.allocate_ui(each, |ui| ui.label(format!("and {} more", plan.coil_count - drawn)));
        }
    });
}

/// The wire as a bar: rings, swarf, offcuts.
fn ends_as(ui: &mut Ui, palette: Palette, job: &Job, plan: &Plan) {
    let (rect, response) = ui.allocate_exact_size(vec2(ui.available_width(), 22.0), Sense::hover());
    let (unit, grams) = text::unit(job, plan);
    let shares = text::shares(plan, grams);
    let words = shares[..3]
        .iter()
        .map(|(name, mass, percent)| format!("{name} {mass} {unit} ({percent} %)"))
        .collect::<Vec<_>>()
        .join(", ");
    response.widget_info(|| WidgetInfo::labeled(Role::Image, true, &words));
    let metal = wire_colour(&job.metal_name);
    let colours = [metal, shade(metal, 0.55), palette.steel[1]];
    let mut left = rect.left();
    for (share, colour) in
        [plan.ends_as.rings, plan.ends_as.swarf, plan.ends_as.offcut].into_iter().zip(colours)
    {
        let width = rect.width() * (share.get() / plan.wire_mass.get()) as f32;
        let part = Rect::from_min_max(pos2(left, rect.top()), pos2(left + width, rect.bottom()));
        ui.painter().rect_filled(part, 0.0, colour);
        left += width;
    }
    ui.horizontal_wrapped(|ui| {
        for ((name, mass, percent), colour) in shares.iter().zip(colours) {
            let (dot, _) = ui.allocate_exact_size(vec2(10.0, 10.0), Sense::hover());
            ui.painter().rect_filled(dot, 2.0, colour);
            ui.label(format!("{name} {mass} {unit}, {percent} %"));
        }
    });
}
