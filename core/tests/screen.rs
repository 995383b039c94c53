//! What stands on the screen, pixel by pixel, on a target that forgives little: a pixel outside
//! fails, and so do words over words.
#![allow(clippy::unwrap_used, reason = "a test may stop where it stands")]

mod common;

use std::collections::BTreeMap;
use std::convert::Infallible;
use std::fmt::Write;
use std::path::PathBuf;

use common::{Hand, TURN, job};
use embedded_graphics::pixelcolor::BinaryColor;
use embedded_graphics::prelude::{DrawTarget, OriginDimensions, Pixel, Size};
use turntally_core::bench::snapshot::Since;
use turntally_core::bench::{Bench, Phase};
use turntally_core::counter::Shaft;
use turntally_core::input::Input;
use turntally_core::job::Job;
use turntally_core::metal::{Metal, Temper};
use turntally_core::screen::{HEIGHT, WIDTH, draw};
use turntally_core::settings::{Make, Settings, Units};
use turntally_core::signal::{Channel, Reading};
use turntally_core::units::Length;

/// Records every pixel.
struct Paper {
    pixels: [[BinaryColor; WIDTH as usize]; HEIGHT as usize],
    ground: BinaryColor,
    /// Pixels drawn outside.
    outside: Vec<(i32, i32)>,
    /// Pixels that were drawn where the same colour had been drawn already.
    twice: Vec<(i32, i32)>,
    drawn: [[bool; WIDTH as usize]; HEIGHT as usize],
}

impl Paper {
    fn of(bench: &Bench) -> Self {
        let mut paper = Self {
            pixels: [[BinaryColor::Off; WIDTH as usize]; HEIGHT as usize],
            ground: BinaryColor::Off,
            outside: Vec::new(),
            twice: Vec::new(),
            drawn: [[false; WIDTH as usize]; HEIGHT as usize],
        };
        match draw(bench, &mut paper) {
            Ok(()) => paper,
            Err(never) => match never {},
        }
    }

    fn text(&self) -> String {
        self.pixels.iter().fold(String::new(), |mut text, row| {
            text.extend(row.iter().map(|&pixel| if pixel == BinaryColor::On { '#' } else { '.' }));
            text.push('\n');
            text
        })
    }
}

impl OriginDimensions for Paper {
    fn size(&self) -> Size {
        Size::new(WIDTH, HEIGHT)
    }
}

impl DrawTarget for Paper {
    type Color = BinaryColor;
    type Error = Infallible;

    fn draw_iter<I: IntoIterator<Item = Pixel<BinaryColor>>>(&mut self, pixels: I) -> Result<(), Infallible> {
        for Pixel(at, color) in pixels {
            let (Ok(x), Ok(y)) = (usize::try_from(at.x), usize::try_from(at.y)) else {
                self.outside.push((at.x, at.y));
                continue;
            };
            let Some(pixel) = self.pixels.get_mut(y).and_then(|row| row.get_mut(x)) else {
                self.outside.push((at.x, at.y));
                continue;
            };
            if self.drawn[y][x] && *pixel == color {
                self.twice.push((at.x, at.y));
            }
            self.drawn[y][x] = true;
            *pixel = color;
        }
        Ok(())
    }

    fn clear(&mut self, color: BinaryColor) -> Result<(), Infallible> {
        self.pixels = [[color; WIDTH as usize]; HEIGHT as usize];
        self.drawn = [[false; WIDTH as usize]; HEIGHT as usize];
        self.ground = color;
        Ok(())
    }
}

/// The laws of every picture, whatever it shows.
fn check(what: &str, bench: &Bench) {
    let paper = Paper::of(bench);
    assert_eq!(paper.outside, [], "{what}: drawn outside\n{}", paper.text());
    // Letters of the bold type lean into each other by a pixel here and there (the t of "start").
    assert!(paper.twice.len() <= 4, "{what}: drawn over at {:?}\n{}", paper.twice, paper.text());
    let inked = paper.pixels.iter().flatten().filter(|&&pixel| pixel != paper.ground).count();
    assert!(inked > 100, "{what}: {inked} pixels of ink");
}

/// A batch of a few coils of which the first has been begun.
fn begun() -> Hand {
    let mut hand = Hand::new([job("garden chain", 160, 70_000), job("bracelet", 40, 70_000)]);
    hand.begins();
    hand
}

/// A coil wound to so many counts and left at rest.
fn wound_to(counts: i64) -> Hand {
    let mut hand = begun();
    hand.cranks_to(counts, 60).waits(500);
    hand
}

fn aim(hand: &Hand) -> i64 {
    hand.bench.goal().unwrap().aim()
}

