//! What the user does next: one sentence, the control that it is about, and the step of the coil that it belongs to.

use eframe::egui::{
    Align2, FontId, Label, Rect, RichText, Role, Sense, Stroke, StrokeKind, Ui, WidgetInfo, pos2, vec2,
};
use turntally_core::bench::{Choice, Phase, State};
use turntally_core::screen::fault_words;

use super::counter;
use super::look::{Palette, SENTENCE, bold_font};
use super::session::Session;
use super::wanted::Wanted;

/// The steps from a job to its rings; they come again for each coil.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Step {
    Choose,
    Catch,
    Wind,
    Stop,
    Keep,
    Saw,
}

impl Step {
    const ALL: [(Self, &'static str); 6] = [
        (Self::Choose, "Choose"),
        (Self::Catch, "Catch"),
        (Self::Wind, "Wind"),
        (Self::Stop, "Stop"),
        (Self::Keep, "Keep"),
        (Self::Saw, "Saw"),
    ];
}

/// What the user does next.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Guide {
    /// One sentence without its full stop.
    pub sentence: String,
    /// What was just done leads nowhere: the sentence is a warning.
    pub warns: bool,
    /// Where in the work that is.
    pub step: Step,
    /// What is lit; nothing while somebody else winds, or where the user chooses freely.
    pub wanted: Option<Wanted>,
}

impl Guide {
    /// For the bench as it is; `coil_waits` for the saw; the crank was turned `too_early` to be counted.
    #[must_use]
    pub fn of(session: &Session, coil_waits: bool, too_early: bool) -> Self {
        let simulated_bench = session.simulated_bench();
        let bench = simulated_bench.bench();
        let to_go = counter::up(bench.target_turns().nano().saturating_sub(bench.turns().nano()));
        let (step, wanted, sentence) = match bench.phase() {
            Phase::Choose => match bench.state() {
                State::Choose { pick: turntally_core::bench::Pick::Job } => {
                    (Step::Choose, Some(Wanted::Yes), "Press Yes to choose this job".to_owned())
                }
                _ => (Step::Choose, None, counter::in_words(session)),
            },
            Phase::SetUp | Phase::CountRings | Phase::MeasureRing => {
                (Step::Choose, None, counter::in_words(session))
            }
            Phase::Ready => (Step::Catch, Some(Wanted::Yes), "Press Yes to catch the wire".to_owned()),
            Phase::Winding => {
                (Step::Wind, Some(Wanted::Crank), format!("Turn the crank: {to_go} turns to go"))
            }
            Phase::Near => {
                (Step::Wind, Some(Wanted::Crank), format!("Slower, the target is near: {to_go} turns to go"))
            }
            Phase::Stop => (Step::Stop, Some(Wanted::Yes), "Stop here and press Yes".to_owned()),
            Phase::Over => {
                let past = counter::up(bench.turns().nano().saturating_sub(bench.target_turns().nano()));
                (Step::Stop, Some(Wanted::Yes), format!("{past} turns too far: turn back, or press Yes"))
            }
            Phase::Paused => (Step::Wind, Some(Wanted::Yes), "Press Yes to wind on".to_owned()),
            Phase::Verdict => {
                let words = match bench.state() {
                    State::Verdict { choice: Choice::Scrap } => "Press Yes to throw the coil away",
                    State::Verdict { choice: Choice::WindOn } => "Press Yes to wind on",
                    _ => "Press Yes to keep the coil",
                };
                (Step::Keep, Some(Wanted::Yes), words.to_owned())
            }
            Phase::Next | Phase::Done if coil_waits => {
                (Step::Saw, Some(Wanted::Saw), "Saw the coil into rings".to_owned())
            }
            Phase::Next => (Step::Catch, Some(Wanted::Yes), "Press Yes for the next coil".to_owned()),
            Phase::Done => (Step::Saw, None, "The batch is done".to_owned()),
            Phase::Fault => {
                let fault = simulated_bench.shown().fault;
                let name = fault.map_or("The count is uncertain", |fault| fault_words(fault).0);
                (Step::Wind, Some(Wanted::Yes), format!("{name}: Yes goes on, No throws the coil away"))
            }
        };
        // Whoever winds in the user's stead does what the counter asks for.
        if session.is_helped() && wanted != Some(Wanted::Saw) && bench.phase() != Phase::Fault {
            let sentence = match bench.phase() {
                Phase::Winding | Phase::Near => format!("The operator winds: {to_go} turns to go"),
                Phase::Done => sentence,
                _ => "The operator is at the bench".to_owned(),
            };
            return Self { sentence, warns: false, step, wanted: None };
        }
        if too_early && wanted == Some(Wanted::Yes) {
            let sentence = match bench.phase() {
                Phase::Choose => "Press Yes first: no job is chosen yet",
                Phase::Ready => "Press Yes first: the wire is not caught yet",
                _ => "Press Yes first: no coil is being counted",
            };
            return Self { sentence: sentence.to_owned(), warns: true, step, wanted };
        }
        Self { sentence, warns: false, step, wanted }
    }

