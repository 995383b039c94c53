//! The picture of the bench: the mandrel with the coil on it, the cradle's length beside it, and the
//! coil that came off, all to one scale.

use eframe::egui::epaint::CubicBezierShape;
use eframe::egui::{
    Align2, Color32, CornerRadius, FontId, Mesh, Painter, Pos2, Rect, Role, Sense, Shape, Stroke, Ui,
    WidgetInfo, pos2, vec2,
};
use turntally_core::units::{Mm, Turns};

use super::coil_mesh::{self, CoilShape};
use super::look::{Palette, shade, wire_colour};
use super::saw::Tray;
use super::session::Session;
use crate::job::Job;
use crate::words::number::{self, given, mm, percent, turns};

/// How long a coil takes to spring open, in seconds.
pub const OPENING: f64 = 0.7;
/// The most rings that are drawn one by one.
const MOST_RINGS: u32 = 260;
/// Fewer turns are no target: a batch that is done has none.
const LEAST_TARGET: f64 = 0.1;
/// Left of the coil: chuck and crank shaft.
const CHUCK: f32 = 46.0;

/// What is on the mandrel, and what it is wound on.
#[derive(Debug, Clone, Copy)]
pub struct Scene<'a> {
    /// The job that wire, mandrel and cradle are of.
    pub job: &'a Job,
    /// Turns of wire on the mandrel.
    pub turns: f64,
    /// Where the mandrel stands, in turns since the start.
    pub mandrel_turns: f64,
    /// Where the coil is to end; nothing is marked at zero.
    pub target: Turns,
    /// How far the wire is drawn tight from hanging slack, 0..=1; none where no wire is at the mandrel.
    pub tight: Option<f32>,
}

impl<'a> Scene<'a> {
    /// The simulated bench.
    pub fn of(session: &'a Session, target: Turns, tight: Option<f32>) -> Self {
        let (job, simulated_bench) = (session.job(), session.simulated_bench());
        let turns = simulated_bench.turns_on_mandrel().max(0.0);
        Self { job, turns, mandrel_turns: session.crank_turns() * job.gear.ratio(), target, tight }
    }

    /// The picture in words, for a screen reader.
    pub fn in_words(&self) -> String {
        let winding = &self.job.winding;
        let length = self.turns * winding.pitch().get() + winding.wire().mm().get();
        let length = if self.turns > 0.0 { length } else { 0.0 };
        let target = match self.target.as_f64() {
            target if target >= LEAST_TARGET => format!("; target {} turns", turns(target)),
            _ => String::new(),
        };
        format!("Coil on the mandrel: {} turns, {}{target}", turns(self.turns), mm(Mm::new(length)))
    }
}

/// Where things are, and how large a millimetre is.
#[derive(Debug, Clone, Copy)]
struct Scale {
    /// Points in a millimetre.
    mm: f32,
    /// Left end of the coil.
    left: f32,
    /// The mandrel's axis.
    axis: f32,
    /// The ruler's line.
    ruler: f32,
    /// The axis of the coil in the cradle.
    cradle: f32,
}

impl Scale {
    fn new(rect: Rect, job: &Job) -> Self {
        let winding = &job.winding;
        let target = job.rule.coil().length(job.rule.target_turns(job.rule.full_rings())).mm().get();
        // Room past the target for a coil that is wound too far.
        let longest = job.coil_max.mm().get().max(target) * 1.12;
        let opened = winding.wound_diameter().get() * winding.spring().high() + winding.wire().mm().get();
        let across = (rect.width() - CHUCK - 26.0) / longest as f32;
        let up = (rect.height() - 84.0) / 2.0 / (opened as f32 * 1.15);
        Self {
            mm: across.min(up).max(0.01),
            left: rect.left() + CHUCK + 8.0,
            axis: rect.top() + 16.0 + (rect.height() - 84.0) * 0.25,
            ruler: rect.top() + rect.height() * 0.5 + 2.0,
            cradle: rect.bottom() - 22.0 - (rect.height() - 84.0) * 0.25,
        }
    }

