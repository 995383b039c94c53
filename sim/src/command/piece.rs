//! `turntally piece`: how many rings a chain or a sheet takes, and which rings suit a weave.

use std::str::FromStr;

use serde_json::{Map, Value, json};
use turntally_core::gauge::WireSize;
use turntally_core::metal::Metal;
use turntally_core::units::{Density, Length, Mm};

use crate::failure::Failure;
use crate::files::output;
use crate::job::{MAX_RINGS, unknown_metal};
use crate::material::density;
use crate::range::{Sizes, Step};
use crate::weave::pattern::{Kind, Weave};
use crate::weave::{Pitches, Refusal, Roomiest, Size, Woven};
use crate::words::mass::Scales;
use crate::words::number::{fixed, given, mm, wire_length};
use crate::words::table::{numbers, table, wrapped};
use crate::words::wire_both;

/// How many inside diameters are proposed where none are given.
const CHOICES: i64 = 6;

/// A piece of chain or sheet: how many rings it takes; or which rings suit a weave
///
/// The pitch, from one link to the next, is worked out from the geometry of rigid, closed rings. A chain is planned as it
/// is under tension, a sheet as it lies flat. A sample that was woven counts before the computed pitch. Without --inside
/// the rings of several inside diameters are compared.
#[derive(Debug, Clone, clap::Args)]
#[command(
    override_usage = "turntally piece --weave <NAME> --wire <SIZE> --inside <LENGTH> [--length <LENGTH> | --area <WIDTH,HEIGHT> | --rings <N>] [OPTIONS]
       turntally piece --weave <NAME> --wire <SIZE> [--insides <LENGTHS>] [OPTIONS]",
    after_help = "\
Examples:
  turntally piece --weave byzantine --wire 1mm --inside 4mm --length 200mm --metal copper
  turntally piece --weave european-4-in-1 --wire 1.2mm --inside 6mm --area 200mm,300mm
  turntally piece --weave single --wire 1mm --inside 5mm --length 200mm --sample 40,205mm
  turntally piece --weave half-persian-3-in-1 --wire 16awg

The inside diameter is that of the closed ring, not of the mandrel: turntally size gives the mandrel for it.
Weaves: single, double, triple, box, byzantine, spiral-4-in-1, spiral-6-in-1, jens-pind,
half-persian-3-in-1, half-persian-4-in-1; sheets: european-4-in-1, european-6-in-1, japanese-4-in-1,
japanese-6-in-1."
)]
pub struct Args {
    /// The weave, such as byzantine or european-4-in-1
    #[arg(long, value_name = "NAME", allow_hyphen_values = true)]
    pub weave: Weave,
    /// The wire: a gauge or a diameter, such as 16awg, 18swg, 1.2mm, 0.051in
    #[arg(long, value_name = "SIZE", allow_hyphen_values = true)]
    pub wire: WireSize,
    /// Inside diameter of the closed ring, with its unit [default: several are compared]
    #[arg(long, value_name = "LENGTH", allow_hyphen_values = true)]
    pub inside: Option<Length>,
    /// Length of the chain, with its unit
    #[arg(long, value_name = "LENGTH", conflicts_with_all = ["area", "rings"], allow_hyphen_values = true)]
    pub length: Option<Length>,
    /// Width and height of the sheet, along the rows and from row to row, each with its unit: 200mm,300mm
    #[arg(long, value_name = "WIDTH,HEIGHT", conflicts_with = "rings", allow_hyphen_values = true)]
    pub area: Option<Area>,
    /// So many rings: how long the chain or how large the sheet becomes
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u32).range(1..=i64::from(MAX_RINGS)),
          allow_hyphen_values = true)]
    pub rings: Option<u32>,
    /// A sample of the chain: how many rings of it, woven, are how long: 40,52mm. It counts before the computed pitch
    #[arg(long, value_name = "N,LENGTH", requires = "inside", allow_hyphen_values = true)]
    pub sample: Option<Sample>,
    /// The inside diameters to compare: a range or a list, such as 3mm..6mm [default: the smallest that can be woven,
    /// and some larger ones]
    #[arg(long, value_name = "LENGTHS", conflicts_with = "inside", allow_hyphen_values = true)]
    pub insides: Option<Sizes<Length>>,
    /// Step of a range of inside diameters, with its unit
    #[arg(long, value_name = "LENGTH", default_value = "0.5mm", allow_hyphen_values = true)]
    pub step: Length,
    /// The metal, such as copper or C11000, for the mass of the rings; one that is not listed needs --density
    #[arg(long, value_name = "NAME")]
    pub metal: Option<String>,
    /// Density in g/cm3, 0.5 to 25 [default: the listed metal's]
    #[arg(long, value_name = "G_PER_CM3", value_parser = density, allow_hyphen_values = true)]
    pub density: Option<Density>,
    /// Print one JSON object instead of a table
    #[arg(long)]
    pub json: bool,
}

