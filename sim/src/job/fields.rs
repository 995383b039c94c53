//! What the TOML reader refuses, in the words of the job file: the field, the value, what is allowed.

use serde_path_to_error::Path;

use crate::failure::Failure;

/// The tables of a job file and what each of their fields may hold.
const ALLOWED: &[(&str, &str)] = &[
    ("job", "the table [job] with rings or wire"),
    ("job.name", "text in quotes"),
    ("job.rings", "a whole number from 1 to 10000000"),
    ("job.wire", "a length or a mass in quotes, such as \"12m\" or \"2.5ozt\""),
    ("job.spare_percent", "a number from 0 to 100"),
    ("wire", "the table [wire] with metal and size"),
    ("wire.metal", "a metal's name in quotes, such as \"copper\""),
    ("wire.temper", "\"soft\", \"half-hard\", \"hard\" or \"spring\""),
    ("wire.size", "a size in quotes, such as \"16awg\", \"18swg\", \"1.2mm\" or \"0.051in\""),
    ("wire.coating", "a length in quotes, such as \"0.02mm\", from 0mm to 1mm"),
    ("wire.density_g_cm3", "a number from 0.5 to 25"),
    ("wire.spring_ratio", "a number from 1 to 2, released over wound diameter"),
    ("wire.price_per_kg", "a number from 0 to 1000000000"),
    ("wire.price_per_ozt", "a number from 0 to 1000000000"),
    ("wire.price_per_lb", "a number from 0 to 1000000000"),
    ("wire.price_per_m", "a number from 0 to 1000000000"),
    ("wire.price_per_ft", "a number from 0 to 1000000000"),
    ("wire.price_date", "a day in quotes, such as \"2026-03-14\""),
    ("wire.currency", "text in quotes, such as \"EUR\""),
    ("wire.spool", "the name of a spool in quotes, as turntally spool list shows it"),
    ("mandrel", "the table [mandrel] with diameter"),
    ("mandrel.diameter", "a length in quotes, such as \"4.5mm\" or \"0.2in\""),
    ("winder", "the table [winder] with pulses_per_rev"),
    ("winder.encoder_on", "\"crank\" or \"mandrel\""),
    ("winder.gear", "two tooth counts in quotes, such as \"1:1\" or \"48:16\""),
    ("winder.pulses_per_rev", "a whole number from 1 to 100000"),
    ("cutter", "the table [cutter] with coil_max"),
    ("cutter.coil_max", "a length in quotes, such as \"70mm\" or \"2.75in\""),
    ("cutter.kerf", "a length in quotes, such as \"0.4mm\""),
    ("cutter.blade", "a length in quotes, such as \"0.35mm\""),
    ("cutter.slot", "a length in quotes, such as \"1.2mm\""),
    ("coil", "the table [coil]"),
    ("coil.gap", "a number from 0 to 5, measured pitch / wire diameter - 1"),
    ("coil.tail_turns", "a number from 0 to 100"),
    ("money", "the table [money]"),
    ("money.labour_per_hour", "a number from 0 to 1000000000"),
    ("money.blade_per_ring", "a number from 0 to 1000000"),
    ("money.lubricant_per_ring", "a number from 0 to 1000000"),
    ("money.finishing_per_ring", "a number from 0 to 1000000"),
    ("money.scrap_credit_percent", "a number from 0 to 100"),
    ("money.markup_percent", "a number from 0 to 10000"),
    ("money.margin_percent", "a number from 0 to 95"),
];

fn allowed(field: &str) -> &'static str {
    ALLOWED.iter().find(|(name, _)| *name == field).map_or("see --help", |(_, allowed)| *allowed)
}

/// One line for what is no TOML at all: the line's number, its text and what was expected.
pub(super) fn no_toml(error: &toml::de::Error, text: &str) -> Failure {
    let Some((number, line)) = error.span().map(|span| line_at(text, span.start)) else {
        return Failure::new(error.message());
    };
    Failure::value(&format!("line {number}"), line.trim(), error.message())
}

/// One line for a field that is unknown, missing or of the wrong type.
pub(super) fn wrong_field(path: &Path, error: &toml::de::Error, text: &str) -> Failure {
    let field = path.to_string();
    let field = if field == "." { "" } else { &field };
    let message = error.message();
    let span = error.span().unwrap_or_default();
    let (number, _) = line_at(text, span.start);
    if let Some(rest) = message.strip_prefix("missing field `") {
        let name = rest.trim_end_matches('`');
        let missing = if field.is_empty() { name.to_owned() } else { format!("{field}.{name}") };
        return Failure::new(format_args!("{missing} is missing: {}", allowed(&missing)));
    }
    if message.starts_with("unknown field") {
        let known = message.split_once(", ").map_or("", |(_, known)| known).replace('`', "");
        let known = known.trim_start_matches("expected ").trim_start_matches("one of ");
        return Failure::value(
            &format!("line {number}: unknown key"),
            field,
            format_args!("only {known} is allowed there"),
        );
    }
    let value = text.get(span).unwrap_or_default();
    Failure::value(field, value, format_args!("(line {number}) give {}", allowed(field)))
}

/// The line that holds the byte `at`, with its number from one.
fn line_at(text: &str, at: usize) -> (usize, &str) {
    let before = text.get(..at).unwrap_or(text);
    let start = before.rfind('\n').map_or(0, |end| end + 1);
    let line = text.get(start..).and_then(|rest| rest.lines().next()).unwrap_or_default();
    (before.matches('\n').count() + 1, line)
}
