//! A counter on the cable, as it counts.

use eframe::egui::{
    Align2, Button, Color32, FontId, Grid, Label, Rect, RichText, Role, Sense, Stroke, StrokeKind, Ui,
    WidgetInfo, pos2, vec2,
};
use turntally_core::bench::{ErrorBound, Phase};
use turntally_core::link::{Health, Identity, Status};
use turntally_core::screen::fault_words;
use turntally_core::units::Length;

use super::batch::coils;
use super::counter;
use super::follower::{Fetch, Offered, Seen};
use super::look::{Palette, bold, card};
use super::mandrel::{self, Scene};
use crate::job::Job;
use crate::link::{job_name, well_words};
use crate::words::mass::Scales;
use crate::words::number;
use crate::words::number::metres;

/// How wide the column beside the picture is.
const BESIDE: f32 = 316.0;

/// What is to be done.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Action {
    /// Let the counter go.
    Leave,
    /// Fetch its log.
    Fetch,
    /// To the planner, with a job for it.
    Plan,
}

/// What a counter says, in words.
pub fn in_words(status: &Status) -> String {
    counter::announcement(status.phase, status.turns, status.target, status.faults.iter().next())
}

/// A coil is on the mandrel.
const fn is_wound(phase: Phase) -> bool {
    !matches!(
        phase,
        Phase::Choose | Phase::SetUp | Phase::CountRings | Phase::MeasureRing | Phase::Next | Phase::Done
    )
}

/// The job that the counter winds is this one.
fn is_of(status: &Status, job: &Job) -> bool {
    crate::link::planned(job).is_ok_and(|planned| planned.fingerprint == status.fingerprint)
}

/// Shows the counter; the job that it winds is drawn to scale if it is among `jobs`.
pub fn show<'a>(
    ui: &mut Ui,
    palette: Palette,
    seen: &Seen,
    jobs: impl Iterator<Item = &'a Job>,
) -> Option<Action> {
    let (Some((port, identity)), Some(status)) = (&seen.found, &seen.status) else {
        ui.spinner();
        return None;
    };
    let mut jobs = jobs;
    let job = jobs.find(|job| is_of(status, job));
    let mut wish = None;
    if ui.available_width() < 700.0 {
        // What is looked at from the winder stands first.
        card(ui, palette, |ui| state(ui, palette, status));
        card(ui, palette, |ui| picture(ui, palette, seen, status, job, 170.0));
        card(ui, palette, |ui| count(ui, palette, status));
        card(ui, palette, |ui| batch(ui, palette, status, job));
        card(ui, palette, |ui| wish = about(ui, palette, seen, (port, identity)));
        return wish;
    }
    ui.horizontal_top(|ui| {
        let left = ui.available_width() - BESIDE - ui.spacing().item_spacing.x;
        ui.allocate_ui(vec2(left, 0.0), |ui| {
            ui.vertical(|ui| {
                // What stands below it takes more lines where the wire is not known, or its spool is.
                let below = 140.0
                    + if job.is_none() { 42.0 } else { 0.0 }
                    + if status.wire_left.is_some() { 24.0 } else { 0.0 };
                let height = (ui.clip_rect().height() - below).clamp(220.0, 560.0);
                card(ui, palette, |ui| picture(ui, palette, seen, status, job, height));
                card(ui, palette, |ui| batch(ui, palette, status, job));
            });
        });
        ui.vertical(|ui| {
            card(ui, palette, |ui| {
                state(ui, palette, status);
                ui.add_space(4.0);
                count(ui, palette, status);
            });
            card(ui, palette, |ui| wish = about(ui, palette, seen, (port, identity)));
        });
    });
    wish
}

/// The coil on the mandrel, to scale where the wire is known.
fn picture(ui: &mut Ui, palette: Palette, seen: &Seen, status: &Status, job: Option<&Job>, height: f32) {
    let turns = if is_wound(status.phase) { status.turns.as_f64().max(0.0) } else { 0.0 };
    let Some(job) = job else {
        mandrel::show_unscaled(ui, palette, turns, status.target, height);
        let text = if status.rings_wanted == 0 {
            "Set up at the counter: what wire it is is not known here, and nothing is to scale.".to_owned()
        } else {
            format!(
                "The planner holds another job than “{}”: wire and mandrel are not known here, and nothing is \
                 to scale. Open its job file in the planner.",
                job_name(status)
            )
        };
        ui.add(Label::new(RichText::new(text).color(palette.faint)).wrap());
        return;
    };
    let scene = Scene {
        job,
        turns,
        mandrel_turns: status.turns.as_f64(),
        target: status.target,
        tight: is_wound(status.phase).then_some(1.0),
    };
    let since = seen.kept.as_ref().map_or(0.0, |kept| kept.at.elapsed().as_secs_f64());
    if seen.kept.is_some() && since < mandrel::OPENING {
        ui.ctx().request_repaint();
    }
    let opening = (since / mandrel::OPENING).min(1.0) as f32;
    let came_off = seen.kept.as_ref().map(|kept| kept.turns);
    mandrel::show_followed(ui, palette, &scene, came_off, opening, height);
}

