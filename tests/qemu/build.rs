//! The memory of the emulated machine, and the scripts as a table.

use std::fmt::Write as _;
use std::path::{Path, PathBuf};
use std::{env, fs, io};

/// Where each machine has flash and RAM. What `.ci/qemu` starts has this much: the emulator gives the micro:bit more
/// than the part has.
const MEMORY: [(&str, &str, &str); 2] = [
    ("thumbv6m", "0x00000000, LENGTH = 1M", "0x20000000, LENGTH = 4M"),
    ("thumbv8m", "0x10000000, LENGTH = 4M", "0x38000000, LENGTH = 4M"),
];

fn variable(name: &str) -> io::Result<String> {
    env::var(name).map_err(|error| io::Error::other(format!("{name}: {error}")))
}

fn main() -> io::Result<()> {
    let target = variable("TARGET")?;
    let (_, flash, ram) = MEMORY
        .into_iter()
        .find(|(start, ..)| target.starts_with(start))
        .ok_or_else(|| io::Error::other(format!("{target}: no machine, see .ci/qemu")))?;
    let out = PathBuf::from(variable("OUT_DIR")?);
    fs::write(
        out.join("memory.x"),
        format!("MEMORY {{\n FLASH : ORIGIN = {flash}\n RAM : ORIGIN = {ram}\n}}\n"),
    )?;
    println!("cargo:rustc-link-search={}", out.display());
    for flag in ["--nmagic", "-Tlink.x"] {
        println!("cargo:rustc-link-arg-bins={flag}");
    }

    let scripts = Path::new(&variable("CARGO_MANIFEST_DIR")?).join("../emulator/scripts").canonicalize()?;
    println!("cargo:rerun-if-changed=build.rs");
    println!("cargo:rerun-if-changed={}", scripts.display());
    let mut files = fs::read_dir(&scripts)?.map(|file| Ok(file?.path())).collect::<io::Result<Vec<_>>>()?;
    files.sort();
    let mut table = String::from("[\n");
    for file in files {
        let name = file.file_stem().unwrap_or_default().display();
        writeln!(table, "    (\"{name}\", include_str!(\"{}\")),", file.display())
            .map_err(io::Error::other)?;
    }
    table.push_str("]\n");
    fs::write(out.join("scripts.rs"), table)
}
