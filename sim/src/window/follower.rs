//! A real counter, followed on a thread of its own: no frame ever waits for a port.

use std::path::PathBuf;
use std::sync::mpsc::{Receiver, RecvTimeoutError, Sender, channel};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};

use turntally_core::link::{Health, Identity, Status};

use crate::failure::Failure;
use crate::job::Job;
use crate::link::port::Counter;
use crate::link::{self, Offer};
use crate::records::Records;

/// Between two questions about what the counter is doing: a coil grows by a twentieth of a turn meanwhile.
const LOOK_EVERY: Duration = Duration::from_millis(50);
/// Between two questions about how it is.
const TEST_EVERY: Duration = Duration::from_secs(5);

/// What the counter is asked for, beside what it is doing.
#[derive(Debug)]
enum Action {
    /// To take this job, if its user agrees.
    Send(Box<Job>),
    /// Its log, into the log's file.
    Fetch,
}

/// What the thread sends.
#[derive(Debug)]
enum News {
    Found(String, Identity),
    Status(Status),
    Health(Health),
    Offered(Offered),
    Fetched(Result<usize, Failure>),
    Gone(Failure),
}

/// How an offer stands.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Offered {
    /// The job of this name is on the counter's screen.
    Waiting(String),
    /// The job of this name was taken.
    Taken(String),
    /// It was not, and why.
    Not(Failure),
}

/// What came of asking for the log.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Fetch {
    /// It is on its way.
    Asked,
    /// So many entries were new, or why none came.
    Done(Result<usize, Failure>),
}

/// What is known of the counter.
#[derive(Debug, Default)]
pub struct Seen {
    /// Its port, and who it is.
    pub found: Option<(String, Identity)>,
    /// What it is doing.
    pub status: Option<Status>,
    /// How it is.
    pub health: Option<Health>,
    /// The job last offered to it.
    pub offered: Option<Offered>,
    /// Its log.
    pub fetch: Option<Fetch>,
    /// The coil that was kept last, while it was looked at.
    pub kept: Option<FinishedCoil>,
}

/// A coil that came off.
#[derive(Debug, Clone, PartialEq)]
pub struct FinishedCoil {
    /// Of this job.
    pub job: String,
    /// Turns on the mandrel when it was last seen there.
    pub turns: f64,
    /// When it came off.
    pub at: Instant,
}

impl Seen {
    /// Takes a new status in, and sees by it that a coil came off.
    fn take(&mut self, status: Status) {
        if let Some(before) = self.status.replace(status.clone()) {
            let same = before.job == status.job;
            if same && status.progress.kept == before.progress.kept.saturating_add(1) {
                let (job, turns) = (status.job.to_string(), before.turns.as_f64());
                self.kept = Some(FinishedCoil { job, turns, at: Instant::now() });
            } else if !same {
                self.kept = None;
            }
        }
    }
}

/// What has changed since it was last looked at.
#[derive(Debug, Default)]
pub struct Heard {
    /// An offer stands otherwise than before.
    pub offered: bool,
    /// The log's file holds more than before.
    pub fetched: bool,
    /// The counter is gone.
    pub gone: Option<Failure>,
}

/// A counter that is looked for or followed, until this is let go.
#[derive(Debug)]
pub struct Follower {
    wishes: Sender<Action>,
    news: Receiver<News>,
    thread: JoinHandle<()>,
    seen: Seen,
}

impl Follower {
    /// Looks for a counter on this port, or for the first that answers, once the thread `before` has let go of
    /// its own; `wake` is called whenever there are news.
    pub fn start(
        port: Option<String>,
        log: PathBuf,
        before: Option<JoinHandle<()>>,
        wake: impl Fn() + Send + 'static,
    ) -> Self {
        let (wishes, asked) = channel();
        let (sender, news) = channel();
        let thread = std::thread::spawn(move || {
            if let Some(before) = before {
                _ = before.join();
            }
            let tell = |news| {
                // Whoever asked may have left.
                _ = sender.send(news);
                wake();
            };
            if let Err(failure) = follow(port.as_deref(), &log, &asked, &tell) {
                tell(News::Gone(failure));
            }
        });
        Self { wishes, news, thread, seen: Seen::default() }
    }

