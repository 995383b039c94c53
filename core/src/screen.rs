//! What the counter's 128x64 one-bit screen shows in every state.
//!
//! One number matters and stands 38 pixels tall. On the common 0.96 in module (10.9 mm active height
//! for 64 rows, data sheets, from memory) that is 6.5 mm: 22 minutes of arc from a metre away, in
//! the range that ISO 9241-303 (from memory) recommends. Below it turns of wire fill up as the coil
//! grows; "stop", "too far" and faults turn the whole screen inside out, so that they are seen from
//! the corner of an eye.
//!
//! Every page is laid out alike: a headline in rows 0 to 10, what matters in the middle, and at the
//! bottom what the two keys do now, No at the left in outline, Yes at the right filled. Words that
//! would be too wide take the next smaller type, and in the smallest they are cut with two dots, so
//! that nothing is ever drawn outside or over something else.

use core::fmt::Write;

use embedded_graphics::pixelcolor::BinaryColor;
use embedded_graphics::prelude::{DrawTarget, Point, Size};
use embedded_graphics::primitives::Rectangle;
use heapless::String;
use u8g2_fonts::types::{FontColor, VerticalPosition};
use u8g2_fonts::{Error, FontRenderer, fonts};

use crate::bench::{Bench, Choice, ErrorBound, Fault, Phase, Pick, RingCountEntry, RingEntry, State};
use crate::job::{Job, Target};
use crate::measured_ring::Oddity;
use crate::settings::{Calliper, Loudness, OnSpool};
use crate::signal::Channel;
use crate::units::{Turns, floor_div};

mod letters;
mod pages;

/// Pixels across.
pub const WIDTH: u32 = 128;
/// Pixels down.
pub const HEIGHT: u32 = 64;

/// The same, as drawing counts.
const ACROSS: i32 = WIDTH as i32;
/// The number that matters ends here; what it counts stands to the right of it.
const NUMBER_END: i32 = 93;
/// Baseline of the headline.
const HEADLINE: i32 = 9;
/// The keys' top row; they reach to the bottom.
const KEYS_TOP: i32 = 51;
const KEYS_HIGH: i32 = 13;

type Text = String<48>;
/// A type and those to take instead where the words do not fit, larger to smaller.
type Types = &'static [&'static FontRenderer];

/// One type of the font library; a character that it lacks is left out.
macro_rules! typeface {
    ($name:ident, $font:ident) => {
        static $name: FontRenderer = FontRenderer::new::<fonts::$font>().with_ignore_unknown_chars(true);
    };
}

// One type has the letters of Western Europe, since jobs are named in any of its languages.
typeface!(PLAIN_8, u8g2_font_helvR08_tf);
typeface!(BOLD_8, u8g2_font_helvB08_tr);
typeface!(BOLD_12, u8g2_font_helvB12_tr);
typeface!(DIGITS_38, u8g2_font_logisoso38_tn);
typeface!(DIGITS_32, u8g2_font_logisoso32_tn);
typeface!(DIGITS_26, u8g2_font_logisoso26_tn);
typeface!(DIGITS_22, u8g2_font_logisoso22_tn);
typeface!(DIGITS_16, u8g2_font_logisoso16_tn);

static STOP_32: FontRenderer = FontRenderer::new::<letters::STOP>().with_ignore_unknown_chars(true);

const PLAIN: Types = &[&PLAIN_8];
const BOLD: Types = &[&BOLD_8, &PLAIN_8];
const TITLE: Types = &[&BOLD_12, &PLAIN_8];
const STOP_WORD: Types = &[&STOP_32];
const NUMBER: Types = &[&DIGITS_38, &DIGITS_32, &DIGITS_26, &DIGITS_22, &DIGITS_16, &PLAIN_8];
const FIGURE: Types = &[&DIGITS_22, &DIGITS_16, &PLAIN_8];
const SMALL_FIGURE: Types = &[&DIGITS_16, &BOLD_8, &PLAIN_8];

