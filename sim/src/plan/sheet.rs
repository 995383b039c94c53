//! The page to take to the bench: one page of A4 or US Letter, black on white, complete in itself.

use std::fmt::Write as _;

use html_escape::encode_text as esc;
use turntally_core::counter::Shaft;

use super::figures::{CoilGroup, Plan};
use super::spool::Reach;
use super::text;
use crate::job::Job;
use crate::words::{self, number};

const STYLE: &str = include_str!("sheet.css");
const CAUTIONS: &str = include_str!("cautions.html");

/// From this many on the rows stand in two columns.
const TWO_COLUMNS: u32 = 8;
/// The height left for the rows when there are no warnings, in millimetres, measured on US Letter with
/// the longest of names: the shorter of the two pages.
const ROOM: f64 = 97.0;
/// The lowest row that a hand can write in, and the highest that is of use, in millimetres.
const ROW: (f64, f64) = (4.6, 7.5);
/// Boxes in a line, its height, and the most lines.
const BOXES: (u32, f64, f64) = (20, 5.2, 13.0);
/// What stands round the boxes.
const BOX_FRAME: f64 = 42.0;
/// Characters in a line of a warning, in one of its two columns, and the line's height.
const WARNING: (usize, f64) = (56, 3.5);
/// A name of more characters than this is set in smaller type.
const LONG_NAME: usize = 44;

/// The page as HTML. Nothing is fetched from anywhere; every text of the job's is escaped.
#[must_use]
pub fn render(job: &Job, plan: &Plan, warnings: &[String]) -> String {
    let mut out = String::with_capacity(16 * 1024);
    let long = if job.name.chars().count() > LONG_NAME { " class=\"long\"" } else { "" };
    let coils = words::count(u64::from(plan.coil_count), "coil");
    _ = write!(
        out,
        "<!DOCTYPE html>\n<html lang=\"en\"><head><meta charset=\"utf-8\">\
         <meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; style-src 'unsafe-inline'\">\
         <meta name=\"viewport\" content=\"width=device-width\">\n\
         <title>{name}: {rings} rings</title>\n<style>\n{STYLE}</style></head>\n<body>\n\
         <header><div><h1{long}>{name}</h1><p>{metal}, {temper}, {wire} on {mandrel}: {rings} rings from {coils}</p></div>\
         <div class=\"fill\">Date <span></span><br>Wound by <span></span><br>\
         Sheet <span class=\"short\"></span> of <span class=\"short\"></span></div></header>\n",
        name = esc(&job.name),
        metal = esc(text::metal(job)),
        temper = job.temper,
        wire = words::wire(job.size) + &text::coating(job),
        mandrel = number::given(job.winding.mandrel()),
        rings = plan.rings_planned,
    );
    out.push_str("<div class=\"two\"><section><h2>Set on the counter</h2>");
    pairs(&mut out, &settings(job, plan));
    out.push_str("</section><section><h2>What to expect</h2>");
    pairs(&mut out, &expected(job, plan));
    out.push_str("</section></div>\n");
    let room = ROOM - height(warnings);
    let row = room / f64::from(lines(plan.coil_count));
    if row >= ROW.0 {
        rows(&mut out, plan, row.min(ROW.1));
    } else {
        boxes(&mut out, plan, room);
    }
    out.push_str("<section class=\"notes\"><h2>Notes</h2></section>\n");
    cautions(&mut out, warnings);
    out.push_str("</body></html>\n");
    out
}

/// Lines that the rows take, the one of the sums among them.
fn lines(coils: u32) -> u32 {
    if coils >= TWO_COLUMNS { (coils + 1).div_ceil(2) } else { coils + 1 }
}

/// About what the warnings take, in millimetres.
fn height(warnings: &[String]) -> f64 {
    if warnings.is_empty() {
        return 0.0;
    }
    let lines: usize = warnings.iter().map(|warning| warning.chars().count().div_ceil(WARNING.0)).sum();
    // Two columns are never quite of one length, since no warning is broken between them.
    (lines as f64 / 2.0 + 3.0) * WARNING.1 + 3.0
}

fn pairs(out: &mut String, pairs: &[(&str, String)]) {
    out.push_str("<table class=\"pairs\">");
    for (name, value) in pairs {
        _ = write!(out, "<tr><th scope=\"row\">{name}</th><td>{}</td></tr>", esc(value));
    }
    out.push_str("</table>");
}

