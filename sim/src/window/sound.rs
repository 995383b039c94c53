//! The sounder, heard: its square wave through whatever sound device there is, or silence.

use std::f32::consts::TAU;
use std::sync::Arc;
use std::sync::atomic::{AtomicU32, Ordering::Relaxed};
use std::sync::mpsc::{Receiver, Sender, channel};
use std::thread;
use std::time::{Duration, Instant};

use cpal::traits::{DeviceTrait, HostTrait, StreamTrait};
use cpal::{Device, FromSample, SampleFormat, SizedSample, Stream, StreamConfig};
use micromath::F32Ext;

/// Loud enough to be heard, soft enough for the wearer of headphones.
const LOUDNESS: f32 = 0.05;
/// After [`QUICK_TRIES`] that failed, the device is tried no sooner than this.
const RETRY_AFTER: Duration = Duration::from_secs(10);
/// So often a device that fails is opened again at once: PulseAudio's ALSA plugin has failed on every other stream that
/// was opened (`snd_pcm_avail_delay`: I/O error), and a cue must not be silent for it.
const QUICK_TRIES: u8 = 5;
/// A stream that has lasted as long as this was no failed try.
const LASTED: Duration = Duration::from_secs(2);

/// What the device's own thread reads: the note in hertz, 0 for silence.
#[derive(Debug, Default)]
struct Shared {
    hertz: AtomicU32,
}

/// What the thread that owns the device waits for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Wake {
    /// A note begins.
    Note,
    /// The stream of this number failed.
    Lost(u32),
    /// The speaker is no longer needed.
    End,
}

/// The speaker; silent where there is none. Devices may take seconds to answer: everything about
/// them happens on a thread of its own, so that no frame waits.
#[derive(Debug)]
pub struct Speaker {
    shared: Arc<Shared>,
    /// To the thread, if it could be started.
    wake: Option<Sender<Wake>>,
}

impl Speaker {
    /// A speaker that is silent; no device is opened before the first note.
    #[must_use]
    pub fn new() -> Self {
        let shared = Arc::new(Shared::default());
        let (wake, woken) = channel();
        let (on_thread, lost) = (Arc::clone(&shared), wake.clone());
        let thread = thread::Builder::new().name("sounder".to_owned());
        let started = thread.spawn(move || keep_open(&on_thread, &lost, &woken));
        Self { shared, wake: started.is_ok().then_some(wake) }
    }

    /// Sounds this note from now on.
    pub fn sound(&mut self, hertz: Option<u16>) {
        let hertz = u32::from(hertz.unwrap_or(0));
        if self.shared.hertz.swap(hertz, Relaxed) == 0
            && hertz != 0
            && let Some(wake) = &self.wake
        {
            // A thread that has ended plays nothing.
            _ = wake.send(Wake::Note);
        }
    }
}

impl Drop for Speaker {
    fn drop(&mut self) {
        if let Some(wake) = &self.wake {
            _ = wake.send(Wake::End);
        }
    }
}

/// When a device that failed may be opened again.
#[derive(Debug)]
struct Tries {
    /// Tries that are left before the long wait.
    left: u8,
    /// The last try.
    last: Option<Instant>,
}

impl Tries {
    const fn new() -> Self {
        Self { left: QUICK_TRIES, last: None }
    }

    /// Whether a device may be opened now; if so, that is a try.
    fn may_open(&mut self, now: Instant) -> bool {
        let since = self.last.map(|last| now.saturating_duration_since(last));
        if since.is_none_or(|since| since >= RETRY_AFTER) {
            self.left = QUICK_TRIES;
        }
        let Some(left) = self.left.checked_sub(1) else { return false };
        self.left = left;
        self.last = Some(now);
        true
    }

    /// The stream of the last try failed.
    fn failed(&mut self, now: Instant) {
        if self.last.is_some_and(|last| now.saturating_duration_since(last) >= LASTED) {
            self.left = QUICK_TRIES;
        }
    }
}

