// A tester and a counter: two emulated Picos, joined pin to pin, with faults soldered in on purpose.
//
// The tester runs ahead by a slice; its changes then reach the counter at their exact times. What the counter does
// reaches the tester at the end of the slice, so that the tester measures up to SLICE_MS more than there is.
import { join } from 'node:path';
import { ELF, TARGET } from './counter.mjs';
import { PIN, Rig } from './rig.mjs';

const TESTER_ELF = join(TARGET, 'thumbv6m-none-eabi/pico/turntally-tester');
const SLICE_MS = 0.02;
const INPUTS = ['encoderA', 'encoderB', 'knobA', 'knobB', 'yes', 'no'];
const OUTPUTS = ['red', 'yellow', 'green', 'stop', 'sounder'];
/** A pin of the emulated chip that drives low. */
const LOW = 0;

export class Joined {
  /** Lines of the report. */
  lines = [];
  #text = '';
  #changes = [];
  #late = new Map();

  /** `open`, `low` and `high` name wires that end nowhere, or are joined to ground or to 3.3 V; `swapped` names two
   * that change places; `slow` has the microseconds that a wire's edges are late: shorter levels do not arrive. */
  constructor({ open = [], low = [], high = [], swapped = [], slow = {} } = {}) {
    Object.assign(this, { open, low, high, swapped, slow });
    this.counter = new Rig(ELF);
    this.tester = new Rig(TESTER_ELF);
    // Without waits for the flash: a level reaches the counter between two of its instructions, and one that waits long
    // would bring it late. What the waits do to the counter is measured in the other files.
    this.counter.cache.read = () => 0;
    for (const name of INPUTS) {
      this.tester.chip.gpio[PIN[name]].addListener(() => this.#changed(name));
      this.#changed(name);
    }
    for (const name of OUTPUTS) this.counter.chip.gpio[PIN[name]].addListener(() => this.#show(name));
    this.tester.heard = (byte) => { if (!this.open.includes('serial')) this.counter.feed(byte); };
    this.counter.heard = (byte) => { if (!this.open.includes('serial')) this.tester.feed(byte); };
    // No adapter sends anything yet.
    this.tester.chip.uart[1].onByte = (byte) => {
      if (byte !== 10) this.#text += String.fromCharCode(byte);
      else {
        this.lines.push(Buffer.from(this.#text, 'latin1').toString());
        this.#text = '';
      }
    };
    this.#showAll();
  }

  /** The wire that stands in this one's place. */
  #other(name) {
    const at = this.swapped.indexOf(name);
    return at < 0 ? name : this.swapped[1 - at];
  }

  /** The level of a wire that a fault decides; `unconnected` is what its end shows where it ends nowhere. */
  #forced(name, unconnected) {
    if (this.low.includes(name)) return false;
    if (this.high.includes(name)) return true;
    return this.open.includes(name) ? unconnected : undefined;
  }

  /** The tester drives a wire otherwise than before: what the counter and the tester itself see of it. */
  #changed(name) {
    const state = this.tester.chip.gpio[PIN[name]].value;
    // A released wire is pulled up by the counter, and so is one of the encoder before the tester drives it.
    const level = state !== LOW;
    // A pin that is driven reads its own level.
    this.tester.drive(PIN[name], name.startsWith('encoder') ? level : this.#forced(name, false) ?? level);
    const at = this.#other(name);
    this.#changes.push({ name: at, level: this.#forced(at, true) ?? level, nanos: this.tester.clock.nanos });
  }

  /** The counter drives a wire otherwise than before. */
  #show(name) {
    const at = this.#other(name);
    const level = this.counter.chip.gpio[PIN[name]].value === 1;
    this.tester.drive(PIN[at], this.#forced(at, false) ?? level);
  }

  #showAll() { OUTPUTS.forEach((name) => this.#show(name)); }

  /** Brings a level to the counter, through a filter if there is one. */
  #arrive(name, level) {
    const us = this.slow[name];
    if (us === undefined) return this.counter.drive(PIN[name], level);
    if (!this.#late.has(name)) {
      const late = { alarm: this.counter.outside(() => this.counter.drive(PIN[name], late.level)) };
      this.#late.set(name, late);
    }
    // A level that does not last so long is gone.
    const late = this.#late.get(name);
    late.level = level;
    return late.alarm.schedule(us * 1e3);
  }

  /** Runs both for so many milliseconds. */
  run(ms) {
    const end = this.tester.ms + ms;
    while (this.tester.ms < end) {
      this.tester.run(SLICE_MS);
      for (const { name, level, nanos } of this.#changes.splice(0)) {
        if (nanos > this.counter.clock.nanos) this.counter.run(nanos / 1e6 - this.counter.ms);
        this.#arrive(name, level);
      }
      if (this.tester.ms > this.counter.ms) this.counter.run(this.tester.ms - this.counter.ms);
    }
  }

  /** Sends the tester a line. */
  type(line) { for (const byte of Buffer.from(`${line}\n`)) this.tester.chip.uart[1].feedByte(byte); }

  /** Runs a test to its end; its checks. */
  test(length, limitMs) {
    // The counter has to start first.
    this.run(1_000);
    this.type(length);
    const end = this.tester.ms + limitMs;
    while (!this.lines.at(-1)?.startsWith('end\t')) {
      if (this.tester.ms > end) throw new Error(`no end after ${limitMs} ms:\n${this.lines.join('\n')}`);
      this.run(100);
    }
    return this.lines.filter((line) => line.startsWith('check\t')).map((line) => {
      const [, name, result, measured, allowed] = line.split('\t');
      return { name, passed: result === 'pass', measured, allowed };
    });
  }
}
