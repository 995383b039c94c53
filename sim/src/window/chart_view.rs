//! The chart: one figure over wires and mandrels, as curves and as a table whose cells are jobs.

use eframe::egui::{
    Button, Color32, ComboBox, Grid, Label, RichText, Role, ScrollArea, Sense, Stroke, StrokeKind, TextEdit,
    Ui, Vec2, WidgetInfo, vec2,
};
use egui_plot::{Corner, HoverPosition, Legend, Line, Plot, PlotPoints};
use serde::{Deserialize, Serialize};
use turntally_core::gauge::WireSize;
use turntally_core::units::Length;

use super::files::{Files, Outgoing};
use super::look::{Palette, bold, card, main_button};
use super::ring_sketch;
use super::shelf::Shelf;
use crate::chart::{self, Chart, Format, Made, Of, Per};
use crate::failure::Failure;
use crate::job::Job;
use crate::material::MaterialArgs;
use crate::words;
use crate::words::number::{bare_mm, given, sig};

const CELL: Vec2 = vec2(66.0, 24.0);

/// The most cells that are shown as a table: past that, export it.
const MOST_CELLS: usize = 1_200;

/// What of the chart is remembered.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Asked {
    /// Wires as the command line has them.
    pub wires: String,
    /// Mandrels likewise.
    pub mandrels: String,
    /// What the cells show.
    of: Of,
    /// What rings are counted to.
    per: Per,
    /// As a table, not as curves.
    table: bool,
}

impl Default for Asked {
    fn default() -> Self {
        Self {
            wires: "14awg..20awg".to_owned(),
            mandrels: "3mm..8mm".to_owned(),
            of: Of::Rings,
            per: Per::TroyOunce,
            table: true,
        }
    }
}

const FIGURES: [(Of, Per, &str); 7] = [
    (Of::Rings, Per::TroyOunce, "rings to a troy ounce"),
    (Of::Rings, Per::Ounce, "rings to an ounce avoirdupois"),
    (Of::Rings, Per::HundredGrams, "rings to 100 g"),
    (Of::Ratio, Per::TroyOunce, "aspect ratio"),
    (Of::Mass, Per::TroyOunce, "mass of a ring, mg"),
    (Of::Inner, Per::TroyOunce, "inside diameter, mm"),
    (Of::PerInch, Per::TroyOunce, "turns in an inch"),
];

/// A ring that was chosen in the chart.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Chosen {
    /// Its wire, as a job file has it.
    pub wire: String,
    /// Its mandrel likewise.
    pub mandrel: String,
}

/// The chart as last worked out.
#[derive(Debug, Default)]
pub struct Charted {
    /// What it was worked out for: what was asked, the job's material, and when the log was looked into.
    of: Option<(Asked, String, u64)>,
    chart: Option<Result<Chart, Failure>>,
}

impl Charted {
    /// Shows the chart in the job's metal; returns the cell that was clicked.
    pub fn show(
        &mut self,
        ui: &mut Ui,
        palette: Palette,
        asked: &mut Asked,
        job: &Job,
        files: &mut Files,
        shelf: &Shelf,
    ) -> Option<Chosen> {
        card(ui, palette, |ui| self.controls(ui, palette, asked, job, files, shelf));
        let key = (asked.clone(), material(job), shelf.looked());
        if self.of.as_ref() != Some(&key) {
            self.chart = Some(args(asked, job, Format::Csv, shelf).and_then(|args| Chart::new(&args)));
            self.of = Some(key);
        }
        match &self.chart {
            Some(Ok(chart)) => card(ui, palette, |ui| {
                ui.label(bold(chart.title()));
                if asked.table {
                    table(ui, palette, chart, job)
                } else {
                    // The topmost figure reaches above the plot.
                    ui.add_space(4.0);
                    curves(ui, palette, asked.of, chart);
                    None
                }
            }),
            Some(Err(failure)) => card(ui, palette, |ui| {
                ui.add(Label::new(RichText::new(failure.to_string()).color(palette.wrong)).wrap());
                None
            }),
            None => None,
        }
    }

