//! The counter's front: its screen pixel for pixel, lamps, keys, knob, stop line, sounder.

use eframe::egui::{
    Align, Align2, Button, Color32, ColorImage, CornerRadius, FontId, Layout, Pos2, Rect, Response, Role,
    Sense, Shape, Stroke, TextureHandle, TextureOptions, Ui, WidgetInfo, pos2, vec2,
};
use turntally_core::bench::{Fault, Phase, Pick, RingCountEntry, RingEntry, State};
use turntally_core::input::Key;
use turntally_core::measured_ring::Oddity;
use turntally_core::screen::{HEIGHT, WIDTH, fault_words};
use turntally_core::setup::{Entry, Outcome, Reason, SetUp, Shown};
use turntally_core::units::Turns;
use turntally_firmware::display::{FRAME_BYTES, Frame};

use super::look::{Palette, main_button, shade};
use super::session::Session;
use super::wanted::{Wanted, light};
use crate::simulation::board::Line;
use crate::words::number::fixed;

/// How wide the knob is, and a small button, in points.
const KNOB: f32 = 34.0;
const STEP: f32 = 28.0;

const LIT: Color32 = Color32::from_rgb(0xc8, 0xec, 0xff);
const DARK: Color32 = Color32::from_rgb(0x08, 0x0b, 0x10);
const BODY: Color32 = Color32::from_rgb(0x2c, 0x31, 0x34);

/// The screen as a texture, made anew only when a pixel changes.
#[derive(Default)]
pub struct Screen {
    shown: Option<([u8; FRAME_BYTES], TextureHandle)>,
}

impl std::fmt::Debug for Screen {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Screen").finish_non_exhaustive()
    }
}

impl Screen {
    fn texture(&mut self, ui: &Ui, frame: &Frame) -> &TextureHandle {
        let (bytes, texture) = self.shown.get_or_insert_with(|| {
            (*frame.bytes(), ui.ctx().load_texture("counter", image(frame), TextureOptions::NEAREST))
        });
        if bytes != frame.bytes() {
            *bytes = *frame.bytes();
            texture.set(image(frame), TextureOptions::NEAREST);
        }
        texture
    }
}

fn image(frame: &Frame) -> ColorImage {
    let pixels = (0..HEIGHT)
        .flat_map(|y| (0..WIDTH).map(move |x| (x, y)))
        .map(|(x, y)| if frame.pixel(x, y) { LIT } else { DARK })
        .collect();
    ColorImage::new([WIDTH as usize, HEIGHT as usize], pixels)
}

/// What the counter's screen shows, in words, for a screen reader.
#[must_use]
pub fn in_words(session: &Session) -> String {
    let bench = session.simulated_bench().bench();
    let fault = session.simulated_bench().shown().fault;
    if let (Phase::Over, pieces @ 2..) = (bench.phase(), bench.pieces()) {
        return format!("Too long for the cradle: wind back, or Yes and cut it in {pieces}.");
    }
    choosing(bench.state())
        .unwrap_or_else(|| announcement(bench.phase(), bench.turns(), bench.target_turns(), fault))
}

/// The same of a counter of which this is known.
#[must_use]
pub fn announcement(phase: Phase, turns: Turns, target: Turns, fault: Option<Fault>) -> String {
    let (turns, target) = (turns.nano(), target.nano());
    let to_go = up(target.saturating_sub(turns));
    match phase {
        Phase::Choose => "A job is being chosen.".to_owned(),
        Phase::SetUp => "Something is being set up.".to_owned(),
        Phase::CountRings => "The rings of what was sawn are being counted.".to_owned(),
        Phase::MeasureRing => "The inside of a ring is being entered.".to_owned(),
        Phase::Ready => "Catch the wire and draw it tight: Yes starts the count.".to_owned(),
        Phase::Winding => format!("Winding: {to_go} turns to go."),
        Phase::Near => format!("Near: {to_go} turns to go."),
        Phase::Stop => "Stop now. Yes goes on to keep the coil.".to_owned(),
        Phase::Over => format!("Too far by {} turns: wind back, or Yes.", up(turns.saturating_sub(target))),
        Phase::Paused => "Paused: the count goes on. Yes winds on.".to_owned(),
        Phase::Verdict => "Keep, throw away or wind on: the knob chooses, Yes takes it.".to_owned(),
        Phase::Next => "Coil kept. Yes for the next one.".to_owned(),
        Phase::Done => "The batch is done.".to_owned(),
        Phase::Fault => match fault {
            Some(fault) => format!("{}.", fault_words(fault).0),
            None => "The count is uncertain.".to_owned(),
        },
    }
}