fn trouble(reading: Reading) -> Hand {
    let mut hand = wound_to(20 * TURN);
    hand.reads(reading);
    hand
}

/// Every state that looks different, by the name of its picture.
fn scenes() -> BTreeMap<&'static str, Hand> {
    let mut scenes = BTreeMap::new();
    scenes.insert("choose_nothing", Hand::new([]));
    let mut hand = Hand::new([job("garden chain", 160, 70_000), job("bracelet", 40, 70_000)]);
    scenes.insert("choose", hand.clone());
    scenes.insert("choose_another", hand.knob(1).clone());
    scenes.insert("ready", hand.knob(-1).yes().clone());
    let mut hand = hand.clone();
    scenes.insert("ready_mute", hand.knob(-9).waits(2_000).clone());
    scenes.insert("winding_mute", hand.yes().cranks(12 * TURN, 60).clone());
    scenes.insert("winding_soft", hand.knob(1).clone());
    scenes.insert("paused_medium", hand.no().knob(1).clone());
    scenes.insert("paused_mute", hand.knob(-5).clone());
    scenes.insert("winding_zero", begun());
    scenes.insert("winding", wound_to(12 * TURN + 700));
    scenes.insert("near", wound_to(aim(&begun()) - TURN - TURN / 3));
    let mut hand = begun();
    while hand.bench.phase() != Phase::Stop {
        hand.cranks(10, 60);
    }
    scenes.insert("stop_before", hand);
    scenes.insert("stop", wound_to(aim(&begun()) + TURN / 4));
    let mut hand = Hand::new([job("bracelet", 20, 70_000)]);
    hand.begins();
    scenes.insert("over", hand.cranks_to(aim(&hand) + TURN + TURN / 5, 60).waits(500).clone());
    let mut hand = wound_to(aim(&begun()) + TURN + TURN / 5);
    scenes.insert("over_too_long", hand.clone());
    scenes.insert("verdict_too_long", hand.yes().clone());
    scenes.insert("paused", wound_to(12 * TURN).no().clone());
    let mut hand = wound_to(aim(&begun()) + TURN / 4);
    scenes.insert("verdict_keep", hand.yes().clone());
    scenes.insert("verdict_scrap", hand.clone().knob(1).clone());
    scenes.insert("verdict_wind_on", hand.clone().knob(2).clone());
    scenes.insert("next", hand.yes().clone());
    scenes.insert("choose_made", hand.clone().no().clone());
    scenes.insert("ready_second", hand.yes().clone());
    scenes.insert("winding_second", hand.yes().cranks(30 * TURN, 60).waits(500).clone());
    while hand.bench.phase() != Phase::Done {
        match hand.bench.phase() {
            Phase::Ready | Phase::Next => hand.yes(),
            _ => hand.keeps_a_coil(),
        };
    }
    scenes.insert("done", hand.clone());
    scenes.insert("choose_sawn", hand.yes().knob(1).clone());
    scenes.insert("sawn_rings", hand.yes().knob(-2).clone());
    scenes.insert("sawn_rejects", hand.yes().knob(3).clone());
    ring_scenes(&mut scenes);
    let mut hand =
        Hand::new([Job { spool: Some(Length::from_um(9_470_000)), ..job("garden chain", 160, 70_000) }]);
    hand.begins();
    scenes.insert("next_spool", hand.keeps_a_coil().clone());
    let quiet = Reading::default();
    scenes.insert("fault_dead_a", trouble(Reading { dead: Some(Channel::A), ..quiet }));
    scenes.insert("fault_dead_b", trouble(Reading { dead: Some(Channel::B), ..quiet }));
    scenes.insert("fault_missed_steps", trouble(Reading { illegal: 101, ..quiet }));
    scenes.insert("fault_chatter", trouble(Reading { chatter: 1, ..quiet }));
    let mut hand = begun();
    scenes.insert("fault_backwards", hand.cranks(-TURN, 60).clone());
    scenes.insert("fault_samples_lost", trouble(quiet).tell(Input::SamplesLost).clone());
    scenes.insert("fault_out_of_range", trouble(Reading { net: i64::MAX, ..quiet }));
    scenes.insert("fault_power_cut", after_cut(Since::QuarterTurn));
    scenes.insert("fault_power_cut_unknown", after_cut(Since::Unknown));
    let mut hand = Hand::new([job("garden chain", 160, 70_000)]);
    scenes.insert("fault_before_coil", hand.reads(Reading { dead: Some(Channel::A), ..quiet }).clone());
    let mut hand = trouble(Reading { dead: Some(Channel::B), ..quiet });
    scenes.insert("winding_unknown", hand.yes().clone());
    scenes.insert("verdict_unknown", hand.yes().clone());
    let mut hand = wound_to(20 * TURN);
    scenes.insert("winding_doubtful", hand.reads(Reading { illegal: 3, ..quiet }).clone());
    set_up_scenes(&mut scenes);
    scenes
}