/// The phase in a word, on its colour.
const fn title(phase: Phase, palette: Palette) -> (&'static str, Color32) {
    match phase {
        Phase::Choose => ("Choosing a job", palette.faint),
        Phase::SetUp => ("Setting up", palette.faint),
        Phase::CountRings => ("Counting rings", palette.faint),
        Phase::MeasureRing => ("Measuring a ring", palette.faint),
        Phase::Ready => ("Ready", palette.accent),
        Phase::Winding => ("Winding", palette.accent),
        Phase::Near => ("Near the target", palette.copper),
        Phase::Stop => ("Stop", palette.wrong),
        Phase::Over => ("Too far", palette.wrong),
        Phase::Paused => ("Paused", palette.faint),
        Phase::Verdict => ("Keep it?", palette.accent),
        Phase::Next => ("Coil kept", palette.accent),
        Phase::Done => ("Batch done", palette.accent),
        Phase::Fault => ("Count uncertain", palette.wrong),
    }
}

/// What it is doing, to be read from a few steps away.
fn state(ui: &mut Ui, palette: Palette, status: &Status) {
    let (word, colour) = title(status.phase, palette);
    let (rect, response) = ui.allocate_exact_size(vec2(ui.available_width(), 40.0), Sense::hover());
    response.widget_info(|| WidgetInfo::labeled(Role::Label, true, format!("Counter: {word}")));
    ui.painter().rect_filled(rect, 4.0, colour);
    ui.painter().text(rect.center(), Align2::CENTER_CENTER, word, FontId::proportional(22.0), palette.card);
    let (turns, target) = (status.turns.nano(), status.target.nano());
    let (big, what, small) = if is_wound(status.phase) {
        let (big, what) = match target.saturating_sub(turns) {
            _ if status.error_bound == ErrorBound::Unknown => ("?".to_owned(), "turns to go"),
            to_go @ 0.. => (counter::up(to_go), "turns to go"),
            past => (counter::up(past.saturating_neg()), "turns past the target"),
        };
        (
            big,
            what,
            format!(
                "{} of {} turns",
                number::turns(status.turns.as_f64()),
                number::turns(status.target.as_f64())
            ),
        )
    } else {
        (number::turns(status.target.as_f64()), "turns", "for the next coil".to_owned())
    };
    ui.horizontal(|ui| {
        ui.label(RichText::new(big).size(34.0).color(palette.ink));
        ui.vertical(|ui| {
            ui.spacing_mut().item_spacing.y = 1.0;
            ui.add_space(3.0);
            ui.label(what);
            ui.colored_label(palette.faint, small);
        });
    });
    // The word and the figure say as much while it is wound.
    if !matches!(status.phase, Phase::Winding | Phase::Near) {
        ui.add(Label::new(in_words(status)).wrap());
    }
}

/// How the count is.
fn count(ui: &mut Ui, palette: Palette, status: &Status) {
    let error_bound = match status.error_bound {
        ErrorBound::Within(0) => "exact".to_owned(),
        ErrorBound::Within(counts) => format!("within {counts} counts"),
        ErrorBound::Unknown => "not known".to_owned(),
    };
    Grid::new("state").num_columns(2).spacing([14.0, 4.0]).show(ui, |ui| {
        for (name, value) in [
            ("rings", format!("{} guaranteed so far", status.rings)),
            ("count", error_bound),
            ("speed", format!("{} turns/min", status.turns_per_minute)),
        ] {
            ui.colored_label(palette.faint, name);
            ui.label(value);
            ui.end_row();
        }
    });
    // The first is shown above while the user is asked.
    for fault in status.faults.iter().skip(usize::from(status.phase == Phase::Fault)) {
        ui.colored_label(palette.wrong, format!("{}.", fault_words(fault).0));
    }
    if status.notice {
        ui.add(
            Label::new(RichText::new("A message is on the counter's screen.").color(palette.wrong)).wrap(),
        );
    }
}

