// The counter as a user has it: on the bench, keys and crank within reach. The tests are written in its terms.
import assert from 'node:assert/strict';
import { dirname, join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { Key, Quadrature } from './inputs.mjs';
import { PIN, Rig } from './rig.mjs';

const ROOT = join(dirname(fileURLToPath(import.meta.url)), '../..');
/** Where Cargo builds. */
export const TARGET = process.env.CARGO_TARGET_DIR ?? join(ROOT, 'target');
/** The firmware under test: what .ci/build-pico builds. */
export const ELF = process.env.TURNTALLY_ELF ?? join(TARGET, 'thumbv6m-none-eabi/pico/turntally-pico');
/** Counts in a turn of the built-in job's winder. */
export const TURN = 1600;

/** The most RAM that variables and stack may take, in bytes (.ci/build-pico): the chip has 264 KiB. */
const RAM_LIMIT = 128 * 1024;

/** How often the cue's delay is measured; more with TURNTALLY_REPEATS. */
export const REPEATS = Number(process.env.TURNTALLY_REPEATS ?? 20);

/** The longest that the cue took from its edge, in milliseconds, over many measurements. */
export class CueDelay {
  #worst = { stop: 0, sounder: 0, green: 0 };

  /** Takes what followed the edge at `edge` (in nanoseconds), and holds it to less than 2 ms. */
  measure(counter, edge) {
    const delays = {
      stop: counter.changedAfter('stop', 0, edge) - edge,
      sounder: counter.ear.firstAfter(edge) - edge,
      green: counter.changedAfter('green', 0, edge) - edge,
    };
    for (const [what, delay] of Object.entries(delays)) this.#worst[what] = Math.max(this.#worst[what], delay / 1e6);
    assert.ok(Object.values(delays).every((delay) => delay < 2e6), `${JSON.stringify(delays)} ns`);
  }

  toString() {
    return Object.entries(this.#worst).map(([what, ms]) => `${what} ${ms.toFixed(3)} ms`).join(', ');
  }
}

/** A line of state, read into an object. */
export function readState(line) {
  return Object.fromEntries(line.trim().split(' ').map((pair) => {
    const [key, value] = pair.split('=');
    return [key, Number.isNaN(Number(value)) ? value : Number(value)];
  }));
}

export class Counter extends Rig {
  constructor(options = {}) {
    super(ELF, options);
    this.crank = new Quadrature(this, PIN.encoderA, PIN.encoderB);
    this.knob = new Quadrature(this, PIN.knobA, PIN.knobB, { restHigh: true });
    this.keys = { yes: new Key(this, PIN.yes), no: new Key(this, PIN.no) };
  }

  /** A counter that has been on for a while. */
  static on(options) {
    const counter = new Counter(options);
    counter.until(() => counter.last !== undefined, 'the first line on the serial port', 1_000);
    counter.run(300);
    return counter;
  }

  /** One that winds the built-in job's first coil, from zero. */
  static winding(options) {
    const counter = Counter.on(options);
    counter.press('yes');
    counter.press('yes');
    counter.expectPhase('Winding');
    return counter;
  }

  /** The last whole line of state, read into an object. */
  get last() {
    const lines = this.serial.split('\n');
    const line = lines.at(-2);
    return line === undefined ? undefined : readState(line);
  }

  /** The state as it is now: the first line that was put together after this moment. */
  state() {
    this.serial = '';
    const now = this.ms;
    this.until(() => this.last !== undefined && this.last.ms >= now - this.startedMs, 'a line of state', 3_000);
    return this.last;
  }

  /** When the chip's clock was at zero. */
  startedMs = 0;

  expectPhase(phase) {
    const state = this.state();
    if (state.phase !== phase) throw new Error(`phase ${state.phase}, not ${phase}:\n${this.screen.text()}`);
    return state;
  }

  press(key, ms = 60) {
    this.keys[key].down();
    this.run(ms);
    this.keys[key].up();
    this.run(60);
  }

  /** Cranks and waits until it is done. */
  wind(counts, rate) {
    this.crank.turn(counts, rate);
    this.until(() => !this.crank.turning, 'the end of the turning', (Math.abs(counts) / rate) * 1_100 + 100);
  }

  level(name) { return this.levels.get(PIN[name]) ?? 0; }

  /** The levels that the pin had from one time to another, in milliseconds. */
  levelsBetween(name, from, to) {
    let level = this.level(name);
    const seen = new Set();
    for (const { level: then, nanos } of this.changes.filter(({ pin }) => pin === PIN[name]).reverse()) {
      if (nanos <= to * 1e6) seen.add(level);
      if (nanos < from * 1e6) return seen;
      level = 1 - then;
    }
    return seen.add(level);
  }

  /** Every change of the pin's level. */
  pinChanges(name) { return this.changes.filter((change) => change.pin === PIN[name]); }

  /** When the pin first had this level after `nanos`. */
  changedAfter(name, level, nanos) {
    return this.changes.find((change) => change.pin === PIN[name] && change.level === level && change.nanos > nanos)?.nanos;
  }

  /** Lets the screen catch up. */
  settle(ms = 200) { this.run(ms); }

  /** Fails if the emulated chip or screen saw anything it should not have, or RAM became scarce. */
  finish() {
    const { all } = this.ramUsed;
    if (all > RAM_LIMIT) throw new Error(`${all} bytes of RAM taken, stack included; ${RAM_LIMIT} may be`);
    const wrong = [...this.complaints].map(([message, times]) => `${times} x ${message}`).concat(this.screen.strange);
    if (wrong.length > 0) throw new Error(`complaints:\n${wrong.join('\n')}`);
  }
}
