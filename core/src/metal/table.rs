//! The rows of the metals list. Densities in g/cm3, moduli in GPa, strengths in MPa.
//!
//! Sources are named as the data sheets and handbooks call themselves; "CDA" is the alloy data of the
//! Copper Development Association. A range behind a single published value is from memory unless the
//! source gives it. Estimates made here say "our estimate, no source".

use super::{Drawn, Listed, Metal, Strength};

/// `[low, value, high]`.
type Triple = [f64; 3];

const fn density(figures: Triple, source: &'static str) -> Listed<1_000> {
    Listed::new(figures, source)
}

const fn gpa(figures: Triple, source: &'static str) -> Listed<10> {
    Listed::new(figures, source)
}

const fn mpa(figures: Triple, source: &'static str) -> Listed<1> {
    Listed::new(figures, source)
}

/// Yield strength with its source, tensile strength with its source.
const fn row(
    yields: Triple,
    yield_source: &'static str,
    tensile: Triple,
    tensile_source: &'static str,
) -> Option<Strength> {
    Some(Strength { yield_strength: mpa(yields, yield_source), tensile: mpa(tensile, tensile_source) })
}

/// Ordinary strain hardening; see [`Metal::hardening`].
const ORDINARY: u8 = 10;
/// Phosphor bronze.
const BRONZE: u8 = 15;
/// Austenitic stainless steel.
const AUSTENITIC: u8 = 25;

const MEMORY: &str = "from memory";
const CDA: &str = "CDA alloy data, from memory";
const CDA_WIRE: &str = "CDA and ASM wire data, from memory";
const ASM: &str = "ASM handbook, from memory";
const KUTZ: &str = "Kutz, Mechanical Engineers Handbook 2e ch. 4; range partly from memory";
const OLIN: &str = "Olin Brass alloy data sheet";
const OLIN_STRIP: &str = "Olin Brass alloy data sheet, strip; range from memory";
const LFA_WIRE: &str = "Little Falls Alloys C26000 wire data sheet";
const LFA_WIRE_RANGE: &str =
    "Little Falls Alloys C26000 wire data sheet (0.5 % extension); range from memory";
const B159: &str = "ASTM B159 wire, as quoted by Fisk Alloy and Interwire; range partly from memory";
const B134: &str =
    "ASTM B134 wire, 0.020 in and over, as shown by adfastcomponents.com; value and open ends from memory";
const JEWELRY: &str = "AZoM article 6347 gives 76 to 427 MPa over all tempers; place in it from memory";
const RED: &str = "AZoM article 6338 gives 69 to 434 MPa over all tempers; place in it from memory";
const ESPI: &str = "ESPI Metals sterling sheet; range from memory";
const ESPI_WIRE: &str = "ESPI Metals sterling wire; range from memory";
const AS_STERLING: &str = "taken as sterling silver's: our estimate, no source";
const GERMANIUM: &str = "a web page citing maker's data (renato.design); range from memory";
const BETWEEN: &str = "between soft and hard: our estimate, no source";
const CORE: &str = "the core's, taken as C22600: our estimate, no source";
const AA: &str = "Aluminum Association, from memory";

const GERMANIUM_STRENGTHS: [Option<Strength>; 4] = [
    row([100.0, 115.0, 140.0], GERMANIUM, [207.0, 215.0, 290.0], GERMANIUM),
    row([240.0, 300.0, 350.0], AS_STERLING, [350.0, 386.0, 430.0], AS_STERLING),
    row([350.0, 430.0, 490.0], AS_STERLING, [470.0, 496.0, 530.0], AS_STERLING),
    None,
];

/// Low-carbon steel (SAE 1006 to 1008).
const MILD_STEEL: [Option<Strength>; 4] = [
    row([140.0, 200.0, 300.0], MEMORY, [290.0, 350.0, 450.0], MEMORY),
    row([250.0, 330.0, 450.0], BETWEEN, [370.0, 450.0, 560.0], BETWEEN),
    row([380.0, 480.0, 650.0], MEMORY, [450.0, 600.0, 850.0], MEMORY),
    None,
];

