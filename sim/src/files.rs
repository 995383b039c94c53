//! Files that are read and written: what they hold, and that no output is written over an input.

pub mod input;
pub mod kind;
pub mod output;
