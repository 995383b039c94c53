//! A batch as coils: how many rings each one is asked for and the counts at which to stop.
//!
//! The planner on the desk and the counter at the bench use this one rule, so they cannot disagree.

use core::fmt;

use crate::coil::{CoilModel, MAX_RINGS_PER_COIL, Winding};
use crate::counter::CountsPerTurn;
use crate::spring::SpringRatio;
use crate::units::{Length, Turns};

/// Counts by which a count may be ahead of the mandrel without any fault: one because winding may
/// start anywhere between two edges, one because an encoder's edges are not quite evenly spaced.
/// What is promised allows for them.
pub const COUNT_SLACK: i64 = 2;

/// The share of a turn kept free at the end of the cradle, so that a hand that stops a little late
/// still leaves a coil that fits: half a turn.
const STOP_RESERVE: Turns = Turns::from_nano(Turns::ONE / 2);

/// Why a batch cannot be split into coils.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[non_exhaustive]
pub enum PlanError {
    /// Not even one ring fits the cradle.
    CradleTooShort {
        /// The longest coil that the cradle takes.
        got: Length,
        /// The shortest coil from which one ring is certain.
        min: Length,
    },
}

impl fmt::Display for PlanError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::CradleTooShort { got, min } => {
                write!(f, "a coil of at most {got} gives no guaranteed ring: at least {min}")
            }
        }
    }
}

impl core::error::Error for PlanError {}

/// What every coil of a batch is wound by.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct BatchPlan {
    coil: CoilModel,
    per_turn: CountsPerTurn,
    /// Past this many counts the coil is too long for the cradle.
    limit_counts: i64,
    full_rings: u32,
}

impl BatchPlan {
    /// For coils of this winding with `tail` turns of bent lead-in, on an encoder and gear of `per_turn` counts, that are
    /// no longer on the mandrel than `coil_max`: the one way from figures to a batch, on the counter, over the link and
    /// in a job file.
    ///
    /// # Errors
    /// As [`Self::new`].
    pub fn of(
        winding: &Winding,
        tail: Turns,
        per_turn: CountsPerTurn,
        coil_max: Length,
    ) -> Result<Self, PlanError> {
        Self::new(CoilModel::new(winding, tail), per_turn, coil_max)
    }

    /// For coils no longer on the mandrel than `coil_max`, where they are at their longest.
    ///
    /// # Errors
    /// [`PlanError::CradleTooShort`] where a full coil would not give one guaranteed ring.
    pub fn new(coil: CoilModel, per_turn: CountsPerTurn, coil_max: Length) -> Result<Self, PlanError> {
        let fits = coil.turns_within(coil_max);
        // Rounded down: one count past the fit is past the limit.
        let limit_counts = per_turn
            .counts_for(fits)
            .map_or(0, |counts| if per_turn.turns(counts) == Some(fits) { counts } else { counts - 1 });
        Self { coil, per_turn, limit_counts, full_rings: 0 }
            .filled()
            .map_err(|min| PlanError::CradleTooShort { got: coil_max, min })
    }

    /// With the rings of a full coil.
    ///
    /// # Errors
    /// Where that is not one: the shortest coil of which one is certain.
    fn filled(mut self) -> Result<Self, Length> {
        let (coil, per_turn) = (&self.coil, self.per_turn);
        let reserved = per_turn.counts_for(STOP_RESERVE).unwrap_or(0);
        self.full_rings = self.guaranteed_rings(self.limit_counts - reserved, 0).min(MAX_RINGS_PER_COIL);
        if self.full_rings == 0 {
            // The same counts as for a target, since each rounds a part of a turn.
            let ring = per_turn.counts_for(coil.turns_for(1)).unwrap_or(0);
            let needed = per_turn.turns(ring + COUNT_SLACK + reserved).unwrap_or_default();
            return Err(coil.length(needed));
        }
        Ok(self)
    }

    /// The same for a coil of which is known how far it opens. `None` where a full one would not give one guaranteed
    /// ring.
    #[must_use]
    pub fn opening_by(&self, spring: SpringRatio) -> Option<Self> {
        // The cradle's limit is that of the wound coil: it stays.
        Self { coil: self.coil.opening_by(spring), ..*self }.filled().ok()
    }

