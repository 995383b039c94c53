//! Sheet and quote as they come out of a printer: one page of A4 and of US Letter, whole, with nothing of the
//! job's own text taken for markup.
//!
//! Printed by Debian's chromium and read back with poppler-utils; where either is missing the test
//! fails and says which package to install.
#![allow(clippy::unwrap_used, clippy::panic, reason = "a test that cannot go on should stop")]

use std::fs;
use std::path::Path;
use std::process::Command;

use turntally_sim::job::Job;
use turntally_sim::plan::{advice, figures::Plan, quote, sheet};

/// Runs a tool of a Debian package and gives what it printed.
fn tool(package: &str, program: &str, arguments: &[&str]) -> String {
    let output = Command::new(program)
        .args(arguments)
        .output()
        .unwrap_or_else(|error| panic!("{program}: {error}: install the Debian package {package}"));
    assert!(output.status.success(), "{program} failed: {}", String::from_utf8_lossy(&output.stderr));
    String::from_utf8_lossy(&output.stdout).into_owned()
}

/// Prints a page on the paper; gives pages, width and height in points, and the text.
fn printed(folder: &Path, html: &str, paper: &str) -> (u32, f64, f64, String) {
    let page = folder.join("page.html");
    let pdf = folder.join("page.pdf");
    let rule = format!("<style>@page {{ size: {paper}; }}</style></head>");
    assert!(html.contains("</head>"));
    fs::write(&page, html.replacen("</head>", &rule, 1)).unwrap();
    _ = fs::remove_file(&pdf);
    tool(
        "chromium",
        "chromium",
        &[
            "--headless",
            "--no-sandbox",
            "--disable-gpu",
            "--no-pdf-header-footer",
            &format!("--user-data-dir={}", folder.join("profile").display()),
            &format!("--print-to-pdf={}", pdf.display()),
            page.to_str().unwrap(),
        ],
    );
    let info = tool("poppler-utils", "pdfinfo", &[pdf.to_str().unwrap()]);
    let field = |name: &str| {
        let line =
            info.lines().find(|line| line.starts_with(name)).unwrap_or_else(|| panic!("{name}: {info}"));
        line.split_once(':').unwrap().1.trim().to_owned()
    };
    let size = field("Page size");
    let mut sides = size.split_whitespace().filter_map(|word| word.parse::<f64>().ok());
    let text = tool("poppler-utils", "pdftotext", &["-layout", pdf.to_str().unwrap(), "-"]);
    (field("Pages").parse().unwrap(), sides.next().unwrap(), sides.next().unwrap(), text)
}

fn job(name: &str, rings: u32, changes: &[(&str, &str)]) -> Job {
    let mut text = turntally_sim::job::DEMO
        .replace("garden chain, second half", name)
        .replace("rings = 640", &format!("rings = {rings}"));
    for (from, to) in changes {
        assert!(text.contains(from), "{from}");
        text = text.replace(from, to);
    }
    Job::parse(&text).unwrap()
}

const HOSTILE: &str = "<script>alert(1)</script> & </style> <b>WWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWW MMMMMMMMMMMMMMMMMMMMMMMMMMMMMMM";

/// Jobs of one coil, of a full table, of hundreds and of thousands of coils, with names as long as they
/// may be and with every warning at once.
fn jobs() -> Vec<(&'static str, Job)> {
    let worst = [
        (
            "\"copper\"",
            "\"<i>Unheard-of</i> & WWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWW\"\ndensity_g_cm3 = 8.123456789",
        ),
        ("\"soft\"", "\"hard\""),
        ("\"1.2mm\"\nprice", "\"0.0471234in\"\nprice"),
        ("\"4.5mm\"", "\"2.512345mm\""),
        ("kerf = \"0.4mm\"", "kerf = \"0.301234mm\""),
        ("slot = \"1.2mm\"", "slot = \"0.36mm\""),
        ("\"70mm\"", "\"90.123456mm\""),
        ("= 400", "= 2"),
        ("\"crank\"", "\"mandrel\""),
        ("gap = 0.0", "gap = 0.0123456789"),
        ("tail_turns = 0.5", "tail_turns = 0.123456789"),
        ("\"EUR\"", "\"WWWWWWWWWWWW\""),
    ];
    vec![
        ("one coil", job("a ring or two", 20, &[])),
        ("demo", Job::parse(turntally_sim::job::DEMO).unwrap()),
        ("forty coils", job(HOSTILE, 2_060, &[("\"1.2mm\"\nprice", "\"17awg\"\nprice")])),
        ("three hundred coils", job(HOSTILE, 15_500, &[])),
        ("ten million rings", job(HOSTILE, 10_000_000, &[])),
        ("worst, one coil", job(HOSTILE, 20, &worst)),
        ("worst, twenty coils", job(HOSTILE, 1_100, &worst)),
        ("worst, ten million rings", job(HOSTILE, 10_000_000, &worst)),
    ]
}

