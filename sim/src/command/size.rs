//! `turntally size`: one wire on one mandrel, every figure; or the mandrel for a wanted ring.

use std::cmp::Ordering;

use serde_json::{Map, Value, json};
use turntally_core::bounds::Bounds;
use turntally_core::gauge::{Tolerance, WireSize};
use turntally_core::metal::Temper;
use turntally_core::units::{Grams, Length, Mm};

use crate::failure::Failure;
use crate::figures::{Corner, Cut, Figure, HUNDREDTHS, NO_LIMIT, Printed, Ring, THOUSANDTHS, tolerance};
use crate::files::output;
use crate::job::{MAX_RINGS, bare, fits};
use crate::lookup::{Learning, LookupArgs, WireKind};
use crate::material::{Material, MaterialArgs, Refusal, Stock};
use crate::plan::advice::springs_uncertainly;
use crate::range::{Sizes, Step};
use crate::records;
use crate::words::mass::{Scales, Unit};
use crate::words::number::{bare_mm, fine, fixed, gap, given, inches, signed};
use crate::words::table::{table, wrapped};
use crate::words::{coating, wire_both};

/// The largest aspect ratio that may be asked for.
const MAX_RATIO: f64 = 1000.0;
/// How many mandrels are shown for a wanted ring.
const CHOICES: usize = 5;

/// One wire on one mandrel: every figure of its rings, with the range it can lie in
///
/// The likely figures are for the wire's nominal size and the best estimate of the spring ratio. The
/// range takes in the gauge's tolerance, the bounds of the spring ratio and the spread of the density.
#[derive(Debug, Clone, clap::Args)]
#[command(
    override_usage = "turntally size --wire <SIZE> --metal <NAME> --mandrel <LENGTH> [OPTIONS]
       turntally size --wire <SIZE> --metal <NAME> (--want-inner <LENGTH> | --want-ratio <RATIO>) --mandrels <LENGTHS> [OPTIONS]",
    after_help = "\
Examples:
  turntally size --wire 16awg --mandrel 5mm --metal copper --kerf 0.3mm
  turntally size --wire 20awg --mandrel 3mm --metal sterling-silver --wire-stock 2ozt
  turntally size --wire 1.2mm --metal yellow-brass --temper half-hard \\
      --want-inner 5mm --mandrels 2.5mm..12mm --step 0.5mm

Lengths are written with their unit: 5mm, 0.2in, 400um. Masses too: 100g, 2ozt (troy), 2ozav
(avoirdupois), 40dwt, 1kg, 1lb."
)]
pub struct Args {
    /// The wire: a gauge or a diameter, such as 16awg, 18swg, 1.2mm, 0.051in
    #[arg(long, value_name = "SIZE", allow_hyphen_values = true)]
    pub wire: WireSize,
    /// The mandrel's diameter, with its unit
    #[arg(
        long,
        value_name = "LENGTH",
        required_unless_present_any = ["want_inner", "want_ratio"],
        allow_hyphen_values = true
    )]
    pub mandrel: Option<Length>,
    /// The metal, such as copper or C11000; one that is not listed needs --density
    #[arg(long, value_name = "NAME")]
    pub metal: String,
    #[command(flatten)]
    #[expect(missing_docs, reason = "clap would take it for help")]
    pub material: MaterialArgs,
    #[command(flatten)]
    #[expect(missing_docs, reason = "clap would take it for help")]
    pub known: LookupArgs,
    /// The spool that the wire comes off: its own measurements count, or else those of no spool [default: all
    /// measurements of such wire]
    #[arg(long, value_name = "NAME")]
    pub spool: Option<String>,
    /// Also show the wire and mass for this number of rings; not together with --wire-stock
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u32).range(1..=i64::from(MAX_RINGS)),
          conflicts_with = "wire_stock", allow_hyphen_values = true)]
    pub rings: Option<u32>,
    /// Also show how many rings this much wire gives, by mass or length: 2ozt, 100g, 12m
    #[arg(long, value_name = "AMOUNT", allow_hyphen_values = true)]
    pub wire_stock: Option<Stock>,
    /// Find the mandrel for this inside diameter of the closed ring, with its unit
    #[arg(long, value_name = "LENGTH", conflicts_with_all = ["mandrel", "want_ratio"], requires = "mandrels",
          allow_hyphen_values = true)]
    pub want_inner: Option<Length>,
    /// Find the mandrel for this aspect ratio: closed inside diameter / wire diameter
    #[arg(long, value_name = "RATIO", value_parser = ratio, conflicts_with = "mandrel", requires = "mandrels",
          allow_hyphen_values = true)]
    pub want_ratio: Option<f64>,
    /// The mandrels to choose from: a range or a list, such as 2.5mm..12mm or 3mm,4mm,5mm
    #[arg(long, value_name = "LENGTHS", conflicts_with = "mandrel", allow_hyphen_values = true)]
    pub mandrels: Option<Sizes<Length>>,
    /// Step of a range of mandrels, with its unit
    #[arg(long, value_name = "LENGTH", default_value = "0.5mm", allow_hyphen_values = true)]
    pub step: Length,
    /// Print one JSON object instead of a table
    #[arg(long)]
    pub json: bool,
}