    fn long(self, mm: f64) -> f32 {
        mm as f32 * self.mm
    }
}

/// Shows the picture; `opening` says how far the coil that came off has sprung open, 0..=1.
pub fn show(
    ui: &mut Ui,
    palette: Palette,
    scene: &Scene<'_>,
    (tray, pile): (Option<&Tray>, u32),
    opening: f32,
    height: f32,
) {
    let (painter, scale, rect) = wound_part(ui, palette, scene, height);
    match tray {
        Some(tray) => in_cradle(&painter, palette, scene.job, (tray, pile), scale, rect, opening),
        None => no_coil(&painter, palette, scale, rect),
    }
}

fn no_coil(painter: &Painter, palette: Palette, scale: Scale, rect: Rect) {
    let at = pos2(rect.left() + 10.0, scale.cradle);
    let text = "The coil comes here when it is taken off.";
    painter.text(at, Align2::LEFT_CENTER, text, FontId::proportional(12.0), palette.faint);
}

/// A line below the coil in the cradle.
fn below(painter: &Painter, palette: Palette, scale: Scale, rect: Rect, text: String) {
    let at = pos2(scale.left, rect.bottom() - 9.0);
    painter.text(at, Align2::LEFT_CENTER, text, FontId::proportional(12.5), palette.faint);
}

/// Shows the same with the coil that came off a counter, of so many turns: how far it really opens is not known.
#[cfg(feature = "link")]
pub fn show_followed(
    ui: &mut Ui,
    palette: Palette,
    scene: &Scene<'_>,
    came_off: Option<f64>,
    opening: f32,
    height: f32,
) {
    let (painter, scale, rect) = wound_part(ui, palette, scene, height);
    let Some(wound) = came_off else { return no_coil(&painter, palette, scale, rect) };
    let ratio = scene.job.winding.spring().best();
    let (coil, _) = opened(&painter, scene.job, (wound, ratio), scale, opening);
    if opening >= 1.0 {
        let text =
            format!("about {} turns left of {}, if it opens as planned", turns(coil.turns), turns(wound));
        below(&painter, palette, scale, rect, text);
    }
}

/// Shows a coil of whose wire nothing is known: its turns against the target, and no length.
pub fn show_unscaled(ui: &mut Ui, palette: Palette, turns: f64, target: Turns, height: f32) {
    let (rect, response) = ui.allocate_exact_size(vec2(ui.available_width(), height), Sense::hover());
    let text = format!("Coil on the mandrel: {} turns, not to scale", number::turns(turns));
    response.widget_info(|| WidgetInfo::labeled(Role::Image, true, &text));
    let painter = ui.painter().with_clip_rect(rect);
    let left = rect.left() + 16.0;
    let goal = target.as_f64();
    // Room past the target for a coil that is wound too far.
    let most = (goal.max(turns) * 1.12).max(10.0) as f32;
    let pitch = ((rect.width() - 40.0) / most).min(12.0);
    let radius = (rect.height() * 0.22).min(60.0);
    let axis = rect.center().y - 8.0;
    let bar = Rect::from_min_max(
        pos2(rect.left() + 8.0, axis - radius + pitch / 2.0),
        pos2(rect.right() - 8.0, axis + radius - pitch / 2.0),
    );
    cylinder(&painter, bar, palette.steel);
    let start = pos2(left + pitch / 2.0, axis);
    let coil = CoilShape { start, radius, wire: pitch, pitch, turns, colour: palette.steel[1] };
    let mut mesh = Mesh::default();
    coil_mesh::add(&mut mesh, coil);
    painter.add(Shape::mesh(mesh));
    if goal > 0.0 {
        let x = left + goal as f32 * pitch;
        let stroke = Stroke::new(1.5, palette.copper);
        let foot = pos2(x, rect.bottom() - 22.0);
        painter.extend(Shape::dashed_line(&[pos2(x, rect.top() + 6.0), foot], stroke, 5.0, 3.0));
        let text = format!("target {} turns", number::turns(goal));
        let at = pos2(x, rect.bottom() - 12.0);
        painter.text(at, Align2::RIGHT_CENTER, text, FontId::proportional(12.5), palette.copper);
    }
}