/// What standards tabulate by diameter, of spring temper.
pub(super) const DRAWN: &[(&str, Drawn)] = &[
    // ASTM A313, class 1: 1896 to 2096 MPa at 1 mm and 2448 at 0.009 in at most (as shown by Interwire), about 1700 at
    // least at 0.075 in. The exponent was fitted to these three.
    ("stainless-304", Drawn { tensile_1mm: [1_840.0, 1_990.0, 2_110.0], exponent: 0.13 }),
    // ASTM A228: at least 2211 MPa at 1 mm with the exponent 0.145 (Shigley, table of tensile strengths of spring wire,
    // from memory); the ends take in EN 10270-1 DH, 2230 to 2470 MPa at 1 mm (from memory).
    ("music-wire", Drawn { tensile_1mm: [2_050.0, 2_300.0, 2_500.0], exponent: 0.145 }),
];

/// Every metal of the list.
pub(super) const ROWS: &[Metal] = &[
    Metal {
        name: "copper",
        #[cfg(feature = "sources")]
        title: "Copper, electrolytic tough pitch",
        #[cfg(feature = "sources")]
        uns: Some("C11000"),
        #[cfg(feature = "sources")]
        also: &[],
        density: density(
            [8.89, 8.89, 8.94],
            "8.89: basis of ASTM B258 and NBS Handbook 100; range: Hussey Copper C11000 data sheet",
        ),
        modulus: gpa([115.0, 117.0, 130.0], "Hussey Copper C11000 data sheet; range from memory"),
        hardening: ORDINARY,
        strengths: [
            row([50.0, 69.0, 90.0], CDA, [210.0, 220.0, 280.0], KUTZ),
            row([180.0, 250.0, 280.0], CDA, [250.0, 290.0, 330.0], CDA),
            row(
                [275.0, 310.0, 400.0],
                CDA,
                [345.0, 380.0, 500.0],
                "CDA, from memory; EN 13602 R460 wire has 460 at least; high from memory",
            ),
            row([310.0, 345.0, 400.0], CDA, [380.0, 460.0, 520.0], CDA_WIRE),
        ],
    },
    Metal {
        name: "yellow-brass",
        #[cfg(feature = "sources")]
        title: "Yellow brass, 65 copper 35 zinc",
        #[cfg(feature = "sources")]
        uns: Some("C27000"),
        #[cfg(feature = "sources")]
        also: &[],
        density: density([8.44, 8.47, 8.50], CDA),
        modulus: gpa([103.4, 105.0, 110.0], "makeitfrom.com C27000; range from memory"),
        hardening: ORDINARY,
        strengths: [
            row([90.0, 97.0, 130.0], CDA, [300.0, 330.0, 370.0], CDA_WIRE),
            row([310.0, 345.0, 430.0], CDA_WIRE, [545.0, 600.0, 648.0], B134),
            row([400.0, 415.0, 560.0], CDA_WIRE, [703.0, 755.0, 807.0], B134),
            row(
                [420.0, 420.0, 600.0],
                "makeitfrom.com C27000 H08; high bound from memory",
                [827.0, 855.0, 900.0],
                B134,
            ),
        ],
    },
    Metal {
        name: "cartridge-brass",
        #[cfg(feature = "sources")]
        title: "Cartridge brass, 70 copper 30 zinc",
        #[cfg(feature = "sources")]
        uns: Some("C26000"),
        #[cfg(feature = "sources")]
        also: &[],
        density: density(
            [8.52, 8.53, 8.54],
            "Olin Brass and Little Falls Alloys C26000 data sheets, AZoM article 6341",
        ),
        modulus: gpa(
            [105.0, 110.3, 112.0],
            "Olin Brass and Little Falls Alloys data sheets; range from memory",
        ),
        hardening: ORDINARY,
        strengths: [
            row([110.0, 134.0, 158.0], LFA_WIRE, [330.0, 350.0, 372.0], LFA_WIRE),
            row([350.0, 448.0, 482.0], LFA_WIRE_RANGE, [545.0, 600.0, 650.0], LFA_WIRE),
            row([482.0, 482.0, 640.0], LFA_WIRE_RANGE, [700.0, 755.0, 810.0], LFA_WIRE),
            row(
                [482.0, 595.0, 700.0],
                OLIN_STRIP,
                [830.0, 860.0, 900.0],
                "Little Falls Alloys C26000 wire data sheet (830 minimum); rest from memory",
            ),
        ],
    },
    Metal {
        name: "red-brass",
        #[cfg(feature = "sources")]
        title: "Red brass, 85 copper 15 zinc",
        #[cfg(feature = "sources")]
        uns: Some("C23000"),
        #[cfg(feature = "sources")]
        also: &[],
        density: density([8.74, 8.75, 8.76], "AZoM article 6338"),
        modulus: gpa([110.0, 115.0, 117.0], "makeitfrom.com and AZoM article 6338"),
        hardening: ORDINARY,
        strengths: [
            row(
                [69.0, 83.0, 100.0],
                "makeitfrom.com C23000 OS050; AZoM article 6338",
                [269.0, 276.0, 310.0],
                CDA,
            ),
            row([280.0, 340.0, 360.0], RED, [455.0, 495.0, 531.0], B134),
            row([370.0, 393.0, 434.0], RED, [572.0, 605.0, 634.0], B134),
            row([400.0, 434.0, 520.0], RED, [689.0, 720.0, 760.0], B134),
        ],
    },
    Metal {
        name: "commercial-bronze",
        #[cfg(feature = "sources")]
        title: "Commercial bronze, 90 copper 10 zinc",
        #[cfg(feature = "sources")]
        uns: Some("C22000"),
        #[cfg(feature = "sources")]
        also: &[],
        density: density([8.79, 8.80, 8.81], OLIN),
        modulus: gpa([115.0, 117.0, 117.0], "Olin Brass alloy data sheet; range from memory"),
        hardening: ORDINARY,
        strengths: [
            row([69.0, 85.0, 105.0], OLIN_STRIP, [250.0, 265.0, 285.0], CDA),
            row([270.0, 325.0, 350.0], OLIN_STRIP, [386.0, 425.0, 462.0], B134),
            row([370.0, 400.0, 440.0], OLIN_STRIP, [483.0, 515.0, 545.0], B134),
            row([430.0, 470.0, 520.0], OLIN_STRIP, [579.0, 600.0, 650.0], B134),
        ],
    },
    Metal {
        name: "jewelry-bronze",
        #[cfg(feature = "sources")]
        title: "Jewelry bronze, 87.5 copper 12.5 zinc",
        #[cfg(feature = "sources")]
        uns: Some("C22600"),
        #[cfg(feature = "sources")]
        also: &["jewellery-bronze"],
        density: density([8.76, 8.77, 8.78], "AZoM article 6347"),
        modulus: gpa([110.0, 115.0, 117.0], "makeitfrom.com and AZoM article 6347"),
        hardening: ORDINARY,
        strengths: [
            row([76.0, 79.0, 100.0], JEWELRY, [255.0, 270.0, 300.0], CDA),
            row([270.0, 325.0, 355.0], JEWELRY, [455.0, 495.0, 531.0], B134),
            row([360.0, 390.0, 427.0], JEWELRY, [572.0, 605.0, 634.0], B134),
            row([390.0, 427.0, 500.0], JEWELRY, [689.0, 720.0, 760.0], B134),
        ],
    },
    Metal {
        name: "bronze-c51000",
        #[cfg(feature = "sources")]
        title: "Phosphor bronze, 5 tin",
        #[cfg(feature = "sources")]
        uns: Some("C51000"),
        #[cfg(feature = "sources")]
        also: &["phosphor-bronze"],
        density: density([8.85, 8.86, 8.87], "Olin Brass alloy data sheet; Fisk Alloy prints 8.85768"),
        modulus: gpa([103.4, 110.3, 110.3], "Olin Brass and Fisk Alloy data sheets; low: spring tables"),
        hardening: BRONZE,
        strengths: [
            row([130.0, 165.0, 190.0], OLIN_STRIP, [295.0, 345.0, 400.0], B159),
            row([345.0, 395.0, 520.0], OLIN_STRIP, [470.0, 600.0, 725.0], MEMORY),
            row([520.0, 560.0, 720.0], OLIN_STRIP, [745.0, 815.0, 885.0], B159),
            row([620.0, 690.0, 900.0], OLIN_STRIP, [895.0, 960.0, 1050.0], B159),
        ],
    },
    Metal {
        name: "nickel-silver",
        #[cfg(feature = "sources")]
        title: "Nickel silver, 65 copper 18 nickel 17 zinc",
        #[cfg(feature = "sources")]
        uns: Some("C75200"),
        #[cfg(feature = "sources")]
        also: &[],
        density: density([8.70, 8.73, 8.75], "CDA, from memory; range: published neighbours C77000, C76300"),
        modulus: gpa([120.0, 124.0, 130.0], "CDA, from memory; high: published neighbour C76300"),
        hardening: ORDINARY,
        strengths: [
            row([160.0, 170.0, 205.0], CDA, [360.0, 390.0, 425.0], CDA),
            row([360.0, 427.0, 450.0], CDA, [450.0, 530.0, 590.0], CDA_WIRE),
            row([485.0, 510.0, 540.0], CDA, [585.0, 620.0, 710.0], CDA_WIRE),
            row([540.0, 580.0, 640.0], CDA_WIRE, [650.0, 700.0, 790.0], CDA_WIRE),
        ],
    },
    Metal {
        name: "fine-silver",
        #[cfg(feature = "sources")]
        title: "Fine silver, 99.9",
        #[cfg(feature = "sources")]
        uns: None,
        #[cfg(feature = "sources")]
        also: &[],
        density: density([10.49, 10.49, 10.50], "GNU units 10.49; periodictable, mendeleev and PNNL 10.5"),
        modulus: gpa([71.0, 76.0, 83.0], "ASM and CRC handbooks, from memory"),
        hardening: ORDINARY,
        strengths: [
            row([20.0, 54.0, 55.0], ASM, [125.0, 150.0, 180.0], ASM),
            row([140.0, 180.0, 230.0], BETWEEN, [200.0, 230.0, 260.0], BETWEEN),
            row([250.0, 300.0, 320.0], ASM, [300.0, 340.0, 370.0], ASM),
            None,
        ],
    },
    Metal {
        name: "sterling-silver",
        #[cfg(feature = "sources")]
        title: "Sterling silver, 92.5 silver 7.5 copper",
        #[cfg(feature = "sources")]
        uns: None,
        #[cfg(feature = "sources")]
        also: &["sterling", "silver-925"],
        density: density([10.31, 10.36, 10.40], "ESPI Metals sterling sheet; range from memory"),
        modulus: gpa([71.0, 75.0, 83.0], MEMORY),
        hardening: ORDINARY,
        strengths: [
            row([100.0, 124.0, 145.0], ESPI, [207.0, 283.0, 300.0], ESPI_WIRE),
            row([240.0, 310.0, 350.0], MEMORY, [350.0, 386.0, 430.0], ESPI_WIRE),
            row([350.0, 430.0, 490.0], MEMORY, [450.0, 496.0, 530.0], ESPI_WIRE),
            row([430.0, 490.0, 540.0], MEMORY, [510.0, 552.0, 600.0], ESPI_WIRE),
        ],
    },
    Metal {
        name: "silver-germanium-935",
        #[cfg(feature = "sources")]
        title: "Silver-copper-germanium, 93.5 silver",
        #[cfg(feature = "sources")]
        uns: None,
        #[cfg(feature = "sources")]
        also: &[],
        density: density(
            [10.28, 10.38, 10.38],
            "a web page citing maker's data (renato.design); low: ideal mixture; unresolved, weigh your own",
        ),
        modulus: gpa([70.0, 75.0, 83.0], AS_STERLING),
        hardening: ORDINARY,
        strengths: GERMANIUM_STRENGTHS,
    },
    Metal {
        name: "silver-germanium-940",
        #[cfg(feature = "sources")]
        title: "Silver-copper-germanium, 94 silver",
        #[cfg(feature = "sources")]
        uns: None,
        #[cfg(feature = "sources")]
        also: &[],
        density: density(
            [10.29, 10.35, 10.41],
            "between the 935 and 960 alloys: common practice, no source; weigh your own",
        ),
        modulus: gpa([70.0, 75.0, 83.0], AS_STERLING),
        hardening: ORDINARY,
        strengths: GERMANIUM_STRENGTHS,
    },
    Metal {
        name: "fine-gold",
        #[cfg(feature = "sources")]
        title: "Fine gold, 24 karat",
        #[cfg(feature = "sources")]
        uns: None,
        #[cfg(feature = "sources")]
        also: &[],
        density: density(
            [19.30, 19.32, 19.32],
            "PNNL compendium 19.32; periodictable, mendeleev, webelements 19.3",
        ),
        modulus: gpa([78.0, 78.0, 79.0], "webelements 78, Total Materia 79"),
        hardening: ORDINARY,
        strengths: [
            row(
                [20.0, 25.0, 30.0],
                MEMORY,
                [110.0, 124.0, 135.0],
                "goldrushportal (as cast); range from memory",
            ),
            None,
            row(
                [180.0, 205.0, 220.0],
                MEMORY,
                [200.0, 221.0, 235.0],
                "goldrushportal (60 % reduced); range from memory",
            ),
            None,
        ],
    },
    Metal {
        name: "gold-14k-yellow",
        #[cfg(feature = "sources")]
        title: "Gold, 14 karat yellow",
        #[cfg(feature = "sources")]
        uns: None,
        #[cfg(feature = "sources")]
        also: &[],
        density: density(
            [12.84, 13.07, 13.70],
            "trade range and usual US alloy, from memory; low: ideal mixture",
        ),
        modulus: gpa([90.0, 95.0, 105.0], MEMORY),
        hardening: ORDINARY,
        strengths: [
            row(
                [250.0, 300.0, 380.0],
                MEMORY,
                [320.0, 450.0, 520.0],
                "low: renato.design, annealed; rest from memory",
            ),
            row([400.0, 490.0, 560.0], BETWEEN, [520.0, 600.0, 660.0], BETWEEN),
            row(
                [550.0, 650.0, 750.0],
                MEMORY,
                [620.0, 730.0, 850.0],
                "low: renato.design, cold worked; rest from memory",
            ),
            None,
        ],
    },
    Metal {
        name: "gold-18k-yellow",
        #[cfg(feature = "sources")]
        title: "Gold, 18 karat yellow, 75 gold 12.5 silver 12.5 copper",
        #[cfg(feature = "sources")]
        uns: None,
        #[cfg(feature = "sources")]
        also: &[],
        density: density([15.20, 15.46, 15.90], "ideal mixture, derived; trade range from memory"),
        modulus: gpa([80.0, 90.0, 100.0], MEMORY),
        hardening: ORDINARY,
        strengths: [
            row([290.0, 320.0, 350.0], MEMORY, [420.0, 500.0, 560.0], MEMORY),
            row([450.0, 560.0, 650.0], BETWEEN, [600.0, 690.0, 760.0], BETWEEN),
            row([700.0, 800.0, 900.0], MEMORY, [780.0, 890.0, 1000.0], MEMORY),
            None,
        ],
    },
    Metal {
        name: "gold-filled-14-20",
        #[cfg(feature = "sources")]
        title: "Gold-filled, 1/20 by mass of 14 karat yellow on jewelry bronze",
        #[cfg(feature = "sources")]
        uns: None,
        #[cfg(feature = "sources")]
        also: &[],
        density: density(
            [8.68, 8.917, 8.92],
            "derived: 5 % by mass of 14k (13.07) on C22600 (8.77); low: C26000 core",
        ),
        modulus: gpa([110.0, 115.0, 117.0], CORE),
        hardening: ORDINARY,
        strengths: [
            row([76.0, 90.0, 130.0], CORE, [255.0, 280.0, 330.0], CORE),
            row([270.0, 325.0, 360.0], CORE, [455.0, 495.0, 531.0], CORE),
            row([360.0, 390.0, 440.0], CORE, [572.0, 605.0, 634.0], CORE),
            row([390.0, 430.0, 510.0], CORE, [689.0, 720.0, 760.0], CORE),
        ],
    },
    Metal {
        name: "aluminium-1100",
        #[cfg(feature = "sources")]
        title: "Aluminium 1100, commercially pure",
        #[cfg(feature = "sources")]
        uns: Some("A91100"),
        #[cfg(feature = "sources")]
        also: &["aluminum-1100"],
        density: density([2.70, 2.71, 2.71], AA),
        modulus: gpa([68.9, 69.0, 70.0], "makeitfrom.com 1100A; range from memory"),
        hardening: ORDINARY,
        strengths: [
            row([28.0, 34.0, 40.0], AA, [85.0, 90.0, 110.0], "makeitfrom.com 1100A; range from memory"),
            row([95.0, 117.0, 130.0], "Aluminum Association H14, from memory", [110.0, 124.0, 145.0], AA),
            row(
                [125.0, 152.0, 160.0],
                "Aluminum Association H18, from memory",
                [150.0, 165.0, 170.0],
                "makeitfrom.com 1100A; range from memory",
            ),
            None,
        ],
    },
    Metal {
        name: "aluminium-5356",
        #[cfg(feature = "sources")]
        title: "Aluminium 5356, 5 magnesium",
        #[cfg(feature = "sources")]
        uns: Some("A95356"),
        #[cfg(feature = "sources")]
        also: &["aluminum-5356"],
        density: density([2.64, 2.64, 2.66], "matmake 2.640; Aufhauser 0.096 lb/in3, 2.657"),
        modulus: gpa([70.0, 71.0, 80.0], "matmake 70 to 80; place in it from memory"),
        hardening: ORDINARY,
        strengths: [
            row(
                [100.0, 110.0, 152.0],
                "matmake; range from memory",
                [230.0, 240.0, 290.0],
                "matmake; range from memory",
            ),
            row([220.0, 280.0, 340.0], BETWEEN, [300.0, 350.0, 390.0], BETWEEN),
            row(
                [340.0, 380.0, 410.0],
                "neighbour 5056-H18, from memory",
                [400.0, 430.0, 450.0],
                "neighbour 5056-H18, from memory",
            ),
            None,
        ],
    },
    Metal {
        name: "aluminium-6061",
        #[cfg(feature = "sources")]
        title: "Aluminium 6061; half-hard stands for T4, hard for T6",
        #[cfg(feature = "sources")]
        uns: Some("A96061"),
        #[cfg(feature = "sources")]
        also: &["aluminum-6061"],
        density: density([2.69, 2.70, 2.71], "PNNL compendium; range from memory"),
        modulus: gpa([68.0, 68.9, 70.0], "a public repository's material table; range from memory"),
        hardening: ORDINARY,
        strengths: [
            row([48.0, 55.0, 83.0], "O temper, from memory", [110.0, 124.0, 152.0], "O temper, from memory"),
            row([110.0, 145.0, 160.0], "T4, from memory", [207.0, 241.0, 260.0], "T4, from memory"),
            row(
                [240.0, 276.0, 310.0],
                "T6: a public repository's material table; range from memory",
                [290.0, 310.0, 345.0],
                "T6, from memory",
            ),
            None,
        ],
    },
    Metal {
        name: "stainless-304",
        #[cfg(feature = "sources")]
        title: "Stainless steel 304",
        #[cfg(feature = "sources")]
        uns: Some("S30400"),
        #[cfg(feature = "sources")]
        also: &[],
        density: density([7.90, 8.00, 8.03], "Alloy Wire Intl 8.0; PNNL 8.03; low: EN 10088-1, from memory"),
        modulus: gpa(
            [175.0, 193.0, 200.0],
            "low: spring tables, drawn wire; Alloy Wire Intl 187.5; 200 from memory",
        ),
        hardening: AUSTENITIC,
        strengths: [
            row(
                [205.0, 240.0, 310.0],
                "ASTM A240 and A276 minimum 205, from memory",
                [515.0, 620.0, 720.0],
                MEMORY,
            ),
            row([515.0, 760.0, 900.0], "ASTM A666 half hard, from memory", [860.0, 1035.0, 1200.0], MEMORY),
            row([850.0, 965.0, 1200.0], "ASTM A666 full hard, from memory", [1150.0, 1275.0, 1500.0], MEMORY),
            row(
                [1000.0, 1275.0, 1700.0],
                "three quarters of the tensile strength: our estimate, no source",
                [1300.0, 1950.0, 2448.0],
                "Alloy Wire Intl from 1300; ASTM A313 as shown by Interwire: 1896 to 2096 at 1 mm, 2448 at 0.009 in",
            ),
        ],
    },
    Metal {
        name: "stainless-316l",
        #[cfg(feature = "sources")]
        title: "Stainless steel 316L",
        #[cfg(feature = "sources")]
        uns: Some("S31603"),
        #[cfg(feature = "sources")]
        also: &[],
        density: density([7.95, 8.00, 8.03], "MatWeb, Alloy Wire Intl and PNNL 8.00; range from memory"),
        modulus: gpa([175.0, 193.0, 200.0], "low: spring tables, drawn wire; MatWeb 193; 200 from memory"),
        hardening: AUSTENITIC,
        strengths: [
            row(
                [170.0, 240.0, 300.0],
                "MatWeb 316 annealed bar; low: ASTM A240 minimum, from memory",
                [485.0, 560.0, 690.0],
                MEMORY,
            ),
            row(
                [430.0, 600.0, 760.0],
                "low: makeitfrom.com 316L cold finished; rest from memory",
                [690.0, 860.0, 1035.0],
                MEMORY,
            ),
            row([720.0, 880.0, 1050.0], MEMORY, [1000.0, 1170.0, 1350.0], MEMORY),
            row(
                [900.0, 1130.0, 1400.0],
                "three quarters of the tensile strength: our estimate, no source",
                [1240.0, 1500.0, 1800.0],
                "ASTM A313, from memory",
            ),
        ],
    },
    Metal {
        name: "music-wire",
        #[cfg(feature = "sources")]
        title: "Music wire, high-carbon spring steel",
        #[cfg(feature = "sources")]
        uns: None,
        #[cfg(feature = "sources")]
        also: &["piano-wire", "spring-steel"],
        density: density([7.80, 7.85, 7.87], "carbon steel, from memory"),
        modulus: gpa([196.0, 205.0, 212.0], "30 million psi in spring tables; range from memory"),
        hardening: ORDINARY,
        strengths: [
            None,
            None,
            None,
            row(
                [1200.0, 1650.0, 2100.0],
                "65 to 75 % of the tensile strength: Shigley, table of elastic limits, from memory",
                [1600.0, 2300.0, 3400.0],
                "ASTM A228 from 0.2 to 6 mm; by diameter see Metal::flow",
            ),
        ],
    },
    Metal {
        name: "mild-steel",
        #[cfg(feature = "sources")]
        title: "Steel, low carbon",
        #[cfg(feature = "sources")]
        uns: Some("G10080"),
        #[cfg(feature = "sources")]
        also: &["steel", "bright-steel"],
        density: density([7.80, 7.85, 7.87], "carbon steel, from memory"),
        modulus: gpa([195.0, 205.0, 212.0], MEMORY),
        hardening: ORDINARY,
        strengths: MILD_STEEL,
    },
    Metal {
        name: "galvanised-steel",
        #[cfg(feature = "sources")]
        title: "Steel, low carbon, zinc-coated",
        #[cfg(feature = "sources")]
        uns: None,
        #[cfg(feature = "sources")]
        also: &["galvanized-steel", "galvanised", "galvanized"],
        density: density([7.70, 7.83, 7.87], "steel with zinc of 7.14: our estimate, no source"),
        modulus: gpa([195.0, 205.0, 212.0], MEMORY),
        hardening: ORDINARY,
        strengths: MILD_STEEL,
    },
    Metal {
        name: "titanium-grade-1",
        #[cfg(feature = "sources")]
        title: "Titanium grade 1",
        #[cfg(feature = "sources")]
        uns: Some("R50250"),
        #[cfg(feature = "sources")]
        also: &[],
        density: density(
            [4.50, 4.51, 4.52],
            "Fort Wayne Metals 0.163 lb/in3; range is that figure's rounding",
        ),
        modulus: gpa([103.0, 103.0, 105.0], "Fort Wayne Metals"),
        hardening: ORDINARY,
        strengths: [
            row([170.0, 240.0, 310.0], "a supplier's sheet gives 170 to 310", [240.0, 310.0, 410.0], MEMORY),
            None,
            row([400.0, 480.0, 570.0], MEMORY, [480.0, 550.0, 660.0], MEMORY),
            None,
        ],
    },
    Metal {
        name: "titanium-grade-2",
        #[cfg(feature = "sources")]
        title: "Titanium grade 2",
        #[cfg(feature = "sources")]
        uns: Some("R50400"),
        #[cfg(feature = "sources")]
        also: &[],
        density: density([4.50, 4.51, 4.52], "MatWeb; range from memory"),
        modulus: gpa([103.0, 105.0, 105.0], "Superior Tube 105; range from memory"),
        hardening: ORDINARY,
        strengths: [
            row(
                [275.0, 345.0, 448.0],
                "MatWeb gives 275 to 448; place in it from memory",
                [345.0, 430.0, 520.0],
                MEMORY,
            ),
            None,
            row([500.0, 600.0, 700.0], MEMORY, [600.0, 700.0, 800.0], MEMORY),
            None,
        ],
    },
    Metal {
        name: "niobium",
        #[cfg(feature = "sources")]
        title: "Niobium, commercially pure",
        #[cfg(feature = "sources")]
        uns: Some("R04210"),
        #[cfg(feature = "sources")]
        also: &[],
        density: density([8.56, 8.57, 8.58], "periodictable, mendeleev, PNNL, AZoM article 7638"),
        modulus: gpa([103.0, 103.0, 105.0], "AZoM article 7638; range from memory"),
        hardening: ORDINARY,
        strengths: [
            row(
                [82.0, 105.0, 207.0],
                "makeitfrom.com 82; titanio.ch 105; AZoM article 7638 207",
                [170.0, 195.0, 275.0],
                "titanio.ch; range from memory",
            ),
            None,
            row(
                [400.0, 500.0, 560.0],
                MEMORY,
                [500.0, 585.0, 650.0],
                "titanio.ch, cold worked; range from memory",
            ),
            None,
        ],
    },
];