fn ratio(text: &str) -> Result<f64, String> {
    text.parse()
        .ok()
        .filter(|ratio| *ratio > 0.0 && *ratio <= MAX_RATIO)
        .ok_or_else(|| format!("only a number above 0 and up to {MAX_RATIO} is allowed"))
}

/// Works out the ring and prints it.
///
/// # Errors
/// One line that names the option, its value and what is allowed.
pub fn run(args: &Args) -> Result<(), Failure> {
    let report = Report::new(args)?;
    if args.json { output::print_json(&report.json()) } else { output::print(&report.text()) }
}

/// What a maker wants of the closed ring.
#[derive(Debug, Clone, Copy)]
enum Target {
    Inner(Length),
    Ratio(f64),
}

impl Target {
    fn figure(self) -> Figure {
        match self {
            Self::Inner(_) => Figure::ClosedInner,
            Self::Ratio(_) => Figure::AspectRatio,
        }
    }

    fn value(self) -> f64 {
        match self {
            Self::Inner(inner) => inner.mm().get(),
            Self::Ratio(ratio) => ratio,
        }
    }

    /// How far a ring is from it.
    fn deviation(self, ring: &Ring) -> f64 {
        ring.get(self.figure()).best - self.value()
    }
}

/// What so many rings take, or what so much wire gives.
#[derive(Debug, Clone, Copy)]
struct Totals {
    rings: Bounds<f64>,
    wire_mm: Bounds<f64>,
    wire_g: Bounds<f64>,
    rings_g: Bounds<f64>,
    /// The rings were asked for, not the wire.
    rings_given: bool,
}

struct Report {
    wire: WireSize,
    material: Material,
    ring: Ring,
    wish: Option<(Target, Vec<Ring>)>,
    totals: Option<Totals>,
}

impl Report {
    fn new(args: &Args) -> Result<Self, Failure> {
        let known = records::lookup(&args.known)?.with_spool(args.spool.as_deref());
        let spool = known.spool(None)?;
        if let Some((option, spool)) = &spool {
            fits(option, spool, &WireKind::new(&args.metal, args.material.temper, args.wire.diameter()))?;
            bare("--coating", option, spool, args.material.coating)?;
        }
        let spool = spool.map(|(_, spool)| spool);
        let material = Material::new(&args.metal, &args.material, &known, spool.as_ref())?;
        let cut = Cut { kerf: args.material.kerf, gap: args.material.gap };
        let wish = args.want_inner.map(Target::Inner).or(args.want_ratio.map(Target::Ratio));
        let (ring, wish) = match (wish, &args.mandrels, args.mandrel) {
            (Some(wish), Some(mandrels), _) => {
                let mandrels =
                    mandrels.lengths("--mandrels", Step { option: "--step", length: args.step })?;
                let (nearest, choices) = choose(&material, args.wire, &mandrels, cut, wish)?;
                (nearest, Some((wish, choices)))
            }
            (_, Some(_), _) => {
                return Err(Failure::new("--mandrels: only with --want-inner or --want-ratio"));
            }
            (_, None, Some(mandrel)) => {
                let ring = Ring::new(&material, args.wire, mandrel, cut)
                    .map_err(|refusal| refused(&refusal, args, mandrel))?;
                (ring, None)
            }
            (_, None, None) => return Err(Failure::new("--mandrel is missing: a diameter such as 5mm")),
        };
        let totals = totals(args, &material, &ring)?;
        Ok(Self { wire: args.wire, material, ring, wish, totals })
    }
}

