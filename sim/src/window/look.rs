//! Colours and type: paper and steel, verdigris for what can be done, copper for what is marked.

use std::sync::Arc;

use eframe::egui::{
    Button, Color32, Context, CornerRadius, FontData, FontDefinitions, FontFamily, FontId, Frame, Margin,
    RichText, Stroke, TextStyle, Theme, Ui, Visuals,
};

/// The typeface, made for legibility, with figures of one width; its licence is beside it.
const REGULAR: &[u8] = include_bytes!("../../fonts/atkinson-hyperlegible-next-regular.ttf");
const BOLD: &[u8] = include_bytes!("../../fonts/atkinson-hyperlegible-next-bold.ttf");
/// The family of the bold face: egui has no weights.
const BOLD_FAMILY: &str = "bold";

/// The largest text of the bench view: what to do next.
pub const SENTENCE: f32 = 26.0;

/// The colours that our own drawings use, by the theme in force.
#[derive(Debug, Clone, Copy)]
pub struct Palette {
    /// The ground of a card.
    pub card: Color32,
    /// Behind the cards.
    pub ground: Color32,
    /// Text.
    pub ink: Color32,
    /// Text that matters less; still 4.5:1 on the card.
    pub faint: Color32,
    /// Lines between things: decoration alone.
    pub rule: Color32,
    /// The edge of whatever can be clicked or filled in: 3:1 on card and ground.
    pub edge: Color32,
    /// The ground of fields and check boxes.
    pub field: Color32,
    /// What can be done.
    pub accent: Color32,
    /// What is marked.
    pub copper: Color32,
    /// What is wrong.
    pub wrong: Color32,
    /// Steel of mandrel and crank: light, middle, dark.
    pub steel: [Color32; 3],
}

const LIGHT: Palette = Palette {
    card: Color32::from_rgb(0xfb, 0xfa, 0xf6),
    ground: Color32::from_rgb(0xe9, 0xe6, 0xde),
    ink: Color32::from_rgb(0x24, 0x28, 0x2a),
    faint: Color32::from_rgb(0x5a, 0x5e, 0x5c),
    rule: Color32::from_rgb(0xd8, 0xd4, 0xc9),
    edge: Color32::from_rgb(0x7e, 0x80, 0x7a),
    field: Color32::WHITE,
    accent: Color32::from_rgb(0x14, 0x66, 0x5d),
    copper: Color32::from_rgb(0x9a, 0x4b, 0x1c),
    wrong: Color32::from_rgb(0xb0, 0x28, 0x22),
    steel: [
        Color32::from_rgb(0xe4, 0xe8, 0xea),
        Color32::from_rgb(0xae, 0xb5, 0xb9),
        Color32::from_rgb(0x6d, 0x75, 0x7a),
    ],
};

const DARK: Palette = Palette {
    card: Color32::from_rgb(0x26, 0x2a, 0x29),
    ground: Color32::from_rgb(0x1b, 0x1d, 0x1c),
    ink: Color32::from_rgb(0xe9, 0xe4, 0xd8),
    faint: Color32::from_rgb(0xa6, 0xa8, 0xa2),
    rule: Color32::from_rgb(0x3b, 0x40, 0x3f),
    edge: Color32::from_rgb(0x86, 0x8b, 0x87),
    field: Color32::from_rgb(0x15, 0x17, 0x16),
    accent: Color32::from_rgb(0x6d, 0xc4, 0xb6),
    copper: Color32::from_rgb(0xe2, 0x96, 0x62),
    wrong: Color32::from_rgb(0xf0, 0x82, 0x78),
    steel: [
        Color32::from_rgb(0xc3, 0xca, 0xce),
        Color32::from_rgb(0x84, 0x8c, 0x91),
        Color32::from_rgb(0x4a, 0x51, 0x55),
    ],
};

/// The palette of a theme.
#[must_use]
pub const fn palette(dark: bool) -> Palette {
    if dark { DARK } else { LIGHT }
}

