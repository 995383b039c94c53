//! How long the window takes: the first frame, a frame on a coil of 2,000 rings, and its memory over ten
//! simulated hours. Fails where the memory does not stay flat.
//!
//! `cargo run --release -p turntally-sim --features window --example frame_time`

use std::time::{Duration, Instant};

use eframe::egui::{Context, RawInput, Rect, pos2, vec2};
use turntally_core::input::Key;
use turntally_sim::failure::Failure;
use turntally_sim::job::DEMO;
use turntally_sim::simulation::operator::PROFILES;
use turntally_sim::window::{App, MOST_ASIDE, Pace, SavedState};

/// What memory may grow by from when the window holds as many batches put aside as it can until the tenth hour, in
/// megabytes: 450 coils in the log are 0.2.
const MOST_GROWTH_MB: f64 = 3.0;

/// A window of the size that it opens with.
struct Ground {
    ctx: Context,
    app: App,
    time: f64,
    vertices: usize,
}

impl Ground {
    fn new(kept: SavedState) -> Self {
        // There is no such file: nothing of the user's own gets in between.
        #[cfg(feature = "link")]
        let mut app = App::with_log(kept, 1, "no-log.sqlite".into());
        #[cfg(not(feature = "link"))]
        let mut app = App::new(kept, 1);
        let ctx = Context::default();
        app.dress(&ctx);
        Self { ctx, app, time: 0.0, vertices: 0 }
    }

    /// One frame, down to the triangles that a graphics card gets; how long it took.
    fn frame(&mut self) -> Duration {
        self.time += 1.0 / 60.0;
        let screen = Rect::from_min_size(pos2(0.0, 0.0), vec2(1_120.0, 720.0));
        let input = RawInput { screen_rect: Some(screen), time: Some(self.time), ..RawInput::default() };
        let began = Instant::now();
        let app = &mut self.app;
        let mut output = self.ctx.run_ui(input, |ui| app.ui(ui));
        // Nobody paints here.
        output.textures_delta.clear();
        let shapes = self.ctx.tessellate(output.shapes, output.pixels_per_point);
        let took = began.elapsed();
        self.vertices = shapes
            .iter()
            .map(|shape| match &shape.primitive {
                eframe::egui::epaint::Primitive::Mesh(mesh) => mesh.vertices.len(),
                eframe::egui::epaint::Primitive::Callback(_) => 0,
            })
            .sum();
        took
    }
}

/// Resident memory of this process, in megabytes; 0 where that cannot be asked.
fn memory_mb() -> f64 {
    let pages = std::fs::read_to_string("/proc/self/statm").unwrap_or_default();
    pages.split_whitespace().nth(1).and_then(|pages| pages.parse::<f64>().ok()).unwrap_or_default() * 4096.0
        / 1e6
}

fn print_frames(name: &str, mut frames: Vec<Duration>) {
    frames.sort_unstable();
    let at = |share: f64| frames.get((frames.len() as f64 * share) as usize).copied().unwrap_or_default();
    println!("{name}: {:.2?} median, {:.2?} at 99 %, {:.2?} worst", at(0.5), at(0.99), at(0.999_999));
}

fn main() -> Result<(), Failure> {
    let began = Instant::now();
    let mut ground = Ground::new(SavedState::default());
    ground.frame();
    println!("first frame, from nothing to triangles: {:.2?}", began.elapsed());
    print_frames("bench at rest, demo job", (0..600).map(|_| ground.frame()).collect());

    // A coil of 2,000 rings: thin wire, a long cradle.
    let long = DEMO
        .replace("rings = 640", "rings = 2000")
        .replace("size = \"1.2mm\"", "size = \"0.4mm\"")
        .replace("coil_max = \"70mm\"", "coil_max = \"900mm\"")
        .replace("kerf = \"0.4mm\"", "kerf = \"0.1mm\"");
    let mut ground = Ground::new(SavedState::default());
    ground.app.open(&long)?;
    ground.frame();
    if let Some(bench) = ground.app.bench_mut() {
        let session = bench.session_mut();
        for _ in 0..2 {
            session.press(Key::Yes);
            session.advance(300.0, Duration::MAX)?;
        }
        // Two thousand turns in portions that a hand is allowed.
        for _ in 0..21 {
            session.crank(100.0);
            session.advance(40_000.0, Duration::MAX)?;
        }
        println!("on the mandrel: {:.0} turns", session.simulated_bench().turns_on_mandrel());
    }
    let mut frames = Vec::new();
    for _ in 0..600 {
        if let Some(bench) = ground.app.bench_mut() {
            bench.session_mut().crank(0.02);
        }
        frames.push(ground.frame());
    }
    print_frames("bench, 2,000 rings, cranking", frames);
    println!("triangles' corners in such a frame: {}", ground.vertices);

    let mut ground = Ground::new(SavedState::default());
    ground.app.kept_mut().bench.pace = Pace::Fastest;
    let (mut seed, mut before, mut hour) = (0, 0.0, 0);
    let (mut memory, mut full) = (Vec::new(), None);
    while hour <= 10 {
        let seconds = ground
            .app
            .bench()
            .map_or(0.0, |bench| bench.session().simulated_bench().now().as_micros() as f64 / 1e6);
        if before + seconds >= 3_600.0 * f64::from(hour) {
            memory.push(memory_mb());
            // Nobody saws: each batch is put aside with its coils, until the oldest is dropped for it.
            if full.is_none() && seed as usize > MOST_ASIDE + 1 {
                full = memory.last().copied();
            }
            hour += 1;
        }
        // The batch is done and the hand has let go: the next one.
        if ground.app.bench().is_none_or(|bench| !bench.session().is_helped()) {
            (seed, before) = (seed + 1, before + seconds);
            ground.app.open(DEMO)?;
            if let Some(bench) = ground.app.bench_mut() {
                bench.session_mut().let_wind(PROFILES.first().copied(), seed);
            }
        }
        ground.frame();
    }
    let shown: Vec<String> = memory.iter().map(|mb| format!("{mb:.1}")).collect();
    println!("resident memory at the start and after each of ten simulated hours, MB: {}", shown.join(" "));
    println!("coils in the log: {}", ground.app.kept().log.coils().len());
    // By then everything has been on the screen too. What is added is the log.
    match (full, memory.last()) {
        (Some(full), Some(last)) if last - full <= MOST_GROWTH_MB => {
            println!("grown by {:.1} MB since {MOST_ASIDE} batches are put aside", last - full);
            Ok(())
        }
        (Some(full), Some(last)) => {
            Err(Failure::new(format_args!("memory grew from {full:.1} to {last:.1} MB")))
        }
        _ => Err(Failure::new("fewer batches than that were wound")),
    }
}
