//! Rings measured on some mandrels, read backwards to the wire and carried to others.
#![allow(clippy::unwrap_used, reason = "a test that cannot go on should stop")]

use proptest::prelude::*;
use turntally_core::bounds::Bounds;
use turntally_core::learned_flow::{LearnedFlow, Misfit, RingFlow, exponents, on_its_mandrel};
use turntally_core::metal::{Metal, Temper};
use turntally_core::spring::{Flow, SpringRatio, elastic_share, moment_ratio};
use turntally_core::units::{Length, Stress};

const WIRE: Length = Length::from_um(1_200);

fn mandrel(um: i64) -> Length {
    Length::from_um(um)
}

fn strain(mandrel: Length) -> f64 {
    WIRE.mm().get() / (WIRE.mm().get() + mandrel.mm().get())
}

/// What a caliper says, good to 0.02 mm either way, of rings that open by `k`.
fn read(k: f64, mandrel: Length) -> SpringRatio {
    let off = 0.02 / (WIRE.mm().get() + mandrel.mm().get());
    SpringRatio::between((k - off).max(1.0), k, k + off).unwrap()
}

/// How far a wire opens that flows at `flow` of its modulus where the strain is 0.2, and at `strain^n`.
fn opens(flow: f64, n: f64, mandrel: Length) -> f64 {
    let x = strain(mandrel);
    SpringRatio::of_flow(Bounds::exact(flow * (x / 0.2).powf(n)), x).unwrap().best()
}

fn copper(temper: Temper) -> Flow {
    Metal::named("copper").unwrap().flow(temper, WIRE).unwrap()
}

/// Rings of 1.2 mm wire of which `flow` is supposed.
fn rings(flow: Option<Flow>, read: &[(i64, SpringRatio)]) -> Vec<RingFlow> {
    read.iter().map(|(um, spring)| RingFlow::new(WIRE, mandrel(*um), *spring, flow)).collect()
}

proptest! {
    /// The model read backwards and forwards again gives the ratio that it started from, and rises with it.
    #[test]
    fn inversion_goes_back_and_forth(k in 1.0..2.0_f64, more in 1e-6..0.5_f64) {
        let s = elastic_share(k);
        prop_assert!((0.0..1.0).contains(&s));
        prop_assert!((1.0 / (1.0 - s * moment_ratio(s)) - k).abs() < 1e-12);
        prop_assert!(elastic_share(k + more) > s);
    }

    /// The modulus cancels: the same wire in other units of stress, or of a stiffer metal that is as much stronger,
    /// opens as far. What a ring means is the estimate's own flow stress over its modulus.
    #[test]
    fn ring_means_the_flow_stress_that_made_it(
        share in 0.0005..0.01_f64, modulus in 20_000.0..210_000.0_f64, um in 2_500_i64..12_000,
    ) {
        let stress = Stress::new(share * modulus);
        let flow =
            Flow { modulus: Stress::new(modulus), low: stress, best: stress, high: stress, hardening: 0.0 };
        let made = SpringRatio::estimate(flow, WIRE, mandrel(um)).unwrap();
        let back = RingFlow::new(WIRE, mandrel(um), made, None).flow();
        prop_assert!((back.best / share - 1.0).abs() < 1e-9, "{} not {share}", back.best);
    }

    /// A wire that hardens within the temper's exponents lies within the bounds on every mandrel, measured on
    /// one, two or three others; another ring never widens the bounds; the exponent keeps the true one.
    #[test]
    fn wire_lies_within_what_its_rings_teach(
        share in 0.0005..0.008_f64, part in 0.0..1.0_f64, temper in 0_usize..4, to in 2_500_i64..12_000,
        on in prop::collection::vec((2_500_i64..12_000, -0.02..0.02_f64), 1..4),
    ) {
        let temper = Temper::ALL[temper];
        let all = exponents(temper);
        let n = all.low + part * (all.high - all.low);
        let mut known = Vec::new();
        let mut before: Option<SpringRatio> = None;
        for (um, error) in on {
            let k = opens(share, n, mandrel(um));
            let off = error / (WIRE.mm().get() + mandrel(um).mm().get());
            known.push(RingFlow::new(WIRE, mandrel(um), read((k + off).max(1.0), mandrel(um)), None));
            let learned = LearnedFlow::new(&known, temper, None);
            let exponent = learned.exponent().unwrap();
            prop_assert!(exponent.low - 1e-6 <= n && n <= exponent.high + 1e-6, "{n} {exponent:?}");
            let Ok(spring) = learned.spring(WIRE, mandrel(to)) else { return Ok(()) };
            let truth = opens(share, n, mandrel(to));
            prop_assert!(spring.low() - 1e-9 <= truth && truth <= spring.high() + 1e-9, "{truth} {spring:?}");
            if let Some(before) = before {
                prop_assert!(before.low() <= spring.low() + 1e-9 && spring.high() <= before.high() + 1e-9);
            }
            before = Some(spring);
        }
    }

    /// Bounds are in their order and never beyond the metal's own, whatever was read, as long as it fits.
    #[test]
    fn what_is_learned_is_within_the_estimate(
        k in 1.0..1.1_f64, um in 2_500_i64..12_000, to in 2_500_i64..12_000, temper in 0_usize..4,
    ) {
        let temper = Temper::ALL[temper];
        let known = rings(Some(copper(temper)), &[(um, read(k, mandrel(um)))]);
        let learned = LearnedFlow::new(&known, temper, Some(copper(temper)));
        let supposed = SpringRatio::estimate(copper(temper), WIRE, mandrel(to)).unwrap();
        let spring = learned.spring(WIRE, mandrel(to)).unwrap();
        prop_assert!(spring.low() <= spring.best() && spring.best() <= spring.high());
        // What fits narrows; what does not takes in both.
        let (outer, inner) = if learned.exponent().is_ok() { (supposed, spring) } else { (spring, supposed) };
        prop_assert!(outer.low() <= inner.low() + 1e-9 && inner.high() <= outer.high() + 1e-9);
    }
}

