//! The log that was fetched from counters: batches and coils, promised against counted.

use std::collections::HashMap;
use std::path::Path;
use std::sync::mpsc::{Receiver, channel};

use eframe::egui::{Grid, Label, RichText, ScrollArea, Ui};
use turntally_core::units::Mm;

use super::log::{heads, number, yield_plot};
use super::look::{Palette, bold, card};
use crate::failure::Failure;
use crate::records::Records;
use crate::records::report::{Coil, Key, Report, Sum, report, utc_words};
use crate::words::number::{fixed, metres, percent, turns};

/// The most coils that are listed.
const MOST_COILS: usize = 200;

/// What was read, and what is worked out of it: once, since there may be years of coils.
#[derive(Debug, Default)]
struct Read {
    report: Report,
    /// Rings counted for those promised, in percent, by how many coils there were by then.
    yields: Vec<[f64; 2]>,
    /// Of each batch of the report: rings promised by those of its coils that were counted.
    promised: Vec<u64>,
}

impl Read {
    fn of(report: Report) -> Self {
        let yields = yields(&report.coils);
        let mut of_batches: HashMap<Key<'_>, u64> = HashMap::new();
        for coil in report.coils.iter().filter(|coil| coil.is_counted()) {
            *of_batches.entry(coil.key()).or_default() += u64::from(coil.rings_promised);
        }
        let promised = |sum: &Sum| of_batches.get(&sum.key()).copied();
        let promised = report.batches.iter().map(|sum| promised(sum).unwrap_or(0)).collect();
        Self { report, yields, promised }
    }
}

/// The log's file as it was last read.
#[derive(Debug, Default)]
pub struct Fetched {
    reading: Option<Receiver<Result<Read, Failure>>>,
    read: Option<Result<Read, Failure>>,
    /// There may be more in the file by now.
    stale: bool,
}

impl Fetched {
    /// The file is to be read anew.
    pub const fn look(&mut self) {
        self.stale = true;
    }

    /// Reads the file on a thread of its own: years of coils take a while.
    fn read(&mut self, ui: &Ui, log: &Path) {
        let (sender, reading) = channel();
        let (ctx, log) = (ui.ctx().clone(), log.to_owned());
        std::thread::spawn(move || {
            let read = if log.exists() {
                Records::open_existing(&log).and_then(|records| report(&records)).map(Read::of)
            } else {
                Ok(Read::default())
            };
            _ = sender.send(read);
            ctx.request_repaint();
        });
        (self.reading, self.stale) = (Some(reading), false);
    }

    /// Shows the log.
    pub fn show(&mut self, ui: &mut Ui, palette: Palette, log: &Path) {
        if self.reading.is_none() && (self.stale || self.read.is_none()) {
            self.read(ui, log);
        }
        if let Some(read) = self.reading.as_ref().and_then(|reading| reading.try_recv().ok()) {
            (self.reading, self.read) = (None, Some(read));
        }
        match &self.read {
            None => {
                ui.label("Reading the log…");
            }
            Some(Err(failure)) => {
                let text = failure.to_string().replace("--log", "Log");
                ui.add(Label::new(RichText::new(text).color(palette.wrong)).wrap());
            }
            Some(Ok(read)) if read.report.coils.is_empty() => {
                ui.add_space(12.0);
                ui.label(
                    "Nothing fetched yet: each coil that comes off at a counter is kept there until then.",
                )
                .on_hover_text(log.display().to_string());
            }
            Some(Ok(read)) => shown(ui, palette, read),
        }
    }
}

fn shown(ui: &mut Ui, palette: Palette, read: &Read) {
    let report = &read.report;
    card(ui, palette, |ui| {
        ui.label(bold("Yield: rings counted for each ring guaranteed, count by count"));
        yield_plot(ui, palette, &read.yields, "coils so far", "No rings are counted yet.");
    });
    card(ui, palette, |ui| {
        ui.label(bold("Batches"));
        ScrollArea::horizontal().id_salt("jobs").show(ui, |ui| batches(ui, palette, read));
        for left in &report.spools {
            ui.label(format!("Left on “{}”: {}", left.spool, left.words));
        }
        if report.entries_unreadable > 0 {
            let unread = report.entries_unreadable;
            ui.label(format!("{unread} entries are by a newer firmware or damaged, and not among these."));
        }
    });
    card(ui, palette, |ui| {
        ui.label(bold("Coils, the newest first"));
        ScrollArea::horizontal().id_salt("fetched").show(ui, |ui| coils(ui, palette, &report.coils));
    });
}

