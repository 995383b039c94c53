//! The rows of the metals list. Densities in g/cm3, moduli in GPa, strengths in MPa.
//!
//! Sources are named as the data sheets and handbooks call themselves; "CDA" is the alloy data of the
//! Copper Development Association. A range behind a single published value is from memory unless the
//! source gives it. Estimates made here say "our estimate, no source".

#[cfg(feature = "sources")]
use super::Family;
use super::sizes::{A228, A313, B159 as B159_SIZES};
use super::{Listed, Metal, Row};

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
) -> Option<Row> {
    Some(Row { yield_strength: mpa(yields, yield_source), tensile: mpa(tensile, tensile_source) })
}

/// Ordinary strain hardening; see [`Metal::hardening`].
const ORDINARY: u8 = 10;
/// Phosphor bronze.
const BRONZE: u8 = 15;
/// Austenitic stainless steel.
const AUSTENITIC: u8 = 25;

/// A metal whose strength is not tabulated by diameter.
const NONE: &[super::sizes::Size] = &[];

const MEMORY: &str = "from memory";
const CDA: &str = "CDA alloy data, from memory";
const ASM: &str = "ASM handbook, from memory";
const KUTZ: &str = "Kutz, Mechanical Engineers Handbook 2e ch. 4; range partly from memory";
const OLIN: &str = "Olin Brass alloy data sheet";
const OLIN_STRIP: &str = "Olin Brass alloy data sheet, strip; range from memory";
const LFA_WIRE: &str = "Little Falls Alloys C26000 wire data sheet";
const LFA_WIRE_RANGE: &str =
    "Little Falls Alloys C26000 wire data sheet (0.5 % extension); range from memory";
const B159: &str = "ASTM B159 wire, as shown by Interwire and by a maker's sheet; place in it from memory";
const B134: &str =
    "ASTM B134 wire, 0.020 in and over, as shown by adfastcomponents.com; value and open ends from memory";
const JEWELRY: &str = "AZoM article 6347 gives 76 to 427 MPa over all tempers; place in it from memory";
const RED: &str = "AZoM article 6338 gives 69 to 434 MPa over all tempers; place in it from memory";
const ESPI: &str = "ESPI Metals sterling sheet; range from memory";
const ESPI_WIRE: &str = "ESPI Metals sterling wire; range from memory";
const AS_STERLING: &str = "taken as sterling silver's: our estimate, no source";
const GERMANIUM: &str = "a web page citing maker's data (renato.design); range from memory";
const BETWEEN: &str = "between soft and hard: our estimate, no source";
const AS_HARD_AS: &str = "as sterling silver's (ESPI Metals), by Vickers hardness as allaroundthewrekin.blogspot.com lists it; range from memory";
const SILVER_970: &str = "between renato.design's germanium silver 960, 175 annealed and 380 hardened, and silver 958; range from memory";
const FILLED: &str =
    "the core's: C26000 wire (Little Falls Alloys), low: copper (Kutz, CDA C12700); low from memory";
const NEAR_14K: &str = "near 14k yellow, renato.design: 320 annealed, 620 cold worked; rest from memory";
const NEAR_18K: &str =
    "near 18k yellow, renato.design: 130 and 290 annealed, 530 cold worked; rest from memory";
const WHITE_GOLD: &str = "low: material-properties.org white gold 350; rest from memory";
const GOLD_22K: &str = "from renato.design's 52 HV annealed and 110 HV cold worked, at 3.3 MPa of tensile strength to the HV; rest from memory";
const GOLD_MODULUS: &str =
    "fine gold 78 (webelements) and copper 117 (Hussey Copper) as ends; place between from memory";
const WHITE_MODULUS: &str = "low: material-properties.org white gold 75; rest from memory";
const PLATINUM: &str = "renato.design 240 and 380 annealed, after ASM; unitedpmr.com 220 HV hard, at 3.3 MPa to the HV; rest from memory";
const PALLADIUM: &str = "renato.design 270 annealed; Platinum Metals Review 2009: 70 to 120 HV annealed, 145 to 200 HV hard, at 3.3 MPa to the HV; rest from memory";
const GALVANISED: &str = "as mild steel's, less the zinc: luokaiweisteel.com; high from memory";
const CORE: &str = "the core's, taken as C22600: our estimate, no source";
const AA: &str = "Aluminum Association, from memory";
const AA_TYPICAL: &str = "Aluminum Association typical properties, reprinted; range from memory";
const JIS_1100: &str = "Aluminum Association typical properties, reprinted; JIS H 4040 A1100 wire as shown by h2abc.com; high from memory";
const HARBOR: &str = "harboraluminum.com 6061; range from memory";

const GERMANIUM_STRENGTHS: [Option<Row>; 4] = [
    row([100.0, 115.0, 140.0], GERMANIUM, [207.0, 215.0, 290.0], GERMANIUM),
    row([240.0, 300.0, 350.0], AS_STERLING, [350.0, 386.0, 430.0], AS_STERLING),
    row([350.0, 430.0, 490.0], AS_STERLING, [470.0, 496.0, 530.0], AS_STERLING),
    None,
];

