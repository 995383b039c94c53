//! `turntally chart`: one figure over wires, mandrels and metals; as text, CSV, JSON, a page or a picture.

mod html;
mod learned;
mod svg;
mod table;

use std::num::NonZero;
use std::path::PathBuf;
use std::thread;

use clap::ValueEnum;
use turntally_core::bounds::Bounds;
use turntally_core::gauge::{Gauge, WireSize};
use turntally_core::units::{Density, Grams, Length};

use crate::failure::Failure;
use crate::figures::{Cut, Figure, Printed, Ring};
use crate::files::kind::Kind;
use crate::files::output;
use crate::job::bare;
use crate::lookup::{Learning, LookupArgs};
use crate::material::{Material, MaterialArgs, Refusal};
use crate::range::{Sizes, Step};
use crate::records;
use crate::words;
use crate::words::number::{fine, fine_inches, fixed, given, inches};
use turntally_core::gauge::GaugeSystem;
use turntally_core::metal::Metal;

/// The most cells that are worked out.
const MAX_CELLS: usize = 100_000;
/// The most wires or mandrels in a picture: past that it cannot be read from the bench.
const MAX_PICTURE: usize = 30;

/// A table or a wall chart: wires across, mandrels down, one sheet to a metal
///
/// The figures are those of `turntally size`, printed without the digits that gauge tolerance, springback
/// and density leave uncertain; CSV and JSON have all digits, and the bounds.
#[derive(Debug, Clone, clap::Args)]
#[command(after_help = "\
Examples:
  turntally chart --metal copper --wires 14awg..22awg --mandrels 3mm..10mm
  turntally chart --metal sterling-silver --wires 16awg..24awg --mandrels 2.5mm..8mm \\
      --kerf 0.2mm --format svg --out sterling.svg
  turntally chart --metal all --wires 0.8mm..2mm --wire-step 0.2mm --mandrels 4mm,5mm,6mm \\
      --of mass --format csv

Gauges go by whole numbers, from thicker to thinner; other ranges by their step. An SVG takes up to
30 wires and 30 mandrels.")]
pub struct Args {
    /// Metals, with commas between them, or all; one that is not listed needs --density
    #[arg(long, value_name = "NAMES", required = true, value_delimiter = ',')]
    pub metal: Vec<String>,
    /// Wires: a range or a list, such as 14awg..22awg, 16swg..20swg, 0.8mm..2mm or 16awg,1.2mm
    #[arg(long, value_name = "SIZES", allow_hyphen_values = true)]
    pub wires: Sizes<WireSize>,
    /// Step of a range of wire diameters, with its unit
    #[arg(long, value_name = "LENGTH", default_value = "0.1mm", allow_hyphen_values = true)]
    pub wire_step: Length,
    /// Mandrels: a range or a list, such as 3mm..10mm or 4mm,5mm,6mm
    #[arg(long, value_name = "LENGTHS", allow_hyphen_values = true)]
    pub mandrels: Sizes<Length>,
    /// Step of a range of mandrels, with its unit
    #[arg(long, value_name = "LENGTH", default_value = "0.5mm", allow_hyphen_values = true)]
    pub step: Length,
    /// What the cells show
    #[arg(long, value_enum, default_value_t = Of::Rings)]
    pub of: Of,
    /// Mass for --of rings: the cells show how many rings weigh this much [default: troy-ounce]
    #[arg(long, value_enum)]
    pub per: Option<Per>,
    #[command(flatten)]
    #[expect(missing_docs, reason = "clap would take it for help")]
    pub material: MaterialArgs,
    #[command(flatten)]
    #[expect(missing_docs, reason = "clap would take it for help")]
    pub known: LookupArgs,
    /// The spool that one of the wires comes off: its own measurements count, or else those of no spool [default: all
    /// measurements of such wire]
    #[arg(long, value_name = "NAME")]
    pub spool: Option<String>,
    /// How it is written
    #[arg(long, value_enum, default_value_t = Format::Text)]
    pub format: Format,
    /// Write to this file, whole or not at all [default: standard output]
    #[arg(long, value_name = "FILE")]
    pub out: Option<PathBuf>,
}

