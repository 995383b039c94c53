//! What goes wrong under the hand and before the eye: a screen that is not there or on a loose plug, keys
//! that stick. How often is our own invention: often enough to be met in every batch.

use turntally_core::input::Key;

use crate::simulation::board::{Line, Lines};
use crate::simulation::encoder::STEP_NS;
use crate::simulation::faults::{FaultKind, FaultSet};
use crate::simulation::screen::VirtualScreen;

const SECOND_NS: u64 = 1_000 * STEP_NS;
/// One press in so many leaves its key down.
const PRESSES: u8 = 4;

/// A key that has stayed down.
#[derive(Debug, Clone, Copy)]
struct Stuck {
    key: Key,
    until_ns: u64,
}

/// The panel's own troubles.
#[derive(Debug)]
pub struct PanelFaults {
    faults: FaultSet,
    rng: fastrand::Rng,
    /// When the loose plug moves next.
    plug_ns: u64,
    pressed: Option<Key>,
    stuck: Option<Stuck>,
}

impl PanelFaults {
    /// Those of `faults` that are about the panel.
    #[must_use]
    pub const fn new(faults: FaultSet, rng: fastrand::Rng) -> Self {
        Self { faults, rng, plug_ns: 0, pressed: None, stuck: None }
    }

    /// Switches faults on and off: a screen that is not at fault is plugged in again.
    pub fn set_faults(&mut self, faults: FaultSet, screen: &VirtualScreen) {
        self.faults = faults;
        let at_fault = faults.has(FaultKind::NoScreen) || faults.has(FaultKind::LooseScreen);
        if !at_fault && !screen.is_plugged() {
            screen.plug(true);
        }
    }

    /// One millisecond: drives the lines of the keys, of which the hand holds `pressed`, and the screen's
    /// plug.
    pub fn step(&mut self, now_ns: u64, pressed: Option<Key>, lines: &Lines, screen: &VirtualScreen) {
        self.stick(now_ns, pressed);
        let held = [pressed, self.stuck.map(|stuck| stuck.key)];
        lines.set(Line::Yes, !held.contains(&Some(Key::Yes)));
        lines.set(Line::No, !held.contains(&Some(Key::No)));
        if self.faults.has(FaultKind::NoScreen) {
            if screen.is_plugged() {
                screen.plug(false);
            }
        } else if self.faults.has(FaultKind::LooseScreen) {
            self.shake(now_ns, screen);
        }
    }

    fn stick(&mut self, now_ns: u64, pressed: Option<Key>) {
        let before = std::mem::replace(&mut self.pressed, pressed);
        if self.stuck.is_some_and(|stuck| now_ns >= stuck.until_ns) {
            self.stuck = None;
        }
        if let (Some(key), None, true) = (before, pressed, self.faults.has(FaultKind::StuckKeys))
            && self.rng.u8(..PRESSES) == 0
        {
            self.stuck = Some(Stuck { key, until_ns: now_ns + self.rng.u64(1..=8) * SECOND_NS });
        }
    }

    fn shake(&mut self, now_ns: u64, screen: &VirtualScreen) {
        if now_ns < self.plug_ns {
            return;
        }
        // It sits at first, and for longer than it is off.
        let sits = self.plug_ns == 0 || !screen.is_plugged();
        let stays_ns = if sits { self.rng.u64(1..30) } else { self.rng.u64(1..10) } * SECOND_NS / 2;
        if sits != screen.is_plugged() {
            screen.plug(sits);
        }
        self.plug_ns = now_ns + stays_ns;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Runs so many simulated minutes in which a key is pressed for 0.1 s every two seconds; counts the
    /// milliseconds in which the screen is off, and in which the key is down with no hand on it.
    fn minutes(kind: Option<FaultKind>, minutes: u64) -> (u64, u64) {
        let mut panel_faults = PanelFaults::new(kind.into_iter().collect(), fastrand::Rng::with_seed(3));
        let (lines, screen) = (Lines::new(), VirtualScreen::default());
        let (mut off, mut stuck) = (0, 0);
        for ms in 0..minutes * 60_000 {
            let pressed = (ms % 2_000 < 100).then_some(Key::No);
            panel_faults.step(ms * STEP_NS, pressed, &lines, &screen);
            off += u64::from(!screen.is_plugged());
            assert!(lines.is_high(Line::Yes));
            let down = !lines.is_high(Line::No);
            assert!(down || pressed.is_none());
            stuck += u64::from(down && pressed.is_none());
        }
        (off, stuck)
    }

    /// Each mishap is met, and none without its fault.
    #[test]
    fn each_happens_and_only_where_it_is_switched_on() {
        assert_eq!(minutes(None, 5), (0, 0));
        assert_eq!(minutes(Some(FaultKind::NoScreen), 5), (5 * 60_000, 0));
        let (off, stuck) = minutes(Some(FaultKind::LooseScreen), 60);
        assert!((600_000..1_800_000).contains(&off) && stuck == 0, "{off} ms off");
        let (off, stuck) = minutes(Some(FaultKind::StuckKeys), 60);
        assert!(off == 0 && (600_000..3_000_000).contains(&stuck), "{stuck} ms stuck");
    }

    /// Switched on and off while it runs, as in the window.
    #[test]
    fn a_screen_comes_back_when_its_fault_is_switched_off() {
        let mut panel_faults = PanelFaults::new(FaultSet::default(), fastrand::Rng::with_seed(3));
        let (lines, screen) = (Lines::new(), VirtualScreen::default());
        for (faults, plugged) in
            [(FaultSet::default().with(FaultKind::NoScreen), false), (FaultSet::default(), true)]
        {
            panel_faults.set_faults(faults, &screen);
            panel_faults.step(0, None, &lines, &screen);
            assert_eq!(screen.is_plugged(), plugged);
        }
    }
}
