//! Sample rates, and the time of a sample by its number.

/// A sample rate in hertz: 1 to 10^12.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Rate(u64);

/// The highest rate in hertz: a terahertz.
const MOST: u64 = 1_000_000_000_000;

impl Rate {
    /// What a rate may be, for messages.
    pub(super) const ALLOWED: &'static str =
        "a rate is such as 1 MHz or 12.5 MHz, 1 Hz to 1 THz in whole hertz";

    /// From a text such as `1 MHz`; `None` for anything else.
    pub(super) fn read(text: &str) -> Option<Self> {
        let text = text.trim();
        let end = text.find(|c: char| !c.is_ascii_digit() && c != '.').unwrap_or(text.len());
        let (number, unit) = text.split_at(end);
        let zeros = match unit.trim().to_ascii_lowercase().as_str() {
            "" | "hz" => 0,
            "khz" => 3,
            "mhz" => 6,
            "ghz" => 9,
            "thz" => 12,
            _ => return None,
        };
        let (whole, part) = number.split_once('.').unwrap_or((number, ""));
        let part = part.trim_end_matches('0');
        if whole.is_empty() || part.len() > zeros {
            return None;
        }
        let digits = format!("{whole}{part}{}", "0".repeat(zeros - part.len()));
        digits.parse().ok().filter(|hertz| (1..=MOST).contains(hertz)).map(Self)
    }

    /// The nanosecond in which a sample falls, counted from 0; `None` past 64 bits, which are 584 years.
    pub(super) fn nanoseconds(self, sample: u64) -> Option<u64> {
        u64::try_from(u128::from(sample) * 1_000_000_000 / u128::from(self.0)).ok()
    }
}