fn settings(job: &Job, plan: &Plan) -> Vec<(&'static str, String)> {
    let winding = &job.winding;
    let shaft = match job.shaft {
        Shaft::Crank => "crank",
        Shaft::Mandrel => "mandrel",
    };
    let spring = winding.spring();
    // What was measured on several rings has a spread: the counter takes its high bound too.
    let basis = match (job.spring_measured, spring.low() < spring.high()) {
        (true, false) => "measured",
        (true, true) => "measured, high bound",
        (false, _) => "high bound",
    };
    vec![
        ("Rings to make", plan.rings_planned.to_string()),
        ("Encoder", format!("{} pulses a turn, on the {shaft}", job.pulses_per_rev)),
        ("Gear, crank : mandrel", job.gear.to_string()),
        ("Wire", words::wire_both(job.size) + &text::coating(job)),
        ("Mandrel", number::both(winding.mandrel())),
        ("Spring ratio", format!("{} ({basis})", number::fixed(spring.high(), 4))),
        ("Gap", number::gap(winding.gap())),
        ("Lead-in", number::count_turns(job.tail.as_f64())),
        ("Kerf", number::given(winding.kerf())),
        ("Longest coil", number::given(job.coil_max)),
    ]
}

fn expected(job: &Job, plan: &Plan) -> Vec<(&'static str, String)> {
    let winding = &job.winding;
    let (unit, grams) = text::unit(job, plan);
    let [rings, swarf, offcuts, _] =
        text::shares(plan, grams).map(|(_, mass, percent)| format!("{mass} {unit}, {percent} %"));
    let mut all = vec![
        ("Rings", text::rings(job, plan)),
        (
            "Ring, closed",
            format!(
                "{} mm inside, ratio {}, {}",
                text::inner(plan),
                number::sig(plan.ring_inner.best / winding.wire().mm().get(), 3),
                text::ring_mass(plan.ring_mass),
            ),
        ),
        (
            "Wire",
            format!(
                "{}; {} if every stop is half a turn late",
                number::wire_length(plan.wire_total),
                number::wire_length(plan.wire_with_late_stops)
            ),
        ),
        ("Mass", text::mass(job, plan)),
        ("Becomes rings", rings),
        ("Becomes swarf", swarf),
        ("Becomes offcuts", offcuts),
    ];
    if let Some(cost) = text::cost(job, plan) {
        all.push(("Cost", cost));
    }
    if let Some(reach) = Reach::of(job, plan) {
        all.push(("Spool", reach.words()));
    }
    all.push(("Time", format!("{} to {}", number::span(plan.minutes.low), number::span(plan.minutes.high))));
    all
}

/// `Each coil 60.9 mm on the mandrel, 60.6 mm off it, 893 mm of wire.`
fn group_line(group: &CoilGroup) -> String {
    format!(
        "{} on the mandrel, {} off it, {} of wire",
        number::length(group.wound_length),
        number::length(group.released_length),
        number::wire_length(group.wire)
    )
}

fn lengths(out: &mut String, plan: &Plan) {
    let what = match plan.groups.as_slice() {
        [only] if only.count == 1 => format!("The coil: {}.", group_line(only)),
        [only] => format!("Each coil: {}.", group_line(only)),
        [full, last] => format!("Full coil: {}. Last coil: {}.", group_line(full), group_line(last)),
        _ => String::new(),
    };
    _ = write!(
        out,
        "<p class=\"note\">{what} Stop at the turns given; half a turn more still fits the cradle.</p>"
    );
}

const HEAD: &str = "<tr><th>coil</th><th>done</th><th>stop at<br>turns</th><th>rings<br>guaranteed</th>\
                    <th>rings<br>counted</th><th>rejects</th></tr>";

fn row(out: &mut String, number: u32, group: &CoilGroup) {
    _ = write!(
        out,
        "<tr><td class=\"no\">{number}</td><td class=\"no\"><span class=\"tick\"></span></td>\
         <td class=\"turns\">{}</td><td>{}</td><td class=\"write\"></td><td class=\"write\"></td></tr>",
        number::turns(group.wound_turns.as_f64()),
        group.rings
    );
}