/// The mandrel with its coil, and the ruler.
fn wound_part(ui: &mut Ui, palette: Palette, scene: &Scene<'_>, height: f32) -> (Painter, Scale, Rect) {
    let (rect, response) = ui.allocate_exact_size(vec2(ui.available_width(), height), Sense::hover());
    response.widget_info(|| WidgetInfo::labeled(Role::Image, true, scene.in_words()));
    let painter = ui.painter().with_clip_rect(rect);
    let scale = Scale::new(rect, scene.job);
    mandrel(&painter, palette, scene, scale, rect);
    wound(&painter, scene, scale, rect);
    ruler(&painter, palette, scene, scale, rect);
    (painter, scale, rect)
}

fn cylinder(painter: &Painter, rect: Rect, [light, steel, dark]: [Color32; 3]) {
    let mut mesh = Mesh::default();
    for (share, colour) in [(0.0, steel), (0.28, light), (0.6, steel), (1.0, dark)] {
        let y = rect.top() + rect.height() * share;
        let base = mesh.vertices.len() as u32;
        mesh.colored_vertex(pos2(rect.left(), y), colour);
        mesh.colored_vertex(pos2(rect.right(), y), colour);
        if base > 0 {
            mesh.add_triangle(base - 2, base - 1, base);
            mesh.add_triangle(base - 1, base, base + 1);
        }
    }
    painter.add(Shape::mesh(mesh));
}

fn mandrel(painter: &Painter, palette: Palette, scene: &Scene<'_>, scale: Scale, rect: Rect) {
    let half = scale.long(scene.job.winding.mandrel().mm().get()) / 2.0;
    let bar = Rect::from_min_max(
        pos2(rect.left() + CHUCK - 8.0, scale.axis - half),
        pos2(rect.right() - 8.0, scale.axis + half),
    );
    cylinder(painter, bar, palette.steel);
    let jaw = (half * 1.5 + 8.0).min((scale.axis - rect.top()) * 0.94);
    let chuck = Rect::from_min_max(
        pos2(rect.left() + 8.0, scale.axis - jaw),
        pos2(rect.left() + CHUCK, scale.axis + jaw),
    );
    let [light, steel, dark] = palette.steel;
    cylinder(painter, chuck, [steel, shade(dark, 1.12), shade(dark, 0.6)]);
    // A jaw's edge that goes round with the mandrel.
    let turn = scene.mandrel_turns.rem_euclid(1.0) as f32;
    for third in 0..3 {
        let angle = (turn + third as f32 / 3.0).fract() * std::f32::consts::TAU;
        if angle.sin() > 0.0 {
            let y = scale.axis - angle.cos() * jaw;
            painter.line_segment(
                [pos2(chuck.left(), y), pos2(chuck.right(), y)],
                Stroke::new(1.5, light.gamma_multiply(0.7)),
            );
        }
    }
}

fn shape(job: &Job, scale: Scale, turns: f64, ratio: f64, axis: f32) -> CoilShape {
    let winding = &job.winding;
    let wire = scale.long(winding.wire().mm().get());
    CoilShape {
        start: pos2(scale.left + wire / 2.0, axis),
        radius: scale.long(winding.wound_diameter().get() * ratio) / 2.0,
        wire,
        pitch: scale.long(winding.pitch().get()),
        turns,
        colour: wire_colour(&job.metal_name),
    }
}

