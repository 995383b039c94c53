//! Files that go out and come in: by their path on a desktop, by download and file input in a browser.

/// A file that goes out.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Outgoing {
    /// Its name, as it is proposed.
    pub name: String,
    /// What is in it.
    pub text: String,
}

#[cfg(target_arch = "wasm32")]
pub use browser::Files;
#[cfg(not(target_arch = "wasm32"))]
pub use desktop::Files;
#[cfg(target_arch = "wasm32")]
#[path = "browser_files.rs"]
mod browser;

#[cfg(not(target_arch = "wasm32"))]
mod desktop {
    use std::path::Path;

    use eframe::egui::{Key, TextEdit, Ui};

    use super::Outgoing;
    use crate::failure::Failure;
    use crate::files::kind::Kind;
    use crate::files::output::write_whole;
    use crate::job::text_of;
    use crate::window::look::Palette;

    /// What is being asked for.
    #[derive(Debug)]
    enum Asking {
        Open,
        Save(Outgoing),
    }

    /// A field for the path, and what came of it.
    #[derive(Debug, Default)]
    pub struct Files {
        asking: Option<Asking>,
        path: String,
        outcome: Option<Result<String, Failure>>,
        fresh: bool,
    }

    impl Files {
        /// Asks where a file is to go.
        pub fn save(&mut self, file: Outgoing) {
            self.path.clone_from(&file.name);
            self.ask(Asking::Save(file));
        }

        /// Asks which job file to open.
        pub fn open(&mut self) {
            self.path.clear();
            self.ask(Asking::Open);
        }

        fn ask(&mut self, asking: Asking) {
            self.asking = Some(asking);
            self.outcome = None;
            self.fresh = true;
        }

        /// Says what came of something else.
        pub fn say(&mut self, outcome: Result<String, Failure>) {
            self.outcome = Some(outcome);
        }

        /// Shows the field while something is asked; returns the text of a file that was opened.
        pub fn show(&mut self, ui: &mut Ui, palette: Palette) -> Option<String> {
            let mut opened = None;
            if self.asking.is_some() {
                opened = self.field(ui);
            }
            match &self.outcome {
                Some(Ok(done)) => {
                    ui.colored_label(palette.accent, done);
                }
                Some(Err(failure)) => {
                    ui.colored_label(palette.wrong, failure.to_string());
                }
                None => {}
            }
            opened
        }

        fn field(&mut self, ui: &mut Ui) -> Option<String> {
            let saving = matches!(self.asking, Some(Asking::Save(_)));
            ui.horizontal_wrapped(|ui| {
                let label = ui.label(if saving { "Write to" } else { "Open the job file" });
                let edit =
                    TextEdit::singleline(&mut self.path).hint_text("path of the file").desired_width(260.0);
                let response = ui.add(edit).labelled_by(label.id);
                if std::mem::take(&mut self.fresh) {
                    response.request_focus();
                }
                let entered = response.lost_focus() && ui.input(|input| input.key_pressed(Key::Enter));
                let go = ui.button(if saving { "Write" } else { "Open it" }).clicked();
                if ui.button("Leave it").clicked() || ui.input(|input| input.key_pressed(Key::Escape)) {
                    self.asking = None;
                } else if (go || entered) && !self.path.trim().is_empty() {
                    return self.done();
                }
                None
            })
            .inner
        }

        fn done(&mut self) -> Option<String> {
            let path = Path::new(self.path.trim());
            match &self.asking {
                Some(Asking::Save(file)) => {
                    let result = write_whole(path, Kind::of(Path::new(&file.name)), &file.text);
                    if result.is_ok() {
                        self.asking = None;
                    }
                    self.outcome = Some(result.map(|()| format!("{} is written.", self.path.trim())));
                    None
                }
                Some(Asking::Open) => match text_of(path) {
                    Ok(text) => {
                        self.asking = None;
                        Some(text)
                    }
                    Err(failure) => {
                        self.outcome = Some(Err(failure));
                        None
                    }
                },
                None => None,
            }
        }
    }
}
