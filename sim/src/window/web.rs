//! The same window as a page: everything runs in the browser, nothing is sent anywhere.

use eframe::egui::{Ui, Visuals};
use eframe::wasm_bindgen::JsCast;
use eframe::web_sys::{Document, HtmlCanvasElement};

use super::{App, KEY, ground, sound::Speaker};

/// Starts the window on the page's canvas.
pub fn start() {
    wasm_bindgen_futures::spawn_local(async {
        let Some(document) = document() else { return };
        let canvas =
            document.get_element_by_id("bench").and_then(|found| found.dyn_into::<HtmlCanvasElement>().ok());
        let Some(canvas) = canvas else { return };
        let started = eframe::WebRunner::new()
            .start(
                canvas,
                // As on a desktop.
                eframe::WebOptions { dithering: false, ..eframe::WebOptions::default() },
                Box::new(|creation| {
                    let kept = creation
                        .storage
                        .and_then(|storage| eframe::get_value(storage, KEY))
                        .unwrap_or_default();
                    // Milliseconds since 1970 differ from one visit to the next.
                    let mut app = App::new(kept, web_sys::js_sys::Date::now() as u64);
                    app.dress(&creation.egui_ctx);
                    Ok(Box::new(Page { app, announced: String::new(), speaker: Speaker::new() }))
                }),
            )
            .await;
        if started.is_err() {
            say(&document, "This browser offers no WebGL, which the bench is drawn with.");
        }
    });
}

fn document() -> Option<Document> {
    web_sys::window()?.document()
}

/// Writes the line below the bench, which screen readers speak.
fn say(document: &Document, text: &str) {
    if let Some(line) = document.get_element_by_id("says") {
        line.set_text_content(Some(text));
    }
}

struct Page {
    app: App,
    announced: String,
    speaker: Speaker,
}

impl eframe::App for Page {
    fn ui(&mut self, ui: &mut Ui, _frame: &mut eframe::Frame) {
        self.app.ui(ui);
        self.speaker.sound(self.app.hertz());
        let now = self.app.in_words();
        if now != self.announced
            && let Some(document) = document()
        {
            say(&document, &now);
            self.announced = now;
        }
    }

    fn clear_color(&self, visuals: &Visuals) -> [f32; 4] {
        ground(visuals).to_normalized_gamma_f32()
    }

    fn save(&mut self, storage: &mut dyn eframe::Storage) {
        eframe::set_value(storage, KEY, self.app.kept());
    }
}
