//! The batch: its coils as small coils that fill, and what came of it at the end.

use eframe::egui::{Grid, Label, Mesh, RichText, Role, Sense, Shape, Ui, WidgetInfo, pos2, vec2};
use turntally_core::bench::{Bench as Counter, Phase};
use turntally_core::job::Target;

use super::coil_mesh::{self, CoilShape};
use super::log::Sums;
use super::look::{Palette, bold, bold_font, card, main_button, shade, wire_colour};
use super::session::Session;
use crate::plan::figures::Plan;
use crate::plan::text;

/// The most coils that are drawn.
const MOST_COILS: u32 = 28;
/// Strands of a small coil.
const STRANDS: u32 = 7;
/// How far they are apart and the coil's radius, in points; larger where there is room.
const SIZES: [f32; 4] = [10.0, 8.0, 6.5, 5.0];

/// What is wanted of the window.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Action {
    /// The batch from its start.
    Again,
    /// The sheet of its job, as a file.
    Sheet,
    /// The log.
    Log,
    /// A counter on the cable instead.
    #[cfg(feature = "link")]
    Connect,
}

/// `1 coil`, `2 coils`.
pub fn coils(count: u32) -> String {
    if count == 1 { "1 coil".to_owned() } else { format!("{count} coils") }
}

/// Coils of the batch in all: those kept and those to be wound.
fn coils_in_all(bench: &Counter) -> u32 {
    bench.jobs().progress().kept.saturating_add(bench.jobs().coils_left())
}

/// Shows the coils of the batch: kept, on the mandrel, to come; down to `end`.
pub fn show(ui: &mut Ui, palette: Palette, session: &Session, end: f32) {
    ui.set_min_height((end - ui.cursor().top()).max(0.0));
    let bench = session.simulated_bench().bench();
    let progress = bench.jobs().progress();
    ui.label(bold("Batch"));
    // Above the words.
    let room = end - ui.cursor().top() - 48.0;
    if bench.jobs().job().is_some() {
        let all = coils_in_all(bench);
        let on_it = match bench.target_turns().as_f64() {
            target if target > 0.0 && bench.goal().is_some() => bench.turns().as_f64() / target,
            _ => 0.0,
        };
        small_coils(
            ui,
            palette,
            &session.job().metal_name,
            (progress.kept, all),
            on_it.clamp(0.0, 1.0),
            room,
        );
    }
    ui.add(Label::new(so_far(bench)).wrap());
}

/// What has been made of the batch.
fn so_far(bench: &Counter) -> String {
    let progress = bench.jobs().progress();
    let (rings, kept, scrapped) = (progress.rings, progress.kept, progress.scrapped);
    match bench.jobs().job().map(|job| job.target) {
        Some(Target::Rings(wanted)) => {
            let all = coils(coils_in_all(bench));
            format!("{rings} of {wanted} rings guaranteed; {kept} of {all} kept, {scrapped} thrown away")
        }
        Some(Target::Coils { coils: wanted, .. }) => {
            let wanted = coils(wanted);
            format!("{kept} of {wanted} kept, {rings} rings guaranteed, {scrapped} thrown away")
        }
        None => "None yet".to_owned(),
    }
}

