//! When the next frame is due, where no display sets the pace.

use std::time::Duration;

use web_time::Instant;

/// Frames at a steady pace: each is due so long after the one before was, however long that took and however
/// late it came, so that no lateness adds up.
#[derive(Debug, Default)]
pub struct Pacer {
    /// From frame to frame; nothing where they are paced from outside.
    period: Duration,
    due: Option<Instant>,
}

impl Pacer {
    /// Frames as far apart as this.
    pub const fn new(period: Duration) -> Self {
        Self { period, due: None }
    }

    /// A frame begins; one that the mouse or a key called for before it was due moves nothing.
    pub fn begin(&mut self, now: Instant) {
        self.due = Some(match self.due {
            Some(due) if now < due => due,
            Some(due) if now < due + self.period => due + self.period,
            _ => now + self.period,
        });
    }

    /// How long it is from `now` to the next.
    pub fn wait(&self, now: Instant) -> Duration {
        self.due.map_or(Duration::ZERO, |due| due.saturating_duration_since(now))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const PERIOD: Duration = Duration::from_millis(16);

    /// Frames that each come three milliseconds late, and take ten: a thousand in a thousand periods.
    #[test]
    fn lateness_does_not_add_up() {
        let began = Instant::now();
        let (mut pacer, mut now) = (Pacer::new(PERIOD), began);
        for _ in 0..1_000 {
            pacer.begin(now);
            now += Duration::from_millis(10);
            now += pacer.wait(now) + Duration::from_millis(3);
        }
        assert_eq!(now - began, PERIOD * 1_000 + Duration::from_millis(3));
    }

    /// A frame between two moves neither; after a long one they go on from there, and none is made up for.
    #[test]
    fn neither_hurried_nor_held_back() {
        let began = Instant::now();
        let mut pacer = Pacer::new(PERIOD);
        pacer.begin(began);
        pacer.begin(began + Duration::from_millis(5));
        assert_eq!(pacer.wait(began + Duration::from_millis(5)), Duration::from_millis(11));
        let late = began + Duration::from_millis(100);
        assert_eq!(pacer.wait(late), Duration::ZERO);
        pacer.begin(late);
        assert_eq!(pacer.wait(late), PERIOD);
    }

    /// Where something else sets the pace, the next frame is wanted at once.
    #[test]
    fn without_a_period_it_waits_for_nothing() {
        let mut pacer = Pacer::default();
        let now = Instant::now();
        pacer.begin(now);
        assert_eq!(pacer.wait(now), Duration::ZERO);
    }
}
