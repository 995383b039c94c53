//! Linker flags for the chip binary, and for nothing else: whoever builds on a desktop never meets them.

use std::{env, fs, io, path::PathBuf};

fn main() -> io::Result<()> {
    println!("cargo:rerun-if-changed=build.rs");
    println!("cargo:rerun-if-changed=memory.x");
    if !env::var("TARGET").is_ok_and(|target| target.starts_with("thumb")) {
        return Ok(());
    }
    let Some(out) = env::var_os("OUT_DIR").map(PathBuf::from) else {
        return Err(io::Error::other("OUT_DIR is not set: is this a build script run by cargo?"));
    };
    fs::copy("memory.x", out.join("memory.x"))?;
    println!("cargo:rustc-link-search={}", out.display());
    let defmt = env::var_os("CARGO_FEATURE_DEFMT").map(|_| "-Tdefmt.x");
    for flag in ["--nmagic", "-Tlink.x", "-Tlink-rp.x"].into_iter().chain(defmt) {
        println!("cargo:rustc-link-arg-bin=turntally-pico={flag}");
    }
    Ok(())
}