/// Gives egui our faces: whatever letter they lack comes from the fonts that egui brings.
fn fonts(ctx: &Context) {
    let mut fonts = FontDefinitions::default();
    let others = fonts.families.get(&FontFamily::Proportional).cloned().unwrap_or_default();
    for (name, data) in [("regular", REGULAR), (BOLD_FAMILY, BOLD)] {
        fonts.font_data.insert(name.to_owned(), Arc::new(FontData::from_static(data)));
    }
    let with = |first: &[&str]| {
        first.iter().map(|name| (*name).to_owned()).chain(others.iter().cloned()).collect::<Vec<_>>()
    };
    fonts.families.insert(FontFamily::Proportional, with(&["regular"]));
    fonts.families.insert(bold_family(), with(&[BOLD_FAMILY, "regular"]));
    ctx.set_fonts(fonts);
}

fn bold_family() -> FontFamily {
    FontFamily::Name(BOLD_FAMILY.into())
}

/// The faces are there: they come with the frame after [`apply`].
pub fn has_fonts(ctx: &Context) -> bool {
    ctx.fonts(|fonts| fonts.families().contains(&bold_family()))
}

/// Text in the bold face.
pub fn bold(text: impl Into<String>) -> RichText {
    RichText::new(text).family(bold_family())
}

/// The bold face for a painter.
pub fn bold_font(size: f32) -> FontId {
    FontId::new(size, bold_family())
}

/// The one button of a view that leads on.
pub fn main_button(palette: Palette, text: &str) -> Button<'static> {
    Button::new(bold(text).color(palette.card)).fill(palette.accent).stroke(Stroke::new(1.0, palette.accent))
}

/// Gives egui our faces, colours and sizes.
pub fn apply(ctx: &Context) {
    fonts(ctx);
    for (theme, dark) in [(Theme::Light, false), (Theme::Dark, true)] {
        ctx.style_mut_of(theme, |style| {
            let palette = palette(dark);
            style.visuals = visuals(palette, dark);
            style.spacing.item_spacing = eframe::egui::vec2(8.0, 6.0);
            style.spacing.button_padding = eframe::egui::vec2(9.0, 4.0);
            style.spacing.interact_size.y = 26.0;
            style.spacing.icon_width = 16.0;
            style.spacing.icon_width_inner = 10.0;
            for (text, size) in [(TextStyle::Small, 12.0), (TextStyle::Body, 14.0), (TextStyle::Button, 14.0)]
            {
                style.text_styles.insert(text, FontId::new(size, FontFamily::Proportional));
            }
            style.text_styles.insert(TextStyle::Heading, bold_font(18.0));
            style.text_styles.insert(TextStyle::Monospace, FontId::new(13.0, FontFamily::Monospace));
        });
    }
}

fn visuals(palette: Palette, dark: bool) -> Visuals {
    let mut visuals = if dark { Visuals::dark() } else { Visuals::light() };
    visuals.panel_fill = palette.ground;
    visuals.window_fill = palette.card;
    visuals.extreme_bg_color = palette.field;
    visuals.hyperlink_color = palette.accent;
    visuals.selection.bg_fill = palette.accent.gamma_multiply(if dark { 0.36 } else { 0.26 });
    // It is the colour of selected text too.
    visuals.selection.stroke = Stroke::new(1.5, palette.ink);
    visuals.warn_fg_color = palette.copper;
    visuals.error_fg_color = palette.wrong;
    visuals.slider_trailing_fill = true;
    let widgets = &mut visuals.widgets;
    for widget in [
        &mut widgets.noninteractive,
        &mut widgets.inactive,
        &mut widgets.hovered,
        &mut widgets.active,
        &mut widgets.open,
    ] {
        widget.fg_stroke = Stroke::new(1.5, palette.ink);
        widget.corner_radius = CornerRadius::same(6);
        widget.expansion = 0.0;
        // Boxes to tick stay a field in every state: one that has the keyboard must not look half ticked.
        widget.bg_fill = palette.field;
        widget.weak_bg_fill = palette.card;
        widget.bg_stroke = Stroke::new(1.0, palette.edge);
    }
    widgets.noninteractive.bg_stroke = Stroke::new(1.0, palette.rule);
    let tint = palette.accent.gamma_multiply(0.14);
    for widget in [&mut widgets.hovered, &mut widgets.active, &mut widgets.open] {
        widget.weak_bg_fill = tint;
        widget.bg_stroke = Stroke::new(1.5, palette.accent);
    }
    widgets.active.bg_stroke = Stroke::new(2.0, palette.accent);
    visuals
}

