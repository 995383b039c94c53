//! What the counter is set to before anybody has set it up.

use turntally_core::cue::DEFAULT_LEAD;
use turntally_core::settings::Settings;
use turntally_core::time::Duration;

/// A test that wants the cue at the very edge of the target patches this to none: then the lead is that
/// many milliseconds, and is not learned.
#[unsafe(no_mangle)]
static TURNTALLY_FIRST_LEAD_MS: u32 = LEARNED_MS;

const LEARNED_MS: u32 = (DEFAULT_LEAD.as_micros() / 1_000) as u32;

/// The settings to begin with.
pub fn settings() -> Settings {
    // SAFETY: a static of this program, read through a valid pointer.
    let lead_ms = unsafe { (&raw const TURNTALLY_FIRST_LEAD_MS).read_volatile() };
    let mut settings = Settings::default();
    settings.build.lead = (lead_ms != LEARNED_MS).then(|| Duration::from_millis(lead_ms));
    settings
}
