//! A coil seen from the side, as one mesh: thousands of turns in a few milliseconds.

use eframe::egui::epaint::Vertex;
use eframe::egui::{Color32, Mesh, Pos2, pos2};

use super::look::shade;

/// A coil on the screen; lengths in points.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CoilShape {
    /// Where its axis meets the middle of its first wire.
    pub start: Pos2,
    /// Radius of the wire's centre line.
    pub radius: f32,
    /// Diameter of the wire.
    pub wire: f32,
    /// From turn to turn.
    pub pitch: f32,
    /// Turns; a part of a turn shows as far as it lies in front.
    pub turns: f64,
    /// Colour of the wire.
    pub colour: Color32,
}

/// A row across the wire: how far round the front half (0..=1 from top to bottom), how far outwards and
/// how wide, both in halves of the wire, and how much light falls on it.
type Row = (f32, f32, f32, f32);

const FINE: [Row; 9] = [
    (0.0, -1.0, 0.45, 0.72),
    (0.0, -0.75, 0.8, 0.9),
    (0.0, 0.0, 1.0, 1.04),
    (0.25, 0.0, 1.0, 1.16),
    (0.45, 0.0, 1.0, 1.08),
    (0.7, 0.0, 1.0, 0.9),
    (1.0, 0.0, 1.0, 0.7),
    (1.0, 0.75, 0.8, 0.58),
    (1.0, 1.0, 0.45, 0.5),
];
const COARSE: [Row; 4] =
    [(0.0, -1.0, 0.8, 0.8), (0.3, 0.0, 1.0, 1.14), (0.7, 0.0, 1.0, 0.9), (1.0, 1.0, 0.8, 0.52)];

/// Across the wire: place in halves of it, and light.
const ACROSS: [(f32, f32); 4] = [(-1.0, 0.58), (-0.35, 1.1), (0.3, 0.98), (1.0, 0.5)];
const ACROSS_COARSE: [(f32, f32); 3] = [(-1.0, 0.78), (-0.1, 1.16), (1.0, 0.74)];

/// Wires thinner than this, in points, are drawn with fewer corners.
const COARSE_BELOW: f32 = 4.0;
/// Strands further apart than this, in points, have their full light and shade across; those as near as `FLAT` have
/// none. Between, and below, the edges of strands and those of pixels would beat: the coil would be striped.
const ROUND: f32 = 4.0;
const FLAT: f32 = 1.6;
/// Turns that lie closer than this, in points, are drawn several as one: the eye cannot separate them.
const CLOSEST: f32 = 0.75;

/// Adds the coil to the mesh.
pub fn add(mesh: &mut Mesh, coil: CoilShape) {
    let bundle = (CLOSEST / coil.pitch.max(1e-6)).ceil().max(1.0);
    let coarse = coil.wire < COARSE_BELOW;
    let strands = (coil.turns / f64::from(bundle)).ceil().max(0.0) as usize;
    let (rows, across): (&[Row], &[(f32, f32)]) =
        if coarse { (&COARSE, &ACROSS_COARSE) } else { (&FINE, &ACROSS) };
    mesh.reserve_vertices(strands * rows.len() * across.len());
    mesh.reserve_triangles(strands * (rows.len() - 1) * (across.len() - 1) * 2);
    let half = coil.wire.max(coil.pitch * bundle * 0.9) / 2.0;
    let apart = coil.pitch * bundle;
    let depth = ((apart - FLAT) / (ROUND - FLAT)).clamp(0.0, 1.0);
    // A flat strand closes up with the next.
    let half = half.max(apart / 2.0 * (1.0 + 0.2 * (1.0 - depth)));
    // Every strand has the same light, so the colours are mixed once.
    let colours: Vec<Color32> = rows
        .iter()
        .flat_map(|row| {
            across
                .iter()
                .map(|(_, light)| shade(coil.colour, (row.3 * (1.0 + (light - 1.0) * depth)).min(1.6)))
        })
        .collect();
    for strand in 0..strands {
        let turn = strand as f64 * f64::from(bundle);
        // The front half is the first half of a turn.
        let seen = ((coil.turns - turn) * 2.0).clamp(0.0, 1.0) as f32;
        let x = coil.start.x + turn as f32 * coil.pitch;
        add_strand(mesh, coil, (x, seen, half), rows, across, &colours);
    }
}