/// The colours of the metals, each its own: chosen by eye against samples on a screen (no source).
const METALS: &[(&str, [u8; 3])] = &[
    ("copper", [0xc4, 0x66, 0x3a]),
    ("yellow-brass", [0xd4, 0xb4, 0x48]),
    ("cartridge-brass", [0xd0, 0xa8, 0x44]),
    ("red-brass", [0xc8, 0x88, 0x48]),
    ("commercial-bronze", [0xc2, 0x7e, 0x48]),
    ("jewelry-bronze", [0xcc, 0x96, 0x4e]),
    ("bronze-c51000", [0xb4, 0x72, 0x44]),
    ("nickel-silver", [0xbe, 0xb6, 0x9e]),
    ("fine-silver", [0xe2, 0xe4, 0xe6]),
    ("sterling-silver", [0xd8, 0xd8, 0xd4]),
    ("silver-germanium-935", [0xd4, 0xd8, 0xd6]),
    ("silver-germanium-940", [0xd6, 0xda, 0xda]),
    ("silver-958", [0xdc, 0xdc, 0xda]),
    ("silver-970", [0xde, 0xdf, 0xdf]),
    ("silver-filled", [0xd0, 0xce, 0xc8]),
    ("fine-gold", [0xe8, 0xb4, 0x20]),
    ("gold-10k-yellow", [0xd8, 0xbe, 0x72]),
    ("gold-14k-yellow", [0xdc, 0xbc, 0x5e]),
    ("gold-14k-rose", [0xd6, 0x9a, 0x76]),
    ("gold-14k-white", [0xd2, 0xce, 0xbe]),
    ("gold-18k-yellow", [0xe2, 0xba, 0x48]),
    ("gold-18k-rose", [0xd8, 0xa0, 0x6a]),
    ("gold-18k-white", [0xd8, 0xd2, 0xb8]),
    ("gold-22k-yellow", [0xe6, 0xb6, 0x34]),
    ("gold-filled-14-20", [0xd4, 0xb0, 0x56]),
    ("platinum-950", [0xc6, 0xc8, 0xc4]),
    ("palladium-950", [0xbc, 0xbc, 0xb8]),
    ("aluminium-1100", [0xcc, 0xd2, 0xd8]),
    ("aluminium-5356", [0xc4, 0xcc, 0xd2]),
    ("aluminium-6061", [0xbe, 0xc6, 0xce]),
    ("stainless-304", [0xaa, 0xb0, 0xb2]),
    ("stainless-316l", [0xa4, 0xac, 0xb2]),
    ("mild-steel", [0x86, 0x88, 0x8a]),
    ("galvanised-steel", [0x9c, 0xa4, 0xac]),
    ("music-wire", [0x74, 0x78, 0x7c]),
    ("titanium-grade-1", [0x9a, 0x94, 0x8e]),
    ("titanium-grade-2", [0x92, 0x8c, 0x88]),
    ("titanium-grade-5", [0x8a, 0x82, 0x7c]),
    ("niobium", [0x7c, 0x80, 0x92]),
];

/// The colour of a wire, by the name of its metal; a plain grey for one that is not listed.
#[must_use]
pub fn wire_colour(metal: &str) -> Color32 {
    let found = METALS.iter().find(|(name, _)| metal == *name);
    found.map_or(Color32::from_rgb(0xb2, 0xaa, 0xb0), |(_, [r, g, b])| Color32::from_rgb(*r, *g, *b))
}

/// A colour nearer to black (below 1) or to white (above 1).
#[must_use]
pub fn shade(colour: Color32, by: f32) -> Color32 {
    let part = |value: u8| {
        let value = f32::from(value);
        let shaded = if by <= 1.0 { value * by } else { value + (255.0 - value) * (by - 1.0) };
        shaded.clamp(0.0, 255.0) as u8
    };
    Color32::from_rgb(part(colour.r()), part(colour.g()), part(colour.b()))
}

