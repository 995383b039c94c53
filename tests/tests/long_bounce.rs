//! Bounce of every length on either channel, or both: what it takes from the count is reported, and the error bound
//! covers it; what it does not take is not doubted.

use turntally_core::signal::SignalWatch;
use turntally_core::time::Instant;

/// The board's: 250,000 samples a second, 16 in a word.
const SAMPLE_NS: u64 = 4_000;
const CYCLE: [u8; 4] = [0b00, 0b01, 0b11, 0b10];
/// Ticks in a count of [`walk`].
const TICKS: usize = 4;

const fn level(position: i64) -> u8 {
    CYCLE[position.rem_euclid(4) as usize]
}

/// Packs levels to words, as the board does, and sums up what is reported of them.
struct Bench {
    watch: SignalWatch,
    word: u32,
    samples: u64,
    reported: u64,
}

impl Bench {
    fn new(pulses: u32) -> Self {
        Self { watch: SignalWatch::new(pulses, SAMPLE_NS as u32), word: 0, samples: 0, reported: 0 }
    }

    fn now_ns(&self) -> u64 {
        self.samples * SAMPLE_NS
    }

    fn sample(&mut self, level: u8) {
        self.word = self.word >> 2 | u32::from(level) << 30;
        self.samples += 1;
        if self.samples.is_multiple_of(16) {
            let reading = self.watch.push_16(self.word, Instant::from_micros(self.now_ns() / 1_000));
            self.reported += reading.error_bound();
        }
    }

    fn hold_until(&mut self, end_ns: u64, level: u8) {
        while self.now_ns() < end_ns {
            self.sample(level);
        }
    }

    /// Lets the last word out; counts that are missing or too many.
    fn off(&mut self, level: u8, position: i64) -> u64 {
        (0..32).for_each(|_| self.sample(level));
        self.watch.decoder().position().abs_diff(position)
    }
}

/// Walks of bounce, by what became of them.
#[derive(Debug, Default, PartialEq, Eq)]
struct Walks {
    all: u64,
    wrong: u64,
    beyond: u64,
    silent: u64,
    right_but_doubted: u64,
}

impl Walks {
    fn add(&mut self, off: u64, reported: u64) {
        self.all += 1;
        self.wrong += u64::from(off > 0);
        self.beyond += u64::from(off > reported);
        self.silent += u64::from(off > 0 && reported == 0);
        self.right_but_doubted += u64::from(off == 0 && reported > 0);
    }
}

/// A crank at an even speed past `start`, whose one edge there bounces, and the next one too. Each count is four
/// ticks long; in each tick from half a tick before the edge on, its channel shows its level or the other one, by
/// the bits of `first` and `second`: so bounce never ends with the other channel's edge. It ends with the channel's
/// own next one where `counts` is two.
fn walk(winder: (u32, u64), start: i64, way: i64, (first, second): (u32, u32), counts: i64) -> (u64, u64) {
    const BEFORE: i64 = 20;
    let (pulses, count_ns) = winder;
    let mut bench = Bench::new(pulses);
    let mut at = start - way * BEFORE;
    let origin = at;
    let channel = |position: i64| level(position) ^ level(position - way);
    let mut end_ns = 0;
    for _ in -BEFORE..20 {
        for half in 0..2 * TICKS as i64 {
            let since = ((at - start) * way * 2 * TICKS as i64 + half + 1).div_euclid(2);
            let away = |bits: u32, edge: i64| {
                let tick = since - (edge - start) * way * TICKS as i64;
                (0..counts).contains(&((at - edge) * way)) && tick < 32 && bits >> tick & 1 == 1
            };
            let mut shown = level(at);
            for (bits, edge) in [(first, start), (second, start + way)] {
                if away(bits, edge) {
                    shown ^= channel(edge);
                }
            }
            end_ns += count_ns / (2 * TICKS as u64);
            bench.hold_until(end_ns, shown);
        }
        at += way;
    }
    let last = at - way;
    let off = bench.off(level(last), last - origin);
    (off, bench.reported)
}

/// Winders from coarse to fine at a hand's speeds: pulses, and the time of a count.
const WINDERS: [(u32, u64); 4] = [(400, 312_000), (400, 800_000), (2_400, 104_000), (24, 3_000_000)];

/// Every walk of that many patterns on each of the two edges, on each winder, from each level, either way.
fn walks(firsts: u32, seconds: u32, counts: i64) -> Walks {
    let mut sum = Walks::default();
    for winder in WINDERS {
        for (start, way) in (0..4).flat_map(|start| [(start, 1), (start, -1)]) {
            for bits in (0..firsts).flat_map(|first| (0..seconds).map(move |second| (first, second))) {
                let (off, reported) = walk(winder, start, way, bits, counts);
                sum.add(off, reported);
            }
        }
    }
    sum
}

