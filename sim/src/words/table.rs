//! Tables and paragraphs for a terminal.

use comfy_table::{CellAlignment, Table, presets};

/// A table without rules: the first column to the left, numbers to the right.
pub(crate) fn table<const N: usize>(rows: impl IntoIterator<Item = [String; N]>) -> String {
    let mut table = Table::new();
    table.load_style(presets::NOTHING);
    for row in rows {
        table.add_row(row);
    }
    for (i, column) in table.column_iter_mut().enumerate() {
        column.set_cell_alignment(if i == 0 { CellAlignment::Left } else { CellAlignment::Right });
    }
    table.trim_fmt() + "\n"
}

/// A paragraph of at most 98 columns.
pub(crate) fn wrapped(text: &str) -> String {
    let (mut out, mut column) = (String::new(), 0);
    for word in text.split_whitespace() {
        let width = word.chars().count();
        if column > 0 && column + 1 + width > 98 {
            out.push('\n');
            column = 0;
        }
        if column > 0 {
            out.push(' ');
            column += 1;
        }
        out.push_str(word);
        column += width;
    }
    out.push('\n');
    out
}
