//! Planning: the job as a form, and what it makes of the wire.

use eframe::egui::{
    Align2, Button, FontId, Grid, Label, Mesh, Rect, RichText, Role, Sense, Shape, Ui, WidgetInfo, pos2, vec2,
};

use super::coil_mesh::{self, CoilShape};
use super::files::{Files, Outgoing};
use super::form::{Checked, Form, in_labels};
use super::look::{Palette, card, shade, wire_colour};
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
}

impl Planner {
    /// The planner before a form.
    #[must_use]
    pub fn new(form: &Form, shelf: &Shelf) -> Self {
        let sound = Form::of(DEMO).unwrap_or_default();
        let checked = form.check(&sound, shelf.known());
        let mut planner = Self { checked, sound, plan: None };
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
            |ui: &mut Ui, planner: &Self, form: &mut Form, files: &mut Files, changed: &mut bool| {
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
        &self,
        ui: &mut Ui,
        palette: Palette,
        form: &mut Form,
        files: &mut Files,
        changed: &mut bool,
        cable: Cable,
    ) -> Option<Action> {
        let mut wish = None;
        ui.horizontal_wrapped(|ui| {
            let planned = match (&self.checked.job, &self.plan) {
                (Ok(job), Some(Ok(plan))) => Some((job, plan)),
                _ => None,
            };
            let button = |ui: &mut Ui, name: &str, help: &str| {
                let response = ui.add_enabled(planned.is_some(), Button::new(name)).on_hover_text(help);
                planned.filter(|_| response.clicked())
            };
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
            if let Some((job, plan)) = button(ui, "Job sheet…", "A page to print and take to the bench") {
                let text = sheet::render(job, plan, &advice::warnings(job, plan));
                files.save(Outgoing { name: "sheet.html".to_owned(), text });
            }
            if let Some((job, plan)) = button(ui, "Plan as JSON…", "As turntally plan --json prints it") {
                files.save(Outgoing { name: "plan.json".to_owned(), text: as_json(job, plan) });
            }
            if ui.button("Demo job").on_hover_text("Fill the form with the job that ships inside").clicked()
                && let Ok(demo) = Form::of(DEMO)
            {
                *form = demo;
                *changed = true;
            }
        });
        if let Some(text) = files.show(ui, palette) {
            match Form::of(&text) {
                Ok(opened) => {
                    *form = opened;
                    *changed = true;
                    files.say(Ok("The job is in the form.".to_owned()));
                }
                Err(failure) => files.say(Err(failure)),
            }
        }
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
        ui.heading(text::rings(job, plan));
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
        ui.label(RichText::new("Coils, as they come off").strong());
        coils(ui, palette, job, plan);
        ui.add_space(4.0);
        ui.label(RichText::new("What becomes of the wire").strong());
        ends_as(ui, palette, job, plan);
    });
    let warnings = advice::warnings(job, plan);
    let suggestions = advice::suggestions(job, plan);
    if warnings.is_empty() && suggestions.is_empty() {
        return changed;
    }
    card(ui, palette, |ui| {
        let mut list = |title: &str, lines: &mut dyn Iterator<Item = &str>| {
            let mut lines = lines.peekable();
            if lines.peek().is_some() {
                ui.label(RichText::new(title).strong());
            }
            for line in lines {
                ui.add(Label::new(format!("• {}", in_labels(line))).wrap());
            }
        };
        list("Check first", &mut warnings.iter().map(String::as_str));
        list("To save wire", &mut suggestions.iter().map(|suggestion| suggestion.text.as_str()));
    });
    changed
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
    rows.extend([
        ("ring", inner),
        ("wire needed", number::wire_length(plan.wire_total)),
        ("mass", text::mass(job, plan)),
    ]);
    rows.extend(Reach::of(job, plan).map(|reach| ("spool", reach.words())));
    if let Some(cost) = text::cost(job, plan) {
        rows.push(("cost", cost));
    }
    rows.push((
        "time",
        format!("{} to {} at the bench", number::span(plan.minutes.low), number::span(plan.minutes.high)),
    ));
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