/// Draws the bench's state on the whole screen.
///
/// # Errors
/// Whatever the screen itself gives.
pub fn draw<D>(bench: &Bench, target: &mut D) -> Result<(), D::Error>
where
    D: DrawTarget<Color = BinaryColor>,
{
    let inside_out = matches!(bench.phase(), Phase::Stop | Phase::Over | Phase::Fault);
    let (ink, paper) =
        if inside_out { (BinaryColor::Off, BinaryColor::On) } else { (BinaryColor::On, BinaryColor::Off) };
    target.clear(paper)?;
    let mut page = Page { target, ink };
    match bench.state() {
        State::Choose { pick } => choose(bench, *pick, &mut page),
        State::SetUp(set_up) => pages::set_up(bench, set_up, &mut page),
        State::CountRings(entry) => sawn(bench, *entry, &mut page),
        State::MeasureRing(entry) => measured(bench, *entry, &mut page),
        State::Ready => ready(bench, &mut page),
        State::Winding { .. } => winding(bench, &mut page),
        State::Paused => paused(bench, &mut page),
        State::Verdict { choice } => verdict(bench, *choice, &mut page),
        State::Next => next(bench, &mut page),
        State::Done => done(bench, &mut page),
        State::Fault { fault, in_coil } => trouble(bench, *fault, *in_coil, &mut page),
    }
}

/// Draws a message about the counter itself: what happened and what it means, in three lines of at
/// most 25 characters. Inside out, as every fault is.
///
/// # Errors
/// Whatever the screen itself gives.
pub fn notice<D>(title: &str, lines: [&str; 3], target: &mut D) -> Result<(), D::Error>
where
    D: DrawTarget<Color = BinaryColor>,
{
    target.clear(BinaryColor::On)?;
    let mut page = Page { target, ink: BinaryColor::Off };
    page.left(TITLE, title, 12)?;
    page.line(15)?;
    for (line, baseline) in lines.into_iter().zip([25, 36, 47]) {
        page.left(PLAIN, line, baseline)?;
    }
    page.keys(None, "ok")
}

fn choose<D: DrawTarget<Color = BinaryColor>>(
    bench: &Bench,
    pick: Pick,
    page: &mut Page<'_, D>,
) -> Result<(), D::Error> {
    let (title, line) = match (pick, bench.jobs().job()) {
        (Pick::Job, Some(job)) => (shown_name(&job.name), batch_so_far(bench, job)),
        (Pick::CountRings, Some(_)) => (text(format_args!("Count rings")), sawn_so_far(bench)),
        (Pick::MeasureRing, Some(_)) => (text(format_args!("Measure a ring")), ring_so_far(bench)),
        (Pick::SetUpCounter, _) => {
            (text(format_args!("Set up counter")), text(format_args!("encoder, gear, sound")))
        }
        _ => (text(format_args!("Set up a batch")), text(format_args!("wire, mandrel, rings"))),
    };
    let (at, of) = bench.picked(pick);
    page.headline(BOLD, "What now?", "turn the knob")?;
    page.rule()?;
    page.left(TITLE, &title, 28)?;
    page.left(PLAIN, &line, 43)?;
    page.places(at, of)?;
    page.keys(None, "choose")
}

/// What a batch is to give, and what has been made of it.
fn batch_so_far(bench: &Bench, job: &Job) -> Text {
    let progress = bench.jobs().progress();
    match (job.target, progress.kept) {
        (Target::Rings(rings), 0) => {
            text(format_args!("{}, {}", counted(rings, "ring"), counted(bench.jobs().coils_left(), "coil")))
        }
        (Target::Rings(rings), _) => text(format_args!("{} of {} rings made", progress.rings, rings)),
        (Target::Coils { coils, .. }, 0) => {
            text(format_args!("{} of {} turns", counted(coils, "coil"), to_go(bench.target_turns().nano())))
        }
        (Target::Coils { coils, .. }, kept) => text(format_args!("{kept} of {coils} coils made")),
    }
}

/// The coils that have been sawn, and what they promise.
fn sawn_so_far(bench: &Bench) -> Text {
    let uncounted = bench.jobs().uncounted();
    text(format_args!("{}: {} guaranteed", counted(uncounted.coils, "coil"), uncounted.rings))
}