/// Opens the device when a note begins, and again when its stream fails.
fn keep_open(shared: &Arc<Shared>, lost: &Sender<Wake>, woken: &Receiver<Wake>) {
    let mut stream: Option<Stream> = None;
    let mut number = 0;
    let mut tries = Tries::new();
    for wake in woken {
        match wake {
            Wake::End => return,
            // Of a stream that was given up already.
            Wake::Lost(other) if other != number => continue,
            Wake::Lost(_) => {
                stream = None;
                tries.failed(Instant::now());
            }
            Wake::Note => {}
        }
        if stream.is_none() && tries.may_open(Instant::now()) {
            number += 1;
            quieten();
            let fails = lost.clone();
            stream = open(shared, move || _ = fails.send(Wake::Lost(number)));
        }
    }
}

/// libasound prints a line for every device that it does not find.
fn quieten() {
    #[cfg(target_os = "linux")]
    {
        _ = alsa::Output::local_error_handler();
    }
}

/// A stream on the default device that plays the note in `shared` and calls `failed` when it cannot go on.
fn open(shared: &Arc<Shared>, failed: impl FnMut() + Send + 'static) -> Option<Stream> {
    let device = cpal::default_host().default_output_device()?;
    let config = device.default_output_config().ok()?;
    let format = config.sample_format();
    let config = StreamConfig::from(config);
    let stream = match format {
        SampleFormat::F32 => build::<f32>(&device, config, shared, failed),
        SampleFormat::I16 => build::<i16>(&device, config, shared, failed),
        SampleFormat::I32 => build::<i32>(&device, config, shared, failed),
        SampleFormat::U16 => build::<u16>(&device, config, shared, failed),
        SampleFormat::U8 => build::<u8>(&device, config, shared, failed),
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
    mut failed: impl FnMut() + Send + 'static,
) -> Option<Stream> {
    let channels = usize::from(config.channels).max(1);
    let mut wave = SquareWave { rate: config.sample_rate as f32, phase: 0.0 };
    let sounds = Arc::clone(shared);
    let fill = move |samples: &mut [T], _: &_| {
        let hertz = sounds.hertz.load(Relaxed) as f32;
        for frame in samples.chunks_mut(channels) {
            frame.fill(T::from_sample(wave.next(hertz)));
        }
    };
    let on_error = move |error: cpal::Error| {
        use cpal::ErrorKind::{DeviceChanged, RealtimeDenied, Xrun};
        if !matches!(error.kind(), DeviceChanged | RealtimeDenied | Xrun) {
            failed();
        }
    };
    device.build_output_stream(config, fill, on_error, None).ok()
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
        // An approximation to a thousandth, which is not heard: this runs for each sample.
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

    /// A stream that fails at once is opened again five times, then not for ten seconds; one that played for a while is
    /// opened again at once.
    #[test]
    fn a_failed_stream_is_opened_again() {
        let start = Instant::now();
        let at = |ms| start + Duration::from_millis(ms);
        let mut tries = Tries::new();
        for ms in [0, 300, 600, 900, 1_200] {
            assert!(tries.may_open(at(ms)), "{ms}");
            tries.failed(at(ms + 250));
        }
        assert!(!tries.may_open(at(1_500)) && !tries.may_open(at(11_199)));
        assert!(tries.may_open(at(11_200)));
        for hour in 1..20 {
            tries.failed(at(hour * 3_600_000));
            assert!(tries.may_open(at(hour * 3_600_000)), "{hour}");
        }
    }

    /// The thread that owns the device ends with the speaker.
    #[test]
    fn the_thread_ends_with_the_speaker() {
        let mut speaker = Speaker::new();
        speaker.sound(Some(880));
        let shared = Arc::downgrade(&speaker.shared);
        drop(speaker);
        let deadline = Instant::now() + Duration::from_secs(60);
        while shared.upgrade().is_some() {
            assert!(Instant::now() < deadline, "the thread still has its part");
            thread::sleep(Duration::from_millis(5));
        }
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