/// Names the option that a ring was refused for, with its value.
fn refused(refusal: &Refusal, args: &Args, mandrel: Length) -> Failure {
    let option = refusal.option();
    match option {
        "--mandrel" => Failure::value(option, mandrel, refusal),
        "--kerf" => Failure::value(option, args.material.kerf, refusal),
        "--gap" => Failure::value(option, args.material.gap.unwrap_or(0.0), refusal),
        "--temper" => Failure::value(option, args.material.temper, refusal),
        _ => Failure::value(option, args.wire, refusal),
    }
}

/// The ring nearest to the wanted one and, in the order of their mandrels, the few nearest.
fn choose(
    material: &Material,
    wire: WireSize,
    mandrels: &[Length],
    cut: Cut,
    wish: Target,
) -> Result<(Ring, Vec<Ring>), Failure> {
    let mut made = Vec::new();
    let mut first_refusal = None;
    for mandrel in mandrels {
        match Ring::new(material, wire, *mandrel, cut) {
            Ok(ring) => made.push(ring),
            Err(refusal) => _ = first_refusal.get_or_insert((*mandrel, refusal)),
        }
    }
    let off = |ring: &Ring| wish.deviation(ring).abs();
    made.sort_by(|a, b| off(a).partial_cmp(&off(b)).unwrap_or(Ordering::Equal));
    made.truncate(CHOICES);
    let Some(nearest) = made.first().cloned() else {
        let why = first_refusal.map_or_else(String::new, |(mandrel, why)| format!(" (on {mandrel}: {why})"));
        return Err(Failure::new(format_args!("--mandrels: none of them makes a ring of this wire{why}")));
    };
    made.sort_by_key(|ring| ring.winding().mandrel());
    Ok((nearest, made))
}

/// What so many rings take, or so much wire gives, in one corner of the bounds.
struct Account {
    rings: f64,
    wire_mm: f64,
    wire_g: f64,
    /// At least, exactly and at most: whole rings leave a remainder that no corner settles.
    rings_g: [f64; 3],
}

impl Account {
    fn of(args: &Args, ring: &Corner) -> Option<Self> {
        let (turn, each) = (ring.get(Figure::ReleasedTurn), ring.get(Figure::RingMass) / 1e3);
        let mass = |mm: f64| ring.density.wire_mass(ring.wire, Mm::new(mm)).get();
        if let Some(rings) = args.rings.map(f64::from) {
            let wire_mm = turn * rings;
            return Some(Self { rings, wire_mm, wire_g: mass(wire_mm), rings_g: [each * rings; 3] });
        }
        let (wire_mm, wire_g) = match args.wire_stock? {
            Stock::Length(length) => (length.mm().get(), mass(length.mm().get())),
            Stock::Mass(grams) => (ring.density.wire_length(ring.wire, grams).get(), grams.get()),
        };
        // Rounding in a division must not take the last ring of a stock cut to measure.
        let rings = (wire_mm / turn + 1e-9).floor();
        let share = wire_mm / turn;
        let rings_g = [(share - 1.0).max(0.0), rings, share].map(|rings| (rings * each).min(wire_g));
        Some(Self { rings, wire_mm, wire_g, rings_g })
    }
}

fn totals(args: &Args, material: &Material, ring: &Ring) -> Result<Option<Totals>, Failure> {
    let Some(likely) = Account::of(args, &ring.likely(material)) else { return Ok(None) };
    let mut accounts: Vec<Account> =
        ring.corners(material, args.wire).iter().filter_map(|corner| Account::of(args, corner)).collect();
    let best = [likely.rings, likely.wire_mm, likely.wire_g, likely.rings_g[1]];
    accounts.push(likely);
    let ranged = |best: f64, low: fn(&Account) -> f64, high: fn(&Account) -> f64| Bounds {
        low: accounts.iter().map(low).fold(best, f64::min),
        best,
        high: accounts.iter().map(high).fold(best, f64::max),
    };
    let totals = Totals {
        rings: ranged(best[0], |at| at.rings, |at| at.rings),
        wire_mm: ranged(best[1], |at| at.wire_mm, |at| at.wire_mm),
        wire_g: ranged(best[2], |at| at.wire_g, |at| at.wire_g),
        rings_g: ranged(best[3], |at| at.rings_g[0], |at| at.rings_g[2]),
        rings_given: args.rings.is_some(),
    };
    if totals.rings.best < 1.0 {
        return Err(Failure::new(format_args!(
            "--wire-stock: {} mm of this wire is not one ring, which takes {} mm",
            totals.wire_mm.shown_to(Figure::ReleasedTurn.last_place()),
            ring.get(Figure::ReleasedTurn).shown_to(Figure::ReleasedTurn.last_place())
        )));
    }
    if totals.rings.best > f64::from(MAX_RINGS) {
        return Err(Failure::new(format_args!("--wire-stock: more than {MAX_RINGS} rings")));
    }
    Ok(Some(totals))
}

