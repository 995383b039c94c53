//! Linker flags for the chip's programs, and for nothing else: whoever builds on a desktop never meets them.

use std::{env, fs, io, path::PathBuf};

fn main() -> io::Result<()> {
    println!("cargo:rerun-if-changed=build.rs");
    if !env::var("TARGET").is_ok_and(|target| target.starts_with("thumb")) {
        return Ok(());
    }
    let (pico, pico2) = (feature("PICO"), feature("PICO2"));
    let memory = match (pico, pico2) {
        (true, true) => return Err(io::Error::other("features pico and pico2 are two boards: choose one")),
        (true, false) => "pico.x",
        (false, true) => "pico2.x",
        (false, false) => return Ok(()),
    };
    println!("cargo:rerun-if-changed={memory}");
    let Some(out) = env::var_os("OUT_DIR").map(PathBuf::from) else {
        return Err(io::Error::other("OUT_DIR is not set: is this a build script run by cargo?"));
    };
    fs::copy(memory, out.join("memory.x"))?;
    println!("cargo:rustc-link-search={}", out.display());
    // The RP2040 starts through a second boot stage, which embassy-rp's script places.
    let boot = pico.then_some("-Tlink-rp.x");
    let defmt = feature("DEFMT").then_some("-Tdefmt.x");
    // Functions that came out alike are one: 600 bytes less, and as much less for the cache to hold.
    for flag in ["--nmagic", "--icf=all", "-Tlink.x"].into_iter().chain(boot).chain(defmt) {
        println!("cargo:rustc-link-arg-bin=turntally-pico={flag}");
        if pico {
            println!("cargo:rustc-link-arg-bin=turntally-tester={flag}");
        }
    }
    Ok(())
}

fn feature(name: &str) -> bool {
    env::var_os(format!("CARGO_FEATURE_{name}")).is_some()
}