    fn controls(
        &self,
        ui: &mut Ui,
        palette: Palette,
        asked: &mut Asked,
        job: &Job,
        files: &mut Files,
        shelf: &Shelf,
    ) {
        ui.horizontal_wrapped(|ui| {
            ui.label(format!("{}, {}", job.metal_name, job.temper));
            ui.separator();
            let label = ui.label("Wires");
            ui.add(TextEdit::singleline(&mut asked.wires).desired_width(120.0)).labelled_by(label.id);
            let label = ui.label("Mandrels");
            ui.add(TextEdit::singleline(&mut asked.mandrels).desired_width(120.0)).labelled_by(label.id);
            let label = ui.label("Show");
            let named = |of, per| {
                FIGURES.iter().find(|figure| (figure.0, figure.1) == (of, per)).map_or("", |figure| figure.2)
            };
            ComboBox::from_id_salt("figure")
                .selected_text(named(asked.of, asked.per))
                .width(190.0)
                .show_ui(ui, |ui| {
                    for (of, per, name) in FIGURES {
                        if ui.selectable_label((asked.of, asked.per) == (of, per), name).clicked() {
                            (asked.of, asked.per) = (of, per);
                        }
                    }
                })
                .response
                .labelled_by(label.id);
            ui.selectable_value(&mut asked.table, true, "Table");
            ui.selectable_value(&mut asked.table, false, "Curves");
        });
        ui.horizontal_wrapped(|ui| {
            ui.label("Export");
            for (name, format, file) in [
                ("Chart as a page…", Format::Html, "chart.html"),
                ("Chart as CSV…", Format::Csv, "chart.csv"),
                ("Chart as SVG…", Format::Svg, "chart.svg"),
                ("Chart as JSON…", Format::Json, "chart.json"),
            ] {
                // To hang up at the bench is what a chart is for.
                let main = format == Format::Html;
                let button = if main { main_button(palette, name) } else { Button::new(name) };
                if ui.add(button).clicked() {
                    match args(asked, job, format, shelf).and_then(|args| chart::render(&args)) {
                        Ok(text) => files.save(Outgoing { name: file.to_owned(), text }),
                        Err(failure) => files.say(Err(failure)),
                    }
                }
            }
        });
        // A job file is opened in the planner only.
        _ = files.show(ui, palette);
    }
}

/// Whatever of the job a cell depends on.
fn material(job: &Job) -> String {
    let winding = &job.winding;
    let spool = job.spool.as_ref().map(|spool| &spool.name);
    format!(
        "{} {} {:?} {} {} {spool:?}",
        job.metal_name,
        job.temper,
        job.density,
        winding.kerf(),
        winding.gap()
    )
}

fn args(asked: &Asked, job: &Job, format: Format, shelf: &Shelf) -> Result<chart::Args, Failure> {
    // What was measured is looked up by the chart itself, cell by cell.
    let learned = job.learning.as_ref().map(|learning| learning.learned).unwrap_or_default();
    let wrong = |field: &str, text: &str, why: String| Failure::value(field, text, why);
    Ok(chart::Args {
        metal: vec![job.metal_name.clone()],
        wires: asked.wires.parse().map_err(|why| wrong("Wires", &asked.wires, why))?,
        wire_step: Length::from_um(100),
        mandrels: asked.mandrels.parse().map_err(|why| wrong("Mandrels", &asked.mandrels, why))?,
        step: Length::from_um(500),
        of: asked.of,
        per: (asked.of == Of::Rings).then_some(asked.per),
        material: MaterialArgs {
            temper: job.temper,
            coating: job.coating,
            spring_ratio: (job.spring_measured && learned.spring.is_none()).then(|| job.winding.spring()),
            kerf: job.winding.kerf(),
            gap: (job.winding.gap() > 0.0 && learned.gap.is_none()).then(|| job.winding.gap()),
            density: job.metal.is_none().then_some(job.metal_density),
        },
        known: shelf.known_args(),
        spool: job.spool.as_ref().map(|spool| spool.name.clone()).filter(|_| shelf.is_read()),
        format,
        out: None,
    })
}

/// The table; returns the cell that was clicked.
fn table(ui: &mut Ui, palette: Palette, chart: &Chart, job: &Job) -> Option<Chosen> {
    if chart.wires.len() * chart.mandrels.len() > MOST_CELLS {
        ui.label(format!("More than {MOST_CELLS} cells: take a shorter range, or export it."));
        return None;
    }
    let mut chosen = None;
    ui.colored_label(
        palette.faint,
        "Click a cell to make it the job; the cell with the heavy edge is the job.",
    );
    // As wide as the card has room for.
    let columns = chart.wires.len() as f32;
    let wide = (ui.available_width() - 70.0) / columns.max(1.0) - 3.0;
    let high =
        (ui.clip_rect().bottom() - ui.cursor().top() - 90.0) / (chart.mandrels.len() as f32 + 1.0) - 3.0;
    let cell_size = vec2(wide.clamp(CELL.x, 2.2 * CELL.x), high.clamp(CELL.y, 1.7 * CELL.y));
    ScrollArea::horizontal().id_salt("chart").show(ui, |ui| {
        Grid::new("chart").spacing([3.0, 3.0]).show(ui, |ui| {
            ui.colored_label(palette.faint, "mandrel");
            for wire in &chart.wires {
                ui.add_sized(cell_size, Label::new(bold(words::wire_short(*wire))));
            }
            ui.end_row();
            for (mandrel, cells) in chart.mandrels.iter().zip(chart.cells()) {
                ui.label(bold(given(*mandrel)));
                for (wire, cell) in chart.wires.iter().zip(cells) {
                    match cell {
                        Ok(made) => {
                            let (r, g, b) = Chart::shade(made);
                            let text =
                                RichText::new(chart.shown(made)).color(Color32::from_rgb(0x22, 0x22, 0x22));
                            // The job's own cell has a heavy edge.
                            let own =
                                wire.diameter() == job.size.diameter() && *mandrel == job.winding.mandrel();
                            let stroke = if own {
                                Stroke::new(2.5, Color32::from_rgb(0x22, 0x22, 0x22))
                            } else {
                                Stroke::NONE
                            };
                            let button = Button::new(text)
                                .fill(Color32::from_rgb(r, g, b))
                                .stroke(stroke)
                                .min_size(cell_size);
                            let response = ui.add(button).on_hover_ui(|ui| {
                                about(ui, palette, job, (*wire, *mandrel), made);
                            });
                            if own {
                                response.widget_info(|| {
                                    let name = format!("{}, the job in the planner", chart.shown(made));
                                    WidgetInfo::labeled(Role::Button, true, name)
                                });
                            }
                            if response.clicked() {
                                chosen = Some(Chosen {
                                    wire: wire.to_string().to_lowercase().replace(' ', ""),
                                    mandrel: mandrel.to_string().replace(' ', ""),
                                });
                            }
                        }
                        Err(blank) => {
                            let none =
                                ui.add_sized(cell_size, Label::new(RichText::new("–").color(palette.faint)));
                            none.on_hover_text(&blank.why);
                        }
                    }
                }
                ui.end_row();
            }
        });
    });
    key(ui, palette, chart);
    chosen
}

