//! The program `turntally`: see `turntally --help`. In a browser: the bench alone.

#[cfg(not(target_arch = "wasm32"))]
fn main() -> std::process::ExitCode {
    turntally_sim::command::cli::main()
}

#[cfg(target_arch = "wasm32")]
fn main() {
    #[cfg(feature = "window")]
    turntally_sim::window::web::start();
}
