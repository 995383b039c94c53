//! What comes from the encoder between two polls of the loop.

use core::mem;

use turntally_core::signal::{Reading, SignalWatch};
use turntally_core::time::Instant;

use crate::sampler::PinUnread;

/// Decodes words of samples and sums up what they say until the loop takes it.
#[derive(Debug)]
pub(crate) struct EncoderInput {
    watch: SignalWatch,
    /// Of the encoder, in a revolution.
    pulses_per_rev: u32,
    sample_period_ns: u32,
    /// The sum since it was last taken.
    pending: Reading,
    /// Samples were lost since that was last asked.
    lost: bool,
    /// Samples were lost since the start.
    ever_lost: bool,
}

impl EncoderInput {
    /// For an encoder of `pulses_per_rev`, sampled every `sample_period_ns`.
    pub(crate) fn new(pulses_per_rev: u32, sample_period_ns: u32) -> Self {
        Self {
            watch: SignalWatch::new(pulses_per_rev, sample_period_ns),
            pulses_per_rev,
            sample_period_ns,
            pending: Reading::default(),
            lost: false,
            ever_lost: false,
        }
    }

    /// Starts anew for another encoder. What is pending stays.
    pub(crate) fn replace_encoder(&mut self, pulses_per_rev: u32) {
        self.watch = SignalWatch::new(pulses_per_rev, self.sample_period_ns);
        self.pulses_per_rev = pulses_per_rev;
    }

    /// Takes a word of 16 samples, of which the last was taken at `end`; nothing; or that a pin could not be read.
    #[inline]
    pub(crate) fn samples(&mut self, sampled: Result<Option<u32>, PinUnread>, end: Instant) {
        match sampled {
            Ok(None) => {}
            Ok(Some(word)) => {
                let reading = self.watch.push_16(word, end);
                if !reading.is_quiet() {
                    self.add(reading);
                }
            }
            Err(PinUnread) => self.samples_lost(),
        }
    }

    /// Samples were overwritten before they could be read.
    pub(crate) const fn samples_lost(&mut self) {
        self.lost = true;
    }

    fn add(&mut self, reading: Reading) {
        let sum = &mut self.pending;
        sum.net += reading.net;
        sum.illegal = sum.illegal.saturating_add(reading.illegal);
        sum.chatter = sum.chatter.saturating_add(reading.chatter);
        sum.revived |= reading.revived;
        sum.dead = reading.dead.or(sum.dead);
    }

    /// Whether samples were lost since this was last asked.
    pub(crate) const fn take_lost(&mut self) -> bool {
        self.ever_lost |= self.lost;
        mem::replace(&mut self.lost, false)
    }

    /// The sum of the readings since this was last asked.
    pub(crate) fn take_reading(&mut self) -> Reading {
        mem::take(&mut self.pending)
    }

    /// Samples were lost since the start.
    pub(crate) const fn has_lost_samples(&self) -> bool {
        self.ever_lost
    }

    /// Pulses of the encoder in a revolution.
    pub(crate) const fn pulses_per_rev(&self) -> u32 {
        self.pulses_per_rev
    }

    /// The signal watch, for the totals of its decoder.
    pub(crate) const fn watch(&self) -> &SignalWatch {
        &self.watch
    }
}