    /// The coil's own rule.
    #[must_use]
    pub const fn coil(&self) -> &CoilModel {
        &self.coil
    }

    /// Encoder counts per turn of the mandrel.
    #[must_use]
    pub const fn per_turn(&self) -> CountsPerTurn {
        self.per_turn
    }

    /// The last count at which the coil still fits the cradle.
    #[must_use]
    pub const fn limit_counts(&self) -> i64 {
        self.limit_counts
    }

    /// The rings that a full coil makes certain: at least one.
    #[must_use]
    pub const fn full_rings(&self) -> u32 {
        self.full_rings
    }

    /// The rings to ask of the next coil when `wanted` are still to be made.
    #[must_use]
    pub fn next_rings(&self, wanted: u32) -> u32 {
        wanted.min(self.full_rings)
    }

    /// Coils that `wanted` rings take.
    #[must_use]
    pub const fn coils(&self, wanted: u32) -> u32 {
        wanted.div_ceil(self.full_rings)
    }

    /// The fewest counts at which `rings` (held to a full coil) are certain.
    #[must_use]
    pub fn target_counts(&self, rings: u32) -> i64 {
        let turns = self.coil.turns_for(rings.min(self.full_rings));
        self.per_turn.counts_for(turns).map_or(self.limit_counts, |counts| counts + COUNT_SLACK)
    }

    /// The turns of [`Self::target_counts`].
    #[must_use]
    pub fn target_turns(&self, rings: u32) -> Turns {
        self.per_turn.turns(self.target_counts(rings)).unwrap_or_default()
    }

    /// Pieces into which a coil of `counts`, with up to `error bound` more that were missed, has to be cut so that each
    /// fits the cradle; one where the coil fits whole.
    #[must_use]
    pub fn pieces(&self, counts: i64, error_bound: u64) -> u32 {
        let most = counts.saturating_add(i64::try_from(error_bound).unwrap_or(i64::MAX));
        if most <= self.limit_counts {
            return 1;
        }
        u32::try_from(most / self.limit_counts.max(1)).unwrap_or(u32::MAX).saturating_add(1)
    }

