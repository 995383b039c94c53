//! Faults that can be switched on, each in the line where it happens in life.

use std::fmt;
use std::str::FromStr;

/// What can be wrong with a winder's electrics, or with the counter's own panel.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum FaultKind {
    /// Contacts bounce, and settle before the other channel's edge.
    Bounce,
    /// Contacts bounce for up to 2 ms, whether or not the other channel's edge comes meanwhile.
    LongBounce,
    /// Short pulses on one channel, away from its edges.
    Noise,
    /// Single samples are not taken.
    SkippedSamples,
    /// The sampler stands still for some milliseconds, and the board knows it.
    LateReader,
    /// Channel A sticks from some moment on.
    DeadA,
    /// Channel B sticks from some moment on.
    DeadB,
    /// A and B are swapped.
    Swapped,
    /// The encoder's supply dips: both channels read low for less than an edge takes.
    SupplyDips,
    /// There is no screen. The operator knows the counter's questions by heart.
    NoScreen,
    /// The screen sits on a loose plug: it loses its power for seconds and comes back blank.
    LooseScreen,
    /// Now and then a key stays down for seconds after it was pressed.
    StuckKeys,
}

impl FaultKind {
    /// All that there are.
    pub const ALL: [Self; 12] = [
        Self::Bounce,
        Self::LongBounce,
        Self::Noise,
        Self::SkippedSamples,
        Self::LateReader,
        Self::DeadA,
        Self::DeadB,
        Self::Swapped,
        Self::SupplyDips,
        Self::NoScreen,
        Self::LooseScreen,
        Self::StuckKeys,
    ];

    /// A counter that is worth its name counts right in spite of it, to the last count.
    #[must_use]
    pub const fn is_survivable(self) -> bool {
        matches!(
            self,
            Self::Bounce
                | Self::Noise
                | Self::SkippedSamples
                | Self::Swapped
                | Self::NoScreen
                | Self::LooseScreen
                | Self::StuckKeys
        )
    }

    /// Its name on the command line.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Bounce => "bounce",
            Self::LongBounce => "long-bounce",
            Self::Noise => "noise",
            Self::SkippedSamples => "skipped-samples",
            Self::LateReader => "late-reader",
            Self::DeadA => "dead-a",
            Self::DeadB => "dead-b",
            Self::Swapped => "swapped",
            Self::SupplyDips => "supply-dips",
            Self::NoScreen => "no-screen",
            Self::LooseScreen => "loose-screen",
            Self::StuckKeys => "stuck-keys",
        }
    }
}

impl fmt::Display for FaultKind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.name())
    }
}

/// No such fault.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct UnknownFault;

impl fmt::Display for UnknownFault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("only ")?;
        for (index, kind) in FaultKind::ALL.into_iter().enumerate() {
            write!(f, "{}{kind}", if index == 0 { "" } else { ", " })?;
        }
        f.write_str(" are allowed")
    }
}

impl std::error::Error for UnknownFault {}

impl FromStr for FaultKind {
    type Err = UnknownFault;

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        Self::ALL.into_iter().find(|kind| kind.name() == text.trim()).ok_or(UnknownFault)
    }
}

/// Some faults together.
#[derive(Clone, Copy, PartialEq, Eq, Default)]
pub struct FaultSet(u16);

impl FaultSet {
    /// Adds one.
    #[must_use]
    pub const fn with(self, kind: FaultKind) -> Self {
        Self(self.0 | 1 << kind as u16)
    }

    /// Takes one away.
    #[must_use]
    pub const fn without(self, kind: FaultKind) -> Self {
        Self(self.0 & !(1 << kind as u16))
    }

    /// Whether it is there.
    #[must_use]
    pub const fn has(self, kind: FaultKind) -> bool {
        self.0 >> kind as u16 & 1 == 1
    }

    /// Every one of them leaves the count right.
    #[must_use]
    pub fn is_survivable(self) -> bool {
        FaultKind::ALL.into_iter().all(|kind| !self.has(kind) || kind.is_survivable())
    }
}

impl fmt::Debug for FaultSet {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_set().entries(FaultKind::ALL.into_iter().filter(|&kind| self.has(kind))).finish()
    }
}

impl FromIterator<FaultKind> for FaultSet {
    fn from_iter<T: IntoIterator<Item = FaultKind>>(kinds: T) -> Self {
        kinds.into_iter().fold(Self::default(), Self::with)
    }
}