/// Rings counted for those promised by a coil and by those that were counted together with it.
fn yields(coils: &[Coil]) -> Vec<[f64; 2]> {
    let mut together: HashMap<(&str, u32), u64> = HashMap::new();
    for coil in coils {
        if let Some(last) = coil.counted_with {
            *together.entry((&coil.counter, last)).or_default() += u64::from(coil.rings_promised);
        }
    }
    let counted =
        coils.iter().enumerate().filter_map(|(place, coil)| Some((place, coil, coil.rings_counted?)));
    counted
        .filter_map(|(place, coil, rings)| {
            let others = together.get(&(&*coil.counter, coil.number)).copied().unwrap_or(0);
            let promised = others + u64::from(coil.rings_promised);
            (promised > 0).then(|| [(place + 1) as f64, f64::from(rings) / promised as f64 * 100.0])
        })
        .collect()
}

fn batches(ui: &mut Ui, palette: Palette, read: &Read) {
    Grid::new("jobs").striped(true).spacing([16.0, 4.0]).show(ui, |ui| {
        ui.colored_label(palette.faint, "job");
        heads(
            ui,
            palette,
            &["batch", "kept", "thrown away", "guaranteed, rings", "counted, rings", "no good", "yield"],
        );
        heads(ui, palette, &["rings an hour of cranking", "wire", "cost"]);
        ui.end_row();
        for (sum, &promised) in read.report.batches.iter().zip(&read.promised).rev() {
            let counted = sum.coils_counted > 0;
            ui.label(&sum.job);
            number(ui, batch_number(sum.batch));
            number(ui, sum.coils_kept.to_string());
            number(ui, sum.coils_scrapped.to_string());
            number(ui, sum.rings_promised.to_string());
            number(ui, if counted { sum.rings_counted.to_string() } else { "not counted".to_owned() });
            number(ui, if counted { sum.rejects.to_string() } else { String::new() });
            number(
                ui,
                match promised {
                    0 => String::new(),
                    promised => percent(sum.rings_counted as f64 / promised as f64),
                },
            );
            number(ui, sum.rings_per_crank_hour.map_or_else(String::new, |rate| fixed(rate, 0)));
            let grams =
                sum.wire_g.map_or_else(String::new, |grams| format!(", {}", sum.scales.weighed(grams)));
            number(ui, format!("{}{grams}", metres(Mm::new(sum.wire_mm))));
            let cost = sum.cost.zip(sum.currency.as_ref());
            number(
                ui,
                cost.map_or_else(String::new, |(cost, currency)| format!("{} {currency}", fixed(cost, 2))),
            );
            ui.end_row();
        }
    });
}

/// As it is listed; nothing where the batch was set up at the counter.
fn batch_number(batch: u32) -> String {
    if batch == 0 { String::new() } else { batch.to_string() }
}

fn coils(ui: &mut Ui, palette: Palette, coils: &[Coil]) {
    Grid::new("fetched").striped(true).spacing([16.0, 3.0]).show(ui, |ui| {
        heads(ui, palette, &["coil", "batch"]);
        ui.colored_label(palette.faint, "job");
        heads(
            ui,
            palette,
            &["target, turns", "counted, turns", "guaranteed, rings", "counted, rings", "no good"],
        );
        heads(ui, palette, &["at the crank", "left on the spool"]);
        ui.end_row();
        for coil in coils.iter().rev().take(MOST_COILS) {
            let off = coil
                .finished_unix_s
                .map_or_else(|| "an unknown time".to_owned(), |at| utc_words(at) + " UTC");
            number(ui, coil.number.to_string())
                .on_hover_text(format!("off at {off}, counter {}", coil.counter));
            number(ui, batch_number(coil.batch));
            ui.label(&coil.job);
            number(ui, turns(coil.target_turns));
            number(ui, turns(coil.turns));
            if coil.kept {
                number(ui, coil.rings_promised.to_string());
                number(
                    ui,
                    match (coil.counted_with, coil.rings_counted) {
                        (Some(with), _) => format!("with coil {with}"),
                        (None, Some(rings)) => rings.to_string(),
                        (None, None) => "not counted".to_owned(),
                    },
                );
                number(ui, coil.rejects.map_or_else(String::new, |rejects| rejects.to_string()));
            } else {
                number(ui, RichText::new("thrown away").color(palette.copper));
                ui.label("");
                ui.label("");
            }
            number(ui, format!("{} min", fixed(coil.crank_s / 60.0, 1)));
            number(ui, coil.spool_left_mm.map_or_else(String::new, |mm| metres(Mm::new(mm))));
            ui.label(&coil.faults);
            ui.end_row();
        }
    });
}
