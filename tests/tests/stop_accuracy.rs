//! The cue's lead brings every operator's hand to rest nearer the target than no lead does.
//!
//! The table over 10,000 coils a line comes from `--example stop_accuracy`.

use turntally_core::cue::DEFAULT_LEAD;
use turntally_core::job::Lead;
use turntally_core::time::Duration;
use turntally_sim::simulation::operator::PROFILES;
use turntally_tests::stops::stops;

/// With the lead that is learned, from the first coil of each batch on, the mean distance from the
/// target is at most half, and no fewer coils, at least nine in ten, end within half a turn of it.
#[test]
fn learned_lead_halves_the_error_for_every_operator() {
    for profile in PROFILES {
        let name = profile.name;
        // The hasty hand comes nearest to the bounds, and winds quickest; the others are far from them.
        let coils = if name == "hasty" { 200 } else { 40 };
        let off = stops(coils, profile, Lead::Set(Duration::ZERO));
        let led = stops(coils, profile, Lead::Learned(DEFAULT_LEAD));
        assert_eq!((off.coils(), led.coils()), (coils, coils), "{name}");
        assert!(2.0 * led.mean() <= off.mean(), "{name}: mean error {} of {} turns", led.mean(), off.mean());
        let (before, after) = (off.share_within(0.5), led.share_within(0.5));
        assert!(after >= before && after >= 0.9, "{name}: {after} within half a turn, {before} without lead");
    }
}
