//! The sounder, heard: a square wave through the browser's audio.

use eframe::web_sys::{AudioContext, GainNode, OscillatorNode, OscillatorType};

/// Loud enough to be heard, soft enough for the wearer of headphones.
const LOUDNESS: f32 = 0.05;

/// The speaker; silent where there is none, and until the first click (browsers want it so).
#[derive(Debug, Default)]
pub struct Speaker {
    playing: Option<(AudioContext, OscillatorNode, GainNode)>,
    hertz: Option<u16>,
}

impl Speaker {
    /// A speaker that is silent.
    #[must_use]
    pub fn new() -> Self {
        Self::default()
    }

    /// Sounds this note from now on.
    pub fn sound(&mut self, hertz: Option<u16>) {
        if hertz == self.hertz {
            return;
        }
        self.hertz = hertz;
        if hertz.is_some() && self.playing.is_none() {
            self.playing = open();
        }
        if let Some((context, tone, gain)) = &self.playing {
            if let Some(hertz) = hertz {
                tone.frequency().set_value(f32::from(hertz));
                // It sleeps until the page was clicked.
                _ = context.resume();
            }
            gain.gain().set_value(if hertz.is_some() { LOUDNESS } else { 0.0 });
        }
    }
}

fn open() -> Option<(AudioContext, OscillatorNode, GainNode)> {
    let context = AudioContext::new().ok()?;
    let tone = context.create_oscillator().ok()?;
    let gain = context.create_gain().ok()?;
    gain.gain().set_value(0.0);
    tone.set_type(OscillatorType::Square);
    tone.connect_with_audio_node(&gain).ok()?;
    gain.connect_with_audio_node(&context.destination()).ok()?;
    tone.start().ok()?;
    Some((context, tone, gain))
}