/// The figure in the cells.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
#[cfg_attr(feature = "window", derive(serde::Serialize, serde::Deserialize))]
pub enum Of {
    /// Number of rings in the mass of --per
    Rings,
    /// Aspect ratio: closed inside diameter / wire diameter
    Ratio,
    /// Mass of a ring, mg
    Mass,
    /// Inside diameter of the closed ring, mm
    Inner,
    /// Turns in an inch of coil
    PerInch,
}

/// A weight that rings are counted to.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
#[cfg_attr(feature = "window", derive(serde::Serialize, serde::Deserialize))]
pub enum Per {
    /// 31.103 g
    TroyOunce,
    /// The avoirdupois ounce, 28.350 g
    Ounce,
    /// 100 g
    #[value(name = "100g")]
    HundredGrams,
}

/// What stands at the foot of a page.
const MADE_BY: &str = concat!("turntally ", env!("CARGO_PKG_VERSION"), ", chart");

/// How a chart is written.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum Format {
    /// A table for the terminal
    Text,
    /// One row to a cell, figures in full
    Csv,
    /// A page that stands alone, to print or to hang up
    Html,
    /// A picture in the proportions of A4 and A3, landscape
    Svg,
    /// One JSON object, figures in full
    Json,
}

impl Format {
    const fn kind(self) -> Kind {
        match self {
            Self::Text => Kind::Text,
            Self::Csv => Kind::Csv,
            Self::Html => Kind::Html,
            Self::Svg => Kind::Svg,
            Self::Json => Kind::Json,
        }
    }
}

/// Works the chart out and writes it.
///
/// # Errors
/// One line that names the option, its value and what is allowed.
pub fn run(args: &Args) -> Result<(), Failure> {
    let text = render(args)?;
    match &args.out {
        None => output::print_as(args.format.kind(), &text),
        Some(path) => output::write_whole(path, args.format.kind(), &text),
    }
}

/// The whole chart as it is written.
///
/// # Errors
/// As [`run`].
pub fn render(args: &Args) -> Result<String, Failure> {
    let chart = Chart::new(args)?;
    match args.format {
        Format::Text => Ok(table::text(&chart)),
        Format::Csv => table::csv(&chart),
        Format::Json => table::json(&chart),
        Format::Html => Ok(html::page(&chart)),
        Format::Svg => {
            for (option, count) in [("--wires", chart.wires.len()), ("--mandrels", chart.mandrels.len())] {
                if count > MAX_PICTURE {
                    return Err(Failure::new(format_args!(
                        "{option}: {count} sizes are too many to read in a picture: at most {MAX_PICTURE} are allowed"
                    )));
                }
            }
            svg::picture(&chart)
        }
    }
}

/// A ring that can be made.
#[derive(Debug, Clone)]
pub(crate) struct Made {
    pub(crate) value: Bounds<f64>,
    spring: Bounds<f64>,
    gap: f64,
    /// What measured rings and coils say of this wire and mandrel.
    learning: Option<Learning>,
    pub(crate) ratio: f64,
    /// Inside diameter of the closed ring, mm.
    #[cfg(feature = "window")]
    pub(crate) inner: f64,
    /// Its mass, mg.
    #[cfg(feature = "window")]
    pub(crate) mass: f64,
}

/// One that cannot: the index of its reason, and the reason in full.
#[derive(Debug, Clone)]
pub(crate) struct Blank {
    reason: usize,
    pub(crate) why: String,
}

impl Made {
    /// Its spring ratio is from measured rings.
    fn spring_learned(&self) -> bool {
        self.learning.as_ref().is_some_and(|learning| learning.learned.spring.is_some())
    }
}

pub(crate) type Cell = Result<Made, Blank>;

/// The chart of one metal.
#[derive(Debug)]
struct Sheet {
    material: Material,
    /// Row by row: every wire on the first mandrel, then on the next.
    cells: Vec<Cell>,
}

#[derive(Debug)]
pub(crate) struct Chart {
    of: Of,
    per: Per,
    cut: Cut,
    pub(crate) wires: Vec<WireSize>,
    pub(crate) mandrels: Vec<Length>,
    sheets: Vec<Sheet>,
    /// Why cells are blank, in the order met.
    reasons: Vec<&'static str>,
}