impl Report {
    fn spring_estimated(&self) -> bool {
        !(self.material.spring_measured() || self.ring.learning().is_some_and(|l| l.learned.spring.is_some()))
    }

    /// What a maker should know before trusting the figures.
    fn warnings(&self) -> Vec<String> {
        let mut warnings = Vec::new();
        let winding = self.ring.winding();
        let inner = self.ring.get(Figure::ClosedInner);
        match self.material.metal() {
            None if self.spring_estimated() => warnings.push(
                "the metal is not listed: its springback may lie anywhere among those that are; wind a few turns, measure a ring and give --spring-ratio".to_owned(),
            ),
            _ if self.spring_estimated() && springs_uncertainly(winding) => warnings.push(format!(
                "the estimate leaves the inside diameter open by {} mm: wind a few turns, measure a ring and give --spring-ratio",
                bare_mm(inner.high - inner.low)
            )),
            _ => {}
        }
        if winding.outer_strain() > 1.0 / 3.0 {
            warnings.push(format!(
                "a tight bend: the outside of the wire is stretched by {} %; anything but soft wire may crack (common practice, no source)",
                fixed(winding.outer_strain() * 100.0, 0)
            ));
        }
        if self.material.temper() == Temper::Spring {
            warnings.push(
                "spring-hard wire whips when its end comes free: hold the end, wear eye protection"
                    .to_owned(),
            );
        }
        if let WireSize::Diameter(diameter) = self.wire {
            let off = Tolerance::of(diameter).plus_minus;
            warnings.push(format!(
                "the wire's diameter is taken as measured; as a nominal size it may be off by {} either way",
                fine(off)
            ));
        }
        if let Some(metal) = self.material.metal() {
            let [low, _, high] = self.material.density();
            if low < high && metal.density().source().contains("from memory") {
                warnings.push(format!(
                    "density of {}: {}; weigh a length of wire before ordering by it",
                    metal.name(),
                    metal.density().source()
                ));
            }
        }
        warnings
    }

    fn json(&self) -> Value {
        let mut object = Map::new();
        let winding = self.ring.winding();
        let [light, density, dense] = self.material.density().map(|density| density.g_per_cm3());
        object.insert("wire".to_owned(), json!(self.wire.to_string()));
        object.insert("wire_diameter_mm".to_owned(), json!(self.wire.diameter().mm().get()));
        if self.material.coating() > Length::ZERO {
            object.insert("wire_coating_mm".to_owned(), json!(self.material.coating().mm().get()));
        }
        let off = tolerance(self.wire).map(|tolerance| tolerance.plus_minus.mm().get());
        object.insert("wire_tolerance_mm".to_owned(), json!(off));
        object.insert("mandrel_diameter_mm".to_owned(), json!(winding.mandrel().mm().get()));
        object.insert("metal".to_owned(), json!(self.material.name()));
        object.insert("uns".to_owned(), json!(self.material.metal().and_then(|metal| metal.uns())));
        object.insert("temper".to_owned(), json!(self.material.temper().to_string()));
        object.insert("kerf_mm".to_owned(), json!(winding.kerf().mm().get()));
        object.insert("gap".to_owned(), json!(winding.gap()));
        object.insert("density_g_cm3".to_owned(), json!(density));
        object.insert("density_g_cm3_low".to_owned(), json!(light));
        object.insert("density_g_cm3_high".to_owned(), json!(dense));
        object.insert(
            "spring_ratio_measured".to_owned(),
            json!(
                self.material.spring_measured()
                    || self.ring.learning().is_some_and(Learning::spring_measured)
            ),
        );
        if let Some(learning) = self.ring.learning() {
            let estimate = learning.estimate.filter(|_| learning.learned.spring.is_some());
            if let Some(spring) = estimate {
                let ranged = spring.bounds();
                insert(&mut object, "spring_ratio_estimate", ranged);
            }
            object.extend(learning.learned_from());
            object.insert("gap_measured".to_owned(), json!(learning.learned.gap.is_some()));
        }
        for figure in Figure::ALL {
            insert(&mut object, figure.key(), self.ring.get(figure));
        }
        if let Some(totals) = self.totals {
            insert(&mut object, "rings", totals.rings);
            insert(&mut object, "wire_total_mm", totals.wire_mm);
            for (unit, grams) in MASS_UNITS {
                insert(&mut object, &format!("wire_mass_{unit}"), totals.wire_g.map(|g| g / grams));
            }
            for (unit, grams) in MASS_UNITS {
                insert(&mut object, &format!("rings_mass_{unit}"), totals.rings_g.map(|g| g / grams));
            }
        }
        if let Some((wish, choices)) = &self.wish {
            let key = match wish {
                Target::Inner(_) => "want_inner_mm",
                Target::Ratio(_) => "want_ratio",
            };
            object.insert(key.to_owned(), json!(wish.value()));
            let choices = choices.iter().map(|ring| {
                let mut choice = Map::new();
                choice.insert("mandrel_diameter_mm".to_owned(), json!(ring.winding().mandrel().mm().get()));
                choice.insert("deviation".to_owned(), json!(wish.deviation(ring)));
                for figure in Figure::ALL {
                    insert(&mut choice, figure.key(), ring.get(figure));
                }
                Value::Object(choice)
            });
            object.insert("choices".to_owned(), choices.collect());
        }
        object.insert("warnings".to_owned(), json!(self.warnings()));
        Value::Object(object)
    }