/// A ring of a batch that was set up at the counter is measured.
fn ring_scenes(scenes: &mut BTreeMap<&'static str, Hand>) {
    let mut hand = own(|settings| settings.build.shaft = Shaft::Mandrel);
    hand.begins().keeps_a_coil().no();
    scenes.insert("choose_measure", hand.knob(2).clone());
    scenes.insert("measure_ring", hand.yes().clone());
    scenes.insert("measure_wider", hand.clone().knob(70).yes().clone());
    scenes.insert("measure_outside", hand.clone().knob(120).waits(70).knob(120).yes().clone());
    scenes.insert("choose_measured", hand.yes().knob(2).clone());
    let mut hand = own(|settings| {
        (settings.build.shaft, settings.batch.temper) = (Shaft::Mandrel, Temper::Hard);
    });
    hand.begins().keeps_a_coil().no().knob(2).yes();
    scenes.insert("measure_narrower", hand.knob(-100).yes().clone());
    let mut hand = own(|settings| {
        (settings.build.shaft, settings.build.units) = (Shaft::Mandrel, Units::Inches);
    });
    hand.begins().keeps_a_coil().no().knob(2);
    scenes.insert("measure_ring_inches", hand.yes().clone());
}

/// A counter with a batch of its own.
fn own(change: impl Fn(&mut Settings)) -> Hand {
    let mut settings = Settings::default();
    change(&mut settings);
    let mut hand = Hand::new([]);
    hand.bench.set_up(settings);
    hand
}

fn set_up_scenes(scenes: &mut BTreeMap<&'static str, Hand>) {
    let mut hand = own(|_| ());
    scenes.insert("choose_own", hand.clone());
    scenes.insert("choose_set_up_batch", hand.knob(1).clone());
    scenes.insert("choose_set_up_counter", hand.knob(1).clone());
    scenes.insert("set_up_counter", hand.yes().clone());
    scenes.insert("set_up_knob", hand.clone().waits(200).knob(8).yes().clone());
    let mut lesson = hand.clone();
    scenes.insert("set_up_direction", lesson.waits(200).knob(4).yes().clone());
    scenes.insert(
        "set_up_direction_taught",
        lesson.reads(Reading { net: -1_700, ..Reading::default() }).clone(),
    );
    let dead = Reading { dead: Some(Channel::B), ..Reading::default() };
    scenes.insert("set_up_direction_dead", lesson.reads(dead).clone());
    let mut hand = own(|_| ());
    scenes.insert("set_up_batch", hand.knob(1).yes().clone());
    scenes.insert("set_up_metal", hand.clone().yes().clone());
    scenes.insert("set_up_mandrel", hand.clone().waits(200).knob(4).yes().clone());
    scenes.insert("set_up_middle", hand.clone().waits(200).knob(5).clone());
    scenes.insert("set_up_take", hand.waits(200).knob(20).clone());
    scenes.insert("set_up_makes", hand.yes().clone());
    let mut hand = own(|settings| settings.batch.mandrel = Length::from_um(500));
    scenes.insert("set_up_cannot", hand.yes().waits(200).knob(20).yes().clone());
    let mut hand = own(|settings| settings.batch.make = Make::Turns { tenths: 300, coils: 12 });
    scenes.insert("choose_coils", hand.clone());
    scenes.insert("ready_coils", hand.yes().clone());
    hand.yes().keeps_a_coil();
    scenes.insert("next_coils", hand.clone());
    scenes.insert("choose_coils_made", hand.no().clone());
}

/// Every value that every entry can be turned to, and every reason, has its room on the screen.
#[test]
fn every_setting_fits_its_page() {
    let with = |units, metal: usize, make| {
        own(|settings| {
            settings.build.units = units;
            settings.batch.metal = &Metal::ALL[metal];
            settings.batch.make = make;
            settings.batch.cradle = Length::from_um(499_999);
            settings.batch.mandrel = Length::from_um(49_999);
            settings.batch.kerf = Length::from_um(2_999);
        })
    };
    let makes = [
        Make::Rings(100_000),
        Make::Turns { tenths: 9_995, coils: 1_000 },
        Make::Length { length: Length::from_um(499_999), coils: 1_000 },
    ];
    for units in [Units::Millimetres, Units::Inches] {
        for metal in 0..Metal::ALL.len() {
            for make in makes {
                for list in [1, 2] {
                    let mut hand = with(units, metal, make);
                    let jobs = i8::try_from(hand.bench.jobs().len()).unwrap();
                    hand.knob(-5).knob(jobs + list - 1).yes();
                    for at in 0..12 {
                        let what = format!("{units:?} {} {make:?} {at}", Metal::ALL[metal].name());
                        check(&what, &hand.bench);
                        check(&what, &hand.clone().yes().bench);
                        hand.waits(200).knob(1);
                    }
                }
            }
        }
    }
}