/// Every metal of the list.
pub(super) const ROWS: &[Metal] = &[
    Metal {
        name: "copper",
        #[cfg(feature = "sources")]
        title: "Copper, electrolytic tough pitch",
        #[cfg(feature = "sources")]
        family: Family::Copper,
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
            row(
                [50.0, 69.0, 100.0],
                "CDA C12700 OS050 10 ksi; shlionmetal.com C11000 70 to 100; low from memory",
                [210.0, 220.0, 280.0],
                KUTZ,
            ),
            row(
                [180.0, 250.0, 280.0],
                "CDA C12700 H02 36 ksi; shlionmetal.com C11000 200; ends from memory",
                [250.0, 290.0, 413.0],
                "CDA C12700 H02 42 ksi; Little Falls Alloys C10200 medium-drawn wire 365 to 413; low from memory",
            ),
            row(
                [275.0, 310.0, 430.0],
                "CDA C12700 H04 45 ksi; shlionmetal.com C11000 280; high from memory",
                [345.0, 460.0, 500.0],
                "EN 13602 R460 wire 460 at least; Little Falls Alloys hard-drawn wire 461; CDA C12700 H04 50 ksi, wire 55 ksi; high from memory",
            ),
            row(
                [310.0, 345.0, 450.0],
                "CDA C12700 H08 50 ksi; ends from memory",
                [380.0, 470.0, 520.0],
                "CDA C12700 H08 55 ksi, wire 66 ksi; raised above hard's; high from memory",
            ),
        ],
        sizes: NONE,
    },
    Metal {
        name: "yellow-brass",
        #[cfg(feature = "sources")]
        title: "Yellow brass, 65 copper 35 zinc",
        #[cfg(feature = "sources")]
        family: Family::Copper,
        #[cfg(feature = "sources")]
        uns: Some("C27000"),
        #[cfg(feature = "sources")]
        also: &[],
        density: density([8.44, 8.47, 8.50], CDA),
        modulus: gpa(
            [103.4, 105.0, 110.0],
            "makeitfrom.com C27000 H08, which prints 110 GPa and 15e6 psi, 103.4; place in it from memory",
        ),
        hardening: ORDINARY,
        strengths: [
            row(
                [90.0, 110.0, 158.0],
                "neighbour C26000 wire, Little Falls Alloys 110 to 158; low from memory",
                [290.0, 330.0, 370.0],
                "GOST 15527 L68 soft wire 290 to 370 as shown by aloro.net",
            ),
            row(
                [310.0, 448.0, 482.0],
                "neighbour C26000 wire, Little Falls Alloys H02 448; low from memory",
                [545.0, 600.0, 648.0],
                B134,
            ),
            row(
                [400.0, 482.0, 560.0],
                "neighbour C26000 wire, Little Falls Alloys H03 to H08 482; ends from memory",
                [703.0, 755.0, 807.0],
                B134,
            ),
            row(
                [420.0, 482.0, 600.0],
                "low: makeitfrom.com C27000 H08 strip; neighbour C26000 wire, Little Falls Alloys 482; high from memory",
                [827.0, 855.0, 900.0],
                B134,
            ),
        ],
        sizes: NONE,
    },
    Metal {
        name: "cartridge-brass",
        #[cfg(feature = "sources")]
        title: "Cartridge brass, 70 copper 30 zinc",
        #[cfg(feature = "sources")]
        family: Family::Copper,
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
        sizes: NONE,
    },
    Metal {
        name: "red-brass",
        #[cfg(feature = "sources")]
        title: "Red brass, 85 copper 15 zinc",
        #[cfg(feature = "sources")]
        family: Family::Copper,
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
                "makeitfrom.com C23000 OS050; AZoM article 6338; high from memory",
                [269.0, 280.0, 310.0],
                "makeitfrom.com C23000 280 in the softest temper; range from memory",
            ),
            row([280.0, 340.0, 360.0], RED, [455.0, 495.0, 531.0], B134),
            row([370.0, 393.0, 434.0], RED, [572.0, 605.0, 634.0], B134),
            row([400.0, 434.0, 520.0], RED, [689.0, 720.0, 760.0], B134),
        ],
        sizes: NONE,
    },
    Metal {
        name: "commercial-bronze",
        #[cfg(feature = "sources")]
        title: "Commercial bronze, 90 copper 10 zinc",
        #[cfg(feature = "sources")]
        family: Family::Copper,
        #[cfg(feature = "sources")]
        uns: Some("C22000"),
        #[cfg(feature = "sources")]
        also: &[],
        density: density([8.79, 8.80, 8.81], OLIN),
        modulus: gpa([115.0, 117.0, 117.0], "Olin Brass alloy data sheet; range from memory"),
        hardening: ORDINARY,
        strengths: [
            row(
                [69.0, 85.0, 105.0],
                OLIN_STRIP,
                [250.0, 260.0, 285.0],
                "makeitfrom.com C22000 260 in the softest temper; range from memory",
            ),
            row([270.0, 325.0, 350.0], OLIN_STRIP, [386.0, 425.0, 462.0], B134),
            row([370.0, 400.0, 440.0], OLIN_STRIP, [483.0, 515.0, 545.0], B134),
            row([430.0, 470.0, 520.0], OLIN_STRIP, [579.0, 600.0, 650.0], B134),
        ],
        sizes: NONE,
    },
    Metal {
        name: "jewelry-bronze",
        #[cfg(feature = "sources")]
        title: "Jewelry bronze, 87.5 copper 12.5 zinc",
        #[cfg(feature = "sources")]
        family: Family::Copper,
        #[cfg(feature = "sources")]
        uns: Some("C22600"),
        #[cfg(feature = "sources")]
        also: &["jewellery-bronze"],
        density: density([8.76, 8.77, 8.78], "AZoM article 6347"),
        modulus: gpa([110.0, 115.0, 117.0], "makeitfrom.com and AZoM article 6347"),
        hardening: ORDINARY,
        strengths: [
            row(
                [76.0, 79.0, 100.0],
                JEWELRY,
                [255.0, 270.0, 300.0],
                "AZoM article 6347 gives 269 to 669 MPa over all tempers; range from memory",
            ),
            row([270.0, 325.0, 355.0], JEWELRY, [455.0, 495.0, 531.0], B134),
            row([360.0, 390.0, 427.0], JEWELRY, [572.0, 605.0, 634.0], B134),
            row([390.0, 427.0, 500.0], JEWELRY, [689.0, 720.0, 760.0], B134),
        ],
        sizes: NONE,
    },
    Metal {
        name: "bronze-c51000",
        #[cfg(feature = "sources")]
        title: "Phosphor bronze, 5 tin",
        #[cfg(feature = "sources")]
        family: Family::Copper,
        #[cfg(feature = "sources")]
        uns: Some("C51000"),
        #[cfg(feature = "sources")]
        also: &["phosphor-bronze"],
        density: density([8.85, 8.86, 8.87], "Olin Brass alloy data sheet; Fisk Alloy prints 8.85768"),
        modulus: gpa([103.4, 110.3, 110.3], "Olin Brass and Fisk Alloy data sheets; low: spring tables"),
        hardening: BRONZE,
        strengths: [
            row([130.0, 165.0, 190.0], OLIN_STRIP, [295.0, 345.0, 400.0], B159),
            row([345.0, 395.0, 520.0], OLIN_STRIP, [550.0, 610.0, 670.0], B159),
            row([520.0, 560.0, 720.0], OLIN_STRIP, [745.0, 815.0, 885.0], B159),
            row(
                [620.0, 690.0, 900.0],
                OLIN_STRIP,
                [895.0, 960.0, 1130.0],
                "ASTM B159 H08, over 0.0625 in, as shown by Interwire; usual and high from memory",
            ),
        ],
        sizes: B159_SIZES,
    },
    Metal {
        name: "nickel-silver",
        #[cfg(feature = "sources")]
        title: "Nickel silver, 65 copper 18 nickel 17 zinc",
        #[cfg(feature = "sources")]
        family: Family::Copper,
        #[cfg(feature = "sources")]
        uns: Some("C75200"),
        #[cfg(feature = "sources")]
        also: &[],
        density: density([8.70, 8.73, 8.75], "CDA, from memory; range: published neighbours C77000, C76300"),
        modulus: gpa(
            [117.0, 124.0, 130.0],
            "neighbours C77000 117, AZoM article 6449, and C76300 130; place between CDA, from memory",
        ),
        hardening: ORDINARY,
        strengths: [
            row(
                [160.0, 170.0, 205.0],
                "neighbour C76300 data sheet, annealed 160; rest CDA, from memory",
                [360.0, 390.0, 425.0],
                "neighbour C76300 data sheet, annealed 420; rest CDA, from memory",
            ),
            row(
                [360.0, 427.0, 470.0],
                "neighbour C74500 H02 470, makeitfrom.com; rest CDA, from memory",
                [450.0, 530.0, 590.0],
                "neighbour C74500 H02 510, makeitfrom.com; rest CDA, from memory",
            ),
            row(
                [485.0, 510.0, 540.0],
                "neighbour C76300 data sheet, full hard 540; rest CDA, from memory",
                [585.0, 640.0, 710.0],
                "neighbour C76300 data sheet, full hard 640; ends from memory",
            ),
            row(
                [540.0, 580.0, 640.0],
                "neighbour C77000 up to 621, AZoM article 6449; rest from memory",
                [650.0, 720.0, 1000.0],
                "neighbour C77000 up to 1000, AZoM article 6449; rest from memory",
            ),
        ],
        sizes: NONE,
    },
    Metal {
        name: "fine-silver",
        #[cfg(feature = "sources")]
        title: "Fine silver, 99.9",
        #[cfg(feature = "sources")]
        family: Family::Silver,
        #[cfg(feature = "sources")]
        uns: None,
        #[cfg(feature = "sources")]
        also: &[],
        density: density([10.49, 10.49, 10.50], "GNU units 10.49; periodictable, mendeleev and PNNL 10.5"),
        modulus: gpa(
            [71.0, 76.0, 83.0],
            "renato.design 83, after ASM Handbook; rest ASM and CRC, from memory",
        ),
        hardening: ORDINARY,
        strengths: [
            row(
                [20.0, 54.0, 55.0],
                "renato.design 55, after ASM Handbook; rest ASM, from memory",
                [125.0, 140.0, 180.0],
                "renato.design 140, after ASM Handbook; ends from memory",
            ),
            row([140.0, 180.0, 230.0], BETWEEN, [200.0, 230.0, 260.0], BETWEEN),
            row([250.0, 300.0, 320.0], ASM, [300.0, 340.0, 370.0], ASM),
            None,
        ],
        sizes: NONE,
    },
    Metal {
        name: "sterling-silver",
        #[cfg(feature = "sources")]
        title: "Sterling silver, 92.5 silver 7.5 copper",
        #[cfg(feature = "sources")]
        family: Family::Silver,
        #[cfg(feature = "sources")]
        uns: None,
        #[cfg(feature = "sources")]
        also: &[],
        density: density([10.31, 10.36, 10.40], "ESPI Metals sterling sheet; range from memory"),
        modulus: gpa([71.0, 75.0, 83.0], MEMORY),
        hardening: ORDINARY,
        strengths: [
            row([100.0, 124.0, 145.0], ESPI, [207.0, 283.0, 300.0], ESPI_WIRE),
            row([240.0, 310.0, 350.0], MEMORY, [350.0, 386.0, 430.0], ESPI_WIRE),
            row([350.0, 430.0, 490.0], MEMORY, [450.0, 496.0, 530.0], ESPI_WIRE),
            row([430.0, 490.0, 540.0], MEMORY, [510.0, 552.0, 600.0], ESPI_WIRE),
        ],
        sizes: NONE,
    },
    Metal {
        name: "silver-germanium-935",
        #[cfg(feature = "sources")]
        title: "Silver-copper-germanium, 93.5 silver",
        #[cfg(feature = "sources")]
        family: Family::Silver,
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
        sizes: NONE,
    },
    Metal {
        name: "silver-germanium-940",
        #[cfg(feature = "sources")]
        title: "Silver-copper-germanium, 94 silver",
        #[cfg(feature = "sources")]
        family: Family::Silver,
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
        sizes: NONE,
    },
    Metal {
        name: "silver-958",
        #[cfg(feature = "sources")]
        title: "Silver 958, Britannia, 95.8 silver 4.2 copper",
        #[cfg(feature = "sources")]
        family: Family::Silver,
        #[cfg(feature = "sources")]
        uns: None,
        #[cfg(feature = "sources")]
        also: &["britannia-silver"],
        density: density([10.40, 10.42, 10.45], "ideal mixture, derived; ends from memory"),
        modulus: gpa([71.0, 75.0, 83.0], AS_STERLING),
        hardening: ORDINARY,
        strengths: [
            row([60.0, 100.0, 145.0], AS_HARD_AS, [175.0, 250.0, 300.0], AS_HARD_AS),
            row([230.0, 310.0, 370.0], AS_HARD_AS, [340.0, 386.0, 450.0], AS_HARD_AS),
            row([340.0, 430.0, 490.0], AS_HARD_AS, [450.0, 490.0, 540.0], AS_HARD_AS),
            None,
        ],
        sizes: NONE,
    },
    Metal {
        name: "silver-970",
        #[cfg(feature = "sources")]
        title: "Silver 970, 97 silver",
        #[cfg(feature = "sources")]
        family: Family::Silver,
        #[cfg(feature = "sources")]
        uns: None,
        #[cfg(feature = "sources")]
        also: &[],
        density: density([10.42, 10.45, 10.47], "ideal mixture with copper, derived; ends from memory"),
        modulus: gpa([71.0, 75.0, 83.0], AS_STERLING),
        hardening: ORDINARY,
        strengths: [
            row([40.0, 85.0, 140.0], SILVER_970, [140.0, 210.0, 280.0], SILVER_970),
            row([150.0, 250.0, 350.0], SILVER_970, [210.0, 320.0, 430.0], SILVER_970),
            row([250.0, 370.0, 480.0], SILVER_970, [310.0, 420.0, 520.0], SILVER_970),
            None,
        ],
        sizes: NONE,
    },
    Metal {
        name: "silver-filled",
        #[cfg(feature = "sources")]
        title: "Silver-filled, 1/20 to 1/10 by mass of sterling on brass or copper",
        #[cfg(feature = "sources")]
        family: Family::Silver,
        #[cfg(feature = "sources")]
        uns: None,
        #[cfg(feature = "sources")]
        also: &[],
        density: density(
            [8.60, 8.68, 9.03],
            "derived: 10 % by mass of sterling (10.36) on C26000 (8.53); low: 5 %; high: copper core",
        ),
        modulus: gpa(
            [105.0, 110.3, 117.0],
            "the core's, C26000 or copper: Olin Brass and Hussey Copper data sheets; low from memory",
        ),
        hardening: ORDINARY,
        strengths: [
            row([50.0, 134.0, 158.0], FILLED, [210.0, 350.0, 372.0], FILLED),
            row([180.0, 448.0, 482.0], FILLED, [250.0, 600.0, 650.0], FILLED),
            row([275.0, 482.0, 640.0], FILLED, [345.0, 755.0, 810.0], FILLED),
            None,
        ],
        sizes: NONE,
    },
    Metal {
        name: "fine-gold",
        #[cfg(feature = "sources")]
        title: "Fine gold, 24 karat",
        #[cfg(feature = "sources")]
        family: Family::Gold,
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
        sizes: NONE,
    },
    Metal {
        name: "gold-10k-yellow",
        #[cfg(feature = "sources")]
        title: "Gold, 10 karat yellow",
        #[cfg(feature = "sources")]
        family: Family::Gold,
        #[cfg(feature = "sources")]
        uns: None,
        #[cfg(feature = "sources")]
        also: &["gold-10k"],
        density: density([11.27, 11.57, 11.81], "ideal mixtures of usual 10k alloys, derived"),
        modulus: gpa([90.0, 98.0, 110.0], GOLD_MODULUS),
        hardening: ORDINARY,
        strengths: [
            row([130.0, 250.0, 350.0], NEAR_14K, [320.0, 420.0, 560.0], NEAR_14K),
            row([350.0, 470.0, 600.0], BETWEEN, [450.0, 580.0, 700.0], BETWEEN),
            row([500.0, 620.0, 800.0], NEAR_14K, [620.0, 730.0, 900.0], NEAR_14K),
            None,
        ],
        sizes: NONE,
    },
    Metal {
        name: "gold-14k-yellow",
        #[cfg(feature = "sources")]
        title: "Gold, 14 karat yellow",
        #[cfg(feature = "sources")]
        family: Family::Gold,
        #[cfg(feature = "sources")]
        uns: None,
        #[cfg(feature = "sources")]
        also: &[],
        density: density(
            [12.84, 13.07, 13.70],
            "renato.design 13.07; low: ideal mixture; high: trade range, from memory",
        ),
        modulus: gpa([90.0, 95.0, 105.0], MEMORY),
        hardening: ORDINARY,
        strengths: [
            row(
                [130.0, 250.0, 320.0],
                "low: neighbour 18k, renato.design; rest from memory",
                [320.0, 400.0, 520.0],
                "low: renato.design, annealed; rest from memory",
            ),
            row([350.0, 460.0, 560.0], BETWEEN, [450.0, 560.0, 660.0], BETWEEN),
            row(
                [500.0, 600.0, 750.0],
                MEMORY,
                [620.0, 700.0, 850.0],
                "low: renato.design, cold worked; rest from memory",
            ),
            None,
        ],
        sizes: NONE,
    },
    Metal {
        name: "gold-14k-rose",
        #[cfg(feature = "sources")]
        title: "Gold, 14 karat rose",
        #[cfg(feature = "sources")]
        family: Family::Gold,
        #[cfg(feature = "sources")]
        uns: None,
        #[cfg(feature = "sources")]
        also: &["gold-14k-red"],
        density: density(
            [12.93, 13.29, 13.35],
            "ideal mixture of 58.5 gold 33 copper 8.5 silver (renato.design), derived; low: with zinc",
        ),
        modulus: gpa([90.0, 97.0, 110.0], GOLD_MODULUS),
        hardening: ORDINARY,
        strengths: [
            row([130.0, 250.0, 350.0], NEAR_14K, [320.0, 420.0, 560.0], NEAR_14K),
            row([350.0, 470.0, 600.0], BETWEEN, [450.0, 580.0, 700.0], BETWEEN),
            row([500.0, 620.0, 800.0], NEAR_14K, [620.0, 730.0, 900.0], NEAR_14K),
            None,
        ],
        sizes: NONE,
    },
    Metal {
        name: "gold-14k-white",
        #[cfg(feature = "sources")]
        title: "Gold, 14 karat white, with nickel or palladium",
        #[cfg(feature = "sources")]
        family: Family::Gold,
        #[cfg(feature = "sources")]
        uns: None,
        #[cfg(feature = "sources")]
        also: &[],
        density: density(
            [12.70, 13.00, 14.70],
            "ideal mixtures, derived: low with nickel, high with palladium; place in it from memory",
        ),
        modulus: gpa([75.0, 105.0, 130.0], WHITE_MODULUS),
        hardening: ORDINARY,
        strengths: [
            row([200.0, 380.0, 560.0], WHITE_GOLD, [350.0, 570.0, 750.0], WHITE_GOLD),
            row([400.0, 600.0, 800.0], BETWEEN, [500.0, 720.0, 900.0], BETWEEN),
            row([550.0, 750.0, 1000.0], WHITE_GOLD, [650.0, 870.0, 1100.0], WHITE_GOLD),
            None,
        ],
        sizes: NONE,
    },
    Metal {
        name: "gold-18k-yellow",
        #[cfg(feature = "sources")]
        title: "Gold, 18 karat yellow, 75 gold 12.5 silver 12.5 copper",
        #[cfg(feature = "sources")]
        family: Family::Gold,
        #[cfg(feature = "sources")]
        uns: None,
        #[cfg(feature = "sources")]
        also: &[],
        density: density(
            [15.20, 15.46, 15.90],
            "ideal mixture, derived; renato.design 15.58; trade range from memory",
        ),
        modulus: gpa([80.0, 90.0, 100.0], MEMORY),
        hardening: ORDINARY,
        strengths: [
            row(
                [130.0, 220.0, 350.0],
                "low: renato.design, annealed; rest from memory",
                [290.0, 400.0, 560.0],
                "low: renato.design, annealed; rest from memory",
            ),
            row([300.0, 450.0, 650.0], BETWEEN, [410.0, 540.0, 760.0], BETWEEN),
            row(
                [430.0, 620.0, 900.0],
                MEMORY,
                [530.0, 740.0, 1000.0],
                "low: renato.design, cold worked; rest from memory",
            ),
            None,
        ],
        sizes: NONE,
    },
    Metal {
        name: "gold-18k-rose",
        #[cfg(feature = "sources")]
        title: "Gold, 18 karat rose",
        #[cfg(feature = "sources")]
        family: Family::Gold,
        #[cfg(feature = "sources")]
        uns: None,
        #[cfg(feature = "sources")]
        also: &["gold-18k-red"],
        density: density(
            [14.97, 15.07, 15.30],
            "ideal mixture of 75 gold 22.5 copper 2.5 silver (renato.design), derived; high from memory",
        ),
        modulus: gpa([80.0, 92.0, 110.0], GOLD_MODULUS),
        hardening: ORDINARY,
        strengths: [
            row([130.0, 260.0, 400.0], NEAR_18K, [290.0, 450.0, 600.0], NEAR_18K),
            row([300.0, 480.0, 680.0], BETWEEN, [410.0, 580.0, 800.0], BETWEEN),
            row([430.0, 650.0, 900.0], NEAR_18K, [530.0, 770.0, 1000.0], NEAR_18K),
            None,
        ],
        sizes: NONE,
    },
    Metal {
        name: "gold-18k-white",
        #[cfg(feature = "sources")]
        title: "Gold, 18 karat white, with nickel or palladium",
        #[cfg(feature = "sources")]
        family: Family::Gold,
        #[cfg(feature = "sources")]
        uns: None,
        #[cfg(feature = "sources")]
        also: &[],
        density: density(
            [14.60, 15.50, 16.45],
            "ideal mixtures, derived: low with nickel, high with palladium; material-properties.org 15.9",
        ),
        modulus: gpa([75.0, 100.0, 125.0], WHITE_MODULUS),
        hardening: ORDINARY,
        strengths: [
            row([200.0, 380.0, 560.0], WHITE_GOLD, [350.0, 570.0, 750.0], WHITE_GOLD),
            row([400.0, 600.0, 800.0], BETWEEN, [500.0, 720.0, 900.0], BETWEEN),
            row([550.0, 750.0, 1000.0], WHITE_GOLD, [650.0, 870.0, 1100.0], WHITE_GOLD),
            None,
        ],
        sizes: NONE,
    },
    Metal {
        name: "gold-22k-yellow",
        #[cfg(feature = "sources")]
        title: "Gold, 22 karat yellow, 91.7 gold",
        #[cfg(feature = "sources")]
        family: Family::Gold,
        #[cfg(feature = "sources")]
        uns: None,
        #[cfg(feature = "sources")]
        also: &["gold-22k"],
        density: density(
            [17.60, 17.90, 18.05],
            "ideal mixture of 91.7 gold 5.5 silver 2.8 copper (renato.design), derived",
        ),
        modulus: gpa([78.0, 80.0, 90.0], GOLD_MODULUS),
        hardening: ORDINARY,
        strengths: [
            row([40.0, 80.0, 140.0], GOLD_22K, [165.0, 210.0, 260.0], GOLD_22K),
            row([140.0, 210.0, 280.0], BETWEEN, [230.0, 285.0, 340.0], BETWEEN),
            row([250.0, 320.0, 400.0], GOLD_22K, [300.0, 363.0, 420.0], GOLD_22K),
            None,
        ],
        sizes: NONE,
    },
    Metal {
        name: "gold-filled-14-20",
        #[cfg(feature = "sources")]
        title: "Gold-filled, 1/20 by mass of 14 karat yellow on jewelry bronze",
        #[cfg(feature = "sources")]
        family: Family::Gold,
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
        sizes: NONE,
    },
    Metal {
        name: "platinum-950",
        #[cfg(feature = "sources")]
        title: "Platinum 950, with ruthenium, cobalt, copper or iridium",
        #[cfg(feature = "sources")]
        family: Family::PlatinumGroup,
        #[cfg(feature = "sources")]
        uns: None,
        #[cfg(feature = "sources")]
        also: &[],
        density: density(
            [20.00, 20.70, 21.50],
            "ideal mixtures, derived: low with cobalt or copper, usual with ruthenium, high with iridium",
        ),
        modulus: gpa([160.0, 170.0, 190.0], MEMORY),
        hardening: ORDINARY,
        strengths: [
            row([130.0, 240.0, 300.0], PLATINUM, [300.0, 380.0, 480.0], PLATINUM),
            row([300.0, 430.0, 560.0], BETWEEN, [420.0, 550.0, 680.0], BETWEEN),
            row([500.0, 620.0, 750.0], PLATINUM, [560.0, 720.0, 850.0], PLATINUM),
            None,
        ],
        sizes: NONE,
    },
    Metal {
        name: "palladium-950",
        #[cfg(feature = "sources")]
        title: "Palladium 950, with ruthenium, gallium or copper",
        #[cfg(feature = "sources")]
        family: Family::PlatinumGroup,
        #[cfg(feature = "sources")]
        uns: None,
        #[cfg(feature = "sources")]
        also: &[],
        density: density(
            [11.43, 12.00, 12.30],
            "renato.design 12.0; low: ideal mixture with gallium; high: preciousmetalswest.com",
        ),
        modulus: gpa([110.0, 121.0, 135.0], MEMORY),
        hardening: ORDINARY,
        strengths: [
            row([80.0, 150.0, 280.0], PALLADIUM, [230.0, 270.0, 400.0], PALLADIUM),
            row([220.0, 320.0, 460.0], BETWEEN, [340.0, 420.0, 540.0], BETWEEN),
            row([380.0, 500.0, 620.0], PALLADIUM, [470.0, 560.0, 660.0], PALLADIUM),
            None,
        ],
        sizes: NONE,
    },
    Metal {
        name: "aluminium-1100",
        #[cfg(feature = "sources")]
        title: "Aluminium 1100, commercially pure",
        #[cfg(feature = "sources")]
        family: Family::Aluminium,
        #[cfg(feature = "sources")]
        uns: Some("A91100"),
        #[cfg(feature = "sources")]
        also: &["aluminum-1100"],
        density: density([2.70, 2.71, 2.71], AA),
        modulus: gpa([68.9, 69.0, 70.0], "makeitfrom.com 1100A; range from memory"),
        hardening: ORDINARY,
        strengths: [
            row([28.0, 34.0, 40.0], AA_TYPICAL, [75.0, 90.0, 110.0], JIS_1100),
            row([80.0, 117.0, 130.0], AA_TYPICAL, [110.0, 124.0, 145.0], AA_TYPICAL),
            row([125.0, 152.0, 160.0], AA_TYPICAL, [150.0, 165.0, 170.0], JIS_1100),
            None,
        ],
        sizes: NONE,
    },
    Metal {
        name: "aluminium-5356",
        #[cfg(feature = "sources")]
        title: "Aluminium 5356, 5 magnesium",
        #[cfg(feature = "sources")]
        family: Family::Aluminium,
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
                [230.0, 240.0, 320.0],
                "matmake; high: neighbour 5056-O, JIS H 4040, 320; low from memory",
            ),
            row(
                [220.0, 280.0, 340.0],
                BETWEEN,
                [320.0, 350.0, 390.0],
                "neighbour 5056-H34 wire, JIS H 4040, 345 at least; range from memory",
            ),
            row(
                [350.0, 380.0, 410.0],
                "neighbour 5056, makeitfrom.com: H38 350, H18 410",
                [400.0, 430.0, 450.0],
                "neighbour 5056, makeitfrom.com: H38 420, H18 440; ends from memory",
            ),
            None,
        ],
        sizes: NONE,
    },
    Metal {
        name: "aluminium-6061",
        #[cfg(feature = "sources")]
        title: "Aluminium 6061; half-hard stands for T4, hard for T6",
        #[cfg(feature = "sources")]
        family: Family::Aluminium,
        #[cfg(feature = "sources")]
        uns: Some("A96061"),
        #[cfg(feature = "sources")]
        also: &["aluminum-6061"],
        density: density([2.69, 2.70, 2.71], "PNNL compendium; range from memory"),
        modulus: gpa([68.0, 68.9, 70.0], "a public repository's material table; range from memory"),
        hardening: ORDINARY,
        strengths: [
            row([48.0, 55.0, 83.0], HARBOR, [110.0, 124.0, 152.0], HARBOR),
            row([110.0, 145.0, 160.0], HARBOR, [207.0, 241.0, 260.0], HARBOR),
            row([240.0, 276.0, 310.0], HARBOR, [290.0, 310.0, 345.0], HARBOR),
            None,
        ],
        sizes: NONE,
    },
    Metal {
        name: "stainless-304",
        #[cfg(feature = "sources")]
        title: "Stainless steel 304",
        #[cfg(feature = "sources")]
        family: Family::Steel,
        #[cfg(feature = "sources")]
        uns: Some("S30400"),
        #[cfg(feature = "sources")]
        also: &[],
        density: density([7.90, 8.00, 8.03], "Alloy Wire Intl 8.0; PNNL 8.03; low: EN 10088-1, from memory"),
        modulus: gpa(
            [175.0, 187.5, 200.0],
            "Alloy Wire Intl 187.5; low: spring tables, drawn wire; high: makeitfrom.com 200",
        ),
        hardening: AUSTENITIC,
        strengths: [
            row(
                [205.0, 240.0, 310.0],
                "ASTM A666 annealed, 205 at least, msci.org; rest from memory",
                [515.0, 620.0, 720.0],
                "ASTM A666 annealed, 515 at least, msci.org; rest from memory",
            ),
            row(
                [760.0, 860.0, 965.0],
                "ASTM A666 half hard 760 at least; makeitfrom.com 860; hghouston.com wire 827 to 965",
                [896.0, 1080.0, 1200.0],
                "hghouston.com wire 896 to 1172; makeitfrom.com 1180; place in it from memory",
            ),
            row(
                [880.0, 1100.0, 1448.0],
                "shimfer.com 880; ASTM A666 full hard 965 at least; hghouston.com wire 1172 to 1448; place in it from memory",
                [1130.0, 1379.0, 1655.0],
                "shimfer.com 1130; ASTM A666 full hard 1275 at least; hghouston.com wire 1379 to 1655",
            ),
            row(
                [880.0, 1430.0, 2080.0],
                "two thirds to five sixths of the tensile strength: our estimate, no source",
                [1300.0, 1950.0, 2448.0],
                "Alloy Wire Intl from 1300; ASTM A313 as shown by Interwire: 1896 to 2096 at 1 mm, 2448 at 0.009 in",
            ),
        ],
        sizes: A313,
    },
    Metal {
        name: "stainless-316l",
        #[cfg(feature = "sources")]
        title: "Stainless steel 316L",
        #[cfg(feature = "sources")]
        family: Family::Steel,
        #[cfg(feature = "sources")]
        uns: Some("S31603"),
        #[cfg(feature = "sources")]
        also: &[],
        density: density([7.95, 8.00, 8.03], "MatWeb, Alloy Wire Intl and PNNL 8.00; range from memory"),
        modulus: gpa(
            [175.0, 190.0, 200.0],
            "Alloy Wire Intl 187.5, MatWeb 193; low: spring tables, drawn wire; high: makeitfrom.com 200",
        ),
        hardening: AUSTENITIC,
        strengths: [
            row(
                [170.0, 240.0, 300.0],
                "MatWeb 316 annealed bar 240; makeitfrom.com 316L 190; kmac-distribution.com 235; ends from memory",
                [485.0, 560.0, 690.0],
                "kmac-distribution.com 560; makeitfrom.com 530; ends from memory",
            ),
            row(
                [430.0, 600.0, 760.0],
                "low: makeitfrom.com 316L cold finished; ASTM A276 strain-hardened 316, 690 at least; rest from memory",
                [690.0, 860.0, 1035.0],
                "makeitfrom.com 316L cold finished 700; ASTM A276 strain-hardened 316, 860 at least; ends from memory",
            ),
            row([720.0, 880.0, 1050.0], MEMORY, [1000.0, 1170.0, 1350.0], MEMORY),
            row(
                [900.0, 1130.0, 1400.0],
                "three quarters of the tensile strength: our estimate, no source",
                [1240.0, 1550.0, 1850.0],
                "JIS SUS316-WPA wire as shown by dashangmesh.com: 1600 to 1850 at 0.3 mm, 1450 to 1700 at 1.1 mm; low from memory",
            ),
        ],
        sizes: NONE,
    },
    Metal {
        name: "mild-steel",
        #[cfg(feature = "sources")]
        title: "Mild steel, annealed or bright drawn, about 0.08 carbon",
        #[cfg(feature = "sources")]
        family: Family::Steel,
        #[cfg(feature = "sources")]
        uns: Some("G10080"),
        #[cfg(feature = "sources")]
        also: &["low-carbon-steel", "steel", "bright-steel"],
        density: density([7.84, 7.86, 7.88], "spring tables 0.284 lb/in3; range is that figure's rounding"),
        modulus: gpa(
            [190.0, 200.0, 210.0],
            "spring tables 30e6 psi (diamondwire.com); makeitfrom.com music wire 190; place in it from memory",
        ),
        hardening: ORDINARY,
        strengths: [
            row(
                [230.0, 270.0, 380.0],
                "luokaiweisteel.com: SAE 1006 rod 230 to 280, annealed wire 250 to 380",
                [330.0, 400.0, 500.0],
                "luokaiweisteel.com: SAE 1006 rod 330 to 450, annealed wire 350 to 500",
            ),
            None,
            row(
                [480.0, 560.0, 650.0],
                "luokaiweisteel.com, hard-drawn 480 to 650",
                [550.0, 650.0, 750.0],
                "luokaiweisteel.com, hard-drawn 550 to 750",
            ),
            None,
        ],
        sizes: NONE,
    },
    Metal {
        name: "galvanised-steel",
        #[cfg(feature = "sources")]
        title: "Galvanised steel, mild steel with a coat of zinc",
        #[cfg(feature = "sources")]
        family: Family::Steel,
        #[cfg(feature = "sources")]
        uns: None,
        #[cfg(feature = "sources")]
        also: &["galvanized-steel", "galvanised-wire", "galvanized-wire", "galvanised", "galvanized"],
        density: density(
            [7.70, 7.82, 7.87],
            "derived: 0.005 to 0.03 mm of zinc (7.14) on 1 mm of mild steel (7.86)",
        ),
        modulus: gpa(
            [180.0, 195.0, 207.0],
            "derived: mild steel with up to an eighth of its stiffness in zinc of 100 GPa",
        ),
        hardening: ORDINARY,
        strengths: [
            row([220.0, 270.0, 380.0], GALVANISED, [320.0, 400.0, 520.0], GALVANISED),
            None,
            row([460.0, 560.0, 650.0], GALVANISED, [530.0, 650.0, 780.0], GALVANISED),
            None,
        ],
        sizes: NONE,
    },
    Metal {
        name: "music-wire",
        #[cfg(feature = "sources")]
        title: "Music wire, drawn high-carbon steel",
        #[cfg(feature = "sources")]
        family: Family::Steel,
        #[cfg(feature = "sources")]
        uns: Some("K08500"),
        #[cfg(feature = "sources")]
        also: &["piano-wire", "spring-steel"],
        density: density(
            [7.80, 7.86, 7.87],
            "spring tables 0.284 lb/in3; low: makeitfrom.com 7.8; high is the rounding",
        ),
        modulus: gpa(
            [190.0, 206.8, 210.0],
            "spring tables 30e6 psi (diamondwire.com); low: makeitfrom.com 190; high from memory",
        ),
        hardening: ORDINARY,
        strengths: [
            None,
            None,
            None,
            row(
                [1030.0, 1720.0, 3000.0],
                "makeitfrom.com, 84 % of the tensile strength; range, 65 to 90 %, from memory",
                [1586.0, 2250.0, 3344.0],
                "ASTM A228 as shown by Interwire: 2206 to 2413 at 1 mm",
            ),
        ],
        sizes: A228,
    },
    Metal {
        name: "titanium-grade-1",
        #[cfg(feature = "sources")]
        title: "Titanium grade 1",
        #[cfg(feature = "sources")]
        family: Family::Reactive,
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
            row(
                [170.0, 240.0, 310.0],
                "a supplier's sheet gives 170 to 310",
                [240.0, 310.0, 410.0],
                "dll-titanium.com pure titanium wire 240 at least; rest from memory",
            ),
            None,
            row(
                [400.0, 480.0, 570.0],
                MEMORY,
                [450.0, 550.0, 660.0],
                "dll-titanium.com pure titanium wire, drawn 450 to 550; high from memory",
            ),
            None,
        ],
        sizes: NONE,
    },
    Metal {
        name: "titanium-grade-2",
        #[cfg(feature = "sources")]
        title: "Titanium grade 2",
        #[cfg(feature = "sources")]
        family: Family::Reactive,
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
                "MatWeb gives 275 to 448; ASTM B863 275 at least, jetvisiontitanium.com; place in it from memory",
                [345.0, 430.0, 520.0],
                "ASTM B863 345 at least, jetvisiontitanium.com; rest from memory",
            ),
            None,
            row(
                [500.0, 600.0, 700.0],
                MEMORY,
                [550.0, 700.0, 800.0],
                "dll-titanium.com pure titanium wire, drawn, up to 550; rest from memory",
            ),
            None,
        ],
        sizes: NONE,
    },
    Metal {
        name: "titanium-grade-5",
        #[cfg(feature = "sources")]
        title: "Titanium grade 5, 6 aluminium 4 vanadium",
        #[cfg(feature = "sources")]
        family: Family::Reactive,
        #[cfg(feature = "sources")]
        uns: Some("R56400"),
        #[cfg(feature = "sources")]
        also: &[],
        density: density([4.42, 4.43, 4.45], MEMORY),
        modulus: gpa([105.0, 114.0, 120.0], MEMORY),
        hardening: ORDINARY,
        strengths: [
            row(
                [828.0, 880.0, 950.0],
                "ASTM B863 828 at least, jetvisiontitanium.com; rest from memory",
                [895.0, 960.0, 1100.0],
                "ASTM B863 895 at least, jetvisiontitanium.com; dll-titanium.com TC4 wire from 900; rest from memory",
            ),
            None,
            row(
                [880.0, 1020.0, 1200.0],
                MEMORY,
                [960.0, 1100.0, 1300.0],
                "dll-titanium.com TC4 wire 900 to 1300, usual 1100",
            ),
            None,
        ],
        sizes: NONE,
    },
    Metal {
        name: "niobium",
        #[cfg(feature = "sources")]
        title: "Niobium, commercially pure",
        #[cfg(feature = "sources")]
        family: Family::Reactive,
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
        sizes: NONE,
    },
];