/// Every walk of one edge that bounces until its channel's next edge, or for three counts and over two more edges:
/// nothing is lost unseen, and the error bound covers all of it.
#[test]
fn every_bounce_of_one_edge_is_reported_where_it_takes_counts() {
    for (ticks, counts) in [(2 * TICKS + 1, 2), (3 * TICKS, 3)] {
        let sum = walks(1 << ticks, 1, counts);
        println!("one edge bounces for up to {counts} counts: {sum:?}");
        assert!(sum.wrong > 0);
        assert_eq!((sum.beyond, sum.silent), (0, 0), "{sum:?}");
    }
}

/// Every walk of bounce that settles before the next edge is right, and not doubted.
#[test]
fn every_bounce_that_settles_is_quiet() {
    let sum = walks(1 << TICKS, 1 << TICKS, 1);
    println!("two edges bounce for up to a count: {sum:?}");
    assert_eq!(sum, Walks { all: sum.all, ..Walks::default() });
}

/// The two stories behind `00 01 00 10 00 01`: the same levels, four counts apart. Only how long they took says
/// which it was, and so the error bound: a hand that has the time for it is believed.
#[test]
fn what_time_alone_can_tell() {
    // B is away from before A's edge until its own next one.
    let lost = 0b1_1111_1000;
    for (count_ns, reported) in [(312_000, 8), (6_000_000, 0)] {
        assert_eq!(walk((400, count_ns), 1, 1, (lost, 0), 2), (4, reported));
    }
    let mut bench = Bench::new(400);
    let counts = (-20..=1).chain([0, -1, 0, 1]).chain(2..20);
    for (index, position) in counts.enumerate() {
        bench.hold_until((index as u64 + 1) * 6_000_000, level(position));
    }
    assert_eq!((bench.off(level(19), 39), bench.reported), (0, 0));
}

/// A change of the crank's position, and how long a count takes there.
struct Edge {
    at_ns: f64,
    position: i64,
    count_ns: f64,
}

/// Winds at `rate` revolutions a second, to and fro or with a stop in between, from rest and back to it: how a hand
/// does, with up to half of the acceleration from which it is taken for chatter.
fn hand(rng: &mut fastrand::Rng, pulses: u32, rate: f64, counts: f64) -> Vec<Edge> {
    const STEP: f64 = 50e-6;
    let counts_per_rev = 4.0 * f64::from(pulses);
    let gain = [3.0, 6.0, 14.0][rng.usize(..3)];
    let (up, flat) = (rate / gain, counts / counts_per_rev / rate);
    let way = if rng.bool() { gain } else { -gain };
    let legs = match rng.u8(..3) {
        0 => vec![(way, up), (0.0, flat), (-way, up)],
        1 => vec![(way, up), (0.0, flat), (-way, 2.0 * up), (0.0, flat), (way, up)],
        _ => vec![(way, up), (-way, up), (0.0, 0.2 * rng.f64()), (way, up), (0.0, flat), (-way, up)],
    };
    // Edges up to a third of a count from where they should be, in every other one.
    let uneven = if rng.bool() { 0.66 } else { 0.0 };
    let mut error = || (rng.f64() - 0.5) * uneven;
    let offsets = [0.0, error(), error(), error()];
    let (mut edges, mut position) = (Vec::new(), 0_i64);
    let (mut time, mut at, mut speed) = (0.0, 0.5, 0.0_f64);
    for (gain, seconds) in legs {
        for _ in 0..(seconds / STEP) as u64 {
            let gain = gain * counts_per_rev;
            let to = at + speed * STEP + gain * STEP * STEP / 2.0;
            speed += gain * STEP;
            loop {
                let forward = to > at;
                let edge = position + i64::from(forward);
                let place = edge as f64 + offsets[edge.rem_euclid(4) as usize];
                if if forward { place > to } else { place < to } {
                    break;
                }
                position += if forward { 1 } else { -1 };
                let share = ((place - at) / (to - at)).clamp(0.0, 1.0);
                let (at_ns, count_ns) = ((time + share * STEP) * 1e9, 1e9 / speed.abs().max(1.0));
                edges.push(Edge { at_ns, position, count_ns });
            }
            (time, at) = (time + STEP, to);
        }
    }
    edges
}

/// What comes over the lines.
enum Change {
    /// The crank is at another position.
    Edge(i64),
    /// A channel shows the level that is not its own, or its own again.
    Flip { channel: u8, away: bool },
}

