// An encoder as cheap ones are: halves and quarters of a pulse that are not, edges that come early or late,
// contacts that bounce. Everything follows from its seed.

/** Numbers from 0 to below 1. */
export function random(seed) {
  let state = seed >>> 0;
  return () => {
    state = (state + 0x6d2b79f5) >>> 0;
    let mixed = Math.imul(state ^ (state >>> 15), state | 1);
    mixed ^= mixed + Math.imul(mixed ^ (mixed >>> 7), mixed | 61);
    return ((mixed ^ (mixed >>> 14)) >>> 0) / 2 ** 32;
  };
}

/**
 * When edge k of a turning by `counts` comes, in nanoseconds, of a crank that makes count c at `clock(c)`: `duty`
 * is the share of its pulse that each channel is high, `phase` from where A rises to where B falls in
 * parts of a pulse (a quarter of one were right), `jitter` the most that an edge is off, in counts.
 */
export function uneven(encoder, counts, clock, { duty: [dutyA, dutyB], phase, jitter }, next) {
  // Where the edges stand in a pulse, in the order in which `Quadrature` makes them: B rises, A rises, B falls,
  // A falls.
  const fallB = 0.5 + phase;
  const edges = [fallB - dutyB, 0.5, fallB, 0.5 + dutyA];
  const least = Math.min(...edges.map((at, i) => 4 * ((edges[i + 1] ?? edges[0] + 1) - at))) - 2 * jitter;
  if (least <= 0) throw new Error('these edges change places');
  const [start, forward] = [encoder.step, counts > 0];
  const place = (k) => {
    const edge = forward ? start + k - 1 : start - k;
    return 4 * (Math.floor(edge / 4) + edges[edge & 3]);
  };
  const times = (k) => clock(Math.abs(place(k) - place(1)) + 1 + jitter * (2 * next() - 1));
  return { times, least };
}

/** Lets the channel of each edge toggle some more times, for no longer than `settle()` nanoseconds. */
export class Bounce {
  /** Extra changes made. */
  made = 0;
  #plan = [];

  constructor(rig, encoder, next, settle) {
    Object.assign(this, { rig, encoder, settle, next });
    this.before = [...encoder.levels];
    this.alarm = rig.outside(() => this.#flip());
    encoder.onEdge = () => this.#edge();
  }

  #edge() {
    const { levels } = this.encoder;
    const channel = levels[0] === this.before[0] ? 1 : 0;
    this.before = [...levels];
    const span = this.settle();
    const times = Array.from({ length: 2 * Math.floor(4 * this.next()) }, () => this.next() * span).sort((a, b) => a - b);
    const now = this.rig.clock.nanos;
    // Each of its own channel: away and back again, so that it ends where it belongs.
    this.#plan.push(...times.map((after, index) => ({ at: now + after, channel, away: (index + 1) & 1 })));
    this.#plan.sort((a, b) => a.at - b.at);
    this.#next();
  }

  #next() {
    if (this.#plan.length > 0) this.alarm.schedule(this.#plan[0].at - this.rig.clock.nanos);
  }

  #flip() {
    const { channel, away } = this.#plan.shift();
    this.rig.drive(this.encoder.pins[channel], this.encoder.levels[channel] ^ away);
    this.made++;
    this.#next();
  }
}
