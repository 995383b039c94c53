//! Coils off the mandrel: in the cradle, where the slit is chosen, and sawn.

use std::collections::VecDeque;

use eframe::egui::{Button, Role, Slider, Ui, WidgetInfo, vec2};

use super::look::{Palette, main_button};
use super::wanted::light;
use crate::simulation::run::Coil;

/// The saw's work on a coil.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Cut {
    /// Rings that came out whole.
    pub rings: u32,
}

/// A coil in the cradle.
#[derive(Debug, Clone)]
pub struct Tray {
    /// The coil.
    pub coil: Coil,
    /// Its number in the log.
    pub logged: u64,
    /// Where the slit first crosses the wire, in turns, 0..1.
    pub slit: f64,
    /// What the saw gave.
    pub sawn: Option<Cut>,
}

impl Tray {
    /// How far it sprang open, released over wound diameter.
    #[must_use]
    pub fn ratio(&self) -> f64 {
        self.coil.released.map_or(1.0, |coil| coil.spring_ratio)
    }
}

/// Coils that wait for the saw, and the one last sawn.
#[derive(Debug, Default)]
pub struct Cradle {
    waiting: VecDeque<Tray>,
    last: Option<Tray>,
    /// Rings sawn in all: the pile.
    pile: u32,
}

impl Cradle {
    /// Takes a coil that was kept.
    pub fn put(&mut self, coil: Coil, logged: u64, slit: f64) {
        self.last = None;
        self.waiting.push_back(Tray { coil, logged, slit, sawn: None });
    }

    /// Coils wait for the saw.
    #[must_use]
    pub fn has_work(&self) -> bool {
        !self.waiting.is_empty()
    }

    /// The coil that is to be seen: the next one to be sawn, or the one last sawn.
    #[must_use]
    pub fn shown(&self) -> Option<&Tray> {
        self.waiting.front().or(self.last.as_ref())
    }

    /// Rings of every coil that was sawn.
    #[must_use]
    pub const fn pile(&self) -> u32 {
        self.pile
    }

    /// Saws the next coil where the slit was chosen; says which and what came out.
    pub fn saw(&mut self) -> Option<(u64, u32)> {
        let mut tray = self.waiting.pop_front()?;
        let rings = tray.coil.released.map_or(0, |coil| coil.rings(tray.slit));
        tray.sawn = Some(Cut { rings });
        self.pile = self.pile.saturating_add(rings);
        let done = (tray.logged, rings);
        self.last = Some(tray);
        Some(done)
    }

    /// Shows the saw's controls; returns what was sawn.
    pub fn show(&mut self, ui: &mut Ui, palette: Palette, slit: &mut f64, lit: bool) -> Vec<(u64, u32)> {
        let mut done = Vec::new();
        if let Some(tray) = self.waiting.front_mut() {
            tray.slit = *slit;
        }
        ui.horizontal_wrapped(|ui| {
            let ready = !self.waiting.is_empty();
            ui.add_enabled_ui(ready, |ui| {
                let mut degrees = *slit * 360.0;
                ui.label("Slit at");
                let slider = Slider::new(&mut degrees, 0.0..=359.0).suffix("°").max_decimals(0);
                let response = ui
                    .scope(|ui| {
                        // The rail would be white on white.
                        ui.visuals_mut().widgets.inactive.bg_fill = palette.edge;
                        ui.add(slider)
                    })
                    .inner;
                let response = response.on_hover_text("Where round the coil the saw goes, from its top");
                response.widget_info(|| WidgetInfo::slider(ready, degrees, "Slit, degrees round the coil"));
                if response.changed() {
                    *slit = degrees / 360.0;
                }
                let button = if lit { main_button(palette, "Saw") } else { Button::new("Saw") };
                let response = ui.add(button.min_size(vec2(64.0, 26.0)));
                if lit {
                    light(ui, palette, &response, false);
                }
                if response.on_hover_text("Slit the coil in the cradle into rings").clicked() {
                    done.extend(self.saw());
                }
                if self.waiting.len() > 1 && ui.button(format!("Saw all {}", self.waiting.len())).clicked() {
                    while let Some(sawn) = self.saw() {
                        done.push(sawn);
                    }
                }
            });
            self.words(ui, palette);
        });
        done
    }

    fn words(&self, ui: &mut Ui, palette: Palette) {
        let text = match self.shown() {
            None => "No coil to saw yet.".to_owned(),
            Some(Tray { sawn: None, coil, .. }) => format!(
                "{} guaranteed, wherever the slit falls.{}",
                rings(coil.record.rings),
                match self.waiting.len() {
                    1 => String::new(),
                    waiting => format!(" {waiting} coils wait."),
                }
            ),
            Some(Tray { sawn: Some(cut), coil, .. }) => {
                format!("{} counted, {} guaranteed.", rings(cut.rings), coil.record.rings)
            }
        };
        let colour = if self.waiting.is_empty() { palette.faint } else { palette.ink };
        let response = ui.colored_label(colour, &text);
        response.widget_info(|| WidgetInfo::labeled(Role::Label, true, &text));
    }
}

/// `1 ring`, `2 rings`.
fn rings(count: u32) -> String {
    if count == 1 { "1 ring".to_owned() } else { format!("{count} rings") }
}