/// What the maker counts after sawing.
fn sawn<D: DrawTarget<Color = BinaryColor>>(
    bench: &Bench,
    entry: RingCountEntry,
    page: &mut Page<'_, D>,
) -> Result<(), D::Error> {
    let (value, first, no, yes) = match entry.at_rejects {
        false => (entry.rings, "rings", "back", "rejects"),
        true => (entry.rejects, "no", "good", "write down"),
    };
    page.headline(PLAIN, &sawn_so_far(bench), "")?;
    page.number(&text(format_args!("{value}")))?;
    page.beside(first, "good")?;
    page.keys(Some(no), yes)
}

/// What ring has been measured, or may be.
fn ring_so_far(bench: &Bench) -> Text {
    let units = bench.settings().build.units;
    match bench.jobs().ring() {
        Some((_, Some(inside))) => {
            text(format_args!("{} {} measured", Calliper(inside, units), units.symbol()))
        }
        _ => text(format_args!("its inside; if you like")),
    }
}

/// The inside diameter of a ring.
fn measured<D: DrawTarget<Color = BinaryColor>>(
    bench: &Bench,
    entry: RingEntry,
    page: &mut Page<'_, D>,
) -> Result<(), D::Error> {
    let units = bench.settings().build.units;
    let inside = Calliper(entry.inside, units);
    let [least, most] = [entry.expected.0, entry.expected.1].map(|end| Calliper(end, units));
    if let Some(odd) = entry.asked {
        let (first, second) = match odd {
            Oddity::Outside => ("Is that the outside?", "The inside is asked for."),
            Oddity::Wider => ("Wider than expected:", "is the wire harder?"),
            Oddity::Narrower => ("Narrower than expected:", "is the wire softer?"),
        };
        page.headline(BOLD, &text(format_args!("{} {} inside?", inside, units.symbol())), "")?;
        page.rule()?;
        page.left(PLAIN, first, 24)?;
        page.left(PLAIN, second, 35)?;
        page.left(PLAIN, &text(format_args!("Expected: {least} to {most}")), 46)?;
        return page.keys(Some("back"), "it is right");
    }
    page.headline(PLAIN, &text(format_args!("Ring inside, {least} to {most}")), "")?;
    page.number(&text(format_args!("{inside}")))?;
    page.beside(units.symbol(), "as cut")?;
    page.keys(Some("leave"), "write down")
}

fn ready<D: DrawTarget<Color = BinaryColor>>(bench: &Bench, page: &mut Page<'_, D>) -> Result<(), D::Error> {
    let made = bench.jobs().progress().rings;
    let rings = match bench.jobs().job().map(|job| job.target) {
        Some(Target::Rings(wanted)) => text(format_args!("{made}/{wanted} rings")),
        _ => counted(made, "ring"),
    };
    page.headline(BOLD, &coil_of(bench), &rings)?;
    page.rule()?;
    page.left(PLAIN, "Catch the wire,", 26)?;
    page.left(PLAIN, "draw it tight.", 38)?;
    page.right_within(FIGURE, &to_go(bench.target_turns().nano()), 38, 48)?;
    page.right(PLAIN, "turns", 48)?;
    page.sound(bench)?;
    page.keys(Some("back"), "start at zero")
}

fn winding<D: DrawTarget<Color = BinaryColor>>(
    bench: &Bench,
    page: &mut Page<'_, D>,
) -> Result<(), D::Error> {
    let left = bench.target_turns().nano().saturating_sub(bench.turns().nano());
    page.headline(BOLD, &coil_of(bench), &rings_so_far(bench))?;
    match bench.phase() {
        Phase::Stop => {
            page.left(STOP_WORD, "STOP", 46)?;
            let (figure, words) =
                if left > 0 { (to_go(left), "to go") } else { (past(left.saturating_neg()), "turns past") };
            page.right_within(SMALL_FIGURE, &figure, 32, 44)?;
            page.right(PLAIN, words, 44)?;
            page.keys(Some("pause"), "coil done")
        }
        Phase::Over => {
            page.number(&past(left.saturating_neg()))?;
            page.beside("too", if bench.pieces() > 1 { "long" } else { "far" })?;
            page.keys(Some("pause"), "coil done")
        }
        phase => {
            page.number(&to_go(left.max(0)))?;
            page.beside("turns", "to go")?;
            match bench.loudness_shown() {
                _ if phase == Phase::Near => page.mark("near")?,
                Some(Loudness::Off) => page.mark("mute")?,
                Some(loudness) => page.mark(loudness.name())?,
                None => {}
            }
            page.coil(bench)
        }
    }
}

