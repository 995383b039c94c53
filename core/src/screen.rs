//! What the counter's 128x64 one-bit screen shows in every state.
//!
//! One number matters and stands 38 pixels tall. On the common 0.96 in module (10.9 mm active height
//! for 64 rows, data sheets, from memory) that is 6.5 mm: 22 minutes of arc from a metre away, in
//! the range that ISO 9241-303 (from memory) recommends. Below it turns of wire fill up as the coil
//! grows; "stop" and "too far" turn the whole screen inside out, so that they are seen from the
//! corner of an eye.

use core::fmt::Write;

use embedded_graphics::pixelcolor::BinaryColor;
use embedded_graphics::prelude::{DrawTarget, Drawable, Point, Primitive, Size};
use embedded_graphics::primitives::{Line, PrimitiveStyle, Rectangle};
use heapless::String;
use u8g2_fonts::types::{FontColor, HorizontalAlignment, VerticalPosition};
use u8g2_fonts::{Error, FontRenderer, fonts};

use crate::bench::{Bench, Choice, Doubt, Fault, Phase, State};
use crate::signal::Channel;
use crate::units::Turns;

/// Pixels across.
pub const WIDTH: u32 = 128;
/// Pixels down.
pub const HEIGHT: u32 = 64;

type Text = String<32>;

const SMALL: FontRenderer =
    FontRenderer::new::<fonts::u8g2_font_profont11_tr>().with_ignore_unknown_chars(true);
const MEDIUM: FontRenderer =
    FontRenderer::new::<fonts::u8g2_font_profont17_tr>().with_ignore_unknown_chars(true);
const WORD: FontRenderer =
    FontRenderer::new::<fonts::u8g2_font_logisoso32_tr>().with_ignore_unknown_chars(true);
const NUMBER: FontRenderer =
    FontRenderer::new::<fonts::u8g2_font_logisoso38_tn>().with_ignore_unknown_chars(true);

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
        State::Choose => choose(bench, &mut page),
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
    page.left(&MEDIUM, title, 14)?;
    page.rule(17)?;
    for (line, baseline) in lines.into_iter().zip([28, 39, 50]) {
        page.left(&SMALL, line, baseline)?;
    }
    page.keys(None, "ok")
}

fn choose<D: DrawTarget<Color = BinaryColor>>(bench: &Bench, page: &mut Page<'_, D>) -> Result<(), D::Error> {
    let Some((index, job)) = bench.job() else {
        page.left(&SMALL, "No job yet", 12)?;
        return page.left(&SMALL, "Send one from a computer", 28);
    };
    page.left(&SMALL, "Which job?", 8)?;
    page.right(&SMALL, &text(format_args!("{} of {}", index + 1, bench.jobs().len())), 8)?;
    page.rule(11)?;
    page.left(&SMALL, &job.name, 24)?;
    page.left(&MEDIUM, &text(format_args!("{} rings", job.rings)), 41)?;
    let progress = bench.progress();
    if progress.kept > 0 {
        page.right(&SMALL, &text(format_args!("{} made", progress.rings)), 41)?;
    }
    page.keys(None, "yes")?;
    if bench.jobs().len() > 1 {
        page.centre(&SMALL, "knob", 62)?;
    }
    Ok(())
}

fn ready<D: DrawTarget<Color = BinaryColor>>(bench: &Bench, page: &mut Page<'_, D>) -> Result<(), D::Error> {
    header(bench, page)?;
    page.left(&SMALL, "Catch the wire, draw it", 22)?;
    page.left(&SMALL, "tight, then start at zero.", 33)?;
    page.left(&SMALL, &text(format_args!("Target {} turns", tenths(bench.target_turns()))), 47)?;
    page.keys(Some("back"), "start")
}