/// A piece of the bench on its own ground.
pub fn card<R>(ui: &mut Ui, palette: Palette, content: impl FnOnce(&mut Ui) -> R) -> R {
    Frame::new()
        .fill(palette.card)
        .corner_radius(8)
        .inner_margin(Margin::same(10))
        .show(ui, |ui| {
            ui.set_min_width(ui.available_width());
            content(ui)
        })
        .inner
}

#[cfg(test)]
mod tests {
    use turntally_core::metal::Metal;

    use super::*;

    /// Relative luminance as WCAG 2.1 defines it.
    fn luminance(colour: Color32) -> f64 {
        let part = |value: u8| {
            let value = f64::from(value) / 255.0;
            if value <= 0.04045 { value / 12.92 } else { ((value + 0.055) / 1.055).powf(2.4) }
        };
        0.2126 * part(colour.r()) + 0.7152 * part(colour.g()) + 0.0722 * part(colour.b())
    }

    /// Contrast ratio as WCAG 2.1 defines it.
    fn contrast(a: Color32, b: Color32) -> f64 {
        let (a, b) = (luminance(a), luminance(b));
        (a.max(b) + 0.05) / (a.min(b) + 0.05)
    }

    /// A colour that lets its ground through, as it is seen.
    fn over(colour: Color32, ground: Color32) -> Color32 {
        let left = 1.0 - f32::from(colour.a()) / 255.0;
        let part = |top: u8, below: u8| (f32::from(top) + f32::from(below) * left).min(255.0) as u8;
        Color32::from_rgb(
            part(colour.r(), ground.r()),
            part(colour.g(), ground.g()),
            part(colour.b(), ground.b()),
        )
    }

    /// WCAG 2.1, 1.4.3 and 1.4.11: text 4.5:1, the edges of controls 3:1, in both themes and in every state.
    #[test]
    fn contrast_is_enough() {
        for dark in [false, true] {
            let palette = palette(dark);
            let visuals = visuals(palette, dark);
            for ground in [palette.card, palette.ground, palette.field] {
                for text in [palette.ink, palette.faint, palette.accent, palette.copper, palette.wrong] {
                    let found = contrast(text, ground);
                    assert!(found >= 4.5, "dark {dark}: {text:?} on {ground:?}: {found:.2}");
                }
            }
            // On a filled button, and on what is selected or pointed at.
            for fill in [palette.accent, palette.wrong, palette.copper] {
                let found = contrast(palette.card, fill);
                assert!(found >= 4.5, "dark {dark}: text on {fill:?}: {found:.2}");
            }
            let widgets = &visuals.widgets;
            let selected = over(visuals.selection.bg_fill, palette.card);
            let found = contrast(visuals.selection.stroke.color, selected);
            assert!(found >= 4.5, "dark {dark}: what is selected: {found:.2}");
            for state in [&widgets.inactive, &widgets.hovered, &widgets.active, &widgets.open] {
                for ground in [palette.card, palette.ground] {
                    let found = contrast(state.bg_stroke.color, ground);
                    assert!(found >= 3.0, "dark {dark}: edge on {ground:?}: {found:.2}");
                }
                let found = contrast(palette.ink, over(state.weak_bg_fill, palette.card));
                assert!(found >= 4.5, "dark {dark}: a button's text: {found:.2}");
                let found = contrast(state.fg_stroke.color, state.bg_fill);
                assert!(found >= 4.5, "dark {dark}: a tick in its box: {found:.2}");
            }
        }
    }

    /// No metal of the list is drawn in the grey of one that is not listed, and no two are drawn alike.
    #[test]
    fn every_metal_has_its_own_colour() {
        let unknown = wire_colour("unobtainium");
        for metal in Metal::ALL {
            let colour = wire_colour(metal.name());
            assert_ne!(colour, unknown, "{}", metal.name());
            let same = Metal::ALL.iter().filter(|other| wire_colour(other.name()) == colour).count();
            assert_eq!(same, 1, "{}", metal.name());
        }
    }
}
