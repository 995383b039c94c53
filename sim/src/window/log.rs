//! What was wound: batches and their coils, promised against counted.

use eframe::egui::{Align, Grid, Layout, Response, RichText, ScrollArea, Ui};
use egui_plot::{GridMark, Line, Plot, PlotPoints, Points};
use serde::{Deserialize, Serialize};
use turntally_core::screen::fault_words;

use super::look::{Palette, bold, card};
use crate::simulation::run::Coil;
use crate::words::number::{percent, turns};

/// The most coils that are kept: the oldest go first.
const MOST_COILS: usize = 5_000;

/// A coil that came off.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct Entry {
    /// Its number, from one, for as long as the log is kept.
    pub number: u64,
    /// The batch it belongs to, from one.
    pub batch: u64,
    /// The name of its job.
    pub job: String,
    /// Turns it was to have.
    pub target_turns: f64,
    /// Turns that were counted.
    pub counted_turns: f64,
    /// Turns that went round.
    pub true_turns: f64,
    /// It was kept.
    pub kept: bool,
    /// Rings that it promises.
    pub promised: u32,
    /// Rings that were counted once it was sawn.
    pub cut: Option<u32>,
    /// What was wrong, in words.
    pub faults: String,
}

/// Everything that was wound.
#[derive(Debug, Clone, Default, Serialize, Deserialize)]
pub struct Log {
    coils: Vec<Entry>,
    batches: u64,
    /// The batch that coils belong to now.
    #[serde(default)]
    batch: u64,
    numbers: u64,
    #[serde(skip)]
    forgetting: bool,
}

/// A batch in sums.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Sums {
    /// Coils kept.
    pub kept: u32,
    /// Coils thrown away.
    pub scrapped: u32,
    /// Rings promised by those that were kept.
    pub promised: u64,
    /// Of those sawn: rings promised and rings counted.
    pub sawn: (u64, u64),
}

impl Log {
    /// A new batch begins.
    pub const fn begin_batch(&mut self) {
        self.batches += 1;
        self.batch = self.batches;
    }

    /// The batch that coils belong to now.
    #[must_use]
    pub const fn batch(&self) -> u64 {
        self.batch
    }

    /// A batch of before goes on.
    pub const fn go_on_with(&mut self, batch: u64) {
        self.batch = batch;
    }

    /// Takes a coil down and says its number.
    pub fn add(&mut self, job: &str, coil: &Coil) -> u64 {
        let mut faults: Vec<String> =
            coil.record.faults.iter().map(|fault| fault_words(fault).0.to_owned()).collect();
        if coil.record.illegal > 0 {
            faults.push(format!("{} impossible steps", coil.record.illegal));
        }
        self.numbers += 1;
        if self.coils.len() >= MOST_COILS {
            self.coils.remove(0);
        }
        self.coils.push(Entry {
            number: self.numbers,
            batch: self.batch,
            job: job.to_owned(),
            target_turns: coil.record.target_turns.as_f64(),
            counted_turns: coil.record.turns.as_f64(),
            true_turns: coil.true_turns,
            kept: coil.record.kept,
            promised: coil.record.rings,
            cut: None,
            faults: faults.join("; "),
        });
        self.numbers
    }

    /// A coil was sawn.
    pub fn saw(&mut self, number: u64, rings: u32) {
        if let Some(entry) = self.coils.iter_mut().rev().find(|entry| entry.number == number) {
            entry.cut = Some(rings);
        }
    }

    /// Every coil, oldest first.
    #[must_use]
    pub fn coils(&self) -> &[Entry] {
        &self.coils
    }

    /// The sums of a batch.
    #[must_use]
    pub fn sums(&self, batch: u64) -> Sums {
        let mut sums = Sums::default();
        for entry in self.coils.iter().filter(|entry| entry.batch == batch) {
            if entry.kept {
                sums.kept += 1;
                sums.promised += u64::from(entry.promised);
            } else {
                sums.scrapped += 1;
            }
            if let Some(cut) = entry.cut {
                sums.sawn = (sums.sawn.0 + u64::from(entry.promised), sums.sawn.1 + u64::from(cut));
            }
        }
        sums
    }