/// Twenty turns wound, then started again.
fn after_cut(since: Since) -> Hand {
    let before = wound_to(20 * TURN);
    let mut hand = Hand::new([job("garden chain", 160, 70_000)]);
    hand.bench.resume_coil(&before.bench.coil_note().unwrap(), since).unwrap();
    hand
}

/// Nothing is drawn outside the screen or over other words, in any state.
#[test]
fn states_stay_inside_and_apart() {
    for (name, hand) in scenes() {
        check(name, &hand.bench);
    }
}

/// No two states look alike.
#[test]
fn states_look_different() {
    let mut seen: BTreeMap<String, &str> = BTreeMap::new();
    for (name, hand) in scenes() {
        let before = seen.insert(Paper::of(&hand.bench).text(), name);
        // With no coil begun a dead channel says the same as within one, less the coil's promise.
        assert_eq!(before, None, "{name}");
    }
}

/// Every phase has its picture.
#[test]
fn phases_all_have_pictures() {
    let phases: std::collections::BTreeSet<Phase> =
        scenes().values().map(|hand| hand.bench.phase()).collect();
    assert_eq!(phases.len(), 14);
}

/// "Stop", "too far" and faults are seen without reading: the screen is turned inside out.
#[test]
fn urgent_states_are_inside_out() {
    for (name, hand) in scenes() {
        let urgent = matches!(hand.bench.phase(), Phase::Stop | Phase::Over | Phase::Fault);
        assert_eq!(Paper::of(&hand.bench).ground == BinaryColor::On, urgent, "{name}");
    }
}

/// The number that matters is 38 pixels tall below the headline, from the first turn to the last.
#[test]
fn number_stands_38_pixels_tall() {
    for turns in [0, 3, 12, 33, 47, 55] {
        let paper = Paper::of(&wound_to(turns * TURN + 17).bench);
        let inked = |y: &usize| paper.pixels[*y][..94].contains(&BinaryColor::On);
        let rows: Vec<usize> = (11..51).filter(inked).collect();
        // Round digits reach a row below the line.
        assert_eq!(rows.first(), Some(&11), "{turns} turns");
        assert!(matches!(rows.len(), 38 | 39), "{turns} turns: {rows:?}");
    }
}

/// The coil on the screen grows with every few turns that are wound on, and shrinks with those wound back.
#[test]
fn drawn_coil_follows_the_wound_one() {
    let ink = |hand: &Hand| {
        let paper = Paper::of(&hand.bench);
        paper.pixels[54..62].iter().flat_map(|row| &row[..118]).filter(|&&p| p == BinaryColor::On).count()
    };
    let mut hand = begun();
    let mut grown = vec![ink(&hand)];
    for _ in 0..13 {
        grown.push(ink(hand.cranks(4 * TURN, 120)));
    }
    assert!(grown.windows(2).all(|pair| pair[0] < pair[1]), "{grown:?}");
    let longest = ink(&hand);
    assert!(ink(hand.cranks(-8 * TURN, 120)) < longest);
}

/// A job of so many rings on a cradle metres long, for numbers that no bench sees.
fn huge(rings: u32) -> Hand {
    let mut hand = Hand::new([job("garden chain", rings, 200_000_000)]);
    hand.begins();
    hand
}

/// Counts in one reading, however many.
fn leaps_to(hand: &mut Hand, counts: i64) -> &mut Hand {
    let net = counts - hand.bench.counts();
    hand.reads(Reading { net, ..Reading::default() }).waits(500)
}

