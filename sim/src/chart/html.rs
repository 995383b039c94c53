//! Charts as one page of HTML that stands alone and prints lying.

use std::borrow::Cow;
use std::fmt::Write;

use super::{BANDS, Chart, SHADES, Sheet, band, band_label, letter, mandrel_head};

const STYLE: &str = "
@page { size: A4 landscape; margin: 10mm }
* { box-sizing: border-box }
body { font: 16px/1.4 system-ui, sans-serif; color: #1c1a17; background: #fff; margin: 2rem auto; max-width: 84rem; padding: 0 1rem }
section { break-after: page; margin-bottom: 3rem }
section:last-of-type { break-after: auto }
h1 { font-size: 1.9rem; line-height: 1.2; margin: 0 }
h1 + p { font-size: 1.15rem; margin: .2rem 0 1rem; color: #56504a }
.wide { overflow-x: auto }
table { border-collapse: collapse; width: 100%; font-variant-numeric: tabular-nums }
caption { text-align: left; padding-bottom: .3rem; color: #56504a }
th, td { padding: .28em .42em; text-align: right; white-space: nowrap }
thead th { vertical-align: bottom; border-bottom: 2px solid #1c1a17; line-height: 1.15 }
th small { display: block; font-weight: 400; color: #56504a }
tbody th small { display: inline-block; min-width: 4.6em }
tbody th, thead th:first-child { width: 1% }
tbody th { border-right: 2px solid #1c1a17 }
td { border: 1px solid #fff; font-size: 1.1em }
td.x { color: #8a837a; text-align: center }
tbody tr:nth-child(5n) td, tbody tr:nth-child(5n) th { border-bottom: 1px solid #8a837a }
.key { display: flex; flex-wrap: wrap; gap: .2rem 1rem; margin: .8rem 0; padding: 0; list-style: none; font-size: .95rem }
.key i { display: inline-block; width: 1.6em; height: 1em; vertical-align: -.1em; margin-right: .35em; border: 1px solid #8a837a }
.notes { margin: .5rem 0; padding: 0; list-style: none; font-size: .9rem; color: #3b3631 }
@media print {
  /* One sheet of A4 to a metal: the table is set as small as its rows and columns ask. */
  body { margin: 0; max-width: none; padding: 0; font-size: 11pt; line-height: 1.3; print-color-adjust: exact; -webkit-print-color-adjust: exact }
  section { margin: 0 }
  h1 { font-size: 18pt }
  h1 + p { font-size: 12pt; margin: 0 0 4pt }
  .wide { overflow: visible }
  table { font-size: min(11pt, 760pt / (4.7 * var(--columns) + 14), 380pt / (1.65 * var(--rows) + 4)); line-height: 1.2 }
  th, td { padding-top: .15em; padding-bottom: .15em }
  caption { font-size: 9pt }
  .key { font-size: 9pt; margin: 6pt 0 }
  .notes { font-size: 8.5pt; margin: 2pt 0 }
}
";

fn safe(text: &str) -> Cow<'_, str> {
    html_escape::encode_text(text)
}

/// The page. Every tag is closed, so that it reads as XML too.
pub(super) fn page(chart: &Chart) -> String {
    let (drawn, left_out) = chart.drawn();
    let mut page = String::new();
    // Writing to a string cannot fail.
    _ = write_page(&mut page, chart, &drawn, &left_out);
    page
}

fn write_page(page: &mut String, chart: &Chart, drawn: &[&Sheet], left_out: &[&str]) -> std::fmt::Result {
    let names: Vec<&str> = drawn.iter().map(|sheet| sheet.material.name()).collect();
    let title = format!("{}: {}", chart.title(), names.join(", "));
    write!(
        page,
        "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\"/>\n<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\"/>\n<title>{}</title>\n<style>{STYLE}",
        safe(&title)
    )?;
    for (i, (r, g, b)) in SHADES.iter().enumerate() {
        writeln!(page, ".b{i} {{ background: #{r:02x}{g:02x}{b:02x} }}")?;
    }
    page.write_str("</style>\n</head>\n<body>\n")?;
    for sheet in drawn {
        section(page, chart, sheet)?;
    }
    if !left_out.is_empty() {
        let names = left_out.join(", ");
        writeln!(page, "<p>Left out, with no ring that can be made: {}.</p>", safe(&names))?;
    }
    writeln!(page, "<p class=\"notes\">{}</p>", safe(super::MADE_BY))?;
    page.write_str("</body>\n</html>\n")
}

fn section(page: &mut String, chart: &Chart, sheet: &Sheet) -> std::fmt::Result {
    writeln!(page, "<section>\n<h1>{}</h1>", safe(&chart.title()))?;
    let (rows, columns) = (chart.mandrels.len(), chart.wires.len());
    writeln!(page, "<p>{}</p>\n<div class=\"wide\">", safe(&Chart::about(sheet)))?;
    writeln!(page, "<table style=\"--columns: {columns}; --rows: {rows}\">")?;
    writeln!(page, "<caption>Across: {}. Down: mandrel.</caption>", safe(&chart.wires_title()))?;
    page.write_str("<thead>\n<tr><th scope=\"col\">mandrel</th>")?;
    for wire in &chart.wires {
        let [first, second] = chart.wire_head(*wire);
        write!(page, "<th scope=\"col\">{}<small>{}</small></th>", safe(&first), safe(&second))?;
    }
    page.write_str("</tr>\n</thead>\n<tbody>\n")?;
    for (mandrel, row) in chart.mandrels.iter().zip(sheet.cells.chunks(chart.wires.len())) {
        let [mm, inches] = mandrel_head(*mandrel);
        write!(page, "<tr><th scope=\"row\">{} <small>{}</small></th>", safe(&mm), safe(&inches))?;
        for cell in row {
            match cell {
                Ok(made) => write!(page, "<td class=\"b{}\">{}</td>", band(made.ratio), chart.shown(made))?,
                Err(blank) => write!(page, "<td class=\"x\">{}</td>", letter(blank.reason))?,
            }
        }
        page.write_str("</tr>\n")?;
    }
    page.write_str("</tbody>\n</table>\n</div>\n<ul class=\"key\"><li>Shade: aspect ratio</li>")?;
    for i in 0..=BANDS.len() {
        if sheet.cells.iter().flatten().any(|made| band(made.ratio) == i) {
            write!(page, "<li><i class=\"b{i}\"></i>{}</li>", band_label(i))?;
        }
    }
    page.write_str("</ul>\n<ul class=\"notes\">\n")?;
    for (letter, reason) in chart.legend(sheet) {
        writeln!(page, "<li>Blank, {letter}: {}.</li>", safe(reason))?;
    }
    for line in chart.assumptions(sheet) {
        writeln!(page, "<li>{}</li>", safe(&line))?;
    }
    page.write_str("</ul>\n</section>\n")
}
