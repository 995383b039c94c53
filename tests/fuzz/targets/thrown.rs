//! How many inputs were tried: printed now and then, since the end comes unannounced.

use std::sync::atomic::{AtomicU64, Ordering};

static INPUTS: AtomicU64 = AtomicU64::new(0);
static BYTES: AtomicU64 = AtomicU64::new(0);

/// One more input.
pub fn count(input: &[u8]) {
    let bytes = BYTES.fetch_add(input.len() as u64, Ordering::Relaxed) + input.len() as u64;
    let inputs = INPUTS.fetch_add(1, Ordering::Relaxed) + 1;
    if inputs.is_multiple_of(100) {
        eprintln!("thrown: {bytes} bytes in {inputs} inputs");
    }
}
