//! Charts as a picture to hang on the wall: a lying sheet to a metal, one below the other.
//!
//! The cells hold the figures; their shade and the heavy steps between them are the bands of aspect
//! ratio, so the rings of one proportion can be followed across wires and mandrels, in grey print too.

use plotters::coord::Shift;
use plotters::prelude::*;
use plotters::style::text_anchor::{HPos, Pos, VPos};

use super::{BANDS, Chart, SHADES, Sheet, band, band_label, letter, mandrel_head};
use crate::failure::Failure;

/// A sheet: A3 lying, 3.81 units to a millimetre; the proportions of A4.
const WIDTH: i32 = 1600;
const HEIGHT: i32 = 1131;
const MARGIN: i32 = 48;
/// Where the grid stands.
const LEFT: i32 = MARGIN + 172;
const TOP: i32 = 222;

const INK: RGBColor = RGBColor(0x1c, 0x1a, 0x17);
const SOFT: RGBColor = RGBColor(0x56, 0x50, 0x4a);
const FAINT: RGBColor = RGBColor(0x8a, 0x83, 0x7a);

/// A digit's width over the font's size, for a usual sans-serif.
const DIGIT: f64 = 0.56;
/// The mean width of bold text over the font's size.
const BOLD: f64 = 0.58;

type Area<'a> = DrawingArea<SVGBackend<'a>, Shift>;

/// The whole picture.
pub(super) fn picture(chart: &Chart) -> Result<String, Failure> {
    let (drawn, left_out) = chart.drawn();
    let sheets = u32::try_from(drawn.len()).unwrap_or(u32::MAX);
    // About as much as plotters writes for a cell, so that the text is not moved as it grows.
    let mut svg = String::with_capacity(drawn.iter().map(|sheet| sheet.cells.len() * 200 + 20_000).sum());
    {
        let size = (WIDTH.unsigned_abs(), HEIGHT.unsigned_abs().saturating_mul(sheets));
        let root = SVGBackend::with_string(&mut svg, size).into_drawing_area();
        root.fill(&WHITE).map_err(failed)?;
        for (i, sheet) in drawn.into_iter().enumerate() {
            let y = i32::try_from(i).unwrap_or(0) * HEIGHT;
            Page { area: &root, y, chart, sheet, left_out: &left_out }.draw().map_err(failed)?;
        }
        root.present().map_err(failed)?;
    }
    Ok(svg)
}

fn failed(error: impl std::fmt::Display) -> Failure {
    Failure::new(format_args!("cannot draw the chart: {error}"))
}

type Drawn<'a> = Result<(), DrawingAreaErrorKind<<SVGBackend<'a> as DrawingBackend>::ErrorType>>;

struct Page<'a, 'b> {
    area: &'a Area<'b>,
    /// The top of the page in the picture.
    y: i32,
    chart: &'a Chart,
    sheet: &'a Sheet,
    left_out: &'a [&'a str],
}

/// How a text is set.
#[derive(Clone, Copy)]
struct Type {
    size: f64,
    bold: bool,
    colour: RGBColor,
    anchor: HPos,
}

const fn set(size: f64, colour: RGBColor, anchor: HPos) -> Type {
    Type { size, bold: false, colour, anchor }
}

impl Type {
    const fn bold(self) -> Self {
        Self { bold: true, ..self }
    }
}

