//! The job as a form: every field as a job file has it, with its unit, checked as it is typed.

use std::collections::BTreeMap;

use eframe::egui::{CollapsingHeader, ComboBox, Label, RichText, ScrollArea, TextEdit, Ui};
use serde::{Deserialize, Serialize};
use turntally_core::metal::Metal;

use super::look::{Palette, bold};
use super::mandrel::swatch;
use super::shelf::Shelf;
use crate::failure::Failure;
use crate::job::Job;
use crate::lookup::Lookup;

/// How a field is written in the file, and chosen on the screen.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Kind {
    /// In quotes.
    Text,
    /// Bare.
    Number,
    /// A metal: in quotes, from the list or not.
    Metal,
    /// A spool: in quotes, one of those that the log's file has.
    Spool,
    /// One of these.
    OneOf(&'static [&'static str]),
}

/// A field of the form.
#[derive(Debug, Clone, Copy)]
struct Field {
    /// Its table and key in the job file.
    key: &'static str,
    /// What it is called.
    label: &'static str,
    /// Its unit, or how it is written with one.
    unit: &'static str,
    kind: Kind,
}

const fn field(key: &'static str, label: &'static str, unit: &'static str, kind: Kind) -> Field {
    Field { key, label, unit, kind }
}

/// Every field, in the order of the form; an empty one is left out of the file.
const FIELDS: [Field; 35] = [
    field("job.name", "Name", "", Kind::Text),
    field("job.rings", "Rings wanted", "rings", Kind::Number),
    field("job.wire", "Wire to use up", "12m or 2.5ozt, 100g", Kind::Text),
    field("job.spare_percent", "To spare", "%", Kind::Number),
    field("wire.metal", "Metal", "", Kind::Metal),
    field("wire.temper", "Temper", "", Kind::OneOf(&["soft", "half-hard", "hard", "spring"])),
    field("wire.size", "Wire size", "1.2mm, 16awg, 18swg, 0.051in", Kind::Text),
    field("wire.coating", "Coating", "0.02mm, on one side", Kind::Text),
    field("wire.density_g_cm3", "Density", "g/cm³, if not the list's", Kind::Number),
    field("wire.spring_ratio", "Spring ratio", "released / wound, if measured", Kind::Number),
    field("wire.spool", "Spool", "", Kind::Spool),
    field("wire.price_per_kg", "Price", "for a kilogram", Kind::Number),
    field("wire.price_per_ozt", "Price, ounce", "for a troy ounce", Kind::Number),
    field("wire.price_per_lb", "Price, pound", "for a pound", Kind::Number),
    field("wire.price_per_m", "Price, metre", "for a metre", Kind::Number),
    field("wire.price_per_ft", "Price, foot", "for a foot", Kind::Number),
    field("wire.price_date", "Price of", "2026-03-14", Kind::Text),
    field("wire.currency", "Currency", "", Kind::Text),
    field("mandrel.diameter", "Mandrel", "4.5mm, 0.2in", Kind::Text),
    field("winder.encoder_on", "Encoder on", "", Kind::OneOf(&["crank", "mandrel"])),
    field("winder.gear", "Gear", "mandrel : crank turns, 48:16", Kind::Text),
    field("winder.pulses_per_rev", "Encoder", "pulses in a revolution", Kind::Number),
    field("cutter.coil_max", "Longest coil", "70mm, the cradle's length", Kind::Text),
    field("cutter.kerf", "Kerf", "0.4mm, measured", Kind::Text),
    field("cutter.blade", "Blade", "0.35mm, nominal", Kind::Text),
    field("cutter.slot", "Slot", "1.2mm, guides the blade", Kind::Text),
    field("coil.gap", "Gap", "pitch / wire diameter − 1", Kind::Number),
    field("coil.tail_turns", "Lead-in", "turns, cut off", Kind::Number),
    field("money.labour_per_hour", "Labour", "for an hour", Kind::Number),
    field("money.blade_per_ring", "Blade", "for a ring", Kind::Number),
    field("money.lubricant_per_ring", "Lubricant", "for a ring", Kind::Number),
    field("money.finishing_per_ring", "Finishing", "for a ring", Kind::Number),
    field("money.scrap_credit_percent", "Scrap credit", "% of the wire's price", Kind::Number),
    field("money.markup_percent", "Markup", "% of the cost", Kind::Number),
    field("money.margin_percent", "Margin", "% of the price", Kind::Number),
];