/// Width and height of a sheet.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Area {
    width: Length,
    height: Length,
}

impl FromStr for Area {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        let (width, height) = text
            .split_once(',')
            .ok_or("width and height with a comma between them are needed, such as 200mm,300mm")?;
        Ok(Self { width: above_zero(width)?, height: above_zero(height)? })
    }
}

/// Rings that were woven, and how long they are.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sample {
    rings: u32,
    length: Length,
}

impl FromStr for Sample {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        let (rings, length) = text.split_once(',').ok_or(
            "a number of rings and their length with a comma between them are needed, such as 40,52mm",
        )?;
        let rings = rings
            .trim()
            .parse()
            .ok()
            .filter(|rings| (1..=MAX_RINGS).contains(rings))
            .ok_or_else(|| format!("'{}': only 1 to {MAX_RINGS} rings are allowed", rings.trim()))?;
        Ok(Self { rings, length: above_zero(length)? })
    }
}

fn above_zero(text: &str) -> Result<Length, String> {
    let length: Length = text.trim().parse().map_err(|error| format!("'{}': {error}", text.trim()))?;
    if length > Length::ZERO {
        Ok(length)
    } else {
        Err(format!("'{}': only a length above zero is allowed", text.trim()))
    }
}

/// Works out the piece and prints it.
///
/// # Errors
/// One line that names the option, its value and what is allowed.
pub fn run(args: &Args) -> Result<(), Failure> {
    checked(args)?;
    let density = density_of(args)?;
    let roomiest =
        Roomiest::new(args.weave).map_err(|_| Failure::value("--weave", args.weave, Refusal::Unsolved))?;
    let report = match args.inside {
        Some(inside) => Report::One(Piece::new(args, &roomiest, inside, density)?),
        None => Report::Many(compared(args, &roomiest, density)?),
    };
    if args.json {
        output::print_json(&report.json(args, &roomiest))
    } else {
        output::print(&report.text(args, &roomiest))
    }
}

/// What the options rule out together.
fn checked(args: &Args) -> Result<(), Failure> {
    let kind = args.weave.kind();
    if kind == Kind::Chain && args.area.is_some() {
        return Err(Failure::new(format_args!(
            "--area: {} is a chain: give --length or --rings",
            args.weave
        )));
    }
    if kind == Kind::Sheet && args.length.is_some() {
        return Err(Failure::new(format_args!(
            "--length: {} is a sheet: give --area or --rings",
            args.weave
        )));
    }
    if kind == Kind::Sheet && args.sample.is_some() {
        return Err(Failure::new(format_args!(
            "--sample: {} is a sheet: only a chain has a sample",
            args.weave
        )));
    }
    for (option, length) in [("--length", args.length), ("--inside", args.inside)] {
        if let Some(length) = length.filter(|length| *length <= Length::ZERO) {
            return Err(Failure::value(option, length, "only a length above zero is allowed"));
        }
    }
    Ok(())
}

/// The density of the rings' metal, where one is given.
fn density_of(args: &Args) -> Result<Option<Density>, Failure> {
    let (Some(name), None) = (&args.metal, args.density) else { return Ok(args.density) };
    match Metal::find(name) {
        Some(metal) => Ok(Some(metal.density().value())),
        None => Err(unknown_metal("--metal", name, "--density")),
    }
}

/// How many rings, and how long or large.
#[derive(Debug, Clone, Copy)]
struct Amount {
    rings: u64,
    /// Links of a chain; columns and rows of a sheet.
    links: [u64; 2],
    /// Length of a chain; width and height of a sheet.
    extent: [Mm; 2],
}