fn paused<D: DrawTarget<Color = BinaryColor>>(bench: &Bench, page: &mut Page<'_, D>) -> Result<(), D::Error> {
    page.headline(BOLD, &coil_of(bench), &rings_so_far(bench))?;
    page.rule()?;
    page.left(TITLE, "Paused", 26)?;
    page.left(PLAIN, "still counting", 38)?;
    page.right_within(FIGURE, &wound(bench.turns()), 38, 54)?;
    // Both have room beside each other only where the sound is off.
    if !matches!(bench.loudness_shown(), Some(Loudness::Soft | Loudness::Medium | Loudness::Full)) {
        page.right(PLAIN, &text(format_args!("of {} turns", to_go(bench.target_turns().nano()))), 48)?;
    }
    page.sound(bench)?;
    page.keys(Some("end coil"), "wind on")
}

fn verdict<D: DrawTarget<Color = BinaryColor>>(
    bench: &Bench,
    choice: Choice,
    page: &mut Page<'_, D>,
) -> Result<(), D::Error> {
    let rings = match bench.error_bound() {
        ErrorBound::Unknown => text(format_args!("0 guaranteed")),
        ErrorBound::Within(_) => text(format_args!("{} guaranteed", bench.rings_now())),
    };
    page.headline(PLAIN, &text(format_args!("{} turns", hundredths(bench.turns()))), &rings)?;
    // Past the cradle it is not seated whole: back it goes, or it is cut.
    let (keep, wind, back) = match bench.pieces() {
        1 => (text(format_args!("Keep: snip and saw")), "Wind on", "wind on"),
        pieces => (text(format_args!("Keep: cut in {pieces}, saw")), "Too long: wind back", "wind back"),
    };
    for (option, words, top) in
        [(Choice::Keep, &*keep, 12), (Choice::Scrap, "Throw it away", 25), (Choice::WindOn, wind, 38)]
    {
        page.option(words, top, option == choice)?;
    }
    page.keys(Some(back), "do it")
}

fn next<D: DrawTarget<Color = BinaryColor>>(bench: &Bench, page: &mut Page<'_, D>) -> Result<(), D::Error> {
    let progress = bench.jobs().progress();
    let (made, wanted, what) = match bench.jobs().job().map(|job| job.target) {
        Some(Target::Coils { coils, .. }) => (progress.kept, coils, "coils made"),
        Some(Target::Rings(rings)) => (progress.rings, rings, "guaranteed"),
        None => (0, 0, ""),
    };
    page.headline(
        BOLD,
        &text(format_args!("Coil {} kept", progress.kept)),
        &text(format_args!("{} to come", bench.jobs().coils_left())),
    )?;
    page.rule()?;
    page.left_with(SMALL_FIGURE, &text(format_args!("{made}")), 30, |page, end| {
        page.put(PLAIN, &text(format_args!("of {wanted} {what}")), end + 5, 30, Side::Left, ACROSS - 6 - end)
    })?;
    page.bar(34, made, wanted)?;
    let turns = to_go(bench.target_turns().nano());
    let next_coil = match bench.jobs().wire_left() {
        None => text(format_args!("Next: {turns} turns")),
        Some(left) => {
            text(format_args!("{} turns; {} left", turns, OnSpool(left, bench.settings().build.units)))
        }
    };
    page.left(PLAIN, &next_coil, 49)?;
    page.keys(Some("jobs"), "next")
}

fn done<D: DrawTarget<Color = BinaryColor>>(bench: &Bench, page: &mut Page<'_, D>) -> Result<(), D::Error> {
    let progress = bench.jobs().progress();
    page.headline(BOLD, "Batch done", &counted(progress.kept, "coil"))?;
    page.number(&text(format_args!("{}", progress.rings)))?;
    page.beside("rings", "made")?;
    page.keys(None, "jobs")
}