impl Chart {
    pub(crate) fn new(args: &Args) -> Result<Self, Failure> {
        if args.per.is_some() && args.of != Of::Rings {
            return Err(Failure::new("--per: only --of rings counts to a weight"));
        }
        let wires = args.wires.wires("--wires", Step { option: "--wire-step", length: args.wire_step })?;
        let mandrels = args.mandrels.lengths("--mandrels", Step { option: "--step", length: args.step })?;
        let materials = materials(args)?;
        let cells = wires.len() * mandrels.len() * materials.len();
        if cells > MAX_CELLS {
            return Err(Failure::new(format_args!(
                "--wires, --mandrels and --metal make {cells} cells: at most {MAX_CELLS} are allowed"
            )));
        }
        let mut chart = Self {
            of: args.of,
            per: args.per.unwrap_or(Per::TroyOunce),
            cut: Cut { kerf: args.material.kerf, gap: args.material.gap },
            wires,
            mandrels,
            sheets: Vec::with_capacity(materials.len()),
            reasons: Vec::new(),
        };
        let mut first_refusal = None;
        for (material, rings) in chart.rings(materials) {
            let cells = rings.into_iter().map(|ring| chart.cell(ring, &mut first_refusal)).collect();
            chart.sheets.push(Sheet { material, cells });
        }
        match first_refusal {
            Some(refusal) if chart.sheets.iter().all(|sheet| !sheet.has_rings()) => Err(Failure::new(
                format_args!("{}: not one cell of this chart can be made: {refusal}", refusal.option()),
            )),
            _ => Ok(chart),
        }
    }

    /// Works out the rings of every metal, on as many threads as there are processors.
    fn rings(&self, materials: Vec<Material>) -> Vec<(Material, Vec<Result<Made, Refusal>>)> {
        let threads = thread::available_parallelism().map_or(1, NonZero::get);
        let share = materials.len().div_ceil(threads).max(1);
        let rings = |material: &Material| {
            let on = |mandrel: Length| self.wires.iter().map(move |wire| self.ring(material, *wire, mandrel));
            (material.clone(), self.mandrels.iter().copied().flat_map(on).collect())
        };
        let shares = |materials: &[Material]| materials.iter().map(rings).collect::<Vec<_>>();
        thread::scope(|scope| {
            let shares = &shares;
            let (here, others) = materials.split_at(share.min(materials.len()));
            let others: Vec<_> =
                others.chunks(share).map(|part| (part, scope.spawn(move || shares(part)))).collect();
            let mut all = shares(here);
            for (part, other) in others {
                // A thread that broke is done again here, where a fault shows.
                all.extend(other.join().unwrap_or_else(|_| shares(part)));
            }
            all
        })
    }

    fn ring(&self, material: &Material, wire: WireSize, mandrel: Length) -> Result<Made, Refusal> {
        Ring::new(material, wire, mandrel, self.cut).map(|ring| Made {
            value: ring.get(self.figure()),
            spring: ring.get(Figure::SpringRatio),
            gap: ring.winding().gap(),
            learning: ring.learning().cloned(),
            ratio: ring.get(Figure::AspectRatio).best,
            #[cfg(feature = "window")]
            inner: ring.get(Figure::ClosedInner).best,
            #[cfg(feature = "window")]
            mass: ring.get(Figure::RingMass).best,
        })
    }

    /// Numbers the reason of a cell that cannot be made.
    fn cell(&mut self, ring: Result<Made, Refusal>, first_refusal: &mut Option<Refusal>) -> Cell {
        ring.map_err(|refusal| {
            let kind = refusal.kind();
            let known = self.reasons.iter().position(|reason| *reason == kind);
            let reason = known.unwrap_or_else(|| {
                self.reasons.push(kind);
                self.reasons.len() - 1
            });
            let why = refusal.to_string();
            first_refusal.get_or_insert(refusal);
            Blank { reason, why }
        })
    }

    const fn figure(&self) -> Figure {
        match (self.of, self.per) {
            (Of::Rings, Per::TroyOunce) => Figure::PerTroyOunce,
            (Of::Rings, Per::Ounce) => Figure::PerOunce,
            (Of::Rings, Per::HundredGrams) => Figure::PerHundredGrams,
            (Of::Ratio, _) => Figure::AspectRatio,
            (Of::Mass, _) => Figure::RingMass,
            (Of::Inner, _) => Figure::ClosedInner,
            (Of::PerInch, _) => Figure::TurnsPerInch,
        }
    }

