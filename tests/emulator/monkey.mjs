// Somebody who does anything at all with the crank, the keys and the knob, and somebody who writes down what
// truly happened and holds the counter to it.
import assert from 'node:assert/strict';
import { Counter, TURN, readState } from './counter.mjs';
import { gaining } from './inputs.mjs';
import { random } from './worn.mjs';

/** From the moment that a line of state tells of, what may lie between the pins and it, in milliseconds. */
const LATE = 12;
/** Nothing may hold the serial line up for longer: no erase with a breath in between does. */
const HUNG = 500;
/** How long each is let loose, in simulated minutes. */
export const MINUTES = Number(process.env.TURNTALLY_MONKEY_MINUTES ?? 2);
/** What went before this is not looked at any more. */
const MEMORY = 1_000;

/** What the crank truly did, kept by the encoder itself. */
class Truth {
  #edges = [];

  constructor(counter) {
    this.counter = counter;
    counter.crank.onEdge = (made) => this.#edges.push([counter.ms, made]);
  }

  /** The least and the most counts that had been made between two times. */
  between(from, to) {
    const { made } = this.counter.crank;
    let [least, most, now] = [Infinity, -Infinity, made];
    const take = (count) => { [least, most] = [Math.min(least, count), Math.max(most, count)]; };
    for (let index = this.#edges.length - 1; index >= 0; index--) {
      const [at, count] = this.#edges[index];
      if (at <= to) take(count);
      now = count;
      if (at < from) return [least, most];
    }
    take(this.#edges.length === 0 ? made : now);
    return [least, most];
  }

  forget(before) {
    const index = this.#edges.findIndex(([at]) => at >= before);
    // One stays: it says where the crank stood then.
    if (index > 1) this.#edges.splice(0, index - 1);
    else if (index < 0) this.#edges.splice(0, this.#edges.length - 1);
  }
}

/** Holds each line of state against the truth. */
export class Witness {
  lines = 0;
  sure = 0;
  /** Lines in each phase. */
  phases = new Map();
  coils = 0;
  flips = 0;
  #before;
  /** Zero and direction of the coil on the mandrel, as far as they can be distinguished. */
  #coil = [];

  constructor(counter) {
    Object.assign(this, { counter, truth: new Truth(counter), heardAt: counter.ms, keyAt: { yes: -Infinity, no: -Infinity } });
    counter.serial = '';
  }

  /** To be called often: looks at what has come in. */
  look() {
    const { counter } = this;
    if (counter.resets > 0) assert.fail(`it was reset:\n${counter.screen.text()}`);
    for (const key of ['yes', 'no']) if (counter.keys[key].held) this.keyAt[key] = counter.ms;
    if (!counter.serial.includes('\n')) {
      assert.ok(counter.ms - this.heardAt < HUNG, `nothing heard for ${HUNG} ms`);
      return;
    }
    const lines = counter.serial.split('\n');
    counter.serial = lines.pop();
    for (const line of lines) this.#hold(readState(line), line);
    this.truth.forget(counter.ms - MEMORY);
    // They are not needed here, and would grow for an hour.
    counter.changes = counter.changes.filter(({ nanos }) => nanos > (counter.ms - MEMORY) * 1e6);
    counter.ear.rises.length = 0;
    counter.flashLog.length = 0;
  }

  #hold(state, line) {
    const { counter } = this;
    this.heardAt = counter.ms;
    this.lines++;
    this.phases.set(state.phase, (this.phases.get(state.phase) ?? 0) + 1);
    // Whole milliseconds are reported, of the tick's beginning: it was up to one later, and what the tick counted
    // came in until its end. It is long after an erase, when it catches up.
    this.at = state.ms + 1 + Math.max(1, state.tick_us / 1_000) + counter.startedMs;
    const [least, most] = this.truth.between(state.ms + 2 + counter.startedMs - LATE, this.at);
    // The signal is good: what the decoder counts is right whatever the bench makes of it.
    assert.deepEqual([state.illegal, state.lost], [0, 0], line);
    assert.ok(state.position >= least && state.position <= most, `between ${least} and ${most} counts were made, but ${line}`);
    if (state.aim === 0) {
      this.#coil = [];
      assert.equal(state.counts, 0, line);
    } else this.#follow(state, line);
    this.#rings(state, line);
    this.#stopLine(state, line);
    this.#before = state;
  }

