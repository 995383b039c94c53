//! Files in a browser: a download goes out, a file input brings one in.

use std::cell::RefCell;
use std::path::Path;
use std::rc::Rc;

use eframe::egui::Ui;
use eframe::wasm_bindgen::{JsCast, JsValue, closure::Closure};
use eframe::web_sys::js_sys::Array;
use eframe::web_sys::{Blob, File, HtmlAnchorElement, HtmlInputElement, Url};

use super::Outgoing;
use crate::failure::Failure;
use crate::files::kind::Kind;
use crate::files::output::safe::ready;
use crate::window::look::Palette;

/// The largest job file that is read: far past any that a person writes.
const MOST_BYTES: f64 = 1_048_576.0;

/// What the browser has brought, once it has.
type Inbox = Rc<RefCell<Option<Result<String, Failure>>>>;

/// Files by the browser.
#[derive(Debug, Default)]
pub struct Files {
    inbox: Inbox,
    outcome: Option<Result<String, Failure>>,
}

impl Files {
    /// Gives a file to the browser's downloads.
    pub fn save(&mut self, file: Outgoing) {
        let kind = Kind::of(Path::new(&file.name));
        let file = match ready(kind, &file.text) {
            Ok(text) => Outgoing { text: text.into_owned(), ..file },
            Err(failure) => return self.outcome = Some(Err(failure)),
        };
        self.outcome = Some(match download(&file) {
            Ok(()) => Ok(format!("{} goes to the downloads.", file.name)),
            Err(_) => Err(Failure::new(format_args!("{}: the browser took no download", file.name))),
        });
    }

    /// Lets the browser ask for a job file.
    pub fn open(&mut self) {
        if ask(&self.inbox).is_err() {
            self.outcome = Some(Err(Failure::new("the browser opened no file input")));
        }
    }

    /// Says what came of something else.
    pub fn say(&mut self, outcome: Result<String, Failure>) {
        self.outcome = Some(outcome);
    }

    /// Shows what came of it; returns the text of a file that was opened.
    pub fn show(&mut self, ui: &mut Ui, palette: Palette) -> Option<String> {
        let text = match self.inbox.borrow_mut().take() {
            Some(Ok(text)) => Some(text),
            Some(Err(failure)) => {
                self.outcome = Some(Err(failure));
                None
            }
            None => None,
        };
        match &self.outcome {
            Some(Ok(done)) => {
                ui.colored_label(palette.accent, done);
            }
            Some(Err(failure)) => {
                ui.colored_label(palette.wrong, failure.to_string());
            }
            None => {}
        }
        text
    }
}

fn download(file: &Outgoing) -> Result<(), JsValue> {
    let document = web_sys::window().and_then(|window| window.document()).ok_or(JsValue::NULL)?;
    let blob = Blob::new_with_str_sequence(&Array::of1(&JsValue::from_str(&file.text)))?;
    let address = Url::create_object_url_with_blob(&blob)?;
    let link: HtmlAnchorElement = document.create_element("a")?.dyn_into()?;
    link.set_href(&address);
    link.set_download(&file.name);
    link.click();
    Url::revoke_object_url(&address)
}

fn ask(inbox: &Inbox) -> Result<(), JsValue> {
    let document = web_sys::window().and_then(|window| window.document()).ok_or(JsValue::NULL)?;
    let input: HtmlInputElement = document.create_element("input")?.dyn_into()?;
    input.set_type("file");
    input.set_accept(".toml");
    let (from, inbox) = (input.clone(), Rc::clone(inbox));
    let chosen = Closure::once_into_js(move || {
        if let Some(file) = from.files().and_then(|files| files.get(0)) {
            wasm_bindgen_futures::spawn_local(async move {
                let text = read(&file).await;
                *inbox.borrow_mut() = Some(text);
            });
        }
    });
    input.set_onchange(Some(chosen.unchecked_ref()));
    input.click();
    Ok(())
}

async fn read(file: &File) -> Result<String, Failure> {
    if file.size() > MOST_BYTES {
        return Err(Failure::new(format_args!(
            "{}: too large for a job file: at most {MOST_BYTES} bytes are allowed",
            file.name()
        )));
    }
    let text = wasm_bindgen_futures::JsFuture::from(file.text()).await;
    text.ok()
        .and_then(|text| text.as_string())
        .ok_or_else(|| Failure::new(format_args!("cannot read the job file {}", file.name())))
}