    fn text(&self) -> String {
        let winding = self.ring.winding();
        let mandrel = winding.mandrel();
        let metal = self.material.metal().map_or(self.material.name(), |metal| metal.title());
        let mut text = format!(
            "wire of {}{}, {metal}, {}\non a mandrel of {} ({}), kerf {}, gap {}\n\n",
            wire_both(self.wire),
            coating(self.material.coating(), winding.wire()),
            self.material.temper(),
            given(mandrel),
            inches(mandrel),
            given(winding.kerf()),
            gap(winding.gap())
        );
        if let Some((wish, choices)) = &self.wish {
            text += &self.choices_text(*wish, choices);
        }
        let mut rows = vec![header(["", "likely", "from", "to", "", "inches"])];
        for figure in Figure::ALL {
            let mut cells = row_to(figure.last_place(), figure.label(), self.ring.get(figure), figure.unit());
            if figure == Figure::RingWire {
                let whole = self.ring.get(Figure::ReleasedTurn);
                fit_within(&mut cells, self.ring.get(figure), whole, figure.last_place());
            }
            rows.push(cells);
        }
        if let Some(totals) = self.totals {
            rows.push(Default::default());
            let (rings, wire) = if totals.rings_given {
                ("rings", "wire they take")
            } else {
                ("rings from the stock", "wire in stock")
            };
            let mut count = row(rings, totals.rings, "");
            // A count is whole: it is not rounded to tens.
            count[1] = fixed(totals.rings.best, 0);
            if totals.rings.low < totals.rings.high {
                count[2] = fixed(totals.rings.low, 0);
                count[3] = fixed(totals.rings.high, 0);
            }
            rows.push(count);
            rows.push(row_to(HUNDREDTHS, wire, totals.wire_mm.map(|mm| mm / 1e3), "m"));
            for (label, grams) in [("mass of wire", totals.wire_g), ("mass of rings", totals.rings_g)] {
                for (i, (unit, per)) in self.mass_units(totals).into_iter().enumerate() {
                    let (part, whole) = (grams.map(|g| g / per), totals.wire_g.map(|g| g / per));
                    let mut cells = row(if i == 0 { label } else { "" }, part, unit);
                    fit_within(&mut cells, part, whole, NO_LIMIT);
                    rows.push(cells);
                }
            }
        }
        text += &table(rows);
        text += "\n";
        text += &wrapped(&self.basis());
        if self.totals.is_some() {
            text += &wrapped(
                "Totals are rings and their swarf alone; coil ends and bent lead-ins come on top: turntally plan counts them.",
            );
        }
        for warning in self.warnings() {
            text += &wrapped(&format!("Note: {warning}."));
        }
        text
    }

