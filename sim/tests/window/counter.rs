//! A counter on a pseudo-terminal, with a hand on it that the test leads: the desktop's board behind the real
//! serial port.

use std::path::PathBuf;
use std::sync::mpsc::{Receiver, Sender, TryRecvError, channel};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};

use turntally_core::cue::DEFAULT_LEAD;
use turntally_core::input::Key;
use turntally_core::job::Lead;
use turntally_firmware::app::App;
use turntally_firmware::store::Store;
use turntally_firmware::store::guard::Open;
use turntally_sim::failure::Failure;
use turntally_sim::job::Job;
use turntally_sim::link::serve::Terminal;
use turntally_sim::simulation::faults::{FaultKind, FaultSet};
use turntally_sim::simulation::flash::VirtualFlash;
use turntally_sim::simulation::run::{Hand, Observer, SimulatedBench};

/// How much quicker than real its time goes.
const PACE: u32 = 5;
/// How quickly the hand cranks, in turns a millisecond.
const SPEED: f64 = 2.5e-3;
/// How long a key is held and then let go, in milliseconds; an offer takes none within 0.7 s.
const PRESS_MS: u32 = 80;

/// What the hand does.
#[derive(Debug)]
pub enum Do {
    /// Presses a key.
    Press(Key),
    /// Cranks so many turns, and lies still.
    Crank(f64),
    /// Turns the knob by clicks.
    Knob(i32),
    /// Switches a fault on.
    Fault(FaultKind),
    /// Says that it has come so far.
    Say(Sender<()>),
}

/// The counter; its cable is pulled when it is dropped.
pub struct Counter {
    /// The port that it is on: of a name that stays the same from run to run.
    pub port: PathBuf,
    hand: Option<Sender<Vec<Do>>>,
    thread: Option<JoinHandle<()>>,
    _folder: tempfile::TempDir,
}

impl Counter {
    /// With this job to choose.
    pub fn with(job: &str) -> Self {
        let (job, folder) = (Job::parse(job).unwrap(), tempfile::tempdir().unwrap());
        let (hand, commands) = channel();
        let (named, name) = channel();
        let thread = std::thread::spawn(move || {
            let terminal = Terminal::new().unwrap();
            named.send(terminal.name().to_owned()).unwrap();
            run(&job, terminal, &commands);
        });
        let port = folder.path().join("ttyACM0");
        std::os::unix::fs::symlink(name.recv().unwrap(), &port).unwrap();
        Self { port, hand: Some(hand), thread: Some(thread), _folder: folder }
    }

    /// Does all this without a break, after whatever the hand has still to do.
    pub fn does(&self, all: Vec<Do>) {
        self.hand.as_ref().unwrap().send(all).unwrap();
    }

    /// Waits until the hand has done everything.
    pub fn done(&self) {
        let (messages, done) = channel();
        self.does(vec![Do::Say(messages)]);
        done.recv().unwrap();
    }

    /// Presses a key.
    pub fn press(&self, key: Key) {
        self.does(vec![Do::Press(key)]);
    }

    /// Cranks so many turns.
    pub fn crank(&self, turns: f64) {
        self.does(vec![Do::Crank(turns)]);
    }

    /// Takes the job, begins a coil, and winds so many turns.
    pub fn wind(&self, turns: f64) {
        self.does(vec![Do::Press(Key::Yes), Do::Press(Key::Yes), Do::Crank(turns)]);
    }

    /// Keeps the coil that has reached its target.
    pub fn keep(&self) {
        self.does(vec![Do::Press(Key::Yes), Do::Press(Key::Yes)]);
    }
}

impl Drop for Counter {
    fn drop(&mut self) {
        self.hand = None;
        if let Some(thread) = self.thread.take() {
            _ = thread.join();
        }
    }
}

struct Cable(Terminal);

impl Observer for Cable {
    fn board(&mut self, app: &mut App, store: &mut Store<VirtualFlash, Open>) -> Result<(), Failure> {
        app.identify(0x5eed);
        self.0.serve(app, store)
    }
}

fn run(job: &Job, terminal: Terminal, commands: &Receiver<Vec<Do>>) {
    let (mut cable, mut faults) = (Cable(terminal), FaultSet::default());
    let rings = job.rings_to_make().unwrap();
    let mut simulated_bench =
        SimulatedBench::new(job, faults, Lead::Learned(DEFAULT_LEAD), rings, 1).unwrap();
    let mut hand = Hand { is_still: true, ..Hand::default() };
    let began = Instant::now();
    let mut ms = 0_u32;
    let mut step = |hand: Hand, simulated_bench: &mut SimulatedBench| {
        // Whatever the terminal says of an end that has left is not the counter's business.
        _ = simulated_bench.step(hand, &mut cable);
        ms += 1;
        let due = began + Duration::from_millis(ms.into()) / PACE;
        std::thread::sleep(due.saturating_duration_since(Instant::now()));
    };
    loop {
        let all = match commands.try_recv() {
            Ok(all) => all,
            Err(TryRecvError::Empty) => {
                step(hand, &mut simulated_bench);
                continue;
            }
            Err(TryRecvError::Disconnected) => return,
        };
        for one in all {
            match one {
                Do::Press(key) => {
                    for ms in 0..2 * PRESS_MS {
                        hand.key = (ms < PRESS_MS).then_some(key);
                        step(hand, &mut simulated_bench);
                    }
                }
                Do::Crank(turns) => {
                    hand.is_still = false;
                    let from = hand.crank_turns;
                    let steps = (turns.abs() / SPEED).ceil();
                    for at in 1..=steps as u32 {
                        hand.crank_turns = from + turns * f64::from(at) / steps;
                        step(hand, &mut simulated_bench);
                    }
                    hand.is_still = true;
                    (0..600).for_each(|_| step(hand, &mut simulated_bench));
                }
                Do::Knob(clicks) => {
                    for _ in 0..4 * clicks.abs() {
                        hand.knob_quarters += clicks.signum();
                        step(hand, &mut simulated_bench);
                    }
                    (0..30).for_each(|_| step(hand, &mut simulated_bench));
                }
                Do::Fault(kind) => {
                    faults = faults.with(kind);
                    simulated_bench.set_faults(faults);
                }
                Do::Say(done) => done.send(()).unwrap(),
            }
        }
    }
}