    /// What the chart is of, with its unit.
    pub(crate) fn title(&self) -> String {
        match (self.of, self.per) {
            (Of::Rings, Per::TroyOunce) => {
                format!("Rings per troy ounce ({} g)", fixed(Grams::TROY_OUNCE, 3))
            }
            (Of::Rings, Per::Ounce) => format!("Rings per ounce avoirdupois ({} g)", fixed(Grams::OUNCE, 3)),
            (Of::Rings, Per::HundredGrams) => "Rings per 100 g".to_owned(),
            (Of::Ratio, _) => "Aspect ratio (inside diameter / wire diameter)".to_owned(),
            (Of::Mass, _) => "Mass of a ring, mg".to_owned(),
            (Of::Inner, _) => "Inside diameter of the closed ring, mm".to_owned(),
            (Of::PerInch, _) => "Turns per inch of coil".to_owned(),
        }
    }

    /// A figure as a cell shows it: rings whole, the rest no finer than anybody can use.
    pub(crate) fn shown(&self, made: &Made) -> String {
        made.value.shown_to(match self.of {
            Of::Rings => 0,
            Of::PerInch | Of::Mass => -1,
            Of::Ratio | Of::Inner => -2,
        })
    }

    /// The cells of the first metal, row by row: every wire on the first mandrel, then on the next.
    #[cfg(feature = "window")]
    pub(crate) fn cells(&self) -> impl Iterator<Item = &[Cell]> {
        let cells = self.sheets.first().map_or(&[][..], |sheet| &sheet.cells);
        cells.chunks(self.wires.len().max(1))
    }

    /// The shade of a cell: by the band of its aspect ratio.
    #[cfg(feature = "window")]
    pub(crate) fn shade(made: &Made) -> (u8, u8, u8) {
        SHADES.get(band(made.ratio)).copied().unwrap_or_default()
    }

    /// The bands of aspect ratio that the cells lie in: shade, and which ratios.
    #[cfg(feature = "window")]
    pub(crate) fn bands(&self) -> impl Iterator<Item = ((u8, u8, u8), String)> {
        let lies = |at: usize| self.cells().flatten().flatten().any(|made| band(made.ratio) == at);
        let bands = SHADES.into_iter().enumerate().filter(move |(at, _)| lies(*at));
        bands.map(|(at, shade)| (shade, band_label(at)))
    }

