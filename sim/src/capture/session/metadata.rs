//! What a session says about its samples.

use super::super::error::{CaptureError, shown};
use super::super::rate::Rate;
use super::super::wanted::{Names, Wanted};

/// The most bytes of a session's `metadata`.
pub const MAX_METADATA: usize = 1 << 16;
/// The most bytes of a sample.
const MAX_UNIT: usize = 8;

/// What is needed of the metadata of the first device.
#[derive(Debug, Clone)]
pub(super) struct Metadata {
    /// The name of the parts, without their numbers.
    pub(super) capture_file: String,
    pub(super) rate: Rate,
    /// Bytes of a sample, 1 to 8.
    pub(super) unit_size: usize,
    pub(super) chosen: Vec<Chosen>,
}

/// A channel that was asked for and found.
#[derive(Debug, Clone)]
pub(super) struct Chosen {
    /// Its bit in a sample.
    pub(super) bit: u32,
    pub(super) name: String,
}

/// An error in the metadata, in a line of it where there is one.
fn wrong(line: Option<usize>, what: impl std::fmt::Display) -> CaptureError {
    let place = line.map_or("metadata".to_owned(), |line| format!("metadata, line {line}"));
    CaptureError::part(place, what)
}

/// Values of the first device that come once, with their lines.
#[derive(Default)]
struct Values<'t> {
    capture_file: Option<(usize, &'t str)>,
    probes: Option<(usize, &'t str)>,
    rate: Option<(usize, &'t str)>,
    unit_size: Option<(usize, &'t str)>,
}

/// A named channel with its line.
struct Probe<'t> {
    line: usize,
    /// From 1.
    number: u32,
    name: &'t str,
}

/// Reads the metadata and finds the wanted channels.
pub(super) fn read(text: &[u8], wanted: &[Wanted<'_>]) -> Result<Metadata, CaptureError> {
    let Ok(text) = std::str::from_utf8(text) else {
        return Err(wrong(None, "not a text in UTF-8"));
    };
    let (mut values, mut probes, mut analog) = (Values::default(), Vec::new(), Vec::new());
    let (mut ours, mut found) = (false, false);
    for (line, text) in (1..).zip(text.lines()) {
        let text = text.trim();
        if text.is_empty() || text.starts_with(['#', ';']) {
            continue;
        }
        if let Some(section) = text.strip_prefix('[') {
            ours = section.trim_end_matches(']').trim() == "device 1";
            if ours && found {
                return Err(wrong(Some(line), "a second [device 1]"));
            }
            found |= ours;
            continue;
        }
        let Some((key, value)) = text.split_once('=') else {
            return Err(wrong(Some(line), format_args!("'{}': not KEY=VALUE", shown(text.as_bytes()))));
        };
        if !ours {
            continue;
        }
        let (key, value) = (key.trim(), value.trim());
        let place = match key {
            "capturefile" => &mut values.capture_file,
            "total probes" => &mut values.probes,
            "samplerate" => &mut values.rate,
            "unitsize" => &mut values.unit_size,
            _ => {
                if let Some(number) = key.strip_prefix("probe") {
                    let Some(number) = number.parse().ok().filter(|number| *number > 0) else {
                        let key = shown(key.as_bytes());
                        return Err(wrong(
                            Some(line),
                            format_args!("'{key}': a channel is probe1 and so on"),
                        ));
                    };
                    probes.push(Probe { line, number, name: value });
                } else if key.strip_prefix("analog").is_some_and(|rest| rest.parse::<u32>().is_ok()) {
                    analog.push(value);
                }
                continue;
            }
        };
        if place.replace((line, value)).is_some() {
            return Err(wrong(Some(line), format_args!("a second {key}")));
        }
    }
    if !found {
        return Err(wrong(None, "no section [device 1]"));
    }
    let missing = |key: &str| wrong(None, format_args!("no {key} in [device 1]"));
    let (_, capture_file) = values.capture_file.ok_or_else(|| missing("capturefile"))?;
    let (line, rate) = values.rate.ok_or_else(|| missing("samplerate"))?;
    let rate = Rate::read(rate).ok_or_else(|| {
        wrong(Some(line), format_args!("samplerate '{}': {}", shown(rate.as_bytes()), Rate::ALLOWED))
    })?;
    let (line, size) = values.unit_size.ok_or_else(|| missing("unitsize"))?;
    let unit_size = size.parse().ok().filter(|size| (1..=MAX_UNIT).contains(size)).ok_or_else(|| {
        let size = shown(size.as_bytes());
        wrong(Some(line), format_args!("unitsize '{size}': only 1 to {MAX_UNIT} bytes are allowed"))
    })?;
    let mut most = 8 * unit_size as u32;
    if let Some((line, total)) = values.probes {
        let Some(total) = total.parse().ok().filter(|total| *total <= most) else {
            let total = shown(total.as_bytes());
            let what =
                format_args!("total probes '{total}': samples of {unit_size} bytes have at most {most}");
            return Err(wrong(Some(line), what));
        };
        most = total;
    }
    if let Some(probe) = probes.iter().find(|probe| probe.number > most) {
        let what = format_args!("probe{}: only probe1 to probe{most} are allowed", probe.number);
        return Err(wrong(Some(probe.line), what));
    }
    for (index, probe) in probes.iter().enumerate() {
        if probes.iter().take(index).any(|other| other.number == probe.number) {
            return Err(wrong(Some(probe.line), format_args!("a second probe{}", probe.number)));
        }
    }
    let chosen = wanted.iter().map(|wanted| find(*wanted, &probes, &analog)).collect::<Result<_, _>>()?;
    Ok(Metadata { capture_file: capture_file.to_owned(), rate, unit_size, chosen })
}

fn find(wanted: Wanted<'_>, probes: &[Probe<'_>], analog: &[&str]) -> Result<Chosen, CaptureError> {
    let named: Vec<&Probe<'_>> = probes.iter().filter(|probe| probe.name == wanted.name()).collect();
    match named.as_slice() {
        [probe] => Ok(Chosen { bit: probe.number - 1, name: probe.name.to_owned() }),
        [] if analog.contains(&wanted.name()) => {
            Err(wanted.refused("is an analog channel, not a wire".to_owned()))
        }
        [] => {
            let mut names = Names::default();
            for probe in probes {
                names.add(|| probe.name.to_owned());
            }
            Err(wanted.refused(format!("no such channel in the recording; it has {}", names.list())))
        }
        [first, second, ..] => Err(wanted.refused(format!(
            "several channels have this name: probe{} and probe{}",
            first.number, second.number
        ))),
    }
}
