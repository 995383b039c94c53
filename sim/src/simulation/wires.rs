//! The encoder's wires: interference on the way, and the filter of the counter's inputs.
//!
//! A spike drives a wire to the other level for a fixed time. The filter is a resistor and a capacitor before a
//! Schmitt-trigger input. Both are computed from event to event, so that spikes far shorter than a sample period are
//! seen by exactly those samples that the real ones would reach.

use std::fmt;
use std::str::FromStr;

use crate::simulation::encoder::Encoder;

/// The supply of the inputs, in volts.
const SUPPLY_V: f64 = 3.3;
/// No event to come.
const NEVER: u64 = u64::MAX;

/// Which wires a spike reaches.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum SpikedWires {
    /// Only that of channel A.
    A,
    /// Only that of channel B.
    B,
    /// One of the two, at random.
    Either,
    /// Both at once, as from interference that reaches the whole cable.
    Both,
}

/// Spikes: short pulses to the other level at random times.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Spikes {
    /// How long each lasts, in nanoseconds.
    pub width_ns: u32,
    /// How many begin in a second, on average.
    pub per_second: u32,
    /// Where they are.
    pub wires: SpikedWires,
}

/// Not spikes, or a value out of its range.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct BadSpikes;

impl fmt::Display for BadSpikes {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(
            "only WIDTH,RATE,WIRES is allowed: 1ns to 100us, 1 to 100000 spikes a second, and a, b, either or both",
        )
    }
}

impl std::error::Error for BadSpikes {}

impl FromStr for Spikes {
    type Err = BadSpikes;

    fn from_str(text: &str) -> Result<Self, BadSpikes> {
        let mut parts = text.split(',').map(str::trim);
        let (Some(width), Some(rate), Some(wires), None) =
            (parts.next(), parts.next(), parts.next(), parts.next())
        else {
            return Err(BadSpikes);
        };
        let width_ns = with_unit(width, &[("ns", 1.0), ("us", 1e3)]).ok_or(BadSpikes)?;
        let per_second = rate.parse().ok().filter(|rate| (1..=100_000).contains(rate)).ok_or(BadSpikes)?;
        let wires = match wires {
            "a" => SpikedWires::A,
            "b" => SpikedWires::B,
            "either" => SpikedWires::Either,
            "both" => SpikedWires::Both,
            _ => return Err(BadSpikes),
        };
        if !(1.0..=100_000.0).contains(&width_ns) {
            return Err(BadSpikes);
        }
        Ok(Self { width_ns: width_ns.round() as u32, per_second, wires })
    }
}

/// A finite number in front of one of these units, times what the unit stands for.
fn with_unit(text: &str, units: &[(&str, f64)]) -> Option<f64> {
    let (number, scale) = units.iter().find_map(|&(unit, scale)| Some((text.strip_suffix(unit)?, scale)))?;
    number.trim().parse::<f64>().ok().map(|number| number * scale).filter(|value| value.is_finite())
}

/// The voltages at which a Schmitt-trigger input changes its level.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Thresholds {
    /// At or above it the input is high, in volts.
    pub rise_v: f64,
    /// At or below it the input is low, in volts.
    pub fall_v: f64,
}

impl Thresholds {
    /// What an RP2040 may have at 3.3 V: surely high from 2.0 V, surely low up to 0.8 V, at least 0.2 V of
    /// hysteresis (RP2040 data sheet, table of digital IO characteristics, from memory). The first passes a spike up
    /// from low most easily, the second one down from high; the third delays edges most.
    pub const RP2040: [Self; 3] = [
        Self { rise_v: 1.0, fall_v: 0.8 },
        Self { rise_v: 2.0, fall_v: 1.8 },
        Self { rise_v: 2.0, fall_v: 0.8 },
    ];
}

/// A resistor in series and a capacitor to ground before an input.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct InputFilter {
    /// Of resistor and capacitor, in nanoseconds.
    pub time_constant_ns: f64,
    /// Of the input behind it.
    pub thresholds: Thresholds,
}

impl InputFilter {
    /// Of so many ohms and nanofarads.
    #[must_use]
    pub fn new(ohms: f64, nanofarads: f64, thresholds: Thresholds) -> Self {
        Self { time_constant_ns: ohms * nanofarads, thresholds }
    }
}

/// Not a filter, or a value out of its range.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct BadFilter;

impl fmt::Display for BadFilter {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("only RESISTOR,CAPACITOR is allowed: 1ohm to 100kohm, and 1pF to 1000nF")
    }
}

impl std::error::Error for BadFilter {}

