//! The window where no counter can be on a cable: in a browser. Nothing of it is to be seen.

use eframe::egui::Ui;

use super::App;
use super::look::Palette;
use super::plan_view::Cable as State;

/// No cable.
#[derive(Debug, Default)]
pub struct Cable {}

#[allow(clippy::unused_self, reason = "as with a cable")]
impl App {
    pub(super) const fn hear(&self) {}

    pub(super) const fn is_following(&self) -> bool {
        false
    }

    pub(super) const fn followed_in_words(&self) -> Option<String> {
        None
    }

    pub(super) const fn followed_job(&self) -> Option<String> {
        None
    }

    pub(super) const fn cable_state(&self) -> State {
        State::Absent
    }

    pub(super) const fn bench_on_cable(&self, _ui: &Ui, _palette: Palette) -> bool {
        false
    }
}
