//! The sounder, heard: its square wave through whatever sound device there is, or silence.

use std::f32::consts::TAU;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicU32, Ordering::Relaxed};
use std::sync::mpsc::{Receiver, Sender, channel};
use std::thread;
use std::time::{Duration, Instant};

use cpal::traits::{DeviceTrait, HostTrait, StreamTrait};
use cpal::{Device, FromSample, SampleFormat, SizedSample, Stream, StreamConfig};
use micromath::F32Ext;

/// Loud enough to be heard, soft enough for the wearer of headphones.
const LOUDNESS: f32 = 0.05;
/// Where no device was found, nobody looks again sooner.
const LOOK_AGAIN: Duration = Duration::from_secs(10);

/// What the device's own thread reads: the note in hertz, 0 for silence.
#[derive(Debug, Default)]
struct Shared {
    hertz: AtomicU32,
    /// The device went away.
    lost: AtomicBool,
}

/// The speaker; silent where there is none. Devices may take seconds to answer: everything about
/// them happens on a thread of its own, so that no frame waits.
#[derive(Debug)]
pub struct Speaker {
    shared: Arc<Shared>,
    /// Tells the thread that there is something to be heard; with it the thread ends.
    wake: Option<Sender<()>>,
}

impl Speaker {
    /// A speaker that is silent; no device is opened before the first note.
    #[must_use]
    pub fn new() -> Self {
        let shared = Arc::new(Shared::default());
        let (wake, woken) = channel();
        let on_thread = Arc::clone(&shared);
        let thread = thread::Builder::new().name("sounder".to_owned());
        let started = thread.spawn(move || keep_open(&on_thread, &woken));
        Self { shared, wake: started.is_ok().then_some(wake) }
    }

    /// Sounds this note from now on.
    pub fn sound(&mut self, hertz: Option<u16>) {
        let hertz = u32::from(hertz.unwrap_or(0));
        if self.shared.hertz.swap(hertz, Relaxed) == 0
            && hertz != 0
            && let Some(wake) = &self.wake
        {
            // A thread that is gone stays silent.
            _ = wake.send(());
        }
    }
}

/// Opens the device when there is something to be heard, and again when it was lost.
fn keep_open(shared: &Arc<Shared>, woken: &Receiver<()>) {
    let mut stream: Option<Stream> = None;
    let mut looked: Option<Instant> = None;
    while woken.recv().is_ok() {
        if shared.lost.swap(false, Relaxed) {
            stream = None;
        }
        if stream.is_none() && looked.is_none_or(|looked| looked.elapsed() > LOOK_AGAIN) {
            looked = Some(Instant::now());
            quieten();
            stream = open(shared);
        }
    }
}

/// libasound tells the terminal of every device that it does not find.
fn quieten() {
    #[cfg(target_os = "linux")]
    {
        _ = alsa::Output::local_error_handler();
    }
}

fn open(shared: &Arc<Shared>) -> Option<Stream> {
    let device = cpal::default_host().default_output_device()?;
    let config = device.default_output_config().ok()?;
    let format = config.sample_format();
    let config = StreamConfig::from(config);
    let stream = match format {
        SampleFormat::F32 => build::<f32>(&device, config, shared),
        SampleFormat::I16 => build::<i16>(&device, config, shared),
        SampleFormat::I32 => build::<i32>(&device, config, shared),
        SampleFormat::U16 => build::<u16>(&device, config, shared),
        SampleFormat::U8 => build::<u8>(&device, config, shared),
        // No default of any device that is met.
        _ => None,
    }?;
    stream.play().ok()?;
    Some(stream)
}

fn build<T: SizedSample + FromSample<f32>>(
    device: &Device,
    config: StreamConfig,
    shared: &Arc<Shared>,
) -> Option<Stream> {
    let channels = usize::from(config.channels).max(1);
    let mut wave = SquareWave { rate: config.sample_rate as f32, phase: 0.0 };
    let (sounds, fails) = (Arc::clone(shared), Arc::clone(shared));
    let fill = move |samples: &mut [T], _: &_| {
        let hertz = sounds.hertz.load(Relaxed) as f32;
        for frame in samples.chunks_mut(channels) {
            frame.fill(T::from_sample(wave.next(hertz)));
        }
    };
    let failed = move |error: cpal::Error| {
        use cpal::ErrorKind::{DeviceChanged, RealtimeDenied, Xrun};
        if !matches!(error.kind(), DeviceChanged | RealtimeDenied | Xrun) {
            fails.lost.store(true, Relaxed);
        }
    };
    device.build_output_stream(config, fill, failed, None).ok()
}