impl FromStr for InputFilter {
    type Err = BadFilter;

    /// The input behind it changes its level at the voltages that pass a spike up most easily.
    fn from_str(text: &str) -> Result<Self, BadFilter> {
        let (resistor, capacitor) = text.split_once(',').ok_or(BadFilter)?;
        let ohms = with_unit(resistor.trim(), &[("kohm", 1e3), ("ohm", 1.0)])
            .filter(|ohms| (1.0..=1e5).contains(ohms))
            .ok_or(BadFilter)?;
        let nanofarads = with_unit(capacitor.trim(), &[("pF", 1e-3), ("nF", 1.0)])
            .filter(|nanofarads| (1e-3..=1e3).contains(nanofarads))
            .ok_or(BadFilter)?;
        Ok(Self::new(ohms, nanofarads, Thresholds::RP2040[0]))
    }
}

/// What is on the way from the encoder to the counter.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Wiring {
    /// Interference on the wires.
    pub spikes: Option<Spikes>,
    /// The filter of each input.
    pub filter: Option<InputFilter>,
}

/// Voltage and level of one filtered input.
#[derive(Debug, Clone, Copy)]
struct Filtered {
    volts: f64,
    high: bool,
}

/// The two wires, and the levels at the counter's pins.
#[derive(Debug)]
pub struct Wires {
    wiring: Wiring,
    /// Until when everything has been computed.
    now_ns: u64,
    /// On the wires: A in bit 1, B in bit 0. None before the first level.
    level: Option<u8>,
    /// Wires that a spike inverts, and when it ends.
    spiked: u8,
    spike_ends_ns: u64,
    next_spike_ns: u64,
    /// Of channel B, then A.
    inputs: [Filtered; 2],
    rng: fastrand::Rng,
}

impl Wires {
    /// Wires that begin at time 0.
    #[must_use]
    pub fn new(wiring: Wiring, rng: fastrand::Rng) -> Self {
        let low = Filtered { volts: 0.0, high: false };
        let mut wires = Self {
            wiring,
            now_ns: 0,
            level: None,
            spiked: 0,
            spike_ends_ns: NEVER,
            next_spike_ns: NEVER,
            inputs: [low; 2],
            rng,
        };
        wires.next_spike_ns = wires.spike_after(0);
        wires
    }

    /// When the next spike begins after one that ended at this time: at random times the gaps are exponential.
    fn spike_after(&mut self, now_ns: u64) -> u64 {
        self.wiring.spikes.map_or(NEVER, |spikes| {
            let gap_s = -(1.0 - self.rng.f64()).ln() / f64::from(spikes.per_second);
            now_ns + (gap_s * 1e9) as u64 + 1
        })
    }

    /// The level at the pins at a moment, not before the last one: A in bit 1, B in bit 0.
    #[inline]
    pub fn level_at(&mut self, now_ns: u64, encoder: &mut Encoder) -> u8 {
        if self.wiring == Wiring::default() {
            return encoder.level_at(now_ns);
        }
        loop {
            let spike_ns = self.next_spike_ns.min(self.spike_ends_ns);
            let event_ns = spike_ns.min(encoder.next_change_after(self.now_ns));
            if event_ns > now_ns {
                break;
            }
            self.charge(event_ns);
            if event_ns == self.spike_ends_ns {
                (self.spiked, self.spike_ends_ns) = (0, NEVER);
                self.next_spike_ns = self.spike_after(event_ns);
            } else if event_ns == self.next_spike_ns
                && let Some(spikes) = self.wiring.spikes
            {
                self.spiked = match spikes.wires {
                    SpikedWires::A => 0b10,
                    SpikedWires::B => 0b01,
                    SpikedWires::Either => 1 << self.rng.u8(0..2),
                    SpikedWires::Both => 0b11,
                };
                self.spike_ends_ns = event_ns + u64::from(spikes.width_ns);
                self.next_spike_ns = NEVER;
            }
            self.put(encoder.level_at(event_ns) ^ self.spiked);
        }
        self.put(encoder.level_at(now_ns) ^ self.spiked);
        self.charge(now_ns);
        match self.wiring.filter {
            Some(_) => u8::from(self.inputs[1].high) << 1 | u8::from(self.inputs[0].high),
            None => self.level.unwrap_or_default(),
        }
    }

    /// Puts a level on the wires. The inputs begin settled at the first one.
    fn put(&mut self, level: u8) {
        if self.level.is_none() {
            for (channel, input) in self.inputs.iter_mut().enumerate() {
                let high = level >> channel & 1 == 1;
                *input = Filtered { volts: if high { SUPPLY_V } else { 0.0 }, high };
            }
        }
        self.level = Some(level);
    }

