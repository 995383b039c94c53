//! The commands of the program: each reads its options, asks the modules below, and prints.

#[cfg(not(target_arch = "wasm32"))]
pub mod cli;
pub mod gauge;
#[cfg(feature = "link")]
pub mod link;
#[cfg(feature = "link")]
pub mod log;
#[cfg(feature = "link")]
pub mod measured;
#[cfg(not(feature = "link"))]
pub mod no_records;
#[cfg(not(feature = "window"))]
pub mod no_window;
pub mod piece;
#[cfg(not(target_arch = "wasm32"))]
pub mod replay;
#[cfg(not(target_arch = "wasm32"))]
pub mod shell;
pub mod size;
#[cfg(feature = "link")]
pub mod spool;
#[cfg(feature = "link")]
pub mod tester;
pub mod wind;
