//! Colours and type: paper and steel, verdigris for what can be done, copper for what is marked.

use eframe::egui::{
    Color32, Context, CornerRadius, FontFamily, FontId, Frame, Margin, Stroke, TextStyle, Theme, Ui, Visuals,
};

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
    /// Lines between things.
    pub rule: Color32,
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
    faint: Color32::from_rgb(0x60, 0x64, 0x62),
    rule: Color32::from_rgb(0xcb, 0xc7, 0xbc),
    accent: Color32::from_rgb(0x14, 0x66, 0x5d),
    copper: Color32::from_rgb(0xa8, 0x55, 0x22),
    wrong: Color32::from_rgb(0xb0, 0x28, 0x22),
    steel: [
        Color32::from_rgb(0xe4, 0xe8, 0xea),
        Color32::from_rgb(0xae, 0xb5, 0xb9),
        Color32::from_rgb(0x6d, 0x75, 0x7a),
    ],
};

const DARK: Palette = Palette {
    card: Color32::from_rgb(0x26, 0x2a, 0x2b),
    ground: Color32::from_rgb(0x19, 0x1c, 0x1d),
    ink: Color32::from_rgb(0xe6, 0xe3, 0xda),
    faint: Color32::from_rgb(0xa6, 0xa8, 0xa2),
    rule: Color32::from_rgb(0x45, 0x4b, 0x4c),
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

/// Gives egui our colours and sizes.
pub fn apply(ctx: &Context) {
    for (theme, dark) in [(Theme::Light, false), (Theme::Dark, true)] {
        ctx.style_mut_of(theme, |style| {
            let palette = palette(dark);
            style.visuals = visuals(palette, dark);
            style.spacing.item_spacing = eframe::egui::vec2(8.0, 6.0);
            style.spacing.button_padding = eframe::egui::vec2(9.0, 4.0);
            style.spacing.interact_size.y = 24.0;
            for (text, size) in [
                (TextStyle::Small, 11.5),
                (TextStyle::Body, 14.0),
                (TextStyle::Button, 14.0),
                (TextStyle::Heading, 17.0),
            ] {
                style.text_styles.insert(text, FontId::new(size, FontFamily::Proportional));
            }
            style.text_styles.insert(TextStyle::Monospace, FontId::new(13.0, FontFamily::Monospace));
        });
    }
}

fn visuals(palette: Palette, dark: bool) -> Visuals {
    let mut visuals = if dark { Visuals::dark() } else { Visuals::light() };
    visuals.panel_fill = palette.ground;
    visuals.window_fill = palette.card;
    visuals.extreme_bg_color = if dark { Color32::from_rgb(0x15, 0x17, 0x18) } else { Color32::WHITE };
    visuals.hyperlink_color = palette.accent;
    visuals.selection.bg_fill = palette.accent.gamma_multiply(if dark { 0.45 } else { 0.30 });
    visuals.selection.stroke = Stroke::new(1.0, palette.ink);
    visuals.warn_fg_color = palette.copper;
    visuals.error_fg_color = palette.wrong;
    let widgets = &mut visuals.widgets;
    for widget in [
        &mut widgets.noninteractive,
        &mut widgets.inactive,
        &mut widgets.hovered,
        &mut widgets.active,
        &mut widgets.open,
    ] {
        widget.fg_stroke.color = palette.ink;
        widget.corner_radius = CornerRadius::same(3);
    }
    widgets.noninteractive.bg_stroke = Stroke::new(1.0, palette.rule);
    widgets.inactive.bg_stroke = Stroke::new(1.0, palette.rule);
    widgets.hovered.bg_stroke = Stroke::new(1.0, palette.accent);
    widgets.active.bg_stroke = Stroke::new(2.0, palette.accent);
    visuals
}

/// The colour of a wire, by the name of its metal; a plain grey for one that is not known.
#[must_use]
pub fn wire_colour(metal: &str) -> Color32 {
    const COLOURS: [(&str, [u8; 3]); 12] = [
        ("copper", [0xc4, 0x6a, 0x3c]),
        ("yellow-brass", [0xd6, 0xb2, 0x4a]),
        ("red-brass", [0xc9, 0x8d, 0x4b]),
        ("jewelry-bronze", [0xc8, 0x96, 0x50]),
        ("bronze", [0xb0, 0x7a, 0x45]),
        ("nickel-silver", [0xbd, 0xb8, 0xa6]),
        ("gold", [0xe0, 0xb8, 0x3e]),
        ("fine-silver", [0xdc, 0xdd, 0xde]),
        ("sterling-silver", [0xd2, 0xd2, 0xd0]),
        ("aluminium", [0xc6, 0xcb, 0xd0]),
        ("titanium", [0x8f, 0x8c, 0x8a]),
        ("niobium", [0x84, 0x88, 0x94]),
    ];
    let found = COLOURS.iter().find(|(name, _)| metal.starts_with(name));
    found.map_or(Color32::from_rgb(0xa4, 0xa9, 0xad), |(_, [r, g, b])| Color32::from_rgb(*r, *g, *b))
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
        .stroke(Stroke::new(1.0, palette.rule))
        .corner_radius(6)
        .inner_margin(Margin::same(8))
        .show(ui, |ui| {
            ui.set_min_width(ui.available_width());
            content(ui)
        })
        .inner
}
