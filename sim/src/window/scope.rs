//! The lines A and B as they were of late, like on a small scope.

use eframe::egui::{Align2, FontId, Painter, Rect, Role, Sense, Shape, Stroke, Ui, WidgetInfo, pos2, vec2};

use super::look::Palette;
use super::session::Session;

/// Times that the screen may span, in milliseconds.
pub const SPANS: [u32; 4] = [5, 20, 100, 500];

/// Shows the last `span_ms` of both lines.
pub fn show(ui: &mut Ui, palette: Palette, session: &Session, span_ms: u32) {
    let (rect, response) = ui.allocate_exact_size(vec2(ui.available_width(), 74.0), Sense::hover());
    let text = format!("Lines A and B over the last {span_ms} ms");
    response.widget_info(|| WidgetInfo::labeled(Role::Image, true, &text));
    let painter = ui.painter().with_clip_rect(rect);
    painter.rect_filled(rect, 4.0, ui.visuals().extreme_bg_color);
    let inner = Rect::from_min_max(rect.min + vec2(20.0, 6.0), rect.max - vec2(6.0, 14.0));
    let grid = Stroke::new(1.0, palette.rule.gamma_multiply(0.6));
    for division in 0..=10 {
        let x = inner.left() + inner.width() * division as f32 / 10.0;
        painter.line_segment([pos2(x, inner.top()), pos2(x, inner.bottom())], grid);
    }
    let small = FontId::proportional(11.0);
    let per = format!("{} ms a division", f64::from(span_ms) / 10.0);
    let foot = pos2(inner.right(), rect.bottom() - 7.0);
    painter.text(foot, Align2::RIGHT_CENTER, per, small.clone(), palette.faint);
    let half = inner.height() / 2.0;
    for (bit, name, colour) in [(0, "A", palette.accent), (1, "B", palette.copper)] {
        let top = inner.top() + half * bit as f32 + 4.0;
        let lane = Rect::from_min_max(pos2(inner.left(), top), pos2(inner.right(), top + half - 9.0));
        painter.text(
            pos2(rect.left() + 10.0, lane.center().y),
            Align2::CENTER_CENTER,
            name,
            small.clone(),
            colour,
        );
        line(&painter, session, (bit, span_ms), lane, Stroke::new(1.5, colour));
    }
}

/// One line, from the newest change back to the left edge.
fn line(painter: &Painter, session: &Session, (bit, span_ms): (u32, u32), lane: Rect, stroke: Stroke) {
    let now = session.simulated_bench().now().as_micros() as f64 * 1e3;
    let span = f64::from(span_ms) * 1e6;
    let level_y = |level: u32| if level >> bit & 1 == 1 { lane.top() } else { lane.bottom() };
    let mut level = session.simulated_bench().lines().levels();
    let mut points = vec![pos2(lane.right(), level_y(level))];
    let mut changes = session.trace().changes().rev().peekable();
    while let Some((at, after)) = changes.next() {
        let before = changes.peek().map_or(after, |(_, before)| *before);
        let share = (at as f64 - now + span) / span;
        if share <= 0.0 {
            level = after;
            break;
        }
        // Denser than this is a block of colour either way.
        let x = lane.left() + lane.width() * share.min(1.0) as f32;
        if (before ^ after) >> bit & 1 == 1 && points.len() < 4_096 {
            points.push(pos2(x, level_y(after)));
            points.push(pos2(x, level_y(before)));
        }
        level = before;
    }
    points.push(pos2(lane.left(), level_y(level)));
    painter.add(Shape::line(points, stroke));
}