    /// Shows the sentence and, below it, the strip of steps.
    pub fn show(&self, ui: &mut Ui, palette: Palette) {
        let colour = if self.warns { palette.copper } else { palette.ink };
        // Long ones are the counter's own words on its pages for setting up.
        let narrow = ui.available_width() < 700.0;
        let size = if narrow || self.sentence.len() > 64 { 17.0 } else { SENTENCE };
        let sign = if self.warns { "! " } else { "" };
        let text = RichText::new(format!("{sign}{}", self.sentence)).size(size).color(colour);
        let text = text.family(bold_font(size).family);
        ui.scope(|ui| {
            if !narrow {
                // Whatever its length, nothing below it moves.
                ui.set_min_height(34.0);
            }
            let response = ui.add(Label::new(text).wrap_mode(eframe::egui::TextWrapMode::Truncate));
            response.widget_info(|| WidgetInfo::labeled(Role::Label, true, &self.sentence));
        });
        if !narrow {
            self.steps(ui, palette);
        }
    }

    fn steps(&self, ui: &mut Ui, palette: Palette) {
        const EACH: f32 = 104.0;
        const HIGH: f32 = 24.0;
        let width = (ui.available_width() / 6.0).min(EACH);
        let (rect, response) = ui.allocate_exact_size(vec2(width * 6.0, HIGH), Sense::hover());
        let at = self.step as usize;
        let (_, name) = Step::ALL[at];
        response
            .widget_info(|| WidgetInfo::labeled(Role::Label, true, format!("Step {} of 6: {name}", at + 1)));
        let painter = ui.painter();
        let middle = rect.center().y;
        for (place, (_, name)) in Step::ALL.into_iter().enumerate() {
            let left = rect.left() + place as f32 * width;
            let pill = Rect::from_min_max(pos2(left, rect.top()), pos2(left + width - 18.0, rect.bottom()));
            if place + 1 < Step::ALL.len() {
                let colour = if place < at { palette.accent } else { palette.edge };
                painter.line_segment(
                    [pos2(pill.right() + 3.0, middle), pos2(left + width - 3.0, middle)],
                    Stroke::new(1.5, colour),
                );
            }
            // By shape as well as by colour: filled, ticked, or bare.
            let (font, ink) = if place == at {
                painter.rect_filled(pill, HIGH / 2.0, palette.accent);
                (bold_font(13.5), palette.card)
            } else {
                let stroke = Stroke::new(1.0, if place < at { palette.accent } else { palette.edge });
                painter.rect_stroke(pill, HIGH / 2.0, stroke, StrokeKind::Inside);
                (FontId::proportional(13.5), if place < at { palette.accent } else { palette.faint })
            };
            painter.text(pill.center(), Align2::CENTER_CENTER, name, font, ink);
        }
    }
}
