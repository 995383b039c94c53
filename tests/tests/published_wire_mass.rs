//! Mass of wire to its length against a handbook's table and the precious-metal trade's own figures.
//! Every list names its source; none was made with the code it checks.
#![allow(clippy::unwrap_used, reason = "a test that cannot go on should stop")]

use turntally_core::gauge::Gauge;
use turntally_core::metal::Metal;
use turntally_core::units::{Density, Grams, Length, Mm};

const FOOT: Mm = Mm::new(304.8);

/// American sizes from 4/0: diameter in inches, pounds to the foot of copper and of brass wire.
///
/// Source: the table worked out by Charles H. Haswell for the makers of the gauge, as reprinted in
/// "The Metal Worker's Assistant" under "Weights of wrought iron, steel, copper and brass wire
/// and plates" (read from chestofbooks.com; that copy was seen down to No. 14).
const HASWELL: [(f64, f64, f64); 18] = [
    (0.460_00, 0.640_513, 0.605_176),
    (0.409_64, 0.507_946, 0.479_908),
    (0.364_80, 0.402_830, 0.380_666),
    (0.324_86, 0.319_451, 0.301_816),
    (0.289_30, 0.253_342, 0.239_353),
    (0.257_63, 0.200_911, 0.189_818),
    (0.229_42, 0.159_323, 0.150_522),
    (0.204_31, 0.126_353, 0.119_376),
    (0.181_94, 0.100_200, 0.094_666),
    (0.162_02, 0.079_462, 0.075_075),
    (0.144_28, 0.063_013, 0.059_545),
    (0.128_49, 0.049_976, 0.047_219),
    (0.114_43, 0.039_636, 0.037_437),
    (0.101_89, 0.031_426, 0.029_687),
    (0.090_742, 0.024_924, 0.023_549),
    (0.080_808, 0.019_766, 0.018_676),
    (0.071_961, 0.015_674, 0.014_809),
    (0.064_084, 0.012_435, 0.011_746),
];

/// Slips of the copy: the figure does not follow from its own diameter by some 0.02 to 0.04 %, more than
/// rounding makes. Copper No. 14; brass 2/0, 7 and 9.
const SLIPS: [(&str, i8); 4] = [("copper", 14), ("brass", -1), ("brass", 7), ("brass", 9)];

/// The copper column is the listed density's, to the figures printed; the brass column follows the same
/// law throughout.
///
/// The copy does not print its densities. Copper is held to our own 8.89; brass, whose alloy it does not
/// name, to 8.3993, which is what its column comes to: that column proves the law and the units only.
#[test]
fn handbook_wire_weighs_what_its_table_says() {
    let copper = Metal::find("copper").unwrap().density().value();
    let mut checked = 0;
    for (n, (inches, copper_lb, brass_lb)) in (-3_i8..).zip(HASWELL) {
        let wire = Length::from_mm(Mm::new(inches * 25.4)).unwrap();
        for (name, density, printed) in
            [("copper", copper, copper_lb), ("brass", Density::new(8.3993), brass_lb)]
        {
            let pounds = density.wire_mass(wire, FOOT).get() / Grams::POUND;
            let off = (pounds / printed - 1.0).abs();
            // Half a unit of the last figure of mass, and of the diameter's fifth decimal twice over; 0.005 %
            // for the density behind the column, known to four figures.
            let allowed = 0.5e-6 / printed + 2.0 * 0.5e-5 / inches + 0.000_05;
            if SLIPS.contains(&(name, n)) {
                assert!((allowed..0.000_5).contains(&off), "{name} No. {n} is no slip: {off}");
            } else {
                assert!(off < allowed, "{name} No. {n}: {pounds} for {printed}");
                checked += 1;
            }
        }
    }
    assert_eq!(checked, 32);
}

/// 14 karat gold wire of No. 19 weighs 1.67 pennyweights to the foot.
///
/// Source: a goldsmith's figure on the Ganoksin Orchid forum ("Numerically & fiscally challenged").
/// The gauge is the American; the alloy's own spread is far wider than the figure's three digits, so
/// it is the usual alloy that is held to them.
#[test]
fn gold_wire_weighs_what_goldsmiths_say() {
    let gold = Metal::find("gold-14k-yellow").unwrap().density().value();
    let mass = gold.wire_mass(Gauge::awg(19).unwrap().diameter(), FOOT).pennyweights();
    assert!((mass - 1.67).abs() <= 0.005, "{mass}");
}

/// A gold wire is 1.257 times as heavy as the same wire of sterling silver. Source: Oppi Untracht,
/// "Jewelry", as quoted in the same thread. Within 0.5 %: karat golds differ
/// by that much and more from refiner to refiner.
#[test]
fn gold_and_sterling_wire_compare_as_published() {
    let wire = Gauge::awg(19).unwrap().diameter();
    let mass = |name: &str| Metal::find(name).unwrap().density().value().wire_mass(wire, FOOT).get();
    let ratio = mass("gold-14k-yellow") / mass("sterling-silver");
    assert!((ratio / 1.257 - 1.0).abs() < 0.005, "{ratio}");
}

/// Specific gravities of a casting house's table lie within the spread of ours: so does the mass of any
/// wire by them.
///
/// Source: auenterprises.com, "Weights", top line: sterling 10.36, 14 karat yellow 13.08, 18 karat
/// yellow 15.60. Its table of relative weights prints 14 karat over sterling as 1.27 where its own
/// gravities give 1.263: a slip, left out.
#[test]
fn casting_house_wire_lies_within_our_spread() {
    let wire = Gauge::awg(16).unwrap().diameter();
    for (name, gravity) in
        [("sterling-silver", 10.36), ("gold-14k-yellow", 13.08), ("gold-18k-yellow", 15.60)]
    {
        let density = Metal::find(name).unwrap().density();
        let theirs = Density::new(gravity).wire_mass(wire, FOOT).get();
        let [low, usual, high] = [density.low(), density.value(), density.high()]
            .map(|density| density.wire_mass(wire, FOOT).get());
        assert!((low..=high).contains(&theirs), "{name}: {theirs} not in {low} to {high}");
        assert!((usual / theirs - 1.0).abs() < 0.01, "{name}: {usual} for {theirs}");
    }
}