fn winding<D: DrawTarget<Color = BinaryColor>>(
    bench: &Bench,
    page: &mut Page<'_, D>,
) -> Result<(), D::Error> {
    let phase = bench.phase();
    let left = bench.target_turns().nano() - bench.turns().nano();
    header(bench, page)?;
    match phase {
        Phase::Stop => {
            page.left(&WORD, "STOP", 48)?;
            let sign = if left > 0 { "" } else { "+" };
            page.right(&MEDIUM, &text(format_args!("{sign}{}", tenths_up(left.abs()))), 30)?;
            page.right(&SMALL, if left > 0 { "to go" } else { "past" }, 44)?;
        }
        Phase::Over => {
            page.number(&text(format_args!("+{}", tenths(Turns::from_nano(-left)))))?;
            page.beside("too", "far")?;
        }
        _ => {
            page.number(&tenths_up(left.max(0)))?;
            page.beside("turns", "to go")?;
        }
    }
    page.coil(bench)
}

fn paused<D: DrawTarget<Color = BinaryColor>>(bench: &Bench, page: &mut Page<'_, D>) -> Result<(), D::Error> {
    header(bench, page)?;
    page.left(&MEDIUM, "Paused", 27)?;
    page.left(&SMALL, &text(format_args!("{} turns on", tenths(bench.turns()))), 39)?;
    page.left(&SMALL, &text(format_args!("of {}, still counting", tenths(bench.target_turns()))), 49)?;
    page.keys(Some("end coil"), "wind on")
}

fn verdict<D: DrawTarget<Color = BinaryColor>>(
    bench: &Bench,
    choice: Choice,
    page: &mut Page<'_, D>,
) -> Result<(), D::Error> {
    page.left(&SMALL, &text(format_args!("{} turns", hundredths(bench.turns()))), 8)?;
    match bench.doubt() {
        Doubt::Unknown => page.right(&SMALL, "rings unknown", 8)?,
        Doubt::Within(_) => page.right(&SMALL, &text(format_args!("{} rings sure", bench.rings_now())), 8)?,
    }
    page.rule(11)?;
    for (index, (option, words)) in
        [(Choice::Keep, "Keep: snip and saw"), (Choice::Scrap, "Throw it away"), (Choice::WindOn, "Wind on")]
            .into_iter()
            .enumerate()
    {
        let top = 14 + 13 * index as i32;
        page.option(words, top, option == choice)?;
    }
    page.keys(Some("wind on"), "do it")
}

fn next<D: DrawTarget<Color = BinaryColor>>(bench: &Bench, page: &mut Page<'_, D>) -> Result<(), D::Error> {
    let progress = bench.progress();
    let wanted = bench.job().map_or(0, |(_, job)| job.rings);
    page.left(&SMALL, &text(format_args!("Coil {} kept", progress.kept)), 8)?;
    page.right(&SMALL, &text(format_args!("{} to come", bench.coils_left())), 8)?;
    page.rule(11)?;
    page.left(&MEDIUM, &text(format_args!("{} of {wanted}", progress.rings)), 28)?;
    page.left(&SMALL, "rings sure so far", 39)?;
    page.left(&SMALL, &text(format_args!("Next coil {} turns", tenths(bench.target_turns()))), 50)?;
    page.keys(Some("jobs"), "next")
}

fn done<D: DrawTarget<Color = BinaryColor>>(bench: &Bench, page: &mut Page<'_, D>) -> Result<(), D::Error> {
    let progress = bench.progress();
    page.left(&SMALL, "Batch done", 8)?;
    page.right(&SMALL, &text(format_args!("{} coils", progress.kept)), 8)?;
    page.rule(11)?;
    page.number(&text(format_args!("{}", progress.rings)))?;
    page.beside("rings", "sure")?;
    page.keys(None, "jobs")
}

