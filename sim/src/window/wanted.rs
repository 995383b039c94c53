//! The control that the user is to use next, and the light round it.

use eframe::egui::{Response, Stroke, StrokeKind, Ui};

use super::look::Palette;

/// The control that the sentence is about: it is lit.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Wanted {
    /// The Yes key.
    Yes,
    /// The crank.
    Crank,
    /// The saw's button.
    Saw,
}

impl Wanted {
    /// The name of the control.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Yes => "Yes",
            Self::Crank => "Crank",
            Self::Saw => "Saw",
        }
    }
}

/// A ring of light round the control that is wanted; it breathes at less than once a second.
pub fn light(ui: &Ui, palette: Palette, response: &Response, round: bool) {
    let breath = (ui.input(|input| input.time) * std::f64::consts::TAU * 0.7).sin() as f32;
    let stroke = Stroke::new(3.0, palette.accent.gamma_multiply(0.55 + 0.25 * breath));
    let rect = response.rect;
    // What the control lies on cuts nothing off.
    let painter = ui.painter();
    if round {
        painter.circle_stroke(rect.center(), rect.width() * 0.49, stroke);
    } else {
        painter.rect_stroke(rect.expand(3.0), 9.0, stroke, StrokeKind::Outside);
    }
}