/// What has been made of the job.
fn batch(ui: &mut Ui, palette: Palette, status: &Status, job: Option<&Job>) {
    let name = job_name(status);
    ui.horizontal_wrapped(|ui| {
        if let Some(job) = job {
            mandrel::swatch(ui, &job.metal_name);
        }
        let name = if name.is_empty() { "No job chosen yet" } else { &name };
        ui.label(bold(name));
    });
    let progress = status.progress;
    let (kept, scrapped) = (coils(progress.kept), progress.scrapped);
    let more = if status.coils_left > 0 { format!(", {} to wind", status.coils_left) } else { String::new() };
    let (made, on_it, all, words) = if status.rings_wanted == 0 {
        let all = progress.kept.saturating_add(status.coils_left);
        let words = format!("{} of {} kept, {scrapped} thrown away", progress.kept, coils(all));
        (progress.kept, 0, all, words)
    } else {
        let (rings, wanted) = (progress.rings, status.rings_wanted);
        let on_it = match status.rings {
            0 => String::new(),
            rings => format!(", {rings} more on the mandrel"),
        };
        let words =
            format!("{rings} of {wanted} rings guaranteed{on_it}; {kept} kept, {scrapped} thrown away{more}");
        (rings, status.rings, wanted, words)
    };
    let (rect, response) = ui.allocate_exact_size(vec2(ui.available_width(), 14.0), Sense::hover());
    response.widget_info(|| WidgetInfo::labeled(Role::Image, true, "How far the batch is"));
    let at = |count: u32| rect.left() + rect.width() * (count as f32 / all.max(1) as f32).min(1.0);
    let part = |from: f32, to: f32| Rect::from_min_max(pos2(from, rect.top()), pos2(to, rect.bottom()));
    let painter = ui.painter();
    painter.rect_filled(rect, 3.0, ui.visuals().extreme_bg_color);
    // What is promised, and what the coil on the mandrel would add.
    painter.rect_filled(part(rect.left(), at(made)), 3.0, palette.accent);
    painter.rect_filled(part(at(made), at(made.saturating_add(on_it))), 3.0, palette.copper);
    painter.rect_stroke(rect, 3.0, Stroke::new(1.0, palette.rule), StrokeKind::Inside);
    ui.add(Label::new(words).wrap());
    if let Some(left) = status.wire_left {
        ui.label(format!("On the spool: {}", wire_words(left, job)));
    }
}

/// So much wire, by mass too where that is known.
fn wire_words(left: Length, job: Option<&Job>) -> String {
    let mass = job.map_or_else(String::new, |job| {
        let grams = job.density.wire_mass(job.winding.wire(), left.mm()).get();
        format!(", {}", Scales::of(job.metal).weighed(grams))
    });
    format!("{}{mass}", metres(left.mm()))
}

/// Who it is, how it is, and what can be done.
fn about(
    ui: &mut Ui,
    palette: Palette,
    seen: &Seen,
    (port, identity): (&String, &Identity),
) -> Option<Action> {
    // Without the folder that all of them are in, or one of the user's own.
    let short = port.strip_prefix("/dev/").or_else(|| port.rsplit('/').next()).unwrap_or(port);
    let name = ui.label(bold(format!("Counter on {short}")));
    let on = seen
        .health
        .map_or_else(String::new, |health| format!(": up {}", number::span(health.up_ms as f64 / 60_000.0)));
    name.on_hover_text(format!("{port}{on}"));
    // The counter's text is not ours.
    let firmware: String = identity.firmware.chars().filter(|letter| !letter.is_control()).collect();
    let lines = [
        format!("number {:016x}", identity.id),
        format!("firmware {firmware}, encoder of {} pulses", identity.pulses_per_rev),
    ];
    for line in lines {
        ui.add(Label::new(RichText::new(line).color(palette.faint)).wrap());
    }
    if let Some(health) = &seen.health {
        well(ui, palette, health);
    }
    ui.add_space(4.0);
    let mut wish = None;
    let waits = matches!(seen.offered, Some(Offered::Waiting(_)));
    ui.horizontal_wrapped(|ui| {
        // A counter drops an offer that is not asked about.
        let free = seen.fetch != Some(Fetch::Asked) && !waits;
        let fetch = ui.add_enabled(free, Button::new("Fetch its log"));
        if fetch.on_hover_text("Its coils, each once, into the log's file").clicked() {
            wish = Some(Action::Fetch);
        }
        if ui.button("Send it a job…").on_hover_text("The one in the planner").clicked() {
            wish = Some(Action::Plan);
        }
        if ui.button("Let it go").on_hover_text("Back to the simulated bench").clicked() {
            wish = Some(Action::Leave);
        }
    });
    if let Some(Offered::Waiting(name)) = &seen.offered {
        let text = format!("“{name}” is on its screen: press Yes there.");
        ui.add(Label::new(RichText::new(text).color(palette.accent)).wrap());
    }
    if let Some(fetch) = &seen.fetch {
        fetch_words(ui, palette, fetch);
    }
    wish
}

/// What came of fetching the log.
pub fn fetch_words(ui: &mut Ui, palette: Palette, fetch: &Fetch) {
    let (text, colour) = match fetch {
        Fetch::Asked => ("Fetching the log…".to_owned(), palette.faint),
        Fetch::Done(Ok(0)) => ("Nothing new in its log.".to_owned(), palette.accent),
        Fetch::Done(Ok(1)) => ("1 new entry in the log.".to_owned(), palette.accent),
        Fetch::Done(Ok(new)) => (format!("{new} new entries in the log."), palette.accent),
        Fetch::Done(Err(failure)) => (failure.to_string(), palette.wrong),
    };
    ui.add(Label::new(RichText::new(text).color(colour)).wrap());
}

/// How it is.
fn well(ui: &mut Ui, palette: Palette, health: &Health) {
    let [saving, signal] = well_words(health);
    let bad = [!health.saving, health.dead.is_some() || health.samples_lost];
    for (words, bad) in [saving, signal].into_iter().zip(bad) {
        let colour = if bad { palette.wrong } else { palette.ink };
        ui.add(Label::new(RichText::new(words).color(colour)).wrap());
    }
}
