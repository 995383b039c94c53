//! Spikes shorter than a sample period, on samples as a board takes them: which are not counted, and that no count is
//! wrong without a doubt that covers it.

use proptest::prelude::*;
use turntally_core::signal::SignalWatch;
use turntally_core::time::Instant;

const SAMPLE_NS: u64 = 4_000;
const CYCLE: [u8; 4] = [0b00, 0b01, 0b11, 0b10];
const EDGES: usize = 400;

/// Which wires a spike inverts.
#[derive(Debug, Clone, Copy)]
enum Spiked {
    A,
    B,
    Both,
}

impl Spiked {
    const fn bits(self) -> u8 {
        match self {
            Self::A => 0b10,
            Self::B => 0b01,
            Self::Both => 0b11,
        }
    }
}

/// One spike: after what came before it, for how long, on which wires.
#[derive(Debug, Clone, Copy)]
struct Spike {
    gap_ns: u64,
    width_ns: u64,
    wires: Spiked,
}

fn spikes(gap_ns: core::ops::Range<u64>) -> impl Strategy<Value = Vec<Spike>> {
    let wires = prop_oneof![Just(Spiked::A), Just(Spiked::B), Just(Spiked::Both)];
    let one =
        (gap_ns, 1..SAMPLE_NS, wires).prop_map(|(gap_ns, width_ns, wires)| Spike { gap_ns, width_ns, wires });
    prop::collection::vec(one, 1..400)
}

/// A crank at an even speed, whose edges are where they should be but for these shares of a count.
#[derive(Debug, Clone, Copy)]
struct Crank {
    count_ns: u64,
    offsets: [f64; 4],
    phase_ns: u64,
    forward: bool,
}

/// No two edges are nearer than 4.1 us, as the counter needs it without any spike.
fn crank(count_ns: core::ops::Range<u64>) -> impl Strategy<Value = Crank> {
    (count_ns, prop::array::uniform4(-0.5_f64..0.5), 0..SAMPLE_NS, any::<bool>()).prop_map(
        |(count_ns, shares, phase_ns, forward)| {
            let most = (1.0 - 4_100.0 / count_ns as f64).clamp(0.0, 0.66);
            Crank { count_ns, offsets: shares.map(|share| share * most), phase_ns, forward }
        },
    )
}

/// So near to where the crank starts and stops there is no spike: it starts and stops at once, as no shaft does.
const CLEAR_NS: u64 = 10 * SAMPLE_NS;

/// Counts that are wrong, and counts in doubt, of a crank that rests, makes [`EDGES`] edges and rests again.
fn wound(crank: Crank, spikes: &[Spike]) -> (u64, u64) {
    let mut watch = SignalWatch::new(2_400, SAMPLE_NS as u32);
    let way = if crank.forward { 1 } else { 3 };
    let first_ns = 64 * SAMPLE_NS + crank.phase_ns;
    let edge_ns = |edge: usize| {
        let offset = crank.offsets.get(edge % 4).copied().unwrap_or(0.0);
        first_ns + ((edge as f64 + 0.5 + offset) * crank.count_ns as f64) as u64
    };
    let end_ns = edge_ns(EDGES) + 64 * SAMPLE_NS;
    let spikes = spikes.iter().scan(0, |at_ns, spike| {
        let begin_ns = *at_ns + spike.gap_ns;
        *at_ns = begin_ns + spike.width_ns;
        Some((begin_ns, *at_ns, spike.wires.bits()))
    });
    let mut spikes = spikes.filter(|&(begin_ns, ..)| {
        [edge_ns(0), edge_ns(EDGES - 1)].iter().all(|&end_ns| begin_ns.abs_diff(end_ns) > CLEAR_NS)
    });
    let (mut spike, mut edges, mut word, mut doubted) = (spikes.next(), 0, 0_u32, 0_u64);
    for sample in 1..=end_ns.div_ceil(16 * SAMPLE_NS) * 16 {
        let at_ns = sample * SAMPLE_NS;
        while edges < EDGES && edge_ns(edges) <= at_ns {
            edges += 1;
        }
        while spike.is_some_and(|(_, end_ns, _)| end_ns <= at_ns) {
            spike = spikes.next();
        }
        let inverted = match spike {
            Some((begin_ns, _, wires)) if begin_ns <= at_ns => wires,
            _ => 0,
        };
        let level = CYCLE.get(edges * way % 4).copied().unwrap_or(0) ^ inverted;
        word = word >> 2 | u32::from(level) << 30;
        // A board skips a word that is still, and so does this.
        if sample.is_multiple_of(16) && !watch.is_still(word) {
            let reading = watch.push_16(word, Instant::from_micros(at_ns / 1_000));
            doubted += reading.error_bound();
        }
    }
    let made = if crank.forward { EDGES as i64 } else { -(EDGES as i64) };
    (watch.decoder().position().abs_diff(made), doubted)
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(2_000))]

    /// Up to 30,000 edges a second no spike that reaches one sample is counted or doubted, wherever it falls, as
    /// long as the next one is three samples away.
    #[test]
    fn short_spikes_are_not_counted(
        crank in crank(33_000..400_000),
        spikes in spikes(3 * SAMPLE_NS..300_000),
    ) {
        prop_assert_eq!(wound(crank, &spikes), (0, 0));
    }

    /// Up to 240,000 edges a second, as near to each other as the counter can follow, a count that spikes made wrong
    /// is doubted by as much as it is wrong.
    #[test]
    fn what_spikes_take_is_doubted(
        crank in crank(4_167..33_000),
        spikes in spikes(3 * SAMPLE_NS..300_000),
    ) {
        let (wrong, doubted) = wound(crank, &spikes);
        prop_assert!(wrong <= doubted, "{wrong} wrong, {doubted} doubted");
    }

    /// Without spikes every edge is counted and none doubted, at every rate.
    #[test]
    fn vote_takes_no_edge(crank in crank(4_167..400_000)) {
        prop_assert_eq!(wound(crank, &[]), (0, 0));
    }
}

/// A word that the watch calls still changes nothing if it is taken, at any place behind a spike or an edge.
#[test]
fn still_words_change_nothing() {
    for spiked in 0..32_u32 {
        for rest in [0_u32, 0x5555_5555, 0xaaaa_aaaa, 0xffff_ffff] {
            let mut watch = SignalWatch::new(400, SAMPLE_NS as u32);
            assert!(!watch.is_still(rest), "nothing was sampled yet");
            let mut still = 0;
            for word in [rest, rest ^ 1 << spiked, rest, rest, rest] {
                let mut taken = watch.clone();
                let is_still = taken.is_still(word);
                let reading = taken.push_16(word, Instant::ZERO);
                if is_still {
                    still += 1;
                    assert!(reading.is_quiet(), "{spiked}: {reading:?}");
                } else {
                    watch = taken;
                }
            }
            assert!(still >= 1, "{spiked}");
        }
    }
}