fn trouble<D: DrawTarget<Color = BinaryColor>>(
    bench: &Bench,
    fault: Fault,
    in_coil: bool,
    page: &mut Page<'_, D>,
) -> Result<(), D::Error> {
    let (title, lines) = fault_words(fault);
    page.left(TITLE, title, 12)?;
    page.line(15)?;
    if fault == Fault::PowerCut {
        return power_cut(bench, page);
    }
    page.left(PLAIN, lines[0], 25)?;
    page.left(PLAIN, lines[1], 36)?;
    if !in_coil {
        return page.keys(None, "ok");
    }
    if fault == Fault::Backwards {
        return page.keys(Some("scrap"), "flip it");
    }
    let error_bound = match bench.error_bound() {
        ErrorBound::Unknown => text(format_args!("Count lost: 0 guaranteed")),
        ErrorBound::Within(_) => text(format_args!("{} guaranteed", counted(bench.rings_now(), "ring"))),
    };
    page.left(BOLD, &error_bound, 47)?;
    page.keys(Some("scrap"), "go on")
}

/// The saved count of the coil, and on what it depends.
fn power_cut<D: DrawTarget<Color = BinaryColor>>(
    bench: &Bench,
    page: &mut Page<'_, D>,
) -> Result<(), D::Error> {
    let saved = text(format_args!("{} turns saved,", hundredths(bench.turns())));
    page.left(BOLD, &saved, 25)?;
    let (first, second) = match (bench.error_bound(), bench.jobs().job()) {
        (ErrorBound::Within(error_bound), Some(job)) => {
            let counts = i64::try_from(error_bound).unwrap_or(i64::MAX);
            let turns = job.rule.per_turn().turns(counts).unwrap_or_default();
            (text(format_args!("to within {}: holds if", hundredths_up(turns))), "the crank stood still.")
        }
        _ => (text(format_args!("more came after them:")), "0 rings guaranteed."),
    };
    page.left(PLAIN, &first, 36)?;
    page.left(PLAIN, second, 47)?;
    page.keys(Some("scrap"), "go on")
}

/// A fault's title and the two lines that say what to do about it.
#[must_use]
pub const fn fault_words(fault: Fault) -> (&'static str, [&'static str; 2]) {
    match fault {
        Fault::Dead(Channel::A) => ("Channel A dead", ["It never moves. Check", "its wire and its plug."]),
        Fault::Dead(Channel::B) => ("Channel B dead", ["It never moves. Check", "its wire and its plug."]),
        Fault::MissedSteps => ("Steps missed", ["The encoder skips steps:", "check wires, crank slower."]),
        Fault::Chatter => ("Chatter", ["Contacts bounce too long", "for this speed: go slower."]),
        Fault::Backwards => ("Backwards", ["The count runs backwards.", "If you wound on: flip it."]),
        Fault::SamplesLost => ("Samples lost", ["The counter was late and", "missed part of the coil."]),
        Fault::OutOfRange => ("Out of range", ["The count is impossible.", "Throw the coil away."]),
        Fault::PowerCut => ("Power was cut", ["The count holds if", "the crank stood still."]),
    }
}

/// Which coil of the batch it is.
fn coil_of(bench: &Bench) -> Text {
    let kept = bench.jobs().progress().kept;
    let coils = kept.saturating_add(bench.jobs().coils_left());
    text(format_args!("Coil {} of {}", kept.saturating_add(1), coils))
}

/// Rings that the coil on the mandrel guarantees; `~` where the error bound has lowered them.
fn rings_so_far(bench: &Bench) -> Text {
    match bench.error_bound() {
        ErrorBound::Unknown => text(format_args!("? rings")),
        ErrorBound::Within(0) => counted(bench.rings_now(), "ring"),
        ErrorBound::Within(_) => text(format_args!("~{}", counted(bench.rings_now(), "ring"))),
    }
}

fn text(arguments: core::fmt::Arguments<'_>) -> Text {
    let mut text = Text::new();
    // What does not fit is cut off: the screen is narrower than the buffer.
    _ = text.write_fmt(arguments);
    text
}

/// `1 ring`, `2 rings`.
fn counted(number: u32, thing: &str) -> Text {
    text(format_args!("{} {}{}", number, thing, if number == 1 { "" } else { "s" }))
}

/// A job's name without characters that would move the pen.
fn shown_name(name: &str) -> Text {
    let mut shown = Text::new();
    for c in name.chars() {
        _ = shown.push(if c.is_control() { ' ' } else { c });
    }
    shown
}