    /// Shows the log.
    pub fn show(&mut self, ui: &mut Ui, palette: Palette) {
        if self.coils.is_empty() {
            ui.add_space(20.0);
            ui.label("Nothing wound yet: each coil that comes off on the bench is noted here.");
            return;
        }
        card(ui, palette, |ui| {
            ui.label(bold("Yield: rings counted for each ring guaranteed, coil by coil"));
            self.plot(ui, palette);
        });
        card(ui, palette, |ui| {
            ui.label(bold("Batches"));
            self.batches(ui, palette);
        });
        card(ui, palette, |ui| {
            ui.label(bold("Coils, the newest first"));
            self.table(ui, palette);
        });
        self.forget(ui);
    }

    /// What is forgotten does not come back: that wants a second click.
    fn forget(&mut self, ui: &mut Ui) {
        ui.horizontal(|ui| {
            if !self.forgetting {
                self.forgetting = ui.button("Forget the log…").clicked();
                return;
            }
            if ui.button(format!("Forget all {} coils", self.coils.len())).clicked() {
                (self.coils, self.forgetting) = (Vec::new(), false);
            }
            if ui.button("Keep them").clicked() {
                self.forgetting = false;
            }
        });
    }

    fn plot(&self, ui: &mut Ui, palette: Palette) {
        let yields: Vec<[f64; 2]> = self
            .coils
            .iter()
            .filter_map(|entry| {
                let cut = entry.cut.filter(|_| entry.promised > 0)?;
                Some([entry.number as f64, f64::from(cut) / f64::from(entry.promised) * 100.0])
            })
            .collect();
        yield_plot(ui, palette, &yields, "coil", "No coil is sawn yet.");
    }

    fn batches(&self, ui: &mut Ui, palette: Palette) {
        let mut numbers: Vec<u64> = self.coils.iter().map(|entry| entry.batch).collect();
        numbers.dedup();
        Grid::new("batches").striped(true).spacing([16.0, 4.0]).show(ui, |ui| {
            heads(ui, palette, &["batch"]);
            ui.colored_label(palette.faint, "job");
            heads(ui, palette, &["kept", "thrown away", "guaranteed, rings", "counted, rings", "yield"]);
            ui.end_row();
            for batch in numbers.into_iter().rev().take(20) {
                let sums = self.sums(batch);
                let job = self.coils.iter().rev().find(|entry| entry.batch == batch);
                number(ui, batch.to_string());
                ui.label(job.map_or("", |entry| entry.job.as_str()));
                number(ui, sums.kept.to_string());
                number(ui, sums.scrapped.to_string());
                number(ui, sums.promised.to_string());
                number(ui, if sums.sawn.0 == 0 { "not sawn".to_owned() } else { sums.sawn.1.to_string() });
                number(
                    ui,
                    match sums.sawn {
                        (0, _) => String::new(),
                        (promised, cut) => percent(cut as f64 / promised as f64),
                    },
                );
                ui.end_row();
            }
        });
    }

    fn table(&self, ui: &mut Ui, palette: Palette) {
        ScrollArea::horizontal().id_salt("coils").show(ui, |ui| {
            Grid::new("coils").striped(true).spacing([16.0, 3.0]).show(ui, |ui| {
                heads(ui, palette, &["coil", "batch", "target, turns", "counted, turns", "true, turns"]);
                heads(ui, palette, &["guaranteed, rings", "counted, rings"]);
                ui.end_row();
                for entry in self.coils.iter().rev().take(200) {
                    number(ui, entry.number.to_string());
                    number(ui, entry.batch.to_string());
                    number(ui, turns(entry.target_turns));
                    number(ui, turns(entry.counted_turns));
                    number(ui, turns(entry.true_turns));
                    if entry.kept {
                        number(ui, entry.promised.to_string());
                        number(ui, entry.cut.map_or("not sawn".to_owned(), |cut| cut.to_string()));
                    } else {
                        number(ui, RichText::new("thrown away").color(palette.copper));
                        ui.label("");
                    }
                    ui.label(&entry.faults);
                    ui.end_row();
                }
            });
        });
    }
}