fn page(job: &Job) -> String {
    let plan = Plan::of(job).unwrap();
    sheet::render(job, &plan, &advice::warnings(job, &plan))
}

/// Every job's sheet is one page on both papers, down to its last line.
#[test]
#[ignore = "outside judge: chromium and poppler-utils"]
fn sheets_print_on_one_page() {
    let folder = tempfile::tempdir().unwrap();
    for (what, job) in jobs() {
        let html = page(&job);
        for (paper, width, height) in [("A4", 595.0, 842.0), ("letter", 612.0, 792.0)] {
            let (pages, got_width, got_height, text) = printed(folder.path(), &html, paper);
            assert!((got_width - width).abs() < 1.0 && (got_height - height).abs() < 1.0, "{what}: {paper}");
            assert_eq!(pages, 1, "{what} on {paper}");
            let words = text.split_whitespace().collect::<Vec<_>>().join(" ");
            assert!(words.contains("This sheet replaces none of them."), "{what} on {paper}: {words}");
            assert!(words.contains("Set on the counter"), "{what} on {paper}: {words}");
        }
    }
}

/// A name that looks like markup is shown as it was written, and nothing on the page is fetched.
#[test]
fn names_are_shown_and_never_run() {
    let html = page(&job(HOSTILE, 100, &[]));
    assert!(
        !html.contains("<script")
            && html.contains("&lt;script&gt;alert(1)&lt;/script&gt; &amp; &lt;/style&gt;")
    );
    for word in ["http:", "https:", "url(", "@import", "src="] {
        assert!(!html.replace("default-src", "").contains(word), "{word}");
    }
    let metal = [("\"copper\"", "\"<img onerror=x>\"\ndensity_g_cm3 = 9"), ("\"EUR\"", "\"<u>\"")];
    let html = page(&job("plain", 100, &metal));
    assert!(!html.contains("<img") && !html.contains("<u>") && html.contains("&lt;img onerror=x&gt;"));
}

/// Up to forty coils have a row each to fill in; more are ticked in boxes that stand for all of them.
#[test]
fn every_coil_has_its_row_or_box() {
    for rings in [20, 640, 2_060] {
        let job = job("rows", rings, &[]);
        let plan = Plan::of(&job).unwrap();
        assert_eq!(page(&job).matches("class=\"tick\"").count(), plan.coil_count as usize, "{rings} rings");
    }
    for rings in [2_200, 15_500, 1_000_000, 10_000_000] {
        let job = job("boxes", rings, &[]);
        let plan = Plan::of(&job).unwrap();
        let html = page(&job);
        let boxes: Vec<u32> = html
            .split("<i>")
            .skip(1)
            .map(|part| part.split_once("</i>").unwrap().0.parse().unwrap())
            .collect();
        assert_eq!(boxes.last(), Some(&plan.groups[0].count), "{rings} rings");
        assert!(boxes.is_sorted(), "{rings} rings");
        assert!(html.contains("too many for a row each"), "{rings} rings");
        let step = boxes[0];
        assert_eq!(html.contains(&format!("A box stands for {step} coils")), step > 1, "{rings} rings");
    }
}

/// A quote is one page on both papers, with the longest heading and name.
#[test]
#[ignore = "outside judge: chromium and poppler-utils"]
fn quotes_print_on_one_page() {
    let folder = tempfile::tempdir().unwrap();
    let heading = folder.path().join("heading.txt");
    fs::write(&heading, format!("{}\n", "W".repeat(60)).repeat(8)).unwrap();
    let heading = quote::Heading::load(&heading).unwrap();
    let money = [("[mandrel]", "[money]\nmarkup_percent = 35\n[mandrel]"), ("\"EUR\"", "\"WWWWWWWWWWWW\"")];
    for rings in [20, 10_000_000] {
        let job = job(HOSTILE, rings, &money);
        let html = quote::render(&job, &Plan::of(&job).unwrap(), Some(&heading)).unwrap();
        for paper in ["A4", "letter"] {
            let (pages, .., text) = printed(folder.path(), &html, paper);
            assert_eq!(pages, 1, "{rings} rings on {paper}");
            assert!(
                text.contains("Total WWWWWWWWWWWW") && text.contains("Signed"),
                "{rings} on {paper}: {text}"
            );
        }
    }
}