/// A piece of one ring size.
#[derive(Debug, Clone)]
struct Piece {
    inside: Length,
    woven: Woven,
    /// What the piece is planned by: as computed, or as the sample has it.
    pitches: Pitches,
    amount: Option<Amount>,
    ring_wire: Mm,
    ring_g: Option<f64>,
}

impl Piece {
    fn new(
        args: &Args,
        roomiest: &Roomiest,
        inside: Length,
        density: Option<Density>,
    ) -> Result<Self, Failure> {
        let wire = args.wire.diameter();
        let woven = roomiest.woven(wire, inside).map_err(|refusal| match refusal {
            Refusal::NoRing => Failure::value("--wire", args.wire, refusal),
            _ => Failure::value("--inside", inside, refusal),
        })?;
        let mut pitches = woven.pitches();
        if let Some(sample) = args.sample {
            let links = f64::from(sample.rings) / f64::from(args.weave.rings_per_link());
            pitches.along = Mm::new(sample.length.mm().get() / links);
        }
        let amount = amount(args, pitches)?;
        // A closed ring is a circle of wire, measured along the middle of the wire.
        let ring_wire = Mm::new(std::f64::consts::PI * (wire.mm().get() + inside.mm().get()));
        let ring_g = density.map(|density| density.wire_mass(wire, ring_wire).get());
        Ok(Self { inside, woven, pitches, amount, ring_wire, ring_g })
    }
}

/// The rings for what is asked for.
fn amount(args: &Args, pitches: Pitches) -> Result<Option<Amount>, Failure> {
    let per_link = u64::from(args.weave.rings_per_link());
    let (along, across) = (pitches.along.get(), pitches.across.get());
    // Rounding in a division must not add a link to a piece that fits exactly.
    let whole = |length: Length, pitch: f64| (length.mm().get() / pitch - 1e-6).ceil().max(1.0) as u64;
    let (option, links) = if let Some(length) = args.length {
        ("--length", [whole(length, along), 1])
    } else if let Some(area) = args.area {
        ("--area", [whole(area.width, along), whole(area.height, across)])
    } else if let Some(rings) = args.rings {
        let links = u64::from(rings).div_ceil(per_link);
        let links = match args.weave.kind() {
            Kind::Chain => [links, 1],
            // As near to a square as whole rows allow.
            Kind::Sheet => {
                let rows = (links as f64 * along / across).sqrt().round().max(1.0) as u64;
                [links.div_ceil(rows), rows]
            }
        };
        let extent = [links[0] as f64 * along, links[1] as f64 * across].map(Mm::new);
        return Ok(Some(Amount { rings: u64::from(rings), links, extent }));
    } else {
        return Ok(None);
    };
    let rings = links[0].saturating_mul(links[1]).saturating_mul(per_link);
    if rings > u64::from(MAX_RINGS) {
        return Err(Failure::new(format_args!("{option}: {rings} rings: at most {MAX_RINGS} are allowed")));
    }
    let extent = [links[0] as f64 * along, links[1] as f64 * across].map(Mm::new);
    Ok(Some(Amount { rings, links, extent }))
}

/// The pieces of several inside diameters.
fn compared(args: &Args, roomiest: &Roomiest, density: Option<Density>) -> Result<Vec<Piece>, Failure> {
    let insides = match &args.insides {
        Some(insides) => insides.lengths("--insides", Step { option: "--step", length: args.step })?,
        None => {
            // From the smallest one up, in whole steps: of mandrels there are only some sizes.
            let step = args.step.nm();
            if step <= 0 {
                return Err(Failure::value("--step", args.step, "only a length above zero is allowed"));
            }
            let smallest = roomiest.smallest_aspect_ratio() * args.wire.diameter().nm() as f64;
            // The search is good to a millionth, and so are whole steps.
            let first = (smallest / step as f64 * (1.0 - 1e-6)).ceil() as i64;
            (first..first.saturating_add(CHOICES))
                .filter_map(|steps| steps.checked_mul(step))
                .map(Length::from_nm)
                .collect()
        }
    };
    let mut pieces = Vec::new();
    let mut refused = None;
    for inside in insides {
        match Piece::new(args, roomiest, inside, density) {
            Ok(piece) => pieces.push(piece),
            Err(failure) => _ = refused.get_or_insert(failure),
        }
    }
    match refused {
        Some(failure) if pieces.is_empty() => Err(failure),
        _ => Ok(pieces),
    }
}