/// Lets the edges bounce, each for as long as `settle` says, in counts: its channel toggles up to six times more,
/// and ends as it should be. No contact bounces for longer than 3 ms (from memory: data sheets of mechanical
/// encoders have 2 to 5).
fn bounced(
    rng: &mut fastrand::Rng,
    pulses: u32,
    edges: &[Edge],
    mut settle: impl FnMut(&mut fastrand::Rng, usize) -> f64,
) -> (u64, u64) {
    let mut changes: Vec<(u64, Change)> = Vec::new();
    let mut before = 0;
    for (index, edge) in edges.iter().enumerate() {
        let channel = level(edge.position) ^ level(before);
        before = edge.position;
        changes.push((edge.at_ns as u64, Change::Edge(edge.position)));
        let longest = (settle(rng, index) * edge.count_ns).min(3e6);
        let mut times: Vec<f64> = (0..2 * rng.u8(..4)).map(|_| edge.at_ns + rng.f64() * longest).collect();
        times.sort_by(f64::total_cmp);
        for (place, &at) in times.iter().enumerate() {
            changes.push((at as u64, Change::Flip { channel, away: place % 2 == 0 }));
        }
    }
    changes.sort_by_key(|&(at, _)| at);
    let mut bench = Bench::new(pulses);
    let (mut position, mut shown) = (0, level(0));
    for (at_ns, change) in changes {
        bench.hold_until(at_ns, shown);
        let (channel, away) = match change {
            Change::Flip { channel, away } => (channel, away),
            Change::Edge(to) => {
                let channel = level(position) ^ level(to);
                position = to;
                (channel, false)
            }
        };
        let own = if away { !level(position) } else { level(position) };
        shown = shown & !channel | own & channel;
    }
    (bench.off(level(position), position), bench.reported)
}

/// Cranking on winders of every resolution, each seed one; `counts` are made at full speed.
fn cranking(seeds: u64, counts: f64, settle: impl Fn(&mut fastrand::Rng, usize, usize) -> f64) -> Walks {
    let mut sum = Walks::default();
    for seed in 0..seeds {
        let mut rng = fastrand::Rng::with_seed(seed);
        let pulses = [24, 100, 400, 600, 1_024][rng.usize(..5)];
        let rate = [0.5, 1.0, 2.0, 3.0][rng.usize(..4)];
        let edges = hand(&mut rng, pulses, rate, counts);
        let one = rng.usize(..edges.len().max(1));
        let (off, reported) = bounced(&mut rng, pulses, &edges, |rng, index| settle(rng, index, one));
        sum.add(off, reported);
    }
    sum
}

/// One edge in a hundred bounces for up to three counts, the others a fifth of one, to and fro and with stops: the
/// error bound of the whole is no less than what is lost.
#[test]
fn doubt_covers_a_worn_encoder() {
    for (longest, share) in [(1.5, 0.01), (3.0, 0.01), (3.0, 0.1)] {
        let sum = cranking(400, 600.0, |rng, _, _| if rng.f64() < share { longest * rng.f64() } else { 0.2 });
        println!("{share} of the edges bounce for up to {longest} counts: {sum:?}");
        assert!(sum.wrong > 50);
        assert_eq!((sum.beyond, sum.silent), (0, 0), "{sum:?}");
    }
}

/// One edge alone bounces for up to three counts, and each other one for a fifth or not at all: what nothing
/// else would show.
#[test]
fn one_long_bounce_is_seen() {
    for others in [0.0, 0.2] {
        let sum =
            cranking(4_000, 60.0, |rng, index, one| if index == one { 3.0 * rng.f64() } else { others });
        println!("one edge bounces for up to three counts, the others for {others}: {sum:?}");
        assert!(sum.wrong > 100);
        assert_eq!((sum.beyond, sum.silent), (0, 0), "{sum:?}");
    }
}

/// Bounce that settles, or none, is not doubted, however the hand turns.
#[test]
fn settled_bounce_is_not_doubted() {
    for longest in [0.0, 0.25] {
        let sum = cranking(1_000, 300.0, |_, _, _| longest);
        println!("every edge bounces for up to {longest} counts: {sum:?}");
        assert_eq!(sum, Walks { all: sum.all, ..Walks::default() });
    }
}

/// Pulses on either channel while the crank creeps, rests and starts again cancel, and are not doubted.
#[test]
fn noise_is_not_doubted() {
    let mut sum = Walks::default();
    for seed in 0..300 {
        let mut rng = fastrand::Rng::with_seed(seed);
        let rate = [0.02, 0.1, 0.3, 0.6][rng.usize(..4)];
        let edges = hand(&mut rng, 400, rate, 200.0 * rate);
        let mut bench = Bench::new(400);
        let mut shown = level(0);
        for edge in &edges {
            // Until 200 us before the edge, ten times what the simulated bench has.
            while bench.now_ns() + 200_000 < edge.at_ns as u64 {
                bench.hold_until(bench.now_ns() + 8_000, shown);
                let pulse = if rng.f64() < 0.01 { 1 << rng.u8(..2) } else { 0 };
                bench.hold_until(bench.now_ns() + 100_000, shown ^ pulse);
            }
            bench.hold_until(edge.at_ns as u64, shown);
            shown = level(edge.position);
        }
        let last = edges.last().map_or(0, |edge| edge.position);
        let off = bench.off(shown, last);
        sum.add(off, bench.reported);
    }
    println!("pulses of noise at low speed: {sum:?}");
    assert_eq!((sum.wrong, sum.beyond, sum.silent), (0, 0, 0), "{sum:?}");
    assert!(sum.right_but_doubted * 100 <= sum.all, "{sum:?}");
}