/// One ring leaves the exponent as it was, and so does a second one on the same mandrel; one far off narrows it. The
/// wire is spring-hard, so that a caliper's error is small beside its springback.
#[test]
fn rings_on_two_mandrels_narrow_the_exponent() {
    let read_on = |um: i64| (um, read(opens(0.008, 0.1, mandrel(um)), mandrel(um)));
    let width = |read: &[(i64, SpringRatio)]| {
        let known = rings(None, read);
        let found = LearnedFlow::new(&known, Temper::Spring, None).exponent().unwrap();
        found.high - found.low
    };
    let whole = width(&[read_on(12_000)]);
    assert!((whole - 0.4).abs() < 1e-9, "{whole}");
    assert!((width(&[read_on(12_000), read_on(12_000)]) - whole).abs() < 1e-9);
    let narrowed = width(&[read_on(12_000), read_on(3_000)]);
    assert!(narrowed < 0.6 * whole, "{narrowed} of {whole}");
}

/// Rings that no copper of the temper gives say why, and their bounds take in the rings and the estimate.
#[test]
fn misfits_have_a_reason_and_wide_bounds() {
    let misfit = |temper: Temper, read: &[(i64, SpringRatio)]| {
        let known = rings(Some(copper(temper)), read);
        let learned = LearnedFlow::new(&known, temper, Some(copper(temper)));
        (learned.exponent().unwrap_err(), learned.spring(WIRE, mandrel(6_000)).unwrap())
    };
    let nine = mandrel(9_000);
    // Spring-hard copper taken for soft: on 9 mm it opens by some 8 %.
    let (why, spring) = misfit(Temper::Soft, &[(9_000, read(1.08, nine))]);
    assert_eq!(why, Misfit::More { mandrel: nine, outside: false });
    let supposed = SpringRatio::estimate(copper(Temper::Soft), WIRE, mandrel(6_000)).unwrap();
    assert!(spring.low() <= supposed.low() && spring.high() > supposed.high() + 0.01, "{spring:?}");
    // Soft copper taken for spring-hard.
    let (why, spring) = misfit(Temper::Spring, &[(9_000, read(1.01, nine))]);
    assert_eq!(why, Misfit::Less { mandrel: nine });
    let supposed = SpringRatio::estimate(copper(Temper::Spring), WIRE, mandrel(6_000)).unwrap();
    assert!(spring.low() < supposed.low() && supposed.high() <= spring.high());
    // Soft copper, its outside taken for its inside: 2.4 mm too much.
    let (why, _) = misfit(Temper::Soft, &[(9_000, read(1.02 + 2.4 / 10.2, nine))]);
    assert_eq!(why, Misfit::More { mandrel: nine, outside: true });
    assert!(why.to_string().contains("on 9 mm") && why.to_string().contains("outside"), "{why}");
    // Two wires taken for one: one flows at three times the other's stress, on a mandrel hardly wider.
    let on = |um: i64, share: f64| (um, read(opens(share, 0.0, mandrel(um)), mandrel(um)));
    let known = rings(None, &[on(9_000, 0.002), on(11_000, 0.006)]);
    let learned = LearnedFlow::new(&known, Temper::Hard, None);
    assert_eq!(learned.exponent(), Err(Misfit::Apart));
    let spring = learned.spring(WIRE, mandrel(6_000)).unwrap();
    assert!(spring.low() < opens(0.002, 0.0, mandrel(6_000)));
    assert!(spring.high() > opens(0.006, 0.0, mandrel(6_000)));
    // A wire that hardens as the strain: the same stresses on mandrels far apart may be of one.
    let known = rings(None, &[on(12_000, 0.002), on(2_500, 0.004)]);
    assert!(LearnedFlow::new(&known, Temper::Soft, None).exponent().is_ok());
    assert_eq!(LearnedFlow::new(&known, Temper::Hard, None).exponent(), Err(Misfit::Apart));
}