fn add_strand(
    mesh: &mut Mesh,
    coil: CoilShape,
    (x, seen, half): (f32, f32, f32),
    rows: &[Row],
    across: &[(f32, f32)],
    colours: &[Color32],
) {
    let base = mesh.vertices.len() as u32;
    for (row, colours) in rows.iter().zip(colours.chunks(across.len())) {
        let (round, outwards, wide, _) = *row;
        let round = round.min(seen);
        let y = coil.start.y - coil.radius * (round * std::f32::consts::PI).cos() + outwards * half;
        let x = x + round * coil.pitch / 2.0;
        for ((place, _), colour) in across.iter().zip(colours) {
            mesh.vertices.push(Vertex {
                pos: pos2(x + place * wide * half, y),
                uv: eframe::egui::epaint::WHITE_UV,
                color: *colour,
            });
        }
    }
    let columns = across.len() as u32;
    for row in 0..rows.len() as u32 - 1 {
        for column in 0..columns - 1 {
            let corner = base + row * columns + column;
            mesh.add_triangle(corner, corner + 1, corner + columns);
            mesh.add_triangle(corner + 1, corner + columns, corner + columns + 1);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const COIL: CoilShape = CoilShape {
        start: pos2(10.0, 100.0),
        radius: 20.0,
        wire: 8.0,
        pitch: 8.0,
        turns: 12.0,
        colour: Color32::GRAY,
    };

    fn bounds(turns: f64) -> eframe::egui::Rect {
        let mut mesh = Mesh::default();
        add(&mut mesh, CoilShape { turns, ..COIL });
        assert!(mesh.is_valid());
        mesh.calc_bounds()
    }

    /// To scale: a wire's width for each turn, a wire's width wider than its centre line.
    #[test]
    fn coil_has_the_length_and_diameter_given() {
        let bounds = bounds(12.0);
        // Eleven pitches and half of one on the slant, and the wire itself.
        assert!((bounds.width() - (11.5 * 8.0 + 8.0)).abs() < 0.01, "{bounds}");
        assert!((bounds.height() - (2.0 * 20.0 + 8.0)).abs() < 0.01, "{bounds}");
    }

    /// A turn that has only begun does not reach the underside.
    #[test]
    fn a_part_of_a_turn_shows_as_such() {
        assert!(bounds(0.25).bottom() < bounds(0.5).bottom() - 10.0);
        assert!(bounds(0.0).width() <= 0.0 || !bounds(0.0).is_finite());
    }

    /// Turns too near to be told apart have one light across: what would beat with the pixels is not there.
    #[test]
    fn near_turns_make_no_stripes() {
        let lights = |pitch: f32| {
            let mut mesh = Mesh::default();
            add(&mut mesh, CoilShape { pitch, wire: pitch, turns: 3.0, ..COIL });
            // The first row across the first strand.
            let row: Vec<u8> = mesh.vertices[..3].iter().map(|vertex| vertex.color.r()).collect();
            row.iter().max().unwrap_or(&0) - row.iter().min().unwrap_or(&0)
        };
        assert!(lights(3.9) > 20, "{}", lights(3.9));
        assert_eq!(lights(1.5), 0);
    }

    /// However many turns, the mesh stays within what can be seen.
    #[test]
    fn turns_too_fine_to_see_are_drawn_together() {
        let mut mesh = Mesh::default();
        add(&mut mesh, CoilShape { pitch: 0.01, wire: 0.01, turns: 1e5, ..COIL });
        assert!(mesh.vertices.len() < 1_400 * 12, "{}", mesh.vertices.len());
    }
}