    /// What is known of the counter.
    pub const fn seen(&self) -> &Seen {
        &self.seen
    }

    /// Lets the counter go; its port is free when the thread has ended.
    pub fn leave(self) -> JoinHandle<()> {
        self.thread
    }

    /// Puts a job to the user at the counter.
    pub fn send(&mut self, job: Job) {
        self.seen.offered = Some(Offered::Waiting(job.short_name().to_string()));
        self.wish(Action::Send(Box::new(job)));
    }

    /// Fetches the counter's log.
    pub fn fetch(&mut self) {
        self.seen.fetch = Some(Fetch::Asked);
        self.wish(Action::Fetch);
    }

    fn wish(&self, wish: Action) {
        // A thread that has ended has sent the reason.
        _ = self.wishes.send(wish);
    }

    /// Takes in what the thread has sent.
    pub fn hear(&mut self) -> Heard {
        let mut heard = Heard::default();
        for news in self.news.try_iter() {
            let seen = &mut self.seen;
            match news {
                News::Found(port, identity) => seen.found = Some((port, identity)),
                News::Status(status) => seen.take(status),
                News::Health(health) => seen.health = Some(health),
                News::Offered(offered) => {
                    seen.offered = Some(offered);
                    heard.offered = true;
                }
                News::Fetched(result) => {
                    heard.fetched = true;
                    seen.fetch = Some(Fetch::Done(result));
                }
                News::Gone(failure) => heard.gone = Some(failure),
            }
        }
        heard
    }
}

/// Follows a counter until the follower is dropped.
fn follow(
    port: Option<&str>,
    log: &std::path::Path,
    wishes: &Receiver<Action>,
    tell: &impl Fn(News),
) -> Result<(), Failure> {
    let mut counter = Counter::find(port)?;
    counter.set_clock()?;
    tell(News::Found(counter.name().to_owned(), counter.identity().clone()));
    let (mut status, mut health, mut tested) = (None, None, None::<Instant>);
    let mut offer: Option<(Offer, String)> = None;
    loop {
        // A failed action is reported as such; a counter that is gone does not answer here.
        let now = link::status(&mut counter)?;
        if status.as_ref() != Some(&now) {
            tell(News::Status(now.clone()));
            status = Some(now);
        }
        if tested.is_none_or(|at| at.elapsed() >= TEST_EVERY) {
            let now = link::health(&mut counter)?;
            tested = Some(Instant::now());
            if health != Some(now) {
                tell(News::Health(now));
                health = Some(now);
            }
        }
        if let Some((mut waiting, name)) = offer.take() {
            match waiting.is_taken(&mut counter) {
                Ok(true) => tell(News::Offered(Offered::Taken(name))),
                Ok(false) => offer = Some((waiting, name)),
                Err(failure) => tell(News::Offered(Offered::Not(failure))),
            }
        }
        match wishes.recv_timeout(LOOK_EVERY) {
            Ok(Action::Send(job)) => {
                let made =
                    Records::open(log).and_then(|mut log| Offer::job(&mut counter, &job, &mut log, false));
                match made {
                    Ok(made) => {
                        let name = job.short_name().to_string();
                        tell(News::Offered(Offered::Waiting(name.clone())));
                        offer = Some((made, name));
                    }
                    Err(failure) => tell(News::Offered(Offered::Not(failure))),
                }
            }
            Ok(Action::Fetch) => {
                let fetched = Records::open(log).and_then(|mut log| link::fetch(&mut counter, &mut log));
                tell(News::Fetched(fetched));
            }
            Err(RecvTimeoutError::Timeout) => {}
            Err(RecvTimeoutError::Disconnected) => return Ok(()),
        }
    }
}