  /** Counts run from one zero in one direction as long as the coil is the same. */
  #follow(state, line) {
    const fits = ({ zero, direction }) => direction * (state.position - zero) === state.counts;
    const before = this.#coil;
    this.#coil = before.filter(fits);
    if (this.#coil.length === 0 && this.#pressed('yes')) {
      // "Flip it", to a page that may have come and gone since the last line: from the same zero, the other
      // way round.
      this.#coil = before.map(({ zero, direction }) => ({ zero, direction: -direction })).filter(fits);
      if (this.#coil.length > 0) this.flips++;
    }
    if (this.#coil.length === 0 && this.#pressed('yes')) {
      // Begun since the last line, where the crank stood then.
      const [least, most] = this.truth.between((this.#before?.ms ?? 0) + this.counter.startedMs - LATE, this.at);
      this.#coil = [1, -1].map((direction) => ({ direction, zero: state.position - direction * state.counts }))
        .filter(({ zero }) => zero >= least && zero <= most);
      this.coils++;
    }
    assert.ok(this.#coil.length > 0, `counts from nowhere: ${line}`);
    if (state.error_bound === 0) this.sure++;
  }

  /** No ring is promised that was not wound. */
  #rings(state, line) {
    assert.ok(state.rings <= Math.max(0, state.counts) / TURN, `too many rings: ${line}`);
    const made = state.made - (this.#before?.made ?? 0);
    if (made <= 0) return;
    const [least, most] = this.truth.between(this.#before.ms + this.counter.startedMs - LATE, this.at);
    const wound = Math.abs(this.#before.counts) + most - least;
    assert.ok(made <= wound / TURN, `${made} rings of ${wound} counts: ${line}`);
  }

  /** The winder may turn only while no message is shown. */
  #stopLine(state, line) {
    const may = Number(['Winding', 'Near'].includes(state.phase));
    const { counter } = this;
    const levels = counter.levelsBetween('stop', this.at - LATE, Math.min(this.at + LATE, counter.ms));
    assert.ok(levels.has(may), `the stop line was not at ${may}: ${line}`);
  }

  /** Whether the key was down since the last line, or so shortly before that it may count only now. */
  #pressed(key) {
    return this.keyAt[key] >= (this.#before?.ms ?? 0) + this.counter.startedMs - 50;
  }
}

/** Does anything at all. */
export class Monkey {
  #crankAt = 0;
  #knobAt = 0;
  #keys = [{ name: 'yes', at: 0 }, { name: 'no', at: 0 }];

  constructor(counter, seed) {
    Object.assign(this, { counter, next: random(seed) });
  }

  #between(least, most) { return least + (most - least) * this.next(); }

  /** To be called every few milliseconds. */
  act() {
    const now = this.counter.ms;
    this.#crank(now);
    for (const key of this.#keys) this.#key(key, now);
    const { knob } = this.counter;
    if (!knob.turning && now >= this.#knobAt) {
      // Whole clicks and parts of them.
      knob.turn(Math.round(this.#between(-10, 10)) || 1, this.#between(20, 400));
      this.#knobAt = now + this.#between(100, 3_000);
    }
  }

  #crank(now) {
    const { crank } = this.counter;
    if (crank.turning) {
      // Now and then the hand slips off.
      if (this.next() < 0.0005) crank.letGo();
      this.#crankAt = now + this.#between(0, 1_200) * (this.next() < 0.6 ? 1 : 0);
      return;
    }
    if (now < this.#crankAt) return;
    const kind = this.next();
    if (kind < 0.6) this.#turn(this.#between(0.1, 12), this.#between(0.3, 4));
    else if (kind < 0.75) this.#turn(this.#between(5, 30), this.#between(6, 12)); // a motor
    else if (kind < 0.95) this.#turn(-this.#between(0.01, 1.5), this.#between(0.3, 2));
    else this.#turn(this.#between(-3, 3) / TURN, 0.5); // a shiver
  }

  /** From rest, gaining ten turns a second in a second: a quicker reversal is no hand's, but bounce. */
  #turn(turns, speed) {
    this.counter.crank.follow(Math.round(turns * TURN), gaining(speed * TURN, 10 * TURN));
  }

  #key(key, now) {
    if (now < key.at) return;
    const { counter } = this;
    const pin = counter.keys[key.name];
    if (pin.held) pin.up();
    else pin.down();
    const kind = this.next();
    // Most are presses; some are bounce or a finger that only brushes it, some lean on it.
    if (pin.held) key.at = now + (kind < 0.1 ? this.#between(0, 8) : kind < 0.95 ? this.#between(30, 300) : this.#between(1_000, 3_000));
    else key.at = now + (kind < 0.15 ? this.#between(0, 60) : this.#between(200, key.name === 'yes' ? 2_500 : 6_000));
  }

  /** Lets go of everything. */
  rest() {
    this.counter.crank.letGo();
    for (const { name } of this.#keys) this.counter.keys[name].up();
  }
}

/** Lets it loose on a new counter, from this seed. */
export function letLoose(t, seed) {
  const counter = Counter.on();
  const [monkey, witness] = [new Monkey(counter, seed), new Witness(counter)];
  const end = counter.ms + MINUTES * 60_000;
  const { pictures } = counter.screen;
  while (counter.ms < end) {
    monkey.act();
    counter.run(2);
    witness.look();
  }
  monkey.rest();
  counter.run(600);
  witness.look();
  const { position, counts, aim } = counter.state();
  assert.equal(position, counter.crank.made, 'at rest, to the last count');

  const phases = [...witness.phases].map(([phase, lines]) => `${phase} ${lines}`).join(', ');
  t.diagnostic(`seed ${seed}: ${witness.lines} lines of state held against the crank: ${phases}`);
  t.diagnostic(`${witness.coils} coils begun, turned round ${witness.flips} times; ${witness.sure} lines sure to the last count`);
  t.diagnostic(`deepest stack ${counter.ramUsed.stack} bytes, RAM in all ${counter.ramUsed.all}`);
  assert.ok(counter.screen.pictures - pictures > 60 * MINUTES, 'the screen stood still');
  for (const phase of ['Ready', 'Winding', 'Verdict', 'Paused']) assert.ok(witness.phases.has(phase), `never in ${phase}`);
  const enough = witness.coils > MINUTES / 2 && witness.sure > witness.lines / 5;
  assert.ok(enough, `of ${witness.coils} coils and ${witness.sure} sure lines this test proves nothing`);

  // And all that over again after a power cut.
  counter.restart({ keepRam: false });
  [counter.startedMs, counter.serial] = [counter.ms, ''];
  counter.until(() => counter.last !== undefined, 'the first line', 300);
  counter.run(300);
  const again = counter.state();
  t.diagnostic(`after a power cut: ${again.phase}, ${again.counts} counts, error bound ${again.error_bound}; before ${counts}`);
  if (aim !== 0) assert.ok(again.error_bound === 'unknown' || Math.abs(again.counts - counts) <= again.error_bound);
  else assert.equal(again.counts, 0);
  counter.finish();
}
