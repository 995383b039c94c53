//! The crank: turned by mouse, wheel or keys.

use std::f32::consts::TAU;

use eframe::egui::{
    CursorIcon, Event, EventFilter, Id, Key, MouseWheelUnit, Pos2, Response, Sense, Stroke, Ui, WidgetInfo,
    pos2, vec2,
};

use super::look::{Palette, shade};
use super::wanted::light;

/// Turns for an arrow key.
const KEY_TURNS: f64 = 0.1;
/// Turns for a notch of the wheel.
const NOTCH_TURNS: f64 = 0.1;
/// Points that a touchpad moves for a notch.
const NOTCH_POINTS: f32 = 50.0;
/// A pointer nearer to the axle than this share of the arm has no direction worth speaking of.
const DEAD_CENTRE: f32 = 0.15;

/// The direction of a pointer from the axle, in turns clockwise.
fn direction(centre: Pos2, pointer: Pos2, arm: f32) -> Option<f32> {
    let from = pointer - centre;
    (from.length() > DEAD_CENTRE * arm).then(|| from.y.atan2(from.x) / TAU)
}

/// From one direction to another the short way round, in turns.
fn turned(from: f32, to: f32) -> f32 {
    (to - from + 0.5).rem_euclid(1.0) - 0.5
}

/// Shows the crank at its angle (in turns; clockwise winds on) and says by how many turns it is asked
/// to go on. It is `lit` when it is what is wanted.
pub fn show(ui: &mut Ui, palette: Palette, angle: f64, size: f32, lit: bool) -> (Response, f64) {
    let (rect, _) = ui.allocate_exact_size(vec2(size, size), Sense::hover());
    // The same one wherever it stands: it keeps the keyboard when the window is resized.
    let response = ui.interact(rect, Id::unique("crank"), Sense::drag() | Sense::FOCUSABLE);
    let response = response.on_hover_cursor(CursorIcon::Grab);
    let enabled = ui.is_enabled();
    response.widget_info(|| WidgetInfo::slider(enabled, angle, "Crank"));
    let arm = size * 0.40;
    let turns =
        f64::from(dragged(ui, &response, rect.center(), arm)) + wheel(ui, &response) + keys(ui, &response);
    if lit {
        light(ui, palette, &response, true);
    }
    paint(ui, palette, &response, angle, arm);
    (response, turns)
}

/// Every movement of the pointer counts, not only where it ends up in this frame: a quick hand makes
/// half a turn between two.
fn dragged(ui: &Ui, response: &Response, centre: Pos2, arm: f32) -> f32 {
    // The last movement may come together with the release.
    if !response.dragged() && !response.drag_stopped() {
        ui.data_mut(|data| data.remove::<f32>(response.id));
        return 0.0;
    }
    let mut last: Option<f32> = ui.data(|data| data.get_temp(response.id));
    let mut sum = 0.0;
    ui.input(|input| {
        for event in &input.events {
            let at = match event {
                Event::PointerMoved(at) | Event::PointerButton { pos: at, pressed: true, .. } => *at,
                Event::PointerButton { pressed: false, .. } => break,
                _ => continue,
            };
            let Some(to) = direction(centre, at, arm) else { continue };
            sum += last.map_or(0.0, |from| turned(from, to));
            last = Some(to);
        }
    });
    if let Some(last) = last {
        ui.data_mut(|data| data.insert_temp(response.id, last));
    }
    if response.drag_stopped() {
        ui.data_mut(|data| data.remove::<f32>(response.id));
    }
    sum
}

fn wheel(ui: &Ui, response: &Response) -> f64 {
    if !response.contains_pointer() {
        return 0.0;
    }
    let notches = ui.input_mut(|input| {
        let mut notches = 0.0;
        for event in &input.events {
            if let Event::MouseWheel { unit, delta, modifiers, .. } = event
                && !modifiers.command
            {
                notches += match unit {
                    MouseWheelUnit::Point => delta.y / NOTCH_POINTS,
                    MouseWheelUnit::Line | MouseWheelUnit::Page => delta.y,
                };
            }
        }
        // The page behind is not to scroll along.
        input.smooth_scroll_delta = vec2(0.0, 0.0);
        notches
    });
    f64::from(notches) * NOTCH_TURNS
}