/// A row for every coil, the last one that of the sums.
fn rows(out: &mut String, plan: &Plan, height: f64) {
    let coils: Vec<&CoilGroup> =
        plan.groups.iter().flat_map(|group| (0..group.count).map(move |_| group)).collect();
    let columns = if plan.coil_count >= TWO_COLUMNS { 2 } else { 1 };
    out.push_str("<section><h2>Coils</h2>");
    _ = write!(out, "<div class=\"coils in{columns}\" style=\"--row: {height:.2}mm\">");
    let per_column = usize::try_from(lines(plan.coil_count)).unwrap_or(usize::MAX);
    let mut number = 0;
    for column in 0..columns {
        _ = write!(out, "<table class=\"rows\">{HEAD}");
        for group in coils.iter().skip(column * per_column).take(per_column) {
            number += 1;
            row(out, number, group);
        }
        if column + 1 == columns {
            _ = write!(
                out,
                "<tr><td colspan=\"3\">in all</td><td>{}</td><td class=\"write\"></td><td class=\"write\"></td></tr>",
                plan.rings_planned
            );
        }
        out.push_str("</table>");
    }
    out.push_str("</div>");
    lengths(out, plan);
    out.push_str("</section>\n");
}

/// The least of 1, 2, 5, 10, 20, 50 and so on, of which `boxes` hold all the coils.
fn coils_a_box(coils: u32, boxes: u32) -> u32 {
    let needed = coils.div_ceil(boxes);
    let mut scale = 1;
    loop {
        for step in [1, 2, 5] {
            if step * scale >= needed {
                return step * scale;
            }
        }
        scale *= 10;
    }
}

/// Boxes to tick for full coils that are too many for a row each.
fn boxes(out: &mut String, plan: &Plan, room: f64) {
    let Some(full) = plan.groups.first() else { return };
    let lines = ((room - BOX_FRAME) / BOXES.1).floor().clamp(2.0, BOXES.2) as u32;
    let each = coils_a_box(full.count, BOXES.0 * lines);
    _ = write!(
        out,
        "<section><h2>Coils 1 to {}: stop at {} turns, {} guaranteed from each</h2>",
        full.count,
        number::turns(full.wound_turns.as_f64()),
        words::count(u64::from(full.rings), "ring")
    );
    let means = if each == 1 {
        "Tick its box as each comes off".to_owned()
    } else {
        format!("A box stands for {each} coils and bears the number of its last: tick it when they are off")
    };
    _ = write!(
        out,
        "<p>{} coils are too many for a row each on one page. {means}, and write the sums below \
         when you stop for the day. When the lines are full, go on with a second print and number the sheets.</p>",
        plan.coil_count
    );
    out.push_str("<div class=\"boxes\">");
    for n in 1..=full.count.div_ceil(each) {
        _ = write!(out, "<i>{}</i>", n.saturating_mul(each).min(full.count));
    }
    out.push_str("</div>");
    out.push_str("<div class=\"coils in2\">");
    for first in [1, 4] {
        out.push_str(
            "<table class=\"rows\"><tr><th>day</th><th>coils<br>done</th><th>rings<br>counted</th><th>rejects</th></tr>",
        );
        for day in first..first + 3 {
            _ = write!(
                out,
                "<tr><td class=\"no\">{day}</td><td class=\"write\"></td><td class=\"write\"></td><td class=\"write\"></td></tr>"
            );
        }
        out.push_str("</table>");
    }
    out.push_str("</div>");
    if let [_, last] = plan.groups.as_slice() {
        _ = write!(
            out,
            "<h2><span class=\"tick\"></span> Coil {}, the last: stop at {} turns, {} guaranteed</h2>",
            plan.coil_count,
            number::turns(last.wound_turns.as_f64()),
            words::count(u64::from(last.rings), "ring")
        );
    }
    lengths(out, plan);
    out.push_str("</section>\n");
}

fn cautions(out: &mut String, warnings: &[String]) {
    if !warnings.is_empty() {
        let one = if warnings.len() == 1 { " one" } else { "" };
        _ = write!(out, "<section><h2>Check first</h2><ul class=\"warn{one}\">");
        for warning in warnings {
            _ = write!(out, "<li>{}</li>", esc(warning));
        }
        out.push_str("</ul></section>\n");
    }
    _ = writeln!(out, "<section>{CAUTIONS}</section>");
}
