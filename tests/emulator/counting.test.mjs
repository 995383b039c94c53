// What comes in at the encoder's pins is what is counted, or the counter says that it is not.
import assert from 'node:assert/strict';
import { test } from 'node:test';
import { Counter, TURN } from './counter.mjs';

/** The fastest that the counter promises to follow, edges a second. */
const FASTEST = 200_000;

test('wound on and back, every count is there', (t) => {
  const counter = Counter.winding();
  counter.wind(5 * TURN, 2 * TURN);
  assert.equal(counter.state().counts, 5 * TURN);
  counter.wind(-2 * TURN - 3, 12_000);
  counter.wind(777, 90_000);
  const state = counter.state();
  assert.equal(state.counts, 3 * TURN - 3 + 777);
  assert.deepEqual([state.illegal, state.lost], [0, 0]);
  t.diagnostic(`longest tick ${state.tick_us} us`);
  counter.finish();
});

test('at any rate up to the limit nothing is lost, and above it every loss shows', (t) => {
  const counter = Counter.winding();
  for (const rate of [1_000, 50_000, 120_000, 180_000, FASTEST, 240_000]) {
    counter.wind(rate / 10, rate);
    const { position, illegal, lost } = counter.state();
    assert.deepEqual({ position, illegal, lost }, { position: counter.crank.made, illegal: 0, lost: 0 }, `at ${rate} edges/s`);
  }
  for (const rate of [260_000, 300_000, 400_000]) {
    const fresh = Counter.winding();
    fresh.wind(rate / 10, rate);
    const { position, illegal, phase } = fresh.state();
    assert.notEqual(position, fresh.crank.made, `at ${rate} edges/s some are lost`);
    assert.ok(illegal > 0, `at ${rate} edges/s the loss does not show`);
    assert.equal(phase, 'Fault');
  }
  t.diagnostic(`none lost up to 240,000 edges/s at even phases; loss reported at 260,000 and above`);
  counter.finish();
});

test('a halt as long as the longest flash erase loses nothing at full speed', (t) => {
  const counter = Counter.winding();
  counter.crank.turn(FASTEST * 1.5, FASTEST);
  counter.run(300);
  counter.halt(400e6);
  counter.until(() => !counter.crank.turning, 'the end of the turning');
  const state = counter.state();
  assert.equal(state.counts, counter.crank.made);
  assert.equal(counter.crank.made, FASTEST * 1.5);
  assert.deepEqual([state.illegal, state.lost], [0, 0]);
  t.diagnostic(`the reader was at most ${state.behind} of 8192 words behind; longest tick ${state.tick_us} us`);
  assert.ok(state.behind > 6000, 'the halt was not felt: this test proves nothing');
  counter.finish();
});

test('a halt longer than the ring buffer is reported, and no wrong count is shown as right', () => {
  const counter = Counter.winding();
  counter.crank.turn(FASTEST, FASTEST);
  counter.run(100);
  counter.halt(700e6);
  counter.until(() => !counter.crank.turning, 'the end of the turning');
  const state = counter.state();
  assert.ok(state.lost > 8_000, `${state.lost} words lost`);
  assert.deepEqual([state.phase, state.error_bound, state.rings], ['Fault', 'unknown', 0]);
  counter.finish();
});

test('from one DMA channel to the other and back not a sample is lost', () => {
  // Every 8192 words, half a second, instead of every 76 hours.
  const counter = Counter.winding({ patch: { TURNTALLY_HANDOVER_WORDS: 8192 } });
  counter.wind(FASTEST * 1.5, FASTEST);
  // A halt that ends behind a handover, wherever in the block it begins.
  for (const share of [0.1, 0.35, 0.6, 0.85]) {
    counter.crank.turn(FASTEST, FASTEST);
    counter.run(524 * share);
    counter.halt(400e6);
    counter.until(() => !counter.crank.turning, 'the end of the turning');
  }
  counter.wind(-FASTEST, FASTEST);
  const { counts, illegal, lost } = counter.state();
  assert.deepEqual({ counts, illegal, lost }, { counts: counter.crank.made, illegal: 0, lost: 0 });
  counter.finish();
});

test('counting begins right after power-on', (t) => {
  const counter = new Counter();
  const rate = 100_000;
  counter.crank.turn(rate / 2, rate);
  counter.until(() => !counter.crank.turning, 'the end of the turning');
  const { position, illegal, ms } = counter.state();
  const missedMs = ((counter.crank.made - position) / rate) * 1e3;
  t.diagnostic(`first sample ${missedMs.toFixed(2)} ms after power-on, first line of state at ${ms} ms at the latest`);
  assert.ok(missedMs >= 0 && missedMs < 300, `${missedMs} ms`);
  assert.equal(illegal, 0);
  counter.finish();
});

test('a dead channel is named, and the promise is withdrawn', () => {
  for (const [channel, pin] of [[0, 'A is dead'], [1, 'B is dead']]) {
    const counter = Counter.winding();
    counter.wind(TURN, TURN);
    counter.crank.wired[channel] = false;
    counter.crank.turn(2 * TURN, TURN);
    counter.run(1_500);
    const state = counter.state();
    assert.deepEqual([state.phase, state.error_bound], ['Fault', 'unknown'], pin);
    assert.equal(counter.level('stop'), 0);
    const rattle = counter.ear.rises.length;
    assert.ok(rattle > 0, 'the fault is not heard');
    counter.finish();
  }
});

test('processor time', (t) => {
  const counter = Counter.winding();
  const part = counter.symbol('TURNTALLY_PART');
  const cycles = [0, 0, 0, 0];
  counter.probe = (count) => { cycles[counter.ram8(part)] += count; };
  const during = (work) => {
    cycles.fill(0);
    const [from, idle, misses] = [counter.ms, counter.idleNs, counter.cache.misses];
    work();
    const ms = counter.ms - from;
    const share = cycles.map((count) => (count / 125e3 / ms) * 100);
    return { slow: share[0], decode: share[1], bench: share[2], copy: share[3], all: 100 - (counter.idleNs - idle) / 1e4 / ms, misses: (counter.cache.misses - misses) / ms };
  };
  const show = ({ misses, ...load }) => Object.entries(load).map(([what, share]) => `${what} ${share.toFixed(2)} %`)
    .concat(`${misses.toFixed(0)} misses of the cache a millisecond`).join(', ');
  const resting = during(() => counter.run(500));
  const winding = during(() => counter.wind(TURN, TURN));
  const fastest = during(() => counter.wind(FASTEST / 2, FASTEST));
  t.diagnostic(`at rest: ${show(resting)}`);
  t.diagnostic(`one turn a second: ${show(winding)}`);
  t.diagnostic(`${FASTEST} edges/s: ${show(fastest)}`);
  t.diagnostic(`longest tick ${counter.state().tick_us} us`);
  const { stack, all } = counter.ramUsed;
  t.diagnostic(`deepest stack ${stack} bytes, RAM in all ${all}`);
  assert.ok(resting.all < 15, 'the processor is busy for 15 % or more of the time at rest');
  assert.ok(resting.decode < 2, 'decoding at rest takes 2 % or more');
  assert.ok(fastest.decode < 10, 'decoding at full speed takes 10 % or more');
  counter.finish();
});
