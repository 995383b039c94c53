//! Tables and paragraphs for a terminal.

use comfy_table::{CellAlignment, Table, presets};

/// A table without rules: the first column to the left, numbers to the right.
pub(crate) fn table<const N: usize>(rows: impl IntoIterator<Item = [String; N]>) -> String {
    aligned(rows, CellAlignment::Left)
}

/// A table without rules of numbers only, all to the right.
pub(crate) fn numbers<const N: usize>(rows: impl IntoIterator<Item = [String; N]>) -> String {
    aligned(rows, CellAlignment::Right)
}

fn aligned<const N: usize>(rows: impl IntoIterator<Item = [String; N]>, first: CellAlignment) -> String {
    let mut table = Table::new();
    table.load_style(presets::NOTHING);
    for row in rows {
        table.add_row(row);
    }
    for (i, column) in table.column_iter_mut().enumerate() {
        column.set_cell_alignment(if i == 0 { first } else { CellAlignment::Right });
        if i == 0 {
            // No rule stands before it.
            column.set_padding((0, 1));
        }
    }
    table.trim_fmt() + "\n"
}

/// A paragraph of at most 98 columns.
pub(crate) fn wrapped(text: &str) -> String {
    folded(98, "", "", text)
}

/// Words that stay on the line of the number before them.
const UNITS: [&str; 10] = ["%", "mm", "in", "m", "g", "kg", "oz", "lb", "ozt", "h"];
/// Holds a number and its unit together while a line is folded (a no-break space).
const NO_BREAK: char = '\u{a0}';

/// A paragraph of at most `width` columns, its first line behind `first` and the others behind `rest`; a number keeps
/// its unit.
pub(crate) fn folded(width: usize, first: &str, rest: &str, text: &str) -> String {
    let mut held = String::with_capacity(text.len());
    for word in text.split_whitespace() {
        if !held.is_empty() {
            let unit = UNITS.contains(&word.trim_matches([',', '.', ';', ')']));
            held.push(if unit { NO_BREAK } else { ' ' });
        }
        held.push_str(word);
    }
    let options = textwrap::Options::new(width)
        .initial_indent(first)
        .subsequent_indent(rest)
        .break_words(false)
        .word_separator(textwrap::WordSeparator::AsciiSpace)
        .word_splitter(textwrap::WordSplitter::NoHyphenation)
        .wrap_algorithm(textwrap::WrapAlgorithm::FirstFit);
    textwrap::fill(&held, options).replace(NO_BREAK, " ") + "\n"
}