enum Report {
    One(Piece),
    Many(Vec<Piece>),
}

impl Report {
    fn json(&self, args: &Args, roomiest: &Roomiest) -> Value {
        let mut object = Map::new();
        object.insert("weave".to_owned(), json!(args.weave.name()));
        object.insert("wire".to_owned(), json!(args.wire.to_string()));
        object.insert("wire_diameter_mm".to_owned(), json!(args.wire.diameter().mm().get()));
        object.insert("smallest_aspect_ratio".to_owned(), json!(roomiest.smallest_aspect_ratio()));
        object.insert(
            "smallest_inside_mm".to_owned(),
            json!(roomiest.smallest_aspect_ratio() * args.wire.diameter().mm().get()),
        );
        object.insert("link".to_owned(), json!(args.weave.link()));
        object.insert("rings_per_link".to_owned(), json!(args.weave.rings_per_link()));
        match self {
            Self::One(piece) => object.extend(piece.json(args)),
            Self::Many(pieces) => {
                let pieces = pieces.iter().map(|piece| Value::Object(piece.json(args)));
                object.insert("choices".to_owned(), pieces.collect());
            }
        }
        Value::Object(object)
    }

    fn text(&self, args: &Args, roomiest: &Roomiest) -> String {
        let smallest = roomiest.smallest_aspect_ratio();
        let wire = args.wire.diameter().mm().get();
        let mut text = format!("{}, wire of {}\n\n", args.weave, wire_both(args.wire));
        match self {
            Self::One(piece) => text += &piece.text(args, smallest),
            Self::Many(pieces) => text += &many(args, pieces),
        }
        text += "\n";
        text += &wrapped(&format!(
            "Smallest aspect ratio {smallest:.2}: an inside diameter of {} mm in this wire. There every ring is jammed; \
             to be woven and to bend, a piece needs more, often 0.3 to 1 (common practice, no source).",
            fixed((smallest * wire * 100.0).ceil() / 100.0, 2),
        ));
        text += &wrapped(match args.weave.kind() {
            _ if args.sample.is_some() => {
                "The piece is planned by the sample. A sample of 40 links or more, pulled as the piece will be, is good to about one link in its length."
            }
            Kind::Chain => {
                "The pitch is that of a chain under tension. Lying loose it is shorter: relaxed is the pitch with every ring as far from the others as it can be. Weave a sample and give --sample."
            }
            Kind::Sheet => {
                "The piece is planned as it lies flat, spread to its largest area. Upright rings at its edges are counted too: they join it to something, or are left out."
            }
        });
        text
    }
}

impl Piece {
    fn json(&self, args: &Args) -> Map<String, Value> {
        let mut object = Map::new();
        object.insert("inside_diameter_mm".to_owned(), json!(self.inside.mm().get()));
        object.insert("aspect_ratio".to_owned(), json!(self.woven.aspect_ratio));
        object.insert("pitch_mm".to_owned(), json!(self.pitches.along.get()));
        match self.woven.size {
            Size::Chain { relaxed, stretched } => {
                object.insert("pitch_from_sample".to_owned(), json!(args.sample.is_some()));
                object.insert("pitch_stretched_mm".to_owned(), json!(stretched.get()));
                object.insert("pitch_relaxed_mm".to_owned(), json!(relaxed.get()));
            }
            Size::Sheet { relaxed, flat, stretched: (along, across) } => {
                object.insert("row_pitch_mm".to_owned(), json!(flat.across.get()));
                object.insert("pitch_stretched_mm".to_owned(), json!(along.get()));
                object.insert("row_pitch_stretched_mm".to_owned(), json!(across.map(Mm::get)));
                object.insert("pitch_relaxed_mm".to_owned(), json!(relaxed.along.get()));
                object.insert("row_pitch_relaxed_mm".to_owned(), json!(relaxed.across.get()));
            }
        }
        object.insert("ring_wire_mm".to_owned(), json!(self.ring_wire.get()));
        if let Some(grams) = self.ring_g {
            object.insert("ring_mass_mg".to_owned(), json!(grams * 1e3));
        }
        if let Some(amount) = self.amount {
            object.insert("rings".to_owned(), json!(amount.rings));
            match args.weave.kind() {
                Kind::Chain => {
                    object.insert("links".to_owned(), json!(amount.links[0]));
                    object.insert("length_mm".to_owned(), json!(amount.extent[0].get()));
                    if let Size::Chain { relaxed, .. } = self.woven.size {
                        let relaxed = relaxed.get() * amount.links[0] as f64;
                        object.insert("length_relaxed_mm".to_owned(), json!(relaxed));
                    }
                }
                Kind::Sheet => {
                    object.insert("rings_per_row".to_owned(), json!(amount.links[0]));
                    object.insert("rows".to_owned(), json!(amount.links[1]));
                    object.insert("width_mm".to_owned(), json!(amount.extent[0].get()));
                    object.insert("height_mm".to_owned(), json!(amount.extent[1].get()));
                }
            }
            object.insert("wire_total_mm".to_owned(), json!(self.ring_wire.get() * amount.rings as f64));
            if let Some(grams) = self.ring_g {
                object.insert("rings_mass_g".to_owned(), json!(grams * amount.rings as f64));
            }
        }
        object
    }