fn trouble<D: DrawTarget<Color = BinaryColor>>(
    bench: &Bench,
    fault: Fault,
    in_coil: bool,
    page: &mut Page<'_, D>,
) -> Result<(), D::Error> {
    let (title, lines) = fault_words(fault);
    page.left(&MEDIUM, title, 14)?;
    page.rule(17)?;
    page.left(&SMALL, lines[0], 28)?;
    page.left(&SMALL, lines[1], 39)?;
    if !in_coil {
        return page.keys(None, "ok");
    }
    let doubt = match (fault, bench.doubt()) {
        (Fault::Backwards, _) => Text::new(),
        (_, Doubt::Unknown) => text(format_args!("Count lost: no promise")),
        (_, Doubt::Within(_)) => text(format_args!("{} rings still sure", bench.rings_now())),
    };
    page.left(&SMALL, &doubt, 50)?;
    if fault == Fault::Backwards {
        page.keys(Some("scrap"), "turn round")
    } else {
        page.keys(Some("scrap"), "go on")
    }
}

/// A fault's title and the two lines that say what to do about it.
#[must_use]
pub const fn fault_words(fault: Fault) -> (&'static str, [&'static str; 2]) {
    match fault {
        Fault::Dead(Channel::A) => ("A is dead", ["Channel A never moves.", "Check its wire and plug."]),
        Fault::Dead(Channel::B) => ("B is dead", ["Channel B never moves.", "Check its wire and plug."]),
        Fault::MissedSteps => ("Steps missed", ["The encoder skips steps.", "Check wires, crank slower"]),
        Fault::Chatter => ("Chatter", ["Contacts bounce too long", "for this speed: go slower"]),
        Fault::Backwards => ("Backwards", ["The count runs backwards.", "Was it the winding way?"]),
        Fault::SamplesLost => ("Samples lost", ["The counter was late and", "missed part of the coil."]),
        Fault::OutOfRange => ("Out of range", ["The count cannot be.", "Throw the coil away."]),
    }
}

/// Coil and rings of the batch, above the rule.
fn header<D: DrawTarget<Color = BinaryColor>>(bench: &Bench, page: &mut Page<'_, D>) -> Result<(), D::Error> {
    let progress = bench.progress();
    let coil = progress.kept.saturating_add(1);
    let coils = progress.kept.saturating_add(bench.coils_left());
    page.left(&SMALL, &text(format_args!("coil {coil}/{coils}")), 8)?;
    let rings = match bench.doubt() {
        Doubt::Unknown => text(format_args!("? rings")),
        Doubt::Within(0) => text(format_args!("{} rings", bench.rings_now())),
        Doubt::Within(_) => text(format_args!("~{} rings", bench.rings_now())),
    };
    page.right(&SMALL, &rings, 8)
}

fn text(arguments: core::fmt::Arguments<'_>) -> Text {
    let mut text = Text::new();
    // What does not fit is cut off: the screen is narrower than the buffer.
    _ = text.write_fmt(arguments);
    text
}

/// Turns with one decimal, rounded down: never more than were wound. Past 999.9 without decimals.
fn tenths(turns: Turns) -> Text {
    let tenths = turns.nano().div_euclid(Turns::ONE / 10);
    shown(tenths)
}

/// Turns still to go with one decimal, rounded up: zero only when there is nothing left.
fn tenths_up(nano: i64) -> Text {
    shown(nano.div_euclid(Turns::ONE / 10) + i64::from(nano.rem_euclid(Turns::ONE / 10) > 0))
}

fn shown(tenths: i64) -> Text {
    let sign = if tenths < 0 { "-" } else { "" };
    let tenths = tenths.unsigned_abs();
    if tenths >= 10_000 {
        return text(format_args!("{sign}{}", tenths / 10));
    }
    text(format_args!("{sign}{}.{}", tenths / 10, tenths % 10))
}

fn hundredths(turns: Turns) -> Text {
    let parts = turns.nano().div_euclid(Turns::ONE / 100);
    let sign = if parts < 0 { "-" } else { "" };
    text(format_args!("{sign}{}.{:02}", parts.unsigned_abs() / 100, parts.unsigned_abs() % 100))
}

/// The screen with the colour that is drawn in.
struct Page<'a, D> {
    target: &'a mut D,
    ink: BinaryColor,
}

