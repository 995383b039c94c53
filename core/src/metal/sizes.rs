//! Tensile strength of spring wire by its diameter, where a standard tabulates it: thin wire is drawn
//! further and is stronger.
//!
//! In the standards' own units, so that each row can be held against its page.

use crate::units::{Length, Stress};

/// Tensile strength of the wires up to one diameter.
#[derive(Debug, Clone, Copy)]
pub(super) struct Size {
    /// In ten-thousandths of an inch.
    up_to: u16,
    /// Least, usual and most, in ksi.
    ksi: [u16; 3],
}

impl Size {
    /// The row of a wire; the last one serves thicker wires too.
    pub(super) fn of(sizes: &'static [Self], wire: Length) -> Option<&'static Self> {
        let fits = |size: &&Self| wire <= Length::from_inch_e4(i64::from(size.up_to));
        sizes.iter().find(fits).or_else(|| sizes.last())
    }

    /// Least, usual and most.
    pub(super) fn tensile(&self) -> [Stress; 3] {
        self.ksi.map(|ksi| Stress::new(f64::from(ksi) * MPA_PER_KSI))
    }
}

/// 1,000 lbf/in2: the pound of 453.59237 g at 9.80665 m/s2, and the inch of 25.4 mm.
const MPA_PER_KSI: f64 = 6.894_757_293_168;

/// A row with a least and a most: the usual is in the middle.
const fn between(up_to: u16, least: u16, most: u16) -> Size {
    Size { up_to, ksi: [least, (least + most) / 2, most] }
}

/// A row of a standard that has a minimum only: the usual is 3 and the most 13 parts in 100 above it, from
/// memory.
const fn at_least(up_to: u16, least: u16) -> Size {
    Size { up_to, ksi: [least, (least * 103 + 50) / 100, (least * 113 + 50) / 100] }
}

/// ASTM A313, types 302 class 1 and 304, as shown by Interwire.
///
/// The page prints 324 as the minimum of 0.012 to 0.013 in, between 316 and 312: a slip for 314. It was read up to
/// 0.080 in. For thicker wire spring tables have a minimum of 125 ksi (diamondwire.com); its most is that of
/// 0.080 in.
pub(super) const A313: &[Size] = &[
    between(90, 325, 355),
    between(100, 320, 350),
    between(110, 318, 348),
    between(120, 316, 346),
    between(130, 314, 344),
    between(140, 312, 342),
    between(150, 310, 340),
    between(160, 308, 338),
    between(170, 306, 336),
    between(180, 304, 334),
    between(200, 300, 330),
    between(220, 296, 326),
    between(240, 292, 322),
    between(260, 291, 320),
    between(280, 289, 318),
    between(310, 285, 315),
    between(340, 282, 310),
    between(370, 280, 308),
    between(410, 275, 304),
    between(450, 272, 300),
    between(500, 267, 295),
    between(540, 265, 293),
    between(580, 261, 289),
    between(630, 258, 285),
    between(700, 252, 281),
    between(750, 250, 278),
    between(800, 246, 275),
    between(5000, 125, 275),
];

/// ASTM B159, C51000 in temper H08, as shown by Interwire.
pub(super) const B159: &[Size] = &[
    at_least(250, 145),
    at_least(625, 135),
    at_least(1250, 130),
    at_least(2500, 125),
    at_least(3750, 120),
    at_least(5000, 105),
];

/// ASTM A228, music wire, as shown by Interwire for some more diameters; a wire between two of them has the row
/// of the thicker one.
///
/// The page prints 255 as the maximum of 0.036 in, between 358 and 352: a slip for 355.
pub(super) const A228: &[Size] = &[
    between(40, 439, 485),
    between(50, 426, 471),
    between(60, 415, 459),
    between(70, 407, 449),
    between(80, 399, 441),
    between(90, 393, 434),
    between(100, 387, 428),
    between(110, 382, 422),
    between(120, 377, 417),
    between(130, 373, 412),
    between(140, 369, 408),
    between(150, 365, 404),
    between(160, 362, 400),
    between(180, 356, 393),
    between(200, 350, 387),
    between(220, 345, 382),
    between(240, 341, 377),
    between(260, 337, 373),
    between(280, 333, 368),
    between(300, 330, 365),
    between(320, 327, 361),
    between(340, 324, 358),
    between(360, 321, 355),
    between(380, 318, 352),
    between(400, 315, 349),
    between(420, 313, 346),
    between(450, 309, 342),
    between(480, 306, 339),
    between(510, 303, 335),
    between(550, 300, 331),
    between(590, 296, 327),
    between(630, 293, 324),
    between(670, 290, 321),
    between(720, 287, 317),
    between(760, 284, 314),
    between(800, 282, 312),
    between(850, 279, 308),
    between(900, 276, 305),
    between(950, 274, 303),
    between(1000, 271, 300),
    between(1070, 268, 296),
    between(1120, 266, 294),
    between(1250, 261, 288),
    between(1350, 258, 285),
    between(1560, 251, 277),
    between(1920, 241, 267),
    between(2500, 230, 255),
];