/// Fields that depend on each other.
const METAL: &str = "wire.metal";
const PRICE: &str = "wire.price_per_kg";
const PRICE_DATE: &str = "wire.price_date";
/// The units that a file may have the price in; an empty form asks for the first.
const PRICES: [&str; 5] =
    [PRICE, "wire.price_per_ozt", "wire.price_per_lb", "wire.price_per_m", "wire.price_per_ft"];

/// The groups of the form, by the table of the file.
const GROUPS: [(&str, &str); 7] = [
    ("job", "Batch"),
    ("wire", "Wire"),
    ("mandrel", "Mandrel"),
    ("winder", "Winder"),
    ("cutter", "Saw"),
    ("coil", "Coil"),
    ("money", "Money"),
];

/// The groups that change from batch to batch.
const OPEN: [&str; 3] = ["job", "wire", "mandrel"];

/// What stands in the fields.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(default)]
pub struct Form {
    values: BTreeMap<String, String>,
    /// The batch starts from wire, not from a number of rings.
    from_wire: bool,
    /// The metal that the price was entered for; none where that is not known.
    priced: Option<String>,
}

/// What the form makes: a job, or why not, field by field.
#[derive(Debug)]
pub struct Checked {
    /// The job, if every field is right.
    pub job: Result<Job, Failure>,
    /// What is wrong with a field.
    reasons: BTreeMap<&'static str, String>,
}

impl Form {
    /// The form of a job file.
    ///
    /// # Errors
    /// What is wrong with the file.
    pub fn of(text: &str) -> Result<Self, Failure> {
        // Strictly, as the program reads it; then for its fields.
        Job::parse(text)?;
        let file: toml::Table = text.parse().map_err(Failure::new)?;
        let mut values = BTreeMap::new();
        for (table, fields) in &file {
            for (key, value) in fields.as_table().into_iter().flatten() {
                let value = value.as_str().map_or_else(|| value.to_string(), str::to_owned);
                values.insert(format!("{table}.{key}"), value);
            }
        }
        let from_wire = values.contains_key("job.wire");
        let priced = values.get(METAL).cloned();
        Ok(Self { values, from_wire, priced })
    }

    /// The form as a job file.
    #[must_use]
    pub fn to_text(&self) -> String {
        let mut text = String::new();
        for (table, _) in GROUPS {
            let mut lines = String::new();
            for field in
                FIELDS.iter().filter(|field| table_of(field.key) == table && self.is_written(field.key))
            {
                let value = self.get(field.key).trim();
                if !value.is_empty() {
                    let key = field.key.split_once('.').map_or(field.key, |(_, key)| key);
                    lines += &format!("{key} = {}\n", written(field.kind, value));
                }
            }
            // The reader wants every table that has a field which must not be left out.
            if !lines.is_empty() || !matches!(table, "coil" | "money") {
                text += &format!("{}[{table}]\n{lines}", if text.is_empty() { "" } else { "\n" });
            }
        }
        text
    }

    fn is_written(&self, key: &str) -> bool {
        match key {
            "job.rings" => !self.from_wire,
            "job.wire" => self.from_wire,
            _ => true,
        }
    }

    fn get(&self, key: &str) -> &str {
        self.values.get(key).map_or("", String::as_str)
    }

    /// Puts a value into a field.
    pub fn set(&mut self, key: &str, value: impl Into<String>) {
        self.values.insert(key.to_owned(), value.into());
    }

    /// Checks every field by the job file's own rules, with what is known of its wire; those of `sound`, a
    /// form that was right, stand in for wrong ones to find what else is wrong.
    #[must_use]
    pub fn check(&self, sound: &Self, known: &Lookup) -> Checked {
        let job = Job::read(&self.to_text(), known);
        let mut reasons = BTreeMap::new();
        let mut failure = job.as_ref().err().map(ToString::to_string);
        let mut mended = self.clone();
        while let Some(line) = failure.take() {
            let Some(field) = named_in(&line) else {
                reasons.entry("job.name").or_insert(line);
                break;
            };
            let empty = mended.get(field).trim().is_empty();
            let why = if empty && line.contains("is missing") {
                // The line is about keys of a file.
                "fill this in".to_owned()
            } else {
                in_labels(&reason(&line, field))
            };
            if reasons.insert(field, why).is_some() {
                break;
            }
            mended.set(field, sound.get(field));
            failure = Job::read(&mended.to_text(), known).err().map(|failure| failure.to_string());
        }
        Checked { job, reasons }
    }

