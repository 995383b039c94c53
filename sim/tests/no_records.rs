//! A program without its records says so, in a line, wherever it is asked for them; what needs none works.
#![cfg(not(feature = "link"))]

mod run;

use run::{printed, refusal};

#[test]
fn what_is_missing_is_named() {
    for args in [
        &["measured", "list"][..],
        &["measured", "add", "--metal", "copper", "--wire", "1.2mm"],
        &["spool", "add", "copper 1", "--holds", "500g"],
        &["plan", "demo", "--spool", "copper 1"],
        &["plan", "demo", "--log", "log.sqlite"],
    ] {
        assert!(refusal(args).contains("built without its records"), "{args:?}");
    }
    assert!(printed(&["plan", "demo"]).contains("666 guaranteed"));
}
