//! Charts as text, CSV and JSON.

use comfy_table::{CellAlignment, Table, presets};
use serde::ser::{Serialize, SerializeMap, Serializer};
use serde_json::{Value, json};

use super::{Cell, Chart, Sheet, letter, mandrel_head};
use crate::failure::Failure;
use crate::words::table::wrapped;
use turntally_core::bounds::Bounds;

/// The most columns of characters in a row of the terminal.
const WIDTH: usize = 98;

/// A table for the terminal, in blocks that fit its width.
pub(super) fn text(chart: &Chart) -> String {
    let (drawn, left_out) = chart.drawn();
    let mut text = String::new();
    for sheet in drawn {
        if !text.is_empty() {
            text.push('\n');
        }
        text += &format!("{}: {}\n", chart.title(), Chart::about(sheet));
        text += &format!("Across: {}. Down: mandrel.\n\n", chart.wires_title());
        text += &blocks(chart, sheet);
        text.push('\n');
        for (letter, reason) in chart.legend(sheet) {
            text += &wrapped(&format!("({letter}) {reason}"));
        }
        for line in chart.assumptions(sheet) {
            text += &wrapped(&line);
        }
    }
    if !left_out.is_empty() {
        text += &wrapped(&format!("Left out, with no ring that can be made: {}.", left_out.join(", ")));
    }
    text
}

fn blocks(chart: &Chart, sheet: &Sheet) -> String {
    let heads: Vec<[String; 2]> = chart.wires.iter().map(|wire| chart.wire_head(*wire)).collect();
    let rows: Vec<Vec<String>> = sheet
        .cells
        .chunks(chart.wires.len())
        .map(|row| row.iter().map(|cell| shown(chart, cell)).collect())
        .collect();
    let width = |column: usize| {
        let cells = rows.iter().map(|row| row[column].len());
        let heads = heads[column].iter().map(String::len);
        // A blank on either side.
        cells.chain(heads).max().unwrap_or(0) + 2
    };
    let left =
        chart.mandrels.iter().map(|mandrel| mandrel_head(*mandrel).concat().len() + 4).max().unwrap_or(0);
    let (mut text, mut from) = (String::new(), 0);
    while from < heads.len() {
        let (mut to, mut used) = (from, left);
        while to < heads.len() && (to == from || used + width(to) <= WIDTH) {
            used += width(to);
            to += 1;
        }
        let mut table = Table::new();
        table.load_style(presets::NOTHING);
        for line in 0..2 {
            let blank = [String::new(), String::new()];
            table.add_row(blank.into_iter().chain(heads[from..to].iter().map(|head| head[line].clone())));
        }
        for (mandrel, row) in chart.mandrels.iter().zip(&rows) {
            table.add_row(mandrel_head(*mandrel).into_iter().chain(row[from..to].iter().cloned()));
        }
        for column in table.column_iter_mut() {
            column.set_cell_alignment(CellAlignment::Right);
        }
        if !text.is_empty() {
            text.push('\n');
        }
        text += &table.trim_fmt();
        text.push('\n');
        from = to;
    }
    text
}

fn shown(chart: &Chart, cell: &Cell) -> String {
    match cell {
        Ok(made) => chart.shown(made),
        Err(blank) => format!("({})", letter(blank.reason)),
    }
}

/// The cells of every sheet with what they stand for.
fn each(chart: &Chart) -> impl Iterator<Item = (&Sheet, usize, usize, &Cell)> {
    let columns = chart.wires.len();
    chart.sheets.iter().flat_map(move |sheet| {
        sheet.cells.iter().enumerate().map(move |(i, cell)| (sheet, i % columns, i / columns, cell))
    })
}

/// One row to a cell.
pub(super) fn csv(chart: &Chart) -> Result<String, Failure> {
    let key = chart.figure().key();
    let mut writer = csv::WriterBuilder::new().has_headers(false).from_writer(Vec::new());
    let heads = [
        "metal",
        "temper",
        "density_g_cm3",
        "wire",
        "wire_diameter_mm",
        "mandrel_diameter_mm",
        "kerf_mm",
        "gap",
        "assumed_spring_ratio",
        "assumed_spring_ratio_low",
        "assumed_spring_ratio_high",
        key,
        &format!("{key}_low"),
        &format!("{key}_high"),
        "blank_because",
    ];
    writer.write_record(heads).map_err(Failure::new)?;
    let wires = names(chart);
    for (sheet, column, row, cell) in each(chart) {
        let made = cell.as_ref().ok();
        let spring = |of: fn(Bounds<f64>) -> f64| made.map(|made| of(made.spring));
        let value = |of: fn(Bounds<f64>) -> f64| made.map(|made| of(made.value));
        // Numbers in the fewest digits that read back to the same bits; blank where there is none.
        let record = (
            sheet.material.name(),
            temper_of(sheet),
            sheet.material.density()[1].g_per_cm3(),
            &wires[column],
            chart.wires[column].diameter().mm().get(),
            chart.mandrels[row].mm().get(),
            (chart.cut.kerf.mm().get(), made.map_or(chart.cut.gap.unwrap_or(0.0), |made| made.gap)),
            (spring(|r| r.best), spring(|r| r.low), spring(|r| r.high)),
            (value(|r| r.best), value(|r| r.low), value(|r| r.high)),
            cell.as_ref().err().map_or("", |blank| blank.why.as_str()),
        );
        writer.serialize(record).map_err(Failure::new)?;
    }
    let bytes = writer.into_inner().map_err(|error| Failure::new(error.error()))?;
    String::from_utf8(bytes).map_err(Failure::new)
}