    /// Shows the form; true when something was changed.
    pub fn show(&mut self, ui: &mut Ui, palette: Palette, checked: &Checked, shelf: &Shelf) -> bool {
        let before = self.clone();
        let changed = |form: &Self, key: &str| form.get(key) != before.get(key);
        for (table, title) in GROUPS {
            ui.add_space(2.0);
            let fields = FIELDS.iter().filter(|field| table_of(field.key) == table);
            if OPEN.contains(&table) {
                ui.label(bold(title).color(palette.accent));
                self.group(ui, palette, table, checked, shelf);
                continue;
            }
            // What is set once for a bench is folded, unless something in it is wrong.
            let wrong = fields.clone().any(|field| checked.reasons.contains_key(field.key));
            let header = CollapsingHeader::new(bold(title).color(palette.accent))
                .id_salt(table)
                .open(wrong.then_some(true))
                .show(ui, |ui| self.group(ui, palette, table, checked, shelf));
            if header.fully_closed() {
                let values = fields.filter(|field| !self.get(field.key).trim().is_empty());
                let summary: Vec<String> = values
                    .map(|field| format!("{} {}", field.label.to_lowercase(), self.get(field.key)))
                    .collect();
                ui.add(Label::new(RichText::new(summary.join(", ")).small().color(palette.faint)).wrap());
            }
        }
        if PRICES.iter().any(|price| changed(self, price)) {
            self.priced = Some(self.get(METAL).to_owned());
        }
        *self != before
    }

    fn group(&mut self, ui: &mut Ui, palette: Palette, table: &str, checked: &Checked, shelf: &Shelf) {
        if table == "job" {
            ui.horizontal(|ui| {
                ui.radio_value(&mut self.from_wire, false, "from rings");
                ui.radio_value(&mut self.from_wire, true, "from wire");
            });
        }
        for field in FIELDS.iter().filter(|field| table_of(field.key) == table) {
            // Where there is no log there are no spools: one that a file names stays as it was read.
            let is_shown = self.is_written(field.key) && self.is_asked_for(field.key);
            if is_shown && (field.kind != Kind::Spool || shelf.is_there()) {
                self.field(ui, palette, field, checked, shelf);
            }
        }
    }

    /// The metal that the price was entered for, where it is not the one in the form.
    fn priced_for_another(&self) -> Option<&str> {
        let priced = self.priced.as_deref()?;
        (!self.get(self.price()).trim().is_empty() && priced != self.get(METAL)).then_some(priced)
    }

    /// The field of the price: in the unit that the file has it in.
    fn price(&self) -> &'static str {
        PRICES.into_iter().find(|price| !self.get(price).trim().is_empty()).unwrap_or(PRICE)
    }

    /// Other units of the price, and its day, are shown where the file has them: an entry for each would bury the rest.
    fn is_asked_for(&self, key: &str) -> bool {
        match key {
            PRICE => PRICES.iter().all(|price| *price == PRICE || !self.values.contains_key(*price)),
            PRICE_DATE => self.values.contains_key(key),
            _ => !PRICES.contains(&key) || self.values.contains_key(key),
        }
    }

    fn field(&mut self, ui: &mut Ui, palette: Palette, field: &Field, checked: &Checked, shelf: &Shelf) {
        let wrong = checked.reasons.get(field.key);
        ui.horizontal(|ui| {
            let width = 92.0;
            let label = ui
                .allocate_ui_with_layout(
                    eframe::egui::vec2(width, ui.spacing().interact_size.y),
                    eframe::egui::Layout::left_to_right(eframe::egui::Align::Center),
                    |ui| {
                        ui.set_min_width(width);
                        ui.label(field.label)
                    },
                )
                .inner;
            let value = self.values.entry(field.key.to_owned()).or_default();
            match field.kind {
                Kind::OneOf(choices) => {
                    let shown = if value.is_empty() { choices[0] } else { value.as_str() }.to_owned();
                    let combo = ComboBox::from_id_salt(field.key).selected_text(shown).width(110.0);
                    let response = combo.show_ui(ui, |ui| {
                        for choice in choices {
                            ui.selectable_value(value, (*choice).to_owned(), *choice);
                        }
                    });
                    response.response.labelled_by(label.id);
                }
                Kind::Metal => {
                    ui.add(edit(value, wrong, palette).desired_width(118.0)).labelled_by(label.id);
                    let listed = ui.menu_button("list", |ui| {
                        // There are more than a small window has room for.
                        let most = (ui.ctx().content_rect().height() * 0.6).max(120.0);
                        ScrollArea::vertical().max_height(most).show(ui, |ui| {
                            for metal in Metal::ALL {
                                ui.horizontal(|ui| {
                                    swatch(ui, metal.name());
                                    if ui.button(metal.name()).on_hover_text(metal.title()).clicked() {
                                        metal.name().clone_into(value);
                                        ui.close();
                                    }
                                });
                            }
                        });
                    });
                    listed.response.on_hover_text("Listed metals");
                }
                Kind::Spool => {
                    ui.add(edit(value, wrong, palette).desired_width(118.0)).labelled_by(label.id);
                    spools(ui, palette, value, shelf);
                }
                Kind::Text | Kind::Number => {
                    let width = if field.key == "job.name" { 190.0 } else { 74.0 };
                    ui.add(edit(value, wrong, palette).desired_width(width)).labelled_by(label.id);
                }
            }
            ui.add(Label::new(RichText::new(field.unit).small().color(palette.faint)).wrap());
        });
        if let Some(metal) =
            self.priced_for_another().filter(|_| field.key == self.price()).map(str::to_owned)
        {
            ui.horizontal_wrapped(|ui| {
                ui.label(bold(format!("! This is the price of {metal}.")).color(palette.copper));
                if ui.button("Clear it").clicked() {
                    self.set(field.key, "");
                }
                if ui.button("It is right").clicked() {
                    self.priced = Some(self.get(METAL).to_owned());
                }
            });
        }
        if let Some(reason) = wrong {
            ui.add(Label::new(RichText::new(reason).small().color(palette.wrong)).wrap());
        }
    }
}