/// Nano-turns in tenths, rounded up as on the counter's screen.
pub fn up(nano: i64) -> String {
    let tenths = nano.saturating_add(Turns::ONE / 10 - 1).div_euclid(Turns::ONE / 10);
    fixed(tenths as f64 / 10.0, 1)
}

/// The pages on which something is chosen.
fn choosing(state: &State) -> Option<String> {
    Some(match state {
        State::Choose { pick: Pick::Job } => "Choose the job: Yes takes it.".to_owned(),
        State::Choose { pick: Pick::SetUpBatch } => "Set up a batch: Yes begins.".to_owned(),
        State::Choose { pick: Pick::SetUpCounter } => "Set up the counter: Yes begins.".to_owned(),
        State::Choose { pick: Pick::CountRings } => {
            "Count the rings of what was sawn: Yes begins.".to_owned()
        }
        State::Choose { pick: Pick::MeasureRing } => {
            "Enter the inside of a ring that you measured, if you like: Yes begins.".to_owned()
        }
        State::MeasureRing(entry) => measured_ring(*entry),
        State::SetUp(pages) => set_up(pages),
        State::CountRings(RingCountEntry { rings, at_rejects: false, .. }) => {
            format!("{rings} good rings: the knob corrects it, Yes goes on, No leaves.")
        }
        State::CountRings(RingCountEntry { rejects, .. }) => {
            format!("{rejects} rings no good: the knob corrects it, Yes writes it down, No goes back.")
        }
        _ => return None,
    })
}

fn measured_ring(RingEntry { inside, expected: (least, most), asked, .. }: RingEntry) -> String {
    match asked {
        None => format!("{inside} inside, as cut: the knob corrects it, Yes writes it down, No leaves."),
        Some(Oddity::Outside) => {
            format!(
                "{inside}: is that the outside? Expected: {least} to {most} inside. Yes: it is right. No: back."
            )
        }
        Some(Oddity::Wider) => {
            format!(
                "{inside} is wider than {least} to {most}: is the wire harder? Yes: it is right. No: back."
            )
        }
        Some(Oddity::Narrower) => {
            format!(
                "{inside} is narrower than {least} to {most}: is the wire softer? Yes: it is right. No: back."
            )
        }
    }
}

fn set_up(pages: &SetUp) -> String {
    let entry = pages.entry();
    let (name, value) = (entry.name(), pages.value(entry));
    match pages.shown() {
        Shown::List if value.is_empty() => format!("{name}: Yes."),
        Shown::List => format!("{name}, {value}: the knob chooses, Yes opens, No leaves."),
        Shown::Entry if entry == Entry::Direction => {
            format!("{name}, {value}: crank once as if winding, then Yes.")
        }
        Shown::Entry => format!("{name}, {value}: the knob turns it, Yes keeps it, No puts it back."),
        Shown::Outcome(Ok(outcome)) => {
            let Outcome { coils, turns, rings } = outcome;
            let (turns, plural) = (up(turns.nano()), if *coils == 1 { "" } else { "s" });
            format!("{coils} coil{plural}; the first of {turns} turns and {rings} rings. Yes takes it.")
        }
        Shown::Outcome(Err(Reason(first, second))) => format!("{first} {second} Yes or No goes back."),
    }
}