/// Turns on the mandrel with one decimal, rounded down: never more than were wound.
fn wound(turns: Turns) -> Text {
    with_tenth(turns.nano().div_euclid(Turns::ONE / 10))
}

/// Turns still to go, rounded up: zero only when there is nothing left. With one decimal below 100.
fn to_go(nano: i64) -> Text {
    let up = |unit: i64| nano.div_euclid(unit) + i64::from(nano.rem_euclid(unit) > 0);
    let tenths = up(Turns::ONE / 10);
    if tenths >= 1_000 { text(format_args!("{}", up(Turns::ONE))) } else { with_tenth(tenths) }
}

/// Turns too many, rounded up like those to go, with a sign.
fn past(nano: i64) -> Text {
    text(format_args!("+{}", to_go(nano)))
}

fn with_tenth(tenths: i64) -> Text {
    let sign = if tenths < 0 { "-" } else { "" };
    let tenths = tenths.saturating_abs();
    text(format_args!("{}{}.{}", sign, tenths / 10, tenths % 10))
}

/// Rounded up, as a error bound is.
fn hundredths_up(turns: Turns) -> Text {
    hundredths(Turns::from_nano(turns.nano().saturating_add(Turns::ONE / 100 - 1)))
}

fn hundredths(turns: Turns) -> Text {
    let parts = turns.nano().div_euclid(Turns::ONE / 100);
    let sign = if parts < 0 { "-" } else { "" };
    let parts = parts.abs();
    text(format_args!("{}{}.{}{}", sign, parts / 100, parts / 10 % 10, parts % 10))
}

/// Pixels that the words take.
fn width(font: &FontRenderer, words: &str) -> i32 {
    font.get_rendered_dimensions(words, Point::zero(), VerticalPosition::Baseline)
        .ok()
        .and_then(|dimensions| dimensions.bounding_box)
        // From the pen's place, not from the first pixel: the words are set at the pen.
        .map_or(0, |bounds| {
            bounds.top_left.x.max(0) + i32::try_from(bounds.size.width).unwrap_or(i32::MAX / 2)
        })
}

/// The first type in which the words fit the room; else the smallest, with the words cut.
fn fitted(types: Types, words: &str, room: i32) -> (&'static FontRenderer, Text) {
    let mut shown = text(format_args!("{words}"));
    let types = if words.is_ascii() { types } else { PLAIN };
    for font in types {
        if width(font, &shown) <= room {
            return (font, shown);
        }
    }
    let smallest = types.last().copied().unwrap_or(&PLAIN_8);
    let mut kept = shown.clone();
    while kept.pop().is_some() {
        shown = text(format_args!("{}..", kept.trim_end()));
        if width(smallest, &shown) <= room {
            return (smallest, shown);
        }
    }
    (smallest, Text::new())
}

/// Where words start from.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Side {
    Left,
    Centre,
    Right,
}

/// The screen with the colour that is drawn in.
struct Page<'a, D> {
    target: &'a mut D,
    ink: BinaryColor,
}