/// Nothing measured, or no wire, teaches nothing.
#[test]
fn no_rings_teach_nothing() {
    assert!(LearnedFlow::new(&[], Temper::Soft, None).spring(WIRE, mandrel(5_000)).is_err());
    let known = rings(None, &[(5_000, read(1.01, mandrel(5_000)))]);
    let learned = LearnedFlow::new(&known, Temper::Soft, None);
    assert!(learned.spring(Length::ZERO, mandrel(5_000)).is_err());
    assert!(learned.spring(WIRE, Length::ZERO).is_err());
}

proptest! {
    /// On the ring's own mandrel the counter's short way comes to what the whole of it comes to, in every temper.
    #[test]
    fn short_way_is_the_same(
        um in 1_300_i64..20_000, low in 1.001..1.3_f64, width in 0.0..0.3_f64, at in -0.5..2.0_f64,
        temper in prop::sample::select(Temper::ALL.to_vec()),
    ) {
        let on = mandrel(um);
        let supposed = Bounds { low, best: low + width / 2.0, high: low + width };
        let measured = read((low + at * width).clamp(1.03, 1.7), on);
        let stress = |ratio: f64| Stress::new(elastic_share(ratio) * strain(on));
        let flow = Flow {
            modulus: Stress::new(1.0),
            low: stress(supposed.low),
            best: stress(supposed.best),
            high: stress(supposed.high),
            hardening: 0.0,
        };
        let one = [RingFlow::new(WIRE, on, measured, Some(flow))];
        let whole = LearnedFlow::new(&one, temper, Some(flow));
        match (on_its_mandrel(supposed, measured, WIRE, on), whole.spring(WIRE, on)) {
            (Ok((short, misfit)), Ok(long)) => {
                prop_assert_eq!(misfit, whole.exponent().err());
                let (a, b) = (short.bounds(), long.bounds());
                let apart = (a.low - b.low).abs().max((a.best - b.best).abs()).max((a.high - b.high).abs());
                prop_assert!(apart < 1e-9, "{a:?} {b:?}");
            }
            (short, long) => prop_assert_eq!(short.err(), long.err()),
        }
    }
}
