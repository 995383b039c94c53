//! The lines of a report.
//!
//! A report is text, one line for each item, its fields separated by a tab:
//!
//! | line | fields |
//! | --- | --- |
//! | `turntally-tester` | [`VERSION`], `short` or `full` |
//! | `busy` | the name of the check that begins: nothing to keep |
//! | `check` | its name, `pass` or `fail`, what was measured, what is allowed |
//! | `end` | how many checks passed, how many failed |
//!
//! A report without its `end` is not whole. No field has a tab or a line end in it.

use core::fmt;

/// The form of a report.
pub const VERSION: u16 = 1;

/// The result of one check.
#[derive(Debug, Clone, Copy)]
pub struct Check<'a> {
    /// Its name.
    pub name: &'a str,
    /// Whether it passed.
    pub passed: bool,
    /// What was measured; of a fault in the wiring, its name.
    pub measured: fmt::Arguments<'a>,
    /// What is allowed.
    pub allowed: &'a str,
}

impl fmt::Display for Check<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Self { name, passed, measured, allowed } = self;
        write!(f, "check\t{name}\t{}\t{measured}\t{allowed}", if *passed { "pass" } else { "fail" })
    }
}

/// How many checks passed and failed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Totals {
    /// Passed.
    pub passed: u32,
    /// Failed.
    pub failed: u32,
}