/// Shows the counter and passes on what is pressed and turned.
pub fn show(
    ui: &mut Ui,
    palette: Palette,
    screen: &mut Screen,
    session: &mut Session,
    pulse: f32,
    wanted: Option<Wanted>,
) {
    let width = ui.available_width().min(440.0);
    // Whole pixels of the counter on whole pixels of the display.
    let dot =
        ((width - 28.0) / WIDTH as f32 * ui.pixels_per_point()).floor().max(1.0) / ui.pixels_per_point();
    let size = vec2(WIDTH as f32 * dot, HEIGHT as f32 * dot);
    let (body, _) = ui.allocate_exact_size(vec2(width, size.y + 62.0), Sense::hover());
    let painter = ui.painter().clone();
    painter.rect_filled(body, CornerRadius::same(10), BODY);
    painter.rect_stroke(
        body,
        CornerRadius::same(10),
        Stroke::new(1.0, shade(BODY, 1.25)),
        eframe::egui::StrokeKind::Inside,
    );
    let glass = Rect::from_min_size(pos2((body.center().x - size.x / 2.0).round(), body.top() + 13.0), size);
    painter.rect_filled(glass.expand(5.0), CornerRadius::same(3), Color32::BLACK);
    let response = ui.interact(glass, ui.scope_id().with("screen"), Sense::hover());
    response
        .widget_info(|| WidgetInfo::labeled(Role::Image, true, format!("Counter: {}", in_words(session))));
    let texture = screen.texture(ui, &session.simulated_bench().frame());
    let whole = Rect::from_min_max(Pos2::ZERO, pos2(1.0, 1.0));
    painter.image(texture.id(), glass, whole, Color32::WHITE);
    front(ui, session, Rect::from_min_max(pos2(body.left(), glass.bottom() + 6.0), body.max), pulse);
    ui.add_space(2.0);
    under_the_hand(ui, palette, session, width, wanted);
}

/// Lamps, stop line and sounder.
fn front(ui: &Ui, session: &Session, strip: Rect, pulse: f32) {
    let painter = ui.painter();
    let levels = session.simulated_bench().lines().levels();
    let lit = |line: Line| levels >> line as u32 & 1 == 1;
    let middle = strip.center().y - 5.0;
    let narrow = strip.width() / 300.0;
    let label = |x: f32, text: &str, colour: Color32| {
        painter.text(pos2(x, middle + 15.0), Align2::CENTER_CENTER, text, FontId::proportional(10.5), colour);
    };
    let grey = Color32::from_rgb(0xc4, 0xca, 0xcc);
    let lamps = [
        (Line::Green, "green", Color32::from_rgb(0x3c, 0xd0, 0x7a)),
        (Line::Yellow, "yellow", Color32::from_rgb(0xf4, 0xc4, 0x30)),
        (Line::Red, "red", Color32::from_rgb(0xf2, 0x4e, 0x44)),
    ];
    for (index, (line, name, colour)) in lamps.into_iter().enumerate() {
        let at = pos2(strip.left() + (34.0 + 44.0 * index as f32) * narrow, middle);
        if lit(line) {
            painter.circle_filled(at, 13.0, colour.gamma_multiply(0.28));
        }
        painter.circle_filled(at, 7.5, if lit(line) { colour } else { shade(colour, 0.28) });
        painter.circle_stroke(at, 8.5, Stroke::new(1.0, shade(BODY, 0.5)));
        label(at.x, name, grey);
    }
    // As a level on a line: it is low at rest too, and that is no alarm.
    let may_turn = lit(Line::Stop);
    let x = strip.left() + 182.0 * narrow;
    let (high, low) = (middle - 7.0, middle + 5.0);
    let level = if may_turn { high } else { low };
    for y in [high, low] {
        painter.line_segment([pos2(x - 20.0, y), pos2(x + 20.0, y)], Stroke::new(1.0, shade(BODY, 1.3)));
    }
    painter.line_segment([pos2(x - 20.0, level), pos2(x + 20.0, level)], Stroke::new(2.5, LIT));
    label(x, if may_turn { "stop line high" } else { "stop line low" }, grey);
    // The sounder: a grille, and arcs that run out from it to both sides while it sounds.
    let at = pos2(strip.right() - 42.0 * narrow, middle);
    for (radius, alpha) in [(10.0, 1.0), (15.0, 0.8), (20.0, 0.6)] {
        if pulse > 0.0 {
            for side in [-1.0, 1.0] {
                let points = (-4..=4).map(|step| {
                    let angle = step as f32 * 0.14;
                    at + vec2(angle.cos() * side, angle.sin()) * radius
                });
                let stroke = Stroke::new(2.5, LIT.gamma_multiply(alpha * pulse));
                painter.add(Shape::line(points.collect(), stroke));
            }
        }
    }
    for (dx, dy) in [(0.0, 0.0), (-4.0, 0.0), (4.0, 0.0), (-2.0, -3.5), (2.0, -3.5), (-2.0, 3.5), (2.0, 3.5)]
    {
        painter.circle_filled(at + vec2(dx, dy), 1.2, grey);
    }
    label(at.x, if pulse > 0.0 { "sounds" } else { "sounder" }, grey);
}