impl<'b> Page<'_, 'b> {
    fn text(&self, text: &str, (x, y): (i32, i32), style: Type) -> Drawn<'b> {
        let weight = if style.bold { FontStyle::Bold } else { FontStyle::Normal };
        // plotters divides sizes by 1.24 on their way to an SVG.
        let font = FontDesc::new(FontFamily::SansSerif, style.size * 1.24, weight);
        let style = TextStyle::from(font).color(&style.colour).pos(Pos::new(style.anchor, VPos::Center));
        self.area.draw(&Text::new(text.to_owned(), (x, self.y + y), style))
    }

    fn fill(&self, from: (i32, i32), to: (i32, i32), colour: RGBColor) -> Drawn<'b> {
        let corners = [(from.0, self.y + from.1), (to.0, self.y + to.1)];
        self.area.draw(&Rectangle::new(corners, colour.filled()))
    }

    fn line(&self, from: (i32, i32), to: (i32, i32), colour: RGBColor, width: u32) -> Drawn<'b> {
        let ends = [(from.0, self.y + from.1), (to.0, self.y + to.1)];
        self.area.draw(&PathElement::new(ends, colour.stroke_width(width)))
    }

    fn draw(&self) -> Drawn<'b> {
        let notes = self.notes();
        let notes_height = i32::try_from(notes.len()).unwrap_or(0) * 23;
        self.heading()?;
        let grid = self.grid(HEIGHT - MARGIN - notes_height - 76);
        let notes_top = grid.y(grid.rows) + 66;
        self.heads(&grid)?;
        self.cells(&grid)?;
        self.key(grid.y(grid.rows) + 36)?;
        let foot = HEIGHT - MARGIN / 2;
        self.text(super::MADE_BY, (WIDTH - MARGIN, foot), set(14.0, FAINT, HPos::Right))?;
        for (line, text) in (0..).zip(&notes) {
            // Longer than the sheet is wide: set smaller.
            let size = fitting(text, 0.5, WIDTH - 2 * MARGIN, 17.0);
            self.text(text, (MARGIN, notes_top + line * 23 + 10), set(size, SOFT, HPos::Left))?;
        }
        Ok(())
    }

    fn heading(&self) -> Drawn<'b> {
        let wide = WIDTH - 2 * MARGIN;
        let title = self.chart.title();
        let size = fitting(&title, BOLD, wide, 44.0);
        self.text(&title, (MARGIN, 70), set(size, INK, HPos::Left).bold())?;
        let about = Chart::about(self.sheet);
        self.text(&about, (MARGIN, 116), set(fitting(&about, BOLD, wide, 28.0), SOFT, HPos::Left))
    }

    fn notes(&self) -> Vec<String> {
        let blanks = self.chart.legend(self.sheet);
        let blanks = blanks.into_iter().map(|(letter, reason)| format!("Blank, {letter}: {reason}."));
        let mut notes: Vec<String> = blanks.chain(self.chart.assumptions(self.sheet)).collect();
        if !self.left_out.is_empty() {
            notes.push(format!("Left out, with no ring that can be made: {}.", self.left_out.join(", ")));
        }
        notes
    }

    fn grid(&self, bottom: i32) -> Grid {
        let columns = i32::try_from(self.chart.wires.len()).unwrap_or(1).max(1);
        let rows = i32::try_from(self.chart.mandrels.len()).unwrap_or(1).max(1);
        // A small table is not blown up past what is good to read.
        Grid {
            column: ((WIDTH - MARGIN - LEFT) / columns).min(220),
            row: ((bottom - TOP) / rows).min(90),
            columns,
            rows,
        }
    }

    fn heads(&self, grid: &Grid) -> Drawn<'b> {
        let heads: Vec<[String; 2]> =
            self.chart.wires.iter().map(|wire| self.chart.wire_head(*wire)).collect();
        let size = |line: usize, most: f64| {
            heads.iter().map(|head| fitting(&head[line], 0.62, grid.column - 6, most)).fold(most, f64::min)
        };
        let (first, second) = (size(0, 27.0), size(1, 19.0));
        self.text(&self.chart.wires_title(), (LEFT, TOP - 72), set(19.0, SOFT, HPos::Left))?;
        self.text("mandrel", (LEFT - 14, TOP - 18), set(19.0, SOFT, HPos::Right))?;
        for (column, head) in (0..).zip(&heads) {
            let x = grid.x(column) + grid.column / 2;
            self.text(&head[0], (x, TOP - 42), set(first, INK, HPos::Center).bold())?;
            self.text(&head[1], (x, TOP - 16), set(second, SOFT, HPos::Center))?;
        }
        let most = (f64::from(grid.row) * 0.72).min(25.0);
        for (row, mandrel) in (0..).zip(&self.chart.mandrels) {
            let [mm, inches] = mandrel_head(*mandrel);
            let y = grid.y(row) + grid.row / 2;
            let size = fitting(&mm, BOLD, 88, most);
            self.text(&mm, (LEFT - 14, y), set(size, INK, HPos::Right).bold())?;
            self.text(&inches, (MARGIN, y), set((size * 0.72).min(17.0).floor(), SOFT, HPos::Left))?;
        }
        Ok(())
    }

    fn cells(&self, grid: &Grid) -> Drawn<'b> {
        let rows = || (0..).zip(self.sheet.cells.chunks(self.chart.wires.len()));
        let shade = |cell: &super::Cell| cell.as_ref().ok().map(|made| band(made.ratio));
        for (row, cells) in rows() {
            // One rectangle to a run of one band.
            let mut from = 0;
            for run in cells.chunk_by(|a, b| shade(a) == shade(b)) {
                let to = from + i32::try_from(run.len()).unwrap_or(0);
                if let Some((r, g, b)) = run.first().and_then(shade).and_then(|band| SHADES.get(band)) {
                    self.fill(
                        (grid.x(from), grid.y(row)),
                        (grid.x(to), grid.y(row + 1)),
                        RGBColor(*r, *g, *b),
                    )?;
                }
                from = to;
            }
        }
        for column in 0..=grid.columns {
            self.line((grid.x(column), TOP), (grid.x(column), grid.y(grid.rows)), WHITE, 1)?;
        }
        for row in 0..=grid.rows {
            self.line((LEFT, grid.y(row)), (grid.x(grid.columns), grid.y(row)), WHITE, 1)?;
        }
        // Every fifth mandrel is ruled, to lead the eye.
        for row in (5..grid.rows).step_by(5) {
            self.line((MARGIN, grid.y(row)), (grid.x(grid.columns), grid.y(row)), FAINT, 1)?;
        }
        self.steps(grid)?;
        self.line((LEFT, TOP), (grid.x(grid.columns), TOP), INK, 3)?;
        self.line((LEFT, TOP), (LEFT, grid.y(grid.rows)), INK, 3)?;
        let shown: Vec<Vec<String>> = rows()
            .map(|(_, cells)| {
                cells
                    .iter()
                    .map(|cell| cell.as_ref().map_or_else(|_| String::new(), |made| self.chart.shown(made)))
                    .collect()
            })
            .collect();
        let longest = shown.iter().flatten().max_by_key(|text| text.len());
        let most = (f64::from(grid.row) * 0.74).min(38.0);
        let size = longest.map_or(most, |text| fitting(text, DIGIT, grid.column - 6, most));
        for ((row, cells), texts) in rows().zip(&shown) {
            for ((column, cell), text) in (0..).zip(cells).zip(texts) {
                let at = (grid.x(column) + grid.column / 2, grid.y(row) + grid.row / 2);
                match cell {
                    Ok(_) => self.text(text, at, set(size, INK, HPos::Center))?,
                    Err(blank) => {
                        let letter = letter(blank.reason).to_string();
                        self.text(&letter, at, set((size * 0.7).floor(), FAINT, HPos::Center))?;
                    }
                }
            }
        }
        Ok(())
    }

    /// The heavy steps between bands, each straight run in one line.
    fn steps(&self, grid: &Grid) -> Drawn<'b> {
        let shade = |column: i32, row: i32| {
            let at = usize::try_from(row * grid.columns + column).ok()?;
            self.sheet.cells.get(at)?.as_ref().ok().map(|made| band(made.ratio))
        };
        let differ = |a: (i32, i32), b: (i32, i32)| matches!((shade(a.0, a.1), shade(b.0, b.1)), (Some(a), Some(b)) if a != b);
        for column in 1..grid.columns {
            for (from, to) in runs(grid.rows, |row| differ((column - 1, row), (column, row))) {
                let x = grid.x(column);
                self.line((x, grid.y(from)), (x, grid.y(to)), SOFT, 2)?;
            }
        }
        for row in 1..grid.rows {
            for (from, to) in runs(grid.columns, |column| differ((column, row - 1), (column, row))) {
                let y = grid.y(row);
                self.line((grid.x(from), y), (grid.x(to), y), SOFT, 2)?;
            }
        }
        Ok(())
    }

    fn key(&self, y: i32) -> Drawn<'b> {
        let label = "Shade: aspect ratio (inside / wire diameter)";
        self.text(label, (MARGIN, y), set(19.0, INK, HPos::Left))?;
        let mut x = MARGIN + 412;
        for (i, (r, g, b)) in SHADES.iter().enumerate().take(BANDS.len() + 1) {
            if !self.sheet.cells.iter().flatten().any(|made| band(made.ratio) == i) {
                continue;
            }
            self.fill((x, y - 13), (x + 38, y + 13), FAINT)?;
            self.fill((x + 1, y - 12), (x + 37, y + 12), RGBColor(*r, *g, *b))?;
            self.text(&band_label(i), (x + 46, y), set(19.0, INK, HPos::Left))?;
            x += 46 + 16 + i32::try_from(band_label(i).len()).unwrap_or(0) * 9;
        }
        Ok(())
    }
}

/// Where the cells lie on a page.
struct Grid {
    column: i32,
    row: i32,
    columns: i32,
    rows: i32,
}

impl Grid {
    const fn x(&self, column: i32) -> i32 {
        LEFT + column * self.column
    }

    const fn y(&self, row: i32) -> i32 {
        TOP + row * self.row
    }
}

/// The runs of numbers below `end` for which `holds`: first, and one past the last.
fn runs(end: i32, holds: impl Fn(i32) -> bool) -> Vec<(i32, i32)> {
    let (mut runs, mut from) = (Vec::new(), None);
    for i in 0..=end {
        match (i < end && holds(i), from) {
            (true, None) => from = Some(i),
            (false, Some(start)) => {
                runs.push((start, i));
                from = None;
            }
            _ => {}
        }
    }
    runs
}

/// The largest size, up to `most`, in which `text` is no wider than `width`.
fn fitting(text: &str, character: f64, width: i32, most: f64) -> f64 {
    let characters = text.chars().count().max(1) as f64;
    let size = (f64::from(width) / (characters * character)).min(most);
    // In halves, so that the file is not full of idle decimals.
    (size * 2.0).floor() / 2.0
}