/// The coil on the mandrel, and the wire that runs onto it.
fn wound(painter: &Painter, scene: &Scene<'_>, scale: Scale, rect: Rect) {
    let Some(tight) = scene.tight else { return };
    let turns = scene.turns;
    let coil = shape(scene.job, scale, turns, 1.0, scale.axis);
    let x = coil.start.x + turns as f32 * coil.pitch;
    let wire = Stroke::new(coil.wire.max(1.0), shade(coil.colour, 0.82));
    // It comes from behind, at the height of the mandrel's top; until it is caught it hangs in front of it.
    let (from, slack) = (pos2(x + 3.0, rect.top() - 8.0), 1.0 - tight);
    let to = pos2(x + slack * 26.0, scale.axis - coil.radius + slack * (coil.radius * 2.0 + 14.0));
    if slack > 0.0 {
        let sag = vec2(slack * 60.0, 0.0);
        let points = [from + vec2(slack * 30.0, 0.0), from + sag + vec2(0.0, 30.0), to + sag * 0.3, to];
        let curve = CubicBezierShape::from_points_stroke(points, false, Color32::TRANSPARENT, wire);
        painter.add(Shape::CubicBezier(curve));
    } else {
        painter.line_segment([to, from], wire);
    }
    let mut mesh = Mesh::default();
    coil_mesh::add(&mut mesh, coil);
    painter.add(Shape::mesh(mesh));
}

/// The cradle's length, a mark at the target and a tick each ten millimetres.
fn ruler(painter: &Painter, palette: Palette, scene: &Scene<'_>, scale: Scale, rect: Rect) {
    let job = scene.job;
    let cradle = job.coil_max.mm().get();
    let to = scale.left + scale.long(cradle);
    let y = scale.ruler;
    let line = Stroke::new(1.5, palette.ink);
    painter.line_segment([pos2(scale.left, y), pos2(to, y)], line);
    for x in [scale.left, to] {
        painter.line_segment([pos2(x, y - 7.0), pos2(x, y + 7.0)], line);
    }
    // No finer than can be seen.
    let step =
        [1.0, 5.0, 10.0, 50.0, 100.0, 500.0].into_iter().find(|mm| scale.long(*mm) >= 6.0).unwrap_or(1_000.0);
    let mut at = step;
    while at < cradle {
        let x = scale.left + scale.long(at);
        painter.line_segment([pos2(x, y), pos2(x, y + 4.0)], Stroke::new(1.0, palette.faint));
        at += step;
    }
    let small = FontId::proportional(12.5);
    let text = format!("cradle {}", given(job.coil_max));
    painter.text(pos2(scale.left + 4.0, y + 12.0), Align2::LEFT_CENTER, text, small.clone(), palette.faint);
    let target = scene.target;
    if target.as_f64() >= LEAST_TARGET {
        let x = scale.left + scale.long(job.rule.coil().length(target).mm().get());
        let stroke = Stroke::new(1.5, palette.copper);
        painter.extend(Shape::dashed_line(&[pos2(x, rect.top() + 6.0), pos2(x, y)], stroke, 5.0, 3.0));
        let text = format!("target {} turns", turns(target.as_f64()));
        // Short coils have no room for both in a line, and all the room beside it.
        let (at, place) = if x - scale.left < 200.0 {
            (pos2(to + 12.0, y), Align2::LEFT_CENTER)
        } else {
            (pos2(x - 2.0, y + 12.0), Align2::RIGHT_CENTER)
        };
        painter.text(at, place, text, small, palette.copper);
    }
}

/// The coil in the cradle: springing open, then sawn into rings.
fn in_cradle(
    painter: &Painter,
    palette: Palette,
    job: &Job,
    (tray, pile): (&Tray, u32),
    scale: Scale,
    rect: Rect,
    opening: f32,
) {
    if tray.sawn.is_some() {
        rings(painter, job, scale, rect, pile);
        let text = format!("{pile} rings in the tray");
        below(painter, palette, scale, rect, text);
        return;
    }
    let (wound, ratio) = (tray.coil.true_turns, tray.ratio());
    let (coil, end) = opened(painter, job, (wound, ratio), scale, opening);
    if opening >= 1.0 {
        slit(painter, palette, coil, tray.slit, end);
        let text =
            format!("{} turns left of {}, opened {}", turns(coil.turns), turns(wound), percent(ratio - 1.0));
        below(painter, palette, scale, rect, text);
    }
}