    fn text(&self, args: &Args, smallest: f64) -> String {
        let row = |label: &str, value: String| [label.to_owned(), value];
        let mut rows = vec![
            row("inside diameter", given(self.inside)),
            row(
                "aspect ratio",
                format!("{} (smallest {})", fixed(self.woven.aspect_ratio, 2), fixed(smallest, 2)),
            ),
            row("link", args.weave.link().to_owned()),
        ];
        match self.woven.size {
            Size::Chain { relaxed, stretched } => {
                if args.sample.is_some() {
                    rows.push(row("pitch of the sample", mm(self.pitches.along)));
                }
                rows.push(row("pitch under tension", mm(stretched)));
                rows.push(row("pitch, relaxed", mm(relaxed)));
            }
            Size::Sheet { relaxed, flat, stretched: (along, across) } => {
                let both = |pitches: Pitches| format!("{} by {}", mm(pitches.along), mm(pitches.across));
                rows.push(row("pitch along the row by pitch of rows", both(flat)));
                rows.push(row("the same, relaxed", both(relaxed)));
                rows.push(row("pitch stretched along the rows", mm(along)));
                let across = across.map_or_else(|| "not worked out".to_owned(), mm);
                rows.push(row("pitch of rows, stretched", across));
            }
        }
        if let Some(amount) = self.amount {
            rows.push(row("rings", amount.rings.to_string()));
            match args.weave.kind() {
                Kind::Chain => {
                    rows.push(row("links", amount.links[0].to_string()));
                    rows.push(row("length", mm(amount.extent[0])));
                }
                Kind::Sheet => {
                    let [columns, lines] = amount.links;
                    rows.push(row("links in a row by rows", format!("{columns} by {lines}")));
                    let [width, height] = amount.extent;
                    rows.push(row("width by height", format!("{} by {}", mm(width), mm(height))));
                }
            }
            let wire = Mm::new(self.ring_wire.get() * amount.rings as f64);
            rows.push(row("wire in the rings", wire_length(wire)));
            if let Some(grams) = self.ring_g {
                let scales = Scales::of(args.metal.as_deref().and_then(Metal::find));
                rows.push(row("mass of the rings", scales.mass(grams * amount.rings as f64, 4)));
            }
        }
        table(rows)
    }
}

fn many(args: &Args, pieces: &[Piece]) -> String {
    let sheet = args.weave.kind() == Kind::Sheet;
    let mut rows = vec![
        ["inside", "aspect ratio", "pitch", if sheet { "pitch of rows" } else { "relaxed" }, "rings"]
            .map(str::to_owned),
    ];
    for piece in pieces {
        let second = match piece.woven.size {
            Size::Chain { relaxed, .. } => relaxed,
            Size::Sheet { flat, .. } => flat.across,
        };
        rows.push([
            given(piece.inside),
            fixed(piece.woven.aspect_ratio, 2),
            mm(piece.pitches.along),
            mm(second),
            piece.amount.map_or_else(String::new, |amount| amount.rings.to_string()),
        ]);
    }
    numbers(rows)
}