    /// The units that masses are written in: those of the metal, and pennyweights of a precious one.
    fn mass_units(&self, totals: Totals) -> Vec<Unit> {
        let scales = Scales::of(self.material.metal());
        let mut units = scales.units(totals.wire_g.best).to_vec();
        if scales == Scales::Precious {
            units.push(("dwt", Grams::PENNYWEIGHT));
        }
        units
    }

    fn choices_text(&self, wish: Target, choices: &[Ring]) -> String {
        let wanted = match wish {
            Target::Inner(inner) => {
                format!("Wanted: a closed inside diameter of {}. Nearest mandrels:\n", given(inner))
            }
            Target::Ratio(ratio) => format!("Wanted: an aspect ratio of {ratio}. Nearest mandrels:\n"),
        };
        let mut rows =
            vec![header(["", "mandrel", "inside, closed", "from", "to", "aspect ratio", "off by"])];
        for ring in choices {
            let nearest = ring.winding().mandrel() == self.ring.winding().mandrel();
            let inner = ring.get(Figure::ClosedInner);
            let place = Figure::ClosedInner.last_place();
            let (from, to) = inner.bounds_shown_to(place).unwrap_or_default();
            let off = match wish {
                Target::Inner(_) => format!("{} mm", signed(wish.deviation(ring), 2)),
                Target::Ratio(_) => signed(wish.deviation(ring), 2),
            };
            rows.push([
                if nearest { "nearest" } else { "" }.to_owned(),
                given(ring.winding().mandrel()),
                format!("{} mm", inner.shown_to(place)),
                from,
                to,
                ring.get(Figure::AspectRatio).shown(),
                off,
            ]);
        }
        let nearest = given(self.ring.winding().mandrel());
        format!("{wanted}{}\nOn the nearest, {nearest}:\n\n", table(rows))
    }

    /// What the range takes in.
    fn basis(&self) -> String {
        let [light, density, dense] = self.material.density().map(|density| density.g_per_cm3());
        let mut parts = Vec::new();
        let spring = self.ring.winding().spring();
        let learned = self.ring.learning().map(|learning| (learning.spring_words(), learning.gap_words()));
        let (learned_spring, learned_gap) = learned.unwrap_or_default();
        let learned = [("Spring ratio", learned_spring.as_ref()), ("Gap", learned_gap.as_ref())];
        let learned: String =
            learned.iter().filter_map(|(of, words)| Some(format!("{of} {}. ", (*words)?))).collect();
        if learned_spring.is_some() && spring.low() < spring.high() {
            let carried = self.ring.learning().is_some_and(|learning| learning.carried.is_some());
            let from = if carried { "learned" } else { "measured" };
            parts.push(format!("the bounds of the {from} spring ratio"));
        }
        if self.spring_estimated() {
            parts.push(format!(
                "the estimated spring ratio, {} to {}",
                fixed(spring.low(), 4),
                fixed(spring.high(), 4)
            ));
        }
        if let Some(tolerance) = tolerance(self.wire) {
            parts.push(format!(
                "the gauge's tolerance of {} either way ({})",
                fine(tolerance.plus_minus),
                tolerance.source
            ));
        }
        if light < dense {
            parts.push(format!("the density's spread, {light} to {dense} g/cm3"));
        }
        let taken = if parts.is_empty() {
            "Every figure is exact for what was given.".to_owned()
        } else {
            format!("The range takes in {}.", parts.join("; "))
        };
        format!("{learned}Density {density} g/cm3. {taken}")
    }
}

/// Units of mass in JSON: the end of a key, and its grams.
const MASS_UNITS: [(&str, f64); 4] = [
    ("g", 1.0),
    ("troy_ounces", Grams::TROY_OUNCE),
    ("ounces", Grams::OUNCE),
    ("pennyweights", Grams::PENNYWEIGHT),
];

fn insert(object: &mut Map<String, Value>, key: &str, ranged: Bounds<f64>) {
    object.insert(key.to_owned(), json!(ranged.best));
    object.insert(format!("{key}_low"), json!(ranged.low));
    object.insert(format!("{key}_high"), json!(ranged.high));
}

fn header<const N: usize>(cells: [&str; N]) -> [String; N] {
    cells.map(str::to_owned)
}

fn row(label: &str, ranged: Bounds<f64>, unit: &str) -> [String; 6] {
    row_to(NO_LIMIT, label, ranged, unit)
}