/// One object.
pub(super) fn json(chart: &Chart) -> Result<String, Failure> {
    let key = chart.figure().key();
    let metals: Vec<Value> = chart
        .sheets
        .iter()
        .map(|sheet| {
            let [low, density, high] = sheet.material.density().map(|density| density.g_per_cm3());
            json!({
                "metal": sheet.material.name(),
                "title": sheet.material.metal().map(|metal| metal.title()),
                "uns": sheet.material.metal().and_then(|metal| metal.uns()),
                "temper": temper_of(sheet),
                "density_g_cm3": density,
                "density_g_cm3_low": low,
                "density_g_cm3_high": high,
                "spring_ratio_measured": sheet.material.spring_measured(),
            })
        })
        .collect();
    let object = JsonChart {
        of: key,
        title: chart.title(),
        kerf_mm: chart.cut.kerf.mm().get(),
        gap: chart.cut.gap.unwrap_or(0.0),
        metals,
        cells: JsonCells {
            chart,
            wires: names(chart),
            keys: [key.to_owned(), format!("{key}_low"), format!("{key}_high")],
        },
    };
    serde_json::to_string(&object).map(|text| text + "\n").map_err(Failure::new)
}

#[derive(serde::Serialize)]
struct JsonChart<'a> {
    of: &'a str,
    title: String,
    kerf_mm: f64,
    gap: f64,
    metals: Vec<Value>,
    cells: JsonCells<'a>,
}

/// The cells, written straight out: there may be very many.
struct JsonCells<'a> {
    chart: &'a Chart,
    wires: Vec<String>,
    keys: [String; 3],
}

struct JsonCell<'a> {
    cells: &'a JsonCells<'a>,
    sheet: &'a Sheet,
    column: usize,
    row: usize,
    cell: &'a Cell,
}

impl Serialize for JsonCells<'_> {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_seq(each(self.chart).map(|(sheet, column, row, cell)| JsonCell {
            cells: self,
            sheet,
            column,
            row,
            cell,
        }))
    }
}

impl Serialize for JsonCell<'_> {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let chart = self.cells.chart;
        let [best, low, high] = &self.cells.keys;
        let mut map = serializer.serialize_map(None)?;
        map.serialize_entry("metal", self.sheet.material.name())?;
        map.serialize_entry("wire", &self.cells.wires[self.column])?;
        map.serialize_entry("wire_diameter_mm", &chart.wires[self.column].diameter().mm().get())?;
        map.serialize_entry("mandrel_diameter_mm", &chart.mandrels[self.row].mm().get())?;
        match self.cell {
            Ok(made) => {
                map.serialize_entry("assumed_spring_ratio", &made.spring.best)?;
                map.serialize_entry("assumed_spring_ratio_low", &made.spring.low)?;
                map.serialize_entry("assumed_spring_ratio_high", &made.spring.high)?;
                map.serialize_entry(best, &made.value.best)?;
                map.serialize_entry(low, &made.value.low)?;
                map.serialize_entry(high, &made.value.high)?;
                if let Some(learning) = &made.learning {
                    map.serialize_entry("spring_ratio_measured", &learning.spring_measured())?;
                    for (key, value) in learning.learned_from() {
                        map.serialize_entry(&key, &value)?;
                    }
                    map.serialize_entry("gap", &made.gap)?;
                }
            }
            Err(blank) => {
                map.serialize_entry(best, &None::<f64>)?;
                map.serialize_entry("blank_because", &blank.why)?;
            }
        }
        map.end()
    }
}

fn names(chart: &Chart) -> Vec<String> {
    chart.wires.iter().map(ToString::to_string).collect()
}

fn temper_of(sheet: &Sheet) -> String {
    sheet.material.temper().to_string()
}
