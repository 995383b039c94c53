//! A counter on the cable: found, followed, sent a job, its log fetched; what of the window that is.

use std::sync::mpsc::{Receiver, channel};
use std::thread::JoinHandle;

use eframe::egui::{Context, Key, Label, RichText, TextEdit, Ui};

use super::fetched::Fetched;
use super::follower::{Fetch, Follower, Offered};
use super::form::in_labels;
use super::look::{Palette, card};
use super::plan_view::Cable as State;
use super::{App, View, live_view};
use crate::failure::Failure;
use crate::job::Job;
use crate::link::port;
use crate::words::number::turns;

/// The counter, the port it is looked for on, and what came of it.
#[derive(Debug, Default)]
pub struct Cable {
    follower: Option<Follower>,
    /// The thread that may still have the port.
    leaving: Option<JoinHandle<()>>,
    /// The port is being chosen, in the place of the bench.
    choosing: bool,
    fresh: bool,
    listing: Option<Receiver<Vec<String>>>,
    listed: Option<Vec<String>>,
    /// Why there is none, or no longer.
    message: Option<Failure>,
    /// The job that was sent: it is drawn even if the form holds another one by now.
    sent: Option<Job>,
    pub(super) fetched: Fetched,
}

impl Cable {
    /// A counter that answers is followed.
    fn found(&self) -> Option<&Follower> {
        self.follower.as_ref().filter(|follower| follower.seen().found.is_some())
    }

    /// Asks the system for its ports, on a thread of its own.
    fn list(&mut self, ctx: &Context) {
        let (found, listing) = channel();
        let ctx = ctx.clone();
        std::thread::spawn(move || {
            _ = found.send(port::names());
            ctx.request_repaint();
        });
        (self.listing, self.listed) = (Some(listing), None);
    }

    fn leave(&mut self) {
        self.leaving = self.follower.take().map(Follower::leave);
    }
}

/// A line as the window says it: without the options of the command line.
fn in_window(failure: &Failure) -> String {
    let line = failure.to_string().replace("give --port", "name its port");
    in_labels(&line.replace("--port", "Port").replace("--log", "Log"))
}

impl App {
    /// Takes in what the counter's thread has sent.
    pub(super) fn hear(&mut self) {
        let Some(follower) = &mut self.cable.follower else { return };
        let heard = follower.hear();
        if heard.offered
            && let Some(offered) = &follower.seen().offered
        {
            self.files.say(offer_words(offered));
        }
        let found = follower.seen().found.is_some();
        let waited = matches!(follower.seen().offered, Some(Offered::Waiting(_)));
        if let Some(failure) = heard.gone {
            let message = Failure::new(in_window(&failure));
            self.cable.leave();
            self.cable.choosing = !found;
            if waited {
                self.files.say(Err(message.clone()));
            }
            self.cable.message = Some(message);
        }
        if heard.fetched {
            self.look();
        }
    }

    /// A counter has the place of the simulated bench.
    pub(super) const fn is_following(&self) -> bool {
        self.cable.choosing || self.cable.follower.is_some()
    }

    /// What the counter on the cable is doing, in one line.
    pub(super) fn followed_in_words(&self) -> Option<String> {
        let status = self.cable.found()?.seen().status.as_ref()?;
        let message = live_view::in_words(status);
        Some(format!("On the cable: {message} Counted {} turns.", turns(status.turns.as_f64())))
    }

    /// The name of the job of the counter on the cable.
    pub(super) fn followed_job(&self) -> Option<String> {
        let status = self.cable.found()?.seen().status.as_ref()?;
        Some(format!("on the cable: {}", crate::link::job_name(status)))
    }

    /// The counter as the planner needs it.
    pub(super) fn cable_state(&self) -> State {
        match self.cable.found().map(|follower| &follower.seen().offered) {
            None => State::Loose,
            Some(Some(Offered::Waiting(_))) => State::Waiting,
            Some(_) => State::Ready,
        }
    }

    /// Goes to where a counter is connected.
    pub(super) fn choose_counter(&mut self) {
        self.kept.view = View::Bench;
        self.cable.choosing = self.cable.follower.is_none();
        self.cable.fresh = true;
        self.cable.message = None;
    }

    /// Puts the job in the form to the user at the counter.
    pub(super) fn send_job(&mut self) {
        if let (Some(job), Some(follower)) = (self.planner.job(), &mut self.cable.follower) {
            self.cable.sent = Some(job.clone());
            follower.send(job.clone());
            if let Some(offered) = &follower.seen().offered {
                self.files.say(offer_words(offered));
            }
        }
    }

    /// Shows the counter in the place of the simulated bench; false where that is to be seen.
    pub(super) fn bench_on_cable(&mut self, ui: &mut Ui, palette: Palette) -> bool {
        if self.cable.found().is_some() {
            self.live(ui, palette);
            return true;
        }
        if self.is_following() {
            card(ui, palette, |ui| self.connecting(ui, palette));
            return true;
        }
        if let Some(message) = &self.cable.message {
            let mut again = false;
            let mut read = false;
            card(ui, palette, |ui| {
                ui.horizontal_wrapped(|ui| {
                    ui.add(Label::new(RichText::new(message.to_string()).color(palette.wrong)).wrap());
                    again = ui.button("Connect again").clicked();
                    read = ui.button("Leave it").clicked();
                });
            });
            if again {
                self.connect(ui.ctx());
            } else if read {
                self.cable.message = None;
            }
        }
        false
    }