    /// The system of all the wires, where they are of one.
    fn one_system(&self) -> Option<&'static str> {
        let system = |wire: &WireSize| match wire {
            WireSize::Gauge(gauge) => Some(gauge.system()),
            WireSize::Diameter(_) => None,
        };
        let first = system(self.wires.first()?)?;
        let name = match first {
            GaugeSystem::Awg => "AWG",
            GaugeSystem::Swg => "SWG",
            GaugeSystem::Steel => "W&M",
        };
        self.wires.iter().all(|wire| system(wire) == Some(first)).then_some(name)
    }

    /// One of the wires at least is a gauge, or as thick as one.
    fn has_gauges(&self) -> bool {
        self.wires.iter().any(|wire| match wire {
            WireSize::Gauge(_) => true,
            WireSize::Diameter(diameter) => Gauge::of_diameter(*diameter).next().is_some(),
        })
    }

    /// What stands at the head of the wires' columns.
    fn wires_title(&self) -> String {
        match self.one_system() {
            Some(system) => format!("wire, {system} and diameter in mm"),
            None if self.has_gauges() => "wire, size and diameter in mm".to_owned(),
            None => "wire, diameter in mm and in inches".to_owned(),
        }
    }

    /// A wire's column head: two lines.
    fn wire_head(&self, wire: WireSize) -> [String; 2] {
        let bare = |length: Length| fixed(length.mm().get(), 3);
        match wire {
            WireSize::Gauge(gauge) => {
                let full = gauge.to_string();
                let number = full.split(' ').next().unwrap_or(&full).to_owned();
                [if self.one_system().is_some() { number } else { full }, bare(gauge.diameter())]
            }
            WireSize::Diameter(diameter) if self.has_gauges() => [words::wire_short(wire), bare(diameter)],
            WireSize::Diameter(diameter) => {
                let without = |text: String, unit: &str| text.trim_end_matches(unit).to_owned();
                [without(fine(diameter), " mm"), without(fine_inches(diameter), " in")]
            }
        }
    }

    /// The sheets that have a ring at all, and the names of those that have none.
    fn drawn(&self) -> (Vec<&Sheet>, Vec<&str>) {
        let (drawn, left_out): (Vec<&Sheet>, Vec<&Sheet>) =
            self.sheets.iter().partition(|sheet| sheet.has_rings());
        (drawn, left_out.into_iter().map(|sheet| sheet.material.name()).collect())
    }

    /// The letters of blank cells and what they mean, for one sheet.
    fn legend(&self, sheet: &Sheet) -> Vec<(char, &'static str)> {
        let met = |i: usize| sheet.cells.iter().any(|cell| matches!(cell, Err(blank) if blank.reason == i));
        let reasons = self.reasons.iter().enumerate().filter(|(i, _)| met(*i));
        reasons.map(|(i, reason)| (letter(i), *reason)).collect()
    }

    /// What a sheet takes for granted, a line each.
    fn assumptions(&self, sheet: &Sheet) -> Vec<String> {
        let material = &sheet.material;
        let [light, density, dense] = material.density().map(|density| density.g_per_cm3());
        let mut lines = Vec::new();
        let spread = if light < dense { format!(" ({light} to {dense})") } else { String::new() };
        let source = match material.metal() {
            Some(metal)
                if light < dense || metal.density().value().g_per_cm3().to_bits() == density.to_bits() =>
            {
                format!("; source: {}", metal.density().source())
            }
            _ => ", as given".to_owned(),
        };
        lines.push(format!("Density {density} g/cm\u{b3}{spread}{source}."));
        if material.coating() > Length::ZERO {
            lines.push(format!(
                "Wire with a coating of {} of {} g/cm\u{b3}; diameters are the metal's, insides are measured to the coating.",
                fine(material.coating()),
                Density::ENAMEL.g_per_cm3()
            ));
        }
        let made: Vec<&Made> = sheet.cells.iter().flatten().collect();
        let estimated: Vec<&&Made> = made.iter().filter(|made| !made.spring_learned()).collect();
        let least =
            |of: fn(&Made) -> f64| estimated.iter().map(|made| of(made)).fold(f64::INFINITY, f64::min);
        let most = |of: fn(&Made) -> f64| estimated.iter().map(|made| of(made)).fold(0.0, f64::max);
        for (i, made) in sheet.cells.iter().enumerate() {
            let Ok(Made { learning: Some(learning), .. }) = made else { continue };
            let (wire, mandrel) = (self.wires[i % self.wires.len()], self.mandrels[i / self.wires.len()]);
            let spring = learning.spring_words().filter(|_| learning.carried.is_none());
            let spring = spring.map(|words| format!("spring ratio {words}"));
            let gap = learning.gap_words().map(|words| format!("gap {words}"));
            let learned: Vec<String> = spring.into_iter().chain(gap).collect();
            if !learned.is_empty() {
                lines.push(format!("{} on {}: {}.", words::wire(wire), given(mandrel), learned.join("; ")));
            }
        }
        for (column, wire) in self.wires.iter().enumerate() {
            lines.extend(learned::line(*wire, sheet.cells.iter().skip(column).step_by(self.wires.len())));
        }
        if material.spring_measured() {
            lines.push(format!(
                "Spring ratio {} in every cell, as measured.",
                fixed(most(|made| made.spring.best), 4)
            ));
        } else if !estimated.is_empty() {
            lines.push(format!(
                "Spring ratio estimated for {} wire cell by cell{}: {} to {}, bounds {} to {}; a measured ring beats it.",
                material.temper(),
                if estimated.len() < made.len() { " elsewhere" } else { "" },
                fixed(least(|made| made.spring.best), 3),
                fixed(most(|made| made.spring.best), 3),
                fixed(least(|made| made.spring.low), 3),
                fixed(most(|made| made.spring.high), 3),
            ));
        }
        lines.push(format!(
            "Round wire, coil {}, kerf {}, rings closed after the cut. Rings alone: swarf and coil ends come on top.",
            match self.cut.gap {
                Some(gap) if gap > 0.0 => format!("with a gap of {gap} wire diameters"),
                _ => "close-wound".to_owned(),
            },
            given(self.cut.kerf)
        ));
        let off: Vec<f64> = made
            .iter()
            .filter(|made| made.value.best > 0.0)
            .map(|made| (made.value.high - made.value.low) / 2.0 / made.value.best * 100.0)
            .collect();
        let (least, most) =
            (off.iter().copied().fold(f64::INFINITY, f64::min), off.iter().copied().fold(0.0, f64::max));
        if most > 1e-9 {
            let gauges = self.wires.iter().any(|wire| matches!(wire, WireSize::Gauge(_)));
            lines.push(format!(
                "{}figures are good to \u{b1}{} to \u{b1}{} % and end at the first uncertain digit.",
                if gauges { "With the gauges' tolerance (about 1 %) " } else { "With wire as measured " },
                fixed(least, 1),
                fixed(most, 1)
            ));
        }
        lines
    }

    /// The description of a metal: its full name, number and temper.
    fn about(sheet: &Sheet) -> String {
        let temper = sheet.material.temper();
        match sheet.material.metal() {
            Some(metal) => match metal.uns() {
                Some(uns) => format!("{} ({uns}), {temper}", metal.title()),
                None => format!("{}, {temper}", metal.title()),
            },
            None => format!("{}, {temper}", sheet.material.name()),
        }
    }
}