impl<D: DrawTarget<Color = BinaryColor>> Page<'_, D> {
    fn put(
        &mut self,
        font: &FontRenderer,
        words: &str,
        at: Point,
        align: HorizontalAlignment,
    ) -> Result<(), D::Error> {
        let color = FontColor::Transparent(self.ink);
        match font.render_aligned(words, at, VerticalPosition::Baseline, align, color, self.target) {
            Err(Error::DisplayError(error)) => Err(error),
            // Glyphs that a font lacks are left out; the fonts here have no background to refuse.
            _ => Ok(()),
        }
    }

    fn left(&mut self, font: &FontRenderer, words: &str, baseline: i32) -> Result<(), D::Error> {
        self.put(font, words, Point::new(1, baseline), HorizontalAlignment::Left)
    }

    fn right(&mut self, font: &FontRenderer, words: &str, baseline: i32) -> Result<(), D::Error> {
        self.put(font, words, Point::new(WIDTH as i32 - 2, baseline), HorizontalAlignment::Right)
    }

    fn centre(&mut self, font: &FontRenderer, words: &str, baseline: i32) -> Result<(), D::Error> {
        self.put(font, words, Point::new(WIDTH as i32 / 2, baseline), HorizontalAlignment::Center)
    }

    /// The number that matters.
    fn number(&mut self, words: &str) -> Result<(), D::Error> {
        self.put(&NUMBER, words, Point::new(93, 49), HorizontalAlignment::Right)
    }

    /// What the number counts, in two short words beside it.
    fn beside(&mut self, first: &str, second: &str) -> Result<(), D::Error> {
        self.put(&SMALL, first, Point::new(97, 37), HorizontalAlignment::Left)?;
        self.put(&SMALL, second, Point::new(97, 48), HorizontalAlignment::Left)
    }

    fn rule(&mut self, y: i32) -> Result<(), D::Error> {
        Line::new(Point::new(0, y), Point::new(WIDTH as i32 - 1, y))
            .into_styled(PrimitiveStyle::with_stroke(self.ink, 1))
            .draw(self.target)
    }

    /// What the two keys do now: No on the left, Yes on the right.
    fn keys(&mut self, no: Option<&str>, yes: &str) -> Result<(), D::Error> {
        if let Some(no) = no {
            self.left(&SMALL, &text(format_args!("<{no}")), 62)?;
        }
        self.right(&SMALL, &text(format_args!("{yes}>")), 62)
    }

    fn option(&mut self, words: &str, top: i32, marked: bool) -> Result<(), D::Error> {
        if marked {
            Rectangle::new(Point::new(0, top), Size::new(WIDTH, 12))
                .into_styled(PrimitiveStyle::with_fill(self.ink))
                .draw(self.target)?;
        }
        let ink = self.ink;
        if marked {
            self.ink = ink.invert();
        }
        let drawn = self.put(&SMALL, words, Point::new(4, top + 9), HorizontalAlignment::Left);
        self.ink = ink;
        drawn
    }

    /// The coil as it grows: slanted turns of wire towards a post that stands at the target.
    fn coil(&mut self, bench: &Bench) -> Result<(), D::Error> {
        const POST: i64 = 118;
        let thin = PrimitiveStyle::with_stroke(self.ink, 1);
        let target = bench.target_turns().nano().max(1);
        let grown = i128::from(bench.turns().nano().max(0)) * i128::from(POST) / i128::from(target);
        let grown = i32::try_from(grown).unwrap_or(i32::MAX).min(WIDTH as i32 - 4);
        let post = POST as i32;
        Line::new(Point::new(0, 63), Point::new(WIDTH as i32 - 1, 63)).into_styled(thin).draw(self.target)?;
        let mut x = 0;
        while x + 3 <= grown {
            Line::new(Point::new(x, 61), Point::new(x + 3, 54))
                .into_styled(PrimitiveStyle::with_stroke(self.ink, 2))
                .draw(self.target)?;
            x += 4;
        }
        Line::new(Point::new(post + 4, 52), Point::new(post + 4, 63)).into_styled(thin).draw(self.target)
    }
}
