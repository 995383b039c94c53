//! A ring to scale, seen from above, with its inside diameter.

use eframe::egui::{Align2, FontId, Role, Sense, Stroke, Ui, WidgetInfo, pos2, vec2};

use super::look::{Palette, shade, wire_colour};
use crate::words::number::sig;

/// Points in a millimetre: eight times as large as life on a display of 96 points in an inch, until it has no room.
const SCALE: f32 = 8.0 * 96.0 / 25.4;
/// The most that it takes, in points.
const MOST: f32 = 96.0;

/// Shows a ring of this inside diameter and wire, in millimetres.
pub fn show(ui: &mut Ui, palette: Palette, metal: &str, inner: f64, wire: f64) {
    let outer = (inner + 2.0 * wire) as f32;
    let scale = (MOST / outer.max(1e-3)).min(SCALE);
    let side = outer * scale;
    let (rect, response) = ui.allocate_exact_size(vec2(side + 12.0, side + 24.0), Sense::hover());
    let words = format!("{} mm inside, wire {} mm", sig(inner, 3), sig(wire, 3));
    response.widget_info(|| WidgetInfo::labeled(Role::Image, true, format!("Ring, {words}")));
    let painter = ui.painter();
    let centre = pos2(rect.center().x, rect.top() + 2.0 + side / 2.0);
    let (radius, thick) = ((inner + wire) as f32 / 2.0 * scale, wire as f32 * scale);
    let colour = wire_colour(metal);
    // Lit from above: a dark edge, the metal, a bright line on it.
    for (share, by) in [(1.0, 0.55), (0.84, 1.0), (0.3, 1.3)] {
        // egui puts the stroke of a circle outside its radius.
        let wide = (thick * share).max(1.0);
        painter.circle_stroke(centre, radius - wide / 2.0, Stroke::new(wide, shade(colour, by)));
    }
    let half = inner as f32 / 2.0 * scale;
    let line = Stroke::new(1.0, palette.ink);
    painter.line_segment([centre - vec2(half, 0.0), centre + vec2(half, 0.0)], line);
    for side in [-1.0, 1.0] {
        let tip = centre + vec2(half * side, 0.0);
        painter.line_segment([tip, tip + vec2(-4.0 * side, -3.0)], line);
        painter.line_segment([tip, tip + vec2(-4.0 * side, 3.0)], line);
    }
    let foot = pos2(rect.center().x, rect.bottom() - 8.0);
    painter.text(
        foot,
        Align2::CENTER_CENTER,
        format!("{} mm", sig(inner, 3)),
        FontId::proportional(12.0),
        palette.ink,
    );
}