/// What a cell does not say: the ring to scale, its inside diameter, ratio and mass.
fn about(ui: &mut Ui, palette: Palette, job: &Job, (wire, mandrel): (WireSize, Length), made: &Made) {
    ui.label(bold(format!("{} on {}", words::wire(wire), given(mandrel))));
    ui.horizontal(|ui| {
        ring_sketch::show(ui, palette, &job.metal_name, made.inner, wire.diameter().mm().get());
        Grid::new("about").num_columns(2).show(ui, |ui| {
            for (name, value) in [
                ("inside, closed", format!("{} mm", bare_mm(made.inner))),
                ("aspect ratio", sig(made.ratio, 3)),
                ("mass of a ring", format!("{} g", sig(made.mass / 1e3, 3))),
            ] {
                ui.colored_label(palette.faint, name);
                ui.label(value);
                ui.end_row();
            }
        });
    });
}

/// What the shades say.
fn key(ui: &mut Ui, palette: Palette, chart: &Chart) {
    ui.horizontal_wrapped(|ui| {
        ui.colored_label(palette.faint, "Shade, by aspect ratio:");
        for ((r, g, b), ratios) in chart.bands() {
            // Together, wherever the line ends.
            ui.horizontal(|ui| {
                ui.spacing_mut().item_spacing.x = 4.0;
                let (rect, _) = ui.allocate_exact_size(vec2(14.0, 14.0), Sense::hover());
                let edge = Stroke::new(1.0, palette.rule);
                ui.painter().rect(rect, 3.0, Color32::from_rgb(r, g, b), edge, StrokeKind::Inside);
                ui.label(ratios);
            });
        }
    });
}

/// A curve to each wire; the figure under the pointer.
fn curves(ui: &mut Ui, palette: Palette, of: Of, chart: &Chart) {
    let dark = ui.visuals().dark_mode;
    // Where no curve goes: rings to a weight get fewer with the mandrel, all else grows or stays.
    let corner = if of == Of::Rings { Corner::RightTop } else { Corner::LeftTop };
    Plot::new("curves")
        .height((ui.clip_rect().bottom() - ui.cursor().top() - 24.0).clamp(260.0, 900.0))
        .allow_scroll(false)
        .grid_color(palette.rule)
        .x_axis_label("mandrel, mm")
        .legend(Legend::default().position(corner))
        .label_formatter(|hover: &HoverPosition<'_>| match hover {
            HoverPosition::NearDataPoint { plot_name, position, .. } => {
                Some(format!("{plot_name} on {} mm: {}", bare_mm(position.x), sig(position.y, 4)))
            }
            HoverPosition::Elsewhere { .. } => None,
        })
        .show(ui, |plot| {
            for (column, wire) in chart.wires.iter().enumerate() {
                let points: Vec<[f64; 2]> = chart
                    .mandrels
                    .iter()
                    .zip(chart.cells())
                    .filter_map(|(mandrel, row)| {
                        let made = row.get(column)?.as_ref().ok()?;
                        Some([mandrel.mm().get(), made.value.best])
                    })
                    .collect();
                let share = column as f32 / (chart.wires.len().max(2) - 1) as f32;
                let colour = curve_colour(share, dark);
                plot.line(Line::new(words::wire(*wire), PlotPoints::from(points)).color(colour).width(2.0));
            }
        });
}

/// From copper to verdigris.
fn curve_colour(share: f32, dark: bool) -> Color32 {
    let (from, to) = if dark { ([226, 150, 98], [96, 190, 200]) } else { ([168, 85, 34], [16, 92, 128]) };
    let mix = |at: usize| (from[at] as f32 + (to[at] - from[at]) as f32 * share) as u8;
    Color32::from_rgb(mix(0), mix(1), mix(2))
}