/// A coil of so many turns that opens by a ratio, on its way from the mandrel into the cradle; and where it ends.
fn opened(
    painter: &Painter,
    job: &Job,
    (wound, ratio): (f64, f64),
    scale: Scale,
    opening: f32,
) -> (CoilShape, f32) {
    let open = f64::from(opening);
    // Past its rest and back once: a spring.
    let swing = open + 0.35 * (open * std::f64::consts::PI).sin() * (1.0 - open);
    let now = 1.0 + (ratio - 1.0) * swing;
    let axis = scale.axis + (scale.cradle - scale.axis) * opening;
    let coil = shape(job, scale, wound * job.winding.turns_kept(now), now, axis);
    let mut mesh = Mesh::default();
    coil_mesh::add(&mut mesh, coil);
    painter.add(Shape::mesh(mesh));
    (coil, coil.start.x + coil.turns as f32 * coil.pitch + coil.wire)
}

/// Where the saw will go: along the coil, before it or behind it.
fn slit(painter: &Painter, palette: Palette, coil: CoilShape, slit: f64, end: f32) {
    let angle = slit as f32 * std::f32::consts::TAU;
    let y = coil.start.y - coil.radius * angle.cos() - coil.wire / 2.0 * angle.cos();
    let (from, to) = (pos2(coil.start.x - coil.wire, y), pos2(end + 6.0, y));
    let stroke = Stroke::new(2.0, palette.wrong);
    if slit <= 0.5 {
        painter.line_segment([from, to], stroke);
    } else {
        painter.extend(Shape::dashed_line(&[from, to], stroke, 6.0, 5.0));
    }
}

/// Rings as they fell into the tray, the newest on top: as large as they are, in a pile that grows with their number.
fn rings(painter: &Painter, job: &Job, scale: Scale, rect: Rect, count: u32) {
    let ratio = job.winding.spring().best();
    let wire = scale.long(job.winding.wire().mm().get()).max(1.0);
    let radius = scale.long(job.winding.wound_diameter().get() * ratio) / 2.0;
    let colour = wire_colour(&job.metal_name);
    let room = (rect.right() - scale.left - 2.0 * radius - wire - 8.0).max(1.0);
    // A pile of so many rings is as wide as this, until the tray is full.
    let wide = (radius * 1.5 * (count as f32).sqrt()).min(room);
    let high = (scale.cradle - scale.ruler - radius - 22.0).clamp(0.0, radius * 2.0);
    for ring in count.saturating_sub(MOST_RINGS)..count {
        // Two sequences that fill a square evenly: the fractions of multiples of irrational numbers.
        let along = (ring as f32 * 0.754_878).fract();
        let up = (ring as f32 * 0.569_84).fract();
        // Lower towards its ends.
        let slope = 1.0 - (along * 2.0 - 1.0).abs();
        let x = scale.left + wire / 2.0 + radius + wide * along;
        let y = scale.cradle + 6.0 - high * slope * up * (count as f32 / 120.0).min(1.0);
        let centre = pos2(x, y);
        arc(painter, centre, radius, Stroke::new(wire + 1.0, shade(colour, 0.5)), ring);
        arc(painter, centre, radius, Stroke::new((wire * 0.75).max(1.0), shade(colour, 1.05)), ring);
    }
}

/// A ring with the gap that the saw left, lying as it fell.
fn arc(painter: &Painter, centre: Pos2, radius: f32, stroke: Stroke, ring: u32) {
    let turned = (ring as f32 * 0.37).fract() * std::f32::consts::TAU;
    // Round at any size.
    let steps = (radius as usize).clamp(16, 64);
    let points = (0..=steps)
        .map(|step| {
            let angle = turned + 0.08 + step as f32 / steps as f32 * (std::f32::consts::TAU - 0.16);
            centre + vec2(angle.cos(), angle.sin()) * radius
        })
        .collect();
    painter.add(Shape::line(points, stroke));
}

/// A swatch of the wire's colour.
pub fn swatch(ui: &mut Ui, metal: &str) {
    let (rect, _) = ui.allocate_exact_size(vec2(16.0, 16.0), Sense::hover());
    let colour = wire_colour(metal);
    ui.painter().rect_filled(rect.shrink(1.0), CornerRadius::same(8), shade(colour, 0.7));
    ui.painter().rect_filled(rect.shrink(2.5), CornerRadius::same(8), shade(colour, 1.05));
}