    /// Charges the capacitors until then. Between two events a voltage goes one way, so its end shows every
    /// threshold that it passed.
    fn charge(&mut self, until_ns: u64) {
        let passed_ns = until_ns.saturating_sub(self.now_ns);
        self.now_ns = self.now_ns.max(until_ns);
        let (Some(filter), Some(level)) = (self.wiring.filter, self.level) else { return };
        let left = (-(passed_ns as f64) / filter.time_constant_ns).exp();
        for (channel, input) in self.inputs.iter_mut().enumerate() {
            let source = if level >> channel & 1 == 1 { SUPPLY_V } else { 0.0 };
            input.volts = source + (input.volts - source) * left;
            if input.volts >= filter.thresholds.rise_v {
                input.high = true;
            } else if input.volts <= filter.thresholds.fall_v {
                input.high = false;
            }
        }
    }

    /// Until when the pins stay as they are after [`Self::level_at`]; it may be sooner than needed.
    #[inline]
    #[must_use]
    pub fn next_change_ns(&self, encoder: &Encoder) -> u64 {
        if self.wiring.filter.is_some() {
            // A voltage may pass a threshold at any time.
            return 0;
        }
        encoder.next_change_after(self.now_ns).min(self.next_spike_ns).min(self.spike_ends_ns)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::simulation::faults::FaultSet;

    /// The levels at the pins of a still encoder, one each 100 ns, against the rest level.
    fn flipped(wiring: Wiring, samples: u64) -> Vec<u8> {
        let rng = fastrand::Rng::with_seed(1);
        let mut encoder = Encoder::new(FaultSet::default(), rng.clone());
        let rest = encoder.level_at(0);
        let mut wires = Wires::new(wiring, rng);
        (0..samples).map(|sample| wires.level_at(100 * sample, &mut encoder) ^ rest).collect()
    }

    /// Spikes last as long as they should, come as often, and are on the wires that they should be on.
    #[test]
    fn spikes_have_their_width_rate_and_wires() -> Result<(), BadSpikes> {
        for (wires, found) in [("a", 0b10), ("b", 0b01), ("both", 0b11)] {
            let spikes = format!("0.2us,1000,{wires}").parse()?;
            let levels = flipped(Wiring { spikes: Some(spikes), filter: None }, 10_000_000);
            let high = levels.iter().filter(|&&level| level == found).count();
            assert_eq!(high, levels.iter().filter(|&&level| level != 0).count(), "{wires}");
            let begins = levels.windows(2).filter(|pair| pair[0] == 0 && pair[1] != 0).count();
            // Four standard deviations of the number of random events in a second.
            assert!((874..1_126).contains(&begins), "{begins}");
            assert_eq!(high, 2 * begins, "{wires}");
        }
        Ok(())
    }

    /// Behind 330 ohm and 2.2 nF no spike of 200 ns is seen by any input that the data sheet allows, and one of 1 us
    /// by each.
    #[test]
    fn filter_stops_what_is_shorter_than_its_time_constant() {
        for thresholds in Thresholds::RP2040 {
            for (width_ns, passes) in [(200, false), (1_100, true)] {
                let spikes = Spikes { width_ns, per_second: 1_000, wires: SpikedWires::Both };
                let filter = InputFilter::new(330.0, 2.2, thresholds);
                let wiring = Wiring { spikes: Some(spikes), filter: Some(filter) };
                let levels = flipped(wiring, 1_000_000);
                assert_eq!(levels.iter().any(|&level| level != 0), passes, "{width_ns} ns, {thresholds:?}");
            }
        }
    }

    #[test]
    fn bad_spikes_and_filters_are_refused() {
        for text in [
            "",
            "200ns",
            "200,1000,a",
            "0ns,1,a",
            "101us,1,a",
            "1us,0,a",
            "1us,1,c",
            "1us,1,a,b",
            "NaNus,1,a",
        ] {
            assert_eq!(text.parse::<Spikes>(), Err(BadSpikes), "{text}");
        }
        for text in ["", "330ohm", "330,2.2nF", "0ohm,1nF", "330ohm,0nF", "330ohm,1uF", "infohm,1nF"] {
            assert_eq!(text.parse::<InputFilter>(), Err(BadFilter), "{text}");
        }
        assert_eq!(
            "0.33kohm, 2200pF".parse::<InputFilter>().map(|filter| filter.time_constant_ns.round()),
            Ok(726.0)
        );
    }
}