/// The crank hears the keys, if nothing else does: so after a click too.
pub fn has_keyboard(ui: &Ui, response: &Response) -> bool {
    response.has_focus() || ui.memory(|memory| memory.focused().is_none())
}

fn keys(ui: &Ui, response: &Response) -> f64 {
    if !has_keyboard(ui, response) {
        return 0.0;
    }
    let arrows = EventFilter { horizontal_arrows: true, vertical_arrows: true, ..EventFilter::default() };
    ui.memory_mut(|memory| memory.set_focus_lock_filter(response.id, arrows));
    ui.input(|input| {
        let mut turns = 0.0;
        for event in &input.events {
            if let Event::Key { key, pressed: true, modifiers, .. } = event {
                let step = if modifiers.shift { 1.0 } else { KEY_TURNS };
                turns += match key {
                    Key::ArrowRight | Key::ArrowUp => step,
                    Key::ArrowLeft | Key::ArrowDown => -step,
                    _ => 0.0,
                };
            }
        }
        turns
    })
}

fn paint(ui: &Ui, palette: Palette, response: &Response, angle: f64, arm: f32) {
    let painter = ui.painter();
    let centre = response.rect.center();
    let [light, steel, dark] = palette.steel;
    painter.circle_stroke(centre, arm, Stroke::new(1.0, palette.edge));
    // A tick each eighth of a turn: eyes follow the handle by them.
    for eighth in 0..8 {
        let (sin, cos) = (eighth as f32 / 8.0 * TAU).sin_cos();
        let at = |r: f32| centre + vec2(cos, sin) * r;
        painter.line_segment([at(arm * 1.06), at(arm * 1.13)], Stroke::new(1.0, palette.faint));
    }
    let (sin, cos) = (((angle.fract() - 0.25) * f64::from(TAU)) as f32).sin_cos();
    let handle = centre + vec2(cos, sin) * arm;
    let across = vec2(-sin, cos);
    for (width, colour) in [(0.17, dark), (0.12, steel), (0.04, light)] {
        painter.line_segment([centre, handle], Stroke::new(arm * width, colour));
    }
    let rim = arm * 0.2;
    painter.circle_filled(centre, rim, dark);
    painter.circle_filled(centre, rim * 0.72, steel);
    painter.circle_filled(centre, rim * 0.28, dark);
    let knob = arm * 0.19;
    painter.circle_filled(handle, knob, shade(palette.copper, 0.6));
    painter.circle_filled(handle - across * knob * 0.05, knob * 0.84, palette.copper);
    painter.circle_filled(
        pos2(handle.x - knob * 0.25, handle.y - knob * 0.3),
        knob * 0.3,
        shade(palette.copper, 1.35),
    );
    if response.has_focus() {
        painter.circle_stroke(centre, arm * 1.15, Stroke::new(1.5, palette.accent));
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The short way round, over the seam too.
    #[test]
    fn directions_are_unwrapped() {
        for (from, to, by) in [(0.0, 0.1, 0.1), (0.45, -0.45, 0.1), (-0.45, 0.45, -0.1), (0.2, -0.2, -0.4)] {
            assert!((turned(from, to) - by).abs() < 1e-6, "{from} {to}");
        }
    }

    /// To the right of the axle, below it, left of it; nothing at the axle itself.
    #[test]
    fn a_pointer_has_a_direction() {
        let at = |x: f32, y: f32| direction(pos2(10.0, 10.0), pos2(10.0 + x, 10.0 + y), 50.0);
        assert_eq!(at(20.0, 0.0), Some(0.0));
        assert_eq!(at(0.0, 20.0), Some(0.25));
        assert_eq!(at(-20.0, 0.0), Some(0.5));
        assert_eq!(at(1.0, 1.0), None);
    }
}
