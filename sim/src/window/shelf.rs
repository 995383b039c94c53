//! What the log's file says to the planner: the spools, and what was measured. In a browser there is none.

#[cfg(feature = "link")]
use std::path::{Path, PathBuf};

use crate::failure::Failure;
use crate::lookup::{Lookup, LookupArgs, Spool};
#[cfg(feature = "link")]
use crate::records::Records;

/// The log's file, as it was last looked into.
#[derive(Debug)]
pub struct Shelf {
    #[cfg(feature = "link")]
    log: PathBuf,
    known: Lookup,
    spools: Vec<Spool>,
    notice: Option<Failure>,
    looked: u64,
    /// What was measured is left aside.
    pub estimate: bool,
}

impl Shelf {
    /// Nothing at all.
    #[cfg(not(feature = "link"))]
    pub const fn none() -> Self {
        Self { known: Lookup::nothing(), spools: Vec::new(), notice: None, looked: 0, estimate: false }
    }

    /// The file at this path, whether it is there or not yet.
    #[cfg(feature = "link")]
    pub fn at(log: PathBuf, estimate: bool) -> Self {
        let known = Lookup::in_records(None::<Records>, estimate);
        let mut shelf = Self { log, known, spools: Vec::new(), notice: None, looked: 0, estimate };
        shelf.look();
        shelf
    }

    /// The file's path.
    #[cfg(feature = "link")]
    pub fn log(&self) -> &Path {
        &self.log
    }

    /// Looks into the file anew.
    #[cfg(feature = "link")]
    pub fn look(&mut self) {
        self.looked += 1;
        (self.known, self.spools, self.notice) = match open(&self.log) {
            Ok((records, spools)) => (Lookup::in_records(records, self.estimate), spools, None),
            Err(failure) => (Lookup::in_records(None::<Records>, self.estimate), Vec::new(), Some(failure)),
        };
    }

    /// There is nothing to look into.
    #[cfg(not(feature = "link"))]
    pub const fn look(&self) {}

    /// How often it was read: what was computed from it is known to be stale by this.
    pub const fn looked(&self) -> u64 {
        self.looked
    }

    /// There is a place for a file.
    pub const fn is_there(&self) -> bool {
        cfg!(feature = "link")
    }

    /// What is known.
    pub const fn known(&self) -> &Lookup {
        &self.known
    }

    /// There is a file that can be looked into.
    pub fn is_read(&self) -> bool {
        #[cfg(feature = "link")]
        return self.notice.is_none() && self.log.exists();
        #[cfg(not(feature = "link"))]
        false
    }

    /// The same for the chart, which looks by itself.
    pub fn known_args(&self) -> LookupArgs {
        #[cfg(feature = "link")]
        if self.is_read() {
            return LookupArgs { log: Some(self.log.clone()), estimate: self.estimate };
        }
        LookupArgs { log: None, estimate: true }
    }

    /// Every spool, by name.
    pub fn spools(&self) -> &[Spool] {
        &self.spools
    }

    /// What is wrong with the file.
    pub const fn notice(&self) -> Option<&Failure> {
        self.notice.as_ref()
    }
}

#[cfg(feature = "link")]
fn open(log: &Path) -> Result<(Option<Records>, Vec<Spool>), Failure> {
    if !log.exists() {
        return Ok((None, Vec::new()));
    }
    let records = Records::open_existing(log)?;
    let spools = records.spools()?;
    Ok((Some(records), spools))
}
