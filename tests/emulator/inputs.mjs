// What the user does: an encoder that is cranked, a knob, keys.

const CYCLE = [[0, 0], [0, 1], [1, 1], [1, 0]]; // [A, B], forward

/** When edge k comes, in nanoseconds, of a crank that gains `gain` counts a second each second up to `rate`. */
export function gaining(rate, gain) {
  const until = rate ** 2 / (2 * gain);
  return (k) => 1e9 * (k < until ? Math.sqrt((2 * k) / gain) : rate / gain + (k - until) / rate);
}

/** A pair of quadrature pins. */
export class Quadrature {
  step = 0;
  /** Counts made in all. */
  made = 0;
  /** Channels that still have their wire. */
  wired = [true, true];
  #times = null;

  constructor(rig, pinA, pinB, { restHigh = false } = {}) {
    this.rig = rig;
    this.pins = [pinA, pinB];
    this.step = restHigh ? 2 : 0;
    this.alarm = rig.outside(() => this.#edge());
    this.#show();
  }

  /** Where A and B stand. */
  get levels() {
    return CYCLE[this.step & 3];
  }

  #show() {
    this.levels.forEach((level, channel) => {
      if (this.wired[channel]) this.rig.drive(this.pins[channel], level);
    });
  }

  #edge() {
    const direction = Math.sign(this.left);
    this.step += direction;
    this.made += direction;
    this.left -= direction;
    this.lastAt = this.rig.clock.nanos;
    this.#show();
    this.onEdge?.(this.made);
    this.#plan();
  }

  #plan() {
    if (this.left === 0) {
      this.#times = null;
      return;
    }
    this.index += 1;
    this.alarm.schedule(this.startedAt + this.#times(this.index) - this.rig.clock.nanos);
  }

  /** Makes `counts` (negative: backwards); edge k, from 1, comes `times(k)` nanoseconds from now. */
  follow(counts, times) {
    if (this.#times) throw new Error('it is still turning');
    if (counts === 0) return;
    Object.assign(this, { left: counts, index: 0, startedAt: this.rig.clock.nanos });
    this.#times = times;
    this.#plan();
  }

  /** Turns at a steady rate, counts a second. */
  turn(counts, rate) {
    this.follow(counts, (k) => (k * 1e9) / rate);
  }

  get turning() {
    return this.#times !== null;
  }

  /** Takes the hand off, wherever it is. */
  letGo() {
    this.alarm.cancel();
    this.#times = null;
  }
}

/** A key to ground. */
export class Key {
  held = false;

  constructor(rig, pin) {
    Object.assign(this, { rig, pin });
    rig.drive(pin, 1);
  }

  down() { this.#set(true); }
  up() { this.#set(false); }

  #set(held) {
    this.held = held;
    this.rig.drive(this.pin, !held);
  }
}
