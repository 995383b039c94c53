//! Settings that a counter wrote in the first form of its records are read as they were set.
#![allow(clippy::unwrap_used, reason = "a test may stop where it stands")]

use proptest::prelude::*;
use serde::Serialize;
use turntally_core::counter::{Direction, Gear, Shaft};
use turntally_core::gauge::{Gauge, GaugeSystem, WireSize};
use turntally_core::metal::{Metal, Temper};
use turntally_core::settings::{Loudness, Make, Settings, Units};
use turntally_core::units::{Length, Micros};

/// The first form, as it was written down then.
#[derive(Serialize)]
struct FirstForm<'a> {
    metal: &'a str,
    temper: u8,
    wire: Wire,
    mandrel_nm: i64,
    make: Made,
    kerf_nm: i64,
    cradle_nm: i64,
    tail_quarters: u8,
    pulses: u32,
    on_mandrel: bool,
    teeth: (u16, u16),
    direction: Direction,
    lead: Option<Micros>,
    loudness: Loud,
    units: Lengths,
}

#[derive(Serialize)]
enum Wire {
    Awg(i8),
    Swg(i8),
    Nanometres(i64),
}

#[derive(Serialize)]
enum Made {
    Rings(u32),
    Turns { tenths: u32, coils: u32 },
    Length { length: Length, coils: u32 },
}

#[derive(Serialize)]
enum Loud {
    Soft,
    Medium,
    Full,
}

#[derive(Serialize)]
enum Lengths {
    Millimetres,
    Inches,
}

fn written(settings: &Settings) -> Vec<u8> {
    let Settings { batch, build } = settings;
    let form = FirstForm {
        metal: batch.metal.name(),
        temper: batch.temper as u8,
        wire: match batch.wire {
            WireSize::Gauge(gauge) if gauge.system() == GaugeSystem::Awg => Wire::Awg(gauge.number()),
            WireSize::Gauge(gauge) => Wire::Swg(gauge.number()),
            WireSize::Diameter(diameter) => Wire::Nanometres(diameter.nm()),
        },
        mandrel_nm: batch.mandrel.nm(),
        make: match batch.make {
            Make::Rings(rings) => Made::Rings(rings),
            Make::Turns { tenths, coils } => Made::Turns { tenths, coils },
            Make::Length { length, coils } => Made::Length { length, coils },
        },
        kerf_nm: batch.kerf.nm(),
        cradle_nm: batch.cradle.nm(),
        tail_quarters: batch.tail_quarters,
        pulses: build.pulses,
        on_mandrel: build.shaft == Shaft::Mandrel,
        teeth: (build.gear.crank_teeth(), build.gear.mandrel_teeth()),
        direction: build.direction,
        lead: build.lead,
        loudness: match build.loudness {
            Loudness::Soft => Loud::Soft,
            Loudness::Medium => Loud::Medium,
            Loudness::Full => Loud::Full,
        },
        units: match build.units {
            Units::Millimetres => Lengths::Millimetres,
            Units::Inches => Lengths::Inches,
        },
    };
    bytes(&form)
}

fn bytes(value: &impl Serialize) -> Vec<u8> {
    postcard::to_slice(value, &mut [0; 256]).unwrap().to_vec()
}

fn any_settings() -> impl Strategy<Value = Settings> {
    let wire = prop_oneof![
        (-2_i8..=36).prop_map(|number| (GaugeSystem::Awg, number)),
        (-2_i8..=36).prop_map(|number| (GaugeSystem::Swg, number)),
    ]
    .prop_filter_map("a gauge that is wound", |(system, number)| {
        let gauge = Gauge::new(system, number)?;
        (100_000..=6_000_000).contains(&gauge.diameter().nm()).then_some(WireSize::Gauge(gauge))
    });
    let wire =
        prop_oneof![wire, (100_000_i64..=6_000_000).prop_map(|nm| WireSize::Diameter(Length::from_nm(nm))),];
    let make = prop_oneof![
        (1_u32..=100_000).prop_map(Make::Rings),
        (10_u32..=10_000, 1_u32..=1_000).prop_map(|(tenths, coils)| Make::Turns { tenths, coils }),
        (10_000_000_i64..=500_000_000, 1_u32..=1_000)
            .prop_map(|(nm, coils)| Make::Length { length: Length::from_nm(nm), coils }),
    ];
    let metal = proptest::sample::select(
        Metal::ALL
            .iter()
            .flat_map(|metal| Temper::ALL.map(|temper| (metal, temper)))
            .filter(|(metal, temper)| metal.strength(*temper).is_ok())
            .collect::<Vec<_>>(),
    );
    let batch = (
        metal,
        wire,
        make,
        500_000_i64..=50_000_000,
        0_i64..=3_000_000,
        10_000_000_i64..=500_000_000,
        0_u8..=20,
    );
    let build = (
        1_u32..=10_000,
        any::<[bool; 3]>(),
        (1_u16..=500, 1_u16..=500),
        proptest::option::of(0_u32..=500),
        proptest::sample::select(vec![Loudness::Soft, Loudness::Medium, Loudness::Full]),
    );
    (batch, build).prop_map(|(batch, build)| {
        let ((metal, temper), wire, make, mandrel, kerf, cradle, tail_quarters) = batch;
        let (pulses, [on_mandrel, reverse, inches], (crank, driven), lead_ms, loudness) = build;
        let mut settings = Settings::default();
        settings.batch.metal = metal;
        settings.batch.temper = temper;
        settings.batch.wire = wire;
        settings.batch.make = make;
        settings.batch.mandrel = Length::from_nm(mandrel);
        settings.batch.kerf = Length::from_nm(kerf);
        settings.batch.cradle = Length::from_nm(cradle);
        settings.batch.tail_quarters = tail_quarters;
        settings.build.pulses = pulses;
        settings.build.shaft = if on_mandrel { Shaft::Mandrel } else { Shaft::Crank };
        settings.build.gear = Gear::new(crank, driven).unwrap();
        settings.build.direction = if reverse { Direction::Reverse } else { Direction::Forward };
        settings.build.lead = lead_ms.map(Micros::from_millis);
        settings.build.loudness = loudness;
        settings.build.units = if inches { Units::Inches } else { Units::Millimetres };
        settings
    })
}

proptest! {
    #[test]
    fn settings_of_the_first_form_are_read(settings in any_settings()) {
        let bytes = written(&settings);
        prop_assert_eq!(Settings::from_first_form(&bytes), Ok(settings));
        for cut in 0..bytes.len() {
            prop_assert!(Settings::from_first_form(&bytes[..cut]).is_err(), "{}", cut);
        }
    }

    /// Whatever it is, it is within the ranges or refused: what is read can be written and read again.
    #[test]
    fn rubbish_is_refused_whole(at in any::<proptest::sample::Index>(), with in any::<u8>(), settings in any_settings()) {
        let mut bytes = written(&settings);
        *at.get_mut(&mut bytes) = with;
        if let Ok(settings) = Settings::from_first_form(&bytes) {
            let again = self::bytes(&settings);
            prop_assert_eq!(postcard::from_bytes::<Settings>(&again), Ok(settings));
        }
    }
}