/// The same with no digit below ten to the `place`; a length has its inches beside it.
fn row_to(place: i32, label: &str, ranged: Bounds<f64>, unit: &str) -> [String; 6] {
    let (from, to) = ranged.bounds_shown_to(place).unwrap_or_default();
    let inches = match unit {
        "mm" => ranged.map(|mm| mm / 25.4).shown_to(THOUSANDTHS),
        _ => String::new(),
    };
    [label.to_owned(), ranged.shown_to(place), from, to, unit.to_owned(), inches]
}

/// Rounding makes the row of a part no more than its whole is printed as.
fn fit_within<const N: usize>(cells: &mut [String; N], part: Bounds<f64>, whole: Bounds<f64>, place: i32) {
    let (from, to) = part.bounds_shown_within(whole, place).unwrap_or_default();
    for (cell, text) in cells.iter_mut().skip(1).zip([part.shown_within(whole, place), from, to]) {
        *cell = text;
    }
}

#[cfg(test)]
mod tests {
    use clap::Parser;
    use proptest::prelude::*;

    use super::*;

    #[derive(Parser)]
    struct Cli {
        #[command(flatten)]
        args: Args,
    }

    const METALS: [&str; 5] =
        ["copper", "gold-14k-yellow", "silver-germanium-935", "gold-filled-14-20", "stainless-304"];
    const WIRES: [&str; 5] = ["1.2mm", "16awg", "20awg", "24awg", "18swg"];
    const STOCKS: [&str; 6] = [
        "--wire-stock=1ozt",
        "--wire-stock=100g",
        "--wire-stock=12m",
        "--rings=1",
        "--rings=340",
        "--wire-stock=1lb",
    ];

    /// The numbers of a row of the report: likely, from, to; the likely one alone where nothing is uncertain.
    fn row_of(text: &str, label: &str) -> Vec<f64> {
        let line = text.lines().find(|line| line.trim_start().starts_with(label)).unwrap_or_default();
        line.split_whitespace().filter_map(|word| word.parse().ok()).collect()
    }

    proptest! {
        /// Rings are part of their wire: at every corner of the bounds they weigh no more, and so they are printed.
        #[test]
        fn rings_never_weigh_more_than_their_wire(
            metal in 0..METALS.len(), wire in 0..WIRES.len(), stock in 0..STOCKS.len(), mandrel_um in 2_500_u32..12_000,
            kerf_um in 0_u32..500,
        ) {
            let mandrel = format!("--mandrel={mandrel_um}um");
            let kerf = format!("--kerf={kerf_um}um");
            let options = ["size", "--metal", METALS[metal], "--wire", WIRES[wire], &mandrel, &kerf, STOCKS[stock]];
            let args = Cli::try_parse_from(options).map_err(|error| TestCaseError::fail(error.to_string()))?.args;
            let report = Report::new(&args).map_err(|error| TestCaseError::fail(error.to_string()))?;
            let Some(totals) = report.totals else { return Err(TestCaseError::fail("no totals")) };
            let mut corners = report.ring.corners(&report.material, args.wire);
            corners.push(report.ring.likely(&report.material));
            for account in corners.iter().filter_map(|corner| Account::of(&args, corner)) {
                let [least, exact, most] = account.rings_g;
                prop_assert!(least <= exact && exact <= most && most <= account.wire_g * (1.0 + 1e-12));
                for (value, range) in [
                    (account.rings, totals.rings),
                    (account.wire_mm, totals.wire_mm),
                    (account.wire_g, totals.wire_g),
                    (exact, totals.rings_g),
                ] {
                    prop_assert!(range.low <= value && value <= range.high, "{value} of {range:?}");
                }
            }
            let (rings, wire) = (totals.rings_g, totals.wire_g);
            let at_most = |part: f64, whole: f64| part <= whole * (1.0 + 1e-12);
            prop_assert!(at_most(rings.low, wire.low) && at_most(rings.best, wire.best) && at_most(rings.high, wire.high));
            let text = report.text();
            for (whole, part) in [("mass of wire", "mass of rings"), ("wire per turn, released", "wire in a ring")] {
                let (whole, part) = (row_of(&text, whole), row_of(&text, part));
                prop_assert!(part[0] <= whole[0], "{text}");
                let most = |row: &[f64]| row.get(2).or(row.first()).copied().unwrap_or_default();
                prop_assert!(most(&part) <= most(&whole), "{text}");
            }
        }
    }
}