impl<D: DrawTarget<Color = BinaryColor>> Page<'_, D> {
    /// Sets words from `x` on (or to it, or about it) and says how wide they came out.
    fn set(&mut self, types: Types, words: &str, at: Point, side: Side, room: i32) -> Result<i32, D::Error> {
        let (font, words) = fitted(types, words, room);
        let wide = width(font, &words);
        let from = match side {
            Side::Left => at.x,
            Side::Centre => at.x - wide / 2,
            Side::Right => at.x - wide + 1,
        };
        let (pen, color) = (Point::new(from, at.y), FontColor::Transparent(self.ink));
        match font.render(words.as_str(), pen, VerticalPosition::Baseline, color, self.target) {
            Err(Error::DisplayError(error)) => Err(error),
            // Glyphs that a font lacks are left out; the fonts here have no background to refuse.
            _ => Ok(wide),
        }
    }

    fn put(
        &mut self,
        types: Types,
        words: &str,
        x: i32,
        baseline: i32,
        side: Side,
        room: i32,
    ) -> Result<(), D::Error> {
        self.set(types, words, Point::new(x, baseline), side, room).map(|_| ())
    }

    fn left(&mut self, types: Types, words: &str, baseline: i32) -> Result<(), D::Error> {
        self.put(types, words, 1, baseline, Side::Left, ACROSS - 2)
    }

    /// Words from the left, and what follows them: it is given where they end.
    fn left_with(
        &mut self,
        types: Types,
        words: &str,
        baseline: i32,
        then: impl FnOnce(&mut Self, i32) -> Result<(), D::Error>,
    ) -> Result<(), D::Error> {
        let wide = self.set(types, words, Point::new(1, baseline), Side::Left, ACROSS / 2)?;
        then(self, 1 + wide)
    }

    fn right(&mut self, types: Types, words: &str, baseline: i32) -> Result<(), D::Error> {
        self.right_within(types, words, baseline, ACROSS - 2)
    }

    fn right_within(&mut self, types: Types, words: &str, baseline: i32, room: i32) -> Result<(), D::Error> {
        self.put(types, words, ACROSS - 2, baseline, Side::Right, room)
    }

    /// The top line: what it is about, and how much of it.
    /// (An `rn` runs together to an `m` in the small bold type: words with one are set plain.)
    fn headline(&mut self, types: Types, left: &str, right: &str) -> Result<(), D::Error> {
        let end = Point::new(ACROSS - 2, HEADLINE);
        let taken = self.set(PLAIN, right, end, Side::Right, ACROSS - 2)?;
        self.put(types, left, 1, HEADLINE, Side::Left, ACROSS - 8 - taken)
    }

    /// The rule below the headline.
    fn rule(&mut self) -> Result<(), D::Error> {
        self.line(12)
    }

    /// Fills so many pixels across and down. (The drawing library's shapes would take 4 KB of a chip.)
    fn block(&mut self, left: i32, top: i32, wide: i32, high: i32) -> Result<(), D::Error> {
        let size = |pixels| u32::try_from(pixels).unwrap_or(0);
        let block = Rectangle::new(Point::new(left, top), Size::new(size(wide), size(high)));
        self.target.fill_solid(&block, self.ink)
    }

    fn line(&mut self, y: i32) -> Result<(), D::Error> {
        self.block(0, y, ACROSS, 1)
    }

    /// The number that matters.
    fn number(&mut self, words: &str) -> Result<(), D::Error> {
        self.put(NUMBER, words, NUMBER_END, 49, Side::Right, NUMBER_END + 1)
    }

    /// What the number counts, in two short words beside it.
    fn beside(&mut self, first: &str, second: &str) -> Result<(), D::Error> {
        let (x, room) = (NUMBER_END + 6, ACROSS - NUMBER_END - 7);
        self.put(PLAIN, first, x, 38, Side::Left, room)?;
        self.put(PLAIN, second, x, 48, Side::Left, room)
    }

    /// A filled word above what stands beside the number.
    fn mark(&mut self, word: &str) -> Result<(), D::Error> {
        let left = NUMBER_END + 3;
        let wide = ACROSS - left;
        self.filled(left, 14, wide, 12)?;
        self.inverted(|page| page.put(BOLD, word, left + wide / 2, 23, Side::Centre, wide - 2))
    }

    /// How loud the sounder is, where that is to be known.
    fn sound(&mut self, bench: &Bench) -> Result<(), D::Error> {
        match bench.loudness_shown() {
            Some(loudness) => self.left(PLAIN, &text(format_args!("sound {}", loudness.name())), 48),
            None => Ok(()),
        }
    }

    /// A key's shape: a bar with its corners taken off.
    fn filled(&mut self, left: i32, top: i32, wide: i32, high: i32) -> Result<(), D::Error> {
        self.block(left + 1, top, wide - 2, 1)?;
        self.block(left, top + 1, wide, high - 2)?;
        self.block(left + 1, top + high - 1, wide - 2, 1)
    }

    /// The same in outline; with its corners where it is square.
    fn outlined(&mut self, left: i32, top: i32, wide: i32, high: i32, corner: i32) -> Result<(), D::Error> {
        self.block(left + corner, top, wide - 2 * corner, 1)?;
        self.block(left, top + 1, 1, high - 2)?;
        self.block(left + wide - 1, top + 1, 1, high - 2)?;
        self.block(left + corner, top + high - 1, wide - 2 * corner, 1)
    }

    /// Draws in the paper's colour, on something filled.
    fn inverted(&mut self, draw: impl FnOnce(&mut Self) -> Result<(), D::Error>) -> Result<(), D::Error> {
        self.ink = self.ink.invert();
        let drawn = draw(self);
        self.ink = self.ink.invert();
        drawn
    }

    /// What the two keys do now: No on the left in outline, Yes on the right filled.
    fn keys(&mut self, no: Option<&str>, yes: &str) -> Result<(), D::Error> {
        let baseline = KEYS_TOP + 10;
        if let Some(no) = no {
            self.outlined(0, KEYS_TOP, width(&PLAIN_8, no) + 9, KEYS_HIGH, 1)?;
            self.put(PLAIN, no, 4, baseline, Side::Left, ACROSS / 2)?;
        }
        let wide = width(&BOLD_8, yes) + 9;
        self.filled(ACROSS - wide, KEYS_TOP, wide, KEYS_HIGH)?;
        self.inverted(|page| page.put(BOLD, yes, ACROSS - 5, baseline, Side::Right, wide))
    }

    /// One of several things to choose from.
    fn option(&mut self, words: &str, top: i32, marked: bool) -> Result<(), D::Error> {
        if !marked {
            return self.put(PLAIN, words, 5, top + 9, Side::Left, ACROSS - 9);
        }
        self.filled(0, top, ACROSS, 12)?;
        self.inverted(|page| page.put(BOLD, words, 5, top + 9, Side::Left, ACROSS - 9))
    }

    /// The same with what it is set to, at the right.
    fn setting(&mut self, words: &str, value: &str, top: i32, marked: bool) -> Result<(), D::Error> {
        let set = |page: &mut Self, types| {
            let end = Point::new(ACROSS - 5, top + 9);
            let taken = page.set(PLAIN, value, end, Side::Right, ACROSS - 50)?;
            page.put(types, words, 5, top + 9, Side::Left, ACROSS - 15 - taken)
        };
        if !marked {
            return set(self, PLAIN);
        }
        self.filled(0, top, ACROSS, 12)?;
        self.inverted(|page| set(page, BOLD))
    }

    /// Small squares, one for each of several: the one that is meant is filled.
    fn places(&mut self, meant: usize, of: usize) -> Result<(), D::Error> {
        let mut x = 1;
        // More than fit beside the key are shown as a number.
        if of > 10 {
            return self.left(PLAIN, &text(format_args!("{}/{}", meant + 1, of)), KEYS_TOP + 10);
        }
        let apart = if of > 8 { 7 } else { 9 };
        for place in 0..of {
            if place == meant {
                self.block(x, KEYS_TOP + 4, 5, 5)?;
            } else {
                self.outlined(x, KEYS_TOP + 4, 5, 5, 0)?;
            }
            x += apart;
        }
        Ok(())
    }

    /// How much of something is there, as a bar across the screen.
    fn bar(&mut self, top: i32, part: u32, whole: u32) -> Result<(), D::Error> {
        self.outlined(0, top, ACROSS, 6, 0)?;
        self.block(2, top + 2, share(part.into(), whole.into(), ACROSS - 4), 2)
    }

    /// The coil as it grows on its mandrel: slanted turns of wire towards a post at the target.
    fn coil(&mut self, bench: &Bench) -> Result<(), D::Error> {
        const POST: i32 = ACROSS - 5;
        let grown = share(bench.turns().nano(), bench.target_turns().nano(), POST - 3);
        let mut x = 0;
        while x + 4 <= grown {
            for step in 0..4 {
                self.block(x + step, 60 - 2 * step, 2, 2)?;
            }
            x += 4;
        }
        self.line(63)?;
        self.block(POST, 52, 2, 11)
    }
}

/// As many pixels of them all as the part is of the whole, rounded down.
fn share(part: i64, whole: i64, pixels: i32) -> i32 {
    let whole = whole.max(1);
    let shown = floor_div(i128::from(part.clamp(0, whole)) * i128::from(pixels), whole);
    shown.and_then(|shown| i32::try_from(shown).ok()).unwrap_or(0)
}