    /// The rings that are certain after `counts`, of which up to `error bound` may be no true counts.
    /// Wherever the slit falls, and however far within its bounds the coil opens. A coil that is too long for the
    /// cradle is cut into [`Self::pieces`], wherever that is done: each cut costs one ring at the worst, and
    /// each further piece loses one more to its slit.
    #[must_use]
    pub fn guaranteed_rings(&self, counts: i64, error_bound: u64) -> u32 {
        let sure = i64::try_from(error_bound).ok().and_then(|error_bound| counts.checked_sub(error_bound));
        let sure = sure.and_then(|sure| sure.checked_sub(COUNT_SLACK)).unwrap_or(0);
        let whole = self.coil.guaranteed_rings(self.per_turn.turns(sure).unwrap_or_default());
        whole.saturating_sub(2 * (self.pieces(counts, error_bound) - 1).min(u32::MAX / 2))
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test may stop where it stands")]
    use super::*;
    use crate::counter::{Gear, Shaft};
    use crate::spring::SpringRatio;
    use proptest::prelude::*;
    use std::string::ToString;
    use std::vec::Vec;

    extern crate std;

    fn rule(wire_um: i64, pulses: u32, gear: (u16, u16), cradle_um: i64) -> Result<BatchPlan, PlanError> {
        rule_of(wire_um, pulses, gear, Length::from_um(cradle_um))
    }

    fn rule_of(wire_um: i64, pulses: u32, gear: (u16, u16), cradle: Length) -> Result<BatchPlan, PlanError> {
        let winding = Winding::new(
            Length::from_um(wire_um),
            Length::from_um(wire_um * 4),
            0.0,
            Length::from_um(300),
            SpringRatio::measured(1.02).unwrap(),
        )
        .unwrap();
        let coil = CoilModel::new(&winding, Turns::from_nano(500_000_000));
        let gear = Gear::new(gear.0, gear.1).unwrap();
        BatchPlan::new(coil, CountsPerTurn::new(pulses, Shaft::Crank, gear).unwrap(), cradle)
    }

    proptest! {
        /// The shortest cradle that an error names is long enough, and the error's text has it.
        #[test]
        fn shortest_coil_named_gives_a_ring(wire in 400_i64..2_500, pulses in 1_u32..2_500, a in 1_u16..90, b in 1_u16..90) {
            let Err(error) = rule(wire, pulses, (a, b), 1) else { return Err(TestCaseError::fail("a micrometre is enough")) };
            let PlanError::CradleTooShort { min, .. } = error;
            prop_assert!(rule_of(wire, pulses, (a, b), min).is_ok(), "{}", error);
            let asked = std::format!("at least {min}");
            prop_assert!(error.to_string().ends_with(&asked), "{}", error);
        }

        /// Every coil of every split reaches its target inside the cradle with half a turn to spare,
        /// and the coils' rings add up to what was wanted.
        #[test]
        fn coils_fit_and_add_up(wire in 400_i64..2_500, pulses in 1_u32..2_500, a in 1_u16..90, b in 1_u16..90,
                                cradle in 30_000_i64..120_000, wanted in 1_u32..20_000) {
            prop_assume!(rule(wire, pulses, (a, b), cradle).is_ok());
            let rule = rule(wire, pulses, (a, b), cradle).unwrap();
            let (mut left, mut coils) = (wanted, 0);
            while left > 0 {
                let rings = rule.next_rings(left);
                prop_assert!(rings > 0, "{left} are never made");
                let target = rule.target_counts(rings);
                prop_assert!(rule.guaranteed_rings(target, 0) >= rings);
                let half = rule.per_turn().counts_for(STOP_RESERVE).unwrap();
                prop_assert!(target + half <= rule.limit_counts() + 1, "{target} {half} {}", rule.limit_counts());
                let turns = rule.per_turn().turns(rule.limit_counts()).unwrap();
                prop_assert!(rule.coil().length(turns) <= Length::from_um(cradle));
                left -= rings;
                coils += 1;
            }
            prop_assert_eq!(coils, rule.coils(wanted));
        }

        /// A coil that is too long is never promised more rings than its pieces give, wherever it is cut and
        /// wherever each slit falls; and pieces of equal length fit the cradle.
        #[test]
        fn pieces_of_a_coil_too_long_give_what_is_certain(
            wire in 400_i64..2_500, pulses in 1_u32..2_500, cradle in 20_000_i64..120_000, over in 1_i64..400_000,
            error_bound in 0_u64..5_000, cuts in prop::collection::vec(0.0..=1.0_f64, 400),
        ) {
            prop_assume!(rule(wire, pulses, (1, 1), cradle).is_ok());
            let rule = rule(wire, pulses, (1, 1), cradle).unwrap();
            // Up to nine pieces, whatever the encoder.
            let counts = rule.limit_counts() + 1 + over % (8 * rule.limit_counts());
            let pieces = rule.pieces(counts, error_bound);
            prop_assert!(pieces >= 2);
            let most = rule.per_turn().turns(counts + error_bound as i64).unwrap();
            let each = Turns::from_nano(most.nano() / i64::from(pieces));
            prop_assert!(rule.coil().length(each) <= Length::from_um(cradle));
            // The turns that are left for certain, cut anywhere.
            let sure = rule.per_turn().turns((counts - error_bound as i64 - COUNT_SLACK).max(0)).unwrap();
            let turns = rule.coil().usable_turns(sure).as_f64();
            let mut ends: Vec<f64> = cuts.iter().take(pieces as usize - 1).map(|cut| cut * turns).collect();
            ends.extend([0.0, turns]);
            ends.sort_by(f64::total_cmp);
            // A slit at the worst place leaves the whole turns of a piece less one.
            let given: f64 = ends.windows(2).map(|ends| ((ends[1] - ends[0]).floor() - 1.0).max(0.0)).sum();
            prop_assert!(f64::from(rule.guaranteed_rings(counts, error_bound)) <= given, "{given} of {turns} in {pieces}");
        }

        /// ErrorBound only ever takes rings away.
        #[test]
        fn doubt_never_adds_rings(counts in 0_i64..200_000, error_bound in 0_u64..5_000) {
            let rule = rule(1_000, 400, (1, 1), 76_000).unwrap();
            prop_assert!(rule.guaranteed_rings(counts, error_bound) <= rule.guaranteed_rings(counts, 0));
            prop_assert_eq!(rule.guaranteed_rings(counts, u64::MAX), 0);
        }
    }

    /// A cradle too short for one ring says how long it would have to be, and that length works.
    #[test]
    fn short_cradle_names_the_length_that_would_do() {
        let Err(PlanError::CradleTooShort { min, .. }) = rule(1_000, 400, (1, 1), 2_000) else {
            unreachable!("2 mm of coil cannot give a ring of 1 mm wire with half a turn of tail")
        };
        assert_eq!(rule(1_000, 400, (1, 1), min.nm() / 1_000 + 1).map(|rule| rule.full_rings()), Ok(1));
    }

    /// 1 mm wire wound close on 4 mm, that opens by `spring`, without lead-in, at 1,600 counts a turn.
    fn close_coil(spring: f64, cradle: Length) -> Result<BatchPlan, PlanError> {
        let mm = |mm: i64| Length::from_um(1_000 * mm);
        let spring = SpringRatio::measured(spring).unwrap();
        let winding = Winding::new(mm(1), mm(4), 0.0, Length::ZERO, spring).unwrap();
        let per_turn = CountsPerTurn::new(400, Shaft::Crank, Gear::DIRECT).unwrap();
        BatchPlan::of(&winding, Turns::ZERO, per_turn, cradle)
    }

    /// By hand: 51.25 mm of cradle take 50.25 turns of 1 mm, 80,400 counts. Half a turn and two counts before that are
    /// 49.74875 turns, of which 48 rings are certain. Those are certain from 49 turns on, two counts more for the
    /// start: 78,402 counts, 49.00125 turns.
    #[test]
    fn worked_batch_comes_out() {
        let rule = close_coil(1.0, Length::from_um(51_250)).unwrap();
        assert_eq!((rule.limit_counts(), rule.full_rings()), (80_400, 48));
        assert_eq!((rule.next_rings(100), rule.next_rings(5), rule.coils(100)), (48, 5, 3));
        assert_eq!(
            (rule.target_counts(48), rule.target_turns(48)),
            (78_402, Turns::from_nano(49_001_250_000))
        );
    }

    /// A coil that is known to open gives fewer rings, and fits the cradle as before. By hand: by 2 %, a turn of
    /// sqrt((5 pi)^2 + 1) = 15.7398 mm becomes one of sqrt((5.1 pi)^2 + 1) = 16.0534 mm, and 49.74875 turns become
    /// 48.777. One that opens to nearly twice its size keeps half of its turns: none of the two that a ring takes.
    #[test]
    fn known_opening_takes_rings_away() {
        let rule = close_coil(1.0, Length::from_um(51_250)).unwrap();
        let opened = rule.opening_by(SpringRatio::measured(1.02).unwrap()).unwrap();
        assert_eq!((opened.limit_counts(), opened.full_rings()), (80_400, 47));
        assert_eq!(rule.opening_by(SpringRatio::NONE), Some(rule));
        let short = close_coil(1.0, Length::from_um(4_000)).unwrap();
        assert_eq!(short.opening_by(SpringRatio::measured(1.9).unwrap()), None);
    }

    /// The shortest coil that gives a ring, to the nanometre. By hand: a ring is certain from two turns on, 3,200
    /// counts; two more for the start and 800 in reserve are 2.50125 turns, 3.50125 mm of coil.
    #[test]
    fn shortest_cradle_is_named_to_the_nanometre() {
        let min = Length::from_nm(3_501_250);
        assert_eq!(close_coil(1.0, min).map(|rule| rule.full_rings()), Ok(1));
        let got = Length::from_nm(min.nm() - 1);
        assert_eq!(close_coil(1.0, got), Err(PlanError::CradleTooShort { got, min }));
    }

    /// A coil that is too long is cut into as many pieces as its length takes, with what may have been missed.
    #[test]
    fn pieces_follow_the_length() {
        let rule = close_coil(1.0, Length::from_um(51_250)).unwrap();
        for (counts, error_bound, pieces) in [
            (80_400, 0, 1),
            (80_401, 0, 2),
            (80_399, 2, 2),
            (120_600, 0, 2),
            (200_000, 0, 3),
            (281_400, 0, 4),
        ] {
            assert_eq!(rule.pieces(counts, error_bound), pieces, "{counts} and {error_bound}");
        }
    }
}
