//! Charts as text, CSV and JSON.

use comfy_table::{CellAlignment, Table, presets};
use serde_json::{Map, Value, json};

use super::{Cell, Chart, Sheet, letter, mandrel_head};
use crate::failure::Failure;
use crate::size::wrapped;

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
    let mut writer = csv::Writer::from_writer(Vec::new());
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
    for (sheet, column, row, cell) in each(chart) {
        let mut record = vec![
            sheet.material.name().to_owned(),
            sheet.material.temper().to_string(),
            sheet.material.density()[1].g_per_cm3().to_string(),
            chart.wires[column].to_string(),
            chart.wires[column].diameter().mm().get().to_string(),
            chart.mandrels[row].mm().get().to_string(),
            chart.cut.kerf.mm().get().to_string(),
            chart.cut.gap.to_string(),
        ];
        match cell {
            Ok(made) => {
                let (spring, value) = (made.spring, made.value);
                record.extend(
                    [spring.best, spring.low, spring.high, value.best, value.low, value.high]
                        .map(|number| number.to_string()),
                );
                record.push(String::new());
            }
            Err(blank) => {
                record.extend(std::iter::repeat_n(String::new(), 6));
                record.push(blank.why.clone());
            }
        }
        writer.write_record(record).map_err(Failure::new)?;
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
                "temper": sheet.material.temper().to_string(),
                "density_g_cm3": density,
                "density_g_cm3_low": low,
                "density_g_cm3_high": high,
                "spring_ratio_measured": sheet.material.spring_measured(),
            })
        })
        .collect();
    let cells: Vec<Value> = each(chart)
        .map(|(sheet, column, row, cell)| {
            let mut object = Map::new();
            let mut put = |key: &str, value: Value| _ = object.insert(key.to_owned(), value);
            put("metal", json!(sheet.material.name()));
            put("wire", json!(chart.wires[column].to_string()));
            put("wire_diameter_mm", json!(chart.wires[column].diameter().mm().get()));
            put("mandrel_diameter_mm", json!(chart.mandrels[row].mm().get()));
            match cell {
                Ok(made) => {
                    put("assumed_spring_ratio", json!(made.spring.best));
                    put("assumed_spring_ratio_low", json!(made.spring.low));
                    put("assumed_spring_ratio_high", json!(made.spring.high));
                    put(key, json!(made.value.best));
                    put(&format!("{key}_low"), json!(made.value.low));
                    put(&format!("{key}_high"), json!(made.value.high));
                }
                Err(blank) => {
                    put(key, Value::Null);
                    put("blank_because", json!(blank.why));
                }
            }
            Value::Object(object)
        })
        .collect();
    let chart = json!({
        "of": key,
        "title": chart.title(),
        "kerf_mm": chart.cut.kerf.mm().get(),
        "gap": chart.cut.gap,
        "metals": metals,
        "cells": cells,
    });
    serde_json::to_string(&chart).map(|text| text + "\n").map_err(Failure::new)
}