/// The highest harmonic that is added up: a small sounder gives no higher one worth hearing.
const HARMONICS: u8 = 9;

/// The sounder's wave, sample by sample: a square wave's odd harmonics (its Fourier series), as far as the
/// device can carry them. The square itself, sampled, would whistle with those that it cannot.
#[derive(Debug)]
struct SquareWave {
    /// Samples a second.
    rate: f32,
    /// Where in the wave it is, 0..1.
    phase: f32,
}

impl SquareWave {
    /// The next sample of this note; 0 hertz is silence.
    fn next(&mut self, hertz: f32) -> f32 {
        if hertz <= 0.0 {
            self.phase = 0.0;
            return 0.0;
        }
        self.phase = (self.phase + hertz / self.rate).fract();
        let heard =
            (1..=HARMONICS).step_by(2).map(f32::from).take_while(|part| part * hertz < self.rate / 2.0);
        // An approximation to a thousandth: this runs for each sample, and no ear tells.
        let sum: f32 = heard.map(|part| F32Ext::sin(TAU * part * self.phase) / part).sum();
        // The sum is nowhere above 1.
        LOUDNESS * sum
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// As many waves in a second as the note has hertz, and nothing where there is no note.
    #[test]
    fn a_note_has_its_pitch() {
        let mut wave = SquareWave { rate: 48_000.0, phase: 0.0 };
        for hertz in [440.0, 2_700.0] {
            let samples: Vec<f32> = (0..48_000).map(|_| wave.next(hertz)).collect();
            let rises = samples.windows(2).filter(|pair| pair[0] < 0.0 && pair[1] > 0.0).count();
            assert!((rises as f32 - hertz).abs() <= 2.0, "{rises} of {hertz}");
            assert!(samples.iter().all(|sample| sample.abs() <= LOUDNESS));
        }
        assert!((0..100).all(|_| wave.next(0.0) == 0.0));
    }

    /// The part of a sound that has this frequency, as an amplitude: one bin of its Fourier transform.
    fn part(samples: &[f32], hertz: f64) -> f64 {
        let turn = |at: usize| std::f64::consts::TAU * hertz * at as f64 / 48_000.0;
        let sums = samples.iter().enumerate().fold((0.0, 0.0), |(re, im), (at, &sample)| {
            let sample = f64::from(sample);
            (re + sample * turn(at).cos(), im + sample * turn(at).sin())
        });
        2.0 * sums.0.hypot(sums.1) / samples.len() as f64
    }

    /// A third, a fifth, a seventh: as a square wave has them. What 48,000 samples a second cannot carry (the ninth
    /// of 2,700 Hz, which would come back as 23,700 Hz) is not there.
    #[test]
    fn a_note_has_the_harmonics_of_a_square_and_no_whistle() {
        let mut wave = SquareWave { rate: 48_000.0, phase: 0.0 };
        let samples: Vec<f32> = (0..48_000).map(|_| wave.next(2_700.0)).collect();
        let first = part(&samples, 2_700.0);
        for harmonic in [3.0, 5.0, 7.0] {
            let share = part(&samples, harmonic * 2_700.0) / first;
            assert!((share - 1.0 / harmonic).abs() < 0.01, "{harmonic}: {share}");
        }
        for absent in [5_400.0, 23_700.0] {
            let share = part(&samples, absent) / first;
            assert!(share < 0.01, "{absent} Hz: {share}");
        }
        let square: Vec<f32> =
            (0..48_000).map(|at| if at * 2_700 % 48_000 < 24_000 { 1.0 } else { -1.0 }).collect();
        assert!(part(&square, 23_700.0) > 0.1, "a sampled square would whistle");
    }

    /// With or without a device, a note is never waited for.
    #[test]
    fn nobody_waits_for_a_device() {
        let mut speaker = Speaker::new();
        let began = Instant::now();
        for note in 0..1_000 {
            speaker.sound((note % 2 == 0).then_some(880));
        }
        assert!(began.elapsed() < Duration::from_secs(1));
    }
}