/// A coil is as full as it is wound; one that is to come is an outline in the colour of an edge.
fn small_coils(ui: &mut Ui, palette: Palette, metal: &str, (kept, all): (u32, u32), on_it: f64, room: f32) {
    let words = format!("{kept} of {} kept", coils(all));
    // Those round the one on the mandrel, where there are more than can be drawn.
    let from = kept.saturating_sub(MOST_COILS / 2).min(all.saturating_sub(MOST_COILS));
    let to = all.min(from + MOST_COILS);
    let each = |pitch: f32| {
        let size = vec2((STRANDS + 1) as f32 * pitch + 2.0, 3.0 * pitch + 6.0);
        let columns = ((ui.available_width() / size.x).floor() as u32).max(1);
        (pitch, size, columns, (to - from).div_ceil(columns).max(1) as f32 * size.y)
    };
    let fitting = SIZES.into_iter().map(each).find(|(.., high)| *high <= room);
    let (pitch, size, columns, high) = fitting.unwrap_or_else(|| each(SIZES[SIZES.len() - 1]));
    let (rect, response) = ui.allocate_exact_size(vec2(ui.available_width(), high), Sense::hover());
    response.widget_info(|| WidgetInfo::labeled(Role::Image, true, &words));
    let mut mesh = Mesh::default();
    for (place, number) in (from..to).enumerate() {
        let (row, column) = (place as u32 / columns, place as u32 % columns);
        let start = pos2(
            rect.left() + column as f32 * size.x + pitch / 2.0,
            rect.top() + row as f32 * size.y + size.y / 2.0,
        );
        let full = match number {
            _ if number < kept => 1.0,
            _ if number == kept => on_it,
            _ => 0.0,
        };
        let mut coil = |turns: f64, colour, from: f64| {
            let start = start + vec2(from as f32 * pitch, 0.0);
            let shape = CoilShape { start, radius: pitch, wire: pitch, pitch, turns, colour };
            coil_mesh::add(&mut mesh, shape);
        };
        let turns = (full * f64::from(STRANDS)).round();
        coil(f64::from(STRANDS) - turns, shade(palette.rule, 1.1), turns);
        coil(turns, wire_colour(metal), 0.0);
    }
    ui.painter().add(Shape::mesh(mesh));
    if to - from < all {
        ui.colored_label(palette.faint, format!("Coils {} to {to} of {all}", from + 1));
    }
}

/// What came of a batch that is done and sawn, and what can follow.
pub fn finish(
    ui: &mut Ui,
    palette: Palette,
    session: &Session,
    plan: Option<&Plan>,
    sums: Sums,
) -> Option<Action> {
    let mut wish = None;
    card(ui, palette, |ui| {
        let (promised, counted) = sums.sawn;
        ui.horizontal_wrapped(|ui| {
            ui.spacing_mut().item_spacing.x = 10.0;
            let head = |text: String, colour| RichText::new(text).font(bold_font(22.0)).color(colour);
            ui.label(head(format!("{counted} rings counted."), palette.ink));
            ui.label(head(format!("{promised} were guaranteed."), palette.accent));
        });
        let seconds = session.simulated_bench().now().as_micros() / 1_000_000;
        let time = format!("{}:{:02}:{:02}", seconds / 3_600, seconds / 60 % 60, seconds % 60);
        // The plan is of the job in the window, not of one that was set up at the counter.
        let plan = plan.filter(|_| session.winds_its_job());
        let money = plan.and_then(|plan| text::cost(session.job(), plan));
        let scrap = plan.map(|plan| {
            let (unit, grams) = text::unit(session.job(), plan);
            let [_, swarf, offcuts, ..] = text::shares(plan, grams);
            format!("{} {unit} swarf, {} {unit} offcuts", swarf.1, offcuts.1)
        });
        let lost = match sums.scrapped {
            0 => "none".to_owned(),
            scrapped => coils(scrapped),
        };
        let figures = [
            ("coils", Some(sums.kept.to_string())),
            ("thrown away", Some(lost)),
            ("scrap, as planned", scrap),
            ("wire, as planned", money),
            ("time at the bench", Some(time)),
        ];
        Grid::new("finish").spacing([28.0, 2.0]).show(ui, |ui| {
            for (name, value) in &figures {
                if value.is_some() {
                    ui.colored_label(palette.faint, *name);
                }
            }
            ui.end_row();
            for (_, value) in figures {
                if let Some(value) = value {
                    ui.label(bold(value));
                }
            }
            ui.end_row();
        });
        ui.add_space(4.0);
        ui.horizontal_wrapped(|ui| {
            if ui
                .add(main_button(palette, "Job sheet"))
                .on_hover_text("The page that goes with the rings")
                .clicked()
            {
                wish = Some(Action::Sheet);
            }
            if ui.button("See the log").clicked() {
                wish = Some(Action::Log);
            }
            if ui.button("Wind another").on_hover_text("The same batch from its start").clicked() {
                wish = Some(Action::Again);
            }
        });
    });
    wish
}

/// The batch is done and nothing waits for the saw.
pub fn is_finished(session: &Session, coil_waits: bool, sums: Sums) -> bool {
    session.simulated_bench().bench().phase() == Phase::Done && !coil_waits && sums.sawn.1 > 0
}