/// The spools that there are, to choose from.
fn spools(ui: &mut Ui, palette: Palette, value: &mut String, shelf: &Shelf) {
    let listed = ui.menu_button("spools", |ui| {
        if shelf.spools().is_empty() {
            ui.label("No spool yet: turntally spool add makes one.");
        }
        for spool in shelf.spools() {
            ui.horizontal(|ui| {
                swatch(ui, &spool.metal);
                if ui.button(&spool.name).clicked() {
                    spool.name.clone_into(value);
                    ui.close();
                }
                let left = format!("{}, {}: {}", spool.metal, spool.wire, spool.words(spool.left));
                ui.colored_label(palette.faint, left);
            });
        }
        if !value.is_empty() && ui.button("none of them").clicked() {
            value.clear();
            ui.close();
        }
    });
    listed.response.on_hover_text("Spools in the log's file");
}

/// A text field, marked where it is wrong.
fn edit<'a>(value: &'a mut String, wrong: Option<&String>, palette: Palette) -> TextEdit<'a> {
    let edit = TextEdit::singleline(value);
    if wrong.is_some() { edit.text_color(palette.wrong) } else { edit }
}

fn table_of(key: &str) -> &str {
    key.split_once('.').map_or(key, |(table, _)| table)
}

/// A value as a job file has it. What is no number is quoted and then refused as what it is.
fn written(kind: Kind, value: &str) -> String {
    if kind == Kind::Number && value.parse::<f64>().is_ok_and(f64::is_finite) {
        // TOML wants a digit on both sides of the point.
        let whole = value.parse::<i64>().map(|whole| whole.to_string());
        let real = value.parse::<f64>().map(|real| format!("{real:?}"));
        return whole.or(real).unwrap_or_default();
    }
    toml::Value::String(value.to_owned()).to_string()
}

/// The field that a refusal begins with.
fn named_in(line: &str) -> Option<&'static str> {
    FIELDS.iter().map(|field| field.key).filter(|key| line.starts_with(key)).max_by_key(|key| key.len())
}

/// A line in which the fields are called as on the form, not as in a job file.
pub fn in_labels(line: &str) -> String {
    FIELDS.iter().fold(line.to_owned(), |line, field| line.replace(field.key, field.label))
}