/// Yields in percent, each by its place `along`; `none` is shown where there are none.
pub fn yield_plot(ui: &mut Ui, palette: Palette, yields: &[[f64; 2]], along: &str, none: &str) {
    if yields.is_empty() {
        ui.colored_label(palette.faint, none);
        return;
    }
    // Room above the highest.
    let highest = yields.iter().fold(106.0_f64, |highest, at| highest.max(at[1] + 2.0));
    let first = yields.first().map_or(0.0, |at| at[0]);
    let last = yields.last().map_or(1.0, |at| at[0]);
    Plot::new("yield")
        .height(170.0)
        .allow_scroll(false)
        .allow_drag(false)
        .allow_zoom(false)
        .grid_color(palette.rule)
        .show_grid([false, true])
        .x_axis_label(along.to_owned())
        .x_grid_spacer(|input| whole_marks(input.bounds))
        .x_axis_formatter(|mark, _| format!("{:.0}", mark.value))
        .y_axis_label("% of guaranteed")
        .include_y(96.0)
        .include_y(highest)
        .include_x(first - 0.5)
        .include_x(last + 0.5)
        .show(ui, |plot| {
            plot.hline(egui_plot::HLine::new("guaranteed", 100.0).color(palette.faint));
            plot.line(Line::new("yield", PlotPoints::from(yields.to_vec())).color(palette.copper).width(1.0));
            plot.points(
                Points::new("coil", PlotPoints::from(yields.to_vec())).color(palette.copper).radius(3.5),
            );
        });
}

/// Marks at whole numbers: half a coil is none. No more of them than can be read.
fn whole_marks((from, to): (f64, f64)) -> Vec<GridMark> {
    const MOST: f64 = 12.0;
    let every = |step: f64| {
        let first = (from / step).ceil();
        let count = ((to / step).floor() - first).max(0.0) as u32;
        (0..=count)
            .map(move |at| GridMark { value: (first + f64::from(at)) * step, step_size: step })
            .collect()
    };
    let steps = (0..9).flat_map(|power| [1.0, 2.0, 5.0].map(|digit| digit * 10.0_f64.powi(power)));
    steps.into_iter().find(|step| (to - from) / step <= MOST).map_or_else(Vec::new, every)
}

/// Heads of columns of numbers.
pub fn heads(ui: &mut Ui, palette: Palette, heads: &[&str]) {
    for head in heads {
        number(ui, RichText::new(*head).color(palette.faint));
    }
}

/// A cell with a number: one below the other by their ends.
pub fn number(ui: &mut Ui, text: impl Into<RichText>) -> Response {
    ui.with_layout(Layout::right_to_left(Align::Center), |ui| ui.label(text.into())).inner
}

#[cfg(test)]
mod tests {
    use super::*;

    /// One coil has one mark, fourteen have several, thousands have no more than can be read; all at whole coils.
    #[test]
    fn coils_are_marked_at_whole_numbers() {
        let marks = |from: f64, to: f64| {
            whole_marks((from, to)).into_iter().map(|mark| mark.value).collect::<Vec<_>>()
        };
        assert_eq!(marks(0.5, 1.5), [1.0]);
        assert_eq!(marks(0.5, 14.5), [2.0, 4.0, 6.0, 8.0, 10.0, 12.0, 14.0]);
        assert_eq!(marks(0.5, 5_000.5).len(), 10);
    }
}