impl Sheet {
    fn has_rings(&self) -> bool {
        self.cells.iter().any(Result::is_ok)
    }
}

/// The letter of a reason. There are fewer reasons than letters.
fn letter(reason: usize) -> char {
    u8::try_from(reason).ok().map_or('z', |reason| char::from(b'a' + reason.min(25)))
}

/// A mandrel's row head: millimetres and inches.
fn mandrel_head(mandrel: Length) -> [String; 2] {
    [given(mandrel), inches(mandrel)]
}

/// The metals that were named, none twice.
fn materials(args: &Args) -> Result<Vec<Material>, Failure> {
    let names: Vec<&str> = if args.metal.iter().any(|name| name.trim() == "all") {
        Metal::ALL.iter().map(Metal::name).collect()
    } else {
        args.metal.iter().map(String::as_str).collect()
    };
    let known = records::lookup(&args.known)?.with_spool(args.spool.as_deref());
    let spool = known.spool(None)?;
    if let Some((option, spool)) = &spool {
        bare("--coating", option, spool, args.material.coating)?;
    }
    let mut materials: Vec<Material> = Vec::new();
    for name in names {
        let material = Material::new(name, &args.material, &known, spool.as_ref().map(|(_, spool)| spool))?;
        if materials.iter().all(|other| other.name() != material.name()) {
            materials.push(material);
        }
    }
    if materials.len() > 1 && args.material.density.is_some() {
        return Err(Failure::new("--density: only with one metal"));
    }
    if materials.len() > 1 && args.material.spring_ratio.is_some() {
        return Err(Failure::new("--spring-ratio: only with one metal, the one it was measured on"));
    }
    Ok(materials)
}

/// The bounds of the bands of aspect ratio that cells are shaded by.
const BANDS: [f64; 7] = [3.0, 4.0, 5.0, 6.0, 7.0, 8.0, 10.0];

/// The shades of the bands, from tight rings to wide ones: copper over straw to verdigris, all light
/// enough for black print.
const SHADES: [(u8, u8, u8); 8] = [
    (0xe3, 0xa5, 0x7f),
    (0xee, 0xc0, 0x9b),
    (0xf5, 0xd9, 0xb5),
    (0xf9, 0xea, 0xcc),
    (0xf1, 0xf1, 0xdc),
    (0xdd, 0xec, 0xdd),
    (0xc3, 0xe1, 0xd6),
    (0xa5, 0xd3, 0xc9),
];

/// The band that an aspect ratio lies in.
fn band(ratio: f64) -> usize {
    BANDS.iter().take_while(|bound| ratio >= **bound).count()
}

/// A band in words.
fn band_label(band: usize) -> String {
    match (band.checked_sub(1).and_then(|i| BANDS.get(i)), BANDS.get(band)) {
        (None, Some(high)) => format!("below {high}"),
        (Some(low), Some(high)) => format!("{low} to {high}"),
        (low, None) => format!("{} and up", low.copied().unwrap_or_default()),
    }
}
