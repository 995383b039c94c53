// The power goes at instructions at random, and in the middle of what the flash does, all through a history of coils
// and settings; from each flash that is left a counter starts, and is asked what it knows. 50 cuts, or TURNTALLY_CUTS.
import assert from 'node:assert/strict';
import { test } from 'node:test';
import { Counter, TURN } from './counter.mjs';
import { gaining } from './inputs.mjs';
import { Asker, PLACE, SerialCable, ask, withNumber } from './link.mjs';

const CUTS = Number(process.env.TURNTALLY_CUTS ?? 50);
/** How many coils they are spread over. */
const COILS = Math.max(3, Math.ceil(CUTS / 40));
/** For so long the newest input to the counter may not be saved yet. */
const JUST_NOW_MS = 300;
/** The guarantee: a quarter of a turn; half a turn, and shown as such, where the newest note is not whole. */
const [PROMISE, HONEST] = [TURN / 4, TURN / 2];
/** A coil of less may be without a note: one comes each eighth of a turn, and may wait a tenth. */
const NOTED = TURN / 8 + TURN / 10;
/** Where the firmware keeps things: above the program. */
const PROGRAM = 512 * 1024;

/** Numbers at random, below a bound; the same each time. */
function dice(seed) {
  let state = seed;
  return (bound) => {
    state ^= state << 13;
    state ^= state >>> 17;
    state ^= state << 5;
    return (state >>> 0) % bound;
  };
}

/** How many of each, in words. */
const where = (places) => [...places].map(([phase, times]) => `${times} in ${phase}`).join(', ');

class History {
  /** What came back was in these phases, so often. */
  places = new Map();
  random = dice(20_261_126);
  /** Counts of the coils that came off and are certainly written down. */
  finished = [];
  /** One that has just come off, or comes off at this moment: { counts, until }. */
  pending;
  /** The crank where the coil on the mandrel began. */
  zero;
  settings = [];
  cuts = { between: 0, torn: 0 };
  /** How often a coil was back, and with half a turn of error_bound; its count at worst. */
  back = 0;
  honest = 0;
  reported = 0;
  worst = 0;
  ticket = 0;

  constructor() {
    this.counter = Counter.on();
    this.asker = new Asker(this.counter, new SerialCable(this.counter));
  }

  /** From here on the power goes now and then. */
  watch() {
    // As many of each kind, over some 30 million instructions and 230 changes of the flash a coil.
    const each = CUTS / COILS / 2;
    const gap = () => 1 + this.random(Math.round(60e6 / each));
    let left = gap();
    this.counter.probe = () => {
      if (--left > 0) return;
      left = gap();
      if (this.cuts.between >= CUTS / 2) return;
      this.cuts.between++;
      this.expectBack(this.counter.chip.flash.slice());
    };
    this.counter.flashChanging = (from, bytes, erase) => {
      // Most changes are notes, of a crank that turns; those of records and of the log are few.
      const oneOf = this.counter.crank.turning ? Math.round(230 / each) : 6;
      if (this.cuts.torn >= CUTS / 2 || this.random(oneOf) !== 0) return;
      this.cuts.torn++;
      this.expectBack(this.torn(from, bytes, erase));
    };
  }

  get missing() { return this.cuts.between + this.cuts.torn < CUTS; }

  /** The flash as the power leaves it in the middle of a change: the byte in progress has some of its bits, and so
   * may all behind it, since a chip promises no order. */
  torn(from, bytes, erase) {
    const flash = this.counter.chip.flash.slice();
    const done = this.random(bytes.length);
    const behind = this.random(2) === 1;
    bytes.forEach((byte, at) => {
      const reached = at < done ? 0xff : at === done || behind ? this.random(256) : 0;
      flash[from + at] = erase ? flash[from + at] | reached : flash[from + at] & (byte | ~reached);
    });
    return flash;
  }

