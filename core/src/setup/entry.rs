//! What can be set, in which order, and what it is called.

use crate::settings::Make;

/// Which list.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum List {
    /// The batch.
    Batch,
    /// The counter.
    Counter,
}

/// One thing that can be set.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Entry {
    /// The metal.
    Metal,
    /// Its temper.
    Temper,
    /// How the wire's size is given.
    SizedBy,
    /// The wire's size.
    Wire,
    /// The mandrel's diameter.
    Mandrel,
    /// What the batch is counted in.
    CountIn,
    /// Rings of the batch.
    Rings,
    /// Turns of each coil.
    Turns,
    /// Length of each coil.
    Length,
    /// Coils of the batch.
    Coils,
    /// What the saw takes.
    Kerf,
    /// The longest coil that the cradle takes.
    Cradle,
    /// The lead-in that is cut off.
    Tail,
    /// Wire on the spool.
    Spool,
    /// Pulses of the encoder.
    Pulses,
    /// Where the encoder sits.
    Shaft,
    /// Teeth on the crank's wheel.
    CrankTeeth,
    /// Teeth on the mandrel's wheel.
    MandrelTeeth,
    /// Which way winds on.
    Direction,
    /// The hand's reaction time.
    Lead,
    /// How loud.
    Loudness,
    /// Which lengths.
    Units,
    /// What a click of the knob is.
    Knob,
    /// To take what was set.
    Take,
}

/// The batch's list: only what is made of it differs with what it is counted in.
macro_rules! batch {
    ($($made:expr),+) => {
        &[
            Entry::Metal,
            Entry::Temper,
            Entry::SizedBy,
            Entry::Wire,
            Entry::Mandrel,
            Entry::CountIn,
            $($made,)+
            Entry::Kerf,
            Entry::Cradle,
            Entry::Tail,
            Entry::Spool,
            Entry::Take,
        ]
    };
}

const BY_RINGS: &[Entry] = batch![Entry::Rings];
const BY_TURNS: &[Entry] = batch![Entry::Turns, Entry::Coils];
const BY_LENGTH: &[Entry] = batch![Entry::Length, Entry::Coils];
const COUNTER: &[Entry] = &[
    Entry::Pulses,
    Entry::Shaft,
    Entry::CrankTeeth,
    Entry::MandrelTeeth,
    Entry::Direction,
    Entry::Lead,
    Entry::Loudness,
    Entry::Units,
    Entry::Knob,
    Entry::Take,
];

impl Entry {
    /// What it is called.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Metal => "Metal",
            Self::Temper => "Temper",
            Self::SizedBy => "Wire by",
            Self::Wire => "Wire",
            Self::Mandrel => "Mandrel",
            Self::CountIn => "Count in",
            Self::Rings => "Rings",
            Self::Turns | Self::Length => "Each coil",
            Self::Coils => "Coils",
            Self::Kerf => "Saw kerf",
            Self::Cradle => "Cradle",
            Self::Tail => "Tail",
            Self::Spool => "Spool",
            Self::Pulses => "Encoder",
            Self::Shaft => "It sits on",
            Self::CrankTeeth => "Crank wheel",
            Self::MandrelTeeth => "Mandrel wheel",
            Self::Direction => "Direction",
            Self::Lead => "Reaction",
            Self::Loudness => "Sound",
            Self::Units => "Lengths in",
            Self::Knob => "Knob click",
            Self::Take => "Done: use this",
        }
    }

    /// What it is for, on its page: at most 25 characters.
    #[must_use]
    pub const fn hint(self) -> &'static str {
        match self {
            Self::Metal => "What the wire is made of",
            Self::Temper => "Soft is annealed",
            Self::SizedBy => "Gauge, or measured",
            Self::Wire => "Thickness of the wire",
            Self::Mandrel => "Thickness of the mandrel",
            Self::CountIn => "What you want made",
            Self::Rings => "With some to spare",
            Self::Turns | Self::Length => "Where to stop winding",
            Self::Coils => "How many of them",
            Self::Kerf => "Measured in a cut",
            Self::Cradle => "Longest coil it takes",
            Self::Tail => "Bent end that is cut off",
            Self::Spool => "Wire that is left on it",
            Self::Pulses => "Pulses in one turn of it",
            Self::Shaft => "Where the encoder is",
            Self::CrankTeeth | Self::MandrelTeeth => "Teeth; 1 and 1: no gear",
            Self::Direction => "As if winding",
            Self::Lead => "From the tone to rest",
            Self::Loudness => "For your bench",
            Self::Units => "On every page",
            Self::Knob => "Turn it by one click",
            Self::Take => "",
        }
    }
}

/// The entries of a list, where the batch is counted in that.
pub(super) const fn entries(list: List, make: Make) -> &'static [Entry] {
    match (list, make) {
        (List::Counter, _) => COUNTER,
        (List::Batch, Make::Rings(_)) => BY_RINGS,
        (List::Batch, Make::Turns { .. }) => BY_TURNS,
        (List::Batch, Make::Length { .. }) => BY_LENGTH,
    }
}