/// The keys and the knob.
fn under_the_hand(ui: &mut Ui, palette: Palette, session: &mut Session, width: f32, wanted: Option<Wanted>) {
    // As wide as the counter: the keys take what knob, its two buttons and the gaps leave.
    let wide = (width - KNOB - 2.0 * STEP - 4.0 * ui.spacing().item_spacing.x) / 2.0;
    ui.allocate_ui_with_layout(vec2(width, KNOB), Layout::left_to_right(Align::Center), |ui| {
        let held = session.key();
        let key = |ui: &mut Ui, key: Key, text: &str, help: &str| {
            let lit = key == Key::Yes && wanted == Some(Wanted::Yes);
            let button = if lit { main_button(palette, text) } else { Button::new(text) };
            let button = button.min_size(vec2(wide, 32.0));
            let response = ui.add(button.selected(held == Some(key) && !lit));
            if lit {
                light(ui, palette, &response, false);
            }
            response.on_hover_text(help).clicked()
        };
        if key(ui, Key::No, "No", "The No key: goes back, pauses (Backspace at the crank)") {
            session.press(Key::No);
        }
        if step(ui, "<", "Knob left").clicked() {
            session.turn_knob(-1);
        }
        let clicks = knob(ui, palette, session.knob_clicks());
        if clicks != 0 {
            session.turn_knob(clicks);
        }
        if step(ui, ">", "Knob right").clicked() {
            session.turn_knob(1);
        }
        if key(ui, Key::Yes, "Yes", "The Yes key: goes on (Enter at the crank)") {
            session.press(Key::Yes);
        }
    });
}

/// A small button whose name is not what stands on it.
pub fn step(ui: &mut Ui, sign: &str, name: &str) -> Response {
    let response = ui.add(Button::new(sign).min_size(vec2(STEP, ui.spacing().interact_size.y)));
    let enabled = ui.is_enabled();
    response.widget_info(|| WidgetInfo::labeled(Role::Button, enabled, name));
    response.on_hover_text(name)
}

/// Points that the knob is dragged for a click.
const DRAG_POINTS: f32 = 7.0;

/// The knob, turned by the wheel or dragged, to the right or up for clockwise; says by how many clicks.
fn knob(ui: &mut Ui, palette: Palette, clicks: i32) -> i32 {
    let (rect, _) = ui.allocate_exact_size(vec2(KNOB, KNOB), Sense::hover());
    let response = ui.interact(rect, ui.scope_id().with("knob"), Sense::drag());
    response.widget_info(|| WidgetInfo::slider(true, f64::from(clicks), "Knob"));
    let [light, steel, dark] = palette.steel;
    let painter = ui.painter();
    painter.circle_filled(rect.center(), 16.0, dark);
    painter.circle_filled(rect.center(), 13.5, steel);
    // Twenty-four clicks to a turn.
    let angle = clicks as f32 / 24.0 * std::f32::consts::TAU - std::f32::consts::FRAC_PI_2;
    let tip = vec2(angle.cos(), angle.sin());
    painter.line_segment(
        [rect.center() + tip * 5.0, rect.center() + tip * 13.0],
        Stroke::new(3.0, shade(dark, 0.5)),
    );
    painter.circle_filled(rect.center() - vec2(4.0, 5.0), 3.0, shade(light, 1.2).gamma_multiply(0.5));
    dragged(ui, &response) + wheeled(ui, &response)
}

/// Whole clicks of a drag; the rest waits for its next movement.
fn dragged(ui: &Ui, response: &Response) -> i32 {
    if response.drag_started() || !response.dragged() {
        ui.data_mut(|data| data.remove::<f32>(response.id));
    }
    if !response.dragged() {
        return 0;
    }
    let moved = response.drag_delta();
    let way = ui.data(|data| data.get_temp::<f32>(response.id)).unwrap_or(0.0) + moved.x - moved.y;
    let clicks = (way / DRAG_POINTS).trunc();
    ui.data_mut(|data| data.insert_temp(response.id, way - clicks * DRAG_POINTS));
    clicks as i32
}

fn wheeled(ui: &Ui, response: &Response) -> i32 {
    if !response.contains_pointer() {
        return 0;
    }
    ui.input_mut(|input| {
        let mut sum = 0.0;
        for event in &input.events {
            if let eframe::egui::Event::MouseWheel { delta, .. } = event {
                sum += delta.y.signum();
            }
        }
        input.smooth_scroll_delta = vec2(0.0, 0.0);
        -(sum as i32)
    })
}