/// Numbers stay inside their place at every width: to go, past, wound on, wound back.
#[test]
fn extreme_counts_stay_inside() {
    for rings in [1, 90, 97, 98, 99, 100, 984, 985, 986, 987, 9_849, 9_850, 98_000, 150_000] {
        let mut hand = huge(rings);
        check(&format!("{rings} rings to go"), &hand.bench);
        let aim = aim(&hand);
        for counts in [
            -TURN / 3,
            TURN / 7,
            aim / 2,
            aim - TURN,
            aim,
            aim + TURN / 2,
            aim + 99_999 * TURN,
            i64::MAX / 640_000,
        ] {
            leaps_to(&mut hand, counts);
            let what = format!("{rings} rings, {counts} counts, {:?}", hand.bench.phase());
            check(&what, &hand.bench);
            check(&format!("{what}, paused"), &hand.clone().no().bench);
            check(&format!("{what}, verdict"), &hand.clone().yes().bench);
            let doubtful = Reading { illegal: 4_000_000, ..Reading::default() };
            check(&format!("{what}, doubtful"), &hand.clone().reads(doubtful).bench);
        }
        // A thousand turns back, as when a finished coil is unwound from the counter's zero.
        leaps_to(&mut hand, -1_000 * TURN - 1);
        check(&format!("{rings} rings, wound back"), &hand.bench);
        check(&format!("{rings} rings, wound back, verdict"), &hand.clone().yes().bench);
        check(&format!("{rings} rings, wound back, paused"), &hand.clone().no().bench);
    }
}

/// Batches up to the largest that can be asked for, while choosing, between coils and when done.
#[test]
fn extreme_batches_stay_inside() {
    for rings in [1, 99_999, 10_000_000, u32::MAX] {
        let mut hand = Hand::new([job("garden chain", rings, 200_000_000)]);
        check(&format!("choosing {rings}"), &hand.bench);
        check(&format!("{rings} ready"), &hand.yes().bench);
        hand.yes();
        while hand.bench.phase() != Phase::Done && hand.bench.jobs().progress().kept < 12 {
            // The full coil of such a cradle: some hundred thousand turns.
            let aim = aim(&hand);
            leaps_to(&mut hand, aim).yes().knob(-2).yes();
            check(&format!("{rings} after {:?}", hand.bench.jobs().progress()), &hand.bench);
            if hand.bench.phase() == Phase::Next {
                check(&format!("{rings} chosen again"), &hand.clone().no().bench);
                hand.yes();
                check(&format!("{rings} ready again"), &hand.bench);
                hand.yes();
                check(&format!("{rings} begun again"), &hand.bench);
            }
        }
    }
    let mut hand = huge(100_000);
    let counts = aim(&hand);
    leaps_to(&mut hand, counts).yes().yes();
    assert_eq!((hand.bench.phase(), hand.bench.jobs().progress().rings), (Phase::Done, 100_000));
}

/// Names up to the longest, in letters wide and narrow, accented, unknown and not even letters.
#[test]
fn extreme_names_stay_inside() {
    for name in [
        "",
        "i",
        "WWWWWWWWWWWWWWWWWWWWWWWW",
        "iiiiiiiiiiiiiiiiiiiiiiii",
        "ÄÖÜßéèêñçåøÆ",
        "日本語の指輪",
        "a\nb\r\tc\u{0}d",
        "               x",
    ] {
        for jobs in [1, 8] {
            let mut hand = Hand::new((0..jobs).map(|_| job(name, 160, 70_000)));
            for _ in 0..jobs {
                check(&format!("{name:?} of {jobs}"), &hand.bench);
                hand.knob(1);
            }
        }
    }
}

/// A name that is too long is cut with dots, and one letter more or less still changes the picture.
#[test]
fn names_of_any_length_look_different() {
    let mut seen = BTreeMap::new();
    for length in 0..=24 {
        let name = "W".repeat(length);
        seen.insert(Paper::of(&Hand::new([job(&name, 160, 70_000)]).bench).text(), length);
    }
    // Twelve wide letters fill the screen; beyond, all look as cut.
    assert!(seen.len() > 12, "{seen:?}", seen = seen.values());
}

/// Every picture is the one that was looked at and kept (`TURNTALLY_BLESS=1` keeps the new ones).
#[test]
fn pictures_are_the_kept_ones() {
    let folder: PathBuf = [env!("CARGO_MANIFEST_DIR"), "tests", "screens"].iter().collect();
    let bless = std::env::var_os("TURNTALLY_BLESS").is_some_and(|value| value == "1");
    let mut different = String::new();
    for (name, hand) in scenes() {
        let file = folder.join(format!("{name}.txt"));
        let picture = Paper::of(&hand.bench).text();
        if bless {
            std::fs::write(&file, &picture).unwrap();
        } else if std::fs::read_to_string(&file).unwrap_or_default().replace('\r', "") != picture {
            writeln!(different, "{}:\n{picture}", file.display()).unwrap();
        }
    }
    assert!(different.is_empty(), "not as kept:\n{different}");
}