    fn live(&mut self, ui: &mut Ui, palette: Palette) {
        let Some(follower) = self.cable.found() else { return };
        let seen = follower.seen();
        // Whichever of them the counter's job is.
        let on_bench = self.bench.as_ref().ok().map(|bench| bench.session().job());
        let jobs = [self.cable.sent.as_ref(), self.planner.job(), on_bench];
        let wish = live_view::show(ui, palette, seen, jobs.into_iter().flatten());
        match wish {
            Some(live_view::Action::Leave) => {
                self.cable.leave();
                self.cable.choosing = false;
            }
            Some(live_view::Action::Plan) => self.kept.view = View::Plan,
            Some(live_view::Action::Fetch) => self.fetch(),
            None => {}
        }
    }

    fn connect(&mut self, ctx: &Context) {
        let port = self.kept.port.trim();
        let port = (!port.is_empty()).then(|| port.to_owned());
        let wake = ctx.clone();
        let before = self.cable.leaving.take();
        let follower =
            Follower::start(port, self.shelf.log().to_owned(), before, move || wake.request_repaint());
        self.cable.follower = Some(follower);
        self.cable.message = None;
    }

    /// Where the port is named, and waited for.
    fn connecting(&mut self, ui: &mut Ui, palette: Palette) {
        ui.heading("A counter on the cable");
        ui.add(
            Label::new(
                "What it counts is shown here as it happens. Nothing changes at the counter but its clock, \
                 which is set: a job is taken only if whoever stands there says Yes.",
            )
            .wrap(),
        );
        ui.add_space(4.0);
        if self.cable.follower.is_some() {
            let port = self.kept.port.trim();
            let place = if port.is_empty() { "every port".to_owned() } else { port.to_owned() };
            ui.horizontal_wrapped(|ui| {
                ui.spinner();
                ui.label(format!("Looking for a counter on {place}…"));
                if ui.button("Stop looking").clicked() {
                    self.cable.leave();
                    self.cable.choosing = true;
                }
            });
            return;
        }
        let mut go = false;
        ui.horizontal_wrapped(|ui| {
            let label = ui.label("Port");
            let edit = TextEdit::singleline(&mut self.kept.port).hint_text("the first with a counter");
            let response = ui.add(edit.desired_width(190.0)).labelled_by(label.id);
            if std::mem::take(&mut self.cable.fresh) {
                response.request_focus();
            }
            go = response.lost_focus() && ui.input(|input| input.key_pressed(Key::Enter));
            self.ports(ui);
            go |= ui.button("Connect").clicked();
            if ui.button("Back to the simulated bench").clicked() {
                (self.cable.choosing, self.cable.message) = (false, None);
            }
        });
        match &self.cable.message {
            Some(message) => {
                ui.add(Label::new(RichText::new(message.to_string()).color(palette.wrong)).wrap());
            }
            None => {
                let text = "To try it without one: turntally wind demo --link serves a simulated counter, and \
                            prints its port.";
                ui.add(Label::new(RichText::new(text).color(palette.faint)).wrap());
            }
        }
        if go {
            self.connect(ui.ctx());
        }
    }

    /// The ports that there are, to choose from.
    fn ports(&mut self, ui: &mut Ui) {
        let menu = ui.menu_button("ports", |ui| {
            let Some(names) = &self.cable.listed else {
                ui.label("one moment…");
                return;
            };
            let mut chosen = None;
            if ui.button("the first with a counter").clicked() {
                chosen = Some("");
            }
            for name in names {
                if ui.button(name).clicked() {
                    chosen = Some(name);
                }
            }
            if names.is_empty() {
                ui.label("There is no serial port here.");
            }
            if let Some(name) = chosen {
                name.clone_into(&mut self.kept.port);
                ui.close();
            }
        });
        if menu.response.on_hover_text("Serial ports of this computer").clicked() {
            self.cable.list(ui.ctx());
        }
        if let Some(listed) = self.cable.listing.as_ref().and_then(|listing| listing.try_recv().ok()) {
            (self.cable.listing, self.cable.listed) = (None, Some(listed));
        }
    }

    fn fetch(&mut self) {
        if let Some(follower) = &mut self.cable.follower {
            follower.fetch();
        }
    }

    /// Shows what the log's file holds.
    pub(super) fn log_of_counters(&mut self, ui: &mut Ui, palette: Palette) {
        let seen = self.cable.found().map(Follower::seen);
        let connected = seen.is_some();
        let fetch = seen.and_then(|seen| seen.fetch.clone());
        let free = connected && fetch != Some(Fetch::Asked) && self.cable_state() == State::Ready;
        ui.horizontal_wrapped(|ui| {
            if connected {
                ui.add_enabled_ui(free, |ui| {
                    if ui.button("Fetch the counter's log").clicked() {
                        self.fetch();
                    }
                });
            } else if ui.button("Connect a counter…").clicked() {
                self.choose_counter();
            }
            if let Some(fetch) = &fetch {
                live_view::fetch_words(ui, palette, fetch);
            }
        });
        self.cable.fetched.show(ui, palette, self.shelf.log());
    }
}

/// How an offer stands, in words.
fn offer_words(offered: &Offered) -> Result<String, Failure> {
    match offered {
        Offered::Waiting(name) => Ok(format!("“{name}” is on the counter's screen: press Yes there.")),
        Offered::Taken(name) => Ok(format!("The counter has taken “{name}”.")),
        Offered::Not(failure) => Err(Failure::new(in_window(failure))),
    }
}
