//! What a file holds, and by which ending of its name that is seen.

use std::path::Path;

/// What a file holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// A table of values with commas between them.
    Csv,
    /// A page.
    Html,
    /// A job file.
    Job,
    /// An object.
    Json,
    /// A picture of the counter's screen.
    Png,
    /// The log of coils, with measurements and spools.
    Records,
    /// A drawing.
    Svg,
    /// Words.
    Text,
    /// A recording of lines (IEEE 1364).
    Vcd,
}

impl Kind {
    /// Each of them.
    pub const ALL: [Self; 9] = [
        Self::Csv,
        Self::Html,
        Self::Job,
        Self::Json,
        Self::Png,
        Self::Records,
        Self::Svg,
        Self::Text,
        Self::Vcd,
    ];

    /// The endings of its files' names; the first is the usual one.
    pub(crate) const fn endings(self) -> &'static [&'static str] {
        match self {
            Self::Csv => &["csv"],
            Self::Html => &["html", "htm"],
            Self::Job => &["toml"],
            Self::Json => &["json"],
            Self::Png => &["png"],
            Self::Records => &["sqlite"],
            Self::Svg => &["svg"],
            Self::Text => &["txt", "text"],
            Self::Vcd => &["vcd"],
        }
    }

    /// By the ending of a name; text where it has none of these.
    #[must_use]
    pub fn of(path: &Path) -> Self {
        Self::ALL.into_iter().find(|kind| kind.is_ending_of(path)).unwrap_or(Self::Text)
    }

    pub(crate) fn is_ending_of(self, path: &Path) -> bool {
        let ending = path.extension().unwrap_or_default().to_string_lossy().to_lowercase();
        self.endings().contains(&&*ending)
    }
}