  /** A counter that starts from this flash knows what it must. */
  expectBack(flash) {
    assert.ok(flash.subarray(PROGRAM).some((byte) => byte !== 0xff), 'nothing was kept: this proves nothing');
    const back = new Counter({ flash });
    back.run(250);
    const asker = new Asker(back, new SerialCable(back));
    const status = asker.ask(ask.status());
    const settings = asker.ask(ask.readSettings()).bytes;
    const { entries } = asker.fetch(0);
    const what = `cut ${this.cuts.between} + ${this.cuts.torn}: ${JSON.stringify(status)}`;
    assert.ok(this.settings.some((known) => `${known}` === `${settings}`), `${what}\nsettings ${settings}`);

    this.places.set(status.phase, (this.places.get(status.phase) ?? 0) + 1);
    const now = this.counter.ms;
    const { pending } = this;
    const logged = entries.map(({ turns }) => Math.round(turns * TURN));
    // None is lost and none is there twice; the one that has just come off is in the log or on the mandrel.
    const inLog = logged.length > this.finished.length;
    assert.deepEqual(logged, inLog && pending ? [...this.finished, pending.counts] : this.finished, what);
    assert.deepEqual(entries.map(({ number }) => number), logged.map((_, number) => number), what);
    assert.deepEqual([status.kept, status.made], [entries.length, entries.reduce((sum, { rings }) => sum + rings, 0)], what);
    const on = status.phase === 'Fault';
    assert.ok(on || status.phase === 'Choose', what);
    const counts = this.zero === undefined ? pending?.counts : this.counter.crank.made - this.zero;
    const cameOff = pending !== undefined && inLog;
    // The only loss allowed is a reported one: of a coil that had hardly begun.
    assert.ok(!status.notice || (this.zero !== undefined && this.most < NOTED && !on), what);
    if (status.notice) this.reported++;
    if (on) {
      assert.ok(counts !== undefined && !cameOff, `${what}\na coil that is not on the mandrel`);
      const off = Math.abs(status.counts - counts);
      assert.ok(off <= status.error_bound && [PROMISE, HONEST].includes(status.error_bound), `${what}\n${off} of ${counts} counts off`);
      this.back++;
      if (status.error_bound > PROMISE) this.honest++;
      this.worst = Math.max(this.worst, off);
    } else {
      const least = this.least ?? 0;
      assert.ok(counts === undefined || cameOff || least < NOTED, `${what}\nthe coil of ${counts} counts is lost`);
    }
    if (pending && this.zero === undefined && now > pending.until) assert.ok(inLog, what);
  }

  /** The most counts that the coil on the mandrel has had: what was noted once is not unknown again. */
  get least() { return this.zero === undefined ? this.pending?.counts : this.most; }

  press() {
    this.counter.press('yes');
    this.counter.run(this.random(40));
  }

  phase() { return this.asker.ask(ask.status()).phase; }

  /** The user takes settings that a computer offers. */
  take(settings) {
    const before = this.settings.at(-1);
    this.ticket++;
    this.asker.ask(ask.writeSettings(this.ticket, settings));
    this.counter.run(900);
    this.settings = [before, settings];
    this.press();
    this.counter.until(() => this.asker.ask(ask.answer(this.ticket)).answer === 'Agreed', 'the answer', 500);
    this.counter.run(JUST_NOW_MS);
    this.settings = [settings];
  }

  /** From rest, and not quicker than a person: that would be reported as bounce. */
  wind(counts, rate) {
    const { counter } = this;
    counter.crank.onEdge = (made) => { this.most = Math.max(this.most, made - this.zero); };
    counter.crank.follow(counts, gaining(rate, 10 * TURN));
    counter.until(() => !counter.crank.turning, 'the end of the turning', 60_000);
  }

  coil() {
    for (let presses = 0; this.phase() !== 'Winding'; presses++) {
      assert.ok(presses < 6, `it does not begin: ${this.phase()}`);
      if (this.phase() === 'Ready') [this.zero, this.most] = [this.counter.crank.made, 0];
      this.press();
    }
    this.settle();
    const target = Math.ceil(this.asker.ask(ask.status()).target * TURN);
    const rate = () => 4_000 + this.random(12_000);
    const [first, back] = [TURN + this.random(5 * TURN), this.random(TURN)];
    this.wind(first, rate());
    this.counter.run(this.random(300));
    this.wind(-back, rate());
    this.wind(target - first + back, rate());
    this.counter.run(400);
    this.press();
    assert.equal(this.phase(), 'Verdict');
    this.pending = { counts: target, until: Infinity };
    this.press();
    this.counter.until(() => this.phase() === 'Next', 'the coil to come off', 1_000);
    this.zero = undefined;
    this.pending.until = this.counter.ms + JUST_NOW_MS;
    this.counter.run(JUST_NOW_MS + this.random(200));
    this.settle();
  }

  /** What came off some time ago is certainly written down. */
  settle() {
    if (this.pending && this.counter.ms > this.pending.until) {
      this.finished.push(this.pending.counts);
      this.pending = undefined;
    }
  }
}

test(`the power goes at ${CUTS} moments: no coil is lost or there twice, settings are the old or the new`, (t) => {
  const history = new History();
  const born = history.asker.ask(ask.readSettings()).bytes;
  history.settings = [born];
  // Coils of some thirteen turns; the loudness is changed again and again.
  history.take(withNumber(born, PLACE.cradle, 18_000_000));
  history.watch();
  let coils = 0;
  for (; history.missing; coils++) {
    assert.ok(coils < 3 * COILS, `${JSON.stringify(history.cuts)} after ${coils} coils`);
    history.coil();
    if (coils % 2 === 0) history.take(withNumber(history.settings[0], PLACE.loudness, (coils / 2) % 3));
  }
  const { between, torn } = history.cuts;
  t.diagnostic(`${between} cuts at instructions and ${torn} within programs and erases, over ${coils} coils: ${where(history.places)}`);
  const { back, honest, reported, worst } = history;
  t.diagnostic(`${back} coils in progress back, at worst ${worst} of ${TURN} counts off; ${honest} of them error bound half a turn;`
    + ` ${reported} that had hardly begun reported as lost`);
  history.counter.finish();
});