/// The refusal without field, value and line number: they stand beside it.
fn reason(line: &str, field: &str) -> String {
    let rest = line.strip_prefix(field).unwrap_or(line);
    let why = match rest.split_once("': ") {
        Some((_, why)) => why,
        None => rest.trim_start_matches(':').trim(),
    };
    match why.strip_prefix("(line ").and_then(|rest| rest.split_once(") ")) {
        Some((_, why)) => why.to_owned(),
        None => why.to_owned(),
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test that cannot go on should stop")]
    use super::*;
    use crate::job::DEMO;

    /// The form of the demo job writes a file that means the same.
    #[test]
    fn a_file_goes_through_the_form_unchanged() {
        let form = Form::of(DEMO).unwrap();
        let (before, after) =
            (DEMO.parse::<toml::Table>().unwrap(), form.to_text().parse::<toml::Table>().unwrap());
        assert_eq!(before, after);
        assert_eq!(Form::of(&form.to_text()).unwrap(), form);
        // And so do the fields that it leaves out.
        let money = "[money]\nlabour_per_hour = 24\nblade_per_ring = 0.002\nlubricant_per_ring = 0.001\n\
                     finishing_per_ring = 0.01\nscrap_credit_percent = 60\nmargin_percent = 35\n";
        let price = DEMO.replace("price_per_kg", "price_date = \"2026-03-14\"\nprice_per_ft");
        for text in [format!("{DEMO}\n{money}"), price] {
            let written = Form::of(&text).unwrap().to_text();
            assert_eq!(text.parse::<toml::Table>().unwrap(), written.parse::<toml::Table>().unwrap());
        }
    }

    /// Every wrong field has its own reason, all of them at once.
    #[test]
    fn each_wrong_field_says_why() {
        let sound = Form::of(DEMO).unwrap();
        let mut form = sound.clone();
        form.set("wire.size", "1.2");
        form.set("mandrel.diameter", "four");
        form.set("job.rings", "many");
        form.set("winder.pulses_per_rev", "0");
        form.set("wire.metal", "unobtainium");
        let checked = form.check(&sound, &Lookup::nothing());
        assert!(checked.job.is_err());
        let wrong: Vec<&str> = checked.reasons.keys().copied().collect();
        assert_eq!(
            wrong,
            ["job.rings", "mandrel.diameter", "winder.pulses_per_rev", "wire.metal", "wire.size"],
            "{checked:?}"
        );
        assert_eq!(checked.reasons["job.rings"], "give a whole number from 1 to 10000000");
        assert!(checked.reasons["wire.size"].contains("mm"), "{checked:?}");
        assert!(checked.reasons.values().all(|reason| !reason.contains("(line")), "{checked:?}");
    }

    /// A field that must not be empty says so in words, whichever it is.
    #[test]
    fn an_empty_field_says_so() {
        let sound = Form::of(DEMO).unwrap();
        for key in ["job.rings", "wire.metal", "wire.size", "mandrel.diameter"] {
            let mut form = sound.clone();
            form.set(key, "");
            let checked = form.check(&sound, &Lookup::nothing());
            assert_eq!(checked.reasons.get(key).map(String::as_str), Some("fill this in"), "{checked:?}");
        }
    }

    /// A price is for the metal that it was entered with.
    #[test]
    fn a_price_is_for_a_metal() {
        let mut form = Form::of(DEMO).unwrap();
        assert_eq!(form.priced_for_another(), None);
        form.set(METAL, "yellow-brass");
        assert_eq!(form.priced_for_another(), Some("copper"));
        form.set(PRICE, "");
        assert_eq!(form.priced_for_another(), None);
        // So is one by the foot; only the unit that the file has is asked for.
        let mut form = Form::of(&DEMO.replace("price_per_kg", "price_per_ft")).unwrap();
        form.set(METAL, "yellow-brass");
        assert_eq!((form.priced_for_another(), form.price()), (Some("copper"), "wire.price_per_ft"));
        let asked: Vec<_> = PRICES.into_iter().filter(|price| form.is_asked_for(price)).collect();
        assert_eq!(asked, ["wire.price_per_ft"]);
    }

    /// The window has no keys of a file.
    #[test]
    fn refusals_and_advice_name_the_fields_of_the_form() {
        assert_eq!(in_labels("wire.size '1.5': a bare number"), "Wire size '1.5': a bare number");
        assert_eq!(in_labels("give wire.spring_ratio: more"), "give Spring ratio: more");
    }

    /// Whatever is typed ends in a reason, not in a file that means something else.
    #[test]
    fn odd_values_stay_in_their_field() {
        let sound = Form::of(DEMO).unwrap();
        for odd in ["\"", "1\n[job]", "inf", "NaN", "1e400", "\\", "=", "0x10"] {
            for field in FIELDS.iter().filter(|field| field.key != "job.wire") {
                let mut form = sound.clone();
                if PRICES.contains(&field.key) {
                    form.set(PRICE, "");
                }
                form.set(field.key, odd);
                let checked = form.check(&sound, &Lookup::nothing());
                let text = matches!(field.key, "job.name" | "wire.currency" | "wire.spool");
                assert!(
                    text || checked.reasons.contains_key(field.key),
                    "{odd:?} in {}: {checked:?}",
                    field.key
                );
            }
        }
    }
}
